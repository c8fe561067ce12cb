"""glTF in and out: files made by hand are read as the standard says, and what is written is read
back."""

import base64
import dataclasses
import functools
import json
import os
import re

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal
from scipy.interpolate import CubicHermiteSpline
from scipy.spatial.transform import Rotation, Slerp

import rigkit
from rigkit import frames, gltf, rotation, skin
from rigkit.gltf import Animation, Asset, Channel, Mesh, Node, Skin, container
from rigkit.gltf.fields import fields
from tests.unit import gltf_files
from tests.unit.gltf_files import File, as_text, data_uri, leg, triangle

CLOSE = {"rtol": 0, "atol": 1e-12}


# --- nodes


def test_the_standards_own_skin_example():
    """glTF 2.0, "Skins": the mesh node's rotation and its parent's translation do not count; only
    joints do."""
    file = leg()
    file.json["nodes"] = [
        {"children": [1], "translation": [0, 1, 0]},
        {"children": [2], "scale": [0.5, 0.5, 0.5]},
        {},
        {"mesh": 0, "skin": 0, "rotation": [0, 1, 0, 0]},
        {"children": [3], "translation": [1, 0, 0]},
    ]
    file.json["skins"] = [{"joints": [1, 2]}]
    file.json["scenes"] = [{"nodes": [0, 4]}]
    del file.json["animations"]
    asset = gltf.read(file.glb())
    world = asset.rest_world()
    assert_allclose(
        world[2], [[0.5, 0, 0, 0], [0, 0.5, 0, 1], [0, 0, 0.5, 0], [0, 0, 0, 1]], **CLOSE
    )
    assert_allclose(
        asset.skin_points(3, world), 0.5 * asset.meshes[0].positions + [0, 1, 0], rtol=0, atol=1e-7
    )


def test_a_node_without_a_skin_carries_its_mesh():
    file = triangle(
        nodes=[{"children": [1], "translation": [0, 0, 1]}, {"mesh": 0, "scale": [2, 3, 1]}]
    )
    asset = gltf.read(file.glb())
    assert_allclose(
        asset.skin_points(1, asset.rest_world()), [[0, 0, 1], [2, 0, 1], [0, 3, 1]], **CLOSE
    )
    with pytest.raises(ValueError, match="`node` must carry a mesh; got 0"):
        asset.skin_points(0, asset.rest_world())


def test_children_may_stand_before_their_parents():
    names = [
        {"name": "foot", "translation": [0, -1, 0]},
        {"name": "hip", "children": [2]},
        {"children": [0]},
    ]
    asset = gltf.read(as_text(File(nodes=names).document()))
    assert [node.parent for node in asset.nodes] == [2, None, 1]
    assert asset.children == ((), (2,), (0,))
    assert asset.parents.tolist() == [2, -1, 1]
    assert_allclose(asset.rest_world()[0, :3, 3], [0, -1, 0])


def only_node(**node):
    return gltf.read(as_text({"asset": {"version": "2.0"}, "nodes": [node]}))


def test_a_matrix_is_column_by_column_and_taken_apart():
    turn = rotation.matrix_about("y", 0.5)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = turn * [1, 2, 3], [4, 5, 6]
    asset = only_node(matrix=matrix.T.ravel().tolist())
    (node,) = asset.nodes
    assert_allclose(node.translation, [4, 5, 6], **CLOSE)
    assert_allclose(node.scale, [1, 2, 3], **CLOSE)
    assert_allclose(rotation.matrix_from_quaternion(node.rotation), turn, **CLOSE)
    assert asset.notes == ()


@pytest.mark.parametrize(
    "scale", [[1, 1, -1], [-2, 1, 1], [0, 1, 1], [0, 0, 0], [-1, -1, -1], [1e-12, 1, 1e12]]
)
def test_a_matrix_that_mirrors_or_flattens_is_the_same_matrix_after(scale):
    matrix = np.eye(4)
    matrix[:3, :3] = rotation.matrix_from_vector([0.3, -1, 0.5]) * scale
    asset = only_node(matrix=matrix.T.ravel().tolist())
    assert_allclose(asset.rest_world()[0], matrix, rtol=1e-12, atol=1e-12 * np.abs(scale).max())
    assert asset.notes == ()


def test_shear_is_reported():
    matrix = np.eye(4)
    matrix[0, 1] = 0.5
    (note,) = only_node(matrix=matrix.T.ravel().tolist()).notes
    assert "shear" in note


def test_a_rotation_not_of_length_one_is_reported_and_scaled():
    asset = only_node(rotation=[0, 0, 0.6, 0.9])
    assert np.linalg.norm(asset.nodes[0].rotation) == pytest.approx(1)
    assert len(asset.notes) == 1
    assert only_node(rotation=[0, 0, 0.6, 0.8000001]).notes == ()


# --- accessors


# The standard's table of normalised numbers: unsigned f = c / 255 or c / 65535, signed f = max(c /
# 127 or 32767, −1).
@pytest.mark.parametrize(
    ("kind", "stored", "meant"),
    [
        ("u1", [0, 51, 255], [0, 0.2, 1]),
        ("u2", [0, 13107, 65535], [0, 0.2, 1]),
        ("i1", [-128, -127, 127], [-1, -1, 1]),
        ("i2", [-32768, 0, 32767], [-1, 0, 1]),
    ],
)
def test_normalised_numbers(kind, stored, meant):
    file = triangle()
    file.json["meshes"][0]["primitives"][0]["attributes"]["POSITION"] = file.add(
        np.repeat(np.array(stored)[:, None], 3, axis=1), kind, normalized=True
    )
    assert_allclose(gltf.read(file.glb()).meshes[0].positions[:, 0], meant, **CLOSE)


