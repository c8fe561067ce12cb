"""The search for the legs: every three joints that could be hip, knee and ankle are weighed.

By what their names say, and by how like a leg they lie, for each axis that could be up. The two
that weigh most and mirror each other are the legs.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass

import numpy as np

from rigkit._types import Bools, Floats, Ints
from rigkit.inspection.corrections import Corrections
from rigkit.inspection.evidence import mirrored_share
from rigkit.inspection.names import ARM
from rigkit.inspection.pairs import leg_length
from rigkit.inspection.tree import (
    AXES,
    Tree,
    apart,
    combined_certainty,
    proportion_score,
    shape_score,
    stance_score,
)
from rigkit.inspection.whole import Found, standing, whole_legs

Needed = Collection[tuple[int, int]]  # columns of triples, and the joints that must be there

LEAST_NAMED = -0.7  # three names that together say less than this name something else
LEAST_CERTAIN = 0.25  # below this nothing is called a leg
OTHER = {"L": "R", "R": "L"}
STANDARD_UP = 0.05  # what glTF's own up axis, +Y, is ahead of +Z by
UNUSUAL_UP = 0.6  # what all other axes are behind +Z by
LEAST_PLACED = 0.3  # a further pair of legs must stand at least so like legs
SAME_FLOOR = 0.25  # of the leg: arms that end higher than legs by more are not stood on
MAX_PAIRS = 8
LEVELS, MAX_TRIPLES = (8, 4, 2), 200_000  # how far apart in the tree hip, knee and ankle may be
MAX_CANDIDATES = 2000  # triples that are looked at closely


@dataclass
class Triples:
    """Candidates for hip, knee and ankle, (m, 3), with the scores of names and places, 0 to 1."""

    joints: Ints
    named: Floats
    placed: Floats

    def picked(self, chosen: Ints) -> Triples:
        """Return some of them."""
        return Triples(self.joints[chosen], self.named[chosen], self.placed[chosen])


def search(tree: Tree, usual: Bools, mapping: Corrections) -> Found | None:
    """Return the legs among joints that may be parts of one; None where nothing is like a leg."""
    joints = _triples(tree, usual)
    if not len(joints):
        return None
    named, clash = _named(tree, joints)
    likely = ~clash & (named > LEAST_NAMED)
    joints, named = joints[likely], named[likely]
    best = np.argsort(-(named + proportion_score(tree, joints)), kind="stable")[:MAX_CANDIDATES]
    joints, named = joints[best], named[best]
    shaped = shape_score(tree, joints, usual)
    ups = (
        [mapping.up]
        if mapping.up is not None
        else [AXES[sign + letter] for letter in "yzx" for sign in "+-"]
    )
    needed = mapping.needed()
    answers: list[tuple[float, Found]] = []
    for up in ups if len(joints) else ():
        placed = shaped * stance_score(tree, joints, up, usual)
        triples = _best(tree, Triples(joints, named, placed), needed)
        ahead = 0.0 if mapping.up is not None else _usual_up(up)
        for score, found in (_pair(tree, triples, up, needed), _alone(tree, triples, up, needed)):
            if found:
                found.placed = standing(tree, found, whole_legs(tree, found, mapping), usual)
                score += ahead + found.placed - 0.4 * (1 - mirrored_share(tree, found, usual))
                answers.append((score, found))
    if not answers:
        return None
    found = max(answers, key=lambda answer: answer[0])[1]
    return (
        found if needed or combined_certainty(found.named, found.placed) >= LEAST_CERTAIN else None
    )


def further_pairs(tree: Tree, usual: Bools, found: Found) -> list[Found]:
    """Return other pairs of legs that stand on the same floor, beside a pair that was found.

    Arms that reach it are legs too, whatever they are called.
    """
    joints = _triples(tree, usual)
    named, clash = _named(tree, joints)
    other = np.array(
        [reading.elsewhere and not reading.words & ARM for reading in tree.readings], bool
    )
    free = ~clash & ~other[joints].any(axis=-1) & _near_the_floor(tree, joints, found)
    joints, named = joints[free], named[free]
    pairs = [found]
    while len(joints) and len(pairs) < MAX_PAIRS:
        taken = np.concatenate([triple for pair in pairs for triple in pair.triples.values()])
        shared = (joints[:, :, None] == taken).any(axis=(1, 2))
        hips = taken[::3]
        hangs = tree.hangs(joints[:, :1], hips) | tree.hangs(hips, joints[:, :1])
        joints, named = (values[~(shared | hangs.any(axis=1))] for values in (joints, named))
        best = np.argsort(-proportion_score(tree, joints), kind="stable")[:MAX_CANDIDATES]
        joints, named = joints[best], named[best]
        placed = shape_score(tree, joints, usual) * stance_score(tree, joints, found.up, usual)
        likely = placed > LEAST_PLACED
        joints, named, placed = joints[likely], named[likely], placed[likely]
        if not len(joints):
            break
        triples = _best(tree, Triples(joints, np.zeros_like(placed), placed), ())
        _, further = _pair(tree, triples, found.up, ())
        if further is None or not _beside_each_other(tree, further, pairs):
            break
        pairs.append(further)
    return pairs[1:]


def _near_the_floor(tree: Tree, joints: Ints, found: Found) -> Bools:
    """True for triples that end about as low as a pair of legs does, and are about as long."""
    length = leg_length(tree, found)
    lowest = np.array([_lowest(tree, i, found.up) for i in range(len(tree.points))])
    floor = lowest[[triple[2] for triple in found.triples.values()]].mean()
    high = np.abs(lowest[joints[:, 2]] - floor)
    own = np.linalg.norm(np.diff(tree.points[joints], axis=1), axis=-1).sum(axis=-1)
    return (high < SAME_FLOOR * length) & (own > 0.4 * length) & (own < 2.5 * length)


def _lowest(tree: Tree, end: int, up: Floats) -> float:
    """The height of the lowest joint of a foot."""
    return float((tree.points[[end, *tree.below(end, 4)]] @ up).min())


def _beside_each_other(tree: Tree, further: Found, pairs: list[Found]) -> bool:
    """True if a pair has the same midplane as the first, and stands apart from all along it."""
    across, middles = [], []
    for pair in (further, *pairs):
        one, two = (tree.points[triple] for triple in pair.triples.values())
        way = apart(one, two)
        across.append(way / max(float(np.linalg.norm(way)), 1e-300))
        middles.append((one + two).mean(axis=0) / 2)
    length = leg_length(tree, pairs[0])
    aside = max(abs((middle - middles[0]) @ across[1]) for middle in middles[1:])
    along = min(float(np.linalg.norm(middle - middles[0])) for middle in middles[1:])
    return bool(abs(across[0] @ across[1]) > 0.9 and aside < 0.3 * length and along > 0.22 * length)


def _usual_up(up: Floats) -> float:
    """Return what an axis is ahead by: glTF's own is +Y, some files stand along +Z."""
    return STANDARD_UP if up is AXES["+y"] else 0.0 if up is AXES["+z"] else -UNUSUAL_UP


