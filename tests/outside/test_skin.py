"""Skinning against published facts, pytransform3d's dual quaternions, and scipy's convex hulls.

Linear blend: glTF 2.0, "Skins". Dual quaternions: L. Kavan, S. Collins, J. Žára, C. O'Sullivan,
"Skinning with dual quaternions", I3D 2007, and ACM TOG 27(4):105, 2008. pytransform3d puts a
quaternion's scalar first.
"""

import numpy as np
import pytest
import pytransform3d.rotations as pr
import pytransform3d.transformations as pt
from numpy.testing import assert_allclose
from scipy.sparse import coo_array, diags_array
from scipy.spatial import ConvexHull
from scipy.special import betainc, comb

from rigkit import frames, mesh, rotation, skin

# Share of its distance from the axis that an evenly shared vertex keeps, by the turn in degrees:
# cos(θ/2), derived. That half a turn brings it onto the axis is also in Game Physics Pearls,
# chapter 13.
RADIUS_KEPT = {
    30: 0.965926,
    45: 0.923880,
    60: 0.866025,
    90: 0.707107,
    120: 0.5,
    135: 0.382683,
    150: 0.258819,
    170: 0.087156,
    180: 0.0,
}
DUAL_ORDER = [3, 0, 1, 2, 7, 4, 5, 6]  # scalar last to scalar first


def random_frames(rng, count):
    return frames.frame(
        rotation.matrix_from_vector(1.5 * rng.normal(size=(count, 3))), rng.normal(size=(count, 3))
    )


def half_and_half(blend, degrees, axis="z"):
    """The point one metre out, as an unturned and a turned joint that share it evenly move it."""
    matrices = np.stack([np.eye(4), frames.frame(rotation.matrix_about(axis, np.radians(degrees)))])
    return blend([[1.0, 0.0, 0.0]], [[0.5, 0.5]], matrices)[0]


@pytest.mark.parametrize(("degrees", "kept"), RADIUS_KEPT.items())
def test_radius_law_of_linear_blend(degrees, kept):
    assert_allclose(np.linalg.norm(half_and_half(skin.linear_blend, degrees)), kept, atol=5e-7)
    assert_allclose(skin.blend_radius(0.5, np.radians(degrees)), kept, atol=5e-7)


@pytest.mark.parametrize("weight", [0.1, 0.25, 0.5, 0.8])
def test_radius_law_with_uneven_weights(weight):
    """distance² = p² (w² + (1 − w)² + 2 w (1 − w) cos θ): question-and-answer thread 25481176."""
    angles = np.radians(np.arange(0, 361, 15))
    square = weight**2 + (1 - weight) ** 2 + 2 * weight * (1 - weight) * np.cos(angles)
    assert_allclose(skin.blend_radius(weight, angles), np.sqrt(np.maximum(square, 0)), atol=1e-8)


@pytest.mark.parametrize("degrees", RADIUS_KEPT)
def test_determinant_of_a_linear_blend_of_two_turns(degrees):
    """cos²(θ/2), derived: the blended matrix, read off the three axes, is no rotation."""
    matrices = np.stack(
        [np.eye(4), frames.frame(rotation.matrix_from_vector(np.radians(degrees) * np.eye(3)[1]))]
    )
    columns = skin.linear_blend(np.eye(3), np.full((3, 2), 0.5), matrices)
    assert_allclose(np.linalg.det(columns), RADIUS_KEPT[degrees] ** 2, atol=1e-6)


@pytest.mark.parametrize(("degrees", "turned"), [(90, 45), (180 - 1e-9, 90), (270, -45), (30, 15)])
def test_dual_quaternions_keep_the_radius_and_turn_half_the_short_way(degrees, turned):
    """90, 180 less 1e-9 and 270 degrees: as blending and normalising by pytransform3d gave."""
    x, y, z = half_and_half(skin.dual_quaternion_blend, degrees)
    assert_allclose([np.hypot(x, y), z], [1, 0], atol=1e-12)
    assert_allclose(np.degrees(np.arctan2(y, x)), turned, atol=1e-7)


