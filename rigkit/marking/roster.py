"""The class list: everyone's id, name and other names, from a CSV file."""

import csv
import io
import os
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice, product
from pathlib import Path

from rigkit.marking import csv_file
from rigkit.marking.entry import Learner
from rigkit.marking.submission import shown

__all__ = ["Roster", "read", "spellings", "words"]

MOST_BYTES = 10 * 2**20
MOST_LEARNERS = 100_000
LONGEST = 200  # characters of an id or a name
MOST_TITLES = 10  # lines in which the heads of the columns are looked for
MOST_LETTERS = 4  # of a name, that may be written in two ways

# letters that are no others with marks, and those that some write as two
_ONE = {"ø": "o", "æ": "ae", "œ": "oe", "þ": "th", "ð": "d", "đ": "d", "ł": "l", "ı": "i"}
_TWO = {"ä": "ae", "ö": "oe", "ü": "ue", "å": "aa", "ø": "oe"}

_COLUMNS = {
    "id": (
        "id",
        "learner",
        "learner id",
        "student id",
        "user id",
        "id number",
        "student number",
        "number",
        "username",
        "user name",
        "login",
        "code",
        "identifier",
        "matriculation number",
        "sourcedid",
        "sourced id",
        "usersourcedid",
        "studentsourcedid",
    ),
    "name": ("name", "full name", "learner name", "student name", "student", "display name"),
    "first": ("first name", "firstname", "given name", "givenname", "forename", "first"),
    "last": ("last name", "lastname", "family name", "familyname", "surname", "last"),
    "email": ("email", "e mail", "mail", "email address", "e mail address"),
    "group": ("group", "class", "section", "course", "team"),
    "also": (
        "also",
        "other names",
        "other name",
        "also known as",
        "nickname",
        "preferred name",
        "aliases",
        "alias",
    ),
}


_CALLED = ("id", "name", "surname", "first", "email", "group", "also")  # by --columns


@dataclass(frozen=True)
class Roster:
    """The learners of a class, in the order of the list; no two have the same id."""

    learners: tuple[Learner, ...]

    def __iter__(self) -> Iterator[Learner]:
        return iter(self.learners)

    def __len__(self) -> int:
        return len(self.learners)


def read(path: str | os.PathLike[str], columns: Mapping[str, str] | None = None) -> Roster:
    """The roster in a CSV file: UTF-8, UTF-16 or Windows-1252, with commas, semicolons or tabs.

    A line names the columns: an id or a name, or both, in whichever common words; first and last
    name may stand apart; e-mail, group and other names (several with semicolons or bars between)
    are optional. Title lines above it are skipped.

    Parameters
    ----------
    path : path-like
    columns : mapping of str to str, optional
        The heads of columns in other words: of `id`, `name`, `surname`, `first`, `email`, `group`,
        `also`.

    Returns
    -------
    Roster

    Raises
    ------
    ValueError
        Not such a file, a line without an id, or an id twice.
    """
    path = Path(path)
    rows = _rows(path, _text(path))
    found = _heads(path, rows, columns or {})
    learners = {}
    for line, row in rows:
        learner = _learner(
            {
                what: shown(composed(row[i]).strip(), LONGEST)
                for what, i in found.items()
                if i < len(row)
            }
        )
        if not learner.id:
            raise ValueError(
                f"Line {line} of {path} has no id. Give everybody one, or take the column out."
            )
        if folded(learner.id) in learners:
            raise ValueError(
                f"Line {line} of {path} has the id {learner.id!r} again. Give each learner their"
                " own."
            )
        learners[folded(learner.id)] = learner
        if len(learners) > MOST_LEARNERS:
            raise ValueError(f"{path} has more than {MOST_LEARNERS:,} lines. Split the class.")
    if not learners:
        raise ValueError(f"{path} lists nobody. Put one learner on each line after the first.")
    return Roster(tuple(learners.values()))


def _text(path: Path) -> str:
    try:
        with open(path, "rb") as file:
            data = file.read(MOST_BYTES + 1)
    except OSError as error:
        raise ValueError(
            f"The roster {path} cannot be read ({error.strerror}). Give a CSV file with the columns"
            " id and name."
        ) from None
    if len(data) > MOST_BYTES:
        raise ValueError(
            f"The roster {path} is larger than {MOST_BYTES // 2**20} MiB. Give a plain CSV file."
        )
    text = csv_file.decode(data)
    if text is not None:
        return text
    raise ValueError(f"The roster {path} is not text. Save it as CSV, in UTF-8.")


