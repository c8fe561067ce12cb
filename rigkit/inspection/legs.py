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
from rigkit.inspection.evidence import like_limbs, mirrored_share, trunk_rise, why_animal
from rigkit.inspection.facing import SIDES_TOLD, forward, with_sides
from rigkit.inspection.humanoid import SAYS_SO, humanoid_parts
from rigkit.inspection.names import ARM, SHOULDER, SIDE_WORDS, NameReading, read_names
from rigkit.inspection.pairs import Choice, Pair, choose
from rigkit.inspection.reasons import (
    YOU_SAID_SO,
    Doubt,
    why_joint,
    why_legs,
    why_none,
    why_pairs,
    why_unlikely,
    why_up,
)
from rigkit.inspection.search import further_pairs, search
from rigkit.inspection.tree import AXES, CHAINS, Tree, combined_certainty
from rigkit.inspection.whole import Found, Joints, standing, whole_legs

LEAST_CERTAIN, LEAST_OF_SEVERAL = 0.18, 0.1  # below this nothing is called a leg
MANY_LIMBS = 4  # further limbs as long as the legs that make them doubtful
NAMED_LEGS = 0.6  # names that say so outweigh what the rest of the body says
UPRIGHT = 0.9  # a trunk that rises as steeply, within 26° of upright, is no four-legged animal's
MIRRORED = 0.6  # of a body's joints at least, one arm may be posed
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
    humanoid: Mapping[str, int] | None = None,
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
        Corrections: "pelvis", "left.hip" and so on to a joint's name, for a foot, ball or toe that
        is none to ""; "up" and "forward" to an axis such as "+z"; "metres" to how many metres a
        unit is.
    usual : array_like of bool, shape (n,), optional
        The joints that may be parts of a leg: those that move a skin. All by default.
    skin_centres : array_like, shape (n, 3), optional
        The middle of the skin that each joint carries, NaN for none: a foot reaches forward.
    pair : str, optional
        Which of several pairs of legs, such as "hind"; `Legs.pairs` has their names. By default
        the hind pair.
    humanoid : mapping of str to int, optional
        The joints that a file itself says are a person's bones, such as "leftUpperLeg".

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
    parts, problem = humanoid_parts(tree, humanoid or {})
    if parts:
        corrections = corrections.joined_to(parts, SAYS_SO)
    for (side, part), place in corrections.parts.items():
        tree.readings[place] = NameReading(side, {part: 1.0}, stem=part)
        may[place] = True
    found = _from_mapping(tree, corrections) or search(tree, may, corrections)
    if found is None:
        return Legs(because={"legs": why_none(tree, may)} | _unused(problem))
    pairs, choice = _pairs(tree, found, corrections, may, centres, pair)
    if pair is not None:  # that a fore leg is called an arm does not speak against it
        for place, reading in enumerate(tree.readings):
            if reading.words & (ARM - SHOULDER):
                tree.readings[place] = replace(reading, elsewhere=False)
    legs = _legs_from(tree, pairs[choice.taken], corrections, may, centres, choice, pairs)
    least = LEAST_OF_SEVERAL if pairs[1:] else LEAST_CERTAIN
    if legs.certainty < least and pair is None and not corrections.parts:
        hips = [names[leg.joints["hip"]] for leg in legs.legs.values()]
        why = why_unlikely(hips, legs.certainty, legs.because["legs"])
        return Legs(because={"legs": why} | _unused(problem))
    listed = _listed(tree, names, pairs, choice, legs) if pairs[1:] else ()
    return replace(legs, pairs=listed, because=legs.because | _unused(problem))


def _unused(problem: str) -> dict[str, str]:
    return {"humanoid": f"the file's humanoid map is not used: {problem}"} if problem else {}


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
        further = further_pairs(tree, usual, found)
        pairs += [pair for pair in further if not _arms(tree, pair, found)]
    if len(pairs) == 1:
        if wanted is not None:
            raise ValueError(
                f"`pair` must be left out where there is one pair of legs; got {wanted!r}."
            )
        return pairs, Choice(("",), 0, 1.0, "")
    ends = whole_legs(tree, found, mapping)
    along, _ = forward(tree, found.up, ends, mapping.forward, skin_centres)
    return pairs, choose(tree, pairs, along, wanted)


