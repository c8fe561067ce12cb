"""The legs as a file's own humanoid map has them."""

from collections.abc import Mapping
from itertools import pairwise

from rigkit.inspection.names import SIDE_WORDS
from rigkit.inspection.tree import CHAINS, Tree

SAYS_SO = "the file's own humanoid map says so"
_BONES = {"hip": "UpperLeg", "knee": "LowerLeg", "ankle": "Foot", "ball": "Toes"}

Parts = dict[tuple[str | None, str], int]


def humanoid_parts(tree: Tree, humanoid: Mapping[str, int]) -> tuple[Parts, str]:
    """Return the parts of both legs, and the reason why a map is not used, empty if it is.

    Parameters
    ----------
    tree : Tree
    humanoid : mapping of str to int
        The node of each bone, such as "leftUpperLeg"; bones of VRM's names.

    Returns
    -------
    parts : dict of (side, part) to int
    problem : str
    """
    parts: Parts = {
        (side, part): humanoid[word + bone]
        for side, word in SIDE_WORDS.items()
        for part, bone in _BONES.items()
        if word + bone in humanoid
    }
    if "hips" in humanoid:
        parts[None, "pelvis"] = humanoid["hips"]
    problem = _problem(tree, parts) if parts else ""
    return ({}, problem) if problem else (parts, "")


def _problem(tree: Tree, parts: Parts) -> str:
    """The first thing that is wrong with a map of the legs."""
    called = {
        (side, part): SIDE_WORDS[side] + _BONES[part] if side else "hips" for side, part in parts
    }
    for side, word in SIDE_WORDS.items():
        for part in CHAINS[0]:
            if (side, part) not in parts:
                return f"it lacks {word}{_BONES[part]}"
    seen: dict[int, str] = {}
    for key, node in parts.items():
        if node in seen:
            return f"{seen[node]} and {called[key]} are one node"
        seen[node] = called[key]
    for side in SIDE_WORDS:
        chain = [(None, "pelvis"), *((side, part) for part in _BONES)]
        there = [key for key in chain if key in parts]
        for upper, lower in pairwise(there):
            if parts[upper] not in tree.above(parts[lower]):
                return f"{called[lower]} does not hang below {called[upper]}"
    return ""
