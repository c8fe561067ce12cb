"""Numbers, points and words as they stand in SVG."""

import math
from collections.abc import Sequence
from html import escape

Pair = tuple[float, float]  # a place in the picture, px


def number(value: float) -> str:
    """A number of px to one decimal, never −0.

    A nudge keeps halves from rounding differently elsewhere.
    """
    if abs(value) >= 1e5:
        return f"{math.copysign(1e5, value):g}"
    text = f"{value + 1e-6:.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def point(xy: Pair) -> str:
    """A point in a path."""
    return f"{number(xy[0])} {number(xy[1])}"


def line(points: Sequence[Pair]) -> str:
    """Points in a path, joined by straight lines."""
    return "L".join(map(point, points))


def words(text: str) -> str:
    """Words between tags."""
    return escape(text, quote=False)
