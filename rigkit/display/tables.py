"""Small tables, with rows from the fields of a class and their meaning from its docstring."""

import re
from collections.abc import Iterable, Sequence
from functools import cache
from html import escape
from inspect import cleandoc
from typing import Any, NamedTuple

import numpy as np

from rigkit import _format, page
from rigkit.display.formats import Say

FEW = 4  # of a batch so many are shown
MOST_ROWS = 16  # a longer table is cut
UNBROKEN = 16  # characters of a value that stay on one line

_SIZE = "font-size:var(--jp-content-font-size1,14px)"
_SOFT = "color:var(--jp-ui-font-color2,inherit)"
_CELL = (
    f"padding:3px 18px 3px 0;text-align:left;vertical-align:top;{_SIZE}"
    ";font-variant-numeric:tabular-nums"
)
_SECTION = re.compile(r"^(?:Attributes|Parameters)\n-+\n(.*?)(?:\n\n|\Z)", re.MULTILINE | re.DOTALL)
_ATTRIBUTE = re.compile(r"^(\w[\w, ]*) :(.*)((?:\n    .*)*)", re.MULTILINE)


class Row(NamedTuple):
    """A value in a table: how it is said, and how many axes of an array are one value's own."""

    name: str
    meaning: str
    values: Any
    say: Say
    axes: int = 0


def table(heads: Sequence[str], rows: Iterable[Sequence[object]], caption: str = "") -> str:
    """Make a small table that follows the page's theme.

    Of many rows the first are given, and how many more there are.

    Parameters
    ----------
    heads : sequence of str
        Of the columns.
    rows : iterable of sequence of object
        Text, made harmless here; the first cell of each row is its header.
    caption : str

    Returns
    -------
    str
        HTML.
    """
    rows = list(rows)
    shown = rows if len(rows) <= MOST_ROWS else rows[: MOST_ROWS - 1]
    head = "".join(
        f'<th scope="col" style="{_CELL};{_SOFT};font-weight:400">{page.safe(name)}</th>'
        for name in heads
    )
    body = "".join(
        f'<tr><th scope="row" style="{_CELL};font-weight:600;white-space:nowrap">'
        f"{page.safe(row[0])}</th>{''.join(map(_cell, row[1:]))}</tr>"
        for row in shown
    )
    said = f'<figcaption style="{_SIZE};{_SOFT}">{page.safe(caption)}</figcaption>'
    more = f'<p style="margin:2px 0;{_SIZE};{_SOFT}">and {len(rows) - len(shown)} more</p>'
    return (
        f'<figure style="margin:4px 0;overflow-x:auto">{said if caption else ""}'
        f'<table style="border-collapse:collapse;margin:2px 0"><thead><tr>{head}</tr></thead>'
        f"<tbody>{body}</tbody></table>{more if shown != rows else ''}</figure>"
    )


def _cell(value: object) -> str:
    text = page.plain(value)
    whole = ";white-space:nowrap" if len(text) <= UNBROKEN else ""
    return f'<td style="{_CELL}{whole}">{escape(text)}</td>'


def folded(summary: str, html: str) -> str:
    """Make a part of a page that opens on a click.

    Parameters
    ----------
    summary : str
        Text that is always seen.
    html : str

    Returns
    -------
    str
        HTML.
    """
    style = f"cursor:pointer;{_SIZE}"
    return f'<details><summary style="{style}">{escape(summary)}</summary>{html}</details>'


def fields(thing: object, **say: Say) -> list[Row]:
    """Rows for the fields named, each with a function that says it; the docstring has the rest."""
    known = attributes(thing.__doc__)
    return [
        Row(name.removesuffix("_deg").replace("_", " "), meaning, getattr(thing, name), how, axes)
        for name, how in say.items()
        for meaning, axes in [known[name]]
    ]


@cache
def attributes(docstring: str | None) -> dict[str, tuple[str, int]]:
    """The meaning of each attribute in a class's docstring, and the axes of one value.

    A class that keeps what it was made of says so under Parameters. The first sentence is taken,
    without its units, such as [m]: a table says its own.
    """
    found: dict[str, tuple[str, int]] = {}
    sections = "\n".join(_SECTION.findall(cleandoc(docstring or "")))
    for names, kind, text in _ATTRIBUTE.findall(sections):
        sentence = " ".join(text.split()).split(". ")[0].removesuffix(".")
        meaning = re.sub(r"`| \[[^]]*\]", "", sentence)
        if not meaning[1:2].isupper():  # "ASIS" stays
            meaning = meaning[:1].lower() + meaning[1:]
        shape = re.search(r"shape \((.*?)\)", kind)
        axes = re.findall(r"[^,\s.][^,]*", shape[1]) if shape else []
        found |= dict.fromkeys(names.split(", "), (meaning, len(axes)))
    return found


def values(head: object, rows: Iterable[Row], caption: str = "") -> str:
    """A table of values, its head a name or the class of an object; of a batch the first few."""
    rows = list(rows)
    head = head if isinstance(head, str) else type(head).__name__
    batch = _format.batch(rows[0].values, rows[0].axes)
    if not batch:
        lines = [(row.name, row.say(row.values), row.meaning) for row in rows]
        return table((head, "value", "what it is"), lines, caption)
    many = int(np.prod(batch))
    places = [np.unravel_index(i, batch) for i in range(min(many, FEW))]
    cells = [
        (row.name, *(row.say(_member(row, batch, place)) for place in places), row.meaning)
        for row in rows
    ]
    said = f"A batch of shape {batch}: {'all' if many <= FEW else f'the first {FEW} of'} {many:,}."
    heads = (head, *(f"[{', '.join(map(str, place))}]" for place in places), "what it is")
    return table(heads, cells, f"{said} {caption}".strip())


def _member(row: Row, batch: tuple[int, ...], place: Any) -> Any:
    array = np.asarray(row.values)
    return np.broadcast_to(array, (*batch, *array.shape[array.ndim - row.axes :]))[place]
