"""A glTF file's JSON and buffers to an `Asset`."""

import os
import re
from contextlib import contextmanager
from dataclasses import replace

import numpy as np

from rigkit import rotation
from rigkit.gltf import container
from rigkit.gltf.accessors import Accessors
from rigkit.gltf.asset import INTERPOLATIONS, PATHS, Animation, Asset, Channel, Mesh, Node, Skin
from rigkit.gltf.fields import choice, fields, is_whole, item, items, numbers, short, text

UNDERSTOOD = ("KHR_mesh_quantization",)  # positions and normals in small whole numbers
LOOKS = ("KHR_materials_", "KHR_texture_", "EXT_texture_")  # may be required: what they say is not read anyway
NOT_READ = ("cameras", "images", "materials", "textures")
TRIANGLES, FAN = 4, 6  # between them: strips
_READ = re.compile(r"POSITION|NORMAL|(JOINTS|WEIGHTS)_\d+", re.ASCII)
MOST_NOTES, OBJECT = 50, 600  # the latter: about what one object of the file becomes here, in bytes
# How far something may be off before it is refused, or worth a note: a rotation's length, a matrix' last row, and
# its columns' being square, as a share of the largest scale.
ROTATION_OFF, ROW_OFF, SHEAR = 1e-3, 1e-6, 1e-5


def read(source, folder=None):
    """What a .glb or .gltf file says of a rig.

    Read are the tree of nodes, skins, triangles with weights and normals, and animations of nodes. All else is named
    in `Asset.notes`.

    Parameters
    ----------
    source : str, Path or bytes
        A file, or what stands in one.
    folder : str or Path, optional
        Where buffers in files of their own are looked for, and below; for a file by default its own folder, for
        bytes none.

    Returns
    -------
    Asset

    Raises
    ------
    ValueError
        If the file cannot be read, breaks the standard where a rig would depend on it, leads out of its folder, needs
        an extension that is not known, or asks for memory out of proportion to its size. It names the place.
    """
    name = short(os.path.basename(source)) if isinstance(source, str | os.PathLike) else "what was given"
    try:
        return _Reader(container.load(source, folder)).asset()
    except ValueError as problem:
        raise ValueError(f"Cannot read {name}: {problem}") from None


