import re
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components

from rigkit import frames, mesh, rotation
from rigkit.puppets import PUPPETS, personal

TETRAHEDRON = mesh.Mesh(
    [[0, 0, 0], [1, 0, 0], [0, 1, 0], [0, 0, 1]], [[0, 2, 1], [0, 1, 3], [0, 3, 2], [1, 2, 3]]
)
TUBE = mesh.tube(0.1, 1.0, around=12, along=10)
TAMSIN = mesh.puppet_mesh(PUPPETS["Tamsin"], 2000)
SKIN, REST = TAMSIN.vertices, TUBE.vertices
CUT = TUBE.triangles, [0, 0.03, 0], [0, 1, 0]  # a plane across the tube
# The heron as it stands: thigh forward, shank back, metatarsal a little forward.
HERON_CHAIN = [[0.075, 0.95, 0.0], [0.075, 0.82, 0.152], [0.075, 0.47, -0.232], [0.075, 0.03, -0.1]]

puppets = pytest.mark.parametrize("puppet", PUPPETS.values(), ids=list(PUPPETS))
quick = settings(max_examples=30, deadline=None)
vectors = st.tuples(*[st.floats(-2, 2)] * 3).map(np.array)


def polygon_area(radius, corners):
    return corners / 2 * radius**2 * np.sin(2 * np.pi / corners)


def pieces(surface):
    a, b, _ = surface.triangles.T
    size = len(surface.vertices)
    joined = coo_array((np.ones(len(a)), (a, b)), shape=(size, size))
    return connected_components(joined, directed=False)[0]


def turns_around(point, surface):
    """Turns of a surface around a point: 1 inside, 0 outside (van Oosterom & Strackee 1983)."""
    a, b, c = np.moveaxis(surface.vertices[surface.triangles] - point, 1, 0)
    la, lb, lc = (np.linalg.norm(v, axis=-1) for v in (a, b, c))

    def dot(u, v):
        return np.sum(u * v, axis=-1)

    below = la * lb * lc + dot(a, b) * lc + dot(b, c) * la + dot(c, a) * lb
    return np.sum(np.arctan2(dot(a, np.cross(b, c)), below)) / (2 * np.pi)


