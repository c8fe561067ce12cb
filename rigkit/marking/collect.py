"""Stage 1: the notebooks, rig files and legs from the bench in a class's submissions.

Nothing here is run, unpacked to disk, or believed about itself. A class comes as a folder or a zip,
nested as learning platforms export them; all that is no notebook and no rig file is a problem, with
a sentence. A bad file spoils itself only. The inside of a rig file is read in the jail alone.

Bounds: a file has at most 10 MiB. A class has at most 20 files and folders for each learner and
never fewer than 2,000; that leaves room for a few files, a few folders and a zip of each one's own,
and keeps a heap of a million names from filling the memory. Where there are more, the fullest
folders are cut short, so that one learner's heap costs nobody else a file, and a problem says so.
A zip inside is one learner's: it has at most 2,000 entries, 100 notebooks and rig files and 50 MiB
unpacked. In one folder so many bytes are read as a class can hand in, the smallest first.
"""

import io
import os
import stat
import struct
import unicodedata
import zipfile
import zlib
from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Any

from rigkit.bench import book
from rigkit.bench.marking import holds
from rigkit.homework import catalogue
from rigkit.marking.notebook_file import NOTHING, Notebook, read_notebook
from rigkit.marking.submission import (
    HAND_IN,
    LONGEST_NAME,
    MOST_BYTES,
    NO_NOTEBOOK,
    RIGS,
    File,
    Problem,
    UnreadableError,
    digest_of,
    shown,
    too_large,
)

__all__ = ["Collected", "collect"]

MOST_ENTRIES = 2_000
ENTRIES_EACH = 20
MOST_LISTED = 200_000  # entries of a class's zip, of which a fair share is read
MOST_NESTED = 100  # files in a zip inside
NESTED_BYTES = 50 * 2**20
DEEPEST = 20  # folders in folders

_HIDDEN = ("__macosx", "thumbs.db", "desktop.ini")
_BROKEN = (
    zipfile.BadZipFile,
    zlib.error,
    struct.error,
    EOFError,
    OSError,
    ValueError,
    OverflowError,
    RuntimeError,
)
KEPT_BY_THE_BENCH = (
    "The file is the one in which the bench keeps a leg's history. Hand in the one that its last"
    ' step writes, such as "my-leg.glb".'
)
_GIVE = "Give the folder or the zip that holds the submissions."
_INSTEAD = {
    ".py": f"The file is a Python script, not a notebook. {HAND_IN}",
    ".bin": "The file holds what another should hold in itself. Export the rig as one file, .glb.",
    ".zip": "The file is a zip inside a zip inside the submissions. Pack the notebook once only.",
    **dict.fromkeys(
        (".rar", ".7z", ".tar", ".gz", ".tgz", ".xz", ".bz2"),
        f"The file is packed in a way that is not read here. {HAND_IN} A zip will do too.",
    ),
    **dict.fromkeys(
        (".html", ".htm", ".pdf"), f"The file is a print of a page, which cannot be run. {HAND_IN}"
    ),
    **dict.fromkeys(
        (".doc", ".docx", ".odt", ".rtf", ".txt", ".md"),
        f"The file is a written text, not a notebook. {HAND_IN}",
    ),
}


@dataclass(frozen=True)
class Collected:
    """The notebooks and rig files of the submissions, problems, and the number of hidden files."""

    files: tuple[File, ...]
    problems: tuple[Problem, ...]
    ignored: int = 0


