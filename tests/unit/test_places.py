"""Places on a surface, against sampled surfaces in scipy's tree and against exact mirror images."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy.spatial import cKDTree

from rigkit import mesh, physique, places, puppets
from rigkit.mesh import Mesh

GRID = np.array([(i, j, 12 - i - j) for i in range(13) for j in range(13 - i)]) / 12
each_character = pytest.mark.parametrize("name", puppets.CAST)


def sampled(vertices, triangles):
    """Points all over a mesh, and how far from one the nearest can be: half the largest gap."""
    corners = np.asarray(vertices)[triangles]
    edges = np.linalg.norm(np.roll(corners, -1, axis=1) - corners, axis=-1)
    return np.einsum("gc,tcx->tgx", GRID, corners).reshape(-1, 3), edges.max() / 12


def soup(rng, count=20):
    """Triangles in no order, some of them slivers."""
    vertices = rng.uniform(-1, 1, (3 * count, 3))
    vertices[::7] = vertices[1::7][: len(vertices[::7])] + 1e-4
    return vertices, np.arange(3 * count).reshape(-1, 3)


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000))
def test_no_sample_of_the_surface_is_nearer_than_the_place_found(seed):
    rng = np.random.default_rng(seed)
    vertices, triangles = soup(rng)
    points = rng.uniform(-3, 3, (40, 3)) * rng.choice([0.2, 1, 5])
    found = places.nearest_places(points, vertices, triangles)
    samples, gap = sampled(vertices, triangles)
    near, _ = cKDTree(samples).query(points)
    assert (found.distance <= near + 1e-9).all()
    assert (found.distance >= near - gap).all()


@settings(deadline=None, max_examples=30)
@given(st.integers(0, 10_000))
def test_a_place_lies_in_its_triangle_at_its_distance(seed):
    rng = np.random.default_rng(seed)
    vertices, triangles = soup(rng)
    points = rng.uniform(-2, 2, (2, 3, 3))
    found = places.nearest_places(points, vertices, triangles)
    assert found.corners.shape == found.shares.shape == (2, 3, 3)
    assert found.distance.shape == (2, 3)
    assert (found.shares >= 0).all()
    assert_allclose(found.shares.sum(axis=-1), 1, atol=1e-12)
    assert {tuple(row) for row in found.corners.reshape(-1, 3)} <= set(map(tuple, triangles))
    there = np.linalg.norm(found.read(vertices) - points, axis=-1)
    assert_allclose(there, found.distance, atol=1e-9)
    again = places.nearest_places(found.read(vertices), vertices, triangles)
    assert_allclose(again.distance, 0, atol=1e-7)


def test_a_point_far_off_is_found_beyond_the_slab_that_is_tried_first():
    """Beside small triangles near its height there is a larger one, farther off along the axis."""
    small = np.array([(9, y, 0) for y in range(11)] + [(9, y, 0.1) for y in range(11)], float)
    strip = [(i, i + 1, i + 11) for i in range(10)]
    vertices = np.concatenate([small, [(0, 4, 0), (0.1, 4, 0), (0, 4, 0.1)]])
    found = places.nearest_places([(0, 0, 0)], vertices, [*strip, (22, 23, 24)])
    assert found.distance == pytest.approx(4)
    assert found.corners.tolist() == [[22, 23, 24]]


@each_character
def test_on_an_exact_mirror_image_places_are_partners(name):
    surface = mesh.puppet_mesh(name, 800)
    found = places.mirrored_places(surface)
    partner = mesh.mirror_index(surface.vertices)
    one = np.eye(len(partner))
    assert_allclose(found.read(one), one[partner], atol=1e-6)
    assert_allclose(found.distance, 0, atol=1e-9)


@each_character
def test_places_of_unlike_sides_are_the_nearest_of_the_other_side(name):
    """Against scipy's tree: of the other side's vertices, and of points all over its triangles."""
    surface = physique.skin(name, 1500)
    found = places.mirrored_places(surface)
    x = surface.vertices[:, 0]
    assert found.distance.max() > 0.001
    for side, other in (("L_", "R_"), ("R_", "L_")):
        mine = np.flatnonzero(x > 0 if side == "L_" else x < 0)
        image = surface.vertices[mine] * [-1, 1, 1]
        triangles = surface.side(other)
        theirs = np.unique(triangles)
        by_vertex, _ = cKDTree(surface.vertices[theirs]).query(image)
        assert (found.distance[mine] <= by_vertex + 1e-12).all()
        assert set(found.corners[mine].ravel()) <= set(theirs)  # never of the own side
        samples, gap = sampled(surface.vertices, triangles)
        by_sample, _ = cKDTree(samples).query(image)
        assert (found.distance[mine] <= by_sample + 1e-12).all()
        assert (found.distance[mine] >= by_sample - gap).all()


def test_legs_that_stand_close_together_are_not_mistaken_for_each_other():
    """Two thin plates 2 mm apart, one taller: the image of its top is nearest to itself."""
    left = np.array([(0.001, 0, 0), (0.001, 1, 0), (0.001, 0, 1)])
    right = np.array([(-0.001, 0, 0), (-0.001, 0, 1), (-0.001, 0.5, 0)])
    surface = Mesh(np.concatenate([left, right]), [(0, 1, 2), (3, 4, 5)])
    found = places.mirrored_places(surface)
    assert set(found.corners[:3].ravel()) == {3, 4, 5}
    assert set(found.corners[3:].ravel()) == {0, 1, 2}
    assert found.distance[1] == pytest.approx(0.5)


def test_a_vertex_in_the_midplane_is_its_own_place():
    surface = physique.skin("Ulf", 600)
    middle = np.flatnonzero(surface.vertices[:, 0] == 0)
    found = places.mirrored_places(surface)
    assert_array_equal(found.corners[middle], np.repeat(middle[:, None], 3, axis=1))
    assert_array_equal(found.distance[middle], 0)


def test_what_is_read_at_a_place_is_mixed_by_its_shares():
    surface = physique.skin("Pip", 600)
    found = places.mirrored_places(surface)
    linear = surface.vertices @ [[2.0, 0], [-3, 1], [0.5, 0]] + 7  # of any linear field: exactly
    there = found.read(surface.vertices)
    assert_allclose(found.read(linear), there @ [[2.0, 0], [-3, 1], [0.5, 0]] + 7, atol=1e-12)


@pytest.mark.parametrize(
    ("wrong", "sentence"),
    [
        (lambda: places.nearest_places((0, 0), [(0, 0, 0)], [(0, 0, 0)]), "`points`"),
        (lambda: places.nearest_places((0, 0, 0), np.zeros((2, 3, 3)), [(0, 1, 2)]), "one pose"),
        (lambda: places.nearest_places((0, 0, 0), [(0, 0, 0)], [(0, 1, 2)]), "`triangles`"),
        (lambda: places.nearest_places((0, 0, np.nan), [(0, 0, 0)], [(0, 0, 0)]), "finite"),
        (lambda: places.mirrored_places([1]), "`surface` must be a Mesh"),
        (
            lambda: places.mirrored_places(Mesh([(1, 0, 0), (1, 1, 0), (1, 0, 1)], [(0, 1, 2)])),
            "triangles on both sides; got none on R_",
        ),
        (lambda: places.mirrored_places(mesh.puppet_mesh("Pip", 400)).read([[1.0]]), "`table`"),
    ],
)
def test_what_is_no_surface_is_refused(wrong, sentence):
    with pytest.raises(ValueError, match=sentence):
        wrong()
