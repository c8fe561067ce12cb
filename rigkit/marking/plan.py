"""The plan of a homework: what is asked, what it is worth, when it is due.

A teacher sets it in a small TOML file, which `pack` writes with every line explained.
"""

import math
import os
import re
import tomllib
from collections.abc import Iterable, Mapping
from datetime import datetime
from pathlib import Path
from typing import Any

from rigkit.homework import catalogue
from rigkit.marking.entry import Terms

__all__ = ["FLAG", "choose", "file_text", "read"]

FLAG = "flag"
KEYS = ("deadline", "late", "questions")
TEXT = Path(__file__).parents[1] / "data" / "handout" / "plan.toml"
MOST_BYTES = 2**20


class _PlanError(Exception):
    """Something in a plan that cannot be: what is wrong, and where it stands."""

    def __init__(self, text: str, key: str = "", table: str = "") -> None:
        super().__init__(text)
        self.key, self.table = key, table


def read(path: str | os.PathLike[str]) -> dict[str, Terms]:
    """Read a plan.

    Parameters
    ----------
    path : path-like
        A TOML file such as `file_text` makes.

    Returns
    -------
    dict of str to Terms
        By lesson.

    Raises
    ------
    ValueError
        It is no plan; the text says which line is to blame, and what it must be.
    OSError
        It cannot be read.
    """
    text = _text(Path(path))
    try:
        return _terms(tomllib.loads(text))
    except tomllib.TOMLDecodeError as error:
        raise ValueError(f"{path} is not a plan: {error}.") from None
    except _PlanError as error:
        line = _line(text, error.key, error.table)
        raise ValueError(f"{path}, line {line}: {error}") from None


def choose(lessons: Iterable[str | int], names: Iterable[str] = ()) -> dict[str, Terms]:
    """Choose questions of some lessons, each of weight 1: those named, or else all.

    Parameters
    ----------
    lessons : iterable of str or int
    names : iterable of str
        Such as "solve_leg", or "06/solve_leg" where several lessons have one.

    Returns
    -------
    dict of str to Terms
        By lesson, in order.

    Raises
    ------
    ValueError
        No such lesson or question, a name that several lessons have, or a lesson left without any.
    """
    there = [question for lesson in lessons for question in catalogue.questions(lesson).values()]
    names = list(names)
    for name in names:
        fits = {question.id for question in there if name in (question.name, question.id)}
        if len(fits) != 1:
            some = ", ".join(sorted(fits) or dict.fromkeys(question.name for question in there))
            raise ValueError(f"No one question is called {name!r} here. Choose from {some}.")
    chosen: dict[str, dict[str, float]] = {question.lesson: {} for question in there}
    for question in there:
        if not names or question.name in names or question.id in names:
            chosen[question.lesson][question.id] = 1.0
    for lesson, weights in chosen.items():
        if not weights:
            raise ValueError(f"None of the questions is of lesson {lesson}. Leave that lesson out.")
    return {lesson: Terms(chosen[lesson]) for lesson in sorted(chosen)}


def file_text(plan: Mapping[str, Terms]) -> str:
    """Return the text of a plan's file, with every line explained."""
    weights = [item for terms in plan.values() for item in terms.weights.items()]
    lines = (f'"{question}" = {weight:g}' for question, weight in weights)
    return TEXT.read_text("utf-8").format(questions="\n".join(lines))


def _text(path: Path) -> str:
    with open(path, "rb") as file:
        data = file.read(MOST_BYTES + 1)
    try:
        if len(data) <= MOST_BYTES:
            return data.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        pass
    raise ValueError(f"{path} is not a plan: it must be a small text, saved as UTF-8.")


def _terms(found: Mapping[str, Any]) -> dict[str, Terms]:
    """The terms of each lesson that a plan's tables speak of."""
    for key in found:
        if key not in KEYS:
            raise _PlanError(f"{key!r} is not a word of a plan; it has {', '.join(KEYS)}.", key)
    deadline, per_day = _deadline(found), _per_day(found)
    weights = _weights(found.get("questions"))
    if per_day and not deadline:
        raise _PlanError("`late` takes something off, but no `deadline` is set.", "late")
    return {lesson: Terms(each, deadline, per_day) for lesson, each in sorted(weights.items())}


def _deadline(found: Mapping[str, Any]) -> str:
    moment = found.get("deadline")
    if moment is None:
        return ""
    if not isinstance(moment, datetime):
        raise _PlanError(
            f"`deadline` must be a day and a time such as 2026-12-01T18:00:00; got {moment}.",
            "deadline",
        )
    return moment.isoformat(timespec="seconds")


def _per_day(found: Mapping[str, Any]) -> float:
    """The share of the score that each day costs."""
    late = found.get("late", FLAG)
    if late == FLAG:
        return 0.0
    if not _is_number(late) or not 0 <= late <= 100:
        raise _PlanError(
            f'`late` must be "{FLAG}", or per cent for each day from 0 to 100; got {late!r}.',
            "late",
        )
    return late / 100


def _weights(found: Any) -> dict[str, dict[str, float]]:
    """The weight of each question that is asked, by lesson."""
    if not isinstance(found, Mapping) or not found:
        raise _PlanError("`[questions]` must name one question at least.", "", "questions")
    weights: dict[str, dict[str, float]] = {}
    for question, weight in found.items():
        lesson, _, name = question.partition("/")
        known = catalogue.questions(lesson) if lesson in catalogue.lessons() else {}
        if name not in known:
            some = (
                f"Lesson {lesson} has {', '.join(known)}."
                if known
                else 'Give the lesson with it, such as "06/solve_leg".'
            )
            raise _PlanError(f'No question is called "{question}". {some}', question, "questions")
        if not _is_number(weight) or weight < 0:
            raise _PlanError(
                f"A weight must be a number from 0 on; got {weight!r}.", question, "questions"
            )
        weights.setdefault(lesson, {})[question] = float(weight)
    for lesson, each in weights.items():
        if not sum(each.values()):
            raise _PlanError(
                f"The weights of lesson {lesson} add to 0: one must be larger.",
                next(iter(each)),
                "questions",
            )
    return weights


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _line(text: str, key: str, table: str) -> int:
    """The number of the line where a key of a table stands, or without a key the table; else 1."""
    inside = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if head := re.match(r"\s*\[+\s*[\"']?([\w-]*)", line):
            inside = head[1]
            if inside == (table or key) and not (table and key):
                return number
        elif inside == table and key and line.partition("=")[0].strip().strip("\"'") == key:
            return number
    return 1
