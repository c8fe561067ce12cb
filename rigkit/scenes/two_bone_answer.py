"""Lesson 05's pictures: a leg as a triangle, its reach, its knee's last degrees, hard and soft.

All but the knee's circle is seen from the side, x forward and y up, in metres.
"""

from collections.abc import Sequence
from functools import lru_cache, partial

import numpy as np

from rigkit import plots, two_bone
from rigkit._types import ArrayLike, Floats
from rigkit.panels import Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.staging import LEG, half_stage, measure_cm, planar_leg
from rigkit.scenes.words import SHOWN, directed, signed
from rigkit.stage import Row, Stage, row

HARD, SOFT = "hard", "soft"
SIDE_BY_SIDE = (-0.42, 0.10)  # where the hard and the soft leg stand, as shares of the hips' height
BELOW, ABOVE = 0.12, 0.04  # metres about full height that the rising pelvis passes
MOST_DEG = 70.0  # on the knee's axis
# Close near straight.
HEIGHTS = np.concatenate([-BELOW * np.linspace(1, 0, 81) ** 2, ABOVE * np.linspace(0, 1, 21)[1:]])


def knee_deg(puppet: Puppet, distance: ArrayLike, soft: float = 0.0) -> Floats:
    """Knee flexion in degrees when the goal is `distance` away.

    Full reach is eased into over `soft`; both are in metres.
    """
    held = two_bone.soft_reach(distance, puppet.thigh, puppet.shank, soft)
    goals = np.stack([np.zeros_like(held), -held], axis=-1)
    return np.degrees(two_bone.solve_planar(goals, puppet.thigh, puppet.shank).knee)


def degrees_a_mm(puppet: Puppet, distance: ArrayLike, soft: float = 0.0) -> Floats:
    """Degrees the knee straightens while the goal goes a millimetre farther.

    They are inf just at full reach.
    """
    return (
        np.degrees(np.abs(two_bone.flexion_rate(distance, puppet.thigh, puppet.shank, soft))) / 1000
    )


# The opening, and the triangle worked by hand


def opening(puppet: Puppet) -> Row:
    """A leg as a triangle with everything measured, and the same leg with its goal out of reach."""
    triangle = _triangle(puppet, 0.72, "Three lengths give three angles", above=0.2)
    far = _room(puppet, "Out of reach: straight, and a miss", above=0.2)
    _leg(far, puppet, np.array([0.3, -0.88]))
    return row(
        triangle,
        far,
        title=(
            "A leg's thigh, shank and the distance from hip to ankle make a triangle whose "
            "angles are known; out of reach the leg is straight and misses by centimetres"
        ),
    )


def by_hand() -> Stage:
    """The triangle with sides of four, three and five."""
    at_hip, at_knee = _angles(4, 3, 5)
    hip, knee, ankle = two_bone.planar_points(at_hip, at_knee, 4, 3)
    stage = Stage(
        "side",
        (-2.2, -5.9),
        (4.4, 0.7),
        "Thigh 4, shank 3, distance 5",
        width=330,
        desc=(
            "A triangle with sides of 4, 3 and 5. The angle at the hip is to be found, and the"
            " angle at the knee, where the two short sides meet."
        ),
    )
    stage.chain([hip, knee, ankle], "inverse", names=LEG).path([hip, ankle], "soft")
    stage.measure(hip, knee, "4", "plain", 26).measure(knee, ankle, "3", "plain", -26)
    stage.measure(hip, ankle, "5", "plain", -26)
    return stage


# A goal to place


def goal(puppet: Puppet, forward_cm: float, below_cm: float) -> tuple[Row, str]:
    """A leg with its ankle on a goal, the triangle that it makes, and both in words."""
    place = np.array([forward_cm, -below_cm]) / 100
    view = _room(puppet, f"{puppet.name}'s leg")
    leg = _leg(view, puppet, place)
    distance, miss_cm = float(np.hypot(*place)), 100 * float(leg.miss)
    triangle = _triangle(puppet, distance, "Its triangle, turned upright")
    far, near = puppet.leg_length, abs(puppet.thigh - puppet.shank)
    if miss_cm < SHOWN:
        outcome = "The ankle is on its goal."
    else:
        why = "Too far: the leg is straight" if distance > far else "Too near: the leg is folded"
        outcome = f"{why}, miss <b>{miss_cm:.1f} cm</b>."
    words = (
        f"Distance {100 * distance:.1f} cm; {puppet.name} reaches from {100 * near:.1f} to"
        f" {100 * far:.1f} cm. Knee bent <b>{np.degrees(leg.knee):.1f}°</b>, thigh"
        f" {_way(np.degrees(leg.hip))}. {outcome}"
    )
    return row(view, triangle), words


