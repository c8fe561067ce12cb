"""Human measurements: their arithmetic, shapes and refusals; the numbers themselves are checked in
tests/outside."""

import csv
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import body, frames, rotation

MEASURES = {
    "pelvis_width": 0.24,
    "pelvis_depth": 0.16,
    "leg_length": 0.88,
    "pelvis_height": 0.10,
    "marker_radius": 0.007,
}
LANDMARKS = {
    "left_asis": [0.12, 1.0, 0.05],
    "right_asis": [-0.12, 1.0, 0.05],
    "left_psis": [0.04, 1.02, -0.10],
    "right_psis": [-0.04, 1.02, -0.10],
}
BAD = [np.nan, np.inf, "long", [], None, 0.0, -1.0]
lengths = st.floats(0.05, 3.0)
coordinates = st.lists(st.floats(-2, 2), min_size=3, max_size=3)


# Segment lengths


@pytest.mark.parametrize("table", body.SEGMENT_TABLES)
def test_lengths_are_the_table_s_shares_of_stature(table):
    for row in body.rows("segments"):
        if row["table"] == table:
            assert getattr(body.segment_lengths(1.7, table), row["quantity"]) == pytest.approx(
                1.7 * row["fraction"]
            )


@pytest.mark.parametrize("table", body.SEGMENT_TABLES)
def test_lengths_in_a_batch_equal_lengths_one_by_one(table):
    statures = np.array([[1.5, 1.6, 1.7], [1.8, 1.9, 2.0]])
    together = body.segment_lengths(statures, table)
    for index in np.ndindex(statures.shape):
        alone = body.segment_lengths(statures[index], table)
        for field in fields(alone):
            one, many = getattr(alone, field.name), getattr(together, field.name)
            assert (one is None) == (many is None)
            if one is not None:
                assert many[index] == one


def test_integers_and_lists_are_as_good_as_floats():
    assert body.segment_lengths(2).thigh == body.segment_lengths(2.0).thigh
    assert_array_equal(
        body.segment_lengths([1, 2]).shank, body.segment_lengths(np.array([1.0, 2.0])).shank
    )


def test_a_table_without_a_number_says_none():
    assert body.segment_lengths(1.7, "de-leva-men").hip_height is None
    assert body.segment_lengths(1.7, "drillis-contini").ball_length is None


@pytest.mark.parametrize("stature", BAD)
def test_impossible_statures_are_refused(stature):
    with pytest.raises(ValueError, match="`stature`"):
        body.segment_lengths(stature)


@pytest.mark.parametrize("table", ["nobody", "", None, 3])
def test_unknown_tables_are_refused_with_the_list(table):
    with pytest.raises(ValueError, match="`table` must be one of 'drillis-contini'"):
        body.segment_lengths(1.7, table)


# Pelvis and hip centres


def test_a_pelvis_that_faces_forward():
    pelvis = body.pelvis(*LANDMARKS.values())
    assert_allclose(pelvis.frame[:3, 3], [0, 1, 0.05])
    assert_allclose(pelvis.frame[:3, 0], [1, 0, 0], atol=1e-15)
    forward = np.array([0, -0.02, 0.15])  # from the middle of the PSISs to the middle of the ASISs
    assert_allclose(pelvis.frame[:3, 2], forward / np.linalg.norm(forward))
    assert pelvis.width == pytest.approx(0.24)
    assert pelvis.depth == pytest.approx(np.linalg.norm(forward))


@given(turn=coordinates, shift=coordinates, method=st.sampled_from(body.HIP_METHODS))
@settings(max_examples=40)
def test_moving_the_landmarks_moves_the_hips_with_them(turn, shift, method):
    move = frames.frame(rotation.matrix_from_vector(turn), shift)
    still = body.pelvis(*LANDMARKS.values())
    moved = body.pelvis(*(frames.apply(move, point) for point in LANDMARKS.values()))
    assert_allclose(moved.frame, move @ still.frame, atol=1e-12)
    measures = MEASURES | {"pelvis_width": still.width, "pelvis_depth": still.depth}
    hips = body.hip_centres(method, **measures)
    assert_allclose(
        frames.apply(moved.frame, hips.left),
        frames.apply(move, frames.apply(still.frame, hips.left)),
        atol=1e-12,
    )


def test_pelves_in_a_batch_equal_pelves_one_by_one():
    points = [
        np.array(p) + np.random.default_rng(2).normal(scale=0.01, size=(4, 3))
        for p in LANDMARKS.values()
    ]
    together = body.pelvis(*points)
    for i in range(4):
        alone = body.pelvis(*(p[i] for p in points))
        assert_allclose(together.frame[i], alone.frame, atol=1e-15)
        assert_allclose([together.width[i], together.depth[i]], [alone.width, alone.depth])


