"""Lesson 04's pictures: a forward and an inverse leg under one pelvis, and what each costs to key.

The legs are straight at rest here, so that every angle is zero when the puppet stands.
"""

from collections.abc import Callable, Sequence
from functools import cache, partial
from typing import Any

import numpy as np

from rigkit import foot, gait, plots
from rigkit._types import Bools, Floats
from rigkit.asking import Check, Guess, Number
from rigkit.controls import count_keys, interpolate_keys
from rigkit.leg import LegPose, LegRig
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import PUPPETS, Puppet
from rigkit.scenes.bodies import draw_body
from rigkit.scenes.staging import (
    LEG,
    WAIST,
    at_frame,
    draw_leg,
    half_stage,
    leg_points,
    measure_cm,
    moment,
    side_points,
    size,
)
from rigkit.scenes.words import SHOWN, directed, number
from rigkit.skeleton import SIDE_TAGS
from rigkit.stage import CHAINS, Row, Stage, row

MIXED = {"L_": False, "R_": True}  # left forward, right inverse
FRAMES = 24  # in one second, one crouch, one stride
FINE = 42  # times as many in which a slide is measured: about as many as in `gait.Walk.slide_cm`
LEAVES = 14  # the frame in which the left foot of a walk is about to leave
SWITCH = 12  # the frame in which the right leg changes its chain
SWUNG_DEG = 30.0  # how far its thigh rises after that
KICK_DEG = (-20.0, 60.0)
SPACINGS = (12, 6, 4, 2, 1)  # frames from key to key
AHEAD = np.array([0.0, 0.0, 1.0])
SHARES = {"as published": None, "every frame": 1, "every 2nd": 2, "every 4th": 4}


@cache
def standing(puppet: Puppet) -> LegRig:
    """The puppet's rig with legs that are straight at rest."""
    return LegRig.from_puppet(puppet, preset_bend_deg=0.0)


def crouch(lowered_cm: float) -> dict[str, dict[str, Any]]:
    """Control values of a crouch in 24 frames: the pelvis goes down evenly, and up again."""
    return {"pelvis": {"shift_y": -lowered_cm / 100 * (1 - np.abs(np.linspace(-1, 1, FRAMES + 1)))}}


def forward_values(rig: LegRig, pose: LegPose) -> dict[str, dict[str, Any]]:
    """The values with which forward legs come out in this very pose."""
    return {name: channels for name, channels in rig.match(pose).items() if name.endswith("_turn")}


def keyed_slip_cm(puppet: Puppet, lowered_cm: float, every: int) -> float:
    """Farthest slip of a forward leg's foot in a crouch keyed in every n-th frame only, cm.

    The keys are those of the leg's angles; the slip is from the foot's place.
    """
    rig, down = standing(puppet), crouch(lowered_cm)
    keyed = interpolate_keys(forward_values(rig, rig.pose(down)), range(0, FRAMES + 1, every))
    return float(slip_cm(rig, rig.pose(down | keyed, inverse=False)).max())


def slip_cm(rig: LegRig, pose: LegPose) -> Floats:
    """Distance of either ankle from its place at rest, cm, left and right, shape (..., 2)."""
    return 100 * np.linalg.norm(
        _at(rig, pose.world, "ankle") - _at(rig, rig.skeleton.rest_world, "ankle"), axis=-1
    )


# One pelvis, two chains


def opening(puppet: Puppet) -> Row:
    """A puppet that stands on a forward and an inverse leg, from the side and the front."""
    side, front = _pelvis_views(puppet, _moved(puppet, 0.0, 0.0, 0.0))
    return row(
        side,
        front,
        title=(
            f"{puppet.name} stands. The left leg is a forward chain, posed from its angles; the"
            " right leg is an inverse chain, posed from where its foot must be"
        ),
    )


def lowered(
    puppet: Puppet, lowered_cm: float, forward_cm: float, left_cm: float
) -> tuple[Row, str]:
    """Both legs under a pelvis that was moved, and what became of their feet in words."""
    pose = _moved(puppet, lowered_cm, forward_cm, left_cm)
    slip, bent = slip_cm(standing(puppet), pose), np.degrees(pose.flexion[1])
    reached = (
        "it stands" if slip[1] < SHOWN else f"<b>{slip[1]:.1f} cm</b> short, the leg is straight"
    )
    words = (
        f"Pelvis {lowered_cm:.1f} cm down, {number(forward_cm)} cm forward, {number(left_cm)} cm to"
        f" her left. Left foot, forward chain: <b>{slip[0]:.1f} cm</b> from its place. Right foot,"
        f" inverse chain: {reached}; knee bent {bent:z.1f}°."
    )
    return row(*_pelvis_views(puppet, pose)), words


def pelvis_panel(puppet: Puppet) -> Panel:
    """A pelvis to move, a forward leg on its left, an inverse leg on its right."""
    return Panel(
        "One pelvis moves two legs, a forward and an inverse one",
        [
            Slider("lowered_cm", "Pelvis lowered", 0.0, 25.0, 0.5, 0.0, "cm"),
            Slider("forward_cm", "Pelvis forward", -20.0, 20.0, 0.5, 0.0, "cm"),
            Slider("left_cm", "Pelvis to her left", -20.0, 20.0, 0.5, 0.0, "cm"),
        ],
        partial(lowered, puppet),
        {
            "Standing": (0, 0, 0),
            "13 cm down": (13, 0, 0),
            "Down and to her left": (13, 0, 10),
            "Left, not down": (0, 0, 20),
        },
        grips=[
            Grip(
                "Pelvis",
                lambda lowered_cm, forward_cm, left_cm: (
                    np.array([left_cm, 100 * puppet.hip_height - lowered_cm, forward_cm]) / 100
                ),
                ("lowered_cm", "forward_cm", "left_cm"),
            )
        ],
    )


