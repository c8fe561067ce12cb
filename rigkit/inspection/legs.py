"""Where the legs of a skeleton are: from names and from where the joints stand, together.

Every three joints that could be hip, knee and ankle are weighed: by what their names say, and by how like a leg they
lie, for each axis that could be up. The two that weigh most and mirror each other are the legs. Then follow the foot,
a third bone, the pelvis, and which way is forward.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from rigkit import _check
from rigkit.inspection.names import NameReading, read_name

SIDE_WORDS = {"L": "left", "R": "right"}
CHAINS = (("hip", "knee", "ankle"), ("hip", "knee", "ankle", "foot"))
FOOT_PARTS = ("ball", "toe")
AXES = {sign + letter: way * axis for letter, axis in zip("xyz", np.eye(3), strict=True)
        for sign, way in (("+", 1.0), ("-", -1.0))}
UNITS = {"metres": 1.0, "centimetres": 0.01, "millimetres": 0.001}

# How the witnesses weigh; our choice, tried on many skeletons.
NAME_SAYS, PLACE_SAYS = 0.8, 0.75  # how sure a perfect name, or a perfect place, makes by itself
DENIED = -0.7  # three names that together say less than this name something else
LEAST_CERTAIN = 0.4  # below this nothing is called a leg
DIGITS = "0123456789 "
STANDARD_UP = 0.05  # what glTF's own up axis, +Y, is ahead by
LEVELS, MOST_TRIPLES = (8, 4, 2), 200_000  # how far apart in the tree hip, knee and ankle may be
MOST_LIKELY = 2000  # triples that are looked at closely


@dataclass(frozen=True)
class Leg:
    """One leg: its joints as places in the list of joints, from the hip down.

    Attributes
    ----------
    side : {"L", "R"}
        As its names say, else as it lies.
    joints : dict of part to int
        hip, knee, ankle; for a leg of three bones also foot; then ball and toe where there are any.
    certainty : dict of part to float
        From 0 to 1.
    why : dict of part to str
    """

    side: str
    joints: dict
    certainty: dict
    why: dict

    @property
    def chain(self):
        """The parts from the hip to the leg's end."""
        return CHAINS["foot" in self.joints]

    @property
    def bend(self):
        """The part where the two lowest bones meet: the knee, or of a leg of three bones the ankle."""
        return self.chain[-2]


@dataclass(frozen=True)
class Legs:
    """What was taken for legs.

    Attributes
    ----------
    legs : dict of side to Leg
        Two, one or none.
    pelvis : int or None
    helpers : tuple of int
        Further joints below the hips that are no part of the legs.
    up, forward, left : ndarray, shape (3,)
        Unit directions in the file.
    metres : float
        How many metres a unit of the file is.
    certainty : float
        Of the least certain of hips, knees and ankles; 0 where no leg was found.
    because : dict of str to str
        Why: for "legs", "up", "forward", "metres".
    """

    legs: dict = field(default_factory=dict)
    pelvis: int | None = None
    helpers: tuple = ()
    up: np.ndarray = field(default_factory=lambda: AXES["+y"])
    forward: np.ndarray = field(default_factory=lambda: AXES["+z"])
    left: np.ndarray = field(default_factory=lambda: AXES["+x"])
    metres: float = 1.0
    certainty: float = 0.0
    because: dict = field(default_factory=dict)


def find_legs(names, parents, points, mapping=None, usual=None, skin_centres=None):
    """The legs of a skeleton.

    Parameters
    ----------
    names : sequence of str
        Of any kind; they may repeat and may be empty.
    parents : array_like of int, shape (n,)
        Places of the parents, −1 for a root.
    points : array_like, shape (n, 3)
        Where the joints are, in the file's own units and axes.
    mapping : mapping of str to str, optional
        Corrections: "pelvis", "left.hip" and so on to a joint's name; "up" and "forward" to an axis such as "+z";
        "metres" to how many metres a unit is.
    usual : array_like of bool, shape (n,), optional
        The joints that may be parts of a leg: those that move a skin. All by default.
    skin_centres : array_like, shape (n, 3), optional
        The middle of the skin that each joint carries, NaN for none: a foot reaches forward.

    Returns
    -------
    Legs
        With no legs if there is nothing like one.

    Raises
    ------
    ValueError
        For a mapping that names no part, or a joint that is not there or is there more than once.
    """
    names = [str(name) for name in names]
    if not names:
        return Legs(because={"legs": "there are no joints"})
    points = _check.numbers("points", points, len(names), 3)
    tree = _Tree(np.asarray(parents), points, [read_name(name) for name in names])
    usual = np.ones(len(names), bool) if usual is None else np.asarray(usual)
    mapping = _read_mapping(mapping or {}, names)
    for (side, part), place in mapping.parts.items():
        tree.readings[place] = NameReading(side, {part: 1.0}, stem=part)
        usual = usual | (np.arange(len(names)) == place)
    found = _from_mapping(tree, mapping) or _search(tree, usual, mapping)
    if found is None:
        return Legs(because={"legs": _why_none(tree, usual)})
    return _described(tree, found, mapping, usual, skin_centres)


