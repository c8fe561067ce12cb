"""The forward walk: published angles on a puppet's legs, its pelvis moved forward evenly."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from rigkit import _check, _format, foot
from rigkit._types import Bools, Floats
from rigkit.gait import _feet
from rigkit.gait._plan import (
    Curves,
    Plan,
    Published,
    both,
    in_space,
    limb_length,
    make_plan,
    waves,
    with_sole,
)
from rigkit.gait.contact import foot_slide_cm
from rigkit.gait.curves import PELVIS_TILT
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS, side_of

SLIDE_FRAMES = 1000


@dataclass(frozen=True, eq=False)
class Walk(_format.NotebookDisplay):
    """A walk along +Z from the world's origin, frame by frame; f frames, two sides (left, right).

    `walk["knee"]` is where both knees are, shape (f, 2, 3), `walk["L_knee"]` the left one, shape
    (f, 3); so for each of `joints`.

    Attributes
    ----------
    puppet : Puppet
    speed : float
        How fast [m/s].
    step_length : float
        From one foot to the other [m].
    table : str
        Where the angles are from.
    sway, rotation, obliquity : float
        Shares of the pelvis's usual motion that it has: from side to side, about the vertical, and
        in the view from the front.
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
    pelvis_rotation, pelvis_obliquity : ndarray, shape (f,)
        The pelvis's turns about +Y and +Z, radians: positive with the left hip backward, and with
        the left hip up. The obliquity comes after the rotation. Its tilt forward, `PELVIS_TILT`,
        stays as it is and is not among them.
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
    sway: float
    rotation: float
    obliquity: float
    planted: bool
    times: Floats
    phase: Floats
    stance: Bools
    pelvis: Floats
    pelvis_rotation: Floats
    pelvis_obliquity: Floats
    points: Floats
    foot_pitch: Floats
    miss: Floats

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.name(self.puppet.name),
            "feet planted" if self.planted else "feet not planted",
            _format.amount(self.speed, " m/s", 2),
            f"steps of {_format.length(self.step_length)}",
            f"{_format.count(len(self.times), 'frame')} in "
            f"{_format.amount(np.ptp(self.times), ' s', 2)}",
            f"angles of {self.table}",
            f"miss {_format.small(self.miss)}",
        )

    @property
    def joints(self) -> tuple[str, ...]:
        """The points' names: hip, knee, ankle, the heron's foot; the sole's heel, ball, toe."""
        three = len(self.puppet.bones) == 3
        return ("hip", "knee", "ankle", *(("foot",) if three else ()), *foot.PIVOTS)

    def __getitem__(self, joint: str) -> Floats:
        """The places of a joint, frame by frame.

        Parameters
        ----------
        joint : str
            One of `joints`, for both sides, or with a side tag for one.

        Returns
        -------
        ndarray, shape (f, 2, 3) or (f, 3)

        Raises
        ------
        ValueError
            For another name; it lists the names there are.
        """
        tag = side_of(joint) if isinstance(joint, str) else None
        name = joint[len(tag) :] if tag else joint
        if name not in self.joints:
            raise ValueError(
                f"unknown joint {joint!r}; a walk has {', '.join(self.joints)}, "
                "for one side with L_ or R_ in front."
            )
        points = self.points[:, :, self.joints.index(name)]
        return points[:, SIDE_TAGS.index(tag)] if tag else points

    @property
    def hip(self) -> Floats:
        """Hip flexion from the pelvis, tipped forward by `PELVIS_TILT`; radians, shape (f, 2).

        In the plane of the leg, which holds the direction of the walk; the pelvis's turns are left
        out.
        """
        return self._headings[..., 0] + PELVIS_TILT

    @property
    def knee(self) -> Floats:
        """Knee flexion, the true angle between the bones, radians, shape (f, 2)."""
        return _wrapped(self._headings[..., 0] - self._headings[..., 1])

    @property
    def ankle(self) -> Floats:
        """Dorsiflexion, radians, shape (f, 2).

        Of the foot; the heron's is that of its metatarsal from the line of its shank. In the plane
        of the leg.
        """
        distal = self._headings[..., 2] if len(self.puppet.bones) == 3 else self.foot_pitch
        return _wrapped(distal - self._headings[..., 1])

    @property
    def bend(self) -> Floats:
        """The bend of the knee, toward its own side positive, radians, shape (f, 2).

        The heron's is that of its ankle, whose own side is backward.
        """
        return self.puppet.knee_side * _wrapped(self._headings[..., -2] - self._headings[..., -1])

    @property
    def reach_share(self) -> Floats:
        """The leg's length from root to end as a share of its full one: 1 is straight; (f, 2)."""
        end = len(self.puppet.bones)
        limb = self.points[:, :, end] - self.points[:, :, end - 2]
        return np.linalg.norm(limb, axis=-1) / limb_length(self.puppet)

    @cached_property
    def slide_cm(self) -> Floats:
        """The way each foot slides along the floor in one stride, cm, shape (2,).

        It is measured at `SLIDE_FRAMES` moments a stride, however many frames the walk has.
        """
        strides = self.speed * self.times[-1] / (2 * self.step_length)
        times = np.linspace(0, self.times[-1], round(strides * SLIDE_FRAMES) + 1)
        plan = plan_of(self)
        seen, legs = (plan.at(both(t / plan.cycle_time)) for t in (self.times, times))
        off_path = self.pelvis - self._usual_path(seen, self.times)
        pelvis = self._usual_path(legs, times) + np.stack(
            [np.interp(times, self.times, way) for way in off_path.T], axis=-1
        )
        points, _, _ = moved(legs, times, pelvis, self.planted)
        slides = foot_slide_cm(points[:, :, -len(foot.PIVOTS) :], legs.phase < plan.stance_share)
        return slides.sum(axis=0) / strides

    def _usual_path(self, legs: Published, times: Floats) -> Floats:
        """The pelvis path of `walk`, or of `plant` with nothing said, at these times."""
        if not self.planted:
            return legs.path(times, legs.height)
        return legs.path(times, waves(_feet.feet_of(legs.plan).usual_height, legs.phase[:, 0]))

    @property
    def _headings(self) -> Floats:
        """Each bone's angle from hanging down, in the plane of its leg, forward positive."""
        chain = self.points[:, :, : len(self.puppet.bones) + 1]
        up = chain[..., -3, :2] - chain[..., -1, :2]
        up = np.where(np.abs(up).max(axis=-1, keepdims=True) > 0, up, [0.0, 1.0])
        up = up * np.where(up[..., 1:] < 0, -1, 1) / np.linalg.norm(up, axis=-1, keepdims=True)
        bones = np.diff(chain, axis=-2)
        return np.arctan2(bones[..., 2], -np.sum(bones[..., :2] * up[..., None, :], axis=-1))


