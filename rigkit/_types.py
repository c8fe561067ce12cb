"""Names for the types of arguments and answers: `ArrayLike` comes in, `Floats` goes out.

An answer for one thing alone, such as one leg's flexion, is a NumPy number. It has all that an array without axes has
and is typed as one.
"""

from collections.abc import Mapping

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.integer]
Bools = NDArray[np.bool_]
Words = NDArray[np.str_]
AnyFloats = NDArray[np.floating]  # of single or double precision, where a solver keeps the one it was given
Shape = tuple[int, ...]
NamedFrames = Mapping[str, ArrayLike]  # of joints or controls, each (..., 4, 4)
ControlValues = Mapping[str, Mapping[str, ArrayLike]]  # of controls by name, of their channels by name

__all__ = ["AnyFloats", "ArrayLike", "Bools", "ControlValues", "Floats", "Ints", "NamedFrames", "Shape", "Words"]
