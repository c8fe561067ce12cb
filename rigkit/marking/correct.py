"""All that a teacher gives by hand: scores, sentences, and that a run has been looked at."""

import math
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from rigkit.homework import catalogue
from rigkit.marking import report
from rigkit.marking.anonymous import mask_of
from rigkit.marking.entry import NO_FILE, Entry, Learner, Terms
from rigkit.marking.record import RECORD, SEEN, Record, sole
from rigkit.marking.roster import folded, words

__all__ = ["Correction", "apply", "correct", "see"]


@dataclass(frozen=True)
class Correction:
    """A teacher's word on one question of one learner, or on a whole lesson.

    Attributes
    ----------
    learner : str
        Their id or name.
    question : str
        Its id, such as "06/solve_leg", or the number of a lesson.
    score : float or str or None
        0 to 1, or per cent with its sign; None leaves what was measured.
    reason : str
        Why it has that score.
    feedback : str
        A sentence for the learner.
    seen : bool
        True if the teacher has looked at this lesson's run.
    place : str
        Where it stands, for messages, such as "corrections.csv, row 3".
    """

    learner: str
    question: str
    score: float | str | None = None
    reason: str = ""
    feedback: str = ""
    seen: bool = False
    place: str = ""


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
        Its id, such as "06/solve_leg", or the number of a lesson.
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
    (entry,) = apply(out, [Correction(learner, question, score, reason or "")])
    return entry


def see(out: str | Path, learner: str, lesson: str | None = None) -> list[Entry]:
    """Take a learner's runs off the list of those to look at, until another file of theirs comes.

    Parameters
    ----------
    out : path-like
        The folder of results.
    learner : str
        Their id or name.
    lesson : str, optional
        Only this one; all of theirs, if not given.

    Returns
    -------
    list of Entry

    Raises
    ------
    ValueError
        No such learner or lesson, or nothing of theirs to look at.
    """
    with Record(Path(out) / RECORD, create=False) as record:
        who = _learner(_everyone(record), learner)
        theirs = [entry.lesson for entry in record.entries(learner=who.id, brief=True)]
    lessons = theirs if lesson is None else [_question(lesson, {})[0]]
    if not {*lessons} & {*theirs}:
        raise ValueError(f"{who.name or who.id} has handed in nothing that could be looked at.")
    return apply(out, [Correction(who.id, each, seen=True) for each in lessons])


def apply(out: str | Path, corrections: Iterable[Correction]) -> list[Entry]:
    """Keep corrections, all of them or none, and bring all pages up to date.

    What stands already is not kept a second time, so a table can be given again when it has grown.

    Parameters
    ----------
    out : path-like
        The folder of results.
    corrections : iterable of Correction

    Returns
    -------
    list of Entry
        What each is on, with all of them.

    Raises
    ------
    ValueError
        No such learner, question or score, or no reason.
    """
    out = Path(out)
    with Record(out / RECORD, create=False) as record, sole(out):
        everyone, plan, checked = _everyone(record), record.plan(), []
        for each in corrections:
            try:
                checked.append((_learner(everyone, each.learner), *_checked(each, plan), each))
            except ValueError as why:
                raise ValueError(f"{each.place}: {why}" if each.place else str(why)) from None
        with record.together():
            for who, lesson, question, score, each in checked:
                _keep(record, _entry(record, who, lesson), question, score, each)
        report.write_all(record, out)
        mask = mask_of(record)
        found = [_entry(record, who, lesson) for who, lesson, *_ in checked]
        return [mask.entry(entry) for entry in found] if mask else found


def _keep(
    record: Record, entry: Entry, question: str, score: float | None, given: Correction
) -> None:
    """Keep one correction, as far as it is new."""
    reason, feedback = given.reason.strip(), given.feedback.strip()
    stands = [(one.question, one.score, one.reason) for one in entry.overrides]
    if score is not None and (question, score, reason) not in stands:
        record.override(entry.learner.id, question, score, reason)
    if feedback and entry.feedback.get(question) != feedback:
        record.remark(entry, question, feedback)
    if given.seen and not entry.seen:
        record.remark(entry, SEEN)


def _entry(record: Record, who: Learner, lesson: str) -> Entry:
    """The entry of a learner in a lesson, also where nothing was handed in."""
    nothing = Entry(who, lesson, marked=False, end="", why=NO_FILE)
    theirs = record.entries(learner=who.id)
    return next((entry for entry in theirs if entry.lesson == lesson), nothing)


def _checked(given: Correction, plan: Mapping[str, Terms]) -> tuple[str, str, float | None]:
    """The lesson, the question's id or the lesson again, and the score of a correction."""
    lesson, question = _question(given.question, plan)
    if given.score is None:
        if not (given.feedback.strip() or given.seen):
            raise ValueError("There is neither a score nor feedback nor a mark that it is seen.")
        return lesson, question, None
    score = _score(given.score)
    if not given.reason.strip():
        raise ValueError("A correction needs a reason, which the learner reads.")
    return lesson, question, score


def _question(text: str, plan: Mapping[str, Terms]) -> tuple[str, str]:
    """The lesson, and the question's id; for a lesson its number twice."""
    lesson, slash, name = text.strip().partition("/")
    lesson = lesson.zfill(2) if lesson.isdecimal() else lesson
    if lesson not in catalogue.works():
        raise ValueError(
            f"No question is called {text!r}. Give the lesson with it, such as 06/solve_leg, or a"
            " lesson alone, such as 06."
        )
    if not slash:
        return lesson, lesson
    questions = plan.get(lesson, Terms()).known(lesson)
    if name not in questions:
        raise ValueError(
            f"No question is called {text!r}. Lesson {lesson} has "
            f"{', '.join(question.id for question in questions.values())}."
        )
    return lesson, questions[name].id


def _score(score: float | str) -> float:
    """A score of 0 to 1, from a number or from per cent with its sign; a decimal comma will do."""
    text = str(score).strip().replace(",", ".")
    percent = re.fullmatch(r"([\d.]+)\s*%", text)
    try:
        number = float(percent[1]) / 100 if percent else float(text)
    except ValueError:
        number = math.nan
    if not 0 <= number <= 1:
        raise ValueError(
            f"A score must be per cent such as 80%, or a number from 0 to 1; got {score!r}."
        )
    return number


def _everyone(record: Record) -> list[Learner]:
    """All on the roster, and all who handed in."""
    mask = mask_of(record)
    handed_in = {entry.learner.id: entry.learner for entry in record.entries(brief=True)}
    everyone = handed_in | {each.id: each for each in record.learners()}
    return [
        replace(each, also=(*each.also, mask.learner(each).id)) if mask else each
        for each in everyone.values()
    ]


def _learner(everyone: Sequence[Learner], text: str) -> Learner:
    """The learner of an id, or of a name that only one has, surname first or last."""
    for same in (
        lambda each: each.id == text.strip(),
        lambda each: folded(text.strip()) in map(folded, (each.id, *each.also)),
        lambda each: sorted(words(each.name)) == sorted(words(text)),
    ):
        found = [each for each in everyone if same(each)]
        if len(found) == 1:
            return found[0]
    raise ValueError(
        f"{text!r} is {'the name of several' if found else 'nobody'} in this class. Give an id, as"
        " in grades.csv."
    )
