"""Questions of lesson 09, skin.

Points are (x, y, z) in metres: x to the character's left, y up, z forward; in the side view
(forward, up). A share or a weight is the second joint's, the shank's; the first joint, the thigh's,
has what is left to one.
"""

from functools import lru_cache, partial

import numpy as np

from rigkit import frames as fr
from rigkit import mesh, rotation, skin
from rigkit.homework import picture
from rigkit.homework.judging import number
from rigkit.homework.question import Hints, Misconception, Question, Verdict

# --- Two bones and their skin

POINTS = 4


def _draw_skin(rng, character):
    hip = np.array([character.hip_width / 2, character.hip_height, 0.0])
    knee = hip - [0.0, character.thigh, 0.0]

    def case(turn, shift=(0.0, 0.0, 0.0), tilt=(0.0, 0.0, 0.0), share=None):
        rest = fr.frame(rotation.matrix_from_vector([tilt, tilt]), [hip, knee])
        thigh = fr.frame(rotation.matrix_from_vector([-0.3, 0.0, 0.0]), shift) @ rest[0]
        shank = thigh @ fr.relative(rest[0], rest[1]) @ fr.frame(rotation.matrix_from_vector(turn))
        around = rng.uniform([-0.06, -0.1, -0.06], [0.06, 0.1, 0.06], (POINTS, 3))
        return {
            "points": np.round(knee + around, 4),
            "share": (
                rng.choice(np.arange(1, 10), POINTS, replace=False) / 10 if share is None else share
            ),
            "rest": rest,
            "posed": np.stack([thigh, shank]),
        }

    still = case((0.0, 0.0, 0.0))
    return [
        case((np.radians(rng.uniform(70, 110)), 0.0, 0.0)),
        still | {"posed": still["rest"]},  # nothing has moved
        case((0.0, np.radians(170), 0.0), share=[0.5, 0.2, 0.8, 0.6]),  # wrung
        case((1.2, 0.0, 0.0), shift=(2.5, 0.0, -rng.uniform(3, 8))),  # far down the quay
        case(
            (1.8, 0.4, -0.3), tilt=rng.uniform(-1, 1, 3)
        ),  # rest frames that are turned themselves
        case((1.5, 0.0, 0.0), share=[0.0, 1.0, 0.5, 0.5]),
    ]


def _table(share):
    return np.stack([1 - share, share], axis=-1)


def _skinned(points, share, rest, posed):
    return skin.linear_blend(points, _table(share), skin.joint_matrices(posed, rest))


def _judge_skin(inputs, output):
    points, share, posed, yours = (
        inputs["points"],
        inputs["share"],
        inputs["posed"],
        output["posed points"],
    )
    off = np.linalg.norm(yours - _skinned(**inputs), axis=-1)
    worst, right = int(np.argmax(off)), off <= 2e-4
    joints = posed[:, :3, 3]
    down = joints[1] - 0.15 * posed[1, :3, 1]
    drawn = picture.side_view(
        "Your skin around the posed knee",
        "The posed bones around a knee in the side view, and your points as dots.",
        picture.ghost(np.stack([joints[1] + 0.15 * posed[0, :3, 1], joints[1], down])[:, [2, 1]]),
        picture.dots(yours[:, [2, 1]], "inverse"),
    )
    measured = {
        "Your worst point is off by": _length(off[worst]),
        "The shank's share of it": f"{share[worst]:.1f}",
        "At rest it is": (
            f"{_length(np.linalg.norm(points[worst] - inputs['rest'][1, :3, 3]))} from the knee"
        ),
    }
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right.all():
        return verdict(1.0, "every point goes with both joints, each by its share.")
    return verdict(
        0.5 * float(right.mean()),
        "a point is not where its two joints take it; work one through by hand: where does each"
        " joint alone carry it, and what lies between the two?",
    )


def _skin_with(matrices, blend=skin.linear_blend, share_of=lambda share: share):
    return lambda points, share, rest, posed: blend(
        points, _table(share_of(share)), matrices(rest, posed)
    )


def _motions(rest, posed):
    return skin.joint_matrices(posed, rest)


