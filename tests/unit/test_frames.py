"""Frames: undoing, seeing from each other, mirroring."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rigkit import frames, rotation

CLOSE = {"rtol": 0, "atol": 1e-12}
numbers = st.floats(-3, 3, allow_subnormal=False)
points = arrays(float, 3, elements=numbers)
directions = points.filter(lambda v: np.linalg.norm(v) > 1e-2)
rigid = st.builds(
    lambda turn, origin: frames.frame(rotation.matrix_from_vector(turn), origin), points, points
)


def test_frame_leaves_out_no_turn_or_the_parents_origin():
    assert np.array_equal(frames.frame(), np.eye(4))
    assert frames.frame(origin=[1, 2, 3]).tolist() == [
        [1, 0, 0, 1],
        [0, 1, 0, 2],
        [0, 0, 1, 3],
        [0, 0, 0, 1],
    ]
    quarter = rotation.matrix_about("z", np.pi / 2)
    assert np.array_equal(frames.frame(quarter)[:3, :3], quarter)
    assert frames.frame(quarter, np.zeros((5, 3))).shape == (5, 4, 4)


def test_a_point_is_turned_then_moved():
    hip = frames.frame(
        rotation.matrix_about("y", np.pi / 2), [0, 1, 0]
    )  # what was forward now points left
    assert np.allclose(frames.apply(hip, [0, 0, 2]), [2, 1, 0], **CLOSE)
    assert np.allclose(frames.rotate_vectors(hip, [0, 0, 2]), [2, 0, 0], **CLOSE)


@given(rigid)
def test_invert_undoes(frame):
    assert np.allclose(frames.invert(frame) @ frame, np.eye(4), **CLOSE)
    assert np.allclose(frames.invert(frames.invert(frame)), frame, **CLOSE)


@given(rigid, rigid)
def test_relative_seen_from_the_parent_again_is_the_child(parent, child):
    assert np.allclose(parent @ frames.relative(parent, child), child, **CLOSE)
    assert np.allclose(frames.relative(parent, parent), np.eye(4), **CLOSE)


@given(rigid, rigid, points)
def test_applying_a_product_is_applying_one_after_the_other(first, second, point):
    assert np.allclose(
        frames.apply(first @ second, point),
        frames.apply(first, frames.apply(second, point)),
        **CLOSE,
    )
    assert np.allclose(
        frames.apply(frames.invert(first), frames.apply(first, point)), point, **CLOSE
    )


def test_a_cloud_by_one_frame_and_by_many():
    cloud = np.arange(12.0).reshape(4, 3)
    many = frames.frame(origin=np.eye(3))
    assert np.array_equal(frames.apply(many[0], cloud), cloud + [1, 0, 0])
    assert frames.apply(many[:, None], cloud).shape == (3, 4, 3)
    assert np.array_equal(frames.apply(many[:, None], cloud)[2], cloud + [0, 0, 1])


# Mirroring


def test_the_midplane_swaps_left_and_right_only():
    assert frames.mirror_points([0.1, 0.9, 0.2]).tolist() == [-0.1, 0.9, 0.2]
    assert frames.mirror_points([[2, 0, 0]], through=[1, 5, 5]).tolist() == [[0, 0, 0]]


SIGNS = (("", 1), ("-", -1))
flips = st.sampled_from(["x", "y", "z", "xyz"])


@given(points, directions, points)
def test_mirrored_twice_is_the_same_point(point, normal, through):
    image = frames.mirror_points(point, normal, through)
    assert np.allclose(frames.mirror_points(image, normal, through), point, **CLOSE)
    assert abs(np.cross(image - point, normal)).max() < 1e-12  # straight across
    assert abs(((image + point) / 2 - through) @ normal) < 1e-12  # the middle is in the plane


@given(rigid, flips, directions, points)
def test_mirrored_twice_is_the_same_frame(frame, flip, normal, through):
    image = frames.mirror_frames(frame, flip, normal, through)
    frames.check_frames("image", image)
    assert np.allclose(frames.mirror_frames(image, flip, normal, through), frame, **CLOSE)
    assert np.allclose(image[:3, 3], frames.mirror_points(frame[:3, 3], normal, through), **CLOSE)


@given(rigid, flips, directions)
def test_only_a_flipped_axis_points_against_its_reflection(frame, flip, normal):
    image = frames.mirror_frames(frame, flip, normal)
    for i, axis in enumerate("xyz"):
        reflected = frames.mirror_points(frame[:3, i], normal)
        assert np.allclose(image[:3, i], -reflected if axis in flip else reflected, **CLOSE)


@given(rigid, flips, st.sampled_from("xyz"), st.floats(-3, 3), points)
def test_the_same_angle_mirrors_about_the_flipped_axis_and_the_opposite_about_the_others(
    frame, flip, axis, angle, point
):
    """The choice of the axis to flip: a leg's hinge flipped, both knees bend by the same sign."""
    image = frames.mirror_frames(frame, flip)
    carried = frames.relative(frame, frames.frame(origin=point))[:3, 3]
    carried_image = frames.relative(image, frames.frame(origin=frames.mirror_points(point)))[:3, 3]
    moved = frames.apply(frame @ frames.frame(rotation.matrix_about(axis, angle)), carried)
    sign = 1 if axis in flip else -1
    moved_image = frames.apply(
        image @ frames.frame(rotation.matrix_about(axis, sign * angle)), carried_image
    )
    assert np.allclose(moved_image, frames.mirror_points(moved), rtol=0, atol=1e-11)


