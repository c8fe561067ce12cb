"""A whole class from the command line: what is marked, what stays, what a teacher corrects, and
what a stop leaves."""

import csv
import io
import json
import multiprocessing
import os
import re
import shutil
import signal
import sqlite3
import subprocess
import sys
import time
from contextlib import contextmanager
from functools import partial
from pathlib import Path

import pytest

from rigkit import cli
from rigkit.homework import catalogue
from rigkit.marking import command, forks, pipeline, roster, run, workers
from rigkit.marking.entry import Entry, Learner
from rigkit.marking.pipeline import mark_task
from rigkit.marking.record import RECORD, Record, now
from rigkit.marking.submission import Submission
from rigkit.marking.summary import Progress
from rigkit.marking.task import Task, finish
from rigkit.marking.workers import Workers
from tests.marking.classroom import ROOT, held, make_class, right_answers, submission
from tests.marking.conftest import Here
from tests.marking.jails import opened

pytestmark = pytest.mark.needs_jail
QUESTIONS = list(catalogue.questions("06"))
_MOMENT = rb"\d{4}-\d\d-\d\d([T ]\d\d:\d\d(:\d\d(\.\d+)?)?( UTC|\+00:00|Z))?"
_TIME = re.compile(_MOMENT + b"( to " + _MOMENT + b")?")


@pytest.fixture
def room(tmp_path):
    """A small harmless class: submissions, roster, and a place for results."""
    make_class(tmp_path, 3, kinds=("right", "blank", "missing"))
    return tmp_path


def mark(room, *more):
    """The exit status of `rigkit mark` in a class's folder."""
    return cli.main(
        [
            "mark",
            str(room / "submissions"),
            "--out",
            str(room / "results"),
            "--roster",
            str(room / "roster.csv"),
            *more,
        ]
    )


def correct(room, *words, reason="A slip of the pen"):
    return cli.main(
        ["mark", "--out", str(room / "results"), "--override", *words, "--reason", reason]
    )


def entries(room):
    with Record(room / "results" / RECORD, create=False) as record:
        return {entry.learner.id: entry for entry in record.entries()}


def history(room):
    with Record(room / "results" / RECORD, create=False) as record:
        return list(record.history())


def files(folder, hide=None):
    """The bytes of every file of results but the record, times hidden or not."""
    return {
        str(path.relative_to(folder)): (
            hide.sub(b"TIME", path.read_bytes()) if hide else path.read_bytes()
        )
        for path in sorted(Path(folder).rglob("*"))
        if path.is_file() and path.name not in (RECORD, ".lock")
    }


def marks(room):
    """All of each entry that does not tell when and how fast."""
    return {
        who: (
            entry.outcomes,
            entry.flags,
            entry.end,
            entry.why,
            entry.about.get("seed"),
            entry.about.get("answers"),
        )
        for who, entry in entries(room).items()
    }


# --- one command, a whole class


@pytest.fixture(scope="module")
def twelve(tmp_path_factory):
    """Twelve learners of every kind, marked in the jail by the command in a process of its own."""
    opened("bwrap")
    room = tmp_path_factory.mktemp("twelve")
    made = make_class(room, 12)
    done = subprocess.run(
        [
            sys.executable,
            "-m",
            "rigkit",
            "mark",
            room / "submissions",
            "--out",
            room / "results",
            "--roster",
            room / "roster.csv",
            "--json",
        ],
        capture_output=True,
        text=True,
        cwd=ROOT,
        timeout=120,
    )
    return room, made, done


def test_the_status_and_the_json_say_what_could_not_be_marked(twelve):
    *_, done = twelve
    assert done.returncode == 1, done.stderr
    found = json.loads(done.stdout)
    assert found["marked"] == 10
    assert found["missing"] == [{"lesson": "06", "learner": "p0011"}]
    assert [place["file"] for place in found["not_marked"]] == [
        "Joris Jetty (p0009)/06-preset-bend.ipynb"
    ]
    assert "not a notebook" in found["not_marked"][0]["why"]
    assert "marked" in done.stderr


