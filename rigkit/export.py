"""A rig, skinned and moving, as what a glTF file holds: the way from here into any other program."""

from collections.abc import Mapping

import numpy as np

from rigkit import _check, gait, gltf, rotation, skin
from rigkit.leg import LegRig
from rigkit.mesh import Mesh
from rigkit.skeleton import Skeleton

_SHIFTED = 1e-9  # metres: a joint that moves less in its parent only turns


def rig_asset(skeleton, surface=None, weights=None, motions=None):
    """A skeleton's joints as nodes, the skin they move, and motions baked onto them.

    The joints come in the skeleton's order, so the first node is its root; the skin's node is the last one, a root of
    its own. The rest pose is the bind pose: every joint's world times its inverse bind matrix is the identity.

    Parameters
    ----------
    skeleton : Skeleton
        With one root.
    surface : Mesh, optional
        In the rest pose.
    weights : array_like, shape (v, joints), optional
        At most four above zero in a row; see `skin.prune`. Together with `surface`.
    motions : mapping of name to (times, world), optional
        Seconds, shape (f,), and world frames, shape (f, joints, 4, 4), such as `LegRig.pose` gives.

    Returns
    -------
    Asset
        For `gltf.write`.
    """
    if not isinstance(skeleton, Skeleton) or (skeleton.parents < 0).sum() != 1:
        raise ValueError(f"`skeleton` must be a Skeleton with one root; got {skeleton!r}.")
    if (surface is None) != (weights is None):
        raise ValueError("`surface` and `weights` must be given together; got one without the other.")
    nodes = [gltf.Node(name, None if parent < 0 else int(parent), local[:3, 3],
                       rotation.quaternion_from_matrix(local[:3, :3]))
             for name, parent, local in zip(skeleton.names, skeleton.parents, skeleton.rest_local, strict=True)]
    skins, meshes = (), ()
    if surface is not None:
        meshes = _skinned(surface, _check.numbers("weights", weights, len(skeleton))),
        skins = gltf.Skin("legs", np.arange(len(nodes)), skin.inverse_bind_matrices(skeleton.rest_world), 0),
        nodes.append(gltf.Node("skin", mesh=0, skin=0))
    return gltf.Asset(nodes, skins, meshes,
                      [_baked(name, skeleton, *motion) for name, motion in _check_motions(motions)])


def puppet_asset(puppet, vertices=5000, walking=True, preset_bend_deg=5.0):
    """A puppet of the parade with its skin, facing +Z, and a walk of two strides along +Z with planted feet.

    Parameters
    ----------
    puppet : Puppet
    vertices : int
        As for `mesh.puppet_mesh`.
    walking : bool
        Without, there is only the rest pose.
    preset_bend_deg : float
        As for `LegRig.from_puppet`.

    Returns
    -------
    Asset
    """
    rig = LegRig.from_puppet(puppet, preset_bend_deg)
    motions = {}
    if walking:
        walk = gait.plant(gait.walk(puppet))
        motions["walk"] = walk.times, rig.pose(gait.control_values(walk, rig)).world
    return rig_asset(rig.skeleton, *skin.rig_skin(rig, puppet, vertices), motions)


def _skinned(surface, weights):
    if not isinstance(surface, Mesh):
        raise ValueError(f"`surface` must be a Mesh; got {surface!r}. `skin.rig_skin` makes one that fits a rig.")
    joints, four = skin.to_four(weights)
    return gltf.Mesh("skin", surface.vertices, surface.triangles, joints, four, _normals(surface))


def _normals(surface):
    """At each vertex the mean direction of its triangles, the larger ones counting more."""
    a, b, c = np.moveaxis(surface.vertices[surface.triangles], 1, 0)
    total = np.zeros_like(surface.vertices)
    for corner in surface.triangles.T:
        np.add.at(total, corner, np.cross(b - a, c - a))
    lengths = np.linalg.norm(total, axis=-1, keepdims=True)
    return np.where(lengths > 0, total, [0.0, 1.0, 0.0]) / np.where(lengths > 0, lengths, 1.0)


def _check_motions(motions):
    if not isinstance(motions or {}, Mapping):
        raise ValueError(f"`motions` must map names to (times, world); got {motions!r}.")
    for name, motion in (motions or {}).items():
        if not isinstance(motion, tuple) or len(motion) != 2:
            raise ValueError(f"`motions[{name!r}]` must be (times, world); got {_check._short(motion)}.")
        yield name, motion


def _baked(name, skeleton, times, world):
    """Every joint's turn, frame by frame, and the shift of those that shift in their parent."""
    times = _check.numbers(f"motions[{name!r}] times", times, "f")
    local = skeleton.local(world)
    if local.shape[:-3] != times.shape:
        raise ValueError(f"`motions[{name!r}]` must be as many frames as times; got {local.shape[:-3]} "
                         f"and {times.shape}.")
    channels = []
    for i, joint in enumerate(np.moveaxis(local, 1, 0)):
        channels.append(gltf.Channel(i, "rotation", times, rotation.quaternion_from_matrix(joint[:, :3, :3])))
        if np.abs(joint[:, :3, 3] - skeleton.rest_local[i, :3, 3]).max() > _SHIFTED:
            channels.append(gltf.Channel(i, "translation", times, joint[:, :3, 3]))
    return gltf.Animation(name, channels)
