"""Lesson 03's judges measure: what is no frame is not called a turned one."""

import numpy as np
import pytest

from rigkit.homework import questions
from tests.homework.solved import outcome_of


@pytest.mark.parametrize(
    ("axes", "says"),
    [
        (1.3 * np.eye(3), "square to each other"),
        (np.diag([-1.0, 1.0, 1.0]), "square to each other"),
        (np.diag([-1.0, -1.0, 1.0]), "it has turned"),
    ],
    ids=["too-long", "left-handed", "turned"],
)
def test_axes_that_are_no_frames_are_told_from_turned_ones(axes, says):
    def keep_ankle(knee, ankle, new_knee):
        kept = np.linalg.inv(new_knee) @ knee @ ankle
        kept[:3, :3] = kept[:3, :3] @ axes
        return kept

    outcome = outcome_of(questions("03")["keep_ankle"], keep_ankle)
    assert says in outcome.sentence
    assert outcome.score == 0.5
