"""Lesson 10's pictures: a stride and its slide, planted feet, a pelvis within and beyond reach.

Every stride has 100 frames, so that a frame is a percent of the left leg's stride. The strides
shown are a walk's second, in which each foot's landing is known; those of `swung` are whole walks.
"""

from dataclasses import dataclass
from functools import cache, lru_cache, partial

import numpy as np

from rigkit import _format, gait, plots
from rigkit._types import Floats
from rigkit.asking import Check, Guess, Number
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import Puppet
from rigkit.scenes.bodies import draw_body
from rigkit.scenes.filmstrip import filmstrip
from rigkit.scenes.forward_and_inverse import AHEAD, foot_grips, slid_cm, walk_view
from rigkit.scenes.staging import HALF, at_frame, draw_leg, half_stage, measure_cm, moment, size
from rigkit.scenes.words import SHOWN, directed, number
from rigkit.stage import Row, Stage, row

FRAMES = 100
FINE = 10  # times as many frames in which a slide is measured: as many as in `Walk.slide_cm`
SECOND = slice(FRAMES, 2 * FRAMES + 1)
LEGS = {"as published": "forward", "feet planted": "inverse"}
PELVES = ("level, high", "level, low", "as published", "within reach")
MOMENTS = {
    0: "left contact",
    9: "right leaves",
    28: "passing",
    50: "right contact",
    59: "left leaves",
    78: "passing",
}  # of a stride, percent
BESIDE = {"width": HALF, "height": 446}  # a plot beside a walker
SIDES = ("left", "right")
SWAYING = 392  # px: the width of a view of the panel with the most sliders
HIPS_LINE = 0.25  # m on either side of the pelvis, of a puppet of size 1
OUTWARD = ("left", "right")  # of its right and its left end, seen from the front or from above


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


def _stride(walk, fine=None):
    """A `Stride` of a walk; `fine` is the same in `FINE` times as many frames."""
    pops = tuple(pop for pop in gait.extension_pops(walk) if pop.frame > FRAMES)
    slid = slid_cm(fine.points, fine.stance)[::FINE] if fine else slid_cm(walk.points, walk.stance)
    return Stride(walk, slid, pops)


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
    if legs == "as published":
        return _stride(walk, gait.walk(puppet, frames=FINE * FRAMES, cycles=2))
    return _stride(gait.plant(walk))


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
    return filmstrip(
        stride(puppet).walk,
        [FRAMES + percent for percent in MOMENTS],
        [
            (f"{percent} %" if percent in (0, 50) else "?", words)
            for percent, words in MOMENTS.items()
        ],
        "One stride, six moments: from a foot's strike to its next",
        "Side view of a walking puppet at six moments of one stride, in order: contact, the left"
        " foot strikes, at 0 percent; the right foot leaves the floor; passing, the right foot"
        " swings past the left one; contact, the right foot strikes, at 50 percent; the left foot"
        " leaves; passing, the left foot swings past the right one.",
    )


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


def footfalls_guess(puppet: Puppet) -> Panel:
    """The bars of `footfalls`, behind the question when a foot leaves the floor."""
    off, both = _toe_off(stride(puppet).walk), both_down(_toe_off(stride(puppet).walk))
    told = (
        f"The left foot leaves at <b>{off:.0f} %</b>. At 50 % one foot would lift just as the other"
        " lands, and both would never be down together. They are, twice, for"
        f" {both / 2:.0f} % each time."
    )
    return Panel("When is a foot on the floor?", [], lambda: (footfalls(puppet), "")).after(
        Guess(
            "10/leaves",
            f"{puppet.name}'s left foot comes down at 0 % of its stride, the right one at 50 %. At"
            " how many percent does the left foot leave the floor again?",
            Number("%", 0, 100, 2),
            lambda: (off, told),
        )
    )


def both_down(stance_percent: float) -> float:
    """Count from their contacts how long both feet are down together, percent of a stride."""
    phase = np.arange(1000) / 1000
    left, right = phase < stance_percent / 100, (phase + 0.5) % 1 < stance_percent / 100
    return float(100 * np.mean(left & right))


