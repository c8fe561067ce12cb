"""What a teacher gives by hand: a table of scores and sentences, and that runs were looked at."""

import csv
import shutil

import pytest

from rigkit import cli
from rigkit.marking import correct, corrections
from rigkit.marking.record import RECORD, Record
from tests.marking import entries
from tests.marking.entries import entry

WREN, ODO, PIP = entries.learner(1), entries.learner(2), entries.learner(3)
FLAG = "A look is due."


@pytest.fixture
def room(tmp_path):
    """Results of three learners: one right, one flagged, one who handed in nothing."""
    with Record(tmp_path / RECORD) as record:
        record.add(entry(WREN, kinds={"steps": "blank"}))
        record.add(entry(ODO, flags=(FLAG,)))
        learners = [vars(each) for each in (WREN, ODO, PIP)]
        record.add_run({"learners": learners, "lessons": ["06"]})
    return tmp_path


def table(room, *rows, heads="learner,question,score,reason,feedback,seen"):
    path = room / "corrections.csv"
    path.write_text("\n".join([heads, *rows]) + "\n", encoding="utf-8")
    return ["mark", "--out", str(room), "--corrections", str(path)]


def found(room, learner):
    with Record(room / RECORD, create=False) as record:
        return next(iter(record.entries(learner=learner.id)), None)


def grades(room):
    with open(room / "grades.csv", newline="", encoding="utf-8-sig") as file:
        return {row["id"]: row for row in csv.DictReader(file)}


def page(room, learner):
    return (room / "learners" / f"{learner.id}.html").read_text("utf-8")


def test_a_table_corrects_questions_and_lessons_of_anyone_on_the_roster(room, capsys):
    said = table(
        room,
        f'{WREN.id},06/steps,"0,5",told me in class,,',
        f"{ODO.name},06,80 %,too much help,Draw it first.,",
        f"{PIP.id},6,0.9,handed in on paper,,",
    )
    assert cli.main(said) == 0
    assert "3 rows for 3 learners" in capsys.readouterr().out
    assert found(room, WREN).scores["06/steps"] == 0.5
    assert [found(room, each).score for each in (ODO, PIP)] == [0.8, 0.9]
    assert found(room, ODO).scores == entry(ODO).scores
    assert "Your teacher says:</strong> Draw it first." in page(room, ODO)
    assert "handed in on paper" in page(room, PIP).casefold()
    assert "given by your teacher:</strong> 90" in page(room, PIP)
    row = grades(room)[PIP.id]
    assert (row["06 handed in"], row["06 (%)"]) == ("on paper", "90.0")
    home = (room / "class.html").read_text("utf-8")
    assert 'id="missing"' not in home
    assert "not marked" not in home.split("<section")[1]


def test_the_same_table_again_changes_nothing(room):
    said = table(room, f"{WREN.id},06/steps,1,right,Well done.,yes")
    assert cli.main(said) == 0
    with Record(room / RECORD) as record:
        before = [*record._rows("SELECT * FROM overrides"), *record._rows("SELECT * FROM remarks")]
    assert len(before) == 3
    assert cli.main(said) == 0
    with Record(room / RECORD) as record:
        after = [*record._rows("SELECT * FROM overrides"), *record._rows("SELECT * FROM remarks")]
    assert after == before


def test_feedback_alone_changes_no_score(room):
    before = found(room, WREN).score
    assert cli.main(table(room, f"{WREN.id},06/freedom,,,Look at your signs.,")) == 0
    assert found(room, WREN).score == before
    assert "Look at your signs." in page(room, WREN)


def test_feedback_of_one_who_handed_in_nothing_is_no_score(room):
    assert cli.main(table(room, f"{PIP.id},06,,,Bring it tomorrow.,")) == 0
    assert found(room, PIP).score is None
    assert "Bring it tomorrow." in page(room, PIP)


def test_a_surname_may_stand_first_and_the_columns_in_any_order(room):
    first, last = WREN.name.split(" ", 1)
    row = f"06;0,5;{last}, {first};steps;why not"
    assert cli.main(table(room, row, heads="lesson;score;learner;question;reason")) == 0
    assert found(room, WREN).scores["06/steps"] == 0.5


