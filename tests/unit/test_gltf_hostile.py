"""Strangers' glTF files: each broken or hostile one is refused with one sentence, soon and without
much memory."""

import copy
import os
import tracemalloc
from contextlib import suppress

import numpy as np
import pytest

from rigkit import gltf
from rigkit.gltf import Asset, container
from tests.unit.gltf_files import File, as_text, chunks, leg, triangle


def refusal(source, **options):
    """The reason a file is refused, in one sentence or two on one line."""
    with pytest.raises(ValueError, match=r"^Cannot read ") as problem:
        gltf.read(source, **options)
    said = str(problem.value)
    assert "\n" not in said
    assert len(said) < 400
    return said


def spoiled(change, file=None):
    """The leg's .glb after a change to its JSON."""
    file = leg() if file is None else file
    document = file.document()
    change(document)
    return file.glb(document)


def put(value, *keys):
    """A change to JSON: a value at a path of keys."""

    def change(document):
        for key in keys[:-1]:
            document = document[key]
        document[keys[-1]] = value

    change.__name__ = ".".join(map(str, keys)) + "=" + repr(value)[:30]
    return change


# --- the container


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "JSON: Expecting value at character 0"),
        (b"glTF", "the header of a .glb has 12 bytes; got 4"),
        (b"\xff\xfe{}", "JSON: must be text in UTF-8"),
        (b"[]", "JSON: must be an object"),
        (b"{}", "asset: `version` must be 2.0; got ''"),
        (b'{"asset": 2}', "JSON: `asset` must be an object; got 2"),
        (b'{"asset": {"version": "1.0"}}', "`version` must be 2.0; got '1.0'"),
        (b'{"asset": {"version": "2.0", "minVersion": "2.1"}}', "got '2.1'"),
        (
            b'{"asset": {"version": "2.0"}, "asset": {}}',
            "JSON: each key must stand once in an object; got 'asset' twice",
        ),
        (b'{"asset": {"version": "2.0"}, "x": NaN}', "JSON: must hold finite numbers; got NaN"),
        (b'{"asset": {"version": "2.0"}, "x": -Infinity}', "got -Infinity"),
        (b'{"asset": {"version": "2.0"}} and more', "JSON: Extra data at character 30"),
        (b'{"x":' * 3000, "JSON: must not be nested hundreds deep"),
        (b"[" * 200_000, "JSON: must not be nested hundreds deep"),
        (b'{"asset": {"version": "2.0"}, "nodes": ' + b"9" * 101 + b"}", "JSON: "),
    ],
)
def test_bad_text(data, why):
    assert why in refusal(data)
    if data[:1] in (b"{", b"["):
        assert why in refusal(chunks((b"JSON", data)))


TEXT = as_text({"asset": {"version": "2.0"}})


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (chunks((b"JSON", TEXT), version=1), "only version 2 of .glb is read; got version 1"),
        (chunks((b"JSON", TEXT), length=2**32 - 1), "the header says 4294967295 bytes; got 52"),
        (chunks((b"JSON", TEXT)) + b"more", "the header says 52 bytes; got 56"),
        (chunks((b"JSON", TEXT))[:-4], "the header says 52 bytes; got 48"),
        (chunks(), "got none"),
        (chunks((b"BIN\0", b"1234")), "got b'BIN"),
        (chunks((b"JSON", TEXT), (b"JSON", TEXT)), "one chunk of JSON"),
        (chunks((b"JSON", TEXT), (b"BIN\0", b"1"), (b"BIN\0", b"1")), "one of data"),
        (chunks((b"JSON", TEXT), *[(b"ABCD", b"")] * 200), "more than 100"),
        (b"glTF\2\0\0\0\x1c\0\0\0\xff\0\0\0JSON12345678", "says it has 255 bytes; got 8"),
        (b"glTF\2\0\0\0\x10\0\0\0\4\0\0\0", "cut short"),
    ],
)
def test_bad_chunks(data, why):
    assert why in refusal(data)


