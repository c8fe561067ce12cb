"""The command line, from what it says to how it ends."""

import asyncio
import json
import os
import re
import shlex
import shutil
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
from jupyter_client.session import Session
from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
from jupyter_server.services.kernels.websocket import KernelWebsocketHandler

import rigkit
from rigkit import cli, course, inspection, puppets, server
from tests.browser import lab

posix = pytest.mark.skipif(
    os.name != "posix", reason="Ctrl-C cannot be sent to one process on this system"
)


@pytest.fixture
def served(monkeypatch):
    """Calls that would have been served, with no server, and a browser that is never opened."""
    calls = []
    monkeypatch.setattr(webbrowser, "get", lambda *_: None)
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
    assert_one_voice(err)
    return err, code


def assert_one_voice(err):
    """One line: the command, then sentences that end as sentences do."""
    assert re.fullmatch(r"rigkit( (learn|export|inspect|pack|mark))?: .+[.?]\n", err), err


def help_of(command=""):
    """The text of a command's `--help`, printed in a process of its own with 80 columns."""
    done = subprocess.run(
        [sys.executable, "-m", "rigkit", *command.split(), "--help"],
        capture_output=True,
        text=True,
        check=True,
        env={**os.environ, "COLUMNS": "80"},
    )
    assert done.stderr == ""
    return done.stdout


def examples(command=""):
    """The words of each example that a command's help prints."""
    shown = help_of(command).split("\nexamples:\n")[1].split("\n\n")[0]
    found = [shlex.split(line)[1:] for line in shown.splitlines() if line.startswith("  rigkit ")]
    assert found
    return found


# --- what it says


COMMANDS = ["learn", "export", "inspect", "pack", "mark"]


def test_version_and_help(capsys):
    with pytest.raises(SystemExit) as end:
        cli.main(["--version"])
    assert end.value.code == 0
    assert capsys.readouterr().out == f"rigkit {rigkit.__version__}\n"
    assert cli.main([]) == 0
    text = capsys.readouterr().out
    assert re.findall(r"^    (\w+) ", text, re.M) == COMMANDS
    for words in (["--help"], ["help"]):
        with pytest.raises(SystemExit) as end:
            cli.main(words)
        assert (end.value.code, capsys.readouterr().out) == (0, text)


@pytest.mark.parametrize("command", ["", *COMMANDS])
def test_help_says_what_for_then_how_then_examples_then_the_exit_status(command):
    lines = help_of(command).splitlines()
    assert re.fullmatch(r"[A-Z].*\.", lines[0])
    assert lines[2].startswith(f"usage: rigkit {command}")
    heads = [line for line in lines if re.fullmatch(r"\w[\w ]*:", line)]
    assert heads[-3:] == ["also:", "examples:", "exit status:"]
    assert "options:" not in heads  # each stands where its purpose is
    assert [line[:5] for line in lines[-3:]] == ["  0  ", "  1  ", "  2  "]
    assert max(map(len, lines)) <= 80
    assert help_of(f"help {command}") == help_of(command)


@pytest.mark.parametrize("command", COMMANDS)
def test_help_is_readable_on_a_narrow_terminal(command, capsys, monkeypatch):
    monkeypatch.setenv("COLUMNS", "44")
    with pytest.raises(SystemExit):
        cli.main([command, "--help"])
    lines = capsys.readouterr().out.splitlines()
    told = [
        line for line in lines if "rigkit " not in line
    ]  # a command is not broken, so that it can be copied
    assert max(map(len, told)) <= 44


def test_the_help_of_mark_says_when_again_is_needed_and_what_a_later_file_does():
    told = " ".join(help_of("mark").split())
    assert (
        "A later file of the same learner and lesson is marked in place of the earlier one" in told
    )
    assert "Needed only after another version of the kit came" in told


def test_every_option_is_in_the_help_of_its_command():
    for command, options in completed().items():
        told = help_of(command)
        for option in options:
            assert re.search(rf"^ +(-h, )?{option}\b", told, re.M), (command, option)


