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
from rigkit import frames, plots, rotation
from rigkit._types import ArrayLike, ControlValues, Floats
from rigkit.asking import Check, Guess, Number
from rigkit.leg import LegPose, LegRig
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import Puppet
from rigkit.scenes.staging import (
    draw_leg,
    half_stage,
    leg_points,
    measure_cm,
    measure_or_zero,
    moment,
    size,
    sole_of,
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
HULL = (0.22, 0.52)  # from the boat's middle to its side and to its bow
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
        _rig_view(
            puppet,
            title,
            rig(puppet).pose(values),
            not values,
            legend=() if values else ("inverse",),
        )
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
    sole = sole_of(puppet)
    places = (
        (0.0, puppet.ankle_height, 0.0),
        (0.0, 0.0, 0.0),
        (0.0, 0.0, (sole.heel[0] + sole.toe[0]) / 2),
    )
    return dict(zip(PIVOTS, map(np.array, places), strict=True))


@cache
def pivoting(puppet: Puppet, pivot: str) -> LegRig:
    """The puppet's rig whose left foot control turns about one of `PIVOTS`."""
    return rig(puppet).with_controls(_pivoting(puppet, pivot))


@cache
def _pivoting(puppet, pivot):
    return replace(control(puppet, "L_foot"), pivot=pivots(puppet)[pivot])


def turned_foot(
    puppet: Puppet,
    pivot: str,
    toes_up_deg: float | Floats = 0.0,
    turned_out_deg: float | Floats = 0.0,
) -> LegPose:
    """The pose of a lifted left foot whose control is turned about one of `PIVOTS`."""
    turned = _turned_values(toes_up_deg, turned_out_deg)
    return pivoting(puppet, pivot).pose(LIFTED | {"L_foot": turned})


def _turned_values(toes_up_deg, turned_out_deg):
    turn = {"turn_x": -np.radians(toes_up_deg), "turn_y": np.radians(turned_out_deg)}
    return LIFTED["L_foot"] | turn


@cache
def _lifted(puppet, pivot):
    """The lifted foot that is not turned."""
    return turned_foot(puppet, pivot)


def ankle_moved_cm(
    puppet: Puppet, pivot: str, toes_up_deg: ArrayLike = 0.0, turned_out_deg: ArrayLike = 0.0
) -> Floats:
    """The distance that the turn of `turned_foot` moves the ankle, cm."""
    turns = np.asarray(toes_up_deg), np.asarray(turned_out_deg)
    return _ankle_cm(puppet, pivot, turned_foot(puppet, pivot, *turns))


def _ankle_cm(puppet, pivot, after):
    """The distance of a pose's ankle from that of the foot that is not turned, cm."""
    before = _joint(puppet, _lifted(puppet, pivot), "L_ankle")
    return 100 * np.linalg.norm(_joint(puppet, after, "L_ankle") - before, axis=-1)


def turned(
    puppet: Puppet, pivot: str, toes_up_deg: float, turned_out_deg: float
) -> tuple[Row, str]:
    """A turned foot from the side and from above, and how far its ankle moved in words."""
    before = _lifted(puppet, pivot)
    after = turned_foot(puppet, pivot, toes_up_deg, turned_out_deg)
    views = [
        _foot_view(puppet, view, title, before, after, pivot)
        for view, title in (("side", "From the side"), ("top", "From above: the toes point down"))
    ]
    moved = float(_ankle_cm(puppet, pivot, after))
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
            Slider("toes_up_deg", "Toes up", -40.0, 40.0, 1.0, 0.0, "°"),
            Slider("turned_out_deg", "Turned out", -45.0, 45.0, 1.0, 0.0, "°"),
        ],
        partial(turned, puppet),
        {
            "Toes up, floor": (PIVOTS[1], 30, 0),
            "Toes up, ankle": (PIVOTS[0], 30, 0),
            "Turned out, floor": (PIVOTS[1], 0, 45),
            "Turned out, middle": (PIVOTS[2], 0, 45),
        },
        grips=[
            Grip(name, partial(_toe, puppet), (key,), views=(view,), batched=True)
            for view, (name, key) in enumerate(
                (("Toes, up or down", "toes_up_deg"), ("Toes, out or in", "turned_out_deg"))
            )
        ],
    )


