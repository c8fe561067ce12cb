"""Rules on the skin: weights, joints in the middle of their limb, the volume of a bent knee."""

from typing import NamedTuple

import numpy as np

from rigkit import mesh, rotation
from rigkit._types import Bools, Floats, Ints
from rigkit.inspection import pictures
from rigkit.inspection.rule import CHOSEN, CRAFT, Draw, Measured, Outcome, Unmeasured, rule, worst
from rigkit.inspection.skeleton_rules import bend_normal
from rigkit.inspection.subject import Subject, Surface, side_name

BEND_DEG = 90.0
NEAR_MIDPLANE = 0.02  # of the leg's length: skin nearer to the midplane may go with both legs
# Where inverse bind matrices are off by more, the skin at rest is no measure of anything.
TORN_CM = 1.0
NO_WEIGHT = 1e-6
# Between neighbours on the outline of a limb: a little more than a square has.
WIDEST_GAP_DEG = 100.0
Closed = tuple[Ints, list[Ints]]


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
    surface = _skin(subject)
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
    return Measured(number, said, draw=_dots(subject, off > 0.001, f"sum {sums[where]:.4g}"))


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
    used = (_skin(subject).weights != 0).sum(axis=-1)
    number = int(used.max())
    busy = int((used > 4).sum())
    said = (
        f"At most {number} joints move a vertex."
        if not busy
        else f"More than four joints move {_vertices(busy).lower()}, up to {number}."
    )
    return Measured(number, said, draw=_dots(subject, used > 4, f"up to {number} joints"))


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
    alone = _skin(subject).sums <= NO_WEIGHT
    number = int(alone.sum())
    return Measured(
        number,
        f"{_vertices(number)} {'has' if number == 1 else 'have'} no joint that moves "
        f"{'it' if number == 1 else 'them'}."
        if number
        else f"Each of {len(alone):,} vertices has a joint that moves it.",
        draw=_dots(subject, alone, f"{number} without a joint"),
    )


@rule(
    "weights-own-side",
    "No joint of one leg moves the other leg's skin",
    fault="Joints of one leg move the other leg's skin",
    limit=("at most", 0.02, ""),
    severity="serious",
    needs=("skin", "both"),
    because=f"two per cent of a 30 cm step is half a centimetre; {CHOSEN}",
    why="When one leg moves, a patch of the other is dragged along.",
    todo="Remove the other side's joints from these vertices and normalise.",
)
def weights_own_side(subject: Subject) -> Measured:
    surface = _skin(subject)
    x, y, _ = surface.vertices.T
    parts, strays = [], {}
    for side, other, way in (("L", "R", 1), ("R", "L", -1)):
        below = y < subject.point(side, "hip")[1] - 0.1 * subject.length
        there = below & (way * x < -NEAR_MIDPLANE * subject.length)
        weight = np.where(there, surface.weight_of(subject.leg_nodes(side)), 0.0)
        name = f"{side_name(side)} weights on the {side_name(other)} leg"
        parts.append((name, float(weight.max())))
        strays[name] = side, other, weight
    name, number = worst(parts)
    side, other, weight = strays[name]
    if number <= 0.02:
        said = "No joint of one leg moves skin of the other" + (
            f" by more than {number:.2g}." if number else "."
        )
    else:
        where = int(weight.argmax())
        theirs = np.isin(surface.joints[where], subject.leg_nodes(side))
        joint = surface.joints[where, np.where(theirs, surface.weights[where], 0.0).argmax()]
        said = (
            f"The {side_name(side)} leg moves {_vertices(int((weight > 0.02).sum())).lower()} of"
            f" the {side_name(other)} leg, the worst to {100 * number:.0f} % with"
            f" {subject.names[joint]}."
        )
    return Measured(
        number, said, tuple(parts), draw=_dots(subject, weight > 0.02, f"{100 * number:.0f} %")
    )


@rule(
    "joint-in-section",
    "The knees lie in the middle of the limb",
    fault="A knee lies off the middle of the limb",
    limit=("at most", 35.0, "%"),
    severity="moderate",
    needs=("skin",),
    because="of the way from the middle to the skin; a knee's true axis lies a little behind the "
    f"middle; {CHOSEN}",
    why="Movement happens where the joint is: off the middle, one side of the limb is stretched, "
    "the other crushed.",
    todo="Move the joint to the middle of the cross-section, before binding.",
)
def joint_in_section(subject: Subject) -> Outcome:
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
            parts.append(
                (name, 100 * float(np.linalg.norm(subject.point(side, part) - centre) / radius))
            )
            cuts[name] = (side, part, outline, centre, radius)
    if not parts:
        return Unmeasured("no skin lies around the legs' joints")
    name, number = worst(parts)
    side, part, outline, centre, radius = cuts[name]
    cm = number * radius
    return Measured(
        number,
        f"{name} is {cm:.2g} cm from the middle of the limb there, {number:.0f} % of the way to "
        f"the skin ({100 * radius:.2g} cm).",
        tuple(parts),
        draw=lambda kind: pictures.section(
            subject, side, part, outline, centre, f"{cm:.2g} cm", kind
        ),
    )


