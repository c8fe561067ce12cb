"""Outlines in the picture, from points in px: bones, feet, the borders of a surface as seen."""

import math
from collections.abc import Iterable

import numpy as np

from rigkit._types import Bools, Floats, Ints
from rigkit.stage.markup import Pair, number, point

EDGE_ON = 1e-6  # px²: a triangle seen smaller than this faces neither way, whatever the rounding


def bone(start: Pair, end: Pair, wide: float, narrow: float) -> str:
    """A bone, rounded at both ends, tapering toward the far joint from half a width to another."""
    ux, uy = unit(start, end)
    corners = ((start, wide), (start, -wide), (end, -narrow), (end, narrow))
    one, two, three, four = (point((x + r * -uy, y + r * ux)) for (x, y), r in corners)
    return (
        f"M{one}A{number(wide)} {number(wide)} 0 0 1 {two}L{three}A{number(narrow)}"
        f" {number(narrow)} 0 0 1 {four}Z"
    )


def foot(ankle: Pair, heel: Pair, ball: Pair, toe: Pair, broad: float, view: str) -> str:
    """A foot: a wedge with a rounded instep, of its breadth where it is seen end-on."""
    if view == "top":
        return bone(heel, toe, broad / 2, broad * 0.4)
    length = math.dist(heel, toe) if view == "side" else abs(toe[0] - heel[0])
    end_on = length <= broad * 1.01  # from the side, never a foot whose toes point down
    if end_on:
        heel, ball, toe = ((ankle[0] + way * broad / 2, max(heel[1], toe[1])) for way in (-1, 1, 1))
    rise = _off_line(ankle, heel, ball)
    over_toe, over_heel = ((x + 0.7 * rise[0], y + 0.7 * rise[1]) for x, y in (toe, heel))
    back = f"Q{point(over_heel)} {point(heel)}" if end_on else ""
    sole = f"M{point(heel)}L{point(ball)}L{point(toe)}"
    return f"{sole}Q{point(over_toe)} {point(ankle)}{back}Z"


def unit(a: Pair, b: Pair) -> Pair:
    """The direction from `a` to `b`; straight down the picture where they coincide."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    return ((b[0] - a[0]) / length, (b[1] - a[1]) / length) if length > 1e-6 else (0.0, 1.0)


def _off_line(place: Pair, a: Pair, b: Pair) -> Pair:
    """The way to `place` from the line through `a` and `b`, square to it."""
    ux, uy = unit(a, b)
    across = (place[0] - a[0]) * -uy + (place[1] - a[1]) * ux
    return -uy * across, ux * across


def surface(
    xy: Floats, triangles: Ints, lines: Iterable[Ints]
) -> tuple[list[list[Pair]], list[list[Pair]]]:
    """A mesh as it is seen: the loops around it and its folds, and the parts seen of lines on it.

    Parameters
    ----------
    xy : ndarray, shape (v, 2)
        Where the vertices are seen [px], down the picture positive.
    triangles : ndarray of int, shape (t, 3)
        Anticlockwise seen from outside.
    lines : iterable of ndarray of int
        Vertices along each line.
    """
    a, b, c = np.moveaxis(xy[triangles], 1, 0)
    across, along = b - a, c - a
    seen = across[:, 1] * along[:, 0] - across[:, 0] * along[:, 1] > EDGE_ON
    facing = np.zeros(len(xy), dtype=bool)
    facing[triangles[seen]] = True
    loops = [xy[loop].tolist() for loop in _borders(triangles[seen], len(xy))]
    return loops, [part for each in lines for part in _seen_parts(xy[each], facing[each])]


def _borders(triangles: Ints, count: int) -> list[list[int]]:
    """The closed lines around some of a mesh's triangles, each as the numbers of its vertices."""
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    codes, opposite = edges @ [count, 1], edges @ [1, count]
    ways: dict[int, list[int]] = {}
    opposite.sort()
    shared = opposite.take(np.searchsorted(opposite, codes), mode="clip") == codes
    for start, end in edges[~shared].tolist():
        ways.setdefault(start, []).append(end)
    loops = []
    while ways:
        loop = [next(iter(ways))]
        while loop[-1] in ways:
            ends = ways[loop[-1]]
            if len(ends) == 1:
                del ways[loop[-1]]
            loop.append(ends.pop())
        loops.append(loop[:-1])
    return loops


def _seen_parts(line: Floats, seen: Bools) -> list[list[Pair]]:
    """The stretches of a line, shape (n, 2), whose points are seen, of at least two points each."""
    changes = np.flatnonzero(np.diff(seen)) + 1
    return [
        part.tolist()
        for part, shown in zip(np.split(line, changes), np.split(seen, changes), strict=True)
        if shown[0] and len(part) > 1
    ]