def test_linear_blend_at_the_same_turns():
    """0.7071, 8.7e-12 and 0.7071 metres from the axis, where dual quaternions keep one metre."""
    for degrees, radius in ((90, 0.70710678), (180 - 1e-9, 8.7e-12), (270, 0.70710678)):
        posed = half_and_half(skin.linear_blend, degrees)
        assert_allclose(np.linalg.norm(posed), radius, rtol=0.01)


def test_dual_quaternions_of_frames():
    matrices = random_frames(np.random.default_rng(23), 40)
    for matrix, motion in zip(matrices, skin.dual_quaternion_from_frame(matrices), strict=True):
        theirs = pt.dual_quaternion_from_transform(matrix)
        pt.assert_unit_dual_quaternion_equal(motion[DUAL_ORDER], theirs)
        back = skin.frame_from_dual_quaternion(theirs[np.argsort(DUAL_ORDER)])
        assert_allclose(back, matrix, atol=1e-12)


def test_skinning_with_the_library_s_dual_quaternions():
    """Blend with the strongest joint's sign, normalise, move the vertex: all by pytransform3d."""
    rng = np.random.default_rng(24)
    flipped = []
    for _ in range(12):
        vertices, weights = rng.normal(size=(8, 3)), rng.random((8, 3)) ** 2
        matrices = random_frames(rng, 3)
        motions = np.array([pt.dual_quaternion_from_transform(matrix) for matrix in matrices])
        ours = skin.dual_quaternion_blend(vertices, weights, matrices)
        for vertex, row, posed in zip(vertices, weights, ours, strict=True):
            signs = np.where(motions[:, :4] @ motions[row.argmax(), :4] < 0, -1, 1)
            blended = pt.norm_dual_quaternion((row * signs) @ motions)
            motion = pt.transform_from_dual_quaternion(blended)
            theirs = pt.transform(motion, pt.vector_to_point(vertex))[:3]
            assert_allclose(posed, theirs, atol=1e-12)
            flipped.append((signs < 0).any())
    assert 0.1 < np.mean(flipped) < 0.9  # both cases were met


def test_blending_strays_from_even_turning_by_8_15_degrees_at_most():
    """Two turns 180 degrees apart, shares 0.24 and 0.76: derived."""
    shares = np.linspace(0, 1, 101)
    matrices = np.stack([np.eye(4), frames.frame(rotation.matrix_about("z", np.pi - 1e-9))])
    weights = np.stack([1 - shares, shares], axis=1)
    turned = skin.dual_quaternion_blend(np.tile([1.0, 0, 0], (101, 1)), weights, matrices)
    even = [
        pr.matrix_from_quaternion(pr.quaternion_slerp([1, 0, 0, 0], [5e-10, 0, 0, 1], t))[:, 0]
        for t in shares
    ]
    stray = np.degrees(rotation.angle_between(turned, even))
    assert_allclose(stray.max(), 8.15, atol=0.005)
    assert set(np.argsort(stray)[-2:]) == {24, 76}


# On a straight limb of radius R a vertex at height h above the joint has the share 3t² − 2t³ of the
# upper bone, t = (1 + h / (softness R)) / 2 (derived from the words of the docstring): the
# incomplete beta function I_t(2, 2), here by scipy.
@pytest.mark.parametrize(("radius", "softness"), [(0.05, 2.0), (0.08, 1.0), (0.1, 3.5)])
def test_weights_about_a_straight_joint(radius, softness):
    heights = np.linspace(-0.5, 0.5, 41)
    bones = {"hip": [[(0, 1, 0), (0, 0, 0)]], "knee": [[(0, 0, 0), (0, -1, 0)]]}
    limb = np.column_stack([0 * heights, heights, radius + 0 * heights])
    share = betainc(2, 2, np.clip((1 + heights / (softness * radius)) / 2, 0, 1))
    ours = skin.weights_by_distance(limb, bones, softness)
    assert_allclose(ours, np.column_stack([share, 1 - share]), atol=1e-12)


