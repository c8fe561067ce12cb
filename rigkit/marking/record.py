"""Stage 5: the record of a class, one SQLite file that is only ever added to.

All else can be made again from it. It holds every entry as it was marked, every correction a
teacher made, the findings of each run of marking, and the class's secret, from which the cases of
each submission are drawn. It is the teacher's alone: mode 0600.
"""

import hashlib
import hmac
import json
import os
import secrets
import sqlite3
from collections.abc import Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import is_dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rigkit.homework.checking import Outcome
from rigkit.marking.entry import NO_FILE, Entry, Learner, Override, Terms

__all__ = ["RECORD", "Record", "RecordError", "frozen", "now", "sole", "thawed"]

RECORD = "results.sqlite"
SCHEMA = 1
KIND = 0x5249474B  # the file's application id, "RIGK"
PATIENCE = 5.0  # seconds to wait for another program that has the file locked

GIVEN = ("overrides", "terms", "feedback", "seen", "about")  # kept apart from an entry's own
_Remarks = dict[tuple[str, str], list[list[str]]]

_TABLES = """
    CREATE TABLE header (key TEXT PRIMARY KEY, value TEXT NOT NULL);
    CREATE TABLE entries (number INTEGER PRIMARY KEY, learner TEXT NOT NULL, lesson TEXT NOT NULL,
                          digest TEXT NOT NULL, time TEXT NOT NULL, marked INTEGER NOT NULL,
                          end TEXT NOT NULL, entry TEXT NOT NULL, about TEXT NOT NULL);
    CREATE TABLE overrides (number INTEGER PRIMARY KEY, learner TEXT NOT NULL, lesson TEXT NOT NULL,
                            question TEXT NOT NULL, score REAL NOT NULL, reason TEXT NOT NULL,
                            time TEXT NOT NULL);
    CREATE TABLE runs (number INTEGER PRIMARY KEY, time TEXT NOT NULL, found TEXT NOT NULL);
    CREATE INDEX of_learner ON entries (learner, lesson);
    CREATE INDEX corrections ON overrides (learner);
    CREATE VIEW latest AS
        SELECT * FROM entries AS e
        WHERE number = (SELECT max(number) FROM entries
                        WHERE learner = e.learner AND lesson = e.lesson);
"""
_REMARKS = """
    CREATE TABLE IF NOT EXISTS remarks (number INTEGER PRIMARY KEY, learner TEXT NOT NULL,
                                        lesson TEXT NOT NULL, question TEXT NOT NULL,
                                        version TEXT NOT NULL, text TEXT NOT NULL,
                                        time TEXT NOT NULL)
"""  # a record made before there were any has no such table
SEEN = ""  # the question of a remark that says no more than that a teacher has looked
# Of each correction, the file it was made for and what that measured; older records have none.
_MADE_FOR = """
    CREATE TABLE IF NOT EXISTS made_for (override INTEGER PRIMARY KEY, digest TEXT NOT NULL,
                                         measured REAL)
"""
_ONLY_ADDED_TO = """
    CREATE TRIGGER IF NOT EXISTS {table}_{what} BEFORE {what} ON {table}
    BEGIN SELECT RAISE(ABORT, 'the record is only ever added to'); END;
"""
_ABOUT_IN_BRIEF = """
    json_object('jail', json(ifnull(json_extract(about, '$.jail'), '{}')),
                'asked', json(json_extract(about, '$.asked')),
                'rigkit', json_extract(about, '$.rigkit'))
"""


class RecordError(Exception):
    """The record cannot be read or written now; the text says why, and what would do."""


