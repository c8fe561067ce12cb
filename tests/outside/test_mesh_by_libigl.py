"""The puppet's skin measured and moved by libigl too, a library of geometry processing (MPL-2.0).

https://libigl.github.io; only what stands in its main part is used. Where it is not installed these
tests are skipped, but not where RIGKIT_REQUIRE_ALL=1.
"""

import os

import numpy as np
import pytest
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import frames, mesh, rotation, skin
from rigkit.bench import build, measure
from rigkit.bench.state import State
from rigkit.leg import LegRig

if os.environ.get("RIGKIT_REQUIRE_ALL") == "1":
    import igl
else:
    igl = pytest.importorskip("igl", reason="the package libigl is not installed")

NAMES = ("Tamsin", "Odo", "Pip")
each_puppet = pytest.mark.parametrize("name", NAMES)


@pytest.fixture(params=NAMES)
def posed(request):
    """A bound skin with its weights, in a few poses that bend and twist every joint."""
    rig = LegRig.from_puppet(request.param, 5)
    surface, weights = skin.rig_skin(rig, request.param)
    rng = np.random.default_rng(5)
    rest = rig.skeleton.rest_world
    turns = rotation.matrix_from_vector(rng.normal(0, 0.6, (4, len(rest), 3)))
    world = rest @ frames.frame(turns, rng.normal(0, 0.1, (4, len(rest), 3)))
    return surface, weights, skin.joint_matrices(world, rest)


# --- the surface


@each_puppet
def test_each_vertex_has_the_neighbours_that_libigl_lists(name):
    triangles = mesh.puppet_mesh(name, 900).triangles
    indptr, indices = mesh.neighbours(triangles)
    wanted = [sorted(each) for each in igl.adjacency_list(triangles)]
    assert [part.tolist() for part in np.split(indices, indptr[1:-1])] == wanted


@each_puppet
def test_the_skin_is_one_closed_surface_that_faces_outward(name):
    surface = mesh.puppet_mesh(name, 900)
    assert len(mesh.open_edges(surface.triangles)) == 0
    assert igl.is_edge_manifold(surface.triangles)[0]
    assert igl.is_vertex_manifold(surface.triangles).all()
    assert igl.facet_components(surface.triangles)[0] == 1
    assert igl.euler_characteristic(surface.triangles) == 2
    _, volume = igl.centroid(surface.vertices, surface.triangles)
    assert volume > 0


@each_puppet
def test_a_hole_has_the_open_edges_that_libigl_finds(name):
    triangles = mesh.puppet_mesh(name, 900).triangles
    holed = np.delete(triangles, np.random.default_rng(2).choice(len(triangles), 40), axis=0)
    wanted = igl.boundary_facets(holed)[0]
    found = mesh.open_edges(holed)
    assert set(map(frozenset, found.tolist())) == set(map(frozenset, wanted.tolist()))
    assert len(found) == len(wanted) > 60


# --- moved and measured


def test_linear_blend_is_libigl_s_matrix_times_the_joints(posed):
    surface, weights, matrices = posed
    table = igl.lbs_matrix(surface.vertices, weights)
    found = skin.linear_blend(surface.vertices, weights, matrices)
    for moved, each in zip(found, matrices, strict=True):
        stacked = np.concatenate([matrix[:3].T for matrix in each])
        assert_allclose(moved, table @ stacked, atol=1e-12)


def test_volume_in_any_pose_is_that_of_libigl(posed):
    surface, weights, matrices = posed
    for moved in skin.linear_blend(surface.vertices, weights, matrices):
        _, volume = igl.centroid(moved, surface.triangles)
        assert mesh.volume(moved, surface.triangles) == pytest.approx(volume, rel=1e-10)


def test_edges_stretch_by_the_ratio_of_libigl_s_lengths(posed):
    surface, weights, matrices = posed
    moved = skin.linear_blend(surface.vertices, weights, matrices[0])
    before, after = (
        igl.edge_lengths(vertices, surface.triangles) for vertices in (surface.vertices, moved)
    )
    found = mesh.stretch(surface.vertices, moved, surface.triangles)
    # libigl lists the edge opposite each corner, ours the one that begins there
    assert_allclose(found, (after / before)[:, [2, 0, 1]], rtol=1e-10)


