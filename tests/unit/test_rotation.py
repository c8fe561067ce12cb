"""Rotations: round trips, edges, batches. Agreement with other libraries is in
tests/outside/test_rotations.py."""

import itertools
import re

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from rigkit import controls, rotation

ORDERS = ["".join(o) for o in itertools.product("xyz", repeat=3) if o[0] != o[1] != o[2]]
EXACT = {"rtol": 0, "atol": 1e-14}
CLOSE = {"rtol": 0, "atol": 1e-12}
# 0, the smallest, every quadrant, their borders, and just beside the borders.
ANGLES = np.array([0, 1e-12, 1e-9, 0.3, np.pi / 2 - 1e-9, np.pi / 2, 1.9, 3.0, np.pi - 1e-9, np.pi])
ANGLES = np.concatenate([-ANGLES[::-1], ANGLES])

numbers = st.floats(-10, 10, allow_subnormal=False)
angles = st.floats(-4, 4, allow_subnormal=False)
vectors = arrays(float, 3, elements=numbers)
directions = vectors.filter(lambda v: np.linalg.norm(v) > 1e-3)
quaternions = arrays(float, 4, elements=numbers).filter(lambda q: np.linalg.norm(q) > 1e-3)


def is_rotation(matrix):
    return (
        np.allclose(np.swapaxes(matrix, -1, -2) @ matrix, np.eye(3), **CLOSE)
        and (np.linalg.det(matrix) > 0).all()
    )


# Turns about an axis and rotation vectors


@pytest.mark.parametrize(
    ("axis", "start", "end"), [("x", "y", "z"), ("y", "z", "x"), ("z", "x", "y")]
)
def test_a_positive_quarter_turn_follows_the_right_hand_rule(axis, start, end):
    unit = dict(zip("xyz", np.eye(3), strict=True))
    assert np.allclose(rotation.matrix_about(axis, np.pi / 2) @ unit[start], unit[end], **EXACT)


def test_axis_letters_and_vectors_of_any_length_agree():
    for letter, axis in zip("xyz", np.eye(3), strict=True):
        assert np.array_equal(
            rotation.matrix_about(letter, 0.7), rotation.matrix_about(7 * axis, 0.7)
        )


@given(directions, angles)
def test_turn_about_an_axis_keeps_the_axis_and_turns_by_the_angle(axis, angle):
    matrix = rotation.matrix_about(axis, angle)
    assert is_rotation(matrix)
    assert np.allclose(matrix @ axis, axis, rtol=0, atol=1e-12)
    assert np.isclose(
        rotation.rotation_angle(matrix), abs((angle + np.pi) % (2 * np.pi) - np.pi), **CLOSE
    )
    assert np.allclose(rotation.matrix_about(axis, -angle), matrix.T, **EXACT)


@pytest.mark.parametrize("angle", ANGLES)
def test_rotation_vector_survives_matrix_and_quaternion_at_every_edge(angle):
    axis = np.array([1.0, -2.0, 2.0]) / 3
    vector = angle * axis
    matrix = rotation.matrix_from_vector(vector)
    assert np.allclose(matrix, rotation.matrix_about(axis, angle), **EXACT)
    quaternion = rotation.quaternion_from_vector(vector)
    for back in (rotation.vector_from_matrix(matrix), rotation.vector_from_quaternion(quaternion)):
        # At a half turn the two axes are one turn.
        gap = min(
            np.abs(back - vector).max(),
            np.abs(back + vector).max() if abs(angle) == np.pi else np.inf,
        )
        assert gap < 1e-14


@pytest.mark.parametrize("size", [1e-300, 1e-160, 1e-15, 1e-9, 1e-6, 1e-4])
def test_the_smallest_turns_keep_their_relative_precision(size):
    vector = size * np.array([1.0, -2.0, 3.0])
    back = rotation.vector_from_quaternion(rotation.quaternion_from_vector(vector))
    assert np.allclose(back, vector, rtol=1e-14, atol=0)


@given(vectors)
def test_rotation_vector_round_trip_is_the_short_way(vector):
    matrix = rotation.matrix_from_vector(vector)
    back = rotation.vector_from_matrix(matrix)
    assert np.linalg.norm(back) <= np.pi + 1e-12
    assert np.allclose(rotation.matrix_from_vector(back), matrix, **CLOSE)


# Quaternions


@given(quaternions)
def test_quaternion_round_trip_through_a_matrix_is_the_same_turn(quaternion):
    matrix = rotation.matrix_from_quaternion(quaternion)
    assert is_rotation(matrix)
    back = rotation.quaternion_from_matrix(matrix)
    unit = rotation.unit_quaternion(quaternion)
    assert back[3] >= 0
    assert min(np.abs(back - unit).max(), np.abs(back + unit).max()) < 1e-12
    assert np.allclose(rotation.matrix_from_quaternion(-quaternion), matrix, **EXACT)