@dataclass(frozen=True)
class _Mapping:
    parts: dict
    up: np.ndarray | None
    forward: np.ndarray | None
    metres: float | None

    def needed(self):
        """The columns and the joints that a search must have in its triples: what the user has named of two bones."""
        three = {side for side, part in self.parts if part == "foot"}
        return {(CHAINS[0].index(part), place) for (side, part), place in self.parts.items()
                if part in CHAINS[0] and side not in three}


@dataclass
class _Tree:
    """Joints, their parents, where they are, what their names say."""

    parents: np.ndarray
    points: np.ndarray
    readings: list

    def __post_init__(self):
        self.children = [[] for _ in self.readings]
        for i, parent in enumerate(self.parents):
            if parent >= 0:
                self.children[parent].append(i)

    def above(self, place, levels=10**9):
        """The joints above, nearest first."""
        found = []
        while len(found) < levels and (place := int(self.parents[place])) >= 0:
            found.append(place)
        return found

    def below(self, place, levels=10**9):
        """All joints below, nearer ones first."""
        found, level = [], self.children[place]
        while level and levels:
            found += level
            level, levels = [child for i in level for child in self.children[i]], levels - 1
        return found

    def between(self, upper, lower):
        """The joints on the way from `upper` down to `lower`, both left out; none if it does not hang below."""
        way = self.above(lower)
        return way[:way.index(upper)][::-1] if upper in way else []

    def says(self, place, part):
        """How well a name fits a part: 1 says so, −1 says something else, 0 nothing."""
        reading = self.readings[place]
        if reading.helps and part != "toe":
            return -0.8
        if part in reading.parts:
            return reading.parts[part]
        return -1.0 if reading.elsewhere else -0.6 if reading.parts else 0.0


@dataclass
class _Triples:
    """Candidates for hip, knee and ankle, shape (m, 3), with what their names and their places say, 0 to 1."""

    joints: np.ndarray
    named: np.ndarray
    placed: np.ndarray

    def picked(self, chosen):
        return _Triples(self.joints[chosen], self.named[chosen], self.placed[chosen])


@dataclass
class _Found:
    """Legs as triples of joints by side, the axis that is up, and how well names and places agree with a leg."""

    triples: dict
    up: np.ndarray
    named: float
    placed: float
    detached: bool = False


def _search(tree, usual, mapping):
    joints = _triples(tree, usual)
    if not len(joints):
        return None
    named, clash = _named(tree, joints)
    likely = ~clash & (named > DENIED)
    joints, named = joints[likely], named[likely]
    likely = np.argsort(-(named + _proportioned(tree, joints)), kind="stable")[:MOST_LIKELY]
    joints, named = joints[likely], named[likely]
    shaped = _shaped(tree, joints, usual)
    ups = [mapping.up] if mapping.up is not None else [AXES[sign + letter] for letter in "yzx" for sign in "+-"]
    needed = mapping.needed()
    answers = []
    for up in ups if len(joints) else ():
        placed = shaped * _stands(tree, joints, up, usual)
        triples = _best(tree, _Triples(joints, named, placed), needed)
        ahead = STANDARD_UP * bool(up is AXES["+y"] or mapping.up is not None)
        for score, found in (_pair(tree, triples, up, needed), _alone(tree, triples, up, needed)):
            if found:
                found.placed = _standing(tree, found, _whole_legs(tree, found, mapping), usual)
                answers.append((score + ahead + found.placed, found))
    if not answers:
        return None
    found = max(answers, key=lambda answer: answer[0])[1]
    return found if needed or _certainty(found.named, found.placed) >= LEAST_CERTAIN else None


