"""The picture of a rig: a small SVG scene in a flat view, with fixed limits and its number in it.

A stage takes points in metres and gives SVG text. The same markup is right on a light and on a dark
page: all inks are CSS variables. Hue tells the kind of chain; side is told by a letter and by the
outline, solid left, dashed right. Palette: M. Okabe and K. Ito, "Color Universal Design"
(2002/2008), with a lighter pair on dark and darker shades where small text needs them.
"""

import math
from base64 import b64encode
from collections.abc import Iterable, Iterator, Sequence
from html import escape
from itertools import pairwise
from typing import Any, Self

import numpy as np

from rigkit import _check
from rigkit._types import ArrayLike, Bools, Floats, Ints

Pair = tuple[float, float]  # a place in the picture, px
Box = tuple[float, float, float, float]  # left, top, right, bottom
Solid = tuple[float, float, float, float, float]  # a thick segment: x1, y1, x2, y2, half its width

VIEWS = ("side", "front", "top", "turntable")
KINDS = ("forward", "inverse", "goal", "miss", "plain", "soft")
PLACES = ("right", "left", "above", "below")
SIDES = {"L": "left ", "R": "right ", None: ""}

# Every ink on a light and on a dark page. Names ending in `text` are for letters, the others for
# shapes.
INKS = {
    "paper": ("#ffffff", "#111111"),
    "floor": ("#f1f3f5", "#262b31"),
    "ink": ("#1f2328", "#e8eaed"),
    "soft": ("#7d858f", "#8b939d"),
    "soft-text": ("#5c6570", "#a9b1bb"),
    "forward": ("#d55e00", "#e69f00"),
    "forward-text": ("#b04a00", "#e69f00"),
    "inverse": ("#0072b2", "#56b4e9"),
    "inverse-text": ("#0067a1", "#56b4e9"),
    "goal": ("#009e73", "#2fbf8f"),
    "goal-text": ("#007a59", "#2fbf8f"),
    "miss": ("#b00020", "#ff7a66"),
    "miss-text": ("#b00020", "#ff7a66"),
}

FONT = 'system-ui,-apple-system,"Segoe UI",Roboto,"Helvetica Neue",Arial,sans-serif'
TEXT, NUMBER, TITLE = 15, 21, 17  # sizes in px at the drawn width
LEAST_TEXT = 13  # a row wraps rather than draw TEXT smaller than this
EDGE = 6  # px that text keeps from the edge of the view
# Where words are tried beside a point: right there, then further along (shares of their size) and
# away (px).
PLACES_TRIED = (
    (0, 0),
    (-0.75, 0),
    (0.75, 0),
    (0, 24),
    (-1.5, 0),
    (1.5, 0),
    (-0.75, 24),
    (0.75, 24),
    (0, 48),
)
# the least size of a framed view, as a share of how far off it is: what is smaller is rounding
FAR = 1e-9
CARD = 14  # px around a picture on its card

_SHAPES = (
    f".rig{{display:block;max-width:100%;height:auto;font-family:{FONT}}}.rig"
    f" text{{fill:var(--rig-hue-text);font-size:{TEXT}px;paint-order:stroke;stroke:var(--paper);stroke-width:3px;stroke-linejoin:round}}.rig"
    f" .rig-number{{font-size:{NUMBER}px;font-weight:600}}.rig"
    f" .rig-title{{font-size:{TITLE}px;font-weight:600}}.rig .rig-plot{{stroke-linejoin:round}}.rig"
    " .rig-plot text{stroke:none}.rig"
    " .rig-side{font-weight:700;text-anchor:middle}.rig-ground{fill:var(--floor)}.rig-line,.rig-ghost,.rig-bone,.rig-ring,.rig-control{fill:none;stroke:var(--rig-hue);stroke-width:2.5;stroke-linejoin:round;stroke-linecap:round}.rig-thin{stroke-width:1.25}.rig-ghost{stroke-width:2.5;stroke-dasharray:.1"
    " 6}.rig-bone{fill:var(--rig-hue);fill-opacity:.45}.rig-dashed{stroke-dasharray:7"
    " 5;stroke-linecap:butt}.rig-joint{fill:var(--paper);stroke:var(--rig-hue);stroke-width:3}.rig-ring{stroke-width:3}.rig-skin{fill:var(--rig-hue);fill-opacity:.16;stroke:var(--rig-hue);stroke-width:1.25;stroke-linejoin:round}.rig-dot{fill:var(--rig-hue)}.rig-row{display:flex;flex-wrap:wrap;gap:12px"
    " 16px;align-items:flex-end}"
    + "".join(
        f".rig-{kind}{{--rig-hue:var(--{kind});--rig-hue-text:var(--{kind}-text)}}"
        for kind in KINDS
        if kind != "plain"
    )
    + ".rig,.rig-plain{--rig-hue:var(--ink);--rig-hue-text:var(--ink)}"
)


