"""Lesson 02's pictures: what a turn carries, two turns in either order, legs hung from a pelvis.

Angles are in degrees. In the side view a turn that swings a bone forward is positive, so a knee's
turn is minus its flexion; in space flexion of the hip is a negative turn about x, as everywhere in
this library.
"""

from functools import lru_cache, partial

import numpy as np

from rigkit import rotation
from rigkit._types import Floats
from rigkit.asking import Check, Guess, Number
from rigkit.leg import LegRig
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import PUPPETS, Puppet
from rigkit.scenes.staging import (
    LEG,
    draw_foot,
    draw_leg,
    half_stage,
    leg_points,
    measure_cm,
    side_points,
    size,
    with_rest,
)
from rigkit.scenes.words import SHOWN, directed, number, signed
from rigkit.skeleton import SIDE_TAGS, Joint, Skeleton
from rigkit.stage import Row, Stage, row

BONES = ("thigh", "shank", "foot")
PARENTS = ("none", "the pelvis")
HIPS = tuple(tag + "hip" for tag in SIDE_TAGS)
STEP = {"hip": 30.0, "knee": -10.0, "ankle": -20.0}  # a leg carved in mid-step, its foot level


@lru_cache(maxsize=16)
def standing(puppet: Puppet) -> Skeleton:
    """The puppet's skeleton on straight legs, all its frames unturned."""
    return LegRig.from_puppet(puppet, preset_bend_deg=0.0).skeleton


def swung(hip: float = 0.0, knee: float = 0.0, ankle: float = 0.0) -> dict[str, Floats]:
    """Turns of the left leg's joints by angles in the side view, forward positive [degrees]."""
    return {
        "L_" + joint: rotation.matrix_about("x", -np.radians(angle))
        for joint, angle in zip(LEG, (hip, knee, ankle), strict=True)
    }


def swung_leg(puppet: Puppet, *angles_deg: float) -> Floats:
    """Points of the left leg, as of `leg_points`, with its joints turned in the side view.

    Forward is positive.
    """
    skeleton = standing(puppet)
    return leg_points(puppet, skeleton, skeleton.pose(swung(*angles_deg)))


def moved_cm(before: Floats, after: Floats) -> float:
    """The distance a point went, in centimetres."""
    return 100 * float(np.linalg.norm(np.subtract(after, before)))


def shank_deg(puppet: Puppet, hip_deg: float, knee_deg: float) -> float:
    """The shank's world angle, measured from its two ends; from straight down, forward positive.

    The hip's angle is positive forward, the knee's is its flexion.
    """
    _, knee, ankle = swung_leg(puppet, hip_deg, -knee_deg, 0.0)[:3]
    _, up, forward = ankle - knee
    return float(np.degrees(np.arctan2(forward, -up)))


# The opening: a chain of joints


def opening(puppet: Puppet) -> Stage:
    """A hanging leg whose joints are named by what they hang from."""
    leg = swung_leg(puppet)
    names = ("hip: the knee's parent", "knee: the hip's child", "ankle: the knee's child")
    return draw_leg(_room(puppet, "A chain: each joint hangs from another"), leg, names=names)


# The same turn at two joints


def carried(puppet: Puppet) -> Row:
    """One leg with its knee turned by forty degrees, one with its hip turned by as much."""
    views = [
        _local_view(puppet, _before_and_after(puppet, local, joint), local, joint, title)
        for local, joint, title in (
            ((0.0, -40.0, 0.0), "knee", "Knee turns 40°: shank and foot move"),
            ((40.0, 0.0, 0.0), "hip", "Hip turns 40°: the whole leg moves"),
        )
    ]
    return row(
        *views,
        title=(
            "The same turn of forty degrees at the knee and at the hip: each carries all that hangs"
            " below the joint and nothing above it"
        ),
    )


TURNED_DEG = 40.0  # at either joint of `carried`


def carried_cm(puppet: Puppet, joint: str) -> float:
    """Tell how far the ankle of a straight leg goes when a joint turns by `TURNED_DEG` [cm]."""
    turns = [TURNED_DEG * (joint == each) for each in LEG]
    return moved_cm(swung_leg(puppet)[2], swung_leg(puppet, *turns)[2])


