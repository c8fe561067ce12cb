"""The picture of each finding: the legs, flat, and on them the one thing it measured.

`kind` is the ink of its number: a stage's "miss" for a finding, "goal" for what passes.
"""

from collections.abc import Collection, Mapping, Sequence
from weakref import WeakKeyDictionary

import numpy as np

from rigkit import mesh
from rigkit import stage as st
from rigkit._types import Floats, Ints
from rigkit.inspection import piece
from rigkit.inspection.subject import Motion, Subject

WIDTH, HALF = 420, 204  # px; of one picture, and of one of two side by side
MAX_DOTS = 150
Pair = tuple[float, float]
Skin = tuple[Floats, Ints]  # vertices and triangles
# Each subject's skin, whole and cut: a page draws the same many times.
_SKINS: WeakKeyDictionary[Subject, dict[tuple[int, ...], Skin]] = WeakKeyDictionary()
TALL = 0.95  # a picture's height is at most this share of its width
AXES = {
    "side": np.array([(0, 0, 1), (0, 1, 0)], float),
    "front": np.array([(1, 0, 0), (0, 1, 0)], float),
    "top": np.array([(1, 0, 0), (0, 0, -1)], float),
}  # to the right and up in each view


def names(subject: Subject, marked: Collection[tuple[str, str]], kind: str) -> st.Stage:
    """Draw the part that each joint was taken for; marked ones in the ink of a miss."""
    stage = _legs(subject, "front", "What was taken for what")
    for side, leg in subject.legs.legs.items():
        for part, node in leg.joints.items():
            if part == "toe" and "ball" in leg.joints:
                continue
            stage.note(
                subject.points[node],
                subject.label(node),
                kind if (side, part) in marked else "plain",
                "right" if side == "L" else "left",
            )
    return stage


def loose(subject: Subject, found: Sequence[tuple[str, str, str]], kind: str) -> st.Stage:
    """Draw joints that do not hang from the one above them."""
    stage = _legs(subject, "front", "What hangs from what")
    for side, upper, lower in found:
        above = subject.points[subject.root] if upper == "pelvis" else subject.point(side, upper)
        stage.measure(above, subject.point(side, lower), "not joined", kind)
    return stage


def mirror(subject: Subject, part: str, metres: float, text: str, kind: str) -> st.Stage:
    """Draw the right leg over the mirror image of the left one."""
    image = {name: subject.point("L", name) * [-1, 1, 1] for name in subject.common_parts}
    here = subject.point("R", part)
    apart = here - image[part]
    view = "side" if abs(apart[2]) > abs(apart[0]) else "front"
    only = "R" if view == "side" else None
    stage = _legs(subject, view, "The right leg over the left's mirror image", only)
    stage.ghost(list(image.values()))
    if metres <= 0.0005:
        return stage.note(here, text, kind)
    return stage.measure(image[part], here, text, kind, 30)


def bends(
    subject: Subject, deg: Mapping[str, float], kind: str, inked: Collection[str] = "LR"
) -> st.Picture:
    """Draw both legs from the side, with their bends in degrees; the inked ones in that ink."""
    views = []
    for side in subject.sides:
        root, middle, end = subject.bending(side)
        text = f"{deg[side]:.1f}°".replace("-", "−")
        stage = _legs(
            subject,
            "side",
            "Left leg" if side == "L" else "Right leg",
            only=side,
            width=HALF,
            tall=2 * TALL,
        )
        stage.path([middle, middle + 0.6 * (middle - root)], "plain")
        stage.arc(
            middle,
            middle + (middle - root),
            end,
            text,
            kind if side in inked else "goal",
            radius=60,
        )
        views.append(stage)
    return st.row(*views, title="The preset bend of each leg") if len(views) > 1 else views[0]


def hinge(
    subject: Subject, joint: int, direction: Floats, normal: Floats, deg: float, kind: str
) -> st.Stage:
    """Draw a hinge axis beside the bend plane's normal, in the view where they differ most."""
    view = "front" if abs(direction[1] - normal[1]) > abs(direction[2] - normal[2]) else "top"
    stage = _about_a_joint(
        subject,
        joint,
        view,
        f"The hinge of {subject.label(joint)}",
        [(normal, "square to the bend", "goal"), (direction, "hinge axis", "inverse")],
        flat=0.6,
    )
    point = subject.points[joint]
    return stage.arc(point, point + normal, point + direction, f"{deg:.1f}°", kind, radius=110)