SKIN = Question(
    "09",
    "pose_skin",
    "where the skin between two joints goes, by linear blend",
    "function",
    {"posed points": (POINTS, 3)},
    _draw_skin,
    _judge_skin,
    (
        Misconception(
            "no inverse bind",
            _skin_with(lambda rest, posed: posed),
            "the inverse bind matrices are missing: each point is moved out by the posed frame"
            " without being taken into the rest frame first, so it is moved twice",
        ),
        Misconception(
            "inverse on the wrong side",
            _skin_with(lambda rest, posed: fr.invert(rest) @ posed),
            "the inverse bind matrix stands on the left of the posed frame; the first thing done to"
            " a point stands nearest to it",
        ),
        Misconception(
            "inverse of the pose",
            _skin_with(lambda rest, posed: rest @ fr.invert(posed)),
            "the posed frame is inverted, not the rest frame; the skin moves backwards",
        ),
        Misconception(
            "weights swapped",
            _skin_with(_motions, share_of=lambda share: 1 - share),
            "the shares are swapped: the thigh gets the shank's",
        ),
        Misconception(
            "stronger joint only",
            _skin_with(_motions, share_of=lambda share: np.round(share + 1e-9)),
            "each point goes with its stronger joint alone; nothing is blended",
        ),
        Misconception(
            "along the arc",
            _skin_with(_motions, skin.dual_quaternion_blend),
            "the points go along an arc, as dual quaternions take them; linear blend takes the"
            " straight line",
        ),
        Misconception(
            "only the shank's motion",
            lambda points, share, rest, posed: (
                points + share[:, None] * (fr.apply(_motions(rest, posed)[1], points) - points)
            ),
            "the thigh's motion is left out: its share of a point stays where it was at rest",
        ),
    ),
    hints=Hints(
        "Take one point and one joint: where does the joint see the point at rest, and where is"
        " that place now?",
        "Bind: remember where each point was",
        "At rest the shank is at (0, 0.5, 0), now at (0, 0.5, 0.1), never turned; the thigh stays."
        " A point at (0, 0.5, 0.04) would go 10 cm ahead with the shank alone. With a share of"
        " 0.25 it goes 2.5 cm, to (0, 0.5, 0.065).",
    ),
)


# --- Four weights that add to one

JOINTS = 6
NOTHING = 1e-6


def _draw_four(rng, character):
    ties = rng.permutation([0.3, 0.3, 0.15, 0.15, 0.15, 0.15])
    even = rng.dirichlet(np.full(JOINTS, 4.0))
    return [
        {"weights": np.round(weights, 6)}
        for weights in (
            0.8 * even,
            rng.permutation([0.0, 0.0, 0.7, 0.0, 0.0, 0.0]),
            ties,
            3 * np.sort(rng.uniform(0.1, 1.0, JOINTS)),
            rng.permutation([0.5, 0.3, 0.2, 0.05, 0.0, 0.0]),
            0.002 * rng.dirichlet(np.ones(JOINTS)) + 1e-5,
            rng.permutation([0.22, 0.20, 0.18, 0.16, 0.14, 0.10]),
        )
    ]


def _judge_four(inputs, output):
    given, yours = inputs["weights"], output["weights"]
    kept = np.abs(yours) > NOTHING * max(np.abs(yours).max(), NOTHING)
    total, count = float(yours.sum()), int(kept.sum())
    strongest = count and given[kept].min() >= given[~kept].max(initial=0.0) - 1e-9
    whole = count == min(4, int((given > 0).sum()))
    scaled = given * kept
    shares = scaled / (scaled.sum() or 1.0)
    even = np.abs(yours / (total or 1.0) - shares).max() <= 1e-3 and yours.min() >= 0
    measured = {
        "Your weights": ", ".join(number(weight) for weight in yours),
        "They add to": number(total, 4),
        "Joints with a weight": f"{count}",
    }
    tops = [
        [[0.12 * i, 0.0], [0.12 * i, float(np.clip(weight, -1, 2))]]
        for i, weight in enumerate(yours)
    ]
    drawn = picture.front_view(
        "Your six weights",
        f"Six weights as bars; they add to {number(total)}.",
        *(picture.ghost(bar) for bar in tops),
        picture.dots([bar[1] for bar in tops], "inverse"),
    )
    done = [abs(total - 1) <= 1e-4, 0 < count <= 4, bool(strongest and whole), bool(even)]
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if all(done):
        return verdict(1.0, "four at most, the strongest, and nothing lost from the sum.")
    sentences = (
        (
            f"the weights of a point add to one; yours add to {number(total)}, so it "
            f"{'lags behind, toward' if total < 1 else 'runs ahead, away from'} the world's origin."
        ),
        f"a point has room for four joints; yours has {count}.",
        "a weight that should have stayed is gone, or the other way round.",
        "the weights that stay keep their proportions to each other; yours do not.",
    )
    # a sum of one and four joints at most are easily had without looking
    return verdict((0.12 if done[2] else 0.05) * sum(done), sentences[done.index(False)])


def _kept(weights, picked):
    kept = np.zeros_like(weights)
    kept[picked] = weights[picked]
    return kept


def _strongest(weights):
    return np.argsort(-weights, kind="stable")[:4]