def pivot_guess(puppet: Puppet) -> Panel:
    """The foot control to turn, after a guess at how far the ankle goes."""
    height = 100 * puppet.ankle_height
    return pivot_panel(puppet).after(
        Guess(
            "08/floor",
            (
                f"The ankle is {height:.1f} cm above the sole, and the control's pivot is right"
                " below it at the sole. The control turns by 30°, toes up. By how many centimetres"
                " does the ankle move?"
            ),
            Number("cm", 0, 20, 0.5),
            partial(_ankle_moved, puppet),
            then="Pull the toes up by 30°, or press <em>Toes up, floor</em>.",
        )
    )


def _ankle_moved(puppet, pivot, toes_up_deg, turned_out_deg):
    """The guess's outcome: tells with the toes 30° up about the floor."""
    if (pivot, toes_up_deg, turned_out_deg) != (PIVOTS[1], 30, 0):
        return None
    moved = float(ankle_moved_cm(puppet, pivot, toes_up_deg))
    return moved, f"It moved by <b>{moved:.1f} cm</b>, on a circle around the pivot."


def chord_check(puppet: Puppet, turn_deg: float = 50.0) -> Panel:
    """The way of an ankle about a pivot on the floor, by another angle."""
    height, half = 100 * puppet.ankle_height, np.radians(turn_deg) / 2
    return quick_check(
        Check(
            "08/chord",
            (
                f"{puppet.name}'s ankle is {height:.1f} cm above the floor, and the foot control"
                f" has its pivot on the floor right below. It turns by {turn_deg:.0f}°, toes up. By"
                " how many centimetres does the ankle move, straight from its old place to its new"
                " one?"
            ),
            Number("cm", 0, 40, 0.1),
            float(ankle_moved_cm(puppet, PIVOTS[1], turn_deg)),
            f"2 × {height:.1f} cm × sin {turn_deg / 2:.0f}°.",
            {
                2 * height * half: (
                    "That is the way along the circle. Between the two places it is shorter."
                ),
                height * np.sin(2 * half): (
                    "The sine of the whole turn says how far the ankle goes back, but it also comes"
                    " down. Take twice the sine of half the turn."
                ),
                2 * height * np.sin(2 * half): "The sine is to be taken of half the turn.",
                2 * height * np.cos(half): "Cosine for sine: a turn of 0° would move it most.",
                2 * height * abs(np.sin(turn_deg / 2)): "The sine was taken of radians.",
                0.0: (
                    "It would stay in a turn about the upright axis, or with the pivot at the"
                    " ankle. Toes up, about a pivot on the floor, it moves."
                ),
            },
            (
                "The ankle, its old place and the pivot make a triangle with two equal sides: twice"
                " the radius times the sine of half the turn."
            ),
        )
    )


def outline_check(puppet: Puppet) -> Panel:
    """An outline that is moved while its control turns."""
    left = control(puppet, "L_foot")
    moved = replace(left, outline=left.outline + [0.1, 0.0, 0.0])
    step = {"L_foot": {"turn_x": np.radians(-30)}}
    was, now = (rig(puppet).with_controls(one).pose(step).world for one in (left, moved))
    off = 100 * float(np.abs(now - was).max())
    stays, along, turned = "nothing else", "the ankle, by 10 cm", "the point the foot turns about"
    return quick_check(
        Check(
            "08/outline",
            (
                f"Somebody moves the outline of {puppet.name}'s foot control 10 cm aside, to get"
                " hold of it more easily. What moves with it?"
            ),
            (along, turned, stays),
            stays if off < SHOWN else along,
            f"The joints moved by {off:.1f} cm: nothing is computed from an outline.",
            {
                along: "It would move with the control. Only its outline was moved.",
                turned: "That is the pivot, a point of its own. The outline is there to be seen.",
            },
        )
    )