@given(rigid, flips, points)
def test_a_shift_keeps_its_numbers_where_a_turn_changes_them(frame, flip, shift):
    image = frames.mirror_frames(frame, flip)
    signs = [-1 if axis in flip else 1 for axis in "xyz"]
    moved = frames.apply(image, np.multiply(signs, shift))
    assert np.allclose(moved, frames.mirror_points(frames.apply(frame, shift)), **CLOSE)


@pytest.mark.parametrize("even", ["", "xy", "yx", "zyx"])
def test_an_even_number_of_flipped_axes_is_refused(even):
    with pytest.raises(ValueError, match="flip"):
        frames.mirror_frames(np.eye(4), even)


@pytest.mark.parametrize(
    ("turn", "point", "axis", "off_deg"),
    [
        (("x", 0), (0, -0.4, 0), "-y", 0),
        (("x", 0), (0.3, 0, 0.3 * np.tan(np.radians(20))), "x", 20),
        (("z", 90), (0, 0.4, 0), "x", 0),  # its x was turned up
        (("x", 90), (0, 0.4, 0), "-z", 0),  # its z was turned down
        (("y", 30), (0, 0, -2), "-z", 30),
        (("x", 0), (1, 1.001, 1), "y", np.degrees(np.arctan(np.sqrt(2) / 1.001))),
    ],
)
def test_which_axis_points_at_a_child(turn, point, axis, off_deg):
    about, degrees = turn
    joint = frames.frame(rotation.matrix_about(about, np.radians(degrees)), [1, 2, 3])
    found, off = frames.axis_toward(joint, np.add([1, 2, 3], point))
    assert str(found) == axis
    assert np.degrees(off) == pytest.approx(off_deg, abs=1e-5)


@given(rigid, points)
def test_the_nearest_axis_is_the_nearest_of_six(frame, point):
    if np.linalg.norm(point - frame[:3, 3]) < 1e-3:
        return
    found, off = frames.axis_toward([frame, frame], point)
    away = (point - frame[:3, 3]) / np.linalg.norm(point - frame[:3, 3])
    signed = {sign + a: s * frame[:3, i] for i, a in enumerate("xyz") for sign, s in SIGNS}
    angles = {name: np.arccos(np.clip(axis @ away, -1, 1)) for name, axis in signed.items()}
    assert angles[str(found[1])] == pytest.approx(min(angles.values()), abs=1e-6)
    assert off[0] == pytest.approx(min(angles.values()), abs=1e-6)
    assert off[0] < 0.956  # as far as a cube's corner is from its nearest axis


def test_a_child_in_its_joints_place_has_no_direction():
    with pytest.raises(ValueError, match="`points`"):
        frames.axis_toward(np.eye(4), [0, 0, 0])


# What is refused