FEET = {
    (True, True): "Both",
    (True, False): "Only the forward foot",
    (False, True): "Only the inverse foot",
    (False, False): "Neither",
}  # by which foot stays: the forward one, the inverse one


def feet_guess(puppet: Puppet) -> Panel:
    """The pelvis to move, after a guess at which foot stays."""
    return pelvis_panel(puppet).after(
        Guess(
            "04/feet",
            f"{puppet.name}'s pelvis is going to be lowered by 13 cm. Which foot stays where it"
            " stands?",
            tuple(FEET.values()),
            partial(_feet_found, puppet),
            then="Pull the pelvis down, or press <em>13 cm down</em>.",
        )
    )


def _feet_found(puppet, lowered_cm, forward_cm, left_cm):
    if lowered_cm < 10:
        return None
    slip = slip_cm(standing(puppet), _moved(puppet, lowered_cm, forward_cm, left_cm))
    words = (
        f"The forward foot is <b>{slip[0]:.1f} cm</b> from its place, the inverse foot"
        f" <b>{slip[1]:.1f} cm</b>."
    )
    return FEET[tuple((slip < SHOWN).tolist())], words


def slip_check() -> Panel:
    """Ask how far a forward foot goes with a pelvis that moves down and aside."""
    odo, down, left = PUPPETS["Odo"], 12, 5
    rig = standing(odo)
    pose = rig.pose({"pelvis": {"shift_x": left / 100, "shift_y": -down / 100}}, inverse=False)
    slip = float(slip_cm(rig, pose)[0])
    return quick_check(
        Check(
            "04/slip",
            f"Both of Odo's legs are forward chains. His pelvis goes {down} cm down and {left} cm"
            " to his left. How far from its place is his right foot?",
            Number("cm", 0, 100, 0.05),
            slip,
            f"√({down}² + {left}²) = {slip:.0f}: each foot copies the whole move, whatever the"
            " leg's length and side.",
            {
                slip / 100: "That is in metres; say it in centimetres.",
                down + left: "That is the way round the corner. The foot is as far off as the"
                " straight line between its two places is long.",
                down - left: "The two moves do not work against each other: they are at right"
                " angles.",
                down: "That is the way down alone; the foot has gone to the left as well.",
                left: "That is the way to the left alone; the foot has gone down as well.",
                0: "So an inverse foot would do. A forward leg keeps its angles, so all below the"
                " pelvis comes along.",
            },
            "The foot goes where the pelvis goes: first down, then at a right angle to that.",
        )
    )


# The compensation by hand


def by_hand(
    puppet: Puppet, lowered_cm: float, hip_deg: float, knee_deg: float, ankle_deg: float
) -> tuple[Row, str]:
    """A forward leg turned by hand beside an inverse one, both under a lower pelvis.

    Words say how near it is.
    """
    rig = standing(puppet)
    # about +X flexion of hip and ankle is negative
    pose = rig.pose(_by_hand_values(lowered_cm, -hip_deg, knee_deg, -ankle_deg), MIXED)
    miss, tilt = slip_cm(rig, pose)[0], hip_deg - knee_deg + ankle_deg
    rest, now, solved = (
        _joints(puppet, world, tag)
        for world, tag in ((rig.skeleton.rest_world, "L_"), (pose.world, "L_"), (pose.world, "R_"))
    )
    hips = _at(rig, pose.world, "hip")
    forward, inverse = (
        _room(puppet, title, hips, 0.18, legend=(kind,)).ghost(rest[:3])
        for title, kind in (
            ("Forward: three turns by hand", "forward"),
            ("Inverse: no turn by hand", "inverse"),
        )
    )
    draw_leg(forward, now, side="L", names=LEG)
    forward.goal(rest[2], "" if miss > 0.5 else f"miss {miss:.1f} cm")
    if miss > 0.5:
        forward.measure(rest[2], now[2], f"{miss:.1f} cm", offset=-70)
    if abs(tilt) > 0.5:
        forward.note(now[-1], _tilted(tilt), "miss")
    draw_leg(inverse, solved, "inverse", "R", names=LEG)
    inverse.goal(rest[2], f"miss {100 * pose.miss[1]:.1f} cm")
    keyed = np.count_nonzero([hip_deg, knee_deg, ankle_deg])
    done = keyed and miss <= 0.5 and abs(tilt) <= 1
    words = (
        f"{'<b>The foot is back.</b> ' if done else ''}Forward: the ankle misses its place by"
        f" <b>{miss:.1f} cm</b>, the sole is <b>{_tilted(tilt)}</b>; {keyed} of 3 angles set."
        f" Inverse: miss {100 * pose.miss[1]:.1f} cm, 0 of 3 angles set."
    )
    return row(forward, inverse), words


def _by_hand_values(lowered_cm, *turns_deg):
    """Control values of a lowered pelvis and three turns of the left leg."""
    turns = {
        f"L_{joint}_turn": {"turn_x": np.radians(turn)}
        for joint, turn in zip(LEG, turns_deg, strict=True)
    }
    return {"pelvis": {"shift_y": -lowered_cm / 100}} | turns


