"""Rules on weights: their sum, number and size, and what sides and neighbours have alike."""

import numpy as np

from rigkit import mesh
from rigkit._types import Bools, Floats, Ints
from rigkit.inspection import pictures
from rigkit.inspection.rule import (
    CHOSEN,
    CRAFT,
    Draw,
    Measured,
    Outcome,
    Unmeasured,
    Where,
    rule,
    worst,
)
from rigkit.inspection.subject import Subject, Surface, side_name

NEAR_MIDPLANE = 0.02  # of the leg's length: skin nearer to the midplane may go with both legs
NO_WEIGHT = 1e-6
DRAGGED = 0.05  # of a 30 cm step, 1.5 cm: less is not seen on the other leg
CRUMB = 0.01
STEP = 0.5
SHORT = 0.15  # of its way from the joint: an edge that half a weight must not change along
SAME_PLACE = 0.0005  # of the leg's length: from a mirrored place to the vertex that stands there
MIRROR_IMAGE = 0.9  # of the legs' skin: what must have a vertex at the mirrored place
PLAIN_MATRICES = 64  # full ones in the 1,024 vertex uniform components that WebGL 2 promises


@rule(
    "weights-sum",
    "Weights add up to one",
    fault="Weights do not add up to one",
    limit=("at most", 0.001, ""),
    severity="serious",
    needs=("skin",),
    because="a thousandth is rounding in other programs; glTF 2.0 asks for as near as its numbers "
    f"allow; {CHOSEN}",
    why="Where they add up to less or more, the skin drifts toward the world's origin, or away "
    "from it.",
    todo="Normalise the weights after the last edit.",
)
def weights_sum(subject: Subject) -> Outcome:
    surface = skin_of(subject)
    sums = surface.sums
    moved = sums > NO_WEIGHT
    if not moved.any():
        return Unmeasured("no vertex has a weight")
    off = np.where(moved, np.abs(sums - 1), 0.0)
    number, where = float(off.max()), int(off.argmax())
    more = int((off > 0.001).sum())
    said = (
        f"The weights of {_vertices(more).lower()} do not add up to one; the worst add up to"
        f" {sums[where]:.4g}."
        if more
        else f"The weights of every vertex add up to one, to within {number:.2g}."
    )
    return Measured(
        number,
        said,
        draw=_dots(subject, off > 0.001, f"sum {sums[where]:.4g}"),
        where=_at(off > 0.001),
    )


@rule(
    "weights-at-most",
    "At most four joints move a vertex",
    fault="More than four joints move a vertex",
    limit=("at most", 4.0, "joints"),
    severity="moderate",
    needs=("skin",),
    because=f"glTF 2.0 holds them in sets of four, and many programs read one set; {CRAFT}",
    why="Weights beyond the fourth are dropped somewhere on the way, and the skin moves otherwise "
    "there.",
    todo="Keep the four strongest of each vertex and normalise.",
)
def weights_at_most(subject: Subject) -> Measured:
    weights = skin_of(subject).weights
    used = (weights != 0).sum(axis=-1)
    number = int(used.max())
    busy = used > 4
    if not busy.any():
        return Measured(number, f"At most {number} joints move a vertex.")
    beyond = np.sort(np.abs(weights), axis=-1)[:, :-4].sum(axis=-1)
    sums = np.maximum(np.abs(weights).sum(axis=-1), NO_WEIGHT)
    lost = beyond / sums
    mean, most = 100 * lost[busy].mean(), 100 * lost.max()
    return Measured(
        number,
        f"More than four joints move {_vertices(int(busy.sum())).lower()}, up to {number}; beyond "
        f"the fourth lies {mean:.2g} % of their weight, at the worst {most:.2g} %.",
        draw=_dots(subject, busy, f"up to {number} joints"),
        where=_at(busy),
    )


