"""Lesson 07's pictures: a knee's circle, its pole, two knees in a squat, and a knee that flips.

Where there is one leg it is the left one, its foot on the floor; x to the character's left, y up, z
ahead, in metres.
"""

from functools import cache, lru_cache, partial
from typing import Any

import numpy as np

from rigkit import bend, controls, plots, rotation, two_bone
from rigkit._types import ArrayLike, Bools, Floats
from rigkit.asking import Check, Guess, Number
from rigkit.leg import LegPose, LegRig
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import Puppet
from rigkit.scenes.bodies import draw_body
from rigkit.scenes.staging import LEG, at_frame, half_stage, measure_or_zero, size
from rigkit.scenes.words import SHOWN, directed, number, signed
from rigkit.skeleton import SIDE_TAGS
from rigkit.stage import Row, row

PLACED = ("in the bend plane", "straight ahead", "not yet")
FOLLOWS = {"nothing": (), "the pelvis": "pelvis", "the feet": "foot"}
TURNED_OUT_DEG = 15.0  # how far the leg that gets a pole is turned out at rest
FRAMES = 36  # of a kick, a second and a half
SQUAT_CM = 30.0  # how far down a squat goes
SQUAT_FRAMES = 24  # from its start until it is up again
KICK_DEG = (-10.0, 100.0)
FLIP_DEG = 90.0  # a knee that turns by more from one frame to the next has flipped


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
    straight, pole = solved(puppet, hip, ankle), _pole(puppet, left_cm, ahead_cm, up_cm)
    pose = solved(puppet, hip, ankle, pole)
    views = [
        _turned_view(puppet, view, title, (hip, pose.knee, ankle), pole, straight.knee)
        for view, title in (("front", "From the front"), ("top", "From above: she faces down"))
    ]
    moved_cm = knee_moved_cm(puppet, left_cm, ahead_cm, up_cm)
    swivel = np.degrees(two_bone.swivel_angle(hip, pose.knee, ankle))
    said = (
        "" if pose.guided else "The pole is on the line from hip to ankle and gives no direction. "
    )
    words = (
        f"{said}Swivel <b>{signed(swivel, 1)}</b>, the knee <b>{moved_cm:.1f} cm</b> from straight"
        f" ahead. Hinge axis {_vector(pose.hinge)}."
    )
    return row(*views), words


def knee_moved_cm(puppet: Puppet, left_cm: float, ahead_cm: float, up_cm: float = 0.0) -> float:
    """Distance of the knee from where it points straight ahead, with a pole as of `turned`; cm."""
    hip, ankle = lowered(puppet)
    pose = solved(puppet, hip, ankle, _pole(puppet, left_cm, ahead_cm, up_cm))
    return 100 * float(np.linalg.norm(pose.knee - solved(puppet, hip, ankle).knee))


