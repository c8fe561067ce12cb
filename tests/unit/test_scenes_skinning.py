"""The numbers that lesson 09 says in words, and what its scenes measure by themselves."""

import numpy as np
import pytest

from rigkit import frames, mesh, rotation, skin
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.scenes import skinning as scene

TAMSIN = PUPPETS["Tamsin"]
puppets = pytest.mark.parametrize("puppet", PUPPETS.values(), ids=list(PUPPETS))


def depth_cm(skinned):
    return 100 * np.linalg.norm(skinned.section[0] - skinned.section[1])


@pytest.mark.parametrize(
    ("bend", "depth", "kept", "volume"),
    [
        (0, 10.2, 1.0, 1.0),
        (30, 9.9, 0.97, 0.998),
        (60, 8.9, 0.87, 0.992),
        (90, 7.2, 0.71, 0.983),
        (120, 5.1, 0.50, 0.974),
        (150, 2.7, 0.26, 0.967),
    ],
)
def test_a_knee_by_linear_blend(bend, depth, kept, volume):
    skinned = scene.knee(TAMSIN, float(bend))
    assert depth_cm(skinned) == pytest.approx(depth, abs=0.05)
    assert skinned.section_ratio == pytest.approx(kept, abs=0.005)
    assert skinned.section_ratio == pytest.approx(np.cos(np.radians(bend / 2)), abs=0.005)
    assert skinned.volume_ratio == pytest.approx(volume, abs=0.0006)


def test_a_glass_of_water_is_missing_of_twelve_litres_and_all_of_it_from_the_knee():
    skeleton, surface, weights = scene.dressed(TAMSIN)
    assert 1000 * mesh.volume(surface.vertices, surface.triangles) == pytest.approx(12.1, abs=0.05)
    skinned = scene.knee(TAMSIN, 90.0)
    assert skinned.change_cm3 == pytest.approx(-203, abs=0.5)
    # All other skin moves rigidly, so what is lost is lost where thigh and shank share it.
    shared = skin.blend_zone(weights, skeleton.index("R_hip"), skeleton.index("R_knee"))
    height = surface.vertices[:, 1] - skeleton.origins(skeleton.rest_world, scene.LEG)[1, 1]
    assert np.abs(height[shared]).max() < 0.14


def test_a_knee_by_dual_quaternions_keeps_its_section_and_bulges():
    for bend in (30.0, 60.0, 90.0, 120.0, 150.0):
        assert scene.knee(TAMSIN, bend, scene.DUAL).section_ratio > 0.99
    assert scene.knee(TAMSIN, 90.0, scene.DUAL).bulge_cm == pytest.approx(1.3, abs=0.05)
    assert scene.knee(TAMSIN, 90.0).bulge_cm < 0.1


@puppets
def test_every_puppet_s_knee_is_whole_at_rest(puppet):
    skinned = scene.knee(puppet, 0.0)
    _, surface, _ = scene.dressed(puppet)
    np.testing.assert_allclose(skinned.vertices, surface.vertices, atol=1e-12)
    assert len(mesh.open_edges(surface.triangles)) > 0  # open at the midplane only
    assert np.abs(surface.vertices[mesh.open_edges(surface.triangles), 0]).max() < 1e-12
    assert [skinned.section_ratio, skinned.volume_ratio, skinned.stretch] == pytest.approx(
        [1, 1, 1]
    )
    assert [skinned.change_cm3, skinned.bulge_cm] == pytest.approx([0, 0], abs=1e-6)


def test_the_volume_of_half_a_skin_is_half_the_volume():
    """It is open at the midplane, where the first vertex, from which the volume is measured, lies
    too."""
    rig = LegRig.from_puppet(TAMSIN)
    surface, _ = skin.rig_skin(rig, TAMSIN, scene.VERTICES)
    _, half, _ = scene.dressed(TAMSIN)
    whole = mesh.volume(surface.vertices, surface.triangles)
    assert mesh.volume(half.vertices, half.triangles) == pytest.approx(whole / 2)


def test_the_picture_of_the_triangle_says_both_distances():
    svg = scene.chord(TAMSIN, 90.0).svg()
    assert "5.4 cm" in svg
    assert "3.8 cm" in svg
    assert 5.4 * np.cos(np.radians(45)) == pytest.approx(3.8, abs=0.05)


