"""Lessons found, copies handed out, progress kept."""

import json
import multiprocessing
import os
import sys
from importlib import metadata
from pathlib import Path

import pytest

from rigkit import course

LESSON, EXERCISE = "lessons/06-a-bend.ipynb", "exercises/06-a-bend.ipynb"
links = pytest.mark.skipif(os.name != "posix", reason="links need special rights on this system")


def notebook(**about):
    return json.dumps(
        {
            "cells": [],
            "metadata": {"rigkit": about} if about else {},
            "nbformat": 4,
            "nbformat_minor": 5,
        }
    )


@pytest.fixture
def shipped(tmp_path, monkeypatch):
    """A small course to hand out: two lessons, the first with an exercise and a picture."""
    root = tmp_path / "shipped"
    for name, text in {
        LESSON: notebook(lesson="06", title="A bend", minutes=25, aims=["bend it"]),
        "lessons/11-the-foot.ipynb": notebook(),
        "lessons/pictures/bend.svg": "<svg/>",
        "lessons/.ipynb_checkpoints/06-a-bend-checkpoint.ipynb": "no",
        EXERCISE: notebook(lesson="06"),
        "solutions/06-a-bend.ipynb": "answers",
    }.items():
        path = root / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
    monkeypatch.setattr(course, "source", lambda: root)
    return root


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "leg-rigging"


@pytest.fixture
def learner(folder, monkeypatch):
    """The current folder is that of a lesson in a learner's folder."""
    (folder / ".rigkit").mkdir(parents=True)
    (folder / "lessons").mkdir()
    monkeypatch.chdir(folder / "lessons")
    monkeypatch.setattr(course, "_memory", [])
    return folder


# --- what it runs on


def test_versions_say_each_part_on_a_line_and_what_is_missing(monkeypatch):
    lines = course.versions().splitlines()
    assert [line.split()[0] for line in lines] == [
        "rigkit",
        "Python",
        "jupyterlab",
        "ipywidgets",
        "jupyterlab_widgets",
    ]
    assert sys.executable in lines[1]
    assert f"jupyterlab {metadata.version('jupyterlab')}:" in lines[2]

    def missing(package):
        raise metadata.PackageNotFoundError(package)

    monkeypatch.setattr(course.metadata, "version", missing)
    assert course.versions().count(" not found: ") == 4


# --- lessons


def test_lessons_come_in_order_with_what_their_metadata_says(shipped):
    first, second = course.lessons()
    assert (first.number, first.title, first.minutes, first.aims) == (
        "06",
        "A bend",
        25,
        ("bend it",),
    )
    assert (first.path, first.exercise) == (shipped / LESSON, shipped / EXERCISE)
    assert (second.number, second.title, second.minutes, second.exercise) == (
        "11",
        "The foot",
        None,
        None,
    )


@pytest.mark.parametrize("number", ["06", "6", 6, " 6 "])
def test_a_lesson_is_found_by_its_number(shipped, number):
    assert course.lesson(number).title == "A bend"


@pytest.mark.parametrize("number", ["7", "", "../06", "six"])
def test_a_missing_lesson_is_refused_with_those_there_are(shipped, number):
    with pytest.raises(ValueError, match=r"no lesson .*Lessons: 06, 11\."):
        course.lesson(number)


def test_the_course_of_this_checkout_can_be_read():
    assert all(lesson.number == lesson.path.name[:2] for lesson in course.lessons())


# --- copies


def test_everything_but_solutions_and_hidden_files_is_copied(shipped, folder):
    copies = course.hand_out(folder)
    assert copies.copied == (
        LESSON,
        "lessons/11-the-foot.ipynb",
        "lessons/pictures/bend.svg",
        EXERCISE,
    )
    there = {p.relative_to(folder).as_posix() for p in folder.rglob("*") if p.is_file()}
    assert there == {*copies.copied, ".rigkit/handed-out.json"}
    assert (folder / LESSON).read_bytes() == (shipped / LESSON).read_bytes()