def creases(surface):
    """The angle between the two triangles at each edge, radians."""
    a, b, c = np.moveaxis(surface.vertices[surface.triangles], 1, 0)
    normals = np.cross(b - a, c - a)
    pairs = np.stack([surface.triangles, np.roll(surface.triangles, -1, axis=1)], axis=-1)
    edges = np.sort(pairs.reshape(-1, 2))
    # the two triangles of each edge come together
    first, second = (np.lexsort(edges.T) // 3).reshape(-1, 2).T
    return rotation.angle_between(normals[first], normals[second])


def assert_closed_and_whole(surface):
    assert len(mesh.open_edges(surface.triangles)) == 0
    assert np.array_equal(np.unique(surface.triangles), np.arange(len(surface.vertices)))
    assert pieces(surface) == 1
    edges = len(surface.triangles) * 3 // 2
    assert len(surface.vertices) - edges + len(surface.triangles) == 2  # no handles, no holes
    assert mesh.volume(surface.vertices, surface.triangles) > 0


# Tubes


def test_tube_is_a_prism():
    assert_closed_and_whole(TUBE)
    assert len(TUBE.vertices) == 11 * 12 + 2
    assert_allclose(mesh.volume(TUBE.vertices, TUBE.triangles), polygon_area(0.1, 12), rtol=1e-13)
    assert_allclose(TUBE.vertices.max(axis=0), [0.1, 0.5, 0.1], rtol=1e-12)


def test_finer_tubes_come_to_the_round_volume():
    round_volume = np.pi * 0.1**2 * 1.5
    errors = []
    for around in (8, 16, 32, 64, 128):
        tube = mesh.tube(0.1, 1.5, around, 3)
        errors.append(1 - mesh.volume(tube.vertices, tube.triangles) / round_volume)
    ratios = np.array(errors[:-1]) / errors[1:]
    assert_allclose(ratios, 4, rtol=0.05)  # the error goes with the square of the edge
    assert errors[-1] < 5e-4


@pytest.mark.parametrize(("around", "along"), [(3, 1), (3, 5), (7, 1), (40, 40)])
def test_any_tube_is_closed(around, along):
    assert_closed_and_whole(mesh.tube(1, 2, around, along))


# The puppet's skin


@puppets
@pytest.mark.parametrize("wanted", [300, 1000, 4000, 20_000])
def test_puppet_is_one_closed_surface_of_about_the_size_asked_for(puppet, wanted):
    surface = mesh.puppet_mesh(puppet, wanted)
    assert_closed_and_whole(surface)
    assert abs(len(surface.vertices) / wanted - 1) < (0.1 if wanted < 1000 else 0.05)


def test_finest_level_of_detail():
    surface = mesh.puppet_mesh(PUPPETS["Odo"], 100_000)
    assert len(mesh.open_edges(surface.triangles)) == 0
    assert abs(len(surface.vertices) / 100_000 - 1) < 0.01


@puppets
def test_puppet_is_its_own_mirror_image(puppet):
    vertices = mesh.puppet_mesh(puppet, 1000).vertices
    there = {tuple(v) for v in vertices + 0.0}
    assert there == {tuple(v) for v in frames.mirror_points(vertices) + 0.0}
    assert len(there) == len(vertices)  # none twice


@puppets
def test_puppet_has_no_thin_triangles_at_ordinary_detail(puppet):
    surface = mesh.puppet_mesh(puppet, 5000)
    corners = surface.vertices[surface.triangles]
    sides = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=-1)
    assert sides.min() > 1e-5
    assert np.median(sides.max(axis=1) / sides.min(axis=1)) < 3


@puppets
def test_the_skin_is_smooth_so_that_creases_fade_with_detail(puppet):
    coarse, fine = (creases(mesh.puppet_mesh(puppet, vertices)) for vertices in (2000, 20_000))
    assert fine.max() < np.radians(70)
    assert fine.max() < 0.75 * coarse.max()
    assert np.percentile(fine, 99) < np.radians(20)


@quick
@given(st.lists(st.tuples(st.floats(-3, 3), st.floats(0.1, 2)), min_size=4, max_size=9))
def test_the_curves_through_the_rings_never_go_beyond_them(pairs):
    keys, steps = np.array(pairs).T
    along = np.cumsum([0, *steps[1:]])
    slopes = mesh._slopes(keys, steps[1:])
    for i, (start, end) in enumerate(pairwise(along)):
        curve = mesh._smooth_through(keys, along, slopes, slopes, np.linspace(start, end, 20))
        low, high = np.sort(keys[i : i + 2])
        assert curve.min() >= low - 1e-9
        assert curve.max() <= high + 1e-9


@puppets
def test_feet_stand_flat_on_the_floor_as_long_as_the_puppet_says(puppet):
    vertices = mesh.puppet_mesh(puppet, 3000).vertices
    assert abs(vertices[:, 1].min()) < 1e-12
    foot = vertices[vertices[:, 1] < 0.3 * puppet.ankle_height]
    assert_allclose(foot[:, 2].max(), puppet.foot_length - puppet.heel_length, atol=1e-12)
    heel = vertices[vertices[:, 1] < puppet.ankle_height, 2].min()
    assert_allclose(heel, -puppet.heel_length, rtol=0.1)
    sole = vertices[np.abs(vertices[:, 1]) < 1e-12]
    assert np.ptp(sole[:, 2]) > 0.4 * puppet.foot_length


