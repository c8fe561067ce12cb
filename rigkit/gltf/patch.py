"""A glTF file changed in place: what is not changed on purpose stays as it is, byte for byte."""

from __future__ import annotations

import base64
import json
import os
from collections import defaultdict
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigkit import _files
from rigkit._types import Ints
from rigkit.gltf import container
from rigkit.gltf.accessors import MESHOPT, Accessors
from rigkit.gltf.fields import Entry, fields, integer, is_whole, item, items, short, text
from rigkit.gltf.reader import DRACO

_EFFORT: Any = 10_000  # of telling whether two interleaved arrays share a byte
_NEIGHBOURS = 1000  # arrays interleaved with one, at most
PICTURES = {".png": "image/png", ".jpg": "image/jpeg", ".jpeg": "image/jpeg"}


class Patch:
    """A file to be changed; one that `reader.read` has read.

    Parameters
    ----------
    source : str or Path

    Attributes
    ----------
    json : dict
        As it stands in the file, to be changed; but not its buffers, nor the places of things.
    read : dict
        The same with whole numbers as such, to be read.
    roles : dict of int to set of str
        What each accessor is used for: a vertex attribute's name, "rotation LINEAR" and so on.
    notes : list of str
        What could not be taken along when it was saved.
    """

    def __init__(self, source: str | os.PathLike[str]) -> None:
        self._file = container.load(source, None)
        self._file.writable = True
        self.read = self._file.json
        self._text = bytes(self._file.chunks[0][1])
        self.json: dict[str, Any] = json.loads(self._text.decode("utf-8-sig"))
        self._accessors = Accessors(self._file)
        self.notes: list[str] = []
        self.roles: dict[int, set[str]] = defaultdict(set)
        self._views = sorted(_views(self.read))
        for number, role in _roles(self.read):
            self.roles[number].add(role)

    def numbers(self, number: int) -> NDArray[Any]:
        """Return an accessor's numbers, as components of its own type, to be written to.

        Parameters
        ----------
        number : int

        Returns
        -------
        ndarray, shape (count, size)

        Raises
        ------
        ValueError
            If they are compressed, sparse or left out, or something else has the same bytes.
        """
        array = self._accessors.raw(number)
        names, arrays, first, last = self._arrays
        low, high = np.lib.array_utils.byte_bounds(array)
        near = np.flatnonzero((first < high) & (last > low)).tolist()
        if len(near) > _NEIGHBOURS:
            raise ValueError(f"accessors[{number}]: too much else stands between its numbers.")
        for i in near:
            if names[i] != f"accessors[{number}]" and _share(array, arrays[i]):
                raise ValueError(f"accessors[{number}]: {names[i]} has the same bytes.")
        return array

    def accessor(self, number: int) -> Entry:
        """Return an accessor's entry, to be read."""
        return item(self.read, "accessors", number, "a reference")

    def bounds(self, number: int) -> None:
        """Say an accessor's least and largest numbers anew, where it says them."""
        entry, array = self.json["accessors"][number], self._accessors.raw(number)
        for key, least in (("min", array.min(axis=0)), ("max", array.max(axis=0))):
            if key in entry:
                entry[key] = least.tolist()

    def save(self, out: Path) -> None:
        """Write the file as a .glb that needs no other file.

        Parameters
        ----------
        out : Path

        Raises
        ------
        FileExistsError
            There is such a file.
        OSError
            It cannot be written.
        """
        rest = [chunk for chunk in self._file.chunks[1:] if chunk[0] != container.BIN]
        binary = self._binary()
        if binary is None or not self._join_buffers(binary):
            self._embed_buffers()
        self._append_pictures(binary)
        same = self.json == json.loads(self._text.decode("utf-8-sig"))
        text = self._text if same else json.dumps(self.json, separators=(",", ":")).encode("ascii")
        chunks: list[tuple[bytes, bytes | bytearray | memoryview]]
        chunks = [(b"JSON", text), *([] if binary is None else [(container.BIN, binary)]), *rest]
        _files.write_whole(out, container.join(chunks), replace=False)

    @cached_property
    def _arrays(self) -> tuple[list[str], list[NDArray[Any]], Ints, Ints]:
        """All arrays in buffers, each with its name, its first byte and the one after its last."""
        names, arrays = [], []
        sources = [
            ("accessors", i, self._accessors.raw) for i in range(_count(self.read, "accessors"))
        ]
        for kind, i, read in (
            *sources,
            *(("bufferViews", i, self._accessors.view) for i in self._views),
        ):
            try:
                arrays.append(read(i))
            except ValueError:
                continue  # nobody can read it
            names.append(f"{kind}[{i}]")
        ends = [np.lib.array_utils.byte_bounds(array) for array in arrays]
        return names, arrays, *np.array(ends, dtype=np.int64).reshape(-1, 2).T

    @property
    def _chunk(self) -> memoryview | None:
        return next((data for kind, data in self._file.chunks if kind == container.BIN), None)

    def _uri(self, field: str, number: int) -> str:
        at = f"{field}[{number}]"
        return text(item(self.read, field, number, at), "uri", at)

    def _binary(self) -> bytearray | None:
        """The bytes of the first buffer, which a .glb has in itself."""
        chunk, buffers = self._chunk, self.json.get("buffers") or []
        whole = None if chunk is None else bytearray(chunk)
        if not buffers or (chunk is None) != bool(self._uri("buffers", 0)):
            return whole
        data = self._buffer(0)
        if data is None:
            return whole
        if whole is None:
            del buffers[0]["uri"]
            return bytearray(data)
        whole[: len(data)] = data
        return whole

    def _join_buffers(self, binary: bytearray) -> bool:
        """Put further buffers behind the first; False where they must stay apart."""
        buffers = self.json.get("buffers") or []
        views = [
            item(self.read, "bufferViews", i, "a view")
            for i in range(_count(self.read, "bufferViews"))
        ]
        packed = any(fields(view, "extensions", "a view").keys() & set(MESHOPT) for view in views)
        given = [self._buffer(i) for i in range(1, len(buffers))]
        further = [data for data in given if data is not None]
        if packed or len(further) < len(given) or not buffers or "uri" in buffers[0]:
            return False
        starts = [0]
        for data in further:
            binary += b"\0" * (-len(binary) % 4)
            starts.append(len(binary))
            binary += data
        for view, entry in zip(views, self.json.get("bufferViews") or [], strict=True):
            number = integer(view, "buffer", "a view", most=len(buffers) - 1)
            if number:
                start = integer(view, "byteOffset", "a view", default=0)
                entry |= {"buffer": 0, "byteOffset": start + starts[number]}
        if further:
            del buffers[1:]
            buffers[0]["byteLength"] = len(binary)
        return True

    def _embed_buffers(self) -> None:
        """Put buffers in files of their own into the text, but for the first."""
        for i, buffer in enumerate(self.json.get("buffers") or []):
            if self._uri("buffers", i) and (i or self._chunk is not None):
                data = self._buffer(i)
                if data is not None:
                    buffer["uri"] = _embedded(data, "application/octet-stream")

    def _append_pictures(self, binary: bytearray | None) -> None:
        """Put pictures in files of their own at the end of the first buffer."""
        buffers = self.json.get("buffers") or []
        room = bool(buffers) and "uri" not in buffers[0]
        for i, image in enumerate(self.json.get("images") or []):
            uri = self._uri("images", i)
            kind = self._kind_to_append(uri)
            if kind is None:
                continue
            try:
                data = self._file.file(uri, f"images[{i}]")
            except ValueError as problem:
                self.notes.append(f"A picture stays outside the file: {problem}")
                continue
            if binary is None or not room:
                self.notes.append(f"A picture stays outside the file: {short(uri)}.")
                continue
            binary += b"\0" * (-len(binary) % 4)
            view = {"buffer": 0, "byteOffset": len(binary), "byteLength": len(data)}
            binary += data
            buffers[0]["byteLength"] = len(binary)
            self.json.setdefault("bufferViews", []).append(view)
            del image["uri"]
            image |= {"bufferView": len(self.json["bufferViews"]) - 1, "mimeType": kind}

    def _kind_to_append(self, uri: str) -> str | None:
        """The kind of a picture that is to be put into the first buffer, if it is."""
        if uri[:5].lower() != "data:":
            return PICTURES.get(Path(uri).suffix.lower())
        kind = uri[5:].partition(";")[0].lower()
        return kind if self._chunk is None and kind in PICTURES.values() else None

    def _buffer(self, number: int) -> memoryview | None:
        at = f"buffers[{number}]"
        try:
            length = integer(item(self.read, "buffers", number, at), "byteLength", at, least=1)
            return self._file.buffer(number, length, self._uri("buffers", number) or None, at)
        except ValueError as problem:
            self.notes.append(f"Some data stays outside the file: {problem}")
            return None


