"""What lesson 02 asks: neutral starts, telling states, and numbers by other formulas."""

import numpy as np
import pytest

from rigkit.puppets import PUPPETS
from rigkit.scenes import chains_and_frames as scene
from tests.unit.asked import replies, told

TAMSIN, ODO, PIP = PUPPETS["Tamsin"], PUPPETS["Odo"], PUPPETS["Pip"]


def test_the_shank_hangs_down_when_hip_and_knee_turn_alike():
    panel = scene.joints_guess(TAMSIN)
    assert told(panel) is None
    assert told(panel, hip_deg=30.0) is None
    assert told(panel, knee_deg=30.0) is None
    right, words = told(panel, **panel.presets["Hip 30°, knee 30°"])
    assert right == ["straight down"]
    assert "<b>0°</b>" in words


@pytest.mark.parametrize(("hip", "knee"), [(30, 30), (-20, 50), (80, 10), (0, 120)])
def test_a_world_angle_is_the_sum_of_the_local_ones(hip, knee):
    assert scene.shank_deg(ODO, hip, knee) == pytest.approx(hip - knee)


def test_each_mistake_about_a_world_angle_is_met_by_its_name():
    said = replies(scene.angle_check())
    assert said(-20 - 50)[0]
    for answer, part in (
        (-50, "local angle"),
        (-20, "thigh's angle"),
        (70, "Back is minus"),
        (20 - 50, "thigh forward"),
        (-20 + 50, "not forward"),
        (0, "Add the local angles"),
        (20, "Add the local angles"),
        (50, "Add the local angles"),
        (-35, "Add the local angles"),
        (110, "Add the local angles"),
    ):
        right, words = said(answer)
        assert not right
        assert part in words, answer


def test_the_hips_turn_carries_the_ankle_by_a_longer_chord():
    right, words = told(scene.carried_guess(TAMSIN))
    ways = [200 * down * np.sin(np.radians(20)) for down in (TAMSIN.shank, TAMSIN.leg_length)]
    assert f"{ways[0]:.1f} cm" in scene.carried_guess(TAMSIN).ask.question
    assert f"<b>{ways[1]:.1f} cm</b>" in words
    assert f"{ways[1] / ways[0]:.1f} times" in words
    assert right == ["twice as far"]


def test_each_mistake_about_a_quarter_turn_is_met_by_its_name():
    said, leg = replies(scene.swing_check()), 108.0
    assert 100 * ODO.leg_length == pytest.approx(leg)
    assert said(leg * np.sqrt(2))[0]  # the diagonal of a square
    assert said(152.7)[0]
    assert said(153)[0]
    for sine in (0.7, 0.71):  # of 45°, rounded
        assert said(2 * leg * sine)[0]
    for answer, part in (
        (leg, "It did both"),
        (2 * leg, "sine of the whole turn"),
        (leg / np.sqrt(2), "the 2 is missing"),
        (leg * np.pi / 2, "along the circle"),
        (2 * leg * 0.85090, "radians"),  # the sine of 45 radians
        (54, "2 r sin"),
        (0, "2 r sin"),
        (90, "2 r sin"),
        (133, "2 r sin"),
        (1.53, "2 r sin"),
    ):
        right, words = said(answer)
        assert not right
        assert part in words, answer


def test_a_turn_that_takes_a_bone_back_is_positive_about_x():
    said = replies(scene.sign_check())
    # y × z = x: about x, up turns toward forward, so a bone that hangs down turns toward back.
    assert np.cross([1, 0, 0], [0, -1, 0])[2] < 0
    assert said("+25° about x")[0]
    assert "flexion" in said("−25° about x")[1]


def test_the_order_of_two_large_turns_tells_a_forearm():
    panel = scene.orders_guess(TAMSIN)
    assert panel.values == {"flexion_deg": 60.0, "abduction_deg": 0.0}
    assert told(panel) is None
    assert told(panel, **panel.presets["Ten degrees each"]) is None
    right, words = told(panel, abduction_deg=40.0)
    f, a = np.radians([60, 40])
    # Flexed first the ankle goes out by sin a and forward by sin f cos a; abducted first, the other
    # way round.
    gap = TAMSIN.leg_length * np.hypot(
        np.sin(a) - np.cos(f) * np.sin(a), np.sin(f) * np.cos(a) - np.sin(f)
    )
    assert right == ["about 30 cm apart"]
    assert f"<b>{100 * gap:.1f} cm</b>" in words


def test_a_step_in_the_turns_is_lost_with_them():
    right, words = told(scene.rests_guess(ODO))
    thigh, shank = np.radians([scene.STEP["hip"], scene.STEP["hip"] + scene.STEP["knee"]])
    ahead = ODO.thigh * np.sin(thigh) + ODO.shank * np.sin(shank)
    down = ODO.thigh * np.cos(thigh) + ODO.shank * np.cos(shank)
    assert right == ["it straightens"]
    assert f"<b>{100 * np.hypot(ahead, ODO.leg_length - down):.1f} cm</b>" in words
    assert "moved by 0.0 cm" in words


def test_old_numbers_lift_the_legs_by_the_height_of_the_pelvis():
    panel = scene.hang_guess(PIP)
    assert told(panel) is None
    assert told(panel, aside_cm=20.0) is None
    right, words = told(panel, parent="the pelvis")
    assert right == ["they jump up"]
    assert f"<b>{100 * PIP.hip_height:.1f} cm</b>" in words


def test_the_opening_turns_nothing():
    picture = scene.opening(TAMSIN).svg()
    assert "cm" not in picture
    assert "°" not in picture
