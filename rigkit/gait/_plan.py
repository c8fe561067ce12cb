"""A walk at any phases of a leg: the pelvis's motion and the published legs below it.

Points are seen from the middle of the hips: side views are (forward, up); in space x is outward, to
the leg's own side, y up, z forward.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from rigkit import _check, foot, puppets, two_bone
from rigkit._types import Floats
from rigkit.foot import Foot, FootRoll
from rigkit.gait import curves
from rigkit.gait.curves import JOINTS, PELVIS_TILT, TABLES
from rigkit.leg import _limb
from rigkit.puppets import Puppet

MOST_SHARE = 3.0  # of the published pelvis motion: our choice, far beyond what people do
LEVEL_WAVES = 2  # harmonics of a step: our choice, enough for the bob of a walk


@dataclass(frozen=True)
class Plan:
    """All that a walk is made from."""

    puppet: Puppet
    speed: float
    step_length: float
    table: str
    sway: float = 1.0
    rotation: float = 1.0
    obliquity: float = 1.0

    @property
    def cycle_time(self) -> float:
        return 2 * self.step_length / self.speed

    @cached_property
    def stance_share(self) -> float:
        return float(curves.stance_share(self.speed, leg_height(self.puppet)))

    @cached_property
    def joint_curves(self) -> dict[str, Floats]:
        """The values of each joint round the cycle."""
        step = self.step_length / leg_height(self.puppet)
        return {joint: curves.joint_curve(joint, self.table, step) for joint in JOINTS}

    @cached_property
    def pelvis_curves(self) -> tuple[Floats, ...]:
        """The values of each of the pelvis's turns round the cycle."""
        speed = self.speed / np.sqrt(curves.GRAVITY * leg_height(self.puppet))
        return tuple(curves.pelvis_curve(turn, speed) for turn in curves.PELVIS_TURNS)

    @cached_property
    def sway_width(self) -> Floats:
        return curves.sway_width(
            self.step_length / self.speed, leg_height(self.puppet), self.puppet.hip_width
        )

    @cached_property
    def foot(self) -> Foot:
        return foot.of_puppet(self.puppet)

    def at(self, phase: Floats) -> Published:
        """The walk at phases of a leg."""
        return Published(self, phase)

    @cached_property
    def step(self) -> Published:
        """Both legs through a step of the right one: phases of shape (`STEP`, 2)."""
        return self.at(both(STEP))

    @cached_property
    def level(self) -> Waves:
        """`Published.height` without its corners, where another point of a sole is the lowest."""
        return as_waves(self.step.height, LEVEL_WAVES)


@dataclass(frozen=True, eq=False)
class Curves:
    """The published curves at phases of a leg, each part found once.

    They are the same whatever share of the pelvis's motion a walk has.
    """

    plan: Plan
    phase: Floats

    @cached_property
    def pelvis(self) -> tuple[Floats, ...]:
        """Each of the pelvis's turns."""
        return tuple(curves.pelvis_turn(curve, self.phase) for curve in self.plan.pelvis_curves)

    @cached_property
    def angles(self) -> dict[str, Floats]:
        joints = self.plan.joint_curves
        each = np.expand_dims(np.stack(list(joints.values())), tuple(range(1, 1 + self.phase.ndim)))
        return dict(zip(joints, curves.spline(each, self.phase), strict=True))

    @cached_property
    def pitch(self) -> Floats:
        return self.angles["hip"] - PELVIS_TILT - self.angles["knee"] + self.angles["ankle"]

    @cached_property
    def roll(self) -> FootRoll:
        return foot.roll(self.plan.foot, -self.pitch)

    @cached_property
    def limb(self) -> Floats:
        """Root, middle and end of the published leg in its own plane, from the root."""
        puppet, (_, upper, lower) = self.plan.puppet, _limb(self.plan.puppet)
        thigh, knee = self.angles["hip"] - PELVIS_TILT, self.angles["knee"]
        joints = two_bone.planar_points(thigh, knee, upper, lower)
        if puppet.knee_side < 0:
            # The middle joint on the other side of the line from root to end.
            line = joints[..., 2, :] / np.linalg.norm(joints[..., 2, :], axis=-1, keepdims=True)
            middle = joints[..., 1, :]
            joints[..., 1, :] = 2 * np.sum(middle * line, axis=-1, keepdims=True) * line - middle
        return joints