def collect(path: str | os.PathLike[str], learners: int = 1_000) -> Collected:
    """Find the notebooks and the rig files in a folder or a zip of submissions.

    Parameters
    ----------
    path : path-like
    learners : int
        The size of the class, where that is known; bounds how much is looked at.

    Returns
    -------
    Collected
        In order of place. Whatever is inside, it is a file or a problem, never an error.

    Raises
    ------
    ValueError
        `path` is neither a folder nor a zip.
    """
    path = Path(path)
    if os.open not in os.supports_dir_fd or not hasattr(os, "O_NOFOLLOW"):
        raise ValueError("This system cannot read strangers' files safely. Mark on Linux.")
    try:
        kind = stat.S_IFMT(path.stat().st_mode)
    except (OSError, ValueError) as error:
        raise ValueError(
            f"{path} cannot be read ({getattr(error, 'strerror', error)}). {_GIVE}"
        ) from None
    most, box = (
        max(MOST_ENTRIES, ENTRIES_EACH * learners),
        _Box(room=2 * MOST_BYTES * max(1, learners)),
    )
    if kind == stat.S_IFDIR:
        things = _in_folder(path.resolve(), most)
    elif kind == stat.S_IFREG:
        things = _in_zip(_open_zip(path), most)
    else:
        raise ValueError(f"{path} is neither a folder nor a zip. {_GIVE}")
    box.take(sorted(things, key=_unpacked))
    return Collected(
        tuple(sorted(box.files, key=lambda file: file.place)),
        tuple(sorted(box.problems, key=lambda problem: problem.place)),
        box.ignored,
    )


@dataclass(frozen=True)
class _Found:
    """A regular file that was come upon; `again` reads it later, when a zip inside is closed.

    `offset` is where a zip's entry begins, `size` what it says to have, in bytes.
    """

    place: str
    modified: str
    read: Callable[[], bytes]
    again: Callable[[], bytes] | None = None
    offset: int = 0
    size: int = 0


def _unpacked(thing: "_Found | Problem") -> int:
    """The bytes that reading a thing would come to, by what it says; a zip's are its files'."""
    if isinstance(thing, Problem) or not thing.place.casefold().endswith(".zip"):
        return 0 if isinstance(thing, Problem) else thing.size
    try:
        with _open_nested(thing.read()) as archive:
            return thing.size + sum(entry.file_size for entry in archive.infolist())
    except UnreadableError:
        return thing.size


@dataclass
class _Box:
    """The files found so far, and the bytes read for each folder; in each there is `room`."""

    room: int
    nested: bool = False
    spent: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    files: list[File] = field(default_factory=list)
    problems: list[Problem] = field(default_factory=list)
    ignored: int = 0

    def take(self, things: Iterable["_Found | Problem"]) -> None:
        for thing in things:
            if isinstance(thing, Problem):
                self.problems.append(thing)
            elif _is_hidden(thing.place):
                self.ignored += 1
            else:
                try:
                    self._take(thing)
                except UnreadableError as why:
                    self.problems.append(Problem(thing.place, str(why), lesson=why.lesson))

    def _take(self, thing: "_Found") -> None:
        suffix = PurePosixPath(thing.place).suffix.casefold()
        if suffix == ".zip" and not self.nested:
            self._take_nested(thing)
        elif suffix == ".ipynb" or suffix in RIGS:
            if self.nested and len(self.files) >= MOST_NESTED:
                raise UnreadableError(
                    f"The zip holds more than {MOST_NESTED} notebooks and rig files. Hand in the"
                    " exercise only."
                )
            data = self._spend(thing.place, thing.read())
            told = _told_of_rig(data) if suffix in RIGS else _told(data)
            self.files.append(
                File(
                    thing.place,
                    digest_of(data),
                    thing.modified,
                    told.lesson,
                    thing.again or thing.read,
                    told.names,
                    told.claimed,
                )
            )
        elif suffix == ".json" and book.KEY in thing.read()[:100]:
            raise UnreadableError(KEPT_BY_THE_BENCH, catalogue.YOUR_LEG)
        else:
            raise UnreadableError(_INSTEAD.get(suffix, f"{NO_NOTEBOOK}. {HAND_IN}"))

    def _take_nested(self, thing: "_Found") -> None:
        data = self._spend(thing.place, thing.read())
        folder = _folder(thing.place)
        inner = _Box(min(self.room - self.spent[folder], NESTED_BYTES), nested=True)
        with _open_nested(data) as archive:
            inner.take(
                replace(
                    found,
                    place=f"{thing.place}/{found.place}",
                    again=partial(_read_nested, thing.again or thing.read, found.offset),
                )
                if isinstance(found, _Found)
                else Problem(f"{thing.place}/{found.place}", found.why)
                for found in _in_zip(archive)
            )
        self.spent[folder] += inner.spent[""]
        self.files += inner.files
        self.problems += inner.problems[
            :MOST_NESTED
        ]  # no more is worth reading of one learner's zip
        self.ignored += inner.ignored

    def _spend(self, place: str, data: bytes) -> bytes:
        folder = "" if self.nested else _folder(place)
        if self.spent[folder] + len(data) > self.room:
            raise UnreadableError(
                "The files here are larger, all together, than a class's work can be. Leave out"
                " what is not homework."
            )
        self.spent[folder] += len(data)
        return data


