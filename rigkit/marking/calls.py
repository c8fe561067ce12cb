"""The questions to a process in the jail, and its answers."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from rigkit.marking.entry import NOT_STARTED

__all__ = ["Call", "Pipes", "Request", "Run", "SessionResult"]

Case = dict[str, Any]  # JSON data: what a question is asked with
CaseRecord = dict[str, Any]  # and what came of asking, as `homework.calling` makes it


@dataclass(frozen=True)
class Call:
    """One answer to collect.

    Attributes
    ----------
    question : str
        Its name, which is the function's or the value's.
    kind : {"function", "value", "file"}
        A file needs no cell: it is inspected, by our own code.
    cases : list of dict
        A function's; empty for a value or a file.
    seconds : float
        For all cases together.
    data : bytes
        A file's.
    """

    question: str
    kind: str
    cases: list[Case]
    seconds: float = 3.0
    data: bytes = b""


@dataclass(frozen=True)
class Request:
    """All that one process is asked.

    Attributes
    ----------
    cells : tuple of str
    calls : tuple of Call
        In their order.
    homework : Mapping
        For `open_homework` inside: "lesson", "student", "inputs" (question's name to case),
        "character" (a Puppet's fields).
    """

    cells: tuple[str, ...]
    calls: tuple[Call, ...]
    homework: Mapping[str, Any]


@dataclass(frozen=True)
class Pipes:
    """Our ends of the pipes to one process, as descriptors."""

    request: int
    result: int
    stdout: int
    stderr: int


@dataclass
class SessionResult:
    """The answers of one process so far.

    Attributes
    ----------
    end : str
        One of `entry.ENDS`.
    cells : list of dict
        `{"ok": True}` or `{"error": type, "line": int or None}`: with the "name" that the error is
        about, the "seconds" after which the cell was ended, and the lines that were "skipped".
    records : dict of str to list of dict
        By question's name, as `homework.calling` makes them.
    cpu : float or None
        Seconds, in the process's own words.
    """

    end: str = NOT_STARTED
    cells: list[dict[str, Any]] = field(default_factory=list)
    records: dict[str, list[CaseRecord]] = field(default_factory=dict)
    cpu: float | None = None

    def ran_out_of_memory(self) -> bool:
        """True if any cell or answer was stopped by a `MemoryError`."""
        types = [cell.get("error") for cell in self.cells]
        types += [record.get("type") for records in self.records.values() for record in records]
        return "MemoryError" in types


@dataclass(frozen=True)
class Run:
    """All that came out of one process.

    Attributes
    ----------
    end : str
        One of `entry.ENDS`. Answers given before the end stand.
    signal : int or None
        That ended it, as far as can be told.
    cells : tuple of dict
        As in `SessionResult`; fewer than the cells when it ended among them.
    records : Mapping of str to list of dict
        By question's name, as `homework.calling` makes them; fewer than the cases where it ended
        among them, none where no answer came.
    printed : str
        The beginning of what the cells printed.
    wall, cpu : float
        Seconds; cpu is the submission's own word for it, or None.
    bytes_out : int
    cut : bool
        True if more was printed than is kept.
    about : dict
        Of the jail; with "why" a text for the teacher where it did not start.
    """

    end: str
    signal: int | None
    cells: tuple[dict[str, Any], ...]
    records: Mapping[str, list[CaseRecord]]
    printed: str
    wall: float
    cpu: float | None
    bytes_out: int
    cut: bool
    about: dict[str, Any]
