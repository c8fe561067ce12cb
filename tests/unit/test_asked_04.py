"""Lesson 04's guesses and checks: what tells, what is right by another formula, what is said."""

import numpy as np
import pytest

from rigkit.puppets import PUPPETS
from rigkit.scenes import forward_and_inverse as scene

TAMSIN, ODO, PIP = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip"))
FRAMES_OF_TWO_SECONDS = 49


def solved(thigh, shank, drop):
    """Hip and knee [degrees] of a leg whose hip sinks over a foot that stays, by the law of
    cosines."""
    c = thigh + shank - drop
    inside = np.arccos((thigh**2 + shank**2 - c**2) / (2 * thigh * shank))
    return np.degrees([np.arcsin(shank * np.sin(inside) / c), np.pi - inside])


def right_of(panel, **values):
    return panel.frame(**values)["found"]["right"]


def words_of(panel, **values):
    return panel.frame(**values)["found"]["words"]


@pytest.mark.parametrize(
    "make",
    [
        scene.feet_guess,
        scene.hand_guess,
        scene.halfway_guess,
        scene.walk_guess,
        scene.switch_guess,
    ],
)
def test_the_start_tells_nothing(make):
    assert make(TAMSIN).frame()["found"] is None


def test_only_the_inverse_foot_stays_and_far_aside_neither_does():
    panel = scene.feet_guess(TAMSIN)
    assert panel.frame(lowered_cm=5)["found"] is None
    assert right_of(panel, lowered_cm=13) == ["Only the inverse foot"]
    assert "13.0 cm</b> from its place, the inverse foot <b>0.0 cm" in words_of(
        panel, lowered_cm=13
    )
    hip_to_ankle = np.hypot(TAMSIN.leg_length - 0.10, 0.20)  # the forward foot goes aside too
    assert hip_to_ankle < TAMSIN.leg_length
    assert right_of(panel, lowered_cm=10, left_cm=20) == ["Only the inverse foot"]


@pytest.mark.parametrize("drop", [0.08, 0.13])
def test_the_hip_turns_by_half_the_knee_once_the_foot_is_back(drop):
    hip, knee = (round(2 * angle) / 2 for angle in solved(TAMSIN.thigh, TAMSIN.shank, drop))
    panel = scene.hand_guess(TAMSIN)
    values = {"lowered_cm": 100 * drop, "hip_deg": hip, "knee_deg": knee}
    assert right_of(panel, **values, ankle_deg=knee - hip) == ["By half as much"]
    assert panel.frame(**values, ankle_deg=0)["found"] is None
    assert all(panel.frame(**preset)["found"] is None for preset in panel.presets.values())


def test_halfway_the_foot_is_a_quarter_of_the_drop_too_low():
    panel = scene.halfway_guess(TAMSIN)
    assert right_of(panel, frame=6, every="12") == ["Below its place"]
    hip, knee = np.radians(solved(TAMSIN.thigh, TAMSIN.shank, 0.13)) / 2
    ankle = TAMSIN.thigh * np.cos(hip) + TAMSIN.shank * np.cos(hip - knee)
    low = 100 * (ankle - (TAMSIN.leg_length - 0.065))
    assert f"{low:.1f} cm below" in words_of(panel, frame=6, every="12")
    assert low == pytest.approx(13 / 4, rel=0.05)
    assert panel.frame(frame=6, every="6")["found"] is None
    assert "3.2" not in panel.shown["label"] + panel.picture


def test_a_curve_is_drawn_no_farther_than_one_has_played():
    start, later = (scene.crouching(TAMSIN, frame, "12")[0].pictures[1] for frame in (0, 12))
    assert start._pieces[1].count("L") == 0
    assert later._pieces[1].count("L") == 12


def test_the_first_centimetre_costs_more_than_its_share():
    first, whole = (solved(TAMSIN.thigh, TAMSIN.shank, drop)[1] for drop in (0.01, 0.13))
    panel = scene.first_centimetre_guess(TAMSIN)
    assert right_of(panel) == ["More than its share"]
    assert f"{first:.0f}°" in words_of(panel)
    assert f"{whole:.0f}°, which makes {whole / 13:.0f}°" in panel.ask.question


def test_the_walk_tells_when_the_left_foot_is_about_to_leave():
    panel = scene.walk_guess(TAMSIN)
    assert right_of(panel, frame=14) == pytest.approx(12.4, abs=0.05)
    assert "leaves the floor" not in panel.frame(frame=13)["words"]
    points, slid, _ = scene.walks(TAMSIN)["as published"]
    down = np.isfinite(slid[24:48, 0])
    assert down[14]
    assert not down[15]
    assert np.ptp(points[24:39, 0, 3:, 2].min(axis=1)) > 0.05  # and it does move


