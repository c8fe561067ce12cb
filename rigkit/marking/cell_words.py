"""Words on a notebook's cells: which one it is, and what came of running it."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from rigkit.marking.notebook_file import Notebook

__all__ = [
    "cell_of",
    "done_otherwise",
    "first_stopped",
    "name_of",
    "opens_homework",
    "stopped",
    "was_ended",
]

Cell = Mapping[str, Any]  # the record of one

LONGEST_QUOTE = 60
_LEFT_OUT = {
    "time limit": "did not end and was left out",
    "memory": "asked for more memory than one may have and was left out",
    "output limit": "printed more than one may and was left out",
    "file limit": "made more files than one may and was left out",
}
_MISSING = ("ImportError", "ModuleNotFoundError")


def name_of(read: Notebook, number: int, questions: Sequence[str]) -> str:
    """The words for a cell: its question, what it is for, or how it begins.

    Parameters
    ----------
    read : Notebook
    number : int
        Of the code cell, from 0.
    questions : sequence of str
        The names of the lesson's questions.
    """
    source = read.cells[number]
    if opens_homework(source):
        return "the opening cell"
    if question := _question(read, number, questions):
        return f"the cell for `{question}`"
    first = next((line.strip() for line in source.split("\n") if line.strip()), "")
    return f"the cell that begins {_quoted(first)}" if first else "an empty cell"


def opens_homework(source: str) -> bool:
    """True if a cell is the opening cell, whether it runs or not."""
    return re.search(r"^[^#\n]*\bopen_homework\s*\(", source, re.MULTILINE) is not None


def cell_of(read: Notebook, question: str, questions: Sequence[str]) -> int | None:
    """The number of the last cell for a question; None where there is none."""
    numbers = range(len(read.cells) - 1, -1, -1)
    return next((i for i in numbers if _question(read, i, questions) == question), None)


def _question(read: Notebook, number: int, questions: Sequence[str]) -> str:
    """The question that a cell answers: as the exercise has it, or by the name that it makes."""
    asked = read.asked[number].rpartition("/")[2] if number < len(read.asked) else ""
    made = re.findall(r"^(?:def\s+)?(\w+)\s*[=(]", read.cells[number], re.MULTILINE)
    return next((name for name in (asked, *made) if name in questions), "")


def stopped(cell: Cell) -> str:
    """Words on the end of a cell that stopped, to follow its name; empty where none did."""
    if cell.get("ok"):
        return ""
    if "left out" in cell:
        return _LEFT_OUT.get(cell["left out"], "ended the whole run and was left out")
    line = f" in line {cell['line']}" if cell.get("line") else ""
    if "seconds" in cell:
        return f"was ended{line} after {cell['seconds']:g} seconds; look for a loop that never ends"
    return f"stopped with {cell.get('error')}{line}{_about(cell)}"


def _about(cell: Cell) -> str:
    if "name" not in cell:
        return ""
    where = "cannot be imported here" if cell["error"] in _MISSING else "is not known"
    return f": `{cell['name']}` {where}"


def _skipped(cell: Cell, source: str) -> Iterator[str]:
    """A sentence's end for each line of a cell that was skipped."""
    lines = source.split("\n")
    for one in cell.get("skipped", ()):
        line = one.get("line") or 0
        text = _quoted(lines[line - 1].strip()) if 0 < line <= len(lines) else "a line"
        why = (
            f"`{one['name']}` cannot be imported here"
            if "name" in one
            else "no other program can be run here"
        )
        yield f"line {line}, {text}, was skipped: {why}"


def first_stopped(read: Notebook, cells: Sequence[Cell], questions: Sequence[str]) -> str:
    """The first cell that stopped, in words; empty if none did."""
    words = (
        f"{name_of(read, number, questions)} {stopped(cell)}"
        for number, cell in enumerate(cells)
        if stopped(cell)
    )
    return next(words, "")


def done_otherwise(
    read: Notebook, cells: Sequence[Cell], questions: Sequence[str], skipped: bool = True
) -> Iterator[str]:
    """A sentence for each cell that was ended or left out, and for each line `skipped`."""
    for number, cell in enumerate(cells):
        name = name_of(read, number, questions)
        if skipped:
            yield from (f"In {name}, {said}." for said in _skipped(cell, read.cells[number]))
        if was_ended(cell):
            yield f"{name[0].upper()}{name[1:]} {stopped(cell)}."


def was_ended(cell: Cell) -> bool:
    """True if a cell was ended from outside, or left out."""
    return "left out" in cell or "seconds" in cell


def _quoted(text: str) -> str:
    text = text.replace("`", "'")
    return f"`{text[:LONGEST_QUOTE]}…`" if len(text) > LONGEST_QUOTE else f"`{text}`"
