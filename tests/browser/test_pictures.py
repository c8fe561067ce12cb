"""The pictures of the documents can be made anew, and those that are kept have about the size that
comes of it."""

import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image

from tests.browser import lab
from tests.marking.jails import opened

ROOT = Path(__file__).parents[2]
KEPT = ROOT / "tests" / "pictures"

pytestmark = [pytest.mark.needs_browser, pytest.mark.needs_jail, pytest.mark.thorough]


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """The folder in which all of them were made anew."""
    pytest.importorskip("playwright", reason="the Python package playwright is not installed")
    if lab.find_chromium() is None:
        pytest.skip("no Chromium found; install one or name it in RIGKIT_CHROMIUM")
    opened()
    folder = tmp_path_factory.mktemp("pictures")
    done = subprocess.run(
        [sys.executable, "-m", "tests.pictures", folder],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return folder


@pytest.mark.parametrize("name", ["panel.png", "report.png"])
def test_a_picture_of_a_page_is_about_as_it_is_kept(made, name):
    with Image.open(made / name) as new, Image.open(KEPT / name) as kept:
        assert new.size == pytest.approx(kept.size, rel=0.3), (
            "it shows something else: python -m tests.pictures"
        )


def test_all_of_them_are_made(made):
    assert {path.name for path in made.iterdir()} == {
        path.name for path in KEPT.glob("*.[ps][nv]g")
    }
