"""Homework that checks itself: `open_homework("06", student="learner-07")`.

`question` says what a question is, `questions_06` and its like hold them, `catalogue` finds them;
`own` makes one of a teacher's table, with a `formula` in it;
`calling` is the learner's side of a check, `checking` the teacher's; `card` and `picture` show
what was found; `notebook` puts them together; `map` shows the course and how far one is.
"""

from rigkit.homework.catalogue import questions
from rigkit.homework.map import CourseMap
from rigkit.homework.notebook import Homework, open_homework

__all__ = ["CourseMap", "Homework", "open_homework", "questions"]


def __dir__() -> list[str]:
    return __all__
