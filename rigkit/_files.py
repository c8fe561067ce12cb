"""Files written whole or not at all, so that a crash or a full disk leaves no half of one."""

import os
import secrets
from pathlib import Path


def write_whole(path: Path, data: bytes, replace: bool = True) -> None:
    """Write a whole file or nothing.

    Parameters
    ----------
    path : Path
        In a folder that is there.
    data : bytes
    replace : bool
        True if a file that is there may be written over.

    Raises
    ------
    FileExistsError
        There is a file and it may not be written over, even one that was made this very moment.
    OSError
        It cannot be written.
    """
    part = path.with_name(f".{path.name}.{secrets.token_hex(4)}")
    try:
        with open(part, "xb") as file:
            file.write(data)
        if replace:
            os.replace(part, path)
        else:
            _put(part, path)
    finally:
        part.unlink(missing_ok=True)


def _put(part: Path, path: Path) -> None:
    """Give a file its name if nothing has it."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a drive without links, as memory sticks are: take the name first
        open(path, "xb").close()
        try:
            os.replace(part, path)
        except OSError:
            path.unlink()
            raise