class _Reader:
    def __init__(self, file):
        self.file, self.json, self.accessors = file, file.json, Accessors(file)
        self.counts = dict.fromkeys(file.notes, 1)

    def asset(self):
        about = fields(self.json, "asset", "JSON")
        self._check_version(about)
        self._check_extensions()
        for kind in NOT_READ:
            if items(self.json, kind, "JSON"):
                self.note(f"{kind.capitalize()} are not read.", len(self.json[kind]))
        parents = self._parents()
        self._scenes(parents)
        meshes = [self._mesh(entry, place) for entry, place in self._each(self.json, "meshes")]
        kept = [i for i, mesh in enumerate(meshes) if mesh is not None]
        places = {i: place for place, i in enumerate(kept)}
        entries = list(self._each(self.json, "nodes"))
        stands = self._stands(entries)
        nodes = [self._node(*entry, parent, stand, places)
                 for entry, parent, stand in zip(entries, parents, stands, strict=True)]
        skins = [self._skin(entry, place) for entry, place in self._each(self.json, "skins")]
        animations = [self._animation(entry, place) for entry, place in self._each(self.json, "animations")]
        return Asset(tuple(nodes), tuple(skins), tuple(meshes[i] for i in kept),
                     tuple(animation for animation in animations if animation is not None),
                     text(about, "copyright", "asset"), self._notes())

    def note(self, sentence, count=1):
        if len(self.counts) >= MOST_NOTES and sentence not in self.counts:
            sentence, count = "More is not read than is listed here.", 0
        self.counts[sentence] = self.counts.get(sentence, 0) + count

    def _notes(self):
        return tuple(note if count < 2 else f"{note[:-1]} ({count} times)." for note, count in self.counts.items())

    def _each(self, entry, field, where="JSON"):
        """Each object of a list, and its place."""
        for i, each in enumerate(items(entry, field, where)):
            place = f"{field}[{i}]" if where == "JSON" else f"{where}.{field}[{i}]"
            if not isinstance(each, dict):
                raise ValueError(f"{place}: must be an object; got {short(each)}.")
            self.file.spend(OBJECT, place)
            if "extras" in each:
                self.note("What programs keep for themselves (extras) is not read.")
            yield each, place

    def _check_version(self, about):
        version = text(about, "version", "asset")
        least = text(about, "minVersion", "asset") or "2.0"
        if not re.fullmatch(r"2\.\d{1,9}", version, re.ASCII) or least != "2.0":
            raise ValueError(f"asset: `version` must be 2.0; got {short(version if least == '2.0' else least)}. "
                             "Save the file as glTF 2.0.")

    def _check_extensions(self):
        used, required = items(self.json, "extensionsUsed", "JSON"), items(self.json, "extensionsRequired", "JSON")
        for name in required:
            if not isinstance(name, str) or not (name in UNDERSTOOD or name.startswith(LOOKS)):
                raise ValueError(f"extensionsRequired: the file cannot be understood without {short(name)}, which is "
                                 "not known here. Save it without that extension.")
        for name in used:
            if name not in UNDERSTOOD:
                self.note(f"The extension {short(name)} is not read.")

    # Nodes

    def _parents(self):
        parents = [None] * len(items(self.json, "nodes", "JSON"))
        for i in range(len(parents)):
            place = f"nodes[{i}]"
            for child in items(item(self.json, "nodes", i, "nodes"), "children", place):
                item(self.json, "nodes", child, f"{place}.children")
                if parents[child] is not None:
                    raise ValueError(f"nodes[{child}]: must have one parent; got nodes[{parents[child]}] and {place}.")
                parents[child] = i
        return parents

    def _scenes(self, parents):
        scenes = [entry for entry, _ in self._each(self.json, "scenes")]
        if len(scenes) > 1:
            self.note("The file has several scenes; their nodes are read together.")
        shown = {node for scene in scenes for node in items(scene, "nodes", "scenes") if is_whole(node)}
        hidden = [i for i, parent in enumerate(parents) if parent is None and i not in shown]
        if scenes and hidden:
            self.note("A root node is in no scene; it is read all the same.", len(hidden))

    def _stands(self, entries):
        """How each node stands in its parent: a mapping with its translation, rotation and scale, as far as given."""
        stands, matrices = [], {}
        for entry, place in entries:
            parts = {path: numbers(entry, path, place, size) for path, size in PATHS.items()}
            stand = {path: value for path, value in parts.items() if value is not None}
            matrix = numbers(entry, "matrix", place, 16)
            if matrix is not None and stand:
                raise ValueError(f"{place}: must have `matrix` or `{next(iter(stand))}`, not both.")
            if matrix is not None:
                matrices[len(stands)] = matrix.reshape(4, 4).T
            elif "rotation" in stand and abs(np.linalg.norm(stand["rotation"]) - 1) > ROTATION_OFF:
                self.note("A node's rotation is not of length one; it is read as if it were.")
            stands.append(stand)
        if matrices:
            parts = self._taken_apart(np.stack(list(matrices.values())), [f"nodes[{i}]" for i in matrices])
            for i, *part in zip(matrices, *parts, strict=True):
                stands[i] = dict(zip(PATHS, part, strict=True))
        return stands

    def _taken_apart(self, matrices, places):
        """Translations, rotations and scales of matrices, shape (m, 4, 4); a mirrored one has a negative x scale."""
        off = np.abs(matrices[:, 3] - [0, 0, 0, 1]).max(axis=-1)
        if off.max() > ROW_OFF:
            worst = np.argmax(off)
            raise ValueError(f"{places[worst]}: the last row of `matrix` must be 0 0 0 1; got {matrices[worst, 3]}. "
                             "glTF writes matrices column by column.")
        linear = matrices[:, :3, :3]
        scale = np.linalg.norm(linear, axis=1)
        left, _, right = np.linalg.svd(linear / np.where(scale > 0, scale, 1.0)[:, None])
        turn = left @ right
        mirror = np.where(np.linalg.det(turn) < 0, -1.0, 1.0)
        turn[:, :, 0] *= mirror[:, None]
        scale[:, 0] *= mirror
        shear = np.abs(turn * scale[:, None] - linear).max(axis=(1, 2)) > SHEAR * np.abs(scale).max(axis=1)
        if shear.any():
            self.note("A node's matrix has shear, which the standard does not allow; the nearest without is read.",
                      int(shear.sum()))
        return matrices[:, :3, 3], rotation.quaternion_from_matrix(turn), scale

    def _node(self, entry, place, parent, stand, meshes):
        if "camera" in entry or "weights" in entry:
            self.note("A node's camera or morph weights are not read.")
        mesh, skin = (entry.get(name) for name in ("mesh", "skin"))
        if mesh is not None:
            item(self.json, "meshes", mesh, f"{place}.mesh")
            mesh = meshes.get(mesh)
        if skin is not None:
            item(self.json, "skins", skin, f"{place}.skin")
            if mesh is None:
                self.note("A node's skin has no triangles to move; it is not read as that node's.")
                skin = None
        with _at(place):
            return Node(text(entry, "name", place), parent, **stand, mesh=mesh, skin=skin)

    # Skins

    def _skin(self, entry, place):
        joints = items(entry, "joints", place)
        for joint in joints:
            item(self.json, "nodes", joint, f"{place}.joints")
        root = entry.get("skeleton")
        if root is not None:
            item(self.json, "nodes", root, f"{place}.skeleton")
        bind = None
        if entry.get("inverseBindMatrices") is not None:
            bind = self.accessors.read(entry["inverseBindMatrices"], f"{place}.inverseBindMatrices", 16)
            if len(bind) < len(joints):
                raise ValueError(f"{place}: must have an inverse bind matrix for each of its {len(joints)} joints; "
                                 f"got {len(bind)}.")
            bind = np.swapaxes(bind.reshape(-1, 4, 4), 1, 2)[:len(joints)]
        with _at(place):
            return Skin(text(entry, "name", place), np.array(joints, dtype=np.int64), bind, root)

    # Meshes

    def _mesh(self, entry, place):
        """A mesh, or None if it has no triangles."""
        name, parts = text(entry, "name", place), {}
        if "weights" in entry:
            self.note("A mesh's morph weights are not read.")
        for primitive, at in self._each(entry, "primitives", place):
            if items(primitive, "targets", at):
                self.note("Morph targets are not read.", len(primitive["targets"]))
            attributes = fields(primitive, "attributes", at)
            mode = choice(primitive, "mode", at, range(7), default=TRIANGLES)
            if mode < TRIANGLES or "POSITION" not in attributes:
                self.note("Points and lines of a mesh, and parts without positions, are not read.")
                continue
            part = self._part(primitive, attributes, mode, at)
            vertices = tuple(sorted((key, value) for key, value in attributes.items() if _READ.fullmatch(key)))
            parts.setdefault(vertices, []).append(part)
        if not parts:
            self.note("A mesh without triangles is not read.")
            return None
        if sum(map(len, parts.values())) > 1:
            self.note("A mesh is made of several parts; they are read as one.")
        joined = [part[0] if len(part) == 1 else self._sharing(part) for part in parts.values()]
        return replace(joined[0] if len(joined) == 1 else self._joined(joined, place), name=name)

    def _part(self, primitive, attributes, mode, place):
        others = [key for key in attributes if not _READ.fullmatch(key)]
        for key in others:
            self.note(f"The vertex attribute {short(key)} is not read.")
        positions = self._attribute(attributes, "POSITION", place, 3)
        normals = self._attribute(attributes, "NORMAL", place, 3) if "NORMAL" in attributes else None
        sets = sum(key.startswith(("JOINTS_", "WEIGHTS_")) for key in attributes)
        joints, weights = (
            [self._attribute(attributes, f"{kind}_{n}", place, 4, kind == "JOINTS") for n in range((sets + 1) // 2)]
            for kind in ("JOINTS", "WEIGHTS"))
        if len({len(array) for array in (positions, *joints, *weights)}) > 1:
            raise ValueError(f"{place}: every attribute must have as many elements as POSITION, {len(positions)}.")
        if len(joints) > 1:
            self.file.spend(16 * len(positions) * 4 * len(joints), place)
        indices = primitive.get("indices")
        if indices is None:
            self.file.spend(8 * len(positions), place)
            corners = np.arange(len(positions))
        else:
            corners = self.accessors.read(indices, f"{place}.indices", 1, whole=True)[:, 0]
        triangles = self._triangles(corners, mode, place)
        with _at(place):
            return Mesh("", positions, triangles,
                        *(np.concatenate(s, axis=1) if len(s) > 1 else s[0] if s else None for s in (joints, weights)),
                        normals)

    def _attribute(self, attributes, key, place, size, whole=False):
        if key not in attributes:
            raise ValueError(f"{place}: joints and weights must come together and be numbered from 0; "
                             f"got no {key}.")
        return self.accessors.read(attributes[key], f"{place}.attributes.{key}", size, whole)

    def _triangles(self, corners, mode, place):
        if len(corners) < 3 or (mode == TRIANGLES and len(corners) % 3):
            raise ValueError(f"{place}: its triangles must have three corners each; got {len(corners)} corners.")
        if mode == TRIANGLES:
            return corners.reshape(-1, 3)
        self.file.spend(24 * len(corners), place)
        after, last = corners[1:-1], corners[2:]
        if mode == FAN:
            return np.stack([after, last, np.broadcast_to(corners[0], after.shape)], axis=-1)
        odd = np.arange(len(after)) % 2 == 1
        return np.stack([corners[:-2], np.where(odd, last, after), np.where(odd, after, last)], axis=-1)

    def _sharing(self, parts):
        """Parts with the same vertices as one."""
        self.file.spend(sum(part.triangles.nbytes for part in parts), "meshes")
        return replace(parts[0], triangles=np.concatenate([part.triangles for part in parts]))

    def _joined(self, parts, place):
        """Parts with vertices of their own as one."""
        widest = max(0 if part.weights is None else part.weights.shape[1] for part in parts)
        count = sum(len(part.positions) for part in parts)
        self.file.spend((48 + 16 * widest) * count + sum(part.triangles.nbytes for part in parts), place)
        starts = np.cumsum([0] + [len(part.positions) for part in parts[:-1]])
        whole = [all(part.normals is not None for part in parts), widest > 0]
        if not whole[0] and any(part.normals is not None for part in parts):
            self.note("Normals that only some parts of a mesh have are not read.")
        return Mesh("", np.concatenate([part.positions for part in parts]),
                    np.concatenate([part.triangles + start for part, start in zip(parts, starts, strict=True)]),
                    *(np.concatenate([_widened(part, field, widest) for part in parts]) if whole[1] else None
                      for field in ("joints", "weights")),
                    np.concatenate([part.normals for part in parts]) if whole[0] else None)

    # Animations

    def _animation(self, entry, place):
        """An animation, or None if it moves no node."""
        channels = []
        for channel, at in self._each(entry, "channels", place):
            target = fields(channel, "target", at)
            path = text(target, "path", f"{at}.target")
            if target.get("node") is None or path not in PATHS:
                self.note(f"An animation of {short(path)}, or of no node, is not read.")
                continue
            item(self.json, "nodes", target["node"], f"{at}.target.node")
            channels.append(self._channel(item(entry, "samplers", channel.get("sampler"), f"{at}.sampler"),
                                          f"{place}.samplers[{channel['sampler']}]", target["node"], path))
        if not channels:
            self.note("An animation that moves no node is not read.")
            return None
        with _at(place):
            return Animation(text(entry, "name", place), tuple(channels))

    def _channel(self, sampler, place, node, path):
        kind = choice(sampler, "interpolation", place, INTERPOLATIONS, default="LINEAR")
        times = self.accessors.read(sampler.get("input"), f"{place}.input", 1)[:, 0]
        values = self.accessors.read(sampler.get("output"), f"{place}.output", PATHS[path])
        each = 3 if kind == "CUBICSPLINE" else 1
        if len(values) != each * len(times):
            raise ValueError(f"{place}: must have {each} output{'s' * (each > 1)} for each of its {len(times)} times; "
                             f"got {len(values)}.")
        with _at(place):
            return Channel(node, path, times, values.reshape(len(times), 3, -1) if each > 1 else values, kind)


@contextmanager
def _at(place):
    """Says where in the file it is that something is refused."""
    try:
        yield
    except ValueError as problem:
        raise ValueError(f"{place}: {problem}") from None


def _widened(part, field, width):
    array = getattr(part, field)
    if array is None:
        return np.zeros((len(part.positions), width), int if field == "joints" else float)
    return np.pad(array, ((0, 0), (0, width - array.shape[1])))