@rule(
    "weights-missing",
    "Every vertex has a joint that moves it",
    fault="Vertices have no joint that moves them",
    limit=("at most", 0.0, "vertices"),
    severity="serious",
    needs=("skin",),
    because="one vertex left behind is a spike in every pose; derived",
    why="A vertex that nothing moves stays where it was while the body walks away.",
    todo="Give it the weights of its neighbours.",
)
def weights_missing(subject: Subject) -> Measured:
    alone = skin_of(subject).sums <= NO_WEIGHT
    number = int(alone.sum())
    return Measured(
        number,
        f"{_vertices(number)} {'has' if number == 1 else 'have'} no joint that moves "
        f"{'it' if number == 1 else 'them'}."
        if number
        else f"Each of {len(alone):,} vertices has a joint that moves it.",
        draw=_dots(subject, alone, f"{number} without a joint"),
        where=_at(alone),
    )


@rule(
    "weights-negative",
    "No weight is below zero",
    fault="Weights are below zero",
    limit=("at most", 0.0, "weights"),
    severity="serious",
    needs=("skin",),
    because="glTF 2.0 says that weights must not be negative",
    why="A weight below zero pushes the skin away from where its joint goes; some viewers read "
    "nonsense.",
    todo="Set them to zero and normalise.",
)
def weights_negative(subject: Subject) -> Measured:
    weights = skin_of(subject).weights
    below = weights < 0
    number, where = int(below.sum()), below.sum(axis=-1) > 0
    if not number:
        return Measured(0, "No weight is below zero.")
    least = float(weights.min())
    return Measured(
        number,
        f"{number:,} {'weight is' if number == 1 else 'weights are'} below zero, the least"
        f" {least:.2g}.",
        draw=_dots(subject, where, f"{least:.2g}"),
        where=_at(where),
    )


@rule(
    "weights-own-side",
    "No joint of one leg moves the other leg's skin",
    fault="Joints of one leg move the other leg's skin",
    limit=("at most", 0.01, "% of its skin"),
    severity="serious",
    needs=("skin", "both"),
    because="skin that moves by 5 % or more with the wrong leg, each patch of it as much as it "
    f"does; one vertex in ten thousand that does so wholly is a spike; {CHOSEN}",
    why="When one leg moves, a patch of the other is dragged along.",
    todo="Remove the other side's joints from these vertices and normalise.",
)
def weights_own_side(subject: Subject) -> Measured:
    surface = skin_of(subject)
    x, y, _ = surface.vertices.T
    areas = _areas(surface)
    legs = [node for side in subject.sides for node in subject.leg_nodes(side)]
    below = y < min(subject.point(side, "hip")[1] for side in "LR") - 0.1 * subject.length
    below &= surface.weight_of(legs) > 0.5  # the body hangs down between the hips
    parts, strays = [], {}
    for side, other, way in (("L", "R", 1), ("R", "L", -1)):
        there = below & (way * x < -NEAR_MIDPLANE * subject.length)
        weight = np.where(there, surface.weight_of(subject.leg_nodes(side)), 0.0)
        name = f"{side_name(side)} weights on the {side_name(other)} leg"
        astray = weight >= DRAGGED
        parts.append((name, 100 * _share((areas * weight)[astray], areas[there])))
        strays[name] = side, other, weight, float(_share(areas[astray], areas[there]))
    name, number = worst(parts)
    side, other, weight, patch = strays[name]
    astray = weight >= DRAGGED
    if not astray.any():
        most = max(float(weight.max()) for _, _, weight, _ in strays.values())
        by = f" by more than {_per_cent(most)}" if most else ""
        said = f"No joint of one leg moves skin of the other{by}."
        return Measured(number, said, tuple(parts))
    where = int(weight.argmax())
    theirs = np.isin(surface.joints[where], subject.leg_nodes(side))
    joint = surface.joints[where, np.where(theirs, surface.weights[where], 0.0).argmax()]
    return Measured(
        number,
        f"The {side_name(side)} leg moves {_vertices(int(astray.sum())).lower()} of the"
        f" {side_name(other)} leg, {_per_cent(patch)} of its skin: by"
        f" {_per_cent(number / 100 / patch)} on the average, the worst by"
        f" {_per_cent(weight[where])} with {subject.names[joint]}.",
        tuple(parts),
        draw=_dots(subject, astray, _per_cent(weight[where]), "front"),
        where=_at(astray),
    )


