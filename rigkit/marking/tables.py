"""The marks of a class as tables: one for a spreadsheet, four for a school's own system.

The four are in the CSV form of OneRoster 1.2, an open standard of 1EdTech (CSV Binding 1.2.1, final
release of 22 August 2023, imsglobal.org/spec/oneroster/v1p2/bind/csv). We could read only its
opening. The names and order of columns and which are required were read in two independent open
programs that hold themselves to it, and agree: LongsightGroup/oneroster (checked by its authors
against the standard's own certification cases for rostering, not for gradebooks) and a published
set of row schemas for the binding's files. The words of scoreStatus, the rules for ids and dates
and the manifest's keys rest on the first of the two alone.

What is handed on, and why so:

- `manifest.csv` is the one file that every set must have. It marks ours as "delta", new or changed
records for a system
  that holds the rest: "bulk" would mean that everything there is replaced.
- `categories.csv` has one category, homework; `lineItems.csv` one item a lesson, worth 0 to 100;
`results.csv` a
  learner's result in each, "fully graded", or "submitted" where it is not marked, or "not
  submitted".
- An item must name a class, an academic session and a school. Those belong to the school's system,
and so do the days
  it was set and due: give them as `school` (`rigkit mark --school`). Without, there stand the words
  of `SCHOOL`, and the days of the first and the last marking, which a person has to replace.
- `studentSourcedId` is the learner's id of the roster. One that the standard does not allow is
replaced by a digest.
"""

import csv
import hashlib
import io
import json
import re
import uuid
from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rigkit import course
from rigkit.marking.entry import NO_FILE, Entry, Learner
from rigkit.marking.page import lesson_title, plain

SCHOOL = {
    "classSourcedId": "class",
    "academicSessionSourcedId": "session",
    "schoolSourcedId": "school",
}
OF_LESSON = ("handed in", "date", "late (days)", "marked", "corrected", "end", "note")
DAYS = ("assignDate", "dueDate")
NAMES = ("grades.csv", "manifest.csv", "categories.csv", "lineItems.csv", "results.csv")

COMMON = ("sourcedId", "status", "dateLastModified")
CATEGORIES = (*COMMON, "title", "weight")
_LINE_ITEMS = """
    title description assignDate dueDate classSourcedId categorySourcedId
    academicSessionSourcedId resultValueMin resultValueMax schoolSourcedId
"""
LINE_ITEMS = (*COMMON, *_LINE_ITEMS.split())
_RESULTS = """
    lineItemSourcedId studentSourcedId scoreStatus score scoreDate comment textScore
    classSourcedId inProgress incomplete late missing
"""
RESULTS = (*COMMON, *_RESULTS.split())
_FILES = """
    academicSessions categories classes classResources courses courseResources demographics
    enrollments lineItemLearningObjectiveIds lineItems lineItemScoreScales orgs resources
    resultLearningObjectiveIds results resultScoreScales roles scoreScales userProfiles
    userResources users
"""
FILES = tuple(_FILES.split())

_GUID = re.compile(
    r"[0-9A-Za-z./_][0-9A-Za-z./@_-]{0,254}"
)  # narrower than allowed: none that begins like a formula
_OURS = uuid.UUID("5b0d6c0e-7f0c-5a5e-9a53-0d3f9a6b7c11")