def _rows(path: Path, text: str) -> Iterator[tuple[int, list[str]]]:
    """(line number, cells) of each line that is not empty."""
    first = "\n".join(text.splitlines()[:MOST_TITLES])
    delimiter = max(",;\t", key=first.count)
    rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
    try:
        for row in rows:
            if any(cell.strip() for cell in row):
                yield rows.line_num, row
    except csv.Error as error:
        raise ValueError(
            f"Line {rows.line_num} of {path} cannot be read as CSV ({error}). Save it anew from a "
            "spreadsheet."
        ) from None


def _heads(
    path: Path, rows: Iterator[tuple[int, list[str]]], named: Mapping[str, str]
) -> dict[str, int]:
    """The column of each thing, by the first line that names an id or a name."""
    wanted = {("last" if what == "surname" else what): head for what, head in named.items()}
    for what in wanted.keys() - _COLUMNS.keys():
        raise ValueError(f"--columns must be of {', '.join(_CALLED)}; got {what!r}.")
    first, closest = None, {*wanted}
    for _, header in islice(rows, MOST_TITLES):
        found, first = _columns(header, wanted), first or header
        closest = min(closest, wanted.keys() - found.keys(), key=len)
        if not wanted.keys() - found.keys() and (
            {"id", "name"} & found.keys() or {"first", "last"} <= found.keys()
        ):
            return found
    for what in sorted(closest):
        raise ValueError(f"{path} has no column {wanted[what]!r}, which --columns names.")
    understood = "; ".join(
        f"{called}: {', '.join(_COLUMNS['last' if called == 'surname' else called][:3])}"
        for called in _CALLED[:4]
    )
    raise ValueError(
        f"A line of {path} must name its columns, such as `id,name,email`; "
        f"got {shown(', '.join(first or []), 80)!r}. These words are understood: {understood}. "
        "Or say which they are, as in --columns id=Nr name=Navn."
    )


def _columns(header: Sequence[str], wanted: Mapping[str, str]) -> dict[str, int]:
    """The column of each thing, by the head that is wanted or the first that fits."""
    heads = [" ".join(words(cell)) for cell in header]
    found = {
        what: heads.index(" ".join(words(head)))
        for what, head in wanted.items()
        if " ".join(words(head)) in heads
    }
    taken = {*found.values()}
    for i, called in enumerate(heads):
        for what, names in _COLUMNS.items():
            if called in names and i not in taken and what not in wanted:
                found.setdefault(what, i)
    return found


def _learner(cells: Mapping[str, str]) -> Learner:
    both = f"{cells.get('first', '')} {cells.get('last', '')}".strip()
    name = cells.get("name") or both
    who = cells.get("id", name)
    others = [other.strip() for other in re.split("[;|]", cells.get("also", ""))]
    apart = both if {"first", "last"} <= cells.keys() else ""
    also = dict.fromkeys(other for other in (apart, *others) if other and other != name)
    own = cells.get("first", ""), cells.get("last", "")
    known = name or who, cells.get("email", ""), cells.get("group", "")
    return Learner(who, *known, tuple(also), *own)


def words(text: str) -> tuple[str, ...]:
    """The words of a name: runs of letters and digits, composed and with case folded."""
    return tuple(re.findall(r"[^\W_]+", folded(text)))


def spellings(text: str) -> set[str]:
    """A name as it may be written: folded, and in the ways to do without its marks.

    A letter that some write as two is written as one or two throughout: ü as u or ue.
    """
    text = folded(text)
    if text.isascii():
        return {text}
    letters = sorted({*text} & _TWO.keys())[:MOST_LETTERS]
    choices = product(*((_ONE.get(letter, letter), _TWO[letter]) for letter in letters))
    tables = (dict(zip(map(ord, letters), choice, strict=True)) for choice in choices)
    rest = str.maketrans(_ONE)
    return {text} | {_unmarked(text.translate(table).translate(rest)) for table in tables}


def _unmarked(text: str) -> str:
    """A text whose letters have no marks."""
    apart = unicodedata.normalize("NFKD", text)
    return folded("".join(letter for letter in apart if not unicodedata.combining(letter)))


def folded(text: str) -> str:
    return composed(composed(text).casefold())


def composed(text: str) -> str:
    return unicodedata.normalize("NFC", text)
