"""What is mended in a rig file, what is left, and that all else in it stays as it was."""

import copy
import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.testing import assert_allclose, assert_array_equal

from rigkit import gltf, inspection
from rigkit.gltf import container
from rigkit.inspection import fix as mending
from rigkit.inspection.fix import fix
from tests.unit import rigs
from tests.unit.gltf_files import File, as_text, chunks, document_of, leg
from tests.unit.test_gltf_hostile import mutated, places

NOTHING = ("Nothing needed mending: the rig is written as it was.",)


def parts_of(path):
    """The chunks of a .glb: JSON and data."""
    return [bytes(data) for _, data in container.load(path, None).chunks]


def mended(data, folder, **options):
    """What was said, and the file as it was mended."""
    source, out = folder / "rig.glb", folder / "mended.glb"
    if isinstance(data, gltf.Asset):
        gltf.write(data, source, replace=True, as_is=True)
    else:
        source.write_bytes(data)
    out.unlink(missing_ok=True)
    before = source.read_bytes()
    said = fix(source, out, **options)
    assert source.read_bytes() == before
    return said, gltf.read(out)


def skinned(joints, weights, kind="f4", joint_kind="u1"):
    """A strip whose vertices have these weights, as many fours as they come in, on nine joints."""
    count, sets = len(weights), np.shape(weights)[1] // 4
    file = File(nodes=[*({} for _ in range(9)), {"mesh": 0, "skin": 0}])
    attributes = {"POSITION": file.add(np.random.default_rng(0).random((count, 3)))}
    scaled = {} if kind == "f4" else {"normalized": True}
    for i in range(sets):
        four = slice(4 * i, 4 * i + 4)
        attributes[f"JOINTS_{i}"] = file.add(np.array(joints)[:, four], joint_kind)
        attributes[f"WEIGHTS_{i}"] = file.add(np.array(weights)[:, four], kind, **scaled)
    corners = file.add([0, 0, count - 1], "u1")
    file.json["meshes"] = [{"primitives": [{"attributes": attributes, "indices": corners}]}]
    file.json["skins"] = [{"joints": [*range(9)]}]
    return file


# --- weights


@pytest.mark.parametrize("kind", ["f4", "u1", "u2"])
def test_weights_add_up_to_one(tmp_path, kind):
    most = {"f4": 1, "u1": 255, "u2": 65535}[kind]
    shares = np.array([[0.5, 0.3, 0.2, 0], [0.5, 0.25, 0.15, 0], [0.4, 0.4, 0.4, 0]])
    rows = shares if kind == "f4" else np.floor(shares * most)
    said, asset = mended(skinned([[0, 1, 2, 0]] * 3, rows, kind).glb(), tmp_path)
    assert said[0].startswith("The weights of ")
    assert "off by up to 0.2." in said[0]
    assert "off by more than 0.1: look at them" in said[-1]
    weights = asset.meshes[0].weights
    assert_allclose(weights, rows / rows.sum(axis=1, keepdims=True), rtol=0, atol=1 / most / 1.5)
    if kind == "f4":  # glTF 2.0 leaves a tolerance; its validator allows 2e-7 for each weight
        assert_allclose(weights.sum(axis=1), 1, rtol=0, atol=2e-7)
        assert_array_equal(weights[0], np.float32(shares[0]))
    else:  # glTF 2.0, "Skinned Mesh Attributes": bytes exactly 255, shorts exactly 65,535
        assert_array_equal(np.rint(weights * most).sum(axis=1), most)


# Trade depth, checked with the standard: (0.5, 0.5) rounds to 128 + 128 = 256, which breaks it.
def test_halves_of_a_byte():
    assert mending._whole_shares(np.array([[0.5, 0.5]]), 255).tolist() == [[128, 127]]
    assert mending._whole_shares(np.full((1, 3), 1 / 3), 255).tolist() == [[85, 85, 85]]


@given(
    st.lists(st.floats(0, 1), min_size=4, max_size=8).filter(lambda row: sum(row) > 1e-3),
    st.sampled_from([255, 65535]),
)
def test_whole_shares_add_up_and_are_near(row, most):
    shares = np.array([row]) / sum(row)
    whole = mending._whole_shares(shares, most)
    assert whole.sum() == most
    assert whole.min() >= 0
    assert np.abs(whole - shares * most).max() < 1
    assert (whole[shares == 0] == 0).all()


