"""Steps 01 and 06 of the bench: the joints in the given skin, and the bend they stand with.

"Knee" is here what bends: the heron's ankle.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from functools import cache, partial
from typing import Any

import numpy as np

from rigkit import bend, mesh, two_bone
from rigkit._types import Floats
from rigkit.bench import _views as views
from rigkit.bench import build, measure
from rigkit.bench.chain import chain_of
from rigkit.bench.state import State
from rigkit.panels import Choice, Grip, Panel
from rigkit.puppets import Puppet
from rigkit.scenes.words import SHOWN
from rigkit.stage import Row, Stage, row

CUT = 172  # px: the width of the cut across
AHEAD = 0.06  # m of room before the toes, where they are at first
CLOSE = 0.075  # m around the knee in the close view of its bend
ASIDE = 0.12  # m before and behind the skin, where the knee goes
LOWERED = 0.10  # m by which the pelvis goes down to see which way the knee goes


# 01: the joints in the skin


def joints_panel(state: State) -> Panel:
    """Joints to bring into the skin, seen from the front, the side, and in a cut across."""
    joints = state.chain.joints
    room = 1000 * views.box(state.puppet) * [[0, 1, 1], [1, 1, 1]]  # left of the midplane
    sliders = [
        slider
        for joint in joints
        for slider in views.point_sliders(joint, joint.capitalize(), state.joints_mm[joint], room)
    ]
    return Panel(
        "Bring the left leg's joints into place",
        [Choice("joint", "Joint", joints, "hip"), *sliders],
        partial(_joints, state),
        size=600,
        grips=[
            *(
                _joint_grip(joint, "", _seen_in(state, joint), _ringed(state, joint))
                for joint in joints
            ),
            *_in_front(state),
            *(_joint_grip(joint, " in the cut", (2,), (joint,)) for joint in joints),
        ],
    )


def joints_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the joints where the sliders say."""
    places = {joint: views.point_of(joint, values) for joint in state.chain.joints}
    return state.changed(joints_mm=places)


def _seen_in(state: State, joint: str) -> tuple[int, ...]:
    """The views, front and side, in which a joint can be taken.

    From the front ball and toe lie behind each other; from the side a joint whose limb is cut above
    it, the heron's foot, lies close to its ball.
    """
    if joint not in state.chain.hinges:
        return (1,)
    return (0,) if joint in state.chain.raised_m else (0, 1)


def _ringed(state: State, joint: str) -> Sequence[str]:
    """The chosen joints with which a joint has its ring: a raised one makes room for the ball's."""
    raised = joint in state.chain.raised_m
    return [each for each in state.chain.joints if not (raised and each == "ball")]


def _in_front(state: State) -> Iterator[Grip]:
    """Yield the rings of ball and toe from the front, where they lie behind what is above them."""
    others = [joint for joint in state.chain.joints if joint != "toe"]
    yield _joint_grip("ball", " from the front", (0,), ["ball"] if state.chain.raised_m else others)
    yield _joint_grip("toe", " from the front", (0,), ["toe"])


def _joint_grip(joint: str, where: str, shown: tuple[int, ...], chosen: Sequence[str]) -> Grip:
    """A joint's ring, seen while one of some is chosen: in front the toe hides the ball."""

    def at(**values: Any) -> Floats | None:
        return views.at(joint, values) if values["joint"] in chosen else None

    moves = tuple(f"{joint}_{axis}" for axis in views.AXES)
    return Grip(f"{joint.capitalize()}{where}", at, moves, shown, {"joint": joint})


def _joints(state: State, **values: Any) -> tuple[Row, str]:
    joint, now = values["joint"], joints_changed(state, values)
    front, side = (
        _leg_view(now, view, title)
        for view, title in (("front", "From the front"), ("side", "From the side"))
    )
    if joint == "hip":
        for stage in (front, side):
            stage.dots(measure.hip_places(state.puppet), "goal")
    words = views.said(now, "01", joint)
    return row(front, side, _cut(now, joint)), words


def _leg_view(state: State, view: str, title: str) -> Stage:
    """The left leg in its skin; from the front, ball and toe lie behind each other, unnamed."""
    stage = views.skin_stage(state.puppet, view, title, AHEAD if view == "side" else 0.0)
    names = state.chain.joints if view == "side" else state.chain.hinges
    return stage.chain(views.leg(state), "inverse", names=names, thickness=14)


def _cut(state: State, joint: str) -> Stage:
    """The skin cut across at a joint, its middle, and how far from it the joint is.

    A cut that lies above the joint is drawn as it lies about the bone there.
    """
    point, stage = state.metres()[joint], _cut_stage(state.puppet, joint)
    cut = _section(state, joint)
    if cut is None:
        return stage.chain([point], "inverse").note(point, "no skin there", "miss")
    lower = point - measure.cut_point(state, joint) if joint in state.chain.hinges else np.zeros(3)
    stage.skin(cut.outline + lower).behind_words()
    if joint == "hip":
        stage.dots(measure.hip_places(state.puppet), "goal")
        middle = measure.hip_places(state.puppet).mean(axis=0)
    else:
        lower = lower if joint in state.chain.hinges else -cut.middle * [0, 1, 0]  # a sole is flat
        middle = cut.middle + lower
        views.cross(stage, middle)
    stage.chain([point], "inverse")
    off = 100 * float(np.linalg.norm(point - middle))
    if joint in ("ball", "toe") or off < SHOWN:
        return stage
    near = [each for each in views.numbers(state, "01") if each.name.split()[0] == joint]
    kind = "goal" if all(each.right for each in near) else "miss"
    return stage.measure(middle, point, f"{off:.1f} cm", kind)


