"""Lesson 08's pictures: controls, a foot's pivot, a boat, what a pelvis carries, a keyed goal.

The controls are shown at rest first; the boat is for a foot to follow.

Seen a little from above where outlines lie on the floor. x to the character's left, y up, z ahead,
in metres.
"""

from dataclasses import replace
from functools import cache, lru_cache, partial
from typing import Any

import numpy as np

from rigkit import controls as ct
from rigkit import foot, frames, plots
from rigkit._types import ArrayLike, ControlValues, Floats
from rigkit.leg import LegPose, LegRig
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.staging import (
    draw_leg,
    half_stage,
    leg_points,
    measure_cm,
    measure_or_zero,
    size,
    stiff,
)
from rigkit.scenes.words import SHOWN, number, signed
from rigkit.skeleton import SIDE_TAGS
from rigkit.stage import Row, row

TOUCHED = ("pelvis", "L_foot", "L_knee", "R_foot", "R_knee")  # the controls of inverse legs
PIVOTS = ("the ankle", "the floor below it", "the outline's middle")
STEP = {
    "pelvis": {"shift_y": -0.08, "turn_y": np.radians(-12)},
    "L_foot": {"shift_y": 0.15, "shift_z": 0.25, "turn_x": np.radians(-25)},
}  # all that is not zero in a step
LIFTED: dict[str, dict[str, Any]] = {
    "pelvis": {"shift_y": -0.05},
    "L_foot": {"shift_y": 0.12},
}  # in mid-step
BOAT = (0.12, 0.0, 0.30)  # from the left foot to the boat's middle
GAPS = ("kept", "lost", "along the world's axes")
HANGING = {"Feet follow nothing": None, "Feet hang from the pelvis": "pelvis"}
FRAMES = 24  # of a crouch, of a step
KEYED_CM = 40.0  # the step for which the goal was keyed
OBLIQUE: dict[str, Any] = {"view": "turntable", "yaw_deg": 40.0, "pitch_deg": 22.0}


@cache
def rig(puppet: Puppet) -> LegRig:
    """The puppet's rig, bent by 5° at rest."""
    return LegRig.from_puppet(puppet, preset_bend_deg=5.0)


def control(puppet: Puppet, name: str) -> ct.Control:
    """A control of the puppet's rig."""
    return next(control for control in rig(puppet).controls if control.name == name)


# At rest, and away from it


def opening(puppet: Puppet) -> Row:
    """All controls at rest, and the same ones in a step: few of their numbers are not zero."""
    numbers = sum(len(channels) for channels in STEP.values())
    views = [
        _rig_view(puppet, title, rig(puppet).pose(values), names=not values)
        for title, values in (
            ("At rest: every control reads zero", {}),
            (f"A step: {_in_words(numbers)} numbers are not zero", STEP),
        )
    ]
    return row(
        *views,
        title=(
            "A puppet's legs with their five controls, a ring around the pelvis, a rectangle on"
            " the floor around each foot and a small ring in front of each knee. Left at rest,"
            f" where every control reads zero; right in a step that {_in_words(numbers)} numbers"
            " make"
        ),
    )


# A foot and its pivot


def pivots(puppet: Puppet) -> dict[str, Floats]:
    """The points of `PIVOTS` in the frame of a foot control.

    Its origin is on the floor below the ankle.
    """
    sole = foot.of_puppet(puppet)
    places = (
        (0.0, puppet.ankle_height, 0.0),
        (0.0, 0.0, 0.0),
        (0.0, 0.0, (sole.heel[0] + sole.toe[0]) / 2),
    )
    return dict(zip(PIVOTS, map(np.array, places), strict=True))


@cache
def pivoting(puppet: Puppet, pivot: str) -> LegRig:
    """The puppet's rig whose left foot control turns about one of `PIVOTS`."""
    return rig(puppet).with_controls(
        replace(control(puppet, "L_foot"), pivot=pivots(puppet)[pivot])
    )


