"""Panels: a sentence, pictures that can be taken hold of, their numbers in words, and controls.

A panel is a pure function from its controls' values to a frame: the pictures, the words, and where
its grips are. A lesson can call it for a picture at rest, and a test without a page. What is seen
of it in a page is `data/panel.js`, which asks for frames through `rigkit._panel_widget`.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from html import escape, unescape
from typing import TYPE_CHECKING, Any

import numpy as np

from rigkit import _check
from rigkit._types import ArrayLike, Floats
from rigkit.asking import Check, Guess
from rigkit.stage import Picture, Row, Stage

if TYPE_CHECKING:
    from rigkit._panel_widget import PanelWidget

__all__ = ["FRAMES_A_SECOND", "Choice", "Grip", "Panel", "Slider", "quick_check"]

FRAMES_A_SECOND = 24
FORM = 2  # of what is said between kernel and page; data/panel.js names its own
TEACHING = "RIGKIT_TEACHING"  # set in a classroom: a guess is a show of hands
_MARKUP = re.compile("<[^>]*>")
_NEAR = 1e-4  # share of a control's range by which a grip's place is differentiated
_EDGE = 8.0  # px outside a picture where a grip can still be taken


@dataclass(frozen=True)
class Slider:
    """A number to drag or type.

    In a browser a typed number snaps to the nearest `step`.

    Parameters
    ----------
    key : str
        The name under which `Panel` passes the value to its `draw`.
    label : str
    low, high, step : float
        The range and how fine it is; all three whole numbers give a slider of whole numbers.
    value : float
        Where it starts.
    unit : str
        Shown after the label.

    Raises
    ------
    ValueError
        If the range is empty, the step is not above zero, or the value lies outside the range.
    """

    key: str
    label: str
    low: float
    high: float
    step: float
    value: float
    unit: str = ""

    def __post_init__(self) -> None:
        for name in ("low", "high", "value"):
            _check.numbers(name, getattr(self, name))
        _check.positive("step", self.step)
        if not self.low < self.high:
            raise ValueError(
                f"`high` of {self.key!r} must be above `low`; got {self.high!r} and {self.low!r}."
            )
        self.check(self.value)

    def __repr__(self) -> str:
        unit = self.unit if self.unit.startswith("°") else f" {self.unit}".rstrip()
        return (
            f"Slider: {self.label}, {self.low:g} to {self.high:g}{unit} by {self.step:g}, at"
            f" {self.value:g}"
        )

    @property
    def whole(self) -> bool:
        """True if it holds whole numbers."""
        return all(isinstance(v, int) for v in (self.low, self.high, self.step))

    def check(self, value: Any) -> float:
        """Return `value` if it is in the range, else raise; a bare widget would clamp it.

        Parameters
        ----------
        value : float

        Returns
        -------
        int or float

        Raises
        ------
        ValueError
            If it is no number, lies outside the range, or is not whole where it must be.
        """
        number = _check.numbers(self.key, value)
        if number.ndim or not self.low <= number <= self.high or (self.whole and number % 1):
            need = f"a {'whole ' if self.whole else ''}number from {self.low:g} to {self.high:g}"
            raise ValueError(f"`{self.key}` must be {need}; got {value!r}.")
        return int(number) if self.whole else float(number)

    def told(self) -> dict[str, Any]:
        """Return what a page is told of it.

        Returns
        -------
        dict
        """
        fields = ("key", "label", "unit", "low", "high", "step")
        return {field: getattr(self, field) for field in fields}


@dataclass(frozen=True)
class Choice:
    """One of a few named options, side by side.

    Parameters
    ----------
    key : str
        The name under which `Panel` passes the value to its `draw`.
    label : str
    options : sequence
    value : object
        The option it starts at.

    Raises
    ------
    ValueError
        If the value is not one of the options.
    """

    key: str
    label: str
    options: Sequence
    value: object

    def __post_init__(self) -> None:
        self.check(self.value)

    def __repr__(self) -> str:
        return f"Choice: {self.label}, {', '.join(map(str, self.options))}, at {self.value}"

    def check(self, value: Any) -> Any:
        """Return `value` if it is one of the options, else raise a `ValueError`.

        Parameters
        ----------
        value : object

        Returns
        -------
        object, the same
        """
        if value not in tuple(self.options):
            raise ValueError(
                f"`{self.key}` must be one of {', '.join(map(repr, self.options))}; got {value!r}."
            )
        return value

    def told(self) -> dict[str, Any]:
        """Return what a page is told of it.

        Returns
        -------
        dict
        """
        return {"key": self.key, "label": self.label, "options": list(self.options)}


@dataclass(frozen=True)
class Grip:
    """A place in the pictures that can be taken, and the sliders that follow it.

    Parameters
    ----------
    name : str
        What is taken, such as "Pelvis": what a screen reader says.
    at : callable
        `at(**values)` gives where it is, a point of shape (3,) in world metres or (2,) in a view's
        own plane or a plot's own units; None where it cannot be taken.
    moves : sequence of str
        The keys of the sliders that move it.
    views : sequence of int, optional
        The pictures, from the left, in which it is seen; by default all stages.
    chooses : mapping of str to object, optional
        Values of choices that a hand on it, or on a slider that moves it, sets besides. Sliders
        that move only such grips are seen while one of these is chosen.
    batched : bool
        True if `at` also takes an array of values for each slider that moves the grip, all of shape
        (n,), and then gives n places. Each frame asks for several: this way they cost one.

    Raises
    ------
    ValueError
        If it has no name or moves nothing.
    """

    name: str
    at: Callable[..., ArrayLike | None]
    moves: Sequence[str]
    views: Sequence[int] | None = None
    chooses: Mapping[str, Any] = field(default_factory=dict)
    batched: bool = False

    def __post_init__(self) -> None:
        if not self.name or isinstance(self.moves, str) or not self.moves:
            raise ValueError(
                "`moves` must be the keys of sliders, and `name` say what is taken; got"
                f" {self.moves!r} and {self.name!r}."
            )

    def __repr__(self) -> str:
        return f"Grip: {self.name}, moved by {', '.join(self.moves)}"

    def places(self, values: Sequence[Mapping[str, Any]]) -> Sequence[ArrayLike | None]:
        """Return where it is at each of several values, which differ in what moves it alone.

        Parameters
        ----------
        values : sequence of mapping
            Each the values of all controls, by their keys.

        Returns
        -------
        sequence of array_like or None
        """
        if not self.batched:
            return [self.at(**each) for each in values]
        moved = {key: np.array([each[key] for each in values]) for key in self.moves}
        found = self.at(**{**values[0], **moved})
        return [None] * len(values) if found is None else list(np.asarray(found))

    def told(self) -> dict[str, Any]:
        """Return what a page is told of it.

        Returns
        -------
        dict
        """
        return {"name": self.name, "moves": list(self.moves), "chooses": dict(self.chooses)}


class Panel:
    """Controls that change a picture, and what it shows in words.

    Parameters
    ----------
    title : str
        A sentence.
    controls : sequence of Slider or Choice
        From cause to effect.
    draw : callable
        `draw(**values)` gives (picture or markup, readout): a pure function of the controls'
        values. A `ValueError` from it is shown as a sentence and the last picture stays; any other
        error is a fault and is raised.
    presets : mapping of str to mapping or sequence, optional
        Named values to jump to: by key, or in the order of `controls`. A control that a preset
        leaves out keeps its value.
    size : int
        Greatest width in px.
    play : str, optional
        The key of a slider of whole numbers. A button runs it at 24 steps a second, after its last
        value from its first again, until it is pressed once more, or anything else is.
    grips : sequence of Grip, optional
        What can be taken in the pictures.
    ask : Guess or Check, optional
        What is asked before the pictures can be moved, or, without controls, before they show.

    Attributes
    ----------
    history : callable, optional
        `history("undo")` and `history("redo")` are called for Ctrl Z and Ctrl Shift Z by whoever
        keeps more than this panel's own moves; to be set before the panel is shown.

    Raises
    ------
    ValueError
        For a key or a grip's name used twice, a preset with an unknown key, too many values or a
        value out of range, a `play` that cannot be run, or a grip that moves no slider.
    """

    def __init__(
        self,
        title: str,
        controls: Sequence[Slider | Choice],
        draw: Callable[..., tuple[Picture | str, str]],
        presets: Mapping[str, Mapping[str, Any] | Sequence[Any]] | None = None,
        size: int = 880,
        play: str | None = None,
        grips: Sequence[Grip] = (),
        ask: Guess | Check | None = None,
    ) -> None:
        self.title, self.controls = title, {control.key: control for control in controls}
        if len(self.controls) < len(controls):
            raise ValueError(
                f"`controls` must have different keys; got {', '.join(c.key for c in controls)}."
            )
        self.presets = {name: self._preset(name, given) for name, given in (presets or {}).items()}
        self.size, self.play = _check.count("size", size), self._playable(play)
        self.grips = self._checked_grips(grips)
        self.draw, self.ask = draw, ask
        self.history: Callable[[str], object] | None = None
        self._start = self._checked({control.key: control.value for control in controls})
        self._values: dict[str, Any] = dict(self._start)
        self._widget: PanelWidget | None = None
        self._picture: Picture | str = ""
        self.move({})

    @property
    def values(self) -> dict[str, Any]:
        """The controls' values by key."""
        return dict(self._values)

    @property
    def picture(self) -> str:
        """The markup of the picture now."""
        return _markup(self._picture)

    @property
    def readout(self) -> str:
        """The words under the picture now, as markup."""
        return f'<div class="rig-readout">{self._frame["words"]}</div>'

    @property
    def shown(self) -> dict[str, Any]:
        """The frame now, as of `frame`."""
        return self._frame

    @property
    def widget(self) -> PanelWidget:
        """The widget that a notebook shows; made when it is asked for."""
        if self._widget is None:
            from rigkit import course
            from rigkit._panel_widget import PanelWidget

            self._widget = PanelWidget(
                self.head, self.shown, self._answer, course.keep_answer, self.history
            )
        return self._widget

    @property
    def head(self) -> dict[str, Any]:
        """The title, controls, moments and grips, for a page."""
        moments = {**self.presets, "Reset": self._start}
        return {
            "form": FORM,
            "title": self.title,
            "size": self.size,
            "play": self.play,
            "controls": [control.told() for control in self.controls.values()],
            "moments": [{"name": name, "values": values} for name, values in moments.items()],
            "grips": [grip.told() for grip in self.grips],
            "ask": self._question(),
            "history": self.history is not None,
        }

    def after(self, guess: Guess) -> Panel:
        """Return the same panel, at its start, behind a guess.

        Parameters
        ----------
        guess : Guess

        Returns
        -------
        Panel
        """
        start = [replace(each, value=self._start[key]) for key, each in self.controls.items()]
        return Panel(
            *(self.title, start, self.draw, self.presets, self.size, self.play, self.grips), guess
        )

    def frame(self, **values: Any) -> dict[str, Any]:
        """Return what there is to see at some values; nothing moves.

        Parameters
        ----------
        **values
            By the controls' keys; those left out are as they are now.

        Returns
        -------
        dict
            `values`; `words`, as markup; `views`, each picture's markup `svg`, its size `w` and `h`
            in px and what it is seen `from`; `label`, the pictures' name; `grips`, each with the
            numbers of its `grip` and its `view`, its place `x` and `y` in px, and `J`, by how many
            px right and down a unit of each control moves it; `found`, what these values tell of
            a guess, as of `Guess.found`. Where `draw` raises a `ValueError`, only `values` and
            `words`.

        Raises
        ------
        ValueError
            For an unknown key or a value out of range.
        """
        values = self.values | self._checked(values)
        return self._drawn(values)[1]

    def set(self, **values: Any) -> None:
        """Set some of the controls and draw once.

        Parameters
        ----------
        **values
            By the controls' keys.

        Raises
        ------
        ValueError
            For an unknown key or a value out of range; then nothing moves.
        """
        self.move(values)
        if self._widget is not None:
            self._widget.show(self._frame)

    def move(self, values: Mapping[str, Any]) -> dict[str, Any]:
        """Set some of the controls, draw once, and return the frame; no page is told.

        Parameters
        ----------
        values : mapping
            By the controls' keys.

        Returns
        -------
        dict
            As of `frame`.

        Raises
        ------
        ValueError
            As by `set`.
        """
        values = self.values | self._checked(values)
        picture, self._frame = self._drawn(values)
        self._values, self._picture = values, picture or self._picture
        return self._frame

    def reset(self) -> None:
        """Go back to the values it started with."""
        self.set(**self._start)

    def __repr__(self) -> str:
        values = ", ".join(
            f"{self.controls[key].label}: {value}" for key, value in self.values.items()
        )
        return f"Panel: {self.title} {values}. {unescape(_MARKUP.sub('', self.readout))}"

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        shown = self.widget._repr_mimebundle_(**kwargs)
        data, about = shown if isinstance(shown, tuple) else (shown or {}, {})
        return data | {"text/plain": repr(self), "text/html": self._still()}, about

    def _still(self) -> str:
        """Markup for where no kernel answers: the question, the sentence, picture, and words."""
        picture, asked = self._picture, self.ask.still() if self.ask else ""
        shown = (
            picture._repr_mimebundle_()["text/html"] if isinstance(picture, Picture) else picture
        )
        if isinstance(self.ask, Check):
            return f"{shown}{asked}"
        said = f"<p><strong>{escape(self.title)}</strong></p>{shown}<p>{self._frame['words']}</p>"
        if self.ask and not self.controls:  # what answers the question waits until it is opened
            found = self._frame["found"] or {"words": ""}
            folded = (
                f"<details><summary>The answer</summary>{said}<p>{found['words']}</p></details>"
            )
            return asked + folded
        return asked + said

    def _question(self) -> dict[str, Any] | None:
        """The question for a page, with the answer of another day if there is one."""
        if self.ask is None:
            return None
        from rigkit import course

        told, taught = self.ask.told(), bool(os.environ.get(TEACHING))
        said = None if taught else course.said(told["kind"], self.ask.name)
        return told | {"hands": taught and "options" in told, "said": said}

    def _answer(self, values: Mapping[str, Any], ahead: bool) -> dict[str, Any]:
        return self.frame(**values) if ahead else self.move(values)

    def _drawn(self, values: Mapping[str, Any]) -> tuple[Picture | str, dict[str, Any]]:
        """The picture, "" if there is none, and the frame."""
        values = dict(values)
        try:
            picture, words = self.draw(**values)
        except ValueError as problem:
            words = f"<strong>Check:</strong> {escape(str(problem))}"
            return "", {"values": values, "words": words}
        pictures = _pictures(picture)
        grips = [
            held
            for i, grip in enumerate(self.grips)
            for held in self._held(i, grip, pictures, values)
        ]
        for view, each in enumerate(pictures):
            if isinstance(each, Stage):
                each.keep_clear((held["x"], held["y"]) for held in grips if held["view"] == view)
        return picture, {
            "values": values,
            "words": words,
            "label": picture.title if isinstance(picture, Picture) else self.title,
            "views": [_view(each) for each in pictures],
            "grips": grips,
            "found": self.ask.found(values, pictures) if isinstance(self.ask, Guess) else None,
        }

    def _held(
        self, number: int, grip: Grip, pictures: Sequence[Any], values: dict[str, Any]
    ) -> Iterator[dict[str, Any]]:
        """Yield where a grip is in each view that shows it, and its ways with its controls."""
        at, beside = self._places(grip, values)
        if at is None:
            return
        for view, picture in enumerate(pictures):
            if not isinstance(picture, Picture) or not _shows(picture, view, grip):
                continue
            x, y = picture.place(at)
            if not (-_EDGE <= x <= picture.width + _EDGE and -_EDGE <= y <= picture.height + _EDGE):
                continue
            moved = [_way(picture, np.array([x, y]), *sides) for sides in beside]
            yield {
                "grip": number,
                "view": view,
                "x": round(float(x), 2),
                "y": round(float(y), 2),
                "J": [[round(float(px), 6) for px in way] for way in moved],
            }

    def _places(
        self, grip: Grip, values: dict[str, Any]
    ) -> tuple[ArrayLike | None, list[list[tuple[ArrayLike, float]]]]:
        """The place of a grip, and for each control that moves it those a little back and ahead.

        Each of these is in the control's range, and with it stands how far along the control it is.
        """
        ways = [(key, self._beside(key, values[key])) for key in grip.moves]
        near = [(key, value) for key, sides in ways for value in sides if value != values[key]]
        at, *found = grip.places([values, *(values | {key: value} for key, value in near)])
        if at is None:
            return None, []
        places = dict(zip(near, found, strict=True))
        beside = [
            [
                (at, 0.0)
                if (place := places.get((key, value))) is None
                else (place, value - values[key])
                for value in sides
            ]
            for key, sides in ways
        ]
        return at, beside

    def _beside(self, key: str, value: float) -> tuple[float, float]:
        """The values a little back and ahead of one, in the control's range."""
        control = self.controls[key]
        assert isinstance(control, Slider)
        size = _NEAR * (control.high - control.low)
        return max(control.low, value - size), min(control.high, value + size)

    def _preset(self, name: str, given: Mapping[str, Any] | Sequence[Any]) -> dict[str, Any]:
        """A preset's checked values by key."""
        if isinstance(given, Mapping):
            return self._checked(given)
        if isinstance(given, str) or len(given) > len(self.controls):
            raise ValueError(
                f"`presets` must give {name!r} at most one value for each of"
                f" {', '.join(self.controls)}; got {given!r}."
            )
        return self._checked(dict(zip(self.controls, given, strict=False)))

    def _checked(self, values: Mapping[str, Any]) -> dict[str, Any]:
        unknown = [key for key in values if key not in self.controls]
        if unknown:
            raise ValueError(
                f"unknown control {', '.join(map(repr, unknown))}; this panel has"
                f" {', '.join(self.controls)}."
            )
        return {key: _clean(self.controls[key].check(value)) for key, value in values.items()}

    def _playable(self, play: str | None) -> str | None:
        if play is None:
            return None
        slider = self.controls.get(play)
        if not (isinstance(slider, Slider) and slider.whole):
            raise ValueError(f"`play` must be the key of a slider of whole numbers; got {play!r}.")
        return play

    def _checked_grips(self, grips: Sequence[Grip]) -> tuple[Grip, ...]:
        names = [grip.name for grip in grips]
        if len(set(names)) < len(names):
            raise ValueError(f"`grips` must have different names; got {', '.join(names)}.")
        for grip in grips:
            wrong = [key for key in grip.moves if not isinstance(self.controls.get(key), Slider)]
            if wrong:
                raise ValueError(
                    f"`grips` must move sliders of the panel; {grip.name!r} moves"
                    f" {', '.join(map(repr, wrong))}. There are {', '.join(self.controls)}."
                )
            self._checked(grip.chooses)
        return tuple(grips)