def test_a_leg_beside_the_lessons_is_neither_handed_out_nor_overwritten(shipped, folder):
    course.hand_out(folder)
    leg = folder / "lessons" / "my-leg.json"
    leg.write_text("mine")
    for name in ("my-leg.json", "my-leg.glb", "my-leg-broken-2026-12-01-1200.json"):
        (shipped / "lessons" / name).write_text("somebody else's")
    copies = course.hand_out(folder)
    assert not any("my-leg" in name for name, _ in course.shipped())
    assert copies.copied == copies.updated == copies.kept == copies.newer == ()
    assert [path.name for path in leg.parent.glob("my-leg*")] == ["my-leg.json"]
    assert leg.read_text() == "mine"


def test_a_second_time_changes_nothing(shipped, folder):
    first = course.hand_out(folder)
    again = course.hand_out(folder)
    assert again.same == first.copied
    assert again.copied == again.updated == again.kept == again.newer == again.links == ()


def test_an_untouched_older_copy_is_brought_up_to_date(shipped, folder):
    course.hand_out(folder)
    (shipped / LESSON).write_text("newer")
    assert course.hand_out(folder).updated == (LESSON,)
    assert (folder / LESSON).read_text() == "newer"
    assert course.hand_out(folder).updated == ()


def test_a_copy_whose_ledger_was_lost_is_known_again_while_it_is_the_same(shipped, folder):
    course.hand_out(folder)
    (folder / ".rigkit" / "handed-out.json").unlink()
    assert course.hand_out(folder).copied == ()
    (shipped / LESSON).write_text("newer")
    assert course.hand_out(folder).updated == (LESSON,)


def test_a_changed_copy_is_kept_whether_or_not_the_course_has_a_newer_one(shipped, folder):
    course.hand_out(folder)
    (folder / LESSON).write_text("mine")
    assert course.hand_out(folder).kept == (LESSON,)
    for newer in ("newer", "newer still"):
        (shipped / LESSON).write_text(newer)
        copies = course.hand_out(folder)
        assert (copies.kept, copies.newer, copies.updated) == ((), (LESSON,), ())
    assert (folder / LESSON).read_text() == "mine"


def test_a_copy_changed_back_counts_as_untouched(shipped, folder):
    course.hand_out(folder)
    (folder / LESSON).write_text("mine")
    course.hand_out(folder)
    (folder / LESSON).write_bytes((shipped / LESSON).read_bytes())
    course.hand_out(folder)
    (shipped / LESSON).write_text("newer")
    assert course.hand_out(folder).updated == (LESSON,)


def test_a_file_the_learner_had_before_is_kept(shipped, folder):
    (folder / "lessons").mkdir(parents=True)
    (folder / LESSON).write_text("mine")
    assert course.hand_out(folder).newer == (LESSON,)
    assert (folder / LESSON).read_text() == "mine"


def test_a_deleted_copy_comes_back(shipped, folder):
    course.hand_out(folder)
    (folder / LESSON).unlink()
    assert course.hand_out(folder).copied == (LESSON,)


@pytest.mark.parametrize("ledger", ["", "{", "[]", "null", '{"lessons/06-a-bend.ipynb": 3}'])
def test_without_a_readable_ledger_whatever_differs_is_kept(shipped, folder, ledger):
    course.hand_out(folder)
    (folder / LESSON).write_text("mine")
    (folder / ".rigkit" / "handed-out.json").write_text(ledger)
    assert course.hand_out(folder).newer == (LESSON,)
    assert (folder / LESSON).read_text() == "mine"


def test_a_folder_where_a_file_should_be_is_left_alone(shipped, folder):
    (folder / LESSON / "within").mkdir(parents=True)
    assert course.hand_out(folder).newer == (LESSON,)
    assert (folder / LESSON / "within").is_dir()


@links
def test_links_are_not_followed(shipped, folder, tmp_path):
    outside = tmp_path / "outside"
    outside.mkdir()
    (outside / "precious").write_text("mine")
    (folder / "lessons").mkdir(parents=True)
    (folder / LESSON).symlink_to(outside / "precious")
    (folder / "lessons" / "11-the-foot.ipynb").symlink_to(outside / "not there yet")
    (folder / "exercises").symlink_to(outside)
    copies = course.hand_out(folder)
    assert copies.links == (LESSON, "lessons/11-the-foot.ipynb", EXERCISE)
    assert {p.name for p in outside.iterdir()} == {"precious"}
    assert (outside / "precious").read_text() == "mine"


