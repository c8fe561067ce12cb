"""The time to read, write and pose a rig file, beside reading its numbers alone.

Aim: 50,000 vertices, 60 joints and four animations read in well under half a second, and in ten
times its size.
"""

import tempfile
import tracemalloc
from pathlib import Path

import numpy as np

from rigkit import gltf, rotation
from tests.benchmarks.figures import Figure, compared, take_turns

VERTICES, JOINTS, ANIMATIONS, KEYS, ROUNDS = 50_000, 60, 4, 120, 15


def rig(rng):
    """A chain of joints, a skin whose vertices each go with four of them, and motions of every
    joint."""
    nodes = [gltf.Node(f"joint {i}", i - 1 if i else None, [0, 0.1, 0]) for i in range(JOINTS)]
    nodes.append(gltf.Node("skin", mesh=0, skin=0))
    bind = np.tile(np.eye(4), (JOINTS, 1, 1))
    bind[:, 1, 3] = -0.1 * np.arange(1, JOINTS + 1)
    joints = (rng.integers(0, JOINTS, VERTICES)[:, None] + np.arange(4)) % JOINTS
    weights = rng.random((VERTICES, 4))
    normals = rng.normal(size=(VERTICES, 3))
    mesh = gltf.Mesh(
        "skin",
        rng.random((VERTICES, 3)),
        rng.integers(0, VERTICES, (2 * VERTICES, 3)),
        joints,
        weights / weights.sum(axis=1, keepdims=True),
        normals / np.linalg.norm(normals, axis=1)[:, None],
    )
    times = np.arange(KEYS) / 30
    animations = [
        gltf.Animation(
            f"motion {i}",
            [
                gltf.Channel(
                    node, "rotation", times, rotation.unit_quaternion(rng.normal(size=(KEYS, 4)))
                )
                for node in range(JOINTS)
            ],
        )
        for i in range(ANIMATIONS)
    ]
    return gltf.Asset(nodes, [gltf.Skin("skin", np.arange(JOINTS), bind, 0)], [mesh], animations)


def numbers_alone(path):
    """The least that any reader does: the file's bytes, as numbers of 64 bits, looked through
    once."""
    return np.isfinite(np.frombuffer(path.read_bytes(), "<u4").astype(np.float64)).all()


def measure():
    asset = rig(np.random.default_rng(0))
    with tempfile.TemporaryDirectory() as folder:
        path, text = Path(folder, "rig.glb"), Path(folder, "rig.gltf")
        gltf.write(asset, path)
        gltf.write(asset, text)
        world = asset.rest_world()
        times = take_turns(
            {
                "alone": lambda: numbers_alone(path),
                "read .glb": lambda: gltf.read(path),
                "read .gltf": lambda: gltf.read(text),
                "write .glb": lambda: gltf.write(asset, path, replace=True),
                "pose 100 frames": lambda: asset.pose_world(0, np.linspace(0, 4, 100)),
                "skin one frame": lambda: asset.skin_points(JOINTS, world),
            },
            ROUNDS,
        )
        alone = times.pop("alone")
        yield from (
            compared(
                f"gltf: {name}",
                own,
                "its numbers alone",
                alone,
                detail=name != "read .glb",
                aim=500 if name == "read .glb" else None,
            )
            for name, own in times.items()
        )
        tracemalloc.start()
        gltf.read(path)
        most = tracemalloc.get_traced_memory()[1]
        tracemalloc.stop()
        size = path.stat().st_size
        yield Figure("gltf: memory to read .glb", most, "the file's size", size, "MiB", most=10)
