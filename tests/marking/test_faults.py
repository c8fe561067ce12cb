"""Obstacles to marking: what is said and what is left; nothing recorded is ever lost."""

import errno
import json
import os
import sqlite3
from dataclasses import replace
from pathlib import Path

import pytest

from rigkit import cli, course
from rigkit.marking import learner_page, pipeline
from rigkit.marking import record as records
from rigkit.marking.entry import NOT_STARTED
from rigkit.marking.jail import JailError
from rigkit.marking.pipeline import mark_task
from rigkit.marking.record import RECORD, Record, sole
from tests.marking.classroom import make_class
from tests.marking.test_pipeline import entries, files, history, mark

pytestmark = pytest.mark.needs_jail


@pytest.fixture
def room(tmp_path):
    make_class(tmp_path, 3, kinds=("right", "blank", "partly"))
    return tmp_path


def said(capsys, *arguments):
    """The exit status of a command and what it says."""
    try:
        status = cli.main(list(map(str, arguments)))
    except SystemExit as end:
        status = end.code
    return status, capsys.readouterr().err


# --- wrong use: 2, and nothing is made


@pytest.mark.parametrize(
    ("words", "why"),
    [
        (["nowhere", "--out", "results"], "nowhere"),
        (["roster.csv", "--out", "results"], "neither a folder nor a zip"),
        (["submissions"], "--out"),
        (["--out", "results"], "SUBMISSIONS is missing"),
        (["submissions", "--out", "roster.csv"], "is a file"),
        (["submissions", "--out", "submissions/results"], "Choose a folder outside"),
        (["submissions", "--out", "results", "--roster", "nobody.csv"], "nobody.csv"),
        (["submissions", "--out", "results", "--roster", "twice.csv"], "p1"),
        (["submissions", "--out", "results", "--lesson", "99"], "99"),
        (["submissions", "--out", "results", "--workers", "0"], "from 1 on"),
        (["submissions", "--out", "results", "--workers", "many"], "from 1 on"),
        (["submissions", "--out", "results", "--allow", "abacus"], "not installed beside the kit"),
        (["submissions", "--out", "results", "--allow", "../x"], "not installed beside the kit"),
        (["submissions", "--out", "results", "--jail", "none"], "invalid choice: 'none'"),
        (
            ["submissions", "--out", "results", "--jail", "landlock", "--unsafe-no-jail"],
            "not allowed with argument",
        ),
        (["submissions", "--out", "results", "--reason", "why"], "--override"),
        (
            [
                "submissions",
                "--out",
                "results",
                "--override",
                "p0000",
                "06/solve_leg",
                "1",
                "--reason",
                "why",
            ],
            "Leave out the rest",
        ),
        (["submissions", "--out", "results", "--school", "class=7b"], "classSourcedId"),
        (["submissions", "--out", "results", "--school", "dueDate=soon"], "must be a day"),
        (
            ["--out", "results", "--override", "p0000", "06/solve_leg", "1", "--reason", "why"],
            "no record of marks",
        ),
        (["--out", "results", "--override", "p0000", "06/solve_leg"], "expected 3 arguments"),
    ],
)
def test_wrong_use_is_said_in_a_line_and_makes_nothing(room, capsys, monkeypatch, words, why):
    monkeypatch.chdir(room)
    Path("twice.csv").write_text("id,name\np1,A\np1,B\n")
    before = sorted(room.rglob("*"))
    status, error = said(capsys, "mark", *words)
    assert status == 2
    assert why in error
    assert "Traceback" not in error
    assert sorted(room.rglob("*")) == before


# --- something in the way: 1, and the same command goes on


def test_without_a_jail_nobody_is_marked_and_it_is_said_why(room, capsys, monkeypatch):
    def none(kind, **_):
        raise JailError("the program bwrap is missing: install `bubblewrap`.")

    monkeypatch.setattr(pipeline, "open_jail", none)
    status, error = said(capsys, "mark", room / "submissions", "--out", room / "results")
    assert status == 1
    assert "install `bubblewrap`" in error
    assert history(room) == []


