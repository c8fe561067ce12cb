"""Stages 3 and 4 for a leg from the bench: no code runs, so all is measured here.

Only a file that is not what its state makes is inspected as it is, and that in the jail.
"""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any

import rigkit
from rigkit.bench import marking
from rigkit.bench.marking import BenchMarks
from rigkit.homework import catalogue, your_leg
from rigkit.homework.notebook import Homework
from rigkit.marking.calls import CaseRecord
from rigkit.marking.entry import NOT_STARTED, Entry, Learner, Terms
from rigkit.marking.jail import Jail
from rigkit.marking.judge import facts_of, measures, not_inspected, not_marked
from rigkit.marking.run import inspection
from rigkit.marking.submission import Submission, UnreadableError
from rigkit.puppets import Puppet

__all__ = ["mark_leg"]

MOST_TOLD = 3  # differences that a page tells


def mark_leg(submission: Submission, jail: Jail, terms: Terms) -> Entry:
    """Return the entry of a leg from the bench.

    Parameters
    ----------
    submission : Submission
        Loaded, with the leg's file.
    jail : Jail
        Open, and found sound by its self-test.
    terms : Terms
        They say which steps are asked.

    Returns
    -------
    Entry
        Not marked where the file holds no leg that can be marked.

    Raises
    ------
    UnreadableError
        The file was changed while it was being marked, or the jail did not start.
    """
    data = submission.notebook.data if submission.notebook else b""
    inspector = _Inspector(jail, submission)
    try:
        marks = marking.mark(data, tuple(_characters(submission.learner, terms)), inspector)
    except ValueError as why:
        return not_marked(submission, str(why))
    asked = terms.questions(submission.lesson)
    return Entry(
        **facts_of(submission),
        outcomes=tuple(your_leg.outcome(marks.steps[step]) for step in asked),
        flags=(*submission.notes, *_flags(marks)),
        about=_about(submission, terms, marks) | inspector.about,
    )


def _characters(learner: Learner, terms: Terms) -> Iterator[Puppet]:
    """The learner's own characters, by each of their names."""
    for name in dict.fromkeys((learner.id, learner.name, *learner.also)):
        yield Homework(terms.known(catalogue.YOUR_LEG), name).character


class _Inspector:
    """Inspects a file in the jail; knows then how that went."""

    def __init__(self, jail: Jail, submission: Submission) -> None:
        self._jail, self._file = jail, {"file": submission.place, "digest": submission.digest}
        self.about: dict[str, Any] = {}

    def __call__(self, data: bytes) -> Iterable[Mapping[str, Any]]:
        run = self._jail.run(inspection(marking.SIGN_OFF, data))
        if run.end == NOT_STARTED:
            why = run.about.get("why", "it did not say why")
            raise UnreadableError(f"The jail did not start: {why}")
        records: Sequence[CaseRecord] = run.records.get(marking.SIGN_OFF, [])
        stopped = bool(records) and records[0].get("end") == "stopped"
        how = {"end": "time limit" if stopped else run.end, **measures(run)}
        self.about = {"jail": run.about, "rigs": {marking.SIGN_OFF: self._file | how}}
        if said := not_inspected(run, records):
            raise ValueError(f"the inspection {said}.")
        if "out" not in records[0]:
            raise ValueError(f"it is {records[0]['what']}.")
        return records[0]["out"]["findings"]


def _flags(marks: BenchMarks) -> Iterator[str]:
    """Sentences for the teacher."""
    yield from marks.notes
    if marks.differences:
        yield f"The file is not what its state makes: {_told(marks)}"


def _told(marks: BenchMarks) -> str:
    more = len(marks.differences) - MOST_TOLD
    told = " ".join(marks.differences[:MOST_TOLD])
    return told + (f" And {more} more." if more > 0 else "")


def _about(submission: Submission, terms: Terms, marks: BenchMarks) -> dict[str, Any]:
    """The private part of an entry."""
    held = (
        f"The file was made anew from its state and is not the same: {_told(marks)}"
        if marks.differences
        else "The file was made anew from its state and is the same; each step was measured."
    )
    return {
        "student": submission.learner.id,
        "asked": terms.asked(submission.lesson),
        "rigkit": rigkit.__version__,
        "told": [f"This is {marks.state.puppet.name}'s leg. {held}"],
        "state": marks.state.json(),
    }
