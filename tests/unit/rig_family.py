"""Rigs drawn by a seed, as different as the world's: bodies, names, extra joints, axes, poses.

Each knows its true legs. Everything is invented; what a rig may be like is common practice.
"""

from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from rigkit import gltf, rotation
from tests.unit import bodies
from tests.unit.bodies import NAMINGS, SEGMENTS, UPPER, Body, body, worded

SIDES = (("L", 1.0), ("R", -1.0))
LIMBS = ("hip", "knee", "ankle", "foot", "ball", "toe")


@dataclass
class Drawn:
    """A rig, what it is, and its true pairs of legs, the one to be taken first."""

    asset: gltf.Asset
    features: tuple
    pairs: list  # of dicts: side to (dict of part to node)
    forward: np.ndarray


@dataclass
class Plan:
    """A rig in the making: joints, which pairs of legs are true, which joints move no skin."""

    body: Body
    pairs: list = field(default_factory=lambda: [{part: part for part in LIMBS}])
    idle: set = field(default_factory=set)  # joints of the skin that move no vertex
    outside: set = field(default_factory=set)  # nodes of no skin
    turned: dict = field(default_factory=dict)  # (side, part) to degrees about x, in the nodes only
    features: list = field(default_factory=list)

    def add(self, what, parent, point, idle=False):
        self.body = self.body.adding(what, "", parent, point)
        if idle:
            self.idle.add(what)

    def at(self, side, part):
        return self.body.points[self.body.place(side, part)]

    def has(self, side, part):
        return (side, part) in self.body.what


# Bodies.


def nameless(part, side):
    return ""


def person(rng):
    """A person or a doll, arms in T or A pose or hanging."""
    here = body(nameless, fingers=rng.random() < 0.5)
    legs, wide, fore = rng.uniform(0.55, 1.15), rng.uniform(0.7, 1.5), rng.uniform(0.0, 1.5)
    points = here.points
    drop = points[here.place(None, "pelvis"), 1] * (1 - legs)
    for i, (side, part) in enumerate(here.what):
        if side and part in LIMBS:
            points[i] *= [wide, legs if part != "toe" else 1.0, 1.0]
            if part == "knee":
                points[i, 2] *= fore
        elif part != "root":
            points[i, 1] -= drop
    arms = rng.choice(["hanging", "A", "T"])
    down = {"hanging": 75, "A": 45, "T": 0}[arms]
    for side, way in SIDES:
        first = here.place(side, "shoulder")
        arm = [first, *_below(here, first)]
        bone = points[here.place(side, "elbow")] - points[first]
        now = np.degrees(np.arctan2(-bone[1], abs(bone[0])))
        turn = rotation.matrix_about("z", -way * np.radians(down - now))
        points[arm] = (points[arm] - points[first]) @ turn.T + points[first]
    return Plan(here, features=["person", f"arms {arms}"])


def _below(here, place):
    found = [i for i, parent in enumerate(here.parents) if parent == place]
    for i in found:
        found += [j for j, parent in enumerate(here.parents) if parent == i]
    return found


def _animal(limbs, middle):
    """A body of named joints: name, parent, point; limbs on both sides."""
    what, parents, points = [], [], []
    for part, (parent, point) in middle.items():
        what.append((None, part))
        parents.append(-1 if parent is None else what.index((None, parent)))
        points.append(point)
    for side, way in SIDES:
        for part, (parent, point) in limbs.items():
            above = (side, parent) if (side, parent) in what else (None, parent)
            what.append((side, part))
            parents.append(what.index(above))
            points.append((way * point[0], *point[1:]))
    return Body(what, [""] * len(what), parents, np.array(points, float))