def _certainty(named, placed):
    """Names and places are two witnesses; a name for something else speaks against."""
    against = np.clip(1 + 1.5 * np.minimum(named, 0.0), 0.0, 1.0)
    return (1 - (1 - NAME_SAYS * np.maximum(named, 0.0)) * (1 - PLACE_SAYS * placed)) * against


def _triples(tree, usual):
    """Every hip, knee and ankle that could be a leg, as an array of shape (m, 3)."""
    apart = [i for i in np.flatnonzero(usual) if tree.says(i, "ankle") > 0.5]
    for levels in LEVELS:
        found = []
        for knee in np.flatnonzero(usual):
            hips = [i for i in tree.above(knee, levels) if usual[i]]
            below = [i for i in tree.below(knee, levels) if usual[i]]
            if not hips:
                continue
            if not any(tree.says(i, "ankle") > 0.5 for i in below):  # a foot may hang elsewhere
                over = {knee, *tree.above(knee)}
                below += [i for i in apart if i not in over]
            found += [(hip, knee, ankle) for hip in hips for ankle in below]
            if len(found) > MOST_TRIPLES:
                break
        if len(found) <= MOST_TRIPLES:
            break
    return np.array(found[:MOST_TRIPLES], dtype=np.int64).reshape(-1, 3)


def _named(tree, joints):
    """What the three names say together, −1 to 1, and whether their sides contradict each other."""
    says = np.stack([np.array([tree.says(i, part) for i in range(len(tree.readings))])[joints[:, column]]
                     for column, part in enumerate(("hip", "knee", "ankle"))], axis=-1)
    sides = np.array([{"L": 1, "R": -1}.get(reading.side, 0) for reading in tree.readings])[joints]
    return says.mean(axis=-1), (sides.max(axis=-1) - sides.min(axis=-1)) == 2


def _placed(tree, joints, up, usual):
    """How like a leg three joints lie, 0 to 1."""
    return _shaped(tree, joints, usual) * _stands(tree, joints, up, usual)


def _shaped(tree, joints, usual):
    """How like a leg's three joints lie to each other: in proportion, with no joint off its bones."""
    span = max(np.ptp(tree.points[usual], axis=0).max(), 1e-300)
    shaped = np.where(sum(_bones(tree, joints)[:2]) > 1e-6 * span, _proportioned(tree, joints), 0.0)
    for i in np.flatnonzero(shaped):
        hip, knee, ankle = joints[i].tolist()
        astray = max(_astray(tree, hip, knee, usual), _astray(tree, knee, ankle, usual))
        shaped[i] *= np.sqrt(1 - _ramp(astray, 0.03, 0.12)) * (1.0 if knee in tree.above(ankle, 12) else 0.8)
    return shaped


def _proportioned(tree, joints):
    """How like a leg's the two bones are: alike in length, nearly straight."""
    upper, lower, whole = _bones(tree, joints)
    bones = np.maximum(upper + lower, 1e-300)
    alike = np.minimum(upper, lower) / np.maximum(np.maximum(upper, lower), 1e-300)
    even = 1 - 0.3 * np.abs(upper - lower) / bones  # of several knees the one nearest the middle
    return np.sqrt(_ramp(alike, 0.2, 0.6) * _ramp(whole / bones, 0.4, 0.85)) * even


def _stands(tree, joints, up, usual):
    """How well three joints stand: upright, and down to the floor."""
    upper, lower, whole = _bones(tree, joints)
    hip, ankle = (tree.points[joints[:, i]] @ up for i in (0, 2))
    floor = (tree.points[usual] @ up).min()
    low = (ankle - floor) / np.maximum(upper + lower, 1e-300)
    return np.sqrt(_ramp((hip - ankle) / np.maximum(whole, 1e-300), 0.6, 0.92) * (1 - _ramp(low, 0.15, 0.6)))


def _bones(tree, joints):
    """Lengths of the upper and the lower bone, and from end to end."""
    hip, knee, ankle = (tree.points[joints[:, i]] for i in range(3))
    return tuple(np.linalg.norm(b - a, axis=-1) for a, b in ((hip, knee), (knee, ankle), (hip, ankle)))


