"""Questions of lesson 04, forward and inverse side by side.

Legs hang straight at rest, where every angle is zero. In the side view x is forward and y is up;
hip flexion takes the thigh forward, knee flexion the shank back, and the ankle's angle is positive
with the toes up.
"""

from functools import partial

import numpy as np

from rigkit import rotation
from rigkit.controls import interpolate_keys
from rigkit.homework import picture
from rigkit.homework.judging import number, right_so_far
from rigkit.homework.question import Hints, Misconception, Question, Verdict
from rigkit.two_bone import planar_points, solve_planar

CHAINS = ("forward", "inverse")
FRAMES = 24
SPACINGS = (12, 6, 4, 3, 2, 1)  # frames from key to key, widest first
NEAR_CM, LEVEL_DEG = 0.5, 1.0  # by hand; a formula's ankle must land within a millimetre
BY_HAND = 0.08  # the share of the largest angle by which one found by hand may differ
SHOWN = 0.6  # the farthest that an answer is drawn from where it belongs, metres
TOE = 0.2  # how far ahead of the ankle a foot is drawn, metres


# --- How far a forward foot slips


def _draw_slip(rng, character):
    foot = (character.hip_width / 2, -character.hip_height)

    def case(left_cm, up_cm, tilt):
        return {"foot": foot, "shift": np.round((left_cm / 100, up_cm / 100), 3), "tilt": tilt}

    return [
        case(0, -13, 0.0),
        case(10, -13, 0.0),
        case(0, 0, 0.25),
        case(-8, 4, -0.15),
        case(0, 0, 0.0),
        case(rng.uniform(5, 20), rng.uniform(-20, -5), rng.uniform(0.1, 0.5)),
        case(rng.uniform(-20, -5), rng.uniform(-20, -5), rng.uniform(-0.5, -0.1)),
    ]


def _turned(point, tilt):
    return rotation.matrix_about("z", tilt)[:2, :2] @ point


def _carried(foot, shift, tilt):
    return shift + _turned(foot, tilt)


def _slip_cm(foot, shift, tilt):
    return 100 * float(np.linalg.norm(_carried(foot, shift, tilt) - foot))


def _judge_slip(inputs, output):
    foot, shift, tilt = inputs["foot"], inputs["shift"], inputs["tilt"]
    yours, true = float(output["slip"]), _slip_cm(foot, shift, tilt)
    hip = np.array([foot[0], 0.0])
    moved = [_carried(point, shift, tilt) for point in (hip * 0, hip, foot)]
    drawn = picture.front_view(
        "The pelvis of this case",
        "Pelvis and left leg in the front view, dotted at rest and as moved: shifted by"
        f" {100 * shift[0]:.0f} cm to the left and {100 * shift[1]:.0f} cm up, tilted"
        f" {np.degrees(tilt):.0f} degrees.",
        picture.ghost([hip * 0, hip, foot]),
        picture.chain(moved, ["pelvis", "hip", "ankle"]),
    )
    measured = {"You say": f"{number(yours)} cm"}
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(yours - true) <= 0.051:
        return verdict(
            1.0, "a forward foot goes where its pelvis carries it, and you know how far."
        )
    way = "long" if yours > true else "short"
    return verdict(
        0.0,
        f"your slip is too {way}; turn the foot about the pelvis, add the shift, and measure in a "
        "straight line from where the foot stood.",
    )