def both_check(stance_percent: float = 65.0) -> Panel:
    """A slower walker's time on both feet."""
    own, both = f"{stance_percent:.0f} %", both_down(stance_percent)
    return quick_check(
        Check(
            "10/both",
            f"A tired puppet walks slower: each foot is down for {own} of its own stride. For how"
            " many percent of a stride are both feet down, all in all?",
            Number("%", 0, 100, 1),
            both,
            f"One foot's last {both / 2:.0f} % are the other's first {both / 2:.0f}, and that comes"
            " twice in a stride.",
            {
                both / 2: "That is one time. It comes twice: left before right, right before left.",
                100 - stance_percent: "That is how long one foot is in the air.",
                stance_percent: "That is how long one foot is down, alone or not.",
                both_down(59): "That is right for a foot that leaves at 59 %, as in the picture."
                f" This one leaves at {own}.",
            },
            "The other foot lands at 50 %. How long does the first one stay down after that?",
        )
    )


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
    """One moment of a stride, its angles, and words on which foot is down.

    The left foot's slide since it came down is measured; the right one's is the same half a stride
    later.
    """
    shown, now = stride(puppet, legs), FRAMES + percent
    kind = LEGS[legs]
    title = f"{kind.capitalize()} legs, {legs}"
    slid = np.where([True, False], shown.slid, np.nan)
    view = walk_view(puppet, title, kind, shown.walk.points, slid, now, (kind,))
    words = (
        f"{percent} % of the left leg's stride, {(percent + 50) % 100} % of the right one's."
        f" {_feet(shown, now)}"
    )
    return row(view, angles_plot(puppet, legs).at(percent)), words


def _feet(shown, now):
    """The feet in words: which is down, and how far the left one has slid."""
    left, right = ("down" if down else "in the air" for down in shown.walk.stance[now])
    if shown.walk.stance[now, 0]:
        left += f", slid <b>{shown.slid[now, 0]:.1f} cm</b>"
    whole = shown.walk.slide_cm[0]
    until = f" In all it slides {whole:.1f} cm." if now - FRAMES >= _last_down(shown.walk) else ""
    return f"Left foot {left}; right foot {right}.{until}"


def _last_down(walk):
    """The last percent of its stride at which the left foot is down."""
    return np.flatnonzero(walk.stance[FRAMES : 2 * FRAMES, 0])[-1]


def stride_panel(puppet: Puppet) -> Panel:
    """A stride to step through, with the left leg's angles; as published or with planted feet."""
    for legs in LEGS:
        angles_plot(puppet, legs)
    return Panel(
        "Step through one stride: how far does the left foot slide?",
        [
            Slider("percent", "Left leg's stride", 0, FRAMES - 1, 1, 0, "%"),
            Choice("legs", "Legs", tuple(LEGS), "as published"),
        ],
        partial(striding, puppet),
        {
            "Left contact": (0,),
            "Right leaves": (9,),
            "Passing": (28,),
            "Right contact": (50,),
            "About to leave": (58,),
            "Left leaves": (59,),
            "About to leave, planted": (58, "feet planted"),
        },
        play="percent",
        grips=[*_feet_of(lambda legs: stride(puppet, legs)), moment("percent", -22.0)],
    )


SLIDES = {"under 1 cm": 1.0, "1 to 5 cm": 5.0, "5 to 20 cm": 20.0, "over 20 cm": np.inf}  # most


def slide_guess(puppet: Puppet) -> Panel:
    """The stride, behind the question how far a foot slides when angles alone move it."""
    return stride_panel(puppet).after(
        Guess(
            "10/slide",
            f"{puppet.name}'s joints turn by angles that were measured on people, and the pelvis"
            " moves ahead as fast as the steps are long. How far does the left foot slide along the"
            " floor while it is down?",
            tuple(SLIDES),
            partial(_slide_found, puppet),
            then="Pull the left foot along, or play the stride, until that foot leaves the floor.",
        )
    )


def _slide_found(puppet, percent, legs):
    walk = stride(puppet, legs).walk
    if legs != "as published" or percent < _last_down(walk):
        return None
    cm = walk.slide_cm[0]
    share = cm / (2 * walk.step_length)
    right = next(words for words, most in SLIDES.items() if cm < most)
    return (
        right,
        f"It slid <b>{cm:.1f} cm</b>, {share:.0f} % of the stride's length: the angles and the"
        " pelvis never agreed.",
    )


