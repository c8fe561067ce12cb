"""What lesson 08 asks: neutral starts, telling states, and each number by another formula."""

import numpy as np
import pytest

from rigkit.puppets import PUPPETS
from rigkit.scenes import controls as scene

TAMSIN, PIP = PUPPETS["Tamsin"], PUPPETS["Pip"]
THEN = {
    "pivot": {"toes_up_deg": 30},
    "boat": {"turned_deg": 20},
    "pelvis": {"lowered_cm": 13},
    "goal": {"step_cm": 60},
}


def guess(name):
    return getattr(scene, f"{name}_guess")(TAMSIN)


@pytest.mark.parametrize("name", THEN)
def test_a_panel_starts_without_telling_and_tells_what_its_words_say(name):
    panel = guess(name)
    start = panel.frame()
    assert start["found"] is None
    assert "0.0 cm" in start["words"]
    assert panel.ask.then
    found = panel.frame(**THEN[name])["found"]
    assert " cm</b>" in found["words"]


def test_an_ankle_above_its_pivot_moves_by_the_law_of_cosines():
    height = 100 * TAMSIN.ankle_height
    far = np.sqrt(2 * height**2 * (1 - np.cos(np.radians(30))))
    found = guess("pivot").frame(toes_up_deg=30)["found"]
    assert found["right"] == pytest.approx(far)
    assert f"<b>{far:.1f} cm</b>" in found["words"]
    assert guess("pivot").frame(toes_up_deg=30, pivot="the ankle")["found"] is None
    assert f"{height:.1f} cm above" in guess("pivot").ask.question


@pytest.mark.parametrize(
    ("typed", "right", "says"),
    [
        (6 * np.sqrt(2 * (1 - np.cos(np.radians(50)))), True, "sin 25°"),
        (5.1, True, "sin 25°"),
        (5.0, True, "sin 25°"),
        (6 * np.radians(50), False, "along the circle"),
        (6 * np.sin(np.radians(50)), False, "also comes"),
        (12 * np.sin(np.radians(50)), False, "half the turn"),
        (12 * np.cos(np.radians(25)), False, "Cosine for sine"),
        (12 * abs(np.sin(25)), False, "radians"),
        (0, False, "upright axis"),
        (6, False, "triangle"),
        (50, False, "triangle"),
    ],
)
def test_the_way_of_pip_s_ankle(typed, right, says):
    assert pytest.approx(0.06) == PIP.ankle_height
    check = scene.chord_check(PIP).ask
    assert "50°, toes up" in check.question
    verdict, words = check.reply(min(typed, 40))
    assert verdict is right
    assert says in words


def test_nothing_moves_with_an_outline():
    check = scene.outline_check(TAMSIN).ask
    assert check.right == "nothing else"
    assert "moved by 0.0 cm" in check.because
    assert [check.reply(option)[0] for option in check.answer] == [False, False, True]
    assert "Only its outline" in check.reply("the ankle, by 10 cm")[1]


@pytest.mark.parametrize(
    ("typed", "right", "says"),
    [
        (20, True, "sin 30°"),
        (20.4, True, "sin 30°"),
        (0, False, "world's axes"),
        (40 * np.sqrt(3) / 2, False, "ahead"),
        (40, False, "whole way"),
        (-20, False, "points left"),
        (40 * np.sin(30), False, "radians"),
        (30, False, "from above"),
        (40 / 3, False, "from above"),
        (23.1, False, "from above"),
    ],
)
def test_values_count_along_the_control_s_own_axes(typed, right, says):
    verdict, words = scene.zero_check(PIP).ask.reply(typed)
    assert verdict is right
    assert says in words


@pytest.mark.parametrize("turned", [20.0, -25.0])
def test_a_gap_along_the_world_s_axes_leaves_the_foot_a_chord_off_its_mark(turned):
    gap = 100 * np.hypot(*np.array(scene.BOAT)[[0, 2]])
    chord = 2 * gap * np.sin(np.radians(abs(turned)) / 2)
    panel = guess("boat")
    for way in (scene.GAPS[0], scene.GAPS[2]):
        found = panel.frame(gap=way, left_cm=10, turned_deg=turned)["found"]
        assert found["right"] == ["in the boat's own axes"]
        assert f"<b>{chord:.1f} cm</b> off" in found["words"]
        assert "own <b>0.0 cm</b>" in found["words"]
    assert panel.frame(gap=scene.GAPS[1], turned_deg=turned)["found"] is None
    assert panel.frame(left_cm=10, ahead_cm=15)["found"] is None


def test_a_lantern_ahead_of_a_cart_that_turned_left_is_to_its_old_left():
    """Seen from above with z up on the page and x to the left, (x, z) = 40 (sin 90°, cos 90°)."""
    check = scene.follow_check().ask
    assert check.right == "40 cm to its old left"
    assert [check.reply(option)[0] for option in check.answer] == [False, True, False, False]
    assert "gap lost" in check.reply("right on it")[1]
    assert "world's axes" in check.reply("40 cm ahead of it, as before")[1]


@pytest.mark.parametrize("frame", [6, 12])
def test_a_pelvis_that_goes_down_takes_only_the_knees_along(frame):
    found = guess("pelvis").frame(frame=frame, lowered_cm=13)["found"]
    down = 13 * frame / 12
    assert found["right"] == ["only the knees"]
    assert f"knee controls went <b>{down:.1f} cm</b>, the feet <b>0.0 cm</b>" in found["words"]
    assert f"On the right the feet went {down:.1f} cm." in found["words"]
    assert guess("pelvis").frame(turned_deg=40)["found"] is None


def test_what_moved_with_the_pelvis_is_named_once_it_has_moved():
    panel = guess("pelvis")
    assert panel.frame()["words"].count("<b>nothing</b>") == 2
    words = panel.frame(lowered_cm=13)["words"]
    assert "Feet follow nothing: <b>L_knee, R_knee</b> moved" in words
    assert "<b>L_foot, L_knee, R_foot, R_knee</b> moved" in words


def test_a_goal_shared_by_half_lands_midway():
    found = guess("goal").frame(step_cm=60)["found"]
    assert found["right"] == pytest.approx((40 + 60) / 2)
    assert "<b>50.0 cm</b>" in found["words"]
    assert guess("goal").frame(step_cm=60, share_percent=100)["found"] is None
    assert guess("goal").frame(step_cm=60, frame=12)["found"] is None
