"""The foot: a roll over heel, ball and toe, each a pivot that stays while the foot turns about it.

Everything here is seen from a foot frame: origin on the floor below the ankle, x across the foot, y
up, z from heel to toe; the floor is y = 0. A roll is one angle, a turn about x: negative on the
heel with the toes up, positive with the heel up.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from rigkit import _check, _format, puppets
from rigkit._types import ArrayLike, Floats, Words
from rigkit.puppets import Puppet

__all__ = ["PIVOTS", "BALL_LIMIT", "EASE", "Foot", "FootRoll", "of_puppet", "turns", "roll"]

PIVOTS = ("heel", "ball", "toe")
BALL_LIMIT = np.radians(40.0)  # common practice, no source
EASE = np.radians(12.0)  # our choice: half as wide as ball and toe share a roll


def __dir__() -> list[str]:
    return __all__


@dataclass(frozen=True)
class Foot(_format.NotebookDisplay):
    """A foot standing flat, from the side: four points (forward, height) in its own frame, metres.

    Attributes
    ----------
    ankle : array_like, shape (..., 2)
        The joint the foot hangs from; for the heron the joint above its toes.
    heel, toe : array_like, shape (..., 2)
        The ends of the sole; both touch the floor.
    ball : array_like, shape (..., 2)
        The joint of the toes, at the floor or above it.

    Raises
    ------
    ValueError
        If heel, ankle, ball and toe do not follow each other forward, or a point lies below the
        floor.

    Examples
    --------
    >>> from rigkit import foot
    >>> foot.Foot(ankle=(0, 0.08), heel=(-0.05, 0), ball=(0.12, 0), toe=(0.2, 0)).toe.tolist()
    [0.2, 0.0]
    """

    ankle: Floats
    heel: Floats
    ball: Floats
    toe: Floats

    def __init__(self, ankle: ArrayLike, heel: ArrayLike, ball: ArrayLike, toe: ArrayLike):
        given = {"ankle": ankle, "heel": heel, "ball": ball, "toe": toe}
        points = {name: _check.numbers(name, point, 2) for name, point in given.items()}
        _check.batch(**{name: point.shape[:-1] for name, point in points.items()})
        for name, point in points.items():
            object.__setattr__(self, name, point)
        self._must_stand()

    def _must_stand(self) -> None:
        for name, good, need in (
            ("heel", np.abs(self.heel[..., 1]) < 1e-9, "at height 0, to touch the floor"),
            ("toe", np.abs(self.toe[..., 1]) < 1e-9, "at height 0, to touch the floor"),
            ("ankle", self.ankle[..., 1] > -1e-9, "at or above the floor, height 0"),
            ("ball", self.ball[..., 1] > -1e-9, "at or above the floor, height 0"),
        ):
            heights = getattr(self, name)[..., 1]
            _check.every(name, heights, good, need, "A point is (forward, height), metres.")
        heel, ankle, ball, toe = (
            point[..., 0] for point in (self.heel, self.ankle, self.ball, self.toe)
        )
        if not ((heel <= ankle) & (ankle <= ball) & (heel < ball) & (ball < toe)).all():
            raise ValueError(
                "`heel`, `ankle`, `ball` and `toe` must follow each other forward; got "
                + ", ".join(_check.short(part.tolist()) for part in (heel, ankle, ball, toe))
                + ". A point is (forward, height), metres."
            )

    def __repr__(self) -> str:
        return _format.line(
            self,
            *(f"{name} {_format.point(getattr(self, name))}" for name in ("ankle", *PIVOTS)),
            "forward and up",
            batch=_format.batch(self.ankle, 1),
        )


@dataclass(frozen=True)
class FootRoll(_format.NotebookDisplay):
    """A rolled foot, seen from its foot frame.

    Attributes
    ----------
    ankle, heel, ball, toe : ndarray, shape (..., 2)
        Forward and up, from its foot frame [m].
    foot_turn : ndarray, shape (...)
        Of the foot behind the ball, about x; positive lifts the heel [rad].
    toe_turn : ndarray, shape (...)
        Of the toes, about x [rad].
    pivot : ndarray of str, shape (...)
        What the foot turns about at this roll, one of `PIVOTS`; of two that share it, the one that
        takes more of the next degree. At a roll of zero the foot is flat and "ball" is next.
    """

    ankle: Floats
    heel: Floats
    ball: Floats
    toe: Floats
    foot_turn: Floats
    toe_turn: Floats
    pivot: Words

    def __repr__(self) -> str:
        return _format.line(
            self,
            f"about the {_format.words(self.pivot)}",
            f"foot turned {_format.angle(self.foot_turn)}",
            f"toes {_format.angle(self.toe_turn)}",
            f"ankle {_format.point(self.ankle)}",
            batch=_format.batch(self.foot_turn),
        )


def of_puppet(puppet: Puppet | str) -> Foot:
    """Return the foot of a puppet, its ball on the floor.

    Parameters
    ----------
    puppet : Puppet or str
        A name is one of `puppets.PUPPETS`.

    Returns
    -------
    Foot

    Raises
    ------
    ValueError
        If `puppet` is neither.

    Examples
    --------
    >>> from rigkit import foot
    >>> foot.of_puppet("Pip").ball.tolist()
    [0.11, 0.0]
    """
    puppet = puppets.get(puppet)
    return Foot(
        ankle=(0.0, puppet.ankle_height),
        heel=(-puppet.heel_length, 0.0),
        ball=(puppet.ball_length, 0.0),
        toe=(puppet.foot_length - puppet.heel_length, 0.0),
    )


def turns(
    angle: ArrayLike, ball_limit: ArrayLike = BALL_LIMIT, ease: ArrayLike = EASE
) -> tuple[Floats, Floats, Floats]:
    """Return how far each of `PIVOTS` turns in a roll.

    The heel takes what is below zero, the ball what lies between zero and its limit, the toe the
    rest: one value leads all three, so that no two get in each other's way. From `ease` below the
    ball's limit to `ease` above it both turn, the toe's share of each further degree rising from 0
    to 1 by 3x² − 2x³: so the ankle's speed has no corner. Our own choice.

    Parameters
    ----------
    angle, ball_limit, ease : array_like, shape (...)
        As for `roll`.

    Returns
    -------
    heel, ball, toe : ndarray, shape (...)
        Turns about x, radians; they add up to the roll.

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Examples
    --------
    >>> from rigkit import foot
    >>> heel, ball, toe = foot.turns([-0.2, 0.3, 1.0], ball_limit=0.7)
    >>> (heel + 0).tolist(), ball.tolist(), toe.round(9).tolist()
    ([-0.2, 0.0, 0.0], [0.0, 0.3, 0.7], [0.0, 0.0, 0.3])
    """
    angle, ball_limit, ease = _checked(angle, ball_limit, ease)
    _check.batch(angle=angle.shape, ball_limit=ball_limit.shape, ease=ease.shape)
    heel, ball, toe = np.broadcast_arrays(*_turns(angle, ball_limit, ease))
    return heel, ball, toe


def roll(
    foot: Foot, angle: ArrayLike, ball_limit: ArrayLike = BALL_LIMIT, ease: ArrayLike = EASE
) -> FootRoll:
    """Return the foot rolled by an angle: nothing slips and nothing goes below the floor.

    The ankle is carried along. Below zero the whole foot turns about the heel. From zero to
    `ball_limit` the heel rises about the ball while the toes stay flat. Beyond it the ball rises
    too, about the toe's tip, and the bend at the ball stays `ball_limit`. The one gives way to the
    other smoothly, as `turns` says. Each is a planar rotation about its pivot.

    Parameters
    ----------
    foot : Foot
    angle : array_like, shape (...)
        Radians, from −π/2 to π/2.
    ball_limit : array_like, shape (...)
        Radians, from 0 to π/2.
    ease : array_like, shape (...)
        Radians, from 0; it never reaches below a roll of zero. With 0 the toe takes over at once.

    Returns
    -------
    FootRoll

    Raises
    ------
    ValueError
        If an angle is outside its range.

    Examples
    --------
    >>> import numpy as np
    >>> from rigkit import foot
    >>> raised = foot.roll(foot.of_puppet("Tamsin"), np.radians(30))
    >>> str(raised.pivot), (100 * raised.heel).round(1).tolist()
    ('ball', [-3.9, 9.6])
    """
    angle, ball_limit, ease = _checked(angle, ball_limit, ease)
    _check.batch(
        foot=foot.ankle.shape[:-1],
        angle=angle.shape,
        ball_limit=ball_limit.shape,
        ease=ease.shape,
    )
    pivot = np.where(angle < 0, "heel", np.where(angle > ball_limit, "toe", "ball"))
    return FootRoll(*_roll(foot, angle, ball_limit, ease), pivot)


def _checked(
    angle: ArrayLike, ball_limit: ArrayLike, ease: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    angle, ball_limit = _check.numbers("angle", angle), _check.numbers("ball_limit", ball_limit)
    ease = _check.numbers("ease", ease)
    _check.every(
        "angle",
        angle,
        np.abs(angle) <= np.pi / 2,
        "between −π/2 and π/2 radians",
        "A foot does not roll over further than upright.",
    )
    _check.every(
        "ball_limit",
        ball_limit,
        (ball_limit >= 0) & (ball_limit <= np.pi / 2),
        "between 0 and π/2 radians",
        "40 degrees, `BALL_LIMIT`, is usual.",
    )
    _check.every("ease", ease, ease >= 0, "zero or above, radians", "0 gives way at once.")
    return angle, ball_limit, ease


def _roll(
    foot: Foot, angle: Floats, ball_limit: Floats | float, ease: Floats | float = EASE
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """`roll` without its checks and without the pivot's name."""
    return _hung(foot, *_turns(angle, ball_limit, ease))


