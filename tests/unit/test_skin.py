import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import faults, frames, mesh, rotation, skin
from rigkit.leg import LegRig
from rigkit.placement import swap_side
from rigkit.puppets import PUPPETS
from rigkit.skeleton import Skeleton

BLENDS = (skin.linear_blend, skin.dual_quaternion_blend)
blends = pytest.mark.parametrize("blend", BLENDS, ids=lambda blend: blend.__name__)
quick = settings(max_examples=40, deadline=None)
vectors = st.tuples(*[st.floats(-3, 3)] * 3).map(np.array)
seeds = st.integers(0, 2**32 - 1)


def two_leg_skeleton(puppet):
    """Pelvis, hips, knees, ankles, the heron's feet, and toes, all along the world's axes."""
    chain = mesh.puppet_chain(puppet)
    toe = chain[-1] + [0, -0.8 * puppet.ankle_height, puppet.foot_length - puppet.heel_length]
    world, parents = {"pelvis": frames.frame(origin=chain[0] * [0, 1, 1])}, {"pelvis": None}
    for tag, side in (("L_", 1), ("R_", -1)):
        above = "pelvis"
        for name, point in zip(
            [*("hip", "knee", "ankle", "foot")[: len(chain)], "toe"], [*chain, toe], strict=True
        ):
            world[tag + name] = frames.frame(origin=point * [side, 1, 1])
            parents[tag + name] = above
            above = tag + name
    return Skeleton.from_world(world, parents)


def skinned(puppet, vertices, **options):
    skeleton = two_leg_skeleton(puppet)
    pelvis, left, right = mesh.inner_bones(puppet)
    last = skeleton.parent("L_toe").removeprefix("L_")
    bones = skin.bones_of(skeleton, {"pelvis": pelvis, f"L_{last}": left, f"R_{last}": right})
    surface = mesh.puppet_mesh(puppet, vertices)
    return skeleton, surface, skin.weights_by_distance(surface.vertices, bones, **options)


SKELETON, SURFACE, WEIGHTS = skinned(PUPPETS["Tamsin"], 2000)
KNEE, HIP = SKELETON.index("L_knee"), SKELETON.index("L_hip")
# an upper bone in y > 0, a lower one in y < 0, a joint at the origin
LIMB = mesh.tube(0.05, 1.0, around=24, along=40)
LIMB_BONES = {"upper": [[[0, 0.5, 0], [0, 0, 0]]], "lower": [[[0, 0, 0], [0, -0.5, 0]]]}
LIMB_WEIGHTS = skin.weights_by_distance(LIMB.vertices, LIMB_BONES)


def limb_matrices(axis, angle):
    """The upper bone stays, the lower one turns about the origin."""
    turned = frames.frame(rotation.matrix_about(axis, angle))
    return np.stack([np.broadcast_to(np.eye(4), turned.shape), turned], axis=-3)


def crouch(hip_deg, knee_deg, ankle_deg):
    turns = {
        f"{tag}{joint}": rotation.matrix_about("x", np.radians(angle))
        for tag in ("L_", "R_")
        for joint, angle in (("hip", -hip_deg), ("knee", knee_deg), ("ankle", ankle_deg))
    }
    return SKELETON.pose(turns)


def random_skin(seed, joints=5, vertices=40):
    rng = np.random.default_rng(seed)
    weights = skin.prune(rng.random((vertices, joints)) ** 3)
    matrices = frames.frame(
        rotation.matrix_from_vector(rng.normal(size=(joints, 3))), rng.normal(size=(joints, 3))
    )
    return rng.normal(size=(vertices, 3)), skin.normalise(weights), matrices


# Weights


@pytest.mark.parametrize("puppet", PUPPETS.values(), ids=list(PUPPETS))
@pytest.mark.parametrize("softness", [0.5, 1.5, 3.0])
def test_weights_add_up_to_one_with_four_at_most(puppet, softness):
    _, _, weights = skinned(puppet, 1000, softness=softness)
    assert_allclose(weights.sum(axis=1), 1, rtol=0, atol=1e-12)
    assert weights.min() >= 0
    assert (weights > 0).sum(axis=1).max() <= 4


@pytest.mark.parametrize("puppet", PUPPETS.values(), ids=list(PUPPETS))
def test_no_joint_moves_the_other_leg(puppet):
    skeleton, surface, weights = skinned(puppet, 1500)
    for tag, side in (("L_", 1), ("R_", -1)):
        own = [i for i, name in enumerate(skeleton.names) if name.startswith(tag)]
        assert np.all(weights[side * surface.vertices[:, 0] < 0][:, own] == 0)
        assert weights[:, own].sum() > 100


def test_weights_are_mirror_images():
    mirrored = [SKELETON.index(swap_side(name)) for name in SKELETON.names]
    here = {tuple(np.round(v, 9)): w for v, w in zip(SURFACE.vertices, WEIGHTS, strict=True)}
    for vertex, row in here.items():
        across = here[(-vertex[0] + 0.0, *vertex[1:])]
        assert_allclose(row, across[mirrored], atol=1e-9)


