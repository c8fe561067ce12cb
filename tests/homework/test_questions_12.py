"""Lesson 12's judges: any right rig and repair, and a sentence for what is not."""

from dataclasses import replace

import numpy as np
import pytest

from rigkit import bend, export, faults, foot, frames, gltf, mesh, placement, rotation, skin
from rigkit.homework import calling, checking, open_homework, questions, rig_file
from rigkit.leg import LegRig
from rigkit.skeleton import Skeleton
from tests.homework.solved import outcome_of

QUESTIONS = questions("12")
LEARNER = "ada"


def case(name):
    return open_homework("12", LEARNER).cases(QUESTIONS[name], 1)


def handed_in(asset, tmp_path):
    path = tmp_path / "mine.glb"
    gltf.write(asset, path)
    return checking.score_answers(QUESTIONS["my_rig"], case("my_rig"), [rig_file.record_file(path)])


def own(learner=LEARNER, walking=False, bend_deg=None):
    """A rig with the ankles as far apart as asked for, as a learner may build it."""
    who = open_homework("12", learner).character
    wanted = open_homework("12", LEARNER).inputs("my_rig")
    plain = LegRig.from_puppet(who, wanted.bend_deg if bend_deg is None else bend_deg).skeleton
    sole = foot.of_puppet(who)
    points = {
        name: plain.origins(plain.rest_world, [name])[0] for name in ("L_hip", "L_knee", "L_ankle")
    } | {f"L_{name}": [0, *getattr(sole, name)[::-1]] for name in ("ball", "heel", "toe")}
    top, low = points["L_hip"][1], points["L_ankle"][1]
    for name, (_, up, ahead) in points.items():
        half_widths = [wanted.ankle_width / 2, who.hip_width / 2]
        points[name] = [np.interp(up, [low, top], half_widths), up, ahead]
    rig = LegRig(points)
    motions = {"walk": export.walk_motion(rig, who)} if walking else None
    return export.rig_asset(rig.skeleton, *skin.rig_skin(rig, who, 600), motions)


@pytest.mark.parametrize("walking", [False, True])
def test_a_rig_of_ones_own_is_signed_off(tmp_path, walking):
    outcome = handed_in(own(walking=walking), tmp_path)
    assert outcome.word == "Right", outcome.sentence


def test_so_is_one_that_lies_on_its_back_in_centimetres_and_is_called_otherwise(tmp_path):
    asset = own()
    turn = rotation.quaternion_from_matrix(rotation.matrix_about("x", np.pi / 2))
    root = gltf.Node("scene", None, (0, 0, 0), turn, (100, 100, 100))
    below = [
        replace(
            node,
            parent=(
                0
                if node.parent is None and node.mesh is None
                else None
                if node.parent is None
                else node.parent + 1
            ),
            name=node.name.replace("L_", "left ").replace("R_", "right "),
        )
        for node in asset.nodes
    ]
    bound = replace(asset.skins[0], joints=asset.skins[0].joints + 1, root=1)
    outcome = handed_in(replace(asset, nodes=[root, *below], skins=[bound]), tmp_path)
    assert outcome.word == "Right", outcome.sentence


def test_a_rig_of_someone_else_passes_and_is_not_right(tmp_path):
    outcome = handed_in(own("learner-03"), tmp_path)
    assert outcome.word != "Right"
    assert "not those asked for" in outcome.sentence


def test_without_a_skin_not_everything_can_be_measured(tmp_path):
    asset = own()
    outcome = handed_in(replace(asset, nodes=asset.nodes[:-1], skins=(), meshes=()), tmp_path)
    assert outcome.word != "Right"
    assert "no skin" in outcome.sentence


def test_a_file_without_legs_is_told_so(tmp_path):
    asset = own()
    outcome = handed_in(replace(asset, nodes=asset.nodes[:1], skins=(), meshes=()), tmp_path)
    assert outcome.score == 0
    assert "legs" in outcome.sentence


def test_a_bend_of_another_size_is_not_the_one_asked_for(tmp_path):
    outcome = handed_in(own(bend_deg=3.0), tmp_path)
    assert "preset bend is not the one" in outcome.sentence


