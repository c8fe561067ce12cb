"""Shared by all tests: which are quick, what a machine may lack, progress on many cores."""

import os
import sys
import time
from collections import Counter

import pytest
from hypothesis import settings

settings.register_profile("patient", deadline=None)  # a busy machine fails no test
settings.load_profile("patient")

NEEDS = ("needs_browser", "needs_jail", "needs_registry")
QUICK = ("tests/unit/", "tests/homework/")
SLOW = (  # of those: other programs, pictures of lessons, many files or learners drawn by chance
    "tests/unit/test_access.py",
    "tests/unit/test_authoring.py",
    "tests/unit/test_cli.py",
    "tests/unit/test_documents.py",
    "tests/unit/test_gltf_hostile.py",
    "tests/unit/test_import.py",
    "tests/unit/test_plots.py",
    "tests/unit/test_inspection_rules.py::test_a_real_skeleton",
    "tests/unit/test_scene",
    "tests/unit/test_surface.py",
    "tests/unit/test_teaching.py",
    "tests/unit/test_typing.py",
    "tests/unit/test_asked_",
    "tests/unit/test_words.py",
    "tests/homework/test_cards.py",
    "tests/homework/test_constants.py",
    "tests/homework/test_hints.py",
    "tests/homework/test_messages.py",
    "tests/homework/test_shown_cases.py",
    "tests/homework/test_smaller_cases",
    "tests/homework/test_misconceptions.py",
    "tests/homework/test_questions.py::test_the_solution_earns",
    "tests/homework/test_questions_10.py::test_a_pelvis_may_ride",
)

FIRST = (
    "tests/unit/test_typing.py"  # one process works on it for long; nobody waits for it at the end
)

# Hundreds of processes start here; without its cache each would compile all of the kit anew.
sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_configure(config):
    if getattr(config.option, "numprocesses", None):
        config.pluginmanager.register(Progress(config))


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers():
    """Two processes more than there are cores: what starts in a page or a kernel is waited for."""
    return (os.cpu_count() or 1) + 2


def pytest_ignore_collect(collection_path, config):
    """With `-m quick`, slow files are not even imported."""
    name = collection_path.relative_to(config.rootpath).as_posix()
    if config.option.markexpr == "quick" and name.endswith(".py") and not _is_quick(name):
        return True
    return None


def pytest_collection_modifyitems(config, items):
    if os.environ.get("RIGKIT_EVERYTHING") != "1":
        thorough = [item for item in items if item.get_closest_marker("thorough")]
        items[:] = [item for item in items if not item.get_closest_marker("thorough")]
        config.hook.pytest_deselected(items=thorough)
    items.sort(
        key=lambda item: not item.nodeid.startswith(FIRST)
    )  # stable: the rest stays in order
    for item in items:
        if _is_quick(item.nodeid):
            item.add_marker("quick")


def _is_quick(name):
    return name.startswith(QUICK) and not name.startswith(SLOW)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """With RIGKIT_REQUIRE_ALL=1, skipping a test that needs something special is a failure."""
    report = yield
    needs = [name for name in NEEDS if item.get_closest_marker(name)]
    if report.skipped and needs and os.environ.get("RIGKIT_REQUIRE_ALL") == "1":
        report.outcome = "failed"
        report.longrepr = (
            f"RIGKIT_REQUIRE_ALL=1, yet skipped ({', '.join(needs)}): {report.longrepr[-1]}"
        )
    return report


class Progress:
    """With several processes, a line for each file that is done in place of mixed dots."""

    def __init__(self, config):
        self._config, self._began = config, time.monotonic()
        self._left, self._count, self._seconds, self._failed = (Counter() for _ in range(4))

    @pytest.hookimpl(optionalhook=True)
    def pytest_xdist_node_collection_finished(self, ids):
        self._left = Counter(map(_file, ids))
        self._count = Counter(self._left)

    @pytest.hookimpl(wrapper=True)
    def pytest_report_teststatus(self):
        category, _, _ = yield
        return category, "", ""

    def pytest_runtest_logreport(self, report):
        file = _file(report.nodeid)
        self._seconds[file] += report.duration
        self._failed[file] += report.failed
        if report.failed:
            self._print(f"FAILED {report.nodeid}")
        if report.when == "teardown":
            self._left[file] -= 1
            if not self._left[file]:
                self._print(self._done(file))

    def _done(self, file):
        done = sum(not left for left in self._left.values())
        failed = f", {self._failed[file]} FAILED" if self._failed[file] else ""
        return (
            f"{done:3d} of {len(self._count)} files: {file}, {self._count[file]} tests in"
            f" {self._seconds[file]:.0f} s{failed}"
        )

    def _print(self, text):
        minutes, seconds = divmod(int(time.monotonic() - self._began), 60)
        reporter = self._config.pluginmanager.getplugin("terminalreporter")
        reporter.write_line(f"{minutes:2d}:{seconds:02d} {text}", flush=True)


def _file(nodeid):
    return nodeid.partition("::")[0]
