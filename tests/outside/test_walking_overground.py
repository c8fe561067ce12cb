"""A second adult, walking over ground: bends, slides, pace and pelvis from both legs' markers.

Data: the package gaitkit 1.5.0 (MIT), file example_healthy.json, 374 frames at 150 Hz with strikes
and toe-offs marked; it names C. A. Fukuchi, R. K. Fukuchi, M. Duarte, PeerJ 6, 2018 (CC BY 4.0).
Hips are markers on the trochanters. The package's knee angles are an independent program's. Frame
numbers, and lengths that name no package, are computed from the file.
"""

import json

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.spatial.transform import Rotation

from rigkit import gait, rotation, two_bone
from tests.outside import packages

SIDES = ("left", "right")
STRIDES = {"left": [(13, 177), (177, 340)], "right": [(83, 246)]}  # frames of strikes, as marked
RATE = 150.0

pytestmark = pytest.mark.needs_registry


@pytest.fixture(scope="session")
def adult(pytestconfig):
    """Markers in metres (left, up, forward), by side and name, and the package's knee angles."""
    (file,) = packages.files(pytestconfig, "gaitkit==1.5.0", "data/example_healthy.json")
    trial = json.loads(file.read_text())
    frames = trial["angle_frames"]
    found = {"strikes": trial["ground_truth"]["hs_frames"]}
    for side in SIDES:
        for name in ("hip", "knee", "ankle", "heel", "toe"):
            mm = np.array([frame["landmark_positions"][f"{side}_{name}"] for frame in frames])
            found[side, name] = mm[:, [2, 1, 0]] * [-1e-3, 1e-3, 1e-3]  # theirs: forward, up, right
        found[side, "flexion_deg"] = np.array([frame[f"{side}_knee_angle"] for frame in frames])
    return found


@pytest.fixture(scope="session")
def pelvis(adult):
    """How the pelvis sways to its left, turns its left side ahead, and lifts it, about the way."""
    hips = np.stack([adult[side, "hip"] for side in SIDES], axis=1)
    first, last = STRIDES["left"][0][0], STRIDES["left"][-1][1]
    way = (hips[last] - hips[first]).mean(axis=0)
    hips = Rotation.from_euler("y", -np.arctan2(way[0], way[2])).apply(hips.reshape(-1, 3))
    hips = hips.reshape(-1, 2, 3)
    across, middle = hips[:, 0] - hips[:, 1], hips.mean(axis=1)
    return {
        "sway": middle[:, 0],
        "rotation": np.arctan2(across[:, 2], across[:, 0]),
        "obliquity": np.arctan2(across[:, 1], np.hypot(across[:, 0], across[:, 2])),
    }


def without_drift(curve):
    """Ends where it began."""
    return curve - np.linspace(curve[0], curve[-1], len(curve))


def leg(adult, side):
    return (adult[side, name] for name in ("hip", "knee", "ankle"))


def test_the_strides_are_between_marked_strikes(adult):
    for side in SIDES:
        assert {frame for stride in STRIDES[side] for frame in stride} <= {*adult["strikes"][side]}


@pytest.mark.parametrize("side", SIDES)
def test_a_measured_knee_is_where_the_two_bone_chain_puts_it(adult, side):
    hip, knee, ankle = leg(adult, side)
    thigh, shank = (np.linalg.norm(bone, axis=-1) for bone in (knee - hip, ankle - knee))
    solved = two_bone.solve(hip, ankle, thigh, shank, hint=knee - hip)
    assert_allclose(solved.knee, knee, rtol=0, atol=1e-12)
    # the package's, from its own program, in degrees
    assert_allclose(np.degrees(solved.flexion), adult[side, "flexion_deg"], rtol=0, atol=1e-4)
    between = rotation.angle_between(knee - hip, ankle - knee)
    assert_allclose(np.degrees(between), adult[side, "flexion_deg"], rtol=0, atol=1e-4)


# Seen from the side: less than half a degree from the package's angle in space for one leg, one and
# a half for the other, whose knee points outward a little.
@pytest.mark.parametrize(("side", "off_deg"), [("left", 1.5), ("right", 0.5)])
def test_knee_flexion_from_the_side(adult, side, off_deg):
    thigh, shank = gait.segment_angles(np.stack([*leg(adult, side)], axis=1)).T
    off = np.degrees(thigh - shank) - adult[side, "flexion_deg"]
    assert np.sqrt(np.mean(off**2)) < off_deg


# The published knees, stride by stride: the same shape, and within two deviations of people on the
# average of a stride.
@pytest.mark.parametrize("side", SIDES)
def test_published_knees_are_this_adult_s_in_shape(adult, side):
    for first, last in STRIDES[side]:
        percent = 100 * np.arange(last - first) / (last - first)
        measured = adult[side, "flexion_deg"][first:last]
        for table in gait.TABLES:
            published = np.degrees(gait.joint_angles(percent, "knee", table))
            assert np.corrcoef(published, measured)[0, 1] > 0.75
            assert np.sqrt(np.mean((published - measured) ** 2)) < 14


# Speed, cadence and step of this adult beside the published free ones of the same leg, here the
# height of the hips: all within a tenth.
def test_the_published_pace_is_this_adult_s(adult):
    middle = (adult["left", "hip"] + adult["right", "hip"]) / 2
    first, last = STRIDES["left"][0][0], STRIDES["left"][-1][1]
    stride_time = (last - first) / 2 / RATE
    speed = np.linalg.norm((middle[last] - middle[first])[[0, 2]]) / (2 * stride_time)
    pace = gait.pace(middle[:, 1].max())
    assert pace.speed == pytest.approx(speed, rel=0.1)
    assert pace.cadence == pytest.approx(2 / stride_time, rel=0.1)
    assert pace.step_length == pytest.approx(speed * stride_time / 2, rel=0.1)