def _folder(place: str) -> str:
    return place.rpartition("/")[0]


def _is_hidden(place: str) -> bool:
    return any(part.startswith(".") or part.casefold() in _HIDDEN for part in place.split("/"))


def _told(data: bytes) -> Notebook:
    """The words of a notebook on itself; `NOTHING` where it is none."""
    try:
        return replace(read_notebook(data), cells=())  # a class's code is not kept in memory
    except UnreadableError:
        return NOTHING


def _told_of_rig(data: bytes) -> Notebook:
    """The words of a rig file on itself: whether it holds a leg from the bench."""
    return replace(NOTHING, lesson=catalogue.YOUR_LEG) if holds(data) else NOTHING


# --- a fair share


_Parts = tuple[str, ...]


@dataclass(frozen=True)
class _Tree:
    """Folders in folders: what one holds, at most so many things, and which of them are folders."""

    listed: Callable[[_Parts, int], Sequence[tuple[str, Any]]]
    is_folder: Callable[[_Parts, Any], bool]

    def fairly(self, parts: _Parts, most: int) -> Iterator["tuple[_Parts, Any] | Problem"]:
        """At most so many things of a folder: where there are more, the fullest are cut short."""
        try:
            here = self.listed(parts, most + 1)
        except OSError as error:
            yield Problem(_place(parts), f"The folder cannot be read ({error.strerror}).")
            return
        if len(here) > most:
            yield Problem(
                _place(parts) or ".",
                f"Here are more files than can be read ({most:,} here); some are not. Leave out "
                "what is not homework, or give the roster: a larger class may have more.",
                cut=True,
            )
            here = here[:most]
        yield from (((*parts, name), what) for name, what in here)
        below = [(*parts, name) for name, what in here if self.is_folder((*parts, name), what)]
        left = most - len(here)
        sizes = {folder: self._size(folder, left) for folder in below}
        each = _share(sizes.values(), left)
        for folder in below:
            yield from self.fairly(folder, each)

    def _size(self, parts: _Parts, most: int) -> int:
        """The number of things in a folder and all below, counted no further than needed."""
        size, folders = 0, [parts]
        while folders and size <= most:
            folder = folders.pop()
            with suppress(OSError):
                here = self.listed(folder, most + 1)
                size += len(here)
                folders += [
                    (*folder, name) for name, what in here if self.is_folder((*folder, name), what)
                ]
        return size


def _share(sizes: Collection[int], left: int) -> int:
    """The most that each may have, so that all together have no more than are left."""
    for number, size in enumerate(sorted(sizes)):
        each = left // (len(sizes) - number)
        if size > each:
            return each
        left -= size
    return max(sizes, default=0)


# --- a folder


def _in_folder(root: Path, most: int) -> Iterator["_Found | Problem"]:
    """Everything below `root`; links are not followed."""
    tree = _Tree(partial(_listed, root), _is_open_folder)
    for thing in tree.fairly((), most):
        yield from [thing] if isinstance(thing, Problem) else _at(root, *thing)


def _is_open_folder(parts: _Parts, status: os.stat_result) -> bool:
    """True if a name is a folder that is looked into."""
    return stat.S_ISDIR(status.st_mode) and len(parts) <= DEEPEST and not _is_hidden(parts[-1])


def _listed(root: Path, parts: _Parts, most: int) -> list[tuple[str, os.stat_result]]:
    """(name, status) of the things in a folder, in order, at most so many."""
    folder = _open(root, parts, os.O_DIRECTORY)
    try:
        with os.scandir(folder) as entries:
            return sorted(
                (
                    (entry.name, entry.stat(follow_symlinks=False))
                    for entry in islice(entries, most)
                ),
                key=lambda entry: entry[0],
            )
    finally:
        os.close(folder)


