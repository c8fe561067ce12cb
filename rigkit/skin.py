"""Skin: weights from distances to bones, linear blend and dual-quaternion skinning, and what a pose
does to a skin.

Weights are one table, shape (v, joints), a row for each vertex; `to_four` and `from_four` change to
and from glTF's four joint numbers and four weights for each vertex. Joints come in the same order
in weights and in matrices.
"""

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from rigkit import _check, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, Bools, Floats, Ints
from rigkit.leg import LegRig
from rigkit.mesh import Mesh, inner_bones, puppet_mesh
from rigkit.puppets import Puppet
from rigkit.skeleton import Skeleton, side_of

# Vertices blended at a time: few enough for the processor's cache, and for the matrix product to
# stay on one core; shared between two cores it waits, now and then ten times as long as it works,
# while one is busy.
BLOCK = 1024


def bones_of(skeleton: Skeleton, more: Mapping[str, ArrayLike] | None = None) -> dict[str, Floats]:
    """The bones that each joint carries, for `weights_by_distance`: from it to each of its
    children.

    Parameters
    ----------
    skeleton : Skeleton
        Taken in its rest pose.
    more : mapping of joint name to array_like, shape (n, 2, 3), optional
        Further bones of some joints, such as `mesh.inner_bones` gives: a pelvis is more than the
        way to the hips.

    Returns
    -------
    dict of str to ndarray, shape (n, 2, 3)
        Start and end of each bone, for every joint in the skeleton's order; n = 0 where a joint
        carries none.
    """
    if not isinstance(skeleton, Skeleton):
        raise ValueError(f"`skeleton` must be a Skeleton; got {skeleton!r}.")
    at = skeleton.origins(skeleton.rest_world)
    bones = {
        name: (
            np.array(
                [(at[i], at[skeleton.index(child)]) for child in skeleton.children(name)]
            ).reshape(-1, 2, 3)
        )
        for i, name in enumerate(skeleton.names)
    }
    for name, extra in (more or {}).items():
        skeleton.index(name)
        bones[name] = np.concatenate(
            [bones[name], _check.numbers(f"more[{name!r}]", extra, "n", 2, 3)]
        )
    return bones


def rig_skin(
    rig: LegRig, puppet: Puppet, vertices: int = 5000, softness: float = 2.0
) -> tuple[Mesh, Floats]:
    """A puppet's skin that fits a leg rig at rest, and its weights for the joints of the rig's
    skeleton.

    Parameters
    ----------
    rig : LegRig
        Of this puppet, such as `LegRig.from_puppet` makes, with any preset bend.
    puppet : Puppet
    vertices : int
        As for `mesh.puppet_mesh`.
    softness : float
        As for `weights_by_distance`.

    Returns
    -------
    surface : Mesh
    weights : ndarray, shape (v, joints)
    """
    if not isinstance(rig, LegRig):
        raise ValueError(f"`rig` must be a LegRig; got {rig!r}. `LegRig.from_puppet` makes one.")
    skeleton = rig.skeleton
    chain = skeleton.origins(skeleton.rest_world, ["L_" + joint for joint in rig.chain])
    surface = puppet_mesh(puppet, vertices, chain)
    pelvis, left, right = inner_bones(puppet, chain)
    bones = bones_of(
        skeleton, {"pelvis": pelvis, "L_" + rig.chain[-1]: left, "R_" + rig.chain[-1]: right}
    )
    return surface, weights_by_distance(surface.vertices, bones, softness)