def _inks(dark: bool, page: str = "", paper: bool = True) -> str:
    """The variables of one theme; a page may set `--rig-ink` and the like itself."""
    names = {name: pair[dark] for name, pair in INKS.items()}
    if paper:  # the page's own background, where the page says what it is
        names["paper"] = f"var(--jp-layout-color0,{names['paper']})"
    return (
        page
        + ".rig{"
        + "".join(f"--{name}:var(--rig-{name},{ink});" for name, ink in names.items())
        + "}"
    )


STYLE = (
    _inks(False)
    + "@media screen and (prefers-color-scheme:dark){"  # what is printed is light
    + _inks(True, "body:not([data-jp-theme-light]) ")
    + "}"
    + _inks(True, 'body[data-jp-theme-light="false"] ')
    + _SHAPES
)
CARD_STYLE = _inks(False, paper=False) + _SHAPES


class Picture:
    """Something drawn: it shows itself in a notebook, and gives its markup to panels, reports and
    pages.

    Attributes
    ----------
    title, desc : str
        Its name and its text alternative.
    width, height : int
        The size it is drawn at, in px; a narrower place makes it smaller.
    """

    def __init__(self, title: str, desc: str, width: int, height: int) -> None:
        self.title, self.desc, self.width, self.height = title, desc, width, height

    def __repr__(self) -> str:
        return (
            f"{type(self).__name__}, {self.width} × {self.height} px: {_sentence(self.title)}"
            f" {self.desc}"
        )

    def svg(self, style: bool = True) -> str:
        """One `<svg>` that follows the page's theme; without `style` the page must hold `STYLE`
        already."""
        return self._wrap(f"<style>{STYLE}</style>" if style else "")

    def html(self, style: bool = True) -> str:
        """The markup for a page: like `svg`, save that views in a row wrap where there is little
        room."""
        return self.svg(style)

    def card(self) -> str:
        """A standalone SVG file on a light card, for viewers that cannot see a page's theme."""
        card = (
            f'<style>{CARD_STYLE}</style><rect x="{-CARD}" y="{-CARD}" width="100%" height="100%"'
            f' rx="8" fill="{INKS["paper"][0]}"/>'
        )
        return self._wrap(card, margin=CARD)

    def _wrap(self, first: str, extra: str = "", margin: int = 0) -> str:
        width, height = self.width + 2 * margin, self.height + 2 * margin
        return (
            f'<svg xmlns="http://www.w3.org/2000/svg" class="rig" viewBox="{-margin} {-margin}'
            f' {width} {height}" '
            f'width="{width}" height="{height}"'
            f' role="img"{extra}><title>{_text(self.title)}</title>'
            f"<desc>{_text(self.desc)}</desc>{first}{self._inner()}</svg>"
        )

    def _inner(self) -> str:
        raise NotImplementedError

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        # A notebook that is not trusted yet loses <svg> and <style> from its HTML, but keeps inline
        # styles and images. So the live drawing is hidden until the style sheet is there to show
        # it, and the card stands in until then.
        card = self.card()
        words = f"{_sentence(self.title)} {self.desc}"
        image = f"data:image/svg+xml;base64,{b64encode(card.encode()).decode()}"
        html = (
            f"<div><style>.rig-live{{display:block!important}}.rig-still{{display:none!important}}</style>"
            f'<div class="rig-live" style="display:none">{self.html()}</div>'
            f'<img class="rig-still" alt="{escape(words)}" src="{image}"></div>'
        )
        return {"text/plain": words, "text/html": html, "image/svg+xml": card}