@puppets
def test_joint_centres_lie_inside(puppet):
    surface = mesh.puppet_mesh(puppet, 1000)
    chain = mesh.puppet_chain(puppet)
    for point in [*chain, *frames.mirror_points(chain), [0, puppet.hip_height, 0]]:
        assert_allclose(turns_around(point, surface), 1, atol=1e-9)
    between_the_knees = [0, chain[1, 1], 0]
    assert_allclose(turns_around(between_the_knees, surface), 0, atol=1e-9)


@puppets
def test_inner_bones_lie_inside(puppet):
    surface = mesh.puppet_mesh(puppet, 2000)
    for bones in mesh.inner_bones(puppet):
        for start, end in bones:
            for share in (0.02, 0.5, 1):
                point = start + share * (end - start)
                assert_allclose(turns_around(point, surface), 1, atol=1e-9)


@pytest.mark.parametrize(
    ("name", "chain"),
    [
        ("heron", HERON_CHAIN),
        ("Tamsin", [[0.09, 0.9, 0.0], [0.08, 0.48, 0.06], [0.07, 0.07, 0.0]]),
        ("Tamsin", [[0.09, 1.9, 1.0], [0.09, 1.48, 1.02], [0.09, 1.07, 1.0]]),
    ],
)
def test_skin_follows_the_joint_centres_given(name, chain):
    surface = mesh.puppet_mesh(PUPPETS[name], 3000, chain)
    assert_closed_and_whole(surface)
    for point in chain[:-1]:
        assert_allclose(turns_around(point, surface), 1, atol=1e-9)
    floor = chain[-1][1] - PUPPETS[name].ankle_height
    assert_allclose(surface.vertices[:, 1].min(), floor, atol=1e-12)


def test_sides_share_only_the_midplane():
    left, right = TAMSIN.side("L_"), TAMSIN.side("R_")
    assert len(left) == len(right) == len(TAMSIN.triangles) / 2
    shared = np.intersect1d(left, right)
    assert np.all(TAMSIN.vertices[shared, 0] == 0)
    assert np.all(TAMSIN.vertices[left, 0] >= 0)


# Volume


def test_volume_of_a_tetrahedron_given_as_whole_numbers():
    vertices = TETRAHEDRON.vertices.astype(int).tolist()
    assert mesh.volume(vertices, TETRAHEDRON.triangles.tolist()) == pytest.approx(1 / 6, abs=1e-16)
    assert mesh.volume(vertices, TETRAHEDRON.triangles[:, ::-1]) == pytest.approx(-1 / 6, abs=1e-16)


@quick
@given(vectors, vectors, st.floats(0.1, 3))
def test_volume_keeps_when_moved_and_goes_with_the_cube_of_the_size(turn, shift, size):
    motion = frames.frame(rotation.matrix_from_vector(turn), 100 * shift)
    for posed, share in ((frames.apply(motion, SKIN), 1), (size * SKIN, size**3)):
        kept = mesh.volume_ratio(SKIN, posed, TAMSIN.triangles)
        assert_allclose(kept, share, rtol=1e-10)


def test_volume_of_many_poses_is_that_of_each():
    poses = TUBE.vertices * np.array([1, 2, 0.5])[:, None, None, None] * np.ones((3, 2, 1, 1))
    volumes = mesh.volume(poses, TUBE.triangles)
    assert volumes.shape == (3, 2)
    for i in np.ndindex(3, 2):
        assert_allclose(volumes[i], mesh.volume(poses[i], TUBE.triangles), rtol=1e-14)


# Sections


def test_slice_of_a_tube_is_its_polygon_at_any_height_also_through_vertices():
    heights = np.array([-0.5 + 1e-9, -0.3, -0.0123, 0.0, 0.1, 0.25, 0.5])
    points = heights[:, None] * [0.0, 1.0, 0.0]
    areas = mesh.slice_area(TUBE.vertices, TUBE.triangles, points, [0, 1, 0])
    assert_allclose(areas, polygon_area(0.1, 12), rtol=1e-12)