SLIP = Question(
    "04",
    "foot_slip_cm",
    "how far a forward foot slips when the pelvis is shifted and tilted",
    "function",
    {"slip": ()},
    _draw_slip,
    _judge_slip,
    (
        Misconception(
            "only the shift",
            lambda foot, shift, tilt: 100 * np.linalg.norm(shift),
            "only the shift counts; a tilted pelvis swings the whole leg as well",
        ),
        Misconception(
            "only the drop",
            lambda foot, shift, tilt: 100 * abs(shift[1]),
            "only the way up or down counts; a foot also slips sideways",
        ),
        Misconception(
            "degrees for radians",
            lambda foot, shift, tilt: _slip_cm(foot, shift, np.radians(tilt)),
            "the tilt, which comes in radians, is converted from degrees once more",
        ),
        Misconception(
            "turned about the hip",
            lambda foot, shift, tilt: _slip_cm(foot * [0, 1], shift, tilt),
            "the leg turns about its own hip; a tilting pelvis turns about its middle and carries"
            " the hip along",
        ),
        Misconception(
            "turned about the floor",
            lambda foot, shift, tilt: _slip_cm(foot * [1, 0], shift, tilt),
            "the foot turns about the spot on the floor below the pelvis, which is the world's"
            " origin; it turns about the pelvis",
        ),
        Misconception(
            "shift along the tilted axes",
            lambda foot, shift, tilt: 100 * np.linalg.norm(_turned(foot + shift, tilt) - foot),
            "the shift is taken along the pelvis's own tilted axes; it is given along the world's",
        ),
        Misconception(
            "sum of ways",
            lambda foot, shift, tilt: 100 * np.linalg.norm(shift) + _slip_cm(foot, 0 * shift, tilt),
            "the lengths of two ways are added; ways that point in different directions add as"
            " vectors",
        ),
        Misconception(
            "metres",
            lambda foot, shift, tilt: _slip_cm(foot, shift, tilt) / 100,
            "the slip is left in metres",
        ),
    ),
    hints=Hints(
        "Draw the middle of the pelvis, the ankle, and one stiff line between them: what happens "
        "to that line in the tilt, and what in the shift?",
        "One pelvis, two chains",
        "The foot is 1 m straight below the middle of the pelvis. A tilt by a quarter turn, "
        "without a shift, swings it out to 1 m left of the middle. That is √2 m, or 141.4 cm, from "
        "where it stood.",
    ),
)


# --- The compensation, by hand and by formula


def _compensation(upper, lower, drop, ahead=0.0):
    """Hip, knee and ankle, radians, that keep the foot under a hip that has moved."""
    leg = solve_planar((-ahead, drop - upper - lower), upper, lower)
    return np.array([leg.hip, leg.knee, leg.knee - leg.hip])


def _foot_off(upper, lower, drop, ahead, turns):
    """Turned leg's joints and toe, the ankle's place and miss [m], and the sole's tilt, toes up."""
    hip, knee, ankle = turns
    tilt = (hip - knee + ankle + np.pi) % (2 * np.pi) - np.pi
    joints = planar_points(hip, knee, upper, lower) + [ahead, -drop]
    toe = joints[2] + TOE * np.array([np.cos(tilt), np.sin(tilt)])
    stood = np.array([0.0, -upper - lower])
    return np.vstack([joints, toe]), stood, float(np.linalg.norm(joints[2] - stood)), tilt


