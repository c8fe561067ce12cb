"""What lesson 01 asks: neutral starts, telling states, and numbers by other formulas."""

import numpy as np
import pytest

from rigkit import body
from rigkit.puppets import PUPPETS
from rigkit.scenes import joint_centres as scene
from tests.unit.asked import replies, told

TAMSIN = PUPPETS["Tamsin"]


def test_the_skin_slides_alike_everywhere_once_the_knee_is_bent():
    panel = scene.slide_guess()
    assert told(panel) is None
    assert "sin" not in panel.frame()["words"]  # the formula has no place on the shin in it
    assert "sin 30.0° = 5.5 cm" in panel.frame(bend_deg=60)["words"]
    assert told(panel, bend_deg=55) is None
    assert told(panel, bend_deg=90, ahead_cm=0.0) is None  # on the pin nothing slides
    for bend_deg in (60, 95, 120):
        chord = np.sqrt(2 * 5.5**2 * (1 - np.cos(np.radians(bend_deg))))  # law of cosines
        right, words = told(panel, bend_deg=bend_deg)
        assert right == ["all the same"]
        assert words.count(f"<b>{chord:.1f} cm</b>") == 2


def test_each_mistake_about_the_slide_is_met_by_its_name():
    # Two sides of 2 cm with 60° between them: an equilateral triangle.
    said = replies(scene.slide_check())
    assert said(2.0) == (True, said(2.01)[1])
    for answer, part in (
        (25, "how far the ankle travels"),  # the same triangle with the shank's 25 cm
        (1, "half of the red side"),
        (np.sqrt(3), "halve the angle first"),
        (np.sqrt(12), "doubled"),
        (np.pi * 2 / 3, "along the arc"),
        (0, "At rest"),
        (4, "sin(half the bend)"),
        (-2, "no minus"),
        (20, "sin(half the bend)"),
        (3.95, "for radians"),  # the sine of 30 radians is -0.98803
        (-3.95, "for radians"),
        (2 * 2 * 0.98803, "for radians"),
    ):
        right, words = said(answer)
        assert not right
        assert part in words, answer


def test_the_leg_turns_about_the_one_place_that_stays():
    panel = scene.hip_guess(TAMSIN)
    assert panel.frame()["found"] is None
    assert panel.frame(out_deg=19)["found"] is None
    found = panel.frame(out_deg=40)["found"]
    # Where the perpendicular bisectors of the studs' ways meet.
    rest, now = np.array(scene.STUDS), scene._swung(scene.STUDS, 40)
    ways = now - rest
    centre = np.linalg.solve(ways, np.sum(ways * (rest + now) / 2, axis=1))
    np.testing.assert_allclose(centre, scene.hip_place(), atol=1e-12)
    stage, _ = scene.swing(TAMSIN, 40)
    np.testing.assert_allclose(found["right"], stage.place(centre), atol=0.01)
    np.testing.assert_allclose(found["cm"], stage.px_per_metre / 100)
    # Outward by the shares of exercise 01, from this pelvis' measures.
    out = 0.28 * 16 + 0.16 * 24 + 0.79
    assert f"<b>{12 - out:.1f} cm</b> nearer the middle" in found["words"]
    assert f"<b>{-100 * centre[1]:.1f} cm</b> below" in found["words"]


def test_the_studs_ways_are_chords():
    hip = scene.hip_place()
    _, words = scene.swing(TAMSIN, 30)
    for stud in scene.STUDS:
        chord = 2 * np.hypot(*np.subtract(stud, hip)) * np.sin(np.radians(15))
        assert f"{100 * chord:.1f} cm" in words


def test_each_mistake_about_the_hips_is_met_by_its_name():
    # Bell's shares of the width: 0.36 outward, 0.30 below, 0.19 behind (Bell and others 1990).
    said = replies(scene.hip_check())
    assert said(2 * 0.36 * 25)[0]
    assert said(100 * PUPPETS["Pip"].hip_width)[0]  # where lesson 02 finds Pip's hips
    for answer, part in (
        (0.36 * 25, "one hip"),
        (25, "front point to front point"),
        (2 * 0.30 * 25, "leads down"),
        (2 * 0.19 * 25, "leads back"),
        (25 - 18, "left over"),
        (25 + 18, "from the middle"),
        (0, "outward from the middle"),
        (36, "outward from the middle"),
        (180, "outward from the middle"),
        (10, "outward from the middle"),
    ):
        right, words = said(answer)
        assert not right
        assert part in words, answer


def test_the_lesson_sets_two_rules_side_by_side():
    bell = 100 * body.hip_centres("bell-1990", pelvis_width=0.24).left
    out, up = 100 * scene.hip_place()
    assert 0.4 < out - bell[0] < 0.6  # half a centimetre farther out
    assert 0.9 < bell[1] - up < 1.1  # a centimetre lower


def test_three_rules_follow_a_longer_leg():
    panel = scene.hips_guess(TAMSIN)
    assert told(panel) is None
    assert told(panel, leg_cm=93.0) is None
    assert told(panel, leg_cm=105.0, width_cm=28.0) is None  # two measures at once tell nothing
    right, words = told(panel, leg_cm=105.0)
    assert right == ["three"]
    assert all(rule in words for rule in ("Harrington's", "Hara's", "Davis's"))
    assert "Bell" not in words
    # Hara's rule is linear in the leg's length: twice as much longer, twice as far.
    far, near = (
        np.linalg.norm(
            scene.hip_places(24.0, 16.0, leg)["Hara"] - scene.hip_places(24.0, 16.0, 91.0)["Hara"]
        )
        for leg in (105.0, 98.0)
    )
    assert far == pytest.approx(2 * near)


def test_the_arc_for_a_centimetre_holds_on_other_takes():
    right, words = told(scene.arc_guess(TAMSIN))
    (miss,) = scene.typical_miss_cm(TAMSIN, [right], 3, takes=800)
    assert miss == pytest.approx(1.0, abs=0.15)
    three = scene.arc_for_a_centimetre(TAMSIN, scene.THREE)
    (miss,) = scene.typical_miss_cm(TAMSIN, [three], 3, scene.THREE, takes=800)
    assert miss == pytest.approx(1.0, abs=0.15)
    assert f"about {right:.0f}°" in words


def test_the_opening_shows_no_slide():
    assert "cm" not in scene.opening().svg()
