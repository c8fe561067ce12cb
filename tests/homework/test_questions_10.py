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


def swing_replaced(place, ease=lambda share: share):
    """A foot planted at a place of each stance's ground, its own path from one to the next lost."""

    def answer(forward, down):
        places = np.empty(len(down))
        for run in asked._stances(down):
            places[run] = place(forward[run])
        for last, first in asked._swings(down):
            share = ease(np.linspace(0, 1, first - last + 1))
            places[last : first + 1] = places[last] + share * (places[first] - places[last])
        return places

    return answer


@pytest.mark.parametrize("place", [np.mean, lambda x: x[0]], ids=["middle", "landing"])
@pytest.mark.parametrize(
    "ease", [lambda s: s, lambda s: s**2 * (3 - 2 * s)], ids=["straight", "eased"]
)
def test_a_line_drawn_anew_is_not_the_foots_own_swing(place, ease):
    for learner in LEARNERS:
        cases = homework.open_homework("10", learner).cases(asked.PLANT, 1)
        for n in range(len(cases)):
            outcome = outcome_of(asked.PLANT, swing_replaced(place, ease), learner, slice(n, n + 1))
            assert outcome.score <= 0.5, (learner, n)
            assert "path" in outcome.sentence


def test_a_swinging_foot_sets_off_and_arrives_slowly():
    for learner in LEARNERS:
        for case in homework.open_homework("10", learner).cases(asked.PLANT, 1):
            forward, down = np.array(case["forward"]), np.array(case["down"])
            for last, first in asked._swings(down):
                steps = np.diff(forward[last : first + 1])
                even = steps.mean()
                assert max(steps[0], steps[-1]) < 0.7 * even < 0.8 * steps.max()


def test_an_answer_counted_while_the_feet_are_in_the_air_is_told_so():
    def answer(left, right):
        start, _, end = asked._stride(left)
        swing = np.sum(left[start:end] < 0.5)
        return 100 * np.array([swing, 7]) / (end - start)

    for learner in LEARNERS:
        assert "in the air" in outcome_of(asked.CONTACTS, answer, learner).sentence


@pytest.mark.parametrize("off", [-9.0, 11.0])
def test_a_wrong_toe_off_is_told_what_the_foot_does_there(off):
    for learner in LEARNERS:
        outcome = outcome_of(asked.CONTACTS, lambda *rows: asked._phases(*rows) + [off, 0], learner)
        there = "in the air" if off > 0 else "still down"
        assert f"the left foot is {there}" in outcome.sentence
        case = homework.open_homework("10", learner).cases(asked.CONTACTS, 1)[0]
        frame = int(outcome.sentence.split("about frame ")[1].split(",")[0])
        assert case["left"][frame] == (off < 0)
