"""The hand-out: a zip of exercises for learners, with nothing in it that helps to answer them.

Beside it stands the plan of the homework, for the teacher to change and to mark by.
"""

import io
import json
import os
import posixpath
import re
import zipfile
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import chain
from pathlib import Path
from typing import Any

from rigkit import course
from rigkit.homework import catalogue
from rigkit.homework import own as owns
from rigkit.marking import plan as plans
from rigkit.marking.assign import asking
from rigkit.marking.entry import Terms

TEXTS = Path(__file__).parents[1] / "data" / "handout"
_COUNTED = re.compile(r"\w+ questions, one point each,\s+about \d+ minutes")
_WHERE = re.compile(r"^- .*?\bquestions? (\d+(?:(?:, | and | to )\d+)*).*\n?", re.MULTILINE)
_NO_PLACE = re.compile(r"^.*lesson \d\d .*:\n\n(?!- )", re.MULTILINE)
_OPENING = re.compile(r'open_homework\(("\d\d"), (student="[^"]*")\)')
_CLOSING = ("end", "done")  # ids of the cells that come after all questions
_PICTURE = re.compile(r"!\[[^\]]*\]\(\s*([^)\s]+)|<img[^>]*\ssrc=[\"']([^\"']+)")


@dataclass(frozen=True)
class Packed:
    """The files of a hand-out.

    Attributes
    ----------
    names : tuple of str
        The files in the zip, as paths with forward slashes.
    plan : Path or None
        The plan's file, where one was written.
    """

    names: tuple[str, ...]
    plan: Path | None = None


def pack(
    lessons: Iterable[str | int],
    out: str | os.PathLike[str],
    questions: Iterable[str] = (),
    plan: str | os.PathLike[str] | None = None,
) -> Packed:
    """Write the exercises of some lessons, with their pictures and instructions, as one zip.

    The same lessons and questions give the same bytes, wherever and whenever they are packed. A
    plan is written beside the zip, unless a file of that name is there: it may have been changed.

    Parameters
    ----------
    lessons : iterable of str or int
    out : path-like
    questions : iterable of str
        Only these: see `plan.choose`.
    plan : path-like, optional
        A plan that says the lessons and questions instead. What it says of the leg from the bench
        is left out: its page is in the course.

    Returns
    -------
    Packed

    Raises
    ------
    ValueError
        No such lesson or question, a lesson without an exercise, a plan that is none, or another
        file is at `out`.
    OSError
        `out` cannot be written.
    """
    lessons, questions = list(lessons), list(questions)
    if plan is None and not lessons:
        raise ValueError("LESSON is missing. Give the number of one, such as 06, or a --plan.")
    if plan is not None and (lessons or questions):
        raise ValueError("A plan says which lessons and questions. Leave out yours, or --plan.")
    chosen = {lesson.number: lesson for lesson in map(course.lesson, lessons)}
    exercises = {number: _exercise(chosen[number]) for number in sorted(chosen)}
    asked = plans.choose(exercises, questions) if plan is None else plans.read(plan)
    numbers = [number for number in asked if number != catalogue.YOUR_LEG]
    if not numbers:
        raise ValueError(
            "The plan asks for the leg from the bench alone, of which there is nothing to pack: its"
            " page is your-leg.ipynb in the course."
        )
    files = _files([course.lesson(number) for number in numbers], asked)
    data, out = _zip(files), Path(out)
    if not out.exists():
        course.write_whole(out, data)
    elif not out.is_file() or out.read_bytes() != data:
        raise ValueError(
            f"{out} is there already and holds something else. Move it away, or give another name."
        )
    beside = out.with_name(f"{out.stem}-plan.toml")
    if plan is not None or beside.exists():
        return Packed(tuple(sorted(files)))
    course.write_whole(beside, plans.file_text(asked).encode())
    return Packed(tuple(sorted(files)), beside)


def _files(lessons: Sequence[course.Lesson], asked: Mapping[str, Terms]) -> dict[str, bytes]:
    """Each file's bytes by its path inside the zip."""
    files, parts = {}, []
    for lesson in lessons:
        exercise, terms = _exercise(lesson), asked[lesson.number]
        data = exercise.read_bytes()
        if terms.questions(lesson.number).keys() != catalogue.questions(lesson.number).keys():
            own = f"{lesson.number}-own-questions.json"
            data = _changed(data, terms, lesson.number, own)
            parts.append(lesson.number)
            if terms.own:
                files[f"exercises/{own}"] = owns.pack(terms.own)
        files[f"exercises/{exercise.name}"] = data
        for picture in _pictures(json.loads(data)):
            if not (course.source() / picture).is_file():
                raise ValueError(f"{exercise.name} shows a picture that is not there: {picture}.")
            files[picture] = (course.source() / picture).read_bytes()
    exercises = [f"   {name}" for name in files if name.endswith(".ipynb")]
    how_to = _text("how-to.txt").format(
        titles="; ".join(f"{lesson.number} {lesson.title}" for lesson in lessons),
        files="\n".join(exercises),
        open=_text("open-part.txt" if parts else "open-whole.txt").rstrip("\n"),
    )
    rigs = [
        f"   {question}.glb, for lesson {number}"
        for number, question in asking(lesson.number for lesson in lessons)
        if f"{number}/{question}" in asked[number].weights
    ]
    how_to += _text("rig-files.txt").format(files="\n".join(rigs)) if rigs else ""
    return files | {
        "HOW-TO.txt": how_to.replace("\n", "\r\n").encode()
    }  # for every system's own text editor


