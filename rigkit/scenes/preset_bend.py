"""Lesson 06's pictures: a straight leg that stalls, the bend that frees it, and the heron.

The heron bends the other way.

Everything is seen from the side, x forward and y up, in metres.
"""

from functools import cache, partial
from typing import Any

import numpy as np

from rigkit import _format, bend, plots, solvers, two_bone
from rigkit._types import Floats
from rigkit.asking import Check, Guess, Number
from rigkit.panels import Choice, Grip, Panel, Slider, quick_check
from rigkit.puppets import PUPPETS, Puppet
from rigkit.scenes.bodies import draw_body, level_hips
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


# The opening, and what four solvers do


def opening(puppet: Puppet) -> Row:
    """A straight leg and one with five degrees of bend, both at rest."""
    views = []
    for bend_deg, title in ((0.0, "Perfectly straight"), (5.0, "Bent by 5°")):
        rest, stage = _standing(puppet, bend_deg, title, "inverse", 0.0)
        views.append(_draw(stage, puppet, rest, "inverse"))
    return row(
        *views,
        title=(
            f"{puppet.name} stands, once with a perfectly straight leg and once with a knee bent by"
            " 5 degrees"
        ),
    )


def first_steps(puppet: Puppet) -> Row:
    """The first step of four solvers, from a leg that is well bent."""
    start, goal = hanging(puppet, 40.0), np.array([0.3, 0.25]) - [0.0, puppet.leg_length]
    return row(
        *(_solved(puppet, name, start, goal, 1) for name in solvers.SOLVERS),
        title=(
            "The first step of each of four solvers, from the same bent leg, dotted, toward the"
            " same goal"
        ),
    )


def near_goals(puppet: Puppet, below: float = 0.30) -> Row:
    """The ends of four solvers' ways from a straight leg to a goal nearer than its knee.

    The goal is `below` the hip, metres.
    """
    goal = np.array([0.0, -below])
    return row(
        *(_solved(puppet, name, hanging(puppet), goal, None) for name in solvers.SOLVERS),
        title=(
            "Four solvers asked to bring the ankle of a straight leg straight up, above where its"
            f" knee is; {_reached(puppet, goal)} succeeds"
        ),
    )


def escape_guess(puppet: Puppet, below: float = 0.30) -> Panel:
    """The four solvers and a goal nearer than the knee, after a guess at which gets away."""
    goal = np.array([0.0, -below])
    miss = {
        name: 100 * float(solve(hanging(puppet), goal).miss)
        for name, solve in solvers.SOLVERS.items()
    }
    said = ", ".join(f"{name} <b>{cm:.1f} cm</b>" for name, cm in miss.items())
    return Panel(
        "A straight leg and a goal nearer than its knee", [], lambda: (near_goals(puppet), "")
    ).after(
        Guess(
            "06/escape",
            "Leave the goal on the line of the straight leg, but put it above the knee. One of the"
            " four now gets away. Which one?",
            tuple(solvers.SOLVERS),
            lambda: (_reached(puppet, goal), f"Misses: {said}."),
        )
    )


def _reached(puppet, goal):
    """The one solver that brings a straight leg's ankle to a goal."""
    (name,) = (n for n, solve in solvers.SOLVERS.items() if solve(hanging(puppet), goal).reached)
    return name


def _solved(puppet, name, start, goal, steps):
    """One solver's chain after some steps, None for all of them, in a narrow view."""
    solution = solvers.SOLVERS[name](start, goal, tolerance=CLOSE, trace=True)
    assert solution.trace is not None  # it was asked for
    points = solution.points if steps is None else solution.trace[steps]
    stage = half_stage(capital(name), (-0.42, -1.12), (0.58, 0.12), puppet.leg_length, width=212)
    return stage.ghost(start).chain(points, "inverse", thickness=12).goal(goal, "")


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
        "One pelvis lowers a forward and an inverse leg",
        [
            Slider("lowered_cm", "Pelvis lowered", 0.0, 25.0, 0.5, 0.0, "cm"),
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
        grips=[
            Grip("Hip", partial(_lowered, puppet, 0), ("lowered_cm",)),
            Grip("Knee", partial(_lowered, puppet, 1), ("bend_deg",), views=(0,)),
            Grip("Knee at rest", partial(_standing_knee, puppet), ("bend_deg",), views=(1,)),
        ],
    )