def test_what_the_help_counts_and_names_is_there():
    assert f"by {len(inspection.RULES)} rules" in help_of("inspect")
    assert tuple(puppets.PUPPETS) == cli.PUPPETS


@pytest.fixture
def desk(tmp_path, monkeypatch):
    """An empty folder to work in."""
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_the_examples_of_learn_run(desk, served):
    for words in examples("learn"):
        assert cli.main(words) == 0
    assert [call[0].name for call in served] == [
        "leg-rigging",
        "leg-rigging",
        "leg-rigging-teaching",
        "my-rigs",
    ]


def test_the_examples_of_export_run_and_those_of_inspect_find_the_file(desk, capsys):
    for words in examples("export"):
        assert cli.main(words) == 0
    assert {path.name for path in desk.iterdir()} == {"Tamsin.glb", "heron-at-rest.gltf", "Odo.glb"}
    for words in examples("inspect"):
        capsys.readouterr()
        assert cli.main(words) in (0, 1)
        assert capsys.readouterr().out
    assert (desk / "report.html").exists()


def test_the_examples_of_pack_run(desk):
    for words in examples("pack"):
        assert cli.main(words) == 0
    assert {path.name for path in desk.iterdir()} == {
        f"{name}{end}"
        for name in ("hand-out", "first-weeks", "two")
        for end in (".zip", "-plan.toml")
    } | {"own.zip"}


def test_the_examples_of_rigkit_run(desk, served):
    for words in examples():
        try:
            status = cli.main(words)
        except SystemExit as end:
            status = end.code
        assert status == 0


