"""Rules on the skeleton at rest: hierarchy, mirror symmetry, preset bend, joints that read zero."""

from collections.abc import Iterator
from itertools import pairwise

import numpy as np

from rigkit import bend as bd
from rigkit import frames as fr
from rigkit._types import Floats
from rigkit.inspection import pictures
from rigkit.inspection.legs import Leg
from rigkit.inspection.names import read_name
from rigkit.inspection.rule import CHOSEN, CRAFT, Measured, Outcome, Unmeasured, rule, worst
from rigkit.inspection.subject import Subject, rotation_angle_deg, side_name

FLIPS = {"x": (-1, 1, 1), "y": (1, -1, 1), "z": (1, 1, -1), "all": (-1, -1, -1)}
PLAIN_BEND_DEG = 0.5  # below this the bend plane is that of the foot


@rule(
    "legs-found",
    "The legs are found and certain",
    fault="The legs are not certain",
    limit=("at least", 50.0, "%"),
    severity="serious",
    because=f"below even odds a wrong joint may have been measured; {CHOSEN}",
    why="Everything below is measured on these joints: if one is wrong, so are its numbers.",
    todo="Read what was taken for what; correct it with --map left.knee=NAME. Names such as "
    "left_knee help.",
)
def legs_found(subject: Subject) -> Measured:
    legs = subject.legs
    found = {1: "one leg", 2: "two legs"}[len(legs.legs)]
    parts = [
        (f"{side_name(side)} {part}: {subject.name(side, part)}", 100 * leg.certainty[part])
        for side, leg in legs.legs.items()
        for part in leg.chain
    ]
    unsure = {
        (side, part)
        for side, leg in legs.legs.items()
        for part, sure in leg.certainty.items()
        if sure < 0.5
    }
    name, number = worst(parts, largest=False)
    return Measured(
        number,
        f"There {'are' if len(legs.legs) == 2 else 'is'} {found}; least certain is the {name}.",
        tuple(parts),
        draw=lambda kind: pictures.names(subject, unsure, kind),
    )


@rule(
    "chain-unbroken",
    "Every joint hangs below the one above it",
    fault="A joint does not hang below the one above it",
    limit=("at most", 0.0, "loose joints"),
    severity="serious",
    because=f"a leg is one chain from pelvis to toe; {CRAFT}",
    why="A foot that does not hang from its shin stays behind when the knee turns.",
    todo="Make the joint a child of the one above it, keeping its place.",
)
def chain_unbroken(subject: Subject) -> Measured:
    loose = []
    for side, leg in subject.legs.legs.items():
        way = [*leg.chain, *(part for part in ("ball", "toe") if part in leg.joints)]
        for upper, lower in pairwise(way):
            if leg.joints[upper] not in subject.above(leg.joints[lower]):
                loose.append((side, upper, lower))
        if subject.legs.pelvis is not None and subject.legs.pelvis not in subject.above(
            leg.joints["hip"]
        ):
            loose.append((side, "pelvis", "hip"))
    count = len(subject.legs.legs)
    if loose:
        said = "; ".join(
            f"the {side_name(side)} {lower} ({subject.name(side, lower)}) does not hang below the"
            f" {upper}"
            for side, upper, lower in loose
        )
    else:
        said = (
            f"In {'both legs' if count == 2 else 'the leg'} every joint hangs below the one"
            " above it"
        )
    return Measured(
        len(loose),
        _sentence(said),
        tuple((subject.name(side, lower), 1.0) for side, _, lower in loose),
        draw=lambda kind: pictures.loose(subject, loose, kind),
    )


@rule(
    "names-say-sides",
    "Names say their side, and go in pairs",
    fault="Names do not say their side, or have no partner",
    limit=("at most", 0.0, "names"),
    severity="slight",
    because=f"every mirroring and copying goes by names; {CRAFT}",
    why="Poses are mirrored, and motions moved to another rig, by swapping the side in a name.",
    todo="Give each joint a name with a side of its own, the same on both sides but for the side: "
    "L_knee and R_knee.",
)
def names_say_sides(subject: Subject) -> Measured:
    wrong = []
    for side, leg in subject.legs.legs.items():
        other = subject.legs.legs.get("R" if side == "L" else "L")
        for part, node in leg.joints.items():
            wrong += [(side, part, why) for why in _name_problem(subject, side, part, node, other)]
    if wrong:
        first = "; ".join(
            f"{_quoted(subject.name(side, part))} {why}" for side, part, why in wrong[:4]
        )
        more = f"; and {len(wrong) - 4} more" if len(wrong) > 4 else ""
        said = f"{first}{more}"
    else:
        said = "Every joint's name says its side, and the sides' names go in pairs"
    return Measured(
        len(wrong),
        _sentence(said),
        tuple((subject.name(side, part), 1.0) for side, part, _ in wrong),
        draw=lambda kind: pictures.names(subject, {(side, part) for side, part, _ in wrong}, kind),
    )


