"""Argument validation: a finite float array of the promised shape, or a helpful `ValueError`.

Every message has three parts: the argument and what it must be, what came, what would do.
"""

from __future__ import annotations

import math
from collections.abc import Collection
from typing import Any, overload

import numpy as np
from numpy.typing import DTypeLike, NDArray

from rigkit._types import ArrayLike, Bools, Floats, Shape

_NUMPY_NUMBERS = np.typecodes["AllInteger"] + np.typecodes["Float"]
_PLAIN = frozenset({int, float, *(np.dtype(code).type for code in _NUMPY_NUMBERS)})
_LARGEST = 2.0**62  # beyond it not every whole number fits into an array


@overload
def numbers(name: str, value: ArrayLike, *shape: int | str, hint: str = "") -> Floats: ...


@overload
def numbers(
    name: str, value: ArrayLike, *shape: int | str, dtype: DTypeLike, hint: str = ""
) -> NDArray[Any]: ...


def numbers(
    name: str, value: ArrayLike, *shape: int | str, dtype: DTypeLike = np.float64, hint: str = ""
) -> NDArray[Any]:
    """`value` as a finite float array with batch axes first and `shape` last.

    Parameters
    ----------
    name : str
        The argument's name, as the caller typed it.
    value : array_like, shape (..., *shape)
    *shape : int or str
        The last axes: a number is a required length, a letter any length of at least one.
    dtype : float type
        What the numbers are given back in; they must be finite in it.
    hint : str
        A sentence on what would do, where the shape alone does not say it.

    Returns
    -------
    ndarray, shape (..., *shape)

    Raises
    ------
    ValueError
        Not numbers, not finite, empty, or not of that shape.
    """
    try:
        array = np.asarray(value)
    except ValueError:  # ragged lists
        came = f"rows of different lengths: {short(value)}"
        raise _refuse(name, _numbers_of(shape), came, hint) from None
    if array.dtype.kind not in "iuf":
        raise _refuse(name, _numbers_of(shape), f"{_kind(array, value)} {short(value)}", hint)
    if array.size == 0:
        came = f"an empty array of shape {array.shape}"
        raise _refuse(name, _numbers_of(shape), came, hint or "Give at least one.")
    if not _fits(array.shape, shape):
        raise _refuse(name, _numbers_of(shape), f"shape {array.shape}: {short(value)}", hint)
    array = array.astype(dtype, copy=False)
    finite = np.isfinite(array)
    if not finite.all():
        raise _refuse_first(
            name, array, finite, "finite numbers", hint or "Leave out or fill in what is missing."
        )
    return array


def plain(*values: object) -> tuple[float, ...] | None:
    """`values` as floats where each is a finite number of its own; else None.

    A quick way past `numbers` for a function that has one for single numbers. It refuses nothing:
    what it does not take goes to `numbers`, which says what is wrong with it.
    """
    if not _PLAIN.issuperset(map(type, values)):
        return None
    try:
        floats = tuple(map(float, values))  # type: ignore[arg-type]  # _PLAIN has only numbers
    except OverflowError:  # a whole number that no float can hold
        return None
    return floats if math.hypot(*floats) < _LARGEST else None  # not so where one is NaN


def plain_vector(value: Any) -> tuple[float, ...] | None:
    """`value` as three floats where it is one finite vector; else None. See `plain`."""
    if type(value) is np.ndarray and value.shape == (3,):
        value = value.tolist()
    return plain(*value) if type(value) in (list, tuple) and len(value) == 3 else None


def positive(name: str, value: ArrayLike, *shape: int | str, hint: str = "") -> Floats:
    """Like `numbers`, and every number above zero (a length, a stature, a tolerance)."""
    array = numbers(name, value, *shape, hint=hint)
    good = array > 0
    if not good.all():
        raise _refuse_first(
            name, array, good, "above zero", hint or "Lengths are in metres, such as 0.43."
        )
    return array


def every(name: str, value: ArrayLike, good: Bools, need: str, hint: str = "") -> None:
    """Refuse `value` unless all of it is `good`, with the first of it that is not and its index."""
    if not good.all():
        raise _refuse_first(name, value, good, need, hint)


