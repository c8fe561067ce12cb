"""What is made of a state: the given skin, skeleton, controls, rig, weights, walk, and the file."""

import hashlib
import json

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import gait, gltf, inspection, mesh, physique, placement
from rigkit import skin as skinning
from rigkit.bench import build, painting
from rigkit.bench.state import JOINTS, VERSION, State
from rigkit.leg import LegRig
from tests.unit.legs_on_the_bench import (
    WALKERS,
    behind,
    left_out,
    moved,
    name_of,
    painted_in_two,
    put,
    sound,
)

each_walker = pytest.mark.parametrize("puppet", WALKERS, ids=name_of)


# --- the given skin ---


@each_walker
def test_the_skin_is_given_once_and_stands_around_a_sound_leg(puppet):
    surface = build.skin(puppet)
    assert build.skin(puppet) is surface
    assert mesh.open_edges(surface.triangles).tolist() == []
    for array in (surface.vertices, surface.triangles):
        with pytest.raises(ValueError, match="read-only"):
            array[0] = 0
    rig = LegRig.from_puppet(puppet, 5)
    chain = [rig.pose()["L_" + joint][:3, 3] for joint in rig.chain]
    made = physique.skin(puppet, 5000, chain)
    assert_allclose(surface.vertices, made.vertices, rtol=0, atol=1e-9)


def test_painted_vertices_keep_their_numbers():
    """Whoever changes the given skin must give the states a new version.

    The left half's vertices have had their numbers since the first version, so paint of then is
    still right.
    """
    surface = build.skin("Tamsin")
    assert VERSION == 2
    assert surface.vertices.shape == (4955, 3)
    left = np.ascontiguousarray(surface.side("L_"), "<i4").tobytes()
    assert hashlib.sha256(left).hexdigest()[:8] == "ed83fd6a"
    whole = np.ascontiguousarray(surface.triangles, "<i4").tobytes()
    assert hashlib.sha256(whole).hexdigest()[:8] == "385fcb69"
    picked = {
        0: (0.0, 1.036906, 0.0),
        700: (0.022335, 0.682739, -0.014191),
        1800: (0.076525, 0.156695, 0.039041),
        2600: (-0.125822, 0.007951, 0.158158),
        4954: (-0.003608, 1.036609, 0.009583),
    }
    assert_allclose(surface.vertices[list(picked)], list(picked.values()), rtol=0, atol=2e-6)
    plain = mesh.puppet_mesh("Tamsin", 5000, build.skin_chain("Tamsin"))
    assert_array_equal(plain.side("L_"), surface.side("L_"))
    assert np.abs(plain.vertices - surface.vertices)[surface.vertices[:, 0] > 0].max() < 0.004


# --- the skeleton ---


@each_walker
def test_a_sound_skeleton_is_the_kit_s_own(puppet):
    own, kit = build.skeleton(sound(puppet)), LegRig.from_puppet(puppet, 5).skeleton
    assert own.names == kit.names
    assert [own.parent(name) for name in own.names] == [kit.parent(name) for name in kit.names]
    assert_allclose(own.rest_world, kit.rest_world, rtol=0, atol=3e-3)  # rounded to mm
    assert build.rig(sound(puppet)).skeleton.names == kit.names


def test_joints_hang_from_what_the_state_says():
    state = put(left_out(sound(), "parents", "knee"), "parents", toe="ankle")
    skeleton = build.skeleton(state)
    parents = {name: skeleton.parent(name) for name in skeleton.names}
    assert (parents["L_knee"], parents["R_knee"]) == (None, None)
    assert (parents["L_toe"], parents["R_toe"]) == ("L_ankle", "R_ankle")
    assert len(State.bare("Tamsin").parents) == 0
    assert all(build.skeleton(State.bare("Tamsin")).parents < 0)


