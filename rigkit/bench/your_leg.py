"""The bench as lessons show it: a step on the learner's own leg, and the choice of whose it is."""

from __future__ import annotations

import os
from html import escape
from pathlib import Path
from typing import Any

from rigkit import _check, puppets
from rigkit.bench import steps
from rigkit.bench.shell import Bench

__all__ = ["YourLeg", "characters"]

CHOOSE = "Choose before you begin: it stays for all lessons."
GIVEN = f"{CHOOSE} The kit has filled in the steps before this one."


def __dir__() -> list[str]:
    return __all__


def characters() -> tuple[str, ...]:
    """Return the names of those who have a leg for the bench.

    Returns
    -------
    tuple of str

    Examples
    --------
    >>> from rigkit.bench.your_leg import characters
    >>> characters()[0]
    'Tamsin'
    """
    return tuple(puppets.CAST)


class YourLeg:
    """A step of the bench on the learner's own leg, as a lesson ends with it.

    All lessons show the same file, so the leg grows from one to the next. Where there is none yet,
    the kit has filled in the steps before this one, and the learner chooses whose leg it is.

    Parameters
    ----------
    step : str, optional
        "01" to "12", the lesson's number; by default all steps.
    path : str or path
        The learner's file.

    Attributes
    ----------
    bench : Bench or None
        None where the file cannot be used; what is shown says why.

    Raises
    ------
    ValueError
        For a step there is not.

    Examples
    --------
    >>> from rigkit.bench.your_leg import YourLeg
    >>> YourLeg("07")
    Bench: Tamsin's leg in my-leg.json, step 07 (The pole), 0 of 12 steps done
    """

    def __init__(
        self, step: str | None = None, path: str | os.PathLike[str] = "my-leg.json"
    ) -> None:
        self._step = None if step is None else _check.choice("step", step, steps.TITLES)
        self.path, self._trouble = Path(path), ""
        self.bench: Bench | None = None
        self._open(None)

    def _open(self, name: str | None) -> None:
        try:
            self.bench = Bench(name, self.path, self._step, given=True)
        except (ValueError, OSError) as problem:
            self._trouble = str(problem)

    def __repr__(self) -> str:
        return repr(self.bench) if self.bench else f"No leg can be shown: {self._trouble}"

    def _repr_mimebundle_(self, **kwargs: Any) -> Any:
        if self.bench is None:
            said = f"<p><strong>Your leg cannot be shown.</strong> {escape(self._trouble)}</p>"
            return {"text/plain": repr(self), "text/html": said}, {}
        shown = self._widget(self.bench)._repr_mimebundle_(**kwargs)
        data, about = shown if isinstance(shown, tuple) else (shown or {}, {})
        kept = {"text/plain": repr(self), "text/html": self.bench.still()}
        return data | kept, about

    def _widget(self, bench: Bench) -> Any:
        """The bench, below the choice of whose leg it is as long as no file says so."""
        if self.path.exists():
            return bench.widget
        from ipywidgets import HTML, Box, Dropdown, HBox, VBox

        who = Dropdown(
            description="Whose leg",
            options=characters(),
            value=bench.puppet.name,
            style={"description_width": "initial"},
            layout={"width": "220px"},
        )
        said, place = HTML(self._invitation), Box([bench.widget])
        for each in (place, whole := VBox([HBox([who, said]), place])):
            each.layout.overflow = "visible"
        whole.children[0].layout.flex_flow = "row wrap"
        place.layout.width = "100%"

        def chosen(change: Any) -> None:
            said.value = self._choose(change["new"])
            if self.bench is not None:
                who.value = self.bench.puppet.name
                place.children = [self.bench.widget]

        who.observe(chosen, "value")
        return whole

    def _choose(self, name: str) -> str:
        """Begin another character's leg, unless this one is begun; return what is to be told."""
        before = self.bench
        assert before is not None
        before.take(before.state, shown=True)  # what was moved a moment ago is kept
        if self.path.exists():
            return (
                f"{escape(self.path.name)} holds {before.puppet.name}'s leg. To begin another, give"
                " that file another name in the list of files, then run this cell again."
            )
        if name != before.puppet.name:
            self._open(name)
            before.widget.close()
        return self._invitation

    @property
    def _invitation(self) -> str:
        return GIVEN if (self._step or "01") > "01" else CHOOSE
