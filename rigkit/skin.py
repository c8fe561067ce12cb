"""Skin: weights from distances to bones, two ways of skinning, and what a pose does to a skin.

Weights are one table, shape (v, joints), a row for each vertex; `pack_influences` and
`unpack_influences` change to and from glTF's four joint numbers and four weights for each vertex.
Joints come in the same order in weights and in matrices.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import combinations

import numpy as np

from rigkit import _check, _format, puppets, rotation
from rigkit import frames as fr
from rigkit._types import ArrayLike, Bools, Floats, Ints
from rigkit.leg import LegRig
from rigkit.mesh import Mesh, inner_bones, puppet_mesh
from rigkit.places import Places
from rigkit.puppets import Puppet
from rigkit.skeleton import Skeleton, other_side, side_of

__all__ = ["bones_of", "rig_skin", "bind", "weights_by_distance", "normalise", "prune", "smooth"]
__all__ += ["mirror_weights", "mirror_weights_by_place", "pack_influences", "unpack_influences"]
__all__ += ["inverse_bind_matrices", "joint_matrices", "linear_blend"]
__all__ += ["dual_quaternion_blend", "dual_quaternion_from_frame", "frame_from_dual_quaternion"]
__all__ += ["blend_radius", "blend_zone", "radius_ratio", "worst_collapse"]

# Vertices blended at a time: few enough for the processor's cache, and for the matrix product to
# stay on one core; shared between two cores it waits, now and then ten times as long as it works,
# while one is busy.
BLOCK = 1024
LEG_JOINTS = ("hip", "knee", "ankle", "foot")  # the last one of legs of three bones only


def __dir__() -> list[str]:
    return __all__


def bones_of(skeleton: Skeleton, more: Mapping[str, ArrayLike] | None = None) -> dict[str, Floats]:
    """Return the bones that each joint carries, from it to each of its children.

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
        carries none; for `weights_by_distance`.

    Raises
    ------
    ValueError
        For a name in `more` that is not a joint's.

    Examples
    --------
    >>> from rigkit import skin
    >>> from rigkit.leg import LegRig
    >>> bones = skin.bones_of(LegRig.from_puppet("Tamsin").skeleton)
    >>> len(bones["pelvis"]), len(bones["L_knee"]), len(bones["L_toe"])
    (2, 1, 0)
    """
    if not isinstance(skeleton, Skeleton):
        raise ValueError(f"`skeleton` must be a Skeleton; got {skeleton!r}.")
    at = skeleton.origins(skeleton.rest_world)
    bones = {}
    for i, name in enumerate(skeleton.names):
        ends = [(at[i], at[skeleton.index(child)]) for child in skeleton.children(name)]
        bones[name] = np.array(ends).reshape(-1, 2, 3)
    for name, extra in (more or {}).items():
        skeleton.index(name)
        bones[name] = np.concatenate(
            [bones[name], _check.numbers(f"more[{name!r}]", extra, "n", 2, 3)]
        )
    return bones


def rig_skin(
    rig: LegRig, puppet: Puppet | str, vertices: int = 5000, softness: float = 2.0
) -> tuple[Mesh, Floats]:
    """Return a puppet's skin that fits a leg rig at rest, and its weights for the rig's joints.

    Parameters
    ----------
    rig : LegRig
        Of this puppet, such as `LegRig.from_puppet` makes, with any preset bend.
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    vertices : int
        As for `mesh.puppet_mesh`.
    softness : float
        As for `weights_by_distance`.

    Returns
    -------
    surface : Mesh
    weights : ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        If `rig` is no LegRig, or the puppet is another's.

    Examples
    --------
    >>> from rigkit import skin
    >>> from rigkit.leg import LegRig
    >>> surface, weights = skin.rig_skin(LegRig.from_puppet("Pip"), "Pip", 400)
    >>> weights.shape[1], bool(abs(weights.sum(axis=1) - 1).max() < 1e-9)
    (11, True)
    """
    if not isinstance(rig, LegRig):
        raise ValueError(f"`rig` must be a LegRig; got {rig!r}. `LegRig.from_puppet` makes one.")
    puppet, skeleton = puppets.get(puppet), rig.skeleton
    chain = skeleton.origins(skeleton.rest_world, ["L_" + joint for joint in rig.chain])
    surface = puppet_mesh(puppet, vertices, chain)
    return surface, bind(surface, rig, puppet, softness)


def bind(
    surface: Mesh,
    rig: LegRig | Skeleton,
    puppet: Puppet | str,
    softness: float = 2.0,
    max_influences: int = 4,
) -> Floats:
    """Return the weights of a puppet's skin for joints that are placed in it.

    `rig_skin` makes a skin around the joints; this one is there before them, so a joint may stand
    off the middle of its limb. Weights go with the nearest of the skeleton's bones and of the
    puppet's inner bones (`mesh.inner_bones`), which begin at the joints too.

    Parameters
    ----------
    surface : Mesh
        Such as `mesh.puppet_mesh` gives.
    rig : LegRig or Skeleton
        In its rest pose. A skeleton has pelvis, hips, knees, ankles (and feet, for legs of three
        bones) named as a LegRig's are; they may hang from each other in any way.
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    softness, max_influences
        As for `weights_by_distance`.

    Returns
    -------
    ndarray, shape (v, joints)
        Columns in the skeleton's order.

    Raises
    ------
    ValueError
        If the skeleton lacks a joint of the puppet's, or the left leg is not at x > 0.

    Examples
    --------
    >>> from rigkit import mesh, skin
    >>> from rigkit.leg import LegRig
    >>> surface = mesh.puppet_mesh("Pip", 400)
    >>> weights = skin.bind(surface, LegRig.from_puppet("Pip", 5), "Pip")
    >>> len(weights) == len(surface.vertices), bool(abs(weights.sum(axis=1) - 1).max() < 1e-9)
    (True, True)
    """
    if not isinstance(surface, Mesh):
        raise ValueError(
            f"`surface` must be a Mesh; got {surface!r}. `mesh.puppet_mesh` makes one."
        )
    skeleton, puppet = rig.skeleton if isinstance(rig, LegRig) else rig, puppets.get(puppet)
    if not isinstance(skeleton, Skeleton):
        raise ValueError(f"`rig` must be a LegRig or a Skeleton; got {rig!r}.")
    chain = _left_chain(skeleton, puppet)
    pelvis, left, right = inner_bones(puppet, skeleton.origins(skeleton.rest_world, chain))
    inner = {"pelvis": pelvis, chain[-1]: left, other_side(chain[-1]): right}
    bones = bones_of(skeleton, inner)
    return weights_by_distance(surface.vertices, bones, softness, max_influences)


def weights_by_distance(
    vertices: ArrayLike,
    bones: Mapping[str, ArrayLike],
    softness: float = 2.0,
    max_influences: int = 4,
) -> Floats:
    """Return weights that go with the nearest bone and pass smoothly from one bone to the next.

    Two bones share a vertex by where it lies between them. Take the point of each bone that is
    nearest to the vertex; what counts is twice the vertex's distance from the plane midway between
    the two points. On a straight limb that is the height above the joint; outside the corner of two
    bent bones it is zero, and they share evenly. The share goes from all of one to all of the other
    by a smooth step, 3t² − 2t³, that reaches `softness` radii to either side; the radius is the
    distance to the nearest bone.

    A bone's part is its least share against any bone of another joint, a joint's part the greatest
    of its bones', and a weight is a part divided by the sum of parts. A joint with a side tag moves
    only its own side of the midplane; within a radius of it, its part falls smoothly to nothing.
    These weights are our own.

    Parameters
    ----------
    vertices : array_like, shape (v, 3)
        In the rest pose, metres.
    bones : mapping of joint name to array_like, shape (n, 2, 3)
        The starts and ends of the bones that each joint carries; see `bones_of`. A joint without
        bones (n = 0) gets no weight.
    softness : float
        The reach of a blend above and below a joint, in radii of the limb.
    max_influences : int
        The number of joints that may move one vertex.

    Returns
    -------
    ndarray, shape (v, joints)
        Columns in the order of `bones`; no number below zero, and each row adds up to one.

    Raises
    ------
    ValueError
        If there is no bone at all on some vertex's side.

    Examples
    --------
    >>> from rigkit import skin
    >>> bones = {"hip": [[(0, 0.8, 0), (0, 0.4, 0)]], "knee": [[(0, 0.4, 0), (0, 0, 0)]]}
    >>> limb = [(0, 0.7, 0.1), (0, 0.4, 0.1), (0, 0.35, 0.1)]
    >>> skin.weights_by_distance(limb, bones).round(3).tolist()
    [[1.0, 0.0], [0.5, 0.5], [0.316, 0.684]]
    """
    vertices = _one_table("vertices", vertices, 3)
    softness = float(_check.positive("softness", softness, hint="2 suits a knee."))
    if not isinstance(bones, Mapping) or not bones:
        raise ValueError(
            f"`bones` must map joint names to bones; got {bones!r}. bones_of(skeleton) does."
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
    return normalise(prune(parts, max_influences))


def normalise(weights: ArrayLike) -> Floats:
    """Return weights divided by their row's sum.

    Parameters
    ----------
    weights : array_like, shape (v, joints)

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        For a vertex that nothing moves, or a weight below zero.

    Examples
    --------
    >>> from rigkit import skin
    >>> skin.normalise([(1, 3, 0), (0, 0, 2)]).tolist()
    [[0.25, 0.75, 0.0], [0.0, 0.0, 1.0]]
    """
    weights = _check_weights(weights)
    return weights / weights.sum(axis=-1, keepdims=True)


def prune(weights: ArrayLike, max_influences: int = 4) -> Floats:
    """Return only the strongest weights of each vertex, scaled up to the sum they had.

    Parameters
    ----------
    weights : array_like, shape (v, joints)
    max_influences : int
        The number that may stay; glTF's vertices have room for four.

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        For a vertex that nothing moves, or a weight below zero.

    Examples
    --------
    >>> from rigkit import skin
    >>> skin.prune([(0.5, 0.3, 0.2)], 2).tolist()
    [[0.625, 0.375, 0.0]]
    """
    weights, max_influences = (
        _check_weights(weights),
        _check.count("max_influences", max_influences),
    )
    kept = np.zeros_like(weights)
    strongest = np.argsort(-weights, axis=-1, kind="stable")[:, :max_influences]
    np.put_along_axis(kept, strongest, np.take_along_axis(weights, strongest, axis=-1), axis=-1)
    return kept * (weights.sum(axis=-1, keepdims=True) / kept.sum(axis=-1, keepdims=True))


def smooth(
    weights: ArrayLike,
    neighbours: Sequence[ArrayLike],
    passes: int = 1,
    strength: float = 0.5,
    chosen: ArrayLike | None = None,
) -> Floats:
    """Return weights after each vertex has come nearer to the mean of its neighbours.

    In a pass each row becomes (1 − λ) · row + λ · mean of its neighbours' rows, λ being the
    strength, for all vertices at once. So no weight leaves 0 to 1, and rows that add up to one
    go on doing so (derived). After k passes of strength ½ a step from 0 to 1 along a line of
    vertices rises by C(2k, k) / 4ᵏ at most from one to the next, about 1 / √(π k) (derived): it
    is edges that count, so a finer mesh takes more passes. More joints may move a vertex
    afterwards; `prune` leaves the strongest.

    Parameters
    ----------
    weights : array_like, shape (v, joints)
    neighbours : (indptr, indices)
        As `mesh.neighbours` gives them. A vertex without neighbours stays as it is.
    passes : int
    strength : float
        0 to 1.
    chosen : array_like of bool, shape (v,), optional
        The vertices to change, such as those under a brush; all others stay as they are. Left
        out, all are changed.

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        If weights, neighbours and chosen vertices do not belong together.

    Examples
    --------
    >>> from rigkit import mesh, skin
    >>> step = [(1, 0), (1, 0), (0, 1), (0, 1)]
    >>> strip = mesh.neighbours([(0, 1, 1), (1, 2, 2), (2, 3, 3)])
    >>> skin.smooth(step, strip)[:, 1].tolist()
    [0.0, 0.25, 0.75, 1.0]
    """
    weights = np.array(_check_weights(weights))
    indptr, indices = _check_neighbours(neighbours, len(weights))
    passes = _check.count("passes", passes, least=0)
    strength = _check.one("strength", strength)
    if not 0 <= strength <= 1:
        raise ValueError(f"`strength` must be from 0 to 1; got {strength:g}.")
    counts = np.diff(indptr)
    changed = counts > 0
    if chosen is not None:
        changed &= _check_true_or_false("chosen", chosen, len(weights))
    if not changed.any():
        return weights
    beside = indices[np.repeat(changed, counts)]
    counts = counts[changed]
    starts = np.cumsum(counts) - counts
    for _ in range(passes):
        mean = np.add.reduceat(weights[beside], starts, axis=0) / counts[:, None]
        weights[changed] = (1 - strength) * weights[changed] + strength * mean
    return weights


def mirror_weights(weights: ArrayLike, partner: ArrayLike, swap: ArrayLike) -> Floats:
    """Return the mirror image of weights: each vertex has its partner's, the sides exchanged.

    Numbers are copied, none computed: mirrored twice, they are what they were. A vertex in the
    midplane is its own partner, and keeps its weights if left and right joints have equal ones.
    To copy the left side to the right, and share evenly in the midplane::

        to_right = (1 - np.sign(vertices[:, :1])) / 2
        weights = to_right * mirrored + (1 - to_right) * weights

    Parameters
    ----------
    weights : array_like, shape (v, joints)
    partner : array_like of int, shape (v,)
        Of each vertex; see `mesh.mirror_index`.
    swap : array_like of int, shape (joints,)
        The column of each joint's other side, a joint without a side having its own:
        `[names.index(placement.swap_side(name)) for name in names]`.

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        If two vertices, or two joints, are not each other's.

    Examples
    --------
    >>> from rigkit import skin
    >>> skin.mirror_weights([(1, 0, 0), (0.2, 0.8, 0)], [1, 0], [0, 2, 1]).tolist()
    [[0.2, 0.0, 0.8], [1.0, 0.0, 0.0]]
    """
    weights = _check_weights(weights)
    partner = _check_pairs("partner", partner, len(weights), "vertices")
    swap = _check_pairs("swap", swap, weights.shape[1], "joints")
    return weights[partner][:, swap]


def mirror_weights_by_place(
    weights: ArrayLike, places: Places, swap: ArrayLike, max_influences: int = 4
) -> Floats:
    """Return the mirror image of weights on a mesh whose sides are no exact mirror images.

    Each vertex has the weights that the other side has at its mirrored place, mixed of the three
    vertices there, the sides of joints exchanged. Rows keep the sum that they have there; where
    more joints move the three together, the strongest stay. On a mesh that is an exact mirror image
    it is `mirror_weights`. `Places.distance` tells how far from a true mirror image that is.

    Parameters
    ----------
    weights : array_like, shape (v, joints)
    places : Places
        Of each vertex; see `places.mirrored_places`.
    swap : array_like of int, shape (joints,)
        As for `mirror_weights`.
    max_influences : int
        The number of joints that may move one vertex.

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        If weights and places do not belong together, or two joints are not each other's.

    Examples
    --------
    >>> from rigkit import places, skin
    >>> from rigkit.mesh import Mesh
    >>> surface = Mesh(
    ...     [(0, 0, 0), (0, 2, 0), (1, 0, 0), (-1, 0, 0), (-1, 2, 0)],
    ...     [(0, 2, 1), (0, 1, 4), (0, 4, 3)],
    ... )
    >>> there = places.mirrored_places(surface)
    >>> weights = [(0.5, 0.5), (0.5, 0.5), (1, 0), (0, 1), (0, 1)]
    >>> skin.mirror_weights_by_place(weights, there, [1, 0])[[2, 3]].tolist()
    [[1.0, 0.0], [0.0, 1.0]]
    """
    weights = _check_weights(weights)
    if not isinstance(places, Places) or places.distance.shape != (len(weights),):
        raise ValueError(
            f"`places` must be Places of {len(weights)} vertices; got {_check.short(places)}."
            " `places.mirrored_places` gives them."
        )
    swap = _check_pairs("swap", swap, weights.shape[1], "joints")
    mirrored = places.read(weights)[:, swap]
    many = (mirrored > 0).sum(axis=-1) > max_influences
    if many.any():
        mirrored[many] = prune(mirrored[many], max_influences)
    return mirrored


def pack_influences(weights: ArrayLike) -> tuple[Ints, Floats]:
    """Return weights as glTF stores them: four joint numbers and weights to a vertex.

    Parameters
    ----------
    weights : array_like, shape (v, joints)
        At most four in a row above zero; see `prune`.

    Returns
    -------
    indices : ndarray of int, shape (v, 4)
        The strongest first; 0 where the weight is 0.
    four : ndarray, shape (v, 4)

    Raises
    ------
    ValueError
        If more than four joints move a vertex.

    Examples
    --------
    >>> from rigkit import skin
    >>> indices, four = skin.pack_influences([(0, 0.25, 0.75)])
    >>> indices.tolist(), four.tolist()
    ([[2, 1, 0, 0]], [[0.75, 0.25, 0.0, 0.0]])
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


