"""Attacks that a submission could try.

Each ends in the right record for that submission, and leaves all else as it was.

The cells are in attacks.txt; here is what must come of them.
"""

import re
import socket
import subprocess
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import pytest

from rigkit.marking.site import run_as
from tests.marking.jails import ANSWERS, CASES, RIGHT, opened, run

TOOLS, *CELLS = re.split(
    r"^# %% .*\n",
    Path(__file__).with_name("attacks.txt").read_text(encoding="utf-8"),
    flags=re.MULTILINE,
)[1:]
_, *NAMES = re.findall(
    r"^# %% (.*)$",
    Path(__file__).with_name("attacks.txt").read_text(encoding="utf-8"),
    flags=re.MULTILINE,
)
FIRST_LINE = len(TOOLS.splitlines()) + 1  # of an attack in its cell


@dataclass(frozen=True)
class Comes:
    """The outcome of an attack in a cell that follows right answers.

    Attributes
    ----------
    end : str
    twice, seven : sequence of dict
        The records; by default the right ones.
    error : str or None
        What the cell must have run into, where the run finished.
    signal : int or None
    seconds : float
        Given to the run.
    """

    end: str = "finished"
    twice: Sequence = (*RIGHT["twice"],)
    seven: Sequence = (*RIGHT["seven"],)
    error: str | None = None
    signal: int | None = None
    seconds: float = 10.0


def unharmed(error=None, end="finished"):
    return Comes(end, error=error)


def over(end="stopped early", **more):
    """Nothing is answered."""
    return Comes(end, [], [], **more)


def answered(record, **more):
    """By the function, in each case."""
    return Comes(twice=[record] * len(CASES), **more)


def unreadable(what):
    return {"end": "unreadable", "what": what}


def raised(kind, line=None):
    return {"end": "raised", "type": kind, "message": "", "line": line and FIRST_LINE + line}


HUNG = {"end": "stopped", "seconds": 1.0}

COMES = {
    # it ends, or does not
    "leaves politely": unharmed("SystemExit"),
    "leaves at once": over(),
    "leaves with a wrong status": over(),
    "kills itself": over(signal=9),
    "aborts": over(signal=6),
    "touches memory that is not there": over(signal=11),
    "becomes another program": over(),
    "kills all that it can": unharmed("ProcessLookupError"),
    "closes all descriptors": over(),
    "waits for ever": over("time limit", seconds=2.0),
    "never ends": Comes(error="TimeLimitError", seconds=2.0),
    "never ends and ignores signals": over("time limit", seconds=2.0),
    "sleeps at the exit": unharmed(),
    "leaves a thread behind": unharmed(),
    "recurses": unharmed("RecursionError"),
    "recurses without limit": over(signal=11),
    # it breaks the Python that it runs in
    "replaces what prints": unharmed(),
    "prints to something hostile": unharmed(),
    "deletes the builtins": over(),
    "replaces what writes": answered(
        unreadable("not a finite number"),
        seven=[unreadable("not a finite number")],
        error="unreadable",
    ),
    "replaces what reads": Comes("stopped early", [unreadable("not an answer")], []),
    "replaces NumPy": answered(raised("AttributeError"), seven=[raised("AttributeError")]),
    "traces every line": unharmed(),
    "stops every line": unharmed("SystemExit"),
    "says it is right": answered(unreadable("not an answer"), seven=[unreadable("not an answer")]),
    # it takes too much
    "fills the memory and keeps it": unharmed("MemoryError", "memory"),
    "asks for all memory": unharmed("MemoryError", "memory"),
    "prints without end": over("output limit"),
    "complains without end": over("output limit"),
    "answers without end": over("output limit"),
    "answers short lines without end": over("output limit"),
    "starts processes": unharmed("PermissionError"),
    "starts a program": unharmed("PermissionError"),
    "starts threads": unharmed("RuntimeError"),
    "opens files": unharmed("OSError"),
    "writes one large file": unharmed("OSError"),
    "fills its folder": unharmed("OSError"),
    "fills the shared memory": unharmed("OSError"),
    "makes files without end": over("file limit"),
    "makes folders and links without end": over("file limit"),
    "makes files in the shared memory without end": over("file limit"),
    "makes as many files as one may": unharmed(),
    "maps more shared memory than there is": over(signal=7),
    "fills the root": unharmed(),
    "raises its limits": unharmed(),
    # it reaches out
    "reads the machine's files": unharmed(),
    "reads the course": unharmed(),
    "reads what surrounds it": unharmed(),
    "writes everywhere": unharmed(),
    "uses the network": unharmed(),
    "uses the kernel's side doors": unharmed(),
    "asks for a namespace of its own": unharmed(),
    "asks in the other numbering": over(signal=31),
    "meddles with its neighbours": unharmed(),
    "uses asyncio as it should": unharmed(),
    # it cheats
    "answers before it is asked": unharmed(),
    "reads ahead": unharmed(),
    "answers twice": answered({"out": 1.0}),
    "answers for its cell": unharmed(),
    "says goodbye early": over(),
    "looks for the other cases": answered({"out": 0.0}),
    "prints its inputs": Comes(
        twice=[
            {"out": 2.5, "printed": 17},
            {"out": 1554.25, "printed": 20},
            {"out": -1.0, "printed": 17},
        ]
    ),
    "tells its inputs by an error": answered(raised("Exception", line=1)),
    "has markup for an error": unharmed("Exception"),
    # it answers with something else
    "answers far too much": answered(unreadable("far more than was asked for")),
    "answers a long text": answered({"out": "x" * 300}),
    "answers a generator": answered(unreadable("a generator (use `return`, not `yield`)")),
    "answers itself for ever": answered(unreadable("far more than was asked for")),
    "answers not a number": answered({"out": [None, None, None]}),
    "answers a surrogate and a null": answered({"out": "\N{REPLACEMENT CHARACTER}" * 3 + "a"}),
    "answers an object that is hostile": answered(raised("SystemExit", line=3)),
    "answers a number that is hostile": answered(raised("TypeError")),
    "answers by an array that never comes": answered(HUNG),
    "answers never, catching all": answered(HUNG),
    "answers until it hangs": Comes(twice=[*RIGHT["twice"][:2], HUNG]),
    "answers until it hangs for good": Comes("time limit", RIGHT["twice"][:2], [], seconds=2.0),
    "answers raw: infinity": answered(unreadable("not a finite number")),
    "answers raw: NaN": answered(unreadable("not a finite number")),
    "answers raw: a long number": answered(unreadable("a number of more than 30 digits")),
    "answers raw: deep": answered(unreadable("nested too deeply")),
    "answers raw: less deep": answered(unreadable("far more than was asked for")),
    "answers raw: not text": answered(unreadable("not text")),
    "answers raw: nothing": answered(unreadable("not an answer")),
    "answers raw: a verdict": answered(unreadable("not an answer")),
    "answers raw: a strange count": answered({"out": 1.0}),
}