def test_slice_looks_the_same_from_both_sides():
    normals = np.array([[0, 1, 0], [0, -2, 0]])
    areas = mesh.slice_area(TUBE.vertices, TUBE.triangles, [0, 0.03, 0], normals)
    assert_allclose(areas, polygon_area(0.1, 12), rtol=1e-12)


def test_slanted_slice_grows_by_one_over_the_cosine():
    slants = np.radians([0, 10, 30, 45, 60])
    normals = np.stack([np.sin(slants), np.cos(slants), 0 * slants], axis=-1)
    areas = mesh.slice_area(TUBE.vertices, TUBE.triangles, [0, 0, 0], normals)
    assert_allclose(areas, polygon_area(0.1, 12) / np.cos(slants), rtol=1e-12)


def test_slice_that_misses_is_zero_and_one_of_both_legs_is_twice_one_leg():
    assert mesh.slice_area(TUBE.vertices, TUBE.triangles, [0, 2, 0], [0, 1, 0]) == 0
    knee = mesh.puppet_chain(PUPPETS["Tamsin"])[1]
    both, left, right = (
        mesh.slice_area(TAMSIN.vertices, triangles, knee, [0, 1, 0])
        for triangles in (TAMSIN.triangles, TAMSIN.side("L_"), TAMSIN.side("R_"))
    )
    assert_allclose([left, right], both / 2, rtol=1e-12)
    half_width = knee[0]
    # round, about 0.6 half hip widths
    assert_allclose(left, np.pi * 0.6**2 * half_width**2, rtol=0.05)


def test_slices_of_many_poses():
    poses = TUBE.vertices * np.array([1.0, 2.0, 0.5])[:, None, None]
    areas = mesh.slice_area(poses, TUBE.triangles, [0, 0.01, 0], [0, 1, 0])
    assert_allclose(areas, polygon_area(0.1, 12) * np.array([1, 4, 0.25]), rtol=1e-12)


@quick
@given(vectors, vectors)
def test_slices_add_up_to_the_volume(turn, shift):
    """Cavalieri: areas of slices summed; Simpson's rule is exact within a tetrahedron."""
    motion = frames.frame(rotation.matrix_from_vector(turn), shift)
    vertices = frames.apply(motion, TETRAHEDRON.vertices)
    levels = np.sort(vertices[:, 1])
    total = 0
    for low, high in pairwise(levels):
        inside = low + (high - low) * np.array([[1e-9], [0.5], [1 - 1e-9]])
        areas = mesh.slice_area(vertices, TETRAHEDRON.triangles, inside * [0, 1, 0], [0, 1, 0])
        total += (high - low) * (areas @ [1, 4, 1]) / 6
    assert_allclose(total, 1 / 6, rtol=1e-6)


def test_slice_through_the_border_of_a_part_is_refused():
    hips = np.array([0, PUPPETS["Tamsin"].hip_height, 0])
    for size in (1, 1e-4):
        with pytest.raises(ValueError, match="`triangles` must be closed where the plane meets"):
            mesh.slice_area(size * SKIN, TAMSIN.side("L_"), size * hips, [0, 1, 0])


def test_section_kept_goes_along_with_the_skin():
    turn = frames.frame(rotation.matrix_from_vector([0.3, 2, -1]), [5, 0, 1])
    squeezed = frames.apply(turn, TUBE.vertices * [1, 1, 0.4])
    assert_allclose(mesh.section_ratio(REST, [REST, squeezed], *CUT), [1, 0.4], rtol=1e-12)


def test_carried_section_is_where_it_was_cut_and_goes_along_with_the_skin():
    rest = mesh.carried_section(REST, REST, *CUT)
    assert_allclose(rest[..., 1], 0.03, atol=1e-15)
    ends = np.round(rest, 9) + 0.0
    # it closes
    assert {tuple(p) for p in ends[:, 0].tolist()} == {tuple(p) for p in ends[:, 1].tolist()}
    motion = frames.frame(rotation.matrix_about("x", 0.4), [0.1, 0.2, 0.3])
    poses = [frames.apply(motion, TUBE.vertices), TUBE.vertices * [1, 1, 0.5]]
    carried = mesh.carried_section(REST, poses, *CUT)
    assert_allclose(carried, [frames.apply(motion, rest), rest * [1, 1, 0.5]], atol=1e-15)


