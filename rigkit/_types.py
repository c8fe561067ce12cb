"""Names for the types of arguments and answers: `ArrayLike` comes in, `Floats` goes out.

An answer for one thing alone, such as one leg's flexion, is a NumPy number. It has all that an
array without axes has and is typed as one.
"""

from collections.abc import Mapping
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray


class HasArray(Protocol):
    """An array, or what NumPy can read as one, such as tables and tensors of other libraries."""

    def __array__(self) -> NDArray[Any]: ...


class Rows(Protocol):
    """Numbers in lists or tuples, as deep as one likes; text is none: it holds only text."""

    def __len__(self) -> int: ...

    def __contains__(self, item: object, /) -> bool: ...

    def __getitem__(self, place: int, /) -> "ArrayLike": ...


ArrayLike = float | HasArray | Rows  # the name NumPy has for this lets text pass

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]
Bools = NDArray[np.bool_]
Words = NDArray[np.str_]
AnyFloats = NDArray[np.floating]  # single or double precision, whichever a solver was given
Shape = tuple[int, ...]
NamedFrames = Mapping[str, ArrayLike]  # of joints or controls, each (..., 4, 4)
ControlValues = Mapping[str, Mapping[str, ArrayLike]]  # by control, by channel