def _astray(tree, upper, lower, usual):
    """How far joints in between lie off the straight bone, as a share of it: none do on a real bone."""
    way = [i for i in tree.between(upper, lower) if usual[i] and not tree.readings[i].helps]
    if not way:
        return 0.0
    a, c = tree.points[upper], tree.points[lower]
    length = max(np.linalg.norm(c - a), 1e-150)
    return np.linalg.norm(np.cross(tree.points[way] - a, (c - a) / length), axis=-1).max() / length


def _ramp(value, low, high):
    return np.clip((value - low) / (high - low), 0.0, 1.0)


def _score(tree, triples):
    """What ranks triples: how sure they are, then how much of the leg they span, then how few joints they skip."""
    span = np.linalg.norm(tree.points[triples.joints[:, 0]] - tree.points[triples.joints[:, 2]], axis=-1)
    return 0.5 * triples.named + 0.5 * triples.placed + 0.15 * span / max(span.max(), 1e-300)


def _best(tree, triples, needed, each=4, most=80):
    """The best few for each hip, and of these the best; as many again of those that have a joint that is needed."""
    score = _score(tree, triples)
    has = np.zeros(len(score), dtype=bool)
    for column, place in needed:
        has |= triples.joints[:, column] == place
    kept = []
    for group in (np.flatnonzero(has), np.flatnonzero(~has)):
        counts = {}
        for i in group[np.argsort(-score[group], kind="stable")]:
            hip = int(triples.joints[i, 0])
            counts[hip] = counts.get(hip, 0) + 1
            if counts[hip] <= each and len(kept) < most * (1 + bool(len(needed))):
                kept.append(i)
    return triples.picked(np.array(kept, dtype=np.int64))


def _pair(tree, triples, up, needed):
    """The best two triples that mirror each other: their score, and what was found."""
    joints, score = triples.joints, _score(tree, triples)
    partners, apart = _partners(tree, joints), _apart(tree, joints)
    mirrored = _mirrored(tree.points[joints], up)
    total = (score[:, None] + score) / 2 + 0.25 * mirrored + 0.25 * partners
    allowed = np.triu(apart, 1) & np.isfinite(partners)
    for column, place in needed:
        has = joints[:, column] == place
        allowed &= has[:, None] | has
    if not needed:
        allowed &= mirrored > 0
    if not allowed.any():
        return -np.inf, None
    i, j = np.unravel_index(np.argmax(np.where(allowed, total, -np.inf)), total.shape)
    named, placed = ((values[i] + values[j]) / 2 for values in (triples.named, triples.placed))
    return total[i, j], _Found(_by_side(tree, joints[i], joints[j]), up, float(named), float(placed * mirrored[i, j]))


def _apart(tree, joints):
    """Which two triples share no joint and do not hang from each other, shape (m, m)."""
    hips = joints[:, 0].tolist()
    above = {hip: set(tree.above(hip)) for hip in set(hips)}
    hangs = np.array([[one in above[two] for two in hips] for one in hips], dtype=bool)
    shared = (joints[:, None, :, None] == joints[None, :, None, :]).any(axis=(-2, -1))
    return ~(shared | hangs | hangs.T)


def _mirrored(legs, up):
    """How well legs mirror each other, 0 to 1: equal heights, side by side, not too far apart; (m, 3, 3) to (m, m)."""
    length = np.linalg.norm(np.diff(legs, axis=1), axis=-1).sum(axis=-1)
    size = np.maximum(np.maximum(length[:, None], length), 1e-300)[..., None]
    apart = legs[:, None] - legs
    rise = np.abs(apart @ up) / size
    level = apart - (apart @ up)[..., None] * up
    across = level.sum(axis=-2, keepdims=True)
    whole = np.linalg.norm(across, axis=-1, keepdims=True)
    across = across / np.maximum(whole, 1e-300)
    width = np.sum(level * across, axis=-1)
    skew = np.linalg.norm(level - width[..., None] * across, axis=-1) / size
    width = width / size
    likely = (whole[..., 0, 0] > 1e-3 * size[..., 0]) & (width.min(axis=-1) >= -0.1) & (width[..., 0] > 0.01) & (
        width[..., 0] <= 1.5)
    return np.where(likely, np.clip(1.1 - 2 * np.mean(rise + skew, axis=-1), 0.0, 1.0), 0.0)