def test_stretch_is_the_share_of_each_edge():
    assert_allclose(mesh.stretch(TUBE.vertices, 2 * TUBE.vertices, TUBE.triangles), 2)
    poses = np.stack([TETRAHEDRON.vertices, TETRAHEDRON.vertices * [3, 1, 1]])
    shares = mesh.stretch(TETRAHEDRON.vertices, poses, TETRAHEDRON.triangles)
    assert shares.shape == (2, 4, 3)
    assert_allclose(shares[0], 1)
    assert_allclose(shares[1, 0], [1, np.sqrt(5), 3])  # up, across, along x


def test_stretch_refuses_edges_without_length():
    with pytest.raises(ValueError, match="`rest` must have edges with a length"):
        mesh.stretch(np.zeros((3, 3)), np.eye(3), [[0, 1, 2]])
    with pytest.raises(ValueError, match="`rest` must be one pose of the vertices of `posed`"):
        mesh.stretch(np.eye(3), np.eye(4, 3), [[0, 1, 2]])


def test_section_kept_needs_a_plane_that_cuts():
    with pytest.raises(ValueError, match="`point` and `normal` must be a plane that cuts"):
        mesh.section_ratio(TUBE.vertices, TUBE.vertices, TUBE.triangles, [0, 2, 0], [0, 1, 0])
    with pytest.raises(ValueError, match="`point` and `normal` must be one plane"):
        mesh.section_ratio(TUBE.vertices, TUBE.vertices, TUBE.triangles, [[0, 0, 0]] * 2, [0, 1, 0])


# The outline nearest to a point


def prism(corners):
    """A closed prism about the y axis, from −1 to 1, over corners (n, 2) in x and z."""
    n = len(corners)
    rings = [np.insert(corners, 1, y, axis=1) for y in (-1.0, 1.0)]
    low, high = np.arange(n), n + np.arange(n)
    sides = [low, np.roll(low, -1), high], [np.roll(low, -1), np.roll(high, -1), high]
    caps = [np.roll(low, -1), low, 0 * low + 2 * n], [high, np.roll(high, -1), 0 * low + 2 * n + 1]
    triangles = np.concatenate([np.stack(each, axis=-1) for each in (*sides, *caps)])
    return np.concatenate([*rings, [[0, -1, 0], [0, 1, 0]]]), triangles


def star(seed, corners=11):
    """Corners of a star about the origin, some of them inward."""
    rng = np.random.default_rng(seed)
    angles = 2 * np.pi * (np.arange(corners) + rng.uniform(0, 0.9, corners)) / corners
    return rng.uniform(0.2, 1, (corners, 1)) * np.stack([np.sin(angles), np.cos(angles)], axis=-1)