def _weigh_turns(upper, lower, drop, ahead, turns, near, level, praise):
    joints, stood, miss, tilt = _foot_off(upper, lower, drop, ahead, turns)
    knee = (turns[1] + np.pi) % (2 * np.pi) - np.pi
    back, flat, forward = miss <= near, abs(tilt) <= level, knee > -1e-3
    measured = {
        "Your ankle misses its place by": f"{100 * miss:.1f} cm",
        "Your sole is": (
            f"{number(abs(np.degrees(tilt)), 2)}° toes {'up' if tilt > 0 else 'down'}"
            if abs(tilt) > level / 2
            else "level"
        ),
    }
    drawn = picture.side_view(
        "Your leg under the lower pelvis",
        f"A turned leg in the side view; its ankle is {100 * miss:.1f} centimetres "
        f"from where it stood and its sole {abs(np.degrees(tilt)):.0f} degrees from level.",
        picture.ghost([(0, 0), stood]),
        picture.goal(stood),
        picture.chain(joints, ["hip", "knee", "ankle", ""]),
        *([picture.measure(stood, joints[2], f"{100 * miss:.1f} cm")] if miss > near else []),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if back and flat and forward:
        return verdict(1.0, praise)
    if back and flat:
        return verdict(0.25, "the foot is back, but its knee bends backward; flexion is positive.")
    if back:
        return verdict(
            0.5 if forward else 0.0,
            f"the ankle is back, but the sole is {number(abs(np.degrees(tilt)), 2)}°"
            " from level; the third angle has to take back what the first two did to it.",
        )
    return verdict(
        0.25 if miss <= 4 * near and forward else 0.0,
        f"the ankle misses its place by {100 * miss:.1f} cm; bend the knee until the leg is short"
        " enough, then turn the hip until the ankle is back where it stood.",
    )


def _draw_hand(rng, character):
    return [
        {
            "upper": character.thigh,
            "lower": character.shank,
            "lowered_cm": float(rng.integers(8, 19)),
        }
    ]


def _judge_hand(inputs, output):
    return _weigh_turns(
        inputs["upper"],
        inputs["lower"],
        inputs["lowered_cm"] / 100,
        0.0,
        np.radians(output["angles"]),
        NEAR_CM / 100,
        np.radians(LEVEL_DEG),
        "the foot is back. That took three keys, for one leg in one frame.",
    )


def _hand(change):
    """An answer by hand, in degrees, from hip, knee and ankle of the right one."""
    return lambda upper, lower, lowered_cm: change(
        *np.degrees(_compensation(upper, lower, lowered_cm / 100))
    )


def _alike(mine, theirs):
    """True if angles found by hand have the proportions of others, and about their size."""
    most = np.abs(theirs).max()
    size = np.abs(mine).max() / most
    return 0.5 <= size <= 2 and bool((np.abs(mine / size - theirs) <= BY_HAND * most).all())


HAND = Question(
    "04",
    "by_hand",
    "three angles that bring your character's foot back under a lower pelvis",
    "value",
    {"angles": (3,)},
    _draw_hand,
    _judge_hand,
    (
        Misconception(
            "radians",
            _hand(lambda hip, knee, ankle: np.radians([hip, knee, ankle])),
            "the angles are in radians; this answer belongs in degrees",
        ),
        Misconception(
            "foot left tilted",
            _hand(lambda hip, knee, ankle: (hip, knee, 0.0)),
            "the ankle is left alone, so the sole tilts with the shank",
        ),
        Misconception(
            "hip by the whole knee angle",
            _hand(lambda hip, knee, ankle: (knee, knee, 0.0)),
            "the hip turns by the whole angle of the knee: the shank is upright again, and the foot"
            " is ahead of its place",
        ),
        Misconception(
            "hip the wrong way",
            _hand(lambda hip, knee, ankle: (-hip, knee, knee + hip)),
            "the thigh turns backward; with a bent knee it has to come forward",
        ),
        Misconception(
            "knee alone",
            _hand(lambda hip, knee, ankle: (0.0, knee, knee)),
            "only knee and ankle turn; a bent knee alone swings the foot back",
        ),
    ),
    _alike,
    hints=Hints(
        "One joint makes the leg shorter, one turns the whole leg, one turns the sole alone. Which "
        "does which, and which of them must come last?",
        "Further: put the foot back by hand",
        "Both bones are 1 m, and the pelvis is lowered by 58.6 cm: √2 m are left from hip to "
        "ankle, the diagonal of a square. So the knee bends by 90°, the hip by 45°, and the ankle "
        "takes back 45°.",
    ),
)


def _draw_compensate(rng, character):
    odo = (0.431, 0.649)
    legs = [
        (character.thigh, character.shank),
        odo,
        odo[::-1],
        (character.thigh, character.shank),
        odo,
        (character.thigh, character.shank),
        odo,
    ]
    drops = [
        0.0,
        0.13,
        0.25,
        0.002,
        rng.uniform(0.05, 0.2),
        rng.uniform(0.1, 0.25),
        rng.uniform(0.05, 0.2),
    ]
    shares = [
        0.0,
        0.0,
        0.3,
        0.0,
        rng.uniform(0.2, 0.6),
        -rng.uniform(0.2, 0.6),
        -rng.uniform(0.1, 0.3),
    ]
    cases = []
    for (upper, lower), drop, share in zip(legs, drops, shares, strict=True):
        room = np.sqrt(
            (upper + lower) ** 2 - (upper + lower - drop) ** 2
        )  # further ahead the leg is too short
        cases.append({"upper": upper, "lower": lower, "drop": drop, "ahead": share * room})
    return cases


def _judge_compensate(inputs, output):
    return _weigh_turns(
        **inputs,
        turns=output["turns"],
        near=1e-3,
        level=np.radians(0.2),
        praise="every foot stands where it stood, and flat.",
    )


def _compensate(change):
    """A wrong compensation from hip, knee and ankle of the right one."""
    return lambda upper, lower, drop, ahead: change(*_compensation(upper, lower, drop, ahead))


COMPENSATE = Question(
    "04",
    "compensate",
    "hip, knee and ankle angles that keep a foot in place under a moved pelvis",
    "function",
    {"turns": (3,)},
    _draw_compensate,
    _judge_compensate,
    (
        Misconception(
            "degrees",
            _compensate(lambda hip, knee, ankle: np.degrees([hip, knee, ankle])),
            "the angles are in degrees; they belong in radians",
        ),
        Misconception(
            "sign of the hip",
            _compensate(lambda hip, knee, ankle: (-hip, knee, knee + hip)),
            "the hip turns the other way; flexion takes the thigh forward and is positive",
        ),
        Misconception(
            "hip by the whole knee angle",
            _compensate(lambda hip, knee, ankle: (knee, knee, 0.0)),
            "the hip turns by the whole angle of the knee",
        ),
        Misconception(
            "same angle for both bones",
            _compensate(lambda hip, knee, ankle: (knee / 2, knee, knee / 2)),
            "thigh and shank are tilted by the same angle; that holds only for bones of the same"
            " length under a pelvis that went straight down",
        ),
        Misconception(
            "foot left tilted",
            _compensate(lambda hip, knee, ankle: (hip, knee, 0.0)),
            "the ankle is left alone, so the sole tilts with the shank",
        ),
        Misconception(
            "sign of the ankle",
            _compensate(lambda hip, knee, ankle: (hip, knee, -ankle)),
            "the ankle turns the other way, and the sole tilts twice as far as without it",
        ),
        Misconception(
            "world angle for child angle",
            _compensate(lambda hip, knee, ankle: (hip, knee - hip, knee - hip)),
            "the shank's angle from the vertical is given for the knee; the knee's is measured from"
            " the thigh",
        ),
        Misconception(
            "goal on the wrong side",
            lambda u, low, drop, ahead: _compensation(u, low, drop, -ahead),
            "the ankle's place is taken on the wrong side of the hip: where the pelvis went"
            " forward, it lies behind",
        ),
        Misconception(
            "knee backward",
            lambda u, low, drop, ahead: -_compensation(u, low, drop, -ahead),
            "every sign is turned round: the foot is back, the knee bends backward",
        ),
    ),
    hints=Hints(
        "Mark the hip's new place and the ankle's old one. The line between them and the two bones "
        "make a triangle: how long is the line, and which way does it point?",
        "Further: put the foot back by hand",
        "Both bones are 1 m; the pelvis goes 1 m down and 1 m forward. The ankle's place is then 1 "
        "m below the hip and 1 m behind it, √2 m away. The knee bends by 90°, the thigh hangs "
        "straight down (0°), the shank points straight back, and the ankle takes back 90°.",
    ),
)


# --- Which chain for which job


def _weigh_job(output, right, near, drawn, praise, hint):
    """The verdict on a chain and the other one's distance; alone the chain could be a guess."""
    chosen = output["chain"] == right
    said = f"{output['chain']}, the other one off by {float(output['off']):.2f} cm"
    verdict = partial(Verdict, measured={"You say": said}, picture=drawn)
    if chosen and near:
        return verdict(1.0, praise)
    if near:
        return verdict(0.3, "your distance is right, and it speaks against the chain you chose.")
    return verdict(
        0.1 * chosen, f"{'the chain is right, its reason is not: ' if chosen else ''}{hint}"
    )


def _draw_crouch(rng, character):
    return [
        {
            "upper": character.thigh,
            "lower": character.shank,
            "deep_cm": round(float(rng.uniform(10, 25)), 1),
        }
    ]


def _half_turned(upper, lower, deep_cm):
    """The leg halfway down, its angles half of those at the bottom."""
    hip, knee, _ = _compensation(upper, lower, deep_cm / 100) / 2
    return planar_points(hip, knee, upper, lower) - [0, deep_cm / 200]


def _sunk_cm(upper, lower, deep_cm):
    return 100 * float(np.linalg.norm(_half_turned(upper, lower, deep_cm)[2] + [0, upper + lower]))


def _crouch_as_said(upper, lower, deep_cm, off_cm):
    """Halfway down, with the ankle as far below its place as somebody says."""
    stood, half = np.array([0.0, -upper - lower]), np.array([0.0, -deep_cm / 200])
    below = np.array([0.0, -np.clip(off_cm / 100, -SHOWN, SHOWN)])
    leg = solve_planar(stood + below - half, upper, lower)
    said = f"{off_cm:.1f} cm"
    return picture.side_view(
        "Halfway down, as you say",
        f"A standing leg, dotted, and a leg under a pelvis halfway down; its ankle is {said} below"
        " its place.",
        picture.ghost(planar_points(0, 0, upper, lower)),
        picture.goal(stood),
        picture.chain(planar_points(leg.hip, leg.knee, upper, lower) + half, ["hip", "knee", ""]),
        picture.measure(stood, stood + below, said),
    )


def _judge_crouch(inputs, output):
    off_cm, true = float(output["off"]), _sunk_cm(**inputs)
    quarter = inputs["deep_cm"] / 4  # the lesson's rule: a little more, and right as well
    return _weigh_job(
        output,
        "inverse",
        true - 0.0501 <= off_cm <= quarter + 0.0501,
        _crouch_as_said(**inputs, off_cm=off_cm),
        "between right poses a forward leg is still wrong; a planted foot is a "
        "job for the inverse chain.",
        "halfway down the pelvis has sunk by half, and every angle is half of that at the bottom;"
        " run the forward chain on those and measure from the ankle's place.",
    )


CROUCH = Question(
    "04",
    "crouch_chain",
    "the chain for a crouch, and how far the other one's foot leaves its place",
    "value",
    {"chain": CHAINS, "off": ()},
    _draw_crouch,
    _judge_crouch,
    (
        Misconception(
            "forward keeps a foot",
            lambda u, low, deep: ("forward", _sunk_cm(u, low, deep)),
            "the chain that is off between its keys is chosen for the job",
        ),
        Misconception(
            "right poses, right between",
            lambda u, low, deep: ("inverse", 0.0),
            "the foot is taken to be right between the keys because it is right at them",
        ),
        Misconception(
            "nothing turned",
            lambda u, low, deep: ("inverse", deep / 2),
            "the leg is taken to be straight still, halfway down; its angles are half turned",
        ),
        Misconception(
            "never compensated",
            lambda u, low, deep: ("inverse", deep),
            "that is how far the foot slips when no angle is keyed at all",
        ),
        Misconception(
            "metres",
            lambda u, low, deep: ("inverse", _sunk_cm(u, low, deep) / 100),
            "the distance is left in metres",
        ),
    ),
    hints=Hints(
        "One chain is told in every frame where its ankle belongs, the other only in three. Draw "
        "the leg in the frame halfway between two of those.",
        "Right poses, wrong between",
        "Both bones are 1 m, and the pelvis goes 58.6 cm down: at the bottom the hip is at 45° and "
        "the knee at 90°. Halfway they are at 22.5° and 45°, which makes a leg of 2 · cos 22.5° = "
        "1.848 m. From the hip to the ankle's place it is 1.707 m: the ankle is 14.1 cm too low.",
    ),
)


def _draw_kick(rng, character):
    return [
        {
            "leg_length": character.leg_length,
            "back_deg": float(rng.integers(15, 31)),
            "forward_deg": float(rng.integers(50, 76)),
        }
    ]


def _kicked(leg_length, degrees):
    return leg_length * np.array([np.sin(np.radians(degrees)), -np.cos(np.radians(degrees))])


def _cut_cm(leg_length, back_deg, forward_deg):
    start, end, middle = (
        _kicked(leg_length, d) for d in (-back_deg, forward_deg, (forward_deg - back_deg) / 2)
    )
    return 100 * float(np.linalg.norm(middle - (start + end) / 2))


def _kick_as_said(leg_length, back_deg, forward_deg, off_cm):
    """Halfway through a kick, with the ankle as far inside its arc as somebody says."""
    arc = np.array([_kicked(leg_length, d) for d in np.linspace(-back_deg, forward_deg, 25)])
    middle = arc[len(arc) // 2]
    ankle = middle * (1 - np.clip(off_cm / 100, -SHOWN, SHOWN) / leg_length)
    said = f"{off_cm:.1f} cm"
    return picture.side_view(
        "Halfway through, as you say",
        "A straight leg swung back and swung forward, dotted, and a leg halfway between them; its"
        f" ankle is {said} inside the arc.",
        picture.ghost([arc[0], (0, 0), arc[-1]]),
        ["path", {"points": arc.tolist(), "kind": "plain"}],
        picture.chain([(0, 0), ankle], ["hip", ""]),
        picture.measure(middle, ankle, said),
    )


def _judge_kick(inputs, output):
    off_cm, true = float(output["off"]), _cut_cm(**inputs)
    return _weigh_job(
        output,
        "forward",
        abs(off_cm - true) <= 0.0501,
        _kick_as_said(**inputs, off_cm=off_cm),
        "a swing is one angle; a straight line between two places is not an arc.",
        "halfway, one foot is on the arc that the straight leg swings, the other midway on the line"
        " between the two places; measure from one to the other.",
    )


KICK = Question(
    "04",
    "kick_chain",
    "the chain for a kick, and how far the other one's foot leaves its arc",
    "value",
    {"chain": CHAINS, "off": ()},
    _draw_kick,
    _judge_kick,
    (
        Misconception(
            "inverse for every foot",
            lambda length, back, front: ("inverse", _cut_cm(length, back, front)),
            "the chain whose foot cuts the corner is chosen for the job",
        ),
        Misconception(
            "degrees as radians",
            lambda length, back, front: (
                "forward",
                100 * length * (1 - np.cos((back + front) / 2)),
            ),
            "degrees go into a cosine that takes radians",
        ),
        Misconception(
            "whole angle",
            lambda length, back, front: (
                "forward",
                100 * length * (1 - np.cos(np.radians(back + front))),
            ),
            "the whole swing goes into the cosine; from the middle of the swing to either end it is"
            " half",
        ),
        Misconception(
            "one side only",
            lambda length, back, front: (
                "forward",
                100 * length * (1 - np.cos(np.radians(front - back) / 2)),
            ),
            "the leg swung back counts against the swing; from back to front the angles add up",
        ),
        Misconception(
            "arc less chord",
            lambda length, back, front: (
                "forward",
                100
                * length
                * (np.radians(back + front) - 2 * np.sin(np.radians(back + front) / 2)),
            ),
            "how much longer the arc is than the line is taken for how far they are apart",
        ),
        Misconception(
            "metres",
            lambda length, back, front: ("forward", _cut_cm(length, back, front) / 100),
            "the distance is left in metres",
        ),
    ),
    hints=Hints(
        "Draw the hip, the ankle's two places and two ways from one to the other, one round and "
        "one straight: where are they farthest apart?",
        "Choose the chain",
        "A leg of 1 m swings from 60° back to 60° forward. The middle of the arc is 1 m below the "
        "hip, the middle of the straight line 0.5 m, for the cosine of 60° is a half. They are 50 "
        "cm apart.",
    ),
)


# --- How many values are keyed


def _keyed(upper, lower, deep_cm, every):
    """The leg in the worst frame of a straight crouch, angles keyed in every n-th; its slip, cm."""
    drop = deep_cm / 100 * (1 - np.abs(np.linspace(-1, 1, FRAMES + 1)))
    leg = solve_planar(np.stack([0 * drop, drop - upper - lower], axis=-1), upper, lower)
    turns = interpolate_keys(
        {"leg": {"hip": leg.hip, "knee": leg.knee}}, range(0, FRAMES + 1, every)
    )["leg"]
    down = np.stack([0 * drop, drop], axis=-1)
    legs = planar_points(turns["hip"], turns["knee"], upper, lower) - down[:, None]
    slips = np.linalg.norm(legs[:, 2] + [0, upper + lower], axis=-1)
    return legs[slips.argmax()], 100 * float(slips.max())


def _keyed_slip_cm(upper, lower, deep_cm, every):
    return _keyed(upper, lower, deep_cm, every)[1]


def _draw_keys(rng, character):
    upper, lower, deep_cm = character.thigh, character.shank, float(rng.integers(10, 21))
    chosen = int(rng.integers(1, len(SPACINGS)))
    narrow, wide = (
        _keyed_slip_cm(upper, lower, deep_cm, SPACINGS[i]) for i in (chosen, chosen - 1)
    )
    return [
        {
            "upper": upper,
            "lower": lower,
            "deep_cm": deep_cm,
            "within_cm": round((narrow + wide) / 2, 1),
            "puppets": float(rng.integers(2, 8)),
        }
    ]


def _widest(upper, lower, deep_cm, within_cm, puppets):
    return next(
        every for every in SPACINGS if _keyed_slip_cm(upper, lower, deep_cm, every) <= within_cm
    )


def _poses(every):
    return FRAMES // every + 1


def _keys(every, puppets, angles=6, poses=_poses, pelvis=3):
    return every, puppets * (pelvis + angles * poses(every)), puppets * 3


def _keyed_so(**counted):
    """A wrong count of the right spacing's keys."""
    return lambda *case: _keys(_widest(*case), case[-1], **counted)


def _keys_picture(upper, lower, leg):
    return picture.side_view(
        "Your worst frame",
        "A standing leg, dotted, and the leg in that frame of your crouch in which its ankle is"
        " farthest from its place.",
        picture.ghost(planar_points(0, 0, upper, lower)),
        picture.goal((0, -upper - lower)),
        picture.chain(leg, ["hip", "knee", ""]),
    )


def _judge_keys(inputs, output):
    every, forward, inverse = (float(output[name]) for name in ("every", "forward", "inverse"))
    upper, lower, deep_cm, within_cm, puppets = inputs.values()
    wanted = _keys(_widest(**inputs), puppets)
    keyed = every in SPACINGS
    leg, slip = _keyed(upper, lower, deep_cm, int(every) if keyed else SPACINGS[0])
    measured = {
        "You say": f"every {number(every)} frames; {number(forward)} values with forward legs,"
        f" {number(inverse)} with inverse"
    }
    if keyed:
        measured["At your spacing the foot leaves its place by"] = f"{slip:.2f} cm"
    right = [mine == true for mine, true in zip((every, forward, inverse), wanted, strict=True)]
    # the inverse count hangs on no spacing, so it earns nothing by itself
    score = 0.4 * right[0] + 0.4 * right[1] + 0.2 * (right[2] and any(right[:2]))
    verdict = partial(Verdict, measured=measured, picture=_keys_picture(upper, lower, leg))
    if all(right):
        return verdict(1.0, "a fraction of a centimetre has its price, and now you know it.")
    names = ("spacing", "count for forward legs", "count for inverse legs")
    so_far = right_so_far(dict(zip(names, right, strict=True))) if score else ""
    if not keyed:
        return verdict(
            score,
            "the keys have to be evenly spaced with one in the first, the middle and the last"
            " frame: 12, 6, 4, 3, 2 or 1 frames apart.",
        )
    if not right[0]:
        why = "more than is allowed" if slip > within_cm else "and a wider spacing would still do"
        return verdict(
            score, f"{so_far}at your spacing the foot leaves its place by {slip:.2f} cm, {why}."
        )
    part = "forward" if not right[1] else "inverse"
    return verdict(
        score,
        f"{so_far}the count for {part} legs is not: list the frames that are keyed, and in each of"
        " them the values that somebody sets.",
    )


KEYS = Question(
    "04",
    "keyed_values",
    "how far apart keys may be, and how many values a crouch then takes",
    "value",
    {"every": (), "forward": (), "inverse": ()},
    _draw_keys,
    _judge_keys,
    (
        Misconception(
            "spaces for posts",
            _keyed_so(poses=lambda every: FRAMES // every),
            "the spaces between the keys are counted; the first and the last frame are both keyed",
        ),
        Misconception("one leg", _keyed_so(angles=3), "only one leg is keyed"),
        Misconception(
            "one puppet",
            lambda *case: _keys(_widest(*case), 1),
            "one puppet of the row is counted; each of them is keyed",
        ),
        Misconception(
            "ankle forgotten",
            _keyed_so(angles=4),
            "hip and knee are keyed and the ankle is left out, so the sole tilts",
        ),
        Misconception(
            "pelvis forgotten",
            _keyed_so(pelvis=0),
            "the three keys of the pelvis, which forward legs need as well, are not counted",
        ),
        Misconception(
            "three poses are enough",
            lambda *case: _keys(SPACINGS[0], case[-1]),
            "only standing and the bottom are keyed; look at the foot between them",
        ),
        Misconception(
            "inverse legs keyed too",
            lambda *case: (
                _keys(_widest(*case), case[-1])[:2] + _keys(_widest(*case), case[-1])[1:2]
            ),
            "inverse legs are keyed like forward ones; their feet stay by themselves, at zero",
        ),
    ),
    hints=Hints(
        "Narrow the spacing until the foot is near enough. Only then count, and begin with a "
        "single frame: what is set in it on one puppet?",
        "Right poses, wrong between",
        "Keyed every 12 frames, the two forward legs of one puppet have three angles each set in "
        "frames 0, 12 and 24: 18 values, and with the pelvis's three 21. With inverse legs the "
        "pelvis's 3 are all there are.",
    ),
)


QUESTIONS = (SLIP, HAND, COMPENSATE, CROUCH, KICK, KEYS)
