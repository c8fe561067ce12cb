"""The learner's file: every state of a leg on the bench, with a way back and forth."""

from __future__ import annotations

import json
import os
import re
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import Any

from rigkit import _check, puppets
from rigkit._files import write_whole
from rigkit.bench.state import VERSION, State, shape_mark
from rigkit.puppets import Puppet

try:
    import fcntl
except ImportError:  # no such locks on Windows: two tabs must not save in the same moment there
    fcntl = None  # type: ignore[assignment]

__all__ = ["DEEPEST", "Book", "name_of_file", "whose"]

DEEPEST = 200  # steps that can be undone
KEY = b'"bench_book"'  # the first key of the file, by which it is known
MOST_BYTES = 30_000_000  # more than the longest history has


def __dir__() -> list[str]:
    return __all__


def name_of_file(puppet: Puppet | str) -> str:
    """Return the name of a character's file, where none is given: each has one of its own.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.CAST`.

    Returns
    -------
    str

    Raises
    ------
    ValueError
        If it is no puppet.

    Examples
    --------
    >>> from rigkit.bench.book import name_of_file
    >>> name_of_file("Tamsin"), name_of_file("heron")
    ('my-leg.json', 'my-leg-heron.json')
    """
    name = puppets.get(puppet).name
    plain = "-".join(re.findall(r"\w+", name.lower()))
    return "my-leg.json" if name == "Tamsin" else f"my-leg-{plain}.json"