def weights_by_distance(
    vertices: ArrayLike, bones: Mapping[str, ArrayLike], softness: float = 2.0, most: int = 4
) -> Floats:
    """Weights that go with the nearest bone and pass smoothly from one bone to the next.

    Two bones share a vertex by where it lies between them. Take the point of each bone that is
    nearest to the vertex; what counts is twice the vertex's distance from the plane midway between
    the two points. On a straight limb that is the height above the joint; outside the corner of two
    bent bones it is zero, and they share evenly. The share goes from all of one to all of the other
    by a smooth step, 3t² − 2t³, that reaches `softness` radii to either side; the radius is the
    distance to the nearest bone.

    A bone's part is its least share against any bone of another joint, a joint's part the greatest
    of its bones', and a weight is a part divided by the sum of parts. A joint with a side tag moves
    only its own side of the midplane; within a radius of it, its part falls smoothly to nothing.

    Parameters
    ----------
    vertices : array_like, shape (v, 3)
        In the rest pose, metres.
    bones : mapping of joint name to array_like, shape (n, 2, 3)
        The starts and ends of the bones that each joint carries; see `bones_of`. A joint without
        bones (n = 0) gets no weight.
    softness : float
        How far a blend reaches above and below a joint, in radii of the limb.
    most : int
        How many joints may move one vertex.

    Returns
    -------
    ndarray, shape (v, joints)
        Columns in the order of `bones`; no number below zero, and each row adds up to one.

    Raises
    ------
    ValueError
        If there is no bone at all on some vertex's side.
    """
    vertices = _one_table("vertices", vertices, 3)
    softness = float(_check.positive("softness", softness, hint="2 suits a knee."))
    if not isinstance(bones, Mapping) or not bones:
        raise ValueError(
            f"`bones` must map joint names to bones; got {bones!r}. `bones_of` makes it from a"
            " skeleton."
        )
    segments = [_check_bones(name, value) for name, value in bones.items()]
    sides = np.array([(side_of(name) == "L_") - (side_of(name) == "R_") for name in bones])
    parts = np.zeros((len(vertices), len(bones)))
    for side in (1, 0, -1):
        group = np.sign(vertices[:, 0]) == side
        joints = [i for i in range(len(bones)) if len(segments[i]) and side * sides[i] >= 0]
        if group.any() and not joints:
            given = ", ".join(f"`bones[{name!r}]`" for name in bones)
            raise ValueError(
                f"`bones` must hold a bone for every vertex; got none for {group.sum()} of them "
                f"in {given}. Give bones to both sides, or to a joint without a side tag."
            )
        if group.any():
            carried = [segments[i] for i in joints]
            parts[np.ix_(group, joints)] = _parts(vertices[group], carried, sides[joints], softness)
    return normalise(prune(parts, most))


def normalise(weights: ArrayLike) -> Floats:
    """Weights, shape (v, joints), divided by their row's sum; a vertex that nothing moves is
    refused."""
    weights = _check_weights(weights)
    return weights / weights.sum(axis=-1, keepdims=True)


def prune(weights: ArrayLike, most: int = 4) -> Floats:
    """Only the strongest weights of each vertex, scaled up so that nothing is lost from their sum.

    Parameters
    ----------
    weights : array_like, shape (v, joints)
    most : int
        How many may stay; glTF's vertices have room for four.

    Returns
    -------
    ndarray, shape (v, joints)
    """
    weights, most = _check_weights(weights), _check.count("most", most)
    kept = np.zeros_like(weights)
    strongest = np.argsort(-weights, axis=-1, kind="stable")[:, :most]
    np.put_along_axis(kept, strongest, np.take_along_axis(weights, strongest, axis=-1), axis=-1)
    return kept * (weights.sum(axis=-1, keepdims=True) / kept.sum(axis=-1, keepdims=True))


def to_four(weights: ArrayLike) -> tuple[Ints, Floats]:
    """Weights as glTF stores them: four joint numbers and four weights for each vertex, the
    strongest first.

    Parameters
    ----------
    weights : array_like, shape (v, joints)
        At most four in a row above zero; see `prune`.

    Returns
    -------
    indices : ndarray of int, shape (v, 4)
        0 where the weight is 0.
    four : ndarray, shape (v, 4)

    Raises
    ------
    ValueError
        If more than four joints move a vertex.
    """
    weights = _check_weights(weights)
    busiest = int((weights > 0).sum(axis=-1).max())
    if busiest > 4:
        raise ValueError(
            f"`weights` must have at most four joints to a vertex; got {busiest}. Use `prune`"
            " first."
        )
    weights = np.pad(weights, ((0, 0), (0, max(0, 4 - weights.shape[1]))))
    indices = np.argsort(-weights, axis=-1, kind="stable")[:, :4]
    four = np.take_along_axis(weights, indices, axis=-1)
    return np.where(four > 0, indices, 0), four


