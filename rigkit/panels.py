"""Panels: a sentence, a picture, its numbers in words, and the sliders that change them.

There is one way from a slider to the screen: `observe` → `draw(**values)` → SVG text into an
`ipywidgets.HTML`. `draw` is a pure function, so a lesson can call it for a picture at rest and a
test can call it without a widget.
"""

import asyncio
import re
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from html import escape, unescape
from importlib import resources
from typing import Any

import ipywidgets as widgets
from traitlets import CFloat, CInt

from rigkit import _check
from rigkit.stage import STYLE, Picture

__all__ = ["FRAMES_A_SECOND", "Choice", "Panel", "Slider"]

FRAMES_A_SECOND = 24
_MARKUP = re.compile("<[^>]*>")

_SHEET = (resources.files("rigkit") / "data" / "panel.css").read_text(encoding="utf-8")
_LOOK = f"<style>{STYLE}\n{_SHEET}</style>"


# A slider's value is not sent back to the browser it came from: one message less for each picture.
class _FloatSlider(widgets.FloatSlider):
    value = CFloat().tag(sync=True, echo_update=False)


class _IntSlider(widgets.IntSlider):
    value = CInt().tag(sync=True, echo_update=False)
    # Called when it is moved in the page, even to where it is: while it plays it may be there
    # already.
    touched: Callable[[], None] | None = None

    def set_state(self, sync_data: Any) -> None:
        if self.touched:
            self.touched()
        super().set_state(sync_data)


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

    def build(self) -> tuple[widgets.Widget, widgets.Widget | None]:
        """The widget that holds the value, and the box to type it in.

        Returns
        -------
        tuple[widgets.Widget, widgets.Widget | None]
        """
        slide, typed = (
            (_IntSlider, widgets.BoundedIntText)
            if self.whole
            else (_FloatSlider, widgets.BoundedFloatText)
        )
        description = f"{self.label} ({self.unit})" if self.unit else self.label
        common = {
            "description": description,
            "tooltip": description,
            "min": self.low,
            "max": self.high,
            "step": self.step,
            "value": self.value,
        }
        slider = slide(
            **common,
            readout=False,
            style={"description_width": "200px"},
            layout={"flex": "1 1 380px", "min_width": "200px"},
        )
        # The box carries the same name, out of sight: it is what a screen reader says.
        box = typed(**common, style={"description_width": "0px"}, layout={"width": "88px"})
        return slider, box


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

    def build(self) -> tuple[widgets.Widget, widgets.Widget | None]:
        """The widget that holds the value; there is nothing to type.

        Returns
        -------
        tuple[widgets.Widget, widgets.Widget | None]
        """
        return (
            widgets.RadioButtons(
                description=self.label,
                tooltip=self.label,
                options=list(self.options),
                value=self.value,
                style={"description_width": "200px"},
            ),
            None,
        )


class _Sign(widgets.Play):
    """A sign of life from the page, out of sight.

    Ask, and `value` rises once, if the page still shows this.

    Asking starts a `Play` whose next step but one is days away, so each start is one step. Its view
    does it, and a view is gone when its cell is run again or its tab is closed.
    """

    value = CInt().tag(sync=True, echo_update=False)

    def __init__(self) -> None:
        super().__init__(value=0, max=10**9, interval=10**9, layout={"display": "none"})

    def ask(self) -> None:
        """Ask; the answer is a change of `value`."""
        self.playing = True

    def rest(self) -> None:
        """Be ready to be asked again."""
        self.playing = False


class _Player:
    """A button that runs a slider of whole numbers at 24 frames a second, round and round.

    It goes by the clock.

    After each frame it waits for a sign of life from the page. So frames that would be late are
    skipped and never queue up, a cell that is checked is not held up, and when the page no longer
    shows the panel nothing runs.
    """

    def __init__(self, slider: Slider, holder: widgets.Widget, show: Callable[[int], None]) -> None:
        self._values = range(int(slider.low), int(slider.high) + 1, int(slider.step))
        self._holder, self._show = holder, show
        self.playing, self._began = False, 0.0
        self._waiting: asyncio.TimerHandle | None = None
        self._first = self._steps = 0
        self.button = widgets.Button(
            tooltip=f"Play or pause: {slider.label}", layout={"min_width": "96px"}
        )
        self.button.on_click(self._pressed)
        self.sign = _Sign()
        self.sign.observe(self._answered, names="value")
        holder.touched = self._halt
        self.pause()

    def pause(self) -> None:
        if self._waiting:
            self._waiting.cancel()
        self.playing, self._waiting = False, None
        self.sign.rest()
        self.button.description = "Play"

    def _halt(self) -> None:
        if self.playing:
            self.pause()
            self._show(self._holder.value)

    def _pressed(self, _: Any) -> None:
        if self.playing:
            self._halt()
        else:
            self.playing, self._began, self._steps = True, time.perf_counter(), -1
            self._first = (self._holder.value - self._values.start) // self._values.step
            self.button.description = "Pause"
            self._frame()

    def _frame(self) -> None:
        """Show what is due by the clock, and ask whether it arrived."""
        self._waiting = None
        self._steps = max(
            self._steps + 1, int((time.perf_counter() - self._began) * FRAMES_A_SECOND)
        )
        try:
            self._show(self._values[(self._first + self._steps) % len(self._values)])
        except Exception:
            self.pause()
            raise
        self.sign.ask()

    def _answered(self, _: Any) -> None:
        self.sign.rest()
        if self.playing and self._waiting is None:  # a second page that shows this answers too
            due = self._began + (self._steps + 1) / FRAMES_A_SECOND
            self._waiting = asyncio.get_running_loop().call_later(
                max(due - time.perf_counter(), 0), self._frame
            )