def test_a_jail_that_fails_its_test_marks_nobody(room, capsys, monkeypatch):
    class Leaky:
        def self_test(self):
            raise JailError("the jail does not hold.")

    monkeypatch.setattr(pipeline, "open_jail", lambda kind, **_: Leaky())
    status, error = said(capsys, "mark", room / "submissions", "--out", room / "results")
    assert status == 1
    assert "does not hold" in error
    assert history(room) == []


def test_where_one_jail_did_not_start_that_one_is_not_marked_and_is_tried_again(
    room, here, capsys, monkeypatch
):
    def fails_once(task, jail):
        made = mark_task(task, jail)
        if task.learner.id != "p0001":
            return made
        return replace(
            made,
            entries=tuple(
                replace(entry, marked=False, end=NOT_STARTED, why="It did not start.")
                for entry in made.entries
            ),
        )

    here._work = fails_once
    assert mark(room) == 1
    assert "It did not start." in capsys.readouterr().out
    assert entries(room)["p0001"].score is None
    here._work = mark_task
    assert mark(room) == 0
    assert here.lots[-1] == ["p0001"]
    assert entries(room)["p0001"].score == 0


def test_two_at_once_on_one_folder_of_results(room, here, capsys):
    assert mark(room) == 0
    before = files(room / "results")
    with sole(room / "results"):
        status, error = said(
            capsys, "mark", room / "submissions", "--out", room / "results", "--again"
        )
        assert status == 1
        assert "Somebody is marking into" in error
        status, _ = said(
            capsys,
            "mark",
            "--out",
            room / "results",
            "--override",
            "p0000",
            "06/solve_leg",
            "0",
            "--reason",
            "why",
        )
        assert status == 1
    assert files(room / "results") == before
    assert len(history(room)) == 3


def test_a_disk_that_fills_up_while_pages_are_written(room, here, capsys, monkeypatch):
    wrote, room_for = [], course.write_whole

    def full(target, data):
        if len(wrote) == 2:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC), str(target))
        wrote.append(target)
        room_for(target, data)

    monkeypatch.setattr(course, "write_whole", full)
    status, error = said(capsys, "mark", room / "submissions", "--out", room / "results")
    assert status == 1
    assert "No space left on device" in error
    assert "the same command goes on from there" in error
    assert len(history(room)) == 2
    monkeypatch.setattr(course, "write_whole", room_for)
    assert said(capsys, "mark", room / "submissions", "--out", room / "results")[0] == 0
    assert len(history(room)) == 3


def test_a_record_that_gets_locked_in_the_middle(room, here, capsys, monkeypatch):
    monkeypatch.setattr(records, "PATIENCE", 0.05)
    locks = []

    def locks_it(task, jail):
        if task.learner.id == "p0001" and not locks:
            locks.append(sqlite3.connect(room / "results" / RECORD, isolation_level=None))
            locks[0].execute("BEGIN EXCLUSIVE")
        return mark_task(task, jail)

    here._work = locks_it
    assert mark(room) == 1
    assert "locked by another program" in capsys.readouterr().err
    locks[0].close()
    assert [entry.learner.id for entry in history(room)] == ["p0000"]
    assert mark(room) == 0
    assert [entry.learner.id for entry in history(room)] == ["p0000", "p0001", "p0002"]


@pytest.mark.parametrize(
    ("harm", "why"),
    [
        (lambda base: base.execute("PRAGMA user_version = 99"), "later version of rigkit"),
        (lambda base: base.execute("PRAGMA application_id = 7"), "not a record of marks"),
    ],
)
def test_a_record_that_is_not_ours_is_left_alone(room, here, capsys, harm, why):
    mark(room)
    with sqlite3.connect(room / "results" / RECORD) as base:
        harm(base)
    before = (room / "results" / RECORD).read_bytes()
    capsys.readouterr()
    assert mark(room) == 2
    assert why in capsys.readouterr().err
    assert (room / "results" / RECORD).read_bytes() == before


@pytest.mark.skipif(
    not Path("/proc").is_dir(), reason="there is no place here that nobody may write to"
)
def test_results_in_a_place_that_cannot_be_written(room, capsys):
    status, error = said(capsys, "mark", room / "submissions", "--out", "/proc/results")
    assert status == 1
    assert "/proc/results" in error
    assert "Traceback" not in error


