"""The tables of a marked class: a spreadsheet's, and those of OneRoster 1.2.

The standard is 1EdTech's OneRoster CSV Binding 1.2.1 (imsglobal.org/spec/oneroster/v1p2/bind/csv).
Only the opening of its text could be read; each rule is checked as two open programs for it state
it: LongsightGroup/oneroster (files one-roster-csv-gradebook-schema.ts, -primitive.ts,
-record-lifecycle.ts, -manifest.ts, csv.ts), whose authors run the standard's own certification
cases, and a published set of row schemas for its files, which has the same columns in the same
order and the same ones required.
"""

import csv
import io
import re
from dataclasses import replace
from datetime import datetime

import pytest

from rigkit.marking import roster, tables
from rigkit.marking.entry import Learner, Override, Terms
from tests.marking.entries import HOSTILE, entry, learner, room

MORE = ("manifest.csv", "categories.csv", "lineItems.csv", "results.csv")

# Columns in exact order: one-roster-csv-gradebook-schema.ts.
COLUMNS = {
    "manifest.csv": "propertyName value",
    "categories.csv": "sourcedId status dateLastModified title weight",
    "lineItems.csv": (
        "sourcedId status dateLastModified title description assignDate dueDate classSourcedId "
        "categorySourcedId academicSessionSourcedId resultValueMin resultValueMax schoolSourcedId"
    ),
    "results.csv": (
        "sourcedId status dateLastModified lineItemSourcedId studentSourcedId scoreStatus score"
        " scoreDate comment textScore classSourcedId inProgress incomplete late missing"
    ),
}
# What must not be empty: one-roster-csv-gradebook-record-engine.ts; in a delta also status and
# dateLastModified.
REQUIRED = {
    "categories.csv": "sourcedId status dateLastModified title",
    "lineItems.csv": (
        "sourcedId status dateLastModified title assignDate dueDate classSourcedId"
        " categorySourcedId academicSessionSourcedId schoolSourcedId"
    ),
    "results.csv": (
        "sourcedId status dateLastModified lineItemSourcedId studentSourcedId scoreStatus scoreDate"
    ),
}
GUID = re.compile(r"[0-9A-Za-z./@_-]{1,255}")  # one-roster-csv-primitive.ts
DAY = re.compile(r"\d{4}-\d{2}-\d{2}")
MOMENT = re.compile(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}\.\d{3}Z")
SCORE_STATUS = {"exempt", "fully graded", "not submitted", "partially graded", "submitted"}
# one-roster-csv-file.ts
DATA_FILES = {
    "academicSessions",
    "categories",
    "classes",
    "classResources",
    "courseResources",
    "courses",
    "demographics",
    "enrollments",
    "lineItemLearningObjectiveIds",
    "lineItems",
    "lineItemScoreScales",
    "orgs",
    "resources",
    "resultLearningObjectiveIds",
    "results",
    "resultScoreScales",
    "roles",
    "scoreScales",
    "userProfiles",
    "userResources",
    "users",
}


def written(folder, entries, learners=(), school=None):
    """Every table that was written: its columns, and its rows as dicts."""
    tables.write(entries, learners, folder, school)
    found = {}
    for name in ("grades.csv", *MORE):
        text = (folder / name).read_bytes().decode("utf-8-sig" if name == "grades.csv" else "utf-8")
        reader = csv.DictReader(io.StringIO(text, newline=""), strict=True)
        found[name] = list(reader)
        assert all(None not in row and None not in row.values() for row in found[name])
        found[name, "columns"] = reader.fieldnames
    return found


# --- for a spreadsheet


def test_there_is_a_row_for_every_learner_with_all_lessons(tmp_path):
    found, everyone = room(60)
    found.append(entry(everyone[0], "07"))
    rows = written(tmp_path, found, everyone)["grades.csv"]
    ordered = sorted(everyone, key=lambda who: (who.name.casefold(), who.id))
    assert [row["id"] for row in rows] == [who.id for who in ordered]
    missing = {who.id for who in everyone} - {one.learner.id for one in found}
    assert {row["id"] for row in rows if row["06 handed in"] == "no"} == missing
    assert [row["id"] for row in rows if row["07 handed in"] == "yes"] == [everyone[0].id]
    columns = written(tmp_path, found, everyone)["grades.csv", "columns"]
    assert columns[:6] == ["id", "surname", "first name", "name", "group", "06 (%)"]
    assert columns.index("07/swivel (%)") > columns.index("07 (%)") > columns.index("06 note")


