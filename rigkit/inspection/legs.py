"""The legs of a skeleton, found from names and from where the joints stand, together.

`search` weighs every three joints that could be hip, knee and ankle; here the user's corrections
come in, and from the two legs follow their sides, which way is forward, the unit, and how sure all
of it is.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from rigkit import _check, _format
from rigkit._types import ArrayLike, Bools, Floats, Ints
from rigkit.inspection.corrections import Corrections, read_mapping
from rigkit.inspection.evidence import like_limbs, mirrored_share, why_animal
from rigkit.inspection.names import SIDE_WORDS, NameReading, read_names
from rigkit.inspection.pairs import Choice, Pair, choose
from rigkit.inspection.search import further_pairs, search
from rigkit.inspection.tree import AXES, CHAINS, Tree, combined_certainty
from rigkit.inspection.whole import Found, Joints, standing, whole_legs

# How sure the sides of legs without side names are, by what says where ahead is.
SIDES_TOLD = {
    "the feet's skin reaches along it": (0.95, "only their feet's skin tells which is the left"),
    "the knees bend along it": (0.85, "only the bend of their knees tells which is the left"),
    "nothing says otherwise": (0.5, "nothing tells which of them is the left"),
}
LEAST_CERTAIN, LEAST_OF_SEVERAL = 0.25, 0.1  # below this nothing is called a leg
MANY_LIMBS = 4  # further limbs as long as the legs that make them doubtful
NOT_IN_DOUBT = 0.95
UNITS = {"metres": 1.0, "centimetres": 0.01, "millimetres": 0.001}


@dataclass(frozen=True)
class Leg(_format.NotebookDisplay):
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
    joints: Joints
    certainty: dict[str, float]
    why: dict[str, str]

    def __repr__(self) -> str:
        joints = ", ".join(f"{part} {place}" for part, place in self.joints.items())
        sure = min(self.certainty.get(part, 0.0) for part in self.chain)
        return _format.line(
            self,
            f"{SIDE_WORDS.get(self.side, self.side)} leg",
            f"joints at {joints}",
            f"{_format.amount(sure, ' %', 0, 100.0)} certain",
        )

    @property
    def chain(self) -> tuple[str, ...]:
        """The parts from the hip to the leg's end."""
        return CHAINS["foot" in self.joints]

    @property
    def bend(self) -> str:
        """The part between the two lowest bones: the knee, or of a leg of three bones the ankle."""
        return self.chain[-2]


@dataclass(frozen=True, eq=False)
class Legs(_format.NotebookDisplay):
    """The legs found in a skeleton, with its axes and its unit.

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
        Metres to a unit of the file.
    certainty : float
        Of the least certain of hips, knees and ankles; 0 where no leg was found.
    because : dict of str to str
        The reasons for "legs", "up", "forward", "metres".
    animal : bool
        True if these are not a person's legs; the reason is in `because`.
    pairs : tuple of Pair
        All pairs of legs where there are several, from the front.
    pair : str
        The name of the pair these legs are; empty where there is one only.
    """

    legs: dict[str, Leg] = field(default_factory=dict)
    pelvis: int | None = None
    helpers: tuple[int, ...] = ()
    up: Floats = field(default_factory=lambda: AXES["+y"])
    forward: Floats = field(default_factory=lambda: AXES["+z"])
    left: Floats = field(default_factory=lambda: AXES["+x"])
    metres: float = 1.0
    certainty: float = 0.0
    because: dict[str, str] = field(default_factory=dict)
    animal: bool = False
    pairs: tuple[Pair, ...] = ()
    pair: str = ""

    def __repr__(self) -> str:
        if not self.legs:
            return _format.line(self, "none found")
        return _format.line(
            self,
            " and ".join(SIDE_WORDS.get(side, side) for side in self.legs),
            f"{_format.amount(self.certainty, ' %', 0, 100.0)} certain",
            f"up {_format.direction(self.up)}",
            f"facing {_format.direction(self.forward)}",
            f"a unit is {_format.amount(self.metres, ' m')}",
        )


