"""Lesson 03's pictures: a joint's two axes, two mirrored legs, a joint that is no mirror image."""

from collections import defaultdict
from dataclasses import dataclass, replace
from functools import lru_cache, partial

import numpy as np

from rigkit import controls, placement, rotation
from rigkit import frames as fr
from rigkit._types import Floats
from rigkit.asking import Check, Guess
from rigkit.leg import LegRig
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import PUPPETS, Puppet
from rigkit.scenes.staging import (
    LEG,
    draw_leg,
    half_stage,
    leg_points,
    measure_or_zero,
    stiff,
    with_rest,
)
from rigkit.scenes.words import SHOWN, capital, number
from rigkit.skeleton import SIDE_TAGS, Skeleton
from rigkit.stage import Row, row

KINDS = tuple(placement.MIRROR_KINDS)
VIEWS = {"front": "Front view", "side": "Side view"}
POSE_DEG = (-30, 20, 25)  # of a left hip about x, y and z: forward, turned out, swung out
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


# The opening: three ways of mirroring, at rest


def opening(puppet: Puppet) -> Row:
    """Three rigs at rest that differ in the axes of the right leg only."""
    return row(
        *(_axes_at_rest(puppet, kind) for kind in KINDS),
        title=(
            "Three rigs at rest from the front: they look alike, and only the axes at the right"
            " hip point three different ways"
        ),
    )


def _axes_at_rest(puppet, kind):
    """One kind of rig at rest, with the axes of both hips."""
    skeleton = both_legs(puppet, kind)
    stage = _room("front", puppet, capital(kind), high=1.25, width=280)
    _draw_legs(stage, _measure(puppet, skeleton, skeleton.rest_world, kind).legs)
    return _draw_axes(stage, "front", skeleton, 0.14 * puppet.hip_height)


def _from_ahead(puppet, kind, knee_deg, *hip_deg):
    """One kind of rig after both sides were given the same numbers."""
    skeleton, world = _same_numbers(puppet, kind, knee_deg, *hip_deg)
    stage = _room("turntable", puppet, capital(kind), width=280, yaw_deg=-50.0)
    return _draw(stage, _measure(puppet, skeleton, world, kind))


def copied(puppet: Puppet, knee_deg: float = 70.0) -> Row:
    """A left leg's pose typed in on the right, number by number, in each kind of rig."""
    x, y, z = POSE_DEG
    return row(
        *(_from_ahead(puppet, kind, knee_deg, y, z, x) for kind in KINDS),
        title=(
            f"The left hip's {x}, {y} and {z} degrees and the left knee's {knee_deg:g} typed in on"
            " the right: only where all three axes were negated is the right leg the mirror image"
        ),
    )


def copied_guess(puppet: Puppet) -> Panel:
    """Guess how far a pose copied number by number is off, then see it in all three rigs."""
    far = {"not at all": 0.0, "about 4 cm": 4.0, "about 40 cm": 40.0}

    def told():
        misses = {kind: _copied_cm(puppet, kind) for kind in KINDS}
        right = min(far, key=lambda each: abs(far[each] - misses["same bend"]))
        sizes = ", ".join(f"{kind} <b>{cm:.1f} cm</b>" for kind, cm in misses.items())
        return right, f"Farthest from the mirror image: {sizes}."

    return Panel("The left numbers, typed in on the right", [], lambda: (copied(puppet), "")).after(
        Guess(
            "03/copied",
            "The left leg has stepped ahead and out. Its numbers are typed in on the right, just as"
            " they are, in all three rigs. In the rig of the <em>same bend</em>, how far is the"
            " right leg from the mirror image?",
            tuple(far),
            told,
        )
    )


def _copied_cm(puppet, kind, knee_deg=70.0):
    """Tell how far a pose that was copied number by number is from the mirror image [cm]."""
    x, y, z = POSE_DEG
    skeleton, world = _same_numbers(puppet, kind, knee_deg, y, z, x)
    return _measure(puppet, skeleton, world, kind).miss_cm


