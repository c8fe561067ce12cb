"""Words beside points: the place where they touch neither lines nor each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from rigkit._types import Floats
from rigkit.stage.inks import NUMBER, TEXT, TITLE
from rigkit.stage.markup import Pair, number, words

Box = tuple[float, float, float, float]  # left, top, right, bottom, px
Solid = tuple[float, float, float, float, float]  # a thick segment: x1, y1, x2, y2, half its width
# Segments, and the boxes around them with a px to spare: left, top, right, bottom, shape (4, n).
Boxed = tuple[Floats, Sequence[Solid]]

PLACES = ("right", "left", "above", "below")
EDGE = 6  # px that text keeps from the edge of the view
LEGEND_GAP, LEGEND_BAR = 14, 22  # px before an entry of a legend, and its bar
# The places tried on a side: first right beside the point, then shifted along that side (by a share
# of the words' size) and farther away (px).
TRIED = (
    (0, 0),
    *((-0.75, 0), (0.75, 0), (0, 24)),
    *((-1.5, 0), (1.5, 0), (-0.75, 24), (0.75, 24), (0, 48)),
)


@dataclass
class Label:
    """Words that stand beside a point, on the first of the sides where they touch nothing.

    Attributes
    ----------
    xy : (float, float)
        The point [px].
    text, kind : str
        The words, and one of `KINDS` for their ink.
    reach : float or (float, float)
        The room kept free around the point [px]: one number, or one for the sides and one for above
        and below.
    places : sequence of {"right", "left", "above", "below"}
        The sides that may be taken, the best first.
    size : int
        The height of the letters [px].
    """

    xy: Pair
    text: str
    kind: str
    reach: float | Pair
    places: Sequence[str]
    size: int

    @property
    def width(self) -> float:
        """The width of the words [px]."""
        return text_width(self.text, self.size)

    def beside(self, rings: Iterable[Pair], radius: float) -> Label:
        """Return it with room for the ring around its point, if there is one.

        Parameters
        ----------
        rings : iterable of (float, float)
            Their middles [px].
        radius : float
            px.

        Returns
        -------
        Label
        """
        if all(math.dist(self.xy, ring) > 1 for ring in rings):
            return self
        aside, along = self.reach if isinstance(self.reach, tuple) else (self.reach, self.reach)
        return replace(self, reach=(max(aside, radius), max(along, radius)))

    def placed(self, view: Box, solids: Boxed, boxes: Sequence[Box]) -> tuple[str, Box]:
        """Place the words where they touch least.

        Parameters
        ----------
        view : Box
            The box the words stay in.
        solids : Boxed
            The lines they keep clear of, as of `boxed`.
        boxes : sequence of Box
            Those of the words placed before, which count three times as much.

        Returns
        -------
        markup : str
        box : Box
            The box the words fill.
        """
        least = math.inf
        for tried, room in self._boxes():
            room = _inside(room, view)
            touched = sum([touches(solid, room) for solid in _near(room, solids)])
            touched += 3 * sum(overlap(room, other) for other in boxes)
            if touched < least:
                least, place, box = touched, tried, room
            if touched == 0:
                break
        anchor, x = {"right": ("start", box[0]), "left": ("end", box[2])}.get(
            place, ("middle", (box[0] + box[2]) / 2)
        )
        marks = f"rig-{self.kind}" + (" rig-number" if self.size == NUMBER else "")
        return (
            f'<text class="{marks}" x="{number(x)}" y="{number(box[3] - 0.2 * self.size)}"'
            f' text-anchor="{anchor}">{words(self.text)}</text>'
        ), box

    def _boxes(self) -> Iterator[tuple[str, Box]]:
        x, y = self.xy
        w, h = self.width, self.size
        aside, along = self.reach if isinstance(self.reach, tuple) else (self.reach, self.reach)
        for shift, away in TRIED:
            for place in self.places:
                if place in ("right", "left"):
                    gap, top = aside + away, y - h / 2 + shift * h
                    left = x + gap if place == "right" else x - gap - w
                else:
                    gap, left = along + away, x - w / 2 + shift * w / 2
                    top = y + gap if place == "below" else y - gap - h
                yield place, (left, top, left + w, top + h)


def heading_markup(title: str, width: float, legend: Sequence[str] = ()) -> tuple[str, int]:
    """Break a title into lines that fit, and set a legend behind the last one or below.

    Parameters
    ----------
    title : str
    width : float
        The room for a line [px].
    legend : sequence of str
        Kinds of chain, each drawn as a bar with its name.

    Returns
    -------
    markup : str
    height : int
        The room it takes above the picture [px].
    """
    lines: list[str] = []
    for word in title.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, TITLE) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    left = width - sum(map(_entry_width, legend))
    if legend and (not lines or text_width(lines[-1], TITLE) > left):
        lines.append("")
    drawn = [
        f'<text class="rig-title rig-plain" x="0" y="{21 + 24 * i}">{words(line)}</text>'
        for i, line in enumerate(lines)
        if line
    ]
    for kind in legend:
        drawn.append(_legend_entry(kind, left, 24 * len(lines) - 9))
        left += _entry_width(kind)
    return "".join(drawn), 24 * len(lines) + 10 if lines else 0


def _legend_entry(kind: str, left: float, middle: float) -> str:
    """A bar in a kind's ink and its name, beginning at `left` after a gap."""
    start, end = left + LEGEND_GAP, left + LEGEND_GAP + LEGEND_BAR
    bar = (
        f"M{number(start)} {number(middle - 5)}H{number(end)}V{number(middle + 5)}H{number(start)}Z"
    )
    return (
        f'<g class="rig-legend"><path class="rig-bone rig-{kind}" d="{bar}"/>'
        f'<text class="rig-{kind}" x="{number(end + 6)}" y="{number(middle + 5)}">{words(kind)}'
        "</text></g>"
    )