def test_every_kind_of_submission_ends_in_the_right_record(twelve):
    room, made, _ = twelve
    found = entries(room)
    assert set(found) == set(made) - {"p0011"}
    for who, kind in made.items():
        entry = found.get(who)
        what, _, more = kind.partition(": ")
        if what in ("right", "copy"):
            assert entry.score == 1, kind
            assert not entry.flags, kind
        elif what == "partly":
            assert 0 < entry.score < 1
            assert {outcome.word for outcome in entry.outcomes} == {"Right", "Not attempted yet"}
        elif what == "misconception":
            question, name = more.split(" ", 1)
            assert [o.misconception for o in entry.outcomes if o.question == question] == [name]
            assert all(score == 1 for other, score in entry.scores.items() if other != question)
        elif what == "broken":
            assert [outcome.score for outcome in entry.outcomes] == [0, 1, 1, 1, 1, 1, 1]
            assert "SyntaxError" in entry.flags[0]
        elif what == "blank":
            assert entry.score == 0
            assert entry.marked
        elif what == "unreadable":
            assert entry.score is None
        elif what == "hostile":
            assert more == "reads outside"
            assert entry.score == 1
            assert "root:" not in entry.about["printed"]
        assert what == "missing" or entry.end == ("" if what == "unreadable" else "finished")


def test_all_files_of_results_are_there(twelve):
    room, *_ = twelve
    names = set(files(room / "results"))
    assert {
        "grades.csv",
        "lineItems.csv",
        "results.csv",
        "class.html",
        "class-results.ipynb",
    } <= names
    assert {name for name in names if name.startswith("learners")} == {
        f"learners/{who}.html" for who in entries(room)
    }


def test_the_copy_and_its_original_are_found_alike(twelve):
    room, *_ = twelve
    with Record(room / "results" / RECORD) as record:
        groups = record.last_run()["groups"]
    assert [(group["lesson"], group["learners"], group["share"]) for group in groups] == [
        ("06", ["p0000", "p0010"], 1)
    ]


def test_marks_hang_neither_on_the_number_of_workers_nor_on_the_order(twelve, tmp_path):
    room, *_ = twelve
    shutil.copytree(room, tmp_path / "room")
    assert mark(tmp_path / "room", "--again", "--workers", "3") == 1
    assert marks(tmp_path / "room") == marks(room)
    assert files(tmp_path / "room" / "results", _TIME) == files(room / "results", _TIME)


# --- again and again


def test_what_has_not_changed_is_not_marked_again(room, here, capsys):
    assert mark(room) == 0
    before = files(room / "results")
    capsys.readouterr()
    assert mark(room) == 0
    assert "2 unchanged since they were marked" in capsys.readouterr().out
    assert files(room / "results") == before
    assert len(history(room)) == 2
    assert len(here.lots) == 1


def test_a_changed_file_alone_is_marked_anew(room, here):
    mark(room)
    before = entries(room)
    (path,) = (room / "submissions").glob("*p0001*/*.ipynb")
    path.write_bytes(submission("right", name="Bastian Bollard"))
    assert mark(room) == 0
    after = entries(room)
    assert here.lots == [["p0000", "p0001"], ["p0001"]]
    assert (before["p0001"].score, after["p0001"].score) == (0, 1)
    assert before["p0000"] == after["p0000"]
    assert len(history(room)) == 3


def test_marking_again_gives_the_same_marks_for_the_same_cases(room, here):
    mark(room)
    before, shown = marks(room), files(room / "results", _TIME)
    assert mark(room, "--again") == 0
    assert marks(room) == before
    assert files(room / "results", _TIME) == shown
    assert len(history(room)) == 4


def test_cases_differ_from_class_to_class(room, here):
    """They hang on the secret, not on the names, the files or the day."""
    mark(room)
    first = entries(room)["p0000"].about["seed"]
    (room / "results").rename(room / "old")
    mark(room)
    assert entries(room)["p0000"].about["seed"] != first


