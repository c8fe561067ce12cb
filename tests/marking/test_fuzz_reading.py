"""Notebooks, zips and class lists mutated at random: each ends in what it should be or in a
sentence, nothing else."""

import json
import random
import subprocess
import sys

import pytest

from rigkit.marking import likeness, roster
from rigkit.marking.assign import assign
from rigkit.marking.collect import collect
from rigkit.marking.notebook_file import Notebook, read_notebook
from rigkit.marking.submission import UnreadableError, digest_of
from tests.marking.test_collect import OPENS, book, posix, zipped

resource = pytest.importorskip("resource", reason="memory is measured on Linux and macOS")
pytestmark = posix
UNIT = (
    2**10 if sys.platform == "linux" else 2**20
)  # of a process's memory as the system gives it, in MiB
# What getrusage says on Linux begins with what the parent held when it started the child; the
# status begins anew.
MOST_HELD = (
    "print([line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')][0])"
    if sys.platform == "linux"
    else "import resource\nprint(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)"
)
NOTEBOOKS, ZIPS, LISTS = 12_000, 1_000, 1_000

BOOK = {
    "nbformat": 4,
    "nbformat_minor": 5,
    "metadata": {"kernelspec": {"name": "python3"}},
    "cells": [
        {"cell_type": "markdown", "source": ["# six\n", "Straße"], "metadata": {}},
        {
            "cell_type": "code",
            "source": [OPENS + "\n", "hw"],
            "outputs": [{"data": {"text/plain": "3.1e5"}}],
        },
        {
            "cell_type": "code",
            "source": (
                "%time\ndef freedom(upper, lower):\n    return [upper, {'a': -1.5}]\nx = (3, [3])"
            ),
        },
        {"cell_type": "code", "source": "hw.check(freedom)"},
    ],
}
NOTEBOOK = json.dumps(BOOK, ensure_ascii=False).encode()
CLASS = zipped(
    ("Class/Tamsin (p1)/06-preset-bend.ipynb", NOTEBOOK),
    ("Class/Odo/x.txt", b"x"),
    ("Class/", b""),
    ("Class/Pip.zip", zipped(("06.ipynb", book(OPENS)), ("deep.zip", zipped()))),
    ("__MACOSX/._x", b""),
)
LIST = (
    'id,name,email,group,also\np1,"Bollard, Tamsin",t@parade.example,quay,Tam;T.B.\np2,Sören'
    " Ebb,,,\n"
)
LISTS_OF = [LIST.encode(encoding) for encoding in ("utf-8", "utf-8-sig", "utf-16", "cp1252")]

TOKENS = [
    *(bytes([byte]) for byte in b"\"'{}[]:,\\\0\n\xff#4;\t\r\x1a%!/("),
    b"\\u",
    b"\\ud800",
    b"\xef\xbb\xbf",
    b"null",
    b"true",
    b"NaN",
    b"-Infinity",
    b"1e999",
    b"9" * 5000,
    b"-0",
    b'"cells"',
    b'"source"',
    b'"nbformat"',
    b'"cell_type"',
    b'"code"',
    b"open_homework(",
    b"'06'",
    b"student=",
    b"'''",
    b"(" * 300,
    b"[" * 3000,
    b'{"a":' * 3000,
    b"PK\1\2",
    b"PK\3\4",
    b"PK\5\6",
    b"\xff" * 4,
    b"\0" * 4,
    b"..",
    b"id",
    b"name",
    b'""',
]
VALUES = [
    None,
    True,
    -1,
    4,
    3,
    5,
    10**40,
    1.5,
    "",
    "code",
    "x = '\ud800'",
    "\0",
    [],
    {},
    [[]],
    ["a", 1],
    {"a": {}},
    "e" * 2**20,
]


def mutated(data, rng):
    """The data with one to six wounds: a bit flipped, an end or a piece lost, doubled or moved, a
    token put in."""
    data = bytearray(data)
    for _ in range(rng.choice((1, 1, 1, 2, 3, 6))):
        at, to = rng.randrange(len(data) + 1), rng.randrange(len(data) + 1)
        here, there = slice(at, at + rng.randrange(1, 40)), slice(to, to + rng.randrange(1, 40))
        match rng.randrange(8):
            case 0 if at < len(data):
                data[at] ^= 1 << rng.randrange(8)
            case 1 if at < len(data):
                data[at] = rng.randrange(256)
            case 2 if rng.random() < 0.3:
                del data[at:]
            case 3:
                del data[here]
            case 4:
                data[at:at] = data[there]
            case 5:
                data[here] = data[there]
            case 6:
                data[at:at] = rng.choice(TOKENS)
            case _:
                data[here] = rng.choice(TOKENS)
    return bytes(data)


