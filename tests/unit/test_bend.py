import itertools

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit import bend, rotation
from rigkit.skeleton import planar_chain

quick = settings(max_examples=60, deadline=None)
length = st.floats(0.1, 1.0)
STRAIGHT = [[0.0, 0.0], [0.0, -0.43], [0.0, -0.85]]
SHORTER = [0.0, -0.8]


def moved(points, axes, joint, turn):
    """The chain with one joint turned, by the forward chain."""
    turned = rotation.matrix_about(axes[joint], turn)
    return np.concatenate(
        [points[: joint + 1], points[joint] + (points[joint + 1 :] - points[joint]) @ turned.T]
    )


# What the end can do


def test_flat_jacobian_is_the_slope_of_the_forward_chain():
    rng = np.random.default_rng(0)
    angles, lengths, step = rng.uniform(-3, 3, (20, 4)), rng.uniform(0.2, 1, (20, 4)), 1e-6
    matrix = bend.jacobian(planar_chain(angles, lengths))
    for joint in range(4):
        ends = [
            planar_chain(angles + sign * step * np.eye(4)[joint], lengths)[:, -1]
            for sign in (-1, 1)
        ]
        np.testing.assert_allclose(matrix[..., joint], (ends[1] - ends[0]) / (2 * step), atol=1e-8)


def test_jacobian_in_space_is_the_slope_of_turning_each_joint():
    rng = np.random.default_rng(1)
    points, axes, step = rng.normal(size=(4, 3)), rng.normal(size=(3, 3)), 1e-6
    hinges, balls = bend.jacobian(points, axes), bend.jacobian(points)
    assert hinges.shape == (3, 3)
    assert balls.shape == (3, 9)
    for joint in range(3):
        ends = [moved(points, axes, joint, sign * step)[-1] for sign in (-1, 1)]
        np.testing.assert_allclose(hinges[:, joint], (ends[1] - ends[0]) / (2 * step), atol=1e-8)
    for joint, axis in itertools.product(range(3), range(3)):
        about = np.tile(np.eye(3)[axis], (3, 1))
        np.testing.assert_allclose(
            balls[:, 3 * joint + axis], bend.jacobian(points, about)[:, joint], atol=1e-15
        )


def test_flat_chain_is_the_same_in_space():
    points = np.random.default_rng(2).normal(size=(5, 3, 2))
    space = np.concatenate([points, np.zeros((5, 3, 1))], axis=-1)
    matrix = bend.jacobian(space, np.tile([0, 0, 1], (2, 1)))
    np.testing.assert_array_equal(matrix[:, :2], bend.jacobian(points))
    np.testing.assert_array_equal(matrix[:, 2], 0)


@quick
@given(length, length, st.floats(-3, 3), st.floats(-3, 3))
def test_manipulability_and_singular_values_belong_together(upper, lower, hip, knee):
    matrix = bend.jacobian(planar_chain([hip, knee], [upper, lower]))
    values = bend.singular_values(matrix)
    assert bend.manipulability(matrix) == pytest.approx(
        upper * lower * abs(np.sin(knee)), abs=1e-12
    )
    assert bend.manipulability(matrix) == pytest.approx(np.prod(values), abs=1e-12)
    assert values[0] >= values[1] >= 0
    with np.errstate(divide="ignore"):  # NumPy's own way to a determinant of zero
        determinant = np.linalg.det(matrix @ matrix.T)
    assert bend.manipulability(matrix) == pytest.approx(np.sqrt(max(determinant, 0)), abs=1e-7)


@pytest.mark.parametrize("degrees", range(0, 360, 15))
def test_straight_chain_loses_its_own_line(degrees):
    angle = np.radians(degrees)
    line = np.array([np.cos(angle), np.sin(angle)])
    for folded in (0, np.pi):
        matrix = bend.jacobian(planar_chain([angle, folded], [0.43, 0.4]))
        assert bend.rank(matrix) == 1
        lost = bend.lost_direction(matrix)
        assert abs(lost @ line) == pytest.approx(1, abs=1e-12)
        assert lost[np.argmax(np.abs(lost))] > 0
        np.testing.assert_allclose(lost @ matrix, 0, atol=1e-15)
        assert bend.manipulability(matrix) == pytest.approx(0, abs=1e-15)
    assert bend.rank(bend.jacobian(planar_chain([angle, 1e-6], [0.43, 0.4]))) == 2


