"""Joint angles and paces as published: curves that are smooth round the gait cycle."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np

from rigkit import _check, _format, body
from rigkit._types import AnyFloats, ArrayLike, Floats

GRAVITY = 9.81
TABLES = ("schwartz-2008", "pinzone-2014")
GROUPS = ("very slow", "slow", "free", "fast", "very fast")
JOINTS = ("hip", "knee", "ankle")


def segment_angles(points: ArrayLike) -> Floats:
    """Return each bone's angle from hanging straight down, forward positive, seen from the side.

    Knee flexion is the thigh's heading less the shank's; hip flexion the thigh's less the trunk's.

    Parameters
    ----------
    points : array_like, shape (..., n, 3)
        Joints in order, at least two; y up, z forward.

    Returns
    -------
    ndarray, shape (..., n - 1)
        Radians, −π to π: atan2(forward, down).

    Raises
    ------
    ValueError
        If two neighbours fall together in the side view.

    Examples
    --------
    >>> from rigkit import gait
    >>> thigh, shank = gait.segment_angles([(0, 0.9, 0), (0, 0.5, 0.1), (0, 0.1, 0.1)])
    >>> round(float(thigh - shank), 3)  # knee flexion
    0.245
    """
    points = _check.numbers(
        "points", points, "n", 3, hint="Give the joints in order, such as hip, knee, ankle."
    )
    if points.shape[-2] < 2:
        raise ValueError(f"`points` must be at least two joints in order; got {points.shape[-2]}.")
    bones = np.diff(points[..., 1:], axis=-2)
    _check.directions("points", bones, hint="Neighbours must be apart in the side view.", size=2)
    return np.arctan2(bones[..., 1], -bones[..., 0])


def periodic_spline(values: ArrayLike, phase: ArrayLike) -> Floats:
    """Return the smooth closed curve (periodic cubic spline) through values round one cycle.

    The curvatures m at the values follow from slopes that meet there: m[i−1] + 4 m[i] + m[i+1] is
    six times the second difference.

    Parameters
    ----------
    values : array_like, shape (..., n)
        At phases 0, 1/n, …; at least three. The first value is not repeated at the end.
    phase : array_like, shape (...)
        Cycles, of any size.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        If there are fewer than three values.

    Examples
    --------
    >>> from rigkit import gait
    >>> gait.periodic_spline([0, 1, 0, -1], [0.25, 0.375, 1.25]).round(4).tolist()
    [1.0, 0.6875, 1.0]
    """
    values, phase = _check.numbers("values", values, "n"), _check.numbers("phase", phase)
    n = values.shape[-1]
    if n < 3:
        raise ValueError(f"`values` must be at least three round the cycle; got {n}.")
    shape = _check.batch(values=values.shape[:-1], phase=phase.shape)
    second = np.roll(values, 1, axis=-1) - 2 * values + np.roll(values, -1, axis=-1)
    knots = np.stack(
        [np.broadcast_to(array, (*shape, n)) for array in (values, 6 * second @ _ring_inverse(n))]
    )
    place = np.broadcast_to((phase % 1.0) * n, shape)
    start = np.floor(place).astype(int)
    after = place - start
    before = 1 - after
    index = np.broadcast_to(start, (2, *shape))[..., None]
    left, right = (
        np.take_along_axis(knots, (index + step) % n, axis=-1)[..., 0] for step in (0, 1)
    )
    curved = (before**3 - before) * left[1] + (after**3 - after) * right[1]
    return before * left[0] + after * right[0] + curved / 6


@cache
def _ring_inverse(n: int) -> AnyFloats:
    """The matrix from six times the second differences to the curvatures."""
    identity = np.eye(n)
    return np.linalg.inv(
        4 * identity + np.roll(identity, 1, axis=1) + np.roll(identity, -1, axis=1)
    )


def joint_angles(
    percent: ArrayLike,
    joint: str,
    table: str = "schwartz-2008",
    relative_step: ArrayLike | None = None,
) -> Floats:
    """Return a leg joint's published mean angle through the gait cycle, smoothly interpolated.

    The curve passes through every printed value but the ends: the means at 0 % and 100 % differ by
    up to 0.7 degree, and both are replaced by their average, so that the cycle closes. Flexion
    (dorsiflexion) is positive; the hip is relative to the pelvis, which tips forward in walking
    (`PELVIS_TILT`). The tables' sources stand in `body.sources`.

    Parameters
    ----------
    percent : array_like, shape (...)
        Of the cycle from foot strike; any size, 130 is 30.
    joint : {"hip", "knee", "ankle"}
    table : {"schwartz-2008", "pinzone-2014"}
        One laboratory each; free walking.
    relative_step : array_like, shape (...), optional
        Step length divided by leg length. The curve is then stretched and shifted so that its
        extremes change as the published extremes do from 0.51 to 0.92 (Schwartz 2008; held beyond).
        Without it: as printed.

    Returns
    -------
    ndarray, shape (...)
        Radians.

    Raises
    ------
    ValueError
        For a joint or table that is not there, or a step not above zero.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import gait
    >>> np.degrees(gait.joint_angles([0, 72], "knee")).round(1).tolist()
    [5.5, 59.1]
    """
    percent = _check.numbers("percent", percent)
    _check.choice("joint", joint, JOINTS)
    printed = _printed(joint, _check.choice("table", table, TABLES))
    degrees = periodic_spline(printed, percent / 100)
    if relative_step is not None:
        step = _check.positive(
            "relative_step", relative_step, hint="Step length divided by leg length, such as 0.7."
        )
        _check.batch(percent=percent.shape, relative_step=step.shape)
        low, high = (
            np.interp(step, _pace_values("step_length"), _pace_values(f"{joint}_{end}_deg"))
            for end in ("min", "max")
        )
        free_low, free_high = _pace("free", f"{joint}_min_deg"), _pace("free", f"{joint}_max_deg")
        floor = printed.min()
        scale = (high - low) / (free_high - free_low)
        degrees = floor + (low - free_low) + (degrees - floor) * scale
    return np.deg2rad(degrees)


@cache
def _printed(joint: str, table: str) -> Floats:
    """Degrees at 0, 4, … 96 %, the first averaged with the one at 100 %."""
    degrees = np.array(
        [row[f"{joint}_deg"] for row in body.rows("gait_angles") if row["table"] == table]
    )
    return np.concatenate([[(degrees[0] + degrees[-1]) / 2], degrees[1:-1]])


@cache
def _pace(group: str, quantity: str) -> float:
    return next(
        row["value"]
        for row in body.rows("gait_paces")
        if (row["group"], row["quantity"]) == (group, quantity)
    )


def _pace_values(quantity: str) -> list[float]:
    return [_pace(group, quantity) for group in GROUPS]


PELVIS_TILT = float(
    np.deg2rad((_pace("free", "pelvis_tilt_min_deg") + _pace("free", "pelvis_tilt_max_deg")) / 2)
)


@dataclass(frozen=True, eq=False)
class Pace(_format.NotebookDisplay):
    """The speed of a walk, and its steps.

    Attributes
    ----------
    speed : ndarray, shape (...)
        How fast [m/s].
    step_length : ndarray, shape (...)
        From one foot to the other [m].
    cadence : ndarray, shape (...)
        Steps a second.
    stance_share : ndarray, shape (...)
        How much of its cycle a foot is down.
    """

    speed: Floats
    step_length: Floats
    cadence: Floats
    stance_share: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"speed {_format.amount(self.speed, ' m/s', 2)}",
            f"steps of {_format.length(self.step_length)}",
            f"{_format.amount(self.cadence, '', 2)} of them a second",
            f"a foot is down for {_format.amount(self.stance_share, ' %', 1, 100.0)} of its cycle",
            batch=_format.batch(self.speed),
        )


def pace(leg_length: ArrayLike, group: str = "free") -> Pace:
    """Return the pace of people of a leg length: the published dimensionless one, scaled.

    Speed is scaled by √(g L), cadence by √(g / L), step length by L (Schwartz 2008).

    Parameters
    ----------
    leg_length : array_like, shape (...)
        Metres.
    group : {"very slow", "slow", "free", "fast", "very fast"}

    Returns
    -------
    Pace

    Raises
    ------
    ValueError
        For a length not above zero, or a group that is not there.

    Examples
    --------
    >>> from rigkit import gait
    >>> usual = gait.pace(0.83)
    >>> round(float(usual.speed), 2), round(float(usual.step_length), 2)
    (1.22, 0.63)
    """
    length = _check.positive("leg_length", leg_length)
    _check.choice("group", group, GROUPS)
    return Pace(
        _pace(group, "speed") * np.sqrt(GRAVITY * length),
        _pace(group, "step_length") * length,
        _pace(group, "cadence") * np.sqrt(GRAVITY / length),
        np.broadcast_to(_pace(group, "foot_off_percent") / 100, length.shape),
    )


def stance_share(speed: ArrayLike, leg_length: ArrayLike) -> Floats:
    """Return the share of the cycle a foot is down.

    The published means (Schwartz 2008), linear between their speeds, held beyond.

    Parameters
    ----------
    speed : array_like, shape (...)
        m/s.
    leg_length : array_like, shape (...)
        Metres.

    Returns
    -------
    ndarray, shape (...)
        0.68 for very slow walking to 0.56 for very fast.

    Raises
    ------
    ValueError
        For a speed or a length not above zero.

    Examples
    --------
    >>> from rigkit import gait
    >>> round(float(gait.stance_share(1.2, 0.83)), 3)
    0.592
    """
    speed = _check.positive("speed", speed, hint="Speeds are in m/s, such as 1.3.")
    length = _check.positive("leg_length", leg_length)
    _check.batch(speed=speed.shape, leg_length=length.shape)
    relative = speed / np.sqrt(GRAVITY * length)
    return np.interp(relative, _pace_values("speed"), _pace_values("foot_off_percent")) / 100


def usual_step(speed: float, leg_length: float) -> float:
    """The published step length for a speed, metres, held beyond the measured speeds."""
    relative = speed / np.sqrt(GRAVITY * leg_length)
    return leg_length * float(
        np.interp(relative, _pace_values("speed"), _pace_values("step_length"))
    )
