"""Lesson 11's pictures: a foot that rolls, the ankle that follows, and pivots put wrong.

It rolls over heel, ball and toe.

Seen from the side, (forward, up) in metres, from a spot on the floor below the ankle of the flat
foot.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, partial

import numpy as np

from rigkit import _format, foot, frames, gait, plots
from rigkit import controls as ct
from rigkit._types import ArrayLike, Floats
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.staging import draw_foot, half_stage, measure_cm, planar_leg
from rigkit.scenes.words import directed, number, signed
from rigkit.stage import Row, Stage, row

MOMENTS = {"Heel strike": -16, "Flat": 0, "Heel-off": 25, "Toe-off": 50}  # rolls of a step, degrees
LOWEST, HIGHEST = -30, 70  # of the sliders, degrees
RIGHT = "right"
# Who leads whom, and how high the pivots are, as a share of the ankle's height.
WIRINGS = {
    RIGHT: (("heel", "toe", "ball"), 0.0),
    "too high": (("heel", "toe", "ball"), 1.0),
    "in the wrong order": (("heel", "ball", "toe"), 0.0),
}
# Of the standing leg that rolls: forward of the ankle, and from full height [m].
HIPS = (0.10, -0.05)
CLOSE = ((-0.19, -0.09), (0.33, 0.31))
TO_THE_KNEE = ((-0.33, -0.12), (0.45, 0.57))


# A foot that hangs from its three pivots


@cache
def pivots(puppet: Puppet, wiring: str = RIGHT) -> tuple[ct.Control, ...]:
    """A foot's three pivots as controls on the spot, leaders first.

    The foot hangs from the last, its toes from "toe".

    Parameters
    ----------
    puppet : Puppet
    wiring : str
        Of `WIRINGS`.
    """
    sole = foot.of_puppet(puppet)
    order, share = WIRINGS[wiring]
    places = {name: (0.0, share * puppet.ankle_height, getattr(sole, name)[0]) for name in order}
    return tuple(
        ct.Control(name, pivot=places[name], parent=leader)
        for name, leader in zip(order, (None, *order), strict=False)
    )


def hung(puppet: Puppet, turns: Mapping[str, ArrayLike], wiring: str = RIGHT) -> Floats:
    """Ankle, heel, ball and toe of a foot whose pivots are turned.

    Parameters
    ----------
    puppet : Puppet
    turns : mapping of str to array_like, shape (...)
        Radians, by pivot.
    wiring : str
        Of `WIRINGS`.

    Returns
    -------
    ndarray, shape (..., 4, 2)
    """
    sole = foot.of_puppet(puppet)
    worlds = ct.pose(
        pivots(puppet, wiring), {name: {"turn_x": turn} for name, turn in turns.items()}
    )
    ankle, heel, ball, toe = (
        (0.0, up, forward) for forward, up in (sole.ankle, sole.heel, sole.ball, sole.toe)
    )
    behind = worlds[WIRINGS[wiring][0][-1]]
    points = np.stack(
        np.broadcast_arrays(
            *(frames.apply(behind, point) for point in (ankle, heel, ball)),
            frames.apply(behind, ball)
            + frames.rotate_vectors(worlds["toe"], np.subtract(toe, ball)),
        ),
        axis=-2,
    )
    return points[..., [2, 1]]


def rolled(puppet: Puppet, roll_deg: float | Floats, wiring: str = RIGHT) -> Floats:
    """`hung` for a roll in degrees, shared out by `foot.turns`."""
    turns = foot.turns(np.radians(roll_deg))
    return hung(puppet, dict(zip(foot.PIVOTS, turns, strict=True)), wiring)


def about_one(puppet: Puppet, pivot: str, roll_deg: float | Floats) -> Floats:
    """`hung` for a roll in degrees about a single pivot."""
    return hung(puppet, {pivot: np.radians(roll_deg)})


def ankle_held(puppet: Puppet, roll_deg: float | Floats) -> Floats:
    """Ankle, heel, ball and toe of a foot that rolls while its ankle stays where it is."""
    points = rolled(puppet, roll_deg)
    return points - points[..., :1, :] + foot.of_puppet(puppet).ankle


def lowest_cm(points: Floats) -> Floats:
    """Height of a sole's lowest point over the floor, cm; below zero it is in the floor."""
    return 100 * points[..., 1:, 1].min(axis=-1)