def unpack_influences(indices: ArrayLike, four: ArrayLike, joints: int) -> Floats:
    """Return weights as a table from glTF's four joint numbers and weights to a vertex.

    Parameters
    ----------
    indices : array_like of int, shape (v, 4)
    four : array_like, shape (v, 4)
        The weights of those joints.
    joints : int
        The number of columns.

    Returns
    -------
    ndarray, shape (v, joints)

    Raises
    ------
    ValueError
        For a joint number beyond the columns.

    Examples
    --------
    >>> from rigkit import skin
    >>> skin.unpack_influences([(2, 1, 0, 0)], [(0.75, 0.25, 0, 0)], 3).tolist()
    [[0.0, 0.25, 0.75]]
    """
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
    """Return the inverse of each joint's rest world frame (glTF 2.0, "Skins").

    A skin is bound anew by these alone, of the joints where they now stand: weights, painted ones
    too, belong to the vertices and stay.

    Parameters
    ----------
    rest_world : array_like, shape (..., 4, 4)

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        For what is no rigid frame.
    """
    return fr.invert(fr.check_frames("rest_world", rest_world))


def joint_matrices(world: ArrayLike, rest_world: ArrayLike) -> Floats:
    """Return the matrices that move the skin: each joint's world @ inverse bind (glTF 2.0).

    Parameters
    ----------
    world : array_like, shape (..., joints, 4, 4)
        Posed world frames.
    rest_world : array_like, shape (joints, 4, 4)

    Returns
    -------
    ndarray, shape (..., joints, 4, 4)
        The identity for a joint at rest.

    Raises
    ------
    ValueError
        For what is no rigid frame.

    Examples
    --------
    >>> from rigkit import skin
    >>> from rigkit.leg import LegRig
    >>> rig = LegRig.from_puppet("Tamsin")
    >>> world = rig.pose({"pelvis": {"shift_y": -0.1}}).world
    >>> skin.joint_matrices(world, rig.skeleton.rest_world)[0, :3, 3].round(6).tolist()
    [0.0, -0.1, 0.0]
    """
    world, rest_world = fr.check_frames("world", world), fr.check_frames("rest_world", rest_world)
    _check.batch(world=world.shape[:-2], rest_world=rest_world.shape[:-2])
    return world @ inverse_bind_matrices(rest_world)


