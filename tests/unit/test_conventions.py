"""The conventions of DEVELOPERS.md, each as an assert a reader can check by hand."""

import importlib
import inspect
import re

import numpy as np
import pytest

from rigkit import foot, frames, gait, mesh, placement, puppets, rotation, skeleton, two_bone
from rigkit.leg import LegRig
from tests.unit.test_import import MATHS, defined_in, files, written

LEFT, UP, FORWARD = np.eye(3)
CLOSE = {"rtol": 0, "atol": 1e-12}
QUARTER = np.pi / 2


# Axes


def test_left_up_forward_is_right_handed():
    assert np.array_equal(np.cross(LEFT, UP), FORWARD)
    assert np.linalg.det(np.stack([LEFT, UP, FORWARD])) == 1


def test_positive_turns_follow_the_right_hand_rule():
    assert np.allclose(rotation.matrix_about("x", QUARTER) @ UP, FORWARD, **CLOSE)
    assert np.allclose(rotation.matrix_about("y", QUARTER) @ FORWARD, LEFT, **CLOSE)
    assert np.allclose(rotation.matrix_about("z", QUARTER) @ LEFT, UP, **CLOSE)


def test_a_puppet_stands_on_the_floor_faces_forward_and_has_its_left_on_plus_x():
    pip = puppets.PUPPETS["Pip"]
    skin = mesh.puppet_mesh(pip, 300)
    low, high = skin.vertices.min(axis=0), skin.vertices.max(axis=0)
    assert low[1] == pytest.approx(0, abs=1e-9)
    assert high[2] > -low[2] > 0  # toes reach farther forward than heels backward
    assert (skin.vertices[skin.side("L_"), 0] >= 0).all()
    assert mesh.puppet_chain(pip)[0, 0] > 0


def test_a_walk_goes_forward_with_the_left_side_first_on_plus_x():
    walk = gait.walk(puppets.PUPPETS["Tamsin"], frames=8, cycles=1)
    assert walk.pelvis[-1] @ FORWARD > 0
    assert (np.diff(walk.pelvis @ FORWARD) > 0).all()
    assert (walk.points[:, 0, :, 0] > 0).all()
    assert (walk.points[:, 1, :, 0] < 0).all()


# Matrices, frames, quaternions


def test_matrices_turn_column_vectors_and_frames_hold_the_origin_in_the_last_column():
    assert np.allclose(frames.apply(frames.frame(origin=[1, 2, 3]), [0, 0, 0]), [1, 2, 3])
    assert frames.frame(origin=[1, 2, 3])[:3, 3].tolist() == [1, 2, 3]
    matrix = rotation.matrix_about("y", 0.4)
    assert np.allclose(matrix[:, 2], matrix @ FORWARD)  # columns are the turned axes


def test_world_is_parent_world_at_local():
    hip = frames.frame(rotation.matrix_about("x", QUARTER), [0, 1, 0])
    knee = frames.frame(origin=[0, -0.4, 0])
    limb = skeleton.Skeleton(
        [skeleton.Joint("hip", None, hip), skeleton.Joint("knee", "hip", knee)]
    )
    assert np.array_equal(limb.rest_world[1], hip @ knee)
    assert np.allclose(limb.rest_world[1, :3, 3], [0, 1, -0.4], **CLOSE)


def test_quaternions_are_scalar_last():
    assert np.allclose(rotation.quaternion_from_vector([0, 0, 0]), [0, 0, 0, 1])
    assert np.allclose(rotation.quaternion_from_matrix(np.diag([1, -1, -1])), [1, 0, 0, 0])


def test_a_joint_left_alone_reads_zero():
    limb = skeleton.Skeleton(
        [skeleton.Joint("hip", None, frames.frame(rotation.matrix_about("z", 1), [1, 2, 3]))]
    )
    assert np.array_equal(limb.pose(), limb.rest_world)
    assert np.array_equal(limb.pose({"hip": np.eye(3)}), limb.rest_world)


