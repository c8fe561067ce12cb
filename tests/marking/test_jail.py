"""The jail as a marker uses it: what it gives for honest work, where it refuses, what its parts
promise."""

import contextlib
import dataclasses
import json
import os
import pickle
import re
import struct
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rigkit.homework import calling, catalogue, checking, notebook
from rigkit.marking import jail, probes, protocol, seccomp, site
from rigkit.marking.calls import Call, Request
from rigkit.marking.jail import JailError
from tests.homework.solved import answered
from tests.marking.classroom import rigs_of
from tests.marking.jails import ANSWERS, RIGHT, opened, request, run
from tests.unit.test_import import MATHS

ROOT = Path(__file__).parents[2]
in_a_jail = pytest.mark.needs_jail


# Honest work


def solution(lesson, student="Tamsin"):
    """The homework, and the request of a lesson's solution with the cases of a check."""
    path = next((ROOT / "solutions").glob(f"{lesson}-*.ipynb"))
    cells = [
        "".join(cell["source"])
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]
        if cell["cell_type"] == "code"
    ]
    hw = notebook.open_homework(lesson, student)
    rigs = rigs_of("right", None, lesson, student)
    calls = [
        Call(
            q.name,
            q.kind,
            hw.cases(q, 1) if q.kind == "function" else [],
            data=rigs.get(q.name, b""),
        )
        for q in hw.questions.values()
    ]
    inputs = {name: hw.cases(question, 0)[0] for name, question in hw.questions.items()}
    return hw, Request(
        tuple(cells),
        tuple(calls),
        {
            "lesson": lesson,
            "student": student,
            "inputs": inputs,
            "character": dataclasses.asdict(hw.character),
        },
    )


@in_a_jail
@pytest.mark.parametrize("lesson", catalogue.lessons())
def test_a_solution_is_right(lesson):
    hw, asked = solution(lesson)
    found = opened().run(asked)
    assert (found.end, found.signal, found.cut) == ("finished", None, False)
    assert all(cell == {"ok": True} for cell in found.cells), found.cells
    assert len(found.cells) == len(asked.cells)
    for name, question in hw.questions.items():
        assert (
            checking.score_answers(question, hw.cases(question, 1), found.records[name]).score == 1
        ), name


@in_a_jail
@pytest.mark.parametrize("kind", jail.KINDS)
def test_its_records_are_those_of_a_check_in_the_notebook(kind, monkeypatch, tmp_path):
    monkeypatch.chdir(tmp_path)
    hw, asked = solution("06")
    names = answered("06", "Tamsin")
    records = opened(kind).run(asked).records
    for name, question in hw.questions.items():
        here = (
            calling.call(names[name], hw.cases(question, 1))
            if question.kind == "function"
            else [calling.record_value(names[name])]
        )
        assert records[name] == here, name


@in_a_jail
def test_the_kit_inside_is_that_of_the_lessons():
    scenes = [path.stem for path in (ROOT / "rigkit" / "scenes").glob("[a-z]*.py")]
    names = [
        *(f"rigkit.{name}" for name in site.KIT if name != "__init__"),
        *(f"rigkit.scenes.{s}" for s in scenes),
    ]
    found = run(
        *(f"import {name}" for name in names),
        "rigkit.scenes.forward_and_inverse.hand_panel(rigkit.puppets.PUPPETS['Tamsin'], 13.0)",
        "from IPython.display import HTML, display\ndisplay(HTML('<b>here</b>'))",
        "display(1)",
        "rig ="
        " rigkit.leg.LegRig.from_puppet(rigkit.puppets.PUPPETS['Pip'])\nprint(rig)\nrig.pose()",
    )
    assert [
        name
        for name, cell in zip(
            [*names, "panel", "HTML", "display", "object"], found.cells, strict=True
        )
        if cell != {"ok": True}
    ] == []


