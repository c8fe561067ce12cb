"""Step 10 of the bench: the walk on the learner's own bones."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache, partial
from typing import Any

import numpy as np

from rigkit import foot, gait
from rigkit._types import Floats
from rigkit.bench import _views as views
from rigkit.bench import build
from rigkit.bench.state import State
from rigkit.panels import Grip, Panel, Slider
from rigkit.scenes.bodies import draw_body
from rigkit.scenes.staging import at_frame
from rigkit.skeleton import SIDE_TAGS
from rigkit.stage import Row, Stage, row

FRAMES = 100  # of a stride; the second one is shown
VIEWS = (("front", "From the front", 0.3), ("side", "From the side", 0.44))
WIDER = 0.11  # m to both sides: the heron's steps
MOST_SWAY = 120  # mm
DROPS = (-80, 120)  # mm


def walk_panel(state: State) -> Panel:
    """A walk whose pelvis can be lowered and may sway, one moment of it at a time."""
    return Panel(
        "Let the pelvis ride where both legs reach",
        [
            views.slider("drop_mm", "Pelvis lower by", *DROPS, state.pelvis["drop_mm"]),
            views.slider("sway_mm", "Sway, side to side", 0, MOST_SWAY, state.pelvis["sway_mm"]),
            Slider("percent", "To look: moment", 0, FRAMES - 1, 1, 15, "%"),
        ],
        partial(_walk, state),
        size=600,
        play="percent",
        grips=[
            Grip("Pelvis", partial(_pelvis_at, state), ("drop_mm", "sway_mm"), (0, 1)),
            Grip(
                f"Left {state.chain.word(state.chain.end)}",
                partial(_ankle_at, state),
                ("percent",),
                (1,),
            ),
        ],
    )


def walk_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the pelvis so low and swaying so far."""
    return state.changed(pelvis={key: int(values[key]) for key in ("drop_mm", "sway_mm")})


@lru_cache(maxsize=64)
def _walked(state: State) -> gait.Walk:
    return build.planted_walk(state, FRAMES)


def _on_the_spot(walk: gait.Walk, joint: str) -> Floats:
    """A joint's places in the second stride, the pelvis always at z = 0; shape (101, ..., 3)."""
    stride = slice(FRAMES, 2 * FRAMES + 1)
    ahead = walk.pelvis[stride] * [0, 0, 1]
    places = walk.pelvis if joint == "pelvis" else walk[joint]
    return places[stride] - ahead.reshape(-1, *[1] * (places.ndim - 2), 3)


def _whole(values: Mapping[str, Any]) -> dict[str, Any]:
    """Values between whole millimetres brought to the nearest."""
    return {key: round(value) for key, value in values.items()}


def _pelvis_at(state: State, **values: Any) -> Floats:
    whole = _whole(values)
    place = _on_the_spot(_walked(walk_changed(state, whole)), "pelvis")[whole["percent"]]
    lower = (values["drop_mm"] - whole["drop_mm"]) / 1000
    wider = (values["sway_mm"] - whole["sway_mm"]) / 1000
    return place + [wider * _usual_sway(state)[whole["percent"]], -lower, 0.0]


@lru_cache(maxsize=8)
def _usual_sway(state: State) -> Floats:
    """The pelvis' way from side to side in a stride, as a share of all of it."""
    usual = gait.walk(state.puppet, frames=FRAMES, cycles=1).pelvis[:, 0]
    return usual / float(np.ptp(usual))


def _ankle_at(state: State, **values: Any) -> Floats:
    walk = _walked(walk_changed(state, _whole(values)))
    return at_frame(_on_the_spot(walk, f"L_{state.chain.end}"), values["percent"])


def _walk(state: State, **values: Any) -> tuple[Row, str]:
    now, percent = walk_changed(state, values), int(values["percent"])
    walk = _walked(now)
    more = {"side": WIDER * (state.chain.way < 0)}
    stages = [
        _moment(now, walk, percent, view, title, half + more.get(view, 0))
        for view, title, half in VIEWS
    ]
    return row(*stages), views.said(now, "10")


def _moment(
    state: State, walk: gait.Walk, percent: int, view: str, title: str, half: float
) -> Stage:
    """Both legs at a moment of the stride, and the way of the left one's end."""
    chain = state.chain
    stage = views.leg_stage(state.puppet, view, title, half)
    draw_body(stage, state.puppet, _on_the_spot(walk, "hip")[percent])
    stage.dots([_on_the_spot(walk, "pelvis")[percent]])
    kind = "inverse" if state.inverse else "forward"
    stage.path(_on_the_spot(walk, f"L_{chain.end}"), "soft")
    for side, tag in reversed(list(enumerate(SIDE_TAGS))):
        end, heel, ball, toe = (
            _on_the_spot(walk, name)[percent, side] for name in (chain.end, *foot.PIVOTS)
        )
        stage.foot(end, heel, toe, ball, kind, tag[0])
        leg = [_on_the_spot(walk, name)[percent, side] for name in chain.hinges]
        stage.chain(leg, kind, tag[0], thickness=14)
    return stage.behind_words()