def test_only_the_lessons_asked_for_are_marked(room, here):
    (room / "submissions" / "Anneke Anchorage (p0000)" / "05.ipynb").write_bytes(
        submission("right", lesson="05", name="Anneke Anchorage")
    )
    assert mark(room, "--lesson", "05") == 0
    assert [(entry.learner.id, entry.lesson) for entry in history(room)] == [("p0000", "05")]
    assert mark(room) == 0
    assert sorted({entry.lesson for entry in history(room)}) == ["05", "06"]
    page = (room / "results" / "learners" / "p0000.html").read_text()
    assert "05 · " in page
    assert "06 · " in page


def test_without_a_roster_each_folder_is_a_learner(room, here):
    assert cli.main(["mark", str(room / "submissions"), "--out", str(room / "results")]) == 0
    found = entries(room)["Anneke Anchorage (p0000)"]
    assert found.score == 1  # by the numbers of the name typed, which stands in the folder's
    assert found.flags == ()


def _statuses(room):
    with open(room / "results" / "results.csv", newline="", encoding="utf-8") as file:
        return {row["studentSourcedId"]: row["scoreStatus"] for row in csv.DictReader(file)}


def test_who_may_have_handed_in_is_never_said_not_to_have(room, here):
    names = {learner.id: learner.name for learner in roster.read(room / "roster.csv")}
    (mine,) = (room / "submissions").glob("*p0001*")
    either = mine.with_name(f"{names['p0001']} and {names['p0002']}")
    mine.rename(either)
    assert mark(room) == 1
    assert _statuses(room) == {"p0000": "fully graded", "p0001": "submitted", "p0002": "submitted"}
    either.rename(mine)  # as the page says
    assert mark(room) == 0
    assert _statuses(room) == {
        "p0000": "fully graded",
        "p0001": "fully graded",
        "p0002": "not submitted",
    }


@pytest.mark.parametrize("right", [0, 1])
def test_of_two_files_with_one_time_the_better_counts_and_it_is_said(room, here, right):
    (mine,) = (room / "submissions").glob("*p0001*/*.ipynb")
    names, kinds = [mine, mine.with_name("another.ipynb")], ["blank", "blank"]
    kinds[right] = "right"
    for path, kind in zip(names, kinds, strict=True):
        path.write_bytes(submission(kind, name="Bastian Bollard"))
        os.utime(path, (10**9, 10**9))
    assert mark(room) == 0
    found = entries(room)["p0001"]
    assert found.score == 1
    assert found.file.endswith(names[right].name)
    assert "nothing tells which of" in found.flags[0]
    assert found.flags[-1].startswith(f"{found.file} counts (")
    assert mark(room) == 0
    assert here.lots == [["p0000", "p0001"]]  # nothing has changed


def test_a_name_added_to_the_list_marks_what_it_changes_and_nothing_else(room, here):
    (mine,) = (room / "submissions").glob("*p0001*/*.ipynb")
    mine.write_bytes(submission("right", name="Basti"))
    mark(room)
    assert 'made out to "Basti"' in entries(room)["p0001"].flags[0]
    lines = (room / "roster.csv").read_text(encoding="utf-8").splitlines()
    lines = [line + {0: ",also", 2: ",Basti"}.get(number, ",") for number, line in enumerate(lines)]
    (room / "roster.csv").write_text("\n".join(lines), encoding="utf-8")
    assert mark(room) == 0
    assert here.lots == [["p0000", "p0001"], ["p0001"]]
    assert (entries(room)["p0001"].score, entries(room)["p0001"].flags) == (1, ())
    assert mark(room) == 0
    assert len(here.lots) == 2


def test_a_zip_is_marked_like_its_folder(room, here):
    mark(room)
    shutil.make_archive(room / "all", "zip", room / "submissions")
    assert (
        cli.main(
            [
                "mark",
                str(room / "all.zip"),
                "--out",
                str(room / "results"),
                "--roster",
                str(room / "roster.csv"),
            ]
        )
        == 0
    )
    assert len(history(room)) == 2  # all known already, by their bytes


# --- corrections


