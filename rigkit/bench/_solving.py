"""Steps 04, 05 and 07 of the bench: the leg that follows its foot, its reach, and its pole.

"Hip", "knee" and "ankle" are here where the two solved bones begin, meet and end: the heron's knee,
ankle and foot.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache, partial
from typing import Any

import numpy as np

from rigkit import plots, two_bone
from rigkit._types import ArrayLike, Floats
from rigkit.asking import Guess
from rigkit.bench import _views as views
from rigkit.bench import build, measure
from rigkit.bench.state import State
from rigkit.leg import LegPose
from rigkit.panels import Choice, Grip, Panel, Slider
from rigkit.scenes.bodies import draw_body
from rigkit.scenes.staging import measure_cm, size
from rigkit.scenes.words import SHOWN
from rigkit.skeleton import SIDE_TAGS
from rigkit.stage import Row, Stage, row

CHAINS = ("forward chain", "inverse chain")
SLIPS = {"not at all": 0.0, "about 5 cm": 5.0, "about 10 cm": 10.0, "about 20 cm": 20.0}
LOWERED = 100  # mm
POLE_ROOM = np.array([[-350, 0, -400], [430, 1050, 1150]])  # mm
HARD, THIS = "without soft reach", "this leg"
MOST_SOFT = 60  # mm
NEAR, BEYOND = 80, 40  # mm before and beyond full reach
OUT = np.array([0.0, -np.cos(np.radians(40)), np.sin(np.radians(40))])  # a step ahead, from the hip


# 04: forward or inverse


def chain_panel(state: State) -> Panel:
    """A pelvis to lower over legs of either chain."""
    return Panel(
        "Lower the pelvis: do the feet stay?",
        [
            Choice("chain", "Both legs by", CHAINS, CHAINS[bool(state.inverse)]),
            Slider("lowered_mm", "To look: pelvis lowered", 0, 150, 1, 0, "mm"),
        ],
        partial(_lowered, state),
        size=600,
        grips=[Grip("Pelvis", partial(_pelvis_at, state), ("lowered_mm",))],
        ask=None if state.inverse else _slip_asked(state),
    )


def _slip_asked(state: State) -> Guess:
    """A guess of how far a forward leg's foot goes with the pelvis, before it goes."""
    return Guess(
        "04/bench-slip",
        "Both legs are forward chains still: posed from their angles, which stay. The pelvis is"
        " going to be lowered by 10 cm. How far does a foot go?",
        tuple(SLIPS),
        partial(_slip_found, state),
        then="Pull the pelvis down by 10 cm.",
    )


def _slip_found(state: State, chain: str, lowered_mm: int) -> tuple[str, str] | None:
    """The way of a forward leg's foot, once the pelvis is so low."""
    if chain != CHAINS[0] or lowered_mm < LOWERED:
        return None
    forward = measure.free_footed(state).changed(inverse=False)
    slip = views.numbers(forward, "04")[0].value
    right = min(SLIPS, key=lambda option: abs(SLIPS[option] - slip))
    return right, f"Lowered by 10 cm, it goes along by <b>{slip:.1f} cm</b>, into the floor."