# Volume and slices against scipy


def hull(points):
    """A convex hull as a mesh, its triangles turned outward."""
    triangles = ConvexHull(points).simplices
    a, b, c = np.moveaxis(points[triangles], 1, 0)
    inward = np.sum(np.cross(b - a, c - a) * (a - points.mean(axis=0)), axis=-1) < 0
    triangles[inward] = triangles[inward][:, ::-1]
    return mesh.Mesh(points, triangles)


@pytest.mark.parametrize("seed", range(5))
def test_volume_and_slices_of_convex_hulls(seed):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(40, 3))
    body = hull(points)
    assert len(mesh.open_edges(body.triangles)) == 0
    assert_allclose(mesh.volume(points, body.triangles), ConvexHull(points).volume, rtol=1e-12)
    normal = rng.normal(size=3)
    normal /= np.linalg.norm(normal)
    to_plane = rotation.matrix_between(normal, [0, 0, 1])
    for offset in (-0.4, 0, 0.3):
        height = points @ normal - offset
        low, high = points[height < 0], points[height >= 0]
        share = -height[height < 0][:, None] / (height[height >= 0] - height[height < 0][:, None])
        # every pair of points across the plane
        crossings = low[:, None] + share[..., None] * (high - low[:, None])
        flat = (crossings.reshape(-1, 3) @ to_plane.T)[:, :2]
        area = mesh.slice_area(points, body.triangles, offset * normal, normal)
        # in the plane, "volume" is the area
        assert_allclose(area, ConvexHull(flat).volume, rtol=1e-10)


# Smoothing. A step along a line is a random walk's law after k passes: half of the way, a quarter
# to either side, k times over, which is 2k tosses of a coin (derived).
@pytest.mark.parametrize("passes", [1, 4, 16, 64, 100])
def test_a_smoothed_step_is_the_sum_of_a_binomial(passes):
    count = 2 * passes + 4
    line = mesh.neighbours([(i, i + 1, i + 1) for i in range(2 * count - 1)])
    step = np.repeat(np.eye(2), count, axis=0)
    rises = np.diff(skin.smooth(step, line, passes)[:, 1])
    places = np.arange(2 * count - 1) - (count - 1)
    assert_allclose(rises, comb(2 * passes, passes + places) / 4.0**passes, atol=1e-14)
    assert rises.max() == pytest.approx(comb(2 * passes, passes) / 4**passes, rel=1e-12)


# On meshes: the same by a matrix of scipy, whose rows are divided by the number of neighbours.
def test_smoothing_is_a_power_of_a_sparse_matrix():
    body = mesh.puppet_mesh("Pip", 700)
    a, b, c = body.triangles.T
    size = len(body.vertices)
    ends = np.concatenate([a, b, c]), np.concatenate([b, c, a])
    joined = coo_array((np.ones(3 * len(a)), ends), shape=(size, size)).tocsr()
    joined = ((joined + joined.T) > 0).astype(float)
    mean = diags_array(1 / joined.sum(axis=1)) @ joined
    rng = np.random.default_rng(3)
    weights, chosen = rng.dirichlet(np.ones(4), size), rng.random(size) < 0.4
    for passes, strength in ((1, 0.5), (3, 0.8), (5, 1.0)):
        wanted, some = weights, weights
        for _ in range(passes):
            wanted = (1 - strength) * wanted + strength * (mean @ wanted)
            some = np.where(chosen[:, None], (1 - strength) * some + strength * (mean @ some), some)
        found = mesh.neighbours(body.triangles)
        assert_allclose(skin.smooth(weights, found, passes, strength), wanted, atol=1e-13)
        assert_allclose(skin.smooth(weights, found, passes, strength, chosen), some, atol=1e-13)
