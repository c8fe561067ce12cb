import dataclasses

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from rigkit import rotation, two_bone

number = st.floats(-1.5, 1.5)
vector = st.tuples(number, number, number).map(np.array)
length = st.floats(0.05, 1.0)
turn = st.floats(-3.1, 3.1)
quick = settings(max_examples=60, deadline=None)


def distance(a, b):
    return np.linalg.norm(np.asarray(a) - b, axis=-1)


def legs(count, seed=0):
    rng = np.random.default_rng(seed)
    hip = rng.normal(size=(count, 3))
    return {
        "hip": hip,
        "goal": hip + rng.normal(size=(count, 3)) * 0.5,
        "upper": rng.uniform(0.2, 0.6, count),
        "lower": rng.uniform(0.2, 0.6, count),
        "pole": hip + rng.normal(size=(count, 3)),
    }


def one_of(arguments, i):
    return {name: value[i] if np.ndim(value) else value for name, value in arguments.items()}


def as_floats(arguments):
    return {
        name: float(value) if np.ndim(value) == 0 else value for name, value in arguments.items()
    }


def assert_same(pose, batch, i, tolerance=1e-14):
    for field in dataclasses.fields(pose):
        np.testing.assert_allclose(
            getattr(pose, field.name),
            getattr(batch, field.name)[i],
            rtol=0,
            atol=tolerance,
            err_msg=field.name,
        )


# The leg in its own plane


def test_planar_leg_of_a_right_angle():
    leg = two_bone.solve_planar([0.0, -5.0], 4, 3)
    assert np.degrees(leg.knee) == pytest.approx(90, abs=1e-12)
    assert leg.reached
    points = two_bone.planar_points(leg.hip, leg.knee, 4, 3)
    np.testing.assert_allclose(points, [[0, 0], [2.4, -3.2], [0, -5]], atol=1e-14)


@quick
@given(number, number, length, length, st.sampled_from([1, -1]))
def test_planar_forward_chain_returns_to_the_goal_or_to_the_nearest_point(
    forward, up, upper, lower, bend
):
    leg = two_bone.solve_planar([forward, up], upper, lower, bend)
    ankle = two_bone.planar_points(leg.hip, leg.knee, upper, lower)[-1]
    d = np.hypot(forward, up)
    nearest = np.clip(d, abs(upper - lower), upper + lower)
    assert distance(ankle, [forward, up]) == pytest.approx(leg.miss, abs=1e-12)
    assert leg.miss == pytest.approx(abs(d - nearest), abs=1e-12)
    assert leg.reached == (leg.miss <= 1e-9)
    assert 0 <= bend * leg.knee <= np.pi


@pytest.mark.parametrize("degrees", range(-180, 181, 45))
@pytest.mark.parametrize("bend", [1, -1])
def test_planar_leg_in_every_direction_keeps_the_side_of_its_knee(degrees, bend):
    direction = np.array(
        [np.sin(np.radians(degrees)), -np.cos(np.radians(degrees))]
    )  # 0 is down, 90 forward
    leg = two_bone.solve_planar(0.6 * direction, 0.43, 0.42, bend)
    _, knee, ankle = two_bone.planar_points(leg.hip, leg.knee, 0.43, 0.42)
    np.testing.assert_allclose(ankle, 0.6 * direction, atol=1e-15)
    ahead = np.array([-direction[1], direction[0]])  # a hanging leg's forward, turned with the leg
    assert np.sign(knee @ ahead) == bend


@pytest.mark.parametrize("short", [1e-3, 1e-6, 1e-9, 1e-12])
def test_planar_knee_just_short_of_straight_keeps_its_digits(short):
    # cos k = 1 − 2 sin²(k/2), so (far² − d²) = 4 · upper · lower · sin²(k/2) with upper = lower = 1
    leg = two_bone.solve_planar([0.0, -(2 - short)], 1, 1)
    given_short = 2 - (2 - short)  # what is left of it in floating point
    assert leg.knee == pytest.approx(
        2 * np.arcsin(np.sqrt(given_short * (4 - given_short)) / 2), rel=1e-9
    )