def hand_panel(puppet: Puppet, lowered_cm: float = 13.0, start_cm: float | None = None) -> Panel:
    """Three joints to turn until the foot is back under a pelvis that was lowered.

    It starts `start_cm` lower, by default at `lowered_cm`.
    """
    start_cm = lowered_cm if start_cm is None else start_cm
    return Panel(
        "Bring the foot back by hand: hip, knee, ankle",
        [
            Slider("lowered_cm", "Pelvis lowered", 0.0, 18.0, 0.1, start_cm, "cm"),
            Slider("hip_deg", "Hip, thigh forward", -30.0, 90.0, 0.5, 0.0, "°"),
            Slider("knee_deg", "Knee, bent", 0.0, 130.0, 0.5, 0.0, "°"),
            Slider("ankle_deg", "Ankle, toes up", -45.0, 90.0, 0.5, 0.0, "°"),
        ],
        partial(by_hand, puppet),
        {
            "Pelvis down": (lowered_cm, 0, 0, 0),
            "Hip and knee alike": (lowered_cm, 60, 60, 0),
            "Nearly": (lowered_cm, 30, 62, 20),
        },
        grips=[
            Grip("Pelvis", partial(_by_hand_at, puppet, 0), ("lowered_cm",)),
            Grip("Knee", partial(_by_hand_at, puppet, 1), ("hip_deg",), (0,)),
            Grip("Ankle", partial(_by_hand_at, puppet, 2), ("knee_deg",), (0,)),
            Grip("Toe", partial(_by_hand_at, puppet, 3), ("ankle_deg",), (0,)),
        ],
    )


def _by_hand_at(puppet, point, lowered_cm, hip_deg, knee_deg, ankle_deg):
    """Hip, knee, ankle or toe of the leg turned by hand in the side view."""
    hip = (0.0, puppet.hip_height - lowered_cm / 100)
    return side_points(puppet, hip, (hip_deg, knee_deg, ankle_deg))[point]


HIP_TURNS = {0.0: "Not at all", 0.5: "By half as much", 1.0: "By as much", 2.0: "By twice as much"}


def hand_guess(puppet: Puppet) -> Panel:
    """The foot to be put back by hand, after a guess at how far the hip turns."""
    return hand_panel(puppet, start_cm=0.0).after(
        Guess(
            "04/hand",
            f"To put the foot back under the lowered pelvis, you bend {puppet.name}'s knee. By how"
            " much must the hip turn?",
            tuple(HIP_TURNS.values()),
            partial(_hand_found, puppet),
            then="Press <em>Pelvis down</em>, then turn the joints until the foot is back.",
        )
    )


def _hand_found(puppet, lowered_cm, hip_deg, knee_deg, ankle_deg):
    """The hip's turn beside the knee's, once the foot is back."""
    pose = standing(puppet).pose(_by_hand_values(lowered_cm, -hip_deg, knee_deg, -ankle_deg), MIXED)
    back = slip_cm(standing(puppet), pose)[0] <= 0.5 and abs(hip_deg - knee_deg + ankle_deg) <= 1
    if lowered_cm < 5 or not back:
        return None
    ratio = hip_deg / knee_deg
    nearest = min(HIP_TURNS, key=lambda times: abs(times - ratio))
    words = (
        f"The foot is back, the knee is bent by {knee_deg:.1f}° and the hip by"
        f" <b>{hip_deg:.1f}°</b>."
    )
    return HIP_TURNS[nearest], words


def hip_check() -> Panel:
    """A hip's turn from those of knee and ankle."""
    pip = PUPPETS["Pip"]
    rig = standing(pip)
    found = rig.angles(rig.pose({"pelvis": {"shift_y": -0.13}}))
    hip, knee, ankle = np.degrees([found.hip[0, 0], found.knee[0], found.ankle[0, 0]])
    return quick_check(
        Check(
            "04/hip",
            f"Pip has shorter legs, and his bones differ more. In the same crouch his knee is bent"
            f" by {knee:.1f}° and his ankle turned by {ankle:.1f}°, toes up; his sole is level."
            " By how much is his hip turned?",
            Number("°", -180, 180, 0.4),
            float(hip),
            f"{knee:.1f} − {ankle:.1f} = {hip:.1f}: knee minus hip is the ankle, so knee minus"
            " ankle is the hip.",
            {
                float(knee + ankle): "That adds them. The knee tips the sole one way, hip and ankle"
                " together tip it the other way.",
                float(knee / 2): "Half the knee is the rule of two bones of equal length. His are"
                " not.",
                float(-hip): "The size is right. The thigh goes forward, which is positive.",
                float(knee): "With the hip turned as far as the knee, the shank would be upright"
                " and the ankle would need no turn.",
                float(ankle): "That holds for bones of equal length only, where both are half the"
                " knee.",
            },
            "The sole is level again: the ankle has taken back what hip and knee did to it.",
        )
    )


FIRST_CM = ("Less than its share", "About its share", "More than its share")


def first_centimetre_guess(puppet: Puppet) -> Panel:
    """The turns of a leg's joints, after a guess at what the first centimetre costs."""
    rig = standing(puppet)
    pose = rig.pose({"pelvis": {"shift_y": -np.array([1.0, 13.0]) / 100}})
    first, whole = np.degrees(rig.angles(pose).knee[:, 0])
    times = 13 * first / whole
    right = FIRST_CM[int(times > 0.8) + int(times > 1.25)]
    return Panel(
        "What each centimetre of the pelvis costs the joints",
        [],
        lambda: (turns_plot(puppet), ""),
    ).after(
        Guess(
            "04/first-centimetre",
            f"Lowering the pelvis by 13 cm turns the knee by {whole:.0f}°, which makes"
            f" {whole / 13:.0f}° a centimetre. How much does the first centimetre cost?",
            FIRST_CM,
            lambda: (right, f"The first centimetre alone costs the knee <b>{first:.0f}°</b>."),
        )
    )