WAYS = {0: "Neither: it stays straight", 1: "Forward", -1: "Backward"}


def way_guess(puppet: Puppet) -> Panel:
    """The pelvis to lower, after a guess at where a straight leg's knee goes."""
    return crouch_panel(puppet).after(
        Guess(
            "06/way",
            "Both legs are perfectly straight. The pelvis is going to be lowered by 13 cm, and a"
            " solver is to keep the inverse leg's ankle on its goal. Which way does that knee go?",
            (WAYS[1], WAYS[-1], WAYS[0]),
            partial(_way_found, puppet),
            then="Pull the leg down by its hip, or press <em>Straight, 13 cm down</em>.",
        )
    )


def _way_found(puppet, lowered_cm, bend_deg, solver):
    if lowered_cm < 5 or bend_deg:
        return None
    rest = _rest(puppet, bend_deg)
    start = rest - [0.0, lowered_cm / 100]
    solution = solvers.SOLVERS[solver](start, rest[-1], tolerance=CLOSE)
    angle = np.degrees(bend.measure_bend(solution.points).angle)
    right = WAYS[0 if solution.stalled else int(np.sign(angle))]
    words = f"{capital(solver)} leaves the ankle <b>{100 * solution.miss:.1f} cm</b> off its goal"
    return right, f"{words}, {'and no joint has turned' if solution.stalled else 'bent'}."


TURNS = ("The hip", "The knee", "Neither")


def sitting_check() -> Panel:
    """The joint whose turn brings a straight leg's ankle nearer, in a leg that lies level."""
    odo = PUPPETS["Odo"]
    level = two_bone.planar_points(np.pi / 2, 0.0, odo.thigh, odo.shank)
    helps = np.abs(bend.transpose_step(level, level[-1] - [0.10, 0.0])) > 1e-9
    right = TURNS[int(np.argmax(helps)) if helps.any() else 2]
    return quick_check(
        Check(
            "06/sitting",
            "Odo sits with one leg perfectly straight and level in front of him. His ankle is to"
            " come 10 cm straight back, toward the hip. Which joint, turned a little by itself,"
            " brings it nearer?",
            TURNS,
            right,
            "Each of them moves the ankle up or down, and the goal lies level with it. A straight"
            " leg is stuck however it lies.",
            {
                "The hip": "The hip carries the ankle on a circle about itself: up or down, at a"
                " right angle to the leg, and no nearer to the hip.",
                "The knee": "A bent knee does bring the ankle nearer to the hip. But its turn"
                " begins up or down, past the goal, as long as thigh and shank lie on one line.",
            },
        )
    )


def _lowered(puppet, joint, lowered_cm, bend_deg, **_):
    """Hip, knee or ankle of the forward leg."""
    return _rest(puppet, bend_deg)[joint] - [0.0, lowered_cm / 100]


def _standing_knee(puppet, bend_deg, **_):
    return _rest(puppet, bend_deg)[1]


# A solver's way, and the closed form's two answers


def two_answers(puppet: Puppet, raised: float) -> Stage:
    """The two poses of a leg that put its ankle on one goal.

    The goal is `raised` metres above where the ankle hangs straight.
    """
    goal = np.array([0.0, raised - puppet.leg_length])
    flexion = np.degrees(two_bone.solve_planar(goal, puppet.thigh, puppet.shank).knee)
    return _answers(puppet, goal, 0.0, f"One goal, two legs bent by {flexion:.1f}°")


