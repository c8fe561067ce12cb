"""The forward walk: published angles on a puppet's legs, its pelvis moved forward evenly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigkit import _check, _format, foot
from rigkit._types import Bools, Floats
from rigkit.gait._plan import Plan, in_space, limb_length, make_plan, sole
from rigkit.gait.contact import foot_slide_cm
from rigkit.gait.curves import PELVIS_TILT, segment_angles
from rigkit.puppets import Puppet
from rigkit.skeleton import SIDE_TAGS, side_of


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
        """Hip flexion from the pelvis, tipped forward by `PELVIS_TILT`; radians, shape (f, 2)."""
        return self._headings[..., 0] + PELVIS_TILT

    @property
    def knee(self) -> Floats:
        """Knee flexion, radians, shape (f, 2)."""
        return _wrapped(self._headings[..., 0] - self._headings[..., 1])

    @property
    def ankle(self) -> Floats:
        """Dorsiflexion, radians, shape (f, 2).

        Of the foot; the heron's is that of its metatarsal from the line of its shank.
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

    @property
    def slide_cm(self) -> Floats:
        """The way each foot slides along the floor in one stride, cm, shape (2,)."""
        strides = self.speed * self.times[-1] / (2 * self.step_length)
        slides = foot_slide_cm(self.points[:, :, -len(foot.PIVOTS) :], self.stance)
        return slides.sum(axis=0) / strides

    @property
    def _headings(self) -> Floats:
        return segment_angles(self.points[:, :, : len(self.puppet.bones) + 1])


def walk(
    puppet: Puppet | str,
    speed: float | None = None,
    step_length: float | None = None,
    frames: int = 100,
    cycles: int = 2,
    table: str = "schwartz-2008",
) -> Walk:
    """Return a forward walk: published angles on a puppet's legs, the pelvis moved forward evenly.

    The pelvis rides at the height that keeps the lowest foot on the floor. The angles know nothing
    of the puppet's bones or of the speed asked for, so the feet slide: `Walk.slide_cm` says how
    far. A leg that bends backward swings as the forward one does, its middle joint on the other
    side of the line from its root to its end; a third bone (the heron's thigh) is carried at
    `CARRIED_THIGH`. Both are invented.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
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

    Raises
    ------
    ValueError
        For a puppet, table, speed, step, or number of frames or strides that cannot be.

    Examples
    --------
    >>> from rigkit import gait
    >>> walk = gait.walk("Tamsin", cycles=1)
    >>> walk.slide_cm.round(1).tolist()
    [13.0, 13.0]
    >>> walk["L_knee"].shape
    (101, 3)
    """
    plan = make_plan(puppet, speed, step_length, table)
    puppet = plan.puppet
    cycles, frames = _check.count("cycles", cycles), _check.count("frames", frames, least=8)
    count = np.arange(cycles * frames + 1) / frames
    phase = (count[:, None] + [0.0, 0.5]) % 1.0
    times = count * plan.cycle_time
    pelvis = np.stack([0 * times, plan.height(phase[:, 0]), plan.speed * times], axis=-1)
    leg, pitch = plan.leg(phase), plan.pitch(phase)
    flat = np.concatenate([leg, sole(puppet, leg[..., -1, :], pitch)], axis=-2)
    return Walk(
        *(puppet, plan.speed, plan.step_length, table),
        planted=False,
        times=times,
        phase=phase,
        stance=phase < plan.stance_share,
        pelvis=pelvis,
        points=in_space(flat, pelvis, puppet),
        foot_pitch=pitch,
        miss=np.zeros_like(phase),
    )


def plan_of(walk: Walk) -> Plan:
    """The plan a walk was made from."""
    check_walk(walk)
    return Plan(walk.puppet, walk.speed, walk.step_length, walk.table)


def check_walk(walk: object) -> None:
    """Refuse what is no Walk."""
    if not isinstance(walk, Walk):
        raise ValueError(f"`walk` must be a Walk; got {walk!r}. gait.walk('Tamsin') makes one.")


def _wrapped(angle: Floats) -> Floats:
    return (angle + np.pi) % (2 * np.pi) - np.pi