def to_and_fro_check(puppet: Puppet) -> Panel:
    """Two measures of one foot that differ, and why."""
    cm = slide_measures(puppet)
    to_and_fro = "The foot slid to and fro"
    return quick_check(
        Check(
            "10/to-and-fro",
            f"When {puppet.name}'s left foot leaves the floor, the tip of its toe is"
            f" {cm['first to last']:.1f} cm from where it was at the strike. Yet the foot slid"
            f" {cm['along the floor']:.1f} cm. How can both be right?",
            (to_and_fro, "The rest was in the swing", "The ankle rode ahead", "The hips moved on"),
            to_and_fro,
            "What comes back cancels from first to last. In a slide it is added.",
            {
                "The rest was in the swing": "Slide is measured in stance only. With the swing it"
                f" would be {cm['swing included']:.0f} cm, and a foot in the air may move.",
                "The ankle rode ahead": f"It does, by {cm['ankle, planted']:.1f} cm even over a"
                " foot that does not slide. But the slide was measured at the sole.",
                "The hips moved on": f"Seen from them the foot went {cm['from the hips']:.0f} cm"
                " back. But the slide was measured on the floor.",
            },
        )
    )


@cache
def slide_measures(puppet: Puppet) -> dict[str, float]:
    """Five measures of how far a left foot goes in one stance, cm; the first is its slide."""
    fine = gait.walk(puppet, frames=1000, cycles=1)
    sole, down = fine.points[:, :, -3:], fine.stance
    always, from_hips = np.ones_like(down), sole - fine.pelvis[:, None, None]
    start, end = np.flatnonzero(down[:1000, 0])[[0, -1]]
    toe, ankle = fine["toe"][:, 0, 2], gait.plant(fine)["ankle"][:, 0, 2]
    return {
        "along the floor": float(gait.foot_slide_cm(sole, down)[:, 0].sum()),
        "swing included": float(gait.foot_slide_cm(sole, always)[:, 0].sum()),
        "from the hips": float(gait.foot_slide_cm(from_hips, down)[:, 0].sum()),
        "first to last": float(100 * abs(toe[end] - toe[start])),
        "ankle, planted": float(100 * abs(ankle[end] - ankle[start])),
    }


def _feet_of(shown):
    """Grips on the feet of the walker on the left, from the other values to their `Stride`."""

    def motion(percent, **values):
        return shown(**values).walk.points, FRAMES + percent

    return foot_grips("", motion, "percent", 0)


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


def jump_guess(puppet: Puppet) -> Panel:
    """The correction of `moved_plot`, behind the question what it would do at toe-off."""
    slid = stride(puppet, "as published").walk.slide_cm[0]
    offered = {"not at all": 0.0, "by about 2 cm": 2.0, f"by all it slid, {slid:.1f} cm": slid}
    jump = _jump_cm(puppet)
    right = min(offered, key=lambda words: abs(offered[words] - abs(jump)))
    told = (
        f"The correction is <b>{number(jump)} cm</b> when the foot leaves: a foot that slides to"
        " and fro ends near where it should be. In one frame even that can be seen."
    )
    plot = moved_plot(puppet)
    return Panel(plot.title, [], lambda: (plot, "")).after(
        Guess(
            "10/jump",
            f"{puppet.name}'s left foot is held where it stands. That takes a correction, different"
            " in each frame. Suppose the correction simply stopped when the foot leaves the floor."
            " By how much would the foot jump?",
            tuple(offered),
            lambda: (right, told),
        )
    )


def _jump_cm(puppet):
    """The forward correction when the left foot leaves the floor, cm."""
    before = published(puppet)
    off = FRAMES + _last_down(before) + 1
    return 100 * (gait.foot_goals(before) - before["ankle"])[off, 0, 2]


@dataclass(frozen=True)
class Lowered:
    """Tell what a lower pelvis does to planted feet: slide and depth [cm], the knee's turn [°]."""

    slide_cm: float
    deep_cm: float
    knee_deg: float