def carried_guess(puppet: Puppet) -> Panel:
    """Guess how far the hip's turn carries the ankle, then see it beside the knee's."""
    ways = {"just as far": 1.0, "twice as far": 2.0, "four times as far": 4.0}

    def told():
        knee, hip = (carried_cm(puppet, joint) for joint in ("knee", "hip"))
        right = min(ways, key=lambda way: abs(ways[way] - hip / knee))
        return right, (
            f"The hip's turn carries it <b>{hip:.1f} cm</b>, the knee's {knee:.1f} cm:"
            f" {number(hip / knee)} times as far."
        )

    return Panel("The same turn at two joints", [], lambda: (carried(puppet), "")).after(
        Guess(
            "02/carried",
            f"Her knee turns by {TURNED_DEG:.0f}°, and her ankle goes"
            f" {carried_cm(puppet, 'knee'):.1f} cm. The leg hangs straight again, and her hip turns"
            f" by {TURNED_DEG:.0f}°. How far does the ankle go now?",
            tuple(ways),
            told,
        )
    )


def swing_check() -> Panel:
    """Ask how far a quarter turn of the hip takes Odo's ankle."""
    odo = PUPPETS["Odo"]
    reach_cm, turn = 100 * odo.leg_length, np.radians(90)
    right = moved_cm(swung_leg(odo)[2], swung_leg(odo, 90.0)[2])
    return quick_check(
        Check(
            "02/quarter",
            "Odo, on stilts, kicks: his straight leg swings from hanging down to the level, by"
            f" 90°. His ankle is {reach_cm:.0f} cm from his hip. How far is it from where it was,"
            " straight from place to place?",
            Number("cm", 0, 400, 2),
            right,
            f"2 × {reach_cm:.0f} cm × sin 45° = {right:.1f} cm.",
            {
                reach_cm: "That is how far the ankle came ahead, or how far it rose. It did both.",
                2 * reach_cm: "You took the sine of the whole turn. It is the sine of half of it.",
                reach_cm * np.sin(turn / 2): "That is half of the way: the 2 is missing.",
                reach_cm * turn: "That is the way along the circle. Straight from place to place it"
                " is shorter.",
                2 * reach_cm * abs(np.sin(45)): "Your calculator takes 45 for radians. Set it to"
                " degrees.",
            },
            "The way is 2 r sin(half the turn), with r from the joint that turns to the point.",
        )
    )


# Local and world angles of a leg in the side view


def turn_joints(
    puppet: Puppet, hip_deg: float, knee_deg: float, ankle_deg: float, joint: str
) -> tuple[Row, str]:
    """A leg posed by its three turns, seen twice, and every angle in words.

    On the left with local angles, each from the bone above, and what the turn of `joint` carries;
    on the right with world angles, each from the vertical or, for the foot, from the level.
    """
    local = (hip_deg, -knee_deg, ankle_deg)
    world = np.cumsum(local)
    legs = before, after = _before_and_after(puppet, local, joint)
    left = _local_view(puppet, legs, local, joint, "Local: each bone from the one above")
    right = _view(puppet, after, joint, "World: each bone from the upright")
    for i, angle in enumerate(world):
        _angle(right, puppet, after[i], 90.0 * (i == 2), angle)
    forward, down = 100 * (after[2] - after[0])[[2, 1]] * [1, -1]
    angles = ", ".join(
        f"{bone} {signed(a)} → {signed(b)}" for bone, a, b in zip(BONES, local, world, strict=True)
    )
    ankle = "" if joint == "ankle" else f"the ankle {moved_cm(before[2], after[2]):.1f} cm and "
    words = (
        f"Local → world: {angles}. The ankle is {directed(forward, 'ahead of', 'behind')} the hip"
        f" and {down:z.1f} cm below it. The {joint}'s turn carries {ankle}the toes"
        f" <b>{moved_cm(before[-1], after[-1]):.1f} cm</b>."
    )
    return row(left, right), words


