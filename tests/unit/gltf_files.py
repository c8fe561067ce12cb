"""glTF files made by hand, byte by byte, so that reading is not tested by our own writing."""

import base64
import copy
import json
import struct

import numpy as np

COMPONENTS = {"i1": 5120, "u1": 5121, "i2": 5122, "u2": 5123, "u4": 5125, "f4": 5126}
TYPES = {1: "SCALAR", 3: "VEC3", 4: "VEC4", 16: "MAT4"}


class File:
    """A document and its one buffer; `add` puts in an array and returns the number of its
    accessor."""

    def __init__(self, **document):
        self.json = {
            "asset": {"version": "2.0"},
            "buffers": [{}],
            "bufferViews": [],
            "accessors": [],
            **document,
        }
        self.data = bytearray()

    def view(self, data, **more):
        self.data += b"\0" * (-len(self.data) % 4)
        self.json["bufferViews"].append(
            {"buffer": 0, "byteOffset": len(self.data), "byteLength": len(data), **more}
        )
        self.data += data
        return len(self.json["bufferViews"]) - 1

    def add(self, array, kind="f4", **more):
        array = np.asarray(array)
        array = array.reshape(len(array), -1).astype(f"<{kind}")
        return self.accessor(
            len(array), TYPES[array.shape[1]], kind, bufferView=self.view(array.tobytes()), **more
        )

    def accessor(self, count, kind, component="f4", **more):
        self.json["accessors"].append(
            {"count": count, "type": kind, "componentType": COMPONENTS[component], **more}
        )
        return len(self.json["accessors"]) - 1

    def document(self):
        """The JSON as it stands in a .glb, a copy to spoil."""
        document = copy.deepcopy(self.json)
        if self.data:
            document["buffers"][0].setdefault("byteLength", len(self.data))
        else:
            document = {key: value for key, value in document.items() if value and key != "buffers"}
        return document

    def glb(self, document=None):
        document = self.document() if document is None else document
        return chunks((b"JSON", as_text(document)), (b"BIN\0", bytes(self.data)))

    def gltf(self):
        document = self.document()
        if self.data:
            document["buffers"][0]["uri"] = data_uri(self.data)
        return as_text(document)


def as_text(document):
    return json.dumps(document).encode()


def data_uri(data):
    return "data:application/octet-stream;base64," + base64.b64encode(data).decode()


def chunks(*parts, version=2, length=None):
    """A .glb of chunks (kind, bytes)."""
    body = b""
    for kind, data in parts:
        data += (b" " if kind == b"JSON" else b"\0") * (-len(data) % 4)
        body += struct.pack("<I4s", len(data), kind) + data
    return (
        struct.pack("<4sII", b"glTF", version, 12 + len(body) if length is None else length) + body
    )


def document_of(glb):
    """The JSON of a .glb."""
    (length,) = struct.unpack_from("<I", glb, 12)
    return json.loads(glb[20 : 20 + length])


def triangle(**document):
    """A file whose one mesh is one triangle."""
    file = File(**document)
    attributes = {"POSITION": file.add([[0, 0, 0], [1, 0, 0], [0, 1, 0]])}
    file.json |= {
        "meshes": [{"primitives": [{"attributes": attributes}]}],
        "nodes": [{"mesh": 0}],
        "scenes": [{"nodes": [0]}],
        "scene": 0,
        **document,
    }
    return file


def leg():
    """A leg of hip, knee and ankle with a strip of skin, and an animation with every
    interpolation."""
    file = File()
    heights = np.linspace(0.9, 0.0, 7)
    points = np.array([[x, y, 0.05] for y in heights for x in (-0.1, 0.1)])
    share = np.clip((0.55 - points[:, 1]) / 0.1, 0, 1)
    weights = np.stack([1 - share, share, 0 * share, 0 * share], axis=-1).astype("f4")
    weights[:, 0] = 1 - weights[:, 1]
    joints = np.where(weights > 0, [0, 1, 0, 0], 0)
    rows = np.arange(6)[:, None] * 2
    triangles = np.concatenate([rows + [0, 2, 1], rows + [1, 2, 3]])
    binds = np.tile(np.eye(4), (3, 1, 1))
    binds[:, 1, 3] = [-0.9, -0.5, -0.1]
    half = np.sqrt(0.5)
    times = file.add([0, 0.5, 1.5], min=[0], max=[1.5])
    attributes = {
        "POSITION": file.add(
            points,
            min=points.astype("f4").min(axis=0).tolist(),
            max=points.astype("f4").max(axis=0).tolist(),
        ),
        "NORMAL": file.add(np.tile([0, 0, 1], (len(points), 1))),
        "JOINTS_0": file.add(joints, "u1"),
        "WEIGHTS_0": file.add(weights),
    }
    file.json |= {
        "scene": 0,
        "scenes": [{"nodes": [0, 3]}],
        "nodes": [
            {"name": "hip", "translation": [0, 0.9, 0], "children": [1]},
            {"name": "knee", "translation": [0, -0.4, 0], "children": [2]},
            {"name": "ankle", "translation": [0, -0.4, 0]},
            {"name": "skin", "mesh": 0, "skin": 0},
        ],
        "skins": [
            {
                "name": "leg",
                "joints": [0, 1, 2],
                "skeleton": 0,
                "inverseBindMatrices": file.add(np.swapaxes(binds, 1, 2)),
            }
        ],
        "meshes": [
            {
                "name": "leg",
                "primitives": [
                    {"attributes": attributes, "indices": file.add(triangles.reshape(-1), "u2")}
                ],
            }
        ],
        "animations": [
            {
                "name": "kick",
                "samplers": [
                    {
                        "input": times,
                        "output": file.add([[0, 0.9, 0], [0, 1.0, 0], [0, 0.9, 0.2]]),
                        "interpolation": "STEP",
                    },
                    {
                        "input": times,
                        "output": file.add([[0, 0, 0, 1], [half, 0, 0, half], [0, 0, 0, -1]]),
                    },
                    {
                        "input": times,
                        "output": file.add(
                            [
                                [0, 0, 0],
                                [1, 1, 1],
                                [0, 1, 0],
                                [0, 0, 0],
                                [1, 2, 1],
                                [0, 0, 0],
                                [0, -1, 0],
                                [1, 1, 1],
                                [0, 0, 0],
                            ]
                        ),
                        "interpolation": "CUBICSPLINE",
                    },
                ],
                "channels": [
                    {"sampler": 0, "target": {"node": 0, "path": "translation"}},
                    {"sampler": 1, "target": {"node": 1, "path": "rotation"}},
                    {"sampler": 2, "target": {"node": 2, "path": "scale"}},
                ],
            }
        ],
    }
    return file
