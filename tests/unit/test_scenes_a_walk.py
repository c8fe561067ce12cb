"""The numbers that lesson 10 says in words, and the scenes with arithmetic of their own."""

import re

import numpy as np
import pytest

from rigkit import gait
from rigkit.puppets import PUPPETS
from rigkit.scenes import a_walk as scene

TAMSIN, ODO, PIP = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip"))


def said(panel, moment):
    panel.set(**panel.presets[moment])
    return re.sub("<[^>]*>", "", panel.readout)


def speeds_deg(walk):
    return np.degrees(np.abs(np.diff(walk.bend, axis=0))) / np.diff(walk.times)[:, None]


def test_a_foot_leaves_at_59_percent_and_both_are_down_twice_for_9():
    stance = scene.stride(TAMSIN).walk.stance[100:200]
    assert np.argmin(stance[:, 0]) == 59
    assert stance.all(axis=1).sum() == 18
    assert not (~stance).all(axis=1).any()
    desc = scene.footfalls(TAMSIN).desc
    assert "from 0 to 59 percent" in desc
    assert "for 9 percent each time" in desc


def test_the_opening_does_not_tell_what_is_to_be_guessed():
    opening = scene.opening(TAMSIN)
    assert "59" not in opening.title + opening.desc
    assert ">59 %<" not in opening.svg()
    assert list(scene.MOMENTS)[4] == 59


def test_the_legs_pass_each_other_where_the_picture_says():
    ankles = scene.stride(TAMSIN).walk["ankle"][100:201, :, 2]
    ahead = ankles[:, 0] - ankles[:, 1]
    passing = [percent for percent, words in scene.MOMENTS.items() if words == "passing"]
    for percent in passing:
        assert ahead[percent - 1] * ahead[percent + 1] < 0
    assert passing == [28, 78]
    assert scene.stride_panel(TAMSIN).presets["Passing"]["percent"] == 28


def test_a_foot_has_slid_12_4_cm_when_it_leaves_and_planted_nothing():
    panel = scene.stride_panel(TAMSIN)
    words = said(panel, "About to leave")
    assert "Left foot down, slid 12.2 cm" in words
    assert "In all it slides 12.4 cm." in words
    assert "Left foot in the air; right foot down" in said(panel, "Left leaves")
    assert "Left foot down, slid 0.0 cm; right foot down." in said(panel, "About to leave, planted")


def test_a_slide_is_one_number_in_the_panel_in_the_code_and_of_the_walk():
    fine = gait.walk(TAMSIN, frames=1000, cycles=1)
    steps = gait.foot_slide_cm(fine.points[:, :, -3:], fine.stance)[:, 0]
    by_hand = steps.sum()
    assert by_hand == pytest.approx(12.4, abs=0.05)
    assert gait.walk(TAMSIN, frames=30).slide_cm[0] == pytest.approx(by_hand, abs=0.02)
    shown = scene.stride(TAMSIN, "as published")
    assert (np.isnan(shown.slid) == ~shown.walk.stance).all()
    for percent in (10, 30, 58):
        so_far = steps[: 10 * percent + 1].sum()
        assert shown.slid[100 + percent, 0] == pytest.approx(so_far, abs=1e-9)
    coarse = gait.walk(TAMSIN, cycles=1)
    coarsely = gait.foot_slide_cm(coarse.points[:, :, -3:], coarse.stance)[:, 0].sum()
    assert coarsely == pytest.approx(12.2, abs=0.05)


@pytest.mark.parametrize("puppet", [TAMSIN, ODO, PIP], ids=lambda puppet: puppet.name)
def test_everybody_slides_about_a_tenth_of_the_stride(puppet):
    walk = gait.walk(puppet, cycles=1)
    np.testing.assert_allclose(walk.slide_cm / (200 * walk.step_length), 0.1, atol=0.011)
    assert (gait.plant(walk).slide_cm < 1e-3).all()