def _entry_width(kind: str) -> float:
    return LEGEND_GAP + LEGEND_BAR + 6 + text_width(kind, TEXT)


def text_width(text: str, size: int) -> float:
    """Estimate the width of words, generously and alike on every machine, whatever fonts it has.

    Parameters
    ----------
    text : str
    size : int
        The height of the letters [px].

    Returns
    -------
    float
        px.
    """
    wide = 1.1 if size > TEXT else 1.0  # larger words are bolder
    narrow, broad = " .,:;'|!iljtfrI()[]", "mwMW—…%"
    return wide * size * sum(0.36 if c in narrow else 0.98 if c in broad else 0.66 for c in text)


def boxed(solids: Iterable[Solid]) -> Boxed:
    """Segments with their boxes, which tell quickly that most are far from a place."""
    each = list(solids)
    x1, y1, x2, y2, r = np.array(each, dtype=float).reshape(-1, 5).T
    low, high = np.minimum([x1, y1], [x2, y2]) - r - 1, np.maximum([x1, y1], [x2, y2]) + r + 1
    return np.concatenate([low, high]), each


def _near(room: Box, solids: Boxed) -> list[Solid]:
    """The segments whose boxes share more than an edge with a room: `overlap`, of all at once.

    Called for each word in each place it tries, with every line of a picture.
    """
    left, top, right, bottom = room
    (x1, y1, x2, y2), each = solids
    near = (x1 < right) & (left < x2) & (y1 < bottom) & (top < y2)
    return [each[i] for i in near.nonzero()[0]]


def touches(solid: Solid, box: Box) -> bool:
    """True if a thick segment touches a box.

    By the separating axis test (S. Gottschalk, M. C. Lin, D. Manocha, "OBBTree", SIGGRAPH 1996), on
    the segment and the box grown by half the segment's width: exact for a width of zero.
    """
    x1, y1, x2, y2, r = solid
    left, top, right, bottom = box[0] - r, box[1] - r, box[2] + r, box[3] + r
    if (
        (x1 < left and x2 < left)
        or (x1 > right and x2 > right)
        or (y1 < top and y2 < top)
        or (y1 > bottom and y2 > bottom)
    ):
        return False
    dx, dy = x2 - x1, y2 - y1
    sides = [dx * (y - y1) - dy * (x - x1) for x in (left, right) for y in (top, bottom)]
    return min(sides) <= 0 <= max(sides)


def overlap(a: Box, b: Box) -> bool:
    """True if two boxes share more than an edge."""
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _inside(box: Box, view: Box) -> Box:
    """`box` moved into `view`."""
    dx = max(view[0] - box[0], 0) or min(view[2] - box[2], 0)
    dy = max(view[1] - box[1], 0) or min(view[3] - box[3], 0)
    return box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy
