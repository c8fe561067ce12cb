"""What an inspection says of a file that could not be read in full."""

import json

import pytest

from rigkit import export, gltf, inspection
from rigkit.gltf import container
from rigkit.puppets import PUPPETS
from tests.unit.gltf_files import chunks, document_of
from tests.unit.test_gltf import draco, meshopt


def spoiled(change, folder):
    """A puppet's file after a change to its JSON, its data untouched."""
    path = folder / "rig.glb"
    gltf.write(export.puppet_asset(PUPPETS["Tamsin"], 500), path)
    data = path.read_bytes()
    document = document_of(data)
    change(document)
    binary = container._chunks_of(memoryview(data))[1][1]
    path.write_bytes(chunks((b"JSON", json.dumps(document).encode()), (b"BIN\0", bytes(binary))))
    return path


def test_a_compressed_skin_is_said_and_the_rest_is_measured(tmp_path):
    report = inspection.inspect(spoiled(draco, tmp_path))
    assert report.remarks[0] == (
        "The skin is compressed (Draco) and was not read: rules on the skin were not measured."
        " Save it uncompressed for those."
    )
    assert report["weights-sum"].said == "The skin is compressed (Draco) and was not read."
    assert report["preset-bend"].measured == "5° (at least 2°)"
    assert report["foot-slide"].status == "pass"
    assert report.legs.certainty > 0.9


def test_a_compressed_motion_is_said(tmp_path):
    def pack(document):
        numbers = [s["input"] for a in document["animations"] for s in a["samplers"]]
        meshopt(*{document["accessors"][n]["bufferView"] for n in numbers})(document)

    report = inspection.inspect(spoiled(pack, tmp_path))
    assert report.remarks[0] == (
        "The animation is compressed (meshopt) and was not read: rules on motion were not measured."
        " Save it uncompressed for those."
    )
    assert report["foot-slide"].said == "The animation is compressed (meshopt) and was not read."
    assert report["weights-sum"].status == "pass"


@pytest.mark.parametrize("what", ["skin", "animations"])
def test_what_is_compressed_only_in_part_is_measured_on_the_rest(what):
    asset = export.puppet_asset(PUPPETS["Tamsin"], 500)
    parts = {name: getattr(asset, name) for name in ("nodes", "skins", "meshes", "animations")}
    report = inspection.inspect(gltf.Asset(**parts, compressed={what: "meshopt"}))
    assert "were measured on the " in report.remarks[0]
    assert report["weights-sum"].status == report["foot-slide"].status == "pass"