def write(
    entries: Sequence[Entry],
    learners: Iterable[Learner],
    out: Path,
    school: Mapping[str, str] | None = None,
    cut: bool = False,
    *,
    decimal_comma: bool = False,
) -> None:
    """Write `grades.csv` and the four files of the standard into the folder `out`.

    Parameters
    ----------
    entries : sequence of Entry
        The latest of each learner and lesson.
    learners : sequence of Learner
        Everyone, also those who handed in nothing.
    out : path
    school : mapping of str to str, optional
        Values that only the school's system knows: the ids in `SCHOOL`, and `assignDate` and
        `dueDate` as YYYY-MM-DD.
    cut : bool
        True if not everything handed in was looked at. Then whoever has no entry may have handed in
        all the same: "not known" in one table, and no result in the other.
    decimal_comma : bool
        For a spreadsheet that writes half as 0,5 and takes semicolons between cells.

    Raises
    ------
    ValueError
        For names or values in `school` that the standard does not have.
    """
    learners = list(learners)
    made = one_roster(entries, learners, school, cut)
    rows = gradebook(entries, learners, cut)
    columns = list(rows[0]) if rows else ["id", "name"]
    # A spreadsheet takes a file without the mark for the machine's old encoding, and Zoë for ZoÃ«.
    book = b"\xef\xbb\xbf" + _csv(columns, rows, decimal_comma)
    course.write_whole(out / "grades.csv", book)
    for name, (heads, lines) in made.items():
        course.write_whole(out / name, _csv(heads, lines))


def grades(
    entries: Sequence[Entry], learners: Iterable[Learner], cut: bool = False
) -> list[dict[str, Any]]:
    """One row per learner and lesson, as dicts: who, the scores, the total, and what to know.

    Each question's score and the total are in percent.

    Scores are numbers or "", "yes" and "no" are words. The rows stand in order of lesson, name and
    id.
    """
    questions = _asked(entries)
    rows = []
    for lesson, learner, entry in _pairs(entries, learners):
        scores = entry.scores if entry else {}
        rows.append(
            {
                "id": learner.id,
                "name": learner.name,
                "group": learner.group,
                "lesson": lesson,
                **{f"{question} (%)": _percent(scores.get(question)) for question in questions},
                "total (%)": _percent(entry.score if entry else None),
                "handed in": _handed_in(entry, cut),
                "marked": _yes(entry and entry.marked),
                "corrected": _yes(entry and entry.overrides),
                "end": entry.end if entry else "",
                "why": entry.why if entry else "",
                "look": " ".join(entry.flags) if entry else "",
            }
        )
    return rows


def gradebook(
    entries: Sequence[Entry], learners: Iterable[Learner], cut: bool = False
) -> list[dict[str, Any]]:
    """One row per learner, as dicts: who, and of each lesson what is in `grades`, and when it came.

    All of a lesson stands together, its number at the head of each column.
    """
    learners = list(learners)
    of = {entry.key: entry for entry in entries}
    people = {each.id: each for each in [*(entry.learner for entry in entries), *learners]}
    asked = _asked(entries)
    rows: dict[str, dict[str, Any]] = {}
    for row in grades(entries, learners, cut):
        who, lesson = people[row["id"]], row["lesson"]
        entry = of.get((who.id, lesson))
        names = {"surname": who.last, "first name": who.first}
        late = _late(entry)
        row |= {"late (days)": "" if late is None else late}
        row |= {
            "date": _date(entry.handed_in) if entry else "",
            "note": f"{row['why']} {row['look']}".strip(),
        }
        whole = rows.setdefault(
            who.id, {"id": who.id, **names, "name": who.name, "group": who.group}
        )
        whole[f"{lesson} (%)"] = row["total (%)"]
        whole |= {
            f"{each} (%)": row[f"{each} (%)"] for each in asked if each.startswith(f"{lesson}/")
        }
        whole |= {f"{lesson} {what}": row[what] for what in OF_LESSON}
    return list(rows.values())


def _handed_in(entry: Entry | None, cut: bool) -> str:
    if entry is None:
        return "not known" if cut else _yes(entry)
    return "on paper" if entry.why == NO_FILE else _yes(entry)


def _asked(entries: Iterable[Entry]) -> list[str]:
    """The ids of the questions that somebody has a score in, lesson by lesson."""
    ordered = sorted(entries, key=lambda entry: entry.lesson)
    return list(dict.fromkeys(question for entry in ordered for question in entry.scores))


