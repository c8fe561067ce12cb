"""Parts that scenes share: signed numbers, directions in words, a puppet's leg on a stage."""

import numpy as np
import pytest

from rigkit import foot, placement, rotation
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.scenes import staging, words
from rigkit.stage import Stage

TAMSIN, PIP = PUPPETS["Tamsin"], PUPPETS["Pip"]


@pytest.mark.parametrize(
    ("value", "digits", "text"),
    [(12, 0, "+12°"), (-3.46, 1, "−3.5°"), (0, 0, "0°"), (0.04, 1, "0.0°"), (-0.04, 1, "0.0°")],
)
def test_a_signed_number_has_a_true_minus_a_plus_and_no_sign_at_zero(value, digits, text):
    assert words.signed(value, digits) == text
    assert words.signed(np.float64(value), digits, " cm") == text.replace("°", " cm")


def test_a_number_that_words_direct_has_a_minus_only():
    assert [words.number(value) for value in (1.26, -0.26, -0.01)] == ["1.3", "−0.3", "0.0"]
    assert words.number(-0.256, 2) == "−0.26"


@pytest.mark.parametrize(
    ("cm", "text", "or_zero"),
    [
        (3.2, "3.2 cm ahead", "3.2 cm ahead"),
        (-3.2, "3.2 cm behind", "3.2 cm behind"),
        (-0.051, "0.1 cm behind", "0.1 cm behind"),
        (0.051, "0.1 cm ahead", "0.1 cm ahead"),
        (0.049, "0.0 cm ahead", "level"),
        (-0.049, "0.0 cm ahead", "level"),
    ],
)
def test_a_direction_is_said_from_where_a_digit_shows_it(cm, text, or_zero):
    assert words.directed(cm, "ahead", "behind") == text
    assert words.directed(cm, "ahead", "behind", "level") == or_zero
    assert words.directed(12, "up", "down", unit="°") == "12.0° up"


def test_shares_are_whole_percents_and_a_capital_leaves_the_rest():
    assert words.percent(0.714) == "71 %"
    assert words.capital("damped McQueen steps") == "Damped McQueen steps"


@pytest.mark.parametrize("kind", placement.MIRROR_KINDS)
@pytest.mark.parametrize("tag", ["L_", "R_"])
def test_a_leg_at_rest_stands_on_its_sole_however_its_frames_are_turned(kind, tag):
    rig = LegRig.from_puppet(PIP, preset_bend_deg=5.0)
    skeleton = placement.mirror_skeleton(rig.skeleton, "L_", kind)
    points = staging.leg_points(PIP, skeleton, skeleton.rest_world, tag)
    sole = foot.of_puppet(PIP)
    names = ("hip", "knee", "ankle", "ball", "toe")
    joints = skeleton.origins(skeleton.rest_world, [tag + name for name in names])
    np.testing.assert_allclose(points[[0, 1, 2, 4, 5]], joints)
    np.testing.assert_allclose((points[3] - points[2])[[2, 1]], np.subtract(sole.heel, sole.ankle))
    assert points[3, 0] == points[2, 0]
    assert staging.stiff(points).tolist() == points[[0, 1, 2, 3, 5]].tolist()


def test_the_heel_turns_with_the_ankle_in_every_pose_of_a_batch():
    skeleton = LegRig.from_puppet(TAMSIN).skeleton
    up = rotation.matrix_about("x", np.radians([0.0, -90.0]))
    rest, tipped = staging.leg_points(TAMSIN, skeleton, skeleton.pose({"L_ankle": up}))
    back, down = (rest[2] - rest[3])[[2, 1]]
    np.testing.assert_allclose(tipped[3] - tipped[2], [0.0, -back, down], atol=1e-12)


def test_a_leg_is_drawn_with_a_bending_or_a_stiff_foot_under_its_chain():
    skeleton = LegRig.from_puppet(TAMSIN).skeleton
    points = staging.leg_points(TAMSIN, skeleton, skeleton.rest_world)
    hip, knee, ankle, heel, ball, toe = points
    for drawn, more in ((points, (ball,)), (staging.stiff(points), ())):
        meant = Stage().foot(ankle, heel, toe, *more, kind="inverse", side="L")
        meant.chain([hip, knee, ankle], "inverse", "L", thickness=9)
        assert staging.draw_leg(Stage(), drawn, "inverse", "L", thickness=9).svg() == meant.svg()


def test_a_planar_leg_ends_at_its_goal_or_straight_before_it():
    hip = np.array([0.1, 0.9])
    leg, points = staging.planar_leg(TAMSIN, hip, (0.2, 0.2))
    np.testing.assert_allclose(points[[0, 2]], [hip, (0.2, 0.2)], atol=1e-12)
    np.testing.assert_allclose(np.linalg.norm(np.diff(points, axis=0), axis=-1), TAMSIN.bones[:2])
    leg, points = staging.planar_leg(TAMSIN, hip, hip - [0.0, 2.0])
    assert leg.miss == pytest.approx(2 - TAMSIN.leg_length)
    np.testing.assert_allclose(points[2], hip - [0.0, TAMSIN.leg_length], atol=1e-12)


def test_a_half_stage_is_scaled_and_takes_what_a_stage_takes():
    meant = Stage("front", (-0.5, -1.0), (0.5, 2.0), "A title", width=430)
    assert staging.half_stage("A title", (-1, -2), (1, 4), 0.5, "front").svg() == meant.svg()
    assert staging.half_stage("A title", (-1, -2), (1, 4), width=200).width == 200
    assert staging.size(TAMSIN) == TAMSIN.hip_height / 0.9


@pytest.mark.parametrize(("cm", "drawn"), [(0.049, False), (0.05, True), (3.0, True)])
def test_a_distance_is_measured_from_where_a_digit_shows_it(cm, drawn):
    ends, text = ((0.0, 0.5), (0.0, 0.6)), f"{cm:.1f} cm"
    measured = Stage().measure(*ends, text, "plain", offset=30)
    noted = Stage().note(ends[1], "0.0 cm", "goal", "left")
    silent, said = staging.measure_cm, staging.measure_or_zero
    more = {"kind": "plain", "offset": 30}
    assert silent(Stage(), *ends, cm, **more).svg() == (measured if drawn else Stage()).svg()
    assert said(Stage(), *ends, cm, "left", **more).svg() == (measured if drawn else noted).svg()


def test_a_skeleton_with_one_joint_moved_leaves_all_others_in_place():
    skeleton = LegRig.from_puppet(TAMSIN).skeleton
    frame = skeleton.rest_world[skeleton.index("R_knee")].copy()
    frame[:3, 3] += [0.0, 0.01, 0.02]
    moved = staging.with_rest(skeleton, {"R_knee": frame})
    off = np.linalg.norm(moved.rest_world - skeleton.rest_world, axis=(1, 2))
    assert [name for name, far in zip(moved.names, off, strict=True) if far > 1e-9] == ["R_knee"]
    np.testing.assert_allclose(moved.rest_world[moved.index("R_knee")], frame, atol=1e-12)
    assert [moved.parent(name) for name in moved.names] == list(map(skeleton.parent, moved.names))


def test_a_place_between_frames_lies_on_the_line_between_them():
    points = np.array([[0.0, 1.0], [2.0, 0.0], [3.0, 5.0]])
    for frame in (0, 0.25, 1, 1.5, 2):
        wanted = [np.interp(frame, range(3), column) for column in points.T]
        np.testing.assert_allclose(staging.at_frame(points, frame), wanted)