def test_each_part_goes_with_its_own_joint():
    names = np.array(SKELETON.names)[WEIGHTS.argmax(axis=1)]
    x, y, _ = SURFACE.vertices.T
    puppet = PUPPETS["Tamsin"]
    knee, ankle = puppet.ankle_height + puppet.shank, puppet.ankle_height
    thigh = (x > 0) & (y > knee + 0.05) & (y < puppet.hip_height - 0.2)
    assert set(names[thigh]) == {"L_hip"}
    assert set(names[(x < 0) & (y < knee - 0.05) & (y > ankle + 0.05)]) == {"R_knee"}
    assert set(names[(x > 0) & (y < 0.3 * ankle)]) == {"L_ankle"}  # the whole sole, heel to toe
    assert set(names[y > puppet.hip_height + 0.06]) == {"pelvis"}
    crotch = (x == 0) & (y < puppet.hip_height)
    assert np.all(WEIGHTS[crotch, SKELETON.index("pelvis")] > 1 - 1e-12)


def test_the_blend_on_a_straight_limb_is_even_at_the_joint_and_as_wide_as_asked():
    heights = np.linspace(-0.2, 0.2, 401)
    line = np.stack([np.full(401, 0.05), heights, np.zeros(401)], axis=-1)
    for softness in (0.5, 1, 3):
        upper, lower = skin.weights_by_distance(line, LIMB_BONES, softness).T
        step = np.clip((1 + heights / (0.05 * softness)) / 2, 0, 1)
        assert_allclose(upper, step**2 * (3 - 2 * step), atol=1e-12)
        assert_allclose(lower, upper[::-1], atol=1e-12)


def test_the_blend_is_smooth():
    """The slope changes by little from step to step, also at the joint and where the blend ends."""
    heights = np.linspace(-0.15, 0.15, 6001)
    line = np.stack([np.full(6001, 0.05), heights, np.zeros(6001)], axis=-1)
    slope = np.diff(skin.weights_by_distance(line, LIMB_BONES)[:, 0]) / np.diff(heights)
    assert slope.max() > 7
    assert np.abs(np.diff(slope)).max() < 0.02


@pytest.mark.parametrize("puppet", PUPPETS.values(), ids=list(PUPPETS))
def test_weights_nowhere_jump(puppet):
    """A finer mesh shows the same steepest slope; a jump would show one that grows with detail."""
    steepest = []
    for vertices in (4000, 16_000):
        _, surface, weights = skinned(puppet, vertices)
        a, b, _ = surface.triangles.T
        edges = np.linalg.norm(surface.vertices[a] - surface.vertices[b], axis=1)
        steepest.append((np.abs(weights[a] - weights[b]).max(axis=1) / edges).max())
    assert steepest[1] < 50
    assert steepest[1] < 1.2 * steepest[0]


def test_a_vertex_on_a_bone_goes_with_it_and_one_on_the_joint_with_both():
    weights = skin.weights_by_distance([[0, 0.3, 0], [0, -0.3, 0], [0, 0, 0]], LIMB_BONES)
    assert_allclose(weights, [[1, 0], [0, 1], [0.5, 0.5]], atol=1e-12)


def test_a_bone_given_twice_counts_once():
    twice = {name: bones * 2 for name, bones in LIMB_BONES.items()}
    assert_array_equal(skin.weights_by_distance(LIMB.vertices, twice), LIMB_WEIGHTS)


def test_a_joint_without_bones_gets_no_weight():
    bones = {**LIMB_BONES, "end": np.zeros((0, 2, 3))}
    assert_array_equal(skin.weights_by_distance(LIMB.vertices, bones)[:, 2], 0)
    assert skin.bones_of(SKELETON)["L_toe"].shape == (0, 2, 3)
    assert skin.bones_of(SKELETON)["pelvis"].shape == (2, 2, 3)
    thigh = SKELETON.rest_world[[HIP, KNEE], :3, 3]
    assert_allclose(skin.bones_of(SKELETON)["L_hip"], [thigh])


@pytest.mark.parametrize("puppet", PUPPETS.values(), ids=list(PUPPETS))
def test_skin_of_a_rig_fits_its_rest_pose_and_follows_its_feet(puppet):
    rig = LegRig.from_puppet(puppet)
    surface, weights = skin.rig_skin(rig, puppet, 1500)
    assert weights.shape == (len(surface.vertices), len(rig.skeleton))
    assert_allclose(weights.sum(axis=1), 1, rtol=0, atol=1e-12)
    posed = rig.pose({"pelvis": {"shift_y": -0.1}}).world
    matrices = skin.joint_matrices(posed, rig.skeleton.rest_world)
    soles, waist = surface.vertices[:, 1] < 1e-9, surface.vertices[:, 1].argmax()
    for blend in BLENDS:
        moved = blend(surface.vertices, weights, matrices) - surface.vertices
        assert_allclose(moved[soles], 0, atol=1e-3)  # the ankle's blend may just reach one
        assert_allclose(moved[waist], [0, -0.1, 0], atol=1e-9)