def _late(entry: Entry | None) -> int | None:
    """The days that an entry is late; None where that cannot be known."""
    known = entry and entry.terms.deadline and entry.handed_in
    return entry.days_late if entry and known else None


def _date(time: str) -> str:
    """A time for a spreadsheet, on this machine's clock; as it is where it has no offset."""
    if not time:
        return ""
    moment = datetime.fromisoformat(time)
    return f"{moment.astimezone() if moment.tzinfo else moment:%Y-%m-%d %H:%M}"


def one_roster(
    entries: Sequence[Entry],
    learners: Iterable[Learner],
    school: Mapping[str, str] | None = None,
    cut: bool = False,
) -> dict[str, tuple[Sequence[str], list[dict[str, str]]]]:
    """The files of the standard: a dict of file name to (columns, rows as dicts of text)."""
    school = SCHOOL | check_school(school or {})
    times = sorted(moment for entry in entries for moment in _moments(entry))
    items, results = [], []
    for lesson in sorted({entry.lesson for entry in entries}):
        mine = sorted(
            moment for entry in entries if entry.lesson == lesson for moment in _moments(entry)
        )
        items.append(_line_item(school, lesson, mine))
        results += [
            _result(school, lesson, learner, entry, mine[-1])
            for each, learner, entry in _pairs(entries, learners)
            if each == lesson and not (cut and entry is None)
        ]
    categories = (
        [{**_common(_id(school, "homework"), times[0]), "title": "Homework", "weight": ""}]
        if times
        else []
    )
    return {
        "manifest.csv": (("propertyName", "value"), _manifest()),
        "categories.csv": (CATEGORIES, categories),
        "lineItems.csv": (LINE_ITEMS, items),
        "results.csv": (RESULTS, results),
    }


def _manifest() -> list[dict[str, str]]:
    delta = {"categories", "lineItems", "results"}
    properties = {
        "manifest.version": "1.0",
        "oneroster.version": "1.2",
        **{f"file.{name}": "delta" if name in delta else "absent" for name in FILES},
        "source.systemName": "rigkit",
    }
    return [{"propertyName": name, "value": value} for name, value in properties.items()]


def _line_item(
    school: Mapping[str, str], lesson: str, moments: Sequence[datetime]
) -> dict[str, str]:
    title = lesson_title(lesson)
    return {
        **_common(_id(school, lesson), moments[-1]),
        "title": f"Homework {lesson}" + (f": {title}" if title else ""),
        "description": "Marked by measuring the answers.",
        "assignDate": moments[0].date().isoformat(),
        "dueDate": moments[-1].date().isoformat(),
        "categorySourcedId": _id(school, "homework"),
        "resultValueMin": "0",
        "resultValueMax": "100",
        **school,
    }


def _result(
    school: Mapping[str, str], lesson: str, learner: Learner, entry: Entry | None, last: datetime
) -> dict[str, str]:
    moment = max(_moments(entry)) if entry else last
    status = (
        "not submitted" if entry is None else "submitted" if entry.score is None else "fully graded"
    )
    return {
        **_common(_id(school, lesson, learner.id), moment),
        "lineItemSourcedId": _id(school, lesson),
        "studentSourcedId": _guid(learner.id),
        "scoreStatus": status,
        "score": str(_percent(entry.score if entry else None)),
        "scoreDate": moment.date().isoformat(),
        "comment": _comment(entry),
        "classSourcedId": school["classSourcedId"],
        "late": {None: "", 0: "false"}.get(_late(entry), "true"),
        "missing": "true" if entry is None else "false",
    }


def _comment(entry: Entry | None) -> str:
    if entry is None:
        return ""
    if entry.score is None:
        return f"Not marked: {entry.why}"
    right = sum(score == 1 for score in entry.scores.values())
    reasons = [f" {override.question} corrected: {override.reason}" for override in entry.overrides]
    return f"{right} of {len(entry.scores)} questions right.{''.join(reasons)}"