def linear_blend(vertices: ArrayLike, weights: ArrayLike, matrices: ArrayLike) -> Floats:
    """Return vertices posed by linear blend skinning: v' = Σ weight · matrix · v over the joints.

    That is glTF 2.0's way ("Skins"). Weights are used as they are: where a row does not add up to
    one, the vertex drifts toward the world's origin, or away from it.

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

    Raises
    ------
    ValueError
        If vertices, weights and matrices do not belong together.

    Examples
    --------
    >>> from rigkit import frames, skin
    >>> raised = frames.frame(origin=[(0, 0, 0), (0, 1, 0)])  # two joints, the second 1 m up
    >>> skin.linear_blend([(0, 0, 0)], [(0.75, 0.25)], raised).tolist()
    [[0.0, 0.25, 0.0]]
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
    """Return vertices posed by dual-quaternion skinning: each moves by a blend of rigid motions.

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

    Raises
    ------
    ValueError
        If vertices, weights and matrices do not belong together, or a matrix is not rigid.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import frames, rotation, skin
    >>> twisted = [(1, 0, 0)], [(0.5, 0.5)], frames.frame(rotation.matrix_about("y", [0, 2]))
    >>> blends = skin.linear_blend(*twisted), skin.dual_quaternion_blend(*twisted)
    >>> [round(float(np.linalg.norm(vertex)), 4) for vertex in blends]
    [0.5403, 1.0]
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
    """Return the unit dual quaternion of a rigid motion.

    Its turn q, then ½ t q for its shift t, each as (x, y, z, w) (Kavan et al. 2007, see
    `dual_quaternion_blend`).

    Parameters
    ----------
    frames : array_like, shape (..., 4, 4)

    Returns
    -------
    ndarray, shape (..., 8)

    Raises
    ------
    ValueError
        For what is no rigid frame.

    Examples
    --------
    >>> from rigkit import frames, skin
    >>> skin.dual_quaternion_from_frame(frames.frame(origin=(0, 1, 0))).tolist()
    [0.0, 0.0, 0.0, 1.0, 0.0, 0.5, 0.0, 0.0]
    """
    frames = fr.check_frames("frames", frames)
    turn = rotation.quaternion_from_matrix(frames[..., :3, :3])
    shift = np.concatenate([frames[..., :3, 3], np.zeros_like(turn[..., :1])], axis=-1)
    return np.concatenate([turn, rotation.multiply_quaternions(shift, turn) / 2], axis=-1)