@in_a_jail
def test_the_homework_inside():
    puppet = dataclasses.asdict(notebook.open_homework("06", "Pip").character)
    asked = request(
        "from rigkit.homework import open_homework\nhw = open_homework('05',"
        " student='somebody')\nhw",
        "print(hw.lesson, hw.student, hw.character.thigh, hw.inputs('twice').x, hw.progress())",
        "hw.inputs('nothing')",
        "def twice(x):\n    return x",
        "print(hw.check(twice))\nprint(hw.check())",
        "del twice",
        "seven = ...\nhw.check(seven=7)",
        "hw.check(seven=7.0).score",
    )
    asked = dataclasses.replace(asked, homework={**asked.homework, "character": puppet})
    found = opened().run(asked)
    assert found.printed.splitlines() == [
        f"06 Pip {puppet['bones'][0]} -0.5 0 answers handed in.",
        "twice handed in.",
        "Hand in one answer at a time.",
    ]
    assert [cell.get("error") for cell in found.cells] == [None, None, "ValueError", *[None] * 5]
    assert found.records == {
        "twice": [{"out": 1.25}, {"out": 777.125}, {"out": -0.5}],
        "seven": [{"out": 7.0}],
    }


@in_a_jail
@pytest.mark.parametrize(
    ("cell", "twice", "seven"),
    [
        ("", {"end": "blank"}, {"end": "blank"}),
        ("def twice(x):\n    ...\nseven = ...", {"end": "blank"}, {"end": "blank"}),
        ("def twice(x):\n    y = x\nseven = None", {"end": "nothing"}, {"end": "nothing"}),
        (
            "twice = 3\nseven = 'seven'",
            {"end": "unreadable", "what": "not a function but a int"},
            {"out": "seven"},
        ),
        (
            "def twice(x):\n    return 1 / 0\nseven = len",
            {"end": "raised", "type": "ZeroDivisionError", "message": "", "line": 2},
            {"end": "unreadable", "what": "a builtin_function_or_method"},
        ),
    ],
)
def test_answers_that_are_none(cell, twice, seven):
    found = run(cell)
    assert found.records == {"twice": [twice] * 3, "seven": [seven]}


@in_a_jail
def test_a_global_counts_before_what_was_handed_in_unless_it_is_blank():
    first = (
        "from rigkit.homework import open_homework\nhw = open_homework('06',"
        " 'Pip')\nhw.check(seven=1)\n"
    )
    assert run(first + "seven = 7").records["seven"] == [{"out": 7.0}]
    assert run(first + "seven = ...").records["seven"] == [{"out": 1.0}]
    assert run(first + "hw.check(seven=2)").records["seven"] == [{"out": 2.0}]


@in_a_jail
def test_an_error_ends_its_cell_only():
    found = run(
        "x = 1\n1 / 0",
        "def broken(:",
        ANSWERS,
        "raise KeyError(x)",
        "def f():\n    return g()\n\nf()",
        "import scipy",
    )
    assert found.cells == (
        {"error": "ZeroDivisionError", "line": 2},
        {"error": "SyntaxError", "line": 1},
        {"ok": True},
        {"error": "KeyError", "line": 1},
        {"error": "NameError", "line": 2, "name": "g"},
        {"ok": True, "skipped": [{"line": 1, "name": "scipy"}]},
    )
    assert (found.end, found.records) == ("finished", RIGHT)


@in_a_jail
def test_what_cells_print_is_kept_up_to_a_length():
    found = run("print('one')", "import sys\nprint('two\\x1b[1m\\u202e', file=sys.stderr)", ANSWERS)
    assert sorted(found.printed.splitlines()) == [
        "one",
        "two\N{REPLACEMENT CHARACTER}[1m\N{REPLACEMENT CHARACTER}",
    ]
    found = run("print('x' * 10**6)", ANSWERS)
    assert (len(found.printed), found.cut, found.records) == (protocol.KEPT, True, RIGHT)
    assert found.bytes_out > 10**6


