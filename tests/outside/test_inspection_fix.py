"""Mended rig files against the Khronos Group's validator, and on rigs that others made.

The validator is that of test_gltf_validator; the rigs are those of `real_rigs` and of the Debian
package assimp-testmodels.
"""

import numpy as np
import pytest

from rigkit import gltf
from rigkit.gltf import container
from rigkit.inspection.fix import fix
from tests.outside.real_rigs import PATHS, fetched
from tests.outside.test_gltf_validator import MODELS, debian, validate  # noqa: F401
from tests.unit import rigs

pytestmark = pytest.mark.needs_registry


def mended(source, folder):
    out = folder / f"{source.stem}-mended.glb"
    return fix(source, out), out


def test_mended_puppets_have_no_error_and_no_warning(validate, tmp_path):  # noqa: F811
    for rule in ("weights-sum", "weights-at-most"):
        source = tmp_path / f"{rule}.glb"
        gltf.write(rigs.BROKEN[rule](), source, as_is=True)
        said, out = mended(source, tmp_path)
        assert said[0].startswith(("The weights of", "More than four", "At most four"))
        (before, _), (after, _) = validate(source, out)
        assert set(after) <= set(before)
        if rule == "weights-sum":
            assert "ACCESSOR_WEIGHTS_NON_NORMALIZED" in before[0]
            assert after == []


# Found by the validator in CesiumMan: weights of 210 vertices that do not add up to one.
@fetched
@pytest.mark.parametrize("name", PATHS)
def test_rigs_made_by_others_have_no_new_problem(validate, tmp_path, name):  # noqa: F811
    source = PATHS[name]
    said, out = mended(source, tmp_path)
    (before, _), (after, _) = validate(source, out)
    assert set(after) <= set(before)
    if name == "CesiumMan":
        assert said[0].startswith("The weights of 210 vertices add up to one now")
        assert sum("WEIGHTS" in problem for problem in after) == 0 < len(before)


@fetched
@pytest.mark.parametrize("name", PATHS)
def test_skin_whose_weights_added_up_moves_as_before(tmp_path, name):
    before, after = gltf.read(PATHS[name]), gltf.read(mended(PATHS[name], tmp_path)[1])
    (mesh,) = before.meshes
    whole = np.abs(mesh.weights.sum(axis=1) - 1) < 1e-5
    carrier = next(i for i, node in enumerate(before.nodes) if node.skin is not None)
    size = np.ptp(mesh.positions, axis=0).max()
    for i, clip in enumerate(before.animations):
        for time in np.linspace(0, clip.duration, 5):
            old, new = (a.skin_points(carrier, a.pose_world(i, time)) for a in (before, after))
            assert np.abs(old - new)[whole].max() < 1e-6 * size
    assert whole.sum() == (3063 if name == "CesiumMan" else 1728)


@debian
def test_files_made_by_others_are_mended_without_new_problems(validate, tmp_path):  # noqa: F811
    pairs = []
    for path in sorted(MODELS.rglob("*.gl*")):
        try:
            gltf.read(path)
        except (ValueError, OSError):  # what cannot be read is the business of test_gltf_validator
            continue
        out = tmp_path / f"{len(pairs)}.glb"
        fix(path, out)
        pairs.append((path, out))
    assert len(pairs) > 30
    before, after = validate(*(p for p, _ in pairs)), validate(*(out for _, out in pairs))
    for (path, _), (was, _), (now, _) in zip(pairs, before, after, strict=True):
        assert set(now) <= set(was), path


@debian
def test_a_binary_file_that_needs_nothing_is_the_same_to_the_byte(tmp_path):
    same = 0
    for path in sorted(MODELS.rglob("*.glb")):
        try:
            container.load(path, None)
            said, out = mended(path, tmp_path)
        except (ValueError, OSError):
            continue
        if said[0].startswith("Nothing"):
            same += out.read_bytes() == path.read_bytes()
        out.unlink()
    assert same >= 1
