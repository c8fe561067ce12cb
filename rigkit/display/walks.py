"""Feet and walks."""

from collections.abc import Iterator

import numpy as np

from rigkit import _format, foot, gait, stage
from rigkit._types import Floats
from rigkit.display.drawing import WIDTH, few, floor, in_space, one_of, with_floor
from rigkit.display.formats import capital, cm, name, point_cm, unit, whole, yes
from rigkit.display.showing import Piece, show
from rigkit.display.tables import Row, fields, values
from rigkit.stage import Stage

_CORNERS = ("ankle", "heel", "ball", "toe")
_POINTS = "Points are forward and up, from the foot's frame."


@show.register
def show_foot(thing: foot.Foot) -> Iterator[Piece]:
    feet = _corners(thing)
    if len(feet):
        ankle, heel, ball, toe = feet[0]
        picture = _feet(feet, one_of(len(feet), "The foot, flat"), repr(thing))
        below = [heel[0], 0.0], [heel[0], ankle[1]]
        picture.measure(*below, cm(ankle[1]), "plain", -24, "left")
        picture.measure(heel, toe, cm(toe[0] - heel[0]), "plain", -26, "below")
        yield picture.note(ankle, "ankle", "soft", "above").note(ball, "ball", "soft")
    yield values(thing, fields(thing, **dict.fromkeys(_CORNERS, point_cm)), _POINTS)


@show.register
def show_foot_roll(thing: foot.FootRoll) -> Iterator[Piece]:
    feet = _corners(thing)
    if len(feet):
        pivot, turn = str(np.ravel(thing.pivot)[0]), _format.angle(np.ravel(thing.foot_turn)[0])
        title = one_of(len(feet), f"Rolled over the {pivot}: the foot is turned {turn}")
        picture = _feet(feet, title, repr(thing))
        where = dict(zip(_CORNERS, feet[0], strict=True))
        picture.note(where["ankle"], "ankle", "soft", "above")
        yield picture.dots([where[pivot]], "miss").note(where[pivot], pivot, "miss", "below")
    corners = dict.fromkeys(_CORNERS, point_cm)
    said = fields(thing, **corners, foot_turn=_format.angle, toe_turn=_format.angle, pivot=str)
    yield values(thing, said, _POINTS)


def _corners(thing: foot.Foot | foot.FootRoll) -> Floats:
    """The first few feet, shape (k, 4, 2)."""
    points = np.broadcast_arrays(thing.ankle, thing.heel, thing.ball, thing.toe)
    return few(np.stack(points, axis=-2), 2)


def _feet(feet: Floats, title: str, desc: str) -> Stage:
    """Feet from the side, shape (k, 4, 2); the others than the first dotted."""
    length = float(np.ptp(feet[..., 0]))
    ankle, heel, ball, toe = feet[0]
    room = [
        [heel[0] - 0.42 * length, -0.2 * length],
        [ankle[0], feet[..., 1].max() + 0.08 * length],
    ]
    space = in_space(np.concatenate([feet.reshape(-1, 2), room]))
    picture = stage.framed("side", space, title, 0.08, WIDTH, tall=0.8, desc=desc).floor()
    for other in feet[1:]:
        picture.ghost([*other, other[0]])
    return picture.foot(ankle, heel, toe, ball, "forward").dots(feet[0], "plain")


@show.register
def show_pace(thing: gait.Pace) -> Iterator[Piece]:
    said = fields(
        thing,
        speed=unit(" m/s", 2),
        step_length=cm,
        cadence=unit("", 2),
        stance_share=unit(" %", 1, 100.0),
    )
    yield values(thing, said)


@show.register
def show_walk(thing: gait.Walk) -> Iterator[Piece]:
    walker = capital(name(thing.puppet.name))
    left, slide = np.asarray(thing.points, dtype=float)[:, 0], thing.slide_cm
    stride = max(int(np.searchsorted(thing.times, 2 * thing.step_length / thing.speed)), 1)
    if np.isfinite(left).all():
        said = _format.small(slide[0], scale=1.0)
        title = f"{walker}: in one stride the left foot slides {said}"
        yield _stride(left[: stride + 1], len(thing.puppet.bones), title, repr(thing))
    slid = _format.sides(slide, lambda cm: _format.small(cm, scale=1.0))
    walk = fields(
        thing,
        speed=unit(" m/s", 2),
        step_length=cm,
        table=str,
        planted=yes,
        times=lambda times: (
            f"{_format.count(len(times), 'frame')}, {_format.amount(times[-1], ' s', 2)}"
        ),
        miss=lambda miss: _format.small(np.max(miss)),
    )
    yield values(walker, [*walk, Row("slide", "of each foot on the floor, in a stride", slid, str)])


def _stride(leg_points: Floats, bones: int, title: str, desc: str) -> Stage:
    """A leg at instants of a stride, frames (f, joints, 3), its sole's points last."""
    points = leg_points.reshape(-1, 3)
    framed = stage.framed("side", with_floor(points), title, 0.08, 640, tall=0.6, desc=desc)
    picture = floor(framed, points)
    picture.path(leg_points[:, 0], "soft").path(leg_points[:, bones], "soft")
    for i in np.linspace(0, len(leg_points) - 1, 7).astype(int):
        *chain, heel, ball, toe = leg_points[i]
        picture.foot(chain[-1], heel, toe, ball, "inverse", "L")
        picture.chain(chain, "inverse", "L", thickness=10)
    return picture


@show.register
def show_pop(thing: gait.Pop) -> Iterator[Piece]:
    said = fields(
        thing,
        side=lambda side: {"L_": "left", "R_": "right"}.get(side, str(side)),
        frame=whole,
        speed_deg=unit("° a second", 0),
    )
    yield values(thing, said)
