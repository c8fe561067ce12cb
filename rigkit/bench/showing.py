"""A leg's own page to show: the rig to turn, a number a step, its walk, what the inspection finds.

Of a file only the state is taken, and everything is made and measured anew; a file that is not what
the bench makes of its state is refused.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

from markupsafe import Markup

from rigkit import puppets, templates
from rigkit._files import write_whole
from rigkit.bench import build, marking
from rigkit.bench._views import numbers, value_of
from rigkit.bench.measure import Measured, done, inspected
from rigkit.bench.state import STEPS, State
from rigkit.bench.steps import TITLES
from rigkit.inspection import view as report_view
from rigkit.scenes.words import capital
from rigkit.view import view

__all__ = ["Leg", "Row", "may_write", "page", "read", "write"]

MARK = b" rigged on the bench</title>"  # in the head of each page
MARKS = {"done": "✓", "given": "✓ given", "open": "✗"}
WALKED = ("foot slides in a stride", "knees that snap straight")  # of the tenth step's numbers


def __dir__() -> list[str]:
    return __all__


def read(path: str | os.PathLike[str]) -> State:
    """Return the state that a .glb from the bench was made from.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    State

    Raises
    ------
    ValueError
        With a sentence: no rig's file, none from the bench, of a newer version, of a character that
        is not the kit's own, or changed since the bench wrote it.
    OSError
        If it cannot be read.

    Examples
    --------
    >>> import tempfile
    >>> from pathlib import Path
    >>> from rigkit.bench import showing, sign_off
    >>> from rigkit.bench.state import State
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     path = sign_off.write(State.bare("Pip").with_sound("12"), Path(folder, "my-leg.json"))
    ...     showing.read(path).puppet.name
    'Pip'
    """
    path = Path(path)
    with open(path, "rb") as file:
        data = file.read(marking.MOST_BYTES + 1)
    try:
        state, asset = marking.read(data, tuple(puppets.CAST.values()))
    except ValueError as problem:
        said = str(problem).replace(marking.HAND_IN, "`rigkit inspect` looks over any rig.")
        raise ValueError(f"Cannot show {path.name!r}: {said}") from None
    for changed in marking.differences(asset, state):
        raise ValueError(
            f"Cannot show {path.name!r}: {changed} It was changed after the bench had written it."
        )
    return state


@dataclass(frozen=True)
class Row:
    """A step in a page.

    Attributes
    ----------
    step, title : str
    name, value, limit : str
        Of the number that is shown.
    how : {"done", "given", "open"}
    """

    step: str
    title: str
    name: str
    value: str
    limit: str
    how: str

    @property
    def mark(self) -> str:
        """The sign of how far it is."""
        return MARKS[self.how]


class Leg:
    """A leg as its page tells of it; everything in it is measured anew.

    Parameters
    ----------
    state : State

    Raises
    ------
    ValueError
        If no rig and walk can be made of it yet.
    """

    def __init__(self, state: State) -> None:
        self.state, self.report = state, inspected(state)

    def __repr__(self) -> str:
        return f"Leg: {self.name}. {self.headline}"

    @property
    def name(self) -> str:
        """The character's name."""
        return self.state.puppet.name

    @property
    def title(self) -> str:
        """The page's title."""
        return f"{self.name}’s legs, rigged on the bench"

    @property
    def headline(self) -> str:
        """The steps that are done, in a sentence or two."""
        how = [row.how for row in self.rows]
        said = f"Rigged by hand on the bench: {how.count('done')} of {len(how)} steps done."
        given = how.count("given")
        return f"{said} The kit filled in {given}." if given else said

    @cached_property
    def rows(self) -> list[Row]:
        """Each step with the number that matters."""
        how = done(self.state)
        waits = sum(each == "open" for step, each in how.items() if step < max(STEPS))
        return [_row(self.state, step, how[step], waits) for step in STEPS]

    @property
    def walk(self) -> list[tuple[str, str, str]]:
        """The walk's numbers: name, value, and limit with its mark where there is one."""
        length = 100 * build.planted_walk(self.state).step_length
        limited = [
            (capital(each.name), value_of(each), f"{MARKS[_how(each)]} {each.limit}")
            for each in numbers(self.state, "10")
            if each.name in WALKED
        ]
        return [("Step length", f"{length:.0f} cm", ""), *limited]

    @property
    def kept(self) -> dict[str, str]:
        """The rules whose slight findings are kept, each with the reason for it."""
        slight = {each.rule for each in self.report.of("finding") if each.severity == "slight"}
        return {rule: reason for rule, reason in self.state.kept.items() if rule in slight}


def _how(measured: Measured) -> str:
    return "done" if measured.right else "open"


def _row(state: State, step: str, how: str, waits: int) -> Row:
    """A step with the first of its numbers, or the first that is not right.

    The last one may be open for the others alone: then it tells how many it waits for.
    """
    try:
        measured = numbers(state, step)
    except ValueError:
        return Row(step, TITLES[step], "Nothing can be measured yet", "", "", "open")
    told = next((each for each in measured if not each.right), measured[0])
    if told.right and how == "open":
        told = Measured("steps before that are not done", waits, "", None, 0, "Finish them.")
    return Row(step, TITLES[step], capital(told.name), value_of(told), told.limit, how)


def page(state: State) -> str:
    """Return the page of a leg, complete in itself, for light and dark, phones and paper.

    Parameters
    ----------
    state : State

    Returns
    -------
    str
        HTML with one script, for the rig that can be turned; it reads as well where none runs.

    Raises
    ------
    ValueError
        If no rig and walk can be made of it yet.
    """
    leg = Leg(state)
    scene = view(leg.report)
    own = (templates.TEMPLATES / "bench" / "page.css").read_text(encoding="utf-8")
    return templates.render(
        "bench/page.html",
        leg=leg,
        scene=scene,
        style=Markup(report_view.STYLE + scene.style + own),
        script=Markup(scene.script),
    )


def write(state: State, path: str | os.PathLike[str]) -> None:
    """Write the page of a leg, whole or not at all, over nothing but an earlier such page.

    Parameters
    ----------
    state : State
    path : str or Path
        Such as "my-leg.html".

    Raises
    ------
    ValueError
        If something else stands there, or no rig can be made of the state yet.
    OSError
        If it cannot be written.
    """
    path = Path(path)
    if not may_write(path):
        raise ValueError(f"{path} is there already, and is no leg's page. Give another name.")
    write_whole(path, page(state).encode(), replace=path.exists())


def may_write(path: Path) -> bool:
    """Return True if nothing stands there but an earlier page of a leg.

    Parameters
    ----------
    path : Path

    Returns
    -------
    bool
    """
    if not path.is_file():
        return not path.exists()
    with open(path, "rb") as file:
        return MARK in file.read(2000)
