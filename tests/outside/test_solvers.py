"""The iterative solvers near straight, against scipy and against figures computed with other code.

Legs 1 and 1, the goal at 1.9 on the leg's own line, so the exact knee is 36.38974° (law of
cosines).
"""

import modern_robotics as mr
import numpy as np
import pytest
from scipy.optimize import least_squares

from rigkit import bend, solvers, two_bone
from rigkit.skeleton import planar_chain

GOAL, EXACT_DEG = np.array([1.9, 0.0]), 36.38974
FRONT = (0, 1)  # the side a positive bend is on


def start(bend_deg):
    return bend.preset_bend([[0, 0], [1, 0], [2, 0]], np.radians(bend_deg), FRONT)


def knee_deg(points):
    return np.degrees(bend.measure_bend(points, FRONT).angle)


def turns(points):
    """The two hinge angles of a flat chain."""
    hip, heading = np.arctan2(*np.diff(points, axis=0)[:, ::-1].T)
    return np.array([hip, heading - hip])


def slopes(angles):
    """The exact Jacobian of the flat leg, written out by hand."""
    hip, both = angles[0], angles.sum()
    return np.array(
        [
            [-np.sin(hip) - np.sin(both), -np.sin(both)],
            [np.cos(hip) + np.cos(both), np.cos(both)],
        ]
    )


def scipys_answer(points, jac=slopes, tolerance=1e-15, method="lm", **options):
    found = least_squares(
        lambda angles: planar_chain(angles, [1, 1])[-1] - GOAL,
        turns(points),
        jac,
        method=method,
        **dict.fromkeys(("ftol", "xtol", "gtol"), tolerance),
        **options,
    )
    return found, knee_deg(planar_chain(found.x, [1, 1]))


def test_the_exact_knee():
    assert np.degrees(two_bone.solve_planar([0, -1.9], 1, 1).knee) == pytest.approx(
        EXACT_DEG, abs=5e-6
    )


@pytest.mark.parametrize("method", ["lm", "trf", "dogbox"])
@pytest.mark.parametrize("tolerance", [1e-8, 1e-15])
def test_straight_stalls_scipy_at_any_tolerance(method, tolerance):
    # With the exact Jacobian the slope is exactly zero: it stops at once, 0.1 short.
    found, knee = scipys_answer(start(0.0), tolerance=tolerance, method=method)
    assert found.nfev == 1
    assert np.linalg.norm(found.fun) == pytest.approx(0.1)
    assert knee == 0


def test_straight_stalls_every_solver():
    for solve in solvers.SOLVERS.values():
        ours = solve(start(0.0), GOAL, max_iterations=5000)
        assert ours.stalled
        assert knee_deg(ours.points) == 0
        assert ours.miss == pytest.approx(0.1)


def test_slopes_estimated_by_trial_turns_free_a_straight_leg_if_the_tolerance_is_fine():
    coarse, knee = scipys_answer(start(0.0), "2-point", 1e-8)
    assert (coarse.nfev, knee) == (1, 0)
    fine, knee = scipys_answer(start(0.0), "2-point", 1e-15)
    assert np.linalg.norm(fine.fun) < 1e-9
    assert abs(knee) == pytest.approx(EXACT_DEG, abs=1e-4)  # its side is rounding's


def test_a_coarse_tolerance_takes_a_bend_of_a_millionth_of_a_degree_for_straight():
    coarse, _ = scipys_answer(start(1e-6), tolerance=1e-8)
    assert coarse.success  # so it says
    assert np.linalg.norm(coarse.fun) == pytest.approx(0.1)
    fine, knee = scipys_answer(start(1e-6))
    assert np.linalg.norm(fine.fun) < 1e-9
    assert knee == pytest.approx(EXACT_DEG, abs=1e-4)


@pytest.mark.parametrize("method", ["trf", "dogbox"])
def test_a_limit_at_zero_frees_no_knee_and_one_of_a_degree_does(method):
    for low_deg, miss in ((0.0, 0.1), (1.0, 0.0)):
        limits = [-3, np.radians(low_deg)], [3, 2.6]
        begin = planar_chain([0, np.radians(low_deg)], [1, 1])
        found, knee = scipys_answer(begin, tolerance=1e-12, method=method, bounds=limits)
        assert np.linalg.norm(found.fun) == pytest.approx(miss, abs=1e-9)
        side = np.sign(knee_deg(begin))  # of the limit
        assert knee == pytest.approx(0 if miss else side * EXACT_DEG, abs=1e-4)