def copied_check() -> Panel:
    """A left hip's numbers, to be typed in on the right in a rig mirrored by reflection."""
    turns, kind = (15.0, -10.0, 20.0), "reflection"
    given = {each: _right_numbers(turns, each) for each in KINDS}
    all_negated = _triple(-np.array(turns))
    signs = "the numbers about x and y change their signs, the one about z stays"
    return quick_check(
        Check(
            "03/right-numbers",
            f"In a rig mirrored by {kind}, the left hip reads {_triple(turns)} degrees about x, y"
            " and z. What must the right hip read?",
            (given["same numbers"], given["same bend"], all_negated, given[kind]),
            given[kind],
            f"Reflection negated z and left x and y true mirror images: {signs}.",
            {
                given["same numbers"]: "Copied as they are, they fit the rig of the same numbers,"
                " where all three axes were negated.",
                given[
                    "same bend"
                ]: "These are the signs of the same bend, where x was negated. In a"
                " reflection it was z.",
                all_negated: "All three negated fits no kind: about an axis that was negated once"
                " more, the number stays.",
            },
        )
    )


def _right_numbers(turns_deg, kind):
    """The numbers about x, y and z that mirror those of a left hip, in words."""
    x, y, z = turns_deg
    mirrored = placement.mirror_rotations(_hip_turn(y, z, x), kind)
    flexion, swing, turn = np.degrees(rotation.euler_from_matrix(mirrored, controls.TURN_ORDER))
    return _triple((flexion, turn, swing))


def _triple(numbers):
    return f"({', '.join(number(each, 0) for each in numbers)})"


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


