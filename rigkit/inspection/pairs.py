"""Several pairs of legs: which is the hind pair, and what each is called."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from rigkit._types import Floats, Ints
from rigkit.inspection.names import ARM, FRONT, HIND
from rigkit.inspection.tree import Tree
from rigkit.inspection.whole import Found

HEAD = frozenset({"head", "neck", "skull", "jaw", "muzzle", "snout"})
NOT_TOLD = 0.4  # how sure a pair taken at random of several can be


@dataclass(frozen=True)
class Pair:
    """A pair of legs among several.

    Attributes
    ----------
    name : str
        "hind", "front", or "pair 1" and so on from the front where it cannot be told.
    hips : tuple of str
        The names of the joints taken for its hips.
    ahead : float
        How far it stands ahead of the pair that was taken, metres.
    """

    name: str
    hips: tuple[str, ...]
    ahead: float


@dataclass(frozen=True)
class Choice:
    """The pair of legs taken of several.

    Attributes
    ----------
    names : tuple of str
        Of all pairs.
    taken : int
        The place of the pair taken.
    certainty : float
    why : str
    """

    names: tuple[str, ...]
    taken: int
    certainty: float
    why: str


def choose(tree: Tree, pairs: Sequence[Found], along: Floats, wanted: str | None) -> Choice:
    """Return the pair asked for; by default the hind pair, if it can be told.

    Parameters
    ----------
    tree : Tree
    pairs : sequence of Found
    along : ndarray, shape (3,)
        The direction ahead.
    wanted : str or None

    Returns
    -------
    Choice

    Raises
    ------
    ValueError
        For a pair that is not there.
    """
    hind, certainty, why = _hind(tree, pairs)
    if hind is not None and len(pairs) == 2:
        names = tuple("hind" if i == hind else "front" for i in range(2))
    else:
        order = np.argsort([-(_middle(tree, pair) @ along) for pair in pairs], kind="stable")
        names = tuple(f"pair {order.tolist().index(i) + 1}" for i in range(len(pairs)))
    if wanted is None:
        return Choice(names, hind or 0, certainty, why)
    if wanted not in names:
        raise ValueError(
            f"`pair` must be one of those there are ({', '.join(map(repr, sorted(names)))}); "
            f"got {wanted!r}."
        )
    return Choice(names, names.index(wanted), 1.0, "you asked for it")


def _hind(tree: Tree, pairs: Sequence[Found]) -> tuple[int | None, float, str]:
    """The hind pair's place, how certain it is, and the reason."""
    ways: tuple[tuple[Callable[[Tree, Found], float], float, float, str], ...] = (
        (_named_front, 0.5, 1.0, "names say so"),
        (_from_pelvis, 0.5, 0.97, "it hangs from the pelvis or beside the tail"),
        (_from_head, 0.3, 0.9, "it is farther from the head"),
    )
    for measure, margin, certainty, why in ways:
        first, second = sorted(values := [measure(tree, pair) for pair in pairs])[:2]
        if np.isfinite(first) and second - first > margin:
            return values.index(first), certainty, why
    stems = [_stem(tree, pair) for pair in pairs]
    for i, stem in enumerate(stems):
        if all(tree.hangs(other, stem) for j, other in enumerate(stems) if j != i):
            return i, 0.75, "the body between the pairs hangs from where it does"
    return None, NOT_TOLD, "which of them is the hind pair cannot be told"


def _named_front(tree: Tree, pair: Found) -> float:
    """1 for a pair named as fore legs or arms, −1 for one named as hind legs, else 0."""
    words: set[str] = set()
    for triple in pair.triples.values():
        for joint in _branch(tree, pair, triple):
            words |= tree.readings[joint].words
    return float(bool(words & (FRONT | ARM))) - float(bool(words & HIND))


def _from_pelvis(tree: Tree, pair: Found) -> float:
    """The number of joints from where a pair's legs part to the nearest pelvis or tail."""
    found = [
        i
        for i, reading in enumerate(tree.readings)
        if reading.parts.get("pelvis", 0.0) > 0.8 or "tail" in reading.words
    ]
    here = [stem := _stem(tree, pair), *tree.above(stem)]
    steps = [np.inf]
    for place in found:
        there = [place, *tree.above(place)]
        meet = next((i for i in here if i in there), None)
        if meet is not None:
            steps.append(here.index(meet) + there.index(meet))
    return min(steps)


def _from_head(tree: Tree, pair: Found) -> float:
    """The distance from the head in lengths of the leg, negative: less is farther behind."""
    heads = [i for i, reading in enumerate(tree.readings) if reading.words & HEAD]
    if not heads:
        return np.inf
    away = np.linalg.norm(tree.points[heads].mean(axis=0) - _middle(tree, pair))
    return float(-away / max(leg_length(tree, pair), 1e-300))


def _middle(tree: Tree, pair: Found) -> Floats:
    """The middle between the hips."""
    return tree.points[[triple[0] for triple in pair.triples.values()]].mean(axis=0)


def leg_length(tree: Tree, pair: Found) -> float:
    """Return the mean length of a pair's two bones."""
    points = tree.points[np.stack(list(pair.triples.values()))]
    return float(np.linalg.norm(np.diff(points, axis=1), axis=-1).sum(axis=-1).mean())


def _stem(tree: Tree, pair: Found) -> int:
    """The joint at which a pair's legs part; the first hip where they hang from nothing shared."""
    one, two = (int(triple[0]) for triple in pair.triples.values())
    over = set(tree.above(two))
    return next((i for i in tree.above(one) if i in over), one)


def _branch(tree: Tree, pair: Found, triple: Ints) -> list[int]:
    """The joints of a leg, and those above it that only it hangs from."""
    hip = int(triple[0])
    above = tree.above(hip)
    stem = _stem(tree, pair)
    return [*triple.tolist(), *(above[: above.index(stem)] if stem in above else [])]
