"""Steps 08 and 11 of the bench: outlines and pivots of the controls, and the foot's own pivots."""

from __future__ import annotations

from collections.abc import Mapping
from functools import partial
from typing import Any

import numpy as np

from rigkit import foot, rotation, two_bone
from rigkit._types import ArrayLike, Floats
from rigkit.bench import _views as views
from rigkit.bench import build, measure
from rigkit.bench.state import State
from rigkit.panels import Choice, Grip, Panel, Slider
from rigkit.scenes.staging import measure_cm
from rigkit.stage import Row, Stage, row

NOTHING = "nothing"
NAMED = {"pelvis": "pelvis", "L_foot": "foot", "L_knee": "pole"}  # the controls in words
KINDS = {"outlines_mm": "outline", "pivots_mm": "pivot"}
PARTS = {
    f"{NAMED[control]} {word}": (field, control)
    for control in ("pelvis", "L_foot")
    for field, word in KINDS.items()
}
FIRST = "foot pivot"
LEADERS = {"L_foot": ("pelvis", "L_knee"), "L_knee": ("pelvis", "L_foot")}
LOWEST, HIGHEST = -30, 60  # degrees of a roll
PIVOTS = foot.PIVOTS


# 08: controls


def controls_panel(state: State) -> Panel:
    """Outlines and pivots of two controls to place, and what the others follow."""
    room = 1000 * (views.box(state.puppet) + [[0, -0.02, -0.2], [0.2, 0.05, 0.2]])
    sliders = [
        each
        for part, (field, control) in PARTS.items()
        for each in views.point_sliders(
            _key(part),
            part.capitalize(),
            getattr(state, field)[control],
            room,
            _catches(state, control),
        )
    ]
    follows = [
        Choice(
            f"{control}_follows",
            f"The {NAMED[control]} follows",
            (NOTHING, *(NAMED[leader] for leader in leaders)),
            NAMED.get(state.follows.get(control, ""), NOTHING),
        )
        for control, leaders in LEADERS.items()
    ]
    return Panel(
        "Place the controls' outlines and pivots",
        [
            Choice("part", "Place", tuple(PARTS), FIRST),
            *sliders,
            *follows,
            Slider("toes_up_deg", "To look: toes up", 0, 40, 1, 30, "°"),
        ],
        partial(_controls, state),
        size=600,
        grips=[_part_grip(part) for part in PARTS],
    )


def _part_grip(part: str) -> Grip:
    moves = tuple(f"{_key(part)}_{axis}" for axis in views.AXES)
    return Grip(part.capitalize(), partial(_place_at, part), moves, (0, 1), {"part": part})


def controls_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with outlines, pivots and what is followed as chosen."""
    fields: dict[str, dict[str, Any]] = {field: dict(getattr(state, field)) for field in KINDS}
    for part, (field, control) in PARTS.items():
        fields[field][control] = views.point_of(_key(part), values)
    called = {word: control for control, word in NAMED.items()}
    follows = {
        control: called[values[f"{control}_follows"]]
        for control in LEADERS
        if values[f"{control}_follows"] != NOTHING
    }
    kept = {control: led for control, led in state.follows.items() if control not in LEADERS}
    return state.changed(**fields, follows=kept | follows)


def _catches(state: State, control: str) -> tuple[tuple[int, ...], ...]:
    """The places at which a dragged part of a control holds: its joint, the floor."""
    out, up, ahead = state.joints_mm[state.chain.end if control == "L_foot" else "hip"]
    return ((out if control == "L_foot" else 0,), (0, up), (ahead,))


def _key(part: str) -> str:
    return part.replace(" ", "_")


def _place_at(part: str, /, **values: Any) -> Floats | None:
    """The place of a part, of the chosen one alone: some stand in one place."""
    return views.at(_key(part), values) if values["part"] == part else None


def _controls(state: State, **values: Any) -> tuple[Row, str]:
    now = controls_changed(state, values)
    stages = [
        _rest_view(now, view, title)
        for view, title in (("front", "From the front"), ("side", "From the side"))
    ]
    about = f"{values['part'].split()[0]}'s {values['part'].split()[1]}"
    words = views.said(now, "08", about)
    return row(*stages, _toes_up_view(now, values["toes_up_deg"])), words


def _rest_view(state: State, view: str, title: str) -> Stage:
    """The leg at rest with its controls' outlines, and a cross where each turns."""
    stage = views.skin_stage(state.puppet, view, title)
    stage.chain(views.leg(state), "inverse", thickness=12)
    for field, control in PARTS.values():
        place = np.array(getattr(state, field)[control]) / 1000
        if KINDS[field] == "outline":
            stage.control(place + build.SHAPES[control], NAMED[control])
        else:
            views.cross(stage, place, "plain")
    return stage


