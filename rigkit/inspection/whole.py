"""Whole legs: from hip, knee and ankle to a third bone and a foot where there are any."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from rigkit._types import Bools, Floats, Ints
from rigkit.inspection.corrections import Corrections
from rigkit.inspection.tree import CHAINS, FOOT_PARTS, Tree, apart, placement_score

Joints = dict[str, int]  # of a leg: the joint of each part
DIGITS = "0123456789 "
OPTIONS = ("shank", "thigh", "below", "above")  # where a leg's further joint may be


@dataclass
class Found:
    """Legs as triples of joints by side, the axis that is up, scores of names and places."""

    triples: dict[str, Ints]
    up: Floats
    named: float
    placed: float


def whole_legs(tree: Tree, found: Found, mapping: Corrections) -> dict[str, Joints]:
    """Return all joints of the legs by part, from their hips, knees and ankles.

    Both legs of a pair get the same parts, unless the user says otherwise.
    """
    legs = {
        key: dict(zip(CHAINS[0], triple.tolist(), strict=True))
        for key, triple in found.triples.items()
    }
    shared = set.intersection(*(set(tree.above(joints["hip"])) for joints in legs.values()))
    across = _across(tree, legs, found.up)
    options = {
        key: {}
        if (key, "foot") in mapping.without
        else _third_bones(tree, joints, found.up, across, shared)
        for key, joints in legs.items()
    }
    kinds = set.intersection(*(set(each) for each in options.values()))
    middle = next((kind for kind in OPTIONS if kind in kinds), None)
    for key, joints in legs.items():
        mapped = mapping.of(key)
        chain = options[key].get(middle or "")
        if "foot" in mapped:
            joints["foot"] = mapped["foot"]
        elif chain and all(chain.get(part, place) == place for part, place in mapped.items()):
            legs[key] = joints = dict(chain)
        joints |= {part: place for part, place in mapped.items() if part in joints}
    feet = {key: _foot(tree, joints, found.up) for key, joints in legs.items()}
    common = set.intersection(*(set(foot) for foot in feet.values()))
    for key, joints in legs.items():
        joints |= {part: place for part, place in feet[key].items() if part in common}
        joints |= {part: place for part, place in mapping.of(key).items() if part in FOOT_PARTS}
        for part in [part for part in joints if (key, part) in mapping.without]:
            del joints[part]
    return legs


def _across(tree: Tree, legs: dict[str, Joints], up: Floats) -> Floats | None:
    """The level unit direction from one leg to the other; None for a single leg."""
    if len(legs) < 2:
        return None
    one, two = (tree.points[[joints[part] for part in CHAINS[0]]] for joints in legs.values())
    across = apart(one, two)
    level = across - (across @ up) * up
    return level / max(float(np.linalg.norm(level)), 1e-300)


def standing(tree: Tree, found: Found, ends: dict[str, Joints], usual: Bools) -> float:
    """Return the likeness of the two lowest bones of whole legs to a leg's, 0 to 1."""
    lowest = np.array(
        [[joints[part] for part in CHAINS["foot" in joints][-3:]] for joints in ends.values()]
    )
    return float(placement_score(tree, lowest, found.up, usual).mean())


def _third_bones(
    tree: Tree, joints: Joints, up: Floats, across: Floats | None, shared: set[int]
) -> dict[str, Joints]:
    """Legs of three bones that a leg of two may be part of, by where the further joint is."""
    hip, knee, ankle = triple = tuple(joints.values())
    whole = float(np.linalg.norm(np.diff(tree.points[list(triple)], axis=0), axis=-1).sum())
    found: dict[str, list[int]] = {}
    for kind, upper, lower in (("shank", knee, ankle), ("thigh", hip, knee)):
        for place in tree.between(upper, lower):
            chain = [hip, knee, place, ankle] if upper == knee else [hip, place, knee, ankle]
            if (
                kind not in found
                and _leg_like(tree, place, triple, _zigzags(tree, chain, across))
                and _is_joint_between(tree, upper, place, lower)
            ):
                found[kind] = chain
    for place in tree.below(ankle, 3):
        chain = [hip, knee, ankle, place]
        zigzag = _zigzags(tree, chain, across)
        if (
            "below" not in found
            and _hangs_down(tree, ankle, place, up, 0.2 * whole, 0.5 if zigzag else 0.75)
            and _leg_like(tree, place, triple, zigzag)
            and max(tree.name_fit(place, part) for part in ("ankle", *FOOT_PARTS)) >= 0
        ):
            found["below"] = chain
    for place in tree.above(hip, 1):  # a thigh above what lies like one
        chain = [place, hip, knee, ankle]
        if (
            place not in shared
            and _leg_like(tree, place, triple, True)
            and "pelvis" not in tree.readings[place].parts
            and _hangs_down(tree, place, hip, up, 0.15 * whole, 0.25)
            and _zigzags(tree, chain, across)
        ):
            found["above"] = chain
    return {kind: dict(zip(CHAINS[1], chain, strict=True)) for kind, chain in found.items()}


def _zigzags(tree: Tree, chain: Sequence[int], across: Floats | None, least: float = 12.0) -> bool:
    """True if three bones turn one way and back, seen from the side: as in a leg of three bones.

    A bone from the pelvis to a hip does not: it leads aside.
    """
    bones = np.diff(tree.points[list(chain)], axis=0)
    if across is None:
        normal = np.cross(bones[0], bones[1])
        across = normal / max(float(np.linalg.norm(normal)), 1e-300)
    flat = bones - (bones @ across)[:, None] * across
    turns = np.degrees(
        np.arctan2(
            np.cross(flat[:-1], flat[1:]) @ across, np.einsum("ij,ij->i", flat[:-1], flat[1:])
        )
    )
    return bool(turns[0] * turns[1] < 0 and np.abs(turns).min() > least)


def _leg_like(tree: Tree, place: int, others: Sequence[int], zigzag: bool) -> bool:
    """True if a joint's name allows it to end a bone of its own, not half of another's.

    Joints called alike but for a number share a bone, unless it turns there and back.
    """
    reading = tree.readings[place]
    split = not zigzag and any(
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


def _foot(tree: Tree, joints: Joints, up: Floats) -> Joints:
    """Ball and toe: the way from the leg's end to its farthest joint, seen from above."""
    end, hip = joints.get("foot", joints["ankle"]), tree.points[joints["hip"]]

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