def test_a_file_that_changes_while_it_is_marked_is_not_marked(room, here, capsys, monkeypatch):
    (changed,) = (room / "submissions").glob("*p0001*/*.ipynb")

    def changes(task, jail):
        changed.write_bytes(b"{}")
        return mark_task(task, jail)

    here._work = changes
    assert mark(room) == 1
    assert "changed while it was being marked" in capsys.readouterr().out
    assert entries(room)["p0001"].score is None
    assert entries(room)["p0002"].marked


def test_what_is_no_notebook_is_the_learners_and_is_no_zero(room, here, capsys):
    (path,) = (room / "submissions").glob("*p0001*/*.ipynb")
    path.rename(path.with_suffix(".docx"))
    status, _ = said(
        capsys,
        "mark",
        room / "submissions",
        "--out",
        room / "results",
        "--roster",
        room / "roster.csv",
        "--json",
    )
    assert status == 1
    found = entries(room)["p0001"]
    assert found.score is None
    assert "not a notebook" in found.why
    assert (room / "results" / "learners" / learner_page.name_of_file(found.learner)).exists()


def test_what_fails_again_in_the_same_way_is_kept_once(room, here):
    notebook = next((room / "submissions").glob("*p0001*/*.ipynb"))
    notebook.write_text("no notebook")
    for _ in range(3):
        assert mark(room) == 1
        assert [entry.marked for entry in history(room) if entry.learner.id == "p0001"] == [False]
    before = entries(room)["p0001"]
    notebook.write_text("no notebook either")
    assert mark(room) == 1
    assert entries(room)["p0001"].digest != before.digest
    assert len([entry for entry in history(room) if entry.learner.id == "p0001"]) == 2


def test_a_letter_beside_a_notebook_is_in_nobodys_way(room, here, capsys):
    (path,) = (room / "submissions").glob("*p0001*/*.ipynb")
    path.with_name("a letter.txt").write_text("Dear teacher")
    assert mark(room) == 0
    assert len(history(room)) == 3
    assert "a letter.txt" in (room / "results" / "class.html").read_text()


def test_a_file_of_nobody_is_said_and_keeps_nobody_else_from_marks(room, here, capsys):
    (path,) = (room / "submissions").glob("*p0001*/*.ipynb")
    path.parent.rename(path.parent.with_name("somebody"))
    status, _ = said(
        capsys,
        "mark",
        room / "submissions",
        "--out",
        room / "results",
        "--roster",
        room / "roster.csv",
    )
    assert status == 1
    found = entries(room)
    assert {who for who, entry in found.items() if entry.marked} == {"p0000", "p0002"}
    advice = 'call it "p0001 Bastian Bollard homework 06.ipynb"'
    assert advice in found["p0001"].why  # the name that is typed in it is proposed, not marked
    assert "somebody" in (room / "results" / "class.html").read_text()


def test_errors_come_as_json_too(room, capsys, monkeypatch):
    monkeypatch.chdir(room)
    assert cli.main(["mark", "nowhere", "--out", "results", "--json"]) == 2
    out, error = capsys.readouterr()
    assert "nowhere" in json.loads(out)["error"]
    assert "nowhere" in error


def test_without_a_jail_by_choice_everything_says_so(room, here, capsys):
    status, error = said(
        capsys, "mark", room / "submissions", "--out", room / "results", "--unsafe-no-jail"
    )
    assert status == 0
    assert "WITHOUT A JAIL" in error
    assert "Nothing is protected" in error
    assert all(entry.about["jail"]["kind"] == "unjailed" for entry in entries(room).values())
    for page in [room / "results" / "class.html", *(room / "results" / "learners").iterdir()]:
        assert "unjailed" in page.read_text()


def test_an_empty_folder_is_a_class_without_homework(tmp_path, capsys):
    (tmp_path / "submissions").mkdir()
    status, _ = said(capsys, "mark", tmp_path / "submissions", "--out", tmp_path / "results")
    assert status == 0
    with Record(tmp_path / "results" / RECORD) as record:
        assert list(record.entries()) == []
