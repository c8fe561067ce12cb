"""Stage 6: all that is shown of a class, made from the record: tables and pages."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rigkit.marking import class_page, learner_page, page, results, tables
from rigkit.marking.anonymous import Mask, mask_of, number_of
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.likeness import Group
from rigkit.marking.record import Record
from rigkit.marking.submission import Stray

__all__ = ["ClassReport", "write_all", "write_page"]


@dataclass(frozen=True)
class ClassReport:
    """The entries of a class, in short, and (lesson, learner) of everyone who is missing.

    With names; what is said of them goes through the mask, where the class is anonymous.
    """

    entries: tuple[Entry, ...]
    missing: tuple[tuple[str, Learner], ...]
    mask: Mask | None = None


def write_all(record: Record, out: Path, anew: bool = False) -> ClassReport:
    """Write the tables, the class page, and the learners' pages.

    Of the learners' pages only those that are corrected or not there; all of them `anew`. Where the
    class is anonymous, all are by number, and the key is beside them.
    """
    found, learners = record.last_run(), record.learners()
    entries = tuple(record.entries(brief=True))
    absent = tuple(_missing(entries, learners, found.get("lessons", ())))
    missing = () if found.get("cut") else absent
    mask = mask_of(record)
    for entry in entries:
        by_hand = entry.overrides or entry.feedback
        if anew or mask or by_hand or not learner_page.is_there(entry.learner, out):
            write_page(record, entry.learner, out, mask)
    for number in () if mask else found.get("numbers", {}).values():
        (out / learner_page.FOLDER / f"{number_of(number)}.html").unlink(missing_ok=True)
    shown = _Shown(entries, learners, missing, found.get("groups", ()), found.get("problems", ()))
    _write_class(shown.behind(mask) if mask else shown, found, out)
    if mask:
        mask.write_key(out)
    results.hand_notebook(out)
    return ClassReport(entries, missing, mask)


def write_page(record: Record, learner: Learner, out: Path, mask: Mask | None) -> None:
    """Write a learner's page, under their name or their number; the other one goes."""
    theirs = list(record.entries(learner=learner.id))
    if mask:
        hidden = mask.learner(learner)
        (out / learner_page.address(learner)).unlink(missing_ok=True)
        learner_page.write(hidden, map(mask.entry, theirs), out)
    else:
        learner_page.write(learner, theirs, out)


@dataclass(frozen=True)
class _Shown:
    """The facts that the class page and the tables show."""

    entries: Sequence[Entry]
    learners: Sequence[Learner]
    missing: Sequence[tuple[str, Learner]]
    groups: Sequence[Mapping[str, Any]]
    problems: Sequence[Sequence[Any]]

    def behind(self, mask: Mask) -> "_Shown":
        """The same by number. Places of files name people, so only their count is left."""
        count = len(self.problems)
        left = [(page.count(count, "file"), "The record has their names, and why.")]
        numbers = {who: number_of(number) for who, number in mask.numbers.items()}
        return _Shown(
            tuple(map(mask.entry, self.entries)),
            tuple(map(mask.learner, self.learners)),
            tuple((lesson, mask.learner(learner)) for lesson, learner in self.missing),
            [
                {
                    **group,
                    "learners": sorted(numbers.get(who, "…") for who in group["learners"]),
                    "sentence": mask.text(group["sentence"]),
                }
                for group in self.groups
            ],
            left if count else [],
        )


def _write_class(shown: _Shown, found: Mapping[str, Any], out: Path) -> None:
    """Write the tables and the class page."""
    comma, cut = found.get("decimal_comma", False), found.get("cut", False)
    school = found.get("school")
    tables.write(shown.entries, shown.learners, out, school, cut, decimal_comma=comma)
    class_page.write(
        shown.entries,
        out,
        groups=[Group(**group) for group in shown.groups],
        missing=shown.missing,
        problems=[Stray(*problem) for problem in shown.problems],
        cut=cut,
    )


def _missing(
    entries: Iterable[Entry], learners: Iterable[Learner], lessons: Iterable[str]
) -> Iterator[tuple[str, Learner]]:
    there = {(entry.learner.id, entry.lesson) for entry in entries}
    for lesson in sorted({*lessons, *(lesson for _, lesson in there)}):
        for learner in learners:
            if (learner.id, lesson) not in there:
                yield lesson, learner
