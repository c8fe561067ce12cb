"""The plan of a homework: what is asked, what it is worth, when it is due.

A teacher sets it in a small TOML file, which `pack` writes with every line explained.
"""

import math
import os
import re
import textwrap
import tomllib
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from rigkit.homework import catalogue
from rigkit.homework import own as owns
from rigkit.homework.formula import FUNCTIONS, MEASURES
from rigkit.marking.entry import Terms

__all__ = ["FLAG", "choose", "file_text", "read"]

FLAG = "flag"
KEYS = ("deadline", "late", "questions", "question")
TEXT = Path(__file__).parents[1] / "data" / "handout" / "plan.toml"
MOST_BYTES = 2**20


class _PlanError(Exception):
    """Something in a plan that cannot be: what is wrong, and where it stands.

    In an array of tables it stands in the `nth` of its name; in an array within one, such as
    "question.wrong", in the one of the first number's table.
    """

    def __init__(
        self, text: str, key: str = "", table: str = "", nth: tuple[int, ...] = ()
    ) -> None:
        super().__init__(text)
        self.key, self.table, self.nth = key, table, nth


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
        line = _line(text, error.key, error.table, error.nth)
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
    return TEXT.read_text("utf-8").format(
        questions="\n".join(lines),
        measures=_wrapped(MEASURES, "in a formula in `right` and `answer`; all are in metres: "),
        functions=_wrapped(
            FUNCTIONS, "A formula may have numbers, these names, + - * / ** ( ), pi, and "
        ),
    )


def _wrapped(names: Iterable[str], after: str) -> str:
    """Names with commas, in comment lines that go on after some words."""
    text = textwrap.fill(f"{after}{', '.join(names)}", 96).removeprefix(after)
    return text.replace("\n", "\n# ")


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
    own = _own(found.get("question", []))
    weights = _weights(found.get("questions", {}), own)
    if per_day and not deadline:
        raise _PlanError("`late` takes something off, but no `deadline` is set.", "late")
    return {
        lesson: Terms(each, deadline, per_day, tuple(_tables(own, lesson)))
        for lesson, each in sorted(weights.items())
    }


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


def _own(found: Any) -> list[Mapping[str, Any]]:
    """The tables of the teacher's own questions, each checked."""
    if not isinstance(found, list) or not all(isinstance(each, Mapping) for each in found):
        raise _PlanError(
            "`question` must be tables [[question]], one for each of your own.", "question"
        )
    names = set()
    for number, table in enumerate(found):
        weight = table.get("weight", 1)
        if not _is_number(weight) or weight < 0:
            raise _PlanError(_not_a_weight(weight), "weight", "question", (number,))
        try:
            question = owns.question(_without_weight(table))
        except owns.OwnError as error:
            within, nth = (
                ("", (number,)) if error.wrong is None else (".wrong", (number, error.wrong))
            )
            raise _PlanError(str(error), error.key, f"question{within}", nth) from None
        if question.id in names:
            raise _PlanError(
                f"`name` must be another one: {question.id} is there twice.",
                "name",
                "question",
                (number,),
            )
        names.add(question.id)
    return found


def _tables(own: Iterable[Mapping[str, Any]], lesson: str) -> Iterator[dict[str, Any]]:
    """The tables of a lesson as they are kept."""
    for table in own:
        if table["lesson"] == lesson:
            yield _without_weight(table)


def _without_weight(table: Mapping[str, Any]) -> dict[str, Any]:
    """A table without its weight, which may change when all is marked."""
    return {key: value for key, value in table.items() if key != "weight"}


def _weights(found: Any, own: Sequence[Mapping[str, Any]]) -> dict[str, dict[str, float]]:
    """The weight of each question that is asked, by lesson."""
    if not isinstance(found, Mapping) or not (found or own):
        raise _PlanError("`[questions]` must name one question at least.", "", "questions")
    weights: dict[str, dict[str, float]] = {}
    for question, weight in found.items():
        lesson, _, name = question.partition("/")
        known = catalogue.questions_of(lesson) if lesson in catalogue.works() else {}
        if name not in known:
            some = (
                f"Lesson {lesson} has {', '.join(known)}."
                if known
                else 'Give the lesson with it, such as "06/solve_leg".'
            )
            raise _PlanError(f'No question is called "{question}". {some}', question, "questions")
        if not _is_number(weight) or weight < 0:
            raise _PlanError(_not_a_weight(weight), question, "questions")
        weights.setdefault(lesson, {})[question] = float(weight)
    for table in own:
        question = f"{table['lesson']}/{table['name']}"
        weights.setdefault(table["lesson"], {})[question] = float(table.get("weight", 1))
    for lesson, each in weights.items():
        if not sum(each.values()):
            raise _weightless(lesson, each, own)
    return weights


def _not_a_weight(weight: Any) -> str:
    return f"A weight must be a number from 0 on; got {weight!r}."


def _weightless(lesson: str, each: Iterable[str], own: Sequence[Mapping[str, Any]]) -> _PlanError:
    """The error of a lesson whose questions all weigh nothing."""
    said = f"The weights of lesson {lesson} add to 0: one must be larger."
    mine = [number for number, table in enumerate(own) if table["lesson"] == lesson]
    first = next(iter(each))
    if mine and first == f"{lesson}/{own[mine[0]]['name']}":
        return _PlanError(said, "weight", "question", (mine[0],))
    return _PlanError(said, first, "questions")


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool) and math.isfinite(value)


def _line(text: str, key: str, table: str, nth: tuple[int, ...] = ()) -> int:
    """The number of the line where a key of a table stands, or without a key the table; else 1.

    Of an array's tables it is the `nth`; where that has no such key, the line of its head.
    """
    inside, counts, found = "", [-1, -1], 0
    for number, line in _code_lines(text):
        if head := re.match(r"\s*\[+\s*([\w.\s\"'-]*)", line):
            inside = re.sub(r"[\s\"']", "", head[1])
            if inside == "question":
                counts = [counts[0] + 1, -1]
            elif inside == "question.wrong":
                counts[1] += 1
            here = inside == (table or key) and counts[: len(nth)] == [*nth]
            if here and not (table and key):
                return number
            found = number if here and nth else found
        elif inside == table and counts[: len(nth)] == [*nth] and _key_of(line) == key != "":
            return number
    if len(nth) == 2 and not found:  # written within the line of `wrong`
        return _line(text, "wrong", "question", nth[:1])
    return found or 1


def _code_lines(text: str) -> Iterator[tuple[int, str]]:
    """(number, line) of each line that does not begin inside a text of several lines."""
    quotes = ""
    for number, line in enumerate(text.split("\n"), start=1):
        if not quotes:
            yield number, line
            quotes = next((each for each in ('"""', "'''") if line.count(each) % 2), "")
        elif quotes in line:
            quotes = ""


def _key_of(line: str) -> str:
    return line.partition("=")[0].strip().strip("\"'")
