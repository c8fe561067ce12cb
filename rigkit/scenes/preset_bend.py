"""Lesson 06's pictures: a straight leg that stalls, the bend that frees it, and the heron.

The heron bends the other way.

Everything is seen from the side, x forward and y up, in metres.
"""

from functools import partial
from typing import Any

import numpy as np

from rigkit import _format, bend, plots, solvers, two_bone
from rigkit._types import Floats
from rigkit.panels import Choice, Panel, Slider
from rigkit.puppets import Puppet
from rigkit.scenes.staging import LEG, half_stage, size
from rigkit.scenes.words import SHOWN, capital, directed, signed
from rigkit.skeleton import planar_chain
from rigkit.stage import Row, Stage, row

CLOSE = 1e-4  # metres: a solver is done when the ankle is a tenth of a millimetre from its goal
DEFAULT = "damped least squares"


def hanging(puppet: Puppet, bend_deg: float | Floats = 0.0) -> Floats:
    """Hip, knee and ankle of a leg hung from the origin; shape (..., 3, 2).

    The ankle is straight below.
    """
    straight = two_bone.planar_points(0.0, 0.0, puppet.thigh, puppet.shank)
    return bend.preset_bend(straight, puppet.knee_side * np.radians(bend_deg))


def hanging_heron(heron: Puppet, bend_deg: float = -6.0, knee_deg: float = 5.0) -> Floats:
    """Hip, knee, ankle and toes of a three-bone leg hung from the origin; shape (4, 2).

    Its end is straight below.
    """
    points = planar_chain([0.0, -np.radians(knee_deg), -np.radians(bend_deg)], heron.bones)
    tilt = -np.pi / 2 - np.arctan2(points[-1, 1], points[-1, 0])
    return planar_chain([tilt, -np.radians(knee_deg), -np.radians(bend_deg)], heron.bones)


# The opening: the same question to a straight leg and to a bent one


def opening(puppet: Puppet) -> Row:
    """A straight leg and one with five degrees of bend under a lower pelvis.

    Both are asked to keep their foot.
    """
    asked = {"lowered": 0.13, "solver": DEFAULT}
    straight, _ = _inverse_leg(puppet, 0.0, "Straight: it stalls, 13 cm short", **asked)
    bent, _ = _inverse_leg(puppet, 5.0, "5° of preset bend: it knows its side", **asked)
    return row(
        straight,
        bent,
        title=(
            "A straight leg asked to shorten does not move; the same leg with a preset bend "
            "of 5 degrees brings its ankle to the goal"
        ),
    )


# Forward and inverse under one pelvis


def crouch(puppet: Puppet, lowered_cm: float, bend_deg: float, solver: str) -> tuple[Row, str]:
    """A forward and an inverse leg whose pelvis was lowered, and what happened in words."""
    lowered = lowered_cm / 100
    forward = _forward_leg(puppet, bend_deg, lowered)
    inverse, solution = _inverse_leg(
        puppet, bend_deg, "Inverse: posed from its goal", lowered, solver
    )
    words = (
        f"Pelvis {lowered_cm:.1f} cm lower, preset bend {bend_deg:.1f}°. "
        f"Forward chain: the foot is <b>{lowered_cm:.1f} cm</b> from its place. "
        f"Inverse chain, {solver}: {_outcome(solution)}"
    )
    return row(forward, inverse), words


def crouch_panel(puppet: Puppet) -> Panel:
    """Two legs under one pelvis slider: a forward chain and an inverse chain."""
    return Panel(
        "Lower the pelvis: what follows, and what stays?",
        [
            Slider("lowered_cm", "Pelvis lowered", 0.0, 25.0, 0.5, 13.0, "cm"),
            Slider("bend_deg", "Preset bend", 0.0, 20.0, 0.1, 0.0, "°"),
            Choice("solver", "Solver", tuple(solvers.SOLVERS), DEFAULT),
        ],
        partial(crouch, puppet),
        {
            "Standing": (0, 0),
            "Straight, 13 cm down": (13, 0),
            "One degree, 13 cm down": (13, 1),
            "Ten degrees, deep crouch": (25, 10),
        },
    )


