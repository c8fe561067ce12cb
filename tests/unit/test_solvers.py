import numpy as np
import pytest

from rigkit import bend, rotation, solvers, two_bone

STRAIGHT = np.array([[0.0, 0.0], [0.0, -0.43], [0.0, -0.85]])
SHORTER = np.array([0.0, -0.8])
every = pytest.mark.parametrize("solve", solvers.SOLVERS.values(), ids=solvers.SOLVERS)
hinge_solvers = [name for name in solvers.SOLVERS if name != "backward-forward"]


def bone_lengths(points):
    return np.linalg.norm(np.diff(points, axis=-2), axis=-1)


def chains(count, joints, size, seed=0):
    """Crooked chains, with goals that are well within reach."""
    rng = np.random.default_rng(seed)
    points = np.cumsum(rng.normal(size=(count, joints + 1, size)), axis=1)
    length = bone_lengths(points).sum(axis=-1, keepdims=True)
    line = rng.normal(size=(count, size))
    goal = points[:, 0] + 0.6 * length * line / np.linalg.norm(line, axis=-1, keepdims=True)
    return points, goal


@every
@pytest.mark.parametrize("size", [2, 3])
@pytest.mark.parametrize("joints", [2, 3, 7])
def test_goals_in_reach_are_reached_with_bones_kept(solve, size, joints):
    points, goal = chains(30, joints, size)
    longest = 2 * bone_lengths(points).max(axis=-1) - bone_lengths(points).sum(axis=-1)
    inside = np.linalg.norm(goal - points[:, 0], axis=-1) > longest
    found = solve(points, goal, max_iterations=1000)
    assert inside.sum() > 15
    assert found.reached[inside].mean() > 0.85
    np.testing.assert_array_equal(found.reached, found.miss <= 1e-6)
    np.testing.assert_allclose(
        found.miss, np.linalg.norm(found.points[:, -1] - goal, axis=-1), rtol=0, atol=1e-14
    )
    np.testing.assert_allclose(bone_lengths(found.points), bone_lengths(points), rtol=0, atol=1e-9)
    np.testing.assert_array_equal(found.points[:, 0], points[:, 0])


@every
def test_planar_leg_agrees_with_the_closed_form(solve):
    rng = np.random.default_rng(1)
    goal = np.stack([rng.uniform(-0.3, 0.3, 40), rng.uniform(-0.7, -0.4, 40)], axis=-1)
    found = solve(bend.preset_bend(STRAIGHT, np.radians(20)), goal, max_iterations=5000)
    assert found.reached.all()
    for side in (1, -1):
        ours = (
            bend.measure_bend(found.points, np.stack([-goal[:, 1], goal[:, 0]], axis=-1)).angle
            * side
            > 0
        )
        leg = two_bone.solve_planar(goal, 0.43, 0.42, side)
        wanted = two_bone.planar_points(leg.hip, leg.knee, 0.43, 0.42)
        np.testing.assert_allclose(found.points[ours], wanted[ours], atol=1e-4)


@every
@pytest.mark.parametrize("dtype", [np.float64, np.float32])
def test_straight_leg_with_its_goal_on_its_line_stalls_without_moving_a_digit(solve, dtype):
    found = solve(STRAIGHT, SHORTER, trace=True, dtype=dtype)
    assert found.stalled
    assert not found.reached
    assert found.miss == pytest.approx(0.05, abs=1e-7)
    if (
        solve is solvers.fabrik
    ):  # the passes may round a last digit along the line, before they too stand still
        np.testing.assert_array_equal(found.trace[..., 0], 0)
        np.testing.assert_allclose(found.points, STRAIGHT, rtol=0, atol=1e-7)
        assert found.steps <= 2
    else:
        np.testing.assert_array_equal(found.points, STRAIGHT.astype(dtype))
        assert found.steps == 1