@pytest.mark.parametrize("kind", gltf_files.COMPONENTS)
def test_every_component_type(kind):
    stored = np.array([[0, 1, 2], [100, 50, 3], [4, 5, 127]])
    file = triangle()
    file.json["meshes"][0]["primitives"][0]["attributes"]["POSITION"] = file.add(stored, kind)
    positions = gltf.read(file.glb()).meshes[0].positions
    assert_array_equal(positions, stored)
    assert positions.dtype == np.float64


@pytest.mark.parametrize("kind", ["u1", "u2", "u4"])
def test_every_kind_of_index(kind):
    file = triangle()
    file.json["meshes"][0]["primitives"][0]["indices"] = file.add([2, 0, 1], kind)
    assert gltf.read(file.glb()).meshes[0].triangles.tolist() == [[2, 0, 1]]


def test_interleaved_attributes():
    file = leg()
    plain = gltf.read(file.glb())
    (mesh,) = plain.meshes
    rows = np.zeros((len(mesh.positions), 8), "<f4")
    rows[:, :3], rows[:, 4:7] = mesh.positions, mesh.normals
    view = file.view(b"\7" * 4 + rows.tobytes(), byteStride=32)
    attributes = file.json["meshes"][0]["primitives"][0]["attributes"]
    attributes |= {
        "POSITION": file.accessor(len(rows), "VEC3", bufferView=view, byteOffset=4),
        "NORMAL": file.accessor(len(rows), "VEC3", bufferView=view, byteOffset=20),
    }
    # the last element may end before the stride does
    file.json["bufferViews"][view]["byteLength"] -= 4
    same(gltf.read(file.glb()), plain)


@pytest.mark.parametrize("base", [True, False])
def test_sparse_accessors(base):
    file = triangle()
    accessor = file.json["accessors"][0]
    accessor["sparse"] = {
        "count": 2,
        "indices": {"bufferView": file.view(b"\0\2"), "componentType": 5121},
        "values": {"bufferView": file.view(np.array([[7, 8, 9], [4, 5, 6]], "<f4").tobytes())},
    }
    if not base:
        del accessor["bufferView"]
    middle = [1, 0, 0] if base else [0, 0, 0]
    assert_array_equal(gltf.read(file.glb()).meshes[0].positions, [[7, 8, 9], middle, [4, 5, 6]])


def test_inverse_bind_matrices_are_column_by_column_and_may_be_left_out():
    file = leg()
    assert_array_equal(
        gltf.read(file.glb()).skins[0].inverse_bind[:, :3, 3],
        np.float32([[0, -0.9, 0], [0, -0.5, 0], [0, -0.1, 0]]),
    )
    del file.json["skins"][0]["inverseBindMatrices"]
    assert_array_equal(gltf.read(file.glb()).skins[0].inverse_bind, np.tile(np.eye(4), (3, 1, 1)))


def with_decimals(value):
    """JSON whose whole numbers are all written as decimals."""
    if isinstance(value, dict):
        return {key: with_decimals(part) for key, part in value.items()}
    if isinstance(value, list):
        return [with_decimals(part) for part in value]
    return float(value) if isinstance(value, int) and not isinstance(value, bool) else value


def test_whole_numbers_may_be_written_as_decimals():
    """glTF 2.0, "JSON Encoding": integers "MAY be stored as decimals with a zero fractional
    part"."""
    file = leg()
    same(gltf.read(file.glb(with_decimals(file.document()))), gltf.read(file.glb()))


# --- meshes


@pytest.mark.parametrize(
    ("mode", "triangles"),
    [
        (4, [[0, 1, 2], [3, 4, 5]]),
        (5, [[0, 1, 2], [1, 3, 2], [2, 3, 4], [3, 5, 4]]),
        (6, [[1, 2, 0], [2, 3, 0], [3, 4, 0], [4, 5, 0]]),
    ],
)
@pytest.mark.parametrize("indexed", [True, False])
def test_triangles_strips_and_fans(mode, triangles, indexed):
    """Corners in the standard's order: strip p(i), p(i + 1 + i mod 2), p(i + 2 − i mod 2); fan
    p(i+1), p(i+2), p(0)."""
    file = File(nodes=[{"mesh": 0}])
    primitive = {"attributes": {"POSITION": file.add(np.arange(18).reshape(6, 3))}, "mode": mode}
    if indexed:
        primitive["indices"] = file.add([5, 4, 3, 2, 1, 0], "u1")
        triangles = 5 - np.array(triangles)
    file.json["meshes"] = [{"primitives": [primitive]}]
    assert_array_equal(gltf.read(file.glb()).meshes[0].triangles, triangles)


def test_parts_that_share_vertices_keep_them_once():
    file = leg()
    (primitive,) = file.json["meshes"][0]["primitives"]
    whole = gltf.read(file.glb()).meshes[0]
    halves = [
        primitive | {"indices": file.add(part.ravel(), "u2")}
        for part in np.split(whole.triangles, 2)
    ]
    file.json["meshes"][0]["primitives"] = halves
    asset = gltf.read(file.glb())
    same(asset.meshes[0], whole)
    assert asset.notes == ("A mesh is made of several parts; they are read as one.",)


def test_parts_with_vertices_of_their_own_are_joined():
    file = leg()
    positions = [[0, 0, 0], [1, 0, 0], [0, 1, 0]]
    file.json["meshes"][0]["primitives"].append({"attributes": {"POSITION": file.add(positions)}})
    mesh, first = gltf.read(file.glb()).meshes[0], gltf.read(leg().glb()).meshes[0]
    assert_array_equal(mesh.positions, [*first.positions, *positions])
    assert mesh.triangles[-1].tolist() == [14, 15, 16]
    assert_array_equal(
        mesh.weights, [*first.weights, *np.zeros((3, 4))]
    )  # a vertex that nothing moves is kept so
    assert mesh.normals is None


