"""Rules on the skin: weights, joints in the middle of their limb, and the volume a bent knee keeps."""

import numpy as np

from rigkit import mesh, rotation
from rigkit.inspection import pictures
from rigkit.inspection.rule import CHOSEN, CRAFT, Measured, Rule, Unmeasured, worst
from rigkit.inspection.skeleton_rules import bend_normal
from rigkit.inspection.subject import side_name

BEND_DEG = 90.0
NEAR_MIDPLANE = 0.02  # of the leg's length: skin nearer to the midplane may go with both legs
TORN_CM = 1.0  # where inverse bind matrices are off by more, the skin at rest is no measure of anything
NO_WEIGHT = 1e-6


def weights_sum(subject):
    sums = subject.surface.sums
    moved = sums > NO_WEIGHT
    if not moved.any():
        return Unmeasured("no vertex has a weight")
    off = np.where(moved, np.abs(sums - 1), 0.0)
    number, where = float(off.max()), int(off.argmax())
    more = int((off > 0.001).sum())
    said = (f"The weights of {_vertices(more).lower()} do not add up to one; the worst add up to {sums[where]:.4g}."
            if more else f"The weights of every vertex add up to one, to within {number:.2g}.")
    return Measured(number, said,
                    draw=_dots(subject, off > 0.001, f"sum {sums[where]:.4g}"))


def weights_at_most(subject):
    used = (subject.surface.weights > 0).sum(axis=-1)
    number = int(used.max())
    busy = int((used > 4).sum())
    said = f"At most {number} joints move a vertex." if not busy else \
        f"More than four joints move {_vertices(busy).lower()}, up to {number}."
    return Measured(number, said, draw=_dots(subject, used > 4, f"up to {number} joints"))


def weights_missing(subject):
    alone = subject.surface.sums <= NO_WEIGHT
    number = int(alone.sum())
    return Measured(number, f"{_vertices(number)} {'has' if number == 1 else 'have'} no joint that moves "
                            f"{'it' if number == 1 else 'them'}." if number else
                    f"Each of {len(alone):,} vertices has a joint that moves it.",
                    draw=_dots(subject, alone, f"{number} without a joint"))


def weights_own_side(subject):
    x, y = subject.surface.vertices[:, 0], subject.surface.vertices[:, 1]
    parts, strays = [], {}
    for side, way in (("L", 1), ("R", -1)):
        other = "R" if side == "L" else "L"
        below = y < subject.place(side, "hip")[1] - 0.1 * subject.length
        there = below & (way * x < -NEAR_MIDPLANE * subject.length)
        weight = np.where(there, subject.surface.weight_of(subject.leg_nodes(side)), 0.0)
        parts.append((f"{side_name(side)} weights on the {side_name(other)} leg", float(weight.max(initial=0.0))))
        strays[parts[-1][0]] = weight
    name, number = worst(parts)
    weight = strays[name]
    count = int((weight > 0.02).sum())
    where = int(weight.argmax())
    side = "left" if name.startswith("left") else "right"
    if number <= 0.02:
        said = "No joint of one leg moves skin of the other" + (f" by more than {number:.2g}." if number else ".")
    else:
        theirs = np.isin(subject.surface.joints[where], subject.leg_nodes("L" if side == "left" else "R"))
        joint = subject.surface.joints[where, np.where(theirs, subject.surface.weights[where], 0.0).argmax()]
        said = (f"The {side} leg moves {_vertices(count).lower()} of the {'right' if side == 'left' else 'left'} leg, "
                f"the worst to {100 * number:.0f} % with {subject.names[joint]}.")
    return Measured(number, said, tuple(parts), draw=_dots(subject, weight > 0.02, f"{100 * number:.0f} %"))


def joint_in_section(subject):
    torn = _torn(subject)
    if torn:
        return torn
    parts, cuts = [], {}
    for side, leg in subject.legs.legs.items():
        for i, part in enumerate(leg.chain[1:-1], start=1):
            cut = _section(subject, side, i)
            if cut is None:
                continue
            name = subject.name(side, part)
            outline, centre, radius = cut
            parts.append((name, 100 * float(np.linalg.norm(subject.place(side, part) - centre) / radius)))
            cuts[name] = (side, part, outline, centre, radius)
    if not parts:
        return Unmeasured("no skin lies around the legs' joints")
    name, number = worst(parts)
    side, part, outline, centre, radius = cuts[name]
    cm = number * radius
    return Measured(number, f"{name} is {cm:.2g} cm from the middle of the limb there, {number:.0f} % of the way to "
                            f"the skin ({100 * radius:.2g} cm).", tuple(parts),
                    draw=lambda kind: pictures.section(subject, side, part, outline, centre, f"{cm:.2g} cm", kind))