def _section(state: State, joint: str) -> mesh.Section | None:
    """The cut at a joint: of the leg square to it, of the foot upright."""
    if joint in state.chain.hinges:
        return measure.section(state, joint)
    surface, point = build.skin(state.puppet), state.metres()[joint]
    try:
        return mesh.section(surface.vertices, surface.triangles, point, [0, 0, 1])
    except ValueError:  # beyond the skin
        return None


def _cut_stage(puppet: Puppet, joint: str) -> Stage:
    """An empty view of the cut at a joint, always with the same limits."""
    low, high = _cut_room(puppet, joint)
    from_above = joint in chain_of(puppet).hinges
    title = f"{joint.capitalize()}, cut across"
    stage = Stage("top" if from_above else "front", low, high, title, width=CUT)
    if from_above:
        stage.note([(low[0] + high[0]) / 2, low[1] + 0.01], "front", "soft", "above")
    return stage


@cache
def _cut_room(puppet: Puppet, joint: str) -> tuple[Floats, Floats]:
    """The corners of such a view: a square around the outline where the joint should be."""
    cut = _section(State.bare(puppet).with_sound("02"), "ball" if joint == "toe" else joint)
    assert cut is not None, "a sound joint lies in the skin"
    level = joint in chain_of(puppet).hinges
    flat = cut.outline[:, [0, 2]] * [1, -1] if level else cut.outline[:, :2]
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    half = np.ptp(flat, axis=0).max() / 2 + views.ROOM
    return middle - half, middle + half


# 06: the preset bend


def bend_panel(state: State) -> Panel:
    """A knee to move along its bend, seen near by; and which way it goes under a lower pelvis."""
    middle, joint = _on_the_line(state)[2] * 1000, state.chain.bend
    key, start = f"{joint}_ahead", state.joints_mm[joint][2]
    name = joint.capitalize()
    return Panel(
        "Give the standing leg a small bend",
        [views.slider(key, f"{name}, ahead", middle - 60, middle + 60, start)],
        partial(_bend, state),
        size=600,
        grips=[Grip(name, partial(_knee_at, state), (key,), (1,))],
    )


def bend_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the knee so far ahead."""
    joint = state.chain.bend
    out, up, _ = state.joints_mm[joint]
    place = (out, up, int(values[f"{joint}_ahead"]))
    return state.changed(joints_mm={**state.joints_mm, joint: place})


def _knee_at(state: State, **values: float) -> Floats:
    joint = state.chain.bend
    return state.metres()[joint] * [1, 1, 0] + [0, 0, values[f"{joint}_ahead"] / 1000]


def _bend(state: State, **values: Any) -> tuple[Row, str]:
    now = bend_changed(state, values)
    words = views.said(now, "06")
    return row(_lowered_view(now), _close_view(now)), words


def _on_the_line(state: State) -> Floats:
    """The place level with the knee on the line between the ends of the two bones."""
    root, knee, end = views.leg(state, state.chain.solved)
    share = (knee[1] - root[1]) / min(end[1] - root[1], -1e-3)
    return root + share * (end - root)


def _lowered_view(state: State) -> Stage:
    """The leg as it stands, and dotted as it goes when the pelvis is lowered."""
    stage = views.skin_stage(state.puppet, "side", "Pelvis 10 cm lower", ASIDE)
    points, (first, *_, last) = views.leg(state, state.chain.hinges), state.chain.hinges
    names = (first, *[""] * (len(points) - 2), last)
    stage.chain(points, "inverse", names=names, thickness=14)
    *above, knee, end = points
    off = knee - _on_the_line(state)
    if np.linalg.norm(off) < 1e-3:
        return stage.note(knee, "which way?", "miss")
    lower = np.array(above) - [0, LOWERED, 0]
    upper, shank = np.linalg.norm(np.diff(points[-3:], axis=0), axis=-1)
    pose = two_bone.solve(lower[-1], end, upper, shank, hint=off)
    side = "right" if state.chain.way > 0 else "left"
    return stage.ghost([*lower, pose.knee, end]).note(pose.knee, "goes here", "soft", side)


def _close_view(state: State) -> Stage:
    """The knee near by, the line from hip to ankle, and the bend."""
    root, knee, end = views.leg(state, state.chain.solved)
    middle, joint = views.sound(state.puppet).skeleton, state.chain.bend
    at = middle.rest_world[middle.index(f"L_{joint}"), :3, 3][[2, 1]]
    surface = build.skin(state.puppet)
    stage = Stage("side", at - CLOSE, at + CLOSE, f"The {joint}, near by", width=340)
    stage.surface(surface.vertices, surface.triangles).behind_words()
    low, high = at[1] - CLOSE, at[1] + CLOSE - 0.004
    ends = [_level(knee, root, high), _level(knee, end, low)]
    stage.path([_level(root, end, high), _level(root, end, low)], "soft")
    stage.path([ends[0], knee, ends[1]], "inverse").chain([knee], "inverse")
    angle = float(np.degrees(bend.measure_bend([root, knee, end]).angle))
    if abs(angle) >= SHOWN:
        beyond = _level(root, knee, low)
        stage.ghost([knee, beyond])
        stage.arc(knee, beyond, ends[1], f"{abs(angle):.1f}°", "inverse", 96)
    return stage


def _level(start: Floats, end: Floats, height: float) -> Floats:
    """The place at a height on the line through two places."""
    drop = end[1] - start[1]
    share = (height - start[1]) / (drop if abs(drop) > 1e-6 else 1e-6)
    return start + share * (end - start)
