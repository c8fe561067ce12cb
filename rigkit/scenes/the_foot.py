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
from rigkit.asking import Check, Guess, Number
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import Puppet
from rigkit.scenes.staging import (
    at_frame,
    draw_foot,
    half_stage,
    measure_cm,
    moment,
    planar_leg,
    sole_of,
)
from rigkit.scenes.words import SHOWN, directed, number, signed
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
WIDE = ((-0.29, -0.09), (0.43, 0.31))
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
    """One foot in the four moments of a step, and nothing measured."""
    stage = Stage(
        "side",
        (-0.14, -0.07),
        (1.66, 0.25),
        "Four moments of one step, one foot: what does it turn about?",
        "A foot from the side in four moments of a step: it strikes with the toes up, stands flat,"
        " stands with its heel up, and is about to leave with the heel high.",
        width=880,
    ).floor()
    for i, (name, roll_deg) in enumerate(MOMENTS.items()):
        draw_foot(stage, rolled(puppet, roll_deg) + [0.45 * i, 0.0], "inverse")
        stage.note((0.45 * i + 0.06, -0.01), name, place="below")
    return stage


def four_moments(puppet: Puppet) -> Stage:
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
    shared = abs(angle - limit) < min(foot.EASE, limit) - 1e-9
    points, stands = _points(now), "toe" if shared else _stands(now, roll_deg)
    so_far = np.linspace(0, angle, abs(roll_deg) + 1)
    way = foot.roll(foot.of_puppet(puppet), so_far, limit).ankle
    stage = _side_view(puppet, "From the side", CLOSE).path(way, "soft")
    draw_foot(stage, points, "inverse").dots(points[:1])
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
    turned = "goes over <b>from ball to toe</b>" if shared else turned
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
            Slider("roll_deg", "Roll", LOWEST, HIGHEST, 1, 0, "°"),
            Slider("limit_deg", "The ball carries up to", 0, 60, 1, 40, "°"),
        ],
        partial(rolling, puppet),
        {name: {"roll_deg": roll_deg, "limit_deg": 40} for name, roll_deg in MOMENTS.items()},
        play="roll_deg",
        grips=[
            Grip("Ankle", partial(_ankle_at, puppet), ("roll_deg",)),
            moment("roll_deg", 22.0, "Roll"),
        ],
    )


def _ankle_at(puppet, roll_deg, limit_deg=None):
    """The ankle of a rolled foot."""
    limit = foot.BALL_LIMIT if limit_deg is None else np.radians(limit_deg)
    return foot.roll(foot.of_puppet(puppet), np.radians(roll_deg), limit).ankle


HEEL_OFF = MOMENTS["Heel-off"]  # the roll that is asked for, degrees


def ankle_guess(puppet: Puppet) -> Panel:
    """The foot to roll, behind the question how far its ankle goes."""
    return roll_panel(puppet).after(
        Guess(
            "11/ankle",
            f"{puppet.name}'s foot stands flat. Its heel rises by a roll of {HEEL_OFF}°, while the"
            " toes stay flat on the floor. By how many centimetres does the ankle move?",
            Number("cm", 0, 40, 1),
            partial(_ankle_found, puppet),
            then=f"Pull the ankle, or set the roll to {HEEL_OFF}°.",
        )
    )


def _ankle_found(puppet, roll_deg, limit_deg):
    if roll_deg < HEEL_OFF or limit_deg < np.degrees(foot.BALL_LIMIT) - 1e-9:
        return None
    way = _ankle_way_cm(puppet, HEEL_OFF)
    radius = _radius_cm(puppet, "ball")
    return way, (
        f"At {HEEL_OFF}° the ankle has gone <b>{way:.1f} cm</b>, round the ball,"
        f" {radius:.1f} cm away."
    )


def _ankle_way_cm(puppet, roll_deg):
    """Tell how far a roll takes the ankle from where it is when the foot is flat, straight, cm."""
    sole = foot.of_puppet(puppet)
    return float(100 * np.linalg.norm(foot.roll(sole, np.radians(roll_deg)).ankle - sole.ankle))


def _radius_cm(puppet, pivot):
    """Tell how far the ankle is from one of `foot.PIVOTS`, cm."""
    sole = foot.of_puppet(puppet)
    return float(100 * np.linalg.norm(sole.ankle - getattr(sole, pivot)))


