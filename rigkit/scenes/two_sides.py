"""Lesson 03's pictures: a joint's two axes, two mirrored legs, a joint that is no mirror image."""

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np

from rigkit import controls, placement, rotation
from rigkit import frames as fr
from rigkit._types import Floats
from rigkit.leg import LegRig
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.staging import (
    LEG,
    draw_leg,
    half_stage,
    leg_points,
    measure_or_zero,
    stiff,
    with_rest,
)
from rigkit.scenes.words import SHOWN
from rigkit.skeleton import SIDE_TAGS, Skeleton
from rigkit.stage import Row, row

KINDS = tuple(placement.MIRROR_KINDS)
VIEWS = {"front": "Front view", "side": "Side view"}
DOES = {
    "knee": ("flexes", "overextends"),
    "hip": ("turns in", "turns out"),
    "leg": ("swings out", "swings in"),
}


@lru_cache(maxsize=32)
def both_legs(puppet: Puppet, kind: str = "same bend", bend_deg: float = 0.0) -> Skeleton:
    """A pelvis and two legs at rest, the right one mirrored from the left: a `Skeleton`."""
    return placement.mirror_skeleton(_rig(puppet, bend_deg).skeleton, "L_", kind)


def left_leg(puppet: Puppet, bend_deg: float = 30.0) -> Floats:
    """Hip, knee and ankle of the left leg, standing with its knee bent; shape (3, 3)."""
    skeleton = both_legs(puppet, bend_deg=bend_deg)
    return skeleton.origins(skeleton.rest_world, ["L_" + name for name in LEG])


# The opening: one number, two ways of mirroring


def opening(puppet: Puppet) -> Row:
    """Both knees given +60° about x, in two rigs that look the same at rest."""
    views = []
    for kind, title in zip(
        KINDS, ("Same bend: +60° flexes both", "Reflection: +60°, and one goes ahead"), strict=True
    ):
        skeleton, world = _same_numbers(puppet, kind, 60.0)
        stage = _room("turntable", puppet, title, yaw_deg=50.0)
        views.append(_draw(stage, _measure(puppet, skeleton, world, kind)))
    return row(
        *views,
        title=(
            "Two rigs, the same number given to both knees: mirrored one way both shanks swing"
            " back, mirrored the other way the right shank swings forward"
        ),
    )


# A hinge axis, square to the leg's plane or not


def turned_hinge(puppet: Puppet, turned_deg: float) -> Skeleton:
    """Two straight legs whose left knee's frame was turned about its own bone; no joint moved."""
    skeleton = both_legs(puppet)
    knee = skeleton.rest_world[skeleton.index("L_knee"), :3, :3]
    return placement.reorient(
        skeleton, {"L_knee": knee @ rotation.matrix_about("y", np.radians(turned_deg))}
    )


def hinges(puppet: Puppet, turned_deg: float = 15.0, bend_deg: float = 60.0) -> Row:
    """A left knee bent about a good hinge axis, and about one that was turned about its bone."""
    size, views = puppet.hip_height, []
    for turn, title in (
        (0.0, "A good hinge: the ankle stays"),
        (turned_deg, f"{turned_deg:g}° off: the ankle leaves"),
    ):
        skeleton = turned_hinge(puppet, turn)
        world = skeleton.pose({"L_knee": rotation.matrix_about("x", np.radians(bend_deg))})
        hip, knee, ankle, _, _ = points = _points(puppet, skeleton, world, "L_")
        stage = half_stage(title, (-0.5, -0.06), (0.7, 1.06), size, "front").floor()
        stage.path([hip, hip * [1, 0, 1]], "soft")
        x_axis = skeleton.rest_world[skeleton.index("L_knee"), :3, 0]
        stage.arrow(knee, knee + 0.25 * size * x_axis, "hinge axis", place="below")
        draw_leg(stage, points, side="L", names=("hip", "", "ankle"))
        belongs, off = ankle * [0, 1, 1] + hip * [1, 0, 0], 100 * abs(ankle[0] - hip[0])
        views.append(measure_or_zero(stage, belongs, ankle, off, "left", offset=-34))
    return row(
        *views,
        title=(
            f"A left leg from the front, its knee bent by {bend_deg:g} degrees: about a good hinge "
            "axis the ankle stays in the leg's plane, about one turned off it the ankle leaves it"
        ),
    )