class Record:
    """The record at `path`; made, with a new secret, where there is none.

    Parameters
    ----------
    path : path-like
    create : bool
        True if a new one may be made.

    Raises
    ------
    ValueError
        No record there (without `create`), not a record, or made by a later version.
    RecordError
        The file system or another program is in the way.
    """

    def __init__(self, path: str | os.PathLike[str], create: bool = True) -> None:
        self.path = Path(path)
        if not create and not self.path.is_file():
            raise ValueError(
                f"There is no record of marks at {self.path}. Marking a class makes one."
            )
        with self._plainly():
            file = os.open(self.path, os.O_RDWR | os.O_CREAT if create else os.O_RDONLY, 0o600)
            with open(file, "rb") as start:
                if start.read(16) not in (
                    b"SQLite format 3\0",
                    b"",
                ):  # SQLite would write over a short file
                    raise self._no_record()
            self._base = sqlite3.connect(self.path, timeout=PATIENCE, isolation_level=None)
            try:
                self._base.execute("PRAGMA synchronous = FULL")
                if create:
                    self._make()
                self._check()
            except BaseException:
                self.close()
                raise

    def __enter__(self) -> "Record":
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        self._base.close()

    def add(self, entry: Entry) -> None:
        """Keep one entry, at once and for good; its overrides are kept by `override` alone."""
        plain, about = frozen(entry)
        with self._plainly():
            self._base.execute(
                "INSERT INTO entries (learner, lesson, digest, time, marked, end, entry, about) "
                "VALUES (?,?,?,?,?,?,?,?)",
                (
                    entry.learner.id,
                    entry.lesson,
                    entry.digest,
                    entry.time,
                    entry.marked,
                    entry.end,
                    plain,
                    about,
                ),
            )

    def tells(self, entry: Entry) -> bool:
        """True if the latest entry of the same learner and lesson says the same, but the time."""
        latest = next(
            self._rows(
                "SELECT entry FROM latest WHERE learner = ? AND lesson = ?",
                entry.learner.id,
                entry.lesson,
            ),
            ("{}",),
        )
        return json.loads(latest[0]) | {"time": ""} == json.loads(frozen(entry)[0]) | {"time": ""}

    def override(self, learner: str, question: str, score: float, reason: str) -> None:
        """Keep a teacher's correction: a learner's id, a question's id, 0 to 1, why."""
        lesson = question.split("/")[0]
        of = (entry for entry in self.entries(learner, brief=True) if entry.lesson == lesson)
        entry = next(of, None)
        measured = _measured(entry).get(question) if entry else None
        with self.together():
            self._only_added_to(_MADE_FOR, "made_for")
            number = self._base.execute(
                "INSERT INTO overrides (learner, lesson, question, score, reason, time) VALUES"
                " (?,?,?,?,?,?)",
                (learner, lesson, question, score, reason, now()),
            ).lastrowid
            self._base.execute(
                "INSERT INTO made_for VALUES (?,?,?)",
                (number, entry.digest if entry else "", measured),
            )

    def remark(self, entry: Entry, question: str, text: str = "") -> None:
        """Keep a teacher's own sentence on a question or a lesson, or with `SEEN` that they looked.

        Parameters
        ----------
        entry : Entry
            Of the file it is on.
        question : str
        text : str
        """
        with self._plainly():
            self._only_added_to(_REMARKS, "remarks")
            self._base.execute(
                "INSERT INTO remarks (learner, lesson, question, version, text, time) VALUES"
                " (?,?,?,?,?,?)",
                (*entry.key, question, entry.version, text, now()),
            )

    @contextmanager
    def together(self) -> Iterator[None]:
        """Keep all that the block adds, or nothing of it; a block within another is part of it."""
        if self._base.in_transaction:
            yield
            return
        with self._plainly(), self._base:
            self._base.execute("BEGIN IMMEDIATE")
            yield

    def add_run(self, found: Mapping[str, Any]) -> None:
        """Keep what a run of marking found, JSON data."""
        with self._plainly():
            self._base.execute(
                "INSERT INTO runs (time, found) VALUES (?,?)", (now(), json.dumps(found))
            )

    def last_run(self) -> dict[str, Any]:
        """The findings of the last finished run; empty before the first."""
        with self._plainly():
            row = self._base.execute(
                "SELECT found FROM runs ORDER BY number DESC LIMIT 1"
            ).fetchone()
        return json.loads(row[0]) if row else {}

    def learners(self) -> tuple[Learner, ...]:
        """Everyone on the roster that the last finished run had; empty without one."""
        return tuple(map(_learner, self.last_run().get("learners", ())))

    def plan(self) -> dict[str, Terms]:
        """The terms of each lesson that a teacher's plan speaks of, as the last run had them."""
        found = self.last_run().get("plan", {})
        return {
            lesson: Terms(**terms | {"own": tuple(terms.get("own", ()))})
            for lesson, terms in found.items()
        }

    def numbers(self, others: Iterable[str] = ()) -> dict[str, int]:
        """Everyone's number, by id: given once, in an order that tells nothing.

        `others` are ids that the record does not know yet.
        """
        found = self.last_run()
        kept = found.get("numbers", {})
        known = {each.id for each in self.learners()} | {
            e.learner.id for e in self.entries(brief=True)
        }
        known |= {*others}
        new = sorted(known - kept.keys(), key=lambda who: self.seed(who, "", "number"))
        numbers = kept | {who: number for number, who in enumerate(new, start=len(kept) + 1)}
        if new:
            self.add_run(found | {"numbers": numbers})
        return numbers

    def entries(self, learner: str | None = None, brief: bool = False) -> Iterator[Entry]:
        """The latest entry of each learner in each lesson, corrections and the plan applied.

        Parameters
        ----------
        learner : str, optional
            The id of the only one asked for.
        brief : bool
            Without pictures and cases, and of the private part only the jail and the kit's version:
            what a list of a whole class needs, in little memory.
        """
        whose, values = ("", ()) if learner is None else ("WHERE learner = ?", (learner,))
        corrections, plan = self._corrections(whose, values), self.plan()
        remarks, made_for = self._remarks(whose, values), self._made_for()
        about = _ABOUT_IN_BRIEF if brief else "about"
        withdrawn = {tuple(key) for key in self.last_run().get("withdrawn", ())}
        for row in self._rows(
            f"SELECT entry, {about} FROM latest {whose} ORDER BY learner, lesson", *values
        ):
            entry = thawed(*row)
            if not entry.marked and entry.key in withdrawn:
                continue
            if brief:
                entry = replace(
                    entry,
                    outcomes=tuple(replace(o, inputs={}, picture=None) for o in entry.outcomes),
                )
            mine = corrections.pop(entry.key, {}), remarks.pop(entry.key, ())
            terms = plan.get(entry.lesson)
            outdated = _outdated(entry.under(terms), made_for)
            flags = (*entry.flags, *outdated, *_asked_otherwise(entry, terms))
            yield _with_given(replace(entry, flags=flags), *mine).under(terms)
        known = {each.id: each for each in self.learners()}
        for who, lesson in sorted({*corrections, *remarks}):
            mine = corrections.get((who, lesson), {}), remarks.get((who, lesson), ())
            entry = _without_file(known.get(who, Learner(who, who)), lesson, *mine)
            yield _with_given(entry, *mine).under(plan.get(lesson))

    def history(self) -> Iterator[Entry]:
        """Every entry ever kept, in the order they were, without corrections."""
        for row in self._rows("SELECT entry, about FROM entries ORDER BY number"):
            yield thawed(*row)

    def marked(self) -> dict[tuple[str, str], str]:
        """The digest that was marked last, by (learner's id, lesson); only of those marked."""
        return self._digests("WHERE marked")

    def unmarked(self) -> dict[tuple[str, str], str]:
        """The same of those that could not be marked."""
        return self._digests("WHERE NOT marked")

    def students(self) -> dict[tuple[str, str], str | None]:
        """The name that the numbers of those marked hung on, by (learner's id, lesson)."""
        return {
            (learner, lesson): student
            for learner, lesson, student in self._rows(
                "SELECT learner, lesson, json_extract(about, '$.student') FROM latest WHERE marked"
            )
        }

    def asked_otherwise(self) -> set[tuple[str, str]]:
        """The (learner's id, lesson) of those marked when not all was asked that is asked now."""
        plan = self.plan()
        return {
            (learner, lesson)
            for learner, lesson, asked in self._rows(
                "SELECT learner, lesson, json_extract(about, '$.asked') FROM latest WHERE marked"
            )
            if not _covers(json.loads(asked or "null"), lesson, plan.get(lesson))
        }

    def _digests(self, which: str) -> dict[tuple[str, str], str]:
        return {
            (learner, lesson): digest
            for learner, lesson, digest in self._rows(
                f"SELECT learner, lesson, digest FROM latest {which}"
            )
        }

    def seed(self, learner: str, lesson: str, digest: str) -> str:
        """The secret seed of one submission, the same for the same file of the same learner."""
        secret = bytes.fromhex(next(self._rows("SELECT value FROM header WHERE key = 'secret'"))[0])
        return hmac.new(
            secret, json.dumps([learner, lesson, digest]).encode(), hashlib.sha256
        ).hexdigest()

    def _make(self) -> None:
        self._base.execute("BEGIN IMMEDIATE")
        with self._base:  # all of it or nothing
            if self._base.execute("SELECT count(*) FROM sqlite_master").fetchone()[0] == 0:
                self._only_added_to(_TABLES, "header", "entries", "overrides", "runs")
                self._base.execute(
                    "INSERT INTO header VALUES ('secret', ?)", (secrets.token_hex(32),)
                )
                self._base.execute(f"PRAGMA application_id = {KIND}")
                self._base.execute(f"PRAGMA user_version = {SCHEMA}")
            if self._has("made_for"):  # once made without what keeps it from being changed
                self._only_added_to("", "made_for")

    def _only_added_to(self, made: str, *tables: str) -> None:
        """Make some tables, in which nothing is ever changed."""
        triggers = [
            _ONLY_ADDED_TO.format(table=table, what=what)
            for table in tables
            for what in ("UPDATE", "DELETE")
        ]
        for statement in [*filter(str.strip, made.split(";")), *triggers]:
            self._base.execute(statement)

    def _check(self) -> None:
        kind, schema = (
            self._base.execute(f"PRAGMA {name}").fetchone()[0]
            for name in ("application_id", "user_version")
        )
        if kind != KIND:
            raise self._no_record()
        if schema > SCHEMA:
            raise ValueError(
                f"{self.path} was made by a later version of rigkit (form {schema}; this one knows"
                f" form {SCHEMA}). Use that version or a later one, or choose another folder."
            )

    def _no_record(self) -> ValueError:
        return ValueError(f"{self.path} is not a record of marks. Choose another folder.")

    def _corrections(
        self, whose: str, values: tuple[str, ...]
    ) -> dict[tuple[str, str], dict[str, Override]]:
        """Question to the latest correction, by (learner's id, lesson); questions in order."""
        found: dict[tuple[str, str], dict[str, Override]] = {}
        for learner, lesson, *correction in self._rows(
            f"SELECT learner, lesson, question, score, reason, time FROM overrides {whose} "
            "ORDER BY question, number",
            *values,
        ):
            override = Override(*correction)
            found.setdefault((learner, lesson), {})[override.question] = override
        return found

    def _remarks(self, whose: str, values: tuple[str, ...]) -> "_Remarks":
        """Remarks in the order they were made, by (learner's id, lesson)."""
        found: _Remarks = {}
        if self._has("remarks"):
            query = f"SELECT learner, lesson, question, version, text, time FROM remarks {whose}"
            for learner, lesson, *remark in self._rows(f"{query} ORDER BY number", *values):
                found.setdefault((learner, lesson), []).append(remark)
        return found

    def _made_for(self) -> dict[tuple[str, str], tuple[str, float | None]]:
        """The digest and the measured score of the latest correction, by learner and question."""
        if not self._has("made_for"):
            return {}
        return {
            (learner, question): (digest, measured)
            for learner, question, digest, measured in self._rows(
                "SELECT learner, question, digest, measured FROM overrides JOIN made_for"
                " ON number = override ORDER BY number"
            )
        }

    def _has(self, table: str) -> bool:
        return bool(list(self._rows("SELECT 1 FROM sqlite_master WHERE name = ?", table)))

    def _rows(self, query: str, *values: Any) -> Iterator[tuple[Any, ...]]:
        with self._plainly():
            yield from self._base.execute(query, values)

    @contextmanager
    def _plainly(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.DatabaseError as error:
            raise _in_words(self.path, error) from error
        except OSError as error:
            raise RecordError(f"{self.path} cannot be used: {error.strerror}.") from error


def _with_given(
    entry: Entry, corrections: Mapping[str, Override], remarks: Sequence[Sequence[str]]
) -> Entry:
    """The same with what a teacher gave by hand."""
    return replace(
        entry,
        overrides=tuple(corrections.values()),
        feedback={question: text for question, _, text, _ in remarks if question != SEEN and text},
        seen=any(remark[:2] == [SEEN, entry.version] for remark in remarks),
    )


def _without_file(
    learner: Learner,
    lesson: str,
    corrections: Mapping[str, Override],
    remarks: Sequence[Sequence[str]],
) -> Entry:
    """The entry of who handed in no file, such as on paper, and was given something by hand."""
    times = [*(one.time for one in corrections.values()), *(remark[-1] for remark in remarks)]
    return Entry(learner, lesson, marked=False, end="", why=NO_FILE, time=max(times))


def _measured(entry: Entry) -> dict[str, float]:
    """The score of each question as it was measured, without corrections, and of the lesson."""
    if not entry.marked:
        return {}
    found = {outcome.question: outcome.score for outcome in entry.outcomes}
    whole = replace(entry, overrides=(), handed_in="").score
    return found if whole is None else {**found, entry.lesson: whole}


def _outdated(
    entry: Entry, made_for: Mapping[tuple[str, str], tuple[str, float | None]]
) -> Iterator[str]:
    """Flags for the corrections of an entry made for another file that measured otherwise."""
    for question, score in _measured(entry).items():
        digest, before = made_for.get((entry.learner.id, question), (entry.digest, score))
        if digest != entry.digest and before != score:
            which = "" if before is None else f", which measured {100 * before:.0f} %"
            made = f"for an earlier file{which}" if digest else "before any file came"
            yield (
                f"{'' if '/' in question else 'Lesson '}{question} has a correction made {made};"
                f" this file measures {100 * score:.0f} %, and the correction still counts. Give"
                " another, or --seen where it stands."
            )


def _covers(asked: Mapping[str, str] | None, lesson: str, terms: Terms | None) -> bool:
    """True if all that is asked now was asked, in the same words; without any, all of a lesson."""
    before, now = (
        Terms().asked(lesson) if asked is None else asked,
        (terms or Terms()).asked(lesson),
    )
    return all(before.get(question) == digest for question, digest in now.items())


def _asked_otherwise(entry: Entry, terms: Terms | None) -> Iterator[str]:
    """A flag for an entry of a file that was asked less than the plan asks now."""
    if entry.marked and not _covers(entry.about.get("asked"), entry.lesson, terms):
        yield (
            "The plan asks more now, or otherwise, than when this was marked. Mark its file again:"
            " it was not among those of the last run."
        )


def frozen(entry: Entry) -> tuple[str, str]:
    """An entry as two JSON texts: what reports show, and its private part."""
    plain = {name: value for name, value in vars(entry).items() if name not in GIVEN}
    return _dumps(plain), _dumps(dict(entry.about))


def thawed(plain: str, about: str | None = None) -> Entry:
    """The entry of two JSON texts."""
    parts = json.loads(plain)
    return Entry(
        **parts
        | {
            "learner": _learner(parts["learner"]),
            "outcomes": tuple(Outcome(**outcome) for outcome in parts["outcomes"]),
            "flags": tuple(parts["flags"]),
            "about": json.loads(about) if about else {},
        }
    )


def _learner(parts: dict[str, Any]) -> Learner:
    return Learner(**parts | {"also": tuple(parts["also"])})


@contextmanager
def sole(folder: str | os.PathLike[str]) -> Iterator[None]:
    """Be the only one who marks into `folder`, until the block or the process ends.

    Raises
    ------
    RecordError
        Somebody else does.
    """
    try:
        lock = sqlite3.connect(Path(folder) / ".lock", timeout=0, isolation_level=None)
    except sqlite3.OperationalError as error:
        raise RecordError(
            f"{folder} cannot be written to ({error}). Choose another folder, or let yourself write"
            " there."
        ) from error
    try:
        lock.execute("BEGIN EXCLUSIVE")
    except sqlite3.OperationalError as error:
        lock.close()
        if "locked" not in str(error):
            raise RecordError(f"{folder} cannot be written to: {error}.") from error
        raise RecordError(
            f"Somebody is marking into {folder} right now. Wait until that has ended."
        ) from error
    try:
        yield
    finally:
        lock.close()


def now() -> str:
    """The time, UTC, to the second."""
    return datetime.now(UTC).isoformat(timespec="seconds")


def _in_words(path: Path, error: sqlite3.DatabaseError) -> Exception:
    text = str(error)
    if "not a database" in text or "malformed" in text:
        return ValueError(
            f"{path} is not a record of marks, or is damaged ({text}). Choose another folder, or"
            " put back a copy of the record."
        )
    if "locked" in text:
        return RecordError(
            f"{path} is locked by another program. Close what has it open, then give the same"
            " command again; all that is recorded is safe."
        )
    if "full" in text or "I/O" in text:
        return RecordError(
            f"{path} cannot be written to: no room on the disk, or a fault of it ({text}). Make"
            " room, then give the same command again; all that is recorded is safe."
        )
    return RecordError(f"{path} cannot be used: {text}.")


def _dumps(value: Any) -> str:
    """The JSON of a value: dataclasses as dicts, NumPy's scalars as Python's."""
    return json.dumps(value, default=lambda part: vars(part) if is_dataclass(part) else part.item())