@rule(
    "weights-alike",
    "Left and right weights are mirror images",
    fault="Left and right weights are no mirror images",
    limit=("at most", 1.0, "% of the weight"),
    severity="moderate",
    needs=("skin", "both"),
    because=f"the mean over the legs' skin; weights of eight bits are off by 0.2 % each; {CHOSEN}",
    why="The same step looks different on the two sides.",
    todo="Mirror the weights of the better side, then look at the midline.",
)
def weights_alike(subject: Subject) -> Outcome:
    surface = skin_of(subject)
    left, right = (_weights_by_part(subject, side) for side in ("L", "R"))
    legs = np.concatenate([left, right], axis=-1)
    mine = np.flatnonzero(legs.sum(axis=-1) > NO_WEIGHT)
    if not len(mine):
        return Unmeasured("no skin moves with the legs")
    areas = _areas(surface)[mine]
    low, high = (way(surface.vertices[mine], axis=0) for way in (np.min, np.max))
    middle = (low + high) / 2 * [1, 0, 0]  # the skin's own
    tolerance = SAME_PLACE * subject.length
    partner = mesh.mirror_index(surface.vertices - middle, tolerance, whole=False)[mine]
    found = partner >= 0
    alike = _share(areas[found], areas)
    if alike < MIRROR_IMAGE:
        return Unmeasured(
            "left and right skin are no mirror images: at the mirrored place of "
            f"{100 * (1 - alike):.0f} % of it there is no vertex"
        )
    there = np.concatenate([right, left], axis=-1)[partner[found]]
    off = np.zeros(len(legs))
    off[mine[found]] = _apart(legs[mine[found]], there)
    number = 100 * _share(areas[found] * off[mine[found]], areas[found])
    other = off >= DRAGGED
    most = _per_cent(off.max())
    if not other.any():
        said = f"Nowhere do left and right weights differ by more than {most}."
        return Measured(number, said if off.max() > NO_WEIGHT else "They are mirror images.")
    return Measured(
        number,
        f"At {_vertices(int(other.sum())).lower()} {_per_cent(DRAGGED)} of the weight or more"
        f" differs from the other side's, at the worst {most}; over all of the legs' skin it is"
        f" {_per_cent(number / 100)} on the average.",
        draw=_dots(subject, other, most, "front"),
        where=_at(other),
    )


def _weights_by_part(subject: Subject, side: str) -> Floats:
    """The weight that each part both legs have moves, with what it carries, (v, parts)."""
    joints = {subject.joint(side, part): i for i, part in enumerate(subject.common_parts)}
    nodes: list[list[int]] = [[] for _ in joints]
    for node in subject.leg_nodes(side):
        part = next((i for i in (node, *subject.above(node)) if i in joints), None)
        if part is not None:
            nodes[joints[part]].append(node)
    return np.stack([skin_of(subject).weight_of(each) for each in nodes], axis=-1)


@rule(
    "weights-jump",
    "Weights pass smoothly from vertex to vertex",
    fault="Weights jump between neighbours",
    limit=("at most", 100 * STEP, "% of the weight"),
    severity="moderate",
    needs=("skin",),
    because="half of the weight along an edge that is short, at most 15 % of its way from the "
    "joint, leaves no room for a blend; puppets of 300 to 20,000 vertices stay below 47 %, a knee "
    f"without a blend reaches 100; {CHOSEN}",
    why="The skin tears or folds there as soon as a joint turns.",
    todo="Smooth the weights there, or give a stray vertex those of its neighbours.",
)
def weights_jump(subject: Subject) -> Outcome:
    surface = skin_of(subject)
    edges = _short_edges(subject)
    if not len(edges):
        return Unmeasured("every edge of the legs' skin is long against its way from the joint")
    steps = _steps(surface, edges)
    number, ends = 100 * float(steps.max()), edges[steps.argmax()]
    over, most = steps > STEP, _per_cent(steps.max())
    if not over.any():
        return Measured(
            number, f"Along a short edge of the legs' skin at most {most} of the weight changes."
        )
    one, other = (subject.names[joint] for joint in surface.strongest()[ends])
    count = f"{over.sum():,} short edges" if over.sum() > 1 else "one short edge"
    marked = np.zeros(len(surface.vertices), dtype=bool)
    marked[edges[over]] = True
    return Measured(
        number,
        f"Along {count} more than half of the weight changes, at the worst {most}, between {one}"
        f" and {other}.",
        draw=_dots(subject, marked, most),
        where=_at(marked),
    )