def test_a_file_cut_short_anywhere_is_refused():
    data, text = leg().glb(), leg().gltf()
    for size in range(0, len(data), 7):
        refusal(data[:size])
    for size in range(0, len(text), 61):
        refusal(text[:size])


# --- nodes


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (
            put([0], "nodes", 2, "children"),
            "must hang from a root; got a cycle of parents at nodes[0]",
        ),
        (
            put([2], "nodes", 2, "children"),
            "nodes[2]: must have one parent; got nodes[1] and nodes[2]",
        ),
        (put([3], "nodes", 3, "children"), "cycle of parents at nodes[3]"),
        (
            put([2], "nodes", 0, "children"),
            "nodes[2]: must have one parent; got nodes[0] and nodes[1]",
        ),
        (
            put([1, 1], "nodes", 0, "children"),
            "nodes[1]: must have one parent; got nodes[0] and nodes[0]",
        ),
        (
            put([4], "nodes", 0, "children"),
            "nodes[0].children: must be a place in `nodes`, which has 4; got 4",
        ),
        (put([-1], "nodes", 0, "children"), "got -1"),
        (put([True], "nodes", 0, "children"), "got True"),
        (put("1", "nodes", 0, "children"), "nodes[0]: `children` must be a list; got '1'"),
        (put(7, "nodes", 1), "nodes[1]: must be an object; got 7"),
        (put({}, "nodes"), "JSON: `nodes` must be a list"),
        (
            put([1, 2], "nodes", 0, "translation"),
            "nodes[0]: `translation` must be 3 finite numbers; got a list of 2",
        ),
        (put([1, 2, "3"], "nodes", 0, "translation"), "`translation`"),
        (put([1, 2, True], "nodes", 0, "translation"), "`translation`"),
        (put([1, 2, 1e300], "nodes", 0, "translation"), "`translation`"),
        (put([1, 2, 10**90], "nodes", 0, "scale"), "`scale`"),
        (
            put([0, 0, 0, 0], "nodes", 0, "rotation"),
            "nodes[0]: `rotation` must be vectors with a direction",
        ),
        (
            put([1] * 16, "nodes", 0, "matrix"),
            "nodes[0]: must have `matrix` or `translation`, not both",
        ),
        (put([1] * 16, "nodes", 3, "matrix"), "nodes[3]: the last row of `matrix` must be 0 0 0 1"),
        (
            put(9, "nodes", 0, "mesh"),
            "nodes[0].mesh: must be a place in `meshes`, which has 1; got 9",
        ),
        (put(9, "nodes", 3, "skin"), "nodes[3].skin"),
        (put(["a"], "nodes", 3, "skin"), "nodes[3].skin"),
        (put(["hip"], "nodes", 0, "name"), "nodes[0]: `name` must be text"),
        (put("\ud83d", "nodes", 0, "name"), "nodes[0]: `name` must be text"),
        (put([0, 99], "skins", 0, "joints"), "skins[0].joints: must be a place in `nodes`"),
        (put([0, 0], "skins", 0, "joints"), "skins[0]: `joints` must be different nodes"),
        (put([], "skins", 0, "joints"), "skins[0]: `joints`"),
        (
            put([0, 1, 2, 3], "skins", 0, "joints"),
            "skins[0]: must have an inverse bind matrix for each of its 4 joints",
        ),
        (put([0], "skins", 0, "joints"), "`meshes[0].joints` must be below 1"),
        (put(99, "skins", 0, "skeleton"), "skins[0].skeleton"),
        (
            put(0, "skins", 0, "inverseBindMatrices"),
            "skins[0].inverseBindMatrices: must be an accessor of 16 numbers",
        ),
        (put(["XYZ_packed"], "extensionsRequired"), "cannot be understood without 'XYZ_packed'"),
        (put([{}], "extensionsRequired"), "extensionsRequired"),
    ],
)
def test_nodes_and_skins_that_do_not_fit(change, why):
    assert why in refusal(spoiled(change))


