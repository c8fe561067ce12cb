"""Rules on the skin's shape: joints in the middle of their limb, the volume of a bent knee."""

from typing import NamedTuple

import numpy as np

from rigkit import mesh, rotation
from rigkit._types import Floats, Ints
from rigkit.inspection import pictures, piece
from rigkit.inspection.rule import CHOSEN, Measured, Outcome, Unmeasured, rule, worst
from rigkit.inspection.skeleton_rules import bend_normal
from rigkit.inspection.subject import Subject, side_name
from rigkit.inspection.weight_rules import skin_of

BEND_DEG = 90.0
STANDS_BENT_DEG = 45.0  # at rest, as an animal's hind leg: it may not bend by 90° more
REACH = 0.35  # of the shorter bone: how far above and below a knee its volume is measured
LINEAR_SECTION = float(np.cos(np.radians(BEND_DEG) / 2))  # of a linear blend, shared half and half
OVERSTRETCHED = 2.5  # times: where a blend reaches no more than half a radius
SURROUNDED = 5 / 6  # of all directions from its middle: where the outline of a limb is to be seen


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
        # Of an animal the knee alone: a hock's tendon stands off behind it, and so does its skin.
        inner = leg.chain[1:2] if subject.legs.animal else leg.chain[1:-1]
        for i, part in enumerate(inner, start=1):
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
    off = _in_cm(number / 100 * radius)
    return Measured(
        number,
        f"{name} is {off} from the middle of the limb there, {number:.0f} % of the way to "
        f"the skin ({_in_cm(radius)}).",
        tuple(parts),
        draw=lambda kind: pictures.section(subject, side, part, outline, centre, off, kind),
    )


def _in_cm(metres: float) -> str:
    return f"{100 * metres:.1f} cm" if metres >= 0.001 else "less than 0.1 cm"


def _section(subject: Subject, side: str, i: int) -> tuple[Floats, Floats, float] | None:
    """The outline of the limb at an inner joint, (k, 2, 3), its centre and mean radius, or None."""
    chain = subject.chain(side)
    above, below = chain[i] - chain[i - 1], chain[i + 1] - chain[i]
    lengths = float(np.linalg.norm(above)), float(np.linalg.norm(below))
    if not min(lengths) > 1e-9:
        return None
    normal = above / lengths[0] + below / lengths[1]
    normal = normal / np.linalg.norm(normal)
    pieces = _cut(skin_of(subject).vertices, subject.leg_skin(side), chain[i], normal)
    away = np.linalg.norm(pieces.mean(axis=1) - chain[i], axis=-1)
    pieces = pieces[away <= 0.6 * min(lengths)]
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
    away = pieces - centre
    angles = np.arctan2(away @ np.cross(normal, across), away @ across)
    turns = (angles[:, 1] - angles[:, 0] + np.pi) % (2 * np.pi) - np.pi
    first = np.where(turns >= 0, angles[:, 0], angles[:, 1])
    ways = np.radians(np.arange(0, 360, 5))[:, None]
    seen = ((ways - first) % (2 * np.pi) <= np.abs(turns)).any(axis=-1)
    return bool(seen.mean() >= SURROUNDED)


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
    limit=("at least", 60.0, "%"),
    severity="moderate",
    needs=("skin",),
    because="within a third of a bone's length around it half is left where thigh and shank share "
    "all of it half and half (derived); on a leg of human shape a blend that reaches two radii "
    f"above and below the knee keeps 92 %, one of eight radii 60 %; {CHOSEN}",
    why="A linear blend folds a bent limb together like a hose; the wider the blend, the more it "
    "loses.",
    todo="Paint a narrower blend around the knee.",
)
def knee_volume(subject: Subject) -> Outcome:
    torn = _torn(subject)
    if torn:
        return torn
    most = max(_rest_bend_deg(subject, side) for side in subject.sides)
    if most > STANDS_BENT_DEG:
        return Unmeasured(f"its legs stand bent by {most:.0f}° already, so 90° more is too far")
    bent = {
        f"{side_name(side)} {leg.bend}": found
        for side, leg in subject.legs.legs.items()
        if (found := bent_knee(subject, side)) is not None
    }
    if not bent:
        return Unmeasured("no skin lies around the knees")
    parts = tuple((name, 100 * found.volume) for name, found in bent.items())
    name, number = worst(parts, largest=False)
    drawn = bent[name]
    return Measured(
        number,
        f"Bent by {BEND_DEG:.0f}° about its hinge, the {name} keeps {number:.0f} % of the volume "
        f"around it and {100 * drawn.section:.0f} % of its section at the crease; the most "
        f"stretched edge of its skin is {drawn.stretch:.1f} times as long.",
        parts,
        draw=lambda kind: pictures.bent(
            drawn.poses, drawn.triangles, drawn.outline, f"{number:.0f} %", kind
        ),
        todo=_advice(drawn),
    )