def chain_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the legs posed by that chain."""
    return state.changed(inverse=values["chain"] == CHAINS[1])


def _pelvis_at(state: State, lowered_mm: float, **_: Any) -> Floats:
    return state.metres()["hip"] * [0, 1, 1] - [0, lowered_mm / 1000, 0]


def _lowered(state: State, **values: Any) -> tuple[Row, str]:
    now = measure.free_footed(chain_changed(state, values))
    pose = build.rig(now).pose({"pelvis": {"shift_y": -values["lowered_mm"] / 1000}}, now.inverse)
    stages = [
        _feet_view(now, view, title, half, pose.world)
        for view, title, half in (("front", "From the front", 0.33), ("side", "From the side", 0.4))
    ]
    words = views.said(now, "04")
    if not now.inverse and values["lowered_mm"] < LOWERED:
        words = "Pull the pelvis down by 10 cm: do the feet stay?"
    if now.inverse and _backward(now, pose):
        words += " Which way the knee goes is for steps 06 and 07."
    return row(*stages), words


def _backward(state: State, pose: LegPose) -> bool:
    """True if the left knee is on the wrong side of the line from its root to its end."""
    hip, knee, ankle = (pose[f"L_{joint}"][:3, 3] for joint in state.chain.solved)
    way = (ankle - hip) / np.linalg.norm(ankle - hip)
    off = knee - hip - ((knee - hip) @ way) * way
    return bool(state.chain.way * (off @ build.toes_way(state)) < -1e-3)


def _feet_view(state: State, view: str, title: str, half: float, world: Floats) -> Stage:
    """Both legs as posed, dotted at rest, and how far the left foot has left its place."""
    skeleton, stage = build.rig(state).skeleton, views.leg_stage(state.puppet, view, title, half)
    draw_body(stage, state.puppet, skeleton.origins(world, ["L_hip", "R_hip"]))
    kind = "inverse" if state.inverse else "forward"
    for tag in reversed(SIDE_TAGS):
        names = [tag + joint for joint in state.chain.joints]
        was, now = (skeleton.origins(each, names) for each in (skeleton.rest_world, world))
        stage.ghost(was).chain(now, kind, tag[0], thickness=14)
    before, after = was[-3], now[-3]  # the leg's end
    off = 100 * float(np.linalg.norm(after - before))
    return measure_cm(stage, before, after, off, offset=40)


# 05: the reach


def reach_panel(state: State) -> Panel:
    """An ankle's goal to pull out to full reach and beyond, and the length of soft reach."""
    return Panel(
        "Pull the foot out: does the knee snap?",
        [
            views.slider("soft_mm", "Soft over the last", 0, MOST_SOFT, state.soft_mm),
            Slider("pulled_mm", "To look: goal beyond", -NEAR, BEYOND, 1, 0, "mm"),
        ],
        partial(_reach, state),
        size=600,
        grips=[
            Grip("Goal", partial(_goal_at, state), ("pulled_mm",), (0,)),
            Grip("Soft reach begins", _soft_at, ("soft_mm",), (1,)),
        ],
    )


def reach_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with soft reach of that length."""
    return state.changed(soft_mm=int(values["soft_mm"]))


def _bones(state: State) -> tuple[Floats, float, float]:
    """The place where the two solved bones begin, and their lengths."""
    points = views.leg(state, state.chain.solved)
    upper, lower = np.linalg.norm(np.diff(points, axis=0), axis=-1)
    return points[0], float(upper), float(lower)


def _goal_at(state: State, pulled_mm: float, **_: Any) -> Floats:
    hip, upper, lower = _bones(state)
    return hip + (upper + lower + pulled_mm / 1000) * OUT


def _soft_at(soft_mm: float, **_: Any) -> tuple[float, float]:
    """The goal's place as soft reach begins, high enough to be clear of both curves."""
    return -soft_mm, 48.0


def _reach(state: State, **values: Any) -> tuple[Row, str]:
    now, pulled = reach_changed(state, values), values["pulled_mm"]
    words = views.said(now, "05")
    return row(_pulled_view(now, pulled), _knee_curve(now).at(pulled)), words


def _pulled_view(state: State, pulled_mm: float) -> Stage:
    """The leg pulled at by its goal, from the side."""
    hip, upper, lower = _bones(state)
    goal = _goal_at(state, pulled_mm)
    hint = [0, 0.5, state.chain.way]
    pose = two_bone.solve(hip, goal, upper, lower, hint=hint, soft=state.soft_mm / 1000)
    reach = upper + lower
    low = np.array([hip[2] - 0.15, hip[1] - 0.95 * reach])
    high = np.array([hip[2] + 0.85 * reach, hip[1] + 0.12])
    stage = Stage("side", low, high, "The leg, from the side", width=286)
    around = np.radians(np.linspace(-80, 0, 33))
    arc = [hip[[2, 1]] + reach * np.array([np.sin(-a), -np.cos(a)]) for a in around]
    stage.path(arc, "soft")
    stage.goal(goal, "").chain(
        [hip, pose.knee, pose.ankle], "inverse", names=state.chain.solved[:2]
    )
    return measure_cm(stage, pose.ankle, goal, 100 * float(pose.miss), offset=24)


def _knee_curve(state: State) -> plots.Plot:
    """The bend against the goal's distance, as it is and without soft reach."""
    _, upper, lower = _bones(state)
    distance = upper + lower + np.arange(-NEAR, BEYOND + 1) / 1000
    bent = np.degrees(_knee(distance, upper, lower, state.soft_mm / 1000))
    return _hard_curve(upper, lower, state.chain.bend).with_lines({THIS: bent})