# --- accessors and views, numbered as `leg` adds them

TIMES, POSITIONS, JOINTS, WEIGHTS, BINDS, INDICES = 0, 1, 3, 4, 5, 6


def test_the_numbers_above_are_those_of_the_leg():
    document = leg().document()
    (primitive,) = document["meshes"][0]["primitives"]
    used = [
        document["animations"][0]["samplers"][0]["input"],
        *(primitive["attributes"][key] for key in ("POSITION", "JOINTS_0", "WEIGHTS_0")),
        document["skins"][0]["inverseBindMatrices"],
        primitive["indices"],
    ]
    assert used == [TIMES, POSITIONS, JOINTS, WEIGHTS, BINDS, INDICES]
    assert [document["accessors"][i]["bufferView"] for i in used] == used


def at_accessor(number, key, value):
    return put(value, "accessors", number, key)


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (
            at_accessor(POSITIONS, "count", 15),
            "accessors[1]: reaches to byte 180 of bufferViews[1], which has 168",
        ),
        (at_accessor(POSITIONS, "count", 2**40), "accessors[1]: a file of"),
        (at_accessor(POSITIONS, "count", 2**60), "accessors[1]: `count` must be a whole number"),
        (at_accessor(POSITIONS, "count", 0), "`count` must be a whole number of at least 1; got 0"),
        (at_accessor(POSITIONS, "count", -3), "got -3"),
        (at_accessor(POSITIONS, "count", 3.5), "got 3.5"),
        (at_accessor(POSITIONS, "count", "14"), "got '14'"),
        (at_accessor(POSITIONS, "count", None), "got nothing"),
        (
            at_accessor(POSITIONS, "count", 13),
            "every attribute must have as many elements as POSITION, 13",
        ),
        (at_accessor(POSITIONS, "byteOffset", 4), "accessors[1]: reaches to byte 172"),
        (at_accessor(POSITIONS, "byteOffset", -4), "`byteOffset` must be a whole number"),
        (at_accessor(POSITIONS, "componentType", 5124), "`componentType` must be one of 5120"),
        (at_accessor(POSITIONS, "componentType", [5126]), "`componentType` must be one of"),
        (at_accessor(POSITIONS, "type", "VEC9"), "`type` must be one of SCALAR"),
        (
            at_accessor(POSITIONS, "type", "SCALAR"),
            "meshes[0].primitives[0].attributes.POSITION: must be an accessor of 3",
        ),
        (at_accessor(POSITIONS, "type", "MAT2"), "type MAT2 has no use"),
        (at_accessor(POSITIONS, "normalized", 1), "`normalized` must be true or false"),
        (
            at_accessor(POSITIONS, "bufferView", 99),
            "accessors[1].bufferView: must be a place in `bufferViews`",
        ),
        (
            at_accessor(JOINTS, "componentType", 5120),
            "accessors[3]: must be unsigned whole numbers; got",
        ),
        (at_accessor(JOINTS, "normalized", True), "accessors[3]: must be unsigned whole numbers"),
        (at_accessor(INDICES, "componentType", 5126), "accessors[6]"),
        (at_accessor(INDICES, "count", 35), "must have three corners each; got 35 corners"),
        (at_accessor(INDICES, "count", 1), "got 1 corners"),
        (at_accessor(TIMES, "count", 2), "must have 1 output for each of its 2 times; got 3"),
        (
            put(10**9, "bufferViews", POSITIONS, "byteOffset"),
            "bufferViews[1]: reaches to byte 1000000168 of buffers[0]",
        ),
        (put(10**9, "bufferViews", POSITIONS, "byteLength"), "bufferViews[1]: reaches to byte"),
        (
            put(4, "bufferViews", POSITIONS, "byteStride"),
            "`byteStride` must be a whole number from 12 to 252; got 4",
        ),
        (put(256, "bufferViews", POSITIONS, "byteStride"), "from 12 to 252; got 256"),
        (put(24, "bufferViews", POSITIONS, "byteStride"), "accessors[1]: reaches to byte"),
        (
            put(1, "bufferViews", POSITIONS, "buffer"),
            "bufferViews[1].buffer: must be a place in `buffers`",
        ),
        (put(10**9, "buffers", 0, "byteLength"), "buffers[0]: `byteLength` must be at most the"),
        (
            put([{"byteLength": 4}, {"byteLength": 4}], "buffers"),
            "reaches to byte 180 of buffers[0], which has 4",
        ),
        (
            put({}, "meshes", 0, "primitives", 0, "attributes", "POSITION"),
            "must be a place in `accessors`",
        ),
        (put(99, "meshes", 0, "primitives", 0, "indices"), "meshes[0].primitives[0].indices"),
        (
            put(9, "meshes", 0, "primitives", 0, "mode"),
            "`mode` must be one of 0, 1, 2, 3, 4, 5, 6; got 9",
        ),
        (
            put(True, "meshes", 0, "primitives", 0, "mode"),
            "`mode` must be one of 0, 1, 2, 3, 4, 5, 6; got True",
        ),
        (put([3], "meshes", 0, "primitives"), "meshes[0].primitives[0]: must be an object"),
        (
            lambda d: d["meshes"][0]["primitives"][0]["attributes"].pop("WEIGHTS_0"),
            "joints and weights must come together",
        ),
        (
            lambda d: d["meshes"][0]["primitives"][0]["attributes"].update(JOINTS_7=3, WEIGHTS_7=4),
            "got no JOINTS_1",
        ),
        (put(9, "animations", 0, "channels", 0, "sampler"), "animations[0].channels[0].sampler"),
        (
            put(99, "animations", 0, "channels", 0, "target", "node"),
            "animations[0].channels[0].target.node",
        ),
        (
            put("WAVY", "animations", 0, "samplers", 0, "interpolation"),
            "`interpolation` must be one of LINEAR",
        ),
        (
            put("CUBICSPLINE", "animations", 0, "samplers", 0, "interpolation"),
            "must have 3 outputs for each of its 3",
        ),
        (
            put(WEIGHTS, "animations", 0, "samplers", 0, "input"),
            "samplers[0].input: must be an accessor of 1",
        ),
        (
            put({"node": 1, "path": "rotation"}, "animations", 0, "channels", 0, "target"),
            "samplers[0].output",
        ),
        (
            lambda d: d["animations"][0]["channels"].append(d["animations"][0]["channels"][0]),
            "two for the same",
        ),
    ],
)
def test_numbers_that_do_not_fit(change, why):
    assert why in refusal(spoiled(change))


