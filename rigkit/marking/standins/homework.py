"""Stand-in for `rigkit.homework` inside the jail, which judges nothing.

It gives the learner's numbers and remembers what is handed in.
"""

from types import SimpleNamespace

from rigkit.homework import calling

given: dict = {
    "lesson": "",
    "student": "",
    "inputs": {},
    "character": {},
}  # filled in before the first cell
handed: dict = {}  # the latest answer by its question's name


def open_homework(lesson, student, questions=None, own=None):
    """The homework of whom this run is for; `student` was read from the notebook before.

    What is asked is known, and no file is there.
    """
    return Homework()


class Homework:
    """As in the notebook, but that `check` only remembers."""

    def __init__(self):
        self.lesson, self.student = given["lesson"], given["student"]

    def __repr__(self):
        return f"Homework {self.lesson} for {self.student}."

    @property
    def character(self):
        from rigkit.puppets import Puppet  # here, because few need it

        fields: dict = {
            name: tuple(value) if isinstance(value, list) else value
            for name, value in given["character"].items()
        }
        return Puppet(**fields)

    def inputs(self, name):
        cases = given["inputs"]
        if name not in cases:
            raise ValueError(f"unknown question {name!r}; this homework has {', '.join(cases)}.")
        return SimpleNamespace(
            **dict(zip(cases[name], calling.arguments(cases[name]), strict=True))
        )

    def check(self, *function, **value):
        if len(function) + len(value) != 1:
            return Handed("Hand in one answer at a time.")
        name, answer = (
            next(iter(value.items()))
            if value
            else (getattr(function[0], "__name__", "?"), function[0])
        )
        handed[name] = answer
        return Handed(f"{name} handed in.")

    def progress(self):
        return f"{len(handed)} answers handed in."


class Handed:
    """A stand-in for a card of a notebook."""

    score = None

    def __init__(self, sentence):
        self._sentence = sentence

    def __repr__(self):
        return self._sentence