def _hung(
    foot: Foot, on_heel: Floats, on_ball: Floats, on_toe: Floats
) -> tuple[Floats, Floats, Floats, Floats, Floats, Floats]:
    """The foot turned about its pivots: the heel carries the toe, the toe the ball."""
    toe_turn = on_heel + on_toe
    foot_turn = toe_turn + on_ball
    toe = foot.heel + _turned(foot.toe - foot.heel, on_heel)
    ball = toe + _turned(foot.ball - foot.toe, toe_turn)
    heel, ankle = (
        ball + _turned(point - foot.ball, foot_turn) for point in (foot.heel, foot.ankle)
    )
    return ankle, heel, ball, toe, foot_turn, toe_turn


def _turns(
    angle: Floats, ball_limit: Floats | float, ease: Floats | float
) -> tuple[Floats, Floats, Floats]:
    on_heel, past = np.minimum(angle, 0.0), angle - ball_limit
    wide = np.minimum(ease, ball_limit)  # never wider than the ball's own part
    share = np.clip((past + wide) / np.maximum(2 * wide, 1e-12), 0.0, 1.0)
    # The integral of 3x² − 2x³, the toe's share of each further degree.
    on_toe = np.where(past < wide, 2 * wide * (share**3 - share**4 / 2), past.clip(min=0.0))
    return on_heel, angle - on_heel - on_toe, on_toe


def _turned(points: Floats, angle: Floats) -> Floats:
    """Points (forward, height) turned about the foot's x axis: what lies forward goes down."""
    sine, cosine = np.sin(angle), np.cos(angle)
    forward, height = points[..., 0], points[..., 1]
    return np.stack([cosine * forward + sine * height, cosine * height - sine * forward], axis=-1)
