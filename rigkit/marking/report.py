"""Stage 6: all that is shown of a class, made from the record: tables and pages."""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

from rigkit.marking import class_page, learner_page, results, tables
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.likeness import Group
from rigkit.marking.record import Record
from rigkit.marking.submission import Stray

__all__ = ["ClassReport", "write_all"]


@dataclass(frozen=True)
class ClassReport:
    """The entries of a class, in short, and (lesson, learner) of everyone who is missing."""

    entries: tuple[Entry, ...]
    missing: tuple[tuple[str, Learner], ...]


def write_all(record: Record, out: Path, anew: bool = False) -> ClassReport:
    """Write the tables, the class page, and the learners' pages.

    Of the learners' pages only those that are corrected or not there; all of them `anew`.
    """
    found, learners = record.last_run(), record.learners()
    entries = tuple(record.entries(brief=True))
    missing = tuple(_missing(entries, learners, found.get("lessons", ())))
    for entry in entries:
        by_hand = entry.overrides or entry.feedback
        if anew or by_hand or not learner_page.is_there(entry.learner, out):
            theirs = list(record.entries(learner=entry.learner.id))
            learner_page.write(entry.learner, theirs, out)
    comma = found.get("decimal_comma", False)
    tables.write(entries, learners, out, found.get("school"), decimal_comma=comma)
    class_page.write(
        entries,
        out,
        groups=[Group(**group) for group in found.get("groups", ())],
        missing=missing,
        problems=[Stray(*problem) for problem in found.get("problems", ())],
    )
    results.hand_notebook(out)
    return ClassReport(entries, missing)


def _missing(
    entries: Iterable[Entry], learners: Iterable[Learner], lessons: Iterable[str]
) -> Iterator[tuple[str, Learner]]:
    there = {(entry.learner.id, entry.lesson) for entry in entries}
    for lesson in sorted({*lessons, *(lesson for _, lesson in there)}):
        for learner in learners:
            if (learner.id, lesson) not in there:
                yield lesson, learner
