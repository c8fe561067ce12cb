"""Lesson 03's words and pictures, held to the library."""

import itertools
import re

import numpy as np
import pytest

from rigkit import placement, rotation
from rigkit.puppets import PUPPETS
from rigkit.scenes import two_sides as scene

TAMSIN, ODO, PIP = PUPPETS["Tamsin"], PUPPETS["Odo"], PUPPETS["Pip"]


def numbers(kind, knee=0.0, turn=0.0, swing=0.0):
    """Anatomy's angles of the left and the right leg: knee flexion, hip rotation inward,
    abduction."""
    return scene.anatomy(TAMSIN, *scene._same_numbers(TAMSIN, kind, knee, turn, swing))


@pytest.mark.parametrize(
    ("kind", "signs"),
    [("same bend", (1, -1, -1)), ("same numbers", (1, 1, 1)), ("reflection", (-1, -1, 1))],
)
def test_what_one_number_does_on_either_side(kind, signs):
    for i, given in enumerate(({"knee": 60}, {"turn": 30}, {"swing": 20})):
        left, right = numbers(kind, **given)
        assert abs(left[i]) == pytest.approx(next(iter(given.values())))
        np.testing.assert_allclose(right[i], signs[i] * left[i], atol=1e-9)
    left, right = numbers(kind, 60, 30, 20)
    np.testing.assert_allclose(left, [60, -30, 20], atol=1e-9)  # flexes, turns out, swings out
    np.testing.assert_allclose(right, np.multiply(signs, left), atol=1e-9)


def test_the_signs_are_those_of_mirrored_turns():
    for kind in scene.KINDS:
        skeleton, world = scene._same_numbers(TAMSIN, kind, 60, 30, 20)
        local = skeleton.local(world)
        turns = {
            name: (
                np.swapaxes(skeleton.rest_local[skeleton.index(name), :3, :3], 0, 1)
                @ local[skeleton.index(name), :3, :3]
            )
            for name in ("L_hip", "L_knee")
        }
        both = turns | {
            placement.swap_side(n): placement.mirror_rotations(t, kind) for n, t in turns.items()
        }
        assert placement.mirror_error(skeleton, skeleton.pose(both), kind).cm.max() < 1e-10


def test_all_rigs_look_the_same_at_rest():
    one, *others = (scene.both_legs(TAMSIN, kind) for kind in scene.KINDS)
    for other in others:
        np.testing.assert_allclose(
            one.origins(one.rest_world), other.origins(other.rest_world), atol=1e-15
        )


def test_a_pose_copied_number_by_number_is_mirrored_in_one_kind_only():
    x, y, z = scene.POSE_DEG
    misses = {}
    for kind in scene.KINDS:
        skeleton, world = scene._same_numbers(TAMSIN, kind, 70, y, z, x)
        misses[kind] = placement.mirror_error(skeleton, world, kind).cm.max()
        assert scene.anatomy(TAMSIN, skeleton, world)[0, 0] == pytest.approx(70)
        assert f"{misses[kind]:.1f} cm" in scene.copied(TAMSIN).svg()
    assert misses.pop("same numbers") < 1e-10
    assert min(misses.values()) > 30
    left = scene.anatomy(TAMSIN, skeleton, world)[0]
    assert left[1] < 0 < left[2]  # turned out, swung out


def test_the_panel_starts_with_bent_knees_and_its_guess_with_straight_ones():
    panel = scene.same_numbers_panel(TAMSIN)
    assert "90.3 cm" in panel.picture
    assert "knee overextends 60°" in panel.readout
    assert "Left: stands. Right: stands." in scene.knee_guess(TAMSIN).readout


def test_the_left_legs_bend_and_its_sine():
    hip, knee, ankle = scene.left_leg(TAMSIN, 30)
    product = np.cross((knee - hip) / TAMSIN.thigh, (ankle - knee) / TAMSIN.shank)
    np.testing.assert_allclose(product, [0.5, 0, 0], atol=1e-3)  # lengths are in whole millimetres


