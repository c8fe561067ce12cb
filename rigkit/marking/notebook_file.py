"""A stranger's notebook, read as data: the code cells, and what the code says of itself.

Nothing here runs it. Bounds: a notebook has at most 10 MiB, half a million parts of any kind, 2,000
cells and 1 MiB of code.
"""

import ast
import json
import re
import warnings
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import chain
from typing import Any, NoReturn

from rigkit.marking.submission import (
    HAND_IN,
    MOST_BYTES,
    NO_NOTEBOOK,
    RIGS,
    UnreadableError,
    is_rig,
    shown,
    too_large,
)

__all__ = ["NOTHING", "Notebook", "opened", "opens", "read_notebook", "syntax"]

MOST_CELLS = 2_000
MOST_CODE = 2**20
MOST_PARTS = 500_000  # brackets and colons: what makes reading a small file long
LONGEST_CLAIM = 200
LONGEST_OPENING = 2**16  # characters of a cell that is searched for `open_homework(…)`
MOST_NAMED = 100


@dataclass(frozen=True)
class Notebook:
    """The parts of a notebook that are marked.

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
    asked : tuple of str
        For each of the cells the id of the question that it is there to answer; "" for any other.
    """

    cells: tuple[str, ...]
    lesson: str | None
    claimed: str | None
    names: Mapping[str, str]
    asked: tuple[str, ...] = ()


NOTHING = Notebook((), None, None, {})  # of who handed in no notebook


def read_notebook(data: bytes) -> Notebook:
    """Return the code cells of a notebook's bytes; all else in it is ignored.

    Returns
    -------
    Notebook

    Raises
    ------
    UnreadableError
        Not a notebook of form 4, or beyond the bounds.
    """
    if len(data) > MOST_BYTES:
        raise too_large()
    if sum(map(data.count, (b"[", b"{", b":"))) > MOST_PARTS:
        raise UnreadableError(
            "The notebook holds more than can be read. Clear the outputs of all cells, save, and "
            "hand it in again."
        )
    book = _cells(_parse(data))
    cells = tuple(_code(book))
    if sum(len(cell.encode()) for cell in cells) > MOST_CODE:
        raise UnreadableError(
            f"The notebook holds more than {MOST_CODE // 2**20} MiB of code. Keep data out of its"
            " cells."
        )
    lesson, claimed = opened(cells)
    return Notebook(cells, lesson, claimed, _rigs_named(cells), tuple(_asked(book)))


def _parse(data: bytes) -> Any:
    try:
        return json.loads(
            data.decode("utf-8-sig"), object_pairs_hook=_unique, parse_constant=_refuse_constant
        )
    except UnicodeDecodeError:
        raise UnreadableError(f"{NO_NOTEBOOK}: it is not text in UTF-8. {HAND_IN}") from None
    except (ValueError, RecursionError):
        raise UnreadableError(
            f"{NO_NOTEBOOK}, or it was cut short or edited as text. Open it in JupyterLab to see;"
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
        raise UnreadableError(f"{NO_NOTEBOOK}. {HAND_IN}")
    if book["nbformat"] < 4:
        raise UnreadableError(
            "The notebook has an old form. Open it in JupyterLab, save it, and hand it in again."
        )
    if book["nbformat"] > 4:
        raise UnreadableError(
            "The notebook has a later form than is known here. Save it with the course's"
            " JupyterLab."
        )
    cells = book.get("cells")
    if not isinstance(cells, list) or not all(isinstance(cell, dict) for cell in cells):
        raise UnreadableError(
            "The notebook has no list of cells. Open it in JupyterLab, save it, and hand it in"
            " again."
        )
    if len(cells) > MOST_CELLS:
        raise UnreadableError(
            f"The notebook has more than {MOST_CELLS:,} cells. Hand in the exercise only."
        )
    return cells


def _code(cells: list[dict[str, Any]]) -> Iterator[str]:
    for number, cell in enumerate(cells, 1):
        if cell.get("cell_type") == "code":
            source = cell.get("source")
            lines = [source] if isinstance(source, str) else source
            if not isinstance(lines, list) or not all(isinstance(line, str) for line in lines):
                raise UnreadableError(
                    f"Cell {number} of the notebook holds no text. Open it in JupyterLab, save it,"
                    " and hand it in again."
                )
            yield (
                "".join(lines).encode("utf-16", "surrogatepass").decode("utf-16", "replace")
            )  # no half characters


def _asked(cells: list[dict[str, Any]]) -> Iterator[str]:
    """The question that each code cell is there to answer, in the words of the exercise."""
    for cell in cells:
        if cell.get("cell_type") == "code":
            said = cell.get("metadata")
            ours = said.get("rigkit") if isinstance(said, dict) else None
            question = ours.get("question") if isinstance(ours, dict) else None
            yield question if isinstance(question, str) else ""


def opened(cells: Iterable[str]) -> tuple[str | None, str | None]:
    """The lesson and the name in the last `open_homework(…)` with a literal lesson.

    Returns
    -------
    lesson : str or None
        Two digits.
    claimed : str or None
    """
    found: tuple[str | None, str | None] = None, None
    likely = (c for c in cells if "open_homework" in c and len(c) <= LONGEST_OPENING)
    for node in chain.from_iterable(ast.walk(syntax(cell)) for cell in likely):
        if isinstance(node, ast.Call) and _called(node.func) == "open_homework":
            lesson, claimed = _opens(node)
            found = (lesson, claimed) if lesson else found
    return found


def opens(cells: Iterable[str]) -> bool:
    """True if a cell that can be read as Python calls `open_homework`."""
    return any(
        isinstance(node, ast.Call) and _called(node.func) == "open_homework"
        for cell in cells
        if "open_homework" in cell
        for node in ast.walk(syntax(cell))
    )


def _rigs_named(cells: Iterable[str]) -> dict[str, str]:
    """The base name of the rig file that the code last gives to each name, by literals only."""
    found: dict[str, str] = {}
    likely = (c for c in cells if any(ending in c.casefold() for ending in RIGS))
    for node in chain.from_iterable(ast.walk(syntax(cell)) for cell in likely):
        if isinstance(node, ast.Assign) and isinstance(node.targets[0], ast.Name):
            _name_rig(found, node.targets[0].id, node.value)
        elif isinstance(node, ast.Call) and _called(node.func) == "check":
            for keyword in node.keywords:
                _name_rig(found, keyword.arg, keyword.value)
    return found


def _name_rig(found: dict[str, str], name: str | None, value: ast.expr) -> None:
    """Put under a name the text within a value that ends as rig files do.

    One such value is `Path("out") / "walker.glb"`.
    """
    texts = [
        node.value
        for node in ast.walk(value)
        if isinstance(node, ast.Constant) and isinstance(node.value, str)
    ]
    rigs = [text for text in texts if is_rig(text)]
    if name and rigs and len(found) < MOST_NAMED:
        found[name] = shown(re.split(r"[/\\]", rigs[-1])[-1])


def syntax(cell: str) -> ast.Module:
    """The syntax tree of a cell without its % and ! lines; an empty one if there is none.

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
