"""The time of a whole pose of both legs.

Aim: one pose at most 1 ms, a batch of 1,000 frames at most 20 ms. Beside each: the forward chain
alone, written with `Skeleton.pose`, which checks every turn; and for a batch the same poses one by
one. All in turn in each round, so that noise falls on all alike; a ratio is the median of the
rounds' ratios. Times are this process's processor time, all its threads together: waiting for other
work on the machine does not count.
"""

from time import process_time

import numpy as np

from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from tests.benchmarks.figures import compared, take_turns

FRAMES, ROUNDS, REPEATS = 1000, 15, 20


def crouch(rng, *shape):
    """Values of every control of an inverse step, with a little noise, so that no frame is like the
    next."""

    def near(value):
        return float(value) if shape == () else value + 0.02 * rng.normal(size=shape)

    step = {"pelvis": {"shift_y": -0.10, "shift_z": 0.05, "turn_y": 0.1}}
    for tag, way in (("L_", 1), ("R_", -1)):
        step[tag + "foot"] = {"shift_z": 0.2 * way, "roll": 0.2 * way, "turn_y": 0.1 * way}
        step[tag + "knee"] = {"shift_x": 0.1 * way}
    return {
        name: {channel: near(value) for channel, value in group.items()}
        for name, group in step.items()
    }


def turned(rig, pose):
    """The same pose as turns and shifts for `Skeleton.pose`."""
    local = np.linalg.inv(rig.skeleton.rest_local) @ rig.skeleton.local(pose.world)
    names = rig.skeleton.names
    return {name: local[..., i, :3, :3] for i, name in enumerate(names)}, {
        "pelvis": local[..., 0, :3, 3]
    }


def ways(rig, values):
    """Calls that are timed, by name; forward values are those of the same pose."""
    pose = rig.pose(values)
    matched = rig.match(pose)
    forward = {
        name: group for name, group in matched.items() if name == "pelvis" or name.endswith("_turn")
    }
    turns, shifts = turned(rig, pose)
    return {
        "both inverse": lambda: rig.pose(values),
        "both forward": lambda: rig.pose(forward, inverse=False),
        "left inverse, right forward": lambda: rig.pose(matched, inverse={"L_": True, "R_": False}),
        "Skeleton.pose": lambda: rig.skeleton.pose(turns, shifts),
    }


def measure():
    rng = np.random.default_rng(0)
    for name in ("Tamsin", "heron"):
        rig = LegRig.from_puppet(PUPPETS[name], 20.0)
        many = crouch(rng, FRAMES)
        yield from figures(
            name,
            "one pose",
            take_turns(ways(rig, crouch(rng)), ROUNDS, process_time, REPEATS),
            aim=1,
        )
        first = [
            {n: {c: float(v[i]) for c, v in g.items()} for n, g in many.items()} for i in range(50)
        ]
        batch = ways(rig, many) | {
            "one by one": lambda rig=rig, first=first: [rig.pose(values) for values in first]
        }
        times = take_turns(batch, ROUNDS, process_time)
        times["one by one"] = [time * FRAMES / len(first) for time in times["one by one"]]
        yield from figures(name, f"{FRAMES:,} frames", times, aim=20)


def figures(puppet, count, times, aim):
    """Each way beside the forward chain alone."""
    alone = times.pop("Skeleton.pose")
    for way, own in times.items():
        main = puppet == "Tamsin" and way == "both inverse"
        yield compared(
            f"LegRig.pose, {puppet}, {count}, {way}",
            own,
            "Skeleton.pose",
            alone,
            detail=not main,
            aim=None if way == "one by one" else aim,
        )