def _changed(data: bytes, terms: Terms, lesson: str, own: str) -> bytes:
    """An exercise with what a plan asks; the teacher's own questions are in the file `own`."""
    book = json.loads(data)
    there = catalogue.questions(lesson)
    names = [name for name in terms.questions(lesson) if name in there]
    part = len(names) < len(there)
    first = book["cells"][0]
    first["source"] = _COUNTED.sub(
        partial(_counted, lesson, len(names) if part else None, len(terms.own)),
        "".join(first["source"]),
        count=1,
    )
    if part:
        book["cells"], numbers = _only(book["cells"], terms.weights)
        where = _WHERE.sub(partial(_renumbered, numbers), first["source"])
        first["source"] = _NO_PLACE.sub("", where)
    ids = [cell.get("id") for cell in book["cells"]]
    end = next((ids.index(each) for each in _CLOSING if each in ids), len(ids))
    added = [_asking(table, len(names) + i) for i, table in enumerate(terms.own, start=1)]
    book["cells"][end:end] = chain.from_iterable(added)
    lines = [f"    questions={json.dumps(names)},\n"] if part else []
    lines += [f'    own="{own}",\n'] if terms.own else []
    opening = rf"open_homework(\n    \1,\n    \2,\n{''.join(lines)})"
    for cell in book["cells"]:
        if _OPENING.search(source := "".join(cell["source"])):
            cell["source"] = _OPENING.sub(opening, source)
    return (json.dumps(book, indent=1, ensure_ascii=False) + "\n").encode()


def _counted(lesson: str, part: int | None, own: int, found: re.Match[str]) -> str:
    """The words on how many questions there are: those of the lesson, a part of it, one's own."""
    theirs = f"{own} of your teacher's own" if own else ""
    if part is None:
        return f"{found[0]}, and {theirs}"
    if not part:
        return f"{'1 question' if own == 1 else f'{own} questions'} of your teacher's own"
    return f"{part} of the questions on lesson {lesson}{f', and {theirs}' if own else ''}"


def _renumbered(numbers: Mapping[int, int], found: re.Match[str]) -> str:
    """A line on where some questions are explained, with their new numbers; "" without any."""
    said = re.sub(
        r"(\d+) to (\d+)",
        lambda run: ", ".join(map(str, range(int(run[1]), int(run[2]) + 1))),
        found[1],
    )
    left = [str(numbers[n]) for n in map(int, re.findall(r"\d+", said)) if n in numbers]
    if not left:
        return ""
    words = " and ".join(filter(None, [", ".join(left[:-1]), left[-1]]))
    return re.sub(
        rf"questions? {found[1]}", f"question{'s' * (len(left) > 1)} {words}", found[0], count=1
    )


def _asking(table: Mapping[str, Any], number: int) -> list[dict[str, Any]]:
    """The cells of a question of the teacher's own, like those of any question for a value."""
    name = table["name"]
    asks = f"## {number}. Your teacher asks: `{name}`\n\n{owns.text(table)}"
    cells: list[dict[str, Any]] = [
        {
            "cell_type": "markdown",
            "id": f"own-ask-{name}",
            "metadata": {},
            "source": f"{asks}\n\n{owns.how_to_answer(table)}",
        }
    ]
    numbers, blank, check = owns.cells(name)
    answer = {"rigkit": {"question": f"{table['lesson']}/{name}"}, "tags": ["answer"]}
    if owns.uses(table):
        cells.append(_code(f"own-numbers-{name}", numbers))
    cells.append(_code(f"own-answer-{name}", blank, answer))
    cells.append(_code(f"own-check-{name}", check))
    return cells


def _code(cell_id: str, source: str, metadata: Mapping[str, Any] | None = None) -> dict[str, Any]:
    return {
        "cell_type": "code",
        "execution_count": None,
        "id": cell_id,
        "metadata": dict(metadata or {}),
        "outputs": [],
        "source": source,
    }


def _only(
    cells: Iterable[dict[str, Any]], wanted: Collection[str]
) -> tuple[list[dict[str, Any]], dict[int, int]]:
    """The cells of some questions' sections, and of those that ask nothing; the questions' numbers
    and their new ones."""
    sections: list[list[dict[str, Any]]] = [[]]
    for cell in cells:
        if cell["cell_type"] == "markdown" and "".join(cell["source"]).startswith("#"):
            sections.append([])
        sections[-1].append(cell)
    kept = [each for each in sections if {*_asked_in(each)} <= {*wanted}]
    asking_ones = [each[0] for each in kept if [*_asked_in(each)]]
    numbers = {}
    for number, cell in enumerate(asking_ones, start=1):
        source = "".join(cell["source"])
        head = re.match(r"## (\d+)\.", source)
        if head:
            numbers[int(head[1])] = number
            cell["source"] = f"## {number}.{source[head.end() :]}"
    return [cell for each in kept for cell in each], numbers


def _asked_in(cells: Iterable[Mapping[str, Any]]) -> Iterator[str]:
    """The ids of the questions whose answer cells are among some cells."""
    for cell in cells:
        if question := cell["metadata"].get("rigkit", {}).get("question"):
            yield question


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