def goal_panel(puppet: Puppet) -> Panel:
    """A goal to place: one distance, two directions."""
    fifth = _fifth(puppet)  # sides of 3, 4 and 5 of these: one distance, two places
    return _goal_panel(
        puppet,
        "Move the goal: what changes, the triangle or only its place?",
        0.5,
        {
            "Straight below": (0, 5 * fifth),
            "As far, swung ahead": (3 * fifth, 4 * fifth),
            "Too far": (2 * fifth, 6 * fifth),
        },
    )


def reach_panel(puppet: Puppet) -> Panel:
    """A goal to place at and past both ends of a leg's reach."""
    far_cm, near_cm = 100 * puppet.leg_length, 100 * abs(puppet.thigh - puppet.shank)
    return _goal_panel(
        puppet,
        "Move the goal: how near, how far?",
        0.1,
        {
            "Full reach": (0, far_cm),
            "Too far": (0, 1.07 * far_cm),
            "Folded": (0, near_cm),
            "Too near": (0, 0.7 * near_cm),
        },
    )


def _goal_panel(puppet, title, step, places):
    fifth = _fifth(puppet)
    return Panel(
        title,
        [
            Slider("forward_cm", "Goal ahead of the hip", -5 * fifth, 5 * fifth, step, 0.0, "cm"),
            Slider("below_cm", "Goal below the hip", -fifth, 6.5 * fifth, step, 5 * fifth, "cm"),
        ],
        partial(goal, puppet),
        {name: (ahead, round(below, 1)) for name, (ahead, below) in places.items()},
    )


def _fifth(puppet):
    """A fifth of a distance well in reach, in whole centimetres."""
    return float(round(17 * puppet.leg_length))


# A pelvis that rises through full height


def rise(puppet: Puppet, height_mm: float, soft_cm: float) -> tuple[Row, str]:
    """A hard and a soft leg under one pelvis, their knees' curves, and both in words.

    The pelvis is `height_mm` above full height.
    """
    height, soft = height_mm / 1000, soft_cm / 100
    distance = puppet.leg_length + height
    size = puppet.hip_height
    stage = half_stage("Two legs under one pelvis", (-0.64, -0.06), (0.64, 1.1), size).floor()
    off_cm = [
        _standing_leg(stage, puppet, share * size, height, s, name)
        for share, s, name in zip(SIDE_BY_SIDE, (0.0, soft), (HARD, SOFT), strict=True)
    ]
    plot = _rise_plot(puppet).with_lines({SOFT: _rise_curve(puppet, soft)}).at(height_mm)
    words = f"Pelvis {_height(height_mm)}. " + " ".join(
        f"{name}: knee bent <b>{float(knee_deg(puppet, distance, s)):.1f}°</b>, "
        f"{_per_mm(puppet, distance, s)}, foot {_off(off)}."
        for name, s, off in zip(
            ("Hard", f"Soft over {soft_cm:.1f} cm"), (0.0, soft), off_cm, strict=True
        )
    )
    return row(stage, plot), words


def rise_panel(puppet: Puppet) -> Panel:
    """A pelvis that rises by millimetres through full height, over a hard and a soft leg."""
    low, high = round(-1000 * BELOW), round(1000 * ABOVE)
    return Panel(
        "Let her rise: when does the knee turn fastest?",
        [
            Slider("height_mm", "Pelvis, 0 = straight", low, high, 1, -120, "mm"),
            Slider("soft_cm", "Soft length", 0.0, 8.0, 0.5, 2.0, "cm"),
        ],
        partial(rise, puppet),
        {
            "The last centimetre": {"height_mm": -10},
            "The last millimetre": {"height_mm": -1},
            "Just straight": {"height_mm": 0},
            "4 cm too high": {"height_mm": 40},
        },
        play="height_mm",
    )