@pytest.mark.parametrize(
    ("mirror", "kind"), [("same bend", "same bend"), ("opposite bend", "reflection")]
)
def test_the_right_side_is_mirrored_as_asked(mirror, kind):
    state = sound().changed(mirror=mirror, plane_mm=20, hinge_deg={"knee": 10, "ankle": -4})
    skeleton = build.skeleton(state)
    error = placement.mirror_error(skeleton, kind=kind, through=(0.02, 0, 0))
    assert error.cm.max() == pytest.approx(0, abs=1e-9)
    assert error.deg.max() == pytest.approx(0, abs=1e-5)


def test_a_hinge_arrow_turns_as_seen_from_the_front():
    skeleton = build.skeleton(sound().changed(hinge_deg={"knee": 30}))
    hinge = skeleton.rest_world[skeleton.index("L_knee"), :3, 0]
    assert hinge[:2] == pytest.approx([np.cos(np.radians(30)), np.sin(np.radians(30))])
    assert hinge[2] == pytest.approx(0)


@each_walker
def test_a_knee_behind_the_line_still_has_its_hinge_to_the_left(puppet):
    skeleton = build.skeleton(behind(sound(puppet)))
    assert (skeleton.rest_world[:6, 0, 0] > 0.9).all()
    knee = skeleton.rest_world[skeleton.index("L_knee")]
    ankle = skeleton.rest_world[skeleton.index("L_ankle"), :3, 3]
    assert knee[:3, 1] @ (knee[:3, 3] - ankle) == pytest.approx(np.linalg.norm(knee[:3, 3] - ankle))


def test_two_joints_in_one_place_are_refused():
    state = sound()
    state = put(state, "joints_mm", knee=state.joints_mm["hip"])
    with pytest.raises(ValueError, match="two neighbouring joints in one place"):
        build.skeleton(state)


# --- controls and rig ---


def test_controls_stand_turn_and_follow_as_the_state_says():
    state = put(sound(), "pivots_mm", L_foot=(90, 50, 10))
    state = put(state, "outlines_mm", L_foot=(85, 20, 0)).changed(plane_mm=10)
    own = {control.name: control for control in build.controls(state)}
    assert list(own) == ["pelvis", "L_foot", "L_knee", "R_foot", "R_knee"]
    for tag, sign in (("L_", 1), ("R_", -1)):
        foot = own[tag + "foot"]
        pivot = foot.rest[:3, :3] @ foot.pivot + foot.rest[:3, 3]
        x = 0.09 if sign > 0 else 0.02 - 0.09
        assert pivot == pytest.approx([x, 0.05, 0.01])
        shape = foot.outline @ foot.rest[:3, :3].T + foot.rest[:3, 3]
        assert shape[:, 1] == pytest.approx(0.02)
        assert [f.leader for f in own[tag + "knee"].follows] == ["pelvis"]
        assert foot.follows == ()
    assert own["R_knee"].rest[0, 3] == pytest.approx(0.02 - state.pole_mm[0] / 1000)


@each_walker
def test_a_sound_rig_at_zero_is_its_skeleton_and_squats_alike_on_both_sides(puppet):
    rig = build.rig(sound(puppet).changed(soft_mm=0))
    assert_allclose(rig.pose().world, rig.skeleton.rest_world, rtol=0, atol=1e-4)
    squat = rig.pose({"pelvis": {"shift_y": -0.15}})
    for joint in JOINTS:
        left, right = (squat[tag + joint][:3, 3] for tag in ("L_", "R_"))
        assert right == pytest.approx(left * [-1, 1, 1], abs=1e-9)


def test_a_foot_that_points_outward_stands_as_it_was_placed():
    state = moved(moved(sound().changed(soft_mm=0), "toe", x=25), "ball", x=16)
    rig = build.rig(state)
    assert_allclose(rig.pose().world, rig.skeleton.rest_world, rtol=0, atol=1e-4)
    rolled = rig.pose({"L_foot": {"roll": 0.4}, "pelvis": {"shift_y": -0.1}})
    assert rolled["L_toe"][:3, 3] == pytest.approx(
        np.array(state.joints_mm["toe"]) / 1000, abs=1e-6
    )


