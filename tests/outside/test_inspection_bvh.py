"""Motions that others recorded, against SciPy; and turns in every order.

The files are those of the Debian package assimp-testmodels.
"""

from itertools import permutations
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from rigkit import inspection
from rigkit.inspection import bvh

MODELS = Path("/usr/share/assimp/models/BVH")
NAMES = ("01_01", "01_03", "Boxing_Toes")
recorded = [
    pytest.mark.needs_registry,
    pytest.mark.skipif(not MODELS.is_dir(), reason="assimp-testmodels is not installed"),
]


# SciPy's capital letters are turns about the body's own axes, one after the other.
@pytest.mark.parametrize(
    "order", ["".join(axes) for n in (1, 2, 3) for axes in permutations("XYZ", n)]
)
def test_turns_in_every_order(order):
    rng = np.random.default_rng(len(order))
    angles = rng.uniform(-400, 400, (20, len(order)))
    channels = " ".join(f"{axis}rotation" for axis in order)
    rows = "\n".join(" ".join(map(str, row)) for row in angles.tolist())
    text = (
        f"HIERARCHY\nROOT a\n{{\nOFFSET 0 0 0\nCHANNELS {len(order)} {channels}\n}}\nMOTION\n"
        f"Frames: 20\nFrame Time: 1\n{rows}\n"
    )
    world = bvh.read(text.encode()).pose_world(0, np.arange(20.0))[:, 0, :3, :3]
    wanted = Rotation.from_euler(order, angles, degrees=True).as_matrix()
    assert_allclose(world, wanted.reshape(-1, 3, 3), rtol=0, atol=1e-12)


def places(path, frames):
    """Names and places of the joints in some frames, by a reader of lines and by SciPy."""
    lines = [line.split() for line in path.read_text().splitlines() if line.strip()]
    start = next(i for i, words in enumerate(lines) if words[0] == "MOTION")
    stack, joints, column = [], [], 0
    for words in lines[1:start]:
        if words[0] in ("ROOT", "JOINT", "End"):
            joints.append([words[-1], stack[-1] if stack else None, None, [], column])
        elif words[0] == "{":
            stack.append(len(joints) - 1)
        elif words[0] == "}":
            stack.pop()
        elif words[0] == "OFFSET":
            joints[-1][2] = np.array(words[1:], float)
        else:
            joints[-1][3] = words[2:]
            column += len(words[2:])
    rows = np.array([lines[start + 3 + frame] for frame in frames], float)
    turn, place = {}, {}
    for i, (_, parent, offset, channels, first) in enumerate(joints):
        values = dict(zip(channels, rows[:, first : first + len(channels)].T, strict=True))
        moved = [values.get(f"{axis}position", 0 * rows[:, 0]) for axis in "XYZ"]
        own = offset + np.stack(moved, axis=-1)
        order = "".join(name[0] for name in channels if name.endswith("rotation"))
        angles = [values[f"{axis}rotation"] for axis in order]
        about = Rotation.from_euler(order, np.stack(angles, -1), degrees=True) if order else None
        above = turn.get(parent)
        turn[i] = about if above is None else above if about is None else above * about
        place[i] = own if above is None else place[parent] + above.apply(own)
    return [joint[0] for joint in joints], np.stack(list(place.values()), axis=1)


@pytest.mark.parametrize("name", [pytest.param(name, marks=recorded) for name in NAMES])
def test_recorded_joints_stand_where_scipy_has_them(name):
    path = MODELS / f"{name}.bvh"
    asset = bvh.read(path)
    frames = [0, 1, 500, 1500, len(asset.animations[0].channels[0].times) - 1]
    names, wanted = places(path, frames)
    ours = [node.name for node in asset.nodes]
    assert [name for name in ours if not name.endswith(" end")] == [n for n in names if n != "Site"]
    times = asset.animations[0].channels[0].times[frames]
    assert_allclose(asset.pose_world(0, times)[..., :3, 3], wanted, rtol=0, atol=1e-8)


@pytest.mark.parametrize("name", [pytest.param(name, marks=recorded) for name in NAMES])
def test_recorded_motions_are_inspected(name):
    report = inspection.inspect(MODELS / f"{name}.bvh")
    assert set(report.legs.legs) == {"L", "R"}
    assert report["human-range"].number is not None
    assert report["weights-sum"].status == "not measured"
    assert (len(report.notes) > 0) == (name == "Boxing_Toes")  # it has a frame more than it says
