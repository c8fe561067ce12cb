"""Stages that scenes share: one of two views side by side, and a puppet's leg on it."""

from typing import Any, SupportsFloat

import numpy as np

from rigkit import frames, two_bone
from rigkit._types import ArrayLike, Floats, NamedFrames
from rigkit.puppets import Puppet
from rigkit.scenes.words import SHOWN
from rigkit.skeleton import Skeleton
from rigkit.stage import Stage

LEG = ("hip", "knee", "ankle")
HALF = 430  # px: the width of one of two pictures side by side


def size(puppet: Puppet) -> float:
    """A puppet's size, 1 for hips 0.9 m above the floor."""
    return puppet.hip_height / 0.9


def half_stage(
    title: str, low: ArrayLike, high: ArrayLike, scale: float = 1.0, view: str = "side", **more: Any
) -> Stage:
    """One of two views side by side.

    Parameters
    ----------
    title : str
    low, high : array_like, shape (2,)
        The view's corners, in units of `scale`.
    scale : float
        Metres.
    view : str
    **more
        Handed on to `Stage`.

    Returns
    -------
    Stage
    """
    corners = np.asarray(low) * scale, np.asarray(high) * scale
    return Stage(view, *corners, title, **{"width": HALF} | more)


def with_rest(skeleton: Skeleton, world: NamedFrames) -> Skeleton:
    """The skeleton with some joints at other world frames at rest, all others left in place."""
    frames_of = dict(zip(skeleton.names, skeleton.rest_world, strict=True)) | dict(world)
    return Skeleton.from_world(frames_of, {name: skeleton.parent(name) for name in skeleton.names})


def leg_points(puppet: Puppet, skeleton: Skeleton, world: Floats, tag: str = "L_") -> Floats:
    """Places of a posed leg's hip, knee, ankle, heel, ball and toe.

    Parameters
    ----------
    puppet : Puppet
    skeleton : Skeleton
        At rest the foot stands level and points ahead.
    world : array_like, shape (..., joints, 4, 4)
    tag : {"L_", "R_"}

    Returns
    -------
    ndarray, shape (..., 6, 3)
    """
    points = skeleton.origins(world, [tag + name for name in (*LEG, "ball", "toe")])
    ankle = skeleton.index(tag + "ankle")
    rest = skeleton.rest_world[ankle]
    heel = rest[:3, 3] - [0.0, puppet.ankle_height, puppet.heel_length]
    carried = frames.apply(world[..., ankle, :, :] @ frames.invert(rest), heel)
    return np.insert(points, 3, carried, axis=-2)


def draw_foot(
    stage: Stage, points: Floats, kind: str = "forward", side: str | None = None
) -> Stage:
    """Draw a foot: ankle, heel, ball and toe; without a ball it is stiff."""
    ankle, heel, *ball, toe = points
    return stage.foot(ankle, heel, toe, ball[0] if ball else None, kind, side)


def draw_leg(
    stage: Stage, points: Floats, kind: str = "forward", side: str | None = None, **chain: Any
) -> Stage:
    """Draw a leg on its foot.

    Parameters
    ----------
    stage : Stage
    points : ndarray, shape (6, 3)
        As of `leg_points`, or as of `stiff`.
    kind, side
        As of `Stage.chain`.
    **chain
        Handed on to `Stage.chain`.

    Returns
    -------
    Stage
    """
    return draw_foot(stage, points[2:], kind, side).chain(points[:3], kind, side, **chain)


def stiff(points: Floats) -> Floats:
    """The `leg_points` of a foot that does not bend at its ball; shape (..., 5, 3)."""
    return np.delete(points, 4, axis=-2)


def planar_leg(
    puppet: Puppet, hip: ArrayLike, ankle: ArrayLike
) -> tuple[two_bone.PlanarLeg, Floats]:
    """A puppet's leg in the side view between two points: its angles, and hip, knee and ankle.

    Parameters
    ----------
    puppet : Puppet
    hip, ankle : array_like, shape (2,)
        Forward and up, metres; where the leg is too short, it ends before `ankle`.

    Returns
    -------
    leg : two_bone.PlanarLeg
    points : ndarray, shape (3, 2)
    """
    hip = np.asarray(hip)
    leg = two_bone.solve_planar(np.asarray(ankle) - hip, puppet.thigh, puppet.shank)
    return leg, hip + two_bone.planar_points(leg.hip, leg.knee, puppet.thigh, puppet.shank)


def measure_cm(
    stage: Stage, start: ArrayLike, end: ArrayLike, cm: SupportsFloat, **style: Any
) -> Stage:
    """Measure how far apart two points are, unless that rounds to nothing.

    Parameters
    ----------
    stage : Stage
    start, end : array_like, shape (2,) or (3,)
    cm : float
        How far, in centimetres; in a flat view it may be more than what is seen.
    **style
        Handed on to `Stage.measure`.

    Returns
    -------
    Stage
    """
    far = float(cm)
    return stage.measure(start, end, f"{far:.1f} cm", **style) if far >= SHOWN else stage


def measure_or_zero(
    stage: Stage,
    start: ArrayLike,
    end: ArrayLike,
    cm: SupportsFloat,
    beside: str | None = None,
    **style: Any,
) -> Stage:
    """Measure as `measure_cm`, or write "0.0 cm" on the side `beside` of `end`."""
    if float(cm) < SHOWN:
        return stage.note(end, "0.0 cm", "goal", beside)
    return measure_cm(stage, start, end, cm, **style)