def _name_problem(
    subject: Subject, side: str, part: str, node: int, other: Leg | None
) -> Iterator[str]:
    """The problem with a joint's name, if there is one; `other` is the other leg."""
    said = read_name(subject.names[node])
    aside = subject.points[node, 0] * (1 if side == "L" else -1)
    if not subject.asset.nodes[node].name:
        yield "has no name"
    elif subject.names.count(subject.names[node]) > 1:
        yield "is the name of several joints"
    elif said.side is None:
        yield "does not say its side"
    elif said.side != side:
        yield f"says {side_name(said.side)}, but is part of the {side_name(side)} leg"
    elif other is not None and aside < -0.01 * subject.length:
        where = "right" if side == "L" else "left"
        yield f"lies on the body's {where}, {_cm(100 * abs(aside))} from the middle"
    elif other is not None and part in other.joints:
        partner = subject.names[other.joints[part]]
        if read_name(partner).side is not None and read_name(partner).stem != said.stem:
            yield f"has no partner of the same name ({_quoted(partner)})"


@rule(
    "sides-mirror",
    "The sides are mirror images",
    fault="The sides are no mirror images",
    limit=("at most", 0.5, "cm"),
    severity="moderate",
    needs=("both",),
    because=f"half a centimetre is below what one sees in a walk; {CHOSEN}",
    why="A pose mirrored to the other side lands beside where it should, and one leg takes longer "
    "steps.",
    todo="Place one side, mirror it to the other, then bind.",
)
def sides_mirror(subject: Subject) -> Measured:
    parts = []
    for part in subject.common_parts:
        image = subject.point("L", part) * [-1, 1, 1]
        parts.append((part, 100 * float(np.linalg.norm(subject.point("R", part) - image))))
    part, number = worst(parts)
    return Measured(
        number,
        f"Farthest off is the {part}: {subject.name('R', part)} stands {_cm(number)} from the "
        f"mirror image of {subject.name('L', part)}.",
        tuple(parts),
        draw=lambda kind: pictures.mirror(subject, part, number, kind),
    )


@rule(
    "sides-turn",
    "The sides' axes are mirror images",
    fault="The sides' axes are no mirror images",
    limit=("at most", 2.0, "°"),
    severity="moderate",
    needs=("both",),
    because=f"a pose copied to the other side is off by as much; {CHOSEN}",
    why="The same angles must make mirrored motions, so the joints' axes must be mirrored, all in "
    "the same way.",
    todo="Mirror the joints with their axes, the same way for all of them, and do not turn them by "
    "hand afterwards.",
)
def sides_turn(subject: Subject) -> Measured:
    lefts, rights = (
        [subject.joint(side, part) for part in subject.common_parts] for side in ("L", "R")
    )
    image = fr.mirror_points(np.swapaxes(subject.rotations[lefts], -1, -2))
    wanted = {name: np.swapaxes(image, -1, -2) * signs for name, signs in FLIPS.items()}
    found = {
        name: rotation_angle_deg(np.swapaxes(turns, -1, -2) @ subject.rotations[rights])
        for name, turns in wanted.items()
    }
    flip, off = min(found.items(), key=lambda item: (np.round(np.sum(item[1]), 6), item[0]))
    parts = [(part, float(deg)) for part, deg in zip(subject.common_parts, off, strict=True)]
    part, number = worst(parts)
    how = "with all three axes reversed" if flip == "all" else f"with the {flip} axis reversed"
    image = wanted[flip][subject.common_parts.index(part)]
    return Measured(
        number,
        f"The right side is the left one mirrored, {how}; farthest off is the {part}: "
        f"{subject.name('R', part)} is turned {_deg(number)} away from the mirror image.",
        tuple(parts),
        draw=lambda kind: pictures.axes(subject, "R", part, image, _deg(number)),
    )


