"""The picture of each finding: the legs, flat, and on them the one thing it measured."""

import numpy as np

from rigkit import stage as st

WIDTH, HALF = 420, 204  # px; of one picture, and of one of two side by side
BANDS = 36  # how many heights a limb's outline is drawn from
MOST_DOTS = 150


def names(subject, marked=()):
    """What each joint was taken for; marked ones in the ink of a miss."""
    stage = _legs(subject, "front", "What was taken for what", names=False, room=0.9)
    for side, leg in subject.legs.legs.items():
        for part, node in leg.joints.items():
            if part == "toe" and "ball" in leg.joints:
                continue
            stage.note(subject.points[node], subject.names[node][:24], "miss" if (side, part) in marked else "plain",
                       "right" if side == "L" else "left")
    return stage


def loose(subject, found):
    """Joints that do not hang from the one above them."""
    stage = _legs(subject, "turntable", "What hangs from what")
    for side, upper, lower in found:
        above = subject.points[subject.root] if upper == "pelvis" else subject.place(side, upper)
        stage.measure(above, subject.place(side, lower), "not joined")
    return stage


def mirror(subject, part, cm):
    """The left side mirrored over the right one."""
    image = [subject.place("L", name) * [-1, 1, 1] for name in subject.common_parts]
    apart = subject.place("R", part) - subject.place("L", part) * [-1, 1, 1]
    view = "side" if abs(apart[2]) > abs(apart[0]) else "front"
    stage = _legs(subject, view, "The right leg over the left one's mirror image", only="R" if view == "side" else None)
    stage.ghost(image)
    here = subject.place("R", part)
    return stage.goal(here - apart, "") .note(here, f"{cm:.2g} cm", "miss" if cm > 0.05 else "goal",
                                             "left" if view == "front" else "right")


def bends(subject):
    """Both legs from the side, with their bends."""
    views = []
    for side in subject.sides:
        root, middle, end = subject.bending(side)
        turn = np.degrees(np.arctan2(np.linalg.norm(np.cross(middle - root, end - middle)),
                                     np.sum((middle - root) * (end - middle))))
        stage = _legs(subject, "side", "Left leg" if side == "L" else "Right leg", only=side, width=HALF)
        stage.path([middle, middle + 0.6 * (middle - root)], "plain")
        stage.arc(middle, middle + (middle - root), end, f"{turn:.1f}°", "inverse", radius=60)
        views.append(stage)
    return st.row(*views, title="The preset bend of each leg") if len(views) > 1 else views[0]


def hinge(subject, side, deg):
    """A hinge axis beside the direction square to the bend plane, from above."""
    from rigkit.inspection.skeleton_rules import bend_normal

    part = subject.legs.legs[side].bend
    joint = subject.joint(side, part)
    normal = bend_normal(subject, side)
    own = subject.turns[joint].T @ normal
    axis = int(np.argmax(np.abs(own)))
    direction = subject.turns[joint][:, axis] * np.sign(own[axis])
    return _about_a_joint(subject, joint, "top" if abs(direction[1] - normal[1]) < abs(direction[2] - normal[2]) + 1e-9
                          else "front", f"The hinge of {subject.names[joint][:24]}",
                          [(direction, "hinge axis", "inverse"), (normal, "square to the bend", "goal")], f"{deg:.1f}°")


def axes(subject, part, text, side="R"):
    """A joint's three axes."""
    side = side if side in subject.sides else subject.sides[0]
    joint = subject.joint(side, part)
    turns = [(subject.turns[joint][:, i], letter, "plain") for i, letter in enumerate("xyz")]
    return _about_a_joint(subject, joint, "turntable", f"The axes of {subject.names[joint][:24]}", turns, text)


def _about_a_joint(subject, joint, view, title, arrows, text):
    size = 0.3 * subject.length
    stage = _near(subject, subject.points[joint], view, title, size)
    for direction, label, kind in arrows:
        stage.arrow(subject.points[joint], subject.points[joint] + 0.7 * size * direction, label, kind)
    return stage.note(subject.points[joint], text, "miss", "left")


