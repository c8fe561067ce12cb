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


def test_a_foot_has_slid_13_cm_when_it_is_about_to_leave_and_planted_nothing():
    panel = scene.stride_panel(TAMSIN)
    assert "Left foot down, slid 13.0 cm" in said(panel, "About to leave")
    assert "Left foot in the air; right foot down" in said(panel, "Left leaves")
    assert "Left foot down, slid 0.0 cm; right foot down, slid 0.0 cm" in said(
        panel, "About to leave, planted"
    )


@pytest.mark.parametrize("puppet", [TAMSIN, ODO, PIP], ids=lambda puppet: puppet.name)
def test_everybody_slides_a_tenth_of_the_stride_or_more(puppet):
    walk = gait.walk(puppet, cycles=1)
    assert (walk.slide_cm >= 0.1 * 200 * walk.step_length).all()
    assert (gait.plant(walk).slide_cm < 1e-3).all()


def test_most_of_the_slide_is_after_the_landing_and_before_toe_off():
    walk = gait.walk(TAMSIN, cycles=1)
    steps = gait.foot_slide_cm(walk.points[:, :, -3:], walk.stance)[:, 0]
    tenths = [steps[first + 1 : first + 11].sum() for first in range(0, 60, 10)]
    assert sorted(range(6), key=lambda i: -tenths[i])[:2] == [5, 0]


def test_without_easing_a_foot_would_jump_by_5_3_cm():
    before = scene.published(TAMSIN)
    moved = 100 * (gait.foot_goals(before) - before["ankle"])[100:201, 0]
    assert moved[59, 2] == pytest.approx(5.3, abs=0.05)
    assert np.abs(np.diff(moved[59:], axis=0)).max() < 0.5
    assert "forward by −3.0 to 5.6 centimetres" in scene.moved_plot(TAMSIN).desc


def test_the_knee_gives_way_by_12_degrees_for_a_planted_foot():
    walk = gait.walk(TAMSIN, cycles=1)
    assert np.degrees(np.abs(gait.plant(walk).knee - walk.knee).max()) == pytest.approx(12, abs=0.5)


def test_the_pelvis_paths_are_what_their_names_say():
    paths = {name: 100 * scene.pelvis(TAMSIN, 65, name)[100:201, 1] for name in scene.PELVES}
    assert np.ptp(paths["level, high"]) == np.ptp(paths["level, low"]) == 0
    assert paths["level, low"][0] == pytest.approx(paths["within reach"].min())
    assert np.ptp(paths["within reach"]) == pytest.approx(3.7, abs=0.05)
    rooms = 100 * gait.highest_hips(scene.published(TAMSIN, 65))[100:201].min(axis=1)
    assert (paths["within reach"] <= rooms + 1e-9).all()
    assert (paths["level, high"] > rooms).any()


@pytest.mark.parametrize(
    ("path", "pops", "short_cm", "bent_deg"),
    [
        ("level, high", 6, 1.7, 0),
        ("level, low", 0, 0.0, 25),
        ("as published", 2, 0.2, 0),
        ("within reach", 0, 0.0, 13),
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


def test_the_trailing_ankle_is_lifted_by_3_8_cm_at_50_percent():
    walk = gait.walk(TAMSIN, step_length=0.65, cycles=1)
    lifted = 100 * (gait.foot_goals(walk)[50, 0, 1] - TAMSIN.ankle_height)
    assert lifted == pytest.approx(3.8, abs=0.05)
    assert walk.foot_pitch[50, 0] < 0  # heel up


def test_a_long_step_within_reach_bends_the_standing_ankle_beyond_its_range():
    for step, beyond in ((0.55, 0), (0.65, 0), (0.80, 12), (0.90, 19)):
        walk = gait.plant(gait.walk(TAMSIN, step_length=step, cycles=1))
        assert gait.outside_range_deg(walk)["ankle"] == pytest.approx(beyond, abs=0.5)
    long = gait.plant(gait.walk(TAMSIN, step_length=0.8, cycles=1))
    frame, side = np.unravel_index(np.argmax(long.ankle), long.ankle.shape)
    assert long.stance[frame, side]


def test_half_a_centimetre_makes_a_knee_pop_though_the_foot_is_off_by_2_mm():
    panel = scene.pop_panel(PIP)
    assert "no pop" in said(panel, "Within reach")
    words = said(panel, "Half a centimetre")
    assert "4 pops in this stride (R at 41 %" in words
    assert "up to 0.2 cm" in words
    assert "pop, 952°/s" in panel.picture
    high = scene.raised(PIP, 0.5).walk
    assert np.degrees(high.bend[140, 1] - high.bend[141, 1]) == pytest.approx(8, abs=0.5)


def test_the_fastest_knee_within_reach_is_far_from_straight():
    walk = scene.raised(PIP, 0.0).walk
    speeds = speeds_deg(walk)
    frame, side = np.unravel_index(np.argmax(speeds), speeds.shape)
    assert speeds.max() == pytest.approx(623, abs=0.5)
    assert np.degrees(walk.bend[frame, side]) == pytest.approx(40, abs=0.5)
    assert walk.stance[frame, side]


def test_the_finer_one_looks_the_more_pops_there_are():
    found = []
    for frames in (24, 50, 100, 400):
        walk = gait.walk(PIP, frames=frames, cycles=1)
        found.append(
            len(gait.extension_pops(gait.plant(walk, gait.pelvis_path(walk) + [0, 0.005, 0])))
        )
    assert found == [0, 0, 4, 8]
