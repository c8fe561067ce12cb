"""Temporary folders: what is left after a process was killed goes when the next one begins."""

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from rigkit.marking import command, scratch
from rigkit.marking.record import RecordError, sole


@pytest.fixture
def temporary(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def dead():
    """The number of a process that has ended."""
    with subprocess.Popen([sys.executable, "-c", ""]) as process:
        process.wait()
    return process.pid


def test_folders_of_the_dead_go_and_all_else_stays(temporary):
    mine = temporary / f"rigkit-{os.getpid()}-abc"
    gone = temporary / f"rigkit-{dead()}-abc"
    others = [temporary / name for name in ("rigkit-notes", "pymp-abc", f"rigkit-{dead()}")]
    for place in (mine, gone, *others):
        place.mkdir()
        (place / "kept").touch()
    link = temporary / f"rigkit-{dead()}-link"
    link.symlink_to(mine)
    scratch.clear()
    assert sorted(temporary.iterdir()) == sorted((mine, *others, link))
    assert (mine / "kept").exists()


def test_what_a_killed_process_leaves_has_its_name_and_goes(temporary):
    code = (
        "import os, signal\nfrom rigkit.marking import scratch\n"
        "import multiprocessing.util as util\n"
        "with scratch.inside(scratch.of_process()):\n    util.get_temp_dir()\n"
        "with scratch.folder():\n    os.kill(os.getpid(), signal.SIGKILL)"
    )
    environment = os.environ | {"TMPDIR": str(temporary)}
    subprocess.run([sys.executable, "-c", code], env=environment)
    assert len(list(temporary.iterdir())) == 2
    scratch.clear()
    assert list(temporary.iterdir()) == []


@pytest.mark.skipif(not Path("/proc/self").is_dir(), reason="no folder that nobody may write to")
def test_a_folder_of_results_that_is_read_only_is_said_to_be():
    with pytest.raises(RecordError, match="/proc/self cannot be written to"), sole("/proc/self"):
        pass


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("the jail does not start", "The jail does not start"),
        ("results/results.sqlite is locked", "results/results.sqlite is locked"),
        ("/tmp/results is locked", "/tmp/results is locked"),
        ("results is locked", "results is locked"),
        ("", ""),
    ],
)
def test_a_message_has_a_capital_and_a_path_keeps_its_own(text, said, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    Path("results").mkdir()
    assert command._sentence(text) == said
