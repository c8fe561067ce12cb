"""Arrays out of a glTF file's buffers: any component type, strided, normalised, sparse; each checked and read once."""

import numpy as np

from rigkit.gltf.fields import choice, fields, flag, integer, item, text

COMPONENTS = {5120: "<i1", 5121: "<u1", 5122: "<i2", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
SIZES = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
_UNSIGNED = (5121, 5123, 5125)


class Accessors:
    """The accessors of a container, as arrays of float64 (or int64 where asked for), shape (count, components)."""

    def __init__(self, container):
        self._file = container
        self._found = {}

    def read(self, number, where, size, whole=False):
        """Accessor `number`, which stands at `where` in the JSON and must have `size` components an element.

        With `whole` its numbers must be unsigned and are not normalised.
        """
        entry = item(self._file.json, "accessors", number, where)
        place = f"accessors[{number}]"
        key = number, whole
        if key not in self._found:
            self._found[key] = self._read(entry, place, whole)
        else:
            self._file.reuse(self._found[key].nbytes, place)
        array = self._found[key]
        if array.shape[1] != size:
            raise ValueError(f"{where}: must be an accessor of {size} numbers an element; got {place}, "
                             f"which has {array.shape[1]}.")
        return array

    def _read(self, entry, place, whole):
        count = integer(entry, "count", place, least=1)
        kind = choice(entry, "type", place, SIZES)
        component = choice(entry, "componentType", place, COMPONENTS)
        scaled = flag(entry, "normalized", place)
        if kind in ("MAT2", "MAT3"):
            raise ValueError(f"{place}: type {kind} has no use in nodes, skins, triangles or animations.")
        if whole and (component not in _UNSIGNED or scaled):
            raise ValueError(f"{place}: must be unsigned whole numbers; got componentType {component}"
                             + (", normalized." if scaled else "."))
        size = SIZES[kind]
        self._file.spend(8 * count * size, place)
        dtype = np.int64 if whole else np.float64
        if entry.get("bufferView") is None:
            array = np.zeros((count, size), dtype)
        else:
            array = self._numbers(entry, place, count, size, component).astype(dtype)
        if "sparse" in entry:
            self._replace(array, fields(entry, "sparse", place), f"{place}.sparse", component)
        return _normalised(array, component) if scaled else array

    def _replace(self, array, sparse, place, component):
        count = integer(sparse, "count", place, least=1, most=len(array))
        indices, values = (fields(sparse, part, place) for part in ("indices", "values"))
        kind = choice(indices, "componentType", f"{place}.indices", COMPONENTS)
        if kind not in _UNSIGNED:
            raise ValueError(f"{place}.indices: must be unsigned whole numbers; got componentType {kind}.")
        at = self._numbers(indices, f"{place}.indices", count, 1, kind)[:, 0].astype(np.int64)
        if at[-1] >= len(array) or not (np.diff(at) > 0).all():
            raise ValueError(f"{place}.indices: must increase and stay below the accessor's count, {len(array)}; "
                             f"got {at.min()} to {at.max()}.")
        array[at] = self._numbers(values, f"{place}.values", count, array.shape[1], component)

    def _numbers(self, entry, place, count, size, component):
        """What an accessor's numbers are in the buffer, not copied; shape (count, size)."""
        number = integer(entry, "bufferView", place)
        view = item(self._file.json, "bufferViews", number, f"{place}.bufferView")
        view_place = f"bufferViews[{number}]"
        data = self._view(view, view_place)
        dtype = np.dtype(COMPONENTS[component])
        element = dtype.itemsize * size
        stride = integer(view, "byteStride", view_place, least=element, most=252, default=element)
        start = integer(entry, "byteOffset", place, default=0)
        need = start + stride * (count - 1) + element
        if need > len(data):
            raise ValueError(f"{place}: reaches to byte {need} of {view_place}, which has {len(data)}.")
        return np.ndarray((count, size), dtype, data, start, (stride, dtype.itemsize))

    def _view(self, view, place):
        number = integer(view, "buffer", place)
        buffer = item(self._file.json, "buffers", number, f"{place}.buffer")
        length, start = integer(view, "byteLength", place, least=1), integer(view, "byteOffset", place, default=0)
        uri = text(buffer, "uri", f"buffers[{number}]", default=None)
        whole = integer(buffer, "byteLength", f"buffers[{number}]", least=1)
        data = self._file.buffer(number, whole, uri, f"buffers[{number}]")
        if start + length > len(data):
            raise ValueError(f"{place}: reaches to byte {start + length} of buffers[{number}], "
                             f"which has {len(data)}.")
        return data[start:start + length]


def _normalised(array, component):
    """Whole numbers as 0 to 1, or −1 to 1 (glTF 2.0, "Animations")."""
    info = None if component == 5126 else np.iinfo(COMPONENTS[component])
    return array if info is None else np.maximum(array / info.max, -1.0)