def joints_panel(puppet: Puppet) -> Panel:
    """Three turns of a leg in the side view, and the joint whose carrying is shown."""
    return Panel(
        "Turn one joint: what moves, and which angles change?",
        [
            Slider("hip_deg", "Hip flexion", -20.0, 90.0, 1.0, 0.0, "°"),
            Slider("knee_deg", "Knee flexion", 0.0, 120.0, 1.0, 0.0, "°"),
            Slider("ankle_deg", "Ankle, toes up", -40.0, 30.0, 1.0, 0.0, "°"),
            Choice("joint", "Joint to watch", LEG, "knee"),
        ],
        partial(turn_joints, puppet),
        {
            "Hip 30°, knee 30°": (30, 30, 0, "knee"),
            "Only the knee": (0, 60, 0, "knee"),
            "Only the hip": (40, 0, 0, "hip"),
            "High step": (80, 90, 10, "hip"),
        },
        grips=[
            Grip(name, partial(_turned_at, puppet, point), (f"{joint}_deg",))
            for point, (name, joint) in enumerate(
                zip(("Knee", "Ankle", "Toe"), LEG, strict=True), 1
            )
        ],
    )


def joints_guess(puppet: Puppet) -> Panel:
    """Guess where the shank points, then turn hip and knee."""
    asked = 30.0
    ways = {
        "60° forward": 60.0,
        "30° forward": 30.0,
        "straight down": 0.0,
        "30° back": -30.0,
    }

    def told(hip_deg, knee_deg, ankle_deg, joint):
        if abs(hip_deg - asked) > 0.5 or abs(knee_deg - asked) > 0.5:
            return None
        angle = shank_deg(puppet, hip_deg, knee_deg)
        right = min(ways, key=lambda way: abs(ways[way] - angle))
        return right, (
            f"The hip took the shank {hip_deg:.0f}° forward, the knee took it {knee_deg:.0f}° back:"
            f" it stands at <b>{signed(angle)}</b>, {right}."
        )

    return joints_panel(puppet).after(
        Guess(
            "02/shank",
            f"Tamsin's leg hangs straight down. Her hip swings the thigh {asked:.0f}° forward. Then"
            f" her knee flexes by {asked:.0f}°. Which way does her shank point?",
            tuple(ways),
            told,
            then="Press <b>Hip 30°, knee 30°</b>, or pull her knee and her ankle there.",
        )
    )


def angle_check() -> Panel:
    """The world angle of Odo's shank behind him."""
    odo, hip, knee = PUPPETS["Odo"], -20.0, 50.0
    right = shank_deg(odo, hip, knee)
    return quick_check(
        Check(
            "02/world-angle",
            f"Odo's hip swings his thigh {-hip:.0f}° <em>back</em>, and his knee flexes by"
            f" {knee:.0f}°. What is the world angle of his shank, forward positive?",
            Number("°", -180, 180, 0.5),
            right,
            f"Both turns lead back: {number(hip, 0)}° and {number(-knee, 0)}° make"
            f" {number(right, 0)}°.",
            {
                -knee: "That is the shank's local angle, counted from the thigh. The thigh has"
                " turned too.",
                hip: "That is the thigh's angle. The knee turns the shank on from there.",
                -right: "The size is right. Back is minus.",
                -hip - knee: "You swung the thigh forward. It went back, so its angle is"
                f" {number(hip, 0)}°.",
                hip + knee: "Flexing a knee takes the shank back, not forward.",
            },
            "Add the local angles on the way down: the hip's, then the knee's, each with its sign.",
        )
    )


def _turned_at(puppet, point, hip_deg, knee_deg, ankle_deg, joint):
    """Knee, ankle or toe of the turned leg in the side view."""
    return side_points(puppet, (0.0, puppet.hip_height), (hip_deg, knee_deg, ankle_deg))[point]


# Turns in space


