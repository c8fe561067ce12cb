"""Steps 02 and 03 of the bench: what hangs from what, hinges, and the other side."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache, partial
from typing import Any

import numpy as np

from rigkit import rotation
from rigkit._types import Floats
from rigkit.bench import _views as views
from rigkit.bench import build
from rigkit.bench.state import MIRRORS, State
from rigkit.panels import Choice, Grip, Panel, Slider
from rigkit.skeleton import SIDE_TAGS, Skeleton
from rigkit.stage import Row, Stage, row

NOTHING = "nothing"
BENT_ROOM = 0.33  # m to both sides in the view of bent legs
ARROW = 0.11  # m: the length of a hinge's arrow
WIDE = 0.4  # m to both sides: joints and arrows may stand beside the skin
SWING = 0.3  # m of room for turned joints
BENT_DEG = -30.0, 60.0  # the numbers that both sides are given where the bones begin and meet


# 02: what hangs from what


def chain_panel(state: State) -> Panel:
    """A choice of what each joint hangs from; and joints to turn, to see what comes along."""
    joints, hinges = state.chain.joints, state.chain.hinges
    parents = [
        Choice(
            joint,
            f"The {joint} hangs from",
            (NOTHING, "pelvis", *(other for other in joints if other != joint)),
            state.parents.get(joint, NOTHING),
        )
        for joint in joints
    ]
    turns = [
        Slider(
            f"{joint}_deg",
            f"{joint.capitalize()} turned",
            -180.0,
            180.0,
            1.0,
            state.turns_deg.get(joint, 0.0),
            "°",
        )
        for joint in hinges
    ]
    return Panel(
        "Hang each joint from what carries it",
        [*parents, *turns],
        partial(_chain, state),
        size=600,
        grips=[
            Grip(
                f"{end.capitalize()}, turned",
                partial(_turned_at, state, joint, end),
                (f"{joint}_deg",),
                (1,),
            )
            for joint, end in zip(hinges, (*hinges[1:], "toe"), strict=True)
        ],
    )


def chain_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with those parents and turns."""
    parents = {joint: values[joint] for joint in state.chain.joints if values[joint] != NOTHING}
    turns = dict(state.turns_deg) | _said(state, values, state.turns_deg)
    return state.changed(parents=parents, turns_deg=turns)


def _said(state: State, values: Mapping[str, Any], before: Mapping[str, float]) -> dict[str, float]:
    """The degrees that sliders say, without a zero where nothing was said before."""
    said = {joint: values[f"{joint}_deg"] for joint in state.chain.hinges}
    return {joint: turn for joint, turn in said.items() if turn or joint in before}


def _chain(state: State, **values: Any) -> tuple[Row, str]:
    now = chain_changed(state, values)
    words = views.said(now, "02")
    return row(_hanging_view(now), _turned_view(now)), words


def _hanging_view(state: State) -> Stage:
    """The leg from the side: a bone from each joint to what it hangs from."""
    stage = views.skin_stage(state.puppet, "side", "At rest", 0.08)
    places = state.metres()
    pelvis = places["hip"] + [0, 0.08, 0]
    if "pelvis" in state.parents.values():
        stage.note(pelvis, "pelvis", "soft", "above")
    for joint, parent in state.parents.items():
        start = pelvis if parent == "pelvis" else places[parent]
        stage.chain([start, places[joint]], "inverse", thickness=12)
    for joint in state.chain.joints:
        if joint in state.parents:
            stage.note(places[joint], joint, "soft")
        else:
            stage.dots([places[joint]], "miss").note(places[joint], f"{joint}: loose", "miss")
    return stage


def _turned_view(state: State) -> Stage:
    """The leg with its joints turned: what hangs below comes along."""
    stage = views.skin_stage(state.puppet, "side", "Turned: what comes along?", SWING)
    places, turned = state.metres(), turned_places(state, state.turns_deg)
    for joint, parent in state.parents.items():
        if parent == "pelvis":
            stage.chain([turned[joint]], "inverse")
            continue
        stage.ghost([places[parent], places[joint]])
        stage.chain([turned[parent], turned[joint]], "inverse", thickness=12)
    for joint in state.chain.joints:
        if joint not in state.parents:
            stage.dots([turned[joint]], "miss").note(turned[joint], "stays", "miss")
    return stage


def turned_places(state: State, turns_deg: Mapping[str, float]) -> dict[str, Floats]:
    """The joints' places after turns, each carried by all it hangs from [m].

    A turn is about the character's side-to-side axis here: seen from the side, a plain one.
    """
    places = state.metres()
    turned = {}
    for joint in state.chain.joints:
        point, above = places[joint], state.parents.get(joint)
        while above not in (None, "pelvis"):
            turn = rotation.matrix_about("x", np.radians(turns_deg.get(above, 0.0)))
            point = places[above] + turn @ (point - places[above])
            above = state.parents.get(above)
        turned[joint] = point
    return turned