@links
def test_a_ledger_behind_a_link_is_refused_or_replaced(shipped, folder, tmp_path):
    (folder / ".rigkit").mkdir(parents=True)
    (tmp_path / "precious").write_text("mine")
    (folder / ".rigkit" / "handed-out.json").symlink_to(tmp_path / "precious")
    course.hand_out(folder)
    assert (tmp_path / "precious").read_text() == "mine"
    (tmp_path / "other").mkdir()
    (tmp_path / "other" / ".rigkit").symlink_to(folder / ".rigkit")
    with pytest.raises(OSError, match="is a link"):
        course.hand_out(tmp_path / "other")


@links
def test_a_folder_named_through_a_link_is_the_one_it_leads_to(shipped, folder, tmp_path):
    folder.mkdir()
    (tmp_path / "short").symlink_to(folder)
    assert course.hand_out(tmp_path / "short").folder == folder
    assert (folder / LESSON).is_file()


def test_a_write_that_fails_leaves_the_old_file_and_no_part(shipped, folder, monkeypatch):
    course.hand_out(folder)
    before = (folder / LESSON).read_bytes()
    (shipped / LESSON).write_text("newer")

    def full(*_):
        raise OSError("disk full")

    monkeypatch.setattr(course.os, "replace", full)
    with pytest.raises(OSError, match="disk full"):
        course.hand_out(folder)
    assert (folder / LESSON).read_bytes() == before
    assert [p.name for p in (folder / "lessons").iterdir() if p.name.startswith(".")] == []


def test_a_file_is_no_folder(shipped, tmp_path):
    (tmp_path / "file").write_text("mine")
    with pytest.raises(OSError, match="file"):
        course.hand_out(tmp_path / "file")


# --- progress


def test_the_best_score_of_each_question_counts(learner):
    for question, score in (("rank", 0.5), ("rank", 1), ("rank", 0.25), ("side", 0)):
        assert course.record("06", question, score) == learner / ".rigkit" / "progress.jsonl"
    course.record(7, "pole", 1.0, seed=3)
    assert course.progress(6) == {"rank": 1.0, "side": 0.0}
    assert course.progress() == {"06": {"rank": 1.0, "side": 0.0}, "07": {"pole": 1.0}}
    assert course.progress("01") == {}
    last = json.loads((learner / ".rigkit" / "progress.jsonl").read_text().splitlines()[-1])
    assert (last["lesson"], last["seed"], last["time"][:2]) == ("07", 3, "20")


def test_two_students_in_one_folder_are_told_apart(learner):
    course.record("06", "rank", 1.0, "ada")
    course.record("06", "rank", 0.5, "bela", attempt=1)
    course.record("06", "rank", 0.75, student="bela", attempt=2)
    assert course.progress("06", "ada") == {"rank": 1.0}
    assert course.progress("06", student="bela") == {"rank": 0.75}
    assert course.progress(student="nobody") == {}
    assert course.progress() == {"06": {"rank": 1.0}}
    assert [course.attempts("06", "rank", who) for who in ("ada", "bela", None)] == [1, 2, 3]
    assert course.students() == ("ada", "bela")


def test_an_attempt_without_a_name_is_nobodys(learner):
    (learner / ".rigkit" / "progress.jsonl").write_text(
        '{"lesson": "06", "question": "rank", "score": 1}\n'
    )
    assert course.progress("06") == {"rank": 1.0}
    assert course.progress("06", "ada") == {}
    assert course.students() == ("",)


def test_a_record_that_cannot_be_read_counts_as_empty(learner, monkeypatch):
    course.record("06", "rank", 1.0)

    def refuse(path):
        raise PermissionError(13, "Permission denied", str(path))

    monkeypatch.setattr(Path, "read_bytes", refuse)
    assert course.progress() == {}


