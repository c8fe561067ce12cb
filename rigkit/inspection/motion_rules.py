"""Rules on each animation: feet on the floor, knees that neither snap nor flip, bones, ranges,
loops."""

import numpy as np

from rigkit import body, placement, rotation
from rigkit._types import Floats
from rigkit.controls import TURN_ORDER
from rigkit.inspection import pictures
from rigkit.inspection.rule import (
    CHOSEN,
    SHARE,
    Measured,
    Outcome,
    Unmeasured,
    Where,
    cm,
    rule,
    worst,
)
from rigkit.inspection.stance import LEAST_STANCE, Footing, body_paths, footing, steps, velocities
from rigkit.inspection.subject import RATE, Motion, Subject, side_name
from rigkit.stage import Picture

NEAR_REACH = 0.99  # as gait.extension_pops has it
BENT_DEG = 10.0  # a knee bent less has no direction to speak of
FLIP_WINDOW = 0.1  # s
TOO_SHORT = 0.01  # of the leg's length: what is shorter is no bone
# A clip seems meant to loop if it ends within this share of how far it moves from its beginning, or
# as near as it is a key, or two, before or after it.
SEEMS_A_LOOP, KEY_LASTS = 0.05, 1 / 15
HARDLY = 0.005  # of the leg's length: a clip that moves less moves hardly at all
USUAL_JUMPS = 2.0  # a seam may fall on a jump, as where a foot strikes, and between two samples
SEAM_LASTS = 0.1  # s: for so long a jump of speed at a loop's seam is made a length


@rule(
    "foot-slide",
    "A foot that stands does not slide",
    fault="A foot slides while it stands",
    limit=("at most", 2.5, SHARE),
    severity="moderate",
    needs=("moves",),
    because=f"in one stance: 2 cm on a leg of 80 cm; less is hidden by a sole that rolls; {CHOSEN}",
    why="Feet that slide look like skating: the eye knows that the ground holds them.",
    todo="Plant the foot: hold its goal where it came down until it leaves, and let the leg "
    "follow. In a clip on the spot move the foot that stands back at one even speed.",
)
def foot_slide(subject: Subject, motion: Motion) -> Outcome:
    found = _feet(subject, motion)
    if isinstance(found, Unmeasured):
        return found
    parts, runs = [], {}
    for side, first, last in found.runs:
        path = found.soles[side] - motion.times[:, None, None] * found.ground
        away = np.linalg.norm(np.cumsum(steps(path[first : last + 1]), axis=0), axis=-1)
        name = f"{side_name(side)} foot, {_span(motion, first, last)}"
        parts.append((name, subject.share(float(away.max()))))
        runs[name] = side, first, first + 1 + int(away.argmax()), path, float(away.max())
    name, number = worst(parts)
    side, first, last, path, slid = runs[name]
    foot, when = name.split(", ")
    times = f"{len(parts)} {'time' if len(parts) == 1 else 'times'}"
    how = f"The {foot} slides {cm(slid)} while it stands, from {when}"
    how = how if slid >= 0.0005 else "No foot slides while it stands"
    return Measured(
        number,
        f"{how}; in all a foot stood {times}.{_spot(found)}",
        tuple(parts),
        lambda kind: pictures.slide(subject, path[first], path[last], slid, cm(slid), kind),
        where=_at(motion, last, _foot(subject, side)),
    )


def _feet(subject: Subject, motion: Motion) -> Footing | Unmeasured:
    """The feet on the floor in an animation, or why that cannot be said."""
    if motion.times[-1] < LEAST_STANCE or len(motion.times) < 3:
        return Unmeasured(f"it lasts {motion.times[-1]:.2f} s, too short for a foot to stand")
    found = footing(subject, motion)
    if found.runs:
        return found
    if found.slowest > 0.1 * subject.length:
        return Unmeasured(
            "no foot stands in it: where they are lowest the feet move at"
            f" {found.slowest:.2g} m/s or faster over the ground"
        )
    return Unmeasured(
        "no foot stands in it: none stays at its lowest, and slow, for a tenth of a second"
    )


def _at(motion: Motion, frame: int, *joints: int) -> Where:
    return Where(joints, seconds=float(motion.times[min(frame, len(motion.times) - 1)]))