@in_a_jail
def test_a_notebooks_own_lines():
    found = run(
        "%matplotlib inline\nseven = 7\nseven?",
        "%%time\ndef twice(x):\n    return 2 * x",
        "if True:\n    !ls\n    through = 1",
        "%%bash\nls",
        "text = '''\n%kept\n'''\nassert '%kept' in text",
    )
    assert found.cells == (
        {"ok": True},
        {"ok": True},
        {"ok": True, "skipped": [{"line": 2}]},
        {"ok": True, "skipped": [{"line": 1}]},
        {"ok": True},
    )
    assert found.records == RIGHT


@in_a_jail
@pytest.mark.parametrize("kind", ["bwrap", "unjailed"])
def test_a_plot_can_be_saved(kind):
    found = run(
        "import matplotlib.pyplot as plt\nplt.plot([1, 2])\nplt.savefig('plot.png')\nplt.show()\n"
        "import os\nseven = os.path.getsize('plot.png') > 1000 and 7",
        kind=kind,
    )
    assert found.cells == ({"ok": True},), found.printed
    assert found.records["seven"] == [{"out": 7.0}]


@in_a_jail
def test_several_at_once_and_from_a_copy():
    ours = pickle.loads(pickle.dumps(opened()))
    with ThreadPoolExecutor(4) as pool:
        found = list(pool.map(lambda n: ours.run(request(ANSWERS, f"print({n})")), range(12)))
    assert [(f.records, f.printed) for f in found] == [(RIGHT, f"{n}\n") for n in range(12)]


@in_a_jail
@pytest.mark.parametrize("kind", jail.KINDS)
def test_nothing_stays_open(kind):
    if not Path("/proc/self/fd").is_dir():
        pytest.skip("no /proc to count in")
    ours = opened(kind)
    for cell in (ANSWERS, "import os\nos._exit(0)"):
        before = len(os.listdir("/proc/self/fd"))
        for _ in range(3):
            ours.run(request(cell))
        assert len(os.listdir("/proc/self/fd")) == before


@in_a_jail
@pytest.mark.parametrize(
    "kind", ["bwrap", "landlock"]
)  # without a jail nothing but its limits ends a process
def test_a_marker_that_is_killed_leaves_nothing_behind(kind):
    opened(kind)
    limit = 7000 + 10 * os.getpid() % 1000  # seconds; tells this run's process from others
    code = (
        "from rigkit.marking.jail import *\n"
        f"open_jail({kind!r}).run(Request(('print(1)\\nwhile True: pass',), (), {{}}), {limit})"
    )
    marker = subprocess.Popen([sys.executable, "-c", code], cwd=ROOT)
    try:
        assert until(lambda: running("python", f'"CPU": [{limit}, '))
    finally:
        marker.kill()
        marker.wait()
    assert until(lambda: not running("", f'"CPU": [{limit}, '))


def until(true, seconds=20.0):
    end = time.monotonic() + seconds
    while not (got := true()) and time.monotonic() < end:
        time.sleep(0.05)
    return got


def running(program, words):
    """The processes of a program, by its name's beginning, that have `words` in their command and
    have not ended."""
    found = []
    for folder in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):
            command = (folder / "cmdline").read_bytes().decode(errors="replace")
            if words in command and Path(command.split("\0")[0]).name.startswith(program):
                found.append(int(folder.name))
    return found


# Where there is none


@in_a_jail
@pytest.mark.parametrize("kind", jail.KINDS)
def test_the_self_test_passes(kind):
    opened(kind).self_test()


@in_a_jail
def test_the_self_test_finds_a_leak():
    allow_all = struct.pack("<HBBI", 0x06, 0, 0, 0x7FFF0000)
    with pytest.raises(JailError, match="does not hold: code inside could start a process, "):
        dataclasses.replace(opened(), filter=allow_all).self_test()


@in_a_jail
def test_the_self_test_finds_each_leak(monkeypatch):
    class Leaky(jail.Jail):
        def run(self, request, seconds=20.0):
            return opened("unjailed").run(request, seconds)

    monkeypatch.setattr(jail, "LIMITS", {})
    with pytest.raises(JailError) as reason:
        Leaky(
            **{field.name: getattr(opened(), field.name) for field in dataclasses.fields(jail.Jail)}
        ).self_test()
    found = {what for what in probes.PROBES if what in str(reason.value)}
    assert found >= set(probes.PROBES) - {
        "write to the root folder"
    }  # which the user may not do anyway