def answers_guess(puppet: Puppet, raised: float = 0.10) -> Panel:
    """The closed form's answers, after a guess at how many there are."""
    goal = [0.0, raised - puppet.leg_length]
    legs = [
        two_bone.solve_planar(goal, puppet.thigh, puppet.shank, knee_direction=side)
        for side in (1, -1)
    ]
    knees = {round(float(leg.knee), 9) for leg in legs if leg.miss < 1e-9}
    options = {0: "None", 1: "One", 2: "Two", 3: "As many as you like"}
    bent = np.degrees([abs(leg.knee) for leg in legs])
    words = (
        f"Knee forward, bent by <b>{bent[0]:.1f}°</b>; knee backward, bent by"
        f" <b>{bent[1]:.1f}°</b>. Each misses by {100 * max(leg.miss for leg in legs):.1f} cm."
    )
    return Panel(
        "One goal, and all the poses that meet it", [], lambda: (two_answers(puppet, raised), "")
    ).after(
        Guess(
            "06/answers",
            f"Seen from the side: in how many poses is the ankle exactly {100 * raised:.0f} cm"
            " above where it hangs?",
            tuple(options.values()),
            lambda: (options[len(knees)], words),
        )
    )


def pull(
    puppet: Puppet, raised_cm: float, forward_cm: float, bend_deg: float, solver: str, step: int
) -> tuple[Row, str]:
    """A solver's chain after some steps beside the closed form's answers, and both in words."""
    goal = _goal(puppet, raised_cm, forward_cm)
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
        "A solver's steps from a hanging leg to its goal",
        [
            Slider("bend_deg", "Preset bend", 0.0, 20.0, 0.1, 0.0, "°"),
            Slider("raised_cm", "Goal raised", 0.0, 50.0, 0.5, 13.0, "cm"),
            Slider("forward_cm", "Goal forward", -20.0, 20.0, 0.5, 0.0, "cm"),
            Choice("solver", "Solver", tuple(solvers.SOLVERS), DEFAULT),
            Slider("step", "Steps taken", 0, 80, 1, 0),
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
        grips=[
            Grip("Goal", partial(_goal, puppet), ("raised_cm", "forward_cm")),
            Grip("Knee at rest", partial(_hanging_knee, puppet), ("bend_deg",), views=(0,)),
        ],
    )


def drawn_guess(puppet: Puppet) -> Panel:
    """A solver's steps, after a guess at where a straight leg goes whose goal is a little ahead."""
    return pull_panel(puppet).after(
        Guess(
            "06/drawn",
            "The leg is straight and stuck below its goal. Now the goal moves 3 cm ahead of the"
            " leg's line. Which way does the knee go?",
            (WAYS[1], WAYS[-1], WAYS[0]),
            partial(_drawn_found, puppet),
            then="Press <em>Straight, goal 3 cm forward</em>, or pull the goal ahead and take"
            " steps.",
        )
    )


def _drawn_found(puppet, raised_cm, forward_cm, bend_deg, solver, step):
    if bend_deg or forward_cm < 1:
        return None
    goal = _goal(puppet, raised_cm, forward_cm)
    solution = solvers.SOLVERS[solver](
        hanging(puppet), goal, tolerance=CLOSE, max_iterations=80, trace=True
    )
    assert solution.trace is not None  # it was asked for
    now = solution.trace[min(step, len(solution.trace) - 1)]
    angle = float(np.degrees(bend.measure_bend(now).angle))
    if abs(angle) < 1:
        return None
    words = (
        f"The knee has bent <b>{_side_in_words(np.radians(angle))}</b>. Nobody asked for a side."
    )
    return WAYS[int(np.sign(angle))], words


def _goal(puppet, raised_cm, forward_cm, **_):
    return np.array([forward_cm / 100, raised_cm / 100 - puppet.leg_length])


def _hanging_knee(puppet, bend_deg, **_):
    return hanging(puppet, bend_deg)[1]


# How little bend is enough


def steps_needed(puppet: Puppet, bends_deg: Floats, raised: float = 0.13) -> dict[str, Any]:
    """Steps each solver takes from each preset bend; a mapping of solver name to int array."""
    start = hanging(puppet, bends_deg)
    goal = [0.0, raised - puppet.leg_length]
    return {
        name: solve(start, goal, tolerance=CLOSE).steps for name, solve in solvers.SOLVERS.items()
    }


@cache
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


GROWTH = ("A thousand times as many", "Each time about ten more", "No more")