def test_without_a_learners_folder_progress_is_remembered_only(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(course, "_memory", [])
    assert course.record("06", "rank", 1.0) is None
    assert course.progress("06") == {"rank": 1.0}
    assert list(tmp_path.iterdir()) == []
    assert course.reset_progress() is None
    assert course.progress() == {}


def test_an_unwritable_record_is_remembered(learner):
    (learner / ".rigkit" / "progress.jsonl").mkdir()
    assert course.record("06", "rank", 1.0) is None
    assert course.progress("06") == {"rank": 1.0}


@links
def test_a_record_behind_a_link_is_not_written(learner, tmp_path):
    (tmp_path / "precious").write_text("mine")
    (learner / ".rigkit" / "progress.jsonl").symlink_to(tmp_path / "precious")
    assert course.record("06", "rank", 1.0) is None
    assert (tmp_path / "precious").read_text() == "mine"


def test_a_torn_last_line_costs_itself_only(learner):
    course.record("06", "rank", 0.5)
    path = learner / ".rigkit" / "progress.jsonl"
    with open(path, "ab") as file:
        file.write(path.read_bytes()[:40])
    assert course.progress("06") == {"rank": 0.5}
    course.record("06", "side", 1.0)
    assert course.progress("06") == {"rank": 0.5, "side": 1.0}


@pytest.mark.parametrize(
    "line",
    [
        "null",
        "3",
        "[]",
        "{}",
        "\xff",
        '{"lesson": "06", "question": "rank", "score": "1"}',
        '{"lesson": "06", "question": "rank", "score": NaN}',
        '{"lesson": "06", "question": "rank", "score": 7}',
        '{"lesson": "06", "question": "rank", "score": true}',
        '{"lesson": 6, "question": "rank", "score": 1}',
        '{"lesson": "06", "score": 1}',
        "[" * 100_000,
    ],
)
def test_strange_lines_are_passed_over(learner, line):
    (learner / ".rigkit" / "progress.jsonl").write_bytes(line.encode("latin-1") + b"\n\n")
    course.record("06", "side", 1.0)
    assert course.progress() == {"06": {"side": 1.0}}


def _record_until_killed(folder, said):
    os.chdir(folder)
    for number in range(10**6):
        course.record("06", f"q-{number}", 1.0, "ada")
        said.send(number)


@pytest.mark.skipif(os.name != "posix", reason="a process is killed in the midst of writing")
def test_a_crash_costs_nothing_that_was_recorded(learner):
    context = multiprocessing.get_context("spawn")
    heard, said = context.Pipe(duplex=False)
    notebook = context.Process(target=_record_until_killed, args=(learner, said))
    notebook.start()
    while heard.recv() < 20:
        pass
    notebook.kill()
    notebook.join()
    said.close()
    last = 20
    while heard.poll():
        try:
            last = heard.recv()
        except EOFError:
            break
    course.record("06", "after", 1.0, "ada")
    assert {f"q-{number}" for number in range(last + 1)} | {"after"} <= set(
        course.progress("06", "ada")
    )


def _record_many(folder, who):
    os.chdir(folder)
    for number in range(200):
        course.record("06", f"{who}-{number}", 1.0)


@pytest.mark.skipif(os.name != "posix", reason="only here is adding a line to a file one act")
def test_two_notebooks_at_once_lose_nothing(learner):
    context = multiprocessing.get_context("spawn")
    notebooks = [context.Process(target=_record_many, args=(learner, who)) for who in "ab"]
    for each in notebooks:
        each.start()
    for each in notebooks:
        each.join()
    assert len(course.progress("06")) == 400


def test_a_reset_keeps_the_old_record_aside(learner):
    course.record("06", "rank", 1.0)
    old = (learner / ".rigkit" / "progress.jsonl").read_bytes()
    aside = course.reset_progress()
    assert (aside.parent, aside.read_bytes()) == (learner / ".rigkit", old)
    assert course.progress() == {}
    assert course.reset_progress() is None
    course.record("06", "rank", 0.5)
    assert course.reset_progress() != aside
    assert aside.read_bytes() == old


@pytest.mark.parametrize("score", [-0.1, 1.1, float("nan"), float("inf"), "1", None, True, [1, 0]])
def test_a_score_must_be_from_0_to_1(learner, score):
    with pytest.raises(ValueError, match="`score` must be"):
        course.record("06", "rank", score)
    assert not Path(learner / ".rigkit" / "progress.jsonl").exists()


@pytest.mark.parametrize("student", [None, 3, ["ada"]])
def test_a_student_must_have_a_name(learner, student):
    with pytest.raises(ValueError, match="`student` must be"):
        course.record("06", "rank", 1.0, student)


@pytest.mark.parametrize("question", ["", None, 3])
def test_a_question_must_have_a_name(learner, question):
    with pytest.raises(ValueError, match="`question` must be"):
        course.record("06", question, 1.0)