@pytest.mark.parametrize(
    ("broken", "part"),
    [
        (np.diag([2.0, 2, 2, 1]), "columns are off by 3"),
        (np.diag([-1.0, 1, 1, 1]), "reflection"),
        (np.eye(4) + np.eye(4, k=3).T, "last row 0 0 0 1; got [1.0, 0.0, 0.0, 1.0]"),
        (np.eye(4) + 1e-8 * np.eye(4, k=3).T, "last row 0 0 0 1; got [1e-08, 0.0"),
        (np.eye(3), "shape (..., 4, 4)"),
    ],
)
def test_frames_that_are_not_rigid_are_refused(broken, part):
    with pytest.raises(ValueError, match="`frames` must") as refusal:
        frames.invert(broken)
    assert part in str(refusal.value)


def test_the_refusal_shows_the_row_at_fault_not_the_first():
    batch = np.stack([np.eye(4), np.eye(4)])
    batch[1, 3, 0] = 7
    with pytest.raises(ValueError, match=r"got \[7.0, 0.0, 0.0, 1.0\]"):
        frames.invert(batch)


def test_flip_must_be_an_axis():
    with pytest.raises(ValueError, match="`flip` must be one of 'x', 'y', 'z', 'xyz'; got 'w'"):
        frames.mirror_frames(np.eye(4), "w")


@pytest.mark.parametrize(
    ("call", "named"),
    [
        (
            lambda: frames.frame(np.stack([np.eye(3)] * 2), np.zeros((3, 3))),
            r"`rotation_matrix` \(2,\), `origin` \(3,\)",
        ),
        (
            lambda: frames.relative([np.eye(4)] * 2, [np.eye(4)] * 3),
            r"`parent` \(2,\), `child` \(3,\)",
        ),
        (
            lambda: frames.apply([np.eye(4)] * 2, np.ones((3, 3))),
            r"`frames` \(2,\), `points` \(3,\)",
        ),
        (
            lambda: frames.rotate_vectors([np.eye(4)] * 2, np.ones((3, 3))),
            r"`frames` \(2,\), `directions` \(3,\)",
        ),
        (
            lambda: frames.mirror_points(np.ones((2, 3)), np.ones((3, 3))),
            r"`points` \(2,\), `normal` \(3,\)",
        ),
        (
            lambda: frames.mirror_frames([np.eye(4)] * 2, "x", np.ones((3, 3))),
            r"`frames` \(2,\), `normal` \(3,\)",
        ),
    ],
)
def test_batches_that_do_not_match_are_named(call, named):
    with pytest.raises(ValueError, match=named):
        call()


# Every function: a batch is a loop, whole numbers and lists are floats

RNG = np.random.default_rng(5)
QUARTERS = np.round(
    rotation.matrix_from_euler(RNG.integers(-2, 3, (2, 5, 3)) * (np.pi / 2), "xyz")
).astype(int)
FRAMES = frames.frame(QUARTERS, RNG.integers(-3, 4, (2, 5, 3))).astype(int)
POINTS = RNG.integers(-3, 4, (2, 5, 3)) + [0, 0, 5]


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (frames.frame, (QUARTERS, POINTS)),
        (frames.invert, (FRAMES,)),
        (frames.relative, (FRAMES, FRAMES[::-1])),
        (frames.apply, (FRAMES, POINTS)),
        (frames.rotate_vectors, (FRAMES, POINTS)),
        (frames.mirror_points, (POINTS, POINTS[::-1], POINTS[:, ::-1])),
        (lambda f, n, t: frames.mirror_frames(f, "z", n, t), (FRAMES, POINTS, POINTS[::-1])),
        (lambda f: frames.check_frames("f", f), (FRAMES,)),
    ],
)
def test_a_batch_is_a_loop_and_whole_numbers_and_lists_are_floats(function, arguments):
    whole = function(*arguments)
    assert whole.dtype == np.float64
    assert np.array_equal(whole, function(*(a.tolist() for a in arguments)))
    assert np.array_equal(whole, function(*(a.astype(float) for a in arguments)))
    for index in np.ndindex(2, 5):
        assert np.allclose(
            whole[index], function(*(a[index] for a in arguments)), rtol=0, atol=1e-15
        )
