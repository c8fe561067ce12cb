"""Lesson 11's judges measure: what is right by another way is right too."""

import numpy as np
import pytest

from rigkit.homework import open_homework, questions
from tests.homework.solved import outcome_of

QUESTIONS = questions("11")
LEARNERS = ("ada", "learner-07", "learner-12")


def depth(roll_deg, limit_deg, toes):
    return 100 * toes * np.sin(np.radians(limit_deg))


def by_complex_numbers(roll, limit, heel, ball, toe, ankle):
    """Forward is the real part, up the imaginary one; what is ahead goes down."""
    heel, ball, toe, ankle = (point[0] + 1j * point[1] for point in (heel, ball, toe, ankle))
    ball_turn = np.exp(-1j * min(max(roll, 0), limit))
    toe_turn = np.exp(-1j * max(roll - limit, 0))
    heel_turn = np.exp(-1j * min(roll, 0))
    raised = toe + toe_turn * (ball - toe)
    place = heel + heel_turn * (raised + toe_turn * ball_turn * (ankle - ball) - heel)
    return [place.real, place.imag]


def lifted_in_steps(ankle, turn, sole):
    """Lifted for one point after the other; the order does not matter."""
    for forward, up in sole:
        ankle[1] = max(ankle[1], np.sin(turn) * forward - np.cos(turn) * up)
    return ankle


@pytest.mark.parametrize("learner", LEARNERS)
@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("hang", lambda *mine: (["Toe", " heel", "BALL"], depth(*mine))),
        ("hang", lambda *mine: {"order": ["heel", "toe", "ball"], "depth": -depth(*mine)}),
        ("rolled_ankle", by_complex_numbers),
        ("above_floor", lifted_in_steps),
        ("toe_bend", lambda turn, slope, limit: [min(0.0, max(-limit, -turn - slope))]),
    ],
    ids=["toe-before-heel", "depth-below-zero", "complex", "in-steps", "in-a-list"],
)
def test_right_by_another_way(name, answer, learner):
    assert outcome_of(QUESTIONS[name], answer, learner).word == "Right"


@pytest.mark.parametrize("learner", LEARNERS)
@pytest.mark.parametrize(
    ("name", "answer", "says"),
    [
        ("carries", lambda *mine: (["heel"], 10.0), "name one for each"),
        ("carries", lambda *mine: (["arch"] * 6, 10.0), "are called heel, ball and toe"),
        ("hang", lambda *mine: (["toe", "ball", "heel"], 1.0), "the ball carries the heel"),
        ("hang", lambda *mine: (["ball", "ball", "heel"], 1.0), "each once"),
        ("too_high", lambda *mine: ("back", [30.0, 30.0]), "neither length is right"),
        (
            "toe_bend",
            lambda turn, slope, limit: -1.2 * np.clip(turn + slope, 0, limit),
            "more than the toes can do",
        ),
        ("toe_bend", lambda turn, slope, limit: 0.2, "nothing bends its toes."),
        ("toe_bend", lambda turn, slope, limit: -0.2, "toes do not lie on the floor"),
        ("toe_bend", lambda turn, slope, limit: -0.9 * limit, "bend up to the limit"),
        ("above_floor", lambda ankle, turn, sole: ankle + [0.02, 1.0], "moved along"),
        (
            "above_floor",
            lambda ankle, turn, sole: ankle + [0.0, 1.0],
            "clear of the floor and has been moved",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_is_wrong_is_said(name, answer, says, learner):
    question = QUESTIONS[name]
    cases = len(open_homework("11", learner).cases(question, 1))
    said = [outcome_of(question, answer, learner, slice(n, n + 1)).sentence for n in range(cases)]
    assert any(says in sentence for sentence in said), said


@pytest.mark.parametrize("learner", LEARNERS)
def test_a_bend_too_small_is_sent_to_the_floor_or_to_the_limit(learner):
    question = QUESTIONS["toe_bend"]
    for n, case in enumerate(open_homework("11", learner).cases(question, 1)):
        steep = case["turn"] + case["slope"]
        if steep <= 0:
            continue
        outcome = outcome_of(
            question,
            lambda turn, slope, limit: -0.8 * np.clip(turn + slope, 0, limit),
            learner,
            slice(n, n + 1),
        )
        beyond = steep > case["limit"]
        assert ("up to the limit" in outcome.sentence) == beyond, outcome.sentence
        assert ("must point along it" in outcome.sentence) != beyond, outcome.sentence


def turned_backward(roll, limit, heel, ball, toe, ankle):
    """Each pivot takes its own share of the roll, and turns the wrong way."""
    turns = (np.clip(roll, 0, limit), max(roll - limit, 0), min(roll, 0))
    for pivot, turn in zip((ball, toe, heel), turns, strict=True):
        ahead, up = ankle - pivot
        ankle = pivot + [
            np.cos(turn) * ahead - np.sin(turn) * up,
            np.cos(turn) * up + np.sin(turn) * ahead,
        ]
    return ankle


@pytest.mark.parametrize("learner", LEARNERS)
def test_a_turn_the_wrong_way_is_called_that_in_every_case(learner):
    question = QUESTIONS["rolled_ankle"]
    for n in range(len(open_homework("11", learner).cases(question, 1))):
        outcome = outcome_of(question, turned_backward, learner, slice(n, n + 1))
        if outcome.word == "Right":
            continue
        assert "way" in outcome.sentence, outcome.sentence
        assert "keeps that distance" not in outcome.sentence
    assert "the other way" in outcome_of(question, turned_backward, learner).sentence


@pytest.mark.parametrize("learner", LEARNERS)
def test_a_wrong_ankle_is_drawn_beside_where_it_belongs(learner):
    outcome = outcome_of(QUESTIONS["rolled_ankle"], turned_backward, learner)
    (goal,) = (marks["point"] for name, marks in outcome.picture["marks"] if name == "goal")
    case = {name: np.array(value) for name, value in outcome.inputs.items()}
    assert np.allclose(goal, by_complex_numbers(**case))
