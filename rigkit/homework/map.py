"""The map of the course: every lesson, its time, and each learner's progress."""

from html import escape
from typing import Any

from rigkit import course
from rigkit.homework import catalogue

_SIZE = "font-size:var(--jp-content-font-size1,14px)"
_CELL = f"padding:4px 14px 4px 0;text-align:left;vertical-align:top;{_SIZE}"


class CourseMap:
    """A table of the course, from its notebooks and the progress in this folder.

    Links lead to notebooks beside the one that shows it, in `lessons/`.
    """

    def __init__(self) -> None:
        self.lessons, self.students = course.lessons(), course.students() or ("",)

    def __repr__(self) -> str:
        lines = [
            f"{lesson.number} {lesson.title}: {_minutes(lesson)}; {self._so_far(lesson)}"
            for lesson in self.lessons
        ]
        return "\n".join([*lines, self._total()])

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        return {"text/plain": repr(self), "text/html": self._html()}

    def _total(self) -> str:
        hours = sum(lesson.minutes or 0 for lesson in self.lessons) / 60
        return f"All lessons together: about {hours:.1f} hours, without the exercises.{_guesses()}"

    def _so_far(self, lesson: course.Lesson) -> str:
        said = [_right(lesson, student) for student in self.students]
        if not said[0]:
            return "no exercise"
        return ", ".join(
            f"{student}: {right}" if student else right
            for student, right in zip(self.students, said, strict=True)
        )

    def _html(self) -> str:
        names = [
            f"Right so far, {student}" if student else "Right so far" for student in self.students
        ]
        heads = "".join(
            f'<th scope="col" style="{_CELL}">{escape(name)}</th>'
            for name in ("Lesson", "Time", "Checks", "Exercise", *names)
        )
        rows = "".join(f"<tr>{self._row(lesson)}</tr>" for lesson in self.lessons)
        return (
            f'<table style="border-collapse:collapse"><thead><tr>{heads}</tr></thead>'
            f'<tbody>{rows}</tbody></table><p style="{_SIZE}">{self._total()}</p>'
        )

    def _row(self, lesson: course.Lesson) -> str:
        name = f"{lesson.number}&nbsp; {_link(lesson.path.name, lesson.title)}"
        exercise = _link(f"../exercises/{lesson.exercise.name}", "open") if lesson.exercise else ""
        cells = [
            _minutes(lesson),
            _checks(lesson),
            exercise,
            *(_right(lesson, student) for student in self.students),
        ]
        return f'<th scope="row" style="{_CELL};font-weight:400">{name}</th>' + "".join(
            f'<td style="{_CELL}">{cell}</td>' for cell in cells
        )


def _link(target: str, text: str) -> str:
    return f'<a href="{escape(target)}">{escape(text)}</a>'


def _minutes(lesson: course.Lesson) -> str:
    return f"{lesson.minutes} min"


def _checks(lesson: course.Lesson) -> str:
    """The quick checks of a lesson that were answered right; "" where it has none."""
    return (
        f"{course.answered('check', lesson.number)[1]} of {lesson.checks}" if lesson.checks else ""
    )


def _guesses() -> str:
    """A sentence of how often a picture surprised, which nobody grades."""
    told, right = course.answered("guess")
    if not told:
        return ""
    surprised, guesses = told - right, "one guess" if told == 1 else f"{told} guesses"
    times = {0: "never", 1: "once"}.get(surprised, f"{surprised} times")
    return f" Of {guesses}, the picture surprised you {times}."


def _right(lesson: course.Lesson, student: str) -> str:
    """A student's progress in a lesson's questions, in words; "" where it has none."""
    if lesson.exercise is None or lesson.number not in catalogue.lessons():
        return ""
    names = catalogue.questions(lesson.number)
    return f"{catalogue.count_right(lesson.number, names, student or None)} of {len(names)}"