def test_help_loads_the_standard_library_alone():
    code = (
        "import sys\nfrom rigkit import cli\ntry:\n    cli.main(['mark', '--help'])\nexcept"
        " SystemExit:\n    pass\nprint(*{name.partition('.')[0] for name in sys.modules} -"
        " set(sys.stdlib_module_names), file=sys.stderr)"
    )
    done = subprocess.run(
        [sys.executable, "-S", "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=os.path.dirname(os.path.dirname(rigkit.__file__)),
    )
    assert set(done.stderr.split()) == {"rigkit", "__main__"}


def completed():
    """The options that the script for the Tab key knows, by command."""
    script = subprocess.run(
        [sys.executable, "-m", "rigkit", "--completion"], capture_output=True, text=True, check=True
    ).stdout
    found = re.findall(r"^_shtab_rigkit_(\w*?)_?option_strings=\((.*)\)$", script, re.M)
    assert sorted(command for command, _ in found) == sorted(["", *COMMANDS])
    return {
        command: [word for word in shlex.split(words) if word.startswith("--")]
        for command, words in found
    }


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
@pytest.mark.parametrize(
    ("typed", "completions"),
    [
        ("rigkit l", ["learn"]),
        ("rigkit --v", ["--version"]),
        ("rigkit --completion z", ["zsh"]),
        ("rigkit learn --t", ["--teach"]),
        ("rigkit export T", ["Tamsin"]),
        ("rigkit mark --ros", ["--roster"]),
        ("rigkit mark --jail land", ["landlock"]),
        ("rigkit inspect --m", ["--map"]),
        ("rigkit inspect Tam", ["Tamsin.glb"]),
        ("rigkit inspect --lea", ["--leave-out"]),
        ("rigkit inspect --fail-on mod", ["moderate"]),
        ("rigkit pack x", []),
    ],
)
def test_bash_completes_commands_options_choices_and_files(desk, typed, completions):
    """Asks bash itself, with the variables that it sets when somebody presses Tab."""
    (desk / "Tamsin.glb").touch()
    words = typed.split()
    script = (
        f'eval "$({shlex.quote(sys.executable)} -m rigkit --completion)"\nCOMP_WORDS=({typed})\n'
        f"COMP_CWORD={len(words) - 1}\n_shtab_rigkit rigkit {words[-1]}\n"
        'printf "%s\\n" "${COMPREPLY[@]}"'
    )
    done = subprocess.run(["bash", "-c", script], capture_output=True, text=True, check=True)
    assert done.stdout.split() == completions
    assert done.stderr == ""


@pytest.mark.parametrize("shell", ["zsh", "tcsh"])
def test_other_shells_complete_too(capsys, shell):
    with pytest.raises(SystemExit) as end:
        cli.main(["--completion", shell])
    script = capsys.readouterr().out
    assert end.value.code == 0
    assert [word for word in (*COMMANDS, "teach", "landlock", "Tamsin") if word not in script] == []


def test_learn_says_what_was_copied_and_kept_and_opens_the_first_lesson(tmp_path, capsys, served):
    folder = tmp_path / "mine"
    assert cli.main(["learn", "--dir", str(folder), "--no-browser"]) == 0
    first = next(iter(course.lessons()), None)
    page = f"lessons/{first.path.name}" if first else ""
    assert served == [(folder, page, None, False, False)]
    said = capsys.readouterr().out
    assert f"Your folder: {folder}\n" in said
    assert f"Copied: {sum(1 for _ in course.shipped())} files\n" in said

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
        cli.main(
            ["learn", str(int(lesson.number)), "--dir", str(tmp_path / "mine"), "--no-browser"]
        )
        assert served[-1][1] == f"lessons/{lesson.path.name}"


# --- what it refuses


@pytest.mark.parametrize("port", ["0", "-1", "65536", "http", "8_0", "80.0", "²", ""])
def test_a_bad_port_number_is_refused(capsys, served, port):
    err, code = refusal(capsys, "learn", "--port", port)
    assert "--port" in err
    assert (code, served) == (2, [])


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ("lern", ": argument COMMAND: invalid choice: lern (choose from {commands})"),
        ("help fly", ": argument COMMAND: invalid choice: fly (choose from {commands})"),
        ("--verison", ": unrecognized arguments: --verison"),
        ("learn --prot 1", " learn: unrecognized arguments: --prot"),
        ("learn --out=x", " learn: unrecognized arguments: --out=x"),
        ("learn 06 07", " learn: unrecognized arguments: 07"),
        ("learn --dir", " learn: argument --dir: expected one argument"),
        ("learn --teach=yes", " learn: argument --teach: ignored explicit argument yes"),
        ("export", " export: the following arguments are required: PUPPET"),
        (
            "export Tomsin",
            " export: argument PUPPET: invalid choice: Tomsin (choose from {puppets})",
        ),
        (
            "export Pip --vertices 299",
            " export: argument --vertices: must be a whole number from 300 to 1000000; got 299",
        ),
        (
            "export Pip --vertices 1e9",
            " export: argument --vertices: must be a whole number from 300 to 1000000; got 1e9",
        ),
        ("export Pip --rate 0", " export: argument --rate: must be a number from 1 to 240; got 0"),
        (
            "export Pip --rate 240.5",
            " export: argument --rate: must be a number from 1 to 240; got 240.5",
        ),
        (
            "export Pip --rate nan",
            " export: argument --rate: must be a number from 1 to 240; got nan",
        ),
        (
            "export Pip --rate film",
            " export: argument --rate: must be a number from 1 to 240; got film",
        ),
        (
            "export Pip --rest --rate 24",
            " export: argument --rate: not allowed with argument --rest",
        ),
        ("pack", " pack: the following arguments are required: --out"),
        ("mark --lesson", " mark: argument --lesson: expected at least one argument"),
        ("mark --out x --override p q", " mark: argument --override: expected 3 arguments"),
        (
            "mark x --out x --jail glass",
            " mark: argument --jail: invalid choice: glass (choose from bwrap, landlock)",
        ),
        (
            "mark --out x --decimal-comma x.zip",
            " mark: argument --decimal-comma: must be yes or no, if anything; got x.zip",
        ),
        (
            "mark --out x --seen p 06 07",
            " mark: argument --seen: expected LEARNER [LESSON]; got [p, 06, 07]",
        ),
        (
            "mark x --out x --workers 0",
            " mark: argument --workers: must be a whole number from 1 on; got 0",
        ),
        (
            "mark x --out x --jail bwrap --unsafe-no-jail",
            " mark: argument --unsafe-no-jail: not allowed with argument --jail",
        ),
        (
            "inspect x.glb --map knee",
            " inspect: argument --map: must be a name, = and a value; got knee",
        ),
    ],
)
def test_wrong_words_are_refused_in_one_line(desk, capsys, served, arguments, said):
    """In argparse's own words, whose quotes differ between Python's versions."""
    err, code = refusal(capsys, *arguments.split())
    said = said.format(commands=", ".join(COMMANDS), puppets=", ".join(cli.PUPPETS))
    command = said.partition(":")[0]
    assert err.replace("'", "") == f"rigkit{said}. See rigkit{command} --help.\n"
    assert (code, served, list(desk.iterdir())) == (2, [], [])