def sign_check() -> Panel:
    """The sign of a turn about x that takes Odo's thigh back."""
    degrees = 25.0
    turns = {f"{signed(angle)} about x": angle for angle in (degrees, -degrees)}
    back = {
        name: float((rotation.matrix_about("x", np.radians(angle)) @ [0.0, -1.0, 0.0])[2]) < 0
        for name, angle in turns.items()
    }
    (right,) = [name for name, goes_back in back.items() if goes_back]
    (wrong,) = back.keys() - {right}
    return quick_check(
        Check(
            "02/sign",
            f"In space, Odo's hip takes his thigh {degrees:.0f}° <em>back</em>. Which turn of the"
            " hip is that?",
            tuple(turns),
            right,
            "A positive turn about x takes a hanging bone back, at the hip as at the knee.",
            {
                wrong: "That swings the thigh forward, which is flexion. In the side view we"
                " counted forward as plus; about x, which points to the left, it is minus."
            },
        )
    )


# Two turns in either order


def hip_turns(flexion_deg: float, abduction_deg: float) -> tuple[Floats, Floats]:
    """The left hip's two turns about its own axes in either order, each (3, 3).

    The first is flexed first, the second abducted first.
    """
    flex = rotation.matrix_about("x", -np.radians(flexion_deg))
    abduct = rotation.matrix_about("z", np.radians(abduction_deg))
    return flex @ abduct, abduct @ flex


def order_gap_cm(puppet: Puppet, flexion_deg: float, abduction_deg: float) -> float:
    """Gap between the ankle's two places when flexion and abduction change order, cm.

    The leg is the left one, straight.
    """
    first, second = hip_turns(flexion_deg, abduction_deg)
    return 100 * puppet.leg_length * float(np.linalg.norm((first - second)[:, 1]))


def two_orders(puppet: Puppet, flexion_deg: float, abduction_deg: float) -> tuple[Row, str]:
    """The left leg after the same two turns in either order, and both in words.

    It is seen from the front and from above.
    """
    skeleton = standing(puppet)
    legs = [
        leg_points(puppet, skeleton, skeleton.pose({"L_hip": turn}))
        for turn in hip_turns(flexion_deg, abduction_deg)
    ]
    gap, tall = order_gap_cm(puppet, flexion_deg, abduction_deg), puppet.hip_height
    front, top = (
        half_stage(title, (-0.3, low), (1.05, low + 1.1), size(puppet), view)
        for view, title, low in (("front", "From the front", -0.1), ("top", "From above", -1.0))
    )
    for stage in (front.floor(), top):
        stage.path([[0, tall, 0], [puppet.hip_width / 2, tall, 0]], "soft")
        for leg, kind, name in zip(
            legs[::-1], ("plain", "forward"), ("abduct first", "flex first"), strict=True
        ):
            names = ("", name if gap > 4 else "")
            if stage is top:
                draw_leg(stage, leg, kind, names=names)
            else:  # a wedge has no breadth to show from the front
                stage.chain(leg[:3], kind, names=names)
    measure_cm(top, legs[0][2], legs[1][2], gap)
    places = [100 * (leg[2] - leg[0]) for leg in legs]
    words = "; ".join(
        f"{order}: ankle {directed(x, 'to the left', 'to the right')},"
        f" {directed(z, 'forward', 'back')}"
        for order, (x, _, z) in zip(("Flex, then abduct", "abduct, then flex"), places, strict=True)
    )
    words += f"; both {abs(places[0][1]):.1f} cm below the hip. They are <b>{gap:.1f} cm</b> apart."
    return row(front, top), words


def orders_panel(puppet: Puppet, flexion_deg: float = 60.0, abduction_deg: float = 40.0) -> Panel:
    """Two turns of the hip, done in either order; it starts at the two angles given."""
    return Panel(
        "Same two turns, other order: where does the foot go?",
        [
            Slider("flexion_deg", "Hip flexion", 0.0, 90.0, 1.0, flexion_deg, "°"),
            Slider("abduction_deg", "Hip abduction", 0.0, 60.0, 1.0, abduction_deg, "°"),
        ],
        partial(two_orders, puppet),
        {
            "Only flexion": (60, 0),
            "60° and 40°": (60, 40),
            "Ten degrees each": (10, 10),
            "A walker's turns": (30, 7),
            "A right angle": (90, 45),
        },
        grips=[
            Grip(name, partial(_turned_ankle, puppet, order), ("flexion_deg", "abduction_deg"))
            for order, name in enumerate(("Ankle, flex first", "Ankle, abduct first"))
        ],
    )


