"""Inverse chains by small steps, for chains of any length: four solvers, called alike.

Each starts from points, (..., n + 1, 2) seen from the side or (..., n + 1, 3), and repeats its step
until the end is on its goal. Many chains are solved side by side; those that are done stay as they
are. None knows on which side a knee belongs. Mostly they end on the side where they started, though
none promises it; a straight start gives them no side at all (see `bend.stalls`).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import DTypeLike

from rigkit import _chain, _check, _format
from rigkit._types import AnyFloats, ArrayLike, Bools, Ints
from rigkit._xyz import Part, Parts, Vector, cross, dot, minus, plus, split, times, where

__all__ = [
    "LONGEST_ERROR",
    "SOLVERS",
    "Solution",
    "cyclic_descent",
    "fabrik",
    "jacobian_transpose",
    "damped_least_squares",
]

LONGEST_ERROR = 0.25  # the most that damped least squares takes on at once, of the chain's length


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Solution(_format.NotebookDisplay):
    """The answer of a solver, and how it went.

    Attributes
    ----------
    points : ndarray, shape (..., n + 1, 2) or (..., n + 1, 3)
        The chain at the end, in the number type it was solved in.
    reached : ndarray of bool, shape (...)
        True where the end is within the tolerance of its goal.
    miss : ndarray, shape (...)
        How far the end is from its goal [m].
    steps : ndarray of int, shape (...)
        The number of steps taken.
    stalled : ndarray of bool, shape (...)
        True where it stopped moving, not by a single digit, short of a goal in reach.
    trace : ndarray, shape (steps + 1, ..., n + 1, 2 or 3), or None
        The chain at the start and after each step, if asked for; chains that are done stay as they
        are.
    """

    points: AnyFloats
    reached: Bools
    miss: AnyFloats
    steps: Ints
    stalled: Bools
    trace: AnyFloats | None

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"end {_format.point(_format.part(self.points, -1, 1))}",
            _format.reach(self.reached, self.miss),
            f"steps {_format.amount(self.steps, '', 0)}",
            _format.truth(self.stalled, "stalled", "never stalled"),
            "" if self.trace is None else "with its trace",
            batch=_format.batch(self.miss),
        )


def cyclic_descent(
    points: ArrayLike,
    goal: ArrayLike,
    *,
    axes: ArrayLike | None = None,
    tolerance: float = 1e-6,
    max_iterations: int = 500,
    trace: bool = False,
    dtype: DTypeLike = float,
) -> Solution:
    """Cyclic coordinate descent: one joint after the other, from the end inward, turns to the goal.

    L.-C. T. Wang, C. C. Chen, "A combined optimization method for solving the inverse kinematics
    problems of mechanical manipulators", *IEEE Trans. Robotics and Automation* 7(4):489–499, 1991.

    Parameters
    ----------
    points : array_like, shape (..., n + 1, 2) or (..., n + 1, 3)
        The chain at the start, from the root to the end, metres.
    goal : array_like, shape (..., 2) or (..., 3)
    axes : array_like, shape (..., n, 3), optional
        Hinge axes of a chain in space, at the start; they are carried along. Without them joints
        turn freely.
    tolerance : float
        The distance from its goal at which the end counts as there, metres.
    max_iterations : int
        The most steps to take.
    trace : bool
        True to keep the chain after each step.
    dtype : float type
        The number type of the whole iteration: `float` for double precision, `numpy.float32` for
        single.

    Returns
    -------
    Solution
        A goal out of reach is no error: the end comes near, and the solution says its miss.

    Raises
    ------
    ValueError
        Bad numbers, a bone of no length, shapes that do not fit.

    Examples
    --------
    >>> from rigkit import solvers
    >>> leg = [[0, 0], [0.02, -0.4], [0, -0.8]]
    >>> solution = solvers.cyclic_descent(leg, goal=[0.1, -0.7])
    >>> bool(solution.reached), solution.points[-1].round(4).tolist()
    (True, [0.1, -0.7])
    """
    return _repeat(_cyclic_pass, points, goal, axes, tolerance, max_iterations, trace, dtype)


def fabrik(
    points: ArrayLike,
    goal: ArrayLike,
    *,
    axes: ArrayLike | None = None,
    tolerance: float = 1e-6,
    max_iterations: int = 500,
    trace: bool = False,
    dtype: DTypeLike = float,
) -> Solution:
    """Backward-forward passes (FABRIK); a goal too far away straightens the chain to it.

    One step is `bend.fabrik_step`, where the source is.

    Parameters
    ----------
    points, goal, tolerance, max_iterations, trace, dtype
        As in `cyclic_descent`.
    axes : None
        Must be left out: the passes move points and know no hinges.

    Returns
    -------
    Solution
        A goal out of reach is no error: the end comes near, and the solution says its miss.

    Raises
    ------
    ValueError
        Bad numbers, a bone of no length, shapes that do not fit.

    Examples
    --------
    >>> from rigkit import solvers
    >>> leg = [[0, 0], [0.02, -0.4], [0, -0.8]]
    >>> solution = solvers.fabrik(leg, goal=[0.1, -0.7])
    >>> bool(solution.reached), solution.points[-1].round(4).tolist()
    (True, [0.1, -0.7])
    """
    if axes is not None:
        raise ValueError(
            "`axes` must be left out; got some. Backward-forward passes know no hinges: "
            "use another solver, or give points in the hinges' plane."
        )
    return _repeat(
        _backward_forward_pass, points, goal, None, tolerance, max_iterations, trace, dtype
    )


def jacobian_transpose(
    points: ArrayLike,
    goal: ArrayLike,
    *,
    axes: ArrayLike | None = None,
    tolerance: float = 1e-6,
    max_iterations: int = 2000,
    trace: bool = False,
    dtype: DTypeLike = float,
) -> Solution:
    """Steps along the Jacobian transposed times the error, each as long as is best along a line.

    From a nearly straight chain that is far: it may leap across to the other side. The step is
    α Jᵀe. It moves the end by α JJᵀe to first order; the α that leaves the least of e is
    (e · JJᵀe) / (JJᵀe · JJᵀe). S. R. Buss, "Introduction to inverse kinematics with Jacobian
    transpose, pseudoinverse and damped least squares methods", 2004, revised 2009.

    Parameters
    ----------
    points, goal, axes, tolerance, max_iterations, trace, dtype
        As in `cyclic_descent`.

    Returns
    -------
    Solution
        A goal out of reach is no error: the end comes near, and the solution says its miss.

    Raises
    ------
    ValueError
        Bad numbers, a bone of no length, shapes that do not fit.

    Examples
    --------
    >>> from rigkit import solvers
    >>> leg = [[0, 0], [0.02, -0.4], [0, -0.8]]
    >>> solution = solvers.jacobian_transpose(leg, goal=[0.1, -0.7])
    >>> bool(solution.reached), solution.points[-1].round(4).tolist()
    (True, [0.1, -0.7])
    """
    return _repeat(_transpose_step, points, goal, axes, tolerance, max_iterations, trace, dtype)


def damped_least_squares(
    points: ArrayLike,
    goal: ArrayLike,
    *,
    axes: ArrayLike | None = None,
    tolerance: float = 1e-6,
    max_iterations: int = 500,
    trace: bool = False,
    dtype: DTypeLike = float,
    damping: float = 0.05,
) -> Solution:
    """Damped least squares: near Newton's step where the chain is free, small where it is not.

    The turns are Jᵀ(JJᵀ + λ²)⁻¹e, which make |Jθ − e|² + λ²|θ|² least: C. W. Wampler, "Manipulator
    inverse kinematic solutions based on vector formulations and damped least-squares methods",
    *IEEE Trans. Systems, Man, and Cybernetics* 16(1):93–101, 1986.

    Two additions of ours: a goal out of reach is aimed at only as far as reach goes, or the chain
    would swing about full reach for ever; and an error longer than a quarter of the chain is
    shortened to that, or the first step of a nearly straight chain would leap anywhere.

    Parameters
    ----------
    points, goal, axes, tolerance, max_iterations, trace, dtype
        As in `cyclic_descent`.
    damping : float
        λ as a share of the chain's length, above zero.

    Returns
    -------
    Solution
        A goal out of reach is no error: the end comes near, and the solution says its miss.

    Raises
    ------
    ValueError
        Bad numbers, a bone of no length, shapes that do not fit.

    Examples
    --------
    >>> from rigkit import solvers
    >>> leg = [[0, 0], [0.02, -0.4], [0, -0.8]]
    >>> solution = solvers.damped_least_squares(leg, goal=[0.1, -0.7])
    >>> bool(solution.reached), solution.points[-1].round(4).tolist()
    (True, [0.1, -0.7])
    """
    damping = _check.one_positive(
        "damping", damping, "It is a share of the chain's length, such as 0.05."
    )

    def step(chain: _Chains) -> None:
        columns = _chain.columns(chain.points, chain.axes)
        square = np.empty((chain.length.size, 3, 3), dtype=chain.points.dtype)
        for i, j in np.ndindex(3, 3):
            square[:, i, j] = sum(column[i] * column[j] for column in columns)
        square[:, range(3), range(3)] += ((damping * chain.length) ** 2)[:, None]
        error = minus(chain.aim(), chain.points[-1])
        size = np.sqrt(dot(error, error))
        error = times(error, np.minimum(1, LONGEST_ERROR * chain.length / (size + (size == 0))))
        pull = np.linalg.solve(square, np.stack(error, axis=-1)[..., None])[..., 0]
        chain.turn_all([dot(column, split(pull)) for column in columns])

    return _repeat(step, points, goal, axes, tolerance, max_iterations, trace, dtype)


SOLVERS = {
    "cyclic descent": cyclic_descent,
    "backward-forward": fabrik,
    "Jacobian transpose": jacobian_transpose,
    "damped least squares": damped_least_squares,
}


def _cyclic_pass(chain: _Chains) -> None:
    for joint in range(len(chain.points) - 2, -1, -1):
        chain.turn(joint, *_chain.turn_toward(chain.points, chain.goal, chain.axes, joint))


def _backward_forward_pass(chain: _Chains) -> None:
    line = minus(chain.goal, chain.points[0])
    distance = np.sqrt(dot(line, line))
    too_far = distance >= chain.length
    chain.points = _chain.two_passes(chain.points, chain.goal, chain.lengths)
    if too_far.any():
        line = times(line, 1 / np.where(too_far, distance, 1))
        for joint, reach in enumerate(np.cumsum(chain.lengths, axis=0), start=1):
            straight = plus(chain.points[0], times(line, reach))
            chain.points[joint] = where(too_far, straight, chain.points[joint])


def _transpose_step(chain: _Chains) -> None:
    error, columns = chain.error(), _chain.columns(chain.points, chain.axes)
    turns = [dot(column, error) for column in columns]
    moved: Parts = (0.0, 0.0, 0.0)
    for column, turn in zip(columns, turns, strict=True):
        moved = plus(moved, times(column, turn))
    square = dot(moved, moved)
    share = dot(error, moved) / (square + (square == 0))
    chain.turn_all([share * turn for turn in turns])


class _Chains:
    """Chains on their way, b of them; joint and component come first.

    Points (n + 1, 3, b), goal (3, b), axes (n, 3, b) or None, lengths (n, b).
    """

    def __init__(
        self,
        points: AnyFloats,
        goal: AnyFloats,
        axes: AnyFloats | None,
        lengths: AnyFloats,
        flat: bool,
    ):
        self.points, self.goal, self.axes, self.lengths = points, goal, axes, lengths
        self.length = lengths.sum(axis=0)
        self.nearest = 2 * lengths.max(axis=0) - self.length  # below zero: all is near enough
        self.flat = flat

    def only(self, kept: Bools) -> _Chains:
        axes = None if self.axes is None else self.axes[..., kept]
        return _Chains(
            self.points[..., kept], self.goal[:, kept], axes, self.lengths[:, kept], self.flat
        )

    def error(self) -> Parts:
        return minus(self.goal, self.points[-1])

    def aim(self) -> Parts:
        """The goal, or the nearest point to it that is in reach of the root."""
        line = minus(self.goal, self.points[0])
        distance = np.sqrt(dot(line, line))
        held = np.minimum(np.maximum(distance, self.nearest), self.length)
        scale = np.where(held == distance, 1, held / (distance + (distance == 0)))
        return plus(self.points[0], times(line, scale))

    def miss(self) -> Part:
        error = self.error()
        return np.sqrt(dot(error, error))

    def turn(self, joint: int, axis: Vector, angle: Part) -> None:
        """Turn one joint, and with it all that hangs below."""
        sine, versine = np.sin(angle), 2 * np.sin(angle / 2) ** 2
        origin = self.points[joint]
        for below in range(joint + 1, len(self.points)):
            arm = minus(self.points[below], origin)
            self.points[below] = plus(origin, _turned(arm, axis, sine, versine))
        if self.axes is not None and not self.flat:  # a flat chain's axes stay as they are
            for below in range(joint + 1, len(self.axes)):
                self.axes[below] = _turned(self.axes[below], axis, sine, versine)

    def turn_all(self, turns: list[Part]) -> None:
        """Turn all joints, from the end inward, so that each turns about its axis as it was."""
        for joint in range(len(self.points) - 2, -1, -1):
            if self.axes is not None:
                self.turn(joint, self.axes[joint], turns[joint])
            else:
                vector = turns[3 * joint : 3 * joint + 3]
                angle = np.sqrt(dot(vector, vector))
                self.turn(joint, times(vector, 1 / (angle + (angle == 0))), angle)


def _turned(vector: Vector, axis: Vector, sine: Part, versine: Part) -> Parts:
    """A vector turned about a unit axis (Rodrigues); no digit changes where the turn is zero."""
    across = cross(axis, vector)
    return plus(vector, plus(times(across, sine), times(cross(axis, across), versine)))


def _repeat(
    step: Callable[[_Chains], None],
    points: ArrayLike,
    goal: ArrayLike,
    axes: ArrayLike | None,
    tolerance: float,
    max_iterations: int,
    trace: bool,
    dtype: DTypeLike,
) -> Solution:
    """Check the arguments, solve all chains side by side, give the answer their batch shape."""
    tolerance = _check.one_positive("tolerance", tolerance, "It is in metres, such as 1e-6.")
    max_iterations = _check.count("max_iterations", max_iterations)
    start, aim, hinges, shape, flat = _chain.prepared(points, goal, axes, _check_dtype(dtype))
    start = start.reshape(*start.shape[:2], -1).copy()
    lengths = _chain.lengths(start)
    if not (lengths > 0).all():
        raise ValueError(
            "`points` must differ from one to the next; got a bone of no length. "
            "Leave the double out."
        )
    hinges = None if hinges is None else hinges.reshape(*hinges.shape[:2], -1).copy()
    chains = _Chains(start, aim.reshape(3, -1), hinges, lengths, flat)
    in_reach = (np.array(chains.aim()) == chains.goal).all(axis=0)
    found, miss, steps, still, record = _solved(step, chains, tolerance, max_iterations, trace)
    reached = miss <= tolerance
    stalled = still & ~reached & in_reach

    def batch_first(points: AnyFloats) -> AnyFloats:
        points = np.moveaxis(points, -1, -3)[..., : 2 if flat else 3]
        return points.reshape(*points.shape[:-3], *shape, *points.shape[-2:])

    return Solution(
        batch_first(found),
        reached.reshape(shape)[()],
        miss.reshape(shape)[()],
        steps.reshape(shape)[()],
        stalled.reshape(shape)[()],
        batch_first(np.stack(record)) if trace else None,
    )


def _solved(
    step: Callable[[_Chains], None],
    going: _Chains,
    tolerance: float,
    max_iterations: int,
    trace: bool,
) -> tuple[AnyFloats, AnyFloats, Ints, Bools, list[AnyFloats]]:
    """Repeat `step` on all chains that are not done.

    It ends when none is left or `max_iterations` steps are taken.

    Given back, for all chains: their points, how far they miss, the steps taken, whether the last
    one moved nothing; and, for a trace, the points at the start and after each step.
    """
    points, miss = going.points.copy(), going.miss()
    count = points.shape[-1]
    steps, still = np.zeros(count, dtype=int), np.zeros(count, dtype=bool)
    record = [points.copy()]
    place = np.arange(count)  # where in the batch each chain of `going` belongs
    busy = miss > tolerance  # those of `going` not done; the others are dropped now and then
    for taken in range(1, max_iterations + 1):
        if not busy.any():
            break
        if busy.mean() < 0.7:
            place, going, busy = place[busy], going.only(busy), np.ones(busy.sum(), dtype=bool)
        before = going.points.copy()
        step(going)
        now, unmoved = going.miss(), (going.points == before).all(axis=(0, 1))
        done = busy & ((now <= tolerance) | unmoved | (taken == max_iterations))
        written = busy if trace else done
        points[..., place[written]] = going.points[..., written]
        if trace:
            record.append(points.copy())
        miss[place[done]], still[place[done]], steps[place[done]] = now[done], unmoved[done], taken
        busy &= ~done
    return points, miss, steps, still, record


def _check_dtype(dtype: DTypeLike) -> type[np.floating]:
    for known in (np.float64, np.float32):
        if dtype in (known, np.dtype(known).name) or (dtype is float and known is np.float64):
            return known
    raise ValueError(
        f"`dtype` must be float, numpy.float64 or numpy.float32; got {dtype!r}. "
        "They are double and single precision."
    )
