"""An entry: one learner's homework in one lesson, once it is marked."""

import hashlib
import json
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import lru_cache
from typing import Any

from rigkit.homework import catalogue, own
from rigkit.homework.checking import Outcome
from rigkit.homework.question import Question

__all__ = ["ENDS", "FINISHED", "NO_FILE", "NOT_STARTED", "Entry", "Learner", "Override", "Terms"]

FINISHED = "finished"
NOT_STARTED = "jail did not start"
ENDS = (
    FINISHED,
    "time limit",
    "memory",
    "output limit",
    "file limit",
    "stopped early",
    NOT_STARTED,
)
NO_FILE = "No file was handed in: only what a teacher gave by hand counts."


@dataclass(frozen=True)
class Learner:
    """A learner on the roster; without one, one whom a file's place names.

    Attributes
    ----------
    id : str
        Unique in the class.
    name : str
    email, group : str
        Empty where not known.
    also : tuple of str
        Other names the roster gives.
    first, last : str
        First name and surname, where the roster has them in columns of their own.
    """

    id: str
    name: str
    email: str = ""
    group: str = ""
    also: tuple[str, ...] = ()
    first: str = field(default="", compare=False)
    last: str = field(default="", compare=False)


@dataclass(frozen=True)
class Terms:
    """A teacher's terms for one lesson, of the plan.

    Attributes
    ----------
    weights : dict of str to float
        Of the questions that are asked, by their ids; empty where all are, and weigh the same.
    deadline : str
        A time, ISO, on this machine's clock where it has no offset; empty without one.
    per_day : float
        The share of the score that each day begun since then takes off.
    own : sequence of dict
        The tables of the questions of the teacher's own: see `homework.own`.
    """

    weights: Mapping[str, float] = field(default_factory=dict)
    deadline: str = ""
    per_day: float = 0.0
    own: Sequence[Mapping[str, Any]] = ()

    def known(self, lesson: str) -> dict[str, Question]:
        """Return all questions of a lesson by name, asked or not: its own, then the teacher's."""
        return catalogue.questions_of(lesson) | _own(json.dumps(list(self.own)))

    def questions(self, lesson: str) -> dict[str, Question]:
        """Return the questions of a lesson that are asked, by name, in order."""
        return {
            name: question
            for name, question in self.known(lesson).items()
            if not self.weights or question.id in self.weights
        }

    def asked(self, lesson: str) -> dict[str, str]:
        """Return the id of each question that is asked, with a digest of what the teacher wrote.

        It is empty for the lesson's own. An answer is measured anew when it changes.
        """
        of = {f"{table['lesson']}/{table['name']}": _digest(table) for table in self.own}
        return {each.id: of.get(each.id, "") for each in self.questions(lesson).values()}

    def days_late(self, handed_in: str) -> int:
        """Return the number of days begun from the deadline until a time; 0 where it is not known.

        Parameters
        ----------
        handed_in : str
            ISO.

        Returns
        -------
        int
        """
        if not (self.deadline and handed_in):
            return 0
        deadline, then = (
            datetime.fromisoformat(text).astimezone() for text in (self.deadline, handed_in)
        )
        return max(0, math.ceil((then - deadline).total_seconds() / 86400))


@lru_cache(16)
def _own(tables: str) -> dict[str, Question]:
    """The questions of some tables, JSON, by name."""
    return {each.name: each for each in map(own.question, json.loads(tables))}


def _digest(table: Mapping[str, Any]) -> str:
    return hashlib.sha256(json.dumps(table, sort_keys=True).encode()).hexdigest()


@dataclass(frozen=True)
class Override:
    """A teacher's correction of one score.

    Attributes
    ----------
    question : str
        Its id, such as "06/solve_leg"; of a whole lesson its number.
    score : float
        0 to 1.
    reason, time : str
    """

    question: str
    score: float
    reason: str
    time: str


