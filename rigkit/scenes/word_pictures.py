"""The pictures on the page of words: one small picture for each, of Tamsin, with only it in it."""

from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

import numpy as np

from rigkit import bend, controls, foot, frames, gait, placement, rotation, solvers, two_bone
from rigkit._types import ArrayLike, Floats
from rigkit.leg import LegRig
from rigkit.puppets import PUPPETS
from rigkit.scenes import skinning
from rigkit.scenes.staging import LEG, draw_foot, draw_leg, leg_points, planar_leg, with_rest
from rigkit.scenes.words import percent, signed
from rigkit.skeleton import planar_chain
from rigkit.stage import Stage

TAMSIN = PUPPETS["Tamsin"]
WIDTH = 300  # px
LOW, HIGH = (-0.5, -0.06), (0.5, 0.98)  # of a view that holds a leg [m]
CLOSE = (-0.2, -0.06), (0.34, 0.28)  # of one that holds a foot
BONE = 18  # px: the thickness of a thigh
FULL = np.array([0.0, TAMSIN.hip_height])  # the hip of a straight leg that stands, from the side
ANKLE = np.array([0.0, TAMSIN.ankle_height])
# seen from the side, closed lines (x, up, ahead) about a control's own place [m]
SOLE = np.array([[0, 0, -0.07], [0, 0, 0.19], [0, 0.06, 0.19], [0, 0.06, -0.07], [0, 0, -0.07]])
DECK = np.array([[0, 0, -0.3], [0, 0, 0.42], [0, -0.07, 0.34], [0, -0.07, -0.22], [0, 0, -0.3]])
RIGHT = [f"R_{joint}" for joint in LEG]
KNEE = 1  # its row in a leg's points


def picture(name: str) -> Stage:
    """The picture of one word.

    Parameters
    ----------
    name : str
        As on the page of words.

    Returns
    -------
    Stage

    Raises
    ------
    ValueError
        If there is none of that name.
    """
    if name not in PICTURES:
        raise ValueError(f"`name` must be a word with a picture; got {name!r}.")
    stage = PICTURES[name]()
    stage.title = name
    return stage


def _stage(
    desc: str, low: ArrayLike = LOW, high: ArrayLike = HIGH, view: str = "side", **more: Any
) -> Stage:
    return Stage(view, low, high, desc=desc, width=WIDTH, **more)


def _leg(lowered_cm: float = 10.0, ahead_cm: float = 0.0) -> Floats:
    """Hip, knee and ankle from the side, the hip lower than in a straight stand."""
    hip = FULL + np.array([ahead_cm, -lowered_cm]) / 100
    return planar_leg(TAMSIN, hip, ANKLE)[1]


def _bent(hip_deg: float, knee_deg: float) -> Floats:
    """Hip, knee and ankle from the side, of a leg whose hip and knee are flexed."""
    return FULL + two_bone.planar_points(np.radians(hip_deg), np.radians(knee_deg), *TAMSIN.bones)


def _chain(stage: Stage, points: ArrayLike, kind: str = "forward", **more: Any) -> Stage:
    return stage.chain(points, kind, **{"thickness": BONE} | more)


def _standing(stage: Stage, points: Floats, kind: str = "inverse", **more: Any) -> Stage:
    """A leg on the floor, its foot level."""
    stage.floor().foot(points[-1], kind=kind, height=TAMSIN.ankle_height)
    return _chain(stage, points, kind, **more)


def _circle(centre: ArrayLike, radius: float, start: float = 0.0, end: float = 360.0) -> Floats:
    """Points of a circle, or of a part of it from one angle to another, degrees."""
    angle = np.radians(np.linspace(start, end, 61))
    return np.asarray(centre) + radius * np.stack([np.cos(angle), np.sin(angle)], axis=-1)


# Both legs


@cache
def _rig(bend_deg: float = 5.0) -> LegRig:
    return LegRig.from_puppet(TAMSIN, bend_deg)


def _two_legs(stage: Stage, world: Floats | None = None, **more: Any) -> Stage:
    """Both legs of a rig, by default at rest."""
    skeleton = _rig().skeleton
    world = skeleton.rest_world if world is None else world
    for side in "RL":
        points = leg_points(TAMSIN, skeleton, world, f"{side}_")
        draw_leg(stage, points, "forward", side, **{"thickness": BONE} | more)
    return stage


def _front(desc: str) -> Stage:
    return _stage(desc, high=(0.5, 1.1), view="front").floor()


# Joints and chains


