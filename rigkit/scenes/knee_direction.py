"""Lesson 07's pictures: a knee's circle, its pole, two knees in a squat, and a knee that flips.

Where there is one leg it is the left one, its foot on the floor; x to the character's left, y up, z
ahead, in metres.
"""

from functools import cache, partial
from typing import Any

import numpy as np

from rigkit import bend, controls, plots, rotation, two_bone
from rigkit._types import ArrayLike, Bools, Floats
from rigkit.leg import LegPose, LegRig
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.staging import LEG, half_stage, measure_or_zero, size
from rigkit.scenes.words import SHOWN, directed, number, signed
from rigkit.skeleton import SIDE_TAGS
from rigkit.stage import Row, row

PLACED = ("in the bend plane", "straight ahead")
FOLLOWS = {"nothing": (), "the pelvis": "pelvis", "the feet": "foot"}
TURNED_OUT_DEG = 15.0  # how far the leg that gets a pole is turned out at rest
FRAMES = 36  # of a kick, a second and a half
SQUAT_CM = 30.0  # how far down a squat goes
SQUAT_FRAMES = 24  # from its start until it is up again
KICK_DEG = (-10.0, 100.0)


# One leg


def lowered(puppet: Puppet, lowered_cm: float = 13.0) -> tuple[Floats, Floats]:
    """Hip and ankle of the left leg when the pelvis is lower than in a straight stand.

    The ankle is straight below.
    """
    aside = puppet.hip_width / 2
    return np.array([aside, puppet.hip_height - lowered_cm / 100, 0.0]), np.array(
        [aside, puppet.ankle_height, 0.0]
    )


def bent(puppet: Puppet, bend_deg: float, turned_out_deg: float = TURNED_OUT_DEG) -> Floats:
    """Hip, knee and ankle of the left leg, standing, its knee bent and turned out; shape (3, 3)."""
    short = float(bend.reach_cost(np.radians(bend_deg), *puppet.bones)) * puppet.leg_length
    hip, ankle = lowered(puppet, 100 * short)
    pose = solved(puppet, hip, ankle, swivel=-np.radians(turned_out_deg))
    return np.stack([hip, pose.knee, ankle])


def solved(
    puppet: Puppet,
    hip: ArrayLike,
    ankle: ArrayLike,
    pole: ArrayLike | None = None,
    swivel: ArrayLike = 0.0,
) -> two_bone.TwoBonePose:
    """The puppet's leg between `hip` and `ankle`, a `TwoBonePose`."""
    return two_bone.solve(hip, ankle, puppet.thigh, puppet.shank, pole, swivel=swivel)


def turn_deg(first: two_bone.TwoBonePose, second: two_bone.TwoBonePose) -> Floats:
    """Turn of the bend plane from one pose to another, degrees from 0 to 180."""
    return np.degrees(rotation.angle_between(first.hinge, second.hinge))


# The circle, and the pole


def turned(puppet: Puppet, left_cm: float, ahead_cm: float, up_cm: float) -> tuple[Row, str]:
    """A leg and its pole from the front and from above; which way the knee points in words."""
    hip, ankle = lowered(puppet)
    straight = solved(puppet, hip, ankle)
    level = straight.knee * [1, 1, 0]
    pole = level + np.array([left_cm, up_cm, ahead_cm]) / 100
    pose = solved(puppet, hip, ankle, pole)
    views = [
        _turned_view(puppet, view, title, (hip, pose.knee, ankle), pole, straight.knee)
        for view, title in (("front", "From the front"), ("top", "From above: she faces down"))
    ]
    moved_cm = 100 * np.linalg.norm(pose.knee - straight.knee)
    swivel = np.degrees(two_bone.swivel_angle(hip, pose.knee, ankle))
    said = (
        "" if pose.guided else "The pole is on the line from hip to ankle and gives no direction. "
    )
    words = (
        f"{said}Swivel <b>{signed(swivel, 1)}</b>, the knee <b>{moved_cm:.1f} cm</b> from straight"
        f" ahead. Hinge axis {_vector(pose.hinge)}."
    )
    return row(*views), words


