"""Lesson 10's pictures: a stride and its slide, planted feet, a pelvis within and beyond reach.

Every stride has 100 frames, so that a frame is a percent of the left leg's stride. The strides
shown are a walk's second, in which each foot's landing is known.
"""

from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from rigkit import _format, gait, plots
from rigkit._types import Floats
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.forward_and_inverse import slid_cm, walk_view
from rigkit.scenes.staging import HALF, draw_leg, half_stage, size
from rigkit.scenes.words import SHOWN, directed, number
from rigkit.stage import Row, Stage, row

FRAMES = 100
SECOND = slice(FRAMES, 2 * FRAMES + 1)
LEGS = {"as published": "forward", "feet planted": "inverse"}
PELVES = ("level, high", "level, low", "as published", "within reach")
MOMENTS = {
    0: "left strikes",
    9: "right leaves",
    30: "one stands",
    50: "right strikes",
    59: "left leaves",
    80: "one stands",
}  # of a stride, percent
BESIDE = {"width": HALF, "height": 446}  # a plot beside a walker
SIDES = ("left", "right")


@dataclass(frozen=True)
class Stride:
    """A walk of two strides, its slides and its pops.

    Slides are how far each foot has slid since it came down, cm, NaN in the air; pops are those of
    the second stride.
    """

    walk: gait.Walk
    slid: np.ndarray
    pops: tuple

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"{self.walk}",
            f"feet slide up to {_format.amount(np.nanmax(self.slid), ' cm', 1)} a step",
            _format.count(len(self.pops), "pop"),
        )


def _stride(walk):
    pops = tuple(pop for pop in gait.extension_pops(walk) if pop.frame > FRAMES)
    return Stride(walk, slid_cm(walk.points, walk.stance), pops)


@cache
def published(puppet: Puppet, step_cm: float | None = None) -> gait.Walk:
    """A forward walk of two strides, `step_cm` from foot to foot."""
    return gait.walk(
        puppet, step_length=None if step_cm is None else step_cm / 100, frames=FRAMES, cycles=2
    )


@cache
def stride(puppet: Puppet, legs: str = "feet planted") -> Stride:
    """A `Stride` at the puppet's own pace, its legs as published or with feet planted."""
    walk = published(puppet)
    return _stride(walk if legs == "as published" else gait.plant(walk))


@cache
def _within_reach(puppet, step_cm=None):
    return gait.pelvis_path(published(puppet, step_cm))


def pelvis(puppet: Puppet, step_cm: float | None, path: str) -> Floats:
    """A pelvis path of `PELVES`, shape (f, 3).

    A level one is at the published one's mean, or at the lowest within reach.
    """
    walk, safe = published(puppet, step_cm), _within_reach(puppet, step_cm)
    heights = {
        "level, high": walk.pelvis[:, 1].mean(),
        "level, low": safe[:, 1].min(),
        "as published": walk.pelvis[:, 1],
        "within reach": safe[:, 1],
    }[path]
    return np.stack([walk.pelvis[:, 0], heights + 0 * walk.times, walk.pelvis[:, 2]], axis=-1)


@cache
def carried(puppet: Puppet, step_cm: float | None, path: str) -> Stride:
    """A `Stride` with feet planted under a pelvis path of `PELVES`."""
    return _stride(gait.plant(published(puppet, step_cm), pelvis(puppet, step_cm, path)))


@cache
def raised(puppet: Puppet, raised_cm: float) -> Stride:
    """A `Stride` with feet planted under a pelvis that rides higher than the path within reach."""
    return _stride(gait.plant(published(puppet), _within_reach(puppet) + [0, raised_cm / 100, 0]))


# A stride in percent


