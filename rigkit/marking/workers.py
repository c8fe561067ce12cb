"""Processes of this machine that share out the work of marking."""

import os
import signal
from collections.abc import Callable, Iterable, Iterator
from contextlib import suppress
from multiprocessing.connection import Connection, wait
from typing import Any

from rigkit.marking import forks, scratch
from rigkit.marking.jail import Jail
from rigkit.marking.task import Done, Task, give_up

__all__ = ["Workers", "how_many"]

MEMORY = 1.6 * 2**30  # bytes for one worker and its jail at their largest
Work = Callable[[Task, Jail], Done]
_TRIES = 2  # a submission during which so many workers died is given up


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
    work : callable
        Does one task; a module's own function, which the processes import.
    """

    def __init__(self, jail: Jail, count: int, work: Work) -> None:
        self._jail, self._count, self._work = jail, count, work
        self._idle: list[_Worker] = []
        self._busy: dict[Connection, tuple[_Worker, Task, int]] = {}

    def __enter__(self) -> "Workers":
        scratch.clear()
        return self

    def __exit__(self, *_: object) -> None:
        for worker in (*self._idle, *(worker for worker, _, _ in self._busy.values())):
            worker.end()

    def each(self, tasks: Iterable[Task]) -> Iterator[Done]:
        """`Done` for each of the tasks, as they are done; asks for a task only when one is due."""
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
        worker = self._idle.pop() if self._idle else self._new()
        with suppress(OSError):  # it has died already: its pipe will say so
            worker.pipe.send(task)
        self._busy[worker.pipe] = worker, task, tries

    def _new(self) -> "_Worker":
        with scratch.inside(scratch.of_process()):  # the processes' own sockets too
            return _Worker(self._jail, self._work)

    def _answer(self, pipe: Any) -> Done | None:
        """A worker's result; None where it died and another one tries."""
        worker, task, tries = self._busy.pop(pipe)
        try:
            found = pipe.recv()
        except (EOFError, OSError):
            worker.end()
            if tries == _TRIES:
                return give_up(task, f"The process that marked it died {_TRIES} times.")
            self._start(task, tries + 1)
            return None
        self._idle.append(worker)
        return found


class _Worker:
    """A process without this one's memory and open files: the fork of one made for that."""

    def __init__(self, jail: Jail, work: Work) -> None:
        context = forks.context()
        self.pipe, theirs = context.Pipe()
        self._process = context.Process(target=_serve, args=(theirs, jail, work), daemon=True)
        self._process.start()
        theirs.close()

    def end(self) -> None:
        self.pipe.close()
        self._process.terminate()
        self._process.join()
        self._process.close()


def _serve(pipe: Connection, jail: Jail, work: Work) -> None:
    # Ctrl-C reaches all; the one who shares out the work answers it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    with suppress(EOFError, BrokenPipeError, ConnectionResetError):
        while True:
            task = pipe.recv()
            pipe.send(work(task, jail))
