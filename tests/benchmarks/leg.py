"""How long a whole pose of both legs takes: `python -m tests.benchmarks.leg`.

Aim: one pose at most 1 ms, a batch of 1,000 frames at most 20 ms. Beside each: the forward chain alone, written with
`Skeleton.pose`, which checks every turn; and for a batch the same poses one by one. All in turn in each round, so
that noise falls on all alike; a ratio is the median of the rounds' ratios. Times are this process's processor time,
all its threads together: waiting for other work on the machine does not count.
"""

from statistics import median
from time import process_time

import numpy as np

from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS

FRAMES, ROUNDS, REPEATS = 1000, 15, 20


def crouch(rng, *shape):
    """Values of every control of an inverse step, with a little noise, so that no frame is like the next."""
    def near(value):
        return float(value) if shape == () else value + 0.02 * rng.normal(size=shape)

    step = {"pelvis": {"shift_y": -0.10, "shift_z": 0.05, "turn_y": 0.1}}
    for tag, way in (("L_", 1), ("R_", -1)):
        step[tag + "foot"] = {"shift_z": 0.2 * way, "roll": 0.2 * way, "turn_y": 0.1 * way}
        step[tag + "knee"] = {"shift_x": 0.1 * way}
    return {name: {channel: near(value) for channel, value in group.items()} for name, group in step.items()}


def turned(rig, pose):
    """The same pose as turns and shifts for `Skeleton.pose`."""
    local = np.linalg.inv(rig.skeleton.rest_local) @ rig.skeleton.local(pose.world)
    names = rig.skeleton.names
    return {name: local[..., i, :3, :3] for i, name in enumerate(names)}, {"pelvis": local[..., 0, :3, 3]}


def seconds(work, repeats):
    start = process_time()
    for _ in range(repeats):
        work()
    return (process_time() - start) / repeats


def ways(rig, values):
    """What is timed, by name; forward values are those of the same pose."""
    pose = rig.pose(values)
    matched = rig.match(pose)
    forward = {name: group for name, group in matched.items() if name == "pelvis" or name.endswith("_turn")}
    turns, shifts = turned(rig, pose)
    return {
        "both inverse": lambda: rig.pose(values),
        "both forward": lambda: rig.pose(forward, inverse=False),
        "left inverse, right forward": lambda: rig.pose(matched, inverse={"L_": True, "R_": False}),
        "Skeleton.pose": lambda: rig.skeleton.pose(turns, shifts),
    }


def main():
    rng = np.random.default_rng(0)
    for name in ("Tamsin", "heron"):
        rig = LegRig.from_puppet(PUPPETS[name], 20.0)
        many = crouch(rng, FRAMES)
        first = [{n: {c: float(v[i]) for c, v in g.items()} for n, g in many.items()} for i in range(50)]
        single, batch = ways(rig, crouch(rng)), ways(rig, many)
        loop = {"one by one (50, scaled up)": lambda rig=rig, first=first: [rig.pose(values) for values in first]}
        rounds = [{(way, count): seconds(work, repeats) * scale for count, works, repeats, scale in (
            (1, single, REPEATS, 1), (FRAMES, batch, 3, 1), (FRAMES, loop, 1, FRAMES / 50))
            for way, work in works.items()} for _ in range(ROUNDS)]
        print(f"{name}: {'milliseconds':>38}{'best':>8}{'of Skeleton.pose':>19}")
        for way, count in rounds[0]:
            times = [row[way, count] for row in rounds]
            ratio = median(row[way, count] / row["Skeleton.pose", count] for row in rounds)
            print(f"{count:5} {way:28}{1e3 * median(times):>10.2f}{1e3 * min(times):>10.2f}{ratio:>19.2f}")


if __name__ == "__main__":
    main()
