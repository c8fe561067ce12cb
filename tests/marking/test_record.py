"""The record: only ever added to, its secret, its corrections, and what is said when it cannot be
used."""

import os
import sqlite3
import stat
import subprocess
import sys

import numpy as np
import pytest

from rigkit.homework.checking import Outcome
from rigkit.marking import record as records
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.record import Record, RecordError, frozen, sole, thawed

ANNEKE = Learner("p01", "Anneke Anchorage", "p01@parade.example", "east", ("Anke",))


def entry(learner=ANNEKE, lesson="06", digest="d1", score=0.5, **others):
    outcome = Outcome(
        f"{lesson}/solve_leg",
        "Not yet",
        score,
        "look again.",
        1,
        2,
        {"goal": [0.1, 0.2]},
        {"miss": "1 cm"},
        {"view": "side", "marks": []},
        "degrees",
    )
    return Entry(
        learner,
        lesson,
        "a/b.ipynb",
        digest,
        outcomes=(outcome,),
        time="2026-05-01T10:00:00+00:00",
        about={"seed": "s", "jail": {"kind": "bwrap"}, "printed": "hello"},
        **others,
    )


@pytest.fixture
def path(tmp_path):
    return tmp_path / "results.sqlite"


def test_what_is_added_comes_back_the_same(path):
    with Record(path) as record:
        record.add(entry(flags=("look",)))
    with Record(path, create=False) as record:
        assert list(record.entries()) == [entry(flags=("look",))]


def test_the_latest_entry_of_each_learner_and_lesson_counts_and_all_are_kept(path):
    bastian = Learner("p02", "Bastian Bollard")
    with Record(path) as record:
        for each in (entry(), entry(lesson="05"), entry(bastian), entry(digest="d2", score=1.0)):
            record.add(each)
        assert [(e.learner.id, e.lesson, e.digest) for e in record.entries()] == [
            ("p01", "05", "d1"),
            ("p01", "06", "d2"),
            ("p02", "06", "d1"),
        ]
        assert [e.learner.id for e in record.entries(learner="p02")] == ["p02"]
        assert len(list(record.history())) == 4
        assert record.marked() == {("p01", "05"): "d1", ("p01", "06"): "d2", ("p02", "06"): "d1"}


def test_what_could_not_be_marked_is_not_marked(path):
    with Record(path) as record:
        record.add(entry())
        record.add(entry(digest="d2", marked=False, end="", why="It is no notebook."))
        assert record.marked() == {}


def test_in_brief_there_are_marks_but_no_pictures_cases_or_secrets(path):
    with Record(path) as record:
        record.add(entry())
        found = next(record.entries(brief=True))
    assert found.scores == {"06/solve_leg": 0.5}
    assert found.outcomes[0].picture is None
    assert found.outcomes[0].inputs == {}
    assert found.about == {"jail": {"kind": "bwrap"}, "asked": None, "rigkit": None}


def test_a_correction_outlives_marking_again_and_the_last_one_counts(path):
    with Record(path) as record:
        record.add(entry())
        record.override("p01", "06/solve_leg", 0.8, "a slip of the pen")
        record.override("p01", "06/solve_leg", 0.9, "on second thoughts")
        record.add(entry(digest="d2", score=0.1))
        (found,) = record.entries()
        assert found.outcomes[0].score == 0.1
        assert found.scores == {"06/solve_leg": 0.9}
        assert [override.reason for override in found.overrides] == ["on second thoughts"]


def test_a_correction_for_an_earlier_file_is_flagged_where_the_new_one_measures_otherwise(path):
    with Record(path) as record:
        record.add(entry())
        record.override("p01", "06/solve_leg", 0.9, "a slip of the pen")
        assert next(record.entries()).flags == entry().flags
        record.add(entry(digest="d2"))
        assert next(record.entries()).flags == entry().flags  # the same answer
        record.add(entry(digest="d3", score=0.1))
        (found,) = record.entries(brief=True)
        assert found.scores == {"06/solve_leg": 0.9}
        assert found.flags[-1] == (
            "06/solve_leg has a correction made for an earlier file, which measured 50 %; this file"
            " measures 10 %, and the correction still counts. Give another, or --seen where it"
            " stands."
        )
        record.override("p01", "06/solve_leg", 0.9, "still so")
        assert next(record.entries()).flags == entry().flags


