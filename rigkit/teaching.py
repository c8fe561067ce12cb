"""The course for a classroom: the same notebooks with their code folded, and a page of notes for
the teacher.

The notes are made from what each lesson's metadata says of it, and from its questions'
misconceptions.
"""

import json
import os
from collections.abc import Iterator
from typing import Any

from rigkit import course, homework
from rigkit.homework import catalogue

NOTES = "notes-for-teaching.ipynb"
_PARTS = {
    "ask": "Ask before a slider moves",
    "expect": "Wrong answers to expect",
    "stop": "Where to stop",
}


def hand_out(folder: str | os.PathLike[str]) -> course.Copies:
    """Copy the course for a classroom into `folder`; a file that the teacher changed is left alone.

    Parameters, result and errors are those of `course.hand_out`.
    """
    return course.hand_out(folder, files())


def files() -> Iterator[tuple[str, bytes]]:
    """(path with forward slashes, bytes) of every file that a teacher gets: the notes first, then
    the course."""
    yield NOTES, _text(notes())
    for name, data in course.shipped():
        yield (
            name,
            _text(folded(json.loads(data)))
            if name.startswith("lessons/") and name.endswith(".ipynb")
            else data,
        )


def folded(lesson: dict[str, Any]) -> dict[str, Any]:
    """A notebook, as JSON data, whose code is folded away; a click unfolds it."""
    for cell in lesson["cells"]:
        if cell["cell_type"] == "code":
            cell["metadata"]["jupyter"] = {"source_hidden": True}
    return lesson


def notes() -> dict[str, Any]:
    """The page of notes for all lessons, as a notebook in JSON data."""
    cells = [
        _cell("title", _TITLE),
        *(_cell(f"lesson-{each.number}", _lesson(each)) for each in course.lessons()),
    ]
    kernel = {"display_name": "Python 3 (ipykernel)", "language": "python", "name": "python3"}
    about = {"kernelspec": kernel, "language_info": {"name": "python"}}
    return {"cells": cells, "metadata": about, "nbformat": 4, "nbformat_minor": 5}


_TITLE = """\
# Notes for teaching

For every lesson: what to ask before anything moves, which wrong answers to expect, and where to stop. The page is made
from the course itself. Write your own notes into it: once you have changed it, it is left as it is.

The lessons beside it are the learners' own, with the code folded away (click the bar where a cell's code was to unfold
it) and type for the back row. Choose **Run**, **Run All Cells** before class. Each panel has buttons for its moments,
and takes typed values."""


def _lesson(lesson: course.Lesson) -> str:
    """One lesson's notes, as Markdown."""
    lines = [
        f"## {lesson.number} {lesson.title}",
        "",
        (
            f"[Open the lesson](lessons/{lesson.path.name}), {lesson.minutes} minutes. Afterwards"
            " the class can:"
        ),
        "",
        *(f"- {aim}" for aim in lesson.aims),
    ]
    if lesson.moments:
        lines += [
            "",
            f"**Moments to show:** {'; '.join(f'*{moment}*' for moment in lesson.moments)}.",
        ]
    for part, heading in _PARTS.items():
        if lesson.notes.get(part):
            lines += [
                "",
                f"### {heading}",
                "",
                *(f"- {sentence}" for sentence in lesson.notes[part]),
            ]
    if lesson.exercise and lesson.number in catalogue.lessons():
        lines += ["", f"### What goes wrong in [the exercise](exercises/{lesson.exercise.name})"]
        for question in homework.questions(lesson.number).values():
            lines += [
                "",
                f"`{question.name}`: {question.asks}. It goes wrong",
                "",
                *(f"- when {_plain(wrong.sentence)}" for wrong in question.misconceptions),
            ]
    return "\n".join(lines)


def _plain(sentence: str) -> str:
    """Words that Markdown shows as they are."""
    return "".join(f"\\{letter}" if letter in "*_<$[" else letter for letter in sentence)


def _cell(name: str, text: str) -> dict[str, Any]:
    return {"cell_type": "markdown", "id": name, "metadata": {}, "source": text}


def _text(data: Any) -> bytes:
    return (json.dumps(data, indent=1, ensure_ascii=False) + "\n").encode()
