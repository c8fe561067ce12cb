"""The course for a classroom: the same notebooks, code folded, and a page of teacher's notes.

The notes are made from what each lesson's metadata says of it, and from its questions'
misconceptions.
"""

import json
import os
from collections.abc import Iterable, Iterator
from importlib import resources
from typing import Any
from urllib.parse import quote

from rigkit import course, homework
from rigkit.homework import catalogue

__all__ = ["NOTES", "files", "folded", "hand_out", "notes"]

NOTES = "notes-for-teaching.ipynb"
_DATA = resources.files("rigkit") / "data"
_TITLE = (_DATA / "notes-for-teaching.md").read_text(encoding="utf-8").rstrip()
_PARTS = {
    "ask": "Ask before a slider moves",
    "expect": "Wrong answers to expect",
    "stop": "Where to stop",
}


def hand_out(folder: str | os.PathLike[str]) -> course.Copies:
    """Copy the course for a classroom; a file that the teacher changed is left alone.

    Parameters
    ----------
    folder : str or path
        Made if it is not there.

    Returns
    -------
    course.Copies

    Raises
    ------
    OSError
        As of `course.hand_out`.
    """
    return course.hand_out(folder, files())


def files() -> Iterator[tuple[str, bytes]]:
    """Every file that a teacher gets, the notes first, then the course.

    Yields
    ------
    tuple of str and bytes
        Its path with forward slashes, and what is in it.
    """
    yield NOTES, _text(notes())
    for name, data in course.shipped():
        if name.startswith("lessons/") and name.endswith(".ipynb"):
            data = _text(folded(json.loads(data)))
        yield name, data


def folded(lesson: dict[str, Any]) -> dict[str, Any]:
    """Fold a notebook's code away; a click unfolds it.

    Parameters
    ----------
    lesson : dict
        As JSON data; it is changed.

    Returns
    -------
    dict
        The same.
    """
    for cell in lesson["cells"]:
        if cell["cell_type"] == "code":
            cell["metadata"].setdefault("jupyter", {})["source_hidden"] = True
    return lesson


def notes() -> dict[str, Any]:
    """The page of notes for all lessons, as a notebook in JSON data."""
    cells = [
        _cell("title", f"{_TITLE}\n\n{_index()}"),
        *(_cell(f"lesson-{each.number}", _lesson(each)) for each in course.lessons()),
    ]
    kernel = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
    about = {"kernelspec": kernel, "language_info": {"name": "python"}}
    return {"cells": cells, "metadata": about, "nbformat": 4, "nbformat_minor": 5}


def _index() -> str:
    """A link to each lesson's notes, further down on the page."""
    return _list(f"[{_heading(each)}](#{_anchor(_heading(each))})" for each in course.lessons())


def _heading(lesson: course.Lesson) -> str:
    return f"{lesson.number} {lesson.title}"


def _anchor(heading: str) -> str:
    """The end of a heading's address, as JupyterLab makes it."""
    return quote(heading.replace(" ", "-"))


def _lesson(lesson: course.Lesson) -> str:
    """One lesson's notes, as Markdown."""
    after = "Afterwards the class can:"
    blocks = [
        f"## {_heading(lesson)}",
        f"[Open the lesson](lessons/{lesson.path.name}), {lesson.minutes} minutes. {after}",
        _list(lesson.aims),
    ]
    if lesson.moments:
        moments = "; ".join(f"*{moment}*" for moment in lesson.moments)
        blocks.append(f"**Moments to show:** {moments}.")
    if lesson.leg:
        blocks.append(f"**On their own leg:** {lesson.leg}")
    for part, heading in _PARTS.items():
        if lesson.notes.get(part):
            blocks += [f"### {heading}", _list(lesson.notes[part])]
    if lesson.exercise and lesson.number in catalogue.lessons():
        blocks.append(f"### What goes wrong in [the exercise](exercises/{lesson.exercise.name})")
        for question in homework.questions(lesson.number).values():
            wrong = [f"when {_plain(each.sentence)}" for each in question.misconceptions]
            blocks += [f"`{question.name}`: {question.asks}. It goes wrong", _list(wrong)]
    return "\n\n".join(blocks)


def _list(points: Iterable[str]) -> str:
    return "\n".join(f"- {point}" for point in points)


def _plain(sentence: str) -> str:
    """Words that Markdown shows as they are."""
    return "".join(f"\\{letter}" if letter in "*_<$[" else letter for letter in sentence)


def _cell(name: str, text: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "id": name, "metadata": {}, "source": text}


def _text(data: Any) -> bytes:
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()


def __dir__() -> list[str]:
    return __all__
