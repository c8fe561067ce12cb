"""Types: a type checker (mypy) passes on the library, and helps who writes against it."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]

# Checked as a user's own program would be: strictly, against the library as installed. A line that
# the checker must refuse ends with "wrong:" and the refusal's code; it must have nothing to say of
# any other.
PROGRAM = """
import pathlib
from typing import assert_type

import numpy as np
from numpy.typing import NDArray

import rigkit
from rigkit import bend, body, controls, foot, frames, gltf, inspection, leg, mesh, placement
from rigkit import puppets, rotation, skeleton, solvers, two_bone

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

# One leg, from lists, tuples, arrays, and numbers with and without a point.
pose = two_bone.solve((0, 0.9, 0), goal=[0.0, 0.1, 0.1], upper=0.43, lower=0.43, pole=np.zeros(3))
assert_type(pose, two_bone.TwoBonePose)
assert_type(pose.flexion, Floats)
assert_type(pose.reached, Bools)
assert_type(two_bone.bone_frames((0, 0.9, 0), pose), tuple[Floats, Floats])
assert_type(rigkit.two_bone.soft_reach(0.5, 0.4, 0.4, soft=[0.0, 0.01]), Floats)
print(f"{np.degrees(float(pose.flexion)):.1f}°, {float(pose.miss):.3f} m", pose.knee @ pose.ankle)
assert_type(pose.flexion, NDArray[np.int64])  # wrong: assert-type
two_bone.solve((0, 0.9, 0), (0, 0.1, 0.1), "0.43 m", 0.43)  # wrong: arg-type
two_bone.solve((0, 0.9, 0), ("0", "0.1", "0.1"), 0.43, 0.43)  # wrong: arg-type
two_bone.solve((0, 0.9, 0), (0, 0.1, 0.1), None, 0.43)  # wrong: arg-type
two_bone.solve((0, 0.9, 0), (0, 0.1, 0.1), 0.43, 0.43, bend=1)  # wrong: call-arg
pose.knees  # wrong: attr-defined
rigkit.two_bones  # wrong: attr-defined

# What takes lists and holds arrays says both.
sole = foot.Foot(ankle=(0, 0.08), heel=[-0.05, 0], ball=np.array([0.12, 0]), toe=(0.2, 0))
assert_type(sole.ankle, Floats)
assert_type(foot.roll(sole, 0.3).heel, Floats)
assert_type(controls.Control("hand", pivot=(0, 1, 0)).pivot, Floats)
assert_type(controls.Follow("pelvis", weight=0.5).weight, Floats)
assert_type(skeleton.Joint("hip", None, frames.frame(origin=[0, 1, 0]).tolist()).rest, Floats)
assert_type(leg.LegAngles(knee=[0.1, 0]).knee, Floats)
foot.Foot((0, 0.08), (-0.05, 0), (0.12, 0), "the toe")  # wrong: arg-type
controls.Control(7)  # wrong: arg-type

# A measure that a table may lack must be asked for first.
lengths = body.segment_lengths(1.7)
assert_type(lengths.thigh, Floats)
assert_type(lengths.ankle_height, Floats | None)
body.segment_lengths("tall")  # wrong: arg-type
lengths.ankle_height * 2  # wrong: operator

# A whole rig.
rig = leg.LegRig.from_puppet(puppets.PUPPETS["Tamsin"])
assert_type(rig.pose({"pelvis": {"shift_y": -0.1}, "L_foot": {"roll": [0.0, 0.2]}}).world, Floats)
assert_type(rig.pose()["L_knee"], Floats)
assert_type(rig.pose({"pelvis": {"shift_y": [0, -0.1]}})[0], leg.LegPose)
assert_type(rig.match(rig.pose(inverse={"L_": False})), dict[str, dict[str, Floats]])
assert_type(rig.skeleton.parent("L_knee"), str | None)
assert_type(placement.mirror_chain({"L_hip": np.eye(4)}), dict[str, Floats])
assert_type(solvers.fabrik([[0, 0], [0, -0.4], [0.1, -0.8]], (0, -0.7)), solvers.Solution)
assert_type(bend.stalls([[0, 0], [0, -1], [0, -2]], [0, -1.5]), Bools)
assert_type(rotation.matrix_about("x", np.pi), Floats)
rig.pose({"pelvis": -0.1})  # wrong: dict-item

# A rig file, and what is found in it.
hip = gltf.Node("hip", translation=(0, 0.9, 0))
assert_type(hip.translation, Floats)
asset = gltf.Asset([hip, gltf.Node("knee", 0, [0, -0.4, 0])], [gltf.Skin("leg", [0, 1])])
assert_type(asset.skins[0].inverse_bind, Floats)
assert_type(asset.rest_world(), Floats)
assert_type(gltf.read("rig.glb", folder=pathlib.Path()), gltf.Asset)
report = inspection.inspect(asset, {"left.knee": "knee"}, {"sides-mirror": 1})
assert_type(report["sides-mirror"].number, float | None)
assert_type(mesh.volume_ratio([[0, 0, 0]], np.zeros((1, 3)), [[0, 0, 0]]), Floats)
gltf.Node("hip", None, "high up")  # wrong: arg-type
gltf.Asset(hip)  # wrong: arg-type
gltf.write("rig.glb", asset)  # wrong: arg-type
inspection.inspect(asset)["sides-mirror"].number + 1  # wrong: operator
""".lstrip()


def checked(folder, *arguments, cwd):
    """Messages of mypy, each a dict with "file", "line", "code", "message"."""
    command = [
        sys.executable,
        "-m",
        "mypy",
        "--cache-dir",
        str(folder),
        "--output",
        "json",
        *arguments,
    ]
    done = subprocess.run(command, capture_output=True, text=True, cwd=cwd)
    assert done.returncode in (0, 1), done.stderr or done.stdout
    said = [
        json.loads(line) for line in done.stdout.splitlines() if line
    ]  # with nothing to say, an empty line
    assert bool(said) == bool(done.returncode)
    return [piece for piece in said if piece["severity"] == "error"]


def test_the_library_passes(request):
    said = checked(request.config.cache.mkdir("mypy_library"), cwd=ROOT)
    assert not said, "\n".join(
        f"{piece['file']}:{piece['line']}: {piece['message']}" for piece in said
    )


@pytest.fixture(scope="module")
def refused(request, tmp_path_factory):
    """The lines of `PROGRAM` that the checker refuses, each with its code and all that it says."""
    folder = tmp_path_factory.mktemp("user")
    (folder / "program.py").write_text(PROGRAM, encoding="utf-8")
    cache = request.config.cache.mkdir("mypy_user")
    said = checked(cache, "--strict", "--config-file=", "program.py", cwd=folder)
    assert {piece["file"] for piece in said} == {"program.py"}
    lines = PROGRAM.splitlines()
    return [(lines[piece["line"] - 1], piece["code"], piece["message"]) for piece in said]


def test_a_program_that_is_right_passes(refused):
    assert [(line, message) for line, _, message in refused if "# wrong: " not in line] == []


@pytest.mark.parametrize("line", re.findall(r".*# wrong: .*", PROGRAM))
def test_a_wrong_line_is_found(refused, line):
    codes = {code for found, code, _ in refused if found == line}
    assert codes == {line.split("# wrong: ")[1]}