def _short_edges(subject: Subject) -> Ints:
    """The legs' edges that are short against their way from the joint; ends in one place too."""
    surface = skin_of(subject)
    legs = [node for side in subject.sides for node in subject.leg_nodes(side)]
    mine = surface.weight_of(legs) > 0.5
    triangles = surface.triangles[mine[surface.triangles].any(axis=-1)]
    ends = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    edges = np.sort(np.concatenate([ends, _in_one_place(surface.vertices)]), axis=-1)
    count = len(surface.vertices)
    edges = np.stack(np.divmod(np.unique(edges @ [count, 1]), count), axis=-1)
    edges = edges[mine[edges].any(axis=-1)]
    a, b = np.moveaxis(surface.vertices[edges], 1, 0)
    joints = subject.points[surface.strongest()[edges]]
    away = np.linalg.norm(joints - ((a + b) / 2)[:, None], axis=-1).min(axis=-1)
    return edges[np.linalg.norm(b - a, axis=-1) <= SHORT * away]


def _in_one_place(vertices: Floats) -> Ints:
    """Pairs of vertices, (k, 2), that stand in one place: a seam."""
    order = np.lexsort(vertices.T)  # stable: of those in one place the first comes first
    new = np.append(True, (vertices[order[1:]] != vertices[order[:-1]]).any(axis=-1))
    first = np.empty(len(vertices), dtype=order.dtype)
    first[order] = order[new][np.cumsum(new) - 1]
    seam = np.flatnonzero(first != np.arange(len(vertices)))
    return np.stack([seam, first[seam]], axis=-1)


def _steps(surface: Surface, edges: Ints) -> Floats:
    """The share of the weight that differs between the ends of edges, shape (e,)."""
    a, b = edges.T
    common = np.zeros(len(edges))
    for joint, share in zip(surface.joints[a].T, surface.shares[a].T, strict=True):
        there = np.where(surface.joints[b] == joint[:, None], surface.shares[b], 0.0).sum(axis=-1)
        common += np.minimum(share, there)
    bound = (surface.sums[edges] > NO_WEIGHT).all(axis=-1)  # what nothing moves has its own rule
    return np.where(bound, np.clip(1 - common, 0.0, 1.0), 0.0)


@rule(
    "weights-crumbs",
    "Few weights are too small to be seen",
    fault="Many weights are too small to be seen",
    limit=("at most", 15.0, "% of the weights"),
    severity="slight",
    needs=("skin",),
    because="under 1 %: a joint that moves by 10 cm takes the skin along by a millimetre; smooth "
    "blends leave 5 to 10 %; "
    f"{CHOSEN}",
    why="Each costs as much work as a large one, takes one of four places, and drags the skin a "
    "little with a joint nobody thinks of.",
    todo="Set weights under 1 % to zero and normalise.",
)
def weights_crumbs(subject: Subject) -> Outcome:
    surface = skin_of(subject)
    used = surface.shares > 0
    if not used.any():
        return Unmeasured("no vertex has a weight")
    small = used & (surface.shares < CRUMB)
    count, number = int(small.sum()), 100 * float(small.sum() / used.sum())
    if not count:
        return Measured(number, f"None of {used.sum():,} weights is under 1 %.")
    moved = 100 * float(surface.shares[small].sum() / surface.shares[used].sum())
    return Measured(
        number,
        f"{count:,} of {used.sum():,} weights {'is' if count == 1 else 'are'} under 1 %: "
        f"{number:.2g} % of the work of moving the skin, for {moved:.2g} % of its motion.",
        draw=_dots(subject, small.sum(axis=-1) > 0, f"{count:,} under 1 %"),
        where=_at(small.sum(axis=-1) > 0),
    )


