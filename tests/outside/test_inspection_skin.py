"""The inspection's numbers on skins, recomputed from a file's bytes by NumPy alone.

The reader below knows of glTF 2.0 only what its specification says of binary files: two chunks, and
tables without stride in one buffer. No line of the library takes part.
"""

import json

import numpy as np
import pytest

from rigkit import export, gltf, inspection
from tests.unit import rigs

TYPES = {5121: np.uint8, 5123: np.uint16, 5125: np.uint32, 5126: np.float32}
WIDTH = {"SCALAR": 1, "VEC3": 3, "VEC4": 4, "MAT4": 16}


class File:
    """A binary glTF file of one skinned mesh: its tables, and its joints as they were bound."""

    def __init__(self, path):
        data = path.read_bytes()
        size = int.from_bytes(data[12:16], "little")
        self.json, self.bytes = json.loads(data[20 : 20 + size]), data[28 + size :]
        (mesh,), (skin,) = self.json["meshes"], self.json["skins"]
        (primitive,) = mesh["primitives"]
        tables = primitive["attributes"]
        self.points = self.table(tables["POSITION"]).astype(float)
        self.triangles = self.table(primitive["indices"]).reshape(-1, 3)
        sets = range(sum(name.startswith("JOINTS_") for name in tables))
        joints = np.hstack([self.table(tables[f"JOINTS_{i}"]) for i in sets])
        weights = np.hstack([self.table(tables[f"WEIGHTS_{i}"]) for i in sets]).astype(float)
        self.weights, self.joints = weights, joints
        self.names = [self.json["nodes"][i]["name"] for i in skin["joints"]]
        self.dense = np.zeros((len(self.points), len(self.names)))
        for column in range(joints.shape[1]):
            np.add.at(self.dense, (range(len(joints)), joints[:, column]), weights[:, column])
        bind = self.table(skin["inverseBindMatrices"]).reshape(-1, 4, 4)  # columns first
        self.places = np.linalg.inv(bind.astype(float).swapaxes(1, 2))[:, :3, 3]

    def table(self, number):
        accessor = self.json["accessors"][number]
        view = self.json["bufferViews"][accessor["bufferView"]]
        kind, width = TYPES[accessor["componentType"]], WIDTH[accessor["type"]]
        assert "byteStride" not in view
        start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
        flat = np.frombuffer(self.bytes, kind, accessor["count"] * width, start)
        flat = flat.reshape(-1, width)
        return flat / np.iinfo(kind).max if accessor.get("normalized") else flat

    def place(self, name):
        return self.places[self.names.index(name)]

    def weight(self, *starts):
        return self.dense[:, [name.startswith(starts) for name in self.names]].sum(axis=1)


@pytest.fixture
def read(tmp_path):
    def made(asset):
        path = tmp_path / "rig.glb"
        gltf.write(asset, path, replace=True, as_is=True)
        return File(path), inspection.inspect(path)

    return made


def test_weights_are_added_up_and_counted_alike(read):
    for rule in ("weights-sum", "weights-at-most", "weights-missing", "weights-crumbs"):
        file, report = read(rigs.BROKEN[rule]())
        sums, used = file.weights.sum(axis=1), file.weights != 0
        shares = file.weights / np.where(sums > 0, sums, 1)[:, None]
        small = (shares > 0) & (shares < 0.01)
        wanted = {
            "weights-sum": np.abs(sums[sums > 0] - 1).max(),
            "weights-at-most": used.sum(axis=1).max(),
            "weights-missing": (sums == 0).sum(),
            "weights-crumbs": 100 * small.sum() / used.sum(),
        }
        for each, number in wanted.items():
            assert report[each].number == pytest.approx(number, abs=1e-6), (rule, each)


def test_stray_weights_are_weighed_alike(read):
    """Σ area · weight over strays of 5 % or more, by the area of that leg's skin."""
    file, report = read(rigs.BROKEN["weights-own-side"]())
    hip, knee, ankle = (file.place(f"L_{part}") for part in ("hip", "knee", "ankle"))
    length = np.linalg.norm(knee - hip) + np.linalg.norm(ankle - knee)
    x, y, _ = file.points.T
    legs = file.weight("L_", "R_") > 0.5
    right = legs & (y < hip[1] - 0.1 * length) & (x < -0.02 * length)
    weight = np.where(right, file.weight("L_"), 0)
    weight[weight < 0.05] = 0
    a, b, c = (file.points[corner] for corner in file.triangles.T)
    area = np.linalg.norm(np.cross(b - a, c - a), axis=1)
    strays, skin = (area @ each[file.triangles].sum(axis=1) for each in (weight, right))
    assert report["weights-own-side"].number == pytest.approx(100 * strays / skin, rel=1e-4)


