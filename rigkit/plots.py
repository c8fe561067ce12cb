"""Curves and bars, by matplotlib, as pictures that follow the page's theme like stages do.

Drawn without pyplot, so that nothing is left open and nothing depends on a notebook's back end.
Words stay text: the file is small, sharp, readable by tests and by screen readers, and the same on
every machine.
"""

from __future__ import annotations

import copy
import io
import re
from collections.abc import Mapping, Sequence
from contextlib import AbstractContextManager
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np

from rigkit import _check
from rigkit._types import ArrayLike, Floats
from rigkit.stage import INKS, KINDS, Picture
from rigkit.stage.inks import NUMBER, TEXT
from rigkit.stage.labels import EDGE, Label, Solid, boxed, heading_markup, text_width
from rigkit.stage.markup import line, number

if TYPE_CHECKING:  # loaded when something is drawn
    from matplotlib.axes import Axes
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure

__all__ = ["Plot", "curves", "bars"]

# Curves differ by line style as well as by hue, in this order unless `kinds` says otherwise.
HUES = ("inverse", "forward", "goal", "plain", "miss", "soft")
_DASHES = ((6, 2.5), (1.2, 1.6), (7, 2, 1.2, 2), (3, 1.5), (10, 3, 1, 3, 1, 3))
STYLES: Any = ("-", *((0, dashes) for dashes in _DASHES))
WIDE = 2.75  # px
CURVE = "curve"  # the group of a curve that can be drawn anew
NO_ZERO = "A logarithmic axis has no zero."

_SETTINGS: dict[Any, Any] = {
    "svg.hashsalt": "rigkit",
    "svg.fonttype": "none",
    "font.family": "DejaVu Sans",
    "font.size": TEXT,
    "axes.edgecolor": INKS["soft"][0],
    "axes.labelcolor": INKS["ink"][0],
    "axes.linewidth": 1.25,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "axes.grid": True,
    "axes.axisbelow": True,
    "axes.unicode_minus": True,
    "grid.color": INKS["soft"][0],
    "grid.alpha": 0.35,
    "grid.linewidth": 1,
    "xtick.color": INKS["soft"][0],
    "ytick.color": INKS["soft"][0],
    "xtick.labelcolor": INKS["soft-text"][0],
    "ytick.labelcolor": INKS["soft-text"][0],
    "lines.linewidth": WIDE,
    "legend.frameon": False,
    "figure.dpi": 72,
    "savefig.dpi": 72,
    "path.simplify": True,
    "text.usetex": False,
    "axes.formatter.useoffset": False,
}
_KEY: dict[str, Any] = {
    "loc": "lower left",
    "bbox_to_anchor": (-0.02, 1),
    "borderpad": 0.2,
    "handlelength": 2.6,
}
# a light ink's hex value to its variable
_NAMES = {ink: name for name, (ink, _) in reversed(INKS.items())}


def __dir__() -> list[str]:
    return __all__