def turned_panel(puppet: Puppet) -> Panel:
    """A pole to drag around a bent leg."""
    return Panel(
        "Drag the pole: which way does the knee point?",
        [
            Slider("left_cm", "Pole to her left", -45.0, 45.0, 1.0, 0.0, "cm"),
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
        grips=[Grip("Pole", partial(_pole, puppet), ("left_cm", "ahead_cm", "up_cm"))],
    )


def turned_guess(puppet: Puppet) -> Panel:
    """The pole to drag, after a guess at how far the knee goes with it."""
    return turned_panel(puppet).after(
        Guess(
            "07/aside",
            (
                "The pole stands 50 cm ahead of the leg. It is pulled 20 cm to her left. By how"
                " many centimetres does the knee move?"
            ),
            Number("cm", 0, 40, 1.0),
            partial(_moved_aside, puppet),
            then="Pull the diamond, or press <em>20 cm to her left</em>.",
        )
    )


def _moved_aside(puppet, left_cm, ahead_cm, up_cm):
    """The guess's outcome: tells with the pole 20 cm aside and 50 cm ahead."""
    if (abs(left_cm), ahead_cm) != (20, 50):
        return None
    moved = knee_moved_cm(puppet, left_cm, ahead_cm, up_cm)
    return moved, f"It moved by <b>{moved:.1f} cm</b>, and stayed on its circle."


def direction_check(puppet: Puppet) -> Panel:
    """A pole that is taken twice as far out in its own direction."""
    before, after = (knee_moved_cm(puppet, *far) for far in ((20, 50), (40, 100)))
    stays, goes, comes = "stays where it is", "moves on to the left", "moves back a little"
    right = stays if abs(after - before) < SHOWN else goes if after > before else comes
    return quick_check(
        Check(
            "07/direction",
            (
                f"{puppet.name}'s pole stands 20 cm to the left of the leg and 50 cm ahead of it."
                " It is taken to 40 cm to the left and 100 cm ahead. The knee …"
            ),
            (goes, stays, comes),
            right,
            (
                "Seen from the leg, the pole is still in the same direction: the knee moves by"
                f" {abs(after - before):.1f} cm."
            ),
            {
                goes: (
                    "That would be so if the pole pulled the knee along. It only says where to"
                    " look, and 40 to 100 is the same direction as 20 to 50."
                ),
                comes: (
                    "A pole that is far away turns the knee less <em>for each centimetre</em>. But"
                    " this one went twice as many centimetres aside."
                ),
            },
        )
    )


def _pole(puppet, left_cm, ahead_cm, up_cm):
    level = solved(puppet, *lowered(puppet)).knee * [1, 1, 0]
    return level + np.array([left_cm, up_cm, ahead_cm]) / 100


# The hinge axis

WAYS = {
    "ahead": (0.0, 0.0, 1.0),
    "backward": (0.0, 0.0, -1.0),
    "to the left": (1.0, 0.0, 0.0),
    "up": (0.0, 1.0, 0.0),
}


def hinge_check(puppet: Puppet) -> Panel:
    """The hinge axis of a knee that points to the left."""
    hip, ankle = lowered(puppet)
    hinge = solved(puppet, hip, ankle, hip + [1.0, 0.0, 0.0]).hinge
    right = max(WAYS, key=lambda way: float(hinge @ WAYS[way]))
    return quick_check(
        Check(
            "07/hinge",
            (
                f"{puppet.name}'s knee does not point ahead but straight to the left. Which way"
                " does its hinge axis point?"
            ),
            tuple(WAYS),
            right,
            (
                "For a knee that points ahead the axis points to the left. This one has turned by"
                " 90° to the left, and its axis with it."
            ),
            {
                "ahead": (
                    "The axis lies along this line, but a positive turn about it would straighten"
                    " the knee: the two sides were multiplied in the other order."
                ),
                "to the left": (
                    "There the knee itself points. Its axis stands square to the bend plane, so it"
                    " cannot lie in it."
                ),
                "up": "About an upright axis the leg swivels. It does not bend.",
            },
        )
    )


# A pole takes over


def take_over(
    puppet: Puppet, bend_deg: float, placed: str, aside_cm: float, distance_cm: float
) -> tuple[Row, str]:
    """A leg before and after a pole takes over its knee, and how far that moved it in words."""
    before, pole, after = _taken_over(puppet, bend_deg, placed, aside_cm, distance_cm)
    views = [
        _take_over_view(puppet, view, title, bend_deg, pole, after.knee)
        for view, title in (("front", "From the front"), ("top", "From above: she faces down"))
    ]
    if pole is None:
        words = f"Knee bent {bend_deg:.0f}° and turned out {TURNED_OUT_DEG:.0f}°. It has no pole."
        return row(*views), words
    jump_cm, turn = 100 * float(np.linalg.norm(after.knee - before.knee)), turn_deg(before, after)
    words = (
        f"Knee bent {bend_deg:.0f}°, pole {distance_cm:.0f} cm in front of it. When the pole takes"
        f" over, the knee turns by <b>{turn:.1f}°</b> and jumps by <b>{jump_cm:.1f} cm</b>."
    )
    return row(*views), words


def _taken_over(puppet, bend_deg, placed, aside_cm, distance_cm):
    """The leg as it was placed, the pole, and the leg that it guides; without one, as it was."""
    hip, _, ankle = bent(puppet, bend_deg)
    before = solved(puppet, hip, ankle, swivel=-np.radians(TURNED_OUT_DEG))
    pole = _placed_pole(puppet, bend_deg, placed, aside_cm, distance_cm)
    return before, pole, before if pole is None else solved(puppet, hip, ankle, pole)


def take_over_panel(puppet: Puppet) -> Panel:
    """A pole to place in front of a knee that is turned out."""
    return Panel(
        "Place the pole: does the knee stay where it is?",
        [
            Slider("bend_deg", "Knee bent", 5.0, 80.0, 1.0, 60.0, "°"),
            Choice("placed", "Pole placed", PLACED, PLACED[2]),
            Slider("aside_cm", "Then moved aside", -15.0, 15.0, 0.5, 0.0, "cm"),
            Slider("distance_cm", "In front of the knee", 5.0, 60.0, 1.0, 40.0, "cm"),
        ],
        partial(take_over, puppet),
        {
            "Straight ahead": (60, PLACED[1], 0, 40),
            "In the plane": (60, PLACED[0], 0, 40),
            "5 cm off, 40 cm away": (60, PLACED[0], 5, 40),
            "5 cm off, 10 cm away": (60, PLACED[0], 5, 10),
            "5° of bend": (5, PLACED[0], 5, 10),
        },
        grips=[
            Grip("Pole", partial(_placed_pole, puppet), ("aside_cm", "distance_cm")),
            Grip("Hip", partial(_bent_hip, puppet), ("bend_deg",), views=(0,)),
        ],
    )


def _placed_pole(puppet, bend_deg, placed, aside_cm, distance_cm):
    if placed == PLACED[2]:
        return None
    hip, knee, ankle = bent(puppet, bend_deg)
    before = solved(puppet, hip, ankle, swivel=-np.radians(TURNED_OUT_DEG))
    distance = distance_cm / 100
    pole = (
        two_bone.place_pole(hip, knee, ankle, distance)
        if placed == PLACED[0]
        else knee + [0.0, 0.0, distance]
    )
    return pole + aside_cm / 100 * before.hinge


def _bent_hip(puppet, bend_deg, **_):
    return bent(puppet, bend_deg)[0]


POLE_PLACES = ("straight ahead of the knee", "in line with hip and knee", "anywhere ahead of it")


def take_over_guess(puppet: Puppet) -> Panel:
    """The pole to place, after a guess at where it moves nothing."""
    return take_over_panel(puppet).after(
        Guess(
            "07/no-jump",
            (
                "This knee has been turned out by hand. Now a pole takes over. Where must it stand,"
                " seen from above, so that the knee does not jump?"
            ),
            POLE_PLACES,
            partial(_jumped, puppet),
            then="Place the pole straight ahead, then in the bend plane, and read the jump.",
        )
    )


def _jumped(puppet, bend_deg, placed, aside_cm, distance_cm):
    """The guess's outcome: tells with a pole that is placed and not moved aside."""
    if placed == PLACED[2] or aside_cm:
        return None
    jumps = []
    for way in PLACED[1::-1]:
        before, _, after = _taken_over(puppet, bend_deg, way, 0.0, distance_cm)
        jumps.append(100 * float(np.linalg.norm(after.knee - before.knee)))
    still = [place for place, cm in zip(POLE_PLACES, jumps, strict=False) if cm < SHOWN]
    words = (
        f"Straight ahead of the knee the pole makes it jump by <b>{jumps[0]:.1f} cm</b>; in line"
        f" with hip and knee, that is in the bend plane, by <b>{jumps[1]:.1f} cm</b>."
    )
    return (POLE_PLACES[2] if len(still) == len(jumps) else still[0]), words


def crouch_check(puppet: Puppet, turn: float = 15.0) -> Panel:
    """A pole that is wrong by an angle, in a nearly straight leg and in a bent one."""
    near, far = (_lever_cm(puppet, degrees) for degrees in (5.0, 80.0))
    half = np.radians(turn / 2)
    return quick_check(
        Check(
            "07/crouch",
            (
                f"A pole put by eye holds {puppet.name}'s knee {turn:.0f}° beside where it was"
                f" meant. At rest the knee stands {near:.1f} cm from the line from hip to ankle, in"
                f" a crouch {far:.1f} cm. How far beside its place is the knee in the crouch?"
            ),
            Number("cm", 0, 40, 0.2),
            2 * far * np.sin(half),
            (
                f"A turn of {turn:.0f}° on a circle of {far:.1f} cm: 2 × {far:.1f} cm × sin"
                f" {turn / 2:.1f}°. At rest it was only {2 * near * np.sin(half):.1f} cm."
            ),
            {
                2 * near * np.sin(half): (
                    "That is the error at rest. The angle stays the same, and the circle grows."
                ),
                far * np.cos(2 * half): "Cosine for sine: that is how far ahead the knee still is.",
                far * turn / 90: (
                    f"{turn:.0f}° is a sixth of a right angle, but the straight way between two"
                    " places on a circle is a sine, not a share of the radius."
                ),
                far * np.sin(half): (
                    f"The radius counts twice: 2 × {far:.1f} cm × sin {turn / 2:.1f}°."
                ),
                2 * far * abs(np.sin(turn / 2)): "The sine was taken of radians.",
                turn: "These are the degrees. Asked are the centimetres on the circle.",
            },
            (
                "Both places lie on a circle about the line: twice its radius, times the sine of"
                " half the turn."
            ),
        )
    )


def _lever_cm(puppet, bend_deg):
    """The distance of the knee from the line from hip to ankle, cm."""
    hip, knee, _ = bent(puppet, bend_deg, 0.0)
    return 100 * float(np.hypot(*(knee - hip)[[0, 2]]))


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


def distance_guess(puppet: Puppet) -> Panel:
    """The chart of `distance_plot`, after a guess at which pole turns its knee more."""
    asked = (
        "A pole stands right in front of a nearly straight knee. It is moved aside by one"
        " centimetre. Which pole turns the knee more?"
    )
    near, far, alike = "one 5 cm in front", "one a leg's length in front", "both the same"

    def outcome():
        turns = {at: float(turn_per_cm(puppet, 5, at)) for at in (0.05, puppet.leg_length)}
        close, distant = turns.values()
        right = alike if abs(close - distant) < SHOWN else near if close > distant else far
        return right, (
            f"For that centimetre the near one turns it by <b>{close:.1f}°</b>, the far one by"
            f" <b>{distant:.1f}°</b>."
        )

    chart = Panel("How far a pole turns its knee", [], lambda: (distance_plot(puppet), ""))
    return chart.after(Guess("07/near", asked, (near, far, alike), outcome))


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
    lowered_cm = _squat_depth_cm(frame)
    pose = _squat_pose(puppet, frame, apart_cm, turned_deg, walked_cm, follows)
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
            Slider("turned_deg", "Each foot turned out", -20.0, 40.0, 1.0, 0.0, "°"),
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
        grips=[
            Grip("Pelvis", partial(_squat_pelvis, puppet), ("frame",), views=(0,)),
            *(
                Grip(f"{name} {part}", partial(_squat_joint, puppet, side, joint), (key,), views)
                for side, name in enumerate(("Left", "Right"))
                for part, joint, key, views in (
                    ("ankle", 2, "apart_cm", None),
                    ("toes", 3, "turned_deg", (1,)),
                )
            ),
        ],
    )


