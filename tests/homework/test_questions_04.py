"""Lesson 04's questions can be answered with what it has taught, and draw what was answered."""

import numpy as np
import pytest

from rigkit.homework import open_homework, questions
from rigkit.homework.card import Card
from tests.homework.solved import LEARNERS, outcome_of

QUESTIONS = questions("04")


def by_the_questions_own_formulas(upper, lower, drop, ahead):
    x, y = -ahead, drop - upper - lower
    d = np.hypot(x, y)
    knee = np.arccos(min((d**2 - upper**2 - lower**2) / (2 * upper * lower), 1))
    beta = np.arccos(min((upper**2 + d**2 - lower**2) / (2 * upper * d), 1))
    hip = beta + np.arctan2(x, -y)
    return [hip, knee, knee - hip]


@pytest.mark.parametrize("learner", LEARNERS)
def test_the_formulas_in_the_text_are_enough(learner):
    question = QUESTIONS["compensate"]
    assert outcome_of(question, by_the_questions_own_formulas, learner).word == "Right"


@pytest.mark.parametrize("learner", LEARNERS)
def test_the_lessons_quarter_is_right(learner):
    deep_cm = open_homework("04", learner).inputs("crouch_chain").deep_cm
    for typed in (deep_cm / 4, round(deep_cm / 4, 1)):
        answer = ("inverse", typed)
        outcome = outcome_of(QUESTIONS["crouch_chain"], lambda *_, said=answer: said, learner)
        assert outcome.word == "Right"


@pytest.mark.parametrize("name", ["crouch_chain", "kick_chain"])
def test_the_picture_shows_what_was_answered(name):
    chain = QUESTIONS[name].returns["chain"][0]
    drawn = [
        outcome_of(QUESTIONS[name], lambda *_, off=off: (chain, off)).picture for off in (0, 9)
    ]
    assert drawn[0] != drawn[1]
    assert ["9.0 cm" in repr(each["marks"]) for each in drawn] == [False, True]


def test_the_keys_picture_shows_the_foot_at_that_spacing():
    spacings = [12.0, 6.0, 1.0]
    drawn = [
        outcome_of(QUESTIONS["keyed_values"], lambda *_, n=n: (n, 0.0, 0.0)).picture["marks"]
        for n in spacings
    ]
    feet = [dict(marks[-1:])["chain"]["points"][2][1] for marks in drawn]
    assert feet == sorted(feet)  # a wider spacing sinks the foot deeper
    assert feet[0] < feet[-1] - 0.01


def test_an_upside_down_sole_is_said_in_plain_degrees():
    outcome = outcome_of(QUESTIONS["compensate"], lambda *_: [0.0, 0.0, np.pi - 0.01])
    assert "179°" in repr(Card(outcome))
    assert "e+" not in repr(Card(outcome))


@pytest.mark.parametrize(
    ("change", "name"),
    [
        (lambda hip, knee, ankle: (hip, knee, 0), "foot left tilted"),
        (lambda hip, knee, ankle: (knee, knee, 0), "hip by the whole knee angle"),
        (lambda hip, knee, ankle: (-hip, knee, hip + knee), "hip the wrong way"),
        (lambda hip, knee, ankle: (0, knee, knee), "knee alone"),
        (lambda hip, knee, ankle: np.radians([hip, knee, ankle]).round(2), "radians"),
    ],
)
@pytest.mark.parametrize("learner", LEARNERS[:6])
def test_a_mistake_found_by_hand_is_recognised(change, name, learner):
    mine = open_homework("04", learner).inputs("by_hand")
    right = by_the_questions_own_formulas(mine.upper, mine.lower, mine.lowered_cm / 100, 0.0)
    nearly = np.degrees(right) + [1.2, -1.5, 0.8]  # as a hand drags it
    outcome = outcome_of(QUESTIONS["by_hand"], lambda *_: change(*nearly.round()), learner)
    assert outcome.misconception == name