def _foot(subject: Subject, side: str) -> int:
    """The joint that a foot hangs from."""
    return subject.joint(side, subject.legs.legs[side].chain[-1])


def _span(motion: Motion, first: int, last: int) -> str:
    return f"{motion.times[first]:.2f} to {motion.times[last]:.2f} s"


def _spot(found: Footing) -> str:
    speed = np.linalg.norm(found.ground)
    return f" It is on the spot: the ground passes at {speed:.2g} m/s." if found.on_the_spot else ""


@rule(
    "ground-speed",
    "The ground passes at an even speed below feet that stand",
    fault="The ground passes unevenly below feet that stand",
    limit=("at most", 20.0, "%"),
    severity="moderate",
    needs=("moves",),
    because=f"over any tenth of a second, of the speed at which it passes; {CHOSEN}",
    why="A clip on the spot is carried along at one speed, and where its feet go at another they "
    "slide.",
    todo="Move each standing foot back by the same way in every frame, the same for both feet.",
)
def ground_speed(subject: Subject, motion: Motion) -> Outcome:
    found = _feet(subject, motion)
    if isinstance(found, Unmeasured):
        return found
    if not found.on_the_spot:
        return Unmeasured("it is not on the spot, so no ground passes below it")
    parts, runs = [], {}
    passing = float(np.linalg.norm(found.ground))
    for side, first, last in found.runs:
        way = velocities(found.soles[side], motion.times)[first:last] @ found.ground / passing
        window = np.ones(min(int(RATE * LEAST_STANCE), len(way)))
        even = np.convolve(way, window / len(window), "valid")
        most = even[int(np.abs(even - passing).argmax())]
        name = f"{side_name(side)} foot, {_span(motion, first, last)}"
        parts.append((name, 100 * abs(float(most) - passing) / passing))
        runs[name] = side, first, last, float(most)
    name, number = worst(parts)
    side, first, last, most = runs[name]
    path = found.soles[side] - motion.times[:, None, None] * found.ground
    slid = abs(most - passing) * LEAST_STANCE
    foot, when = name.split(", ")
    return Measured(
        number,
        f"The ground passes at {passing:.2g} m/s on the whole; below the {foot} it passes at"
        f" {_speed(most)} m/s for a moment, between {when.replace(' to ', ' and ')}.",
        tuple(parts),
        lambda kind: pictures.slide(
            subject, path[first], path[last], slid, f"{_speed(most)} m/s", kind
        ),
        where=_at(motion, first, _foot(subject, side)),
    )


def _speed(number: float) -> str:
    return f"{number:.2g}".replace("-", "−")


@rule(
    "through-floor",
    "Nothing goes through the floor",
    fault="A leg or the pelvis goes through the floor",
    limit=("at most", 2.0, SHARE),
    severity="moderate",
    needs=("skin", "moves"),
    because="1.6 cm on a leg of 80 cm: less is hidden by a soft sole, or by grass; " + CHOSEN,
    why="A foot, a knee or a seat below the floor is cut off by it, and stands on nothing.",
    todo="Raise the foot's goal, or the pelvis, at the moment it says, until the sole is on the "
    "floor.",
)
def through_floor(subject: Subject, motion: Motion) -> Outcome:
    """The depth of feet, knees and pelvis below where feet stand."""
    found = _feet(subject, motion)
    if isinstance(found, Unmeasured):
        return Unmeasured(f"where the floor is cannot be told: {found.reason}")
    lowest = min(found.floors.values())
    paths = {
        f"{side_name(side)} foot": (path, found.floors[side]) for side, path in found.soles.items()
    }
    paths |= {name: (path, lowest) for name, path in body_paths(subject, motion).items()}
    parts, at = [], {}
    for name, (path, floor) in paths.items():
        depth = floor - path[..., 1]
        frame, point = divmod(int(depth.argmax()), depth.shape[1])
        deep = max(float(depth[frame, point]), 0.0)
        parts.append((name, subject.share(deep)))
        at[name] = frame, path[frame, point], floor, deep
    name, number = worst(parts)
    frame, point, floor, deep = at[name]
    when = f"{motion.times[frame]:.2f} s"
    return Measured(
        number,
        f"The {name} is {cm(deep)} below the floor at {when}; the floor is where feet stand."
        if deep > 0.001
        else "Feet, knees and pelvis stay above the floor; the floor is where feet stand.",
        tuple(parts),
        lambda kind: pictures.below(subject, motion, frame, point, floor, cm(deep), kind),
        where=_at(motion, frame),
    )