def squat_guess(puppet: Puppet) -> Panel:
    """The squat, after a guess at what the poles should follow when the feet turn out."""
    return squat_panel(puppet).after(
        Guess(
            "07/squat",
            (
                "The poles can follow nothing, the pelvis, or the feet. With which are the knees"
                " over the toes when the feet turn out?"
            ),
            tuple(FOLLOWS),
            partial(_followed, puppet),
            then="Pull the toes out in the view from above, then try all three.",
        )
    )


def _followed(puppet, frame, apart_cm, turned_deg, walked_cm, follows):
    """The guess's outcome: tells with the feet turned out and nothing else changed."""
    if turned_deg < 10 or apart_cm or walked_cm or _squat_depth_cm(frame) < 10:
        return None
    off = {}
    for each in FOLLOWS:
        _, outside = knees(puppet, _squat_pose(puppet, frame, 0.0, turned_deg, 0.0, each))
        off[each] = float(np.abs(outside).max())
    said = ", ".join(f"<b>{cm:.1f} cm</b> with {each}" for each, cm in off.items())
    words = f"How far the knees are beside the line of their toes: {said}."
    return tuple(each for each, cm in off.items() if cm < SHOWN), words


def _squat_depth_cm(frame):
    return SQUAT_CM * (1 - abs(2 * frame / SQUAT_FRAMES - 1))