def walk(
    puppet: Puppet | str,
    speed: float | None = None,
    step_length: float | None = None,
    frames: int = 100,
    cycles: int = 2,
    table: str = "schwartz-2008",
    sway: float = 1.0,
    rotation: float = 1.0,
    obliquity: float = 1.0,
) -> Walk:
    """Return a forward walk: published angles on a puppet's legs, the pelvis moved forward evenly.

    The pelvis rides at the height that keeps the lowest foot on the floor. It sways from side to
    side (`sway_width`, over feet as far apart as the hips), and turns as published for the speed
    (`pelvis_angles`); each leg leans so that its foot keeps to its line. The angles know nothing of
    the puppet's bones or of the speed asked for, so the feet slide: `Walk.slide_cm` says how far. A
    leg that bends backward swings as the forward one does, its middle joint on the other side of
    the line from its root to its end; a third bone (the heron's thigh) is carried at
    `CARRIED_THIGH`. Both are invented, and so is the lean.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    speed : float, optional
        m/s; by default the free pace for the puppet's `leg_height`.
    step_length : float, optional
        Metres; by default the published one for that speed.
    frames : int
        In one cycle, at least 8.
    cycles : int
        Strides; the last frame is the first one's pose again.
    table : {"schwartz-2008", "pinzone-2014"}
    sway, rotation, obliquity : float
        Shares of the pelvis's motion from side to side, about the vertical, and in the view from
        the front, from 0 to 3: 1 is as derived or published, 0 none.

    Returns
    -------
    Walk

    Raises
    ------
    ValueError
        For a puppet, table, speed, step, share, or number of frames or strides that cannot be.

    Examples
    --------
    >>> from rigkit import gait
    >>> walk = gait.walk("Tamsin", cycles=1)
    >>> walk.slide_cm.round(1).tolist()
    [12.4, 12.4]
    >>> walk["L_knee"].shape
    (101, 3)
    """
    plan = make_plan(
        *(puppet, speed, step_length, table), sway=sway, rotation=rotation, obliquity=obliquity
    )
    cycles, frames = _check.count("cycles", cycles), _check.count("frames", frames, least=8)
    count = np.arange(cycles * frames + 1) / frames
    times, legs = count * plan.cycle_time, plan.at(both(count))
    about_y, about_z = (turn[:, 0] for turn in legs.turns)
    pelvis = legs.path(times, legs.height)
    points, pitch, miss = moved(legs, times, pelvis, planted=False)
    return Walk(
        *(plan.puppet, plan.speed, plan.step_length, table),
        *(plan.sway, plan.rotation, plan.obliquity),
        planted=False,
        times=times,
        phase=legs.phase,
        stance=legs.phase < plan.stance_share,
        pelvis=pelvis,
        pelvis_rotation=about_y,
        pelvis_obliquity=about_z,
        points=points,
        foot_pitch=pitch,
        miss=miss,
    )


def moved(
    legs: Published, times: Floats, pelvis: Floats, planted: bool
) -> tuple[Floats, Floats, Floats]:
    """The points of a walk under a pelvis, its feet's pitch, and what its legs miss."""
    feet: Curves | _feet.Planted
    if planted:
        feet = _feet.feet_of(legs.plan).at(legs)
        joints, miss = _feet.solved_legs(legs, pelvis, _feet.goals(feet, times))
    else:
        feet = legs.curves
        joints, miss = in_space(legs, pelvis, feet.limb, legs.lean), np.zeros_like(legs.phase)
    return with_sole(joints, feet.roll), feet.pitch.copy(), miss  # a walk is the caller's own


def plan_of(walk: Walk) -> Plan:
    """The plan a walk was made from."""
    check_walk(walk)
    plan = Plan(
        *(walk.puppet, walk.speed, walk.step_length, walk.table),
        *(walk.sway, walk.rotation, walk.obliquity),
    )
    return _feet.feet_of(plan).plan  # the one that knows its curves already


def check_walk(walk: object) -> None:
    """Refuse what is no Walk."""
    if not isinstance(walk, Walk):
        raise ValueError(f"`walk` must be a Walk; got {walk!r}. gait.walk('Tamsin') makes one.")


def _wrapped(angle: Floats) -> Floats:
    return (angle + np.pi) % (2 * np.pi) - np.pi
