"""A question of a teacher's own: from a table of plain data to a `Question` like any other.

The same table stands in a teacher's plan, in the record of marks, and, packed, in the file that a
learner's notebook reads: see `pack` and `unpack`.
"""

import base64
import builtins
import json
import keyword
import os
import re
import string
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from rigkit import puppets
from rigkit.homework import catalogue, judging
from rigkit.homework.checking import LARGEST
from rigkit.homework.formula import MEASURES, Formula, FormulaError, measures
from rigkit.homework.question import WORDS, Case, Misconception, Question, Shape, Verdict
from rigkit.puppets import Puppet

__all__ = [
    "KINDS",
    "OwnError",
    "cells",
    "how_to_answer",
    "pack",
    "question",
    "text",
    "unpack",
    "uses",
]

NEEDED = ("lesson", "name", "asks", "kind", "right")
KINDS: dict[str, tuple[str, ...]] = {  # with the keys that it alone has
    "number": ("tolerance", "unit"),
    "choice": ("options",),
    "list": ("in_order",),
}
MOST_ASKED, MOST_SAID, MOST_WORDS = 4_000, 300, 50
MOST_BYTES = 8 * 2**20  # more than any plan makes
TRIED = 200  # characters for which a formula must have a value
OFTEN = 0.1  # the share of them for which a wrong answer may be right by chance
_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]{0,39}")
_TAKEN = {"hw", "mine", "np", "open_homework", *keyword.kwlist, *dir(builtins)}
_FILE = "rigkit_questions"


class OwnError(ValueError):
    """A table that cannot be a question: what is wrong, at which key, in which wrong answer."""

    def __init__(self, text: str, key: str = "", wrong: int | None = None) -> None:
        super().__init__(text)
        self.key, self.wrong = key, wrong


@dataclass(frozen=True)
class _Kind:
    """The answers of one question.

    `shape` is theirs, `read` makes of one in the table a function of measures, or raises a
    `ValueError`; `same` is True if two are the same; `name` says one in words.
    """

    shape: Shape
    read: Callable[[Any], Callable[[Mapping[str, float]], Any]]
    same: Callable[[Any, Any], bool]
    name: Callable[[Any], str]


def question(table: Mapping[str, Any]) -> Question:
    """Make a question of its table.

    Parameters
    ----------
    table : mapping
        Its keys are those of `NEEDED`, of its kind in `KINDS`, and "wrong": a list of tables with
        "answer" and "say".

    Returns
    -------
    Question
        Of kind "value".

    Raises
    ------
    OwnError
        It cannot be one.
    """
    _check_keys(table)
    lesson, name, kind = table["lesson"], _name(table), _KIND[table["kind"]](table)
    right = _read(kind, table["right"], "right")
    wrong = [_wrong(kind, right, each, i) for i, each in enumerate(table.get("wrong", ()))]
    used = uses(table)
    return Question(
        lesson,
        name,
        _in_short(table),
        "value",
        {name: kind.shape},
        lambda rng, character: [_case(used, character)],
        lambda inputs, output: _judge(table, kind.same, right(inputs), output[name]),
        tuple(
            Misconception(
                kind.name(each["answer"]),
                lambda *values, model=model: model(dict(zip(used, values, strict=True))),
                each["say"].strip(),
                whole=True,
            )
            for each, model in zip(table.get("wrong", ()), wrong, strict=True)
        ),
        kind.same,
    )