@lru_cache(maxsize=64)  # one pose is drawn, and taken by several grips
def _squat_pose(puppet, frame, apart_cm, turned_deg, walked_cm, follows):
    values = squat_values(_squat_depth_cm(frame), apart_cm, turned_deg, walked_cm)
    return rig(puppet, follows).pose(values)


def _squat_legs(puppet, walked_cm, **values):
    """Both legs as they are drawn, in a view that walks along."""
    pose = _squat_pose(puppet, walked_cm=walked_cm, **values)
    return legs(puppet, pose) - [0.0, 0.0, walked_cm / 100]


@cache
def _standing_pelvis(puppet):
    return legs(puppet, rig(puppet, "nothing").pose())[:, 0].mean(axis=0)


def _squat_pelvis(puppet, frame, **_):
    """The middle between the hips as it is drawn."""
    return _standing_pelvis(puppet) - [0.0, _squat_depth_cm(frame) / 100, 0.0]


def _squat_joint(puppet, side, joint, **values):
    return _squat_legs(puppet, **values)[side, joint]


def opening(puppet: Puppet) -> Row:
    """A squat with the feet straight ahead, and a pole before each knee."""
    pose = rig(puppet, "nothing").pose(squat_values(SQUAT_CM))
    views = (("front", "From the front", ("inverse",)), ("top", "From above: she faces down", ()))
    return row(
        *(
            _squat_view(
                puppet, view, title, pose, heights=(-0.045, 0.94), poles=True, legend=legend
            )
            for view, title, legend in views
        ),
        title=(
            "A squat from the front and from above, the feet straight ahead. Before each knee"
            " stands its pole, a small diamond, named pole L and pole R"
        ),
    )


