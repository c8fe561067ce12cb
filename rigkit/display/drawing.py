"""Parts that pictures share: the first of a batch, views alike, the floor, trees of joints."""

from collections.abc import Iterable, Iterator, Sequence
from typing import Any

import numpy as np

from rigkit import page, stage
from rigkit import skeleton as sk
from rigkit._types import Floats
from rigkit.display.tables import FEW
from rigkit.stage import Picture, Stage

MOST_NAMES = 16  # more joints than that are drawn without names
WIDTH, HALF = 420, 360  # px; of one picture, and of one of two side by side


def few(values: Any, axes: int) -> Floats:
    """The first few of a batch that are finite, shape (k, ...)."""
    array = np.asarray(values, dtype=float)
    array = array.reshape(-1, *array.shape[array.ndim - axes :])
    return array[np.isfinite(array).all(axis=tuple(range(1, array.ndim)))][:FEW]


def one_of(many: int, title: str) -> str:
    """A picture's title; of a batch it says that the others are dotted."""
    return title if many == 1 else f"{title}; the next {many - 1} dotted"


def in_space(points: Floats) -> Floats:
    """Points seen from the side, shape (..., 2), as points in space: forward is z, up is y."""
    return np.stack([np.zeros(points.shape[:-1]), points[..., 1], points[..., 0]], axis=-1)


def place(frame: Any, points: Any) -> Floats:
    """Points of a frame, shape (n, 3), in the world."""
    frame = np.asarray(frame, dtype=float)
    moved: Floats = np.asarray(points, dtype=float) @ frame[:3, :3].T + frame[:3, 3]
    return moved


def with_floor(points: Floats) -> Floats:
    """The points and, where they seem to stand on it, the floor below them."""
    return np.concatenate([points, points * [1, 0, 1]]) if _stands(points) else points


def floor(picture: Stage, points: Floats) -> Stage:
    """The picture, with the floor where the points seem to stand on it."""
    return picture.floor() if picture.view != "top" and _stands(points) else picture


def _stands(points: Floats) -> bool:
    low, high = points[:, 1].min(), points[:, 1].max()
    return bool(-0.05 * high <= low <= 0.5 * high)


def two_views(points: Floats, title: str, desc: str, tall: float = 1.2) -> tuple[Stage, Stage]:
    """Stages for the same things from the front and from the side, alike in size and scale."""
    seen = with_floor(points)
    low, high = seen.min(axis=0), seen.max(axis=0)
    middle, half = (low + high) / 2, max(high[0] - low[0], high[2] - low[2]) / 2

    def view(name: str, axis: int, title: str) -> Stage:
        room = np.array([[middle[axis] - half, low[1]], [middle[axis] + half, low[1]]])
        framed = stage.framed(name, seen, title, 0.1, HALF, tall=tall, desc=desc, flat=[room])
        return floor(framed, points)

    return view("front", 0, title), view("side", 2, "From the side")


def surface(vertices: Floats, triangles: Any, desc: str) -> Picture:
    """A mesh from the front, with its height, and from the side."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    front, side = two_views(vertices, "The surface from the front", desc, tall=0.85)
    for picture in (front, side):
        picture.surface(vertices, triangles, "soft")
    bottom, top = [high[0], low[1], 0], [high[0], high[1], 0]
    front.measure(bottom, top, f"{100 * (high[1] - low[1]):.1f} cm", "plain", 16, "right")
    return stage.row(front, side)


def tree(
    points: Floats,
    parents: Any,
    names: Sequence[str],
    title: str,
    desc: str,
    outlines: Sequence[tuple[Floats, str]] = (),
    ghosts: Iterable[Floats] = (),
    skin: tuple[Floats, Any] | None = None,
) -> Picture:
    """A tree of joints, shape (n, 3), from the front and from the side.

    With outlines of controls and their names, other poses of the joints as ghosts, on its skin.
    """
    skins, ghosts = [] if skin is None else [skin], list(ghosts)
    room = np.concatenate(
        [points, *(outline for outline, _ in outlines), *ghosts, *(seen for seen, _ in skins)]
    )
    front, side = two_views(room, title, desc)
    for picture in (front, side):
        for vertices, triangles in skins:
            picture.surface(vertices, triangles)
        for ghost in ghosts:
            _draw_ghost(picture, ghost, parents)
        for outline, label in outlines:
            picture.control(outline, label if picture is front else "")
        for chain in _chains(parents):
            tag = sk.side_of(names[chain[-1]])
            picture.path(points[chain], "forward", tag and tag[0])
        picture.dots(points, "forward")
    if len(points) <= MOST_NAMES and not outlines:
        for point, said in _labels(points, names, 0.04 * float(np.ptp(room, axis=0).max())):
            front.note(point, said, "soft")
    return stage.row(front, side, title=title)


def _draw_ghost(picture: Stage, points: Floats, parents: Any) -> None:
    for child, parent in enumerate(parents):
        if parent >= 0:
            picture.ghost([points[parent], points[child]])


def _labels(points: Floats, names: Sequence[str], near: float) -> Iterator[tuple[Floats, str]]:
    """Joints' names from the front; those that lie on each other on one side share a label."""
    groups: dict[tuple[Any, ...], list[int]] = {}
    for i, point in enumerate(points):
        key = (*np.round(point[:2] / max(near, 1e-9)), sk.side_of(names[i]))
        groups.setdefault(key, []).append(i)
    for group in groups.values():
        said = ", ".join(page.plain(names[i], 24) for i in group[:3])
        yield points[group[0]], said + "…" * (len(group) > 3)


def _chains(parents: Iterable[int]) -> Iterator[list[int]]:
    """A tree as lines of joints, each from the parent of its first down to where it branches."""
    parents = [int(parent) for parent in parents]
    for start, parent in enumerate(parents):
        if parent < 0 or parents.count(parent) > 1:
            line = [parent, start] if parent >= 0 else [start]
            while parents.count(line[-1]) == 1:
                line.append(parents.index(line[-1]))
            if len(line) > 1:
                yield line