class Book:
    """A file with a leg's states, the last 200 and those undone; each change is kept at once.

    The file is written whole or not at all. What another window wrote into it meanwhile is never
    lost: it becomes one more step of the history. A file that cannot be read is set aside under a
    name with the date, and stays.

    Parameters
    ----------
    path : str or Path
        Such as "my-leg.json", in a folder that is there; the file need not be.
    puppet : Puppet or str
        Whose leg it is; a name is one of `puppets.CAST`.
    start : State, optional
        What it begins with where there is no file, one step after the bare leg.

    Attributes
    ----------
    path : Path
    state : State
        As it is now: as long as there is no file, the one it begins with, else the bare one.
    set_aside : Path or None
        Where a file that could not be read was put.

    Raises
    ------
    ValueError
        If the file holds another character's leg, or is of a newer version; it is left as it is.
    OSError
        If it cannot be opened or written.

    Examples
    --------
    >>> import tempfile
    >>> from rigkit.bench.book import Book
    >>> with tempfile.TemporaryDirectory() as folder:
    ...     book = Book(folder + "/my-leg.json", "Pip")
    ...     book.keep(book.state.changed(soft_mm=10))
    ...     book.undo().soft_mm, book.redo().soft_mm, Book(book.path, "Pip").state.soft_mm
    (0, 10, 10)
    """

    def __init__(
        self,
        path: str | os.PathLike[str],
        puppet: Puppet | str = "Tamsin",
        start: State | None = None,
    ) -> None:
        self.path, self._puppet = Path(path), puppets.get(puppet)
        self.set_aside: Path | None = None
        begin = [State.bare(self._puppet), *([] if start is None else [start])]
        self._steps = list(dict.fromkeys(state.json() for state in begin))
        self._at = len(self._steps) - 1
        self._seen: bytes | None = None  # the file's bytes that the steps are of
        with self._alone():
            self._read()

    def __repr__(self) -> str:
        way = f"step {self._at + 1} of {len(self._steps)}"
        return f"Book: {self.path.name}, {self._puppet.name}, {way}"

    @property
    def state(self) -> State:
        """The state as it is now."""
        return State.read(self._steps[self._at], self._puppet)

    @property
    def can_undo(self) -> bool:
        """True if there is a state before this one."""
        return self._at > 0

    @property
    def can_redo(self) -> bool:
        """True if there is an undone state after this one."""
        return self._at + 1 < len(self._steps)

    def keep(self, state: State) -> None:
        """Keep another state: one step. What was undone is dropped, unless another window did it.

        Parameters
        ----------
        state : State

        Raises
        ------
        ValueError
            If it is no state, or of another character.
        OSError
            If the file cannot be written; the book is then as it was.
        """
        if not isinstance(state, State):
            raise ValueError(f"`state` must be a State; got {_check.short(state)}.")
        text = state.json()
        State.read(text, self._puppet)
        with self._alone():
            shown = self._steps[self._at]
            self._read()
            before = self._steps[: self._at + 1]
            if before[-1] != shown:
                # Another window was here: what it has undone may be what was shown in this one.
                before = [*self._steps, *(before[-1:] if self.can_redo else [])]
                before += [shown] if shown not in before else []  # it was undone, then dropped
            if before[-1] != text:
                steps = [*before, text][-DEEPEST - 1 :]
                self._write(steps, len(steps) - 1)

    def undo(self) -> State:
        """Go back by a step, if there is one.

        Returns
        -------
        State
            As it is now.

        Raises
        ------
        OSError
            If the file cannot be written; the book is then as it was.
        """
        return self._go(-1)

    def redo(self) -> State:
        """Do the last undone step again, if there is one.

        Returns
        -------
        State
            As it is now.

        Raises
        ------
        OSError
            If the file cannot be written; the book is then as it was.
        """
        return self._go(1)

    def _go(self, way: int) -> State:
        with self._alone():
            self._read()
            if 0 <= self._at + way < len(self._steps):
                self._write(self._steps, self._at + way)
        return self.state

    def _write(self, steps: list[str], at: int) -> None:
        told = {
            "bench_book": VERSION,
            "puppet": self._puppet.name,
            "shape": shape_mark(self._puppet),
        }
        head, rows = json.dumps(told | {"at": at}, ensure_ascii=False)[:-1], ",\n".join(steps)
        data = f'{head}, "steps": [\n{rows}\n]}}\n'.encode()
        write_whole(self.path, data)
        self._steps, self._at, self._seen = steps, at, data

    def _read(self) -> None:
        """Take what stands in the file, if it is not what was seen there last."""
        try:
            with open(self.path, "rb") as file:
                data = file.read(MOST_BYTES + 1)
        except FileNotFoundError:
            return
        if data == self._seen:
            return
        told = _parsed(data)
        if told is not None:
            self._refuse_others(told)
            try:
                self._steps, self._at = self._checked(told)
                self._seen = data
                return
            except ValueError:
                pass
        self.set_aside = _set_aside(self.path)
        self._seen = None

    def _refuse_others(self, told: dict[str, Any]) -> None:
        version, name = told.get("bench_book"), told.get("puppet")
        if isinstance(version, int) and version > VERSION:
            raise ValueError(
                f"`path` must hold a leg of version {VERSION} or older; got version {version} in"
                f" {self.path.name}. A newer rigkit reads it."
            )
        version = version if isinstance(version, int) else VERSION
        ours = self._puppet.name, shape_mark(self._puppet, version)
        if isinstance(name, str) and (name, told.get("shape")) != ours:
            raise ValueError(
                f"`path` must hold the leg of {self._puppet.name!r}; got that of"
                f" {_check.short(name)}, of another shape, in {self.path.name}. Give each character"
                " a file of its own."
            )

    def _checked(self, told: dict[str, Any]) -> tuple[list[str], int]:
        steps, at = told.get("steps"), told.get("at")
        if not isinstance(steps, list) or not 0 < len(steps) <= DEEPEST + 1:
            raise ValueError("`steps` must be states.")
        if type(at) is not int or not 0 <= at < len(steps):
            raise ValueError("`at` must be a step.")
        return [State.read(json.dumps(step), self._puppet).json() for step in steps], at

    @contextmanager
    def _alone(self) -> Iterator[None]:
        """Keep other windows' books from reading and writing in this folder."""
        if fcntl is None:
            yield
            return
        folder = os.open(self.path.parent, os.O_RDONLY)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX)
            yield
        finally:
            os.close(folder)  # which lets go


def whose(path: str | os.PathLike[str]) -> str | None:
    """Return the name of the character whose leg a file holds.

    Parameters
    ----------
    path : str or path

    Returns
    -------
    str or None
        One of `puppets.CAST`; None if there is no file, or none with a leg of one of them.
    """
    try:
        with open(path, "rb") as file:
            told = _parsed(file.read(MOST_BYTES + 1)) or {}
    except OSError:
        return None
    name = told.get("puppet")
    return name if isinstance(name, str) and name in puppets.CAST else None


def _parsed(data: bytes) -> dict[str, Any] | None:
    """A file's JSON object; None if it is something else."""
    try:
        told = json.loads(data) if len(data) <= MOST_BYTES else None
    except (ValueError, RecursionError):
        return None
    return told if isinstance(told, dict) else None


def _set_aside(path: Path) -> Path:
    """Give a file another name, with the date, that no other file has."""
    date = datetime.now().strftime("%Y-%m-%d-%H%M")
    aside, number = path.with_name(f"{path.stem}-broken-{date}{path.suffix}"), 2
    while aside.exists():
        aside = path.with_name(f"{path.stem}-broken-{date}-{number}{path.suffix}")
        number += 1
    path.rename(aside)
    return aside