def turned_panel(puppet: Puppet) -> Panel:
    """A pole to drag around a bent leg."""
    return Panel(
        "Drag the pole: which way does the knee point?",
        [
            Slider("left_cm", "Pole to her left", -45.0, 45.0, 1.0, 10.0, "cm"),
            Slider("ahead_cm", "Pole ahead of the line", -30.0, 60.0, 1.0, 50.0, "cm"),
            Slider("up_cm", "Pole above the knee", -40.0, 40.0, 1.0, 0.0, "cm"),
        ],
        partial(turned, puppet),
        {
            "20 cm to her left": (20, 50, 0),
            "The same, higher": (20, 50, 40),
            "The same, nearer": (20, 15, 0),
            "Behind": (0, -30, 0),
            "On the line": (0, 0, 0),
        },
    )


# A pole takes over


def take_over(
    puppet: Puppet, placed: str, bend_deg: float, aside_cm: float, distance_cm: float
) -> tuple[Row, str]:
    """A leg before and after a pole takes over its knee, and how far that moved it in words."""
    hip, knee, ankle = bent(puppet, bend_deg)
    before = solved(puppet, hip, ankle, swivel=-np.radians(TURNED_OUT_DEG))
    distance = distance_cm / 100
    pole = (
        two_bone.place_pole(hip, knee, ankle, distance)
        if placed == PLACED[0]
        else knee + [0.0, 0.0, distance]
    )
    pole = pole + aside_cm / 100 * before.hinge
    after = solved(puppet, hip, ankle, pole)
    jump_cm, turn = 100 * float(np.linalg.norm(after.knee - knee)), float(turn_deg(before, after))
    views = []
    for view, title in (("front", "From the front"), ("top", "From above: she faces down")):
        stage = _room(puppet, view, title, 0.6, (-0.05, 1.0), (-0.2, 0.85))
        _foot(stage, puppet, ankle, np.radians(TURNED_OUT_DEG))
        if view == "top":
            stage.path([hip, hip + 3 * (knee - hip) * [1, 0, 1]], "soft")
        stage.chain([hip, after.knee, ankle], "inverse", "L").pole(pole, "pole", after.knee)
        # The dots keep off the letter in the hip's ring.
        stage.ghost([hip + 0.15 * (knee - hip), knee, ankle])
        aside = -46 if view == "front" else 0
        views.append(measure_or_zero(stage, knee, after.knee, jump_cm, "left", offset=aside))
    words = (
        f"Knee bent {bend_deg:.0f}°, pole {distance_cm:.0f} cm in front of it. When the pole takes"
        f" over, the knee turns by <b>{turn:.1f}°</b> and jumps by <b>{jump_cm:.1f} cm</b>."
    )
    return row(*views), words


def take_over_panel(puppet: Puppet) -> Panel:
    """A pole to place in front of a knee that is turned out."""
    return Panel(
        "Place the pole: does the knee stay where it is?",
        [
            Choice("placed", "Pole placed", PLACED, PLACED[1]),
            Slider("aside_cm", "Then moved aside", -15.0, 15.0, 0.5, 0.0, "cm"),
            Slider("distance_cm", "In front of the knee", 5.0, 60.0, 1.0, 40.0, "cm"),
            Slider("bend_deg", "Knee bent", 5.0, 80.0, 1.0, 60.0, "°"),
        ],
        partial(take_over, puppet),
        {
            "In the plane": (PLACED[0], 0, 40, 60),
            "5 cm off, 40 cm away": (PLACED[0], 5, 40, 60),
            "5 cm off, 10 cm away": (PLACED[0], 5, 10, 60),
            "5° of bend": (PLACED[0], 5, 10, 5),
        },
    )


def turn_per_cm(puppet: Puppet, bend_deg: float, distances: ArrayLike) -> Floats:
    """Turn of the knee when its pole is moved one centimetre aside; degrees.

    The pole is `distances` [m] in front of the knee.
    """
    hip, knee, ankle = bent(puppet, bend_deg)
    poles = two_bone.place_pole(hip, knee, ankle, distances)
    before = solved(puppet, hip, ankle, poles)
    return turn_deg(before, solved(puppet, hip, ankle, poles + 0.01 * before.hinge))