class Row(Picture):
    """Views side by side; made by `row`."""

    GAP = 16

    def __init__(self, pictures: Sequence[Picture], title: str) -> None:
        self.pictures = pictures
        super().__init__(
            title,
            " ".join(_sentence(p.title) + " " + _sentence(p.desc) for p in pictures),
            sum(p.width for p in pictures) + self.GAP * (len(pictures) - 1),
            max(p.height for p in pictures),
        )

    def html(self, style: bool = True) -> str:
        first = f"<style>{STYLE}</style>" if style else ""
        least = LEAST_TEXT / TEXT
        views = "".join(
            p._wrap(
                "", f' style="flex:1 1 {p.width * least:.0f}px;max-width:min(100%,{p.width}px)"'
            )
            for p in self.pictures
        )
        return (
            '<div class="rig-row" role="group"'
            f' aria-label="{escape(self.title)}">{first}{views}</div>'
        )

    def _inner(self) -> str:
        inner, x = [], 0
        for p in self.pictures:
            inner.append(
                f'<svg x="{x}" y="{self.height - p.height}" width="{p.width}" height="{p.height}" '
                f'viewBox="0 0 {p.width} {p.height}">{p._inner()}</svg>'
            )
            x += p.width + self.GAP
        return "".join(inner)


def row(*pictures: Picture, title: str | None = None) -> Row:
    """One picture of several side by side; they wrap where there is little room and are never cut
    off.

    Parameters
    ----------
    *pictures : Picture
        Stages or plots. Two of width 400 fit side by side in a window of 1280 px beside a file
        browser.
    title : str, optional
        Its name for a screen reader; the pictures' own titles by default.
    """
    if not pictures or not all(isinstance(p, Picture) for p in pictures):
        raise ValueError(
            f"`pictures` must be stages or plots; got {pictures!r}. Give at least one."
        )
    return Row(pictures, title or "; ".join(p.title for p in pictures))