# One number for both sides


def same_numbers(
    puppet: Puppet, kind: str, knee_deg: float, turn_deg: float, swing_deg: float
) -> tuple[Row, str]:
    """Two legs whose joints were given the same numbers; what these did to the body in words."""
    skeleton, world = _same_numbers(puppet, kind, knee_deg, turn_deg, swing_deg)
    measured = _measure(puppet, skeleton, world, kind)
    views = [
        _draw(
            _draw_axes(_room(view, puppet, title), view, skeleton, 0.15 * puppet.hip_height),
            measured,
        )
        for view, title in VIEWS.items()
    ]
    left, right = anatomy(puppet, skeleton, world)
    words = f"Left: {_deeds(left, left)}. Right: {_deeds(right, left)}. " + (
        "The right leg is the mirror image of the left."
        if measured.miss_cm < SHOWN
        else (
            f"The right leg is up to <b>{measured.miss_cm:.1f} cm</b> from the mirror image of the"
            " left."
        )
    )
    return row(*views), words


def same_numbers_panel(puppet: Puppet) -> Panel:
    """One number for both knees, and for both hips about two of their axes."""
    return Panel(
        "The same number on both sides: do they do the same?",
        [
            Choice("kind", "Mirrored by", KINDS, "reflection"),
            Slider("knee_deg", "Both knees, about x", 0, 120, 1, 60, "°"),
            Slider("turn_deg", "Both hips, about y", -40, 40, 1, 0, "°"),
            Slider("swing_deg", "Both hips, about z", -30, 30, 1, 0, "°"),
        ],
        partial(same_numbers, puppet),
        {
            name: {"knee_deg": knee_deg, "turn_deg": turn_deg, "swing_deg": swing_deg}
            for name, knee_deg, turn_deg, swing_deg in (
                ("Bend the knees", 60, 0, 0),
                ("Turn the legs", 0, 30, 0),
                ("Swing the legs", 0, 0, 20),
                ("All at once", 60, 30, 20),
            )
        },
    )


def anatomy(puppet: Puppet, skeleton: Skeleton, world: Floats) -> Floats:
    """Meaning of a two-legged pose to the body, for each leg, degrees.

    The angles are knee flexion, hip rotation inward, and abduction.
    """
    rig = _rig(puppet, 0.0)
    in_its_frames = world @ fr.invert(skeleton.rest_world) @ rig.skeleton.rest_world
    angles = rig.angles(replace(_rest_pose(puppet), world=in_its_frames))
    return np.degrees(np.stack([angles.knee, angles.hip[:, 2], angles.hip[:, 1]], axis=-1))


# Mirrored across the wrong plane


def wrong_planes(puppet: Puppet) -> Row:
    """A left leg, its knee bent, and its mirror image across each of three planes."""
    skeleton, size, views = both_legs(puppet, bend_deg=40.0), puppet.hip_height, []
    left = _points(puppet, skeleton, skeleton.rest_world, "L_")
    titles = ("Across x: beside it", "Across y: under it", "Across z: in its place")
    for axis, title in zip(np.eye(3), titles, strict=True):
        low, high = (-0.55, -1.02), (0.55, 1.02)
        stage = half_stage(title, low, high, size, "turntable", width=280, yaw_deg=50.0).floor()
        for side, leg in (("R", fr.mirror_points(left, axis)), ("L", left)):
            draw_leg(stage, leg, side=side, thickness=18)
        views.append(stage)
    return row(
        *views,
        title=(
            "A left leg mirrored across x stands beside itself, across y hangs under the floor, "
            "across z stands in its own place with its knee behind"
        ),
    )


# The joint that is not a mirror image


