"""The outside of a glTF file: bytes to JSON and buffers, and back.

What comes in may be a stranger's. A file is held to what it can honestly need: it and its buffers
may not be larger than `LARGEST`, and what is made of them may take ten times their size, or
`FLOOR` if that is more. What is used several times may be looked through for `WORK` bytes, or 200
times their size.
"""

from __future__ import annotations

import base64
import binascii
import json
import os
import re
import stat
import struct
import sys
from collections import Counter
from collections.abc import Iterable
from pathlib import Path, PurePosixPath
from typing import NoReturn
from urllib.parse import unquote

from rigkit.gltf.fields import Entry, short

LARGEST = 2**30
FLOOR = 2**28
WORK = 20 * 2**25
MAX_KEYS = 5000
BIN = b"BIN\0"
# Bytes that Python makes of an object, a key and its value, a list, a value in it, and each end of
# a string: at least what tracemalloc measured in CPython 3.11, for lists and objects of any shape.
_COSTS = {b"{": 200, b":": 64, b"[": 96, b",": 40, b'"': 20}
_HEADER, _CHUNK = struct.Struct("<4sII"), struct.Struct("<I4s")
_DATA_URI = re.compile(r"data:[\w.+/-]*(?:;[\w.+=-]+)*;base64,", re.ASCII)


