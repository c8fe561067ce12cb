"""Lesson 02's words: each number of its prose, and the scenes that have logic of their own."""

import re

import numpy as np
import pytest

from rigkit import rotation, two_bone
from rigkit.puppets import PUPPETS
from rigkit.scenes import chains_and_frames as scene
from rigkit.scenes.staging import LEG

TAMSIN, ODO, PIP = PUPPETS["Tamsin"], PUPPETS["Odo"], PUPPETS["Pip"]
everyone = pytest.mark.parametrize("puppet", [TAMSIN, ODO, PIP], ids=lambda puppet: puppet.name)


def words(text):
    return re.sub("<[^>]+>", "", text)


# The leg in the side view


@everyone
def test_a_swung_leg_is_the_planar_chain(puppet):
    rng = np.random.default_rng(2)
    for hip, knee in rng.uniform([-20, 0], [90, 120], (20, 2)):
        leg = scene.swung_leg(puppet, hip, -knee, 0.0)[:3]
        flat = two_bone.planar_points(*np.radians([hip, knee]), puppet.thigh, puppet.shank)
        np.testing.assert_allclose((leg - leg[0])[:, [2, 1]], flat, atol=1e-12)


@everyone
def test_a_standing_leg_has_its_sole_on_the_floor(puppet):
    leg = scene.swung_leg(puppet)
    foot = leg[3:]
    np.testing.assert_allclose(foot[:, 1], 0.0, atol=1e-12)
    np.testing.assert_allclose(
        [foot[0, 2], foot[2, 2]],
        [-puppet.heel_length, puppet.foot_length - puppet.heel_length],
        atol=1e-9,
    )
    assert leg[0, 1] == pytest.approx(puppet.hip_height)


def test_a_positive_ankle_lifts_the_toes_and_the_foot_keeps_its_shape():
    flat, tipped = scene.swung_leg(TAMSIN)[3:], scene.swung_leg(TAMSIN, 0, 0, 20)[3:]
    assert tipped[2, 1] > flat[2, 1] + 0.05
    assert tipped[0, 1] < flat[0, 1]
    for a, b in ((0, 1), (1, 2), (0, 2)):
        assert scene.moved_cm(tipped[a], tipped[b]) == pytest.approx(
            scene.moved_cm(flat[a], flat[b])
        )


def test_the_same_turn_at_two_joints_carries_the_ankle_as_far_as_the_lesson_computes():
    picture = scene.carried(TAMSIN).desc
    for radius in (TAMSIN.shank, TAMSIN.thigh + TAMSIN.shank):
        assert f"{200 * radius * np.sin(np.radians(20)):.1f} cm" in picture


def test_hip_and_knee_of_thirty_degrees_leave_the_shank_upright():
    text = words(scene.turn_joints(TAMSIN, 30.0, 30.0, 0.0, "knee")[1])
    assert "thigh +30° → +30°, shank −30° → 0°, foot 0° → 0°" in text
    assert "20.8 cm ahead of the hip and 77.8 cm below it" in text


def test_the_watched_joint_says_what_it_carries():
    hip_to_ankle = np.hypot(
        TAMSIN.thigh + TAMSIN.shank * np.cos(np.radians(50)), TAMSIN.shank * np.sin(np.radians(50))
    )
    ankle_to_toes = np.hypot(TAMSIN.ankle_height, TAMSIN.foot_length - TAMSIN.heel_length)
    says = {joint: words(scene.turn_joints(TAMSIN, 20.0, 50.0, 10.0, joint)[1]) for joint in LEG}
    assert (
        f"The hip's turn carries the ankle {200 * hip_to_ankle * np.sin(np.radians(10)):.1f} cm"
        in says["hip"]
    )
    assert (
        f"The knee's turn carries the ankle {200 * TAMSIN.shank * np.sin(np.radians(25)):.1f} cm"
        in says["knee"]
    )
    assert (
        f"The ankle's turn carries the toes {200 * ankle_to_toes * np.sin(np.radians(5)):.1f} cm"
        in says["ankle"]
    )


def test_a_joint_that_does_not_turn_carries_nothing():
    picture, text = scene.turn_joints(TAMSIN, 20.0, 0.0, 0.0, "knee")
    assert "the ankle 0.0 cm and the toes 0.0 cm" in words(text)
    assert "cm" not in picture.desc


# Two turns in either order


def test_the_order_of_small_turns_hardly_matters_and_of_large_ones_it_does():
    gaps = [scene.order_gap_cm(TAMSIN, degrees, degrees) for degrees in (5, 10, 20, 40, 60)]
    assert gaps == sorted(gaps)
    assert gaps[1] < 0.5  # ten degrees each
    assert scene.order_gap_cm(TAMSIN, 60, 40) == pytest.approx(31.7, abs=0.05)
    assert scene.order_gap_cm(TAMSIN, 30, 7) < 1.5
    assert scene.order_gap_cm(TAMSIN, 60, 0) == scene.order_gap_cm(TAMSIN, 0, 40) == 0


def test_at_a_right_angle_abduction_first_becomes_a_spin_of_the_leg():
    flexed_first, abducted_first = scene.hip_turns(90, 45)
    np.testing.assert_allclose(
        flexed_first @ [0, -1, 0], np.array([1, 0, 1]) / np.sqrt(2), atol=1e-12
    )
    np.testing.assert_allclose(abducted_first @ [0, -1, 0], [0, 0, 1], atol=1e-12)  # straight ahead
    np.testing.assert_allclose(
        abducted_first @ [0, 0, 1], np.array([-1, 1, 0]) / np.sqrt(2), atol=1e-12
    )
    flexed = scene.hip_turns(90, 0)[0]
    np.testing.assert_allclose(
        flexed @ [0, 0, 1], [0, 1, 0], atol=1e-12
    )  # its own z has come to point up


