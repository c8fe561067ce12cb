"""Questions of lesson 02, chains and frames.

In the side view: x forward, y up, the hip at the origin; the hip angle is zero when the thigh hangs
straight down and positive when it swings forward; the knee angle is zero when the leg is straight
and positive when it flexes. In space: x to the character's left, y up, z forward; a frame is a 4 ×
4 matrix, `world = parent_world @ local`.
"""

from functools import partial

import numpy as np

from rigkit import frames as fr
from rigkit import puppets, rotation
from rigkit.homework import picture
from rigkit.homework.judging import SQUARE, is_turn, number, right_so_far
from rigkit.homework.question import Hints, Misconception, Question, Verdict
from rigkit.two_bone import planar_points

CLOSE_CM, CLOSE_DEG = 0.1, 0.1
FACING_BACK = np.diag([-1.0, 1.0, -1.0])


# --- Which joints a knee carries, and how far

CARRIED = ("all four", "knee, ankle and toes", "ankle and toes", "ankle alone")


def _draw_carried(rng, character):
    return [
        {
            "shank": character.shank,
            "ankle_height": character.ankle_height,
            "toe_ahead": round(character.foot_length - character.heel_length, 3),
            "knee_deg": float(rng.integers(25, 75)),
        }
    ]


def _carried_cm(reach, knee_deg):
    return 200 * reach * np.sin(np.radians(knee_deg) / 2)


def _toes(shank, ankle_height, toe_ahead):
    return np.hypot(shank + ankle_height, toe_ahead)


def _same_millimetre(mine, theirs):
    """Equal words, or centimetres to a tenth: two mistakes are less than a hundredth apart."""
    return mine == theirs if isinstance(theirs, str) else abs(float(mine) - float(theirs)) <= 0.06


def _judge_carried(inputs, output):
    shank, height, ahead, knee_deg = inputs.values()
    true, yours = _carried_cm(_toes(shank, height, ahead), knee_deg), float(output["toes"])
    right, named = abs(yours - true) <= 0.0501, output["moves"] == CARRIED[2]
    leg = np.array([[0.0, 0.0], [0.0, -shank], [ahead, -shank - height]])
    drawn = picture.side_view(
        "Before the knee turns",
        "A shank and a foot hang straight down from a knee in the side view.",
        picture.chain(leg, ["knee", "ankle", "toes"]),
    )
    measured = {
        "You say": (
            f"{output['moves']} {'moves' if 'alone' in output['moves'] else 'move'}, "
            f"the toes by {number(yours)} cm"
        )
    }
    score = 0.2 * named + 0.8 * right
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if named and right:
        return verdict(
            1.0, "a turn carries all that hangs below, stiff as it is, and nothing above."
        )
    if right:
        return verdict(
            score,
            "the distance is right; the list of joints is not: which of them have their place below"
            " the knee?",
        )
    way = "too long" if yours > true else "too short"
    return verdict(
        score,
        f"{right_so_far({'list of joints': named})}"
        f"your distance is {way}: the toes go round the knee on a circle, and the way from one"
        " point of a circle straight to another is its chord.",
    )


def _carried(distance, moves=CARRIED[2]):
    return lambda shank, height, ahead, knee_deg: (moves, distance(shank, height, ahead, knee_deg))


