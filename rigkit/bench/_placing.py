"""Steps 01 and 06 of the bench: the joints in the given skin, and the bend they stand with."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cache, partial
from typing import Any

import numpy as np

from rigkit import bend, mesh, two_bone
from rigkit._types import Floats
from rigkit.bench import _views as views
from rigkit.bench import build, measure
from rigkit.bench.state import HINGES, JOINTS, State
from rigkit.panels import Choice, Grip, Panel
from rigkit.puppets import Puppet
from rigkit.scenes.words import SHOWN
from rigkit.stage import Row, Stage, row

CUT = 172  # px: the width of the cut across
AHEAD = 0.06  # m of room before the toes, where they are at first
CLOSE = 0.075  # m around the knee in the close view of its bend
LOWERED = 0.10  # m by which the pelvis goes down to see which way the knee goes


# 01: the joints in the skin


def joints_panel(state: State) -> Panel:
    """Five joints to bring into the skin, seen from the front, the side, and in a cut across."""
    room = 1000 * views.box(state.puppet) * [[0, 1, 1], [1, 1, 1]]  # left of the midplane
    sliders = [
        slider
        for joint in JOINTS
        for slider in views.point_sliders(joint, joint.capitalize(), state.joints_mm[joint], room)
    ]
    return Panel(
        "Bring the left leg's joints into place",
        [Choice("joint", "Joint", JOINTS, "hip"), *sliders],
        partial(_joints, state),
        size=600,
        grips=[
            *(_joint_grip(joint, "", (0, 1) if joint in HINGES else (1,)) for joint in JOINTS),
            _joint_grip("ball", " from the front", (0,), ("hip", "knee", "ankle", "ball")),
            _joint_grip("toe", " from the front", (0,), ("toe",)),
            *(_joint_grip(joint, " in the cut", (2,), (joint,)) for joint in JOINTS),
        ],
    )


def joints_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the joints where the sliders say."""
    return state.changed(joints_mm={joint: views.point_of(joint, values) for joint in JOINTS})


def _joint_grip(
    joint: str, where: str, shown: tuple[int, ...], chosen: Sequence[str] = JOINTS
) -> Grip:
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
    words = views.sentence(views.numbers(now, "01"), joint)
    return row(front, side, _cut(now, joint)), words


def _leg_view(state: State, view: str, title: str) -> Stage:
    """The left leg in its skin; from the front, ball and toe lie behind each other, unnamed."""
    stage = views.skin_stage(state.puppet, view, title, AHEAD if view == "side" else 0.0)
    names = JOINTS if view == "side" else JOINTS[:3]
    return stage.chain(views.leg(state), "inverse", names=names, thickness=14)


def _cut(state: State, joint: str) -> Stage:
    """The skin cut across at a joint, its middle, and how far from it the joint is."""
    point, stage = state.metres()[joint], _cut_stage(state.puppet, joint)
    cut = _section(state, joint)
    if cut is None:
        return stage.chain([point], "inverse").note(point, "no skin there", "miss")
    stage.skin(cut.outline).behind_words()
    if joint == "hip":
        stage.dots(measure.hip_places(state.puppet), "goal")
        middle = measure.hip_places(state.puppet).mean(axis=0)
    else:
        middle = cut.middle * ([1, 1, 1] if joint in HINGES else [1, 0, 1])  # a sole is flat
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
    if joint in HINGES:
        return measure.section(state, joint)
    surface, point = build.skin(state.puppet), state.metres()[joint]
    try:
        return mesh.section(surface.vertices, surface.triangles, point, [0, 0, 1])
    except ValueError:  # beyond the skin
        return None


def _cut_stage(puppet: Puppet, joint: str) -> Stage:
    """An empty view of the cut at a joint, always with the same limits."""
    low, high = _cut_room(puppet, joint)
    from_above = joint in HINGES
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
    flat = cut.outline[:, [0, 2]] * [1, -1] if joint in HINGES else cut.outline[:, :2]
    middle = (flat.min(axis=0) + flat.max(axis=0)) / 2
    half = np.ptp(flat, axis=0).max() / 2 + views.ROOM
    return middle - half, middle + half