# A solver's way, and the closed form's two answers


def two_answers(puppet: Puppet, raised: float) -> Stage:
    """The two poses of a leg that put its ankle on one goal.

    The goal is `raised` metres above where the ankle hangs straight.
    """
    goal = np.array([0.0, raised - puppet.leg_length])
    flexion = np.degrees(two_bone.solve_planar(goal, puppet.thigh, puppet.shank).knee)
    return _answers(puppet, goal, 0.0, f"One goal, two legs bent by {flexion:.1f}°")


def pull(
    puppet: Puppet, raised_cm: float, forward_cm: float, bend_deg: float, solver: str, step: int
) -> tuple[Row, str]:
    """A solver's chain after some steps beside the closed form's answers, and both in words."""
    goal = np.array([forward_cm / 100, raised_cm / 100 - puppet.leg_length])
    start = hanging(puppet, bend_deg)
    solution = solvers.SOLVERS[solver](start, goal, tolerance=CLOSE, max_iterations=80, trace=True)
    trace = solution.trace
    assert trace is not None  # it was asked for
    last = len(trace) - 1
    taken = min(step, last)
    now = trace[taken]
    miss_cm = 100 * np.linalg.norm(now[-1] - goal)
    stage = _room(puppet, f"{capital(solver)}: step {taken} of {last}")
    stage.ghost(start).path(trace[: taken + 1, 1], "soft").chain(now, "inverse", names=LEG)
    if miss_cm >= SHOWN:
        stage.goal(goal, "goal").measure(now[-1], goal, f"{miss_cm:.1f} cm", offset=-60)
    else:
        stage.goal(goal, "goal, miss 0.0 cm")
    words = (
        f"Step {taken}: miss <b>{miss_cm:.1f} cm</b>, knee"
        f" {_side_in_words(bend.measure_bend(now).angle)}. In the end: {_outcome(solution)}"
    )
    return row(stage, _answers(puppet, goal, bend_deg, "The closed form's answers")), words


def pull_panel(puppet: Puppet) -> Panel:
    """A goal to place, a bend to preset, a solver to follow step by step."""
    return Panel(
        "Walk through the steps: to which answer is the leg drawn?",
        [
            Slider("bend_deg", "Preset bend", 0.0, 20.0, 0.1, 1.0, "°"),
            Slider("raised_cm", "Goal raised", 0.0, 50.0, 0.5, 13.0, "cm"),
            Slider("forward_cm", "Goal forward", -20.0, 20.0, 0.5, 0.0, "cm"),
            Choice("solver", "Solver", tuple(solvers.SOLVERS), DEFAULT),
            Slider("step", "Steps taken", 0, 80, 1, 2),
        ],
        partial(pull, puppet),
        {
            name: {"bend_deg": bend_deg, "raised_cm": 13, "forward_cm": forward_cm, "step": step}
            for name, bend_deg, forward_cm, step in (
                ("Straight and stuck", 0, 0, 80),
                ("One degree, first step", 1, 0, 1),
                ("One degree, to the end", 1, 0, 80),
                ("Straight, goal 3 cm forward", 0, 3, 80),
            )
        },
    )


# How little bend is enough


def steps_needed(puppet: Puppet, bends_deg: Floats, raised: float = 0.13) -> dict[str, Any]:
    """Steps each solver takes from each preset bend; a mapping of solver name to int array."""
    start = hanging(puppet, bends_deg)
    goal = [0.0, raised - puppet.leg_length]
    return {
        name: solve(start, goal, tolerance=CLOSE).steps for name, solve in solvers.SOLVERS.items()
    }


def steps_plot(puppet: Puppet) -> plots.Plot:
    """Steps against preset bend, for every solver."""
    bends_deg = np.logspace(-6, np.log10(20), 60)
    return plots.curves(
        bends_deg,
        steps_needed(puppet, bends_deg),
        "preset bend (degrees, in powers of ten)",
        "steps until within 0.1 mm",
        log_x=True,
        title="The smaller the bend, the longer the start",
        desc=(
            "Steps against preset bend from a millionth of a degree to 20 degrees, for four"
            " solvers. Each tenfold smaller bend costs about the same number of further steps."
        ),
    )