def _arms(tree: Tree, pair: Found, other: Found) -> bool:
    """True for limbs called arms under an upright trunk: long arms, whatever they reach."""
    joints = [i for triple in pair.triples.values() for i in triple.tolist()]
    hips = [[triple[0] for triple in each.triples.values()] for each in (pair, other)]
    rises = [trunk_rise(tree, both, pair.up) or 0.0 for both in hips]
    return min(rises) > UPRIGHT and any(tree.readings[i].words & ARM for i in joints)


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
    facing, why_facing = forward(
        tree, found.up, ends, mapping.forward, skin_centres, _ahead(tree, choice, others)
    )
    left = np.cross(found.up, facing)
    unsided = not set(ends) <= set(SIDE_WORDS)
    if unsided:
        ends = with_sides(tree, ends, left)
    pelvis = mapping.parts.get(
        (None, "pelvis"), _pelvis(tree, [joints["hip"] for joints in ends.values()])
    )
    sides = why_facing if unsided and len(ends) > 1 else ""
    doubts = _doubts(tree, found, usual, choice, others, sides)
    trust = float(np.prod([share for share, _ in doubts]))
    legs = {side: _leg(tree, side, ends[side], found, mapping, trust) for side in sorted(ends)}
    animal = why_animal(tree, ends, found.up, facing, len(choice.names))
    metres, why_metres = _metres(_hip_height(tree, ends, found.up), mapping)
    because = _because(tree, legs, found.placed, doubts) | {
        "up": why_up(mapping.up is not None, len(legs)),
        "forward": why_facing,
        "metres": why_metres,
    }
    because |= {"animal": animal} if animal else {}
    because |= {"pairs": why_pairs(choice)} if others[1:] else {}
    helpers, pair = _helpers(tree, ends, pelvis), choice.names[choice.taken]
    sure = min(leg.certainty[part] for leg in legs.values() for part in CHAINS[0])
    axes = (found.up, facing, left)
    return Legs(legs, pelvis, helpers, *axes, metres, sure, because, bool(animal), pair=pair)


def _because(
    tree: Tree, legs: dict[str, Leg], placed: float, doubts: Sequence[Doubt]
) -> dict[str, str]:
    """The reason for the legs as a whole: one who says all of it, else what was measured."""
    said = {leg.why[part] for leg in legs.values() for part in CHAINS[0]}
    if len(said) == 1 and said <= {SAYS_SO, YOU_SAID_SO}:
        return {"legs": said.pop()}
    named = [_name_fit(tree, leg.joints, part) for leg in legs.values() for part in leg.chain]
    return {"legs": why_legs(len(legs), float(np.mean(named)), placed, doubts)}


def _ahead(tree: Tree, choice: Choice, pairs: Sequence[Found]) -> Floats | None:
    """From the hind legs to the front legs, where it is known which they are."""
    if "hind" not in choice.names:
        return None
    front, hind = (
        np.mean([tree.points[triple[0]] for triple in pairs[i].triples.values()], axis=0)
        for i in (choice.names.index("front"), choice.names.index("hind"))
    )
    return front - hind


def _doubts(
    tree: Tree,
    found: Found,
    usual: Bools,
    choice: Choice,
    pairs: Sequence[Found],
    why_sides: str,
) -> list[Doubt]:
    """Reasons against the legs as a whole: the share of certainty that is left, and why."""
    doubts = []
    by_name = found.named > NAMED_LEGS
    share = mirrored_share(tree, found, usual) / MIRRORED
    if share < 1:
        left = max(share, 0.8 if by_name else 0.3)
        doubts.append((left, "the rest of the body does not mirror with them"))
    taken = [i for pair in pairs for triple in pair.triples.values() for i in triple.tolist()]
    more = 0 if by_name else like_limbs(tree, found, taken)
    if more >= MANY_LIMBS:
        doubts.append((0.2, f"it has {more} more limbs as long as these"))
    if len(choice.names) > 1 and choice.certainty < NOT_IN_DOUBT:
        doubts.append((choice.certainty, choice.why))
    if why_sides in SIDES_TOLD:
        doubts.append(SIDES_TOLD[why_sides])
    return doubts


def _helpers(tree: Tree, ends: dict[str, Joints], pelvis: int | None) -> tuple[int, ...]:
    used = {i for joints in ends.values() for i in joints.values()} | {pelvis}
    return tuple(sorted({i for joints in ends.values() for i in tree.below(joints["hip"])} - used))


def _hip_height(tree: Tree, ends: dict[str, Joints], up: Floats) -> float:
    """The height of the hips above the legs' lowest joint."""
    floor = min(tree.points[i] @ up for joints in ends.values() for i in joints.values())
    return float(np.mean([tree.points[joints["hip"]] @ up for joints in ends.values()]) - floor)


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
        return mapping.metres, YOU_SAID_SO
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
        who = mapping.said.get((side, part), YOU_SAID_SO) if mapped else ""
        why[part] = who or why_joint(says, found.placed)
    return Leg(side, joints, certainty, why)


def _name_fit(tree: Tree, joints: Joints, part: str) -> float:
    """The fit of a joint's name to its part; names of lower joints vary in a leg of three bones."""
    words = (
        {"ankle": ("knee", "ankle"), "foot": ("ankle", "ball")}.get(part, (part,))
        if "foot" in joints
        else (part,)
    )
    return max(tree.name_fit(joints[part], word) for word in words)
