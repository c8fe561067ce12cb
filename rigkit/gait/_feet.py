"""Planted feet at any phases of a leg: their places, and the height they let the hips have.

Most of this is our own: of planted feet the sources give angles, paces and the clearance in swing.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from rigkit import foot, two_bone
from rigkit._types import Floats
from rigkit.foot import FootRoll
from rigkit.gait._plan import (
    STEP,
    Curves,
    Plan,
    Published,
    Waves,
    as_waves,
    in_space,
    leg_height,
    limb_length,
    sided,
    sole,
    waves,
)
from rigkit.leg import _limb

# All of these are our choice.
REACH = 0.9985  # of a leg's full length: a knee bent by 6°, about the least of published walks
SETTLED = np.radians(4.0)  # a stance foot nearer to level than about this lies flat
CLEARANCE = 0.012 / 0.9  # of a leg; between 11.1 mm (Schulz 2011) and 13 mm (Winter 1991)
CLEARED = (0.3, 0.85)  # of the swing: in between the sole must be so high
LATE = 0.5  # of the swing: from here on the later lift alone clears the floor
HEIGHT_WAVES = 4  # harmonics of a step: with fewer the knees leave the published ones


@dataclass(frozen=True)
class Feet:
    """Tell what the planted feet of a plan's walk are made from."""

    plan: Plan

    def at(self, legs: Published) -> Planted:
        """A foot at the phases of its leg."""
        return Planted(self, legs)

    def height(self, reach: float) -> Waves:
        """The pelvis above the floor as waves of a step, with both legs within their reach.

        It is where the published knees of the legs that stand would have it, one leg's share rising
        by 3x² − 2x³ and the other's falling while both do; or lower, where a leg would not reach.
        """
        taking, leaving = self._step.published_height.T
        loaded = np.clip(STEP / (self.plan.stance_share - 0.5), 0, 1)
        share = loaded**2 * (3 - 2 * loaded)
        room = self._step.room(reach).min(axis=-1)
        found = as_waves(np.minimum(share * taking + (1 - share) * leaving, room), HEIGHT_WAVES)
        found[0] -= max((waves(found, STEP) - room).max(), 0.0)
        return found

    @cached_property
    def usual_height(self) -> Waves:
        return self.height(REACH)

    @cached_property
    def _step(self) -> Planted:
        return self.at(self.plan.step)

    @cached_property
    def spot(self) -> float:
        """The landing place before the hips.

        At a strike both feet are down, a step apart, and the published knees say how long either
        leg is: two circles round the feet, which meet where the hips must be.
        """
        strike = self.at(self.plan.at(np.array([0.0, 0.5])))
        centre = strike.rolled - strike.legs.root[..., [2, 1]]
        squared = strike.published_length**2 - strike.legs.beside**2
        apart = centre[1] - centre[0]
        distance = np.hypot(*apart)
        along = (squared[0] - squared[1] + distance**2) / (2 * distance)
        up = np.sqrt(max(squared[0] - along**2, 0.0))
        meet = centre[0] + (along * apart + up * apart[::-1] * [1, -1]) / distance
        return float(-meet[0])

    @cached_property
    def corrections(self) -> tuple[Floats, ...]:
        """Way to go at toe-off, its change a swing, and both at the strike."""
        step, off = 1e-5, self.plan.stance_share
        around = np.add.outer([off, 0.0], step * np.array([-1, 0, 1]))
        foot = self.at(self.plan.at(around))
        found = []
        for before, now, after in foot.rolling - foot.forward:
            found += [now, (after - before) / (2 * step) * (1 - off)]
        return tuple(found)

    @cached_property
    def lifts(self) -> Floats:
        """Amounts of the two lifts of `_lifting` that keep the sole as high as it must be."""
        share, off, puppet = np.linspace(0, 1, 401)[1:-1], self.plan.stance_share, self.plan.puppet
        swing = self.at(self.plan.at(off + share * (1 - off)))
        low = sole(swing.carried, swing.roll)
        clear = (share > CLEARED[0]) & (share < CLEARED[1])
        needed = clear * CLEARANCE * leg_height(puppet) - low[..., 1].min(axis=-1)
        early, late = _lifting(swing.legs.curves)
        later = (needed / late)[share >= LATE].max()
        return np.array([max(((needed - later * late) / early).max(), 0.0), later])