def strike_check(puppet: Puppet) -> Panel:
    """Ask how far an ankle goes the other way, about the heel."""
    roll_deg = MOMENTS["Heel strike"]
    radius, other = (_radius_cm(puppet, pivot) for pivot in ("heel", "ball"))
    half = np.radians(abs(roll_deg)) / 2
    way = _ankle_way_cm(puppet, roll_deg)
    return quick_check(
        Check(
            "11/strike",
            f"{puppet.name} strikes with the toes {abs(roll_deg)}° up. The ankle is {radius:.1f} cm"
            f" from the heel and {other:.1f} cm from the ball. How far, straight, is it from where"
            " it will be when the foot is flat?",
            Number("cm", 0, 40, 0.1),
            way,
            f"Toes up turns the foot about its heel: twice {radius:.1f} cm times the sine of half"
            " the turn.",
            {
                2 * other * np.sin(half): "That is about the ball. Toes up, the foot stands on its"
                " heel.",
                2 * radius * np.sin(2 * half): "Twice the radius goes with half the turn.",
                radius * np.sin(half): "With half the turn it takes twice the radius.",
                2 * radius * abs(np.sin(abs(roll_deg) / 2)): "That took the degrees for radians.",
                0.0: "The ankle stays where the foot turns about it, in the air. On the floor it"
                " turns about what it stands on.",
            },
            "Which point carries the foot when the toes are up? Twice the radius, times the sine of"
            " half the turn.",
        )
    )


def turn_check(puppet: Puppet, roll_deg: float = 25.0) -> Panel:
    """Ask how high an ankle is after a turn about the ball, by the turn in the plane."""
    behind, above = 100 * (foot.of_puppet(puppet).ankle - foot.of_puppet(puppet).ball) * [-1, 1]
    angle = np.radians(roll_deg)
    cosine, sine = np.cos(angle), np.sin(angle)
    high = float(100 * foot.roll(foot.of_puppet(puppet), angle).ankle[1])
    return quick_check(
        Check(
            "11/turn",
            f"{puppet.name}'s ankle is {behind:.0f} cm behind the ball and {above:.0f} cm above it."
            f" The heel rises by {roll_deg:.0f}° about the ball. How high is the ankle now?",
            Number("cm", -20, 40, 0.1),
            high,
            f"{above:.0f} cm times the cosine, and {behind:.0f} cm times the sine on top: what is"
            " behind goes up.",
            {
                above * cosine - behind * sine: "The sign: what lies behind goes up as the heel"
                " rises, not down.",
                above * sine + behind * cosine: "Sine and cosine have changed places. Try a turn of"
                " zero: the height must be what it was.",
                above + behind * sine: f"The {above:.0f} cm lean, too. They keep only their cosine"
                " of height.",
                behind * cosine - above * sine: "That is how far behind the ball it is now.",
                above * np.cos(roll_deg) + behind * np.sin(roll_deg): "That took the degrees for"
                " radians.",
            },
            "The new height is made of both, the old height and the way behind. Which goes with the"
            " cosine?",
        )
    )


# One roll, and a turn for each pivot beside it


def turning(
    puppet: Puppet, roll_deg: float, heel_deg: float, ball_deg: float, tip_deg: float
) -> tuple[Stage, str]:
    """A foot whose pivots take a roll's shares and turns of their own; its floor in words."""
    shares = np.degrees(foot.turns(np.radians(roll_deg)))
    turns_deg = shares + [heel_deg, ball_deg, tip_deg]
    points = hung(puppet, dict(zip(foot.PIVOTS, np.radians(turns_deg), strict=True)))
    low = float(lowest_cm(points))
    stage = draw_foot(_side_view(puppet, "From the side", WIDE, width=600), points, "inverse")
    stage.dots(points[:1]).note(points[0], "ankle", place="above")
    for name, point in zip(foot.PIVOTS, points[1:], strict=True):
        down = abs(point[1]) < SHOWN / 100
        stage.dots([point], "miss" if down else "plain").note(
            point, name, "miss" if down else "soft", "below" if down else None
        )
    if abs(low) >= 1.0:  # less is no longer than its own end ticks
        at = points[1 + np.argmin(points[1:, 1])]
        stage.measure((at[0], 0.0), at, f"{abs(low):.1f} cm", offset=60)
    gone = 100 * np.linalg.norm(points[0] - foot.of_puppet(puppet).ankle)
    words = (
        f"From the roll: {_turns_words(shares)}. Added up: {_turns_words(turns_deg)}."
        f" The ankle has gone <b>{gone:.1f} cm</b>, the lowest point is <b>{_depth(low)}</b>."
    )
    return stage, words