@pytest.mark.parametrize(
    "row", np.vstack([np.eye(4), -np.eye(4), np.ones(4), [1, -1, 1, -1], [1, 1e-9, 0, 0]])
)
def test_quaternion_from_matrix_is_exact_whichever_component_is_largest(row):
    unit = rotation.unit_quaternion(row)
    back = rotation.quaternion_from_matrix(rotation.matrix_from_quaternion(row))
    assert min(np.abs(back - unit).max(), np.abs(back + unit).max()) < 1e-15


@given(quaternions, quaternions)
def test_multiplying_quaternions_is_multiplying_matrices(first, second):
    product = rotation.matrix_from_quaternion(rotation.multiply_quaternions(first, second))
    matrices = rotation.matrix_from_quaternion(first) @ rotation.matrix_from_quaternion(second)
    assert np.allclose(product, matrices, **CLOSE)


@given(quaternions, quaternions, st.floats(0, 1))
def test_slerp_turns_at_an_even_rate_the_shorter_way(start, end, share):
    a, b = rotation.matrix_from_quaternion(start), rotation.matrix_from_quaternion(end)
    between = rotation.matrix_from_quaternion(rotation.slerp(start, end, share))
    whole = rotation.rotation_angle(a.T @ b)
    assert np.isclose(rotation.rotation_angle(a.T @ between), share * whole, rtol=0, atol=1e-9)
    assert np.isclose(
        rotation.rotation_angle(between.T @ b), (1 - share) * whole, rtol=0, atol=1e-9
    )


@given(quaternions, quaternions)
def test_slerp_starts_at_start_and_ends_at_end_for_either_sign(start, end):
    for sign in (1, -1):
        ends = rotation.matrix_from_quaternion(rotation.slerp(start, sign * end, [0, 1]))
        assert np.allclose(ends[0], rotation.matrix_from_quaternion(start), **CLOSE)
        assert np.allclose(ends[1], rotation.matrix_from_quaternion(end), **CLOSE)


# Euler orders


@pytest.mark.parametrize("order", ORDERS)
def test_euler_angles_survive_the_matrix_in_every_quadrant(order):
    edges = [-3.0, -1.9, -np.pi / 2, -0.3, 0, 1e-9, 0.3, np.pi / 2, 1.9, 3.0]
    middles = (
        [0.001, 0.5, np.pi / 2, 2.0, np.pi - 0.001]
        if order[0] == order[2]
        else [-np.pi / 2 + 0.001, -0.5, 0, 1e-9, 0.5, np.pi / 2 - 0.001]
    )
    given_angles = np.array(list(itertools.product(edges, middles, edges)))
    for axes in ("moving", "fixed"):
        matrix = rotation.matrix_from_euler(given_angles, order, axes)
        assert np.allclose(
            rotation.euler_from_matrix(matrix, order, axes), given_angles, rtol=0, atol=1e-11
        )


@given(quaternions, st.sampled_from(ORDERS), st.sampled_from(["moving", "fixed"]))
def test_every_matrix_has_euler_angles_in_every_order(quaternion, order, axes):
    matrix = rotation.matrix_from_quaternion(quaternion)
    turns = rotation.euler_from_matrix(matrix, order, axes)
    low, high = (0, np.pi) if order[0] == order[2] else (-np.pi / 2, np.pi / 2)
    assert low <= turns[1] <= high
    assert np.allclose(rotation.matrix_from_euler(turns, order, axes), matrix, rtol=0, atol=3e-12)


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("off", [0, 1e-13, 1e-12, 1e-11, 1e-9, 1e-7, 1e-4])
def test_gimbal_lock_still_gives_angles_that_make_the_matrix(order, off):
    middles = (off, np.pi - off) if order[0] == order[2] else (np.pi / 2 - off, -np.pi / 2 + off)
    for axes, middle in itertools.product(("moving", "fixed"), middles):
        matrix = rotation.matrix_from_euler([0.7, middle, -0.4], order, axes)
        turns = rotation.euler_from_matrix(matrix, order, axes)
        assert np.allclose(
            rotation.matrix_from_euler(turns, order, axes), matrix, rtol=0, atol=3e-12
        )
        if off == 0:
            assert turns[0 if axes == "moving" else 2] == 0


@given(arrays(float, 3, elements=angles), st.sampled_from(ORDERS))
def test_fixed_axes_are_moving_axes_in_reverse(turns, order):
    assert np.allclose(
        rotation.matrix_from_euler(turns, order, "fixed"),
        rotation.matrix_from_euler(turns[::-1], order[::-1], "moving"),
        **EXACT,
    )