def _pairs(
    entries: Sequence[Entry], learners: Iterable[Learner]
) -> Iterator[tuple[str, Learner, Entry | None]]:
    """Every learner in every lesson that somebody handed in: (lesson, learner, entry or None)."""
    of = {(entry.lesson, entry.learner.id): entry for entry in entries}
    everyone = {
        learner.id: learner for learner in [*(entry.learner for entry in entries), *learners]
    }
    ordered = sorted(everyone.values(), key=lambda learner: (learner.name.casefold(), learner.id))
    for lesson in sorted({entry.lesson for entry in entries}):
        for learner in ordered:
            yield lesson, learner, of.get((lesson, learner.id))


def _moments(entry: Entry) -> list[datetime]:
    """The times when an entry was made and corrected."""
    texts = [entry.time, *(override.time for override in entry.overrides)]
    moments = (datetime.fromisoformat(text) for text in texts)
    return [
        moment.astimezone(UTC) if moment.tzinfo else moment.replace(tzinfo=UTC)
        for moment in moments
    ]


def _common(sourced_id: str, moment: datetime) -> dict[str, str]:
    return {
        "sourcedId": sourced_id,
        "status": "active",
        "dateLastModified": f"{moment:%Y-%m-%dT%H:%M:%S}.{moment.microsecond // 1000:03d}Z",
    }


def _id(school: Mapping[str, str], *words: str) -> str:
    """An id that is ours, the same each time and for this class alone."""
    return str(uuid.uuid5(_OURS, json.dumps([school["classSourcedId"], *words])))


def _guid(text: str) -> str:
    return (
        text
        if _GUID.fullmatch(text)
        else "sha256-" + hashlib.sha256(json.dumps(text).encode()).hexdigest()
    )


def check_school(given: Mapping[str, str]) -> dict[str, str]:
    """The values that only the school's system knows: see `write`, also for the errors."""
    for name, value in given.items():
        if name not in (*SCHOOL, *DAYS):
            raise ValueError(
                f"`school` must name what the standard has ({', '.join((*SCHOOL, *DAYS))}); got"
                f" {name!r}."
            )
        if name in SCHOOL and not (isinstance(value, str) and _GUID.fullmatch(value)):
            raise ValueError(
                f"`{name}` must be letters, digits and . / @ _ - (at most 255); got {value!r}. "
                "Copy it from the school's system."
            )
        if name in DAYS:
            _check_day(name, value)
    return dict(given)


def _check_day(name: str, value: str) -> None:
    try:
        ok = datetime.strptime(value, "%Y-%m-%d").strftime("%Y-%m-%d") == value
    except (TypeError, ValueError):
        ok = False
    if not ok:
        raise ValueError(f"`{name}` must be a day such as 2026-11-25; got {value!r}.")


def _percent(score: float | None) -> float | str:
    return "" if score is None else round(100 * score, 2)


def _yes(value: Any) -> str:
    return "yes" if value else "no"


def _csv(
    heads: Sequence[str], rows: Iterable[Mapping[str, Any]], decimal_comma: bool = False
) -> bytes:
    text, between = io.StringIO(), ";" if decimal_comma else ","
    writer = csv.DictWriter(text, heads, restval="", lineterminator="\r\n", delimiter=between)
    writer.writeheader()
    for row in rows:
        cells = {name: _cell(value) for name, value in row.items()}
        if decimal_comma:
            cells = {
                name: str(value).replace(".", ",") if isinstance(value, float) else value
                for name, value in cells.items()
            }
        writer.writerow(cells)
    return text.getvalue().encode()


def _cell(value: Any) -> Any:
    """A value as a spreadsheet may see it: a number, or one line of text that is never a formula.

    Numbers stay as they are.
    """
    if not isinstance(value, str):
        return value
    text = plain(value)
    return "'" + text if text.startswith(("=", "+", "-", "@", "＝", "＋", "－", "＠")) else text