def test_what_the_plot_s_alternative_says():
    assert skin.blend_radius([0.5, 0.5, 0.1], np.radians([90, 180, 180])) == pytest.approx(
        [0.707, 0, 0.8], abs=1e-3
    )


def test_without_the_inverse_bind_matrices_her_waist_is_nearly_twice_as_high():
    rig = LegRig.from_puppet(TAMSIN)
    surface, weights = skin.rig_skin(rig, TAMSIN)
    posed = skin.linear_blend(surface.vertices, weights, rig.skeleton.rest_world)
    assert surface.vertices[:, 1].max() == pytest.approx(1.04, abs=0.005)
    assert posed[:, 1].max() == pytest.approx(1.94, abs=0.005)
    assert (weights > 0).sum(axis=1).max() == 3


def test_dropped_weights_lag_by_40_cm_and_sink_by_8():
    row = np.array([[0.40, 0.25, 0.15, 0.12, 0.08]])
    along = np.tile(frames.frame(origin=[0, 0, 5]), (5, 1, 1))
    np.testing.assert_allclose(
        skin.linear_blend([[0, 1, 0]], row * (row > 0.1), along), [[0, 0.92, 4.6]], atol=1e-12
    )
    np.testing.assert_allclose(
        skin.linear_blend([[0, 1, 0]], skin.prune(row), along), [[0, 1, 5]], atol=1e-12
    )


@pytest.mark.parametrize(("joints", "width"), [(1, 0.0), (2, 7.1), (3, 8.7), (4, 9.2)])
def test_a_stocking_after_half_a_turn(joints, width):
    _, kept = scene.wrung(180.0, joints)
    assert 10 * kept.min() == pytest.approx(width, abs=0.05)
    assert kept.min() == pytest.approx(
        np.cos(np.radians(90 / joints)), abs=1e-9
    )  # no ring is shared by three
    assert scene.wrung(180.0, joints, scene.DUAL)[1].min() == pytest.approx(1)


def test_past_half_a_turn_the_stripes_lean_the_other_way():
    def lean(twist):
        """Place of the front stripe in the middle of the blend, to her left or right."""
        posed, _ = scene.wrung(twist, 1, scene.DUAL)
        return posed[: scene.AROUND * (scene.ALONG + 1)].reshape(-1, scene.AROUND, 3)[
            scene.ALONG // 2, 0, 0
        ]

    assert lean(90.0) > 0.03
    assert lean(179.9) > 0.049
    assert lean(180.1) < -0.049
    assert lean(200.0) < -0.04
    assert "go back by 160°" in scene.twist(200.0, 1)[1]
    assert "go back" not in scene.twist(180.0, 1)[1]
    assert "go back" not in scene.twist(200.0, 2)[1]


def test_a_blend_s_reach_leaves_the_section_and_changes_the_rest():
    found = {
        softness: scene.knee(TAMSIN, 90.0, softness=softness) for softness in (0.25, 1.0, 2.0, 3.0)
    }
    assert [k.section_ratio for k in found.values()] == pytest.approx(
        [0.72, 0.71, 0.71, 0.71], abs=0.005
    )
    assert [k.change_cm3 for k in found.values()] == pytest.approx([-53, -97, -203, -330], abs=0.5)
    assert [k.stretch for k in found.values()] == pytest.approx([2.8, 1.8, 1.5, 1.4], abs=0.05)


def test_the_most_stretched_edge_is_where_it_is_said_to_be():
    skinned = scene.knee(TAMSIN, 90.0, softness=0.25)
    centre = skinned.bones[1]
    assert (skinned.stretched.mean(axis=0) - centre)[2] > 0.02  # ahead of the joint: the kneecap
    assert np.linalg.norm(skinned.stretched[0] - skinned.stretched[1]) > 0.02


@pytest.mark.parametrize(
    ("ahead", "up", "bend", "off"),
    [(4.0, 0.0, 0.0, 4.0), (0.0, 4.0, 0.0, 4.0), (0.0, 4.0, 60.0, 4.7), (-3.0, 2.0, 0.0, 3.6)],
)
def test_a_joint_moved_late(ahead, up, bend, off):
    actual, meant = scene.late(TAMSIN, ahead, up, bend)
    assert 100 * np.linalg.norm(actual - meant, axis=1).max() == pytest.approx(off, abs=0.05)
    np.testing.assert_array_equal(*scene.late(TAMSIN, ahead, up, bend, scene.BOUND[2]))