def _partners(tree, joints):
    """Whether names go in pairs, −1 to 1; −∞ where both legs are of one side; shape (m, m)."""
    stems = {stem: i for i, stem in enumerate(sorted({reading.stem for reading in tree.readings}))}
    stem = np.array([stems[reading.stem] for reading in tree.readings])[joints]
    sides = np.array([{"L": 1, "R": -1}.get(reading.side, 0) for reading in tree.readings])[joints]
    both = (sides != 0)[:, None] & (sides != 0)
    alike = np.mean((stem[:, None] == stem) * np.where(both, 1.0, 0.5) - 0.25, axis=-1)
    side = np.sign(sides.sum(axis=-1))
    return np.where((side[:, None] == side) & (side != 0), -np.inf, alike)


def _by_side(tree, one, two):
    """The two legs by the side their names say; without such names as "one" and "two"."""
    sides = [next((tree.readings[i].side for i in leg if tree.readings[i].side), None) for leg in (one, two)]
    if sides[0] is None and sides[1] is None:
        return {"one": one, "two": two}
    left_first = sides[0] == "L" or sides[1] == "R"
    return {"L": one, "R": two} if left_first else {"L": two, "R": one}


def _alone(tree, triples, up, needed):
    """A single leg, only if its names say so."""
    score = _score(tree, triples) - 0.3
    sure = triples.named > 0.55
    if needed:
        sure = np.array([needed <= set(enumerate(leg)) for leg in triples.joints.tolist()])
    if not sure.any():
        return -np.inf, None
    i = int(np.argmax(np.where(sure, score, -np.inf)))
    leg = triples.joints[i]
    side = next((tree.readings[j].side for j in leg if tree.readings[j].side), None)
    return score[i], _Found({side or "one": leg}, up, float(triples.named[i]), float(triples.placed[i]))


def _from_mapping(tree, mapping):
    """Legs that the user has named in full."""
    triples = {}
    for side in SIDE_WORDS:
        places = [mapping.parts.get((side, part)) for part in ("hip", "knee", "ankle")]
        if None not in places:
            triples[side] = np.array(places)
    if not triples or any(side not in triples for side, _ in mapping.parts if side):
        return None
    up = mapping.up
    if up is None:
        legs = np.sum([tree.points[hip] - tree.points[ankle] for hip, _, ankle in triples.values()], axis=0)
        up = max(AXES.values(), key=lambda axis: axis @ legs)
    return _Found(triples, up, 1.0, 1.0)


# What follows from the two legs.

def _described(tree, found, mapping, usual, skin_centres):
    ends = _whole_legs(tree, found, mapping)
    found.placed = _standing(tree, found, ends, usual)
    forward, why_forward = _forward(tree, found, ends, mapping, skin_centres)
    left = np.cross(found.up, forward)
    if not set(ends) <= set(SIDE_WORDS):
        ends = _sided(tree, ends, left)
    pelvis = mapping.parts.get((None, "pelvis"), _pelvis(tree, [joints["hip"] for joints in ends.values()]))
    floor = min(tree.points[i] @ found.up for joints in ends.values() for i in joints.values())
    height = np.mean([tree.points[joints["hip"]] @ found.up for joints in ends.values()]) - floor
    metres, why_metres = _metres(height, mapping)
    legs = {side: _leg(tree, side, ends[side], found, mapping) for side in sorted(ends)}
    used = {i for joints in ends.values() for i in joints.values()} | {pelvis}
    helpers = tuple(i for i in sorted({i for joints in ends.values() for i in tree.below(joints["hip"])} - used))
    because = {
        "legs": _why_legs(np.mean([_says(tree, leg.joints, part) for leg in legs.values() for part in leg.chain]),
                          found.placed, len(legs)),
        "up": "you said so" if mapping.up is not None else
              f"{'the legs hang' if len(legs) > 1 else 'the leg hangs'} down along it",
        "forward": why_forward,
        "metres": why_metres,
    }
    sure = min(leg.certainty[part] for leg in legs.values() for part in ("hip", "knee", "ankle"))
    return Legs(legs, pelvis, helpers, found.up, forward, left, metres, sure, because)


