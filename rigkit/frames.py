"""Frames: position and rotation as rigid 4×4 matrices, single or in batches.

Column vectors: `world = parent_world @ local`. A frame's first three columns are its x, y and z
axes, the fourth its origin.
"""

from __future__ import annotations

import numpy as np

from rigkit import _check, rotation
from rigkit._types import ArrayLike, Floats, Words

__all__ = [
    "frame",
    "invert",
    "relative",
    "apply",
    "rotate_vectors",
    "axis_toward",
    "mirror_points",
    "mirror_frames",
    "check_frames",
]


_LAST_ROW = np.array([0.0, 0.0, 0.0, 1.0])
_FLIPS = (*rotation.AXES, "xyz")  # an odd number of axes, so that the frame is right-handed


def __dir__() -> list[str]:
    return __all__


def frame(rotation_matrix: ArrayLike | None = None, origin: ArrayLike | None = None) -> Floats:
    """A frame from its rotation and its origin; what is left out is as in the parent.

    Parameters
    ----------
    rotation_matrix : array_like, shape (..., 3, 3), optional
    origin : array_like, shape (..., 3), optional
        Metres.

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If `rotation_matrix` is not a rotation, or the batch shapes do not broadcast.

    Examples
    --------
    >>> from rigkit import frames
    >>> frames.frame(origin=[0, 0.9, 0.1]).tolist()
    [[1.0, 0.0, 0.0, 0.0], [0.0, 1.0, 0.0, 0.9], [0.0, 0.0, 1.0, 0.1], [0.0, 0.0, 0.0, 1.0]]
    """
    turn = np.eye(3) if rotation_matrix is None else rotation_matrix
    turn = rotation.check_matrix("rotation_matrix", turn)
    origin = np.zeros(3) if origin is None else _check.numbers("origin", origin, 3)
    shape = _check.batch(rotation_matrix=turn.shape[:-2], origin=origin.shape[:-1])
    frames = np.zeros((*shape, 4, 4))
    frames[..., :3, :3] = turn
    frames[..., :3, 3] = origin
    frames[..., 3, 3] = 1.0
    return frames


def invert(frames: ArrayLike) -> Floats:
    """The frame that undoes `frames`: the parent as seen from the child.

    With turn R and origin p it is Rᵀ and −Rᵀp.

    Parameters
    ----------
    frames : array_like, shape (..., 4, 4)

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a frame is not rigid.

    Examples
    --------
    >>> from rigkit import frames
    >>> frames.invert(frames.frame(origin=[1, 2, 3]))[:3, 3].tolist()
    [-1.0, -2.0, -3.0]
    """
    frames = check_frames("frames", frames)
    turn = np.swapaxes(frames[..., :3, :3], -1, -2)
    origin = -(turn @ frames[..., :3, 3:])
    return frame(turn, origin[..., 0])


def relative(parent: ArrayLike, child: ArrayLike) -> Floats:
    """`child` as seen from `parent`: the local frame for which `parent @ local` is `child`.

    Parameters
    ----------
    parent, child : array_like, shape (..., 4, 4)

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a frame is not rigid, or the batch shapes do not broadcast.

    Examples
    --------
    >>> from rigkit import frames
    >>> hip, knee = frames.frame(origin=[0.1, 0.9, 0]), frames.frame(origin=[0.1, 0.5, 0])
    >>> frames.relative(hip, knee)[:3, 3].round(6).tolist()
    [0.0, -0.4, 0.0]
    """
    parent, child = check_frames("parent", parent), check_frames("child", child)
    _check.batch(parent=parent.shape[:-2], child=child.shape[:-2])
    return invert(parent) @ child


def apply(frames: ArrayLike, points: ArrayLike) -> Floats:
    """Points given in `frames`, as their parent sees them.

    Parameters
    ----------
    frames : array_like, shape (..., 4, 4)
    points : array_like, shape (..., 3)
        One batch shape for both: to move a cloud of points by one frame, shapes (4, 4) and (n, 3);
        by many frames, (m, 1, 4, 4) and (n, 3).

    Returns
    -------
    ndarray, shape (..., 3)

    Raises
    ------
    ValueError
        If a frame is not rigid, or the batch shapes do not broadcast.

    Examples
    --------
    >>> from rigkit import frames, rotation
    >>> thigh = frames.frame(rotation.matrix_about("x", 0.5), [0.1, 0.9, 0])
    >>> frames.apply(thigh, [0, -0.4, 0]).round(3).tolist()
    [0.1, 0.549, -0.192]
    """
    frames, points = check_frames("frames", frames), _check.numbers("points", points, 3)
    _check.batch(frames=frames.shape[:-2], points=points.shape[:-1])
    return (frames[..., :3, :3] @ points[..., None])[..., 0] + frames[..., :3, 3]


def rotate_vectors(frames: ArrayLike, directions: ArrayLike) -> Floats:
    """Directions given in `frames`, as their parent sees them; origins do not count.

    Parameters
    ----------
    frames : array_like, shape (..., 4, 4)
    directions : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., 3)

    Raises
    ------
    ValueError
        If a frame is not rigid, or the batch shapes do not broadcast.
    """
    frames, directions = check_frames("frames", frames), _check.numbers("directions", directions, 3)
    _check.batch(frames=frames.shape[:-2], directions=directions.shape[:-1])
    return (frames[..., :3, :3] @ directions[..., None])[..., 0]