def plane(subject, side, cm):
    """A leg from the front, with the line from hip to end."""
    root, middle, end = subject.bending(side)
    stage = _legs(subject, "front", "The leg from the front", only=side)
    stage.ghost([root, end])
    along = (end - root) / max(np.linalg.norm(end - root), 1e-9)
    foot = root + ((middle - root) @ along) * along
    return stage.measure(foot * [1, 1, 0] + [0, 0, 1] * middle, middle, f"{cm:.2g} cm", "miss" if cm > 0.05 else "goal")


def one_joint(subject, joint, text):
    """The legs with one joint pointed at."""
    stage = _legs(subject, "front", f"Here: {subject.names[joint][:24]}", more=subject.points[joint])
    return stage.goal(subject.points[joint], "").note(subject.points[joint], text, "miss")


def dots(subject, chosen, text):
    """Vertices that were found, on the legs."""
    found = subject.surface.vertices[chosen]
    stage = _legs(subject, "front", "The vertices found" if len(found) else "No vertex found", more=found)
    if len(found):
        spread = found[np.linspace(0, len(found) - 1, min(len(found), MOST_DOTS)).astype(int)]
        stage.dots(spread, "miss").note(spread[0], text, "miss")
    return stage


def section(subject, side, part, outline, centre, text):
    """The cross-section of a limb at a joint, from above, with the joint in it."""
    joint = subject.place(side, part)
    points = np.concatenate([outline.reshape(-1, 3), [joint]])
    stage = _framed("top", points, f"The limb cut at {subject.name(side, part)[:24]}", 0.35, WIDTH)
    for first, last in outline:
        stage.path([first, last], "soft")
    stage.dots([joint], "inverse").note(joint, "joint", "inverse", "below").goal(centre, "")
    return stage.note(centre, text, "miss", "above")


def bent(subject, side, rest, posed, triangles, text):
    """The skin around a knee, at rest and bent, seen from the side."""
    views = []
    for vertices, title in ((rest, "At rest"), (posed, "Bent by 90°")):
        stage = _framed("side", np.concatenate([rest, posed]), title, 0.1, HALF)
        stage.surface(vertices, triangles, "inverse")
        views.append(stage)
    views[-1].note(posed.mean(axis=0), text, "plain")
    return st.row(*views, title="The skin around the knee")


def slide(subject, side, before, after, cm):
    """A sole where a stance begins and where it ends."""
    from_above = abs(after.mean(axis=0)[0] - before.mean(axis=0)[0]) > abs(after.mean(axis=0)[2] - before.mean(axis=0)[2])
    view = "top" if from_above else "side"
    stage = _framed(view, np.concatenate([before, after]), "The sole, at the beginning and the end of its stance", 0.5,
                    WIDTH, least=0.12 * subject.length)
    if not from_above:
        stage.floor(min(before[:, 1].min(), after[:, 1].min()))
    stage.dots(before, "soft").dots(after, "inverse", )
    lowest = int(before[:, 1].argmin())
    if np.linalg.norm(after[lowest] - before[lowest]) > 1e-4:
        stage.arrow(before[lowest], after[lowest], "", "miss")
    return stage.note(after[lowest], f"{cm:.2g} cm", "miss" if cm > 1 else "goal", "above")


def two_frames(subject, side, motion, first, last, text):
    """A leg in two frames of an animation, around the moment that was found."""
    leg = subject.legs.legs[side]
    first, last = (min(i, len(motion.times) - 1) for i in (first, last))
    parts = [leg.joints[part] for part in leg.chain] + [leg.joints[part] for part in ("ball",) if part in leg.joints]
    root = motion.points([subject.root])[:, 0]
    then, now = (motion.points(parts)[i] - root[i] * [1, 0, 1] for i in (first, last))
    hip_way = now[1] - now[0]
    view = "front" if abs(hip_way[0]) > abs(hip_way[2]) + 0.2 * subject.length else "side"
    stage = _framed(view, np.concatenate([then, now]), f"{motion.times[first]:.2f} s and {motion.times[last]:.2f} s"
                    if last > first else f"At {motion.times[last]:.2f} s", 0.15, WIDTH)
    if last > first:
        stage.ghost(then)
    stage.chain(now, "inverse", side)
    return stage.note(now[len(leg.chain) - 2], text, "miss")