@cache
def lowered(puppet: Puppet, down_cm: float) -> Lowered:
    """A planted walk whose pelvis rides lower than it did, against the walk as it was."""
    walk, path = published(puppet), _within_reach(puppet)
    low, was = gait.plant(walk, path - [0, down_cm / 100, 0]), gait.plant(walk, path)
    deep = -100 * low.points[SECOND, :, -3:, 1].min()
    knee = np.degrees(np.abs(low.knee - was.knee)[SECOND].max())
    return Lowered(float(low.slide_cm.max()), float(deep), float(knee))


def lowered_check(puppet: Puppet, down_cm: float = 1.0) -> Panel:
    """Ask who notices that the pelvis of a planted walk was lowered."""
    seen = lowered(puppet, down_cm)
    right = "It stays; hips, knees and ankles turn"
    return quick_check(
        Check(
            "10/lowered",
            f"{puppet.name}'s walk is planted. Now its pelvis is lowered by {down_cm:.0f} cm in"
            " every frame. What becomes of a foot that is down?",
            (f"It sinks by {down_cm:.0f} cm", "It slides", right),
            right,
            f"The foot stays where its goal is: {seen.slide_cm:.1f} cm of slide,"
            f" {seen.deep_cm:z.1f} cm into the floor. A knee pays, by up to"
            f" {seen.knee_deg:.0f}°.",
            {
                f"It sinks by {down_cm:.0f} cm": "So it would on a forward leg, which hangs from"
                " the pelvis (lesson 04). A planted foot is a goal, and a goal does not.",
                "It slides": f"It slides {seen.slide_cm:.1f} cm. Its goal stands still, and the leg"
                " is solved for it in each frame.",
            },
        )
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
    straightest = _straightest_deg(walk)
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
            view.note(
                _seen(walk, "ankle", now)[side], f"{tag} {short:.1f} cm short", "miss", loud=True
            )
    return view


def _seen(walk, joint, now):
    """A joint of both legs as the `walk_view` of that frame has it, shape (2, 3)."""
    return walk[joint][now] - walk["hip"][now].mean(axis=0) * AHEAD


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
            "80 cm, within reach": (55, 80, "within reach"),
        },
        size=800,
        play="percent",
        grips=[
            *_feet_of(lambda step_cm, path: carried(puppet, step_cm, path)),
            moment("percent", _limits(puppet)[0] + 2.0),
        ],
    )


def pelvis_guess(puppet: Puppet) -> Panel:
    """The pelvis paths, behind the question what is wrong with a low one."""
    return pelvis_panel(puppet).after(
        Guess(
            "10/low",
            "Both feet are planted, and the pelvis rides level, as high as the legs allow in the"
            " worst frame of the stride. What is wrong with that?",
            LOW_TROUBLES,
            partial(_low_found, puppet),
            then="Set the pelvis to <i>level, low</i> and look at the standing leg.",
        )
    )


LOW_TROUBLES = ("feet are dragged", "a knee pops", "the standing knee stays bent", "nothing")


def _low_found(puppet, percent, step_cm, path):
    if path != "level, low":
        return None
    shown = carried(puppet, step_cm, path)
    bent, miss = _straightest_deg(shown.walk), 100 * shown.walk.miss[SECOND].max()
    troubles = (miss >= SHOWN, bool(shown.pops), bent > USUAL_BEND, True)
    right = next(words for words, is_so in zip(LOW_TROUBLES, troubles, strict=True) if is_so)
    return right, (
        f"There is {_pops(shown)}, and the feet are short by {miss:.1f} cm. But the standing knee"
        f" is bent by <b>{bent:.0f}°</b> or more, as under a low ceiling."
    )


USUAL_BEND = 10.0  # °: within reach a standing knee gets straighter than that


def _straightest_deg(walk):
    """The least the left knee is bent while that leg alone stands in the last stride."""
    return np.degrees(walk.knee[-FRAMES - 1 :][15:46, 0]).min()


def decides_check(puppet: Puppet, percent: int = 30) -> Panel:
    """Ask how high a pelvis may be over two legs."""
    left, right = 100 * gait.highest_hips(published(puppet))[FRAMES + percent]
    low, high = sorted((float(left), float(right)))
    return quick_check(
        Check(
            "10/decides",
            f"At {percent} % of {puppet.name}'s stride the left leg allows the hips"
            f" {left:.1f} cm of height, the right one {right:.1f} cm. How high may they be?",
            Number("cm", 0, 200, 0.25),
            low,
            "Both feet are to be reached, so the lower height counts.",
            {
                high: "That leg could follow. The other one would be too short.",
                (low + high) / 2: "Half way is still too high for one of the legs.",
            },
            "Both feet are to be reached. Which leg is the first to say no?",
        )
    )


