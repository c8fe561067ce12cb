"""Rotations and Euler orders against scipy, transforms3d and pytransform3d, and against published
vectors.

transforms3d and pytransform3d put a quaternion's scalar first; scipy and rigkit put it last.
"""

import itertools

import numpy as np
import pytest
import pytransform3d.rotations as pr
import transforms3d
from scipy.spatial.transform import Rotation, Slerp

from rigkit import rotation

ORDERS = ["".join(o) for o in itertools.product("xyz", repeat=3) if o[0] != o[1] != o[2]]
CLOSE = {"rtol": 0, "atol": 1e-12}
RNG = np.random.default_rng(11)
VECTORS = np.vstack(
    [
        RNG.normal(size=(40, 3)) * RNG.choice([1e-9, 1e-3, 1, 3], (40, 1)),
        np.pi * np.eye(3),
        np.zeros((1, 3)),
    ]
)
QUATERNIONS = RNG.normal(size=(40, 4))
ANGLES = RNG.uniform(-np.pi, np.pi, (12, 3))


def scalar_first(quaternion):
    return np.roll(quaternion, 1, axis=-1)


def scalar_last(quaternion):
    return np.roll(quaternion, -1, axis=-1)


def same_turn(a, b):
    return np.minimum(np.abs(a - b).max(axis=-1), np.abs(a + b).max(axis=-1)) < 1e-12


# Three libraries, one at a time


def test_rotation_vectors():
    matrices = rotation.matrix_from_vector(VECTORS)
    assert np.allclose(matrices, Rotation.from_rotvec(VECTORS).as_matrix(), **CLOSE)
    for vector, matrix in zip(VECTORS, matrices, strict=True):
        angle = np.linalg.norm(vector)
        axis = vector / angle if angle else [1, 0, 0]
        assert np.allclose(matrix, transforms3d.axangles.axangle2mat(axis, angle), **CLOSE)
        assert np.allclose(matrix, pr.matrix_from_compact_axis_angle(vector), **CLOSE)


def test_vectors_of_matrices():
    matrices = rotation.matrix_from_quaternion(QUATERNIONS)
    vectors = rotation.vector_from_matrix(matrices)
    assert np.allclose(vectors, Rotation.from_matrix(matrices).as_rotvec(), **CLOSE)
    assert np.allclose(
        rotation.rotation_angle(matrices), Rotation.from_matrix(matrices).magnitude(), **CLOSE
    )
    for matrix, vector in zip(matrices, vectors, strict=True):
        axis, angle = transforms3d.axangles.mat2axangle(matrix)
        assert np.allclose(
            rotation.matrix_from_vector(np.multiply(axis, angle)), matrix, rtol=0, atol=1e-9
        )
        assert np.allclose(vector, pr.compact_axis_angle_from_matrix(matrix), rtol=0, atol=1e-9)


def test_quaternions():
    matrices = rotation.matrix_from_quaternion(QUATERNIONS)
    assert np.allclose(matrices, Rotation.from_quat(QUATERNIONS).as_matrix(), **CLOSE)
    back = rotation.quaternion_from_matrix(matrices)
    assert np.allclose(back, Rotation.from_matrix(matrices).as_quat(canonical=True), **CLOSE)
    for quaternion, matrix, unit in zip(QUATERNIONS, matrices, back, strict=True):
        assert np.allclose(
            matrix, transforms3d.quaternions.quat2mat(scalar_first(quaternion)), **CLOSE
        )
        assert np.allclose(matrix, pr.matrix_from_quaternion(scalar_first(quaternion)), **CLOSE)
        assert same_turn(unit, scalar_last(transforms3d.quaternions.mat2quat(matrix)))
        assert same_turn(unit, scalar_last(pr.quaternion_from_matrix(matrix)))