EIGHT = [0.4, 0.3, 0.2, 0.003, 0.092, 0.003, 0.002, 0.0]
NUMBERS = [0, 1, 2, 3, 4, 5, 6, 7]


@pytest.mark.parametrize("kind", ["f4", "u2"])
def test_weights_that_hardly_count_are_cut(tmp_path, kind):
    rows = np.array([EIGHT, [0.5, 0.5, 0, 0, 0, 0, 0, 0], [0.5, 0.2, 0, 0, 0.3, 0, 0, 0]])
    if kind == "u2":
        rows = mending._whole_shares(rows, 65535)
    said, asset = mended(skinned([NUMBERS] * 3, rows, kind).glb(), tmp_path)
    assert said == (
        "At most four joints move a vertex now: the weakest fell away at 1 vertex, at most 0.8 % "
        "of what moves one.",
    )
    (mesh,) = asset.meshes
    assert mesh.weights.shape == (3, 4)
    assert mesh.joints.tolist() == [[0, 1, 2, 4], [0, 1, 0, 0], [0, 4, 1, 0]]
    expected = np.array([[0.4, 0.3, 0.2, 0.092], [0.5, 0.5, 0, 0], [0.5, 0.3, 0.2, 0]])
    expected[0] /= 0.992
    assert_allclose(mesh.weights, expected, rtol=0, atol=2e-5)


def test_weights_that_count_are_not_cut(tmp_path):
    rows = np.array([[0.3, 0.2, 0.2, 0.1, 0.1, 0.1, 0, 0], [0.5, 0.25, 0, 0, 0, 0, 0, 0]])
    said, asset = mended(skinned([NUMBERS] * 2, rows).glb(), tmp_path)
    assert said[0].startswith("The weights of 1 vertex add up to one now; they were off by up to 0")
    assert said[-1] == (
        "More than four joints still move 1 vertex: without the weakest 20 % of what moves one "
        "would be lost, and 1 % is the most that is cut here."
    )
    assert_array_equal(asset.meshes[0].weights[0], np.float32(rows[0]))
    assert_allclose(asset.meshes[0].weights[1, :2], [2 / 3, 1 / 3], rtol=0, atol=1e-7)


def test_a_joint_that_has_no_room_in_the_first_set_is_not_cut_to(tmp_path):
    file = skinned([NUMBERS], [EIGHT])
    file.json["nodes"][:0] = [{} for _ in range(300)]
    file.json["skins"] = [{"joints": [*range(309)]}]
    high = file.add(np.array([[300, 301, 302, 303]]), "u2")
    file.json["meshes"][0]["primitives"][0]["attributes"]["JOINTS_1"] = high
    said, asset = mended(file.glb(), tmp_path)
    assert said[0].startswith("More than four joints still move 1 vertex")
    assert asset.meshes[0].joints[0].max() == 302


def test_a_vertex_without_weights_is_left_and_said(tmp_path):
    said, asset = mended(skinned([[0, 1, 0, 0]] * 2, [[1, 0, 0, 0], [0, 0, 0, 0]]).glb(), tmp_path)
    assert said == ("1 vertex still has no joint that moves it: no weights can be guessed.",)
    assert not asset.meshes[0].weights[1].any()