def test_planar_leg_straight_folded_and_out_of_reach():
    goals = [[0, -0.85], [0, -2], [0, -0.01], [0, -0.001], [0, 0]]
    leg = two_bone.solve_planar(goals, 0.43, 0.42)
    np.testing.assert_allclose(leg.knee, [0, 0, np.pi, np.pi, np.pi], atol=1e-7)
    np.testing.assert_allclose(leg.miss, [0, 1.15, 0, 0.009, 0.01], atol=1e-15)
    assert leg.reached.tolist() == [True, False, True, False, False]
    folded = two_bone.solve_planar([0, 0], 0.43, 0.43)
    assert folded.reached
    assert folded.knee == np.pi
    assert folded.hip == pytest.approx(
        np.pi / 2
    )  # straight below the hip, so the thigh is level, forward
    assert leg.hip[-1] == pytest.approx(0, abs=1e-12)


def test_planar_batch_equals_loop_and_whole_numbers_equal_decimals():
    rng = np.random.default_rng(1)
    goals, bend = rng.normal(size=(4, 5, 2)), np.array([1, -1, 1, 1, -1])
    batch = two_bone.solve_planar(goals, 0.4, 0.5, bend)
    for i in np.ndindex(4, 5):
        assert_same(two_bone.solve_planar(goals[i], 0.4, 0.5, bend[i[1]]), batch, i)
    assert_same(
        two_bone.solve_planar((3, -4), 3, 4), two_bone.solve_planar([[3.0, -4.0]], 3.0, 4.0), 0
    )
    points = two_bone.planar_points(batch.hip, batch.knee, 0.4, 0.5)
    assert points.shape == (4, 5, 3, 2)
    np.testing.assert_array_equal(
        points[2, 3], two_bone.planar_points(batch.hip[2, 3], batch.knee[2, 3], 0.4, 0.5)
    )
    np.testing.assert_array_equal(
        two_bone.planar_points(1, 0, 1, 1), two_bone.planar_points([1.0], [0.0], 1.0, 1.0)[0]
    )


# The leg in space


def test_standing_leg_is_straight_and_turns_no_frame():
    pose = two_bone.solve([0, 0.85, 0], [0, 0, 0], 0.43, 0.42, [0, 0.4, 1])
    np.testing.assert_allclose(pose.knee, [0, 0.42, 0], atol=1e-16)
    np.testing.assert_array_equal(pose.hinge, [1, 0, 0])
    assert pose.flexion == 0
    assert pose.reached
    assert pose.guided
    thigh, shank = two_bone.bone_frames([0, 0.85, 0], pose)
    np.testing.assert_array_equal(thigh[:3, :3], np.eye(3))
    np.testing.assert_array_equal(shank[:3, :3], np.eye(3))
    np.testing.assert_array_equal(shank[:3, 3], pose.knee)


def test_positive_turn_about_the_hinge_is_flexion():
    leg = legs(200)
    pose = two_bone.solve(**leg)
    thigh = (pose.knee - leg["hip"]) / leg["upper"][:, None]
    shank = (pose.ankle - pose.knee) / leg["lower"][:, None]
    turned = (rotation.matrix_about(pose.hinge, pose.flexion) @ thigh[..., None])[..., 0]
    np.testing.assert_allclose(
        turned, shank, atol=1e-7
    )  # a flexion near straight has half the digits