def _section(subject, side, i):
    """The outline of the limb at an inner joint: its pieces (k, 2, 3), their centre and mean radius; None without."""
    chain = subject.chain(side)
    above, below = chain[i] - chain[i - 1], chain[i + 1] - chain[i]
    lengths = np.linalg.norm(above), np.linalg.norm(below)
    if not min(lengths) > 1e-9:
        return None
    normal = above / lengths[0] + below / lengths[1]
    normal = normal / np.linalg.norm(normal)
    triangles = _near(subject, side, chain[i], 0.6 * min(lengths))
    pieces = _cut(subject.surface.vertices, triangles, chain[i], normal)
    if len(pieces) < 3:
        return None
    long = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=-1)
    centre = np.average(pieces.mean(axis=1), axis=0, weights=np.maximum(long, 1e-12))
    radius = float(np.average(np.linalg.norm(pieces.mean(axis=1) - centre, axis=-1), weights=np.maximum(long, 1e-12)))
    return (pieces, centre, radius) if radius > 1e-6 else None


def _cut(vertices, triangles, point, normal):
    """Where a plane cuts triangles: pieces from edge to edge, shape (k, 2, 3). The surface need not be closed."""
    height = (vertices - point) @ normal
    above = height[triangles] >= 0
    triangles = triangles[above.any(axis=-1) & ~above.all(axis=-1)]
    if not len(triangles):
        return np.empty((0, 2, 3))
    start, end = height[triangles], height[np.roll(triangles, -1, axis=-1)]
    crossed = (start >= 0) != (end >= 0)
    share = start / np.where(crossed, start - end, 1.0)
    corners = vertices[triangles]
    meets = corners + share[..., None] * (np.roll(corners, -1, axis=-2) - corners)
    return meets[crossed].reshape(-1, 2, 3)


def knee_volume(subject):
    torn = _torn(subject)
    if torn:
        return torn
    parts, posed = [], {}
    for side, leg in subject.legs.legs.items():
        found = _bent(subject, side)
        if found is None:
            continue
        kept, *drawn = found
        name = f"{side_name(side)} {leg.bend}"
        parts.append((name, 100 * kept))
        posed[name] = side, drawn
    if not parts:
        return Unmeasured("no skin lies around the knees")
    name, number = worst(parts, largest=False)
    side, drawn = posed[name]
    return Measured(number, f"Bent by {BEND_DEG:.0f}° about its hinge, the {name} keeps {number:.0f} % of the volume "
                            "around it.", tuple(parts),
                    draw=lambda kind: pictures.bent(subject, side, *drawn, f"{number:.0f} %", kind))


def _bent(subject, side):
    """The volume kept around a bent knee, its skin at rest and bent, shapes (k, 3), and the triangles of both."""
    root, middle, end = subject.bending(side)
    bones = np.linalg.norm(middle - root), np.linalg.norm(end - middle)
    if not min(bones) > 1e-9:
        return None
    part = subject.legs.legs[side].bend
    along = (middle - root) / bones[0] + (end - middle) / bones[1]
    triangles = _near(subject, side, middle, 0.35 * min(bones), along / np.linalg.norm(along))
    if len(triangles) < 12:
        return None
    chosen, triangles = np.unique(triangles, return_inverse=True)
    rest = subject.surface.vertices[chosen]
    rest, triangles, kept = _welded(rest, triangles.reshape(-1, 3))
    turn = rotation.matrix_about(bend_normal(subject, side), subject.way * np.radians(BEND_DEG))
    posed = subject.surface.posed(chosen, subject.motions_of({subject.joint(side, part): turn}))[kept]
    closed = _closed(triangles)
    whole = _volume(rest, closed, middle)
    if abs(whole) < 1e-9:
        return None
    return float(_volume(posed, closed, middle) / whole), rest, posed, triangles


def _near(subject, side, point, reach, along=None):
    """The leg's triangles within reach of a point; with a direction, between two planes square to it."""
    triangles = subject.leg_skin(side)
    away = subject.surface.vertices - point
    apart = np.linalg.norm(away, axis=-1) if along is None else np.abs(away @ along)
    near = apart <= reach
    if along is not None:
        near &= np.linalg.norm(away, axis=-1) <= 2.5 * reach
    return triangles[near[triangles].all(axis=-1)]