def turns_plot(puppet: Puppet) -> plots.Plot:
    """Turns of hip, knee and ankle that keep a foot on the floor, against the pelvis's sinking."""
    rig, lowered_cm = standing(puppet), np.linspace(0.0, 25.0, 101)
    angles = rig.angles(rig.pose({"pelvis": {"shift_y": -lowered_cm / 100}}))
    turned = {"knee": angles.knee[:, 0], "hip": angles.hip[:, 0, 0], "ankle": angles.ankle[:, 0, 0]}
    knee = np.degrees(np.interp([1, 13], lowered_cm, turned["knee"]))
    return plots.curves(
        lowered_cm,
        {joint: np.degrees(turn) for joint, turn in turned.items()},
        "pelvis lowered (cm)",
        "turn (°)",
        title="The first centimetre costs the most",
        desc=(
            "The turns of knee, hip and ankle that keep the foot in place, against how far the"
            f" pelvis is lowered. All rise steeply at first: the knee turns {knee[0]:.0f} degrees"
            f" in the first centimetre, {knee[1]:.0f} in thirteen. Hip and ankle turn half as far"
            " as the knee; their curves lie on each other."
        ),
    )


# A crouch keyed in some frames


@cache
def crouches(puppet: Puppet) -> dict[int, Floats]:
    """Both legs in a crouch of 13 cm, the left one forward, by how many frames apart its keys are.

    Returns
    -------
    dict of int to ndarray, shape (25, 2, 6, 3)
    """
    rig, down = standing(puppet), crouch(13)
    angles, found = forward_values(rig, rig.pose(down)), {}
    for every in SPACINGS:
        pose = rig.pose(down | interpolate_keys(angles, range(0, FRAMES + 1, every)), MIXED)
        found[every] = _both(puppet, pose.world)
    return found


@cache
def sinking_plot(puppet: Puppet, every: int) -> plots.Plot:
    """Height of the forward foot of `crouches` above its place in every frame.

    As drawn in a panel it ends at the frame that is shown.
    """
    ankles = crouches(puppet)[every][:, 0, 2, 1]
    return plots.curves(
        np.arange(FRAMES + 1),
        {"left ankle": 100 * (ankles - ankles[0])},
        "frame",
        "left ankle above its place (cm)",
        f"Keyed every {every} frames" if every > 1 else "Keyed every frame",
        "The height of the forward leg's ankle above its place, in every frame up to this one.",
        kinds={"left ankle": "forward"},
        ylim=(-4, 4),
        width=430,
        height=420,
    )


def crouching(puppet: Puppet, frame: int, every: int | str) -> tuple[Row, str]:
    """One frame of a crouch whose forward leg is keyed in some frames.

    Words say where its foot is.
    """
    every = int(every)
    joints = crouches(puppet)[every]
    low, kept = 100 * np.linalg.norm(joints[frame, :, 2] - joints[0, :, 2], axis=-1)
    stage = _room(puppet, "One crouch", joints[frame, :, 0], 0.13, WAIST)
    for leg, side, kind in zip(joints[frame], "LR", ("forward", "inverse"), strict=True):
        draw_leg(stage, leg, kind, side)
    measure_cm(stage, joints[0, 0, 2], joints[frame, 0, 2], low, offset=-80)
    words = (
        f"Frame {frame} of {FRAMES}, {'keyed' if frame % every == 0 else 'between keys'}. Left"
        f" foot, forward: <b>{low:.1f} cm</b> from its place. Right foot, inverse: <b>{kept:.1f}"
        " cm</b>."
    )
    return row(stage, sinking_plot(puppet, every).until(frame).at(frame)), words


def crouch_panel(puppet: Puppet) -> Panel:
    """A crouch to step through or play, its forward leg keyed in some frames only."""
    for every in SPACINGS:
        sinking_plot(puppet, every)
    return Panel(
        "A crouch, its forward leg keyed in some frames",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, 0),
            Choice("every", "Frames from key to key", tuple(map(str, SPACINGS)), "12"),
        ],
        partial(crouching, puppet),
        {
            "Standing, keyed": (0, "12"),
            "Halfway, between keys": (6, "12"),
            "Crouched, keyed": (12, "12"),
            "Every 4 frames": (2, "4"),
        },
        play="frame",
        grips=[
            Grip(
                "Pelvis",
                lambda frame, every: at_frame(crouches(puppet)[int(every)][:, 0, 0], frame),
                ("frame",),
            ),
            moment("frame", 2.0),
        ],
    )


def halfway_guess(puppet: Puppet) -> Panel:
    """The crouch to play, after a guess at where a forward foot is between two right poses."""
    return crouch_panel(puppet).after(
        Guess(
            "04/halfway",
            "The forward leg is keyed exactly right in frame 0, standing, and in frame 12, at the"
            " bottom. Where is its foot in frame 6, halfway?",
            ("In its place", "Above its place", "Below its place"),
            partial(_halfway_found, puppet),
            then="Press <em>Play</em>, or <em>Halfway, between keys</em>.",
        )
    )


