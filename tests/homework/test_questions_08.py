"""Lesson 08's judges measure: what is no frame is not called a turned one."""

import numpy as np
import pytest

from rigkit.homework import questions
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
