"""The humanoid map of VRM files, written by hand after vrm-c/vrm-specification,
VRMC_vrm-1.0/humanoid.md, and after the schema of VRM 0.x (a list of bones and nodes)."""

from dataclasses import replace

import pytest

from rigkit import gltf, inspection
from tests.unit import rigs
from tests.unit.gltf_files import File

BONES = {"hip": "UpperLeg", "knee": "LowerLeg", "ankle": "Foot", "ball": "Toes"}
NODES = ["pelvis", *(f"{tag}_{part}" for tag in "LR" for part in ("hip", "knee", "ankle", "ball"))]
MAP = {"hips": 0} | {
    word + bone: NODES.index(f"{tag}_{part}")
    for tag, word in (("L", "left"), ("R", "right"))
    for part, bone in BONES.items()
}


def file(extension):
    """A document with nothing but nodes and an extension."""
    nodes = [{"name": name} for name in NODES]
    return File(nodes=nodes, extensions=extension, extensionsUsed=list(extension)).glb()


def newer(bones):
    return {"VRMC_vrm": {"humanoid": {"humanBones": {b: {"node": n} for b, n in bones.items()}}}}


def older(bones):
    listed = [{"bone": bone, "node": node} for bone, node in bones.items()]
    return {"VRM": {"humanoid": {"humanBones": listed}}}


@pytest.mark.parametrize("form", [newer, older])
def test_both_forms_are_read(form):
    asset = gltf.read(file(form(MAP)))
    assert asset.humanoid == MAP
    assert any("is not read, but for its humanoid map" in note for note in asset.notes)


@pytest.mark.parametrize(
    ("extension", "said"),
    [
        (newer({**MAP, "leftFoot": 99}), "VRMC_vrm.humanoid.humanBones.leftFoot: must be a place"),
        (newer({**MAP, "leftFoot": "x"}), "humanBones.leftFoot: must be a place in `nodes`"),
        ({"VRMC_vrm": {"humanoid": {"humanBones": []}}}, "`humanBones` must be an object"),
        ({"VRMC_vrm": 3}, "`VRMC_vrm` must be an object"),
        ({"VRM": {"humanoid": {"humanBones": [3]}}}, "humanBones[0]: must be an object"),
        (
            {"VRM": {"humanoid": {"humanBones": [{"bone": "hips", "node": 0}] * 2}}},
            "humanBones[1]: names 'hips' twice",
        ),
    ],
)
def test_a_map_that_cannot_be_read_is_said(extension, said):
    asset = gltf.read(file(extension))
    assert asset.humanoid == {}
    assert any(said in note and "map is not read" in note for note in asset.notes)


def test_a_file_without_a_map():
    assert gltf.read(file({})).humanoid == {}


def named_like_arms(bones):
    """Tamsin, her legs called arms, with a map."""
    asset = rigs.called(rigs.clean(), hip="arm", knee="forearm", ankle="hand", ball="thumb")
    before = [node.name for node in rigs.clean().nodes]
    return replace(
        asset, humanoid={bone: before.index(NODES[node]) for bone, node in bones.items()}
    )


def test_the_map_decides():
    report = inspection.inspect(named_like_arms(MAP))
    legs = report.legs
    assert legs.certainty == 1
    assert legs.because["legs"] == "the file's own humanoid map says so"
    assert report.names[legs.legs["L"].joints["knee"]] == "L_forearm"
    assert legs.legs["R"].why["ankle"] == "the file's own humanoid map says so"
    assert report.names[legs.pelvis] == "pelvis"
    assert not legs.animal


def test_the_user_knows_better_than_the_map():
    legs = inspection.inspect(named_like_arms(MAP), {"left.ball": "L_thumb"}).legs
    assert legs.legs["L"].why["ball"] == "you said so"
    assert legs.legs["R"].why["ball"] == "the file's own humanoid map says so"


SWAPPED = {**MAP, "leftFoot": MAP["leftLowerLeg"], "leftLowerLeg": MAP["leftFoot"]}
LACKING = {bone: node for bone, node in MAP.items() if bone != "rightFoot"}


@pytest.mark.parametrize(
    ("bones", "said"),
    [
        (SWAPPED, "leftFoot does not hang below leftLowerLeg"),
        ({**MAP, "hips": MAP["leftToes"]}, "leftToes and hips are one node"),
        (LACKING, "it lacks rightFoot"),
    ],
)
def test_a_map_that_is_no_leg_is_said_and_not_used(bones, said):
    asset = rigs.clean()
    names = [node.name for node in asset.nodes]
    asset = replace(
        asset, humanoid={bone: names.index(NODES[node]) for bone, node in bones.items()}
    )
    report = inspection.inspect(asset)
    assert f"The file's humanoid map is not used: {said}." in report.remarks
    assert report.names[report.legs.legs["L"].joints["knee"]] == "L_knee"
    assert report.legs.certainty < 1