@quick
@given(seeds, st.integers(1, 6))
def test_pruning_keeps_the_strongest_and_the_sum(seed, most):
    rng = np.random.default_rng(seed)
    weights = rng.random((30, 7)) * (rng.random((30, 7)) < 0.7) + np.eye(30, 7) + 1e-9
    pruned = skin.prune(weights, most)
    assert_allclose(pruned.sum(axis=1), weights.sum(axis=1), rtol=1e-12)
    for row, kept in zip(weights, pruned, strict=True):
        stays = kept > 0
        assert stays.sum() == most
        assert row[stays].min() >= row[~stays].max()
        assert_allclose(kept[stays] / kept[stays].sum(), row[stays] / row[stays].sum(), rtol=1e-12)
    assert_allclose(skin.normalise(pruned).sum(axis=1), 1, rtol=0, atol=1e-12)


@quick
@given(seeds, st.integers(1, 9))
def test_to_four_and_back(seed, joints):
    rng = np.random.default_rng(seed)
    weights = skin.prune(
        rng.random((20, joints)) * (rng.random((20, joints)) < 0.5) + np.eye(20, joints) + 1e-3
    )
    indices, four = skin.pack_influences(weights)
    assert indices.shape == four.shape == (20, 4)
    assert np.all(np.diff(four, axis=1) <= 0)
    assert np.all(indices[four == 0] == 0)
    assert_array_equal(skin.unpack_influences(indices, four, joints), weights)


# Joints placed in a skin that is there before them


def placed(puppet, **shifts):
    """A puppet's leg rig with joints of both sides shifted from where they stand straight."""
    rig = LegRig.from_puppet(puppet)
    world = dict(zip(rig.skeleton.names, rig.skeleton.rest_world.copy(), strict=True))
    for joint, shift in shifts.items():
        for tag, side in (("L_", 1), ("R_", -1)):
            world[tag + joint][:3, 3] += np.multiply(shift, [side, 1, 1])
    return Skeleton.from_world(world, {n: rig.skeleton.parent(n) for n in rig.skeleton.names})


@pytest.mark.parametrize("puppet", PUPPETS.values(), ids=list(PUPPETS))
def test_a_skin_goes_with_the_bones_and_the_inner_bones(puppet):
    rig = LegRig.from_puppet(puppet, 5)
    skeleton, last = rig.skeleton, rig.chain[-1]
    chain = skeleton.origins(skeleton.rest_world, ["L_" + joint for joint in rig.chain])
    pelvis, left, right = mesh.inner_bones(puppet, chain)
    bones = skin.bones_of(skeleton, {"pelvis": pelvis, "L_" + last: left, "R_" + last: right})
    surface, own = skin.rig_skin(rig, puppet, 600, 1.5)
    wanted = skin.weights_by_distance(surface.vertices, bones, 1.5)
    assert_array_equal(own, wanted)
    for given_rig in (rig, skeleton):
        assert_array_equal(skin.bind(surface, given_rig, puppet, 1.5), wanted)
    two = skin.bind(surface, rig, puppet, 1.5, 2)
    assert_array_equal(two, skin.weights_by_distance(surface.vertices, bones, 1.5, 2))


@pytest.mark.parametrize("up", [-0.04, 0.0, 0.05])
def test_the_blend_goes_where_the_knee_is_put(up):
    """Outside on the limb thigh and shank share evenly at the knee's height."""
    puppet = PUPPETS["Tamsin"]
    surface = mesh.puppet_mesh(puppet, 4000)
    skeleton = placed(puppet, knee=(0, up, 0))
    weights = skin.bind(surface, skeleton, puppet)
    assert_allclose(weights.sum(axis=1), 1, atol=1e-12)
    x, y, z = surface.vertices.T
    knee = mesh.puppet_chain(puppet)[1] + [0, up, 0]
    outside = np.flatnonzero((x > knee[0] + 0.03) & (abs(z) < 0.02) & (abs(y - knee[1]) < 0.08))
    order = outside[y[outside].argsort()]
    share = weights[order, skeleton.index("L_hip")]
    assert np.interp(0.5, share, y[order]) == pytest.approx(knee[1], abs=0.004)


