"""A teacher's correction of one score."""

import math
from pathlib import Path

from rigkit.homework import catalogue
from rigkit.homework.question import Question
from rigkit.marking import report
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.record import RECORD, Record, sole

__all__ = ["correct"]


def correct(
    out: str | Path, learner: str, question: str, score: float | str, reason: str | None
) -> Entry:
    """Put a teacher's score in place of a measured one, and bring all pages up to date.

    Parameters
    ----------
    out : path-like
        The folder of results.
    learner : str
        Their id or name.
    question : str
        Its id, such as "06/solve_leg".
    score : float
        0 to 1.
    reason : str

    Returns
    -------
    Entry
        With the correction.

    Raises
    ------
    ValueError
        No such learner, question or score, or no reason.
    """
    out = Path(out)
    score = _score(score)
    lesson = _question(question).lesson
    reason = (reason or "").strip()
    if not reason:
        raise ValueError('A correction needs a reason: --reason "…".')
    with Record(out / RECORD, create=False) as record, sole(out):
        who = _one_learner(record, learner, lesson)
        record.override(who.id, question, score, reason)
        report.write_all(record, out)
        return next(entry for entry in record.entries(learner=who.id) if entry.lesson == lesson)


def _question(text: str) -> Question:
    lesson, _, name = text.partition("/")
    if lesson not in catalogue.lessons():
        raise ValueError(
            f"No question is called {text!r}. Give the lesson with it, such as 06/solve_leg."
        )
    questions = catalogue.questions(lesson)
    if name not in questions:
        raise ValueError(
            f"No question is called {text!r}. Lesson {lesson} has "
            f"{', '.join(question.id for question in questions.values())}."
        )
    return questions[name]


def _score(score: float | str) -> float:
    try:
        number = float(score)
    except (TypeError, ValueError):
        number = math.nan
    if not 0 <= number <= 1:
        raise ValueError(f"A score must be a number from 0 to 1; got {score!r}.")
    return number


def _one_learner(record: Record, text: str, lesson: str) -> Learner:
    """The learner of an id, or of a name that only one with homework in a lesson has."""
    there = [entry.learner for entry in record.entries(brief=True) if entry.lesson == lesson]
    for same in (
        lambda learner: learner.id == text,
        lambda learner: learner.name.casefold() == text.casefold(),
    ):
        found = [learner for learner in there if same(learner)]
        if len(found) == 1:
            return found[0]
    raise ValueError(
        f"{text!r} is {'the name of several' if found else 'nobody'} with homework in lesson"
        f" {lesson} here. Give an id, as in grades.csv."
    )