def find_legs(
    names: Sequence[str],
    parents: ArrayLike,
    points: ArrayLike,
    mapping: Mapping[str, object] | None = None,
    usual: ArrayLike | None = None,
    skin_centres: ArrayLike | None = None,
    pair: str | None = None,
) -> Legs:
    """Find the legs of a skeleton, by the names of its joints and by where they lie.

    Parameters
    ----------
    names : sequence of str
        Of any kind; they may repeat and may be empty.
    parents : array_like of int, shape (n,)
        Places of the parents, −1 for a root.
    points : array_like, shape (n, 3)
        Where the joints are, in the file's own units and axes.
    mapping : mapping of str to str, optional
        Corrections: "pelvis", "left.hip" and so on to a joint's name; "up" and "forward" to an axis
        such as "+z"; "metres" to how many metres a unit is.
    usual : array_like of bool, shape (n,), optional
        The joints that may be parts of a leg: those that move a skin. All by default.
    skin_centres : array_like, shape (n, 3), optional
        The middle of the skin that each joint carries, NaN for none: a foot reaches forward.
    pair : str, optional
        Which of several pairs of legs, such as "hind"; `Legs.pairs` has their names. By default
        the hind pair.

    Returns
    -------
    Legs
        With no legs if there is nothing like one.

    Raises
    ------
    ValueError
        For a mapping that names no part, or a joint that is not there or is there more than once;
        for a pair that is not there; for parents that are no places in the list, or go round in
        a cycle.

    Examples
    --------
    >>> from rigkit import export, inspection, puppets
    >>> asset = export.puppet_asset(puppets.PUPPETS["Tamsin"], 500)
    >>> names = [node.name for node in asset.nodes]
    >>> found = inspection.find_legs(names, asset.parents, asset.rest_world()[:, :3, 3])
    >>> names[found.legs["L"].joints["knee"]]
    'L_knee'
    """
    names = [str(name) for name in names]
    if not names:
        return Legs(because={"legs": "there are no joints"})
    points = _check.numbers("points", points, len(names), 3)
    centres = None if skin_centres is None else np.asarray(skin_centres, np.float64)
    tree = Tree(_check_parents(parents, len(names)), points, read_names(names))
    may = np.ones(len(names), bool) if usual is None else np.array(usual, bool)
    corrections = read_mapping(mapping or {}, names)
    for (side, part), place in corrections.parts.items():
        tree.readings[place] = NameReading(side, {part: 1.0}, stem=part)
        may[place] = True
    found = _from_mapping(tree, corrections) or search(tree, may, corrections)
    if found is None:
        return Legs(because={"legs": _why_none(tree, may)})
    pairs, choice = _pairs(tree, found, corrections, may, centres, pair)
    legs = _legs_from(tree, pairs[choice.taken], corrections, may, centres, choice, pairs)
    least = LEAST_OF_SEVERAL if pairs[1:] else LEAST_CERTAIN
    if legs.certainty < least and not corrections.parts:
        return Legs(because={"legs": _why_unlikely(names, legs)})
    return replace(legs, pairs=_listed(tree, names, pairs, choice, legs)) if pairs[1:] else legs


def _pairs(
    tree: Tree,
    found: Found,
    mapping: Corrections,
    usual: Bools,
    skin_centres: Floats | None,
    wanted: str | None,
) -> tuple[list[Found], Choice]:
    """All pairs of legs, and which of them is taken; one where the user has named some joints."""
    pairs = [found]
    if len(found.triples) == 2 and not any(side for side, _ in mapping.parts):
        pairs += further_pairs(tree, usual, found)
    if len(pairs) == 1:
        if wanted is not None:
            raise ValueError(
                f"`pair` must be left out where there is one pair of legs; got {wanted!r}."
            )
        return pairs, Choice(("",), 0, 1.0, "")
    ends = whole_legs(tree, found, mapping)
    forward, _ = _forward(tree, found, ends, mapping, skin_centres)
    return pairs, choose(tree, pairs, forward, wanted)


def _listed(
    tree: Tree, names: Sequence[str], pairs: Sequence[Found], choice: Choice, legs: Legs
) -> tuple[Pair, ...]:
    """The pairs as they are told, from the front."""

    def ahead(pair: Found) -> float:
        hips = [triple[0] for triple in pair.triples.values()]
        return float(tree.points[hips].mean(axis=0) @ legs.forward) * legs.metres

    here = ahead(pairs[choice.taken])
    told = [
        Pair(
            name,
            tuple(names[triple[0]] for triple in pair.triples.values()),
            round(ahead(pair) - here, 6),
        )
        for name, pair in zip(choice.names, pairs, strict=True)
    ]
    return tuple(sorted(told, key=lambda pair: -pair.ahead))


