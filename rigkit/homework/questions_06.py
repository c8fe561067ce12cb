"""Questions of lesson 06, why a straight leg needs a preset bend.

All in the side view: x forward, y up, the hip at the origin; the hip angle is zero when the thigh
hangs straight down and positive when it swings forward; the knee angle is zero when the leg is
straight and positive when it flexes.
"""

from functools import lru_cache, partial

import numpy as np

from rigkit import bend as bends
from rigkit import puppets, solvers
from rigkit.homework import picture
from rigkit.homework.judging import number, right_so_far
from rigkit.homework.question import Hints, Misconception, Question, Verdict
from rigkit.two_bone import planar_points, solve_planar

COUNTS = 1e-6  # a singular value counts above this share of the largest; the exercise says so
MODEL_SIZES = (1.0, 0.02, 30.0)  # as built, as a marionette, as a parade giant


# --- How far a bend shortens the leg


def _draw_shortening(rng, character):
    return [
        {"upper": character.thigh, "lower": character.shank, "bend_deg": float(rng.integers(8, 21))}
    ]


def _shortening_cm(upper, lower, bend):
    return 100 * (upper + lower) * float(bends.reach_cost(bend, upper, lower))


def _judge_shortening(inputs, output):
    upper, lower, bend_deg = inputs["upper"], inputs["lower"], inputs["bend_deg"]
    yours, true = float(output["shortening"]), _shortening_cm(upper, lower, np.radians(bend_deg))
    drawn = picture.side_view(
        f"Your leg, bent by {bend_deg:.0f}°",
        f"A leg bent {bend_deg:.0f} degrees at the knee beside the same leg straight, which reaches"
        " lower.",
        picture.ghost(planar_points(0, 0, upper, lower)),
        picture.chain(_hung(upper, lower, np.radians(bend_deg)), ["hip", "knee", "ankle"]),
    )
    measured = {"You say": f"{number(yours)} cm"}
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(yours - true) <= 0.0101:
        return verdict(1.0, "so small a price for so much bend: a preset bend is affordable.")
    way = "too long" if yours > true else "too short"
    near = abs(yours - true) <= 0.1 * true
    return verdict(
        0.5 if near else 0.0,
        f"your length is {way}{', by less than a tenth' if near else ''}; compare the straight leg"
        " with the side opposite the knee in the triangle hip, knee, ankle.",
    )


SHORTENING = Question(
    "06",
    "shortening_cm",
    "by how many centimetres a bend shortens your character's leg",
    "value",
    {"shortening": ()},
    _draw_shortening,
    _judge_shortening,
    (
        Misconception(
            "metres",
            lambda upper, lower, bend_deg: _shortening_cm(upper, lower, np.radians(bend_deg)) / 100,
            "the shortening is left in metres",
        ),
        Misconception(
            "degrees as radians",
            lambda upper, lower, bend_deg: _shortening_cm(upper, lower, bend_deg),
            "degrees go into a cosine that takes radians",
        ),
        Misconception(
            "inner angle",
            lambda upper, lower, bend_deg: _shortening_cm(
                upper, lower, np.pi - np.radians(bend_deg)
            ),
            "the bend is taken for the angle inside the knee, which is 180° when the leg is"
            " straight",
        ),
        Misconception(
            "whole leg tilts",
            lambda upper, lower, bend_deg: (
                100 * (upper + lower) * (1 - np.cos(np.radians(bend_deg)))
            ),
            "both bones are tilted by the whole bend; together they share it",
        ),
        Misconception(
            "shank tilts",
            lambda upper, lower, bend_deg: 100 * lower * (1 - np.cos(np.radians(bend_deg))),
            "only the shank's own drop is counted, and the thigh still points at the ankle's old"
            " place",
        ),
    ),
    hints=Hints(
        "Draw the bent leg beside the straight one and write its length to each line: one length "
        "in your drawing is not given, and two sides and an angle lead to it.",
        "A preset bend decides",
        "With both bones 1 m and a bend of 90°, hip and ankle are √2 m apart, the diagonal of a "
        "square. The bend costs 2 − 1.414 = 0.586 m, or 58.6 cm.",
    ),
)


