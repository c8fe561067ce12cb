"""No card gives the right answer away."""

import re

import numpy as np
import pytest

from rigkit.homework import calling
from rigkit.homework.card import Card
from tests.homework.solved import ASKED_FOR_NUMBERS, LEARNERS, named, outcome_of


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
        # by chance one learner's numbers may look alike, not everyone's
        found = []
        for learner in LEARNERS[:4]:
            found = given_away_by(question, learner, wrong, answers[question.lesson, learner])
            if not found:
                break
        assert not found, (wrong.name, found)


def test_a_card_that_gives_the_answer_away_would_be_found():
    assert given_away("The knee should be at 0.8137 rad.", [0.81371], []) == [0.81371]
    assert given_away("The knee misses by 12.3 cm.", [0.81371], []) == []