def slide_cm(points: Floats) -> Floats:
    """Slide of a sole's lowest point so far, frame by frame, cm."""
    sole = np.stack([0 * points[:, 1:, 0], points[:, 1:, 1], points[:, 1:, 0]], axis=-1)
    return np.cumsum(gait.foot_slide_cm(sole, np.ones(len(points), dtype=bool)))


# One foot, one number


def opening(puppet: Puppet) -> Stage:
    """One foot in the four moments of a step, the point it stands on, the height of its ankle."""
    stage = Stage(
        "side",
        (-0.14, -0.115),
        (1.66, 0.25),
        "One foot, one number: the point it stands on does not move",
        width=880,
    ).floor()
    said = []
    for i, (name, roll_deg) in enumerate(MOMENTS.items()):
        points = rolled(puppet, roll_deg) + [0.45 * i, 0.0]
        stands = _stands(foot.roll(foot.of_puppet(puppet), np.radians(roll_deg)), roll_deg)
        draw_foot(stage, points, "inverse")
        standing = points[1:] if stands == "flat" else [points[1 + foot.PIVOTS.index(stands)]]
        stage.dots(standing, "miss").dots(points[:1])
        height = 100 * points[0, 1]
        foremost = max(points[:, 0]) + 0.05
        ends = (foremost, 0.0), (foremost, points[0, 1])
        stage.measure(*ends, f"{height:.1f} cm", "plain", place="above")
        on = "on heel, ball, toe" if stands == "flat" else f"on the {stands}"
        stage.note((0.45 * i + 0.06, -0.01), f"{name}, {signed(roll_deg)}", place="below")
        stage.note((0.45 * i + 0.06, -0.057), on, "miss", "below")
        said.append(
            f"{name}, rolled by {str(roll_deg).replace('-', 'minus ')} degrees,"
            f" {'flat' if stands == 'flat' else on}, ankle {height:.1f} centimetres high"
        )
    stage.desc = "A foot from the side in four moments of a step. " + ". ".join(said) + "."
    return stage


@cache
def heights_plot(puppet: Puppet) -> plots.Plot:
    """Heights of heel, ball and toe over the floor, against the roll."""
    roll_deg = np.arange(LOWEST, HIGHEST + 1)
    return plots.curves(
        roll_deg,
        _heights_cm(puppet, foot.BALL_LIMIT),
        "roll (°)",
        "over the floor (cm)",
        title="How high each point is",
        desc=(
            "Heights of heel, ball and toe over the floor against the roll. One of the three is at"
            " zero everywhere: the heel below zero, ball and toe to the ball's limit, the toe"
            " beyond."
        ),
        kinds={"heel": "forward", "ball": "inverse", "toe": "plain"},
        ylim=(-1, 25),
        width=430,
        height=370,
    )


def rolling(puppet: Puppet, roll_deg: int, limit_deg: float) -> tuple[Row, str]:
    """A rolled foot with its pivot, beside the heights of its points; and both in words."""
    angle, limit = np.radians(roll_deg), np.radians(limit_deg)
    now = foot.roll(foot.of_puppet(puppet), angle, limit)
    points, stands = _points(now), _stands(now, roll_deg)
    way = foot.roll(foot.of_puppet(puppet), np.radians(np.arange(LOWEST, HIGHEST + 1)), limit).ankle
    stage = _side_view(puppet, "From the side", CLOSE).path(way, "soft")
    draw_foot(stage, points, "inverse").dots(points[:1])
    stage.note(way[-1], "way of the ankle", "soft", "right")
    for name, point in zip(foot.PIVOTS, points[1:], strict=True):
        dot, said, word = (
            ("miss", f"{name}: pivot", "miss") if name == stands else ("plain", name, "soft")
        )
        below = "below" if point[1] < 1e-6 else None
        stage.dots([point], dot).note(point, said, word, below)
    high, aside = points[1:][np.argmax(points[1:, 1])], -46 if roll_deg > 0 else 46
    measure_cm(stage, (high[0], 0.0), high, 100 * high[1], kind="plain", offset=aside)
    plot = heights_plot(puppet).with_lines(_heights_cm(puppet, limit)).at(roll_deg)
    heel, ball, toe = 100 * points[1:, 1]
    turned = f"turns about the <b>{stands}</b>" if roll_deg else "stands <b>flat</b>"
    gone = 100 * np.linalg.norm(points[0] - foot.of_puppet(puppet).ankle)
    words = (
        f"Roll {signed(roll_deg)}: the foot {turned}. Over the floor: heel <b>{heel:z.1f} cm</b>,"
        f" ball <b>{ball:z.1f} cm</b>, toe <b>{toe:z.1f} cm</b>. The ankle has gone <b>{gone:.1f}"
        " cm</b>."
    )
    return row(stage, plot), words