def test_an_ankle_and_a_hip_that_are_off_take_the_inner_bones_along():
    puppet = PUPPETS["Odo"]
    surface = mesh.puppet_mesh(puppet, 800)
    skeleton = placed(puppet, hip=(0.02, 0.03, 0), ankle=(0, 0.03, -0.02))
    weights = skin.bind(surface, skeleton, puppet)
    names = np.array(skeleton.names)[weights.argmax(axis=1)]
    _, y, z = surface.vertices.T
    assert set(names[(y < 0.02) & (z < 0)]) == {"L_ankle", "R_ankle"}  # the heels
    assert set(names[y > puppet.hip_height + 0.09]) == {"pelvis"}
    own = [i for i, name in enumerate(skeleton.names) if name.startswith("L_")]
    assert np.all(weights[surface.vertices[:, 0] < 0][:, own] == 0)


@pytest.mark.parametrize(
    ("rig", "puppet", "said"),
    [
        (LegRig.from_puppet("Pip"), "heron", "`rig` must have the joints of heron's legs, pelvis"),
        (LegRig.from_puppet("heron"), "Pip", "got pelvis, L_hip, L_knee, L_ankle, L_foot, R_hip"),
        (LIMB, "Pip", "`rig` must be a LegRig or a Skeleton; got Mesh"),
        (placed("Pip", hip=(-0.2, 0, 0)), "Pip", "x above zero; got -0.11 m for L_hip."),
    ],
)
def test_a_rig_that_is_not_the_puppet_s_is_not_bound(rig, puppet, said):
    with pytest.raises(ValueError, match=re.escape(said)):
        skin.bind(mesh.puppet_mesh("Pip", 300), rig, puppet)
    with pytest.raises(ValueError, match=r"`surface` must be a Mesh; got 5. `mesh.puppet_mesh`"):
        skin.bind(5, rig, puppet)


# Smoothing and mirroring

TABLE = mesh.neighbours(SURFACE.triangles)
PARTNER = mesh.mirror_index(SURFACE.vertices)
SWAP = [SKELETON.index(swap_side(name)) for name in SKELETON.names]


def line(count):
    """The neighbours along a line of vertices."""
    return mesh.neighbours([(i, i + 1, i + 1) for i in range(count - 1)])


@quick
@given(seeds, st.integers(0, 4), st.floats(0, 1))
def test_smoothing_keeps_sums_and_stays_between_what_is_there(seed, passes, strength):
    weights = skin.normalise(np.random.default_rng(seed).random(WEIGHTS.shape) ** 4)
    smoothed = skin.smooth(weights, TABLE, passes, strength)
    assert_allclose(smoothed.sum(axis=1), 1, atol=1e-12)
    assert (smoothed >= weights.min(axis=0) - 1e-12).all()
    assert (smoothed <= weights.max(axis=0) + 1e-12).all()
    if passes == 0 or strength == 0:
        assert_array_equal(smoothed, weights)


def test_only_chosen_vertices_are_smoothed_and_the_given_weights_stay():
    before = WEIGHTS.copy()
    chosen = SURFACE.vertices[:, 0] > 0.05
    one = skin.smooth(WEIGHTS, TABLE, chosen=chosen)
    assert_array_equal(one[~chosen], WEIGHTS[~chosen])
    assert_array_equal(one[chosen], skin.smooth(WEIGHTS, TABLE)[chosen])
    assert np.abs(one - WEIGHTS).max() > 0.01
    assert_array_equal(WEIGHTS, before)
    assert_array_equal(skin.smooth(WEIGHTS, TABLE, 3, chosen=0 * chosen > 1), WEIGHTS)


def test_alike_neighbours_and_lonely_vertices_keep_their_weights():
    even = np.full((5, 2), 0.5)
    assert_allclose(skin.smooth(even, line(5), 7), even, rtol=1e-15)
    indptr, indices = mesh.neighbours([(0, 1, 2)], 5)
    step = np.eye(2)[[0, 1, 1, 0, 1]]
    smoothed = skin.smooth(step, (indptr, indices), 50)
    assert_array_equal(smoothed[3:], step[3:])
    assert_allclose(smoothed[:3, 0], 1 / 3, atol=1e-9)


def test_smoothing_stretches_the_skin_of_a_bent_knee_less():
    _, surface, hard = skinned(PUPPETS["Tamsin"], 2000, softness=0.35)
    world = crouch(0, 90, 0)
    matrices = skin.joint_matrices(world, SKELETON.rest_world)
    longest = []
    for passes in (0, 4, 16):
        posed = skin.linear_blend(surface.vertices, skin.smooth(hard, TABLE, passes), matrices)
        longest.append(mesh.stretch(surface.vertices, posed, surface.triangles).max())
    assert longest == sorted(longest, reverse=True)
    assert longest[0] > 2.5 > 1.8 > longest[-1]


@quick
@given(seeds)
def test_mirrored_twice_weights_are_the_same_and_sums_stay(seed):
    weights = np.random.default_rng(seed).random(WEIGHTS.shape)
    mirrored = skin.mirror_weights(weights, PARTNER, SWAP)
    assert_array_equal(skin.mirror_weights(mirrored, PARTNER, SWAP), weights)
    assert_allclose(mirrored.sum(axis=1), weights.sum(axis=1)[PARTNER], rtol=1e-12)
    middle = np.flatnonzero(np.arange(len(PARTNER)) == PARTNER)
    assert len(middle)
    assert_array_equal(mirrored[middle], weights[middle][:, SWAP])