class Plot(Picture):
    """A drawn chart; made by `curves` and `bars`.

    Parameters
    ----------
    title, desc : str
        The text alternative: a line, and what is seen.
    width, height : int
        Pixels.
    body : str
        SVG.
    axes : optional
        The scales that a mark needs.
    """

    def __init__(
        self, title: str, desc: str, width: int, height: int, body: str, axes: _Axes | None = None
    ) -> None:
        self._pieces, self._axes, self._mark, self._unmarked = _pieces(body), axes, "", desc
        super().__init__(title, desc, width, height)

    def at(self, x: float, text: str = "") -> Plot:
        """Mark a place on each of the curves, with a number beside it.

        Only the marker is drawn anew.

        Parameters
        ----------
        x : float
            Beyond the axis it is held at its end.
        text : str
            Such as "31 steps".

        Returns
        -------
        Plot
            The same curves, and the marker.

        Raises
        ------
        ValueError
            For bars, which have no x, or an `x` that is not finite.
        """
        if self._axes is None:
            raise ValueError("`at` needs curves; bars have no x to mark.")
        at, ring_ys, hues = self._axes.mark(float(_check.numbers("x", x)))
        top, bottom = self._axes.top, self._axes.bottom
        way = f"M{number(at)} {number(top)}V{number(bottom)}"
        shapes = [f'<path class="rig-line rig-thin rig-plain" d="{way}"/>']
        shapes += [
            f'<circle class="rig-joint rig-{hue}" cx="{number(at)}" cy="{number(y)}" r="6"/>'
            for y, hue in zip(ring_ys, hues, strict=True)
        ]
        if text:
            label = Label((at, ring_ys[0]), text, "plain", 14, ("right", "left"), NUMBER)
            view = self._axes.left, top, self.width - EDGE, bottom
            shapes.append(label.placed(view, boxed(self._axes.near(at, label.width + 20)), [])[0])
        marked = copy.copy(self)
        marked._mark = "".join(shapes)
        marked.desc = f"{self._unmarked} At the marker: {text}." if text else self._unmarked
        return marked

    def until(self, x: float) -> Plot:
        """Draw the curves from their start to a place only; a marker has to be set again.

        Parameters
        ----------
        x : float
            Beyond the axis it is held at its end.

        Returns
        -------
        Plot
            The same axes, and the curves as far as `x`.

        Raises
        ------
        ValueError
            For bars, which have no x, or an `x` that is not finite.
        """
        if self._axes is None:
            raise ValueError("`until` needs curves; bars have no x to end at.")
        xs = self._axes.xs
        at, end_ys, _ = self._axes.mark(float(_check.numbers("x", x)))
        drawn = copy.copy(self)
        drawn._pieces, drawn._mark, drawn.desc = [*self._pieces], "", self._unmarked
        for i, (ys, end) in enumerate(zip(self._axes.ys, end_ys, strict=True)):
            points = [*zip(xs[xs < at].tolist(), ys[xs < at].tolist(), strict=True), (at, end)]
            drawn._pieces[2 * i + 1] = f"M{line(points)}"
        return drawn

    def place(self, point: ArrayLike) -> Floats:
        """Return where a point of the chart lies in the picture.

        Parameters
        ----------
        point : array_like, shape (2,)
            x and y in the chart's own units.

        Returns
        -------
        ndarray, shape (2,)
            From the left and from the top [px].

        Raises
        ------
        ValueError
            For bars, which have no x, or a point that is not finite or not above zero on a
            logarithmic axis.
        """
        if self._axes is None:
            raise ValueError("`place` needs curves; bars have no x to place a point by.")
        x, y = _check.numbers("point", point, 2).reshape(2)
        return np.array([self._axes.across("point", x), self._axes.down("point", y)])

    def with_lines(self, lines: Mapping[str, ArrayLike], until: int | None = None) -> Plot:
        """Draw some of the curves anew, over the same x and in the same axes.

        Only their paths are made again, quickly enough for a slider; a marker has to be set again.

        Parameters
        ----------
        lines : mapping of str to array_like, shape (n,)
            Among the names of the chart's curves.
        until : int, optional
            The number of the last point that is drawn: a curve that ends where it has come.

        Returns
        -------
        Plot
            The same chart with these curves.

        Raises
        ------
        ValueError
            For bars, names that are none of the curves', bad numbers, or lengths that differ.
        """
        if self._axes is None:
            raise ValueError("`with_lines` needs curves; bars stay as they were drawn.")
        unknown = [name for name in lines if name not in self._axes.names]
        if unknown:
            raise ValueError(
                f"`lines` must name curves, among {', '.join(self._axes.names)}; "
                f"got {', '.join(map(str, unknown))}."
            )
        drawn, axes = copy.copy(self), copy.copy(self._axes)
        drawn._axes, drawn._pieces = axes, [*self._pieces]
        drawn._mark, drawn.desc = "", self._unmarked
        axes.ys = [*self._axes.ys]
        for name, y in lines.items():
            i = axes.names.index(name)
            ys = axes.ys[i] = axes.px_of(name, y)
            points = [*zip(axes.xs.tolist(), ys.tolist(), strict=True)]
            drawn._pieces[2 * i + 1] = f"M{line(points[: None if until is None else until + 1])}"
        return drawn

    def _inner(self) -> str:
        return "".join(self._pieces) + self._mark