def uses(table: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the names of the measures that a question's text and formulas have, in order."""
    used = {name for _, name in _pieces(table["asks"]) if name}
    if table["kind"] == "number":
        wrong = table.get("wrong", ())
        for said in (table["right"], *(each["answer"] for each in wrong)):
            used |= {*Formula(said).measures}
    return tuple(name for name in MEASURES if name in used)


def text(table: Mapping[str, Any]) -> str:
    """Return the text of a question, Markdown, with measures as `mine.thigh` and their unit."""
    return "".join(
        said + (f"`mine.{name}` m" if name else "") for said, name in _pieces(table["asks"])
    ).strip()


def how_to_answer(table: Mapping[str, Any]) -> str:
    """Return the sentence on the form of an answer."""
    if table["kind"] == "choice":
        options = ", ".join(f'`"{option.strip()}"`' for option in table["options"])
        return f"Answer with one of {options}."
    if table["kind"] == "list":
        order = "in their order" if table.get("in_order") else "in any order"
        return f'Answer with a list of words, {order}, such as `["one", "other"]`.'
    unit, off = table.get("unit", "").strip(), f"{table['tolerance']:g}"
    if not unit:
        return f"Answer with a number. It may be off by {off}."
    return f"Answer with a number in {unit}. It may be off by {off} {unit}."


def cells(name: str) -> tuple[str, str, str]:
    """Return the code of a question's cells: its numbers, its answer, still to come, its check."""
    return f'mine = hw.inputs("{name}")\nmine', f"{name} = ...", f"hw.check({name}={name})"


def pack(tables: Iterable[Mapping[str, Any]]) -> bytes:
    """Return the file of some questions, for `unpack`.

    Its answers cannot be read by accident; whoever wants to can, as in all that is checked at home.
    """
    data = base64.b64encode(json.dumps(list(tables)).encode()).decode()
    about = "Questions of your teacher's own. Leave this file beside the notebook."
    return (json.dumps({"about": about, _FILE: data}, indent=1) + "\n").encode()


def unpack(path: str | os.PathLike[str], lesson: str) -> dict[str, Question]:
    """Return the questions in a file that `pack` made, by name.

    Parameters
    ----------
    path : path-like
    lesson : str
        The one that all of them are of.

    Returns
    -------
    dict of str to Question

    Raises
    ------
    ValueError
        There is no such file, or it holds something else.
    """
    path = Path(path)
    try:
        with open(path, "rb") as file:
            data = json.loads(file.read(MOST_BYTES))
        tables = json.loads(base64.b64decode(data[_FILE]))
        questions = {each.name: each for each in map(question, tables)}
    except OSError:
        raise ValueError(
            f"`own` must be the file {path.name} that came with this notebook; it is not beside it."
            " Unpack the whole zip, and open the notebook where it was unpacked."
        ) from None
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError):
        questions = {}
    if not questions or any(each.lesson != lesson for each in questions.values()):
        raise ValueError(
            f"{path.name} holds no questions of lesson {lesson}. Unpack the zip once more, and open"
            " the notebook where it was unpacked."
        )
    return questions


# --- what a table must be


def _check_keys(table: Mapping[str, Any]) -> None:
    for key in NEEDED:
        if key not in table:
            raise OwnError(f"{key!r} is missing; a question needs {', '.join(NEEDED)}.")
    _text(table, "kind", 20)
    if table["lesson"] not in catalogue.lessons():
        there = _either(catalogue.lessons())
        raise OwnError(f"The lesson must be {there}; got {table['lesson']!r}.", "lesson")
    if table["kind"] not in KINDS:
        raise OwnError(f"`kind` must be {_either(KINDS)}; got {table['kind']!r}.", "kind")
    known = (*NEEDED, *KINDS[table["kind"]], "wrong")
    for key in table:
        if key not in known:
            raise OwnError(
                f"{key!r} is not a word of a question that asks for a {table['kind']}; it has"
                f" {', '.join(known)}.",
                key,
            )
    _text(table, "asks", MOST_ASKED)
    _pieces(table["asks"])
    wrong = table.get("wrong", [])
    if not isinstance(wrong, list) or not all(isinstance(each, dict) for each in wrong):
        raise OwnError(
            "`wrong` must be tables [[question.wrong]] with `answer` and `say`.", "wrong"
        )
    for number, each in enumerate(wrong):
        for key in sorted(each.keys() ^ {"answer", "say"}):
            what = (
                f"{key!r} is not a word of a wrong answer" if key in each else f"{key!r} is missing"
            )
            raise OwnError(f"{what}; a wrong answer has `answer` and `say`.", key, number)
        _text(each, "say", MOST_SAID, number)