def _named(names: Sequence[str], desc: str) -> Stage:
    return _standing(_stage(desc), _leg(), "forward", names=names)


def _joint() -> Stage:
    return _named(LEG, "A leg from the side. Rings at hip, knee and ankle are its joints.")


def _a_chain() -> Stage:
    desc = "A leg from the side, as a chain: hip, then knee, then ankle."
    return _named(("1 hip", "2 knee", "3 ankle"), desc)


def _parent() -> Stage:
    desc = "A leg from the side. The hip is the parent, the knee its child."
    return _named(("parent", "child"), desc)


def _bone() -> Stage:
    points = _leg()
    stage = _standing(_stage("A leg from the side. Thigh and shank are bones."), points, "forward")
    for start, end, name in zip(points, points[1:], ("thigh", "shank"), strict=False):
        stage.note((start + end) / 2, name, place="right")
    return stage


def _root() -> Stage:
    skeleton = _rig().skeleton
    at = skeleton.origins(skeleton.rest_world)
    stage = _front("Both legs from the front. The root is at the pelvis, between the hips.")
    for side in "LR":
        stage.path([at[0], at[skeleton.index(f"{side}_hip")]], "forward")
    return (
        _two_legs(stage).dots(at[:1], "forward").note(at[0] + [0, 0.04, 0], "root", place="above")
    )


def _swinging(name: str, desc: str) -> Stage:
    """A thigh that swings, and the point that stays."""
    marker = TAMSIN.thigh * 0.75
    stage = _stage(desc, (-0.5, 0.3), (0.5, 1.1))
    turns = np.radians([-40, 0, 40])
    for turn in turns[[0, 2]]:
        stage.ghost(planar_chain([turn - np.pi / 2], [TAMSIN.thigh], FULL))
    _chain(stage, planar_chain([-np.pi / 2], [TAMSIN.thigh], FULL))
    stage.path(_circle(FULL, marker, -130, -50), "soft")
    stage.dots(_circle(FULL, marker, -130, -50)[::10], "plain")
    return stage.note(FULL, name, place="above")


def _hip_centre() -> Stage:
    return _swinging("hip centre", "A thigh swings about the hip centre, which stays.")


def _centre() -> Stage:
    desc = "Places of a marker lie on a circle about the centre of rotation."
    markers = _circle(FULL, 0.3, -130, -50)[::10]
    seen = np.insert(markers, 0, 0.0, axis=-1)[:, None, [0, 2, 1]]  # one marker, frame by frame
    found = placement.hinge_axis_from_motion(seen).point[[2, 1]]
    stage = _stage(desc, (-0.5, 0.3), (0.5, 1.1)).dots(markers)
    for marker in markers:
        stage.path([found, marker], "soft")
    return stage.dots([found], "goal").note(found, "centre", "goal", "above")


def _ill_conditioned() -> Stage:
    """Two circles that both fit a short arc."""
    lowest = FULL - [0.0, 0.35]
    desc = "Dots on a short arc, and two circles of different sizes that both fit them."
    stage = _stage(desc, (-0.45, 0.45), (0.45, 1.35))
    for radius, kind in ((0.2, "miss"), (0.35, "goal")):
        centre = lowest + [0.0, radius]
        stage.path(_circle(centre, radius), kind).dots([centre], kind)
    return stage.dots(_circle(FULL, 0.35, -96, -84)[::12])


# Frames


def _axes(names: str, desc: str) -> Stage:
    """Axes of a knee's frame, seen by somebody who stands ahead and to her left."""
    hip, ankle = np.array([0.0, 0.8, 0.0]), np.array([0.0, TAMSIN.ankle_height, 0.0])
    pose = two_bone.solve(hip, ankle, *TAMSIN.bones)
    _, shank = two_bone.bone_frames(hip, pose)
    stage = _stage(desc, (-0.5, -0.06), (0.5, 0.9), "turntable", yaw_deg=45, pitch_deg=15)
    _chain(stage, [hip, pose.knee, ankle])
    for axis in names:
        along = shank[:3, "xyz".index(axis)]
        stage.arrow(pose.knee, pose.knee + 0.28 * along, axis)
    return stage


def _frame() -> Stage:
    return _axes("xyz", "A bent leg. At the knee, three arrows square to each other: x, y and z.")


def _bone_axis() -> Stage:
    return _axes("y", "A bent leg. At the knee an arrow, y, runs on along the shank, up the bone.")


def _hinge_axis() -> Stage:
    return _axes("x", "A bent leg. At the knee an arrow, x, stands square to the leg's plane.")