CARRY = Question(
    "02",
    "carried",
    "which joints a knee's turn moves, and the toes by how many centimetres",
    "value",
    {"moves": CARRIED, "toes": ()},
    _draw_carried,
    _judge_carried,
    (
        Misconception(
            "foot does not turn",
            _carried(lambda s, h, a, k: _carried_cm(s, k)),
            "the toes are moved as far as the ankle; the foot turns along, so they go farther",
        ),
        Misconception(
            "along the arc",
            _carried(lambda s, h, a, k: 100 * _toes(s, h, a) * np.radians(k)),
            "the way is measured along the circle; straight from place to place is shorter",
        ),
        Misconception(
            "degrees as radians",
            _carried(lambda s, h, a, k: abs(_carried_cm(_toes(s, h, a), np.degrees(k)))),
            "degrees go into a sine that takes radians",
        ),
        Misconception(
            "whole angle",
            _carried(lambda s, h, a, k: 100 * _toes(s, h, a) * np.sin(np.radians(k))),
            "the sine is taken of the whole angle; that is how far the toes come out sideways from"
            " their old line to the knee",
        ),
        Misconception(
            "metres",
            _carried(lambda s, h, a, k: _carried_cm(_toes(s, h, a), k) / 100),
            "the distance is left in metres",
        ),
        Misconception(
            "ankle alone",
            _carried(lambda s, h, a, k: 0.0, CARRIED[3]),
            "the knee is taken to move its child and no grandchildren",
        ),
    ),
    same=_same_millimetre,
    hints=Hints(
        "The toes are some way below the knee and some way ahead of it. Draw these two ways as the "
        "sides of a right angle: what joins their ends?",
        "How far a turn carries",
        "Toes 4 cm below a knee and 3 cm ahead of it are 5 cm away from it. Turned by 60°, they "
        "are 5 cm from where they were: knee, old place and new place make a triangle with equal "
        "sides.",
    ),
)


# --- The forward chain in the plane


def _draw_forward(rng, character):
    def leg(hip_deg, knee_deg, bones=character.bones):
        return {
            "hip": np.radians(hip_deg),
            "knee": np.radians(knee_deg),
            "upper": bones[0],
            "lower": bones[1],
        }

    return [
        leg(0, 0),
        leg(0, rng.uniform(30, 80)),
        leg(rng.uniform(20, 60), 0),
        leg(45, 45),
        leg(rng.uniform(20, 80), rng.uniform(30, 110)),
        leg(-rng.uniform(5, 25), rng.uniform(10, 60)),
        leg(rng.uniform(95, 120), rng.uniform(100, 140)),
        leg(rng.uniform(10, 60), rng.uniform(10, 90), puppets.PUPPETS["Odo"].bones),
        leg(rng.uniform(10, 60), -rng.uniform(10, 90), puppets.PUPPETS["heron"].bones[1:]),
    ]


def _forward(hip, knee, upper, lower):
    return planar_points(hip, knee, upper, lower)[1:]


def _heading(start, end):
    """The direction of a bone, from straight down, forward positive."""
    way = np.subtract(end, start)
    return np.arctan2(way[0], -way[1])


def _apart_deg(a, b):
    return abs(float(np.degrees(np.arctan2(np.sin(a - b), np.cos(a - b)))))


