"""Planted feet: legs solved for them, the pelvis they allow, and both on a rig's controls."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from rigkit import _check, controls, foot, rotation
from rigkit._types import ArrayLike, Floats
from rigkit.gait import _feet
from rigkit.gait._feet import REACH
from rigkit.gait._plan import waves
from rigkit.gait.walking import Walk, check_walk, moved, plan_of
from rigkit.leg import LegRig
from rigkit.skeleton import SIDE_TAGS


def plant(walk: Walk, pelvis: ArrayLike | None = None) -> Walk:
    """Return the walk with each foot planted where it comes down, and the legs solved for it.

    In stance a foot rolls without slipping (`foot.roll`): on its heel, flat, on its ball, on its
    toe. Feet keep to two lines as far apart as the hips. In swing a foot's path is the forward
    walk's, corrected so that it leaves and meets the floor with the speed it has there, and lifted
    so that the sole clears the floor by 1.2 cm at a grown leg's size (published for the toe: 1.1
    and 1.3 cm). Each leg is solved in the plane through its root and its foot that holds the
    direction of the walk: knees point straight ahead.

    Invented are the way a foot comes level, the correction and the lift, the landing place, where
    both legs can have their published knees at a strike, and the pelvis's height. In Tamsin's free
    walk the knees in stance are within 6° of the published ones, whose spread is 6°.

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
    ([12.4, 12.4], [0.0, 0.0])
    """
    check_walk(walk)
    pelvis = pelvis_path(walk) if pelvis is None else _check.numbers("pelvis", pelvis, 3)
    if pelvis.shape != walk.pelvis.shape:
        raise ValueError(
            f"`pelvis` must have shape {walk.pelvis.shape}, one point a frame; got {pelvis.shape}."
        )
    legs = plan_of(walk).at(walk.phase)
    points, pitch, miss = moved(legs, walk.times, pelvis, planted=True)
    return replace(walk, planted=True, pelvis=pelvis, points=points, foot_pitch=pitch, miss=miss)


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
    return _feet.goals(_planted(walk), walk.times)


def highest_hips(walk: Walk, reach: float = REACH) -> Floats:
    """Return the highest the middle of the hips can be for each leg to reach its planted foot.

    Pythagoras: the foot's height and the root of (reach × leg)² less the squares of how far it is
    ahead or behind, and aside, of where the leg begins, less what that lies above the middle. Where
    the foot is too far at any height, the root is none. `pelvis_path` stays below both legs'.

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
    return _planted(walk).room(_reach(reach))


def pelvis_path(walk: Walk, reach: float = REACH) -> Floats:
    """Return a pelvis path at even speed that keeps both legs within a share of their full reach.

    Its height is where the legs that stand would have their published knees, or lower where a leg
    would not reach its foot. The path is a smooth wave, a mean and four harmonics of the step,
    fitted to that and lowered until it is above it nowhere; this is our own. It sways as the walk
    does. A step too long for the legs at any height is left with the pelvis low, and with a
    `Walk.miss` after `plant`.

    Parameters
    ----------
    walk : Walk
    reach : float
        Above 0, at most 1. At the usual 0.9985 a knee is bent by 6°, about the least of published
        walks.

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
    plan = plan_of(walk)
    height = waves(_feet.feet_of(plan).height(_reach(reach)), walk.phase[:, 0])
    return plan.at(walk.phase).path(walk.times, height)


def _planted(walk: Walk) -> _feet.Planted:
    """The planted feet of a walk, frame by frame."""
    plan = plan_of(walk)
    return _feet.feet_of(plan).at(plan.at(walk.phase))


def control_values(walk: Walk, rig: LegRig) -> dict[str, dict[str, Floats]]:
    """Return what to give a rig's controls so that its inverse legs walk this walk.

    `rig.pose(control_values(walk, rig))` poses it. The pelvis control carries the pelvis and turns
    it, each foot control shifts its foot and rolls it by minus its pitch, each knee control shifts
    sideways so that its knee points straight ahead below a turned pelvis. On a rig of the walk's
    own puppet every joint comes out where the walk has it; another rig's feet roll over the same
    spots. For forward legs give the angles of a forward walk whose pelvis is told to be still to
    `LegRig.values_from_angles`, the hip's less `PELVIS_TILT`, as the rig's pelvis is not tilted.

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
    turns = {"turn_y": walk.pelvis_rotation, "turn_z": walk.pelvis_obliquity}
    values = {"pelvis": _shifts(walk.pelvis - rest["pelvis"]) | turns}
    aside = _knees_aside(walk, rig, rest)
    axes = {control.name: control.rest[:3, :3] for control in rig.controls}
    for side, tag in enumerate(SIDE_TAGS):
        standing = rest[tag + rig.chain[-1]] * [1, 0, 1]
        roll = {"roll": -walk.foot_pitch[:, side]}
        own = (flat[:, side] - standing) @ axes[tag + "foot"]  # a foot may point outward
        values[tag + "foot"] = _shifts(own) | roll
        values[tag + "knee"] = {"shift_x": aside[:, side]}
    return values


def _knees_aside(walk: Walk, rig: LegRig, rest: dict[str, Floats]) -> Floats:
    """The knee controls' shifts in the pelvis's frame, shape (f, 2), for knees straight ahead.

    Each comes into the plane of its leg, which holds the direction of the walk.
    """
    turned = rotation.matrix_from_euler(
        np.stack([0 * walk.times, walk.pelvis_obliquity, walk.pelvis_rotation], axis=-1),
        controls.TURN_ORDER,
    )
    poles = {control.name: control.rest[:3, 3] for control in rig.controls}
    end = len(walk.puppet.bones)
    limb = walk.points[:, :, end] - walk.points[:, :, end - 2]
    across = np.stack([limb[..., 1], -limb[..., 0], 0 * limb[..., 0]], axis=-1)
    shifts = []
    for side, tag in enumerate(SIDE_TAGS):
        root = rest[tag + rig.chain[-3]]
        square = np.sum(across[:, side, None] @ turned, axis=-2)
        shifts.append(-(square @ (poles[tag + "knee"] - root)) / square[:, 0])
    return np.stack(shifts, axis=-1)


def _shifts(vectors: Floats) -> dict[str, Floats]:
    return {f"shift_{axis}": vectors[..., i] for i, axis in enumerate("xyz")}


def _reach(reach: float) -> float:
    reach = _check.one_positive("reach", reach, "A share of full reach, such as 0.995.")
    if reach > 1:
        raise ValueError(
            f"`reach` must be a share of full reach, at most 1; got {reach:g}. 0.995 is one."
        )
    return reach