def test_bound_anew_with_its_weights_nothing_moves_at_rest_and_little_in_the_bend():
    _, surface, weights = scene.dressed(TAMSIN)
    painted = weights.tobytes()
    for ahead, up in ((4.0, 0.0), (0.0, 4.0), (-3.0, 2.0)):
        actual, _ = scene.late(TAMSIN, ahead, up, 0.0, scene.BOUND[1])
        np.testing.assert_allclose(actual, surface.vertices, atol=1e-12)
    assert weights.tobytes() == painted
    before, anew, fitted = (
        100 * np.linalg.norm(np.subtract(*scene.late(TAMSIN, 0.0, 4.0, 60.0, way)), axis=1).max()
        for way in scene.BOUND
    )
    assert (before, anew, fitted) == pytest.approx((4.7, 2.0, 0.0), abs=0.05)


def test_moving_a_joint_moves_no_other_and_at_rest_only_its_own_skin():
    skeleton, surface, weights = scene.dressed(TAMSIN)
    now = scene.moved(TAMSIN, 4.0, 0.0)
    step = skin.joint_matrices(now.rest_world, skeleton.rest_world)
    knee = skeleton.index("R_knee")
    np.testing.assert_allclose(step[knee], frames.frame(origin=[0, 0, 0.04]), atol=1e-12)
    np.testing.assert_allclose(
        np.delete(step, knee, axis=0), np.broadcast_to(np.eye(4), (10, 4, 4)), atol=1e-12
    )
    actual, meant = scene.late(TAMSIN, 4.0, 0.0, 0.0)
    np.testing.assert_allclose(meant, surface.vertices, atol=1e-12)
    np.testing.assert_allclose(actual - meant, weights[:, knee, None] * [0, 0, 0.04], atol=1e-12)


def test_bound_again_at_the_same_place_it_is_the_same_skin():
    np.testing.assert_allclose(
        scene.late(TAMSIN, 0.0, 0.0, 60.0)[0], scene.late(TAMSIN, 0.0, 0.0, 60.0)[1], atol=1e-9
    )


def test_halfway_by_the_sum_goes_the_long_way_when_the_sign_is_wrong():
    still, turned = rotation.quaternion_from_vector([[0, 0, 0], [0, np.radians(90), 0]])
    for other, angle in ((turned, 45), (-turned, -135)):
        total = rotation.unit_quaternion(0.5 * still + 0.5 * other)
        assert np.degrees(rotation.vector_from_quaternion(total)[1]) == pytest.approx(angle)


# What can be taken: its quick formulas, held to weights and skeleton


@pytest.mark.parametrize("softness", [0.25, 1.0, 3.0])
def test_the_blend_is_taken_where_the_shank_s_weight_ends(softness):
    skeleton, _, _ = scene.dressed(TAMSIN)
    up = np.linspace(0, 0.3, 30_001)[:, None] * [0.0, 1.0, 0.0]
    line = scene.knee(TAMSIN, 0.0).section[0] + up
    bones = {name: skin.bones_of(skeleton)[name] for name in scene.LEG[:2]}
    shared = line[skin.weights_by_distance(line, bones, softness)[:, 1] > 0, 1]
    end, _ = scene.reach_panel(TAMSIN).grips
    found = end.at(softness=softness, bend_deg=90.0, blend=scene.LINEAR)
    assert found[1] == pytest.approx(shared.max(), abs=3e-5)


def test_knee_and_shank_are_taken_where_the_moved_skeleton_has_them():
    knee, shank = scene.late_panel(TAMSIN).grips
    skeleton = scene.moved(TAMSIN, 3.0, -1.5)
    _, at, ankle = skeleton.origins(scene.turned(skeleton, 70.0), scene.LEG)
    values = {"ahead_cm": 3.0, "up_cm": -1.5, "bend_deg": 70.0, "bound": scene.BOUND[0]}
    np.testing.assert_allclose(knee.at(**values), at, atol=1e-12)
    along = shank.at(**values) - at
    assert np.linalg.norm(along) == pytest.approx(scene.BONES * TAMSIN.leg_length)
    np.testing.assert_allclose(np.cross(along, ankle - at), 0, atol=1e-12)
