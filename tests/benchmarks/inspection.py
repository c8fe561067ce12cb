"""The time and memory of inspecting a large rig.

Aim: 50,000 vertices, 60 joints and four animations in at most 3 s; memory at most ten times the
file beyond 256 MiB. The rig is Tamsin with a skin that fine, with helper joints up to 60 and her
walk four times. Reading the file alone stands beside it, in the same round. Times are this
process's processor time; memory is the peak of what Python and NumPy hold more than before
(tracemalloc), measured in a round of its own, as it slows things down.
"""

import tempfile
import tracemalloc
from pathlib import Path
from time import process_time

import numpy as np

from rigkit import export, frames, gltf, inspection, skin
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.skeleton import Joint, Skeleton
from tests.benchmarks.figures import Figure, compared, take_turns

VERTICES, JOINTS, ANIMATIONS, ROUNDS = 50_000, 60, 4, 7


def big():
    """Tamsin with helper joints, all of which move with her, and four walks."""
    puppet = PUPPETS["Tamsin"]
    rig = LegRig.from_puppet(puppet)
    times, world = export.walk_motion(rig, puppet, rate=97)  # 201 keys
    names = rig.skeleton.names
    joints = [
        Joint(name, rig.skeleton.parent(name), rest)
        for name, rest in zip(names, rig.skeleton.rest_local, strict=True)
    ]
    helpers = [
        (f"{names[i % len(names)]}_twist{i}", names[i % len(names)])
        for i in range(JOINTS - len(names))
    ]
    aside = frames.frame(origin=(0, 0.01, 0))
    skeleton = Skeleton([*joints, *(Joint(name, parent, aside) for name, parent in helpers)])
    local = np.broadcast_to(skeleton.rest_local, (len(world), len(skeleton), 4, 4)).copy()
    moving = [skeleton.index(name) for name in names]
    local[:, moving] = rig.skeleton.local(world)
    surface, weights = skin.rig_skin(rig, puppet, VERTICES)
    table = np.zeros((len(weights), len(skeleton)))
    table[:, moving] = weights
    motions = {f"walk {i}": (times, skeleton.world(local)) for i in range(ANIMATIONS)}
    return export.rig_asset(skeleton, surface, table, motions)


def peak(work):
    tracemalloc.start()
    work()
    most = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return most


def measure():
    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "big.glb"
        gltf.write(big(), file)
        times = take_turns(
            {
                "read": lambda: gltf.read(file),
                "inspect": lambda: inspection.inspect(file),
                "inspect, as text": lambda: inspection.inspect(file).text(),
                "inspect, as a page": lambda: inspection.inspect(file).html(),
            },
            ROUNDS,
            clock=process_time,
        )
        read = times.pop("read")
        yield from (
            compared(
                name,
                own,
                "reading the file",
                read,
                unit="s",
                aim=3,
                detail=name != "inspect, as a page",
            )
            for name, own in times.items()
        )
        yield Figure(
            "inspect: memory",
            peak(lambda: inspection.inspect(file)),
            "the file's size",
            file.stat().st_size,
            "MiB",
            aim=256 + 10 * file.stat().st_size / 2**20,
        )
