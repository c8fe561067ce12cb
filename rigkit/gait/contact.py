"""The foot on the floor, frame by frame: how far it slides, when it strikes, when it leaves."""

from __future__ import annotations

import numpy as np

from rigkit import _check
from rigkit._types import ArrayLike, Bools, Floats, Ints

_TOUCHES = 1e-6  # metres above the sole's lowest point


def foot_slide_cm(sole: ArrayLike, stance: ArrayLike) -> Floats:
    """Return how far a foot that should stay slides along the floor, from each frame to the next.

    The lowest point of the sole is watched. Where that is another point in the next frame, a
    rolling foot has handed over from one to the other within the step, and the one that moves less
    counts. This measure is our own.

    Parameters
    ----------
    sole : array_like, shape (f, ..., n, 3)
        Points of each foot's sole, such as heel, ball and toe, frame by frame; metres, y up.
    stance : array_like of bool, shape (f, ...)
        A step counts when the foot is down in both its frames.

    Returns
    -------
    ndarray, shape (f, ...)
        Centimetres; the first is 0. Sum over frames for the whole slide.

    Raises
    ------
    ValueError
        If `stance` is not true or false, or not of the shape of `sole` without its last two axes.

    Examples
    --------
    >>> from rigkit import gait
    >>> heel = [[(0, 0, 0)], [(0, 0, 0.01)], [(0, 0, 0.01)]]
    >>> gait.foot_slide_cm(heel, [True, True, True]).tolist()
    [0.0, 1.0, 0.0]
    """
    sole, stance = _check.numbers("sole", sole, "f", "n", 3), _check_stance(stance)
    if sole.shape[:-2] != stance.shape:
        raise ValueError(
            f"`stance` must have the shape of `sole` without its last two axes, {sole.shape[:-2]}; "
            f"got {stance.shape}."
        )
    height = sole[..., 1]
    low = height <= height.min(axis=-1, keepdims=True) + _TOUCHES
    stays, either = low[1:] & low[:-1], low[1:] | low[:-1]
    watched = np.where(stays.any(axis=-1, keepdims=True), stays, either)
    moved = np.linalg.norm(np.diff(sole[..., [0, 2]], axis=0), axis=-1)
    slide = np.where(watched, moved, np.inf).min(axis=-1) * (stance[1:] & stance[:-1])
    return 100 * np.concatenate([np.zeros((1, *stance.shape[1:])), slide])


def foot_strikes(stance: ArrayLike) -> Ints:
    """Return the frames in which a foot comes down.

    Parameters
    ----------
    stance : array_like of bool, shape (f, 2)
        Left, right.

    Returns
    -------
    ndarray of int, shape (n, 2)
        Rows of frame and side, 0 left, 1 right.

    Raises
    ------
    ValueError
        If `stance` is not true or false for every frame and two sides.

    Examples
    --------
    >>> from rigkit import gait
    >>> gait.foot_strikes([(True, False), (True, True), (False, True)]).tolist()
    [[1, 1]]
    """
    stance = _check_stance(stance, sides=True)
    return np.argwhere(stance[1:] & ~stance[:-1]) + np.array([1, 0])


def toe_offs(stance: ArrayLike) -> Ints:
    """Return the frames in which a foot leaves the floor.

    Parameters
    ----------
    stance : array_like of bool, shape (f, 2)
        Left, right.

    Returns
    -------
    ndarray of int, shape (n, 2)
        Rows of frame and side, 0 left, 1 right.

    Raises
    ------
    ValueError
        If `stance` is not true or false for every frame and two sides.

    Examples
    --------
    >>> from rigkit import gait
    >>> gait.toe_offs([(True, False), (True, True), (False, True)]).tolist()
    [[2, 0]]
    """
    return foot_strikes(~_check_stance(stance, sides=True))


def _check_stance(stance: ArrayLike, sides: bool = False) -> Bools:
    array = np.asarray(stance)
    wrong_sides = sides and array.shape[1:] != (2,)
    if array.dtype != bool or array.ndim < 1 or len(array) == 0 or wrong_sides:
        raise ValueError(
            f"`stance` must be true or false for every frame{' and two sides' if sides else ''}; "
            f"got {array.dtype} of shape {array.shape}."
        )
    return array