def turned_foot(
    puppet: Puppet,
    pivot: str,
    toes_up_deg: float | Floats = 0.0,
    turned_out_deg: float | Floats = 0.0,
) -> LegPose:
    """The pose of a lifted left foot whose control is turned about one of `PIVOTS`."""
    turn = {"turn_x": -np.radians(toes_up_deg), "turn_y": np.radians(turned_out_deg)}
    return pivoting(puppet, pivot).pose(LIFTED | {"L_foot": LIFTED["L_foot"] | turn})


def ankle_moved_cm(
    puppet: Puppet, pivot: str, toes_up_deg: ArrayLike = 0.0, turned_out_deg: ArrayLike = 0.0
) -> Floats:
    """The distance that the turn of `turned_foot` moves the ankle, cm."""
    before, after = (
        _joint(puppet, turned_foot(puppet, pivot, *turn), "L_ankle")
        for turn in ((), (toes_up_deg, turned_out_deg))
    )
    return 100 * np.linalg.norm(after - before, axis=-1)


def turned(
    puppet: Puppet, pivot: str, toes_up_deg: float, turned_out_deg: float
) -> tuple[Row, str]:
    """A turned foot from the side and from above, and how far its ankle moved in words."""
    before, after = (
        turned_foot(puppet, pivot),
        turned_foot(puppet, pivot, toes_up_deg, turned_out_deg),
    )
    views = [
        _foot_view(puppet, view, title, before, after, pivot)
        for view, title in (("side", "From the side"), ("top", "From above: the toes point down"))
    ]
    moved = float(ankle_moved_cm(puppet, pivot, toes_up_deg, turned_out_deg))
    knee = float(np.degrees(after.flexion[0] - before.flexion[0]))
    words = (
        f"Foot control turned {number(toes_up_deg, 0)}° toes up and {number(turned_out_deg, 0)}°"
        f" out about <b>{pivot}</b>. The ankle moved by <b>{moved:.1f} cm</b>, and the knee's bend"
        f" changed by {signed(knee, 1)}."
    )
    return row(*views), words


def pivot_panel(puppet: Puppet) -> Panel:
    """A foot control to turn about different points."""
    return Panel(
        "Turn the foot control: does the ankle stay?",
        [
            Choice("pivot", "Its pivot is at", PIVOTS, PIVOTS[1]),
            Slider("toes_up_deg", "Toes up", -40.0, 40.0, 1.0, 10.0, "°"),
            Slider("turned_out_deg", "Turned out", -45.0, 45.0, 1.0, 0.0, "°"),
        ],
        partial(turned, puppet),
        {
            "Toes up, floor": (PIVOTS[1], 30, 0),
            "Toes up, ankle": (PIVOTS[0], 30, 0),
            "Turned out, floor": (PIVOTS[1], 0, 45),
            "Turned out, middle": (PIVOTS[2], 0, 45),
        },
    )


# A boat to follow


@cache
def aboard(puppet: Puppet, gap: str) -> tuple[ct.Control, ct.Control]:
    """Two controls: a boat, and the left foot that follows it.

    Its gap is handled in one of the ways of `GAPS`.
    """
    left = control(puppet, "L_foot")
    boat = ct.Control("boat", frames.frame(origin=left.rest[:3, 3] + BOAT), _hull())
    follow = {
        "kept": ct.Follow("boat"),
        "lost": ct.Follow("boat", offset=np.eye(4)),
        "along the world's axes": ct.Follow("boat", "position"),
    }[gap]
    return boat, replace(left, follows=(follow,))


def boat_values(left_cm: float, ahead_cm: float, turned_deg: float) -> dict[str, dict[str, Any]]:
    """Control values of a boat that drifted off and turned to her left."""
    return {
        "boat": {
            "shift_x": left_cm / 100,
            "shift_z": ahead_cm / 100,
            "turn_y": np.radians(turned_deg),
        }
    }