@quick
@given(vector, vector, length, length, vector, turn, st.floats(0, 0.05), st.booleans())
def test_bones_keep_their_lengths_and_the_miss_is_true(
    hip, goal, upper, lower, pole, swivel, soft, stretch
):
    pose = two_bone.solve(hip, goal, upper, lower, pole, swivel=swivel, soft=soft, stretch=stretch)
    assert distance(hip, pose.knee) == pytest.approx(upper * pose.stretch, abs=1e-9)
    assert distance(pose.knee, pose.ankle) == pytest.approx(lower * pose.stretch, abs=1e-9)
    assert distance(pose.ankle, goal) == pytest.approx(pose.miss, abs=1e-12)
    assert np.linalg.norm(pose.hinge) == pytest.approx(1, abs=1e-9)
    assert abs(pose.hinge @ (pose.knee - hip)) < 1e-9
    assert abs(pose.hinge @ (pose.ankle - pose.knee)) < 1e-9
    assert 0 <= pose.flexion <= np.pi
    d = distance(hip, goal)
    if stretch and d >= abs(upper - lower):
        assert pose.reached
    if not stretch and soft == 0:
        assert pose.miss == pytest.approx(
            max(d - upper - lower, abs(upper - lower) - d, 0), abs=1e-12
        )


@quick
@given(vector, vector, length, length, vector)
def test_knee_stands_in_the_plane_of_the_pole_on_its_side(hip, goal, upper, lower, pole):
    pose = two_bone.solve(hip, goal, upper, lower, pole)
    if pose.guided:
        assert abs(pose.hinge @ (pole - hip)) < 1e-6
        ahead = np.cross(pose.ankle - hip, pose.hinge)  # square to the line, toward the knee
        assert ahead @ (pole - hip) >= 0
        assert ahead @ (pose.knee - hip) >= -1e-12


def test_batch_equals_loop_of_single_legs():
    leg = {**legs(60), "swivel": np.random.default_rng(2).normal(size=60)}
    leg["goal"][:3] = leg["hip"][:3]  # one point
    leg["pole"][3:6] = leg["goal"][3:6]  # pole on the line
    leg["goal"][6:9] = leg["hip"][6:9] + [0, 0, 0.4]  # the hint on the line
    leg["pole"][6:9] = leg["hip"][6:9]
    for extra in ({}, {"soft": 0.02}, {"soft": 0.02, "stretch": True}):
        batch = two_bone.solve(**leg, **extra)
        assert not batch.guided[3:9].any()
        for i in range(60):
            one = one_of(leg, i)
            assert_same(two_bone.solve(**one, **extra), batch, i)
            assert_same(
                two_bone.solve(**as_floats(one), **extra), batch, i
            )  # plain floats go a quicker way


def test_one_leg_gives_arrays_and_scalars_like_a_batch():
    pose = two_bone.solve(np.zeros(3), np.array([0.1, -0.7, 0.0]), 0.4, 0.4)
    for field in dataclasses.fields(pose):
        value = getattr(pose, field.name)
        assert isinstance(value, (np.ndarray, np.generic)), field.name
        assert value.shape == ((3,) if field.name in ("knee", "ankle", "hinge") else ()), field.name


def test_arguments_broadcast_to_one_batch_shape():
    pose = two_bone.solve([0, 1, 0], np.zeros((4, 1, 3)), [0.5, 0.6, 0.7], 0.6, [0, 0.5, 1])
    assert pose.knee.shape == pose.ankle.shape == pose.hinge.shape == (4, 3, 3)
    assert all(
        getattr(pose, name).shape == (4, 3)
        for name in ("flexion", "reached", "miss", "guided", "stretch")
    )
    pose.miss[0, 0] = 1.0  # arrays of one's own, not views of one number
    assert pose.miss[1, 0] != 1.0


ONE_LEG = {"hip": [0, 5, 0], "goal": [1, 0, 0], "upper": 4, "lower": 3, "pole": [0, 3, 9],
           "hint": [0, 0, 1], "swivel": 1, "soft": 2}  # fmt: skip


