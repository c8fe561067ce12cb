"""Numbers in place of names: what is shown of a class whose names stay in a key of their own."""

import csv
import io
import os
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path

from rigkit.marking.entry import NO_FILE, Entry, Learner
from rigkit.marking.record import Record
from rigkit.marking.roster import folded, words

__all__ = ["KEY", "Mask", "mask_of", "number_of"]

KEY = "key.csv"
NOTE = "There is a note on this run, which may name somebody: the record has it."
WHY = "Why it could not be marked may name somebody: the record has it."
SHORTEST = 3  # letters of a word of a name; a shorter one may be any word


def number_of(number: int) -> str:
    """The id that stands for a learner: "number-007"."""
    return f"number-{number:03d}"


@dataclass(frozen=True)
class Mask:
    """Everyone's number, and what becomes of them behind it.

    Attributes
    ----------
    numbers : dict of str to int
        By the learner's id.
    people : tuple of Learner
    """

    numbers: Mapping[str, int]
    people: tuple[Learner, ...]

    def learner(self, learner: Learner) -> Learner:
        """Return a learner of whom only the number is known."""
        number = self.numbers[learner.id]
        return Learner(number_of(number), f"No. {number:03d}")

    def entry(self, entry: Entry) -> Entry:
        """Return an entry in which nothing names its learner."""
        about = {name: entry.about[name] for name in ("jail", "rigkit") if name in entry.about}
        outcomes = tuple(
            replace(
                one,
                sentence=self.text(one.sentence),
                part=self.text(one.part),
                measured={name: self.text(value) for name, value in one.measured.items()},
            )
            for one in entry.outcomes
        )
        overrides = tuple(replace(one, reason=self.text(one.reason)) for one in entry.overrides)
        return replace(
            entry,
            learner=self.learner(entry.learner),
            file="",
            digest="",
            why=WHY if entry.why and entry.why != NO_FILE and not entry.marked else entry.why,
            flags=(NOTE,) if entry.flags else (),
            about=about,
            outcomes=outcomes,
            overrides=overrides,
            feedback={name: self.text(text) for name, text in entry.feedback.items()},
        )

    def text(self, text: str) -> str:
        """Return a text with every word of a name of the class blotted out."""
        return re.sub(
            r"[^\W_]+", lambda word: "…" if folded(word[0]) in self._names else word[0], text
        )

    @cached_property
    def _names(self) -> frozenset[str]:
        """All words that name somebody, folded."""
        names = (
            name
            for each in self.people
            for name in (each.id, each.name, each.email.partition("@")[0], *each.also)
        )
        found = (word for name in names for word in words(name))
        return frozenset(word for word in found if len(word) >= SHORTEST and word.isalpha())

    def write_key(self, out: Path) -> None:
        """Write who is who into the folder `out`, for its owner alone."""
        text = io.StringIO()
        rows = csv.writer(text, lineterminator="\r\n")
        rows.writerow(["number", "id", "name"])
        for learner in sorted(self.people, key=lambda each: self.numbers[each.id]):
            rows.writerow([number_of(self.numbers[learner.id]), learner.id, learner.name])
        part = out / f".{KEY}"
        part.unlink(missing_ok=True)
        os.close(os.open(part, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600))
        part.write_text(text.getvalue(), "utf-8-sig", newline="")
        os.replace(part, out / KEY)


def mask_of(record: Record, others: Iterable[Learner] = ()) -> Mask | None:
    """The mask of a class that is anonymous; None for any other.

    `others` are learners that the record does not know yet.
    """
    if not record.last_run().get("anonymous"):
        return None
    learners = {learner.id: learner for learner in others}
    learners |= {entry.learner.id: entry.learner for entry in record.entries(brief=True)}
    learners |= {learner.id: learner for learner in record.learners()}
    return Mask(record.numbers(learners), tuple(learners.values()))
