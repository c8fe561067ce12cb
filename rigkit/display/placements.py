"""Joints placed from motion, and two sides compared."""

from collections.abc import Iterator

import numpy as np

from rigkit import _format, placement
from rigkit.display.formats import mm
from rigkit.display.showing import Piece, show
from rigkit.display.tables import fields, table, values


@show.register
def show_mirror_error(thing: placement.MirrorError) -> Iterator[Piece]:
    cm, deg = (
        np.asarray(part, float).reshape(-1, len(thing.names)) for part in (thing.cm, thing.deg)
    )
    worst = {thing.farthest: "farthest"} if cm.max() > 0 else {}
    most = {thing.most_turned: "most turned"} if deg.max() > 0 else {}
    rows = [
        (
            name,
            _format.small(cm[:, i].max(), scale=1.0),
            _format.amount(deg[:, i].max(), "°", 2),
            ", ".join(said[name] for said in (worst, most) if name in said),
        )
        for i, name in enumerate(thing.names)
    ]
    rows.sort(key=lambda row: not row[3])
    many = f"The worst of a batch of {len(cm):,}. " if _format.batch(thing.cm, 1) else ""
    said = "How far each right joint is from the mirror image of the left one."
    yield table(("Joint", "off by", "turned away by", "worst"), rows, f"{many}{said}")


@show.register
def show_rotation_centre(thing: placement.RotationCentre) -> Iterator[Piece]:
    said = fields(thing, centre=_format.point, radii=_format.length, residual=mm, error=mm)
    yield values(thing, said)


@show.register
def show_hinge_axis(thing: placement.HingeAxis) -> Iterator[Piece]:
    said = fields(
        thing, axis=_format.direction, point=_format.point, radii=_format.length, residual=mm
    )
    yield values(thing, said)