def test_smoothing_is_by_libigl_s_matrix_of_neighbours(posed):
    surface, weights, _ = posed
    joined = igl.adjacency_matrix(surface.triangles).astype(float)
    mean = joined.multiply(1 / joined.sum(axis=1)).tocsr()
    wanted = weights
    for _ in range(3):
        wanted = 0.4 * wanted + 0.6 * (mean @ wanted)
    found = skin.smooth(weights, mesh.neighbours(surface.triangles), 3, 0.6)
    assert_allclose(found, wanted, atol=1e-13)


# --- sections


def isoline(vertices, triangles, point, normal):
    """The cut by a plane as libigl has it: corners, and pairs of them."""
    heights = (vertices - point) @ normal
    corners, pairs, _ = igl.isolines(vertices, triangles, heights, np.zeros(1))
    return corners, pairs


def middle_of(corners, pairs, normal):
    """The centroid of what the segments enclose: signed triangles from one corner, in any order."""
    apex = corners[pairs[0, 0]]
    one, two = (corners[pairs[:, i]] - apex for i in (0, 1))
    areas = np.cross(one, two) @ normal
    return apex + (areas[:, None] * (one + two)).sum(axis=0) / 3 / areas.sum()


@each_puppet
@pytest.mark.parametrize("along", [0.6, 1.0, 1.4, 2.0], ids="{} bones down".format)
def test_a_section_is_libigl_s_isoline(name, along):
    surface, chain = mesh.puppet_mesh(name, 1500), mesh.puppet_chain(name)
    point = [np.interp(along, [0, 1, 2], chain[:, i]) for i in range(3)] + np.array(
        [4, 13, 7]
    ) / 1e3
    normal = np.array([0.1, 0.99, -0.08]) / np.linalg.norm([0.1, 0.99, -0.08])
    triangles = surface.side("L_")
    corners, pairs = isoline(surface.vertices, triangles, point, normal)
    found = mesh.section(surface.vertices, triangles, point, normal)
    assert found.closed
    around = np.roll(found.outline, -1, axis=0) - found.outline
    whole = np.linalg.norm(corners[pairs[:, 1]] - corners[pairs[:, 0]], axis=-1).sum()
    assert np.linalg.norm(around, axis=-1).sum() == pytest.approx(whole, rel=1e-9)
    apart = np.linalg.norm(corners[:, None] - found.outline, axis=-1)
    assert apart.min(axis=1).max() < 1e-9
    assert apart.min(axis=0).max() < 1e-9
    assert_allclose(found.middle, middle_of(corners, pairs, normal), atol=1e-9)


@each_puppet
def test_the_bench_s_joint_is_as_far_off_the_middle_as_by_libigl(name):
    """The number of the first step, on the given skin, cut square to the shank."""
    state = State.bare(name).with_sound("02")
    at = state.metres()
    way = (at["ankle"] - at["knee"]) / np.linalg.norm(at["ankle"] - at["knee"])
    surface = build.skin(name)
    corners, pairs = isoline(surface.vertices, surface.side("L_"), at["ankle"], way)
    off = 100 * np.linalg.norm(at["ankle"] - middle_of(corners, pairs, way))
    (told,) = (
        each.value for each in measure.measure(state, "01") if each.name.startswith("ankle off")
    )
    assert told == pytest.approx(off, abs=1e-6)


# --- weights


@pytest.mark.parametrize("softness", [0.6, 2.0])
def test_first_weights_go_to_the_bone_that_libigl_finds_nearest(softness):
    """Away from every blend a vertex goes wholly with one bone: the nearest segment."""
    surface = mesh.puppet_mesh("Tamsin", 900)
    hip, knee, ankle = mesh.puppet_chain("Tamsin")
    ends = np.array([hip, knee, ankle])
    left = surface.vertices[surface.vertices[:, 0] > 0.02]
    bones = np.array([[0, 1], [1, 2]])
    _, nearest, _ = igl.point_mesh_squared_distance(left, ends, bones)
    weights = skin.weights_by_distance(
        left, {"thigh": [(hip, knee)], "shank": [(knee, ankle)]}, softness
    )
    sure = weights.max(axis=1) > 1 - 1e-12
    assert sure.mean() > 0.5
    assert_array_equal(weights[sure].argmax(axis=1), nearest[sure])
