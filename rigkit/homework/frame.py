"""What several judges ask of a frame that a learner gives."""

import numpy as np

from rigkit._types import Floats

SQUARE = 1e-4  # how far from one or zero the axes' products may be


def is_turn(axes: Floats) -> bool:
    """Whether three axes, the columns of a (3, 3) array, are square to each other, of length one and right-handed."""
    square = float(np.abs(axes.T @ axes - np.eye(3)).max()) <= SQUARE
    return square and float(np.linalg.det(axes)) > 0