def test_the_left_side_copied_to_the_right_makes_a_mirror_image():
    weights = skin.normalise(np.random.default_rng(1).random(WEIGHTS.shape))
    mirrored = skin.mirror_weights(weights, PARTNER, SWAP)
    to_right = (1 - np.sign(SURFACE.vertices[:, :1])) / 2
    both = to_right * mirrored + (1 - to_right) * weights
    assert_array_equal(both[SURFACE.vertices[:, 0] > 0], weights[SURFACE.vertices[:, 0] > 0])
    assert_array_equal(skin.mirror_weights(both, PARTNER, SWAP), both)
    assert_allclose(both.sum(axis=1), 1, atol=1e-12)
    assert_allclose(skin.mirror_weights(WEIGHTS, PARTNER, SWAP), WEIGHTS, atol=1e-9)


@pytest.mark.parametrize(
    ("neighbours", "said"),
    [
        (5, "`neighbours` must be the two arrays that mesh.neighbours gives of 2 vertices; got 5"),
        (line(3), "gives of 2 vertices; got those of 3 vertices, 4 in all."),
        (([0, 1, 2], [1, 2]), "got those of 2 vertices, 2 in all."),
        (([0, 2, 1], [1, 0]), "got those of 2 vertices, 2 in all."),
        (([0.0, 1.0, 2.0], [1, 0]), "gives of 2 vertices; got ([0.0, 1.0, 2.0], [1, 0])."),
    ],
)
def test_neighbours_of_other_vertices_are_refused(neighbours, said):
    with pytest.raises(ValueError, match=re.escape(said)):
        skin.smooth(np.eye(2), neighbours)


@pytest.mark.parametrize("partner", [[1, 2, 0], [1, 0], [1, 0, 3], [1, 0, -1], [1, 0, 1.5]])
def test_partners_must_be_each_other_s(partner):
    with pytest.raises(
        ValueError, match=r"`partner` must be the numbers of 3 vertices, from 0, .*"
    ):
        skin.mirror_weights(np.ones((3, 2)), partner, [1, 0])
    with pytest.raises(ValueError, match=r"`swap` must be the numbers of 3 joints, .* twice; got"):
        skin.mirror_weights(np.ones((2, 3)), [1, 0], partner)


# Both ways of skinning


@blends
def test_rest_pose_returns_the_vertices(blend):
    matrices = skin.joint_matrices(SKELETON.rest_world, SKELETON.rest_world)
    assert_allclose(matrices, np.broadcast_to(np.eye(4), matrices.shape), atol=1e-15)
    assert_allclose(blend(SURFACE.vertices, WEIGHTS, matrices), SURFACE.vertices, atol=1e-14)


@blends
@quick
@given(turn=vectors, shift=vectors)
def test_moving_all_joints_moves_the_skin_and_keeps_its_volume(blend, turn, shift):
    motion = frames.frame(rotation.matrix_from_vector(turn), shift)
    matrices = skin.joint_matrices(motion @ SKELETON.rest_world, SKELETON.rest_world)
    posed = blend(SURFACE.vertices, WEIGHTS, matrices)
    assert_allclose(posed, frames.apply(motion, SURFACE.vertices), atol=1e-12)
    assert_allclose(mesh.volume_ratio(SURFACE.vertices, posed, SURFACE.triangles), 1, rtol=1e-10)


@blends
@quick
@given(seed=seeds, turn=vectors, shift=vectors)
def test_blending_does_not_depend_on_where_the_world_is(blend, seed, turn, shift):
    vertices, weights, matrices = random_skin(seed)
    motion = frames.frame(rotation.matrix_from_vector(turn), shift)
    moved = blend(vertices, weights, motion @ matrices)
    assert_allclose(moved, frames.apply(motion, blend(vertices, weights, matrices)), atol=1e-9)


@blends
def test_a_vertex_of_one_joint_moves_with_it(blend):
    vertices, _, matrices = random_skin(3)
    weights = np.eye(5)[np.arange(40) % 5]
    moved = frames.apply(matrices[np.arange(40) % 5], vertices)
    assert_allclose(blend(vertices, weights, matrices), moved, atol=1e-12)


@blends
def test_batch_equals_loop_on_a_mesh_of_several_blocks(blend):
    rng = np.random.default_rng(5)
    vertices, weights, _ = random_skin(1, vertices=2 * skin.BLOCK + 7)
    matrices = frames.frame(
        rotation.matrix_from_vector(rng.normal(size=(2, 3, 5, 3))), rng.normal(size=(2, 3, 5, 3))
    )
    posed = blend(vertices, weights, matrices)
    assert posed.shape == (2, 3, len(vertices), 3)
    for i in np.ndindex(2, 3):
        assert_allclose(posed[i], blend(vertices, weights, matrices[i]), atol=1e-13)
    some = [0, 1, skin.BLOCK - 1, skin.BLOCK, 2 * skin.BLOCK + 6]
    assert_allclose(posed[..., some, :], blend(vertices[some], weights[some], matrices), atol=1e-12)


