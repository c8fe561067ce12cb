"""A walk as functions of a leg's phase, seen from the hips in side view (forward, up)."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rigkit import _check, foot, puppets, two_bone
from rigkit._types import Floats
from rigkit.gait import curves
from rigkit.gait.curves import JOINTS, PELVIS_TILT, TABLES
from rigkit.leg import _from_hip, _limb
from rigkit.puppets import Puppet

# Of the swing: our choice, short enough that no puppet's foot is pulled back to the floor.
PARTING = 0.3


@dataclass(frozen=True)
class Plan:
    """All that a walk is made from; its methods are functions of a leg's phase."""

    puppet: Puppet
    speed: float
    step_length: float
    table: str

    @property
    def cycle_time(self) -> float:
        return 2 * self.step_length / self.speed

    @cached_property
    def stance_share(self) -> float:
        return float(curves.stance_share(self.speed, limb_length(self.puppet)))

    def angle(self, phase: Floats, joint: str) -> Floats:
        relative_step = self.step_length / limb_length(self.puppet)
        return curves.joint_angles(100 * phase, joint, self.table, relative_step)

    def pitch(self, phase: Floats) -> Floats:
        hip, knee, ankle = (self.angle(phase, joint) for joint in JOINTS)
        return hip - PELVIS_TILT - knee + ankle

    def leg(self, phase: Floats) -> Floats:
        """The forward walk's joints from the hip down, shape (..., bones + 1, 2)."""
        _, upper, lower = _limb(self.puppet)
        thigh, knee = self.angle(phase, "hip") - PELVIS_TILT, self.angle(phase, "knee")
        joints = two_bone.planar_points(thigh, knee, upper, lower)
        if self.puppet.knee_side < 0:
            # The middle joint on the other side of the line from root to end.
            line = joints[..., 2, :] / np.linalg.norm(joints[..., 2, :], axis=-1, keepdims=True)
            middle = joints[..., 1, :]
            joints[..., 1, :] = 2 * np.sum(middle * line, axis=-1, keepdims=True) * line - middle
        return _from_hip(self.puppet, joints)

    def height(self, phase: Floats) -> Floats:
        """Hips above the floor when the lowest of both feet's soles touches it."""
        both = np.stack([phase, (phase + 0.5) % 1.0])
        lowest = sole(self.puppet, self.leg(both)[..., -1, :], self.pitch(both))[..., 1]
        return -lowest.min(axis=(0, -1))

    def highest(self, phase: Floats, reach: float) -> Floats:
        """The highest hips for both planted feet in reach, no higher than the forward walk's."""
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
        sunk = sole(self.puppet, swing, self.pitch(phase))[..., 1].min(axis=-1)
        swing[..., 1] -= np.minimum(sunk, 0)
        return np.where((phase < self.stance_share)[..., None], self._rolling_end(phase), swing)

    def _swing_correction(self, phase: Floats) -> Floats:
        """From the forward walk's end to the planted one's, eased over the swing.

        It begins as the two differ at toe-off and ends as they differ at the strike. The speed they
        part with at toe-off is kept, and gone after `PARTING` of the swing.
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
        """The landing place before the hips, fitted to the forward walk's stance in the mean."""
        phase = np.linspace(0, self.stance_share, 50)
        return float(np.mean(self._forward_end(phase)[..., 0] - self._rolled(phase)[..., 0]))

    def _rolled(self, phase: Floats) -> Floats:
        """The end as the foot rolls on a floor that passes back, from below the hips at phase 0."""
        passed = 2 * self.step_length * phase
        rolled = foot.roll(foot.of_puppet(self.puppet), -self.pitch(phase))
        return rolled.ankle - np.stack([passed, 0 * passed], axis=-1)


def make_plan(
    puppet: Puppet | str, speed: float | None, step_length: float | None, table: str
) -> Plan:
    """The plan of a walk, its arguments checked and what is left out taken from published paces."""
    puppet = puppets.get(puppet)
    _check.choice("table", table, TABLES)
    length = limb_length(puppet)
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
    return Plan(puppet, speed, step_length, table)


def limb_length(puppet: Puppet) -> float:
    """The solved bones in line, metres."""
    return sum(puppet.bones[-2:])


def sole(puppet: Puppet, end: Floats, pitch: Floats) -> Floats:
    """Heel, ball and toe, shape (..., 3, 2), of a foot rolled to a pitch below the leg's end."""
    rolled = foot.roll(foot.of_puppet(puppet), -pitch)
    return np.stack([end + getattr(rolled, pivot) - rolled.ankle for pivot in foot.PIVOTS], axis=-2)


def in_space(flat: Floats, pelvis: Floats, puppet: Puppet) -> Floats:
    """World points, shape (f, 2, n, 3), of side-view points from the hips, shape (f, 2, n, 2)."""
    sideways = np.broadcast_to(np.array([[0.5], [-0.5]]) * puppet.hip_width, flat.shape[:-1])
    return np.stack([sideways, flat[..., 1], flat[..., 0]], axis=-1) + pelvis[:, None, None, :]