def _toe(puppet, pivot, **turn):
    """The toe in the turned foot control, which follows nothing: it is found without a leg."""
    one, sole = _pivoting(puppet, pivot), sole_of(puppet)
    world = ct.pose([one], {"L_foot": _turned_values(**turn)})["L_foot"]
    return frames.apply(world, [0.0, *sole.toe[::-1]])


def zero_check(puppet: Puppet) -> Panel:
    """Ask how far to the side a turned control goes that reads a way ahead."""
    turned = frames.frame(rotation.matrix_about("y", np.radians(30)))
    one = ct.Control("L_foot", turned)
    moved = 100 * ct.pose([one], {"L_foot": {"shift_z": 0.4}})["L_foot"][:3, 3]
    return quick_check(
        Check(
            "08/zero",
            (
                f"{puppet.name} stands with the left foot turned out by 30°, and so does its"
                " control, which reads zero. Now its shift ahead reads 40 cm. How many"
                " centimetres to the left has the foot gone?"
            ),
            Number("cm", -60, 60, 0.5),
            float(moved[0]),
            f"40 cm × sin 30°. It also went 40 cm × cos 30° = {moved[2]:.1f} cm ahead.",
            {
                0.0: (
                    "It would be so if values counted along the world's axes. They count along the"
                    " control's own, and those are turned out."
                ),
                float(moved[2]): "Cosine for sine: so far it went ahead.",
                40.0: "So long is its whole way, which leads ahead and to the left.",
                -float(moved[0]): "The size is right. A left foot that is turned out points left.",
                40 * float(np.sin(30)): "The sine was taken of radians.",
            },
            "Draw the foot from above, and 40 cm along the way it points.",
        )
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
    boat, left = ct.with_offsets((boat, replace(left, follows=(follow,))))
    return boat, left


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
    off = _apart_cm(worlds["L_foot"], mark)
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
        f"Gap {gap}: the foot control is <b>{off:.1f} cm</b> from its mark and turned"
        f" <b>{aside:.1f}°</b> against it.{short}"
    )
    return row(*views), words