def test_most_of_the_slide_is_after_the_landing_and_before_toe_off():
    walk = gait.walk(TAMSIN, frames=1000, cycles=1)
    steps = gait.foot_slide_cm(walk.points[:, :, -3:], walk.stance)[:, 0]
    tenths = [steps[first + 1 : first + 101].sum() for first in range(0, 600, 100)]
    assert sorted(range(6), key=lambda i: -tenths[i])[:2] == [5, 0]


def test_without_easing_a_foot_would_jump_by_1_7_cm():
    before = scene.published(TAMSIN)
    moved = 100 * (gait.foot_goals(before) - before["ankle"])[100:201, 0]
    assert moved[59, 2] == pytest.approx(1.7, abs=0.05)
    assert np.abs(np.diff(moved[59:], axis=0)).max() < 0.5
    assert "forward by −3.6 to 4.0 centimetres" in scene.moved_plot(TAMSIN).desc


@pytest.mark.parametrize(("joint", "degrees"), [("hip", 4), ("knee", 6), ("ankle", 7)])
def test_the_joints_give_way_for_a_planted_foot(joint, degrees):
    walk = gait.walk(TAMSIN, cycles=1)
    turned = getattr(gait.plant(walk), joint) - getattr(walk, joint)
    assert np.degrees(np.abs(turned).max()) == pytest.approx(degrees, abs=0.5)


def test_the_planted_ankle_moves_without_jerks_and_the_sole_clears_the_floor():
    # Minimum toe clearance 11.1 mm (SD 5.7): B. W. Schulz, J. Biomech. 44:1277-1284, 2011.
    fine = gait.plant(gait.walk(TAMSIN, frames=2000, cycles=1))
    speed = np.linalg.norm(np.gradient(fine["L_ankle"], fine.times, axis=0), axis=1)
    assert speed.max() == pytest.approx(4.0, abs=0.05)
    assert np.abs(np.diff(speed)).max() < 0.0205
    share = (fine.phase[:, 0] - 0.59) / 0.41
    sole = 1000 * fine.points[:, 0, -3:, 1].min(axis=-1)
    lowest = sole[(share > 0.3) & (share < 0.85)].min()
    assert lowest == pytest.approx(12, abs=0.5)
    assert 11.1 - 5.7 < lowest < 11.1 + 5.7
    assert sole.min() > -1e-6


def test_the_pelvis_paths_are_what_their_names_say():
    paths = {name: 100 * scene.pelvis(TAMSIN, 65, name)[100:201, 1] for name in scene.PELVES}
    assert np.ptp(paths["level, high"]) == np.ptp(paths["level, low"]) == 0
    assert paths["level, low"][0] == pytest.approx(paths["within reach"].min())
    assert np.ptp(paths["within reach"]) == pytest.approx(2.8, abs=0.05)
    rooms = 100 * gait.highest_hips(scene.published(TAMSIN, 65))[100:201].min(axis=1)
    assert (paths["within reach"] <= rooms + 1e-9).all()
    assert (paths["level, high"] > rooms).any()


@pytest.mark.parametrize(
    ("path", "pops", "short_cm", "bent_deg"),
    [
        ("level, high", 8, 1.6, 0),
        ("level, low", 0, 0.0, 14),
        ("as published", 2, 1.1, 0),
        ("within reach", 0, 0.0, 8),
    ],
)
def test_what_becomes_of_four_pelvis_paths(path, pops, short_cm, bent_deg):
    made = scene.carried(TAMSIN, 65, path)
    assert len(made.pops) == pops
    assert 100 * made.walk.miss.max() == pytest.approx(short_cm, abs=0.05)
    assert np.degrees(made.walk.knee[115:146, 0]).min() == pytest.approx(bent_deg, abs=0.5)


def test_pops_are_those_of_the_second_stride():
    every = gait.extension_pops(scene.carried(TAMSIN, 65, "level, high").walk)
    shown = scene.carried(TAMSIN, 65, "level, high").pops
    assert len(every) > len(shown)
    assert all(100 < pop.frame <= 200 for pop in shown)


