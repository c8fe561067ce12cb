"""The pose a skin was bound in: where its joints stood, told by their inverse bind matrices.

The nodes of a file may store any pose, a seated one or the first of an animation. What a rig is at
rest is the pose its skin was made for.
"""

from dataclasses import dataclass

import numpy as np

from rigkit import rotation
from rigkit._types import Bools, Floats
from rigkit.gltf import Asset, Skin


@dataclass(frozen=True)
class BoundPose:
    """The places of all nodes and skins in the pose in which the skins were bound.

    Attributes
    ----------
    world : ndarray, shape (n, 4, 4)
        World matrices of all nodes, in the file's units and axes.
    surfaces : dict of int to ndarray, shape (4, 4)
        From a skin's mesh to the world; a skin whose matrices say nothing has none.
    """

    world: Floats
    surfaces: dict[int, Floats]


def bound_pose(asset: Asset) -> BoundPose:
    """Return the pose in which a file's skins were bound.

    A joint's world is M · inverse(inverse bind matrix), where M, from the mesh to the world, is
    that of the skin's highest joint as its node stands (glTF 2.0, "Skins": the product of a joint's
    world and its inverse bind matrix is the same for all joints in the bind pose). Joints without a
    usable matrix, and nodes of no skin, keep their places in their parents. Of several skins the
    one that moves most vertices comes first.

    Parameters
    ----------
    asset : Asset

    Returns
    -------
    BoundPose
    """
    world, local = asset.rest_world(), _local(asset)
    order = _parents_first(asset)
    rank = {node: i for i, node in enumerate(order)}
    bound: dict[int, Floats] = {}
    surfaces: dict[int, Floats] = {}
    for place in skins_in_use(asset):
        skin = asset.skins[place]
        good = usable(skin)
        if not good.any():
            continue
        joints = skin.joints.tolist()
        known = [i for i in np.flatnonzero(good) if joints[i] in bound]
        first = min(known or np.flatnonzero(good), key=lambda i: rank[joints[i]])
        surface = surfaces[place] = world[joints[first]] @ skin.inverse_bind[first]
        for i in np.flatnonzero(good):
            bound.setdefault(joints[i], surface @ np.linalg.inv(skin.inverse_bind[i]))
        for node in order:
            parent = asset.nodes[node].parent
            if node in bound:
                world[node] = bound[node]
            elif parent is not None:
                world[node] = world[parent] @ local[node]
    return BoundPose(world, surfaces)


def usable(skin: Skin) -> Bools:
    """Return True for each inverse bind matrix that says where its joint stood, shape (k,).

    It can be inverted, and its last row is 0 0 0 1. Matrices all alike put every joint in one
    place: they say nothing.
    """
    matrices = skin.inverse_bind
    if len(matrices) > 1 and np.ptp(matrices, axis=0).max() == 0:
        return np.zeros(len(matrices), bool)
    sizes = np.linalg.svd(matrices[:, :3, :3], compute_uv=False)
    return (sizes[:, 2] > 1e-6 * np.maximum(sizes[:, 0], 1e-300)) & (
        np.abs(matrices[:, 3] - [0, 0, 0, 1]).max(axis=-1) < 1e-6
    )


def skins_in_use(asset: Asset) -> list[int]:
    """Return the skins that move a mesh, the one that moves most vertices first.

    All of them where the meshes could not be read: their matrices still tell how joints stood.

    Parameters
    ----------
    asset : Asset

    Returns
    -------
    list of int
    """
    counts: dict[int, int] = {}
    for node in asset.nodes:
        if node.mesh is not None and node.skin is not None:
            mesh = asset.meshes[node.mesh]
            counts[node.skin] = counts.get(node.skin, 0) + len(mesh.positions)
    if not counts and "skin" in asset.compressed:
        return list(range(len(asset.skins)))
    return sorted(counts, key=lambda place: (-counts[place], place))


def _local(asset: Asset) -> Floats:
    """The matrices of all nodes in their parents, shape (n, 4, 4)."""
    local = np.broadcast_to(np.eye(4), (len(asset.nodes), 4, 4)).copy()
    if len(local):
        turns = rotation.matrix_from_quaternion([node.rotation for node in asset.nodes])
        local[:, :3, :3] = turns * np.array([node.scale for node in asset.nodes])[:, None]
        local[:, :3, 3] = [node.translation for node in asset.nodes]
    return local


def _parents_first(asset: Asset) -> list[int]:
    """All nodes, from the roots down, level by level."""
    order = np.flatnonzero(asset.parents < 0).tolist()
    for node in order:
        order += asset.children[node]
    return order
