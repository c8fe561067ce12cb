"""Measures of bodies, and puppets."""

from collections.abc import Iterator
from itertools import pairwise
from typing import Any

import numpy as np

from rigkit import _format, body, foot, leg, page, physique, puppets, stage
from rigkit._types import Floats
from rigkit.display.drawing import HALF, in_space
from rigkit.display.formats import NAME, capital, cm, optional, point_cm
from rigkit.display.showing import Piece, show
from rigkit.display.tables import attributes, fields, table, values
from rigkit.stage import Picture

_AVERAGES = "Population averages, for drawing and teaching."


@show.register
def show_segment_lengths(thing: body.SegmentLengths) -> Iterator[Piece]:
    known = {name: cm for name in attributes(thing.__doc__) if getattr(thing, name) is not None}
    yield values(thing, fields(thing, **known), _AVERAGES)


@show.register
def show_pelvis(thing: body.Pelvis) -> Iterator[Piece]:
    yield values(thing, fields(thing, width=cm, depth=cm, frame=_axes))


def _axes(frame: Any) -> str:
    x, y, z = (_format.direction(axis) for axis in np.asarray(frame)[:3, :3].T)
    return f"{_format.origin(frame)}; x {x}, y {y}, z {z}"


@show.register
def show_hip_centres(thing: body.HipCentres) -> Iterator[Piece]:
    yield values(
        thing,
        fields(thing, left=point_cm, right=point_cm),
        "A regression: expect to be 1 to 3 cm off for a given person.",
    )


@show.register
def show_joint_range(thing: body.JointRange) -> Iterator[Piece]:
    low, high = float(thing.low), float(thing.high)
    if np.isfinite([low, high]).all():
        ends = np.array([[np.sin(turn), -np.cos(turn)] for turn in (0.0, low, high)])
        room = in_space(np.array([*ends, [0, 0]]))
        title = f"From {_format.angle(low)} to {_format.angle(high)}"
        picture = stage.framed("side", room, title, 0.2, HALF, least=1.6, desc=repr(thing))
        for end, turn, radius in zip(ends[1:], (low, high), (110, 56), strict=True):
            picture.path([(0, 0), end], "inverse")
            if turn:
                picture.arc((0, 0), ends[0], end, _format.angle(turn), "plain", radius)
        yield picture.ghost([(0, 0), ends[0]]).note(ends[0], "zero", "soft").dots([(0, 0)])
    said = fields(thing, low=_format.angle, high=_format.angle, low_status=str, high_status=str)
    yield values(thing, said, _AVERAGES)


@show.register
def show_source(thing: body.Source) -> Iterator[Piece]:
    rows = [(n, status) for status, n in thing.statuses.items()]
    yield table(("Numbers", "how we know them"), rows, f"{thing.key}: {thing.citation}")


@show.register
def show_puppet(thing: puppets.Puppet) -> Iterator[Piece]:
    yield _standing(thing)
    yield values(
        thing,
        fields(
            thing,
            stature=cm,
            bones=lambda bones: ", ".join(map(cm, bones)),
            ankle_height=cm,
            foot_length=cm,
            hip_width=cm,
        ),
        "A made-up puppet: its proportions are invented.",
    )


@show.register
def show_bump(thing: physique.Bump) -> Iterator[Piece]:
    facing = optional("{:g}°".format, "all around")
    said = fields(thing, along=str, high_mm=_mm, reach_mm=_mm, facing_deg=facing, side=str)
    yield values(thing, said)


@show.register
def show_physique(thing: physique.Physique) -> Iterator[Piece]:
    sizes = dict.fromkeys(("seat_mm", "right_thicker_mm", "right_longer_mm"), _mm)
    said = fields(
        thing,
        girth_mm=lambda girths: ", ".join(map(_mm, girths)) or "none",
        bumps=lambda bumps: str(len(bumps)),
        more_rings=str,
        **sizes,
    )
    yield values(thing, said, "A made-up form: invented.")


def _mm(size: float) -> str:
    return f"{size:g} mm".replace("-", "−")


def _standing(puppet: puppets.Puppet) -> Picture:
    """A puppet's leg from the side, with its lengths."""
    rig = leg.LegRig.from_puppet(puppet)
    chain = rig.skeleton.origins(rig.skeleton.rest_world, [f"L_{part}" for part in rig.chain])
    hip, end = chain[0], chain[-1]
    heel, ball, toe = _sole(puppet, end)
    room = np.array([*chain, heel, toe, heel - [0, 0.1 * hip[1], 0], hip * [1, 1.05, 1]])
    named = puppet.name.lower() in puppet.role.lower()
    said = puppet.role if named else f"{puppet.name}, {puppet.role}"
    title = capital(page.plain(said, 2 * NAME))
    picture = stage.framed("side", room, title, 0.12, HALF, tall=1.2, desc=repr(puppet)).floor()
    picture.foot(end, heel, toe, ball, "forward")
    picture.chain(chain, "forward", names=("", *rig.chain[1:]))
    for a, b in pairwise(chain):
        picture.measure(a, b, cm(np.linalg.norm(b - a)), "plain", 52, "right")
    picture.measure(heel, toe, cm(puppet.foot_length), "plain", -26, "below")
    return picture.note(hip, "hip", "soft", "left")


def _sole(puppet: puppets.Puppet, end: Floats) -> Floats:
    """Heel, ball and toe of a standing puppet, below the end of its leg."""
    flat = foot.of_puppet(puppet)
    points = (flat.heel, flat.ball, flat.toe)
    return np.array([[end[0], up, end[2] + forward] for forward, up in points])
