"""Skeletons, rigs, poses and controls."""

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from rigkit import _format, controls, leg, stage
from rigkit import skeleton as sk
from rigkit.display.drawing import HALF, few, one_of, place, tree
from rigkit.display.formats import both, name, optional, turn, unit, yes
from rigkit.display.showing import Piece, show
from rigkit.display.tables import Row, fields, folded, table, values
from rigkit.stage import Picture


@show.register
def show_joint(thing: sk.Joint) -> Iterator[Piece]:
    said = fields(thing, name=name, parent=optional(name, "none: a root"), rest=_rest)
    yield values(thing, said)


def _rest(frame: Any) -> str:
    frame = np.asarray(frame)
    return f"{_format.point(frame[:3, 3])}; turn {turn(frame[:3, :3])}"


@show.register
def show_skeleton(thing: sk.Skeleton) -> Iterator[Piece]:
    points = thing.rest_world[:, :3, 3]
    yield tree(points, thing.parents, thing.names, "At rest", repr(thing))
    rows = [
        (name(joint), name(thing.parent(joint) or "none"), _format.point(point))
        for joint, point in zip(thing.names, points, strict=True)
    ]
    places = "Places in the world: left, up, forward."
    joints = table(("Joint", "parent", "place at rest"), rows, places)
    yield folded(_format.count(len(thing), "joint"), joints)


@show.register
def show_leg_rig(thing: leg.LegRig) -> Iterator[Piece]:
    outlines = [
        (place(control.rest, control.outline), control.name)
        for control in thing.controls
        if len(control.outline) > 2 and not control.name.endswith("_turn")
    ]
    rig, title = thing.skeleton, "The rig at rest, and what poses it by its feet"
    points = rig.rest_world[:, :3, 3]
    yield tree(points, rig.parents, rig.names, title, repr(thing), outlines)
    rows = [(name(each.name), _leaders(each), _free(each)) for each in thing.controls]
    said = table(("Control", "hangs from", "free channels"), rows)
    yield folded(_format.count(len(thing.controls), "control"), said)


@show.register
def show_leg_pose(thing: leg.LegPose) -> Iterator[Piece]:
    world = np.asarray(thing.world, dtype=float)
    poses = few(world[..., :3, 3], 2)
    if len(poses) and len(thing.names) == poses.shape[1]:
        bends = [_format.angle(angle) for angle in few(thing.flexion, 1)[0]]
        title = one_of(len(poses), f"Bent {bends[0]} left, {bends[1]} right")
        parents = _leg_parents(thing.names)
        yield tree(poses[0], parents, thing.names, title, repr(thing), ghosts=poses[1:])
    pelvis = Row("pelvis", "where it is: left, up, forward", world[..., 0, :3, 3], _format.point, 1)
    said = fields(thing, flexion=both(_format.angle), miss=both(_format.small), guided=both(yes))
    yield values(thing, [pelvis, *said], "Left, then right.")


def _leg_parents(names: Sequence[str]) -> list[int]:
    """The parents of a leg rig's joints: on a side the one before, the first below the pelvis."""
    last: dict[str | None, int] = {}
    parents = []
    for i, joint in enumerate(names):
        side = sk.side_of(joint)
        parents.append(last.get(side, 0) if side else -1)
        last[side] = i
    return parents


@show.register
def show_leg_angles(thing: leg.LegAngles) -> Iterator[Piece]:
    said = fields(
        thing, hip=both(_format.angles), knee=both(_format.angle), ankle=both(_format.angles)
    )
    yield values(thing, said, "Left, then right; a straight standing leg reads zero.")


@show.register
def show_follow(thing: controls.Follow) -> Iterator[Piece]:
    batch = _format.batch(thing.weight)
    said = fields(
        thing,
        leader=name,
        what=str,
        weight=unit("", 2),
        offset=optional(_format.frame, "as at rest"),
    )
    yield values(thing, said, f"A batch of shape {batch}." if batch else "")


@show.register
def show_control(thing: controls.Control) -> Iterator[Piece]:
    if len(np.asarray(thing.outline)) > 2:
        yield _outlined(thing)
    carried = "follows" if thing.parent is None else "parent"
    said = fields(
        thing,
        rest=_format.frame,
        pivot=_format.point,
        **{carried: lambda _: _leaders(thing)},
        locked=lambda locked: ", ".join(map(_channel, locked)) or "none",
        limits=_limits,
    )
    yield values(name(thing.name), said)


def _outlined(control: controls.Control) -> Picture:
    """A control's outline, seen where it is broadest, and its pivot."""
    rest, outline = np.asarray(control.rest), np.asarray(control.outline)
    points = place(rest, outline)
    pivot = place(rest, np.reshape(control.pivot, (-1, 3))[:1])
    flat = int(np.argmin(np.ptp(outline @ rest[:3, :3].T, axis=0)))
    view = ("side", "top", "front")[flat]
    title, room = f"{name(control.name)}, {view} view", np.concatenate([points, pivot])
    picture = stage.framed(
        view, room, title, 0.2, HALF, least=0.1, tall=0.8, desc=repr(control)
    ).control(points)
    return picture.dots(pivot, "miss").note(pivot[0], "pivot")


def _leaders(control: controls.Control) -> str:
    return ", ".join(name(each.leader) for each in control.leaders) or "nothing"


def _free(control: controls.Control) -> str:
    free = [_channel(each) for each in controls.CHANNELS if each not in control.locked]
    return ", ".join(free) if len(free) < len(controls.CHANNELS) else "all six"


def _channel(channel: str) -> str:
    return channel.replace("_", " ")


def _limits(limits: Mapping[str, Any]) -> str:
    said = (
        f"{_channel(channel)} "
        + (_format.angle if channel.startswith("turn") else _format.length)(bounds)
        for channel, bounds in limits.items()
    )
    return "; ".join(said) or "none"