def _first_four(weights):
    with np.errstate(invalid="ignore"):  # four zeros have no proportions
        return _kept(weights, np.arange(4)) / weights[:4].sum()


def _even_shares(weights):
    kept = _kept(weights, _strongest(weights)) > 0
    return kept / kept.sum()


def _large_enough(weights):
    large = weights >= 0.1 * weights.sum()
    return skin.normalise([weights * large])[0]


FOUR = Question(
    "09",
    "four_weights",
    "at most four weights of a point, that add to one",
    "function",
    {"weights": (JOINTS,)},
    _draw_four,
    _judge_four,
    (
        Misconception(
            "pruned after adding to one",
            lambda w: _kept(w, _strongest(w)) / w.sum(),
            "the weights are made to add to one first and pruned afterwards; what was pruned is"
            " then missing",
        ),
        Misconception(
            "pruned only",
            lambda w: _kept(w, _strongest(w)),
            "the weights are pruned and left as they are; nothing makes them add to one",
        ),
        Misconception(
            "not pruned",
            lambda w: w / w.sum(),
            "the weights add to one, but more than four are left",
        ),
        Misconception(
            "first four", _first_four, "the first four weights are kept, not the four strongest"
        ),
        Misconception(
            "even shares", _even_shares, "the strongest are kept, but all get the same weight"
        ),
        Misconception(
            "small ones dropped",
            _large_enough,
            "weights below a tenth are dropped; that may leave more than four, and takes small ones"
            " that had room",
        ),
    ),
    hints=Hints(
        "Look at the six numbers you return: how many are above zero, what do they add up to, and"
        " is one of them still twice another if it was before?",
        "Further: weights that add to one",
        "Of the weights 4, 3, 2, 1, 0.5 and 0 the last two go. The others add up to 10, so the"
        " answer is 0.4, 0.3, 0.2, 0.1, 0 and 0.",
    ),
)


# --- Sharing a twist


def _draw_twist(rng, character):
    """A twist and a limit for which rounding down, or to the nearest, is one joint short."""
    while True:
        twist = float(rng.integers(100, 175))
        least = float(rng.integers(164, 194)) / 2
        needed = twist / _largest_deg(least)
        if 0.15 < needed % 1 < 0.45 and needed > 1:
            return [{"twist_deg": twist, "least_percent": least}]


def _largest_deg(least_percent):
    return float(np.degrees(2 * np.arccos(least_percent / 100)))


def _twist_picture(angle, left):
    ends = 0.05 * np.array([[1.0, 0.0], [np.cos(angle), np.sin(angle)]])
    return picture.top_view(
        "One joint turned by your largest twist",
        "A point of the skin as the joint's two sides carry it, seen along the limb, and the point"
        f" halfway between; it keeps {100 * left:.1f} per cent of its distance from the axis.",
        picture.ghost([[0, 0], ends[0]]),
        picture.ghost([[0, 0], ends[1]]),
        picture.ghost(ends),
        picture.dots(ends),
        picture.note([0, 0], "axis"),
        picture.measure([0, 0], ends.mean(axis=0), f"{100 * left:.1f} %"),
    )


def _judge_twist(inputs, output):
    twist = inputs["twist_deg"]
    yours, joints = float(output["largest"]), float(output["joints"])
    true = _largest_deg(inputs["least_percent"])
    needed = int(np.ceil(twist / true))
    sized, counted = abs(abs(yours) - true) <= 0.06, joints == needed
    angle = np.radians(np.clip(yours, -360, 360))
    left = float(skin.blend_radius(0.5, angle))
    measured = {
        "Your largest twist leaves": (
            f"{100 * left:.1f} % of the radius where the skin is shared evenly"
        ),
        "You say": f"{number(joints)} joints"
        + (f", {twist / joints:.1f}° each" if joints > 0.5 else ""),
    }
    score = 0.8 * sized + 0.1 * counted
    verdict = partial(Verdict, measured=measured, picture=_twist_picture(angle, left))
    if sized and counted:
        return verdict(1.0, "no ring of the limb gets thinner than you allow.")
    if sized:
        return verdict(
            score,
            "the largest twist is right; with your number of joints, how far does each one turn?",
        )
    return verdict(
        min(score, 0.3),
        "halfway between the two ends of an arc lies on its chord: how far from the axis "
        "is the chord's middle? Your largest twist leaves another radius than asked for.",
    )


def _twist_with(largest, count=np.ceil):
    def answer(twist_deg, least_percent):
        angle = largest(least_percent / 100)
        return angle, count(twist_deg / angle)

    return answer


def _right_twist(least):
    return np.degrees(2 * np.arccos(least))