def speed_plot(puppet: Puppet, softs_cm: Sequence[float] = (1.0, 2.0, 5.0)) -> plots.Plot:
    """Degrees of knee for a millimetre of goal against the distance left to full reach.

    There is a curve for each soft length.
    """
    left = np.linspace(-0.12, 0.04, 321)
    left = left[np.abs(left) > 1e-9]  # at full reach itself the hard leg's speed is no number
    speeds = {"hard": degrees_a_mm(puppet, puppet.leg_length + left)}
    speeds |= {
        f"soft over {soft:g} cm": degrees_a_mm(puppet, puppet.leg_length + left, soft / 100)
        for soft in softs_cm
    }
    return plots.curves(
        100 * left,
        speeds,
        "goal past full reach (cm)",
        "knee (° per mm of goal)",
        ylim=(0, 3),
        title="Softness takes the peak off, and pays before and after",
        desc=(
            "How fast the knee straightens against how far the goal is past full reach. The hard"
            " leg's speed climbs without bound just before full reach and is zero beyond it. A soft"
            " leg's speed rises along the same curve until its soft length is left, where it turns"
            " down without a jump and fades beyond full reach."
        ),
    )


# In space


def knee_circle(
    puppet: Puppet,
    goal: Sequence[float] = (0.0, -0.62, 0.3),
    poles: Sequence[Sequence[float]] = ((0.0, 0.8), (0.6, 0.5)),
) -> Row:
    """One triangle in space with two poles, A and B, and its knee's circle.

    It is seen half from the front and from the side.

    `goal` is seen from the hip, metres; poles are (to the puppet's left, ahead) of the hip, in hip
    heights.
    """
    size = puppet.hip_height
    hip = np.array([0.0, size, 0.0])
    ankle = hip + goal
    circle = two_bone.solve(
        hip, ankle, puppet.thigh, puppet.shank, swivel=np.linspace(-np.pi, np.pi, 73)
    ).knee
    views = []
    for view, title, low, high in (
        ("turntable", "Two poles, one triangle", -0.95, 0.55),
        ("side", "The same from the side", -0.4, 1.1),
    ):
        stage = half_stage(title, (low, 0.2), (high, 1.15), size, view, yaw_deg=50.0)
        stage.path(circle, "soft")
        for letter, (left, ahead) in zip("AB", poles, strict=True):
            pole = hip + np.array([left, -0.1, ahead]) * size
            knee = two_bone.solve(hip, ankle, puppet.thigh, puppet.shank, pole).knee
            stage.chain([hip, knee, ankle], "inverse").pole(pole, f"pole {letter}", knee).note(
                knee, f"knee {letter}"
            )
        stage.note(hip, "hip", "soft", "above").note(ankle, "ankle", "soft", "below")
        views.append(stage)
    return row(
        *views,
        title=(
            "The same hip, ankle and lengths with two poles: the knee is on one circle about the"
            " line from hip to ankle, each time on its pole's side"
        ),
    )


# One view each


def _room(puppet, title, above=0.46):
    """A view of a leg that hangs from the origin.

    It has room for goals beyond the leg's reach, and for a folded thigh up to `above`.
    """
    return half_stage(title, (-0.88, -1.2), (0.88, above), puppet.leg_length)


def _leg(stage, puppet, place):
    """Draw a leg that hangs from the origin, its goal and its angles; return the angles."""
    leg, points = planar_leg(puppet, (0.0, 0.0), place)
    hip, knee, ankle = points
    beyond = knee + 0.35 * puppet.shank * (knee - hip) / puppet.thigh
    stage.ghost([hip, [0.0, -0.45 * puppet.thigh]]).ghost([knee, beyond])
    stage.chain(points, "inverse", names=LEG).arc(
        knee, beyond, ankle, f"{np.degrees(leg.knee):.1f}°", "inverse"
    )
    if abs(np.degrees(leg.hip)) > 1:
        stage.arc(hip, [0, -1], knee, signed(np.degrees(leg.hip)), "inverse", radius=52)
    if leg.miss * 100 < SHOWN:
        stage.goal(place)
    else:
        stage.goal(place, "").measure(ankle, place, f"{100 * leg.miss:.1f} cm", offset=30)
    return leg


