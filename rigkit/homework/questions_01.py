"""Questions of lesson 01, where movement happens.

Points are (x, y, z) in metres: x to the character's left, y up, z forward; in the side view
(forward, up).
"""

from functools import partial

import numpy as np

from rigkit import body, placement
from rigkit.homework import picture
from rigkit.homework.checking import ROUNDED
from rigkit.homework.judging import number, right_so_far
from rigkit.homework.question import Hints, Misconception, Question, Verdict

HEIGHTS = np.array(
    [0.530, 0.285, 0.039]
)  # of hip, knee and ankle as shares of stature: Drillis and Contini
PLACES = ("front", "middle", "back")


# --- Segment lengths from stature


def _draw_lengths(rng, character):
    statures_cm = [
        100 * character.stature,
        95.0,
        rng.integers(150, 165),
        rng.uniform(165, 195),
        203.5,
        310.0,
    ]
    return [{"stature_cm": round(float(stature), 1)} for stature in statures_cm]


def _lengths(stature_cm):
    table = body.segment_lengths(stature_cm / 100)
    assert table.ankle_height is not None  # the default table has it
    return float(table.thigh), float(table.shank), float(table.ankle_height)


def _judge_lengths(inputs, output):
    stature = inputs["stature_cm"] / 100
    yours = np.array([float(output[name]) for name in LENGTHS.returns])
    right = np.abs(yours - _lengths(**inputs)) <= 1e-3 * stature
    hip, knee, ankle = heights = np.cumsum(yours[::-1])[::-1]
    measured = {
        f"Your {name} stands at": f"{number(height / stature)} of the stature"
        for name, height in zip(("hip", "knee", "ankle"), heights, strict=True)
    }
    drawn = picture.side_view(
        "Your leg beside the stature",
        f"A leg of your lengths beside a line of {100 * stature:.0f} centimetres.",
        picture.ghost([[0.3 * stature, 0], [0.3 * stature, stature]]),
        picture.note([0.3 * stature, stature], f"{100 * stature:g} cm tall"),
        picture.chain([[0, hip], [0, knee], [0, ankle]], ["hip", "knee", "ankle"]),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right.all():
        return verdict(1.0, "three heights, and each bone is the difference of two of them.")
    parts = dict(zip(LENGTHS.returns, right, strict=True))
    wrong = ", ".join(name for name, good in parts.items() if not good)
    return verdict(
        float(right.sum()) / 4,
        f"{right_so_far(parts)}stacked from the floor, your lengths put the joints where the table"
        f" does not; look again at: {wrong}.",
    )


def _of_stature(*shares):
    return lambda stature_cm: tuple(share * stature_cm / 100 for share in shares)


LENGTHS = Question(
    "01",
    "leg_lengths",
    "thigh, shank and ankle height of a leg, from the stature",
    "function",
    {"thigh": (), "shank": (), "ankle height": ()},
    _draw_lengths,
    _judge_lengths,
    (
        Misconception(
            "centimetres",
            lambda stature_cm: tuple(100 * length for length in _lengths(stature_cm)),
            "the stature is left in centimetres; lengths belong in metres",
        ),
        Misconception(
            "heights for lengths",
            _of_stature(*HEIGHTS),
            "heights above the floor are taken for the lengths of bones",
        ),
        Misconception(
            "shank to the floor",
            _of_stature(HEIGHTS[0] - HEIGHTS[1], *HEIGHTS[1:]),
            "the shank reaches down to the floor; it ends at the ankle",
        ),
        Misconception(
            "thigh to the floor",
            _of_stature(HEIGHTS[0], HEIGHTS[1] - HEIGHTS[2], HEIGHTS[2]),
            "the thigh reaches down to the floor; it ends at the knee",
        ),
        Misconception(
            "shares",
            lambda stature_cm: _of_stature(*-np.diff(HEIGHTS), HEIGHTS[2])(100.0),
            "shares of the stature are given back; they still have to be multiplied by it",
        ),
    ),
    hints=Hints(
        "Draw a standing leg beside a ruler and mark the table's three heights on it: at which "
        "marks does each bone begin and end?",
        "Further: bones from a tape measure",
        "At a stature of 100 cm hip, knee and ankle stand 0.530, 0.285 and 0.039 m above the "
        "floor. So the thigh is 0.245 m, the shank 0.246 m, and the ankle's height 0.039 m.",
    ),
)


# --- A joint on the kneecap


def _draw_kneecap(rng, character):
    return [
        {
            "depth_cm": round(float(rng.uniform(6.0, 7.2)) * character.stature, 1),
            "bend_deg": float(rng.choice([70, 75, 80, 85, 90, 100, 105])),
        }
    ]


def _slide_cm(off_cm, angle):
    return float(placement.skin_slide([0.0, 0.0, off_cm], angle))


def _judge_kneecap(inputs, output):
    off, angle = inputs["depth_cm"] / 2, np.radians(inputs["bend_deg"])
    yours, true = float(output["slide"]), _slide_cm(off, angle)
    pin, joint = np.zeros(2), np.array([off, 0.0]) / 100
    gone = _turned(pin, joint, angle)
    drawn = picture.side_view(
        f"The pin's place, after {inputs['bend_deg']:.0f}°",
        "The pin, the joint on the kneecap, and where the pin's "
        "place has swung about the joint: a triangle with two equal sides.",
        picture.ghost([pin, joint, gone]),
        picture.dots([pin, joint]),
        picture.note(pin, "pin"),
        picture.note(joint, "kneecap"),
        picture.arrow(pin, gone, "slide"),
    )
    measured = {"You say": f"{number(yours)} cm"}
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(yours - true) <= 0.0201:
        return verdict(
            1.0, "each point of the shank is off by that much, the sole of the foot too."
        )
    if yours < 0:
        return verdict(
            0.0,
            "a slide is a length and never below zero; a sine that takes radians gives such a"
            " number when degrees go in.",
        )
    near = abs(yours - true) <= 0.1 * true
    return verdict(
        0.25 if near else 0.0,
        "your slide is too"
        f" {'long' if yours > true else 'short'}{', by less than a tenth' if near else ''}; look at"
        " the triangle pin, joint, swung pin, and halve it.",
    )


KNEECAP = Question(
    "01",
    "kneecap_slide_cm",
    "by how many centimetres the skin slides when the knee turns about the kneecap",
    "value",
    {"slide": ()},
    _draw_kneecap,
    _judge_kneecap,
    (
        Misconception(
            "whole depth",
            lambda depth_cm, bend_deg: _slide_cm(depth_cm, np.radians(bend_deg)),
            "the joint is a whole knee's depth from the pin; the pin is midway",
        ),
        Misconception(
            "degrees as radians",
            lambda depth_cm, bend_deg: _slide_cm(depth_cm / 2, bend_deg),
            "degrees go into a sine that takes radians",
        ),
        Misconception(
            "arc for chord",
            lambda depth_cm, bend_deg: depth_cm / 2 * np.radians(bend_deg),
            "the length of the arc is taken; the skin's way from where it belongs is straight, the"
            " chord",
        ),
        Misconception(
            "half the chord",
            lambda depth_cm, bend_deg: _slide_cm(depth_cm / 2, np.radians(bend_deg)) / 2,
            "only half of the triangle is measured, so the chord is twice as long",
        ),
        Misconception(
            "sine of the whole angle",
            lambda depth_cm, bend_deg: depth_cm / 2 * np.sin(np.radians(bend_deg)),
            "the sine of the whole angle is taken, which is how far the pin's place has swung off"
            " its line",
        ),
        Misconception(
            "metres",
            lambda depth_cm, bend_deg: _slide_cm(depth_cm / 200, np.radians(bend_deg)),
            "the slide is left in metres",
        ),
    ),
    lambda mine, theirs: np.isclose(abs(mine), abs(theirs), rtol=ROUNDED),  # a sine may be negative
    hints=Hints(
        "Draw the knee from the side, kneecap to hollow, and mark in it the pin and the misplaced "
        "joint: how far are they apart?",
        "A joint off its centre",
        "In a knee 10 cm deep, joint and pin are 5 cm apart. At a bend of 60° joint, pin and swung "
        "pin are the corners of a triangle with equal sides, so the slide is 5 cm as well.",
    ),
)


# --- Hip centres from two landmarks


def _draw_hips(rng, character):
    def case(width, middle):
        half = np.array([width / 2, 0.0, 0.0])
        return {"left_asis": np.round(middle + half, 4), "right_asis": np.round(middle - half, 4)}

    height = character.hip_height + 0.09
    return [
        case(character.stature * rng.uniform(0.13, 0.15), [0.0, height, 0.06]),
        case(0.24, [0.0, 0.0, 0.0]),  # seen from their own middle
        case(rng.uniform(0.16, 0.19), [0.0, 0.62, 0.04]),  # a child
        case(
            rng.uniform(0.22, 0.27), [rng.uniform(0.5, 3.0), 0.95, rng.uniform(-4, 4)]
        ),  # somewhere on the quay
        case(rng.uniform(0.22, 0.27), [-rng.uniform(0.5, 3.0), 0.98, 0.0]),
        case(1.1, [0.0, 4.3, 0.3]),
    ]  # a parade giant


def _hips(left_asis, right_asis):
    left_asis, right_asis = np.asarray(left_asis), np.asarray(right_asis)
    hips = body.hip_centres("bell-1990", pelvis_width=np.linalg.norm(left_asis - right_asis))
    middle = (left_asis + right_asis) / 2  # the pelvis stands upright and faces +Z
    return middle + hips.left, middle + hips.right


def _hips_picture(hips, asis, sided):
    view, axes = (picture.side_view, [2, 1]) if sided else (picture.front_view, [0, 1])
    seen, marks = hips[:, axes], asis[:, axes]
    return view(
        "Your hips below the ASISs",
        "Both landmarks of the pelvis as dots, and your two hip centres.",
        picture.dots(marks),
        picture.note(marks.mean(axis=0), "ASISs") if sided else picture.ghost(marks),
        picture.dots(seen, "inverse"),
        *(
            picture.note(point, name, "inverse")
            for point, name in zip(seen, ("L", "R"), strict=True)
        ),
    )


def _judge_hips(inputs, output):
    asis = np.array([inputs["left_asis"], inputs["right_asis"]])
    width = np.linalg.norm(asis[0] - asis[1])
    yours = np.array([output["left hip"], output["right hip"]])
    off = yours - _hips(**inputs)
    misses = np.linalg.norm(off, axis=-1)
    right = misses <= 0.004 * width
    sided = np.abs(off[:, 2]).max() > np.abs(off[:, :2]).max()
    measured = {
        f"Your {name} hip, from the middle of the ASISs": ", ".join(
            f"{abs(value):.2f} PW {_way(axis, value)}" for axis, value in enumerate(place)
        )
        for name, place in zip(("left", "right"), (yours - asis.mean(axis=0)) / width, strict=True)
    }
    verdict = partial(Verdict, measured=measured, picture=_hips_picture(yours, asis, sided))
    if right.all():
        return verdict(1.0, "both hips are where the rule puts them, each on its own side.")
    if (np.linalg.norm(yours[::-1] - _hips(**inputs), axis=-1) <= 0.004 * width).all():
        return verdict(
            0.25, "each hip is on the other one's side: the character's left is where x is larger."
        )
    axis = ("x, sideways", "y, height", "z, forward")[int(np.abs(off[np.argmax(misses)]).argmax())]
    parts = dict(zip(("left hip", "right hip"), right, strict=True))
    return verdict(
        0.25 * float(right.sum()),
        f"{right_so_far(parts)}you are furthest off along {axis}, by {_metres(np.abs(off).max())}; "
        "read the rule for that axis again.",
    )


def _way(axis, value):
    return (("right", "left"), ("down", "up"), ("back", "forward"))[axis][int(value > 0)]


def _metres(value):
    return f"{number(value)} m" if value >= 1 else f"{100 * value:.1f} cm"


def _hips_with(forward=-0.19, up=-0.30, outward=0.36, order=(0, 1, 2), start=0.0):
    """A wrong rule: other numbers or order, or begun `start` of the way out to each ASIS."""

    def answer(left_asis, right_asis):
        middle, width = (left_asis + right_asis) / 2, np.linalg.norm(left_asis - right_asis)
        return tuple(
            middle
            + start * (asis - middle)
            + width * np.array([side * outward, up, forward])[list(order)]
            for side, asis in ((1, left_asis), (-1, right_asis))
        )

    return answer


def _hips_from_origin(left_asis, right_asis):
    middle = (left_asis + right_asis) / 2
    return tuple(hip - middle for hip in _hips(left_asis, right_asis))


HIPS = Question(
    "01",
    "hips_from_landmarks",
    "both hip centres from the two ASISs",
    "function",
    {"left hip": (3,), "right hip": (3,)},
    _draw_hips,
    _judge_hips,
    (
        Misconception(
            "sides swapped",
            lambda left, right: _hips(left, right)[::-1],
            "left and right are exchanged; the character's left is +x",
        ),
        Misconception(
            "forward for backward",
            _hips_with(forward=0.19),
            "the hips lie ahead of the landmarks; behind is minus z",
        ),
        Misconception(
            "above for below",
            _hips_with(up=0.30),
            "the hips lie above the landmarks; below is minus y",
        ),
        Misconception(
            "the paper's axes",
            _hips_with(order=(2, 1, 0)),
            "the paper's axes are kept, forward first; ours are left, up, forward",
        ),
        Misconception(
            "out from the ASIS",
            _hips_with(start=1.0),
            "the way outward begins at each ASIS; it begins in the middle between them",
        ),
        Misconception(
            "seen from the middle",
            _hips_from_origin,
            "the hips are given as seen from the middle of the ASISs, which stands elsewhere in the"
            " world",
        ),
    ),
    hints=Hints(
        "The rule gives three steps in words. Write beside each word the axis that it runs along "
        "and its sign, first for the left hip, then for the right one.",
        "Where the hip turns",
        "ASISs at (0.1, 1, 0) and (−0.1, 1, 0) are 0.2 m apart, and their middle is (0, 1, 0). The "
        "steps are 0.072, 0.06 and 0.038 m: the left hip is at (0.072, 0.94, −0.038).",
    ),
)


# --- How far apart the hips are


def _draw_gap(rng, character):
    size = 100 * character.stature
    return [
        {
            "asis_cm": round(float(rng.uniform(0.130, 0.150)) * size, 1),
            "depth_cm": round(float(rng.uniform(0.080, 0.100)) * size, 1),
            # broader than any mistake of the rule's comes out
            "outside_cm": round(float(rng.uniform(0.203, 0.215)) * size, 1),
        }
    ]


def _outward_cm(asis_cm, depth_cm):
    hips = body.hip_centres(
        "harrington", pelvis_width=asis_cm / 100, pelvis_depth=depth_cm / 100, leg_length=0.9
    )  # of the leg only the height depends
    return 100 * float(hips.left[0])


def _judge_gap(inputs, output):
    yours, true = float(output["gap"]), 2 * _outward_cm(inputs["asis_cm"], inputs["depth_cm"])
    outside, asis = inputs["outside_cm"] / 200, inputs["asis_cm"] / 200
    drawn = picture.front_view(
        "Your hips in this pelvis",
        f"The outside of the pelvis, {inputs['outside_cm']:g} centimetres broad, its "
        f"ASISs, and two hip centres as far apart as you say, {yours:.1f} centimetres.",
        picture.measure([-outside, 0.02], [outside, 0.02], f"outside {inputs['outside_cm']:g} cm"),
        picture.dots([[-asis, 0.0], [asis, 0.0]]),
        picture.note([asis, 0.0], "ASIS"),
        picture.dots([[-yours / 200, -0.08], [yours / 200, -0.08]], "inverse"),
        picture.note([yours / 200, -0.08], "yours", "inverse"),
    )
    measured = {
        "You say": f"{number(yours)} cm",
        "That is": f"{yours / inputs['asis_cm']:.2f} of the way from ASIS to ASIS",
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(yours - true) <= 0.0501:
        return verdict(1.0, "the hips stand far inside the outline, and inside the landmarks too.")
    near = abs(yours - true) <= 0.05 * true
    return verdict(
        0.25 if near else 0.0,
        f"your hips are too {'far apart' if yours > true else 'close'}"
        f"{', by less than a twentieth' if near else ''};"
        " the rule adds three lengths, the last of them in millimetres, and gives one hip's way"
        " outward from the middle.",
    )


GAP = Question(
    "01",
    "hip_gap_cm",
    "how far apart your character's hip centres are",
    "value",
    {"gap": ()},
    _draw_gap,
    _judge_gap,
    (
        Misconception(
            "outside breadth",
            lambda asis_cm, depth_cm, outside_cm: outside_cm,
            "the outside breadth of the pelvis is taken for the distance between the joints",
        ),
        Misconception(
            "ASIS to ASIS",
            lambda asis_cm, depth_cm, outside_cm: asis_cm,
            "the distance between the landmarks is taken for the distance between the joints",
        ),
        Misconception(
            "one side",
            lambda asis_cm, depth_cm, outside_cm: _outward_cm(asis_cm, depth_cm),
            "only one side is counted, from the middle outward",
        ),
        Misconception(
            "constant left out",
            lambda asis_cm, depth_cm, outside_cm: 2 * (_outward_cm(asis_cm, depth_cm) - 0.79),
            "the 7.9 millimetres that the rule adds on either side are left out",
        ),
        Misconception(
            "millimetres as centimetres",
            lambda asis_cm, depth_cm, outside_cm: 2 * (_outward_cm(asis_cm, depth_cm) + 7.9 - 0.79),
            "7.9 millimetres are added as if they were centimetres",
        ),
        Misconception(
            "metres",
            lambda asis_cm, depth_cm, outside_cm: _outward_cm(asis_cm, depth_cm) / 50,
            "the distance is left in metres",
        ),
    ),
    lambda mine, theirs: abs(mine - theirs) <= 0.0501,  # asked for to a tenth; two are close
    hints=Hints(
        "Sketch the pelvis from above with its middle and both hips, and draw in what the rule "
        "gives: from where to where does it lead?",
        "Further: five rules for one hip",
        "In a pelvis 10 cm deep, 20 cm from ASIS to ASIS, a hip is 2.8 + 3.2 + 0.79 = 6.79 cm from "
        "the middle. From hip to hip there are 13.58 cm.",
    ),
)


# --- A centre from motion


def _draw_centre(rng, character):
    def case(centre, radius, arc_deg, noise=0.0, frames=16):
        ways = np.radians(arc_deg) / 2 * rng.uniform(-1, 1, (frames, 2))
        down = np.stack(
            [
                np.sin(ways[:, 0]),
                -np.cos(ways[:, 0]) * np.cos(ways[:, 1]),
                np.cos(ways[:, 0]) * np.sin(ways[:, 1]),
            ],
            axis=-1,
        )
        tilt = np.linalg.qr(rng.standard_normal((3, 3)))[0]
        return {
            "markers": np.round(
                centre
                + radius * down @ (tilt if noise else np.eye(3))
                + noise * rng.standard_normal((frames, 3)),
                6,
            )
        }

    hip = np.array([character.hip_width / 2, character.hip_height, 0.0])
    return [
        case(hip, 0.6 * character.thigh, 90, 0.0005),
        case(hip, character.thigh, 70),
        case(hip * [-1, 1, 1], 0.3, 25),  # a small arc, no noise
        case([0.0, 0.0, 0.0], 0.35, 100, 0.0005),  # the joint at the origin
        case([3.0, 1.1, -6.0], 0.42, 80, 0.0005),  # far down the quay
        case(hip, 0.3, 160, frames=5),
    ]  # few pictures


def _centre(markers):
    return placement.centre_of_rotation(np.asarray(markers)[:, None]).centre


def _judge_centre(inputs, output):
    markers, yours = inputs["markers"], output["centre"]
    miss = float(np.linalg.norm(yours - _centre(markers)))
    distances = np.linalg.norm(markers - yours, axis=-1)
    drawn = picture.side_view(
        "The markers and your centre",
        "Where the marker was seen, in the side view, and the centre you give.",
        picture.dots(markers[:, [2, 1]]),
        picture.dots([yours[[2, 1]]], "inverse"),
        picture.note(yours[[2, 1]], "yours", "inverse"),
    )
    measured = {
        "The marker's distance from your centre": (
            f"{100 * distances.min():.1f} to {100 * distances.max():.1f} cm over the recording"
        )
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if miss <= 0.005:
        return verdict(1.0, "the marker keeps its distance from your centre all along.")
    return verdict(
        0.5 if miss <= 0.02 else 0.0,
        f"your centre is {_metres(miss)} off: a marker keeps its distance from the centre it turns"
        " about, and from yours it does not.",
    )


def _fitted(columns, wanted):
    return np.linalg.lstsq(columns, wanted, rcond=None)[0][:3]


def _with_ones(markers):
    return np.column_stack([markers, np.ones(len(markers))])


def _flat_centre(markers):
    side = np.column_stack([2 * markers[:, 1:], np.ones(len(markers))])
    up, forward = _fitted(side, np.sum(markers[:, 1:] ** 2, axis=1))[:2]
    return markers[:, 0].mean(), up, forward


CENTRE = Question(
    "01",
    "turning_centre",
    "the point that a recorded marker turns about",
    "function",
    {"centre": (3,)},
    _draw_centre,
    _judge_centre,
    (
        Misconception(
            "mean of the markers",
            lambda markers: markers.mean(axis=0),
            "the mean of the markers is taken for the centre; it lies on their own side of it",
        ),
        Misconception(
            "middle of their box",
            lambda markers: (markers.min(axis=0) + markers.max(axis=0)) / 2,
            "the middle of the room that the markers fill is taken for the centre",
        ),
        Misconception(
            "factor of two",
            lambda markers: _fitted(_with_ones(markers), np.sum(markers**2, axis=1)),
            "the 2 in |m|² = 2 m·c + k is left out, so the centre comes out at twice its place",
        ),
        Misconception(
            "not squared",
            lambda markers: _fitted(_with_ones(2 * markers), np.linalg.norm(markers, axis=1)),
            "lengths are fitted where squared lengths belong",
        ),
        Misconception(
            "side view only",
            _flat_centre,
            "a circle is fitted in the side view; the marker moves sideways too, so it needs a"
            " sphere",
        ),
        Misconception(
            "where it was first seen",
            lambda markers: markers[0],
            "the marker's first place is taken for the centre",
        ),
    ),
    hints=Hints(
        "Write one row of the system with a marker's own numbers: which of them stand beside the "
        "four unknowns, and which stands alone on the other side?",
        "Further: a centre from motion",
        "A marker is seen at (3, 0, 0), (−1, 0, 0), (1, 2, 0) and (1, 0, 2). The first two rows "
        "are 9 = 6x + k and 1 = −2x + k, so x = 1 and k = 3. Then 5 = 2 + 4y + 3 and 5 = 2 + 4z + "
        "3: the centre is (1, 0, 0).",
    ),
)


# --- Front, middle or back of the knee


def _draw_place(rng, character):
    depth = 0.065 * character.stature
    middle = np.array(
        [rng.uniform(0.01, 0.05), character.ankle_height + character.shank]
    )  # seen from the ground
    aheads = dict(zip(PLACES, (depth / 2, 0.0, -depth / 2), strict=True))
    places = {name: np.round(middle + [ahead, 0.0], 4) for name, ahead in aheads.items()}
    angle_deg = float(rng.choice([50, 55, 65, 70, 75, 80]))
    rivet = np.round(
        middle + [rng.uniform(0.01, 0.04), -rng.uniform(0.5, 0.8) * character.shank], 4
    )
    pin = places[str(rng.choice(["middle", "back"]))]
    return [
        places
        | {
            "rivet": rivet,
            "bent_rivet": np.round(_turned(rivet, pin, np.radians(angle_deg)), 5),
            "bend_deg": angle_deg,
        }
    ]


def _turned(point, centre, angle):
    """A point of the shank, (forward, up), when the knee bends by `angle` about a centre."""
    cosine, sine = np.cos(angle), np.sin(angle)
    forward, up = np.asarray(point) - centre
    return np.array(
        [centre[0] + forward * cosine + up * sine, centre[1] - forward * sine + up * cosine]
    )


def _misses_cm(inputs, turned=_turned):
    angle = np.radians(inputs["bend_deg"])
    return np.array(
        [
            100
            * np.linalg.norm(turned(inputs["rivet"], inputs[place], angle) - inputs["bent_rivet"])
            for place in PLACES
        ]
    )


def _judge_place(inputs, output):
    true, yours, place = _misses_cm(inputs), output["misses"], output["place"]
    right = np.abs(yours - true) <= 0.0501
    chosen = place == PLACES[int(np.argmin(true))]
    landed = _turned(inputs["rivet"], inputs[place], np.radians(inputs["bend_deg"]))
    drawn = picture.side_view(
        f"The rivet, turned about your place: {place}",
        "The hanging shank from your place to the rivet, the shank "
        "turned about your place, and where the rivet was seen.",
        picture.ghost([inputs[place], inputs["rivet"]]),
        picture.goal(inputs["bent_rivet"]),
        picture.chain([inputs[place], landed], [place, ""]),
    )
    measured = {
        "You say": f"{place}, misses of " + ", ".join(f"{miss:.2f}" for miss in yours) + " cm"
    }
    # one miss is nothing for everybody, so one right miss earns nothing
    score = 0.25 * chosen + 0.25 * max(int(right.sum()) - 1, 0)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if chosen and right.all():
        return verdict(
            1.0, "you found the pin without opening the knee; the other two places miss by a chord."
        )
    if right.all():
        return verdict(0.6, "your misses are right; which place do they speak for?")
    parts = {"place": chosen} | {
        f"miss of the {name}": good
        for name, good in zip(PLACES, right, strict=True)
        if right.sum() > 1
    }
    return verdict(
        score,
        f"{right_so_far(parts)}turn the rivet about each place in turn, by the bend in radians and"
        " backward, and measure from where it lands to where it was seen, in centimetres.",
    )


def _place(turned=_turned, factor=1.0, pick=np.argmin):
    """A wrong measurement, and the place that it speaks for."""

    def answer(front, middle, back, rivet, bent_rivet, bend_deg):
        misses = factor * _misses_cm(
            {
                "front": front,
                "middle": middle,
                "back": back,
                "rivet": rivet,
                "bent_rivet": bent_rivet,
                "bend_deg": bend_deg,
            },
            turned,
        )
        return PLACES[int(pick(misses))], misses

    return answer


PLACE = Question(
    "01",
    "knee_place",
    "front, middle or back of the knee, and the misses that prove it",
    "value",
    {"place": PLACES, "misses": (3,)},
    _draw_place,
    _judge_place,
    (
        Misconception(
            "degrees as radians",
            _place(lambda p, c, angle: _turned(p, c, np.degrees(angle))),
            "degrees go into sine and cosine, which take radians",
        ),
        Misconception(
            "bent forward",
            _place(lambda p, c, angle: _turned(p, c, -angle)),
            "the shank is turned forward; a knee takes it backward",
        ),
        Misconception("metres", _place(factor=0.01), "the misses are left in metres"),
        Misconception(
            "largest miss",
            _place(pick=np.argmax),
            "the place with the largest miss is chosen; the pin is where the rivet lands on its"
            " goal",
        ),
        Misconception(
            "not turned",
            _place(lambda p, c, angle: p),
            "the rivet's whole way is measured; turn it about each place first",
        ),
        Misconception(
            "turned about the origin",
            _place(lambda p, c, angle: c + _turned(p, np.zeros(2), angle)),
            "the place is added after the turn, but not taken off before it",
        ),
    ),
    hints=Hints(
        "Do one place first, on squared paper: the way from it to the rivet, that way turned, and "
        "where the rivet lands.",
        "Further: why every point shifts alike",
        "A bend of 90° takes the way (0, −1) to (−1, 0). So a rivet at (0, 0) that turns about (0, "
        "1) lands at (−1, 1). If it is seen there, (0, 1) misses by nothing; turned about (1, 1) "
        "it would land at (0, 2), and miss by √2 m, 141.4 cm.",
    ),
)


QUESTIONS = (LENGTHS, KNEECAP, HIPS, GAP, CENTRE, PLACE)