def _turned_at(state: State, turner: str, end: str, **values: Any) -> Floats | None:
    """The place of what a turn carries; None while nothing hangs there to be turned."""
    turns = {joint: values[f"{joint}_deg"] for joint in state.chain.hinges}
    try:
        now = chain_changed(state, values)
    except ValueError:  # in a circle
        return None
    return turned_places(now, turns)[end] if _carries(now, turner, end) else None


def _carries(state: State, joint: str, end: str) -> bool:
    """True if one joint hangs from another, with what there is between them."""
    above = state.parents.get(end)
    while above not in (None, "pelvis", joint):
        above = state.parents.get(above)
    return above == joint


# 03: hinges, and the mirror


def hinges_panel(state: State) -> Panel:
    """Hinge arrows to turn, the mirror's plane to move, and the kind of mirror."""
    hinges = state.chain.hinges
    arrows = [
        Slider(
            f"{joint}_deg",
            f"{joint.capitalize()}'s hinge turned",
            -180.0,
            180.0,
            0.5,
            state.hinge_deg.get(joint, 0.0),
            "°",
        )
        for joint in hinges
    ]
    return Panel(
        "Lay the hinges square, mirror the leg",
        [
            *arrows,
            views.slider("plane_mm", "Mirror to the left", -120, 120, state.plane_mm),
            Choice("mirror", "Mirrored by", MIRRORS, state.mirror),
        ],
        partial(_hinges, state),
        size=600,
        grips=[
            *(
                Grip(
                    f"{joint.capitalize()}'s hinge",
                    partial(_arrow_at, state, joint),
                    (f"{joint}_deg",),
                    (0,),
                )
                for joint in hinges
            ),
            Grip("Mirror", partial(_mirror_at, state), ("plane_mm",), (0,)),
        ],
    )


def hinges_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with those hinges, that plane and that mirror."""
    return state.changed(
        hinge_deg=_said(state, values, state.hinge_deg),
        plane_mm=int(values["plane_mm"]),
        mirror=values["mirror"],
    )


def _hinges(state: State, **values: Any) -> tuple[Row, str]:
    now = hinges_changed(state, values)
    words = views.said(now, "03")
    return row(_arrows_view(now), _bent_view(now)), words


@lru_cache(maxsize=16)
def _skeleton(state: State) -> Skeleton:
    return build.skeleton(state)


def _arrow_at(state: State, joint: str, **values: Any) -> Floats:
    """The head of a left hinge's arrow."""
    skeleton = _skeleton(state)
    turn = np.radians(values[f"{joint}_deg"] - state.hinge_deg.get(joint, 0.0))  # anticlockwise
    way = skeleton.rest_world[skeleton.index(f"L_{joint}"), :3, 0]
    return state.metres()[joint] + ARROW * rotation.matrix_about("z", turn) @ way


def _mirror_at(state: State, plane_mm: float, **_: Any) -> Floats:
    return np.array([plane_mm / 1000, views.box(state.puppet)[1, 1] - 0.03, 0.0])


def _arrows_view(state: State) -> Stage:
    """Both legs from the front with the arrows of their hinges, and the plane between them."""
    stage = views.leg_stage(state.puppet, "front", "The hinges, from the front", WIDE)
    surface = build.skin(state.puppet)
    stage.surface(surface.vertices, surface.triangles).behind_words()
    skeleton = _skeleton(state)
    x, top = state.plane_mm / 1000, views.box(state.puppet)[1, 1]
    stage.ghost([[x, 0, 0], [x, top - 0.03, 0]])
    stage.note([x, top + 0.02, 0], "mirror", "soft", "above")
    for tag in SIDE_TAGS:
        names = [tag + joint for joint in state.chain.hinges]
        points = skeleton.origins(skeleton.rest_world, names)
        stage.chain(points, "inverse", tag[0], thickness=12)
        for name, point in zip(names, points, strict=True):
            way = skeleton.rest_world[skeleton.index(name), :3, 0]
            stage.arrow(point, point + ARROW * way, kind="plain")
    return stage


def _bent_view(state: State) -> Stage:
    """Both legs given the same numbers, of people at hip and knee, seen from aside."""
    skeleton, chain = _skeleton(state), state.chain
    turns = {
        f"{tag}{joint}": rotation.matrix_about("x", chain.way * np.radians(turn))
        for tag in SIDE_TAGS
        for joint, turn in zip(chain.solved, BENT_DEG, strict=False)
    }
    world = skeleton.pose(turns)
    half, top = BENT_ROOM, float(views.box(state.puppet)[1, 1]) + views.ROOM
    stage = Stage(
        "turntable",
        (-half, -0.1),
        (half, top),
        "Given the same turns",
        width=round(2 * half * views.scale(state.puppet)),
        yaw_deg=50,
        pitch_deg=10,
    ).floor()
    for tag in reversed(SIDE_TAGS):
        points = skeleton.origins(world, [tag + joint for joint in chain.joints])
        stage.chain(points, "inverse", tag[0], thickness=12)
    return stage
