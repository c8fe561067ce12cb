"""A rig as a glTF file describes it, as arrays, and the poses that follow from it.

Nodes, skins and meshes refer to each other by their place in the asset, as in the file. Transforms
may have scale, so worlds here are 4×4 matrices, not always rigid frames.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from types import MappingProxyType
from typing import Any, TypeVar

import numpy as np
from numpy.typing import DTypeLike, NDArray

from rigkit import _check, _format, rotation
from rigkit._types import ArrayLike, Floats, Ints
from rigkit.gltf.extras import json_object

PATHS = {"translation": 3, "rotation": 4, "scale": 3}
# The transform of a node that says nothing.
AT_REST = {"translation": np.zeros(3), "rotation": np.eye(4)[3], "scale": np.ones(3)}
INTERPOLATIONS = ("LINEAR", "STEP", "CUBICSPLINE")
for _array in AT_REST.values():
    _array.flags.writeable = False
# a rotation this near to length one is as near as 32-bit numbers are, and is left as it is
UNIT = 1e-6
_Kind = TypeVar("_Kind")
_BLOCK = 2**16  # numbers of a weight table made at a time: few enough for the processor's cache


@dataclass(frozen=True, eq=False)
class Node(_format.NotebookDisplay):
    """A node of the tree: where it stands in its parent, `translation · rotation · scale`.

    Parameters
    ----------
    name : str
        Files may repeat names, or leave them empty.
    parent : int or None
        The parent's place in `Asset.nodes`.
    translation : array_like, shape (3,)
        Where it is, seen from its parent [m].
    rotation : array_like, shape (4,)
        Its turn, seen from its parent. A quaternion (x, y, z, w), kept with length one.
    scale : array_like, shape (3,)
        Along its three axes.
    mesh : int or None
        The mesh it carries.
    skin : int or None
        The skin that moves the mesh.

    Raises
    ------
    ValueError
        For other shapes, numbers that are not finite, or a rotation of length zero.

    Notes
    -----
    Parameters are attributes too, arrays as ndarrays of float; so it is with all classes here.
    """

    name: str
    parent: int | None
    translation: Floats
    rotation: Floats
    scale: Floats
    mesh: int | None
    skin: int | None

    def __init__(
        self,
        name: str = "",
        parent: int | None = None,
        translation: ArrayLike = AT_REST["translation"],
        rotation: ArrayLike = AT_REST["rotation"],
        scale: ArrayLike = AT_REST["scale"],
        mesh: int | None = None,
        skin: int | None = None,
    ) -> None:
        turn = _transform("rotation", rotation)
        if turn is not AT_REST["rotation"] and abs(np.linalg.norm(turn) - 1) > UNIT:
            turn = _check.directions(
                "rotation", turn, hint="No turn at all is (0, 0, 0, 1).", size=4
            )
        _set_fields(
            self,
            name=_text("name", name),
            parent=parent,
            translation=_transform("translation", translation),
            rotation=turn,
            scale=_transform("scale", scale),
            mesh=mesh,
            skin=skin,
        )

    def __repr__(self) -> str:
        turn = 2 * np.arccos(np.clip(abs(self.rotation[3]), 0, 1))
        return _format.line(
            self,
            _format.name(self.name),
            "a root" if self.parent is None else f"below node {self.parent}",
            _format.point(self.translation),
            f"turned {_format.angle(turn)}",
            "" if (self.scale == 1).all() else f"scaled {_format.point(self.scale, '')}",
            "" if self.mesh is None else f"mesh {self.mesh}",
            "" if self.skin is None else f"skin {self.skin}",
        )


@dataclass(frozen=True, eq=False)
class Skin(_format.NotebookDisplay):
    """The nodes that move a mesh, and where they stood when they were joined to it.

    Parameters
    ----------
    name : str
    joints : array_like of int, shape (k,)
        Places in `Asset.nodes`; weights refer to a joint by its place in here.
    inverse_bind : array_like, shape (k, 4, 4), optional
        From the mesh to each joint, as they stood when they were joined. By default the identity.
    root : int or None
        The node all joints hang from, where the file names it ("skeleton").

    Raises
    ------
    ValueError
        For a joint that is there twice, or other shapes.
    """

    name: str
    joints: Ints
    inverse_bind: Floats
    root: int | None

    def __init__(
        self,
        name: str,
        joints: ArrayLike,
        inverse_bind: ArrayLike | None = None,
        root: int | None = None,
    ) -> None:
        nodes = _whole_numbers("joints", joints, "k")
        if len(np.unique(nodes)) < len(nodes):
            raise ValueError("`joints` must be different nodes; got one of them twice.")
        bind = (
            np.broadcast_to(np.eye(4), (len(nodes), 4, 4)) if inverse_bind is None else inverse_bind
        )
        _set_fields(
            self,
            name=_text("name", name),
            joints=nodes,
            inverse_bind=_exact_array("inverse_bind", bind, len(nodes), 4, 4),
            root=root,
        )

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.name(self.name),
            _format.count(len(self.joints), "joint"),
            "" if self.root is None else f"all below node {self.root}",
        )


@dataclass(frozen=True, eq=False)
class Mesh(_format.NotebookDisplay):
    """A surface of triangles; the parts ("primitives") of a glTF mesh are joined into one.

    Parameters
    ----------
    name : str
    positions : array_like, shape (v, 3)
        Metres.
    triangles : array_like of int, shape (t, 3)
        Anticlockwise seen from outside.
    joints, weights : array_like, shape (v, 4 n), optional
        Joints of the skin that move each vertex, and how much; the joint becomes 0 where the weight
        is 0.
    normals : array_like, shape (v, 3), optional

    Raises
    ------
    ValueError
        For a corner that is no vertex, joints without weights, or other shapes.
    """

    name: str
    positions: Floats
    triangles: Ints
    joints: Ints | None
    weights: Floats | None
    normals: Floats | None

    def __init__(
        self,
        name: str,
        positions: ArrayLike,
        triangles: ArrayLike,
        joints: ArrayLike | None = None,
        weights: ArrayLike | None = None,
        normals: ArrayLike | None = None,
    ) -> None:
        positions = _exact_array("positions", positions, "v", 3)
        count = len(positions)
        _set_fields(
            self,
            name=_text("name", name),
            positions=positions,
            triangles=_whole_numbers("triangles", triangles, "t", 3, below=count, of="vertices"),
            joints=None,
            weights=None,
            normals=None if normals is None else _exact_array("normals", normals, count, 3),
        )
        if (joints is None) != (weights is None):
            raise ValueError(
                "`joints` and `weights` must be given together; got one without the other."
            )
        if joints is not None and weights is not None:
            weights = _exact_array("weights", weights, count, "4 n")
            joints = _whole_numbers("joints", joints, count, weights.shape[1])
            if weights.shape[1] % 4:
                raise ValueError(
                    f"`weights` must come in fours; got {weights.shape[1]} to a vertex. Fill up"
                    " with 0."
                )
            idle = joints[weights == 0].any()
            _set_fields(
                self, weights=weights, joints=np.where(weights != 0, joints, 0) if idle else joints
            )

    def __repr__(self) -> str:
        return _format.line(
            self,
            _format.name(self.name),
            _format.count(len(self.positions), "vertex", "vertices"),
            _format.count(len(self.triangles), "triangle"),
            _format.point(self.positions),
            "no weights"
            if self.weights is None
            else f"{self.weights.shape[1]} weights to a vertex",
        )

    @cached_property
    def highest_joint(self) -> int:
        """The highest joint number that moves a vertex; −1 for a mesh without weights."""
        return -1 if self.joints is None else int(self.joints.max())


@dataclass(frozen=True, eq=False)
class Channel(_format.NotebookDisplay):
    """The change of one property of one node over time.

    Parameters
    ----------
    node : int
    path : {"translation", "rotation", "scale"}
    times : array_like, shape (k,)
        Seconds, zero or more and increasing.
    values : array_like, shape (k, 3), for a rotation (k, 4)
        For "CUBICSPLINE" shape (k, 3, 3) or (k, 3, 4): at each time the slope before, the value,
        the slope after.
    interpolation : {"LINEAR", "STEP", "CUBICSPLINE"}

    Raises
    ------
    ValueError
        For times that do not increase, a rotation of length zero, or other shapes.
    """

    node: int
    path: str
    times: Floats
    values: Floats
    interpolation: str

    def __init__(
        self,
        node: int,
        path: str,
        times: ArrayLike,
        values: ArrayLike,
        interpolation: str = "LINEAR",
    ) -> None:
        _check.choice("path", path, PATHS)
        _check.choice("interpolation", interpolation, INTERPOLATIONS)
        times = _exact_array("times", times, "k")
        if len(times) < 2 and interpolation == "CUBICSPLINE":
            raise ValueError("`times` must be at least two for a cubic curve; got one.")
        if times[0] < 0 or not (np.diff(times) > 0).all():
            raise ValueError(
                f"`times` must be zero or more and increasing; got {times[0]:g} first and a least"
                f" step of {np.diff(times).min(initial=np.inf):g}."
            )
        cubic = (3,) if interpolation == "CUBICSPLINE" else ()
        _set_fields(
            self,
            node=node,
            path=path,
            times=times,
            interpolation=interpolation,
            values=_exact_array("values", values, len(times), *cubic, PATHS[path]),
        )
        if path == "rotation" and not (np.abs(self._keys).max(axis=-1) > 0).all():
            raise ValueError(
                "`values` must be rotations; got (0, 0, 0, 0). No turn at all is (0, 0, 0, 1)."
            )

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"{self.path} of node {self.node}",
            _format.count(len(self.times), "key"),
            f"{_format.amount(self.times, ' s', 2)}",
            self.interpolation,
        )

    def unit_values(self) -> Floats:
        """Return a rotation's values with every key of length one, as files must have them.

        Returns
        -------
        ndarray, shape as `values`
        """
        values, keys = np.array(self.values), self._keys
        off = np.abs(np.linalg.norm(keys, axis=-1) - 1) > UNIT
        (values[:, 1] if self.interpolation == "CUBICSPLINE" else values)[off] = (
            rotation.unit_quaternion(keys)[off]
        )
        return values

    @property
    def _keys(self) -> Floats:
        return self.values[:, 1] if self.interpolation == "CUBICSPLINE" else self.values

    def sample(self, times: ArrayLike) -> Floats:
        """Return the property at some times; before the first key and after the last it stays.

        Between two keys: on the straight line, for a rotation the shorter arc at an even rate
        ("LINEAR"); as it was ("STEP"); on the cubic curve through both with the slopes given
        ("CUBICSPLINE"). glTF 2.0, appendix C.

        Parameters
        ----------
        times : array_like, shape (...)
            Seconds.

        Returns
        -------
        ndarray, shape (..., 3), for a rotation (..., 4)

        Raises
        ------
        ValueError
            For times that are not finite.
        """
        times = np.clip(_check.numbers("times", times), self.times[0], self.times[-1])
        keys, last = self._keys, len(self.times) - 1
        before = np.clip(np.searchsorted(self.times, times, side="right") - 1, 0, last)
        after = np.minimum(before + 1, last)
        step = self.times[after] - self.times[before]
        share = (times - self.times[before]) / np.where(step > 0, step, 1.0)
        if self.interpolation == "STEP":
            answer = keys[before]
        elif self.interpolation == "CUBICSPLINE":
            answer = self._cubic(before, after, share[..., None], step[..., None])
        elif self.path == "rotation":
            return rotation.slerp(keys[before], keys[after], share)
        else:
            answer = keys[before] + share[..., None] * (keys[after] - keys[before])
        return rotation.unit_quaternion(answer) if self.path == "rotation" else answer

    def _cubic(self, before: Ints, after: Ints, share: Floats, step: Floats) -> Floats:
        square, cube = share**2, share**3
        return (
            (2 * cube - 3 * square + 1) * self._keys[before]
            + (3 * square - 2 * cube) * self._keys[after]
            + step
            * (
                (cube - 2 * square + share) * self.values[before, 2]
                + (cube - square) * self.values[after, 0]
            )
        )


@dataclass(frozen=True, eq=False)
class Animation(_format.NotebookDisplay):
    """A named motion.

    Parameters
    ----------
    name : str
    channels : iterable of Channel
        Each of another node or property.

    Raises
    ------
    ValueError
        For no channels, or two of the same property.
    """

    name: str
    channels: tuple[Channel, ...]

    def __init__(self, name: str, channels: Iterable[Channel]) -> None:
        _set_fields(self, name=_text("name", name), channels=_all_of(Channel, "channels", channels))
        if not self.channels:
            raise ValueError("`channels` must be at least one; got none.")
        targets = [(channel.node, channel.path) for channel in self.channels]
        if len(set(targets)) < len(targets):
            raise ValueError(
                "`channels` must each move another node or property; got two for the same."
            )

    def __repr__(self) -> str:
        nodes = len({channel.node for channel in self.channels})
        return _format.line(
            self,
            _format.name(self.name),
            _format.amount(self.duration, " s", 2),
            f"{_format.count(len(self.channels), 'channel')} of {_format.count(nodes, 'node')}",
        )

    @property
    def duration(self) -> float:
        """The time at which the last channel ends, seconds."""
        return float(max(channel.times[-1] for channel in self.channels))


@dataclass(frozen=True, eq=False)
class Asset(_format.NotebookDisplay):
    """A rig file: its nodes and what they carry.

    Parameters
    ----------
    nodes, skins, meshes, animations : iterable of Node, Skin, Mesh, Animation
        They refer to each other by their place.
    copyright : str
        As the file's maker wrote it.
    notes : iterable of str
        What the file held that is not read, each a sentence; what `write` would leave out.
    compressed : mapping of str to str
        What of the rig itself is not read as it is compressed, "skin" or "animations", and how,
        such as "Draco". A skin of this asset then says its joints, and no node has it.
    humanoid : mapping of str to int
        The node of each bone of a person, as a VRM file says, such as "leftUpperLeg"; not written.
    extras : mapping of str to JSON values
        What a program keeps with the file for itself (glTF 2.0, "asset.extras"): text, finite
        numbers, true, false, None, and lists and mappings of these.

    Raises
    ------
    ValueError
        For a parent, joint, mesh or skin that is not there, a cycle of parents, a weight for a
        joint that the node's skin does not have, or extras that are no JSON.
    """

    nodes: tuple[Node, ...]
    skins: tuple[Skin, ...]
    meshes: tuple[Mesh, ...]
    animations: tuple[Animation, ...]
    copyright: str
    notes: tuple[str, ...]
    compressed: Mapping[str, str]
    humanoid: Mapping[str, int]
    extras: Mapping[str, object]

    def __init__(
        self,
        nodes: Iterable[Node],
        skins: Iterable[Skin] = (),
        meshes: Iterable[Mesh] = (),
        animations: Iterable[Animation] = (),
        copyright: str = "",
        notes: Iterable[str] = (),
        compressed: Mapping[str, str] = MappingProxyType({}),
        humanoid: Mapping[str, int] = MappingProxyType({}),
        extras: Mapping[str, object] = MappingProxyType({}),
    ) -> None:
        _set_fields(
            self,
            nodes=_all_of(Node, "nodes", nodes),
            skins=_all_of(Skin, "skins", skins),
            meshes=_all_of(Mesh, "meshes", meshes),
            animations=_all_of(Animation, "animations", animations),
            copyright=_text("copyright", copyright),
            notes=_all_of(str, "notes", notes),
            compressed=dict(compressed),
            humanoid=dict(humanoid),
            extras=json_object("extras", extras),
        )
        self._check_references()
        _ = self._levels  # a cycle of parents is refused now, not when the asset is posed

    def __repr__(self) -> str:
        parts = (
            ("node", self.nodes),
            ("skin", self.skins),
            ("mesh", self.meshes),
            ("animation", self.animations),
        )
        return _format.line(
            self,
            *(
                _format.count(len(many), one, "meshes" if one == "mesh" else "")
                for one, many in parts
            ),
            f"{_format.count(len(self.notes), 'thing')} not read" if self.notes else "",
        )

    @cached_property
    def parents(self) -> Ints:
        """Each node's parent, −1 for a root; ndarray of int, shape (n,)."""
        return np.array(
            [-1 if node.parent is None else node.parent for node in self.nodes], dtype=np.int64
        )

    @cached_property
    def children(self) -> tuple[tuple[int, ...], ...]:
        """The places of the nodes right below each node, a tuple for each."""
        below: list[list[int]] = [[] for _ in self.nodes]
        for i, parent in enumerate(self.parents.tolist()):
            if parent >= 0:
                below[parent].append(i)
        return tuple(map(tuple, below))

    def rest_world(self) -> Floats:
        """Return the world matrices of all nodes as they stand in the file.

        Returns
        -------
        ndarray, shape (n, 4, 4)
        """
        return self._world(_matrices(self._rest()))

    def pose_world(self, animation: Animation | int, times: ArrayLike) -> Floats:
        """Return the world matrices of all nodes at some times of an animation.

        Parameters
        ----------
        animation : Animation or int
            One of this asset's, or its place; a node that it does not move is at rest.
        times : array_like, shape (...)
            Seconds.

        Returns
        -------
        ndarray, shape (..., n, 4, 4)

        Raises
        ------
        ValueError
            For an animation that is not there, or times that are not finite.
        """
        channels = self._animation(animation).channels
        times = _check.numbers("times", times)
        parts = {
            path: np.array(np.broadcast_to(part, (*times.shape, *part.shape)))
            for path, part in self._rest().items()
        }
        for channel in channels:
            parts[channel.path][..., channel.node, :] = channel.sample(times)
        return self._world(_matrices(parts))

    def joint_matrices(self, skin: int, world: ArrayLike) -> Floats:
        """Return each joint's world matrix times its inverse bind matrix: what moves a skin's mesh.

        Parameters
        ----------
        skin : int
        world : array_like, shape (..., n, 4, 4)
            Of all nodes.

        Returns
        -------
        ndarray, shape (..., k, 4, 4)

        Raises
        ------
        ValueError
            For a skin that is not there, or a world of another shape.
        """
        chosen = self.skins[_place("skin", skin, len(self.skins))]
        return self._check_world(world)[..., chosen.joints, :, :] @ chosen.inverse_bind

    def skin_points(self, node: int, world: ArrayLike) -> Floats:
        """Return the world vertices of a node's mesh: moved by its skin's joints, else by the node.

        Parameters
        ----------
        node : int
            Its own transform does not count where it has a skin (glTF 2.0, "Skins").
        world : array_like, shape (..., n, 4, 4)
            Of all nodes.

        Returns
        -------
        ndarray, shape (..., v, 3)

        Raises
        ------
        ValueError
            For a node that is not there or has no mesh, or a world of another shape.
        """
        place, world = _place("node", node, len(self.nodes)), self._check_world(world)
        carrier = self.nodes[place]
        if carrier.mesh is None:
            raise ValueError(
                f"`node` must carry a mesh; got {place} ({carrier.name!r}), which has none."
            )
        mesh = self.meshes[carrier.mesh]
        if carrier.skin is None or mesh.weights is None or mesh.joints is None:
            own = world[..., place, :, :]
            return mesh.positions @ np.swapaxes(own[..., :3, :3], -1, -2) + own[..., None, :3, 3]
        matrices = self.joint_matrices(carrier.skin, world)
        count = matrices.shape[-3]
        rows = matrices[..., :3, :].reshape(-1, count, 12)
        posed = np.empty((len(rows), *mesh.positions.shape))
        size = max(1, _BLOCK // count)
        for part in (slice(start, start + size) for start in range(0, len(mesh.positions), size)):
            table = _weight_table(mesh.joints[part], mesh.weights[part], count)
            for row, out in zip(rows, posed[:, part], strict=True):
                blend = (table @ row).reshape(-1, 3, 4)
                out[:] = (
                    np.einsum("vij,vj->vi", blend[..., :3], mesh.positions[part]) + blend[..., 3]
                )
        return posed.reshape(*matrices.shape[:-3], *mesh.positions.shape)

    def _rest(self) -> dict[str, Floats]:
        return {
            path: np.array([getattr(node, path) for node in self.nodes]).reshape(-1, size)
            for path, size in PATHS.items()
        }

    def _world(self, local: Floats) -> Floats:
        for level in self._levels[1:]:
            local[..., level, :, :] = (
                local[..., self.parents[level], :, :] @ local[..., level, :, :]
            )
        return local

    def _check_world(self, world: ArrayLike) -> Floats:
        return _check.numbers("world", world, len(self.nodes), 4, 4)

    def _animation(self, animation: Animation | int) -> Animation:
        if isinstance(animation, Animation):
            for channel in animation.channels:
                _place("animation.node", channel.node, len(self.nodes))
            return animation
        return self.animations[_place("animation", animation, len(self.animations))]

    def _check_references(self) -> None:
        nodes, skins, meshes = map(len, (self.nodes, self.skins, self.meshes))
        for bone, place in self.humanoid.items():
            _place(f"humanoid[{bone!r}]", place, nodes)
        for i, node in enumerate(self.nodes):
            for name, count in (("parent", nodes), ("mesh", meshes), ("skin", skins)):
                if getattr(node, name) is not None:
                    _place(f"nodes[{i}].{name}", getattr(node, name), count)
            if node.skin is not None and node.mesh is not None:
                highest, joints = (
                    self.meshes[node.mesh].highest_joint,
                    len(self.skins[node.skin].joints),
                )
                if highest >= joints:
                    raise ValueError(
                        f"`meshes[{node.mesh}].joints` must be below {joints}, the joints of "
                        f"`skins[{node.skin}]`; got {highest}."
                    )
        for i, skin in enumerate(self.skins):
            _place(f"skins[{i}].joints", int(skin.joints.max()), nodes)
            if skin.root is not None:
                _place(f"skins[{i}].root", skin.root, nodes)
        for i, animation in enumerate(self.animations):
            for j, channel in enumerate(animation.channels):
                _place(f"animations[{i}].channels[{j}].node", channel.node, nodes)

    @cached_property
    def _levels(self) -> list[Ints]:
        """The roots' places, then their children's, and so on."""
        levels: list[Ints] = []
        level, found = np.flatnonzero(self.parents < 0), 0
        while len(level):
            levels.append(level)
            found += len(level)
            level = np.array([child for i in level for child in self.children[i]], dtype=np.int64)
        if found < len(self.nodes):
            inside = set(range(len(self.nodes))) - {int(i) for level in levels for i in level}
            raise ValueError(
                f"`nodes` must hang from a root; got a cycle of parents at nodes[{min(inside)}]."
            )
        return levels


def _matrices(parts: dict[str, Floats]) -> Floats:
    """Local matrices from translations, rotations (quaternions) and scales, by path."""
    translation, turns, scale = (parts[path] for path in PATHS)
    local = np.zeros((*translation.shape[:-1], 4, 4))
    if local.size:
        local[..., :3, :3] = rotation.matrix_from_quaternion(turns) * scale[..., None, :]
        local[..., :3, 3] = translation
        local[..., 3, 3] = 1.0
    return local


def _weight_table(joints: Ints, weights: Floats, count: int) -> Floats:
    """A row of `count` weights for each vertex; what is listed twice is added up."""
    cells = count * np.arange(len(weights))[:, None] + joints
    table = np.bincount(cells.ravel(), weights.ravel(), count * len(weights))
    return table.astype(np.float64, copy=False).reshape(-1, count)


def _exact_array(
    name: str, value: ArrayLike, *shape: int | str, dtype: DTypeLike = np.float64
) -> NDArray[Any]:
    """`value` as a finite array of exactly this shape, no batch axes before it."""
    array = _check.numbers(name, value, *shape, dtype=dtype)
    if array.ndim != len(shape):
        raise ValueError(
            f"`{name}` must have shape ({', '.join(map(str, shape))}); got {array.shape}."
        )
    return array


def _whole_numbers(
    name: str, value: ArrayLike, *shape: int | str, below: float = np.inf, of: str = "numbers"
) -> Ints:
    kind = np.asarray(value).dtype.kind
    array = _exact_array(name, value, *shape, dtype=np.int64 if kind in "iu" else np.float64)
    whole = array.astype(np.int64, copy=False)
    low, high = array.min(), array.max()
    if low < 0 or high >= below or not (whole is array or (whole == array).all()):
        end = f", below the {below} {of}" if below < np.inf else ""
        raise ValueError(f"`{name}` must be whole numbers from 0{end}; got {low:g} to {high:g}.")
    return whole


def _place(name: str, value: object, count: int) -> int:
    if isinstance(value, bool) or not isinstance(value, int | np.integer) or not 0 <= value < count:
        there = f"from 0 to {count - 1}" if count else "left out, as there are none"
        raise ValueError(f"`{name}` must be {there}; got {value!r}.")
    return int(value)


def _all_of(kind: type[_Kind], name: str, given: Iterable[_Kind]) -> tuple[_Kind, ...]:
    values = tuple(given)
    wrong = [value for value in values if not isinstance(value, kind)]
    if wrong:
        raise ValueError(f"`{name}` must each be a {kind.__name__}; got {_check.short(wrong[0])}.")
    return values


def _transform(path: str, value: ArrayLike) -> Floats:
    """A node's translation, rotation or scale; what every plain node shares is known to be good."""
    return AT_REST[path] if value is AT_REST[path] else _exact_array(path, value, PATHS[path])


def _text(name: str, value: str) -> str:
    if not isinstance(value, str) or any("\ud800" <= letter <= "\udfff" for letter in value):
        raise ValueError(f"`{name}` must be text; got {_check.short(value)}.")
    return value


def _set_fields(thing: object, **fields: object) -> None:
    for name, value in fields.items():
        object.__setattr__(thing, name, value)