def test_a_rig_s_knee_goes_where_the_state_puts_its_pole():
    rig = build.rig(sound().changed(pole_mm=(685, 484, 600), soft_mm=0))
    squat = rig.pose({"pelvis": {"shift_y": -0.2}})
    hip, knee, pole = squat["L_hip"][:3, 3], squat["L_knee"][:3, 3], np.array([0.685, 0.284, 0.6])
    line = squat["L_ankle"][:3, 3] - hip
    assert np.linalg.det([line, knee - hip, pole - hip]) == pytest.approx(0, abs=1e-9)
    assert knee[0] > 0.2


def test_soft_reach_and_heel_are_the_state_s():
    rig = build.rig(sound().changed(soft_mm=30))
    assert rig.soft == 0.03
    rolled = build.rig(put(sound().changed(soft_mm=0), "sole_mm", heel=-40)).pose(
        {"L_foot": {"roll": -0.4}, "pelvis": {"shift_y": -0.1}}
    )
    ankle = rolled["L_ankle"][:3, 3]
    assert np.hypot(ankle[1], ankle[2] + 0.04) == pytest.approx(np.hypot(0.066, 0.04))


# --- weights ---


def test_weights_follow_the_skeleton_s_order_whatever_hangs_from_what():
    state = sound("Pip")
    other = put(state, "parents", toe="hip", knee="pelvis")
    assert build.skeleton(other).names != build.skeleton(state).names
    tables = {}
    for each in (state, other, left_out(state, "parents", "ankle")):
        names = build.skeleton(each).names
        tables[each] = build.weights(each)[:, [names.index(name) for name in sorted(names)]]
    first, *others = tables.values()
    for table in others:
        assert_array_equal(table, first)


def test_weights_of_a_sound_left_leg_are_those_of_a_skin_made_around_it():
    state, left = sound("Pip"), build.skin("Pip").vertices[:, 0] > 0
    made = skinning.bind(build.skin("Pip"), LegRig.from_puppet("Pip", 5), "Pip")
    assert np.abs(build.weights(state) - made)[left].max() < 0.03  # joints are rounded to mm


def test_what_is_painted_on_the_left_is_on_the_right_too():
    state = sound("Pip")
    painted = painted_in_two(state)
    before, after = build.weights(state), build.weights(painted)
    names, vertices = build.skeleton(state).names, build.skin("Pip").vertices
    changed = np.flatnonzero(np.abs(after - before).max(axis=1) > 1e-9)
    numbers, shares = painting.unpack_painted(painted.painted, len(vertices))
    places = build.other_side(state.puppet)
    touched = np.isin(places.corners, numbers) & (places.shares > 0)
    right = np.flatnonzero(touched.any(axis=-1) & (vertices[:, 0] < 0))
    assert set(changed) <= {*numbers, *right}
    hips, knees = ([names.index(tag + part) for tag in ("L_", "R_")] for part in ("hip", "knee"))
    pair = after[numbers][:, [hips[0], knees[0]]].sum(axis=1)
    assert_allclose(after[numbers, knees[0]], shares * pair, atol=1e-12)
    for mine, theirs in (hips, knees):  # the right one's, mixed of the left one's by hand
        mixed = (places.shares * after[places.corners, mine]).sum(axis=-1)
        assert_allclose(after[right, theirs], mixed[right], atol=1e-12)
    assert_allclose(after.sum(axis=1), 1)


def test_paint_for_a_vertex_that_is_not_there_is_refused():
    text = painting.pack_painted([60_000], [1.0])
    with pytest.raises(ValueError, match=r"60000|60,000"):
        build.weights(sound("Pip").changed(painted=text))


# --- the walk ---


@each_walker
def test_the_walk_is_that_of_the_learner_s_own_bones(puppet):
    state = moved(sound(puppet), "knee", y=20)
    own = build.own_puppet(state)
    hip, knee, ankle = (np.array(state.joints_mm[n]) / 1000 for n in ("hip", "knee", "ankle"))
    assert own.bones == pytest.approx((np.linalg.norm(hip - knee), np.linalg.norm(knee - ankle)))
    assert own.hip_width == pytest.approx(2 * hip[0])
    walk = build.planted_walk(state)
    assert walk.puppet == own
    assert np.linalg.norm(walk["L_knee"] - walk["L_hip"], axis=-1) == pytest.approx(own.thigh)
    assert walk.slide_cm.max() < 1e-6