@pytest.mark.parametrize(
    "vector", [list, tuple, np.array, np.float32, np.int8, lambda v: [*map(np.int64, v)]]
)
@pytest.mark.parametrize("number", [int, float, np.float64, np.float32, np.int16])
def test_one_leg_of_any_type_of_number_is_solved_without_arrays(monkeypatch, vector, number):
    slow = two_bone._legs(**ONE_LEG)
    decimal = two_bone._solved(slow, False, np.sqrt, np.arctan2, np.any)
    monkeypatch.setattr(two_bone, "_legs", None)
    leg = {k: vector(v) if isinstance(v, list) else number(v) for k, v in ONE_LEG.items()}
    assert_same(two_bone.solve(**leg), decimal, (), tolerance=2e-15)


def test_whole_numbers_and_decimals_give_the_same_leg_to_the_last_digit():
    decimal = {
        k: np.array(v, dtype=float) if isinstance(v, list) else float(v) for k, v in ONE_LEG.items()
    }
    assert_same(two_bone.solve(**ONE_LEG), two_bone.solve(**decimal), (), tolerance=0)


@pytest.mark.parametrize("off", [0.0, 1e-9, 1e-8, -1e-9])
def test_just_off_full_reach_the_leg_is_straight_to_rounding(off):
    pose = two_bone.solve([0, 0.85, 0], [0, off, 0], 0.43, 0.42, [0, 0, 1])
    assert distance(pose.ankle, [0, max(off, 0), 0]) <= 1e-15
    assert distance([0, 0.85, 0], pose.knee) == pytest.approx(0.43, abs=1e-15)
    assert pose.flexion <= 4 * np.sqrt(max(off, 0)) + 1e-12


@pytest.mark.parametrize("goal", [[0, 0, 0], [0, 1e-200, 0], [0, 1e-9, 0]])
def test_goal_in_the_hip_folds_the_leg(goal):
    equal = two_bone.solve([0, 0, 0], goal, 0.4, 0.4, [0, 0, 1])
    np.testing.assert_allclose(equal.knee, [0, 0, 0.4], atol=1e-9)
    assert equal.reached
    unequal = two_bone.solve([0, 0, 0], goal, 0.5, 0.4, [0, 0, 1])
    assert not unequal.reached
    assert unequal.miss == pytest.approx(0.1, abs=2e-9)
    assert np.isfinite(unequal.knee).all()


def test_pole_on_the_line_hands_over_to_the_hint_without_a_jump():
    hip, goal, hint = np.array([0.0, 1, 0]), np.array([0.1, 0.3, 0.2]), np.array([0.3, 0.0, 1.0])
    on_line = hip + 2 * (goal - hip)
    by_hint = two_bone.solve(hip, goal, 0.43, 0.42, on_line, hint=hint)
    assert not by_hint.guided
    assert not two_bone.solve(hip, goal, 0.43, 0.42, hip, hint=hint).guided
    np.testing.assert_array_equal(
        by_hint.knee, two_bone.solve(hip, goal, 0.43, 0.42, hint=hint).knee
    )
    for off in np.logspace(-12, 0, 25):  # the pole leaves the line toward the hint
        pose = two_bone.solve(hip, goal, 0.43, 0.42, on_line + off * hint, hint=hint)
        np.testing.assert_allclose(pose.knee, by_hint.knee, atol=1e-9)
    assert pose.guided


@pytest.mark.parametrize("away", [1e-3, 1.0, 1e3])
def test_a_pole_guides_from_a_millionth_of_its_distance_off_the_line_on(away):
    hip, goal = np.array([0.0, 1, 0]), np.array([0.0, 0.3, 0])
    for share, guided in ((0.99e-6, False), (1.01e-6, True)):
        pole = hip + away * np.array([-share, -1, 0])
        for solve in (
            lambda pole: two_bone.solve(hip, goal, 0.43, 0.42, pole),
            lambda pole: two_bone.solve([hip], goal, 0.43, 0.42, pole),
        ):
            pose = solve(pole)
            assert pose.guided == guided
            assert (
                abs(np.squeeze(pose.knee)[0]) > 0.1
            ) == guided  # else it follows the hint, forward