@pytest.mark.parametrize(
    ("first", "made"),
    [
        (entry(), "for an earlier file, which measured 50 %"),
        (entry(marked=False, why="It is no notebook."), "for an earlier file"),
        (None, "before any file came"),
    ],
)
def test_a_correction_of_a_whole_lesson_is_flagged_as_one_of_a_question_is(path, first, made):
    with Record(path) as record:
        if first:
            record.add(first)
        record.override("p01", "06", 0.9, "handed in on paper")
        assert next(record.entries()).flags == ()
        if first and first.marked:
            record.add(entry(digest="d2"))  # another file, and the same answers
            assert next(record.entries()).flags == ()
        record.add(entry(digest="d3", score=0.1))
        (found,) = record.entries(brief=True)
        assert found.score == 0.9
        assert found.needs_a_look
        assert found.flags == (
            f"Lesson 06 has a correction made {made}; this file measures 10 %, and the correction"
            " still counts. Give another, or --seen where it stands.",
        )
        record.remark(found, records.SEEN)
        assert not next(record.entries()).needs_a_look
        record.override("p01", "06", 0.8, "on second thoughts")
        assert next(record.entries()).flags == ()


def test_a_lesson_handed_in_later_does_not_measure_otherwise(path):
    plan = {"06": {"weights": {"06/solve_leg": 2.0}, "deadline": "2026-05-01", "per_day": 0.1}}
    with Record(path) as record:
        record.add_run({"plan": plan})
        record.add(entry(handed_in="2026-04-30"))
        record.override("p01", "06", 0.9, "more was shown in class")
        record.add(entry(digest="d2", handed_in="2026-05-03"))
        assert next(record.entries()).flags == ()


@pytest.mark.parametrize("table", ["header", "entries", "overrides", "runs", "made_for", "remarks"])
@pytest.mark.parametrize("statement", ["DELETE FROM {}", "UPDATE {} SET rowid = rowid + 1"])
def test_nothing_can_be_changed_or_taken_away(path, table, statement):
    with Record(path) as record:
        record.add(entry())
        record.override("p01", "06/solve_leg", 0.8, "why")
        record.remark(entry(), "06/solve_leg", "so")
        record.add_run({})
    with (
        sqlite3.connect(path) as base,
        pytest.raises(sqlite3.IntegrityError, match="only ever added to"),
    ):
        base.execute(statement.format(table))


def test_a_record_whose_corrections_could_be_changed_is_mended_when_it_is_opened(path):
    with Record(path) as record:
        record.override("p01", "06/solve_leg", 0.8, "why")
    with sqlite3.connect(path) as base:  # as the kit once made it
        base.execute("DROP TRIGGER made_for_UPDATE")
        base.execute("DROP TRIGGER made_for_DELETE")
    base.close()
    with Record(path):
        pass
    for statement in ("DELETE FROM made_for", "UPDATE made_for SET digest = 'd2'"):
        with (
            sqlite3.connect(path) as base,
            pytest.raises(sqlite3.IntegrityError, match="only ever added to"),
        ):
            base.execute(statement)
        base.close()


def test_the_seed_hangs_on_the_class_the_learner_the_lesson_and_the_file_alone(path, tmp_path):
    with Record(path) as record, Record(tmp_path / "other.sqlite") as other:
        seeds = {
            record.seed(*words)
            for words in (
                ("a", "06", "d"),
                ("b", "06", "d"),
                ("a", "05", "d"),
                ("a", "06", "e"),
                ("a0", "6", "d"),
            )
        }
        seeds.add(other.seed("a", "06", "d"))
        assert len(seeds) == 6
        assert all(len(seed) == 64 for seed in seeds)
        first = record.seed("a", "06", "d")
    with Record(path) as record:
        assert record.seed("a", "06", "d") == first


@pytest.mark.skipif(os.name != "posix", reason="modes are POSIX's")
def test_only_the_teacher_can_read_it(path):
    before = os.umask(0)
    try:
        Record(path).close()
    finally:
        os.umask(before)
    assert stat.S_IMODE(path.stat().st_mode) == 0o600


def test_an_entry_survives_its_two_texts_whatever_a_judge_measured():
    made = entry()
    strange = Outcome(
        "06/x",
        "Not yet",
        np.float64(0.25),
        "\ud800 \x00 </script>",
        np.int64(3),
        4,
        misconception=None,
        printed=np.int64(7),
    )
    found = thawed(
        *frozen(
            Entry(
                made.learner, "06", outcomes=(strange,), about={"answers": {"x": [{"out": 1e308}]}}
            )
        )
    )
    assert found.outcomes == (strange,)
    assert found.about == {"answers": {"x": [{"out": 1e308}]}}


