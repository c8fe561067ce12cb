"""Walking: published joint angles, a walk on a puppet's own proportions, feet that slide and feet
that are planted.

`walk` applies the angles and moves the pelvis evenly: the feet slide. `plant` keeps each foot where
it came down and solves the legs for it. The published angles are those of children and teenagers
walking; every puppet's walk made from them is a teaching example, not a prediction.

A phase is a share of the gait cycle, 0 when a leg's own foot strikes the floor. Sides are ordered
left, right. Side views are (forward, up).
"""

from dataclasses import dataclass, replace
from functools import cache, cached_property

import numpy as np

from rigkit import _check, _say, body, foot, two_bone
from rigkit._types import AnyFloats, ArrayLike, Bools, Floats, Ints
from rigkit.leg import CARRIED_THIGH, LegRig
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS

GRAVITY = 9.81
TABLES = ("schwartz-2008", "pinzone-2014")
GROUPS = ("very slow", "slow", "free", "fast", "very fast")
JOINTS = ("hip", "knee", "ankle")


def headings(points: ArrayLike) -> Floats:
    """Each bone's angle from hanging straight down, forward positive, as seen from the side.

    Knee flexion is the thigh's heading less the shank's; hip flexion the thigh's less the trunk's.

    Parameters
    ----------
    points : array_like, shape (..., n, 3)
        Joints in order, at least two; y up, z forward.

    Returns
    -------
    ndarray, shape (..., n - 1)
        Radians, −π to π.

    Raises
    ------
    ValueError
        If two neighbours fall together in the side view.
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
    """The smooth closed curve (periodic cubic spline) through values spaced evenly round one cycle.

    Parameters
    ----------
    values : array_like, shape (..., n)
        At phases 0, 1/n, …; at least three. The first value is not repeated at the end.
    phase : array_like, shape (...)
        Cycles, of any size.

    Returns
    -------
    ndarray, shape (...)
    """
    values, phase = _check.numbers("values", values, "n"), _check.numbers("phase", phase)
    n = values.shape[-1]
    if n < 3:
        raise ValueError(f"`values` must be at least three round the cycle; got {n}.")
    shape = _check.batch(values=values.shape[:-1], phase=phase.shape)
    bend = (
        6
        * (np.roll(values, 1, axis=-1) - 2 * values + np.roll(values, -1, axis=-1))
        @ _ring_inverse(n)
    )
    knots = np.stack([np.broadcast_to(array, (*shape, n)) for array in (values, bend)])
    place = np.broadcast_to((phase % 1.0) * n, shape)
    start = np.floor(place).astype(int)
    after = place - start
    before = 1 - after
    index = np.broadcast_to(start, (2, *shape))[..., None]
    left, right = (
        np.take_along_axis(knots, (index + step) % n, axis=-1)[..., 0] for step in (0, 1)
    )
    return (
        before * left[0]
        + after * right[0]
        + ((before**3 - before) * left[1] + (after**3 - after) * right[1]) / 6
    )


@cache
def _ring_inverse(n: int) -> AnyFloats:
    """Turns second differences into the curvatures whose slopes meet: m[i-1] + 4 m[i] + m[i+1] = 6
    × difference."""
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
    """A leg joint's published mean angle through the gait cycle, interpolated smoothly and
    periodically.

    The curve passes through every printed value but the ends: the means at 0 % and 100 % differ by
    up to 0.7 degree, and both are replaced by their average, so that the cycle closes. Flexion
    (dorsiflexion) is positive; the hip is relative to the pelvis, which tips forward in walking
    (`PELVIS_TILT`).

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
        degrees = (
            floor + (low - free_low) + (degrees - floor) * (high - low) / (free_high - free_low)
        )
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


PARTING = (
    0.3  # of the swing: our choice, short enough that no puppet's foot is pulled back to the floor
)

PELVIS_TILT = float(
    np.deg2rad((_pace("free", "pelvis_tilt_min_deg") + _pace("free", "pelvis_tilt_max_deg")) / 2)
)


