"""One server and one Chromium for all browser tests, closed when they end."""

import pytest

from tests.browser import lab


@pytest.fixture(scope="package")
def server(tmp_path_factory):
    """`rigkit learn` on a new learner's folder."""
    with lab.learn(tmp_path_factory.mktemp("learner") / "leg-rigging") as server:
        yield server


@pytest.fixture(scope="package")
def browser():
    """A headless Chromium; the test is skipped where there is none."""
    pytest.importorskip("playwright", reason="the Python package playwright is not installed")
    if lab.find_chromium() is None:
        pytest.skip("no Chromium found; install one or name it in RIGKIT_CHROMIUM")
    with lab.chromium() as browser:
        yield browser