def _check_parents(parents: ArrayLike, count: int) -> Ints:
    array = np.asarray(parents)
    good = (
        array.shape == (count,)
        and array.dtype.kind in "iu"
        and ((array >= -1) & (array < count)).all()
    )
    if not good:
        raise ValueError(
            f"`parents` must be {count} places of joints, −1 for a root; "
            f"got {_check.short(array.tolist())}."
        )
    above = array
    for _ in range(count.bit_length()):  # each time twice as far up
        above = np.where(above < 0, -1, above[above])
    if (above >= 0).any():
        raise ValueError(
            f"`parents` must lead up to a root; got a cycle at joint {np.argmax(above >= 0)}."
        )
    return array.astype(np.int64)


def _from_mapping(tree: Tree, mapping: Corrections) -> Found | None:
    """Legs that the user has named in full."""
    triples = {
        side: np.array([parts[part] for part in CHAINS[0]])
        for side in SIDE_WORDS
        if set(CHAINS[0]) <= (parts := mapping.of(side)).keys()
    }
    if not triples or any(side not in triples for side, _ in mapping.parts if side):
        return None
    up = mapping.up
    if up is None:
        legs = np.sum(
            [tree.points[hip] - tree.points[ankle] for hip, _, ankle in triples.values()], axis=0
        )
        up = max(AXES.values(), key=lambda axis: axis @ legs)
    return Found(triples, up, 1.0, 1.0)


def _legs_from(
    tree: Tree,
    found: Found,
    mapping: Corrections,
    usual: Bools,
    skin_centres: Floats | None,
    choice: Choice,
    others: Sequence[Found],
) -> Legs:
    ends = whole_legs(tree, found, mapping)
    found.placed = standing(tree, found, ends, usual)
    forward, why_forward = _forward(tree, found, ends, mapping, skin_centres)
    left = np.cross(found.up, forward)
    unsided = not set(ends) <= set(SIDE_WORDS)
    if unsided:
        ends = _with_sides(tree, ends, left)
    pelvis = mapping.parts.get(
        (None, "pelvis"), _pelvis(tree, [joints["hip"] for joints in ends.values()])
    )
    metres, why_metres = _metres(_hip_height(tree, ends, found.up), mapping)
    sides = why_forward if unsided and len(ends) > 1 else ""
    doubts = _doubts(tree, found, usual, choice, others, sides)
    trust = float(np.prod([share for share, _ in doubts]))
    legs = {side: _leg(tree, side, ends[side], found, mapping, trust) for side in sorted(ends)}
    animal = why_animal(tree, ends, found.up, forward, len(choice.names))
    because = {
        "legs": "; ".join([_why_legs(tree, legs, found.placed), *(why for _, why in doubts)]),
        "up": _why_up(mapping, len(legs)),
        "forward": why_forward,
        "metres": why_metres,
        "animal": animal,
        "pairs": _why_pairs(choice),
    }
    return Legs(
        legs,
        pelvis,
        _helpers(tree, ends, pelvis),
        found.up,
        forward,
        left,
        metres,
        min(leg.certainty[part] for leg in legs.values() for part in CHAINS[0]),
        {key: why for key, why in because.items() if why},
        bool(animal),
        pair=choice.names[choice.taken],
    )


def _doubts(
    tree: Tree,
    found: Found,
    usual: Bools,
    choice: Choice,
    pairs: Sequence[Found],
    why_sides: str,
) -> list[tuple[float, str]]:
    """Reasons against the legs as a whole: the share of certainty that is left, and why."""
    doubts = []
    share = mirrored_share(tree, found, usual)
    if share < 0.7:
        doubts.append((max(share / 0.7, 0.3), "the rest of the body does not mirror with them"))
    taken = [i for pair in pairs for triple in pair.triples.values() for i in triple.tolist()]
    if (more := like_limbs(tree, found, taken)) >= MANY_LIMBS:
        doubts.append((0.3, f"it has {more} more limbs as long as these"))
    if len(choice.names) > 1 and choice.certainty < NOT_IN_DOUBT:
        doubts.append((choice.certainty, choice.why))
    if why_sides in SIDES_TOLD:
        doubts.append(SIDES_TOLD[why_sides])
    return doubts


