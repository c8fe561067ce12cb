"""Vectors with their components first: `v[0], v[1], v[2]` are arrays of one shape, or numbers.

In this layout a batch runs through memory in order, and one vector costs no array for each step.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from rigkit._types import AnyFloats, Bools, Floats, Shape

Part = Any  # one component: a plain number or an array, and the same formula serves both
Vector = Sequence[Part] | AnyFloats
Parts = tuple[Part, Part, Part]


def split(vectors: AnyFloats) -> Parts:
    """x, y and z of vectors, shape (..., 3)."""
    return vectors[..., 0], vectors[..., 1], vectors[..., 2]


def packed(vector: Vector, shape: Shape) -> Floats:
    """The vectors of shape (*shape, 3) whose components are given."""
    if shape == ():
        return np.array(vector)
    vectors = np.empty((*shape, 3))
    vectors[..., 0], vectors[..., 1], vectors[..., 2] = vector
    return vectors


def plus(a: Vector, b: Vector) -> Parts:
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def minus(a: Vector, b: Vector) -> Parts:
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def times(a: Vector, factor: Part) -> Parts:
    return a[0] * factor, a[1] * factor, a[2] * factor


def dot(a: Vector, b: Vector) -> Part:
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a: Vector, b: Vector) -> Parts:
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def where(flag: bool | Bools, a: Vector, b: Vector) -> Vector:
    """`a` where `flag`, else `b`."""
    if isinstance(flag, bool):
        return a if flag else b
    return np.where(flag, a[0], b[0]), np.where(flag, a[1], b[1]), np.where(flag, a[2], b[2])
