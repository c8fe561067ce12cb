"""What strangers handed in, read as data: nothing here is run, unpacked to disk, or believed about
itself.

A class comes as a folder or a zip, nested as learning platforms export them. `collect` finds the
notebooks and the rig files in it and says what is wrong with all else; `read_notebook` takes the
code cells out of a notebook. What stands in a rig file is read in the jail alone. A bad file spoils
itself only.

Bounds: a file has at most 10 MiB, a notebook half a million parts of any kind, 2,000 cells and 1
MiB of code. A class has at most 20 files and folders for each learner and never fewer than 2,000;
that leaves room for a few files, a few folders and a zip of each one's own, and keeps a heap of a
million names from filling the memory. A zip inside is one learner's: it has at most 2,000 entries,
100 notebooks and rig files and 50 MiB unpacked.
"""

import ast
import hashlib
import io
import json
import os
import re
import stat
import struct
import unicodedata
import warnings
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from itertools import islice
from pathlib import Path, PurePosixPath
from typing import Any, NoReturn

MOST_BYTES = 10 * 2**20
MOST_CELLS = 2_000
MOST_CODE = 2**20
MOST_PARTS = 500_000  # brackets and colons: what makes reading a small file long
MOST_ENTRIES = 2_000
ENTRIES_EACH = 20
MOST_NESTED = 100  # files in a zip inside
NESTED_BYTES = 50 * 2**20
DEEPEST = 20  # folders in folders
LONGEST_NAME = 500
LONGEST_CLAIM = 200
LONGEST_OPENING = 2**16  # characters of a cell that is searched for `open_homework(…)`
RIGS, MOST_NAMED = (".glb", ".gltf"), 100

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
_NO_NOTEBOOK = "The file is not a notebook"
_GIVE = "Give the folder or the zip that holds the submissions."
_HAND_IN = "Hand in the exercise itself, the file whose name ends in .ipynb."
_INSTEAD = {
    ".py": f"The file is a Python script, not a notebook. {_HAND_IN}",
    ".bin": "The file holds what another should hold in itself. Export the rig as one file, .glb.",
    ".zip": "The file is a zip inside a zip inside the submissions. Pack the notebook once only.",
    **dict.fromkeys(
        (".rar", ".7z", ".tar", ".gz", ".tgz", ".xz", ".bz2"),
        f"The file is packed in a way that is not read here. {_HAND_IN} A zip will do too.",
    ),
    **dict.fromkeys(
        (".html", ".htm", ".pdf"), f"The file is a print of a page, which cannot be run. {_HAND_IN}"
    ),
    **dict.fromkeys(
        (".doc", ".docx", ".odt", ".rtf", ".txt", ".md"),
        f"The file is a written text, not a notebook. {_HAND_IN}",
    ),
}


class Unreadable(Exception):
    """A file that cannot be read as what it should be; the text is a sentence that says why, and
    what would do."""


@dataclass(frozen=True)
class File:
    """A notebook or a rig file of the submissions.

    Attributes
    ----------
    place : str
        Where it is inside, with forward slashes; a zip inside is a step of it. For people:
        characters that cannot be shown are replaced.
    digest : str
        The SHA-256 of its bytes.
    modified : str
        When it was last changed, ISO: UTC in a folder, as the zip says in a zip.
    lesson : str or None
        The lesson that a notebook's code opens, two digits.
    names : Mapping of str to str
        The rig files that a notebook's code names: see `Notebook`.
    claimed : str or None
        The learner's name that is typed in a notebook; no proof of who it is.
    data : bytes
        Read anew each time, so that a class takes no memory. Raises `Unreadable` when it has
        changed since.
    """

    place: str
    digest: str
    modified: str
    lesson: str | None
    read: Callable[[], bytes] = field(repr=False, compare=False)
    names: Mapping[str, str] = field(default_factory=dict, compare=False)
    claimed: str | None = field(default=None, compare=False)

    @property
    def is_rig(self) -> bool:
        """Whether it is a rig file, by its name."""
        return is_rig(self.place)

    @property
    def data(self) -> bytes:
        data = self.read()
        if _digest(data) != self.digest:
            raise Unreadable(
                "The file was changed while it was being marked. Give the same command again."
            )
        return data


@dataclass(frozen=True)
class Problem:
    """Something in the submissions that cannot be marked: its place, and a sentence on why and what
    would do."""

    place: str
    why: str