@lru_cache(maxsize=16)
def _hard_curve(upper: float, lower: float, bend: str) -> plots.Plot:
    """Both curves without soft reach: this leg's is drawn anew as its length changes."""
    pulled = np.arange(-NEAR, BEYOND + 1)
    bent = np.degrees(_knee(upper + lower + pulled / 1000, upper, lower, 0.0))
    return plots.curves(
        pulled,
        {HARD: bent, THIS: bent},
        "goal beyond full reach (mm)",
        f"{bend} bent (°)",
        title=f"The {bend}'s way to straight",
        desc=f"The {bend}'s bend against the goal's distance, with soft reach and without.",
        kinds={THIS: "inverse", HARD: "soft"},
        ylim=(0, 60),
        width=286,
        height=340,
    )


def _knee(distance: ArrayLike, upper: float, lower: float, soft: float) -> Floats:
    """The knee's flexion by the law of cosines, at a distance of hip and goal [rad]."""
    held = two_bone.soft_reach(distance, upper, lower, soft)
    cosine = (held**2 - upper**2 - lower**2) / (2 * upper * lower)
    return np.arccos(np.clip(cosine, -1, 1))


# 07: the pole


def pole_panel(state: State) -> Panel:
    """A pole to place ahead of the knee, behind the heron's ankle, from the side and from above."""
    room = (
        POLE_ROOM if state.chain.way > 0 else POLE_ROOM[::-1] * [0, 0, -1] + POLE_ROOM * [1, 1, 0]
    )
    return Panel(
        f"Place the pole so that the {state.chain.bend} stays",
        views.point_sliders("pole", "Pole", state.pole_mm, room * _larger(state)),
        partial(_pole, state),
        size=600,
        grips=[
            Grip(
                "Pole",
                lambda **values: views.at("pole", values),
                tuple(f"pole_{axis}" for axis in views.AXES),
            )
        ],
    )


def pole_changed(state: State, values: Mapping[str, Any]) -> State:
    """The state with the pole there."""
    return state.changed(pole_mm=views.point_of("pole", values))


def _pole(state: State, **values: Any) -> tuple[Row, str]:
    now = pole_changed(state, values)
    near, far = (-0.45, 1.2) if state.chain.way > 0 else (-1.2, 0.45)  # along z
    stages = [
        _pole_view(now, view, title, low, high, width)
        for view, title, low, high, width in (
            ("side", "From the side", (near, -0.05), (far, 1.08), 370),
            ("top", "From above", (-0.4, -far), (0.5, -near), 202),
        )
    ]
    return row(*stages), views.said(now, "07")


def _larger(state: State) -> float:
    """A character's size, 1 for hips 0.9 m high or less."""
    return max(1.0, size(state.puppet))


def _pole_view(
    state: State, view: str, title: str, low: ArrayLike, high: ArrayLike, width: int
) -> Stage:
    """The leg at rest, dotted, and as the pole turns it."""
    points = views.leg(state, state.chain.hinges)
    *above, knee, ankle = points
    upper, lower = np.linalg.norm(np.diff(points[-3:], axis=0), axis=-1)
    pole = np.array(state.pole_mm) / 1000
    ahead = [0, 0, state.chain.way]
    pose = two_bone.solve(above[-1], ankle, upper, lower, pole, hint=ahead)
    corners = np.array([low, high]) * _larger(state)
    stage = Stage(view, corners[0], corners[1], title, width=width).floor()
    surface = build.skin(state.puppet)
    stage.surface(surface.vertices, surface.triangles).behind_words().ghost(points)
    if view == "top":
        _plane(stage, points, float(corners[0][1]))
    foot = views.leg(state, ("ball", "toe"))
    stage.chain([*above, pose.knee, ankle, *foot], "inverse", thickness=12)
    stage.pole(pole, "pole", pose.knee)
    jump = 100 * float(np.linalg.norm(pose.knee - knee))
    return stage.measure(knee, pose.knee, f"{jump:.1f} cm") if jump >= SHOWN else stage


def _plane(stage: Stage, points: Floats, lowest: float) -> None:
    """Draw where hip, knee and ankle lie in one plane, from above, ahead of the knee."""
    hip, knee, ankle = points[-3:]
    way = (ankle - hip) / np.linalg.norm(ankle - hip)
    off = (knee - hip - ((knee - hip) @ way) * way) * [1, 0, 1]
    if off[2] > 1e-3:
        end = knee + off / off[2] * (-lowest - 0.12 - knee[2])
        stage.path([knee, end], "soft").note(end, "plane of the leg", "soft", "below")