def _embedded(data: memoryview, kind: str) -> str:
    return f"data:{kind};base64,{base64.b64encode(data).decode('ascii')}"


def _share(one: NDArray[Any], other: NDArray[Any]) -> bool:
    try:
        return np.shares_memory(one, other, max_work=_EFFORT)
    except np.exceptions.TooHardError:
        return True


def _roles(document: Entry) -> Iterator[tuple[int, str]]:
    """Every use of an accessor: those of the standard, and what extensions call attributes."""
    for mesh in _dicts(document, "meshes"):
        for primitive in _dicts(mesh, "primitives"):
            yield from _numbers_in(fields(primitive, "attributes", ""))
            for target in _dicts(primitive, "targets"):
                yield from ((number, "target") for number, _ in _numbers_in(target))
            yield from _numbers_in({"indices": primitive.get("indices")})
    for skin in _dicts(document, "skins"):
        yield from _numbers_in({"inverse bind": skin.get("inverseBindMatrices")})
    for animation in _dicts(document, "animations"):
        for sampler in _dicts(animation, "samplers"):
            yield from _numbers_in({"times": sampler.get("input")})
        for channel in _dicts(animation, "channels"):
            if not is_whole(channel.get("sampler")):
                continue  # one that moves no node
            sampler = item(animation, "samplers", channel["sampler"], "a channel")
            path = fields(channel, "target", "a channel").get("path")
            role = f"{path} {sampler.get('interpolation') or 'LINEAR'}"
            yield from _numbers_in({role: sampler.get("output")})
    extensions = (fields(thing, "extensions", "an object") for thing in objects(document))
    for name, extension in (pair for each in extensions for pair in each.items()):
        parts = [part.get("attributes") for part in objects(extension) if name != DRACO]
        for attributes in parts:
            if isinstance(attributes, dict):
                yield from ((number, name) for number, _ in _numbers_in(attributes))


def _views(document: Entry) -> set[int]:
    """The views that something else than an accessor has, such as a picture."""
    parts = [value for key, value in document.items() if key != "accessors"]
    for accessor in _dicts(document, "accessors"):
        parts += [accessor.get("sparse"), accessor.get("extensions")]
    views = (part.get("bufferView") for part in objects(parts))
    return {view for view in views if is_whole(view)}


def objects(value: object) -> Iterator[dict[str, Any]]:
    """Yield every object in some JSON."""
    left = [value]
    while left:
        value = left.pop()
        if isinstance(value, dict):
            yield value
            left += value.values()
        elif isinstance(value, list):
            left += value


def _count(document: Entry, field: str) -> int:
    return len(items(document, field, "JSON"))


def _dicts(entry: Entry, field: str) -> list[Entry]:
    found = entry.get(field)
    return [each for each in found if isinstance(each, dict)] if isinstance(found, list) else []


def _numbers_in(entry: Entry) -> Iterator[tuple[int, str]]:
    return ((value, key) for key, value in entry.items() if is_whole(value))
