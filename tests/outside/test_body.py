"""Human measurements against surveys and papers; each check names its source."""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from pyCGM_Single import pycgmStatic

from rigkit import body, frames, rotation

# ANSUR II: C. C. Gordon et al., 2012 Anthropometric Survey of U.S. Army Personnel,
# NATICK/TR-15/007, 2014. Mean and standard deviation over people of measure / stature, computed
# from the public files (4,082 men, 1,986 women).
ANSUR = {
    "men": {
        "ankle_height": (0.0415, 0.0029),
        "knee_height": (0.2799, 0.0080),
        "hip_height": (0.5128, 0.0152),
        "thigh": (0.2330, 0.0122),
        "shank": (0.2384, 0.0083),
        "foot_length": (0.1544, 0.0052),
        "foot_breadth": (0.0580, 0.0028),
    },
    "women": {
        "ankle_height": (0.0385, 0.0028),
        "knee_height": (0.2860, 0.0102),
        "hip_height": (0.5190, 0.0144),
        "thigh": (0.2329, 0.0107),
        "shank": (0.2475, 0.0107),
        "foot_length": (0.1513, 0.0053),
        "foot_breadth": (0.0570, 0.0029),
    },
}


# Drillis and Contini's fractions against the survey: one SD where the landmarks are the same, two
# where they differ (the survey's hip is the top of the trochanter; its shank begins at the
# epicondyle).
@pytest.mark.parametrize("sex", ANSUR)
@pytest.mark.parametrize(
    ("quantity", "deviations"),
    [
        ("ankle_height", 1),
        ("knee_height", 1),
        ("foot_length", 1),
        ("shank", 1),
        ("thigh", 2),
        ("hip_height", 2),
        ("foot_breadth", 2),
    ],
)
def test_drillis_and_contini_agree_with_the_survey(sex, quantity, deviations):
    mean, sd = ANSUR[sex][quantity]
    assert abs(getattr(body.segment_lengths(1.0), quantity) - mean) <= deviations * sd


# Mean statures and lengths in mm of the same survey: fractions averaged over people, times mean
# stature, must give the mean lengths back to within 1 mm.
@pytest.mark.parametrize(
    ("sex", "stature", "quantity", "mean"),
    [
        ("men", 1756.2, "ankle_height", 72.9),
        ("men", 1756.2, "knee_height", 491.7),
        ("men", 1756.2, "hip_height", 900.9),
        ("men", 1756.2, "foot_length", 271.2),
        ("men", 1756.2, "foot_breadth", 101.9),
        ("men", 1756.2, "ball_length", 200.9),
        ("women", 1628.5, "ankle_height", 62.7),
        ("women", 1628.5, "knee_height", 465.9),
        ("women", 1628.5, "hip_height", 845.4),
        ("women", 1628.5, "foot_length", 246.3),
        ("women", 1628.5, "foot_breadth", 92.7),
        ("women", 1628.5, "ball_length", 182.1),
        ("men", 1756.2, "pelvis_breadth", 275.4),
        ("women", 1628.5, "pelvis_breadth", 273.3),
    ],
)
def test_our_survey_table_gives_the_survey_s_mean_lengths_back(sex, stature, quantity, mean):
    length = getattr(body.segment_lengths(stature / 1000, f"ansur-{sex}"), quantity)
    assert 1000 * length == pytest.approx(mean, abs=1.0)


# Identities that hold inside any table with heights: the segments stack up to the hip.
@pytest.mark.parametrize("table", ["drillis-contini", "ansur-men", "ansur-women"])
def test_segments_stack_up_to_the_hip(table):
    legs = body.segment_lengths(1.0, table)
    assert legs.ankle_height + legs.shank + legs.thigh == pytest.approx(
        legs.hip_height, abs=0.00025
    )
    assert legs.ankle_height + legs.shank == pytest.approx(legs.knee_height, abs=0.00025)