def _why_pairs(choice: Choice) -> str:
    if len(choice.names) < 2:
        return ""
    return (
        f"there are {len(choice.names)} pairs of legs ({', '.join(sorted(choice.names))}); "
        f"{choice.names[choice.taken]} is taken: {choice.why}"
    )


def _why_up(mapping: Corrections, count: int) -> str:
    if mapping.up is not None:
        return "you said so"
    return f"{'the legs hang' if count > 1 else 'the leg hangs'} down along it"


def _helpers(tree: Tree, ends: dict[str, Joints], pelvis: int | None) -> tuple[int, ...]:
    used = {i for joints in ends.values() for i in joints.values()} | {pelvis}
    return tuple(sorted({i for joints in ends.values() for i in tree.below(joints["hip"])} - used))


def _hip_height(tree: Tree, ends: dict[str, Joints], up: Floats) -> float:
    """The height of the hips above the legs' lowest joint."""
    floor = min(tree.points[i] @ up for joints in ends.values() for i in joints.values())
    return float(np.mean([tree.points[joints["hip"]] @ up for joints in ends.values()]) - floor)


def _forward(
    tree: Tree,
    found: Found,
    ends: dict[str, Joints],
    mapping: Corrections,
    skin_centres: Floats | None,
) -> tuple[Floats, str]:
    """The direction in which the legs face, and the reason for it."""
    up = found.up
    across = None
    if len(ends) == 2:
        one, two = ends.values()
        across = np.mean(
            [tree.points[one[part]] - tree.points[two[part]] for part in ("hip", "knee", "ankle")],
            axis=0,
        )
        across = across - (across @ up) * up
        across = _snap_to_axis(across / max(np.linalg.norm(across), 1e-300))
    if mapping.forward is not None:
        level = mapping.forward - (mapping.forward @ up) * up
        if np.linalg.norm(level) < 0.5:
            raise ValueError(
                "`mapping` must hold a forward axis square to up; got the same axis for both."
            )
        return level / np.linalg.norm(level), "you said so"
    hint, why = _forward_hint(tree, ends, up, skin_centres)
    if hint is None and across is not None and set(ends) == set(SIDE_WORDS):
        hint, why = np.cross(across, up), "it has the left leg on its left"
    if hint is None:
        hint, why = AXES["-y"] if abs(up[2]) > 0.5 else AXES["+z"], "nothing says otherwise"
    if across is None:
        hint = hint - (hint @ up) * up
        return _snap_to_axis(hint / np.linalg.norm(hint)), why
    ahead = np.cross(across, up)
    return ahead * (1.0 if ahead @ hint >= 0 else -1.0) + 0.0, why


def _forward_hint(
    tree: Tree, ends: dict[str, Joints], up: Floats, skin_centres: Floats | None
) -> tuple[Floats | None, str]:
    """The direction in which the feet point: by their joints, by their skin, by the knees."""
    size = np.mean(
        [np.linalg.norm(tree.points[j["hip"]] - tree.points[j["ankle"]]) for j in ends.values()]
    )

    def together(ways: Sequence[Floats] | Floats) -> Floats | None:
        way = np.sum(ways, axis=0)
        level = way - (way @ up) * up
        return level if np.linalg.norm(level) > 0.03 * size * len(ends) else None

    last = [joints.get("toe", joints.get("ball", -1)) for joints in ends.values()]
    feet = [joints.get("foot", joints["ankle"]) for joints in ends.values()]
    if min(last) >= 0:
        way = together(tree.points[last] - tree.points[feet])
        if way is not None:
            return way, "the feet point along it"
    if skin_centres is not None:
        reach = skin_centres[feet] - tree.points[feet]
        way = together(reach) if np.isfinite(reach).all() else None
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


def _snap_to_axis(direction: Floats, within_deg: float = 15.0) -> Floats:
    """A file's own axis, if the direction is near one."""
    nearest = max(AXES.values(), key=lambda axis: axis @ direction)
    return nearest if nearest @ direction > np.cos(np.radians(within_deg)) else direction