def axis_toward(frames: ArrayLike, points: ArrayLike) -> tuple[Words, Floats]:
    """Return which axis of each frame points at a point, and by what angle it misses it.

    Asked of a joint and its child, it tells which axis runs along the bone.

    Parameters
    ----------
    frames : array_like, shape (..., 4, 4)
    points : array_like, shape (..., 3)
        In the same parent as the frames.

    Returns
    -------
    axis : ndarray of str, shape (...)
        The nearest of x, -x, y, -y, z and -z.
    off : ndarray, shape (...)
        Radians, from 0 to 0.96; between axis and point.

    Raises
    ------
    ValueError
        If a frame is not rigid, a point is its frame's origin, or the batch shapes do not
        broadcast.

    Examples
    --------
    >>> from rigkit import frames
    >>> axis, off = frames.axis_toward(frames.frame(origin=[0, 0.5, 0]), [0, 0.1, 0])
    >>> str(axis), float(off)
    ('-y', 0.0)
    """
    frames, points = check_frames("frames", frames), _check.numbers("points", points, 3)
    _check.batch(frames=frames.shape[:-2], points=points.shape[:-1])
    away = _check.directions(
        "points", points - frames[..., :3, 3], "A child in its joint's place has no direction."
    )
    local = (np.swapaxes(frames[..., :3, :3], -1, -2) @ away[..., None])[..., 0]
    nearest = np.argmax(np.abs(local), axis=-1)
    along = np.take_along_axis(local, nearest[..., None], axis=-1)[..., 0]
    signed = np.array([["x", "y", "z"], ["-x", "-y", "-z"]])
    across = np.sqrt(np.maximum(0.0, np.sum(local**2, axis=-1) - along**2))
    return signed[(along < 0).astype(int), nearest], np.arctan2(across, np.abs(along))


def mirror_points(
    points: ArrayLike, normal: ArrayLike = (1.0, 0.0, 0.0), through: ArrayLike = (0.0, 0.0, 0.0)
) -> Floats:
    """Points on the other side of a plane; the default is the midplane, x = 0.

    Each point goes by twice its height above the plane: p − 2 ((p − q) · n) n.

    Parameters
    ----------
    points : array_like, shape (..., 3)
    normal : array_like, shape (..., 3)
        The plane's normal, any length above zero.
    through : array_like, shape (..., 3)
        A point of the plane.

    Returns
    -------
    ndarray, shape (..., 3)

    Raises
    ------
    ValueError
        Bad numbers, a normal of length zero, or batch shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import frames
    >>> frames.mirror_points([0.1, 0.9, 0.02]).tolist()
    [-0.1, 0.9, 0.02]
    """
    points, through = _check.numbers("points", points, 3), _check.numbers("through", through, 3)
    normal = _check.directions("normal", normal)
    _check.batch(points=points.shape[:-1], normal=normal.shape[:-1], through=through.shape[:-1])
    height = np.sum((points - through) * normal, axis=-1, keepdims=True)
    return points - 2 * height * normal


def mirror_frames(
    frames: ArrayLike,
    flip: str,
    normal: ArrayLike = (1.0, 0.0, 0.0),
    through: ArrayLike = (0.0, 0.0, 0.0),
) -> Floats:
    """Frames on the other side of a plane, kept right-handed.

    A reflected frame is left-handed; negating one of its axes, or all three, makes it a frame
    again. Which is a choice with consequences: the same angle about a flipped axis gives the
    mirrored motion, about another the opposite of it. Of a shift along the axes it is the other way
    round.

    Parameters
    ----------
    frames : array_like, shape (..., 4, 4)
    flip : {"x", "y", "z", "xyz"}
        The frame's own axes that are negated after the reflection.
    normal, through : array_like, shape (..., 3)
        The plane; the default is the midplane, x = 0.

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a frame is not rigid, `flip` is none of these, or the batch shapes do not broadcast.

    Examples
    --------
    >>> from rigkit import frames
    >>> right = frames.mirror_frames(frames.frame(origin=[0.1, 0.9, 0]), flip="x")
    >>> right[0].tolist()
    [1.0, 0.0, 0.0, -0.1]
    """
    frames = check_frames("frames", frames)
    flipped = [rotation.AXES[axis] for axis in _check.choice("flip", flip, _FLIPS)]
    normal = _check.directions("normal", normal)
    through = _check.numbers("through", through, 3)
    _check.batch(frames=frames.shape[:-2], normal=normal.shape[:-1], through=through.shape[:-1])
    columns = np.swapaxes(frames[..., :3, :3], -1, -2)
    origin = mirror_points(frames[..., :3, 3], normal, through)
    axes = mirror_points(columns, normal[..., None, :])
    axes[..., flipped, :] *= -1
    return frame(np.swapaxes(axes, -1, -2), origin)


def check_frames(name: str, frames: ArrayLike) -> Floats:
    """`frames` as a float array if each is rigid; scale, shear and reflections are refused.

    Parameters
    ----------
    name : str
        The argument's name in the message.
    frames : array_like, shape (..., 4, 4)

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If a turn is not a rotation, or the last row is not 0 0 0 1.
    """
    frames = _check.numbers(name, frames, 4, 4)
    rotation._must_turn(name, frames[..., :3, :3])
    off = np.abs(frames[..., 3, :] - _LAST_ROW)
    if not off.max() < 1e-9:
        worst = frames[..., 3, :].reshape(-1, 4)[np.argmax(off) // 4].tolist()
        raise ValueError(
            f"`{name}` must have the last row 0 0 0 1; got {worst}. "
            "Origins belong in the last column; transpose if yours are rows."
        )
    return frames