def _angles_deg(points: Floats) -> tuple[float, float]:
    """Hip and knee of a leg from the side, degrees."""
    thigh, shank = np.diff(points, axis=0)
    lean = [float(np.degrees(np.arctan2(bone[0], -bone[1]))) for bone in (thigh, shank)]
    return lean[0], lean[0] - lean[1]


def _local_and_world() -> Stage:
    hip, knee, ankle = points = _leg(12)
    thigh_deg, bent_deg = _angles_deg(points)
    on, down = knee + 0.6 * (knee - hip), knee - [0.0, 0.3]
    desc = (
        f"A bent leg. The shank's local angle, from the thigh's line, is {bent_deg:.0f} degrees;"
        f" its world angle, from the upright, minus {bent_deg - thigh_deg:.0f} degrees."
    )
    stage = _chain(_stage(desc), points)
    stage.path([knee, on], "soft").path([knee, down], "soft")
    stage.arc(knee, ankle, on, f"local {bent_deg:.0f}°", radius=70)
    return stage.arc(knee, ankle, down, f"world {signed(thigh_deg - bent_deg)}", radius=40)


def _rest() -> Stage:
    rest = _leg(0.1)
    desc = "A leg that takes a step, and dotted the leg at rest, almost straight."
    stage = _standing(_stage(desc), _leg(10, -20)).ghost(rest)
    return stage.note(rest[0], "rest", "soft", "above")


def _reads_zero() -> Stage:
    desc = "A leg at rest. Hip, knee and ankle each read zero degrees."
    return _standing(_stage(desc), _leg(0.5), "forward", names=("0°",) * 3)


def _flexed(hip_text: str, knee_text: str, desc: str) -> Stage:
    points = _bent(30, 60)
    hip, knee, ankle = points
    stage = _chain(_stage(desc).floor(), points)
    down, on = hip - [0.0, 0.4], knee + 0.7 * (knee - hip)
    stage.path([hip, down], "soft").path([knee, on], "soft")
    return stage.arc(hip, down, knee, hip_text, radius=60).arc(knee, on, ankle, knee_text)


def _flexion() -> Stage:
    return _flexed("hip", "knee", "A leg from the side, its hip and its knee flexed.")


def _signs() -> Stage:
    desc = (
        "A leg from the side: the thigh 30 degrees forward, the knee flexed by 60; both are plus."
    )
    return _flexed("+30°", "+60°", desc)


# Two sides


def _midplane() -> Stage:
    stage = _front("Both legs from the front, an upright line between them: the midplane.")
    stage.path([(0, 0), (0, 1.02)], "goal")
    return _two_legs(stage).note((0, 1.02), "midplane", "goal", "above")


def _mirrored() -> Stage:
    skeleton = _rig().skeleton
    stage = _two_legs(_front("").path([(0, 0), (0, 0.95)], "soft"))
    said = []
    for side, place in (("L", "right"), ("R", "left")):
        knee = skeleton.origins(skeleton.rest_world, [f"{side}_knee"])[0, :2]
        said.append(f"{100 * abs(knee[0]):.1f} cm")
        stage.path([(0, knee[1]), knee], "goal")
        stage.note(knee + [0.08 * np.sign(knee[0]), 0], said[-1], "goal", place, loud=True)
    stage.desc = f"Both legs. The knees are {' and '.join(said)} from the midplane."
    return stage


def _kind_of_mirror(kind: str, desc: str) -> Stage:
    """Both legs, their right one mirrored in one of the ways, with the knees' hinge axes."""
    skeleton = placement.mirror_skeleton(_rig().skeleton, "L_", kind)
    stage = _two_legs(_front(desc))
    for side in "LR":
        knee = skeleton.rest_world[skeleton.index(f"{side}_knee")]
        stage.arrow(knee[:3, 3], knee[:3, 3] + 0.13 * knee[:3, 0], "x", place="above")
    return stage


def _same_bend() -> Stage:
    desc = "Both legs from the front. The hinge axes of both knees point to the same side."
    return _kind_of_mirror("same bend", desc)


def _reflection() -> Stage:
    desc = "Both legs from the front. The hinge axes of the knees point to opposite sides."
    return _kind_of_mirror("reflection", desc)


def _side_tag() -> Stage:
    skeleton = _rig().skeleton
    stage = _two_legs(_front("Both legs from the front. The knees are named L_knee and R_knee."))
    for name, place in (("L_knee", "right"), ("R_knee", "left")):
        stage.note(skeleton.origins(skeleton.rest_world, [name])[0], f"{name} ", place=place)
    return stage