def test_a_file_name_of_another_kind_is_refused(desk, capsys):
    err, code = refusal(capsys, "export", "Pip", "--out", "pip.obj")
    assert err == "rigkit export: --out must end in .glb or .gltf; got 'pip.obj'.\n"
    assert (code, list(desk.iterdir())) == (2, [])


@pytest.mark.parametrize("name", ["pip", "PIP", "HERON"])
def test_a_puppet_is_named_in_capitals_or_not(desk, name):
    assert cli.main(["export", name, "--rest", "--vertices", "300"]) == 0
    (written,) = desk.iterdir()
    assert (written.stem in cli.PUPPETS, written.stem.casefold()) == (True, name.casefold())


def test_what_the_library_refuses_is_said_in_the_words_of_the_command(desk, capsys):
    cli.main(["export", "pip", "--rest", "--vertices", "300"])
    capsys.readouterr()
    for words, said in [
        ("--map up=sideways", "rigkit inspect: --map up must be one of"),
        ("--map nose=x", "rigkit inspect: --map must name one of pelvis"),
        ("--threshold foot-slide=x", "rigkit inspect: --threshold foot-slide must be a number"),
        ("--threshold slide=1", "rigkit inspect: --threshold must name rules"),
    ]:
        err, code = refusal(capsys, "inspect", "Pip.glb", *words.split())
        assert err.startswith(said)
        assert code == 2


def test_a_report_is_written_over_and_nothing_else(desk, capsys):
    cli.main(["export", "Pip", "--rest", "--vertices", "300"])
    rig = (desk / "Pip.glb").read_bytes()
    (desk / "diary.html").write_text("<title>My diary</title>")
    for name in ("Pip.glb", "diary.html", "."):
        capsys.readouterr()
        err, code = refusal(capsys, "inspect", "Pip.glb", "--html", name)
        assert f"{name} is there already, and is no report." in err
        assert code == 2
    assert (desk / "Pip.glb").read_bytes() == rig
    assert (desk / "diary.html").read_text() == "<title>My diary</title>"
    for _ in range(2):
        assert cli.main(["inspect", "Pip.glb", "--html", "report.html"]) in (0, 1)


