"""An entry: one learner's homework in one lesson, once it is marked."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from rigkit.homework import catalogue
from rigkit.homework.checking import Outcome

__all__ = ["ENDS", "FINISHED", "NOT_STARTED", "Entry", "Learner", "Override"]

FINISHED = "finished"
NOT_STARTED = "jail did not start"
ENDS = (FINISHED, "time limit", "memory", "output limit", "stopped early", NOT_STARTED)


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
    """

    id: str
    name: str
    email: str = ""
    group: str = ""
    also: tuple[str, ...] = ()


@dataclass(frozen=True)
class Override:
    """A teacher's correction of one score.

    Attributes
    ----------
    question : str
        Its id, such as "06/solve_leg".
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

    @property
    def key(self) -> tuple[str, str]:
        """(learner's id, lesson)."""
        return self.learner.id, self.lesson

    @property
    def needs_a_look(self) -> bool:
        """True if a teacher should open this one."""
        return not self.marked or self.end != FINISHED or bool(self.flags)

    @property
    def scores(self) -> dict[str, float]:
        """The score of each question by its id, corrections applied.

        Empty when neither marked nor corrected.
        """
        measured = (
            {outcome.question: outcome.score for outcome in self.outcomes} if self.marked else {}
        )
        return measured | {override.question: override.score for override in self.overrides}

    @property
    def score(self) -> float | None:
        """The mean over the lesson's questions, 0 to 1.

        None when not marked, unless each was corrected by hand.
        """
        known = self.marked or len(self.scores) == len(catalogue.questions(self.lesson))
        return sum(self.scores.values()) / len(self.scores) if known and self.scores else None
