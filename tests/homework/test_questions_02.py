"""Lesson 02's judges measure: a small error is not called none."""

import numpy as np

from rigkit.homework import questions
from rigkit.two_bone import planar_points
from tests.homework.solved import outcome_of


def test_a_thigh_that_is_hardly_off_is_not_off_by_nothing():
    def forward_leg(hip, knee, upper, lower):
        return planar_points(hip + np.radians(0.3), knee, upper, lower)[1:]

    outcome = outcome_of(questions("02")["forward_leg"], forward_leg, cases=slice(1, 2))
    assert "points 0.3° off" in outcome.sentence
