"""Measurements that several judges share, and how they say them."""

import numpy as np

from rigkit._types import Floats

SQUARE = 1e-4  # how far from one or zero the products of a frame's axes may be
FARTHEST = 1e6  # cm


def is_turn(axes: Floats) -> bool:
    """True if a (3, 3) array's columns are square to each other, of length one, right-handed."""
    square = float(np.abs(axes.T @ axes - np.eye(3)).max()) <= SQUARE
    return square and float(np.linalg.det(axes)) > 0


def in_cm(metres: float) -> str:
    """A distance in centimetres without powers of ten: "0.43 cm", "230 cm"."""
    cm = round(min(100 * float(metres), FARTHEST), 3) + 0.0
    return f"{cm:.2g} cm" if abs(cm) < 9.95 else f"{cm:.0f} cm"