class Panel:
    """Sliders that change a picture, and what it shows in words.

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

    Raises
    ------
    ValueError
        For a key used twice, a preset with an unknown key, too many values or a value out of range,
        or a `play` that cannot be run.
    """

    def __init__(
        self,
        title: str,
        controls: Sequence[Slider | Choice],
        draw: Callable[..., tuple[Picture | str, str]],
        presets: Mapping[str, Mapping[str, Any] | Sequence[Any]] | None = None,
        size: int = 880,
        play: str | None = None,
    ) -> None:
        self.title, self.controls = title, {control.key: control for control in controls}
        if len(self.controls) < len(controls):
            raise ValueError(
                f"`controls` must have different keys; got {', '.join(c.key for c in controls)}."
            )
        self.presets = {name: self._preset(name, given) for name, given in (presets or {}).items()}
        self._draw, self._quiet = draw, False
        self._start = {control.key: control.value for control in controls}
        self._screen, self._picture, self._readout = widgets.HTML(), "", ""
        self._holders: dict[str, widgets.Widget] = {}
        rows = [self._row(control) for control in controls]
        self._player = self._player_of(play)
        heading = widgets.HTML(
            f'{_LOOK}<div class="rig-panel-title" role="heading" aria-level="3">'
            f"{escape(title)}</div>"
        )
        width = f"{_check.count('size', size)}px"
        self.widget = widgets.VBox(
            [heading, self._screen, *rows, self._buttons()],
            layout={"max_width": width, "width": "100%", "overflow": "hidden"},
        )
        self.widget.add_class("rig-panel")
        self._show()

    @property
    def values(self) -> dict[str, Any]:
        """The controls' values by key."""
        return {key: _clean(holder.value) for key, holder in self._holders.items()}

    @property
    def picture(self) -> str:
        """The markup of the picture now."""
        return self._picture

    @property
    def readout(self) -> str:
        """The words under the picture now, as markup."""
        return self._readout

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
        values = self._checked(values)
        self._pause()
        self._move(values)

    def reset(self) -> None:
        """Go back to the values it started with."""
        self.set(**self._start)

    def __repr__(self) -> str:
        values = ", ".join(
            f"{self.controls[key].label}: {value}" for key, value in self.values.items()
        )
        return f"Panel: {self.title} {values}. {unescape(_MARKUP.sub('', self._readout))}"

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        shown = self.widget._repr_mimebundle_(**kwargs)
        return shown | {"text/plain": repr(self)} if isinstance(shown, dict) else shown

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
        return {key: self.controls[key].check(value) for key, value in values.items()}

    def _row(self, control: Slider | Choice) -> widgets.HBox:
        """A control, with the box to type its value in."""
        holder, box = control.build()
        self._holders[control.key] = holder
        holder.observe(self._changed, names="value")
        if box:
            # After `observe`, so that the picture leaves first.
            widgets.link((holder, "value"), (box, "value"), transform=(_clean, _clean))
        return _wrapping([holder, box] if box else [holder])

    def _buttons(self) -> widgets.HBox:
        """Play, if it plays; each preset; Reset."""
        buttons = [self._player.button, self._player.sign] if self._player else []
        buttons += [self._button(name, values) for name, values in self.presets.items()]
        buttons.append(self._button("Reset", self._start))
        buttons[-1].layout.margin = "2px 2px 2px 16px"
        return _wrapping(buttons)

    def _button(self, name: str, values: Mapping[str, Any]) -> widgets.Button:
        button = widgets.Button(description=name)
        button.on_click(lambda _: self.set(**values))
        return button

    def _player_of(self, play: str | None) -> _Player | None:
        if play is None:
            return None
        slider = self.controls.get(play)
        if not (isinstance(slider, Slider) and slider.whole):
            raise ValueError(f"`play` must be the key of a slider of whole numbers; got {play!r}.")
        return _Player(slider, self._holders[play], lambda value: self._move({play: value}))

    def _pause(self) -> None:
        if self._player and self._player.playing:
            self._player.pause()

    def _move(self, values: Mapping[str, Any]) -> None:
        """Set values that were checked, and draw once."""
        self._quiet = True
        try:
            for key, value in values.items():
                self._holders[key].value = value
        finally:
            self._quiet = False
        self._show()

    def _changed(self, _: Any) -> None:
        if not self._quiet:
            self._pause()
            self._show()

    def _show(self) -> None:
        try:
            picture, words = self._draw(**self.values)
        except ValueError as problem:
            words = f"<strong>Check:</strong> {escape(str(problem))}"
        else:
            self._picture = picture.html(style=False) if isinstance(picture, Picture) else picture
        # No live region, since it is replaced each time: data/labextensions says it aloud once the
        # panel rests.
        self._readout = f'<div class="rig-readout">{words}</div>'
        self._screen.value = self._picture + self._readout


def _wrapping(children: Sequence[widgets.Widget]) -> widgets.HBox:
    return widgets.HBox(children, layout={"flex_flow": "row wrap"})


def _clean(value: Any) -> Any:
    """`value` without the rounding noise of a slider in a browser, such as 5.000000000000001."""
    return round(value, 9) if isinstance(value, float) else value


def __dir__() -> list[str]:
    return __all__