def two_squats(puppet: Puppet) -> Row:
    """One squat twice, from the front: knee controls that stayed ahead, or turned with the feet."""
    views, measured = [], []
    for follows, title in (
        ("nothing", "Poles left ahead: the knees fall in"),
        ("the feet", "Poles turned with the feet"),
    ):
        pose = rig(puppet, follows).pose(squat_values(30.0, 0.0, 30.0))
        apart, outside = knees(puppet, pose)
        stage = _squat_view(
            puppet,
            "front",
            title,
            pose,
            half=0.62,
            heights=(-0.05, 1.42),
            poles=True,
            legend=("inverse",) if follows == "the feet" else (),
        )
        if follows == "nothing":
            _over_the_toes(stage, puppet, pose)
        views.append(stage)
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


def _over_the_toes(stage, puppet, pose):
    """Draw dotted legs whose knees bend as much, but over their toes."""
    turned = rig(puppet, "the feet").pose(squat_values(30.0, 0.0, 30.0))
    for bones in legs(puppet, turned):
        stage.ghost(bones[:3])
    knee = legs(puppet, turned)[0, 1]
    stage.note(knee, "over the toes", "goal", "right")
    stage.desc += " Dotted is where the legs would bend over their toes."


# A goal that passes the pole


def kick_goals(puppet: Puppet, frames: int = FRAMES) -> Floats:
    """Goals of the ankle in each frame of a kick, a leg nine tenths long swinging up.

    Shape (frames + 1, 3).
    """
    return _kick_goal(puppet, np.linspace(0, 1, frames + 1))