def test_names_are_as_the_roster_has_them(tmp_path):
    (tmp_path / "roster.csv").write_text("id,surname,first name\np1,van Mast,Åse Ida\n", "utf-8")
    (who,) = roster.read(tmp_path / "roster.csv")
    (row,) = written(tmp_path, [entry(who)])["grades.csv"]
    assert (row["surname"], row["first name"]) == ("van Mast", "Åse Ida")
    (row,) = written(tmp_path, [entry(learner(1))])["grades.csv"]
    assert (row["surname"], row["first name"], row["name"]) == ("", "", learner(1).name)


def test_when_it_was_handed_in_and_how_late(tmp_path):
    terms = Terms({"06/steps": 1.0}, "2026-12-01T18:00:00")
    found = [
        entry(learner(1), handed_in="2026-12-01T17:00:00").under(terms),
        entry(learner(2), handed_in="2026-12-02T18:30:00").under(terms),
        entry(learner(3)).under(terms),
    ]
    made = written(tmp_path, found, [learner(4)])
    rows = {row["id"]: (row["06 date"], row["06 late (days)"]) for row in made["grades.csv"]}
    assert rows == {
        "p0001": ("2026-12-01 17:00", "0"),
        "p0002": ("2026-12-02 18:30", "2"),
        "p0003": ("", ""),
        "p0004": ("", ""),
    }
    late = {row["studentSourcedId"]: row["late"] for row in made["results.csv"]}
    assert late == {"p0001": "false", "p0002": "true", "p0003": "", "p0004": ""}


def test_a_decimal_comma_is_for_the_spreadsheet_alone(tmp_path):
    found = entry(learner(1), kinds={"steps": "blank"}, flags=("at 0.5; or so",))
    written(tmp_path, [found])
    others = {name: (tmp_path / name).read_bytes() for name in MORE}
    tables.write([found], [], tmp_path, decimal_comma=True)
    assert {name: (tmp_path / name).read_bytes() for name in MORE} == others
    text = (tmp_path / "grades.csv").read_text("utf-8-sig")
    (row,) = csv.DictReader(io.StringIO(text), delimiter=";")
    assert (row["06 (%)"], row["06/steps (%)"], row["06 note"]) == (
        "85,71",
        "0,0",
        "at 0.5; or so",
    )


def test_scores_are_percents_and_read_back(tmp_path):
    found = entry(
        learner(1),
        kinds={"solve_leg": "sign of y", "steps": "blank"},
        overrides=(Override("06/freedom", 0.125, "seen", "2026-11-26T09:00:00+00:00"),),
    )
    (row,) = written(tmp_path, [found])["grades.csv"]
    for question, score in found.scores.items():
        assert float(row[f"{question} (%)"]) == pytest.approx(100 * score, abs=0.005)
    assert float(row["06 (%)"]) == pytest.approx(100 * found.score, abs=0.005)
    assert row["06/freedom (%)"] == "12.5"
    assert (row["06 handed in"], row["06 marked"], row["06 corrected"], row["06 end"]) == (
        "yes",
        "yes",
        "yes",
        "finished",
    )


def test_not_marked_has_no_score(tmp_path):
    (row,) = written(
        tmp_path, [entry(learner(1), marked=False, outcomes=(), end="", why="Unreadable.")]
    )["grades.csv"]
    assert (row["06 (%)"], row["06 marked"], row["06 note"]) == ("", "no", "Unreadable.")


def test_a_spreadsheet_is_told_that_it_is_utf_8(tmp_path):
    tables.write([entry(Learner("z", "Zoë"))], [], tmp_path)
    assert (tmp_path / "grades.csv").read_bytes().startswith(b"\xef\xbb\xbfid,surname,")
    assert not (tmp_path / "results.csv").read_bytes().startswith(b"\xef\xbb\xbf")


FORMULAS = [
    "=1+1",
    "+1",
    "-1",
    "@x",
    "\t=1",
    "\r=1",
    "\n=1",
    " =1",
    "\x00=1",
    "\x1b\x85-1",
    "＝1",
    "＠x",
]


