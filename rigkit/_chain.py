"""Chains laid out for arithmetic, and the moves that the methods of bend and solvers are made of.

Points are (n + 1, 3, ...), goals (3, ...), axes (n, 3, ...): joint and component first, so that
`points[joint]` is a vector of `_xyz`. A flat chain lies in space with z = 0. Only `prepared`
checks; all else trusts it. The number type is kept, so that a solver may run in single precision.
"""

from typing import Any

import numpy as np
from numpy.typing import DTypeLike, NDArray

from rigkit import _check, rotation
from rigkit._types import ArrayLike, Shape
from rigkit._xyz import Part, Parts, Vector, cross, dot, minus, packed, plus, split, times, where

Array = NDArray[Any]  # floats of the number type that was asked for
TURN_AXIS = (0.0, 0.0, 1.0)  # what a flat chain turns about: anticlockwise is positive


def prepared(
    points: ArrayLike, goal: ArrayLike | None, axes: ArrayLike | None, dtype: DTypeLike = np.float64
) -> tuple[Array, Array, Array | None, Shape, bool]:
    """Checked points, goal, unit axes (None for ball joints), batch shape, True for a flat chain.

    Where no goal is given it is the end as it stands.
    """
    points = _check.numbers("points", points, "n", "d", dtype=dtype)
    if points.shape[-1] not in (2, 3) or points.shape[-2] < 2:
        raise ValueError(
            f"`points` must be two or more points of 2 or 3 numbers; got shape {points.shape}. "
            "Give them from the root to the end, such as hip, knee, ankle."
        )
    flat, joints = points.shape[-1] == 2, points.shape[-2] - 1
    goal = points[..., -1, :] if goal is None else goal
    goal = _check.numbers("goal", goal, points.shape[-1], dtype=dtype)
    if flat and axes is not None:
        raise ValueError(
            "`axes` must be left out for points in the plane; got some. Give points in space."
        )
    if flat:
        axes = np.broadcast_to(TURN_AXIS, (joints, 3)).astype(dtype)
    elif axes is not None:
        axes = _check.directions("axes", _check.numbers("axes", axes, joints, 3)).astype(dtype)
    shape = _check.batch(
        points=points.shape[:-2], goal=goal.shape[:-1], axes=() if axes is None else axes.shape[:-2]
    )
    return (
        _batch_last(in_space(points), 2, shape),
        _batch_last(in_space(goal), 1, shape),
        None if axes is None else _batch_last(axes, 2, shape),
        shape,
        flat,
    )


def lengths(points: Array) -> Array:
    """The bones' lengths, (n, ...)."""
    return np.stack([np.sqrt(dot(bone, bone)) for bone in points[1:] - points[:-1]])


def columns(points: Array, axes: Array | None) -> list[Parts]:
    """The Jacobian's columns, each a vector: one for each hinge, three for each ball joint."""
    arms = [minus(points[-1], joint) for joint in points[:-1]]
    if axes is None:
        return [cross(axis, arm) for arm in arms for axis in np.eye(3, dtype=points.dtype)]
    return [cross(axis, arm) for axis, arm in zip(axes, arms, strict=True)]


def turn_toward(points: Array, goal: Vector, axes: Array | None, joint: int) -> tuple[Vector, Part]:
    """The axis and the turn of one joint that bring the end nearest to the goal."""
    arm, wanted = minus(points[-1], points[joint]), minus(goal, points[joint])
    normal, level = cross(arm, wanted), dot(arm, wanted)
    if axes is not None:
        hinge = axes[joint]
        return hinge, np.arctan2(dot(normal, hinge), level - dot(hinge, arm) * dot(hinge, wanted))
    size = np.sqrt(dot(normal, normal))
    axis: Vector = times(normal, 1 / (size + (size == 0)))
    behind = (size == 0) & (level < 0)
    if behind.any():  # exactly behind: any half turn across the arm will do
        vectors = packed(where(behind, arm, TURN_AXIS), behind.shape)
        axis = where(behind, split(rotation.perpendicular(vectors).astype(size.dtype)), axis)
    return axis, np.arctan2(size, level)


def two_passes(points: Array, goal: Vector, lengths: Array) -> Array:
    """The points after a backward and a forward pass."""
    passed = np.array(points)
    passed[-1] = goal
    for joint in range(len(points) - 2, -1, -1):
        passed[joint] = _drawn(passed, joint, joint + 1, points, lengths[joint])
    passed[0] = points[0]
    for joint in range(1, len(points)):
        passed[joint] = _drawn(passed, joint, joint - 1, points, lengths[joint - 1])
    return passed


def _drawn(passed: Array, moved: int, fixed: int, points: Array, length: Part) -> Parts:
    """One point drawn toward another until the bone between them is right."""
    bone: Vector = minus(passed[moved], passed[fixed])
    size = np.sqrt(dot(bone, bone))
    if (size == 0).any():  # two points in one place: the bone keeps its old direction
        bone = where(size == 0, minus(points[moved], points[fixed]), bone)
        size = np.sqrt(dot(bone, bone))
    return plus(passed[fixed], times(bone, length / size))


def _batch_last(array: Array, axes: int, shape: Shape) -> Array:
    """The last `axes` axes put first, the batch axes broadcast to `shape` and put last."""
    array = np.broadcast_to(array, (*shape, *array.shape[-axes:]))
    return np.moveaxis(array, range(-axes, 0), range(axes))


def in_space(vectors: Array) -> Array:
    """Flat vectors with a z of zero; vectors in space as they are."""
    if vectors.shape[-1] == 3:
        return vectors
    return np.concatenate([vectors, np.zeros_like(vectors[..., :1])], axis=-1)