def _section(subject: Subject, side: str, i: int) -> tuple[Floats, Floats, float] | None:
    """The outline of the limb at an inner joint, (k, 2, 3), its centre and mean radius, or None."""
    chain = subject.chain(side)
    above, below = chain[i] - chain[i - 1], chain[i + 1] - chain[i]
    lengths = float(np.linalg.norm(above)), float(np.linalg.norm(below))
    if not min(lengths) > 1e-9:
        return None
    normal = above / lengths[0] + below / lengths[1]
    normal = normal / np.linalg.norm(normal)
    triangles = _near(subject, side, chain[i], 0.6 * min(lengths))
    pieces = _cut(_skin(subject).vertices, triangles, chain[i], normal)
    if len(pieces) < 3:
        return None
    long = np.linalg.norm(pieces[:, 1] - pieces[:, 0], axis=-1)
    centre = np.average(pieces.mean(axis=1), axis=0, weights=np.maximum(long, 1e-12))
    radius = float(
        np.average(
            np.linalg.norm(pieces.mean(axis=1) - centre, axis=-1), weights=np.maximum(long, 1e-12)
        )
    )
    return (
        (pieces, centre, radius) if radius > 1e-6 and _surrounds(pieces, centre, normal) else None
    )


def _surrounds(pieces: Floats, centre: Floats, normal: Floats) -> bool:
    """True if an outline surrounds its centre: a plate in front of a limb does not."""
    across = rotation.perpendicular(normal)
    away = pieces.reshape(-1, 3) - centre
    angles = np.sort(np.arctan2(away @ np.cross(normal, across), away @ across))
    return bool(np.diff(angles, append=angles[0] + 2 * np.pi).max() <= np.radians(WIDEST_GAP_DEG))


def _cut(vertices: Floats, triangles: Ints, point: Floats, normal: Floats) -> Floats:
    """The pieces, (k, 2, 3), in which a plane cuts triangles, which need not be closed."""
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


@rule(
    "knee-volume",
    "A knee bent by 90° keeps its volume",
    fault="A knee bent by 90° loses volume",
    limit=("at least", 80.0, "%"),
    severity="moderate",
    needs=("skin",),
    because=f"of what lies within a third of a bone's length around it; {CHOSEN}",
    why="A linear blend folds a bent limb together like a hose; the thinner the knee, the more it "
    "shows.",
    todo="Paint a narrower and smoother blend around the knee, or add a helper joint that turns by "
    "half the angle.",
)
def knee_volume(subject: Subject) -> Outcome:
    torn = _torn(subject)
    if torn:
        return torn
    parts, bent = [], {}
    for side, leg in subject.legs.legs.items():
        found = _bent(subject, side)
        if found is None:
            continue
        name = f"{side_name(side)} {leg.bend}"
        parts.append((name, 100 * found.kept))
        bent[name] = found
    if not parts:
        return Unmeasured("no skin lies around the knees")
    name, number = worst(parts, largest=False)
    drawn = bent[name]
    return Measured(
        number,
        f"Bent by {BEND_DEG:.0f}° about its hinge, the {name} keeps {number:.0f} % of the volume "
        "around it.",
        tuple(parts),
        draw=lambda kind: pictures.bent(
            drawn.rest, drawn.posed, drawn.triangles, f"{number:.0f} %", kind
        ),
    )


class Bent(NamedTuple):
    """A bent knee.

    Attributes
    ----------
    kept : float
        The share of the volume around it that is kept.
    rest, posed : ndarray, shape (k, 3)
        Its skin at rest and bent.
    triangles : ndarray of int, shape (t, 3)
        Of both.
    """

    kept: float
    rest: Floats
    posed: Floats
    triangles: Ints