def _judge_forward(inputs, output):
    hip, knee, upper, lower = inputs.values()
    joints = np.array([[0.0, 0.0], output["knee"], output["ankle"]])
    misses = 100 * np.linalg.norm(joints[1:] - _forward(**inputs), axis=-1)
    lengths = np.linalg.norm(np.diff(joints, axis=0), axis=-1)
    thigh_off = _apart_deg(_heading(*joints[:2]), hip)
    shank_off = _apart_deg(_heading(*joints[1:]), _heading(*joints[:2]) - knee)
    measured = {
        "Your thigh and shank are": f"{100 * lengths[0]:.1f} cm and {100 * lengths[1]:.1f} cm long",
        "Your ankle is off by": f"{misses[1]:.1f} cm",
    }
    drawn = picture.side_view(
        "Your leg",
        f"A leg in the side view; its ankle is off by {misses[1]:.1f} centimetres.",
        picture.chain(joints, ["hip", "knee", "ankle"]),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if misses.max() <= CLOSE_CM:
        return verdict(1.0, "each joint is where the angles above it put it.")
    if misses[0] > CLOSE_CM:
        sentence = (
            f"your thigh is {100 * abs(lengths[0] - upper):.1f} cm off its length: scale sine and"
            " cosine by it."
            if abs(lengths[0] - upper) > 1e-3
            else (
                f"your thigh points {thigh_off:.1f}° off: at hip angle zero it hangs straight down,"
                " and forward is positive."
            )
        )
        return verdict(0.0, sentence)
    sentence = (
        f"your knee is right; your shank is {100 * abs(lengths[1] - lower):.1f} cm off its length:"
        " begin it at the knee."
        if abs(lengths[1] - lower) > 1e-3
        else (
            f"your knee is right, your shank points {shank_off:.1f}° off: its angle is counted from"
            " the thigh, and flexing takes it backward."
        )
    )
    return verdict(0.3, sentence)


def _forward_by_headings(thigh, shank, point=lambda a: np.array([np.sin(a), -np.cos(a)])):
    """A wrong forward chain from the headings it gives to thigh and shank."""

    def answer(hip, knee, upper, lower):
        at_knee = upper * point(thigh(hip, knee))
        return at_knee, at_knee + lower * point(shank(hip, knee))

    return answer


def _forward_ankle_from_hip(hip, knee, upper, lower):
    at_knee, ankle = _forward(hip, knee, upper, lower)
    return at_knee, ankle - at_knee


FORWARD = Question(
    "02",
    "forward_leg",
    "where hip and knee angles put the knee and the ankle, in the side view",
    "function",
    {"knee": (2,), "ankle": (2,)},
    _draw_forward,
    _judge_forward,
    (
        Misconception(
            "child angle as world angle",
            _forward_by_headings(lambda h, k: h, lambda h, k: -k),
            "the knee's angle is counted from the vertical; it is counted from the thigh, so the"
            " hip's turn carries the shank along",
        ),
        Misconception(
            "sign of the knee",
            _forward_by_headings(lambda h, k: h, lambda h, k: h + k),
            "flexing the knee takes the shank forward; it takes it backward",
        ),
        Misconception(
            "degrees for radians",
            lambda h, k, u, low: _forward(np.radians(h), np.radians(k), u, low),
            "the angles, which come in radians, are converted from degrees once more",
        ),
        Misconception(
            "ankle from the hip",
            _forward_ankle_from_hip,
            "the ankle is set out from the hip; the shank begins at the knee",
        ),
        Misconception(
            "sign of y",
            _forward_by_headings(
                lambda h, k: h, lambda h, k: h - k, lambda a: np.array([np.sin(a), np.cos(a)])
            ),
            "y is taken to point down; here it points up",
        ),
        Misconception(
            "angle from forward",
            _forward_by_headings(
                lambda h, k: h, lambda h, k: h - k, lambda a: np.array([np.cos(a), np.sin(a)])
            ),
            "the hip's zero is taken to be straight forward; it is straight down",
        ),
    ),
    hints=Hints(
        "Find the knee first. Seen from there, which way does the shank point before the knee "
        "turns, and which way after?",
        "What an angle is counted from",
        "Both bones are 1 m, hip and knee at 90°. The thigh points straight forward, so the knee "
        "is at (1, 0). The shank hangs straight down from it: the ankle is at (1, −1).",
    ),
)


# --- The same in space


def _pelvis(rng, turn_deg=(180, 25, 25)):
    angles = np.radians(rng.uniform(-1, 1, 3) * turn_deg)
    return fr.frame(
        rotation.matrix_from_euler(angles, "yxz"), rng.uniform([-1, 0.7, -1], [1, 1.1, 1])
    )


def _draw_space(rng, character):
    hip = [round(character.hip_width / 2, 3), -0.06, 0.02]

    def case(pelvis, flexion_deg, abduction_deg, knee_deg, bones=character.bones):
        return {
            "pelvis": pelvis,
            "hip": hip,
            "flexion": np.radians(flexion_deg),
            "abduction": np.radians(abduction_deg),
            "knee": np.radians(knee_deg),
            "upper": bones[0],
            "lower": bones[1],
        }

    at_rest, turned = fr.frame(origin=[0.0, 1.0, 0.0]), fr.frame(FACING_BACK, [0.4, 1.0, -0.3])
    return [
        case(at_rest, 0, 0, 0),
        case(at_rest, rng.uniform(30, 80), 0, rng.uniform(20, 90)),
        case(at_rest, rng.uniform(50, 90), rng.uniform(30, 50), 0),
        case(turned, 90, 45, 90),
        case(turned, -rng.uniform(5, 20), rng.uniform(5, 20), rng.uniform(5, 40)),
        *(
            case(_pelvis(rng), rng.uniform(-20, 90), rng.uniform(-15, 45), rng.uniform(5, 120))
            for _ in range(3)
        ),
        case(
            _pelvis(rng),
            rng.uniform(30, 80),
            rng.uniform(10, 45),
            rng.uniform(20, 90),
            puppets.PUPPETS["Odo"].bones,
        ),
    ]


def _turns(flexion, abduction, knee):
    """The three turns of a left leg, in space."""
    return (
        rotation.matrix_about("x", -flexion),
        rotation.matrix_about("z", abduction),
        rotation.matrix_about("x", knee),
    )


def _space(pelvis, hip, flexion, abduction, knee, upper, lower):
    flex, abduct, bend = _turns(flexion, abduction, knee)
    thigh = pelvis @ fr.frame(flex @ abduct, hip)
    shank = thigh @ fr.frame(bend, [0, -upper, 0])
    return shank[:3, 3], fr.apply(shank, [0, -lower, 0])


def _judge_space(inputs, output):
    pelvis, hip, _, _, _, upper, lower = inputs.values()
    joints = np.array([fr.apply(pelvis, hip), output["knee"], output["ankle"]])
    misses = 100 * np.linalg.norm(joints[1:] - _space(**inputs), axis=-1)
    long, short = np.linalg.norm(np.diff(joints, axis=0), axis=-1) - [upper, lower]
    measured = {
        "Your knee is off by": f"{misses[0]:.1f} cm",
        "Your ankle is off by": f"{misses[1]:.1f} cm",
    }
    side, view, axes = _clearest(joints[1:] - _space(**inputs))
    drawn = view(
        f"Your leg, from the {side}",
        f"A left leg; its knee is off by {misses[0]:.1f}, its ankle by {misses[1]:.1f}"
        " centimetres.",
        picture.chain(joints[:, axes], ["hip", "knee", "ankle"]),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if misses.max() <= CLOSE_CM:
        return verdict(1.0, "three turns and two lengths, each in the frame it belongs to.")
    if misses[0] > CLOSE_CM:
        sentence = (
            f"your knee is {100 * abs(long):.1f} cm {'too far from' if long > 0 else 'too near to'}"
            " the hip: both the hip's place and the thigh are carried by the pelvis."
            if abs(long) > 1e-3
            else (
                f"your knee is {misses[0]:.1f} cm off: take the pelvis's frame, then flexion, then"
                " abduction."
            )
        )
        return verdict(0.0, sentence)
    sentence = (
        f"your knee is right, your shank is {100 * abs(short):.1f} cm off its length: begin it at"
        " the knee."
        if abs(short) > 1e-3
        else (
            f"your knee is right, your ankle is {misses[1]:.1f} cm off: the knee turns last, "
            "about the axis as the hip left it."
        )
    )
    return verdict(0.3, sentence)


def _clearest(misses):
    """The view that shows misses (..., 3) best, front or side: name, picture, axes."""
    aside, _, ahead = np.abs(np.reshape(misses, (-1, 3))).max(axis=0)
    return (
        ("front", picture.front_view, [0, 1])
        if aside > ahead
        else ("side", picture.side_view, [2, 1])
    )


def _space_by_turns(thigh, shank, place=fr.apply):
    """A wrong leg in space, by the turns of thigh and shank and the hip's place."""

    def answer(pelvis, hip, flexion, abduction, knee, upper, lower):
        turns = (pelvis[:3, :3], *_turns(flexion, abduction, knee))
        at_knee = place(pelvis, hip) + thigh(*turns) @ [0, -upper, 0]
        return at_knee, at_knee + shank(*turns) @ [0, -lower, 0]

    return answer


def _thigh(p, f, a, k):
    return p @ f @ a


def _shank(p, f, a, k):
    return p @ f @ a @ k


SPACE = Question(
    "02",
    "leg_in_space",
    "where a pelvis and three turns put the left knee and ankle, in space",
    "function",
    {"knee": (3,), "ankle": (3,)},
    _draw_space,
    _judge_space,
    (
        Misconception(
            "order of turns",
            _space_by_turns(lambda p, f, a, k: p @ a @ f, lambda p, f, a, k: p @ a @ f @ k),
            "the hip is abducted first and flexed after; it is flexed first",
        ),
        Misconception(
            "sign of flexion",
            _space_by_turns(lambda p, f, a, k: p @ f.T @ a, lambda p, f, a, k: p @ f.T @ a @ k),
            "flexion swings the thigh backward: to swing it forward is a negative turn about x",
        ),
        Misconception(
            "sign of the knee",
            _space_by_turns(_thigh, lambda p, f, a, k: p @ f @ a @ k.T),
            "the knee bends the shank forward: flexing it is a positive turn about x",
        ),
        Misconception(
            "degrees for radians",
            lambda p, hip, f, a, k, u, low: _space(
                p, hip, np.radians(f), np.radians(a), np.radians(k), u, low
            ),
            "the angles, which come in radians, are converted from degrees once more",
        ),
        Misconception(
            "hip not turned",
            _space_by_turns(_thigh, _shank, lambda p, hip: p[:3, 3] + hip),
            "the hip's place is added to the pelvis's as it is; it is seen from the pelvis, so the"
            " pelvis's turn carries it",
        ),
        Misconception(
            "child turn as world turn",
            _space_by_turns(_thigh, lambda p, f, a, k: p @ k),
            "the knee turns the shank away from the pelvis; it turns it away from the thigh",
        ),
        Misconception(
            "child first",
            _space_by_turns(lambda p, f, a, k: a @ f @ p, lambda p, f, a, k: k @ a @ f @ p),
            "the turns are multiplied child first; the parent stands on the left",
        ),
        Misconception(
            "transposed",
            _space_by_turns(lambda p, f, a, k: (p @ f @ a).T, lambda p, f, a, k: (p @ f @ a @ k).T),
            "the matrices are transposed: they turn column vectors, `matrix @ vector`",
        ),
    ),
    hints=Hints(
        "Write one line for each joint, from the pelvis down, and let each line use the frame of "
        "the line above: what does each joint add to it?",
        "The same in space: a frame",
        "The pelvis is at the origin and not turned, the hip at (0, 0, 0), both bones 1 m. Flexion "
        "and knee are 90°, abduction 0. The thigh points forward and the shank straight down: the "
        "knee is at (0, 0, 1), the ankle at (0, −1, 1).",
    ),
)


# --- A local frame from world frames


def _any_frame(rng, spread=0.8):
    return fr.frame(
        rotation.matrix_from_euler(rng.uniform(-np.pi, np.pi, 3), "zxy"),
        rng.uniform(-spread, spread, 3),
    )


def _below(rng, parent, length):
    """A child's world frame, hung a bone's length below its parent and turned a little."""
    return parent @ fr.frame(
        rotation.matrix_from_euler(rng.uniform(-1.2, 1.2, 3), "xzy"), [0, -length, 0]
    )


def _draw_local(rng, character):
    cases = [
        (fr.frame(origin=[0.1, 0.9, 0.0]), fr.frame(origin=[0.1, 0.9 - character.thigh, 0.0]))
    ]  # nothing turned
    turned = fr.frame(FACING_BACK, [0.3, 0.9, 0.2])
    cases.append((turned, _below(rng, turned, character.thigh)))
    cases.append((np.eye(4), _any_frame(rng)))  # the world itself is the parent
    for length in (character.thigh, character.shank, 1.0):
        parent = _any_frame(rng)
        cases.append((parent, _below(rng, parent, length)))
    cases += [(_any_frame(rng), _any_frame(rng)) for _ in range(2)]
    return [{"parent": parent, "child": child} for parent, child in cases]


def _judge_local(inputs, output):
    parent, child = inputs.values()
    return _judge_frame(
        parent,
        child,
        output["local"],
        "parent @ your local frame gives back the child exactly.",
        "parent @ your local frame should give the child's world frame",
    )


def _judge_frame(parent, wanted, local, praise, should):
    """The verdict on a local frame whose joint should be at the world frame `wanted`."""
    made = parent @ local
    miss = 100 * float(np.linalg.norm(made[:3, 3] - wanted[:3, 3]))
    off = _off_deg(made, wanted)
    turn = (
        "its axes are not square, or not of length one" if off is None else f"turned by {off:.1f}°"
    )
    measured = {"Your joint lands": f"{miss:.1f} cm from its place", "Its frame": turn}
    bone = np.array([0.0, -0.3, 0.0])
    shown = np.array([made[:3, 3], made[:3, 3] + made[:3, :3] @ bone])
    true = np.array([wanted[:3, 3], wanted[:3, 3] + wanted[:3, :3] @ bone])
    side, view, axes = _clearest(shown - true)
    drawn = view(
        f"Your joint, from the {side}",
        f"A joint with a short bone, {miss:.1f} centimetres from its place, which is dotted.",
        picture.ghost(true[:, axes]),
        picture.chain(shown[:, axes], ["yours"]),
        *([picture.note(true[0, axes], "its place")] if miss > 1 else []),
    )
    placed, faced = miss <= CLOSE_CM, off is not None and off <= CLOSE_DEG
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if placed and faced:
        return verdict(1.0, praise)
    if off is None:
        return verdict(
            0.0,
            f"{should}; yours is not a frame: its last row must be 0 0 0 1, its three axes square"
            " to each other and of length one.",
        )
    if placed:
        return verdict(0.5, f"{should}; the place is right, the axes are turned by {off:.1f}°.")
    if faced:
        return verdict(0.5, f"{should}; the axes are right, the place is {miss:.1f} cm off.")
    return verdict(0.0, f"{should}; it is {miss:.1f} cm off and turned by {off:.1f}°.")


def _off_deg(made, wanted):
    """The angle between two frames' axes; None where the first is not a rigid frame."""
    if not is_turn(made[:3, :3]) or np.abs(made[3] - [0, 0, 0, 1]).max() > SQUARE:
        return None
    turn = wanted[:3, :3].T @ made[:3, :3]
    return float(np.degrees(rotation.rotation_angle(rotation.orthonormalise(turn))))


def _local_not_turned(parent, child):
    return fr.frame(parent[:3, :3].T @ child[:3, :3], child[:3, 3] - parent[:3, 3])


LOCAL = Question(
    "02",
    "local_frame",
    "a joint's local frame from its parent's and its own world frame",
    "function",
    {"local": (4, 4)},
    _draw_local,
    _judge_local,
    (
        Misconception(
            "world as local",
            lambda parent, child: child,
            "the child's world frame is handed on as it is; local means seen from the parent",
        ),
        Misconception(
            "inverse forgotten",
            lambda parent, child: parent @ child,
            "the parent is applied once more where it should be undone",
        ),
        Misconception(
            "inverse of the wrong one",
            lambda parent, child: fr.invert(child) @ parent,
            "the child is undone where the parent should be: this is the parent seen from the"
            " child",
        ),
        Misconception(
            "order swapped",
            lambda parent, child: child @ fr.invert(parent),
            "the parent is undone on the wrong side; it stands on the left of the child",
        ),
        Misconception(
            "place not turned",
            _local_not_turned,
            "the two places are subtracted and left in world axes; the parent's axes count for"
            " places too",
        ),
        Misconception(
            "transposed for inverted",
            lambda parent, child: parent.T @ child,
            "the parent's whole matrix is transposed; that undoes its turn, but not its place",
        ),
    ),
    hints=Hints(
        "Read `parent @ local = child` as an equation: what has to be done to both of its sides, "
        "and on which side of the products, so that `local` stands alone?",
        "Further: reading a frame",
        "A parent at (0, 1, 0) is not turned: a child that stands at (0, 3, 0) has the local place "
        "(0, 2, 0). After half a turn about x the parent's own y axis points down, and the same "
        "child's local place is (0, −2, 0).",
    ),
)


# --- A new parent without moving


def _draw_reparent(rng, character):
    hip = fr.frame(origin=[round(character.hip_width / 2, 3), character.hip_height, 0.0])
    pelvis = fr.frame(origin=[0.0, character.hip_height, 0.0])
    leaning = fr.frame(
        rotation.matrix_about("z", rng.uniform(0.1, 0.3)), [0.05, character.hip_height, 0.0]
    )
    cases = [(np.eye(4), pelvis, hip), (np.eye(4), leaning, hip), (leaning, np.eye(4), hip)]
    for _ in range(5):
        old, new = _any_frame(rng), _any_frame(rng)
        cases.append((old, new, fr.relative(old, _any_frame(rng))))
    return [{"old_parent": old, "new_parent": new, "local": local} for old, new, local in cases]


def _judge_reparent(inputs, output):
    old, new, local = inputs.values()
    return _judge_frame(
        new,
        old @ local,
        output["local"],
        "new parents, and not a joint has moved.",
        "new_parent @ your local frame should be where the joint was",
    )


def _reparent_not_turned(old, new, local):
    return _local_not_turned(new, old @ local)


REPARENT = Question(
    "02",
    "reparent",
    "the local frame that keeps a joint in its place under a new parent",
    "function",
    {"local": (4, 4)},
    _draw_reparent,
    _judge_reparent,
    (
        Misconception(
            "numbers kept",
            lambda old, new, local: local,
            "the local frame is kept; the same numbers under another parent are another place",
        ),
        Misconception(
            "world as local",
            lambda old, new, local: old @ local,
            "the joint's world frame is handed on as its local one; the new parent must be undone"
            " first",
        ),
        Misconception(
            "inverse forgotten",
            lambda old, new, local: new @ old @ local,
            "the new parent is applied where it should be undone",
        ),
        Misconception(
            "inverse of the wrong one",
            lambda old, new, local: fr.invert(old) @ new @ local,
            "the old parent is undone and the new one applied; it is the other way round",
        ),
        Misconception(
            "order swapped",
            lambda old, new, local: old @ local @ fr.invert(new),
            "the new parent is undone on the wrong side; it stands on the left",
        ),
        Misconception(
            "place not turned",
            _reparent_not_turned,
            "the two places are subtracted and left in world axes; the new parent's axes count for"
            " places too",
        ),
    ),
    hints=Hints(
        "Before you think of the new parent, ask what must not change when nothing moves, and "
        "write that down as a frame.",
        "Further: hang the legs from a root",
        "Nothing is turned. Under a parent at (0, 1, 0) a joint at (0, 2, 0) stands at (0, 3, 0) "
        "in the world. A new parent at (0, 4, 0) sees it at (0, −1, 0).",
    ),
)


QUESTIONS = (CARRY, FORWARD, SPACE, LOCAL, REPARENT)
