"""The committed solution notebooks, and any answer, run in this process for any learner."""

import os
from functools import cache
from pathlib import Path

from rigkit import authoring, homework
from rigkit.homework import catalogue, checking

ROOT = Path(__file__).parents[2]
LEARNER = 'student="learner-07"'
LEARNERS = [f"learner-{n:02d}" for n in range(20)]
EVERYTHING = os.environ.get("RIGKIT_EVERYTHING") == "1"
QUESTIONS = [
    question for lesson in catalogue.lessons() for question in catalogue.questions(lesson).values()
]
ASKED_FOR_NUMBERS = [question for question in QUESTIONS if question.kind != "file"]


def some_learners(question):
    """Every fourth learner, of a question for a file every fifth; all with RIGKIT_EVERYTHING=1."""
    if EVERYTHING:
        return LEARNERS
    step = 5 if question.kind == "file" else 4
    return LEARNERS[QUESTIONS.index(question) % step :: step]


def solutions():
    """The paths of the solution notebooks, by their lesson's number."""
    return {path.name[:2]: path for path in authoring.notebooks("solutions", root=ROOT)}


def answered(lesson, student):
    """The names a lesson's solution leaves when `student` runs it; `hw` is the homework."""
    source = "\n".join(
        cell.source
        for cell in authoring.read(solutions()[lesson]).cells
        if cell.cell_type == "code"
    )
    assert source.count(LEARNER) == 1
    names = {}
    exec(
        compile(source.replace(LEARNER, f"student={student!r}"), str(solutions()[lesson]), "exec"),
        names,
    )
    return names


@cache
def _drawn(lesson, name, learner):
    homework_of = homework.open_homework(lesson, learner)
    return homework_of.cases(homework_of.questions[name], 1)


def outcome_of(question, answer, learner="ada", cases=slice(None)):
    """The outcome of a function, whatever the question asks for, on a learner's first cases."""
    drawn = _drawn(question.lesson, question.name, learner)[cases]
    records = checking.records_of_model(question, answer, drawn)
    return checking.score_answers(question, drawn, records)


def named(question):
    return question.id


def cases_of(question, learner, attempt=1):
    return homework.open_homework(question.lesson, learner).cases(question, attempt)