@rule(
    "joint-count",
    "No skin has more joints than viewers hold",
    fault="A skin has more joints than viewers hold",
    limit=("at most", 256.0, "joints"),
    severity="moderate",
    needs=("skin",),
    because="a byte counts 256 joints in glTF 2.0, and as many matrices fit the smallest uniform "
    "block that WebGL 2 allows (16,384 bytes); derived",
    why="A viewer that cannot hold them all draws the skin wrongly, or not at all.",
    todo="Leave joints that move no vertex out of the skin, or split the mesh.",
)
def joint_count(subject: Subject) -> Outcome:
    skins = [subject.asset.skins[i].joints for i in subject.moving_skins]
    if not skins:
        return Unmeasured("no skin moves a mesh")
    largest = max(skins, key=len)
    number = len(largest)
    said = f"The largest skin has {number:,} {'joint' if number == 1 else 'joints'}"
    idle = sum(int(node) not in subject.moves_skin for node in largest)
    if idle:
        said += f", {idle:,} of which move no vertex"
    if number > PLAIN_MATRICES:
        said += f"; not every WebGL 2 device holds more than {PLAIN_MATRICES} as plain uniforms"
    return Measured(
        number,
        f"{said}.",
        draw=lambda kind: pictures.joints(subject, largest.tolist(), f"{number:,} joints", kind),
        where=Where(tuple(largest.tolist())),
    )


def skin_of(subject: Subject) -> Surface:
    """Return the skin of a rig that has one, as rules on skin need it.

    Parameters
    ----------
    subject : Subject

    Returns
    -------
    Surface

    Raises
    ------
    ValueError
        If there is none.
    """
    if subject.surface is None:
        raise ValueError("there is no skin")
    return subject.surface


def _areas(surface: Surface) -> Floats:
    """The area around each vertex: a third of its triangles', shape (v,)."""
    a, b, c = np.moveaxis(surface.vertices[surface.triangles], 1, 0)
    thirds = np.linalg.norm(np.cross(b - a, c - a), axis=-1) / 6
    areas = np.zeros(len(surface.vertices))
    np.add.at(areas, surface.triangles, thirds[:, None])
    return areas


def _share(part: Floats, whole: Floats) -> float:
    return float(part.sum() / max(whole.sum(), 1e-300))


def _apart(one: Floats, other: Floats) -> Floats:
    """The share of the weight in which rows differ; what they leave to one is a column more."""
    off = one - other
    return (np.abs(off).sum(axis=-1) + np.abs(off.sum(axis=-1))) / 2


def _dots(subject: Subject, chosen: Bools, text: str, view: str | None = None) -> Draw | None:
    """The drawing of vertices that were found; None where there are none."""
    if not chosen.any():
        return None
    return lambda kind: pictures.dots(subject, np.flatnonzero(chosen), text, kind, view)


def _at(chosen: Bools) -> Where:
    return Where(vertices=tuple(np.flatnonzero(chosen).tolist()))


def _per_cent(share: float) -> str:
    """A share with the digits it deserves."""
    if share < NO_WEIGHT:
        return "0 %"
    return f"{100 * share:.0f} %" if share >= 0.1 else f"{100 * share:.2g} %"


def _vertices(count: int) -> str:
    return f"{count:,} vertices" if count != 1 else "One vertex"


RULES = (
    weights_sum,
    weights_at_most,
    weights_missing,
    weights_negative,
    weights_own_side,
    weights_alike,
    weights_jump,
    weights_crumbs,
    joint_count,
)