@rule(
    "extension-pop",
    "No leg snaps straight",
    fault="A leg snaps straight",
    limit=("at most", 600.0, "° a second"),
    severity="moderate",
    needs=("moves",),
    because="by so much the speed of its bend changes within a sixtieth of a second near full "
    "reach; in a free walk the published knees' does by up to 100 (Schwartz 2008, computed), by "
    f"215 where there are 24 keys a second; {CHOSEN}",
    why="A goal at the edge of reach makes the knee snap: a millimetre there is five degrees.",
    todo="Lower the pelvis, or ease the goal into the last centimetres of reach.",
)
def extension_pop(subject: Subject, motion: Motion) -> Outcome:
    if len(motion.times) < 3:
        return Unmeasured("it has fewer than three samples")
    parts, worst_at, reach = [], {}, {}
    for side in subject.sides:
        share, bend = _reach_and_bend(subject, side, motion)
        speed = np.degrees(np.diff(bend) / np.diff(motion.times))
        jump = np.abs(np.diff(speed))
        near = np.max([share[:-2], share[1:-1], share[2:]], axis=0) >= NEAR_REACH
        jump = np.where(near, jump, 0.0)
        parts.append((side_name(side), float(jump.max())))
        worst_at[side_name(side)] = side, int(jump.argmax()), speed
        reach[side_name(side)] = float(share.max())
    name, number = worst(parts)
    side, at, speed = worst_at[name]
    said = (
        f"Near full reach, at {motion.times[at + 1]:.2f} s, the {name} leg goes at once from"
        f" {_doing(speed[at])} to {_doing(speed[at + 1])}."
        if number >= 0.5
        else "Near full reach no leg changes the speed at which it bends."
    )
    farthest, share_of_it = worst([*reach.items()])
    if share_of_it < NEAR_REACH:
        said = (
            f"No leg comes near full reach; the {farthest} one reaches {100 * share_of_it:.1f} %"
            " of it."
        )
    return Measured(
        number,
        said,
        tuple(parts),
        lambda kind: pictures.two_frames(
            subject, side, motion, at, at + 2, f"{number:.0f}°/s", kind
        ),
        where=_at(motion, at + 1, subject.joint(side, subject.legs.legs[side].bend)),
    )


def _doing(speed: float) -> str:
    if abs(speed) < 0.5:
        return "staying as it is"
    return f"{'bending' if speed > 0 else 'straightening'} at {abs(speed):,.0f}° a second"


def _reach_and_bend(subject: Subject, side: str, motion: Motion) -> tuple[Floats, Floats]:
    """The reach of a leg as a share of its length, and its bend in radians; shapes (f,).

    A bend to the other side than the plainest one is negative.
    """
    leg = subject.legs.legs[side]
    nodes = [leg.joints[part] for part in leg.chain[-3:]]
    points = motion.points(nodes)
    upper, lower = points[:, 1] - points[:, 0], points[:, 2] - points[:, 1]
    whole = np.linalg.norm(upper, axis=-1) + np.linalg.norm(lower, axis=-1)
    share = np.linalg.norm(upper + lower, axis=-1) / np.maximum(whole, 1e-12)
    normal = np.cross(upper, lower)
    turns = _rotations_from_rest(subject, motion, nodes[0])
    own = (np.swapaxes(turns, -1, -2) @ normal[..., None])[..., 0]  # as the upper bone sees it
    plainest = own[int(np.linalg.norm(own, axis=-1).argmax())]
    way = np.where(own @ plainest < 0, -1.0, 1.0)
    bend = np.arctan2(np.linalg.norm(normal, axis=-1), np.sum(upper * lower, axis=-1))
    return share, way * bend


