"""The questions there are, by lesson, and how many of them have a right answer."""

import importlib
from collections.abc import Iterable
from functools import cache
from pathlib import Path

from rigkit import course
from rigkit.homework.question import YOUR_LEG, Question

_PREFIX = "questions_"


def questions(lesson: str | int) -> dict[str, Question]:
    """A lesson's questions by name, in their order.

    Parameters
    ----------
    lesson : str or int
        Such as "06".

    Returns
    -------
    dict of str to Question

    Raises
    ------
    ValueError
        If the lesson has none; lists those that do.
    """
    number = f"{lesson:02d}" if isinstance(lesson, int) else str(lesson).strip().zfill(2)
    if number not in lessons():
        raise ValueError(
            f"`lesson` must be one that has questions ({', '.join(lessons())}); got {lesson!r}."
        )
    module = importlib.import_module(f"rigkit.homework.{_PREFIX}{number}")
    return {question.name: question for question in module.QUESTIONS}


@cache
def lessons() -> tuple[str, ...]:
    """The numbers of the lessons that have questions, such as "06"."""
    found = Path(__file__).parent.glob(f"{_PREFIX}*.py")
    return tuple(sorted(path.stem.removeprefix(_PREFIX) for path in found))


def works() -> tuple[str, ...]:
    """All that can be handed in and marked: the lessons' notebooks, then the leg from the bench."""
    return (*lessons(), YOUR_LEG)


def questions_of(work: str | int) -> dict[str, Question]:
    """The questions of a lesson, or the steps of the leg from the bench, by name.

    Parameters
    ----------
    work : str or int
        Such as "06", or "your-leg".

    Returns
    -------
    dict of str to Question

    Raises
    ------
    ValueError
        If there are none.
    """
    if work != YOUR_LEG:
        return questions(work)
    from rigkit.homework import your_leg  # here, because only marking asks for it

    return {question.name: question for question in your_leg.QUESTIONS}


def count_right(lesson: str, names: Iterable[str], student: str | None = None) -> int:
    """The number of a lesson's questions that have a right answer; with `student`, one of theirs.

    Parameters
    ----------
    lesson : str
    names : iterable of str
        Of the questions that count.
    student : str, optional

    Returns
    -------
    int
    """
    best = course.progress(lesson, student)
    return sum(best.get(name, 0) == 1 for name in names)