def reshaped(value, rng):
    """JSON data with one part replaced, lost or doubled, or, where it is text, mutated."""
    if isinstance(value, (list, dict)) and value and rng.random() < 0.9:
        changed = value.copy()
        keys = list(changed) if isinstance(value, dict) else range(len(value))
        key = rng.choice(keys)
        if rng.random() < 0.1:
            del changed[key]
        elif rng.random() < 0.1 and isinstance(value, list):
            changed.insert(key, changed[key])
        else:
            changed[key] = reshaped(changed[key], rng)
        return changed
    if isinstance(value, str) and value and rng.random() < 0.8:
        return mutated(value.encode("utf-8", "replace"), rng).decode("latin-1")
    return rng.choice(VALUES)


def reshaped_books(count, seed):
    rng = random.Random(seed)
    for _ in range(count):
        bent = BOOK | {"cells": reshaped(reshaped(BOOK["cells"], rng), rng)}
        yield json.dumps(bent if rng.random() < 0.8 else reshaped(bent, rng)).encode()


def mutants(count, seed, *originals):
    rng = random.Random(seed)
    for number in range(count):
        yield mutated(originals[number % len(originals)], rng)


def sentence(why):
    """Nothing, when an error's text is a sentence."""
    assert str(why).endswith(".")
    assert len(str(why)) < 500


def read(data):
    """The content of a notebook's bytes, once it is sure to be one of the two things it may be."""
    try:
        notebook = read_notebook(data)
    except UnreadableError as why:
        return sentence(why)
    assert isinstance(notebook, Notebook)
    for cell in notebook.cells:
        cell.encode()  # whole characters only
    (notebook.claimed or "").encode()
    assert notebook.lesson is None or (len(notebook.lesson) == 2 and notebook.lesson.isdecimal())
    return notebook


def test_mutated_notebooks_are_read_or_refused():
    torn = [read(data) for data in mutants(NOTEBOOKS // 2, 1, NOTEBOOK)]
    bent = [read(data) for data in reshaped_books(NOTEBOOKS // 2, 1)]
    for books in (torn, bent):
        assert (
            len(books) * 0.05 < sum(map(bool, books)) < len(books) * 0.95
        )  # neither all deadly nor all harmless
    whole = [book for book in (*torn, *bent) if book]
    assert len({book.cells for book in whole}) > NOTEBOOKS / 10
    assert {book.lesson for book in whole} >= {None, "06"}
    likeness.groups((str(number), book.cells) for number, book in enumerate(whole[:1_000]))


def test_mutated_zips_are_read_or_refused(tmp_path):
    path, ends = tmp_path / "class.zip", {"files": 0, "problems": 0, "refused": 0}
    for data in mutants(ZIPS, 2, CLASS):
        path.unlink(missing_ok=True)  # to write a new file is quicker than to write over one
        path.write_bytes(data)
        try:
            collected = collect(path)
        except ValueError as why:
            sentence(why)
            ends["refused"] += 1
            continue
        for file in collected.files:
            assert digest_of(file.data) == file.digest
        ends["files"] += len(collected.files)
        ends["problems"] += len(collected.problems)
        placed = assign(collected.files, None, collected.problems)
        assert sum(map(len, (placed.of, placed.extra, placed.unplaced, placed.ambiguous))) == len(
            collected.files
        )
    assert min(ends.values()) > ZIPS / 10
    assert [child.name for child in tmp_path.iterdir()] == ["class.zip"]


def test_mutated_lists_are_read_or_refused(tmp_path):
    path, ends = tmp_path / "roster.csv", {"read": 0, "refused": 0}
    for data in mutants(LISTS, 3, *LISTS_OF):
        path.unlink(missing_ok=True)  # to write a new file is quicker than to write over one
        path.write_bytes(data)
        try:
            learners = roster.read(path)
        except ValueError as why:
            sentence(why)
            ends["refused"] += 1
            continue
        ends["read"] += 1
        assert len(learners) == len({learner.id for learner in learners}) > 0
        for learner in learners:
            assert learner.id
            assert "".join(
                (learner.id, learner.name, learner.email, learner.group, *learner.also)
            ).isprintable()
    assert min(ends.values()) > LISTS / 10


@pytest.mark.parametrize(
    "part", ['{"":0},', "[],", "[[]],", '{"":{}},', "0.5,", '"ab",', '"\\ud800",', "[", '{"":']
)
def test_the_largest_file_takes_little_memory(part):
    """In a Python of its own, whose most memory is known: less than 400 MiB, numbers and all."""
    code = (
        "from rigkit.marking.notebook_file import MOST_BYTES, UnreadableError, read_notebook\n"
        f'part = {part.encode()!r}\nbegin = b\'{{"nbformat": 4, "cells": [], "x": [\'\n'
        "data = begin + part * ((MOST_BYTES - 200) // len(part)) + b'0]}'\n"
        "try: read_notebook(data)\nexcept UnreadableError: pass\n"
        f"{MOST_HELD}"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout
    assert int(said) / UNIT < 400


def test_reading_leaves_nothing_behind():
    """Files stay few and memory stays flat over some thousand refusals."""
    for data in mutants(500, 4, NOTEBOOK):
        read(data)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    for data in mutants(1_500, 5, NOTEBOOK):
        read(data)
    grown = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown / UNIT < 20