@pytest.mark.parametrize("text", FORMULAS)
def test_no_cell_is_a_formula(tmp_path, text):
    found = entry(
        Learner(text, text, group=text),
        why=text,
        flags=(text,),
        end="memory",
        overrides=(Override("06/steps", 0.4, text, "2026-11-26T09:00:00+00:00"),),
    )
    for name, rows in written(tmp_path, [found]).items():
        if isinstance(name, str):
            cells = [cell for row in rows for cell in row.values()]
            assert [cell for cell in cells if re.match(r"\s*[=+\-@＝＋－＠\t\r]", cell)] == []


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: repr(text[:12]))
def test_hostile_text_stays_in_its_cell(tmp_path, text):
    text += '",\r\n"'
    found = entry(
        Learner(text, text, group=text),
        why=text,
        flags=(text,),
        end="memory",
        overrides=(Override("06/steps", 0.4, text, "2026-11-26T09:00:00+00:00"),),
    )
    made = written(tmp_path, [found])
    assert [len(made[name]) for name in ("grades.csv", "results.csv")] == [1, 1]
    check_standard(made)
    assert all(
        len(cell) < 20_000
        for name in ("grades.csv", *MORE)
        for row in made[name]
        for cell in row.values()
    )


def test_the_same_entries_make_the_same_bytes(tmp_path):
    found, everyone = room(30)
    tables.write(found, everyone, tmp_path)
    first = {name: (tmp_path / name).read_bytes() for name in ("grades.csv", *MORE)}
    tables.write(found[::-1], everyone[::-1], tmp_path)
    assert {name: (tmp_path / name).read_bytes() for name in first} == first


def test_an_empty_class_has_its_columns(tmp_path):
    made = written(tmp_path, [])
    assert made["grades.csv"] == made["results.csv"] == []
    check_standard(made)


# --- for a school's system


def check_standard(made):
    for name, columns in COLUMNS.items():
        assert made[name, "columns"] == columns.split()
    for name, required in REQUIRED.items():
        for row in made[name]:
            assert [column for column in required.split() if not row[column]] == []
            assert row["status"] == "active"  # or "tobedeleted", which nothing of ours is
            for column, value in row.items():
                assert not re.search(r"[\r\n]", value)  # csv.ts: no line breaks in fields
                if column.endswith("ourcedId"):
                    assert GUID.fullmatch(value), (column, value)
                if column in ("assignDate", "dueDate", "scoreDate"):
                    assert DAY.fullmatch(value)
                    datetime.strptime(value, "%Y-%m-%d")
            assert MOMENT.fullmatch(row["dateLastModified"])
            datetime.strptime(row["dateLastModified"], "%Y-%m-%dT%H:%M:%S.%fZ")
        ids = [row["sourcedId"] for row in made[name]]
        assert len(set(ids)) == len(ids)
    for row in made["results.csv"]:
        assert row["scoreStatus"] in SCORE_STATUS
        assert row["score"] == "" or 0 <= float(row["score"]) <= 100
        assert {row[name] for name in ("inProgress", "incomplete", "late", "missing")} <= {
            "true",
            "false",
            "",
        }
    for row in made["lineItems.csv"]:
        assert float(row["resultValueMin"]) < float(row["resultValueMax"])
    categories, items = (
        {row["sourcedId"] for row in made[name]} for name in ("categories.csv", "lineItems.csv")
    )
    assert {row["categorySourcedId"] for row in made["lineItems.csv"]} == categories
    assert {row["lineItemSourcedId"] for row in made["results.csv"]} == items
    check_manifest({row["propertyName"]: row["value"] for row in made["manifest.csv"]})


def check_manifest(properties):
    """one-roster-csv-manifest.ts: both versions, every data file once, nothing unknown."""
    assert properties.pop("manifest.version") == "1.0"
    assert properties.pop("oneroster.version") == "1.2"
    assert properties.pop("source.systemName") == "rigkit"
    assert set(properties) == {f"file.{name}" for name in DATA_FILES}
    there = {f"file.{name[:-4]}" for name in MORE[1:]}
    assert properties == {name: "delta" if name in there else "absent" for name in properties}


def test_a_class_is_as_the_standard_has_it(tmp_path):
    found, everyone = room(60)
    made = written(tmp_path, [*found, entry(everyone[0], "07")], everyone)
    check_standard(made)
    assert len(made["lineItems.csv"]) == 2
    assert len(made["results.csv"]) == 120