@pytest.mark.parametrize("name", LANDMARKS)
@pytest.mark.parametrize("bad", [[np.nan, 0, 0], [0, np.inf, 0], [0, 0], [], "point", None])
def test_bad_landmarks_are_refused_by_name(name, bad):
    with pytest.raises(ValueError, match=f"`{name}`"):
        body.pelvis(**{**LANDMARKS, name: bad})


def test_landmarks_that_make_no_frame_are_refused():
    with pytest.raises(ValueError, match="ASISs must be apart"):
        body.pelvis([0, 1, 0], [0, 1, 0], [0.1, 1, -0.1], [-0.1, 1, -0.1])
    with pytest.raises(ValueError, match="PSISs must lie behind"):
        body.pelvis([1, 1, 0], [-1, 1, 0], [0.5, 1, 0], [-0.5, 1, 0])


@pytest.mark.parametrize("method", body.HIP_METHODS)
def test_the_hips_are_mirror_images_inside_the_pelvis(method):
    hips = body.hip_centres(method, **MEASURES)
    assert_allclose(hips.right, hips.left * [-1, 1, 1])
    assert 0 < hips.left[0] < 0.12  # to the left, inside the ASIS
    assert hips.left[1] < 0  # below
    assert hips.left[2] < 0  # behind


@pytest.mark.parametrize("method", body.HIP_METHODS)
def test_hips_in_a_batch_equal_hips_one_by_one(method):
    widths, legs = np.array([[0.22], [0.25]]), np.array([0.8, 0.9, 1.0])
    together = body.hip_centres(method, **MEASURES | {"pelvis_width": widths, "leg_length": legs})
    for i, j in np.ndindex(2, 3):
        alone = body.hip_centres(
            method, **MEASURES | {"pelvis_width": widths[i, 0], "leg_length": legs[j]}
        )
        assert_allclose(np.broadcast_to(together.left, (2, 3, 3))[i, j], alone.left)


@given(scale=st.floats(0.5, 2.0))
@settings(max_examples=20)
@pytest.mark.parametrize("method", ["bell-1989", "bell-1990", "leardini", "seidel"])
def test_rules_of_pure_ratios_scale_with_the_body(method, scale):
    big = {name: value * scale for name, value in MEASURES.items()}
    assert_allclose(
        body.hip_centres(method, **big).left, scale * body.hip_centres(method, **MEASURES).left
    )


def test_a_measure_the_method_does_not_use_may_be_left_out():
    alone, among_others = (
        body.hip_centres("bell-1990", pelvis_width=0.24),
        body.hip_centres("bell-1990", **MEASURES),
    )
    assert_array_equal(alone.left, among_others.left)


@pytest.mark.parametrize(
    ("method", "needs"),
    [
        ("harrington", "pelvis_depth"),
        ("hara", "leg_length"),
        ("davis", "pelvis_width"),
        ("seidel", "pelvis_depth"),
    ],
)
def test_a_missing_measure_is_named(method, needs):
    with pytest.raises(ValueError, match=f"`{needs}` must be given for the method '{method}'"):
        body.hip_centres(method)


@pytest.mark.parametrize("name", MEASURES)
@pytest.mark.parametrize("bad", [b for b in BAD if b is not None])
def test_bad_measures_are_refused_by_name(name, bad):
    with pytest.raises(ValueError, match=f"`{name}`"):
        body.hip_centres("harrington", **MEASURES | {name: bad})


def test_measures_that_do_not_broadcast_are_refused():
    with pytest.raises(ValueError, match="must broadcast"):
        body.hip_centres(**MEASURES | {"pelvis_width": [0.2, 0.3], "leg_length": [0.8, 0.9, 1.0]})


def test_unknown_methods_are_refused_with_the_list():
    with pytest.raises(ValueError, match="`method` must be one of"):
        body.hip_centres("guess", **MEASURES)


# Ranges of motion


@pytest.mark.parametrize("joint", body.JOINT_MOTIONS)
def test_a_joint_range_spans_standing_straight(joint):
    reach = body.joint_range(joint)
    assert reach.low <= 0 < reach.high < np.pi


