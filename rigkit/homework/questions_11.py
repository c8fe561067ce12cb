"""Questions of lesson 11, the foot.

All in the side view: (forward, up) from a spot on the floor below the ankle of the flat foot, in
metres; the floor is at height 0. Turns are positive with the heel up and the toes down; radians
unless a name ends in `_deg`.
"""

from functools import partial

import numpy as np

from rigkit import controls as ct
from rigkit import foot as ft
from rigkit import frames as fr
from rigkit.homework import picture
from rigkit.homework.question import WORDS, Hints, Misconception, Question, Verdict

NEAR = 1e-4  # metres and radians: a point no further off is there
CM = 0.0501  # centimetres: a length to a tenth
FAR = 2.0  # metres: what lies further out is not drawn true

# Here the toe takes over from the ball at once, as the questions say: a rule one can write down.
_roll, _turns = partial(ft.roll, ease=0.0), partial(ft.turns, ease=0.0)


def _foot_of(character):
    """Heel, ball, toe and ankle of the learner's own foot, in this order."""
    sole = ft.of_puppet(character)
    return {"heel": sole.heel, "ball": sole.ball, "toe": sole.toe, "ankle": sole.ankle}


def _turned(points, turn):
    """Points turned about the origin, the ones ahead going down."""
    about = ct.pose([ct.Control("foot")], {"foot": {"turn_x": turn}})["foot"]
    points = np.asarray(points, dtype=float)
    return fr.apply(about, np.stack([0 * points[..., 0], points[..., 1], points[..., 0]], axis=-1))[
        ..., [2, 1]
    ]


def _about(centre, point, turn):
    return centre + _turned(np.subtract(point, centre), turn)


def _drawn(point):
    return np.clip(point, -FAR, FAR)


def _sole(heel, ball, toe, ankle=None):
    """A foot's outline for a picture."""
    return [heel, ball, toe] if ankle is None else [ankle, heel, ball, toe, ankle]


FLOOR = picture.ghost([(-0.2, 0.0), (0.35, 0.0)])


# --- Which point carries


def _draw_carries(rng, character):
    limit = float(rng.integers(30, 46))
    rolls = [
        -rng.integers(4, 10),
        -rng.integers(15, 26),
        rng.integers(5, 15),
        limit - rng.integers(2, 6),
        limit + rng.integers(2, 6),
        limit + rng.integers(12, 25),
    ]
    sole = _foot_of(character)
    return [
        {
            "roll_deg": [float(roll) for roll in rng.permutation(rolls)],
            "limit_deg": limit,
            "behind": float(sole["ball"][0] - sole["heel"][0]),
            "toes": float(sole["toe"][0] - sole["ball"][0]),
        }
    ]


def _line_foot(behind, toes):
    """A foot without an ankle, from the heel on."""
    return ft.Foot(ankle=(0.0, 0.0), heel=(0.0, 0.0), ball=(behind, 0.0), toe=(behind + toes, 0.0))


def _carrying(roll_deg, limit_deg):
    rolled = _roll(_line_foot(1.0, 1.0), np.radians(roll_deg), np.radians(limit_deg))
    return [str(pivot) for pivot in rolled.pivot]


def _heel_cm(roll_deg, limit_deg, behind, toes):
    """The heel's height at the largest roll, cm."""
    rolled = _roll(_line_foot(behind, toes), np.radians(np.max(roll_deg)), np.radians(limit_deg))
    return 100 * float(rolled.heel[1])


def _judge_carries(inputs, output):
    rolls, limit_deg, behind, toes = inputs.values()
    yours = [word.strip().lower() for word in output["pivots"]]
    true = _carrying(rolls, limit_deg)
    if len(yours) != len(true):
        return Verdict(
            0.0,
            f"you name {len(yours)} points; name one for each of the {len(true)} rolls, in their "
            "order.",
            {},
            _flat_picture(behind, toes),
        )
    right = [mine == other for mine, other in zip(yours, true, strict=True)]
    first = right.index(False) if not all(right) else int(np.argmax(rolls))
    pose = _roll(_line_foot(behind, toes), np.radians(rolls[first]), np.radians(limit_deg))
    named = yours[first] if yours[first] in ft.PIVOTS else None
    height = 100 * float(getattr(pose, named)[1]) if named else 0.0
    at = f"at a roll of {rolls[first]:.0f}°".replace("-", "−")
    drawn = picture.side_view(
        f"The foot {at}",
        "A foot from the side at one of the rolls, over a dotted floor.",
        FLOOR,
        picture.chain([pose.heel, pose.ball, pose.toe], ft.PIVOTS),
    )
    measured = {
        "You name the right point for": f"{sum(right)} of {len(right)} rolls",
        "You say the heel is": f"{float(output['heel']):.1f} cm high",
    }
    near = abs(abs(float(output["heel"])) - _heel_cm(**inputs)) <= CM
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if all(right) and near:
        return verdict(1.0, "what carries stands on the floor, and the rest turns about it.")
    if all(right):
        return verdict(
            0.6,
            "the points are right, the heel's height is not: it is the height of the ball, plus how"
            " far the heel is above the ball.",
        )
    score = (0.1 if near else 0.0) + 0.4 * sum(right) / len(right)
    return verdict(score, f"{at} {_carries_advice(yours[first], named, height)}")