TRUNK = {
    "root": (None, (0, 0, 0)),
    "pelvis": ("root", (0, 0.75, -0.45)),
    "tail1": ("pelvis", (0, 0.76, -0.6)),
    "tail2": ("tail1", (0, 0.7, -0.8)),
    "tail3": ("tail2", (0, 0.6, -1.0)),
    "spine": ("pelvis", (0, 0.8, -0.2)),
    "chest": ("spine", (0, 0.78, 0.2)),
    "neck": ("chest", (0, 0.9, 0.45)),
    "head": ("neck", (0, 1.1, 0.6)),
}
HIND = {
    "hip": ("pelvis", (0.12, 0.7, -0.45)),
    "knee": ("hip", (0.12, 0.45, -0.35)),
    "ankle": ("knee", (0.12, 0.24, -0.58)),
    "foot": ("ankle", (0.12, 0.05, -0.52)),
    "ball": ("foot", (0.12, 0.02, -0.42)),
}
FORE = {
    "scapula": ("chest", (0.08, 0.8, 0.25)),
    "fore_hip": ("scapula", (0.12, 0.62, 0.35)),
    "fore_knee": ("fore_hip", (0.12, 0.38, 0.25)),
    "fore_ankle": ("fore_knee", (0.12, 0.08, 0.28)),
    "fore_ball": ("fore_ankle", (0.12, 0.02, 0.36)),
}


def four_legs(rng):
    """An animal on four legs, its hind legs of three bones or, heavy ones, of two."""
    limbs = {**HIND, **FORE}
    if rng.random() < 0.3:  # as a bear's or an elephant's
        del limbs["foot"]
        limbs["knee"] = ("hip", (0.12, 0.4, -0.38))
        limbs["ankle"] = ("knee", (0.12, 0.06, -0.5))
        limbs["ball"] = ("ankle", (0.12, 0.02, -0.4))
    here = _animal(limbs, TRUNK)
    here.points *= [rng.uniform(0.7, 1.4), rng.uniform(0.8, 1.2), rng.uniform(0.8, 1.3)]
    pairs = [{part: part for part in LIMBS}, {part: f"fore_{part}" for part in LIMBS}]
    return Plan(here, pairs, features=["four legs"])


def bird(rng):
    """A bird: two legs of three bones, wings."""
    trunk = {part: (up, (x, y, z + 0.3)) for part, (up, (x, y, z)) in TRUNK.items()}
    hind = {part: (up, (x, y, z + 0.3)) for part, (up, (x, y, z)) in HIND.items()}
    wings = {
        "wing1": ("chest", (0.15, 0.85, 0.3)),
        "wing2": ("wing1", (0.45, 0.85, 0.2)),
        "wing3": ("wing2", (0.8, 0.85, 0.1)),
    }
    here = _animal({**hind, **wings}, trunk)
    here.points *= [rng.uniform(0.6, 1.2), rng.uniform(0.8, 1.2), 1.0]
    return Plan(here, features=["bird"])


def on_toes(rng):
    """An upright creature with arms that walks on its toes."""
    plan = person(rng)
    for side, _ in SIDES:
        place, hip = plan.body.place, plan.at(side, "hip")
        for part, high, z in (("knee", 0.62, 0.2), ("ankle", 0.28, -0.14), ("ball", 0.03, 0.02)):
            plan.body.points[place(side, part)] = hip[1] * np.array([0, high, z]) + [hip[0], 0, 0]
        plan.body.what[place(side, "ball")] = (side, "foot")
        plan.body.what[place(side, "toe")] = (side, "ball")
        plan.body.points[place(side, "ball")] = [hip[0], 0.02, 0.15 * hip[1]]
    plan.features[0] = "on toes"
    return plan


def many_legs(rng):
    """Six or eight legs, sprawling."""
    count = int(rng.integers(3, 5))
    limbs, pairs = {}, []
    for k in range(count):
        z = 0.3 * (count / 2 - k)
        tag = f"pair{k}_"
        limbs[tag + "hip"] = ("pelvis", (0.15, 0.3, 0.4 * z))
        limbs[tag + "knee"] = (tag + "hip", (0.55, 0.55, z))
        limbs[tag + "ankle"] = (tag + "knee", (0.9, 0.02, 1.5 * z))
        pairs.append({part: tag + part for part in LIMBS})
    middle = {"root": (None, (0, 0, 0)), "pelvis": ("root", (0, 0.3, 0))}
    middle["head"] = ("pelvis", (0, 0.3, 0.5))
    return Plan(_animal(limbs, middle), pairs[::-1], features=["many legs"])


