"""The closed form, Jacobians and bends against worked examples and two robotics libraries.

Derived values are worked out from the law of cosines by hand and stated with it; a library's values
were computed with the library named. mujoco, modern_robotics and scipy are run here.
"""

import modern_robotics as mr
import mujoco
import numpy as np
import pytest
from scipy.integrate import solve_ivp
from scipy.spatial.transform import Rotation

from rigkit import bend, two_bone
from rigkit.skeleton import planar_chain


def arm(x, y, upper, lower, bend=1):
    """Textbook angles (from the x axis; from the bone before; anticlockwise) of the leg whose ankle
    is at (x, y).

    Turned by a quarter so that hanging is along x, an arm's shoulder angle is hip flexion and its
    elbow turn is minus the knee's flexion.
    """
    leg = two_bone.solve_planar([y, -x], upper, lower, bend)
    assert leg.reached
    return np.degrees([leg.hip, -leg.knee])


# Worked examples


def test_lynch_and_park_exercise_6_1():
    # K. Lynch, F. Park, Modern Robotics (Cambridge 2017), exercise 6.1: planar 3R, lengths 3, 2, 1,
    # tip at (4, 2) with angle 0, so the wrist is at (3, 2) and r² = 13 = 3² + 2². The answers are
    # derived from that.
    for side, wanted in ((-1, [0, 90, -90]), (1, [67.38014, -90, 22.61986])):
        shoulder, elbow = arm(3, 2, 3, 2, side)
        np.testing.assert_allclose([shoulder, elbow, -shoulder - elbow], wanted, atol=5e-6)


def test_unit_legs_at_1_2_and_0_9():
    # A teaching script's case; cos of the elbow is (1.44 + 0.81 − 2) / 2 = 0.125 exactly. Derived.
    np.testing.assert_allclose(arm(1.2, 0.9, 1, 1, -1), [-4.53972, 82.81924], atol=5e-6)
    np.testing.assert_allclose(arm(1.2, 0.9, 1, 1, 1), [78.27952, -82.81924], atol=5e-6)
    assert np.cos(two_bone.solve_planar([0.9, -1.2], 1, 1).knee) == pytest.approx(0.125, abs=1e-15)


@pytest.mark.parametrize(
    ("upper", "lower", "distance", "bend_deg", "thigh_deg", "centre", "radius"),
    [
        (4, 3, 5, 90, 36.8699, 3.2, 2.4),
        (1, 1, 1.6, 73.73980, 36.86990, 0.8, 0.6),
        (0.245, 0.246, 0.48, 24.30179, 12.17602, 0.23948854, 0.05167435),
    ],
)
def test_swivel_circle(upper, lower, distance, bend_deg, thigh_deg, centre, radius):
    # Circle of the knee: D. Tolani, A. Goswami, N. Badler, Graphical Models 62:353–388, 2000 (from
    # memory); the numbers are derived from it by the law of cosines.
    for swivel in np.linspace(-3, 3, 7):
        pose = two_bone.solve([0, 0, 0], [0, -distance, 0], upper, lower, [0, 0, 1], swivel=swivel)
        assert np.degrees(pose.flexion) == pytest.approx(bend_deg, abs=5e-6)
        assert -pose.knee[1] == pytest.approx(centre, abs=5e-9)
        assert np.hypot(pose.knee[0], pose.knee[2]) == pytest.approx(radius, abs=5e-9)
        assert np.degrees(np.arctan2(radius, centre)) == pytest.approx(thigh_deg, abs=5e-5)
        # knee = centre + radius (cos φ u + sin φ (n × u)), u = +z, n = −y
        np.testing.assert_allclose(
            pose.knee[[0, 2]], radius * np.array([-np.sin(swivel), np.cos(swivel)]), atol=5e-9
        )


def test_hanging_leg_of_ikpy():
    # Computed with ikpy 4.2.1: legs 0.43 and 0.43, target 0.1 forward and 0.8 down: knee
    # −40.73754°, hip 27.4938°.
    leg = two_bone.solve_planar([0.1, -0.8], 0.43, 0.43)
    assert np.degrees(leg.knee) == pytest.approx(40.73754, abs=5e-6)
    assert np.degrees(leg.hip) == pytest.approx(27.4938, abs=5e-5)


@pytest.mark.parametrize(
    ("angles", "tip", "free"),
    [
        ([0.3, 0.2], [1.83291905, 0.77494575], 0.19866933),
        ([0, np.pi / 2], [1, 1], 1),
        ([0, 0], [2, 0], 0),
    ],
)
def test_two_unit_links_of_roboticstoolbox(angles, tip, free):
    # Computed with roboticstoolbox 1.5.0, model Planar2: tip and manipulability.
    points = planar_chain(angles, [1, 1])
    np.testing.assert_allclose(points[-1], tip, atol=5e-9)
    assert bend.manipulability(bend.jacobian(points)) == pytest.approx(free, abs=5e-9)