def frame_from_dual_quaternion(motion: ArrayLike) -> Floats:
    """Return the rigid motion of a dual quaternion, the inverse of `dual_quaternion_from_frame`.

    Parameters
    ----------
    motion : array_like, shape (..., 8)
        Of any length above zero.

    Returns
    -------
    ndarray, shape (..., 4, 4)

    Raises
    ------
    ValueError
        If the first four numbers are zero.
    """
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
    """Return the share of its distance from an axis that a linear blend leaves a vertex.

    One of two joints turns by θ, so the vertex's two places, mixed by w and 1 − w, are θ apart, and
    the law of cosines gives √(w² + (1 − w)² + 2 w (1 − w) cos θ): with equal weights cos(θ/2), so
    nothing at half a turn.

    Parameters
    ----------
    weight : array_like, shape (...)
        Of either joint, 0 to 1; the other has what is left to one.
    angle : array_like, shape (...)
        Radians.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        For a weight below 0 or above 1.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import skin
    >>> skin.blend_radius(0.5, np.radians([0, 90, 180])).round(4).tolist()
    [1.0, 0.7071, 0.0]
    """
    weight, angle = _check.numbers("weight", weight), _check.numbers("angle", angle)
    _check.batch(weight=weight.shape, angle=angle.shape)
    if not ((weight >= 0) & (weight <= 1)).all():
        raise ValueError(f"`weight` must be from 0 to 1; got {weight.min():g} to {weight.max():g}.")
    # Written with the half angle, so that no digit is lost near half a turn.
    return np.hypot((1 - 2 * weight) * np.sin(angle / 2), np.cos(angle / 2))