def right_side_share(
    puppet: Puppet,
    bends_deg: Floats,
    rng: np.random.Generator,
    legs: int = 400,
    dtype: type = float,
    goal_noise: float = 0.0,
    knee_noise: float = 0.0,
) -> Floats:
    """The share of legs whose knee comes out on its preset side by more than a degree.

    They are hung in random directions.

    Parameters
    ----------
    puppet : Puppet
    bends_deg : array_like, shape (b,)
    rng : numpy.random.Generator
    legs : int
        How many legs for each bend.
    dtype : float type
        The number type in which joints are stored and solved.
    goal_noise, knee_noise : float
        Standard deviation of each coordinate of the goal, and of the knee when it was placed,
        metres.

    Returns
    -------
    ndarray, shape (b,)
    """
    turn = rng.uniform(0, 2 * np.pi, legs)
    down = np.stack([np.sin(turn), -np.cos(turn)], axis=-1)
    ahead = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    straight = down[:, None, :] * np.array([0.0, puppet.thigh, puppet.leg_length])[:, None]
    start = bend.preset_bend(straight, np.radians(bends_deg)[:, None], ahead)
    start[..., 1, :] += knee_noise * rng.standard_normal(start[..., 1, :].shape)
    goal = (
        start[..., -1, :] - 0.13 * down + goal_noise * rng.standard_normal(start[..., -1, :].shape)
    )
    solved = solvers.damped_least_squares(start, goal, tolerance=CLOSE, dtype=dtype)
    angle = bend.measure_bend(solved.points, np.broadcast_to(ahead, goal.shape)).angle
    return np.mean(angle > np.radians(1.0), axis=-1)


def sides_plot(puppet: Puppet) -> plots.Plot:
    """Share of knees that come out on their preset side, against the preset bend."""
    bends_deg = np.logspace(-15, 1, 49)
    rng = np.random.default_rng(6)
    shares = {
        "double precision": right_side_share(puppet, bends_deg, rng),
        "single precision": right_side_share(puppet, bends_deg, rng, dtype=np.float32),
        "goal off by 1 cm": right_side_share(puppet, bends_deg, rng, goal_noise=0.01),
        "knee placed 3 mm off": right_side_share(puppet, bends_deg, rng, knee_noise=0.003),
    }
    return plots.curves(
        bends_deg,
        {name: 100 * share for name, share in shares.items()},
        "preset bend (degrees, in powers of ten)",
        "knees on the preset side (%)",
        log_x=True,
        title="Below its own noise, a bend is a toss of a coin",
        desc=(
            "Share of legs whose knee comes out on its preset side, against preset bend. All curves"
            " rise from about half to all: in double precision near a ten-million-millionth of a"
            " degree, in single precision near a millionth, with a goal off by 1 centimetre near a"
            " tenth, with a knee placed 3 millimetres off near one degree."
        ),
    )


# The heron


def heron_crouch(heron: Puppet, lowered_cm: float, bend_deg: float) -> tuple[Stage, str]:
    """The heron's leg before and after its hips sink, and what it looks like.

    Its middle joint is preset by `bend_deg`.
    """
    rest = hanging_heron(heron, bend_deg)
    rest[:, 1] += heron.ankle_height - rest[-1, 1]
    start = rest - [0.0, lowered_cm / 100]
    solution = solvers.SOLVERS[DEFAULT](start, rest[-1], tolerance=CLOSE)
    angle_deg = np.degrees(bend.measure_bend(solution.points[1:]).angle)
    title = "Its middle joint has no side"
    if abs(angle_deg) > 1:
        back = "back, like a heron's", "forward: a person on stilts"
        title = f"Its middle joint points {back[int(angle_deg > 1)]}"
    stage = Stage("side", (-0.95, -0.1), (0.95, 1.32), title, width=600).floor().ghost(rest)
    _draw(stage, heron, solution.points, "inverse")
    stage.goal(rest[-1], f"goal, miss {100 * solution.miss:.1f} cm", place="left")
    words = (
        f"Hips {lowered_cm:.1f} cm lower, preset bend {signed(bend_deg, 1)} (minus is back). The"
        f" middle joint bends <b>{_side_in_words(np.radians(angle_deg))}</b>. {title}."
    )
    return stage, words


