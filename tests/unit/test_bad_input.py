"""Every array argument of every public function: NaN, infinity, a wrong last axis, empty and text
are refused by name.

`CALLS` holds one good call of each function; the bad calls are made from it by spoiling one array
argument at a time. To add a function, add its good call: every parameter by name, array arguments
as `array(good value, *last axes)`. A function without array arguments goes into `NO_ARRAYS`. A test
fails for a public function in neither.
"""

import dataclasses
import importlib
import inspect
import re

import numpy as np
import pytest

from rigkit import (
    bend,
    body,
    controls,
    export,
    foot,
    frames,
    gait,
    leg,
    mesh,
    physique,
    placement,
    places,
    puppets,
    rotation,
    skeleton,
    skin,
    solvers,
    two_bone,
)
from tests.unit.test_import import MATHS, defined_in, written


class array:
    """A good value of an array argument.

    Parameters
    ----------
    *axes : int or str
        The last axes it must have, as `_check.numbers` takes them.
    inside : str or tuple of str
        For an array inside a mapping argument: the key or keys that lead to it.
    named : str
        What the refusal calls it, where that does not begin with the parameter's name.
    """

    def __init__(self, value, *axes, inside=(), named=None):
        self.given, self.value, self.axes, self.named = value, np.asarray(value), axes, named
        self.keys = (inside,) if isinstance(inside, str) else inside

    def wrap(self, value):
        for key in reversed(self.keys):
            value = {key: value}
        return value

    def spoiled(self):
        """Bad values by what is bad about them."""
        for name, number in {"NaN": np.nan, "infinity": np.inf, "minus infinity": -np.inf}.items():
            value = self.value.astype(float)
            value.flat[value.size // 2] = number
            yield name, value
            yield f"{name} in a list", value.tolist()
        if self.axes:
            yield "no axis", 1.0
        if self.axes and isinstance(self.axes[-1], int):
            yield "wrong last axis", np.ones((*self.value.shape[:-1], self.value.shape[-1] + 1))
        yield "empty", np.zeros((0, *self.value.shape[1:]))
        yield "text", "north"
        yield "numbers as text", np.full(self.value.shape, "1")


class Call:
    """A good call of a public function, method or class; `of` says of which, where `function` only
    wraps it."""

    def __init__(self, function, of=None, **arguments):
        self.function, self.arguments, self.wraps = function, arguments, of is not None
        self.name = of or f"{function.__module__.split('.')[1]}.{function.__qualname__}"

    def __call__(self, **spoiled):
        values = {
            name: value.wrap(value.given) if isinstance(value, array) else value
            for name, value in self.arguments.items()
        }
        return self.function(**values | spoiled)

    def answer(self, **spoiled):
        """The answer of a call to a bad argument: its `ValueError`'s text, or what came instead."""
        try:
            return f"(accepted) {self(**spoiled)!r}"
        except ValueError as refusal:
            return str(refusal)
        except Exception as error:
            return f"(not a ValueError) {error!r}"


VECTOR, OTHER = [0.3, -0.5, 0.8], [0.1, 0.9, -0.2]
QUATERNION = [0.1, 0.2, 0.3, 0.9]
MATRIX = rotation.matrix_about("x", 0.4)
FRAME = frames.frame(MATRIX, VECTOR)
LEG = skeleton.Skeleton.from_world(
    {
        "pelvis": frames.frame(origin=[0, 1, 0]),
        "L_hip": frames.frame(origin=[0.1, 1, 0]),
        "L_knee": frames.frame(origin=[0.1, 0.5, 0]),
        "R_hip": frames.frame(origin=[-0.1, 1, 0]),
        "R_knee": frames.frame(origin=[-0.1, 0.5, 0]),
    },
    {"pelvis": None, "L_hip": "pelvis", "L_knee": "L_hip", "R_hip": "pelvis", "R_knee": "R_hip"},
)
PIP = puppets.PUPPETS["Pip"]
CHAIN = mesh.puppet_chain(PIP)
TUBE = mesh.tube(0.1, 1.0, around=6, along=2)
WEIGHTS = np.stack([TUBE.vertices[:, 1] + 0.5, 0.5 - TUBE.vertices[:, 1]], axis=-1)
HEEL_BALL_TOE = [[0, 0, -0.05], [0, 0, 0.1], [0, 0, 0.2]]
WALK = gait.walk(PIP, frames=8, cycles=1)
PIP_SKIN = skin.rig_skin(leg.LegRig.from_puppet(PIP), PIP, 300)
# Markers on a segment that circles a joint.
MOTION = frames.apply(
    frames.frame(
        rotation.matrix_from_vector(
            [[0.5 * np.cos(t), 0.3 * np.sin(2 * t), 0.5 * np.sin(t)] for t in range(8)]
        )
    )[:, None],
    [VECTOR, OTHER],
)
LEG_POSE, MARKERS = array(LEG.rest_world, 4, 4), array(MOTION, "frames", "markers", 3)
CENTRES = {
    "L_hip": [0.1, 0.9, 0],
    "L_knee": [0.1, 0.5, 0.03],
    "L_ankle": [0.1, 0.08, 0],
    "L_heel": [0.1, 0, -0.06],
    "L_ball": [0.1, 0, 0.12],
    "L_toe": [0.1, 0, 0.2],
}
BENT = [[0, 1, 0], [0, 0.6, 0.1], [0, 0.2, 0]]  # hip, knee and ankle
HINGES = [[1, 0, 0], [1, 0, 0]]
JACOBIAN = array([[1, 2, 0], [0, 1, 1]], "d", "m")
POINT, DIRECTION, FORWARD = array(VECTOR, 3), array(OTHER, 3), array([0, 0, 1], 3)
TURN, PLACED, SPIN = array(MATRIX, 3, 3), array(FRAME, 4, 4), array(QUATERNION, 4)
PLANE = {"normal": DIRECTION, "through": POINT}
MIDPLANE = {"normal": array([1, 0, 0], 3), "through": array([0, 0, 0], 3)}
BONES = {"upper": array(0.4), "lower": array(0.4)}
REACH = {"distance": array(0.7), **BONES, "soft": array(0.01)}
HIP, KNEE, ANKLE = (array(point, 3) for point in BENT)
BENT_LEG = {"hip": HIP, "knee": KNEE, "ankle": ANKLE}
GOAL = array([0, 0.3, 0.1], 3)
REACHING = {"points": array(BENT, "n", 3), "goal": GOAL}
VERTICES, TRIANGLES = array(TUBE.vertices, "v", 3), array(TUBE.triangles, "t", 3)
SURFACE = {"vertices": VERTICES, "triangles": TRIANGLES}
POSED = {"rest": VERTICES, "posed": VERTICES, "triangles": TRIANGLES}
CUT = {"point": array([0, 0.1, 0], 3), "normal": array([0, 1, 0], 3)}
WEIGHED = array(WEIGHTS, "joints")
BLENDED = {"vertices": VERTICES, "weights": WEIGHED, "matrices": array([FRAME, FRAME], 4, 4)}
AT_JOINTS = {"rest_joint": PLACED, "posed_joint": PLACED, "axis": "x"}
SKINNED = {"rest": VERTICES, "posed": VERTICES, **AT_JOINTS}
STEPS = {"tolerance": array(1e-6), "max_iterations": 50, "trace": False, "dtype": float}
CHAIN_SOLVING = {**REACHING, **STEPS}
HINGED = array(HINGES, 2, 3)
HAND = controls.Control("hand")

CALLS = [
    # rotation
    Call(rotation.matrix_about, axis=POINT, angle=array(0.5)),
    Call(rotation.matrix_from_vector, vector=POINT),
    Call(rotation.vector_from_matrix, matrix=TURN),
    Call(rotation.quaternion_from_vector, vector=POINT),
    Call(rotation.vector_from_quaternion, quaternion=SPIN),
    Call(rotation.unit_quaternion, quaternion=SPIN),
    Call(rotation.matrix_from_quaternion, quaternion=SPIN),
    Call(rotation.quaternion_from_matrix, matrix=TURN),
    Call(rotation.multiply_quaternions, first=SPIN, second=SPIN),
    Call(rotation.slerp, start=SPIN, end=array([0, 0, 0, 1], 4), t=array(0.5)),
    Call(rotation.matrix_from_euler, angles=POINT, order="zxy", axes="moving"),
    Call(rotation.euler_from_matrix, matrix=TURN, order="zxy", axes="moving"),
    Call(rotation.matrix_between, start=POINT, end=DIRECTION),
    Call(rotation.perpendicular, direction=POINT),
    Call(rotation.angle_between, first=POINT, second=DIRECTION),
    Call(rotation.rotation_angle, matrix=TURN),
    Call(rotation.check_matrix, name="hip", matrix=array(MATRIX, 3, 3, named="hip")),
    Call(rotation.orthonormalise, matrix=TURN),
    # frames
    Call(frames.frame, rotation_matrix=TURN, origin=POINT),
    Call(frames.invert, frames=PLACED),
    Call(frames.relative, parent=PLACED, child=PLACED),
    Call(frames.apply, frames=PLACED, points=POINT),
    Call(frames.rotate_vectors, frames=PLACED, directions=POINT),
    Call(frames.mirror_points, points=POINT, **PLANE),
    Call(frames.axis_toward, frames=PLACED, points=array([0.3, 0.1, 0.2], 3)),
    Call(frames.mirror_frames, frames=PLACED, flip="x", **PLANE),
    Call(frames.check_frames, name="hip", frames=array(FRAME, 4, 4, named="hip")),
    # body
    Call(body.segment_lengths, stature=array(1.7), table="drillis-contini"),
    Call(
        body.pelvis,
        left_asis=array([0.12, 1, 0.1], 3),
        right_asis=array([-0.12, 1, 0.1], 3),
        left_psis=array([0.05, 1, -0.1], 3),
        right_psis=array([-0.05, 1, -0.1], 3),
    ),
    Call(
        body.hip_centres,
        method="harrington",
        pelvis_width=array(0.24),
        pelvis_depth=array(0.15),
        leg_length=array(0.85),
        pelvis_height=array(0.1),
        marker_radius=array(0.007),
    ),
    Call(body.joint_range, joint="knee", table="cdc", sex="F", age=array(30)),
    Call(body.joint_range("knee").outside, angles=array(0.5)),
    # puppets
    Call(
        puppets.Puppet,
        name="Nel",
        role="tests",
        stature=array(1.7),
        bones=array([0.4, 0.4], "n"),
        ankle_height=array(0.06),
        foot_length=array(0.25),
        heel_length=array(0.06),
        ball_length=array(0.12),
        hip_width=array(0.2),
        knee_side=1,
    ),
    # skeleton
    Call(skeleton.Joint, name="hip", parent=None, rest=PLACED),
    Call(
        skeleton.Skeleton.from_world, world=array(FRAME, 4, 4, inside="hip"), parents={"hip": None}
    ),
    Call(LEG.world, local=array(LEG.rest_local, 4, 4)),
    Call(LEG.local, world=LEG_POSE),
    Call(
        LEG.pose,
        turns=array(MATRIX, 3, 3, inside="L_hip", named="turn of L_hip"),
        shifts=array(VECTOR, 3, inside="pelvis", named="shift of pelvis"),
    ),
    Call(LEG.origins, world=LEG_POSE, names=["L_hip"]),
    Call(
        skeleton.planar_chain,
        angles=array([0.1, 0.2], "n"),
        lengths=array([1, 2], "n"),
        start=array([0, 0], 2),
    ),
    # placement
    Call(
        placement.orient_chain,
        points=array([[0, 1, 0], [0, 0.5, 0.1], [0, 0, 0]], "n", 3),
        forward=FORWARD,
        knee_direction=array(1),
        least_bend_deg=array(1.0),
        child_axis="-y",
        hinge_axis="x",
    ),
    Call(
        placement.reorient,
        skeleton=LEG,
        turns=array(MATRIX, 3, 3, inside="L_hip", named="turn of L_hip"),
    ),
    Call(
        placement.mirror_chain,
        world=array(FRAME, 4, 4, inside="L_hip", named="L_hip"),
        kind="same bend",
        **PLANE,
    ),
    Call(placement.mirror_rotations, turns=TURN, kind="reflection"),
    Call(placement.mirror_skeleton, skeleton=LEG, side="L_", kind="same bend", **MIDPLANE),
    Call(placement.mirror_error, skeleton=LEG, world=LEG_POSE, kind="same bend", **MIDPLANE),
    Call(placement.centre_of_rotation, markers=MARKERS),
    Call(placement.hinge_axis_from_motion, markers=MARKERS, toward=array([1, 0, 0], 3)),
    Call(placement.skin_slide, offset=POINT, angle=array(0.5), axis=DIRECTION),
    # two_bone
    Call(two_bone.solve_planar, goal=array([0.1, -0.7], 2), **BONES, knee_direction=array(1)),
    Call(two_bone.planar_points, hip=array(0.2), knee=array(0.5), **BONES),
    Call(
        two_bone.solve,
        hip=HIP,
        goal=GOAL,
        **BONES,
        pole=array([0, 0.6, 1], 3),
        hint=FORWARD,
        swivel=array(0.1),
        soft=array(0.01),
        stretch=False,
    ),
    Call(two_bone.soft_reach, **REACH),
    Call(two_bone.soft_goal, **REACH),
    Call(two_bone.flexion_rate, **REACH),
    Call(two_bone.place_pole, **BENT_LEG, distance=array(0.8), hint=FORWARD),
    Call(two_bone.swivel_angle, **BENT_LEG, hint=FORWARD),
    Call(two_bone.knee_toe_offset, knee=KNEE, ankle=ANKLE, toe=array([0, 0.1, 0.2], 3)),
    Call(two_bone.bone_frames, hip=HIP, pose=two_bone.solve([0, 1, 0], [0, 0.3, 0.1], 0.4, 0.4)),
    # bend
    Call(bend.jacobian, points=array(BENT, "n", "d"), axes=HINGED),
    Call(bend.singular_values, matrix=JACOBIAN),
    Call(bend.manipulability, matrix=JACOBIAN),
    Call(bend.rank, matrix=JACOBIAN, tolerance=array(1e-9)),
    Call(bend.lost_direction, matrix=JACOBIAN),
    Call(bend.transpose_step, **REACHING, axes=HINGED),
    Call(bend.cyclic_turns, **REACHING, axes=HINGED),
    Call(bend.fabrik_step, **REACHING),
    Call(bend.line_offsets, **REACHING),
    Call(bend.stalls, **REACHING, axes=HINGED, tolerance=array(0.0)),
    Call(bend.preset_bend, points=array(BENT, 3, 3), angle=array(0.1), forward=FORWARD),
    Call(bend.measure_bend, points=array(BENT, 3, 3), forward=FORWARD),
    Call(bend.reach_cost, angle=array(0.1), **BONES),
    Call(bend.bend_for_cost, cost=array(0.01), **BONES),
    # solvers
    Call(solvers.cyclic_descent, **CHAIN_SOLVING, axes=HINGED),
    Call(solvers.fabrik, **CHAIN_SOLVING, axes=None),
    Call(solvers.jacobian_transpose, **CHAIN_SOLVING, axes=HINGED),
    Call(solvers.damped_least_squares, **CHAIN_SOLVING, axes=HINGED, damping=array(0.05)),
    # controls
    Call(controls.Follow, leader="pelvis", what="both", weight=array(0.5), offset=PLACED),
    Call(
        controls.Control,
        name="hand",
        rest=PLACED,
        outline=array([VECTOR], "n", 3),
        pivot=POINT,
        parent=None,
        follows=(),
        locked=(),
        limits=array([-1, 1], 2, inside="shift_y"),
        base_frame=PLACED,
    ),
    Call(
        controls.pose,
        controls=[HAND],
        values=array(0.5, inside=("hand", "turn_x"), named="hand turn_x"),
        outside=array(FRAME, 4, 4, inside="pelvis", named="pelvis"),
    ),
    Call(
        controls.clamp_values, control=HAND, values=array(0.5, inside="turn_x", named="hand turn_x")
    ),
    Call(controls.values_at, control=HAND, world=PLACED, base=PLACED),
    Call(
        controls.interpolate_keys,
        values=array([0.0, 0.1, 0.3], inside=("hand", "turn_x"), named="hand turn_x"),
        keys=array([0, 1, 2], "n"),
    ),
    Call(
        controls.count_keys,
        values=array([0.0, 0.1, 0.3], inside=("hand", "turn_x"), named="hand turn_x"),
    ),
    Call(controls.offset_to, leader=PLACED, follower=PLACED, what="both"),
    Call(
        controls.switch,
        control=HAND,
        follows=(),
        worlds=array(FRAME, 4, 4, inside="hand", named="hand"),
        values=array(0.5, inside="turn_x", named="hand turn_x"),
    ),
    # foot
    Call(
        foot.Foot,
        ankle=array([0, 0.08], 2),
        heel=array([-0.05, 0], 2),
        ball=array([0.12, 0], 2),
        toe=array([0.2, 0], 2),
    ),
    Call(foot.turns, angle=array(0.3), ball_limit=array(0.7), ease=array(0.2)),
    Call(
        foot.roll,
        foot=foot.Foot((0, 0.08), (-0.05, 0), (0.12, 0), (0.2, 0)),
        angle=array(0.3),
        ball_limit=array(0.7),
        ease=array(0.2),
    ),
    # leg
    Call(
        lambda L_knee, soft: leg.LegRig(CENTRES | {"L_knee": L_knee}, soft),
        of="leg.LegRig",
        L_knee=array(CENTRES["L_knee"], 3),
        soft=array(0.01),
    ),
    Call(leg.LegRig.from_puppet, puppet=PIP, preset_bend_deg=array(5.0), soft=array(0.01)),
    Call(
        leg.LegRig(CENTRES).pose,
        values=array(0.5, inside=("L_foot", "roll"), named="L_foot roll"),
        inverse=True,
    ),
    Call(
        leg.LegAngles,
        hip=array(np.zeros((2, 3)), 2, 3),
        knee=array([0.1, 0.2], 2),
        ankle=array(np.zeros((2, 3)), 2, 3),
    ),
    # mesh
    Call(mesh.Mesh, **SURFACE),
    Call(mesh.tube, radius=array(0.1), length=array(1.0), around=6, along=2),
    Call(mesh.puppet_mesh, puppet=PIP, vertices=300, chain=array(CHAIN, "n", 3), more_rings=1),
    Call(mesh.inner_bones, puppet=PIP, chain=array(CHAIN, "n", 3)),
    Call(mesh.volume, **SURFACE),
    Call(mesh.volume_ratio, **POSED),
    Call(mesh.slice_area, **SURFACE, **CUT),
    Call(mesh.section, **SURFACE, **CUT),
    Call(mesh.section_ratio, **POSED, **CUT),
    Call(mesh.carried_section, **POSED, **CUT),
    Call(mesh.stretch, **POSED),
    Call(mesh.open_edges, triangles=TRIANGLES),
    Call(mesh.neighbours, triangles=TRIANGLES, vertices=len(TUBE.vertices)),
    Call(
        mesh.mirror_index,
        vertices=array([[0.1, 0, 0], [-0.1, 0, 0]], "v", 3),
        tolerance=array(1e-5),
        whole=True,
    ),
    # places
    Call(places.nearest_places, points=array([[0.3, 0.2, 0.1]], 3), **SURFACE),
    Call(
        places.nearest_places((0.3, 0.2, 0.1), TUBE.vertices, TUBE.triangles).read,
        table=array(TUBE.vertices, "v", "k"),
    ),
    # physique
    Call(
        physique.skin,
        puppet=PIP,
        vertices=300,
        chain=array(CHAIN, "n", 3),
        form=physique.Physique(),
    ),
    # skin
    Call(skin.bones_of, skeleton=LEG, more=array([[VECTOR, OTHER]], "n", 2, 3, inside="pelvis")),
    Call(
        skin.rig_skin,
        rig=leg.LegRig.from_puppet(PIP),
        puppet=PIP,
        vertices=300,
        softness=array(2.0),
    ),
    Call(
        skin.bind,
        surface=PIP_SKIN[0],
        rig=leg.LegRig.from_puppet(PIP),
        puppet=PIP,
        softness=array(2.0),
        max_influences=4,
    ),
    Call(
        skin.weights_by_distance,
        vertices=array([VECTOR, OTHER], "v", 3),
        bones=array([[VECTOR, OTHER]], "n", 2, 3, inside="hip"),
        softness=array(1.5),
        max_influences=4,
    ),
    Call(skin.normalise, weights=WEIGHED),
    Call(skin.prune, weights=WEIGHED, max_influences=1),
    Call(
        skin.smooth,
        weights=WEIGHED,
        neighbours=mesh.neighbours([[0, 1, 1]], len(WEIGHTS)),
        passes=2,
        strength=array(0.5),
        chosen=array(np.full(len(WEIGHTS), True), "v"),
    ),
    Call(
        skin.mirror_weights,
        weights=WEIGHED,
        partner=array(np.arange(len(WEIGHTS)), "v"),
        swap=array([1, 0], "joints"),
    ),
    Call(
        skin.mirror_weights_by_place,
        weights=WEIGHED,
        places=places.Places(
            np.zeros((len(WEIGHTS), 3), int), np.eye(3)[[0] * len(WEIGHTS)], np.zeros(len(WEIGHTS))
        ),
        swap=array([1, 0], "joints"),
        max_influences=4,
    ),
    Call(skin.pack_influences, weights=WEIGHED),
    Call(
        skin.unpack_influences,
        indices=array([[0, 1, 0, 0]], "v", 4),
        four=array([[0.5, 0.5, 0, 0]], "v", 4),
        joints=2,
    ),
    Call(skin.inverse_bind_matrices, rest_world=PLACED),
    Call(
        skin.joint_matrices,
        world=array([FRAME, FRAME], 4, 4),
        rest_world=array([FRAME, FRAME], 4, 4),
    ),
    Call(skin.linear_blend, **BLENDED),
    Call(skin.dual_quaternion_blend, **BLENDED),
    Call(skin.dual_quaternion_from_frame, frames=PLACED),
    Call(skin.frame_from_dual_quaternion, motion=array([*QUATERNION, 0, 0, 0, 0], 8)),
    Call(skin.blend_radius, weight=array(0.5), angle=array(0.5)),
    Call(skin.blend_zone, weights=WEIGHED, first=0, second=1),
    Call(skin.radius_ratio, **SKINNED),
    Call(skin.worst_collapse, **SKINNED, zone=array(np.full(len(TUBE.vertices), True), "v")),
    # gait
    Call(
        export.rig_asset,
        skeleton=leg.LegRig.from_puppet(PIP).skeleton,
        surface=PIP_SKIN[0],
        weights=array(PIP_SKIN[1], 11),
        motions={},
    ),
    Call(
        export.puppet_asset,
        puppet=PIP,
        vertices=300,
        walking=False,
        preset_bend_deg=array(5.0),
        rate=array(30.0),
    ),
    Call(
        export.walk_motion,
        rig=leg.LegRig.from_puppet(PIP),
        puppet=PIP,
        rate=array(30.0),
        speed=array(1.0),
    ),
    Call(gait.segment_angles, points=array([[0, 1, 0], [0, 0.5, 0.1]], "n", 3)),
    Call(gait.periodic_spline, values=array([1, 2, 3, 2], "n"), phase=array(0.3)),
    Call(
        gait.joint_angles,
        percent=array(30),
        joint="knee",
        table="schwartz-2008",
        relative_step=array(0.7),
    ),
    Call(gait.pace, leg_length=array(0.8), group="free"),
    Call(gait.stance_share, speed=array(1.2), leg_length=array(0.8)),
    Call(gait.pelvis_angles, percent=array(30), turn="rotation", relative_speed=array(0.4)),
    Call(gait.sway_width, step_time=array(0.5), leg_length=array(0.9), step_width=array(0.1)),
    Call(
        gait.walk,
        puppet=PIP,
        speed=array(1.0),
        step_length=array(0.5),
        frames=8,
        cycles=1,
        table="schwartz-2008",
        sway=array(1.0),
        rotation=array(1.0),
        obliquity=array(1.0),
    ),
    Call(gait.plant, walk=WALK, pelvis=array(gait.pelvis_path(WALK), 3)),
    Call(gait.highest_hips, walk=WALK, reach=array(0.99)),
    Call(gait.pelvis_path, walk=WALK, reach=array(0.99)),
    Call(
        gait.foot_slide_cm,
        sole=array([HEEL_BALL_TOE, HEEL_BALL_TOE], "n", 3),
        stance=array([True, True]),
    ),
    Call(gait.foot_strikes, stance=array(WALK.stance)),
    Call(gait.toe_offs, stance=array(WALK.stance)),
    Call(gait.extension_pops, walk=WALK, near=array(0.99), fastest_deg=array(600.0)),
    Call(gait.outside_range_deg, walk=WALK, table="cdc", sex="F", age=array(30)),
]

# Names, whole numbers, generators and objects checked when they were made.
NO_ARRAYS = {
    "body.sources",
    "body.as_text",
    "body.rows",
    "puppets.get",
    "puppets.personal",
    "puppets.with_bones",
    "skeleton.Skeleton",
    "skeleton.Skeleton.index",
    "skeleton.Skeleton.parent",
    "skeleton.Skeleton.children",
    "skeleton.Skeleton.below",
    "skeleton.Skeleton.chain",
    "skeleton.side_of",
    "skeleton.other_side",
    "placement.swap_side",
    "placement.rename",
    "controls.topological_order",
    "controls.dependents",
    "controls.with_offsets",
    "foot.of_puppet",
    "leg.LegRig.with_controls",
    "leg.LegRig.match",
    "leg.LegRig.angles",
    "leg.LegRig.values_from_angles",
    "mesh.Mesh.side",
    "mesh.puppet_chain",
    "mesh.pelvis_landmarks",
    "physique.Bump",
    "physique.Physique",
    "physique.of_puppet",
    "places.mirrored_places",
    "export.rig_motion",
    "gait.control_values",
    "gait.foot_goals",
    "gait.leg_height",
}

ARRAYS = [
    (call, name)
    for call in CALLS
    for name, value in call.arguments.items()
    if isinstance(value, array)
]


def public(module):
    """The public functions, classes that take arguments to check, and their methods, defined in a
    module of rigkit."""
    if module == "gltf":  # what a file may not hold is spoiled in test_gltf.py
        return
    for name, thing in vars(importlib.import_module(f"rigkit.{module}")).items():
        if name.startswith("_") or not defined_in(module, thing):
            continue
        if inspect.isclass(thing):
            if not dataclasses.is_dataclass(thing) or checks(thing):
                yield f"{module}.{name}"
            methods = (
                (key, value) for key, value in vars(thing).items() if not key.startswith("_")
            )
            yield from (
                f"{module}.{name}.{key}"
                for key, value in methods
                if inspect.isfunction(value) or isinstance(value, classmethod | staticmethod)
            )
        elif callable(thing):
            yield f"{module}.{name}"


def checks(record):
    """True if a dataclass checks what it is given; one that does not is a record of results."""
    generated = record.__init__.__code__.co_filename == "<string>"
    return "__post_init__" in vars(record) or not generated


@pytest.mark.parametrize(
    "module", [name for name in MATHS if name in written() and not name.startswith("_")]
)
def test_every_public_function_is_in_the_table(module):
    listed = {call.name for call in CALLS} | NO_ARRAYS
    assert set(public(module)) - listed == set(), (
        "add a good call of each to CALLS, or its name to NO_ARRAYS"
    )


def test_nothing_is_listed_that_is_not_there():
    there = {name for module in MATHS if module in written() for name in public(module)}
    assert ({call.name for call in CALLS} | NO_ARRAYS) - there == set()
    assert {call.name for call in CALLS} & NO_ARRAYS == set()


@pytest.mark.parametrize("call", CALLS, ids=lambda call: call.name)
def test_the_good_call_is_good_and_names_every_parameter(call):
    call()
    if not call.wraps:
        assert set(call.arguments) == set(inspect.signature(call.function).parameters)
    assert any(isinstance(value, array) for value in call.arguments.values())


@pytest.mark.parametrize(
    ("call", "argument"), ARRAYS, ids=[f"{call.name}-{argument}" for call, argument in ARRAYS]
)
def test_bad_input_is_refused_by_name(call, argument):
    good = call.arguments[argument]
    answers = {what: call.answer(**{argument: good.wrap(value)}) for what, value in good.spoiled()}
    named = rf"^(?!\().*`{re.escape(good.named or argument)}\b"
    assert {what: answer for what, answer in answers.items() if not re.search(named, answer)} == {}
