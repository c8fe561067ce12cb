"""Joints as a tree, what their names say, and how like a leg some of them lie."""

from dataclasses import dataclass

import numpy as np

from rigkit._types import ArrayLike, Bools, Floats, Ints
from rigkit.inspection.names import NameReading

CHAINS = (("hip", "knee", "ankle"), ("hip", "knee", "ankle", "foot"))
FOOT_PARTS = ("ball", "toe")
AXES = {
    sign + letter: way * axis
    for letter, axis in zip("xyz", np.eye(3), strict=True)
    for sign, way in (("+", 1.0), ("-", -1.0))
}
# How sure a perfect name, or a perfect place, makes by itself; our choice, tried on many skeletons.
NAME_SAYS, PLACE_SAYS = 0.8, 0.75
MAX_BETWEEN = 24  # joints on the way from one part of a leg to the next


@dataclass
class Tree:
    """Joints, their parents, where they are, what their names say."""

    parents: Ints
    points: Floats
    readings: list[NameReading]

    def __post_init__(self) -> None:
        self.children: list[list[int]] = [[] for _ in self.readings]
        for i, parent in enumerate(self.parents):
            if parent >= 0:
                self.children[parent].append(i)
        self._first, self._count = self._spans()
        self._same: dict[int, Ints] = {}
        self._span = float(np.ptp(self.points, axis=0).max()) if len(self.points) else 0.0

    def _spans(self) -> tuple[Ints, Ints]:
        """The place of each joint, listed from the roots down, and the size of its branch."""
        order: list[int] = []
        ahead = np.flatnonzero(self.parents < 0).tolist()
        while ahead:
            order.append(ahead.pop())
            ahead += self.children[order[-1]]
        first, count = np.empty(len(order), np.int64), np.ones(len(order), np.int64)
        first[order] = np.arange(len(order))
        for i in reversed(order):
            if self.parents[i] >= 0:
                count[self.parents[i]] += count[i]
        return first, count

    def hangs(self, lower: ArrayLike, upper: ArrayLike) -> Bools:
        """Return True where joints hang below others; places of both broadcast."""
        lower, upper = np.asarray(lower, np.int64), np.asarray(upper, np.int64)
        return (self._first[upper] < self._first[lower]) & (
            self._first[lower] < self._first[upper] + self._count[upper]
        )

    def above(self, place: int, levels: int = 10**9) -> list[int]:
        """Return the joints above, nearest first."""
        found: list[int] = []
        while len(found) < levels and (place := int(self.parents[place])) >= 0:
            found.append(place)
        return found

    def below(self, place: int, levels: int = 10**9) -> list[int]:
        """Return all joints below, nearer ones first."""
        found: list[int] = []
        level = self.children[place]
        while level and levels:
            found += level
            level, levels = [child for i in level for child in self.children[i]], levels - 1
        return found

    def between(self, upper: int, lower: int) -> list[int]:
        """Return the joints from `upper` down to `lower`, both left out; none if it is not near."""
        way = self.above(lower, MAX_BETWEEN)
        return way[: way.index(upper)][::-1] if upper in way else []

    def at_same_place(self, place: int) -> Ints:
        """Return the other joints that stand where a joint stands, to a thousandth of the whole."""
        if place not in self._same:
            away = _length(self.points - self.points[place])
            self._same[place] = np.flatnonzero(away <= 1e-3 * self._span)
        return self._same[place][self._same[place] != place]

    def name_fit(self, place: int, part: str) -> float:
        """Return the fit of a name to a part: 1 says so, −1 says something else, 0 nothing."""
        reading = self.readings[place]
        if reading.helps and part != "toe":
            return -0.8
        if part in reading.parts:
            return reading.parts[part]
        return -1.0 if reading.elsewhere else -0.6 if reading.parts else 0.0


def combined_certainty(named: ArrayLike, placed: ArrayLike) -> Floats:
    """Return how certain a name and a place make; a name for something else speaks against."""
    named, placed = np.asarray(named, np.float64), np.asarray(placed, np.float64)
    against = np.clip(1 + 1.5 * np.minimum(named, 0.0), 0.0, 1.0)
    return (1 - (1 - NAME_SAYS * np.maximum(named, 0.0)) * (1 - PLACE_SAYS * placed)) * against