@dataclass(frozen=True, eq=False)
class Pace(_say.Shown):
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
        return _say.line(
            self,
            f"speed {_say.amount(self.speed, ' m/s', 2)}",
            f"steps of {_say.length(self.step_length)}",
            f"{_say.amount(self.cadence, '', 2)} of them a second",
            f"a foot is down for {_say.amount(self.stance_share, ' %', 1, 100.0)} of its cycle",
            batch=_say.batch(self.speed),
        )


def pace(leg_length: ArrayLike, group: str = "free") -> Pace:
    """How people of a leg length walk: the published dimensionless pace, scaled.

    Speed is scaled by √(g L), cadence by √(g / L), step length by L (Schwartz 2008).

    Parameters
    ----------
    leg_length : array_like, shape (...)
        Metres.
    group : {"very slow", "slow", "free", "fast", "very fast"}

    Returns
    -------
    Pace
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
    """The share of the cycle a foot is down: the published means, linear between speeds, held
    beyond.

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
    """
    speed = _check.positive("speed", speed, hint="Speeds are in m/s, such as 1.3.")
    length = _check.positive("leg_length", leg_length)
    _check.batch(speed=speed.shape, leg_length=length.shape)
    return (
        np.interp(
            speed / np.sqrt(GRAVITY * length),
            _pace_values("speed"),
            _pace_values("foot_off_percent"),
        )
        / 100
    )


@dataclass(frozen=True, eq=False)
class Walk(_say.Shown):
    """A walk along +Z from the world's origin, frame by frame; f frames, two sides (left, right).

    Attributes
    ----------
    puppet : Puppet
    speed : float
        How fast [m/s].
    step_length : float
        From one foot to the other [m].
    table : str
        Where the angles are from.
    planted : bool
        Whether the legs were solved for feet that stand. `plant` solves them; `walk` applies the
        angles as they are.
    times : ndarray, shape (f,)
        Of the frames [s].
    phase : ndarray, shape (f, 2)
        Of each leg, 0 at its foot strike.
    stance : ndarray of bool, shape (f, 2)
        Whether the foot is down.
    pelvis : ndarray, shape (f, 3)
        The middle of the hip centres.
    points : ndarray, shape (f, 2, len(joints), 3)
        Where the `joints` are; `at` picks one.
    foot_pitch : ndarray, shape (f, 2)
        The sole from level, toes up positive, radians.
    miss : ndarray, shape (f, 2)
        How far the leg's end fell short of where it should be [m].
    """

    puppet: Puppet
    speed: float
    step_length: float
    table: str
    planted: bool
    times: Floats
    phase: Floats
    stance: Bools
    pelvis: Floats
    points: Floats
    foot_pitch: Floats
    miss: Floats

    def __repr__(self) -> str:
        return _say.line(
            self,
            _say.name(self.puppet.name),
            "feet planted" if self.planted else "feet not planted",
            _say.amount(self.speed, " m/s", 2),
            f"steps of {_say.length(self.step_length)}",
            f"{_say.count(len(self.times), 'frame')} in {_say.amount(np.ptp(self.times), ' s', 2)}",
            f"angles of {self.table}",
            f"miss {_say.small(self.miss)}",
        )

    @property
    def joints(self) -> tuple[str, ...]:
        """The names of the points: hip, knee, ankle, for three bones also foot; then the sole's
        heel, ball, toe."""
        return (
            "hip",
            "knee",
            "ankle",
            *(("foot",) if len(self.puppet.bones) == 3 else ()),
            *foot.PIVOTS,
        )

    def at(self, joint: str) -> Floats:
        """Where a joint is, shape (f, 2, 3)."""
        return self.points[:, :, self.joints.index(_check.choice("joint", joint, self.joints))]

    @property
    def hip(self) -> Floats:
        """Hip flexion relative to the pelvis, which tips forward by `PELVIS_TILT`; radians, shape
        (f, 2)."""
        return self._headings[..., 0] + PELVIS_TILT

    @property
    def knee(self) -> Floats:
        """Knee flexion, radians, shape (f, 2)."""
        return _wrapped(self._headings[..., 0] - self._headings[..., 1])

    @property
    def ankle(self) -> Floats:
        """Dorsiflexion, radians, shape (f, 2): of the foot, or of the heron's metatarsal from the
        line of its shank."""
        distal = self._headings[..., 2] if len(self.puppet.bones) == 3 else self.foot_pitch
        return _wrapped(distal - self._headings[..., 1])

    @property
    def bend(self) -> Floats:
        """The bend of the joint the leg is solved for, to its own side positive, radians, shape (f,
        2).

        The knee; the heron's ankle, whose own side is backward.
        """
        return self.puppet.knee_side * _wrapped(self._headings[..., -2] - self._headings[..., -1])

    @property
    def reach_share(self) -> Floats:
        """How far the leg is stretched: 1 is straight; shape (f, 2)."""
        end = len(self.puppet.bones)
        return np.linalg.norm(
            self.points[:, :, end] - self.points[:, :, end - 2], axis=-1
        ) / _limb_length(self.puppet)

    @property
    def slide_cm(self) -> Floats:
        """How far each foot slides along the floor in one stride, cm, shape (2,)."""
        strides = self.speed * self.times[-1] / (2 * self.step_length)
        return (
            foot_slide_cm(self.points[:, :, -len(foot.PIVOTS) :], self.stance).sum(axis=0) / strides
        )

    @property
    def _headings(self) -> Floats:
        return headings(self.points[:, :, : len(self.puppet.bones) + 1])


def walk(
    puppet: Puppet,
    speed: float | None = None,
    step_length: float | None = None,
    frames: int = 100,
    cycles: int = 2,
    table: str = "schwartz-2008",
) -> Walk:
    """A forward walk: the published angles applied to a puppet's legs, its pelvis moved forward
    evenly.

    The pelvis rides at the height that keeps the lowest foot on the floor. The angles know nothing
    of the puppet's bones or of the speed asked for, so the feet slide: `Walk.slide_cm` says how
    far. A leg that bends backward swings as the forward one does, its middle joint on the other
    side of the line from its root to its end; a third bone (the heron's thigh) is carried at
    `CARRIED_THIGH`. Both are invented.

    Parameters
    ----------
    puppet : Puppet
    speed : float, optional
        m/s; by default the free pace for the puppet's legs.
    step_length : float, optional
        Metres; by default the published one for that speed.
    frames : int
        In one cycle, at least 8.
    cycles : int
        Strides; the last frame is the first one's pose again.
    table : {"schwartz-2008", "pinzone-2014"}

    Returns
    -------
    Walk
    """
    plan = _plan(puppet, speed, step_length, table)
    cycles, frames = _check.count("cycles", cycles), _check.count("frames", frames, least=8)
    count = np.arange(cycles * frames + 1) / frames
    phase = (count[:, None] + [0.0, 0.5]) % 1.0
    times = count * plan.cycle_time
    pelvis = np.stack([0 * times, plan.height(phase[:, 0]), plan.speed * times], axis=-1)
    leg, pitch = plan.leg(phase), plan.pitch(phase)
    points = _in_space(
        np.concatenate([leg, _sole(puppet, leg[..., -1, :], pitch)], axis=-2), pelvis, puppet
    )
    return Walk(
        puppet,
        plan.speed,
        plan.step_length,
        table,
        False,
        times,
        phase,
        phase < plan.stance_share,
        pelvis,
        points,
        pitch,
        np.zeros_like(phase),
    )


def plant(walk: Walk, pelvis: ArrayLike | None = None) -> Walk:
    """The same walk with each foot planted where it comes down, and the legs solved for it.

    In stance a foot rolls without slipping (`foot.roll`): on its heel, flat, on its ball, on its
    toe. In swing its path is the forward walk's, eased from where it left to where it lands, and
    never below the floor.

    Parameters
    ----------
    walk : Walk
    pelvis : array_like, shape (f, 3), optional
        The middle of the hip centres; by default `pelvis_path(walk)`. Where it carries a leg out of
        reach of its foot, the leg is straight, `Walk.miss` says by how much it falls short, and the
        foot slides.

    Returns
    -------
    Walk
    """
    _check_walk(walk)
    pelvis = pelvis_path(walk) if pelvis is None else _check.numbers("pelvis", pelvis, 3)
    if pelvis.shape != walk.pelvis.shape:
        raise ValueError(
            f"`pelvis` must have shape {walk.pelvis.shape}, one point a frame; got {pelvis.shape}."
        )
    puppet = walk.puppet
    carried, upper, lower = _limb(puppet)
    goals = foot_goals(walk)[..., [2, 1]] - pelvis[:, None, [2, 1]]  # seen from the hips, side view
    solved = two_bone.solve_planar(goals - carried, upper, lower, bend=puppet.knee_side)
    leg = _hung(puppet, two_bone.planar_points(solved.hip, solved.knee, upper, lower))
    points = np.concatenate([leg, _sole(puppet, leg[..., -1, :], walk.foot_pitch)], axis=-2)
    return replace(
        walk,
        planted=True,
        pelvis=pelvis,
        points=_in_space(points, pelvis, puppet),
        miss=solved.miss,
    )


def foot_goals(walk: Walk) -> Floats:
    """Where the legs' ends (ankles; the heron's toe joints) must be for planted feet.

    Parameters
    ----------
    walk : Walk

    Returns
    -------
    ndarray, shape (f, 2, 3)
    """
    plan = _plan_of(walk)
    ends = plan.planted_end(walk.phase)
    pelvis = np.stack([0 * walk.times, 0 * walk.times, plan.speed * walk.times], axis=-1)
    return _in_space(ends[..., None, :], pelvis, walk.puppet)[..., 0, :]


def highest_hips(walk: Walk, reach: float = 0.995) -> Floats:
    """How high the hips may be for each leg to reach its planted foot; `pelvis_path` stays below
    both.

    Pythagoras: the foot's height and the root of (reach × leg)² less (how far it is ahead or
    behind)². Where that is too far at any height, the foot's own height.

    Parameters
    ----------
    walk : Walk
    reach : float
        Share of full reach, above 0, at most 1.

    Returns
    -------
    ndarray, shape (f, 2)
        Metres above the floor.
    """
    return _plan_of(walk).room(walk.phase, _reach(reach))


def pelvis_path(walk: Walk, reach: float = 0.995) -> Floats:
    """A pelvis path at even speed that never carries a leg beyond a share of its full reach.

    In every phase there is a highest place for the hips: the forward walk's, or lower where a leg
    would not reach its foot's goal. The path is a smooth wave, a mean and two harmonics of the
    step, fitted to that and lowered until it is nowhere above. A step too long for the legs at any
    height is left with the pelvis low, and with a `Walk.miss` after `plant`.

    Parameters
    ----------
    walk : Walk
    reach : float
        Above 0, at most 1.

    Returns
    -------
    ndarray, shape (f, 3)
        The middle of the hip centres.
    """
    plan, reach = _plan_of(walk), _reach(reach)
    grid, phase = (
        np.linspace(0, 0.5, 200, endpoint=False),
        walk.phase[:, 0],
    )  # a step, after which the sides change
    room = plan.highest(grid, reach)
    waves = np.fft.rfft(room)[:3] / len(room) * [1, 2, 2]

    def above(phase: Floats, room: Floats) -> Floats:
        turns = np.exp(4j * np.pi * phase[:, None] * np.arange(3))
        return (turns @ waves).real - room

    lower = max(above(grid, room).max(), above(phase, plan.highest(phase, reach)).max())
    height = above(phase, lower)
    return np.stack([0 * height, height, walk.speed * walk.times], axis=-1)


def control_values(walk: Walk, rig: LegRig) -> dict[str, dict[str, Floats]]:
    """What to give a rig's controls so that its inverse legs walk this walk:
    `rig.pose(control_values(walk, rig))`.

    The pelvis control carries the pelvis, each foot control shifts its foot and rolls it by minus
    its pitch. On a rig of the walk's own puppet every joint comes out where the walk has it;
    another rig's feet roll over the same spots. For forward legs give a forward walk's angles to
    `LegRig.values_from_angles`, the hip's less `PELVIS_TILT`, as the rig's pelvis stays level.

    Parameters
    ----------
    walk : Walk
    rig : LegRig

    Returns
    -------
    dict of str to dict of str to ndarray, shape (f,)
    """
    _check_walk(walk)
    if not isinstance(rig, LegRig):
        raise ValueError(
            f"`rig` must be a LegRig; got {rig!r}. LegRig.from_puppet(walk.puppet) makes one."
        )
    rest = dict(zip(rig.skeleton.names, rig.skeleton.rest_world[:, :3, 3], strict=True))
    rolled = foot.roll(foot.of_puppet(walk.puppet), -walk.foot_pitch).ankle
    above_flat = np.stack([0 * walk.foot_pitch, rolled[..., 1], rolled[..., 0]], axis=-1)
    flat = walk.points[:, :, len(walk.puppet.bones)] - above_flat
    values = {"pelvis": _shifts(walk.pelvis - rest["pelvis"])}
    for side, tag in enumerate(SIDE_TAGS):
        standing = rest[tag + rig.chain[-1]] * [1, 0, 1]
        values[tag + "foot"] = _shifts(flat[:, side] - standing) | {
            "roll": -walk.foot_pitch[:, side]
        }
    return values


def _shifts(vectors: Floats) -> dict[str, Floats]:
    return {f"shift_{axis}": vectors[..., i] for i, axis in enumerate("xyz")}


def foot_slide_cm(sole: ArrayLike, stance: ArrayLike) -> Floats:
    """How far a foot that should stay slides along the floor, in each step from one frame to the
    next.

    The lowest point of the sole is watched. Where that is another point in the next frame, a
    rolling foot has handed over from one to the other within the step, and the one that moves less
    counts.

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
    """
    sole, stance = _check.numbers("sole", sole, "f", "n", 3), _check_stance(stance)
    if sole.shape[:-2] != stance.shape:
        raise ValueError(
            f"`stance` must have the shape of `sole` without its last two axes, {sole.shape[:-2]}; "
            f"got {stance.shape}."
        )
    height = sole[..., 1]
    low = height <= height.min(axis=-1, keepdims=True) + 1e-6
    stays, either = low[1:] & low[:-1], low[1:] | low[:-1]
    watched = np.where(stays.any(axis=-1, keepdims=True), stays, either)
    moved = np.linalg.norm(np.diff(sole[..., [0, 2]], axis=0), axis=-1)
    slide = np.where(watched, moved, np.inf).min(axis=-1) * (stance[1:] & stance[:-1])
    return 100 * np.concatenate([np.zeros((1, *stance.shape[1:])), slide])


def foot_strikes(stance: ArrayLike) -> Ints:
    """The frames in which a foot comes down, shape (n, 2): rows of frame and side (0 left, 1
    right).

    Parameters
    ----------
    stance : array_like of bool, shape (f, 2)
    """
    stance = _check_stance(stance, sides=True)
    return np.argwhere(stance[1:] & ~stance[:-1]) + np.array([1, 0])


def toe_offs(stance: ArrayLike) -> Ints:
    """The frames in which a foot leaves the floor, shape (n, 2): rows of frame and side (0 left, 1
    right).

    Parameters
    ----------
    stance : array_like of bool, shape (f, 2)
    """
    return foot_strikes(~_check_stance(stance, sides=True))


@dataclass(frozen=True)
class Pop(_say.Shown):
    """A leg that snaps straight or out of straight.

    Attributes
    ----------
    side : str
        The side tag of the leg.
    frame : int
        In which it ends.
    speed_deg : float
        Of its bend at its fastest [°/s].
    """

    side: str
    frame: int
    speed_deg: float

    def __repr__(self) -> str:
        return _say.line(
            self,
            f"{ {'L_': 'left', 'R_': 'right'}.get(self.side, self.side) } leg",
            f"frame {self.frame}",
            f"{_say.amount(self.speed_deg, '°', 0)} a second",
        )


def extension_pops(walk: Walk, near: float = 0.99, fastest_deg: float = 600.0) -> tuple[Pop, ...]:
    """The moments when a leg near full reach bends or straightens faster than a leg should.

    A pop is a run of frame steps in each of which the leg is, at one end at least, stretched to
    `near` or more, and its bend changes by more than `fastest_deg`. The published knees turn at up
    to 332 degrees a second in Tamsin's free walk, so more than 600 near full reach is the mark of a
    goal at the edge of reach.

    Parameters
    ----------
    walk : Walk
    near : float
        Share of full reach.
    fastest_deg : float
        Degrees a second.

    Returns
    -------
    tuple of Pop
        In the order of frames, left before right.
    """
    _check_walk(walk)
    near = _check.one_positive("near", near, "A share of full reach, such as 0.99.")
    fastest = _check.one_positive("fastest_deg", fastest_deg, "Degrees a second, such as 600.")
    speed = np.rad2deg(np.abs(np.diff(walk.bend, axis=0))) / np.diff(walk.times)[:, None]
    share = walk.reach_share
    pops = (speed > fastest) & (np.maximum(share[1:], share[:-1]) >= near)
    last = pops & ~np.concatenate([pops[1:], np.zeros((1, 2), bool)])
    found = []
    for step, side in np.argwhere(last):
        first = step
        while first > 0 and pops[first - 1, side]:
            first -= 1
        found.append(
            Pop(SIDE_TAGS[side], int(step) + 1, float(speed[first : step + 1, side].max()))
        )
    return tuple(found)


def outside_range_deg(
    walk: Walk, table: str = "aaos", sex: str | None = None, age: float | None = None
) -> dict[str, float]:
    """How far a walk's angles leave the average human ranges of motion.

    Parameters
    ----------
    walk : Walk
        Of a puppet with two bones a leg.
    table, sex, age
        As in `body.joint_range`.

    Returns
    -------
    dict of joint name to float
        The largest excess in degrees, 0 where the joint stays inside, negative beyond the low end.
    """
    _check_walk(walk)
    if len(walk.puppet.bones) != 2:
        raise ValueError(
            f"`walk` must be of a puppet with two bones a leg; got that of {walk.puppet.name!r}. "
            "Human ranges say nothing about its joints."
        )
    excess = {
        joint: (
            np.rad2deg(
                body.joint_range(joint, table, sex, age).outside(getattr(walk, joint))
            ).ravel()
        )
        for joint in JOINTS
    }
    return {joint: float(angles[np.argmax(np.abs(angles))]) for joint, angles in excess.items()}


@dataclass(frozen=True)
class _Plan:
    """What a walk is made from; everything in it is a function of a leg's phase, seen from the hips
    in side view."""

    puppet: Puppet
    speed: float
    step_length: float
    table: str

    @property
    def cycle_time(self) -> float:
        return 2 * self.step_length / self.speed

    @cached_property
    def stance_share(self) -> float:
        return float(stance_share(self.speed, _limb_length(self.puppet)))

    def angle(self, phase: Floats, joint: str) -> Floats:
        relative_step = self.step_length / _limb_length(self.puppet)
        return joint_angles(100 * phase, joint, self.table, relative_step)

    def pitch(self, phase: Floats) -> Floats:
        return (
            self.angle(phase, "hip")
            - PELVIS_TILT
            - self.angle(phase, "knee")
            + self.angle(phase, "ankle")
        )

    def leg(self, phase: Floats) -> Floats:
        """The forward walk's joints from the hip down, shape (..., bones + 1, 2)."""
        _, upper, lower = _limb(self.puppet)
        thigh, knee = self.angle(phase, "hip") - PELVIS_TILT, self.angle(phase, "knee")
        joints = two_bone.planar_points(thigh, knee, upper, lower)
        if (
            self.puppet.knee_side < 0
        ):  # the middle joint on the other side of the line from root to end
            line = joints[..., 2, :] / np.linalg.norm(joints[..., 2, :], axis=-1, keepdims=True)
            middle = joints[..., 1, :]
            joints[..., 1, :] = 2 * np.sum(middle * line, axis=-1, keepdims=True) * line - middle
        return _hung(self.puppet, joints)

    def height(self, phase: Floats) -> Floats:
        """Hips above the floor when the lowest of both feet's soles touches it."""
        both = np.stack([phase, (phase + 0.5) % 1.0])
        sole = _sole(self.puppet, self.leg(both)[..., -1, :], self.pitch(both))
        return -sole[..., 1].min(axis=(0, -1))

    def highest(self, phase: Floats, reach: float) -> Floats:
        """The highest hips from which both planted feet are within a share of reach, and no higher
        than the forward walk's."""
        both = np.stack([phase, (phase + 0.5) % 1.0])
        return np.minimum(self.room(both, reach).min(axis=0), self.height(phase))

    def room(self, phase: Floats, reach: float) -> Floats:
        """The highest hips from which a leg's planted foot is within a share of its reach."""
        carried, upper, lower = _limb(self.puppet)
        ends = self.planted_end(phase) - carried
        return ends[..., 1] + np.sqrt(
            np.maximum((reach * (upper + lower)) ** 2 - ends[..., 0] ** 2, 0)
        )

    def planted_end(self, phase: Floats) -> Floats:
        """The leg's end with its foot planted, (forward from the hips, up from the floor)."""
        swing = self._forward_end(phase) + self._swing_correction(phase)
        sunk = _sole(self.puppet, swing, self.pitch(phase))[..., 1].min(axis=-1)
        swing[..., 1] -= np.minimum(sunk, 0)
        return np.where((phase < self.stance_share)[..., None], self._rolling_end(phase), swing)

    def _swing_correction(self, phase: Floats) -> Floats:
        """From the forward walk's end to the planted one's: eased from theirs at toe-off to theirs
        at the strike.

        The speed they part with at toe-off is kept, and gone after `PARTING` of the swing.
        """
        off, strike, speed = self._corrections
        share = np.clip((phase - self.stance_share) / (1 - self.stance_share), 0, 1)[..., None]
        rest = np.maximum(1 - share / PARTING, 0)
        return off + share**2 * (3 - 2 * share) * (strike - off) + share * rest**2 * speed

    @cached_property
    def _corrections(self) -> tuple[Floats, Floats, Floats]:
        """At toe-off and at the strike, and how fast it changes at toe-off, over a whole swing."""
        off, step = self.stance_share, 1e-4
        ends = np.array([off, 0.0])
        left, right = np.array([off - step, off]), np.array([off, off + step])
        speed = np.diff(self._rolling_end(left), axis=0) - np.diff(self._forward_end(right), axis=0)
        return *(self._rolling_end(ends) - self._forward_end(ends)), speed[0] / step * (1 - off)

    def _forward_end(self, phase: Floats) -> Floats:
        end = self.leg(phase)[..., -1, :]
        return np.stack([end[..., 0], end[..., 1] + self.height(phase)], axis=-1)

    def _rolling_end(self, phase: Floats) -> Floats:
        return self._rolled(phase) + [self._spot, 0.0]

    @cached_property
    def _spot(self) -> float:
        """How far before the hips a foot lands: its way through stance as near the forward walk's
        as can be."""
        phase = np.linspace(0, self.stance_share, 50)
        return float(np.mean(self._forward_end(phase)[..., 0] - self._rolled(phase)[..., 0]))

    def _rolled(self, phase: Floats) -> Floats:
        """The end as the foot rolls on a floor that passes back under the hips, from a spot under
        them at phase 0."""
        passed = 2 * self.step_length * phase
        rolled = foot.roll(foot.of_puppet(self.puppet), -self.pitch(phase))
        return rolled.ankle - np.stack([passed, 0 * passed], axis=-1)


