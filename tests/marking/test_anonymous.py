"""A class by number: no name on any page or table, one key, the same numbers in each run."""

import csv
import os
import stat
from dataclasses import asdict

import pytest

from rigkit import cli
from rigkit.marking import anonymous, correct, learner_page, report
from rigkit.marking.entry import Learner
from rigkit.marking.record import RECORD, Record
from rigkit.marking.results import open_results
from rigkit.marking.summary import Clock
from tests.marking.classroom import make_class, submission
from tests.marking.entries import entry

PEOPLE = (
    Learner("s-anchor", "Wren Quayside", "quay@parade.example", "Harbour", ("Birdie",)),
    Learner("s-bollard", "Ödön Mooring", first="Ödön", last="Mooring"),
    Learner("s-capstan", "Gesa Fairlead"),
)
SHOWN = ("class.html", "grades.csv", "results.csv", "lineItems.csv", "manifest.csv")


@pytest.fixture
def room(tmp_path):
    with Record(tmp_path / RECORD) as record:
        for who in PEOPLE[:2]:
            flags = (f'The notebook is made out to "{PEOPLE[0].name}".',)
            record.add(entry(who, file=f"{who.name}/06.ipynb", flags=flags, end="memory", why="x"))
        found = {
            "learners": [asdict(who) for who in PEOPLE],
            "lessons": ["06"],
            "problems": [[f"{PEOPLE[2].name}/letter.txt", "A text.", True]],
            "groups": [],
        }
        record.add_run(found)
        report.write_all(record, tmp_path)
        record.add_run(record.last_run() | {"anonymous": True})
        report.write_all(record, tmp_path)
    return tmp_path


def key(room):
    with open(room / "key.csv", newline="", encoding="utf-8-sig") as file:
        return {row["id"]: row["number"] for row in csv.DictReader(file)}


def everything_shown(room):
    pages = [*(room / "learners").iterdir(), *(room / name for name in SHOWN)]
    return "\n".join(f"{path.name}\n{path.read_text('utf-8')}" for path in pages)


def test_no_page_or_table_names_anybody(room):
    shown = everything_shown(room).casefold()
    for who in PEOPLE:
        names = [who.id, *who.name.split(), *who.also, who.email.partition("@")[0]]
        assert [name for name in names if name and name.casefold() in shown] == []
    assert "harbour" not in shown
    assert sorted(path.name for path in (room / "learners").iterdir()) == sorted(
        f"{key(room)[who.id]}.html" for who in PEOPLE[:2]
    )


def test_what_is_said_by_hand_or_by_an_answer_names_nobody_either(room):
    words = f"{PEOPLE[0].name} and BIRDIE did it; Mooring's knee is right."
    given = [correct.Correction(PEOPLE[1].id, "06/steps", 1, words, words)]
    correct.apply(room, given)
    shown = everything_shown(room)
    assert "… … and … did it; …" in shown
    test_no_page_or_table_names_anybody(room)


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX's")
def test_the_key_says_who_is_who_to_its_owner_alone(room):
    assert set(key(room)) == {who.id for who in PEOPLE}
    assert sorted(key(room).values()) == ["number-001", "number-002", "number-003"]
    assert stat.S_IMODE((room / "key.csv").stat().st_mode) == 0o600


def test_numbers_stay_when_others_come(room):
    before = key(room)
    late = Learner("a-first", "Aaron First")
    with Record(room / RECORD) as record:
        everyone = [asdict(who) for who in (late, *PEOPLE)]
        record.add_run(record.last_run() | {"learners": everyone})
        report.write_all(record, room)
    assert key(room) == before | {"a-first": "number-004"}


def test_a_number_can_be_corrected_and_its_name_is_not_told(room, capsys):
    number = key(room)[PEOPLE[0].id]
    words = ["--override", number, "06/steps", "0.5", "--reason", "told me"]
    assert cli.main(["mark", "--out", str(room), *words]) == 0
    said = capsys.readouterr().out
    assert "No. 00" in said
    assert "Wren" not in said
    with Record(room / RECORD, create=False) as record:
        assert next(record.entries(learner=PEOPLE[0].id)).scores["06/steps"] == 0.5