def _show_twist(twist_deg, least_percent):
    from rigkit.homework import cases  # here, because only a learner who asks needs it

    return cases.twist_panel(twist_deg)


TWIST = Question(
    "09",
    "twist_joints",
    "the largest twist for one joint, and how many joints a larger one needs",
    "value",
    {"largest": (), "joints": ()},
    _draw_twist,
    _judge_twist,
    (
        Misconception(
            "half the angle",
            _twist_with(lambda least: np.degrees(np.arccos(least))),
            "the arc cosine is taken for the whole twist; it is half of it",
        ),
        Misconception(
            "radians",
            lambda twist_deg, least_percent: (
                2 * np.arccos(least_percent / 100),
                np.ceil(twist_deg / _largest_deg(least_percent)),
            ),
            "the largest twist is in radians; it belongs in degrees",
        ),
        Misconception(
            "in proportion",
            _twist_with(lambda least: 180 * (1 - least)),
            "the loss is taken to grow evenly up to half a turn; it begins slowly",
        ),
        Misconception(
            "sine for cosine",
            _twist_with(lambda least: np.degrees(2 * np.arcsin(least))),
            "half the chord is measured; what counts is how far its middle is from the axis",
        ),
        Misconception(
            "area for radius",
            _twist_with(lambda least: np.degrees(2 * np.arccos(np.sqrt(least)))),
            "the limit is used for the area of the section; it is given for the radius",
        ),
        Misconception(
            "rounded down",
            _twist_with(_right_twist, np.floor),
            "the number of joints is rounded down; then each turns too far",
        ),
    ),
    hints=Hints(
        "Take a point that two joints share evenly and draw the circle it is on, the two places"
        " where the joints would take it, and the place halfway between: how far is that from the"
        " axis?",
        "Further: wring it",
        "At least 50 % of the radius: the middle of the straight line is half a radius from the"
        " axis when each half of the twist is 60°, so one joint may be given 120.0°. A twist of"
        " 300° holds that 2.5 times and needs 3 joints.",
    ),
    shows=_show_twist,
)


# --- Volume against the blend's reach

FINDINGS = ("about half", "about the same", "about twice")


def _draw_volume(rng, character):
    return [
        {
            "radius_cm": round(float(rng.uniform(4.5, 6.0)) * character.stature / 1.7, 1),
            "bend_deg": float(rng.integers(70, 121)),
        }
    ]


@lru_cache(maxsize=256)
def _lost_cm3(radius_cm, angle, blend=skin.linear_blend):
    """Volumes a bent limb loses with a blend that reaches one radius, and two radii."""
    radius = radius_cm / 100
    limb = mesh.tube(radius, 8 * radius)
    ends = radius * np.array([[0.0, 4.0, 0.0], [0.0, 0.0, 0.0], [0.0, -4.0, 0.0]])
    matrices = fr.frame(rotation.matrix_about("x", [0.0, angle]))
    lost = []
    for softness in (1.0, 2.0):
        weights = skin.weights_by_distance(
            limb.vertices, {"thigh": [ends[:2]], "shank": [ends[1:]]}, softness
        )
        posed = blend(limb.vertices, weights, matrices)
        lost.append(
            float(mesh.volume(limb.vertices, limb.triangles) - mesh.volume(posed, limb.triangles))
        )
    return tuple(1e6 * volume for volume in lost)


def _finding(lost):
    share = lost[1] / lost[0]
    return FINDINGS[0] if share < 0.75 else FINDINGS[1] if share < 1.5 else FINDINGS[2]


def _judge_volume(inputs, output):
    angle = np.radians(inputs["bend_deg"])
    true = np.array(_lost_cm3(inputs["radius_cm"], angle))
    yours, finding = output["lost"], output["finding"]
    right = np.abs(yours - true) <= np.maximum(0.51, 0.01 * true)
    concluded = finding == _finding(true)
    reach = 4 * inputs["radius_cm"] / 100
    drawn = picture.side_view(
        "The limb, bent",
        f"A limb bent by {inputs['bend_deg']:.0f} degrees in the side view.",
        picture.chain(
            [[0, reach], [0, 0], [-reach * np.sin(angle), -reach * np.cos(angle)]],
            ["", "joint", ""],
        ),
    )
    measured = {"You say": f"{number(yours[0], 4)} cm³ and {number(yours[1], 4)} cm³: {finding}"}
    score = 0.3 * float(right.sum()) + 0.4 * (concluded and right.any())
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if right.all():
        return verdict(
            1.0 if concluded else score,
            "a blend that reaches further squeezes more of the limb."
            if concluded
            else (
                "your measurements are right; divide the second by the first, and conclude again."
            ),
        )
    which = "one of your volumes is" if right.any() else "your volumes are"
    return verdict(
        score,
        f"{which} not what linear blend loses: the bend goes in as radians, the lost volume is rest"
        " less posed, and a cubic metre has a million cubic centimetres.",
    )