def turning_panel(puppet: Puppet) -> Panel:
    """A roll, and a turn for each pivot that is added to what the roll gives it."""
    keys = ("roll_deg", "heel_deg", "ball_deg", "tip_deg")
    return Panel(
        "One number for three pivots, and a number for each",
        [
            Slider("roll_deg", "Roll", LOWEST, HIGHEST, 1, 25, "°"),
            Slider("heel_deg", "Added at the heel", -30, 30, 1, 0, "°"),
            Slider("ball_deg", "Added at the ball", -30, 50, 1, 0, "°"),
            Slider("tip_deg", "Added at the toe's tip", -30, 60, 1, 0, "°"),
        ],
        partial(turning, puppet),
        {
            name: dict(zip(keys, values, strict=True))
            for name, values in {
                "Heel-off by the roll": (25, 0, 0, 0),
                "Heel-off by the ball": (0, 0, 25, 0),
                "On the tip, toes straight": (0, 0, 0, 50),
                "A roll, the heel turned up": (15, -10, 0, 0),
            }.items()
        },
        size=640,
        grips=[
            Grip("Ankle", partial(_turned_at, puppet, 0), ("roll_deg",)),
            Grip("Toe", partial(_turned_at, puppet, 3), ("heel_deg",)),
            Grip("Heel", partial(_turned_at, puppet, 1), ("ball_deg",)),
            Grip("Ball", partial(_turned_at, puppet, 2), ("tip_deg",)),
        ],
    )


# by whether the roll can put the foot into the floor, and whether each of the turns can
NUMBERS = {
    (True, False): "only the roll",
    (False, True): "only the three turns",
    (True, True): "all four",
    (False, False): "none of them",
}


def turning_guess(puppet: Puppet) -> Panel:
    """A roll and three turns, behind the question which of them can do harm."""
    return turning_panel(puppet).after(
        Guess(
            "11/harm",
            "A foot control has a roll, and beside it a turn for the heel, the ball and the tip of"
            " the toe. Which of these numbers can push the flat foot into the floor?",
            tuple(NUMBERS.values()),
            partial(_harm_found, puppet),
            then="Set the roll to zero, and push each of the three turns both ways. Then try the"
            " roll alone.",
        )
    )


def _harm_found(puppet, roll_deg, **added_deg):
    if roll_deg or float(lowest_cm(_turned(puppet, roll_deg, **added_deg))) > -SHOWN:
        return None
    rolls = lowest_cm(rolled(puppet, np.arange(LOWEST, HIGHEST + 1.0))).min()
    alone = [
        float(lowest_cm(about_one(puppet, pivot, np.array([-30.0, 30.0]))).min())
        for pivot in foot.PIVOTS
    ]
    right = NUMBERS[bool(rolls < -SHOWN), max(alone) < -SHOWN]
    return right, (
        f"Whatever the roll, the lowest point is <b>{number(rolls)} cm</b> high. A turn of 30° the"
        " wrong way puts the foot in the floor by "
        + ", ".join(f"{-cm:.1f} cm ({pivot})" for pivot, cm in zip(foot.PIVOTS, alone, strict=True))
        + "."
    )


def _turned(puppet, roll_deg, **added_deg):
    """Ankle, heel, ball and toe of the foot of `turning`."""
    turns = np.array(foot.turns(np.radians(roll_deg))) + np.radians([*added_deg.values()])
    return hung(puppet, dict(zip(foot.PIVOTS, turns, strict=True)))


