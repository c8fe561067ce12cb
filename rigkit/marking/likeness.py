"""Submissions that are alike: the same code but for names, comments and spacing, or nearly so.

It finds what a teacher should look at; it proves nothing. Short answers to one question are often
the same by themselves, so three things keep honest work out: what the exercises give does not
count; what a quarter of the class wrote, and more than ten of it, does not count toward being
nearly alike; and nobody is compared who wrote less than `ENOUGH` of their own.

Code is taken as tokens, so that a cell with an error in it counts too. Names that a learner chooses
are all one token; comments, spacing and texts that begin a line, such as docstrings, are none. A
*shingle* is a run of `LENGTH` tokens inside one cell, so the order of cells does not matter.
"""

import ast
import builtins
import hashlib
import json
import keyword
import re
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np

from rigkit import course
from rigkit._types import Ints
from rigkit.homework import calling, catalogue, checking, notebook
from rigkit.homework import own as owns
from rigkit.homework.question import Question
from rigkit.marking.notebook_file import opened, read_notebook, syntax

LENGTH = 6
ENOUGH = 60  # shingles of one's own: some five lines
NEAR = 0.75
COMMON, COMMON_SHARE = 10, 0.25
MOST_TOKENS = 20_000
DIGITS = 5

IDENTICAL, NEARLY, NUMBERS, RIG = (
    "identical",
    "nearly identical",
    "the same numbers",
    "the same rig",
)

_TOKENS = re.compile(
    r"#[^\n]*|[^\S\n]+|\\\n"
    r"|(?P<line>\n)"
    r"|(?P<text>[rbuf]{0,2}(?:'''[\s\S]*?(?:'''|\Z)|\"\"\"[\s\S]*?(?:\"\"\"|\Z)"
    r"|'[^'\\\n]*+(?:\\.[^'\\\n]*+)*+'?|\"[^\"\\\n]*+(?:\\.[^\"\\\n]*+)*+\"?))"
    r"|(?P<number>\.?\d[\w.]*)|(?P<name>[^\W\d]\w*)|(?P<sign>\S)",
    re.I,
)


@dataclass(frozen=True)
class Group:
    """Learners whose submissions are alike.

    Attributes
    ----------
    kind : str
        "identical", "nearly identical", "the same numbers": answers that fit another's numbers, not
        their own; or "the same rig".
    learners : tuple of str
        Their ids.
    share : float
        The part of the shingles of either of two that both have: the least among those linked.
    sentence : str
    lesson : str
        Two digits; empty until the group stands in a record.
    """

    kind: str
    learners: tuple[str, ...]
    share: float
    sentence: str
    lesson: str = ""


def groups(
    works: Iterable[tuple[str, Sequence[str]]], own: Mapping[str, Question] = MappingProxyType({})
) -> list[Group]:
    """Find the submissions to one lesson that are alike.

    Two are nearly identical when both have `NEAR`, three quarters, of the shingles that either of
    them has. One changed token spoils six shingles, so that leaves room for one change in every
    forty tokens. Among made-up learners who all give the same right answers, with two to four lines
    of their own before each, two share 0.31 to 0.50, in lessons 01 to 07: far enough below.
    Everyone linked to one of a group is in it.

    Numbers count as copied when the same typed answers, of `DIGITS` digits together, are given by
    learners whose own numbers differ, and are wrong for at least one of them. Five digits agree by
    chance once in a hundred thousand.

    Parameters
    ----------
    works : iterable of (learner's id, cells)
    own : mapping of str to Question, optional
        The teacher's own of the lesson, by name, beside those of the course.

    Returns
    -------
    list of Group
        The most alike first.
    """
    known, codes, shingles, typed = [], [], [], []
    given = frozenset(_tokens(cell) for name in own for cell in owns.cells(name))
    for who, cells in works:
        code, mine = _own(cells, given)
        known.append(who)
        codes.append(code)
        shingles.append(mine)
        typed.append(_typed(who, cells, own))
    same = _same(codes)
    alike = [(IDENTICAL, members, 1.0) for members in same if len(members) > 1]
    alike += [(NEARLY, members, share) for members, share in _near(shingles, same)]
    found, copied = [], _copied(known, typed, own)
    for kind, members, share in alike:
        names = tuple(known[i] for i in members)
        said = [copied.pop(who) for who in list(copied) if who <= set(names)]
        found.append(Group(kind, names, share, " ".join([_sentence(kind, share), *said])))
    found += [
        Group(NUMBERS, tuple(name for name in known if name in who), 0.0, said)
        for who, said in copied.items()
    ]
    return sorted(found, key=lambda group: (-group.share, group.learners))


def same_rigs(files: Iterable[tuple[str, str]]) -> list[Group]:
    """Find who handed in the same rig file.

    Parameters
    ----------
    files : iterable of (learner's id, digest)

    Returns
    -------
    list of Group
    """
    holders: dict[str, list[str]] = defaultdict(list)
    for who, digest in files:
        if who not in holders[digest]:
            holders[digest].append(who)
    return [
        Group(RIG, tuple(who), 1.0, "The rig file is the same, byte for byte.")
        for who in holders.values()
        if len(who) > 1
    ]