# 06: the preset bend


def bend_panel(state: State) -> Panel:
    """A knee to move along its bend, seen near by; and which way it goes under a lower pelvis."""
    middle = _on_the_line(state)[2] * 1000
    ahead = views.slider(
        "knee_ahead", "Knee, ahead", middle - 60, middle + 60, state.joints_mm["knee"][2]
    )
    return Panel(
        "Give the standing leg a small bend",
        [ahead],
        partial(_bend, state),
        size=600,
        grips=[Grip("Knee", partial(_knee_at, state), ("knee_ahead",), (1,))],
    )


def bend_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the knee so far ahead."""
    out, up, _ = state.joints_mm["knee"]
    knee = (out, up, int(values["knee_ahead"]))
    return state.changed(joints_mm={**state.joints_mm, "knee": knee})


def _knee_at(state: State, knee_ahead: float) -> Floats:
    return state.metres()["knee"] * [1, 1, 0] + [0, 0, knee_ahead / 1000]


def _bend(state: State, **values: Any) -> tuple[Row, str]:
    now = bend_changed(state, values)
    words = views.sentence(views.numbers(now, "06"))
    return row(_lowered_view(now), _close_view(now)), words


def _on_the_line(state: State) -> Floats:
    """The place level with the knee on the line from hip to ankle."""
    hip, knee, ankle = views.leg(state, JOINTS[:3])
    share = (knee[1] - hip[1]) / min(ankle[1] - hip[1], -1e-3)
    return hip + share * (ankle - hip)


def _lowered_view(state: State) -> Stage:
    """The leg as it stands, and dotted as it goes when the pelvis is lowered."""
    stage = views.skin_stage(state.puppet, "side", "Pelvis 10 cm lower", 0.12)
    hip, knee, ankle = points = views.leg(state, JOINTS[:3])
    stage.chain(points, "inverse", names=("hip", "", "ankle"), thickness=14)
    off = knee - _on_the_line(state)
    if np.linalg.norm(off) < 1e-3:
        return stage.note(knee, "which way?", "miss")
    lower = hip - [0, LOWERED, 0]
    upper, shank = np.linalg.norm(np.diff(points, axis=0), axis=-1)
    pose = two_bone.solve(lower, ankle, upper, shank, hint=off)
    return stage.ghost([lower, pose.knee, ankle]).note(pose.knee, "goes here", "soft", "right")


def _close_view(state: State) -> Stage:
    """The knee near by, the line from hip to ankle, and the bend."""
    hip, knee, ankle = views.leg(state, JOINTS[:3])
    middle = views.sound(state.puppet).skeleton
    at = middle.rest_world[middle.index("L_knee"), :3, 3][[2, 1]]
    surface = build.skin(state.puppet)
    stage = Stage("side", at - CLOSE, at + CLOSE, "The knee, near by", width=340)
    stage.surface(surface.vertices, surface.triangles).behind_words()
    low, high = at[1] - CLOSE, at[1] + CLOSE - 0.004
    ends = [_level(knee, hip, high), _level(knee, ankle, low)]
    stage.path([_level(hip, ankle, high), _level(hip, ankle, low)], "soft")
    stage.path([ends[0], knee, ends[1]], "inverse").chain([knee], "inverse")
    angle = float(np.degrees(bend.measure_bend([hip, knee, ankle]).angle))
    if abs(angle) >= SHOWN:
        beyond = _level(hip, knee, low)
        stage.ghost([knee, beyond])
        stage.arc(knee, beyond, ends[1], f"{abs(angle):.1f}°", "inverse", 96)
    return stage


def _level(start: Floats, end: Floats, height: float) -> Floats:
    """The place at a height on the line through two places."""
    drop = end[1] - start[1]
    share = (height - start[1]) / (drop if abs(drop) > 1e-6 else 1e-6)
    return start + share * (end - start)