@lru_cache(maxsize=32)
def off_by(
    puppet: Puppet,
    joint: str,
    forward_cm: float = 0.0,
    outward_cm: float = 0.0,
    turned_deg: float = 0.0,
) -> Skeleton:
    """Two legs of which a right joint was moved, or turned about its own y axis: a `Skeleton`."""
    skeleton = both_legs(puppet, bend_deg=10.0)
    frame = skeleton.rest_world[skeleton.index("R_" + joint)].copy()
    frame[:3, 3] += np.array([-outward_cm, 0.0, forward_cm]) / 100
    frame[:3, :3] = frame[:3, :3] @ rotation.matrix_about("y", np.radians(turned_deg))
    return with_rest(skeleton, {"R_" + joint: frame})


def mystery(puppet: Puppet) -> Skeleton:
    """Two legs of which one right joint is off."""
    return off_by(puppet, "ankle", forward_cm=-0.4, outward_cm=0.6)


def standing(puppet: Puppet, skeleton: Skeleton) -> Row:
    """A skeleton's two legs at rest, from the front and from the side, without a number to help."""
    legs = _measure(puppet, skeleton, skeleton.rest_world).legs
    views = [_draw_legs(_room(view, puppet, title), legs) for view, title in VIEWS.items()]
    return row(*views, title="Two standing legs that look alike, from the front and from the side")


def one_off(
    puppet: Puppet,
    joint: str,
    forward_cm: float,
    outward_cm: float,
    turned_deg: float,
    knee_deg: float,
) -> tuple[Row, str]:
    """Two legs, one joint of which is off.

    Words say how far each joint is from its partner's mirror image.
    """
    skeleton = off_by(puppet, joint, forward_cm, outward_cm, turned_deg)
    bent = rotation.matrix_about("x", np.radians(knee_deg))
    world = skeleton.pose({"L_knee": bent, "R_knee": bent})
    measured = _measure(puppet, skeleton, world)
    views = [
        _draw(_room(view, puppet, title, high=1.06), measured) for view, title in VIEWS.items()
    ]
    error = measured.error
    numbers = [
        f"{name.removeprefix('R_')} {_bold(cm, ' cm')}, {_bold(deg, '°')}"
        for name, cm, deg in zip(error.names, error.cm, error.deg, strict=True)
    ]
    return row(*views), f"From the mirror image of the left: {'; '.join(numbers)}."


def one_off_panel(puppet: Puppet) -> Panel:
    """A joint of the right leg to move and to turn, and a bend for both knees."""
    still = {"forward_cm": 0.0, "outward_cm": 0.0, "turned_deg": 0, "knee_deg": 0}
    return Panel(
        "Spoil one joint on the right: who notices, your eye or the number?",
        [
            Choice("joint", "Right joint", LEG, "knee"),
            Slider("forward_cm", "Moved forward", -4.0, 4.0, 0.1, 1.5, "cm"),
            Slider("outward_cm", "Moved outward", -4.0, 4.0, 0.1, 0.0, "cm"),
            Slider("turned_deg", "Turned about its y", -30, 30, 1, 0, "°"),
            Slider("knee_deg", "Then both knees bent", 0, 110, 1, 0, "°"),
        ],
        partial(one_off, puppet),
        {
            "True mirror image": still,
            "Knee moved 1.5 cm": ("knee", 1.5, 0, 0, 0),
            "Knee turned 12°": ("knee", 0, 0, 12, 0),
            "Knee turned, then bent": ("knee", 0, 0, 12, 90),
        },
    )


# Poses


@lru_cache(maxsize=32)
def _rig(puppet, bend_deg):
    return LegRig.from_puppet(puppet, bend_deg)


@lru_cache(maxsize=8)
def _rest_pose(puppet):
    return _rig(puppet, 0.0).pose()


def _same_numbers(puppet, kind, knee_deg, turn_deg=0.0, swing_deg=0.0):
    skeleton = both_legs(puppet, kind)
    hip = rotation.matrix_from_euler(np.radians([0.0, swing_deg, turn_deg]), controls.TURN_ORDER)
    knee = rotation.matrix_about("x", np.radians(knee_deg))
    return skeleton, skeleton.pose({"L_hip": hip, "R_hip": hip, "L_knee": knee, "R_knee": knee})