def opening(puppet: Puppet) -> Stage:
    """Six moments of a stride with planted feet, and what happens in each.

    When the feet leave is not told yet.
    """
    walk = stride(puppet).walk
    tall = size(puppet)
    apart = 0.86 * tall
    stage = half_stage(
        "One stride, six moments: from a foot's strike to its next, and none of it slides",
        (-0.45 * tall, -0.38 * tall),
        (5.5 * apart, 0.98 * tall),
        desc="Side view of a walking puppet's legs at six moments of one stride, in order: the left"
        " foot strikes, at 0 percent; the right foot leaves the floor; the left leg stands alone;"
        " the right foot strikes, at 50 percent; the left foot leaves; the right leg stands alone.",
        width=876,
    ).floor()
    for i, (percent, words) in enumerate(MOMENTS.items()):
        frame = FRAMES + percent
        joints = walk.points[frame] - walk.pelvis[frame] * [0, 0, 1] + [0, 0, i * apart]
        for side, tag in ((1, "R"), (0, "L")):
            draw_leg(stage, joints[side], "inverse", tag, thickness=13)
        told = f"{percent} %" if percent in (0, 50) else "?"
        stage.note((i * apart, -0.035 * tall), told, "plain", "below")
        stage.note((i * apart, -0.185 * tall), words, "soft", "below")
    return stage


def _toe_off(walk):
    """The moment the left foot leaves the floor, percent of its stride."""
    return float(100 * np.mean(walk.stance[FRAMES : 2 * FRAMES, 0]))


def footfalls(puppet: Puppet) -> Stage:
    """Bars that show when each foot is down, over one stride of the left leg."""
    off = _toe_off(stride(puppet).walk)
    bars = {"L": [(0.0, off)], "R": [(0.0, off - 50), (50.0, 100.0)]}
    stage = Stage(
        "side",
        (-8, -9),
        (108, 15),
        "When is a foot on the floor?",
        f"Two bars over one stride of the left leg. The left foot is down from 0 to {off:.0f}"
        f" percent, the right one until {off - 50:.0f} and from 50 on. Both are down twice, for"
        f" {off - 50:.0f} percent each time.",
        width=760,
    )
    for (tag, spans), y in zip(bars.items(), (8, 1), strict=True):
        stage.note((-4, y + 2), tag, "inverse", "left")
        for a, b in spans:
            stage.skin([(a, y), (b, y), (b, y + 4), (a, y + 4)], "inverse")
    for percent in (0, off - 50, 50, off, 100):
        stage.path([(percent, -1), (percent, 14)], "soft")
        stage.note((percent, -1), f"{percent:.0f} %", "plain", "below")
    return stage


def _plot(lines, label, title, desc, **more):
    """Curves over one stride of the left leg."""
    percent = np.arange(FRAMES + 1)
    return plots.curves(percent, lines, "left leg's stride (%)", label, title, desc, **more)


@cache
def angles_plot(puppet: Puppet, legs: str) -> plots.Plot:
    """Hip, knee and ankle of the left leg through one stride."""
    walk = stride(puppet, legs).walk
    off = _toe_off(walk)
    lines = {joint: np.degrees(getattr(walk, joint)[SECOND, 0]) for joint in gait.JOINTS}
    return _plot(
        lines,
        "flexion (°)",
        "Left leg, joint by joint",
        f"Hip, knee and ankle of the left leg against its stride. It is in stance up to {off:.0f}"
        f" percent, then in swing. The knee bends to {lines['knee'].max():.0f} degrees in swing.",
        spans={"stance": (0, off)},
        ylim=(-30, 76),
        **BESIDE,
    )


def striding(puppet: Puppet, percent: int, legs: str) -> tuple[Row, str]:
    """One moment of a stride, its angles, and words on which foot is down and how far it slid."""
    shown, now = stride(puppet, legs), FRAMES + percent
    kind = LEGS[legs]
    title = f"{kind.capitalize()} legs, {legs}"
    view = walk_view(puppet, title, kind, shown.walk.points, shown.slid, now)
    words = (
        f"{percent} % of the left leg's stride, {(percent + 50) % 100} % of the right one's."
        f" {_feet(shown, now)}"
    )
    return row(view, angles_plot(puppet, legs).at(percent)), words


def _feet(shown, now):
    """The feet in words: which is down, and how far it has slid."""
    said = [
        f"{side} foot down, slid <b>{shown.slid[now, i]:.1f} cm</b>"
        if shown.walk.stance[now, i]
        else f"{side} foot in the air"
        for i, side in enumerate(SIDES)
    ]
    return f"{said[0].capitalize()}; {said[1]}."