def orders_guess(puppet: Puppet) -> Panel:
    """Guess how far apart the two orders are, then abduct."""
    flexion, abduction = 60.0, 40.0
    gaps = {"in the same place": 0.0, "about 3 cm apart": 3.0, "about 30 cm apart": 30.0}

    def told(flexion_deg, abduction_deg):
        if abs(flexion_deg - flexion) > 5 or abs(abduction_deg - abduction) > 5:
            return None
        gap = order_gap_cm(puppet, flexion_deg, abduction_deg)
        right = min(gaps, key=lambda each: abs(gaps[each] - gap))
        return right, f"The two ankles are <b>{gap:.1f} cm</b> apart."

    return orders_panel(puppet, flexion, 0.0).after(
        Guess(
            "02/order",
            f"Flex Tamsin's left hip by {flexion:.0f}°, then abduct it, away from the midplane, by"
            f" {abduction:.0f}°. Or abduct it first and flex it then. Her ankle comes to two"
            " places. They are …",
            tuple(gaps),
            told,
            then=f"Pull the abduction to {abduction:.0f}°.",
        )
    )


def _turned_ankle(puppet, order, flexion_deg, abduction_deg):
    """The ankle of a straight leg whose hip took its two turns in one of their orders."""
    hip = np.array([puppet.hip_width / 2, puppet.hip_height, 0.0])
    return hip - puppet.leg_length * hip_turns(flexion_deg, abduction_deg)[order][:, 1]


# A rest pose that reads zero, and one that does not


def two_rests(puppet: Puppet) -> Row:
    """Two legs carved in mid-step, all turns put to zero.

    The step is in the rest frames, or it was in the turns.
    """
    stages = []
    for title, (before, leg) in zip(
        ("All at zero; the step is in the rest", "All at zero; the step was in the turns"),
        _zeroed(puppet),
        strict=True,
    ):
        stage = draw_leg(_room(puppet, title).ghost(before[:3]), leg, names=LEG)
        moved = moved_cm(before[2], leg[2])
        if moved < SHOWN:
            stage.note(leg[2], "stays: 0.0 cm", place="left")
        measure_cm(stage, before[2], leg[2], moved)
        stages.append(stage)
    return row(
        *stages,
        title=(
            "All turns of two legs that were carved in mid-step are put to zero: one stays as it"
            " was carved, the other straightens and its ankle moves"
        ),
    )


def _zeroed(puppet):
    """A leg in mid-step, and after all turns were put to zero, of two rigs.

    The first has the step in its rest frames, the second in its turns.
    """
    skeleton = standing(puppet)
    step = skeleton.pose(swung(*STEP.values()))
    carved = with_rest(skeleton, dict(zip(skeleton.names, step, strict=True)))
    return [
        [leg_points(puppet, skeleton, world) for world in (step, at_zero)]
        for at_zero in (carved.pose(), skeleton.pose())
    ]


def rests_guess(puppet: Puppet) -> Panel:
    """Guess what zeroed turns do to a carved step, then see both legs."""
    options = ("it stays in mid-step", "it straightens", "it bends twice as far")

    def told():
        kept, lost = (moved_cm(before[2], leg[2]) for before, leg in _zeroed(puppet))
        right = options[0] if lost < SHOWN else options[1]
        return right, (
            f"Its ankle went <b>{lost:.1f} cm</b>. The leg with the step in its rest frames moved"
            f" by {kept:.1f} cm."
        )

    return Panel("All turns at zero", [], lambda: (two_rests(puppet), "")).after(
        Guess(
            "02/zero",
            "Two rigs stand alike, in mid-step. In one the step is in the rest frames, in the other"
            " it is in the turns. An animator puts all turns to zero. What does the <em>second</em>"
            " leg do?",
            options,
            told,
        )
    )


# Both legs hung from the pelvis