FCNTL, IOCTL = "fcntl", "ioctl"
LINES = {  # of the filter, by the probe that must find each missing
    "ask for a lease": (FCNTL, 1024),
    "watch a folder": (FCNTL, 1026),
    "say whom a file sends signals": (FCNTL, 8),
    "say which thread a file sends signals": (FCNTL, 15),
    "choose the signal that a file sends": (FCNTL, 10),
    "have a device send signals": (IOCTL, 0x5452),
    "say whom a device sends signals": (IOCTL, 0x8901),
    "say whom a socket sends signals": (IOCTL, 0x8902),
    "have a file send signals": None,
    "lock a file that others read": None,
}


def test_each_line_of_the_filter_for_a_value_has_its_probe():
    lines = {(call, value) for call, (_, of) in seccomp.REFUSED_VALUES.items() for value in of}
    assert {line for line in LINES.values() if line} == lines


@in_a_jail
@pytest.mark.parametrize("kind", ["bwrap", "landlock"])
@pytest.mark.parametrize("probe", LINES)
def test_the_self_test_finds_a_line_of_the_filter_missing(probe, kind, monkeypatch):
    if line := LINES[probe]:
        call, value = line
        numbers, values = seccomp.REFUSED_VALUES[call]
        fewer = (numbers, tuple(one for one in values if one != value))
        monkeypatch.setitem(seccomp.REFUSED_VALUES, call, fewer)
    elif "lock" in probe:
        monkeypatch.delitem(seccomp.REFUSED, "flock")
    else:
        monkeypatch.setattr(seccomp, "O_ASYNC", 0)
    leaky = dataclasses.replace(opened(kind), filter=jail._filter(kind))
    with pytest.raises(JailError, match=f"does not hold: code inside could {probe}[.]"):
        leaky.self_test()


@in_a_jail
@pytest.mark.parametrize(
    ("says", "advice"),
    [
        ("bwrap: No permissions to create new namespace, likely because", "an administrator can"),
        (
            (
                "bwrap: Creating new namespace failed: nesting depth or"
                " /proc/sys/user/max_*_namespaces exceeded (ENOSPC)"
            ),
            "max_user_namespaces",
        ),
        ("bwrap: setting up uid map: Permission denied", "AppArmor"),
        ("bwrap: loopback: Failed RTM_NEWADDR: Operation not permitted", "AppArmor"),
        ("bwrap: Creating new namespace failed: Resource temporarily unavailable", "ulimit -u"),
        ("bwrap: Can't find source path /x: Permission denied", "closed to the user"),
        ("something new", "something new"),
        ("", "it gives no reason"),
    ],
)
def test_a_jail_that_does_not_start(says, advice, tmp_path):
    tmp_path.chmod(0o755)
    ours = dataclasses.replace(
        opened(), bwrap=("/bin/sh", "-c", f"echo {json.dumps(says)} >&2; exit 1")
    )
    found = ours.run(request(ANSWERS))
    assert (found.end, found.records, found.cells) == ("jail did not start", {}, ())
    assert advice in found.about["why"]
    with pytest.raises(JailError, match=re.escape(advice)):
        ours.self_test()


@in_a_jail
@pytest.mark.parametrize(
    ("name", "value"),
    [("_count", lambda folder: 0), ("FOLDERS", ("tmp", "dev/none"))],
    ids=["without numbers", "without a folder"],
)
def test_a_jail_whose_files_cannot_be_counted_is_none(name, value, monkeypatch):
    ours = opened()
    monkeypatch.setattr(jail, name, value)
    assert ours.run(request(ANSWERS)).end == "jail did not start"
    with pytest.raises(JailError, match="what is made in the jail cannot be counted here"):
        ours.self_test()