@dataclass(frozen=True, eq=False)
class Planted:
    """A planted foot at the phases of its leg, each part found once."""

    feet: Feet
    legs: Published

    @property
    def pitch(self) -> Floats:
        return _settled(self.legs.curves)[0]

    @property
    def roll(self) -> FootRoll:
        return _settled(self.legs.curves)[1]

    @cached_property
    def end(self) -> Floats:
        """The leg's end, (forward from the middle of the hips, up from the floor)."""
        plan, swing = self.legs.plan, self.carried.copy()
        (early, late), lifting = self.feet.lifts, _lifting(self.legs.curves)
        swing[..., 1] += early * lifting[0] + late * lifting[1]
        sunk = sole(swing, self.roll)[..., 1].min(axis=-1)
        swing[..., 1] -= np.minimum(sunk, 0)  # between the moments that `lifts` looks at
        return np.where((self.legs.phase < plan.stance_share)[..., None], self.rolling, swing)

    def room(self, reach: float) -> Floats:
        """The highest pelvis from which a leg's foot is within a share of its reach."""
        return self._pelvis_at(reach * limb_length(self.legs.plan.puppet))

    @property
    def published_height(self) -> Floats:
        """The pelvis's height with the published knee."""
        return self._pelvis_at(self.published_length)

    @property
    def published_length(self) -> Floats:
        """A leg's length from root to end with the published knee, by the cosine rule."""
        _, upper, lower = _limb(self.legs.plan.puppet)
        return np.sqrt(
            upper**2 + lower**2 + 2 * upper * lower * np.cos(self.legs.curves.angles["knee"])
        )

    def _pelvis_at(self, length: Floats | float) -> Floats:
        """The pelvis's height with a leg so long from root to end, by Pythagoras."""
        root, end = self.legs.root, self.end
        level = self.legs.beside**2 + (end[..., 0] - root[..., 2]) ** 2
        return end[..., 1] - root[..., 1] + np.sqrt(np.maximum(length**2 - level, 0))

    # Stance

    @property
    def rolling(self) -> Floats:
        """The end of a leg whose foot is down."""
        return self.rolled + [self.feet.spot, 0.0]

    @cached_property
    def rolled(self) -> Floats:
        """The end as the foot rolls on a floor that passes back, from below the hips at phase 0."""
        plan = self.legs.plan
        passed = 2 * plan.step_length * self.legs.phase
        return self.roll.ankle - np.stack([passed, 0 * passed], axis=-1)

    # Swing

    @property
    def carried(self) -> Floats:
        """The published leg's end, corrected to leave and meet the floor as a planted foot does.

        The correction takes the shortest way of least jerk between two places with their speeds (T.
        Flash, N. Hogan, J. Neurosci. 5:1688-1703, 1985: there from rest to rest, of hands).
        """
        rise, leave, meet = _ways(self.legs.curves)
        off, leaving, strike, meeting = self.feet.corrections
        moved = (
            (1 - rise)[..., None] * off
            + rise[..., None] * strike
            + leave[..., None] * leaving
            + meet[..., None] * meeting
        )
        return self.forward + moved

    @property
    def forward(self) -> Floats:
        """The published leg's end, up from the floor."""
        end = self.legs.end.copy()
        end[..., 1] += waves(self.feet.plan.level, self.legs.phase)
        return end


@lru_cache(32)
def _settled(curves: Curves) -> tuple[Floats, FootRoll]:
    """The published pitch p, made p³ / (p² + `SETTLED`²) while the foot is down, and its roll.

    It has no rate as the foot comes level, so heel and ball hand over to each other at rest. In
    swing that is soon gone.
    """
    share = _swing_share(curves)
    gone = (1 - (4 * share * (1 - share)) ** 2) ** 3
    pitch = curves.pitch - gone * curves.pitch * SETTLED**2 / (curves.pitch**2 + SETTLED**2)
    return pitch, foot.roll(curves.plan.foot, -pitch)


def _swing_share(curves: Curves) -> Floats:
    """The share of the swing that is over: 0 in stance."""
    off = curves.plan.stance_share
    return np.clip((curves.phase - off) / (1 - off), 0, 1)


@lru_cache(32)
def _ways(curves: Curves) -> tuple[Floats, Floats, Floats]:
    """The way from a swing's beginning to its end, and what it takes of the speed at either."""
    share = _swing_share(curves)
    rise = share**3 * (10 - 15 * share + 6 * share**2)
    leave = share * (1 - share) ** 3 * (1 + 3 * share)
    meet = -(share**3) * (1 - share) * (4 - 3 * share)
    return rise, leave, meet


@lru_cache(32)
def _lifting(curves: Curves) -> Floats:
    """An early and a late lift, which leave and meet the floor without speed."""
    share = _swing_share(curves)
    return np.stack([share**2 * (1 - share) ** 5, share**4 * (1 - share) ** 2])


@lru_cache(64)  # a walk is often planted anew, under another pelvis
def feet_of(plan: Plan) -> Feet:
    """The planted feet of a plan."""
    return Feet(plan)


def goals(foot: Planted, times: Floats) -> Floats:
    """Places in the world where the legs' ends must be, shape (f, 2, 3)."""
    plan, end = foot.legs.plan, foot.end
    outward = np.full(end.shape[:-1], plan.puppet.hip_width / 2)
    forward = end[..., 0] + plan.speed * times[:, None]
    return sided(np.stack([outward, end[..., 1], forward], axis=-1))


def solved_legs(legs: Published, pelvis: Floats, goals: Floats) -> tuple[Floats, Floats]:
    """Joints of both legs solved for goals, shape (f, 2, n, 3), and how far their ends miss.

    Each is solved in the plane through its root and its goal that holds the direction of the walk:
    knees point straight ahead.
    """
    puppet = legs.plan.puppet
    _, upper, lower = _limb(puppet)
    apart = sided(goals - pelvis[:, None]) - legs.root
    length = np.copysign(np.hypot(apart[..., 0], apart[..., 1]), -apart[..., 1])
    solved = two_bone.solve_planar(
        np.stack([apart[..., 2], -length], axis=-1), upper, lower, knee_direction=puppet.knee_side
    )
    limb = two_bone.planar_points(solved.hip, solved.knee, upper, lower)
    sine = apart[..., 0] / np.where(length == 0, 1.0, length)
    return in_space(legs, pelvis, limb, sine), solved.miss
