"""The hand-out: a zip of exercises for learners, with nothing in it that helps to answer them."""

import io
import json
import os
import posixpath
import re
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from itertools import chain
from pathlib import Path
from typing import Any

from rigkit import course
from rigkit.marking.assign import asking

TEXTS = Path(__file__).parents[1] / "data" / "handout"
_PICTURE = re.compile(r"!\[[^\]]*\]\(\s*([^)\s]+)|<img[^>]*\ssrc=[\"']([^\"']+)")


def pack(lessons: Iterable[str | int], out: str | os.PathLike[str]) -> tuple[str, ...]:
    """Write the exercises of some lessons, with their pictures and instructions, as one zip.

    The same lessons give the same bytes, wherever and whenever they are packed.

    Parameters
    ----------
    lessons : iterable of str or int
    out : path-like

    Returns
    -------
    tuple of str
        The files in it, as paths with forward slashes.

    Raises
    ------
    ValueError
        No such lesson, one without an exercise, or another file is at `out`.
    OSError
        `out` cannot be written.
    """
    chosen = {lesson.number: lesson for lesson in map(course.lesson, lessons)}
    files = _files([chosen[number] for number in sorted(chosen)])
    data, out = _zip(files), Path(out)
    if not out.exists():
        course.write_whole(out, data)
    elif not out.is_file() or out.read_bytes() != data:
        raise ValueError(
            f"{out} is there already and holds something else. Move it away, or give another name."
        )
    return tuple(sorted(files))


def _files(lessons: Iterable[course.Lesson]) -> dict[str, bytes]:
    """Each file's bytes by its path inside the zip."""
    files = {}
    for lesson in lessons:
        exercise = _exercise(lesson)
        data = exercise.read_bytes()
        files[f"exercises/{exercise.name}"] = data
        for picture in _pictures(json.loads(data)):
            if not (course.source() / picture).is_file():
                raise ValueError(f"{exercise.name} shows a picture that is not there: {picture}.")
            files[picture] = (course.source() / picture).read_bytes()
    exercises = [f"   {name}" for name in files if name.endswith(".ipynb")]
    how_to = _text("how-to.txt").format(
        titles="; ".join(f"{lesson.number} {lesson.title}" for lesson in lessons),
        files="\n".join(exercises),
    )
    rigs = [
        f"   {question}.glb, for lesson {number}"
        for number, question in asking(lesson.number for lesson in lessons)
    ]
    how_to += _text("rig-files.txt").format(files="\n".join(rigs)) if rigs else ""
    return files | {
        "HOW-TO.txt": how_to.replace("\n", "\r\n").encode()
    }  # for every system's own text editor


def _text(name: str) -> str:
    return (TEXTS / name).read_text("utf-8")


def _exercise(lesson: course.Lesson) -> Path:
    if lesson.exercise is None:
        raise ValueError(f"Lesson {lesson.number} has no exercise to hand out. Leave it out.")
    return lesson.exercise


def _pictures(book: Mapping[str, Any]) -> Iterator[str]:
    """The paths of the pictures that an exercise's text shows from files."""
    texts = ("".join(c["source"]) for c in book["cells"] if c["cell_type"] == "markdown")
    for in_text, in_tag in chain.from_iterable(map(_PICTURE.findall, texts)):
        link = in_text or in_tag
        if not re.match(r"[a-z]+:|/", link):  # on the web, inside the notebook itself
            yield posixpath.normpath(posixpath.join("exercises", link))


def _zip(files: Mapping[str, bytes]) -> bytes:
    """The zip's bytes: dates, order and rights are fixed; not compressed, as compressors differ."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", zipfile.ZIP_STORED) as archive:
        for name in sorted(files):
            entry = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
            entry.create_system, entry.external_attr = 3, 0o100644 << 16  # the same on every system
            archive.writestr(entry, files[name])
    return whole.getvalue()
