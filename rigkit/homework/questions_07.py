"""Questions of lesson 07, where the knee points.

World axes: x to the character's left, y up, z ahead, in metres; angles in radians unless a name
ends in `_deg`.
"""

from functools import partial

import numpy as np

from rigkit import bend as bends
from rigkit import controls, puppets, rotation, two_bone
from rigkit.homework import picture
from rigkit.homework.judging import number
from rigkit.homework.question import Hints, Misconception, Question, Verdict
from rigkit.leg import LegRig
from rigkit.skeleton import SIDE_TAGS

AHEAD, UP = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])
QUIET = 1e-6  # metres: a knee that moves no more has not moved
FLIP_DEG = 90.0  # a bend plane that turns by more from one frame to the next has flipped


def _leg(rng, puppet, bend_deg, swivel_deg, lean_deg=(20, 20), side=1, size=1.0):
    """Hip, knee and ankle of a leg that leans by up to `lean_deg` by chance; shape (3, 3)."""
    upper, lower = (size * bone for bone in puppet.bones[-2:])
    reach = (upper + lower) * (1 - bends.reach_cost(np.radians(bend_deg), upper, lower))
    across, along = np.radians(rng.uniform(-1, 1, 2) * lean_deg)
    hip = size * np.array([side * puppet.hip_width / 2, puppet.hip_height, 0.0])
    down = np.array(
        [np.sin(across), -np.cos(across) * np.cos(along), np.cos(across) * np.sin(along)]
    )
    ankle = hip + reach * down
    return np.stack(
        [hip, two_bone.solve(hip, ankle, upper, lower, swivel=np.radians(swivel_deg)).knee, ankle]
    )


def _case(leg, **more):
    return dict(zip(("hip", "knee", "ankle"), leg, strict=True)) | more


def _solved(hip, knee, ankle, pole=None, **how):
    """The leg of these bones between hip and ankle, turned toward a pole: a `TwoBonePose`."""
    return two_bone.solve(
        hip, ankle, np.linalg.norm(knee - hip), np.linalg.norm(ankle - knee), pole, **how
    )


def _unit(vector):
    return vector / max(np.linalg.norm(vector), 1e-150)


def _beside(hip, knee, ankle):
    """The point of the hip–ankle line beside the knee."""
    line = _unit(ankle - hip)
    return hip + (knee - hip) @ line * line


def _from_above(points):
    """Points as the top view has them: the character's left, backward."""
    return np.asarray(points)[..., [0, 2]] * [1, -1]


def _show_leg(hip, knee, ankle, distance=None):
    from rigkit.homework import cases  # here, because only a learner who asks needs it

    return cases.leg_panel(hip, knee, ankle)


# --- The axis of the knee


def _draw_hinge(rng, character):
    legs = [
        _leg(rng, character, rng.uniform(20, 70), rng.uniform(-25, -5)),
        _leg(rng, character, rng.uniform(20, 70), rng.uniform(5, 25), side=-1),
        _leg(rng, character, rng.uniform(2, 5), rng.uniform(30, 60)),
        _leg(rng, character, rng.uniform(95, 130), rng.uniform(-60, -30), side=-1),
        _leg(rng, character, rng.uniform(30, 60), rng.uniform(-20, 20), size=0.05),  # a marionette
        _leg(rng, puppets.PUPPETS["Odo"], rng.uniform(10, 40), rng.uniform(-20, 20)),
        _leg(rng, puppets.PUPPETS["heron"], rng.uniform(20, 60), 180 + rng.uniform(-15, 15)),
    ]
    return [_case(leg) for leg in legs]


def _hinge(hip, knee, ankle):
    return _solved(hip, knee, ankle, pole=knee).hinge


def _hinge_picture(edges, hip, knee, ankle, axis):
    reach = np.linalg.norm(edges, axis=1).sum()
    return picture.front_view(
        "Your axis at the knee",
        "A leg from the front, with the axis you gave drawn at its knee.",
        picture.chain(np.array([hip, knee, ankle])[:, :2], ["hip", "", "ankle"]),
        picture.arrow(knee[:2], (knee + 0.35 * reach * axis)[:2], "yours"),
    )