def blend_zone(weights: ArrayLike, first: int, second: int) -> Bools:
    """Return the vertices that two joints share and no other joint moves.

    Parameters
    ----------
    weights : array_like, shape (v, joints)
    first, second : int
        The two joints' columns.

    Returns
    -------
    ndarray of bool, shape (v,)

    Raises
    ------
    ValueError
        If the two are not different columns.

    Examples
    --------
    >>> from rigkit import skin
    >>> skin.blend_zone([(1, 0, 0), (0.5, 0.5, 0), (0.4, 0.4, 0.2)], 0, 1).tolist()
    [False, True, False]
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


def radius_ratio(
    rest: ArrayLike, posed: ArrayLike, rest_joint: ArrayLike, posed_joint: ArrayLike, axis: str
) -> Floats:
    """Return each vertex's distance from the axis a joint turns about, as a share of that at rest.

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
        One of the joint's own axes.

    Returns
    -------
    ndarray, shape (..., v)
        1 for a vertex on the axis at rest.

    Raises
    ------
    ValueError
        If the two poses are not of the same vertices, or a frame is not rigid.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import skin
    >>> skin.radius_ratio([(0.1, 0, 0)], [(0.05, 0.3, 0)], np.eye(4), np.eye(4), "y").tolist()
    [0.5]
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
    """Return the smallest `radius_ratio` in a zone: 1 is no loss, 0 a limb wrung to a point.

    Parameters
    ----------
    rest, posed, rest_joint, posed_joint, axis
        As for `radius_ratio`: the hinge axis shows how a bend collapses, the bone axis how a twist
        does (the "candy wrapper").
    zone : array_like of bool, shape (v,)
        The vertices that count; see `blend_zone`.

    Returns
    -------
    ndarray, shape (...)

    Raises
    ------
    ValueError
        As for `radius_ratio`; if no vertex is in the zone.
    """
    kept = radius_ratio(rest, posed, rest_joint, posed_joint, axis)
    zone = _check_true_or_false("zone", zone, kept.shape[-1])
    if not zone.any():
        raise ValueError("`zone` must be true for at least one vertex; got none.")
    return kept[..., zone].min(axis=-1)


