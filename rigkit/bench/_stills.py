"""Pictures of the bench's steps that have no panel, for a notebook whose kernel does not run."""

from __future__ import annotations

from html import escape

import numpy as np

from rigkit import skin as skinning
from rigkit._types import Floats, Ints
from rigkit.bench import build
from rigkit.bench._views import LEAST, value_of
from rigkit.bench.measure import bent_motions, inspected, measure
from rigkit.bench.state import State
from rigkit.display import bundle
from rigkit.stage import Row, Stage, row

SCALE = 420  # px for a metre
MARGIN = 0.03  # m around what is drawn


def still(state: State, step: str) -> str:
    """Return markup of a step as it stands still; empty where there is nothing to show yet.

    Parameters
    ----------
    state : State
    step : {"09", "12"}

    Returns
    -------
    str
    """
    try:
        return _bent_skin(state) if step == "09" else _rig(state)
    except ValueError:  # the numbers beside it say why
        return ""


def _rig(state: State) -> str:
    """The rig that the file would hold, and its inspection in a line."""
    said = f"<p><strong>{escape(inspected(state).headline)}</strong></p>"
    return said + bundle(build.asset(state))["text/html"]


def _bent_skin(state: State) -> str:
    picture, longest = bent_skin(state), measure(state, "09")[0]
    said = f"{longest.name}: <b>{escape(value_of(longest))}</b>, {escape(longest.limit)}."
    return f"{picture._repr_mimebundle_()['text/html']}<p>{said[:1].upper()}{said[1:]}</p>"


def bent_skin(state: State) -> Row:
    """Return the skin of the left leg from the side: at rest, and bent as step 09 measures it.

    Parameters
    ----------
    state : State

    Returns
    -------
    Row

    Raises
    ------
    ValueError
        If nothing can be bound yet.
    """
    surface, skeleton = build.skin(state.puppet), build.skeleton(state)
    motions = bent_motions(state, skeleton.names)
    posed = skinning.linear_blend(surface.vertices, build.weights(state), motions)
    triangles, longest = surface.side("L_"), value_of(measure(state, "09")[0])
    top = float(state.metres()["hip"][1])
    rest = _from_the_side("At rest", surface.vertices, triangles, top)
    bent = _from_the_side("The knee bent by 90°", posed, triangles, top)
    bent.desc = f"The same skin, moved by its weights; its longest edge is stretched to {longest}."
    return row(rest, bent, title="The skin of the left leg")


def _from_the_side(title: str, vertices: Floats, triangles: Ints, top: float) -> Stage:
    ahead = vertices[np.unique(triangles), 2]
    low, high = (ahead.min() - MARGIN, -MARGIN), (ahead.max() + MARGIN, top)
    width = max(round(SCALE * float(high[0] - low[0])), LEAST)
    return Stage("side", low, high, title, width=width).floor().surface(vertices, triangles)