def _text(table: Mapping[str, Any], key: str, most: int, wrong: int | None = None) -> None:
    said = table[key]
    if not isinstance(said, str) or not said.strip() or len(said) > most:
        got = f"{len(said):,} characters" if isinstance(said, str) and said.strip() else repr(said)
        raise OwnError(
            f"`{key}` must be a text of 1 to {most:,} characters; got {got}.", key, wrong
        )


def _name(table: Mapping[str, Any]) -> str:
    name, lesson = table["name"], table["lesson"]
    if not isinstance(name, str) or not _NAME.fullmatch(name) or name in _TAKEN:
        raise OwnError(
            "`name` must be letters, digits and _, such as reach_cm, and no word of Python or of"
            f" the notebook; got {name!r}.",
            "name",
        )
    if name in catalogue.questions(lesson):
        raise OwnError(f"Lesson {lesson} has a question {name} already. Choose another.", "name")
    return name


def _pieces(asks: str) -> list[tuple[str, str]]:
    """(text, the measure after it or "") of what is asked."""
    try:
        pieces = list(string.Formatter().parse(asks))
    except ValueError:
        pieces = [("", "{", "", None)]
    for _, name, more, how in pieces:
        if name is not None and (name not in MEASURES or more or how):
            raise OwnError(
                f"`asks` has {{{name}}}, and braces hold a measure: {', '.join(MEASURES)}. Write"
                " {{ and }} for braces themselves.",
                "asks",
            )
    return [(said, name or "") for said, name, _, _ in pieces]


def _in_short(table: Mapping[str, Any]) -> str:
    """The text of a question, in one line for lists."""
    line = " ".join(text(table).replace("`", "").split())
    return line if len(line) <= 120 else line[:119] + "…"


def _either(words: Iterable[str]) -> str:
    *first, last = (f'"{word}"' for word in words)
    return f"{', '.join(first)} or {last}"


# --- answers


def _read(
    kind: _Kind, said: Any, key: str, wrong: int | None = None
) -> Callable[[Mapping[str, float]], Any]:
    """The function of measures that an answer in a table is."""
    try:
        model = kind.read(said)
        for known in _everyone():
            model(known)
        return model
    except FormulaError as why:
        raise OwnError(f"`{key}` is {said!r}, which {why}.", key, wrong) from None
    except ValueError as why:
        raise OwnError(f"`{key}` must be {why}; got {said!r}.", key, wrong) from None


def _wrong(
    kind: _Kind, right: Callable[..., Any], each: Mapping[str, Any], number: int
) -> Callable[[Mapping[str, float]], Any]:
    """The function of a wrong answer, which must be told from the right one."""
    model = _read(kind, each["answer"], "answer", number)
    right_too = sum(kind.same(model(known), right(known)) for known in _everyone())
    if right_too > OFTEN * TRIED:
        often = "" if right_too == TRIED else f" for {right_too} of {TRIED} characters"
        raise OwnError(f"`answer` is wrong, and yet it counts as right{often}.", "answer", number)
    return model


@cache
def _everyone() -> tuple[dict[str, float], ...]:
    """The measures of some characters as learners have them."""
    rngs = map(np.random.default_rng, range(TRIED))
    return tuple(measures(puppets.personal(rng)) for rng in rngs)


def _case(used: Sequence[str], character: Puppet) -> Case:
    known = measures(character)
    return {name: known[name] for name in used}