def test_a_rig_built_as_the_lesson_does_is_right(tmp_path):
    who, wanted = (
        open_homework("12", LEARNER).character,
        open_homework("12", LEARNER).inputs("my_rig"),
    )
    ups = who.hip_height - np.cumsum([0, *who.bones])
    across = np.interp(ups, ups[[2, 0]], [wanted.ankle_width / 2, who.hip_width / 2])
    straight = np.column_stack([across, ups, 0 * ups])
    leg = bend.preset_bend(straight, np.radians(wanted.bend_deg), [0, 0, 1])
    leg[:, 1] += straight[-1, 1] - leg[-1, 1]
    placed = placement.orient_chain(leg)
    world = {
        "pelvis": frames.frame(origin=leg[0] * [0, 1, 1]),
        "L_hip": placed[0],
        "L_knee": placed[1],
        "L_ankle": frames.frame(origin=leg[2]),
        "L_ball": frames.frame(origin=leg[2] * [1, 0, 1] + [0, 0.02, 0.12]),
    }
    skeleton = placement.mirror_skeleton(
        Skeleton.from_world(world, dict(zip(world, [None, *world], strict=False)))
    )
    surface = mesh.puppet_mesh(who, 600, chain=leg)
    pelvis, left, right = mesh.inner_bones(who, chain=leg)
    bones = skin.bones_of(skeleton, {"pelvis": pelvis, "L_ankle": left, "R_ankle": right})
    weights = skin.weights_by_distance(surface.vertices, bones)
    outcome = handed_in(export.rig_asset(skeleton, surface, weights), tmp_path)
    assert outcome.word == "Right", outcome.sentence


def knee_by_search(hip, knee, ankle, toe):
    line = ankle - hip
    ahead = np.cross(np.cross(line, (toe - ankle) * [1, 0, 1]), line)
    ahead = ahead / np.linalg.norm(ahead)
    base = hip + (knee - hip) @ line / (line @ line) * line
    offs = np.linspace(0, 0.1, 400) * np.linalg.norm(line)
    bends = [
        bend.measure_bend(np.array([hip, base + off * ahead, ankle]), ahead).angle for off in offs
    ]
    return base + offs[int(np.abs(np.degrees(bends) - 8).argmin())] * ahead


def mirrored_by_hinge(joint):
    y, z = joint[:3, 1], joint[:3, 2]
    return frames.frame(np.column_stack([np.cross(y, z), y, z]), joint[:3, 3])


def weights_one_by_one(weights, vertex_side, joint_side):
    rows = []
    for row, side in zip(weights, vertex_side, strict=True):
        own_side = {j: w for j, w in enumerate(row) if side * joint_side[j] >= 0}
        strongest = sorted(own_side, key=own_side.get)[-4:]
        total = sum(own_side[j] for j in strongest)
        rows.append([own_side[j] / total if j in strongest else 0 for j in range(len(row))])
    return rows


def bound_step_by_step(local):
    found = [np.linalg.inv(local[0])]
    for frame in local[1:]:
        found.append(np.linalg.inv(frame) @ found[-1])
    return found


@pytest.mark.parametrize(
    ("name", "answer"),
    [
        ("mend_knee", knee_by_search),
        ("mend_mirrored", mirrored_by_hinge),
        ("mend_weights", weights_one_by_one),
        ("bind_again", bound_step_by_step),
    ],
    ids=lambda value: getattr(value, "__name__", value),
)
def test_right_by_another_way(name, answer):
    assert outcome_of(QUESTIONS[name], answer).word == "Right"


@pytest.mark.parametrize("size", [-3.0, 1e-3, 1.0])
def test_an_axis_has_neither_length_nor_sense_and_its_angle_no_sign(size):
    inputs = open_homework("12", LEARNER).inputs("aslant")
    normal = np.cross(inputs.knee - inputs.hip, inputs.ankle - inputs.knee)
    normal = normal / np.linalg.norm(normal)
    off = np.degrees(np.arccos(abs(normal @ inputs.axis) / np.linalg.norm(inputs.axis)))
    assert (
        outcome_of(
            QUESTIONS["aslant"], lambda *_: ("hinge-square", np.sign(size) * off, size * normal)
        ).word
        == "Right"
    )