def from_four(indices: ArrayLike, four: ArrayLike, joints: int) -> Floats:
    """Weights as a table, shape (v, joints), from glTF's four joint numbers and four weights,
    shapes (v, 4)."""
    numbers, four = _one_table("indices", indices, 4), _check_weights(four, "four")
    joints = _check.count("joints", joints)
    indices = numbers.astype(np.int64)
    if (
        four.shape != indices.shape
        or not ((indices == numbers) & (indices >= 0) & (indices < joints)).all()
    ):
        raise ValueError(
            f"`indices` must be joint numbers from 0 to {joints - 1}, as many as `four`; got shape"
            f" {indices.shape}, numbers from {numbers.min():g} to {numbers.max():g}, for"
            f" {four.shape}."
        )
    weights = np.zeros((len(four), joints))
    np.add.at(weights, (np.arange(len(four))[:, None], indices), four)
    return weights


def inverse_bind_matrices(rest_world: ArrayLike) -> Floats:
    """What glTF calls inverse bind matrices: the inverse of each joint's rest world frame; shapes
    (..., 4, 4)."""
    return fr.invert(fr.check_frames("rest_world", rest_world))


def joint_matrices(world: ArrayLike, rest_world: ArrayLike) -> Floats:
    """How far each joint has moved from rest, as the matrix that moves the skin: world @ inverse
    bind.

    Parameters
    ----------
    world : array_like, shape (..., joints, 4, 4)
        Posed world frames.
    rest_world : array_like, shape (joints, 4, 4)

    Returns
    -------
    ndarray, shape (..., joints, 4, 4)
        The identity for a joint at rest.
    """
    world, rest_world = fr.check_frames("world", world), fr.check_frames("rest_world", rest_world)
    _check.batch(world=world.shape[:-2], rest_world=rest_world.shape[:-2])
    return world @ inverse_bind_matrices(rest_world)


def linear_blend(vertices: ArrayLike, weights: ArrayLike, matrices: ArrayLike) -> Floats:
    """Posed vertices by linear blend skinning: v' = Σ weight · matrix · v over the joints (glTF
    2.0, "Skins").

    Weights are used as they are: where a row does not add up to one, the vertex drifts toward the
    world's origin, or away from it.

    Parameters
    ----------
    vertices : array_like, shape (v, 3)
        In the rest pose.
    weights : array_like, shape (v, joints)
    matrices : array_like, shape (..., joints, 4, 4)
        See `joint_matrices`; scale and shear are allowed here.

    Returns
    -------
    ndarray, shape (..., v, 3)
    """
    vertices, weights, matrices = _check_skin(vertices, weights, matrices)
    rows = matrices[..., :3, :].reshape(-1, weights.shape[1], 12)
    posed = np.empty((len(rows), len(vertices), 3))
    for part in _blocks(vertices):
        for row, out in zip(rows, posed[:, part], strict=True):
            blend = (weights[part] @ row).reshape(-1, 3, 4)
            out[:] = np.einsum("vij,vj->vi", blend[..., :3], vertices[part]) + blend[..., 3]
    return posed.reshape(*matrices.shape[:-3], -1, 3)