def roll_panel(puppet: Puppet) -> Panel:
    """A foot to roll, and how long its ball carries."""
    return Panel(
        "Roll the foot: which point stands still?",
        [
            Slider("roll_deg", "Roll", LOWEST, HIGHEST, 1, 15, "°"),
            Slider("limit_deg", "The ball carries up to", 0, 60, 1, 40, "°"),
        ],
        partial(rolling, puppet),
        {name: {"roll_deg": roll_deg, "limit_deg": 40} for name, roll_deg in MOMENTS.items()},
        play="roll_deg",
    )


# The ankle follows


def ankle_following(puppet: Puppet, roll_deg: int) -> tuple[Row, str]:
    """A rolled foot whose leg's goal hangs from the roll, and one whose goal does not.

    That one's goal hangs from the foot control.
    """
    views, said = [], []
    for title, points in (
        ("Goal hangs from the roll", rolled(puppet, roll_deg)),
        ("Goal hangs from the control", ankle_held(puppet, roll_deg)),
    ):
        moved = 100 * np.linalg.norm(points[0] - foot.of_puppet(puppet).ankle)
        stood = rolled(puppet, roll_deg)
        off = 100 * np.linalg.norm(points[2] - stood[2])
        knee, short = _knee(puppet, points[0], [HIPS[0], puppet.hip_height + HIPS[1]])
        stage = _draw_shin(_side_view(puppet, title, TO_THE_KNEE), knee, points)
        _outline(stage, puppet)
        stage.goal(points[0], "goal", "left")
        low, at = lowest_cm(points), points[1 + np.argmin(points[1:, 1])]
        measure_cm(stage, (at[0], 0.0), at, -low, offset=40)
        views.append(stage)
        said.append(
            f"{title}: the ankle moves by <b>{moved:.1f} cm</b>, the foot is {off:.1f} cm off its"
            f" place, its lowest point {_depth(low)}.{short}"
        )
    return row(*views), f"Roll {signed(roll_deg)}. " + " ".join(said)


def goal_panel(puppet: Puppet) -> Panel:
    """One roll for two legs: one whose goal is carried by the roll, one whose goal is not."""
    return Panel(
        "Roll both feet: which ankle follows, and which foot stands?",
        [Slider("roll_deg", "Roll", LOWEST, HIGHEST, 1, 15, "°")],
        partial(ankle_following, puppet),
        {
            **{name: {"roll_deg": roll_deg} for name, roll_deg in MOMENTS.items()},
            "40° on the ball": {"roll_deg": 40},
        },
        play="roll_deg",
    )


# A step


@dataclass(frozen=True, eq=False)
class Stance:
    """Motion of the left leg while its foot is down, one frame for each percent of the stride.

    Attributes
    ----------
    roll_deg : ndarray, shape (f,)
    hip : ndarray, shape (f, 2)
        Seen from the spot where the foot stands.
    """

    roll_deg: np.ndarray
    hip: np.ndarray

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.count(len(self.roll_deg), "frame"),
            f"roll {_format.amount(self.roll_deg, '°', 1)}",
            f"hip {_format.point(self.hip)}",
        )


