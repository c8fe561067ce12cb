"""Lesson 05's scenes: the numbers its prose and its pictures' alternatives say, and that curves and
legs agree."""

import re

import numpy as np
import pytest

from rigkit import two_bone
from rigkit.puppets import PUPPETS
from rigkit.scenes import two_bone_answer as scene

TAMSIN, ODO, PIP = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip"))
FULL = TAMSIN.leg_length


def texts(picture):
    return re.findall(r"<text[^>]*>([^<]*)</text>", picture.svg())


def test_one_distance_makes_one_triangle_wherever_the_goal_is():
    below, ahead = (
        scene.goal(TAMSIN, *place)[0].pictures[1] for place in ((0.0, 70.0), (42.0, 56.0))
    )
    assert texts(below) == texts(ahead)
    assert {"114.1°", "70.0 cm"} <= set(texts(below))
    assert "65.9°" in texts(scene.goal(TAMSIN, 0.0, 70.0)[0].pictures[0])
    presets = scene.goal_panel(TAMSIN).presets
    assert presets["Straight below"] == {"forward_cm": 0.0, "below_cm": 70.0}
    assert presets["As far, swung ahead"] == {"forward_cm": 42.0, "below_cm": 56.0}


def test_the_angles_of_a_triangle_add_to_half_a_turn():
    for distance in (0.05, 0.3, 0.7, 0.834, 1.0):
        angles = [
            float(text[:-1])
            for text in texts(scene._triangle(ODO, distance, ""))
            if text.endswith("°")
        ]
        assert sum(angles) == pytest.approx(180, abs=0.15)


def test_reach_and_miss_are_as_the_lesson_says():
    assert "from 21.8 to 108.0 cm" in scene.goal(ODO, 0.0, 15.0)[1]
    assert (
        "thigh straight up. Too near: the leg is folded, miss <b>6.8 cm</b>"
        in scene.goal(ODO, 0.0, 15.0)[1]
    )
    presets = scene.reach_panel(ODO).presets
    assert (presets["Folded"]["below_cm"], presets["Full reach"]["below_cm"]) == (21.8, 108.0)
    assert presets["Too near"]["below_cm"] < 21.8 < 108.0 < presets["Too far"]["below_cm"]
    assert abs(TAMSIN.thigh - TAMSIN.shank) == pytest.approx(0.002)
    assert "Too far: the leg is straight, miss <b>5.1 cm</b>" in scene.goal(TAMSIN, 28.0, 84.0)[1]
    assert "ankle is on its goal" in scene.goal(TAMSIN, 0.0, 70.0)[1]


def test_the_last_millimetre_and_the_square_root():
    assert scene.knee_deg(TAMSIN, FULL - 0.01) == pytest.approx(17.8, abs=0.05)  # "18°"
    assert scene.knee_deg(TAMSIN, FULL - 0.001) == pytest.approx(5.6, abs=0.05)
    bent = scene.knee_deg(TAMSIN, FULL - np.array([0.016, 0.004, 0.001, 0.00025]))
    np.testing.assert_allclose(bent[:-1] / bent[1:], 2, rtol=5e-3)
    turned = -np.diff(scene.knee_deg(TAMSIN, FULL + np.arange(-4, 2) / 100))
    np.testing.assert_allclose(turned.round(), [5, 6, 7, 18, 0])


def test_four_times_the_soft_length_halves_the_top_speed_and_costs_four_times_as_much():
    for soft in (0.002, 0.005):
        speed, cost = (
            [f(s) for s in (soft, 4 * soft)]
            for f in (
                lambda s: scene.degrees_a_mm(TAMSIN, FULL - s, s),
                lambda s: FULL - two_bone.soft_reach(FULL, *TAMSIN.bones, s),
            )
        )
        assert speed[0] / speed[1] == pytest.approx(2, rel=0.01)
        assert cost[1] / cost[0] == pytest.approx(4)
        assert cost[0] / soft == pytest.approx(0.37, abs=0.005)


def test_a_soft_knee_is_fastest_where_softening_begins():
    distance = FULL + np.linspace(-0.12, 0.04, 1601)
    fastest = distance[np.argmax(scene.degrees_a_mm(TAMSIN, distance, 0.02))]
    assert fastest == pytest.approx(FULL - 0.02, abs=1e-4)
    assert np.isinf(scene.degrees_a_mm(TAMSIN, FULL))
    assert scene.degrees_a_mm(TAMSIN, FULL + 0.01) == 0


@pytest.mark.parametrize("puppet", [TAMSIN, ODO, PIP])
def test_the_rising_legs_the_curves_and_the_words_agree(puppet):
    for height_mm in (-120, -20, -1, 0, 40):
        picture, words = scene.rise(puppet, height_mm, 2.0)
        stage, plot = picture.pictures
        hard, soft = (
            f"{float(scene.knee_deg(puppet, puppet.leg_length + height_mm / 1000, s)):.1f}°"
            for s in (0.0, 0.02)
        )
        assert {hard, soft} <= set(texts(stage))
        assert f"Hard: knee bent <b>{hard}</b>" in words
        assert f"knee bent <b>{soft}</b>" in words
        rings = [float(y) for y in re.findall(r'<circle[^>]*cy="([^"]*)" r="6"', plot.svg())]
        drawn = [
            scene.MOST_DEG * (plot._axes.bottom - y) / (plot._axes.bottom - plot._axes.top)
            for y in rings
        ]
        assert drawn == pytest.approx([float(hard[:-1]), float(soft[:-1])], abs=1.0)


def test_a_bare_arc_cosine_fails_for_more_than_a_third_of_straight_legs():
    a, b = np.random.default_rng(5).uniform(0.2, 0.6, (2, 10_000)).round(3)
    share = np.mean(((a + b) ** 2 - a**2 - b**2) / (2 * a * b) > 1)
    assert 1 / 3 < share < 0.4
    a, b = ODO.bones  # the lesson's one leg that fails when it is just straight
    assert ((a + b) * (a + b) - a * a - b * b) / (2 * a * b) > 1


def test_both_knees_are_on_the_circle_of_the_picture():
    picture = scene.knee_circle(TAMSIN)
    assert {"knee A", "knee B", "pole A", "pole B"} <= set(texts(picture))
    for pole in (
        [0, -3, 9],
        [9, -3, 9],
        [0, -3, -9],
    ):  # the worked triangle in space: 3.2 along, 2.4 aside
        knee = two_bone.solve([0, 0, 0], [0, -5, 0], 4, 3, pole).knee
        assert knee[1] == pytest.approx(-3.2)
        assert np.hypot(knee[0], knee[2]) == pytest.approx(2.4)
