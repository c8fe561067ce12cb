"""A real adult's walk: joint angles from markers against those of an independent program.

Data: the package GaitAnalysisToolKit 0.2.0 (Apache-2.0), folder octave/2d_inverse_dynamics/test:
one adult on a treadmill, 301 frames at 100 Hz, and reference results of an independent program.
Only two data files are read.
"""

import numpy as np
import pytest
from scipy.io import loadmat

from rigkit import gait
from tests.outside import packages

PACKAGE = "gaitanalysistoolkit==0.2.0"
FOLDER = "gaitanalysis/octave/2d_inverse_dynamics/test"
NAMES = ("rawdata.txt", "refresults.mat")

pytestmark = pytest.mark.needs_registry


@pytest.fixture(scope="session")
def adult(pytestconfig):
    """Times, segment angles from the trunk down, markers, floor force, and reference angles."""
    files = packages.files(pytestconfig, PACKAGE, *(f"{FOLDER}/{name}" for name in NAMES))
    raw, reference = np.loadtxt(files[0], comments="%"), loadmat(files[1])["refresults"]
    seen = ~np.isnan(raw[:, 1:9]).any(axis=1)  # in 11 of 301 frames a marker was lost
    raw, reference = raw[seen], reference[seen]
    # shoulder, trochanter, knee, malleolus; forward is their x, our z
    points = np.zeros((len(raw), 4, 3))
    points[..., 2], points[..., 1] = raw[:, 1:9:2], raw[:, 2:9:2]
    return {
        "time": raw[:, 0],
        "points": points,
        "force": raw[:, 14],
        "headings": gait.segment_angles(points),
        "hip": reference[:, 0],
        "knee": reference[:, 1],
    }


def rms_deg(angles):
    return np.rad2deg(np.sqrt(np.mean(angles**2)))


# Without filtering; the reference filters its markers, which is what the difference is.
def test_knee_angles_from_markers_match_the_reference(adult):
    thigh, shank = adult["headings"][:, 1], adult["headings"][:, 2]
    assert rms_deg(thigh - shank - adult["knee"]) == pytest.approx(0.77, abs=0.01)


def test_hip_angles_from_markers_match_the_reference(adult):
    trunk, thigh = adult["headings"][:, 0], adult["headings"][:, 1]
    assert rms_deg(thigh - trunk - adult["hip"]) == pytest.approx(0.32, abs=0.01)


def test_the_wrong_sign_or_joint_would_not_match(adult):
    _, thigh, shank = adult["headings"].T
    assert rms_deg(shank - thigh - adult["knee"]) > 30
    assert rms_deg(thigh - adult["knee"]) > 10


# 0.4049 and 0.4416 m: the markers' mean distances, computed from the file; a guard against mixed-up
# columns.
def test_the_markers_are_those_of_hip_knee_and_ankle(adult):
    bones = np.linalg.norm(np.diff(adult["points"][:, 1:], axis=1), axis=-1).mean(axis=0)
    assert bones == pytest.approx([0.4049, 0.4416], abs=0.0005)


# The published curve of children walking freely against one adult on a treadmill, over the stride
# between the force plate's contacts at 7.21 and 8.41 s: same shape (correlation), within two of the
# published deviations on average.
def test_the_published_knee_is_this_adult_s_knee_in_shape(adult):
    stride = (adult["time"] >= 7.21) & (adult["time"] <= 8.41)
    percent = 100 * (adult["time"][stride] - 7.21) / 1.20
    published = gait.joint_angles(percent, "knee")
    measured = adult["headings"][stride, 1] - adult["headings"][stride, 2]
    assert np.corrcoef(published, measured)[0, 1] > 0.9
    assert rms_deg(published - measured) < 12


# Reference knee angle at 0, 10, … 100 % of that stride, read off the reference results.
def test_the_reference_stride_is_where_it_was(adult):
    printed = [11.6, 23.5, 22.2, 17.4, 15.4, 20.6, 42.4, 63.9, 50.5, 14.8, 10.8]
    times = 7.21 + 1.20 * np.arange(11) / 10
    assert np.rad2deg(np.interp(times, adult["time"], adult["knee"])) == pytest.approx(
        printed, abs=0.3
    )


# Contacts at 7.21, 8.41 and 9.60 s and a stance of 64 % (force above 30 N), computed from the file.
def test_strikes_and_toe_offs_from_the_force_under_the_foot(adult):
    down = np.repeat((adult["force"] > 30)[:, None], 2, axis=1)
    strikes, offs = (
        adult["time"][found[found[:, 1] == 0, 0]]
        for found in (gait.foot_strikes(down), gait.toe_offs(down))
    )
    assert strikes == pytest.approx([7.21, 8.41, 9.60], abs=0.011)
    first_off = offs[offs > strikes[0]][0]
    assert (first_off - strikes[0]) / (strikes[1] - strikes[0]) == pytest.approx(0.64, abs=0.02)