def steps_guess(puppet: Puppet) -> Panel:
    """Steps against bend, after a guess at what a thousand times less bend costs."""
    steps = [int(n) for n in steps_needed(puppet, np.array([1, 1e-3, 1e-6]))["backward-forward"]]
    more = np.diff(steps)
    right = GROWTH[0 if more[0] > 100 else 1 if abs(more - 10).max() <= 2 else 2]
    words = (
        f"It takes <b>{steps[0]}, {steps[1]}, {steps[2]}</b> steps from a bend of 1°, of a"
        " thousandth and of a millionth of a degree."
    )
    return Panel(
        "Steps against preset bend, for each solver", [], lambda: (steps_plot(puppet), "")
    ).after(
        Guess(
            "06/steps",
            "A backward-forward solver brings the ankle to its goal from a bend of 1°. How many"
            " steps more does it take from a bend a thousand times smaller, and a thousand times"
            " smaller again?",
            GROWTH,
            lambda: (right, words),
        )
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


@cache
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


def noise_guess(puppet: Puppet) -> Panel:
    """Sides against bend, after a guess at how much is enough for a knee placed by hand."""
    bends = np.array([0.001, 0.1, 3.0])
    options = tuple(f"{degrees:g}°" for degrees in bends)
    shares = right_side_share(puppet, bends, np.random.default_rng(6), knee_noise=0.003)
    enough = options[int(np.argmax(shares > 0.99))]
    said = ", ".join(
        f"{100 * share:.0f} % at {name}" for name, share in zip(options, shares, strict=True)
    )
    return Panel(
        "The side on which knees come out, against preset bend",
        [],
        lambda: (sides_plot(puppet), ""),
    ).after(
        Guess(
            "06/noise",
            "Somebody places the knee of a leg by hand, and it ends up 3 mm off in any direction."
            " How much preset bend is enough for 99 legs of 100 to bend the way they should?",
            options,
            lambda: (enough, f"Of 400 legs, those on the preset side: <b>{said}</b>."),
        )
    )


def cost_check() -> Panel:
    """The height at rest that three times the bend costs."""
    pip, few, many = PUPPETS["Pip"], 4, 12
    cost = bend.reach_cost(np.radians([few, many]), *pip.bones) * pip.leg_length * 1000
    times = float(cost[1] / cost[0])
    return quick_check(
        Check(
            "06/cost",
            f"Pip's preset bend grows from {few}° to {many}°. How many times as much height at"
            " rest does it cost?",
            Number("times", 0, 1000, 0.2),
            times,
            f"From {cost[0]:.2f} to {cost[1]:.2f} mm: the cost goes with the square of the bend.",
            {
                many / few: "That is how many times the bend grows. The cost goes with its square.",
                float(cost[1] - cost[0]): "That is the difference in millimetres; the question asks"
                " how many times.",
                (many / few) ** 3: "That is the cube; it is the square.",
                2 * many / few: "Twice the bend costs four times as much, and this is three times"
                " the bend: square it.",
                4: "Four times is for twice the bend. This is three times.",
                1: "It does grow: a leg that is bent more is shorter.",
                many - few: "That is the difference of the bends, in degrees.",
            },
            "Twice the bend costs four times the height. What does three times the bend cost?",
        )
    )


# The heron


def heron_crouch(heron: Puppet, lowered_cm: float, bend_deg: float) -> tuple[Stage, str]:
    """The heron's leg before and after its hips sink, and what it looks like.

    Its middle joint is preset by `bend_deg`.
    """
    rest = _heron_rest(heron, bend_deg)
    start = rest - [0.0, lowered_cm / 100]
    solution = solvers.SOLVERS[DEFAULT](start, rest[-1], tolerance=CLOSE)
    angle_deg = np.degrees(bend.measure_bend(solution.points[1:]).angle)
    title = "Its middle joint has no side"
    if abs(angle_deg) > 1:
        back = "back, like a heron's", "forward: a person on stilts"
        title = f"Its middle joint points {back[int(angle_deg > 1)]}"
    stage = Stage("side", (-0.95, -0.1), (0.95, 1.32), title, width=580).floor()
    draw_body(stage, heron, level_hips(heron, [0.0, start[0, 1], start[0, 0]])).ghost(rest)
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
            Slider("lowered_cm", "Hips lowered", 0.0, 45.0, 0.5, 0.0, "cm"),
            Slider("bend_deg", "Preset bend at the ankle", -20.0, 20.0, 0.5, 6.0, "°"),
        ],
        partial(heron_crouch, heron),
        {"A person's bend": (25, 6), "A heron's bend": (25, -6), "Deep, right way": (45, -6)},
        size=640,
        grips=[
            Grip("Hip", partial(_heron_hip, heron), ("lowered_cm",)),
            Grip("Middle joint at rest", partial(_middle_joint, heron), ("bend_deg",)),
        ],
    )