def stride_panel(puppet: Puppet) -> Panel:
    """A stride to step through, with the left leg's angles; as published or with planted feet."""
    for legs in LEGS:
        angles_plot(puppet, legs)
    return Panel(
        "Step through one stride: when does a foot leave, and how far has it slid?",
        [
            Slider("percent", "Left leg's stride", 0, FRAMES - 1, 1, 20, "%"),
            Choice("legs", "Legs", tuple(LEGS), "as published"),
        ],
        partial(striding, puppet),
        {
            "Left strikes": (0,),
            "Right leaves": (9,),
            "One foot stands": (30,),
            "Right strikes": (50,),
            "About to leave": (58,),
            "Left leaves": (59,),
            "About to leave, planted": (58, "feet planted"),
        },
        play="percent",
    )


# Planting


def moved_plot(puppet: Puppet) -> plots.Plot:
    """Distances planting moves the left ankle from the published walk's, through one stride.

    They are measured forward and up.
    """
    before, after = published(puppet), stride(puppet).walk
    moved = 100 * (gait.foot_goals(before) - before["ankle"])[SECOND, 0]
    off = _toe_off(after)
    ahead = moved[:, 2]
    return _plot(
        {"forward": ahead, "up": moved[:, 1]},
        "ankle moved by (cm)",
        "What planting does to the ankle",
        "How far planting moves the left ankle, against its stride. In stance forward by"
        f" {number(ahead.min())} to {number(ahead.max())} centimetres, undoing the slide; in swing"
        " it goes smoothly from its last value to the next landing's.",
        spans={"stance: the slide undone": (0, off)},
    )


# The pelvis against reach


def _heights(puppet, step_cm, path):
    """The curves of `reach_plot`, cm."""
    low, high = _limits(puppet)
    rooms = 100 * np.clip(
        gait.highest_hips(published(puppet, step_cm), 1.0)[SECOND], low / 100, high / 100
    )
    return {
        "left leg allows": rooms[:, 0],
        "right leg allows": rooms[:, 1],
        "pelvis": 100 * pelvis(puppet, step_cm, path)[SECOND, 1],
    }


def _limits(puppet):
    """The lowest and the highest pelvis that is drawn, cm."""
    return 82 * puppet.hip_height, 108 * puppet.hip_height


@cache
def reach_plot(puppet: Puppet, step_cm: float, path: str) -> plots.Plot:
    """The height that each leg allows the pelvis, and the height it has."""
    lines = _heights(puppet, step_cm, path)
    return _reach_axes(puppet).with_lines(lines)


@cache
def _reach_axes(puppet):
    return _plot(
        _heights(puppet, 65, "within reach"),
        "height of the hips (cm)",
        "Is the pelvis under both curves?",
        "How high each leg lets the hips be, and how high the pelvis is, against the left leg's"
        " stride. Each leg's curve is lowest when its foot is far ahead or far behind, and highest"
        " as it swings.",
        kinds={"left leg allows": "inverse", "right leg allows": "inverse", "pelvis": "plain"},
        ylim=_limits(puppet),
        **BESIDE,
    )


def stepping(puppet: Puppet, percent: int, step_cm: float, path: str) -> tuple[Row, str]:
    """One moment of a walk under a pelvis path, and in words what becomes of its feet.

    The heights that its legs allow are shown beside it.
    """
    shown, now = carried(puppet, step_cm, path), FRAMES + percent
    walk = shown.walk
    view = _planted_view(puppet, f"Steps of {step_cm} cm, pelvis {path}", shown, now)
    height, miss = 100 * walk.pelvis[SECOND, 1], 100 * walk.miss[SECOND].max()
    straightest = np.degrees(walk.knee[FRAMES + 15 : FRAMES + 46, 0]).min()
    high = f"{height.min():.1f}" + (f" to {height.max():.1f}" if np.ptp(height) > 0.05 else "")
    words = (
        f"Pelvis {high} cm high: <b>{_pops(shown)}</b> in this stride. Feet short by up to"
        f" <b>{miss:.1f} cm</b>, sliding {walk.slide_cm[0]:.1f} cm; standing knee bent"
        f" {straightest:z.0f}° or more."
    )
    return row(view, reach_plot(puppet, step_cm, path).at(percent)), words


def _pops(shown):
    return _format.count(len(shown.pops), "pop") if shown.pops else "no pop"


