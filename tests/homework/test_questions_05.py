"""Lesson 05's questions accept any right answer, not only the solution's."""

import numpy as np
import pytest

from rigkit import two_bone
from rigkit.homework import catalogue, open_homework, questions_05
from tests.homework.solved import outcome_of

QUESTIONS = catalogue.questions("05")


def word(name, answer):
    return outcome_of(QUESTIONS[name], answer).word


def smooth(shape):
    """A reach eased by a shape of its own, from slope 1 at 0 to 1 soft length far out."""

    def answer(distance, upper, lower, soft):
        start = upper + lower - soft
        return np.where(
            distance < start, distance, start + soft * shape(np.maximum(distance - start, 0) / soft)
        )

    return answer


@pytest.mark.parametrize(
    "shape",
    [
        np.tanh,
        lambda x: 2 / np.pi * np.arctan(np.pi / 2 * x),
        lambda x: x / np.sqrt(1 + x**2),
        lambda x: np.where(x < 2, x - x**2 / 4, 1),
    ],
    ids=["tanh", "arctan", "root", "parabola"],
)
def test_any_smooth_ease_is_right(shape):
    assert word("ease_reach", smooth(shape)) == "Right"


@pytest.mark.parametrize(
    "shape",
    [
        lambda x: np.minimum(x, 1),
        lambda x: 1.02 * np.tanh(x / 1.02),
        lambda x: np.tanh(0.6 * x),
        lambda x: np.sin(x),
        lambda x: 0.7 * np.tanh(x / 0.7),
    ],
    ids=["corner", "too-long", "slope", "back", "never-there"],
)
def test_an_ease_that_breaks_a_promise_is_not(shape):
    assert word("ease_reach", smooth(shape)) != "Right"


def test_the_library_may_answer():
    def angles(distance, upper, lower):
        leg = two_bone.solve_planar([0, -distance], upper, lower)
        return np.degrees(leg.knee), np.degrees(leg.hip)

    assert word("leg_angles", angles) == "Right"
    assert (
        word("knee_point", lambda h, g, p, u, low: two_bone.solve(h, g, u, low, p).knee) == "Right"
    )
    assert word("ease_reach", two_bone.soft_reach) == "Right"


def test_a_bend_below_zero_is_not_called_too_small():
    question = QUESTIONS["last_bit"]
    cases = open_homework("05", "ada").cases(question, 1)
    upper, lower, short = (cases[0][name] for name in ("upper", "lower", "short_cm"))
    bend_deg = np.degrees(
        two_bone.solve_planar([0, short / 100 - upper - lower], upper, lower).knee
    )
    outcome = outcome_of(question, lambda *_: ("a half", -bend_deg))
    assert "flexion is positive" in outcome.sentence


def test_a_speed_below_zero_is_told_its_sign():
    question = QUESTIONS["fastest"]
    right = next(wrong for wrong in question.misconceptions if wrong.name == "sign")
    where, speed = right.answer(*open_homework("05", "ada").cases(question, 1)[0].values())
    assert speed < 0
    assert "with its sign" in outcome_of(question, lambda *_: (where, round(speed))).sentence
    assert "no sign" in outcome_of(question, lambda *_: ("at full reach", -175)).sentence


def test_a_speed_in_whole_degrees_is_near_enough_and_two_degrees_beside_it_are_not():
    leg = {"upper": 0.45, "lower": 0.45, "soft_cm": 5.0, "rise_cm_s": 12.0}
    speed = questions_05._fastest(**leg)
    assert abs(speed - round(speed)) > 0.01 * speed  # so slow that rounding is more than 1 %

    def score(yours):
        output = {"where": "where softening begins", "speed": yours}
        return QUESTIONS["fastest"].judge(leg, output).score

    assert score(round(speed)) == 1
    assert score(speed - 2) < 1
    assert score(speed + 2) < 1


def test_a_knee_far_from_its_hip_is_told_where_to_begin():
    question = QUESTIONS["knee_point"]
    outcome = outcome_of(question, lambda *_: [9.0, 9.0, 9.0])
    assert "set out from the hip's place in the world" in outcome.sentence
    near = outcome_of(question, lambda hip, *_: hip + [0.0, 0.0, 0.1])
    assert "at a right angle" in near.sentence


def test_finite_numbers_are_not_called_infinite():
    outcome = outcome_of(QUESTIONS["ease_reach"], lambda d, *_: np.full(len(d), 2e9))
    assert "finite" not in outcome.sentence
    assert "more than 1,000,000,000" in outcome.sentence