def _number(table: Mapping[str, Any]) -> _Kind:
    tolerance: Any = table.get("tolerance")
    if not _is_number(tolerance) or not 0 < tolerance <= LARGEST:
        raise OwnError(
            "`tolerance` must be a number above 0: how far an answer may be off;"
            f" got {'none' if tolerance is None else repr(tolerance)}.",
            "tolerance" if tolerance is not None else "",
        )
    if "unit" in table:
        _text(table, "unit", 20)
    slack = 1e-9 * tolerance  # for the last digit of floats

    def read(said: Any) -> Callable[[Mapping[str, float]], float]:
        if not isinstance(said, str) and not _is_number(said):
            raise ValueError("a number or a formula")
        formula = Formula(said)

        def model(known: Mapping[str, float]) -> float:
            if abs(value := formula(known)) > LARGEST:
                raise FormulaError(f"gives a number beyond {LARGEST:,.0f}")
            return value

        return model

    def same(mine: Any, theirs: Any) -> bool:
        return bool(abs(float(mine) - float(theirs)) <= tolerance + slack)

    return _Kind((), read, same, str)


def _choice(table: Mapping[str, Any]) -> _Kind:
    said: Any = table.get("options")
    options = _words(said) if _is_words(said) else []
    if len(options) < 2:
        raise OwnError(
            f"`options` must be a list of two texts or more; got {said!r}.",
            "options" if "options" in table else "",
        )
    if len({*options}) < len(options):
        raise OwnError("`options` has two that are alike but for capitals and spaces.", "options")

    def read(said: Any) -> Callable[[Mapping[str, float]], str]:
        if not isinstance(said, str) or _words([said])[0] not in options:
            raise ValueError(f"one of the options, {_either(options)}")
        return lambda known: _words([said])[0]

    return _Kind(tuple(options), read, lambda mine, theirs: bool(mine == theirs), str)


def _list(table: Mapping[str, Any]) -> _Kind:
    in_order = table.get("in_order", False)
    if not isinstance(in_order, bool):
        raise OwnError(f"`in_order` must be true or false; got {in_order!r}.", "in_order")

    def read(said: Any) -> Callable[[Mapping[str, float]], list[str]]:
        if not _is_words(said):
            raise ValueError(f"a list of 1 to {MOST_WORDS} words")
        return lambda known: list(said)

    def same(mine: Any, theirs: Any) -> bool:
        mine, theirs = _words(mine), _words(theirs)
        return mine == theirs if in_order else sorted(mine) == sorted(theirs)

    return _Kind(WORDS, read, same, ", ".join)


_KIND = {"number": _number, "choice": _choice, "list": _list}


def _is_number(value: Any) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)


def _is_words(value: Any) -> bool:
    return (
        isinstance(value, list)
        and 0 < len(value) <= MOST_WORDS
        and all(isinstance(each, str) and each.strip() for each in value)
        and max(map(len, value)) <= MOST_SAID
    )


def _words(said: Iterable[str]) -> list[str]:
    """Words as they are compared: without capitals, and without space around them."""
    return [word.strip().lower() for word in said]


def _judge(
    table: Mapping[str, Any], same: Callable[[Any, Any], bool], right: Any, yours: Any
) -> Verdict:
    """The verdict on an answer, which says neither the right one nor on which side it lies."""
    measured = {}
    if table["kind"] == "number":
        measured = {
            "You say": f"{judging.number(yours, 6)} {table.get('unit', '').strip()}".strip()
        }
    elif table["kind"] == "choice":
        measured = {"You say": yours}
    if same(yours, right):
        return Verdict(1.0, "your answer is the one that was asked for.", measured)
    if table["kind"] == "list" and sorted(_words(yours)) == sorted(_words(right)):
        return Verdict(0.0, "these are the words, in another order than was asked for.", measured)
    hint = {
        "number": "go through your steps once more, and look at the unit.",
        "choice": "another option fits what was asked.",
        "list": "look for a word that is missing, or one too many.",
    }
    return Verdict(0.0, hint[table["kind"]], measured)