# What else the pelvis does


@lru_cache(maxsize=64)
def swung(puppet: Puppet, sway: int, rotation: int, obliquity: int) -> gait.Walk:
    """A stride with feet planted, its pelvis moved by percents of the usual motion."""
    walk = gait.walk(
        puppet,
        frames=FRAMES,
        cycles=1,
        sway=sway / 100,
        rotation=rotation / 100,
        obliquity=obliquity / 100,
    )
    return gait.plant(walk)


def pelvis_moves(walk: gait.Walk) -> Floats:
    """Sway (cm), turn and drop (°) of the line through both hips, shape (f, 3).

    To the left, left hip ahead and right hip lower are positive. Read from where the hips are; the
    drop is as seen from the front.
    """
    left, right = walk["L_hip"], walk["R_hip"]
    across, up, ahead = (left - right).T
    turned = np.degrees(np.arctan2(ahead, np.hypot(across, up)))
    dropped = np.degrees(np.arctan2(up, across))
    return np.stack([50 * (left + right)[:, 0], turned, dropped], axis=-1)


def swinging(
    puppet: Puppet, percent: int, sway: int, rotation: int, obliquity: int
) -> tuple[Row, str]:
    """One moment of a walk from the front and from above, and in words what its pelvis does."""
    walk = swung(puppet, sway, rotation, obliquity)
    moves = pelvis_moves(walk)
    side, turned, dropped = moves[percent]
    far, turn, drop = np.ptp(moves, axis=0)
    knee = _straightest_deg(walk)
    words = (
        f"{percent} %: pelvis {directed(side, 'to the left', 'to the right', 'in the middle')},"
        f" {_which_hip(turned, 'left', 'ahead', 'square')},"
        f" {_which_hip(dropped, 'right', 'lower', 'level')}. In a stride <b>{far:.1f} cm</b> of"
        f" sway, <b>{turn:.1f}°</b> of turn, <b>{drop:.1f}°</b> of drop; the hips rise by"
        f" {100 * np.ptp(walk.pelvis[:, 1]):.1f} cm, the standing knee is bent {knee:z.0f}° or"
        f" more, the feet slide {walk.slide_cm[0]:.1f} cm."
    )
    return row(_from_front(puppet, walk, percent), _from_above(puppet, walk, percent)), words


def _which_hip(degrees, plus, where, zero):
    """One hip against the other in words, such as "left hip 3.4° ahead"."""
    if abs(degrees) < SHOWN:
        return zero
    hip = plus if degrees > 0 else {"left": "right", "right": "left"}[plus]
    return f"{hip} hip {abs(degrees):.1f}° {where}"


def _from_front(puppet, walk, now):
    """Both legs, the line through the hips against a level one, and the middle of the feet."""
    tall, pelvis = size(puppet), walk.pelvis[now]
    corners = (-0.62, -0.06), (0.62, 1.06)
    stage = half_stage(
        "From the front", *corners, tall, "front", legend=("inverse",), width=SWAYING
    ).floor()
    draw_body(stage, puppet, walk["hip"][now])
    over = pelvis[1] + 0.07 * tall
    stage.path([(0.0, 0.0), (0.0, over)], "soft").ghost(_across(pelvis, tall))
    stage.path(_through(walk, now, tall))
    for i in np.argsort(walk["ankle"][now, :, 2]):  # the nearer leg last
        draw_leg(stage, walk.points[now, i], "inverse", "LR"[i], thickness=16)
    side, _, dropped = pelvis_moves(walk)[now]
    measure_cm(stage, (0.0, over), (pelvis[0], over), abs(side), kind="plain", place="above")
    if abs(dropped) >= SHOWN:
        low = int(dropped < 0)
        stage.note(
            _through(walk, now, tall)[low],
            f"{abs(dropped):.1f}° lower",
            place=OUTWARD[low],
            loud=True,
        )
    return stage


