"""The course: finds lessons and exercises, gives a learner their own copies, keeps their progress.

A learner's folder holds `lessons/`, `exercises/` and a hidden `.rigkit/` with what was handed out
and what was scored. Nothing a learner made is ever lost: a file they changed is left alone, and old
progress is put aside, not deleted.
"""

import errno
import hashlib
import json
import os
import platform
import re
import secrets
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from importlib import metadata
from pathlib import Path
from typing import Any

from rigkit import _files

__all__ = [
    "Copies",
    "Lesson",
    "answered",
    "attempts",
    "describe_os_error",
    "hand_out",
    "keep_answer",
    "lesson",
    "lessons",
    "progress",
    "record",
    "reset_progress",
    "said",
    "shipped",
    "source",
    "students",
    "versions",
    "write_whole",
]

PARTS = ("lessons", "exercises")
MARKER = ".rigkit"
LEG_FILES = "my-leg*"  # a learner's own leg, beside the lessons: never a file of the course
_memory: list[dict[str, Any]] = []  # what could not be written to a learner's folder
_WHAT_WOULD_DO = {
    errno.ENOENT: "Check the name, and the folder you are in.",
    errno.EACCES: "Choose a place that is yours to read and write.",
    errno.EPERM: "Choose a place that is yours to read and write.",
    errno.EROFS: "Choose a place that can be written to.",
    errno.ENOSPC: "Make room, then try again.",
    errno.EISDIR: "Name a file in it.",
    errno.EEXIST: "Where a folder should be is a file. Choose another place.",
    errno.ENOTDIR: "Where a folder should be is a file. Choose another place.",
}


def __dir__() -> list[str]:
    return sorted(__all__)


# --- versions ----


def versions() -> str:
    """Return the versions of what the course runs on.

    Returns
    -------
    str
        A line each: the kit, Python and where it is, JupyterLab, the sliders' two halves.
    """
    lines = [
        _version("rigkit", "the kit"),
        f"Python {platform.python_version()}: {sys.executable}",
        _version("jupyterlab", "the page you read this in"),
        _version("ipywidgets", "sliders, in Python"),
        _version("jupyterlab_widgets", "sliders, in the page"),
    ]
    return "\n".join(lines)


def _version(package: str, what: str) -> str:
    try:
        return f"{package} {metadata.version(package)}: {what}"
    except metadata.PackageNotFoundError:
        return f"{package} not found: {what}. Install the kit again, all of it in one environment."


# --- lessons ----


@dataclass(frozen=True)
class Lesson:
    """One lesson as it is shipped.

    Attributes
    ----------
    number : str
        Two digits.
    title : str
    minutes : int or None
    aims : tuple of str
    path, exercise : pathlib.Path
        Its notebooks; `exercise` is None where a lesson has none.
    moments : tuple of str
        Those of its panels worth showing to a class.
    notes : mapping of str to list of str
        For the teacher: sentences under "ask", "expect" and "stop".
    checks : int
        How many quick checks it has.
    leg : str
        For the teacher: of the step on the learner's own leg.
    """

    number: str
    title: str
    minutes: int | None
    aims: tuple[str, ...]
    path: Path
    exercise: Path | None
    moments: tuple[str, ...] = ()
    notes: Mapping[str, list[str]] = field(default_factory=dict)
    checks: int = 0
    leg: str = ""


def source() -> Path:
    """Return the folder of the shipped course.

    Returns
    -------
    pathlib.Path
        Inside the installed package, or the checkout around it.
    """
    inside = Path(__file__).parent / "_course"
    return inside if inside.is_dir() else Path(__file__).parents[1]


def lessons() -> tuple[Lesson, ...]:
    """Return all lessons, from their notebooks' metadata.

    Returns
    -------
    tuple of Lesson
        In order of number.
    """
    return tuple(
        _read_lesson(path) for path in sorted((source() / "lessons").glob("[0-9][0-9]-*.ipynb"))
    )


def lesson(number: str | int) -> Lesson:
    """Return one lesson.

    Parameters
    ----------
    number : str or int
        As "06", "6" or 6.

    Returns
    -------
    Lesson

    Raises
    ------
    ValueError
        If there is none; the message lists those there are.
    """
    wanted = _two_digits(number)
    for each in lessons():
        if each.number == wanted:
            return each
    there = ", ".join(each.number for each in lessons()) or "none yet"
    raise ValueError(f"There is no lesson {wanted}. Lessons: {there}.")