# --- Rank and singular values


def _draw_freedom(rng, character):
    def leg(hip_deg, knee, size=1.0):
        return {
            "upper": size * character.thigh,
            "lower": size * character.shank,
            "hip": np.radians(hip_deg),
            "knee": knee,
        }

    straight = [
        leg(0.0, 0.0),
        leg(rng.uniform(-60, -10), 0.0),
        leg(rng.uniform(20, 70), rng.uniform(1, 9) * 1e-11),
    ]
    barely = [leg(rng.uniform(-30, 60), np.radians(rng.uniform(0.01, 0.02)))]
    bent = [
        leg(rng.uniform(-60, 80), np.radians(rng.uniform(5, 140)), size) for size in MODEL_SIZES
    ]
    return [
        *straight,
        *barely,
        *bent,
        leg(rng.uniform(10, 40), np.pi / 2),
        leg(rng.uniform(-30, 60), np.radians(rng.uniform(2, 4)), MODEL_SIZES[1]),
    ]


def _jacobian(upper, lower, hip, knee):
    return bends.jacobian(planar_points(hip, knee, upper, lower)) * [
        1,
        -1,
    ]  # flexing a knee is a clockwise turn


def _freedom_from(matrix, rank=None):
    return int(bends.rank(matrix, COUNTS) if rank is None else rank), bends.singular_values(matrix)


def _freedom(upper, lower, hip, knee):
    return _freedom_from(_jacobian(upper, lower, hip, knee))


