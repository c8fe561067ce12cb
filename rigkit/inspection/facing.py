"""The way legs face, and so which of them is the left one."""

from collections.abc import Sequence

import numpy as np

from rigkit._types import Floats
from rigkit.inspection.names import SIDE_WORDS
from rigkit.inspection.reasons import YOU_SAID_SO
from rigkit.inspection.tree import AXES, CHAINS, Tree, apart
from rigkit.inspection.whole import Joints

BY_SKIN = "the feet's skin reaches along it"
BY_KNEES = "the knees bend along it"
BY_NOTHING = "nothing says otherwise"
# How sure the sides of legs without side names are, by what says which way they face.
SIDES_TOLD = {
    BY_SKIN: (0.95, "only their feet's skin tells which is the left"),
    BY_KNEES: (0.85, "only the bend of their knees tells which is the left"),
    BY_NOTHING: (0.5, "nothing tells which of them is the left"),
}


def forward(
    tree: Tree,
    up: Floats,
    ends: dict[str, Joints],
    wanted: Floats | None,
    skin_centres: Floats | None,
    ahead: Floats | None = None,
) -> tuple[Floats, str]:
    """Return the direction in which legs face, and the reason for it.

    Parameters
    ----------
    tree : Tree
    up : ndarray, shape (3,)
    ends : dict of side to (dict of part to int)
    wanted : ndarray, shape (3,), or None
        What the user says.
    skin_centres : ndarray, shape (n, 3), or None
    ahead : ndarray, shape (3,), or None
        From hind legs to front legs.

    Returns
    -------
    direction : ndarray, shape (3,)
    why : str
    """
    across = None
    if len(ends) == 2:
        one, two = ends.values()
        across = apart(
            *(tree.points[[joints[part] for part in CHAINS[0]]] for joints in (one, two))
        )
        across = across - (across @ up) * up
        across = _snap_to_axis(across / max(float(np.linalg.norm(across)), 1e-300))
    if wanted is not None:
        level = wanted - (wanted @ up) * up
        if np.linalg.norm(level) < 0.5:
            raise ValueError(
                "`mapping` must hold a forward axis square to up; got the same axis for both."
            )
        return level / np.linalg.norm(level), YOU_SAID_SO
    hint, why = _hint(tree, ends, up, skin_centres, ahead)
    if hint is None and across is not None and set(ends) == set(SIDE_WORDS):
        hint, why = np.cross(across, up), "it has the left leg on its left"
    if hint is None:
        hint, why = AXES["-y"] if abs(up[2]) > 0.5 else AXES["+z"], BY_NOTHING
    if across is None:
        hint = hint - (hint @ up) * up
        return _snap_to_axis(hint / np.linalg.norm(hint)), why
    ahead = np.cross(across, up)
    return ahead * (1.0 if ahead @ hint >= 0 else -1.0) + 0.0, why


def _hint(
    tree: Tree,
    ends: dict[str, Joints],
    up: Floats,
    skin_centres: Floats | None,
    ahead: Floats | None,
) -> tuple[Floats | None, str]:
    """The direction in which the feet point: by their joints, by their skin, by the knees."""
    size = np.mean(
        [np.linalg.norm(tree.points[j["hip"]] - tree.points[j["ankle"]]) for j in ends.values()]
    )

    def together(ways: Sequence[Floats] | Floats) -> Floats | None:
        way = np.sum(ways, axis=0)
        level = way - (way @ up) * up
        return level if np.linalg.norm(level) > 0.03 * size * len(ends) else None

    last = [joints.get("toe", joints.get("ball", -1)) for joints in ends.values()]
    feet = [joints.get("foot", joints["ankle"]) for joints in ends.values()]
    if min(last) >= 0:
        way = together(tree.points[last] - tree.points[feet])
        if way is not None:
            return way, "the feet point along it"
    if skin_centres is not None:
        reach = skin_centres[feet] - tree.points[feet]
        way = together(reach) if np.isfinite(reach).all() else None
        if way is not None:
            return way, BY_SKIN
    if ahead is not None:
        return ahead - (ahead @ up) * up, "the front legs stand ahead along it"
    ways = []
    for joints in ends.values():
        a, b, c = (tree.points[joints[part]] for part in ("hip", "knee", "ankle"))
        share = (b - a) @ (c - a) / max((c - a) @ (c - a), 1e-300)
        ways.append(b - a - share * (c - a))
    bend = np.sum(ways, axis=0)
    bend = bend - (bend @ up) * up
    if np.linalg.norm(bend) > 0.004 * size * len(ends):
        return bend, BY_KNEES
    return None, ""


def _snap_to_axis(direction: Floats, within_deg: float = 15.0) -> Floats:
    """A file's own axis, if the direction is near one."""
    nearest = max(AXES.values(), key=lambda axis: axis @ direction)
    return nearest if nearest @ direction > np.cos(np.radians(within_deg)) else direction


def with_sides(tree: Tree, ends: dict[str, Joints], left: Floats) -> dict[str, Joints]:
    """Return legs without side names by their sides, told by where they lie."""
    if len(ends) == 1:
        (joints,) = ends.values()
        place = tree.points[joints["hip"]] @ left
        root = tree.points[_root_of(tree, joints["hip"])] @ left
        return {"R" if place < root else "L": joints}
    one, two = sorted(ends.values(), key=lambda joints: tree.points[joints["hip"]] @ left)
    return {"L": two, "R": one}


def _root_of(tree: Tree, place: int) -> int:
    return [place, *tree.above(place)][-1]