def _whole_legs(tree, found, mapping):
    """All joints of the legs by part, from their hips, knees and ankles."""
    shared = set.intersection(*(set(tree.above(int(triple[0]))) for triple in found.triples.values()))
    return {key: _whole_leg(tree, [int(i) for i in triple], found.up, _mapped_parts(mapping, key), shared)
            for key, triple in found.triples.items()}


def _standing(tree, found, ends, usual):
    """How like legs the two lowest bones of whole legs lie, 0 to 1."""
    lowest = np.array([[joints[part] for part in CHAINS["foot" in joints][-3:]] for joints in ends.values()])
    return float(_placed(tree, lowest, found.up, usual).mean())


def _mapped_parts(mapping, key):
    return {part: place for (side, part), place in mapping.parts.items() if side == key}


def _whole_leg(tree, triple, up, mapped, shared):
    """The joints of a leg by part, from its hip, knee and ankle: with a third bone and a foot where there are any."""
    hip, knee, ankle = triple
    joints = {"hip": hip, "knee": knee, "ankle": ankle}
    middle = _third_bone(tree, joints, up, shared)
    if "foot" in mapped:
        joints["foot"] = mapped["foot"]
    elif middle is not None:
        three = dict(zip(CHAINS[1], middle, strict=True))
        joints = three if all(three.get(part, place) == place for part, place in mapped.items()) else joints
    joints |= {part: place for part, place in mapped.items() if part in joints}
    end = joints.get("foot", joints["ankle"])
    joints |= _foot(tree, end, up, tree.points[joints["hip"]])
    return joints | {part: place for part, place in mapped.items() if part in FOOT_PARTS}


def _third_bone(tree, joints, up, shared):
    """Hip, knee, ankle and foot of a leg of three bones; None for a leg of two."""
    hip, knee, ankle = joints.values()
    whole = sum(np.linalg.norm(tree.points[b] - tree.points[a]) for a, b in ((hip, knee), (knee, ankle)))

    def leg_like(place, others):
        reading = tree.readings[place]
        split = any(tree.readings[i].parts and tree.readings[i].stem.strip(DIGITS) == reading.stem.strip(DIGITS)
                    for i in others)  # one bone in two pieces
        return not (reading.helps or reading.elsewhere or split)

    for upper, lower in ((knee, ankle), (hip, knee)):
        for place in tree.between(upper, lower):
            a, b, c = (tree.points[i] for i in (upper, place, lower))
            share = (b - a) @ (c - a) / max((c - a) @ (c - a), 1e-300)
            off = np.linalg.norm(b - a - share * (c - a)) / max(np.linalg.norm(c - a), 1e-300)
            named = max(tree.says(place, part) for part in ("knee", "ankle")) > 0.5
            if 0.2 < share < 0.8 and leg_like(place, (hip, knee, ankle)) and (off > 0.1 or named):
                return [hip, knee, place, ankle] if upper == knee else [hip, place, knee, ankle]
    for place in tree.below(ankle, 3):
        bone = tree.points[place] - tree.points[ankle]
        length = np.linalg.norm(bone)
        if (length > 0.2 * whole and -(bone @ up) > 0.75 * length and leg_like(place, (hip, knee, ankle))
                and max(tree.says(place, part) for part in ("ankle", "ball")) >= 0):
            return [hip, knee, ankle, place]
    for place in tree.above(hip, 1):  # a thigh above what lies like one
        bone = tree.points[hip] - tree.points[place]
        length = np.linalg.norm(bone)
        if (place not in shared and leg_like(place, (hip, knee, ankle)) and "pelvis" not in tree.readings[place].parts
                and length > 0.15 * whole and -(bone @ up) > 0.25 * length):
            return [place, hip, knee, ankle]
    return None


def _foot(tree, end, up, hip):
    """Ball and toe: the way from the leg's end to its farthest joint, seen from above."""
    def level(place):
        apart = tree.points[place] - tree.points[end]
        return np.linalg.norm(apart - (apart @ up) * up)

    size = np.linalg.norm(tree.points[end] - hip)
    below = [i for i in tree.below(end, 6) if level(i) > 0.02 * size and "heel" not in tree.readings[i].stem
             and not (tree.readings[i].helps and "toe" not in tree.readings[i].parts and "tip" not in
                      tree.readings[i].stem and "end" not in tree.readings[i].stem)]
    if not below:
        return {}
    farthest = max(below, key=lambda i: (round(level(i) / max(size, 1e-300), 6), -i))
    way = [i for i in [*tree.between(end, farthest), farthest] if i in below]
    ball = max(way, key=lambda i: (tree.says(i, "ball"), level(i) >= 0.35 * level(farthest), -way.index(i)))
    after = way[way.index(ball) + 1:]
    return {"ball": ball} | ({"toe": after[-1]} if after else {})


