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
from typing import Any

import ipywidgets as widgets
from traitlets import CFloat, CInt

from rigkit import _check
from rigkit.stage import STYLE, Picture

FRAMES_A_SECOND = 24
_MARKUP = re.compile("<[^>]*>")

# The page's own sliders and boxes are too pale to be made out (WCAG 2.2, 1.4.11), and clip where
# there is little room.
_LOOK = f"""<style>{STYLE}
.rig-panel-title{{font-size:18px;font-weight:600;line-height:1.35}}
.rig-readout{{font-size:15px;line-height:1.45;min-height:2.9em;margin-top:8px;font-variant-numeric:tabular-nums}}
.rig-spoken{{position:absolute;clip-path:inset(50%);width:1px;height:1px;overflow:hidden}}
.rig-panel .widget-label{{text-align:left}}
.rig-panel .widget-slider{{flex-wrap:wrap;height:auto;min-height:28px}}
.rig-panel :is(.widget-slider,.widget-radio)>.widget-label{{white-space:normal;line-height:1.3;height:auto}}
.rig-panel .slider-container{{flex:1 1 160px;margin:10px 6px}}
.rig-panel .noUi-target{{background:none}}
.rig-panel .noUi-connects{{background:var(--jp-ui-font-color2,#757575)}}
.rig-panel .noUi-handle,.rig-panel input[type=number]{{border-color:var(--jp-ui-font-color2,#757575)}}
.rig-panel :is(input,button,.noUi-handle):focus-visible{{outline:2px solid var(--jp-brand-color1,#1976d2)!important}}
.rig-panel .widget-radio{{display:flex;flex-wrap:wrap;width:auto;height:auto;margin:2px;align-items:baseline}}
.rig-panel .widget-radio-box{{flex-flow:row wrap;gap:4px 24px;margin:0!important}}
.rig-panel .widget-radio-box label{{width:auto;font-size:14px}}
.rig-panel .widget-label,.rig-panel .jupyter-button,.rig-panel input{{font-size:14px}}
.rig-panel .jupyter-button{{width:auto;max-width:calc(100% - 4px);height:auto;min-height:28px;padding:2px 12px;
white-space:normal;line-height:1.3}}
@media (prefers-reduced-motion:reduce){{.rig-panel *{{transition:none!important}}}}
</style>"""


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
    """A number to drag or type, from `low` to `high`; whole numbers throughout give a slider of
    whole numbers.

    In a browser a typed number snaps to the nearest `step`.

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
        """Whether it holds whole numbers."""
        return all(isinstance(v, int) for v in (self.low, self.high, self.step))

    def check(self, value: Any) -> float:
        """`value` if it lies in the range, else a `ValueError`; a bare widget would clamp it in
        silence."""
        number = _check.numbers(self.key, value)
        if number.ndim or not self.low <= number <= self.high or (self.whole and number % 1):
            need = f"a {'whole ' if self.whole else ''}number from {self.low:g} to {self.high:g}"
            raise ValueError(f"`{self.key}` must be {need}; got {value!r}.")
        return int(number) if self.whole else float(number)

    def build(self) -> tuple[widgets.Widget, widgets.Widget | None]:
        """The widget that holds the value, and the box to type it in."""
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
    """One of a few named options, side by side."""

    key: str
    label: str
    options: Sequence
    value: object

    def __post_init__(self) -> None:
        self.check(self.value)

    def __repr__(self) -> str:
        return f"Choice: {self.label}, {', '.join(map(str, self.options))}, at {self.value}"

    def check(self, value: Any) -> Any:
        """`value` if it is one of the options, else a `ValueError`."""
        if value not in tuple(self.options):
            raise ValueError(
                f"`{self.key}` must be one of {', '.join(map(repr, self.options))}; got {value!r}."
            )
        return value

    def build(self) -> tuple[widgets.Widget, widgets.Widget | None]:
        """The widget that holds the value; there is nothing to type."""
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
    """A sign of life from the page, out of sight: ask, and `value` rises once, if the page still
    shows this.

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
    """A button that runs a slider of whole numbers at 24 frames a second, by the clock, round and
    round.

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
    moments : mapping of str to mapping, optional
        Named values to jump to; keys that a moment leaves out keep their value.
    size : int
        Greatest width in px.
    play : str, optional
        The key of a slider of whole numbers. A button runs it at 24 steps a second, after its last
        value from its first again, until it is pressed once more, or anything else is.

    Raises
    ------
    ValueError
        For a key used twice, a moment with an unknown key or a value out of range, or a `play` that
        cannot be run.
    """

    def __init__(
        self,
        title: str,
        controls: Sequence[Slider | Choice],
        draw: Callable[..., tuple[Picture | str, str]],
        moments: Mapping[str, Mapping[str, Any]] | None = None,
        size: int = 880,
        play: str | None = None,
    ) -> None:
        self.title, self.controls = title, {control.key: control for control in controls}
        if len(self.controls) < len(controls):
            raise ValueError(
                f"`controls` must have different keys; got {', '.join(c.key for c in controls)}."
            )
        self.moments = {name: self._checked(values) for name, values in (moments or {}).items()}
        self._draw, self._quiet = draw, False
        self._start = {control.key: control.value for control in controls}
        self._screen, self._picture, self._readout = widgets.HTML(), "", ""
        self._holders: dict[str, widgets.Widget] = {}
        rows = []
        for control in controls:
            holder, box = control.build()
            self._holders[control.key] = holder
            holder.observe(self._changed, names="value")
            if box:
                # After `observe`, so that the picture leaves first.
                widgets.link((holder, "value"), (box, "value"), transform=(_clean, _clean))
            rows.append(
                widgets.HBox([holder, box] if box else [holder], layout={"flex_flow": "row wrap"})
            )
        heading = widgets.HTML(
            f'{_LOOK}<div class="rig-panel-title" role="heading" aria-level="3">'
            f"{escape(title)}</div>"
        )
        self._player = self._player_of(play)
        buttons = [self._player.button, self._player.sign] if self._player else []
        buttons += [self._button(name, values) for name, values in self.moments.items()]
        buttons.append(self._button("Reset", self._start))
        buttons[-1].layout.margin = "2px 2px 2px 16px"
        self.widget = widgets.VBox(
            [heading, self._screen, *rows, widgets.HBox(buttons, layout={"flex_flow": "row wrap"})],
            layout={
                "max_width": f"{_check.count('size', size)}px",
                "width": "100%",
                "overflow": "hidden",
            },
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
        """Set some of the controls and draw once; unknown keys and values out of range are
        refused."""
        values = self._checked(values)
        self._pause()
        self._move(values)

    def reset(self) -> None:
        """Back to the values it started with."""
        self.set(**self._start)

    def __repr__(self) -> str:
        values = ", ".join(
            f"{self.controls[key].label}: {value}" for key, value in self.values.items()
        )
        return f"Panel: {self.title} {values}. {unescape(_MARKUP.sub('', self._readout))}"

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        shown = self.widget._repr_mimebundle_(**kwargs)
        return shown | {"text/plain": repr(self)} if isinstance(shown, dict) else shown

    def _checked(self, values: Mapping[str, Any]) -> dict[str, Any]:
        unknown = [key for key in values if key not in self.controls]
        if unknown:
            raise ValueError(
                f"`values` must be among {', '.join(self.controls)}; got {', '.join(unknown)}."
            )
        return {key: self.controls[key].check(value) for key, value in values.items()}

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


def _clean(value: Any) -> Any:
    """`value` without the rounding noise of a slider in a browser, such as 5.000000000000001."""
    return round(value, 9) if isinstance(value, float) else value