@cache
def stance(puppet: Puppet) -> Stance:
    """The `Stance` of the puppet's own planted walk."""
    walk = gait.plant(gait.walk(puppet, frames=100, cycles=1))
    down = np.flatnonzero(~walk.stance[:, 0])[0]
    roll_deg = -np.degrees(walk.foot_pitch[:down, 0])
    spot = walk["ankle"][0, 0, 2] - rolled(puppet, roll_deg[0])[0, 0]
    return Stance(roll_deg, walk["hip"][:down, 0][:, [2, 1]] - [spot, 0.0])


@cache
def stepped(puppet: Puppet, wiring: str) -> tuple[Floats, Floats, Floats]:
    """Ankle, heel, ball and toe while the foot is down, its slide and its lowest height, cm.

    The slide is how far the foot has slid so far; the height is that of its lowest point.
    """
    points = rolled(puppet, stance(puppet).roll_deg, wiring)
    return points, slide_cm(points), lowest_cm(points)


@cache
def step_plot(puppet: Puppet, wiring: str) -> plots.Plot:
    """Slide so far and height of the lowest point while the foot is down."""
    _, slid, low = stepped(puppet, wiring)
    return plots.curves(
        np.arange(len(slid)),
        {"slid so far": slid, "lowest point": low},
        "percent of the stride",
        "cm",
        title="What the floor sees",
        desc=(
            f"While the foot is down it slides {slid[-1]:.1f} centimetres in all; its lowest point "
            f"is between {number(low.min())} and {number(low.max())} centimetres over the floor."
        ),
        kinds={"slid so far": "miss", "lowest point": "inverse"},
        ylim=(-6, 8),
        width=430,
        height=398,
    )


def stepping(puppet: Puppet, percent: int, wiring: str) -> tuple[Row, str]:
    """One frame of a foot that is down, its pivots right or wrong; its slide and depth in words."""
    points, slid, low = stepped(puppet, wiring)
    now, roll_deg = points[percent], stance(puppet).roll_deg[percent]
    knee, short = _knee(puppet, now[0], stance(puppet).hip[percent])
    stage = _draw_shin(_side_view(puppet, "From the side", TO_THE_KNEE), knee, now)
    turning = _pivots_now(puppet, wiring, roll_deg)
    stage.dots(turning, "miss").note(turning[1], "pivots", "miss")
    if abs(low[percent]) > 1.0:  # less is no longer than its own end ticks
        at = now[1 + np.argmin(now[1:, 1])]
        stage.measure((at[0], 0.0), at, f"{abs(low[percent]):.1f} cm", offset=60)
    words = (
        f"{percent} % of the stride, roll {signed(roll_deg, 1)}. Pivots {wiring}: the foot has"
        f" slid <b>{slid[percent]:z.1f} cm</b>, its lowest point is <b>{_depth(low[percent])}</b>."
        f" By the time it leaves: {slid[-1]:z.1f} cm of slide, at worst"
        f" {_depth(_worst(low))}.{short}"
    )
    return row(stage, step_plot(puppet, wiring).at(percent)), words


def step_panel(puppet: Puppet) -> Panel:
    """A step to play, with pivots that are right, too high, or hung in the wrong order."""
    last = len(stance(puppet).roll_deg) - 1
    return Panel(
        "Break it: put the pivots wrong, and play the step",
        [
            Slider("percent", "Percent of the stride", 0, last, 1, 52),
            Choice("wiring", "The pivots are", tuple(WIRINGS), "too high"),
        ],
        partial(stepping, puppet),
        {
            "Right, heel up": (52, RIGHT),
            "Too high, at the strike": (0, "too high"),
            "Too high, heel up": (52, "too high"),
            "Wrong order, flat": (20, "in the wrong order"),
            "Wrong order, heel up": (52, "in the wrong order"),
        },
        play="percent",
    )


# A foot in the air


