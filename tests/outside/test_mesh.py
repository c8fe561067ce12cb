"""The puppet's skin: its monotone slopes, its sections, its neighbours and mirrored places beside
scipy's, its measures beside laws of deformation.

Under one linear map A of all space lengths, areas and volumes change by closed forms: |A e| / |e|,
Nanson's formula det(A) A⁻ᵀ n for an area with normal n, det(A) (any text on continuum mechanics;
derived).
"""

import numpy as np
import pytest
from numpy.testing import assert_allclose
from scipy.interpolate import PchipInterpolator
from scipy.sparse import coo_array
from scipy.spatial import ConvexHull, Delaunay, cKDTree

from rigkit import mesh


def test_slopes_between_the_ends_are_those_of_a_monotone_interpolation():
    rng = np.random.default_rng(0)
    along, keys = np.cumsum(rng.uniform(0.1, 1, 12)), rng.normal(size=(12, 3))
    slopes = PchipInterpolator(along, keys).derivative()(along)
    assert_allclose(mesh._slopes(keys, np.diff(along))[1:-1], slopes[1:-1], atol=1e-12)


@pytest.fixture(params=range(3))
def deformed(request):
    """A puppet's skin, its image under a linear map, and the map."""
    rng = np.random.default_rng(request.param)
    skin = mesh.puppet_mesh("Tamsin", 800)
    by = np.eye(3) + rng.uniform(-0.3, 0.3, (3, 3))
    return skin, skin.vertices @ by.T + rng.normal(size=3), by


def test_edges_stretch_as_the_map_stretches_them(deformed):
    skin, posed, by = deformed
    corners = skin.vertices[skin.triangles]
    edges = np.stack([corners[:, j] - corners[:, i] for i, j in ((0, 1), (1, 2), (2, 0))], axis=1)
    wanted = np.sqrt(np.einsum("tei,ij,tej->te", edges, by.T @ by, edges)) / np.sqrt(
        np.einsum("tei,tei->te", edges, edges)
    )
    assert_allclose(mesh.stretch(skin.vertices, posed, skin.triangles), wanted, rtol=1e-12)


def test_sections_change_by_nanson_s_formula(deformed):
    skin, posed, by = deformed
    normal = np.array([0.1, 1.0, -0.2]) / np.linalg.norm([0.1, 1.0, -0.2])
    cut = skin.side("L_"), mesh.puppet_chain("Tamsin")[1], normal
    found = mesh.section_ratio(skin.vertices, posed, *cut)
    wanted = np.linalg.det(by) * np.linalg.norm(np.linalg.inv(by).T @ normal)
    assert found == pytest.approx(wanted, rel=1e-9)


def test_volume_changes_by_the_determinant(deformed):
    skin, posed, by = deformed
    found = mesh.volume_ratio(skin.vertices, posed, skin.triangles)
    assert found == pytest.approx(np.linalg.det(by), rel=1e-9)


@pytest.mark.parametrize("seed", range(3))
def test_the_middle_of_a_section_is_that_of_a_triangulation(seed):
    """A convex body's section is convex: scipy triangulates it, and each part has a middle."""
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(60, 3))
    hull = ConvexHull(points).simplices
    cut = mesh.section(points, hull, [0, 0.2, 0], [0, 1, 0])
    flat = cut.outline[:, [0, 2]]
    corners = flat[Delaunay(flat).simplices]
    edges = np.diff(corners, axis=1)
    areas = np.abs(edges[:, 0, 0] * edges[:, 1, 1] - edges[:, 0, 1] * edges[:, 1, 0]) / 2
    wanted = areas @ corners.mean(axis=1) / areas.sum()
    assert_allclose(cut.middle[[0, 2]], wanted, atol=1e-9)
    around = flat - wanted
    sides = np.roll(around, -1, axis=0) - around
    ways = (np.arange(1000)[:, None, None] + 0.5) / 1000
    away = np.linalg.norm(around + ways * sides, axis=-1).mean(axis=0)
    long = np.linalg.norm(sides, axis=-1)
    assert cut.radius == pytest.approx(away @ long / long.sum(), rel=2e-3)


def test_neighbours_are_the_rows_of_a_sparse_matrix():
    skin = mesh.puppet_mesh("Odo", 800)
    a, b, c = skin.triangles.T
    size = len(skin.vertices)
    ends = np.concatenate([a, b, c]), np.concatenate([b, c, a])
    joined = coo_array((np.ones(3 * len(a)), ends), shape=(size, size))
    table = (joined + joined.T).tocsr()
    table.sort_indices()
    indptr, indices = mesh.neighbours(skin.triangles)
    assert (indptr == table.indptr).all()
    assert (indices == table.indices).all()


def test_partners_are_those_a_tree_finds():
    rng = np.random.default_rng(4)
    left = rng.uniform([0.01, 0, -0.2], [0.3, 1, 0.2], (400, 3))
    right = left * [-1, 1, 1] + rng.uniform(-5e-6, 5e-6, left.shape)
    points = rng.permutation(np.concatenate([left, right, left[:20] * [0, 1, 1]]))
    _, nearest = cKDTree(points).query(points * [-1, 1, 1])
    assert (mesh.mirror_index(points) == nearest).all()