def test_a_disk_that_is_full_is_said_with_the_files_own_name(desk, capsys, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(course.os, "replace", full)
    err, code = refusal(capsys, "pack", "06", "--out", "x.zip")
    assert (
        err
        == "rigkit pack: Cannot use x.zip (No space left on device). Make room, then try again.\n"
    )
    assert code == 1
    assert list(desk.iterdir()) == []


@pytest.mark.skipif(not os.path.exists("/dev/full"), reason="no device here that is full")
@pytest.mark.parametrize(
    "words", [["--version"], ["export", "Pip", "--out", "pip.glb", "--vertices", "300"]]
)
def test_output_that_cannot_be_written_is_said(desk, words):
    with open("/dev/full", "w") as full:
        done = subprocess.run(
            [sys.executable, "-m", "rigkit", *words], stdout=full, stderr=subprocess.PIPE, text=True
        )
    assert_one_voice(done.stderr)
    assert "Cannot use the output" in done.stderr
    assert done.returncode == 1


@posix
def test_ctrl_c_ends_work_with_a_word_and_as_undone(desk, capsys, monkeypatch):
    def interrupted(*_, **__):
        raise KeyboardInterrupt

    monkeypatch.setattr("rigkit.export.puppet_asset", interrupted)
    err, code = refusal(capsys, "export", "Pip")
    assert (err, code) == ("rigkit export: Stopped.\n", 1)


def test_a_lesson_that_is_not_there_is_refused_before_anything_is_made(tmp_path, capsys, served):
    err, code = refusal(capsys, "learn", "99", "--dir", tmp_path / "mine", "--no-browser")
    assert "There is no lesson 99. Lessons: " in err
    assert (code, served) == (2, [])
    assert not (tmp_path / "mine").exists()


def test_a_file_in_place_of_the_folder_is_refused(tmp_path, capsys, served):
    (tmp_path / "mine").write_text("a letter")
    err, code = refusal(capsys, "learn", "--dir", tmp_path / "mine", "--no-browser")
    assert f"Cannot use {tmp_path / 'mine'}" in err
    assert (code, served) == (1, [])
    assert (tmp_path / "mine").read_text() == "a letter"


@pytest.mark.skipif(
    not os.path.isdir("/proc/self"), reason="no folder here that nobody can write to"
)
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
    assert "(Permission denied)" in err
    assert (code, served) == (1, [])


def test_a_taken_port_is_refused(tmp_path, capsys, served):
    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = taken.getsockname()[1]
        err, code = refusal(
            capsys, "learn", "--dir", tmp_path / "mine", "--no-browser", "--port", port
        )
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


@pytest.mark.parametrize(
    ("asked", "told", "content", "sent"),
    [
        ("comm_msg", "status", {"execution_state": "busy"}, False),
        ("comm_msg", "status", {"execution_state": "idle"}, True),  # the page waits for it
        ("comm_msg", "comm_msg", {"comm_id": "1", "data": {"state": "busy"}}, True),
        ("execute_request", "status", {"execution_state": "busy"}, True),
        (None, "status", {"execution_state": "starting"}, True),
    ],
)
def test_a_slider_does_not_turn_the_busy_light_on(monkeypatch, asked, told, content, sent):
    passed = []
    monkeypatch.setattr(
        ZMQChannelsWebsocketConnection,
        "handle_outgoing_message",
        lambda self, stream, message: passed.append((stream, message)),
    )
    connection = server.PromptConnection.__new__(server.PromptConnection)
    connection.session = session = Session()
    question = session.msg(asked) if asked else None
    message = session.serialize(session.msg(told, content, parent=question), ident=b"iopub")
    connection.handle_outgoing_message("iopub", message)
    assert passed == ([("iopub", message)] if sent else [])


def test_a_page_left_half_answered_does_not_keep_it_from_ending():
    async def half_answered():
        await anyio.to_thread.run_sync(
            int
        )  # as the server reads files: in a thread that lives as long as its task
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
        page = json.loads(
            _answer(running, f"lab?token={running.token}")
            .split('id="jupyter-config-data" type="application/json">')[1]
            .split("</script>")[0]
        )
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
    process = subprocess.Popen(
        [sys.executable, "-m", "rigkit", "learn", "--no-browser", "--dir", tmp_path / "mine"],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    assert process.stdout.readline().startswith("Your folder")
    process.send_signal(signal.SIGINT)
    said, _ = process.communicate(timeout=30)
    assert "Traceback" not in said
    assert process.returncode == 0


def test_output_that_nobody_reads_on_is_no_fault(tmp_path):
    """As in `rigkit inspect FILE | head -1`."""
    read, write = os.pipe()
    os.close(read)
    done = subprocess.run(
        [sys.executable, "-m", "rigkit", "export", "Pip", "--out", "pip.glb"],
        stdout=write,
        stderr=subprocess.PIPE,
        text=True,
        cwd=tmp_path,
    )
    os.close(write)
    assert (done.returncode, done.stderr) == (1, "")