# What has no legs.


def tentacle(rng):
    count = int(rng.integers(8, 60))
    along = np.linspace(0, 2, count)
    curve = np.stack([0.3 * np.sin(2 * along), along, 0.3 * np.cos(3 * along)], axis=-1)
    parents = list(range(-1, count - 1))
    here = Body([(None, f"tentacle{i}") for i in range(count)], [""] * count, parents, curve)
    return Plan(here, [], features=["tentacle"])


def snake(rng):
    plan = tentacle(rng)
    plan.body.points = plan.body.points[:, [0, 2, 1]]
    plan.body.what = [(None, f"spine{i}") for i in range(len(plan.body.what))]
    plan.features = ["snake"]
    return plan


def car(rng):
    middle = {"root": (None, (0, 0, 0)), "chassis": ("root", (0, 0.5, 0))}
    limbs = {}
    for end, z in (("front", 1.2), ("rear", -1.2)):
        limbs[f"axle_{end}"] = ("chassis", (0.5, 0.45, z))
        limbs[f"wheel_{end}"] = (f"axle_{end}", (0.8, 0.35, z))
    limbs["door"] = ("chassis", (0.8, 0.7, 0.5))
    return Plan(_animal(limbs, middle), [], features=["car"])


def hand(rng):
    here = bodies.body(nameless).keeping(
        lambda what: what[0] == "L" and what[1].startswith(("wrist", "index", "thumb"))
    )
    return Plan(here, [], features=["hand"])


def arm(rng):
    here = bodies.body(nameless).keeping(
        lambda what: what[0] == "L" and what[1] in ("clavicle", "shoulder", "elbow", "wrist")
    )
    return Plan(here, [], features=["arm"])


def bust(rng):
    """The upper half of a person."""
    plan = person(rng)
    plan.body = plan.body.without(*LIMBS)
    return Plan(plan.body, [], features=["bust", plan.features[1]])


def octopus(rng):
    middle = {
        "root": (None, (0, 0, 0)),
        "mantle": ("root", (0, 0.5, 0)),
        "top": ("mantle", (0, 1, 0)),
    }
    limbs = {}
    for k, angle in enumerate(np.radians([20, 65, 115, 160])):
        for i, (out, high) in enumerate(((0.2, 0.4), (0.5, 0.3), (0.9, 0.15), (1.3, 0.05))):
            above = f"tentacle{k}_{i - 1}" if i else "mantle"
            limbs[f"tentacle{k}_{i}"] = (above, (out * np.sin(angle), high, out * np.cos(angle)))
    return Plan(_animal(limbs, middle), [], features=["octopus"])


def face(rng):
    middle = {
        "neck": (None, (0, 1.4, 0)),
        "head": ("neck", (0, 1.5, 0)),
        "jaw": ("head", (0, 1.5, 0.08)),
    }
    limbs = {}
    for name, points in {
        "brow": [(0.01, 1.63, 0.1), (0.03, 1.64, 0.1), (0.05, 1.63, 0.09)],
        "lip": [(0.01, 1.55, 0.1), (0.02, 1.545, 0.1), (0.03, 1.54, 0.09)],
        "cheek": [(0.04, 1.6, 0.08), (0.045, 1.57, 0.08)],
        "eye": [(0.03, 1.62, 0.09)],
    }.items():
        for i, point in enumerate(points):
            limbs[f"{name}{i}"] = (f"{name}{i - 1}" if i else "head", point)
    return Plan(_animal(limbs, middle), [], features=["face"])


# What else there may be.


