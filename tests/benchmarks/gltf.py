"""How long a rig file takes to read, write and pose, beside reading its numbers alone: python -m tests.benchmarks.gltf.

Aim: 50,000 vertices, 60 joints and four animations read in well under half a second, and in ten times its size.
"""

import tempfile
import tracemalloc
from pathlib import Path
from statistics import median
from time import perf_counter

import numpy as np

from rigkit import gltf, rotation

VERTICES, JOINTS, ANIMATIONS, KEYS, ROUNDS = 50_000, 60, 4, 120, 15


def rig(rng):
    """A chain of joints, a skin whose vertices each go with four of them, and motions of every joint."""
    nodes = [gltf.Node(f"joint {i}", i - 1 if i else None, [0, 0.1, 0]) for i in range(JOINTS)]
    nodes.append(gltf.Node("skin", mesh=0, skin=0))
    bind = np.tile(np.eye(4), (JOINTS, 1, 1))
    bind[:, 1, 3] = -0.1 * np.arange(1, JOINTS + 1)
    joints = (rng.integers(0, JOINTS, VERTICES)[:, None] + np.arange(4)) % JOINTS
    weights = rng.random((VERTICES, 4))
    normals = rng.normal(size=(VERTICES, 3))
    mesh = gltf.Mesh("skin", rng.random((VERTICES, 3)), rng.integers(0, VERTICES, (2 * VERTICES, 3)), joints,
                     weights / weights.sum(axis=1, keepdims=True), normals / np.linalg.norm(normals, axis=1)[:, None])
    times = np.arange(KEYS) / 30
    animations = [gltf.Animation(f"motion {i}", [
        gltf.Channel(node, "rotation", times, rotation.unit_quaternion(rng.normal(size=(KEYS, 4))))
        for node in range(JOINTS)]) for i in range(ANIMATIONS)]
    return gltf.Asset(nodes, [gltf.Skin("skin", np.arange(JOINTS), bind, 0)], [mesh], animations)


def numbers_alone(path):
    """The least that any reader does: the file's bytes, as numbers of 64 bits, looked through once."""
    return np.isfinite(np.frombuffer(path.read_bytes(), "<u4").astype(np.float64)).all()


def seconds(work):
    """The median and the longest time of some rounds, after a first one that does not count."""
    work()
    times = []
    for _ in range(ROUNDS):
        start = perf_counter()
        work()
        times.append(perf_counter() - start)
    return median(times), max(times)


def main():
    asset = rig(np.random.default_rng(0))
    with tempfile.TemporaryDirectory() as folder:
        path, text = Path(folder, "rig.glb"), Path(folder, "rig.gltf")
        gltf.write(asset, path)
        gltf.write(asset, text)
        size = path.stat().st_size
        world = asset.rest_world()
        rows = {
            "its numbers alone": lambda: numbers_alone(path),
            "read .glb": lambda: gltf.read(path),
            "read .gltf": lambda: gltf.read(text),
            "write .glb": lambda: gltf.write(asset, path, replace=True),
            "pose 100 frames": lambda: asset.pose_world(0, np.linspace(0, 4, 100)),
            "skin one frame": lambda: asset.skin_points(JOINTS, world),
        }
        print(f"{VERTICES} vertices, {JOINTS} joints, {ANIMATIONS} animations, {size / 1e6:.1f} MB; milliseconds")
        print(f"{'':20} {'median':>8} {'longest':>8} {'ratio':>7}")
        alone = None
        for name, work in rows.items():
            middle, longest = seconds(work)
            alone = alone or middle
            print(f"{name:20} {1e3 * middle:8.1f} {1e3 * longest:8.1f} {middle / alone:7.1f}")
        tracemalloc.start()
        gltf.read(path)
        most = tracemalloc.get_traced_memory()[1]
        print(f"memory to read it: {most / size:.1f} times its size")


if __name__ == "__main__":
    main()
