"""Rotations: matrices, quaternions, rotation vectors, named Euler orders; single or in batches.

A matrix turns column vectors: `turned = matrix @ vector`. Quaternions are scalar-last (x, y, z, w),
as in glTF 2.0. Angles are radians, positive by the right-hand rule.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rigkit import _check
from rigkit._types import ArrayLike, Floats

__all__ = [
    "AXES",
    "matrix_about",
    "matrix_from_vector",
    "vector_from_matrix",
    "quaternion_from_vector",
    "vector_from_quaternion",
    "unit_quaternion",
    "matrix_from_quaternion",
    "quaternion_from_matrix",
    "multiply_quaternions",
    "slerp",
    "matrix_from_euler",
    "euler_from_matrix",
    "matrix_between",
    "perpendicular",
    "angle_between",
    "rotation_angle",
    "check_matrix",
    "orthonormalise",
]

AXES = {"x": 0, "y": 1, "z": 2}
_STILL = np.eye(3)
_CYCLIC = ((1, 2), (2, 0), (0, 1))  # the other two axes of x, of y and of z


def __dir__() -> list[str]:
    return __all__


def matrix_about(axis: ArrayLike | str, angle: ArrayLike) -> Floats:
    """The matrix of a turn by `angle` about `axis` (Rodrigues' formula).

    With K the matrix of the cross product by the unit axis, it is I + sin θ K + (1 − cos θ) K²: the
    part of a vector along the axis stays, the part across it turns in its plane.

    Parameters
    ----------
    axis : array_like, shape (..., 3), or "x", "y", "z"
        Any length above zero.
    angle : array_like, shape (...)
        Radians.

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        If `axis` has no direction, or the batch shapes do not broadcast.

    Examples
    --------
    >>> from rigkit import rotation
    >>> rotation.matrix_about("z", 0.5).round(3).tolist()
    [[0.878, -0.479, 0.0], [0.479, 0.878, 0.0], [0.0, 0.0, 1.0]]
    """
    vector = np.eye(3)[AXES[_check.choice("axis", axis, AXES)]] if isinstance(axis, str) else axis
    axis = _check.directions("axis", vector)
    angle = _check.numbers("angle", angle)
    _check.batch(axis=axis.shape[:-1], angle=angle.shape)
    cross = _cross_matrix(axis)
    sine, cosine = np.sin(angle)[..., None, None], np.cos(angle)[..., None, None]
    return np.eye(3) + sine * cross + (1 - cosine) * (cross @ cross)


def matrix_from_vector(vector: ArrayLike) -> Floats:
    """The matrix of a rotation vector: its direction is the axis, its length the angle in radians.

    Parameters
    ----------
    vector : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        Bad numbers.

    Examples
    --------
    >>> from rigkit import rotation
    >>> rotation.matrix_from_vector([0, 0, 0.5]).round(3).tolist()
    [[0.878, -0.479, 0.0], [0.479, 0.878, 0.0], [0.0, 0.0, 1.0]]
    """
    return matrix_from_quaternion(quaternion_from_vector(vector))


def vector_from_matrix(matrix: ArrayLike) -> Floats:
    """The rotation vector of a matrix, its angle between 0 and π.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)

    Returns
    -------
    ndarray, shape (..., 3)
        Radians.

    Raises
    ------
    ValueError
        If `matrix` is not a rotation.

    Examples
    --------
    >>> from rigkit import rotation
    >>> rotation.vector_from_matrix(rotation.matrix_about("y", 0.3)).round(6).tolist()
    [0.0, 0.3, 0.0]
    """
    return vector_from_quaternion(quaternion_from_matrix(matrix))


def quaternion_from_vector(vector: ArrayLike) -> Floats:
    """The unit quaternion (x, y, z, w) of a rotation vector.

    With θ the vector's length it is (sin(θ/2) · axis, cos(θ/2)).

    Parameters
    ----------
    vector : array_like, shape (..., 3)
        Radians.

    Returns
    -------
    ndarray, shape (..., 4)

    Raises
    ------
    ValueError
        Bad numbers.
    """
    vector = _check.numbers("vector", vector, 3)
    half = np.linalg.norm(vector, axis=-1, keepdims=True) / 2
    return np.concatenate([vector * (np.sinc(half / np.pi) / 2), np.cos(half)], axis=-1)


def vector_from_quaternion(quaternion: ArrayLike) -> Floats:
    """The rotation vector of a quaternion, its angle between 0 and π.

    The angle is 2 atan2(|(x, y, z)|, w), which is exact for the smallest turns too.

    Parameters
    ----------
    quaternion : array_like, shape (..., 4)
        Any length above zero.

    Returns
    -------
    ndarray, shape (..., 3)
        Radians.

    Raises
    ------
    ValueError
        A quaternion of length zero.
    """
    quaternion = unit_quaternion(quaternion)
    quaternion = np.where(quaternion[..., 3:] < 0, -quaternion, quaternion)
    sine = np.linalg.norm(quaternion[..., :3], axis=-1, keepdims=True)
    angle = 2 * np.arctan2(sine, quaternion[..., 3:])  # atan2: exact for the smallest turns too
    tiny = sine < 1e-150
    return quaternion[..., :3] * np.where(tiny, 2.0, angle / np.where(tiny, 1.0, sine))


def unit_quaternion(quaternion: ArrayLike) -> Floats:
    """A quaternion scaled to length one.

    Parameters
    ----------
    quaternion : array_like, shape (..., 4)

    Returns
    -------
    ndarray, shape (..., 4)

    Raises
    ------
    ValueError
        A quaternion of length zero.
    """
    return _unit_quaternion("quaternion", quaternion)


def matrix_from_quaternion(quaternion: ArrayLike) -> Floats:
    """The matrix of a quaternion (x, y, z, w) of any length above zero.

    Its columns are q e q* for the unit vectors e, multiplied out.

    Parameters
    ----------
    quaternion : array_like, shape (..., 4)

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        A quaternion of length zero.

    Examples
    --------
    >>> from rigkit import rotation
    >>> rotation.matrix_from_quaternion([0, 0, 1, 1]).round(6).tolist()
    [[0.0, -1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]]
    """
    x, y, z, w = np.moveaxis(unit_quaternion(quaternion), -1, 0)
    return _stack_rows(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def quaternion_from_matrix(matrix: ArrayLike) -> Floats:
    """The unit quaternion (x, y, z, w) of a rotation matrix, with w never negative.

    In `matrix_from_quaternion`, 1 + trace is 4w², and 1 + 2mᵢᵢ − trace is 4qᵢ²; the sums of
    mirrored entries are the products 4qᵢqⱼ, their differences 4qᵢw. So row i of a 4 × 4 table of
    these is the quaternion times 4qᵢ; the row of the largest qᵢ is taken, and no digit is lost at
    any angle.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)

    Returns
    -------
    ndarray, shape (..., 4)

    Raises
    ------
    ValueError
        If `matrix` is not a rotation.

    Examples
    --------
    >>> from rigkit import rotation
    >>> rotation.quaternion_from_matrix([[0, -1, 0], [1, 0, 0], [0, 0, 1]]).round(3).tolist()
    [0.0, 0.0, 0.707, 0.707]
    """
    m = check_matrix("matrix", matrix)
    trace = np.trace(m, axis1=-2, axis2=-1)
    diagonal = np.diagonal(m, axis1=-2, axis2=-1)
    x, y, z = 1 + 2 * np.moveaxis(diagonal, -1, 0) - trace
    w = 1 + trace
    yz, zx, xy = (m[..., j, i] + m[..., i, j] for i, j in _CYCLIC)
    xw, yw, zw = (m[..., j, i] - m[..., i, j] for i, j in _CYCLIC)
    table = _stack_rows([[x, xy, zx, xw], [xy, y, yz, yw], [zx, yz, z, zw], [xw, yw, zw, w]])
    largest = np.argmax(np.stack([x, y, z, w], axis=-1), axis=-1)
    quaternion = unit_quaternion(
        np.take_along_axis(table, largest[..., None, None], axis=-2)[..., 0, :]
    )
    return np.where(quaternion[..., 3:] < 0, -quaternion, quaternion)


def multiply_quaternions(first: ArrayLike, second: ArrayLike) -> Floats:
    """The quaternion of turning by `second` and then by `first`, as `matrix @ matrix` would.

    Parameters
    ----------
    first, second : array_like, shape (..., 4)

    Returns
    -------
    ndarray, shape (..., 4)

    Raises
    ------
    ValueError
        Bad numbers, or batch shapes that do not broadcast.
    """
    a, b = _check.numbers("first", first, 4), _check.numbers("second", second, 4)
    _check.batch(first=a.shape[:-1], second=b.shape[:-1])
    av, aw, bv, bw = a[..., :3], a[..., 3:], b[..., :3], b[..., 3:]
    vector = aw * bv + bw * av + np.cross(av, bv)
    return np.concatenate([vector, aw * bw - _dot(av, bv)], axis=-1)


def slerp(start: ArrayLike, end: ArrayLike, t: ArrayLike) -> Floats:
    """The quaternion a `t` of the shorter way from `start` to `end`, at an even rate of turn.

    The turn from `start` to `end` has one axis and one angle: a share of the angle is made about
    that axis. The curve is that of K. Shoemake, "Animating rotation with quaternion curves",
    *Computer Graphics* (SIGGRAPH) 19(3):245–254, 1985.

    Parameters
    ----------
    start, end : array_like, shape (..., 4)
    t : array_like, shape (...)
        0 gives `start`, 1 gives `end` (or its negative, which is the same turn).

    Returns
    -------
    ndarray, shape (..., 4)

    Raises
    ------
    ValueError
        A quaternion of length zero, or batch shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import rotation
    >>> half_way = rotation.slerp([0, 0, 0, 1], [0, 0, 1, 0], 0.5)
    >>> half_way.round(3).tolist()
    [0.0, 0.0, 0.707, 0.707]
    """
    start, end = _unit_quaternion("start", start), _unit_quaternion("end", end)
    t = _check.numbers("t", t)
    _check.batch(start=start.shape[:-1], end=end.shape[:-1], t=t.shape)
    inverse = start * np.array([-1.0, -1.0, -1.0, 1.0])
    way = vector_from_quaternion(multiply_quaternions(end, inverse))
    return multiply_quaternions(quaternion_from_vector(way * t[..., None]), start)


def matrix_from_euler(angles: ArrayLike, order: str, axes: str = "moving") -> Floats:
    """The matrix of three turns about named axes.

    Parameters
    ----------
    angles : array_like, shape (..., 3)
        Radians, in the order of the letters.
    order : str
        Three letters such as "xzy"; no letter twice in a row.
    axes : {"moving", "fixed"}
        "moving": each turn is about the axes as the turns before left them. "fixed": about the
        parent's axes.

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        If `order` or `axes` is not one of the above.

    Examples
    --------
    >>> from rigkit import rotation
    >>> hip = rotation.matrix_from_euler([0.5, 0.1, 0], "xzy")  # flexion, abduction, rotation
    >>> (hip @ [0, -1, 0]).round(3).tolist()
    [0.1, -0.873, -0.477]
    """
    angles = _check.numbers("angles", angles, 3)
    letters, moving = _check_order(order, axes)
    first, second, third = (
        matrix_about(letter, angles[..., i]) for i, letter in enumerate(letters)
    )
    return first @ second @ third if moving else third @ second @ first


def euler_from_matrix(matrix: ArrayLike, order: str, axes: str = "moving") -> Floats:
    """The three turns about named axes that make `matrix`; the inverse of `matrix_from_euler`.

    The middle angle lies in [-π/2, π/2] for three different letters, in [0, π] where the first
    repeats. Where the first and third axis fall together (gimbal lock) only the sum of their turns
    counts, and the first moving turn (third fixed one) is zero.

    For axes i, j, k the matrix is M = Rᵢ(a) Rⱼ(b) Rₖ(c). Its column k is that of Rᵢ(a) Rⱼ(b), which
    gives b and a; Rᵢ(−a) M is Rⱼ(b) Rₖ(c), whose row j is that of Rₖ(c) and gives c. So the third
    angle is read after undoing the first, and nothing is lost near gimbal lock.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)
    order : str
        Three letters such as "xzy"; no letter twice in a row.
    axes : {"moving", "fixed"}
        As in `matrix_from_euler`.

    Returns
    -------
    ndarray, shape (..., 3)
        Radians.

    Raises
    ------
    ValueError
        If `matrix` is not a rotation, or `order` or `axes` is not one of the above.

    Examples
    --------
    >>> from rigkit import rotation
    >>> hip = rotation.matrix_from_euler([0.5, 0.1, 0.2], "xzy")
    >>> rotation.euler_from_matrix(hip, "xzy").round(6).tolist()
    [0.5, 0.1, 0.2]
    """
    m = check_matrix("matrix", matrix)
    letters, moving = _check_order(order, axes)
    i, j, k = (AXES[letter] for letter in (letters if moving else letters[::-1]))
    proper = i == k
    k = 3 - i - j
    sign = 1.0 if (j - i) % 3 == 1 else -1.0
    if proper:
        middle = np.arctan2(np.hypot(m[..., i, j], m[..., i, k]), m[..., i, i])
        parts = m[..., j, i], -sign * m[..., k, i]
    else:
        middle = np.arctan2(sign * m[..., i, k], np.hypot(m[..., i, i], m[..., i, j]))
        parts = -sign * m[..., j, k], m[..., k, k]
    locked = np.hypot(*parts) < 1e-12
    first = np.where(locked, 0.0, np.arctan2(*parts))
    row = np.swapaxes(matrix_about("xyz"[i], first), -1, -2)[..., j, None, :] @ m
    row = row[..., 0, :]
    third = np.arctan2(-sign * row[..., k] if proper else sign * row[..., i], row[..., j])
    angles = [first, middle, third]
    return np.stack(angles if moving else angles[::-1], axis=-1)


def matrix_between(start: ArrayLike, end: ArrayLike) -> Floats:
    """The smallest turn that takes the direction `start` to the direction `end`.

    Two half turns, about `start` and then about the direction midway, make it. For opposite
    directions every half turn across them is equally small; one is chosen, always the same for the
    same `start`.

    Parameters
    ----------
    start, end : array_like, shape (..., 3)
        Any length above zero.

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        A direction of length zero, or batch shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import rotation
    >>> turn = rotation.matrix_between([1, 0, 0], [3, 4, 0])
    >>> (turn @ [1, 0, 1]).round(6).tolist()
    [0.6, 0.8, 1.0]
    """
    start, end = _check.directions("start", start), _check.directions("end", end)
    _check.batch(start=start.shape[:-1], end=end.shape[:-1])
    start, end = np.broadcast_arrays(start, end)
    # A half turn about the middle direction, after a half turn about `start`, takes start to end.
    middle = start + end
    opposite = np.linalg.norm(middle, axis=-1, keepdims=True) < 1e-14
    middle = _check.directions("middle", np.where(opposite, perpendicular(start), middle))
    # Close to opposite the sum keeps few digits; the difference keeps them all, and the two are
    # square.
    obtuse = _dot(start, end) < 0
    apart = np.where(obtuse, start - end, 0)
    middle = _check.directions(
        "middle", middle - apart * _dot(apart, middle) / np.where(obtuse, _dot(apart, apart), 1)
    )
    return _half_turn(middle) @ _half_turn(start)


def perpendicular(direction: ArrayLike) -> Floats:
    """A unit vector square to `direction`: always the same one for the same direction.

    Parameters
    ----------
    direction : array_like, shape (..., 3)
        Any length above zero.

    Returns
    -------
    ndarray, shape (..., 3)

    Raises
    ------
    ValueError
        A direction of length zero.
    """
    direction = _check.directions("direction", direction)
    least = np.argmin(np.abs(direction), axis=-1)
    return _check.directions("direction", np.cross(direction, np.eye(3)[least]))


def angle_between(first: ArrayLike, second: ArrayLike) -> Floats:
    """The angle between two directions, 0 to π, exact for the smallest angles too.

    For unit vectors |a − b| is 2 sin(θ/2) and |a + b| is 2 cos(θ/2): the two diagonals of a
    rhombus. So θ is 2 atan2(|a − b|, |a + b|), where the arc cosine of a · b would lose half the
    digits.

    Parameters
    ----------
    first, second : array_like, shape (..., 3)
        Any length above zero.

    Returns
    -------
    ndarray, shape (...)
        Radians.

    Raises
    ------
    ValueError
        A direction of length zero, or batch shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import rotation
    >>> round(float(rotation.angle_between([1, 0, 0], [1, 1, 0])), 4)
    0.7854
    """
    first, second = _check.directions("first", first), _check.directions("second", second)
    _check.batch(first=first.shape[:-1], second=second.shape[:-1])
    return 2 * np.arctan2(
        np.linalg.norm(first - second, axis=-1), np.linalg.norm(first + second, axis=-1)
    )


def rotation_angle(matrix: ArrayLike) -> Floats:
    """The angle by which a rotation matrix turns, 0 to π.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)

    Returns
    -------
    ndarray, shape (...)
        Radians.

    Raises
    ------
    ValueError
        If `matrix` is not a rotation.

    Examples
    --------
    >>> from rigkit import rotation
    >>> round(float(rotation.rotation_angle(rotation.matrix_about([1, 2, 3], -0.4))), 6)
    0.4
    """
    return np.linalg.norm(vector_from_matrix(matrix), axis=-1)


def check_matrix(name: str, matrix: ArrayLike) -> Floats:
    """`matrix` as a float array if it is a rotation to within 1e-6.

    Parameters
    ----------
    name : str
        The argument's name in the message.
    matrix : array_like, shape (..., 3, 3)

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        If its columns are not square to each other and of length one, or if it reflects.
    """
    matrix = _check.numbers(name, matrix, 3, 3)
    _must_turn(name, matrix)
    return matrix


def _must_turn(name: str, matrix: Floats) -> None:
    """Refuse what is no rotation: `check_matrix` of numbers that are checked already."""
    off = np.abs(np.swapaxes(matrix, -1, -2) @ matrix - _STILL).max()
    if not off <= 1e-6:
        raise ValueError(
            f"`{name}` must be a rotation matrix; got one whose columns are off by {off:.2g} "
            "from being square and of length one. Use `orthonormalise` to repair a drifted one."
        )
    if not (np.linalg.det(matrix) > 0).all():
        raise ValueError(
            f"`{name}` must be a rotation matrix; got a reflection (determinant −1). "
            "Negate one column to make it a rotation."
        )


def orthonormalise(matrix: ArrayLike) -> Floats:
    """The rotation nearest to a drifted matrix, by singular values.

    With M = U S Vᵀ the nearest orthogonal matrix is U Vᵀ; where that reflects, the sign of the
    least singular direction is changed. W. Kabsch, *Acta Cryst.* A32:922–923, 1976, and
    A34:827–828, 1978.

    Parameters
    ----------
    matrix : array_like, shape (..., 3, 3)

    Returns
    -------
    ndarray, shape (..., 3, 3)

    Raises
    ------
    ValueError
        If the columns are not independent: a flat matrix is as near to many rotations.
    """
    matrix = _check.numbers("matrix", matrix, 3, 3)
    left, values, right = np.linalg.svd(matrix)
    if not (values[..., -1] > 1e-12 * values[..., 0]).all():
        raise ValueError(
            "`matrix` must have three independent columns; got one that is flat. "
            "Start from a rotation."
        )
    sign = np.sign(np.linalg.det(left @ right))
    left = np.concatenate([left[..., :2], left[..., 2:] * sign[..., None, None]], axis=-1)
    return left @ right


def _unit_quaternion(name: str, quaternion: ArrayLike) -> Floats:
    return _check.directions(name, quaternion, "No turn at all is (0, 0, 0, 1).", size=4)


def _check_order(order: str, axes: str) -> tuple[str, bool]:
    _check.choice("axes", axes, ("moving", "fixed"))
    good = (
        isinstance(order, str)
        and len(order) == 3
        and set(order) <= set(AXES)
        and order[0] != order[1] != order[2]
    )
    if not good:
        raise ValueError(
            f"`order` must be three of x, y, z, none twice in a row; got {order!r}. "
            'A hip\'s flexion, abduction, rotation are "xzy".'
        )
    return order, axes == "moving"


def _cross_matrix(vector: Floats) -> Floats:
    x, y, z = np.moveaxis(vector, -1, 0)
    zero = np.zeros_like(x)
    return _stack_rows([[zero, -z, y], [z, zero, -x], [-y, x, zero]])


def _dot(a: Floats, b: Floats) -> Floats:
    return np.sum(a * b, axis=-1, keepdims=True)


def _half_turn(axis: Floats) -> Floats:
    return 2 * axis[..., :, None] * axis[..., None, :] - np.eye(3)


def _stack_rows(rows: Sequence[Sequence[Floats]]) -> Floats:
    return np.stack([np.stack(row, axis=-1) for row in rows], axis=-2)
