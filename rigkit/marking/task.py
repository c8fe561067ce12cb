"""One learner's work for a worker, and what comes back of it."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace

from rigkit.marking import learner_page
from rigkit.marking.entry import Entry, Learner, Override, Terms
from rigkit.marking.judge import not_marked
from rigkit.marking.record import frozen, thawed
from rigkit.marking.submission import Submission

__all__ = ["Done", "Task", "finish", "give_up"]


@dataclass(frozen=True)
class Task:
    """One learner's submissions to mark, complete.

    Attributes
    ----------
    learner : Learner
    submissions : tuple of Submission
        Loaded; at most one a lesson.
    known : tuple of Entry
        Of their other lessons, for the page.
    overrides : dict of str to tuple of Override
        A teacher's earlier corrections, by lesson.
    plan : dict of str to Terms
        By lesson.
    """

    learner: Learner
    submissions: tuple[Submission, ...]
    known: tuple[Entry, ...] = ()
    overrides: Mapping[str, tuple[Override, ...]] = field(default_factory=dict)
    plan: Mapping[str, Terms] = field(default_factory=dict)


@dataclass(frozen=True)
class Done:
    """A task's result: an entry for each submission, and the learner's page as HTML."""

    learner: Learner
    entries: tuple[Entry, ...]
    page: str


def finish(task: Task, entries: Iterable[Entry]) -> Done:
    """A task with its entries; the page is made of them as the record will give them back."""
    entries = tuple(
        replace(thawed(*frozen(entry)), overrides=task.overrides.get(entry.lesson, ()))
        for entry in entries
    )
    shown = [*task.known, *(entry.under(task.plan.get(entry.lesson)) for entry in entries)]
    return Done(task.learner, entries, learner_page.html(task.learner, shown))


def give_up(task: Task, why: str) -> Done:
    """A task whose workers died of it."""
    return finish(task, [not_marked(submission, why) for submission in task.submissions])