def _read_lesson(path: Path) -> Lesson:
    notebook = json.loads(path.read_text(encoding="utf-8"))
    about = notebook["metadata"].get("rigkit", {})
    code = ["".join(each["source"]) for each in notebook["cells"] if each["cell_type"] == "code"]
    number, _, name = path.stem.partition("-")
    exercise = next((source() / "exercises").glob(f"{number}-*.ipynb"), None)
    return Lesson(
        number,
        about.get("title", name.replace("-", " ").capitalize()),
        about.get("minutes"),
        tuple(about.get("aims", ())),
        path,
        exercise,
        tuple(about.get("moments", ())),
        about.get("notes", {}),
        sum(len(re.findall(r"\w_check\(", source)) for source in code),
        about.get("leg", ""),
    )


def _two_digits(number: str | int) -> str:
    return str(number).strip().zfill(2)


# --- a learner's own copies ----


@dataclass(frozen=True)
class Copies:
    """The outcome of `hand_out`.

    Attributes
    ----------
    folder : pathlib.Path
    copied, updated, same : tuple of str
        Paths, seen from `folder`, that were not there; that were an older copy, untouched; that
        were up to date.
    kept, newer, links : tuple of str
        Paths left alone: changed by the learner; likewise, and the course has a newer copy; behind
        a link.
    """

    folder: Path
    copied: tuple[str, ...]
    updated: tuple[str, ...]
    same: tuple[str, ...]
    kept: tuple[str, ...]
    newer: tuple[str, ...]
    links: tuple[str, ...]


def hand_out(
    folder: str | os.PathLike[str], files: Iterable[tuple[str, bytes]] | None = None
) -> Copies:
    """Copy lessons and exercises into `folder`; a file that the learner changed is left alone.

    A file counts as untouched while its bytes are those that were handed out. An untouched older
    copy is brought up to date. Links are never followed.

    Parameters
    ----------
    folder : str or path
        Made if it is not there.
    files : iterable of (str, bytes), optional
        What to hand out, each under its path with forward slashes; by default all that `shipped()`
        gives.

    Returns
    -------
    Copies

    Raises
    ------
    OSError
        If `folder` is a file or cannot be written to.
    """
    folder = Path(folder).resolve()
    marker = folder / MARKER
    marker.mkdir(parents=True, exist_ok=True)
    if marker.is_symlink():
        raise OSError(f"{marker} is a link. Move it away, or choose another folder.")
    ledger = _read_ledger(marker)
    states = ("copied", "updated", "same", "kept", "newer", "links")
    done: dict[str, list[str]] = {state: [] for state in states}
    for name, data in shipped() if files is None else files:
        state = _state(folder, name, _digest(data), ledger.get(name))
        done[state].append(name)
        if state in ("copied", "updated"):
            write_whole(folder / name, data)
        if state in ("copied", "updated", "same"):
            ledger[name] = _digest(data)
    write_whole(marker / "handed-out.json", json.dumps(ledger, indent=1, sort_keys=True).encode())
    return Copies(folder, **{state: tuple(names) for state, names in done.items()})


def _state(folder: Path, name: str, ours: str, handed_out: str | None) -> str:
    """Return the field of `Copies` that one file belongs to."""
    target = folder / name
    if any(step.is_symlink() for step in (target, *target.parents[: len(Path(name).parts) - 1])):
        return "links"
    if not target.exists():
        return "copied"
    theirs = _digest(target.read_bytes()) if target.is_file() else None
    if theirs == ours:
        return "same"
    if theirs is not None and theirs == handed_out:
        return "updated"
    return "kept" if handed_out == ours else "newer"


def shipped() -> Iterator[tuple[str, bytes]]:
    """Yield every file of the course.

    Yields
    ------
    (str, bytes)
        Its path with forward slashes, and what is in it.
    """
    for part in PARTS:
        for path in sorted((source() / part).rglob("*")):
            name = path.relative_to(source())
            hidden = any(p.startswith((".", "__")) for p in name.parts)
            if path.is_file() and not hidden and not path.match(LEG_FILES):
                yield name.as_posix(), path.read_bytes()


