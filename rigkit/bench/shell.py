"""The bench in a notebook: one step at a time, its numbers beside it, the learner's own file."""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from html import escape
from pathlib import Path
from typing import Any

from rigkit import _check, puppets
from rigkit.bench import _numbers, _skin, _stills, sign_off, steps
from rigkit.bench._views import numbers
from rigkit.bench.book import Book, name_of_file, whose
from rigkit.bench.measure import done, measure, sound_start
from rigkit.bench.state import STEPS, State
from rigkit.panels import Panel
from rigkit.puppets import Puppet

__all__ = ["REST", "Bench"]

REST = 0.5  # s without a move until the state is kept: one entry of the history a drag

SOUND = (
    "The kit fills in what is not right yet before this step; what you have right stays yours, and"
    " Undo brings all back."
)


def __dir__() -> list[str]:
    return __all__


class Bench:
    """A leg to rig by hand in twelve steps; it shows itself in a notebook.

    All that is decided stands in one small file, with its history: the same call shows the leg as
    it was left.

    Parameters
    ----------
    puppet : Puppet or str, optional
        Whose leg; a name is one of `puppets.CAST`. Left out, it is whoever's leg the file holds,
        and Tamsin's where there is no file yet.
    path : str or path, optional
        The learner's file; it is made when the first thing is kept. Left out, each character has
        one of its own, by `book.name_of_file`.
    only : str, optional
        The one step that is shown, such as "01"; by default all, the first one that is open first.
    given : bool
        True if, where there is no file yet, the kit fills in the steps before `only`.

    Raises
    ------
    ValueError
        For a puppet or a step there is not.

    Examples
    --------
    >>> from rigkit.bench.shell import Bench
    >>> Bench("Tamsin", "my-leg.json").step("01")  # doctest: +SKIP
    """

    def __init__(
        self,
        puppet: Puppet | str | None = None,
        path: str | os.PathLike[str] | None = None,
        only: str | None = None,
        given: bool = False,
    ) -> None:
        self.path = Path(name_of_file(puppet or "Tamsin") if path is None else path)
        self.puppet, self.only = puppets.get(puppet or whose(self.path) or "Tamsin"), only
        if only is not None:
            _check.choice("only", only, steps.TITLES)
        start = State.bare(self.puppet).with_sound(only) if only and given else None
        self.book = Book(self.path, self.puppet, start)
        self.state: State = self.book.state
        self._done = done(self.state)
        self._was_done: set[str] = set()
        self._timer: asyncio.TimerHandle | None = None
        self._panel: Panel | None = None
        self._now = only or next((step for step, how in self._done.items() if how == "open"), "12")
        self.repaint: Callable[[], None] | None = None
        self._then: Callable[[], None] | None = None
        self._trouble = ""
        if self.book.set_aside:
            self._trouble = (
                f"{self.path.name} could not be read; it is kept as {self.book.set_aside.name}."
            )
        self._widgets: _Widgets | None = None

    def step(self, step: str) -> Bench:
        """Return a bench of the same file that shows one step only.

        Parameters
        ----------
        step : str
            From "01" to "12".

        Returns
        -------
        Bench

        Raises
        ------
        ValueError
            For another step.
        """
        return Bench(self.puppet, self.path, step)

    def __repr__(self) -> str:
        finished = [step for step, how in self._done.items() if how == "done"]
        return (
            f"Bench: {self.puppet.name}'s leg in {self.path.name}, step {self._now}"
            f" ({steps.TITLES[self._now]}), {len(finished)} of {len(self._done)} steps done"
        )

    @property
    def widget(self) -> Any:
        """The widget that a notebook shows; made when it is asked for."""
        if self._widgets is None:
            self._widgets = _Widgets(self)
            self._open(self._now)
        return self._widgets.whole

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        shown = self.widget._repr_mimebundle_(**kwargs)
        data, about = shown if isinstance(shown, tuple) else (shown or {}, {})
        return data | {"text/plain": repr(self), "text/html": self.still()}, about

    def still(self) -> str:
        """Return markup of the step, once its widget was made, for where no kernel answers.

        Returns
        -------
        str
            Its picture, its numbers, and how far all steps are.
        """
        still = self._panel._still() if self._panel else _stills.still(self.state, self._now)
        standing = _numbers.standing(self._done, set(), self._trouble)
        return f"{still}{_numbers.STYLE}{_numbers.table(self._measured())}{standing}"

    # What a learner does.

    def _open(self, step: str) -> None:
        """Show a step at the state as it is."""
        self._keep()
        self._now = step
        self._was_done = {each for each, how in done(self.state).items() if how == "done"}
        before, self._panel, self.repaint, self._then = self._panel, None, None, None
        assert self._widgets is not None
        if step in ("09", "12"):
            self._widgets.show({"09": _skin.widget, "12": sign_off.widget}[step](self))
        else:
            self._show_panel(step)
        if before is not None:
            before.widget.close()
        self._tell()

    def _show_panel(self, step: str) -> None:
        assert self._widgets is not None
        try:
            panel = steps.panel(self.state, step)
        except ValueError as problem:
            self._widgets.show_words(
                f"<p><strong>Nothing can be shown here yet.</strong> {escape(str(problem))}</p>"
            )
            return
        panel.history = self.history
        self._panel = panel
        panel.widget.observe(partial(self._moved, panel), "frame")
        self._widgets.show(panel.widget)

    def _moved(self, panel: Panel, change: Any) -> None:
        """Take over what a panel's values say."""
        frame = change["new"]
        if "fault" in frame or panel is not self._panel:
            return
        try:
            after = steps.changed_by(self.state, self._now, frame["values"])
        except ValueError:  # the panel says it
            return
        if after is self.state:
            self._tell_numbers()  # a guess may have been told
            return
        self.state = after
        self._tell_numbers()
        self._later()

    def move(self, state: State, then: Callable[[], None]) -> None:
        """Take over a state that a hand still moves in a step's own widget.

        Parameters
        ----------
        state : State
        then : callable
            Called once nothing has moved for a while, and the state is kept.
        """
        self.state, self._then = state, then
        self._later()

    def take(self, state: State, shown: bool = False) -> None:
        """Take over a state and show it: from the history, the kit, or a step with its own widget.

        Parameters
        ----------
        state : State
        shown : bool
            True if the step's widget shows it already.
        """
        self._keep()
        self._show(state, shown)

    def history(self, way: str, own: str = "") -> None:
        """Go back by a step of the history, or ahead again.

        Parameters
        ----------
        way : {"undo", "redo"}
        own : str
            The field that the step's own widget shows by itself.
        """
        self._keep()
        before = self.state
        try:
            after = self.book.undo() if way == "undo" else self.book.redo()
        except OSError as problem:
            self._trouble = f"That could not be written: {problem}"
            self._tell()
            return
        alike = replace(after, painted=before.painted, given=before.given) == before
        if self.repaint is not None and alike:
            self._show(after, shown=True)
            if not own:  # a page that went back by itself has its answer
                self.repaint()
            return
        self._show(after, shown=False)

    def _show(self, state: State, shown: bool) -> None:
        before, self.state = self.state, state
        self._keep()
        if shown or (self._panel is not None and self._follows(before, state)):
            self._tell()
        else:
            self._open(self._now)

    def _sound(self) -> None:
        self.take(sound_start(self.state, self._now))

    def _follows(self, before: State, after: State) -> bool:
        """True if only this panel's own values differ, and it now shows them."""
        assert self._panel is not None
        try:
            values = steps.panel(after, self._now).values
            said = steps.changed_by(before, self._now, self._panel.values | values)
            if said.changed(given=after.given) != after:
                return False
            self._panel.set(**values)
        except ValueError:
            return False
        return True

    # What is kept, and said.

    def _later(self) -> None:
        """Keep the state once nothing has moved for a while."""
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # no notebook
            self._rested()
            return
        self._stop()
        self._timer = loop.call_later(REST, self._rested)

    def _stop(self) -> None:
        if self._timer is not None:
            self._timer.cancel()
            self._timer = None

    def _rested(self) -> None:
        self._keep()
        then, self._then = self._then, None
        if then is not None:
            then()
        self._measure_all()

    def _measure_all(self, first: int = 0) -> None:
        """Measure one step at a time, then tell: a hand that moves again waits for one at most."""
        if first == len(STEPS) - 1:  # the last one counts only when all others are done
            self._tell()
            return
        with contextlib.suppress(ValueError):
            measure(self.state, tuple(STEPS)[first])
        try:
            loop = asyncio.get_running_loop()
        except RuntimeError:  # no notebook
            self._measure_all(first + 1)
        else:
            self._timer = loop.call_later(0, self._measure_all, first + 1)

    def _keep(self) -> None:
        self._stop()
        if self.state == self.book.state:
            return
        try:
            self.book.keep(self.state)
        except OSError as problem:  # it is tried again with the next change
            self._trouble = f"The last change is not kept yet: {problem}"
        else:
            self._trouble = ""

    def _measured(self) -> Any:
        """This step's numbers, or the sentence why there are none."""
        try:
            return numbers(self.state, self._now)
        except ValueError as problem:
            return str(problem)

    def _guessing(self) -> bool:
        """True while the panel's guess is open, which the numbers would answer."""
        panel, measured = self._panel, self._measured()
        if panel is None or panel.ask is None or panel.shown.get("found"):
            return False
        return isinstance(measured, str) or not all(each.right for each in measured)

    def _tell_numbers(self) -> None:
        if self._widgets is not None:
            measured = self._measured()
            # the brush has its own; and why nothing is shown stands in its place already
            once = self._now == "09" or (self._panel is None and isinstance(measured, str))
            table = "" if once or self._guessing() else _numbers.table(measured)
            self._widgets.numbers.value = table
            self._widgets.numbers.layout.display = "" if table else "none"

    def _tell(self) -> None:
        """Say how far each step is, and what can be pressed."""
        self._done = done(self.state)
        if self._widgets is None:
            return
        self._tell_numbers()
        changed = {step for step in self._was_done if self._done[step] == "open"} - {self._now}
        self._widgets.tell(self._now, self._done, self.book)
        self._widgets.said.value = _numbers.standing(self._done, changed, self._trouble)