def _planted_view(puppet, title, shown, now):
    """A walker with planted feet; a leg that is too short says by how much."""
    walk = shown.walk
    view = walk_view(puppet, title, "inverse", walk.points, np.full_like(shown.slid, np.nan), now)
    for side, tag in enumerate("LR"):
        short = 100 * walk.miss[now, side]
        if short >= SHOWN:
            view.note(walk["ankle"][now, side], f"{tag} {short:.1f} cm short", "miss", loud=True)
    return view


def pelvis_panel(puppet: Puppet) -> Panel:
    """Steps to lengthen under four pelvis paths, against what the legs allow."""
    steps = range(50, 91, 5)
    for step_cm in steps:
        for path in PELVES:
            carried(puppet, step_cm, path)
            reach_plot(puppet, step_cm, path)
    return Panel(
        "Lengthen the step: which pelvis stays within reach of both feet?",
        [
            Slider("percent", "Left leg's stride", 0, FRAMES - 1, 1, 55, "%"),
            Slider("step_cm", "Step", steps[0], steps[-1], 5, 65, "cm"),
            Choice("path", "Pelvis", PELVES, "level, high"),
        ],
        partial(stepping, puppet),
        {
            "Level, high": (55, 65, "level, high"),
            "Level, low": (30, 65, "level, low"),
            "Within reach": (55, 65, "within reach"),
            "80 cm, as published": (55, 80, "as published"),
            "80 cm, within reach": (55, 80, "within reach"),
        },
        play="percent",
    )


# Pops


@cache
def _knee_axes(puppet):
    return _plot(
        _knees(puppet, 0.0),
        "knee flexion (°)",
        "At 0° a leg has no more to give",
        "Both knees' flexion against the left leg's stride. A leg pulled beyond its "
        "reach has a knee of 0 degrees, and its curve a corner where it gets there.",
        kinds={"left knee": "inverse", "right knee": "inverse"},
        ylim=(-3, 80),
        **BESIDE,
    )


def _knees(puppet, raised_cm):
    knees = np.degrees(raised(puppet, raised_cm).walk.bend[SECOND])
    return {"left knee": knees[:, 0], "right knee": knees[:, 1]}


@cache
def knee_plot(puppet: Puppet, raised_cm: float) -> plots.Plot:
    """Both knees through a stride under a raised pelvis."""
    return _knee_axes(puppet).with_lines(_knees(puppet, raised_cm))


def popping(puppet: Puppet, percent: int, raised_cm: float) -> tuple[Row, str]:
    """One moment of a walk under a pelvis that rides too high, and its pops in words."""
    shown, now = raised(puppet, raised_cm), FRAMES + percent
    view = _planted_view(puppet, f"Pelvis {_raised(raised_cm)}", shown, now)
    for pop in shown.pops:
        if abs(pop.frame - now) <= 1:
            side = "LR".index(pop.side[0])
            view.note(
                shown.walk["knee"][now, side], f"pop, {pop.speed_deg:.0f}°/s", "miss", "right"
            )
    where = ", ".join(f"{pop.side[0]} at {pop.frame - FRAMES} %" for pop in shown.pops)
    miss = 100 * shown.walk.miss[SECOND].max()
    words = (
        f"Pelvis {_raised(raised_cm)}: <b>{_pops(shown)}</b> in this"
        f" stride{f' ({where})' if where else ''}. Feet short by up to <b>{miss:.1f} cm</b>,"
        f" sliding {shown.walk.slide_cm[0]:.1f} cm."
    )
    return row(view, knee_plot(puppet, raised_cm).at(percent)), words


def _raised(raised_cm):
    return directed(raised_cm, "too high", "lower still", "within reach")


def pop_panel(puppet: Puppet) -> Panel:
    """A pelvis to raise beyond reach, centimetre by centimetre."""
    for half in range(-4, 9):
        knee_plot(puppet, half / 2)
    return Panel(
        "Break it: raise the pelvis beyond reach",
        [
            Slider("percent", "Left leg's stride", 0, FRAMES - 1, 1, 38, "%"),
            Slider("raised_cm", "Pelvis raised", -2.0, 4.0, 0.5, 0.5, "cm"),
        ],
        partial(popping, puppet),
        {
            "Within reach": (41, 0),
            "Half a centimetre": (41, 0.5),
            "1 cm too high": (39, 1),
            "2 cm too high": (36, 2),
        },
        play="percent",
    )
