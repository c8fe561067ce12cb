"""Entries of made-up learners for tests of what is shown: answers of every kind, weighed as marking
weighs them."""

import contextlib
import io
import random
from functools import cache

from rigkit.homework import calling, catalogue, checking, notebook
from rigkit.marking.entry import Entry, Learner, Override
from tests.homework import solved
from tests.marking.classroom import _name

SOLVER = "learner-07"
JAIL = {
    "kind": "bwrap",
    "bwrap": "bubblewrap 0.8.0",
    "kernel": "6.1",
    "python": "3.11.2",
    "numpy": "2.3.5",
}
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(2)>',
    "]]><svg onload=alert(3)>",
    "\u202eevil\u2066",
    "a\x00b\x1b[31m\x9b",
    "\ud800lone",
    "javascript:alert(4)",
    "'; DROP TABLE--",
    "=1+1",
    "&lt;b&gt;",
    "`<b>`",
    "x" * 1_000_000,
)


@cache
def outcomes(lesson, question):
    """The outcome of every kind of answer to a question: "right", "blank", "raises", "junk", each
    misconception."""
    question, rng = (
        catalogue.questions(lesson)[question],
        checking.generator("a secret", lesson, question),
    )
    homework = notebook.Homework(catalogue.questions(lesson), SOLVER)
    cases = (
        homework.cases(question, 0)
        if question.kind == "value"
        else checking.draw(question, homework.character, rng)
    )
    right = _solution(lesson)[question.name]
    answers = {
        "right": right,
        "blank": ...,
        "junk": [1, 2, 3, 4, 5, 6, 7],
        "raises": lambda *values: 1 / 0 if question.kind == "function" else "x",
    }
    found = {kind: _weighed(question, cases, answer) for kind, answer in answers.items()}
    for wrong in question.misconceptions:
        found[wrong.name] = checking.score_answers(
            question, cases, calling.call(wrong.answer, cases, seconds=None)
        )
    return found


@cache
def _solution(lesson):
    with contextlib.redirect_stdout(io.StringIO()):
        return solved.answered(lesson, SOLVER)


def _weighed(question, cases, answer):
    if answer is ...:
        records = [{"end": "blank"}] * len(cases)
    elif question.kind == "function":
        records = calling.call(
            answer if callable(answer) else lambda *_: answer, cases, seconds=None
        )
    else:
        records = [calling.record_value(answer)]
    return checking.score_answers(
        question, cases, [r | {"message": ""} if r.get("end") == "raised" else r for r in records]
    )


def entry(learner, lesson="06", kinds=None, **more):
    """A learner's entry; `kinds` names the answer to each question, "right" where it says
    nothing."""
    found = tuple(
        outcomes(lesson, name)[(kinds or {}).get(name, "right")]
        for name in catalogue.questions(lesson)
    )
    usual = {
        "file": f"{learner.name}/homework.ipynb",
        "digest": "ab" * 32,
        "outcomes": found,
        "time": "2026-11-25T10:00:00+00:00",
        "about": about(learner),
    }
    return Entry(learner, lesson, **usual | more)


def about(learner, **jail):
    return {
        "seed": f"SECRET-{learner.id}",
        "printed": "PRINTED",
        "rigkit": "0.1.0",
        "wall": 0.21,
        "jail": JAIL | jail,
    }


def learner(number, **more):
    return Learner(f"p{number:04d}", _name(number), **more)


def room(n, lesson="06", seed=3):
    """A class of n: (entries, learners), four in a hundred missing, a few not marked, cut short,
    flagged, corrected."""
    rng, entries, learners = random.Random(seed), [], []
    names = list(catalogue.questions(lesson))
    for number in range(n):
        who = learner(number, group="ABC"[number % 3])
        learners.append(who)
        if number % 25 == 11:
            continue
        kinds = {}
        for name in names:
            wrong = [kind for kind in outcomes(lesson, name) if kind != "right"]
            weights = [2, 1, 2, *(6 if i == 0 else 2 for i in range(len(wrong) - 3))]
            if rng.random() < 0.38:
                kinds[name] = rng.choices(wrong, weights)[0]
        entries.append(entry(who, lesson, kinds, **_trouble(number, lesson, names)))
    return entries, learners


def _trouble(number, lesson, names):
    if number % 20 == 7:
        return {
            "marked": False,
            "end": "",
            "outcomes": (),
            "why": "The file is not a notebook: it ends in the middle.",
        }
    if number % 20 == 13:
        return {
            "end": "time limit",
            "why": (
                "The notebook was still running when its time was up; answers given before "
                "that count."
            ),
            "flags": ("The notebook was still running when its time was up.",),
        }
    if number % 20 == 16:
        return {
            "flags": ('The notebook is made out to "Pip"; the numbers of the roster were taken.',)
        }
    if number % 20 == 3:
        return {
            "overrides": (
                Override(
                    f"{lesson}/{names[0]}",
                    1.0,
                    "right idea, a slip in the units",
                    "2026-11-26T09:00:00+00:00",
                ),
            )
        }
    return {}
