"""What all tests share: a test that a machine cannot run is skipped, or fails where nothing may be
skipped."""

import os

import pytest
from hypothesis import settings

settings.register_profile("patient", deadline=None)  # a busy machine fails no test
settings.load_profile("patient")

MARKERS = {
    "needs_browser": "drives a real Chromium; skipped where there is none",
    "needs_jail": "runs code in a jail; skipped where none can be made",
    "needs_registry": "fetches a package of data; skipped where there is no network",
}


def pytest_configure(config):
    for name, meaning in MARKERS.items():
        config.addinivalue_line("markers", f"{name}: {meaning}")


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """With RIGKIT_REQUIRE_ALL=1, skipping a test that needs something special is a failure."""
    report = yield
    needs = [name for name in MARKERS if item.get_closest_marker(name)]
    if report.skipped and needs and os.environ.get("RIGKIT_REQUIRE_ALL") == "1":
        report.outcome = "failed"
        report.longrepr = (
            f"RIGKIT_REQUIRE_ALL=1, yet skipped ({', '.join(needs)}): {report.longrepr[-1]}"
        )
    return report