def test_singular_values_of_two_unit_links():
    # A worked exercise: (1 ± √5)/2 at a right angle; √5 and 0 when straight, lost direction (1, 0)
    # along the limb, turns that move nothing (−1, 2)/√5.
    square = bend.jacobian(planar_chain([0, np.pi / 2], [1, 1]))
    np.testing.assert_allclose(
        bend.singular_values(square), [(np.sqrt(5) + 1) / 2, (np.sqrt(5) - 1) / 2], atol=1e-15
    )
    straight = bend.jacobian(planar_chain([0, 0], [1, 1]))
    np.testing.assert_allclose(bend.singular_values(straight), [np.sqrt(5), 0], atol=1e-15)
    np.testing.assert_allclose(np.abs(bend.lost_direction(straight)), [1, 0], atol=1e-15)
    np.testing.assert_array_equal(straight @ [-1, 2], [0, 0])
    assert bend.rank(square) == 2
    assert bend.rank(straight) == 1


def test_manipulability_is_l1_l2_sine():
    # T. Yoshikawa, Int. J. Robotics Research 4(2):3–9, 1985 (from memory): w = l1 l2 |sin θ2|; 6
    # for 3 and 2 at 90°.
    rng = np.random.default_rng(0)
    angles, lengths = rng.uniform(-np.pi, np.pi, (100, 2)), rng.uniform(0.1, 3, (100, 2))
    free = bend.manipulability(bend.jacobian(planar_chain(angles, lengths)))
    np.testing.assert_allclose(
        free, np.prod(lengths, axis=-1) * np.abs(np.sin(angles[:, 1])), rtol=0, atol=1e-13
    )
    right = bend.jacobian(planar_chain([0, np.pi / 2], [3, 2]))
    assert bend.manipulability(right) == pytest.approx(6, abs=1e-14)


# What a bend costs: equal bones of 0.43 m, r = 2 l cos(bend / 2), derived

# knee bend in degrees, reach / (2 l), shortening per mille, sin(bend), degrees of knee per mm of
# foot
BENDS = [
    (0.5, 0.99999048, 0.0095, 0.008727, 30.5),
    (1, 0.99996192, 0.0381, 0.017452, 15.3),
    (2, 0.99984770, 0.1523, 0.034899, 7.63),
    (3, 0.99965732, 0.3427, 0.052336, 5.09),
    (5, 0.99904822, 0.9518, 0.087156, 3.05),
    (10, 0.99619470, 3.805, 0.173648, 1.53),
    (15, 0.99144486, 8.555, 0.258819, 1.02),
    (20, 0.98480775, 15.19, 0.342020, 0.77),
    (30, 0.96592583, 34.07, 0.5, 0.52),
    (60, 0.86602540, 134.0, 0.866025, 0.27),
    (90, 0.70710678, 292.9, 1, 0.19),
]


@pytest.mark.parametrize(("bend_deg", "reach", "per_mille", "free", "rate"), BENDS)
def test_what_a_bend_costs(bend_deg, reach, per_mille, free, rate):
    angle, straight = np.radians(bend_deg), [[0, 0], [0, -0.43], [0, -0.86]]
    bent = bend.preset_bend(straight, angle)
    assert np.linalg.norm(bent[2]) / 0.86 == pytest.approx(reach, abs=5e-9)
    assert 1e3 * bend.measure_bend(bent).cost == pytest.approx(
        per_mille, rel=6e-3 if bend_deg < 1 else 1e-3
    )
    assert 1e3 * bend.reach_cost(angle, 0.43, 0.43) == pytest.approx(
        per_mille, rel=6e-3 if bend_deg < 1 else 1e-3
    )
    assert bend.manipulability(bend.jacobian(bent)) / 0.43**2 == pytest.approx(free, abs=6e-7)
    per_mm = -1e-3 * np.degrees(two_bone.flexion_rate(0.86 * np.cos(angle / 2), 0.43, 0.43))
    assert per_mm == pytest.approx(rate, abs=0.06 if rate > 10 else 0.006)


@pytest.mark.parametrize(
    ("percent", "bend_deg"),
    [(0.01, 1.621), (0.1, 5.125), (0.5, 11.464), (1, 16.219), (2, 22.957), (5, 36.390)],
)
def test_which_bend_costs_how_much(percent, bend_deg):
    assert np.degrees(bend.bend_for_cost(percent / 100, 1, 1)) == pytest.approx(bend_deg, abs=6e-4)


# Soft reach


