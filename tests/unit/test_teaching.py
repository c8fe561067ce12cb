"""The course for a classroom: folded code, notes made from the lessons, and a teacher's changes
kept."""

import json
from pathlib import Path
from urllib.parse import unquote

import nbformat
import pytest

from rigkit import cli, course, homework, server, teaching
from rigkit.homework import catalogue

LESSON = next(lesson for lesson in course.lessons() if lesson.exercise)


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "leg-rigging-teaching"


def markdown():
    return "\n\n".join(cell["source"] for cell in teaching.notes()["cells"])


def test_a_teacher_gets_the_notes_and_all_that_learners_get(folder):
    copies = teaching.hand_out(folder)
    assert copies.copied == (teaching.NOTES, *(name for name, _ in course.shipped()))
    assert teaching.hand_out(folder).same == copies.copied


def test_lessons_are_the_same_but_for_their_folded_code(folder):
    teaching.hand_out(folder)
    for lesson in course.lessons():
        copy = json.loads((folder / "lessons" / lesson.path.name).read_text(encoding="utf-8"))
        nbformat.validate(copy)
        code = [cell for cell in copy["cells"] if cell["cell_type"] == "code"]
        assert code
        for cell in code:
            folded = cell["metadata"]["jupyter"]
            assert folded.pop("source_hidden") is True
            if not folded:  # else an output that a lesson folds stays folded
                del cell["metadata"]["jupyter"]
        ours = json.loads(lesson.path.read_text(encoding="utf-8"))
        for cell in ours["cells"]:  # some are folded for learners too
            if (
                cell["metadata"].get("jupyter", {}).pop("source_hidden", False)
                and not cell["metadata"]["jupyter"]
            ):
                del cell["metadata"]["jupyter"]
        assert copy == ours


def test_exercises_and_pictures_are_copied_as_they_are(folder):
    teaching.hand_out(folder)
    for name, data in course.shipped():
        if not (name.startswith("lessons/") and name.endswith(".ipynb")):
            assert (folder / name).read_bytes() == data


def test_what_a_teacher_changed_is_never_overwritten(folder, monkeypatch):
    teaching.hand_out(folder)
    lesson = f"lessons/{LESSON.path.name}"
    for name in (teaching.NOTES, lesson):
        (folder / name).write_text("mine")
    monkeypatch.setattr(teaching, "_TITLE", "# Newer notes")
    copies = teaching.hand_out(folder)
    assert (copies.kept, copies.newer) == ((lesson,), (teaching.NOTES,))
    assert [(folder / name).read_text() for name in (teaching.NOTES, lesson)] == ["mine", "mine"]


def test_the_notes_say_all_that_the_lessons_say_to_a_teacher():
    text = markdown()
    for lesson in course.lessons():
        assert f"## {lesson.number} {lesson.title}\n" in text
        assert f"](lessons/{lesson.path.name}), {lesson.minutes} minutes." in text
        for said in (
            lesson.leg,
            *lesson.aims,
            *(sentence for part in lesson.notes.values() for sentence in part),
        ):
            assert said in text
        assert all(f"*{moment}*" in text for moment in lesson.moments)


def test_the_notes_name_every_question_and_every_misconception():
    text = markdown()
    for number in (lesson.number for lesson in course.lessons() if lesson.exercise):
        for question in homework.questions(number).values():
            assert f"`{question.name}`: {question.asks}" in text
            assert all(
                f"- when {teaching._plain(wrong.sentence)}" in text
                for wrong in question.misconceptions
            )


def test_the_notes_are_a_notebook_that_leads_somewhere(folder):
    notes = teaching.notes()
    nbformat.validate(notes)
    teaching.hand_out(folder)
    links = [link.split(")")[0] for link in markdown().split("](")[1:]]
    assert len(links) >= len(course.lessons())
    inside = [link for link in links if link.startswith("#")]
    assert [link for link in links if link not in inside and not (folder / link).is_file()] == []
    headings = [f"{each.number} {each.title}" for each in course.lessons()]
    assert [unquote(link[1:]) for link in inside] == [name.replace(" ", "-") for name in headings]


def test_signs_that_mean_something_in_markdown_are_shown_as_they_are():
    assert teaching._plain("2 * k_m < [3] $4$") == r"2 \* k\_m \< \[3] \$4\$"


def test_a_lesson_without_notes_or_exercise_has_only_what_there_is(tmp_path, monkeypatch):
    bare = course.Lesson("99", "Bare", 5, ("see it",), tmp_path / "99-bare.ipynb", None)
    monkeypatch.setattr(course, "lessons", lambda: (bare,))
    assert (
        teaching.notes()["cells"][1]["source"]
        == "## 99 Bare\n\n[Open the lesson](lessons/99-bare.ipynb), 5 minutes. Afterwards the class"
        " can:\n\n- see it"
    )
    assert "99" not in catalogue.lessons()


@pytest.fixture
def served(monkeypatch):
    calls = []
    monkeypatch.setattr(server, "serve", lambda *arguments: calls.append(arguments))
    return calls


def test_learn_to_teach_has_a_folder_of_its_own_and_opens_the_notes(
    tmp_path, monkeypatch, served, capsys
):
    monkeypatch.chdir(tmp_path)
    assert cli.main(["learn", "--teach", "--no-browser"]) == 0
    assert served == [(tmp_path / "leg-rigging-teaching", teaching.NOTES, None, False, True)]
    assert "Notes for teaching:" in capsys.readouterr().out
    assert [path.name for path in tmp_path.iterdir()] == ["leg-rigging-teaching"]


def test_learn_to_teach_opens_a_lesson_by_its_number(folder, served):
    cli.main(["learn", LESSON.number, "--teach", "--no-browser", "--dir", str(folder)])
    assert served == [(folder, f"lessons/{LESSON.path.name}", None, False, True)]


def test_only_a_classroom_has_larger_type(tmp_path):
    for classroom in (True, False):
        config = server._config(tmp_path, "", None, False, classroom, "token")
        assert config.LabApp.custom_css is classroom
        assert Path(config.LabApp.app_settings_dir, "overrides.json").is_file()
        assert Path(config.LabApp.extra_labextensions_path[0], "rigkit-page").is_dir()
        page = server._page_config(classroom, None, {"disabledExtensions": ["one"]})
        assert page["rigkitTeaching"] is classroom
        assert len(page["disabledExtensions"]) == 2
    assert (server.CLASSROOM / "custom.css").is_file()