# Forward and inverse


def _forward() -> Stage:
    desc = "A forward chain: its hip is given as 30 degrees, its knee as 60 degrees."
    return _flexed("30°", "60°", desc)


def _goal(name: str, desc: str) -> Stage:
    return _chain(_stage(desc), points := _leg(12), "inverse").goal(points[-1], name)


def _inverse() -> Stage:
    return _goal("goal", "An inverse chain: its ankle is at the goal, and so the knee bends.")


def _goal_alone() -> Stage:
    return _goal("goal", "A bent leg with a green ring, the goal, around its ankle.")


def _miss() -> Stage:
    goal = FULL + [0.15, -0.92]
    leg, points = planar_leg(TAMSIN, FULL, goal)
    cm = f"{100 * leg.miss:.1f} cm"
    stage = _stage(f"A straight leg that ends {cm} before its goal.", (-0.5, -0.16))
    _chain(stage, points, "inverse").goal(goal, "")
    return stage.measure(points[-1], goal, cm, offset=40, place="right")


def _reach() -> Stage:
    """The far end of a leg's reach; Tamsin's near end is at the hip, too small to be seen."""
    points, most = _leg(6), TAMSIN.leg_length
    text = f"{100 * most:.0f} cm"
    edge = _circle(points[0], most, -118, -62)
    stage = _chain(
        _stage(f"A leg over an arc: its ankle reaches {text} from the hip."), points, "inverse"
    )
    return stage.path(edge, "goal").measure(points[0], edge[3], text, "goal")


def _full() -> Stage:
    text = f"{100 * TAMSIN.leg_length:.0f} cm"
    points = _bent(0, 0)
    stage = _standing(_stage(f"A straight leg: hip and ankle are {text} apart."), points)
    return stage.measure(points[0], points[-1], text, "plain", offset=46)


def _soft() -> Stage:
    soft, far = 0.05, TAMSIN.leg_length
    reach = float(two_bone.soft_reach(far, TAMSIN.thigh, TAMSIN.shank, soft))
    goal = FULL - [0.0, far]
    points = planar_leg(TAMSIN, FULL, FULL - [0.0, reach])[1]
    lag = f"{100 * (far - reach):.1f} cm"
    desc = f"A goal at full extension. The ankle lags {lag} behind it, and the knee stays bent."
    stage = _chain(_stage(desc, (-0.5, -0.1)), points, "inverse").goal(goal, "", "below")
    return stage.measure(points[-1], goal, lag, offset=40)


def _pop() -> Stage:
    """A leg whose hip rises evenly to full extension: the knee's steps grow."""
    lower = (4.0, 3.0, 2.0, 1.0, 0.0)
    legs = [_leg(each) for each in lower]
    bends = [two_bone.solve_planar((0, -np.ptp(leg[:, 1])), *TAMSIN.bones).knee for leg in legs]
    steps = -np.degrees(np.diff(bends))
    desc = (
        "A leg whose hip rises one centimetre at a time until it is straight. The knee turns by"
        f" {', '.join(f'{step:.0f}' for step in steps)} degrees."
    )
    middle = legs[0][KNEE] * [0.5, 1]
    stage = _stage(desc, middle - [0.24, 0.13], middle + [0.14, 0.13])
    for leg in legs:
        stage.ghost(leg)
    stage.dots([leg[KNEE] for leg in legs[:-1]]).dots([legs[-1][KNEE]], "miss")
    return stage.note(legs[-1][KNEE], f"{steps[-1]:.0f}° at once", "miss", "left")


# Straight legs and solvers


def _preset() -> Stage:
    rig = _rig(10.0)
    points = rig.skeleton.origins(rig.skeleton.rest_world, [f"L_{name}" for name in LEG])[:, [2, 1]]
    bent = float(np.degrees(bend.measure_bend(points).angle))
    hip, knee, ankle = points
    desc = f"A leg at rest whose knee stands a little ahead: it is bent by {bent:.0f} degrees."
    stage = _standing(_stage(desc), points).path([hip, ankle], "soft")
    on = knee + (knee - hip)
    stage.path([knee, on], "soft")
    return stage.arc(knee, on, ankle, f"{bent:.0f}°", radius=80)


def _solver() -> Stage:
    start, goal = _leg(3), FULL + [0.30, -0.55]
    solved = solvers.cyclic_descent(start, goal, max_iterations=6, trace=True)
    desc = "A leg, dotted after each step of a solver, comes nearer to its goal."
    stage = _stage(desc)
    assert solved.trace is not None, "it was asked for"
    for points in solved.trace[:-1]:
        stage.ghost(points)
    return _chain(stage, solved.points, "inverse").goal(goal, "goal", "right")


