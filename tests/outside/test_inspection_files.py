"""Rig files that others made and that have no legs: an inspection says so and breaks at none.

The files of the Debian package assimp-testmodels (simple_skin: BSD-3-Clause), and the hand of the
npm package @webxr-input-profiles/assets 1.0.20 (MIT), as in test_gltf_validator.
"""

import pytest

from rigkit import inspection
from tests.outside.test_gltf_validator import HANDS, MODELS, debian, fetched

pytestmark = pytest.mark.needs_registry


@debian
def test_models_without_legs():
    inspected = 0
    for path in sorted(MODELS.rglob("*.gl*")):
        try:
            report = inspection.inspect(path)
        except (ValueError, OSError):  # what cannot be read is the business of test_gltf
            continue
        inspected += 1
        assert report.legs.legs == {}, path
        assert report.passed
        assert report["legs-found"].status == "not measured"
        assert "No legs were found" in report.text()
    assert inspected >= 20


@debian
def test_a_skin_of_two_joints():
    report = inspection.inspect(MODELS / "simple_skin" / "simple_skin.gltf")
    assert report["legs-found"].said == "No legs were found: a leg needs three joints; there are 2."
    assert {finding.said for finding in report.findings} == {report["legs-found"].said}


@pytest.mark.parametrize("side", ["left", "right"])
def test_a_hand_is_no_pair_of_legs(pytestconfig, side):
    report = inspection.inspect(
        fetched(pytestconfig, HANDS) / "dist" / "profiles" / "generic-hand" / f"{side}.glb"
    )
    assert report.legs.legs == {}
    assert "named as something else" in report["legs-found"].said