def _triples(tree: Tree, usual: Bools) -> Ints:
    """Every hip, knee and ankle that could be a leg, as an array of shape (m, 3)."""
    able = np.flatnonzero(usual).tolist()
    feet = {i for i in able if tree.name_fit(i, "ankle") > 0.5}
    loose = np.array([i for i in able if i in feet and tree.parents[i] not in feet], np.int64)
    for levels in LEVELS:
        found: list[tuple[int, int, int]] = []
        for knee in able:
            hips = [i for i in tree.above(knee, levels) if usual[i]]
            below = [i for i in tree.below(knee, levels) if usual[i]]
            if not hips:
                continue
            if len(loose) and not feet.intersection(below):  # a foot may hang elsewhere
                below += loose[(loose != knee) & ~tree.hangs(knee, loose)].tolist()
            below += _beside(tree, knee, levels, usual, below)
            found += [(hip, knee, ankle) for hip in hips for ankle in below]
            if len(found) > MAX_TRIPLES:
                break
        if len(found) <= MAX_TRIPLES:
            break
    return np.array(found[:MAX_TRIPLES], dtype=np.int64).reshape(-1, 3)


def _beside(tree: Tree, knee: int, levels: int, usual: Bools, known: Collection[int]) -> list[int]:
    """Joints that hang elsewhere and stand where a joint below a knee does: a foot and a tip."""
    beside = np.zeros(len(usual), bool)
    for end in tree.below(knee, levels):
        beside[tree.at_same_place(end)] = True
    beside[[*known, knee]] = False
    found = np.flatnonzero(beside & usual)
    apart = ~tree.hangs(found, knee) & ~tree.hangs(knee, found)
    return [int(i) for i in found[apart]]


def _named(tree: Tree, joints: Ints) -> tuple[Floats, Bools]:
    """The mean score of the three names, −1 to 1, and True where their sides contradict."""
    says = np.stack(
        [
            np.array([tree.name_fit(i, part) for i in range(len(tree.readings))])[joints[:, column]]
            for column, part in enumerate(("hip", "knee", "ankle"))
        ],
        axis=-1,
    )
    sides = _side_signs(tree)[joints]
    return says.mean(axis=-1), (sides.max(axis=-1) - sides.min(axis=-1)) == 2


def _side_signs(tree: Tree) -> Ints:
    """The sides that the joints' names say: 1 left, −1 right, 0 nothing; shape (n,)."""
    return np.array([(reading.side == "L") - (reading.side == "R") for reading in tree.readings])