def boarded(
    puppet: Puppet, gap: str, left_cm: float, ahead_cm: float, turned_deg: float
) -> tuple[Row, str]:
    """A left foot on a boat, and the right one on the quay, from above.

    Words say how far the foot is off its mark.
    """
    boat, left = aboard(puppet, gap)
    worlds = ct.pose((boat, left), boat_values(left_cm, ahead_cm, turned_deg))
    pose = rig(puppet).pose(
        {"pelvis": {"shift_y": -0.13}, "L_foot": ct.values_at(left, worlds["L_foot"])}
    )
    mark = worlds["boat"] @ frames.relative(boat.rest, left.rest)  # where she stepped onto it
    off = 100 * float(np.linalg.norm(worlds["L_foot"][:3, 3] - mark[:3, 3]))
    aside = float(np.degrees(np.arccos(np.clip(worlds["L_foot"][:3, 2] @ mark[:3, 2], -1, 1))))
    views = [
        _boat_view(puppet, view, title, boat, worlds, pose, mark, off)
        for view, title in (
            ("turntable", "From the front, looking down"),
            ("top", "From above: she faces down"),
        )
    ]
    short = f" The leg is {100 * pose.miss[0]:.1f} cm too short." if pose.miss[0] > 5e-4 else ""
    words = (
        f"Boat {left_cm:.0f} cm off, {number(ahead_cm, 0)} cm ahead, turned"
        f" {number(turned_deg, 0)}°. Gap {gap}:"
        f" the foot control is <b>{off:.1f} cm</b> from its mark on the deck and turned"
        f" <b>{aside:.1f}°</b> against it.{short}"
    )
    return row(*views), words


def boat_panel(puppet: Puppet) -> Panel:
    """A boat to move under a foot that follows it."""
    return Panel(
        "Move the boat: does the foot stay on its mark?",
        [
            Choice("gap", "The gap is", GAPS, GAPS[0]),
            Slider("left_cm", "Boat drifts off", 0.0, 20.0, 1.0, 10.0, "cm"),
            Slider("ahead_cm", "Boat ahead", -20.0, 20.0, 1.0, 0.0, "cm"),
            Slider("turned_deg", "Boat turned", -25.0, 25.0, 1.0, 0.0, "°"),
        ],
        partial(boarded, puppet),
        {
            "Lost": ("lost", 0, 0, 0),
            "Drifted, kept": ("kept", 10, 15, 0),
            "Drifted, world's axes": ("along the world's axes", 10, 15, 0),
            "Turned, world's axes": ("along the world's axes", 10, 15, 20),
            "Turned, kept": ("kept", 10, 15, 20),
        },
    )


# What the pelvis carries


@cache
def hanging(puppet: Puppet, feet: str) -> LegRig:
    """The puppet's rig with feet that follow nothing, or hang from the pelvis: one of `HANGING`."""
    return rig(puppet).with_controls(
        *(replace(control(puppet, tag + "foot"), parent=HANGING[feet]) for tag in SIDE_TAGS)
    )


def crouch(lowered_cm: float, turned_deg: float) -> dict[str, dict[str, Any]]:
    """Control values of a crouch in 24 frames.

    The pelvis goes down and turns evenly, and comes back.
    """
    share = 1 - np.abs(np.linspace(-1, 1, FRAMES + 1))
    return {
        "pelvis": {"shift_y": -lowered_cm / 100 * share, "turn_y": np.radians(turned_deg) * share}
    }


def moved_cm(puppet: Puppet, feet: str, values: ControlValues) -> dict[str, Floats]:
    """Distance of each of `TOUCHED` from its rest, cm: a dict of name to array."""
    posed = hanging(puppet, feet).pose(values).controls
    return {
        name: 100 * np.linalg.norm((posed[name] - control(puppet, name).rest)[..., :3, 3], axis=-1)
        for name in TOUCHED
    }


def carried(puppet: Puppet, feet: str) -> tuple[str, ...]:
    """The names among `TOUCHED` that move with the pelvis control."""
    return tuple(
        name for name in ct.dependents(hanging(puppet, feet).controls, "pelvis") if name in TOUCHED
    )