def test_batch_axes_come_first_and_numbers_are_float64_inside():
    assert frames.mirror_points(np.ones((5, 2, 3), dtype=np.float32)).dtype == np.float64
    assert rotation.matrix_about("x", np.zeros((5, 2), dtype=int)).shape == (5, 2, 3, 3)


# The leg


def bent_leg():
    """Hip, knee and ankle of a standing leg with its knee a little forward."""
    return [[0.1, 0.9, 0], [0.1, 0.5, 0.05], [0.1, 0.1, 0]]


def test_a_standing_legs_hinge_axis_is_plus_x_its_y_runs_up_the_bone_and_z_is_forward():
    for points in (bent_leg(), [[0.1, 0.9, 0], [0.1, 0.5, 0], [0.1, 0.1, 0]]):
        hip, knee, ankle = placement.orient_chain(points)
        assert np.allclose(knee[:3, 0], LEFT, **CLOSE)
        assert (hip[:3, 1] @ UP > 0.9) & (knee[:3, 1] @ UP > 0.9) & (ankle[:3, 1] @ UP > 0.9)
        assert (hip[:3, 2] @ FORWARD > 0.9) & (knee[:3, 2] @ FORWARD > 0.9)


def posed_leg(hip=0.0, knee=0.0):
    """Knee and ankle of a straight standing leg whose joints turn about their own hinge axes."""
    world = placement.orient_chain([[0, 0.8, 0], [0, 0.4, 0], [0, 0, 0]])
    leg = skeleton.Skeleton.from_world(
        dict(zip(("hip", "knee", "ankle"), world, strict=True)),
        {"hip": None, "knee": "hip", "ankle": "knee"},
    )
    posed = leg.pose(
        {"hip": rotation.matrix_about("x", hip), "knee": rotation.matrix_about("x", knee)}
    )
    return leg.origins(posed, ["knee", "ankle"])


def test_the_right_side_is_mirrored_in_the_same_bend_y_runs_up_both_legs():
    left, up = placement.mirror_chain({"L_knee": np.eye(4)})["R_knee"][:3, :2].T
    assert np.array_equal([left, up], [LEFT, UP])
    rig = LegRig.from_puppet("Tamsin")
    assert placement.mirror_error(rig.skeleton, kind="same bend").deg.max() < 1e-6
    other = placement.mirror_chain({"L_knee": np.eye(4)}, "same numbers")["R_knee"]
    assert np.array_equal(other[:3, 1], -UP)


def test_a_positive_turn_about_the_knees_hinge_is_flexion_the_shank_goes_backward():
    assert np.allclose(posed_leg(knee=QUARTER), [[0, 0.4, 0], [0, 0.4, -0.4]], **CLOSE)


def test_a_negative_turn_about_x_at_the_hip_is_flexion_the_thigh_goes_forward():
    assert np.allclose(posed_leg(hip=-QUARTER)[0], [0, 0.8, 0.4], **CLOSE)


def test_seen_from_the_side_x_is_forward_and_the_hip_reads_zero_hanging_down():
    assert np.allclose(
        two_bone.planar_points(0, 0, 0.4, 0.3), [[0, 0], [0, -0.4], [0, -0.7]], **CLOSE
    )
    assert np.allclose(
        two_bone.planar_points(QUARTER, 0, 0.4, 0.3), [[0, 0], [0.4, 0], [0.7, 0]], **CLOSE
    )
    assert np.allclose(
        two_bone.planar_points(0, QUARTER, 0.4, 0.3), [[0, 0], [0, -0.4], [-0.3, -0.4]], **CLOSE
    )