@blends
def test_whole_numbers_and_lists_are_as_good(blend):
    matrices = np.array([np.eye(4), [[0, -1, 0, 1], [1, 0, 0, 0], [0, 0, 1, 0], [0, 0, 0, 1]]])
    vertices, weights = np.array([[1.0, 2, 3], [4, 5, 6]]), np.array([[1.0, 0], [1, 1]])
    whole = blend(
        vertices.astype(int).tolist(), weights.astype(int).tolist(), matrices.astype(int).tolist()
    )
    assert_array_equal(whole, blend(vertices, weights, matrices))


def test_linear_blend_is_the_weighted_sum_of_moved_vertices():
    vertices, weights, matrices = random_skin(7)
    expected = sum(weights[:, j, None] * frames.apply(matrices[j], vertices) for j in range(5))
    assert_allclose(skin.linear_blend(vertices, weights, matrices), expected, atol=1e-13)


def test_linear_blend_takes_scale_and_dual_quaternions_refuse_it():
    matrices = np.diag([2.0, 2, 2, 1])[None]
    assert_array_equal(skin.linear_blend([[1, 2, 3]], [[1]], matrices), [[2, 4, 6]])
    with pytest.raises(ValueError, match="`frames` must be a rotation matrix"):
        skin.dual_quaternion_blend([[1, 2, 3]], [[1]], matrices)


def test_dual_quaternions_move_each_vertex_rigidly():
    """Vertices with one row of weights keep their distances, however their joints move."""
    vertices, weights, matrices = random_skin(11)
    posed = skin.dual_quaternion_blend(vertices, np.tile(weights[0], (40, 1)), matrices)
    before = np.linalg.norm(vertices[:, None] - vertices, axis=-1)
    assert_allclose(np.linalg.norm(posed[:, None] - posed, axis=-1), before, atol=1e-12)


@quick
@given(seeds)
def test_the_order_of_joints_does_not_matter(seed):
    vertices, weights, matrices = random_skin(seed)
    order = np.random.default_rng(seed).permutation(5)
    for blend in BLENDS:
        same = blend(vertices, weights[:, order], matrices[order])
        assert_allclose(same, blend(vertices, weights, matrices), atol=1e-12)


def test_dual_quaternions_go_the_short_way_from_whichever_joint_is_stronger():
    """Turns of 100 degrees to either side are 160 apart by the back, which is the short way."""
    matrices = np.stack(
        [frames.frame(rotation.matrix_about("y", np.radians(a))) for a in (100, -100)]
    )
    halfway = skin.dual_quaternion_blend([[1, 0, 0]], [[0.5, 0.5]], matrices)
    assert_allclose(halfway, [[-1, 0, 0]], atol=1e-12)
    for weights in ([[0.7, 0.3]], [[0.3, 0.7]]):
        x, _, z = skin.dual_quaternion_blend([[1, 0, 0]], weights, matrices)[0]
        assert 100 < abs(np.degrees(np.arctan2(z, x))) < 180


@pytest.mark.parametrize("angle", [0, 1e-9, 1, 179.999999, 180, 180.000001, 270])
def test_answers_stay_finite_at_every_turn(angle):
    for axis in "xyz":
        matrices = limb_matrices(axis, np.radians(angle))
        posed = skin.dual_quaternion_blend(LIMB.vertices, LIMB_WEIGHTS, matrices)
        assert np.isfinite(posed).all()
        far = np.linalg.norm(LIMB.vertices, axis=1)
        assert_allclose(np.linalg.norm(posed, axis=1), far, rtol=1e-12)


@quick
@given(vectors, vectors)
def test_dual_quaternions_are_frames_again(turn, shift):
    frame = frames.frame(rotation.matrix_from_vector(turn), shift)
    motion = skin.dual_quaternion_from_frame(frame)
    assert_allclose(np.linalg.norm(motion[:4]), 1, atol=1e-12)
    assert_allclose(motion[:4] @ motion[4:], 0, atol=1e-12)
    for same in (motion, -motion, 3 * motion):
        assert_allclose(skin.frame_from_dual_quaternion(same), frame, atol=1e-12)


