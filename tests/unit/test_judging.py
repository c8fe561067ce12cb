"""Parts that several judges share: whether axes are a turn, and a distance in words."""

import numpy as np
import pytest

from rigkit import rotation
from rigkit.homework.judging import in_cm, is_turn


@pytest.mark.parametrize(
    ("metres", "said"),
    [
        (0.0, "0 cm"),
        (-0.0, "0 cm"),
        (3e-17, "0 cm"),
        (0.00012, "0.012 cm"),
        (0.0043, "0.43 cm"),
        (0.0123, "1.2 cm"),
        (0.0996, "10 cm"),
        (0.104, "10 cm"),
        (2.34, "234 cm"),
        (13.0, "1300 cm"),
        (1e12, "1000000 cm"),
        (-0.02, "-2 cm"),
    ],
)
def test_a_distance_in_centimetres(metres, said):
    assert in_cm(metres) == said


def test_axes_that_are_a_turn():
    turn = rotation.matrix_from_vector([0.4, -2.0, 1.1])
    assert is_turn(turn)
    assert not is_turn(1.001 * turn)
    assert not is_turn(turn * [-1, 1, 1])
    assert not is_turn(turn + 0.001 * turn[:, [1, 2, 0]])
    assert not is_turn(np.zeros((3, 3)))