def _welded(vertices, triangles):
    """Vertices that lie in one place made one: the vertices, the triangles, and which of the old ones were kept."""
    size = max(np.ptp(vertices, axis=0).max(), 1e-9)
    _, kept, number = np.unique(np.round(vertices / (1e-6 * size)), axis=0, return_index=True, return_inverse=True)
    triangles = number.reshape(-1)[triangles]
    flat = (triangles == np.roll(triangles, 1, axis=1)).any(axis=1)
    return vertices[kept], triangles[~flat], kept


def _closed(triangles):
    """Triangles, and for each open border a fan: corners as lists of vertex numbers, the fans' centres as means.

    Given as (triangles, borders): each border an array of directed edges, shape (e, 2), that its fan closes.
    """
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    size = int(triangles.max()) + 1
    codes, back = edges[:, 0] * size + edges[:, 1], edges[:, 1] * size + edges[:, 0]
    loose = edges[~np.isin(codes, back)]
    parent = {}

    def top(i):
        while parent.setdefault(i, i) != i:
            parent[i] = i = parent[parent[i]]
        return i

    for a, b in loose.tolist():
        parent[top(a)] = top(b)
    groups = {}
    for edge in loose.tolist():
        groups.setdefault(top(edge[0]), []).append(edge)
    return triangles, [np.array(group) for group in groups.values()]


def _volume(vertices, closed, about):
    triangles, borders = closed
    vertices = vertices - about
    total = mesh.volume(vertices, triangles)
    for edges in borders:
        a, b = vertices[edges[:, 0]], vertices[edges[:, 1]]
        total += np.sum(np.cross(b, a) @ a.mean(axis=0)) / 6
    return float(total)


def _torn(subject):
    cm = max((moved.cm for moved in subject.since_bound), default=0.0)
    if cm > TORN_CM:
        return Unmeasured("the inverse bind matrices are off, so the skin at rest says nothing; mend those first")
    return None


def _dots(subject, chosen, text):
    """What draws vertices that were found; nothing where there are none."""
    return (lambda kind: pictures.dots(subject, chosen, text, kind)) if chosen.any() else None


def _vertices(count):
    return f"{count:,} vertices" if count != 1 else "One vertex"


RULES = (
    Rule("weights-sum", "Weights add up to one", "", "at most", 0.001,
         f"a thousandth is rounding in other programs; glTF 2.0 asks for as near as its numbers allow; {CHOSEN}",
         "Where they add up to less or more, the skin drifts toward the world's origin, or away from it.",
         "Normalise the weights after the last edit.", "serious", weights_sum, ("skin",)),
    Rule("weights-at-most", "At most four joints move a vertex", "joints", "at most", 4.0,
         f"glTF 2.0 holds them in sets of four, and many programs read one set; {CRAFT}",
         "Weights beyond the fourth are dropped somewhere on the way, and the skin moves otherwise there.",
         "Keep the four strongest of each vertex and normalise.", "moderate", weights_at_most, ("skin",)),
    Rule("weights-missing", "Every vertex has a joint that moves it", "vertices", "at most", 0.0,
         "one vertex left behind is a spike in every pose; derived",
         "A vertex that nothing moves stays where it was while the body walks away.",
         "Give it the weights of its neighbours.", "serious", weights_missing, ("skin",)),
    Rule("weights-own-side", "No joint of one leg moves the other leg's skin", "", "at most", 0.02,
         f"two per cent of a 30 cm step is half a centimetre; {CHOSEN}",
         "When one leg moves, a patch of the other is dragged along.",
         "Remove the other side's joints from these vertices and normalise.", "serious", weights_own_side,
         ("skin", "both")),
    Rule("joint-in-section", "The knees lie in the middle of the limb", "%", "at most", 35.0,
         f"of the way from the middle to the skin; a knee's true axis lies a little behind the middle; {CHOSEN}",
         "Movement happens where the joint is: off the middle, one side of the limb is stretched, the other crushed.",
         "Move the joint to the middle of the cross-section, before binding.", "moderate", joint_in_section, ("skin",)),
    Rule("knee-volume", "A knee bent by 90° keeps its volume", "%", "at least", 80.0,
         f"of what lies within a third of a bone's length around it; {CHOSEN}",
         "A linear blend folds a bent limb together like a hose; the thinner the knee, the more it shows.",
         "Paint a narrower and smoother blend around the knee, or add a helper joint that turns by half the angle.",
         "moderate", knee_volume, ("skin",)),
)