def _points(puppet, skeleton, world, tag):
    """Hip, knee, ankle, heel and toe of a leg; shape (5, 3)."""
    return stiff(leg_points(puppet, skeleton, world, tag))


@dataclass(frozen=True)
class _Measured:
    """A pose of two legs, measured once for all its views.

    Attributes
    ----------
    legs : dict of str to ndarray, shape (5, 3)
        Left, then right, which is nearer in the side view.
    image : ndarray, shape (5, 3)
        The left leg mirrored.
    error : placement.MirrorError
    found, wanted : ndarray, shape (3,)
        Where the farthest joint is, and where its partner's mirror image is.
    """

    legs: dict
    image: np.ndarray
    error: placement.MirrorError
    found: np.ndarray
    wanted: np.ndarray

    @property
    def miss_cm(self):
        return float(self.error.cm.max())


def _measure(puppet, skeleton, world, kind="same bend"):
    legs = {tag[0]: _points(puppet, skeleton, world, tag) for tag in SIDE_TAGS}
    error = placement.mirror_error(skeleton, world, kind)
    found, partner = skeleton.origins(world, [error.farthest, placement.swap_side(error.farthest)])
    return _Measured(legs, fr.mirror_points(legs["L"]), error, found, fr.mirror_points(partner))


# Drawing


def _room(view, puppet, title, high=1.15, **more):
    low, high = (-0.66, -0.07), (0.66, high)
    return half_stage(title, low, high, puppet.hip_height, view, **more).floor()


def _draw(stage, measured):
    """Both legs; the mirror image of the left one, dotted, and how far the right one is from it."""
    _draw_legs(stage, measured.legs)
    text = f"{measured.miss_cm:.1f} cm"
    if measured.miss_cm < SHOWN:
        return stage.note(measured.legs["R"][2], text, "goal")
    stage.ghost(measured.image[[0, 1, 2, 4]])
    across = {"front": [0, 1], "side": [2, 1]}.get(stage.view, [0, 1, 2])
    seen = np.linalg.norm((measured.found - measured.wanted)[across])
    # Where it is seen at its length; in one of the two views it is.
    if 100 * seen > 0.7 * measured.miss_cm:
        stage.measure(measured.found, measured.wanted, text)
    return stage


def _draw_legs(stage, legs):
    for side, leg in legs.items():
        draw_leg(stage, leg, side=side)
    return stage


def _draw_axes(stage, view, skeleton, length):
    """The hips' axes at rest, but for the one along the line of sight.

    One arrow stands where the sides' axes coincide.
    """
    letters, seen = {"front": ("xy", [0, 1]), "side": ("zy", [2, 1])}[view]
    ends: dict[tuple, tuple] = {}
    sides = defaultdict(list)
    for tag in SIDE_TAGS:
        frame = skeleton.rest_world[skeleton.index(tag + "hip")]
        for letter in letters:
            start, way = frame[:3, 3], frame[:3, rotation.AXES[letter]]
            arrow = (letter, *(start + length * way)[seen].round(6))
            ends.setdefault(arrow, (start, start + length * way))
            sides[arrow].append(tag[0])
    for arrow, (start, end) in ends.items():
        both = len(sides[arrow]) == 2
        stage.arrow(start, end, arrow[0] if both else f"{arrow[0]} {sides[arrow][0]}")
    return stage


# Words


def _deeds(angles, others):
    """Words for one leg's deeds; bold where the other leg does not do the same."""
    words = []
    for (part, ways), angle, other in zip(DOES.items(), angles, others, strict=True):
        if abs(angle) >= SHOWN:
            deed = f"{part} {ways[int(angle < 0)]} {abs(angle):.0f}°"
            words.append(deed if angle * other > 0 else f"<b>{deed}</b>")
    return ", ".join(words) or "stands"


def _bold(number, unit):
    text = f"{number:.1f}{unit}"
    return f"<b>{text}</b>" if number >= SHOWN else text