def _flat_picture(behind, toes):
    points = [(0.0, 0.0), (behind, 0.0), (behind + toes, 0.0)]
    return picture.side_view(
        "Your foot", "A foot that stands flat.", FLOOR, picture.chain(points, ft.PIVOTS)
    )


def _carries_advice(word, named, height_cm):
    if not named:
        return f"you name {word[:20]!r}; the points are called heel, ball and toe."
    if height_cm > CM:
        return (
            f"the {named}, which you name, is {height_cm:.1f} cm over the floor; what carries "
            "stands on it."
        )
    return (
        f"the {named} stands on the floor, but the foot does not turn about it: ask which of "
        "the points on the floor the part in the air is joined to."
    )


def _carries(pivot, heel=_heel_cm):
    """A wrong answer from one roll's pivot, given roll and limit, and from a heel's height."""
    return lambda roll_deg, limit_deg, behind, toes: (
        [pivot(roll, limit_deg) for roll in roll_deg],
        float(heel(roll_deg, limit_deg, behind, toes)),
    )


def _right_pivot(roll, limit):
    return _carrying([roll], limit)[0]


def _sine_of_most(roll_deg):
    return np.sin(np.radians(np.max(roll_deg)))


CARRIES = Question(
    "11",
    "carries",
    "which point carries the foot at each roll, and how high the heel gets",
    "value",
    {"pivots": WORDS, "heel": ()},
    _draw_carries,
    _judge_carries,
    (
        Misconception(
            "sign flipped",
            _carries(lambda roll, limit: _right_pivot(-roll, limit)),
            "the sign of the roll is taken the other way round; below zero the toes are up",
        ),
        Misconception(
            "toe when the ball carries",
            _carries(
                lambda roll, limit: "heel" if roll < 0 else "toe",
                lambda roll_deg, limit_deg, behind, toes: (
                    100 * (behind + toes) * _sine_of_most(roll_deg)
                ),
            ),
            "the toe carries as soon as the heel is up; but the toes can bend, and up to the limit"
            " they do",
        ),
        Misconception(
            "ball to the end",
            _carries(
                lambda roll, limit: "heel" if roll < 0 else "ball",
                lambda roll_deg, limit_deg, behind, toes: 100 * behind * _sine_of_most(roll_deg),
            ),
            "the ball carries however far the foot rolls; beyond its limit it leaves the floor",
        ),
        Misconception(
            "what is highest",
            _carries(lambda roll, limit: "toe" if roll < 0 else "heel"),
            "the point that is highest is named; what carries is at the other end",
        ),
        Misconception(
            "foot held at the limit",
            _carries(
                _right_pivot,
                lambda roll_deg, limit_deg, behind, toes: (
                    100
                    * (
                        behind * np.sin(np.radians(limit_deg))
                        + toes * np.sin(np.radians(np.max(roll_deg) - limit_deg))
                    )
                ),
            ),
            "for the heel's height the foot is turned by the limit alone; the limit is the bend"
            " between foot and toes, and the foot is turned by the whole roll",
        ),
        Misconception(
            "metres",
            _carries(_right_pivot, lambda *inputs: _heel_cm(*inputs) / 100),
            "the heel's height is in metres",
        ),
    ),
    hints=Hints(
        "For each roll ask which point the part in the air is joined to; for the heel, draw the"
        " sole as two straight pieces, each with a slope of its own.",
        "Roll the foot",
        "A roll of 60° with a limit of 30°: the toe carries. Toes of 6 cm slope by 30°, so the"
        " ball is 3.0 cm high; the 20 cm behind it slope by 60°, and the heel is 17.3 cm higher"
        " still: 20.3 cm.",
    ),
)


# --- Where the ankle goes