def _forward(tree, found, ends, mapping, skin_centres):
    """Which way the legs face, and why."""
    up = found.up
    across = None
    if len(ends) == 2:
        one, two = ends.values()
        across = np.mean([tree.points[one[part]] - tree.points[two[part]] for part in ("hip", "knee", "ankle")], axis=0)
        across = across - (across @ up) * up
        across = _snapped(across / max(np.linalg.norm(across), 1e-300))
    if mapping.forward is not None:
        level = mapping.forward - (mapping.forward @ up) * up
        if np.linalg.norm(level) < 0.5:
            raise ValueError("`mapping` must hold a forward axis square to up; got the same axis for both.")
        return level / np.linalg.norm(level), "you said so"
    hint, why = _forward_hint(tree, ends, up, skin_centres)
    if hint is None and across is not None and set(ends) == set(SIDE_WORDS):
        hint, why = np.cross(across, up), "it has the left leg on its left"
    if hint is None:
        hint, why = AXES["-y"] if abs(up[2]) > 0.5 else AXES["+z"], "nothing says otherwise"
    if across is None:
        hint = hint - (hint @ up) * up
        return _snapped(hint / np.linalg.norm(hint)), why
    ahead = np.cross(across, up)
    return ahead * (1.0 if ahead @ hint >= 0 else -1.0) + 0.0, why


def _forward_hint(tree, ends, up, skin_centres):
    """The way the feet point: by their joints, by their skin, by the knees."""
    size = np.mean([np.linalg.norm(tree.points[j["hip"]] - tree.points[j["ankle"]]) for j in ends.values()])

    def together(ways):
        way = np.sum(ways, axis=0)
        level = way - (way @ up) * up
        return level if np.linalg.norm(level) > 0.03 * size * len(ends) else None

    last = {key: joints.get("toe", joints.get("ball")) for key, joints in ends.items()}
    if None not in last.values():
        way = together([tree.points[last[key]] - tree.points[joints.get("foot", joints["ankle"])]
                        for key, joints in ends.items()])
        if way is not None:
            return way, "the feet point along it"
    if skin_centres is not None:
        feet = [joints.get("foot", joints["ankle"]) for joints in ends.values()]
        ways = np.asarray(skin_centres)[feet] - tree.points[feet]
        way = together(ways) if np.isfinite(ways).all() else None
        if way is not None:
            return way, "the feet's skin reaches along it"
    ways = []
    for joints in ends.values():
        a, b, c = (tree.points[joints[part]] for part in ("hip", "knee", "ankle"))
        share = (b - a) @ (c - a) / max((c - a) @ (c - a), 1e-300)
        ways.append(b - a - share * (c - a))
    bend = np.sum(ways, axis=0)
    bend = bend - (bend @ up) * up
    if np.linalg.norm(bend) > 0.004 * size * len(ends):
        return bend, "the knees bend along it"
    return None, ""


def _snapped(direction, within_deg=10.0):
    """A file's own axis, if the direction is near one."""
    nearest = max(AXES.values(), key=lambda axis: axis @ direction)
    return nearest if nearest @ direction > np.cos(np.radians(within_deg)) else direction


def _sided(tree, ends, left):
    """Legs without side names, by where they lie."""
    if len(ends) == 1:
        (joints,) = ends.values()
        place = tree.points[joints["hip"]] @ left
        root = tree.points[_root_of(tree, joints["hip"])] @ left
        return {"R" if place < root else "L": joints}
    one, two = sorted(ends.values(), key=lambda joints: tree.points[joints["hip"]] @ left)
    return {"L": two, "R": one}


def _root_of(tree, place):
    return [place, *tree.above(place)][-1]


def _pelvis(tree, hips):
    """The joint that carries the legs: the nearest above both hips; above a single one, the nearest called so."""
    if len(hips) == 1:
        return next((i for i in tree.above(hips[0]) if "pelvis" in tree.readings[i].parts),
                    next(iter(tree.above(hips[0])), None))
    over = set(tree.above(hips[1]))
    return next((i for i in tree.above(hips[0]) if i in over), None)


