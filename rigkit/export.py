"""A rig, skinned and moving, as what a glTF file holds: the way from here into other programs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from rigkit import _check, gait, gltf, rotation, skin
from rigkit._types import ArrayLike, Bools, Floats
from rigkit.leg import LegRig
from rigkit.mesh import Mesh
from rigkit.puppets import Puppet
from rigkit.skeleton import Skeleton

__all__ = ["rig_asset", "rig_motion", "walk_motion", "puppet_asset"]

Motions = Mapping[str, tuple[ArrayLike, ArrayLike]]

PUSHING = np.radians(20.0)  # our choice: from here on a heel rises so fast that it needs more keys
_LEAST_KEYS = 8  # in a stride, as `gait.walk` asks for
_SHIFTED = 1e-9  # metres: a joint that moves less in its parent only turns


def __dir__() -> list[str]:
    return __all__


def rig_asset(
    skeleton: Skeleton,
    surface: Mesh | None = None,
    weights: ArrayLike | None = None,
    motions: Motions | None = None,
) -> gltf.Asset:
    """Return a skeleton's joints as nodes, the skin they move, and motions baked onto them.

    The joints come in the skeleton's order, so the first node is its root; the skin's node is the
    last one, a root of its own. The rest pose is the bind pose: every joint's world times its
    inverse bind matrix is the identity.

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

    Raises
    ------
    ValueError
        If skeleton, skin and motions do not belong together.

    Examples
    --------
    >>> from rigkit import export
    >>> from rigkit.leg import LegRig
    >>> rig = LegRig.from_puppet("Tamsin")
    >>> crouch = [0.0, 1.0], rig.pose({"pelvis": {"shift_y": [0.0, -0.2]}}).world
    >>> asset = export.rig_asset(rig.skeleton, motions={"crouch": crouch})
    >>> len(asset.nodes), asset.animations[0].name, asset.animations[0].duration
    (11, 'crouch', 1.0)
    """
    if not isinstance(skeleton, Skeleton) or (skeleton.parents < 0).sum() != 1:
        raise ValueError(f"`skeleton` must be a Skeleton with one root; got {skeleton!r}.")
    if (surface is None) != (weights is None):
        raise ValueError(
            "`surface` and `weights` must be given together; got one without the other."
        )
    nodes = [
        gltf.Node(
            name,
            None if parent < 0 else int(parent),
            local[:3, 3],
            rotation.quaternion_from_matrix(local[:3, :3]),
        )
        for name, parent, local in zip(
            skeleton.names, skeleton.parents, skeleton.rest_local, strict=True
        )
    ]
    baked = tuple(_baked(name, skeleton, *motion) for name, motion in _check_motions(motions or {}))
    if surface is None or weights is None:
        return gltf.Asset(tuple(nodes), animations=baked)
    mesh = _skinned(surface, _check.numbers("weights", weights, len(skeleton)))
    legs = gltf.Skin(
        "legs", np.arange(len(nodes)), skin.inverse_bind_matrices(skeleton.rest_world), 0
    )
    return gltf.Asset((*nodes, gltf.Node("skin", mesh=0, skin=0)), (legs,), (mesh,), baked)


def walk_motion(
    rig: LegRig, puppet: Puppet | str, rate: float = 30.0, speed: float | None = None
) -> tuple[Floats, Floats]:
    """Return a puppet's walk with planted feet as a motion of its rig, for `rig_asset`.

    It lasts two strides. A step, half a stride, has the whole number of keys nearest to `rate`
    times its duration, at least 4, and one more between each two as a foot pushes off over its toe:
    both feet come down on a key, and the last key is the first one's pose again. At keys no foot
    slides. Between keys a file has every joint turn evenly, as the joints of a leg whose foot
    stands do not: at 30 a second a point of the sole that stands is up to 0.5 mm off its place, and
    the sole up to 1.0 mm below the floor; at 60 up to 0.2 and 0.3 mm. These were measured on the
    four puppets at their free pace.

    Parameters
    ----------
    rig : LegRig
        Of this puppet.
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    rate : float
        About how many keys a second there are at least, from 1 to 240.
    speed : float, optional
        m/s, as for `gait.walk`.

    Returns
    -------
    times : ndarray, shape (f,)
        Seconds.
    world : ndarray, shape (f, joints, 4, 4)
        The joints' world frames.

    Raises
    ------
    ValueError
        If `rig` is no LegRig, `puppet` no puppet, or `rate` or `speed` cannot be.

    Examples
    --------
    >>> from rigkit import export
    >>> from rigkit.leg import LegRig
    >>> times, _ = export.walk_motion(LegRig.from_puppet("heron"), "heron")
    >>> len(times), round(len(times[1:]) / float(times[-1]), 1)
    (85, 36.9)
    """
    stride = gait.walk(puppet, speed, frames=_LEAST_KEYS, cycles=1)
    keys = 2 * round(_check_rate(rate) * float(stride.times[-1]) / 2)
    return rig_motion(rig, gait.plant(gait.walk(puppet, speed, frames=2 * max(keys, _LEAST_KEYS))))


def rig_motion(rig: LegRig, walk: gait.Walk) -> tuple[Floats, Floats]:
    """Return a walk as a motion of a rig, for `rig_asset`: a key on every second of its frames.

    There is one more key between each two as a foot pushes off over its toe.

    Parameters
    ----------
    rig : LegRig
        Of the walk's puppet.
    walk : Walk

    Returns
    -------
    times : ndarray, shape (f,)
        Seconds.
    world : ndarray, shape (f, joints, 4, 4)
        The joints' world frames.

    Raises
    ------
    ValueError
        If `rig` is no LegRig, or `walk` no Walk.
    """
    values = gait.control_values(walk, rig)
    kept = (np.arange(len(walk.times)) % 2 == 0) | _pushing_off(walk)
    return walk.times[kept], rig.pose(values).world[kept]


def _pushing_off(walk: gait.Walk) -> Bools:
    """Frames in which the heel of a foot that stands is high, and those beside them."""
    pushing = (walk.stance & (walk.foot_pitch < -PUSHING)).any(axis=1)
    return np.convolve(pushing, np.ones(3), "same") > 0


def puppet_asset(
    puppet: Puppet | str,
    vertices: int = 5000,
    walking: bool = True,
    preset_bend_deg: float = 5.0,
    rate: float = 30.0,
) -> gltf.Asset:
    """Return a puppet with its skin, facing +Z, and a walk of two strides with planted feet.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.
    vertices : int
        As for `mesh.puppet_mesh`.
    walking : bool
        Without, there is only the rest pose.
    preset_bend_deg : float
        As for `LegRig.from_puppet`.
    rate : float
        The walk's keys a second, as for `walk_motion`.

    Returns
    -------
    Asset
        For `gltf.write`.

    Raises
    ------
    ValueError
        For a puppet, number of vertices, bend or rate that cannot be.

    Examples
    --------
    >>> from rigkit import export
    >>> asset = export.puppet_asset("Tamsin", 400, walking=False)
    >>> [node.name for node in asset.nodes][:3], len(asset.skins), asset.animations
    (['pelvis', 'L_hip', 'R_hip'], 1, ())
    """
    rate = _check_rate(rate)
    rig = LegRig.from_puppet(puppet, preset_bend_deg)
    surface, weights = skin.rig_skin(rig, puppet, vertices)
    motions = {"walk": walk_motion(rig, puppet, rate)} if walking else None
    return rig_asset(rig.skeleton, surface, weights, motions)


def _check_rate(rate: float) -> float:
    rate = _check.one("rate", rate, "Give keys a second such as 30.")
    if not 1 <= rate <= 240:
        raise ValueError(
            f"`rate` must be from 1 to 240 keys a second; got {rate:g}. Give one such as 30."
        )
    return rate


def _skinned(surface: Mesh, weights: Floats) -> gltf.Mesh:
    if not isinstance(surface, Mesh):
        raise ValueError(
            f"`surface` must be a Mesh; got {surface!r}. `skin.rig_skin` makes one that fits a rig."
        )
    joints, four = skin.pack_influences(weights)
    return gltf.Mesh("skin", surface.vertices, surface.triangles, joints, four, _normals(surface))


def _normals(surface: Mesh) -> Floats:
    """At each vertex the mean direction of its triangles, the larger ones counting more."""
    a, b, c = np.moveaxis(surface.vertices[surface.triangles], 1, 0)
    total = np.zeros_like(surface.vertices)
    for corner in surface.triangles.T:
        np.add.at(total, corner, np.cross(b - a, c - a))
    lengths = np.linalg.norm(total, axis=-1, keepdims=True)
    return np.where(lengths > 0, total, [0.0, 1.0, 0.0]) / np.where(lengths > 0, lengths, 1.0)


def _check_motions(motions: Motions) -> Iterator[tuple[str, tuple[ArrayLike, ArrayLike]]]:
    if not isinstance(motions, Mapping):
        raise ValueError(f"`motions` must map names to (times, world); got {motions!r}.")
    for name, motion in motions.items():
        if not isinstance(motion, tuple) or len(motion) != 2:
            raise ValueError(
                f"`motions[{name!r}]` must be (times, world); got {_check.short(motion)}."
            )
        yield name, motion


def _baked(name: str, skeleton: Skeleton, times: ArrayLike, world: ArrayLike) -> gltf.Animation:
    """Every joint's turn, frame by frame, and the shift of those that shift in their parent."""
    times = _check.numbers(f"motions[{name!r}] times", times, "f")
    local = skeleton.local(world)
    if local.shape[:-3] != times.shape:
        raise ValueError(
            f"`motions[{name!r}]` must be as many frames as times; got {local.shape[:-3]} "
            f"and {times.shape}."
        )
    channels = []
    for i, joint in enumerate(np.moveaxis(local, 1, 0)):
        turns = _one_hemisphere(rotation.quaternion_from_matrix(joint[:, :3, :3]))
        channels.append(gltf.Channel(i, "rotation", times, turns))
        if np.abs(joint[:, :3, 3] - skeleton.rest_local[i, :3, 3]).max() > _SHIFTED:
            channels.append(gltf.Channel(i, "translation", times, joint[:, :3, 3]))
    return gltf.Animation(name, tuple(channels))


def _one_hemisphere(turns: Floats) -> Floats:
    """Each key's quaternion or its negative, the same turn: the one that is nearer to the last."""
    apart = np.sum(turns[1:] * turns[:-1], axis=-1) < 0
    signs = np.cumprod(np.where(apart, -1.0, 1.0))
    return np.concatenate([turns[:1], turns[1:] * signs[:, None]])