class Container:
    """A file's JSON, and its buffers as they are asked for.

    Attributes
    ----------
    json : dict
    notes : list of str
    chunks : list of (bytes, memoryview)
        Kind and bytes of each chunk of a .glb; of a .gltf its text alone.
    writable : bool
        True to give copies of the buffers that may be changed.
    """

    def __init__(self, data: bytes, folder: str | os.PathLike[str] | None) -> None:
        self.notes: list[str] = []
        self.writable = False
        self._folder = folder
        self._files: dict[Path, bytes] = {}
        self._buffers: dict[int, memoryview] = {}
        self._read = len(data)
        self._memory = self._work = 0
        self.chunks = (
            self._split(memoryview(data)) if data[:4] == b"glTF" else [(b"JSON", memoryview(data))]
        )
        self._binary = (
            self.chunks[1][1] if [kind for kind, _ in self.chunks[1:2]] == [BIN] else None
        )
        self.json = self._parse(bytes(self.chunks[0][1]))

    @property
    def has_binary(self) -> bool:
        """True for a .glb with a chunk of data."""
        return self._binary is not None

    def spend(self, size: int, what: str) -> None:
        """Count memory about to be used; refuse what is out of proportion to the file."""
        self._memory += size
        self._refuse_if(self._memory, max(10 * self._read, FLOOR), what)

    def reuse(self, size: int, what: str) -> None:
        """Count data that is looked through once more."""
        self._work += size
        self._refuse_if(self._work, max(200 * self._read, WORK), what)

    def _refuse_if(self, used: int, most: int, what: str) -> None:
        if used > most:
            raise ValueError(
                f"{what}: a file of {self._read} bytes may not ask for this much; with what came"
                f" before it takes {used} bytes, more than {most}."
            )

    def buffer(self, number: int, length: int, uri: str | None, where: str) -> memoryview:
        """Return the bytes of a buffer; `uri` is None for the binary chunk of a .glb."""
        if number not in self._buffers:
            data = self._bytes_of(number, uri, where)
            if len(data) < length:
                raise ValueError(
                    f"{where}: `byteLength` must be at most the {len(data)} bytes there are; "
                    f"got {length}. The file may be cut short."
                )
            if self.writable:
                self.spend(length, where)
            data = data[:length]
            self._buffers[number] = memoryview(bytearray(data)) if self.writable else data
        return self._buffers[number]

    def _bytes_of(self, number: int, uri: str | None, where: str) -> memoryview:
        if uri is None:
            if number or self._binary is None:
                raise ValueError(
                    f"{where}: has no `uri`, and only the first buffer of a .glb with a binary"
                    " chunk may have none."
                )
            return self._binary
        return self.file(uri, where)

    def file(self, uri: str, where: str) -> memoryview:
        """Return the bytes that a URI names: data within it, or a file beside this one."""
        if uri[:5].lower() == "data:":
            return self._embedded(uri, where)
        path = self._inside(uri, where)
        if path not in self._files:
            self._files[path] = regular_file(path, where, LARGEST - self._read)
            self._read += len(self._files[path])
        return memoryview(self._files[path])

    def _embedded(self, uri: str, where: str) -> memoryview:
        head = _DATA_URI.match(uri)
        if head is None:
            raise ValueError(
                f"{where}: `uri` must begin data:application/octet-stream;base64, to hold data; "
                f"got {short(uri)}."
            )
        self.spend(len(uri), where)
        try:
            return memoryview(base64.b64decode(uri[head.end() :], validate=True))
        except (binascii.Error, ValueError) as problem:
            raise ValueError(f"{where}: `uri` must hold base64 text; {problem}.") from None

    def _inside(self, uri: str, where: str) -> Path:
        """The path of a file in the folder or below it; refused if it would lead elsewhere."""
        if self._folder is None:
            raise ValueError(
                f"{where}: the data is in another file, {short(uri)}, and no folder was given to"
                " look in."
            )
        name = unquote(uri)
        parts = PurePosixPath(name).parts
        odd = any(c in text for text in (uri, name) for c in "\\:\0?#") or not name.isprintable()
        if odd or not parts or name.startswith("/") or ".." in parts:
            raise ValueError(
                f"{where}: `uri` must name a file in the folder of the file, or below it; "
                f"got {short(uri)}."
            )
        folder = Path(self._folder).resolve()
        try:
            path = folder.joinpath(*parts).resolve()
        except (OSError, RuntimeError):  # a name too long, links in a circle
            path = Path()
        if not path.is_relative_to(folder):
            raise ValueError(
                f"{where}: `uri` must stay in the folder of the file; got {short(uri)}, "
                "which leads out of it by a link."
            )
        return path

    def _split(self, data: memoryview) -> list[tuple[bytes, memoryview]]:
        """The chunks of a .glb: JSON, then a binary one or none, then any of other kinds."""
        if len(data) < _HEADER.size:
            raise ValueError(
                f"the header of a .glb has {_HEADER.size} bytes; got {len(data)}. The file is cut"
                " short."
            )
        _, version, length = _HEADER.unpack_from(data)
        if version != 2:
            raise ValueError(
                f"only version 2 of .glb is read; got version {version}. Save the file as glTF 2.0."
            )
        if length != len(data):
            raise ValueError(
                f"the header says {length} bytes; got {len(data)}. The file is damaged or cut"
                " short."
            )
        chunks = _chunks_of(data)
        kinds = [kind for kind, _ in chunks]
        if kinds[:1] != [b"JSON"] or kinds.count(b"JSON") > 1 or BIN in kinds[2:]:
            raise ValueError(
                "a .glb has one chunk of JSON first, then one of data; "
                f"got {', '.join(map(repr, kinds)) or 'none'}."
            )
        if len(chunks) > 1 + (kinds[1:2] == [BIN]):
            self.notes.append(
                "The file has chunks of a kind that is not in the standard; they are not read."
            )
        return chunks

    def _parse(self, text: bytes) -> Entry:
        self.spend(sum(each * text.count(mark) for mark, each in _COSTS.items()), "JSON")
        try:
            letters = text.decode("utf-8-sig")
            self.spend(2 * sys.getsizeof(letters), "JSON")  # they stand in the values once more
            found = json.loads(
                letters,
                object_pairs_hook=_no_key_twice,
                parse_constant=_no_constant,
                parse_int=_whole,
                parse_float=_number,
            )
        except UnicodeDecodeError:
            raise ValueError(
                "JSON: must be text in UTF-8; got other bytes. Is this a .glb or .gltf file?"
            ) from None
        except RecursionError:
            raise ValueError("JSON: must not be nested hundreds deep; got more.") from None
        except json.JSONDecodeError as problem:
            raise ValueError(
                f"JSON: {problem.msg} at character {problem.pos}. "
                "Is this a .glb or .gltf file, and whole?"
            ) from None
        if not isinstance(found, dict):
            raise ValueError(
                f"JSON: must be an object with `asset` in it; got a {type(found).__name__}."
            )
        return found


def _chunks_of(data: memoryview) -> list[tuple[bytes, memoryview]]:
    """The chunks of a .glb, each with its kind."""
    chunks: list[tuple[bytes, memoryview]] = []
    at, length = _HEADER.size, len(data)
    while at < length:
        if at + _CHUNK.size > length:
            raise ValueError(f"a chunk begins at byte {at} of {length} and is cut short.")
        size, kind = _CHUNK.unpack_from(data, at)
        at += _CHUNK.size
        if at + size > length:
            raise ValueError(
                f"the chunk at byte {at - _CHUNK.size} says it has {size} bytes; "
                f"got {length - at} to the end of the file."
            )
        chunks.append((kind, data[at : at + size]))
        at += size
        if len(chunks) > 100:
            raise ValueError("a .glb has a chunk of JSON and one of data; got more than 100.")
    return chunks