def test_with_the_pole_on_the_line_the_knee_follows_the_goal_continuously():
    hip, swing = np.array([0.0, 1, 0]), np.linspace(-1.4, 1.4, 2001)
    goal = hip + 0.7 * np.stack([np.sin(swing), -np.cos(swing), 0 * swing], axis=-1)
    pose = two_bone.solve(hip, goal, 0.43, 0.42, goal)
    assert not pose.guided.any()
    assert distance(pose.knee[1:], pose.knee[:-1]).max() < 1e-3


def test_hint_on_the_line_as_well_takes_the_stated_direction():
    pose = two_bone.solve([0, 0, 0], [0, 0, 0.6], 0.4, 0.4, [0, 0, 1])
    assert not pose.guided
    aside = pose.knee - [0, 0, 0.3]
    np.testing.assert_allclose(
        aside / np.linalg.norm(aside), rotation.perpendicular([0, 0, 1]), atol=1e-12
    )


def test_a_pole_that_crosses_the_line_flips_the_knee():
    hip, goal = [0, 1, 0], [0, 0.4, 0]
    front, back = (two_bone.solve(hip, goal, 0.4, 0.4, [0, 0.5, z]) for z in (1e-3, -1e-3))
    np.testing.assert_allclose(front.knee * [1, 1, -1], back.knee, atol=1e-12)
    np.testing.assert_allclose(front.hinge, -back.hinge, atol=1e-12)


# Swivel


@quick
@given(vector, vector, length, length, turn, st.tuples(number, number, number).filter(any))
def test_swivel_read_back_is_the_swivel_given(hip, goal, upper, lower, swivel, hint):
    pose = two_bone.solve(hip, goal, upper, lower, hint=hint, swivel=swivel)
    read = two_bone.swivel_angle(hip, pose.knee, pose.ankle, hint)
    if 0.01 < pose.flexion < np.pi - 0.01 and np.linalg.norm(pose.ankle - hip) > 0.01:
        assert (read - swivel + np.pi) % (2 * np.pi) - np.pi == pytest.approx(0, abs=1e-7)


def test_swivel_of_a_standing_leg_takes_the_knee_from_front_to_right():
    pose = two_bone.solve([0, 1, 0], [0, 0.3, 0], 0.4, 0.4, [0, 0.5, 1], swivel=np.pi / 2)
    assert pose.knee[0] < -0.1  # the character's left is +x
    np.testing.assert_allclose(pose.hinge, [0, 0, 1], atol=1e-15)


def test_straight_leg_has_no_swivel():
    assert two_bone.swivel_angle([0, 1, 0], [0, 0.5, 0], [0, 0, 0]) == 0


# A knee and its toes


@quick
@given(vector, vector, vector, turn, number)
def test_off_toes_counts_across_the_foot_whatever_its_heading_and_heights(
    knee, ankle, toe, heading, lift
):
    assume(distance(toe[[0, 2]], ankle[[0, 2]]) > 0.01)
    off = two_bone.knee_toe_offset(knee, ankle, toe)
    assert abs(off) <= distance(knee[[0, 2]], ankle[[0, 2]]) + 1e-9
    turned = rotation.matrix_about("y", heading)
    again = two_bone.knee_toe_offset(turned @ knee, turned @ ankle, turned @ toe + [0, lift, 0])
    assert again == pytest.approx(off, abs=1e-9)
    assert two_bone.knee_toe_offset(knee + 3 * (toe - ankle), ankle, toe) == pytest.approx(
        off, abs=1e-9
    )


