"""Words on a run of marking: how far it is, and its result."""

import math
import time
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from rigkit.marking import class_page, page
from rigkit.marking.anonymous import Mask
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.place import Placed
from rigkit.marking.report import ClassReport
from rigkit.marking.submission import Stray, Submission

__all__ = ["Clock", "Progress", "Summary"]

MOST_LINES = 20  # of a list in a summary
STRAY = "Its place may name somebody: the record has it, and why it is nobody's."


@dataclass(frozen=True)
class Progress:
    """The count of submissions marked so far, and the time it took."""

    done: int
    total: int
    seconds: float

    @property
    def rate(self) -> float:
        """Submissions a second."""
        return self.done / self.seconds if self.seconds > 0 else 0.0

    @property
    def left(self) -> float | None:
        """Seconds to go, at the rate so far; None before there is one."""
        return (self.total - self.done) / self.rate if self.done else None

    def __str__(self) -> str:
        left = "" if self.left is None else f", {_duration(self.left)} left"
        return f"{self.done:,} of {self.total:,} marked, {self.rate:.1f} a second{left}"


@dataclass(frozen=True)
class Summary:
    """The result of one run of marking.

    Attributes
    ----------
    out : Path
    marked, already : int
        Submissions marked now, and those left as they were because they have not changed.
    not_marked : tuple of (str, str)
        The file, and why.
    look, unjailed : int
        Numbers of all entries that a teacher should look at, and that ran without a jail.
    missing : tuple of (str, Learner)
        The lesson, and a learner who has handed in nothing.
    seconds : float
    """

    out: Path
    marked: int
    already: int
    not_marked: tuple[tuple[str, str], ...]
    look: int
    missing: tuple[tuple[str, Learner], ...]
    unjailed: int
    seconds: float

    def __str__(self) -> str:
        lines = [f"{self.marked:,} marked in {self.seconds:.0f} s."]
        if self.already:
            lines.append(
                f"{self.already:,} unchanged since they were marked, and left as they were."
            )
        if self.not_marked:
            lines += [f"{len(self.not_marked):,} not marked:", *_shortened(self.not_marked)]
        if self.missing:
            names = ", ".join(
                f"{page.plain(learner.name or learner.id)} ({lesson})"
                for lesson, learner in self.missing[:MOST_LINES]
            )
            lines.append(
                f"{len(self.missing):,} missing:"
                f" {names}{', …' if len(self.missing) > MOST_LINES else ''}."
            )
        if self.look:
            lines.append(f"{self.look:,} to look at; the class page says why.")
        if self.unjailed:
            lines.append(f"{self.unjailed:,} run UNJAILED; each page says so.")
        return "\n".join([*lines, f"Class page: {self.out / class_page.NAME}"])

    @classmethod
    def of(
        cls,
        out: Path,
        placed: Placed,
        due: Collection[Submission],
        report: ClassReport,
        seconds: float,
    ) -> "Summary":
        """The summary of a run: what was placed and due, and the report made after it."""
        placed_keys, due_keys = {one.key for one in placed.submissions}, {one.key for one in due}
        mine = [entry for entry in report.entries if entry.key in placed_keys]
        strays = [stray for stray in placed.strays if stray.matters]
        failed, missing = [entry for entry in mine if not entry.marked], report.missing
        if mask := report.mask:
            missing = tuple((lesson, mask.learner(learner)) for lesson, learner in missing)
        return cls(
            out,
            sum(entry.marked for entry in mine if entry.key in due_keys),
            len(placed_keys) - len(due_keys),
            tuple(dict.fromkeys(_not_marked(failed, strays, mask))),
            sum(entry.needs_a_look for entry in report.entries),
            missing,
            sum(page.is_unjailed(entry.about) for entry in report.entries),
            seconds,
        )

    @property
    def data(self) -> dict[str, Any]:
        """The same as JSON data."""
        return {
            "marked": self.marked,
            "already_marked": self.already,
            "not_marked": [{"file": file, "why": why} for file, why in self.not_marked],
            "to_look_at": self.look,
            "missing": [
                {"lesson": lesson, "learner": learner.id} for lesson, learner in self.missing
            ],
            "unjailed": self.unjailed,
            "seconds": round(self.seconds, 2),
            "results": str(self.out),
            "class_page": str(self.out / class_page.NAME),
        }


class Clock:
    """Counts submissions, and tells whoever asked."""

    def __init__(self, total: int, tell: Callable[[Progress], None] | None) -> None:
        self._done, self._total, self._tell, self._began = 0, total, tell, time.monotonic()

    def tick(self, count: int) -> None:
        self._done += count
        if self._tell:
            self._tell(Progress(self._done, self._total, time.monotonic() - self._began))


def _not_marked(
    entries: Iterable[Entry], strays: Iterable[Stray], mask: Mask | None
) -> Iterator[tuple[str, str]]:
    """(the file, why) of all that could not be marked; behind a mask without what names people."""
    for entry in entries:
        hidden = mask.entry(entry) if mask else entry
        yield f"{hidden.learner.name} ({entry.lesson})" if mask else entry.file, hidden.why
    for number, stray in enumerate(strays, start=1):
        yield (f"file {number}", STRAY) if mask else (stray.place, stray.why)


def _duration(seconds: float) -> str:
    minutes = math.ceil(seconds / 60)
    return (
        f"{seconds:.0f} s"
        if seconds < 100
        else f"{minutes} min"
        if minutes < 100
        else f"{minutes / 60:.1f} h"
    )


def _shortened(lines: Sequence[tuple[str, str]]) -> Iterator[str]:
    for file, why in lines[:MOST_LINES]:
        yield f"  {page.plain(file)}: {page.plain(why)}"
    if len(lines) > MOST_LINES:
        yield f"  and {len(lines) - MOST_LINES:,} more; the class page lists them"