def _between(plan, parts, share, name, chain):
    for side, _ in SIDES:
        for upper, lower in pairwise(parts):
            if not plan.has(side, lower):
                continue
            a, b = plan.body.place(side, upper), plan.body.place(side, lower)
            point = (1 - share) * plan.body.points[a] + share * plan.body.points[b]
            plan.add((side, f"{upper}_{name}"), a, point)
            if chain:
                plan.body.parents[b] = len(plan.body.what) - 1


def twist_beside(plan, rng):
    _between(plan, ("hip", "knee", "ankle"), 0.5, "twist", chain=False)


def twist_in_chain(plan, rng):
    _between(plan, ("hip", "knee", "ankle"), 0.5, "twist", chain=True)


def knee_helpers(plan, rng):
    for side, _ in SIDES:
        plan.add((side, "knee_helper"), plan.body.place(side, "hip"), plan.at(side, "knee") + 0.01)


def goals(plan, rng):
    for side, _ in SIDES:
        end = "foot" if plan.has(side, "foot") else "ankle"
        plan.add((side, "foot_goal"), 0, plan.at(side, end), idle=True)
        plan.add((side, "knee_pole"), 0, plan.at(side, "knee") + [0, 0, 0.5], idle=True)


def feet_apart(plan, rng):
    """The foot hangs from the root, or from a goal there; the shin ends in a tip."""
    by_goal = rng.random() < 0.5
    for side, _ in SIDES:
        knee, ankle = plan.body.place(side, "knee"), plan.body.place(side, "ankle")
        above = 0
        if by_goal:
            plan.add((side, "foot_goal"), 0, plan.at(side, "ankle"), idle=True)
            above = len(plan.body.what) - 1
        plan.add((side, "knee_tip"), knee, plan.at(side, "ankle"), idle=True)
        plan.body.parents[ankle] = above


def extra_roots(plan, rng):
    here = plan.body
    for name, point in (("scene", (0, 0, 0)), ("armature", (0, 0, 0))):
        here = Body(
            [(None, name), *here.what],
            ["", *here.names],
            [-1, *[parent + 1 for parent in here.parents]],
            np.concatenate([[point], here.points]),
        )
    plan.body = here
    plan.outside |= {(None, "scene"), (None, "armature")}
    plan.add((None, "camera"), -1, (0, 1.5, 3))
    plan.outside.add((None, "camera"))


def side_bones(plan, rng):
    """A bone to each side between the pelvis and the hip."""
    pelvis = plan.body.place(None, "pelvis")
    start = plan.body.points[pelvis] + [0, rng.choice([0.0, 0.15]), 0]
    for side, way in SIDES:
        plan.add((side, "side"), pelvis, start + [way * rng.choice([0.0, 0.02]), 0, 0])
        plan.body.parents[plan.body.place(side, "hip")] = len(plan.body.what) - 1


def from_the_spine(plan, rng):
    for side, _ in SIDES:
        plan.body.parents[plan.body.place(side, "hip")] = plan.body.place(None, "spine")


def robe(plan, rng):
    pelvis = plan.body.place(None, "pelvis")
    top = plan.body.points[pelvis, 1]
    for side, way in SIDES:
        for z, where in ((0.15, "front"), (-0.15, "back")):
            above = pelvis
            for i, share in enumerate((0.95, 0.65, 0.35, 0.05)):
                point = (way * (0.25 - 0.1 * share), share * top, z * (1.4 - share))
                plan.add((side, f"skirt_{where}{i}"), above, point)
                above = len(plan.body.what) - 1


def _chain(plan, name, side, above, points):
    """Further joints one below the other."""
    for i, point in enumerate(points):
        plan.add((side, f"{name}{i}"), above, point)
        above = len(plan.body.what) - 1


def tail(plan, rng):
    top = plan.at(None, "pelvis")
    points = [top * [1, share, 1] - [0, 0, 0.5 * (1 - share)] for share in (0.9, 0.6, 0.3, 0.1)]
    _chain(plan, "tail", None, plan.body.place(None, "pelvis"), points)


