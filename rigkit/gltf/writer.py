"""An `Asset` to bytes, and to a file."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

import rigkit
from rigkit import _check, _files
from rigkit._types import Floats
from rigkit.gltf import container
from rigkit.gltf.asset import AT_REST, PATHS, UNIT, Animation, Asset, Mesh, Skin
from rigkit.gltf.fields import LARGEST_FLOAT, Entry

VERTICES, INDICES = 34962, 34963  # what a stretch of the buffer is for
_COMPONENTS = {"u1": 5121, "u2": 5123, "u4": 5125, "f4": 5126}
_TYPES = {1: "SCALAR", 3: "VEC3", 4: "VEC4", 16: "MAT4"}
# Weights that add up to one within the first are scaled so that in 32-bit numbers they do within
# the second, for each weight above zero; the standard's own validator allows twice that.
_SUM_OFF, _ROUNDING = 1e-3, 1e-7
_Named = TypeVar("_Named", Skin, Mesh, Animation)


def write(
    asset: Asset, path: str | os.PathLike[str], replace: bool = False, as_is: bool = False
) -> None:
    """Write an asset as a .glb file, or as a .gltf file that holds its data in itself.

    Numbers are kept in 32 bits, as the standard has it; node transforms in full. The file is
    written whole or not at all. Of `Asset.notes` nothing is written.

    Parameters
    ----------
    asset : Asset
    path : str or Path
        Ends in .glb or .gltf.
    replace : bool
        True to write over a file that is there.
    as_is : bool
        True to write weights, inverse bind matrices and normals that the standard forbids all the
        same, to show what is wrong with such a file.

    Raises
    ------
    ValueError
        For a file that is there, a folder that cannot be written to, or an asset that would break
        the standard: weights that do not add up to one, a joint twice at a vertex.

    Examples
    --------
    >>> from pathlib import Path
    >>> from tempfile import TemporaryDirectory
    >>> from rigkit import gltf
    >>> hip = gltf.Node("hip", translation=(0.1, 0.9, 0.0))
    >>> knee = gltf.Node("knee", parent=0, translation=(0.0, -0.43, 0.0))
    >>> with TemporaryDirectory() as folder:
    ...     gltf.write(gltf.Asset([hip, knee]), Path(folder, "leg.gltf"))
    ...     gltf.read(Path(folder, "leg.gltf")).rest_world()[1, :3, 3].round(2).tolist()
    [0.1, 0.47, 0.0]
    """
    if not isinstance(asset, Asset):
        raise ValueError(
            f"`asset` must be an Asset; got {_check.short(asset)}. `export.puppet_asset` makes one."
        )
    file = Path(path)
    kind = _check.choice("path", file.suffix.lower(), (".glb", ".gltf"))
    if file.exists() and not replace:
        raise _taken(file)
    document, binary = _Writer(asset, as_is).document()
    try:
        _files.write_whole(file, container.pack(document, binary, kind == ".gltf"), replace)
    except FileExistsError:
        raise _taken(file) from None
    except OSError as problem:
        raise ValueError(
            f"`path` must be a place to write to; got {str(file)!r} ({problem.strerror})."
        ) from None


def _taken(path: Path) -> ValueError:
    return ValueError(
        f"`path` must be a new file; got {str(path)!r}, which is there. To write over it "
        "say replace=True (--replace on the command line)."
    )


class _Writer:
    def __init__(self, asset: Asset, as_is: bool) -> None:
        self.asset, self.as_is = asset, as_is
        self.binary = bytearray()
        self.views: list[Entry] = []
        self.accessors: list[Entry] = []
        self.known: dict[tuple[object, ...], int] = {}

    def document(self) -> tuple[Entry, bytearray]:
        """The JSON, but for its buffer, and the buffer's bytes."""
        asset = self.asset
        about: Entry = {
            "version": "2.0",
            "generator": f"rigkit {rigkit.__version__}",
            "copyright": asset.copyright,
            "extras": asset.extras,
        }
        parts = {
            "scenes": (
                [{"nodes": np.flatnonzero(asset.parents < 0).tolist()}] if asset.nodes else []
            ),
            "nodes": [self._node(i) for i in range(len(asset.nodes))],
            "skins": self._each("skins", asset.skins, self._skin),
            "meshes": self._each("meshes", asset.meshes, self._mesh),
            "animations": self._each("animations", asset.animations, self._animation),
            "accessors": self.accessors,
            "bufferViews": self.views,
        }
        document = {
            "asset": _drop_empty(about),
            **({"scene": 0} if asset.nodes else {}),
            **_drop_empty(parts),
        }
        return document, self.binary

    def _each(
        self, field: str, things: Iterable[_Named], encode: Callable[[_Named], Entry]
    ) -> list[Entry]:
        entries = []
        for i, thing in enumerate(things):
            try:
                entries.append(_drop_empty({"name": thing.name}) | encode(thing))
            except ValueError as problem:
                raise ValueError(f"{field}[{i}]: {problem}") from None
        return entries

    def _node(self, place: int) -> Entry:
        node = self.asset.nodes[place]
        entry = _drop_empty({"name": node.name, "children": list(self.asset.children[place])})
        for path in PATHS:
            value = getattr(node, path)
            if not np.array_equal(value, AT_REST[path]):
                entry[path] = value.tolist()
        references = {"mesh": node.mesh, "skin": node.skin}
        return entry | {
            field: int(value) for field, value in references.items() if value is not None
        }

    def _skin(self, skin: Skin) -> Entry:
        bind = skin.inverse_bind
        if not self.as_is:
            last = np.abs(bind[:, 3] - [0, 0, 0, 1]).max(axis=-1)
            if last.max() > UNIT:
                raise ValueError(
                    "`inverse_bind` must have the last row 0 0 0 1; "
                    f"got {bind[np.argmax(last), 3]} for joint {np.argmax(last)}."
                )
            bind = np.array(bind)
            bind[:, 3] = [0, 0, 0, 1]
        columns = np.swapaxes(bind, 1, 2).reshape(-1, 16)
        entry: Entry = {
            "joints": skin.joints.tolist(),
            "inverseBindMatrices": self._add("inverse_bind", columns),
        }
        return entry if skin.root is None else entry | {"skeleton": int(skin.root)}

    def _mesh(self, mesh: Mesh) -> Entry:
        attributes = {"POSITION": self._add("positions", mesh.positions, VERTICES, bounds=True)}
        if mesh.normals is not None:
            attributes["NORMAL"] = self._add("normals", self._normals(mesh.normals), VERTICES)
        if mesh.weights is not None and mesh.joints is not None:
            weights = self._weights(mesh.joints, mesh.weights)
            joints = np.where(weights > 0, mesh.joints, 0) if not self.as_is else mesh.joints
            kind = "u1" if joints.max() < 256 else "u2"
            for n in range(weights.shape[1] // 4):
                four = slice(4 * n, 4 * n + 4)
                attributes[f"JOINTS_{n}"] = self._add("joints", joints[:, four], VERTICES, kind)
                attributes[f"WEIGHTS_{n}"] = self._add("weights", weights[:, four], VERTICES)
        kind = "u2" if len(mesh.positions) < 2**16 else "u4"
        return {
            "primitives": [
                {
                    "attributes": attributes,
                    "indices": self._add("triangles", mesh.triangles.reshape(-1, 1), INDICES, kind),
                }
            ]
        }

    def _normals(self, normals: Floats) -> Floats:
        lengths = np.linalg.norm(normals, axis=-1, keepdims=True)
        if self.as_is or (np.abs(lengths - 1) < UNIT).all():
            return normals
        if not lengths.all():
            raise ValueError(
                f"`normals` must have a direction; got 0 at vertex {np.argmin(lengths)}. "
                "Leave them out if there are none."
            )
        return normals / lengths

    def _weights(self, joints: NDArray[np.integer], weights: Floats) -> Floats:
        """Weights that add up to one in 32-bit numbers, if they did in the first place."""
        if self.as_is:
            return weights
        sums = weights.sum(axis=-1)
        off = np.abs(sums - 1)
        if weights.min() < 0 or off.max() > _SUM_OFF:
            vertex = np.argmax(np.where((weights < 0).any(axis=-1), np.inf, off))
            raise ValueError(
                "`weights` must be zero or more and add up to one at every vertex; "
                f"got {weights[vertex]} at vertex {vertex}."
            )
        numbered = np.where(weights > 0, joints, -1 - np.arange(weights.shape[1]))
        in_order = np.sort(numbered, axis=-1)
        twice = (np.diff(in_order, axis=-1) == 0).any(axis=-1)
        if twice.any():
            raise ValueError(
                "`joints` must be different where they have weight; "
                f"got {joints[np.argmax(twice)]} at vertex {np.argmax(twice)}."
            )
        rounded = weights.astype(np.float32).astype(np.float64)
        loose = np.abs(rounded.sum(axis=-1) - 1) > _ROUNDING * (rounded > 0).sum(axis=-1)
        rounded[loose] = (weights[loose] / sums[loose, None]).astype(np.float32)
        return rounded

    def _animation(self, animation: Animation) -> Entry:
        samplers: list[Entry] = []
        channels: list[Entry] = []
        for channel in animation.channels:
            times = channel.times.astype(np.float32)
            if not (np.diff(times) > 0).all():
                raise ValueError(
                    "`times` must increase by more than 32-bit numbers can tell apart; got steps"
                    f" of {np.diff(channel.times).min():g} s."
                )
            values = channel.unit_values() if channel.path == "rotation" else channel.values
            sampler: Entry = {
                "input": self._add("times", times[:, None], bounds=True),
                "interpolation": channel.interpolation,
                "output": self._add("values", values.reshape(-1, PATHS[channel.path])),
            }
            if sampler not in samplers:
                samplers.append(sampler)
            channels.append(
                {
                    "sampler": samplers.index(sampler),
                    "target": {"node": int(channel.node), "path": channel.path},
                }
            )
        return {"channels": channels, "samplers": samplers}

    def _add(
        self,
        name: str,
        array: NDArray[Any],
        target: int | None = None,
        kind: str = "f4",
        bounds: bool = False,
    ) -> int:
        """The place of an array's accessor, shape (count, size), put into the buffer once."""
        if not np.abs(array).max() <= LARGEST_FLOAT:
            raise ValueError(f"`{name}` must be numbers of 32 bits; got {np.abs(array).max():g}.")
        array = np.ascontiguousarray(array, dtype=f"<{kind}")
        data = array.tobytes()
        key = data, kind, array.shape[1], target, bounds
        if key not in self.known:
            self.known[key] = len(self.accessors)
            self.binary += b"\0" * (-len(self.binary) % 4)
            view: Entry = {"buffer": 0, "byteOffset": len(self.binary), "byteLength": len(data)}
            self.binary += data
            limits = (
                {"min": array.min(axis=0).tolist(), "max": array.max(axis=0).tolist()}
                if bounds
                else {}
            )
            self.accessors.append(
                {
                    "bufferView": len(self.views),
                    "componentType": _COMPONENTS[kind],
                    "count": len(array),
                    "type": _TYPES[array.shape[1]],
                    **limits,
                }
            )
            self.views.append(view | ({} if target is None else {"target": target}))
        return self.known[key]


def _drop_empty(entries: Entry) -> Entry:
    return {key: value for key, value in entries.items() if value}