@dataclass(frozen=True)
class Collected:
    """What is in the submissions: notebooks and rig files, problems, and how many hidden files were
    passed over."""

    files: tuple[File, ...]
    problems: tuple[Problem, ...]
    ignored: int = 0


@dataclass(frozen=True)
class Notebook:
    """What marking takes from a notebook.

    Attributes
    ----------
    cells : tuple of str
        The source of each code cell, in order.
    lesson : str or None
        Two digits, where the code opens one by a literal.
    claimed : str or None
        The name typed in `open_homework(…, student=…)`; no proof of who it is.
    names : Mapping of str to str
        The file that the code gives to a name, `my_rig = "…"` or `check(my_rig="…")`, where it ends
        as rig files do: without its folders.
    """

    cells: tuple[str, ...]
    lesson: str | None
    claimed: str | None
    names: Mapping[str, str]


NOTHING = Notebook((), None, None, {})  # of who handed in no notebook

# --- a class
# -------------------------------------------------------------------------------------------------------


def collect(path: str | os.PathLike[str], learners: int = 1_000) -> Collected:
    """Find the notebooks and the rig files in a folder or a zip of submissions.

    Parameters
    ----------
    path : path-like
    learners : int
        How many the class has, where that is known; bounds how much is looked at.

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
        box.take(_in_folder(path.resolve(), most))
    elif kind == stat.S_IFREG:
        box.take(_in_zip(_open_zip(path, most)))
    else:
        raise ValueError(f"{path} is neither a folder nor a zip. {_GIVE}")
    return Collected(
        tuple(sorted(box.files, key=lambda file: file.place)),
        tuple(sorted(box.problems, key=lambda problem: problem.place)),
        box.ignored,
    )


@dataclass(frozen=True)
class _Found:
    """A regular file that was come upon; `again` reads it later, when a zip inside is closed.

    `offset` is where a zip's entry begins.
    """

    place: str
    modified: str
    read: Callable[[], bytes]
    again: Callable[[], bytes] | None = None
    offset: int = 0


@dataclass
class _Box:
    """What was found so far, and the room left for reading."""

    room: int
    nested: bool = False
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
                except Unreadable as why:
                    self.problems.append(Problem(thing.place, str(why)))

    def _take(self, thing: "_Found") -> None:
        suffix = PurePosixPath(thing.place).suffix.casefold()
        if suffix == ".zip" and not self.nested:
            self._take_nested(thing)
        elif suffix == ".ipynb" or suffix in RIGS:
            if self.nested and len(self.files) >= MOST_NESTED:
                raise Unreadable(
                    f"The zip holds more than {MOST_NESTED} notebooks and rig files. Hand in the"
                    " exercise only."
                )
            data = self._spend(thing.read())
            told = NOTHING if suffix in RIGS else _told(data)
            self.files.append(
                File(
                    thing.place,
                    _digest(data),
                    thing.modified,
                    told.lesson,
                    thing.again or thing.read,
                    told.names,
                    told.claimed,
                )
            )
        else:
            raise Unreadable(_INSTEAD.get(suffix, f"{_NO_NOTEBOOK}. {_HAND_IN}"))

    def _take_nested(self, thing: "_Found") -> None:
        data = self._spend(thing.read())
        inner = _Box(min(self.room, NESTED_BYTES), nested=True)
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
        self.room -= min(self.room, NESTED_BYTES) - inner.room
        self.files += inner.files
        self.problems += inner.problems[
            :MOST_NESTED
        ]  # no more is worth reading of one learner's zip
        self.ignored += inner.ignored

    def _spend(self, data: bytes) -> bytes:
        if len(data) > self.room:
            raise Unreadable(
                "The files here are larger, all together, than a class's work can be. Leave out"
                " what is not homework."
            )
        self.room -= len(data)
        return data


def _is_hidden(place: str) -> bool:
    return any(part.startswith(".") or part.casefold() in _HIDDEN for part in place.split("/"))


def is_rig(place: str) -> bool:
    """Whether a file of this name is a rig file."""
    return place.casefold().endswith(RIGS)


def _told(data: bytes) -> Notebook:
    """What a notebook says of itself; nothing of what is none."""
    try:
        return replace(read_notebook(data), cells=())  # a class's code is not kept in memory
    except Unreadable:
        return NOTHING


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def shown(text: str, most: int = LONGEST_NAME) -> str:
    """A name as people can be shown it: every space is plain, and what cannot be seen or turns text
    is replaced."""
    return "".join(
        character
        if character.isprintable()
        else " "
        if unicodedata.category(character) == "Zs"
        else "\N{REPLACEMENT CHARACTER}"
        for character in text[:most]
    )


# --- a folder
# ------------------------------------------------------------------------------------------------------


def _in_folder(root: Path, most: int) -> Iterator["_Found | Problem"]:
    """Everything below `root`, shallow files first; links are not followed."""
    level: list[tuple[str, ...]] = [()]
    left = most
    while level:
        below: list[tuple[str, ...]] = []
        for parts in level:
            try:
                entries = _listed(root, parts, left)
            except OSError as error:
                yield Problem(_place(parts), f"The folder cannot be read ({error.strerror}).")
                continue
            for name, status in entries[:left]:
                yield from _at(root, (*parts, name), status, below)
            left -= len(entries)
            if left < 0:
                yield Problem(
                    _place(parts),
                    f"Here are more files than a class hands in ({most:,} in all); what comes "
                    "after is not read. Leave out what is not homework, or give the roster.",
                )
                return
        level = below


def _listed(root: Path, parts: tuple[str, ...], left: int) -> list[tuple[str, os.stat_result]]:
    """(name, status) of what is in a folder, in order of name, at most one more than are `left`;
    links as links."""
    folder = _open(root, parts, os.O_DIRECTORY)
    try:
        with os.scandir(folder) as entries:
            return sorted(
                (
                    (entry.name, entry.stat(follow_symlinks=False))
                    for entry in islice(entries, left + 1)
                ),
                key=lambda entry: entry[0],
            )
    finally:
        os.close(folder)


def _at(
    root: Path, parts: tuple[str, ...], status: os.stat_result, below: list[tuple[str, ...]]
) -> Iterator["_Found | Problem"]:
    """What one name in a folder is; a folder goes to `below`."""
    place = _place(parts)
    if _is_hidden(place):
        yield _Found(place, "", bytes)  # counted, never read
    elif stat.S_ISREG(status.st_mode):
        yield _Found(place, _iso(status.st_mtime), partial(_read_in_folder, root, parts))
    elif not stat.S_ISDIR(status.st_mode):
        what = (
            "a link, which is not followed" if stat.S_ISLNK(status.st_mode) else "no ordinary file"
        )
        yield Problem(place, f"Here is {what}. {_HAND_IN}")
    elif len(parts) > DEEPEST:
        yield Problem(
            place, f"The folders go deeper than {DEEPEST}; what is further down is not read."
        )
    else:
        below.append(parts)


def _read_in_folder(root: Path, parts: tuple[str, ...]) -> bytes:
    try:
        file = _open(root, parts, os.O_NONBLOCK)  # a pipe in its place must not block
        try:
            status = os.fstat(file)
            if not stat.S_ISREG(status.st_mode):
                raise Unreadable(f"Here is no ordinary file. {_HAND_IN}")
            if status.st_size > MOST_BYTES:
                raise _too_large(parts[-1])
            with open(file, "rb", closefd=False) as opened:
                data = opened.read(MOST_BYTES + 1)
        finally:
            os.close(file)
    except OSError as error:
        raise Unreadable(f"The file cannot be read ({error.strerror}).") from None
    if len(data) > MOST_BYTES:
        raise _too_large(parts[-1])
    return data


def _open(root: Path, parts: tuple[str, ...], flags: int) -> int:
    """Open what is below `root`, step by step, each relative to the one before; no step may be a
    link."""
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


def _too_large(name: str = "") -> Unreadable:
    smaller = "Export fewer vertices" if is_rig(name) else "Clear the outputs of all cells, save"
    return Unreadable(
        f"The file is larger than {MOST_BYTES // 2**20} MiB. {smaller}, and hand it in again."
    )


# --- a zip
# ---------------------------------------------------------------------------------------------------------


class _Entries(list):
    """A list that refuses to grow beyond `most`."""

    most = MOST_ENTRIES

    def append(self, entry: zipfile.ZipInfo) -> None:
        if len(self) >= self.most:
            raise Unreadable(
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


def _open_zip(path: Path, most: int) -> _Zip:
    try:
        return _Zip(path, most)
    except Unreadable as why:
        raise ValueError(
            f"{path} cannot be read. {why} Or give the roster: a larger class may have more."
        ) from None
    except _BROKEN:
        raise ValueError(
            f"{path} is neither a folder nor a zip that can be read. If it should be a zip, fetch"
            " it again: it may have been cut short."
        ) from None


def _open_nested(data: bytes) -> _Zip:
    try:
        return _Zip(io.BytesIO(data), MOST_ENTRIES)
    except _BROKEN:
        raise Unreadable(
            f"The zip cannot be read; it is damaged or cut short. {_HAND_IN}"
        ) from None


def _in_zip(archive: zipfile.ZipFile) -> Iterator["_Found | Problem"]:
    """Every regular file of a zip; entries whose names mean mischief, or leave open which is meant,
    are problems."""
    counts: dict[str, int] = {}
    for entry in archive.infolist():
        counts[_same(entry)] = counts.get(_same(entry), 0) + 1
    for entry in archive.infolist():
        place = shown(entry.orig_filename)
        why = _wrong_with(entry) or (
            counts[_same(entry)] > 1
            and "Two entries of the zip have this name, or one that some systems take for it. Give each its own name."
        )
        if why:
            yield Problem(place, why)
        elif not entry.is_dir():
            modified = "{:04}-{:02}-{:02}T{:02}:{:02}:{:02}".format(*entry.date_time)
            yield _Found(
                place, modified, partial(_read_entry, archive, entry), offset=entry.header_offset
            )


def _same(entry: zipfile.ZipInfo) -> str:
    """What is equal for names that some file system takes for the same."""
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
        return f"The entry is a link or no ordinary file. {_HAND_IN}"
    return None


def _read_entry(archive: zipfile.ZipFile, entry: zipfile.ZipInfo) -> bytes:
    """The bytes of an entry, counted as they come: what the zip says of their number is not
    believed."""
    if entry.flag_bits & 0x1:
        raise Unreadable("The entry is locked with a password. Pack it again without one.")
    if entry.compress_type not in (zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED):
        raise Unreadable(
            "The entry is packed in a way that is not read here. Make an ordinary zip."
        )
    if entry.file_size > MOST_BYTES:
        raise _too_large(entry.orig_filename)
    try:
        with archive.open(entry) as opened:
            data = opened.read(MOST_BYTES + 1)
    except _BROKEN:
        raise Unreadable("The entry cannot be unpacked; the zip is damaged.") from None
    if len(data) != entry.file_size:
        raise Unreadable("The entry is not as long as the zip says; the zip is damaged.")
    return data


def _read_nested(outer: Callable[[], bytes], offset: int) -> bytes:
    """Read again, from a zip inside, the entry that begins at `offset`."""
    with _open_nested(outer()) as archive:
        for entry in archive.infolist():
            if entry.header_offset == offset:
                return _read_entry(archive, entry)
    raise Unreadable("The file was changed while it was being marked. Give the same command again.")


# --- a notebook
# ----------------------------------------------------------------------------------------------------


def read_notebook(data: bytes) -> Notebook:
    """Take the code cells out of a notebook's bytes; stored outputs, metadata and kernels are
    ignored.

    Returns
    -------
    Notebook

    Raises
    ------
    Unreadable
        Not a notebook of form 4, or beyond the bounds.
    """
    if len(data) > MOST_BYTES:
        raise _too_large()
    if sum(map(data.count, (b"[", b"{", b":"))) > MOST_PARTS:
        raise Unreadable(
            "The notebook holds more than can be read. Clear the outputs of all cells, save, and "
            "hand it in again."
        )
    cells = tuple(_code(_cells(_parse(data))))
    if sum(len(cell.encode()) for cell in cells) > MOST_CODE:
        raise Unreadable(
            f"The notebook holds more than {MOST_CODE // 2**20} MiB of code. Keep data out of its"
            " cells."
        )
    lesson, claimed = opened(cells)
    return Notebook(cells, lesson, claimed, _rigs_named(cells))


def _parse(data: bytes) -> Any:
    try:
        return json.loads(
            data.decode("utf-8-sig"), object_pairs_hook=_unique, parse_constant=_refuse_constant
        )
    except UnicodeDecodeError:
        raise Unreadable(f"{_NO_NOTEBOOK}: it is not text in UTF-8. {_HAND_IN}") from None
    except (ValueError, RecursionError):
        raise Unreadable(
            f"{_NO_NOTEBOOK}, or it was cut short or edited as text. Open it in JupyterLab to see;"
            " save, and hand it in again."
        ) from None


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    found = dict(pairs)
    if len(found) != len(pairs):  # readers differ on which of them counts
        raise ValueError("a key twice")
    return found


def _refuse_constant(name: str) -> NoReturn:
    raise ValueError(name)


def _cells(book: Any) -> list[dict[str, Any]]:
    if not isinstance(book, dict) or type(book.get("nbformat")) is not int:
        raise Unreadable(f"{_NO_NOTEBOOK}. {_HAND_IN}")
    if book["nbformat"] < 4:
        raise Unreadable(
            "The notebook has an old form. Open it in JupyterLab, save it, and hand it in again."
        )
    if book["nbformat"] > 4:
        raise Unreadable(
            "The notebook has a later form than is known here. Save it with the course's"
            " JupyterLab."
        )
    cells = book.get("cells")
    if not isinstance(cells, list) or not all(isinstance(cell, dict) for cell in cells):
        raise Unreadable(
            "The notebook has no list of cells. Open it in JupyterLab, save it, and hand it in"
            " again."
        )
    if len(cells) > MOST_CELLS:
        raise Unreadable(
            f"The notebook has more than {MOST_CELLS:,} cells. Hand in the exercise only."
        )
    return cells


def _code(cells: list[dict[str, Any]]) -> Iterator[str]:
    for number, cell in enumerate(cells, 1):
        if cell.get("cell_type") == "code":
            source = cell.get("source")
            lines = [source] if isinstance(source, str) else source
            if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
                raise Unreadable(
                    f"Cell {number} of the notebook holds no text. Open it in JupyterLab, save it,"
                    " and hand it in again."
                )
            yield (
                "".join(lines).encode("utf-16", "surrogatepass").decode("utf-16", "replace")
            )  # no half characters


def opened(cells: Iterable[str]) -> tuple[str | None, str | None]:
    """The lesson and the name in the last `open_homework(…)` of the code that gives its lesson as a
    literal.

    Returns
    -------
    lesson : str or None
        Two digits.
    claimed : str or None
    """
    found: tuple[str | None, str | None] = None, None
    for cell in cells:
        if "open_homework" in cell and len(cell) <= LONGEST_OPENING:
            for node in ast.walk(syntax(cell)):
                if isinstance(node, ast.Call) and _called(node.func) == "open_homework":
                    lesson, claimed = _opens(node)
                    found = (lesson, claimed) if lesson else found
    return found


def _rigs_named(cells: Iterable[str]) -> dict[str, str]:
    """The base name of the rig file that the code last gives to each name, by literals only."""
    found: dict[str, str] = {}
    for cell in cells:
        if any(ending in cell.casefold() for ending in RIGS):
            for node in ast.walk(syntax(cell)):
                if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
                    _name_rig(found, node.targets[0].id, node.value)
                elif isinstance(node, ast.Call) and _called(node.func) == "check":
                    for keyword in node.keywords:
                        _name_rig(found, keyword.arg, keyword.value)
    return found


def _name_rig(found: dict[str, str], name: str | None, value: ast.expr) -> None:
    """Put the text within a value that ends as rig files do, such as in `Path("out") /
    "walker.glb"`, under a name."""
    texts = [
        node.value
        for node in ast.walk(value)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    rigs = [text for text in texts if is_rig(text)]
    if name and rigs and len(found) < MOST_NAMED:
        found[name] = shown(re.split(r"[/\\]", rigs[-1])[-1])


def syntax(cell: str) -> ast.Module:
    """The syntax tree of a cell, its lines for the notebook itself (% and !) left out; an empty one
    if none.

    Cells longer than `LONGEST_OPENING` give an empty one: within it, nesting cannot exhaust
    Python's own parser.
    """
    lines = ("" if line.lstrip().startswith(("%", "!")) else line for line in cell.split("\n"))
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return ast.parse("\n".join(lines) if len(cell) <= LONGEST_OPENING else "")
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        return ast.Module([], [])


def _called(function: ast.expr) -> str | None:
    return getattr(function, "id", getattr(function, "attr", None))


def _opens(call: ast.Call) -> tuple[str | None, str | None]:
    given = dict(zip(("lesson", "student"), call.args, strict=False))
    given |= {keyword.arg: keyword.value for keyword in call.keywords if keyword.arg}
    lesson, claimed = (getattr(given.get(name), "value", None) for name in ("lesson", "student"))
    number = (
        f"{lesson:02d}"
        if type(lesson) is int
        else lesson.strip().zfill(2)
        if isinstance(lesson, str)
        else ""
    )
    name = claimed.strip() if isinstance(claimed, str) else ""
    fits = 0 < len(name) <= LONGEST_CLAIM and not any(
        "\ud800" <= c <= "\udfff" for c in name
    )  # no half characters
    return number if re.fullmatch("[0-9]{2}", number) else None, name if fits else None