def braids(plan, rng):
    """Two braids that hang from the head to below the hips."""
    top = plan.at(None, "head")
    for side, way in SIDES:
        points = [top * [1, share, 1] + [way * 0.12, 0, -0.1] for share in (1, 0.8, 0.6, 0.4)]
        _chain(plan, "hair", side, plan.body.place(None, "head"), points)


def cape(plan, rng):
    top = plan.at(None, "chest")
    for side, way in SIDES:
        points = [top * [1, share, 1] + [way * 0.15, 0, -0.15] for share in (1, 0.7, 0.4, 0.1)]
        _chain(plan, "cape", side, plan.body.place(None, "chest"), points)


def prop(plan, rng):
    """A staff in the right hand."""
    hand = plan.at("R", "wrist")
    points = [hand * [1, share, 1] for share in (1.4, 0.7, 0.1)]
    _chain(plan, "staff", None, plan.body.place("R", "wrist"), points)


def five_toes(plan, rng):
    for side, way in SIDES:
        ankle = plan.at(side, "ankle")
        for i in range(5):
            x = ankle[0] + way * 0.02 * (2 - i)
            points = [(x, 0.02, ankle[2] + 0.1), (x, 0.02, ankle[2] + 0.14)]
            _chain(plan, f"digit{i}", side, plan.body.place(side, "ankle"), points)


def stance(plan, rng):
    """Bound in a stride: one leg ahead of the other, a little apart."""
    for side, way in SIDES:
        hip = plan.body.place(side, "hip")
        leg = [hip, *_below(plan.body, hip)]
        turn = rotation.matrix_about("x", -way * np.radians(rng.uniform(2, 10)))
        turn = turn @ rotation.matrix_about("z", way * np.radians(rng.uniform(0, 8)))
        at = plan.body.points[hip]
        plan.body.points[leg] = (plan.body.points[leg] - at) @ turn.T + at


def by_hand(plan, rng):
    """Placed by eye: every joint is off by some millimetres."""
    plan.body.points += rng.normal(0, 0.004, plan.body.points.shape)


def one_arm_up(plan, rng):
    first = plan.body.place("R", "shoulder")
    branch = [first, *_below(plan.body, first)]
    at = plan.body.points[first]
    turn = rotation.matrix_about("z", -np.radians(90)) @ rotation.matrix_about("y", 0.5)
    plan.body.points[branch] = (plan.body.points[branch] - at) @ turn.T + at


def long_arms(plan, rng):
    """Arms that hang down to the shins."""
    for side, way in SIDES:
        first = plan.body.place(side, "shoulder")
        at = plan.body.points[first].copy()
        for part, share in (("elbow", 0.55), ("wrist", 0.15)):
            here = plan.body.place(side, part)
            plan.body.points[here] = at * [1, share, 1] + [way * 0.05, 0, 0.02]
        for place in _below(plan.body, plan.body.place(side, "wrist")):
            plan.body.points[place] = plan.at(side, "wrist") + [0, -0.05, 0.02]


def no_feet(plan, rng):
    plan.body = plan.body.without("ball", "toe")


def no_toes(plan, rng):
    plan.body = plan.body.without("toe")


def no_root(plan, rng):
    plan.body = plan.body.without("root")


def seated(plan, rng):
    for side, _ in SIDES:
        plan.turned |= {(side, "hip"): -90, (side, "knee"): 90}


def crouched(plan, rng):
    for side, _ in SIDES:
        plan.turned |= {(side, "hip"): -60, (side, "knee"): 100, (side, "ankle"): -40}


def legs_outside(plan, rng):
    """The legs are nodes of no skin: of rigid parts."""
    plan.outside |= {(side, part) for side in "LR" for part in LIMBS}