def _toes_up_view(state: State, toes_up_deg: float) -> Stage:
    """The foot's control turned about its pivot, and how far the ankle went."""
    hip, knee, ankle, ball, toe = views.leg(state)[-5:]  # of the heron: knee, ankle, foot
    pivot = np.array(state.pivots_mm["L_foot"]) / 1000
    turn = rotation.matrix_about("x", -np.radians(toes_up_deg))
    moved = pivot + (np.array([ankle, ball, toe]) - pivot) @ turn.T
    upper, lower = np.linalg.norm(np.diff([hip, knee, ankle], axis=0), axis=-1)
    pose = two_bone.solve(hip, moved[0], upper, lower, hint=[0, 0, state.chain.way])
    low, high = ankle[[2, 1]] + [[-0.16, -0.22], [0.26, 0.28]]
    stage = Stage("side", low, high, "The foot turned", width=200).floor()
    stage.ghost([_near(ankle, knee, 0.25), ankle, ball, toe]).behind_words()
    stage.chain([_near(ankle, pose.knee, 0.25), *moved], "inverse", thickness=12)
    views.cross(stage, pivot, "plain").note(pivot, "pivot", "soft")
    return measure_cm(stage, ankle, moved[0], 100 * float(np.linalg.norm(moved[0] - ankle)))


def _near(start: Floats, end: Floats, far: float) -> Floats:
    """The place so far from one place toward another, or the other if it is nearer."""
    way = end - start
    return start + way * min(1.0, far / max(float(np.linalg.norm(way)), 1e-6))


# 11: the foot's pivots


def foot_panel(state: State) -> Panel:
    """Three pivots to place along the sole, and the foot to roll over them."""
    back = 1000 * state.puppet.heel_length + 60
    front = 1000 * state.puppet.foot_length + 60 - back
    ranges = {"heel": (-back, 0), "ball": (0, front), "toe": (0, front)}
    belongs = _belongs(state)
    return Panel(
        "Place the foot's pivots, then roll it",
        [
            *(
                views.slider(
                    pivot,
                    f"{pivot.capitalize()}, ahead",
                    *ranges[pivot],
                    state.sole_mm[pivot],
                    [1000 * belongs[pivot]],
                )
                for pivot in PIVOTS
            ),
            Slider("roll_deg", "To look: roll", LOWEST, HIGHEST, 1, 25, "°"),
        ],
        partial(_foot, state),
        size=600,
        play="roll_deg",
        grips=[
            *(Grip(f"{p.capitalize()}", partial(_pivot_at, state, p), (p,), (0,)) for p in PIVOTS),
            Grip(
                f"{state.chain.end.capitalize()}, rolled",
                partial(_rolled_ankle, state),
                ("roll_deg",),
                (1,),
            ),
        ],
    )