def _turned_at(puppet, point, roll_deg, **added_deg):
    """Ankle, heel, ball or toe of the foot of `turning`."""
    turns = np.array(foot.turns(np.radians(roll_deg))) + np.radians([*added_deg.values()])
    return foot._hung(sole_of(puppet), *turns)[point]


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
        [Slider("roll_deg", "Roll", LOWEST, HIGHEST, 1, 0, "°")],
        partial(ankle_following, puppet),
        {name: {"roll_deg": roll_deg} for name, roll_deg in MOMENTS.items()},
        play="roll_deg",
        grips=[
            Grip("Ankle", partial(_ankle_at, puppet), ("roll_deg",), (0,)),
            Grip("Heel", partial(_heel_held_at, puppet), ("roll_deg",), (1,)),
        ],
    )


STANDS = ("stands as before", "sinks into the floor", "is lifted off the floor")


def follow_guess(puppet: Puppet) -> Panel:
    """One roll for two legs, behind the question what becomes of the one whose goal does not."""
    return goal_panel(puppet).after(
        Guess(
            "11/follow",
            "One roll for two legs. On the right the leg's goal hangs from the foot control, which"
            f" does not turn, so the ankle stays. With a roll of {HEEL_OFF}°, heel up: what does"
            " the sole of that foot do?",
            STANDS,
            partial(_follow_found, puppet),
            then=f"Pull the left ankle, or roll both feet by {HEEL_OFF}°, and compare the ankles'"
            " ways.",
        )
    )


def _follow_found(puppet, roll_deg):
    if roll_deg < HEEL_OFF:
        return None
    held, stood = ankle_held(puppet, HEEL_OFF), rolled(puppet, HEEL_OFF)
    low, off = float(lowest_cm(held)), 100 * np.linalg.norm(held[2] - stood[2])
    return _stands_by(low), (
        f"At {HEEL_OFF}° its lowest point is <b>{_depth(low)}</b>, and the whole foot is"
        f" {off:.1f} cm off: just what its ankle did not move."
    )


def _stands_by(low):
    """Tell what a sole does whose lowest point is at a height, cm; of `STANDS`."""
    return STANDS[0 if abs(low) < SHOWN else 1 if low < 0 else 2]


def held_check(puppet: Puppet) -> Panel:
    """The other direction of a roll, with a goal that hangs from the control."""
    roll_deg = MOMENTS["Heel strike"]
    held, stood = ankle_held(puppet, roll_deg), rolled(puppet, roll_deg)
    up = 100 * (stood[0] - foot.of_puppet(puppet).ankle)[1]
    right = _stands_by(float(lowest_cm(held)))
    said = {
        STANDS[0]: f"Only if its ankle could rise by {up:.1f} cm. It is held.",
        STANDS[1]: f"The heel strikes, and the ankle should be {up:.1f} cm higher than flat. It is"
        " held, so the heel goes in by as much.",
        STANDS[2]: "The toes are. But the foot turns about its held ankle, and the heel, behind it,"
        f" goes down by {-float(lowest_cm(held)):.1f} cm.",
    }
    return quick_check(
        Check(
            "11/held",
            f"{puppet.name}'s goal hangs from the foot control, too. Now roll the other way: toes"
            f" {abs(roll_deg)}° up, as at the strike. What does the sole do?",
            STANDS,
            right,
            said.pop(right),
            said,
        )
    )


def _heel_held_at(puppet, roll_deg):
    """The heel of `ankle_held`, found more quickly."""
    pose = foot.roll(foot.of_puppet(puppet), np.radians(roll_deg))
    return pose.heel - pose.ankle + foot.of_puppet(puppet).ankle


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
            Slider("percent", "Percent of the stride", 0, last, 1, 0),
            Choice("wiring", "The pivots are", tuple(WIRINGS), RIGHT),
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
        grips=[
            Grip(
                "Knee",
                lambda percent, wiring: at_frame(_knees(puppet, wiring), percent),
                ("percent",),
            ),
            moment("percent", -5.0),
        ],
    )


TROUBLES = ("nothing", "it sinks into the floor", "it slides along the floor")


def pivots_guess(puppet: Puppet) -> Panel:
    """The step, behind the question what pivots do that are too high."""
    moment_shown = 52
    return step_panel(puppet).after(
        Guess(
            "11/high",
            "Somebody put all three pivots as high as the ankle, because a joint was at hand there."
            " At rest everything reads zero and looks right. What goes wrong in a step?",
            TROUBLES,
            partial(_pivots_found, puppet, moment_shown),
            then="Set the pivots to <i>too high</i>, and play the step to its end.",
        )
    )