def axes(
    subject: Subject,
    side: str,
    part: str,
    wanted: Floats,
    text: str,
    own: Floats | None = None,
) -> st.Picture:
    """Draw a joint's axes over those it should have, in the two views that show most of it."""
    joint = subject.joint(side, part)
    own = subject.rotations[joint] if own is None else own
    arrows = [(wanted[:, i], "", "goal") for i in range(3)] + [
        (own[:, i], "xyz"[i], "plain") for i in range(3)
    ]
    views = sorted(
        AXES, key=lambda view: -round(float(np.linalg.norm(AXES[view] @ (own - wanted))), 6)
    )[:2]
    shown = [
        _about_a_joint(
            subject,
            joint,
            view,
            f"{text} off, {view}" if i == 0 else view.capitalize(),
            arrows,
            HALF,
        )
        for i, view in enumerate(views)
    ]
    return st.row(*shown, title=f"The axes of {subject.label(joint)}")


def _about_a_joint(
    subject: Subject,
    joint: int,
    view: str,
    title: str,
    arrows: Sequence[tuple[Floats, str, str]],
    width: int = WIDTH,
    flat: float = 1.0,
) -> st.Stage:
    """A joint with the stubs of its bones, drawn large, and directions from it."""
    size, point = 0.25 * subject.length, subject.points[joint]
    corner = size * np.array([1, flat, flat])
    stage = st.framed(view, np.stack([point - corner, point + corner]), title, 0.0, width)
    near = [int(subject.parents[joint]), *subject.asset.children[joint]]
    for other in near:
        way = subject.points[other] - point if other >= 0 else np.zeros(3)
        length = float(np.linalg.norm(way))
        if length > 1e-6 and (view != "top" or np.linalg.norm(way[[0, 2]]) > 0.3 * length):
            stage.path([point, point + min(length, size) / length * way], "forward")
    for direction, label, kind in arrows:
        if np.linalg.norm(AXES[view] @ direction) > 0.15:  # not one that points at the viewer
            stage.arrow(point, point + 0.75 * size * direction, label, kind)
    return stage.dots([point], "forward")


def plane(subject: Subject, side: str, text: str, kind: str) -> st.Stage:
    """Draw a leg from the front, with the line from hip to end."""
    root, middle, end = subject.bending(side)
    stage = _legs(subject, "front", "The leg from the front", only=side)
    stage.ghost([root, end])
    along = (end - root) / max(np.linalg.norm(end - root), 1e-9)
    foot = root + ((middle - root) @ along) * along
    return stage.measure(foot * [1, 1, 0] + [0, 0, 1] * middle, middle, text, kind)


def hips(subject: Subject, half: float, text: str, kind: str) -> st.Stage:
    """Draw both hips from the front, with the places so far from the middle."""
    stage = _legs(subject, "front", "The hips, and where people have theirs")
    for side, way in (("L", 1), ("R", -1)):
        hip = subject.point(side, "hip")
        there = hip * [0, 1, 1] + [way * half, 0, 0]
        stage.goal(there, "")
        if side == "L":
            stage.note(hip, text, kind, "above")
    return stage


def one_joint(subject: Subject, joint: int, text: str, kind: str) -> st.Stage:
    """Draw the legs with one joint pointed at."""
    stage = _legs(subject, "front", f"Here: {subject.label(joint)}", more=subject.points[joint])
    return stage.goal(subject.points[joint], "").note(subject.points[joint], text, kind)


def dots(subject: Subject, chosen: Ints, text: str, kind: str, view: str | None = None) -> st.Stage:
    """Draw some of the skin's vertices on it, in a view or seen from where most of them face."""
    surface = subject.surface
    if surface is None:
        raise ValueError("there is no skin")
    found = surface.vertices[chosen]
    aside, _, ahead = np.abs(_facing(surface.vertices, surface.triangles)[chosen]).sum(axis=0)
    view = view or ("side" if aside > ahead else "front")
    stage = _legs(subject, view, f"The vertices found, from the {view}", more=found, whole=True)
    spread = _spread(found)
    return stage.dots(spread, kind).note(spread[0], text, kind)


def _spread(points: Floats) -> Floats:
    """At most `MAX_DOTS` of points, from first to last."""
    return points[np.linspace(0, len(points) - 1, min(len(points), MAX_DOTS)).astype(int)]