def test_rank_counts_what_stands_above_the_tolerance():
    matrix = np.diag([1.0, 1e-4, 0.0])
    assert bend.rank(matrix) == 2
    assert bend.rank(matrix, tolerance=1e-3) == 1
    assert bend.rank(np.zeros((2, 3))) == 0
    assert bend.rank(np.stack([matrix, np.eye(3)])).tolist() == [2, 3]


def test_fewer_joints_than_directions_leave_directions_lost():
    matrix = bend.jacobian([[0, 0], [0, -1]])
    np.testing.assert_array_equal(bend.singular_values(matrix), [1, 0])
    assert bend.manipulability(matrix) == 0
    np.testing.assert_array_equal(bend.lost_direction(matrix), [0, 1])


def test_ball_jointed_straight_leg_loses_one_direction_and_a_hinged_leg_two():
    points = [[0, 1, 0], [0, 0.5, 0], [0, 0, 0]]
    assert bend.rank(bend.jacobian(points)) == 2
    np.testing.assert_allclose(bend.lost_direction(bend.jacobian(points)), [0, 1, 0], atol=1e-15)
    assert bend.rank(bend.jacobian(points, [[1, 0, 0], [1, 0, 0]])) == 1


# The first step of each method


def test_straight_leg_with_its_goal_on_its_line_gets_no_first_step():
    np.testing.assert_array_equal(bend.transpose_step(STRAIGHT, SHORTER), [0, 0])
    np.testing.assert_array_equal(bend.cyclic_turns(STRAIGHT, SHORTER), [0, 0])
    np.testing.assert_array_equal(bend.line_offsets(STRAIGHT, SHORTER), [0, 0, 0])
    assert bend.stalls(STRAIGHT, SHORTER)


@pytest.mark.parametrize("chain", [2, 3, 6])
def test_straight_chains_in_space_get_none_either(chain):
    rng = np.random.default_rng(3)
    points = np.zeros((chain + 1, 3))
    points[1:, 1] = -np.cumsum(rng.uniform(0.1, 1, chain))
    goal = [0, 0.9 * points[-1, 1], 0]
    for axes in (None, np.tile([1, 0, 0], (chain, 1)), np.tile([0.6, 0, 0.8], (chain, 1))):
        np.testing.assert_array_equal(bend.transpose_step(points, goal, axes), 0)
        np.testing.assert_array_equal(bend.cyclic_turns(points, goal, axes), 0)
        assert bend.stalls(points, goal, axes)
    np.testing.assert_array_equal(bend.line_offsets(points, goal), 0)


@pytest.mark.parametrize("angle", [1e-9, 1e-3, 0.1, -0.1])
def test_any_bend_gives_every_method_a_first_step(angle):
    leg = bend.preset_bend(STRAIGHT, angle)
    assert (bend.transpose_step(leg, SHORTER) != 0).any()
    assert (bend.cyclic_turns(leg, SHORTER) != 0).any()
    assert (bend.line_offsets(leg, SHORTER) > 0).any()
    assert not bend.stalls(leg, SHORTER)
    # forward is a clockwise knee in this view, and bending further is what shortens the leg
    assert np.sign(bend.cyclic_turns(leg, SHORTER)[1]) == -np.sign(angle)


def test_a_goal_off_the_line_or_a_goal_met_is_no_stall():
    assert not bend.stalls(STRAIGHT, [0.01, -0.8])
    assert not bend.stalls(STRAIGHT, STRAIGHT[-1])
    np.testing.assert_array_equal(
        bend.stalls(STRAIGHT, [SHORTER, [0.1, -0.8], STRAIGHT[-1]]), [True, False, False]
    )


def test_slanted_straight_legs_are_straight_to_rounding_only():
    angle = np.random.default_rng(4).uniform(0, 2 * np.pi, 500)
    line = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    points = np.stack([0 * line, 0.43 * line, 0.85 * line], axis=-2)
    assert bend.stalls(points, 0.8 * line, tolerance=1e-14).all()
    assert bend.stalls(points, 0.8 * line).mean() < 0.5
    np.testing.assert_allclose(bend.line_offsets(points, 0.8 * line), 0, atol=1e-15)


def test_transpose_step_is_the_transposed_jacobian_times_the_error():
    rng = np.random.default_rng(5)
    points, goal, axes = (
        rng.normal(size=(7, 4, 3)),
        rng.normal(size=(7, 3)),
        rng.normal(size=(7, 3, 3)),
    )
    for given_axes in (None, axes):
        matrix = bend.jacobian(points, given_axes)
        wanted = np.einsum("bdm,bd->bm", matrix, goal - points[:, -1])
        np.testing.assert_allclose(
            bend.transpose_step(points, goal, given_axes), wanted, atol=1e-13
        )


