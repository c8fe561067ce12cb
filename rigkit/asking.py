"""Questions inside a lesson: a guess before a picture, and a quick check after a section.

A guess is never graded: when the picture has reached the state that tells, one sentence sets it
beside what was measured. A check is answered by a press or a number, and each wrong answer is met
by what it misunderstands. `panels.Panel` shows both; `data/ask.js` is what is seen of them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from html import escape
from typing import Any

import numpy as np

from rigkit import _check
from rigkit._types import ArrayLike

__all__ = ["Check", "Guess", "Number", "Place"]


@dataclass(frozen=True)
class Number:
    """An answer that is typed: a number with its unit.

    Parameters
    ----------
    unit : str
    low, high : float
        What one would type; whatever else is typed is judged as it is.
    near : float
        By how much an answer may be off and still be right, in that unit.

    Raises
    ------
    ValueError
        If the range is empty, or `near` not above zero.
    """

    unit: str
    low: float
    high: float
    near: float

    def __post_init__(self) -> None:
        _check.positive("near", self.near)
        if not self.low < self.high:
            raise ValueError(f"`high` must be above `low`; got {self.high!r} and {self.low!r}.")


@dataclass(frozen=True)
class Place:
    """An answer that is a place in one of a panel's stages, put there by hand.

    Parameters
    ----------
    near_cm : float
        By how much it may be off and still be right.
    view : int
        The stage, from the left.

    Raises
    ------
    ValueError
        If `near_cm` is not above zero.
    """

    near_cm: float
    view: int = 0

    def __post_init__(self) -> None:
        _check.positive("near_cm", self.near_cm)


Answer = Sequence[str] | Number | Place


@dataclass(frozen=True)
class Guess:
    """A question that is answered before a picture moves, or before it shows.

    Parameters
    ----------
    name : str
        The lesson's number and a name of its own, such as "04/feet": under it the guess is kept.
    question : str
        As markup.
    answer : sequence of str, Number or Place
        Options side by side, a number to type, or a place to point at.
    outcome : callable
        `outcome(**values)`, with a panel's values, gives what is measured there: the right option,
        number or point (several options in a tuple where more than one is right), and a sentence
        that says so, as markup. None until the values are reached that tell.
    then : str
        A sentence that says what to do with the picture once one has guessed.

    Raises
    ------
    ValueError
        For a name without a lesson, or fewer than two options.
    """

    name: str
    question: str
    answer: Answer
    outcome: Callable[..., tuple[Any, str] | None]
    then: str = ""

    def __post_init__(self) -> None:
        _name(self.name)
        _options(self.answer)

    def told(self) -> dict[str, Any]:
        """Return what a page is told of it.

        Returns
        -------
        dict
        """
        about = {"kind": "guess", "name": self.name, "question": self.question, "then": self.then}
        return about | _told(self.answer)

    def found(self, values: Mapping[str, Any], pictures: Sequence[Any]) -> dict[str, Any] | None:
        """Return what a panel's values tell, for a page.

        Parameters
        ----------
        values : mapping
            By the controls' keys.
        pictures : sequence of Picture
            What is seen at these values.

        Returns
        -------
        dict or None
            `right`, the right options, the number, or the place in px; `words`; of a place also
            `cm`, the px of a centimetre. None where the values tell nothing.

        Raises
        ------
        ValueError
            If the right answer is none that can be given.
        """
        told = self.outcome(**values)
        if told is None:
            return None
        right, words = told
        if isinstance(self.answer, Place):
            stage = pictures[self.answer.view]
            place = [round(float(px), 2) for px in stage.place(right)]
            return {"right": place, "words": words, "cm": stage.px_per_metre / 100}
        if isinstance(self.answer, Number):
            return {"right": float(_check.numbers("right", right)), "words": words}
        right = (right,) if isinstance(right, str) else tuple(right)
        for each in right:
            _check.choice("right", each, tuple(self.answer))
        return {"right": list(right), "words": words}

    def still(self) -> str:
        """Return markup of the question, for where nothing can be pressed.

        Returns
        -------
        str
        """
        return f"<p><strong>Guess first.</strong> {self.question}{_offered(self.answer)}</p>"


@dataclass(frozen=True)
class Check:
    """A quick question after a section.

    Parameters
    ----------
    name : str
        The lesson's number and a name of its own, such as "04/angles".
    question : str
        As markup.
    answer : sequence of str or Number
    right : str or float
        The right option or number, as it was measured.
    because : str
        What is said to the right answer after "Right.", as markup.
    wrong : mapping
        By each wrong option, or by numbers that a misunderstanding leads to: the sentence that
        names it.
    hint : str
        What is said to a number that is none of these.

    Raises
    ------
    ValueError
        For a name without a lesson, an option without a reply, or a number without a hint.
    """

    name: str
    question: str
    answer: Sequence[str] | Number
    right: Any
    because: str
    wrong: Mapping[Any, str] = field(default_factory=dict)
    hint: str = ""

    def __post_init__(self) -> None:
        _name(self.name)
        _options(self.answer)
        if isinstance(self.answer, Number):
            self._check_number(self.answer)
        else:
            self._check_options(self.answer)

    def told(self) -> dict[str, Any]:
        """Return what a page is told of it, its replies too.

        Returns
        -------
        dict
        """
        about = {"kind": "check", "name": self.name, "question": self.question, "hint": self.hint}
        return about | _told(self.answer) | {"replies": self._replies()}

    def reply(self, answer: Any) -> tuple[bool, str]:
        """Judge an answer.

        Parameters
        ----------
        answer : str or float

        Returns
        -------
        tuple of bool and str
            True if it is right; what is said to it.

        Raises
        ------
        ValueError
            For an option that is not there, or no number.
        """
        if isinstance(self.answer, Number):
            number = float(_check.numbers("answer", answer))
            for each in self._replies():
                if each["low"] <= number <= each["high"]:
                    return each["right"], each["words"]
            return False, self.hint
        _check.choice("answer", answer, tuple(self.answer))
        return answer == self.right, self.because if answer == self.right else self.wrong[answer]

    def still(self) -> str:
        """Return markup of the question and its folded answer, for where nothing can be pressed.

        Returns
        -------
        str
        """
        right = self.right
        if isinstance(self.answer, Number):
            gap = "" if self.answer.unit.startswith("°") else " "
            right = f"About {_rounded(right, self.answer.near)}{gap}{self.answer.unit}"
        return (
            f"<p><strong>Quick check.</strong> {self.question}{_offered(self.answer)}</p>"
            f"<details><summary>The answer</summary><p>{escape(str(right))}. {self.because}</p>"
            "</details>"
        )

    def _replies(self) -> list[dict[str, Any]]:
        said = {self.right: self.because} | dict(self.wrong)
        if not isinstance(self.answer, Number):
            return [
                {"option": option, "right": option == self.right, "words": said[option]}
                for option in self.answer
            ]
        near = self.answer.near
        return [
            {"low": at - near, "high": at + near, "right": i == 0, "words": words}
            for i, (at, words) in enumerate(said.items())
        ]

    def _check_options(self, options: Sequence[str]) -> None:
        _check.choice("right", self.right, tuple(options))
        if set(self.wrong) != set(options) - {self.right}:
            raise ValueError(
                f"`wrong` of {self.name!r} must have a reply for each wrong option; got"
                f" {', '.join(map(repr, self.wrong)) or 'none'}."
            )

    def _check_number(self, number: Number) -> None:
        right = float(_check.numbers("right", self.right))
        for mistaken in self.wrong:
            if abs(float(_check.numbers("wrong", mistaken)) - right) <= number.near:
                raise ValueError(
                    f"`wrong` of {self.name!r} must differ from what is right by more than"
                    f" {number.near:g} {number.unit}; got {mistaken!r} beside {self.right!r}."
                )
        if not self.hint:
            raise ValueError(f"`hint` of {self.name!r} must be said to any other number.")


def _name(name: str) -> None:
    lesson, _, own = name.partition("/")
    if not (len(lesson) == 2 and lesson.isdigit() and own):
        raise ValueError(f"`name` must be a lesson's number and a name, '04/feet'; got {name!r}.")


def _options(answer: Answer) -> None:
    if isinstance(answer, Number | Place):
        return
    if isinstance(answer, str) or len(set(answer)) < max(2, len(answer)):
        raise ValueError(f"`answer` must be two different options or more; got {answer!r}.")


def _told(answer: Answer) -> dict[str, Any]:
    """An answer's kind, for a page."""
    if isinstance(answer, Number):
        return {"number": {"unit": answer.unit, "low": answer.low, "high": answer.high}} | {
            "near": answer.near
        }
    if isinstance(answer, Place):
        return {"place": {"view": answer.view}, "near": answer.near_cm}
    return {"options": list(answer)}


def _offered(answer: Answer) -> str:
    """The options, in words."""
    if isinstance(answer, Number | Place):
        return ""
    return f" <em>{escape(' · '.join(answer))}</em>"


def _rounded(value: ArrayLike, near: float) -> str:
    """A number with as many digits as its tolerance has."""
    digits = max(0, int(np.ceil(-np.log10(near))))
    text = f"{float(np.asarray(value)):z.{digits}f}"
    return (text.rstrip("0").rstrip(".") if digits else text).replace("-", "−")


def __dir__() -> list[str]:
    return __all__