def boat_panel(puppet: Puppet) -> Panel:
    """A boat to move under a foot that follows it."""
    return Panel(
        "Move the boat: does the foot stay on its mark?",
        [
            Choice("gap", "The gap is", GAPS, GAPS[2]),
            Slider("left_cm", "Boat drifts off", 0.0, 20.0, 1.0, 0.0, "cm"),
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
        grips=[
            Grip("Boat", partial(_on_boat, puppet, 0.0), ("left_cm", "ahead_cm"), batched=True),
            Grip("Bow", partial(_on_boat, puppet, HULL[1]), ("turned_deg",), batched=True),
        ],
    )


ON_ITS_MARK = ("along the world's axes", "in the boat's own axes", "either way")


def boat_guess(puppet: Puppet) -> Panel:
    """The boat to move, after a guess at how a gap is kept."""
    return boat_panel(puppet).after(
        Guess(
            "08/gap",
            (
                "Her foot follows the boat at a distance, the gap. The boat drifts, and then it"
                " turns. How must the gap be kept, so that the foot stays on its mark?"
            ),
            ON_ITS_MARK,
            partial(_off_mark, puppet),
            then="Turn the boat by its bow, then set the gap to <em>kept</em>: in its own axes.",
        )
    )


def _off_mark(puppet, gap, left_cm, ahead_cm, turned_deg):
    """The guess's outcome: tells once the boat has turned."""
    if gap == GAPS[1] or abs(turned_deg) < 10:
        return None
    moved = (left_cm, ahead_cm, turned_deg)
    world, kept = (_mark_cm(puppet, way, *moved) for way in (GAPS[2], GAPS[0]))
    still = [way for way, cm in zip(ON_ITS_MARK, (world, kept), strict=False) if cm < SHOWN]
    return (ON_ITS_MARK[2] if len(still) == 2 else still[0]), (
        f"By the world's axes the foot is <b>{world:.1f} cm</b> off, by the boat's own"
        f" <b>{kept:.1f} cm</b>."
    )


def _mark_cm(puppet, gap, *moved):
    """Tell how far the foot control is from its mark on the deck, cm."""
    boat, left = aboard(puppet, gap)
    worlds = ct.pose((boat, left), boat_values(*moved))
    mark = worlds["boat"] @ frames.relative(boat.rest, left.rest)
    return _apart_cm(worlds["L_foot"], mark)


def _apart_cm(one, other):
    """The distance between two frames' origins, cm."""
    return 100 * float(np.linalg.norm(one[:3, 3] - other[:3, 3]))


def follow_check() -> Panel:
    """A follower ahead of a leader that turns on the spot."""
    leader = ct.Control("leader", np.eye(4))
    follower = ct.Control("follower", frames.frame(origin=[0.0, 0.0, 0.4]), parent="leader")
    turn = {"leader": {"turn_y": np.radians(90)}}
    now = ct.pose([leader, follower], turn)["follower"]
    places = {
        "40 cm ahead of it, as before": (0.0, 0.0, 0.4),
        "40 cm to its old left": (0.4, 0.0, 0.0),
        "40 cm to its old right": (-0.4, 0.0, 0.0),
        "right on it": (0.0, 0.0, 0.0),
    }
    ahead, _, right, on = places
    return quick_check(
        Check(
            "08/follow",
            (
                "A lantern follows a cart, 40 cm ahead of it, its gap kept. The cart turns on the"
                " spot by 90° to the left. Where is the lantern, seen from the cart's middle and in"
                " the directions of before the turn?"
            ),
            tuple(places),
            min(places, key=lambda place: float(np.linalg.norm(now[:3, 3] - places[place]))),
            "The cart sees it where it always saw it: ahead. And ahead is now to the left.",
            {
                ahead: "There it is with a gap along the world's axes, which do not turn.",
                right: "The cart's front went to the left, and took the lantern with it.",
                on: "There it is with the gap lost.",
            },
        )
    )


def _on_boat(puppet, ahead, gap, **moved):
    """A place on the boat's middle line."""
    boat, _ = aboard(puppet, gap)
    world = ct.pose([boat], boat_values(**moved))["boat"]
    return frames.apply(world, [0.0, 0.0, ahead])


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
    return _crouched(np.arange(FRAMES + 1), lowered_cm, turned_deg)


def _crouched(frame, lowered_cm, turned_deg):
    """Control values of the crouch in a frame."""
    share = 1 - np.abs(2 * frame / FRAMES - 1)
    return {
        "pelvis": {"shift_y": -lowered_cm / 100 * share, "turn_y": np.radians(turned_deg) * share}
    }


def moved_cm(puppet: Puppet, feet: str, values: ControlValues) -> dict[str, Floats]:
    """Distance of each of `TOUCHED` from its rest, cm: a dict of name to array."""
    return _moved_cm(puppet, hanging(puppet, feet).pose(values).controls)


def _moved_cm(puppet, posed):
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
    values = _crouched(frame, lowered_cm, turned_deg)
    views, said = [], []
    for feet in HANGING:
        pose = hanging(puppet, feet).pose(values)
        moved = _moved_cm(puppet, pose.controls)
        views.append(
            _rig_view(
                puppet,
                feet,
                pose,
                ghosts=True,
                measured=("L_foot", moved["L_foot"]),
            )
        )
        went = [name for name in TOUCHED[1:] if moved[name] >= SHOWN]
        said.append(
            f"{feet}: <b>{', '.join(went) or 'nothing'}</b> moved with it, the left foot by "
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
            Slider("lowered_cm", "Pelvis lowered", 0.0, 20.0, 1.0, 0.0, "cm"),
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
        grips=[
            Grip(
                "Pelvis control",
                partial(_pelvis_front, puppet),
                ("lowered_cm", "turned_deg"),
                batched=True,
            )
        ],
    )


WENT = ("the feet and the knees", "only the knees", "none of them")


def pelvis_guess(puppet: Puppet) -> Panel:
    """The pelvis to move, after a guess at which controls go with it."""
    return pelvis_panel(puppet).after(
        Guess(
            "08/carried",
            (
                "On the left the feet follow nothing; on the right they hang from the pelvis. The"
                " pelvis goes down. Which of the four other controls move on the <em>left</em>?"
            ),
            WENT,
            partial(_went, puppet),
            then="Pull the ring around the pelvis down, and read both sides.",
        )
    )


def _went(puppet, frame, lowered_cm, turned_deg):
    """The guess's outcome: tells while the pelvis is down."""
    values = _crouched(frame, lowered_cm, turned_deg)
    stay, hang = (moved_cm(puppet, feet, values) for feet in HANGING)
    if stay["pelvis"] < 5:
        return None
    feet, knees = (max(stay[tag + part] for tag in SIDE_TAGS) for part in ("foot", "knee"))
    right = WENT[0] if feet >= SHOWN else WENT[1] if knees >= SHOWN else WENT[2]
    return right, (
        f"On the left the knee controls went <b>{knees:.1f} cm</b>, the feet <b>{feet:.1f} cm</b>."
        f" On the right the feet went {max(hang[tag + 'foot'] for tag in SIDE_TAGS):.1f} cm."
    )


def _pelvis_front(puppet, frame, **moved):
    """The foremost point of the pelvis control; None where neither number moves it."""
    if frame in (0, FRAMES):
        return None
    one = control(puppet, "pelvis")
    world = ct.pose([one], _crouched(frame, **moved))["pelvis"]
    return frames.apply(world, max(one.outline, key=lambda point: point[2]))


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
            Slider("step_cm", "Step of the control", 20.0, 70.0, 1.0, KEYED_CM, "cm"),
        ],
        partial(stepping, puppet),
        {
            "As it was keyed": (FRAMES, 50, KEYED_CM),
            "60 cm, half and half": (FRAMES, 50, 60),
            "60 cm, keys win": (FRAMES, 0, 60),
            "60 cm, follow wins": (FRAMES, 100, 60),
        },
        play="frame",
        grips=[
            Grip("Foot control", partial(_control_front, puppet), ("step_cm",), views=(0,)),
            Grip("Foot", partial(_following_ankle, puppet), ("share_percent",), views=(0,)),
            moment("frame", 6.0),
        ],
    )