def test_the_trailing_ankle_is_lifted_by_3_1_cm_at_50_percent():
    walk = gait.walk(TAMSIN, step_length=0.65, cycles=1)
    lifted = 100 * (gait.foot_goals(walk)[50, 0, 1] - TAMSIN.ankle_height)
    assert lifted == pytest.approx(3.1, abs=0.05)
    assert walk.foot_pitch[50, 0] < 0  # heel up


def test_a_long_step_within_reach_bends_the_standing_ankle_beyond_its_range():
    for step, beyond in ((0.55, 0), (0.65, 0), (0.80, 2), (0.90, 12)):
        walk = gait.plant(gait.walk(TAMSIN, step_length=step, cycles=1))
        assert gait.outside_range_deg(walk)["ankle"] == pytest.approx(beyond, abs=0.5)
    long = gait.plant(gait.walk(TAMSIN, step_length=0.9, cycles=1))
    assert long.miss.max() < 1e-9
    assert gait.extension_pops(long) == ()
    frame, side = np.unravel_index(np.argmax(long.ankle), long.ankle.shape)
    assert long.stance[frame, side]


def test_half_a_centimetre_makes_a_knee_pop_though_the_foot_is_off_by_4_mm():
    panel = scene.pop_panel(PIP)
    assert "no pop" in said(panel, "Within reach")
    words = said(panel, "Half a centimetre")
    assert "6 pops in this stride" in words
    assert "R at 45 %" in words
    assert "up to 0.4 cm" in words
    assert "pop, 807°/s" in panel.picture
    high = scene.raised(PIP, 0.5).walk
    turned = np.degrees(high.bend[144, 1] - high.bend[145, 1])
    assert turned == pytest.approx(7, abs=0.5)
    assert turned / high.times[1] == pytest.approx(807, abs=0.5)


def test_the_fastest_knee_within_reach_is_far_from_straight():
    walk = scene.raised(PIP, 0.0).walk
    speeds = speeds_deg(walk)
    frame, side = np.unravel_index(np.argmax(speeds), speeds.shape)
    assert speeds.max() == pytest.approx(638, abs=0.5)
    assert np.degrees(walk.bend[frame, side]) == pytest.approx(42, abs=0.5)
    assert walk.stance[frame, side]


def test_the_finer_one_looks_the_more_pops_there_are():
    found = []
    for frames in (24, 50, 100, 400):
        walk = gait.walk(PIP, frames=frames, cycles=1)
        found.append(
            len(gait.extension_pops(gait.plant(walk, gait.pelvis_path(walk) + [0, 0.005, 0])))
        )
    assert found == [2, 2, 6, 8]


SHARES = [(0, 0, 0), (100, 100, 100), (200, 50, 0), (0, 200, 150)]


@pytest.mark.parametrize("shares", SHARES, ids=str)
def test_what_is_read_from_the_hips_is_what_the_walk_says(shares):
    walk = scene.swung(TAMSIN, *shares)
    said = [
        100 * walk.pelvis[:, 0],
        -np.degrees(walk.pelvis_rotation),  # positive about +Y takes the left hip back
        np.degrees(walk.pelvis_obliquity),  # positive about +Z lifts the left hip
    ]
    np.testing.assert_allclose(scene.pelvis_moves(walk), np.transpose(said), atol=1e-9)


def test_shares_are_shares_and_none_is_none():
    none, once, twice = (
        np.ptp(scene.pelvis_moves(scene.swung(TAMSIN, share, share, share)), axis=0)
        for share in (0, 100, 200)
    )
    np.testing.assert_allclose(none, 0, atol=1e-9)
    np.testing.assert_allclose(twice, 2 * once, rtol=1e-6)