def _volumes(change):
    def answer(radius_cm, bend_deg):
        return change(_lost_cm3(radius_cm, np.radians(bend_deg)))

    return answer


def _measured_volumes(blend=skin.linear_blend, turn=np.radians):
    def answer(radius_cm, bend_deg):
        lost = _lost_cm3(radius_cm, turn(bend_deg), blend)
        return _finding(lost), lost

    return answer


def _show_reach(radius_cm, bend_deg):
    from rigkit.homework import cases  # here, because only a learner who asks needs it

    return cases.reach_panel(bend_deg)


VOLUME = Question(
    "09",
    "volume_lost",
    "how much volume a bend loses when the blend reaches one radius, and two",
    "value",
    {"finding": FINDINGS, "lost": (2,)},
    _draw_volume,
    _judge_volume,
    (
        Misconception(
            "softer keeps more",
            _volumes(lambda lost: (FINDINGS[0], lost[::-1])),
            "the two volumes stand in the wrong order, as if the softer blend lost less; measure"
            " each",
        ),
        Misconception(
            "reach does not matter",
            _volumes(lambda lost: (FINDINGS[1], [lost[0]] * 2)),
            "one volume is given twice; the section at the joint does not depend on the reach, the"
            " volume does",
        ),
        Misconception(
            "degrees as radians",
            _measured_volumes(turn=float),
            "the bend goes in as degrees; the library takes radians",
        ),
        Misconception(
            "dual quaternions",
            _measured_volumes(skin.dual_quaternion_blend),
            "the skin is moved by dual quaternions; linear blend was asked for",
        ),
        Misconception(
            "litres",
            _volumes(lambda lost: (_finding(lost), np.array(lost) / 1000)),
            "the volumes are in litres; cubic centimetres were asked for",
        ),
        Misconception(
            "gained for lost",
            _volumes(lambda lost: (_finding(lost), -np.array(lost))),
            "posed less rest is what was gained; lost is the other way round",
        ),
    ),
    hints=Hints(
        "Think of the limb in slices: what decides how much of one slice is lost, and what decides"
        " how many slices lose something?",
        "Further: how far should the blend reach?",
        "Of a rod with a section of 10 cm², a piece 4 cm long is squeezed to a section of 7 cm²:"
        " 12 cm³ are gone. Where the piece is 6 cm long, 18 cm³ are gone.",
    ),
    shows=_show_reach,
)


# --- Weights for a knee

RINGS = 41
MOST_STRETCH, MOST_LOST = 1.8, 1.7  # the loss in cubes of the radius


def _draw_knee(rng, character):
    radii = [
        0.032 * character.stature,
        0.05,
        0.005,
        0.4,
        rng.uniform(0.03, 0.1),
    ]  # a marionette, a parade giant
    down = np.linspace(4, -4, RINGS)  # from the top, from the bottom, in any order
    orders = [down, down[::-1], *(rng.permutation(down) for _ in range(3))]
    return [
        {"heights": radius * order, "radius": radius}
        for radius, order in zip(np.round(radii, 4), orders, strict=True)
    ]


def _bent_limb(heights, radius, weights, bend=np.pi / 2):
    """The most stretched edge, volume lost in cubes of the radius, each ring's front and back."""
    order = np.argsort(-heights)
    limb = mesh.tube(radius, 8 * radius, 24, RINGS - 1)
    rings = np.repeat(weights[order], 24)
    table = _table(np.concatenate([rings, rings[[0, -1]]]))
    posed = skin.linear_blend(
        limb.vertices, np.clip(table, 0, 1), fr.frame(rotation.matrix_about("x", [0.0, bend]))
    )
    lost = mesh.volume(limb.vertices, limb.triangles) - mesh.volume(posed, limb.triangles)
    outline = posed[:-2].reshape(RINGS, 24, 3)[:, [0, 12]][..., [2, 1]]
    return (
        float(mesh.stretch(limb.vertices, posed, limb.triangles).max()),
        float(lost) / radius**3,
        outline,
    )


def _bent_picture(stretch, radius, outline):
    return picture.side_view(
        "Your knee at 90°",
        "A limb bent by 90 degrees with your weights, its front and its back; its most stretched "
        f"edge is {stretch:.1f} times as long as at rest.",
        picture.ghost([[0, 4 * radius], [0, 0], [-4 * radius, 0]]),
        *(picture.dots(side, "inverse") for side in np.moveaxis(outline, 1, 0)),
    )