@in_a_jail
def test_a_jail_that_does_not_start_is_tried_again():
    with tempfile.TemporaryDirectory() as folder:
        os.chmod(folder, 0o777)
        once = f"test -e {folder}/once || {{ touch {folder}/once; exit 1; }}"
        words = ("/bin/sh", "-c", f'{once}; exec bwrap "$@"', "sh", *opened().bwrap[1:])
        ours = dataclasses.replace(opened(), bwrap=words)
        assert ours.run(request(ANSWERS)).records == RIGHT


@in_a_jail
@pytest.mark.parametrize("kind", ["bwrap", "landlock"])
def test_the_time_limit_is_not_believed_without_the_time(kind):
    end = "os._exit(152)" if kind == "bwrap" else "signal.raise_signal(signal.SIGXCPU)"
    found = run(ANSWERS, f"import os, signal\n{end}", kind=kind)
    assert found.end != "time limit"


def test_no_bwrap(monkeypatch, tmp_path):
    if not sys.platform.startswith("linux"):
        pytest.skip("Linux only")
    monkeypatch.setenv("PATH", str(tmp_path))
    with pytest.raises(JailError, match="install `bubblewrap`"):
        jail.open_jail()
    (tmp_path / "bwrap").write_text("#!/bin/sh\necho --json-status-fd")
    (tmp_path / "bwrap").chmod(0o755)
    with pytest.raises(JailError, match="too old"):
        jail.open_jail()


def test_a_kind_that_is_none():
    with pytest.raises(
        ValueError, match="`kind` must be one of bwrap, landlock, unjailed; got 'box'"
    ):
        jail.open_jail("box")


@pytest.mark.parametrize("user", ["nobody-of-that-name", "root"])
def test_whom_to_run_as(user):
    with pytest.raises(JailError, match="root"):
        jail.open_jail(user=user)


@pytest.mark.parametrize(("platform", "kind"), [("darwin", "bwrap"), ("darwin", "landlock")])
def test_other_systems(platform, kind, monkeypatch):
    monkeypatch.setattr(sys, "platform", platform)
    with pytest.raises(JailError, match="Linux"):
        jail.open_jail(kind)


@in_a_jail
def test_what_is_recorded():
    about = opened().about
    assert about["kind"] == "bwrap"
    assert "bubblewrap" in about["bwrap"]
    assert set(about["digests"]) == {"driver", "filter", "arguments"}
    assert all(len(digest) == 64 for digest in about["digests"].values())
    assert opened("unjailed").about["protects"].startswith("NOTHING")
    assert json.loads(json.dumps(about)) == about


# The package layers


def test_the_kit_is_the_maths_what_inspects_rig_files_and_what_scenes_need():
    assert set(MATHS) <= set(site.KIT)
    beside = {"inspection", "faults", "page", "stage", "plots", "asking", "scenes", "__init__"}
    assert set(site.KIT) == set(MATHS) | beside


@in_a_jail
def test_no_judge_is_in_a_package_layer():
    places = [
        path.relative_to(opened().site.kit).as_posix() for path in opened().site.kit.rglob("*.py")
    ]
    homework = [place for place in places if place.startswith("rigkit/homework/")]
    assert sorted(homework) == [
        f"rigkit/homework/{name}.py" for name in ("__init__", "calling", "rig_file")
    ]
    assert not [
        place for place in places if "marking" in place or "course" in place or "questions" in place
    ]


@in_a_jail
def test_a_package_layer_is_made_once_and_whole(tmp_path):
    python = site.interpreter(opened().user)
    with ThreadPoolExecutor(4) as pool:
        kits = set(pool.map(lambda _: site.Site(python, tmp_path / "layers").kit, range(8)))
    assert len(kits) == 1
    assert [path.name for path in (tmp_path / "layers").iterdir()] == [kits.pop().name]