def _draw_ankle(rng, character):
    sole = _foot_of(character)

    def case(roll_deg, limit_deg=40.0, size=1.0):
        return {
            "roll": float(np.radians(roll_deg)),
            "limit": float(np.radians(limit_deg)),
            **{name: size * point for name, point in sole.items()},
        }

    return [
        case(-rng.uniform(5, 12)),
        case(-rng.uniform(18, 30)),
        case(0.0),
        case(rng.uniform(5, 15)),
        case(rng.uniform(34, 38)),  # where the library lets ball and toe share
        case(rng.uniform(45, 55)),
        case(rng.uniform(60, 80), 35.0),
        case(90.0),
        case(rng.uniform(50, 70), 25.0, 3.0),  # a parade giant
        case(rng.uniform(10, 30), 0.0),
    ]  # toes that do not bend


def _ankle(roll, limit, heel, ball, toe, ankle):
    return _roll(ft.Foot(ankle, heel, ball, toe), roll, limit).ankle


def _judge_ankle(inputs, output):
    yours, true = output["ankle"], _ankle(**inputs)
    miss = 100 * float(np.linalg.norm(yours - true))
    heel, ball, toe, ankle = (inputs[name] for name in ("heel", "ball", "toe", "ankle"))
    roll_deg = np.degrees(inputs["roll"])
    drawn = picture.side_view(
        f"Your ankle in a roll of {roll_deg:.0f}°".replace("-", "−"),
        "The flat foot, dotted, the ankle where you put it, and a ring where it belongs.",
        picture.ghost(_sole(heel, ball, toe, ankle)),
        picture.goal(true),
        picture.dots([_drawn(yours)], "miss"),
        picture.note(_drawn(yours), "your ankle", "miss"),
    )
    held = {"From your ankle to the heel": heel, "to the ball": ball, "to the toe": toe}
    measured = {
        name: (
            f"{min(100 * np.linalg.norm(yours - point), 1e6):.2f} cm; flat it is "
            f"{100 * np.linalg.norm(ankle - point):.2f} cm"
        )
        for name, point in held.items()
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if miss <= 100 * NEAR:
        return verdict(1.0, "the point that carries stays, and the ankle follows.")
    return verdict(
        0.25 if miss <= 1.0 else 0.0,
        f"your ankle is {min(miss, 1e6):.1f} cm from where the foot takes it;"
        f" {_ankle_advice(yours, **inputs)}",
    )


def _ankle_advice(yours, roll, limit, heel, ball, toe, ankle):
    backward = _one_by_one(roll, limit, heel, ball, toe, ankle, way=-1)
    if np.linalg.norm(yours - backward) <= NEAR:
        return (
            "it is turned the wrong way. Positive is with the heel up and the toes down: mind the"
            " sign of the sines."
        )
    pivot = _carrying([np.degrees(roll)], np.degrees(limit))[0]
    flat = {"heel": heel, "ball": ball, "toe": toe}
    if roll > limit or abs(_distance(yours, flat[pivot]) - _distance(ankle, flat[pivot])) > NEAR:
        return (
            "ask which point stands still in each part of the roll, and how far the ankle is from"
            " it: a turn keeps that distance."
        )
    return (
        f"its distance from the {pivot} is right, the angle is not: turn it by the roll, toes down"
        " positive."
    )


def _distance(a, b):
    return float(np.linalg.norm(np.subtract(a, b)))


def _one_by_one(roll, limit, heel, ball, toe, ankle, way=1):
    """The ankle turned about ball, toe and heel, each by its share of the roll."""
    on_heel, on_ball, on_toe = _turns(roll, limit)
    for pivot, turn in ((ball, on_ball), (toe, on_toe), (heel, on_heel)):
        ankle = _about(pivot, ankle, way * turn)
    return ankle


def _one_pivot(choose):
    """The ankle turned by the whole roll about a point that `choose` gives."""

    def answer(roll, limit, heel, ball, toe, ankle):
        return _about(
            choose(roll, limit, {"heel": heel, "ball": ball, "toe": toe, "ankle": ankle}),
            ankle,
            roll,
        )

    return answer


def _ball_over_toe(roll, limit, heel, ball, toe, ankle):
    """The toe hangs from the ball: the ball's turn comes last and carries the toe's pivot along."""
    on_heel, on_ball, on_toe = _turns(roll, limit)
    return _about(heel, _about(ball, _about(toe, ankle, on_toe), on_ball), on_heel)


ANKLE = Question(
    "11",
    "rolled_ankle",
    "where the ankle of a rolled foot is",
    "function",
    {"ankle": (2,)},
    _draw_ankle,
    _judge_ankle,
    (
        Misconception(
            "pivot at the ankle",
            lambda roll, limit, heel, ball, toe, ankle: ankle,
            "the foot turns about its ankle, which stays; on the floor it turns about what stands"
            " there",
        ),
        Misconception(
            "about the origin",
            _one_pivot(lambda roll, limit, points: np.zeros(2)),
            "the ankle is turned about the origin, the spot below it; shift the pivot to the origin"
            " first",
        ),
        Misconception(
            "sign flipped",
            lambda roll, *rest: _ankle(-roll, *rest),
            "the sign of the roll is taken the other way round; positive is with the heel up",
        ),
        Misconception(
            "turned the other way",
            lambda roll, limit, heel, ball, toe, ankle: _about(
                heel if roll < 0 else ball if roll <= limit else toe, ankle, -roll
            ),
            "the pivots are chosen well, but the turn goes the other way: what lies ahead of the"
            " pivot goes down when the heel goes up",
        ),
        Misconception(
            "each share the other way",
            partial(_one_by_one, way=-1),
            "each pivot takes its own share of the roll, but turns the other way: positive is with"
            " the heel up and the toes down, so mind the sign of the sines",
        ),
        Misconception(
            "degrees for radians",
            lambda roll, *rest: _ankle(np.radians(roll), *rest),
            "the roll, which comes in radians, is converted from degrees once more",
        ),
        Misconception(
            "toe when the ball carries",
            _one_pivot(lambda roll, limit, points: points["heel" if roll < 0 else "toe"]),
            "the toe carries as soon as the heel is up; up to the limit it is the ball",
        ),
        Misconception(
            "ball to the end",
            _one_pivot(lambda roll, limit, points: points["heel" if roll < 0 else "ball"]),
            "the ball carries however far the foot rolls; beyond its limit the toe does",
        ),
        Misconception(
            "jump to the toe",
            _one_pivot(
                lambda roll, limit, points: points[
                    "heel" if roll < 0 else "ball" if roll <= limit else "toe"
                ]
            ),
            "beyond the limit the whole roll is taken about the toe; only what lies beyond the"
            " limit is, and the rest stays on the ball",
        ),
        Misconception(
            "shared around the limit",
            lambda roll, limit, heel, ball, toe, ankle: (
                ft.roll(ft.Foot(ankle, heel, ball, toe), roll, limit).ankle
            ),
            "ball and toe share the roll around the limit, as the library lets them; here the toe"
            " takes over at once",
        ),
        Misconception(
            "toe hung from the ball",
            _ball_over_toe,
            "the ball's turn carries the toe's pivot along; the toe carries the ball, not the ball"
            " the toe",
        ),
    ),
    hints=Hints(
        "Draw three feet, one on the heel, one on the ball, one beyond the limit, and mark in each"
        " the points that stay where they were.",
        "Further: a turn in the plane",
        "Ball (0.1, 0), ankle (0, 0.1), a roll of 90° and a limit of 90°: the ankle is 0.1 m"
        " behind the ball and 0.1 m above it. A quarter turn makes above of behind, and ahead of"
        " above, so it comes to (0.2, 0.1).",
    ),
)


# --- Who carries whom

RIGHT_ORDER = ("heel", "toe", "ball")  # or toe before heel: in one roll they never turn together


def _draw_order(rng, character):
    sole = _foot_of(character)
    return [
        {
            "roll_deg": float(rng.integers(52, 64)),
            "limit_deg": float(rng.integers(33, 46)),
            "toes": float(sole["toe"][0] - sole["ball"][0]),
        }
    ]


def _sunk_cm(roll_deg, limit_deg, toes):
    """The depth of the toe's pivot when the ball carries it, cm."""
    _, on_ball, _ = _turns(np.radians(roll_deg), np.radians(limit_deg))
    return -100 * float(_turned((toes, 0.0), on_ball)[1])


def _pivots_in(order, roll_deg, limit_deg, toes):
    """Places of heel, ball and toe when each pivot carries the next in this order."""
    flat = dict(zip(ft.PIVOTS, ((0.0, 0.0, -0.19), (0.0, 0.0, 0.0), (0.0, 0.0, toes)), strict=True))
    turns = dict(zip(ft.PIVOTS, _turns(np.radians(roll_deg), np.radians(limit_deg)), strict=True))
    chain = [
        ct.Control(name, pivot=flat[name], parent=leader)
        for name, leader in zip(order, (None, *order), strict=False)
    ]
    worlds = ct.pose(chain, {name: {"turn_x": turn} for name, turn in turns.items()})
    return np.stack(
        [
            fr.apply(worlds[order[-1] if name == "heel" else name], flat[name])[[2, 1]]
            for name in ft.PIVOTS
        ]
    )


def _judge_order(inputs, output):
    yours = [word.strip().lower() for word in output["order"]]
    near = abs(abs(float(output["depth"])) - _sunk_cm(**inputs)) <= CM
    named = sorted(yours) == sorted(ft.PIVOTS)
    half = round(inputs["limit_deg"] / 2)
    points = _pivots_in(
        yours if named else RIGHT_ORDER, half if named else 0.0, inputs["limit_deg"], inputs["toes"]
    )
    drawn = picture.side_view(
        f"Your order in a roll of {half}°" if named else "Your foot",
        "A foot from the side over a dotted floor, its pivots carried in the order you give.",
        FLOOR,
        picture.chain(points, ft.PIVOTS),
    )
    measured = {
        "Your order": ", ".join(word[:12] for word in yours[:5]) or "none",
        "You say the toe sinks by": f"{abs(float(output['depth'])):.1f} cm",
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if not named:
        return verdict(0.2 * near, "name heel, ball and toe, each once.")
    carried = yours[yours.index("ball") + 1 :]
    if carried:
        return verdict(
            0.2 * near,
            f"in your order the ball carries the {' and the '.join(carried)}: when the heel "
            "rises about the ball, should that come along?",
        )
    if near:
        return verdict(1.0, "each carries what must come along, and the ball nothing but the foot.")
    return verdict(
        0.05,  # there are few orders to choose from
        "the order is right, the depth is not: the toe goes along a circle around the ball, by what"
        " the ball turns; how far down is that, in centimetres?",
    )


def _order(order, depth=_sunk_cm):
    return lambda roll_deg, limit_deg, toes: (list(order), float(depth(roll_deg, limit_deg, toes)))


ORDER = Question(
    "11",
    "hang",
    "in which order the pivots carry each other, and what the wrong one costs",
    "value",
    {"order": WORDS, "depth": ()},
    _draw_order,
    _judge_order,
    (
        Misconception(
            "along the foot",
            _order(("heel", "ball", "toe")),
            "the pivots hang as they lie along the foot, so the ball's turn carries the toe's pivot"
            " into the floor, by just the depth you give",
        ),
        Misconception(
            "from the foot",
            _order(("ball", "toe", "heel")),
            "the order is read from the foot, last one first; whoever carries all comes first",
        ),
        Misconception(
            "whole roll",
            _order(RIGHT_ORDER, lambda roll_deg, limit_deg, toes: _sunk_cm(roll_deg, 90.0, toes)),
            "the ball is turned by the whole roll; its share ends at the limit",
        ),
        Misconception(
            "the toe's share",
            _order(
                RIGHT_ORDER,
                lambda roll_deg, limit_deg, toes: _sunk_cm(roll_deg - limit_deg, 90.0, toes),
            ),
            "the toe's own turn is used; what sinks its pivot is the turn of the ball, which"
            " carries it",
        ),
        Misconception(
            "along the circle",
            _order(
                RIGHT_ORDER, lambda roll_deg, limit_deg, toes: 100 * toes * np.radians(limit_deg)
            ),
            "the way along the circle is given; the depth is its part straight down",
        ),
        Misconception(
            "metres",
            _order(RIGHT_ORDER, lambda *inputs: _sunk_cm(*inputs) / 100),
            "the depth is in metres",
        ),
    ),
    hints=Hints(
        "Take two pivots at a time: when the one turns, must the other come along, or must it stay"
        " on the floor?",
        "Further: three pivots, one chain",
        "Toe and ball alone: when the toe turns, the ball must rise, so the toe carries the ball."
        " The other way round, a ball that turns by 30° takes a toe 6 cm ahead of it 3.0 cm into"
        " the floor.",
    ),
)


# --- What pivots too high cost


def _draw_slide(rng, character):
    return [
        {"roll_deg": float(rng.integers(28, 39)), "height": float(rng.integers(60, 101)) / 1000}
    ]


def _slide(roll_deg, height):
    """Ways of the point below a pivot, ahead and up, cm."""
    moved = _turned((0.0, -height), np.radians(roll_deg)) + [0.0, height]
    return 100 * moved


def _judge_slide(inputs, output):
    true, yours, way = np.abs(_slide(**inputs)), np.abs(output["slide and rise"]), output["way"]
    right = np.abs(yours - true) <= CM
    sided = way == "back"
    pivot, below = np.array([0.0, inputs["height"]]), np.array([(-0.15, 0.0), (0.0, 0.0)])
    drawn = picture.side_view(
        "The foot behind the ball, and its pivot",
        "The part of a flat foot behind its ball, and the pivot above the ball.",
        FLOOR,
        picture.chain(below, ["heel", "ball"]),
        picture.dots([pivot], "miss"),
        picture.note(pivot, "pivot", "miss"),
    )
    measured = {"You say": f"{way}; {yours[0]:.1f} cm along the floor, {yours[1]:.1f} cm up"}
    score = 0.1 * sided + 0.4 * float(right.sum())
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if sided and right.all():
        return verdict(
            1.0, "a point below its pivot swings like a pendulum; on the floor it would have stood."
        )
    if not sided:
        return verdict(
            min(score, 0.5),
            "hold a pencil upright at its top and turn it as the heel goes up and the toes "
            "go down: which way does its lower end go?",
        )
    which = "one length is not" if right.any() else "neither length is"
    return verdict(
        score,
        f"{which} right: draw the line from the pivot down to the floor, turn it by the roll, and "
        "measure how far its end has gone along, and how far up.",
    )


def _slid(lengths, way="back"):
    return lambda roll_deg, height: (way, np.abs(lengths(roll_deg, height)).tolist())


SLIDE = Question(
    "11",
    "too_high",
    "how a foot slides whose pivots are too high",
    "value",
    {"way": ("back", "ahead", "stays"), "slide and rise": (2,)},
    _draw_slide,
    _judge_slide,
    (
        Misconception(
            "the other way",
            _slid(_slide, "ahead"),
            "the point is sent ahead; when what is ahead of a pivot goes down, what is below it"
            " does not go that way",
        ),
        Misconception(
            "stays",
            lambda roll_deg, height: ("stays", [0.0, 0.0]),
            "the point that stood is taken to stand still; only the pivot does, and that is"
            " above it",
        ),
        Misconception(  # along the circle it is the same to a tenth of a millimetre or three
            "the whole way",
            _slid(
                lambda roll_deg, height: [
                    200 * height * np.sin(np.radians(roll_deg) / 2),
                    _slide(roll_deg, height)[1],
                ]
            ),
            "the whole way from start to end is given, straight or along the circle; the slide is"
            " its part along the floor",
        ),
        Misconception(
            "swapped",
            _slid(lambda roll_deg, height: _slide(roll_deg, height)[::-1]),
            "slide and rise are exchanged",
        ),
        Misconception(
            "degrees as radians",
            _slid(
                lambda roll_deg, height: (
                    100 * height * np.array([np.sin(roll_deg), 1 - np.cos(roll_deg)])
                )
            ),
            "degrees go into a sine and a cosine that take radians",
        ),
        Misconception(
            "metres", _slid(lambda *inputs: _slide(*inputs) / 100), "the lengths are in metres"
        ),
    ),
    hints=Hints(
        "Draw the pivot with the point of the sole below it, like a weight on a string, and turn"
        " the foot by a right angle: where is the weight?",
        "Break it: put the pivots wrong",
        "A pivot 2 cm over the floor and a roll of 30°: the lower end of the line is now 1.0 cm"
        " aside of the pivot and 1.73 cm below it. So it slides by 1.0 cm and rises by 2 − 1.73,"
        " 0.3 cm.",
    ),
)


# --- Toes that stay flat


def _draw_bend(rng, character):
    def case(turn_deg, slope_deg, limit_deg=40.0):
        return {
            "turn": float(np.radians(turn_deg)),
            "slope": float(np.radians(slope_deg)),
            "limit": float(np.radians(limit_deg)),
        }

    uphill, downhill = rng.uniform(6, 12), -rng.uniform(6, 12)
    return [
        case(rng.uniform(10, 30), 0.0),
        case(-rng.uniform(10, 20), 0.0),
        case(0.0, 0.0),
        case(rng.uniform(55, 75), 0.0),
        case(rng.uniform(8, 20), uphill),
        case(rng.uniform(20, 38), downhill),
        case(-uphill, uphill),  # flat on the slope
        case(-uphill / 2, uphill),  # toes up in the world, heel up on the slope
        case(-downhill / 2, downhill),  # the other way round
        case(rng.uniform(32, 36), uphill, 38.0),  # beyond the limit only because of the slope
        *(
            case(rng.uniform(5, 30), slope)
            for slope in (0.0, 0.0, uphill, uphill, 0.0, downhill / 2)
        ),
    ]


def _bend(turn, slope, limit):
    return -_turns(turn + slope, limit)[1]


def _toes_picture(turn, slope, tip):
    heel, far = _turned((-0.19, 0.0), turn), _turned((0.12, 0.0), -slope)
    sloping = f"a floor that {'rises' if slope > 0 else 'falls'} {abs(np.degrees(slope)):.0f}°"
    return picture.side_view(
        f"Your toes on {sloping if slope else 'a level floor'}",
        "A foot from the side whose toes are bent as you say, on a dotted floor.",
        picture.ghost([-2 * far, far]),
        picture.chain([heel, np.zeros(2), tip], ft.PIVOTS),
    )


def _judge_bend(inputs, output):
    yours, true = float(output["bend"]), float(_bend(**inputs))
    turn, slope, limit = (inputs[name] for name in ("turn", "slope", "limit"))
    tip = _turned((0.066, 0.0), turn + np.clip(yours, -np.pi, np.pi))
    gap = 100 * float(_turned(tip, slope)[1])
    drawn = _toes_picture(turn, slope, tip)
    measured = {
        "The foot is turned against the floor by": f"{np.degrees(turn + slope):.1f}°".replace(
            "-", "−"
        ),
        "With the ball on the floor, the tip of your toes is": (
            f"{abs(gap):.2f} cm {'over' if gap >= 0 else 'below'} it"
        ),
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if abs(yours - true) <= 1e-3:
        return verdict(1.0, "the toes lie flat as long as they can bend, and no further.")
    if turn + slope <= 0:
        return verdict(0.0, "this foot is on its heel, or flat: nothing bends its toes.")
    if abs(yours) > limit + 1e-3:
        return verdict(
            0.0,
            f"your bend is {min(np.degrees(abs(yours)), 1e6):.1f}°, more than the toes can do here "
            f"({np.degrees(limit):.1f}°).",
        )
    return verdict(
        0.25 if abs(yours - true) <= 0.02 else 0.0,
        "the toes can bend up further than yours here: they bend up to the limit, and then they"
        " stay so."
        if turn + slope > limit
        else "your toes do not lie on the floor: foot and bend together must point along it.",
    )


BEND = Question(
    "11",
    "toe_bend",
    "the bend at the ball that keeps the toes flat",
    "function",
    {"bend": ()},
    _draw_bend,
    _judge_bend,
    (
        Misconception(
            "not turned back",
            lambda turn, slope, limit: 0.0,
            "the toes are not turned back, so they go along with the foot, through the floor",
        ),
        Misconception(
            "sign flipped",
            lambda turn, slope, limit: -_bend(turn, slope, limit),
            "the toes are turned the same way as the foot, and point into the floor twice as"
            " steeply",
        ),
        Misconception(
            "level floor",
            lambda turn, slope, limit: _bend(turn, 0.0, limit),
            "every floor is taken to be level",
        ),
        Misconception(
            "slope the other way",
            lambda turn, slope, limit: _bend(turn, -slope, limit),
            "uphill and downhill are exchanged; a floor that rises bends the toes more",
        ),
        Misconception(
            "no limit",
            lambda turn, slope, limit: -np.maximum(turn + slope, 0.0),
            "the toes bend without an end; beyond the limit the toe's tip carries",
        ),
        Misconception(
            "down on the heel",
            lambda turn, slope, limit: -np.minimum(turn + slope, limit),
            "the toes reach for the floor while the foot is on its heel; there they stay in line"
            " with it",
        ),
        Misconception(
            "degrees",
            lambda turn, slope, limit: np.degrees(_bend(turn, slope, limit)),
            "the bend is in degrees; it belongs in radians",
        ),
    ),
    hints=Hints(
        "Draw a foot that stands flat on a floor that rises ahead: what is its turn, and how far"
        " is it turned against the floor?",
        "Further: three pivots, one chain",
        "In degrees: on level floor a foot turned by 20° bends its toes by −20°, with a limit of"
        " 15° by −15°. On a floor that falls by 20° the same foot lies flat, and its toes bend by"
        " 0°.",
    ),
)


# --- Out of the floor


def _draw_out(rng, character):
    points = _foot_of(character)
    sole = np.array([points[name] - points["ankle"] for name in ft.PIVOTS])
    high = -float(sole[0, 1])

    def case(height, turn_deg):
        return {
            "ankle": [round(float(rng.uniform(-0.4, 0.4)), 3), float(height)],
            "turn": float(np.radians(turn_deg)),
            "sole": sole,
        }

    toes_down, toes_up = rng.uniform(20, 40), -rng.uniform(20, 35)
    touching = -_turned(sole, np.radians(toes_down))[:, 1].min()
    return [
        case(high + 0.02, toes_down),
        case(high + 0.005, toes_up),
        case(high, 0.0),
        case(high + 0.3, toes_down),
        case(high + 0.3, toes_up),  # clear of the floor
        case(0.5 * high, 0.0),
        case(-0.05, rng.uniform(20, 35)),
        case(touching, toes_down),
        case(touching - 0.01, toes_down),
        case(touching + 0.01, toes_down),
        case(0.1, rng.uniform(100, 160)),
        case(high - 0.01, rng.uniform(2, 4)),
        case(high - 0.01, -rng.uniform(10, 18)),
    ]


def _out(ankle, turn, sole, which=slice(None)):
    """The ankle lifted by how deep the deepest of some points of the sole is."""
    lowest = float((ankle + _turned(sole, turn))[which, 1].min())
    return [ankle[0], ankle[1] + max(0.0, -lowest)]


def _out_picture(yours, points):
    where = _drawn([0.0, yours[1]])
    foot = np.clip(where + points, -FAR, FAR)
    return picture.side_view(
        "Your foot over the floor",
        "A turned foot from the side where you put it, over a dotted floor.",
        FLOOR,
        picture.chain([foot[0], foot[1], foot[2]], ["heel", "ball", "toe"]),
        picture.dots([where]),
        picture.note(where, "ankle"),
    )


def _judge_out(inputs, output):
    yours, ankle = output["ankle"], inputs["ankle"]
    points = _turned(inputs["sole"], inputs["turn"])
    heights = yours[1] + points[:, 1]
    deepest = int(np.argmin(heights))
    low, aside = 100 * float(heights.min()), 100 * float(abs(yours[0] - ankle[0]))
    up = 100 * float(yours[1] - ankle[1])
    drawn = _out_picture(yours, points)
    measured = {
        "Your lowest point is": (
            f"the {ft.PIVOTS[deepest]}, {min(abs(low), 1e6):.2f} cm "
            f"{'in' if low < 0 else 'over'} the floor"
        ),
        "You moved the ankle": (
            f"{min(abs(up), 1e6):.2f} cm {'down' if up < 0 else 'up'} and "
            f"{min(aside, 1e6):.2f} cm along"
        ),
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if low < -100 * NEAR:
        return verdict(
            0.0,
            f"the {ft.PIVOTS[deepest]} is {min(-low, 1e6):.2f} cm in the floor; look at all three "
            "points, turned.",
        )
    if aside > 100 * NEAR:
        return verdict(
            0.2, "nothing is in the floor, but the ankle has moved along it; lift it straight up."
        )
    wanted = _out(**inputs)[1]
    if abs(yours[1] - wanted) <= NEAR:
        return verdict(
            1.0, "the deepest point decides, and a foot that is clear of the floor stays."
        )
    if wanted > ankle[1] + NEAR:
        return verdict(
            0.5, "nothing is in the floor, but the foot is lifted further than it needs."
        )
    return verdict(0.25, "this foot was clear of the floor and has been moved; leave it alone.")


OUT = Question(
    "11",
    "above_floor",
    "the ankle of a turned foot, lifted until nothing is in the floor",
    "function",
    {"ankle": (2,)},
    _draw_out,
    _judge_out,
    (
        Misconception(
            "only the ankle",
            lambda ankle, turn, sole: [ankle[0], max(float(ankle[1]), 0.0)],
            "only the ankle is checked against the floor; the sole is below it",
        ),
        Misconception(
            "flat foot",
            lambda ankle, turn, sole: _out(ankle, 0.0, sole),
            "the sole is checked as if it were level; turn it first",
        ),
        Misconception(
            "only the toe",
            lambda ankle, turn, sole: _out(ankle, turn, sole, [2]),
            "only the toe is checked; with the toes up it is the heel that goes in",
        ),
        Misconception(
            "only the heel",
            lambda ankle, turn, sole: _out(ankle, turn, sole, [0]),
            "only the heel is checked; with the toes down it is the toe that goes in",
        ),
        Misconception(
            "sign flipped",
            lambda ankle, turn, sole: _out(ankle, -turn, sole),
            "the turn is taken the other way round; positive is with the toes down",
        ),
        Misconception(
            "degrees for radians",
            lambda ankle, turn, sole: _out(ankle, np.radians(turn), sole),
            "the turn, which comes in radians, is converted from degrees once more",
        ),
        Misconception(
            "always on the floor",
            lambda ankle, turn, sole: [ankle[0], -float(_turned(sole, turn)[:, 1].min())],
            "every foot is put on the floor, also one that was in the air",
        ),
        Misconception(
            "left as it is", lambda ankle, turn, sole: ankle, "the foot is left where it was"
        ),
    ),
    hints=Hints(
        "Ask each point of the sole for its height once the foot is turned: which of the answers"
        " decides for the whole foot?",
        "Further: never below the floor",
        "The ankle is at (0, 0.05), a point of the sole 0.1 m ahead of it and as high. Turned by"
        " 90°, toes down, the point is 0.1 m below the ankle and 0.05 m in the floor, so the ankle"
        " goes up to (0, 0.1).",
    ),
)


QUESTIONS = (CARRIES, ANKLE, ORDER, SLIDE, BEND, OUT)
