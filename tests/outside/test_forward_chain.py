"""Forward chains and Jacobians against a rigid-body library (mujoco) and against Modern Robotics.

Modern Robotics: K. M. Lynch, F. C. Park, Cambridge 2017, and its library `modern_robotics` (NxRLab,
MIT). mujoco puts a quaternion's scalar first.
"""

import modern_robotics
import mujoco
import numpy as np
import pytest

from rigkit import bend, frames, rotation
from rigkit.skeleton import Joint, Skeleton, planar_chain

CLOSE = {"rtol": 0, "atol": 1e-12}


def random_tree(n, seed):
    """A skeleton of `n` joints, its joints' own hinge axes, and an angle for each."""
    rng = np.random.default_rng(seed)
    rests = frames.frame(
        rotation.matrix_from_vector(rng.normal(size=(n, 3))), rng.normal(size=(n, 3))
    )
    parents = [None, *(f"j{rng.integers(i)}" for i in range(1, n))]
    skeleton = Skeleton(Joint(f"j{i}", parents[i], rests[i]) for i in range(n))
    axes = rng.normal(size=(n, 3))
    return skeleton, axes / np.linalg.norm(axes, axis=-1, keepdims=True), rng.uniform(-3, 3, n)


def hinged_chain(n, seed):
    """Like `random_tree`, each joint the parent of the next."""
    skeleton, axes, angles = random_tree(n, seed)
    chain = Skeleton(
        Joint(f"j{i}", f"j{i - 1}" if i else None, skeleton.rest_local[i]) for i in range(n)
    )
    return chain, axes, angles


def body_text(skeleton, name, joint_text):
    i = skeleton.index(name)
    rest = skeleton.rest_local[i]
    below = "".join(body_text(skeleton, child, joint_text) for child in skeleton.children(name))
    return (
        f'<body name="{name}" pos="{numbers(rest[:3, 3])}"'
        f' quat="{numbers(np.roll(rotation.quaternion_from_matrix(rest[:3, :3]), 1))}">'
        f'{joint_text(i)}<geom size="0.01"/>{below}</body>'
    )


def numbers(values):
    return " ".join(f"{value:.17g}" for value in values)


def mujoco_scene(skeleton, joint_text):
    """The skeleton as a mujoco model with the joint that `joint_text(i)` describes in each body."""
    root = body_text(skeleton, skeleton.names[0], joint_text)
    text = f"<mujoco><worldbody>{root}</worldbody></mujoco>"
    model = mujoco.MjModel.from_xml_string(text)
    return model, mujoco.MjData(model)


def posed_balls(skeleton, quaternions):
    model, data = mujoco_scene(
        skeleton, lambda i: f'<joint name="{skeleton.names[i]}" type="ball"/>'
    )
    for name, quaternion in zip(skeleton.names, quaternions, strict=True):
        data.joint(name).qpos[:] = np.roll(quaternion, 1)
    return moved(model, data)


def posed_hinges(skeleton, axes, angles):
    model, data = mujoco_scene(
        skeleton, lambda i: f'<joint name="{skeleton.names[i]}" axis="{numbers(axes[i])}"/>'
    )
    for i, name in enumerate(skeleton.names):
        data.joint(name).qpos[0] = angles[i]
    return moved(model, data)


def moved(model, data):
    mujoco.mj_kinematics(model, data)
    mujoco.mj_comPos(model, data)  # what its Jacobians need
    return model, data


def mujoco_jacobian(model, data, point):
    """Motion of the last body's `point`: (3, degrees of freedom)."""
    jacobian = np.zeros((3, model.nv))
    mujoco.mj_jac(model, data, jacobian, None, point, model.nbody - 1)
    return jacobian


def our_pose(skeleton, axes, angles):
    return skeleton.pose(
        dict(zip(skeleton.names, rotation.matrix_about(axes, angles), strict=True))
    )


# Forward chains


@pytest.mark.parametrize("seed", range(5))
def test_world_frames_of_random_trees_of_hinges(seed):
    skeleton, axes, angles = random_tree(12, seed)
    _, data = posed_hinges(skeleton, axes, angles)
    for name, ours in zip(skeleton.names, our_pose(skeleton, axes, angles), strict=True):
        assert np.allclose(ours[:3, 3], data.body(name).xpos, **CLOSE)
        assert np.allclose(ours[:3, :3].ravel(), data.body(name).xmat, **CLOSE)


