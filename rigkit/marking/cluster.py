"""The same work on the workers of a dask.distributed scheduler: `pip install "rigkit[cluster]"`.

Each worker opens its own jail, once, and tries it before its first submission. What is sent to it
is the bytes of a file and the seed of its cases; what comes back is the entry and the page. The
record stays here.
"""

import threading
from collections.abc import Iterable, Iterator
from functools import lru_cache
from typing import Any

import rigkit
from rigkit.marking.jail import Jail, JailError, open_jail
from rigkit.marking.task import Done, Task, give_up
from rigkit.marking.workers import Work

__all__ = ["Cluster", "ClusterError"]

PATIENCE = 10  # seconds for a scheduler to answer
AHEAD = 2  # tasks sent ahead for each thread of the workers, so that none waits for the next
_opening = threading.Lock()


Kind = tuple[str, tuple[str, ...]]  # of a jail, with the packages allowed in it


class ClusterError(Exception):
    """The cluster cannot be used; the text says why, and what would do."""


class Cluster:
    """The workers of the scheduler at `address`; use it in a `with` statement.

    Parameters
    ----------
    address : str
        Such as "tcp://10.0.0.5:8786".
    jail : str
        The kind of jail that each worker opens.
    work : callable
        Does one task; a module's own function, which the workers import.

    Raises
    ------
    ClusterError
        Without the extra, the scheduler, or any worker; or where a worker has another version of
        the kit, or no jail.
    """

    def __init__(self, address: str, jail: str, work: Work, allowed: tuple[str, ...] = ()) -> None:
        try:
            import distributed
        except ImportError:
            raise ClusterError(
                'Marking on a cluster needs dask.distributed: pip install "rigkit[cluster]".'
            ) from None
        self._distributed, self._jail, self._work = distributed, (jail, allowed), work
        try:
            self._client = distributed.Client(address, timeout=PATIENCE, set_as_default=False)
        except (OSError, ValueError, TypeError) as error:
            raise ClusterError(
                f"No scheduler answers at {address} ({error}). Start one with `dask scheduler`, or "
                "leave out --cluster."
            ) from error
        try:
            self._check(address)
        except BaseException:
            self._client.close()
            raise

    def __enter__(self) -> "Cluster":
        return self

    def __exit__(self, *_: object) -> None:
        self._client.close()

    def each(self, tasks: Iterable[Task]) -> Iterator[Done]:
        """`Done` for each of the tasks, in the order in which they are done.

        A task whose worker dies goes to another; one that took several along is given up.
        """
        sent: dict[Any, Task] = {}
        tasks = iter(tasks)
        done = self._distributed.as_completed(loop=self._client.loop)
        while True:
            while len(sent) < AHEAD * self._threads() and (task := next(tasks, None)) is not None:
                future = self._client.submit(_do, self._work, task, self._jail, pure=False)
                sent[future] = task
                done.add(future)
            if not sent:
                return
            future = next(done)
            task = sent.pop(future)
            yield self._result(future, task)
            future.release()

    def _threads(self) -> int:
        return max(1, sum(self._client.nthreads().values()))

    def _result(self, future: Any, task: Task) -> Done:
        try:
            return future.result()
        except self._distributed.KilledWorker:
            return give_up(task, "Each worker that marked it died.")
        except JailError as why:
            return give_up(task, f"The worker had no jail: {why}")

    def _check(self, address: str) -> None:
        answers = self._client.run(_ready, self._jail, on_error="return")
        if not answers:
            raise ClusterError(
                f"The scheduler at {address} has no workers. Start some: dask worker {address}"
            )
        for worker, answer in answers.items():
            if isinstance(answer, Exception):
                raise ClusterError(f"The worker {worker} cannot mark: {answer}")
            if answer != rigkit.__version__:
                raise ClusterError(
                    f"The worker {worker} has rigkit {answer}, here it is {rigkit.__version__}. "
                    "Install the same version on all."
                )


def _do(work: Work, task: Task, kind: Kind) -> Done:
    return work(task, _jail(kind))


def _ready(kind: Kind) -> str:
    _jail(kind)
    return rigkit.__version__


def _jail(kind: Kind) -> Jail:
    with _opening:
        return _opened(kind)


@lru_cache
def _opened(kind: Kind) -> Jail:
    jail = open_jail(kind[0], allowed=kind[1])
    jail.self_test()
    return jail