def turned_in_air(puppet: Puppet, ankle_cm: float, toes_down_deg: float) -> Floats:
    """Ankle, heel, ball and toe of a stiff foot turned about an ankle held over the floor."""
    sole = foot.of_puppet(puppet)
    points = np.stack([sole.ankle, sole.heel, sole.ball, sole.toe])
    control = ct.Control("foot", pivot=(0.0, sole.ankle[1], 0.0))
    values = {"shift_y": ankle_cm / 100 - sole.ankle[1], "turn_x": np.radians(toes_down_deg)}
    world = ct.pose([control], {"foot": values})["foot"]
    return frames.apply(world, np.stack([0 * points[:, 0], points[:, 1], points[:, 0]], axis=-1))[
        :, [2, 1]
    ]


def lifted(puppet: Puppet, ankle_cm: float, toes_down_deg: float) -> Stage:
    """A foot as it was asked for, in the floor, and lifted out of it."""
    points = turned_in_air(puppet, ankle_cm, toes_down_deg)
    low = lowest_cm(points)
    up = np.array([0.0, max(0.0, -float(low) / 100)])
    title = f"Ankle {ankle_cm:.0f} cm high, toes {toes_down_deg:.0f}° down"
    stage = Stage("side", (-0.25, -0.10), (0.60, 0.27), title, width=600).floor()
    stage.desc = (
        f"A foot with its toes {toes_down_deg:.0f} degrees down, dotted, whose lowest point is "
        f"{_depth(low)}, and the same foot lifted until that point touches the floor."
    )
    stage.ghost(points[[1, 0, 3, 1]])
    draw_foot(stage, points + up, "inverse")
    deepest = points[1 + np.argmin(points[1:, 1])]
    measure_cm(stage, deepest, deepest + up, 100 * up[1], offset=50)
    stage.dots(points[:1] + up).note(points[0] + up, "ankle", place="left")
    return stage


# Views


def _points(pose):
    """Ankle, heel, ball and toe of a `foot.FootRoll`."""
    return np.stack([pose.ankle, pose.heel, pose.ball, pose.toe], axis=-2)


def _heights_cm(puppet, limit):
    pose = foot.roll(foot.of_puppet(puppet), np.radians(np.arange(LOWEST, HIGHEST + 1)), limit)
    return {name: 100 * getattr(pose, name)[:, 1] for name in foot.PIVOTS}


def _stands(pose, roll_deg):
    """The name of the point a foot stands on, or "flat"."""
    return str(pose.pivot) if roll_deg else "flat"


def _side_view(puppet, title, corners):
    """A view of the floor, and the foot as it stands flat, dotted."""
    sole = foot.of_puppet(puppet)
    return half_stage(title, *corners).floor().ghost([sole.heel, sole.ankle, sole.toe])


def _draw_shin(stage, knee, points):
    draw_foot(stage, points, "inverse")
    return stage.chain([knee, points[0]], "inverse", thickness=20)


def _outline(stage, puppet):
    """The foot control on the floor, seen edge-on."""
    sole = foot.of_puppet(puppet)
    ends = [(sole.heel[0] - 0.03, 0.0), (sole.toe[0] + 0.03, 0.0)]
    return stage.control(ends).note(ends[0], "foot control", place="below")


def _pivots_now(puppet, wiring, roll_deg):
    """Places of heel's, ball's and toe's pivots in a roll, shape (3, 2)."""
    turns = dict(zip(foot.PIVOTS, foot.turns(np.radians(roll_deg)), strict=True))
    controls = {one.name: one for one in pivots(puppet, wiring)}
    worlds = ct.pose(controls.values(), {name: {"turn_x": turn} for name, turn in turns.items()})
    return np.stack(
        [frames.apply(worlds[name], controls[name].pivot)[[2, 1]] for name in foot.PIVOTS]
    )


def _knee(puppet, ankle, hip):
    """The knee of the leg from a hip to an ankle, and a sentence if the leg is too short."""
    leg, points = planar_leg(puppet, hip, ankle)
    return points[1], f" The leg is {100 * leg.miss:.1f} cm too short." if leg.miss > 5e-4 else ""


# Words


def _depth(cm):
    """A height over the floor in words."""
    return directed(cm, "over the floor", "in the floor", "on the floor")


def _worst(low):
    return low[np.argmax(np.abs(low))]