@lru_cache(maxsize=16)
def hung(puppet: Puppet, parent: str, numbers_kept: bool = False) -> Skeleton:
    """The puppet's skeleton with its hips hung from nothing or from the pelvis.

    The hips keep their numbers or their place.

    Parameters
    ----------
    puppet : Puppet
    parent : {"none", "the pelvis"}
    numbers_kept : bool
        Whether the hips keep the local frames that they had before they got a parent: the mistake.
    """
    whole = standing(puppet)
    world = dict(zip(whole.names, whole.rest_world, strict=True))
    parents = {name: whole.parent(name) for name in whole.names}
    if parent == PARENTS[0]:
        return Skeleton.from_world(world, parents | dict.fromkeys(HIPS))
    if not numbers_kept:
        return Skeleton.from_world(world, parents)
    loose = hung(puppet, PARENTS[0])
    return Skeleton(
        Joint(name, parents[name], rest)
        for name, rest in zip(loose.names, loose.rest_local, strict=True)
    )


def hang_legs(puppet: Puppet, parent: str, aside_cm: float, lean_deg: float) -> tuple[Row, str]:
    """Two pelvises that moved, their legs hung keeping their place and keeping their numbers.

    Both are told in words.
    """
    moved = {
        "turns": {"pelvis": rotation.matrix_about("z", -np.radians(lean_deg))},
        "shifts": {"pelvis": [aside_cm / 100, 0.0, 0.0]},
    }
    loose = parent == PARENTS[0]
    stages, words = [], []
    for what, numbers_kept in (("Place", False), ("Numbers", True)):
        skeleton = hung(puppet, parent, numbers_kept)
        title = f"No parent yet; {what.lower()} to be kept" if loose else f"{what} kept"
        stage, off = _hung_stage(puppet, skeleton, moved, title)
        stages.append(stage)
        words.append(
            f"{'No parent yet' if loose else title}: {_seen(skeleton)}; {_state(off, loose)}"
        )
    return row(*stages), " ".join(words[:1] if loose else words)


def hang_panel(puppet: Puppet) -> Panel:
    """Hang both legs from the pelvis in two ways, then move it."""
    return Panel(
        "Give the hips a parent: what must change so that nothing moves?",
        [
            Choice("parent", "Parent of both hips", PARENTS, PARENTS[0]),
            Slider("aside_cm", "Pelvis to the left", -25.0, 25.0, 0.5, 0.0, "cm"),
            Slider("lean_deg", "Pelvis leans to the left", -20.0, 20.0, 1.0, 0.0, "°"),
        ],
        partial(hang_legs, puppet),
        {
            "At rest": (PARENTS[0], 0, 0),
            "No parent, moved": (PARENTS[0], 20, 0),
            "Hung, at rest": (PARENTS[1], 0, 0),
            "Hung, moved": (PARENTS[1], 20, 0),
            "Hung, leaning": (PARENTS[1], 0, 15),
        },
        grips=[
            Grip("Pelvis", partial(_hung_at, puppet, "pelvis"), ("aside_cm",)),
            Grip("Left foot's place", partial(_hung_at, puppet, "L_ankle"), ("lean_deg",)),
        ],
    )


def hang_guess(puppet: Puppet) -> Panel:
    """Guess what legs do that keep their numbers, then give them a parent."""
    options = ("they stay in place", "they jump up", "they sink into the floor")

    def told(parent, aside_cm, lean_deg):
        if parent == PARENTS[0]:
            return None
        ankles = (hung(puppet, parent, kept).rest_world for kept in (False, True))
        at = hung(puppet, parent).index("L_ankle")
        before, after = (world[at, :3, 3] for world in ankles)
        up = 100 * (after - before)[1]
        right = options[0] if abs(up) < SHOWN else options[1 if up > 0 else 2]
        return right, (
            f"With its old numbers each leg is <b>{abs(up):.1f} cm</b> off: as far as the pelvis is"
            " above the floor. To keep its place a hip needs new numbers."
        )

    return hang_panel(puppet).after(
        Guess(
            "02/parent",
            "Two legs stand where they were built, and their hips hang from nothing. Now both hips"
            " get the pelvis for a parent, and the numbers that say where they are stay as they"
            " were. What do the legs do?",
            options,
            told,
            then="Set the parent to <b>the pelvis</b>; on the right the numbers are kept.",
        )
    )


