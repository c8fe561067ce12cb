"""A card's worst case in a panel: it is the case of the card, and its readout agrees with it."""

import re

import numpy as np
import pytest

from rigkit import homework
from rigkit.homework import calling, cases
from tests.homework.solved import cases_of

SHOWN = ["07/hinge_axis", "07/swivel", "07/pole", "07/flip_frame"]
SHOWN += ["09/volume_lost", "09/twist_joints", "09/late_joint"]


def question_of(name):
    return homework.questions(name[:2])[name[3:]]


def panel_of(question, case):
    return question.shows(*calling.arguments(case))


@pytest.mark.parametrize("name", SHOWN)
def test_a_case_of_a_question_can_be_shown(name):
    question = question_of(name)
    hw = homework.open_homework(question.lesson, "ada")
    panel = panel_of(question, cases_of(question, "ada")[0])
    assert "<svg" in panel.picture
    assert hw.questions[question.name].shows is question.shows


def test_a_leg_turned_by_its_own_swivel_has_its_knee_in_place():
    question = question_of("07/swivel")
    for case in cases_of(question, "ada"):
        panel = panel_of(question, case)
        hip, knee, ankle = calling.arguments(case)
        # the signed angle about the line, written out
        line = (ankle - hip) / np.linalg.norm(ankle - hip)
        ahead = np.array([0, 0, 1]) - line[2] * line
        swivel = np.arctan2(np.cross(ahead, knee - hip) @ line, ahead @ (knee - hip))
        panel.set(swivel_deg=float(np.degrees(swivel)))
        assert "<b>0.0 cm</b>" in panel.readout


def test_the_frame_that_flips_says_so_and_no_other_does():
    question = question_of("07/flip_frame")
    for case in cases_of(question, "ada"):
        panel = panel_of(question, case)
        frames = range(len(case["goals"]))
        flips = [frame for frame in frames if "flipped" in panel.frame(frame=frame)["words"]]
        assert len(flips) <= 1
        answer = flips[0] - 1 if flips else -1
        verdict = question.judge(
            dict(zip(case, calling.arguments(case), strict=True)), {"frame": np.array(answer)}
        )
        assert verdict.score == 1


def test_a_path_is_seen_with_its_pole_straight_ahead():
    hip, pole = np.array([1.0, 2, 3]), np.array([4.0, 1, -1])
    np.testing.assert_allclose(
        cases._seen(hip, pole, pole, hip), [[0, -1, 5], [0, 0, 0]], atol=1e-12
    )


def test_a_panel_of_the_skin_has_the_values_of_the_case():
    for name, keys in (
        ("09/volume_lost", ["bend_deg"]),
        ("09/twist_joints", ["twist_deg"]),
        ("09/late_joint", ["ahead_cm", "up_cm"]),
    ):
        (case,) = cases_of(question_of(name), "ada")
        panel = panel_of(question_of(name), case)
        assert {key: panel.values[key] for key in keys} == {key: case[key] for key in keys}


def test_a_card_shows_its_worst_case():
    hw = homework.open_homework("07", "ada")

    def swivel(hip, knee, ankle):
        return 0.0

    card = hw.check(swivel)
    worst = card.outcome.inputs
    shown, meant = card.case(), panel_of(hw.questions["swivel"], worst)
    assert shown.readout == meant.readout
    assert not re.search(r"<b>0\.0 cm</b>", shown.readout)


def test_a_card_without_a_panel_says_so():
    hw = homework.open_homework("07", "ada")

    def squat_poles(hips, ankles, toes, upper, lower):
        return ankles

    with pytest.raises(ValueError, match="no panel shows a case of 07/squat_poles"):
        hw.check(squat_poles).case()
    with pytest.raises(ValueError, match="no panel"):
        hw.check(nothing=1).case()
