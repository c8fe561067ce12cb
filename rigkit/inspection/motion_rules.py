"""Rules on each animation: no sliding feet, no popping or flipping knees, human joint angles."""

import numpy as np

from rigkit import body, gait, placement, rotation
from rigkit._types import Bools, Floats
from rigkit.controls import TURN_ORDER
from rigkit.inspection import pictures
from rigkit.inspection.rule import CHOSEN, Measured, Outcome, Unmeasured, rule, worst
from rigkit.inspection.subject import RATE, Motion, Subject, Surface, side_name

NEAR_FLOOR = 0.012  # of the leg's length: a foot no higher may be standing
STILL = 0.3  # leg lengths a second: a standing foot is no faster, or no faster than the body
TRIM = 0.05  # s at both ends of a stance that do not count: the foot comes down and takes off there
LEAST_STANCE = 0.1  # s
NEAR_REACH = 0.99  # as gait.extension_pops has it
BENT_DEG = 10.0  # a knee bent less has no direction to speak of
FLIP_WINDOW = 0.1  # s
# Pitches and rolls at which the lowest point of a foot's skin is one of its sole.
PITCHES_DEG, ROLLS_DEG = (-60, -30, -15, -5, 0, 5, 15, 30, 60), (-20, 0, 20)


@rule(
    "foot-slide",
    "A foot that stands does not slide",
    fault="A foot slides while it stands",
    limit=("at most", 2.0, "cm"),
    severity="moderate",
    needs=("moves",),
    because=f"in one stance; less is hidden by a sole that rolls; {CHOSEN}",
    why="Feet that slide look like skating: the eye knows that the ground holds them.",
    todo="Plant the foot: hold its goal where it came down until it leaves, and let the leg "
    "follow.",
)
def foot_slide(subject: Subject, motion: Motion) -> Outcome:
    times, length = motion.times, subject.length
    if len(times) < 3:
        return Unmeasured("it has fewer than three samples")
    soles = {side: sole_paths(subject, side, motion) for side in subject.sides}
    low = {side: path[..., 1].min(axis=-1) for side, path in soles.items()}
    floor = min(height.min() for height in low.values())
    near = {side: height - floor < NEAR_FLOOR * length for side, height in low.items()}
    root = motion.points([subject.root])[:, 0]
    ground = _passing_ground(subject, soles, near, root, times)
    carried = root - times[:, None] * ground
    parts, runs = [], {}
    for side, path in soles.items():
        path = path - times[:, None, None] * ground
        stance = _stance(path, near[side], carried, times, STILL * length)
        slide = gait.foot_slide_cm(path, stance)
        for first, last in _runs(stance):
            name = f"{side_name(side)} foot, {times[first]:.2f} to {times[last]:.2f} s"
            parts.append((name, float(slide[first + 1 : last + 1].sum())))
            runs[name] = side, first, last, path
    if not parts:
        return Unmeasured("no foot stands on the floor in it for a tenth of a second")
    name, number = worst(parts)
    side, first, last, path = runs[name]
    speed = np.linalg.norm(ground)
    spot = f" It is on the spot: the ground passes at {speed:.2g} m/s." if speed else ""
    return Measured(
        number,
        f"The {side_name(side)} foot slides {number:.2g} cm while it stands, from "
        f"{times[first]:.2f} to {times[last]:.2f} s; in all "
        f"a foot stood {len(parts)} {'time' if len(parts) == 1 else 'times'}.{spot}",
        tuple(parts),
        lambda kind: pictures.slide(subject, path[first], path[last], number, kind),
    )


def _stance(path: Floats, near: Bools, carried: Floats, times: Floats, slow: float) -> Bools:
    """The frames in which a foot stands: near the floor, and slow or no faster than the body."""
    step = np.diff(times)[:, None]
    speed = np.linalg.norm(np.diff(carried[:, [0, 2]], axis=0) / step, axis=-1)
    moved = gait.foot_slide_cm(path, np.ones(len(path), bool)) / 100
    still = moved[1:] / step[:, 0] < max(float(np.median(speed)), slow)
    return _trim(near & np.concatenate([[True], still]), times)


def _passing_ground(
    subject: Subject, soles: dict[str, Floats], near: dict[str, Bools], root: Floats, times: Floats
) -> Floats:
    """The ground's velocity below a body that walks on the spot, (3,); else zero."""
    speeds = []
    for side, path in soles.items():
        middle = path[:, :, [0, 2]].mean(axis=1)
        speed = np.diff(middle, axis=0) / np.diff(times)[:, None]
        speeds.append(speed[near[side][1:] & near[side][:-1]])
    passing = np.concatenate(speeds)
    if not len(passing):
        return np.zeros(3)
    ground = np.median(passing, axis=0)
    passed, went = (
        np.linalg.norm(ground) * (times[-1] - times[0]),
        np.linalg.norm((root[-1] - root[0])[[0, 2]]),
    )
    on_the_spot = passed > 0.3 * subject.length and went < 0.25 * passed
    return np.array([ground[0], 0.0, ground[1]]) if on_the_spot else np.zeros(3)


def _trim(stance: Bools, times: Floats) -> Bools:
    """Stance without its beginnings and ends, and without what is too short."""
    kept = np.zeros_like(stance)
    for first, last in _runs(stance):
        inside = (times >= times[first] + TRIM) & (times <= times[last] - TRIM)
        inside[:first] = inside[last + 1 :] = False
        if inside.any() and np.ptp(times[inside]) >= LEAST_STANCE:
            kept |= inside
    return kept