def _judge_knee(inputs, output):
    heights, radius, yours = inputs["heights"], inputs["radius"], output["weights"]
    stretch, lost, outline = _bent_limb(heights, radius, yours)
    middle = float(yours[np.abs(heights).argmin()])
    above, below = yours[heights > 2.9 * radius], yours[heights < -2.9 * radius]
    bounded = yours.min() >= -1e-9 and yours.max() <= 1 + 1e-9
    ended = bounded and np.abs(above).max() <= 0.01 and np.abs(below - 1).max() <= 0.01
    halved, whole, kept = abs(middle - 0.5) <= 0.02, stretch <= MOST_STRETCH, lost <= MOST_LOST
    measured = {
        "The shank's weight, from above to below": (
            f"{number(above.mean())}, {number(middle)} at the joint, {number(below.mean())}"
        ),
        "The most stretched edge": (
            f"{100 * stretch:.0f} % of its length; {100 * MOST_STRETCH:.0f} % may be"
        ),
        "Volume lost": f"{lost:.2f} cubes of the radius; {MOST_LOST:g} are allowed",
    }
    drawn = _bent_picture(stretch, radius, outline)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if ended and halved and whole and kept:
        return verdict(1.0, "the knee bends without a tear and without being drained.")
    if not ended:
        return verdict(
            0.1 * (halved and bounded),
            "three radii above the joint the skin is all the thigh's, three below all the shank's,"
            " and no weight lies outside 0 to 1.",
        )
    sentence = (
        "at the joint itself both have the same share."
        if not halved
        else (
            "the skin at the front is stretched too far: the blend is too short."
            if not whole
            else "too much volume is lost: the blend reaches too far."
        )
    )
    return verdict(0.1 + 0.2 * (halved + whole + kept), sentence)


def _smooth(heights, reach):
    t = np.clip((1 - heights / reach) / 2, 0, 1)
    return t**2 * (3 - 2 * t)


KNEE = Question(
    "09",
    "knee_weights",
    "the shank's weight along a knee that neither tears nor is drained",
    "function",
    {"weights": (RINGS,)},
    _draw_knee,
    _judge_knee,
    (
        Misconception(
            "all or nothing",
            lambda heights, radius: np.where(
                np.abs(heights) < 1e-9, 0.5, (heights < 0).astype(float)
            ),
            "each ring goes with one joint alone; the skin between two neighbours has to stretch"
            " for both",
        ),
        Misconception(
            "weights swapped",
            lambda heights, radius: 1 - _smooth(heights, 1.5 * radius),
            "the weights are the thigh's; above the joint the shank has none",
        ),
        Misconception(
            "whole limb",
            lambda heights, radius: (1 - heights / (4 * radius)) / 2,
            "the weights change evenly along the whole limb; then nothing of it stays a bone's own",
        ),
        Misconception(
            "the softer the better",
            lambda heights, radius: _smooth(heights, 2.8 * radius),
            "the blend reaches nearly three radii to either side; soft, and drained",
        ),
        Misconception(
            "as tight as a hinge",
            lambda heights, radius: _smooth(heights, 0.4 * radius),
            "the blend reaches less than half a radius to either side, so a few edges take the"
            " whole bend",
        ),
        Misconception(
            "same reach for all",
            lambda heights, radius: _smooth(heights, 0.075),
            "the blend reaches as many centimetres on a marionette as on a giant",
        ),
        Misconception(
            "below the joint only",
            lambda heights, radius: np.clip(-heights / (2 * radius), 0, 1),
            "the blend begins at the joint and lies all below it",
        ),
    ),
    hints=Hints(
        "The card says which limit is broken: would a longer blend help there or a shorter one,"
        " and in what unit are both limits given?",
        "Further: how far should the blend reach?",
        "A plain ramp that reaches 8 cm to either side has these weights of the shank: 0 at 8 cm"
        " above the joint, 0.25 at 4 cm above, 0.5 at the joint, and 1 at 8 cm below it.",
    ),
)


# --- Blending two turns


def _draw_turns(rng, character):
    def case(turn_deg, share, sign, against=False):
        """Two turns whose product has this sign; `against`: their last numbers' does not."""
        while True:
            first = rotation.unit_quaternion(rng.standard_normal(4))
            axis = rotation.perpendicular(rng.standard_normal(3))
            second = rotation.multiply_quaternions(
                first, rotation.quaternion_from_vector(np.radians(turn_deg) * axis)
            )
            second *= sign * np.sign(first @ second)
            if not against or first[3] * second[3] * sign < -0.01:
                return {"first": first, "second": second, "share": share}

    return [
        case(rng.uniform(60, 110), 0.5, 1),
        case(rng.uniform(70, 110), 0.3, -1, against=True),
        case(170.0, 0.24, 1, against=True),
        case(150.0, 0.7, -1),
        case(0.0, 0.4, -1),  # one turn, in two ways
        case(rng.uniform(20, 50), 0.0, 1),
        case(rng.uniform(100, 140), 0.5, -1),
    ]