def test_the_hips_turn_and_drop_by_what_was_published():
    # Schwartz 2008, addendum, free speed: the extremes of rotation are −4.4 and 4.4 degrees, those
    # of obliquity −4.1 and 4.1; Tamsin's speed is within the next groups' of it.
    _, turn, drop = np.ptp(scene.pelvis_moves(scene.swung(TAMSIN, 100, 100, 100)), axis=0)
    assert turn == pytest.approx(8.8, abs=0.05)
    assert drop == pytest.approx(8.3, abs=0.05)
    assert (turn, drop) == pytest.approx((8.9, 8.2), abs=0.1)


def test_the_pelvis_sways_as_a_pendulum_would_over_feet_as_far_apart_as_her_hips():
    # x″ = (g / l) x from the foot, followed step by step from where it crosses the middle.
    walk = scene.swung(TAMSIN, 100, 0, 0)
    time, leg = walk.step_length / walk.speed, gait.leg_height(TAMSIN)
    rate = np.sqrt(gait.GRAVITY / leg)
    half = TAMSIN.hip_width / 2
    nearest = half / np.cosh(rate * time / 2)  # to the foot: x = nearest · cosh at mid-stance
    way = 2 * 100 * (half - nearest)
    assert np.ptp(scene.pelvis_moves(walk)[:, 0]) == pytest.approx(way, abs=0.02)
    assert way == pytest.approx(5.0, abs=0.05)
    # 14.0 % (SD 3.1) of the leg: table 1 of J. NeuroEng. Rehabil. 9:69, 2012.
    assert 100 * TAMSIN.hip_width == pytest.approx(17)
    assert 14.0 * leg == pytest.approx(13, abs=0.5)


def test_turning_lowers_the_rise_of_the_hips_by_as_little_as_was_measured():
    # 2.5 mm (SD 1.1) in 30 adults: D. C. Kerrigan, P. O. Riley, J. L. Lelas, U. Della Croce, Arch.
    # Phys. Med. Rehabil. 82:217-220, 2001, abstract.
    held, turned = (
        1000
        * np.ptp(gait.plant(gait.walk(TAMSIN, sway=0, rotation=share, obliquity=0)).pelvis[:, 1])
        for share in (0, 1)
    )
    assert held == pytest.approx(38, abs=0.5)
    assert held - turned == pytest.approx(3.1, abs=0.05)
    assert abs(held - turned - 2.5) < 1.1


def test_when_each_motion_of_the_pelvis_is_largest():
    sway, turn, drop = scene.pelvis_moves(scene.swung(TAMSIN, 100, 100, 100))[:100].T
    assert sway.argmax() == pytest.approx(30, abs=2)
    assert min(turn.argmax(), 100 - turn.argmax()) <= 3  # at the left foot's strike
    assert drop.argmax() == 15
    preset = scene.sway_panel(TAMSIN).presets["Drops"]["percent"]
    assert preset == 15


def test_a_preset_of_the_pelvis_says_what_its_name_says():
    panel = scene.sway_panel(TAMSIN)
    assert "in the middle, square, level." in said(panel, "Held")
    assert "to the left, square, level." in said(panel, "Sways")
    assert "in the middle, left hip 4.3° ahead, level." in said(panel, "Turns")
    assert "in the middle, square, right hip 4.1° lower." in said(panel, "Drops")
    panel.set(percent=65, sway=100, rotation=100)
    assert "to the right, right hip 3.6° ahead, left hip 4.1° lower." in panel.readout


@pytest.mark.parametrize("shares", SHARES[1:], ids=str)
def test_the_feet_stand_as_they_stood_whatever_the_pelvis_does(shares):
    held, moved = scene.swung(TAMSIN, 0, 0, 0), scene.swung(TAMSIN, *shares)
    down = held.stance
    away = [(moved[joint] - held[joint])[down] for joint in ("ankle", "heel", "ball", "toe")]
    np.testing.assert_allclose(np.ptp(np.concatenate(away), axis=0), 0, atol=1e-9)
    assert np.abs(away[0][0]).max() < 0.007  # all of them a little ahead of or behind the hips
    assert moved.slide_cm.max() < 1e-3
    assert moved.miss.max() < 1e-9