def _kick_goal(puppet, share):
    """The goal of the ankle after a share of a kick."""
    angle = np.radians(KICK_DEG[0] + share * (KICK_DEG[1] - KICK_DEG[0]))
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


def steps_deg(hinges: Floats) -> Floats:
    """Turn of a hinge axis from each frame to the next, degrees."""
    return np.degrees(rotation.angle_between(hinges[:-1], hinges[1:]))


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
    plot = kick_plot(puppet).with_lines({"turned": turn}, until=frame)
    picture = row(stage, plot.at(way[frame], f"{turn[frame]:.0f}°"))
    return picture, _kick_words(puppet, frame, pose.hinge)


def _kick_words(puppet, frame, hinges):
    """Tell how fast the knee turns in a frame, and at most so far."""
    if not frame:
        return f"Frame 0 of {FRAMES}."
    steps = steps_deg(hinges[: frame + 1])
    goal_cm = np.diff(_goal_way_cm(puppet))[frame - 1]
    flip = " <b>The knee has flipped.</b>" if steps[-1] > FLIP_DEG else ""
    return (
        f"Frame {frame} of {FRAMES}. Since the frame before, the goal moved {goal_cm:.1f} cm and"
        f" the knee turned <b>{steps[-1]:.1f}°</b>, <b>{steps[-1] / goal_cm:.1f}° per cm</b>.{flip}"
        f" At most so far: {steps.max():.1f}°."
    )


def kick_panel(puppet: Puppet) -> Panel:
    """A kick whose goal passes the pole."""
    return Panel(
        "Break it: kick past the pole",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, 0),
            Slider("aside_cm", "Pole to her left", 0.0, 30.0, 0.5, 0.0, "cm"),
            Slider("higher_cm", "Pole higher", 0.0, 70.0, 1.0, 0.0, "cm"),
        ],
        partial(kicking, puppet),
        {
            "Frame 24": (24, 0, 0),
            "Frame 25": (25, 0, 0),
            "3 cm to her left": (FRAMES, 3, 0),
            "20 cm to her left": (FRAMES, 20, 0),
            "70 cm higher": (FRAMES, 0, 70),
        },
        play="frame",
        grips=[
            Grip("Ankle", lambda frame, **_: _kick_goal(puppet, frame / FRAMES), ("frame",), (0,)),
            Grip("Pole", partial(_kick_pole, puppet), ("higher_cm",), (0,)),
            Grip("Moment", partial(_kick_moment, puppet), ("frame",), (1,)),
        ],
    )


KICKED = (
    "it goes on pointing ahead",
    "it turns over to the other side",
    "it stops, and the ankle misses its goal",
)


def kick_guess(puppet: Puppet) -> Panel:
    """The kick, after a guess at what the knee does where the goal passes its pole."""
    return kick_panel(puppet).after(
        Guess(
            "07/kick",
            "The ankle swings up past the grey line. What does the knee do as it gets there?",
            KICKED,
            partial(_kicked, puppet),
            then="Press <em>Play</em>, or pull the ankle up, slowly near frame 24.",
        )
    )


def _kicked(puppet, frame, aside_cm, higher_cm):
    """The guess's outcome: tells once the goal has passed the pole."""
    pose, _ = kick(puppet, 0.0, 0.0)
    fastest = int(steps_deg(pose.hinge).argmax())
    if aside_cm or higher_cm or frame <= fastest:
        return None
    turned, missed = float(steps_deg(pose.hinge)[fastest]), 100 * float(pose.miss.max())
    goal_cm = float(np.diff(_goal_way_cm(puppet))[fastest])
    right = KICKED[2] if missed > SHOWN else KICKED[1] if turned > FLIP_DEG else KICKED[0]
    return right, (
        f"Between frames {fastest} and {fastest + 1}, within {goal_cm:.1f} cm of goal, it turned by"
        f" <b>{turned:.0f}°</b>. The ankle missed by {missed:.1f} cm."
    )


