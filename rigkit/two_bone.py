"""The leg's inverse chain in closed form: two bones, a goal for the ankle, and a side for the knee.

Two lengths and one distance make a triangle, and the triangle gives every angle (law of cosines).
Two things it leaves open: on which side the knee is (planar: `knee_direction`), and how the
triangle is turned about the hip–ankle line (3-D: the pole, the hint, the swivel).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigkit import _check, _format, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, Bools, Floats, Shape
from rigkit._xyz import Part, Vector, cross, dot, minus, packed, plus, split, times, where

__all__ = [
    "FORWARD",
    "UP",
    "DOWN",
    "LEVEL",
    "REACHED",
    "ON_THE_LINE",
    "ROUNDING",
    "PlanarLeg",
    "TwoBonePose",
    "solve_planar",
    "planar_points",
    "solve",
    "soft_reach",
    "soft_goal",
    "flexion_rate",
    "place_pole",
    "swivel_angle",
    "knee_toe_offset",
    "bone_frames",
]

FORWARD = (0.0, 0.0, 1.0)
UP = (0.0, 1.0, 0.0)
DOWN = (0.0, -1.0, 0.0)
LEVEL = (1.0, 0.0, 1.0)  # what of a vector is level

REACHED = 1e-9  # metres: a miss of no more is rounding
ON_THE_LINE = 1e-6  # a point this near to the hip–ankle line, as a share of its distance, is on it
ROUNDING = 2.0**-49  # a leg within this share of full reach is straight
_TINY = 1e-200  # a squared length this small is no longer exact
_NO_DISTANCE = 1e-150  # metres: nearer points are one; their distance squared would not be exact


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class PlanarLeg(_format.NotebookDisplay):
    """A leg in its own plane, seen from the side; every part has the batch shape.

    Attributes
    ----------
    hip : ndarray
        Hip flexion: 0 hanging straight down, positive with the thigh forward [rad].
    knee : ndarray
        Knee flexion: 0 straight, positive with the knee forward, negative with the knee backward
        [rad].
    reached : ndarray of bool
        Whether the ankle is on its goal.
    miss : ndarray
        How far the ankle stays from its goal [m].
    """

    hip: Floats
    knee: Floats
    reached: Bools
    miss: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"hip {_format.angle(self.hip)}",
            f"knee {_format.angle(self.knee)}",
            _format.reach(self.reached, self.miss),
            batch=_format.batch(self.hip),
        )


@dataclass(frozen=True)
class TwoBonePose(_format.NotebookDisplay):
    """A solved leg.

    Attributes
    ----------
    knee, ankle : ndarray, shape (..., 3)
        Where the joint is: left, up, forward [m].
    flexion : ndarray, shape (...)
        Knee flexion: 0 straight, π folded [rad].
    hinge : ndarray, shape (..., 3)
        The unit axis square to the bend plane about which a positive turn of the shank is flexion.
    reached : ndarray of bool, shape (...)
        True where the ankle is on its goal, to within 1e-9 m.
    miss : ndarray, shape (...)
        How far the ankle stays from its goal [m].
    guided : ndarray of bool, shape (...)
        True where the pole gave the knee its direction; False where it lies on the hip–ankle line,
        and without a pole.
    stretch : ndarray, shape (...)
        The bones' lengths as a multiple of their own; 1 unless stretching was asked for.
    """

    knee: Floats
    ankle: Floats
    flexion: Floats
    hinge: Floats
    reached: Bools
    miss: Floats
    guided: Bools
    stretch: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"knee {_format.point(self.knee)}",
            f"ankle {_format.point(self.ankle)}",
            f"flexion {_format.angle(self.flexion)}",
            _format.reach(self.reached, self.miss),
            _format.truth(self.guided, "guided by a pole", "no pole guides the knee"),
            ""
            if np.all(self.stretch == 1)
            else f"stretched {_format.amount(self.stretch, '-fold')}",
            batch=_format.batch(self.flexion),
        )


def solve_planar(
    goal: ArrayLike, upper: ArrayLike, lower: ArrayLike, knee_direction: ArrayLike = 1
) -> PlanarLeg:
    """Hip and knee angles that put the ankle on `goal`, in the plane with the hip at the origin.

    With far = upper + lower, near = |upper − lower| and d the goal's distance, tan²(knee/2) = (far²
    − d²) / (d² − near²): the law of cosines in a form that keeps its digits in the straight and in
    the folded leg, where acos loses half of them. A goal out of reach is answered by the nearest
    ankle there is; a goal in the hip itself by a leg folded straight down.

    Parameters
    ----------
    goal : array_like, shape (..., 2)
        Forward and up, metres.
    upper, lower : array_like, shape (...)
        Bone lengths, metres, above zero.
    knee_direction : array_like of 1 or −1, shape (...)
        1 for the knee forward, −1 for the knee backward.

    Returns
    -------
    PlanarLeg

    Raises
    ------
    ValueError
        Bad numbers, lengths not above zero, a `knee_direction` other than 1 and −1, shapes that do
        not broadcast.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> two_bone.solve_planar([0.1, -0.7], upper=0.43, lower=0.42)
    PlanarLeg: hip 41.4°, knee 67.4°, reached
    """
    goal, knee_direction = (
        _check.numbers("goal", goal, 2),
        _check.numbers("knee_direction", knee_direction),
    )
    upper, lower = _check.positive("upper", upper), _check.positive("lower", lower)
    _check.every(
        "knee_direction",
        knee_direction,
        np.abs(knee_direction) == 1,
        "1 or -1",
        "Give 1 for the knee forward, -1 for backward.",
    )
    _check.batch(
        goal=goal.shape[:-1],
        upper=upper.shape,
        lower=lower.shape,
        knee_direction=knee_direction.shape,
    )
    forward, up = goal[..., 0], goal[..., 1]
    distance = np.hypot(forward, up)
    held = _clamp_reach(distance, upper, lower, 0.0)
    flexion, along, aside = _triangle(held, upper, lower, np.sqrt, np.arctan2)
    toward = np.arctan2(forward, 0.0 - up)  # not −up: a goal in the hip counts as straight down
    hip = toward + knee_direction * np.arctan2(aside, along)
    miss = _full(abs(distance - held), hip.shape)
    return PlanarLeg(hip, _full(knee_direction * flexion, hip.shape), miss <= REACHED, miss)


def planar_points(hip: ArrayLike, knee: ArrayLike, upper: ArrayLike, lower: ArrayLike) -> Floats:
    """Hip, knee and ankle of a leg seen from the side: the forward chain, the hip at the origin.

    Parameters
    ----------
    hip, knee : array_like, shape (...)
        Flexion, radians, as in `PlanarLeg`.
    upper, lower : array_like, shape (...)
        Bone lengths, metres, above zero.

    Returns
    -------
    ndarray, shape (..., 3, 2)
        Forward and up, metres.

    Raises
    ------
    ValueError
        Bad numbers, lengths not above zero, shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> two_bone.planar_points(hip=0.5, knee=1.0, upper=0.43, lower=0.42).round(3).tolist()
    [[0.0, 0.0], [0.206, -0.377], [0.005, -0.746]]
    """
    hip, knee = _check.numbers("hip", hip), _check.numbers("knee", knee)
    upper, lower = _check.positive("upper", upper), _check.positive("lower", lower)
    shape = _check.batch(hip=hip.shape, knee=knee.shape, upper=upper.shape, lower=lower.shape)
    points = np.zeros((*shape, 3, 2))
    shank = hip - knee
    points[..., 1, 0] = upper * np.sin(hip)
    points[..., 1, 1] = -upper * np.cos(hip)
    points[..., 2, 0] = points[..., 1, 0] + lower * np.sin(shank)
    points[..., 2, 1] = points[..., 1, 1] - lower * np.cos(shank)
    return points


def solve(
    hip: ArrayLike,
    goal: ArrayLike,
    upper: ArrayLike,
    lower: ArrayLike,
    pole: ArrayLike | None = None,
    *,
    hint: ArrayLike = FORWARD,
    swivel: ArrayLike = 0.0,
    soft: ArrayLike = 0.0,
    stretch: bool = False,
) -> TwoBonePose:
    """The leg with its ankle on `goal` and its knee turned toward `pole`.

    The knee stands off the hip–ankle line on the pole's side, then turns about that line by
    `swivel`. A pole on the line gives no direction: there, and without a pole, the knee turns
    toward `hint`, the direction of the preset bend. A pole that meets the line from the hint's side
    hands over without a jump; one that crosses to the other side flips the knee, and no rule can
    avoid that. Where the hint is on the line as well, the knee turns toward
    `rotation.perpendicular` of the line.

    A goal out of reach, too far or (for bones of different lengths) too near, is answered by the
    nearest ankle there is, with its miss. A goal in the hip itself counts as straight below it.

    Parameters
    ----------
    hip, goal : array_like, shape (..., 3)
        Metres.
    upper, lower : array_like, shape (...)
        Bone lengths, metres, above zero.
    pole : array_like, shape (..., 3), optional
        The point the knee turns toward.
    hint : array_like, shape (..., 3)
        A direction of any length above zero.
    swivel : array_like, shape (...)
        Radians, positive by the right-hand rule about the direction from hip to ankle. In a
        standing leg a positive swivel takes the knee from front to right.
    soft : array_like, shape (...)
        The distance before full reach from which the ankle lags, metres; 0 for no easing, at most
        the whole leg. See `soft_reach`.
    stretch : bool
        True lengthens both bones alike where the ankle would fall short; the knee bends as it would
        have.

    Returns
    -------
    TwoBonePose

    Raises
    ------
    ValueError
        Bad numbers, lengths not above zero, a `hint` of no length, a `stretch` neither True nor
        False, shapes that do not broadcast.

    Notes
    -----
    With n the unit direction from hip to ankle, d their distance and
    cos a = (upper² + d² − lower²) / (2 upper d), the knee lies on the circle about the hip–ankle
    line with its centre at hip + upper cos a n and the radius upper sin a; the swivel is the angle
    along it. D. Tolani, A. Goswami, N. Badler, "Real-time inverse kinematics techniques for
    anthropomorphic limbs", *Graphical Models* 62(5):353–388, 2000.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> pose = two_bone.solve((0, 0.9, 0), (0, 0.1, 0.1), upper=0.43, lower=0.43, pole=(0, 0.5, 1))
    >>> pose.knee.round(3).tolist(), round(float(pose.flexion), 3)
    ([0.0, 0.519, 0.199], 0.711)
    """
    if not isinstance(stretch, (bool, np.bool_)):
        raise ValueError(
            f"`stretch` must be True or False; got {stretch!r}. True lets the bones lengthen."
        )
    one = _one_leg(hip, goal, upper, lower, pole, hint, swivel, soft)
    if one:
        return _solved(one, stretch, math.sqrt, math.atan2, bool)
    legs = _legs(hip, goal, upper, lower, pole, hint, swivel, soft)
    return _solved(legs, stretch, np.sqrt, np.arctan2, np.any)


def soft_reach(distance: ArrayLike, upper: ArrayLike, lower: ArrayLike, soft: ArrayLike) -> Floats:
    """The ankle's distance from the hip when full reach is eased into.

    Up to `soft` before full reach the ankle is on its goal. From there on, each further bit of
    distance moves the ankle by the share of `soft` that is still left to full reach: dr/dd = (far −
    r) / soft, so

        r = far − soft · exp(−(d − (far − soft)) / soft).

    The first derivative has no jump, so the knee's speed has none either; the leg only ever nears
    full reach and is never made longer. A goal exactly at full reach is missed by soft / e. Too
    near a goal is not eased: r is at least |upper − lower|.

    Parameters
    ----------
    distance : array_like, shape (...)
        From hip to goal, metres, not below zero.
    upper, lower : array_like, shape (...)
        Bone lengths, metres, above zero.
    soft : array_like, shape (...)
        Metres, from 0 (no easing) to upper + lower.

    Returns
    -------
    ndarray, shape (...)
        Metres.

    Raises
    ------
    ValueError
        Bad numbers, a distance below zero, a `soft` out of its range, shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> two_bone.soft_reach([0.8, 0.85, 0.9], upper=0.43, lower=0.42, soft=0.02).round(4).tolist()
    [0.8, 0.8426, 0.8494]
    """
    held: Floats = _clamp_reach(*_check_reach(distance, upper, lower, soft))
    return held[()]


def soft_goal(distance: ArrayLike, upper: ArrayLike, lower: ArrayLike, soft: ArrayLike) -> Floats:
    """The goal's distance from the hip when soft reach holds the ankle `distance` away.

    The inverse of `soft_reach`: d = far − soft − soft · ln((far − r) / soft) within `soft` of full
    reach, d = r before it. At full reach the goal would be infinitely far; the answer then is that
    of a share of 1e-15 of `soft` left.

    Parameters
    ----------
    distance : array_like, shape (...)
        From hip to ankle, metres, not below zero.
    upper, lower, soft : array_like, shape (...)
        As in `soft_reach`.

    Returns
    -------
    ndarray, shape (...)
        Metres.

    Raises
    ------
    ValueError
        As in `soft_reach`.
    """
    distance, upper, lower, soft = _check_reach(distance, upper, lower, soft)
    far, span = upper + lower, np.where(soft > 0, soft, 1.0)
    left = np.clip((far - distance) / span, 1e-15, 1.0)
    eased = far - soft - span * np.log(left)
    return np.where((soft > 0) & (distance > far - soft), eased, distance)[()]


def flexion_rate(
    distance: ArrayLike, upper: ArrayLike, lower: ArrayLike, soft: ArrayLike = 0.0
) -> Floats:
    """The rate at which the knee's flexion changes with the goal's distance; never above zero.

    dk/dr = −r / (upper · lower · sin k), times dr/dd where the reach is soft. Without softness it
    has no bound: just inside full reach it grows like 1/√(far − r), and at full reach it is −inf,
    the true limit from inside (so too at the nearest reach of bones of different lengths). Out of
    reach the knee stays as it is: 0.

    Parameters
    ----------
    distance, upper, lower, soft : array_like, shape (...)
        As in `soft_reach`.

    Returns
    -------
    ndarray, shape (...)
        Radians per metre; a hundredth of it is radians per centimetre.

    Raises
    ------
    ValueError
        As in `soft_reach`.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> two_bone.flexion_rate([0.7, 0.84, 0.85], upper=0.43, lower=0.42).round(2).tolist()
    [-4.15, -15.39, -inf]
    """
    distance, upper, lower, soft = _check_reach(distance, upper, lower, soft)
    far, near = upper + lower, np.abs(upper - lower)
    held = _clamp_reach(distance, upper, lower, soft)
    with np.errstate(divide="ignore", invalid="ignore"):
        stiff = 1 / np.sqrt((far - held) * (far + held))
        eased = np.sqrt((far - held) / (far + held)) / soft  # the same times dr/dd
        lever = np.where(near > 0, held / np.sqrt((held - near) * (held + near)), 1.0)
        rate = -2 * lever * np.where((soft > 0) & (distance > far - soft), eased, stiff)
    outside = ((soft == 0) & (distance > far * (1 + ROUNDING))) | (distance < near * (1 - ROUNDING))
    return np.where(outside, 0.0, rate)[()]


def place_pole(
    hip: ArrayLike,
    knee: ArrayLike,
    ankle: ArrayLike,
    distance: ArrayLike,
    hint: ArrayLike = FORWARD,
) -> Floats:
    """A pole in the bend plane, `distance` in front of the knee and square to the hip–ankle line.

    Solving the same hip and ankle with it gives the same knee: nothing moves when the pole takes
    over. A straight leg has no bend plane of its own; its pole lies toward `hint`.

    Parameters
    ----------
    hip, knee, ankle : array_like, shape (..., 3)
        The leg at rest, metres.
    distance : array_like, shape (...)
        Metres, above zero; about a leg's length is usual (common practice, no source).
    hint : array_like, shape (..., 3)
        A direction of any length above zero.

    Returns
    -------
    ndarray, shape (..., 3)

    Raises
    ------
    ValueError
        Bad numbers, a distance not above zero, shapes that do not broadcast.

    Notes
    -----
    "Nothing" is at most 1e-12 m for a straight leg and from about 0.05° of bend on. Between,
    sixteen digits of length cannot hold the bend, and the knee may move by up to 1e-7 of the leg's
    length.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> two_bone.place_pole((0, 0.9, 0), (0, 0.5, 0.1), (0, 0.1, 0), distance=0.8).round(3).tolist()
    [0.0, 0.5, 0.9]
    """
    distance = _check.positive("distance", distance)
    _, side, shape = _seen(hip, knee, ankle, hint)[:3]
    shape = _check.batch(distance=distance.shape, leg=shape)
    return np.asarray(knee, dtype=float) + packed(times(side, distance), shape)


def swivel_angle(
    hip: ArrayLike, knee: ArrayLike, ankle: ArrayLike, hint: ArrayLike = FORWARD
) -> Floats:
    """The angle of a leg's knee about the hip–ankle line, from `hint`; a straight leg reads zero.

    Its inverse is `solve(hip, ankle, upper, lower, hint=hint, swivel=swivel)`.

    Parameters
    ----------
    hip, knee, ankle : array_like, shape (..., 3)
        Metres.
    hint : array_like, shape (..., 3)
        Where the swivel is zero: a direction of any length above zero.

    Returns
    -------
    ndarray, shape (...)
        Radians, −π to π, positive by the right-hand rule about the direction from hip to ankle. The
        angle of Tolani, Goswami & Badler 2000 (see `solve`).

    Raises
    ------
    ValueError
        Bad numbers, a `hint` of no length, shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> round(float(two_bone.swivel_angle((0, 0.9, 0), (-0.1, 0.5, 0.1), (0, 0.1, 0))), 4)
    0.7854
    """
    axis, side, shape, zero = _seen(hip, knee, ankle, hint)
    return _full(np.arctan2(dot(cross(zero, side), axis), dot(zero, side)), shape)


def knee_toe_offset(knee: ArrayLike, ankle: ArrayLike, toe: ArrayLike) -> Floats:
    """The knee's distance from the upright plane through its foot: zero where it is over the toes.

    Parameters
    ----------
    knee, ankle, toe : array_like, shape (..., 3)
        Metres; the foot points from ankle to toe.

    Returns
    -------
    ndarray, shape (...)
        Metres, positive to the foot's right; the side to which a positive swivel takes the knee of
        a standing leg.

    Raises
    ------
    ValueError
        Bad numbers, a toe straight above or below the ankle, shapes that do not broadcast.

    Examples
    --------
    >>> from rigkit import two_bone
    >>> round(float(two_bone.knee_toe_offset((0.07, 0.5, 0.1), (0.1, 0.1, 0), (0.1, 0, 0.2))), 3)
    0.03
    """
    knee, ankle = _check.numbers("knee", knee, 3), _check.numbers("ankle", ankle, 3)
    toe = _check.numbers("toe", toe, 3)
    shape = _check.batch(knee=knee.shape[:-1], ankle=ankle.shape[:-1], toe=toe.shape[:-1])
    ahead = _check.directions(
        "toe", (toe - ankle) * LEVEL, "Toe and ankle must be apart, seen from above."
    )
    return _full(dot(split(knee - ankle), cross(split(ahead), UP)), shape)


def bone_frames(hip: ArrayLike, pose: TwoBonePose) -> tuple[Floats, Floats]:
    """Frames of thigh and shank of a solved leg: y up the bone, x the hinge, z the knee's way.

    Parameters
    ----------
    hip : array_like, shape (..., 3)
        As given to `solve`.
    pose : TwoBonePose

    Returns
    -------
    thigh, shank : ndarray, shape (..., 4, 4)
        At the hip and at the knee; not turned at all in a straight leg that stands facing +Z.

    Raises
    ------
    ValueError
        Bad numbers, or shapes that do not broadcast.
    """
    hip = np.broadcast_to(_check.numbers("hip", hip, 3), pose.knee.shape)
    return _bone_frame(hip, pose.knee, pose.hinge), _bone_frame(pose.knee, pose.ankle, pose.hinge)


def _bone_frame(start: Floats, end: Floats, hinge: Floats) -> Floats:
    up = _check.directions("pose", start - end)
    return fr.frame(np.stack([hinge, up, np.cross(hinge, up)], axis=-1), start)


# Inside, a vector is (x, y, z) of arrays for many legs, of plain floats for one, and the same
# formulas serve both: with NumPy's functions or with those of `math`.

_Function = Callable[..., Part]
# What `solve` is given, from `hip` to `soft`, and the batch shape.
_Legs = tuple[Vector, Vector, Part, Part, Vector | None, Vector, Part, Part, Shape]


def _solved(
    legs: _Legs, stretch: bool, sqrt: _Function, arctan2: _Function, any_: _Function
) -> TwoBonePose:
    hip, goal, upper, lower, pole, hint, swivel, soft, shape = legs
    axis, distance = _line(hip, goal, sqrt, any_)
    held, miss, scale = _reach(distance, upper, lower, soft, stretch, any_)
    flexion, along, aside = _triangle(held, upper, lower, sqrt, arctan2)

    side, guided = _side(None if pole is None else minus(pole, hip), hint, axis, sqrt, any_)
    hinge = cross(side, axis)
    if any_(swivel):  # the side turns toward axis × side, which is the hinge reversed
        sine, cosine = np.sin(swivel), np.cos(swivel)
        side, hinge = (
            plus(times(side, cosine), times(hinge, -sine)),
            plus(times(hinge, cosine), times(side, sine)),
        )

    knee = plus(hip, plus(times(axis, along * scale), times(side, aside * scale)))
    ankle = plus(hip, times(axis, held * scale))
    return TwoBonePose(
        packed(knee, shape),
        packed(ankle, shape),
        _full(flexion, shape),
        packed(hinge, shape),
        _full(miss <= REACHED, shape),
        _full(miss, shape),
        _full(guided, shape),
        _full(scale, shape),
    )


def _line(start: Vector, end: Vector, sqrt: _Function, any_: _Function) -> tuple[Vector, Part]:
    """The unit direction from `start` to `end` (down where they are one point), their distance."""
    line = minus(end, start)
    distance = sqrt(dot(line, line))
    nowhere = distance < _NO_DISTANCE
    axis = times(line, 1 / (distance + nowhere))
    return (where(nowhere, DOWN, axis) if any_(nowhere) else axis), distance


def _reach(
    distance: Part, upper: Part, lower: Part, soft: Part, stretch: bool, any_: _Function
) -> tuple[Part, Part, Part]:
    """The ankle's distance from the hip, bones as they are; its miss; the bones' stretch."""
    inside = (distance > abs(upper - lower)) & (distance < (upper + lower) * (1 - ROUNDING))
    if not any_(soft) and not any_(inside ^ True):
        return distance, 0.0, 1.0
    held = _clamp_reach(distance, upper, lower, soft)
    scale = np.maximum(distance / held, 1.0) if stretch else 1.0
    return held, abs(distance - held * scale), scale


def _clamp_reach(distance: Part, upper: Part, lower: Part, soft: Part) -> Part:
    """The distance nearest to `distance` that is in reach, eased by `soft`; see `soft_reach`."""
    far, near = upper + lower, abs(upper - lower)
    if np.any(soft):
        start = far - soft
        span = np.where(soft > 0, soft, 1.0)
        with np.errstate(over="ignore"):  # far beyond a small softness nothing is left of it
            eased = far - span * np.exp(-np.maximum(distance - start, 0.0) / span)
        distance = np.where((soft > 0) & (distance > start), eased, distance)
    straight = np.where(distance > far * (1 - ROUNDING), far, distance)
    return np.maximum(straight, np.maximum(near, _NO_DISTANCE))


def _triangle(
    distance: Part, upper: Part, lower: Part, sqrt: _Function, arctan2: _Function
) -> tuple[Part, Part, Part]:
    """The knee's flexion, and its place: how far along the hip–ankle line and aside from it."""
    far, less = upper + lower, upper - lower
    # Half the flexion is the angle of these two; factors, not differences of squares, keep the
    # digits.
    bent = sqrt((far - distance) * (far + distance))
    unbent = sqrt((distance - abs(less)) * (distance + abs(less)))
    half = 0.5 / distance
    return (
        2 * arctan2(bent, unbent),
        (distance * distance + less * far) * half,
        bent * unbent * half,
    )