@quick
@given(st.integers(0, 2**32 - 1), vectors, vectors)
def test_the_middle_of_a_section_is_that_of_green_s_formula(seed, turn, shift):
    """A slanted cut through a prism lies above the centroid of its base: 1/2A ∮ x² dz."""
    corners = star(seed)
    x, z = corners.T
    dx, dz = np.roll(x, -1) - x, np.roll(z, -1) - z
    xx, zz = (each**2 + each * np.roll(each, -1) + np.roll(each, -1) ** 2 for each in (x, z))
    double = x @ np.roll(z, -1) - z @ np.roll(x, -1)
    wanted = np.array([xx @ dz, 0, -zz @ dx]) / (3 * double)
    wanted[1] = -wanted @ [0.4, 0, -0.3] + 0.1
    vertices, triangles = prism(corners)
    motion = frames.frame(rotation.matrix_from_vector(turn), shift)
    moved, point = frames.apply(motion, vertices), frames.apply(motion, [0, 0.1, 0])
    normal = frames.rotate_vectors(motion, [0.4, 1, -0.3])
    flipped = np.where(np.arange(len(triangles))[:, None] % 3, triangles, triangles[:, ::-1])
    for each in (triangles, flipped):
        cut = mesh.section(moved, each, point, normal)
        assert cut.closed
        assert_allclose(cut.middle, frames.apply(motion, wanted), atol=1e-9)
        ahead = cut.outline - cut.outline[0]
        area = np.cross(ahead, np.roll(ahead, -1, axis=0)).sum(axis=0) / 2
        wide = mesh.slice_area(moved, triangles, point, normal)
        assert_allclose(area, wide * normal / np.linalg.norm(normal), atol=1e-9)


def test_the_radius_is_the_mean_of_the_distance_along_a_side():
    """From a side at distance a, of length 2 l: ½ (√(a² + l²) + a²/l · arsinh(l/a)), derived."""
    for slant in (0, 0.3):
        cut = mesh.section(REST, TUBE.triangles, [0.02, 0.03, 0.01], [slant, 1, 0])
        assert_allclose(cut.middle, [0, 0.03 + 0.02 * slant, 0], atol=1e-12)
        assert_allclose(np.hypot(cut.outline[:, 0], cut.outline[:, 2]).max(), 0.1, rtol=1e-9)
    level = mesh.section(REST, TUBE.triangles, [0, 0.03, 0], [0, 1, 0])
    near, half = 0.1 * np.cos(np.pi / 12), 0.1 * np.sin(np.pi / 12)
    wanted = (0.1 + near**2 / half * np.arcsinh(half / near)) / 2
    assert level.radius == pytest.approx(wanted, rel=1e-4)
    assert len(mesh.section(REST, TUBE.triangles, [0, 0.1, 0], [0, 2, 0]).outline) == 24


def test_the_section_is_that_of_the_leg_the_point_lies_in():
    knee = mesh.puppet_chain("Tamsin")[1]
    left, right = (
        mesh.section(SKIN, TAMSIN.triangles, knee * [side, 1, 1], [0, 1, 0]) for side in (1, -1)
    )
    assert_allclose(left.middle, right.middle * [-1, 1, 1], atol=1e-9)
    assert left.radius == pytest.approx(right.radius, rel=1e-9)
    assert np.abs(left.middle - knee).max() < 0.01
    alone = mesh.section(SKIN, TAMSIN.side("L_"), knee, [0, 1, 0])
    assert_allclose(alone.middle, left.middle, atol=1e-12)


def test_half_a_tube_has_an_open_outline():
    fine = mesh.tube(0.1, 1.0, around=96, along=4)
    half = fine.triangles[(fine.vertices[fine.triangles, 2] > -1e-9).all(axis=-1)]
    cut = mesh.section(fine.vertices, half, [0, 0.1, 0], [0, 1, 0])
    assert not cut.closed
    assert_allclose(np.sort(cut.outline[[0, -1], 0]), [-0.1, 0.1], atol=1e-9)
    centroid = 0.4 / (3 * np.pi)  # of half a disc
    assert_allclose(cut.middle, [0, 0.1, centroid], atol=1e-4)
    angles = np.pi * (np.arange(500) + 0.5) / 500
    away = np.hypot(0.1 * np.cos(angles), 0.1 * np.sin(angles) - centroid).mean()
    assert cut.radius == pytest.approx(away, rel=2e-3)  # along the arc alone


