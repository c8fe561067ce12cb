"""Questions of lesson 08, what an animator touches.

World axes: x to the character's left, y up, z ahead, in metres; frames are 4×4, angles in radians
unless a name ends in `_deg`.
"""

from dataclasses import replace
from functools import partial

import numpy as np

from rigkit import controls as ct
from rigkit import frames as fr
from rigkit import rotation
from rigkit.homework import picture
from rigkit.homework.judging import is_turn, number
from rigkit.homework.question import WORDS, Hints, Misconception, Question, Verdict

NEAR = 1e-4  # metres and radians: a frame no further off is there
SQUARE = 0.12  # metres: how long a frame's axes are drawn
FAR = 5.0  # metres: what lies further out is not drawn true


def _frame(turn, place):
    return fr.frame(rotation.matrix_from_vector(turn), place)


def _places(rng, far=0.5):
    return rng.uniform(-far, far, 3).round(2) + [0.0, 0.6, 0.0]


def _turned(rng, low_deg, high_deg):
    """A turn vector about a random axis, its size between two angles."""
    axis = rng.normal(size=3)
    return np.radians(rng.uniform(low_deg, high_deg)) * axis / np.linalg.norm(axis)


def _rounded(case):
    """A case as JSON would hold it; rotations to nine digits, which is still rigid."""
    return {name: np.round(value, 9) + 0.0 for name, value in case.items()}


def _apart(yours, wanted):
    """Distance of two frames' origins, m, and angle of their axes, also if `yours` is bent."""
    across = np.linalg.norm(yours[:3, :3] - wanted[:3, :3]) / np.sqrt(8)
    return float(np.linalg.norm((yours - wanted)[:3, 3])), float(2 * np.arcsin(min(across, 1.0)))


def _angle_text(yours, turned):
    return (
        f"{np.degrees(turned):.1f}°"
        if is_turn(yours[:3, :3])
        else "no angle, for its axes make no frame"
    )


def _axes(frame, text, kind):
    """A frame seen from the side: its origin, its y and its z axis."""
    origin = np.clip(frame[[2, 1], 3], -FAR, FAR)
    ways = np.clip(frame[[2, 1], 1:3].T, -2, 2)
    marks = [
        picture.arrow(origin, origin + SQUARE * way, letter, kind)
        for letter, way in zip("yz", ways, strict=True)
        if np.linalg.norm(way) > 0.05
    ]
    return [*marks, picture.dots([origin], kind), picture.note(origin, text, kind)]


def _frames_apart(title, desc, yours, wanted, name):
    """A picture of where a frame came out, and where it belongs."""
    return picture.side_view(
        title, desc, *_axes(wanted, name, "goal"), *_axes(yours, "yours", "miss")
    )


