"""Lesson 01's judges recognise a mistake as a learner types it, rounded and with its sign."""

import numpy as np
import pytest

from rigkit.homework import open_homework, questions
from tests.homework.solved import LEARNERS, outcome_of

QUESTIONS = questions("01")


def mine(name, learner):
    return open_homework("01", learner).inputs(name)


@pytest.mark.parametrize("learner", LEARNERS[:6])
def test_a_sine_of_degrees_is_recognised_as_it_is_typed(learner):
    knee = mine("kneecap_slide_cm", learner)
    typed = round(float(knee.depth_cm * np.sin(knee.bend_deg / 2)), 2)
    outcome = outcome_of(QUESTIONS["kneecap_slide_cm"], lambda *_: typed, learner)
    assert outcome.misconception == "degrees as radians"


def test_a_slide_below_zero_is_not_called_too_short():
    outcome = outcome_of(QUESTIONS["kneecap_slide_cm"], lambda *_: -3.3)
    assert "never below zero" in outcome.sentence


@pytest.mark.parametrize("learner", LEARNERS[:6])
def test_a_constant_left_out_is_named(learner):
    pelvis = mine("hip_gap_cm", learner)
    typed = round(2 * (0.28 * pelvis.depth_cm + 0.16 * pelvis.asis_cm), 1)
    outcome = outcome_of(QUESTIONS["hip_gap_cm"], lambda *_: typed, learner)
    assert "the 7.9 millimetres that the rule adds on either side are left out" in outcome.sentence
