"""The map of the course: as true as the notebooks and the record it is made from."""

import re

import pytest

from rigkit import course
from rigkit.homework import CourseMap, catalogue


@pytest.fixture
def learner(tmp_path, monkeypatch):
    (tmp_path / ".rigkit").mkdir()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(course, "_memory", [])
    return tmp_path


def shown():
    """The map's rows as text, and its links."""
    html = CourseMap()._repr_mimebundle_()["text/html"]
    rows = [
        [re.sub("<[^>]*>|&nbsp;", "", cell) for cell in re.findall(r"<t[hd].*?</t[hd]>", row)]
        for row in re.findall(r"<tr>.*?</tr>", html)
    ]
    return rows, re.findall(r'href="([^"]*)"', html)


def test_every_lesson_there_is_and_no_other_with_its_minutes(learner):
    rows, _ = shown()
    assert [row[0] for row in rows[1:]] == [
        f"{lesson.number} {lesson.title}" for lesson in course.lessons()
    ]
    assert [row[1] for row in rows[1:]] == [f"{lesson.minutes} min" for lesson in course.lessons()]
    assert rows[0] == ["Lesson", "Time", "Checks", "Exercise", "Right so far"]


def test_links_lead_to_the_notebooks_from_the_lessons_folder(learner):
    _, links = shown()
    lessons = course.source() / "lessons"
    assert all((lessons / link).is_file() for link in links)
    assert len(links) == sum(1 + bool(lesson.exercise) for lesson in course.lessons())


def test_progress_is_counted_in_questions_that_are_right(learner):
    lesson = next(lesson for lesson in course.lessons() if lesson.exercise)
    names = list(catalogue.questions(lesson.number))
    course.record(lesson.number, names[0], 1.0)
    course.record(lesson.number, names[1], 0.99)
    course.record(lesson.number, "a question that is no more", 1.0)
    row = next(row for row in shown()[0] if row[0].startswith(lesson.number))
    assert row[4] == f"1 of {len(names)}"
    assert f"{lesson.minutes} min; 1 of {len(names)}" in repr(CourseMap())


def test_two_students_have_a_column_each(learner):
    lesson = next(lesson for lesson in course.lessons() if lesson.exercise)
    names = list(catalogue.questions(lesson.number))
    course.record(lesson.number, names[0], 1.0, "<Ada>")
    course.record(lesson.number, names[1], 0.0, "Béla")
    rows, _ = shown()
    assert rows[0][4:] == ["Right so far, &lt;Ada&gt;", "Right so far, Béla"]
    row = next(row for row in rows if row[0].startswith(lesson.number))
    assert row[4:] == [f"1 of {len(names)}", f"0 of {len(names)}"]
    assert f"<Ada>: 1 of {len(names)}, Béla: 0 of {len(names)}" in repr(CourseMap())


def test_a_lesson_without_an_exercise_has_nothing_to_be_right(learner, monkeypatch):
    monkeypatch.setattr(
        course,
        "lessons",
        lambda: (course.Lesson("00", "Start here", 10, (), learner / "00-start-here.ipynb", None),),
    )
    rows, _ = shown()
    assert rows[1] == ["00 Start here", "10 min", "", "", ""]
    assert "no exercise" in repr(CourseMap())


def test_after_a_reset_nothing_is_right(learner):
    lesson = next(lesson for lesson in course.lessons() if lesson.exercise)
    course.record(lesson.number, next(iter(catalogue.questions(lesson.number))), 1.0, "Ada")
    course.reset_progress()
    assert all(row[4] == "" or row[4].startswith("0 of ") for row in shown()[0][1:])
    assert "Ada" not in repr(CourseMap())


def test_checks_and_surprises_are_counted_and_not_as_marks(learner):
    lesson = next(lesson for lesson in course.lessons() if lesson.checks)
    assert "guess" not in repr(CourseMap())
    course.keep_answer("check", f"{lesson.number}/one", "a", False)
    course.keep_answer("check", f"{lesson.number}/two", "a", True)
    course.keep_answer("guess", "04/feet", "left", False)
    row = next(row for row in shown()[0] if row[0].startswith(lesson.number))
    assert row[2] == f"1 of {lesson.checks}"
    assert repr(CourseMap()).endswith("Of one guess, the picture surprised you once.")
    course.keep_answer("guess", "04/hand", "left", True)
    assert repr(CourseMap()).endswith("Of 2 guesses, the picture surprised you once.")
    assert all(score.startswith("0 of") for *_, score in shown()[0][1:] if score)