@in_a_jail
def test_package_layers_that_no_run_opened_for_long_go_when_a_new_one_comes_and_nothing_else_does(
    tmp_path,
):
    python, folder, long_ago = (
        site.interpreter(opened().user),
        tmp_path / "layers",
        time.time() - site.UNUSED - 3600,
    )
    old = [
        f"kit-{'0' * 16}",
        f"numpy-1.26.4-{'a' * 16}",
        f"matplotlib-3.8.0-{'b' * 16}",
        "kit-part-x_7",
        "numpy-2.0.0-part-ab12",
    ]
    young, others = (
        f"kit-{'1' * 16}",
        ["kit", "numpy-2", "my kit-0000000000000000", f"letters-{'0' * 16}"],
    )
    for name in (*old, young, *others):
        (folder / name).mkdir(parents=True)
        (folder / name / "module.py").write_text("kept = True")
    mine = tmp_path / "mine"
    mine.mkdir()
    (folder / f"kit-{'2' * 16}").symlink_to(mine)
    for path in folder.iterdir():
        if path.name != young:
            os.utime(path, (long_ago, long_ago), follow_symlinks=False)
    made = site.Site(python, folder).kit
    assert {path.name for path in folder.iterdir()} == {
        made.name,
        young,
        *others,
        f"kit-{'2' * 16}",
    }
    assert mine.is_dir()
    os.utime(made, (long_ago, long_ago))
    site.Site(python, folder).kit  # noqa: B018 (to be opened is to be used)
    assert time.time() - made.stat().st_mtime < 3600


@in_a_jail
def test_a_folder_that_others_can_write_to_is_refused(tmp_path):
    tmp_path.chmod(0o777)
    with pytest.raises(JailError, match="writable by nobody else"):
        jail.open_jail(scratch=tmp_path)


# Words


@settings(max_examples=150, deadline=None)
@given(
    st.one_of(
        st.binary(max_size=200),
        st.text(max_size=100).map(lambda t: json.dumps(t).encode()),
        st.recursive(
            st.one_of(st.none(), st.booleans(), st.floats(), st.text(max_size=5), st.integers()),
            lambda inner: st.one_of(
                st.lists(inner, max_size=4), st.dictionaries(st.text(max_size=5), inner, max_size=4)
            ),
            max_leaves=20,
        ).map(lambda value: json.dumps({"out": value}).encode()),
    )
)
def test_what_comes_back_is_clean_or_refused(line):
    record = protocol._record(line, 3.0)
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    json.dumps(record, ensure_ascii=False).encode("utf-8")  # no surrogate is left
    assert record.keys() & {"out", "end"}
    assert protocol._cell(line).keys() & {"ok", "error"}


@settings(max_examples=300, deadline=None)
@given(st.data())
def test_a_mutated_answer_is_an_answer_or_refused(data):
    line = bytearray(
        json.dumps(
            {"out": [1.5, -2e300, "front", True, {"a": [0.25, None]}], "printed": 3}
        ).encode()
    )
    for _ in range(data.draw(st.integers(1, 4))):
        line[data.draw(st.integers(0, len(line) - 1))] = data.draw(st.integers(0, 255))
    record = protocol._record(bytes(line), 3.0)
    assert json.loads(json.dumps(record, allow_nan=False)) == record


def test_shapes_of_records():
    def shape(data):
        return protocol._record(json.dumps(data).encode(), 3.0)

    for record in (
        {"out": [1.0, None, "a", {"b": True}]},
        {"end": "blank"},
        {"end": "nothing", "printed": 2},
        {"end": "unreadable", "what": "a set"},
        {"end": "stopped", "seconds": 3.0},
        {"end": "raised", "type": "KeyError", "message": "", "line": None},
    ):
        assert shape(record) == record
    assert shape({"end": "stopped", "seconds": 1e-9}) == {"end": "stopped", "seconds": 3.0}
    assert shape({"end": "raised", "type": "A B", "message": "secret", "line": 1.5}) == {
        "end": "raised",
        "type": "Exception",
        "message": "",
        "line": None,
    }
    for other in (
        [],
        1,
        "out",
        None,
        {},
        {"end": "right"},
        {"end": ["blank"]},
        {"end": "unreadable", "what": 3},
    ):
        assert shape(other) == {"end": "unreadable", "what": "not an answer"}


# The filter