def distance_plot(puppet: Puppet) -> plots.Plot:
    """Degrees of knee for each centimetre of pole, against the pole's distance."""
    far_cm = np.linspace(2, 150, 149)
    lines = {
        f"knee bent {degrees}°": turn_per_cm(puppet, degrees, far_cm / 100) for degrees in (5, 60)
    }
    near, far = (turn_per_cm(puppet, 5, distance) for distance in (0.05, puppet.leg_length))
    return plots.curves(
        far_cm,
        lines,
        "pole in front of the knee (cm)",
        "turn for 1 cm aside (°)",
        title="A near pole is a nervous one",
        desc=(
            "Degrees that the knee turns for each centimetre of pole, against the pole's distance."
            f" In a leg bent 5 degrees a pole 5 cm away turns it by {near:.1f} degrees, one a leg's"
            f" length away by {far:.1f}. Bent 60 degrees the near pole turns it less."
        ),
    )


# Two knees


@cache
def rig(puppet: Puppet, follows: str) -> LegRig:
    """The puppet's rig, bent by 5° at rest, whose knee controls follow one of `FOLLOWS`."""
    standing = LegRig.from_puppet(puppet, preset_bend_deg=5.0)
    worlds, leader = standing.pose().controls, FOLLOWS[follows]
    knees = [control for control in standing.controls if control.name.endswith("_knee")]
    return standing.with_controls(
        *(
            controls.switch(knee, knee.name[:2] + leader if leader == "foot" else leader, worlds)
            for knee in knees
        )
    )


def squat_values(
    lowered_cm: float | Floats,
    apart_cm: float = 0.0,
    turned_deg: float = 0.0,
    walked_cm: float = 0.0,
) -> dict[str, dict[str, Any]]:
    """Control values of a squat: feet turned out, and wider apart by `apart_cm` on either side."""
    values = {"pelvis": {"shift_y": np.divide(lowered_cm, -100), "shift_z": walked_cm / 100}}
    for tag, out in zip(SIDE_TAGS, (1, -1), strict=True):
        values[tag + "foot"] = {
            "shift_x": out * apart_cm / 100,
            "shift_z": walked_cm / 100,
            "turn_y": out * np.radians(turned_deg),
        }
    return values


def legs(puppet: Puppet, pose: LegPose) -> Floats:
    """Hip, knee, ankle and toe of both legs, left and right, shape (..., 2, 4, 3)."""
    skeleton = rig(puppet, "nothing").skeleton
    return np.stack(
        [
            skeleton.origins(pose.world, [tag + joint for joint in (*LEG, "toe")])
            for tag in SIDE_TAGS
        ],
        -3,
    )


def knees(puppet: Puppet, pose: LegPose) -> tuple[Floats, Floats]:
    """The distance between the knees, and of each from the line of its toes; cm.

    The latter are left and right, positive outside, seen from above.
    """
    _, knee, ankle, toe = np.moveaxis(legs(puppet, pose), -2, 0)
    outside = (
        100 * two_bone.knee_toe_offset(knee, ankle, toe) * [-1, 1]
    )  # which counts to her right
    return 100 * (knee[..., 0, 0] - knee[..., 1, 0]), outside


def backward(puppet: Puppet, pose: LegPose) -> Bools:
    """True where a knee points away from its toes, left and right."""
    hip, knee, ankle, toe = np.moveaxis(legs(puppet, pose), -2, 0)
    return np.abs(two_bone.swivel_angle(hip, knee, ankle, hint=toe - ankle)) > np.pi / 2