def curves(
    x: ArrayLike,
    lines: Mapping[str, ArrayLike],
    xlabel: str,
    ylabel: str,
    title: str = "",
    desc: str = "",
    *,
    log_x: bool = False,
    log_y: bool = False,
    spans: Mapping[str, Sequence[float]] | None = None,
    kinds: Mapping[str, str] | None = None,
    ylim: Sequence[float] | None = None,
    width: int = 600,
    height: int = 380,
) -> Plot:
    """Draw curves over a common x.

    Parameters
    ----------
    x : array_like, shape (n,)
        Rising.
    lines : mapping of str to array_like, shape (n,)
        At most six; the words name the curves.
    xlabel, ylabel : str
        With the unit: "knee flexion (°)".
    title, desc : str
        A sentence above the chart; its text alternative.
    log_x, log_y : bool
        Logarithmic axes, for values above zero.
    spans : mapping of str to (float, float), optional
        A shaded range in x, named at its top.
    kinds : mapping of str to str, optional
        The hue of a curve, by its kind: "forward", "inverse", "goal", "miss", "plain", "soft".
    ylim : (float, float), optional
        The ends of the vertical axis; those of the values by default.
    width, height : int
        The size it is drawn at [px].

    Returns
    -------
    Plot

    Raises
    ------
    ValueError
        For bad numbers, lengths that differ, x that does not rise, more than six curves, values on
        a logarithmic axis that are not above zero.
    """
    x, lines = _checked(x, lines, log_x, log_y)
    hues = _hues(lines, kinds)
    figure, axes, heading, styles = _begin(title, width, height)
    with styles:
        for (name, y), hue, style in zip(lines.items(), hues, STYLES, strict=False):
            axes.plot(x, y, color=_ink(hue), linestyle=style, label=name, gid=CURVE)
        axes.set(xscale="log" if log_x else "linear", yscale="log" if log_y else "linear")
        axes.set_xlim(x[0], x[-1])
        if ylim is not None:
            axes.set_ylim(*_check.numbers("ylim", ylim, 2).reshape(2))
        for name, ends in (spans or {}).items():
            _shade(axes, name, *_check.numbers(name, ends, 2).reshape(2).tolist())
        for axis, log in ((axes.xaxis, log_x), (axes.yaxis, log_y)):
            if log:
                _label_powers(axis)
        axes.set(xlabel=xlabel, ylabel=ylabel)
        if len(lines) > 1:
            axes.legend(**_KEY, ncols=_columns([*lines], width))
        body = heading + _markup(figure)
        where = _Axes(axes, height, x, lines, hues)  # only now is the layout settled
    name = f"{ylabel} against {xlabel}"
    return Plot(title or name, desc or f"{name}: {', '.join(lines)}.", width, height, body, where)


def bars(
    values: Mapping[str, float],
    xlabel: str,
    title: str = "",
    desc: str = "",
    *,
    form: str = "{:.1f}",
    kinds: Mapping[str, str] | None = None,
    width: int = 600,
) -> Plot:
    """Draw level bars, one for each name, with their numbers at their ends.

    Parameters
    ----------
    values : mapping of str to float
        By the names of the bars, from the top.
    xlabel : str
        With the unit.
    title, desc : str
        As for `curves`.
    form : str
        How a number is written, as for `str.format`.
    kinds : mapping of str to str, optional
        As for `curves`; "inverse" by default.
    width : int
        The width it is drawn at [px]; the height follows from the number of bars.

    Returns
    -------
    Plot

    Raises
    ------
    ValueError
        For no values, values that are not finite, or unknown kinds.
    """
    names = list(values)
    lengths = _check.numbers("values", list(values.values()), "n")
    hues = [(kinds or {}).get(name, "inverse") for name in names]
    height = 34 * len(names) + 60 + heading_markup(title, width)[1]
    figure, axes, heading, styles = _begin(title, width, height)
    with styles:
        inks = [_ink(_check.choice("kinds", hue, KINDS)) for hue in hues]
        drawn = axes.barh(names, lengths, color=inks, height=0.62)
        said = [form.format(v) for v in lengths]
        axes.bar_label(drawn, said, padding=6, color=INKS["ink"][0], weight="bold")
        axes.margins(x=0.2)
        axes.invert_yaxis()
        axes.grid(visible=False, axis="y")
        axes.tick_params(axis="y", length=0)
        counts = bool((lengths % 1 == 0).all())  # counts have no halves
        axes.locator_params(axis="x", integer=counts)
        axes.set_xlabel(xlabel)
        body = heading + _markup(figure)
    numbers = "; ".join(map(" ".join, zip(names, said, strict=True)))
    return Plot(title or xlabel, desc or f"{xlabel}: {numbers}.", width, height, body)


