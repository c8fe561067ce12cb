"""The judges of lesson 10 take any right answer, and no near miss."""

import numpy as np
import pytest

from rigkit import homework
from rigkit.homework import questions_10 as asked
from tests.homework.solved import outcome_of

LEARNERS = [f"learner-{n:02d}" for n in range(8)]


def scores(question, answer):
    """An answer's score for each learner."""
    return np.array([outcome_of(question, answer, learner).score for learner in LEARNERS])


def planted(place, ease):
    """A foot planted at a place of each stance's ground, its correction eased in swing."""

    def answer(forward, down):
        moved = np.zeros(len(forward))
        for run in asked._stances(down):
            moved[run] = place(forward[run]) - forward[run]
        for last, first in asked._swings(down):
            share = ease(np.linspace(0, 1, first - last + 1))
            moved[last : first + 1] = moved[last] + share * (moved[first] - moved[last])
        return forward + moved

    return answer


@pytest.mark.parametrize("place", [np.mean, np.min, np.max, lambda x: x[0], lambda x: x[-1]])
@pytest.mark.parametrize(
    "ease", [lambda s: s, lambda s: s**2 * (3 - 2 * s), lambda s: (1 - np.cos(np.pi * s)) / 2]
)
def test_a_foot_may_be_planted_anywhere_on_its_ground_and_eased_in_any_smooth_way(place, ease):
    assert (scores(asked.PLANT, planted(place, ease)) == 1).all()


@pytest.mark.parametrize(
    "ease", [lambda s: s > 0.5, lambda s: np.minimum(4 * s, 1), lambda s: s + np.sin(np.pi * s)]
)
def test_a_jump_in_the_air_is_not_smooth(ease):
    assert (scores(asked.PLANT, planted(np.mean, ease)) < 1).all()


def test_a_foot_planted_off_its_ground_is_not_planted_there():
    assert (scores(asked.PLANT, planted(lambda x: x.mean() + 0.5, lambda s: s)) == 0).all()


@pytest.mark.parametrize(
    ("lower", "right"), [(0, True), (0.005, True), (0.0099, True), (0.012, False), (-0.001, False)]
)
def test_a_pelvis_may_ride_a_centimetre_lower_than_it_need(lower, right):
    found = scores(asked.PELVIS, lambda *case: asked._rooms(*case).min(axis=0) - lower)
    assert ((found == 1) == right).all()


@pytest.mark.parametrize(("frames", "right"), [(0, True), (1, True), (-1, True), (3, False)])
def test_a_frame_more_or_less_is_the_same_toe_off(frames, right):
    def answer(left, rights):
        start, off, _ = asked._stride(left)
        return asked._phases(left, rights, toe_off=off - start + frames)

    assert ((scores(asked.CONTACTS, answer) == 1) == right).all()


def test_both_feet_ask_for_a_lower_pelvis_and_the_farther_one_for_less():
    for learner in LEARNERS:
        case = homework.open_homework("10", learner).cases(asked.DECIDES, 1)[0]
        inputs = {name: np.array(value) for name, value in case.items()}
        needed, ahead = asked._lower_cm(**inputs), np.abs([inputs["front"][0], inputs["back"][0]])
        assert (needed > 0.1).all()
        assert np.argmax(needed) == np.argmin(ahead)