def squat(
    puppet: Puppet, frame: int, apart_cm: float, turned_deg: float, walked_cm: float, follows: str
) -> tuple[Row, str]:
    """One frame of a squat from the front and from above, and where its knees are in words."""
    lowered_cm = SQUAT_CM * (1 - abs(2 * frame / SQUAT_FRAMES - 1))
    pose = rig(puppet, follows).pose(squat_values(lowered_cm, apart_cm, turned_deg, walked_cm))
    apart, outside = knees(puppet, pose)
    views = [
        _squat_view(puppet, view, title, pose, walked_cm / 100)
        for view, title in (("front", "From the front"), ("top", "From above: she faces down"))
    ]
    between = f"{apart:.1f} cm apart" if apart >= 0 else f"crossed by {-apart:.1f} cm"
    more = (
        ""
        if pose.miss.max() < 5e-4
        else f" A foot is {100 * pose.miss.max():.1f} cm short of its goal."
    )
    more += " <b>The knees point backward.</b>" if backward(puppet, pose).any() else ""
    words = (
        f"Pelvis {lowered_cm:.1f} cm down, knees <b>{between}</b>. Seen from above, the left knee"
        f" is <b>{_in_or_out(outside[0])}</b> the line of its toes, the right knee"
        f" <b>{_in_or_out(outside[1])}</b>.{more}"
    )
    return row(*views), words


def squat_panel(puppet: Puppet) -> Panel:
    """Both legs in a squat, with knee controls that follow nothing, the pelvis or the feet."""
    down = SQUAT_FRAMES // 2
    return Panel(
        "Squat: are the knees over the toes?",
        [
            Choice("follows", "Knee controls follow", tuple(FOLLOWS), "nothing"),
            Slider("frame", "Frame", 0, SQUAT_FRAMES, 1, down),
            Slider("apart_cm", "Each foot moved out", -5.0, 20.0, 1.0, 0.0, "cm"),
            Slider("turned_deg", "Each foot turned out", -20.0, 40.0, 1.0, 30.0, "°"),
            Slider("walked_cm", "Walked ahead", 0.0, 110.0, 1.0, 0.0, "cm"),
        ],
        partial(squat, puppet),
        {
            name: {"frame": down, "apart_cm": apart, "turned_deg": turned, "walked_cm": walked}
            for name, apart, turned, walked in (
                ("Feet turned out", 0, 30, 0),
                ("Wide and turned out", 20, 30, 0),
                ("Wide, toes ahead", 20, 0, 0),
                ("Walked past", 0, 0, 105),
            )
        },
        play="frame",
    )


def opening(puppet: Puppet) -> Row:
    """One squat twice, from the front: knee controls that stayed ahead, or turned with the feet."""
    views, measured = [], []
    for follows, title in (
        ("nothing", "Poles left ahead: the knees fall in"),
        ("the feet", "Poles turned with the feet"),
    ):
        pose = rig(puppet, follows).pose(squat_values(30.0, 0.0, 30.0))
        apart, outside = knees(puppet, pose)
        views.append(
            _squat_view(puppet, "front", title, pose, half=0.62, heights=(-0.05, 0.74), poles=True)
        )
        measured.append(
            f"{apart:.0f} centimetres apart and {_in_or_out(outside[0])} the line of their toes"
        )
    return row(
        *views,
        title=(
            "A squat with the feet turned out by 30 degrees, from the front. With poles left"
            f" straight ahead the knees are {measured[0]}; with poles that turned with the feet"
            f" they are {measured[1]}"
        ),
    )


# A goal that passes the pole


def kick_goals(puppet: Puppet, frames: int = FRAMES) -> Floats:
    """Goals of the ankle in each frame of a kick, a leg nine tenths long swinging up.

    Shape (frames + 1, 3).
    """
    angle = np.radians(np.linspace(*KICK_DEG, frames + 1))
    hip, _ = lowered(puppet, 0.0)
    return hip + 0.9 * puppet.leg_length * np.stack(
        [0 * angle, -np.cos(angle), np.sin(angle)], axis=-1
    )


def kick_pole(puppet: Puppet, aside_cm: float = 0.0, higher_cm: float = 0.0) -> Floats:
    """A pole a leg's length in front of the standing knee, moved to her left and up; shape (3,)."""
    hip, knee, ankle = bent(puppet, 5.0, 0.0)
    pole = two_bone.place_pole(hip, knee, ankle, puppet.leg_length)
    return pole + np.array([aside_cm, higher_cm, 0.0]) / 100


