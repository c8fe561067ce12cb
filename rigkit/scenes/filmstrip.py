"""A walk as pictures side by side on one floor: the whole walker, moment after moment."""

from collections.abc import Sequence

from rigkit import gait
from rigkit.scenes.bodies import draw_body, height
from rigkit.scenes.staging import draw_leg, size
from rigkit.stage import Stage

# Of a stride, percent: the left foot's contact, the right one's push-off, passing, the left heel
# up; then the same of the other side.
EIGHT = (0, 8, 28, 42, 50, 58, 78, 92)
APART, ROOM = 0.84, 0.58  # from walker to walker and beyond the outer ones, times their `size`


def filmstrip(
    walk: gait.Walk,
    frames: Sequence[int],
    told: Sequence[Sequence[str]] = (),
    title: str = "",
    desc: str = "",
    kind: str = "inverse",
    width: int = 876,
) -> Stage:
    """A walker in some frames of a walk, from the side, side by side on one floor.

    Parameters
    ----------
    walk : gait.Walk
    frames : sequence of int
        From left to right; eight fit the width of a lesson.
    told : sequence of sequences of str
        Words under each walker, the first ones loudest; none by default.
    title, desc : str
        As for `Stage`.
    kind : {"forward", "inverse"}
        What the legs are; a legend says it.
    width : int
        As for `Stage` [px].

    Returns
    -------
    Stage
    """
    puppet, tall = walk.puppet, size(walk.puppet)
    lines = max(map(len, told), default=0)
    apart, room = APART * tall, ROOM * tall
    end = (len(frames) - 1) * apart + room
    scale = width / (end + room)  # px to the metre
    low = -(12 + 24 * lines) / scale
    top = puppet.hip_height + height(puppet) + 0.04 * tall
    stage = Stage("side", (-room, low), (end, top), title, desc, width, legend=(kind,)).floor()
    for i, frame in enumerate(frames):
        points = walk.points[frame] + [0, 0, i * apart - walk.pelvis[frame, 2]]
        draw_body(stage, puppet, points[:, 0])
        for side, tag in enumerate("LR"):  # seen from her right
            draw_leg(stage, points[side], kind, tag, len(puppet.bones) + 1, thickness=13)
    for i, words in enumerate(told):
        for line, text in enumerate(words):
            below = (-4 - 24 * line) / scale
            stage.note((i * apart, below), text, "soft" if line else "plain", "below")
    return stage