def test_restarts_from_random_poses_reach_the_goal_and_bend_half_of_the_legs_backward():
    # A pose and its mirror image are equally likely, and end on opposite sides.
    poses = np.random.default_rng(1).uniform(-np.pi, np.pi, (100, 2))
    ends = [[scipys_answer(planar_chain(p, [1, 1])) for p in (pose, -pose)] for pose in poses]
    assert max(np.linalg.norm(found.fun) for pair in ends for found, _ in pair) < 1e-9
    knees = np.array([[knee for _, knee in pair] for pair in ends])
    assert np.abs(knees) == pytest.approx(EXACT_DEG, abs=1e-4)
    assert (np.sign(knees[:, 0]) == -np.sign(knees[:, 1])).all()


@pytest.mark.parametrize("bend_deg", [0.1, 1, 5, -5, 10, 30])
def test_from_a_bend_scipy_and_every_solver_end_on_the_bends_side(bend_deg):
    found, knee = scipys_answer(start(bend_deg))
    assert np.linalg.norm(found.fun) < 1e-9
    assert knee == pytest.approx(np.sign(bend_deg) * EXACT_DEG, abs=1e-4)
    for name, solve in solvers.SOLVERS.items():
        ours = solve(start(bend_deg), GOAL, max_iterations=5000, tolerance=1e-9)
        assert ours.reached, name
        if name != "Jacobian transpose":  # which may leap across
            assert knee_deg(ours.points) == pytest.approx(knee, abs=1e-4), name
        assert abs(knee_deg(ours.points)) == pytest.approx(abs(knee), abs=1e-4), name


# The same start and goal, computed with other code than ours: damped steps with λ = 0.1 and FABRIK
# passes until the miss is below 1e-6, and the knee's first undamped (pseudoinverse) step in
# degrees.
@pytest.mark.parametrize(
    ("bend_deg", "damped", "passes", "undamped_deg"),
    [(0.1, 9, 55, 6566), (1, 7, 44, 656), (5, 6, 36, 129), (10, 6, 33, 60.7), (30, 5, 25, 7.1)],
)
def test_steps_from_a_small_bend(bend_deg, damped, passes, undamped_deg):
    points = start(bend_deg)
    ours = solvers.damped_least_squares(
        points, GOAL, damping=0.1 / 2
    )  # a share of the chain's length, 2
    assert ours.reached
    assert ours.steps == damped
    assert solvers.fabrik(points, GOAL).steps == passes
    first = np.linalg.pinv(bend.jacobian(points)) @ (GOAL - points[-1])
    assert abs(np.degrees(first[1])) == pytest.approx(
        undamped_deg, rel=2e-3 if bend_deg < 30 else 1e-2
    )


def test_hinged_leg_ends_where_modern_robotics_ends():
    # modern_robotics IKinSpace on the same leg: a hip that flexes about x, a knee about x, in the
    # plane x = 0. It takes whole end frames, so the closed form's frame is its goal.
    screws = np.array([[1, 0, 0, 0, 0, 0], [1, 0, 0, 0, 0, 0.43]], dtype=float).T
    home = np.eye(4)
    home[1, 3] = -0.85
    rest = bend.preset_bend([[0, 0, 0], [0, -0.43, 0], [0, -0.85, 0]], np.radians(10))
    axes = np.tile([1.0, 0.0, 0.0], (2, 1))
    begin = np.array([-np.arctan2(rest[1, 2], -rest[1, 1]), np.radians(10)])
    for forward, up in ((0.0, -0.75), (0.2, -0.7), (-0.1, -0.6)):
        leg = two_bone.solve_planar([forward, up], 0.43, 0.42)
        goal = mr.FKinSpace(home, screws, np.array([-leg.hip, leg.knee]))
        angles, success = mr.IKinSpace(screws, home, goal, begin, 1e-6, 1e-10)
        assert success
        ours = solvers.damped_least_squares(rest, goal[:3, 3], axes=axes, tolerance=1e-10)
        assert ours.reached
        assert bend.measure_bend(ours.points).angle == pytest.approx(angles[1], abs=1e-7)
        knee = mr.FKinSpace(
            np.array([[1, 0, 0, 0], [0, 1, 0, -0.43], [0, 0, 1, 0], [0, 0, 0, 1.0]]),
            screws[:, :1],
            angles[:1],
        )
        np.testing.assert_allclose(ours.points[1], knee[:3, 3], atol=1e-7)