def placement_score(tree: Tree, joints: Ints, up: Floats, usual: Bools) -> Floats:
    """Return the likeness of three joints' places to a leg, 0 to 1."""
    return shape_score(tree, joints, usual) * stance_score(tree, joints, up, usual)


def shape_score(tree: Tree, joints: Ints, usual: Bools) -> Floats:
    """Return the likeness of three joints' shape to a leg: in proportion, none off its bones."""
    span = max(np.ptp(tree.points[usual], axis=0).max(), 1e-300)
    upper, lower, _ = _bones(tree, joints)
    shaped = np.where(upper + lower > 1e-6 * span, proportion_score(tree, joints), 0.0)
    for i in np.flatnonzero(shaped):
        hip, knee, ankle = joints[i].tolist()
        astray = max(_deviation(tree, hip, knee, usual), _deviation(tree, knee, ankle, usual))
        shaped[i] *= np.sqrt(1 - _ramp(astray, 0.03, 0.12)) * (
            1.0 if knee in tree.above(ankle, MAX_BETWEEN) else 0.8
        )
    return shaped


def proportion_score(tree: Tree, joints: Ints) -> Floats:
    """Return the likeness of two bones to a leg's: alike in length, nearly straight."""
    upper, lower, whole = _bones(tree, joints)
    bones = np.maximum(upper + lower, 1e-300)
    alike = np.minimum(upper, lower) / np.maximum(np.maximum(upper, lower), 1e-300)
    even = 1 - 0.3 * np.abs(upper - lower) / bones  # of several knees the one nearest the middle
    return np.sqrt(_ramp(alike, 0.2, 0.6) * _ramp(whole / bones, 0.4, 0.85)) * even


def stance_score(tree: Tree, joints: Ints, up: Floats, usual: Bools) -> Floats:
    """Return the likeness of three joints' stance to a leg's: upright, and down to the floor."""
    upper, lower, whole = _bones(tree, joints)
    hip, ankle = (tree.points[joints[:, i]] @ up for i in (0, 2))
    floor = (tree.points[usual] @ up).min()
    with np.errstate(over="ignore"):  # bones without a length are no leg's, however high they are
        low = (ankle - floor) / np.maximum(upper + lower, 1e-300)
        down = (hip - ankle) / np.maximum(whole, 1e-300)
    upright = np.maximum(_ramp(down, 0.6, 0.92), 0.25 * _ramp(down, 0.12, 0.3))  # or sprawling
    return np.sqrt(upright * (1 - _ramp(low, 0.15, 0.6)))


def apart(one: Floats, two: Floats) -> Floats:
    """Return the way from one leg's joints to the other's, both (3, 3): from hip to hip.

    Knees and ankles count where the hips stand at one place; else a stride would turn it.
    """
    ways = one - two
    length = np.linalg.norm(np.diff(one, axis=0), axis=-1).sum()
    return ways[0] if np.linalg.norm(ways[0]) > 0.1 * length else ways.mean(axis=0)


def _bones(tree: Tree, joints: Ints) -> tuple[Floats, Floats, Floats]:
    """Lengths of the upper and the lower bone, and from end to end."""
    hip, knee, ankle = (tree.points[joints[:, i]] for i in range(3))
    return _length(knee - hip), _length(ankle - knee), _length(ankle - hip)


def _length(vectors: Floats) -> Floats:
    return np.linalg.norm(vectors, axis=-1)


def _deviation(tree: Tree, upper: int, lower: int, usual: Bools) -> float:
    """The distance of joints in between from the straight bone, as a share of it."""
    way = [i for i in tree.between(upper, lower) if usual[i] and not tree.readings[i].helps]
    if not way:
        return 0.0
    a, c = tree.points[upper], tree.points[lower]
    length = max(float(np.linalg.norm(c - a)), 1e-150)
    return float(_length(np.cross(tree.points[way] - a, (c - a) / length)).max()) / length


def _ramp(value: ArrayLike, low: float, high: float) -> Floats:
    return np.clip((np.asarray(value) - low) / (high - low), 0.0, 1.0)
