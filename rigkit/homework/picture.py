"""The picture of a case: a judge's marks as JSON data, and the stage made of them.

A judge lists marks, each the name of a stage's method and its arguments; nothing is drawn until a
card is shown.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np

from rigkit._types import ArrayLike
from rigkit.stage import Stage
from rigkit.stage.markup import Pair

Mark = list[Any]  # the name of a stage's method, and its arguments by name

MARGIN = 0.12  # around everything drawn, as a share of the larger side
WIDTH = 320
POINTS = ("points", "point", "a", "b", "start", "end")  # the arguments of marks that are places


def side_view(title: str, desc: str, *marks: Mark) -> dict[str, Any]:
    """A picture in the side view, points as (forward, up) in metres."""
    return {"view": "side", "title": title, "desc": desc, "marks": list(marks)}


def front_view(title: str, desc: str, *marks: Mark) -> dict[str, Any]:
    """A picture in the front view, points as (the character's left, up) in metres."""
    return {"view": "front", "title": title, "desc": desc, "marks": list(marks)}


def top_view(title: str, desc: str, *marks: Mark) -> dict[str, Any]:
    """A picture from above, points as (the character's left, backward) in metres."""
    return {"view": "top", "title": title, "desc": desc, "marks": list(marks)}


def chain(points: ArrayLike, names: Sequence[str]) -> Mark:
    """A chain through joints, shape (n, 2), each with its name."""
    return ["chain", {"points": _plain(points), "kind": "inverse", "names": list(names)}]


def ghost(points: ArrayLike) -> Mark:
    """A dotted chain to compare with, shape (n, 2)."""
    return ["ghost", {"points": _plain(points)}]


def goal(point: ArrayLike) -> Mark:
    """The place where an end should be."""
    return ["goal", {"point": _plain(point)}]


def pole(point: ArrayLike, text: str = "pole") -> Mark:
    """The point that a knee turns toward."""
    return ["pole", {"point": _plain(point), "label": text}]


def measure(start: ArrayLike, end: ArrayLike, text: str) -> Mark:
    """A dimension line with its number."""
    return ["measure", {"a": _plain(start), "b": _plain(end), "text": text}]


def dots(points: ArrayLike, kind: str = "plain") -> Mark:
    """A small dot at each point, shape (n, 2)."""
    return ["dots", {"points": _plain(points), "kind": kind}]


def arrow(start: ArrayLike, end: ArrayLike, text: str, kind: str = "miss") -> Mark:
    """A direction, from where it starts."""
    return ["arrow", {"start": _plain(start), "end": _plain(end), "text": text, "kind": kind}]


def note(point: ArrayLike, text: str, kind: str = "plain") -> Mark:
    """Words beside a point."""
    return ["note", {"point": _plain(point), "text": text, "kind": kind}]


def draw(ingredients: dict[str, Any]) -> Stage:
    """The `Stage` of a picture's ingredients, its limits around all that is in them."""
    low, high = _limits(ingredients["marks"])
    stage = Stage(ingredients["view"], low, high, ingredients["title"], ingredients["desc"], WIDTH)
    for name, arguments in ingredients["marks"]:
        getattr(stage, name)(**arguments)
    return stage


def _limits(marks: Sequence[Mark]) -> tuple[Pair, Pair]:
    points = np.concatenate(
        [
            np.reshape(value, (-1, 2))
            for _, arguments in marks
            for key, value in arguments.items()
            if key in POINTS
        ]
    )
    low, high = points.min(axis=0), points.max(axis=0)
    side = float((high - low).max()) or 1.0
    low, high = low - MARGIN * side, high + MARGIN * side
    middle = (low[0] + high[0]) / 2  # a hanging leg is narrow: leave room for its words
    half = max((high[0] - low[0]) / 2, 0.5 * side)
    return (middle - half, low[1]), (middle + half, high[1])


def _plain(points: ArrayLike) -> list[Any]:
    return np.asarray(points, dtype=float).tolist()
