"""Every question of every lesson, tested the same way."""

import inspect
import itertools
import re

import numpy as np
import pytest

from rigkit import course, homework
from rigkit.homework import calling, catalogue
from rigkit.homework.card import Card
from rigkit.homework.question import WORDS
from tests.homework.solved import answered, outcome_of, solutions

LEARNERS = [f"learner-{n:02d}" for n in range(20)]
QUESTIONS = [
    question for lesson in catalogue.lessons() for question in catalogue.questions(lesson).values()
]
ASKED_FOR_NUMBERS = [question for question in QUESTIONS if question.kind != "file"]


def named(question):
    return question.id


@pytest.fixture(autouse=True)
def _own_progress(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    course.reset_progress()
    yield
    course.reset_progress()


class Answers(dict):
    """Names that solutions leave behind, by lesson and learner; run when first asked for."""

    def __missing__(self, key):
        return self.setdefault(key, answered(*key))


@pytest.fixture(scope="module")
def answers():
    return Answers()


def cases_of(question, learner, attempt=1):
    return homework.open_homework(question.lesson, learner).cases(question, attempt)


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
    for learner in LEARNERS:
        names = answers[question.lesson, learner]
        hw = names["hw"]
        for _ in range(2):  # two attempts: other inputs
            card = hw.check(**{question.name: names[question.name]})
            assert card.outcome.word == "Right", (learner, repr(card))
            assert card.score == 1


@pytest.mark.parametrize("question", QUESTIONS, ids=named)
def test_each_misconception_earns_less_and_is_recognised(question):
    for learner, wrong in itertools.product(LEARNERS, question.misconceptions):
        outcome = outcome_of(question, wrong.answer, learner)
        assert outcome.misconception == wrong.name, learner
        assert outcome.score < 1, (wrong.name, learner)
        assert outcome.word != "Right", (wrong.name, learner)
        assert wrong.sentence in repr(Card(outcome)), (wrong.name, learner)


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


def given_away(card, reference, known):
    """Numbers of a right answer in a card's text, to three digits, not known anyway."""
    said = {
        float(word)
        for word in re.findall(r"-?\d+\.?\d*(?:e-?\d+)?", card)
        if len(re.sub(r"e.*|\D", "", word).lstrip("0")) >= 3
    }
    return [
        number
        for number in reference
        if number not in known
        and any(abs(abs(number) - abs(word)) <= 6e-4 * abs(number) for word in said)
    ]


def numbers_in(value):
    return (
        [float(v) for v in np.ravel(np.array(value, dtype=object)) if not isinstance(v, str)]
        if not isinstance(value, (list, tuple))
        else [number for part in value for number in numbers_in(part)]
    )


def answer_of(names, question, inputs):
    answer = names[question.name]
    return answer(*calling.arguments(inputs)) if question.kind == "function" else answer


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


def given_away_by(question, learner, wrong, names):
    """The numbers of the right answer that a wrong one's card gives away to one learner."""
    outcome = outcome_of(question, wrong.answer, learner)
    reference = numbers_in(answer_of(names, question, outcome.inputs))
    known = numbers_in(list(outcome.inputs.values())) + numbers_in(
        wrong.answer(*calling.arguments(outcome.inputs))
    )
    close = [n for n in reference if not any(abs(abs(n) - abs(k)) <= 1e-3 * abs(k) for k in known)]
    return given_away(repr(Card(outcome)), close, known)


@pytest.mark.parametrize("question", ASKED_FOR_NUMBERS, ids=named)
def test_a_wrong_answers_card_does_not_give_the_right_one_away(question, answers):
    for wrong in question.misconceptions:
        found = [
            given_away_by(question, learner, wrong, answers[question.lesson, learner])
            for learner in LEARNERS[:4]
        ]
        # by chance one learner's numbers may look alike, not everyone's
        assert not all(found), (wrong.name, found)


def test_a_card_that_gives_the_answer_away_would_be_found():
    assert given_away("The knee should be at 0.8137 rad.", [0.81371], []) == [0.81371]
    assert given_away("The knee misses by 12.3 cm.", [0.81371], []) == []
