"""glTF against others: the Khronos Group's validator on what we write, and rigs that others made on
what we read.

The validator is the npm package gltf-validator 2.0.0-dev.3.10 (Apache-2.0), run by Node. The rigs
are two hands from the npm package @webxr-input-profiles/assets 1.0.20 (MIT), and the files of the
Debian package assimp-testmodels (simple_skin: BSD-3-Clause). Both npm packages are fetched into
pytest's cache, without running any script of theirs.
"""

import json
import shutil
import subprocess
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from numpy.testing import assert_allclose

from rigkit import export, gltf
from rigkit.puppets import PUPPETS
from tests.unit.gltf_files import leg
from tests.unit.test_gltf import assets, same

VALIDATOR, HANDS = "gltf-validator@2.0.0-dev.3.10", "@webxr-input-profiles/assets@1.0.20"
MODELS = Path("/usr/share/assimp/models/glTF2")
VALIDATE = """
const validator = require(process.argv[1]), fs = require('fs'), path = require('path');
const beside = name => uri =>
    fs.promises.readFile(path.join(path.dirname(name), decodeURIComponent(uri)));
(async () => {
    const reports = [];
    for (const name of JSON.parse(fs.readFileSync(0)))
        reports.push(await validator.validateBytes(
            new Uint8Array(fs.readFileSync(name)), {externalResourceFunction: beside(name)}));
    console.log(JSON.stringify(reports));
})();
"""

pytestmark = pytest.mark.needs_registry
debian = pytest.mark.skipif(
    not MODELS.is_dir(), reason="Debian's package assimp-testmodels is not installed"
)


def fetched(pytestconfig, package):
    """The folder of an npm package, fetched once."""
    cache = pytestconfig.cache.mkdir("npm")
    folder = Path(cache) / "node_modules" / package.rpartition("@")[0]
    if not (folder / "package.json").is_file():
        if shutil.which("npm") is None:
            pytest.skip("npm is not installed")
        command = [
            "npm",
            "install",
            "--ignore-scripts",
            "--no-audit",
            "--no-fund",
            "--prefix",
            str(cache),
            package,
        ]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=180)
        except subprocess.TimeoutExpired:
            pytest.skip(f"fetching {package} took too long")
        if done.returncode:
            pytest.skip(
                f"{package} cannot be fetched here:"
                f" {(done.stderr.strip() or 'no reason given')[-300:]}"
            )
    return folder


@pytest.fixture(scope="session")
def validate(pytestconfig):
    """The validator's findings in files, for each: errors, warnings and its counts.

    Errors and warnings are "CODE at pointer".
    """
    validator = fetched(pytestconfig, VALIDATOR)

    def run(*paths):
        done = subprocess.run(
            ["node", "-e", VALIDATE, str(validator)],
            input=json.dumps(list(map(str, paths))),
            capture_output=True,
            text=True,
            timeout=120,
            check=True,
        )
        reports = json.loads(done.stdout)
        assert len(reports) == len(paths)
        assert not any(report["issues"]["truncated"] for report in reports)
        return [
            (
                [
                    f"{m['code']} at {m['pointer']}"
                    for m in report["issues"]["messages"]
                    if m["severity"] < 2
                ],
                report.get("info", {}),
            )
            for report in reports
        ]

    return run


@pytest.fixture(scope="session")
def hands(pytestconfig):
    folder = fetched(pytestconfig, HANDS) / "dist" / "profiles" / "generic-hand"
    return [folder / "left.glb", folder / "right.glb"]


# --- what we write


def test_every_puppet_has_no_error_and_no_warning(validate, tmp_path):
    for puppet in PUPPETS.values():
        kept = {"bench": 1, "joints_mm": {"knee": [85, 484, 18]}, "painted": ""}
        asset = replace(export.puppet_asset(puppet, 2000), extras=kept)
        for end in ("glb", "gltf"):
            gltf.write(asset, tmp_path / f"{puppet.name}.{end}")
        gltf.write(
            export.puppet_asset(puppet, 300, walking=False), tmp_path / f"{puppet.name}-rest.glb"
        )
    found = validate(*sorted(tmp_path.iterdir()))
    assert len(found) == 3 * len(PUPPETS)
    assert [problems for problems, _ in found] == [[]] * len(found)
    for path, (_, info) in zip(sorted(tmp_path.iterdir()), found, strict=True):
        asset = gltf.read(path)
        assert info["totalVertexCount"] == len(asset.meshes[0].positions)
        assert info["totalTriangleCount"] == len(asset.meshes[0].triangles)
        assert info["animationCount"] == len(asset.animations)
        assert info["maxInfluences"] == 4
        assert info["hasSkins"]