def test_bound_anew_at_another_rest_pose_nothing_moves_and_the_weights_stay():
    """New inverse bind matrices alone: v' = Σ w · rest · rest⁻¹ · v = v, whatever the weights."""
    rng = np.random.default_rng(0)
    moved = SKELETON.rest_world @ frames.frame(
        rotation.matrix_from_vector(rng.normal(size=(len(SKELETON), 3))),
        rng.normal(size=(len(SKELETON), 3)),
    )
    vertices = rng.normal(size=(50, 3))
    painted = skin.normalise(rng.uniform(size=(50, len(SKELETON))))
    before = painted.tobytes()
    anew = moved @ skin.inverse_bind_matrices(moved)
    for blend in BLENDS:
        assert_allclose(blend(vertices, painted, anew), vertices, atol=1e-12)
    assert painted.tobytes() == before
    late = skin.joint_matrices(moved, SKELETON.rest_world)  # not bound anew
    assert np.abs(skin.linear_blend(vertices, painted, late) - vertices).max() > 0.1


def test_a_file_bound_anew_keeps_its_weights_and_stands_as_its_mesh_does():
    late = faults.knee_back("Tamsin", back_mm=30, bound=faults.BEFORE)
    again = faults.bound_again(late)
    assert again.meshes is late.meshes  # weights and joint numbers among them
    world, (bound,) = again.rest_world(), again.skins
    matrices = world[bound.joints] @ bound.inverse_bind
    assert_allclose(matrices, np.broadcast_to(np.eye(4), matrices.shape), atol=1e-6)


def test_inverse_bind_matrices_undo_the_rest_pose():
    inverse = skin.inverse_bind_matrices(SKELETON.rest_world)
    assert_allclose(
        inverse @ SKELETON.rest_world, np.broadcast_to(np.eye(4), inverse.shape), atol=1e-15
    )
    posed = crouch(40, 80, -40)
    assert_allclose(skin.joint_matrices(posed, SKELETON.rest_world), posed @ inverse, atol=1e-15)


# What a pose does to a skin


def test_a_bent_knee_loses_volume_by_linear_blend_and_hardly_any_by_dual_quaternions():
    bends = np.array([0, 30, 60, 90, 120])
    posed = np.stack([crouch(0, bend, 0) for bend in bends])
    matrices = skin.joint_matrices(posed, SKELETON.rest_world)
    skins = (blend(SURFACE.vertices, WEIGHTS, matrices) for blend in BLENDS)
    linear, dual = (mesh.volume_ratio(SURFACE.vertices, s, SURFACE.triangles) for s in skins)
    assert linear.shape == (5,)
    assert_allclose([linear[0], dual[0]], 1, atol=1e-12)
    assert np.all(np.diff(linear) < 0)
    assert linear[-1] < 0.98
    assert np.all(np.abs(dual - 1) < 0.02)
    assert np.all(dual[1:] > linear[1:])


def test_knee_section_keeps_the_cosine_of_half_the_bend():
    knee = SKELETON.rest_world[KNEE, :3, 3]
    for bend in (0, 45, 90, 120):
        matrices = skin.joint_matrices(crouch(30, bend, 0), SKELETON.rest_world)
        for blend, expected in (
            (skin.linear_blend, np.cos(np.radians(bend / 2))),
            (skin.dual_quaternion_blend, 1),
        ):
            posed = blend(SURFACE.vertices, WEIGHTS, matrices)
            kept = mesh.section_ratio(SURFACE.vertices, posed, SURFACE.side("L_"), knee, [0, 1, 0])
            # the ring at the knee is not quite half and half
            assert_allclose(kept, expected, atol=0.02)


def test_twisted_limb_is_wrung_to_a_point_at_half_a_turn():
    angles = np.radians([0, 90, 180])
    matrices = limb_matrices("y", angles)
    zone = skin.blend_zone(LIMB_WEIGHTS, 0, 1)
    assert 0 < zone.sum() < len(zone)
    linear, dual = (blend(LIMB.vertices, LIMB_WEIGHTS, matrices) for blend in BLENDS)
    worst = skin.worst_collapse(LIMB.vertices, linear, np.eye(4), matrices[:, 1], "y", zone)
    assert_allclose(worst, [1, np.sqrt(0.5), 0], atol=1e-9)
    assert_allclose(
        skin.worst_collapse(LIMB.vertices, dual, np.eye(4), matrices[:, 1], "y", zone), 1, atol=1e-9
    )
    sections = mesh.section_ratio(LIMB.vertices, linear, LIMB.triangles, [0, 0, 0], [0, 1, 0])
    assert_allclose(sections, [1, 0.5, 0], atol=1e-9)


@pytest.mark.parametrize("bend", [30, 90, 120])
def test_worst_collapse_of_the_knee(bend):
    posed_world = crouch(30, bend, 10)
    matrices = skin.joint_matrices(posed_world, SKELETON.rest_world)
    zone = skin.blend_zone(WEIGHTS, HIP, KNEE)
    joints = SKELETON.rest_world[KNEE], posed_world[KNEE]
    linear, dual = (blend(SURFACE.vertices, WEIGHTS, matrices) for blend in BLENDS)
    kept = skin.radius_ratio(SURFACE.vertices, linear, *joints, "x")
    expected = skin.blend_radius(WEIGHTS[zone, KNEE], np.radians(bend))
    assert_allclose(kept[zone], expected, atol=1e-9)
    assert skin.worst_collapse(SURFACE.vertices, linear, *joints, "x", zone) == kept[zone].min()
    assert_allclose(skin.worst_collapse(SURFACE.vertices, dual, *joints, "x", zone), 1, atol=1e-9)
    own = WEIGHTS[:, KNEE] == 1
    assert_allclose(kept[own], 1, atol=1e-9)


