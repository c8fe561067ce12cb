"""What lesson 03 asks: neutral starts, telling states, and numbers by other formulas."""

import numpy as np
import pytest

from rigkit import placement
from rigkit.puppets import PUPPETS
from rigkit.scenes import two_sides as scene
from tests.unit.asked import replies, told

TAMSIN, ODO, PIP = PUPPETS["Tamsin"], PUPPETS["Odo"], PUPPETS["Pip"]


def test_a_reflected_knee_swings_forward():
    panel = scene.knee_guess(TAMSIN)
    assert panel.values["kind"] == "reflection"
    assert told(panel) is None
    assert told(panel, knee_deg=29) is None
    assert told(panel, knee_deg=60, kind="same bend") is None
    right, words = told(panel, knee_deg=60)
    assert right == ["it swings forward, past straight"]
    assert "flexes 60°" in words
    assert "<b>overextends 60°</b>" in words
    skeleton, world = scene._same_numbers(TAMSIN, "reflection", 60)
    knees, ankles = (
        skeleton.origins(world, [tag + joint for tag in ("L_", "R_")])
        for joint in ("knee", "ankle")
    )
    assert (ankles - knees)[0, 2] < 0 < (ankles - knees)[1, 2]  # back on the left, forward right


def test_in_the_same_bend_one_swing_goes_out_and_in():
    said = replies(scene.swing_check())
    skeleton, world = scene._same_numbers(PIP, "same bend", 0.0, 0.0, 20.0)
    left, right = skeleton.origins(world, ["L_ankle", "R_ankle"])[:, 0]
    assert left > PIP.hip_width / 2  # out
    assert right > -PIP.hip_width / 2  # toward the left leg
    assert said("it swings in")[0]
    assert "It swings in by 20°" in said("it swings in")[1]
    assert "other two kinds" in said("it swings out")[1]
    assert "has to turn" in said("it stays")[1]


def test_a_copied_pose_is_mirrored_in_one_kind_only():
    right, words = told(scene.copied_guess(TAMSIN))
    assert right == ["about 40 cm"]
    assert "same numbers <b>0.0 cm</b>" in words
    assert "same bend <b>40.4 cm</b>" in words
    for kind in scene.KINDS:
        legs = {}
        x, y, z = scene.POSE_DEG
        skeleton, world = scene._same_numbers(TAMSIN, kind, 70, y, z, x)
        for tag in ("L_", "R_"):
            legs[tag] = skeleton.origins(world, [tag + end for end in ("knee", "ankle", "toe")])
        far = np.linalg.norm(legs["L_"] * [-1, 1, 1] - legs["R_"], axis=-1).max()
        assert f"{kind} <b>{100 * far:.1f} cm</b>" in words


def test_each_mistake_about_copied_numbers_is_met_by_its_name():
    check = scene.copied_check()
    said = replies(check)
    # A mirror turns about the mirrored axis the other way: −1 for each plain axis, +1 for one that
    # was negated once more.
    signs = [1 if axis in placement.MIRROR_KINDS["reflection"] else -1 for axis in "xyz"]
    wanted = "({:.0f}, {:.0f}, {:.0f})".format(*np.multiply(signs, (15, -10, 20)))
    assert said(wanted.replace("-", "−"))[0]
    assert check.ask.answer.index(check.ask.right) > 0
    for answer, part in (
        ("(15, −10, 20)", "Copied as they are"),
        ("(15, 10, −20)", "signs of the same bend"),
        ("(−15, 10, −20)", "fits no kind"),
    ):
        right, words = said(answer)
        assert not right
        assert part in words


def test_a_turned_hinge_takes_the_ankle_out_by_two_sines():
    right, words = told(scene.hinges_guess(TAMSIN))
    off = 100 * TAMSIN.shank * np.sin(np.radians(60)) * np.sin(np.radians(15))
    assert right == ["about 10 cm"]
    assert f"<b>{off:.1f} cm</b>" in words


def test_a_straight_leg_mirrored_across_z_hides_its_image():
    right, words = told(scene.planes_guess(TAMSIN))
    assert right == ["one leg"]
    assert f"its hip <b>{100 * TAMSIN.hip_width:.1f} cm</b>" in words
    assert "<b>0.0 cm</b> from the left one" in words


def test_the_odd_joint_is_the_ankle():
    right, words = told(scene.odd_joint_guess(ODO))
    assert right == ["ankle"]
    assert np.hypot(4, 6) == pytest.approx(7.2, abs=0.05)  # 4 mm back, 6 mm outward
    assert "<b>7 mm</b>" in words
    assert "7" not in scene.odd_joint_guess(ODO).ask.question


def test_a_turned_knee_is_off_by_nothing_until_it_bends():
    panel = scene.turned_guess(PIP)
    assert told(panel) is None
    assert told(panel, turned_deg=12, knee_deg=40) is None
    assert told(panel, turned_deg=12, outward_cm=1.0) is None
    right, words = told(panel, **panel.presets["Knee turned 12°"])
    assert right == ["0 cm"]
    # A quarter turn about x takes (0, a, f) to (0, -f, a); about an axis turned by 12° from x to
    # y's side it ends s (a - f c), f (c - 1) and f s² - a (1 - c) farther, by multiplying out.
    skeleton = scene.off_by(PIP, "knee")
    knee = skeleton.rest_world[skeleton.index("R_knee")]
    ends = skeleton.origins(skeleton.rest_world, ["R_ankle", "R_ball", "R_toe"]) - knee[:3, 3]
    _, a, f = knee[:3, :3].T @ ends.T
    s, c = np.sin(np.radians(12)), np.cos(np.radians(12))
    far = np.sqrt((s * (a - f * c)) ** 2 + (f * (1 - c)) ** 2 + (f * s**2 - a * (1 - c)) ** 2)
    assert f"<b>{100 * far.max():.1f} cm</b>" in words


def test_the_opening_shows_no_miss():
    assert "cm" not in scene.opening(TAMSIN).svg()