def _bent(subject: Subject, side: str) -> Bent | None:
    """A knee bent about its hinge; None where it has no bones to speak of, or hardly any skin."""
    root, middle, end = subject.bending(side)
    bones = float(np.linalg.norm(middle - root)), float(np.linalg.norm(end - middle))
    if not min(bones) > 1e-9:
        return None
    part = subject.legs.legs[side].bend
    along = (middle - root) / bones[0] + (end - middle) / bones[1]
    triangles = _near(subject, side, middle, 0.35 * min(bones), along / np.linalg.norm(along))
    if len(triangles) < 12:
        return None
    chosen, triangles = np.unique(triangles, return_inverse=True)
    surface = _skin(subject)
    rest = surface.vertices[chosen]
    rest, triangles, kept = _weld(rest, triangles.reshape(-1, 3))
    turn = rotation.matrix_about(
        bend_normal(subject, side), subject.bend_sign * np.radians(BEND_DEG)
    )
    posed = surface.posed(chosen, subject.motions_of({subject.joint(side, part): turn}))[kept]
    closed = _close(triangles)
    whole = _volume(rest, closed, middle)
    if abs(whole) < 1e-9:
        return None
    return Bent(_volume(posed, closed, middle) / whole, rest, posed, triangles)


def _near(
    subject: Subject, side: str, point: Floats, reach: float, along: Floats | None = None
) -> Ints:
    """The leg's triangles within reach of a point; with a direction, between planes across it."""
    triangles = subject.leg_skin(side)
    away = _skin(subject).vertices - point
    apart = np.linalg.norm(away, axis=-1) if along is None else np.abs(away @ along)
    near = apart <= reach
    if along is not None:
        near &= np.linalg.norm(away, axis=-1) <= 2.5 * reach
    return triangles[near[triangles].all(axis=-1)]


def _weld(vertices: Floats, triangles: Ints) -> tuple[Floats, Ints, Ints]:
    """Vertices in one place made one, the triangles, and the places of the vertices kept."""
    size = max(np.ptp(vertices, axis=0).max(), 1e-9)
    _, kept, number = np.unique(
        np.round(vertices / (1e-6 * size)), axis=0, return_index=True, return_inverse=True
    )
    triangles = number.reshape(-1)[triangles]
    flat = (triangles == np.roll(triangles, 1, axis=1)).any(axis=1)
    return vertices[kept], triangles[~flat], kept


def _close(triangles: Ints) -> Closed:
    """Triangles and the directed edges, (e, 2), of each open border, for a fan to close it."""
    edges = np.stack([triangles, np.roll(triangles, -1, axis=1)], axis=-1).reshape(-1, 2)
    size = int(triangles.max()) + 1
    codes, back = edges[:, 0] * size + edges[:, 1], edges[:, 1] * size + edges[:, 0]
    loose = edges[~np.isin(codes, back)]
    parent: dict[int, int] = {}

    def top(i: int) -> int:
        while parent.setdefault(i, i) != i:
            parent[i] = i = parent[parent[i]]
        return i

    for a, b in loose.tolist():
        parent[top(a)] = top(b)
    groups: dict[int, list[list[int]]] = {}
    for edge in loose.tolist():
        groups.setdefault(top(edge[0]), []).append(edge)
    return triangles, [np.array(group) for group in groups.values()]


def _volume(vertices: Floats, closed: Closed, about: Floats) -> float:
    triangles, borders = closed
    vertices = vertices - about
    total = mesh.volume(vertices, triangles)
    for edges in borders:
        a, b = vertices[edges[:, 0]], vertices[edges[:, 1]]
        total += np.sum(np.cross(b, a) @ a.mean(axis=0)) / 6
    return float(total)


def _torn(subject: Subject) -> Unmeasured | None:
    cm = max((moved.cm for moved in subject.since_bound), default=0.0)
    if cm > TORN_CM:
        return Unmeasured(
            "the inverse bind matrices are off, so the skin at rest says nothing; mend those first"
        )
    return None


def _skin(subject: Subject) -> Surface:
    """The skin of a rig that has one: the rules here need it."""
    if subject.surface is None:
        raise ValueError("there is no skin")
    return subject.surface


def _dots(subject: Subject, chosen: Bools, text: str) -> Draw | None:
    """The drawing of vertices that were found; None where there are none."""
    found = _skin(subject).vertices[chosen]
    return (lambda kind: pictures.dots(subject, found, text, kind)) if len(found) else None


def _vertices(count: int) -> str:
    return f"{count:,} vertices" if count != 1 else "One vertex"


RULES = (
    weights_sum,
    weights_at_most,
    weights_missing,
    weights_own_side,
    joint_in_section,
    knee_volume,
)