@rule(
    "preset-bend",
    "The legs have a preset bend to their own side",
    fault="A leg has no preset bend to its own side",
    limit=("at least", 2.0, "°"),
    severity="serious",
    because=f"2° to 10° is usual; {CRAFT}",
    why="An inverse chain bends a leg further the way it is bent already; a straight one stalls or "
    "guesses.",
    todo="Move the knee a little forward in the side view (the heron's ankle backward), before "
    "binding.",
)
def preset_bend(subject: Subject) -> Measured:
    parts = [(side_name(side), _bend_deg(subject, side)) for side in subject.sides]
    side, number = worst(parts, largest=False)
    joint = subject.legs.legs["L" if side == "left" else "R"].bend
    way = "forward" if subject.bend_sign > 0 else "backward"
    if number < -PLAIN_BEND_DEG:
        said = (
            f"The {side} {joint} is bent {_deg(abs(number))} the wrong way,"
            f" {'backward' if subject.bend_sign > 0 else 'forward'}: an inverse chain will bend it"
            " further that way."
        )
    elif number < PLAIN_BEND_DEG:
        said = (
            f"The {side} leg is straight ({_deg(number)}): an inverse chain cannot tell which way"
            " to bend it."
        )
    else:
        both = " and ".join(f"{name} {_deg(value)}" for name, value in parts)
        said = (
            f"The {'legs are' if len(parts) > 1 else 'leg is'} bent {way} at the {joint}: {both}."
        )
    return Measured(number, said, tuple(parts), draw=lambda kind: pictures.bends(subject, kind))


@rule(
    "bends-alike",
    "Both legs are bent alike",
    fault="The legs are bent differently",
    limit=("at most", 1.0, "°"),
    severity="moderate",
    needs=("both",),
    because=f"more shows as one leg bending earlier; {CHOSEN}",
    why="The same step must bend both knees alike.",
    todo="Give both legs the same preset bend: set one and mirror it.",
)
def bends_alike(subject: Subject) -> Measured:
    left, right = (_bend_deg(subject, side) for side in ("L", "R"))
    number = abs(left - right)
    return Measured(
        number,
        f"The left leg is bent {_deg(left)}, the right one {_deg(right)}.",
        (("left", left), ("right", right)),
        draw=lambda kind: pictures.bends(subject, kind),
    )


@rule(
    "hinge-square",
    "The hinge axis is square to the bend plane",
    fault="The hinge axis is aslant to the bend plane",
    limit=("at most", 5.0, "°"),
    severity="moderate",
    because="at 5° the shank swings 4 cm aside in a right-angled bend; derived (sin 5° × 0.43 m); "
    f"{CHOSEN}",
    why="A knee is a hinge: turned about an axis aslant, the shank swings sideways.",
    todo="Turn the joint's axes, not the joint: one axis along the bone, one square to hip, knee "
    "and ankle.",
)
def hinge_square(subject: Subject) -> Measured:
    """The angle from square of the axis, the same on both sides, that is nearest to square."""
    joints = {side: subject.joint(side, subject.legs.legs[side].bend) for side in subject.sides}
    normals = {side: bend_normal(subject, side) for side in subject.sides}
    along = np.abs([subject.rotations[joint].T @ normals[side] for side, joint in joints.items()])
    off = np.degrees(np.arccos(np.clip(along, 0.0, 1.0)))
    axis = int(off.sum(axis=0).argmin())
    parts = [(side_name(side), float(deg)) for side, deg in zip(joints, off[:, axis], strict=True)]
    word, number = worst(parts)
    side = "L" if word == "left" else "R"
    direction = subject.rotations[joints[side]][:, axis]
    direction = direction if direction @ normals[side] >= 0 else -direction
    return Measured(
        number,
        f"The {'xyz'[axis]} axis of {subject.names[joints[side]]} is the one that could be its "
        f"hinge; it is {_deg(number)} from square to the plane the leg bends in.",
        tuple(parts),
        draw=lambda kind: pictures.hinge(
            subject, joints[side], direction, normals[side], number, kind
        ),
    )