# What the floor's marker moves, added up step by step here: heel or toe, whichever is lower in both
# frames; the lesser of the two where they change places.
@pytest.mark.parametrize("side", SIDES)
def test_a_foot_s_slide_is_what_its_lower_marker_moves(adult, side):
    heel, toe = (adult[side, name] for name in ("heel", "toe"))
    down = np.zeros(len(heel), bool)
    for first, last in STRIDES[side]:
        down[first : first + 6 * (last - first) // 10] = True
    total = 0.0
    for i in range(1, len(heel)):
        if down[i] and down[i - 1]:
            moved = [np.hypot(*(point[i] - point[i - 1])[[0, 2]]) for point in (heel, toe)]
            lower = [int(toe[j, 1] < heel[j, 1]) for j in (i - 1, i)]
            total += moved[lower[0]] if lower[0] == lower[1] else min(moved)
    ours = gait.foot_slide_cm(np.stack([heel, toe], axis=1), down)
    assert ours.sum() == pytest.approx(100 * total, rel=1e-9)
    assert (ours[~down] == 0).all()


# And a real foot that is flat stays: from 10 to 40 % of a stride it slides less than 1.5 cm by that
# measure, shaking of the markers included.
@pytest.mark.parametrize("side", SIDES)
def test_a_real_flat_foot_stays(adult, side):
    sole = np.stack([adult[side, "heel"], adult[side, "toe"]], axis=1)
    for first, last in STRIDES[side]:
        flat = slice(first + (last - first) // 10, first + 4 * (last - first) // 10)
        slide = gait.foot_slide_cm(sole[flat], np.ones(flat.stop - flat.start, bool)).sum()
        assert 0 < slide < 1.5


# A real knee near full reach turns slower than what we call a pop: 600 degrees a second. Reach is
# against the longest that the leg ever is, as its skin shifts over the bones.
@pytest.mark.parametrize("side", SIDES)
def test_no_real_knee_pops(adult, side):
    hip, _, ankle = leg(adult, side)
    reach = np.linalg.norm(hip - ankle, axis=-1)
    speed = np.abs(np.diff(adult[side, "flexion_deg"])) * RATE
    near = np.maximum(reach[1:], reach[:-1]) > 0.99 * reach.max()
    assert near.any()
    assert speed[near].max() < 600
    assert speed.max() > 333  # the published mean's fastest, as `gait.extension_pops` says


# The pelvis of a puppet's walk beside this adult's and the treadmill's (4.0 cm): up and down by 2
# to 5 cm a stride, twice a stride.
def test_the_pelvis_bobs_as_this_adult_s(adult):
    middle = (adult["left", "hip"] + adult["right", "hip"]) / 2
    measured = [100 * np.ptp(middle[first:last, 1]) for first, last in STRIDES["left"]]
    assert measured == pytest.approx([3.1, 3.7], abs=0.1)
    planted = gait.plant(gait.walk("Tamsin", cycles=1))
    assert 2.0 <= 100 * np.ptp(planted.pelvis[:, 1]) <= 5.0
    for height in (middle[slice(*STRIDES["left"][0]), 1], planted.pelvis[:-1, 1]):
        waves = np.abs(np.fft.rfft(height - height.mean()))
        assert waves.argmax() == 2


# Which way the pelvis moves, and when: the published turns and the walk's own, over this adult's
# left strides. One adult's markers on the trochanters turn more than twice as far as the published
# mean; so only sign and timing are held.
@pytest.mark.parametrize(("first", "last"), STRIDES["left"])
def test_the_pelvis_moves_to_this_adult_s_side_at_this_adult_s_time(pelvis, first, last):
    percent = 100 * np.arange(last - first) / (last - first)
    measured = {
        name: curve[first:last] - curve[first:last].mean() for name, curve in pelvis.items()
    }
    rotation = gait.pelvis_angles(percent, "rotation")
    assert np.corrcoef(measured["rotation"], rotation)[0, 1] > 0.5
    obliquity = gait.pelvis_angles(percent, "obliquity")
    assert percent[measured["obliquity"].argmax()] == pytest.approx(
        percent[obliquity.argmax()], abs=10
    )
    walk = gait.walk("Tamsin", frames=last - first, cycles=1)
    ours = {
        "sway": walk.pelvis[:-1, 0],
        "rotation": -walk.pelvis_rotation[:-1],
        "obliquity": walk.pelvis_obliquity[:-1],
    }
    sway = without_drift(pelvis["sway"][first : last + 1])[:-1]
    assert np.corrcoef(sway, ours["sway"])[0, 1] > 0.5
    assert_allclose(ours["rotation"], rotation, atol=np.radians(0.2))
    assert_allclose(ours["obliquity"], obliquity, atol=np.radians(0.2))
    ahead, up = (walk["L_hip"] - walk["R_hip"])[:-1, [2, 1]].T
    assert np.corrcoef(ahead, measured["rotation"])[0, 1] > 0.5
    assert np.corrcoef(up, obliquity)[0, 1] > 0.999


# This adult's pelvis sways by 4.8 and 4.2 cm; what swings over each foot as a pendulum must sway at
# least 2.8 cm at this step and between heels 9.2 cm apart. Same size, within a factor of two.
def test_the_pelvis_sways_about_as_far_as_this_adult_s(adult, pelvis):
    for first, last in STRIDES["left"]:
        sway = without_drift(pelvis["sway"][first : last + 1])
        height = adult["left", "hip"][first:last, 1].mean()
        pendulum = gait.sway_width((last - first) / RATE / 2, height, 0.092)
        assert 1 < np.ptp(sway) / pendulum < 2