def test_quaternion_products():
    first, second = QUATERNIONS[:20], QUATERNIONS[20:]
    products = rotation.multiply_quaternions(first, second)
    units = rotation.unit_quaternion(products)
    assert same_turn(
        units, (Rotation.from_quat(first) * Rotation.from_quat(second)).as_quat()
    ).all()
    for a, b, product in zip(first, second, products, strict=True):
        a, b = scalar_first(a), scalar_first(b)
        assert np.allclose(product, scalar_last(transforms3d.quaternions.qmult(a, b)), **CLOSE)
        a, b = a / np.linalg.norm(a), b / np.linalg.norm(b)
        assert same_turn(
            rotation.unit_quaternion(product), scalar_last(pr.concatenate_quaternions(a, b))
        )


def test_slerp():
    shares = np.linspace(0, 1, 7)
    for start, end in zip(QUATERNIONS[:10], QUATERNIONS[10:20], strict=True):
        ours = rotation.slerp(start, end, shares)
        assert same_turn(
            ours, Slerp([0, 1], Rotation.from_quat([start, end]))(shares).as_quat()
        ).all()
        a, b = (scalar_first(rotation.unit_quaternion(q)) for q in (start, end))
        theirs = [
            scalar_last(pr.quaternion_slerp(a, b, share, shortest_path=True)) for share in shares
        ]
        assert same_turn(ours, np.array(theirs)).all()


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("axes", ["moving", "fixed"])
def test_every_euler_order(order, axes):
    """24 conventions; an upper-case order means moving axes in scipy, "r" (rotating) in
    transforms3d."""
    matrices = rotation.matrix_from_euler(ANGLES, order, axes)
    scipy_order = order.upper() if axes == "moving" else order
    assert np.allclose(matrices, Rotation.from_euler(scipy_order, ANGLES).as_matrix(), **CLOSE)
    back = rotation.euler_from_matrix(matrices, order, axes)
    assert np.allclose(
        back, Rotation.from_matrix(matrices).as_euler(scipy_order), rtol=0, atol=1e-9
    )
    letters = ["xyz".index(letter) for letter in order]
    code = ("r" if axes == "moving" else "s") + order
    for turns, matrix, found in zip(ANGLES, matrices, back, strict=True):
        assert np.allclose(matrix, transforms3d.euler.euler2mat(*turns, code), **CLOSE)
        assert np.allclose(
            matrix, pr.matrix_from_euler(turns, *letters, extrinsic=axes == "fixed"), **CLOSE
        )
        assert np.allclose(
            found,
            pr.euler_from_matrix(matrix, *letters, extrinsic=axes == "fixed"),
            rtol=0,
            atol=1e-9,
        )
        theirs = transforms3d.euler.mat2euler(matrix, code)
        assert np.allclose(
            transforms3d.euler.euler2mat(*theirs, code),
            transforms3d.euler.euler2mat(*found, code),
            rtol=0,
            atol=1e-9,
        )


def test_between_two_directions():
    starts, ends = RNG.normal(size=(2, 40, 3))
    matrices = rotation.matrix_between(starts, ends)
    angles = rotation.angle_between(starts, ends)
    for start, end, matrix, angle in zip(starts, ends, matrices, angles, strict=True):
        theirs = pr.axis_angle_from_two_directions(start, end)
        assert np.allclose(matrix, pr.matrix_from_axis_angle(theirs), rtol=0, atol=1e-9)
        assert angle == pytest.approx(theirs[3], abs=1e-9)
        assert angle == pytest.approx(pr.angle_between_vectors(start, end), abs=1e-9)


def test_nearest_rotation_to_a_drifted_matrix():
    """scipy from_matrix orthogonalises by singular values too."""
    drifted = Rotation.from_quat(QUATERNIONS).as_matrix() + RNG.normal(size=(40, 3, 3)) * 0.01
    assert np.allclose(
        rotation.orthonormalise(drifted),
        Rotation.from_matrix(drifted).as_matrix(),
        rtol=0,
        atol=1e-9,
    )


# Published vectors. "Seen": printed in the named library's own documentation.


