"""A teacher's table of corrections, read row by row."""

import csv
import io
import os
from collections.abc import Iterator, Mapping
from pathlib import Path

from rigkit.marking import csv_file
from rigkit.marking.correct import Correction
from rigkit.marking.roster import words

__all__ = ["read"]

MOST_BYTES = 10 * 2**20
COLUMNS = {  # of a table of corrections, with the words that are understood
    "learner": ("learner", "id", "name", "student"),
    "lesson": ("lesson",),
    "question": ("question", "lesson or question", "question or lesson"),
    "score": ("score",),
    "reason": ("reason",),
    "feedback": ("feedback",),
    "seen": ("seen",),
}
YES, NO = ("yes", "x", "1", "true", "seen"), ("", "no", "0", "false")


def read(path: str | os.PathLike[str]) -> list[Correction]:
    """Read a table of corrections: CSV with commas, semicolons or tabs.

    Its first line names the columns, in any order: learner (an id or a name), lesson or question
    (such as 06, 06/solve_leg), and of score, reason, feedback and seen those that are needed.

    Parameters
    ----------
    path : path-like

    Returns
    -------
    list of Correction

    Raises
    ------
    ValueError
        It is no such table; the text says which row is to blame.
    """
    path = Path(path)
    rows = _rows(path)
    number, heads = next(rows, (1, []))
    columns = _columns(path, number, heads)
    found = []
    for number, cells in rows:
        place = f"{path}, row {number}"
        if len(cells) > len(heads) and any(cell.strip() for cell in cells[len(heads) :]):
            raise ValueError(f'{place} has more cells than there are columns. Put " around texts.')
        values = {name: cells[i].strip() for name, i in columns.items() if i < len(cells)}
        found.append(_correction(place, values))
    if not found:
        raise ValueError(f"{path} has no row below its heads. Put a correction on each.")
    return found


def _correction(place: str, values: Mapping[str, str]) -> Correction:
    """The correction in one row."""
    seen = values.get("seen", "").casefold()
    if seen not in (*YES, *NO):
        raise ValueError(f"{place}: `seen` must be yes or empty; got {seen!r}.")
    if not values.get("learner"):
        raise ValueError(f"{place}: the learner is missing. Give an id, as in grades.csv.")
    lesson, question = values.get("lesson", ""), values.get("question", "")
    if lesson and question and "/" not in question:
        question = f"{lesson}/{question}"
    return Correction(
        values["learner"],
        question or lesson,
        values.get("score") or None,
        values.get("reason", ""),
        values.get("feedback", ""),
        seen in YES,
        place,
    )


def _columns(path: Path, number: int, heads: list[str]) -> dict[str, int]:
    """The column of each thing, by the words at its head."""
    found: dict[str, int] = {}
    for i, head in enumerate(heads):
        called = " ".join(words(head))
        name = next((name for name, known in COLUMNS.items() if called in known), None)
        if name in found or (called and not name):
            raise ValueError(
                f"{path}, row {number}: a column is called {head!r}"
                f"{' again' if name else ''}; the columns are {', '.join(COLUMNS)}."
            )
        if name:
            found[name] = i
    if "learner" not in found or not {"lesson", "question"} & found.keys():
        raise ValueError(
            f"{path}, row {number}: the first row must name the columns, such as"
            " learner,question,score,reason."
        )
    return found


def _rows(path: Path) -> Iterator[tuple[int, list[str]]]:
    """(number, cells) of each row that is not empty."""
    text = _text(path)
    first = next((line for line in text.splitlines() if line.strip()), "")
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=max(",;\t", key=first.count))
    number = 0
    try:
        for number, row in enumerate(rows, start=1):
            if any(cell.strip() for cell in row):
                yield number, row
    except csv.Error as error:
        raise ValueError(
            f"{path}, row {number + 1}: it cannot be read ({error}). Save it anew as CSV."
        ) from None


def _text(path: Path) -> str:
    with open(path, "rb") as file:
        data = file.read(MOST_BYTES + 1)
    text = csv_file.decode(data) if len(data) <= MOST_BYTES else None
    if text is not None:
        return text
    raise ValueError(f"{path} is not a table of corrections: save it as CSV, in UTF-8.")