class _Axes:
    """The places of data in the picture, in px, for a marker that moves without matplotlib."""

    def __init__(
        self, axes: Axes, height: int, x: Floats, lines: Mapping[str, Floats], hues: list[str]
    ) -> None:
        box = axes.get_window_extent()
        self.left, self.right = box.x0, box.x1
        self.top, self.bottom = height - box.y1, height - box.y0
        self.log = axes.get_xscale() == "log"
        self.low, self.high = x[0], x[-1]
        to_px = axes.transData.transform
        self.xs = to_px(np.column_stack([x, np.full_like(x, axes.get_ylim()[0])]))[:, 0]
        self.names, self.hues = list(lines), hues
        self.log_y, self.ylim = axes.get_yscale() == "log", axes.get_ylim()
        self.ys = [self.px_of(name, y) for name, y in lines.items()]

    def px_of(self, name: str, y: ArrayLike) -> Floats:
        """Distances of a curve's values from the picture's top, in px."""
        y = _check.numbers(name, y, "n")
        if y.shape != self.xs.shape:
            raise ValueError(
                f"`{name}` must have as many values as `x`; got shapes {y.shape} and"
                f" {self.xs.shape}."
            )
        return self.down(name, y)

    def down(self, name: str, y: ArrayLike) -> Floats:
        """Distances of heights in the chart from the picture's top, in px."""
        share = _share(name, y, *self.ylim, self.log_y)
        return self.bottom + share * (self.top - self.bottom)

    def across(self, name: str, x: ArrayLike) -> Floats:
        """The distance of an x from the picture's left edge, in px."""
        return self.left + _share(name, x, self.low, self.high, self.log) * (self.right - self.left)

    def near(self, at: float, reach: float) -> list[Solid]:
        """The marker's line and the curves around `at`, as thick segments: words keep clear."""
        first, last = np.searchsorted(self.xs, (at - reach, at + reach))
        # chords are near enough, and quick
        some = slice(max(first - 1, 0), last + 1, max(1, (last - first) // 8))
        xs = self.xs[some].tolist()
        solids: list[Solid] = [(at, self.top, at, self.bottom, 2)]
        for ys in self.ys:
            points = zip(xs, ys[some].tolist(), strict=True)
            solids += [(*start, *end, 5) for start, end in pairwise(points)]
        return solids

    def mark(self, x: float) -> tuple[float, list[float], list[str]]:
        """The place of `x`, and of every curve there, along the lines as they are drawn."""
        at = float(self.across("x", np.clip(x, self.low, self.high)))
        return at, [float(np.interp(at, self.xs, ys)) for ys in self.ys], self.hues


def _share(name: str, value: ArrayLike, low: float, high: float, log: bool) -> Floats:
    """The share of an axis at which values lie, from 0 at its low end to 1 at its high one."""
    if log:
        value = np.log(_check.positive(name, value, hint=NO_ZERO))
        low, high = np.log(low), np.log(high)
    return (np.asarray(value) - low) / (high - low)


def _checked(
    x: ArrayLike, lines: Mapping[str, ArrayLike], log_x: bool, log_y: bool
) -> tuple[Floats, dict[str, Floats]]:
    x = _check.numbers("x", x, "n")
    if x.ndim != 1 or len(x) < 2 or not (np.diff(x) > 0).all():
        raise ValueError(
            f"`x` must be two or more rising numbers; got shape {x.shape}. Sort the values first."
        )
    if not 1 <= len(lines) <= len(STYLES):
        raise ValueError(
            f"`lines` must be one to {len(STYLES)} curves; got {len(lines)}. Make two plots of"
            " more."
        )
    checked = {name: _check.numbers(name, y, "n") for name, y in lines.items()}
    for name, y in checked.items():
        if y.shape != x.shape:
            raise ValueError(
                f"`{name}` must have as many values as `x`; got shapes {y.shape} and {x.shape}."
            )
        if log_y:
            _check.positive(name, y, "n", hint=NO_ZERO)
    if log_x:
        _check.positive("x", x, "n", hint=NO_ZERO)
    return x, checked


def _hues(lines: Mapping[str, Floats], kinds: Mapping[str, str] | None) -> list[str]:
    kinds = kinds or {}
    unknown = [name for name in kinds if name not in lines]
    if unknown:
        raise ValueError(
            f"`kinds` must name curves, among {', '.join(lines)}; got {', '.join(unknown)}."
        )
    return [
        _check.choice("kinds", kinds.get(name, hue), KINDS)
        for name, hue in zip(lines, HUES, strict=False)
    ]


def _shade(axes: Axes, name: str, start: float, end: float) -> None:
    """Shade a range in x, named at its top."""
    axes.axvspan(start, end, color=INKS["soft"][0], alpha=0.18, linewidth=0)
    axes.text(
        (start + end) / 2,
        0.985,
        name,
        transform=axes.get_xaxis_transform(),
        ha="center",
        va="top",
        color=INKS["soft-text"][0],
    )


def _label_powers(axis: Axis) -> None:
    """Write the ticks of a logarithmic axis; within a decade those between its powers, too."""
    least, most = axis.get_view_interval()
    axis.set_major_formatter(_power)
    axis.set_minor_formatter(_power if most < 10 * least else lambda value, place: "")


def _begin(
    title: str, width: int, height: int
) -> tuple[Figure, Axes, str, AbstractContextManager[None]]:
    """A figure with room for its title, its axes, the title's markup, and settings to draw with."""
    import matplotlib
    from matplotlib.figure import Figure
    from matplotlib.layout_engine import ConstrainedLayoutEngine

    heading, top = heading_markup(title, width)
    with matplotlib.rc_context(_SETTINGS):
        layout = ConstrainedLayoutEngine(
            w_pad=12 / 72, h_pad=3 / 72, rect=(0, 0, 1, 1 - top / height)
        )
        figure = Figure(
            figsize=(_check.count("width", width, 200) / 72, height / 72), layout=layout
        )
        return figure, figure.add_subplot(), heading, matplotlib.rc_context(_SETTINGS)


def _columns(names: Sequence[str], width: int) -> int:
    """The number of a key's entries that fit side by side.

    Too wide a key would leave its axes no room.
    """
    entry = max(text_width(name, TEXT) for name in names) + 4 * TEXT
    return max(1, min(3, int((width - 6 * TEXT) / entry)))


def _ink(kind: str) -> str:
    return INKS["ink" if kind == "plain" else kind][0]


def _power(value: float, place: float | None) -> str:
    """A tick on a logarithmic axis: 0.01, 1, 100, else a power of ten."""
    if 0.001 <= value <= 10000:
        return f"{value:g}"
    return "10" + f"{round(np.log10(value))}".translate(str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹"))


def _pieces(body: str) -> list[str]:
    """A chart's markup cut at its curves: the part before the first, its path, the next part, …"""
    pieces = re.split(rf'<g id="{CURVE}"><path d="([^"]*)', body)
    pieces[:-1:2] = [text + '<g><path d="' for text in pieces[:-1:2]]
    return pieces


def _markup(figure: Figure) -> str:
    """The figure's SVG without its frame: our inks and font, no ids, numbers to two decimals."""
    text = io.StringIO()
    figure.savefig(text, format="svg", transparent=True, metadata={"Date": None, "Creator": None})
    body = text.getvalue().partition("<svg")[2].partition(">")[2].rpartition("</svg>")[0]
    body = re.sub(
        r"<metadata>.*?</metadata>|<style.*?</style>|<!--.*?-->", "", body, flags=re.DOTALL
    )
    return f'<g class="rig-plot">{re.sub("<[^>]*>", _tag, re.sub(chr(10) + " *", "", body))}</g>'


def _tag(match: re.Match[str]) -> str:
    """One tag of matplotlib's, made ours."""
    tag = re.sub(rf'^<g id="(?!{CURVE}")[^"]*"', "<g", match[0]).replace("xlink:href", "href")
    tag = re.sub(r" font-family: [^;\"]*;| transform=\"rotate\(-?0 [^\"]*\)\"", "", tag)
    tag = tag.replace("font-weight: 700", "font-weight: 600")
    tag = re.sub(
        r"#[0-9a-f]{6}\b", lambda m: f"var(--{_NAMES[m[0]]})" if m[0] in _NAMES else m[0], tag
    )
    return re.sub(r"-?\d+\.\d{3,}", lambda m: f"{round(float(m[0]) + 1e-7, 2) + 0.0:g}", tag)