def _pivots_found(puppet, until, percent, wiring):
    if wiring != "too high" or percent < until:
        return None
    _, slid, low = stepped(puppet, wiring)
    right = TROUBLES[1 if low.min() < -SHOWN else 2 if slid[-1] > SHOWN else 0]
    return right, (
        f"It slides by <b>{slid[-1]:.1f} cm</b> until it leaves, and its lowest point is never"
        f" below {number(low.min())} cm: who looks at the depth alone does not find it."
    )


def order_check(puppet: Puppet, roll_deg: float = 60.0) -> Panel:
    """Ask how deep the toe's pivot goes where the ball carries it."""
    sole = foot.of_puppet(puppet)
    toes = 100 * float((sole.toe - sole.ball)[0])
    limit = float(np.degrees(foot.BALL_LIMIT))
    deep = -float(lowest_cm(rolled(puppet, roll_deg, "in the wrong order")))
    return quick_check(
        Check(
            "11/order",
            f"In {puppet.name}'s foot the toe's pivot hangs from the ball, in the wrong order. The"
            f" toes are {toes:.0f} cm long. The roll is {roll_deg:.0f}°, of which the ball turns"
            f" {limit:.0f}°. How deep in the floor is the toe?",
            Number("cm", 0, 30, 0.1),
            deep,
            f"The ball takes the toe's pivot down with it: {toes:.0f} cm times the sine of"
            f" {limit:.0f}°.",
            {
                toes * np.sin(np.radians(roll_deg)): "That took the whole roll. The ball turns only"
                " up to its limit.",
                toes * np.cos(np.radians(limit)): "That is how far ahead of the ball it still is."
                " Down goes with the sine.",
                toes * np.sin(np.radians(roll_deg - limit)): "That is the toe's own share, which"
                " turns about the pivot and leaves it where it is.",
                0.0: "So it is in the right order, where the ball does not carry the toe.",
            },
            "The ball carries the toe's pivot round, as long as the toes are. Down by what?",
        )
    )


@cache
def _knees(puppet, wiring):
    """The knee in each frame of a stance, shape (f, 2)."""
    ankles, hips = stepped(puppet, wiring)[0][:, 0], stance(puppet).hip
    return np.array([_knee(puppet, *both)[0] for both in zip(ankles, hips, strict=True)])


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


HEIGHTS = ("over the floor", "on the floor", "in the floor")


def lifted_guess(puppet: Puppet, ankle_cm: float = 10.0, toes_down_deg: float = 30.0) -> Panel:
    """The picture of `lifted`, behind the question whether it is high enough."""
    low = float(lowest_cm(turned_in_air(puppet, ankle_cm, toes_down_deg)))
    flat = 100 * puppet.ankle_height
    picture = lifted(puppet, ankle_cm, toes_down_deg)
    right = HEIGHTS[1 if abs(low) < SHOWN else 2 if low < 0 else 0]
    told = f"The lowest point is <b>{_depth(low)}</b>. The ankle's height says nothing about it."
    return Panel(picture.title, [], lambda: (picture, "")).after(
        Guess(
            "11/air",
            f"A foot in the air, turned by hand. {puppet.name} carries the ankle {ankle_cm:.0f} cm"
            f" high, more than the {flat:.1f} cm it has on the floor, and points the toes"
            f" {toes_down_deg:.0f}° down. Where is the lowest point of the sole?",
            HEIGHTS,
            lambda: (right, told),
        )
    )


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


def _side_view(puppet, title, corners, **more):
    """A view of the floor, and the foot as it stands flat, dotted."""
    sole = foot.of_puppet(puppet)
    return half_stage(title, *corners, **more).floor().ghost([sole.heel, sole.ankle, sole.toe])


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


def _turns_words(turns_deg):
    """The turns about heel, ball and the toe's tip in words."""
    names = ("heel", "ball", "tip")
    return ", ".join(f"{name} {signed(turn)}" for name, turn in zip(names, turns_deg, strict=True))


def _depth(cm):
    """A height over the floor in words."""
    return directed(cm, "over the floor", "in the floor", "on the floor")


def _worst(low):
    return low[np.argmax(np.abs(low))]
