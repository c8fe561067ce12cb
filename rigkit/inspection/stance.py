"""Feet in an animation: their soles, when and how high they stand, the ground that passes."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np

from rigkit._types import Bools, Floats
from rigkit.inspection.subject import Motion, Subject, Surface

# Shares of the leg's length. A foot within a tenth of its lift from its floor may be standing, if
# that is neither less than the first nor more than the second: a foot that hardly lifts rests on
# its skin, and one that is flung high comes down roughly.
LIFT, LEAST_NEAR, MOST_NEAR = 0.1, 0.012, 0.04
STEP = 0.05  # of the leg's length: so much higher than the other a foot may stand
STILL = 0.3  # leg lengths a second: a standing foot is no faster, or no faster than the body
TRIM = 0.05  # s, or a quarter: a foot comes down and takes off at both ends of a stance
LEAST_STANCE = 0.1  # s
TOUCHES = 1e-6  # metres above the sole's lowest point
# Pitches and rolls at which the lowest point of a foot's skin is one of its sole.
PITCHES_DEG, ROLLS_DEG = (-60, -30, -15, -5, 0, 5, 15, 30, 60), (-20, 0, 20)
ROUND = np.array([way for way in product((-1.0, 0.0, 1.0), repeat=3) if any(way)])


@dataclass(frozen=True, eq=False)
class Footing:
    """The feet on the floor in an animation of f frames; dicts go by side.

    Attributes
    ----------
    soles : dict of ndarray, shape (f, n, 3)
        Paths of points of a foot's sole.
    floors : dict of float
        The height at which a foot stands, if it does.
    stances : dict of ndarray of bool, shape (f,)
        The frames in which a foot stands, without the beginnings and ends.
    ground : ndarray, shape (3,)
        The velocity of the ground below a body that walks on the spot, m/s; else zero.
    slowest : float
        The least speed of a foot near its floor, m/s; infinite if none comes near.
    """

    soles: dict[str, Floats]
    floors: dict[str, float]
    stances: dict[str, Bools]
    ground: Floats
    slowest: float

    @property
    def on_the_spot(self) -> bool:
        """True if the ground passes below the body."""
        return bool(self.ground.any())

    @property
    def runs(self) -> list[tuple[str, int, int]]:
        """Side, first and last frame of every stance."""
        return [
            (side, first, last)
            for side, stance in self.stances.items()
            for first, last in runs_of(stance)
        ]


def footing(subject: Subject, motion: Motion) -> Footing:
    """Return where and when the feet stand in an animation of two frames or more.

    Parameters
    ----------
    subject : Subject
    motion : Motion

    Returns
    -------
    Footing
    """
    times, length = motion.times, subject.length
    soles = {side: sole_paths(subject, side, motion) for side in subject.sides}
    low = {side: path[..., 1].min(axis=-1) for side, path in soles.items()}
    reach = {
        side: float(np.clip(LIFT * np.ptp(height), LEAST_NEAR * length, MOST_NEAR * length))
        for side, height in low.items()
    }
    own = {side: _usual_height(low[side], reach[side]) for side in soles}
    lowest = min(own.values())
    floors = {side: at if at <= lowest + STEP * length else lowest for side, at in own.items()}
    near = {side: low[side] <= floors[side] + reach[side] for side in soles}
    root = motion.points([subject.root])[:, 0]
    ground = _passing_ground(subject, soles, near, root, times)
    body = np.linalg.norm(np.diff((root - times[:, None] * ground)[:, [0, 2]], axis=0), axis=-1)
    slow = max(float(np.median(body / np.diff(times))), STILL * length)
    stances, slowest = {}, np.inf
    for side, path in soles.items():
        speed = speeds(path, ground, times)
        both = near[side][1:] & near[side][:-1]
        slowest = min(slowest, float(np.where(both, speed, np.inf).min()))
        still = np.concatenate([[speed[0] < slow], speed < slow])
        stances[side] = _trim(near[side] & still, times)
    return Footing(soles, floors, stances, ground, slowest)


def speeds(path: Floats, ground: Floats, times: Floats) -> Floats:
    """Return how fast a foot moves over ground that moves itself, m/s.

    Parameters
    ----------
    path : ndarray, shape (f, n, 3)
        Of a sole's points; the lowest counts, as `gait.foot_slide_cm` has it.
    ground : ndarray, shape (3,)
    times : ndarray, shape (f,)

    Returns
    -------
    ndarray, shape (f − 1,)
    """
    moved = steps(path - times[:, None, None] * ground)
    return np.asarray(np.linalg.norm(moved, axis=-1) / np.diff(times))


def steps(path: Floats) -> Floats:
    """Return how a foot that stands slides from each frame to the next, level.

    As `gait.foot_slide_cm` measures it, with its direction: the lowest point counts; where that is
    another one in the next frame, of both the one that moves less.

    Parameters
    ----------
    path : ndarray, shape (f, n, 3)
        Of a sole's points.

    Returns
    -------
    ndarray, shape (f − 1, 3)
    """
    height = path[..., 1]
    low = height <= height.min(axis=-1, keepdims=True) + TOUCHES
    stays, either = low[1:] & low[:-1], low[1:] | low[:-1]
    watched = np.where(stays.any(axis=-1, keepdims=True), stays, either)
    moved = np.diff(path, axis=0) * [1, 0, 1]
    least = np.where(watched, np.linalg.norm(moved, axis=-1), np.inf).argmin(axis=-1)
    return np.take_along_axis(moved, least[:, None, None], axis=1)[:, 0]


def velocities(path: Floats, times: Floats) -> Floats:
    """Return the velocity of the lowest point of a sole in each step, level, m/s.

    Parameters
    ----------
    path : ndarray, shape (f, n, 3)
    times : ndarray, shape (f,)

    Returns
    -------
    ndarray, shape (f − 1, 3)
    """
    lowest = (path[1:, :, 1] + path[:-1, :, 1]).argmin(axis=-1)
    step = np.take_along_axis(np.diff(path, axis=0), lowest[:, None, None], axis=1)[:, 0]
    return step * [1, 0, 1] / np.diff(times)[:, None]


def runs_of(flags: Bools) -> list[tuple[int, int]]:
    """Return the first and last place of every run of true.

    Parameters
    ----------
    flags : ndarray of bool, shape (f,)

    Returns
    -------
    list of tuple of (int, int)
    """
    edges = np.flatnonzero(np.diff(np.concatenate([[0], flags.astype(int), [0]])))
    return [(int(a), int(b) - 1) for a, b in edges.reshape(-1, 2)]


def _usual_height(height: Floats, near: float) -> float:
    """The lowest height from which on a foot is at least half as often as from any other.

    A quarter of the way through the frames there: the lowest few may go through the floor.
    """
    ordered = np.sort(height.round(9))
    often = np.searchsorted(ordered, ordered + near, side="right") - np.arange(len(ordered))
    first = int(np.flatnonzero(2 * often >= often.max())[0])
    return float(ordered[first + often[first] // 4])


def _passing_ground(
    subject: Subject, soles: dict[str, Floats], near: dict[str, Bools], root: Floats, times: Floats
) -> Floats:
    passing = np.concatenate(
        [velocities(path, times)[near[side][1:] & near[side][:-1]] for side, path in soles.items()]
    )
    if not len(passing):
        return np.zeros(3)
    ground = np.median(passing, axis=0)
    passed = np.linalg.norm(ground) * (times[-1] - times[0])
    went = np.linalg.norm((root[-1] - root[0])[[0, 2]])
    return ground if passed > 0.3 * subject.length and went < 0.25 * passed else np.zeros(3)


def _trim(stance: Bools, times: Floats) -> Bools:
    """Stance without its beginnings and ends, and without what is too short."""
    kept = np.zeros_like(stance)
    for first, last in runs_of(stance):
        lasts = times[last] - times[first]
        cut = min(TRIM, lasts / 4)
        if lasts >= LEAST_STANCE:
            inside = (times >= times[first] + cut) & (times <= times[last] - cut)
            kept |= inside
    return kept


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
    pitch, roll = np.meshgrid(np.radians(PITCHES_DEG), np.radians(ROLLS_DEG))
    down = np.stack(
        [np.sin(roll), np.cos(roll) * np.cos(pitch), np.cos(roll) * np.sin(pitch)], axis=-1
    ).reshape(-1, 3)
    points = _skin_points(subject.surface, [joints[part] for part in parts], down)
    if not points:
        points = [(joints[part], subject.points[joints[part]] * [1, 0, 1]) for part in parts]
    return _carried(subject, motion, points)


def body_paths(subject: Subject, motion: Motion) -> dict[str, Floats]:
    """Return the paths of points around knees and pelvis, of their skin where there is one.

    Parameters
    ----------
    subject : Subject
    motion : Motion
        Of f frames.

    Returns
    -------
    dict of str to ndarray, shape (f, n, 3)
        By what they are of, such as "left knee".
    """
    nodes = {} if subject.legs.pelvis is None else {"pelvis": subject.root}
    for side, word in (("L", "left"), ("R", "right")):
        if side in subject.sides:
            nodes[f"{word} knee"] = subject.joint(side, "knee")
    return {
        name: _carried(
            subject,
            motion,
            _skin_points(subject.surface, [node], ROUND) or [(node, subject.points[node])],
        )
        for name, node in nodes.items()
    }


def _carried(subject: Subject, motion: Motion, points: list[tuple[int, Floats]]) -> Floats:
    """The paths of points at rest, each fixed to a node."""
    paths = []
    for node, point in points:
        local = np.linalg.inv(subject.rest[node]) @ [*point, 1.0]
        paths.append(motion.frames(node) @ local)
    return np.stack(paths, axis=1)[..., :3]


def _skin_points(
    surface: Surface | None, nodes: list[int], down: Floats
) -> list[tuple[int, Floats]]:
    """The points of the skin of some nodes lowest in some directions, each with its node."""
    if surface is None:
        return []
    owner = surface.strongest()
    mine = np.flatnonzero(np.isin(owner, nodes))
    if len(mine) < 8:
        return []
    points = surface.vertices[mine]
    # Rounded, so that of a flat sole's points the same ones are taken however the file is turned.
    lowest = np.unique((points @ down.T).round(7).argmin(axis=0))
    return [(int(owner[mine[i]]), points[i]) for i in lowest]