def quick_check(check: Check, picture: Picture | str = "") -> Panel:
    """Return a panel that asks a quick check, below a picture if there is one.

    Parameters
    ----------
    check : Check
    picture : Picture or str, optional

    Returns
    -------
    Panel
    """
    return Panel("Quick check", [], lambda: (picture, ""), ask=check)


def _pictures(picture: Picture | str) -> Sequence[Picture | str]:
    if isinstance(picture, Row):
        return picture.pictures
    return [picture] if picture else []


def _view(picture: Picture | str) -> dict[str, Any]:
    if not isinstance(picture, Picture):
        return {"svg": picture, "w": None, "h": None, "from": ""}
    return {
        "svg": picture.svg(style=False),
        "w": picture.width,
        "h": picture.height,
        "from": picture.seen_from,
    }


def _markup(picture: Picture | str) -> str:
    return picture.html(style=False) if isinstance(picture, Picture) else picture


def _shows(picture: Picture, view: int, grip: Grip) -> bool:
    return isinstance(picture, Stage) if grip.views is None else view in grip.views


def _way(
    picture: Picture, here: Floats, back: tuple[ArrayLike, float], ahead: tuple[ArrayLike, float]
) -> Floats:
    """The way a unit of a control moves a grip [px], from places on both sides of it.

    A corner of the grip's path so has a way between those of its sides; where the path turns back
    on itself there is none between, and it is the way ahead.
    """
    (before, less), (after, more) = back, ahead
    if more == less:
        return np.zeros(2)
    way = (picture.place(after) - picture.place(before)) / (more - less)
    if not more:
        return way
    forward = (picture.place(after) - here) / more
    return way if np.hypot(*way) > 0.1 * np.hypot(*forward) else forward


def _clean(value: Any) -> Any:
    """`value` without the rounding noise of a slider in a browser, such as 5.000000000000001."""
    return round(value, 9) if isinstance(value, float) else value


def __dir__() -> list[str]:
    return __all__