def joints(subject: Subject, nodes: Sequence[int], text: str, kind: str) -> st.Stage:
    """Draw the joints of a skin."""
    points = subject.points[np.asarray(nodes)]
    stage = _legs(subject, "front", "The joints of the skin", more=points, whole=True)
    return stage.dots(_spread(points), kind).note(points[0], text, kind)


def _facing(vertices: Floats, triangles: Ints) -> Floats:
    """The direction that each vertex faces, (v, 3), larger where its triangles are."""
    a, b, c = np.moveaxis(vertices[triangles], 1, 0)
    square = np.repeat(np.cross(b - a, c - a), 3, axis=0)
    places = triangles.ravel()
    return np.stack([np.bincount(places, way, len(vertices)) for way in square.T], axis=-1)


def section(
    subject: Subject, side: str, part: str, cut: mesh.Section, text: str, kind: str
) -> st.Stage:
    """Draw the cross-section of a limb at a joint, from above, with the joint in it."""
    joint = subject.point(side, part)
    outline = np.concatenate([cut.outline, cut.outline[:1]]) if cut.closed else cut.outline
    stage = st.framed(
        "top",
        np.concatenate([outline, [joint]]),
        f"The limb cut at {subject.label(subject.joint(side, part))}",
        0.35,
        WIDTH,
    )
    stage.path(outline, "soft")
    stage.dots([joint], "inverse").note(joint, "joint", "inverse", "below").goal(cut.middle, "")
    return stage.note(cut.middle, text, kind, "above")


def bent(poses: Floats, triangles: Ints, outline: Floats, text: str, kind: str) -> st.Picture:
    """Draw the skin around a knee, at rest and bent, with its section, seen from the side."""
    views = _bent(poses, triangles)
    for stage, cut in zip(views, outline, strict=True):
        ahead = cut[:, 0, 2]
        stage.path(cut[[ahead.argmax(), ahead.argmin()], 0], "plain")
    views[-1].note(poses[1, np.unique(triangles)].mean(axis=0), text, kind)
    return st.row(*views, title="The skin around the knee")


def stretched(poses: Floats, triangles: Ints, edge: Floats, text: str, kind: str) -> st.Picture:
    """Draw the skin around a knee, at rest and bent, with its most stretched edge."""
    views = _bent(poses, triangles)
    for stage, ends in zip(views, edge, strict=True):
        stage.path(ends, kind)
    views[-1].note(edge[1].mean(axis=0), text, kind)
    return st.row(*views, title="The most stretched edge of the skin around the knee")


def _bent(poses: Floats, triangles: Ints) -> list[st.Stage]:
    views = []
    for vertices, title in zip(poses, ("At rest", "Bent by 90°"), strict=True):
        stage = st.framed("side", poses[:, np.unique(triangles)].reshape(-1, 3), title, 0.1, HALF)
        views.append(stage.surface(vertices, triangles, "inverse"))
    return views


def slide(
    subject: Subject, before: Floats, after: Floats, metres: float, text: str, kind: str
) -> st.Stage:
    """Draw a sole where a stance begins and where it ends."""
    went = np.abs((after - before).mean(axis=0))
    view = "top" if went[0] > went[2] else "side"
    stage = st.framed(
        view,
        np.concatenate([before, after]),
        "The sole where its stance begins and where it ends",
        0.3,
        WIDTH,
        least=0.12 * subject.length,
    )
    if view == "side":
        stage.floor(min(before[:, 1].min(), after[:, 1].min()))
    stage.skin(_around(before @ AXES[view].T), "soft").skin(
        _around(after @ AXES[view].T), "inverse"
    )
    start = before[before[:, 1].argmin()]
    way = (after - before).mean(axis=0) * [1, 0, 1]
    end = start + metres * way / max(np.linalg.norm(way), 1e-9)
    if metres >= 0.001:
        stage.arrow(start, end, "", kind)
    return stage.note(end, text, kind, "below")


def below(
    subject: Subject,
    motion: Motion,
    frame: int,
    point: Floats,
    floor: float,
    text: str,
    kind: str,
) -> st.Stage:
    """Draw the legs in a frame of an animation, with a point and the floor it is below."""
    there = motion.points([subject.root])[frame, 0] * [1, 0, 1] + [0, floor, 0]
    chains = {}
    for side in subject.sides:
        leg = subject.legs.legs[side]
        parts = [leg.joints[part] for part in leg.joints]
        chains[side] = motion.points(parts)[frame] - there
    low = point - there
    shown = np.concatenate([*chains.values(), [low]])
    stage = st.framed("side", shown, f"At {motion.times[frame]:.2f} s", 0.15, WIDTH).floor(0.0)
    for side, points in chains.items():
        stage.chain(points, "forward", side)
    if low[1] > -0.001:
        return stage.note(low, text, kind, "right")
    return stage.measure(low * [1, 0, 1], low, text, kind)