def test_eight_influences():
    file = leg()
    attributes = file.json["meshes"][0]["primitives"][0]["attributes"]
    attributes |= {
        "JOINTS_1": file.add(np.tile([2, 9, 9, 9], (14, 1)), "u2"),
        "WEIGHTS_1": file.add(np.tile([255, 0, 0, 0], (14, 1)), "u1", normalized=True),
    }
    mesh = gltf.read(file.glb()).meshes[0]
    assert mesh.weights.shape == mesh.joints.shape == (14, 8)
    assert_array_equal(mesh.weights[:, 4], np.ones(14))
    assert_array_equal(mesh.joints[:, 4:], np.tile([2, 0, 0, 0], (14, 1)))  # 0 where nothing weighs


# --- poses


@pytest.fixture(scope="module")
def kick():
    return gltf.read(leg().glb())


def test_linear_rotations_take_the_short_way_at_an_even_rate(kick):
    channel = kick.animations[0].channels[1]
    assert channel.path == "rotation"
    keys = channel.values * [[1], [1], [-1]]  # (0, 0, 0, −1) is no turn at all
    times = np.linspace(0, 1.5, 31)
    expected = Slerp(channel.times, Rotation.from_quat(keys))(times).as_matrix()
    assert_allclose(
        rotation.matrix_from_quaternion(channel.sample(times)), expected, rtol=0, atol=1e-7
    )


def test_cubic_splines_are_hermite_curves_with_the_slopes_given(kick):
    channel = kick.animations[0].channels[2]
    times = np.linspace(0, 1.5, 31)
    for start, end in ((0, 1), (1, 2)):
        span = (times >= channel.times[start]) & (times <= channel.times[end])
        curve = CubicHermiteSpline(
            channel.times[[start, end]],
            channel.values[[start, end], 1],
            np.stack([channel.values[start, 2], channel.values[end, 0]]),
        )
        assert_allclose(channel.sample(times[span]), curve(times[span]), **CLOSE)


def test_cubic_rotations_are_of_length_one():
    values = np.zeros((2, 3, 4))
    values[:, 1] = [[0, 0, 0, 1], [0, 1, 0, 0]]
    middle = Channel(0, "rotation", [0, 1], values, "CUBICSPLINE").sample(0.5)
    assert_allclose(middle, [0, np.sqrt(0.5), 0, np.sqrt(0.5)], **CLOSE)


def test_a_step_stays_until_the_next_key(kick):
    channel = kick.animations[0].channels[0]
    heights = channel.sample([0, 0.499, 0.5, 1.499, 1.5])[:, 1:]
    assert_allclose(heights, [[0.9, 0], [0.9, 0], [1, 0], [1, 0], [0.9, 0.2]], rtol=0, atol=1e-7)


def test_before_the_first_and_after_the_last_key_it_stays(kick):
    for channel in kick.animations[0].channels:
        late = dataclasses.replace(channel, times=channel.times + 1)
        assert_array_equal(late.sample([-5, 0, 1, 99]), late.sample([1, 1, 1, 2.5]))
        assert_allclose(late.sample(1.0), channel.sample(0), **CLOSE)


def test_a_single_key_holds_for_ever():
    assert Channel(0, "scale", [2], [[1, 2, 3]]).sample([0, 2, 3]).tolist() == [[1, 2, 3]] * 3


def test_many_times_are_the_times_one_by_one(kick):
    times = np.linspace(-0.5, 2, 12).reshape(3, 4)
    world = kick.pose_world(0, times)
    assert world.shape == (3, 4, 4, 4, 4)
    points = kick.skin_points(3, world)
    assert points.shape == (3, 4, 14, 3)
    for at in np.ndindex(3, 4):
        assert_allclose(world[at], kick.pose_world(kick.animations[0], times[at]), **CLOSE)
        assert_allclose(points[at], kick.skin_points(3, world[at]), **CLOSE)
    assert_array_equal(kick.pose_world(0, [0, 1]), kick.pose_world(0, np.array([0.0, 1.0])))


def test_a_pose_is_the_chain_of_local_matrices(kick):
    time = 1.1
    sampled = {channel.path: channel.sample(time) for channel in kick.animations[0].channels}
    world = np.eye(4)
    for node, changed in zip(kick.nodes[:3], ("translation", "rotation", "scale"), strict=True):
        node = dataclasses.replace(node, **{changed: sampled[changed]})
        local = frames.frame(rotation.matrix_from_quaternion(node.rotation), node.translation)
        world = world @ local @ np.diag([*node.scale, 1])
    assert_allclose(kick.pose_world(0, time)[2], world, **CLOSE)


def test_skinning_is_the_linear_blend_of_skin(kick):
    world = kick.pose_world(0, np.linspace(0, 1.5, 4))
    (mesh,) = kick.meshes
    table = skin.unpack_influences(mesh.joints, mesh.weights, 3)
    expected = skin.linear_blend(mesh.positions, table, kick.joint_matrices(0, world))
    assert_allclose(kick.skin_points(3, world), expected, rtol=0, atol=1e-7)
    assert np.ptp(expected, axis=0).max() > 0.1  # it moved


def test_what_does_not_sum_to_one_is_posed_as_it_is(kick):
    (mesh,) = kick.meshes
    half = dataclasses.replace(kick, meshes=[dataclasses.replace(mesh, weights=mesh.weights / 2)])
    rest = kick.rest_world()
    assert_allclose(half.skin_points(3, rest), kick.skin_points(3, rest) / 2, **CLOSE)


# --- what is not read is said


