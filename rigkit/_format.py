"""The library's objects in words: numbers with their units, rounded as a person reads them.

Nothing here raises, whatever an object was made of: a batch says its least and greatest, NaN says
NaN, and what is no number is shown shortened.
"""

from collections.abc import Callable
from typing import Any

import numpy as np

from rigkit._check import short
from rigkit._types import Floats

MOST = 60  # characters of a name or of what is no number
NAMES = 12  # more names than that are not all said
_NOTHING = 1e-9  # metres or radians: less is rounding


class NotebookDisplay:
    """The base of what a notebook shows by a picture or a table, which `display` makes."""

    __slots__ = ()


def line(thing: object, *said: str, batch: tuple[int, ...] = ()) -> str:
    """An object in words, such as "Bend: 5.0°, costs 0.10 % of reach"; empty parts are left out."""
    many = f", batch {batch}" if batch else ""
    return f"{type(thing).__name__}{many}: {', '.join(part for part in said if part) or 'nothing'}"


def batch(values: Any, axes: int = 0) -> tuple[int, ...]:
    """The batch shape of an array whose last `axes` axes are its own."""
    try:
        shape = np.shape(values)
    except ValueError:  # ragged lists
        return ()
    return shape[: max(len(shape) - axes, 0)]


def number(value: float, places: int = 3) -> str:
    """One number, to so many decimals; without them where it is too large for any to matter."""
    if not np.isfinite(value):
        return "NaN" if np.isnan(value) else "infinite" if value > 0 else "-infinite"
    return f"{round(float(value), places) + 0.0:.{places}f}" if abs(value) < 1e6 else f"{value:.4g}"


def amount(values: Any, unit: str = "", places: int = 3, scale: float = 1.0) -> str:
    """A number with its unit, or the least and the greatest of many."""
    return _said(values, unit, scale, lambda value: number(value, places))


def length(values: Any) -> str:
    """Metres, to the millimetre."""
    return amount(values, " m")


def angle(values: Any) -> str:
    """Radians, in degrees."""
    return amount(values, "°", 1, 180 / np.pi)


def share(values: Any) -> str:
    """A share of one, in hundredths."""
    return amount(values, " %", 2, 100.0)


def small(values: Any, unit: str = "cm", scale: float = 100.0) -> str:
    """A length that may be tiny, such as a miss: metres in centimetres, to three digits that count.

    Less than a thousandth of the unit is "under 0.001", and what is rounding is 0.
    """
    return _said(values, f" {unit}", scale, lambda value: _digits(value, _NOTHING * scale))


def point(values: Any, unit: str = " m", places: int = 3, scale: float = 1.0) -> str:
    """A point or a direction, shape (..., d); of many the box they lie in."""
    array = numbers(values)
    if array is None or array.ndim == 0 or array.size == 0:
        return amount(values, unit, places, scale)
    within = "" if array.ndim == 1 else "within "
    said = (amount(part, "", places, scale) for part in np.moveaxis(array, -1, 0))
    return f"{within}({', '.join(said)}){unit}"


def origin(frames: Any) -> str:
    """The place of frames, shape (..., 4, 4)."""
    array = numbers(frames)
    if array is None or array.shape[-2:] != (4, 4):
        return short(frames)
    return point(array[..., :3, 3])


def frame(frames: Any) -> str:
    """The place of frames, and by how much they are turned."""
    array = numbers(frames)
    if array is None or array.shape[-2:] != (4, 4):
        return short(frames)
    trace = np.trace(array[..., :3, :3], axis1=-2, axis2=-1)
    return f"{origin(array)}, turned {angle(np.arccos(np.clip((trace - 1) / 2, -1, 1)))}"


def angles(values: Any) -> str:
    """The angles of one joint, shape (..., 3), in their order; a single one as it is."""
    array = numbers(values)
    if array is None or array.ndim == 0:
        return angle(values)
    return f"({', '.join(map(angle, np.moveaxis(array, -1, 0)))})"


def sides(values: Any, say: Callable[[Any], str], axis: int = -1) -> str:
    """Left and right of an array that has the two sides along `axis`."""
    array = numbers(values)
    if array is None or array.ndim < -axis or array.shape[axis] != 2:
        return short(values)
    left, right = np.moveaxis(array, axis, 0)
    return f"{say(left)} left and {say(right)} right"


def direction(values: Any) -> str:
    """A direction, to two decimals."""
    return point(values, "", 2)


def truth(values: Any, word: str, otherwise: str = "") -> str:
    """Say if something holds, or for how many: "reached", "not reached", "3 of 5 reached"."""
    array = numbers(values)
    if array is None:
        return f"{word}: {short(values)}"
    if array.ndim == 0:
        return word if array else otherwise or f"not {word}"
    return f"{np.count_nonzero(array)} of {array.size} {word}"


def reach(reached: Any, miss: Any) -> str:
    """Say if ends are on their goals, and by how much not."""
    said = truth(reached, "reached")
    array = numbers(reached)
    return said if array is not None and (array == 1).all() else f"{said}, miss {small(miss)}"


def count(many: int, one: str, several: str = "") -> str:
    """ "1 joint", "3 joints"."""
    return f"{many:,} {one if many == 1 else several or one + 's'}"


def name(text: object) -> str:
    """A name on one line, whatever it holds; in quotes where it is empty or cannot be printed."""
    text = str(text)
    cut = text if len(text) <= MOST else text[: MOST - 1] + "…"
    return cut if cut.isprintable() and cut.strip() else repr(cut)


def names(many: Any) -> str:
    """Names one after the other; of many only the first."""
    many = list(many)
    more = [f"and {len(many) - NAMES} more"] if len(many) > NAMES else []
    return ", ".join([*map(name, many[:NAMES]), *more])


def words(many: Any) -> str:
    """The different words of an array of them."""
    try:
        return names(dict.fromkeys(map(str, np.ravel(many).tolist())))
    except ValueError:  # ragged lists
        return short(many)


def part(values: Any, place: int, axes: int) -> Any:
    """One of those an array holds side by side, each of so many `axes`; else the whole."""
    array = numbers(values)
    if array is None or array.ndim <= axes or not array.shape[-axes - 1]:
        return values
    return np.take(array, place, axis=-axes - 1)


def numbers(values: Any) -> Floats | None:
    """The same as a float array; None if it is not numbers."""
    try:
        return np.asarray(values, dtype=float)
    except (TypeError, ValueError, OverflowError):
        return None


def _said(values: Any, unit: str, scale: float, say: Callable[[float], str]) -> str:
    array = None if values is None else numbers(values)
    if array is None:
        return short(values)
    if array.size == 0:
        return "none"
    known = scale * array[~np.isnan(array)]
    if known.size == 0:
        return "NaN"
    low, high = say(known.min()), say(known.max())
    lost = array.size - known.size
    tail = f" ({lost} of {array.size} NaN)" if lost else ""
    start = f"{low}{unit if unit == '°' else ''} to "
    return f"{'' if low == high else start}{high}{unit}{tail}"


def _digits(value: float, nothing: float) -> str:
    if not np.isfinite(value) or abs(value) >= 1000:
        return number(value, 0)
    if abs(value) <= nothing:
        return "0"
    return f"{value:.3g}" if abs(value) >= 0.001 else "under 0.001"
