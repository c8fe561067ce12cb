"""The command line, from what it says to how it ends."""

import asyncio
import json
import os
import signal
import socket
import subprocess
import sys
import threading
import time
import urllib.error
import urllib.request
import webbrowser
from unittest.mock import create_autospec

import anyio
import psutil
import pytest
from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
from jupyter_server.services.kernels.websocket import KernelWebsocketHandler

import rigkit
from rigkit import cli, course, server
from tests.browser import lab

posix = pytest.mark.skipif(os.name != "posix", reason="Ctrl-C cannot be sent to one process on this system")


@pytest.fixture
def served(monkeypatch):
    """What would have been served, in place of a server."""
    calls = []
    monkeypatch.setattr(server, "serve", lambda *arguments: calls.append(arguments))
    return calls


def refusal(capsys, *arguments):
    """The one line on stderr, and the exit code, of a command that is refused."""
    try:
        code = cli.main(list(map(str, arguments)))
    except SystemExit as end:
        code = end.code
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("rigkit")
    assert err.count("\n") == 1
    return err, code


# --- what it says


def test_version_and_help(capsys):
    with pytest.raises(SystemExit) as end:
        cli.main(["--version"])
    assert end.value.code == 0
    assert capsys.readouterr().out == f"rigkit {rigkit.__version__}\n"
    assert cli.main([]) == 0
    text = capsys.readouterr().out
    assert "learn" in text
    assert len(text.splitlines()) < 20


def test_learn_says_what_was_copied_and_kept_and_opens_the_first_lesson(tmp_path, capsys, served):
    folder = tmp_path / "mine"
    assert cli.main(["learn", "--dir", str(folder), "--no-browser"]) == 0
    first = next(iter(course.lessons()), None)
    page = f"lessons/{first.path.name}" if first else ""
    assert served == [(folder, page, None, False, False)]
    said = capsys.readouterr().out
    assert f"Your folder: {folder}\n" in said
    assert "Copied: " in said

    exercise = next(folder.glob("exercises/*.ipynb"))
    exercise.write_text("mine")
    cli.main(["learn", "--dir", str(folder), "--no-browser"])
    said = capsys.readouterr().out
    assert f"Kept as you changed it: exercises/{exercise.name}\n" in said
    assert "Copied" not in said
    assert exercise.read_text() == "mine"


def test_the_default_folder_is_leg_rigging_here(tmp_path, monkeypatch, served):
    monkeypatch.chdir(tmp_path)
    cli.main(["learn", "--no-browser", "--port", "8899"])
    assert served[0][0] == tmp_path / "leg-rigging"
    assert served[0][2:] == (8899, False, False)


def test_a_lesson_is_opened_by_its_number(tmp_path, served):
    for lesson in course.lessons():
        cli.main(["learn", str(int(lesson.number)), "--dir", str(tmp_path / "mine"), "--no-browser"])
        assert served[-1][1] == f"lessons/{lesson.path.name}"


# --- what it refuses


@pytest.mark.parametrize("port", ["0", "-1", "65536", "http", "8_0", "80.0", "²", ""])
def test_a_bad_port_number_is_refused(capsys, served, port):
    err, code = refusal(capsys, "learn", "--port", port)
    assert "--port" in err
    assert (code, served) == (2, [])


@pytest.mark.parametrize(("arguments", "word"), [("lern", "lern"), ("learn --prot 1", "--prot"), ("learn 06 07", "07")])
def test_an_unknown_word_is_refused(capsys, served, arguments, word):
    err, code = refusal(capsys, *arguments.split())
    assert word in err
    assert (code, served) == (2, [])


def test_a_lesson_that_is_not_there_is_refused_before_anything_is_made(tmp_path, capsys, served):
    err, code = refusal(capsys, "learn", "99", "--dir", tmp_path / "mine", "--no-browser")
    assert "There is no lesson 99. Lessons: " in err
    assert (code, served) == (1, [])
    assert not (tmp_path / "mine").exists()


def test_a_file_in_place_of_the_folder_is_refused(tmp_path, capsys, served):
    (tmp_path / "mine").write_text("a letter")
    err, code = refusal(capsys, "learn", "--dir", tmp_path / "mine", "--no-browser")
    assert f"Cannot use {tmp_path / 'mine'}" in err
    assert (code, served) == (1, [])
    assert (tmp_path / "mine").read_text() == "a letter"


@pytest.mark.skipif(not os.path.isdir("/proc/self"), reason="no folder here that nobody can write to")
def test_a_folder_that_cannot_be_written_to_is_refused(capsys, served):
    err, code = refusal(capsys, "learn", "--dir", "/proc/self", "--no-browser")
    assert "Cannot use /proc/self" in err
    assert "--dir" in err
    assert (code, served) == (1, [])