def test_off_toes_by_hand():
    knees = [
        [0.1, 0.5, 0.3],
        [0.0, 0.5, 0.3],
        [0.15, 0.5, 0.3],
        [0.1, 0.5, -0.2],
    ]  # the character's left is +x
    off = two_bone.knee_toe_offset(knees, [0.1, 0, 0], [0.1, -0.1, 0.2])
    np.testing.assert_allclose(off, [0, 0.1, -0.05, 0], atol=1e-15)
    assert two_bone.knee_toe_offset([0, 0.5, 0.3], [0, 0, 0], [0.1, 0, 0.1]) == pytest.approx(
        0.3 / np.sqrt(2)
    )
    with pytest.raises(ValueError, match="seen from above"):
        two_bone.knee_toe_offset([0, 0.5, 0.3], [0, 0, 0], [0, -0.1, 0])


# The pole of a rest pose


def rest_leg(bend, lean=0.2, twist=0.4):
    hip = np.array([0.1, 0.95, 0.02])
    thigh, shank = lean + bend / 2, lean - bend / 2
    knee = np.array([0.0, -0.43 * np.cos(thigh), 0.43 * np.sin(thigh)])
    ankle = knee + [0.0, -0.42 * np.cos(shank), 0.42 * np.sin(shank)]
    turned = rotation.matrix_about("y", twist)
    return hip, hip + turned @ knee, hip + turned @ ankle


@pytest.mark.parametrize("degrees", [0.0, 0.05, 0.5, 5, 90, 170, -0.05, -5])
def test_pole_taking_over_moves_nothing(degrees):
    hip, knee, ankle = rest_leg(np.radians(degrees))
    pole = two_bone.place_pole(hip, knee, ankle, 0.8)
    pose = two_bone.solve(hip, ankle, distance(hip, knee), distance(knee, ankle), pole)
    assert pose.guided
    assert distance(pose.knee, knee) <= 1e-12
    assert distance(pose.ankle, ankle) <= 1e-12
    assert distance(pole, knee) == pytest.approx(0.8, abs=1e-12)
    assert (pole - knee) @ (ankle - hip) == pytest.approx(0, abs=1e-12)


@pytest.mark.parametrize("degrees", [1e-9, 1e-6, 1e-4, 1e-2])
def test_pole_of_a_nearly_straight_leg_moves_it_by_rounding_only(degrees):
    hip, knee, ankle = rest_leg(np.radians(degrees))
    pose = two_bone.solve(
        hip,
        ankle,
        distance(hip, knee),
        distance(knee, ankle),
        two_bone.place_pole(hip, knee, ankle, 0.8),
    )
    assert distance(pose.knee, knee) <= 1e-7 * 0.85


def test_pole_of_a_straight_leg_lies_toward_the_hint():
    pole = two_bone.place_pole([0, 1, 0], [0, 0.5, 0], [0, 0, 0], 0.8, hint=[1, -1, 0])
    np.testing.assert_allclose(pole, [0.8, 0.5, 0], atol=1e-15)
    poles = two_bone.place_pole([0, 1, 0], [0, 0.5, 0], [0, 0, 0], [0.5, 0.8])
    np.testing.assert_allclose(poles, [[0, 0.5, 0.5], [0, 0.5, 0.8]], atol=1e-15)


# Near full reach


def test_soft_reach_is_smooth_and_never_beyond_full_reach():
    far, soft = 0.85, 0.02
    d = np.linspace(0, 2, 400_001)
    r = two_bone.soft_reach(d, 0.43, 0.42, soft)
    step = d[1] - d[0]
    assert (np.diff(r) >= 0).all()
    assert (r <= far).all()
    np.testing.assert_allclose(
        r[(d > 0.02) & (d < far - soft)], d[(d > 0.02) & (d < far - soft)], rtol=0, atol=0
    )
    speed = np.diff(r[d > 0.02]) / step
    assert (
        np.abs(np.diff(speed)).max() < 1.1 * step / soft
    )  # no jump: its own slope is at most 1 / soft
    assert two_bone.soft_reach(far, 0.43, 0.42, soft) == pytest.approx(far - soft / np.e, abs=1e-15)