def well_formed(asset):
    """True if an asset is one the standard allows.

    These are the rules that neither reading nor writing enforces.
    """
    skins_fit = all(
        node.skin is None or asset.meshes[node.mesh].weights is not None for node in asset.nodes
    )
    weights_used = all(
        node.mesh is None or asset.meshes[node.mesh].weights is None or node.skin is not None
        for node in asset.nodes
    )
    return skins_fit and weights_used


# What a tree by chance is rightly warned of: not how it is written, but what it is.
OF_THE_RIG = (
    "NODE_SKINNED_MESH_NON_ROOT",
    "NODE_SKINNED_MESH_LOCAL_TRANSFORMS",
    "SKIN_SKELETON_INVALID",
    "SKIN_NO_COMMON_ROOT",
    "ANIMATION_CHANNEL_TARGET_NODE_SKIN",
    "MESH_PRIMITIVE_INDICES_DEGENERATE_TRIANGLES",
)


def test_assets_by_chance_are_written_as_the_standard_asks(validate, tmp_path):
    paths = []

    @settings(
        max_examples=60,
        deadline=None,
        database=None,
        derandomize=True,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(asset=assets().filter(well_formed), end=st.sampled_from(["glb", "gltf"]))
    def write(asset, end):
        paths.append(tmp_path / f"{len(paths)}.{end}")
        gltf.write(asset, paths[-1])

    write()
    assert len(paths) >= 50
    found = validate(*paths)
    assert {
        p.split()[0] for problems, _ in found for p in problems if not p.startswith(OF_THE_RIG)
    } == set()
    assert sum(info["hasSkins"] for _, info in found) > 5
    assert sum(info["animationCount"] for _, info in found) > 20


def test_the_leg_made_by_hand_and_as_we_write_it(validate, tmp_path):
    (tmp_path / "hand.glb").write_bytes(leg().glb())
    gltf.write(gltf.read(tmp_path / "hand.glb"), tmp_path / "ours.glb")
    (_, theirs), (problems, ours) = validate(tmp_path / "hand.glb", tmp_path / "ours.glb")
    assert problems == []
    for count in ("totalVertexCount", "totalTriangleCount", "animationCount", "maxInfluences"):
        assert theirs[count] == ours[count]


# Published by nobody, run with the validator: what it says of one defect each (our reference's
# table of defects).
def test_the_validator_would_notice(validate, tmp_path):
    asset = export.puppet_asset(PUPPETS["Pip"], 300, walking=False)
    (mesh,), (skin,) = asset.meshes, asset.skins
    weights, bind = np.array(mesh.weights), np.array(skin.inverse_bind)
    weights[0, 0] -= 0.1
    bind[3, 3, 0] = 0.5
    for name, change in {
        "weights": {
            "meshes": [gltf.Mesh("", mesh.positions, mesh.triangles, mesh.joints, weights)]
        },
        "bind": {"skins": [gltf.Skin("", skin.joints, bind, 0)]},
        "skeleton": {"skins": [gltf.Skin("", skin.joints, skin.inverse_bind, 5)]},
    }.items():
        parts = {"nodes": asset.nodes, "skins": asset.skins, "meshes": asset.meshes} | change
        gltf.write(gltf.Asset(**parts), tmp_path / f"{name}.glb", as_is=True)
    found = [
        problems
        for problems, _ in validate(
            *(tmp_path / f"{n}.glb" for n in ("weights", "bind", "skeleton"))
        )
    ]
    for problems, code in zip(
        found,
        ("ACCESSOR_WEIGHTS_NON_NORMALIZED", "ACCESSOR_INVALID_IBM", "SKIN_SKELETON_INVALID"),
        strict=True,
    ):
        assert any(problem.startswith(code) for problem in problems)


# --- what others wrote


# Counted and computed from the files: 1,360 vertices, 2,314 triangles, 25 joints, up to 4
# influences; weights add up to one and joint world × inverse bind is the identity, both to 1e-6.
def test_hands_made_by_others(validate, hands, tmp_path):
    for path, (_, info) in zip(hands, validate(*hands), strict=True):
        asset = gltf.read(path)
        (mesh,), (skin,) = asset.meshes, asset.skins
        assert (len(mesh.positions), len(mesh.triangles), len(skin.joints)) == (1360, 2314, 25)
        assert info["totalVertexCount"] == 1360
        assert (mesh.weights > 0).sum(axis=1).max() == info["maxInfluences"] == 4
        assert_allclose(mesh.weights.sum(axis=1), 1, rtol=0, atol=1e-6)
        assert_allclose(
            asset.joint_matrices(0, asset.rest_world()),
            np.tile(np.eye(4), (25, 1, 1)),
            rtol=0,
            atol=1e-6,
        )
        assert_allclose(
            asset.skin_points([n.mesh for n in asset.nodes].index(0), asset.rest_world()),
            mesh.positions,
            rtol=0,
            atol=1e-6,
        )
        assert asset.notes == (
            "Materials are not read.",
            "The vertex attribute 'TEXCOORD_0' is not read.",
        )
        round_trip(asset, tmp_path / path.name)
    # ours has the one warning that theirs has: the skinned mesh is not a root
    assert [problems for problems, _ in validate(*(tmp_path / path.name for path in hands))] == [
        ["NODE_SKINNED_MESH_NON_ROOT at /nodes/25"]
    ] * 2


# Counted: 10 vertices, 8 triangles, 2 joints, 1 animation.
@debian
def test_a_simple_skin_made_by_others(validate, tmp_path):
    asset = gltf.read(MODELS / "simple_skin" / "simple_skin.gltf")
    (mesh,), (skin,), (animation,) = asset.meshes, asset.skins, asset.animations
    assert (len(mesh.positions), len(mesh.triangles), len(skin.joints)) == (10, 8, 2)
    world = asset.pose_world(animation, np.linspace(0, animation.duration, 20))
    points = asset.skin_points([n.mesh for n in asset.nodes].index(0), world)
    assert np.ptp(points[:, :2], axis=0).max() < 1e-6  # the lowest two stay,
    assert np.ptp(points[:, -2:], axis=0).max() > 0.5  # the highest two wave
    round_trip(asset, tmp_path / "skin.glb")
    ((problems, _),) = validate(tmp_path / "skin.glb")
    assert problems == []


def round_trip(asset, path):
    gltf.write(asset, path)
    once = gltf.read(path)
    same(once.nodes, asset.nodes)
    same(once.meshes, asset.meshes, rtol=0, atol=1e-6)
    gltf.write(once, path, replace=True)
    same(gltf.read(path), once)


# The package's Mesh_PrimitiveMode files 04 to 06 and 11 to 15 draw one square as a strip, a fan and
# triangles, without and with each kind of index (Khronos's asset generator, as the files say).
@debian
def test_strips_and_fans_made_by_others_are_the_same_square():
    areas = {}
    for path in sorted((MODELS / "glTF-Asset-Generator" / "Mesh_PrimitiveMode").glob("*.gltf")):
        for mesh in gltf.read(path).meshes:
            a, b, c = np.moveaxis(mesh.positions[mesh.triangles], 1, 0)
            areas[path.stem[-2:]] = np.cross(b - a, c - a).sum(axis=0)[2] / 2
    assert sorted(areas) == ["04", "05", "06", "11", "12", "13", "14", "15"]
    assert_allclose(list(areas.values()), 1, atol=1e-6)


# Files of that package that are broken on purpose, by what is wrong with them.
@debian
@pytest.mark.parametrize(
    ("name", "why"),
    [
        ("RecursiveNodes/RecursiveNodes.gltf", "cycle of parents"),
        ("IndexOutOfRange/IndexOutOfRange.gltf", "below the 24 vertices; got 1 to 255"),
        ("MissingBin/BoxTextured.gltf", "cannot read 'BoxTextured0.bin'"),
        ("BoxWithInfinites-glTF-Binary/BoxWithInfinites.glb", "must be finite numbers; got -inf"),
        ("IncorrectVertexArrays/Cube.gltf", "three corners each; got 35"),
        ("wrongTypes/badArray.gltf", "`primitives` must be a list"),
    ],
)
def test_broken_files_made_by_others_are_refused(name, why):
    with pytest.raises(ValueError, match=r"^Cannot read ") as problem:
        gltf.read(MODELS / name)
    assert why in str(problem.value)


# The file says that it requires the extension, and its parts have no plain numbers.
@debian
def test_a_compressed_file_made_by_others_is_read_but_for_its_meshes():
    asset = gltf.read(MODELS / "draco" / "2CylinderEngine.gltf")
    assert (len(asset.nodes), len(asset.meshes)) == (82, 0)
    assert "A mesh is compressed (Draco) (29 times)." in asset.notes


@debian
def test_a_file_without_anything_is_read():
    assert gltf.read(MODELS / "TestNoRootNode" / "NoScene.gltf").nodes == ()
