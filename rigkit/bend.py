"""Bend: what a straight chain loses, and the preset bend that gives it back.

A Jacobian says where the end goes for a small turn of each joint. In a straight chain every joint
moves the end the same way, across the chain, and none moves it along: rank and one direction are
lost, and a solver that only follows small turns has nothing to follow. A small bend at rest, the
preset bend, gives it something, and its sign says on which side the knee shall be.

Chains are given as points from the root to the end, (..., n + 1, 2) seen from the side or
(..., n + 1, 3) in space.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigkit import _check, _format
from rigkit._chain import columns, in_space, lengths, prepared, turn_toward, two_passes
from rigkit._types import ArrayLike, Bools, Floats, Ints
from rigkit._xyz import cross, dot, minus, packed, split

__all__ = [
    "Bend",
    "jacobian",
    "singular_values",
    "manipulability",
    "rank",
    "lost_direction",
    "transpose_step",
    "cyclic_turns",
    "fabrik_step",
    "line_offsets",
    "stalls",
    "preset_bend",
    "measure_bend",
    "reach_cost",
    "bend_for_cost",
]


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Bend(_format.NotebookDisplay):
    """A measured bend.

    Attributes
    ----------
    angle : ndarray, shape (...)
        From straight; positive with the knee forward [rad].
    cost : ndarray, shape (...)
        The share of full reach that the bend takes.
    """

    angle: Floats
    cost: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.angle(self.angle),
            f"costs {_format.share(self.cost)} of full reach",
            batch=_format.batch(self.angle),
        )


def jacobian(points: ArrayLike, axes: ArrayLike | None = None) -> Floats:
    """The velocity of a chain's end for a turn of each joint, in metres per radian.

    A joint's column is its axis × the arm from the joint to the end.

    Parameters
    ----------
    points : array_like, shape (..., n + 1, 2) or (..., n + 1, 3)
        From the root to the end, metres.
    axes : array_like, shape (..., n, 3), optional
        The hinge axes of a chain in space, any length above zero. Without them its joints turn
        about all three of x, y and z.

    Returns
    -------
    ndarray
        A flat chain: (..., 2, n), a column for each joint, for an anticlockwise turn. Hinges in
        space: (..., 3, n). Ball joints: (..., 3, 3 n), three columns for each joint.

    Raises
    ------
    ValueError
        Bad numbers, fewer than two points, `axes` for a flat chain, or not one for each joint.

    Examples
    --------
    >>> from rigkit import bend
    >>> bend.jacobian([[0, 0], [0.2, -0.4], [0, -0.8]]).tolist()
    [[0.8, 0.4], [0.0, -0.2]]
    """
    chain, _, hinges, shape, flat = prepared(points, None, axes)
    matrix = np.stack([packed(column, shape) for column in columns(chain, hinges)], axis=-1)
    return matrix[..., :2, :] if flat else matrix


def singular_values(matrix: ArrayLike) -> Floats:
    """The singular values of a Jacobian, largest first: the end's speeds for a unit of turning.

    A unit of turning, shared among the joints, moves the end onto an ellipse (in space an
    ellipsoid) with these half-axes. With fewer columns than rows the missing ones are zero.

    Parameters
    ----------
    matrix : array_like, shape (..., d, m)
        A Jacobian, as `jacobian` gives it.

    Returns
    -------
    ndarray, shape (..., d)
        Metres per radian.

    Raises
    ------
    ValueError
        Bad numbers.

    Examples
    --------
    >>> from rigkit import bend
    >>> straight = bend.jacobian([[0, 0], [0, -0.4], [0, -0.8]])
    >>> bend.singular_values(straight).round(3).tolist()  # nothing moves the end along the leg
    [0.894, 0.0]
    """
    matrix = _check.numbers("matrix", matrix, "d", "m")
    values = np.zeros(matrix.shape[:-1])
    values[..., : min(matrix.shape[-2:])] = np.linalg.svd(matrix, compute_uv=False)
    return values


def manipulability(matrix: ArrayLike) -> Floats:
    """The manipulability of a chain's end, √det(J Jᵀ); 0 where a direction is lost.

    det(J Jᵀ) is the product of the squared singular values, so this is their product: the size of
    the ellipse of `singular_values` but for a constant. For two bones in the plane it is upper ·
    lower · |sin knee|. T. Yoshikawa, "Manipulability of robotic mechanisms", *Int. J. Robotics
    Research* 4(2):3–9, 1985.

    Parameters
    ----------
    matrix : array_like, shape (..., d, m)
        A Jacobian, as `jacobian` gives it.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        Bad numbers.

    Examples
    --------
    >>> from rigkit import bend
    >>> right_angle = bend.jacobian([[0, 0], [3, 0], [3, -2]])
    >>> round(float(bend.manipulability(right_angle)), 6)
    6.0
    """
    return np.prod(singular_values(matrix), axis=-1)


def rank(matrix: ArrayLike, tolerance: ArrayLike = 1e-9) -> Ints:
    """The number of directions in which a chain's end can move.

    Counts the singular values above `tolerance` times the largest.

    Parameters
    ----------
    matrix : array_like, shape (..., d, m)
        A Jacobian, as `jacobian` gives it.
    tolerance : array_like, shape (...)
        A share of the largest singular value, above zero.

    Returns
    -------
    ndarray of int, shape (...)

    Raises
    ------
    ValueError
        Bad numbers, or a tolerance not above zero.

    Examples
    --------
    >>> from rigkit import bend
    >>> int(bend.rank(bend.jacobian([[0, 0], [0, -0.4], [0, -0.8]])))
    1
    """
    tolerance = _check.positive(
        "tolerance", tolerance, hint="It is a share of the largest singular value."
    )
    values = singular_values(matrix)
    return np.sum(values > tolerance[..., None] * values[..., :1], axis=-1)


def lost_direction(matrix: ArrayLike) -> Floats:
    """The direction in which turning the joints moves the end least.

    It is lost altogether where the last singular value is zero: in a straight flat chain, the
    chain's own line. Where several directions are lost it is one of them.

    Parameters
    ----------
    matrix : array_like, shape (..., d, m)
        A Jacobian, as `jacobian` gives it.

    Returns
    -------
    ndarray, shape (..., d)
        Of length one; of the two opposite ones, that whose largest component is positive.

    Raises
    ------
    ValueError
        Bad numbers.
    """
    matrix = _check.numbers("matrix", matrix, "d", "m")
    direction = np.linalg.svd(matrix)[0][..., -1]
    largest = np.argmax(np.abs(direction), axis=-1)
    sign = np.sign(np.take_along_axis(direction, largest[..., None], axis=-1))
    return direction * sign


def transpose_step(points: ArrayLike, goal: ArrayLike, axes: ArrayLike | None = None) -> Floats:
    """Jacobian transposed times error: the turn of each joint that Jacobian methods start from.

    All Jacobian methods scale, damp or mix this; where it is zero, so is every one of them.

    Parameters
    ----------
    points, axes : array_like
        As in `jacobian`.
    goal : array_like, shape (..., 2) or (..., 3)

    Returns
    -------
    ndarray, shape (..., n) or, for ball joints, (..., 3 n)
        Square metres.

    Raises
    ------
    ValueError
        As in `jacobian`, or a goal that does not fit the points.
    """
    chain, aim, hinges, _, _ = prepared(points, goal, axes)
    error = minus(aim, chain[-1])
    return np.stack([dot(column, error) for column in columns(chain, hinges)], axis=-1)


def cyclic_turns(points: ArrayLike, goal: ArrayLike, axes: ArrayLike | None = None) -> Floats:
    """The turn of each single joint that brings the end as near to `goal` as that joint can.

    All are read from the pose as it is. A real pass of cyclic coordinate descent turns one joint
    after the other, from the end inward; where all of these are zero, the pass turns none.

    Parameters
    ----------
    points, goal, axes : array_like
        As in `transpose_step`.

    Returns
    -------
    ndarray, shape (..., n)
        Radians; for ball joints the size of the turn.

    Raises
    ------
    ValueError
        As in `jacobian`, or a goal that does not fit the points.
    """
    chain, aim, hinges, _, _ = prepared(points, goal, axes)
    return np.stack(
        [turn_toward(chain, aim, hinges, joint)[1] for joint in range(len(chain) - 1)], axis=-1
    )


def fabrik_step(points: ArrayLike, goal: ArrayLike) -> Floats:
    """The chain after one backward and one forward pass (FABRIK).

    Backward: the end is put on `goal`, and each joint before it is drawn along the line to its old
    place until its bone is right. Forward: the same from the root. Points on one line with the goal
    stay on that line.

    A. Aristidou, J. Lasenby, "FABRIK: a fast, iterative solver for the inverse kinematics problem",
    *Graphical Models* 73(5):243–260, 2011.

    Parameters
    ----------
    points : array_like, shape (..., n + 1, 2) or (..., n + 1, 3)
    goal : array_like, shape (..., 2) or (..., 3)

    Returns
    -------
    ndarray, of the shape of `points`

    Raises
    ------
    ValueError
        As in `jacobian`, or a goal that does not fit the points.

    Examples
    --------
    >>> from rigkit import bend
    >>> bend.fabrik_step([[0, 0], [0, -1], [0, -2]], goal=[0, -1.5]).tolist()
    [[0.0, 0.0], [0.0, -1.0], [0.0, -2.0]]
    """
    chain, aim, _, _, flat = prepared(points, goal, None)
    passed = np.moveaxis(two_passes(chain, aim, lengths(chain)), (0, 1), (-2, -1))
    return passed[..., :2] if flat else passed


def line_offsets(points: ArrayLike, goal: ArrayLike) -> Floats:
    """Distances from the root–goal line to which one backward and forward pass takes the points.

    Parameters
    ----------
    points, goal : array_like
        As in `fabrik_step`.

    Returns
    -------
    ndarray, shape (..., n + 1)
        Metres; all zero for a straight chain with its goal on its own line.

    Raises
    ------
    ValueError
        As in `fabrik_step`, or a goal in the root.
    """
    passed, aim, _, shape, _ = prepared(fabrik_step(points, goal), goal, None)
    line = _check.directions(
        "goal", packed(minus(aim, passed[0]), shape), "A goal in the root makes no line."
    )
    away = [cross(minus(point, passed[0]), split(line)) for point in passed]
    return np.stack([np.sqrt(dot(part, part)) for part in away], axis=-1)


def stalls(
    points: ArrayLike, goal: ArrayLike, axes: ArrayLike | None = None, tolerance: ArrayLike = 0.0
) -> Bools:
    """True where every solver of this kit stalls: short of the goal, yet no method moves to it.

    Two things must be zero: the Jacobian transposed times the error (with it every Jacobian
    method), and all turns of a cyclic descent. For ball joints and flat chains the points are then
    on one line with the goal, and a backward-forward pass leaves them there.

    "Zero" is exact. Many slanted lines have no exactly straight chain in floating point: their
    points are rounded, so the chain has a bend of some 1e-16 radians that a solver may find and
    follow, to a side that only rounding chose. `tolerance` counts such chains as straight.

    Parameters
    ----------
    points, goal, axes : array_like
        As in `transpose_step`.
    tolerance : float
        The largest turn that counts as none, radians.

    Returns
    -------
    ndarray of bool, shape (...)

    Raises
    ------
    ValueError
        As in `jacobian`, or a goal that does not fit the points.

    Examples
    --------
    >>> from rigkit import bend
    >>> straight = [[0, 0], [0, -0.4], [0, -0.8]]
    >>> bool(bend.stalls(straight, [0, -0.7]))
    True
    >>> bool(bend.stalls(bend.preset_bend(straight, 0.05), [0, -0.7]))
    False
    """
    tolerance = _check.numbers("tolerance", tolerance)
    slopes, turns = transpose_step(points, goal, axes), cyclic_turns(points, goal, axes)
    chain, aim, _, _, _ = prepared(points, goal, axes)
    error = minus(aim, chain[-1])
    miss = np.sqrt(dot(error, error))
    no_slope = np.abs(slopes).max(axis=-1) <= tolerance * miss * lengths(chain).sum(axis=0)
    return (miss > 0) & no_slope & (np.abs(turns).max(axis=-1) <= tolerance)


def preset_bend(points: ArrayLike, angle: ArrayLike, forward: ArrayLike | None = None) -> Floats:
    """A straight leg given a small bend: knee forward, ankle up its own line, bones unchanged.

    Parameters
    ----------
    points : array_like, shape (..., 3, 2) or (..., 3, 3)
        Hip, knee and ankle, metres. Only the bone lengths and the direction from hip to ankle are
        used.
    angle : array_like, shape (...)
        Radians from straight; negative for the other side.
    forward : array_like, shape (..., 2) or (..., 3), optional
        Where the knee is to go; the part of it across the leg counts. +x for a leg seen from the
        side, +z in space.

    Returns
    -------
    ndarray, of the shape of `points`

    Raises
    ------
    ValueError
        Hip and ankle in one place, a bone of no length, or `forward` along the leg.

    Examples
    --------
    >>> from rigkit import bend
    >>> bend.preset_bend([[0, 0.8], [0, 0.4], [0, 0]], angle=0.1).round(4).tolist()
    [[0.0, 0.8], [0.02, 0.4005], [0.0, 0.001]]
    """
    space, forward, flat = _leg(points, forward)
    angle = _check.numbers("angle", angle)
    shape = _check.batch(points=space.shape[:-2], angle=angle.shape, forward=forward.shape[:-1])
    hip = space[..., 0, :]
    upper, lower = _bone_lengths(space)
    line = _check.directions("points", space[..., 2, :] - hip, "Hip and ankle must be two places.")
    across = forward - np.sum(forward * line, axis=-1, keepdims=True) * line
    if not (np.sum(across**2, axis=-1) > 1e-18).all():
        raise ValueError(
            "`forward` must point across the leg; got a direction along it. The knee goes to that"
            " side."
        )
    across = _check.directions("forward", across)
    along, aside = upper + lower * np.cos(angle), lower * np.sin(angle)
    tilt = np.arctan2(aside, along)
    bent = np.empty((*shape, 3, 3))
    bent[..., 0, :] = hip
    knee = (upper * np.cos(tilt))[..., None] * line + (upper * np.sin(tilt))[..., None] * across
    bent[..., 1, :] = hip + knee
    bent[..., 2, :] = hip + np.hypot(along, aside)[..., None] * line
    return bent[..., :2] if flat else bent


def measure_bend(points: ArrayLike, forward: ArrayLike | None = None) -> Bend:
    """The angle and side of a leg's bend, and its cost in reach.

    Parameters
    ----------
    points : array_like, shape (..., 3, 2) or (..., 3, 3)
        Hip, knee and ankle, metres.
    forward : array_like, shape (..., 2) or (..., 3), optional
        The side that counts as positive; as in `preset_bend`. A knee neither on it nor on the other
        counts as on it.

    Returns
    -------
    Bend
        Exact for the smallest angles too.

    Raises
    ------
    ValueError
        Hip and ankle in one place, a bone of no length, or shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import bend
    >>> bend.measure_bend([[0, 0.8, 0], [0, 0.4, 0.02], [0, 0, 0]])
    Bend: 5.7°, costs 0.12 % of full reach
    """
    space, forward, _ = _leg(points, forward)
    _check.batch(points=space.shape[:-2], forward=forward.shape[:-1])
    upper, lower = _bone_lengths(space)
    thigh, shank = space[..., 1, :] - space[..., 0, :], space[..., 2, :] - space[..., 1, :]
    normal = np.cross(thigh, shank)
    size = np.arctan2(np.linalg.norm(normal, axis=-1), np.sum(thigh * shank, axis=-1))
    side = np.sum(normal * np.cross(forward, thigh + shank), axis=-1)
    return Bend(np.where(side < 0, -size, size), reach_cost(size, upper, lower) + 0.0 * side)


def reach_cost(angle: ArrayLike, upper: ArrayLike, lower: ArrayLike) -> Floats:
    """The share of full reach that a knee bend takes, 1 − r / (upper + lower).

    By the law of cosines r² = (upper + lower)² − 4 upper lower sin²(angle / 2).

    Parameters
    ----------
    angle : array_like, shape (...)
        Radians from straight, to either side.
    upper, lower : array_like, shape (...)
        Bone lengths, metres, above zero.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        Bad numbers, lengths not above zero, shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import bend
    >>> round(float(bend.reach_cost(0.1, upper=0.43, lower=0.42)), 6)
    0.00125
    """
    angle, most = _angle_and_most(angle, upper, lower)
    taken = most * np.sin(angle / 2) ** 2
    return taken / (1 + np.sqrt(np.maximum(1 - taken, 0.0)))


def bend_for_cost(cost: ArrayLike, upper: ArrayLike, lower: ArrayLike) -> Floats:
    """The knee bend that takes the share `cost` of full reach; the inverse of `reach_cost`.

    Parameters
    ----------
    cost : array_like, shape (...)
        From 0 to what folding the leg altogether costs.
    upper, lower : array_like, shape (...)
        Bone lengths, metres, above zero.

    Returns
    -------
    ndarray, shape (...)
        Radians from straight.

    Raises
    ------
    ValueError
        If no bend costs that much: more than folding the leg altogether does.

    Examples
    --------
    >>> from rigkit import bend
    >>> round(float(bend.bend_for_cost(0.001, upper=0.43, lower=0.42)), 4)
    0.0895
    """
    cost, most = _angle_and_most(cost, upper, lower, name="cost")
    sine = cost * (2 - cost) / most
    _check.every(
        "cost",
        cost,
        (cost >= 0) & (cost <= 1) & (sine <= 1 + 1e-12),
        "from 0 to what folding the leg costs",
        "For equal bones that is 1; 0.001 is a bend of about 5°.",
    )
    return 2 * np.arcsin(np.sqrt(np.minimum(sine, 1.0)))


def _leg(points: ArrayLike, forward: ArrayLike | None) -> tuple[Floats, Floats, bool]:
    """Hip, knee and ankle in space, the direction that counts as forward, True for a flat leg."""
    points = _check.numbers("points", points, 3, "d")
    if points.shape[-1] not in (2, 3):
        raise ValueError(
            f"`points` must be hip, knee and ankle of 2 or 3 numbers; got shape {points.shape}. "
            "Give forward and up for a leg seen from the side, x, y and z in space."
        )
    flat = points.shape[-1] == 2
    if forward is None:
        forward = (1.0, 0.0) if flat else (0.0, 0.0, 1.0)
    forward = _check.numbers("forward", forward, 2 if flat else 3)
    return in_space(points), _check.directions("forward", in_space(forward)), flat


def _bone_lengths(space: Floats) -> tuple[Floats, Floats]:
    lengths = np.linalg.norm(np.diff(space, axis=-2), axis=-1)
    if not (lengths > 0).all():
        raise ValueError(
            "`points` must be three different places; got a bone of no length. "
            "Give hip, knee and ankle of a leg."
        )
    return lengths[..., 0], lengths[..., 1]


def _angle_and_most(
    value: ArrayLike, upper: ArrayLike, lower: ArrayLike, name: str = "angle"
) -> tuple[Floats, Floats]:
    """`value` checked, and 4 upper lower / (upper + lower)²."""
    value = _check.numbers(name, value)
    upper, lower = _check.positive("upper", upper), _check.positive("lower", lower)
    _check.batch(**{name: value.shape, "upper": upper.shape, "lower": lower.shape})
    return value, 4 * upper * lower / (upper + lower) ** 2