def _from_above(puppet, walk, now):
    """Both feet and hips from above, and the way of the pelvis."""
    tall, gone = size(puppet), walk.pelvis[now] * AHEAD
    pelvis, through = walk.pelvis[now] - gone, _through(walk, now, tall) - gone
    corners = (-0.62, -0.6), (0.62, 0.52)
    stage = half_stage("From above; ahead is down", *corners, tall, "top", width=SWAYING).floor()
    seen = round(FRAMES * 0.5 * tall / (2 * walk.step_length))
    near = np.arange(-seen, seen + 1)
    way = walk.pelvis[(now + near) % FRAMES]
    way[:, 2] = near / FRAMES * 2 * walk.step_length
    stage.path(way, "soft").ghost(_across(pelvis, tall))
    stage.path(through)
    for i in np.argsort(-walk["ankle"][now, :, 1]):
        draw_leg(stage, walk.points[now, i] - gone, "inverse", "LR"[i], thickness=16)
    turned = pelvis_moves(walk)[now, 1]
    if abs(turned) >= SHOWN:
        ahead = int(turned > 0)
        words = f"{abs(turned):.1f}° ahead"
        stage.note(through[ahead], words, place=OUTWARD[ahead], loud=True)
    return stage


def _across(pelvis, tall):
    """The ends of a level line through the pelvis, square to the way."""
    return pelvis + np.array([[-1.0, 0, 0], [1.0, 0, 0]]) * HIPS_LINE * tall


def _through(walk, now, tall):
    """The ends of the line through both hips, the right one first."""
    hips = walk["hip"][now]
    along = (hips[0] - hips[1]) / np.linalg.norm(hips[0] - hips[1])
    return walk.pelvis[now] + along * np.array([[-1.0], [1.0]]) * HIPS_LINE * tall


def _swung_points(puppet, percent, sway, rotation, obliquity):
    """A swung stride's points, and the frame in it."""
    return swung(puppet, sway, rotation, obliquity).points, percent


def _hips_line(puppet, end, percent, **shares):
    """A place on the line through both hips, from its middle, 0, to its left end, 1.

    As `_from_front` and `_from_above` show it: each share moves it by so much of the usual motion.
    """
    usual = swung(puppet, 100, 100, 100)
    sway, about_y, about_z = (
        share / 100 * motion[percent]
        for share, motion in zip(
            (shares["sway"], shares["rotation"], shares["obliquity"]),
            (usual.pelvis[:, 0], usual.pelvis_rotation, usual.pelvis_obliquity),
            strict=True,
        )
    )
    height = swung(puppet, *map(round, shares.values())).pelvis[percent, 1]
    along = np.array(
        [np.cos(about_y) * np.cos(about_z), np.cos(about_y) * np.sin(about_z), -np.sin(about_y)]
    )
    return np.array([sway, height, 0.0]) + end * HIPS_LINE * size(puppet) * along


def sway_panel(puppet: Puppet) -> Panel:
    """A walk whose pelvis sways, turns and drops by shares of the usual motion."""
    kinds = {"sway": "Sways sideways", "rotation": "Turns", "obliquity": "Drops on one side"}
    return Panel(
        "Let the pelvis move: what do hips, knees and feet make of it?",
        [
            Slider("percent", "Left leg's stride", 0, FRAMES - 1, 1, 0, "%"),
            *(Slider(key, label, 0, 200, 25, 0, "%") for key, label in kinds.items()),
        ],
        partial(swinging, puppet),
        {
            "Held": (20, 0, 0, 0),
            "Sways": (30, 100, 0, 0),
            "Turns": (0, 0, 100, 0),
            "Drops": (15, 0, 0, 100),
            "As usual": (15, 100, 100, 100),
            "All doubled": (15, 200, 200, 200),
        },
        play="percent",
        grips=[
            Grip("Pelvis", partial(_hips_line, puppet, 0), ("sway",), (0,)),
            Grip("Hips, from the front", partial(_hips_line, puppet, 1), ("obliquity",), (0,)),
            Grip("Hips, from above", partial(_hips_line, puppet, 1), ("rotation",), (1,)),
            *foot_grips("", partial(_swung_points, puppet), "percent", 1),
        ],
    )