def hinges_guess(puppet: Puppet, turned_deg: float = 15.0, bend_deg: float = 60.0) -> Panel:
    """Guess what a hinge axis costs that was turned about its bone, then see it."""
    ways = {"not at all": 0.0, "about 1 cm": 1.0, "about 10 cm": 10.0}

    def told():
        skeleton = turned_hinge(puppet, turned_deg)
        world = skeleton.pose({"L_knee": rotation.matrix_about("x", np.radians(bend_deg))})
        hip, _, ankle, _, _ = _points(puppet, skeleton, world, "L_")
        off = 100 * abs(ankle[0] - hip[0])
        return min(ways, key=lambda way: abs(ways[way] - off)), (
            f"At the ankle it is <b>{off:.1f} cm</b>, and at rest nothing was to be seen."
        )

    return Panel(
        "A hinge axis turned about its bone", [], lambda: (hinges(puppet, turned_deg, bend_deg), "")
    ).after(
        Guess(
            "03/hinge",
            f"The knee's frame is turned by {turned_deg:.0f}° about the bone. No joint moves. Then"
            f" the knee bends by {bend_deg:.0f}°. How far does the ankle leave the leg's plane?",
            tuple(ways),
            told,
        )
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
            _draw_axes(
                _room(view, puppet, title, high=1.08), view, skeleton, 0.12 * puppet.hip_height
            ),
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


def same_numbers_panel(puppet: Puppet, knee_deg: float = 60) -> Panel:
    """One number for both knees, and for both hips about two of their axes; knees start bent."""
    return Panel(
        "The same number on both sides: do they do the same?",
        [
            Choice("kind", "Mirrored by", KINDS, "reflection"),
            Slider("knee_deg", "Both knees, about x", 0, 120, 1, knee_deg, "°"),
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
        grips=[
            grip
            for name, tag in zip(("Left", "Right"), SIDE_TAGS, strict=True)
            for grip in (
                Grip(
                    f"{name} ankle",
                    partial(_turned_at, puppet, tag, "ankle"),
                    ("knee_deg", "swing_deg"),
                ),
                Grip(f"{name} toe", partial(_turned_at, puppet, tag, "toe"), ("turn_deg",), (0,)),
            )
        ],
    )


def knee_guess(puppet: Puppet) -> Panel:
    """Guess what the right knee of a reflected rig does, then bend both."""
    options = ("it bends as well", "it swings forward, past straight", "it stays straight")

    def told(kind, knee_deg, turn_deg, swing_deg):
        if kind != "reflection" or knee_deg < 30:
            return None
        given = _same_numbers(puppet, kind, knee_deg, turn_deg, swing_deg)
        left, right = anatomy(puppet, *given)[:, 0]
        answer = options[2 if abs(right) < SHOWN else int(right < 0)]
        return answer, (
            f"The left knee {_deed('knee', left)}, the right knee <b>{_deed('knee', right)}</b>."
        )

    return same_numbers_panel(puppet, knee_deg=0).after(
        Guess(
            "03/knees",
            "In the rig called <em>reflection</em> both knees get the same number, +60° about x."
            " The left knee bends as a knee should. What does the right one do?",
            options,
            told,
            then="Pull <b>Both knees</b> to 30° or more.",
        )
    )


def swing_check() -> Panel:
    """Ask what one number about z does to the right leg of a rig that bends alike."""
    puppet, swing = PUPPETS["Pip"], 20.0
    options = ("it swings out", "it swings in", "it stays")
    given = _same_numbers(puppet, "same bend", 0.0, 0.0, swing)
    left, right = anatomy(puppet, *given)[:, 2]
    answer = options[2 if abs(right) < SHOWN else int(right < 0)]
    return quick_check(
        Check(
            "03/swing",
            "Pip's rig is mirrored for the <em>same bend</em>. Both his hips get"
            f" {swing:.0f}° about z, and his left leg swings {left:.0f}° out to its side. What does"
            " his right leg do?",
            options,
            answer,
            f"{capital(answer)} by {abs(right):.0f}°, the same way round as the left leg. Only x"
            " was negated once more. The z axis is a plain mirror image, and about such an axis the"
            " number has to be negated.",
            {
                "it swings out": "It would where z was negated once more, as in the other two"
                " kinds. Here z points forward on both sides, and one number turns both legs the"
                " same way round.",
                "it stays": "It got a number of its own, and it has to turn.",
            },
        )
    )


def _turned_at(puppet, tag, end, kind, knee_deg, turn_deg, swing_deg):
    """The place of an ankle or a toe whose leg was given the numbers of `same_numbers`."""
    hip, knee, end_from_knee = _hanging(puppet, kind, tag, end)
    hip_turn, knee_turn = _hip_turn(turn_deg, swing_deg), _knee_turn(knee_deg)
    bent = knee[:3, 3] + knee[:3, :3] @ (knee_turn @ end_from_knee)
    return hip[:3, 3] + hip[:3, :3] @ (hip_turn @ bent)


@lru_cache(maxsize=32)
def _hanging(puppet, kind, tag, end):
    """A hip's rest frame, the knee's in it, and the place of an end of the leg in the knee's."""
    skeleton = both_legs(puppet, kind)
    rest = skeleton.rest_world[[skeleton.index(tag + name) for name in ("hip", "knee", end)]]
    knee, last = fr.relative(rest[:-1], rest[1:])
    return rest[0], knee, last[:3, 3]


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
        stage = half_stage(title, low, high, size, "turntable", width=280, yaw_deg=-50.0).floor()
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


def planes_guess(puppet: Puppet) -> Panel:
    """Guess what a mirror across z leaves to be seen, then see three mirrors."""
    options = ("two legs, side by side", "one leg", "one leg above the floor, one below")

    def told():
        straight = left_leg(puppet, 0.0)
        image = fr.mirror_points(straight, [0.0, 0.0, 1.0])
        apart = 100 * np.linalg.norm(image - straight, axis=-1).max()
        hips = 100 * np.linalg.norm(image - fr.mirror_points(straight), axis=-1)[0]
        right = options[1] if apart < SHOWN else options[0]
        return right, (
            f"A straight right leg stands <b>{apart:.1f} cm</b> from the left one, and its hip"
            f" <b>{hips:.1f} cm</b> from its place. Bent, as here, the knees give it away."
        )

    return Panel("Mirrored across three planes", [], lambda: (wrong_planes(puppet), "")).after(
        Guess(
            "03/planes",
            "A straight left leg is mirrored, but z is negated in place of x. What is to be seen"
            " at rest?",
            options,
            told,
        )
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


def odd_joint_guess(puppet: Puppet) -> Panel:
    """Guess which joint of the two standing legs is off, then see it measured."""
    skeleton = mystery(puppet)
    measured = _measure(puppet, skeleton, skeleton.rest_world)

    def told():
        error = measured.error
        odd = error.farthest.removeprefix("R_")
        most, next_most = np.sort(error.cm)[[-1, -2]]
        return odd, (
            f"The right {odd} is <b>{10 * most:.0f} mm</b> from its partner's mirror image, every"
            f" other joint {10 * next_most:.0f} mm."
        )

    def shown():
        views = [_draw(_room(view, puppet, title), measured) for view, title in VIEWS.items()]
        return row(*views), ""

    return Panel("Measured", [], shown).after(
        Guess(
            "03/odd-joint",
            "One joint on the right is not the mirror image of its partner. Look at both views as"
            " long as you like. Which joint?",
            ("hip", "knee", "ankle", "ball", "toe"),
            told,
        )
    )


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
            Slider("forward_cm", "Moved forward", -4.0, 4.0, 0.1, 0.0, "cm"),
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
        grips=[
            Grip("Right joint", partial(_spoilt_at, puppet), ("forward_cm", "outward_cm")),
            Grip(
                "Left ankle",
                lambda knee_deg, **_: _bent_at(puppet, "L_", knee_deg),
                ("knee_deg",),
            ),
        ],
    )


def turned_guess(puppet: Puppet) -> Panel:
    """Guess how far a turned joint puts any joint off, then turn it, and bend the knees."""
    ways = {"0 cm": 0.0, "about 1 cm": 1.0, "about 5 cm": 5.0}

    def told(joint, forward_cm, outward_cm, turned_deg, knee_deg):
        if joint != "knee" or forward_cm or outward_cm or knee_deg or turned_deg < 10:
            return None
        off_by_cm = [_off_cm(puppet, turned_deg, bend) for bend in (0.0, 90.0)]
        right = min(ways, key=lambda way: abs(ways[way] - off_by_cm[0]))
        return right, (
            f"Straight, no joint is off by more than <b>{off_by_cm[0]:.1f} cm</b>. With the knees"
            f" bent by 90° it is <b>{off_by_cm[1]:.1f} cm</b>."
        )

    return one_off_panel(puppet).after(
        Guess(
            "03/turned",
            "The right knee is turned by 12° about its own y axis, along the bone. It is not moved,"
            " and both knees are straight. How far is the farthest joint from its mirror image?",
            tuple(ways),
            told,
            then="Press <b>Knee turned 12°</b>, look, then bend both knees.",
        )
    )


def _off_cm(puppet, turned_deg, knee_deg):
    """Return how far the farthest joint is from its mirror image, a right knee turned [cm]."""
    skeleton, bent = off_by(puppet, "knee", turned_deg=turned_deg), _knee_turn(knee_deg)
    return _measure(puppet, skeleton, skeleton.pose({"L_knee": bent, "R_knee": bent})).miss_cm


def _spoilt_at(puppet, joint, forward_cm, outward_cm, turned_deg, knee_deg):
    """The place of the joint of `off_by`, the knees bent."""
    moved = np.array([-outward_cm, 0.0, forward_cm]) / 100
    if joint == "ankle":
        return _bent_at(puppet, "R_", knee_deg, moved)
    skeleton = both_legs(puppet, bend_deg=10.0)
    return skeleton.rest_world[skeleton.index("R_" + joint), :3, 3] + moved


def _bent_at(puppet, tag, knee_deg, moved=0.0):
    """The place to which a bend of its knee brings an ankle that was moved at rest."""
    skeleton = both_legs(puppet, bend_deg=10.0)
    knee, ankle = (skeleton.rest_world[skeleton.index(tag + name)] for name in LEG[1:])
    turned = knee[:3, :3] @ _knee_turn(knee_deg) @ knee[:3, :3].T
    return knee[:3, 3] + turned @ (ankle[:3, 3] + moved - knee[:3, 3])


# Poses


@lru_cache(maxsize=32)
def _rig(puppet, bend_deg):
    return LegRig.from_puppet(puppet, bend_deg)


@lru_cache(maxsize=8)
def _rest_pose(puppet):
    return _rig(puppet, 0.0).pose()


def _same_numbers(puppet, kind, knee_deg, turn_deg=0.0, swing_deg=0.0, flex_deg=0.0):
    skeleton = both_legs(puppet, kind)
    hip, knee = _hip_turn(turn_deg, swing_deg, flex_deg), _knee_turn(knee_deg)
    return skeleton, skeleton.pose({"L_hip": hip, "R_hip": hip, "L_knee": knee, "R_knee": knee})


@lru_cache(maxsize=64)  # all grips of a picture ask for the same
def _hip_turn(turn_deg, swing_deg, flex_deg=0.0):
    """A hip's turn about its own axes."""
    return rotation.matrix_from_euler(
        np.radians([flex_deg, swing_deg, turn_deg]), controls.TURN_ORDER
    )


@lru_cache(maxsize=64)
def _knee_turn(knee_deg):
    return rotation.matrix_about("x", np.radians(knee_deg))


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
    for part, angle, other in zip(DOES, angles, others, strict=True):
        if abs(angle) >= SHOWN:
            deed = f"{part} {_deed(part, angle)}"
            words.append(deed if angle * other > 0 else f"<b>{deed}</b>")
    return ", ".join(words) or "stands"


def _deed(part, angle):
    """Tell what a part does by an angle, such as "flexes 60°"."""
    return f"{DOES[part][int(angle < 0)]} {abs(angle):.0f}°"


def _bold(value, unit):
    text = f"{value:.1f}{unit}"
    return f"<b>{text}</b>" if value >= SHOWN else text
