"""Names for the types of arguments and answers: `ArrayLike` comes in, `Floats` goes out."""

import numpy as np
from numpy.typing import ArrayLike, NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Bools = NDArray[np.bool_]

__all__ = ["ArrayLike", "Bools", "Floats", "Ints"]