@pytest.mark.parametrize("soft", [0.02, 0.1, 0.3])
def test_soft_reach_is_the_motion_that_slows_as_reach_runs_out(soft):
    # dr/dd = (far − r) / soft from the moment that `soft` is left to full reach: integrated here by
    # scipy. The knee's rate is that of the law of cosines by differences along that motion.
    upper, lower = 0.43, 0.40
    far = upper + lower
    asked = np.linspace(far - soft, far + 3 * soft, 60)
    held = solve_ivp(
        lambda d, r: (far - r) / soft,
        (asked[0], asked[-1] + 1e-4),
        asked[:1],
        dense_output=True,
        rtol=1e-12,
        atol=1e-14,
    ).sol
    np.testing.assert_allclose(
        two_bone.soft_reach(asked, upper, lower, soft), held(asked)[0], rtol=0, atol=1e-10
    )
    # and back, from the reach to the goal that asks for it
    np.testing.assert_allclose(
        two_bone.soft_goal(held(asked)[0], upper, lower, soft), asked, rtol=0, atol=1e-8
    )
    nearer = np.linspace(0.1, far - soft, 9)
    np.testing.assert_allclose(two_bone.soft_reach(nearer, upper, lower, soft), nearer, atol=1e-15)

    def bend(distance):
        reach = held(distance)[0]
        return np.pi - np.arccos((upper**2 + lower**2 - reach**2) / (2 * upper * lower))

    inside = asked[1:-1]
    rate = (bend(inside + 1e-5) - bend(inside - 1e-5)) / 2e-5
    np.testing.assert_allclose(
        two_bone.flexion_rate(inside, upper, lower, soft), rate, rtol=1e-4, atol=1e-4
    )
    for distance in asked[::10]:
        pose = two_bone.solve([0, 0, 0], [0, -distance, 0], upper, lower, soft=soft)
        assert pose.flexion == pytest.approx(bend(distance), abs=1e-6)
        assert -pose.ankle[1] == pytest.approx(held(distance)[0], abs=1e-10)


# Swivel


@pytest.mark.parametrize("angle", [-2.5, -0.4, 0.0, 1.1])
def test_swivel_angle_is_scipy_s_turn_about_the_line_from_hip_to_ankle(angle):
    hip, ankle = np.array([0.1, 0.9, 0.0]), np.array([0.2, 0.2, 0.3])
    pose = two_bone.solve(hip, ankle, 0.43, 0.42, hint=[0, 0, 1])
    axis = (ankle - hip) / np.linalg.norm(ankle - hip)
    knee = hip + Rotation.from_rotvec(angle * axis).apply(pose.knee - hip)
    found = two_bone.swivel_angle(hip, knee, ankle, hint=[0, 0, 1])
    assert found == pytest.approx(angle, abs=1e-12)


# Two libraries


def test_solved_leg_returns_through_modern_roboticss_forward_chain_and_jacobian():
    # modern_robotics (Lynch & Park): a hip that swings about z and flexes about x, a knee about x;
    # hanging is zero.
    upper, lower = 0.43, 0.42
    screws = np.array(
        [[0, 0, 1, 0, 0, 0], [1, 0, 0, 0, 0, 0], [1, 0, 0, 0, 0, upper]], dtype=float
    ).T
    home = np.eye(4)
    home[1, 3] = -upper - lower
    rng = np.random.default_rng(1)
    for _ in range(20):
        goal = np.array([0.0, -0.55, 0.1]) + rng.uniform(-0.12, 0.12, 3)
        swing = np.arctan2(goal[0], -goal[1])
        pose = two_bone.solve([0, 0, 0], goal, upper, lower, hint=[0, 0, 1])
        flat = two_bone.solve_planar([goal[2], -np.hypot(goal[0], goal[1])], upper, lower)
        angles = np.array([swing, -flat.hip, flat.knee])
        end = mr.FKinSpace(home, screws, angles)
        np.testing.assert_allclose(end[:3, 3], goal, atol=1e-12)
        found, success = mr.IKinSpace(
            screws, home, end, angles + rng.normal(scale=0.05, size=3), 1e-6, 1e-6
        )
        assert success
        np.testing.assert_allclose(found, angles, atol=1e-5)
        assert pose.flexion == pytest.approx(found[2], abs=1e-5)
        space = mr.JacobianSpace(screws, angles)
        points = np.stack([np.zeros(3), pose.knee, pose.ankle])
        axes = space[:3].T
        at_end = np.stack([space[3:, i] + np.cross(axes[i], goal) for i in range(3)], axis=-1)
        hip_and_knee = bend.jacobian(points, axes[1:])
        np.testing.assert_allclose(hip_and_knee, at_end[:, 1:], atol=1e-9)


def test_jacobian_against_mujoco():
    # mujoco: a chain of five hinges with axes every which way, its Jacobian of the end at random
    # angles.
    rng = np.random.default_rng(2)
    body = '<site name="end" pos="{} {} {}"/>'.format(*rng.normal(size=3))
    for i in range(5):
        place, axis = rng.normal(size=3), rng.normal(size=3)
        body = (
            f'<body name="b{i}" pos="{place[0]} {place[1]} {place[2]}"><joint name="j{i}" '
            f'axis="{axis[0]} {axis[1]} {axis[2]}"/><geom size="0.1"/>{body}</body>'
        )
    model = mujoco.MjModel.from_xml_string(f"<mujoco><worldbody>{body}</worldbody></mujoco>")
    data = mujoco.MjData(model)
    data.qpos[:] = rng.uniform(-2, 2, 5)
    mujoco.mj_forward(model, data)
    wanted, site = np.zeros((3, 5)), model.site("end").id
    mujoco.mj_jacSite(model, data, wanted, None, site)
    points = np.concatenate([data.xanchor, data.site_xpos[[site]]])
    np.testing.assert_allclose(bend.jacobian(points, data.xaxis), wanted, atol=1e-12)