def test_the_pelvis_is_lowered_and_swayed_by_the_millimetres_said():
    state = sound()
    low, high = (build.planted_walk(put(state, "pelvis", drop_mm=mm)) for mm in (40, 10))
    assert high.pelvis[:, 1] - low.pelvis[:, 1] == pytest.approx(0.030)
    for sway in (0, 30, 80):
        walk = build.planted_walk(put(state, "pelvis", sway_mm=sway))
        assert np.ptp(walk.pelvis[:, 0]) == pytest.approx(sway / 1000, abs=1e-4)
    assert not build.planted_walk(state.changed(inverse=False)).planted


# --- the file ---


@each_walker
def test_the_file_of_a_sound_leg_passes_the_inspection(puppet, tmp_path):
    state = sound(puppet)
    path = tmp_path / "leg.glb"
    gltf.write(build.asset(state), path)
    report = inspection.inspect(path)
    assert report.passed
    assert [each.rule for each in report.findings if each.status == "finding"] == []
    read = gltf.read(path)
    again = State.read(json.dumps(read.extras[build.EXTRAS]), puppet)
    assert again == state
    names = [node.name for node in read.nodes]
    world = read.rest_world()
    for name, place in state.joints_mm.items():
        at = 1000 * world[names.index("L_" + name), :3, 3]
        assert at == pytest.approx(place, abs=0.1)


def test_the_file_moves_its_joints_as_the_rig_does():
    """However its axes are turned, each joint goes where the rig's pose has it."""
    state = sound("Pip").changed(hinge_deg={"knee": 20, "hip": -7}, mirror="opposite bend")
    asset, rig, walk = build.asset(state), build.rig(state), build.planted_walk(state, frames=72)
    poses = rig.pose(gait.control_values(walk, rig))
    names = [node.name for node in asset.nodes]
    picked = [0, 8, 40, 100]  # keys: every second frame
    world = asset.pose_world(0, walk.times[picked])
    for joint in rig.skeleton.names:
        at = world[:, names.index(joint), :3, 3]
        assert_allclose(at, poses[joint][picked, :3, 3], rtol=0, atol=1e-6)
    rest = rig.skeleton.rest_world[rig.skeleton.index("R_knee")]
    own = (
        poses["R_knee"][8, :3, :3]
        @ rest[:3, :3].T
        @ asset.rest_world()[names.index("R_knee"), :3, :3]
    )
    assert_allclose(world[1, names.index("R_knee"), :3, :3], own, atol=1e-6)


def test_a_joint_left_turned_stands_so_in_the_file():
    still, turned = (
        build.asset(each) for each in (sound("Pip"), sound("Pip").changed(turns_deg={"hip": 30}))
    )
    names = [node.name for node in still.nodes]
    for tag in ("L_", "R_"):
        hip = names.index(tag + "hip")
        before, after = (asset.rest_world()[hip, :3, :3] for asset in (still, turned))
        angle = np.degrees(np.arccos((np.trace(before.T @ after) - 1) / 2))
        assert angle == pytest.approx(30)
    assert_allclose(turned.skins[0].inverse_bind, still.skins[0].inverse_bind)


def test_a_file_needs_joints_that_hang_and_a_leg_that_walks():
    with pytest.raises(ValueError, match=r"got nothing for knee, toe\. The second step does"):
        build.asset(left_out(left_out(sound(), "parents", "knee"), "parents", "toe"))
    with pytest.raises(ValueError, match="`L_knee` must be placed so that the leg bends forward"):
        build.asset(behind(sound()))
    with pytest.raises(ValueError, match="`heel_length` must be above zero"):
        build.own_puppet(put(sound(), "sole_mm", heel=5))
