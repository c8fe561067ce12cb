"""The process whose forks are workers: it imports all that they need, once.

Begun first, it does so while the command itself imports the rest. Only the standard library is
loaded here, so that it can be.
"""

import multiprocessing
import signal
from multiprocessing import forkserver
from typing import Any

__all__ = ["begin", "context"]

NEEDED = ["rigkit.marking.pipeline"]


def begin() -> None:
    """Start that process, where there can be one, without waiting for it.

    It hears no Ctrl-C from its first moment on: the command answers it for all.
    """
    if "forkserver" not in multiprocessing.get_all_start_methods():
        return
    context()
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        forkserver.ensure_running()
    finally:
        signal.signal(signal.SIGINT, before)


def context() -> Any:
    """The context in which a worker is such a fork, without this process's memory and files."""
    forks = multiprocessing.get_context("forkserver")
    forks.set_forkserver_preload(NEEDED)
    return forks