def kick(puppet: Puppet, aside_cm: float, higher_cm: float) -> tuple[two_bone.TwoBonePose, Floats]:
    """The kick solved in every frame, and how far the knee has turned since the first, degrees."""
    hip, _ = lowered(puppet, 0.0)
    pose = solved(puppet, hip, kick_goals(puppet), kick_pole(puppet, aside_cm, higher_cm))
    return pose, np.degrees(rotation.angle_between(pose.hinge, pose.hinge[0]))


@cache
def kick_plot(puppet: Puppet) -> plots.Plot:
    """The knee's turn against the goal's way; its curve is drawn anew for each pole."""
    return plots.curves(
        _goal_way_cm(puppet),
        {"turned": kick(puppet, 0.0, 0.0)[1]},
        "goal's way (cm)",
        "knee turned (°)",
        title="How far the knee has turned",
        ylim=(-5, 190),
        width=430,
        height=428,
        desc=(
            "How far the knee has turned since the first frame, against the way that the goal has "
            "gone, with a marker at this frame."
        ),
    )


def kicking(puppet: Puppet, frame: int, aside_cm: float, higher_cm: float) -> tuple[Row, str]:
    """One frame of the kick from the side, and how fast the knee turns there in words."""
    pose, turn = kick(puppet, aside_cm, higher_cm)
    hip, _ = lowered(puppet, 0.0)
    pole, way = kick_pole(puppet, aside_cm, higher_cm), _goal_way_cm(puppet)
    stage = half_stage("From the side", (-0.5, -0.02), (1.05, 1.4), size(puppet))
    stage.path(pose.ankle, "goal").path([hip, hip + 2 * (pole - hip)], "soft")
    before = max(frame - 1, 0)
    if frame:
        stage.ghost([hip, pose.knee[before], pose.ankle[before]])
    stage.chain([hip, pose.knee[frame], pose.ankle[frame]], "inverse", "L", names=LEG)
    stage.pole(pole)
    step = float(rotation.angle_between(pose.hinge[frame], pose.hinge[before]) * 180 / np.pi)
    goal_cm = float(way[frame] - way[before])
    rate = f", <b>{step / goal_cm:.1f}° per cm</b>" if frame else ""
    flip = " <b>The knee has flipped.</b>" if step > 90 else ""
    words = (
        f"Frame {frame} of {FRAMES}. Since the frame before, the goal moved {goal_cm:.1f} cm and"
        f" the knee turned <b>{step:.1f}°</b>{rate}.{flip}"
    )
    plot = kick_plot(puppet).with_lines({"turned": turn}).at(way[frame], f"{turn[frame]:.0f}°")
    return row(stage, plot), words


def kick_panel(puppet: Puppet) -> Panel:
    """A kick whose goal passes the pole."""
    return Panel(
        "Break it: kick past the pole",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, 25),
            Slider("aside_cm", "Pole to her left", 0.0, 30.0, 0.5, 0.0, "cm"),
            Slider("higher_cm", "Pole higher", 0.0, 70.0, 1.0, 0.0, "cm"),
        ],
        partial(kicking, puppet),
        {
            "The frame before": (24, 0, 0),
            "The flip": (25, 0, 0),
            "3 cm to her left": (25, 3, 0),
            "20 cm to her left": (25, 20, 0),
            "Out of the way": (25, 0, 70),
        },
        play="frame",
    )


@cache
def _goal_way_cm(puppet):
    steps = np.linalg.norm(np.diff(kick_goals(puppet), axis=0), axis=-1)
    return 100 * np.concatenate([[0.0], np.cumsum(steps)])


# Views


def _room(puppet, view, title, half, heights, depths):
    """A view of the standing puppet; `depths` is what the top view holds from back to front."""
    low, high = heights if view == "front" else (-depths[1], -depths[0])
    stage = half_stage(title, (-half, low), (half, high), size(puppet), view)
    return stage.floor() if view == "front" else stage