def test_a_turned_hinge_takes_the_ankle_out_of_the_plane():
    off_cm = 100 * TAMSIN.shank * np.sin(np.radians(60)) * np.sin(np.radians(15))
    assert f"{off_cm:.1f} cm" == "9.4 cm"
    svg = scene.hinges(TAMSIN).svg()
    assert "9.4 cm" in svg
    assert "0.0 cm" in svg


def test_turning_a_hinge_moves_no_joint():
    skeleton, straight = scene.turned_hinge(TAMSIN, 15), scene.both_legs(TAMSIN)
    np.testing.assert_allclose(
        skeleton.origins(skeleton.rest_world), straight.origins(straight.rest_world), atol=1e-15
    )


def test_mirrored_across_z_the_hips_are_as_far_off_as_they_are_wide():
    wrong = placement.mirror_skeleton(scene.both_legs(TAMSIN, bend_deg=40), normal=(0, 0, 1))
    assert placement.mirror_error(wrong).cm[0] == pytest.approx(100 * TAMSIN.hip_width)


def test_the_mystery_joint_is_seven_millimetres_off_and_alone():
    error = placement.mirror_error(scene.mystery(ODO))
    assert error.farthest == "R_ankle"
    assert error.cm.max() == pytest.approx(0.72, abs=0.005)
    assert np.sort(error.cm)[-2] < 1e-10
    assert error.deg.max() < 1e-5


def test_a_turned_joint_is_off_in_degrees_only_until_the_knees_bend():
    panel = scene.one_off_panel(PIP)
    panel.set(**panel.presets["Knee turned 12°"])
    assert re.findall(r"([\d.]+) cm", panel.readout) == ["0.0"] * 5
    assert "knee 0.0 cm, <b>12.0°</b>" in panel.readout
    panel.set(**panel.presets["Knee turned, then bent"])
    foot_cm = max(map(float, re.findall(r"([\d.]+) cm", panel.readout)))
    assert foot_cm > 5


@pytest.mark.parametrize(
    ("forward", "outward"), [*itertools.product((-4.0, 0.0, 0.1, 3.0), repeat=2)]
)
def test_every_miss_stands_in_one_of_the_two_views(forward, outward):
    picture, _ = scene.one_off(PIP, "knee", forward, outward, 0, 0)
    words = f"{np.hypot(forward, outward):.1f} cm"
    assert f">{words}</text>" in picture.svg()


# What can be taken: its quick formulas, held to the whole skeleton


@pytest.mark.parametrize("kind", ["same bend", "reflection"])
def test_ankles_and_toes_are_taken_where_the_same_numbers_bring_them(kind):
    values = {"knee_deg": 47, "turn_deg": -12, "swing_deg": 21}
    skeleton, world = scene._same_numbers(TAMSIN, kind, *values.values())
    panel = scene.same_numbers_panel(TAMSIN)
    joints = ("L_ankle", "L_toe", "R_ankle", "R_toe")
    for grip, joint in zip(panel.grips, joints, strict=True):
        place = world[skeleton.index(joint), :3, 3]
        np.testing.assert_allclose(grip.at(kind=kind, **values), place, atol=1e-12)


@pytest.mark.parametrize("joint", ["hip", "knee", "ankle"])
def test_a_spoilt_joint_is_taken_where_it_stands(joint):
    values = {"forward_cm": 1.7, "outward_cm": -2.2, "turned_deg": 9, "knee_deg": 64}
    skeleton = scene.off_by(PIP, joint, 1.7, -2.2, 9)
    bent = rotation.matrix_about("x", np.radians(64))
    world = skeleton.pose({"L_knee": bent, "R_knee": bent})
    spoilt, ankle = scene.one_off_panel(PIP).grips
    for grip, name in ((spoilt, "R_" + joint), (ankle, "L_ankle")):
        place = world[skeleton.index(name), :3, 3]
        np.testing.assert_allclose(grip.at(joint=joint, **values), place, atol=1e-12)