@pytest.mark.parametrize(
    ("view", "where", "value", "why"),
    [
        (
            POSITIONS,
            4,
            np.nan,
            "meshes[0].primitives[0]: `positions` must be finite numbers; got nan at index (0, 1)",
        ),
        (POSITIONS, 0, np.inf, "got inf at index (0, 0)"),
        (WEIGHTS, 0, np.nan, "meshes[0].primitives[0]: `weights` must be finite"),
        (BINDS, 0, -np.inf, "skins[0]: `inverse_bind` must be finite"),
        (TIMES, 4, np.nan, "animations[0].samplers[0]: `times` must be finite"),
        (TIMES, 4, 0.0, "animations[0].samplers[0]: `times` must be zero or more and increasing"),
        (TIMES, 0, -1.0, "`times` must be zero or more"),
    ],
)
def test_numbers_that_are_none(view, where, value, why):
    file = leg()
    start = file.json["bufferViews"][view]["byteOffset"] + where
    file.data[start : start + 4] = np.float32(value).tobytes()
    assert why in refusal(file.glb())


def test_a_corner_or_a_joint_that_is_not_there():
    for view, why in (
        (
            INDICES,
            "`triangles` must be whole numbers from 0, below the 14 vertices; got 1 to 65535",
        ),
        (JOINTS, "`meshes[0].joints` must be below 3, the joints of `skins[0]`; got 255"),
    ):
        file = leg()
        start = file.json["bufferViews"][view]["byteOffset"]
        file.data[start : start + 2] = b"\xff\xff"
        assert why in refusal(file.glb())