COMPLAINTS = ("It stalls", "It ends a few centimetres off", "Nothing: the miss is zero")


def heron_guess(heron: Puppet) -> Panel:
    """The heron with a person's bend, after a guess at what its solver complains of."""
    return heron_panel(heron).after(
        Guess(
            "06/heron",
            "Somebody gave the heron the bend of a person, +6° where it should be −6°. Its hips are"
            " going to sink by 25 cm. What does the solver complain of?",
            COMPLAINTS,
            partial(_heron_found, heron),
            then="Pull the hip down, or press <em>A person's bend</em>.",
        )
    )


def _heron_found(heron, lowered_cm, bend_deg):
    if lowered_cm < 10 or bend_deg < 1:
        return None
    rest = _heron_rest(heron, bend_deg)
    solution = solvers.SOLVERS[DEFAULT](rest - [0.0, lowered_cm / 100], rest[-1], tolerance=CLOSE)
    miss_cm, angle = 100 * solution.miss, bend.measure_bend(solution.points[1:]).angle
    right = COMPLAINTS[0 if solution.stalled else 1 if miss_cm >= SHOWN else 2]
    words = (
        f"The miss is <b>{miss_cm:.1f} cm</b>, and the middle joint points"
        f" <b>{directed(np.degrees(angle), 'forward', 'backward', 'straight', '°')}</b>."
    )
    return right, words


def _heron_hip(heron, lowered_cm, bend_deg):
    return _heron_rest(heron, bend_deg)[0] - [0.0, lowered_cm / 100]


def _middle_joint(heron, bend_deg, **_):
    return _heron_rest(heron, bend_deg)[2]


def _heron_rest(heron, bend_deg):
    """The heron's leg at rest, its toes on the floor."""
    rest = hanging_heron(heron, bend_deg)
    return rest + [0.0, heron.ankle_height - rest[-1, 1]]


# One view each


def _room(puppet, title):
    """A view of a hanging leg, hip at the origin."""
    return half_stage(title, (-0.75, -1.1), (0.75, 0.1), puppet.leg_length)


def _standing(puppet, bend_deg, title, kind, lowered):
    """The leg at rest with its foot flat on the floor, and a view of it.

    The view also holds the leg 25 cm lower.
    """
    rest = _rest(puppet, bend_deg)
    corners = (-0.65, -0.27), (0.65, 0.94)
    stage = half_stage(title, *corners, size(puppet), legend=(kind,)).floor()
    forward, up = rest[0] - [0.0, lowered]
    return rest, draw_body(stage, puppet, level_hips(puppet, [0.0, up, forward])).ghost(rest)


def _rest(puppet, bend_deg):
    """The leg at rest, its foot flat on the floor."""
    rest = hanging(puppet, bend_deg)
    return rest + [0.0, puppet.ankle_height - rest[-1, 1]]


def _draw(stage, puppet, points, kind):
    """A leg on its level foot."""
    stage.foot(points[-1], kind=kind, height=puppet.ankle_height)
    return stage.chain(points, kind, names=LEG)


def _forward_leg(puppet, bend_deg, lowered):
    rest, stage = _standing(puppet, bend_deg, "Forward: posed from its angles", "forward", lowered)
    now = rest - [0.0, lowered]
    _draw(stage, puppet, now, "forward").goal(rest[-1], "")
    if lowered:
        stage.measure(rest[-1], now[-1], f"{100 * lowered:.1f} cm", offset=-60)
    return stage


def _inverse_leg(puppet, bend_deg, title, lowered, solver):
    rest, stage = _standing(puppet, bend_deg, title, "inverse", lowered)
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