def _plan(puppet: Puppet, speed: float | None, step_length: float | None, table: str) -> _Plan:
    if not isinstance(puppet, Puppet):
        raise ValueError(f"`puppet` must be a Puppet; got {puppet!r}. PUPPETS['Tamsin'] is one.")
    _check.choice("table", table, TABLES)
    length = _limb_length(puppet)
    speed = _check.one_positive(
        "speed",
        pace(length).speed if speed is None else speed,
        "Give one speed in m/s, such as 1.3.",
    )
    if step_length is None:
        dimensionless = speed / np.sqrt(GRAVITY * length)
        step_length = (
            float(np.interp(dimensionless, _pace_values("speed"), _pace_values("step_length")))
            * length
        )
    step_length = _check.one_positive(
        "step_length", step_length, "Give one step length in metres, such as 0.65."
    )
    return _Plan(puppet, speed, step_length, table)


def _plan_of(walk: Walk) -> _Plan:
    _check_walk(walk)
    return _Plan(walk.puppet, walk.speed, walk.step_length, walk.table)


def _check_walk(walk: object) -> None:
    if not isinstance(walk, Walk):
        raise ValueError(f"`walk` must be a Walk; got {walk!r}. walk(PUPPETS['Tamsin']) makes one.")


def _reach(reach: float) -> float:
    reach = _check.one_positive("reach", reach, "A share of full reach, such as 0.995.")
    if reach > 1:
        raise ValueError(
            f"`reach` must be a share of full reach, at most 1; got {reach:g}. 0.995 is one."
        )
    return reach


