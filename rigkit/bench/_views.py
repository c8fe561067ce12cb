"""Parts of the bench's pictures: the skin seen flat, the leg's places, numbers in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from copy import deepcopy
from dataclasses import replace
from functools import cache, lru_cache
from html import escape

import numpy as np

from rigkit._types import Floats
from rigkit.bench import build
from rigkit.bench.measure import Measured, measure, note
from rigkit.bench.state import PRESET_BEND_DEG, State
from rigkit.leg import LegRig
from rigkit.panels import Slider
from rigkit.puppets import Puppet
from rigkit.scenes.words import capital
from rigkit.stage import Stage

AXES = ("out", "up", "ahead")
# px: the height of a view of the whole leg below its title, its width from the front, its least one
TALL, FRONT, LEAST = 430, 212, 152
ROOM = 0.03  # m around the skin in such a view
ASIDE = 0.26  # m to the left of the leg's middle that are seen in it
# the directions that lie right and up in a view
FLAT = {
    "front": ((1, 0, 0), (0, 1, 0)),
    "side": ((0, 0, 1), (0, 1, 0)),
    "top": ((1, 0, 0), (0, 0, -1)),
}
ARM = 9  # px: half of a small cross


# Numbers in whole millimetres


def leg(state: State, joints: Sequence[str] = ()) -> Floats:
    """The places of the left leg's joints, all or some of them [m], shape (n, 3)."""
    places = state.metres()
    return np.array([places[joint] for joint in joints or state.chain.joints])


def slider(
    key: str, label: str, low: float, high: float, value: float, catches: Sequence[float] = ()
) -> Slider:
    """A slider of whole millimetres, its range wide enough for its value, and its catches in it."""
    start = round(value)
    least, most = min(round(low), start), max(round(high), start)
    held = tuple(sorted({round(each) for each in catches if least <= round(each) <= most}))
    return Slider(key, label, least, most, 1, start, "mm", held)


def point_sliders(
    name: str,
    label: str,
    place_mm: Sequence[float],
    room: Floats,
    catches: Sequence[Sequence[float]] = ((), (), ()),
) -> list[Slider]:
    """Three sliders of a place: out to the character's left, up, and ahead.

    Parameters
    ----------
    name : str
        Of their keys, such as "knee" of "knee_out".
    label : str
    place_mm : sequence of float, shape (3,)
    room : ndarray, shape (2, 3)
        The lowest and the highest place [mm].
    catches : sequence of sequence of float
        Of each slider.
    """
    return [
        slider(f"{name}_{axis}", f"{label}, {axis}", low, high, value, held)
        for axis, low, high, value, held in zip(AXES, *room, place_mm, catches, strict=True)
    ]


def point_of(name: str, values: Mapping[str, float]) -> tuple[int, int, int]:
    """The place that three such sliders say [mm]."""
    out, up, ahead = (int(values[f"{name}_{axis}"]) for axis in AXES)
    return out, up, ahead


def at(name: str, values: Mapping[str, float]) -> Floats:
    """The place that three such sliders say [m], between whole millimetres too."""
    return np.array([values[f"{name}_{axis}"] for axis in AXES]) / 1000


# The skin


@cache
def sound(puppet: Puppet) -> LegRig:
    """The rig as the kit itself would place it."""
    return LegRig.from_puppet(puppet, PRESET_BEND_DEG)


@cache
def box(puppet: Puppet) -> Floats:
    """The lowest and the highest corner around the skin [m], shape (2, 3)."""
    vertices = build.skin(puppet).vertices
    return np.stack([vertices.min(axis=0), vertices.max(axis=0)])


def scale(puppet: Puppet) -> float:
    """px for a metre in a view of the whole leg."""
    low, high = _corners(puppet, "front")
    return float(min(TALL / (high - low)[1], FRONT / (high - low)[0]))


def _corners(puppet: Puppet, view: str, aside: float = 0.0) -> tuple[Floats, Floats]:
    """The corners of a view of the skin; in front there is room for joints beside the left leg."""
    low, high = box(puppet) @ np.transpose(FLAT[view]) + [[-ROOM], [ROOM]]
    if view == "front":
        high[0] = max(high[0], puppet.hip_width / 2 + ASIDE)
    return low - [aside, 0], high + [aside, 0]


