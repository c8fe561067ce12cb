"""Arrays out of a glTF file's buffers: any component type, strided, normalised, sparse."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from rigkit._types import Floats, Ints
from rigkit.gltf.container import Container
from rigkit.gltf.fields import Entry, choice, fields, flag, integer, item, place, text

COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
SIZES = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
_UNSIGNED = (5121, 5123, 5125)
MESHOPT = ("EXT_meshopt_compression", "KHR_meshopt_compression")


class CompressedError(ValueError):
    """Data that is packed by a method that is not read here.

    Attributes
    ----------
    method : str
    """

    def __init__(self, method: str) -> None:
        super().__init__(f"it is compressed ({method}). Save it uncompressed.")
        self.method = method


class Accessors:
    """The accessors of a container as arrays, shape (count, components), each read once."""

    def __init__(self, container: Container) -> None:
        self._file = container
        self._found: dict[tuple[int, bool], NDArray[Any]] = {}

    def floats(self, number: object, where: str, size: int) -> Floats:
        """Return an accessor's numbers.

        Parameters
        ----------
        number : object
            Its place in the JSON's list, as a stranger wrote it.
        where : str
            The place of the reference, for messages.
        size : int
            Components of an element.

        Returns
        -------
        ndarray, shape (count, size)

        Raises
        ------
        CompressedError
            If its numbers are compressed.
        ValueError
            For an accessor that is not there, of another size, or outside its buffer.
        """
        return self._cached(number, where, size, whole=False)

    def unsigned(self, number: object, where: str, size: int) -> Ints:
        """Return the same of an accessor whose numbers must be unsigned and not normalised."""
        return self._cached(number, where, size, whole=True)

    def raw(self, number: int) -> NDArray[Any]:
        """Return an accessor's numbers as they stand in its buffer: the bytes themselves.

        Raises
        ------
        ValueError
            If they are compressed, sparse or left out, or outside the buffer.
        """
        at = f"accessors[{number}]"
        entry = item(self._file.json, "accessors", number, "a reference")
        self._refuse_compressed(entry, at)
        if entry.get("bufferView") is None or "sparse" in entry:
            raise ValueError(f"{at}: its numbers do not all stand in a buffer.")
        count = integer(entry, "count", at, least=1)
        size = SIZES[choice(entry, "type", at, SIZES)]
        component = choice(entry, "componentType", at, COMPONENTS)
        return self._numbers(entry, at, count, size, component)

    def view(self, number: int) -> NDArray[np.uint8]:
        """Return the bytes of a view themselves."""
        entry = item(self._file.json, "bufferViews", number, "a reference")
        return np.frombuffer(self._view(entry, f"bufferViews[{number}]"), np.uint8)

    def _cached(self, number: object, where: str, size: int, whole: bool) -> NDArray[Any]:
        key = place(self._file.json, "accessors", number, where), whole
        at = f"accessors[{key[0]}]"
        if key not in self._found:
            self._found[key] = self._read(
                item(self._file.json, "accessors", number, where), at, whole
            )
        else:
            self._file.reuse(self._found[key].nbytes, at)
        array = self._found[key]
        if array.shape[1] != size:
            raise ValueError(
                f"{where}: must be an accessor of {size} numbers an element; got {at}, "
                f"which has {array.shape[1]}."
            )
        return array

    def _read(self, entry: Entry, at: str, whole: bool) -> NDArray[Any]:
        count = integer(entry, "count", at, least=1)
        kind = choice(entry, "type", at, SIZES)
        component = choice(entry, "componentType", at, COMPONENTS)
        scaled = flag(entry, "normalized", at)
        if kind in ("MAT2", "MAT3"):
            raise ValueError(
                f"{at}: type {kind} has no use in nodes, skins, triangles or animations."
            )
        if whole and (component not in _UNSIGNED or scaled):
            raise ValueError(
                f"{at}: must be unsigned whole numbers; got componentType {component}"
                + (", normalized." if scaled else ".")
            )
        size = SIZES[kind]
        for part in (entry, *_sparse_parts(entry, at)):
            self._refuse_compressed(part, at)
        self._file.spend(8 * count * size, at)
        dtype = np.int64 if whole else np.float64
        if entry.get("bufferView") is None:
            array = np.zeros((count, size), dtype)
        else:
            array = self._numbers(entry, at, count, size, component).astype(dtype)
        if "sparse" in entry:
            self._replace(array, fields(entry, "sparse", at), f"{at}.sparse", component)
        return _normalise(array, component) if scaled else array

    def _refuse_compressed(self, entry: Entry, at: str) -> None:
        """Refuse a view that has its bytes only in compressed form."""
        if entry.get("bufferView") is None:
            return
        view = item(self._file.json, "bufferViews", entry["bufferView"], f"{at}.bufferView")
        if not fields(view, "extensions", at).keys() & set(MESHOPT):
            return
        number = integer(view, "buffer", at)
        buffer = item(self._file.json, "buffers", number, f"{at}.buffer")
        if buffer.get("uri") is None and (number or not self._file.has_binary):
            raise CompressedError("meshopt")

    def _replace(self, array: NDArray[Any], sparse: Entry, at: str, component: int) -> None:
        """Put the numbers of a sparse accessor where they belong."""
        count = integer(sparse, "count", at, least=1, most=len(array))
        indices, values = (fields(sparse, part, at) for part in ("indices", "values"))
        kind = choice(indices, "componentType", f"{at}.indices", COMPONENTS)
        if kind not in _UNSIGNED:
            raise ValueError(
                f"{at}.indices: must be unsigned whole numbers; got componentType {kind}."
            )
        rows = self._numbers(indices, f"{at}.indices", count, 1, kind)[:, 0].astype(np.int64)
        if rows[-1] >= len(array) or not (np.diff(rows) > 0).all():
            raise ValueError(
                f"{at}.indices: must increase and stay below the accessor's count, {len(array)}; "
                f"got {rows.min()} to {rows.max()}."
            )
        array[rows] = self._numbers(values, f"{at}.values", count, array.shape[1], component)

    def _numbers(
        self, entry: Entry, at: str, count: int, size: int, component: int
    ) -> NDArray[Any]:
        """The numbers of an accessor as they are in the buffer, not copied; shape (count, size)."""
        number = integer(entry, "bufferView", at)
        view = item(self._file.json, "bufferViews", number, f"{at}.bufferView")
        view_at = f"bufferViews[{number}]"
        data = self._view(view, view_at)
        dtype = np.dtype(COMPONENTS[component])
        element = dtype.itemsize * size
        stride = integer(view, "byteStride", view_at, least=element, most=252, default=element)
        start = integer(entry, "byteOffset", at, default=0)
        need = start + stride * (count - 1) + element
        if need > len(data):
            raise ValueError(f"{at}: reaches to byte {need} of {view_at}, which has {len(data)}.")
        return np.ndarray((count, size), dtype, data, start, (stride, dtype.itemsize))

    def _view(self, view: Entry, at: str) -> memoryview:
        number = integer(view, "buffer", at)
        buffer = item(self._file.json, "buffers", number, f"{at}.buffer")
        length, start = (
            integer(view, "byteLength", at, least=1),
            integer(view, "byteOffset", at, default=0),
        )
        uri = None if buffer.get("uri") is None else text(buffer, "uri", f"buffers[{number}]")
        whole = integer(buffer, "byteLength", f"buffers[{number}]", least=1)
        data = self._file.buffer(number, whole, uri, f"buffers[{number}]")
        if start + length > len(data):
            raise ValueError(
                f"{at}: reaches to byte {start + length} of buffers[{number}], "
                f"which has {len(data)}."
            )
        return data[start : start + length]


def _sparse_parts(entry: Entry, at: str) -> list[Entry]:
    sparse = fields(entry, "sparse", at)
    return [fields(sparse, part, f"{at}.sparse") for part in ("indices", "values")]


def _normalise(array: NDArray[Any], component: int) -> NDArray[Any]:
    """Whole numbers as 0 to 1, or −1 to 1 (glTF 2.0, "Animations")."""
    info = None if component == 5126 else np.iinfo(COMPONENTS[component])
    return array if info is None else np.maximum(array / info.max, -1.0)