EXTRAS = (
    tail,
    braids,
    cape,
    prop,
    five_toes,
    one_arm_up,
    long_arms,
    stance,
    by_hand,
    twist_beside,
    twist_in_chain,
    knee_helpers,
    goals,
    feet_apart,
    extra_roots,
    side_bones,
    from_the_spine,
    robe,
    no_feet,
    no_toes,
    no_root,
    seated,
    crouched,
    legs_outside,
)
EITHER = (
    {"five_toes", "no_feet", "no_toes"},
    {"prop", "long_arms"},
    {"one_arm_up", "long_arms"},
    {"stance", "feet_apart", "robe"},  # at most one of each
    {"twist_beside", "twist_in_chain"},
    {"feet_apart", "goals", "seated", "crouched", "twist_in_chain"},
    {"feet_apart", "no_root", "extra_roots"},
    {"side_bones", "from_the_spine"},
    {"no_feet", "no_toes"},
    {"legs_outside", "feet_apart"},
    {"legs_outside", "twist_in_chain"},
    {"legs_outside", "seated", "crouched"},
    {"goals", "no_root"},
)
FOR_ALL = (twist_beside, goals, extra_roots, seated, by_hand, stance)

# Names.

UP_LEG = {
    "pelvis": "Hips",
    "hip": "UpLeg",
    "knee": "Leg",
    "ankle": "Foot",
    "ball": "ToeBase",
    "toe": "Toe_End",
    "clavicle": "Shoulder",
    "shoulder": "Arm",
    "elbow": "ForeArm",
    "wrist": "Hand",
}
NUMBERED = {
    "hip": "Leg01",
    "knee": "Leg02",
    "ankle": "Foot01",
    "ball": "Foot02",
    "toe": "Foot03",
    "shoulder": "UpperArm",
    "elbow": "ForeArm",
    "wrist": "Hand",
    "pelvis": "Hip",
}
LEG_ONE = {"hip": "Leg1", "knee": "Leg2", "ankle": "Foot", "ball": "Toes", "shoulder": "Arm1"}
FRENCH = {"hip": "cuisse", "knee": "mollet", "ankle": "pied", "ball": "orteils", "pelvis": "bassin"}
WORD = {"L": "Left", "R": "Right", None: ""}
CHOICES = (  # words for fore legs where a style has none
    {"fore_hip": "upper_arm", "fore_knee": "forearm", "fore_ankle": "hand", "fore_ball": "fingers"},
    {f"fore_{part}": f"front_{word}" for part, word in SEGMENTS.items() if part in LIMBS},
    {f"fore_{part}": f"fore_leg_{i}" for i, part in enumerate(LIMBS)},
)
FOUR = {  # words for fore legs, beside the word of the same hind part
    "limbs": {"fore_hip": "upper_arm", "fore_knee": "forearm", "fore_ankle": "hand"},
    "front": {f"fore_{part}": "front_" + word for part, word in SEGMENTS.items() if part in LIMBS},
    "back": {f"fore_{part}": "front_" + word for part, word in UPPER.items() if part in LIMBS}
    | {part: "back_" + word for part, word in UPPER.items() if part in LIMBS},
}


def _known(name):
    return lambda rng: NAMINGS[name]


def _numbered_words(rng):
    form = worded(NUMBERED | FOUR["limbs"], lambda word, side: f"b_{WORD[side]}{word}_")
    return lambda part, side: form(part, side) + "#"


def _tagged(rng):
    return worded(
        SEGMENTS | FOUR["front"], lambda word, side: f"crew:{word.title()}_{side or 'M'}_#"
    )


def _up_leg(rng):
    return worded(UP_LEG, lambda word, side: f"crew:{WORD[side]}{word}")


def _leg_one(rng):
    return worded(LEG_ONE, lambda word, side: word if side is None else f"{word}.{side}")


def _french(rng):
    tags = {"L": "_G", "R": "_D", None: ""}
    return worded(FRENCH, lambda word, side: word + tags[side])


def _bones(rng):
    return lambda part, side: "Bone.###"