@pytest.mark.parametrize("hinged", [True, False])
def test_cyclic_turns_bring_the_end_nearest(hinged):
    rng = np.random.default_rng(6)
    points, goal, axes = rng.normal(size=(4, 3)), rng.normal(size=3), rng.normal(size=(3, 3))
    turns = bend.cyclic_turns(points, goal, axes if hinged else None)
    for joint, turn in enumerate(turns):
        arm, wanted = points[-1] - points[joint], goal - points[joint]
        if hinged:
            near = [
                np.linalg.norm(moved(points, axes, joint, turn + off)[-1] - goal)
                for off in (-1e-3, 0, 1e-3)
            ]
            assert near[1] < min(near[0], near[2])
        else:
            assert turn == pytest.approx(rotation.angle_between(arm, wanted), abs=1e-14)


def test_a_goal_right_behind_a_joint_asks_for_half_a_turn():
    np.testing.assert_allclose(
        np.abs(bend.cyclic_turns([[0, 0], [0, -1], [0, -2]], [0, -0.5])), [0, np.pi]
    )
    balls = bend.cyclic_turns([[0, 0, 0], [0, -1, 0], [0, -2, 0]], [0, -0.5, 0])
    np.testing.assert_allclose(balls, [0, np.pi])


def test_backward_forward_pass_by_hand():
    # end to goal (1, 1); knee from (1, 0), one below it: stays; root from (0, 0): stays; so all is
    # in place
    np.testing.assert_allclose(
        bend.fabrik_step([[0, 0], [1, 0], [2, 0]], [1, 1]), [[0, 0], [1, 0], [1, 1]]
    )
    passed = bend.fabrik_step(np.random.default_rng(7).normal(size=(9, 5, 3)), np.ones(3))
    assert passed.shape == (9, 5, 3)


def test_backward_forward_pass_keeps_bones_and_root_and_survives_a_goal_on_a_joint():
    points = np.array([[0, 0], [0, -0.5], [0, -1.0]])
    passed = bend.fabrik_step(points, [0, -0.5])
    np.testing.assert_array_equal(passed[0], points[0])
    np.testing.assert_allclose(np.linalg.norm(np.diff(passed, axis=0), axis=-1), 0.5)


# The preset bend


@quick
@given(length, length, st.floats(-3, 3), st.floats(0, 6.28), st.booleans())
def test_preset_bend_measured_is_the_bend_given(upper, lower, angle, lean, space):
    line, ahead = np.array([np.sin(lean), -np.cos(lean)]), np.array([np.cos(lean), np.sin(lean)])
    points = np.array([0 * line, upper * line, (upper + lower) * line])
    if space:
        points, ahead = points @ [[0, 0, 1], [0, 1, 0]], ahead @ [[0, 0, 1], [0, 1, 0]]
    bent = bend.preset_bend(points, angle, ahead)
    measured = bend.measure_bend(bent, ahead)
    assert measured.angle == pytest.approx(angle, abs=1e-12)
    np.testing.assert_allclose(
        np.linalg.norm(np.diff(bent, axis=0), axis=-1), [upper, lower], atol=1e-12
    )
    reach = np.linalg.norm(bent[2] - bent[0])
    assert measured.cost == pytest.approx(1 - reach / (upper + lower), abs=1e-12)
    np.testing.assert_allclose(bent[0], points[0], atol=0)
    assert bend.bend_for_cost(bend.reach_cost(angle, upper, lower), upper, lower) == pytest.approx(
        abs(angle), abs=1e-6
    )


@pytest.mark.parametrize("angle", [1e-12, 1e-9, -1e-9, 1e-6])
def test_smallest_bends_are_measured_exactly(angle):
    measured = bend.measure_bend(bend.preset_bend(STRAIGHT, angle))
    assert measured.angle == pytest.approx(angle, rel=1e-3)
    assert bend.reach_cost(angle, 0.43, 0.43) == pytest.approx(angle**2 / 8, rel=1e-6)


def test_forward_is_x_from_the_side_and_z_in_space():
    assert bend.preset_bend(STRAIGHT, 0.1)[1, 0] > 0
    in_space = bend.preset_bend([[0, 1, 0], [0, 0.5, 0], [0, 0, 0]], 0.1)
    assert in_space[1, 2] > 0
    assert bend.measure_bend(in_space).angle > 0
    assert bend.measure_bend(in_space, [0, 0, -1]).angle < 0
    heron = bend.preset_bend(STRAIGHT, -0.1)
    assert heron[1, 0] < 0
    assert bend.measure_bend(heron).angle == pytest.approx(-0.1)