@lru_cache(32)  # a walk is often made anew, under a pelvis that moves otherwise
def _curves_at(plan: Plan, phase: bytes, shape: tuple[int, ...]) -> Curves:
    return Curves(plan, np.frombuffer(phase).reshape(shape))


@dataclass(frozen=True, eq=False)
class Published:
    """The pelvis's motion and the published leg at phases of that leg, each part found once."""

    plan: Plan
    phase: Floats

    @cached_property
    def curves(self) -> Curves:
        usual = replace(self.plan, sway=1.0, rotation=1.0, obliquity=1.0)
        return _curves_at(usual, self.phase.tobytes(), self.phase.shape)

    # The pelvis

    @cached_property
    def turns(self) -> tuple[Floats, Floats]:
        """The pelvis's turns about +Y and +Z, were it a left leg."""
        ahead, rise = self.curves.pelvis
        return -self.plan.rotation * ahead, self.plan.obliquity * rise

    @cached_property
    def aside(self) -> Floats:
        """The pelvis's sway to the leg's side: one wave a stride, farthest in mid-stance."""
        plan = self.plan
        begins = (plan.stance_share - 0.5) / 2  # the middle of the time both feet are down
        return plan.sway * plan.sway_width / 2 * np.sin(2 * np.pi * (self.phase - begins))

    def path(self, times: Floats, height: Floats) -> Floats:
        """The middle of the hips at these heights, shape (f, 3), for phases of shape (f, 2)."""
        return np.stack([self.aside[:, 0], height, self.plan.speed * times], axis=-1)

    def hung(self, below: Floats) -> Floats:
        """A point of the pelvis, given in side view from the leg's hip, in space."""
        about_y, about_z = self.turns
        x, (z, y) = self.plan.puppet.hip_width / 2, below
        x, z = x * np.cos(about_y) + z * np.sin(about_y), z * np.cos(about_y) - x * np.sin(about_y)
        x, y = x * np.cos(about_z) - y * np.sin(about_z), x * np.sin(about_z) + y * np.cos(about_z)
        return np.stack([x, y, z], axis=-1)

    @cached_property
    def root(self) -> Floats:
        """The joint where the two solved bones begin, in space."""
        return self.hung(_limb(self.plan.puppet)[0])

    @cached_property
    def beside(self) -> Floats:
        """The way outward from a leg's root to its foot, whose line is below the still hips."""
        return self.plan.puppet.hip_width / 2 - self.aside - self.root[..., 0]

    # The leg

    @cached_property
    def lean(self) -> Floats:
        """The sine of how far the published leg leans outward, which brings its foot on its line.

        The sources have no foot's place from side to side.
        """
        return np.clip(self.beside / -self.curves.limb[..., -1, 1], -1, 1)

    @cached_property
    def end(self) -> Floats:
        """The published leg's end in side view."""
        root, end, upright = self.root, self.curves.limb[..., -1, :], np.sqrt(1 - self.lean**2)
        return np.stack([root[..., 2] + end[..., 0], root[..., 1] + end[..., 1] * upright], axis=-1)

    @cached_property
    def height(self) -> Floats:
        """The pelvis above the floor when the lowest of both feet's soles touches it.

        For phases of both legs, shape (f, 2).
        """
        return -sole(self.end, self.curves.roll)[..., 1].min(axis=(-2, -1))


Waves = NDArray[np.complex128]

STEP = np.arange(200) / 400  # phases of one step, after which the sides change


def both(phase: Floats) -> Floats:
    """Phases of both legs, shape (f, 2), from the left one's."""
    return (phase[:, None] + [0.0, 0.5]) % 1.0


def as_waves(values: Floats, count: int) -> Waves:
    """The mean and the first waves of what repeats every step, from values at `STEP`."""
    found: Waves = np.fft.rfft(values)[: count + 1] / len(values)
    found[1:] *= 2
    return found