def test_the_notebook_writes_tables_by_number_too(room):
    with Record(room / RECORD) as record:
        record.add_run(record.last_run() | {"decimal_comma": True})
    open_results(room).write_tables()
    text = (room / "grades.csv").read_text("utf-8-sig")
    assert text.startswith("id;surname;")
    test_no_page_or_table_names_anybody(room)


def test_names_come_back_when_they_are_asked_for(room):
    with Record(room / RECORD) as record:
        record.add_run(record.last_run() | {"anonymous": False})
        report.write_all(record, room)
    assert PEOPLE[0].name in (room / "class.html").read_text("utf-8")
    pages = {path.name for path in (room / "learners").iterdir()}
    assert pages == {"s-anchor.html", "s-bollard.html"}


# --- while a class is marked


@pytest.fixture
def handed_in(tmp_path):
    """A class: right, unreadable, missing, and a file that is nobody's."""
    make_class(tmp_path, 4, kinds=("right", "unreadable", "missing", "blank"))
    (tmp_path / "submissions" / "Wren Quayside").mkdir()
    (tmp_path / "submissions" / "Wren Quayside" / "mine.ipynb").write_bytes(submission("right"))
    return tmp_path


def named(folder, *also):
    """The words that name somebody of the class in what a folder shows, and in other texts."""
    with open(folder / "roster.csv", newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    names = [word for row in rows for word in (*row["name"].split(), row["id"])]
    private = (RECORD, ".lock", anonymous.KEY)
    shown = [path for path in (folder / "results").rglob("*") if path.name not in private]
    texts = [path.name for path in shown]
    texts += [path.read_text("utf-8", "replace") for path in shown if path.is_file()]
    said = "\n".join([*texts, *also]).casefold()
    return [w for w in [*names, "Wren", "Quayside"] if w.casefold() in said]


def mark(room, *more):
    words = ["--roster", str(room / "roster.csv"), "--out", str(room / "results")]
    return cli.main(["mark", str(room / "submissions"), *words, *more])


def watched(room, monkeypatch):
    """A list that gets what names somebody in the results after each submission."""
    seen, tick = [], Clock.tick
    monkeypatch.setattr(Clock, "tick", lambda *of: (seen.append(named(room)), tick(*of)))
    return seen


@pytest.mark.needs_jail
@pytest.mark.parametrize("json", [[], ["--json"]])
def test_nobody_is_named_from_the_start_to_the_last_word(
    handed_in, here, capsys, monkeypatch, json
):
    seen, write, pages = watched(handed_in, monkeypatch), learner_page.write_html, []
    monkeypatch.setattr(
        learner_page, "write_html", lambda *of: (pages.append(of[0].id), write(*of))
    )
    assert mark(handed_in, "--anonymous", *json) == 1
    assert {page.rstrip("0123456789") for page in pages} == {"number-"}
    assert seen == [[], [], []]
    said = capsys.readouterr()
    assert named(handed_in, said.out, said.err) == []
    for words in ("No. 00", "file 1") if not json else ('"number-00', '"file 1"'):
        assert words in said.out
    assert len(list((handed_in / "results" / "learners").iterdir())) == 3


@pytest.mark.needs_jail
def test_what_named_people_before_is_gone_before_anything_is_marked(
    handed_in, here, capsys, monkeypatch
):
    assert mark(handed_in) == 1
    assert "Wren" in capsys.readouterr().out
    assert named(handed_in)
    seen = watched(handed_in, monkeypatch)
    assert mark(handed_in, "--anonymous", "--again") == 1
    assert seen == [[], [], []]


def test_a_short_word_is_no_name():
    mask = anonymous.Mask({"1": 1}, (Learner("1", "Al O"),))
    assert mask.text("al 1 knee at 0.1 cm") == "al 1 knee at 0.1 cm"