def _rest_bend_deg(subject: Subject, side: str) -> float:
    root, middle, end = subject.bending(side)
    return float(np.degrees(rotation.angle_between(middle - root, end - middle)))


def _advice(bent: "Bent") -> str:
    """The advice, by which of the three is bad."""
    room = bent.stretch < OVERSTRETCHED
    first = (
        "Paint a narrower blend around the knee: its skin is stretched little, so there is room."
        if room
        else "Leave the blend as wide as it is, since its skin is stretched far already."
    )
    if bent.section < 0.95 * LINEAR_SECTION:
        first += " Give front and back of the crease the same shares of thigh and shank."
    helper = "add a helper joint that turns by half the angle"
    kept = f"{100 * LINEAR_SECTION:.0f} %"
    return f"{first} If more than {kept} of the section is to stay at the crease, {helper}."


class Bent(NamedTuple):
    """A bent knee.

    Attributes
    ----------
    volume : float
        The share of the volume around it that is kept.
    section : float
        The share that is kept of the section that went through it at rest.
    stretch : float
        The length of the most stretched edge, as a share of its length at rest.
    poses : ndarray, shape (2, k, 3)
        Its skin at rest and bent, closed.
    triangles : ndarray of int, shape (t, 3)
        Of both.
    outline : ndarray, shape (2, m, 2, 3)
        The pieces of the outline of that section, at rest and bent.
    """

    volume: float
    section: float
    stretch: float
    poses: Floats
    triangles: Ints
    outline: Floats


def bent_knee(subject: Subject, side: str, reach: float = REACH) -> Bent | None:
    """Bend a knee about its hinge, and measure the skin between two planes across the leg.

    Parameters
    ----------
    subject : Subject
    side : {"L", "R"}
    reach : float
        Of either plane from the knee, as a share of the shorter bone.

    Returns
    -------
    Bent or None
        None where the knee has no bones to speak of, or hardly any skin.
    """
    root, middle, end = subject.bending(side)
    bones = np.linalg.norm([middle - root, end - middle], axis=-1)
    if not bones.min() > 1e-9:
        return None
    along = (middle - root) / bones[0] + (end - middle) / bones[1]
    along, reach = along / np.linalg.norm(along), reach * float(bones.min())
    poses, triangles = _two_poses(subject, side)
    height = (poses[0] - middle) @ along
    low, high = height[triangles].min(axis=-1), height[triangles].max(axis=-1)
    uncut = triangles[(low <= reach) & (high >= -reach)]
    for way in (1, -1):
        height = way * ((poses[0] - middle) @ along) - reach
        poses, triangles = piece.cut_off(poses, triangles, height)
    apart = np.linalg.norm(poses[0, triangles].mean(axis=1) - middle, axis=-1)
    triangles = triangles[apart <= 2.5 * reach]  # not a foot that stands as high as its knee
    if len(triangles) < 12:
        return None
    poses, triangles = piece.closed(poses, triangles)
    whole, kept = mesh.volume(poses, triangles)
    if abs(whole) < 1e-6 * reach**3:
        return None
    cut = poses[0], poses[1], triangles, middle, along
    return Bent(
        float(kept / whole),
        float(mesh.section_ratio(*cut)),
        float(mesh.stretch(poses[0], poses[1], uncut).max()),
        poses,
        triangles,
        np.stack([mesh.carried_section(poses[0], pose, *cut[2:]) for pose in poses]),
    )


def _two_poses(subject: Subject, side: str) -> tuple[Floats, Ints]:
    """A leg's skin at rest and with its knee bent, shape (2, k, 3), and its triangles."""
    surface, triangles = skin_of(subject), subject.leg_skin(side)
    if not len(triangles):
        return np.empty((2, 0, 3)), triangles
    kept, triangles = piece.weld(surface.vertices, triangles)
    knee = subject.joint(side, subject.legs.legs[side].bend)
    turn = rotation.matrix_about(
        bend_normal(subject, side), subject.bend_sign * np.radians(BEND_DEG)
    )
    posed = surface.posed(kept, subject.motions_of({knee: turn}))
    return np.stack([surface.vertices[kept], posed]), triangles


def _torn(subject: Subject) -> Unmeasured | None:
    legs = {node for side in subject.sides for node in subject.leg_nodes(side)}
    lost = [each.node for each in subject.since_bound if not np.isfinite(each.cm)]
    if legs.isdisjoint(lost):
        return None
    return Unmeasured(
        "an inverse bind matrix cannot be undone, so the skin at rest says nothing; mend it first"
    )


RULES = (joint_in_section, knee_volume)