@pytest.mark.parametrize(
    ("what", "why"),
    [
        ("another accessor", "accessors[4] has the same bytes."),
        ("another use", "is used for something else too."),
        ("an extension's", "is used for something else too."),
        ("another part's", "is used for something else too."),
        ("a picture", "bufferViews[2] has the same bytes."),
        ("below zero", "has weights below zero."),
        ("of two kinds", "are no numbers of one kind."),
    ],
)
def test_weights_that_cannot_be_mended_alone_are_left(tmp_path, what, why):
    rows = np.array([[0.5, 0.2, 0, 0], [1, 0, 0, 0], [1, 0, 0, 0]])
    if what == "below zero":
        rows[1, :2] = 1.5, -0.5
    file = skinned([[0, 1, 0, 0]] * 3, rows)
    (primitive,) = file.json["meshes"][0]["primitives"]
    attributes = primitive["attributes"]
    weights = attributes["WEIGHTS_0"]
    if what == "another accessor":
        copied = copy.deepcopy(file.json["accessors"][weights]) | {"byteOffset": 16, "count": 1}
        file.json["accessors"].append(copied)
    if what == "another use":
        attributes["COLOR_0"] = weights
    if what == "an extension's":
        file.json["nodes"][0]["extensions"] = {"XYZ_many": {"attributes": {"SIZE": weights}}}
    if what == "another part's":
        other = attributes | {"JOINTS_0": file.add([[2, 3, 0, 0]] * 3, "u1")}
        file.json["meshes"][0]["primitives"].append(primitive | {"attributes": other})
    if what == "a picture":
        file.json["images"] = [{"bufferView": weights, "mimeType": "image/png"}]
    if what == "of two kinds":
        attributes["JOINTS_1"] = file.add([[2, 3, 4, 5]] * 3, "u1")
        attributes["WEIGHTS_1"] = file.add([[0, 0, 0, 0]] * 3, "u1", normalized=True)
    said, asset = mended(file.glb(), tmp_path)
    assert said[0].startswith("Some weights are left as they are: accessors[")
    assert said[0].endswith(why)
    assert asset.meshes[0].weights[0].sum() == pytest.approx(0.7)
    assert parts_of(tmp_path / "mended.glb") == parts_of(tmp_path / "rig.glb")


# glTF 2.0, "Accessors Bounds": min and max hold the least and largest number of each component.
def test_bounds_are_said_anew(tmp_path):
    rows = [[0.5, 0.25, 0, 0], [0.25, 0.75, 0, 0]]
    file = skinned([[0, 1, 0, 0]] * 2, rows)
    bounds = {"min": [0.25, 0.25, 0, 0], "max": [0.5, 0.75, 0, 0]}
    weights = file.json["meshes"][0]["primitives"][0]["attributes"]["WEIGHTS_0"]
    file.json["accessors"][weights] |= bounds
    mended(file.glb(), tmp_path)
    entry = document_of((tmp_path / "mended.glb").read_bytes())["accessors"][weights]
    assert_allclose(entry["min"], [0.25, 1 / 3, 0, 0], atol=1e-7)
    assert_allclose(entry["max"], [2 / 3, 0.75, 0, 0], atol=1e-7)


def test_interleaved_weights_are_mended_in_their_places(tmp_path):
    file = skinned([[0, 1, 0, 0]] * 2, [[0.5, 0.2, 0, 0], [1, 0, 0, 0]])
    attributes = file.json["meshes"][0]["primitives"][0]["attributes"]
    rows = np.zeros(2, np.dtype([("position", "<f4", 3), ("weight", "<f4", 4)]))
    rows["position"], rows["weight"] = [[1, 2, 3], [4, 5, 6]], [[0.5, 0.25, 0, 0], [1, 0, 0, 0]]
    view = file.view(rows.tobytes(), byteStride=28)
    attributes["POSITION"] = file.accessor(2, "VEC3", bufferView=view)
    attributes["WEIGHTS_0"] = file.accessor(2, "VEC4", bufferView=view, byteOffset=12)
    said, asset = mended(file.glb(), tmp_path)
    assert said[0].startswith("The weights of 1 vertex")
    assert_array_equal(asset.meshes[0].positions, [[1, 2, 3], [4, 5, 6]])
    assert_allclose(asset.meshes[0].weights[0, :2], [2 / 3, 1 / 3], rtol=0, atol=1e-7)


# --- signs