def test_a_straight_line_cuts_the_corner_of_a_kick():
    words = words_of(scene.kick_guess(TAMSIN))
    cut = 100 * TAMSIN.leg_length * (1 - np.cos(np.radians(40)))  # a swing of 80 degrees
    nearest = TAMSIN.leg_length * np.cos(np.radians(40))
    bent = solved(TAMSIN.thigh, TAMSIN.shank, TAMSIN.leg_length - nearest)[1]
    assert f"{cut:.1f} cm" in words
    assert f"{bent:.0f}°" in words
    assert right_of(scene.kick_guess(TAMSIN)) == ["The one keyed by its hip's angle"]


def test_a_forgotten_match_drops_the_foot():
    panel = scene.switch_guess(TAMSIN)
    assert right_of(panel, frame=12, match="forgotten") == ["Its foot drops"]
    knee = solved(TAMSIN.thigh, TAMSIN.shank, 0.13)[1]
    assert f"13.0 cm</b> and the knee straightens by <b>{knee:.1f}°" in words_of(
        panel, frame=12, match="forgotten"
    )
    assert panel.frame(frame=12, match="matched")["found"] is None


def reply(panel, answer):
    return panel.ask.reply(answer)


def test_slip_is_the_straight_line_of_two_moves_at_right_angles():
    panel = scene.slip_check()
    assert reply(panel, np.hypot(12, 5))[0]
    for answer, words in {
        12 + 5: "round the corner",
        12 - 5: "right angles",
        12: "down alone",
        5: "left alone",
        0: "inverse foot",
        0.13: "metres",
    }.items():
        assert words in reply(panel, answer)[1]
    for answer in (169, 8.5, 130, 13.2, 6.5):
        assert reply(panel, answer) == (False, panel.ask.hint)


def test_the_hip_is_what_the_ankle_leaves_of_the_knee():
    panel = scene.hip_check()
    hip, knee = solved(PIP.thigh, PIP.shank, 0.13)
    ankle = knee - hip
    assert f"{knee:.1f}°" in panel.ask.question
    assert f"{ankle:.1f}°" in panel.ask.question
    assert reply(panel, hip)[0]
    for answer, words in {
        knee + ankle: "adds them",
        knee / 2: "equal length",
        -hip: "size is right",
        knee: "upright",
        ankle: "equal length only",
    }.items():
        assert reply(panel, answer)[0] is False
        assert words in reply(panel, answer)[1]
    for answer in (0, np.radians(hip), 90 - hip, 180 - knee, -ankle):
        assert reply(panel, answer) == (False, panel.ask.hint)


def test_values_are_angles_times_legs_times_frames():
    panel = scene.count_check()
    right = 3 * 2 * FRAMES_OF_TWO_SECONDS
    assert reply(panel, right)[0]
    for answer, words in {
        3 * 2 * 48: "not 48",
        3 * FRAMES_OF_TWO_SECONDS: "one leg",
        2 * 3 * 2 * 25: "middle frame twice",
        2 * FRAMES_OF_TWO_SECONDS: "one angle a leg",
        right + 3: "pelvis",
        0: "inverse legs",
    }.items():
        assert reply(panel, answer)[0] is False
        assert words in reply(panel, answer)[1]
    for answer in (49, 48, 24, 18):
        assert reply(panel, answer) == (False, panel.ask.hint)


def test_legs_dangle_as_a_forward_chain():
    panel = scene.dangle_check(TAMSIN)
    assert [reply(panel, each)[0] for each in ("forward", "inverse", "either")] == [
        True,
        False,
        False,
    ]
    # hung 10 cm higher the legs are straight, and point back to where the feet stood
    aside, down = 0.30, TAMSIN.leg_length + 0.10
    back = np.array([-aside, -down]) / np.hypot(aside, down) * TAMSIN.leg_length
    off = 100 * np.hypot(*(back - [0, -TAMSIN.leg_length]))
    assert np.hypot(aside, down) > TAMSIN.leg_length  # the quay is out of reach
    assert "stretch straight" in reply(panel, "inverse")[1]
    assert f"{off:.1f} cm" in reply(panel, "inverse")[1]
    assert f"{off:.1f} cm" in reply(panel, "forward")[1]