def test_a_plain_file_has_no_notes():
    assert gltf.read(leg().glb()).notes == ()
    assert gltf.read(leg().gltf()).notes == ()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda d: d.update(materials=[{}, {}]), "Materials are not read (2 times)."),
        (lambda d: d.update(cameras=[{}]), "Cameras are not read."),
        (lambda d: d.update(images=[{}], textures=[{}]), "Textures are not read."),
        (lambda d: d.update(extensionsUsed=["XYZ_glow"]), "The extension 'XYZ_glow' is not read."),
        (
            lambda d: d.update(
                extensionsUsed=["KHR_materials_unlit"], extensionsRequired=["KHR_materials_unlit"]
            ),
            "The extension 'KHR_materials_unlit' is not read.",
        ),
        (
            lambda d: d.update(
                extensionsUsed=["KHR_lights_punctual"], extensionsRequired=["KHR_lights_punctual"]
            ),
            "The extension 'KHR_lights_punctual' is not read.",
        ),
        (
            lambda d: d["nodes"][0].update(extras={"a": 1}),
            "What programs keep for themselves (extras) is not read.",
        ),
        (
            lambda d: d["asset"].update(extras=["bench"]),
            "What programs keep with the file (asset.extras) is too large or no object.",
        ),
        (
            lambda d: d["asset"].update(extras={"a": {"b": 2**53}}),
            "What programs keep with the file (asset.extras) is too large or no object.",
        ),
        (
            lambda d: d["nodes"][0].update(camera=0),
            "A node's camera or morph weights are not read.",
        ),
        (
            lambda d: d["scenes"].append({"nodes": [0]}),
            "The file has several scenes; their nodes are read together.",
        ),
        (
            lambda d: d["scenes"][0].update(nodes=[0]),
            "A root node is in no scene; it is read all the same.",
        ),
        (
            lambda d: d["meshes"][0]["primitives"][0].update(targets=[{}, {}]),
            "Morph targets are not read (2 times).",
        ),
        (
            lambda d: d["meshes"][0]["primitives"][0]["attributes"].update(TEXCOORD_0=0),
            "The vertex attribute 'TEXCOORD_0' is not read.",
        ),
        (
            lambda d: d["meshes"][0]["primitives"].append(
                {"mode": 1, "attributes": {"POSITION": 1}}
            ),
            "Points and lines of a mesh, and parts without positions, are not read.",
        ),
        (
            lambda d: d["meshes"][0]["primitives"][0].update(mode=0),
            "A mesh without triangles is not read.",
        ),
        (
            lambda d: d["animations"][0]["channels"][0]["target"].update(path="weights"),
            "An animation of 'weights', or of no node, is not read.",
        ),
        (
            lambda d: d["animations"][0]["channels"].clear(),
            "An animation that moves no node is not read.",
        ),
    ],
)
def test_what_is_not_read_is_said(change, said):
    file = leg()
    document = file.document()
    change(document)
    asset = gltf.read(file.glb(document))
    assert said in asset.notes
    assert len(asset.nodes) == 4


def test_chunks_of_another_kind_are_said():
    file = leg()
    data = gltf_files.chunks(
        (b"JSON", as_text(file.document())), (b"BIN\0", bytes(file.data)), (b"ABCD", b"1234")
    )
    (note,) = gltf.read(data).notes
    assert "chunks" in note


def test_small_whole_numbers_for_positions_are_read():
    file = leg()
    file.json |= {
        "extensionsUsed": ["KHR_mesh_quantization"],
        "extensionsRequired": ["KHR_mesh_quantization"],
    }
    assert gltf.read(file.glb()).notes == ()


# --- what is compressed


def draco(document):
    """A part of a mesh whose numbers are in compressed data alone (the extension's own page: the
    accessors then have no bufferView)."""
    (primitive,) = document["meshes"][0]["primitives"]
    primitive["extensions"] = {"KHR_draco_mesh_compression": {"bufferView": 0, "attributes": {}}}
    for number in (*primitive["attributes"].values(), primitive["indices"]):
        del document["accessors"][number]["bufferView"]
    document["extensionsUsed"] = document["extensionsRequired"] = ["KHR_draco_mesh_compression"]


def meshopt(*numbers, name="EXT_meshopt_compression", **fallback):
    """Views whose bytes stand compressed elsewhere: their own buffer holds nothing."""

    def change(document):
        document["buffers"].append({"byteLength": 5000, "extensions": {name: {"fallback": True}}})
        document["buffers"][-1] |= fallback
        for number in numbers or range(len(document["bufferViews"])):
            packed = {"buffer": 0, "byteLength": 4, "byteStride": 4, "count": 1}
            document["bufferViews"][number] |= {"buffer": 1, "extensions": {name: packed}}
        document["extensionsUsed"] = document["extensionsRequired"] = [name]

    return change


def changed(change):
    file = leg()
    document = file.document()
    change(document)
    return gltf.read(file.glb(document))


@pytest.mark.parametrize(
    ("change", "compressed"),
    [
        (draco, {"skin": "Draco"}),
        (meshopt(), {"skin": "meshopt", "animations": "meshopt"}),
        (meshopt(name="KHR_meshopt_compression"), {"skin": "meshopt", "animations": "meshopt"}),
        (meshopt(1), {"skin": "meshopt"}),
        (meshopt(5), {"skin": "meshopt"}),
        (meshopt(0), {"animations": "meshopt"}),
    ],
)
def test_what_is_compressed_is_left_out_and_said(change, compressed):
    asset, whole = changed(change), gltf.read(leg().glb())
    assert asset.compressed == compressed
    assert [node.name for node in asset.nodes] == [node.name for node in whole.nodes]
    assert asset.skins[0].joints.tolist() == [0, 1, 2]
    assert (len(asset.animations) == 0) == ("animations" in compressed)
    assert ({node.skin for node in asset.nodes} == {None}) == ("skin" in compressed)
    assert sum("is compressed (" in note for note in asset.notes) >= len(compressed)
    assert not any("extension" in note for note in asset.notes)
    assert_allclose(asset.rest_world(), whole.rest_world(), rtol=0, atol=0)


