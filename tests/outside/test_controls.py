"""Controls against scipy's rotations and interpolation, and pytransform3d's chains of frames.

`scipy.spatial.transform.Rotation` (SciPy, BSD-3-Clause): upper-case letters are turns about moved
axes. `pytransform3d.transform_manager` (BSD-3-Clause) finds a frame through a graph of frames.
"""

from itertools import pairwise

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pytransform3d.transform_manager import TransformManager
from scipy.interpolate import interp1d
from scipy.spatial.transform import Rotation, Slerp

from rigkit import controls, frames
from rigkit.controls import Control, Follow
from rigkit.leg import LegRig


@pytest.fixture(params=range(5))
def rng(request):
    return np.random.default_rng(request.param)


def some_frame(rng):
    frame = np.eye(4)
    frame[:3, :3], frame[:3, 3] = Rotation.random(rng=rng).as_matrix(), rng.normal(size=3)
    return frame


def some_values(rng):
    return dict(zip(controls.CHANNELS, rng.uniform(-1, 1, 6).tolist(), strict=True))


def moved(values, pivot):
    """Values as scipy turns them through a pivot: about x, the moved z, the moved y."""
    numbers = np.array([values[channel] for channel in controls.CHANNELS])
    turn = Rotation.from_euler("XZY", numbers[[3, 5, 4]]).as_matrix()
    frame = np.eye(4)
    frame[:3, :3], frame[:3, 3] = turn, numbers[:3] + pivot - turn @ pivot
    return frame


def test_a_control_turns_about_its_pivot(rng):
    rest, pivot, values = some_frame(rng), rng.normal(size=3), some_values(rng)
    control = Control("foot", rest=rest, pivot=pivot)
    ours = controls.pose([control], {"foot": values})["foot"]
    assert_allclose(ours, rest @ moved(values, pivot), atol=1e-12)
    # the pivot itself is only shifted
    shift = np.array([values[f"shift_{axis}"] for axis in "xyz"])
    assert_allclose(frames.apply(ours, pivot), frames.apply(rest, pivot + shift), atol=1e-12)
    assert controls.values_at(control, ours) == pytest.approx(values, abs=1e-9)


def test_a_chain_of_parents_is_pytransform3d_s(rng):
    names = ("world", "pelvis", "leg", "foot", "toe")
    chain, values, manager, above = [], {}, TransformManager(), np.eye(4)
    for parent, name in pairwise(names):
        rest, pivot, values[name] = some_frame(rng), rng.normal(size=3), some_values(rng)
        hangs_from = None if parent == "world" else parent
        chain.append(Control(name, rest=rest, pivot=pivot, parent=hangs_from))
        local = np.linalg.inv(above) @ rest @ moved(values[name], pivot)
        manager.add_transform(name, parent, local)
        above = rest
    posed = controls.pose(chain[::-1], values)
    for name in names[1:]:
        assert_allclose(posed[name], manager.get_transform(name, "world"), atol=1e-9)


# Half following: half of the leader's shift; a turn half way by scipy's slerp.
@pytest.mark.parametrize("weight", [0.0, 0.25, 0.5, 1.0])
def test_following_in_part(rng, weight):
    rests = {"pelvis": some_frame(rng), "knee": some_frame(rng)}
    pelvis, values = Control("pelvis", rest=rests["pelvis"]), some_values(rng)
    after = rests["pelvis"] @ moved(values, np.zeros(3))
    carried = after @ np.linalg.inv(rests["pelvis"]) @ rests["knee"]
    shift = after[:3, 3] - rests["pelvis"][:3, 3]
    ends = Rotation.from_matrix([rests["knee"][:3, :3], carried[:3, :3]])
    turned = Slerp([0, 1], ends)(weight).as_matrix()
    stays = rests["knee"][:3, 3]
    wanted = {
        "position": (rests["knee"][:3, :3], stays + weight * shift),
        "turn": (turned, stays),
        "both": (turned, (1 - weight) * stays + weight * carried[:3, 3]),
    }
    for what, (turn, place) in wanted.items():
        knee = Control("knee", rest=rests["knee"], follows=[Follow("pelvis", what, weight)])
        ours = controls.pose([knee, pelvis], {"pelvis": values})["knee"]
        assert_allclose(ours[:3, :3], turn, atol=1e-9, err_msg=what)
        assert_allclose(ours[:3, 3], place, atol=1e-9, err_msg=what)


# Two leaders and what stays at rest, by weights: the mean of three places; of turns about one axis
# the mean of the angles (derived).
@pytest.mark.parametrize(("first", "second"), [(0.5, 0.5), (0.2, 0.3), (0.7, 0.0), (0.25, 0.6)])
def test_following_two_leaders(rng, first, second):
    shifts, angles = rng.uniform(-1, 1, (2, 3)), rng.uniform(-1, 1, 2)
    leaders = [Control("pelvis"), Control("hand")]
    values = {
        control.name: dict(zip(controls.CHANNELS[:3], shift.tolist(), strict=True))
        | {"turn_y": float(angle)}
        for control, shift, angle in zip(leaders, shifts, angles, strict=True)
    }
    follows = [Follow("pelvis", "both", first), Follow("hand", "both", second)]
    ours = controls.pose([*leaders, Control("knee", follows=follows)], values)["knee"]
    weights = np.array([first, second])
    assert_allclose(ours[:3, 3], weights @ shifts, atol=1e-12)
    turn = Rotation.from_rotvec([0, weights @ angles, 0]).as_matrix()
    assert_allclose(ours[:3, :3], turn, atol=1e-12)


def test_frames_between_keys_are_scipy_s(rng):
    values = {"foot": {"shift_z": rng.normal(size=41), "turn_x": rng.normal(size=41)}}
    keys = [0, *np.sort(rng.choice(np.arange(1, 40), 6, replace=False)), 40]
    ours = controls.interpolate_keys(values, keys)
    for channel, array in values["foot"].items():
        theirs = interp1d(keys, array[keys])(np.arange(41))
        assert_allclose(ours["foot"][channel], theirs, atol=1e-12)


# A whole rig: turning its pelvis control turns hips and knees of forward legs about the pelvis'
# joint as one rigid body.
def test_the_pelvis_control_carries_forward_legs_as_one_body(rng):
    rig = LegRig.from_puppet("Tamsin")
    rest = rig.pose({}, inverse=False)
    turn = Rotation.from_rotvec([0, 0.4, 0])
    after = rig.pose({"pelvis": {"turn_y": 0.4}}, inverse=False)
    pivot = rest["pelvis"][:3, 3]
    for name in ("L_hip", "R_hip", "L_knee", "R_knee", "L_ankle", "R_ankle"):
        wanted = pivot + turn.apply(rest[name][:3, 3] - pivot)
        assert_allclose(after[name][:3, 3], wanted, atol=1e-12, err_msg=name)