def _left_chain(skeleton: Skeleton, puppet: Puppet) -> list[str]:
    """The names of the left leg's joints, all there and on the left, and no more of them."""
    chain = ["L_" + joint for joint in LEG_JOINTS]
    found = [name for name in ("pelvis", *chain, *map(other_side, chain)) if name in skeleton.names]
    chain = chain[: len(puppet.bones) + 1]
    wanted = ["pelvis", *chain, *map(other_side, chain)]
    if found != wanted:
        raise ValueError(
            f"`rig` must have the joints of {puppet.name}'s legs, {_format.names(wanted)}; "
            f"got {_format.names(found) or 'none of them'}."
        )
    x = skeleton.origins(skeleton.rest_world, chain)[:, 0]
    if not (x > 0).all():
        raise ValueError(
            "`rig` must have its left leg on the left, x above zero; "
            f"got {x.min():g} m for {chain[x.argmin()]}."
        )
    return chain


def _parts(vertices: Floats, segments: Sequence[Floats], sides: Ints, softness: float) -> Floats:
    """The joints' parts in each vertex, shape (v, joints), from each joint's bones, (n, 2, 3)."""
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
    if bones.shape == (0, 2, 3):
        return bones
    return _check.numbers(f"bones[{name!r}]", bones, "n", 2, 3)


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