def staying_values(puppet: Puppet, values: ControlValues) -> dict[str, dict[str, Any]]:
    """Values with which feet that hang from the pelvis stay where they stand at rest."""
    left = hanging(puppet, "Feet hang from the pelvis")
    base = left.pose(values).controls
    feet = {tag + "foot": control(puppet, tag + "foot") for tag in SIDE_TAGS}
    return {name: ct.values_at(one, one.rest, base[name]) for name, one in feet.items()}


def crouching(puppet: Puppet, frame: int, lowered_cm: float, turned_deg: float) -> tuple[Row, str]:
    """One frame of a crouch with feet that follow nothing and with feet that hang.

    What moved is told in words.
    """
    values = {
        "pelvis": {
            channel: value[frame]
            for channel, value in crouch(lowered_cm, turned_deg)["pelvis"].items()
        }
    }
    views, said = [], []
    for feet in HANGING:
        moved = moved_cm(puppet, feet, values)
        views.append(
            _rig_view(
                puppet,
                feet,
                hanging(puppet, feet).pose(values),
                ghosts=True,
                measured=("L_foot", moved["L_foot"]),
            )
        )
        said.append(
            f"{feet}: <b>{', '.join(carried(puppet, feet))}</b> move with it, the left foot by "
            f"<b>{moved['L_foot']:.1f} cm</b>."
        )
    return row(
        *views
    ), f"Frame {frame} of {FRAMES}, pelvis {moved['pelvis']:.1f} cm down. " + " ".join(said)


def pelvis_panel(puppet: Puppet) -> Panel:
    """A crouch to step through or play, with feet that stay and with feet that are carried."""
    half = FRAMES // 2
    return Panel(
        "Move the pelvis control: what moves with it?",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, half),
            Slider("lowered_cm", "Pelvis lowered", 0.0, 20.0, 1.0, 13.0, "cm"),
            Slider("turned_deg", "Pelvis turned", -40.0, 40.0, 1.0, 0.0, "°"),
        ],
        partial(crouching, puppet),
        {
            "Standing": (0, 13, 0),
            "13 cm down": (half, 13, 0),
            "Turned, not down": (half, 0, 40),
            "Down and turned": (half, 13, 40),
        },
        play="frame",
    )


# A goal that was keyed


def step_values(step_cm: float) -> dict[str, Floats]:
    """Values of the left foot control in a step of 24 frames, lifted on an arc."""
    share = np.linspace(0, 1, FRAMES + 1)
    return {"shift_z": step_cm / 100 * share, "shift_y": 0.12 * np.sin(np.pi * share)}


@lru_cache(maxsize=8)  # a step is played in one setting of the sliders
def stepped(puppet: Puppet, share: float, step_cm: float) -> tuple[LegPose, Floats]:
    """A step of the foot control, and its goal that follows by a share of the way.

    The goal is keyed for another step.

    Returns
    -------
    (LegPose, ndarray, shape (25, 4, 4))
        The pose in every frame, and the foot control.
    """
    left = control(puppet, "L_foot")
    at_ankle = left.rest @ frames.frame(origin=left.pivot)
    keyed = ct.pose([left], {"L_foot": step_values(KEYED_CM)})["L_foot"] @ frames.frame(
        origin=left.pivot
    )
    goal = ct.Control(
        "L_goal", at_ankle, base_frame=keyed, follows=(ct.Follow("L_foot", weight=share),)
    )
    worlds = ct.pose((left, goal), {"L_foot": step_values(step_cm)})
    landed = ct.values_at(left, worlds["L_goal"] @ frames.frame(origin=-left.pivot))
    pelvis = {"shift_y": np.full(FRAMES + 1, -0.08), "shift_z": step_values(step_cm)["shift_z"] / 2}
    return rig(puppet).pose({"pelvis": pelvis, "L_foot": landed}), worlds["L_foot"]