def test_a_correction_is_in_every_file_and_survives_marking_again(room, here, capsys):
    mark(room)
    assert correct(room, "p0001", "06/solve_leg", "0.8") == 0
    assert "Bastian Bollard, 06/solve_leg: 0.8." in capsys.readouterr().out
    for again in (False, True):
        if again:
            mark(room, "--again")
        found = entries(room)["p0001"]
        assert found.scores["06/solve_leg"] == 0.8
        assert found.outcomes[QUESTIONS.index("solve_leg")].score == 0
        assert "A slip of the pen" in (room / "results" / "learners" / "p0001.html").read_text()
        assert "A slip of the pen" in (room / "results" / "class.html").read_text()
        (row,) = (
            line
            for line in (room / "results" / "grades.csv").read_text("utf-8-sig").splitlines()
            if line.startswith("p0001")
        )
        assert ",80.0," in row


def test_a_correction_survives_a_new_file(room, here):
    mark(room)
    correct(room, "Bastian Bollard", "06/solve_leg", "0.5")
    (path,) = (room / "submissions").glob("*p0001*/*.ipynb")
    path.write_bytes(submission("right", name="Bastian Bollard"))
    mark(room)
    assert entries(room)["p0001"].scores["06/solve_leg"] == 0.5
    assert "A slip of the pen" in (room / "results" / "learners" / "p0001.html").read_text()


WRONG = {
    "nobody in this class": ("p0099", "06/solve_leg", "1"),
    "06/stuck_direction, 06/solve_leg": ("p0001", "06/solve_arm", "1"),
    "No question is called '99/solve_leg'": ("p0001", "99/solve_leg", "1"),
    "from 0 to 1; got '80'": ("p0001", "06/solve_leg", "80"),
    "from 0 to 1; got 'nan'": ("p0001", "06/solve_leg", "nan"),
    "from 0 to 1; got 'much'": ("p0001", "06/solve_leg", "much"),
    "needs a reason": ("p0001", "06/solve_leg", "1"),
}


def test_a_wrong_correction_is_refused_and_changes_nothing(room, here, capsys):
    mark(room)
    before = files(room / "results")
    for said, words in WRONG.items():
        assert correct(room, *words, reason=" " if "reason" in said else "why") == 2
        assert said in capsys.readouterr().err
    assert files(room / "results") == before
    assert all(not entry.overrides for entry in entries(room).values())


# --- stopped in the middle


MANY = 9