def turning(keys, kind="f4", interpolation="LINEAR"):
    file = leg()
    scaled = {} if kind == "f4" else {"normalized": True}
    bounds = {"min": np.min(keys, axis=0).tolist(), "max": np.max(keys, axis=0).tolist()}
    (animation,) = file.json["animations"]
    animation["samplers"][1] = {
        "input": file.add(np.arange(len(keys) // (3 if interpolation == "CUBICSPLINE" else 1))),
        "output": file.add(keys, kind, **scaled, **bounds),
        "interpolation": interpolation,
    }
    return file


@pytest.mark.parametrize(("kind", "most"), [("f4", 1), ("i1", 127), ("i2", 32767)])
def test_neighbouring_keys_get_the_same_sign_and_turn_to_the_same(tmp_path, kind, most):
    half = np.radians([0, 20, 40, 60, 80])
    keys = np.stack([np.sin(half), 0 * half, 0 * half, np.cos(half)], axis=-1)
    keys[[1, 2, 4]] *= -1
    raw = keys if kind == "f4" else np.rint(keys * most)
    said, asset = mended(turning(raw, kind).glb(), tmp_path)
    assert said == (
        "Neighbouring keys of rotations have the same sign now, which jumped 3 times; what they "
        "turn to is the same.",
    )
    before = gltf.read(tmp_path / "rig.glb")
    times = np.linspace(0, 4, 41)
    assert_allclose(asset.pose_world(0, times), before.pose_world(0, times), rtol=0, atol=1e-12)
    channel = next(c for c in asset.animations[0].channels if c.path == "rotation")
    assert (np.einsum("ki,ki->k", channel.values[1:], channel.values[:-1]) > 0).all()
    document = document_of((tmp_path / "mended.glb").read_bytes())
    number = document["animations"][0]["samplers"][1]["output"]
    entry = document["accessors"][number]
    least = channel.values.min(axis=0) * most, channel.values.max(axis=0) * most
    assert_allclose([entry["min"], entry["max"]], least, rtol=0, atol=1e-6)


def test_the_lowest_whole_number_means_minus_one_too(tmp_path):
    _, asset = mended(turning([[0, 0, 0, 127], [0, 0, 0, -128]], "i1").glb(), tmp_path)
    assert asset.animations[0].channels[1].values[1].tolist() == [0, 0, 0, 1]


def test_cubic_curves_and_steps_are_left(tmp_path):
    keys = np.zeros((6, 4))
    keys[1], keys[4] = [0, 0, 0, 1], [0, 0, 0, -1]
    said, _ = mended(turning(keys, interpolation="CUBICSPLINE").glb(), tmp_path)
    assert said[0].startswith("The sign of keys jumps once on cubic curves")
    assert parts_of(tmp_path / "mended.glb") == parts_of(tmp_path / "rig.glb")
    said, _ = mended(turning(keys[[1, 4]], interpolation="STEP").glb(), tmp_path)
    assert said == NOTHING


# --- whatever comes


def test_files_changed_by_chance_are_mended_or_refused(tmp_path):
    rng = np.random.default_rng(7)
    file = leg()
    file.json |= {"images": [{"uri": "a.png"}], "extensions": {"XYZ": {"attributes": {"A": 1}}}}
    document = file.document()
    paths = list(places(document))
    done = 0
    for _ in range(600):
        (tmp_path / "rig.glb").write_bytes(mutated(file, document, paths, rng))
        try:
            fix(tmp_path / "rig.glb", tmp_path / "out.glb")
        except ValueError:
            continue
        gltf.read(tmp_path / "out.glb")
        (tmp_path / "out.glb").unlink()
        done += 1
    assert 50 < done < 500


# --- names


def names_of(asset):
    return {node.name for node in asset.nodes}


@pytest.mark.parametrize(
    ("change", "given", "said"),
    [
        ({"R_knee": "kn.002"}, {"R_knee"}, "'kn.002' is 'R_knee'"),
        ({"L_knee": "knee", "R_knee": "Knee"}, {"L_knee", "R_Knee"}, "'knee' is 'L_knee'"),
        ({"L_knee": "b7", "R_knee": "b9"}, {"L_knee", "R_knee"}, "'b7' is 'L_knee'"),
        ({"L_knee": "", "R_knee": ""}, {"L_knee", "R_knee"}, "'' is 'L_knee'"),
        ({"L_ankle": "ankle", "R_ankle": "Ankle.Right"}, {"Ankle.Left"}, "'ankle' is 'Ankle.Left'"),
    ],
)
def test_names_get_the_side_their_joint_is_on(tmp_path, change, given, said):
    mapping = {
        f"{'left' if name[0] == 'L' else 'right'}.{name[2:]}": new
        for name, new in change.items()
        if new
    }
    asset = rigs.renamed(rigs.clean(), lambda name: change.get(name, name))
    report, fixed = mended(asset, tmp_path, mapping=mapping)
    if "" in change.values():
        assert report == NOTHING  # nobody can name them in a correction, and the search is unsure
        return
    assert said in report[0]
    assert given <= names_of(fixed)
    assert inspection.inspect(tmp_path / "mended.glb")["names-say-sides"].status == "pass"


def test_no_name_is_given_twice_or_on_a_guess(tmp_path):
    taken = rigs.renamed(
        rigs.clean(), lambda name: {"R_knee": "b9", "skin": "R_knee"}.get(name, name)
    )
    said, _ = mended(taken, tmp_path, mapping={"right.knee": "b9"})
    assert said == NOTHING
    unsided = rigs.renamed(rigs.clean(), lambda name: name.replace("L_", "a").replace("R_", "b"))
    said, _ = mended(unsided, tmp_path)
    assert said == NOTHING


# --- all else


def test_a_clean_rig_is_written_as_it_was(tmp_path):
    said, _ = mended(rigs.clean(walking=True), tmp_path)
    assert said == NOTHING
    assert (tmp_path / "mended.glb").read_bytes() == (tmp_path / "rig.glb").read_bytes()


def test_only_the_weights_change_in_a_rig_whose_weights_are_off(tmp_path):
    def fewer(positions, joints, weights):
        weights[::7] *= 0.9
        return joints, weights

    off = rigs.with_weights(rigs.clean(walking=True), fewer)
    _, asset = mended(off, tmp_path)
    (was, old), (now, new) = (parts_of(tmp_path / f"{n}.glb") for n in ("rig", "mended"))
    assert now == was
    document = json.loads(was)
    number = document["meshes"][0]["primitives"][0]["attributes"]["WEIGHTS_0"]
    view = document["bufferViews"][document["accessors"][number]["bufferView"]]
    start, end = view["byteOffset"], view["byteOffset"] + view["byteLength"]
    assert old[:start] + old[end:] == new[:start] + new[end:]
    sound = np.arange(len(asset.meshes[0].weights)) % 7 > 0
    assert_array_equal(asset.meshes[0].weights[sound], np.float32(off.meshes[0].weights[sound]))


def test_what_is_not_known_is_kept(tmp_path):
    file = skinned([[0, 1, 0, 0]] * 2, [[0.5, 0.2, 0, 0], [1, 0, 0, 0]])
    more = {"extras": {"kept": [1.0, 1e-7, "Ü"]}, "extensions": {"XYZ_odd": {"a": [None, 1e300]}}}
    file.json |= more | {"extensionsUsed": ["XYZ_odd"], "materials": [{"name": "skin"}]}
    data = chunks(
        (b"JSON", as_text(file.document())), (b"BIN\0", bytes(file.data)), (b"ABCD", b"12345678")
    )
    mended(data, tmp_path)
    assert document_of((tmp_path / "mended.glb").read_bytes()) == document_of(data)
    assert (tmp_path / "mended.glb").read_bytes().endswith(b"\x08\0\0\0ABCD12345678")


def test_data_and_pictures_beside_a_file_are_put_into_it(tmp_path):
    file = skinned([[0, 1, 0, 0]] * 2, [[0.5, 0.25, 0, 0], [1, 0, 0, 0]])
    document = file.document()
    document["buffers"][0]["uri"] = "rig.bin"
    document["buffers"].append({"uri": "more.bin", "byteLength": 3})
    document["bufferViews"].append({"buffer": 1, "byteOffset": 1, "byteLength": 2})
    document["images"] = [{"uri": "skin.png"}, {"uri": "lost.png"}]
    away, out = tmp_path / "away", tmp_path / "out.glb"
    away.mkdir()
    for name, data in {"rig.bin": bytes(file.data), "more.bin": b"123", "skin.png": b"PNG"}.items():
        (away / name).write_bytes(data)
    (away / "rig.gltf").write_bytes(as_text(document))
    said = fix(away / "rig.gltf", out)
    assert said[-1].startswith(
        "A picture stays outside the file: images[1]: cannot read 'lost.png'"
    )
    written = document_of(out.read_bytes())
    ahead = len(file.data) + -len(file.data) % 4
    assert written["buffers"] == [{"byteLength": ahead + 4 + 3}]
    assert parts_of(out)[1][ahead : ahead + 7] == b"123\0PNG"
    assert written["bufferViews"][-2] == {"buffer": 0, "byteOffset": ahead + 1, "byteLength": 2}
    picture = {"bufferView": len(document["bufferViews"]), "mimeType": "image/png"}
    assert written["images"] == [picture, {"uri": "lost.png"}]
    view = written["bufferViews"][-1]
    assert parts_of(out)[1][view["byteOffset"] :][: view["byteLength"]] == b"PNG"
    assert_allclose(gltf.read(out).meshes[0].weights[0, 0], 2 / 3, rtol=0, atol=1e-7)


def test_a_binary_file_whose_data_is_beside_it_keeps_its_own_chunk(tmp_path):
    file = skinned([[0, 1, 0, 0]] * 2, [[0.5, 0.25, 0, 0], [1, 0, 0, 0]])
    document = file.document()
    document["buffers"][0]["uri"] = "rig.bin"
    document["images"] = [{"uri": "skin.png"}]
    (tmp_path / "rig.bin").write_bytes(bytes(file.data))
    (tmp_path / "skin.png").write_bytes(b"PNG")
    said, asset = mended(chunks((b"JSON", as_text(document)), (b"BIN\0", b"1234")), tmp_path)
    assert said[-1] == "A picture stays outside the file: 'skin.png'."
    assert parts_of(tmp_path / "mended.glb")[1] == b"1234"
    assert_allclose(asset.meshes[0].weights[0, 0], 2 / 3, rtol=0, atol=1e-7)


def test_the_skin_moves_as_before_where_its_weights_added_up(tmp_path):
    off = rigs.with_weights(
        rigs.clean(walking=True), lambda p, j, w: (j, np.where(p[:, :1] > 0, w, 0.8 * w))
    )
    _, asset = mended(off, tmp_path)
    before = gltf.read(tmp_path / "rig.glb")
    carrier = [node.mesh for node in asset.nodes].index(0)
    times = np.linspace(0, before.animations[0].duration, 7)
    old, new = (each.skin_points(carrier, each.pose_world(0, times)) for each in (before, asset))
    whole = before.meshes[0].positions[:, 0] > 0
    assert np.abs(old - new)[:, whole].max() < 1e-6 * rigs.TAMSIN.leg_length
    assert np.abs(old - new)[:, ~whole].max() > 0.01


@pytest.mark.parametrize(
    ("out", "why"),
    [
        ("rig.glb", r"`out` must be a new file; got .*rig.glb', which is there"),
        ("mended.gltf", r"`out` must be a file that ends in .glb or .vrm"),
        ("nowhere/mended.glb", r"`out` must be a place to write to; got .*No such file"),
    ],
)
def test_nothing_is_written_over(tmp_path, out, why):
    gltf.write(rigs.clean(), tmp_path / "rig.glb")
    before = (tmp_path / "rig.glb").read_bytes()
    with pytest.raises(ValueError, match=why):
        fix(tmp_path / "rig.glb", tmp_path / out)
    assert [path.name for path in tmp_path.iterdir()] == ["rig.glb"]
    assert (tmp_path / "rig.glb").read_bytes() == before
    with pytest.raises(ValueError, match="Cannot read"):
        fix(tmp_path / "missing.glb", tmp_path / "new.glb")


def test_what_is_compressed_is_left_and_said(tmp_path):
    from tests.unit.test_gltf import draco, meshopt

    for change, how in ((draco, "Draco"), (meshopt(), "meshopt")):
        file = leg()
        document = file.document()
        change(document)
        said, _ = mended(file.glb(document), tmp_path)
        assert f"Some weights are left as they are: they are compressed ({how})." in said
        assert document_of((tmp_path / "mended.glb").read_bytes()) == document