def sway_guess(puppet: Puppet) -> Panel:
    """The moving pelvis, behind the question what the feet notice."""
    return sway_panel(puppet).after(
        Guess(
            "10/sway",
            "The feet are planted. The pelvis sways to the side, turns and drops as people's does."
            " How far do the feet slide?",
            ("as far as the pelvis sways", "a little", "not at all"),
            partial(_sway_found, puppet),
            then="Press <i>As usual</i>, and play.",
        )
    )


def _sway_found(puppet, percent, **shares):
    if min(shares.values()) < 100:
        return None
    walk = swung(puppet, *map(round, shares.values()))
    far, turn, drop = np.ptp(pelvis_moves(walk), axis=0)
    cm = walk.slide_cm[0]
    right = (
        "not at all" if cm < SHOWN else "a little" if cm < far / 2 else "as far as the pelvis sways"
    )
    return right, (
        f"The feet slid <b>{cm:.1f} cm</b>, while the pelvis swayed by {far:.1f} cm, turned by"
        f" {turn:.1f}° and dropped by {drop:.1f}°. Hips and knees made up for it."
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
            at = _seen(shown.walk, "knee", now)[side]
            view.note(at, f"pop, {pop.speed_deg:.0f}°/s", "miss", "right")
    where = ", ".join(f"{pop.side[0]} at {pop.frame - FRAMES} %" for pop in shown.pops)
    miss = 100 * shown.walk.miss[SECOND].max()
    words = (
        f"Pelvis {_raised(raised_cm)}: <b>{_pops(shown)}</b> in this"
        f" stride{f' ({where})' if where else ''}. Feet short by up to <b>{miss:.1f} cm</b>,"
        f" sliding {shown.walk.slide_cm[0]:.1f} cm."
    )
    return row(view, knee_plot(puppet, raised_cm).at(percent)), words


def _raised_hip(puppet, percent, raised_cm):
    """The left hip of the walker under a raised pelvis, without its legs."""
    return 0.0, at_frame(_within_reach(puppet)[:, 1], FRAMES + percent) + raised_cm / 100


def _raised(raised_cm):
    return directed(raised_cm, "too high", "lower still", "within reach")


def pop_panel(puppet: Puppet) -> Panel:
    """A pelvis to raise beyond reach, centimetre by centimetre."""
    for half in range(-4, 9):
        knee_plot(puppet, half / 2)
    return Panel(
        "Break it: raise the pelvis beyond reach",
        [
            Slider("percent", "Left leg's stride", 0, FRAMES - 1, 1, 40, "%"),
            Slider("raised_cm", "Pelvis raised", -2.0, 4.0, 0.5, 0.0, "cm"),
        ],
        partial(popping, puppet),
        {
            "Within reach": (45, 0),
            "Half a centimetre": (45, 0.5),
            "1 cm too high": (43, 1),
            "2 cm too high": (39, 2),
        },
        play="percent",
        grips=[
            Grip("Pelvis", partial(_raised_hip, puppet), ("raised_cm",), (0,)),
            *_feet_of(lambda raised_cm: raised(puppet, raised_cm)),
            moment("percent", 70.0),
        ],
    )


def pop_guess(puppet: Puppet) -> Panel:
    """The pelvis to raise, behind the question what half a centimetre does."""
    return pop_panel(puppet).after(
        Guess(
            "10/half",
            f"{puppet.name}'s pelvis rides within reach of both feet. It is raised by half a"
            " centimetre. What would you notice in the film?",
            ("nothing", "the feet slide", "a knee snaps"),
            partial(_half_found, puppet),
            then="Press <i>Half a centimetre</i>, step from 40 to 48 %, and watch the knees.",
        )
    )


def _half_found(puppet, percent, raised_cm):
    if raised_cm != 0.5:
        return None
    shown = raised(puppet, raised_cm)
    slide, miss = shown.walk.slide_cm[0], 100 * shown.walk.miss[SECOND].max()
    fastest = max((pop.speed_deg for pop in shown.pops), default=0.0)
    right = "a knee snaps" if shown.pops else "the feet slide" if slide > 1.0 else "nothing"
    return right, (
        f"The feet slide by {slide:.1f} cm and are short by {miss:.1f} cm at most, which nobody"
        f" sees. But a knee turns at up to <b>{fastest:.0f}° a second</b> as it snaps straight."
    )