def apart_cm(puppet: Puppet, share: float, step_cm: float) -> Floats:
    """Distance of the foot from its control in every frame of `stepped`, cm."""
    pose, foot_control = stepped(puppet, share, step_cm)
    return 100 * np.linalg.norm((pose.controls["L_foot"] - foot_control)[..., :3, 3], axis=-1)


@cache
def step_plot(puppet: Puppet) -> plots.Plot:
    """Distances that control and foot have gone in every frame.

    The curves are drawn anew for each step.
    """
    lines = {name: 100 * step_values(60.0)["shift_z"] for name in ("foot control", "foot")}
    return plots.curves(
        np.arange(FRAMES + 1),
        lines,
        "frame",
        "ahead (cm)",
        title="How far each has gone",
        desc="How far the foot control and the foot have gone ahead in every frame of the step.",
        kinds={"foot control": "plain", "foot": "inverse"},
        ylim=(-4, 74),
        width=430,
        height=398,
    )


def stepping(puppet: Puppet, frame: int, share_percent: float, step_cm: float) -> tuple[Row, str]:
    """One frame of a step whose goal was keyed, and how far foot and control are apart in words."""
    share = share_percent / 100
    pose, foot_control = stepped(puppet, share, step_cm)
    apart = apart_cm(puppet, share, step_cm)
    gone = {"foot control": foot_control[:, 2, 3], "foot": pose.controls["L_foot"][:, 2, 3]}
    plot = step_plot(puppet).with_lines({name: 100 * z for name, z in gone.items()}).at(frame)
    stage = _step_view(puppet, pose, foot_control, frame, apart[frame])
    words = (
        f"Frame {frame} of {FRAMES}. The foot control has gone"
        f" {number(100 * gone['foot control'][frame])} cm ahead, the foot"
        f" {number(100 * gone['foot'][frame])} cm: <b>{apart[frame]:.1f} cm</b> apart. In the last"
        f" frame it is {apart[-1]:.1f} cm."
    )
    return row(stage, plot), words


def goal_panel(puppet: Puppet) -> Panel:
    """A step whose goal carries keys of its own."""
    return Panel(
        "Break it: a goal that carries keys of its own",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, FRAMES),
            Slider("share_percent", "Share of the follow", 0.0, 100.0, 5.0, 50.0, "%"),
            Slider("step_cm", "Step of the control", 20.0, 70.0, 1.0, 60.0, "cm"),
        ],
        partial(stepping, puppet),
        {
            "As it was keyed": (FRAMES, 50, KEYED_CM),
            "60 cm, half and half": (FRAMES, 50, 60),
            "60 cm, keys win": (FRAMES, 0, 60),
            "60 cm, follow wins": (FRAMES, 100, 60),
        },
        play="frame",
    )


# Views


def _joint(puppet, pose, name):
    return pose.world[..., rig(puppet).skeleton.index(name), :3, 3]


def _legs(stage, puppet, world):
    """Both legs with their feet, from the world frames of one pose."""
    for tag in SIDE_TAGS[::-1]:
        points = stiff(leg_points(puppet, rig(puppet).skeleton, world, tag))
        draw_leg(stage, points, "inverse", tag[0], thickness=18)


def _rig_view(puppet, title, pose, names=False, ghosts=False, measured=None):
    """Both legs and the outlines of their controls, seen a little from above."""
    stage = half_stage(title, (-0.98, -0.38), (0.53, 0.98), size(puppet), **OBLIQUE).floor()
    stage.desc = (
        "Both legs and the outlines of their five controls, from the front left and a little above."
    )
    outlines = {
        name: frames.apply(pose.controls[name], control(puppet, name).outline) for name in TOUCHED
    }
    for name in TOUCHED if ghosts else ():
        stage.ghost(frames.apply(control(puppet, name).rest, control(puppet, name).outline))
    _legs(stage, puppet, pose.world)
    for name, outline in outlines.items():
        stage.control(outline, name if names else "")
    if measured:
        name, cm = measured
        was, now = (
            frames.apply(frame, control(puppet, name).pivot)
            for frame in (control(puppet, name).rest, pose.controls[name])
        )
        stage.desc += f" The left foot is {cm:.1f} centimetres from where it was at rest."
        measure_or_zero(stage, was, now, cm, "right")
    return stage