def _score(tree: Tree, triples: Triples) -> Floats:
    """The rank of triples: by certainty, then by how much of the leg they span."""
    span = np.linalg.norm(
        tree.points[triples.joints[:, 0]] - tree.points[triples.joints[:, 2]], axis=-1
    )
    return 0.5 * triples.named + 0.5 * triples.placed + 0.15 * span / max(span.max(), 1e-300)


def _best(tree: Tree, triples: Triples, needed: Needed, each: int = 4, most: int = 80) -> Triples:
    """The best few for each hip, and of these the best; as many again with needed joints."""
    score = _score(tree, triples)
    has = np.zeros(len(score), dtype=bool)
    for column, place in needed:
        has |= triples.joints[:, column] == place
    kept: list[int] = []
    for group in (np.flatnonzero(has), np.flatnonzero(~has)):
        counts: dict[int, int] = {}
        for i in group[np.argsort(-score[group], kind="stable")].tolist():
            hip = int(triples.joints[i, 0])
            counts[hip] = counts.get(hip, 0) + 1
            if counts[hip] <= each and len(kept) < most * (1 + bool(len(needed))):
                kept.append(i)
    return triples.picked(np.array(kept, dtype=np.int64))


def _pair(tree: Tree, triples: Triples, up: Floats, needed: Needed) -> tuple[float, Found | None]:
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
    return total[i, j], Found(
        _by_side(tree, joints[i], joints[j]), up, float(named), float(placed * mirrored[i, j])
    )


def _apart(tree: Tree, joints: Ints) -> Bools:
    """True where two triples share no joint and do not hang from each other, shape (m, m)."""
    hangs = tree.hangs(joints[:, 0], joints[:, None, 0])
    shared = (joints[:, None, :, None] == joints[None, :, None, :]).any(axis=(-2, -1))
    return ~(shared | hangs | hangs.T)


def _mirrored(legs: Floats, up: Floats) -> Floats:
    """The mirror symmetry of legs, (m, 3, 3) to (m, m), 0 to 1.

    One: equal heights, side by side, not too far apart.
    """
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
    likely = (
        (whole[..., 0, 0] > 1e-3 * size[..., 0])
        & (width.min(axis=-1) >= -0.1)
        & (width[..., 0] > 0.01)
        & (width[..., 0] <= 1.5)
    )
    return np.where(likely, np.clip(1.1 - 2 * np.mean(rise + skew, axis=-1), 0.0, 1.0), 0.0)


def _partners(tree: Tree, joints: Ints) -> Floats:
    """The scores of names as pairs, −1 to 1; −∞ where both legs are of one side; shape (m, m)."""
    stems = {stem: i for i, stem in enumerate(sorted({reading.stem for reading in tree.readings}))}
    stem = np.array([stems[reading.stem] for reading in tree.readings])[joints]
    sides = _side_signs(tree)[joints]
    both = (sides != 0)[:, None] & (sides != 0)
    alike = np.mean((stem[:, None] == stem) * np.where(both, 1.0, 0.5) - 0.25, axis=-1)
    side = np.sign(sides.sum(axis=-1))
    return np.where((side[:, None] == side) & (side != 0), -np.inf, alike)


def _by_side(tree: Tree, one: Ints, two: Ints) -> dict[str, Ints]:
    """The two legs by the side their names say; without such names as "one" and "two"."""
    sides = [_side(tree, leg) for leg in (one, two)]
    if sides[0] is None and sides[1] is None:
        return {"one": one, "two": two}
    left_first = sides[0] == "L" or sides[1] == "R"
    return {"L": one, "R": two} if left_first else {"L": two, "R": one}


def _side(tree: Tree, leg: Ints) -> str | None:
    """The side that the first of a leg's names says."""
    return next((tree.readings[i].side for i in leg if tree.readings[i].side), None)


def _alone(tree: Tree, triples: Triples, up: Floats, needed: Needed) -> tuple[float, Found | None]:
    """A single leg, only if its names say so."""
    score = _score(tree, triples) - 0.3
    sides = {(reading.side, reading.stem) for reading in tree.readings}
    partner = np.array(
        [(OTHER.get(each.side or ""), each.stem) in sides for each in tree.readings], bool
    )
    sure = (triples.named > 0.55) & ~partner[triples.joints].all(axis=-1)
    if needed:
        sure = np.array([set(needed) <= set(enumerate(leg)) for leg in triples.joints.tolist()])
    if not sure.any():
        return -np.inf, None
    i = int(np.argmax(np.where(sure, score, -np.inf)))
    leg = triples.joints[i]
    return score[i], Found(
        {_side(tree, leg) or "one": leg}, up, float(triples.named[i]), float(triples.placed[i])
    )