def load(
    source: str | os.PathLike[str] | bytes | bytearray | memoryview,
    folder: str | os.PathLike[str] | None,
) -> Container:
    """Return the container of a path or of bytes.

    Parameters
    ----------
    source : str, Path or bytes
    folder : str or Path, optional
        Where files beside it are looked for; by default the path's own folder.

    Returns
    -------
    Container

    Raises
    ------
    ValueError
        For a file that cannot be read, is too large, or is no glTF.
    """
    if isinstance(source, bytes | bytearray | memoryview):
        data = bytes(source)
        if len(data) > LARGEST:
            raise ValueError(f"the file must be at most {LARGEST} bytes; got {len(data)}.")
        return Container(data, folder)
    if not isinstance(source, str | os.PathLike):
        raise ValueError(f"`source` must be a path, or bytes; got {short(source)}.")
    path = Path(source)
    return Container(
        regular_file(path, "the file", LARGEST), path.parent if folder is None else folder
    )


def join(chunks: Iterable[tuple[bytes, bytes | bytearray | memoryview]]) -> bytes:
    """Return the bytes of a .glb of chunks, each a kind and its bytes."""
    body = b"".join(
        _CHUNK.pack(len(data) + -len(data) % 4, kind)
        + bytes(data)
        + (b" " if kind == b"JSON" else b"\0") * (-len(data) % 4)
        for kind, data in chunks
    )
    return _HEADER.pack(b"glTF", 2, _HEADER.size + len(body)) + body


def pack(document: Entry, binary: bytes | bytearray, embed: bool = False) -> bytes:
    """Return the bytes of a file.

    Parameters
    ----------
    document : dict
        The JSON; it gets its buffer here.
    binary : bytes
        The buffer.
    embed : bool
        True for a .gltf that holds its data in itself, not a .glb.

    Returns
    -------
    bytes
    """
    if binary:
        buffer: Entry = {"byteLength": len(binary)}
        if embed:
            buffer["uri"] = (
                f"data:application/octet-stream;base64,{base64.b64encode(binary).decode('ascii')}"
            )
        document = document | {"buffers": [buffer]}
    if embed:
        return json.dumps(document, allow_nan=False, indent=1).encode("ascii") + b"\n"
    text = json.dumps(document, allow_nan=False, separators=(",", ":")).encode("ascii")
    return join([(b"JSON", text), *([(BIN, binary)] if binary else [])])


def regular_file(path: Path, where: str, most: int) -> bytes:
    """Return the bytes of a file that is one, no pipe, and has at most so many."""
    try:
        with open(path, "rb", opener=_open_without_waiting) as file:
            status = os.fstat(file.fileno())
            if not stat.S_ISREG(status.st_mode):
                raise ValueError(
                    f"{where}: must be a file; got {short(path.name)}, which is something else."
                )
            if status.st_size > most:
                raise ValueError(
                    f"{where}: must be at most {most} bytes; got {status.st_size} in"
                    f" {short(path.name)}."
                )
            return file.read(status.st_size)
    except OSError as problem:
        raise ValueError(f"{where}: cannot read {short(path.name)} ({problem.strerror}).") from None
    except ValueError as problem:
        if "null byte" not in str(problem):
            raise
        raise ValueError(f"{where}: must be a path; got {short(str(path))}.") from None


def _open_without_waiting(path: str, flags: int) -> int:
    return os.open(
        path, flags | getattr(os, "O_NONBLOCK", 0)
    )  # a pipe would wait for somebody to write


def _no_key_twice(pairs: list[tuple[str, object]]) -> Entry:
    if len(pairs) > MAX_KEYS:
        raise ValueError(f"JSON: an object must have at most {MAX_KEYS} keys; got {len(pairs)}.")
    found = dict(pairs)
    if len(found) < len(pairs):
        twice = next(key for key, times in Counter(key for key, _ in pairs).items() if times > 1)
        raise ValueError(f"JSON: each key must stand once in an object; got {short(twice)} twice.")
    return found


def _whole(text: str) -> int:
    if len(text) > 100:
        raise ValueError(
            f"JSON: must hold numbers of a sensible length; got one of {len(text)} digits."
        )
    return int(text)


def _number(text: str) -> float:
    """A whole number may be written as 100.0 or 1e2 (glTF 2.0, "JSON Encoding")."""
    number = float(text)
    return int(number) if number.is_integer() and abs(number) < 2**53 else number


def _no_constant(text: str) -> NoReturn:
    raise ValueError(f"JSON: must hold finite numbers; got {text}.")