def _metres(height, mapping):
    if mapping.metres is not None:
        return mapping.metres, "you said so"
    if 0.1 <= height <= 5.0:  # what glTF says, wherever it can be
        return 1.0, f"the hips are {height:.3g} units above the floor"
    unit = min(UNITS.values(), key=lambda metres: abs(np.log(max(height, 1e-300) * metres / 0.85)))
    return unit, f"the hips are {height:.4g} units above the floor, a person's are about 0.85 m"


def _leg(tree, side, joints, found, mapping):
    certainty, why = {}, {}
    for part, place in joints.items():
        mapped = mapping.parts.get((side, part)) == place
        says = _says(tree, joints, part)
        certainty[part] = 1.0 if mapped else round(float(_certainty(says, found.placed)), 2)
        why[part] = _why_joint(says, found.placed, mapped)
    return Leg(side, joints, certainty, why)


def _says(tree, joints, part):
    """How well a joint's name fits its part; in a leg of three bones the words for the lower joints vary."""
    words = {"ankle": ("knee", "ankle"), "foot": ("ankle", "ball")}.get(part, (part,)) if "foot" in joints else (part,)
    return max(tree.says(joints[part], word) for word in words)


def _why_joint(says, placed, mapped):
    if mapped:
        return "you said so"
    place = "lies as one" if placed > 0.5 else "lies only roughly as one"
    return f"is called like one and {place}" if says > 0.4 else f"{place}; its name says nothing of it" if says > -0.2 \
        else f"{place}, though its name says something else"


def _why_legs(named, placed, count):
    legs, they = ("Two chains that mirror each other", "they reach") if count == 2 else ("One chain", "it reaches")
    names = "names say so" if named > 0.6 else "names say little" if named > -0.1 else "names say something else"
    return f"{legs}; {names}, and {they} the floor{'' if placed > 0.6 else ' only roughly'} as legs do"


def _why_none(tree, usual):
    count = int(usual.sum())
    if count < 3:
        return f"a leg needs three joints; there {'is' if count == 1 else 'are'} {count or 'none'}"
    elsewhere = sum(reading.elsewhere for reading, use in zip(tree.readings, usual, strict=True) if use)
    more = f"; {elsewhere} are named as something else" if elsewhere else ""
    return f"no three of its {count} joints lie and are named like hip, knee and ankle{more}"


def _read_mapping(mapping, names):
    if not isinstance(mapping, Mapping):
        raise ValueError("`mapping` must map parts to joint names, such as {'left.knee': 'shin_01'}; "
                         f"got {mapping!r}.")
    parts, axes, metres = {}, {"up": None, "forward": None}, None
    for key, value in mapping.items():
        if key in axes:
            axes[key] = AXES[_check.choice(f"mapping[{key!r}]", str(value).lower(), AXES)]
        elif key == "metres":
            metres = _one_number("mapping['metres']", value)
        else:
            part = _part(key)
            parts[part] = _joint(key, value, names)
    return _Mapping(parts, axes["up"], axes["forward"], metres)


def _one_number(name, value):
    try:
        number = float(value)
    except (TypeError, ValueError):
        number = np.nan
    if not (np.isfinite(number) and number > 0):
        raise ValueError(f"`{name}` must be a number above zero; got {value!r}. A centimetre is 0.01 metres.")
    return number


def _part(key):
    keys = {"pelvis": (None, "pelvis")} | {f"{word}.{part}": (side, part) for side, word in SIDE_WORDS.items()
                                           for part in (*CHAINS[1], *FOOT_PARTS)}
    if key not in keys:
        raise ValueError(f"`mapping` must name one of {', '.join([*keys, 'up', 'forward', 'metres'])}; got {key!r}.")
    return keys[key]


def _joint(key, name, names):
    places = [i for i, other in enumerate(names) if other == name]
    if len(places) != 1:
        some = ", ".join(map(repr, names[:12])) + (" …" if len(names) > 12 else "")
        raise ValueError(f"`mapping[{key!r}]` must be the name of one joint ({some}); got {name!r}, "
                         + (f"which {len(places)} joints have." if places else "which none has."))
    return places[0]