# thigh + shank + ankle height = 0.530, thigh / shank = 0.9959: Drillis and Contini 1966, as cited
# in the data file.
def test_drillis_and_contini_s_identities():
    legs = body.segment_lengths(1.0)
    assert legs.thigh + legs.shank + legs.ankle_height == pytest.approx(0.530)
    assert legs.thigh / legs.shank == pytest.approx(0.9959, abs=5e-5)


# de Leva 1996 measures from joint centre to joint centre; for men within 2 % of Drillis and
# Contini.
def test_de_leva_agrees_for_men():
    men, legs = body.segment_lengths(1.0, "de-leva-men"), body.segment_lengths(1.0)
    assert men.thigh == pytest.approx(legs.thigh, rel=0.02)
    assert men.shank == pytest.approx(legs.shank, rel=0.02)
    assert men.foot_length == pytest.approx(legs.foot_length, rel=0.03)


# de Leva's mean lengths in mm, as the package biobuddy 0.3.2 (MIT) has them in its file de_leva.py.
@pytest.mark.parametrize(
    ("sex", "stature", "thigh", "shank", "foot"),
    [("men", 1741, 422.2, 434.0, 258.1), ("women", 1735, 368.5, 432.3, 228.3)],
)
def test_de_leva_s_mean_lengths_come_back(sex, stature, thigh, shank, foot):
    legs = body.segment_lengths(stature, f"de-leva-{sex}")
    lengths = [legs.thigh, legs.shank, legs.foot_length]
    assert_allclose(lengths, [thigh, shank, foot], rtol=0, atol=0.1)


# A. Rajagopal et al., IEEE Trans. Biomed. Eng. 63:2068-2079, 2016, model file: thigh 0.4080 m,
# shank 0.4001 m between joint centres. Their ratio lies within the spread of our tables' ratios.
def test_a_published_full_body_model_lies_among_our_ratios():
    ratios = [
        legs.thigh / legs.shank
        for legs in (body.segment_lengths(1.0, table) for table in body.SEGMENT_TABLES)
    ]
    assert min(ratios) < 0.4080 / 0.4001 < max(ratios) + 0.03


# Worked numbers for PW 240, PD 160, LL 880 mm, marker radius 7 mm, in the papers' axes (forward,
# up, right): the regressions of Bell 1990, Harrington 2007, Hara 2016 and Davis 1991, worked out
# independently of this code.
WORKED = {
    "bell-1990": (-45.6, -72.0, 86.4),
    "harrington-single": (-48.3, -82.9, 86.5),
    "harrington": (-48.3, -80.7, 91.1),
    "hara": (-44.4, -77.6, 83.7),
    "davis": (-44.9, -94.0, 79.1),
}
MEASURES = {
    "pelvis_width": 0.240,
    "pelvis_depth": 0.160,
    "leg_length": 0.880,
    "marker_radius": 0.007,
}


@pytest.mark.parametrize("method", WORKED)
def test_hip_regressions_give_the_worked_numbers(method):
    forward, up, right = WORKED[method]
    hips = body.hip_centres(method, **MEASURES)
    assert_allclose(1000 * hips.right, [-right, up, forward], atol=0.051)
    assert_allclose(1000 * hips.left, [right, up, forward], atol=0.051)


# The five above lie within 4 mm forward, 22 mm up and 12 mm sideways of each other.
def test_hip_regressions_agree_with_each_other():
    lefts = 1000 * np.stack([body.hip_centres(method, **MEASURES).left for method in WORKED])
    assert (np.ptp(lefts, axis=0) <= [12.05, 22.05, 4.0]).all()


# Bell 1989 (abstract): 0.22 PW behind, 0.30 PW below, 0.14 PW towards the middle from the ASIS
# itself.
def test_bell_1989_measured_from_the_asis():
    hips = body.hip_centres("bell-1989", pelvis_width=0.240)
    assert_allclose(
        hips.left - [0.120, 0, 0], [-0.14 * 0.240, -0.30 * 0.240, -0.22 * 0.240], atol=1e-12
    )