def _with_sides(tree: Tree, ends: dict[str, Joints], left: Floats) -> dict[str, Joints]:
    """Legs without side names, by where they lie."""
    if len(ends) == 1:
        (joints,) = ends.values()
        place = tree.points[joints["hip"]] @ left
        root = tree.points[_root_of(tree, joints["hip"])] @ left
        return {"R" if place < root else "L": joints}
    one, two = sorted(ends.values(), key=lambda joints: tree.points[joints["hip"]] @ left)
    return {"L": two, "R": one}


def _root_of(tree: Tree, place: int) -> int:
    return [place, *tree.above(place)][-1]


def _pelvis(tree: Tree, hips: Sequence[int]) -> int | None:
    """The nearest joint above both hips; above a single one, the nearest called a pelvis."""
    if len(hips) == 1:
        return next(
            (i for i in tree.above(hips[0]) if "pelvis" in tree.readings[i].parts),
            next(iter(tree.above(hips[0])), None),
        )
    over = set(tree.above(hips[1]))
    return next((i for i in tree.above(hips[0]) if i in over), None)


def _metres(height: float, mapping: Corrections) -> tuple[float, str]:
    if mapping.metres is not None:
        return mapping.metres, "you said so"
    if 0.1 <= height <= 5.0:  # what glTF says, wherever it can be
        return 1.0, f"the hips are {height:.3g} units above the floor"
    unit = min(UNITS.values(), key=lambda metres: abs(np.log(max(height, 1e-300) * metres / 0.85)))
    return unit, f"the hips are {height:.4g} units above the floor, a person's are about 0.85 m"


def _leg(
    tree: Tree, side: str, joints: Joints, found: Found, mapping: Corrections, trust: float
) -> Leg:
    certainty: dict[str, float] = {}
    why: dict[str, str] = {}
    for part, place in joints.items():
        mapped = mapping.parts.get((side, part)) == place
        says = _name_fit(tree, joints, part)
        sure = trust * float(combined_certainty(says, found.placed))
        certainty[part] = 1.0 if mapped else round(sure, 2)
        why[part] = _why_joint(says, found.placed, mapped)
    return Leg(side, joints, certainty, why)


def _name_fit(tree: Tree, joints: Joints, part: str) -> float:
    """The fit of a joint's name to its part; names of lower joints vary in a leg of three bones."""
    words = (
        {"ankle": ("knee", "ankle"), "foot": ("ankle", "ball")}.get(part, (part,))
        if "foot" in joints
        else (part,)
    )
    return max(tree.name_fit(joints[part], word) for word in words)


def _why_joint(says: float, placed: float, mapped: bool) -> str:
    if mapped:
        return "you said so"
    place = "lies as one" if placed > 0.5 else "lies only roughly as one"
    return (
        f"is called like one and {place}"
        if says > 0.4
        else (
            f"{place}; its name says nothing of it"
            if says > -0.2
            else f"{place}, though its name says something else"
        )
    )


def _why_legs(tree: Tree, legs: dict[str, Leg], placed: float) -> str:
    count = len(legs)
    named = np.mean(
        [_name_fit(tree, leg.joints, part) for leg in legs.values() for part in leg.chain]
    )
    chains, they = (
        ("Two chains that mirror each other", "they reach")
        if count == 2
        else ("One chain", "it reaches")
    )
    names = (
        "names say so"
        if named > 0.6
        else "names say little"
        if named > -0.1
        else "names say something else"
    )
    roughly = "" if placed > 0.6 else " only roughly"
    return f"{chains}; {names}, and {they} the floor{roughly} as legs do"


def _why_unlikely(names: Sequence[str], legs: Legs) -> str:
    hips = " and ".join(repr(names[leg.joints["hip"]]) for leg in legs.legs.values())
    why = legs.because["legs"]
    return (
        f"what comes nearest, below {hips}, is only {100 * legs.certainty:.0f} % certain: "
        f"{why[:1].lower()}{why[1:]}"
    )


def _why_none(tree: Tree, usual: Bools) -> str:
    count = int(usual.sum())
    if count < 3:
        return f"a leg needs three joints; there {'is' if count == 1 else 'are'} {count or 'none'}"
    elsewhere = sum(
        reading.elsewhere for reading, use in zip(tree.readings, usual, strict=True) if use
    )
    more = f"; {elsewhere} are named as something else" if elsewhere else ""
    return f"no three of its {count} joints lie and are named like hip, knee and ankle{more}"