def _sentence(kind: str, share: float) -> str:
    if kind == IDENTICAL:
        return "The code is the same but for names, comments and spacing."
    return f"The code is nearly the same: {share:.0%} of it or more."


# --- code


def _own(cells: Sequence[str], given: frozenset[tuple[str, ...]]) -> tuple[str, Ints]:
    """A digest of one's own code, empty where that is too little, and its shingles as numbers.

    Cells that are `given`, beside those of all exercises, are nobody's own.
    """
    whole: list[str] = []
    mine: set[tuple[str, ...]] = set()
    given_cells, given_shingles = _given()
    for cell in cells:
        code = _tokens(cell)
        theirs = code and code not in given_cells and code not in given
        if theirs and len(whole) < MOST_TOKENS:
            whole += code
            mine |= _shingles(code) - given_shingles
    digest = hashlib.sha256(json.dumps(whole).encode()).hexdigest() if len(mine) >= ENOUGH else ""
    return digest, np.fromiter(map(hash, mine), np.int64, len(mine))


@lru_cache(256)  # most cells are the exercise's own, again and again
def _tokens(cell: str) -> tuple[str, ...]:
    """A cell's tokens, names that a learner chooses all alike; at most `MOST_TOKENS`."""
    cell = re.sub(
        r"\bopen_homework\s*\([^()]*\)", "open_homework()", cell
    )  # the name in it is each one's own
    tokens, before, begins = [], "", True
    for match in _TOKENS.finditer(cell):
        kind, token = match.lastgroup, match.group()
        if kind == "line":
            begins = True
        elif kind is not None:
            if kind == "name" and before != "." and token not in _kept_names():
                tokens.append("a name")
            elif kind != "text" or not begins:
                tokens.append(token)
            before, begins = token, False
            if len(tokens) == MOST_TOKENS:
                break
    return tuple(tokens)


def _shingles(tokens: tuple[str, ...]) -> set[tuple[str, ...]]:
    return {tokens[i : i + LENGTH] for i in range(max(1, len(tokens) - LENGTH + 1))}


@cache
def _given() -> tuple[frozenset[tuple[str, ...]], frozenset[tuple[str, ...]]]:
    """The cells of all exercises, as tokens, and the shingles in them."""
    cells = frozenset(map(_tokens, _exercise_cells()))
    return cells, frozenset().union(*map(_shingles, cells))


@cache
def _kept_names() -> set[str]:
    """Names that nobody chooses: the language's, and those that exercises import or ask for."""
    names = {*keyword.kwlist, *dir(builtins), "hw"}
    for cell in _exercise_cells():
        for node in ast.walk(ast.parse(cell)):
            if isinstance(node, ast.Import | ast.ImportFrom):
                names |= {alias.asname or alias.name for alias in node.names}
    return names | {name for lesson in catalogue.lessons() for name in catalogue.questions(lesson)}


def _exercise_cells() -> Iterator[str]:
    for path in sorted((course.source() / "exercises").glob("[0-9][0-9]-*.ipynb")):
        yield from read_notebook(path.read_bytes()).cells


# --- who is alike


def _same(codes: Sequence[str]) -> list[list[int]]:
    """Those with the same code: lists of numbers, in order; whoever has too little is alone."""
    classes: dict[str | int, list[int]] = defaultdict(list)
    for i, code in enumerate(codes):
        classes[code or i].append(i)
    return list(classes.values())


def _near(shingles: Sequence[Ints], same: Sequence[list[int]]) -> Iterator[tuple[list[int], float]]:
    """Groups of submissions that are near, but not all identical.

    Each is given as (members, least share among the linked).
    """
    first = [members[0] for members in same]
    mine = _telling(shingles, first)
    sizes = np.array([len(each) for each in mine])
    links = []
    for i, overlap in enumerate(_overlaps(mine)):
        shares = overlap / np.maximum(sizes[i] + sizes - overlap, 1)
        near = np.flatnonzero((shares >= NEAR) & (sizes >= ENOUGH) & (sizes[i] >= ENOUGH))
        links += [(i, int(j), float(shares[j])) for j in near if j > i]
    for linked in _joined(links):
        members = sorted(i for which in linked for i in same[which])
        yield members, min(share for i, _, share in links if i in linked)


def _telling(shingles: Sequence[Ints], first: Sequence[int]) -> list[Ints]:
    """The shingles of the first of each class, less those that many in the whole class have."""
    values, counts = np.unique(
        np.concatenate([*shingles, np.empty(0, np.int64)]), return_counts=True
    )
    common = values[counts > max(COMMON, COMMON_SHARE * len(shingles))]
    return [np.setdiff1d(shingles[i], common) for i in first]