def _sided_bones(rng):
    return lambda part, side: f"Bone_{side or 'M'}.###"


def _back_and_front(rng):
    return worded(FOUR["back"], lambda word, side: word if side is None else f"{word}_{side}")


STYLES = {
    "ours": _known("ours"),
    "vrm-like": _known("vrm"),
    "thigh, shin, foot": _known("suffix letter"),
    "calf": _known("word suffix"),
    "upper and lower leg": _known("glued suffix"),
    "up leg": _up_leg,
    "running number": _numbered_words,
    "tag and number": _tagged,
    "leg 1, leg 2": _leg_one,
    "back and front": _back_and_front,
    "no sides": _known("no side"),
    "numbers only": lambda rng: lambda part, side: "#",
    "none": _known("empty"),
    "bones": _bones,
    "sided bones": _sided_bones,
    "German": _known("another language"),
    "French": _french,
}


def _named(plan, naming, rng):
    """Names for all joints; "#" and "###" become the joint's number in the file.

    A leg of three bones is named like one of two whose foot is long.
    """
    fore = CHOICES[rng.integers(0, len(CHOICES))]
    down = {"foot": "ball", "ball": "toe"} if plan.has("L", "foot") else {}
    names = []
    for i, (side, part) in enumerate(plan.body.what):
        part = down.get(part, part)
        name = naming(part, side)
        if part in fore and part in name:
            name = naming(fore[part], side)
        if part.startswith("pair") and part in name:
            pair, joint = part.split("_")
            word = {"hip": "upper", "knee": "middle", "ankle": "lower"}[joint]
            name = naming(f"leg{pair[4:]}_{word}", side)
        name = name.replace("###", f"{i:03}").replace("#", str(i))
        names.append(name)
    return names


# Files.

TURNS = {
    "+y up": np.eye(3),
    "+z up": np.array(bodies.TURNS["+z -y"], float),
    "+y up, facing +x": rotation.matrix_about("y", np.pi / 2),
}
UNITS = {"metres": 1.0, "centimetres": 100.0, "millimetres": 1000.0, "inches": 39.37}


def _boxes(plan, joints):
    """A box around the bone of each joint that moves a skin: vertices, triangles, joint of each."""
    cube = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (0, 1)], float)
    faces = [[0, 1, 3], [0, 3, 2], [4, 6, 7], [4, 7, 5], [0, 4, 5], [0, 5, 1]]
    faces += [[2, 3, 7], [2, 7, 6], [0, 2, 6], [0, 6, 4], [1, 5, 7], [1, 7, 3]]
    vertices, triangles, owners = [], [], []
    for i in joints:
        side, part = plan.body.what[i]
        bone = _bone(plan, i, side, part)
        length = np.linalg.norm(bone)
        wide = 0.06 if side else 0.12
        z = bone / length
        x = np.cross(z, [0.3, 0.4, 0.87])
        x /= np.linalg.norm(x)
        axes = np.stack([wide * x, wide * np.cross(z, x), bone])
        triangles += [[len(vertices) * 8 + corner for corner in face] for face in faces]
        vertices.append(cube @ axes + plan.body.points[i])
        owners += [i] * 8
    return np.concatenate(vertices), triangles, owners


def _bone(plan, i, side, part):
    """From a joint to where its bone ends."""
    points = plan.body.points
    children = [j for j, parent in enumerate(plan.body.parents) if parent == i]
    ways = [points[j] - points[i] for j in children]
    ways = [way for way in ways if np.linalg.norm(way) > 0.02]
    if ways:
        return max(ways, key=np.linalg.norm)
    if part in ("ankle", "foot", "fore_ankle", "ball", "fore_ball"):
        return np.array([0, -0.02, 0.15 if "ball" not in part else 0.07])
    parent = plan.body.parents[i]
    way = points[i] - points[parent] if parent >= 0 else np.zeros(3)
    length = np.linalg.norm(way)
    return 0.05 * way / length if length > 1e-6 else np.array([0, 0.05, 0])