@every
@pytest.mark.parametrize("bend_deg", [0.001, 1.0, 10.0])
@pytest.mark.parametrize("side", [1, -1])
def test_the_sign_of_the_preset_bend_decides_the_side(solve, bend_deg, side):
    found = solve(
        bend.preset_bend(STRAIGHT, side * np.radians(bend_deg)), SHORTER, max_iterations=5000
    )
    assert found.reached
    assert not found.stalled
    exact = two_bone.solve_planar(SHORTER, 0.43, 0.42, side).knee
    # the turn's sign is the preset's; with Jacobian transposed steps it may leap over, so only its
    # size is asked there
    angle = bend.measure_bend(found.points).angle
    if solve is solvers.jacobian_transpose:
        angle, exact = abs(angle), abs(exact)
    assert angle == pytest.approx(exact, abs=1e-4)


@every
def test_a_goal_too_far_ends_with_its_miss_and_is_no_stall(solve):
    found = solve(bend.preset_bend(STRAIGHT, 0.3), [0.6, -0.8], max_iterations=400)
    assert not found.reached
    assert not found.stalled
    assert found.miss == pytest.approx(1 - 0.85, abs=1e-3)
    np.testing.assert_allclose(bone_lengths(found.points), [0.43, 0.42], atol=1e-9)


@every
def test_a_goal_too_near_ends_with_its_miss(solve):
    found = solve(
        bend.preset_bend([[0, 0], [0, -0.6], [0, -0.8]], 1.0), [0.0, -0.1], max_iterations=400
    )
    assert not found.reached
    assert found.miss == pytest.approx(0.3, abs=0.05)


@every
def test_a_goal_already_met_takes_no_step(solve):
    found = solve(STRAIGHT, STRAIGHT[-1])
    assert found.reached
    assert found.steps == 0
    np.testing.assert_array_equal(found.points, STRAIGHT)


@every
@pytest.mark.parametrize("size", [2, 3])
def test_batch_equals_loop(solve, size):
    points, goal = chains(12, 3, size, seed=2)
    points, goal = points.reshape(3, 4, 4, size), goal.reshape(3, 4, size)
    batch = solve(points, goal, max_iterations=60, trace=True)
    assert batch.points.shape == points.shape
    assert batch.trace.shape[1:] == points.shape
    for i in np.ndindex(3, 4):
        one = solve(points[i], goal[i], max_iterations=60, trace=True)
        assert one.steps == batch.steps[i]
        assert one.reached == batch.reached[i]
        np.testing.assert_allclose(one.points, batch.points[i], atol=1e-12)
        np.testing.assert_allclose(one.trace, batch.trace[(slice(one.steps + 1), *i)], atol=1e-12)


@every
def test_starts_and_goals_broadcast(solve):
    starts = bend.preset_bend(STRAIGHT, np.radians([1.0, 5, 10]))[:, None]
    goals = np.array([[0.0, -0.7], [0.1, -0.7], [0.1, -0.6], [0.0, -2.0]])
    found = solve(starts, goals, max_iterations=1000)
    assert found.points.shape == (3, 4, 3, 2)
    assert found.miss.shape == found.steps.shape == found.stalled.shape == (3, 4)
    assert found.reached[:, :3].all()
    assert not found.reached[:, 3].any()


@every
def test_trace_runs_from_start_to_end_and_done_chains_stay(solve):
    starts = bend.preset_bend(STRAIGHT, np.radians([5.0, 0.0, 90]))
    found = solve(starts, [SHORTER, SHORTER, starts[2, 2]], trace=True)
    np.testing.assert_array_equal(found.trace[0], starts)
    np.testing.assert_array_equal(found.trace[-1], found.points)
    assert len(found.trace) == found.steps.max() + 1
    np.testing.assert_array_equal(
        found.trace[:, 2], np.broadcast_to(starts[2], (len(found.trace), 3, 2))
    )
    assert found.steps[1:].tolist() == [1, 0]
    assert found.stalled.tolist() == [False, True, False]
    assert solve(starts, SHORTER).trace is None


@every
def test_most_steps_is_kept_to(solve):
    found = solve(bend.preset_bend(STRAIGHT, 0.01), SHORTER, max_iterations=2, tolerance=1e-12)
    assert found.steps == 2
    assert not found.reached
    assert not found.stalled