@rule(
    "knee-flip",
    "No knee flips",
    fault="A knee flips",
    limit=("at most", 90.0, "°"),
    severity="serious",
    needs=("moves",),
    because=f"within a tenth of a second; no leg turns about itself that fast; {CHOSEN}",
    why="A goal that crosses the line of the pole throws the knee to the other side.",
    todo="Keep the pole in front of the knee and away from the line from hip to ankle; let it "
    "follow the foot.",
)
def knee_flip(subject: Subject, motion: Motion) -> Measured:
    parts, worst_at = [], {}
    for side in subject.sides:
        turn, first, last = _fastest_turn(subject, side, motion)
        parts.append((side_name(side), turn))
        worst_at[side_name(side)] = side, first, last
    side, number = worst(parts)
    key, first, last = worst_at[side]
    upper, joint, lower = subject.legs.legs[key].chain[-3:]
    when = f", from {motion.times[first]:.2f} to {motion.times[last]:.2f} s" if number > 1 else ""
    said = (
        f"Within {FLIP_WINDOW:g} s the {side} {joint} turns at most {number:.0f}° about the line"
        f" from {upper} to {lower}{when}."
    )
    return Measured(
        number,
        said,
        tuple(parts),
        lambda kind: pictures.two_frames(subject, key, motion, first, last, f"{number:.0f}°", kind),
        where=_at(motion, last, subject.joint(key, joint)),
    )


def _fastest_turn(subject: Subject, side: str, motion: Motion) -> tuple[float, int, int]:
    """The largest turn of a knee about its leg within the window, degrees, and its two frames."""
    leg = subject.legs.legs[side]
    root, middle, end = np.moveaxis(
        motion.points([leg.joints[part] for part in leg.chain[-3:]]), 1, 0
    )
    _, bend = _reach_and_bend(subject, side, motion)
    pelvis = np.swapaxes(_rotations_from_rest(subject, motion, subject.root), -1, -2)
    line, knee = ((pelvis @ way[..., None])[..., 0] for way in (end - root, middle - root))
    length = np.linalg.norm(line, axis=-1, keepdims=True)
    clear = (np.degrees(np.abs(bend)) > BENT_DEG) & (length[:, 0] > 1e-6)
    line = line / np.maximum(length, 1e-12)
    ahead = knee - np.sum(knee * line, axis=-1, keepdims=True) * line
    best = 0.0, 0, 0
    for apart in range(1, min(int(FLIP_WINDOW * RATE), len(line) - 1) + 1):
        both = np.flatnonzero(clear[apart:] & clear[:-apart])
        if not len(both):
            continue
        carried = (rotation.matrix_between(line[both], line[both + apart]) @ ahead[both, :, None])[
            ..., 0
        ]
        turn = np.degrees(rotation.angle_between(carried, ahead[both + apart]))
        if turn.max() > best[0]:
            at = both[int(turn.argmax())]
            best = float(turn.max()), int(at), int(at + apart)
    return best


@rule(
    "human-range",
    "Joints stay within human range",
    fault="A joint goes beyond human range",
    limit=("at most", 15.0, "°"),
    severity="slight",
    needs=("moves",),
    because="beyond the AAOS averages; people differ by up to 10° (standard deviations of Boone "
    f"and Azen 1979, from memory); {CHOSEN}",
    why="A joint far beyond its range looks broken, unless that is meant.",
    todo="Look at the moment it says: share the motion with the joints above and below.",
)
def human_range(subject: Subject, motion: Motion) -> Outcome:
    if not subject.of_a_person:
        return Unmeasured("these are not a person's legs")
    parts, at = [], {}
    for side in subject.sides:
        for joint, angles in anatomical_angles(subject, side, motion).items():
            outside = np.degrees(body.joint_range(joint).outside(angles))
            i = int(np.abs(outside).argmax())
            name = f"{side_name(side)} {joint.replace('_', ' ')}"
            parts.append((name, abs(float(outside[i]))))
            at[name] = side, i, float(np.degrees(angles[i])), joint
    name, number = worst(parts)
    side, i, angle, joint = at[name]
    low, high = (np.degrees(getattr(body.joint_range(joint), end)) for end in ("low", "high"))
    said = "Every joint stays within the average human range."
    if number > 0.5:
        said = (
            f"The {name} turns to {_whole(angle)}° at {motion.times[i]:.2f} s, {number:.0f}° beyond"
            f" the average range of {_whole(low)}° to {high:.0f}°."
        )
    return Measured(
        number,
        f"{said} {body.CAUTION}",
        tuple(parts),
        lambda kind: pictures.two_frames(subject, side, motion, i, i, f"{_whole(angle)}°", kind),
        where=_at(motion, i, subject.joint(side, joint.split("_")[0])),
    )


