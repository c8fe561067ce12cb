"""Values in words, as the cells of a table have them."""

from collections.abc import Callable
from typing import Any

import numpy as np

from rigkit import _format, page, rotation

NAME = 40  # characters of a stranger's name

Say = Callable[[Any], str]


def capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def name(text: object) -> str:
    """A stranger's name, made harmless and cut."""
    return page.plain(text, NAME)


def yes(value: Any) -> str:
    return "yes" if value else "no"


def whole(value: Any) -> str:
    return _format.amount(value, "", 0)


def cm(value: Any) -> str:
    return _format.amount(value, " cm", 1, 100.0)


def mm(value: Any) -> str:
    return _format.small(value, "mm", 1000.0)


def point_cm(value: Any) -> str:
    return _format.point(value, " cm", 1, 100.0)


def unit(unit: str, places: int, scale: float = 1.0) -> Say:
    """Numbers in a unit, to so many decimals."""
    return lambda value: _format.amount(value, unit, places, scale)


def both(say: Say) -> Say:
    """Left and right with a comma between."""
    return lambda sides: ", ".join(say(side) for side in np.asarray(sides))


def optional(say: Say, otherwise: str = "none") -> Say:
    """A value that may be None."""
    return lambda value: otherwise if value is None else say(value)


def turn(matrix: Any) -> str:
    """A turn as its angle and the axis it is about."""
    vector = rotation.vector_from_matrix(matrix)
    angle = float(np.linalg.norm(vector))
    return (
        "none"
        if angle < 1e-9
        else f"{_format.angle(angle)} about {_format.direction(vector / angle)}"
    )
