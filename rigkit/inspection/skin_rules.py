"""Rules on the skin's shape: joints in the middle of their limb, what a bent knee does to it."""

from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np

from rigkit import mesh, rotation
from rigkit._types import Floats, Ints
from rigkit.inspection import pictures, piece
from rigkit.inspection.rule import CHOSEN, Measured, Outcome, Unmeasured, Where, rule, worst
from rigkit.inspection.skeleton_rules import bend_normal
from rigkit.inspection.subject import Subject, side_name
from rigkit.inspection.weight_rules import skin_of

BEND_DEG = 90.0
STANDS_BENT_DEG = 45.0  # at rest, as an animal's hind leg: it may not bend by 90° more
REACH = 0.35  # of the shorter bone: how far above and below a knee its volume is measured
LINEAR_SECTION = float(np.cos(np.radians(BEND_DEG) / 2))  # of a linear blend, shared half and half
OVERSTRETCHED = 2.0  # times: an edge of the skin of a bent knee
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
            off = float(np.linalg.norm(subject.point(side, part) - cut.middle))
            parts.append((name, 100 * off / cut.radius))
            cuts[name] = side, part, cut
    if not parts:
        return Unmeasured("no skin lies around the legs' joints")
    name, number = worst(parts)
    side, part, drawn = cuts[name]
    said = _in_cm(number / 100 * drawn.radius)
    return Measured(
        number,
        f"{name} is {said} from the middle of the limb there, {number:.0f} % of the way to "
        f"the skin ({_in_cm(drawn.radius)}).",
        tuple(parts),
        draw=lambda kind: pictures.section(subject, side, part, drawn, said, kind),
        where=Where((subject.joint(side, part),)),
    )


def _in_cm(metres: float) -> str:
    return f"{100 * metres:.1f} cm" if metres >= 0.001 else "less than 0.1 cm"


def _section(subject: Subject, side: str, i: int) -> mesh.Section | None:
    """The section of the limb at an inner joint; None where no outline there surrounds a limb."""
    chain = subject.chain(side)
    above, below = chain[i] - chain[i - 1], chain[i + 1] - chain[i]
    lengths = float(np.linalg.norm(above)), float(np.linalg.norm(below))
    if not min(lengths) > 1e-9:
        return None
    normal = above / lengths[0] + below / lengths[1]
    vertices, triangles = skin_of(subject).vertices, subject.leg_skin(side)
    higher = ((vertices - chain[i]) @ normal >= 0)[triangles]
    kept, triangles = piece.weld(vertices, triangles[higher.any(axis=-1) & ~higher.all(axis=-1)])
    if len(triangles) < 3:
        return None
    cut = mesh.section(vertices[kept], triangles, chain[i], normal)
    near = np.linalg.norm(cut.outline - chain[i], axis=-1).min() <= 0.6 * min(lengths)
    return cut if near and cut.radius > 1e-6 and _surrounds(cut, normal) else None


def _surrounds(cut: mesh.Section, normal: Floats) -> bool:
    """True if an outline surrounds its middle: a plate in front of a limb does not."""
    across = rotation.perpendicular(normal)
    away = cut.outline - cut.middle
    first = np.arctan2(away @ np.cross(normal, across), away @ across)
    turns = (np.roll(first, -1) - first + np.pi) % (2 * np.pi) - np.pi
    if not cut.closed:
        first, turns = first[:-1], turns[:-1]
    first = np.where(turns >= 0, first, first + turns)
    ways = np.radians(np.arange(0, 360, 5))[:, None]
    seen = ((ways - first) % (2 * np.pi) <= np.abs(turns)).any(axis=-1)
    return bool(seen.mean() >= SURROUNDED)


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
    bent = _bent_knees(subject)
    if isinstance(bent, Unmeasured):
        return bent
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
        where=_at_knee(subject, name),
    )


