"""What lesson 07 asks: neutral starts, telling states, and each number by another formula."""

import re

import numpy as np
import pytest

from rigkit.puppets import PUPPETS
from rigkit.rotation import matrix_from_vector
from rigkit.scenes import knee_direction as scene

TAMSIN, PIP = PUPPETS["Tamsin"], PUPPETS["Pip"]
THEN = {
    "turned": {"left_cm": 20},
    "take_over": {"placed": "straight ahead"},
    "kick": {"frame": 36},
    "squat": {"turned_deg": 30},
}


def guess(name):
    return getattr(scene, f"{name}_guess")(TAMSIN)


def lever(puppet, down_cm):
    """The knee's distance from the line hip–ankle by Heron's formula, cm."""
    thigh, shank = puppet.bones
    straight = puppet.hip_height - down_cm / 100 - puppet.ankle_height
    half = (thigh + shank + straight) / 2
    area = np.sqrt(half * (half - thigh) * (half - shank) * (half - straight))
    return 200 * area / straight


@pytest.mark.parametrize("name", THEN)
def test_a_panel_starts_without_telling_and_tells_what_its_words_say(name):
    panel = guess(name)
    assert panel.frame()["found"] is None
    found = panel.frame(**THEN[name])["found"]
    assert found is not None
    assert panel.ask.then
    assert re.search(r"<b>\d+(\.\d)? cm</b>|<b>\d+°</b>", found["words"])


@pytest.mark.parametrize("left", [20.0, -20.0])
def test_the_knee_goes_aside_on_its_circle(left):
    radius = lever(TAMSIN, 13.0)
    chord = 2 * radius * np.sin(np.arctan2(20, 50) / 2)
    found = guess("turned").frame(left_cm=left)["found"]
    assert found["right"] == pytest.approx(chord)
    assert f"<b>{chord:.1f} cm</b>" in found["words"]
    assert guess("turned").frame(left_cm=left, ahead_cm=15.0)["found"] is None


def test_a_pole_in_its_own_direction_moves_nothing():
    check = scene.direction_check(PIP).ask
    assert check.right == "stays where it is"
    assert [check.reply(option)[0] for option in check.answer] == [False, True, False]
    assert "moves by 0.0 cm" in check.because
    assert "same direction" in check.reply("moves on to the left")[1]


def test_the_axis_of_a_knee_that_points_left_flexes_it():
    check = scene.hinge_check(PIP).ask
    hip, ankle = scene.lowered(PIP)
    knee = scene.solved(PIP, hip, ankle, hip + [1.0, 0.0, 0.0]).knee
    assert knee[0] - hip[0] > 0.05
    nearer = {}
    for name, axis in scene.WAYS.items():
        shank = matrix_from_vector(0.1 * np.array(axis)) @ (ankle - knee)
        nearer[name] = np.linalg.norm(knee + shank - hip) < np.linalg.norm(ankle - hip) - 1e-3
    assert check.right == "backward"
    assert nearer["backward"]
    assert not nearer["ahead"]
    assert "straighten" in check.reply("ahead")[1]
    assert not any(check.reply(option)[0] for option in set(check.answer) - {check.right})


def test_a_pole_straight_ahead_of_a_turned_out_knee_makes_it_jump_by_the_circle_s_chord():
    """The knee at radius r, 15° out, has its pole at (r sin 15°, r cos 15° + 40 cm)."""
    out, hip = np.radians(15), scene.bent(TAMSIN, 60.0)[0]
    radius = lever(TAMSIN, 100 * (TAMSIN.hip_height - hip[1]))
    pole = np.arctan2(radius * np.sin(out), radius * np.cos(out) + 40)
    chord = 2 * radius * np.sin((out - pole) / 2)
    found = guess("take_over").frame(placed="straight ahead")["found"]
    assert found["right"] == ["in line with hip and knee"]
    assert f"jump by <b>{chord:.1f} cm</b>" in found["words"]
    assert "by <b>0.0 cm</b>" in found["words"]
    assert found == guess("take_over").frame(placed="in the bend plane")["found"]
    assert guess("take_over").frame(placed="in the bend plane", aside_cm=5)["found"] is None


def test_without_a_pole_nothing_of_it_is_seen():
    frame = guess("take_over").frame()
    assert "no pole" in frame["words"]
    assert "jump" not in frame["words"]
    assert "pole" not in "".join(view["svg"] for view in frame["views"])
    assert [held["grip"] for held in frame["grips"]] == [1]


@pytest.mark.parametrize(
    ("typed", "right", "says"),
    [
        ("right", True, "sin 7.5°"),
        ("arc", True, "sin 7.5°"),
        ("rounded", True, "sin 7.5°"),
        ("rest", False, "error at rest"),
        ("cosine", False, "Cosine for sine"),
        ("share", False, "straight way between two places"),
        ("once", False, "counts twice: 2 × 16.7 cm × sin 7.5°"),
        ("scaled", True, "sin 7.5°"),
        ("radians", False, "radians"),
        (15.0, False, "degrees"),
        (0.0, False, "half the turn"),
        (20.0, False, "half the turn"),
    ],
)
def test_the_error_in_a_crouch(typed, right, says):
    check = scene.crouch_check(PIP).ask
    near, far = (float(cm) for cm in re.findall(r"([\d.]+) cm", check.question)[:2])
    answers = {
        "right": far * np.sqrt(2 - 2 * np.cos(np.radians(15))),  # law of cosines
        "arc": far * np.radians(15),
        "rounded": round(far * np.radians(15), 1),
        "rest": near * np.sqrt(2 - 2 * np.cos(np.radians(15))),
        "cosine": far * np.cos(np.radians(15)),
        "share": far / 6,
        "once": far * np.sqrt((1 - np.cos(np.radians(15))) / 2),  # half-angle formula
        "scaled": 0.47 / 1.8 * far,  # from the lesson's own numbers
        "radians": 2 * far * abs(np.sin(7.5)),
    }
    verdict, words = check.reply(answers.get(typed, typed))
    assert verdict is right
    assert says in words