def sparse(order, **changes):
    file = triangle()
    values = np.zeros((len(order), 3), "<f4").tobytes()
    file.json["accessors"][0]["sparse"] = {
        "count": len(order),
        "indices": {"bufferView": file.view(bytes(order)), "componentType": 5121},
        "values": {"bufferView": file.view(values)},
    } | changes
    return file.glb()


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (
            sparse([1, 0]),
            (
                "accessors[0].sparse.indices: must increase and stay below the accessor's count, 3;"
                " got 0 to 1"
            ),
        ),
        (sparse([0, 3]), "got 0 to 3"),
        (sparse([1, 1]), "got 1 to 1"),
        (sparse([0], count=2), "accessors[0].sparse.indices: reaches to byte 2"),
        (
            sparse([0], count=4),
            "accessors[0].sparse: `count` must be a whole number from 1 to 3; got 4",
        ),
        (sparse([0], count=2**50), "got 1125899906842624"),
        (sparse([0], indices={"bufferView": 1, "componentType": 5126}), "must be unsigned"),
        (sparse([0], indices=7), "`indices` must be an object"),
        (sparse([0], values={}), "accessors[0].sparse.values: `bufferView` must be a whole number"),
    ],
)
def test_bad_sparse_accessors(data, why):
    assert why in refusal(data)


# --- data elsewhere


@pytest.mark.parametrize(
    "uri",
    [
        "../secret.bin",
        "a/../../secret.bin",
        "%2e%2e/secret.bin",
        "..%2fsecret.bin",
        "%2E%2E%2Fsecret.bin",
        "/etc/passwd",
        "%2fetc/passwd",
        "//host/secret.bin",
        "http://example.org/x.bin",
        "file:///etc/passwd",
        "http%3A//example.org/x",
        "C:\\secret.bin",
        "C:/secret.bin",
        "..\\secret.bin",
        "..%5csecret.bin",
        "",
        ".",
        "a.bin?b",
        "a.bin#b",
        "a%00.bin",
        "a\x00.bin",
        "a\n.bin",
        "x" * 5000,
        "link.bin",
        "folder/secret.bin",
        "round.bin",
        "folder",
        "missing.bin",
        "pipe",
        "inside",
        "inside/../leg.bin",
        "data:,abc",
        "data:text/plain,abc",
        "data:application/octet-stream;base64,####",
        "data:application/octet-stream;base64,AAA",
        "data:application/octet-stream;base64,AAAA AAAA",
        "DATA:;base64,AAAAAAAA",
    ],
)
def test_what_leads_elsewhere_is_refused(tmp_path, uri):
    outside, folder = tmp_path / "outside", tmp_path / "rig"
    outside.mkdir()
    (folder / "inside").mkdir(parents=True)
    for place in (outside, tmp_path):
        (place / "secret.bin").write_bytes(bytes(5000))
    (folder / "leg.bin").write_bytes(bytes(leg().data))
    (folder / "link.bin").symlink_to(outside / "secret.bin")
    (folder / "folder").symlink_to(outside)
    (folder / "round.bin").symlink_to(folder / "round.bin")
    os.mkfifo(folder / "pipe")
    document = leg().document()
    document["buffers"][0]["uri"] = uri
    (folder / "leg.gltf").write_bytes(as_text(document))
    assert "buffers[0]" in refusal(folder / "leg.gltf")


def test_a_link_that_stays_inside_is_followed(tmp_path):
    file = leg()
    document = file.document()
    document["buffers"][0]["uri"] = "link.bin"
    (tmp_path / "leg.bin").write_bytes(bytes(file.data))
    (tmp_path / "link.bin").symlink_to("leg.bin")
    (tmp_path / "leg.gltf").write_bytes(as_text(document))
    assert len(gltf.read(tmp_path / "leg.gltf").nodes) == 4


