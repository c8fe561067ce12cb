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


def scipys_answer(points):
    found = least_squares(
        lambda angles: planar_chain(angles, [1, 1])[-1] - GOAL, turns(points), method="lm"
    )
    return found, knee_deg(planar_chain(found.x, [1, 1]))


def test_the_exact_knee():
    assert np.degrees(two_bone.solve_planar([0, -1.9], 1, 1).knee) == pytest.approx(
        EXACT_DEG, abs=5e-6
    )


def test_straight_stalls_scipy_and_every_solver():
    # scipy.optimize.least_squares, method "lm": stops at once, 0.1 short
    found, knee = scipys_answer(start(0.0))
    assert np.linalg.norm(found.fun) == pytest.approx(0.1)
    assert knee == 0
    for solve in solvers.SOLVERS.values():
        ours = solve(start(0.0), GOAL, max_iterations=5000)
        assert ours.stalled
        assert knee_deg(ours.points) == 0
        assert ours.miss == pytest.approx(0.1)


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
