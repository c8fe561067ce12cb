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
PELVIS_TURNS = ("rotation", "obliquity")


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
    _check.batch(values=values.shape[:-1], phase=phase.shape)
    return spline(values, phase)


def spline(values: Floats, phase: Floats) -> Floats:
    """`periodic_spline` without its checks."""
    n = values.shape[-1]
    first = n * np.arange(values.size // n).reshape(values.shape[:-1])  # of each curve, in a row
    place = (phase % 1.0) * n
    start = np.floor(place).astype(int)
    left, right = first + start % n, first + (start + 1) % n
    after = place - start
    before = 1 - after
    bends = values @ _curvatures(n)
    straight = before * values.take(left) + after * values.take(right)
    curved = before * (before**2 - 1) * bends.take(left) + after * (after**2 - 1) * bends.take(
        right
    )
    return straight + curved / 6


@cache
def _curvatures(n: int) -> AnyFloats:
    """The matrix from n values round a cycle to the curvatures at them."""
    identity = np.eye(n)
    beside = np.roll(identity, 1, axis=1) + np.roll(identity, -1, axis=1)
    return np.linalg.solve(4 * identity + beside, 6 * (beside - 2 * identity))


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
    _check.choice("table", table, TABLES)
    if relative_step is not None:
        relative_step = _check.positive(
            "relative_step", relative_step, hint="Step length divided by leg length, such as 0.7."
        )
        _check.batch(percent=percent.shape, relative_step=relative_step.shape)
    return spline(joint_curve(joint, table, relative_step), percent / 100)


def joint_curve(joint: str, table: str, relative_step: Floats | float | None) -> Floats:
    """The values round the cycle of `joint_angles`, shape (..., 25), of steps of shape (...)."""
    printed = _printed(joint, table)
    if relative_step is None:
        return np.deg2rad(printed)
    low, high = (
        np.interp(relative_step, _pace_values("step_length"), _pace_values(f"{joint}_{end}_deg"))
        for end in ("min", "max")
    )
    free_low, free_high = _pace("free", f"{joint}_min_deg"), _pace("free", f"{joint}_max_deg")
    floor = printed.min()
    scale = np.asarray((high - low) / (free_high - free_low))[..., None]
    start = np.asarray(floor + (low - free_low))[..., None]
    return np.deg2rad(start + (printed - floor) * scale)


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


@cache
def _pace_values(quantity: str) -> Floats:
    return np.array([_pace(group, quantity) for group in GROUPS])


def pelvis_angles(percent: ArrayLike, turn: str, relative_speed: ArrayLike | None = None) -> Floats:
    """Return the pelvis's published mean turn through the gait cycle, seen from one leg.

    A rotation is positive with that leg's side forward, an obliquity with that side up. Half a
    cycle later the same holds of the other leg, so each curve is half of what the printed one
    (Schwartz 2008) differs from itself half a cycle on. Between the speeds of its groups it is
    linear, held beyond.

    Parameters
    ----------
    percent : array_like, shape (...)
        Of the cycle from that leg's foot strike; any size, 130 is 30.
    turn : {"rotation", "obliquity"}
        About the vertical, or in the view from the front.
    relative_speed : array_like, shape (...), optional
        Speed divided by √(g × leg length); by default that of free walking, 0.429.

    Returns
    -------
    ndarray, shape (...)
        Radians.

    Raises
    ------
    ValueError
        For a turn that is not there, or a speed not above zero.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import gait
    >>> np.degrees(gait.pelvis_angles([0, 50], "rotation")).round(1).tolist()
    [4.3, -4.3]
    """
    percent = _check.numbers("percent", percent)
    _check.choice("turn", turn, PELVIS_TURNS)
    speed = _check.positive(
        "relative_speed",
        _pace("free", "speed") if relative_speed is None else relative_speed,
        hint="Speed divided by √(g × leg length), such as 0.43.",
    )
    shape = _check.batch(percent=percent.shape, relative_speed=speed.shape)
    return pelvis_turn(pelvis_curve(turn, speed), np.broadcast_to(percent / 100, shape))


def pelvis_curve(turn: str, relative_speed: Floats | float) -> Floats:
    """The printed turn round the cycle at speeds of shape (...), shape (..., 25)."""
    place = np.interp(relative_speed, _pace_values("speed"), np.arange(len(GROUPS)))
    slower = np.minimum(np.floor(place).astype(int), len(GROUPS) - 2)
    printed, part = _printed_pelvis(turn), (place - slower)[..., None]
    return np.deg2rad((1 - part) * printed[slower] + part * printed[slower + 1])


def pelvis_turn(values: Floats, phase: Floats) -> Floats:
    """Half of what a curve's values differ from those half a cycle on, as of `pelvis_angles`."""
    now, later = spline(values, np.stack([phase, phase + 0.5]))
    return (now - later) / 2


@cache
def _printed_pelvis(turn: str) -> Floats:
    """Degrees of each group at 0, 4, … 96 %, the first averaged with the one at 100 %."""
    table = [
        [row[f"{turn}_deg"] for row in body.rows("gait_pelvis") if row["group"] == group]
        for group in GROUPS
    ]
    degrees = np.array(table)
    return np.concatenate([(degrees[:, :1] + degrees[:, -1:]) / 2, degrees[:, 1:-1]], axis=1)


def sway_width(step_time: ArrayLike, leg_length: ArrayLike, step_width: ArrayLike) -> Floats:
    """Return how far the pelvis sways from side to side over feet that stand apart.

    Over each foot in turn the body is an inverted pendulum, tipping in from the middle between the
    feet and back to it within a step. Small-angle motion is x″ = (g / l) x from the foot, so the
    whole way from side to side is w (1 − 1 / cosh(T √(g / l) / 2)). Derived; no published number.

    Parameters
    ----------
    step_time : array_like, shape (...)
        T, from one foot's strike to the other's [s].
    leg_length : array_like, shape (...)
        l, the pendulum's [m].
    step_width : array_like, shape (...)
        w, between the feet [m].

    Returns
    -------
    ndarray, shape (...)
        Metres; more in slower walking, less than the step width.

    Raises
    ------
    ValueError
        For a value not above zero.

    Examples
    --------
    >>> from rigkit import gait
    >>> round(float(gait.sway_width(0.53, leg_length=0.9, step_width=0.108)), 4)
    0.0313
    """
    time = _check.positive("step_time", step_time, hint="Seconds, such as 0.53.")
    length = _check.positive("leg_length", leg_length)
    width = _check.positive("step_width", step_width)
    _check.batch(step_time=time.shape, leg_length=length.shape, step_width=width.shape)
    with np.errstate(over="ignore"):  # a very slow step takes the pelvis right over the foot
        return width * (1 - 1 / np.cosh(time * np.sqrt(GRAVITY / length) / 2))


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
        Metres; a puppet's is its `leg_height`.
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