@every
def test_single_precision_runs_in_single_precision(solve):
    points, goal = chains(20, 2, 2, seed=3)
    found = solve(points, goal, dtype=np.float32, max_iterations=50, trace=True, tolerance=1e-4)
    assert found.points.dtype == found.miss.dtype == found.trace.dtype == np.float32
    np.testing.assert_allclose(bone_lengths(found.points), bone_lengths(points), rtol=1e-5)


@every
def test_whole_numbers_equal_decimals(solve):
    whole, decimal = (
        solve([[0, 0], [1, -4], [0, -7]], [2, -5]),
        solve([[0.0, 0], [1, -4], [0, -7]], [2.0, -5.0]),
    )
    np.testing.assert_array_equal(whole.points, decimal.points)
    assert whole.steps == decimal.steps


@pytest.mark.parametrize("name", hinge_solvers)
def test_hinges_turn_about_their_axes_only_and_carry_those_below(name):
    rng = np.random.default_rng(4)
    points = np.array([[0.0, 1, 0], [0, 0.55, 0.05], [0, 0.1, 0]])
    axes = np.tile([1.0, 0.2, 0.0], (2, 1))
    # goals in the plane through the ankle square to the axes, which is where the end stays
    unit = axes[0] / np.linalg.norm(axes[0])
    goal = np.array([0.0, 0.5, 0.0]) + rng.normal(scale=0.1, size=(20, 3))
    goal += ((points[2] - goal) @ unit)[:, None] * unit
    found = solvers.SOLVERS[name](points, goal, axes=axes, max_iterations=3000)
    assert found.reached.all()
    np.testing.assert_allclose(
        found.points @ unit, np.broadcast_to(points @ unit, (20, 3)), atol=1e-12
    )
    off_plane = solvers.SOLVERS[name](points, goal + 0.1 * unit, axes=axes, max_iterations=100)
    assert off_plane.miss.min() >= 0.1 - 1e-9  # no hinge turns the end out of its plane


@pytest.mark.parametrize("name", hinge_solvers)
def test_a_twisted_hinge_keeps_its_angle_to_the_bone(name):
    # hip about y, knee about x: the knee's axis turns with the hip, so the two bones' lengths and
    # the square angle between knee axis and both bones hold
    points = np.array([[0.0, 1, 0], [0, 0.9, 0.4], [0, 0.6, 0.7]])
    axes = np.array([[0.0, 1, 0], [1, 0, 0]])
    # reachable by construction: hip turned by 0.7 about y, then the knee by 0.5 about its axis
    turn = 0.7
    knee = points[1] + rotation.matrix_about("x", 0.5) @ (points[2] - points[1])
    hip = rotation.matrix_about("y", turn)
    goal = points[0] + hip @ (knee - points[0])
    found = solvers.SOLVERS[name](points, goal, axes=axes, max_iterations=5000, tolerance=1e-9)
    assert found.reached
    np.testing.assert_allclose(
        found.points[1], points[0] + hip @ (points[1] - points[0]), atol=1e-6
    )


def test_flat_chain_is_the_same_in_space():
    points, goal = chains(10, 3, 2, seed=5)
    space, far = (
        np.concatenate([a, np.zeros((*a.shape[:-1], 1))], axis=-1) for a in (points, goal)
    )
    for name in hinge_solvers:
        flat = solvers.SOLVERS[name](points, goal, max_iterations=50)
        hinged = solvers.SOLVERS[name](
            space, far, axes=np.tile([0, 0, 1], (3, 1)), max_iterations=50
        )
        np.testing.assert_allclose(hinged.points[..., :2], flat.points, atol=1e-12)
        np.testing.assert_allclose(hinged.points[..., 2], 0, atol=1e-12)