def test_compressed_data_with_a_plain_copy_is_read():
    plain = "data:application/octet-stream;base64," + base64.b64encode(bytes(leg().data)).decode()
    asset = changed(meshopt(uri=plain, byteLength=len(leg().data)))
    assert asset.compressed == {}
    assert len(asset.meshes[0].positions) == 14

    def with_copy(document):
        views = [accessor.get("bufferView") for accessor in document["accessors"]]
        draco(document)
        for accessor, view in zip(document["accessors"], views, strict=True):
            accessor["bufferView"] = view

    assert changed(with_copy).compressed == {}


def test_a_compressed_mesh_without_a_skin_is_only_noted():
    asset = changed(lambda document: (draco(document), document["nodes"][3].pop("skin")))
    assert asset.compressed == {}
    assert "A mesh is compressed (Draco)." in asset.notes


@pytest.mark.parametrize(
    "name",
    [
        "KHR_texture_basisu",
        "EXT_texture_webp",
        "KHR_materials_pbrSpecularGlossiness",
        "VRMC_materials_mtoon",
        "KHR_node_visibility",
    ],
)
def test_an_extension_on_looks_may_be_required(name):
    asset = changed(lambda d: d.update(extensionsUsed=[name], extensionsRequired=[name]))
    assert f"The extension {name!r} is not read." in asset.notes


# --- an asset that does not fit together

ROOT = Node("root")
SQUARE = Mesh("square", [[0, 0, 0], [1, 0, 0], [0, 1, 0], [1, 1, 0]], [[0, 1, 2], [2, 1, 3]])


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Node("a", rotation=[0, 0, 0, 0]), "`rotation`.*length zero"),
        (lambda: Node("a", scale=[1, np.nan, 1]), "`scale` must be finite"),
        (lambda: Node("a", translation=[[0, 0, 0]]), "`translation` must have shape"),
        (lambda: Node(7), "`name` must be text"),
        (lambda: Node("\ud800"), "`name` must be text"),
        (lambda: Skin("s", []), "`joints`"),
        (lambda: Skin("s", [1, 1]), "got one of them twice"),
        (lambda: Skin("s", [-1]), "whole numbers from 0; got -1"),
        (lambda: Skin("s", [0, 1], np.eye(4)[None]), "`inverse_bind`"),
        (lambda: Mesh("m", [[0, 0, 0]], [[0, 0, 1]]), "below the 1 vertices; got 0 to 1"),
        (lambda: Mesh("m", [[0, 0, 0]], [[0, 0, 0.5]]), "whole"),
        (lambda: dataclasses.replace(SQUARE, normals=[[0, 0, 1]]), "`normals`"),
        (lambda: dataclasses.replace(SQUARE, weights=np.ones((4, 4))), "together"),
        (
            lambda: dataclasses.replace(SQUARE, weights=np.ones((4, 3)), joints=np.ones((4, 3))),
            "in fours",
        ),
        (lambda: Channel(0, "turn", [0], [[0, 0, 0]]), "`path`"),
        (lambda: Channel(0, "scale", [0, 0], [[0, 0, 0]] * 2), "increasing"),
        (lambda: Channel(0, "scale", [-1, 0], [[0, 0, 0]] * 2), "zero or more"),
        (lambda: Channel(0, "scale", [0, 1], [[0, 0, 0]]), "`values`"),
        (lambda: Channel(0, "rotation", [0], [[0, 0, 0, 0]]), "No turn at all"),
        (lambda: Channel(0, "scale", [0], [[[0, 0, 0]] * 3], "CUBICSPLINE"), "at least two"),
        (lambda: Animation("a", ()), "at least one"),
        (lambda: Animation("a", [Channel(0, "scale", [0], [[1, 1, 1]])] * 2), "two for the same"),
        (lambda: Asset([ROOT, Node("b", 2), Node("c", 1)]), r"cycle of parents at nodes\[1\]"),
        (lambda: Asset([Node("a", 0)]), "cycle"),
        (lambda: Asset([Node("a", 1)]), r"`nodes\[0\].parent` must be from 0 to 0; got 1"),
        (lambda: Asset([Node("a", mesh=0)]), r"`nodes\[0\].mesh` must be left out"),
        (lambda: Asset([ROOT], [Skin("s", [1])]), r"`skins\[0\].joints`"),
        (lambda: Asset([ROOT], [Skin("s", [0], root=5)]), r"`skins\[0\].root`"),
        (
            lambda: Asset(
                [ROOT], animations=[Animation("a", [Channel(3, "scale", [0], [[1, 1, 1]])])]
            ),
            r"channels\[0\]",
        ),
        (
            lambda: Asset(
                [Node("a", mesh=0, skin=0)],
                [Skin("s", [0])],
                [dataclasses.replace(SQUARE, joints=np.ones((4, 4)), weights=np.eye(4))],
            ),
            "must be below 1",
        ),
        (lambda: Asset(["root"]), "`nodes` must each be a Node"),
    ],
)
def test_what_does_not_fit_is_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()


def test_an_asset_without_anything():
    asset = Asset(())
    assert asset.rest_world().shape == (0, 4, 4)


# --- written


def back(asset, tmp_path, name="a.glb", **options):
    gltf.write(asset, tmp_path / name, replace=True, **options)
    return gltf.read(tmp_path / name)


def same(first, second, **close):
    """That two assets, or parts of them, are equal to the last bit, or as near as said."""
    assert type(first) is type(second)
    if dataclasses.is_dataclass(first):
        for field in dataclasses.fields(first):
            same(getattr(first, field.name), getattr(second, field.name), **close)
    elif isinstance(first, tuple):
        assert len(first) == len(second)
        for one, other in zip(first, second, strict=True):
            same(one, other, **close)
    elif isinstance(first, np.ndarray):
        assert first.dtype == second.dtype
        assert first.shape == second.shape
        assert_allclose(first, second, **(close or {"rtol": 0, "atol": 0}))
    else:
        assert first == second


