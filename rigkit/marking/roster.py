"""The class list: everyone's id, name and other names, from a CSV file."""

import csv
import io
import os
import re
import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from rigkit.marking.entry import Learner
from rigkit.marking.submission import shown

__all__ = ["Roster", "read", "words"]

MOST_BYTES = 10 * 2**20
MOST_LEARNERS = 100_000
LONGEST = 200  # characters of an id or a name

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


@dataclass(frozen=True)
class Roster:
    """The learners of a class, in the order of the list; no two have the same id."""

    learners: tuple[Learner, ...]

    def __iter__(self) -> Iterator[Learner]:
        return iter(self.learners)

    def __len__(self) -> int:
        return len(self.learners)


def read(path: str | os.PathLike[str]) -> Roster:
    """The roster in a CSV file: UTF-8, UTF-16 or Windows-1252, with commas, semicolons or tabs.

    The first line names the columns: an id or a name, or both, in whichever common words; first and
    last name may stand apart; e-mail, group and other names (several with semicolons or bars
    between) are optional.

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
    header = next(rows, (1, []))[1]
    columns = _columns(header)
    if not {"id", "name"} & columns.keys() and not {"first", "last"} <= columns.keys():
        raise ValueError(
            f"The first line of {path} must name its columns, such as `id,name,email`; "
            f"got {shown(', '.join(header), 100)!r}."
        )
    learners = {}
    for line, row in rows:
        learner = _learner(
            {
                what: shown(composed(row[i]).strip(), LONGEST)
                for what, i in columns.items()
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
    for encoding in (
        ("utf-16",) if data.startswith((b"\xff\xfe", b"\xfe\xff")) else ("utf-8-sig", "cp1252")
    ):
        try:
            return data.decode(encoding)
        except UnicodeDecodeError:
            continue
    raise ValueError(f"The roster {path} is not text. Save it as CSV, in UTF-8.")


def _rows(path: Path, text: str) -> Iterator[tuple[int, list[str]]]:
    """(line number, cells) of each line that is not empty."""
    first = next((line for line in text.splitlines() if line.strip()), "")
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


def _columns(header: Sequence[str]) -> dict[str, int]:
    """The column of each thing; the first that fits counts."""
    found: dict[str, int] = {}
    for i, cell in enumerate(header):
        called = " ".join(words(cell))
        for what, names in _COLUMNS.items():
            if called in names:
                found.setdefault(what, i)
    return found


def _learner(cells: Mapping[str, str]) -> Learner:
    name = cells.get("name") or f"{cells.get('first', '')} {cells.get('last', '')}".strip()
    who = cells.get("id", name)
    also = tuple(filter(None, (other.strip() for other in re.split("[;|]", cells.get("also", "")))))
    own = cells.get("first", ""), cells.get("last", "")
    return Learner(who, name or who, cells.get("email", ""), cells.get("group", ""), also, *own)


def words(text: str) -> tuple[str, ...]:
    """The words of a name: runs of letters and digits, composed and with case folded."""
    return tuple(re.findall(r"[^\W_]+", folded(text)))


def folded(text: str) -> str:
    return composed(composed(text).casefold())


def composed(text: str) -> str:
    return unicodedata.normalize("NFC", text)