def _side(
    pole: Vector | None, hint: Vector, axis: Vector, sqrt: _Function, any_: _Function
) -> tuple[Vector, Part]:
    """The unit direction, square to `axis`, in which the knee stands out; if the pole gave it."""
    side, guided = (hint, False) if pole is None else _across(pole, axis, sqrt)
    if guided is False or any_(guided ^ True):
        spare, clear = _across(hint, axis, sqrt)
        if any_(clear ^ True):
            across = rotation.perpendicular(np.stack(np.broadcast_arrays(*axis), axis=-1))
            spare = where(clear, spare, split(across))
        side = where(guided, side, spare)
    return side, guided


def _across(
    vector: Vector, axis: Vector, sqrt: _Function, least: float = ON_THE_LINE
) -> tuple[Vector, Part]:
    """The unit direction of the part of `vector` square to `axis`, and if there is such a part."""
    along = dot(vector, axis)
    across = minus(vector, times(axis, along))
    off = sqrt(dot(across, across))
    return times(across, 1 / (off + (off == 0))), off > least * abs(along) + _NO_DISTANCE


def _seen(
    hip: ArrayLike, knee: ArrayLike, ankle: ArrayLike, hint: ArrayLike
) -> tuple[Vector, Vector, Shape, Vector]:
    """A given leg's hip–ankle direction, its knee's side, the batch shape, the hint's side."""
    hip, knee = _check.numbers("hip", hip, 3), _check.numbers("knee", knee, 3)
    ankle, hint = _check.numbers("ankle", ankle, 3), _check.directions("hint", hint)
    shape = _check.batch(
        hip=hip.shape[:-1], knee=knee.shape[:-1], ankle=ankle.shape[:-1], hint=hint.shape[:-1]
    )
    axis, _ = _line(split(hip), split(ankle), np.sqrt, np.any)
    zero, _ = _side(None, split(hint), axis, np.sqrt, np.any)
    side, bent = _across(split(knee - hip), axis, np.sqrt, least=1e-12)
    return axis, where(bent, side, zero), shape, zero