def test_the_solved_knee_goes_forward_and_its_flexion_is_positive_zero_straight():
    leg = two_bone.solve([0, 1, 0], [0, 0.4, 0], 0.4, 0.4)
    assert leg.knee @ FORWARD > 0
    assert leg.flexion > 0
    assert np.allclose(leg.hinge, LEFT, **CLOSE)
    assert two_bone.solve([0, 1, 0], [0, 0.2, 0], 0.4, 0.4).flexion == pytest.approx(0, abs=1e-12)
    assert two_bone.solve_planar([0, -0.6], 0.4, 0.4).knee > 0


def test_a_goal_out_of_reach_is_answered_by_its_miss():
    leg = two_bone.solve([0, 1, 0], [0, 0, 0], 0.4, 0.4)
    assert not leg.reached
    assert leg.miss == pytest.approx(0.2)


def test_a_rig_at_rest_reads_zero_and_has_its_left_leg_on_plus_x():
    rig = LegRig.from_puppet(puppets.PUPPETS["Tamsin"])
    assert np.allclose(rig.pose().world, rig.skeleton.rest_world, rtol=0, atol=1e-9)
    assert rig.skeleton.rest_world[rig.skeleton.index("L_hip"), 0, 3] > 0


def test_in_walking_the_swinging_knee_flexes_positively_and_the_thigh_swings_forward():
    still = {"sway": 0, "rotation": 0, "obliquity": 0}
    walk = gait.walk(puppets.PUPPETS["Tamsin"], frames=50, cycles=1, **still)
    assert np.degrees(walk.knee.max()) > 40
    thigh = walk["knee"] - walk["hip"]
    hip_flexion = np.arctan2(thigh[..., 2], -thigh[..., 1])
    assert np.allclose(walk.hip - gait.PELVIS_TILT, hip_flexion, **CLOSE)


def test_a_pelvis_turns_in_walking_as_any_rigid_body_about_y_and_then_z():
    walk = gait.walk(puppets.PUPPETS["Tamsin"], frames=50, cycles=1)
    turn = rotation.matrix_about("z", walk.pelvis_obliquity) @ rotation.matrix_about(
        "y", walk.pelvis_rotation
    )
    assert np.allclose(walk["L_hip"] - walk.pelvis, turn[..., 0] * 0.085, **CLOSE)


def test_a_positive_foot_roll_lifts_the_heel_a_negative_one_the_toes():
    flat = foot.Foot((0, 0.08), (-0.05, 0), (0.12, 0), (0.2, 0))
    assert foot.roll(flat, 0.3).heel[1] > 0
    assert foot.roll(flat, -0.3).toe[1] > 0


# Units and names


def public_parameters():
    for module in MATHS:
        if module in written() and not module.startswith("_"):
            for name, thing in vars(importlib.import_module(f"rigkit.{module}")).items():
                if not name.startswith("_") and defined_in(module, thing) and callable(thing):
                    yield from (
                        (f"{module}.{name}", key) for key in inspect.signature(thing).parameters
                    )


def test_degrees_and_centimetres_only_under_a_name_that_ends_so():
    """No switch for units: what goes in or comes out is in radians and metres, or its name ends in
    deg or cm."""
    wrong = [
        pair
        for pair in public_parameters()
        if re.search(r"degree|radian|unit|centi|deg(?!$)|cm(?!$)", pair[1])
    ]
    assert wrong == []
    assert ("placement.orient_chain", "least_bend_deg") in set(public_parameters())


@pytest.mark.parametrize("module", [name for name in MATHS if name in written()])
def test_chance_comes_only_from_a_generator_the_caller_passes(module):
    source = "\n".join(path.read_text(encoding="utf-8") for path in files(module))
    code = re.sub(r'""".*?"""|f?"[^"\n]*"|#.*', "", source, flags=re.DOTALL)
    assert not re.search(r"random\.(?!Generator)|default_rng|import random", code)


def test_side_tags_are_a_letter_and_an_underscore_in_front():
    assert skeleton.SIDE_TAGS == ("L_", "R_")
    assert skeleton.other_side("L_BALL") == "R_BALL"
