"""Homework as a learner opens it in a notebook."""

import os
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from types import SimpleNamespace
from typing import Any

from rigkit import course, puppets
from rigkit.homework import calling, catalogue, checking
from rigkit.homework.card import Card
from rigkit.homework.question import Case, Question


def open_homework(
    lesson: str | int,
    student: str,
    questions: Iterable[str] | None = None,
    own: str | os.PathLike[str] | None = None,
) -> "Homework":
    """A lesson's questions, with numbers of the learner's own.

    Parameters
    ----------
    lesson : str or int
        Such as "06".
    student : str
        Any name, always the same one: it seeds the learner's character and the cases of each check.
        Capitals, spaces, and a surname put first with a comma make no difference.
    questions : iterable of str, optional
        The names of those of the lesson's questions that are asked; all, if not given.
    own : path-like, optional
        A file with questions of the teacher's own, which came with the notebook.

    Returns
    -------
    Homework

    Raises
    ------
    ValueError
        No such lesson or question, no name, or no such file.
    """
    if not isinstance(student, str) or not student.strip():
        raise ValueError(f"`student` must be a name; got {student!r}. Use the same one each time.")
    asked = _asked(lesson, questions)
    if own is not None:
        from rigkit.homework import own as file  # here, because few open one

        asked |= file.unpack(own, next(iter(catalogue.questions(lesson).values())).lesson)
    if not asked:
        raise ValueError("`questions` must name one at least; got none.")
    return Homework(asked, student.strip())


def _asked(lesson: str | int, names: Iterable[str] | None) -> dict[str, Question]:
    """The lesson's questions of some names, in the lesson's order; all without any."""
    known = catalogue.questions(lesson)
    if names is None:
        return known
    names = [names] if isinstance(names, str) else list(names)
    for name in names:
        if name not in known:
            raise ValueError(
                f"`questions` must be names of {', '.join(known)}; got {name!r}. Take the opening"
                " cell as it came with the notebook."
            )
    return {name: question for name, question in known.items() if name in names}


def plain_name(name: str) -> str:
    """Return a name as numbers are seeded by it: composed, without capitals, the surname last.

    So no other spelling of a name has other numbers, and two that are taken for one have the same.
    """
    last, comma, first = name.partition(",")
    turned = f"{first} {last}" if comma and "," not in first else name
    folded = unicodedata.normalize("NFC", unicodedata.normalize("NFC", turned).casefold())
    return " ".join(folded.split())


class Homework:
    """One learner's questions of one lesson.

    Attributes
    ----------
    student : str
    character : Puppet
        The learner's own.
    questions : dict of str to Question
    """

    def __init__(self, questions: Mapping[str, Question], student: str) -> None:
        self.questions, self.student = questions, student
        self.lesson = next(iter(questions.values())).lesson
        self._seed = plain_name(student)
        self.character = puppets.personal(checking.generator(self._seed))

    def __repr__(self) -> str:
        asked = [f"  {name}: {question.asks}" for name, question in self.questions.items()]
        greeting, *warning = self._opening()
        return "\n".join([greeting, *asked, *warning])

    def _repr_mimebundle_(self, include: Any = None, exclude: Any = None) -> dict[str, str]:
        from rigkit import display  # here, because marking opens homework and shows none of it

        asked = [
            (name, question.asks, question.hand_in) for name, question in self.questions.items()
        ]
        return {
            "text/plain": repr(self),
            "text/html": display.table(
                ("Question", "asks", "hand in"), asked, " ".join(self._opening())
            ),
        }

    def _opening(self) -> list[str]:
        who = self.character
        lines = [
            f"Homework {self.lesson} for {self.student}: your character's thigh is {who.thigh:.3f}"
            f" m, its shank {who.shank:.3f} m."
        ]
        if not calling.can_stop():
            lines.append(
                "On this system a check cannot stop an endless loop: use Interrupt in the Kernel"
                " menu."
            )
        return lines

    def inputs(self, name: str) -> SimpleNamespace:
        """Your own numbers for a question: those in its text, or one case to try a function on.

        Parameters
        ----------
        name : str
            The question's.

        Returns
        -------
        SimpleNamespace
        """
        if name not in self.questions:
            raise ValueError(f"unknown question {name!r}; this homework has {self._names()}.")
        case = self.cases(self.questions[name], attempt=0)[0]
        return SimpleNamespace(**dict(zip(case, calling.arguments(case), strict=True)))

    def check(self, *function: Any, **value: Any) -> Card:
        """Check one answer, such as `check(solve_leg)` or `check(knee_side="front")`.

        A function is handed in by itself, a value or a file by its keyword.

        The card that comes back shows itself when it is the last line of a cell. It never raises
        for a wrong answer, whatever the answer does.

        Parameters
        ----------
        *function : callable
            The answer to a question of its name.
        **value
            The answer to the question that the keyword names.

        Returns
        -------
        Card
        """
        if len(function) + len(value) != 1:
            return self._unknown("hand in one answer at a time, such as hw.check(my_function).")
        if function and not callable(function[0]):
            return self._unknown(
                "hand in a function by itself, or a value by its keyword, "
                "such as hw.check(answer=3)."
            )
        name, answer = (
            next(iter(value.items()))
            if value
            else (getattr(function[0], "__name__", "?"), function[0])
        )
        if name not in self.questions:
            return self._unknown(
                f"no question here is called {name!r}. The questions are {self._names()}."
            )
        return self._check(self.questions[name], answer)

    def progress(self) -> str:
        """Your progress, in a sentence.

        Returns
        -------
        str
        """
        right = catalogue.count_right(self.lesson, self.questions, self.student)
        return f"{right} of {len(self.questions)} questions right so far."

    def cases(self, question: Question, attempt: int) -> list[Case]:
        """Cases of one attempt, as JSON data; of a value or a file always the one of the text.

        Parameters
        ----------
        question : Question
        attempt : int
            Counted from 1; 0 is for looking.

        Returns
        -------
        list[Case]
        """
        words = (self._seed, question.id, attempt if question.kind == "function" else 0)
        return checking.draw(question, self.character, checking.generator(*words))

    def _check(self, question: Question, answer: Any) -> Card:
        takes_function = question.kind == "function"
        if answer is not ... and callable(answer) != takes_function:
            return self._unknown(
                f"{question.name} is a {question.kind}; hand it in as {question.hand_in}."
            )
        attempt = course.attempts(self.lesson, question.name, self.student) + 1
        cases = self.cases(question, attempt)
        outcome = checking.score_answers(question, cases, _records(question, answer, cases))
        if outcome.word != checking.BLANK:
            course.record(
                self.lesson,
                question.name,
                outcome.score,
                self.student,
                attempt=attempt,
                misconception=outcome.misconception,
            )
        return Card(outcome, self.progress(), question.hints, question.shows)

    def _unknown(self, sentence: str) -> Card:
        return Card(checking.Outcome("", "Not checked", 0.0, sentence), self.progress())

    def _names(self) -> str:
        return ", ".join(self.questions)


def _records(question: Question, answer: Any, cases: Sequence[Case]) -> list[calling.Record]:
    if question.kind == "file":
        from rigkit.homework import rig_file  # here, because only few questions need it

        return [rig_file.record_file(answer)]
    return (
        calling.call(answer, cases)
        if callable(answer)
        else [calling.record_value(answer)] * len(cases)
    )
