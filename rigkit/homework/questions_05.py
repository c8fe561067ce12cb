"""Questions of lesson 05, the two-bone answer.

In the side view: x forward, y up, the hip at the origin. In space: x to the character's left, y up,
z forward. Knee flexion is zero when the leg is straight. A leg reaches from |upper − lower| to
upper + lower.
"""

from functools import partial

import numpy as np

from rigkit import puppets, two_bone
from rigkit.homework import picture
from rigkit.homework.judging import number, right_so_far
from rigkit.homework.question import Hints, Misconception, Question, Verdict

LEG = ("hip", "knee", "ankle")
CLOSE_DEG, CLOSE_CM = 0.05, 0.1


def _far_and_near(upper, lower):
    return upper + lower, abs(upper - lower)


def _held(distance, upper, lower):
    """The distance nearest to `distance` that is in reach."""
    return float(two_bone.soft_reach(distance, upper, lower, 0.0))


def _legs(character):
    """Bones of unequal puppets: the learner's own, Odo's, and Odo's the other way up."""
    odo = puppets.PUPPETS["Odo"].bones
    return (character.thigh, character.shank), odo, odo[::-1]


# --- The last bit of the way to straight

SHARES = ("a half", "a quarter", "a sixteenth")


def _draw_last(rng, character):
    return [
        {
            "upper": character.thigh,
            "lower": character.shank,
            "short_cm": round(float(rng.uniform(1.0, 3.0)), 1),
        }
    ]


def _bend_deg(upper, lower, short_cm):
    return float(
        np.degrees(two_bone.solve_planar([0.0, short_cm / 100 - upper - lower], upper, lower).knee)
    )