def _stall() -> Stage:
    straight = _bent(0, 0)
    goal = straight[-1] + [0, 0.15]
    solved = solvers.cyclic_descent(straight, goal)
    miss = f"{100 * float(solved.miss):.1f} cm"
    desc = f"A straight leg with its goal on its own line: after all steps it is still {miss} off."
    stage = _chain(_stage(desc), solved.points, "inverse").goal(goal, "")
    return stage.measure(straight[-1], goal, miss, offset=44)


def _singular() -> Stage:
    """The speeds that an ankle gets from joint turns of size one, as an ellipse."""
    points = _leg(14)
    matrix = bend.jacobian(points)
    ends = points[-1] + 0.3 * _circle((0, 0), 1.0) @ matrix.T
    least, most = sorted(bend.singular_values(matrix))
    desc = (
        "A bent leg. Around its ankle an ellipse shows how fast each way goes:"
        f" {most:.2f} metres for a radian at most, {least:.2f} at least."
    )
    low, high = (-0.55, -0.22), (0.55, 0.93)
    stage = _stage(desc, low, high)
    return _chain(stage, points, "inverse").path(ends, "goal")


# The bend plane


def _turned(swivel_deg: float) -> tuple[Floats, Floats, Floats]:
    hip, ankle = np.array([0.0, 0.78, 0.0]), np.array([0.0, TAMSIN.ankle_height, 0.0])
    pose = two_bone.solve(hip, ankle, *TAMSIN.bones, swivel=np.radians(swivel_deg))
    return hip, pose.knee, ankle


def _bend_plane() -> Stage:
    points = np.stack(_turned(0.0))
    desc = "A bent leg seen at a slant, the triangle of hip, knee and ankle filled."
    stage = _stage(desc, view="turntable", yaw_deg=50, pitch_deg=10)
    stage.skin(points, "goal")
    return _chain(stage, points, "inverse")


def _swivel() -> Stage:
    ahead, turned = _turned(0.0), _turned(-35.0)
    angle = abs(float(np.degrees(two_bone.swivel_angle(*turned))))
    desc = f"A bent leg from above: its knee is turned by {angle:.0f} degrees from straight ahead."
    stage = _stage(desc, (-0.25, -0.42), (0.35, 0.12), "top")
    stage.path([ahead[0], ahead[0] + [0, 0, 0.36]], "soft")
    _chain(stage, turned, "inverse")
    return stage.arc(turned[0], ahead[KNEE], turned[KNEE], f"{angle:.0f}°", radius=90)


def _pole() -> Stage:
    points = _leg(12)
    pole = points[KNEE] + [0.24, 0.0]
    desc = "A bent leg from the side. A diamond ahead of the knee is the pole it turns toward."
    return _chain(_stage(desc), points, "inverse").pole(pole, "pole", points[KNEE], "below")


# Controls


def _controlled(label: str, desc: str, pivot: bool = False) -> Stage:
    """A lifted foot, its leg, and the outline of its control."""
    pose = _rig().pose({"L_foot": {"shift_y": 0.12, "shift_z": 0.16, "turn_x": np.radians(20)}})
    skeleton = _rig().skeleton
    points = leg_points(TAMSIN, skeleton, pose.world, "L_")
    control = next(each for each in _rig().controls if each.name == "L_foot")
    stage = _stage(desc, (-0.5, -0.1), (0.5, 0.98), "turntable", yaw_deg=60, pitch_deg=25)
    draw_leg(stage, points, "inverse", thickness=BONE)
    stage.control(frames.apply(pose.controls["L_foot"], control.outline), label, "right")
    if pivot:
        at = frames.apply(pose.controls["L_foot"], control.pivot)
        stage.dots([at], "miss").note(at, "pivot", "miss", "left")
    return stage


def _control() -> Stage:
    return _controlled("", "A lifted foot with the outline of the control that lifted it.")


def _outline() -> Stage:
    return _controlled("outline", "A lifted foot. Around it lies the outline of its control.")


def _pivot() -> Stage:
    return _controlled("", "A lifted foot. A dot marks the pivot its control turns about.", True)


def _boat(turn_deg: float, shift: ArrayLike) -> Floats:
    turn = rotation.matrix_about("x", -np.radians(turn_deg))
    return frames.frame(turn, [0.0, *np.asarray(shift)[::-1]])


