"""The picture that a report opens with: the rig from two sides, the joints of its legs named."""

from collections.abc import Collection, Mapping, Sequence

import numpy as np

from rigkit import stage as st
from rigkit._types import Floats
from rigkit.inspection.pictures import AXES, TALL, WIDTH
from rigkit.inspection.subject import Subject, side_name
from rigkit.page import plain
from rigkit.stage.inks import TEXT
from rigkit.stage.labels import text_width

ROOM, GAP, LINE = 16, 40, 20  # px around a rig, beside its legs, and from name to name
WELD = 1e-4  # leg lengths; nearer vertices are one
THICK = 0.08  # leg lengths from a leg's joints to where its names begin
FAR = 3.0  # leg lengths from the pelvis: what is farther off is not drawn


def draw(subject: Subject) -> st.Row:
    """Draw the whole rig from the front and the side, the joints of its legs named.

    The front names the pelvis and the left leg's joints, the side those of the right leg.
    """
    sides = subject.sides
    pelvis = [] if subject.legs.pelvis is None else [subject.legs.pelvis]
    views = [_named(subject, "front", sides[0], pelvis)]
    views.append(_named(subject, "side", sides[-1], pelvis if len(sides) < 2 else []))
    return st.row(*views, title="What was taken for the legs")


def _named(subject: Subject, view: str, side: str, more: Sequence[int]) -> st.Stage:
    """The rig, and beside its legs a column with the names of one leg's joints, and more."""
    leg = subject.legs.legs[side]
    words = {node: _short(subject.names[node]) for node in [*more, *leg.joints.values()]}
    wide = max(text_width(text, TEXT) for text in words.values())
    legs = _joints(subject)
    low, high = _corners(subject, view, legs)
    column = float((legs @ AXES[view][0]).max()) + THICK * subject.length
    room = WIDTH - 2 * ROOM
    scale = min(
        room / (high[0] - low[0]),
        (room - wide - GAP) / max(column - low[0], 1e-9),
        TALL * room / (high[1] - low[1]),
    )
    low, high = low - ROOM / scale, high + ROOM / scale
    high[0] = low[0] + WIDTH / scale
    stage = st.Stage(view, low, high, f"From the {view}", width=WIDTH).floor(0.0)
    rig(stage, subject)
    unsure = {leg.joints[part] for part, sure in leg.certainty.items() if sure < 0.5}
    _names(stage.behind_words(), AXES[view] @ subject.points.T, words, unsure, column, scale)
    parts = ", ".join(f"{part} {words[node]}" for part, node in leg.joints.items())
    stage.desc = f"The rig from the {view}; {side_name(side)} leg: {parts}."
    return stage


def _names(
    stage: st.Stage,
    flat: Floats,
    words: Mapping[int, str],
    unsure: Collection[int],
    column: float,
    scale: float,
) -> None:
    """Write names one below the other, none on another, each with a line to its joint."""
    line = LINE / scale
    below = -0.4 * line  # no words on the floor's line
    nodes = list(words)
    # from below; of those of one height the one nearest to the pelvis is on top
    levels = [round(float(flat[1, node]) / line) for node in nodes]
    for place in sorted(range(len(nodes)), key=lambda place: (levels[place], -place)):
        node = nodes[place]
        below = max(float(flat[1, node]), below + line)
        end = np.array([column + 0.2 * GAP / scale, below])
        stage.ghost([flat[:, node], end])
        stage.note(end, words[node], "miss" if node in unsure else "plain", "right")


def _joints(subject: Subject) -> Floats:
    """The pelvis and the joints of all legs, shape (n, 3)."""
    legs = subject.legs.legs.values()
    return subject.points[[subject.root, *(i for leg in legs for i in leg.joints.values())]]


def _corners(subject: Subject, view: str, legs: Floats) -> tuple[Floats, Floats]:
    """The corners of what is shown of a rig, in the view's plane: all that is near its legs."""
    solid = subject.points if subject.surface is None else subject.surface.vertices
    near = np.abs(solid - subject.points[subject.root]).max(axis=-1) < FAR * subject.length
    flat = np.concatenate([legs, solid[near]]) @ AXES[view].T
    low, high = flat.min(axis=0), flat.max(axis=0)
    least = 0.2 * max(subject.length, 1e-3)  # a file may hold one flat leg and nothing else
    return low, np.maximum(high, low + least)


def rig(stage: st.Stage, subject: Subject) -> None:
    """Draw the whole skin, or without one all bones; on it the legs."""
    if subject.surface is not None:
        # one vertex for those that lie on each other, which an outline would else run between
        vertices = subject.surface.vertices
        size = subject.length if subject.sides else float(np.ptp(vertices, axis=0).max())
        step = WELD * max(size, 1e-3)
        whole = np.round(vertices / step)
        seen, same = np.unique(whole, axis=0, return_inverse=True)
        stage.surface(step * seen, same.reshape(-1)[subject.surface.triangles])
    else:
        own = {node for side in subject.sides for node in subject.leg_nodes(side)}
        for node, above in enumerate(subject.parents):
            if above >= 0 and node not in own:
                stage.path(subject.points[[above, node]], "soft")
    for side in subject.sides:
        joints = subject.legs.legs[side].joints
        foot = [subject.points[joints[part]] for part in ("ball", "toe") if part in joints]
        if foot:
            stage.path([subject.chain(side)[-1], *foot], "forward", side)
        stage.chain(subject.chain(side), "forward", side, thickness=14)


def _short(name: str) -> str:
    """A name made harmless, and cut in its middle: its end is what tells it from others."""
    text = plain(name, 120)
    return text if len(text) <= 22 else f"{text[:8]}…{text[-13:]}"