def _judge_last(inputs, output):
    upper, lower, short_cm = inputs["upper"], inputs["lower"], inputs["short_cm"]
    true, yours = _bend_deg(upper, lower, short_cm), float(output["bend"])
    share = _bend_deg(upper, lower, short_cm / 4) / true
    right = abs(yours - true) <= 0.06
    concluded = output["left"] == SHARES[int(np.argmin([abs(share - 1 / n) for n in (2, 4, 16)]))]
    drawn = picture.side_view(
        "A leg bent as you say",
        "A leg in the side view with its knee bent as you say, and dotted the same leg "
        f"straight; its ankle should be {short_cm:g} centimetres above the straight one's.",
        picture.ghost(two_bone.planar_points(0, 0, upper, lower)),
        picture.chain(_upright(upper, lower, np.radians(yours)), LEG),
    )
    measured = {
        "You say": (
            f"{number(yours)}°; from a quarter of the distance {output['left']} of it is left"
        ),
        "A leg bent by that is": (
            f"{100 * (upper + lower - _length(upper, lower, np.radians(yours))):.2f} cm "
            f"short of straight; yours should be {short_cm:g} cm"
        ),
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right and concluded:
        return verdict(1.0, "the last bit of the way holds far more than its share of the bend.")
    if right:
        return verdict(
            0.8,
            "your bend is right, what is left of it is not: put a quarter of the distance into the "
            "same lines, and divide.",
        )
    so_far = right_so_far({"share": concluded})
    if yours < 0:
        return verdict(0.2 * concluded, f"{so_far}your knee bends backward: flexion is positive.")
    return verdict(
        0.2 * concluded,
        f"{so_far}your leg bends too {'much' if yours > true else 'little'}: three lengths make a "
        "triangle, and flexion is what the angle inside the knee lacks to 180°.",
    )


def _last(bend, left=SHARES[0]):
    return lambda upper, lower, short_cm: (left, bend(upper, lower, short_cm))


LAST = Question(
    "05",
    "last_bit",
    "how far a knee is bent just short of straight, and what is left nearer to it",
    "value",
    {"left": SHARES, "bend": ()},
    _draw_last,
    _judge_last,
    (
        Misconception(
            "in proportion",
            _last(_bend_deg, SHARES[1]),
            "the bend is taken to shrink as the distance does, a quarter of one for a quarter of"
            " the other; compute the second bend as you did the first",
        ),
        Misconception(
            "inner angle",
            _last(lambda u, low, cm: 180 - _bend_deg(u, low, cm)),
            "the angle inside the knee, 180° when straight, stands in for its flexion, 0° when"
            " straight",
        ),
        Misconception(
            "radians",
            _last(lambda u, low, cm: np.radians(_bend_deg(u, low, cm))),
            "the angle is left in radians; degrees were asked for",
        ),
        Misconception(
            "thigh's tilt",
            _last(lambda u, low, cm: np.degrees(np.arccos(1 - cm / 100 / (u + low)))),
            "the tilt of one bone is taken for the bend at the knee; thigh and shank tilt opposite"
            " ways, and the knee has both",
        ),
        Misconception(
            "shank alone",
            _last(lambda u, low, cm: np.degrees(np.arccos(1 - cm / 100 / low))),
            "the thigh is left upright and the shank alone makes up the distance; the ankle then is"
            " not below the hip",
        ),
    ),
    hints=Hints(
        'First turn "so many centimetres short" into a length from hip to ankle, in the unit of '
        "the bones.",
        "The last centimetre",
        "Both bones are 1 m, and the leg is 100 cm short of straight. Hip and ankle are then 1 m "
        "apart, and the triangle has equal sides: 60° inside the knee, and a flexion of 120°.",
    ),
)


# --- Angles from the distance alone


def _draw_angles(rng, character):
    def case(distance, bones):
        return {"distance": distance, "upper": bones[0], "lower": bones[1]}

    mine, odo, swapped = _legs(character)
    reach = character.leg_length
    near = abs(odo[0] - odo[1])
    return [
        *(
            case(float(share) * reach, mine)
            for share in rng.uniform([0.3, 0.6, 0.9], [0.5, 0.8, 0.97])
        ),
        case((1 - 1e-9) * reach, mine),
        case(float(rng.uniform(1.02, 1.3)) * reach, mine),
        case(float(rng.uniform(0.5, 0.9)) * sum(odo), odo),
        case(float(rng.uniform(0.5, 0.9)) * sum(odo), swapped),
        case(float(rng.uniform(0.2, 0.9)) * near, odo),
        case(float(rng.uniform(0.2, 0.9)) * near, swapped),
    ]


def _angles(distance, upper, lower):
    """Knee flexion and the angle at the hip, degrees."""
    leg = two_bone.solve_planar([0.0, -distance], upper, lower)
    return float(np.degrees(leg.knee)), float(np.degrees(leg.hip))


def _angles_picture(miss_cm, place, joints):
    return picture.side_view(
        "Your leg, its goal below",
        f"A leg posed by your angles in the side view; its ankle is {miss_cm:.1f} "
        "centimetres from where it can best be.",
        picture.goal(place),
        picture.chain(joints, LEG),
        *([picture.measure(joints[2], place, f"{miss_cm:.1f} cm")] if miss_cm > 1 else []),
    )


def _judge_angles(inputs, output):
    distance, upper, lower = inputs.values()
    knee, hip = float(output["knee"]), float(output["hip"])
    true_knee, true_hip = _angles(**inputs)
    knee_right, hip_right = abs(knee - true_knee) <= CLOSE_DEG, abs(hip - true_hip) <= CLOSE_DEG
    joints = two_bone.planar_points(np.radians(hip), np.radians(knee), upper, lower)
    place = np.array([0.0, -_held(distance, upper, lower)])
    miss_cm = 100 * float(np.linalg.norm(joints[2] - place))
    drawn = _angles_picture(miss_cm, place, joints)
    measured = {
        "Your knee and hip": f"{knee:.1f}° and {hip:.1f}°",
        "A leg with these angles misses its best place by": f"{miss_cm:.1f} cm",
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if knee_right and hip_right:
        return verdict(1.0, "the three lengths fix the angles, at both ends of the reach too.")
    if knee_right:
        return verdict(
            0.3,
            "your knee is right, the angle at the hip is not: it lies between the thigh and the"
            " line to the ankle, and the side opposite it is the shank.",
        )
    far, near = _far_and_near(upper, lower)
    if not near < distance < far:
        return verdict(
            0.0,
            "this goal is too"
            f" {'far: the leg is straight' if distance >= far else 'near: it folds'}; a cosine has"
            " to stay between −1 and 1.",
        )
    return verdict(
        0.25 * hip_right,
        f"{right_so_far({'angle at the hip': hip_right})}a leg with your angles does not bring its"
        " ankle straight below its hip, at the distance asked for.",
    )


def _bare_angles(distance, upper, lower):
    """The law of cosines as it stands in books."""
    with np.errstate(invalid="ignore"):
        return np.degrees(
            np.arccos(
                [
                    (distance**2 - upper**2 - lower**2) / (2 * upper * lower),
                    (upper**2 + distance**2 - lower**2) / (2 * upper * distance),
                ]
            )
        )


def _far_clamped(distance, upper, lower):
    return (0.0, 0.0) if distance >= upper + lower else _bare_angles(distance, upper, lower)


def _changed(change):
    return lambda distance, upper, lower: change(*_angles(distance, upper, lower))


ANGLES = Question(
    "05",
    "leg_angles",
    "knee flexion and the angle at the hip from three lengths, in degrees",
    "function",
    {"knee": (), "hip": ()},
    _draw_angles,
    _judge_angles,
    (
        Misconception(
            "inner angle",
            _changed(lambda knee, hip: (180 - knee, hip)),
            "the angle inside the knee, 180° when straight, stands in for its flexion, 0° when"
            " straight",
        ),
        Misconception(
            "radians",
            _changed(lambda knee, hip: (np.radians(knee), np.radians(hip))),
            "the angles are left in radians; degrees were asked for",
        ),
        Misconception(
            "arc cosine not clamped",
            _bare_angles,
            "the arc cosine is asked for a cosine beyond −1 or 1, which a goal out of reach gives;"
            " hold it in between first",
        ),
        Misconception(
            "clamped at the far end",
            _far_clamped,
            "only goals too far are seen to; bones of different lengths also have a nearest reach",
        ),
        Misconception(
            "angle at the ankle",
            _changed(lambda knee, hip: (knee, knee - hip)),
            "the triangle's angle at the ankle stands in for the one at the hip",
        ),
        Misconception(
            "half the knee",
            _changed(lambda knee, hip: (knee, knee / 2)),
            "the hip gets half the knee's angle, which is right only for bones of the same length",
        ),
        Misconception(
            "knee behind",
            _changed(lambda knee, hip: (-knee, -hip)),
            "both angles are negative: a leg whose knee bends backward",
        ),
    ),
    hints=Hints(
        "Draw the triangle and name its three sides. Which two meet at each angle that is asked "
        "for? Then ask the same of a goal at either end of the reach.",
        "Three lengths, three angles",
        "A thigh of 3 m, a shank of 4 m and a goal 5 m away make a right angle at the knee: a "
        "flexion of 90°. The angle at the hip has the cosine 3/5: 53.1°. With the goal 8 m away "
        "the leg is straight, and both are 0°.",
    ),
)


# --- A goal held in reach


def _draw_hold(rng, character):
    def case(distance, goal_deg, bones):
        angle = np.radians(goal_deg)
        return {
            "goal": [distance * np.sin(angle), -distance * np.cos(angle)],
            "upper": bones[0],
            "lower": bones[1],
        }

    mine, odo, swapped = _legs(character)
    reach, near = character.leg_length, abs(odo[0] - odo[1])
    return [
        case(float(rng.uniform(0.6, 0.95)) * reach, rng.uniform(-60, 70), mine),
        case(0.35 * reach, rng.uniform(10, 60), mine),  # nearer than either bone is long
        case(float(rng.uniform(1.1, 1.4)) * reach, rng.uniform(20, 60), mine),
        case(float(rng.uniform(1.02, 1.2)) * reach, rng.uniform(-60, -20), mine),
        case(1.1 * reach, 0.0, mine),  # straight below
        case(1.2 * reach, rng.uniform(110, 160), mine),  # above the hip
        case(float(rng.uniform(0.3, 0.8)) * near, rng.uniform(10, 60), odo),
        case(float(rng.uniform(0.3, 0.8)) * near, rng.uniform(-60, -10), swapped),
        case(float(rng.uniform(0.6, 0.9)) * sum(odo), rng.uniform(-30, 50), odo),
    ]


def _scaled(goal, held):
    return np.asarray(goal) * held / np.hypot(*goal)


def _hold(goal, upper, lower):
    """The nearest point in reach, and the miss in centimetres."""
    distance = float(np.hypot(*goal))
    held = _held(distance, upper, lower)
    return _scaled(goal, held), 100 * abs(distance - held)


def _hold_picture(moved_cm, goal, yours, upper, lower):
    return picture.side_view(
        "Your point and the goal",
        f"A goal in the side view and the point you hold it at, {moved_cm:.1f} centimetres "
        "apart; a leg is drawn toward your point.",
        picture.goal(goal),
        picture.dots([yours], "miss"),
        picture.chain(_toward(yours, upper, lower), LEG),
    )


def _judge_hold(inputs, output):
    goal, upper, lower = inputs["goal"], inputs["upper"], inputs["lower"]
    true, true_miss = _hold(**inputs)
    far, near = _far_and_near(upper, lower)
    yours, said = output["point"], float(output["miss"])
    distance, moved_cm = float(np.hypot(*yours)), 100 * float(np.linalg.norm(yours - goal))
    beyond_cm = 100 * max(distance - far, near - distance, 0.0)
    placed, counted = (
        100 * np.linalg.norm(yours - true) <= CLOSE_CM,
        abs(said - true_miss) <= CLOSE_CM,
    )
    drawn = _hold_picture(moved_cm, goal, yours, upper, lower)
    measured = {
        "Your point is from the hip": (
            f"{100 * distance:.1f} cm; the leg reaches from {100 * near:.1f} to {100 * far:.1f} cm"
        ),
        "Your point is from the goal": f"{moved_cm:.1f} cm; you say {number(said)} cm",
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if placed and counted:
        return verdict(1.0, "a goal in reach stays, any other comes to the nearest point there is.")
    if placed:
        return verdict(
            0.5,
            "your point is right, the miss is not: it is how far apart goal and point are, in "
            "centimetres, never below zero.",
        )
    if beyond_cm > CLOSE_CM:
        return verdict(0.0, f"your point is still {beyond_cm:.1f} cm out of the leg's reach.")
    return verdict(
        0.25 if counted else 0.0,
        right_so_far({"miss": counted})
        + (
            "this goal was in reach and should stay where it is."
            if true_miss == 0
            else "your point can be reached, but another one in reach is nearer to the goal."
        ),
    )


def _held_between(near, cm=100.0, size=abs):
    """A wrong hold that clamps the distance between a nearest reach of its own and full reach."""

    def answer(goal, upper, lower):
        distance = np.hypot(*goal)
        held = min(max(distance, near(upper, lower)), upper + lower)
        return _scaled(goal, held), cm * size(distance - held)

    return answer


def _hold_each(goal, upper, lower):
    point = np.clip(goal, -upper - lower, upper + lower)
    return point, 100 * np.linalg.norm(point - goal)


def _hold_straight_up(goal, upper, lower):
    held = _held(float(np.hypot(*goal)), upper, lower)
    height = np.sqrt(max(held**2 - goal[0] ** 2, 0.0))
    point = np.array([goal[0], np.copysign(height, goal[1])])
    return point, 100 * np.linalg.norm(point - goal)


HOLD = Question(
    "05",
    "hold_goal",
    "the nearest point a leg can reach, and the miss in centimetres",
    "function",
    {"point": (2,), "miss": ()},
    _draw_hold,
    _judge_hold,
    (
        Misconception(
            "not held",
            lambda goal, u, low: (goal, 0.0),
            "the goal is left where it is, in reach or not",
        ),
        Misconception(
            "only the far end",
            _held_between(lambda u, low: 0.0),
            "only goals too far are held; bones of different lengths also have a nearest reach",
        ),
        Misconception(
            "thigh longer than shank",
            _held_between(lambda u, low: u - low),
            "the nearest reach is thigh less shank, which is below zero when the shank is the"
            " longer one",
        ),
        Misconception(
            "shorter bone",
            _held_between(min),
            "the leg is taken to fold no nearer than its shorter bone is long; two bones that lie"
            " along each other come nearer than that",
        ),
        Misconception(
            "each coordinate",
            _hold_each,
            "x and y are held one by one, which makes a square; what is in reach is round",
        ),
        Misconception(
            "straight up or down",
            _hold_straight_up,
            "the goal is moved straight up or down; toward the hip or away from it is the"
            " shortest way",
        ),
        Misconception(
            "metres",
            _held_between(lambda u, low: abs(u - low), cm=1.0),
            "the miss is left in metres",
        ),
        Misconception(
            "sign of the miss",
            _held_between(lambda u, low: abs(u - low), size=float),
            "the miss of a goal too near comes out below zero; a miss is a distance",
        ),
    ),
    hints=Hints(
        "Draw everything that the ankle can reach, with both edges, and lay a ruler from the hip "
        "through the goal.",
        "Both ends of the reach",
        "Bones of 3 and 1 m reach from 2 to 4 m. The goal (6, −8) is 10 m away and comes in to "
        "(2.4, −3.2), a miss of 600 cm. The goal (0.6, −0.8) is 1 m away and comes out to (1.2, "
        "−1.6), a miss of 100 cm.",
    ),
)


# --- The knee in space


def _draw_knee(rng, character):
    def case(share, goal_deg, pole_deg, bones):
        """A goal at a share of full reach; a pole ahead of the hip, turned so far to the left."""
        hip = rng.uniform([-3, 0.7, -4], [3, 1.2, 4])
        down, turned = np.radians(goal_deg), np.radians(pole_deg)
        goal = hip + share * sum(bones) * np.array(
            [rng.uniform(-0.1, 0.1), -np.cos(down), np.sin(down)]
        )
        pole = hip + np.array([0.9 * np.sin(turned), rng.uniform(-0.5, -0.2), 0.9 * np.cos(turned)])
        return {
            "hip": hip.tolist(),
            "goal": goal.tolist(),
            "pole": pole.tolist(),
            "upper": bones[0],
            "lower": bones[1],
        }

    mine, odo, swapped = _legs(character)
    return [
        case(rng.uniform(0.6, 0.9), rng.uniform(-20, 30), 0.0, mine),
        case(rng.uniform(0.6, 0.9), rng.uniform(-20, 30), rng.uniform(20, 50), mine),
        case(rng.uniform(0.6, 0.9), rng.uniform(-20, 30), -rng.uniform(60, 90), mine),
        case(rng.uniform(0.6, 0.9), rng.uniform(-20, 10), 180.0, mine),  # a pole behind
        case(
            rng.uniform(0.7, 0.9), rng.uniform(130, 150), rng.uniform(-30, 30), mine
        ),  # a goal above the hip
        case(1.15, rng.uniform(10, 30), rng.uniform(-30, 30), mine),  # too far
        case(rng.uniform(0.5, 0.9), rng.uniform(-20, 30), rng.uniform(-60, 60), odo),
        case(rng.uniform(0.5, 0.9), rng.uniform(-20, 30), rng.uniform(-60, 60), swapped),
        case(0.12, rng.uniform(-20, 30), rng.uniform(-30, 30), odo),
    ]  # too near


def _knee(hip, goal, pole, upper, lower):
    return two_bone.solve(hip, goal, upper, lower, pole).knee


def _knee_picture(points, goal, pole, toward, off_cm):
    top = abs(toward[0]) > abs(toward[2])  # which view shows the pole's side
    view, axes = (picture.front_view, (0, 1)) if top else (picture.side_view, (2, 1))
    return view(
        "Your knee and the pole",
        f"A leg with your knee, {off_cm:.1f} centimetres off the pole's plane, its "
        "goal and its pole.",
        picture.goal(goal[[*axes]]),
        picture.chain(points[:, axes], LEG),
        picture.pole(pole[[*axes]]),
    )


def _thigh_hint(thigh_cm, upper, lower):
    """Advice for a thigh of a wrong length, by whether any leg could be as long."""
    step = (
        "set out from the hip's place in the world, and go no farther than the thigh is long."
        if thigh_cm > 100 * (upper + lower)
        else "go along the line from hip to ankle, then aside at a right angle to it: the squares"
        " of the two steps add up to that of the thigh."
    )
    return (
        f"from the hip to your knee it is {thigh_cm:.1f} cm, and the thigh is {100 * upper:.1f} cm"
        f" long; {step}"
    )


def _judge_knee(inputs, output):
    hip, goal, pole, upper, lower = inputs.values()
    knee, true = output["knee"], two_bone.solve(hip, goal, upper, lower, pole)
    ankle, axis = true.ankle, (goal - hip) / np.linalg.norm(goal - hip)
    bones_cm = 100 * np.linalg.norm([knee - hip, ankle - knee], axis=-1)
    off_cm = 100 * abs(float(true.hinge @ (knee - hip)))
    toward = pole - hip - axis * (axis @ (pole - hip))
    side_cm = 100 * float((knee - hip) @ toward) / np.linalg.norm(toward)
    measured = {
        "From hip to your knee": f"{bones_cm[0]:.1f} cm; the thigh is {100 * upper:.1f} cm",
        "From your knee to the ankle": f"{bones_cm[1]:.1f} cm; the shank is {100 * lower:.1f} cm",
        "Your knee is off the plane of hip, ankle and pole by": f"{off_cm:.1f} cm",
        "Your knee stands off the line, toward the pole, by": f"{side_cm:.0f} cm",
    }
    drawn = _knee_picture(np.array([hip, knee, ankle]), goal, pole, toward, off_cm)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if 100 * np.linalg.norm(knee - true.knee) <= CLOSE_CM:
        return verdict(1.0, "both bones keep their lengths, and the knee is on its pole's side.")
    wrong_cm = np.abs(bones_cm - 100 * np.array([upper, lower]))
    if wrong_cm[0] > CLOSE_CM:
        return verdict(0.0, _thigh_hint(bones_cm[0], upper, lower))
    if wrong_cm[1] > CLOSE_CM:
        return verdict(
            0.1,
            f"your thigh is right; the shank is {wrong_cm[1]:.1f} cm off its length: how far along"
            " the line the knee stands follows from all three lengths.",
        )
    if off_cm > CLOSE_CM:
        return verdict(
            0.3,
            f"both bones are right, but your knee is {off_cm:.1f} cm off the plane of hip, ankle"
            " and pole.",
        )
    return verdict(
        0.3,
        "both bones are right and the plane is, but the knee is on the side away from the pole.",
    )


def _knee_toward(side):
    """A wrong knee, with a vector of its own for where the pole is from the hip."""

    def answer(hip, goal, pole, upper, lower):
        return _knee(hip, goal, hip + side(hip, goal, pole), upper, lower)

    return answer


def _knee_not_square(hip, goal, pole, upper, lower):
    along, aside, axis = _triangle(hip, goal, upper, lower)
    return hip + along * axis + aside * (pole - hip) / np.linalg.norm(pole - hip)


def _knee_unclamped(hip, goal, pole, upper, lower):
    distance = np.linalg.norm(goal - hip)
    near, far = abs(upper - lower), upper + lower
    return _knee(hip, goal, pole, upper, lower) if near < distance < far else np.full(3, np.nan)


def _knee_over_the_middle(hip, goal, pole, upper, lower):
    along, _, axis = _triangle(hip, goal, upper, lower)
    half = min(_held(np.linalg.norm(goal - hip), upper, lower) / 2, upper)
    knee = _knee(hip, goal, pole, upper, lower)
    aside = knee - hip - along * axis
    return (
        hip + half * axis + np.sqrt(upper**2 - half**2) * aside / max(np.linalg.norm(aside), 1e-9)
    )


def _triangle(hip, goal, upper, lower):
    """Offsets of the knee along the line and aside from it, and the line's direction."""
    axis = (goal - hip) / np.linalg.norm(goal - hip)
    knee = two_bone.solve(hip, goal, upper, lower).knee - hip
    along = knee @ axis
    return along, np.linalg.norm(knee - along * axis), axis


KNEE = Question(
    "05",
    "knee_point",
    "where a leg's knee is in space, from hip, goal, pole and two lengths",
    "function",
    {"knee": (3,)},
    _draw_knee,
    _judge_knee,
    (
        Misconception(
            "seen from the hip",
            lambda hip, goal, pole, u, low: _knee(hip, goal, pole, u, low) - hip,
            "the knee is given as seen from the hip; add the hip's own place in the world",
        ),
        Misconception(
            "pole from the world's origin",
            _knee_toward(lambda hip, goal, pole: pole),
            "the pole is used as a direction from the world's origin; its direction is from"
            " the hip",
        ),
        Misconception(
            "pole not square to the line",
            _knee_not_square,
            "the knee steps aside straight toward the pole; only the part of that direction which"
            " is square to the line from hip to ankle may count",
        ),
        Misconception(
            "away from the pole",
            _knee_toward(lambda hip, goal, pole: hip - pole),
            "the knee is on the side away from its pole",
        ),
        Misconception(
            "always ahead",
            _knee_toward(lambda hip, goal, pole: np.array([0.0, 0.0, 1.0])),
            "the knee turns forward wherever its pole is",
        ),
        Misconception(
            "over the middle",
            _knee_over_the_middle,
            "the knee stands off the middle of the line, which is right only for bones of the same"
            " length",
        ),
        Misconception(
            "thigh at the pole",
            lambda hip, goal, pole, u, low: hip + u * (pole - hip) / np.linalg.norm(pole - hip),
            "the thigh points straight at the pole, and the ankle is forgotten",
        ),
        Misconception(
            "not clamped",
            _knee_unclamped,
            "a goal out of reach asks for the root of a number below zero, or the arc cosine of one"
            " beyond 1; hold the distance in reach first",
        ),
    ),
    hints=Hints(
        "Solve the flat triangle first, as in question 2: how far along the line to the goal does "
        "the knee stand, and how far off it? The pole is needed only for the direction of that "
        "second way.",
        "Further: from the plane to space",
        "The hip is at the origin, the goal at (0, −5, 0), the pole at (0, −1, 9), the bones are 3 "
        "and 4 m. At the hip the cosine is 0.6 and the sine 0.8: the knee is 1.8 m down the line "
        "and 2.4 m off it. Square to the line only the pole's 9 forward counts: (0, −1.8, 2.4).",
    ),
)


# --- A reach that softens

STEPS = 20  # to a soft length
SMOOTH = 0.2  # the greatest change of slope from one step to the next; the exercise says so
NEAR_FULL = (
    0.2  # of the soft length may be left where the goal is five of them past full reach; likewise
)


def _draw_ease(rng, character):
    def case(soft, bones):
        start = sum(bones) - soft
        near = np.linspace(0.5, 0.95, 10) * (start - 2 * soft)
        steps = start + soft * np.arange(-2 * STEPS, 6 * STEPS + 1) / STEPS
        return {"distance": [*near, *steps], "upper": bones[0], "lower": bones[1], "soft": soft}

    mine, odo, _ = _legs(character)
    return [
        *(
            case(round(float(soft), 4), mine)
            for soft in rng.uniform([0.005, 0.02, 0.05], [0.01, 0.03, 0.08])
        ),
        case(0.04, odo),
        case(0.02, puppets.PUPPETS["Pip"].bones),
    ]


def _ease(distance, upper, lower, soft):
    return two_bone.soft_reach(distance, upper, lower, soft)


def _ease_picture(distance, far, yours):
    return picture.side_view(
        "Your reach by distance",
        "Your reach drawn upward against the goal's distance drawn to the "
        "right, near full reach; dotted, the reach that stops hard.",
        picture.ghost(np.stack([distance[10:], np.minimum(distance[10:], far)], axis=-1)),
        [
            "path",
            {"points": np.stack([distance[10:], yours[10:]], axis=-1).tolist(), "kind": "inverse"},
        ],
    )


def _judge_ease(inputs, output):
    distance, upper, lower, soft = inputs.values()
    yours, far = output["reach"], upper + lower
    start = far - soft
    slopes = np.diff(yours) / np.diff(distance)
    steps = slopes[10:]  # those of one size
    jumps = np.abs(np.diff(steps))
    corner = int(np.argmax(jumps))
    touched_cm = 100 * float(np.abs(yours - distance)[distance <= start].max())
    beyond_cm, past_cm = 100 * float((yours - far).max()), 100 * float((yours - distance).max())
    back, left = float(-steps.min()), float((far - yours[-1]) / soft)
    drawn = _ease_picture(distance, far, yours)
    past = (distance[11 + corner] - start) / soft
    measured = {
        "Your greatest change of slope in one step": (
            f"{jumps[corner]:.2f}, with the goal {abs(past):.2f} soft "
            f"lengths {'past' if past >= 0 else 'short of'} where softening begins"
        ),
        "Farthest past full reach": f"{max(beyond_cm, 0):.2f} cm",
        "Farthest from a goal that should be untouched": f"{touched_cm:.2f} cm",
    }
    checks = {
        "goals up to the soft length before full reach should be met, yours are off by up"
        f" to {touched_cm:.2f} cm.": touched_cm <= 0.01,
        f"the leg is made longer than it is, by up to {beyond_cm:.2f} cm.": beyond_cm <= 1e-4,
        f"the ankle goes past its goal, by up to {past_cm:.2f} cm.": past_cm <= 0.01,
        "the ankle comes back while its goal goes on outward.": back <= 1e-6,
        f"there is a corner: in one step the slope changes by {jumps[corner]:.2f}, and what"
        f" is smooth changes by less than {SMOOTH:g}.": jumps[corner] <= SMOOTH,
        f"{left:.0%} of the soft length is left to full reach though the goal is far"
        " beyond it.": left <= NEAR_FULL,
    }
    broken = [sentence for sentence, good in checks.items() if not good]
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if not broken:
        return verdict(1.0, "no corner, never too long, and untouched where it does not matter.")
    if len(broken) == 1:
        return verdict(0.3, f"every promise but one is kept: {broken[0]}")
    return verdict(0.0, broken[0])


def _eased(after):
    """A wrong ease that begins where it should; `after` of x soft lengths and soft, from there."""

    def answer(distance, upper, lower, soft):
        start = upper + lower - soft
        x = (distance - start) / soft
        return np.where(distance < start, distance, start + after(np.maximum(x, 0.0), soft))

    return answer


def _ease_from_full_reach(distance, upper, lower, soft):
    far = upper + lower
    return np.where(
        distance < far, distance, far + soft * (1 - np.exp(-np.maximum(distance - far, 0.0) / soft))
    )


EASE = Question(
    "05",
    "ease_reach",
    "a reach that nears full extension smoothly and never passes it",
    "function",
    {"reach": (8 * STEPS + 11,)},
    _draw_ease,
    _judge_ease,
    (
        Misconception(
            "hard stop",
            lambda d, u, low, soft: np.minimum(d, u + low),
            "the distance is only cut off at full reach, with a corner there and no softness"
            " at all",
        ),
        Misconception(
            "shortened leg",
            lambda d, u, low, soft: np.minimum(d, u + low - soft),
            "the leg is made shorter by the soft length and stops hard there; the corner has only"
            " moved",
        ),
        Misconception(
            "straight ramp",
            _eased(lambda x, soft: soft * np.minimum(x / 2, 1.0)),
            "a slower straight line stands in for the curve; it has a corner where it begins and"
            " one where it ends",
        ),
        Misconception(
            "exponent not divided",
            _eased(lambda x, soft: soft * (1 - np.exp(-x * soft))),
            "the exponent is in metres and not in soft lengths, so the curve does not begin with"
            " the slope it takes over",
        ),
        Misconception(
            "begins at full reach",
            _ease_from_full_reach,
            "softening begins at full reach and goes on from there, which makes the leg longer than"
            " it is",
        ),
        Misconception(
            "softened everywhere",
            lambda d, u, low, soft: (u + low) * np.tanh(d / (u + low)),
            "every goal is eased, those far inside the reach too",
        ),
    ),
    hints=Hints(
        "Sketch the reach over the distance: a line of slope 1, a curve, a level line. What slope "
        "must the curve have where it begins, what slope at its end, and how long is it in units "
        "of `soft`?",
        "Further: soften the last centimetres",
        "A leg of 1 m has a `soft` of 0.1 m, so a goal at 0.9 m is met. By the lesson's curve a "
        "goal one soft length farther, at 1 m, leaves 1/e of `soft`: 0.037 m, and the ankle is at "
        "0.963 m.",
    ),
)


# --- Where the knee is fastest

WHERE = ("at the start of the rise", "where softening begins", "at full reach")
LOW = 0.2  # metres below full height where the rise starts; the exercise says so


def _draw_fastest(rng, character):
    return [
        {
            "upper": character.thigh,
            "lower": character.shank,
            "soft_cm": float(rng.integers(2, 11)) / 2,
            "rise_cm_s": float(rng.choice([12.0, 24.0, 36.0])),
        }
    ]


def _rate(upper, lower, short, soft):
    """Degrees of knee for a centimetre of goal, `short` of full reach, all lengths in metres."""
    return (
        -np.degrees(float(two_bone.flexion_rate(upper + lower - short, upper, lower, soft))) / 100
    )


def _fastest(upper, lower, soft_cm, rise_cm_s):
    return rise_cm_s * _rate(upper, lower, soft_cm / 100, soft_cm / 100)


def _short_picture(short, upper, lower, soft):
    ankle = np.array([0.0, -_ease(upper + lower - short, upper, lower, soft)])
    return picture.side_view(
        "Your leg at that place",
        f"Your character's leg in the side view, its goal {100 * short:g} centimetres short "
        "of full reach.",
        picture.goal((0.0, short - upper - lower)),
        picture.chain(_toward(ankle, upper, lower), LEG),
    )


def _judge_fastest(inputs, output):
    upper, lower, soft_cm, _ = inputs.values()
    true, yours = _fastest(**inputs), float(output["speed"])
    soft, places = soft_cm / 100, dict(zip(WHERE, (LOW, soft_cm / 100, 0.0), strict=True))
    speeds = [_rate(upper, lower, short, soft) for short in places.values()]
    right, placed = (
        abs(yours - true) <= max(0.51, 0.01 * true),
        output["where"] == WHERE[int(np.argmax(speeds))],
    )
    measured = {"You say": f"{yours:.1f}° a second, {output['where']}"}
    drawn = _short_picture(places[output["where"]], upper, lower, soft)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right and placed:
        return verdict(
            1.0, "until softening begins the knee gets faster and faster, and from there on slower."
        )
    if right:
        return verdict(
            0.8,
            "your speed is right, its place is not: compare the speed a little before and a little "
            "after it.",
        )
    so_far = right_so_far({"place": placed})
    if yours < 0:
        return verdict(
            0.2 * placed,
            f"{so_far}a speed has no sign: flexion falls while the knee straightens, so its rate is"
            " below zero. Give its size.",
        )
    return verdict(
        0.2 * placed,
        f"{so_far}your knee is too {'fast' if yours > true else 'slow'}: ask"
        " `two_bone.flexion_rate` all along the rise, look for its largest size, and mind its"
        " unit.",
    )


def _says(speed, where=WHERE[1]):
    return lambda upper, lower, soft_cm, rise: (where, speed(upper, lower, soft_cm / 100, rise))


FASTEST = Question(
    "05",
    "fastest",
    "where in a rise a soft leg's knee is fastest, and how fast",
    "value",
    {"where": WHERE, "speed": ()},
    _draw_fastest,
    _judge_fastest,
    (
        Misconception(
            "sign",
            _says(lambda u, low, s, v: -v * _rate(u, low, s, s)),
            "the rate of flexion is given with its sign, which is below zero while the knee"
            " straightens; a speed is its size",
        ),
        Misconception(
            "at full reach",
            _says(lambda u, low, s, v: v * _rate(u, low, 0.0, s), WHERE[2]),
            "the soft leg's speed is taken at full reach, where it has long been slowing down",
        ),
        Misconception(
            "at the start",
            _says(lambda u, low, s, v: v * _rate(u, low, LOW, s), WHERE[0]),
            "the speed is taken at the start of the rise, where a centimetre turns the knee least",
        ),
        Misconception(
            "radians",
            _says(lambda u, low, s, v: np.radians(v * _rate(u, low, s, s))),
            "the speed is in radians a second; degrees were asked for",
        ),
        Misconception(
            "per metre",
            _says(lambda u, low, s, v: 100 * v * _rate(u, low, s, s)),
            "a turn for each metre is multiplied by centimetres a second",
        ),
        Misconception(
            "rise left out",
            _says(lambda u, low, s, v: _rate(u, low, s, s)),
            "the turn for one centimetre is given; the pelvis passes many in a second",
        ),
        Misconception(
            "average of the hard leg",
            _says(lambda u, low, s, v: v * _bend_deg(u, low, 100 * s) / (100 * s)),
            "the whole bend is shared out evenly over the soft length, as a hard leg would on"
            " average",
        ),
    ),
    hints=Hints(
        "Print or plot the size of the rate all along the rise, and read off where it is largest "
        "before you convert anything.",
        "Further: soften the last centimetres",
        "With both bones 1 m and the goal √2 m away, the size of the rate is √2 radians for a "
        "metre. That is 81.0° for a metre and 0.810° for a centimetre; at 10 cm a second it is "
        "8.1° a second.",
    ),
)


QUESTIONS = (LAST, ANGLES, HOLD, KNEE, EASE, FASTEST)


def _length(upper, lower, flexion):
    """From hip to ankle."""
    return float(np.linalg.norm(two_bone.planar_points(0.0, flexion, upper, lower)[2]))


def _upright(upper, lower, flexion):
    """A leg with that flexion and its ankle straight below its hip."""
    points = two_bone.planar_points(0.0, flexion, upper, lower)
    return two_bone.planar_points(-np.arctan2(points[2, 0], -points[2, 1]), flexion, upper, lower)


def _toward(point, upper, lower):
    """A leg whose ankle is as near to a point as it can be."""
    leg = two_bone.solve_planar(point, upper, lower)
    return two_bone.planar_points(leg.hip, leg.knee, upper, lower)