def dual_quaternion_blend(vertices: ArrayLike, weights: ArrayLike, matrices: ArrayLike) -> Floats:
    """Posed vertices by dual-quaternion skinning: each vertex is moved rigidly, by a blend of rigid
    motions.

    Each joint's motion is a unit dual quaternion; their weighted sum, divided by its length, is a
    rigid motion again. A quaternion and its negative are one rotation: those on the other side of
    the vertex's strongest joint (negative dot product) change sign first, so that the blend goes
    the short way round. L. Kavan, S. Collins, J. Žára, C. O'Sullivan, "Skinning with dual
    quaternions", I3D 2007.

    Parameters
    ----------
    vertices : array_like, shape (v, 3)
        In the rest pose.
    weights : array_like, shape (v, joints)
        Only their proportions count.
    matrices : array_like, shape (..., joints, 4, 4)
        See `joint_matrices`; rigid.

    Returns
    -------
    ndarray, shape (..., v, 3)
    """
    vertices, weights, matrices = _check_skin(vertices, weights, matrices)
    motions = dual_quaternion_from_frame(matrices)
    motions = motions.reshape(-1, *motions.shape[-2:])
    turns = motions[..., :4]
    same_side = np.where(turns @ np.swapaxes(turns, -1, -2) < 0, -1.0, 1.0)
    strongest = weights.argmax(axis=-1)
    posed = np.empty((len(motions), len(vertices), 3))
    for part in _blocks(vertices):
        point = np.ascontiguousarray(vertices[part].T)
        for motion, sign, out in zip(motions, same_side, posed[:, part], strict=True):
            blend = motion.T @ (weights[part] * sign[strongest[part]]).T
            blend /= np.sqrt(np.sum(blend[:4] ** 2, axis=0))
            turn, w, shift, shift_w = blend[:3], blend[3], blend[4:7], blend[7]
            swept = _cross(turn, _cross(turn, point) + w * point + shift)
            out[:] = (point + 2 * (swept + w * shift - shift_w * turn)).T
    return posed.reshape(*matrices.shape[:-3], -1, 3)


def dual_quaternion_from_frame(frames: ArrayLike) -> Floats:
    """The unit dual quaternion of a rigid motion: its turn q, then ½ t q for its shift t, each as
    (x, y, z, w).

    Parameters
    ----------
    frames : array_like, shape (..., 4, 4)

    Returns
    -------
    ndarray, shape (..., 8)
    """
    frames = fr.check_frames("frames", frames)
    turn = rotation.quaternion_from_matrix(frames[..., :3, :3])
    shift = np.concatenate([frames[..., :3, 3], np.zeros_like(turn[..., :1])], axis=-1)
    return np.concatenate([turn, rotation.multiply_quaternions(shift, turn) / 2], axis=-1)


def frame_from_dual_quaternion(motion: ArrayLike) -> Floats:
    """The rigid motion of a dual quaternion, shape (..., 8) to (..., 4, 4), of any length above
    zero."""
    motion = _check.numbers("motion", motion, 8)
    length = np.linalg.norm(motion[..., :4], axis=-1, keepdims=True)
    if not (length > 0).all():
        raise ValueError(
            "`motion` must have a turn; got one whose first four numbers are 0. "
            "No motion at all is (0, 0, 0, 1, 0, 0, 0, 0)."
        )
    turn, rest = motion[..., :4] / length, motion[..., 4:] / length
    shift = 2 * rotation.multiply_quaternions(rest, turn * [-1.0, -1.0, -1.0, 1.0])
    return fr.frame(rotation.matrix_from_quaternion(turn), shift[..., :3])


def blend_radius(weight: ArrayLike, angle: ArrayLike) -> Floats:
    """How much of its distance from the axis a linear blend leaves a vertex, when one of two joints
    turns.

    √(w² + (1 − w)² + 2 w (1 − w) cos θ): with equal weights cos(θ/2), so nothing at half a turn.

    Parameters
    ----------
    weight : array_like, shape (...)
        Of either joint, 0 to 1; the other has what is left to one.
    angle : array_like, shape (...)
        Radians.

    Returns
    -------
    ndarray, shape (...)
    """
    weight, angle = _check.numbers("weight", weight), _check.numbers("angle", angle)
    _check.batch(weight=weight.shape, angle=angle.shape)
    if not ((weight >= 0) & (weight <= 1)).all():
        raise ValueError(f"`weight` must be from 0 to 1; got {weight.min():g} to {weight.max():g}.")
    # Written with the half angle, so that no digit is lost near half a turn.
    return np.hypot((1 - 2 * weight) * np.sin(angle / 2), np.cos(angle / 2))