@quick
@given(st.floats(0, 1), st.floats(-7, 7), st.sampled_from("xyz"), st.floats(0.1, 2))
def test_blend_radius_is_what_linear_blend_does(weight, angle, axis, distance):
    vertex = distance * np.roll([0, 1, 0], "xyz".index(axis))
    posed = skin.linear_blend([vertex], [[1 - weight, weight]], limb_matrices(axis, angle))
    assert_allclose(np.linalg.norm(posed) / distance, skin.blend_radius(weight, angle), atol=1e-12)


def test_a_vertex_on_the_axis_counts_as_kept():
    rest, posed = [[0, 0.3, 0], [1e-6, 0, 0]], [[0.2, 0.3, 0], [5e-7, 0, 0]]
    assert_allclose(skin.radius_ratio(rest, posed, *TWO, "y"), [1, 0.5])


# Bad input

OUT, ONE, TWO = [1, 0, 0], [[0.5, 0.5]], np.stack([np.eye(4)] * 2)
TRANSPOSED = frames.frame(origin=[[1, 2, 3]] * 2).swapaxes(-1, -2)


@pytest.mark.parametrize(
    ("call", "arguments", "message"),
    [
        (
            skin.linear_blend,
            ([OUT], ONE * 2, TWO),
            "`weights` must have a row for each of 1 vertices; got 2 rows",
        ),
        (
            skin.linear_blend,
            ([OUT], ONE, [*TWO, np.eye(4)]),
            "`matrices` must be numbers with shape",
        ),
        (skin.linear_blend, ([OUT], [[0.5, -0.5]], TWO), "must be zero or more"),
        (skin.linear_blend, ([OUT], [[0, 0]], TWO), "in each row one above zero"),
        (skin.linear_blend, ([OUT], ONE, TRANSPOSED), "`matrices` must have the last row 0 0 0 1"),
        (skin.linear_blend, ([OUT], ONE, TWO + 1e-8), "`matrices` must have the last row 0 0 0 1"),
        (skin.linear_blend, ([[OUT]], ONE, TWO), "`vertices` must be one table"),
        (
            skin.pack_influences,
            (np.ones((2, 5)),),
            "`weights` must have at most four joints to a vertex; got 5",
        ),
        *(
            (
                skin.unpack_influences,
                ([[0, 1, 2, wrong]], [[1] * 4], 5),
                "`indices` must be joint numbers from 0 to 4",
            )
            for wrong in (9, 0.5)
        ),
        (skin.prune, (np.ones((2, 5)), 0), "`max_influences` must be a whole number of at least 1"),
        (
            skin.weights_by_distance,
            ([[1, 0, 0]], {"R_knee": [[[0, 0, 0], [0, 1, 0]]]}),
            "`bones` must hold a bone",
        ),
        (skin.weights_by_distance, ([[1, 0, 0]], {}), "`bones` must map joint names to bones"),
        (skin.weights_by_distance, ([[1, 0, 0]], LIMB_BONES, 0), "`softness` must be above zero"),
        (skin.rig_skin, ("Tamsin", PUPPETS["Tamsin"]), "`rig` must be a LegRig; got 'Tamsin'"),
        (skin.bones_of, ("Tamsin",), "`skeleton` must be a Skeleton"),
        (skin.bones_of, (SKELETON, {"tail": [[[0, 0, 0], [0, 0, 1]]]}), "'tail'"),
        (skin.blend_radius, (1.5, 0), "`weight` must be from 0 to 1"),
        (skin.blend_zone, (ONE, 0, 2), "`first` and `second` must be two columns"),
        (skin.blend_zone, (ONE, 1, 1), "`first` and `second` must be two columns"),
        (skin.radius_ratio, ([OUT], [OUT] * 2, *TWO, "x"), "`posed` must have the 1 vert"),
        (skin.radius_ratio, ([OUT], [OUT], *TWO, "w"), "`axis` must be one of"),
        (skin.worst_collapse, ([OUT], [OUT], *TWO, "x", [False]), "`zone` must be"),
        (skin.worst_collapse, ([OUT], [OUT], *TWO, "x", [1]), "`zone` must be"),
        (skin.frame_from_dual_quaternion, (np.zeros(8),), "`motion` must have a turn"),
    ],
)
def test_bad_input_says_what_would_do(call, arguments, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call(*arguments)