def bend_normal(subject: Subject, side: str) -> Floats:
    """Return the unit normal of the plane a leg bends in.

    Parameters
    ----------
    subject : Subject
    side : {"L", "R"}

    Returns
    -------
    ndarray, shape (3,)
        Of a straight leg, that of the plane through it and its foot.
    """
    root, middle, end = subject.bending(side)
    if abs(_bend_deg(subject, side)) >= PLAIN_BEND_DEG:
        normal = np.cross(middle - root, end - middle)
    else:
        normal = np.cross(subject.toe_direction(side), end - root)
    length = np.linalg.norm(normal)
    normal = normal / length if length > 1e-12 else np.array([1.0, 0.0, 0.0])
    return normal if normal[0] >= 0 else -normal


@rule(
    "knee-in-plane",
    "The knee lies in the leg's plane",
    fault="The knee lies beside the leg's plane",
    limit=("at most", 0.5, "cm"),
    severity="moderate",
    because=f"hip, knee, ankle and toes in one plane; {CRAFT}",
    why="A knee beside the plane of its foot points elsewhere than the toes do as soon as it "
    "bends.",
    todo="In the front view put the knee on the line from hip to ankle, or turn the foot to where "
    "the knee points.",
)
def knee_in_plane(subject: Subject) -> Outcome:
    parts = []
    for side in subject.sides:
        root, middle, end = subject.bending(side)
        normal = np.cross(subject.toe_direction(side), end - root)
        length = np.linalg.norm(normal)
        if length < 1e-9:
            return Unmeasured(f"the {side_name(side)} leg lies along its foot")
        parts.append(
            (
                side_name(side),
                100 * float((middle - root) @ normal / length) * (-1 if side == "R" else 1),
            )
        )
    side, number = worst([(name, abs(value)) for name, value in parts])
    key = "L" if side == "left" else "R"
    joint = subject.legs.legs[key].bend
    aside = dict(parts)[side]
    where = "outward" if aside > 0 else "inward"
    off = f", {where}" if number > 0.05 else ""
    return Measured(
        number,
        f"{subject.name(key, joint)} stands {_cm(number)} beside the plane through hip, "
        f"{subject.legs.legs[key].chain[-1]} and toes{off}.",
        tuple(parts),
        draw=lambda kind: pictures.plane(subject, key, number, kind),
    )


@rule(
    "rest-reads-zero",
    "At rest the joints stand as they were bound",
    fault="At rest joints do not stand as they were bound",
    limit=("at most", 0.5, "°"),
    severity="moderate",
    needs=("skin",),
    because=f"a joint left alone reads zero; half a degree is rounding in other programs; {CHOSEN}",
    why="A rest pose that is already posed is added to every pose after it, and no one knows where "
    "zero is.",
    todo="Put the legs back to the pose they were bound in, then export; or bind anew in this one.",
)
def rest_reads_zero(subject: Subject) -> Outcome:
    places = {
        node: (side, part)
        for side, leg in subject.legs.legs.items()
        for part, node in leg.joints.items()
    }
    found = [moved for moved in subject.since_bound if moved.node in places]
    if not found:
        return Unmeasured("no skin says how its joints stood when it was bound")
    most = max(found, key=lambda moved: moved.deg)
    side, part = places[most.node]
    wanted = subject.rotations[most.node] @ most.back
    return Measured(
        most.deg,
        f"Since the skin was bound, {subject.names[most.node]} has been turned {_deg(most.deg)} "
        "in its parent, the most of all leg joints.",
        tuple((subject.names[moved.node], moved.deg) for moved in found),
        draw=lambda kind: pictures.axes(subject, side, part, wanted, _deg(most.deg)),
    )


@rule(
    "inverse-bind",
    "The inverse bind matrices agree with the rest pose",
    fault="The inverse bind matrices contradict the rest pose",
    limit=("at most", 0.1, "cm"),
    severity="serious",
    needs=("skin",),
    because=f"validators do not look at this; a millimetre is rounding; {CHOSEN}",
    why="In the bind pose, world times inverse bind must be one and the same for every joint (glTF "
    "2.0, Skins): else the skin is torn before anything moves.",
    todo="Export again from the bind pose, or bind anew.",
)
def inverse_bind(subject: Subject) -> Outcome:
    found = subject.since_bound
    if not found:
        return Unmeasured("no skin moves a mesh, or it has one joint only")
    most = max(found, key=lambda moved: moved.cm)
    name = subject.names[most.node]
    said = (
        f"The inverse bind matrix of {name} says that it stood {_cm(most.cm)} from where it is in"
        " its parent now."
        if np.isfinite(most.cm)
        else f"The inverse bind matrix of {name} cannot be undone."
    )
    return Measured(
        most.cm,
        said,
        tuple((subject.names[moved.node], moved.cm) for moved in found),
        draw=lambda kind: pictures.one_joint(subject, most.node, _cm(most.cm), kind),
    )