def goal_guess(puppet: Puppet) -> Panel:
    """The keyed goal, after a guess at where the foot lands when two lead it."""
    return goal_panel(puppet).after(
        Guess(
            "08/goal",
            (
                "The goal was keyed for a step of 40 cm. The foot control now makes a step of 60"
                " cm, and the goal follows it by half. How far ahead does the foot land, in"
                " centimetres?"
            ),
            Number("cm", 0, 100, 1.0),
            partial(_landed, puppet),
            then="Pull the foot control 60 cm ahead, or press <em>60 cm, half and half</em>.",
        )
    )


def _landed(puppet, frame, share_percent, step_cm):
    """The guess's outcome: tells in the last frame of a step of 60 cm, shared by half."""
    if (frame, share_percent, step_cm) != (FRAMES, 50, 60):
        return None
    pose, _ = stepped(puppet, share_percent / 100, step_cm)
    gone = 100 * float(pose.controls["L_foot"][-1, 2, 3])
    return gone, f"It landed at <b>{gone:.1f} cm</b>, where nobody put it."


def _control_front(puppet, frame, step_cm, **_):
    """The middle of the foot control's front edge; None in the first frame, which no step moves."""
    if not frame:
        return None
    front = control(puppet, "L_foot").outline[:, 2].max()
    return _on_foot_control(puppet, frame, step_cm, [0.0, 0.0, front])