@contextmanager
def started(room, *more):
    """The command, in a process group of its own, once it has marked three."""
    process = subprocess.Popen(
        [
            sys.executable,
            "-m",
            "rigkit",
            "mark",
            room / "submissions",
            "--out",
            room / "results",
            "--roster",
            room / "roster.csv",
            "--workers",
            "2",
            *more,
        ],
        cwd=ROOT,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    with process:
        _wait_for(lambda: process.poll() is not None or _kept(room) >= 3)
        assert process.poll() is None, "it was done before it could be stopped"
        yield process
    _wait_for(lambda: not _alive(process.pid))


def _kept(room):
    with sqlite3.connect(f"file:{room / 'results' / RECORD}?mode=ro", uri=True) as base:
        try:
            return base.execute("SELECT count(*) FROM entries").fetchone()[0]
        except sqlite3.OperationalError:
            return 0


def _alive(group):
    try:
        os.killpg(group, 0)
    except ProcessLookupError:
        return False
    return True


def _wait_for(true, seconds=60.0):
    until = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < until, "it never came true"
        time.sleep(0.02)


@pytest.fixture
def two_rooms(tmp_path):
    """The same class twice, with the same secret."""
    opened("bwrap")
    make_class(tmp_path / "a", MANY, kinds=("right", "misconception", "partly"))
    (tmp_path / "a" / "results").mkdir()
    Record(tmp_path / "a" / "results" / RECORD).close()
    shutil.copytree(tmp_path / "a", tmp_path / "b")
    return tmp_path / "a", tmp_path / "b"


def test_kill_9_and_the_same_command_come_to_the_same_files_as_a_run_that_was_left_alone(two_rooms):
    killed, left_alone = two_rooms
    with started(killed) as process:
        process.send_signal(signal.SIGKILL)
    before = history(killed)
    assert 3 <= len(before) < MANY
    assert mark(killed) == 0
    assert mark(left_alone) == 0
    after = history(killed)
    assert after[: len(before)] == before
    assert sorted(entry.learner.id for entry in after) == [
        f"p{number:04d}" for number in range(MANY)
    ]  # nobody twice
    assert marks(killed) == marks(left_alone)
    assert files(killed / "results", _TIME) == files(left_alone / "results", _TIME)

    made = files(killed / "results")
    for name in made:
        (killed / "results" / name).unlink()
    assert mark(killed) == 0
    assert (
        files(killed / "results") == made
    )  # all of it can be made again from the record, byte for byte
    assert len(history(killed)) == MANY


def test_an_interrupt_says_how_to_go_on_and_leaves_no_process(two_rooms):
    room, _ = two_rooms
    with started(room) as process:
        process.send_signal(signal.SIGINT)
        _, said = process.communicate(timeout=30)
    assert process.returncode == 1
    assert "Stopped. What is marked is recorded; the same command goes on from there." in said
    assert "Traceback" not in said


def test_a_worker_that_is_killed_loses_nobody(room):
    opened("bwrap")
    killed = []

    def kill_one(progress):
        if not killed:
            child = multiprocessing.active_children()[0]
            killed.append(child.pid)
            os.kill(child.pid, signal.SIGKILL)

    found = pipeline.mark_class(
        room / "submissions", room / "results", room / "roster.csv", workers=2, progress=kill_one
    )
    assert killed
    assert (found.marked, found.not_marked) == (2, ())


class DeadlyJail:
    """Takes the worker along."""

    kind = "bwrap"

    def run(self, request, seconds=20.0):
        os._exit(9)


def _task(who="p1"):
    file = held("a.ipynb", submission("right"))
    homework = Submission(Learner(who, who), "06", file.place, file.digest, file, seed="s")
    return Task(homework.learner, (homework,))


def test_a_submission_that_takes_two_workers_along_is_given_up_and_no_zero():
    with Workers(DeadlyJail(), 1, mark_task) as hands:
        (found,) = hands.each([_task()])
    assert not found.entries[0].marked
    assert "died" in found.entries[0].why
    assert "Not marked" in found.page


def test_workers_ask_for_a_task_only_when_one_is_due():
    asked = []

    def tasks():
        for number in range(6):
            asked.append(number)
            yield _task(f"p{number}")

    with Workers(opened("unjailed"), 2, mark_task) as hands:
        for count, _ in enumerate(hands.each(tasks()), 1):
            assert len(asked) <= count + 2
    assert len(asked) == 6


def test_as_many_workers_as_cores_and_memory_allow(monkeypatch):
    monkeypatch.setattr(os, "sched_getaffinity", lambda _: set(range(64)), raising=False)
    monkeypatch.setattr(os, "sysconf", {"SC_PHYS_PAGES": 2**21, "SC_PAGE_SIZE": 4096}.__getitem__)
    assert workers.how_many() == 5  # 8 GiB
    monkeypatch.setattr(os, "sysconf", {"SC_PHYS_PAGES": 2**17, "SC_PAGE_SIZE": 4096}.__getitem__)
    assert workers.how_many() == 1


# --- clocks


def test_what_a_clock_cut_short_runs_again_last_and_alone_before_it_costs_a_mark(
    room, here, monkeypatch
):
    slow_once, told = {"p0000"}, []

    def slow(task, jail):
        if task.learner.id in slow_once:
            slow_once.remove(task.learner.id)
            return finish(
                task,
                [
                    Entry(
                        task.learner,
                        "06",
                        "f",
                        task.submissions[0].digest,
                        end="time limit",
                        time=now(),
                        outcomes=(),
                    )
                ],
            )
        return mark_task(task, jail)

    hands = Here(opened("unjailed"), slow)
    monkeypatch.setattr(pipeline, "_executor", lambda *_: hands)
    pipeline.mark_class(
        room / "submissions", room / "results", room / "roster.csv", progress=told.append
    )
    assert hands.lots == [["p0000", "p0001"], ["p0000"]]
    assert entries(room)["p0000"].score == 1
    assert [each["end"] for each in entries(room)["p0000"].about["runs"]] == [
        "time limit",
        "finished",
    ]
    assert [entry.learner.id for entry in history(room)] == ["p0001", "p0000"]
    assert [(each.done, each.total) for each in told] == [(1, 2), (2, 2)]


def test_a_loop_that_never_ends_costs_that_answer_alone(tmp_path, monkeypatch):
    """In the jail, through to the record: the function is stopped twice, all other answers
    count."""
    hands = Here(opened("bwrap"))
    monkeypatch.setattr(pipeline, "_executor", lambda *_: hands)
    monkeypatch.setattr(run, "Call", partial(run.Call, seconds=0.5))
    make_class(tmp_path, 1, kinds=("right",))
    (path,) = (tmp_path / "submissions").rglob("*.ipynb")
    book = json.loads(path.read_text())
    for cell in book["cells"]:
        if cell["metadata"].get("rigkit", {}).get("question") == "06/solve_leg":
            cell["source"] = (
                "def solve_leg(goal, upper, lower, side):\n    while True:\n        pass"
            )
    path.write_text(json.dumps(book))
    assert mark(tmp_path) == 0
    found = entries(tmp_path)["p0000"]
    assert found.scores == {
        question: float(question != "06/solve_leg") for question in right_answers("06")
    }
    assert "never ends" in found.outcomes[QUESTIONS.index("solve_leg")].sentence
    assert len(found.about["runs"]) == 2


def test_progress_says_counts_rate_and_time_left():
    assert str(Progress(0, 9, 0.0)) == "0 of 9 marked, 0.0 a second"
    assert str(Progress(50, 200, 10.0)) == "50 of 200 marked, 5.0 a second, 30 s left"
    assert (
        str(Progress(1_000, 100_000, 100.0)) == "1,000 of 100,000 marked, 10.0 a second, 2.8 h left"
    )


class Terminal(io.StringIO):
    def isatty(self):
        return True


def test_on_a_terminal_the_line_is_written_in_place_and_ended(monkeypatch):
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    line = command._Line()
    line.progress(Progress(9, 9, 1.0))
    line.end()
    assert terminal.getvalue() == "\r9 of 9 marked, 9.0 a second, 0 s left\x1b[K\n"


def test_a_terminal_hears_at_once_that_something_goes_on(monkeypatch, capsys):
    command._Line().begin()
    assert capsys.readouterr().err == ""
    terminal = Terminal()
    monkeypatch.setattr(sys, "stderr", terminal)
    line = command._Line()
    line.begin()
    line.end()
    assert terminal.getvalue() == "Reading the submissions ...\n"


def test_what_workers_need_is_imported_while_the_command_is(monkeypatch):
    """The process they are forked from is begun by the standard library alone, deaf to Ctrl-C."""
    code = (
        "import signal, sys\nfrom rigkit.marking import forks\n"
        "loaded = {'numpy', 'jinja2', 'rigkit.marking.pipeline'} & set(sys.modules)\n"
        "forks.begin()\n"
        "worker = forks.context().Process(target=print, args=('forked',))\n"
        "worker.start()\nworker.join()\n"
        "print(worker.exitcode, loaded, signal.getsignal(signal.SIGINT).__name__)"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, cwd=ROOT)
    assert done.stdout.split("\n")[:2] == ["forked", "0 set() default_int_handler"], done.stderr
    monkeypatch.setattr(multiprocessing, "get_all_start_methods", lambda: ["spawn"])
    monkeypatch.setattr(forks.forkserver, "ensure_running", lambda: pytest.fail("none there"))
    forks.begin()


def test_elsewhere_there_is_a_line_now_and_then(monkeypatch, capsys):
    line = command._Line()
    for number in range(1, 10):
        line.progress(Progress(number, 9, 1.0))
    line.end()
    assert capsys.readouterr().err == "9 of 9 marked, 9.0 a second, 0 s left\n"
    monkeypatch.setattr(command, "EVERY", 0.0)
    line.progress(Progress(1, 9, 1.0))
    assert capsys.readouterr().err == "1 of 9 marked, 1.0 a second, 8 s left\n"
