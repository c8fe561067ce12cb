"""Lesson 06's words, measured: stalls, sides, steps, costs, and the heron."""

import numpy as np
import pytest

from rigkit import bend, solvers, two_bone
from rigkit.puppets import PUPPETS
from rigkit.scenes import preset_bend as scene

TAMSIN, HERON = PUPPETS["Tamsin"], PUPPETS["heron"]


@pytest.mark.parametrize("solver", solvers.SOLVERS)
def test_straight_every_solver_stalls_and_one_degree_frees_it_knee_forward(solver):
    _, words = scene.crouch(TAMSIN, 13.0, 0.0, solver)
    assert "stalled" in words
    assert words.count("13.0 cm") == 3  # the pelvis, the forward foot and the inverse miss
    _, words = scene.crouch(TAMSIN, 13.0, 1.0, solver)
    assert "miss <b>0.0 cm</b>" in words
    assert "forward." in words


@pytest.mark.parametrize("up_cm", [10, 20, 40])
def test_a_goal_on_the_line_but_nearer_than_the_knee_frees_cyclic_descent_alone(up_cm):
    straight = two_bone.planar_points(0, 0, *TAMSIN.bones)
    near = np.array([0, -up_cm / 100])
    reached = {name: bool(solve(straight, near).reached) for name, solve in solvers.SOLVERS.items()}
    assert reached.pop("cyclic descent")
    assert not any(reached.values())
    folded = solvers.fabrik(straight, near).points
    assert (folded[:, 0] == 0).all()  # on the line still
    assert np.linalg.norm(folded[-1]) == pytest.approx(abs(TAMSIN.thigh - TAMSIN.shank))


def test_a_goal_a_little_ahead_bends_a_straight_knee_backward():
    _, words = scene.pull(TAMSIN, 13.0, 3.0, 0.0, scene.DEFAULT, 80)
    assert "backward" in words
    assert "miss <b>0.0 cm</b>" in words


def test_the_closed_form_has_two_mirrored_answers():
    goal = [0.0, 0.10 - TAMSIN.leg_length]
    legs = [
        two_bone.solve_planar(goal, TAMSIN.thigh, TAMSIN.shank, knee_direction=side)
        for side in (1, -1)
    ]
    assert legs[0].knee == -legs[1].knee > 0
    assert all(leg.miss < 1e-12 for leg in legs)


@pytest.mark.parametrize("solver", ["cyclic descent", "backward-forward"])
def test_ten_times_less_bend_costs_the_same_number_of_further_steps(solver):
    steps = scene.steps_needed(TAMSIN, [1e-6, 1e-5, 1e-4, 1e-3, 1e-2])[solver]
    more = -np.diff(steps)
    assert (more > 0).all()
    assert np.ptp(more) <= 1  # whole steps


def test_a_thousandth_of_a_degree_is_plenty_without_noise():
    start = scene.hanging(TAMSIN, 0.001)
    for solve in solvers.SOLVERS.values():
        solution = solve(start, [0.0, 0.13 - TAMSIN.leg_length], tolerance=scene.CLOSE)
        assert solution.reached
        assert bend.measure_bend(solution.points).angle > 0


@pytest.mark.parametrize(
    ("noise", "coin", "enough"),
    [
        ({}, 1e-16, 1e-12),
        ({"dtype": np.float32}, 1e-9, 1e-4),
        ({"goal_noise": 0.01}, 1e-4, 0.1),
        ({"knee_noise": 0.003}, 0.01, 3.0),
    ],
)
def test_below_its_noise_a_bend_is_a_toss_of_a_coin(noise, coin, enough):
    few, many = scene.right_side_share(TAMSIN, [coin, enough], np.random.default_rng(6), **noise)
    assert 0.3 < few < 0.65  # some of the others go the wrong way, some stall
    assert many > 0.99


def test_five_degrees_cost_a_thousandth_and_twice_the_bend_four_times_the_reach():
    cost = bend.reach_cost(np.radians([5.0, 10.0, 20.0]), TAMSIN.thigh, TAMSIN.shank)
    assert cost[0] == pytest.approx(0.001, rel=0.06)
    assert cost[1:] / cost[:-1] == pytest.approx(4.0, rel=0.01)


@pytest.mark.parametrize(("bend_deg", "says"), [(6.0, "forward"), (-6.0, "backward")])
def test_the_heron_bends_as_its_preset_says_and_meets_its_goal_both_times(bend_deg, says):
    stage, words = scene.heron_crouch(HERON, 25.0, bend_deg)
    assert f"{says}</b>" in words
    assert "goal, miss 0.0 cm" in stage.svg()
    rest = scene.hanging_heron(HERON, bend_deg)
    assert abs(rest[-1, 0]) < 1e-12
    assert np.linalg.norm(np.diff(rest, axis=0), axis=-1) == pytest.approx(HERON.bones)


def test_the_jacobian_transpose_now_and_then_leaps_to_the_wrong_side_and_the_others_do_not():
    raised = np.linspace(0.01, 0.45, 45)
    goals = np.stack([np.zeros(45), raised - TAMSIN.leg_length], axis=-1)
    starts = scene.hanging(TAMSIN, np.array([1.0, 2.0, 5.0])[:, None])
    wrong = {
        name: np.mean(
            bend.measure_bend(solve(starts, goals, tolerance=scene.CLOSE).points).angle < 0
        )
        for name, solve in solvers.SOLVERS.items()
    }
    assert 0 < wrong.pop("Jacobian transpose") < 0.2
    assert set(wrong.values()) == {0.0}