def test_soft_goal_undoes_soft_reach():
    d = np.linspace(0.02, 0.95, 2001)
    for soft in (0.0, 0.01, 0.2):
        inside = d < (0.85 if soft == 0 else 0.95)
        held = two_bone.soft_reach(d[inside], 0.43, 0.42, soft)
        np.testing.assert_allclose(two_bone.soft_goal(held, 0.43, 0.42, soft), d[inside], atol=1e-9)
    full = two_bone.soft_goal(0.85, 0.43, 0.42, [0, 0.01])
    assert full.tolist() == pytest.approx([0.85, 0.84 - 0.01 * np.log(1e-15)])


def test_soft_leg_and_its_knee_have_no_jump_in_speed():
    d = np.linspace(0.8, 0.95, 30_001)
    goals = np.stack([0 * d, -d, 0 * d], axis=-1)
    soft = two_bone.solve([0, 0, 0], goals, 0.43, 0.42, soft=0.02)
    hard = two_bone.solve([0, 0, 0], goals, 0.43, 0.42)
    assert np.abs(np.diff(soft.flexion, 2)).max() < 1e-4 * np.abs(np.diff(hard.flexion, 2)).max()
    assert not soft.reached[d > 0.85].any()
    np.testing.assert_allclose(soft.miss, d - two_bone.soft_reach(d, 0.43, 0.42, 0.02), atol=1e-15)


def test_stretch_is_a_choice_and_keeps_the_ankle_on_its_goal():
    goals = [[0, -0.8, 0], [0, -1.7, 0]]
    pose = two_bone.solve([0, 0, 0], goals, 0.43, 0.42, stretch=True)
    np.testing.assert_allclose(pose.stretch, [1, 2], atol=1e-15)
    np.testing.assert_allclose(pose.ankle, goals, atol=1e-15)
    assert pose.reached.all()
    np.testing.assert_array_equal(two_bone.solve([0, 0, 0], goals, 0.43, 0.42).stretch, 1)
    soft = two_bone.solve([0, 0, 0], goals, 0.43, 0.42, soft=0.1, stretch=True)
    assert soft.reached.all()
    assert (soft.flexion > 0).all()
    near = two_bone.solve([0, 0, 0], [0, -0.1, 0], 0.6, 0.3, stretch=True)
    assert near.stretch == 1
    assert near.miss == pytest.approx(0.2)


@pytest.mark.parametrize(("upper", "lower"), [(0.43, 0.42), (0.4, 0.4), (0.3, 0.5)])
@pytest.mark.parametrize("soft", [0.0, 0.02])
def test_knee_rate_is_the_slope_of_the_flexion(upper, lower, soft):
    d = np.linspace(abs(upper - lower) + 0.01, upper + lower - 0.001, 50)
    if soft:
        d = np.append(d, upper + lower + np.array([0.0, 0.01, 0.05]))
    step = 1e-6
    k = [
        two_bone.solve(
            [0, 0, 0], np.stack([0 * d, -d - s, 0 * d], axis=-1), upper, lower, soft=soft
        ).flexion
        for s in (-step, step)
    ]
    np.testing.assert_allclose(
        two_bone.flexion_rate(d, upper, lower, soft), (k[1] - k[0]) / (2 * step), rtol=1e-4
    )


def test_knee_rate_at_the_ends_of_reach():
    rate = two_bone.flexion_rate([0.85, 0.9, 0.01, 0.005, 0.0], 0.43, 0.42)
    assert rate.tolist() == [-np.inf, 0, -np.inf, 0, 0]
    assert two_bone.flexion_rate(0, 0.43, 0.43) == pytest.approx(
        -2 / 0.86
    )  # equal bones fold at a finite rate
    close = two_bone.flexion_rate(0.86 - np.array([1e-4, 1e-6]), 0.43, 0.43)
    assert close[1] / close[0] == pytest.approx(
        10, rel=1e-3
    )  # like one over the root of what is left
    assert np.isfinite(two_bone.flexion_rate([0.85, 0.9, 5, 1e3], 0.43, 0.42, 0.01)).all()