def foot_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the pivots there."""
    return state.changed(sole_mm={pivot: int(values[pivot]) for pivot in PIVOTS})


def _pivot_at(state: State, pivot: str, **values: Any) -> Floats:
    end = state.metres()[state.chain.end]
    return np.array([end[0], 0.0, end[2] + values[pivot] / 1000])


def _foot(state: State, **values: Any) -> tuple[Row, str]:
    now, roll = foot_changed(state, values), np.radians(values["roll_deg"])
    words = views.said(now, "11")
    return row(_sole_view(now), _rolled_view(now, roll)), words


def _belongs(state: State) -> dict[str, float]:
    """The distances of the sole's two ends and the toes' joint ahead of the leg's end [m]."""
    at, (heel, tip) = state.metres(), measure.sole_ends(state.puppet)
    places = dict(zip(PIVOTS, (heel, at["ball"], tip), strict=True))
    return {pivot: float((place - at[state.chain.end])[2]) for pivot, place in places.items()}


def _sole_view(state: State) -> Stage:
    """The foot at rest near by, its pivots on the floor."""
    stage = _foot_stage(state, "At rest")
    surface = build.skin(state.puppet)
    stage.surface(surface.vertices, surface.triangles).behind_words()
    stage.chain(views.leg(state)[-3:], "inverse", thickness=12)
    ends = np.array([_belongs(state)[end] for end in ("heel", "toe")])
    # the skin is round there: its ends stand above the floor
    for z in ends + state.metres()[state.chain.end][2]:
        stage.path([[0, 0, z], [0, 0.05, z]], "soft")
    for pivot in PIVOTS:
        place = _pivot_at(state, pivot, **state.sole_mm)
        stage.dots([place]).note(place, pivot, "soft", "below")
    return stage


def _foot_stage(state: State, title: str) -> Stage:
    below = views.foot_ahead(state.puppet)
    ahead = state.puppet.foot_length - state.puppet.heel_length
    low, high = (below - 0.15, -0.07), (below + ahead + 0.09, 0.27)
    return Stage("side", low, high, title, width=290).floor()


def _as_foot(state: State) -> foot.Foot:
    """The foot that rolls over the pivots, from below its ankle."""
    heel, ball, toe = (state.sole_mm[pivot] / 1000 for pivot in PIVOTS)
    height = state.metres()[state.chain.end][1]
    return foot.Foot((0.0, height), (heel, 0.0), (ball, 0.0), (toe, 0.0))


def _rolled_ankle(state: State, **values: Any) -> Floats | None:
    try:
        rolled = foot.roll(_as_foot(foot_changed(state, values)), np.radians(values["roll_deg"]))
    except ValueError:  # pivots that do not follow each other
        return None
    return rolled.ankle + [state.metres()[state.chain.end][2], 0]


def _rolled_view(state: State, roll: float) -> Stage:
    """The foot's skin rolled over the pivots; what is below the floor is measured."""
    stage = _foot_stage(state, "Rolled")
    ahead = state.metres()[state.chain.end][2]
    surface, rest = build.skin(state.puppet), _as_foot(state)
    rolled = foot.roll(rest, roll)
    near = (surface.vertices[:, 0] > 0) & (surface.vertices[:, 1] < 0.18)
    kept = surface.triangles[near[surface.triangles].all(axis=-1)]
    flat = surface.vertices[:, [2, 1]] - [ahead, 0]
    moved = _carried(flat, rest, rolled) + [ahead, 0]
    stage.surface(moved, kept).behind_words()
    pivots = np.stack([rolled.heel, rolled.ball, rolled.toe]) + [ahead, 0]
    stage.dots(pivots).chain([rolled.ankle + [ahead, 0]], "inverse")
    lowest = moved[near][np.argmin(moved[near][:, 1])]
    return measure_cm(stage, lowest * [1, 0], lowest, max(0.0, -100 * float(lowest[1])), offset=24)


def _carried(points: ArrayLike, rest: foot.Foot, rolled: foot.FootRoll) -> Floats:
    """Points (ahead, up) of a flat foot, carried by its roll: behind the ball, and before it."""
    points = np.asarray(points)
    turns = np.where(points[:, 0] > rest.ball[0], rolled.toe_turn, rolled.foot_turn)
    (forward, height), cosine, sine = (points - rest.ball).T, np.cos(turns), np.sin(turns)
    turned = np.stack([cosine * forward + sine * height, cosine * height - sine * forward], axis=-1)
    return rolled.ball + turned