class Stage(Picture):
    """A scene in metres, seen flat, with fixed limits.

    Every method takes points of shape (..., 3) in world metres, or (..., 2) already in the view's
    own plane, adds to the scene and returns the stage, so that calls chain. What is added later
    lies on top; words are placed last, where they touch neither lines nor each other.

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
        px at which it is drawn.
    yaw_deg, pitch_deg : float
        For the turntable only; the second is how far the viewer looks down, 0 to 90.

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
        heading, self._top = heading_markup(title, width)
        self._left, self._high = float(low[0]), float(high[1])
        height = round(self._top + self._scale * float(high[1] - low[1]))
        self._shapes = [heading]
        self._solids: list[Solid] = []
        self._labels: list[Label] = []
        self._drawn: list[str] = []
        self._desc = desc
        super().__init__(title or f"{view.capitalize()} view", desc, width, height)

    @property
    def desc(self) -> str:
        """The text alternative: as given, or else the view, what is drawn in it, and the words in
        it."""
        if self._desc:
            return self._desc
        drawn, words = (
            ", ".join(dict.fromkeys(self._drawn)),
            "; ".join(label.text for label in self._labels),
        )
        return (
            f"{self.view.capitalize()}"
            f" view{' of ' * bool(drawn)}{drawn}{': ' * bool(words)}{words}."
        )

    @desc.setter
    def desc(self, text: str) -> None:
        self._desc = text

    def floor(self, height: float = 0.0) -> Self:
        """The ground line at `height` [m] and a band below it to sink into; from above, floor
        wherever one looks."""
        self._drawn.append("the floor")
        if self._axes[1, 1] < 1:  # the viewer looks down
            self._shapes.append(
                f'<rect class="rig-ground" x="0" y="{self._top}" width="{self.width}" '
                f'height="{self.height - self._top}"/>'
            )
            return self
        y = self._xy("height", (0.0, height))[0][1]
        self._shapes.append(
            f'<rect class="rig-ground" x="0" y="{number(y)}" width="{self.width}" '
            f'height="{number(max(self.height - y, 0.0))}"/>'
        )
        return self._line([(0.0, y), (float(self.width), y)], "rig-line rig-soft")

    def chain(
        self,
        points: ArrayLike,
        kind: str = "forward",
        side: str | None = None,
        names: Sequence[str] = (),
        thickness: float = 24.0,
    ) -> Self:
        """Bones from joint to joint, tapering toward the far end, with hollow rings for joints.

        Parameters
        ----------
        points : array_like, shape (n, 2) or (n, 3)
            From the root down.
        kind : {"forward", "inverse"}
            Told by hue.
        side : {"L", "R"}, optional
            Told by a letter in the first ring and by the outline, solid left, dashed right.
        names : sequence of str
            Words beside the joints, from the root; "" for none.
        thickness : float
            Width of the first bone at its root in px.
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
            narrow = wide * 0.6
            self._shapes.append(f'<path class="{marks}" d="{_bone(start, end, wide, narrow)}"/>')
            self._solids.append((*start, *end, wide))
            wide *= 0.8
        for i, (x, y) in reversed(
            list(enumerate(xy))
        ):  # the root's ring, with the letter, lies on top
            radius = 12 if side and i == 0 else 8
            self._shapes.append(
                f'<circle class="rig-joint rig-{kind}" cx="{number(x)}" cy="{number(y)}" '
                f'r="{radius}"/>'
            )
            self._solids.append((x, y, x, y, radius + 2))
            if side and i == 0:
                self._shapes.append(
                    f'<text class="rig-side rig-{kind}" x="{number(x)}" y="{number(y + 5.5)}">'
                    f"{side}</text>"
                )
            if i < len(names) and names[i]:
                self._label((x, y), names[i], "soft", radius + 8)
        return self

    def ghost(self, points: ArrayLike) -> Self:
        """A dotted line: the rest pose, or a pose to compare with."""
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
        """A plain wedge with a rounded instep; drawn before its chain, it lies under the ankle's
        ring.

        Parameters
        ----------
        ankle, heel, toe, ball : array_like, shape (2,) or (3,)
            Without `heel` and `toe` the foot is level, its sole `height` below the ankle; at `ball`
            the sole bends.
        kind, side
            As for `chain`.
        height : float
            Of the ankle above a level sole [m].
        """
        marks = _marks("rig-bone", kind, side)
        top = self._xy("ankle", ankle)[0]
        if heel is not None and toe is not None:
            back, front = self._xy("heel", heel)[0], self._xy("toe", toe)[0]
        elif heel is not None or toe is not None:
            raise ValueError(
                "`heel` and `toe` must be given together, or neither for a level foot."
            )
        else:
            back, front = self._level_sole(top, height)
        bend = front if ball is None else self._xy("ball", ball)[0]
        self._shapes.append(
            f'<path class="{marks}" d="{self._foot_outline(top, back, bend, front)}"/>'
        )
        for start, end in ((back, bend), (bend, front), (front, top), (top, back)):
            self._solids.append((*start, *end, 3))
        return self

    def _level_sole(self, ankle: Pair, height: float) -> tuple[Pair, Pair]:
        """Heel and toe of a level foot."""
        if self.view not in ("side", "front"):
            raise ValueError(f"`heel` and `toe` must be given in the {self.view} view.")
        sole = ankle[1] + float(_check.positive("height", height)) * self._scale
        back, front = (-0.06, 0.19) if self.view == "side" else (-0.045, 0.045)
        return (ankle[0] + back * self._scale, sole), (ankle[0] + front * self._scale, sole)

    def _foot_outline(self, ankle: Pair, heel: Pair, ball: Pair, toe: Pair) -> str:
        broad = 0.09 * self._scale
        if self.view == "top":
            return _bone(heel, toe, broad / 2, broad * 0.4)
        end_on = abs(toe[0] - heel[0]) <= broad * 1.01
        if end_on:  # seen from the front a foot still has its breadth
            heel, ball, toe = (
                (ankle[0] + way * broad / 2, max(heel[1], toe[1])) for way in (-1, 1, 1)
            )
        rise = _off_line(ankle, heel, ball)
        over_toe, over_heel = ((x + 0.7 * rise[0], y + 0.7 * rise[1]) for x, y in (toe, heel))
        back = f"Q{_p(over_heel)} {_p(heel)}" if end_on else ""
        return f"M{_p(heel)}L{_p(ball)}L{_p(toe)}Q{_p(over_toe)} {_p(ankle)}{back}Z"

    def goal(self, point: ArrayLike, label: str = "goal", place: str | None = None) -> Self:
        """A green ring where the chain's end should be."""
        return self._ring(point, label, "goal", 18, place)

    def pole(
        self,
        point: ArrayLike,
        label: str = "pole",
        knee: ArrayLike | None = None,
        place: str | None = None,
    ) -> Self:
        """A small diamond: the point the knee turns toward; a thin line to it if `knee` is
        given."""
        x, y = self._xy("pole", point)[0]
        if knee is not None:
            self._line([*self._xy("knee", knee), (x, y)], "rig-line rig-thin rig-plain rig-dashed")
        self._polygon([(x - 8, y), (x, y - 8), (x + 8, y), (x, y + 8)], "rig-joint rig-plain")
        return self._label((x, y), label, "plain", 14, place)

    def control(self, points: ArrayLike, label: str = "", place: str | None = None) -> Self:
        """The outline of a control, a closed line through `points`; its label stands by the first
        point."""
        xy = self._xy("points", points)
        self._drawn.append("a control's outline")
        self._polygon(xy, "rig-control rig-plain")
        return self._label(xy[0], label, "plain", 8, place)

    def skin(self, points: ArrayLike, kind: str = "soft") -> Self:
        """A filled outline: skin seen flat."""
        self._drawn.append("skin")
        return self._polygon(self._xy("points", points), _marks("rig-skin", kind))

    def surface(
        self,
        vertices: ArrayLike,
        triangles: ArrayLike,
        kind: str = "soft",
        lines: Iterable[ArrayLike] = (),
    ) -> Self:
        """Skin as it is seen from outside: filled, with its outline and its folds, and with lines
        drawn on it.

        What lies beyond the limits of the view is cut off.

        Parameters
        ----------
        vertices : array_like, shape (v, 2) or (v, 3)
        triangles : array_like of int, shape (t, 3)
            Three numbers of vertices each, anticlockwise seen from outside.
        kind : str
            As for `skin`.
        lines : sequence of sequences of int
            Numbers of vertices, in order along each line; drawn where the skin faces the viewer.
        """
        xy = np.array(self._xy("vertices", vertices))
        triangles = _check_corners("triangles", triangles, len(xy))
        a, b, c = np.moveaxis(xy[triangles], 1, 0)
        area = (b - a)[:, 1] * (c - a)[:, 0] - (b - a)[:, 0] * (c - a)[
            :, 1
        ]  # y goes down the picture
        seen = area > 1e-6  # px²: what is seen edge-on is neither, whatever the rounding
        loops = [xy[loop].tolist() for loop in _borders(triangles[seen], len(xy))]
        facing = np.zeros(len(xy), dtype=bool)
        facing[triangles[seen]] = True
        drawn = [
            part
            for line in lines
            for part in _seen_parts(
                xy[_check_corners("lines", line, len(xy))], facing[np.asarray(line)]
            )
        ]
        outline = "".join(f"M{_way(loop)}Z" for loop in loops)
        self._drawn.append("skin")
        # in a view of its own, cut off at the limits: a close-up does not run over the title
        self._shapes.append(
            f'<svg y="{self._top}" width="{self.width}" height="{self.height - self._top}"'
            f' viewBox="0 {self._top} {self.width} {self.height - self._top}"><path'
            f' class="{_marks("rig-skin", kind)}" d="{outline}"/><path'
            f' class="{_marks("rig-line", kind)} rig-thin"'
            f' d="{"".join(f"M{_way(part)}" for part in drawn)}"/></svg>'
        )
        self._solids += [
            (*start, *end, 2) for loop in loops for start, end in pairwise([*loop, loop[0]])
        ]
        return self

    def path(self, points: ArrayLike, kind: str = "plain", side: str | None = None) -> Self:
        """A line through `points`: the way something went; dashed for the right side."""
        self._drawn.append(f"a {SIDES[side]}line")
        return self._line(self._xy("points", points), _marks("rig-line", kind, side))

    def dots(self, points: ArrayLike, kind: str = "plain") -> Self:
        """A small dot at each of `points`."""
        self._drawn.append("dots")
        marks = _marks("rig-dot", kind)
        for x, y in self._xy("points", points):
            self._shapes.append(
                f'<circle class="{marks}" cx="{number(x)}" cy="{number(y)}" r="4"/>'
            )
            self._solids.append((x, y, x, y, 5))
        return self

    def arrow(
        self,
        start: ArrayLike,
        end: ArrayLike,
        text: str = "",
        kind: str = "plain",
        place: str | None = None,
    ) -> Self:
        """An arrow from `start` to `end`, named at its head: an axis or a direction."""
        a, b = self._xy("start", start)[0], self._xy("end", end)[0]
        ux, uy = _unit(a, b)
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
        """A dimension line from `a` to `b` with end ticks, and its number beside it, the loudest
        thing in the picture.

        Parameters
        ----------
        a, b : array_like, shape (2,) or (3,)
        text : str
            The number with its unit.
        kind : {"miss", "plain"} or a kind of chain
        offset : float
            px that the line stands off to the right (upward, where it lies level) from what it
            measures.
        place : {"right", "left", "above", "below"}, optional
            The side on which the number stands; by default where there is room.
        """
        marks = _marks("rig-line", kind)
        a, b = self._xy("a", a)[0], self._xy("b", b)[0]
        ux, uy = _unit(a, b)
        nx, ny = -uy, ux
        level = abs(ny) > abs(nx)
        if (ny > 0) if level else (nx < 0):
            nx, ny = -nx, -ny
        offset = float(_check.numbers("offset", offset))
        start, end = ((x + offset * nx, y + offset * ny) for x, y in (a, b))
        clear = math.copysign(14, offset)  # the thin lines keep clear of what is measured
        for far, near in ((start, a), (end, b)):
            if abs(offset) > 20:
                self._line([(near[0] + clear * nx, near[1] + clear * ny), far], f"{marks} rig-thin")
            self._line(
                [(far[0] - 8 * nx, far[1] - 8 * ny), (far[0] + 8 * nx, far[1] + 8 * ny)], marks
            )
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
        """Words beside `point`; as loud as a measure's number if they are one."""
        return self._label(
            self._xy("point", point)[0], text, kind, 8, place, size=NUMBER if loud else TEXT
        )

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
        """An angle at `centre`, from the direction of `start` the shorter way to that of `end`;
        `radius` in px."""
        marks = _marks("rig-line", kind)
        c, s, e = (
            self._xy(n, p)[0] for n, p in (("centre", centre), ("start", start), ("end", end))
        )
        first = math.atan2(s[1] - c[1], s[0] - c[0])
        turn = math.remainder(math.atan2(e[1] - c[1], e[0] - c[0]) - first, math.tau)
        steps = max(2, round(abs(turn) * 12))
        ways = [
            (math.cos(first + turn * i / steps), math.sin(first + turn * i / steps))
            for i in range(steps + 1)
        ]
        self._line([(c[0] + radius * x, c[1] + radius * y) for x, y in ways], marks)
        x, y = math.cos(first + turn / 2), math.sin(first + turn / 2)
        sides = (
            "right" if x > 0 else "left",
            "below" if y > 0 else "above",
        )  # outside the arc, or beside its middle
        sides = sides if abs(x) > abs(y) else sides[::-1]
        return self._label(
            (c[0] + radius * x, c[1] + radius * y),
            text,
            kind,
            8,
            place,
            (*sides, *(other for other in PLACES if other not in sides)),
            NUMBER,
        )

    def _xy(self, name: str, points: ArrayLike) -> list[Pair]:
        """`points` in px, as a list of pairs."""
        hint = "Points are (x, y, z) in metres, or (right, up) in the view."
        array = _check.numbers(name, points, "n", hint=hint)
        if array.shape[-1] == 3:
            array = array @ self._axes
        elif array.shape[-1] != 2:
            raise ValueError(
                f"`{name}` must be points of two or three numbers; got shape {array.shape}. {hint}"
            )
        scale, left, high, top = self._scale, self._left, self._high, self._top
        return [
            ((x - left) * scale, (high - y) * scale + top) for x, y in array.reshape(-1, 2).tolist()
        ]

    def _line(self, xy: Sequence[Pair], marks: str) -> Self:
        self._shapes.append(f'<path class="{marks}" d="M{_way(xy)}"/>')
        self._solids += [(*start, *end, 2) for start, end in pairwise(xy)]
        return self

    def _polygon(self, xy: Sequence[Pair], marks: str) -> Self:
        self._line([*xy, xy[0]], marks)
        self._shapes[-1] = self._shapes[-1].replace('"/>', 'Z"/>')
        return self

    def _ring(
        self, point: ArrayLike, label: str, kind: str, radius: int, place: str | None
    ) -> Self:
        x, y = self._xy("point", point)[0]
        self._shapes.append(
            f'<circle class="rig-ring rig-{kind}" cx="{number(x)}" cy="{number(y)}" r="{radius}"/>'
        )
        self._solids.append((x, y, x, y, radius + 2))
        return self._label((x, y), label, kind, radius + 6, place)

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
        for label in sorted(self._labels, key=lambda label: -label.size):  # numbers choose first
            markup, box = label.placed(view, self._solids, boxes)
            boxes.append(box)
            words.append(markup)
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
    """A stage that holds all points, with some room around them.

    Parameters
    ----------
    view : {"side", "front", "top"}
    points : array_like, shape (n, 3)
    title, width, desc
        As for `Stage`.
    room : float
        On each side, as a share of the larger side.
    flat : sequence of array_like, shape (m, 2)
        Further points, already in the view's own plane.
    least : float
        The least size of the larger side [m].
    tall : float
        The greatest height, as a share of the width.
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


class Label:
    """Words that stand beside a point, on the first of the sides where they touch nothing.

    They keep `reach` px from it: one number, or one for the sides and one for above and below.
    """

    def __init__(
        self, xy: Pair, text: str, kind: str, reach: float | Pair, places: Sequence[str], size: int
    ) -> None:
        self.xy, self.text, self.kind, self.reach, self.places, self.size = (
            xy,
            text,
            kind,
            reach,
            places,
            size,
        )
        self.width = text_width(text, size)

    def placed(self, view: Box, solids: Sequence[Solid], boxes: Sequence[Box]) -> tuple[str, Box]:
        """The markup, and the box it fills."""
        least = math.inf
        for tried, room in self._boxes():
            room = _inside(room, view)
            touched = sum(_touches(solid, room) for solid in solids) + 3 * sum(
                _overlap(room, other) for other in boxes
            )
            if touched < least:
                least, place, box = touched, tried, room
            if touched == 0:
                break
        anchor, x = {"right": ("start", box[0]), "left": ("end", box[2])}.get(
            place, ("middle", (box[0] + box[2]) / 2)
        )
        marks = f"rig-{self.kind}" + (" rig-number" if self.size == NUMBER else "")
        return (
            (
                f'<text class="{marks}" x="{number(x)}" y="{number(box[3] - 0.2 * self.size)}"'
                f' text-anchor="{anchor}">{_text(self.text)}</text>'
            ),
            box,
        )

    def _boxes(self) -> Iterator[tuple[str, Box]]:
        x, y = self.xy
        w, h = self.width, self.size
        aside, along = self.reach if isinstance(self.reach, tuple) else (self.reach, self.reach)
        for shift, away in PLACES_TRIED:
            for place in self.places:
                if place in ("right", "left"):
                    gap, top = aside + away, y - h / 2 + shift * h
                    left = x + gap if place == "right" else x - gap - w
                else:
                    gap, left = along + away, x - w / 2 + shift * w / 2
                    top = y + gap if place == "below" else y - gap - h
                yield place, (left, top, left + w, top + h)


def heading_markup(title: str, width: float) -> tuple[str, int]:
    """A title broken into lines that fit, and the height it takes in px."""
    lines: list[str] = []
    for word in title.split():
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width(longer, TITLE) <= width:
            lines[-1] = longer
        else:
            lines.append(word)
    texts = (
        f'<text class="rig-title rig-plain" x="0" y="{21 + 24 * i}">{_text(line)}</text>'
        for i, line in enumerate(lines)
    )
    return "".join(texts), 24 * len(lines) + 10 if lines else 0


def text_width(text: str, size: int) -> float:
    """A generous estimate of the width of `text` in px, the same on every machine whatever fonts it
    has."""
    wide = 1.1 if size > TEXT else 1.0  # larger words are bolder
    return (
        wide
        * size
        * sum(
            0.36 if c in " .,:;'|!iljtfrI()[]" else 0.98 if c in "mwMW—…%" else 0.66 for c in text
        )
    )


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


def _borders(triangles: Ints, count: int) -> list[list[int]]:
    """The closed lines around some of a mesh's triangles, each as the numbers of its vertices."""
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    codes, opposite = edges @ [count, 1], edges @ [1, count]
    ways: dict[int, list[int]] = {}
    for start, end in edges[~np.isin(codes, opposite, kind="sort")].tolist():
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