def test_what_was_written_by_hand_round_trips_to_the_last_bit(tmp_path, kick):
    named = dataclasses.replace(kick, copyright="CC0")
    same(back(named, tmp_path), named)
    same(back(named, tmp_path, "a.gltf"), named)


class Chance:
    """Parts of an asset by chance; numbers of 32 bits, as files have them."""

    def __init__(self, rng):
        self.rng = rng

    def numbers(self, *shape):
        return self.rng.normal(size=shape).astype(np.float32) * 2.0 ** self.rng.integers(-10, 10)

    def turns(self, *shape):
        return rotation.unit_quaternion(self.rng.normal(size=(*shape, 4)))

    def one_of(self, *options):
        return options[self.rng.integers(len(options))]

    def count(self, least, most):
        return int(self.rng.integers(least, most + 1))

    def skin(self, name, nodes):
        joints = self.rng.permutation(nodes)[: self.count(1, nodes)]
        bind = self.numbers(len(joints), 4, 4)
        bind[:, 3] = [0, 0, 0, 1]
        return Skin(name, joints, bind, self.one_of(None, 0))

    def mesh(self, name, joints):
        v, normals, moved = self.count(3, 9), None, {}
        if self.one_of(True, False):
            normals = self.rng.normal(size=(v, 3))
            normals /= np.linalg.norm(normals, axis=1, keepdims=True)
        if joints:
            width = 4 * self.count(1, 2)
            weights = np.zeros((v, max(width, joints)))
            weights[:, :joints] = self.rng.random((v, joints)) * (
                self.rng.random((v, joints)) < 0.6
            )
            weights[:, 0] += 0.1
            strongest = np.argsort(-weights, axis=1)[:, :width]
            weights = np.take_along_axis(weights, strongest, axis=1)
            moved = {"joints": strongest, "weights": weights / weights.sum(axis=1, keepdims=True)}
        return Mesh(
            name,
            self.numbers(v, 3),
            self.rng.integers(0, v, (self.count(1, 9), 3)),
            normals=normals,
            **moved,
        )

    def channel(self, node, path):
        kind, keys = self.one_of("LINEAR", "STEP", "CUBICSPLINE"), self.count(2, 5)
        size = 4 if path == "rotation" else 3
        middle = self.turns(keys) if path == "rotation" else self.numbers(keys, 3)
        values = (
            middle
            if kind != "CUBICSPLINE"
            else np.stack([self.numbers(keys, size), middle, self.numbers(keys, size)], axis=1)
        )
        return Channel(node, path, np.cumsum(self.rng.integers(1, 100, keys)) / 64, values, kind)


@st.composite
def assets(draw):
    """Trees, skins, meshes and animations of every kind."""
    chance = Chance(np.random.default_rng(draw(st.integers(0, 2**32))))
    names = st.text(st.characters(codec="utf-8"), max_size=5)
    count = draw(st.integers(1, 8))
    order = chance.rng.permutation(count).tolist()
    parents = {
        node: None if i == 0 else order[chance.rng.integers(i)] for i, node in enumerate(order)
    }
    skins = [chance.skin(draw(names), count) for _ in range(draw(st.integers(0, 2)))]
    fewest = min((len(skin.joints) for skin in skins), default=0)
    meshes = [
        chance.mesh(draw(names), chance.one_of(0, fewest)) for _ in range(draw(st.integers(0, 2)))
    ]
    nodes = []
    for i in range(count):
        mesh = chance.one_of(None, *range(len(meshes)))
        nodes.append(
            Node(
                draw(names),
                parents[i],
                chance.rng.normal(size=3),
                chance.turns(),
                chance.rng.normal(size=3),
                mesh,
                None if mesh is None else chance.one_of(None, *range(len(skins))),
            )
        )
    targets = st.lists(
        st.tuples(st.integers(0, count - 1), st.sampled_from(["translation", "rotation", "scale"])),
        min_size=1,
        max_size=4,
        unique=True,
    )
    animations = [
        Animation(draw(names), [chance.channel(*target) for target in draw(targets)])
        for _ in range(draw(st.integers(0, 2)))
    ]
    return Asset(nodes, skins, meshes, animations, draw(names))


@settings(max_examples=100, deadline=None)
@given(asset=assets(), name=st.sampled_from(["a.glb", "a.gltf"]))
def test_a_round_trip_loses_nothing(tmp_path_factory, asset, name):
    folder = tmp_path_factory.getbasetemp()
    once = back(asset, folder, name)
    same(once, asset, rtol=1e-6, atol=1e-6)
    for first, second in zip(once.nodes, asset.nodes, strict=True):
        same(first, second)  # node transforms are written in full
    for first, second in zip(once.meshes, asset.meshes, strict=True):
        assert_array_equal(first.positions, second.positions)
    same(back(once, folder, name), once)


numbers = st.integers(-(2**53) + 1, 2**53 - 1) | st.floats(allow_nan=False, allow_infinity=False)
words = st.text(st.characters(codec="utf-8"), max_size=6)
plain = st.recursive(
    st.none() | st.booleans() | numbers | words,
    lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
    max_leaves=12,
)


@settings(max_examples=60, deadline=None)
@given(extras=st.dictionaries(words, plain, max_size=4), name=st.sampled_from(["a.glb", "a.gltf"]))
@example({"large": 2.0**53}, "a.glb")
def test_what_a_program_keeps_with_a_file_comes_back(tmp_path_factory, extras, name):
    """Written where the standard has it, in the JSON's `asset`, and read by any reader of JSON."""
    folder = tmp_path_factory.getbasetemp()
    asset = Asset([Node("hip")], extras=extras)
    once = back(asset, folder, name)
    assert repr(once.extras) == repr(json.loads(json.dumps(once.extras)))
    assert once.extras == extras
    assert once.notes == ()
    document = container.load(folder / name, None).json
    assert fields(document, "asset", "JSON").get("extras", {}) == extras