def test_slanted_straight_legs_are_left_to_rounding():
    # Their points are rounded, so they are bent by some 1e-16; who moves at all moves to a side
    # that rounding chose.
    angle = np.random.default_rng(6).uniform(0, 2 * np.pi, 600)
    line, ahead = (
        np.stack([np.cos(angle), np.sin(angle)], axis=-1),
        np.stack([-np.sin(angle), np.cos(angle)], axis=-1),
    )
    points = np.stack([0 * line, 0.43 * line, 0.85 * line], axis=-2)
    found = solvers.damped_least_squares(points, 0.8 * line)
    assert 0.1 < found.reached.mean() < 0.95
    front = bend.measure_bend(found.points[found.reached], ahead[found.reached]).angle > 0
    assert 0.4 < front.mean() < 0.6


def test_passes_with_the_knee_on_the_line_to_the_goal_stall_although_the_leg_is_bent():
    bent = [[0, 0], [0, -0.43], [0.1, -0.83]]
    assert solvers.fabrik(bent, SHORTER).stalled


def test_too_far_a_goal_straightens_the_passes_at_once():
    found = solvers.fabrik(
        [[[0, 0], [1, 0], [1, 1]], [[0, 0], [1, 0], [1, 1]]],
        [[3, 4], [0.6, 0.8]],
        max_iterations=300,
    )
    np.testing.assert_allclose(found.points[0], [[0, 0], [0.6, 0.8], [1.2, 1.6]], atol=1e-15)
    assert found.miss[0] == pytest.approx(3)
    assert found.reached[1]


# Bad input


@every
@pytest.mark.parametrize(
    ("name", "bad"),
    [
        ("points", [[0, 0]]),
        ("points", [[0, 0], [0, np.nan]]),
        ("points", [[0, 0], [0, 0], [0, -1]]),
        ("points", "leg"),
        ("points", []),
        ("goal", [0, 0, 0]),
        ("goal", [np.inf, 0]),
        ("goal", "down"),
        ("tolerance", 0),
        ("tolerance", -1),
        ("tolerance", [1e-3, 1e-4]),
        ("max_iterations", 0),
        ("max_iterations", 1.5),
        ("dtype", int),
        ("dtype", "long"),
        ("axes", [[0, 0, 1]]),
    ],
)
def test_bad_input_is_named(solve, name, bad):
    with pytest.raises(ValueError, match=f"`{name}`"):
        solve(**{"points": STRAIGHT, "goal": SHORTER, name: bad})


def test_passes_refuse_hinges_and_damping_must_be_above_zero():
    with pytest.raises(ValueError, match="`axes`"):
        solvers.fabrik(np.eye(3), [0, 0, 0.5], axes=np.eye(3)[:2])
    with pytest.raises(ValueError, match="`damping`"):
        solvers.damped_least_squares(STRAIGHT, SHORTER, damping=0)


# The first step, from what its formula makes least


def first_turns(solve, points, goal, **more):
    """The turns of a flat chain's joints in one step."""
    bones = np.diff(solve(points, goal, max_iterations=1, trace=True, **more).trace, axis=1)
    headings = np.unwrap(np.arctan2(bones[..., 1], bones[..., 0]), axis=0)
    return np.diff(headings[1] - headings[0], prepend=0.0)


def test_the_damped_step_makes_the_error_left_and_the_damped_turns_least():
    points, goal = bend.preset_bend(STRAIGHT, 0.4), np.array([0.05, -0.7])
    matrix, damped = bend.jacobian(points), 0.1 * 0.85 * np.eye(2)
    error = np.append(goal - points[-1], [0.0, 0.0])
    least = np.linalg.lstsq(np.vstack([matrix, damped]), error)[0]
    turns = first_turns(solvers.damped_least_squares, points, goal, damping=0.1)
    np.testing.assert_allclose(turns, least, atol=1e-12)


def test_the_transposed_step_is_as_long_as_leaves_the_least_error_along_its_line():
    points, goal = bend.preset_bend(STRAIGHT, 0.4), np.array([0.05, -0.7])
    turns = bend.transpose_step(points, goal)
    moved = bend.jacobian(points) @ turns
    size = np.linalg.lstsq(moved[:, None], goal - points[-1])[0]
    found = first_turns(solvers.jacobian_transpose, points, goal)
    np.testing.assert_allclose(found, size * turns, atol=1e-12)