# The distance between hip centres of the Rajagopal 2016 model, 0.1545 m, is that of a body whose
# Bell pelvis is 0.2146 m wide: inside the survey's bicristal breadths (men 0.2754, women 0.2733 m),
# as ASISs lie inside the crests.
def test_the_published_model_s_hip_distance_means_a_pelvis_of_human_width():
    one_metre = body.hip_centres("bell-1990", pelvis_width=1.0)
    width = 0.1545 / (one_metre.left[0] - one_metre.right[0])
    assert 0.7 * 0.2733 < width < 0.2733


# Bodies by chance, in the mm and the axes (forward, left, up) of programs that walk with these
# rules; of each program only the formula was read, and is written here in our own words.
@pytest.fixture(params=range(5))
def pelvis_mm(request):
    """Landmarks anywhere in space: each side's ASIS and PSIS, the pubic symphysis, and a leg."""
    rng = np.random.default_rng(request.param)
    width, depth, height = rng.uniform((180, 110, 60), (300, 200, 120))
    flat = [
        (0, width / 2, 0),
        (0, -width / 2, 0),
        (-depth, 45, 0),
        (-depth, -45, 0),
        (-20, 0, -height),
    ]
    turn = rotation.matrix_from_vector(rng.normal(size=3))
    points = np.array(flat)[:, [1, 2, 0]] @ turn.T + rng.normal(size=3) * 1000
    return points, {"width": width, "depth": depth, "height": height, "leg": rng.uniform(600, 1000)}


# Each rule as (forward, left, up) of the left hip from the middle of the ASISs, of width, depth,
# height and leg. Harrington's and Hara's: pyCGM2 4.2 (CC BY-SA), file modelDecorator.py, its
# markers' half diameter and plate left out. Leardini's: public code that cites the paper, a pelvis
# model of markers (five copies found). Seidel's, Bell's of 1989, Harrington's single: gias2 0.7.14
# (MPL), file pelvis_hjc_estimation.py, from the ASIS itself.
RULES = {
    "harrington": lambda w, d, h, leg: (
        -0.24 * d - 9.9,
        0.28 * d + 0.16 * w + 7.9,
        -0.16 * w - 0.04 * leg - 7.1,
    ),
    "hara": lambda w, d, h, leg: (11 - 0.063 * leg, 8 + 0.086 * leg, -9 - 0.078 * leg),
    "leardini": lambda w, d, h, leg: (-0.31 * d, 0.38 * w, -0.096 * leg),
    "seidel": lambda w, d, h, leg: (-0.34 * d, w / 2 - 0.14 * w, -0.79 * h),
    "bell-1989": lambda w, d, h, leg: (-0.22 * w, w / 2 - 0.14 * w, -0.30 * w),
    "harrington-single": lambda w, d, h, leg: (-0.24 * d - 9.9, 0.33 * w + 7.3, -0.30 * w - 10.9),
}


@pytest.mark.parametrize("rule", RULES)
def test_hips_are_where_other_programs_rules_put_them(rule, pelvis_mm):
    points, size = pelvis_mm
    left_asis, right_asis, left_psis, right_psis, _ = points
    forward, left, up = RULES[rule](*size.values())
    # axes from the landmarks by cross products alone
    middle = (left_asis + right_asis) / 2
    y = (left_asis - right_asis) / size["width"]
    z = np.cross(middle - (left_psis + right_psis) / 2, y) / size["depth"]
    x = np.cross(y, z)
    theirs = [middle + forward * x + side * left * y + up * z for side in (1, -1)]
    pelvis = body.pelvis(*points[:4] / 1000)
    hips = body.hip_centres(
        rule,
        pelvis_width=pelvis.width,
        pelvis_depth=pelvis.depth,
        pelvis_height=size["height"] / 1000,
        leg_length=size["leg"] / 1000,
    )
    ours = [frames.apply(pelvis.frame, hip) for hip in (hips.left, hips.right)]
    assert_allclose(1000 * np.array(ours), theirs, rtol=0, atol=1e-9)