@pytest.mark.parametrize("turns", [(60, 40), (90, 45), (30, 7), (10, 10), (0, 0)])
def test_both_ankles_are_at_one_height_so_the_view_from_above_shows_the_whole_gap(turns):
    first, second = (turn @ [0, -TAMSIN.leg_length, 0] for turn in scene.hip_turns(*turns))
    assert first[1] == pytest.approx(second[1], abs=1e-12)
    assert f"{scene.order_gap_cm(TAMSIN, *turns):.1f} cm apart" in words(
        scene.two_orders(TAMSIN, *turns)[1]
    )


# A rest pose that reads zero


@everyone
def test_a_carved_step_has_a_level_foot(puppet):
    foot = scene.swung_leg(puppet, *scene.STEP.values())[3:]
    assert foot[0, 1] == pytest.approx(foot[2, 1])


def test_zero_keeps_a_step_in_the_rest_and_loses_one_in_the_turns():
    kept, lost = scene.two_rests(ODO).pictures
    assert "stays: 0.0 cm" in kept.desc
    stepping, straight = (scene.swung_leg(ODO, *angles)[2] for angles in (scene.STEP.values(), ()))
    assert scene.moved_cm(stepping, straight) == pytest.approx(44.8, abs=0.05)
    assert "44.8 cm" in lost.desc


# Legs hung from the pelvis


@everyone
def test_keeping_the_numbers_jumps_by_the_height_of_the_pelvis(puppet):
    places = {
        how: scene.hung(puppet, *how).rest_world
        for how in (("none", False), ("none", True), ("the pelvis", False), ("the pelvis", True))
    }
    before = places["none", False]
    np.testing.assert_allclose(places["none", True], before)
    np.testing.assert_allclose(places["the pelvis", False], before, atol=1e-12)
    for name in ("L_hip", "R_hip", "L_ankle", "R_toe"):
        at = scene.hung(puppet, "none").index(name)
        jumped = scene.hung(puppet, "the pelvis", True)
        way = jumped.rest_world[jumped.index(name), :3, 3] - before[at, :3, 3]
        np.testing.assert_allclose(way, [0, puppet.hip_height, 0], atol=1e-12)


def test_the_panel_on_parents_says_what_the_prose_says():
    text = words(scene.hang_legs(PIP, "the pelvis", 0.0, 0.0)[1])
    assert (
        "Numbers kept: the left hip's local place is 9.0 cm left, 58.0 cm up; the foot is off its"
        " place" in text
    )
    assert "by 58.0 cm" in text
    assert (
        "Place kept: the left hip's local place is 9.0 cm left, 0.0 cm up; the foot is where it"
        " belongs" in text
    )
    text = words(scene.hang_legs(PIP, "none", 20.0, 0.0)[1])
    assert (
        text == "No parent yet: the left hip's local place is 9.0 cm left, 58.0 cm up; "
        "the foot is left behind by 20.0 cm."
    )


def test_legs_that_kept_their_place_follow_the_pelvis():
    text = words(scene.hang_legs(PIP, "the pelvis", -12.0, 15.0)[1])
    assert (
        "Place kept: the left hip's local place is 9.0 cm left, 0.0 cm up; the foot is where it"
        " belongs" in text
    )
    assert "off its place by 58.0 cm" in text  # however the pelvis turns


# What can be taken: its quick formulas, held to the whole skeleton


def grip(panel, name):
    return next(grip for grip in panel.grips if grip.name == name)


@everyone
def test_the_grips_of_a_turned_leg_are_its_joints(puppet):
    panel = scene.joints_panel(puppet)
    rng = np.random.default_rng(3)
    for hip, knee, ankle in rng.uniform([-20, 0, -40], [90, 120, 30], (20, 3)):
        leg = scene.swung_leg(puppet, hip, -knee, ankle)
        turns = {"hip_deg": hip, "knee_deg": knee, "ankle_deg": ankle, "joint": "knee"}
        for name, point in (("Knee", 1), ("Ankle", 2), ("Toe", -1)):
            found = grip(panel, name).at(**turns)
            np.testing.assert_allclose(found, leg[point, [2, 1]], atol=1e-12)


@everyone
def test_the_grips_of_two_orders_are_both_ankles(puppet):
    panel, skeleton = scene.orders_panel(puppet), scene.standing(puppet)
    for turns in ((60.0, 40.0), (0.0, 60.0), (90.0, 0.0)):
        for order, name in enumerate(("Ankle, flex first", "Ankle, abduct first")):
            world = skeleton.pose({"L_hip": scene.hip_turns(*turns)[order]})
            ankle = world[skeleton.index("L_ankle"), :3, 3]
            found = grip(panel, name).at(flexion_deg=turns[0], abduction_deg=turns[1])
            np.testing.assert_allclose(found, ankle, atol=1e-12)


def test_the_grips_of_a_hung_leg_are_where_the_skeleton_carries_them():
    panel, skeleton = scene.hang_panel(PIP), scene.hung(PIP, "the pelvis")
    world = skeleton.pose(
        {"pelvis": rotation.matrix_about("z", -np.radians(12.0))}, {"pelvis": [0.07, 0.0, 0.0]}
    )
    for name, joint in (("Pelvis", "pelvis"), ("Left foot's place", "L_ankle")):
        found = grip(panel, name).at(parent="the pelvis", aside_cm=7.0, lean_deg=12.0)
        np.testing.assert_allclose(found, world[skeleton.index(joint), :3, 3], atol=1e-12)