def _following_ankle(puppet, frame, share_percent, step_cm):
    """The ankle between its keys and the foot control; None where both are in one place."""
    if not frame or step_cm == KEYED_CM:
        return None
    pivot = control(puppet, "L_foot").pivot
    keyed, led = (_on_foot_control(puppet, frame, cm, pivot) for cm in (KEYED_CM, step_cm))
    return keyed + share_percent / 100 * (led - keyed)


def _on_foot_control(puppet, frame, step_cm, point):
    """A point of the foot control in a frame of its step."""
    one = control(puppet, "L_foot")
    values = {channel: value[frame] for channel, value in step_values(step_cm).items()}
    return frames.apply(ct.pose([one], {"L_foot": values})["L_foot"], point)


# Views


def _joint(puppet, pose, name):
    return pose.world[..., rig(puppet).skeleton.index(name), :3, 3]


def _legs(stage, puppet, world):
    """Both legs with their feet, from the world frames of one pose."""
    for tag in SIDE_TAGS[::-1]:
        points = stiff(leg_points(puppet, rig(puppet).skeleton, world, tag))
        draw_leg(stage, points, "inverse", tag[0], thickness=18)


def _rig_view(puppet, title, pose, names=False, ghosts=False, measured=None, legend=()):
    """Both legs and the outlines of their controls, seen a little from above."""
    corners = (-0.98, -0.38), (0.53, 0.98)
    stage = half_stage(title, *corners, size(puppet), **OBLIQUE, legend=legend).floor()
    stage.desc = (
        "Both legs and the outlines of their five controls, from the front left and a little above."
    )
    outlines = {
        name: frames.apply(pose.controls[name], control(puppet, name).outline) for name in TOUCHED
    }
    for ghost in _outlines_at_rest(puppet) if ghosts else ():
        stage.ghost(ghost)
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


@cache
def _outlines_at_rest(puppet):
    return [
        frames.apply(control(puppet, name).rest, control(puppet, name).outline) for name in TOUCHED
    ]


def _foot_view(puppet, view, title, before, after, pivot):
    """A lifted foot, close: as it was, dotted, and as it is now, with outline and pivot."""
    low, high = ((-0.24, -0.03), (0.36, 0.51)) if view == "side" else ((-0.19, -0.36), (0.41, 0.18))
    stage = half_stage(title, low, high, view=view).floor()
    one, sole = control(puppet, "L_foot"), sole_of(puppet)
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
    seen = np.linalg.norm((ankle - ankle_was)[[2, 1] if view == "side" else [0, 2]])
    moved = np.linalg.norm(ankle - ankle_was)  # both views say the one number, also seen aslant
    return measure_cm(stage, ankle_was, ankle, 100 * moved * (100 * seen >= SHOWN), offset=-34)


def _hull():
    """The outline of a small boat, its bow ahead."""
    around = np.linspace(0, 2 * np.pi, 33)
    across, along = HULL[0] * np.cos(around), HULL[1] * np.sin(around)
    return np.stack(
        [across * (1 - 0.35 * np.clip(np.sin(around), 0, 1) ** 2), 0 * around, along], axis=-1
    )


def _boat_view(puppet, view, title, boat, worlds, pose, mark, off):
    """The boat beside the quay, the legs above both, and the foot's mark on the deck."""
    if view == "top":
        stage = half_stage(title, (-0.48, -1.03), (0.9, 0.265), view=view)
    else:
        stage = half_stage(title, (-0.70, -0.462), (0.62, 0.775), **OBLIQUE)
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