def heron_panel(heron: Puppet) -> Panel:
    """The heron's leg, whose preset bend can be given the wrong sign."""
    return Panel(
        "Break it: give the heron a person's bend",
        [
            Slider("lowered_cm", "Hips lowered", 0.0, 45.0, 0.5, 25.0, "cm"),
            Slider("bend_deg", "Preset bend at the ankle", -20.0, 20.0, 0.5, 6.0, "°"),
        ],
        partial(heron_crouch, heron),
        {"A person's bend": (25, 6), "A heron's bend": (25, -6), "Deep, right way": (45, -6)},
        size=640,
    )


# One view each


def _room(puppet, title):
    """A view of a hanging leg, hip at the origin."""
    return half_stage(title, (-0.75, -1.1), (0.75, 0.1), puppet.leg_length)


def _standing(puppet, bend_deg, title):
    """The leg at rest with its foot flat on the floor, and a view of it.

    The view also holds the leg 25 cm lower.
    """
    rest = hanging(puppet, bend_deg)
    rest = rest + [0.0, puppet.ankle_height - rest[-1, 1]]
    return rest, half_stage(title, (-0.65, -0.28), (0.65, 0.96), size(puppet)).floor().ghost(rest)


def _draw(stage, puppet, points, kind):
    """A leg on its level foot."""
    stage.foot(points[-1], kind=kind, height=puppet.ankle_height)
    return stage.chain(points, kind, names=LEG)


def _forward_leg(puppet, bend_deg, lowered):
    rest, stage = _standing(puppet, bend_deg, "Forward: posed from its angles")
    now = rest - [0.0, lowered]
    _draw(stage, puppet, now, "forward").goal(rest[-1], "")
    if lowered:
        stage.measure(rest[-1], now[-1], f"{100 * lowered:.1f} cm", offset=-60)
    return stage


def _inverse_leg(puppet, bend_deg, title, lowered, solver):
    rest, stage = _standing(puppet, bend_deg, title)
    solution = solvers.SOLVERS[solver](rest - [0.0, lowered], rest[-1], tolerance=CLOSE)
    miss = f"{100 * solution.miss:.1f} cm"
    _draw(stage, puppet, solution.points, "inverse")
    if solution.miss > 0.005:
        stage.goal(rest[-1], "").measure(rest[-1], solution.points[-1], miss, offset=-60)
    else:
        stage.goal(rest[-1], f"goal, miss {miss}")
    return stage, solution


def _answers(puppet, goal, bend_deg, title):
    """Both poses that meet a goal: the preset side drawn as a leg, what is not chosen dotted."""
    stage = _room(puppet, title).goal(goal, "goal")
    for side, name in ((-1, "back"), (1, "front")):
        leg = two_bone.solve_planar(goal, puppet.thigh, puppet.shank, knee_direction=side)
        points = two_bone.planar_points(leg.hip, leg.knee, puppet.thigh, puppet.shank)
        if bend_deg and side == puppet.knee_side:
            stage.chain(points, "inverse", names=LEG)
        else:
            stage.ghost(points).dots(points).note(points[1], name if bend_deg else f"{name}?")
    return stage


def _outcome(solution):
    """A solution in words."""
    miss = f"miss <b>{100 * solution.miss:.1f} cm</b>"
    if solution.stalled:
        return f"<b>stalled</b>, no joint turned, {miss}."
    angle = bend.measure_bend(solution.points).angle
    return f"{_format.count(solution.steps, 'step')}, {miss}, knee {_side_in_words(angle)}."


def _side_in_words(angle):
    return directed(np.degrees(angle), "forward", "backward", "straight", "°")