def _whole(number: float) -> str:
    return f"{number:.0f}".replace("-", "−")


def anatomical_angles(subject: Subject, side: str, motion: Motion) -> dict[str, Floats]:
    """Return a leg's joint angles as anatomy has them: zero is standing straight.

    As in `LegRig.angles`; the frames are laid into the joints at rest.

    Parameters
    ----------
    subject : Subject
    side : {"L", "R"}
    motion : Motion
        Of f frames.

    Returns
    -------
    dict of str to ndarray, shape (f,)
        Radians, by the names of `body.joint_range`.
    """
    leg = subject.legs.legs[side]
    hip, knee, ankle = (leg.joints[part] for part in ("hip", "knee", "ankle"))
    thigh, shank, _ = placement.orient_chain(subject.chain(side))[:, :3, :3]
    if thigh[0, 0] < 0:  # a leg that bends the wrong way has the same anatomy
        thigh, shank = thigh * [-1, 1, -1], shank * [-1, 1, -1]
    ahead = subject.toe_direction(side)
    foot = np.column_stack([np.cross([0, 1, 0], ahead), [0, 1, 0], ahead])
    turned = {
        node: _rotations_from_rest(subject, motion, node)
        for node in (subject.root, hip, knee, ankle)
    }
    thigh, shank, foot = turned[hip] @ thigh, turned[knee] @ shank, turned[ankle] @ foot
    hips = rotation.euler_from_matrix(np.swapaxes(turned[subject.root], -1, -2) @ thigh, TURN_ORDER)
    outward = 1.0 if side == "L" else -1.0
    return {
        "hip": -hips[..., 0],
        "hip_abduction": outward * hips[..., 1],
        "hip_rotation": -outward * hips[..., 2],
        "knee": rotation.euler_from_matrix(np.swapaxes(thigh, -1, -2) @ shank, TURN_ORDER)[..., 0],
        "ankle": -rotation.euler_from_matrix(np.swapaxes(shank, -1, -2) @ foot, TURN_ORDER)[..., 0],
    }


def _rotations_from_rest(subject: Subject, motion: Motion, node: int) -> Floats:
    """The rotations of a node from rest, in the world, shape (f, 3, 3)."""
    change = motion.frames(node)[:, :3, :3] @ np.linalg.inv(subject.rest[node, :3, :3])
    return rotation.orthonormalise(change)


@rule(
    "bone-length",
    "The legs' bones keep their length",
    fault="A bone of a leg changes its length",
    limit=("at most", 5.0, "%"),
    severity="slight",
    needs=("moves",),
    because="of its length at rest; a little stretch may be meant, and hides in the skin; "
    f"{CHOSEN}",
    why="A bone that stretches thins the skin along it, and other programs and games may drop the "
    "stretch.",
    todo="If it is not meant, key turns only, not places or scales, on the joints below the hip; "
    "bring the goal within reach.",
)
def bone_length(subject: Subject, motion: Motion) -> Outcome:
    parts, at = [], {}
    for side in subject.sides:
        for upper, lower in subject.bones(side):
            nodes = [subject.joint(side, part) for part in (upper, lower)]
            rest = float(np.linalg.norm(np.diff(subject.points[nodes], axis=0)))
            if rest <= TOO_SHORT * subject.length:  # also where both are nothing
                continue
            length = np.linalg.norm(np.diff(motion.points(nodes), axis=1)[:, 0], axis=-1) / rest
            frame = int(np.abs(length - 1).argmax())
            name = f"{side_name(side)} {upper} to {lower}"
            parts.append((name, 100 * abs(float(length[frame]) - 1)))
            at[name] = side, frame, float(length[frame]), int(np.abs(length - 1).argmin()), nodes
    if not parts:
        return Unmeasured("the legs' joints lie too close together to speak of bones")
    name, number = worst(parts)
    side, frame, length, other, nodes = at[name]
    text = f"{100 * length:.3g} %"
    said = "Every bone of the legs keeps its length."
    if number >= 0.1:
        said = (
            f"The bone from {name} comes to {text} of its length at rest, at"
            f" {motion.times[frame]:.2f} s."
        )
    return Measured(
        number,
        said,
        tuple(parts),
        lambda kind: pictures.two_frames(
            subject, side, motion, min(other, frame), max(other, frame), text, kind
        ),
        where=_at(motion, frame, *nodes),
    )