def test_a_section_needs_one_pose_and_a_plane_that_cuts():
    with pytest.raises(ValueError, match="`point` and `normal` must be a plane that cuts"):
        mesh.section(REST, TUBE.triangles, [0, 2, 0], [0, 1, 0])
    with pytest.raises(ValueError, match="`vertices` must be one pose"):
        mesh.section([REST, REST], TUBE.triangles, [0, 0, 0], [0, 1, 0])
    one = mesh.section(np.eye(3), [[0, 1, 2]], [0.5, 0.2, 0.2], [1, 0, 0])  # a single straight cut
    assert_allclose(one.middle, [0.5, 0.25, 0.25])
    assert (len(one.outline), one.closed) == (2, False)


# Neighbours and partners


def test_neighbours_are_listed_once_and_stay_empty_for_a_vertex_of_no_triangle():
    indptr, indices = mesh.neighbours([(0, 1, 3), (3, 1, 4), (1, 1, 0)], 7)
    listed = [indices[a:b].tolist() for a, b in pairwise(indptr)]
    assert listed == [[1, 3], [0, 3, 4], [], [0, 1, 4], [1, 3], [], []]


@puppets
def test_partners_of_a_puppet_are_each_other_s_and_its_triangles_too(puppet):
    surface = mesh.puppet_mesh(puppet, 1000)
    partner = mesh.mirror_index(surface.vertices)
    assert partner[partner].tolist() == list(range(len(partner)))
    assert_allclose(surface.vertices[partner], surface.vertices * [-1, 1, 1], atol=1e-12)
    middle = partner == np.arange(len(partner))
    assert (middle == (surface.vertices[:, 0] == 0)).all()
    assert middle.any()
    there, here = (
        {frozenset(row) for row in each.tolist()}
        for each in (partner[surface.triangles], surface.triangles)
    )
    assert there == here


def test_two_legs_close_together_keep_apart():
    leg = np.array([[0.0004, y, 0] for y in np.linspace(0, 1, 50)])
    partner = mesh.mirror_index(np.concatenate([leg, leg * [-1, 1, 1]]))
    assert partner.tolist() == [*range(50, 100), *range(50)]


def test_a_mesh_that_is_no_mirror_image_is_refused_or_told():
    moved = SKIN.copy()
    moved[7] += [0, 2e-4, 0]
    with pytest.raises(ValueError, match=r"within 0.01 mm; got [12] of \d+ without a partner"):
        mesh.mirror_index(moved)
    assert mesh.mirror_index(moved, 3e-4)[7] == mesh.mirror_index(SKIN)[7]
    assert (mesh.mirror_index(moved, whole=False) < 0).sum() in (1, 2)
    with pytest.raises(
        ValueError, match=r"one partner each; got 1 of .* that share one, the first"
    ):
        mesh.mirror_index(np.concatenate([SKIN, SKIN[:1]]))
    with pytest.raises(ValueError, match="`vertices` must be one pose"):
        mesh.mirror_index([SKIN, SKIN])


# Closed or not


def test_loose_edges_show_a_hole_and_a_flipped_triangle():
    hole = mesh.open_edges(TUBE.triangles[1:])
    assert len(hole) == 3
    assert set(hole.ravel()) == set(TUBE.triangles[0])
    flipped = TUBE.triangles.copy()
    flipped[5] = flipped[5, ::-1]
    assert len(mesh.open_edges(flipped)) == 3
    assert len(mesh.open_edges(np.concatenate([TUBE.triangles, TUBE.triangles[:1]]))) == 3


# Bad input


