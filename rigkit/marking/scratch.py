"""Temporary folders of marking, each named after its process, so that those of dead ones can go."""

import os
import re
import shutil
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from functools import cache
from multiprocessing.util import Finalize
from pathlib import Path

__all__ = ["clear", "folder", "inside", "of_process"]

_NAME = re.compile(r"rigkit-(\d{1,10})-\w+")


@contextmanager
def folder() -> Iterator[str]:
    """A temporary folder of this process, for a while."""
    with tempfile.TemporaryDirectory(
        prefix=f"rigkit-{os.getpid()}-", ignore_cleanup_errors=True
    ) as path:
        yield path


@cache
def of_process() -> str:
    """A temporary folder that this process keeps to its end."""
    path = tempfile.mkdtemp(prefix=f"rigkit-{os.getpid()}-")
    # after the folders that multiprocessing makes inside, which go at -100
    Finalize(None, shutil.rmtree, (path,), {"ignore_errors": True}, exitpriority=-200)
    return path


@contextmanager
def inside(path: str) -> Iterator[None]:
    """Let what else makes temporary folders in this process make them in a folder for a while."""
    before, tempfile.tempdir = tempfile.tempdir, path
    try:
        yield
    finally:
        tempfile.tempdir = before


def clear() -> None:
    """Remove the folders of processes that have ended without doing so."""
    for path in Path(tempfile.gettempdir()).glob("rigkit-*"):
        named = _NAME.fullmatch(path.name)
        with suppress(OSError):
            if named and path.is_dir() and not path.is_symlink() and not _lives(int(named[1])):
                shutil.rmtree(path)


def _lives(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except (OSError, OverflowError):
        return True  # somebody else's, or none that can be told
    return True
