"""The scene: what is drawn of a rig, in metres, and where it lies in a flat view."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from itertools import pairwise
from typing import Self

import numpy as np

from rigkit import _check
from rigkit._types import ArrayLike, Floats, Ints
from rigkit.stage import markup, outlines
from rigkit.stage.inks import KINDS, NUMBER, TEXT
from rigkit.stage.labels import EDGE, PLACES, Box, Label, Solid, boxed, heading_markup
from rigkit.stage.markup import Pair, number
from rigkit.stage.picture import Picture

VIEWS = ("side", "front", "top", "turntable")
FROM = {"side": "from the side", "front": "from the front", "top": "from above"}
CHAINS = ("forward", "inverse")  # the kinds that a legend tells
SIDES = {"L": "left ", "R": "right ", None: ""}
# the least size of a framed view, as a share of how far off it is: what is smaller is rounding
FAR = 1e-9
RING = 19  # px: the radius of the ring around a grip, its line included


class Stage(Picture):
    """A scene in metres, seen flat, with fixed limits.

    Every method takes points of shape (..., 3) in world metres, or (..., 2) already in the view's
    own plane, adds to the scene and returns the stage, so that calls chain. What is added later
    lies on top; words are placed last, where they touch neither lines nor each other.

    In every method `kind` is one of "forward", "inverse", "goal", "miss", "plain", "soft" and is
    told by hue; `side` is "L" or "R" and is told by the outline, solid left, dashed right; `place`
    is the side of a point on which its words stand, "right", "left", "above" or "below", by default
    where there is room.

    Parameters
    ----------
    view : {"side", "front", "top", "turntable"}
        To the right and up in the picture lie: side +Z and +Y (seen from the character's right),
        front +X and +Y, top +X and −Z; the turntable is the front seen by a viewer who walked
        `yaw_deg` toward the character's left.
    low, high : array_like, shape (2,)
        The corners of the view in its own plane [m].
    title, desc : str
        A sentence drawn above the scene; its text alternative (the words in the scene by default).
    width : int
        The width it is drawn at [px].
    yaw_deg, pitch_deg : float
        For the turntable only; the second is how far the viewer looks down, 0 to 90.
    legend : sequence of {"forward", "inverse"}
        Kinds of chain named beside the title, each with a bar in its ink.

    Raises
    ------
    ValueError
        Here and in every method: unknown names, points that are not finite or not of two or three
        numbers.
    """

    def __init__(
        self,
        view: str = "side",
        low: ArrayLike = (-0.6, -0.15),
        high: ArrayLike = (0.6, 1.05),
        title: str = "",
        desc: str = "",
        width: int = 600,
        yaw_deg: float = 0.0,
        pitch_deg: float = 0.0,
        legend: Sequence[str] = (),
    ) -> None:
        self.view = _check.choice("view", view, VIEWS)
        self._axes = _view_axes(view, yaw_deg, pitch_deg)
        low, high = _check.numbers("low", low, 2), _check.numbers("high", high, 2)
        if not (low < high).all():
            raise ValueError(
                f"`high` must lie right of and above `low`; got {high.tolist()} and {low.tolist()}."
            )
        width = _check.count("width", width, least=120)
        self._scale = width / float(high[0] - low[0])
        named = [_check.choice("legend", kind, CHAINS) for kind in legend]
        heading, self._top = heading_markup(title, width, named)
        self._corner = np.array([low[0], high[1]])  # m, drawn at the left and below the title
        height = round(self._top + self._scale * float(high[1] - low[1]))
        self._shapes = [heading]
        self._zoom = np.array([self._scale, -self._scale])
        self._origin = np.array([0.0, self._top])
        self._solids: list[Solid] = []
        self._labels: list[Label] = []
        self._rings: list[Pair] = []
        self._drawn: list[str] = []
        self._desc = desc
        super().__init__(title or f"{view.capitalize()} view", desc, width, height)

    @property
    def seen_from(self) -> str:
        """The side it is seen from: "from the side", "from the front", "from above" or ""."""
        return FROM.get(self.view, "")

    @property
    def px_per_metre(self) -> float:
        """The scale: px in the picture for a metre."""
        return self._scale

    def place(self, point: ArrayLike) -> Floats:
        """Return where a point of two or three numbers lies in the picture.

        Parameters
        ----------
        point : array_like, shape (2,) or (3,)

        Returns
        -------
        ndarray, shape (2,)
            From the left and from the top [px].

        Raises
        ------
        ValueError
            As by the other methods.
        """
        return self._placed("point", point)[0]

    @property
    def desc(self) -> str:
        """The text alternative: as given, else the view, what is drawn in it, and its words."""
        if self._desc:
            return self._desc
        drawn = ", ".join(dict.fromkeys(self._drawn))
        words = "; ".join(label.text for label in self._labels)
        view = f"{self.view.capitalize()} view"
        return f"{view}{' of ' * bool(drawn)}{drawn}{': ' * bool(words)}{words}."

    @desc.setter
    def desc(self, text: str) -> None:
        self._desc = text

    def floor(self, height: float = 0.0) -> Self:
        """Draw the floor: a line and a band below it; from above, floor wherever one looks.

        Parameters
        ----------
        height : float
            Of the line [m].

        Returns
        -------
        Stage
        """
        self._drawn.append("the floor")
        from_above = self._axes[1, 1] < 1
        y = self._top if from_above else self._at("height", (0.0, height))[1]
        self._shapes.append(
            f'<rect class="rig-ground" x="0" y="{number(y)}" width="{self.width}" '
            f'height="{number(max(self.height - y, 0.0))}"/>'
        )
        if from_above:
            return self
        return self._line([(0.0, y), (float(self.width), y)], "rig-line rig-soft")

    def chain(
        self,
        points: ArrayLike,
        kind: str = "forward",
        side: str | None = None,
        names: Sequence[str] = (),
        thickness: float = 24.0,
    ) -> Self:
        """Draw bones from joint to joint, tapering to the far end, with hollow rings for joints.

        Parameters
        ----------
        points : array_like, shape (n, 2) or (n, 3)
            From the root down.
        kind, side : str
            The side is told by a letter in the first ring, too.
        names : sequence of str
            Words beside the joints, from the root; "" for none.
        thickness : float
            Width of the first bone at its root [px].

        Returns
        -------
        Stage
        """
        marks = _marks("rig-bone", kind, side)
        self._drawn.append(f"a{'n' * (kind == 'inverse' and not side)} {SIDES[side]}{kind} chain")
        xy = self._xy("points", points)
        if len(names) > len(xy):
            raise ValueError(
                f"`names` must be no more than the joints; got {len(names)} for {len(xy)} joints."
            )
        wide = thickness / 2
        for start, end in pairwise(xy):
            outline = outlines.bone(start, end, wide, wide * 0.6)
            self._shapes.append(f'<path class="{marks}" d="{outline}"/>')
            self._solids.append((*start, *end, wide))
            wide *= 0.8
        # the root's ring, with the letter, lies on top
        for i, joint in reversed(list(enumerate(xy))):
            letter = side if i == 0 else None
            self._joint(joint, kind, letter, names[i] if i < len(names) else "")
        return self

    def _joint(self, xy: Pair, kind: str, letter: str | None, name: str) -> None:
        radius = 12 if letter else 8
        self._circle(xy, f"rig-joint rig-{kind}", radius, radius + 2)
        if letter:
            self._shapes.append(
                f'<text class="rig-side rig-{kind}" x="{number(xy[0])}" y="{number(xy[1] + 5.5)}">'
                f"{letter}</text>"
            )
        self._label(xy, name, "soft", radius + 8)

    def ghost(self, points: ArrayLike) -> Self:
        """Draw a dotted line: the rest pose, or a pose to compare with.

        Parameters
        ----------
        points : array_like, shape (n, 2) or (n, 3)

        Returns
        -------
        Stage
        """
        self._drawn.append("a dotted line")
        return self._line(self._xy("points", points), "rig-ghost rig-soft")

    def foot(
        self,
        ankle: ArrayLike,
        heel: ArrayLike | None = None,
        toe: ArrayLike | None = None,
        ball: ArrayLike | None = None,
        kind: str = "forward",
        side: str | None = None,
        height: float = 0.08,
    ) -> Self:
        """Draw a plain wedge with a rounded instep; before its chain, it lies under the ankle.

        Parameters
        ----------
        ankle, heel, toe, ball : array_like, shape (2,) or (3,)
            Without `heel` and `toe` the foot is level, its sole `height` below the ankle; at `ball`
            the sole bends.
        kind, side : str
        height : float
            Of the ankle above a level sole [m].

        Returns
        -------
        Stage
        """
        marks = _marks("rig-bone", kind, side)
        top = self._at("ankle", ankle)
        if heel is not None and toe is not None:
            back, front = self._at("heel", heel), self._at("toe", toe)
        elif heel is not None or toe is not None:
            raise ValueError(
                "`heel` and `toe` must be given together, or neither for a level foot."
            )
        else:
            back, front = self._level_sole(top, height)
        bend = front if ball is None else self._at("ball", ball)
        broad = 0.09 * self._scale
        outline = outlines.foot(top, back, bend, front, broad, self.view)
        self._shapes.append(f'<path class="{marks}" d="{outline}"/>')
        self._solids += _segments([back, bend, front, top, back], 3)
        return self

    def _level_sole(self, ankle: Pair, height: float) -> tuple[Pair, Pair]:
        """Heel and toe of a level foot."""
        if self.view not in ("side", "front"):
            raise ValueError(f"`heel` and `toe` must be given in the {self.view} view.")
        sole = ankle[1] + float(_check.positive("height", height)) * self._scale
        back, front = (-0.06, 0.19) if self.view == "side" else (-0.045, 0.045)
        return (ankle[0] + back * self._scale, sole), (ankle[0] + front * self._scale, sole)

    def goal(self, point: ArrayLike, label: str = "goal", place: str | None = None) -> Self:
        """Draw a green ring where the chain's end should be.

        Parameters
        ----------
        point : array_like, shape (2,) or (3,)
        label, place : str

        Returns
        -------
        Stage
        """
        xy = self._at("point", point)
        self._circle(xy, "rig-ring rig-goal", 18, 20)
        return self._label(xy, label, "goal", 24, place)

    def pole(
        self,
        point: ArrayLike,
        label: str = "pole",
        knee: ArrayLike | None = None,
        place: str | None = None,
    ) -> Self:
        """Draw a small diamond: the point the knee turns toward.

        Parameters
        ----------
        point : array_like, shape (2,) or (3,)
        label, place : str
        knee : array_like, shape (2,) or (3,), optional
            A thin line is drawn from here.

        Returns
        -------
        Stage
        """
        x, y = self._at("pole", point)
        if knee is not None:
            self._line([self._at("knee", knee), (x, y)], "rig-line rig-thin rig-plain rig-dashed")
        self._polygon([(x - 8, y), (x, y - 8), (x + 8, y), (x, y + 8)], "rig-joint rig-plain")
        return self._label((x, y), label, "plain", 14, place)

    def control(self, points: ArrayLike, label: str = "", place: str | None = None) -> Self:
        """Draw the outline of a control, a closed line.

        Parameters
        ----------
        points : array_like, shape (n, 2) or (n, 3)
        label, place : str
            The label stands by the first point.

        Returns
        -------
        Stage
        """
        xy = self._xy("points", points)
        self._drawn.append("a control's outline")
        self._polygon(xy, "rig-control rig-plain")
        return self._label(xy[0], label, "plain", 8, place)

    def skin(self, points: ArrayLike, kind: str = "soft") -> Self:
        """Draw a filled outline: skin seen flat.

        Parameters
        ----------
        points : array_like, shape (n, 2) or (n, 3)
        kind : str

        Returns
        -------
        Stage
        """
        self._drawn.append("skin")
        return self._polygon(self._xy("points", points), _marks("rig-skin", kind))

    def surface(
        self,
        vertices: ArrayLike,
        triangles: ArrayLike,
        kind: str = "soft",
        lines: Iterable[ArrayLike] = (),
        named: str = "skin",
    ) -> Self:
        """Draw skin as seen from outside: filled, with its outline, its folds, and lines on it.

        Parts beyond the limits of the view are cut off.

        Parameters
        ----------
        vertices : array_like, shape (v, 2) or (v, 3)
        triangles : array_like of int, shape (t, 3)
            Three numbers of vertices each, anticlockwise seen from outside.
        kind : str
        lines : sequence of sequences of int
            Numbers of vertices, in order along each line; drawn where the skin faces the viewer.
        named : str
            What the text alternative calls it.

        Returns
        -------
        Stage
        """
        xy = self._placed("vertices", vertices)
        corners = _check_corners("triangles", triangles, len(xy))
        loops, parts = outlines.surface(
            xy, corners, (_check_corners("lines", each, len(xy)) for each in lines)
        )
        outline = "".join(f"M{markup.line(loop)}Z" for loop in loops)
        drawn = "".join(f"M{markup.line(part)}" for part in parts)
        self._drawn.append(named)
        # in a view of its own, cut off at the limits: a close-up does not run over the title
        tall = self.height - self._top
        self._shapes.append(
            f'<svg aria-hidden="true" y="{self._top}" width="{self.width}" height="{tall}"'
            f' viewBox="0 {self._top} {self.width} {tall}">'
            f'<path class="{_marks("rig-skin", kind)}" d="{outline}"/>'
            f'<path class="{_marks("rig-line", kind)} rig-thin" d="{drawn}"/></svg>'
        )
        for loop in loops:
            self._solids += _segments([*loop, loop[0]], 2)
        return self

    def path(self, points: ArrayLike, kind: str = "plain", side: str | None = None) -> Self:
        """Draw a line: the way something went.

        Parameters
        ----------
        points : array_like, shape (n, 2) or (n, 3)
        kind, side : str

        Returns
        -------
        Stage
        """
        self._drawn.append(f"a {SIDES[side]}line")
        return self._line(self._xy("points", points), _marks("rig-line", kind, side))

    def keep_clear(self, places: Iterable[Pair]) -> Self:
        """Keep words off the rings by which a panel's grips are taken.

        Parameters
        ----------
        places : iterable of (float, float)
            All of them, as of `place` [px].

        Returns
        -------
        Stage
        """
        self._rings = list(places)
        return self

    def behind_words(self) -> Self:
        """Let words stand over what has been drawn so far.

        Returns
        -------
        Stage
        """
        self._solids.clear()
        return self

    def dots(self, points: ArrayLike, kind: str = "plain") -> Self:
        """Draw a small dot at each point.

        Parameters
        ----------
        points : array_like, shape (n, 2) or (n, 3)
        kind : str

        Returns
        -------
        Stage
        """
        self._drawn.append("dots")
        marks = _marks("rig-dot", kind)
        for xy in self._xy("points", points):
            self._circle(xy, marks, 4, 5)
        return self

    def arrow(
        self,
        start: ArrayLike,
        end: ArrayLike,
        text: str = "",
        kind: str = "plain",
        place: str | None = None,
    ) -> Self:
        """Draw an arrow, named at its head: an axis or a direction.

        Parameters
        ----------
        start, end : array_like, shape (2,) or (3,)
        text, kind, place : str

        Returns
        -------
        Stage
        """
        a, b = self._at("start", start), self._at("end", end)
        ux, uy = outlines.unit(a, b)
        marks = _marks("rig-line", kind)
        self._line([a, b], marks)
        wings = [(b[0] - 10 * ux + s * 6 * uy, b[1] - 10 * uy - s * 6 * ux) for s in (1, -1)]
        self._line([wings[0], b, wings[1]], marks)
        return self._label(b, text, kind, 10, place)

    def measure(
        self,
        a: ArrayLike,
        b: ArrayLike,
        text: str,
        kind: str = "miss",
        offset: float = 0.0,
        place: str | None = None,
    ) -> Self:
        """Draw a dimension line with end ticks, its number the loudest thing in the picture.

        Parameters
        ----------
        a, b : array_like, shape (2,) or (3,)
            The ends of the length it measures.
        text : str
            The number with its unit.
        kind, place : str
        offset : float
            How far the line stands off to the right (upward, where it lies level) from its length
            [px].

        Returns
        -------
        Stage
        """
        marks = _marks("rig-line", kind)
        a, b = self._at("a", a), self._at("b", b)
        ux, uy = outlines.unit(a, b)
        nx, ny = -uy, ux
        level = abs(ny) > abs(nx)
        if (ny > 0) if level else (nx < 0):
            nx, ny = -nx, -ny
        offset = float(_check.numbers("offset", offset))
        start, end = ((x + offset * nx, y + offset * ny) for x, y in (a, b))
        clear = math.copysign(14, offset)  # the thin lines keep clear of what is measured
        for (x, y), near in ((start, a), (end, b)):
            if abs(offset) > 20:
                lead = (near[0] + clear * nx, near[1] + clear * ny)
                self._line([lead, (x, y)], f"{marks} rig-thin")
            self._line([(x - 8 * nx, y - 8 * ny), (x + 8 * nx, y + 8 * ny)], marks)
        self._line([start, end], marks)
        beside, beyond = ("above", "below"), ("right", "left")  # beyond its ends, where it is short
        if not level:
            beside, beyond = beyond, beside
        sides = (*(beside if offset >= 0 else beside[::-1]), *beyond)
        middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
        reach = (12 + abs(end[0] - start[0]) / 2, 12 + abs(end[1] - start[1]) / 2)
        return self._label(middle, text, kind, reach, place, sides, NUMBER)

    def note(
        self,
        point: ArrayLike,
        text: str,
        kind: str = "plain",
        place: str | None = None,
        loud: bool = False,
    ) -> Self:
        """Write words beside a point.

        Parameters
        ----------
        point : array_like, shape (2,) or (3,)
        text, kind, place : str
        loud : bool
            As large as a measure's number, for words that are one.

        Returns
        -------
        Stage
        """
        size = NUMBER if loud else TEXT
        return self._label(self._at("point", point), text, kind, 8, place, size=size)

    def arc(
        self,
        centre: ArrayLike,
        start: ArrayLike,
        end: ArrayLike,
        text: str = "",
        kind: str = "plain",
        radius: float = 38.0,
        place: str | None = None,
    ) -> Self:
        """Draw an angle, from one direction the shorter way to another.

        Parameters
        ----------
        centre, start, end : array_like, shape (2,) or (3,)
            The angle's corner, and a point in each direction.
        text, kind, place : str
        radius : float
            px.

        Returns
        -------
        Stage
        """
        marks = _marks("rig-line", kind)
        (cx, cy), s, e = self._at("centre", centre), self._at("start", start), self._at("end", end)
        first = math.atan2(s[1] - cy, s[0] - cx)
        turn = math.remainder(math.atan2(e[1] - cy, e[0] - cx) - first, math.tau)
        steps = max(2, round(abs(turn) * 12))
        angles = [first + turn * i / steps for i in range(steps + 1)]
        self._line([(cx + radius * math.cos(t), cy + radius * math.sin(t)) for t in angles], marks)
        x, y = math.cos(first + turn / 2), math.sin(first + turn / 2)
        # outside the arc, or beside its middle
        sides = ["right" if x > 0 else "left", "below" if y > 0 else "above"]
        if abs(x) <= abs(y):
            sides.reverse()
        sides += [other for other in PLACES if other not in sides]
        middle = (cx + radius * x, cy + radius * y)
        return self._label(middle, text, kind, 8, place, sides, NUMBER)

    def _xy(self, name: str, points: ArrayLike) -> list[Pair]:
        """`points` in px, as a list of pairs."""
        return [(x, y) for x, y in self._placed(name, points).tolist()]

    def _placed(self, name: str, points: ArrayLike) -> Floats:
        """`points` in px, shape (n, 2)."""
        hint = "Points are (x, y, z) in metres, or (right, up) in the view."
        array = _check.numbers(name, points, "n", hint=hint)
        if array.shape[-1] == 3:
            array = array @ self._axes
        elif array.shape[-1] != 2:
            raise ValueError(
                f"`{name}` must be points of two or three numbers; got shape {array.shape}. {hint}"
            )
        return (array.reshape(-1, 2) - self._corner) * self._zoom + self._origin

    def _at(self, name: str, point: ArrayLike) -> Pair:
        return self._xy(name, point)[0]

    def _line(self, xy: Sequence[Pair], marks: str, close: str = "") -> Self:
        self._shapes.append(f'<path class="{marks}" d="M{markup.line(xy)}{close}"/>')
        self._solids += _segments(xy, 2)
        return self

    def _polygon(self, xy: Sequence[Pair], marks: str) -> Self:
        return self._line([*xy, xy[0]], marks, "Z")

    def _circle(self, xy: Pair, marks: str, radius: int, room: int) -> None:
        x, y = xy
        self._shapes.append(
            f'<circle class="{marks}" cx="{number(x)}" cy="{number(y)}" r="{radius}"/>'
        )
        self._solids.append((x, y, x, y, room))

    def _label(
        self,
        xy: Pair,
        text: str,
        kind: str,
        reach: float | Pair,
        place: str | None = None,
        sides: Sequence[str] = PLACES,
        size: int = TEXT,
    ) -> Self:
        if text:
            places = (_check.choice("place", place, PLACES),) if place else sides
            self._labels.append(
                Label(xy, str(text), _check.choice("kind", kind, KINDS), reach, places, size)
            )
        return self

    def _inner(self) -> str:
        boxes: list[Box] = []
        words = []
        view = (EDGE, self._top + 2, self.width - EDGE, self.height - EDGE)
        solids = boxed(self._solids + [(*ring, *ring, RING) for ring in self._rings])
        for label in sorted(self._labels, key=lambda label: -label.size):  # numbers choose first
            text, box = label.beside(self._rings, RING + 2).placed(view, solids, boxes)
            boxes.append(box)
            words.append(text)
        return "".join(self._shapes + words)


def framed(
    view: str,
    points: ArrayLike,
    title: str = "",
    room: float = 0.1,
    width: int = 600,
    flat: Sequence[Floats] = (),
    least: float = 0.0,
    tall: float = 0.95,
    desc: str = "",
) -> Stage:
    """Make a stage that holds all points, with some room around them.

    Parameters
    ----------
    view : {"side", "front", "top"}
    points : array_like, shape (n, 3)
    title, desc : str
        As for `Stage`.
    width : int
        As for `Stage` [px].
    room : float
        On each side, as a share of the larger side.
    flat : sequence of array_like, shape (m, 2)
        Further points, already in the view's own plane.
    least : float
        The least size of the larger side [m].
    tall : float
        The greatest height, as a share of the width.

    Returns
    -------
    Stage

    Raises
    ------
    ValueError
        For points that are not finite, or an unknown view.
    """
    seen = np.concatenate(
        [_check.numbers("points", points, "n", 3) @ _view_axes(view, 0.0, 0.0), *flat]
    )
    low, high = seen.min(axis=0), seen.max(axis=0)
    middle = (low + high) / 2
    size = max((high - low).max(), least, 1e-3, FAR * np.abs(middle).max())
    half = (high - low) / 2 + max(room, 0.08) * size
    half = np.maximum(half, [half[1] / tall, 0.3 * half[0]])
    return Stage(view, middle - half, middle + half, title, desc, width)


def _view_axes(view: str, yaw_deg: float, pitch_deg: float) -> Floats:
    """The directions right and up in the picture as the columns of a (3, 2) array."""
    yaw, pitch = (
        math.radians(float(_check.numbers(name, angle)))
        for name, angle in (("yaw_deg", yaw_deg), ("pitch_deg", pitch_deg))
    )
    if not 0 <= pitch <= math.pi / 2:
        raise ValueError(
            f"`pitch_deg` must be from 0, level, to 90, straight down; got {pitch_deg!r}."
        )
    right, up = {
        "side": ((0, 0, 1), (0, 1, 0)),
        "front": ((1, 0, 0), (0, 1, 0)),
        "top": ((1, 0, 0), (0, 0, -1)),
        "turntable": (
            (math.cos(yaw), 0, -math.sin(yaw)),
            (-math.sin(pitch) * math.sin(yaw), math.cos(pitch), -math.sin(pitch) * math.cos(yaw)),
        ),
    }[view]
    return np.array([right, up], dtype=float).T


def _check_corners(name: str, value: ArrayLike, count: int) -> Ints:
    """Numbers of vertices, as whole numbers below `count`."""
    numbers = _check.numbers(name, value, *([3] if name == "triangles" else ["n"]))
    whole = numbers.astype(np.int64)
    if not ((whole == numbers) & (whole >= 0) & (whole < count)).all():
        raise ValueError(
            f"`{name}` must be numbers of vertices from 0 to {count - 1}; "
            f"got {numbers.min():g} to {numbers.max():g}."
        )
    return whole


def _segments(xy: Sequence[Pair], half: float) -> list[Solid]:
    """The lines from point to point, each `half` px wide on either side."""
    return [(*start, *end, half) for start, end in pairwise(xy)]


def _marks(shape: str, kind: str, side: str | None = None) -> str:
    """The class names of a shape: what it is, its kind, and its side's outline."""
    _check.choice("kind", kind, KINDS)
    if side is not None:
        _check.choice("side", side, ("L", "R"))
    return f"{shape} rig-{kind}" + (" rig-dashed" if side == "R" else "")