class _Widgets:
    """The parts that a notebook shows: native buttons and lists, words, and the panel's widget."""

    def __init__(self, bench: Bench) -> None:
        from ipywidgets import HTML, Box, Dropdown, HBox, VBox

        self._telling = False
        self.steps = Dropdown(
            description="Step",
            options=list(steps.TITLES),
            style={"description_width": "initial"},
        )
        self.steps.observe(self._chosen(bench), "value")
        self.next = sign_off.button("Next step", lambda: bench._open(f"{int(bench._now) + 1:02d}"))
        self.undo = sign_off.button("Undo", lambda: bench.history("undo"))
        self.redo = sign_off.button("Redo", lambda: bench.history("redo"))
        self.sound = sign_off.button("Give me a sound start", bench._sound)
        self.sound.tooltip = SOUND
        self.numbers, self.said = HTML(), HTML()
        self.place = Box()
        where = [] if bench.only else [self.steps, self.next]
        self.body = HBox([self.place, self.numbers])
        self.whole = VBox(
            [
                HBox([*where, self.undo, self.redo, self.sound]),
                self.body,
                self.said,
                HTML(_numbers.STYLE),
            ]
        )
        self.whole.add_class("rig-bench")
        for each, flow in ((self.whole.children[0], "row wrap"), (self.body, "row wrap")):
            each.layout.flex_flow = flow
        self.steps.layout = {"width": "300px", "max_width": "100%"}
        self.place.layout = {"flex": "1 1 560px", "min_width": "0", "overflow": "visible"}
        self.numbers.layout = {"flex": "0 1 230px", "overflow": "visible"}
        self.body.layout.overflow = self.whole.layout.overflow = "visible"

    def _chosen(self, bench: Bench) -> Callable[[Any], None]:
        def chosen(change: Any) -> None:
            if not self._telling and change["new"] != bench._now:
                bench._open(change["new"])

        return chosen

    def show(self, widget: Any) -> None:
        """Show a step's own widget."""
        self.place.children = [widget]

    def show_words(self, markup: str) -> None:
        """Show words where a step's widget would be."""
        from ipywidgets import HTML

        self.place.children = [HTML(markup)]

    def tell(self, step: str, how: dict[str, str], book: Book) -> None:
        """Say where the learner is, what is done, and what can be pressed."""
        marks = {"done": " ✓", "given": " (given)", "open": ""}
        options = tuple(
            (f"{name} {title}{marks[how[name]]}", name) for name, title in steps.TITLES.items()
        )
        self._telling = True
        with self.steps.hold_sync():  # new options alone would show the first of them meanwhile
            if options != self.steps.options:
                self.steps.options = options
            self.steps.value = step
        self._telling = False
        self.next.disabled = step == "12"
        self.sound.disabled = step == "01"
        self.undo.disabled, self.redo.disabled = not book.can_undo, not book.can_redo