def _foot_view(puppet, view, title, before, after, pivot):
    """A lifted foot, close: as it was, dotted, and as it is now, with outline and pivot."""
    low, high = ((-0.24, -0.03), (0.36, 0.51)) if view == "side" else ((-0.19, -0.36), (0.41, 0.18))
    stage = half_stage(title, low, high, view=view).floor()
    one, sole = control(puppet, "L_foot"), foot.of_puppet(puppet)
    was, now = before.controls["L_foot"], after.controls["L_foot"]
    stage.ghost(frames.apply(was, one.outline))
    if view == "side":
        stage.ghost(frames.apply(was, [(0.0, h, z) for z, h in (sole.heel, sole.ankle, sole.toe)]))
    knee, ankle = (_joint(puppet, after, name) for name in ("L_knee", "L_ankle"))
    heel, toe = frames.apply(now, [(0.0, h, z) for z, h in (sole.heel, sole.toe)])
    stage.foot(ankle, heel, toe, kind="inverse", side="L")
    stage.chain([knee, ankle], "inverse", names=("", "ankle") if np.allclose(was, now) else ())
    stage.control(frames.apply(now, one.outline))
    point = frames.apply(was, pivots(puppet)[pivot])
    stage.dots([point], "miss").note(point, "pivot", "miss")
    ankle_was = _joint(puppet, before, "L_ankle")
    apart = (ankle - ankle_was)[[2, 1] if view == "side" else [0, 2]]
    return measure_cm(stage, ankle_was, ankle, 100 * np.linalg.norm(apart), offset=-34)


def _hull():
    """The outline of a small boat, its bow ahead."""
    around = np.linspace(0, 2 * np.pi, 33)
    across, along = 0.22 * np.cos(around), 0.52 * np.sin(around)
    return np.stack(
        [across * (1 - 0.35 * np.clip(np.sin(around), 0, 1) ** 2), 0 * around, along], axis=-1
    )


def _boat_view(puppet, view, title, boat, worlds, pose, mark, off):
    """The boat beside the quay, the legs above both, and the foot's mark on the deck."""
    if view == "top":
        stage = half_stage(title, (-0.48, -0.94), (0.9, 0.31), view=view)
    else:
        stage = half_stage(title, (-0.70, -0.375), (0.62, 0.82), **OBLIQUE)
    quay = np.array([(-0.5, 0.0, -0.3), (-0.03, 0.0, -0.3), (-0.03, 0.0, 0.95), (-0.5, 0.0, 0.95)])
    stage.skin(quay, "soft").skin(frames.apply(worlds["boat"], boat.outline), "soft")
    stage.dots([worlds["boat"][:3, 3]]).note(worlds["boat"][:3, 3], "boat")
    outline = control(puppet, "L_foot").outline
    stage.path(frames.apply(mark, outline), "goal")
    _legs(stage, puppet, pose.world)
    stage.control(frames.apply(worlds["L_foot"], outline))
    if off >= SHOWN:
        stage.measure(
            mark[:3, 3], worlds["L_foot"][:3, 3], f"{off:.1f} cm" if view == "top" else ""
        )
    return stage


def _step_view(puppet, pose, foot_control, frame, apart):
    """The step from the side: the legs, the foot control's outline, and what lies between."""
    stage = half_stage("From the side", (-0.35, -0.1), (0.95, 1.0), size(puppet)).floor()
    _legs(stage, puppet, pose.world[frame])
    one = control(puppet, "L_foot")
    stage.control(frames.apply(foot_control[frame], one.outline), "foot control")
    foot_at, control_at = (
        frames.apply(where[frame], one.pivot) for where in (pose.controls["L_foot"], foot_control)
    )
    return measure_cm(stage, foot_at, control_at, apart, offset=40)


# Words


def _in_words(number):
    return ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine")[number]