def test_exponential_of_1_2_3():
    """Modern Robotics library, MatrixExp3 and AxisAng3 (seen)."""
    assert np.allclose(
        rotation.matrix_from_vector([1, 2, 3]),
        [
            [-0.69492056, 0.71352099, 0.08929286],
            [-0.19200697, -0.30378504, 0.93319235],
            [0.69297817, 0.6313497, 0.34810748],
        ],
        rtol=0,
        atol=5e-9,
    )
    axis, angle = [0.26726124, 0.53452248, 0.80178373], 3.7416573867739413
    assert np.allclose(
        rotation.matrix_about(axis, angle),
        rotation.matrix_from_vector([1, 2, 3]),
        rtol=0,
        atol=5e-8,
    )


def test_logarithm_of_a_turn_of_the_axes():
    """Modern Robotics library, MatrixLog3 (seen); the quaternion follows from a third of a turn
    about (1, 1, 1)."""
    matrix = [[0, 0, 1], [1, 0, 0], [0, 1, 0]]
    assert np.allclose(rotation.vector_from_matrix(matrix), 1.20919958, rtol=0, atol=5e-9)
    assert np.allclose(rotation.quaternion_from_matrix(matrix), 0.5, rtol=0, atol=1e-15)


def test_minus_90_about_y_then_about_the_moved_x():
    """scipy, Rotation.as_rotvec (seen): (-69.2820323, …) degrees, 120 degrees in all."""
    matrix = rotation.matrix_about("y", -np.pi / 2) @ rotation.matrix_about("x", -np.pi / 2)
    assert np.allclose(
        np.degrees(rotation.vector_from_matrix(matrix)), -69.2820323, rtol=0, atol=5e-8
    )
    assert np.degrees(rotation.rotation_angle(matrix)) == pytest.approx(120)
    assert np.allclose(
        matrix, rotation.matrix_from_euler([-np.pi / 2, -np.pi / 2, 0], "yxz"), **CLOSE
    )


@pytest.mark.parametrize(
    ("quaternion", "vector"),
    [([0, 0, 1, 1], [0, 0, 1.57079633]), ([1, 1, 0, 1], [1.35102172, 1.35102172, 0])],
)
def test_quaternions_of_any_length(quaternion, vector):
    """scipy, Rotation.as_rotvec (seen)."""
    assert np.allclose(rotation.vector_from_quaternion(quaternion), vector, rtol=0, atol=5e-9)


def test_quarter_turn_about_z():
    """scipy, Rotation.from_matrix (seen)."""
    assert np.allclose(
        rotation.vector_from_matrix([[0, -1, 0], [1, 0, 0], [0, 0, 1]]), [0, 0, np.pi / 2], **CLOSE
    )


@pytest.mark.parametrize(
    ("order", "axes", "quaternion"),
    [
        # computed alike with scipy 1.17.1 'xyz', transforms3d 'sxyz', pytransform3d, pinocchio
        # rpyToMatrix, mujoco 'XYZ'
        ("xyz", "fixed", [0.03813458, 0.18930786, 0.23929834, 0.95154852]),
        # computed alike with scipy 'XYZ', transforms3d 'rxyz', pytransform3d, mujoco 'xyz'
        ("xyz", "moving", [0.12767944, 0.14487813, 0.26853582, 0.94371436]),
        # computed with scipy 'ZXY'
        ("zxy", "moving", [0.14487813, 0.26853582, 0.12767944, 0.94371436]),
    ],
)
def test_10_20_30_degrees(order, axes, quaternion):
    matrix = rotation.matrix_from_euler(np.radians([10, 20, 30]), order, axes)
    assert np.allclose(rotation.quaternion_from_matrix(matrix), quaternion, rtol=0, atol=5e-9)


def test_10_20_30_degrees_about_fixed_axes_as_a_matrix():
    """Computed alike with the five libraries of the check above."""
    assert np.allclose(
        rotation.matrix_from_euler(np.radians([10, 20, 30]), "xyz", "fixed"),
        [
            [0.81379768, -0.44096961, 0.37852231],
            [0.46984631, 0.88256412, 0.01802831],
            [-0.34202014, 0.16317591, 0.92541658],
        ],
        rtol=0,
        atol=5e-9,
    )