def _overlaps(sets: Sequence[Ints]) -> Iterator[Ints]:
    """For each set how many values it has in common with every set, one row after the other."""
    whole = np.concatenate([*sets, np.empty(0, np.int64)])
    _, which, counts = np.unique(whole, return_inverse=True, return_counts=True)
    owners = np.repeat(np.arange(len(sets)), [len(each) for each in sets])
    holders = owners[
        np.argsort(which, kind="stable")
    ]  # those of the first value, then those of the second ...
    ends = np.cumsum(counts)
    for _, mine in zip(
        sets, np.split(which, np.cumsum([len(each) for each in sets])[:-1]), strict=False
    ):
        shared = [
            holders[ends[value] - counts[value] : ends[value]] for value in mine[counts[mine] > 1]
        ]
        yield np.bincount(np.concatenate([*shared, np.empty(0, int)]), minlength=len(sets))


def _joined(links: Iterable[tuple[int, int, float]]) -> list[set[int]]:
    """The sets that pairs join up to."""
    sets: dict[int, set[int]] = {}
    for i, j, _ in links:
        both = sets.get(i, {i}) | sets.get(j, {j})
        sets.update(dict.fromkeys(both, both))
    return list({min(each): each for each in sets.values()}.values())


# --- numbers


@dataclass(frozen=True)
class _Typed:
    """The answers that a learner typed as numbers, and the name they count for."""

    lesson: str | None
    student: str
    answers: dict[str, Any]


def _typed(who: str, cells: Sequence[str], own: Mapping[str, Question]) -> _Typed:
    lesson, claimed = opened(cells)
    questions = _questions(lesson, own) if lesson in catalogue.lessons() else {}
    values = [name for name, question in questions.items() if question.kind == "value"]
    answers: dict[str, Any] = {}
    for cell in cells:
        if any(name in cell for name in values):
            answers |= {name: answer for name, answer in _set_in(cell) if name in values}
    typed = {name: answer for name, answer in answers.items() if answer is not None}
    return _Typed(lesson, claimed or who, typed)


@lru_cache(256)
def _set_in(cell: str) -> tuple[tuple[str, Any], ...]:
    """(name, answer) of all that a cell sets; the answer is None where it is not typed out."""
    set_to = []
    for statement in syntax(cell).body:
        if isinstance(statement, ast.Assign) and isinstance(statement.targets[0], ast.Name):
            set_to.append((statement.targets[0].id, _typed_out(statement.value)))
        elif isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Call):
            told = (
                (keyword.arg, _typed_out(keyword.value)) for keyword in statement.value.keywords
            )
            set_to += [(name, answer) for name, answer in told if name and answer is not None]
    return tuple(set_to)


def _typed_out(node: ast.expr) -> Any:
    try:
        return calling.record_value(ast.literal_eval(node)).get("out")
    except (ValueError, TypeError, SyntaxError, MemoryError, RecursionError):
        return None


def _digits(answer: Any) -> int:
    """The number of an answer's digits, without leading zeros and those that end an integer."""
    if isinstance(answer, list):
        return sum(map(_digits, answer))
    if isinstance(answer, dict):
        return sum(map(_digits, answer.values()))
    if not isinstance(answer, float):
        return 0
    return len(re.sub(r"e.*|\D", "", repr(answer).removesuffix(".0")).strip("0"))


def _questions(lesson: str, own: Mapping[str, Question]) -> dict[str, Question]:
    """The course's questions of a lesson, and the teacher's."""
    theirs = {name: question for name, question in own.items() if question.lesson == lesson}
    return catalogue.questions(lesson) | theirs


def _copied(
    known: Sequence[str], typed: Sequence["_Typed"], own: Mapping[str, Question]
) -> dict[frozenset[str], str]:
    """Sentences on learners who typed the same answers to different numbers, by their set."""
    holders: dict[tuple[str, str], list[tuple[str, str]]] = defaultdict(list)
    for who, each in zip(known, typed, strict=True):
        singly = [{name: answer} for name, answer in each.answers.items()]
        for answers in [*singly, *([each.answers] if len(singly) > 1 else [])]:
            if each.lesson and sum(map(_digits, answers.values())) >= DIGITS:
                holders[each.lesson, json.dumps(answers, sort_keys=True)].append(
                    (who, each.student)
                )
    asked: dict[frozenset[str], dict[str, None]] = defaultdict(dict)
    for (lesson, text), several in holders.items():
        if len(several) > 1:
            answers = json.loads(text)
            cases, wrong = _for_each(_questions(lesson, own), answers, several)
            if len(cases) > 1 and wrong:
                asked[frozenset(who for who, _ in several)] |= dict.fromkeys(answers)
    return {
        who: (
            f"The same numbers are typed in {', '.join(names)}, though each learner has numbers of"
            " their own, and not all of them fit."
        )
        for who, names in asked.items()
    }


def _for_each(
    questions: Mapping[str, Question],
    answers: Mapping[str, Any],
    learners: Iterable[tuple[str, str]],
) -> tuple[set[str], bool]:
    """The different cases that learners have, and whether any of them is answered wrong."""
    cases, wrong = set(), False
    for _, student in learners:
        homework = notebook.Homework(questions, student)
        own = {name: homework.cases(questions[name], 0) for name in answers}
        cases.add(json.dumps(own))
        wrong = wrong or any(
            checking.score_answers(questions[name], own[name], [{"out": answer}]).score < 1
            for name, answer in answers.items()
        )
    return cases, wrong