def _way(points: Sequence[Pair]) -> str:
    return "L".join(map(_p, points))


def _marks(shape: str, kind: str, side: str | None = None) -> str:
    """The class names of a shape: what it is, its kind, and its side's outline."""
    _check.choice("kind", kind, KINDS)
    if side is not None:
        _check.choice("side", side, ("L", "R"))
    return f"{shape} rig-{kind}" + (" rig-dashed" if side == "R" else "")


def _bone(start: Pair, end: Pair, wide: float, narrow: float) -> str:
    """The outline of a bone: rounded at both ends, tapering toward the far joint."""
    ux, uy = _unit(start, end)
    sides = [
        (x + s * r * -uy, y + s * r * ux)
        for (x, y), r, s in (
            (start, wide, 1),
            (start, wide, -1),
            (end, narrow, -1),
            (end, narrow, 1),
        )
    ]
    one, two, three, four = map(_p, sides)
    return (
        f"M{one}A{number(wide)} {number(wide)} 0 0 1 {two}L{three}A{number(narrow)}"
        f" {number(narrow)} 0 0 1 {four}Z"
    )


def _unit(a: Pair, b: Pair) -> Pair:
    """The direction from `a` to `b`; straight down the picture where they coincide."""
    length = math.hypot(b[0] - a[0], b[1] - a[1])
    return ((b[0] - a[0]) / length, (b[1] - a[1]) / length) if length > 1e-6 else (0.0, 1.0)