def waves(found: Waves, phase: Floats) -> Floats:
    """The value at a phase of what `as_waves` found."""
    turn = np.exp(4j * np.pi * phase)
    return np.asarray(np.polyval(found[::-1], turn).real, np.float64)


def make_plan(
    puppet: Puppet | str,
    speed: float | None,
    step_length: float | None,
    table: str,
    **shares: float,
) -> Plan:
    """The plan of a walk, its arguments checked and what is left out taken from published paces."""
    puppet = puppets.get(puppet)
    _check.choice("table", table, TABLES)
    length = leg_height(puppet)
    speed = _check.one_positive(
        "speed",
        curves.pace(length).speed if speed is None else speed,
        "Give one speed in m/s, such as 1.3.",
    )
    step_length = _check.one_positive(
        "step_length",
        curves.usual_step(speed, length) if step_length is None else step_length,
        "Give one step length in metres, such as 0.65.",
    )
    return Plan(puppet, speed, step_length, table, **{n: _share(n, s) for n, s in shares.items()})


def _share(name: str, share: float) -> float:
    share = _check.one(name, share, "A share of the published motion, such as 1.")
    if not 0 <= share <= MOST_SHARE:
        raise ValueError(
            f"`{name}` must be a share of the published motion from 0 to {MOST_SHARE:g}; "
            f"got {share:g}. 1 is as published."
        )
    return share


def leg_height(puppet: Puppet | str) -> float:
    """Return the leg length that a puppet's paces are scaled by.

    From the floor to where its swinging leg begins, standing straight: to the hip; to the heron's
    knee, as its thigh hardly swings. The addendum of Schwartz 2008 does not say how leg length was
    measured. Clinics measure from the front of the pelvis to the ankle, which begins about as far
    above the hip as it ends above the floor (from memory).

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    float
        Metres.

    Raises
    ------
    ValueError
        If `puppet` is neither.

    Examples
    --------
    >>> from rigkit import gait
    >>> round(gait.leg_height("Tamsin"), 3)
    0.9
    """
    puppet = puppets.get(puppet)
    return limb_length(puppet) + puppet.ankle_height


def limb_length(puppet: Puppet) -> float:
    """The solved bones in line, metres."""
    return sum(puppet.bones[-2:])


def sole(end: Floats, rolled: FootRoll) -> Floats:
    """Heel, ball and toe, shape (..., 3, 2), of a rolled foot below the leg's end."""
    return (
        np.stack([rolled.heel, rolled.ball, rolled.toe], axis=-2)
        + (end - rolled.ankle)[..., None, :]
    )


def in_space(legs: Published, pelvis: Floats, limb: Floats, sine: Floats) -> Floats:
    """Joints of both legs in the world, shape (f, 2, n, 3), from the hip to the leg's end.

    A limb is given from its root in its own plane, which holds the direction of the walk and leans
    outward by an angle of this sine.
    """
    sine, down = sine[..., None], -limb[..., 1]
    joints = np.stack([down * sine, -down * np.sqrt(1 - sine**2), limb[..., 0]], axis=-1)
    joints += legs.root[..., None, :]
    if len(legs.plan.puppet.bones) == 3:
        hip = legs.hung(np.zeros(2))[..., None, :]
        joints = np.concatenate([hip, joints], axis=-2)
    return sided(joints) + pelvis[:, None, None, :]


def sided(points: Floats) -> Floats:
    """Points of both legs, shape (f, 2, ..., 3), with x to the left instead of outward."""
    mirrored = points.copy()
    mirrored[:, 1, ..., 0] *= -1
    return mirrored


def with_sole(joints: Floats, rolled: FootRoll) -> Floats:
    """Joints of both legs with heel, ball and toe below the leg's end, straight ahead."""
    end = joints[..., -1, :]
    flat = sole(end[..., [2, 1]], rolled)
    aside = np.broadcast_to(end[..., None, :1], (*flat.shape[:-1], 1))
    return np.concatenate([joints, np.concatenate([aside, flat[..., ::-1]], axis=-1)], axis=-2)