def _followed() -> tuple[Stage, Floats, Floats]:
    """A boat that moved, a foot that followed with its gap kept, and the places of both."""
    before, after = _boat(0, (-0.12, 0.1)), _boat(18, (0.02, 0.34))
    gap = controls.offset_to(before, frames.frame(origin=before[:3, 3] + [0, 0, 0.2]))
    stage = _stage("", (-0.5, -0.04), (0.55, 0.72))
    for start, now, shape in ((before, after, DECK), (before @ gap, after @ gap, SOLE)):
        stage.ghost(frames.apply(start, shape)).control(frames.apply(now, shape))
    leader, follower = after[:3, 3], (after @ gap)[:3, 3]
    return stage.dots([leader, follower], "goal"), leader, follower


def _follow() -> Stage:
    stage, leader, follower = _followed()
    stage.desc = "A boat that moved, and the foot's outline that went along with it."
    return stage.note(leader, "leads", "goal").note(follower, "follows", "goal", "above")


def _gap() -> Stage:
    stage, leader, follower = _followed()
    cm = f"{100 * np.linalg.norm(follower - leader):.0f} cm"
    stage.desc = f"A boat that moved and tilted; the foot's outline is still {cm} away."
    return stage.measure(leader, follower, cm, "goal", offset=60)


def _key() -> Stage:
    """A foot's height over a second, keys as dots."""
    keys = [0, 8, 16, 24]
    lift = np.zeros(25)
    lift[8:17] = 0.14
    filled = controls.interpolate_keys({"L_foot": {"shift_y": lift}}, keys)["L_foot"]["shift_y"]
    line = np.stack([np.linspace(0, 0.4, 25), filled], axis=-1)
    desc = "A value over time: four dots are keys, straight lines fill in between."
    stage = _stage(desc, (-0.04, -0.05), (0.44, 0.25)).path([(0, 0), (0.42, 0)], "soft").path(line)
    return stage.dots(line[keys], "goal").note(line[8], "key", "goal", "above")


def _switch() -> Stage:
    points = _leg(12)
    desc = "A leg posed by angles, and the goal set to its ankle, so that nothing will jump."
    return _chain(_stage(desc), points).goal(points[-1], "matched")


# Skin


@cache
def _bound() -> tuple[Floats, Any, Floats, Floats]:
    skeleton, surface, weights = skinning.dressed(TAMSIN)
    return skeleton.rest_world, surface, weights, skeleton.origins(skeleton.rest_world)


def _skinned(desc: str, bend_deg: float = 35.0) -> Stage:
    posed = skinning.knee(TAMSIN, bend_deg, hip_deg=bend_deg / 2)
    stage = _stage(desc).surface(posed.vertices, _bound()[1].triangles)
    return _chain(stage, posed.bones, thickness=10)


def _skin() -> Stage:
    return _skinned("A bent leg from the side: the skin around the chain that moves it.")


def _bind() -> Stage:
    return _skinned("A leg at rest from the side, the skin around the chain it is bound to.", 0.0)


def _weights() -> Stage:
    skeleton, surface, weights = skinning.dressed(TAMSIN)
    shank = weights[:, skeleton.index("R_knee")]
    knee = skeleton.origins(skeleton.rest_world, ["R_knee"])[0, [2, 1]]
    desc = "A knee's skin. Dots mark points that follow both thigh and shank, each by its weights."
    stage = _stage(desc, knee - [0.2, 0.2], knee + [0.2, 0.2])
    stage.surface(surface.vertices, surface.triangles)
    shared = (shank > 0.05) & (shank < 0.95) & (np.abs(surface.vertices[:, 1] - knee[1]) < 0.15)
    return stage.dots(surface.vertices[shared][::3]).dots([knee], "forward")