def one(name: str, value: ArrayLike, hint: str = "") -> float:
    """`value` as one finite number, where an array of them would make no sense."""
    array = numbers(name, value, hint=hint)
    if array.ndim:
        raise _refuse(name, "one number", f"shape {array.shape}: {short(value)}", hint)
    return float(array)


def one_positive(name: str, value: ArrayLike, hint: str = "") -> float:
    """`value` as one number above zero."""
    return one(name, positive(name, value, hint=hint), hint)


def directions(name: str, value: ArrayLike, hint: str = "", size: int = 3) -> Floats:
    """Like `numbers(…, size)`, scaled to length one; a vector of length zero is refused."""
    vectors = numbers(name, value, size, hint=hint)
    lengths = _lengths(vectors)
    if not ((lengths > 1e-150) & (lengths < 1e150)).all():  # too short or long to square
        largest = np.abs(vectors).max(axis=-1, keepdims=True)
        if not (largest > 0).all():
            raise _refuse(
                name,
                "vectors with a direction",
                f"a vector of length zero{_first(largest[..., 0] == 0)[1]}",
                hint or "Give a direction such as (0, 0, 1), forward.",
            )
        vectors = vectors / largest
        lengths = _lengths(vectors)
    return vectors / lengths


def choice(name: str, value: object, options: Collection[str]) -> str:
    """`value` if it is one of `options`, else a `ValueError` that lists them."""
    if not isinstance(value, str) or value not in options:
        raise _refuse(name, "one of " + ", ".join(map(repr, options)), short(value), "")
    return value


def count(name: str, value: object, least: int = 1) -> int:
    """`value` as a whole number of at least `least`."""
    if isinstance(value, bool) or not isinstance(value, (int, np.integer)) or value < least:
        raise _refuse(name, f"a whole number of at least {least}", short(value), "")
    return int(value)


def batch(**shapes: Shape) -> Shape:
    """The common batch shape of arguments that must broadcast; an error names them all.

    Parameters
    ----------
    **shapes : tuple of int
        Each argument's batch shape: its shape without the last, meaningful axes.
    """
    try:
        return np.broadcast_shapes(*shapes.values())
    except ValueError:
        listed = ", ".join(f"`{name}` {shape}" for name, shape in shapes.items())
        raise ValueError(
            f"Batch shapes must broadcast; got {listed}. "
            "Give each argument once, or the same number of times."
        ) from None


def short(value: object, most: int = 60) -> str:
    """The `repr` of a value on one line, cut short."""
    text = " ".join(repr(value).split())
    return text if len(text) <= most else text[: most - 1] + "…"


def _refuse(name: str, need: str, came: str, hint: str) -> ValueError:
    return ValueError(f"`{name}` must be {need}; got {came}." + (f" {hint}" if hint else ""))


def _refuse_first(name: str, value: ArrayLike, good: Bools, need: str, hint: str) -> ValueError:
    where, place = _first(~good)
    return _refuse(
        name, need, f"{np.broadcast_to(np.asarray(value), good.shape)[where]:g}{place}", hint
    )


def _first(bad: Bools) -> tuple[Shape, str]:
    """The index of the first that is bad, and the same in words; no words for a single value."""
    where = tuple(int(i) for i in np.argwhere(bad)[0])
    return where, f" at index {where}" if where else ""


def _lengths(vectors: Floats) -> Floats:
    with np.errstate(over="ignore"):
        return np.sqrt(np.einsum("...i,...i->...", vectors, vectors))[..., None]


def _fits(shape: Shape, wanted: tuple[int | str, ...]) -> bool:
    batch = len(shape) - len(wanted)
    if batch < 0:
        return False
    for size, need in zip(shape[batch:], wanted, strict=True):
        if size != need and not isinstance(need, str):
            return False
    return True


def _numbers_of(shape: tuple[int | str, ...]) -> str:
    return f"numbers with shape ({', '.join(['...', *map(str, shape)])})"


def _kind(array: NDArray[Any], value: object) -> str:
    if array.dtype.kind in "US":
        return "text"
    if array.dtype.kind == "b":
        return "true/false"
    return type(value).__name__
