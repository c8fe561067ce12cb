"""Vectors with their components first: `v[0], v[1], v[2]` are arrays of any one shape, or plain numbers.

In this layout a batch runs through memory in order, and one vector costs no array for each step.
"""

import numpy as np


def split(vectors):
    """x, y and z of vectors, shape (..., 3)."""
    return vectors[..., 0], vectors[..., 1], vectors[..., 2]


def packed(vector, shape):
    """The vectors of shape (*shape, 3) whose components are given."""
    if shape == ():
        return np.array(vector)
    vectors = np.empty((*shape, 3))
    vectors[..., 0], vectors[..., 1], vectors[..., 2] = vector
    return vectors


def plus(a, b):
    return a[0] + b[0], a[1] + b[1], a[2] + b[2]


def minus(a, b):
    return a[0] - b[0], a[1] - b[1], a[2] - b[2]


def times(a, factor):
    return a[0] * factor, a[1] * factor, a[2] * factor


def dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def cross(a, b):
    return a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]


def where(flag, a, b):
    """`a` where `flag`, else `b`."""
    if isinstance(flag, bool):
        return a if flag else b
    return tuple(np.where(flag, first, second) for first, second in zip(a, b, strict=True))