def blend_zone(weights: ArrayLike, first: int, second: int) -> Bools:
    """The vertices that two joints share, and no other joint moves: true or false, shape (v,).

    Parameters
    ----------
    weights : array_like, shape (v, joints)
    first, second : int
        The two joints' columns.
    """
    weights = _check_weights(weights)
    first, second = _check.count("first", first, least=0), _check.count("second", second, least=0)
    if first == second or max(first, second) >= weights.shape[1]:
        raise ValueError(
            f"`first` and `second` must be two columns of `weights`, below {weights.shape[1]}; "
            f"got {first} and {second}."
        )
    moved = weights > 0
    return moved[:, first] & moved[:, second] & (moved.sum(axis=-1) == 2)


def radius_kept(
    rest: ArrayLike, posed: ArrayLike, rest_joint: ArrayLike, posed_joint: ArrayLike, axis: str
) -> Floats:
    """Each vertex's distance from the axis a joint turns about, as a share of what it was at rest.

    Where a joint has turned about that axis only, its own skin and its parent's keep 1; what is
    blended between the two shows the loss: in a bend about the hinge axis, and in a twist about the
    bone axis.

    Parameters
    ----------
    rest : array_like, shape (v, 3)
    posed : array_like, shape (..., v, 3)
    rest_joint, posed_joint : array_like, shapes (4, 4) and (..., 4, 4)
        The joint's world frame, at rest and posed.
    axis : {"x", "y", "z"}
        Which of the joint's own axes.

    Returns
    -------
    ndarray, shape (..., v)
        1 for a vertex on the axis at rest.
    """
    rest, posed = _one_table("rest", rest, 3), _check.numbers("posed", posed, "v", 3)
    if posed.shape[-2] != len(rest):
        raise ValueError(
            f"`posed` must have the {len(rest)} vertices of `rest`; got {posed.shape[-2]}."
        )
    before = _axis_distance("rest_joint", rest_joint, rest, axis)
    after = _axis_distance("posed_joint", posed_joint, posed, axis)
    on_axis = before < 1e-9
    return np.where(on_axis, 1.0, after / np.where(on_axis, 1.0, before))


def worst_collapse(
    rest: ArrayLike,
    posed: ArrayLike,
    rest_joint: ArrayLike,
    posed_joint: ArrayLike,
    axis: str,
    zone: ArrayLike,
) -> Floats:
    """The smallest `radius_kept` in a zone, shape (...): 1 is no loss, 0 a limb wrung to a point.

    Parameters
    ----------
    rest, posed, rest_joint, posed_joint, axis
        As for `radius_kept`: the hinge axis shows how a bend collapses, the bone axis how a twist
        does (the "candy wrapper").
    zone : array_like of bool, shape (v,)
        The vertices that count; see `blend_zone`.
    """
    kept = radius_kept(rest, posed, rest_joint, posed_joint, axis)
    zone = np.asarray(zone)
    if zone.dtype != bool or zone.shape != kept.shape[-1:] or not zone.any():
        raise ValueError(
            f"`zone` must be true or false for each of {kept.shape[-1]} vertices, "
            f"and true for at least one; got {zone.dtype} of shape {zone.shape}."
        )
    return kept[..., zone].min(axis=-1)