def _read_ledger(marker: Path) -> dict[str, str]:
    """Return the digest of each file as handed out; none if unreadable, so that all is kept."""
    try:
        ledger = json.loads((marker / "handed-out.json").read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    return ledger if isinstance(ledger, dict) else {}


def _digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def write_whole(target: Path, data: bytes) -> None:
    """Write a whole file or nothing, so that a crash leaves no half lesson.

    Parameters
    ----------
    target : pathlib.Path
        The folders above it are made.
    data : bytes

    Raises
    ------
    OSError
        It cannot be written; `filename` is the target's.
    """
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        _files.write_whole(target, data)
    except OSError as problem:
        raise OSError(problem.errno, problem.strerror or str(problem), str(target)) from problem


def describe_os_error(problem: OSError) -> str:
    """Describe a file that cannot be used, why, and what would do.

    Parameters
    ----------
    problem : OSError

    Returns
    -------
    str
        Sentences.
    """
    what = "the output" if problem.filename is None else problem.filename
    advice = _WHAT_WOULD_DO.get(problem.errno or 0, "Choose another place.")
    return f"Cannot use {what} ({problem.strerror or problem}). {advice}"


# --- progress ----


def record(
    lesson: str | int, question: str, score: float, student: str = "", **details: Any
) -> Path | None:
    """Add one attempt to the progress kept in the learner's folder.

    The folder is found by walking up from the current one; where there is none, or it cannot be
    written to, it is remembered until Python ends.

    Parameters
    ----------
    lesson : str or int
    question : str
    score : float
        From 0 to 1.
    student : str
        Whose attempt it is: several can share a folder.
    **details
        Whatever else is worth keeping, as JSON can hold it.

    Returns
    -------
    pathlib.Path or None
        Where it was written, None if only remembered.

    Raises
    ------
    ValueError
        If `score` is not a number from 0 to 1, or `question` or `student` is not a name.
    """
    from rigkit import _check  # loads NumPy, which `rigkit --help` need not wait for

    number = _check.numbers("score", score)
    if number.ndim or not 0 <= number <= 1:
        raise ValueError(
            f"`score` must be a number from 0 to 1; got {score!r}. 1 means everything is right."
        )
    if not isinstance(question, str) or not question:
        raise ValueError(f"`question` must be a question's name; got {question!r}.")
    if not isinstance(student, str):
        raise ValueError(f"`student` must be a name; got {student!r}.")
    about = {"lesson": _two_digits(lesson), "question": question, "score": float(number)}
    return _keep({**about, "student": student, **details})


def _keep(entry: dict[str, Any]) -> Path | None:
    """Add an entry to the record, with its time; where it was written, None if only remembered."""
    entry = {"time": datetime.now(UTC).isoformat(timespec="seconds"), **entry}
    path = _progress_path()
    try:
        if path is None:
            raise FileNotFoundError("no learner's folder")
        _append(path, json.dumps(entry).encode())
    except OSError:
        _memory.append(entry)
        return None
    return path


def progress(lesson: str | int | None = None, student: str | None = None) -> dict[str, Any]:
    """Return the best score of each question tried so far.

    Parameters
    ----------
    lesson : str or int, optional
    student : str, optional
        Only this one's attempts.

    Returns
    -------
    dict
        {question: score} of one lesson; without `lesson`, {lesson: {question: score}} of all that
        were tried.
    """
    best: dict[str, dict[str, float]] = {}
    for attempt in _attempts(student):
        of_lesson = best.setdefault(attempt.lesson, {})
        of_lesson[attempt.question] = max(attempt.score, of_lesson.get(attempt.question, 0.0))
    return best if lesson is None else best.get(_two_digits(lesson), {})


def attempts(lesson: str | int, question: str, student: str | None = None) -> int:
    """Count the attempts at a question.

    Parameters
    ----------
    lesson : str or int
    question : str
    student : str, optional
        Only this one's attempts.

    Returns
    -------
    int
    """
    wanted = _two_digits(lesson), question
    return sum((attempt.lesson, attempt.question) == wanted for attempt in _attempts(student))


def students() -> tuple[str, ...]:
    """Return the names of those who tried a question in this folder.

    Returns
    -------
    tuple of str
        In order of their first attempt.
    """
    return tuple(dict.fromkeys(attempt.student for attempt in _attempts()))


def reset_progress() -> Path | None:
    """Begin again from nothing; the old record stays beside the new one under a name with its date.

    Returns
    -------
    pathlib.Path or None
        Where the old record is, None if there was none.
    """
    _memory.clear()
    path = _progress_path()
    if path is None or not path.exists():
        return None
    stamp = datetime.now(UTC).strftime("%Y%m%d-%H%M%S")
    aside = path.with_name(f"progress-until-{stamp}-{secrets.token_hex(2)}.jsonl")
    path.rename(aside)
    return aside


# --- answers in a lesson ----


def keep_answer(kind: str, name: str, said: Any, right: bool) -> Path | None:
    """Keep an answer to a guess or a quick check in the learner's folder; nothing is graded.

    Parameters
    ----------
    kind : {"guess", "check"}
    name : str
        The question's, such as "04/feet".
    said : str, float or list
    right : bool

    Returns
    -------
    pathlib.Path or None
        Where it was written, None if only remembered.
    """
    lesson, _, own = name.partition("/")
    return _keep({"lesson": _two_digits(lesson), kind: own, "said": said, "right": right})


def said(kind: str, name: str) -> Any:
    """Return what was last answered to a guess or a quick check.

    Parameters
    ----------
    kind : {"guess", "check"}
    name : str

    Returns
    -------
    str, float or list, or None if nothing was
    """
    lesson, _, own = name.partition("/")
    return _answers(kind).get((_two_digits(lesson), own), (None, False))[0]


def answered(kind: str, lesson: str | int | None = None) -> tuple[int, int]:
    """Count the guesses or quick checks that were answered, and those that were answered right.

    A check can be tried until it is right.

    Parameters
    ----------
    kind : {"guess", "check"}
    lesson : str or int, optional
        Only this one's.

    Returns
    -------
    tuple of int
    """
    number = None if lesson is None else _two_digits(lesson)
    found = [right for (of, _), (_, right) in _answers(kind).items() if number in (None, of)]
    return len(found), sum(found)


def _answers(kind: str) -> dict[tuple[str, str], tuple[Any, bool]]:
    """By lesson and name, the last answer of a kind, and whether it ever was right."""
    found: dict[tuple[str, str], tuple[Any, bool]] = {}
    for entry in _entries():
        match entry:
            case {"lesson": str(of), "said": said, "right": bool(right)} if kind in entry:
                at = of, str(entry[kind])
                found[at] = said, right or found.get(at, (None, False))[1]
    return found


def _progress_path() -> Path | None:
    try:
        here = Path.cwd()
    except OSError:  # the current folder was deleted
        return None
    marker = next((f / MARKER for f in (here, *here.parents) if (f / MARKER).is_dir()), None)
    return marker and marker / "progress.jsonl"


def _append(path: Path, line: bytes) -> None:
    """Add a line in one write, safe on disk before this returns; links are not followed."""
    flags = os.O_RDWR | os.O_APPEND | os.O_CREAT
    flags |= getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
    with open(os.open(path, flags, 0o644), "r+b", buffering=0) as file:
        size = file.seek(0, os.SEEK_END)
        if size:
            file.seek(size - 1)
            if file.read(1) != b"\n":  # a crash tore the last line; keep the new one apart from it
                line = b"\n" + line
        file.write(line + b"\n")
        os.fsync(file.fileno())


@dataclass(frozen=True)
class _Attempt:
    lesson: str
    question: str
    score: float
    student: str


def _attempts(student: str | None = None) -> Iterator[_Attempt]:
    """Yield every attempt that can be read, by one student if named; pass over torn lines."""
    for entry in _entries():
        match entry:
            case {
                "lesson": str(number),
                "question": str(question),
                "score": int() | float() as score,
            }:
                who = entry.get("student", "")
                if not isinstance(score, bool) and 0 <= score <= 1 and student in (None, who):
                    yield _Attempt(number, question, float(score), str(who))


def _entries() -> Iterator[Any]:
    path = _progress_path()
    try:
        lines = path.read_bytes().splitlines() if path else []
    except OSError:
        lines = []
    yield from map(_parse, lines)
    yield from _memory


def _parse(line: bytes) -> Any:
    try:
        return json.loads(line)
    except (ValueError, RecursionError):
        return None