def _at(root: Path, parts: _Parts, status: os.stat_result) -> Iterator["_Found | Problem"]:
    """The thing that one name in a folder is; nothing for a folder that is looked into."""
    place = _place(parts)
    if _is_hidden(place):
        yield _Found(place, "", bytes)  # counted, never read
    elif stat.S_ISREG(status.st_mode):
        read = partial(_read_in_folder, root, parts)
        yield _Found(place, _iso(status.st_mtime), read, size=status.st_size)
    elif not stat.S_ISDIR(status.st_mode):
        what = (
            "a link, which is not followed" if stat.S_ISLNK(status.st_mode) else "no ordinary file"
        )
        yield Problem(place, f"Here is {what}. {HAND_IN}")
    elif len(parts) > DEEPEST:
        yield Problem(
            place, f"The folders go deeper than {DEEPEST}; what is further down is not read."
        )


def _read_in_folder(root: Path, parts: tuple[str, ...]) -> bytes:
    try:
        file = _open(root, parts, os.O_NONBLOCK)  # a pipe in its place must not block
        try:
            status = os.fstat(file)
            if not stat.S_ISREG(status.st_mode):
                raise UnreadableError(f"Here is no ordinary file. {HAND_IN}")
            if status.st_size > MOST_BYTES:
                raise too_large(parts[-1])
            with open(file, "rb", closefd=False) as opened:
                data = opened.read(MOST_BYTES + 1)
        finally:
            os.close(file)
    except OSError as error:
        raise UnreadableError(f"The file cannot be read ({error.strerror}).") from None
    if len(data) > MOST_BYTES:
        raise too_large(parts[-1])
    return data