def _around(points: Floats) -> list[Pair]:
    """The convex outline of flat points, (n, 2), anticlockwise (A. M. Andrew's monotone chain)."""
    ordered: list[Pair] = sorted((x, y) for x, y in points.tolist())
    outline: list[Pair] = []
    for way in (ordered, ordered[::-1]):
        part: list[Pair] = []
        for point in way:
            while len(part) > 1 and _turn(part[-2], part[-1], point) <= 0:
                part.pop()
            part.append(point)
        outline += part[:-1]
    return outline or ordered


def _turn(a: Pair, b: Pair, c: Pair) -> float:
    return (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])


def two_frames(
    subject: Subject, side: str, motion: Motion, first: int, last: int, text: str, kind: str
) -> st.Stage:
    """Draw a leg in two frames of an animation, around the moment that was found."""
    leg = subject.legs.legs[side]
    first, last = (min(i, len(motion.times) - 1) for i in (first, last))
    parts = [leg.joints[part] for part in leg.chain] + [
        leg.joints[part] for part in ("ball",) if part in leg.joints
    ]
    root = motion.points([subject.root])[:, 0]
    then, now = (motion.points(parts)[i] - root[i] * [1, 0, 1] for i in (first, last))
    knee = len(leg.chain) - 2
    went = np.abs((now - now[0]) - (then - then[0])).max(axis=0)
    view = "front" if went[0] > 2 * went[2] + 0.001 * subject.length else "side"
    stage = st.framed(
        view,
        np.concatenate([then, now]),
        f"{motion.times[first]:.2f} s and {motion.times[last]:.2f} s"
        if last > first
        else f"At {motion.times[last]:.2f} s",
        0.15,
        WIDTH,
    )
    if last > first:
        stage.ghost(then)
    stage.chain(now, "forward", side)
    return stage.note(now[knee], text, kind)


def _legs(
    subject: Subject,
    view: str,
    title: str,
    only: str | None = None,
    more: Floats | None = None,
    width: int = WIDTH,
    tall: float = TALL,
    whole: bool = False,
) -> st.Stage:
    """Both legs or one on the floor, in the skin they share with the pelvis, or in all of it."""
    sides = (only,) if only else subject.sides
    points = [subject.points[i] for side in sides for i in subject.legs.legs[side].joints.values()]
    points += [subject.points[subject.root]] * (only is None)
    nodes = [subject.root, *(node for side in sides for node in subject.leg_nodes(side))]
    vertices, skin = _skin_of(subject, nodes)
    solid = [np.array(points), vertices[np.unique(skin)]]
    if more is not None:
        solid.append(more.reshape(-1, 3))
    stage = st.framed(view, np.concatenate(solid), title, 0.1, width, tall=tall)
    stage.floor(0.0)
    if whole:
        vertices, skin = _skin_of(subject)
    if len(skin):
        stage.surface(vertices, skin)
    for side in sides:
        leg = subject.legs.legs[side]
        chain = subject.chain(side)
        foot = [subject.points[leg.joints[part]] for part in ("ball", "toe") if part in leg.joints]
        if foot:
            stage.path([chain[-1], *foot], "forward", side)
        stage.chain(chain, "forward", side, thickness=14)
    return stage


def _skin_of(subject: Subject, nodes: Sequence[int] = ()) -> Skin:
    """The skin, or what of it moves mostly with some nodes, cut where they have half the weight."""
    known = _SKINS.setdefault(subject, {})
    if tuple(nodes) not in known:
        known[tuple(nodes)] = _skin_cut_off(subject, nodes)
    return known[tuple(nodes)]


def _skin_cut_off(subject: Subject, nodes: Sequence[int]) -> Skin:
    surface = subject.surface
    if surface is None:
        return np.empty((0, 3)), np.empty((0, 3), np.int64)
    kept, triangles = piece.weld(surface.vertices, surface.triangles)
    vertices = surface.vertices[kept]
    if not nodes:
        return vertices, triangles
    poses, triangles = piece.cut_off(
        vertices[None], triangles, 0.5 - surface.weight_of(nodes)[kept]
    )
    if len(triangles):
        poses, triangles = piece.closed(poses, triangles)
    return poses[0], triangles