def _asset(plan, names, turn, scale, order):
    """The rig as a file's nodes, one skin, one mesh of boxes."""
    what, here = plan.body.what, plan.body
    places = {old: new for new, old in enumerate(order)}
    nodes = []
    for old in order:
        parent = here.parents[old]
        offset = here.points[old] - (here.points[parent] if parent >= 0 else 0)
        about = turn @ rotation.matrix_about("x", np.radians(plan.turned.get(what[old], 0)))
        nodes.append(
            gltf.Node(
                names[old],
                places[parent] if parent >= 0 else None,
                scale * turn @ offset,
                rotation.quaternion_from_matrix(about @ turn.T),
            )
        )
    skinned = [i for i in range(len(what)) if what[i] not in plan.outside]
    moving = [i for i in skinned if what[i] not in plan.idle]
    vertices, triangles, owners = _boxes(plan, moving)
    bind = np.broadcast_to(np.eye(4), (len(skinned), 4, 4)).copy()
    bind[:, :3, 3] = -scale * here.points[skinned] @ turn.T
    column = {joint: k for k, joint in enumerate(skinned)}
    joints = np.zeros((len(owners), 4), int)
    joints[:, 0] = [column[owner] for owner in owners]
    weights = np.broadcast_to([1.0, 0, 0, 0], (len(owners), 4))
    mesh = gltf.Mesh("body", scale * vertices @ turn.T, triangles, joints, weights)
    nodes.append(gltf.Node("body", None, mesh=0, skin=0))
    skin = gltf.Skin("body", [places[i] for i in skinned], bind)
    return gltf.Asset(nodes, [skin], [mesh]), places


def _true_pairs(plan, places):
    pairs = []
    for parts in plan.pairs:
        pairs.append(
            {
                side: {
                    part: places[plan.body.place(side, own)]
                    for part, own in parts.items()
                    if plan.has(side, own)
                }
                for side, _ in SIDES
            }
        )
    return pairs


def _draw(rng, kind, style):
    plan = kind(rng)
    allowed = EXTRAS if kind is person else FOR_ALL if plan.pairs else (extra_roots,)
    wanted = set(
        rng.choice([extra.__name__ for extra in allowed], int(rng.integers(0, 5))).tolist()
    )
    for group in EITHER:
        for name in sorted(wanted & group)[1:]:
            wanted.discard(name)
    if not plan.has("L", "ankle") or kind in (many_legs,):
        wanted &= {"extra_roots"}
    for extra in EXTRAS:
        if extra.__name__ in wanted:
            extra(plan, rng)
    names = _named(plan, STYLES[style](rng), rng)
    axes = list(TURNS)[int(rng.choice(3, p=[0.7, 0.2, 0.1]))]
    unit = str(rng.choice(list(UNITS)))
    order = np.arange(len(names))
    if rng.random() < 0.3:
        order = rng.permutation(order)
    asset, places = _asset(plan, names, TURNS[axes], UNITS[unit], order.tolist())
    features = (*plan.features, *sorted(wanted), style, axes, unit)
    return Drawn(asset, features, _true_pairs(plan, places), TURNS[axes] @ [0, 0, 1.0])


KINDS = (
    *[person] * 6,
    four_legs,
    person,
    bird,
    person,
    four_legs,
    on_toes,
    person,
    many_legs,
    person,
)
NO_LEGS = (tentacle, snake, car, hand, arm, bust, octopus, face)


def family(seed, count=60):
    """Draw rigs: of each eight one has no legs."""
    rng = np.random.default_rng(seed)
    drawn = []
    for i in range(count):
        kind = NO_LEGS[i // 8 % len(NO_LEGS)] if i % 8 == 7 else KINDS[i % len(KINDS)]
        drawn.append(_draw(rng, kind, str(rng.choice(list(STYLES)))))
    return drawn