def test_preset_bend_batch_equals_loop():
    angles = np.radians([[0.0, 1, -2], [5, 20, 180]])
    bent = bend.preset_bend(STRAIGHT, angles)
    measured = bend.measure_bend(bent)
    assert bent.shape == (2, 3, 3, 2)
    for i in np.ndindex(2, 3):
        np.testing.assert_array_equal(bent[i], bend.preset_bend(STRAIGHT, angles[i]))
        one = bend.measure_bend(bent[i])
        assert one.angle == measured.angle[i]
        assert one.cost == measured.cost[i]


def test_whole_numbers_equal_decimals():
    whole = [[0, 0], [0, -1], [1, -2]]
    decimal = np.array(whole, dtype=float)
    for of in (
        bend.jacobian,
        bend.measure_bend,
        lambda p: bend.preset_bend(p, 1),
        lambda p: bend.cyclic_turns(p, [1, 0]),
        lambda p: bend.fabrik_step(p, [1, 0]),
    ):
        a, b = of(whole), of(decimal)
        np.testing.assert_array_equal(getattr(a, "angle", a), getattr(b, "angle", b))


def test_steps_batch_equals_loop():
    rng = np.random.default_rng(8)
    points, goals = rng.normal(size=(3, 1, 4, 3)), rng.normal(size=(5, 3))
    for of in (
        bend.transpose_step,
        bend.cyclic_turns,
        bend.line_offsets,
        bend.fabrik_step,
        bend.stalls,
    ):
        batch = of(points, goals)
        assert batch.shape[:2] == (3, 5)
        for i, j in np.ndindex(3, 5):
            np.testing.assert_allclose(batch[i, j], of(points[i, 0], goals[j]), atol=1e-15)


# Bad input


@pytest.mark.parametrize(
    ("call", "name"),
    [
        (lambda: bend.jacobian([[0, 0]]), "points"),
        (lambda: bend.jacobian([[0, 0, 0, 0], [1, 1, 1, 1]]), "points"),
        (lambda: bend.jacobian("leg"), "points"),
        (lambda: bend.jacobian([[0, 0], [0, np.nan]]), "points"),
        (lambda: bend.jacobian(STRAIGHT, [[0, 0, 1], [0, 0, 1]]), "axes"),
        (lambda: bend.jacobian(np.zeros((3, 3)), [[0, 0, 1]]), "axes"),
        (lambda: bend.jacobian(np.zeros((3, 3)), np.zeros((2, 3))), "axes"),
        (lambda: bend.singular_values([1, 2]), "matrix"),
        (lambda: bend.rank(np.eye(2), tolerance=0), "tolerance"),
        (lambda: bend.transpose_step(STRAIGHT, [0, 0, 0]), "goal"),
        (lambda: bend.line_offsets(STRAIGHT, [0, 0]), "goal"),
        (lambda: bend.preset_bend(STRAIGHT[:2], 0.1), "points"),
        (lambda: bend.preset_bend([[0, 0], [0, -1], [0, 0]], 0.1), "points"),
        (lambda: bend.preset_bend([[0, 0], [0, 0], [0, -1]], 0.1), "points"),
        (lambda: bend.preset_bend(STRAIGHT, 0.1, [0, 1]), "forward"),
        (lambda: bend.preset_bend(STRAIGHT, np.inf), "angle"),
        (lambda: bend.measure_bend(STRAIGHT, [0, 0]), "forward"),
        (lambda: bend.reach_cost(0.1, 0, 1), "upper"),
        (lambda: bend.bend_for_cost(0.9, 1, 0.2), "cost"),
        (lambda: bend.bend_for_cost(-0.1, 1, 1), "cost"),
    ],
)
def test_bad_input_is_named(call, name):
    with pytest.raises(ValueError, match=f"`{name}`"):
        call()


def test_a_direction_that_is_nearly_along_the_leg_still_gives_the_knee_its_side():
    for side in (1, -1):
        leg = bend.preset_bend(STRAIGHT, 0.1, forward=[side * 1e-5, -1])
        assert side * leg[1, 0] > 0.01


def test_a_cost_a_millionth_more_than_folding_is_refused():
    assert bend.bend_for_cost(0.75, 0.5, 0.3) == pytest.approx(np.pi, abs=1e-6)
    with pytest.raises(ValueError, match="`cost`"):
        bend.bend_for_cost(0.75 + 1e-6, 0.5, 0.3)