@pytest.mark.parametrize(
    ("name", "answer", "says"),
    [
        ("mend_knee", lambda *places: knee_by_search(*places) + [0.1, 0, 0], "beside the plane"),
        (
            "mend_mirrored",
            lambda joint: frames.frame(mirrored_by_hinge(joint)[:3, :3]),
            "stay where it is",
        ),
        ("mend_mirrored", lambda joint: 2 * mirrored_by_hinge(joint), "length one"),
        (
            "mend_mirrored",
            lambda joint: mirrored_by_hinge(joint) + np.diag([0, 0, 0, 1.0]),
            "last row",
        ),
        (
            "mend_weights",
            lambda w, v, j: np.array(weights_one_by_one(w, v, j)) * 0.9,
            "sums are not one",
        ),
    ],
)
def test_what_is_wrong_is_said(name, answer, says):
    outcome = outcome_of(QUESTIONS[name], answer)
    assert outcome.score < 1
    assert says in outcome.sentence


def test_an_axis_along_the_bone_leaves_the_ankle_behind():
    inputs = open_homework("12", LEARNER).inputs("aslant")
    outcome = outcome_of(
        QUESTIONS["aslant"], lambda *_: ("hinge-square", 0.0, inputs.ankle - inputs.knee)
    )
    shank_cm = 100 * np.linalg.norm(inputs.ankle - inputs.knee)
    assert f"{np.sqrt(2) * shank_cm:.1f} cm" in repr(
        outcome.measured
    )  # it has not moved, and should be a square away


def test_each_wrong_rig_is_told_from_the_others():
    inputs = calling.arguments(case("my_rig")[0])
    reports = [
        rig_file.findings(wrong.answer(*inputs)) for wrong in QUESTIONS["my_rig"].misconceptions
    ]
    found = [
        frozenset(f["rule"] for f in report["findings"] if f["status"] == "finding")
        for report in reports
    ]
    assert len(set(found)) == len(found)
    assert all(found)
    assert faults.VERTICES < 2000  # a check has to be quick


def aslant(rule):
    def answer(hip, knee, ankle, axis):
        normal = np.cross(knee - hip, ankle - knee)
        normal = normal / np.linalg.norm(normal)
        off = np.degrees(np.arccos(abs(normal @ axis) / np.linalg.norm(axis)))
        return rule, off, normal

    return answer


@pytest.mark.parametrize("rule", ["preset-bend", "knee-in-plane", "sides-mirror"])
def test_a_repair_under_a_wrong_name_is_half_done_and_the_right_name_is_not_said(rule):
    outcome = outcome_of(QUESTIONS["aslant"], aslant(rule))
    assert outcome.score <= 0.5
    assert rule in outcome.sentence
    others = {"preset-bend", "knee-in-plane", "sides-mirror", "hinge-square"} - {rule}
    assert not any(other in outcome.sentence for other in others)
    assert "what is left" not in outcome.sentence


def test_a_wrong_name_is_told_what_its_rule_measures_here():
    case = open_homework("12", LEARNER).inputs("aslant")
    bones = case.knee - case.hip, case.ankle - case.knee
    cosine = bones[0] @ bones[1] / np.linalg.norm(bones[0]) / np.linalg.norm(bones[1])
    said = outcome_of(QUESTIONS["aslant"], aslant("preset-bend")).sentence
    assert f"{np.degrees(np.arccos(cosine)):.1f}°" in said


@pytest.mark.parametrize("learner", ["ada", "learner-03", "learner-07"])
def test_no_single_call_makes_the_rig_that_is_asked_for(tmp_path, learner):
    mine = open_homework("12", learner)
    path = tmp_path / "mine.glb"
    gltf.write(
        export.puppet_asset(mine.character, 600, False, mine.inputs("my_rig").bend_deg), path
    )
    outcome = checking.score_answers(
        QUESTIONS["my_rig"], mine.cases(QUESTIONS["my_rig"], 1), [rig_file.record_file(path)]
    )
    assert outcome.score <= 0.7
    assert "ankle width" in outcome.sentence