def test_what_is_no_file_is_refused(tmp_path):
    os.mkfifo(tmp_path / "pipe.glb")
    (tmp_path / "folder.glb").mkdir()
    for name in ("pipe.glb", "folder.glb", "missing.glb", "a\0.glb", "x" * 5000):
        refusal(tmp_path / name)
    if os.path.exists("/dev/zero"):
        assert "must be a file" in refusal("/dev/zero")
    for source in (7, None, ["a.glb"]):
        refusal(source)


def test_files_beyond_the_largest_are_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(container, "LARGEST", 2000)
    file = leg()
    document = file.document()
    document["buffers"][0]["uri"] = "leg.bin"
    (tmp_path / "leg.bin").write_bytes(bytes(file.data))
    (tmp_path / "leg.gltf").write_bytes(as_text(document))
    assert "must be at most 2000 bytes" in refusal(tmp_path / "leg.gltf")
    assert "must be at most 2000 bytes" in refusal(as_text(document))


# --- much for little


def shared(many, **more):
    """Many meshes, parts, indices and channels that all mean the same few bytes."""
    file = File(**more)
    kind, part, strip = many
    points = file.add(np.random.default_rng(0).random((30_000, 3)))
    corners = file.add(np.zeros(90_000), "u1")
    primitive = {
        "attributes": {"POSITION": points},
        **({"indices": corners} if part else {}),
        **({"mode": 5} if strip else {}),
    }
    file.json["meshes"] = (
        [{"primitives": [primitive] * 2000}]
        if kind == "parts"
        else [{"primitives": [primitive]}] * 2000
    )
    return file.glb()


def overlapping():
    file = File()
    file.add(np.random.default_rng(0).random((30_000, 3)))
    file.json["accessors"] *= 2000
    file.json["meshes"] = [{"primitives": [{"attributes": {"POSITION": i}}]} for i in range(2000)]
    return file.glb()


def zeros(count, sparse):
    file = triangle()
    accessor = file.json["accessors"][0]
    del accessor["bufferView"]
    accessor["count"] = count
    if sparse:
        accessor["sparse"] = {
            "count": 1,
            "indices": {"bufferView": file.view(b"\0"), "componentType": 5121},
            "values": {"bufferView": file.view(bytes(12))},
        }
    return file.glb()


def channels():
    file = File(nodes=[{}])
    times, values = file.add(np.arange(20_000)), file.add(np.ones((20_000, 3)))
    file.json["animations"] = [
        {
            "samplers": [{"input": times, "output": values}],
            "channels": [{"sampler": 0, "target": {"node": 0, "path": "scale"}}],
        }
    ] * 2000
    return file.glb()


def text(inside):
    return b'{"asset": {"version": "2.0"}, "extras": ' + inside + b"}"


def nodes(of):
    return as_text({"asset": {"version": "2.0"}, "nodes": of})


