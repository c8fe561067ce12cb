"""The package as a learner installs it: built, put into an environment of its own, used with no
checkout near."""

import json
import os
import re
import shutil
import subprocess
import sys
import sysconfig
import tarfile
import urllib.request
import venv
import zipfile
from pathlib import Path

import pytest

from tests.browser import lab

ROOT = Path(__file__).parents[1]


@pytest.fixture(scope="module")
def built(tmp_path_factory):
    """The source distribution, and the wheel built from it, as `python -m build` does."""
    out = tmp_path_factory.mktemp("dist")
    _run(sys.executable, "-m", "build", "--no-isolation", "--outdir", out, ROOT)
    (source,), (wheel,) = out.glob("rigkit-*.tar.gz"), out.glob("rigkit-*.whl")
    return source, wheel


@pytest.fixture(scope="module")
def wheel(built):
    return built[1]


@pytest.fixture(scope="module")
def environment(wheel, tmp_path_factory):
    """The folder of programs of an environment that holds the wheel, and borrows all other packages
    from this one."""
    root = tmp_path_factory.mktemp("elsewhere")
    venv.create(root, with_pip=False)
    ours = {"base": str(root), "platbase": str(root), "installed_base": str(root)}
    site = Path(sysconfig.get_path("purelib", vars=ours))
    programs = Path(sysconfig.get_path("scripts", vars=ours))
    python = programs / Path(sys.executable).name
    # What a .pth file names comes last, and no .pth file in there counts: so an editable install is
    # not seen.
    (site / "borrowed.pth").write_text(sysconfig.get_path("purelib") + "\n")
    _run(
        python,
        "-m",
        "pip",
        "install",
        "--no-deps",
        "--no-index",
        "--ignore-installed",
        wheel,
        cwd=root,
    )
    return programs


def _run(*command, **options):
    """The output of a command; one that fails fails the test, with what it printed."""
    done = subprocess.run(
        [*map(str, command)], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True, **options
    )
    assert done.returncode == 0, done.stdout
    return done.stdout


def _named(wheel):
    with zipfile.ZipFile(wheel) as file:
        return file.namelist()


def test_the_wheel_holds_lessons_exercises_and_data(wheel):
    held = _named(wheel)
    for folder, place in (
        ("lessons", "rigkit/_course/"),
        ("exercises", "rigkit/_course/"),
        ("rigkit/data", ""),
    ):
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and ".ipynb_checkpoints" not in path.parts:
                assert place + path.relative_to(ROOT).as_posix() in held
    assert sum("/licenses/LICENSE" in name for name in held) == 2


def test_the_wheel_holds_no_solutions_tests_or_leftovers(wheel):
    unwanted = re.compile(r"(^|/)(solutions|tests|__pycache__|\.[^/]+)/|\.pyc$")
    assert [name for name in _named(wheel) if unwanted.search(name)] == []
    assert {name.split("/")[0].split("-")[0] for name in _named(wheel)} == {"rigkit"}


def test_the_source_distribution_holds_all_that_is_tracked(built):
    if not (ROOT / ".git").exists() or not shutil.which("git"):
        pytest.skip("not a git checkout")
    tracked = _run("git", "-C", ROOT, "ls-files", "-z").split("\0")
    with tarfile.open(built[0]) as file:
        held = {name.partition("/")[2] for name in file.getnames()}
    assert held - {"PKG-INFO"} == {name for name in tracked if name and (ROOT / name).exists()}


def test_what_is_handed_out_is_small(built):
    source, wheel = (path.stat().st_size / 2**20 for path in built)
    assert wheel < 2  # what a learner gets
    assert source < 4  # with the tests and the solutions


def test_the_wheel_says_that_it_is_typed_and_how_to_run_it(wheel):
    assert "rigkit/py.typed" in _named(wheel)
    with zipfile.ZipFile(wheel) as file:
        (name,) = (name for name in file.namelist() if name.endswith("entry_points.txt"))
        assert "rigkit = rigkit.cli:main" in file.read(name).decode()


BORROWED = {  # JupyterLab's own files
    "PYTHONPATH": "",
    "JUPYTER_PATH": f"{sys.prefix}/share/jupyter",
    "JUPYTERLAB_DIR": f"{sys.prefix}/share/jupyter/lab",
}


def test_learn_works_from_the_wheel_alone(environment, tmp_path):
    where = _run(
        environment / "python",
        "-c",
        "import rigkit; print(rigkit.__file__)",
        cwd=tmp_path,
        env={**os.environ, **BORROWED},
    )
    assert Path(where.strip()).is_relative_to(environment.parent)

    folder = tmp_path / "leg-rigging"
    with lab.learn(folder, command=[environment / "rigkit", "learn"], **BORROWED) as running:
        request = urllib.request.Request(f"{running.base}/lab?token={running.token}")
        with urllib.request.urlopen(request, timeout=30) as page:
            assert "jupyter-config-data" in page.read().decode()
        for part in ("lessons", "exercises"):
            copied = {p.name: p.read_bytes() for p in (folder / part).glob("*.ipynb")}
            assert copied == {p.name: p.read_bytes() for p in (ROOT / part).glob("*.ipynb")}
        assert not (folder / "solutions").exists()
        json.loads((folder / ".rigkit" / "handed-out.json").read_text())


@pytest.mark.needs_browser
@pytest.mark.parametrize(
    ("program", "way"), [("jupyterlab", lab.IN_LAB), ("notebook", lab.IN_NOTEBOOK)]
)
def test_a_panel_works_from_the_wheel_alone_without_learn(environment, tmp_path, program, way):
    pytest.importorskip("playwright", reason="the Python package playwright is not installed")
    if lab.find_chromium() is None:
        pytest.skip("no Chromium found; install one or name it in RIGKIT_CHROMIUM")
    folder, python = tmp_path / "learner", environment / Path(sys.executable).name
    folder.mkdir()
    cells = {
        "panel": "from rigkit import puppets\nfrom rigkit.scenes import forward_and_inverse\n"
        "forward_and_inverse.pelvis_panel(puppets.PUPPETS['Tamsin'])",
        "where": "import rigkit\nprint(rigkit.__file__)",
    }
    with lab.stock(folder, program, python, **BORROWED) as server, lab.chromium() as browser:
        page = lab.Lab(browser, server, windowing="none", way=way)
        page.write("panel.ipynb", lab.code_notebook(cells))
        page.open("panel.ipynb")
        page.errors.clear()  # what the program itself stumbles over as it opens
        page.run_all()
        where = page.page.locator(".jp-OutputArea").last.text_content().strip()
        assert Path(where).is_relative_to(environment.parent)
        panel = page.panels()[0]
        before = panel.picture()
        panel.grips()[0].press("ArrowDown")
        page.wait_for_change(panel.picture, before, "the picture")
        before = panel.picture()
        panel.grips()[0].drag(30, 0)
        page.wait_for_change(panel.picture, before, "the picture")
        assert page.troubles() == []