def _open(root: Path, parts: tuple[str, ...], flags: int) -> int:
    """Open a place below `root`, step by step; no step may be a link."""
    here = os.open(root, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
    for number, name in enumerate(parts, 1):
        how = flags if number == len(parts) else os.O_DIRECTORY
        try:
            there = os.open(name, os.O_RDONLY | os.O_NOFOLLOW | os.O_CLOEXEC | how, dir_fd=here)
        finally:
            os.close(here)
        here = there
    return here


def _place(parts: Iterable[str]) -> str:
    return "/".join(shown(part) for part in parts)


def _iso(seconds: float) -> str:
    try:
        return datetime.fromtimestamp(seconds, UTC).isoformat(timespec="seconds")
    except (ValueError, OverflowError, OSError):  # a year that no calendar has
        return ""


# --- a zip


class _Entries(list):
    """A list that refuses to grow beyond `most`."""

    most = MOST_ENTRIES

    def append(self, entry: zipfile.ZipInfo) -> None:
        if len(self) >= self.most:
            raise UnreadableError(
                f"The zip holds more than {self.most:,} files and folders. Leave out what is not "
                "homework."
            )
        super().append(entry)


class _Zip(zipfile.ZipFile):
    """A zip with at most `most` entries, however many it says it has."""

    def __init__(self, file: Any, most: int) -> None:
        self._most = most
        super().__init__(file)

    @property
    def filelist(self) -> Any:
        return self._filelist

    @filelist.setter
    def filelist(
        self, entries: list[zipfile.ZipInfo]
    ) -> None:  # set once, before the entries are read
        self._filelist = _Entries(entries)
        self._filelist.most = self._most


def _open_zip(path: Path) -> _Zip:
    try:
        return _Zip(path, MOST_LISTED)
    except UnreadableError as why:
        raise ValueError(f"{path} cannot be read. {why}") from None
    except _BROKEN:
        raise ValueError(
            f"{path} is neither a folder nor a zip that can be read. If it should be a zip, fetch"
            " it again: it may have been cut short."
        ) from None


def _open_nested(data: bytes) -> _Zip:
    try:
        return _Zip(io.BytesIO(data), MOST_ENTRIES)
    except _BROKEN:
        raise UnreadableError(
            f"The zip cannot be read; it is damaged or cut short. {HAND_IN}"
        ) from None


def _in_zip(archive: zipfile.ZipFile, most: int = MOST_ENTRIES) -> Iterator["_Found | Problem"]:
    """The regular files of a zip; entries with hostile or ambiguous names are problems."""
    counts: dict[str, int] = {}
    entries: list[zipfile.ZipInfo | Problem] = [*archive.infolist()]
    for entry in archive.infolist():
        counts[_same(entry)] = counts.get(_same(entry), 0) + 1
    if len(entries) > most:
        entries = list(_fair_entries(archive.infolist(), most))
    for each in entries:
        yield from [each] if isinstance(each, Problem) else _in_entry(archive, each, counts)


def _in_entry(
    archive: zipfile.ZipFile, entry: zipfile.ZipInfo, counts: Mapping[str, int]
) -> Iterator["_Found | Problem"]:
    """The thing that an entry of a zip is; nothing for a folder."""
    place = shown(entry.orig_filename)
    why = _wrong_with(entry) or (
        counts[_same(entry)] > 1
        and "Two entries of the zip have this name, or one that some systems take for it."
        " Give each its own name."
    )
    if why:
        yield Problem(place, why)
    elif not entry.is_dir():
        modified = "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}".format(*entry.date_time)
        read = partial(_read_entry, archive, entry)
        yield _Found(place, modified, read, offset=entry.header_offset, size=entry.file_size)


def _fair_entries(
    entries: Iterable[zipfile.ZipInfo], most: int
) -> Iterator[zipfile.ZipInfo | Problem]:
    """At most so many entries of a zip, and problems for the folders that are cut short."""
    holds: dict[_Parts, list[tuple[str, zipfile.ZipInfo | None]]] = defaultdict(list)
    folders: set[_Parts] = {()}
    for entry in entries:
        parts = tuple(entry.orig_filename.removesuffix("/").split("/", DEEPEST))
        for depth in range(1, len(parts)):
            if parts[:depth] not in folders:
                folders.add(parts[:depth])
                holds[parts[: depth - 1]].append((parts[depth - 1], None))
        if not entry.is_dir():
            holds[parts[:-1]].append((parts[-1], entry))
    tree = _Tree(lambda parts, most: holds[parts][:most], lambda _, entry: entry is None)
    for thing in tree.fairly((), most):
        if isinstance(thing, Problem):
            yield thing
        elif thing[1] is not None:
            yield thing[1]


def _same(entry: zipfile.ZipInfo) -> str:
    """A key that is equal for names that some file system takes for the same."""
    composed = unicodedata.normalize("NFC", entry.orig_filename)
    return unicodedata.normalize("NFC", composed.casefold())


def _wrong_with(entry: zipfile.ZipInfo) -> str | None:
    name = entry.orig_filename
    parts = name.removesuffix("/").split("/")
    if (
        any(c in name for c in "\0\\:")
        or any(part in ("", ".", "..") for part in parts)
        or len(name) > LONGEST_NAME
    ):
        return (
            "The entry's name is not a plain one inside the zip. Rename the file, and pack it"
            " again."
        )
    kind = stat.S_IFMT(entry.external_attr >> 16)
    if kind not in (0, stat.S_IFREG, stat.S_IFDIR):
        return f"The entry is a link or no ordinary file. {HAND_IN}"
    return None


def _read_entry(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    """The bytes of an entry, counted as they come: the zip's own number is not believed."""
    if entry.flag_bits & 0x1:
        raise UnreadableError("The entry is locked with a password. Pack it again without one.")
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise UnreadableError(
            "The entry is packed in a way that is not read here. Make an ordinary zip."
        )
    if entry.file_size > MOST_BYTES:
        raise too_large(entry.orig_filename)
    try:
        with archive.open(entry) as opened:
            data = opened.read(MOST_BYTES + 1)
    except _BROKEN:
        raise UnreadableError("The entry cannot be unpacked; the zip is damaged.") from None
    if len(data) != entry.file_size:
        raise UnreadableError("The entry is not as long as the zip says; the zip is damaged.")
    return data


def _read_nested(outer: Callable[[], bytes], offset: int) -> bytes:
    """Read again, from a zip inside, the entry that begins at `offset`."""
    with _open_nested(outer()) as archive:
        for entry in archive.infolist():
            if entry.header_offset == offset:
                return _read_entry(archive, entry)
    raise UnreadableError(
        "The file was changed while it was being marked. Give the same command again."
    )