def _judge_freedom(inputs, output):
    true_rank, true_sizes = _freedom(**inputs)
    yours = np.sort(output["singular values"])[::-1]
    off = float(np.abs(yours - true_sizes).max() / true_sizes[0])
    rank_right, sizes_right = float(output["rank"]) == true_rank, off <= 1e-4
    measured = {
        "Your rank": number(output["rank"]),
        "Your singular values": " and ".join(f"{number(size)} m/rad" for size in yours),
    }
    drawn = picture.side_view(
        "The leg of this case",
        f"A leg in the side view, its knee bent {number(np.degrees(inputs['knee']))} degrees.",
        picture.chain(planar_points(**inputs), ["hip", "knee", "ankle"]),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if rank_right and sizes_right:
        return verdict(1.0, "you see how many ways the ankle can move, and how freely.")
    if sizes_right:
        return verdict(
            0.5,
            "your singular values fit, your rank does not: count those above a millionth of the "
            "largest, whatever the leg's size.",
        )
    sentence = (
        f"your singular values are off by {off:.1%} of the largest; turn one joint by a hundredth"
        " of a radian, measure how far the ankle moves, and compare with a column of your matrix."
    )
    return verdict(0.25 * rank_right, right_so_far({"rank": rank_right}) + sentence)


def _freedom_by_determinant(upper, lower, hip, knee):
    matrix = _jacobian(upper, lower, hip, knee)
    return _freedom_from(matrix, 2 if abs(np.linalg.det(matrix)) > 1e-3 else 1)


def _freedom_exact_rank(upper, lower, hip, knee):
    matrix = _jacobian(upper, lower, hip, knee)
    return _freedom_from(matrix, np.linalg.matrix_rank(matrix))


def _freedom_knee_from_world(upper, lower, hip, knee):
    return _freedom_from(
        np.array(
            [
                [upper * np.cos(hip), -lower * np.cos(knee)],
                [upper * np.sin(hip), lower * np.sin(knee)],
            ]
        )
    )


def _freedom_squared(upper, lower, hip, knee):
    rank, sizes = _freedom(upper, lower, hip, knee)
    return rank, sizes**2


def _freedom_eigenvalues(upper, lower, hip, knee):
    sizes = np.sort(np.abs(np.linalg.eigvals(_jacobian(upper, lower, hip, knee))))[::-1]
    return int(np.sum(sizes > COUNTS * sizes[0])), sizes


FREEDOM = Question(
    "06",
    "freedom",
    "how many ways the ankle can move, and how freely: rank and singular values",
    "function",
    {"rank": (), "singular values": (2,)},
    _draw_freedom,
    _judge_freedom,
    (
        Misconception(
            "degrees for radians",
            lambda u, low, h, k: _freedom(u, low, np.radians(h), np.radians(k)),
            "the angles, which come in radians, are converted from degrees once more",
        ),
        Misconception(
            "child angle as world angle",
            _freedom_knee_from_world,
            "the knee's angle is taken from the vertical; it is measured from the thigh, so turning"
            " the hip carries the shank along",
        ),
        Misconception(
            "tolerance too tight",
            _freedom_exact_rank,
            "rounding errors count as freedom: a leg that is straight but for the twelfth digit is"
            " straight",
        ),
        Misconception(
            "rank by determinant",
            _freedom_by_determinant,
            "the rank is read from the determinant against a fixed number; a determinant shrinks"
            " with the square of the leg's size",
        ),
        Misconception(
            "squared",
            _freedom_squared,
            "the square root is forgotten: these are eigenvalues of the matrix times its transpose",
        ),
        Misconception(
            "eigenvalues", _freedom_eigenvalues, "eigenvalues are taken for singular values"
        ),
    ),
    hints=Hints(
        "Draw the lines from hip and knee to the ankle, and at the ankle the two arrows along "
        "which these joints move it: how long is each, and which way does it point?",
        "Further: the first step in numbers",
        "Both bones are 1 m, and the leg hangs straight down. For each radian the hip moves the "
        "ankle 2 m forward, the knee 1 m back. Both lie on one line: the rank is 1, and the "
        "singular values are √(2² + 1²) = 2.236 and 0.",
    ),
)


# --- The direction in which no joint turn moves the ankle


def _draw_stuck(rng, character):
    between = rng.uniform([-40, 20, 100, -58], [-10, 70, 120, -45])
    hips_deg = [0.0, 90.0, *between]  # no two on one line
    return [
        {"upper": character.thigh, "lower": character.shank, "hip": np.radians(hip)}
        for hip in hips_deg
    ]


def _judge_stuck(inputs, output):
    upper, lower, hip = inputs["upper"], inputs["lower"], inputs["hip"]
    yours = output["direction"]
    length = np.linalg.norm(yours)
    joints = planar_points(hip, 0, upper, lower)
    if not length > 1e-12:
        return Verdict(
            0.0,
            "a direction needs a length above zero.",
            {"Your length": number(float(length))},
            picture.side_view(
                "The leg of this case",
                "A straight leg in the side view.",
                picture.chain(joints, ["hip", "knee", "ankle"]),
            ),
        )
    speeds = np.abs(yours / length @ _jacobian(upper, lower, hip, 0.0))
    share = float(speeds.max() / (upper + lower))  # 0: stuck; 1: as fast as the ankle can go
    measured = {
        "A hip turn of one degree moves the ankle your way by": (
            f"{100 * speeds[0] * np.pi / 180:.2f} cm"
        )
    }
    drawn = picture.side_view(
        "Your direction, from the ankle",
        "A straight leg in the side view, with the direction you gave at its ankle.",
        picture.chain(joints, ["hip", "knee", "ankle"]),
        picture.arrow(joints[2], joints[2] + 0.3 * (upper + lower) * yours / length, "yours"),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if share <= 1e-3:
        return verdict(1.0, "no joint turn moves the ankle that way, not even by a hair.")
    return verdict(
        0.5 if share <= 0.05 else 0.0,
        f"{'near, but ' if share <= 0.05 else ''}turning a joint still moves the ankle your way;"
        " look for the one in which it does not.",
    )


STUCK = Question(
    "06",
    "stuck_direction",
    "the direction in which no joint turn moves a straight leg's ankle",
    "function",
    {"direction": (2,)},
    _draw_stuck,
    _judge_stuck,
    (
        Misconception(
            "across the leg",
            lambda u, low, h: (np.cos(h), np.sin(h)),
            "you take the direction across the leg, the one in which the ankle moves best",
        ),
        Misconception(
            "always down",
            lambda u, low, h: (0.0, -1.0),
            "you take straight down, whichever way the leg points",
        ),
        Misconception(
            "sign of y",
            lambda u, low, h: (np.sin(h), np.cos(h)),
            "y is taken to point down; here it points up",
        ),
        Misconception(
            "degrees for radians",
            lambda u, low, h: (np.sin(np.radians(h)), -np.cos(np.radians(h))),
            "the angle, which comes in radians, is converted from degrees once more",
        ),
    ),
    hints=Hints(
        "Draw the straight leg, and at its ankle the arrow along which the hip moves it and the "
        "one along which the knee does. Which direction has no part in either?",
        "Ask a straight leg to bend",
        "A straight leg points straight forward: `hip` is 90°. Either joint moves its ankle up or "
        "down and no other way, so nothing moves it along (1, 0).",
    ),
)


# --- Two bones, solved on the bend's side


def _draw_solve(rng, character):
    def case(distance, goal_deg, side, lengths=(character.thigh, character.shank)):
        angle = np.radians(goal_deg)
        return {
            "goal": [distance * np.sin(angle), -distance * np.cos(angle)],
            "upper": lengths[0],
            "lower": lengths[1],
            "side": side,
        }

    reach = character.leg_length
    odo, heron = puppets.PUPPETS["Odo"], puppets.PUPPETS["heron"]
    between = [
        case(rng.uniform(0.5, 0.97) * reach, rng.uniform(-60, 70), side) for side in (1, -1, 1, -1)
    ]
    return [
        *between,
        case(1.2 * reach, rng.uniform(10, 60), 1),  # out of reach
        case(1.05 * reach, rng.uniform(-50, -20), -1),
        case(reach, 0.0, 1),  # straight, on the axis
        case(0.8 * reach, 0.0, -1),
        case(0.7 * reach, rng.uniform(120, 170), 1),  # above the hip
        case(0.8 * odo.leg_length, rng.uniform(-20, 40), odo.knee_side, odo.bones),
        case(0.3 * (odo.shank - odo.thigh), rng.uniform(10, 80), 1, odo.bones),  # too near
        case(0.9 * sum(heron.bones[1:]), rng.uniform(-40, 40), heron.knee_side, heron.bones[1:]),
    ]


def _solve(goal, upper, lower, side):
    leg = solve_planar(goal, upper, lower, side)
    return float(leg.hip), float(leg.knee)


def _hip_toward(goal, upper, lower, knee):
    """The hip angle that puts the ankle on the line from the hip through the goal."""
    return np.arctan2(goal[0], -goal[1]) + np.arctan2(
        lower * np.sin(knee), upper + lower * np.cos(knee)
    )


def _goal_picture(joints, goal, miss):
    return picture.side_view(
        "Your leg and its goal",
        f"A leg in the side view; its ankle is {100 * miss:.1f} centimetres from its goal.",
        picture.goal(goal),
        picture.chain(joints, ["hip", "knee", "ankle"]),
        *([picture.measure(joints[2], goal, f"{100 * miss:.1f} cm")] if miss > 0.01 else []),
    )


def _judge_solve(inputs, output):
    goal, upper, lower, side = inputs["goal"], inputs["upper"], inputs["lower"], inputs["side"]
    hip, knee = output["hip and knee"]
    joints = planar_points(hip, knee, upper, lower)
    distance = np.hypot(*goal)
    best = max(distance - upper - lower, abs(upper - lower) - distance, 0.0)
    miss = float(np.linalg.norm(joints[2] - goal))
    ahead = float(goal[0] * joints[1][1] - goal[1] * joints[1][0]) / max(
        distance, 1e-9
    )  # of the line hip to goal
    decided = upper + lower - 1e-6 > distance > abs(upper - lower) + 1e-6
    landed, sided = miss <= best + 1e-3, not decided or side * ahead > 0
    measured = {
        "Your ankle misses the goal by": f"{100 * miss:.1f} cm",
        "Your knee stands": (
            f"{100 * abs(ahead):.1f} cm {'ahead of' if ahead > 0 else 'behind'} "
            "the line from hip to goal"
        ),
    }
    verdict = partial(Verdict, measured=measured, picture=_goal_picture(joints, goal, miss))
    if landed and sided:
        return verdict(1.0, "every ankle is where it can best be, and every knee on its side.")
    if landed:
        return verdict(0.25, "the ankle is right, but the knee comes out on the other side.")
    if best > 0:
        return verdict(
            0.0,
            "this goal is out of reach: answer it by stretching, or folding, straight toward it.",
        )
    near = miss <= 0.02 * (upper + lower)
    return verdict(
        0.25 * near,
        f"the ankle is {'near its goal but not on it' if near else 'not on its goal'}; the forward"
        " chain of your own angles shows where it is.",
    )


def _solve_unclamped(goal, upper, lower, side):
    with np.errstate(invalid="ignore"):
        knee = side * np.arccos(
            (goal[0] ** 2 + goal[1] ** 2 - upper**2 - lower**2) / (2 * upper * lower)
        )
    return _hip_toward(goal, upper, lower, knee), knee


def _solve_inner_angle(goal, upper, lower, side):
    hip, knee = _solve(goal, upper, lower, side)
    return hip, side * np.pi - knee


def _solve_world_shank(goal, upper, lower, side):
    hip, knee = _solve(goal, upper, lower, side)
    return hip, hip - knee


def _solve_thigh_at_goal(goal, upper, lower, side):
    return np.arctan2(goal[0], -goal[1]), _solve(goal, upper, lower, side)[1]


SOLVE = Question(
    "06",
    "solve_leg",
    "hip and knee angles that put the ankle on its goal, the knee on its side",
    "function",
    {"hip and knee": (2,)},
    _draw_solve,
    _judge_solve,
    (
        Misconception(
            "always forward",
            lambda g, u, low, side: _solve(g, u, low, 1),
            "every knee bends forward, whatever its side",
        ),
        Misconception(
            "knee backwards",
            lambda g, u, low, side: _solve(g, u, low, -side),
            "the knee bends to the side opposite the one asked for",
        ),
        Misconception(
            "degrees",
            lambda g, u, low, side: np.degrees(_solve(g, u, low, side)),
            "the angles are in degrees; they belong in radians",
        ),
        Misconception(
            "arc cosine not clamped",
            _solve_unclamped,
            "the arc cosine is asked for a cosine beyond −1 or 1, which a goal out of reach gives;"
            " hold it in between first",
        ),
        Misconception(
            "inner angle",
            _solve_inner_angle,
            "the angle inside the knee, 180° when straight, stands in for its flexion, 0 when"
            " straight",
        ),
        Misconception(
            "world angle for child angle",
            _solve_world_shank,
            "the shank's angle is measured from the vertical; the knee's is measured from the"
            " thigh",
        ),
        Misconception(
            "thigh at the goal",
            _solve_thigh_at_goal,
            "the thigh points at the goal; the corner of the triangle at the hip is left out",
        ),
        Misconception(
            "sign of y",
            lambda g, u, low, side: _solve((g[0], -g[1]), u, low, side),
            "y is taken to point down; here it points up",
        ),
    ),
    hints=Hints(
        "Solve it for a goal straight below the hip first. What does a goal elsewhere at the same "
        "distance change: the triangle, or only the way it is turned?",
        "The formula never stalls",
        "Both bones are 1 m and the goal is (0, −√2), so the bones are two sides of a square. For "
        "side +1 the knee bends by 90° and the thigh stands 45° ahead: π/4 and π/2. For side −1 "
        "both change their sign.",
    ),
)


# --- The preset bend: which way, how much


def _draw_preset(rng, character):
    """Each leg twice, and no two at the same price, so that no one bend suits many."""
    legs = [
        (puppet.bones[-2:], puppet.knee_side)
        for puppet in (*puppets.PUPPETS.values(), character)
        for _ in range(2)
    ]
    costs = rng.permutation(np.geomspace(2e-4, 2e-2, len(legs))).round(5)
    return [
        {"upper": upper, "lower": lower, "side": side, "cost": cost}
        for ((upper, lower), side), cost in zip(legs, costs.tolist(), strict=True)
    ]


def _judge_preset(inputs, output):
    upper, lower, side, cost = inputs["upper"], inputs["lower"], inputs["side"], inputs["cost"]
    bend = float(output["bend"])
    spent = float(bends.reach_cost(bend, upper, lower))
    share = abs(bend) / float(bends.bend_for_cost(cost, upper, lower))
    sided, sized = side * bend > 0, 0.9 <= share <= 1 + 1e-4
    joints = _hung(upper, lower, bend)
    measured = {
        "Your bend": f"{np.degrees(bend):.2f}°",
        "It costs": f"{100 * spent:.3f} % of the reach; {number(100 * cost)} % may be spent",
        "The middle joint stands": (
            f"{100 * abs(joints[1][0]):.1f} cm "
            f"{'ahead of' if joints[1][0] > 0 else 'behind'} the line hip to ankle"
        ),
    }
    drawn = picture.side_view(
        "Your preset bend",
        f"A leg bent {np.degrees(bend):.1f} degrees in the side view, and the same leg straight.",
        picture.ghost(planar_points(0, 0, upper, lower)),
        picture.chain(joints, ["hip", "middle joint", "end"]),
    )
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if sided and sized:
        return verdict(1.0, "each leg knows its side, and none gives up more reach than it may.")
    belongs = f"this middle joint should stand {'ahead of' if side > 0 else 'behind'} the line"
    if sized:
        return verdict(0.25, f"the size is right, the side is not: {belongs}.")
    size = (
        "it costs more reach than it may."
        if share > 1
        else "it could be larger for the same price; spend at least nine tenths of the largest bend"
        " allowed."
    )
    near = 0.6 < share < 1.1
    where = "your side is right; " if sided else f"{belongs}, and "
    return verdict(sided * (0.3 if near else 0.1), where + size)


PRESET = Question(
    "06",
    "preset_bend",
    "sign and size of a preset bend for any puppet",
    "function",
    {"bend": ()},
    _draw_preset,
    _judge_preset,
    (
        Misconception(
            "same side for all",
            lambda u, low, side, cost: bends.bend_for_cost(cost, u, low),
            "every leg bends the same way, the heron's too",
        ),
        Misconception(
            "knee backwards",
            lambda u, low, side, cost: -side * bends.bend_for_cost(cost, u, low),
            "the middle joint bends to the side opposite the one asked for",
        ),
        Misconception(
            "degrees",
            lambda u, low, side, cost: side * np.degrees(bends.bend_for_cost(cost, u, low)),
            "the bend is in degrees; it belongs in radians",
        ),
        Misconception(
            "whole bend on each bone",
            lambda u, low, side, cost: side * np.arccos(1 - cost),
            "each bone is tilted by the whole bend; between them they share it",
        ),
        Misconception(
            "share of a half turn",
            lambda u, low, side, cost: side * cost * np.pi,
            "the share of the reach is taken as the same share of a half turn; near straight, reach"
            " is lost with the square of the bend",
        ),
    ),
    hints=Hints(
        "Turn the share into a length first: how far apart must hip and ankle still be? Then you "
        "know the three sides of a triangle.",
        "A preset bend decides",
        "With both bones 1 m and a cost of 0.134, hip and ankle must still be 2 · 0.866 = 1.732 m "
        "apart, which is √3 m. The largest bend is 60°, and anything from 54° spends enough.",
    ),
)


# --- The heron's side, with its proof


def _draw_heron(rng, character):
    upper, lower = puppets.PUPPETS["heron"].bones[1:]
    size = character.stature / 1.7
    return [
        {
            "upper": round(size * upper, 3),
            "lower": round(size * lower, 3),
            "bend_deg": float(rng.integers(6, 16)),
        }
    ]


def _offset_cm(upper, lower, bend):
    """The middle joint's distance from the line between the ends of two bones."""
    return (
        100
        * upper
        * lower
        * np.sin(bend)
        / ((upper + lower) * (1 - float(bends.reach_cost(bend, upper, lower))))
    )


def _judge_heron(inputs, output):
    upper, lower, bend = inputs["upper"], inputs["lower"], np.radians(inputs["bend_deg"])
    side, yours, true = output["side"], float(output["proof"]), _offset_cm(upper, lower, bend)
    size_right, sign_right = abs(abs(yours) - true) <= 0.0501, yours < 0
    measured = {"You say": f"{side}, {yours:.2f} cm"}
    drawn = picture.side_view(
        "Two bones of the heron's leg",
        "The heron's two long bones in the side view, and a dotted straight leg.",
        picture.ghost(planar_points(0, 0, upper, lower)),
        picture.chain(_hung(upper, lower, bend if side == "front" else -bend), ["", side, ""]),
    )
    # side and sign alone could be a guess, and are the same for everybody
    score = 0.2 * (side == "back") + 0.3 * size_right
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if side == "back" and sign_right and size_right:
        return verdict(
            1.0, "what looks like a knee is an ankle, and it points back; your number proves it."
        )
    if side != "back":
        return verdict(
            score,
            f"{right_so_far({'distance': size_right})}look at the heron of lesson 06: which way"
            " does the joint in the middle of its visible leg point?",
        )
    if not sign_right:
        return verdict(
            score,
            f"{right_so_far({'side': True, 'distance': size_right})}ahead of the line counts as"
            " positive, so what does behind it count as?",
        )
    return verdict(
        score,
        "the side is right, the distance is not: measure at a right angle from the line between "
        "the ends to the middle joint, in centimetres.",
    )


def _heron(side, sign, distance):
    return lambda upper, lower, bend_deg: (
        side,
        sign * distance(upper, lower, np.radians(bend_deg)),
    )


HERON = Question(
    "06",
    "heron_side",
    "which way the heron's middle joint bends, and the number that proves it",
    "value",
    {"side": ("front", "back"), "proof": ()},
    _draw_heron,
    _judge_heron,
    (
        Misconception(
            "like a knee",
            _heron("front", 1, _offset_cm),
            "the heron's ankle is bent like a person's knee",
        ),
        Misconception(
            "no sign",
            _heron("back", 1, _offset_cm),
            "the distance has lost its sign: behind the line is negative",
        ),
        Misconception(
            "metres",
            _heron("back", -1, lambda u, low, b: _offset_cm(u, low, b) / 100),
            "the distance is left in metres",
        ),
        Misconception(
            "shortening",
            _heron("back", -1, _shortening_cm),
            "what the bend costs in length is taken for how far the joint stands off the line",
        ),
        Misconception(
            "from the thigh's line",
            _heron("back", -1, lambda u, low, b: 100 * low * np.sin(b)),
            "the distance is measured from the upper bone's line to the foot, not from the line"
            " between the ends to the middle joint",
        ),
    ),
    hints=Hints(
        "The two bones and the line between their ends make a triangle. Its area can be written in "
        "two ways: which of them holds the distance you want?",
        "The wrong way",
        "Two bones of 1 m are bent by 90°: their ends are √2 m apart, and the joint stands half as "
        "far off that line, for a square's diagonals cut each other in half: 70.7 cm. Behind the "
        "line that reads −70.7.",
    ),
)


# --- Steps against bend

FINDINGS = ("a hundredth", "a tenth", "more than half")


def _draw_steps(rng, character):
    reach_cm = 100 * character.leg_length
    return [
        {
            "upper": character.thigh,
            "lower": character.shank,
            "drop_cm": round(float(rng.uniform(0.05, 0.15)) * reach_cm, 1),
            "small_deg": 0.1,
            "large_deg": 10.0,
        }
    ]


@lru_cache(maxsize=256)
def _steps(upper, lower, drop, small, large, solver="cyclic descent"):
    """The steps that a leg needs to bring its ankle up by `drop` [m], from either bend [rad]."""
    straight = planar_points(0, 0, upper, lower)
    bent = bends.preset_bend(straight, [small, large])
    return tuple(solvers.SOLVERS[solver](bent, straight[2] + [0, drop]).steps.tolist())


def _measured_steps(upper, lower, drop_cm, small_deg, large_deg, solver="cyclic descent"):
    return _steps(upper, lower, drop_cm / 100, np.radians(small_deg), np.radians(large_deg), solver)


def _finding(steps):
    share = steps[1] / steps[0]
    return FINDINGS[0] if share < 0.03 else FINDINGS[1] if share < 0.3 else FINDINGS[2]


def _judge_steps(inputs, output):
    true, yours, finding = np.array(_measured_steps(**inputs)), output["steps"], output["finding"]
    right = np.abs(yours - true) <= np.maximum(2, 0.01 * true)
    concluded = finding == _finding(true)
    upper, lower, rise = inputs["upper"], inputs["lower"], inputs["drop_cm"] / 100
    start = bends.preset_bend(planar_points(0, 0, upper, lower), np.radians(inputs["large_deg"]))
    drawn = picture.side_view(
        "The larger bend, and the goal",
        "A slightly bent leg in the side view, and the goal above its ankle.",
        picture.goal((0, rise - upper - lower)),
        picture.chain(start, ["hip", "knee", ""]),
    )
    measured = {
        "You say": (
            f"{number(yours[0])} steps from the small bend, {number(yours[1])} from the large one:"
            f" {finding}"
        )
    }
    # the finding is everybody's and the second count nearly so: they count beside the first
    score = float(right @ [0.15, 0.05]) + (0.4 + 0.4 * concluded) * bool(right.all())
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right.all():
        return verdict(
            score,
            "a little bend is enough: a hundred times as much saves less than half the steps."
            if concluded
            else (
                "your measurements are right; divide the second by the first, and conclude again."
            ),
        )
    so_far = right_so_far(dict(zip(("first count", "second count"), right, strict=True)))
    return verdict(
        score,
        f"{so_far}your steps are not what the solver counts: bends go in as radians, the goal lies"
        " above the straight leg's ankle, and the solution's `steps` is the count.",
    )


def _steps_answer(steps):
    return _finding(steps), list(steps)


def _steps_in_degrees(upper, lower, drop_cm, small_deg, large_deg):
    return _steps_answer(_steps(upper, lower, drop_cm / 100, small_deg, large_deg))


def _steps_in_proportion(upper, lower, drop_cm, small_deg, large_deg):
    first, _ = _measured_steps(upper, lower, drop_cm, small_deg, large_deg)
    return FINDINGS[0], [first, first / 100]


STEPS = Question(
    "06",
    "steps",
    "how many steps a solver needs from a small and from a larger preset bend",
    "value",
    {"finding": FINDINGS, "steps": (2,)},
    _draw_steps,
    _judge_steps,
    (
        Misconception(
            "degrees for radians",
            _steps_in_degrees,
            "the bends go in as degrees; the library takes radians",
        ),
        Misconception(
            "in proportion",
            _steps_in_proportion,
            "the second count is the first one divided by a hundred, as if steps fell with the"
            " bend; measure it",
        ),
        Misconception(
            "swapped",
            lambda *inputs: (FINDINGS[2], _measured_steps(*inputs)[::-1]),
            "the two counts stand in the wrong order: the small bend comes first",
        ),
        Misconception(
            "goal below",
            lambda u, low, drop_cm, *bend_deg: _steps_answer(
                _measured_steps(u, low, -drop_cm, *bend_deg)
            ),
            "the goal lies below the straight leg's ankle, out of reach; it should lie above",
        ),
        Misconception(
            "another solver",
            lambda u, low, drop_cm, small_deg, large_deg: _steps_answer(
                _measured_steps(u, low, drop_cm, small_deg, large_deg, "damped least squares")
            ),
            "damped least squares is the solver; cyclic descent was asked for",
        ),
    ),
    hints=Hints(
        "Look at what goes in before you count: print the three points of each bent leg, and see "
        "that the goal is nearer to the hip than their ankle is.",
        "Further: how little is enough",
        "Suppose that a step doubles a small bend, and that 16° are enough. From 1° that takes 4 "
        "steps, from 2° it takes 3: twice the bend saves one step, and not half of them.",
    ),
)


QUESTIONS = (SHORTENING, FREEDOM, STUCK, SOLVE, PRESET, HERON, STEPS)


def _hung(upper, lower, bend):
    """The leg's points with its ankle straight below its hip, bent at the middle joint."""
    return planar_points(_hip_toward((0.0, -1.0), upper, lower, bend), bend, upper, lower)