def test_a_record_of_a_later_form_is_left_alone(path):
    Record(path).close()
    with sqlite3.connect(path) as base:
        base.execute(f"PRAGMA user_version = {records.SCHEMA + 1}")
    before = path.read_bytes()
    with pytest.raises(ValueError, match="later version of rigkit"):
        Record(path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "content", [b"not a database at all, but long enough to be taken for one" * 30, b"x"]
)
def test_another_file_is_left_alone(path, content):
    path.write_bytes(content)
    with pytest.raises(ValueError, match="not a record"):
        Record(path)
    assert path.read_bytes() == content


def test_another_database_is_left_alone(path):
    with sqlite3.connect(path) as base:
        base.execute("CREATE TABLE mine (x)")
    before = path.read_bytes()
    with pytest.raises(ValueError, match="not a record"):
        Record(path)
    assert path.read_bytes() == before


def test_without_leave_none_is_made(path):
    with pytest.raises(ValueError, match="no record of marks"):
        Record(path, create=False)
    assert not path.exists()


def test_a_folder_is_no_record(tmp_path):
    with pytest.raises(RecordError, match="directory"):
        Record(tmp_path)


def test_a_locked_record_is_said_to_be_and_loses_nothing(path, monkeypatch):
    monkeypatch.setattr(records, "PATIENCE", 0.05)
    with Record(path) as record:
        record.add(entry())
        other = sqlite3.connect(path, isolation_level=None)
        other.execute("BEGIN EXCLUSIVE")
        with pytest.raises(RecordError, match="locked by another program"):
            record.add(entry(digest="d2"))
        other.close()
        assert len(list(record.history())) == 1
        record.add(entry(digest="d2"))
        assert len(list(record.history())) == 2


def test_a_full_disk_is_said_and_loses_nothing(path):
    """A limit on the size of files stands in for a disk without room."""
    with Record(path) as record:
        record.add(entry())
    code = f"""
import resource, signal, sys
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.record import Record, RecordError
record = Record({str(path)!r})
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
resource.setrlimit(resource.RLIMIT_FSIZE, ({path.stat().st_size} + 8192,) * 2)
try:
    for number in range(9):
        record.add(Entry(Learner(f"q{{number}}", ""), "06", why="x" * 4000))
except RecordError as error:
    print(number, error)
"""
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    number, said = done.stdout.split(" ", 1)
    assert "no room on the disk" in said
    assert "all that is recorded is safe" in said
    with Record(path) as record:
        assert len(list(record.entries())) == 1 + int(number)
        record.add(entry(digest="d3"))


def test_two_cannot_mark_into_one_folder_at_once(tmp_path):
    with sole(tmp_path), pytest.raises(RecordError, match="Somebody is marking"), sole(tmp_path):
        pass
    with sole(tmp_path):
        pass


def test_a_killed_marker_keeps_nobody_out(tmp_path):
    code = (
        f"import time\nfrom rigkit.marking.record import sole\nwith sole({str(tmp_path)!r}):\n"
        "    print('in', flush=True)\n    time.sleep(60)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True
    ) as holder:
        assert holder.stdout.readline() == "in\n"
        with pytest.raises(RecordError), sole(tmp_path):
            pass
        holder.kill()
        holder.wait()
        with sole(tmp_path):
            pass


def test_a_transaction_cut_by_kill_9_leaves_a_whole_record(path):
    """The process dies while it adds entries as fast as it can."""
    code = f"""
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.record import Record
record = Record({str(path)!r})
number = 0
while True:
    record.add(Entry(Learner(f"q{{number}}", ""), "06", why="x" * 20000))
    print(number, flush=True)
    number += 1
"""
    with subprocess.Popen(
        [sys.executable, "-c", code], stdout=subprocess.PIPE, text=True
    ) as writer:
        said = [int(writer.stdout.readline()) for _ in range(20)][-1]
        writer.kill()
        said = [said, *map(int, writer.stdout.read().split())][-1]
    with Record(path) as record:
        kept = sorted(int(found.learner.id[1:]) for found in record.history())
    assert kept[: said + 1] == list(
        range(said + 1)
    )  # all that was said to be kept, and at most the next
    assert len(kept) <= said + 2