# What Landlock must stop as well, with the record that comes of it there.
BY_LANDLOCK = {
    name: COMES[name]
    for name in (
        "starts processes",
        "starts threads",
        "starts a program",
        "uses the network",
        "uses the kernel's side doors",
        "fills the root",
        "asks for a namespace of its own",
        "raises its limits",
        "meddles with its neighbours",
        "asks for all memory",
        "answers twice",
        "never ends",
        "prints without end",
        "leaves at once",
        "reads the course",
    )
} | {
    "becomes another program": unharmed("PermissionError"),
    "kills itself": unharmed("PermissionError"),
    "fills its folder": unharmed("PermissionError"),
    "makes files without end": unharmed("PermissionError"),
    "makes folders and links without end": unharmed("PermissionError"),
    "makes files in the shared memory without end": unharmed("PermissionError"),
    "writes everywhere": unharmed(),
}


@pytest.fixture(scope="module")
def outside(tmp_path_factory):
    """A folder that anybody may write to, with a file that anybody may change and a socket that
    anybody may send to."""
    folder = tmp_path_factory.mktemp("outside")
    (folder / "canary").write_text("sings")
    with socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as listener:
        listener.bind(str(folder / "socket"))
        for place in (
            folder,
            *folder.parents[:2],
            *folder.iterdir(),
        ):  # nothing but the jail shall stand in the way
            place.chmod(0o777)
        yield folder


@pytest.fixture(scope="module")
def neighbour():
    """A process of the user who runs learners' code."""
    with subprocess.Popen(["sleep", "600"], cwd="/", **run_as(opened().user)) as process:
        yield process
        process.kill()


def test_each_attack_is_tried():
    assert list(COMES) == NAMES


@pytest.mark.needs_jail
@pytest.mark.parametrize("name", COMES)
def test_what_comes_of(name, outside, neighbour):
    check(name, COMES[name], outside, neighbour, "bwrap")


@pytest.mark.needs_jail
@pytest.mark.parametrize("name", BY_LANDLOCK)
def test_what_comes_of_it_by_landlock(name, outside, neighbour):
    check(name, BY_LANDLOCK[name], outside, neighbour, "landlock")


@pytest.mark.needs_jail
@pytest.mark.parametrize(
    "name",
    [
        "reads the machine's files",
        "uses the network",
        "uses the kernel's side doors",
        "meddles with its neighbours",
    ],
)
def test_without_a_jail_it_would_get_through(name, outside, neighbour):
    found = run(ANSWERS, cell(name, outside, neighbour), kind="unjailed")
    assert "GOT THROUGH" in found.printed


def cell(name, outside, neighbour):
    own = CELLS[NAMES.index(name)]
    return TOOLS + own.replace("OUTSIDE", repr(str(outside))).replace(
        "NEIGHBOUR", str(neighbour.pid)
    )


def check(name, comes, outside, neighbour, kind):
    found = run(ANSWERS, cell(name, outside, neighbour), seconds=comes.seconds, kind=kind)
    assert "GOT THROUGH" not in found.printed
    assert (found.end, found.signal) == (comes.end, comes.signal), found.printed
    assert found.records == {
        name: list(records)
        for name, records in (("twice", comes.twice), ("seven", comes.seven))
        if records
    }
    if len(found.cells) == 2:
        assert found.cells[1].get("error") == comes.error, found.printed
    assert len(found.printed) <= 64 * 1024
    assert (outside / "canary").read_text() == "sings"
    assert sorted(path.name for path in outside.iterdir()) == ["canary", "socket"]
    assert neighbour.poll() is None
    after = run(ANSWERS, kind=kind)  # and whoever comes next is not touched
    assert (after.end, after.records) == ("finished", RIGHT)
