"""A walk measured: where a leg pops near full extension, and how far it leaves human ranges."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigkit import _check, _format, body
from rigkit.gait.curves import JOINTS
from rigkit.gait.walking import Walk, check_walk
from rigkit.skeleton import SIDE_TAGS


@dataclass(frozen=True)
class Pop(_format.NotebookDisplay):
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
        return _format.line(
            self,
            f"{ {'L_': 'left', 'R_': 'right'}.get(self.side, self.side) } leg",
            f"frame {self.frame}",
            f"{_format.amount(self.speed_deg, '°', 0)} a second",
        )


def extension_pops(walk: Walk, near: float = 0.99, fastest_deg: float = 600.0) -> tuple[Pop, ...]:
    """Return the moments when a leg near full reach bends or straightens faster than a leg should.

    A pop is a run of frame steps in each of which the leg is, at one end at least, stretched to
    `near` or more, and its bend changes by more than `fastest_deg`. The published knees turn at up
    to 321 degrees a second in Tamsin's free walk, so more than 600 near full reach is the mark of a
    goal at the edge of reach. This measure and its limits are our own.

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

    Raises
    ------
    ValueError
        If `walk` is no Walk, or a limit not above zero.

    Examples
    --------
    >>> from rigkit import gait
    >>> gait.extension_pops(gait.plant(gait.walk("Tamsin", frames=40)))
    ()
    """
    check_walk(walk)
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
        fastest = float(speed[first : step + 1, side].max())
        found.append(Pop(SIDE_TAGS[side], int(step) + 1, fastest))
    return tuple(found)


def outside_range_deg(
    walk: Walk, table: str = "aaos", sex: str | None = None, age: float | None = None
) -> dict[str, float]:
    """Return how far a walk's angles leave the average human ranges of motion.

    Parameters
    ----------
    walk : Walk
        Of a puppet with two bones a leg.
    table, sex, age
        As in `body.joint_range`, where the tables' sources stand.

    Returns
    -------
    dict of joint name to float
        The largest excess in degrees, 0 where the joint stays inside, negative beyond the low end.

    Raises
    ------
    ValueError
        If `walk` is no Walk, or of a puppet with three bones a leg.

    Examples
    --------
    >>> from rigkit import gait
    >>> gait.outside_range_deg(gait.walk("Pip", cycles=1))
    {'hip': 0.0, 'knee': 0.0, 'ankle': 0.0}
    """
    check_walk(walk)
    if len(walk.puppet.bones) != 2:
        raise ValueError(
            f"`walk` must be of a puppet with two bones a leg; got that of {walk.puppet.name!r}. "
            "Human ranges say nothing about its joints."
        )
    excess = {}
    for joint in JOINTS:
        outside = body.joint_range(joint, table, sex, age).outside(getattr(walk, joint)).ravel()
        excess[joint] = float(np.rad2deg(outside[np.argmax(np.abs(outside))]))
    return excess