def _check_true_or_false(name: str, value: ArrayLike, vertices: int) -> Bools:
    array = np.asarray(value)
    if array.dtype != bool or array.shape != (vertices,):
        raise ValueError(
            f"`{name}` must be true or false for each of {vertices} vertices; got"
            f" {array.dtype} of shape {array.shape}."
        )
    return array


def _check_neighbours(neighbours: Sequence[ArrayLike], vertices: int) -> tuple[Ints, Ints]:
    need = f"`neighbours` must be the two arrays that mesh.neighbours gives of {vertices} vertices"
    if not isinstance(neighbours, Sequence) or len(neighbours) != 2:
        raise ValueError(f"{need}; got {_check.short(neighbours)}.")
    indptr, indices = (np.asarray(each) for each in neighbours)
    if not all(each.ndim == 1 and each.dtype.kind in "iu" for each in (indptr, indices)):
        raise ValueError(f"{need}; got {_check.short(neighbours)}.")
    rows = len(indptr) - 1
    fit = rows == vertices and indptr[0] == 0 and indptr[-1] == len(indices)
    if not fit or (np.diff(indptr) < 0).any() or not ((indices >= 0) & (indices < vertices)).all():
        raise ValueError(f"{need}; got those of {rows} vertices, {len(indices)} in all.")
    return indptr, indices


def _check_pairs(name: str, value: ArrayLike, count: int, of: str) -> Ints:
    numbers = _check.numbers(name, value, "n")
    pairs = numbers.astype(np.int64)
    whole = pairs.shape == (count,) and ((pairs == numbers) & (pairs >= 0) & (pairs < count)).all()
    if not whole or (pairs[pairs] != np.arange(count)).any():
        raise ValueError(
            f"`{name}` must be the numbers of {count} {of}, from 0, that lead back when followed"
            f" twice; got {_check.short(numbers.tolist())}."
        )
    return pairs


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