# What it is, and whether it may be read: then only time and memory count.
BOMBS = {
    "parts": (lambda: shared(("parts", False, False)), False),
    "parts with corners": (lambda: shared(("parts", True, False)), False),
    "parts as strips": (lambda: shared(("parts", True, True)), False),
    "meshes": (lambda: shared(("meshes", False, False)), False),
    "meshes with corners": (lambda: shared(("meshes", True, False)), False),
    "overlapping accessors": (overlapping, False),
    "channels": (channels, False),
    "zeros": (lambda: zeros(2**30, False), False),
    "sparse zeros": (lambda: zeros(2**30, True), False),
    "lists": (lambda: text(b"[" + b"[]," * 1_000_000 + b"[]]"), False),
    "objects": (lambda: text(b"[" + b'{"a":1},' * 500_000 + b"{}]"), False),
    "numbers": (lambda: text(b"[" + b"1," * 1_500_000 + b"1]"), False),
    "keys": (lambda: text(b"{" + b",".join(b'"%d":1' % i for i in range(100_000)) + b"}"), False),
    "wide letters": (lambda: text('"😀'.encode() + b"a" * 3_000_000 + b'"'), True),
    "a deep chain": (lambda: nodes([{"children": [i + 1]} for i in range(8_000)] + [{}]), True),
    "a large ring": (lambda: nodes([{"children": [(i + 1) % 8_000]} for i in range(8_000)]), False),
    "too many nodes": (lambda: nodes([{}] * 300_000), False),
    "matrices": (lambda: nodes([{"matrix": np.eye(4).ravel().tolist()}] * 3_000), True),
    "extensions": (
        lambda: as_text(
            {"asset": {"version": "2.0"}, "extensionsUsed": [*map(str, range(60_000))]}
        ),
        True,
    ),
}


@pytest.mark.parametrize("bomb", BOMBS)
def test_little_asks_for_no_more_than_ten_times_its_size(bomb, monkeypatch):
    """Of memory: ten times the file, or the floor if that is more; the file itself is ours.

    The floor is lower here than for users, so that the bombs can be small.
    """
    monkeypatch.setattr(container, "FLOOR", 2**25)
    make, may_be_read = BOMBS[bomb]
    data = make()
    tracemalloc.start()
    try:
        if may_be_read:
            assert isinstance(gltf.read(data), Asset)
        else:
            refusal(data)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < max(10 * len(data), 2**25) * 1.1