def _check_stance(stance: ArrayLike, sides: bool = False) -> Bools:
    array = np.asarray(stance)
    if (
        array.dtype != bool
        or array.ndim < 1
        or len(array) == 0
        or (sides and array.shape[1:] != (2,))
    ):
        raise ValueError(
            f"`stance` must be true or false for every frame{' and two sides' if sides else ''}; "
            f"got {array.dtype} of shape {array.shape}."
        )
    return array


def _limb(puppet: Puppet) -> tuple[Floats, float, float]:
    """Where the two bones the leg is solved with begin, seen from the hip in side view, and their
    lengths."""
    upper, lower = puppet.bones[-2:]
    carried = np.zeros(2)
    if len(puppet.bones) == 3:
        carried = puppet.thigh * np.array([np.sin(CARRIED_THIGH), -np.cos(CARRIED_THIGH)])
    return carried, upper, lower


def _limb_length(puppet: Puppet) -> float:
    return sum(puppet.bones[-2:])


def _hung(puppet: Puppet, limb: Floats) -> Floats:
    """The joints from the hip down, from those of the two solved bones seen from where they
    begin."""
    joints = limb + _limb(puppet)[0]
    if len(puppet.bones) == 3:
        joints = np.concatenate([np.zeros_like(joints[..., :1, :]), joints], axis=-2)
    return joints


def _sole(puppet: Puppet, end: Floats, pitch: Floats) -> Floats:
    """Heel, ball and toe, shape (..., 3, 2), from the leg's end and the foot's pitch; the toes bend
    as in a roll."""
    rolled = foot.roll(foot.of_puppet(puppet), -pitch)
    return np.stack([end + getattr(rolled, pivot) - rolled.ankle for pivot in foot.PIVOTS], axis=-2)


def _in_space(flat: Floats, pelvis: Floats, puppet: Puppet) -> Floats:
    """Side-view points seen from the hips, shape (f, 2, n, 2), as world points, shape (f, 2, n,
    3)."""
    sideways = np.broadcast_to(np.array([[0.5], [-0.5]]) * puppet.hip_width, flat.shape[:-1])
    return np.stack([sideways, flat[..., 1], flat[..., 0]], axis=-1) + pelvis[:, None, None, :]


def _wrapped(angle: Floats) -> Floats:
    return (angle + np.pi) % (2 * np.pi) - np.pi
