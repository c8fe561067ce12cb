"""Every named mistake of every question, for many learners: told apart, and worth less."""

import itertools

import pytest

from rigkit.homework.card import Card
from tests.homework.solved import QUESTIONS, named, outcome_of, some_learners


@pytest.mark.parametrize("question", QUESTIONS, ids=named)
def test_each_misconception_earns_less_and_is_recognised(question):
    for learner, wrong in itertools.product(some_learners(question), question.misconceptions):
        outcome = outcome_of(question, wrong.answer, learner)
        assert outcome.misconception == wrong.name, learner
        assert outcome.score < 1, (wrong.name, learner)
        assert outcome.word != "Right", (wrong.name, learner)
        assert wrong.sentence in repr(Card(outcome)), (wrong.name, learner)