@rule(
    "scale-one",
    "No leg joint is scaled",
    fault="A leg joint is scaled",
    limit=("at most", 0.1, "%"),
    severity="moderate",
    because=f"scale at rest is for units, above the legs only; {CRAFT}",
    why="What hangs below a scaled joint is scaled too, and sheared as soon as it turns.",
    todo="Move joints apart instead of scaling them; apply the scale to the mesh before binding.",
)
def scale_one(subject: Subject) -> Measured:
    parts = []
    for node in subject.scaled_nodes:
        sizes = np.abs(subject.asset.nodes[node].scale)
        if node == subject.root:  # what is above may change units, evenly
            sizes = np.abs(np.linalg.svd(subject.rest[node, :3, :3], compute_uv=False))
            sizes = sizes / max(float(np.median(sizes)), 1e-300)
        parts.append((subject.names[node], 100 * float(np.abs(sizes - 1).max())))
    name, number = worst(parts)
    joint = subject.scaled_nodes[parts.index((name, number))]
    above = np.cbrt(abs(np.linalg.det(subject.rest[subject.root, :3, :3])))
    units = (
        f" A scale of {above:.4g} at or above {subject.names[subject.root]} changes units, evenly."
        if abs(above - 1) > 0.001
        else ""
    )
    return Measured(
        number,
        (
            f"Every joint's scale is one to within {number:.3g} %."
            if number <= 0.1
            else f"{name} is scaled by {number:.3g} % away from one."
        )
        + units,
        tuple(parts),
        draw=lambda kind: pictures.one_joint(subject, joint, f"{number:.3g} %", kind),
    )


@rule(
    "no-negative-scale",
    "No leg joint is mirrored by its scale",
    fault="A leg joint is mirrored by its scale",
    limit=("at most", 0.0, "joints"),
    severity="serious",
    because=f"a reflection is no turn, so no angles can undo it; {CRAFT}",
    why="Below a negative scale left turns right: angles, inverse chains and normals go wrong.",
    todo="Mirror places and axes instead, and keep all scales positive.",
)
def no_negative_scale(subject: Subject) -> Measured:
    mirrored = [
        node for node in subject.scaled_nodes if (subject.asset.nodes[node].scale < 0).any()
    ]
    if not mirrored and np.linalg.det(subject.rest[subject.root, :3, :3]) < 0:
        mirrored = [subject.root]
    if mirrored:
        listed = ", ".join(subject.names[node] for node in mirrored[:4])
        said = f"{listed} {'have' if len(mirrored) > 1 else 'has'} a negative scale."
    else:
        said = "No joint of the legs has a negative scale."
    first = mirrored[0] if mirrored else subject.root
    return Measured(
        len(mirrored),
        said,
        tuple((subject.names[node], 1.0) for node in mirrored),
        draw=lambda kind: pictures.one_joint(
            subject, first, "negative" if mirrored else "positive", kind
        ),
    )


def _bend_deg(subject: Subject, side: str) -> float:
    return float(
        np.degrees(bd.measure_bend(subject.bending(side), (0.0, 0.0, subject.bend_sign)).angle)
    )


def _cm(number: float) -> str:
    return f"{number:.1f} cm" if number >= 0.1 else f"{number:.2f} cm"


def _deg(number: float) -> str:
    return f"{number:.1f}°".replace("-", "−")


def _quoted(name: str) -> str:
    return f"“{name}”"


def _sentence(text: str) -> str:
    return text[:1].upper() + text[1:] + "."


RULES = (
    legs_found,
    chain_unbroken,
    names_say_sides,
    sides_mirror,
    sides_turn,
    preset_bend,
    bends_alike,
    hinge_square,
    knee_in_plane,
    rest_reads_zero,
    scale_one,
    no_negative_scale,
    inverse_bind,
)