def test_bone_frames_are_rigid_and_carry_the_flexion():
    leg = legs(50)
    pose = two_bone.solve(**leg)
    thigh, shank = two_bone.bone_frames(leg["hip"], pose)
    relative = np.swapaxes(thigh[:, :3, :3], -1, -2) @ shank[:, :3, :3]
    np.testing.assert_allclose(relative, rotation.matrix_about("x", pose.flexion), atol=1e-7)
    np.testing.assert_allclose(
        thigh[:, :3, 3] - leg["upper"][:, None] * thigh[:, :3, 1], pose.knee, atol=1e-12
    )
    np.testing.assert_allclose(
        shank[:, :3, 3] - leg["lower"][:, None] * shank[:, :3, 1], pose.ankle, atol=1e-12
    )


# Bad input

GOOD = {
    "hip": [0.0, 1.0, 0.0],
    "goal": [0.0, 0.3, 0.1],
    "upper": 0.4,
    "lower": 0.4,
    "pole": [0.0, 0.6, 1.0],
    "hint": [0.0, 0.0, 1.0],
    "swivel": 0.1,
    "soft": 0.01,
}


@pytest.mark.parametrize(
    ("name", "bad"),
    [
        *(
            (name, bad)
            for name in ("hip", "goal", "pole", "hint")
            for bad in (
                [np.nan, 0.0, 0.0],
                [0.0, np.inf, 0.0],
                [1.0, 2.0],
                [],
                "hip",
                np.zeros((2, 2)),
            )
        ),
        *(
            (name, bad)
            for name in ("upper", "lower")
            for bad in (0.0, -0.4, np.nan, np.inf, "long", True, [])
        ),
        ("hint", [0.0, 0.0, 0.0]),
        ("swivel", np.nan),
        ("swivel", "half"),
        ("soft", -0.01),
        ("soft", 2.0),
        ("soft", np.inf),
        ("stretch", "yes"),
        ("stretch", 2),
    ],
)
def test_solve_names_the_bad_argument(name, bad):
    arrays = {
        key: np.array(value) if isinstance(value, list) else value for key, value in GOOD.items()
    }
    for good in (GOOD, arrays):
        with pytest.raises(ValueError, match=f"`{name}`"):
            two_bone.solve(**{**good, name: bad})


def test_shapes_that_do_not_broadcast_are_named():
    with pytest.raises(ValueError, match=r"`goal` \(4,\)"):
        two_bone.solve(np.zeros((3, 3)), np.ones((4, 3)), 0.4, 0.4)


@pytest.mark.parametrize("bend", [0, 2, 0.5, np.nan, "front"])
def test_bend_is_one_or_minus_one(bend):
    with pytest.raises(ValueError, match="`knee_direction`"):
        two_bone.solve_planar([0, -0.5], 0.4, 0.4, bend)


def test_distances_below_zero_are_refused():
    with pytest.raises(ValueError, match="`distance`"):
        two_bone.soft_reach(-0.1, 0.4, 0.4, 0.01)
    with pytest.raises(ValueError, match="`distance`"):
        two_bone.flexion_rate([0.1, -0.1], 0.4, 0.4)
    with pytest.raises(ValueError, match="`distance`"):
        two_bone.place_pole([0, 1, 0], [0, 0.5, 0], [0, 0, 0], 0)


@pytest.mark.parametrize(("beyond", "reached"), [(5e-10, True), (2e-9, False)])
def test_an_ankle_within_a_nanometre_of_its_goal_has_reached_it(beyond, reached):
    goal = [0.0, -0.85 - beyond, 0.0]
    assert two_bone.solve([0.0, 0.0, 0.0], goal, 0.43, 0.42).reached == reached
    assert two_bone.solve_planar([0.0, goal[1]], 0.43, 0.42).reached == reached