@rule(
    "loop-closes",
    "A loop closes",
    fault="A loop does not close",
    limit=("at most", 1.0, SHARE),
    severity="moderate",
    needs=("moves",),
    because=f"8 mm on a leg of 80 cm, for what jumps in place or does so in a tenth of a second by "
    f"a jump of speed; {CHOSEN}",
    why="Played again and again, the legs jerk each time the last frame is followed by the first.",
    todo="Make the last key the same as the first, and let curves leave the first as they reach "
    "the last.",
)
def loop_closes(subject: Subject, motion: Motion) -> Outcome:
    """The gap at the seam, or what a jump of speed there makes beyond twice any in the clip."""
    legs = [leg.joints.values() for leg in subject.legs.legs.values()]
    nodes = list(dict.fromkeys([subject.root, *(node for joints in legs for node in joints)]))
    points = motion.points(nodes) - motion.points([subject.root]) * [1, 0, 1]
    moved = float(np.linalg.norm(points - points[0], axis=-1).max())
    if len(points) < 4 or moved < HARDLY * subject.length:
        return Unmeasured("it hardly moves, so there is no telling whether it is a loop")
    gap = np.linalg.norm(points[-1] - points[0], axis=-1)
    open_by = cm(float(gap.max()))
    jump, inside, at_ends = _seam(points, motion.times)
    if gap.max() > max(SEEMS_A_LOOP * moved, KEY_LASTS * at_ends):
        return Unmeasured(f"it does not seem to be a loop: it ends {open_by} from where it began")
    beyond = SEAM_LASTS * np.maximum(jump - USUAL_JUMPS * inside, 0.0)
    names = [subject.names[node] for node in nodes]
    parts = [(name, subject.share(float(off))) for name, off in zip(names, gap, strict=True)]
    parts += [
        (f"{name}, by its speed", subject.share(float(off)))
        for name, off in zip(names, beyond, strict=True)
    ]
    name, number = worst(parts)
    place = parts.index((name, number))
    joint = place % len(nodes)
    if number < 0.1:
        said = "Its last frame fits its first, in pose and in speed."
    elif place < len(nodes):
        said = f"Its last frame fits its first to {open_by}, farthest off at {name}."
    else:
        said = (
            f"Where it begins anew, {names[joint]} changes its speed by {jump[joint]:.2g} m/s at"
            f" once; inside the clip nothing does by more than {inside:.2g} m/s."
        )
    side = next((s for s in subject.sides if nodes[joint] in subject.leg_nodes(s)), "L")
    return Measured(
        number,
        said,
        tuple(parts),
        lambda kind: _seam_drawn(subject, side, motion, open_by, kind),
        where=_at(motion, len(motion.times) - 1, nodes[joint]),
    )


def _seam(points: Floats, times: Floats) -> tuple[Floats, float, float]:
    """Each joint's change of speed from the last step to the first; the largest inside; and the
    largest speed in the slower of the two steps, as a clip may begin with a jump from another
    pose."""
    speed = np.diff(points, axis=0) / np.diff(times)[:, None, None]
    inside = np.linalg.norm(np.diff(speed, axis=0), axis=-1).max()
    at_ends = np.linalg.norm(speed[[0, -1]], axis=-1).max(axis=-1).min()
    return np.linalg.norm(speed[0] - speed[-1], axis=-1), float(inside), float(at_ends)


def _seam_drawn(subject: Subject, side: str, motion: Motion, text: str, kind: str) -> Picture:
    side = side if side in subject.sides else subject.sides[0]
    last = len(motion.times) - 1
    return pictures.two_frames(subject, side, motion, 0, last, text, kind)


RULES = (
    foot_slide,
    ground_speed,
    through_floor,
    extension_pop,
    knee_flip,
    human_range,
    bone_length,
    loop_closes,
)