@pytest.mark.parametrize(
    ("call", "arguments", "message"),
    [
        (mesh.puppet_mesh, ("tamsin",), "`puppet` must be a Puppet or the name of one"),
        (
            mesh.puppet_mesh,
            ("Pip", 50),
            "`vertices` must be a whole number of at least 300; got 50",
        ),
        (
            mesh.puppet_mesh,
            ("Pip", 1000, HERON_CHAIN),
            "`chain` must be the left leg's 3 joint centres",
        ),
        (
            mesh.puppet_mesh,
            ("Pip", 1000, [[-0.1, 1, 0], [-0.1, 0.5, 0], [-0.1, 0, 0]]),
            "x above zero",
        ),
        (
            mesh.puppet_mesh,
            ("Pip", 1000, [[0.1, 1, 0], [0.5, 1, 0], [0.1, 0, 0]]),
            "may lie along x",
        ),
        (mesh.tube, (0, 1), "`radius` must be above zero"),
        (mesh.tube, (1, 1, 2), "`around` must be a whole number of at least 3"),
        *(
            (mesh.volume, (REST, [[0, 1, wrong]]), "`triangles` must be vertex numbers from 0")
            for wrong in (999, -1, 1.5)
        ),
        (
            mesh.volume_ratio,
            (np.zeros((4, 3)), np.zeros((4, 3)), [[0, 1, 2]]),
            "`rest` must hold a volume",
        ),
        (TUBE.side, ("left",), "`tag` must be one of 'L_', 'R_'"),
    ],
)
def test_bad_input_says_what_would_do(call, arguments, message):
    with pytest.raises(ValueError, match=re.escape(message)):
        call(*arguments)


@pytest.mark.parametrize("puppet", [*PUPPETS, personal(np.random.default_rng(5))])
def test_a_pelvis_s_landmarks_lie_on_its_skin(puppet):
    surface = mesh.puppet_mesh(puppet)
    marks = mesh.pelvis_landmarks(surface)
    assert list(marks) == ["left_asis", "right_asis", "left_psis", "right_psis", "pubis"]
    for name, point in marks.items():
        cut = mesh.carried_section(
            surface.vertices, surface.vertices, surface.triangles, point, (0, 1, 0)
        )
        first, last = cut[:, 0], cut[:, 1]
        bone = last - first
        share = np.sum((point - first) * bone, axis=-1) / np.maximum(
            np.sum(bone**2, axis=-1), 1e-30
        )
        nearest = first + np.clip(share, 0, 1)[:, None] * bone
        assert np.linalg.norm(nearest - point, axis=-1).min() < 1e-9, name
        assert (point[2] < 0) == name.endswith("psis")
    assert marks["right_asis"] == pytest.approx(marks["left_asis"] * [-1, 1, 1], abs=1e-9)
    assert marks["right_psis"] == pytest.approx(marks["left_psis"] * [-1, 1, 1], abs=1e-9)


def test_a_pelvis_is_as_wide_against_its_hips_as_people_s_are():
    """A little less than bicristal breadth by hip breadth, ANSUR II: 275.4 / 345.7 mm in men,
    273.3 / 353.8 mm in women."""
    surface = mesh.puppet_mesh("Tamsin")
    marks = mesh.pelvis_landmarks(surface)
    share = np.ptp([marks["left_asis"][0], marks["right_asis"][0]]) / np.ptp(surface.vertices[:, 0])
    assert 0.70 < share < 273.3 / 353.8 < 275.4 / 345.7


def test_landmarks_do_not_know_where_the_hips_are():
    """The same skin gives the same landmarks, moved with it and grown with it."""
    surface = mesh.puppet_mesh("Pip", 800)
    marks = mesh.pelvis_landmarks(surface)
    grown = mesh.Mesh(surface.vertices * 1.5 + [0, 0.2, 0.1], surface.triangles)
    for name, point in mesh.pelvis_landmarks(grown).items():
        assert point == pytest.approx(marks[name] * 1.5 + [0, 0.2, 0.1])


def test_landmarks_need_a_figure():
    aside = mesh.Mesh([(1, 0, 0), (2, 0, 0), (1, 1, 0)], [(0, 1, 2)])
    with pytest.raises(ValueError, match="vertices in the midplane"):
        mesh.pelvis_landmarks(aside)
    flag = mesh.Mesh([(0, 0, 0), (0.1, 0.9, 0), (0, 1, 0)], [(0, 1, 2)])  # no right half
    with pytest.raises(ValueError, match="must be seen from the front at"):
        mesh.pelvis_landmarks(flag)