def test_world_frames_of_a_chain_of_ball_joints():
    skeleton, _, _ = hinged_chain(5, 3)
    quaternions = rotation.unit_quaternion(np.random.default_rng(4).normal(size=(5, 4)))
    _, data = posed_balls(skeleton, quaternions)
    ours = skeleton.pose(
        dict(zip(skeleton.names, rotation.matrix_from_quaternion(quaternions), strict=True))
    )
    assert np.allclose(ours[:, :3, 3], [data.body(name).xpos for name in skeleton.names], **CLOSE)


def test_modern_robotics_forward_chain_with_a_hinge_a_slide_and_a_screw():
    """Modern Robotics library, FKinSpace (seen): M, screws and θ = (π/2, 3, π); the last screw has
    pitch 0.1.

    The first axis passes through (0, 4, 0) along z, the slide runs along y, the last axis passes
    through (0, 6, 0) along −z.
    """
    home = np.array([[-1.0, 0, 0, 0], [0, 1, 0, 6], [0, 0, -1, 2], [0, 0, 0, 1]])
    skeleton = Skeleton.from_world(
        {
            "hinge": frames.frame(origin=[0, 4, 0]),
            "slide": frames.frame(origin=[0, 4, 0]),
            "screw": frames.frame(origin=[0, 6, 0]),
            "end": home,
        },
        {"hinge": None, "slide": "hinge", "screw": "slide", "end": "screw"},
    )
    world = skeleton.pose(
        {
            "hinge": rotation.matrix_about("z", np.pi / 2),
            "screw": rotation.matrix_about([0, 0, -1], np.pi),
        },
        {"slide": [0, 3, 0], "screw": [0, 0, -0.1 * np.pi]},
    )
    published = [[0, 1, 0, -5], [1, 0, 0, 4], [0, 0, -1, 1.68584073], [0, 0, 0, 1]]
    assert np.allclose(world[skeleton.index("end")], published, rtol=0, atol=5e-9)


@pytest.mark.parametrize("seed", range(3))
def test_modern_robotics_product_of_exponentials(seed):
    """The same chains by FKinSpace, which starts from axes in the rest pose's world and never
    multiplies frames."""
    skeleton, axes, angles = hinged_chain(6, seed)
    rest = skeleton.rest_world
    expected = modern_robotics.FKinSpace(rest[-1], screws(rest, axes), angles)
    assert np.allclose(our_pose(skeleton, axes, angles)[-1], expected, rtol=0, atol=1e-10)


def screws(world, axes):
    """Screw axes (ω, −ω × q), one column a joint, of hinges in the pose `world`."""
    turned = frames.rotate_vectors(world, axes)
    return np.concatenate([turned, -np.cross(turned, world[:, :3, 3])], axis=-1).T


def test_modern_robotics_axes_carried_along():
    """Modern Robotics library, JacobianSpace (seen): the turning part of the last column, θ = (0.2,
    1.1, 0.1, 1.2).

    Its screws turn about z, x, y and x.
    """
    carried = (
        rotation.matrix_about("z", 0.2)
        @ rotation.matrix_about("x", 1.1)
        @ rotation.matrix_about("y", 0.1)
        @ [1, 0, 0]
    )
    assert np.allclose(carried, [0.95749426, 0.28487557, -0.04528405], rtol=0, atol=5e-9)


@pytest.mark.parametrize(
    ("angles_deg", "lengths", "end", "heading_deg", "within"),
    [
        # Modern Robotics exercise 6.1, lengths 3, 2, 1, tip (4, 2) at angle 0: question seen,
        # answers derived
        ([0, 90, -90], [3, 2, 1], [4, 2], 0, 1e-12),
        ([67.38014, -90, 22.61986], [3, 2, 1], [4, 2], 0, 5e-7),
        # legs 1 and 1, tip at (1.2, 0.9): question seen in a teaching script, answers derived
        ([-4.53972, 82.81924], [1, 1], [1.2, 0.9], 78.27952, 5e-7),
        ([78.27952, -82.81924], [1, 1], [1.2, 0.9], -4.53972, 5e-7),
        # computed with roboticstoolbox, model Planar2: angles 0.3 and 0.2 rad
        (
            [np.degrees(0.3), np.degrees(0.2)],
            [1, 1],
            [1.83291905, 0.77494575],
            np.degrees(0.5),
            5e-9,
        ),
        ([0, 90], [1, 1], [1, 1], 90, 1e-12),
        ([0, 0], [1, 1], [2, 0], 0, 1e-12),
    ],
)
def test_flat_chains_of_the_books(angles_deg, lengths, end, heading_deg, within):
    joints = planar_chain(np.radians(angles_deg), lengths)
    assert np.allclose(joints[-1], end, rtol=0, atol=within)
    last = joints[-1] - joints[-2]
    assert np.degrees(np.arctan2(last[1], last[0])) == pytest.approx(heading_deg, abs=1e-4)


