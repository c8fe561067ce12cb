"""Lesson 06's guesses and checks: what tells, what is right by another formula, what is said."""

import numpy as np
import pytest

from rigkit import bend, solvers
from rigkit.puppets import PUPPETS
from rigkit.scenes import preset_bend as scene

TAMSIN, ODO, PIP, HERON = (PUPPETS[name] for name in ("Tamsin", "Odo", "Pip", "heron"))


def found(panel, **values):
    return panel.frame(**values)["found"]


def side(points):
    """On which side of the line from first to last point the middle one is: +1 ahead."""
    (x, y), (u, v) = points[1] - points[0], points[2] - points[0]
    return int(np.sign(u * y - v * x))


@pytest.mark.parametrize(
    ("make", "puppet"),
    [(scene.way_guess, TAMSIN), (scene.drawn_guess, TAMSIN), (scene.heron_guess, HERON)],
)
def test_the_start_tells_nothing(make, puppet):
    assert make(puppet).frame()["found"] is None


def test_the_opening_gives_nothing_away():
    said = scene.opening(TAMSIN).desc
    assert "cm" not in said
    assert "stall" not in said


@pytest.mark.parametrize("solver", solvers.SOLVERS)
def test_a_straight_knee_goes_nowhere(solver):
    panel = scene.way_guess(TAMSIN)
    told = found(panel, lowered_cm=13, solver=solver)
    assert told["right"] == ["Neither: it stays straight"]
    assert "13.0 cm</b> off" in told["words"]
    assert found(panel, lowered_cm=13, bend_deg=1, solver=solver) is None
    assert found(panel, lowered_cm=2, solver=solver) is None


def test_the_first_steps_are_steps_of_the_solvers():
    start = scene.hanging(TAMSIN, 40.0)
    goal = np.array([0.3, 0.25 - TAMSIN.leg_length])
    before = np.linalg.norm(start[-1] - goal)
    for solve in solvers.SOLVERS.values():
        first = solve(start, goal, trace=True).trace[1]
        assert np.linalg.norm(first[-1] - goal) < before
    assert len(scene.first_steps(TAMSIN).pictures) == 4


def test_two_poses_meet_a_goal_and_both_bend_alike():
    told = found(scene.answers_guess(TAMSIN))
    a, b = TAMSIN.bones
    c = TAMSIN.leg_length - 0.10
    corner = np.arccos((a * a + c * c - b * b) / (2 * a * c))
    knees = [a * np.array([np.sin(turn), -np.cos(turn)]) for turn in (corner, -corner)]
    assert all(np.hypot(*(knee - [0, -c])) == pytest.approx(b) for knee in knees)
    assert told["right"] == ["Two"]
    flexion = 180 - np.degrees(np.arccos((a * a + b * b - c * c) / (2 * a * b)))
    assert told["words"].count(f"{flexion:.1f}°") == 2


def test_a_goal_ahead_draws_a_straight_knee_backward():
    panel = scene.drawn_guess(TAMSIN)
    told = found(panel, forward_cm=3, step=80)
    goal = np.array([0.03, 0.13 - TAMSIN.leg_length])
    solved = solvers.damped_least_squares(scene.hanging(TAMSIN), goal).points
    assert side(solved) == -1
    assert told["right"] == ["Backward"]
    assert found(panel, forward_cm=3, step=0) is None
    assert found(panel, forward_cm=0, step=80) is None
    assert found(panel, forward_cm=3, bend_deg=1, step=80) is None


def test_only_cyclic_descent_gets_away_from_a_goal_above_the_knee():
    told = found(scene.escape_guess(TAMSIN))
    assert told["right"] == ["cyclic descent"]
    folded = 30.0 - 100 * abs(TAMSIN.thigh - TAMSIN.shank)  # onto itself, by the other pass
    straight = 100 * TAMSIN.leg_length - 30.0
    assert f"{folded:.1f}" not in told["words"]
    assert f"cyclic descent <b>0.0 cm</b>, backward-forward <b>{30.2:.1f} cm</b>" in told["words"]
    assert told["words"].count(f"{straight:.1f} cm") == 2


def test_a_thousand_times_less_bend_takes_about_ten_steps_more():
    told = found(scene.steps_guess(TAMSIN))
    goal = [0.0, 0.13 - TAMSIN.leg_length]
    steps = [
        int(solvers.fabrik(scene.hanging(TAMSIN, deg), goal, tolerance=1e-4).steps)
        for deg in (1, 1e-3, 1e-6)
    ]
    assert np.abs(np.diff(steps) - 10).max() <= 2
    assert told["right"] == ["Each time about ten more"]
    assert f"{steps[0]}, {steps[1]}, {steps[2]}" in told["words"]


def test_a_knee_placed_by_hand_takes_degrees():
    told = found(scene.noise_guess(TAMSIN))
    assert told["right"] == ["3°"]
    # 3 mm at a knee halfway down bends it by this much, one standard deviation
    noise_deg = np.degrees(2 * 0.003 / (TAMSIN.leg_length / 2))
    assert 0.1 < noise_deg < 3 / 2.3  # 2.3 deviations hold 99 of 100


def test_the_herons_solver_does_not_complain():
    panel = scene.heron_guess(HERON)
    told = found(panel, lowered_cm=25, bend_deg=6)
    assert told["right"] == ["Nothing: the miss is zero"]
    assert "0.0 cm" in told["words"]
    assert "forward" in told["words"]
    assert found(panel, lowered_cm=25, bend_deg=-6) is None
    assert found(panel, lowered_cm=5, bend_deg=6) is None


def test_neither_joint_alone_brings_a_level_ankle_nearer():
    panel = scene.sitting_check()
    hip, knee, ankle = np.zeros(2), np.array([ODO.thigh, 0]), np.array([ODO.leg_length, 0])
    goal = ankle - [0.10, 0]
    for pivot in (hip, knee):
        for turn in np.radians([-3, -0.1, 0.1, 3]):
            cosine, sine = np.cos(turn), np.sin(turn)
            turned = pivot + np.array([[cosine, -sine], [sine, cosine]]) @ (ankle - pivot)
            assert np.hypot(*(turned - goal)) > 0.10
    assert panel.ask.reply("Neither")[0]
    assert "circle about itself" in panel.ask.reply("The hip")[1]
    assert "past the goal" in panel.ask.reply("The knee")[1]


def test_three_times_the_bend_costs_nine_times_as_much():
    panel = scene.cost_check()
    lost = [
        PIP.leg_length
        - np.sqrt(PIP.thigh**2 + PIP.shank**2 + 2 * PIP.thigh * PIP.shank * np.cos(np.radians(deg)))
        for deg in (4, 12)
    ]
    assert panel.ask.reply(lost[1] / lost[0])[0]
    assert panel.ask.reply(9)[0]
    for answer, words in {
        3: "times the bend grows",
        1000 * (lost[1] - lost[0]): "difference in millimetres",
        27: "cube",
        6: "square it",
        4: "twice the bend",
        1: "does grow",
        8: "in degrees",
    }.items():
        assert panel.ask.reply(answer)[0] is False
        assert words in panel.ask.reply(answer)[1]
    for answer in (0, 2, 12, 81, 48):
        assert panel.ask.reply(answer) == (False, panel.ask.hint)
    assert bend.reach_cost(np.radians(12), *PIP.bones) * PIP.leg_length == pytest.approx(lost[1])