def test_extras_are_a_copy_and_stay_with_what_is_replaced(tmp_path):
    kept = {"bench": 1, "joints_mm": {"knee": (85, 484, 18)}, "parents": {}}
    asset = Asset([Node("hip")], extras=kept)
    kept["joints_mm"]["knee"] = None
    assert asset.extras["joints_mm"] == {"knee": [85, 484, 18]}
    assert dataclasses.replace(asset, copyright="CC0").extras == asset.extras
    assert back(asset, tmp_path).extras == asset.extras
    assert Asset([Node("hip")]).extras == {}


@pytest.mark.parametrize(
    ("extras", "said"),
    [
        ([1], "`extras` must be a mapping of names to values; got a list of 1."),
        ({"a": {"b": [0, np.nan]}}, "`extras['a']['b'][1]` must be text, a finite number, true,"),
        ({"a": np.ones(2)}, "`extras['a']` must be text, a finite number"),
        ({"a": 2**53}, "a list or a mapping; got 9007199254740992."),
        ({1: 2}, "`extras[1]` must have text for a name or value; got 1."),
        ({"a": "\ud800"}, "`extras['a']` must have text for a name or value; got '\\ud800'."),
        ({"a": "x" * 2**18}, "`extras` must be at most 262144 letters and values, 32 within each"),
        ({"a": [[0] * 2**10] * 2**8}, "Keep what is large in a file of its own."),
        ({"a": functools.reduce(lambda inner, _: [inner], range(32), 0)}, "32 within each other"),
    ],
)
def test_extras_that_a_file_cannot_hold_are_refused(extras, said):
    with pytest.raises(ValueError, match=re.escape(said)):
        Asset([Node("hip")], extras=extras)


def test_a_file_that_is_there_is_kept_unless_asked(tmp_path, kick):
    path = tmp_path / "leg.glb"
    path.write_bytes(b"a letter")
    with pytest.raises(ValueError, match="must be a new file"):
        gltf.write(kick, path)
    assert path.read_bytes() == b"a letter"
    gltf.write(kick, path, replace=True)
    same(gltf.read(path), kick)


def test_a_file_made_meanwhile_is_kept(tmp_path, kick, monkeypatch):
    path = tmp_path / "leg.glb"
    pack = container.pack

    def somebody_writes(*arguments):
        path.write_bytes(b"a letter")
        return pack(*arguments)

    monkeypatch.setattr(container, "pack", somebody_writes)
    with pytest.raises(ValueError, match="must be a new file"):
        gltf.write(kick, path)
    assert path.read_bytes() == b"a letter"
    assert os.listdir(tmp_path) == ["leg.glb"]


def test_a_drive_without_links_is_written_to(tmp_path, kick, monkeypatch):
    def refused(*_):
        raise PermissionError(1, "Operation not permitted")

    monkeypatch.setattr(os, "link", refused)
    gltf.write(kick, tmp_path / "leg.glb")
    same(gltf.read(tmp_path / "leg.glb"), kick)
    with pytest.raises(ValueError, match="must be a new file"):
        gltf.write(kick, tmp_path / "leg.glb")
    monkeypatch.setattr(
        container, "pack", lambda *_: (tmp_path / "other.glb").write_bytes(b"a letter") and b"glTF"
    )
    with pytest.raises(ValueError, match="must be a new file"):
        gltf.write(kick, tmp_path / "other.glb")
    assert (tmp_path / "other.glb").read_bytes() == b"a letter"
    assert sorted(os.listdir(tmp_path)) == ["leg.glb", "other.glb"]


def test_a_file_is_written_whole_or_not_at_all(tmp_path, kick, monkeypatch):
    path = tmp_path / "leg.glb"
    path.write_bytes(b"a letter")

    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "replace", full)
    with pytest.raises(ValueError, match="No space left on device"):
        gltf.write(kick, path, replace=True)
    assert path.read_bytes() == b"a letter"
    assert os.listdir(tmp_path) == ["leg.glb"]


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("leg.obj", "'.glb', '.gltf'"),
        ("leg", "'.glb'"),
        ("no/leg.glb", "No such file or directory"),
    ],
)
def test_a_bad_path_is_refused(tmp_path, kick, name, message):
    with pytest.raises(ValueError, match=message):
        gltf.write(kick, tmp_path / name)
    assert os.listdir(tmp_path) == []


def test_only_an_asset_is_written(tmp_path):
    with pytest.raises(ValueError, match="`asset` must be an Asset; got 'leg'"):
        gltf.write("leg", tmp_path / "leg.glb")


def test_a_glb_is_laid_out_as_the_standard_asks(tmp_path, kick):
    gltf.write(kick, tmp_path / "a.glb")
    data = (tmp_path / "a.glb").read_bytes()
    document = gltf_files.document_of(data)
    assert len(data) % 4 == 0
    assert all(view["byteOffset"] % 4 == 0 for view in document["bufferViews"])
    position = document["accessors"][
        document["meshes"][0]["primitives"][0]["attributes"]["POSITION"]
    ]
    assert position["min"] == kick.meshes[0].positions.min(axis=0).tolist()
    assert position["max"] == kick.meshes[0].positions.max(axis=0).tolist()
    inputs = {sampler["input"] for sampler in document["animations"][0]["samplers"]}
    assert len(inputs) == 1  # the same times are written once
    assert document["accessors"][inputs.pop()]["max"] == [1.5]
    assert document["asset"] == {"version": "2.0", "generator": f"rigkit {rigkit.__version__}"}
    assert document["scenes"] == [{"nodes": [0, 3]}]