POLE_WAYS = {  # degrees ahead of straight down, metres from the hip
    "30° ahead of straight down": (30, 1),
    "80° ahead of straight down": (80, 1),
    "80° ahead, but three times as far away": (80, 3),
    "120° ahead, above the hip": (120, 1),
}


def sweep_check(puppet: Puppet) -> Panel:
    """A place for the pole that a kick never passes."""
    low, high, far, _ = POLE_WAYS
    fastest = {name: _fastest(puppet, *way) for name, way in POLE_WAYS.items()}
    at = {name: f"the knee flips after frame {frame}" for name, (frame, _) in fastest.items()}
    return quick_check(
        Check(
            "07/sweep",
            (
                f"{puppet.name} kicks as well: the leg swings from 10° behind straight down to 100°"
                " ahead. Where, seen from the hip, does the pole stand if the knee never flips?"
            ),
            tuple(POLE_WAYS),
            next(name for name, (_, turned) in fastest.items() if turned < FLIP_DEG),
            f"The leg ends at {KICK_DEG[1]:.0f}° and never meets the line from hip to pole.",
            {
                low: f"The leg swings through 30°, and there {at[low]}.",
                high: f"It is high, and yet the leg comes by at 80°: {at[high]}.",
                far: f"Only the direction counts. Farther out, too, {at[far]}.",
            },
        )
    )


def _fastest(puppet, degrees, far):
    """The frame after which a kick's knee turns most, and by how many degrees."""
    hip, _ = lowered(puppet, 0.0)
    way = np.array([0.0, -np.cos(np.radians(degrees)), np.sin(np.radians(degrees))])
    steps = steps_deg(solved(puppet, hip, kick_goals(puppet), hip + far * way).hinge)
    return int(steps.argmax()), float(steps.max())


def _kick_moment(puppet, frame, **_):
    """The middle of the chart's marker."""
    return at_frame(_goal_way_cm(puppet), frame), 90.0


def _kick_pole(puppet, aside_cm, higher_cm, **_):
    return kick_pole(puppet, aside_cm, higher_cm)


@cache
def _goal_way_cm(puppet):
    steps = np.linalg.norm(np.diff(kick_goals(puppet), axis=0), axis=-1)
    return 100 * np.concatenate([[0.0], np.cumsum(steps)])


# Views


def _room(puppet, view, title, half, heights, depths, **more):
    """A view of the standing puppet; `depths` is what the top view holds from back to front."""
    low, high = heights if view == "front" else (-depths[1], -depths[0])
    stage = half_stage(title, (-half, low), (half, high), size(puppet), view, **more)
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


def _take_over_view(puppet, view, title, bend_deg, pole, knee_now):
    """A leg that was placed, dotted, and the one that its pole guides; without a pole, the one."""
    hip, knee, ankle = bent(puppet, bend_deg)
    stage = _room(puppet, view, title, 0.6, (-0.05, 1.0), (-0.2, 0.85))
    _foot(stage, puppet, ankle, np.radians(TURNED_OUT_DEG))
    if pole is None:
        return stage.chain([hip, knee, ankle], "inverse", "L")
    if view == "top":
        stage.path([hip, hip + 3 * (knee - hip) * [1, 0, 1]], "soft")
    stage.chain([hip, knee_now, ankle], "inverse", "L").pole(pole, "pole", knee_now)
    # The dots keep off the letter in the hip's ring.
    stage.ghost([hip + 0.15 * (knee - hip), knee, ankle])
    jump_cm = 100 * float(np.linalg.norm(knee_now - knee))
    aside = -46 if view == "front" else 0
    return measure_or_zero(stage, knee, knee_now, jump_cm, "left", offset=aside)


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
    puppet, view, title, pose, walked=0.0, half=0.65, heights=(-0.045, 0.98), poles=False, **more
):
    """Both legs; from above with each foot's plane, the poles, and how far the knees are off."""
    from_above = view == "top"
    wide = 0.86 if from_above else half
    stage = _room(puppet, view, title, wide, heights, (-0.36, 0.94), **more)
    both = legs(puppet, pose) - [0.0, 0.0, walked]
    if not from_above:
        draw_body(stage, puppet, both[:, 0])
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