# Davis' rule as the package pycgm 1.0 (MIT) computes it; x_dis, 0.1288 of the leg less 48.56 mm, is
# set by that program beside it, in pycgmStatic.py. It rounds the angles to half a radian and 0.314
# of one (28.65 and 17.99 degrees for 28.4 and 18), which is up to half a millimetre.
def test_davis_hips_are_pycgm_s(pelvis_mm):
    points, size = pelvis_mm
    pelvis = body.pelvis(*points[:4] / 1000)
    left, up, forward = 1000 * pelvis.frame[:3, :3].T
    origin = 1000 * pelvis.frame[:3, 3]
    across = 0.1288 * size["leg"] - 48.56
    measures = {
        "MeanLegLength": size["leg"],
        "R_AsisToTrocanterMeasure": across,
        "L_AsisToTrocanterMeasure": across,
        "InterAsisDistance": size["width"],
    }
    axes = [origin + axis / 1000 for axis in (forward, left, up)]
    theirs = pycgmStatic.hipJointCenter(None, origin, *axes, vsk=measures)
    hips = body.hip_centres(
        "davis", pelvis_width=pelvis.width, leg_length=size["leg"] / 1000, marker_radius=0.007
    )
    ours = [frames.apply(pelvis.frame, hip) for hip in (hips.left, hips.right)]
    assert_allclose(1000 * np.array(ours), theirs, rtol=0, atol=0.5)


# J. M. Soucie et al., Haemophilia 17:500-507, 2011; table of the CDC page Joint Range of Motion
# Study. Means by sex and first year of age, read on the page itself (2 to 8 years) or in documents
# that quote it; cells that were not found are left out.
STUDY = {
    ("hip_extension", "F"): {2: 26.2, 20: 18.1, 45: 16.7},
    ("hip_extension", "M"): {2: 28.3, 20: 17.4, 45: 13.5},
    ("hip_flexion", "F"): {2: 140.8, 20: 133.8},
    ("hip_flexion", "M"): {2: 131.1, 20: 130.4},
    ("knee_flexion", "F"): {2: 152.6, 20: 141.9},
    ("knee_flexion", "M"): {2: 147.8, 20: 137.7},
    ("knee_extension", "F"): {2: 5.4},
    ("knee_extension", "M"): {2: 1.6},
    ("ankle_dorsiflexion", "F"): {2: 24.8, 20: 13.8, 45: 11.6},
    ("ankle_dorsiflexion", "M"): {2: 22.8, 20: 12.7, 45: 11.9},
    ("ankle_plantarflexion", "F"): {2: 67.1, 20: 62.1},
    ("ankle_plantarflexion", "M"): {2: 55.8, 20: 54.6},
}
# Merck Manual, table Normal Values for Range of Motion of Joints, as a page printed in 2014 has it
# (extension: its "hyperextension"). AAOS: public code that cites W. B. Greene, J. D. Heckman, The
# Clinical Measurement of Joint Motion, AAOS, 1994 (three files found, no two apart).
HANDBOOKS = {
    "hip_flexion": {"merck": 125, "aaos": 120},
    "hip_extension": {"merck": 15, "aaos": 30},
    "hip_abduction": {"merck": 45, "aaos": 45},
    "hip_adduction": {"aaos": 30},
    "hip_internal_rotation": {"merck": 45, "aaos": 45},
    "hip_external_rotation": {"merck": 45, "aaos": 45},
    "knee_flexion": {"merck": 130, "aaos": 135},
    "ankle_dorsiflexion": {"merck": 20, "aaos": 20},
    "ankle_plantarflexion": {"merck": 50, "aaos": 50},
}


