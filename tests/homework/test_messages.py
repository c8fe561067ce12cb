"""Messages of all questions: what they may and may not say."""

import re

import numpy as np
import pytest

from rigkit.homework import checking, questions
from rigkit.homework.card import Card
from rigkit.homework.judging import number
from tests.homework.solved import ASKED_FOR_NUMBERS, QUESTIONS, named, outcome_of


@pytest.mark.parametrize("question", QUESTIONS, ids=named)
def test_parts_are_called_by_words_and_not_by_names_of_variables(question):
    assert not [name for name in question.returns if "_" in name]


@pytest.mark.parametrize("size", [1e-9, -3.0, 1.8e5, 9.9e8])
@pytest.mark.parametrize("question", ASKED_FOR_NUMBERS, ids=named)
def test_no_card_writes_a_power_of_ten(question, size):
    parts = [
        []
        if shape == (str,)
        else shape[0]
        if isinstance((*shape, 0)[0], str)
        else np.full(shape, size)
        for shape in question.returns.values()
    ]
    outcome = outcome_of(question, lambda *_: parts if len(parts) > 1 else parts[0])
    said = [outcome.sentence, outcome.part, *outcome.measured, *outcome.measured.values()]
    assert not re.findall(r"\d+e[+-]?\d+", " ".join(said))
    assert not re.findall(r"\d+e[+-]?\d+", repr(outcome.picture["title"] + outcome.picture["desc"]))


@pytest.mark.parametrize(
    ("value", "said"),
    [(0, "0"), (-0.0, "0"), (3.14159, "3.14"), (180, "180"), (1e6, "1000000"), (3e-5, "0.00003")],
)
def test_numbers_are_written_in_full(value, said):
    assert number(value) == said


def test_what_was_typed_is_quoted():
    outcome = outcome_of(questions("03")["odd_joint"], lambda *_: ("patella", 1.0))
    assert "'patella'" in outcome.sentence


def test_half_of_the_points_are_explained():
    question = questions("03")["keep_ankle"]
    wrong = next(w for w in question.misconceptions if w.name == "only its place")
    card = repr(Card(outcome_of(question, wrong.answer)))
    assert "Score 50%, 0 of 7 cases right, 7 partly, at 50% on average." in card
    assert "the ankle has stayed where it was" in card


@pytest.mark.parametrize("question", [q for q in ASKED_FOR_NUMBERS if q.lesson < "07"], ids=named)
def test_a_part_of_the_points_says_what_it_is_for(question):
    for wrong in question.misconceptions:
        outcome = outcome_of(question, wrong.answer)
        for said in filter(None, [outcome.part]):
            assert re.search(
                r"right|stay|kept|back|near|twentieth|tenth|larger|finite|fit", said
            ), said


def test_no_number_that_is_finite_is_said_not_to_be():
    with pytest.raises(checking.AnswerError, match="far more than can be meant"):
        checking.parse_answer({"reach": (2,)}, [1.0, 2e9])
