"""Rigs that others made, and a reader of them that knows glTF 2.0 from its specification alone.

CesiumMan (a person who walks on the spot; Cesium, CC BY 4.0) and Fox (an animal with three clips;
PixelMannen, CC0, rig and motion by tomkranis, CC BY 4.0) stand in the source package of Debian's
draco; `.ci/rigs` fetches it. No line of the library takes part in the reader: it serves to
recompute what the library says of these files.
"""

import json
import os
from pathlib import Path

import numpy as np
import pytest
from scipy.spatial.transform import Rotation, Slerp

RIGS = Path(os.environ.get("RIGKIT_RIGS") or Path.home() / ".cache" / "rigkit" / "rigs")
PATHS = {name: RIGS / name / "glTF" / f"{name}.gltf" for name in ("CesiumMan", "Fox")}
TYPES = {5121: "<u1", 5123: "<u2", 5125: "<u4", 5126: "<f4"}
WIDTH = {"SCALAR": 1, "VEC3": 3, "VEC4": 4, "MAT4": 16}

fetched = pytest.mark.skipif(
    not all(path.is_file() for path in PATHS.values()),
    reason=f"{RIGS} does not hold the rigs that .ci/rigs fetches",
)


class Rig:
    """A .gltf file of one skinned mesh: its tables, its joints as bound, its poses."""

    def __init__(self, path):
        self.json = json.loads(path.read_text())
        (buffer,) = self.json["buffers"]
        self.bytes = (path.parent / buffer["uri"]).read_bytes()
        self.nodes = self.json["nodes"]
        (mesh,), (skin,) = self.json["meshes"], self.json["skins"]
        (primitive,) = mesh["primitives"]
        tables = primitive["attributes"]
        self.points = self.table(tables["POSITION"]).astype(float)
        count = len(self.points)
        corners = self.table(primitive["indices"]) if "indices" in primitive else np.arange(count)
        self.triangles = corners.reshape(-1, 3).astype(int)
        self.joints = np.array(skin["joints"])[self.table(tables["JOINTS_0"]).astype(int)]
        self.weights = self.table(tables["WEIGHTS_0"]).astype(float)
        columns = self.table(skin["inverseBindMatrices"]).reshape(-1, 4, 4).astype(float)
        self.inverse_bind = dict(zip(skin["joints"], columns.swapaxes(1, 2), strict=True))
        self.parent = {
            child: i for i, n in enumerate(self.nodes) for child in n.get("children", [])
        }

    def table(self, number):
        """An accessor's numbers, shape (count, width)."""
        accessor = self.json["accessors"][number]
        view = self.json["bufferViews"][accessor["bufferView"]]
        kind, width = np.dtype(TYPES[accessor["componentType"]]), WIDTH[accessor["type"]]
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        stride = view.get("byteStride", kind.itemsize * width)
        rows = [
            np.frombuffer(self.bytes, kind, width, start + stride * i)
            for i in range(accessor["count"])
        ]
        return np.array(rows)

    def bound(self, joint):
        """Where a joint stood when it was bound, in the mesh's own space."""
        return np.linalg.inv(self.inverse_bind[joint])[:3, 3]

    def shares(self, joints):
        """The share of each vertex that moves with some joints."""
        mine = np.where(np.isin(self.joints, joints), self.weights, 0.0)
        return mine.sum(axis=1) / self.weights.sum(axis=1)

    def channels(self, clip):
        """Times and values of each channel of a clip, by node and path; all are linear."""
        animation = self.json["animations"][clip]
        found = {}
        for channel in animation["channels"]:
            sampler = animation["samplers"][channel["sampler"]]
            assert sampler.get("interpolation", "LINEAR") == "LINEAR"
            target = channel["target"]["node"], channel["target"]["path"]
            found[target] = self.table(sampler["input"])[:, 0], self.table(sampler["output"])
        return found

    def world(self, node, channels, times):
        """A node's world matrices, shape (times, 4, 4)."""
        entry = self.nodes[node]
        local = np.tile(np.eye(4), (len(times), 1, 1))
        if "matrix" in entry:
            local[:] = np.reshape(entry["matrix"], (4, 4)).T
        turn = _rotations(entry, channels.get((node, "rotation")), times)
        size = _vectors(entry.get("scale", [1, 1, 1]), channels.get((node, "scale")), times)
        place = entry.get("translation", [0, 0, 0])
        if "matrix" not in entry:
            local[:, :3, :3] = turn * size[:, None]
            local[:, :3, 3] = _vectors(place, channels.get((node, "translation")), times)
        above = self.parent.get(node)
        return local if above is None else self.world(above, channels, times) @ local

    def posed(self, chosen, clip, times):
        """Some vertices in the world while a clip plays, shape (times, vertices, 3)."""
        channels = self.channels(clip)
        moved = np.zeros((len(times), len(chosen), 3))
        homogeneous = np.c_[self.points[chosen], np.ones(len(chosen))]
        shares = self.weights[chosen] / self.weights[chosen].sum(axis=1, keepdims=True)
        for joint in np.unique(self.joints[chosen]).tolist():
            matrix = self.world(joint, channels, times) @ self.inverse_bind[joint]
            share = np.where(self.joints[chosen] == joint, shares, 0.0).sum(axis=1)
            moved += share[:, None] * np.einsum("tij,vj->tvi", matrix[:, :3], homogeneous)
        return moved


def _rotations(entry, channel, times):
    if channel is None:
        return np.tile(
            Rotation.from_quat(entry.get("rotation", [0, 0, 0, 1])).as_matrix(), (len(times), 1, 1)
        )
    keys, values = channel
    return Slerp(keys, Rotation.from_quat(values))(np.clip(times, keys[0], keys[-1])).as_matrix()


def _vectors(rest, channel, times):
    if channel is None:
        return np.tile(np.array(rest, float), (len(times), 1))
    keys, values = channel
    return np.stack([np.interp(times, keys, column) for column in values.T], axis=-1)
