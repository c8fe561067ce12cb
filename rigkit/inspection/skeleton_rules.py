"""Rules on the skeleton at rest: hierarchy, mirror symmetry, preset bend, joints that read zero."""

from collections.abc import Iterator
from itertools import pairwise
from weakref import WeakKeyDictionary

import numpy as np

from rigkit import bend as bd
from rigkit import frames as fr
from rigkit._types import Floats
from rigkit.inspection import pictures
from rigkit.inspection.legs import Leg
from rigkit.inspection.names import go_in_pairs, read_name
from rigkit.inspection.rule import (
    CHOSEN,
    CRAFT,
    SHARE,
    Measured,
    Outcome,
    Unmeasured,
    Where,
    cm,
    rule,
    worst,
)
from rigkit.inspection.subject import Subject, rotation_angle_deg, side_name

FLIPS = {"x": (-1, 1, 1), "y": (1, -1, 1), "z": (1, 1, -1), "all": (-1, -1, -1)}
LEAST_BEND_DEG, ALIKE_DEG = 2.0, 1e-3
STRAIGHT_DEG = 0.5  # a leg bent less is straight
PLAIN_BEND_DEG = 10.0  # a leg bent less is taken to bend in the plane of its foot
# Shares of the leg's length: about the hips' height their breadth is looked for, and is only the
# breadth of hips if it lies between these.
ABOUT_HIPS, LEAST_BREADTH, MOST_BREADTH = (-0.10, 0.02), 0.25, 0.8


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
        where=Where(tuple(sorted(subject.joint(*each) for each in unsure))),
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
        where=Where(tuple(subject.joint(side, lower) for side, _, lower in loose)),
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
        pairs = ", and the sides' names go in pairs" if len(subject.sides) == 2 else ""
        said = f"Every joint's name says its side{pairs}"
    return Measured(
        len(wrong),
        _sentence(said),
        tuple((subject.name(side, part), 1.0) for side, part, _ in wrong),
        draw=lambda kind: pictures.names(subject, {(side, part) for side, part, _ in wrong}, kind),
        where=Where(tuple(subject.joint(side, part) for side, part, _ in wrong)),
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
        yield f"lies on the body's {where}, {cm(aside)} from the middle"
    elif other is not None and part in other.joints:
        partner = subject.names[other.joints[part]]
        if read_name(partner).side is not None and not go_in_pairs(read_name(partner), said):
            yield f"has no partner of the same name ({_quoted(partner)})"


@rule(
    "sides-mirror",
    "The sides are mirror images",
    fault="The sides are no mirror images",
    limit=("at most", 0.6, SHARE),
    severity="moderate",
    needs=("both",),
    because="half a centimetre on a leg of 83 cm; less is not seen in a walk; " + CHOSEN,
    why="A pose mirrored to the other side lands beside where it should, and one leg takes longer "
    "steps.",
    todo="Place one side, mirror it to the other, then bind.",
)
def sides_mirror(subject: Subject) -> Measured:
    parts = []
    for part in subject.common_parts:
        image = subject.point("L", part) * [-1, 1, 1]
        parts.append((part, subject.share(float(np.linalg.norm(subject.point("R", part) - image)))))
    part, number = worst(parts)
    off = number / 100 * subject.length
    return Measured(
        number,
        f"Farthest off is the {part}: {subject.name('R', part)} stands {cm(off)} from the "
        f"mirror image of {subject.name('L', part)}."
        if off >= 1e-6
        else "The joints of one side stand at the mirror images of the other's.",
        tuple(parts),
        draw=lambda kind: pictures.mirror(subject, part, off, cm(off), kind),
        where=Where((subject.joint("L", part), subject.joint("R", part))),
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
    farthest = (
        f"farthest off is the {part}: {subject.name('R', part)} is turned {_deg(number)} away from"
        " the mirror image."
        if number >= 0.05
        else "no joint is turned away from that."
    )
    return Measured(
        number,
        f"The right side is the left one mirrored, {how}; {farthest}",
        tuple(parts),
        draw=lambda kind: pictures.axes(subject, "R", part, image, _deg(number)),
        where=Where((subject.joint("R", part),)),
    )


@rule(
    "preset-bend",
    "The legs have a preset bend to their own side",
    fault="A leg has no preset bend to its own side",
    limit=("at least", LEAST_BEND_DEG, "°"),
    severity="moderate",
    because=f"2° to 10° is usual; {CRAFT}",
    why="An inverse chain bends a leg further the way it is bent already; a straight one stalls or "
    "guesses, unless a pole or a preferred angle tells it.",
    todo="Before binding, move the joint that bends a little off the line in the side view: a "
    "person's knee forward, a bird's ankle backward.",
)
def preset_bend(subject: Subject) -> Measured:
    """The bend; an animal's leg may bend either way, a person's only forward."""
    bends = {side: _bend_deg(subject, side) for side in subject.sides}
    if not subject.of_a_person:
        bends = {side: abs(deg) for side, deg in bends.items()}
    parts = [(side_name(side), deg) for side, deg in bends.items()]
    side, number = worst(parts, largest=False)
    key = "L" if side == "left" else "R"
    joint = subject.legs.legs[key].bend
    forward = _bend_deg(subject, key) * subject.bend_sign > 0
    way = "forward" if forward else "backward"
    if number < -STRAIGHT_DEG:
        said = (
            f"The {side} {joint} is bent {_deg(abs(number))} the wrong way, {way}: an inverse chain"
            " will bend it further that way."
        )
    elif number < STRAIGHT_DEG:
        said = (
            f"The {side} leg is straight ({_deg(number)}): an inverse chain cannot tell which way"
            " to bend it."
        )
    else:
        both = " and ".join(f"{name} {_deg(value)}" for name, value in parts)
        said = (
            f"The {'legs are' if len(parts) > 1 else 'leg is'} bent {way} at the {joint}: {both}."
        )
    least = max(number, LEAST_BEND_DEG) + ALIKE_DEG
    ink = [key for key, deg in bends.items() if deg <= least]
    return Measured(
        number,
        said,
        tuple(parts),
        draw=lambda kind: pictures.bends(subject, bends, kind, ink),
        where=Where(tuple(_bending_joint(subject, key) for key in ink)),
    )


def _bending_joint(subject: Subject, side: str) -> int:
    return subject.joint(side, subject.legs.legs[side].bend)


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
        draw=lambda kind: pictures.bends(subject, {"L": left, "R": right}, kind),
        where=Where((_bending_joint(subject, "L"), _bending_joint(subject, "R"))),
    )


@rule(
    "hinge-square",
    "The hinge axis is square to the bend plane",
    fault="The hinge axis is aslant to the bend plane",
    limit=("at most", 5.0, "°"),
    severity="moderate",
    because="at 5° the shank swings 4 cm aside in a right-angled bend; derived (sin 5° × 0.43 m); "
    f"{CHOSEN}",
    why="A hinge turns about one axis: where that is aslant, the bone below swings sideways as the "
    "leg bends.",
    todo="Turn the joint's axes, not the joint: one axis along the bone, one square to the plane "
    "the leg is to bend in.",
)
def hinge_square(subject: Subject) -> Measured:
    """The angle from square of the axis, the same on both sides, that is nearest to square."""
    joints = {side: _bending_joint(subject, side) for side in subject.sides}
    normals = {side: bend_normal(subject, side) for side in subject.sides}
    along = np.abs([subject.rotations[joint].T @ normals[side] for side, joint in joints.items()])
    off = np.degrees(np.arccos(np.clip(along, 0.0, 1.0)))
    axis = int(off.sum(axis=0).argmin())
    parts = [(side_name(side), float(deg)) for side, deg in zip(joints, off[:, axis], strict=True)]
    word, number = worst(parts)
    side = "L" if word == "left" else "R"
    direction = subject.rotations[joints[side]][:, axis]
    direction = direction if direction @ normals[side] >= 0 else -direction
    plane = (
        "the plane the leg bends in"
        if _bends_plainly(subject, side)
        else "the plane of leg and foot (the leg is bent too little to show one of its own)"
    )
    return Measured(
        number,
        f"The {'xyz'[axis]} axis of {subject.names[joints[side]]} is the one that could be its "
        f"hinge; it is {_deg(number)} from square to {plane}.",
        tuple(parts),
        draw=lambda kind: pictures.hinge(
            subject, joints[side], direction, normals[side], number, kind
        ),
        where=Where((joints[side],)),
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
        Of a leg bent by less than 10°, that of the plane through it and its foot.
    """
    root, middle, end = subject.bending(side)
    if _bends_plainly(subject, side):
        normal = np.cross(middle - root, end - middle)
    else:
        normal = np.cross(subject.toe_direction(side), end - root)
    length = np.linalg.norm(normal)
    normal = normal / length if length > 1e-12 else np.array([1.0, 0.0, 0.0])
    return normal if normal[0] >= 0 else -normal


def _bends_plainly(subject: Subject, side: str) -> bool:
    return abs(_bend_deg(subject, side)) >= PLAIN_BEND_DEG


@rule(
    "knee-in-plane",
    "The knee lies in the leg's plane",
    fault="The knee lies beside the leg's plane",
    limit=("at most", 0.6, SHARE),
    severity="moderate",
    because=f"hip, knee, ankle and toes in one plane, to half a centimetre on a leg of 83 cm; "
    f"{CRAFT}",
    why="A knee beside the plane of its foot points elsewhere than the toes do as soon as it "
    "bends.",
    todo="In the front view put the knee on the line from hip to ankle, or turn the foot to where "
    "the knee points.",
)
def knee_in_plane(subject: Subject) -> Outcome:
    if not subject.of_a_person:
        return Unmeasured("an animal's leg need not bend in the plane of its foot")
    parts = []
    for side in subject.sides:
        root, middle, end = subject.bending(side)
        normal = np.cross(subject.toe_direction(side), end - root)
        length = np.linalg.norm(normal)
        if length < 1e-9:
            return Unmeasured(f"the {side_name(side)} leg lies along its foot")
        outward = float((middle - root) @ normal / length) * (-1 if side == "R" else 1)
        parts.append((side_name(side), subject.share(outward)))
    side, number = worst([(name, abs(value)) for name, value in parts])
    key = "L" if side == "left" else "R"
    joint = subject.legs.legs[key].bend
    aside = number / 100 * subject.length
    where = ", outward" if dict(parts)[side] > 0 else ", inward"
    plane = f"the plane through hip, {subject.legs.legs[key].chain[-1]} and toes"
    return Measured(
        number,
        f"{subject.name(key, joint)} stands {cm(aside)} beside {plane}{where}."
        if aside > 0.0005
        else f"{'Both knees stand' if len(parts) == 2 else 'The knee stands'} in {plane}.",
        tuple(parts),
        draw=lambda kind: pictures.plane(subject, key, cm(aside), kind),
        where=Where((subject.joint(key, joint),)),
    )


@rule(
    "hip-centre",
    "The hips stand as far apart as in people",
    fault="The hips stand too wide or too close for their breadth",
    limit=("at most", 3.0, SHARE),
    severity="slight",
    needs=("both", "skin"),
    because="2.5 cm on a leg of 83 cm, from a quarter of the hips' breadth in from each side; that "
    "published rule misses true hips by 0.8 cm inward on average, and by 2.4 cm in all (Weinhandl "
    f"and O'Connor 2010); {CHOSEN}",
    why="A thigh that turns about a point beside its hip drags the buttock along and cuts into the "
    "groin.",
    todo="Move both hips to a quarter of the breadth of the hips in from each side; leave them "
    "where they are if the breadth is that of clothes.",
)
def hip_centre(subject: Subject) -> Outcome:
    """Sideways only: of heights the groin tells too little on figures that are drawn freely."""
    if not subject.of_a_person:
        return Unmeasured("these are not a person's legs")
    breadth = _breadth_of_hips(subject)
    if not LEAST_BREADTH * subject.length <= breadth <= MOST_BREADTH * subject.length:
        return Unmeasured(
            f"the skin of legs and pelvis is {cm(breadth)} wide at the hips, which tells nothing"
            " of the bones in it"
        )
    apart = float(abs(subject.point("L", "hip")[0] - subject.point("R", "hip")[0]))
    off = abs(apart - breadth / 2) / 2
    way = "in" if apart > breadth / 2 else "out"
    return Measured(
        subject.share(off),
        f"The hips stand {cm(apart)} apart in {cm(breadth)} of breadth; in people it is half the"
        f" breadth, so each would stand {cm(off)} farther {way}.",
        draw=lambda kind: pictures.hips(subject, breadth / 4, cm(off), kind),
        where=Where((subject.joint("L", "hip"), subject.joint("R", "hip"))),
    )


def _breadth_of_hips(subject: Subject) -> float:
    """The breadth of the skin of legs and pelvis about the height of the hips; 0 without any."""
    surface = subject.surface
    assert surface is not None  # hip-centre needs a skin
    nodes = {subject.root, *subject.leg_nodes("L"), *subject.leg_nodes("R")}
    up = surface.vertices[:, 1] - (subject.point("L", "hip") + subject.point("R", "hip"))[1] / 2
    low, high = (share * subject.length for share in ABOUT_HIPS)
    here = (surface.weight_of(nodes) > 0.5) & (up >= low) & (up <= high)
    return float(np.ptp(surface.vertices[here, 0])) if here.any() else 0.0


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
    bound = subject.rotations[most.node]
    among = f", the most of {len(found)} joints of the legs" if len(found) > 1 else ""
    return Measured(
        most.deg,
        f"Since the skin was bound, {subject.names[most.node]} has been turned {_deg(most.deg)} "
        f"in its parent{among}."
        if most.deg >= 0.05
        else "No joint of the legs has been turned since the skin was bound.",
        tuple((subject.names[moved.node], moved.deg) for moved in found),
        draw=lambda kind: pictures.axes(
            subject, side, part, bound, _deg(most.deg), bound @ most.back.T
        ),
        where=Where((most.node,)),
    )


@rule(
    "inverse-bind",
    "The joints stand where the skin was bound to them",
    fault="Joints do not stand where the skin was bound to them",
    limit=("at most", 0.1, SHARE),
    severity="serious",
    needs=("skin",),
    because="a thousandth of the leg, under a millimetre, is rounding; validators do not look at "
    f"this; {CHOSEN}",
    why="Where every joint stands as bound, world times inverse bind is one and the same for all "
    "(glTF 2.0, Skins); a joint moved since then stretches the skin before anything is posed.",
    todo="Put the joint back to where it was when the skin was bound, and export again; bind anew "
    "only if it belongs where it is now.",
)
def inverse_bind(subject: Subject) -> Outcome:
    found = subject.since_bound
    if not found:
        return Unmeasured("no skin moves a mesh, or it has one joint only")
    most = max(found, key=lambda moved: moved.cm)
    name, off = subject.names[most.node], cm(most.cm / 100)
    if not np.isfinite(most.cm):
        said = f"The inverse bind matrix of {name} cannot be undone."
    elif most.cm < 1e-4:
        said = "Every joint stands in its parent where its inverse bind matrix says."
    else:
        said = (
            f"The inverse bind matrix of {name} says that it stood {off} from where it is in its"
            " parent now."
        )
    return Measured(
        subject.share(most.cm / 100),
        said,
        tuple((subject.names[moved.node], subject.share(moved.cm / 100)) for moved in found),
        draw=lambda kind: pictures.one_joint(
            subject, most.node, off if np.isfinite(most.cm) else "cannot be undone", kind
        ),
        where=Where((most.node,)),
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
            (
                f"Every joint's scale is one to within {number:.2g} %."
                if number >= 0.001
                else "Every joint's scale is one."
            )
            if number <= 0.1
            else f"{name} is scaled by {number:.3g} % away from one."
        )
        + units,
        tuple(parts),
        draw=lambda kind: pictures.one_joint(subject, joint, f"{number:.2g} %", kind),
        where=Where((joint,)),
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
        where=Where(tuple(mirrored)),
    )


# Each subject's, by side: several rules ask for them.
_BENDS_DEG: WeakKeyDictionary[Subject, dict[str, float]] = WeakKeyDictionary()


def _bend_deg(subject: Subject, side: str) -> float:
    found = _BENDS_DEG.setdefault(subject, {})
    if side not in found:
        bent = bd.measure_bend(subject.bending(side), (0.0, 0.0, subject.bend_sign))
        found[side] = float(np.degrees(bent.angle))
    return found[side]


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
    hip_centre,
    rest_reads_zero,
    scale_one,
    no_negative_scale,
    inverse_bind,
)