def _one_leg(
    hip: ArrayLike,
    goal: ArrayLike,
    upper: ArrayLike,
    lower: ArrayLike,
    pole: ArrayLike | None,
    hint: ArrayLike,
    swivel: ArrayLike,
    soft: ArrayLike,
) -> _Legs | None:
    """The arguments of one leg as plain floats; None where they are anything else or not sound."""
    start, end, side = (_check.plain_vector(vector) for vector in (hip, goal, hint))
    toward = None if pole is None else _check.plain_vector(pole)
    sizes = _check.plain(upper, lower, swivel, soft)
    if not (start and end and side and sizes) or (toward is None and pole is not None):
        return None
    thigh, shank, turn, lag = sizes
    if not (thigh > 0 and shank > 0 and 0 <= lag <= thigh + shank and dot(side, side) > _TINY):
        return None
    return start, end, thigh, shank, toward, side, turn, lag, ()


def _legs(
    hip: ArrayLike,
    goal: ArrayLike,
    upper: ArrayLike,
    lower: ArrayLike,
    pole: ArrayLike | None,
    hint: ArrayLike,
    swivel: ArrayLike,
    soft: ArrayLike,
) -> _Legs:
    """The arguments of any number of legs, checked, vectors split; and the batch shape."""
    hip, goal = _check.numbers("hip", hip, 3), _check.numbers("goal", goal, 3)
    hint = _check.directions("hint", hint)
    pole = None if pole is None else _check.numbers("pole", pole, 3)
    upper, lower = _check.positive("upper", upper), _check.positive("lower", lower)
    swivel, soft = _check.numbers("swivel", swivel), _check_soft(soft, upper, lower)
    shape = _check.batch(
        hip=hip.shape[:-1],
        goal=goal.shape[:-1],
        upper=upper.shape,
        lower=lower.shape,
        pole=() if pole is None else pole.shape[:-1],
        hint=hint.shape[:-1],
        swivel=swivel.shape,
        soft=soft.shape,
    )
    pole = pole if pole is None else split(pole)
    return split(hip), split(goal), upper, lower, pole, split(hint), swivel, soft, shape


def _check_reach(
    distance: ArrayLike, upper: ArrayLike, lower: ArrayLike, soft: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    distance = _check.numbers("distance", distance)
    upper, lower = _check.positive("upper", upper), _check.positive("lower", lower)
    soft = _check_soft(soft, upper, lower)
    _check.batch(distance=distance.shape, upper=upper.shape, lower=lower.shape, soft=soft.shape)
    _check.every(
        "distance", distance, distance >= 0, "zero or above", "It is from hip to goal, metres."
    )
    return distance, upper, lower, soft


def _check_soft(soft: ArrayLike, upper: Floats, lower: Floats) -> Floats:
    soft = _check.numbers("soft", soft)
    _check.batch(soft=soft.shape, upper=upper.shape, lower=lower.shape)
    _check.every(
        "soft",
        soft,
        (soft >= 0) & (soft <= upper + lower),
        "from 0 to the leg's length, upper + lower",
        "A few millimetres, such as 0.005, are usual to begin with.",
    )
    return soft


def _full(value: ArrayLike, shape: Shape) -> NDArray[Any]:
    value = np.asarray(value)
    return value[()] if value.shape == shape else np.array(np.broadcast_to(value, shape))
