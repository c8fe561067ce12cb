"""Lesson 04's pictures: a forward and an inverse leg under one pelvis, and what each costs to key.

The legs are straight at rest here, so that every angle is zero when the puppet stands.
"""

from functools import cache, partial
from typing import Any

import numpy as np

from rigkit import foot, gait, plots
from rigkit._types import Bools, Floats
from rigkit.controls import interpolate_keys
from rigkit.leg import LegPose, LegRig
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.staging import LEG, draw_leg, half_stage, leg_points, measure_cm, size
from rigkit.scenes.words import SHOWN, directed, number
from rigkit.skeleton import SIDE_TAGS
from rigkit.stage import Row, Stage, row

MIXED = {"L_": False, "R_": True}  # left forward, right inverse
FRAMES = 24  # in one second, one crouch, one stride
SWITCH = 12  # the frame in which the right leg changes its chain
SWUNG_DEG = 30.0  # how far its thigh rises after that
KICK_DEG = (-20.0, 60.0)
SPACINGS = (12, 6, 4, 2, 1)  # frames from key to key
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
    """A forward and an inverse leg under a pelvis lowered by 13 cm, from the side and the front."""
    side, front = _pelvis_views(puppet, _moved(puppet, 13.0, 0.0, 0.0))
    return row(
        side,
        front,
        title=(
            "The pelvis is 13 centimetres lower. The left leg, a forward chain, has sunk into "
            "the floor by as much; the right leg, an inverse chain, has bent its knee and stands"
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
        "Move the pelvis: which foot stays?",
        [
            Slider("lowered_cm", "Pelvis lowered", 0.0, 25.0, 0.5, 13.0, "cm"),
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
    )


# The compensation by hand


def by_hand(
    puppet: Puppet, lowered_cm: float, hip_deg: float, knee_deg: float, ankle_deg: float
) -> tuple[Row, str]:
    """A forward leg turned by hand beside an inverse one, both under a lower pelvis.

    Words say how near it is.
    """
    rig = standing(puppet)
    turns = (-hip_deg, knee_deg, -ankle_deg)  # about +X flexion of hip and ankle is negative
    pose = rig.pose(
        {"pelvis": {"shift_y": -lowered_cm / 100}}
        | {
            f"L_{joint}_turn": {"turn_x": np.radians(turn)}
            for joint, turn in zip(LEG, turns, strict=True)
        },
        MIXED,
    )
    miss, tilt = slip_cm(rig, pose)[0], hip_deg - knee_deg + ankle_deg
    rest, now, solved = (
        _joints(puppet, world, tag)
        for world, tag in ((rig.skeleton.rest_world, "L_"), (pose.world, "L_"), (pose.world, "R_"))
    )
    forward, inverse = (
        _room(puppet, title, 0.18).ghost(rest[:3])
        for title in ("Forward: three turns by hand", "Inverse: no turn by hand")
    )
    draw_leg(forward, now, side="L", names=LEG)
    forward.goal(rest[2], "" if miss > 0.5 else f"miss {miss:.1f} cm")
    if miss > 0.5:
        forward.measure(rest[2], now[2], f"{miss:.1f} cm", offset=-70)
    if abs(tilt) > 0.5:
        forward.note(now[-1], _tilted(tilt), "miss")
    draw_leg(inverse, solved, "inverse", "R", names=LEG)
    inverse.goal(rest[2], f"miss {100 * pose.miss[1]:.1f} cm")
    done = miss <= 0.5 and abs(tilt) <= 1
    keyed = np.count_nonzero([hip_deg, knee_deg, ankle_deg])
    words = (
        f"{'<b>The foot is back.</b> ' if done else ''}Forward: the ankle misses its place by"
        f" <b>{miss:.1f} cm</b>, the sole is <b>{_tilted(tilt)}</b>; {keyed} of 3 angles set."
        f" Inverse: miss {100 * pose.miss[1]:.1f} cm, 0 of 3 angles set."
    )
    return row(forward, inverse), words


def hand_panel(puppet: Puppet, lowered_cm: float = 13.0) -> Panel:
    """Three joints to turn until the foot is back under a pelvis that was lowered."""
    return Panel(
        "Bring the foot back by hand: hip, knee, ankle",
        [
            Slider("lowered_cm", "Pelvis lowered", 0.0, 18.0, 0.1, lowered_cm, "cm"),
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
    """Height of the forward foot of `crouches` above its place in every frame."""
    ankles = crouches(puppet)[every][:, 0, 2, 1]
    return plots.curves(
        np.arange(FRAMES + 1),
        {"left ankle": 100 * (ankles - ankles[0])},
        "frame",
        "left ankle above its place (cm)",
        f"Keyed every {every} frames" if every > 1 else "Keyed every frame",
        "The height of the forward leg's ankle against the frame: zero at every key, and below"
        f" zero between keys, by up to {100 * (ankles[0] - ankles.min()):.1f} centimetres.",
        kinds={"left ankle": "forward"},
        ylim=(-3.6, 0.4),
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
    stage = _room(puppet, "L forward, R inverse", 0.13)
    for leg, side, kind in zip(joints[frame], "LR", ("forward", "inverse"), strict=True):
        draw_leg(stage, leg, kind, side)
    measure_cm(stage, joints[0, 0, 2], joints[frame, 0, 2], low, offset=-80)
    words = (
        f"Frame {frame} of {FRAMES}, {'keyed' if frame % every == 0 else 'between keys'}. Left"
        f" foot, forward: <b>{low:.1f} cm</b> from its place. Right foot, inverse: <b>{kept:.1f}"
        " cm</b>."
    )
    return row(stage, sinking_plot(puppet, every).at(frame)), words


def crouch_panel(puppet: Puppet) -> Panel:
    """A crouch to step through or play, its forward leg keyed in some frames only."""
    for every in SPACINGS:
        sinking_plot(puppet, every)
    return Panel(
        "Play the crouch: where is the foot between its keys?",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, 6),
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
    )


# A walk


@cache
def walks(puppet: Puppet) -> dict[str, tuple[Floats, Floats]]:
    """Forward legs by name of how they were keyed, and "planted"; and how far each foot slid.

    Joints have shape (49, 2, 6, 3), two strides. Slides count from when a foot came down, cm, shape
    (49, 2).
    """
    rig = standing(puppet)
    published = gait.walk(puppet, frames=FRAMES, cycles=2)
    planted = gait.plant(published)
    values = gait.control_values(planted, rig)
    forward = forward_values(rig, rig.pose(values))
    found = {"as published": published.points, "planted": planted.points}
    for name, every in SHARES.items():
        if every:
            keyed = interpolate_keys(forward, range(0, 2 * FRAMES + 1, every))
            pose = rig.pose(keyed | {"pelvis": values["pelvis"]}, inverse=False)
            found[name] = _both(puppet, pose.world)
    return {name: (points, slid_cm(points, published.stance)) for name, points in found.items()}


def walking(puppet: Puppet, frame: int, forward: str) -> tuple[Row, str]:
    """One frame of the walk by forward and by inverse legs.

    Words say how far their feet have slid.
    """
    now = frame + FRAMES
    points, slid = walks(puppet)[forward]
    title = (
        "Forward: angles as published" if SHARES[forward] is None else f"Forward: keyed {forward}"
    )
    planted_points, planted_slid = walks(puppet)["planted"]
    views = [
        walk_view(puppet, title, "forward", points, slid, now),
        walk_view(puppet, "Inverse: feet planted", "inverse", planted_points, planted_slid, now),
    ]
    down = [side for side in (0, 1) if np.isfinite(slid[now, side])]
    said = " and ".join(
        f"the {('left', 'right')[side]} foot <b>{slid[now, side]:.1f} cm</b>" for side in down
    )
    planted = max(planted_slid[now, side] for side in down)
    words = (
        f"Frame {frame} of {FRAMES}. Slid since it came down: forward, {said}"
        f" ({np.nanmax(slid):.1f} cm when it leaves the floor); inverse, <b>{planted:.1f} cm</b>."
    )
    return row(*views), words


def walk_panel(puppet: Puppet) -> Panel:
    """A stride to step through, by forward and by inverse legs."""
    walks(puppet)
    return Panel(
        "Step through one stride: which foot stays where it came down?",
        [
            # The last frame is the first one's pose again.
            Slider("frame", "Frame", 0, FRAMES - 1, 1, 8),
            Choice("forward", "Forward legs", tuple(SHARES), "as published"),
        ],
        partial(walking, puppet),
        {
            "Left foot comes down": (0, "as published"),
            "Flat on the floor": (8, "as published"),
            "About to leave": (14, "as published"),
            "Keyed every 2nd frame": (14, "every 2nd"),
        },
        play="frame",
    )


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
        stage = half_stage(title, low, high).floor()
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


def jobs(puppet: Puppet) -> dict[str, tuple[float, float]]:
    """Errors of a foot, in cm, when a forward and when an inverse leg does a job.

    They are a mapping of job to both.

    A crouch keyed in three poses; one step of the walk; a kick keyed in two poses; and a puppet
    lifted by 10 cm and carried 30 cm forward whose legs dangle, where only the pelvis is keyed.
    """
    rig, down = standing(puppet), crouch(13)
    slid = {name: np.nanmax(walks(puppet)[name][1]) for name in ("as published", "planted")}
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
            "Both curves are level until the right leg changes its chain in frame 12. Matched, the "
            "ankle then rises smoothly; forgotten, it drops through the floor in a single frame."
        ),
    )


def switching(puppet: Puppet, frame: int, match: str) -> tuple[Row, str]:
    """One frame of the switch, and how far the leg jumped in words."""
    joints, bent = switches(puppet)[match]
    kind = "forward" if frame >= SWITCH else "inverse"
    stage = _room(puppet, f"Right leg: {kind}", 0.13)
    for leg, side, chain in zip(joints[frame], "LR", ("inverse", kind), strict=True):
        draw_leg(stage, leg, chain, side)
    step = 100 * np.linalg.norm(joints[frame, 1, 2] - joints[max(frame - 1, 0), 1, 2])
    turned = abs(bent[frame] - bent[max(frame - 1, 0)])
    words = (
        f"Frame {frame} of {FRAMES}, match {'made' if match == 'matched' else 'forgotten'}. Since"
        f" the frame before, the right ankle moved <b>{step:.1f} cm</b> and the right knee turned"
        f" <b>{turned:.1f}°</b>."
    )
    return row(stage, heights_plot(puppet).at(frame)), words


def switch_panel(puppet: Puppet) -> Panel:
    """A right leg that changes from inverse to forward in the middle of a movement."""
    return Panel(
        "Break it: change the right leg's chain and forget to match",
        [
            Slider("frame", "Frame", 0, FRAMES, 1, SWITCH),
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
    )


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
    moved, slid = gait.foot_slide_cm(points[:, :, 3:], stance), np.full(stance.shape, np.nan)
    slid[0] = np.where(stance[0], 0.0, np.nan)
    for frame in range(1, len(slid)):
        slid[frame] = np.where(
            stance[frame], np.nan_to_num(slid[frame - 1]) * stance[frame - 1] + moved[frame], np.nan
        )
    return slid


def _room(puppet, title, deepest=0.25, view="side"):
    """A view of the standing puppet that also holds its foot `deepest` metres under the floor."""
    tall = size(puppet)
    low, high = (-0.62 * tall, -0.02 - deepest), (0.62 * tall, 0.95 * tall)
    return half_stage(title, low, high, view=view).floor()


def _pelvis_views(puppet, pose):
    """Both legs from the side and from the front, the left one forward, the right one inverse."""
    rig, views = standing(puppet), []
    for view, seen in (("side", [2, 1]), ("front", [0, 1])):
        stage = _room(puppet, f"From the {view}", view=view)
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
    puppet: Puppet, title: str, kind: str, points: Floats, slid: Floats, frame: int
) -> Stage:
    """A view that moves along with the pelvis, over a floor with marks."""
    tall, middle, sole = size(puppet), points[frame, 0, 0, 2], foot.of_puppet(puppet)
    low, high = middle - 0.62 * tall, middle + 0.62 * tall
    stage = half_stage(title, (low, -0.22 * tall), (high, 0.97 * tall)).floor()
    for mark in np.arange(np.ceil(low * 10), np.floor(high * 10) + 1) / 10:
        stage.path([(mark, 0.0), (mark, -0.02)], "soft")
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