def test_every_range_is_as_it_was_read():
    """Whatever is marked as read somewhere is there, and whatever is there is marked so."""
    read = {("cdc", *key, age): mean for key, ages in STUDY.items() for age, mean in ages.items()}
    read |= {
        (table, motion, None, None): mean
        for motion, tables in HANDBOOKS.items()
        for table, mean in tables.items()
    }
    ours = {
        (row["table"], row["motion"], row["sex"], row["age_from"]): row["mean_deg"]
        for row in body.rows("ranges_of_motion")
        if row["status"] in ("seen", "seen, secondary")
    }
    assert ours == read


# Those cells as ranges: extension is below zero.
@pytest.mark.parametrize("sex", "FM")
@pytest.mark.parametrize("age", [5, 30])
def test_ranges_are_the_study_s_means(sex, age):
    first = {5: 2, 30: 20}[age]
    hip = body.joint_range("hip", "cdc", sex, age)
    ankle = body.joint_range("ankle", "cdc", sex, age)
    wanted = [
        -STUDY["hip_extension", sex][first],
        STUDY["hip_flexion", sex][first],
        -STUDY["ankle_plantarflexion", sex][first],
        STUDY["ankle_dorsiflexion", sex][first],
    ]
    assert_allclose(np.rad2deg([hip.low, hip.high, ankle.low, ankle.high]), wanted, atol=1e-9)
    assert np.rad2deg(body.joint_range("knee", "cdc", sex, age).high) == pytest.approx(
        STUDY["knee_flexion", sex][first]
    )


# The same table: every mean falls or stays level from 20-44 to 45-69 years.
@pytest.mark.parametrize("joint", ["hip", "knee", "ankle"])
@pytest.mark.parametrize("sex", ["F", "M"])
def test_adult_ranges_do_not_grow_with_age(joint, sex):
    younger, older = (body.joint_range(joint, "cdc", sex, age) for age in (30, 60))
    assert older.high <= younger.high
    assert older.low >= younger.low


# The same table: women exceed men in every adult column, but for dorsiflexion at 45-69.
@pytest.mark.parametrize("joint", ["hip", "knee", "ankle"])
@pytest.mark.parametrize("age", [30, 60])
def test_women_turn_their_joints_further_but_for_one(joint, age):
    women, men = (body.joint_range(joint, "cdc", sex, age) for sex in "FM")
    assert women.low < men.low
    assert (women.high > men.high) != ((joint, age) == ("ankle", 60))


# Confidence intervals printed with the means of the youngest group hold those means, and are about
# ± 1 to 2.5 degrees.
def test_confidence_intervals_hold_their_means():
    printed = [row for row in body.rows("ranges_of_motion") if row["mean_low_deg"] is not None]
    assert len(printed) == 12
    for row in printed:
        assert (row["mean_low_deg"] + row["mean_high_deg"]) / 2 == pytest.approx(
            row["mean_deg"], abs=0.051
        )


# What all handbooks and the study allow an adult (the overlap of their tables, degrees): hip
# flexion 120, hip extension 9.8 to 30, knee 130 to 142.5, dorsiflexion 11.6, plantarflexion 49.4;
# none lets the knee pass straight by more than 2.
@pytest.mark.parametrize(
    ("table", "sex", "age"),
    [
        ("aaos", None, None),
        ("merck", None, None),
        ("boone-azen", None, None),
        ("cdc", "F", 30),
        ("cdc", "M", 60),
    ],
)
def test_handbooks_and_the_study_tell_of_the_same_body(table, sex, age):
    hip, knee, ankle = (
        np.round(np.rad2deg([r.low, r.high]), 6)
        for r in (body.joint_range(joint, table, sex, age) for joint in ("hip", "knee", "ankle"))
    )
    assert hip[1] >= 120
    assert 9.8 <= -hip[0] <= 30
    assert 130 <= knee[1] <= 142.5
    assert 0 <= -knee[0] <= 2
    assert ankle[1] >= 11.6
    assert ankle[0] <= -49.4
