"""The work of marking one learner, and processes of this machine that share it out."""

import multiprocessing
import os
import signal
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from multiprocessing.connection import Connection, wait
from typing import Any

from rigkit.marking import report
from rigkit.marking.entry import Entry, Learner, Override
from rigkit.marking.jail import Jail
from rigkit.marking.marker import Submission, mark_one
from rigkit.marking.record import frozen, now, thawed

MEMORY = 1.6 * 2**30  # bytes for one worker and its jail at their largest
_TRIES = 2  # a submission during which so many workers died is given up


@dataclass(frozen=True)
class Task:
    """One learner's homework to mark, complete.

    Attributes
    ----------
    learner : Learner
    submissions : tuple of Submission
        At most one a lesson.
    known : tuple of Entry
        Of their other lessons, for the page.
    overrides : dict of str to tuple of Override
        What a teacher corrected before, by lesson.
    """

    learner: Learner
    submissions: tuple[Submission, ...]
    known: tuple[Entry, ...] = ()
    overrides: Mapping[str, tuple[Override, ...]] = field(default_factory=dict)


@dataclass(frozen=True)
class Done:
    """What came of a task: an entry for each submission, and the learner's page as HTML."""

    learner: Learner
    entries: tuple[Entry, ...]
    page: str


def work(task: Task, jail: Jail) -> Done:
    """Mark a task's submissions in `jail`, and write the page."""
    return done(task, [mark_one(submission, jail) for submission in task.submissions])


def done(task: Task, entries: Iterable[Entry]) -> Done:
    """A task with its entries; the page is made of them as the record will give them back."""
    entries = tuple(
        replace(thawed(*frozen(entry)), overrides=task.overrides.get(entry.lesson, ()))
        for entry in entries
    )
    return Done(task.learner, entries, report.html(task.learner, [*task.known, *entries]))


def given_up(task: Task, why: str) -> Done:
    """A task whose workers died of it."""
    return done(
        task,
        [
            Entry(
                task.learner,
                submission.lesson,
                submission.place,
                submission.digest,
                marked=False,
                end="",
                why=why,
                time=now(),
            )
            for submission in task.submissions
        ],
    )


def how_many() -> int:
    """As many workers as this machine has cores and memory for, at least one."""
    cores = (
        len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    )
    memory = (
        os.sysconf("SC_PHYS_PAGES") * os.sysconf("SC_PAGE_SIZE")
        if hasattr(os, "sysconf")
        else MEMORY
    )
    return max(1, min(cores, int(memory / MEMORY)))


class Workers:
    """Processes of this machine; use it in a `with` statement.

    They end when this process does, however it ends: each waits at a pipe whose other end is here.

    Parameters
    ----------
    jail : Jail
        Open, and found sound.
    count : int
    """

    def __init__(self, jail: Jail, count: int) -> None:
        self._jail, self._count = jail, count
        self._idle: list[_Worker] = []
        self._busy: dict[Connection, tuple[_Worker, Task, int]] = {}

    def __enter__(self) -> "Workers":
        return self

    def __exit__(self, *_: object) -> None:
        for worker in (*self._idle, *(worker for worker, _, _ in self._busy.values())):
            worker.end()

    def each(self, tasks: Iterable[Task]) -> Iterator[Done]:
        """`Done` for each of the tasks, in the order in which they are done; asks for a task only
        when one is due."""
        tasks = iter(tasks)
        self._fill(tasks)
        while self._busy:
            for pipe in wait(list(self._busy)):
                found = self._answer(pipe)
                self._fill(tasks)  # before whoever asked takes time over what was found
                if found:
                    yield found

    def _fill(self, tasks: Iterator[Task]) -> None:
        while len(self._busy) < self._count and (task := next(tasks, None)) is not None:
            self._start(task)

    def _start(self, task: Task, tries: int = 1) -> None:
        worker = self._idle.pop() if self._idle else _Worker(self._jail)
        with suppress(OSError):  # it has died already: its pipe will say so
            worker.pipe.send(task)
        self._busy[worker.pipe] = worker, task, tries

    def _answer(self, pipe: Any) -> Done | None:
        """What a worker found; None where it died and another one tries."""
        worker, task, tries = self._busy.pop(pipe)
        try:
            found = pipe.recv()
        except (EOFError, OSError):
            worker.end()
            if tries == _TRIES:
                return given_up(task, f"The process that marked it died {_TRIES} times.")
            self._start(task, tries + 1)
            return None
        self._idle.append(worker)
        return found


class _Worker:
    """A process that knows nothing of this one's memory and open files: the fork of one made for
    that."""

    def __init__(self, jail: Jail) -> None:
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload([__name__])
        self.pipe, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, jail), daemon=True)
        self._process.start()
        theirs.close()

    def end(self) -> None:
        self.pipe.close()
        self._process.terminate()
        self._process.join()
        self._process.close()


def _serve(pipe: Connection, jail: Jail) -> None:
    signal.signal(
        signal.SIGINT, signal.SIG_IGN
    )  # Ctrl-C reaches all; the one who shares out the work answers it
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            task = pipe.recv()
            pipe.send(work(task, jail))