def test_a_result_says_whether_it_was_handed_in_and_marked(tmp_path):
    found = [
        entry(learner(1), kinds={"steps": "blank"}),
        entry(learner(2), marked=False, end="", outcomes=(), why="unreadable."),
    ]
    rows = {
        row["studentSourcedId"]: row
        for row in written(tmp_path, found, [learner(3)])["results.csv"]
    }
    assert {
        who: (row["scoreStatus"], row["score"], row["missing"]) for who, row in rows.items()
    } == {
        "p0001": ("fully graded", "85.71", "false"),
        "p0002": ("submitted", "", "false"),
        "p0003": ("not submitted", "", "true"),
    }


def test_marking_again_or_correcting_changes_the_same_result(tmp_path):
    first = written(tmp_path, [entry(learner(1))])["results.csv"][0]
    later = entry(
        learner(1),
        kinds={"steps": "blank"},
        time="2026-12-01T23:30:00.25-02:00",
        overrides=(Override("06/freedom", 0.5, "seen", "2026-11-30T09:00:00+00:00"),),
    )
    second = written(tmp_path, [later])["results.csv"][0]
    assert second["sourcedId"] == first["sourcedId"]
    assert (second["dateLastModified"], second["scoreDate"]) == (
        "2026-12-02T01:30:00.250Z",
        "2026-12-02",
    )
    assert "06/freedom corrected: seen" in second["comment"]


def test_what_only_the_school_knows_can_be_given(tmp_path):
    school = {
        "classSourcedId": "class-7b",
        "academicSessionSourcedId": "term/2",
        "schoolSourcedId": "s@1",
        "assignDate": "2026-11-02",
        "dueDate": "2026-11-23",
    }
    made = written(tmp_path, [entry(learner(1))], school=school)
    check_standard(made)
    (item,) = made["lineItems.csv"]
    assert {name: item[name] for name in school} == school
    assert made["results.csv"][0]["classSourcedId"] == "class-7b"
    other = written(tmp_path, [entry(learner(1))], school=school | {"classSourcedId": "class-8a"})
    assert other["lineItems.csv"][0]["sourcedId"] != item["sourcedId"]


@pytest.mark.parametrize(
    ("school", "message"),
    [
        ({"class": "x"}, "`school` must name what the standard has .*got 'class'"),
        ({"classSourcedId": "a b"}, "`classSourcedId` must be letters"),
        ({"schoolSourcedId": ""}, "`schoolSourcedId` must be letters"),
        ({"schoolSourcedId": 7}, "`schoolSourcedId` must be letters"),
        ({"dueDate": "23.11.2026"}, "`dueDate` must be a day such as"),
        ({"dueDate": "2026-02-30"}, "`dueDate` must be a day such as"),
        ({"assignDate": None}, "`assignDate` must be a day such as"),
    ],
)
def test_what_the_standard_does_not_have_is_refused(tmp_path, school, message):
    with pytest.raises(ValueError, match=message):
        tables.write([entry(learner(1))], [], tmp_path, school)
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "text", ["two words", "Zoë", "", "x" * 256, "-1", "@x", "a\ud800", "a\x00b"]
)
def test_an_id_the_standard_does_not_allow_becomes_a_digest(tmp_path, text):
    (row,) = written(tmp_path, [entry(Learner(text, "x"))])["results.csv"]
    assert re.fullmatch("sha256-[0-9a-f]{64}", row["studentSourcedId"])
    assert (
        replace(Learner(text, "x"), id="p-1.a/b@c_d").id
        == written(tmp_path, [entry(Learner("p-1.a/b@c_d", "x"))])["results.csv"][0][
            "studentSourcedId"
        ]
    )


def test_nobody_is_said_to_have_handed_in_nothing_where_the_list_was_cut_short(tmp_path):
    here, absent = learner(1), learner(2)
    tables.write([entry(here), entry(here, "05"), entry(absent, "05")], [here, absent], tmp_path)
    text = (tmp_path / "results.csv").read_text(encoding="utf-8")
    assert text.count("not submitted") == 1
    tables.write(
        [entry(here), entry(here, "05"), entry(absent, "05")], [here, absent], tmp_path, cut=True
    )
    assert "not submitted" not in (tmp_path / "results.csv").read_text(encoding="utf-8")
    with open(tmp_path / "grades.csv", newline="", encoding="utf-8-sig") as file:
        said = {row["id"]: row["06 handed in"] for row in csv.DictReader(file)}
    assert said[absent.id] == "not known"
    assert said[here.id] == "yes"