def verdict(program, machine, number, first=0, second=0, third=0):
    """The kernel's answer to a call.

    It runs the filter on the bytes of a `struct seccomp_data`.
    """
    data = struct.pack("<iIQ6Q", number, machine, 0, first, second, third, 0, 0, 0)
    steps, place, held = list(struct.iter_unpack("<HBBI", program)), 0, 0
    while True:
        code, yes, no, value = steps[place]
        place += 1
        if code == 0x20:
            held = struct.unpack_from("<I", data, value)[0]
        elif code == 0x06:
            return {
                0x7FFF0000: "allow",
                0x80000000: "kill",
                0x00050001: "refuse",
                0x00050026: "missing",
            }[value]
        else:
            true = {0x15: held == value, 0x35: held >= value, 0x45: bool(held & value)}[code]
            place += yes if true else no


@pytest.mark.parametrize(
    ("name", "arch", "read", "clone"),
    [("x86_64", 0xC000003E, 0, 56), ("aarch64", 0xC00000B7, 63, 220)],
)
def test_the_filter(name, arch, read, clone):
    column = list(seccomp.MACHINES).index(name)
    program = seccomp.program(machine=name)
    landlocked = seccomp.program(seccomp.REFUSED_WITHOUT_NAMESPACES, name)
    assert verdict(program, arch, read) == "allow"
    assert verdict(program, arch, clone, 0x00010000 | 0x100) == "allow"
    assert verdict(program, arch, clone, 17) == "refuse"
    assert verdict(program, arch, clone, 0x10000000) == "refuse"
    assert verdict(program, arch, 435) == "missing"
    assert verdict(program, 0x40000003, read) == "kill"
    for numbers, of, without in (
        (seccomp.REFUSED, program, "refuse"),
        (seccomp.REFUSED_WITHOUT_NAMESPACES, landlocked, "allow"),
    ):
        for number in (pair[column] for pair in numbers.values() if pair[column] is not None):
            assert verdict(of, arch, number) == "refuse"
            assert verdict(program, arch, number) == without
    fcntl, ioctl = (72, 16) if name == "x86_64" else (25, 29)
    for second in (8, 10, 15, 1024, 1026):
        assert verdict(program, arch, fcntl, 3, second) == "refuse"
    for second in (0x5452, 0x8901, 0x8902):
        assert verdict(program, arch, ioctl, 3, second) == "refuse"
    assert verdict(program, arch, fcntl, 3, 4, 0x2000 | 0x800) == "refuse"
    for allowed in ((fcntl, 3, 4, 0x800), (fcntl, 3, 3), (fcntl, 3, 0, 0x2000), (ioctl, 1, 0x5401)):
        assert verdict(program, arch, *allowed) == "allow"
    if name == "x86_64":
        assert verdict(program, arch, 0x40000000) == "kill"
    assert len(program) // 8 < 4096  # the kernel's own limit


def test_no_filter_for_other_machines():
    with pytest.raises(ValueError, match="`machine` must be one of x86_64, aarch64; got 'abacus'"):
        seccomp.program(machine="abacus")


HEADERS = {
    "x86_64": "/usr/include/x86_64-linux-gnu/asm/unistd_64.h",
    "aarch64": "/usr/include/asm-generic/unistd.h",
}


@pytest.mark.parametrize("machine", HEADERS)
def test_the_numbers_are_the_kernels_own(machine):
    """Source: the headers of the Linux that is installed here; calls newer than they are left
    out."""
    header = Path(HEADERS[machine])
    if not header.exists():
        pytest.skip("no kernel headers here")
    known = {
        name: int(number)
        for name, number in re.findall(
            r"#define __NR(?:3264)?_(\w+)\s+(\d+)", header.read_text(encoding="utf-8")
        )
    }
    table = seccomp.REFUSED | seccomp.REFUSED_WITHOUT_NAMESPACES
    column = list(seccomp.MACHINES).index(machine)
    assert {name: pair[column] for name, pair in table.items() if name in known} == {
        name: known[name] for name in table if name in known
    }
    assert len(set(table) & set(known)) > 60
