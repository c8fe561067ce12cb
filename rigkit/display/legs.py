"""Legs of two bones, and chains solved step by step."""

from collections.abc import Iterator
from typing import Any

import numpy as np

from rigkit import _format, bend, rotation, solvers, stage, two_bone
from rigkit._types import Floats
from rigkit.display.drawing import HALF, WIDTH, few, floor, in_space, one_of, with_floor
from rigkit.display.formats import whole, yes
from rigkit.display.showing import Piece, show
from rigkit.display.tables import FEW, Row, fields, values
from rigkit.stage import Stage


@show.register
def show_planar_leg(thing: two_bone.PlanarLeg) -> Iterator[Piece]:
    angles = few(np.stack(np.broadcast_arrays(thing.hip, thing.knee), axis=-1), 1)
    if len(angles):
        points = two_bone.planar_points(angles[:, 0], angles[:, 1], 1.0, 1.0)
        at_hip, at_knee = map(_format.angle, angles[0])
        picture = _bent(points, one_of(len(angles), f"Hip {at_hip}, knee {at_knee}"), repr(thing))
        hip, knee, _ = points[0]
        picture.path([hip, hip - [0.0, 0.5]], "soft")
        yield picture.arc(hip, hip - [0.0, 1.0], knee, at_hip, "plain", 60)
    yield values(
        thing,
        fields(thing, hip=_format.angle, knee=_format.angle, reached=yes, miss=_format.small),
        "The angles do not say how long the bones are: they are drawn alike.",
    )


@show.register
def show_bend(thing: bend.Bend) -> Iterator[Piece]:
    angles = few(thing.angle, 0)
    if len(angles):
        points = two_bone.planar_points(angles / 2, angles, 1.0, 1.0)
        yield _bent(points, one_of(len(angles), f"Bent by {_format.angle(angles[0])}"), repr(thing))
    yield values(
        thing,
        fields(thing, angle=_format.angle, cost=_format.share),
        "Drawn with bones of one length.",
    )


def _bent(points: Floats, title: str, desc: str) -> Stage:
    """Legs from the side, shape (k, 3, 2), the first with its knee's bend, the others dotted."""
    space = in_space(points).reshape(-1, 3)
    picture = stage.framed("side", space, title, 0.15, HALF, least=2.0, tall=0.9, desc=desc)
    for other in points[1:]:
        picture.ghost(other)
    hip, knee, ankle = points[0]
    picture.path([knee, knee + 0.5 * (knee - hip)], "soft")
    picture.chain(points[0], "inverse", names=("hip", "", "ankle"), thickness=18)
    angle = rotation.angle_between(in_space(knee - hip), in_space(ankle - knee))
    return picture.arc(knee, knee + (knee - hip), ankle, _format.angle(angle), "plain", 60)


@show.register
def show_two_bone_pose(thing: two_bone.TwoBonePose) -> Iterator[Piece]:
    points = [np.asarray(part, float) for part in (thing.knee, thing.ankle, thing.hinge)]
    together = np.stack([part.reshape(-1, 3) for part in points], axis=1)
    flexion = np.ravel(thing.flexion)
    shown = np.flatnonzero(np.isfinite(together).all(axis=(1, 2)) & np.isfinite(flexion))[:FEW]
    if len(shown):
        miss = float(np.ravel(thing.miss)[shown[0]])
        yield _pose_of_two_bones(thing, together[shown], flexion[shown], miss)
    yield values(
        thing,
        fields(
            thing,
            knee=_format.point,
            ankle=_format.point,
            flexion=_format.angle,
            hinge=_format.direction,
            reached=yes,
            miss=_format.small,
            guided=yes,
            stretch=_format.amount,
        ),
    )


def _pose_of_two_bones(thing: object, together: Floats, flexion: Floats, miss: float) -> Stage:
    """Shanks of solved legs, and of the first the way to its hip.

    A pose does not say how long the thigh is.
    """
    knee, ankle, hinge = np.moveaxis(together, 1, 0)
    thigh = ankle[0] - knee[0]
    if np.any(hinge[0]):
        thigh = rotation.matrix_about(hinge[0], -flexion[0]) @ thigh
    start, beyond = knee[0] - 0.8 * thigh, knee[0] + 0.5 * thigh
    points = np.concatenate([knee, ankle, [start, beyond]])
    on_goal = miss <= two_bone.REACHED
    said = "ankle on its goal" if on_goal else f"ankle {_format.small(miss)} off its goal"
    title = one_of(len(knee), f"Knee bent {_format.angle(flexion[0])}, {said}")
    view = ("side", "top", "front")[int(np.argmax(np.abs(hinge[0])))]
    framed = stage.framed(view, with_floor(points), title, 0.12, WIDTH, least=0.5, desc=repr(thing))
    picture = floor(framed, points)
    for a, b in zip(knee[1:], ankle[1:], strict=True):
        picture.ghost([a, b])
    picture.ghost([start, knee[0]]).path([knee[0], beyond], "soft")
    picture.note(start, "toward the hip", "soft")
    picture.chain([knee[0], ankle[0]], "inverse", names=("knee", "ankle"), thickness=20)
    return picture.arc(knee[0], knee[0] + thigh, ankle[0], _format.angle(flexion[0]), "plain", 56)


@show.register
def show_solution(thing: solvers.Solution) -> Iterator[Piece]:
    points = few(thing.points, 2)
    if len(points):
        yield _solved(thing, points)
    end = np.asarray(thing.points)[..., -1, :]
    said = fields(thing, reached=yes, miss=_format.small, steps=whole, stalled=yes)
    yield values(
        thing, [Row("end", "where the chain's last point is", end, _format.point, 1), *said]
    )


def _solved(thing: solvers.Solution, points: Floats) -> Stage:
    """Chains, shape (k, n + 1, d), the others than the first dotted, and the way of its end."""
    reached, miss, steps = (np.ravel(part)[0] for part in (thing.reached, thing.miss, thing.steps))
    said = "its end on its goal" if reached else f"its end {_format.small(miss)} off its goal"
    title = one_of(len(points), f"After {_format.count(int(steps), 'step')}, {said}")
    trace = _first_of(thing.trace, points.shape[1:])
    way = trace[:, -1]
    seen = np.concatenate([points.reshape(-1, points.shape[-1]), way])
    space = seen if seen.shape[-1] == 3 else in_space(seen)
    picture = stage.framed("side", space, title, 0.15, WIDTH, least=0.3, desc=repr(thing))
    for other in (*points[1:], *trace[:1]):
        picture.ghost(other)
    picture.chain(points[0], "inverse", thickness=18)
    return picture.path(way, "goal").note(way[0], "start", "soft") if len(way) else picture


def _first_of(trace: Any, shape: tuple[int, ...]) -> Floats:
    """The first chain after each step, shape (steps + 1, n + 1, d); none without a trace."""
    if trace is None:
        return np.zeros((0, *shape))
    return np.asarray(trace, dtype=float).reshape(len(trace), -1, *shape)[:, 0]