def _foot(stage, puppet, ankle, turned_out=0.0, out=1, side="L"):
    """A flat foot below `ankle`, turned out by an angle on the side `out`."""
    ahead = np.array([out * np.sin(turned_out), 0.0, np.cos(turned_out)])
    below = ankle * [1, 0, 1]
    heel, toe = (
        below - puppet.heel_length * ahead,
        below + (puppet.foot_length - puppet.heel_length) * ahead,
    )
    return stage.foot(ankle, heel, toe, kind="inverse", side=side)


def _turned_view(puppet, view, title, leg, pole, straight):
    """A leg and its pole; the knee's circle, the bend plane, the swivel and the hinge axis."""
    hip, knee, ankle = leg
    stage = _room(puppet, view, title, 0.56, (-0.05, 0.98), (-0.35, 0.68))
    around = np.linspace(0, 2 * np.pi, 73)
    centre = knee * [0, 1, 0] + hip * [1, 0, 1]
    lever = np.linalg.norm(knee - centre)
    stage.path(
        centre + lever * np.stack([np.sin(around), 0 * around, np.cos(around)], axis=-1), "soft"
    )
    _foot(stage, puppet, ankle)
    if view == "top":
        stage.path([centre, straight], "soft")
    else:
        stage.skin([hip, knee, ankle], "inverse")
    stage.chain([hip, knee, ankle], "inverse", "L")
    if np.linalg.norm((pole - centre)[[0, 2]]) > 1e-6:
        stage.pole(pole, "pole", knee)
    else:
        stage.pole(pole, "pole on the line")
    if view == "front":
        return stage
    swivel = abs(np.degrees(two_bone.swivel_angle(hip, knee, ankle)))
    if swivel >= SHOWN:
        stage.arc(centre, straight, knee, radius=44.0)
    if SHOWN <= swivel <= 90:
        text = f"{100 * np.linalg.norm(knee - straight):.1f} cm"
        away = "left" if knee[0] > straight[0] else "right"  # from the line to the pole
        stage.measure(straight, knee, text, "plain", -24, away)
    return stage.arrow(knee, knee + 0.2 * solved(puppet, hip, ankle, pole).hinge, "hinge axis")


def _squat_view(
    puppet, view, title, pose, walked=0.0, half=0.65, heights=(-0.045, 0.938), poles=False
):
    """Both legs; from above with each foot's plane, the poles, and how far the knees are off."""
    from_above = view == "top"
    stage = _room(puppet, view, title, 0.86 if from_above else half, heights, (-0.36, 0.94))
    both = legs(puppet, pose) - [0.0, 0.0, walked]
    apart, outside = knees(puppet, pose)
    good = max(abs(outside)) < 1 and not backward(puppet, pose).any()
    for side, out, off, (hip, knee, ankle, toe) in zip("LR", (1, -1), outside, both, strict=True):
        ahead = (toe - ankle)[[0, 2]]
        _foot(stage, puppet, ankle, np.arctan2(out * ahead[0], ahead[1]), out, side)
        if from_above:
            stage.path([ankle, ankle + 2.5 * (toe - ankle)], "goal", side)
        stage.chain([hip, knee, ankle], "inverse", side, thickness=20)
        if from_above or poles:
            stage.pole(
                pose.controls[side + "_knee"][:3, 3] - [0.0, 0.0, walked],
                f"pole {side}",
                knee if from_above else None,
                None if from_above else "right" if out > 0 else "left",
            )
        if from_above and abs(off) >= 1:
            right = np.array([-ahead[1], 0.0, ahead[0]]) / np.linalg.norm(ahead)
            stage.measure(
                knee, knee + out * off / 100 * right, f"{abs(off):.1f} cm" if out > 0 else ""
            )
    if not from_above:
        stage.measure(
            both[1, 1], both[0, 1], f"{apart:.1f} cm", "plain" if good else "miss", offset=-46
        )
    return stage


# Words


def _vector(vector):
    return f"({', '.join(number(value, 2) for value in vector)})"


def _in_or_out(cm):
    return directed(cm, "outside", "inside", "on")