def _halfway_found(puppet, frame, every):
    if (frame, every) != (FRAMES // 4, str(FRAMES // 2)):
        return None
    ankles = crouches(puppet)[FRAMES // 2][:, 0, 2, 1]
    up = 100 * float(ankles[frame] - ankles[0])
    right = "In its place" if abs(up) < SHOWN else f"{'Above' if up > 0 else 'Below'} its place"
    return right, f"It is <b>{directed(up, 'above', 'below', 'exactly on')}</b> its place."


def count_check() -> Panel:
    """The values that forward legs take in a crouch twice as long."""
    odo, frames = PUPPETS["Odo"], 2 * FRAMES + 1
    down = {"pelvis": {"shift_y": -0.13 * (1 - np.abs(np.linspace(-1, 1, frames)))}}
    rig = standing(odo)
    values, second = (
        count_keys(forward_values(rig, rig.pose(each))) for each in (down, crouch(13))
    )
    return quick_check(
        Check(
            "04/count",
            f"Odo takes two seconds over the same crouch, so its frames are 0 to {frames - 1}. How"
            " many values do his two forward legs take if every frame is keyed, without those of"
            " his pelvis?",
            Number("values", 0, 10_000, 0.5),
            values,
            f"Three angles, two legs, {frames} frames.",
            {
                values - 6: "Almost: from frame 0 to frame"
                f" {frames - 1} there are {frames} frames, not {frames - 1}.",
                values / 2: "That is one leg. He has two.",
                2 * second: "Twice a second's values would count the middle frame twice.",
                values / 3: "That is one angle a leg. Hip, knee and ankle all turn.",
                values + 3: "Those are the pelvis's three as well; the question leaves them out.",
                0: "None is what inverse legs take.",
            },
            "Count the angles of a leg, the legs, and the frames, and multiply.",
        )
    )


# A walk


@cache
def walks(puppet: Puppet) -> dict[str, tuple[Floats, Floats, float]]:
    """Forward legs by name of how they were keyed, and "planted"; and how far each foot slid.

    Joints have shape (49, 2, 6, 3), two strides. Slides count from when a foot came down, cm, shape
    (49, 2), and up to when the left one leaves. Legs as published slide between frames as well;
    those with keys are taken as they stand in each frame.
    """
    rig = standing(puppet)
    published, fine = (gait.walk(puppet, frames=n * FRAMES, cycles=2) for n in (1, FINE))
    planted = gait.plant(published)
    values = gait.control_values(planted, rig)
    forward = forward_values(rig, rig.pose(values))
    found = {"as published": published.points, "planted": planted.points}
    for name, every in SHARES.items():
        if every:
            keyed = interpolate_keys(forward, range(0, 2 * FRAMES + 1, every))
            pose = rig.pose(keyed | {"pelvis": values["pelvis"]}, inverse=False)
            found[name] = _both(puppet, pose.world)
    slid = {name: slid_cm(points, published.stance) for name, points in found.items()}
    whole = {name: float(np.nanmax(cm)) for name, cm in slid.items()}
    slid["as published"] = slid_cm(fine.points, fine.stance)[::FINE]
    whole["as published"] = float(published.slide_cm[0])
    return {name: (points, slid[name], whole[name]) for name, points in found.items()}


def walking(puppet: Puppet, frame: int, forward: str) -> tuple[Row, str]:
    """One frame of the walk by forward and by inverse legs.

    Words say how far their feet have slid.
    """
    now = frame + FRAMES
    points, slid, whole = walks(puppet)[forward]
    title = (
        "Forward: angles as published" if SHARES[forward] is None else f"Forward: keyed {forward}"
    )
    planted_points, planted_slid, _ = walks(puppet)["planted"]
    views = [
        walk_view(puppet, title, kind, *legs, now, (kind,))
        for title, kind, legs in (
            (title, "forward", (points, slid)),
            ("Inverse: feet planted", "inverse", (planted_points, planted_slid)),
        )
    ]
    down = [side for side in (0, 1) if np.isfinite(slid[now, side])]
    leaves = f" ({whole:.1f} cm when it leaves the floor)" if frame >= LEAVES else ""
    said = " and ".join(
        f"the {('left', 'right')[side]} foot <b>{slid[now, side]:.1f} cm</b>" for side in down
    )
    planted = max(planted_slid[now, side] for side in down)
    words = (
        f"Frame {frame} of {FRAMES}. Slid since it came down: forward, {said}{leaves}; inverse,"
        f" <b>{planted:.1f} cm</b>."
    )
    return row(*views), words


def walk_panel(puppet: Puppet) -> Panel:
    """A stride to step through, by forward and by inverse legs."""
    walks(puppet)
    return Panel(
        "One stride by forward legs and by inverse ones",
        [
            # The last frame is the first one's pose again.
            Slider("frame", "Frame", 0, FRAMES - 1, 1, 0),
            Choice("forward", "Forward legs", tuple(SHARES), "as published"),
        ],
        partial(walking, puppet),
        {
            "Left foot comes down": (0, "as published"),
            "Flat on the floor": (8, "as published"),
            "About to leave": (LEAVES, "as published"),
            "Keyed every 2nd frame": (LEAVES, "every 2nd"),
        },
        play="frame",
        grips=[
            *foot_grips(
                ", forward",
                lambda frame, forward: (walks(puppet)[forward][0], FRAMES + frame),
                "frame",
                0,
            ),
            *foot_grips(
                ", inverse",
                lambda frame, forward: (walks(puppet)["planted"][0], FRAMES + frame),
                "frame",
                1,
            ),
        ],
    )


def walk_guess(puppet: Puppet) -> Panel:
    """A stride to step through, after a guess at how far a forward foot slides."""
    return walk_panel(puppet).after(
        Guess(
            "04/walk",
            "The forward legs get joint angles that were measured on other people. How far does"
            f" {puppet.name}'s left foot slide from when it comes down until it leaves the floor?",
            Number("cm", 0, 100, 3),
            partial(_walk_found, puppet),
            then="Pull a foot along, or play it.",
        )
    )


def _walk_found(puppet, frame, forward):
    if frame != LEAVES or SHARES[forward] is not None:
        return None
    whole = walks(puppet)[forward][2]
    return whole, f"It slides <b>{whole:.1f} cm</b>, to and fro."


def foot_grips(
    suffix: str, motion: Callable[..., tuple[Floats, float]], key: str, view: int
) -> list[Grip]:
    """Grips on both ankles of a `walk_view`, along the ways they go.

    Parameters
    ----------
    suffix : str
        Of their names.
    motion : callable
        From a panel's values to a walk's points and the frame that is shown.
    key : str
        Of the slider of the frame.
    view : int
        The walker's place in the panel's row.
    """

    def at(side: int, **values: Any) -> Floats:
        points, frame = motion(**values)
        return at_frame(points[:, side, 2] - points[:, :, 0].mean(axis=1) * AHEAD, frame)

    return [
        Grip(f"{name} foot{suffix}", partial(at, side), (key,), (view,))
        for side, name in enumerate(("Left", "Right"))
    ]


# What a forward chain is good for


@cache
def kicks(puppet: Puppet) -> tuple[Floats, ...]:
    """A kick from two poses, by forward and by inverse legs.

    Of each, the right leg's joints, shape (13, 3, 3).
    """
    rig, keys = standing(puppet), (0, FRAMES // 2)
    swing = -np.radians(np.linspace(*KICK_DEG, keys[1] + 1))
    forward = rig.pose({"R_hip_turn": {"turn_x": swing}}, inverse=False)
    inverse = rig.pose(interpolate_keys(rig.match(forward), keys))
    return tuple(_joints(puppet, pose.world, "R_")[:, :3] for pose in (forward, inverse))


def cut_cm(puppet: Puppet) -> float:
    """Depth of the inverse leg's ankle inside the forward one's arc, cm.

    It is measured halfway through the kick.
    """
    forward, inverse = kicks(puppet)
    return 100 * float(np.linalg.norm(forward[6, 2] - inverse[6, 2]))


def kick(puppet: Puppet) -> Row:
    """The same two poses of a kick, keyed for a forward and for an inverse leg.

    What lies between them is shown too.
    """
    views = []
    for points, kind, title in zip(
        kicks(puppet),
        ("forward", "inverse"),
        ("Forward: two keys of one angle", "Inverse: two keys of the foot"),
        strict=True,
    ):
        hip = points[0, 0]
        low, high = hip[[2, 1]] + [[-0.5, -0.98], [0.94, 0.12]]
        stage = half_stage(title, low, high, legend=(kind,)).floor()
        for joints in points[[3, 9]]:
            stage.ghost(joints)
        if kind == "inverse":
            stage.path(kicks(puppet)[0][:, 2], "soft")
            stage.measure(points[6, 2], kicks(puppet)[0][6, 2], f"{cut_cm(puppet):.1f} cm")
        stage.path(points[:, 2], kind)
        for joints, thickness in zip(points[[0, 12, 6]], (14, 14, 24), strict=True):
            stage.chain(joints, kind, "R", thickness=thickness)
        views.append(stage)
    return row(
        *views,
        title=(
            "A kick from two poses: a forward leg swings on an arc; an inverse leg's foot goes "
            f"straight across, {cut_cm(puppet):.0f} centimetres inside it, and its knee bends"
        ),
    )


def kick_guess(puppet: Puppet) -> Panel:
    """The kick, after a guess at which leg stays straight."""
    forward, inverse = (_most_bent_deg(points) for points in kicks(puppet))
    straight = (forward < 1, inverse < 1)
    options = {
        (True, True): "Both",
        (True, False): "The one keyed by its hip's angle",
        (False, True): "The one keyed by its foot's place",
        (False, False): "Neither",
    }
    words = (
        f"Keyed by its angle, the leg swings on its arc. Keyed by its place, the foot goes straight"
        f" across, <b>{cut_cm(puppet):.1f} cm</b> inside the arc, and the knee folds up to"
        f" <b>{inverse:.0f}°</b>."
    )
    return Panel("A kick from two poses, by either chain", [], lambda: (kick(puppet), "")).after(
        Guess(
            "04/kick",
            f"A straight leg swings from {-KICK_DEG[0]:.0f}° back to {KICK_DEG[1]:.0f}° forward."
            " Only these two poses are keyed, once by the angle of a forward leg's hip, once by the"
            " place of an inverse leg's foot. Which leg stays straight in between?",
            tuple(options.values()),
            lambda: (options[straight], words),
        )
    )


def _most_bent_deg(points):
    """The largest flexion of a leg's knee on its way, degrees."""
    bones = np.diff(points, axis=1)
    bones /= np.linalg.norm(bones, axis=-1, keepdims=True)
    cosine = np.clip((bones[:, 0] * bones[:, 1]).sum(axis=-1), -1, 1)
    return float(np.degrees(np.arccos(cosine)).max())


def dangle_check(puppet: Puppet) -> Panel:
    """The chain of legs that dangle from a crane."""
    off = dict(zip(("forward", "inverse"), jobs(puppet)["dangling"], strict=True))
    right = min(off, key=lambda chain: off[chain])
    wrong = {
        "inverse": "Nobody has keyed her feet, so their goals stay behind on the quay. The legs"
        f" stretch straight toward them, and the feet end {off['inverse']:.1f} cm from where"
        " dangling legs would have them.",
        "forward": f"They would be off by {off['forward']:.1f} cm.",
        "either": "The pelvis moves the same, the feet do not. Ask what an inverse foot does when"
        " only the pelvis moves.",
    }
    because = (
        f"Forward legs come along, off by {off['forward']:.1f} cm. Inverse legs stretch toward"
        f" goals that nobody has moved; their feet end {off['inverse']:.1f} cm away."
    )
    return quick_check(
        Check(
            "04/dangle",
            f"A crane lifts {puppet.name} by 10 cm and carries her 30 cm forward. Only her pelvis"
            " is keyed, and her legs are to dangle as they hung. Which chain for them?",
            tuple(wrong),
            right,
            because,
            {option: words for option, words in wrong.items() if option != right},
        )
    )


def jobs(puppet: Puppet) -> dict[str, tuple[float, float]]:
    """Errors of a foot, in cm, when a forward and when an inverse leg does a job.

    They are a mapping of job to both.

    A crouch keyed in three poses; one step of the walk; a kick keyed in two poses; and a puppet
    lifted by 10 cm and carried 30 cm forward whose legs dangle, where only the pelvis is keyed.
    """
    rig, down = standing(puppet), crouch(13)
    slid = {name: walks(puppet)[name][2] for name in ("as published", "planted")}
    carried = {"pelvis": {"shift_y": 0.1, "shift_z": 0.3}}
    dangling, left_behind = (
        _at(rig, rig.pose(carried, inverse).world, "ankle")[0] for inverse in (False, True)
    )
    return {
        "crouch": (keyed_slip_cm(puppet, 13, FRAMES // 2), slip_cm(rig, rig.pose(down)).max()),
        "step": (slid["as published"], slid["planted"]),
        "kick": (0.0, cut_cm(puppet)),
        "dangling": (0.0, 100 * float(np.linalg.norm(dangling - left_behind))),
    }


def jobs_plot(puppet: Puppet) -> plots.Plot:
    """The `jobs` as bars."""
    values = {
        f"{job}, {kind}": float(off)
        for job, both in jobs(puppet).items()
        for kind, off in zip(("forward", "inverse"), both, strict=True)
    }
    numbers = "; ".join(f"{name} {off:.1f} cm" for name, off in values.items())
    return plots.bars(
        values,
        "foot off by (cm)",
        "The same job by either chain",
        f"How far a foot is off when a forward or an inverse leg does the job: {numbers}.",
        kinds={name: name.rpartition(" ")[2] for name in values},
    )


# The switch that forgets to match


@cache
def switches(puppet: Puppet) -> dict[str, tuple[Floats, Floats]]:
    """A crouch after which the right leg becomes a forward chain and swings; matched and forgotten.

    Returns
    -------
    dict of str to (joints, shape (25, 2, 6, 3); the right knee's flexion in degrees, shape (25,))
    """
    rig, frame = standing(puppet), np.arange(FRAMES + 1)
    down = {"pelvis": {"shift_y": -0.13 * np.clip(frame / (SWITCH - 2), 0, 1)}}
    start = forward_values(rig, rig.pose({"pelvis": {"shift_y": -0.13}}))
    share = np.clip((frame - SWITCH) / (FRAMES - SWITCH), 0, 1)
    swing = {"R_hip_turn": -np.radians(SWUNG_DEG) * share}
    found = {}
    for name, matched in (("matched", 1.0), ("forgotten", 0.0)):
        turned = {
            control: {
                "turn_x": matched * values.get("turn_x", 0.0) + swing.get(control, 0.0 * share)
            }
            for control, values in start.items()
            if control.startswith("R_")
        }
        pose = rig.pose(down | turned, {"R_": frame < SWITCH})
        found[name] = _both(puppet, pose.world), np.degrees(pose.flexion[:, 1])
    return found


@cache
def heights_plot(puppet: Puppet) -> plots.Plot:
    """Height of the right ankle in every frame, matched and forgotten."""
    heights = {name: 100 * joints[:, 1, 2, 1] for name, (joints, _) in switches(puppet).items()}
    return plots.curves(
        np.arange(FRAMES + 1),
        heights,
        "frame",
        "right ankle above the floor (cm)",
        title="Height of the right ankle",
        kinds={"matched": "inverse", "forgotten": "miss"},
        width=430,
        height=420,
        desc=(
            "The height of the right ankle above the floor in every frame up to this one, with the"
            " match made and with the match forgotten."
        ),
    )


def switching(puppet: Puppet, frame: int, match: str) -> tuple[Row, str]:
    """One frame of the switch, and how far the leg jumped in words."""
    joints, bent = switches(puppet)[match]
    kind = "forward" if frame >= SWITCH else "inverse"
    stage = _room(puppet, f"Right leg: {kind}", joints[frame, :, 0], 0.13, WAIST)
    for leg, side, chain in zip(joints[frame], "LR", ("inverse", kind), strict=True):
        draw_leg(stage, leg, chain, side)
    step = 100 * np.linalg.norm(joints[frame, 1, 2] - joints[max(frame - 1, 0), 1, 2])
    turned = abs(bent[frame] - bent[max(frame - 1, 0)])
    words = (
        f"Frame {frame} of {FRAMES}, match {'made' if match == 'matched' else 'forgotten'}. Since"
        f" the frame before, the right ankle moved <b>{step:.1f} cm</b> and the right knee turned"
        f" <b>{turned:.1f}°</b>."
    )
    return row(stage, heights_plot(puppet).until(frame).at(frame)), words


def switch_panel(puppet: Puppet) -> Panel:
    """A right leg that changes from inverse to forward in the middle of a movement."""
    return Panel(
        "In frame 12 the right leg changes its chain",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, 0),
            Choice("match", "In frame 12 the match is", ("forgotten", "matched"), "forgotten"),
        ],
        partial(switching, puppet),
        {
            "The frame before": (SWITCH - 1, "forgotten"),
            "Forgotten": (SWITCH, "forgotten"),
            "Matched": (SWITCH, "matched"),
            "The thigh raised": (FRAMES, "matched"),
        },
        play="frame",
        grips=[moment("frame", 12.0)],  # the leg itself rests for two frames and may leap
    )


def switch_guess(puppet: Puppet) -> Panel:
    """The switch to play, after a guess at what the leg does."""
    return switch_panel(puppet).after(
        Guess(
            "04/switch",
            f"{puppet.name} crouches, both legs inverse. In frame {SWITCH} her right leg becomes a"
            " forward chain, whose controls still read zero. What does the leg do in that frame?",
            tuple(SWITCHED.values()),
            partial(_switch_found, puppet),
            then=f"Play it, then step through frames {SWITCH - 1}, {SWITCH} and {SWITCH + 1}.",
        )
    )


SWITCHED = {0: "It stays as it was", 1: "Its foot drops", -1: "Its foot jumps up"}


def _switch_found(puppet, frame, match):
    if (frame, match) != (SWITCH, "forgotten"):
        return None
    joints, bent = switches(puppet)[match]
    before, now = joints[[frame - 1, frame], 1, 2, 1]
    drop, turned = 100 * float(before - now), bent[frame - 1] - bent[frame]
    right = SWITCHED[0 if abs(drop) < SHOWN else int(np.sign(drop))]
    words = (
        f"The foot drops by <b>{drop:.1f} cm</b> and the knee straightens by <b>{turned:.1f}°</b>,"
        " in a single frame."
    )
    return right, words


# Places and views


def _moved(puppet, lowered_cm, forward_cm, left_cm):
    shifts = {"shift_x": left_cm / 100, "shift_y": -lowered_cm / 100, "shift_z": forward_cm / 100}
    return standing(puppet).pose({"pelvis": shifts}, MIXED)


def _at(rig, world, joint):
    """A joint of both legs, shape (..., 2, 3)."""
    return world[..., :3, 3][..., [rig.skeleton.index(tag + joint) for tag in SIDE_TAGS], :]


def _joints(puppet, world, tag):
    return leg_points(puppet, standing(puppet).skeleton, world, tag)


def _both(puppet, world):
    """Both legs' points in every frame, shape (f, 2, 6, 3)."""
    return np.stack([_joints(puppet, world, tag) for tag in SIDE_TAGS], axis=1)


def slid_cm(points: Floats, stance: Bools) -> Floats:
    """Slide of each foot since it came down, cm; NaN in the air."""
    gone = np.cumsum(gait.foot_slide_cm(points[:, :, 3:], stance), axis=0)
    before = np.maximum.accumulate(np.where(stance, 0.0, gone), axis=0)  # when it came down
    return np.where(stance, gone - before, np.nan)


def _room(puppet, title, hips, deepest=0.25, high=0.95, legend=CHAINS, view="side"):
    """A view of the standing puppet that also holds its foot `deepest` metres under the floor."""
    tall = size(puppet)
    corners = (-0.62 * tall, -0.02 - deepest), (0.62 * tall, high * tall)
    return draw_body(half_stage(title, *corners, view=view, legend=legend).floor(), puppet, hips)


def _pelvis_views(puppet, pose):
    """Both legs from the side and from the front, the left one forward, the right one inverse."""
    rig, views = standing(puppet), []
    for view, seen in (("side", [2, 1]), ("front", [0, 1])):
        stage = _room(puppet, f"From the {view}", _at(rig, pose.world, "hip"), view=view)
        for tag, kind, offset in (("L_", "forward", 64), ("R_", "inverse", -64)):
            rest, now = (
                _joints(puppet, world, tag) for world in (rig.skeleton.rest_world, pose.world)
            )
            names = ("", "", f"{tag[0]}: {kind}")
            draw_leg(stage.ghost(rest[:3]), now, kind, tag[0], names=names)
            apart = 100 * np.linalg.norm((rest[2] - now[2])[seen])
            measure_cm(stage, rest[2], now[2], apart, offset=offset)
        views.append(stage)
    return views


def _tilted(degrees):
    """A sole's tilt in words, toes up positive."""
    return directed(degrees, "toes up", "toes down", "level", "°")


def walk_view(
    puppet: Puppet,
    title: str,
    kind: str,
    points: Floats,
    slid: Floats,
    frame: int,
    legend: Sequence[str] = (),
) -> Stage:
    """A view that moves along with the pelvis, over a floor with marks; cut off at the waist.

    The middle of the hips is in its middle, so that a place in it does not depend on the frame.
    """
    tall, sole = size(puppet), foot.of_puppet(puppet)
    middle = points[frame, :, 0, 2].mean()
    low, high = -0.62 * tall, 0.62 * tall
    points = points - middle * AHEAD
    corners = (low, -0.13 * tall), (high, WAIST * tall)
    stage = half_stage(title, *corners, legend=legend).floor()
    marks = np.arange(np.ceil(10 * (middle + low)), np.floor(10 * (middle + high)) + 1) / 10
    for mark in marks - middle:
        stage.path([(mark, 0.0), (mark, -0.02)], "soft")
    draw_body(stage, puppet, points[frame, :, 0])
    for side, tag in enumerate("LR"):
        draw_leg(stage, points[frame, side], kind, tag)
        if np.isfinite(slid[frame, side]):
            landed = frame - np.argmax(np.isnan(slid[frame::-1, side]))
            heel = points[landed, side, 3, 2]
            toe = heel + sole.toe[0] - sole.heel[0]
            stage.path([(heel, -0.04 * tall), (toe, -0.04 * tall)], "goal", tag)
            far = slid[frame, side]
            words, kind_of = f"{tag} slid {far:.1f} cm", "miss" if far >= SHOWN else "goal"
            stage.note(((heel + toe) / 2, -0.05 * tall), words, kind_of, "below", loud=True)
    return stage
