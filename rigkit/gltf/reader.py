"""A glTF file's JSON and buffers to an `Asset`."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from typing import TypeVar

import numpy as np

from rigkit import rotation
from rigkit._types import Floats, Ints
from rigkit.gltf import container
from rigkit.gltf.accessors import MESHOPT, Accessors, CompressedError
from rigkit.gltf.asset import INTERPOLATIONS, PATHS, Animation, Asset, Channel, Mesh, Node, Skin
from rigkit.gltf.extras import json_object
from rigkit.gltf.fields import (
    Entry,
    choice,
    fields,
    is_whole,
    item,
    items,
    numbers,
    place,
    short,
    text,
)
from rigkit.gltf.humanoid import EXTENSIONS as HUMANOIDS
from rigkit.gltf.humanoid import humanoid

UNDERSTOOD = ("KHR_mesh_quantization",)  # positions and normals in small whole numbers
DRACO = "KHR_draco_mesh_compression"
COMPRESSIONS = (DRACO, *MESHOPT)  # what is packed so is left out, and said
# May be required: they say how things look, sound or fall, not where the nodes of a rig are.
HARMLESS = re.compile(
    r"[A-Z0-9]+_(materials|textures?|lights)_\w+|(EXT|MSFT|KHR)_(lod|packing_\w+)|FB_ngon_encoding"
    r"|KHR_(audio\w*|collision_shapes|implicit_shapes|interactivity|physics_\w+|xmp\w*)"
    r"|KHR_node_(hoverability|selectability|visibility)|EXT_mesh_(features|gpu_instancing)"
    r"|EXT_(instance_features|structural_metadata)|VRMC_(materials_\w+|springBone\w*)",
    re.ASCII,
)
NOT_READ = ("cameras", "images", "materials", "textures")
TRIANGLES, FAN = 4, 6  # between them: strips
_READ = re.compile(r"POSITION|NORMAL|(JOINTS|WEIGHTS)_\d+", re.ASCII)
MAX_NOTES, OBJECT = 50, 600  # the latter: about what one object of the file becomes here, in bytes
# How far something may be off before it is refused, or worth a note: a rotation's length, a matrix'
# last row, and its columns' being square, as a share of the largest scale.
ROTATION_OFF, ROW_OFF, SHEAR = 1e-3, 1e-6, 1e-5

_Kind = TypeVar("_Kind")


def read(
    source: str | os.PathLike[str] | bytes | bytearray | memoryview,
    folder: str | os.PathLike[str] | None = None,
) -> Asset:
    """Read a rig from a .glb or .gltf file.

    Read are the tree of nodes, skins, triangles with weights and normals, animations of nodes, and
    what a program keeps with the file (`Asset.extras`). All else is named in `Asset.notes`; what of
    these is compressed also in `Asset.compressed`.

    Parameters
    ----------
    source : str, Path or bytes
        A file, or what stands in one.
    folder : str or Path, optional
        Where buffers in files of their own are looked for, and below; for a file by default its own
        folder, for bytes none.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If the file cannot be read, breaks the standard where a rig would depend on it, leads out of
        its folder, needs an extension that is not known, or asks for memory out of proportion to
        its size. It names the place.

    Examples
    --------
    >>> from tempfile import TemporaryDirectory
    >>> from rigkit import export, gltf, puppets
    >>> with TemporaryDirectory() as folder:
    ...     gltf.write(export.puppet_asset(puppets.PUPPETS["Tamsin"], 500), f"{folder}/rig.glb")
    ...     asset = gltf.read(f"{folder}/rig.glb")
    >>> [node.name for node in asset.nodes][:3]
    ['pelvis', 'L_hip', 'R_hip']
    """
    name = (
        short(os.path.basename(source))
        if isinstance(source, str | os.PathLike)
        else "what was given"
    )
    try:
        reader = _Reader(container.load(source, folder))
        return replace(reader.asset(), humanoid=reader.humanoid())
    except ValueError as problem:
        raise ValueError(f"Cannot read {name}: {problem}") from None


class _Reader:
    def __init__(self, file: container.Container) -> None:
        self.file, self.json, self.accessors = file, file.json, Accessors(file)
        self.counts = dict.fromkeys(file.notes, 1)
        self.packed: dict[tuple[str, int | None], str] = {}  # meshes, skins and animations, and how
        self.compressed: dict[str, str] = {}

    def asset(self) -> Asset:
        about = fields(self.json, "asset", "JSON")
        self._check_version(about)
        self._check_extensions()
        if problem := humanoid(self.json)[1]:
            self.note(problem)
        for kind in NOT_READ:
            if there := items(self.json, kind, "JSON"):
                self.note(f"{kind.capitalize()} are not read.", len(there))
        extras = self._extras(about)
        parents = self._parents()
        self._scenes(parents)
        meshes = self._unpacked("meshes", self._mesh)
        skins = [self._skin(i, *each) for i, each in enumerate(self._each(self.json, "skins"))]
        kept = {i: mesh for i, mesh in enumerate(meshes) if mesh is not None}
        places = {i: now for now, i in enumerate(kept)}
        entries = list(self._each(self.json, "nodes"))
        stands = self._transforms(entries)
        nodes = [
            self._node(*entry, parent, stand, places)
            for entry, parent, stand in zip(entries, parents, stands, strict=True)
        ]
        animations = self._unpacked("animations", self._animation)
        return Asset(
            tuple(nodes),
            tuple(skins),
            tuple(kept.values()),
            tuple(animation for animation in animations if animation is not None),
            text(about, "copyright", "asset"),
            self._notes(),
            self.compressed,
            extras=extras,
        )

    def _extras(self, about: Entry) -> dict[str, object]:
        """The values a program keeps with the file; no rig depends on them, so none is refused."""
        try:
            return json_object("extras", about.get("extras", {}))
        except ValueError:
            self.note("What programs keep with the file (asset.extras) is too large or no object.")
            return {}

    def _unpacked(
        self, field: str, read: Callable[[Entry, str], _Kind | None]
    ) -> list[_Kind | None]:
        """Each object of a list as `read` makes it, None where it is compressed."""
        found: list[_Kind | None] = []
        for entry, at in self._each(self.json, field):
            try:
                found.append(read(entry, at))
            except CompressedError as problem:
                self._leave(field, len(found), problem.method)
                found.append(None)
        return found

    def _leave(self, field: str, number: int, method: str) -> None:
        """Say that a mesh, a skin's matrices or an animation is compressed."""
        self.packed[field, number] = method
        what = {"meshes": "A mesh", "skins": "Where a skin was bound", "animations": "An animation"}
        self.note(f"{what[field]} is compressed ({method}).")
        if field == "animations":
            self.compressed[field] = method

    def humanoid(self) -> dict[str, int]:
        """The humanoid map; one that cannot be read is among the notes of `asset` and empty."""
        return humanoid(self.json)[0]

    def note(self, sentence: str, count: int = 1) -> None:
        if len(self.counts) >= MAX_NOTES and sentence not in self.counts:
            sentence, count = "More is not read than is listed here.", 0
        self.counts[sentence] = self.counts.get(sentence, 0) + count

    def _notes(self) -> tuple[str, ...]:
        return tuple(
            note if count < 2 else f"{note[:-1]} ({count} times)."
            for note, count in self.counts.items()
        )

    def _each(self, entry: Entry, field: str, where: str = "JSON") -> Iterator[tuple[Entry, str]]:
        """Each object of a list, and where it stands."""
        for i, each in enumerate(items(entry, field, where)):
            at = f"{field}[{i}]" if where == "JSON" else f"{where}.{field}[{i}]"
            if not isinstance(each, dict):
                raise ValueError(f"{at}: must be an object; got {short(each)}.")
            self.file.spend(OBJECT, at)
            if "extras" in each:
                self.note("What programs keep for themselves (extras) is not read.")
            yield each, at

    def _check_version(self, about: Entry) -> None:
        version = text(about, "version", "asset")
        least = text(about, "minVersion", "asset") or "2.0"
        if not re.fullmatch(r"2\.\d{1,9}", version, re.ASCII) or least != "2.0":
            raise ValueError(
                f"asset: `version` must be 2.0; got {short(version if least == '2.0' else least)}. "
                "Save the file as glTF 2.0."
            )

    def _check_extensions(self) -> None:
        used, required = (
            items(self.json, "extensionsUsed", "JSON"),
            items(self.json, "extensionsRequired", "JSON"),
        )
        for name in required:
            if not isinstance(name, str) or not (
                name in (*UNDERSTOOD, *COMPRESSIONS, *HUMANOIDS) or HARMLESS.fullmatch(name)
            ):
                raise ValueError(
                    f"extensionsRequired: the file cannot be understood without {short(name)},"
                    " which is not known here. Save it without that extension."
                )
        for name in used:
            if name not in (*UNDERSTOOD, *COMPRESSIONS):
                only = ", but for its humanoid map" if name in HUMANOIDS else ""
                self.note(f"The extension {short(name)} is not read{only}.")

    # Nodes

    def _parents(self) -> list[int | None]:
        parents: list[int | None] = [None] * len(items(self.json, "nodes", "JSON"))
        for i in range(len(parents)):
            at = f"nodes[{i}]"
            for each in items(item(self.json, "nodes", i, "nodes"), "children", at):
                child = place(self.json, "nodes", each, f"{at}.children")
                if parents[child] is not None:
                    raise ValueError(
                        f"nodes[{child}]: must have one parent; got nodes[{parents[child]}] and"
                        f" {at}."
                    )
                parents[child] = i
        return parents

    def _scenes(self, parents: list[int | None]) -> None:
        scenes = list(self._each(self.json, "scenes"))
        if len(scenes) > 1:
            self.note("The file has several scenes; their nodes are read together.")
        shown = {
            node for scene, at in scenes for node in items(scene, "nodes", at) if is_whole(node)
        }
        hidden = [i for i, parent in enumerate(parents) if parent is None and i not in shown]
        if scenes and hidden:
            self.note("A root node is in no scene; it is read all the same.", len(hidden))

    def _transforms(self, entries: list[tuple[Entry, str]]) -> list[dict[str, Floats]]:
        """The translation, rotation and scale of each node in its parent, as far as given."""
        stands: list[dict[str, Floats]] = []
        matrices: dict[int, Floats] = {}
        for entry, at in entries:
            given = {path: numbers(entry, path, at, size) for path, size in PATHS.items()}
            stand = {path: value for path, value in given.items() if value is not None}
            matrix = numbers(entry, "matrix", at, 16)
            if matrix is not None and stand:
                raise ValueError(f"{at}: must have `matrix` or `{next(iter(stand))}`, not both.")
            if matrix is not None:
                matrices[len(stands)] = matrix.reshape(4, 4).T
            elif "rotation" in stand and abs(np.linalg.norm(stand["rotation"]) - 1) > ROTATION_OFF:
                self.note("A node's rotation is not of length one; it is read as if it were.")
            stands.append(stand)
        if matrices:
            parts = self._decompose(
                np.stack(list(matrices.values())), [f"nodes[{i}]" for i in matrices]
            )
            for i, *part in zip(matrices, *parts, strict=True):
                stands[i] = dict(zip(PATHS, part, strict=True))
        return stands

    def _decompose(self, matrices: Floats, places: list[str]) -> tuple[Floats, Floats, Floats]:
        """Translations, rotations and scales of matrices; a mirrored one has a negative x scale."""
        off = np.abs(matrices[:, 3] - [0, 0, 0, 1]).max(axis=-1)
        if off.max() > ROW_OFF:
            worst = np.argmax(off)
            raise ValueError(
                f"{places[worst]}: the last row of `matrix` must be 0 0 0 1; got"
                f" {matrices[worst, 3]}. glTF writes matrices column by column."
            )
        linear = matrices[:, :3, :3]
        scale = np.linalg.norm(linear, axis=1)
        left, _, right = np.linalg.svd(linear / np.where(scale > 0, scale, 1.0)[:, None])
        turn = left @ right
        mirror = np.where(np.linalg.det(turn) < 0, -1.0, 1.0)
        turn[:, :, 0] *= mirror[:, None]
        scale[:, 0] *= mirror
        shear = np.abs(turn * scale[:, None] - linear).max(axis=(1, 2)) > SHEAR * np.abs(scale).max(
            axis=1
        )
        if shear.any():
            self.note(
                "A node's matrix has shear, which the standard does not allow; the nearest without"
                " is read.",
                int(shear.sum()),
            )
        return matrices[:, :3, 3], rotation.quaternion_from_matrix(turn), scale

    def _node(
        self,
        entry: Entry,
        at: str,
        parent: int | None,
        stand: dict[str, Floats],
        meshes: dict[int, int],
    ) -> Node:
        """A node; `meshes` says where each mesh of the file that is kept is in the asset."""
        if "camera" in entry or "weights" in entry:
            self.note("A node's camera or morph weights are not read.")
        given, skin = (
            self._reference(entry, "mesh", "meshes", at),
            self._reference(entry, "skin", "skins", at),
        )
        mesh = None if given is None else meshes.get(given)
        packed = self.packed.get(("meshes", given)) or self.packed.get(("skins", skin))
        if packed and skin is not None:
            self.compressed["skin"], skin = packed, None
        if mesh is None and skin is not None:
            self.note("A node's skin has no triangles to move; it is not read as that node's.")
            skin = None
        with _at(at):
            return Node(text(entry, "name", at), parent, **stand, mesh=mesh, skin=skin)

    def _reference(self, entry: Entry, field: str, to: str, at: str) -> int | None:
        """The place in the list `to` that a field names; None where it is left out."""
        number = entry.get(field)
        return None if number is None else place(self.json, to, number, f"{at}.{field}")

    # Skins

    def _skin(self, number: int, entry: Entry, at: str) -> Skin:
        joints = [
            place(self.json, "nodes", joint, f"{at}.joints") for joint in items(entry, "joints", at)
        ]
        root = self._reference(entry, "skeleton", "nodes", at)
        try:
            bind = self._inverse_bind(entry, len(joints), at)
        except CompressedError as problem:
            self._leave("skins", number, problem.method)
            bind = None
        with _at(at):
            return Skin(text(entry, "name", at), np.array(joints, dtype=np.int64), bind, root)

    def _inverse_bind(self, entry: Entry, joints: int, at: str) -> Floats | None:
        if entry.get("inverseBindMatrices") is None:
            return None
        columns = self.accessors.floats(
            entry["inverseBindMatrices"], f"{at}.inverseBindMatrices", 16
        )
        if len(columns) < joints:
            raise ValueError(
                f"{at}: must have an inverse bind matrix for each of its {joints} joints; "
                f"got {len(columns)}."
            )
        return np.swapaxes(columns.reshape(-1, 4, 4), 1, 2)[:joints]

    # Meshes

    def _mesh(self, entry: Entry, at: str) -> Mesh | None:
        """A mesh, or None if it has no triangles."""
        name = text(entry, "name", at)
        parts: dict[tuple[tuple[str, object], ...], list[Mesh]] = {}
        if "weights" in entry:
            self.note("A mesh's morph weights are not read.")
        for primitive, where in self._each(entry, "primitives", at):
            if targets := items(primitive, "targets", where):
                self.note("Morph targets are not read.", len(targets))
            attributes = fields(primitive, "attributes", where)
            mode = choice(primitive, "mode", where, range(7), default=TRIANGLES)
            if mode < TRIANGLES or "POSITION" not in attributes:
                self.note("Points and lines of a mesh, and parts without positions, are not read.")
                continue
            part = self._part(primitive, attributes, mode, where)
            vertices = tuple(
                sorted((key, value) for key, value in attributes.items() if _READ.fullmatch(key))
            )
            parts.setdefault(vertices, []).append(part)
        if not parts:
            self.note("A mesh without triangles is not read.")
            return None
        if sum(map(len, parts.values())) > 1:
            self.note("A mesh is made of several parts; they are read as one.")
        joined = [
            part[0] if len(part) == 1 else self._merge_sharing(part) for part in parts.values()
        ]
        return replace(joined[0] if len(joined) == 1 else self._merge(joined, at), name=name)

    def _refuse_draco(self, primitive: Entry, attributes: Entry, at: str) -> None:
        """Refuse a part whose plain numbers were left out, as they are in the compressed data."""
        if DRACO not in fields(primitive, "extensions", at):
            return
        used = [number for key, number in attributes.items() if _READ.fullmatch(key)]
        used += [primitive["indices"]] if primitive.get("indices") is not None else []
        for number in used:
            accessor = item(self.json, "accessors", number, at)
            if accessor.get("bufferView") is None and "sparse" not in accessor:
                raise CompressedError("Draco")

    def _part(self, primitive: Entry, attributes: Entry, mode: int, at: str) -> Mesh:
        self._refuse_draco(primitive, attributes, at)
        for key in attributes:
            if not _READ.fullmatch(key):
                self.note(f"The vertex attribute {short(key)} is not read.")
        positions = self.accessors.floats(attributes["POSITION"], f"{at}.attributes.POSITION", 3)
        normals = None
        if "NORMAL" in attributes:
            normals = self.accessors.floats(attributes["NORMAL"], f"{at}.attributes.NORMAL", 3)
        joints, weights = self._influences(attributes, len(positions), at)
        indices = primitive.get("indices")
        corners: Ints
        if indices is None:
            self.file.spend(8 * len(positions), at)
            corners = np.arange(len(positions))
        else:
            corners = self.accessors.unsigned(indices, f"{at}.indices", 1)[:, 0]
        triangles = self._triangles(corners, mode, at)
        with _at(at):
            return Mesh("", positions, triangles, joints, weights, normals)

    def _influences(
        self, attributes: Entry, count: int, at: str
    ) -> tuple[Ints | None, Floats | None]:
        """Joints and weights of `count` vertices, sets of four side by side, or None twice."""
        sets = (sum(key.startswith(("JOINTS_", "WEIGHTS_")) for key in attributes) + 1) // 2
        joints, weights = [], []
        for n in range(sets):
            for key in (f"JOINTS_{n}", f"WEIGHTS_{n}"):
                if key not in attributes:
                    raise ValueError(
                        f"{at}: joints and weights must come together and be numbered from 0; "
                        f"got no {key}."
                    )
            joints.append(
                self.accessors.unsigned(attributes[f"JOINTS_{n}"], f"{at}.attributes.JOINTS_{n}", 4)
            )
            weights.append(
                self.accessors.floats(attributes[f"WEIGHTS_{n}"], f"{at}.attributes.WEIGHTS_{n}", 4)
            )
        if {len(array) for array in (*joints, *weights)} - {count}:
            raise ValueError(
                f"{at}: every attribute must have as many elements as POSITION, {count}."
            )
        if not sets:
            return None, None
        if sets == 1:
            return joints[0], weights[0]
        self.file.spend(16 * count * 4 * sets, at)
        return np.concatenate(joints, axis=1), np.concatenate(weights, axis=1)

    def _triangles(self, corners: Ints, mode: int, at: str) -> Ints:
        if len(corners) < 3 or (mode == TRIANGLES and len(corners) % 3):
            raise ValueError(
                f"{at}: its triangles must have three corners each; got {len(corners)} corners."
            )
        if mode == TRIANGLES:
            return corners.reshape(-1, 3)
        self.file.spend(24 * len(corners), at)
        after, last = corners[1:-1], corners[2:]
        if mode == FAN:
            return np.stack([after, last, np.broadcast_to(corners[0], after.shape)], axis=-1)
        odd = np.arange(len(after)) % 2 == 1
        return np.stack(
            [corners[:-2], np.where(odd, last, after), np.where(odd, after, last)], axis=-1
        )

    def _merge_sharing(self, parts: list[Mesh]) -> Mesh:
        """Parts with the same vertices as one."""
        self.file.spend(sum(part.triangles.nbytes for part in parts), "meshes")
        return replace(parts[0], triangles=np.concatenate([part.triangles for part in parts]))

    def _merge(self, parts: list[Mesh], at: str) -> Mesh:
        """Parts with vertices of their own as one."""
        widest = max(0 if part.weights is None else part.weights.shape[1] for part in parts)
        count = sum(len(part.positions) for part in parts)
        self.file.spend(
            (48 + 16 * widest) * count + sum(part.triangles.nbytes for part in parts), at
        )
        starts = np.cumsum([0] + [len(part.positions) for part in parts[:-1]])
        normals = [part.normals for part in parts if part.normals is not None]
        if 0 < len(normals) < len(parts):
            self.note("Normals that only some parts of a mesh have are not read.")
        return Mesh(
            "",
            np.concatenate([part.positions for part in parts]),
            np.concatenate(
                [part.triangles + start for part, start in zip(parts, starts, strict=True)]
            ),
            np.concatenate([_pad_columns(part.joints, part, widest) for part in parts])
            if widest
            else None,
            np.concatenate([_pad_columns(part.weights, part, widest) for part in parts])
            if widest
            else None,
            np.concatenate(normals) if len(normals) == len(parts) else None,
        )

    # Animations

    def _animation(self, entry: Entry, at: str) -> Animation | None:
        """An animation, or None if it moves no node."""
        channels = []
        for channel, where in self._each(entry, "channels", at):
            target = fields(channel, "target", where)
            path = text(target, "path", f"{where}.target")
            node = self._reference(target, "node", "nodes", f"{where}.target")
            if node is None or path not in PATHS:
                self.note(f"An animation of {short(path)}, or of no node, is not read.")
                continue
            i = place(entry, "samplers", channel.get("sampler"), f"{where}.sampler")
            channels.append(
                self._channel(item(entry, "samplers", i, at), f"{at}.samplers[{i}]", node, path)
            )
        if not channels:
            self.note("An animation that moves no node is not read.")
            return None
        with _at(at):
            return Animation(text(entry, "name", at), tuple(channels))

    def _channel(self, sampler: Entry, at: str, node: int, path: str) -> Channel:
        kind = choice(sampler, "interpolation", at, INTERPOLATIONS, default="LINEAR")
        times = self.accessors.floats(sampler.get("input"), f"{at}.input", 1)[:, 0]
        values = self.accessors.floats(sampler.get("output"), f"{at}.output", PATHS[path])
        each = 3 if kind == "CUBICSPLINE" else 1
        if len(values) != each * len(times):
            raise ValueError(
                f"{at}: must have {each} output{'s' * (each > 1)} for each of its {len(times)}"
                f" times; got {len(values)}."
            )
        with _at(at):
            return Channel(
                node, path, times, values.reshape(len(times), 3, -1) if each > 1 else values, kind
            )


@contextmanager
def _at(place: str) -> Iterator[None]:
    """Say in a refusal which part of the file it is about."""
    try:
        yield
    except ValueError as problem:
        raise ValueError(f"{place}: {problem}") from None


def _pad_columns(array: np.ndarray | None, part: Mesh, width: int) -> np.ndarray:
    """The joints or weights of a part with as many columns as the widest part has."""
    if array is None:
        return np.zeros((len(part.positions), width), np.int64)
    return np.pad(array, ((0, 0), (0, width - array.shape[1])))