def _off_line(point: Pair, a: Pair, b: Pair) -> Pair:
    """The way to `point` from the line through `a` and `b`, square to it."""
    ux, uy = _unit(a, b)
    across = (point[0] - a[0]) * -uy + (point[1] - a[1]) * ux
    return -uy * across, ux * across


def _touches(solid: Solid, box: Box) -> bool:
    """Whether a thick segment (x1, y1, x2, y2, half width) touches a box: separating axes, so exact
    for r = 0."""
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


def _overlap(a: Box, b: Box) -> bool:
    return a[0] < b[2] and b[0] < a[2] and a[1] < b[3] and b[1] < a[3]


def _inside(box: Box, view: Box) -> Box:
    """`box` moved into `view`."""
    dx = max(view[0] - box[0], 0) or min(view[2] - box[2], 0)
    dy = max(view[1] - box[1], 0) or min(view[3] - box[3], 0)
    return box[0] + dx, box[1] + dy, box[2] + dx, box[3] + dy


def number(value: float) -> str:
    """A number of px to one decimal, never −0; the nudge keeps halves from rounding differently
    elsewhere."""
    return (
        f"{round(value + 1e-6, 1) + 0.0:g}"
        if abs(value) < 1e5
        else f"{math.copysign(1e5, value):g}"
    )


def _p(xy: Pair) -> str:
    return f"{number(xy[0])} {number(xy[1])}"


def _text(text: str) -> str:
    return escape(text, quote=False)


def _sentence(text: str) -> str:
    return text if not text or text.endswith((".", "?", "!")) else text + "."