def _hung_at(puppet, joint, parent, aside_cm, lean_deg):
    """The place of the pelvis, or where a joint belongs that hangs from it."""
    rest = standing(puppet).rest_world
    pelvis, own = rest[0, :3, 3], rest[standing(puppet).index(joint), :3, 3]
    lean = rotation.matrix_about("z", -np.radians(lean_deg))
    return pelvis + [aside_cm / 100, 0.0, 0.0] + lean @ (own - pelvis)


# One view each


def _room(puppet, title):
    """A side view in which a standing leg can swing to the level."""
    return half_stage(title, (-0.56, -0.08), (1.06, 1.08), size(puppet)).floor()


def _before_and_after(puppet, local, joint):
    """A leg before and after `joint` takes its turn, the other joints' turns in place."""
    before = [0.0 if name == joint else angle for name, angle in zip(LEG, local, strict=True)]
    return swung_leg(puppet, *before), swung_leg(puppet, *local)


def _view(puppet, leg, joint, title, dotted=None):
    """A leg, plain where `joint` does not carry it; another one `dotted`."""
    turned = LEG.index(joint)
    stage = _room(puppet, title)
    if dotted is not None:
        stage.ghost(dotted[[0, 1, 2, -1]])
    draw_foot(stage, leg[2:])
    if turned:
        stage.chain(leg[: turned + 1], "plain")
    return stage.chain(leg[turned:3], "forward", names=[joint], thickness=24 * 0.8**turned)


def _local_view(puppet, legs, local, joint, title):
    """The view with local angles, and the leg before `joint` turned, dotted.

    It tells how far that turn carried the ankle; one of the ankle leaves it, and carries the toes.
    """
    before, after = legs
    stage = _view(puppet, after, joint, title, before)
    for i, (above, angle) in enumerate(zip(np.cumsum([0.0, *local[:2]]), local, strict=True)):
        _angle(stage, puppet, after[i], above + 90.0 * (i == 2), angle)
    carried = -1 if joint == "ankle" else 2
    return measure_cm(
        stage, before[carried], after[carried], moved_cm(before[carried], after[carried])
    )


def _angle(stage, puppet, joint, zero_deg, angle_deg):
    """An angle at a joint, from where its bone would be at zero.

    Both are counted from straight down, forward positive.
    """
    start, end = (
        joint + 0.25 * puppet.shank * np.array([0, -np.cos(a), np.sin(a)])
        for a in np.radians([zero_deg, zero_deg + angle_deg])
    )
    if abs(angle_deg) >= 0.5:
        stage.ghost([joint, start]).arc(joint, start, end, signed(angle_deg), radius=46)


def _hung_stage(puppet, skeleton, moved, title):
    """A pelvis and its legs from the front, dotted where they belong.

    Returned with it: how far off the left ankle is, in cm.
    """
    stage = half_stage(title, (-1.24, -0.08), (1.24, 1.9), size(puppet), "front").floor()
    world, right = skeleton.pose(**moved), standing(puppet).pose(**moved)
    pelvis = right[0, :3, 3]
    for tag in SIDE_TAGS[::-1]:
        side = tag[0]
        belongs = leg_points(puppet, standing(puppet), right, tag)
        leg = leg_points(puppet, skeleton, world, tag)
        draw_foot(stage.ghost(belongs[:3]), leg[2:], side=side)
        stage.chain([pelvis, belongs[0]], "plain", thickness=14)
        stage.chain(leg[:3], side=side)
    stage.note(pelvis, "pelvis", place="below" if leg[2, 1] > pelvis[1] else "above")
    off = moved_cm(belongs[2], leg[2])  # the left leg's, drawn last
    return measure_cm(stage, belongs[2], leg[2], off, offset=60), off


def _seen(skeleton):
    """The left hip's place in the numbers of its parent, in words."""
    x, y, _ = 100 * skeleton.rest_local[skeleton.index("L_hip"), :3, 3]
    return f"the left hip's local place is {x:.1f} cm left, {y:.1f} cm up"


def _state(off, loose):
    """Words for how far a foot is from where it belongs."""
    if off < SHOWN:
        return "the foot is where it belongs."
    what = "left behind" if loose else "off its place"
    return f"the foot is {what} by <b>{off:.1f} cm</b>."