def _blended_turn(first, second, share):
    """Two joints' turns about the origin as dual-quaternion skinning blends them."""
    turns = fr.frame(rotation.matrix_from_quaternion([first, second]))
    return skin.dual_quaternion_blend(np.eye(3), _table(np.full(3, share)), turns).T


def _judge_turns(inputs, output):
    yours = output["turn"]
    length = float(np.linalg.norm(yours))
    if length < 1e-6:
        return Verdict(
            0.0,
            "a quaternion of no length is no turn.",
            {"Its length": number(length)},
            _turns_view(inputs),
        )
    matrix = rotation.matrix_from_quaternion(rotation.unit_quaternion(yours))
    off = float(np.degrees(rotation.rotation_angle(matrix.T @ _blended_turn(**inputs))))
    sized, turned = abs(length - 1) <= 1e-4, off <= 0.06
    measured = {
        "The length of your quaternion": number(length, 4),
        "Your turn is off by": f"{off:.1f}°",
        "The two turns' product": f"{inputs['first'] @ inputs['second']:+.2f}",
    }
    drawn = _turns_view(inputs, matrix)
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if sized and turned:
        return verdict(1.0, "a turn again, and reached by the short way.")
    if turned:
        return verdict(
            0.5, "the way is right, the length is not: only a quaternion of length one is a turn."
        )
    return verdict(
        0.2 * sized,
        "your turn is not the shared one; look at the sign of the two quaternions' product, "
        "and at whose share is whose.",
    )


def _turns_view(inputs, yours=None):
    """Places to which the turns take a point that was one decimetre ahead."""
    turns = {
        "first": rotation.matrix_from_quaternion(inputs["first"]),
        "second": rotation.matrix_from_quaternion(inputs["second"]),
    } | ({} if yours is None else {"yours": yours})
    ends = {name: 0.1 * turn[[2, 1], 2] for name, turn in turns.items()}
    return picture.side_view(
        "Where a point ahead is turned to",
        "Where both turns, and yours, take a point one decimetre ahead.",
        *(
            picture.arrow([0, 0], end, name, "inverse" if name == "yours" else "plain")
            for name, end in ends.items()
        ),
    )


def _sum_with(sign, length=np.linalg.norm, share_of=lambda share: share):
    def answer(first, second, share):
        total = (1 - share_of(share)) * first + share_of(share) * sign(first, second) * second
        return total / length(total)

    return answer


def _short_way(first, second):
    return -1.0 if first @ second < 0 else 1.0


TURNS = Question(
    "09",
    "blend_turns",
    "two turns blended as dual quaternions blend them, the short way",
    "function",
    {"turn": (4,)},
    _draw_turns,
    _judge_turns,
    (
        Misconception(
            "sign not flipped",
            _sum_with(lambda first, second: 1.0),
            "the sum is taken as it stands; where the product of the two is negative, the blend"
            " goes the long way round, for q and −q are one turn",
        ),
        Misconception(
            "not normalised",
            _sum_with(_short_way, lambda total: 1.0),
            "the sum is not divided by its length; it is no turn yet",
        ),
        Misconception(
            "shares swapped",
            _sum_with(_short_way, share_of=lambda share: 1 - share),
            "the second turn gets the first one's share",
        ),
        Misconception(
            "always flipped",
            _sum_with(lambda first, second: -1.0),
            "the second quaternion's sign is changed every time; it is to be changed only where the"
            " product is negative",
        ),
        Misconception(
            "sign of the last number",
            _sum_with(lambda first, second: np.sign(first[3] * second[3])),
            "the sign is taken from the quaternions' last numbers; what decides is the product of"
            " all four",
        ),
        Misconception(
            "even turning",
            lambda first, second, share: rotation.slerp(first, second, share),
            "the angle is shared out evenly along the arc; the weighted sum, divided by its length,"
            " comes a little off that",
        ),
    ),
    hints=Hints(
        "One and the same turn can be written in two ways: before you add, find out whether your"
        " two are written the same way.",
        "Further: along the arc, dual quaternions",
        "No turn is (0, 0, 0, 1), half a turn about x is (1, 0, 0, 0). With a share of 0.5 the sum"
        " is (0.5, 0, 0, 0.5); divided by its length it is (0.707, 0, 0, 0.707), a quarter of a"
        " turn about x.",
    ),
)