def _wrung(blend: str, twist_deg: float, said: str = "") -> Stage:
    """Odo's stocking, wrung; beside it the width that is left, or other words."""
    limb, _, _ = skinning.stocking()
    posed, kept = skinning.wrung(twist_deg, 1, blend)
    around, along = skinning.AROUND, skinning.ALONG
    lines = np.arange(around * (along + 1)).reshape(-1, around)[:, :: around // skinning.STRIPES].T
    left = percent(kept.min())
    desc = f"A striped tube wrung by {twist_deg:.0f} degrees: {left} of its width is left."
    stage = _stage(desc, (-0.22, -0.24), (0.22, 0.24), "front")
    stage.surface(posed, limb.triangles, "plain", lines)
    return stage.note((0.06, 0), said or left, place="right", loud=True)


def _linear() -> Stage:
    return _wrung(skinning.LINEAR, 150)


def _dual() -> Stage:
    return _wrung(skinning.DUAL, 150)


def _twist() -> Stage:
    return _wrung(skinning.DUAL, 60, "60°")


def _volume() -> Stage:
    skinned = skinning.knee(TAMSIN, 90.0)
    kept = percent(skinned.volume_ratio)
    knee = skinned.bones[1, [2, 1]]
    desc = f"A knee bent by 90 degrees: its half of the skin keeps {kept} of its volume."
    stage = _stage(desc, knee - [0.3, 0.25], knee + [0.3, 0.25])
    stage.surface(skinned.vertices, _bound()[1].triangles)
    return stage.note(knee + [0.1, -0.12], kept, place="right", loud=True)


# Walking


@cache
def _walk(planted: bool = True) -> gait.Walk:
    walked = gait.walk(TAMSIN, cycles=2)
    return gait.plant(walked) if planted else walked


def _moment(percents: Sequence[float], desc: str, text: str = "") -> Stage:
    """The left leg of a walk at some moments of its stride, each moved to stand by the others."""
    walked = _walk()
    stage = _stage(desc, (-0.55, -0.06), (0.55, 1.0)).floor()
    for share in percents:
        points = walked.points[round(100 + share) % 200, 0]
        flat = points[:, [2, 1]] - [points[0, 2], 0.0]
        draw_leg(stage, flat, "inverse", thickness=BONE)
    return stage.note((0.0, 0.0), text, place="above") if text else stage


def _stance() -> Stage:
    return _moment((28,), "A leg in stance: its foot is flat on the floor.")


def _swing() -> Stage:
    return _moment((75,), "A leg in swing: its foot is in the air.")


def _strike() -> Stage:
    return _moment((0,), "A leg ahead of the body, its heel just on the floor.")


def _toe_off() -> Stage:
    share = 100 * float(gait.stance_share(_walk().speed, gait.leg_height(TAMSIN)))
    return _moment((share,), "A leg behind the body, only its toes still on the floor.")


def _stride() -> Stage:
    """From one strike of a foot to its next."""
    walked = _walk()
    heels = walked["L_heel"][[0, 100]][:, [2, 1]]
    far = f"{100 * (heels[1, 0] - heels[0, 0]):.0f} cm"
    desc = f"Two strikes of the left foot, one stride apart: {far}."
    middle = heels.mean(axis=0)[0]
    stage = _stage(desc, (middle - 1.2, -0.1), (middle + 0.95, 1.05)).floor()
    for frame in (0, 100):
        points = walked.points[frame, 0][:, [2, 1]]
        draw_leg(stage, points, "inverse", thickness=12)
    return stage.measure(heels[0] * [1, 0] + [0, 0.2], heels[1] * [1, 0] + [0, 0.2], far, "plain")


def _plant() -> Stage:
    desc = "Three moments of one stance, the foot in the same place under a leg that moves on."
    walked = _walk()
    stage = _stage(desc).floor()
    foot_at = walked.points[120, 0, 2, 2]
    first, middle, last = walked.points[[110, 120, 130], 0][..., [2, 1]] - [foot_at, 0.0]
    stage.ghost(first[:3]).ghost(last[:3])
    return draw_leg(stage, middle, "inverse", thickness=BONE).dots(middle[4:5], "goal")


def _slide() -> Stage:
    """A forward walk's foot at two moments of its stance."""
    walked = _walk(planted=False)
    stands = walked.points[[112, 132], 0][..., [2, 1]]
    stands[..., 0] -= stands[0, 2, 0]
    cm = 100 * (stands[1, 4, 0] - stands[0, 4, 0])
    desc = f"A foot at two moments in which it should stay: it moved by {abs(cm):.1f} centimetres."
    stage = _stage(desc, (-0.25, -0.1), (0.4, 0.35)).floor()
    stage.ghost(stands[0, [2, 3, 5, 2]])
    draw_foot(stage, stands[1, 2:], "forward")
    up = [0.0, 0.12]
    return stage.measure(stands[0, 4] + up, stands[1, 4] + up, f"{abs(cm):.1f} cm")


# The foot


def _rolled(roll_deg: float) -> Floats:
    """Ankle, heel, ball and toe of a rolled foot, from the side."""
    now = foot.roll(foot.of_puppet(TAMSIN), np.radians(roll_deg))
    return np.stack([now.ankle, now.heel, now.ball, now.toe])


def _roll() -> Stage:
    stage = _stage("A foot whose heel is lifted by a roll of 30 degrees, dotted when flat.", *CLOSE)
    flat, points = _rolled(0), _rolled(30)
    stage.floor().ghost(flat[[0, 1, 3, 0]])
    draw_foot(stage, points, "inverse").dots(points[2:3], "miss")
    return stage.arc(points[2], flat[1], points[1], "30°", radius=60)


def _heel_ball_toe() -> Stage:
    stage = _stage("A foot from the side: heel, ball and toe, three points of its sole.", *CLOSE)
    points = _rolled(0)
    draw_foot(stage.floor(), points, "inverse").dots(points[1:], "miss")
    for name, point in zip(foot.PIVOTS, points[1:], strict=True):
        stage.note(point, name, "miss", "below")
    return stage


def _turn() -> Stage:
    pivot, start = np.array([0.12, 0.0]), _rolled(0)[0]
    turn = np.radians(-50)
    way = start - pivot
    end = pivot + [
        way[0] * np.cos(turn) - way[1] * np.sin(turn),
        way[0] * np.sin(turn) + way[1] * np.cos(turn),
    ]
    stage = _stage("A point goes round a pivot by 50 degrees at the same distance.", *CLOSE).floor()
    stage.path([pivot, start], "soft").path([pivot, end], "soft")
    stage.dots([start, end]).dots([pivot], "miss").note(pivot, "pivot", "miss", "right")
    return stage.arc(pivot, start, end, "50°", radius=50)


# Signing off


def _checked(aside: float) -> Stage:
    """Both legs, and how far the right knee is from the left one's mirror image.

    Parameters
    ----------
    aside : float
        How far somebody moved that knee outward, metres.
    """
    rest, knee = _rig().skeleton, "R_knee"
    frame = frames.frame(origin=[-aside, 0.0, 0.0]) @ rest.rest_world[rest.index(knee)]
    skeleton = with_rest(rest, {knee: frame})
    error = placement.mirror_error(skeleton)
    cm = f"{error.cm[error.names.index(knee)]:.1f} cm"
    stage = _front(
        f"Both legs from the front. The right knee is {cm} off the left one's mirror image."
    )
    _two_legs(stage, skeleton.rest_world).ghost(rest.origins(rest.rest_world, RIGHT))
    at = skeleton.origins(skeleton.rest_world, [knee])[0]
    return stage.note(at, cm, "miss" if aside else "goal", "left", loud=True)


def _inspection() -> Stage:
    return _checked(0.0)


def _finding() -> Stage:
    return _checked(0.03)


PICTURES: dict[str, Callable[[], Stage]] = {
    "Bend plane": _bend_plane,
    "Bind": _bind,
    "Bone": _bone,
    "Bone axis": _bone_axis,
    "Centre of rotation": _centre,
    "Chain": _a_chain,
    "Control": _control,
    "Dual quaternions": _dual,
    "Finding": _finding,
    "Flexion": _flexion,
    "Follow": _follow,
    "Foot strike": _strike,
    "Forward chain": _forward,
    "Frame": _frame,
    "Full extension": _full,
    "Gap": _gap,
    "Goal": _goal_alone,
    "Heel ball and toe": _heel_ball_toe,
    "Hinge axis": _hinge_axis,
    "Hip centre": _hip_centre,
    "Ill-conditioned": _ill_conditioned,
    "Inspection": _inspection,
    "Inverse chain": _inverse,
    "Joint": _joint,
    "Key": _key,
    "Linear blend": _linear,
    "Local and world": _local_and_world,
    "Midplane": _midplane,
    "Mirror": _mirrored,
    "Miss": _miss,
    "Outline": _outline,
    "Parent and child": _parent,
    "Pivot": _pivot,
    "Plant": _plant,
    "Pole": _pole,
    "Pop": _pop,
    "Preset bend": _preset,
    "Reach": _reach,
    "Reads zero": _reads_zero,
    "Reflection": _reflection,
    "Rest pose": _rest,
    "Roll": _roll,
    "Root": _root,
    "Same bend": _same_bend,
    "Side tag": _side_tag,
    "Signs of hip and knee": _signs,
    "Singular values": _singular,
    "Skin": _skin,
    "Slide": _slide,
    "Soft reach": _soft,
    "Solver": _solver,
    "Stall": _stall,
    "Stance": _stance,
    "Stride": _stride,
    "Swing": _swing,
    "Swivel": _swivel,
    "Switch and match": _switch,
    "Toe-off": _toe_off,
    "Turn in the plane": _turn,
    "Twist": _twist,
    "Volume kept": _volume,
    "Weights": _weights,
}
