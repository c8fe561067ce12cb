"""Whole legs: from hip, knee and ankle to a third bone and a foot where there are any."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigkit._types import Bools, Floats, Ints
from rigkit.inspection.corrections import Corrections
from rigkit.inspection.tree import CHAINS, FOOT_PARTS, Tree, placement_score

Joints = dict[str, int]  # of a leg: the joint of each part
DIGITS = "0123456789 "


@dataclass
class Found:
    """Legs as triples of joints by side, the axis that is up, scores of names and places."""

    triples: dict[str, Ints]
    up: Floats
    named: float
    placed: float


def whole_legs(tree: Tree, found: Found, mapping: Corrections) -> dict[str, Joints]:
    """Return all joints of the legs by part, from their hips, knees and ankles."""
    shared = set.intersection(
        *(set(tree.above(int(triple[0]))) for triple in found.triples.values())
    )
    return {
        key: _whole_leg(tree, triple.tolist(), found.up, mapping.of(key), shared)
        for key, triple in found.triples.items()
    }


def standing(tree: Tree, found: Found, ends: dict[str, Joints], usual: Bools) -> float:
    """Return the likeness of the two lowest bones of whole legs to a leg's, 0 to 1."""
    lowest = np.array(
        [[joints[part] for part in CHAINS["foot" in joints][-3:]] for joints in ends.values()]
    )
    return float(placement_score(tree, lowest, found.up, usual).mean())


def _whole_leg(
    tree: Tree, triple: Sequence[int], up: Floats, mapped: Joints, shared: set[int]
) -> Joints:
    """The joints of a leg by part; with a third bone and a foot where there are any."""
    hip, knee, ankle = triple
    joints = {"hip": hip, "knee": knee, "ankle": ankle}
    middle = _third_bone(tree, joints, up, shared)
    if "foot" in mapped:
        joints["foot"] = mapped["foot"]
    elif middle is not None:
        three = dict(zip(CHAINS[1], middle, strict=True))
        joints = (
            three
            if all(three.get(part, place) == place for part, place in mapped.items())
            else joints
        )
    joints |= {part: place for part, place in mapped.items() if part in joints}
    end = joints.get("foot", joints["ankle"])
    joints |= _foot(tree, end, up, tree.points[joints["hip"]])
    return joints | {part: place for part, place in mapped.items() if part in FOOT_PARTS}


def _third_bone(tree: Tree, joints: Joints, up: Floats, shared: set[int]) -> list[int] | None:
    """Hip, knee, ankle and foot of a leg of three bones; None for a leg of two."""
    hip, knee, ankle = triple = tuple(joints.values())
    points = tree.points[list(triple)]
    whole = float(np.linalg.norm(np.diff(points, axis=0), axis=-1).sum())
    for upper, lower in ((knee, ankle), (hip, knee)):
        for place in tree.between(upper, lower):
            if _leg_like(tree, place, triple) and _is_joint_between(tree, upper, place, lower):
                return [hip, knee, place, ankle] if upper == knee else [hip, place, knee, ankle]
    for place in tree.below(ankle, 3):
        if (
            _hangs_down(tree, ankle, place, up, 0.2 * whole, 0.75)
            and _leg_like(tree, place, triple)
            and max(tree.name_fit(place, part) for part in ("ankle", "ball")) >= 0
        ):
            return [hip, knee, ankle, place]
    for place in tree.above(hip, 1):  # a thigh above what lies like one
        if (
            place not in shared
            and _leg_like(tree, place, triple)
            and "pelvis" not in tree.readings[place].parts
            and _hangs_down(tree, place, hip, up, 0.15 * whole, 0.25)
        ):
            return [place, hip, knee, ankle]
    return None


def _leg_like(tree: Tree, place: int, others: Sequence[int]) -> bool:
    """True if a joint's name allows it to end a bone of its own, not half of another's."""
    reading = tree.readings[place]
    split = any(
        tree.readings[i].parts and tree.readings[i].stem.strip(DIGITS) == reading.stem.strip(DIGITS)
        for i in others
    )
    return not (reading.helps or reading.elsewhere or split)


def _is_joint_between(tree: Tree, upper: int, place: int, lower: int) -> bool:
    """True if a joint on the way from one to another bends it, or is named as one that does."""
    a, b, c = (tree.points[i] for i in (upper, place, lower))
    share = (b - a) @ (c - a) / max((c - a) @ (c - a), 1e-300)
    off = np.linalg.norm(b - a - share * (c - a)) / max(float(np.linalg.norm(c - a)), 1e-300)
    named = max(tree.name_fit(place, part) for part in ("knee", "ankle")) > 0.5
    return bool(0.2 < share < 0.8 and (off > 0.1 or named))


def _hangs_down(
    tree: Tree, upper: int, lower: int, up: Floats, least: float, steepness: float
) -> bool:
    """True if a bone is longer than `least`, and at least that share of it leads down."""
    bone = tree.points[lower] - tree.points[upper]
    length = np.linalg.norm(bone)
    return bool(length > least and -(bone @ up) > steepness * length)


def _foot(tree: Tree, end: int, up: Floats, hip: Floats) -> Joints:
    """Ball and toe: the way from the leg's end to its farthest joint, seen from above."""

    def level(place: int) -> float:
        apart = tree.points[place] - tree.points[end]
        return float(np.linalg.norm(apart - (apart @ up) * up))

    size = float(np.linalg.norm(tree.points[end] - hip))
    below = [
        i
        for i in tree.below(end, 6)
        if level(i) > 0.02 * size
        and "heel" not in tree.readings[i].stem
        and not (
            tree.readings[i].helps
            and "toe" not in tree.readings[i].parts
            and "tip" not in tree.readings[i].stem
            and "end" not in tree.readings[i].stem
        )
    ]
    if not below:
        return {}
    farthest = max(below, key=lambda i: (round(level(i) / max(size, 1e-300), 6), -i))
    way = [i for i in [*tree.between(end, farthest), farthest] if i in below]
    ball = max(
        way,
        key=lambda i: (tree.name_fit(i, "ball"), level(i) >= 0.35 * level(farthest), -way.index(i)),
    )
    after = way[way.index(ball) + 1 :]
    return {"ball": ball} | ({"toe": after[-1]} if after else {})