@pytest.mark.parametrize(
    "order", ["xx", "xxy", "xyy", "XYZ", "abc", "", "xyzx", None, 3, ["x", "y", "z"]]
)
def test_orders_that_name_no_three_turns_are_refused(order):
    message = "`order` must be three of x, y, z, none twice in a row; got"
    with pytest.raises(ValueError, match=message):
        rotation.matrix_from_euler([0, 0, 0], order)
    with pytest.raises(ValueError, match=message) as refusal:
        rotation.euler_from_matrix(np.eye(3), order)
    (named,) = re.findall(r'A hip.* are "(\w+)"\.$', str(refusal.value))
    assert named == controls.TURN_ORDER


def test_axes_must_be_moving_or_fixed():
    with pytest.raises(
        ValueError, match="`axes` must be one of 'moving', 'fixed'; got 'intrinsic'"
    ):
        rotation.matrix_from_euler([0, 0, 0], "xyz", "intrinsic")


# Between directions


@given(directions, directions)
def test_matrix_between_is_the_smallest_turn_that_gets_there(start, end):
    matrix = rotation.matrix_between(start, end)
    assert is_rotation(matrix)
    assert np.allclose(matrix @ start / np.linalg.norm(start), end / np.linalg.norm(end), **CLOSE)
    assert np.isclose(
        rotation.rotation_angle(matrix), rotation.angle_between(start, end), rtol=0, atol=1e-7
    )


@pytest.mark.parametrize("off", [0, 1e-15, 1e-14, 1e-13, 1e-12, 1e-11, 1e-9, 1e-6, 1e-3, 0.1])
@pytest.mark.parametrize("start", [[1, 0, 0], [0, -1, 0], [0.36, 0.48, 0.8]])
def test_matrix_between_arrives_however_near_to_equal_or_opposite(start, off):
    side = rotation.matrix_about(start, 0.7) @ rotation.perpendicular(start)  # not the one it picks
    start = np.array(start)
    for sign in (1, -1):
        end = sign * np.cos(off) * start + np.sin(off) * side
        matrix = rotation.matrix_between(start, end)
        assert is_rotation(matrix)
        assert np.allclose(matrix @ start, end, rtol=0, atol=5e-15)


def test_half_turn_between_opposites_is_the_same_every_time():
    first, again = (rotation.matrix_between([0, -1, 0], [0, 1, 0]) for _ in range(2))
    assert np.array_equal(first, again)
    assert rotation.rotation_angle(first) == pytest.approx(np.pi, abs=1e-15)


@given(directions)
def test_perpendicular_is_square_and_of_length_one(direction):
    side = rotation.perpendicular(direction)
    assert abs(side @ direction) < 1e-12
    assert np.linalg.norm(side) == pytest.approx(1, abs=1e-14)


@pytest.mark.parametrize("angle", [0, 1e-12, 1e-9, 1e-6, 0.5, np.pi / 2, 2.5, np.pi - 1e-9, np.pi])
def test_angle_between_is_exact_near_zero_and_near_a_half_turn(angle):
    found = rotation.angle_between([3, 0, 0], [np.cos(angle), np.sin(angle), 0])
    assert found == pytest.approx(angle, rel=1e-14, abs=2e-16)


@given(vectors)
def test_turn_angle_is_the_length_of_the_rotation_vector(vector):
    assume(np.linalg.norm(vector) <= np.pi)
    angle = rotation.rotation_angle(rotation.matrix_from_vector(vector))
    assert angle == pytest.approx(np.linalg.norm(vector), abs=1e-12)


# Checking and repairing


def test_what_is_no_rotation_is_refused():
    with pytest.raises(
        ValueError, match=r"`matrix` must be a rotation matrix; got one whose columns are off by 3"
    ):
        rotation.quaternion_from_matrix(2 * np.eye(3))
    with pytest.raises(ValueError, match="got a reflection"):
        rotation.rotation_angle(np.diag([1, 1, -1]))
    with pytest.raises(ValueError, match="`matrix`"):
        rotation.vector_from_matrix([np.eye(3), 1.00001 * np.eye(3)])


@given(quaternions, arrays(float, (3, 3), elements=st.floats(-1e-3, 1e-3)))
def test_orthonormalise_repairs_drift_and_leaves_rotations_alone(quaternion, drift):
    matrix = rotation.matrix_from_quaternion(quaternion)
    assert np.allclose(rotation.orthonormalise(matrix), matrix, **CLOSE)
    repaired = rotation.orthonormalise(matrix + drift)
    assert is_rotation(repaired)
    assert (
        np.linalg.norm(repaired - matrix - drift) <= np.linalg.norm(drift) + 1e-12
    )  # none is nearer