def _judge_frame(yours, wanted, name, good, place, turn):
    """The verdict on a frame: where it comes out, against where it belongs.

    The sentences `place` and `turn` hold {away} and {turned} for the case's own numbers.
    """
    shift, turned = _apart(yours, wanted)
    drawn = _frames_apart(
        f"Where the {name} comes out",
        f"The {name} from the side: where it belongs, and where yours "
        f"is, {100 * shift:.1f} centimetres away.",
        yours,
        wanted,
        name,
    )
    measured = {
        f"The {name} comes out away by": f"{100 * min(shift, 1e6):.2f} cm",
        "And turned against it by": _angle_text(yours, turned),
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if not np.allclose(yours[3], [0, 0, 0, 1], atol=NEAR):
        row = ", ".join(number(round(each, 2)) for each in np.clip(yours[3], -1e6, 1e6))
        return verdict(
            0.0,
            f"a frame's last row is 0, 0, 0, 1; yours is {row}. Frames are multiplied and inverted,"
            " not added, subtracted or transposed.",
        )
    if not is_turn(yours[:3, :3]):
        return verdict(
            0.25 if shift <= NEAR else 0.0,
            "the three axes of a frame are square to each other, of length "
            "one and right-handed; yours are not.",
        )
    if shift <= NEAR and turned <= NEAR:
        return verdict(1.0, good)
    numbers = {"away": _away(shift), "turned": f"{np.degrees(turned):.1f}°"}
    if shift <= NEAR:
        return verdict(0.25, turn.format(**numbers))
    return verdict(0.25 if turned <= NEAR else 0.0, place.format(**numbers))


def _away(shift):
    return f"{100 * min(shift, 1e6):.1f} cm"


# --- Values that read zero


def _draw_zeroed(rng, character):
    def case(turn, moved, shifted):
        rest = _frame(turn, _places(rng))
        return _rounded({"rest": rest, "world": rest @ _frame(moved, shifted)})

    def shift():
        return rng.uniform(-0.4, 0.4, 3)

    still = np.zeros(3)
    up = np.array([0.0, 1.0, 0.0])
    return [
        case(up * rng.uniform(0.3, 0.8), _turned(rng, 20, 50), shift()),
        case(up * rng.uniform(-0.8, -0.3), still, shift()),  # moved without a turn
        case(_turned(rng, 30, 80), _turned(rng, 20, 50), still),  # turned in place
        case(still, _turned(rng, 20, 50), shift()),  # a rest without a turn
        case(_turned(rng, 30, 80), still, still),  # at rest
        case(_turned(rng, 150, 178), _turned(rng, 80, 120), shift()),
        case(_turned(rng, 80, 100), _turned(rng, 120, 170), shift()),
    ]


def _judge_zeroed(inputs, output):
    rest, world = inputs["rest"], inputs["world"]
    if np.allclose(rest, world, atol=1e-8) and not np.allclose(
        output["values"], np.eye(4), atol=NEAR
    ):
        off = _apart(output["values"], np.eye(4))
        return Verdict(
            0.0,
            "this control is at its rest, and your values are not those of a frame that does"
            " nothing.",
            {
                "Your shift at rest": f"{100 * min(off[0], 1e6):.1f} cm",
                "Your turn at rest": f"{np.degrees(off[1]):.1f}°",
            },
            _frames_apart(
                "A control at rest",
                "The control at its rest, and your values put on it.",
                rest @ output["values"],
                world,
                "control",
            ),
        )
    return _judge_frame(
        rest @ output["values"],
        world,
        "control",
        "put on the rest frame, your values bring the control to where it is, and at rest they are"
        " zero.",
        "put on the rest frame, your values bring the control to another place, {away} from where"
        " it is: compute `rest @ values` and compare it with `world`.",
        "put on the rest frame, your values bring the control to the right place, but turned by"
        " {turned} against `world`.",
    )


def _subtracted(rest, world):
    values = np.array(np.linalg.inv(rest) @ world)
    values[:3, 3] = (world - rest)[:3, 3]
    return values


def _turn_left_out(rest, world):
    values = np.eye(4)
    values[:3, 3] = (np.linalg.inv(rest) @ world)[:3, 3]
    return values


ZEROED = Question(
    "08",
    "zeroed",
    "the values of a control, such that they are zero at rest",
    "function",
    {"values": (4, 4)},
    _draw_zeroed,
    _judge_zeroed,
    (
        Misconception(
            "world for local",
            lambda rest, world: world,
            "the control's world frame is given as its values; values begin at the rest frame",
        ),
        Misconception(
            "subtracted",
            _subtracted,
            "the shift is the difference of two places, along the world's axes; values count along"
            " the axes of the rest frame",
        ),
        Misconception(
            "order swapped",
            lambda rest, world: world @ np.linalg.inv(rest),
            "the two frames are multiplied in the other order, which moves things about the world's"
            " origin",
        ),
        Misconception(
            "from world to rest",
            lambda rest, world: np.linalg.inv(world) @ rest,
            "the way back is given, from where the control is to its rest",
        ),
        Misconception(
            "transposed",
            lambda rest, world: rest.T @ world,
            "the whole 4×4 frame is transposed to undo it; that undoes a turn alone, not a frame"
            " with an origin",
        ),
        Misconception("turn left out", _turn_left_out, "the shift is there, the turn is not"),
        Misconception(
            "frames subtracted",
            lambda rest, world: world - rest,
            "the rest frame is subtracted number by number; that leaves no frame, not even the last"
            " row: a frame is undone by its inverse",
        ),
        Misconception(
            "difference added to the identity",
            lambda rest, world: np.eye(4) + world - rest,
            "the rest frame is subtracted number by number from the other; turns do not subtract,"
            " they are undone by an inverse",
        ),
    ),
    hints=Hints(
        "Write down the law that makes a control's world frame of its rest frame and its values:"
        " two of these three are given, so what has to be undone, and on which side?",
        "Further: undo a rest frame, do not subtract it",
        "At rest a control is at (1, 0, 0) and turned by 90° about y, so that its own z points"
        " along the world's x. Now it is at (3, 0, 0), turned as before: 2 m along its own z. Its"
        " values have no turn and the origin (0, 0, 2).",
    ),
)


# --- A turn about a pivot


def _draw_pivot(rng, character):
    ankle = np.array([0.0, character.ankle_height, 0.0])

    def case(rest_turn, pivot, turn):
        return _rounded(
            {
                "rest": _frame(rest_turn, _places(rng, 0.3) - [0.0, 0.6, 0.0]),
                "pivot": pivot,
                "turn": rotation.matrix_from_vector(turn),
            }
        )

    x, y, z = np.eye(3)
    still = np.zeros(3)
    return [
        case(still, ankle, -x * rng.uniform(0.4, 0.7)),
        case(y * rng.uniform(0.3, 0.8), ankle, x * 0.6),
        case(y * rng.uniform(-0.8, -0.3), rng.uniform(0.05, 0.2, 3), _turned(rng, 30, 60)),
        case(_turned(rng, 40, 90), rng.uniform(-0.2, -0.05, 3), _turned(rng, 60, 110)),
        case(still, ankle, y * rng.uniform(0.4, 0.8)),  # the pivot lies on the axis: nothing shifts
        case(z * rng.uniform(0.4, 0.8), ankle, z * np.pi),
        case(y * rng.uniform(0.3, 0.8), still, _turned(rng, 30, 60)),
    ]  # the pivot is the origin


def _about(rest, pivot, turn):
    """The control's frame: a turn that leaves the pivot where it is."""
    values = fr.frame(turn, pivot - turn @ pivot)
    return rest @ values


def _judge_pivot(inputs, output):
    rest, pivot, turn, yours = inputs["rest"], inputs["pivot"], inputs["turn"], output["world"]
    was = fr.apply(rest, pivot)
    now = yours[:3, :3] @ pivot + yours[:3, 3]
    slid = float(np.linalg.norm(now - was))
    wanted = _about(rest, pivot, turn)
    verdict = _judge_frame(
        yours,
        wanted,
        "control",
        "the control has turned, and its pivot has not moved.",
        f"your pivot has moved by {100 * min(slid, 1e6):.1f} cm; the pivot is the one point"
        " that a turn leaves alone."
        if slid > NEAR
        else "your pivot is in its place, but the control is not turned as asked.",
        "the control is in its place, but not turned as asked: the turn comes after the rest frame,"
        " about the control's own axes.",
    )
    return replace(
        verdict,
        measured={
            "The pivot moved by": f"{100 * min(slid, 1e6):.2f} cm",
            "The control is turned against the one asked for by": _angle_text(
                yours, _apart(yours, wanted)[1]
            ),
        },
    )


def _shifted(place):
    return fr.frame(origin=place)


def _only_turn(turn):
    return fr.frame(turn)


PIVOT = Question(
    "08",
    "turn_about",
    "where a control is after a turn about its pivot",
    "function",
    {"world": (4, 4)},
    _draw_pivot,
    _judge_pivot,
    (
        Misconception(
            "about the origin",
            lambda rest, pivot, turn: rest @ _only_turn(turn),
            "the control turns about its own origin, where its outline lies; the pivot is"
            " elsewhere",
        ),
        Misconception(
            "there and back swapped",
            lambda rest, pivot, turn: rest @ _shifted(-pivot) @ _only_turn(turn) @ _shifted(pivot),
            "the two shifts are exchanged; the one that takes the pivot to the origin has to come"
            " first, on the right of the turn",
        ),
        Misconception(
            "not back",
            lambda rest, pivot, turn: rest @ _shifted(pivot) @ _only_turn(turn),
            "the origin has gone to the pivot and stays there; one of the two shifts is missing",
        ),
        Misconception(
            "pivot in the world",
            lambda rest, pivot, turn: _shifted(pivot) @ _only_turn(turn) @ _shifted(-pivot) @ rest,
            "the pivot is taken as a point of the world, and the turn about the world's axes; both"
            " belong to the control",
        ),
        Misconception(
            "other way round",
            lambda rest, pivot, turn: _about(rest, pivot, turn.T),
            "the control turns the opposite way",
        ),
        Misconception(
            "world's axes",
            lambda rest, pivot, turn: fr.frame(
                turn @ rest[:3, :3], fr.apply(rest, pivot) - turn @ rest[:3, :3] @ pivot
            ),
            "the turn comes before the rest frame, about the world's axes; it belongs after it,"
            " about the control's own",
        ),
    ),
    hints=Hints(
        "A rotation leaves one point of its frame alone, and that is not yet the pivot: how could"
        " the pivot be that point for a moment?",
        "Further: the pivot in numbers",
        "A control at rest in the world's origin turns by 90° about z, with its pivot at (0, 1,"
        " 0). Its own origin, 1 m below the pivot, goes a quarter of a circle around it and comes"
        " to (1, 1, 0).",
    ),
)


# --- Outline and pivot

PLACES = ("ankle", "floor", "middle")


def _draw_places(rng, character):
    ahead = character.foot_length / 2 - character.heel_length
    return [
        {
            "up_deg": float(rng.integers(35, 60)),
            "height": character.ankle_height,
            "ahead": round(ahead, 4),
        }
    ]


def _ankle_moves(up_deg, height, ahead):
    """Ways of the ankle, cm: its foot turns about the floor, and about the outline's middle."""
    turn = {"foot": {"turn_x": -np.radians(up_deg)}}
    rest = np.array([0.0, height, 0.0])
    posed = [
        ct.pose([ct.Control("foot", pivot=pivot)], turn)["foot"]
        for pivot in ([0, 0, 0], [0, 0, ahead])
    ]
    return 100 * np.array([np.linalg.norm(fr.apply(frame, rest) - rest) for frame in posed])


def _judge_places(inputs, output):
    true, yours, choice = _ankle_moves(**inputs), output["moves"], output["pivot"]
    up, height, ahead = (inputs[name] for name in ("up_deg", "height", "ahead"))
    at = dict(zip(PLACES, ((0.0, height, 0.0), (0.0, 0.0, 0.0), (0.0, 0.0, ahead)), strict=True))[
        choice
    ]
    frame = ct.pose([ct.Control("foot", pivot=at)], {"foot": {"turn_x": -np.radians(up)}})["foot"]
    sole = np.array(
        [(0.0, height, 0.0), (0.0, 0.0, -0.06), (0.0, 0.0, 2 * ahead + 0.06), (0.0, height, 0.0)]
    )
    drawn = picture.side_view(
        f"Turned about the {choice}",
        "A foot from the side, before the turn, dotted, and after it about the pivot you chose.",
        picture.ghost(sole[:, [2, 1]]),
        picture.chain(fr.apply(frame, sole[[1, 0, 2]])[:, [2, 1]], ["", "ankle", ""]),
        picture.dots([at[:0:-1]], "miss"),
        picture.note(at[:0:-1], "pivot", "miss"),
    )
    measured = {
        "You say": (
            f"{choice} keeps it; {yours[0]:.1f} cm about the floor, {yours[1]:.1f} cm about the"
            " middle"
        )
    }
    right = np.abs(np.abs(yours) - true) <= 0.0501
    keeps = choice == "ankle"
    score = 0.15 * keeps + 0.4 * float(right.sum())
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if keeps and right.all():
        return verdict(
            1.0, "only the pivot itself stays; everything else goes along a circle around it."
        )
    if not keeps:
        return verdict(min(score, 0.5), "look at the picture: does the ankle stay where it was?")
    return verdict(
        score,
        "a distance is wrong: the ankle goes along a circle around the pivot; measure straight from"
        " where it was to where it is, in centimetres.",
    )


def _moves(moves, choice="ankle"):
    return lambda up_deg, height, ahead: (choice, list(moves(up_deg, height, ahead)))


def _radii(height, ahead):
    return 100 * np.array([height, np.hypot(height, ahead)])


MOVED = Question(
    "08",
    "pivot_at",
    "which pivot keeps the ankle, proved by what the others cost",
    "value",
    {"pivot": PLACES, "moves": (2,)},
    _draw_places,
    _judge_places,
    (
        Misconception(
            "where the outline is",
            _moves(_ankle_moves, "floor"),
            "the pivot is left where the outline lies, on the floor; then the ankle moves by the"
            " first of your own two numbers",
        ),
        Misconception(
            "along the circle",
            _moves(lambda up, height, ahead: np.radians(up) * _radii(height, ahead)),
            "the way along the circle is given; measure straight from where the ankle was to where"
            " it is",
        ),
        Misconception(
            "sine of the whole turn",
            _moves(lambda up, height, ahead: np.sin(np.radians(up)) * _radii(height, ahead)),
            "the distances are the radius times the sine of the whole turn, which is the way to the"
            " side alone; the ankle also sinks",
        ),
        Misconception(
            "metres",
            _moves(lambda *inputs: _ankle_moves(*inputs) / 100),
            "the distances are in metres",
        ),
        Misconception(
            "height alone",
            _moves(lambda up, height, ahead: np.repeat(_ankle_moves(up, height, 0.0)[0], 2)),
            "both radii are the ankle's height; the outline's middle also lies ahead of the ankle",
        ),
    ),
    hints=Hints(
        "Draw the foot from the side and a circle around each of the three places, through the"
        " ankle: how large is each, and how far round does the ankle go?",
        "Turn the foot",
        "In a turn of 60° the straight way is as long as the radius, for the triangle has three"
        " equal sides. With the ankle 6 cm over the sole and the middle 8 cm ahead, the ankle"
        " moves by 6.0 cm about the floor and by 10.0 cm about the middle.",
    ),
)


# --- Following with the gap kept


def _draw_follow(rng, character):
    def case(before, moved, gap=None):
        leader = _frame(before, _places(rng))
        follower = leader @ (
            fr.frame(rotation.matrix_from_vector(_turned(rng, 20, 70)), rng.uniform(0.1, 0.4, 3))
            if gap is None
            else gap
        )
        turn, shift = moved
        now = fr.frame(rotation.matrix_from_vector(turn) @ leader[:3, :3], leader[:3, 3] + shift)
        return _rounded({"leader": leader, "follower": follower, "leader_now": now})

    def shift():
        return rng.uniform(-0.4, 0.4, 3)

    y = np.array([0.0, 1.0, 0.0])
    still = np.zeros(3)
    return [
        case(y * rng.uniform(0.3, 0.8), (y * rng.uniform(0.3, 0.6), shift())),
        case(_turned(rng, 30, 80), (still, shift())),  # only shifted
        case(_turned(rng, 30, 80), (_turned(rng, 40, 90), still)),  # only turned
        case(_turned(rng, 30, 80), (_turned(rng, 150, 178), shift())),
        case(still, (y * rng.uniform(0.3, 0.6), shift())),
        case(_turned(rng, 30, 80), (_turned(rng, 40, 90), shift()), np.eye(4)),  # no gap
        case(_turned(rng, 30, 80), (still, still)),
    ]  # nothing moved


def _follow(leader, follower, leader_now):
    return leader_now @ ct.offset_to(leader, follower)


def _judge_follow(inputs, output):
    wanted = _follow(**inputs)
    return _judge_frame(
        output["world"],
        wanted,
        "follower",
        "seen from its leader, the follower is where it was before, wherever the leader went.",
        "seen from its leader, your follower is at another place than before, {away} away: undo"
        " each leader on the left of its follower, and compare the two.",
        "seen from its leader, your follower is at its place, but turned by {turned}.",
    )


def _beside(leader, follower, leader_now):
    """The world's vector kept, and the follower not turned."""
    return fr.frame(follower[:3, :3], leader_now[:3, 3] + (follower - leader)[:3, 3])


def _turned_in_place(leader, follower, leader_now):
    """The world's vector kept, and the leader's turn added on the spot."""
    return fr.frame(
        leader_now[:3, :3] @ leader[:3, :3].T @ follower[:3, :3],
        leader_now[:3, 3] + (follower - leader)[:3, 3],
    )


FOLLOW = Question(
    "08",
    "follow",
    "where a follower goes when its leader moves and the gap is kept",
    "function",
    {"world": (4, 4)},
    _draw_follow,
    _judge_follow,
    (
        Misconception(
            "gap lost",
            lambda leader, follower, now: now,
            "the follower jumps onto its leader: the gap is lost",
        ),
        Misconception(
            "gap along the world's axes",
            _beside,
            "the vector between the two is kept along the world's axes; the gap belongs in the"
            " leader's frame and turns with it",
        ),
        Misconception(
            "turned in place",
            _turned_in_place,
            "the follower turns like its leader, but on the spot; a turn of the leader also swings"
            " it round",
        ),
        Misconception(
            "order swapped",
            lambda leader, follower, now: ct.offset_to(leader, follower) @ now,
            "gap and leader are multiplied in the other order; the leader's world frame comes"
            " first",
        ),
        Misconception(
            "gap the other way",
            lambda leader, follower, now: now @ ct.offset_to(follower, leader),
            "the gap is that of the leader as seen from the follower",
        ),
        Misconception(
            "world for local",
            lambda leader, follower, now: now @ follower,
            "the follower's world frame is taken for its gap; a gap is seen from the leader",
        ),
        Misconception(
            "stayed", lambda leader, follower, now: follower, "the follower has stayed where it was"
        ),
    ),
    hints=Hints(
        "One frame is the same before and after, the follower as its leader sees it: from which"
        " two of the three that are given can you find it?",
        "Follow, and keep the gap",
        "A leader at (0, 0, 0), its follower at (0, 0, 1), both unturned. Now the leader is at (5,"
        " 0, 0), turned by 90° about y, so that its z points along the world's x: the follower is"
        " 1 m that way, at (6, 0, 0), and turned by 90° as well.",
    ),
)


# --- A gap taken in the middle of a scene


def _draw_switch(rng, character):
    def case(leader_turn, values_turn, values_shift):
        base = _frame(_turned(rng, 20, 80), _places(rng))
        return _rounded(
            {
                "leader": _frame(leader_turn, _places(rng)),
                "values": _frame(values_turn, values_shift),
                "world": base @ _frame(values_turn, values_shift),
            }
        )

    def shift():
        return rng.uniform(0.1, 0.3, 3)

    y = np.array([0.0, 1.0, 0.0])
    still = np.zeros(3)
    return [
        case(y * rng.uniform(0.3, 0.8), _turned(rng, 20, 50), shift()),
        case(_turned(rng, 30, 80), still, shift()),
        case(_turned(rng, 30, 80), _turned(rng, 20, 50), still),
        case(still, _turned(rng, 20, 50), shift()),
        case(_turned(rng, 30, 80), still, still),  # values of zero
        case(_turned(rng, 150, 178), _turned(rng, 80, 120), shift()),
    ]


def _judge_switch(inputs, output):
    leader, values, world = (inputs[name] for name in ("leader", "values", "world"))
    return _judge_frame(
        leader @ output["gap"] @ values,
        world,
        "control",
        "with your gap the control follows its new leader, keeps its values, and does not jump.",
        "at the moment of the switch the control jumps by {away}: compute `leader @ gap @ values`"
        " and compare it with `world`; each of the two is undone on the side where it stands.",
        "at the moment of the switch the control stays in its place, but turns by {turned}.",
    )


SWITCH = Question(
    "08",
    "gap_now",
    "the gap with which a control that has values follows a new leader without a jump",
    "function",
    {"gap": (4, 4)},
    _draw_switch,
    _judge_switch,
    (
        Misconception(
            "values twice",
            lambda leader, values, world: fr.relative(leader, world),
            "the values are still in the gap, and then come on top once more; take them out of the"
            " world frame first",
        ),
        Misconception(
            "gap lost",
            lambda leader, values, world: np.eye(4),
            "the gap is one that does nothing, so the control jumps onto its leader",
        ),
        Misconception(
            "values on the wrong side",
            lambda leader, values, world: fr.relative(leader, fr.invert(values) @ world),
            "the values are taken off on the left, as if they came before the base; they come"
            " after it",
        ),
        Misconception(
            "order swapped",
            lambda leader, values, world: world @ fr.invert(values) @ fr.invert(leader),
            "base and leader are multiplied in the other order: undo the leader on the left",
        ),
        Misconception(
            "both undone on the left",
            lambda leader, values, world: fr.invert(leader @ values) @ world,
            "leader and values are both undone on the left; the values stand on the right of the"
            " gap, and are undone there",
        ),
        Misconception(
            "both undone on the right",
            lambda leader, values, world: world @ fr.invert(values @ leader),
            "values and leader are both undone on the right; the leader stands on the left of the"
            " gap, and is undone there",
        ),
        Misconception(
            "sides exchanged",
            lambda leader, values, world: fr.invert(values) @ world @ fr.invert(leader),
            "the sides are exchanged: the leader, on the left of the gap, is undone on the right,"
            " and the values on the left",
        ),
        Misconception(
            "values put on",
            lambda leader, values, world: fr.relative(leader, world) @ values,
            "the values are not undone but put on once more; it is their inverse that takes them"
            " out of the world frame",
        ),
        Misconception(
            "the other way",
            lambda leader, values, world: fr.relative(world @ fr.invert(values), leader),
            "the gap is that of the leader as seen from the control",
        ),
        Misconception(
            "world for local",
            lambda leader, values, world: world @ fr.invert(values),
            "the control's base in the world is given; a gap is seen from the leader",
        ),
    ),
    hints=Hints(
        "At the moment of the change the new law must give the place where the control is already:"
        " write that as an equation, and peel off what stands around the gap.",
        "Further: change the leader",
        "Without any turn, places simply add up. The leader at (2, 0, 0), values of (0, 0, 1), the"
        " control at (5, 0, 0): the gap is (3, 0, −1), for 2 + 3 + 0 = 5 and 0 − 1 + 1 = 0.",
    ),
)


# --- What moves with the pelvis

NOTHING = "nothing"


def _draw_moving(rng, character):
    """A rig in which one foot hangs from the pelvis, and things follow each other."""
    hanging, free = ("L_foot", "R_foot") if rng.random() < 0.5 else ("R_foot", "L_foot")
    follows = {
        "pelvis": NOTHING,
        hanging: "pelvis",
        free: NOTHING,
        free[:2] + "knee": free,
        hanging[:2] + "knee": hanging,
        free[:2] + "lamp": free[:2] + "knee",
        "cape": "pelvis",
        "cape_hem": "cape",
        "dog": NOTHING,
        "dog_leash": "dog",
    }
    names = [str(name) for name in rng.permutation(list(follows))]
    hem = np.round([rng.uniform(0.05, 0.15), -0.6, -rng.uniform(0.2, 0.35)], 3)
    return [
        {
            "controls": names,
            "follows": [follows[name] for name in names],
            "hem": hem,
            "turned_deg": float(rng.integers(40, 80)),
            "lowered_cm": float(rng.integers(5, 15)),
        }
    ]


def _moving(names, follows):
    """The names of all that the pelvis moves, as the library finds them."""
    rig = [
        ct.Control(name, parent=None if leader == NOTHING else leader)
        for name, leader in zip(names, follows, strict=True)
    ]
    return ct.dependents(rig, "pelvis")


def _hem_moves(hem, turned_deg, lowered_cm):
    """The way the cape's hem moves, cm."""
    rig = ct.Control("pelvis"), ct.Control("cape_hem", fr.frame(origin=hem), parent="pelvis")
    turn = {"pelvis": {"turn_y": np.radians(turned_deg), "shift_y": -lowered_cm / 100}}
    return 100 * float(np.linalg.norm((ct.pose(rig, turn)["cape_hem"] - rig[1].rest)[:3, 3]))


def _way_up(name, names, follows):
    """The name of a control and all that leads it, one line each."""
    leads = dict(zip(names, follows, strict=True))
    lines = [name]
    while name in leads:
        name = leads[name]
        lines.append(f"follows {name}")
    return lines


def _names_picture(extra, inputs, yours):
    lines = _way_up(extra[0], inputs["controls"], inputs["follows"]) if extra else sorted(yours)
    return picture.side_view(
        "What it follows" if extra else "Your names",
        "A name you gave, and what leads it." if extra else "The names you gave.",
        *(
            picture.note((0.0, -0.065 * i), line[:25], "miss" if extra else "plain")
            for i, line in enumerate(lines[:8])
        ),
        picture.note((0.6, -0.5), ""),
    )  # the same room for one line and for eight


def _judge_moving(inputs, output):
    true, yours = (
        set(_moving(inputs["controls"], inputs["follows"])),
        {word.strip() for word in output["names"]},
    )
    distance = _hem_moves(inputs["hem"], inputs["turned_deg"], inputs["lowered_cm"])
    off = abs(abs(float(output["moved"])) - distance)
    extra = sorted(yours - true, key=lambda name: (name == "pelvis", name))
    missing = len(true - yours)
    drawn = _names_picture(extra, inputs, yours)
    measured = {
        "You name": f"{len(yours)} controls, {len(yours & true)} of which move with the pelvis",
        "You say the hem moves by": f"{float(output['moved']):.1f} cm",
    }
    named, near = not extra and not missing, off <= 0.0501
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if named and near:
        return verdict(1.0, "followers move, and theirs, and so on; all else stays.")
    if extra:
        others_named = extra == ["pelvis"] and not missing
        return verdict(0.25 * near + 0.25 * others_named, _extra_advice(extra[0], inputs))
    if missing:
        return verdict(
            0.25 * near,
            f"{missing} more of them {'moves' if missing == 1 else 'move'} with the pelvis: "
            "followers of followers count as well.",
        )
    return verdict(
        0.3,
        "the names are right, the distance is not: the hem goes along a level circle around the "
        "pelvis, and down; measure straight from where it was to where it is.",
    )


def _extra_advice(name, inputs):
    if name == "pelvis":
        return "pelvis is the control that is moved; asked for are all others that move with it."
    if name not in inputs["controls"]:
        return f"there is no control called {name[:25]}."
    return (
        f"{name} does not move with the pelvis: go from it to what it follows, and on, until"
        " nothing is left."
    )


def _named(names, moved=_hem_moves):
    return lambda controls, follows, hem, turned_deg, lowered_cm: (
        list(names(controls, follows)),
        float(moved(hem, turned_deg, lowered_cm)),
    )


def _direct(names, follows):
    return [name for name, leader in zip(names, follows, strict=True) if leader == "pelvis"]


def _level(hem, turned_deg, lowered_cm):
    return 100 * 2 * np.hypot(hem[0], hem[2]) * np.sin(np.radians(turned_deg) / 2)


def _whole_radius(hem, turned_deg, lowered_cm):
    return np.hypot(200 * np.linalg.norm(hem) * np.sin(np.radians(turned_deg) / 2), lowered_cm)


MOVES = Question(
    "08",
    "moves",
    "what moves when the pelvis control does, and how far one of them goes",
    "value",
    {"names": WORDS, "moved": ()},
    _draw_moving,
    _judge_moving,
    (
        Misconception(
            "direct followers only",
            _named(_direct),
            "only those that follow the pelvis directly are named; their own followers come along"
            " as well",
        ),
        Misconception(
            "everything",
            _named(lambda names, follows: [name for name in names if name != "pelvis"]),
            "every control is named; one whose leaders never come to the pelvis stays",
        ),
        Misconception(
            "both feet",
            _named(
                lambda names, follows: sorted(
                    {*_moving(names, follows), "L_foot", "R_foot", "L_knee", "R_knee"}
                )
            ),
            "both legs are named; one of the feet follows nothing and stays, with all that"
            " follows it",
        ),
        Misconception(
            "turn without the drop",
            _named(_moving, _level),
            "the distance is that of the turn alone; the pelvis also goes down",
        ),
        Misconception(
            "drop only",
            _named(_moving, lambda hem, turned_deg, lowered_cm: lowered_cm),
            "the distance is how far the pelvis goes down; its turn swings the hem round as well",
        ),
        Misconception(
            "sloping radius",
            _named(_moving, _whole_radius),
            "the radius is the whole distance to the hem; the circle is level, so height does not"
            " count",
        ),
        Misconception(
            "metres",
            _named(_moving, lambda *inputs: _hem_moves(*inputs) / 100),
            "the distance is in metres",
        ),
    ),
    hints=Hints(
        "Trace each control from leader to leader until there is none; and draw the hem's way"
        " twice, from above for the turn, from the side for the drop.",
        "Further: parent or follow",
        "A cape follows the pelvis, a lantern the hand, and the hand nothing: only the cape moves."
        " A hem 3 cm beside and 4 cm behind the pelvis's upright line is 5 cm from it; a turn of"
        " 60° takes it 5 cm, and with a drop of 12 cm that makes 13.0 cm.",
    ),
)


QUESTIONS = (ZEROED, PIVOT, MOVED, FOLLOW, SWITCH, MOVES)