def deep(opening, closing, inside=b"1", depth=400):
    return b"[" + (opening * depth + inside + closing * depth + b",") * (100_000 // depth) + b"1]"


# JSON that becomes much in Python for its length, by what it is made of.
DENSE = {
    "empty lists": b"[" + b"[]," * 100_000 + b"[]]",
    "deep lists": deep(b"[", b"]", depth=800),
    "empty objects": b"[" + b"{}," * 100_000 + b"{}]",
    "objects of one key": b"[" + b'{"a":1},' * 100_000 + b"{}]",
    "other keys each": b"[" + b",".join(b'{"%x":"%x"}' % (i, i) for i in range(100_000)) + b"]",
    "six keys": b"[" + b'{"a":1,"b":1,"c":1,"d":1,"e":1,"f":1},' * 50_000 + b"{}]",
    "deep objects": deep(b'{"a":', b"}"),
    "whole numbers": b"[" + b",".join(b"%d" % (1000 + i) for i in range(100_000)) + b"]",
    "fractions": b"[" + b",".join(b"%d.5" % i for i in range(100_000)) + b"]",
    "texts": b"[" + b",".join(b'"%x"' % i for i in range(100_000)) + b"]",
    "one wide letter": b"[" + b'"\\u4e00",' * 100_000 + b"1]",
    "wide letters": b'["' + "\N{GRINNING FACE}".encode() + b"a" * 1_000_000 + b'"]',
}


@pytest.mark.parametrize("name", DENSE)
def test_json_is_counted_as_at_least_what_it_takes(name, monkeypatch):
    data = text(DENSE[name])
    counted = []
    monkeypatch.setattr(container.Container, "spend", lambda _, size, what: counted.append(size))
    tracemalloc.start()
    try:
        container.load(data, None)
        most = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert most < sum(counted) + len(data) + 10_000  # the file itself, and what any file takes


def test_a_good_file_that_is_mostly_json_is_read():
    """A hundred clips of fifty joints: 1.3 MB, of which nearly all is text."""
    file = File(nodes=[{} for _ in range(50)])
    times = file.add([0, 1])
    values = {
        path: file.add(np.ones((2, size)))
        for path, size in (("translation", 3), ("rotation", 4), ("scale", 3))
    }
    clip = {
        "samplers": [{"input": times, "output": values[path]} for path in values] * 50,
        "channels": [
            {"sampler": 3 * node + i, "target": {"node": node, "path": path}}
            for node in range(50)
            for i, path in enumerate(values)
        ],
    }
    file.json["animations"] = [clip] * 100
    data = file.glb()
    assert len(data) > 1_300_000
    assert len(gltf.read(data).animations) == 100


def test_an_honest_file_takes_little(tmp_path):
    rng = np.random.default_rng(0)
    count = 20_000
    file = File(nodes=[{"mesh": 0, "skin": 0}, {}], skins=[{"joints": [1]}])
    weights = np.tile([1, 0, 0, 0], (count, 1))
    attributes = {
        "POSITION": file.add(rng.random((count, 3))),
        "NORMAL": file.add(np.tile([0, 0, 1], (count, 1))),
        "JOINTS_0": file.add(0 * weights, "u1"),
        "WEIGHTS_0": file.add(255 * weights, "u1", normalized=True),
    }
    file.json["meshes"] = [
        {
            "primitives": [
                {
                    "attributes": attributes,
                    "indices": file.add(rng.integers(0, count, 6 * count), "u2"),
                }
            ]
        }
    ]
    (tmp_path / "honest.glb").write_bytes(file.glb())
    tracemalloc.start()
    try:
        gltf.read(tmp_path / "honest.glb")
        assert tracemalloc.get_traced_memory()[1] < 10 * len(file.glb())
    finally:
        tracemalloc.stop()


# --- by chance

VALUES = (
    0,
    1,
    -1,
    2,
    255,
    2**31,
    2**40,
    2**63,
    1e308,
    0.5,
    True,
    None,
    "",
    "LINEAR",
    "\ud800",
    [],
    {},
    [0],
    [[0]],
    {"a": 0},
)


def places(value, keys=()):
    """Every place in a document."""
    yield keys
    for key, part in (
        value.items()
        if isinstance(value, dict)
        else enumerate(value)
        if isinstance(value, list)
        else ()
    ):
        yield from places(part, (*keys, key))


def change_by_chance(document, paths, rng):
    """One value taken out, moved by a little, or put in place of another."""
    *way, key = paths[rng.integers(1, len(paths))]
    owner = document
    for step in way:
        owner = owner[step]
    match rng.integers(3):
        case 0:
            del owner[key]
        case 1:
            owner[key] += int(rng.integers(-3, 4))
        case 2:
            owner[key] = copy.deepcopy(VALUES[rng.integers(len(VALUES))])


def mutated(file, document, paths, rng):
    """The file after some changes to its JSON, and now and then to its bytes."""
    document = copy.deepcopy(document)
    for _ in range(rng.integers(1, 4)):
        with suppress(LookupError, TypeError):  # where an earlier change has left nothing like it
            change_by_chance(document, paths, rng)
    data = bytearray(file.glb(document))
    for _ in range(rng.integers(3) if rng.integers(4) == 0 else 0):
        at = rng.integers(len(data))
        data[at : at + rng.integers(5)] = rng.bytes(rng.integers(5))
    return bytes(data)


def test_thousands_of_files_changed_by_chance_are_read_or_refused():
    rng = np.random.default_rng(20260101)
    file = leg()
    document = file.document()
    paths = list(places(document))
    refusals = [
        said for _ in range(3200) if (said := refused_or_posed(mutated(file, document, paths, rng)))
    ]
    assert 1000 < len(refusals) < 2800
    assert all(
        said.startswith("Cannot read what was given: ") and len(said) < 400 for said in refusals
    )


def refused_or_posed(data):
    """The reason a file is refused; nothing if it was read and could be posed."""
    try:
        asset = gltf.read(data)
    except ValueError as problem:
        return str(problem)
    worlds = [asset.rest_world(), *(asset.pose_world(a, [0, a.duration]) for a in asset.animations)]
    for i, node in enumerate(asset.nodes):
        if node.mesh is not None:
            for world in worlds:
                asset.skin_points(i, world)
    return None