# --- A joint moved after binding

CURES = ("bind again", "weights that add to one", "a preset bend")


def _draw_late(rng, character):
    return [
        {
            "ahead_cm": float(rng.choice([-1, 1]) * rng.integers(15, 40)) / 10,
            "up_cm": float(rng.choice([-1, 1]) * rng.integers(15, 40)) / 10,
            "share": float(rng.integers(6, 9)) / 10,
        }
    ]


def _off_cm(ahead_cm, up_cm, share):
    moved = fr.frame(
        origin=np.array([[0.0, 0.0, 0.0], [0.0, up_cm, ahead_cm]])
    )  # one centimetre for one metre
    return float(np.linalg.norm(skin.linear_blend(np.zeros((1, 3)), [[1 - share, share]], moved)))


def _judge_late(inputs, output):
    cure, yours, true = output["cure"], float(output["off"]), _off_cm(**inputs)
    sized, cured = abs(abs(yours) - true) <= 0.0201, cure == CURES[0]
    move = np.array([inputs["ahead_cm"], inputs["up_cm"]])
    drawn = picture.side_view(
        "Where you say the point goes",
        "The knee joint before and after the move, and a point of the skin carried as "
        f"far as you say, {yours:.1f} centimetres.",
        picture.arrow([0, 0], move, "joint", "plain"),
        picture.arrow(
            [6, 0], [6, 0] + np.clip(yours, -50, 50) * move / np.linalg.norm(move), "skin"
        ),
    )
    measured = {
        "You say": f"{cure}, {number(yours)} cm",
        "The joint moved by": f"{abs(move[0]):g} cm along and {abs(move[1]):g} cm up or down",
    }
    score = 0.8 * sized + 0.2 * cured
    verdict = partial(Verdict, measured=measured, picture=drawn)
    if sized and cured:
        return verdict(
            1.0, "a skin remembers where its joints were bound; only binding anew makes it forget."
        )
    if sized:
        return verdict(
            score, "the distance is right; but does that cure change the inverse bind matrix?"
        )
    return verdict(
        min(score, 0.4),
        "at rest the joint's matrix is its move and nothing else; the thigh's is no move "
        "at all. How much of each does the point take?",
    )


def _late(size, cure=CURES[0]):
    return lambda ahead_cm, up_cm, share: (cure, size(np.hypot(ahead_cm, up_cm), share))


def _show_late(ahead_cm, up_cm, share):
    from rigkit.homework import cases  # here, because only a learner who asks needs it

    return cases.late_panel(ahead_cm, up_cm)


LATE = Question(
    "09",
    "late_joint",
    "how far a joint moved after binding carries the skin at rest, and what cures it",
    "value",
    {"cure": CURES, "off": ()},
    _draw_late,
    _judge_late,
    (
        Misconception(
            "whole move",
            _late(lambda move, share: move),
            "the point is given the joint's whole move; it goes with the joint only by its weight",
        ),
        Misconception(
            "the thigh's share",
            _late(lambda move, share: (1 - share) * move),
            "the point is given what is left of one, the thigh's share, and the thigh has not"
            " moved",
        ),
        Misconception(
            "sides added",
            lambda ahead_cm, up_cm, share: (CURES[0], share * (abs(ahead_cm) + abs(up_cm))),
            "both parts of the move are added up; the move is the long side of their right-angled"
            " triangle",
        ),
        Misconception(
            "nothing moves",
            _late(lambda move, share: 0.0, CURES[2]),
            "the skin is thought to stay at rest, whatever its joints do; it goes with the"
            " matrices",
        ),
        Misconception(
            "weights blamed",
            _late(lambda move, share: share * move, CURES[1]),
            "the weights are blamed; they add to one as before, and what is out of date is the"
            " inverse bind matrix",
        ),
        Misconception(
            "metres",
            _late(lambda move, share: share * move / 100),
            "the distance is in metres; centimetres were asked for",
        ),
    ),
    hints=Hints(
        "A joint moves its skin by two matrices, one of now and one of then: what is their product"
        " for the thigh, and what for the knee?",
        "Break it: bind too early",
        "The knee joint goes 3 cm ahead and 4 cm up, which is 5 cm in a straight line. A point"
        " that goes with it wholly is moved by 5 cm, one with a share of a half by 2.50 cm.",
    ),
    shows=_show_late,
)


QUESTIONS = (SKIN, FOUR, VOLUME, KNEE, TWIST, TURNS, LATE)


def _length(metres):
    """A length in words, with the unit that suits it."""
    return f"{100 * metres:.1f} cm" if metres < 1 else f"{metres:.2f} m"
