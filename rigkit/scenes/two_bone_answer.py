"""Lesson 05's pictures: a leg as a triangle, its reach, its knee's last degrees, hard and soft.

All but the knee's circle is seen from the side, x forward and y up, in metres.
"""

from collections.abc import Sequence
from functools import lru_cache, partial

import numpy as np

from rigkit import plots, two_bone
from rigkit._types import ArrayLike, Floats
from rigkit.asking import Check, Guess, Number
from rigkit.panels import Grip, Panel, Slider, quick_check
from rigkit.puppets import PUPPETS, Puppet
from rigkit.scenes.staging import LEG, half_stage, measure_cm, moment, planar_leg
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
    """A leg on its goal, and the triangle of its two bones and the distance that they bridge."""
    legend = ("inverse",)
    leg = _room(puppet, f"{puppet.name}'s leg, and its goal", above=0.2, legend=legend)
    triangle = _room(puppet, "The same leg as a triangle", above=0.2)
    place = np.array([0.24, -0.67])
    points = planar_leg(puppet, (0.0, 0.0), place)[1]
    leg.chain(points, "inverse", names=LEG).goal(place, "goal", place="right")
    _sides(triangle, puppet, points)
    return row(
        leg,
        triangle,
        title=(
            "A bent leg with its ankle on a goal, and beside it the triangle of thigh, shank and"
            " the distance from hip to ankle, its three lengths measured"
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
    place = _goal_place(forward_cm, below_cm)
    view = _room(puppet, f"{puppet.name}'s leg")
    leg = _leg(view, puppet, place)
    distance, miss_cm = float(np.hypot(*place)), 100 * float(leg.miss)
    triangle = _triangle(puppet, distance, "Its triangle, turned upright")
    far, near = puppet.leg_length, abs(puppet.thigh - puppet.shank)
    if miss_cm < SHOWN:
        outcome = "The ankle is on its goal."
    else:
        why = "Too far: the leg is straight" if distance > far else "Too near: the leg is folded"
        outcome = (
            f"{why}, miss <b>{miss_cm:.1f} cm</b>; {puppet.name} reaches from {100 * near:.1f} to"
            f" {100 * far:.1f} cm."
        )
    words = (
        f"Distance {100 * distance:.1f} cm. Knee bent <b>{np.degrees(leg.knee):.1f}°</b>, thigh"
        f" {_way(np.degrees(leg.hip))}. {outcome}"
    )
    return row(view, triangle), words


def goal_panel(puppet: Puppet) -> Panel:
    """A goal to place: one distance, two directions."""
    fifth = _fifth(puppet)  # sides of 3, 4 and 5 of these: one distance, two places
    return _goal_panel(
        puppet,
        "The ankle follows its goal, and the triangle is drawn beside",
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
        f"{puppet.name}'s ankle follows its goal",
        0.1,
        {
            "Full reach": (0, far_cm),
            "Too far": (0, 1.07 * far_cm),
            "Folded": (0, near_cm),
            "Too near": (0, 0.7 * near_cm),
        },
    )


KNEE_WAYS = {0: "It stays as it is", 1: "It bends more", -1: "It straightens"}


def swing_guess(puppet: Puppet) -> Panel:
    """The goal to swing about the hip, after a guess at what the knee does."""
    return goal_panel(puppet).after(
        Guess(
            "05/swing",
            "The goal swings ahead on a circle about the hip: it is no nearer and no farther than"
            " before. What does the knee do?",
            tuple(KNEE_WAYS.values()),
            partial(_swing_found, puppet),
            then="Press <em>As far, swung ahead</em>, or pull the goal along such a circle.",
        )
    )


def _swing_found(puppet, forward_cm, below_cm):
    """The knee beside that of a goal as far away and straight below."""
    distance = float(np.hypot(forward_cm, below_cm)) / 100
    start = 5 * _fifth(puppet) / 100
    if abs(forward_cm) < 20 or abs(distance - start) > 0.005:
        return None
    goals = [_goal_place(forward_cm, below_cm), [0.0, -distance]]
    swung, below = np.degrees(two_bone.solve_planar(goals, puppet.thigh, puppet.shank).knee)
    more = 0 if abs(swung - below) < SHOWN else int(np.sign(swung - below))
    words = (
        f"With the goal {100 * distance:.1f} cm straight below, the knee is bent by {below:.1f}°;"
        f" swung ahead as far away, by <b>{swung:.1f}°</b>."
    )
    return KNEE_WAYS[more], words


def law_check() -> Panel:
    """A knee from three equal lengths."""
    length = 40
    flexion = float(np.degrees(two_bone.solve_planar([0, -length], length, length).knee))
    inside = 180 - flexion
    return quick_check(
        Check(
            "05/law",
            f"Another puppet's thigh and shank are {length} cm each, and its goal is {length} cm"
            " from the hip. What is the flexion of its knee?",
            Number("°", -360, 360, 0.2),
            flexion,
            f"The triangle has three equal sides, so {inside:.0f}° inside the knee, and flexion is"
            " what that lacks to 180°.",
            {
                inside: "That is the angle inside the knee. Flexion is how far the shank is from"
                " going straight on.",
                float(np.degrees(np.arcsin(0.5))): "That is the angle whose sine is 0.5. The law"
                " gives a cosine.",
                float(np.radians(flexion)): "That is in radians; say it in degrees.",
                float(np.radians(inside)): "That is the angle inside the knee, in radians.",
                -flexion: "The size is right. A knee's flexion is counted upward from 0, straight.",
                90: "Nothing is at a right angle here: that was the triangle of 3, 4 and 5.",
                0.5: "That is the cosine of the angle inside the knee.",
                -0.5: "That is the cosine of the flexion.",
            },
            "The cosine of the angle inside the knee is (a² + b² − c²) / 2ab.",
        )
    )


def near_guess(puppet: Puppet) -> Panel:
    """The goal to bring near the hip, after a guess at how near the ankle can come."""
    return reach_panel(puppet).after(
        Guess(
            "05/near",
            f"{puppet.name}'s thigh is {100 * puppet.thigh:.1f} cm long and his shank"
            f" {100 * puppet.shank:.1f} cm. How near to his hip can he bring his ankle, if the knee"
            " may fold as far as it goes?",
            Number("cm", 0, 200, 2),
            partial(_near_found, puppet),
            then="Pull the goal up to the hip, or press <em>Too near</em>.",
        )
    )


def _near_found(puppet, forward_cm, below_cm):
    place = _goal_place(forward_cm, below_cm)
    leg = two_bone.solve_planar(place, *puppet.bones)
    if np.degrees(leg.knee) < 179.9:
        return None
    ankle = two_bone.planar_points(leg.hip, leg.knee, *puppet.bones)[2]
    near = 100 * float(np.hypot(*ankle))
    return near, f"Folded on itself, his leg keeps the ankle <b>{near:.1f} cm</b> from the hip."


def reach_check() -> Panel:
    """A goal too near for a leg whose thigh is the longer bone."""
    thigh, shank, distance = 50, 20, 22
    miss = float(two_bone.solve_planar([0, -distance], thigh, shank).miss)
    near, far = thigh - shank, thigh + shank
    return quick_check(
        Check(
            "05/reach",
            f"A marionette's thigh is {thigh} cm long and its shank {shank} cm. Its goal is"
            f" {distance} cm from the hip. By how much does the ankle miss it?",
            Number("cm", -200, 200, 0.02),
            miss,
            f"The ankle comes no nearer than {thigh} − {shank} = {near} cm, and {near} −"
            f" {distance} = {miss:.0f}. It does not matter which bone is the longer one.",
            {
                0: "The goal is nearer than the straight leg is long, but too near is out of reach"
                " as well.",
                far - distance: f"That is measured from full extension, {far} cm. The folded leg is"
                " much nearer to this goal.",
                near: "That is how near the ankle comes to the hip. How far is it from the goal"
                " then?",
                near
                + distance: "The goal and the ankle are on the same side of the hip: subtract.",
                distance - shank: "That takes the shank for the nearest the ankle comes. Folded, it"
                " is thigh − shank from the hip.",
                -miss: "The size is right. A miss is a distance, so it has no minus.",
                miss / 100: "That is in metres; say it in centimetres.",
            },
            "Fold the leg on itself: where is the ankle then, and where is the goal?",
        )
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
        grips=[Grip("Goal", _goal_place, ("forward_cm", "below_cm"), views=(0,))],
    )


def _goal_place(forward_cm, below_cm):
    return np.array([forward_cm, -below_cm]) / 100


def _fifth(puppet):
    """A fifth of a distance well in reach, in whole centimetres."""
    return float(round(17 * puppet.leg_length))


# A pelvis that rises through full height


def rise(puppet: Puppet, height_mm: float, soft_cm: float) -> tuple[Row, str]:
    """A hard and a soft leg under one pelvis, their knees' curves, and both in words.

    The pelvis is `height_mm` above full height.
    """
    soft, distance = soft_cm / 100, puppet.leg_length + height_mm / 1000
    size = puppet.hip_height
    stage = half_stage("Two legs under one pelvis", (-0.64, -0.06), (0.64, 1.1), size).floor()
    off_cm = [
        _standing_leg(stage, puppet, _hip(puppet, share, height_mm), s, name)
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


def straighten(puppet: Puppet, height_mm: float) -> tuple[Row, str]:
    """A leg under a rising pelvis, its knee's curve so far, and both in words.

    The pelvis is `height_mm` above full height.
    """
    distance = puppet.leg_length + height_mm / 1000
    stage = half_stage("A pelvis that rises", (-0.64, -0.06), (0.64, 1.1), puppet.hip_height)
    off_cm = _standing_leg(stage.floor(), puppet, _hip(puppet, 0.0, height_mm), 0.0, "hip")
    plot = _straight_plot(puppet).until(height_mm).at(height_mm)
    words = (
        f"Pelvis {_height(height_mm)}. Knee bent <b>{float(knee_deg(puppet, distance)):.1f}°</b>,"
        f" {_per_mm(puppet, distance, 0.0)}, foot {_off(off_cm)}."
    )
    return row(stage, plot), words


def straighten_panel(puppet: Puppet) -> Panel:
    """A pelvis that rises by millimetres until its leg is straight, and beyond."""
    return Panel(
        "Her pelvis rises evenly, her foot stays on the floor",
        [
            Slider(
                *("height_mm", "Pelvis, 0 = straight", round(-1000 * BELOW), round(1000 * ABOVE)),
                *(1, round(-1000 * BELOW), "mm"),
            )
        ],
        partial(straighten, puppet),
        {
            "The last centimetre": (-10,),
            "The last millimetre": (-1,),
            "Just straight": (0,),
            "4 cm too high": (40,),
        },
        play="height_mm",
        grips=[
            Grip("Hip", partial(_hip, puppet, 0.0), ("height_mm",), (0,)),
            moment("height_mm", 0.65 * MOST_DEG, "Pelvis height"),
        ],
    )


def millimetre_guess(puppet: Puppet) -> Panel:
    """The rise to play, after a guess at how bent the knee is just before straight."""
    last = float(knee_deg(puppet, puppet.leg_length - 0.01))
    square_root = float(knee_deg(puppet, puppet.leg_length - 0.001))
    options = tuple(f"{bent:.1f}°" for bent in (last / 100, last / 10, square_root))
    return straighten_panel(puppet).after(
        Guess(
            "05/millimetre",
            f"One centimetre before her leg is straight, {puppet.name}'s knee is bent by"
            f" {last:.1f}°. How far is it bent one <em>millimetre</em> before?",
            options,
            partial(_millimetre_found, puppet),
            then="Press <em>Play</em>, then <em>The last millimetre</em>.",
        )
    )


def _millimetre_found(puppet, height_mm):
    if height_mm != -1:
        return None
    near, far = (float(knee_deg(puppet, puppet.leg_length - short)) for short in (0.001, 0.01))
    words = (
        f"It is bent by <b>{near:.1f}°</b>: a tenth of the way holds"
        f" {100 * near / far:.0f} % of the bend."
    )
    return f"{near:.1f}°", words


def ninth_check() -> Panel:
    """Ask what is left of a bend when a ninth of the missing distance is left."""
    pip, bent = PUPPETS["Pip"], 12.0
    a, b = pip.bones
    missing = pip.leg_length - np.sqrt(a**2 + b**2 + 2 * a * b * np.cos(np.radians(bent)))
    left = float(knee_deg(pip, pip.leg_length - missing / 9))
    return quick_check(
        Check(
            "05/ninth",
            f"Pip rises too. At some height his knee is bent by {bent:.0f}°, and a little is"
            " missing to full height. How far is it bent when a ninth of that is left?",
            Number("°", 0, 360, 0.1),
            left,
            f"The square root of a ninth is a third, and a third of {bent:.0f}° is {left:.0f}°.",
            {
                bent / 9: "That would be so if the bend went with the distance. It goes with the"
                " square root of the distance.",
                bent / 81: "That squares the ninth. It is the distance that goes with the square of"
                " the bend; the other way round it is a root.",
                bent
                / 2: "Half of the bend is left with a quarter of the distance, and this is less"
                " than a quarter.",
                bent * 8 / 9: "That takes a ninth of the bend away.",
                bent - left: "That is how far the knee turns on the way there. How far is it bent"
                " then?",
                3 * bent: "It comes nearer to straight, so it is bent less: divide.",
            },
            "Near straight, the bend goes with the square root of what is missing.",
        )
    )


def rise_panel(puppet: Puppet) -> Panel:
    """A pelvis that rises by millimetres through full height, over a hard and a soft leg."""
    low, high = round(-1000 * BELOW), round(1000 * ABOVE)
    return Panel(
        "A hard and a soft leg under one rising pelvis",
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
        grips=[
            *(
                Grip(f"Hip of the {name} leg", partial(_hip, puppet, share), ("height_mm",), (0,))
                for share, name in zip(SIDE_BY_SIDE, (HARD, SOFT), strict=True)
            ),
            moment("height_mm", 0.65 * MOST_DEG, "Pelvis height"),
        ],
    )


LIFTED = {
    0.0: "It stands on the floor",
    float(np.exp(-1)): "A third of the soft length or so",
    1.0: "The whole soft length",
}


def soft_guess(puppet: Puppet) -> Panel:
    """The rise of both legs, after a guess at how far the soft foot is off at full height."""
    return rise_panel(puppet).after(
        Guess(
            "05/soft",
            "With the pelvis just at full height the hard leg still stands on the floor. How high"
            " above it is the soft leg's foot?",
            tuple(LIFTED.values()),
            partial(_soft_found, puppet),
            then="Press <em>Just straight</em>, and try other soft lengths.",
        )
    )


def _soft_found(puppet, height_mm, soft_cm):
    if height_mm != 0 or soft_cm == 0:
        return None
    full = puppet.leg_length
    held = float(two_bone.soft_reach(full, puppet.thigh, puppet.shank, soft_cm / 100))
    off_cm = 100 * (full - held)
    nearest = min(LIFTED, key=lambda share: abs(share - off_cm / soft_cm))
    words = f"It is <b>{off_cm:.1f} cm</b> off the floor, with a soft length of {soft_cm:.1f} cm."
    return LIFTED[nearest], words


SLOWED = {1 / 3: "A third", 1 / 9: "A ninth", 1 / 81: "An eighty-first"}


def bargain_check() -> Panel:
    """Ask what nine times the soft length makes of a knee's top speed."""
    odo = PUPPETS["Odo"]
    short, long = 0.3, 2.7  # cm
    fastest = [float(degrees_a_mm(odo, odo.leg_length - s / 100, s / 100)) for s in (short, long)]
    ratio = fastest[1] / fastest[0]
    right = SLOWED[min(SLOWED, key=lambda share: abs(np.log(share / ratio)))]
    wrong = {
        "A third": "It goes with the square root of the soft length.",
        "A ninth": "That would be a fair price: nine times the centimetres for a ninth of the"
        " speed. The square root makes it worse.",
        "An eighty-first": "That squares the nine. The speed goes with its square root.",
    }
    return quick_check(
        Check(
            "05/bargain",
            f"Odo's soft length grows from {short:.1f} cm to {long:.1f} cm. What is left of his"
            " knee's top speed?",
            tuple(wrong),
            right,
            f"From {fastest[0]:.2f}° to {fastest[1]:.2f}° per mm. His foot is nine times as far off"
            " for it.",
            {option: words for option, words in wrong.items() if option != right},
        )
    )


def _hip(puppet, share, height_mm, **_):
    """The hip of a leg that stands at a share of the hips' height."""
    return np.array([share * puppet.hip_height, puppet.hip_height + height_mm / 1000])


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


def _room(puppet, title, above=0.6, legend=()):
    """A view of a leg that hangs from the origin.

    It has room for goals beyond the leg's reach, and for a folded thigh up to `above`.
    """
    return half_stage(title, (-0.88, -1.2), (0.88, above), puppet.leg_length, legend=legend)


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
    at_hip, at_knee = np.degrees(leg.hip), 180 - np.degrees(leg.knee)
    stage.path([hip, ankle], "inverse").chain(corners, "inverse", thickness=12)
    stage.arc(hip, ankle, knee, radius=44).arc(knee, hip, ankle, radius=30).arc(
        ankle, hip, knee, radius=44
    )
    folded = at_hip > 90  # the thigh points away from the ankle
    level = folded and abs(knee[0]) < 0.1 * puppet.thigh  # on itself: the shank has the right alone
    stage.note(hip, f"{at_hip:.1f}°", place="left" if folded else "above")
    stage.note(knee, f"{at_knee:.1f}°", place="above" if folded and not level else "right")
    stage.note(ankle, f"{180 - at_hip - at_knee:.1f}°", place="below")
    return _measured(stage, puppet, corners, level)


def _sides(stage, puppet, corners):
    """A triangle of hip, knee and ankle with its three lengths and no angle."""
    stage.path(corners[[0, 2]], "inverse").chain(corners, "inverse", thickness=12)
    return _measured(stage, puppet, corners)


def _measured(stage, puppet, corners, level=False):
    """Measure the sides of the triangle of hip, knee and ankle; `level` if it is folded flat."""
    hip, knee, ankle = corners
    held, thigh, shank = (f"{100 * side:.1f} cm" for side in (-ankle[1], *puppet.bones))
    stage.measure(hip, ankle, held, "inverse", -30, "left")
    if level:
        stage.measure(hip, knee, thigh, "inverse", -30, "left")
        return stage.measure(knee, ankle, shank, "inverse", 68, "right")
    stage.measure(hip, knee, thigh, "inverse", 30)
    below = -1 if knee[0] > knee[1] - ankle[1] else 1  # a level line stands off upward
    return stage.measure(knee, ankle, shank, "inverse", 30 * below)


def _angles(upper, lower, distance):
    leg = two_bone.solve_planar([0.0, -distance], upper, lower)
    return leg.hip, leg.knee


def _standing_leg(stage, puppet, hip, soft, name):
    """Draw a leg whose foot belongs on the floor below `hip`; return by how many cm it is off."""
    place = np.array([hip[0], puppet.ankle_height])
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


@lru_cache(maxsize=8)
def _straight_plot(puppet):
    """Knee against pelvis height; as drawn in a panel it ends at the height that is shown."""
    return plots.curves(
        1000 * HEIGHTS,
        {"knee": _rise_curve(puppet, 0.0)},
        "pelvis above full height (mm)",
        "knee bent (°)",
        title="The knee's way to straight",
        desc="Knee flexion against pelvis height, from the start of the rise up to this height.",
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