@pytest.mark.parametrize("name", ["Tamsin", "Odo"])
def test_a_knee_keeps_as_much_by_slices(read, name):
    """1 + (Σ det posed − Σ det at rest) / 6 V, all about the knee: where skin goes with one bone it
    turns about that point, which changes no determinant, so nothing need be cut off there. V is
    summed over slices, each by Green's theorem."""
    file, report = read(export.puppet_asset(name, 5000, walking=False))
    hip, knee, ankle = (file.place(f"L_{part}") for part in ("hip", "knee", "ankle"))
    thigh, shank = knee - hip, ankle - knee
    bones = np.linalg.norm([thigh, shank], axis=1)
    mine = (file.weight("L_") > 0.5)[file.triangles].all(axis=1)
    triangles, points = file.triangles[mine], file.points - knee

    turned = points * [1, 0, 0]  # a quarter turn about x: y goes to z, and z to −y
    turned[:, 1], turned[:, 2] = -points[:, 2], points[:, 1]
    below = file.weight("L_knee", "L_ankle", "L_ball", "L_toe")[:, None]
    posed = (1 - below) * points + below * turned
    before, after = (np.linalg.det(each[triangles]).sum() / 6 for each in (points, posed))

    along = thigh / bones[0] + shank / bones[1]
    along /= np.linalg.norm(along)
    reach, slices = 0.35 * bones.min(), 400
    heights = reach * (2 * (np.arange(slices) + 0.5) / slices - 1)
    volume = sum(section(points, triangles, along, height) for height in heights)
    volume *= 2 * reach / slices
    kept = 100 * (1 + (after - before) / volume)
    parts = dict(report["knee-volume"].parts)
    assert parts["left knee"] == pytest.approx(kept, abs=0.1)
    assert parts["right knee"] == pytest.approx(kept, abs=0.1)


@pytest.mark.parametrize("make", [rigs.clean, rigs.BROKEN["knee-stretch"]])
def test_a_knee_stretches_as_much_by_its_lengths(read, make):
    """Each edge about the left knee, its ends blended number by number: (y, z) with (−z, y)."""
    file, report = read(make())
    hip, knee, ankle = (file.place(f"L_{part}") for part in ("hip", "knee", "ankle"))
    bones = np.linalg.norm([knee - hip, ankle - knee], axis=1)
    along = (knee - hip) / bones[0] + (ankle - knee) / bones[1]
    along /= np.linalg.norm(along)
    mine = file.triangles[(file.weight("L_") > 0.5)[file.triangles].all(axis=1)]
    height = (file.points - knee)[mine] @ along
    reach = 0.35 * bones.min()
    near = mine[(height.min(axis=1) <= reach) & (height.max(axis=1) >= -reach)]
    below = file.weight("L_knee", "L_ankle", "L_ball", "L_toe")
    worst = 0.0
    for a, b in {tuple(sorted(edge)) for t in near for edge in zip(t, np.roll(t, -1), strict=True)}:
        ends = []
        for vertex in (a, b):
            x, y, z = file.points[vertex] - knee
            share = below[vertex]
            ends.append((x, (1 - share) * y - share * z, (1 - share) * z + share * y))
        rest = np.linalg.norm(file.points[a] - file.points[b])
        worst = max(worst, np.linalg.norm(np.subtract(*ends)) / rest)
    parts = dict(report["knee-stretch"].parts)
    assert parts["left knee"] == pytest.approx(100 * worst, rel=2e-3)
    assert parts["right knee"] == pytest.approx(100 * worst, rel=2e-3)


def section(points, triangles, normal, height):
    """The area of a slice: half of Σ p × q along it."""
    above = points @ normal - height
    total = 0.0
    for corners in triangles[np.ptp(np.sign(above[triangles]), axis=1) > 0]:
        ends = []
        for i, j in zip(corners, np.roll(corners, -1), strict=True):
            if (above[i] >= 0) != (above[j] >= 0):
                meets = points[i] + above[i] / (above[i] - above[j]) * (points[j] - points[i])
                ends.append((above[i] >= 0, meets))
        first, last = (meets for _, meets in sorted(ends, key=lambda end: end[0]))
        total += np.cross(first, last) @ normal / 2
    return abs(total)