def skin_stage(puppet: Puppet, view: str, title: str, aside: float = 0.0) -> Stage:
    """The skin from the front or from the side, as it stands on the floor.

    Parameters
    ----------
    puppet : Puppet
    view : {"front", "side"}
    title : str
    aside : float
        More room on both sides [m].
    """
    return deepcopy(_skin_stage(puppet, view, title, aside))


@cache
def _skin_stage(puppet: Puppet, view: str, title: str, aside: float) -> Stage:
    surface = build.skin(puppet)
    low, high = _corners(puppet, view, aside)
    narrow = LEAST / scale(puppet) - float(high[0] - low[0])
    if narrow > 0:
        low, high = low - [narrow / 2, 0], high + [narrow / 2, 0]
    width = round(scale(puppet) * float(high[0] - low[0]))
    stage = Stage(view, low, high, title, width=width).floor()
    return stage.surface(surface.vertices, surface.triangles).behind_words()


def leg_stage(puppet: Puppet, view: str, title: str, half: float) -> Stage:
    """An empty view of both legs, so wide to both sides, as tall as the skin.

    From the side its middle is above where the feet stand.
    """
    top, middle = float(box(puppet)[1, 1]) + ROOM, foot_ahead(puppet) if view == "side" else 0.0
    width, low = round(2 * half * scale(puppet)), (middle - half, -ROOM)
    return Stage(view, low, (middle + half, top), title, width=width).floor()


def foot_ahead(puppet: Puppet) -> float:
    """The way from hips to feet straight ahead in the given skin [m]; of people none."""
    return float(build.skin_chain(puppet)[-1, 2] - build.skin_chain(puppet)[0, 2])


def cross(stage: Stage, point: Floats, kind: str = "goal") -> Stage:
    """Draw a small cross at a place in space."""
    right, up = np.array(FLAT[stage.view][0]), np.array(FLAT[stage.view][1])
    arm = ARM / stage.px_per_metre
    stage.path([point - arm * right, point + arm * right], kind)
    return stage.path([point - arm * up, point + arm * up], kind)


# Numbers and words


@lru_cache(maxsize=256)
def numbers(state: State, step: str) -> tuple[Measured, ...]:
    """The numbers of a step, measured once: a picture's words and the table beside it say them."""
    return measure(state, step)


def value_of(measured: Measured) -> str:
    """A measured number with its unit."""
    if not np.isfinite(measured.value):
        return "∞"
    digits = 1 if measured.unit in ("cm", "°", "°/s", "times") else 0
    low, high = measured.ends
    shown = replace(measured, low=low, high=high)
    # never rounded across its limit
    while replace(shown, value=round(measured.value, digits)).right != measured.right:
        digits += 1
    number = f"{measured.value:z.{digits}f}".replace("-", "−")
    return f"{number}{'' if measured.unit.startswith('°') else ' '}{measured.unit}".strip()


def said(state: State, step: str, about: str = "") -> str:
    """The sentence of a step's numbers, and what it asks otherwise of this character.

    Parameters
    ----------
    state : State
    step : str
    about : str
        As for `sentence`.
    """
    return f"{sentence(numbers(state, step), about)} {escape(note(state, step))}".strip()


def sentence(numbers: Sequence[Measured], about: str = "") -> str:
    """The number that matters most now: the first one that is not right, of `about` if it can be.

    Parameters
    ----------
    numbers : sequence of Measured
    about : str
        The first words of the names that are looked at first, such as "knee".
    """
    if not numbers:
        return ""
    wrong = [each for each in numbers if not each.right]
    near = [each for each in numbers if f"{each.name} ".startswith(f"{about} ")]
    first = next((each for each in near if not each.right), None) or (near or wrong or numbers)[0]
    said = (
        f"{escape(capital(first.name))}: <b>{escape(value_of(first))}</b>, {escape(first.limit)}."
    )
    if not first.right:
        return f"{said} {escape(first.todo)}"
    if not wrong:
        return f"{said} All numbers of this step are right."
    left = f"{len(wrong)} numbers are" if len(wrong) > 1 else "one number is"
    return f"{said} Elsewhere {left} not right yet, next: {escape(wrong[0].name)}."