def _runs(flags: Bools) -> list[tuple[int, int]]:
    """The first and last place of every run of true."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in edges.reshape(-1, 2)]


def sole_paths(subject: Subject, side: str, motion: Motion) -> Floats:
    """Return the paths of points of a foot's sole.

    Without a skin they are on the floor below the foot's joints.

    Parameters
    ----------
    subject : Subject
    side : {"L", "R"}
    motion : Motion
        Of f frames.

    Returns
    -------
    ndarray, shape (f, n, 3)
    """
    joints = subject.legs.legs[side].joints
    parts = [part for part in (subject.legs.legs[side].chain[-1], "ball", "toe") if part in joints]
    points = (
        _skin_sole(subject.surface, [joints[part] for part in parts]) if subject.surface else None
    )
    if points is None:
        points = [(joints[part], subject.points[joints[part]] * [1, 0, 1]) for part in parts]
    paths = []
    for node, point in points:
        local = np.linalg.inv(subject.rest[node]) @ [*point, 1.0]
        paths.append(motion.frames(node) @ local)
    return np.stack(paths, axis=1)[..., :3]


def _skin_sole(surface: Surface, nodes: list[int]) -> list[tuple[int, Floats]] | None:
    """The points of a foot's skin lowest in some pitch and roll, each with its strongest joint."""
    owner = surface.strongest()
    mine = np.flatnonzero(np.isin(owner, nodes))
    if len(mine) < 8:
        return None
    points = surface.vertices[mine]
    pitch, roll = np.meshgrid(np.radians(PITCHES_DEG), np.radians(ROLLS_DEG))
    down = np.stack(
        [np.sin(roll), np.cos(roll) * np.cos(pitch), np.cos(roll) * np.sin(pitch)], axis=-1
    ).reshape(-1, 3)
    lowest = np.unique((points @ down.T).argmin(axis=0))
    return [(int(owner[mine[i]]), points[i]) for i in lowest]


@rule(
    "extension-pop",
    "No leg snaps straight",
    fault="A leg snaps straight",
    limit=("at most", 600.0, "° a second"),
    severity="moderate",
    needs=("moves",),
    because="published knees turn at up to 332° a second in a free walk (Schwartz 2008, computed); "
    "nearly twice that is a snap",
    why="A goal at the edge of reach makes the knee snap: a millimetre there is five degrees.",
    todo="Lower the pelvis, or ease the goal into the last centimetres of reach.",
)
def extension_pop(subject: Subject, motion: Motion) -> Outcome:
    parts, worst_at, reach = [], {}, {}
    for side in subject.sides:
        share, bend = _reach_and_bend(subject, side, motion)
        if len(bend) < 2:
            return Unmeasured("it has one sample only")
        near = np.maximum(share[1:], share[:-1]) >= NEAR_REACH
        speed = np.where(near, np.degrees(np.abs(np.diff(bend)) / np.diff(motion.times)), 0.0)
        parts.append((side_name(side), float(speed.max())))
        worst_at[side_name(side)] = side, int(speed.argmax())
        reach[side_name(side)] = float(share.max())
    name, number = worst(parts)
    side, at = worst_at[name]
    said = (
        f"Near full reach the {name} leg bends or straightens at up to {number:.0f}° a second, at "
        f"{motion.times[at]:.2f} s."
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
            subject, side, motion, at, at + 1, f"{number:.0f}°/s", kind
        ),
    )


def _reach_and_bend(subject: Subject, side: str, motion: Motion) -> tuple[Floats, Floats]:
    """The reach of a leg as a share of its length, and its bend in radians; shapes (f,)."""
    leg = subject.legs.legs[side]
    points = motion.points([leg.joints[part] for part in leg.chain[-3:]])
    upper, lower = points[:, 1] - points[:, 0], points[:, 2] - points[:, 1]
    whole = np.linalg.norm(upper, axis=-1) + np.linalg.norm(lower, axis=-1)
    share = np.linalg.norm(upper + lower, axis=-1) / np.maximum(whole, 1e-12)
    bend = np.arctan2(
        np.linalg.norm(np.cross(upper, lower), axis=-1), np.sum(upper * lower, axis=-1)
    )
    return share, bend


@rule(
    "knee-flip",
    "No knee flips",
    fault="A knee flips",
    limit=("at most", 90.0, "°"),
    severity="serious",
    needs=("moves",),
    because=f"within a tenth of a second; no thigh rotates that fast; {CHOSEN}",
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
    joint = subject.legs.legs[key].bend
    when = f", from {motion.times[first]:.2f} to {motion.times[last]:.2f} s" if number > 1 else ""
    said = (
        f"Within {FLIP_WINDOW:g} s the {side} {joint} turns at most {number:.0f}° about the line"
        f" from hip to ankle{when}."
    )
    return Measured(
        number,
        said,
        tuple(parts),
        lambda kind: pictures.two_frames(subject, key, motion, first, last, f"{number:.0f}°", kind),
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
    clear = (np.degrees(bend) > BENT_DEG) & (length[:, 0] > 1e-6)
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
    if subject.bend_sign < 0:
        return Unmeasured("legs of three bones are not a human's")
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


RULES = (foot_slide, extension_pop, knee_flip, human_range)