def test_cdc_ranges_depend_on_sex_and_age_and_bands_meet_at_birthdays():
    assert np.rad2deg(body.joint_range("knee", "cdc", "F", 30).high) == pytest.approx(141.9)
    assert np.rad2deg(body.joint_range("knee", "cdc", "M", 30).high) == pytest.approx(137.7)
    assert body.joint_range("hip", "cdc", "M", 8.9) == body.joint_range("hip", "cdc", "M", 2)
    assert body.joint_range("hip", "cdc", "M", 9) != body.joint_range("hip", "cdc", "M", 8.9)
    assert body.joint_range("hip", "cdc", "M", np.float64(69.9)) == body.joint_range(
        "hip", "cdc", "M", 45
    )


def test_outside_measures_how_far_an_angle_leaves_the_range():
    knee = body.joint_range("knee")  # 0 to 135 degrees
    assert_allclose(
        np.rad2deg(knee.outside(np.deg2rad([-5, 0, 60, 135, 145]))), [-5, 0, 0, 0, 10], atol=1e-12
    )
    assert knee.outside(1) == 0


@given(angle=st.floats(-4, 4), joint=st.sampled_from(list(body.JOINT_MOTIONS)))
@settings(max_examples=50)
def test_taking_off_what_is_outside_lands_in_the_range(angle, joint):
    reach = body.joint_range(joint)
    held = angle - reach.outside(angle)
    assert reach.low - 1e-12 <= held <= reach.high + 1e-12
    assert (reach.outside(angle) == 0) == (reach.low <= angle <= reach.high)


@pytest.mark.parametrize("bad", [np.nan, np.inf, "far", [], None])
def test_bad_angles_are_refused(bad):
    with pytest.raises(ValueError, match="`angles`"):
        body.joint_range("knee").outside(bad)


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("elbow",), "`joint` must be one of 'hip'"),
        (("knee", "almanac"), "`table` must be one of 'cdc'"),
        (("knee", "cdc"), "`sex` must be one of 'F', 'M'"),
        (("knee", "cdc", "F"), "`age`"),
        (("knee", "cdc", "F", 1), "2 to below 70"),
        (("knee", "cdc", "F", 70), "2 to below 70"),
        (("knee", "cdc", "F", np.nan), "`age`"),
        (("knee", "cdc", "F", [20, 30]), "`age` must be one age"),
        (("knee", "merck", "F", 30), "`sex` and `age` must be left out"),
        (("hip_abduction", "cdc", "F", 30), "must list hip adduction"),
        (("hip_abduction", "merck"), "must list hip adduction"),
    ],
)
def test_ranges_that_are_not_there_are_refused(arguments, says):
    with pytest.raises(ValueError, match=says):
        body.joint_range(*arguments)


# Where the numbers come from

STATUSES = {"seen", "seen, secondary", "computed", "from memory", "our choice"}


@pytest.mark.parametrize("name", body.DATA)
def test_every_number_has_a_status_and_a_known_source(name):
    known = {work.key for work in body.sources()}
    for row in body.rows(name):
        assert row["status"] in STATUSES
        assert row["source"] in known
        assert any(isinstance(value, float) for value in row.values())


def test_every_data_file_is_read_and_every_source_is_used():
    folder = Path(body.__file__).parent / "data"
    assert {path.stem for path in folder.glob("*.csv")} == {*body.DATA, "sources"}
    assert all(sum(work.statuses.values()) > 0 for work in body.sources())


@pytest.mark.parametrize(
    "path", sorted((Path(body.__file__).parent / "data").glob("*.csv")), ids=lambda p: p.stem
)
def test_data_files_have_full_rows_and_no_duplicates(path):
    with path.open(encoding="utf-8", newline="") as file:
        head, *table = csv.reader(file)
    assert all(len(row) == len(head) for row in table)
    assert len({tuple(row) for row in table}) == len(table)


@pytest.mark.parametrize("name", body.DATA)
def test_a_printed_table_carries_its_statuses_citations_and_the_caution(name):
    text = body.as_text(name)
    assert text.endswith(body.CAUTION)
    assert all(row["status"] in text for row in body.rows(name))
    cited = {row["source"] for row in body.rows(name)}
    assert all(work.citation in text for work in body.sources() if work.key in cited)


def test_rows_cannot_be_changed_by_a_reader():
    with pytest.raises(TypeError):
        body.rows("segments")[0]["fraction"] = 1.0


@pytest.mark.parametrize("read", [body.rows, body.as_text])
@pytest.mark.parametrize("name", ["sources", "../secret", None, ["segments"]])
def test_unknown_data_files_are_refused(read, name):
    with pytest.raises(ValueError, match="`name` must be one of"):
        read(name)
