"""What lesson 09 asks: neutral starts, telling states, and each number by another formula."""

import re

import numpy as np
import pytest

from rigkit.puppets import PUPPETS
from rigkit.scenes import skinning as scene

TAMSIN, PIP = PUPPETS["Tamsin"], PUPPETS["Pip"]
THEN = {
    "bend": {"bend_deg": 90},
    "twist": {"twist_deg": 180},
    "reach": {"softness": 3},
    "late": {"ahead_cm": 4},
}


def guess(name):
    make = getattr(scene, f"{name}_guess")
    return make() if name == "twist" else make(TAMSIN)


@pytest.mark.parametrize("name", THEN)
def test_a_panel_starts_without_telling_and_tells_what_its_words_say(name):
    panel = guess(name)
    assert panel.frame()["found"] is None
    assert panel.ask.then
    found = panel.frame(**THEN[name])["found"]
    assert re.search(r"<b>\d+(\.\d)? (cm|%|cm³)</b>", found["words"])


def test_a_seated_knee_keeps_its_depth_over_the_root_of_two():
    panel = guess("bend")
    deep = float(re.search(r"([\d.]+) cm deep", panel.ask.question)[1])
    found = panel.frame(bend_deg=90)["found"]
    assert found["right"] == pytest.approx(deep / np.sqrt(2), abs=0.05)
    assert f"dual quaternions {deep:.1f} cm" in found["words"]
    assert panel.frame(bend_deg=89)["found"] is None


@pytest.mark.parametrize(
    ("typed", "right", "says"),
    [
        (lambda deep: deep * np.sqrt((1 + np.cos(np.radians(100))) / 2), True, "cos 50°"),
        (lambda deep: 7.0, True, "cos 50°"),
        (lambda deep: deep * np.sin(np.radians(50)), False, "Sine for cosine"),
        (lambda deep: deep * -np.cos(np.radians(100)), False, "half"),
        (lambda deep: deep * 80 / 180, False, "falls slowly"),
        (lambda deep: deep * abs(np.cos(50)), False, "radians"),
        (lambda deep: deep, False, "arc"),
        (lambda deep: deep / 2, False, "Half the angle"),
        (lambda deep: 0.0, False, "Half the angle"),
        (lambda deep: 100 * deep / 360, False, "Half the angle"),
    ],
)
def test_the_depth_of_pip_s_knee(typed, right, says):
    """The right one by the half-angle formula of the cosine."""
    check = scene.depth_check(PIP).ask
    verdict, words = check.reply(typed(float(re.search(r"([\d.]+) cm deep", check.question)[1])))
    assert verdict is right
    assert says in words


def test_the_folded_answer_is_the_product_it_names():
    check = scene.depth_check(PIP).ask
    deep, half = (
        float(each) for each in re.search(r"([\d.]+) cm × cos (\d+)°", check.because).groups()
    )
    assert f"About {deep * np.cos(np.radians(half)):.1f} cm" in check.still()


def test_the_mesh_itself_is_as_deep_as_the_check_says():
    section = scene.knee(PIP, 100.0).section
    depth = 100 * np.linalg.norm(section[0] - section[1])
    assert scene.depth_check(PIP).ask.reply(depth)[0]


@pytest.mark.parametrize(
    ("typed", "right", "says"),
    [
        (0.31 + 0.41, True, "adds its own height"),
        (0.41, False, "with the inverse"),
        (0.10, False, "seen from the joint"),
        (0.31, False, "There the joint is"),
        (0.62, False, "both heights"),
        (0.82, False, "0.31 m, not the point's again"),
        (0.0, False, "both heights"),
    ],
)
def test_a_point_without_its_inverse_bind_matrix(typed, right, says):
    check = scene.twice_check(PIP).ask
    assert "0.31 m above" in check.question
    assert "at 0.41 m" in check.question
    verdict, words = check.reply(typed)
    assert verdict is right
    assert says in words


def test_a_joint_moved_late_takes_only_its_own_skin_along():
    found = guess("late").frame(ahead_cm=4)["found"]
    assert found["right"] == ["what goes with the knee"]
    assert "the calf moved by <b>4.0 cm</b>, the thigh by <b>0.0 cm</b>" in found["words"]
    assert "<b>5.0 cm</b>" in guess("late").frame(ahead_cm=3, up_cm=4)["found"]["words"]
    for state in ({"ahead_cm": 1}, {"ahead_cm": 4, "bound": scene.BOUND[1]}, {"bend_deg": 90}):
        assert guess("late").frame(**state)["found"] is None


@pytest.mark.parametrize(
    ("typed", "right", "says"),
    [
        (np.hypot(3, 4) / 4, True, "25 %"),
        (1.3, True, "25 %"),
        (5, False, "only its share"),
        (7 / 4, False, "hypotenuse"),
        (15 / 4, False, "thigh's share"),
        (0, False, "No angle changed"),
        (7, False, "Pythagoras"),
        (4, False, "Pythagoras"),
        (0.75, False, "Pythagoras"),
        (1.0, False, "Pythagoras"),
    ],
)
def test_a_point_that_takes_a_share_of_the_move(typed, right, says):
    verdict, words = scene.moved_check().ask.reply(typed)
    assert verdict is right
    assert says in words


@pytest.mark.parametrize(
    ("typed", "right", "says"),
    [
        ((1 - 0.5 - 0.3 - 0.15) * 800, True, "missing 0.05"),
        (0, False, "keep up"),
        (760, False, "what is missing"),
        (5, False, "each metre"),
        (95, False, "Add the weights"),
        (-40, False, "Add the weights"),
        (120, False, "Add the weights"),
    ],
)
def test_a_point_whose_weights_miss_a_little(typed, right, says):
    verdict, words = scene.lag_check().ask.reply(typed)
    assert verdict is right
    assert says in words


def test_half_a_turn_leaves_nothing_of_the_stocking():
    found = guess("twist").frame(twist_deg=180)["found"]
    assert found["right"] == ["nothing"]
    assert f"{10 / np.sqrt(2):.1f} cm" in found["words"]  # after a quarter turn
    for state in ({"twist_deg": 180, "joints": 3}, {"twist_deg": 90}):
        assert guess("twist").frame(**state)["found"] is None


def test_a_softer_blend_keeps_the_same_section_and_less_volume():
    found = guess("reach").frame(softness=3)["found"]
    assert found["right"] == ["the same"]
    assert f"<b>{100 / np.sqrt(2):.0f} %</b>" in found["words"]
    assert "from 203 to <b>330 cm³</b>" in found["words"]
    for state in ({"softness": 1}, {"softness": 3, "blend": scene.DUAL}, {"bend_deg": 120}):
        assert guess("reach").frame(**state)["found"] is None


def test_the_first_picture_shows_a_knee_at_rest():
    opening = scene.opening(TAMSIN)
    assert "10.2 cm" in opening.svg()
    assert not re.search(r"\d+ %", opening.svg() + opening.title)
    assert "50 % of its depth left" in scene.both_ways(TAMSIN).svg()