def _judge_hinge(inputs, output):
    hip, knee, ankle, yours = inputs["hip"], inputs["knee"], inputs["ankle"], output["axis"]
    length = float(np.linalg.norm(yours))
    axis = _unit(yours)
    edges = np.array([knee - hip, ankle - knee])
    bones = edges / np.linalg.norm(edges, axis=1, keepdims=True)
    off_deg = float(np.degrees(np.arcsin(np.clip(np.abs(bones @ axis).max(), 0, 1))))
    turned = rotation.matrix_from_vector(np.radians(1) * axis) @ edges[1]
    gained = float(
        np.degrees(rotation.angle_between(edges[0], turned) - rotation.angle_between(*edges))
    )
    drawn = _hinge_picture(edges, hip, knee, ankle, axis)
    measured = {
        "Its length": number(length, 4),
        "It is off from square to thigh and shank by": f"{off_deg:.1f}°",
        "A turn of 1° about it changes the flexion by": f"{gained:+.2f}°",
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if not length > 1e-12:
        return verdict(0.0, "an axis needs a length above zero.")
    square, flexes, unit = off_deg <= 0.1, gained > 0, abs(length - 1) <= 1e-4
    if square and flexes and unit:
        return verdict(1.0, "square to the bend plane, of length one, and a positive turn flexes.")
    if not square:
        return verdict(
            0.0,
            "the axis does not stand square to thigh and shank; a knee that turns about it leaves"
            " its plane.",
        )
    if not flexes:
        return verdict(
            0.25,
            "your axis is square to the bend plane, but a positive turn about it straightens the "
            "knee.",
        )
    return verdict(0.5, "direction and sign are right, the length is not one.")


HINGE = Question(
    "07",
    "hinge_axis",
    "the axis square to the bend plane about which a positive turn is flexion",
    "function",
    {"axis": (3,)},
    _draw_hinge,
    _judge_hinge,
    (
        Misconception(
            "wrong order",
            lambda h, k, a: -_hinge(h, k, a),
            "the two sides stand in the cross product in the wrong order",
        ),
        Misconception(
            "not unit",
            lambda h, k, a: np.cross(k - h, a - h),
            "the cross product is taken as it comes; its length is twice the triangle's area,"
            " not one",
        ),
        Misconception(
            "points for sides",
            lambda h, k, a: _unit(np.cross(k, a)),
            "the cross product is taken of two points; it takes two sides, each a point minus"
            " another",
        ),
        Misconception(
            "always to the left",
            lambda h, k, a: np.array([1.0, 0.0, 0.0]),
            "the axis is always +x, whichever way the leg is turned",
        ),
        Misconception(
            "where the knee points",
            lambda h, k, a: _unit(k - _beside(h, k, a)),
            "the direction in which the knee points is given; the axis is square to it",
        ),
        Misconception(
            "bone axis",
            lambda h, k, a: _unit(h - k),
            "the axis along the thigh is given, about which a knee cannot bend",
        ),
    ),
    hints=Hints(
        "Draw hip, knee and ankle as a triangle: what stands square to all of its sides, and what"
        " can be measured from two of them?",
        "The bend plane and its axis",
        "Hip (0, 2, 0), knee (0, 1, 1), ankle (0, 0, 0), in metres: the leg lies in the plane of y"
        " and z and its knee points ahead, so the axis is (1, 0, 0), to the character's left.",
    ),
    shows=_show_leg,
)


# --- One number for where a knee points


def _draw_swivel(rng, character):
    odo = puppets.PUPPETS["Odo"]
    legs = [
        _leg(rng, character, rng.uniform(40, 70), -rng.uniform(15, 40)),
        _leg(rng, character, rng.uniform(40, 70), rng.uniform(15, 40), side=-1),
        _leg(rng, character, rng.uniform(40, 70), rng.uniform(15, 40)),
        _leg(rng, character, rng.uniform(40, 70), -rng.uniform(15, 40), (0, 0), -1),
        _leg(rng, character, rng.uniform(30, 60), rng.uniform(110, 165), (30, 30)),
        _leg(rng, character, rng.uniform(30, 60), -rng.uniform(110, 165), (30, 30), -1),
        _leg(rng, character, rng.uniform(3, 6), rng.uniform(50, 80)),
        _leg(rng, odo, rng.uniform(30, 60), -rng.uniform(20, 50), (30, 30)),
    ]
    return [_case(leg) for leg in legs]


def _swivel(hip, knee, ankle):
    return float(two_bone.swivel_angle(hip, knee, ankle))


def _judge_swivel(inputs, output):
    leg, yours = [inputs[name] for name in ("hip", "knee", "ankle")], float(output["swivel"])
    hip, knee, ankle = leg
    off = float(np.remainder(yours - _swivel(*leg) + np.pi, 2 * np.pi) - np.pi)
    there = _solved(hip, knee, ankle, swivel=yours).knee
    apart = float(np.linalg.norm(there - knee))
    drawn = picture.top_view(
        "Your swivel, from above",
        "A leg from above, dotted, and the leg that your swivel gives, its "
        f"knee {100 * apart:.1f} centimetres away.",
        picture.ghost(_from_above(leg)),
        picture.chain(_from_above([hip, there, ankle]), ["hip", "yours", ""]),
        *(
            [picture.measure(_from_above(knee), _from_above(there), f"{100 * apart:.1f} cm")]
            if apart > 0.01
            else []
        ),
    )
    measured = {
        "You say": f"{np.degrees(yours):.1f}°, which is {number(yours)} rad",
        "A leg with your swivel has its knee away by": f"{100 * apart:.1f} cm",
        "Which is a turn of": f"{abs(np.degrees(off)):.1f}°",
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(off) <= 1e-3:
        return verdict(
            1.0, "a leg built with your swivel has its knee right there, on either side."
        )
    mirrored = abs(np.remainder(yours + _swivel(*leg) + np.pi, 2 * np.pi) - np.pi) <= 1e-3
    if mirrored:
        return verdict(
            0.25,
            "the size fits, the sign does not: point your right thumb from hip to ankle, and count "
            "the way your fingers curl.",
        )
    return verdict(
        0.5 if abs(off) <= np.radians(3) else 0.0,
        "your swivel turns the knee to another place; measure square to the line from hip to ankle,"
        " from straight ahead to the knee.",
    )


def _swivel_from_above(hip, knee, ankle):
    x, _, z = knee - hip
    return np.arctan2(-x, z)


def _swivel_exchanged(hip, knee, ankle):
    angle = _swivel(hip, knee, ankle)
    return np.arctan2(np.cos(angle), np.sin(angle))


SWIVEL = Question(
    "07",
    "swivel",
    "where a knee points, as one angle about the line from hip to ankle",
    "function",
    {"swivel": ()},
    _draw_swivel,
    _judge_swivel,
    (
        Misconception(
            "degrees",
            lambda h, k, a: np.degrees(_swivel(h, k, a)),
            "the swivel is in degrees; it belongs in radians",
        ),
        Misconception(
            "from ankle to hip",
            lambda h, k, a: -_swivel(h, k, a),
            "the turn is counted about the direction from ankle to hip; it belongs about hip to"
            " ankle",
        ),
        Misconception(
            "outward positive",
            lambda h, k, a: -np.sign(h[0]) * _swivel(h, k, a),
            "outward counts as positive on the left leg too; one right hand serves both legs",
        ),
        Misconception(
            "no sign",
            lambda h, k, a: abs(_swivel(h, k, a)),
            "the angle has lost its sign, as an arc cosine loses it; arctan2 keeps it",
        ),
        Misconception(
            "from above",
            _swivel_from_above,
            "the angle is read in the view from above, which fits only a leg that hangs straight"
            " down",
        ),
        Misconception(
            "arguments exchanged",
            _swivel_exchanged,
            "the two arguments of arctan2 are exchanged: the part across comes first, then the part"
            " ahead",
        ),
    ),
    hints=Hints(
        "Look down along the line, from the hip to the ankle, as if at a clock: the knee is on its"
        " rim, but where on the rim is straight ahead once the leg leans?",
        "Further: one number, the swivel",
        "Hip (0, 2, 0), knee (1, 1, 0), ankle (0, 0, 0): the knee points to the character's left,"
        " a quarter turn from straight ahead. With the right thumb down, the fingers curl from"
        " ahead to the right, so left has a minus: −π/2, which is −1.571.",
    ),
    shows=_show_leg,
)


# --- A pole that moves nothing


def _draw_pole(rng, character):
    def leg(puppet, low, high, side=1):
        return _case(
            _leg(rng, puppet, rng.uniform(low, high), -side * rng.uniform(10, 40), side=side),
            distance=round(float(rng.uniform(0.3, 1.1)), 2),
        )

    odo, pip = puppets.PUPPETS["Odo"], puppets.PUPPETS["Pip"]
    return [
        leg(character, 4, 8),
        leg(character, 4, 8, -1),
        leg(character, 40, 80),
        leg(character, 40, 80, -1),
        leg(odo, 5, 10),
        leg(odo, 50, 90, -1),
        leg(pip, 10, 30),
        leg(character, 100, 130),
    ]


def _pole_picture(knee, yours, apart, pop, hip, ankle, after):
    shown = knee + (yours - knee) * min(
        1.0, 2.0 / max(apart, 1e-9)
    )  # a pole in the next street would shrink the leg
    return picture.top_view(
        "Your pole, from above",
        "A leg from above. When your pole takes over, its knee moves by "
        f"{100 * pop:.1f} centimetres from the dotted leg.",
        picture.ghost(_from_above([hip, knee, ankle])),
        picture.chain(_from_above([hip, after.knee, ankle]), ["hip", "", ""]),
        picture.pole(_from_above(shown), "your pole"),
    )


def _judge_pole(inputs, output):
    hip, knee, ankle, distance = (inputs[name] for name in ("hip", "knee", "ankle", "distance"))
    yours, before = output["pole"], _solved(hip, knee, ankle, pole=knee)
    after = _solved(hip, knee, ankle, pole=yours)
    pop = float(np.linalg.norm(after.knee - knee))
    turn = float(np.degrees(rotation.angle_between(before.hinge, after.hinge)))
    line = _unit(ankle - hip)
    along = abs(float((yours - knee) @ line))
    apart = float(np.linalg.norm(yours - knee))
    drawn = _pole_picture(knee, yours, apart, pop, hip, ankle, after)
    measured = {
        "The knee jumps by": f"{100 * pop:.2f} cm",
        "It turns by": f"{turn:.2f}°",
        "Your pole is from the knee": f"{apart:.3f} m",
        "Along the line from hip to ankle it is off the knee by": f"{100 * along:.1f} cm",
    }
    quiet, square, placed = pop <= QUIET, along <= 1e-3, abs(apart - distance) <= 1e-3
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if not after.guided:
        return verdict(0.0, "your pole lies on the line from hip to ankle and gives no direction.")
    if quiet and square and placed:
        praise = "each pole takes over and no knee moves, not even by a thousandth of a millimetre."
        return verdict(1.0, praise)
    if quiet:
        where = (
            "its distance from the knee is not the one asked for"
            if square
            else "it is not right in front of the knee: along the line from hip to ankle it stands"
            " higher or lower"
        )
        return verdict(0.5, f"your pole lies in the bend plane, but {where}.")
    if turn > 90:
        return verdict(
            0.0, "when your pole takes over, the knee turns to the other side of the leg."
        )
    return verdict(
        0.25 if turn <= 1 else 0.0,
        f"when your pole takes over, the knee turns by {turn:.1f}°: the pole is out of the bend"
        " plane.",
    )


def _pole(hip, knee, ankle, distance):
    return two_bone.place_pole(hip, knee, ankle, distance)


POLE = Question(
    "07",
    "pole",
    "a pole that moves nothing when it takes over",
    "function",
    {"pole": (3,)},
    _draw_pole,
    _judge_pole,
    (
        Misconception(
            "straight ahead",
            lambda h, k, a, d: k + d * AHEAD,
            "the pole goes straight ahead of the knee, along the world's z, whichever way the knee"
            " points",
        ),
        Misconception(
            "behind",
            lambda h, k, a, d: 2 * k - _pole(h, k, a, d),
            "the pole lies behind the leg, on the side away from the knee",
        ),
        Misconception(
            "from the hip",
            lambda h, k, a, d: h + _pole(h, k, a, d) - k,
            "the distance is measured from the hip; it belongs in front of the knee",
        ),
        Misconception(
            "from the line",
            lambda h, k, a, d: _beside(h, k, a) + _pole(h, k, a, d) - k,
            "the distance is measured from the line between hip and ankle; it belongs in front of"
            " the knee",
        ),
        Misconception(
            "from the middle",
            lambda h, k, a, d: k + d * _unit(k - (h + a) / 2),
            "the direction is taken from the middle of the line between hip and ankle; right beside"
            " the knee is the middle only where both bones are equally long",
        ),
        Misconception(
            "along the thigh",
            lambda h, k, a, d: k + d * _unit(k - h),
            "the pole lies on beyond the thigh; it belongs square to the line from hip to ankle",
        ),
        Misconception(
            "direction not unit",
            lambda h, k, a, d: k + d * (k - _beside(h, k, a)),
            "the direction is used as it comes, a few centimetres long; make it one metre long"
            " first",
        ),
    ),
    hints=Hints(
        "A pole only says in which plane the knee lies, and on which side of the line: which plane"
        " and side are they now, before your pole takes over?",
        "Put the pole where nothing moves",
        "Hip (0, 2, 0), knee (0.5, 1.5, 0), ankle (0, 0, 0), distance 0.5: the line is upright and"
        " the knee points to the left, so the pole is half a metre further to the left, as high as"
        " the knee: (1, 1.5, 0).",
    ),
    shows=_show_leg,
)


# --- How far away


def _draw_distance(rng, character):
    turn_deg = float(rng.choice([1.0, 1.5, 2.0]))
    return [
        {
            "upper": character.thigh,
            "lower": character.shank,
            "bend_deg": float(rng.integers(40, 71)),
            "off_cm": round(float(rng.uniform(0.8, 2.4)) * turn_deg, 1),
            "turn_deg": turn_deg,
        }
    ]


def _standing(upper, lower, bend_deg):
    """A leg bent in the plane straight ahead; shape (3, 3)."""
    straight = [[0, upper + lower, 0], [0, lower, 0], [0, 0, 0]]
    return bends.preset_bend(straight, np.radians(bend_deg))


def _turn_deg(upper, lower, bend_deg, off_cm, distance_cm):
    """The angle the knee turns by for a pole that is off by so much at this distance."""
    hip, knee, ankle = _standing(upper, lower, bend_deg)
    poles = knee + np.array([[0, 0, distance_cm], [off_cm, 0, distance_cm]]) / 100
    before, after = two_bone.solve(hip, ankle, upper, lower, poles).hinge
    return float(np.degrees(rotation.angle_between(before, after)))


def _stands_off_cm(upper, lower, bend_deg):
    hip, knee, ankle = _standing(upper, lower, bend_deg)
    return 100 * float(np.linalg.norm(knee - _beside(hip, knee, ankle)))


def _judge_distance(inputs, output):
    yours = float(output["distance"])
    turn = _turn_deg(
        **{name: inputs[name] for name in ("upper", "lower", "bend_deg", "off_cm")},
        distance_cm=yours,
    )
    allowed = inputs["turn_deg"]
    leg = _standing(inputs["upper"], inputs["lower"], inputs["bend_deg"])
    shown = leg[1, 2] + np.clip(yours / 100, -2, 2)
    drawn = picture.top_view(
        "Your pole, from above",
        "A leg from above with your pole, and where it is when it is off.",
        picture.chain(_from_above(leg), ["hip", "", ""]),
        picture.pole((0, -shown), "your pole"),
        picture.dots([(inputs["off_cm"] / 100, -shown)], "miss"),
    )
    measured = {
        "You say": f"{yours:.1f} cm in front of the knee",
        f"Off by {inputs['off_cm']:g} cm, your pole turns the knee by": f"{number(turn)}°",
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(turn - allowed) <= 0.004 * allowed and yours > 0:
        return verdict(
            1.0,
            "as near as it may be: a pole put there by eye turns the knee by no more than allowed.",
        )
    near = 0.8 * allowed <= turn <= 1.2 * allowed and yours > 0
    if turn > allowed:
        return verdict(
            0.25 * near, f"your pole is too near: it turns the knee by more than {allowed:g}°."
        )
    return verdict(
        0.5 if near else 0.0,
        "your pole could be nearer and still turn the knee by no more than "
        f"{allowed:g}°; the knee itself stands off the line already.",
    )


def _distance(change=lambda far_cm, knee_cm: far_cm - knee_cm, angle=np.radians):
    """A wrong way to the distance: a change of the right one, an angle of the allowed turn."""
    return lambda upper, lower, bend_deg, off_cm, turn_deg: change(
        off_cm / np.tan(angle(turn_deg)), _stands_off_cm(upper, lower, bend_deg)
    )


DISTANCE = Question(
    "07",
    "pole_distance_cm",
    "how far away a pole must be so that an error by eye does little",
    "value",
    {"distance": ()},
    _draw_distance,
    _judge_distance,
    (
        Misconception(
            "from the line",
            _distance(lambda far, knee: far),
            "the distance is counted from the line between hip and ankle; the knee stands off that"
            " line already",
        ),
        Misconception(
            "knee counted twice",
            _distance(lambda far, knee: far + knee),
            "the knee's distance from the line is added; the pole's distance from the line already"
            " holds it",
        ),
        Misconception(
            "degrees for radians",
            _distance(angle=float),
            "degrees go into a tangent that takes radians",
        ),
        Misconception(
            "metres",
            _distance(lambda far, knee: (far - knee) / 100),
            "the distance is left in metres",
        ),
        Misconception(
            "half the turn",
            _distance(angle=lambda turn_deg: np.radians(turn_deg) / 2),
            "half of the allowed turn is used, as if it had to do for both sides",
        ),
    ),
    hints=Hints(
        "Draw the leg as one sees it along the line, hip and ankle in one point: this point, the"
        " pole, and the place where the pole is by mistake make a right triangle.",
        "Further: how far in front",
        "Both bones 1 m, bent by 90°: the knee stands 70.7 cm off the line. An error of 100 cm may"
        " turn it by 45°, so two sides of the triangle are equal and the pole is 100 cm from the"
        " line, which is 29.3 cm from the knee.",
    ),
)


# --- The frame in which it flips


def _swung_goals(
    rng,
    character,
    start_deg,
    end_deg,
    aside=0.0,
    pole_deg=60.0,
    sway=0.0,
    heading_deg=None,
    out=1.0,
):
    """A goal that swings between two angles, a pole at about `pole_deg` from straight down."""
    reach = character.thigh + character.shank
    hip = np.array([character.hip_width / 2, character.hip_height, 0.0])
    frames = int(rng.integers(14, 25))
    step_deg = (end_deg - start_deg) / (frames - 1)
    # two frames, on neither of them
    between = (pole_deg - start_deg) // step_deg + rng.uniform(0.3, 0.7)
    angle = np.radians(np.linspace(start_deg, end_deg, frames))
    at = np.radians(start_deg + between * step_deg)
    sideways = sway * np.linspace(-1, 1, frames)
    goals = 0.85 * reach * np.stack([sideways, -np.cos(angle), np.sin(angle)], axis=-1)
    pole = out * 1.1 * reach * np.array([0.0, -np.cos(at), np.sin(at)]) + [aside * reach, 0.0, 0.0]
    heading_deg = rng.uniform(-180, 180) if heading_deg is None else heading_deg
    turn = rotation.matrix_about("y", np.radians(heading_deg))
    return {
        "hip": hip,
        "goals": (hip + goals @ turn.T).round(4),
        "upper": character.thigh,
        "lower": character.shank,
        "pole": hip + turn @ pole,
    }


def _draw_flip(rng, character):
    path = partial(_swung_goals, rng, character)

    def ahead(most_deg):
        return rng.uniform(-most_deg, most_deg)

    off = float(rng.choice([-1, 1])) * 0.004
    flips = [
        flip
        for _ in range(4)  # so many that to deny them all is worth little
        for flip in (
            # a flip; one whichever way she faces; one on the way down
            path(-10, rng.uniform(85, 100), off, rng.uniform(40, 60), heading_deg=ahead(15)),
            path(-15, rng.uniform(70, 80), -off, rng.uniform(30, 50)),
            path(rng.uniform(80, 90), -20, off, rng.uniform(20, 40)),
        )
    ]
    cases = [
        *flips,
        # no flip: a whirl; past level; the pole behind; it stops short of the pole
        path(-10, rng.uniform(80, 95), 0.3, 55, heading_deg=ahead(15)),
        path(-20, rng.uniform(105, 115), 0.02, 140, heading_deg=ahead(10)),
        path(-12, 12, 0.02, 200, sway=0.2, heading_deg=ahead(10), out=0.9),
        path(-20, rng.uniform(30, 40), off, 60),
    ]
    return [cases[i] for i in (0, *1 + rng.permutation(len(cases) - 1))]


def _kick(hip, goals, upper, lower, pole):
    """A path solved, and how far the bend plane turns from each frame to the next, degrees."""
    pose = two_bone.solve(hip, goals, upper, lower, pole)
    return pose, np.degrees(rotation.angle_between(pose.hinge[:-1], pose.hinge[1:]))


def _flip(*path):
    return _first(_kick(*path)[1] > FLIP_DEG)


def _first(found):
    return int(np.flatnonzero(found)[0]) if found.any() else -1


def _flip_picture(inputs, hip, named, turn, pose):
    heading = _unit((inputs["pole"] - hip) * [1, 0, 1])
    at = named if named is not None else min(int(turn.argmax()), len(turn) - 1)
    seen = np.stack([heading, UP], axis=-1)
    flat = [(np.array([hip, pose.knee[i], pose.ankle[i]]) - hip) @ seen for i in (at, at + 1)]
    return picture.side_view(
        "Your frame and the next" if named is not None else "Two frames of the path",
        "A leg in two frames one after the other, the first one dotted, seen square to the pole.",
        picture.ghost(flat[0]),
        picture.chain(flat[1], ["hip", "knee", "ankle"]),
        picture.pole((inputs["pole"] - hip) @ seen),
    )


def _judge_flip(inputs, output):
    path, yours = list(inputs.values()), float(output["frame"])
    pose, turn = _kick(*path)
    hip, true = inputs["hip"], _flip(*path)
    named = int(yours) if yours in range(len(turn)) else None
    drawn = _flip_picture(inputs, hip, named, turn, pose)
    measured = {
        "You say": f"frame {number(yours)} and the next"
        if yours >= 0
        else f"no flip ({number(yours)})"
    }
    if named is not None:
        measured["There the bend plane turns by"] = f"{turn[named]:.1f}°"
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if yours == true:
        return verdict(
            1.0,
            "you find each flip between its two frames, and leave quick knees that do not flip"
            " alone.",
        )
    if true < 0:
        return verdict(
            0.0,
            "there is no flip on this path: from frame to frame the bend plane turns by at most "
            f"{turn.max():.0f}°.",
        )
    if yours < 0:
        return verdict(
            0.0,
            "on this path the knee does flip: in one frame the bend plane turns by more than 90°.",
        )
    return verdict(
        0.25 if abs(yours - true) <= 1 else 0.0,
        "between the two frames you name the bend plane turns by no more than a right angle; count"
        " frames from 0, and name the last one before the flip.",
    )


def _flip_late(*path):
    frame = _flip(*path)
    return frame + 1 if frame >= 0 else -1


def _flip_unguided(hip, goals, upper, lower, pole):
    return _first(~two_bone.solve(hip, goals, upper, lower, pole).guided)


def _flip_swivel(hip, goals, upper, lower, pole):
    pose = two_bone.solve(hip, goals, upper, lower, pole)
    return _first(
        np.abs(np.diff(two_bone.swivel_angle(hip, pose.knee, pose.ankle))) > np.radians(FLIP_DEG)
    )


def _flip_above(hip, goals, upper, lower, pole):
    above = goals[:, 1] > pole[1]
    return _first(above[1:] != above[:-1])


def _show_path(*path):
    from rigkit.homework import cases

    return cases.path_panel(*path)


FLIP = Question(
    "07",
    "flip_frame",
    "between which two frames of a path the knee flips, if it does",
    "function",
    {"frame": ()},
    _draw_flip,
    _judge_flip,
    (
        Misconception(
            "one late",
            _flip_late,
            "the frame after the flip is named; name the last one before it, and count from 0",
        ),
        Misconception(
            "fastest frame",
            lambda *path: int(_kick(*path)[1].argmax()),
            "the fastest frame is named, also on paths without a flip; a flip is more than 90° in"
            " one frame",
        ),
        Misconception(
            "waiting for unguided",
            _flip_unguided,
            "you look for a frame that the pole does not guide; most flips jump over the line"
            " between two frames",
        ),
        Misconception(
            "jump of the swivel",
            _flip_swivel,
            "you look for a jump of the swivel, which also jumps from 180° to −180°, and where the"
            " leg points straight ahead, while the knee goes on smoothly",
        ),
        Misconception(
            "goal as high as the pole",
            _flip_above,
            "you compare the goal's height with the pole's; what counts is the line from hip to"
            " goal",
        ),
        Misconception(
            "sign of x",
            lambda *path: _first(np.diff(np.sign(_kick(*path)[0].hinge[:, 0])) != 0),
            "you look for a change of sign in the hinge axis's x, which says nothing when the"
            " character faces another way",
        ),
    ),
    hints=Hints(
        "In a flip the whole bend plane turns over: which of the things that `two_bone.solve`"
        " returns stands for this plane in each frame?",
        "Further: find the flip",
        "Three frames with the hinge axes (1, 0, 0), (1, 0, 0) and (−1, 0, 0): the plane turns by"
        " 0° and then by 180°, so the last frame before the flip is frame 1. With three equal axes"
        " the answer is −1.",
    ),
    shows=_show_path,
)


# --- Both knees over their toes


def _draw_squat(rng, character):
    upper, lower = character.thigh, character.shank

    def stance(heading_deg, left_deg, right_deg):
        """Hips above ankles, feet turned out, the whole character turned by its heading."""
        height = character.ankle_height + rng.uniform(0.6, 0.9) * (upper + lower)
        hips = np.array([[side * character.hip_width / 2, height, 0.0] for side in (1, -1)])
        ankles = hips * [1, 0, 1] + [0, character.ankle_height, 0]
        out = np.radians([left_deg, -right_deg])
        toes = hips * [1, 0, 1] + (character.foot_length - character.heel_length) * np.stack(
            [np.sin(out), 0 * out, np.cos(out)], axis=-1
        )
        turn = rotation.matrix_about("y", np.radians(heading_deg))
        return {
            name: (points @ turn.T).round(5)
            for name, points in (("hips", hips), ("ankles", ankles), ("toes", toes))
        } | {"upper": upper, "lower": lower}

    out = rng.uniform(15, 40, 3)
    return [
        stance(0, out[0], out[0]),
        stance(0, *rng.uniform(5, 40, 2)),
        stance(90, out[1], out[1]),
        stance(rng.uniform(120, 240), out[2], out[2]),
        stance(0, -rng.uniform(5, 15), rng.uniform(20, 40)),
        stance(rng.uniform(-60, 60), *rng.uniform(10, 30, 2)),
    ]


def _squat_picture(hips, pose, ankles, toes, off):
    marks = []
    for side, hip, knee, ankle, toe in zip("LR", hips, pose.knee, ankles, toes, strict=True):
        marks += [
            picture.ghost(_from_above([ankle, toe + (toe - ankle)])),
            picture.chain(_from_above([hip, knee, ankle]), ["", f"knee {side}", ""]),
        ]
    return picture.top_view(
        "Your two knees, from above",
        "Both legs from above, and dotted lines from the ankles along the "
        f"toes; a knee is {off.max():.1f} centimetres off its line.",
        *marks,
    )


def _judge_squat(inputs, output):
    hips, ankles, toes, upper, lower = (
        inputs[name] for name in ("hips", "ankles", "toes", "upper", "lower")
    )
    poles = output["poles"]
    pose = two_bone.solve(hips, ankles, upper, lower, poles)
    off = 100 * np.abs(two_bone.knee_toe_offset(pose.knee, ankles, toes))
    backward = (
        np.abs(two_bone.swivel_angle(hips, pose.knee, ankles, hint=toes - ankles)) > np.pi / 2
    )
    line = (ankles - hips) / np.linalg.norm(ankles - hips, axis=-1, keepdims=True)
    far = np.linalg.norm(np.cross(poles - hips, line), axis=-1)
    apart = 100 * float(np.linalg.norm(pose.knee[0] - pose.knee[1]))
    drawn = _squat_picture(hips, pose, ankles, toes, off)
    measured = {
        "From the line of its toes, left and right knee": f"{off[0]:.1f} and {off[1]:.1f} cm",
        "Knee to knee": f"{apart:.1f} cm",
        "From the line hip–ankle, left and right pole": f"{far[0]:.2f} and {far[1]:.2f} m",
    }
    good, enough = (off <= 0.5) & ~backward & pose.guided, far >= (upper + lower) * (1 - 1e-6)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if good.all() and enough.all():
        return verdict(
            1.0,
            "each knee is over its own toes, and no pole is so near that a slip of it would tell.",
        )
    if good.all():
        return verdict(
            0.5,
            "the knees are over their toes, but a pole is nearer to the line from hip to ankle than"
            " the leg is long.",
        )
    if backward.any() and (off <= 0.5).all():
        return verdict(0.0, "a knee points backward, over its heel.")
    side = "left" if off[0] >= off[1] else "right"
    return verdict(
        0.25 * float(good.any()),
        f"seen from above, the {side} knee is {off.max():.1f} cm off the line of its toes.",
    )


def _ways(ankles, toes):
    """Each foot's direction, level and of length one, shape (2, 3)."""
    level = (toes - ankles) * [1, 0, 1]
    return level / np.linalg.norm(level, axis=-1, keepdims=True)


SQUAT = Question(
    "07",
    "squat_poles",
    "two poles that keep both knees over the toes in a squat",
    "function",
    {"poles": (2, 3)},
    _draw_squat,
    _judge_squat,
    (
        Misconception(
            "straight ahead",
            lambda h, a, t, u, low: a + (u + low) * AHEAD,
            "both poles go straight ahead, along the world's z, wherever the toes point",
        ),
        Misconception(
            "left toes for both",
            lambda h, a, t, u, low: a + (u + low) * _ways(a, t)[0],
            "both poles go where the left toes point; the right foot points another way",
        ),
        Misconception(
            "one pole for both",
            lambda h, a, t, u, low: np.tile(
                a.mean(axis=0) + (u + low) * _unit(_ways(a, t).sum(axis=0)), (2, 1)
            ),
            "one pole between the feet serves both knees, and draws them together",
        ),
        Misconception(
            "exchanged",
            lambda h, a, t, u, low: (a + (u + low) * _ways(a, t))[::-1],
            "left and right pole are exchanged",
        ),
        Misconception(
            "behind the heels",
            lambda h, a, t, u, low: a - (u + low) * _ways(a, t),
            "the poles lie behind the heels: the direction is from toe to ankle",
        ),
        Misconception(
            "from the origin",
            lambda h, a, t, u, low: (u + low) * _ways(a, t),
            "the directions are given as places; a pole is the ankle, or the hip, plus a way to go",
        ),
        Misconception(
            "the toes themselves",
            lambda h, a, t, u, low: t,
            "the toes themselves serve as poles; they lie in the right plane, but too near",
        ),
    ),
    hints=Hints(
        "Look at one leg alone, from above: on which straight line must its knee be, and what puts"
        " its pole on that line as well?",
        "Further: two knees in a squat",
        "One leg, both bones 1 m, its hip above the ankle (0, 0.1, 0), the toe at (0.12, 0, 0.16):"
        " seen from above the foot points along (0.6, 0.8). A pole 2 m that way from the ankle is"
        " (1.2, 0.1, 1.6).",
    ),
)


# --- What a knee control should follow

FOLLOWS = ("pelvis", "feet")


def _draw_follows(rng, character):
    rig = LegRig.from_puppet(character)
    knee = next(control for control in rig.controls if control.name == "L_knee")
    with_feet = rig.with_controls(controls.switch(knee, "L_foot", rig.pose().controls))
    apart, turned = rng.uniform([0.06, np.radians(20)], [0.16, np.radians(40)])
    values = {"pelvis": {"shift_y": -rng.uniform(0.25, 0.35) * character.leg_length}}
    for tag, out in zip(SIDE_TAGS, (1, -1), strict=True):
        values[tag + "foot"] = {"shift_x": out * apart, "turn_y": out * turned}
    poses = [rig.pose(values), with_feet.pose(values)]
    hip, ankle, toe = rig.skeleton.origins(poses[0].world, ["L_hip", "L_ankle", "L_toe"])
    places = {
        "hip": hip,
        "ankle": ankle,
        "toe": toe,
        "pelvis_pole": poses[0].controls["L_knee"][:3, 3],
        "feet_pole": poses[1].controls["L_knee"][:3, 3],
    }
    rounded = {name: at.round(4) + 0.0 for name, at in places.items()}  # + 0.0: never −0
    return [{"upper": character.thigh, "lower": character.shank} | rounded]


def _knee_offs(upper, lower, hip, ankle, toe, pelvis_pole, feet_pole):
    """The knee for either pole, shape (2, 3), and how far it is off the line of its toes, cm."""
    knees = two_bone.solve(hip, ankle, upper, lower, np.stack([pelvis_pole, feet_pole])).knee
    return knees, 100 * np.abs(two_bone.knee_toe_offset(knees, ankle, toe))


def _judge_follows(inputs, output):
    knees, true = _knee_offs(**inputs)
    choice, yours = output["follows"], output["off"]
    right = np.abs(np.abs(yours) - true) <= 0.0501
    better = FOLLOWS[int(np.argmin(true))]
    hip, ankle, toe = (inputs[name] for name in ("hip", "ankle", "toe"))
    knee = knees[FOLLOWS.index(choice)]
    drawn = picture.top_view(
        f"Following the {choice}, from above",
        "The left leg from above, and a dotted line from its ankle along its toes.",
        picture.ghost(_from_above([ankle, toe + (toe - ankle)])),
        picture.chain(_from_above([hip, knee, ankle]), ["hip", "knee", "ankle"]),
    )
    measured = {
        "You say": f"{choice}: {yours[0]:.1f} cm with the pelvis, {yours[1]:.1f} cm with the feet"
    }
    score = 0.15 * (choice == better) + 0.4 * float(right.sum())
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if choice == better and right.all():
        return verdict(1.0, "the nearer knee wins; what is left of its distance is the leg's lean.")
    if choice != better:
        return verdict(
            min(score, 0.5),
            "look at the picture: how far is this knee from the dotted line, and does the "
            "other pole bring it nearer?",
        )
    return verdict(
        score,
        "a distance is wrong: solve the leg for each pole, then measure in the view from above, at"
        " a right angle from the knee to the line of the toes, in centimetres.",
    )


def _follows(offs, choice=1):
    return lambda *inputs: (FOLLOWS[choice], list(offs(*inputs)))


def _along_x(upper, lower, hip, ankle, toe, *poles):
    return 100 * np.abs(_knee_offs(upper, lower, hip, ankle, toe, *poles)[0][:, 0] - ankle[0])


def _to_the_toes(upper, lower, hip, ankle, toe, *poles):
    return 100 * np.linalg.norm(
        (_knee_offs(upper, lower, hip, ankle, toe, *poles)[0] - toe)[:, [0, 2]], axis=-1
    )


CHOOSE = Question(
    "07",
    "follows",
    "what a knee control should follow in a squat, proved by two distances",
    "value",
    {"follows": FOLLOWS, "off": (2,)},
    _draw_follows,
    _judge_follows,
    (
        Misconception(
            "the pelvis",
            _follows(lambda *inputs: _knee_offs(*inputs)[1], choice=0),
            "the pole is chosen that leaves the knee farther from the line of its toes",
        ),
        Misconception(
            "metres",
            _follows(lambda *inputs: _knee_offs(*inputs)[1] / 100),
            "the distances are left in metres",
        ),
        Misconception(
            "other order",
            _follows(lambda *inputs: _knee_offs(*inputs)[1][::-1]),
            "the two distances stand in the wrong order: the pelvis comes first",
        ),
        Misconception(
            "along x",
            _follows(_along_x),
            "the distances are measured along x; the toes are turned out, so measure square to"
            " their line",
        ),
        Misconception(
            "to the toe",
            _follows(_to_the_toes),
            "the distances are measured to the toe; measure to the line that runs through it",
        ),
        Misconception(
            "of the poles",
            _follows(
                lambda upper, lower, hip, ankle, toe, *poles: (
                    100 * np.abs(two_bone.knee_toe_offset(np.stack(poles), ankle, toe))
                )
            ),
            "the poles' distances are measured; the knee lies between its pole and the line"
            " hip–ankle",
        ),
    ),
    hints=Hints(
        "What is given are the poles: find the two knees first, draw them from above with the line"
        " of the toes, and choose last.",
        "Further: two knees in a squat",
        "From above, in centimetres to the left and ahead: ankle (0, 0), toe (9, 12). A knee at"
        " (0, 10) is 6.0 cm off the line of the toes, one at (3, 9) is 3.0 cm off. If the pole of"
        ' the second follows the feet, the answer is `("feet", [6.0, 3.0])`.',
    ),
)


QUESTIONS = (HINGE, SWIVEL, POLE, DISTANCE, FLIP, SQUAT, CHOOSE)