@dataclass(frozen=True)
class Entry:
    """One learner's homework in one lesson, as it was marked.

    Attributes
    ----------
    learner : Learner
    lesson : str
        Two digits.
    file, digest : str
        The place of the file inside the submissions, and its SHA-256; with rig files, that of the
        digests of all.
    marked : bool
        False where nothing could be measured through no fault of the answers; never counts as zero.
    end : str
        The end of the run: one of `ENDS`; empty where nothing was run.
    why : str
        A sentence when not marked, or when the run was cut short.
    outcomes : tuple of Outcome
        One per question, in the lesson's order, as measured.
    overrides : tuple of Override
        At most one per question, the latest.
    flags : tuple of str
        Sentences on what a teacher should look at.
    time : str
        UTC.
    about : dict
        The private part of the record: seed, jail, versions, digests, limits, seconds, what the
        cells printed.
    handed_in : str
        The date of the newest of its files, ISO: UTC, or as a zip says it, without an offset.
    terms : Terms
        Of the plan, as the teacher has it now.
    feedback : dict of str to str
        A teacher's own sentences, by question's id or the lesson's number.
    seen : bool
        True if a teacher has looked at it since its file came.
    """

    learner: Learner
    lesson: str
    file: str = ""
    digest: str = ""
    marked: bool = True
    end: str = FINISHED
    why: str = ""
    outcomes: tuple[Outcome, ...] = ()
    overrides: tuple[Override, ...] = ()
    flags: tuple[str, ...] = ()
    time: str = ""
    about: Mapping = field(default_factory=dict)
    handed_in: str = ""
    terms: Terms = field(default_factory=Terms)
    feedback: Mapping[str, str] = field(default_factory=dict)
    seen: bool = False

    @property
    def key(self) -> tuple[str, str]:
        """(learner's id, lesson)."""
        return self.learner.id, self.lesson

    @property
    def needs_a_look(self) -> bool:
        """True if a teacher should open this one."""
        odd = self.score is None or self.end not in (FINISHED, "") or bool(self.notes)
        return odd and not self.seen

    @property
    def notes(self) -> tuple[str, ...]:
        """The flags, and that it is late where the teacher is to decide what that costs."""
        undecided = self.days_late and not self.terms.per_day
        return (*self.flags, *([f"Handed in {self.lateness}."] if undecided else ()))

    @property
    def lateness(self) -> str:
        """The days late in words: "2 days after the deadline, by the date of its file"; or ""."""
        days = self.days_late
        many = f"{days:,} day{'s' if days > 1 else ''}"
        return f"{many} after the deadline, by the date of its file" if days else ""

    @property
    def scores(self) -> dict[str, float]:
        """The score of each question by its id, corrections applied.

        Empty when neither marked nor corrected.
        """
        measured = (
            {outcome.question: outcome.score for outcome in self.outcomes} if self.marked else {}
        )
        corrected = {override.question: override.score for override in self.overrides}
        corrected.pop(self.lesson, None)
        return measured | corrected

    @property
    def whole(self) -> Override | None:
        """The correction of the whole lesson, where there is one."""
        return next((one for one in self.overrides if one.question == self.lesson), None)

    @property
    def version(self) -> str:
        """The words by which a later file of the same learner and lesson is told from this one."""
        return self.digest or f"{self.file} {self.why}".strip()

    @property
    def days_late(self) -> int:
        """The days begun since the deadline when it was handed in."""
        return self.terms.days_late(self.handed_in)

    @property
    def kept(self) -> float:
        """The share of the score that is kept, for all that it is late: 1 to 0."""
        return max(0.0, 1 - self.terms.per_day * self.days_late)

    @property
    def score(self) -> float | None:
        """The weighted mean over the questions that are asked, less what being late costs: 0 to 1.

        None when not marked, unless each was corrected by hand. A correction of the whole lesson
        stands as it is.
        """
        if self.whole:
            return self.whole.score
        asked = self.terms.questions(self.lesson)
        if not self.scores or not (self.marked or len(self.scores) == len(asked)):
            return None
        weights = {question: self.terms.weights.get(question, 1.0) for question in self.scores}
        total = sum(weights[question] * score for question, score in self.scores.items())
        whole = sum(weights.values())
        return self.kept * total / whole if whole else None

    def under(self, terms: Terms | None) -> "Entry":
        """Return the same with only what a plan asks, and its terms.

        Parameters
        ----------
        terms : Terms or None
            None leaves all as it was measured.

        Returns
        -------
        Entry
        """
        if terms is None:
            return self
        asked = {*terms.weights, self.lesson}
        return replace(
            self,
            outcomes=tuple(one for one in self.outcomes if one.question in asked),
            overrides=tuple(one for one in self.overrides if one.question in asked),
            terms=terms,
        )
