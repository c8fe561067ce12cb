"""Evidence for legs beyond their names and places: what the rest of the body says of them."""

from collections.abc import Iterable, Sequence

import numpy as np

from rigkit._types import Bools, Floats
from rigkit.inspection.names import ANIMAL
from rigkit.inspection.tree import CHAINS, Tree, apart
from rigkit.inspection.whole import Found, Joints

FEWEST = 6  # other joints that say something of a body's symmetry
NEAR = 0.06  # of the leg: a joint so near to another's mirror image is its partner
LIKE = 0.1  # bones are as long as others if they differ by less than this share
MOST = 400  # joints that are looked at for it
LEVEL = 0.5  # a trunk or a leg that rises less steeply, by 30°, lies level or sprawls
WRONG_WAY_DEG = 15.0  # a knee bent backward by more is an animal's, or no knee


def mirrored_share(tree: Tree, found: Found, usual: Bools) -> float:
    """Return the share of a body's joints that mirror in the plane between two legs.

    1 where there are too few to tell.
    """
    if len(found.triples) < 2:
        return 1.0
    one, two = (tree.points[triple] for triple in found.triples.values())
    length = float(np.linalg.norm(np.diff(one, axis=0), axis=-1).sum())
    legs = {i for triple in found.triples.values() for i in triple.tolist()}
    legs.update(i for triple in found.triples.values() for i in tree.below(int(triple[0])))
    rest = np.setdiff1d(np.flatnonzero(usual), list(legs))
    if len(rest) < FEWEST:
        return 1.0
    points = tree.points[rest[:: len(rest) // MOST + 1]]
    near = NEAR * length
    return max(  # a stride turns the first plane, a hip placed by eye the other
        _share_mirrored(points, apart(one, two), (one[0] + two[0]) / 2, near),
        _share_mirrored(points, (one - two).mean(axis=0), (one + two).mean(axis=0) / 2, near),
    )


def _share_mirrored(points: Floats, across: Floats, middle: Floats, near: float) -> float:
    """The share of points whose mirror image in a plane has another point, or its own, near it."""
    across = across / max(float(np.linalg.norm(across)), 1e-300)
    images = points - 2 * ((points - middle) @ across)[:, None] * across
    squares = (points**2).sum(axis=-1)
    away = (images**2).sum(axis=-1)[:, None] + squares - 2 * images @ points.T
    return float(np.mean(away.min(axis=1) < near**2))


def like_limbs(tree: Tree, found: Found, taken: Iterable[int]) -> int:
    """Return the number of further chains whose two bones are as long as those of a leg.

    A person's arms are shorter; a spider's other legs, or a bush's twigs, are not.
    """
    hip, knee, ankle = (int(place) for place in next(iter(found.triples.values())))
    above = tree.above(ankle)
    if knee not in above or hip not in above:
        return 0
    lower, upper = above.index(knee) + 1, above.index(hip) - above.index(knee)
    thigh, shank = np.linalg.norm(np.diff(tree.points[[hip, knee, ankle]], axis=0), axis=-1)
    used = {i for i, reading in enumerate(tree.readings) if reading.elsewhere}
    for place in taken:
        used.update((place, *tree.below(place), *tree.above(place)))
    count = 0
    for end in range(len(tree.points)):
        way = [end, *tree.above(end, lower + upper)]
        if len(way) > lower + upper and not used.intersection(way):
            bones = np.diff(tree.points[[way[-1], way[lower], end]], axis=0)
            lengths = np.linalg.norm(bones, axis=-1)
            if (np.abs(lengths - (thigh, shank)) < LIKE * np.array([thigh, shank])).all():
                used.update(way[:-1])
                count += 1
    return count


def why_animal(tree: Tree, ends: dict[str, Joints], up: Floats, forward: Floats, pairs: int) -> str:
    """Return the reason why legs are no person's; empty if nothing says so."""
    if pairs > 1:
        return f"there are {pairs} pairs of legs"
    if any("foot" in joints for joints in ends.values()):
        return "the legs stand on three bones"
    words = {
        word for joints in ends.values() for i in joints.values() for word in tree.readings[i].words
    }
    if words & ANIMAL:
        return f"a part of the legs is called {sorted(words & ANIMAL)[0]}"
    if max(_steepness(tree, joints, up) for joints in ends.values()) < LEVEL:
        return "the legs sprawl"
    backward = [_backward_deg(tree, joints, up, forward) for joints in ends.values()]
    if min(backward) > WRONG_WAY_DEG:
        return f"the knees bend backward, by {min(backward):.0f}° at rest"
    rise = trunk_rise(tree, [joints["hip"] for joints in ends.values()], up)
    return "the trunk lies level" if rise is not None and rise < LEVEL else ""


def _steepness(tree: Tree, joints: Joints, up: Floats) -> float:
    """The steepness of the way from a leg's end to its hip: 1 upright, 0 level."""
    way = tree.points[joints["hip"]] - tree.points[joints.get("foot", joints["ankle"])]
    return float(way @ up / max(float(np.linalg.norm(way)), 1e-300))


def _backward_deg(tree: Tree, joints: Joints, up: Floats, forward: Floats) -> float:
    """The angle by which a knee bends backward, degrees; negative for one that bends forward."""
    hip, knee, ankle = (tree.points[joints[part]] for part in CHAINS[0])
    left = np.cross(up, forward)
    thigh, shank = (bone - (bone @ left) * left for bone in (knee - hip, ankle - knee))
    return -float(np.degrees(np.arctan2(np.cross(thigh, shank) @ left, thigh @ shank)))


def trunk_rise(tree: Tree, hips: Sequence[int], up: Floats) -> float | None:
    """Return how steeply the trunk rises from the hips to the head: 1 upright, 0 level.

    None where nothing is called a head or a neck.
    """
    heads = [i for i, reading in enumerate(tree.readings) if reading.words & {"head", "neck"}]
    if not heads:
        return None
    way = tree.points[heads].mean(axis=0) - tree.points[list(hips)].mean(axis=0)
    return float(way @ up / max(float(np.linalg.norm(way)), 1e-300))
