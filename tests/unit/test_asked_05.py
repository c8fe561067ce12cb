"""Lesson 05's guesses and checks: what tells, what is right by another formula, what is said."""

import numpy as np
import pytest

from rigkit.puppets import PUPPETS
from rigkit.scenes import two_bone_answer as scene

TAMSIN, ODO, PIP = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip"))


def flexion(a, b, c):
    """Knee flexion [degrees] of a leg of bones a and b whose ends are c apart, by half angles."""
    s = (a + b + c) / 2
    return 180 - np.degrees(2 * np.arctan2(np.sqrt((s - a) * (s - b)), np.sqrt(s * (s - c))))


def found(panel, **values):
    return panel.frame(**values)["found"]


@pytest.mark.parametrize(
    ("make", "puppet"),
    [
        (scene.swing_guess, TAMSIN),
        (scene.near_guess, ODO),
        (scene.millimetre_guess, TAMSIN),
        (scene.soft_guess, TAMSIN),
    ],
)
def test_the_start_tells_nothing(make, puppet):
    assert make(puppet).frame()["found"] is None


def test_the_opening_has_lengths_and_no_angle():
    said = scene.opening(TAMSIN).desc
    assert "41.6 cm" in said
    assert "°" not in said


def test_a_goal_swung_about_the_hip_leaves_the_knee_as_it_is():
    panel = scene.swing_guess(TAMSIN)
    told = found(panel, forward_cm=42, below_cm=56)
    assert told["right"] == ["It stays as it is"]
    assert told["words"].count(f"{flexion(*TAMSIN.bones, 0.70):.1f}°") == 2
    assert found(panel, forward_cm=42, below_cm=70) is None  # farther away
    assert found(panel, forward_cm=5, below_cm=70) is None  # hardly swung


def test_odo_comes_no_nearer_than_shank_minus_thigh_and_nothing_says_so_before():
    panel = scene.near_guess(ODO)
    near = 100 * (ODO.shank - ODO.thigh)
    assert found(panel, below_cm=10)["right"] == pytest.approx(near)
    assert found(panel, below_cm=-15)["right"] == pytest.approx(near)
    assert found(panel, below_cm=25) is None
    assert f"{near:.1f}" not in panel.readout + panel.shown["label"] + "".join(panel.presets)
    assert f"from {near:.1f} to 108.0 cm" in panel.frame(below_cm=10)["words"]


def test_a_millimetre_before_straight_is_a_third_of_a_centimetres_bend():
    panel = scene.millimetre_guess(TAMSIN)
    full = TAMSIN.leg_length
    right, centimetre = (flexion(*TAMSIN.bones, full - short) for short in (0.001, 0.01))
    assert found(panel, height_mm=-1)["right"] == [f"{right:.1f}°"]
    assert panel.ask.answer == tuple(
        f"{bent:.1f}°" for bent in (centimetre / 100, centimetre / 10, right)
    )
    assert f"{100 * right / centimetre:.0f} %" in found(panel, height_mm=-1)["words"]
    assert found(panel, height_mm=0) is None
    assert panel.shown["views"][1]["svg"].count("L") < 100  # its curve is still to be drawn


@pytest.mark.parametrize("height_mm", [-120, -10, -1, 0, 40])
def test_the_straightening_leg_is_the_hard_leg_of_the_two(height_mm):
    bent = flexion(*TAMSIN.bones, min(TAMSIN.leg_length, TAMSIN.leg_length + height_mm / 1000))
    for words in (scene.straighten(TAMSIN, height_mm)[1], scene.rise(TAMSIN, height_mm, 2.0)[1]):
        assert f"nee bent <b>{bent:.1f}°" in words


@pytest.mark.parametrize("soft_cm", [0.5, 2.0, 8.0])
def test_a_soft_foot_hangs_by_a_share_of_e(soft_cm):
    told = found(scene.soft_guess(TAMSIN), height_mm=0, soft_cm=soft_cm)
    assert told["right"] == ["A third of the soft length or so"]
    assert f"{soft_cm / np.e:.1f} cm" in told["words"]
    assert found(scene.soft_guess(TAMSIN), height_mm=0, soft_cm=0) is None


def heard(panel, answers):
    for answer, words in answers.items():
        right, said = panel.ask.reply(answer)
        assert not right
        assert words in said
    return panel.ask.reply


def test_three_equal_sides():
    panel = scene.law_check()
    reply = heard(
        panel,
        {
            60: "inside the knee",
            30: "sine",
            np.radians(120): "radians",
            np.radians(60): "in radians",
            -120: "size is right",
            90: "3, 4 and 5",
            0.5: "cosine",
            -0.5: "cosine",
        },
    )
    assert reply(flexion(0.4, 0.4, 0.4))[0]
    for answer in (0, 180, 45, 240, 119):
        assert reply(answer) == (False, panel.ask.hint)


def test_too_near_a_leg_with_a_long_thigh():
    panel = scene.reach_check()
    reply = heard(
        panel,
        {
            0: "too near",
            70 - 22: "full extension",
            30: "from the goal",
            30 + 22: "subtract",
            22 - 20: "takes the shank",
            -8: "no minus",
            0.08: "metres",
        },
    )
    ankles = np.linspace(50 - 20, 50 + 20, 4001)  # all that the ankle can reach on that line
    assert reply(np.abs(ankles - 22).min())[0]
    for answer in (22, 70, 20, 50, 28):
        assert reply(answer) == (False, panel.ask.hint)


def test_a_ninth_of_the_way_is_a_third_of_the_bend():
    panel = scene.ninth_check()
    reply = heard(
        panel,
        {
            12 / 9: "with the distance",
            12 / 81: "squares",
            6: "a quarter",
            12 * 8 / 9: "takes a ninth",
            8: "on the way",
            36: "divide",
        },
    )
    full = PIP.leg_length
    missing = np.linspace(1e-6, 0.01, 200_001)
    bent = flexion(*PIP.bones, full - missing)
    ninth = np.interp(12, bent, missing) / 9
    assert reply(flexion(*PIP.bones, full - ninth))[0]
    for answer in (0, 3, 9, 108, 12):
        assert reply(answer) == (False, panel.ask.hint)


def test_nine_times_as_soft_is_a_third_as_fast():
    panel = scene.bargain_check()
    reply = heard(panel, {"A ninth": "nine times", "An eighty-first": "squares"})
    assert reply("A third")[0]
    full, h = ODO.leg_length, 1e-5
    for soft in (0.003, 0.027):  # the speed where softening begins, by a difference
        d = full - soft
        fast = (flexion(*ODO.bones, d - h) - flexion(*ODO.bones, d + h)) / (2000 * h)
        assert f"{fast:.2f}°" in panel.ask.because