# Jacobians


@pytest.mark.parametrize("seed", range(5))
def test_jacobians_of_hinges_in_space(seed):
    """A point off the last joint as the end; mujoco's mj_jac, and the columns of JacobianSpace as v
    + ω × end."""
    skeleton, axes, angles = hinged_chain(6, seed)
    model, data = posed_hinges(skeleton, axes, angles)
    world = our_pose(skeleton, axes, angles)
    end = frames.apply(world[-1], [0.1, -0.4, 0.2])
    ours = bend.jacobian([*world[:, :3, 3], end], frames.rotate_vectors(world, axes))
    assert np.allclose(ours, mujoco_jacobian(model, data, end), rtol=0, atol=1e-10)
    twists = modern_robotics.JacobianSpace(screws(skeleton.rest_world, axes), angles)
    assert np.allclose(ours, twists[3:] + np.cross(twists[:3].T, end).T, rtol=0, atol=1e-10)


def test_jacobian_of_ball_joints():
    """mujoco turns a ball about the axes of its own body, rigkit about the world's: so its columns
    are ours @ body."""
    skeleton, _, _ = hinged_chain(4, 8)
    quaternions = rotation.unit_quaternion(np.random.default_rng(6).normal(size=(4, 4)))
    model, data = posed_balls(skeleton, quaternions)
    world = skeleton.pose(
        dict(zip(skeleton.names, rotation.matrix_from_quaternion(quaternions), strict=True))
    )
    end = frames.apply(world[-1], [0.1, -0.4, 0.2])
    ours = bend.jacobian([*world[:, :3, 3], end])
    theirs = mujoco_jacobian(model, data, end)
    assert ours.shape == theirs.shape == (3, 12)
    for joint in range(4):
        columns = slice(3 * joint, 3 * joint + 3)
        assert np.allclose(
            ours[:, columns] @ world[joint, :3, :3], theirs[:, columns], rtol=0, atol=1e-10
        )


@pytest.mark.parametrize("seed", range(5))
def test_jacobians_of_flat_chains(seed):
    """A chain of hinges about z along x, as mujoco has it, and how planar_chain moves for a small
    turn."""
    rng = np.random.default_rng(seed)
    angles, lengths = rng.uniform(-3, 3, 4), rng.uniform(0.2, 2, 4)
    chain = Skeleton(
        Joint(
            f"j{i}",
            f"j{i - 1}" if i else None,
            frames.frame(origin=[lengths[i - 1] if i else 0, 0, 0]),
        )
        for i in range(4)
    )
    model, data = posed_hinges(chain, np.tile([0, 0, 1], (4, 1)), angles)
    points = planar_chain(angles, lengths)
    ours = bend.jacobian(points)
    assert ours.shape == (2, 4)
    assert np.allclose(ours, mujoco_jacobian(model, data, [*points[-1], 0])[:2], rtol=0, atol=1e-10)
    small = 1e-6 * np.eye(4)
    slopes = (planar_chain(angles + small, lengths) - planar_chain(angles - small, lengths))[
        :, -1
    ].T / 2e-6
    assert np.allclose(ours, slopes, rtol=0, atol=1e-8)


@pytest.mark.parametrize(
    ("angles_deg", "lengths", "values", "within"),
    [
        # a worked exercise, seen, and computed: legs 1 and 1
        ([0, 90], [1, 1], [1.61803, 0.61803], 5e-6),
        ([0, 0], [1, 1], [2.23607, 0], 5e-6),
        # product: computed with roboticstoolbox, model Planar2, angles 0.3 and 0.2 rad
        ([np.degrees(0.3), np.degrees(0.2)], [1, 1], 0.19866933, 5e-9),
        # product: computed with mujoco, legs 3 and 2 at 90 degrees
        ([0, 90], [3, 2], 6.0, 1e-12),
    ],
)
def test_singular_values_of_two_bones(angles_deg, lengths, values, within):
    matrix = bend.jacobian(planar_chain(np.radians(angles_deg), lengths))
    found = bend.manipulability(matrix) if np.ndim(values) == 0 else bend.singular_values(matrix)
    assert np.allclose(found, values, rtol=0, atol=within)


def test_what_a_straight_chain_loses():
    """A worked exercise, seen: legs 1 and 1 straight lose the direction (1, 0); (-1, 2)/√5 moves
    nothing."""
    matrix = bend.jacobian(planar_chain([0, 0], [1, 1]))
    assert np.allclose(bend.lost_direction(matrix), [1, 0], **CLOSE)
    assert np.allclose(matrix @ [-1, 2], 0, **CLOSE)
    assert bend.rank(matrix) == 1