def test_a_read_only_folder_is_refused(tmp_path, capsys, served, monkeypatch):
    def refuse(*_, **__):
        raise PermissionError(13, "Permission denied", str(tmp_path))

    monkeypatch.setattr(course.os, "replace", refuse)
    err, code = refusal(capsys, "learn", "--dir", tmp_path, "--no-browser")
    assert "Permission denied" in err
    assert (code, served) == (1, [])


def test_a_taken_port_is_refused(tmp_path, capsys, served):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        err, code = refusal(capsys, "learn", "--dir", tmp_path / "mine", "--no-browser", "--port", port)
    assert f"Port {port} is taken" in err
    assert (code, served) == (1, [])


def test_no_browser_is_said_and_what_to_do(tmp_path, capsys, served, monkeypatch):
    def none(*_):
        raise webbrowser.Error("could not locate runnable browser")

    monkeypatch.setattr(webbrowser, "get", none)
    err, code = refusal(capsys, "learn", "--dir", tmp_path / "mine")
    assert "--no-browser" in err
    assert (code, served) == (1, [])


# --- the server


def test_small_messages_are_sent_at_once(monkeypatch, tmp_path):
    monkeypatch.setattr(ZMQChannelsWebsocketConnection, "connect", lambda self: "connected")
    connection = server.PromptConnection.__new__(server.PromptConnection)
    connection.websocket_handler = create_autospec(KernelWebsocketHandler, instance=True)
    assert connection.connect() == "connected"
    connection.websocket_handler.set_nodelay.assert_called_once_with(True)


def test_a_page_left_half_answered_does_not_keep_it_from_ending():
    async def half_answered():
        await anyio.to_thread.run_sync(int)  # as the server reads files: in a thread that lives as long as its task
        loop.stop()
        await asyncio.Event().wait()

    before = set(threading.enumerate())
    loop = asyncio.new_event_loop()
    task = loop.create_task(half_answered())
    loop.run_forever()
    (worker,) = set(threading.enumerate()) - before
    server._finish(loop)
    worker.join(10)
    assert not worker.is_alive()
    assert task.cancelled()
    loop.close()


def _answer(running, path, data=None, **headers):
    request = urllib.request.Request(f"{running.base}/{path}", data, headers)
    with urllib.request.urlopen(request, timeout=30) as answer:
        return answer.read().decode()


def _kernel(running):
    """Start a kernel as a notebook does; its process."""
    _answer(running, "api/kernels", b'{"name": "python3"}', **running.headers)
    end = time.monotonic() + 30
    while time.monotonic() < end:
        for child in psutil.Process(running.process.pid).children(recursive=True):
            if any("ipykernel" in word for word in child.cmdline()):
                return child
        time.sleep(0.1)
    raise AssertionError("no kernel within 30 s")


@posix
@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_a_server_answers_with_its_token_only_and_ends_with_all_its_kernels(tmp_path, number):
    with lab.learn(tmp_path / "mine") as running:
        assert (tmp_path / "mine" / ".rigkit").is_dir()
        page = json.loads(_answer(running, f"lab?token={running.token}")
                          .split('id="jupyter-config-data" type="application/json">')[1].split("</script>")[0])
        assert page["serverRoot"] == str(tmp_path / "mine")
        assert "@jupyterlab/apputils-extension:announcements" in page["disabledExtensions"]
        with pytest.raises(urllib.error.HTTPError, match="403"):
            _answer(running, "api/contents")
        kernel = _kernel(running)
        assert kernel.cmdline()[0] == sys.executable
        running.process.send_signal(number)
        running.process.send_signal(number)  # an impatient second one changes nothing
        assert running.process.wait(30) == 0
        psutil.wait_procs([kernel], timeout=10)
        assert not kernel.is_running()


@posix
def test_ctrl_c_while_it_starts_is_no_error(tmp_path):
    process = subprocess.Popen([sys.executable, "-m", "rigkit", "learn", "--no-browser", "--dir", tmp_path / "mine"],
                               stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    assert process.stdout.readline().startswith("Your folder")
    process.send_signal(signal.SIGINT)
    said, _ = process.communicate(timeout=30)
    assert "Traceback" not in said
    assert process.returncode == 0


def test_output_that_nobody_reads_on_is_no_fault(tmp_path):
    """As in `rigkit inspect FILE | head -1`."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run([sys.executable, "-m", "rigkit", "export", "Pip", "--out", "pip.glb"], stdout=write,
                          stderr=subprocess.PIPE, text=True, cwd=tmp_path)
    os.close(write)
    assert (done.returncode, done.stderr) == (1, "")
