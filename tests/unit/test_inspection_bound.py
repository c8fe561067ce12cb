"""The pose a skin was bound in, against glTF 2.0 ("Skins"): in it a joint's world times its inverse
bind matrix is one and the same matrix for all joints."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.testing import assert_allclose

from rigkit import gltf, inspection, rotation
from rigkit.faults import with_nodes
from rigkit.inspection.bound import bound_pose
from rigkit.inspection.subject import Subject
from tests.unit import rigs

CROUCHED = {"hip": -70, "knee": 100, "ankle": -25}


def crouched(asset):
    """The nodes in another pose, the skin as it was bound."""
    turns = {
        f"{tag}_{part}": {
            "rotation": rotation.multiply_quaternions(
                asset.nodes[rigs.place(asset, f"{tag}_{part}")].rotation, rigs.about_x(deg)
            )
        }
        for tag in "LR"
        for part, deg in CROUCHED.items()
    }
    return with_nodes(asset, **turns)


def numbers(asset):
    report = inspection.inspect(asset)
    return {
        finding.rule: finding.number
        for finding in report.findings
        if finding.rule != "rest-reads-zero"
    }


def test_what_the_nodes_store_changes_nothing_but_what_is_said_of_it():
    sound, posed = rigs.clean(), crouched(rigs.clean())
    straight, seated = Subject(sound), Subject(posed)
    assert np.abs(posed.rest_world() - sound.rest_world()).max() > 0.2
    assert_allclose(seated.rest, straight.rest, atol=1e-12)
    assert_allclose(seated.surface.vertices, straight.surface.vertices, atol=1e-12)
    assert_allclose(straight.stored, straight.rest, atol=1e-12)
    assert numbers(posed) == pytest.approx(numbers(sound), abs=1e-9, nan_ok=True)
    assert straight.remarks == ()
    (said,) = seated.remarks
    assert said == (
        "The nodes store another pose than the one the skin was bound in: L_knee is turned 100°, "
        "the most of 6 joints. Everything at rest is measured in the bound pose."
    )


def test_a_skin_whose_mesh_was_not_read_still_tells_how_its_joints_stood():
    posed = crouched(rigs.clean())
    nodes = [replace(node, mesh=None, skin=None) for node in posed.nodes]
    unread = replace(posed, nodes=nodes, meshes=[], compressed={"skin": "Draco"})
    there = Subject(unread)
    assert_allclose(there.rest[:-1], Subject(rigs.clean()).rest[:-1], atol=1e-9)
    assert "L_knee is turned 100°" in there.remarks[0]


def test_a_joint_that_stands_elsewhere_is_said_in_shares_of_the_leg():
    (said,) = Subject(rigs.BROKEN["inverse-bind"]()).remarks
    assert "L_ball has moved by 3.6 % of the leg" in said


def test_world_times_inverse_bind_is_one_matrix():
    asset = rigs.under(crouched(rigs.clean()), rotation.matrix_about("x", 0.3), 7.0)
    each = asset.joint_matrices(0, bound_pose(asset).world)
    assert_allclose(each, np.broadcast_to(each[0], each.shape), atol=1e-12)
    top = rigs.place(asset, "pelvis")
    assert_allclose(bound_pose(asset).world[top], asset.rest_world()[top], atol=1e-12)


def test_nodes_of_no_skin_stay_in_their_parents():
    asset = crouched(rigs.clean())
    shoe = gltf.Node("shoe", rigs.place(asset, "L_ankle"), (0, 0.02, 0.1), scale=(2, 2, 2))
    asset = replace(asset, nodes=[*asset.nodes, shoe])
    before, after = asset.rest_world(), bound_pose(asset).world
    at = rigs.place(asset, "L_ankle")
    assert_allclose(
        np.linalg.inv(after[at]) @ after[-1], np.linalg.inv(before[at]) @ before[-1], atol=1e-12
    )
    assert np.abs(after[-1] - before[-1]).max() > 0.1


@pytest.mark.parametrize("flaw", ["singular", "last row"])
def test_a_joint_without_a_usable_matrix_stays_in_its_parent(flaw):
    asset = crouched(rigs.clean())
    (skin,) = asset.skins
    bind = skin.inverse_bind.copy()
    knee = rigs.place(asset, "L_knee")
    column = skin.joints.tolist().index(knee)
    bind[column] = np.diag([1, 1, 0, 1]) if flaw == "singular" else np.eye(4) + np.eye(4, k=-3)
    world = bound_pose(replace(asset, skins=[replace(skin, inverse_bind=bind)])).world
    stored, hip = asset.rest_world(), rigs.place(asset, "L_hip")
    whole = bound_pose(asset).world
    assert_allclose(world[hip], whole[hip], atol=1e-12)
    assert_allclose(world[knee], world[hip] @ np.linalg.inv(stored[hip]) @ stored[knee], atol=1e-12)


def test_matrices_all_alike_say_nothing():
    """Without inverse bind matrices a file's are all the identity (glTF 2.0, skin)."""
    asset = crouched(rigs.clean())
    bare = replace(asset, skins=[gltf.Skin("", asset.skins[0].joints)])
    assert_allclose(bound_pose(bare).world, asset.rest_world(), atol=1e-12)
    assert bound_pose(bare).surfaces == {}


def test_a_second_skin_goes_with_the_first_where_they_share_a_joint():
    asset = crouched(rigs.clean())
    (skin,), (mesh,) = asset.skins, asset.meshes
    ankle = skin.joints.tolist().index(rigs.place(asset, "L_ankle"))
    other = gltf.Skin("shoe", [skin.joints[ankle]], skin.inverse_bind[[ankle]])
    shoe = gltf.Mesh(
        "shoe",
        mesh.positions[:3],
        [[0, 1, 2]],
        np.zeros((3, 4), int),
        np.broadcast_to([1, 0, 0, 0.0], (3, 4)),
    )
    nodes = [*asset.nodes, gltf.Node("shoe", None, mesh=1, skin=1)]
    both = replace(asset, nodes=nodes, skins=[skin, other], meshes=[mesh, shoe])
    pose = bound_pose(both)
    assert_allclose(pose.world[:-1], bound_pose(asset).world, atol=1e-12)
    assert_allclose(pose.surfaces[1], pose.surfaces[0], atol=1e-12)


def test_what_moves_skin_has_a_weight():
    asset = rigs.with_helpers(lambda part, tag: part if tag is None else f"{tag}_{part}")
    (skin,), (mesh,) = asset.skins, asset.meshes
    pole = rigs.place(asset, "L_knee_pole")
    bind = np.concatenate([skin.inverse_bind, [np.eye(4)]])
    asset = replace(asset, skins=[gltf.Skin("", [*skin.joints, pole], bind)])
    subject = Subject(asset)
    column = skin.joints.tolist().index(rigs.place(asset, "L_knee"))
    assert (mesh.weights[mesh.joints == column] > 0).any()
    assert rigs.place(asset, "L_knee") in subject.moves_skin
    assert pole not in subject.moves_skin
    assert pole not in [moved.node for moved in subject.since_bound]
    assert inspection.inspect(asset)["inverse-bind"].number < 1e-9
