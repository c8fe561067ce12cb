"""Lesson 08's judges measure: what is no frame is not called a turned one."""

import numpy as np
import pytest

from rigkit.homework import questions
from rigkit.homework import questions_08 as asked
from tests.homework.solved import outcome_of


def follow(leader, follower, leader_now):
    return leader_now @ np.linalg.inv(leader) @ follower


def changed(change):
    def answer(*inputs):
        frame = follow(*inputs)
        frame[:3, :3] = change(frame[:3, :3])
        return frame

    return answer


@pytest.mark.parametrize(
    "change",
    [
        lambda axes: 1.3 * axes,
        lambda axes: axes + 0.2 * axes[:, [1, 0, 2]],
        lambda axes: axes * [-1, 1, 1],
    ],
    ids=["too-long", "not-square", "left-handed"],
)
def test_axes_that_are_no_frames_are_told_so(change):
    outcome = outcome_of(questions("08")["follow"], changed(change))
    assert "square to each other" in outcome.sentence
    assert outcome.score == 0.25
    assert "no angle" in outcome.measured["And turned against it by"]


@pytest.mark.parametrize("change", [lambda rest, world: world - rest], ids=["difference"])
def test_frames_that_are_subtracted_are_told_so(change):
    outcome = outcome_of(questions("08")["zeroed"], change)
    assert "subtract" in outcome.sentence


@pytest.mark.parametrize(
    ("answer", "says"),
    [
        (lambda leader, values, world: np.linalg.inv(leader @ values) @ world, "on the left"),
        (lambda leader, values, world: world @ np.linalg.inv(values @ leader), "on the right"),
        (
            lambda leader, values, world: np.linalg.inv(values) @ world @ np.linalg.inv(leader),
            "exchanged",
        ),
        (
            lambda leader, values, world: np.linalg.inv(leader) @ world @ values,
            "not undone",
        ),
    ],
    ids=["both-left", "both-right", "exchanged", "put-on"],
)
def test_a_gap_undone_on_the_wrong_side_is_told_so(answer, says):
    outcome = outcome_of(questions("08")["gap_now"], answer)
    assert outcome.score < 1
    assert says in outcome.sentence


@pytest.mark.parametrize("name", ["zeroed", "follow", "gap_now"])
def test_a_frame_in_a_wrong_place_is_told_how_far(name):
    def answer(*frames):
        return np.linalg.inv(frames[-1]) @ np.linalg.inv(frames[0])

    outcome = outcome_of(questions("08")[name], answer)
    away = outcome.measured[next(n for n in outcome.measured if n.endswith("away by"))]
    assert f"{float(away.split()[0]):.1f} cm" in outcome.sentence


@pytest.mark.parametrize("learner", ["ada", "learner-07", "learner-12"])
def test_the_pelvis_is_not_one_of_all_others(learner):
    def answer(controls, follows, *numbers):
        names = asked._moving(controls, follows)
        return [*names, "pelvis"], asked._hem_moves(*numbers)

    outcome = outcome_of(questions("08")["moves"], answer, learner)
    assert outcome.word != "Right"
    assert "pelvis" in outcome.sentence
    assert "others" in outcome.sentence


def test_what_is_no_frame_is_told_its_last_row():
    outcome = outcome_of(questions("08")["zeroed"], lambda rest, world: rest - world)
    assert "yours is 0, 0, 0, 0. Frames are multiplied" in outcome.sentence