def skinned(weights, joints=((0, 1, 2, 0),)):
    mesh = Mesh("m", [[0, 0, 0]], [[0, 0, 0]], joints, [weights])
    return Asset(
        [ROOT, Node("a", 0), Node("b", 0), Node("skin", mesh=0, skin=0)],
        [Skin("s", [0, 1, 2])],
        [mesh],
    )


def test_weights_add_up_to_one_in_32_bits_too(tmp_path):
    for weights in (
        [0.1, 0.2, 0.7, 0],
        [1 / 3] * 3 + [0],
        [0.99975, 0, 0, 0],
        [1 - 1e-50, 1e-50, 0, 0],
    ):
        (mesh,) = back(skinned(weights), tmp_path).meshes
        assert abs(mesh.weights.sum() - 1) <= 2e-7


def test_the_joint_is_0_where_the_weight_is_0_in_32_bits(tmp_path):
    gltf.write(skinned([1 - 1e-50, 1e-50, 0, 0]), tmp_path / "a.glb")
    data = (tmp_path / "a.glb").read_bytes()
    document = gltf_files.document_of(data)
    accessor = document["accessors"][
        document["meshes"][0]["primitives"][0]["attributes"]["JOINTS_0"]
    ]
    start = (
        len(data)
        - document["buffers"][0]["byteLength"]
        - (-document["buffers"][0]["byteLength"] % 4)
    )
    start += document["bufferViews"][accessor["bufferView"]]["byteOffset"]
    assert data[start : start + 4] == bytes(4)


@pytest.mark.parametrize(
    ("weights", "joints"),
    [
        ([0.5, 0.4, 0, 0], [0, 1, 0, 0]),
        ([1.2, -0.2, 0, 0], [0, 1, 0, 0]),
        ([0, 0, 0, 0], [0, 0, 0, 0]),
        ([0.5, 0.5, 0, 0], [2, 2, 0, 0]),
    ],
)
def test_weights_the_standard_forbids_are_refused_or_written_as_they_are(tmp_path, weights, joints):
    asset = skinned(weights, [joints])
    with pytest.raises(ValueError, match=r"meshes\[0\]: `(weights|joints)` must be .*at vertex 0"):
        back(asset, tmp_path)
    assert_allclose(back(asset, tmp_path, as_is=True).meshes[0].weights, [weights], rtol=1e-7)


def test_numbers_too_large_for_32_bits_are_refused(tmp_path):
    with pytest.raises(ValueError, match=r"meshes\[0\]: `positions` must be numbers of 32 bits"):
        back(
            Asset([ROOT], meshes=[dataclasses.replace(SQUARE, positions=SQUARE.positions * 1e39)]),
            tmp_path,
        )
    close = Channel(0, "scale", [1, 1 + 1e-12], [[1, 1, 1]] * 2)
    with pytest.raises(ValueError, match=r"animations\[0\]: `times`"):
        back(Asset([ROOT], animations=[Animation("a", [close])]), tmp_path)


def test_the_last_row_of_inverse_bind_matrices_is_exact(tmp_path):
    bind = np.eye(4)[None] + 0.0
    bind[0, 3, 0] = 1e-9
    asset = Asset([ROOT], [Skin("s", [0], bind)])
    assert_array_equal(back(asset, tmp_path).skins[0].inverse_bind[0, 3], [0, 0, 0, 1])
    bind[0, 3, 0] = 0.5
    asset = Asset([ROOT], [Skin("s", [0], bind)])
    with pytest.raises(ValueError, match=r"skins\[0\]: `inverse_bind` must have the last row"):
        back(asset, tmp_path)
    assert back(asset, tmp_path, as_is=True).skins[0].inverse_bind[0, 3, 0] == 0.5


def test_normals_are_of_length_one(tmp_path):
    bent = dataclasses.replace(SQUARE, normals=np.tile([0, 0, 2.0], (4, 1)))
    assert_array_equal(
        back(Asset([ROOT], meshes=[bent]), tmp_path).meshes[0].normals, np.tile([0, 0, 1.0], (4, 1))
    )
    with pytest.raises(ValueError, match="`normals` must have a direction"):
        back(
            Asset([ROOT], meshes=[dataclasses.replace(SQUARE, normals=np.zeros((4, 3)))]), tmp_path
        )


def test_more_than_256_joints(tmp_path):
    nodes = [ROOT, *(Node(f"j{i}", 0) for i in range(300)), Node("skin", mesh=0, skin=0)]
    mesh = dataclasses.replace(
        SQUARE, joints=np.tile([299, 0, 0, 0], (4, 1)), weights=np.tile([1.0, 0, 0, 0], (4, 1))
    )
    assert (
        back(Asset(nodes, [Skin("s", np.arange(301))], [mesh]), tmp_path).meshes[0].highest_joint
        == 299
    )


# --- other files


def test_buffers_in_files_of_their_own(tmp_path):
    file = leg()
    document = file.document()
    (tmp_path / "data").mkdir()
    (tmp_path / "data" / "my leg.bin").write_bytes(bytes(file.data))
    document["buffers"][0]["uri"] = "data/my%20leg.bin"
    (tmp_path / "leg.gltf").write_bytes(as_text(document))
    whole = gltf.read(leg().glb())
    same(gltf.read(tmp_path / "leg.gltf"), whole)
    same(gltf.read(str(tmp_path / "leg.gltf")), whole)
    same(gltf.read(as_text(document), folder=tmp_path), whole)
    with pytest.raises(ValueError, match="no folder was given"):
        gltf.read(as_text(document))


def test_a_glb_may_hold_data_in_its_text_too():
    file = leg()
    document = file.document()
    document["buffers"][0]["uri"] = data_uri(file.data)
    same(gltf.read(gltf_files.chunks((b"JSON", as_text(document)))), gltf.read(leg().glb()))