@rule(
    "knee-stretch",
    "A knee bent by 90° stretches its skin little",
    fault="A knee bent by 90° stretches its skin far",
    limit=("at most", 100 * OVERSTRETCHED, "% of its length"),
    severity="moderate",
    needs=("skin",),
    because="puppets of 300 to 20,000 vertices, whose blend reaches two radii above and below the "
    "knee, stretch no edge beyond 150 %; a blend of one radius stretches one to 177 %, one of half "
    f"a radius to 250 %; {CHOSEN}",
    why="Over a bent knee the skin looks torn, and what is drawn on it is smeared.",
    todo="Smooth the weights all around the knee: thigh and shank share too little of it.",
)
def knee_stretch(subject: Subject) -> Outcome:
    bent = _bent_knees(subject)
    if isinstance(bent, Unmeasured):
        return bent
    parts = tuple((name, 100 * found.stretch) for name, found in bent.items())
    name, number = worst(parts)
    drawn = bent[name]
    return Measured(
        number,
        f"Bent by {BEND_DEG:.0f}° about its hinge, the {name} stretches an edge of its skin to "
        f"{number:.0f} % of its length.",
        parts,
        draw=lambda kind: pictures.stretched(
            drawn.poses, drawn.triangles, drawn.longest, f"{number:.0f} %", kind
        ),
        where=_at_knee(subject, name),
    )


def _at_knee(subject: Subject, name: str) -> Where:
    """The joint that is told as `name`."""
    return Where(
        tuple(
            subject.joint(side, leg.bend)
            for side, leg in subject.legs.legs.items()
            if name == f"{side_name(side)} {leg.bend}"
        )
    )


def _bent_knees(subject: Subject) -> dict[str, "Bent"] | Unmeasured:
    """Each knee that has skin, bent, by its name; or why that cannot be."""
    if subject not in _BENT:
        _BENT[subject] = _bend_knees(subject)
    return _BENT[subject]


def _bend_knees(subject: Subject) -> dict[str, "Bent"] | Unmeasured:
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
    return bent or Unmeasured("no skin lies around the knees")


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
    longest : ndarray, shape (2, 2, 3)
        The ends of the most stretched edge, at rest and bent.
    """

    volume: float
    section: float
    stretch: float
    poses: Floats
    triangles: Ints
    outline: Floats
    longest: Floats


# Each subject's: two rules measure them.
_BENT: WeakKeyDictionary[Subject, dict[str, Bent] | Unmeasured] = WeakKeyDictionary()


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
    poses, triangles = _two_poses(subject, side)
    return bent_skin(poses, triangles, subject.bending(side), reach)


def bent_skin(poses: Floats, triangles: Ints, leg: Floats, reach: float = REACH) -> Bent | None:
    """Measure a leg's skin about its knee, at rest and bent.

    Parameters
    ----------
    poses : ndarray, shape (2, k, 3)
        At rest and bent.
    triangles : ndarray of int, shape (t, 3)
    leg : array_like, shape (3, 3)
        The joints above, at and below the knee, at rest.
    reach : float
        As for `bent_knee`.

    Returns
    -------
    Bent or None
        As of `bent_knee`.
    """
    root, middle, end = leg
    bones = np.linalg.norm([middle - root, end - middle], axis=-1)
    if not bones.min() > 1e-9:
        return None
    along = (middle - root) / bones[0] + (end - middle) / bones[1]
    along, reach = along / np.linalg.norm(along), reach * float(bones.min())
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
    stretch = mesh.stretch(poses[0], poses[1], uncut)
    most, edge = np.unravel_index(stretch.argmax(), stretch.shape)
    return Bent(
        float(kept / whole),
        float(mesh.section_ratio(*cut)),
        float(stretch.max()),
        poses,
        triangles,
        mesh.carried_section(poses[0], poses, *cut[2:]),
        poses[:, np.roll(uncut[most], -edge)[:2]],
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


RULES = (joint_in_section, knee_volume, knee_stretch)