def _legs(subject, view, title, only=None, more=None, names=True, room=0.15, width=WIDTH):
    """Both legs or one on the floor, with the limbs' outlines where there is a skin."""
    sides = (only,) if only else subject.sides
    points = [subject.points[i] for side in sides for i in subject.legs.legs[side].joints.values()]
    points += [subject.points[subject.root]] * (only is None)
    outlines = [(side, outline) for side in sides for outline in _outlines(subject, side, view)]
    flat = [np.concatenate([outline for _, outline in outlines])] if outlines else []
    solid = np.concatenate([np.array(points), *([np.atleast_2d(more)] if more is not None and len(more) else [])])
    stage = _framed(view, solid, title, room, width, flat)
    stage.floor(0.0)
    for _, outline in outlines:
        stage.skin(outline)
    for side in sides:
        leg = subject.legs.legs[side]
        chain = subject.chain(side)
        foot = [subject.points[leg.joints[part]] for part in ("ball", "toe") if part in leg.joints]
        if foot:
            stage.path([chain[-1], *foot], "forward", side)
        stage.chain(chain, "forward", side, thickness=14)
    return stage


def _outlines(subject, side, view):
    """The outline of a leg's skin seen flat: between its least and its greatest at each height."""
    if subject.surface is None or view not in ("front", "side"):
        return []
    mine = subject.surface.weight_of(subject.leg_nodes(side)) > 0.5
    if mine.sum() < 3 * BANDS:
        return []
    across, up = subject.surface.vertices[mine][:, [0 if view == "front" else 2, 1]].T
    edges = np.linspace(up.min(), up.max() + 1e-9, BANDS + 1)
    band = np.clip(np.searchsorted(edges, up, side="right") - 1, 0, BANDS - 1)
    low, high = np.full(BANDS, np.inf), np.full(BANDS, -np.inf)
    np.minimum.at(low, band, across)
    np.maximum.at(high, band, across)
    filled = np.isfinite(low)
    heights = ((edges[1:] + edges[:-1]) / 2)[filled]
    heights[0], heights[-1] = up.min(), up.max()
    right, left = np.stack([high[filled], heights], axis=-1), np.stack([low[filled], heights], axis=-1)
    return [np.concatenate([right, left[::-1]])]


def _near(subject, point, view, title, size):
    """The legs around one joint, drawn large."""
    stage = st.Stage(view, *_box(view, np.stack([point - size, point + size]), 0.0, yaw_deg=35.0), title=title, width=WIDTH,
                     yaw_deg=35.0 if view == "turntable" else 0.0)
    for side in subject.sides:
        chain = subject.chain(side)
        if np.linalg.norm(chain - point, axis=-1).min() < size:
            stage.chain(chain, "forward", side, thickness=18)
    return stage


def _framed(view, points, title, room, width, flat=(), least=0.0):
    low, high = _box(view, points, room, flat, least)
    return st.Stage(view, low, high, title=title, width=width, yaw_deg=35.0 if view == "turntable" else 0.0)


def _box(view, points, room, flat=(), least=0.0, yaw_deg=35.0):
    """The corners of a view that holds all points, with some room around them."""
    yaw = np.radians(yaw_deg)
    right, up = {"side": ((0, 0, 1), (0, 1, 0)), "front": ((1, 0, 0), (0, 1, 0)), "top": ((1, 0, 0), (0, 0, -1)),
                 "turntable": ((np.cos(yaw), 0, -np.sin(yaw)), (0, 1, 0))}[view]
    seen = np.concatenate([np.asarray(points) @ np.array([right, up], dtype=float).T, *flat])
    low, high = seen.min(axis=0), seen.max(axis=0)
    size = max((high - low).max(), least, 1e-3)
    margin = max(room, 0.08) * size
    middle, half = (low + high) / 2, (high - low) / 2 + margin
    half[0] = max(half[0], 0.3 * half[1])
    half[1] = max(half[1], 0.35 * half[0])
    return middle - half, middle + half
