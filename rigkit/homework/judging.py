"""Measurements that several judges share, and how they say them."""

from typing import Any

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


def number(value: float, digits: int = 3) -> str:
    """A number to so many digits that count, written in full: no powers of ten."""
    value = round(float(value), 6) + 0.0
    if abs(value) >= 10**digits:
        written = f"{value:.0f}"
    else:
        written = np.format_float_positional(
            value, precision=digits, unique=False, fractional=False, trim="-"
        )
    return written.replace("-", "−")


def right_so_far(parts: dict[str, Any]) -> str:
    """Tell how a sentence begins that goes on with what is wrong: "your rank is right; ".

    `parts` says of each part, by its name, if it is right; empty if none is.
    """
    good = [name for name, right in parts.items() if right]
    if not good:
        return ""
    return f"your {' and '.join(good)} {'is' if len(good) == 1 else 'are'} right; "
