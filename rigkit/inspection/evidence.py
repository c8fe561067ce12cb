"""Evidence for legs beyond their names and places: what the rest of the body says of them."""

from collections.abc import Iterable, Sequence

import numpy as np

from rigkit._types import Bools, Floats
from rigkit.inspection.names import ANIMAL
from rigkit.inspection.tree import CHAINS, Tree
from rigkit.inspection.whole import Found, Joints

FEWEST = 6  # other joints that say something of a body's symmetry
MOST = 400  # joints that are looked at for it
WRONG_WAY_DEG = 15.0  # a knee bent backward by more is an animal's, or no knee


def mirrored_share(tree: Tree, found: Found, usual: Bools) -> float:
    """Return the share of a body's joints that mirror in the plane between two legs.

    1 where there are too few to tell.
    """
    if len(found.triples) < 2:
        return 1.0
    one, two = (tree.points[triple] for triple in found.triples.values())
    across = (one - two).mean(axis=0)
    length = np.linalg.norm(np.diff(one, axis=0), axis=-1).sum()
    width = np.linalg.norm(across)
    taken = np.concatenate(list(found.triples.values()))
    rest = np.setdiff1d(np.flatnonzero(usual), taken)
    if len(rest) < FEWEST or width < 1e-9 * length:
        return 1.0
    across = across / width
    rest = rest[:: len(rest) // MOST + 1]
    points = tree.points[rest]
    middle = (one + two).mean(axis=0) / 2
    images = points - 2 * ((points - middle) @ across)[:, None] * across
    squares = (points**2).sum(axis=-1)
    away = (images**2).sum(axis=-1)[:, None] + squares - 2 * images @ points.T
    return float(np.mean(away.min(axis=1) < (0.06 * length) ** 2))


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
    used = set(taken)
    hips = set()
    for end in range(len(tree.points)):
        way = [end, *tree.above(end, lower + upper)]
        if len(way) == lower + upper + 1 and not used.intersection(way):
            top, middle, low = tree.points[[way[-1], way[lower], end]]
            if (
                abs(np.linalg.norm(middle - top) - thigh) < 0.15 * thigh
                and abs(np.linalg.norm(low - middle) - shank) < 0.15 * shank
            ):
                hips.add(way[-1])
    return len(hips)


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
    backward = [_backward_deg(tree, joints, up, forward) for joints in ends.values()]
    if min(backward) > WRONG_WAY_DEG:
        return f"the knees bend backward, by {min(backward):.0f}° at rest"
    if _lying_trunk(tree, ends, up):
        return "the trunk lies level"
    return ""


def _backward_deg(tree: Tree, joints: Joints, up: Floats, forward: Floats) -> float:
    """The angle by which a knee bends backward, degrees; negative for one that bends forward."""
    hip, knee, ankle = (tree.points[joints[part]] for part in CHAINS[0])
    left = np.cross(up, forward)
    thigh, shank = (bone - (bone @ left) * left for bone in (knee - hip, ankle - knee))
    return -float(np.degrees(np.arctan2(np.cross(thigh, shank) @ left, thigh @ shank)))


def _lying_trunk(tree: Tree, ends: dict[str, Joints], up: Floats) -> bool:
    """True if the way from the hips to the head is nearer to level than to upright."""
    heads = _named(tree, ("head", "neck"))
    if not heads:
        return False
    hips = tree.points[[joints["hip"] for joints in ends.values()]].mean(axis=0)
    way = tree.points[heads].mean(axis=0) - hips
    return bool(way @ up < 0.5 * np.linalg.norm(way))


def _named(tree: Tree, words: Iterable[str]) -> Sequence[int]:
    wanted = set(words)
    return [i for i, reading in enumerate(tree.readings) if reading.words & wanted]