@pytest.mark.parametrize(("degrees", "lever_cm"), [(5.0, 1.1), (80.0, 16.7)])
def test_levers_by_heron_s_formula(degrees, lever_cm):
    hip = scene.bent(PIP, degrees, 0.0)[0]
    found = lever(PIP, 100 * (PIP.hip_height - hip[1]))
    assert found == pytest.approx(lever_cm, abs=0.1)
    assert f"{found:.1f} cm" in scene.crouch_check(PIP).ask.question


def test_at_rest_15_degrees_on_a_nearly_straight_knee_s_circle_are_half_a_centimetre():
    hip = scene.bent(TAMSIN, 5.0)[0]
    radius = lever(TAMSIN, 100 * (TAMSIN.hip_height - hip[1]))
    assert radius == pytest.approx(1.8, abs=0.05)
    law_of_cosines = 1.8 * np.sqrt(2 - 2 * np.cos(np.radians(15)))
    assert law_of_cosines == pytest.approx(0.47, abs=0.005)  # as the lesson says


def test_the_readout_counts_the_swivel_to_her_left_as_minus():
    assert "Swivel <b>−21.8°" in scene.turned_panel(TAMSIN).frame(left_cm=20)["words"]
    assert np.degrees(np.arctan2(20, 50)) == pytest.approx(21.8, abs=0.05)


def test_the_knee_turns_over_where_the_goal_s_angle_passes_the_pole_s():
    hip, _ = scene.lowered(TAMSIN, 0.0)
    pole = scene.kick_pole(TAMSIN) - hip
    pole_deg = np.degrees(np.arctan2(pole[2], -pole[1]))
    goal_deg = -10 + 110 * np.arange(37) / 36
    before = np.flatnonzero(goal_deg < pole_deg)[-1]
    assert guess("kick").frame(frame=int(before))["found"] is None
    found = guess("kick").frame(frame=int(before) + 1)["found"]
    assert found["right"] == [scene.KICKED[1]]
    assert found["words"].startswith(f"Between frames {before} and {before + 1}, within 4.0 cm")
    assert guess("kick").frame(frame=36, aside_cm=3)["found"] is None


def test_the_chart_shows_no_more_than_has_happened():
    panel = guess("kick")
    paths = [panel.frame(frame=frame)["views"][1]["svg"].count("L") for frame in (0, 12, 36)]
    assert paths == sorted(paths)
    assert paths[1] - paths[0] == 12
    assert panel.frame()["words"] == "Frame 0 of 36."


def test_only_a_pole_beyond_the_sweep_never_flips():
    check = scene.sweep_check(PIP).ask
    right = [name for name, (degrees, _) in scene.POLE_WAYS.items() if not -10 < degrees < 100]
    assert [check.right] == right
    for name, (degrees, _) in scene.POLE_WAYS.items():
        if name == check.right:
            continue
        frame = int((degrees + 10) / 110 * 36)  # the last one short of the pole
        assert f"after frame {frame}" in check.reply(name)[1]
        assert not check.reply(name)[0]


def test_a_near_pole_turns_more_by_the_angle_it_is_seen_under():
    hip = scene.bent(TAMSIN, 5.0)[0]
    radius = lever(TAMSIN, 100 * (TAMSIN.hip_height - hip[1]))
    near, far = (np.degrees(np.arctan2(1, radius + cm)) for cm in (5, 100 * TAMSIN.leg_length))
    found = scene.distance_guess(TAMSIN).frame()["found"]
    assert found["right"] == ["one 5 cm in front"]
    assert f"<b>{near:.1f}°</b>" in found["words"]
    assert f"<b>{far:.1f}°</b>" in found["words"]


def test_only_poles_that_follow_the_feet_keep_the_knees_over_turned_out_toes():
    found = guess("squat").frame(turned_deg=30)["found"]
    assert found["right"] == ["the feet"]
    pose = scene.rig(TAMSIN, "nothing").pose(scene.squat_values(30.0))
    hip, _, ankle, _ = scene.legs(TAMSIN, pose)[0]
    assert np.allclose((hip - ankle)[[0, 2]], 0)
    aside = lever(TAMSIN, 100 * (TAMSIN.hip_height - hip[1])) * np.sin(np.radians(30))
    for cm, follows in ((aside, "nothing"), (aside, "the pelvis"), (0.0, "the feet")):
        assert f"<b>{cm:.1f} cm</b> with {follows}" in found["words"]
    assert guess("squat").frame(turned_deg=30, apart_cm=20)["found"] is None
    assert guess("squat").frame(turned_deg=30, frame=0)["found"] is None


def test_the_first_picture_gives_nothing_away():
    opening = scene.opening(TAMSIN)
    assert "knees fall in" not in opening.svg() + opening.title
    assert "pole L" in opening.svg()
    assert "knees fall in" in scene.two_squats(TAMSIN).svg()
