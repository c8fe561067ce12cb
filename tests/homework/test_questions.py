"""Every question of every lesson, tested the same way."""

import inspect
import itertools

import numpy as np
import pytest

from rigkit.homework import calling, catalogue
from rigkit.homework.card import Card
from rigkit.homework.question import WORDS
from tests.homework.solved import (
    ASKED_FOR_NUMBERS,
    QUESTIONS,
    cases_of,
    named,
    outcome_of,
    solutions,
    some_learners,
)


def test_every_lesson_with_questions_has_a_solution():
    assert set(catalogue.lessons()) == set(solutions())


@pytest.mark.parametrize("question", QUESTIONS, ids=named)
def test_the_question_is_well_formed(question):
    assert question.kind in ("function", "value", "file")
    assert len(question.misconceptions) >= 3
    assert len({wrong.name for wrong in question.misconceptions}) == len(question.misconceptions)
    assert not any(wrong.sentence.endswith(".") for wrong in question.misconceptions)
    cases = cases_of(question, "ada")
    assert len(cases) >= 5 if question.kind == "function" else len(cases) == 1
    for wrong in question.misconceptions:
        inspect.signature(wrong.answer).bind(*calling.arguments(cases[0]))


@pytest.mark.parametrize("question", QUESTIONS, ids=named)
def test_the_solution_earns_everything(question, answers):
    for learner in some_learners(question):
        names = answers[question.lesson, learner]
        hw = names["hw"]
        for _ in range(2):  # two attempts: other inputs
            card = hw.check(**{question.name: names[question.name]})
            assert card.outcome.word == "Right", (learner, repr(card))
            assert card.score == 1


def raises(*_):
    raise RuntimeError("not today")


def endless_generator(*_):
    yield from itertools.count()


def forgets_to_return(*inputs):
    sum(map(np.sum, inputs), start=0.0)


JUNK = {
    "none": lambda *_: [None][0],
    "text": lambda *_: "0.4",
    "nan": lambda *_: float("nan"),
    "list-of-text": lambda *_: ["a", "b"],
    "no-return": forgets_to_return,
    "wrong-shape": lambda *_: np.zeros((3, 5)),
    "ragged": lambda *_: [[1, 2], [3]],
    "empty": lambda *_: [],
    "nan-pair": lambda *_: (np.nan, np.nan),
    "infinite-pair": lambda *_: (np.inf, [np.inf, 1.0]),
    "huge": lambda *_: np.zeros(10**6),
    "vast": lambda *_: [1e300, 1e300],
    "raises": raises,
    "exits": lambda *_: raise_exit(),
    "endless": endless_generator,
    "counts": lambda *_: itertools.count(),
    "object": lambda *_: object(),
    "set": lambda *_: {1, 2},
    "true": lambda *_: True,
    "no-arguments": lambda: 1.0,
}


def raise_exit():
    raise SystemExit(3)


def failure(question, answer, accepted):
    """The card, or the error, of an answer that is not `accepted`; None for one that is."""
    try:
        card = Card(outcome_of(question, answer))
        return None if accepted(card.outcome, card._repr_mimebundle_()) else repr(card)
    except Exception as error:
        return repr(error)


def failures(questions, answers_to, accepted):
    """The failures there are, by the question's id and the answer's name."""
    found = {
        (question.id, name): failure(question, answer, accepted)
        for question in questions
        for name, answer in answers_to(question).items()
    }
    return {key: why for key, why in found.items() if why is not None}


def test_junk_earns_nothing_and_breaks_nothing():
    assert not failures(
        QUESTIONS,
        lambda question: JUNK,
        lambda outcome, shown: (
            (outcome.word, outcome.score) == ("Not yet", 0.0)
            and shown["text/plain"].startswith("Not yet: your ")
            and "<section" in shown["text/html"]
        ),
    )


def constant(question, number):
    """A function that answers in the promised shapes, with `number` wherever a number belongs."""
    parts = [
        [str(number)]
        if shape == WORDS
        else shape[-1]
        if shape and isinstance(shape[-1], str)
        else np.full(shape, number)
        for shape in question.returns.values()
    ]
    return lambda *_: parts if len(parts) > 1 else parts[0]


def test_any_finite_numbers_can_be_judged_and_drawn():
    assert not failures(
        ASKED_FOR_NUMBERS,
        lambda question: {n: constant(question, n) for n in (0.0, 1e-300, -1.0, 1e8)},
        lambda outcome, shown: 0 <= outcome.score < 1 and 'role="img"' in shown["text/html"],
    )


# parts of which only the direction is asked, or that are counted in whole frames
SCALE_FREE = {
    ("06/stuck_direction", "direction"),
    ("07/squat_poles", "poles"),
    ("10/footfalls", "both"),
    ("12/aslant", "mended axis"),
}


def scaled(question, answer, part, factor):
    """A right answer with the numbers of one of its parts multiplied."""
    parts = list(answer) if len(question.returns) > 1 else [answer]
    at = list(question.returns).index(part)
    parts[at] = np.multiply(parts[at], factor)
    return parts if len(parts) > 1 else parts[0]


@pytest.mark.parametrize("question", ASKED_FOR_NUMBERS, ids=named)
def test_an_answer_that_is_slightly_off_is_not_right(question, answers):
    given = answers[question.lesson, "ada"][question.name]
    for part, shape in question.returns.items():
        if shape == WORDS or (shape and isinstance(shape[0], str)):
            continue

        def answer(*inputs, part=part):
            right = given(*inputs) if question.kind == "function" else given
            return scaled(question, right, part, 1.04)

        right = (question.id, part) in SCALE_FREE
        assert (outcome_of(question, answer).word == "Right") == right, part