def test_orthonormalise_never_returns_a_reflection():
    assert is_rotation(rotation.orthonormalise(np.diag([1.0, 1.0, -0.9])))
    assert np.allclose(rotation.orthonormalise(np.diag([1.0, 2.0, 1e-9])), np.eye(3), **EXACT)
    with pytest.raises(ValueError, match="three independent columns"):
        rotation.orthonormalise(np.ones((3, 3)))


def test_zero_has_no_direction():
    for call in (
        lambda: rotation.matrix_about([0, 0, 0], 1),
        lambda: rotation.matrix_between([0, 0, 0], [0, 0, 1]),
        lambda: rotation.perpendicular([0, 0, 0]),
        lambda: rotation.unit_quaternion([0, 0, 0, 0]),
    ):
        with pytest.raises(ValueError, match="length zero"):
            call()


def test_batches_that_do_not_match_are_named():
    with pytest.raises(ValueError, match=r"`axis` \(2,\), `angle` \(3,\)"):
        rotation.matrix_about(np.ones((2, 3)), [0, 1, 2])


# Every function: a batch is a loop, whole numbers and lists are floats

RNG = np.random.default_rng(7)
VECTORS = RNG.integers(-3, 4, (2, 5, 3)) + [0, 0, 5]
QUATERNIONS = RNG.integers(-3, 4, (2, 5, 4)) + [0, 0, 0, 5]
MATRICES = rotation.matrix_from_quaternion(QUATERNIONS)
WHOLE_MATRICES = np.array([[[0, -1, 0], [1, 0, 0], [0, 0, 1]], [[1, 0, 0], [0, -1, 0], [0, 0, -1]]])
TURNS = RNG.integers(-3, 4, (2, 5))
CALLS = [
    (rotation.matrix_about, (VECTORS, TURNS)),
    (rotation.matrix_from_vector, (VECTORS,)),
    (rotation.vector_from_matrix, (WHOLE_MATRICES,)),
    (rotation.vector_from_matrix, (MATRICES,)),
    (rotation.quaternion_from_vector, (VECTORS,)),
    (rotation.vector_from_quaternion, (QUATERNIONS,)),
    (rotation.unit_quaternion, (QUATERNIONS,)),
    (rotation.matrix_from_quaternion, (QUATERNIONS,)),
    (rotation.quaternion_from_matrix, (WHOLE_MATRICES,)),
    (rotation.quaternion_from_matrix, (MATRICES,)),
    (rotation.multiply_quaternions, (QUATERNIONS, QUATERNIONS[::-1])),
    (rotation.slerp, (QUATERNIONS, QUATERNIONS[::-1], TURNS)),
    (lambda a: rotation.matrix_from_euler(a, "zxy"), (VECTORS,)),
    (lambda m: rotation.euler_from_matrix(m, "zxy"), (MATRICES,)),
    (lambda m: rotation.euler_from_matrix(m, "xzx", "fixed"), (WHOLE_MATRICES,)),
    (rotation.matrix_between, (VECTORS, VECTORS[::-1])),
    (rotation.matrix_between, (VECTORS, -VECTORS)),
    (rotation.perpendicular, (VECTORS,)),
    (rotation.angle_between, (VECTORS, VECTORS[::-1])),
    (rotation.rotation_angle, (MATRICES,)),
    (rotation.orthonormalise, (MATRICES,)),
    (lambda m: rotation.check_matrix("m", m), (WHOLE_MATRICES,)),
]


@pytest.mark.parametrize(("function", "arguments"), CALLS)
def test_a_batch_is_a_loop_and_whole_numbers_and_lists_are_floats(function, arguments):
    whole = function(*arguments)
    lists = function(*(a.tolist() for a in arguments))
    floats = function(*(a.astype(float) for a in arguments))
    assert np.array_equal(whole, lists)
    assert np.array_equal(whole, floats)
    for index in np.ndindex((2,) if arguments[0] is WHOLE_MATRICES else (2, 5)):
        assert np.allclose(
            whole[index], function(*(a[index] for a in arguments)), rtol=0, atol=1e-15
        )


def test_one_argument_serves_a_whole_batch_of_the_other():
    assert rotation.matrix_about("y", TURNS).shape == (2, 5, 3, 3)
    assert rotation.matrix_about(VECTORS, 0.3).shape == (2, 5, 3, 3)
    assert rotation.slerp(QUATERNIONS[0, 0], QUATERNIONS[1], [[0.0], [0.5], [1.0]]).shape == (
        3,
        5,
        4,
    )
    assert rotation.matrix_between(VECTORS, [0, 0, 1]).shape == (2, 5, 3, 3)
    assert rotation.angle_between([0, 0, 1], VECTORS).shape == (2, 5)
    assert rotation.multiply_quaternions(QUATERNIONS, [0, 0, 0, 1]).tolist() == QUATERNIONS.tolist()