BAD = {
    "nobody of that name": (["p9999,06,1,x,,"], "row 3: 'p9999' is nobody in this class"),
    "no learner": ([",06,1,x,,"], "row 3: the learner is missing"),
    "no such question": (["p0001,06/walk,1,x,,"], "row 3: No question is called '06/walk'"),
    "no question": (["p0001,,1,x,,"], "row 3: No question is called ''"),
    "a score too high": (["p0001,06,1.5,x,,"], "row 3: A score must be per cent such as 80%"),
    "a score in words": (["p0001,06,good,x,,"], "row 3: A score must be per cent such as 80%"),
    "a score that is none": (["p0001,06,nan,x,,"], "row 3: A score must be per cent such as 80%"),
    "no reason": (["p0001,06,1,,,"], "row 3: A correction needs a reason"),
    "nothing said": (["p0001,06,,,,"], "row 3: There is neither a score nor feedback"),
    "seen in doubt": (["p0001,06,,,,maybe"], "row 3: `seen` must be yes or empty; got 'maybe'"),
    "too many cells": (["p0001,06,1,a,b,,c"], "row 3 has more cells than there are columns"),
    "the second of two": (["", "p0001,07/x,1,x,,"], "row 4: No question is called '07/x'"),
}


@pytest.mark.parametrize("what", BAD)
def test_a_bad_row_is_said_with_its_number_and_nothing_is_applied(room, capsys, what):
    rows, word = BAD[what]
    before = (room / RECORD).read_bytes()
    assert cli.main(table(room, f"{WREN.id},06/steps,1,right,Well done.,yes", *rows)) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert word in told
    assert (room / RECORD).read_bytes() == before
    assert found(room, WREN).scores["06/steps"] == 0
    assert not (room / "grades.csv").exists()


@pytest.mark.parametrize(
    ("heads", "word"),
    [
        ("learner,question,mark", "a column is called 'mark'"),
        ("learner,question,score,score", "called 'score' again"),
        ("name,score", "the first row must name the columns"),
    ],
)
def test_heads_that_cannot_be_are_said(room, capsys, heads, word):
    assert cli.main(table(room, "p0001,06,1,x", heads=heads)) == 2
    assert word in capsys.readouterr().err


@pytest.mark.parametrize("data", [b"", b"learner,question,score\n", b"\xff\xfea", b"\x00" * 30])
def test_what_is_no_table_is_said(room, data):
    (room / "corrections.csv").write_bytes(data)
    with pytest.raises(ValueError, match=r"corrections\.csv"):
        corrections.read(room / "corrections.csv")


def test_a_name_that_two_have_is_not_guessed(room):
    with Record(room / RECORD) as record:
        twin = vars(WREN) | {"id": "twin"}
        record.add_run({"learners": [twin, *map(vars, (WREN, ODO, PIP))], "lessons": ["06"]})
    with pytest.raises(ValueError, match="is the name of several in this class"):
        correct.correct(room, WREN.name, "06", 1, "x")


# --- what was looked at


def test_what_is_seen_leaves_the_list_until_another_file_comes(room, capsys):
    correct.apply(room, [correct.Correction(WREN.id, "06/steps", feedback="So.")])
    assert FLAG in (room / "class.html").read_text("utf-8")
    assert cli.main(["mark", "--out", str(room), "--seen", ODO.id]) == 0
    assert f"{ODO.name}, 06: seen" in capsys.readouterr().out
    assert FLAG not in (room / "class.html").read_text("utf-8")
    with Record(room / RECORD) as record:
        record.add(entry(ODO, flags=(FLAG,)))
    assert not found(room, ODO).needs_a_look
    with Record(room / RECORD) as record:
        record.add(entry(ODO, flags=(FLAG,), digest="cd" * 32))
    assert found(room, ODO).needs_a_look


def test_a_table_can_say_that_it_was_seen(room):
    assert cli.main(table(room, f"{ODO.id},06,yes", heads="learner,lesson,seen")) == 0
    assert not found(room, ODO).needs_a_look
    assert found(room, ODO).flags == (FLAG,)


@pytest.mark.parametrize(
    ("words", "word"),
    [
        (["p9999"], "'p9999' is nobody"),
        (["p0002", "99"], "No question is called '99'"),
        (["p0003"], "handed in nothing that could be looked at"),
        (["p0002", "07"], "handed in nothing that could be looked at"),
    ],
)
def test_what_cannot_be_seen_is_said(room, capsys, words, word):
    before = (room / RECORD).read_bytes()
    assert cli.main(["mark", "--out", str(room), "--seen", *words]) == 2
    assert word in capsys.readouterr().err
    assert (room / RECORD).read_bytes() == before


def test_a_record_from_before_there_were_remarks_is_read_and_added_to(room):
    copy = room / "older"
    copy.mkdir()
    shutil.copy(room / RECORD, copy / RECORD)
    with Record(copy / RECORD) as record:
        assert [*record._rows("SELECT name FROM sqlite_master WHERE name = 'remarks'")] == []
        assert len(list(record.entries())) == 2
    correct.apply(copy, [correct.Correction(WREN.id, "06/steps", feedback="So.")])
    assert found(copy, WREN).feedback == {"06/steps": "So."}