def _triangle(puppet, distance, title, **room):
    """The triangle hip, knee, ankle, its sides and angles, the hip straight above the ankle."""
    stage = _room(puppet, title, **room)
    leg, corners = planar_leg(puppet, (0.0, 0.0), (0.0, -distance))
    hip, knee, ankle = corners
    held = -ankle[1]
    at_hip, at_knee = np.degrees(leg.hip), 180 - np.degrees(leg.knee)
    stage.path([hip, ankle], "inverse").chain(corners, "inverse", thickness=12)
    stage.arc(hip, ankle, knee, radius=44).arc(knee, hip, ankle, radius=30).arc(
        ankle, hip, knee, radius=44
    )
    folded = at_hip > 90  # the thigh points away from the ankle
    stage.note(hip, f"{at_hip:.1f}°", place="left" if folded else "above")
    stage.note(knee, f"{at_knee:.1f}°", place="above" if folded else "right")
    stage.note(ankle, f"{180 - at_hip - at_knee:.1f}°", place="below")
    stage.measure(hip, ankle, f"{100 * held:.1f} cm", "inverse", -30, "left")
    stage.measure(hip, knee, f"{100 * puppet.thigh:.1f} cm", "inverse", 30)
    below = -1 if knee[0] > knee[1] - ankle[1] else 1  # a level line stands off upward
    stage.measure(knee, ankle, f"{100 * puppet.shank:.1f} cm", "inverse", 30 * below)
    return stage


def _angles(upper, lower, distance):
    leg = two_bone.solve_planar([0.0, -distance], upper, lower)
    return leg.hip, leg.knee


def _standing_leg(stage, puppet, x, height, soft, name):
    """Draw a leg whose foot belongs on the floor at `x`; return by how many cm it is off."""
    hip = np.array([x, puppet.hip_height + height])
    place = np.array([x, puppet.ankle_height])
    held = float(two_bone.soft_reach(hip[1] - place[1], puppet.thigh, puppet.shank, soft))
    leg, points = planar_leg(puppet, hip, hip - [0.0, held])
    off_cm = 100 * float(hip[1] - place[1] - held)
    beyond = points[1] + 0.3 * (points[1] - points[0])
    stage.foot(points[2], kind="inverse", height=puppet.ankle_height).ghost([points[1], beyond])
    stage.chain(points, "inverse", names=(name,)).goal(place, "")
    stage.arc(
        points[1], beyond, points[2], f"{np.degrees(leg.knee):.1f}°", "inverse", place="right"
    )
    measure_cm(stage, place, points[2], off_cm, offset=85)
    return off_cm


@lru_cache(maxsize=8)
def _rise_plot(puppet):
    """Knee against pelvis height, hard and soft.

    The soft curve is drawn anew as its length changes.
    """
    hard = _rise_curve(puppet, 0.0)
    return plots.curves(
        1000 * HEIGHTS,
        {HARD: hard, SOFT: _rise_curve(puppet, 0.02)},
        "pelvis above full height (mm)",
        "knee bent (°)",
        title="The knee's way to straight",
        desc=(
            "Knee flexion against pelvis height, for a hard and a soft leg. The hard leg's curve "
            "falls ever more steeply and ends in a corner at full height; the soft leg's leaves "
            "it before and levels out."
        ),
        kinds={SOFT: "plain"},
        ylim=(0, MOST_DEG),
        width=430,
        height=424,
    )


@lru_cache(maxsize=32)
def _rise_curve(puppet, soft):
    return knee_deg(puppet, puppet.leg_length + HEIGHTS, soft)


def _per_mm(puppet, distance, soft):
    rate = float(degrees_a_mm(puppet, distance, soft))
    return f"{rate:.2f}° per mm" if np.isfinite(rate) else "faster than any number"


def _off(off_cm):
    return "on the floor" if off_cm < SHOWN else f"<b>{off_cm:.1f} cm</b> off the floor"


def _height(height_mm):
    return (
        "at full height, legs just straight"
        if height_mm == 0
        else f"{abs(height_mm)} mm {'above' if height_mm > 0 else 'below'} full height"
    )


def _way(degrees):
    if abs(degrees) < 0.05 or abs(degrees) > 179.95:
        return "straight down" if abs(degrees) < 1 else "straight up"
    return directed(degrees, "ahead of the vertical", "behind the vertical", unit="°")
