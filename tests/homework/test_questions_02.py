"""Lesson 02's judges measure: a small error is not called none."""

import numpy as np

from rigkit.homework import calling, checking
from rigkit.homework.notebook import open_homework, questions
from rigkit.two_bone import planar_points


def test_a_thigh_that_is_hardly_off_is_not_off_by_nothing():
    question = questions("02")["forward_leg"]
    cases = open_homework("02", "ada").cases(question, 1)[1:2]

    def forward_leg(hip, knee, upper, lower):
        return planar_points(hip + np.radians(0.3), knee, upper, lower)[1:]

    assert (
        "points 0.3° off"
        in checking.score_answers(question, cases, calling.call(forward_leg, cases, None)).sentence
    )
