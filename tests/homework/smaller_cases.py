"""What tests of the smaller cases in hints share: solutions asked alone, and numbers as written."""

import re
from types import SimpleNamespace

import numpy as np

from rigkit import authoring, frames, homework, mesh, rotation, skin, two_bone
from tests.homework.solved import solutions

TOOLS = {
    "np": np,
    "frames": frames,
    "mesh": mesh,
    "rotation": rotation,
    "skin": skin,
    "two_bone": two_bone,
    "solve_planar": two_bone.solve_planar,
}


def solved(lesson, name, **given):
    """What a solution's answer cell leaves under the question's name, with inputs of our own."""
    (source,) = (
        cell.source
        for cell in authoring.read(solutions()[lesson]).cells
        if cell.metadata.get("rigkit", {}).get("question") == f"{lesson}/{name}"
    )
    names = TOOLS | given
    exec(source, names)
    return names[name]


def inputs(**values):
    """A question's inputs as `hw.inputs` gives them, its points as arrays."""
    arrays = {
        name: np.array(value, dtype=float) if isinstance(value, tuple) else value
        for name, value in values.items()
    }
    return SimpleNamespace(**arrays)


def number(value, digits=3):
    """A number as prose has it, such as −0.5."""
    return f"{round(float(value), digits) + 0.0:g}".replace("-", "−")


def place(point):
    """A point as prose has it, such as (0, 1, −0.5)."""
    return f"({', '.join(map(number, point))})"


def says(lesson, name, *words):
    """The smaller case says all these words, and no number besides them."""
    rest = homework.questions(lesson)[name].hints.smaller
    for each in sorted(words, key=len, reverse=True):
        assert each in rest, each
        rest = rest.replace(each, "")
    assert not re.search(r"\d", rest), rest
