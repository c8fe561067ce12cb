"""Planted feet: legs solved for them, the pelvis they allow, and both on a rig's controls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rigkit import _check, foot, two_bone
from rigkit._types import ArrayLike, Floats
from rigkit.gait._plan import in_space, sole
from rigkit.gait.walking import Walk, check_walk, plan_of
from rigkit.leg import LegRig, _from_hip, _limb
from rigkit.skeleton import SIDE_TAGS


def plant(walk: Walk, pelvis: ArrayLike | None = None) -> Walk:
    """Return the walk with each foot planted where it comes down, and the legs solved for it.

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

    Raises
    ------
    ValueError
        If `walk` is no Walk, or `pelvis` not one point a frame.

    Examples
    --------
    >>> from rigkit import gait
    >>> walk = gait.walk("Tamsin", cycles=1)
    >>> walk.slide_cm.round(1).tolist(), gait.plant(walk).slide_cm.round(3).tolist()
    ([13.0, 13.0], [0.0, 0.0])
    """
    check_walk(walk)
    pelvis = pelvis_path(walk) if pelvis is None else _check.numbers("pelvis", pelvis, 3)
    if pelvis.shape != walk.pelvis.shape:
        raise ValueError(
            f"`pelvis` must have shape {walk.pelvis.shape}, one point a frame; got {pelvis.shape}."
        )
    puppet = walk.puppet
    carried, upper, lower = _limb(puppet)
    goals = foot_goals(walk)[..., [2, 1]] - pelvis[:, None, [2, 1]]  # seen from the hips, side view
    solved = two_bone.solve_planar(goals - carried, upper, lower, knee_direction=puppet.knee_side)
    leg = _from_hip(puppet, two_bone.planar_points(solved.hip, solved.knee, upper, lower))
    points = np.concatenate([leg, sole(puppet, leg[..., -1, :], walk.foot_pitch)], axis=-2)
    return replace(
        walk, planted=True, pelvis=pelvis, points=in_space(points, pelvis, puppet), miss=solved.miss
    )


def foot_goals(walk: Walk) -> Floats:
    """Return where the legs' ends (ankles; the heron's toe joints) must be for planted feet.

    Parameters
    ----------
    walk : Walk

    Returns
    -------
    ndarray, shape (f, 2, 3)
        Metres.

    Raises
    ------
    ValueError
        If `walk` is no Walk.
    """
    plan = plan_of(walk)
    ends = plan.planted_end(walk.phase)
    pelvis = np.stack([0 * walk.times, 0 * walk.times, plan.speed * walk.times], axis=-1)
    return in_space(ends[..., None, :], pelvis, walk.puppet)[..., 0, :]


def highest_hips(walk: Walk, reach: float = 0.995) -> Floats:
    """Return the highest hips from which each leg reaches its planted foot.

    Pythagoras: the foot's height and the root of (reach × leg)² less (how far it is ahead or
    behind)². Where that is too far at any height, the foot's own height. `pelvis_path` stays below
    both legs'.

    Parameters
    ----------
    walk : Walk
    reach : float
        Share of full reach, above 0, at most 1.

    Returns
    -------
    ndarray, shape (f, 2)
        Metres above the floor.

    Raises
    ------
    ValueError
        If `walk` is no Walk, or `reach` not a share above 0 and at most 1.
    """
    return plan_of(walk).room(walk.phase, _reach(reach))


def pelvis_path(walk: Walk, reach: float = 0.995) -> Floats:
    """Return a pelvis path at even speed that keeps both legs within a share of their full reach.

    In every phase there is a highest place for the hips: the forward walk's, or lower where a leg
    would not reach its foot's goal. The path is a smooth wave, a mean and two harmonics of the
    step, fitted to that and lowered until it is nowhere above; this fit is our own. A step too long
    for the legs at any height is left with the pelvis low, and with a `Walk.miss` after `plant`.

    Parameters
    ----------
    walk : Walk
    reach : float
        Above 0, at most 1.

    Returns
    -------
    ndarray, shape (f, 3)
        The middle of the hip centres, metres.

    Raises
    ------
    ValueError
        If `walk` is no Walk, or `reach` not a share above 0 and at most 1.

    Examples
    --------
    >>> from rigkit import gait
    >>> path = gait.pelvis_path(gait.walk("Tamsin", frames=40))
    >>> round(float(path[:, 1].max() - path[:, 1].min()), 3)
    0.033
    """
    plan, reach = plan_of(walk), _reach(reach)
    grid = np.linspace(0, 0.5, 200, endpoint=False)  # a step, after which the sides change
    phase = walk.phase[:, 0]
    room = plan.highest(grid, reach)
    waves = np.fft.rfft(room)[:3] / len(room) * [1, 2, 2]

    def above(phase: Floats, room: Floats) -> Floats:
        turns = np.exp(4j * np.pi * phase[:, None] * np.arange(3))
        return (turns @ waves).real - room

    lower = max(above(grid, room).max(), above(phase, plan.highest(phase, reach)).max())
    height = above(phase, lower)
    return np.stack([0 * height, height, walk.speed * walk.times], axis=-1)


def control_values(walk: Walk, rig: LegRig) -> dict[str, dict[str, Floats]]:
    """Return what to give a rig's controls so that its inverse legs walk this walk.

    `rig.pose(control_values(walk, rig))` poses it. The pelvis control carries the pelvis, each foot
    control shifts its foot and rolls it by minus its pitch. On a rig of the walk's own puppet every
    joint comes out where the walk has it; another rig's feet roll over the same spots. For forward
    legs give a forward walk's angles to `LegRig.values_from_angles`, the hip's less `PELVIS_TILT`,
    as the rig's pelvis stays level.

    Parameters
    ----------
    walk : Walk
    rig : LegRig

    Returns
    -------
    dict of str to dict of str to ndarray, shape (f,)
        By control and channel; metres and radians.

    Raises
    ------
    ValueError
        If `walk` is no Walk or `rig` no LegRig.

    Examples
    --------
    >>> from rigkit import gait
    >>> from rigkit.leg import LegRig
    >>> walk, rig = gait.walk("Tamsin", frames=10), LegRig.from_puppet("Tamsin")
    >>> pose = rig.pose(gait.control_values(walk, rig))
    >>> bool(abs(pose["L_ankle"][:, :3, 3] - walk["L_ankle"]).max() < 1e-9)
    True
    """
    check_walk(walk)
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
        roll = {"roll": -walk.foot_pitch[:, side]}
        values[tag + "foot"] = _shifts(flat[:, side] - standing) | roll
    return values


def _shifts(vectors: Floats) -> dict[str, Floats]:
    return {f"shift_{axis}": vectors[..., i] for i, axis in enumerate("xyz")}


def _reach(reach: float) -> float:
    reach = _check.one_positive("reach", reach, "A share of full reach, such as 0.995.")
    if reach > 1:
        raise ValueError(
            f"`reach` must be a share of full reach, at most 1; got {reach:g}. 0.995 is one."
        )
    return reach
