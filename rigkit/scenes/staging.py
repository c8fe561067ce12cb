"""Stages that scenes share: one of two views side by side, and a puppet's leg on it."""

from functools import cache
from typing import Any, SupportsFloat

import numpy as np

from rigkit import foot, two_bone
from rigkit._types import ArrayLike, Floats, NamedFrames
from rigkit.panels import Grip
from rigkit.puppets import Puppet
from rigkit.scenes.words import SHOWN
from rigkit.skeleton import Skeleton
from rigkit.stage import Stage

LEG = ("hip", "knee", "ankle")
# times the hips' height of `size`: where a view of legs ends that may be no taller, so that they
# are not drawn smaller
WAIST = 1.07
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
    heel = rest[:3, :3].T @ [0.0, -puppet.ankle_height, -puppet.heel_length]  # from the ankle
    carried = world[..., ankle, :3, :3] @ heel + world[..., ankle, :3, 3]
    return np.insert(points, 3, carried, axis=-2)


sole_of = cache(foot.of_puppet)  # asked for many times a frame


def draw_foot(
    stage: Stage, points: Floats, kind: str = "forward", side: str | None = None
) -> Stage:
    """Draw a foot: ankle, heel, ball and toe; without a ball it is stiff."""
    ankle, heel, *ball, toe = points
    return stage.foot(ankle, heel, toe, ball[0] if ball else None, kind, side)


def draw_leg(
    stage: Stage,
    points: Floats,
    kind: str = "forward",
    side: str | None = None,
    joints: int = 3,
    **chain: Any,
) -> Stage:
    """Draw a leg on its foot.

    Parameters
    ----------
    stage : Stage
    points : ndarray, shape (6, 3)
        As of `leg_points`, or as of `stiff`.
    kind, side
        As of `Stage.chain`.
    joints : int
        Of its chain, the last one the foot's; four for the heron's.
    **chain
        Handed on to `Stage.chain`.

    Returns
    -------
    Stage
    """
    draw_foot(stage, points[joints - 1 :], kind, side)
    return stage.chain(points[:joints], kind, side, **chain)


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


def side_points(puppet: Puppet, hip: ArrayLike, turns_deg: ArrayLike) -> Floats:
    """Hip, knee, ankle and toe of a leg in the side view whose joints were turned.

    At rest it is straight and stands; a grip's place is found many times, and this is quick.

    Parameters
    ----------
    puppet : Puppet
    hip : array_like, shape (2,)
        Forward and up, metres.
    turns_deg : array_like, shape (3,)
        Hip, thigh forward; knee, bent; ankle, toes up.

    Returns
    -------
    ndarray, shape (4, 2)
    """
    thigh, bent, toes_up = np.radians(np.asarray(turns_deg))
    points = np.asarray(hip) + two_bone.planar_points(thigh, bent, puppet.thigh, puppet.shank)
    sole, tilt = sole_of(puppet), thigh - bent + toes_up
    forward, up = np.subtract(sole.toe, sole.ankle)
    toe = forward * np.array([np.cos(tilt), np.sin(tilt)]) + up * np.array(
        [-np.sin(tilt), np.cos(tilt)]
    )
    return np.concatenate([points, [points[2] + toe]])


def at_frame(points: Floats, frame: float) -> Floats:
    """A place in a motion, on the line between its frames where `frame` is no whole number."""
    first = min(int(frame), len(points) - 2)
    share = frame - first
    return (1 - share) * points[first] + share * points[first + 1]


def moment(key: str, height: float, name: str = "Moment") -> Grip:
    """A grip on the marker of a chart that stands right of a stage.

    Parameters
    ----------
    key : str
        Of the slider along the chart's x.
    height : float
        Where on the marker's line it is, in the units of the chart's y.
    name : str
    """
    return Grip(name, lambda **values: (values[key], height), (key,), (1,))


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