def _parts(vertices: Floats, segments: Sequence[Floats], sides: Ints, softness: float) -> Floats:
    """The joints' parts in each vertex, shape (v, joints); `segments` holds each joint's bones,
    shape (n, 2, 3)."""
    owner = np.repeat(np.arange(len(segments)), [len(bones) for bones in segments])
    nearest = [_nearest(vertices, start, end) for start, end in np.concatenate(segments)]
    radius = np.maximum(np.min([_length(vertices - point) for point in nearest], axis=0), 1e-12)
    least = np.ones((len(nearest), len(vertices)))
    for i, j in combinations(range(len(nearest)), 2):
        if owner[i] != owner[j]:
            across = nearest[i] - nearest[j]
            beyond = np.einsum("vi,vi->v", across, 2 * vertices - nearest[i] - nearest[j])
            height = beyond / np.maximum(_length(across), 1e-12)
            share = _smooth_step((1 + height / (softness * radius)) / 2)
            least[i], least[j] = np.minimum(least[i], share), np.minimum(least[j], 1 - share)
    parts = np.stack([least[owner == joint].max(axis=0) for joint in range(len(segments))], axis=-1)
    # Never quite nothing at the midplane: there may be no joint without a side.
    fade = np.maximum(_smooth_step(np.abs(vertices[:, 0]) / radius), 1e-15)
    return np.where(sides == 0, parts, parts * fade[:, None])


def _nearest(vertices: Floats, start: Floats, end: Floats) -> Floats:
    """The point of a bone nearest to each vertex."""
    bone = end - start
    share = np.clip((vertices - start) @ bone / max(float(bone @ bone), 1e-300), 0.0, 1.0)
    return start + share[:, None] * bone


def _length(vectors: Floats) -> Floats:
    return np.sqrt(np.einsum("vi,vi->v", vectors, vectors))


def _smooth_step(t: Floats) -> Floats:
    t = np.clip(t, 0.0, 1.0)
    return t * t * (3 - 2 * t)


def _axis_distance(name: str, joint: ArrayLike, points: Floats, axis: str) -> Floats:
    joint = fr.check_frames(name, joint)
    _check.batch(posed=points.shape[:-2], **{name: joint.shape[:-2]})
    column = rotation.AXES[_check.choice("axis", axis, rotation.AXES)]
    direction, offset = joint[..., None, :3, column], points - joint[..., None, :3, 3]
    return np.linalg.norm(np.cross(direction, offset), axis=-1)


def _blocks(vertices: Floats) -> list[slice]:
    return [slice(start, start + BLOCK) for start in range(0, len(vertices), BLOCK)]


def _cross(a: Floats, b: Floats) -> Floats:
    """The cross product with components first, shapes (3, v)."""
    return np.stack(
        [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]]
    )


def _check_bones(name: str, value: ArrayLike) -> Floats:
    bones = np.asarray(value)
    return (
        bones if bones.shape == (0, 2, 3) else _check.numbers(f"bones[{name!r}]", bones, "n", 2, 3)
    )


def _one_table(name: str, value: ArrayLike, width: int | str) -> Floats:
    table = _check.numbers(name, value, "v", width)
    if table.ndim != 2:
        raise ValueError(
            f"`{name}` must be one table of shape (v, {width}); got shape {table.shape}."
        )
    return table


def _check_weights(weights: ArrayLike, name: str = "weights") -> Floats:
    weights = _one_table(name, weights, "joints")
    if not ((weights >= 0).all() and (weights.sum(axis=-1) > 0).all()):
        raise ValueError(
            f"`{name}` must be zero or more, and in each row one above zero; got a row of "
            f"{weights[(weights < 0).any(axis=-1) | (weights.sum(axis=-1) <= 0)][0]}."
        )
    return weights


def _check_skin(
    vertices: ArrayLike, weights: ArrayLike, matrices: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    vertices, weights = _one_table("vertices", vertices, 3), _check_weights(weights)
    if len(weights) != len(vertices):
        raise ValueError(
            f"`weights` must have a row for each of {len(vertices)} vertices; got {len(weights)}"
            " rows."
        )
    matrices = _check.numbers("matrices", matrices, weights.shape[1], 4, 4)
    if not (np.abs(matrices[..., 3, :] - [0, 0, 0, 1]) < 1e-9).all():
        raise ValueError(
            "`matrices` must have the last row 0 0 0 1; got"
            f" {matrices[..., 3, :].reshape(-1, 4)[0]}. Origins belong in the last column;"
            " transpose if yours are rows."
        )
    return vertices, weights, matrices
