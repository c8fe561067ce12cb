"""Strangers' submissions, read as data.

They are folders, zips and notebooks of every kind of malice and accident.
"""

import io
import json
import os
import socket
import stat
import struct
import subprocess
import sys
import zipfile

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rigkit.homework import rig_file
from rigkit.marking import collect as collecting
from rigkit.marking.collect import collect
from rigkit.marking.notebook_file import read_notebook
from rigkit.marking.submission import MOST_BYTES, UnreadableError

posix = pytest.mark.skipif(os.open not in os.supports_dir_fd, reason="marking needs Linux")
pytestmark = posix
OPENS = 'hw = open_homework("06", student="Tamsin Bollard")'


def book(*sources, **more):
    """The bytes of a notebook with one code cell for each source."""
    cells = [
        {"cell_type": "code", "source": source, "metadata": {}, "outputs": []} for source in sources
    ]
    return json.dumps(
        {"nbformat": 4, "nbformat_minor": 5, "metadata": {}, "cells": cells, **more}
    ).encode()


def zipped(*entries, method=zipfile.ZIP_DEFLATED):
    """The bytes of a zip: each entry a (name or ZipInfo, bytes)."""
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w", method) as archive:
        for name, data in entries:
            archive.writestr(name, data)
    return whole.getvalue()


def named(name, mode=0, **about):
    """An entry under exactly this name, with the mode of a file of some kind."""
    entry = zipfile.ZipInfo("x")
    entry.filename = name
    entry.external_attr = mode << 16
    for what, value in about.items():
        setattr(entry, what, value)
    return entry


@pytest.fixture
def handed_in(tmp_path):
    """Collects the files of a folder, or of a zip, given as names to bytes."""

    def collected(files, **options):
        if isinstance(files, bytes):
            path = tmp_path / "class.zip"
            path.write_bytes(files)
            return collect(path, **options)
        for name, data in files.items():
            path = tmp_path / "class" / name
            path.parent.mkdir(parents=True, exist_ok=True)
            path.write_bytes(data)
        return collect(tmp_path / "class", **options)

    return collected


def places(collected):
    return [file.place for file in collected.files]


def why(collected):
    return {problem.place: problem.why for problem in collected.problems}


# --- notebooks


def test_code_cells_are_taken_out_and_all_else_is_left():
    data = json.dumps(
        {
            "nbformat": 4,
            "nbformat_minor": 5,
            "metadata": {"kernelspec": {"name": "rm -rf"}},
            "cells": [
                {"cell_type": "markdown", "source": "# six"},
                {
                    "cell_type": "code",
                    "source": ["a = 1\n", "b = 2"],
                    "outputs": [{"anything": "at all"}],
                    "metadata": 7,
                },
                {"cell_type": "raw", "source": 3},
                {"cell_type": "code", "source": OPENS},
            ],
        }
    ).encode()
    read = read_notebook(data)
    assert read.cells == ("a = 1\nb = 2", OPENS)
    assert (read.lesson, read.claimed) == ("06", "Tamsin Bollard")


@pytest.mark.parametrize(
    ("source", "lesson", "claimed"),
    [
        ('open_homework("06", "Pip")', "06", "Pip"),
        ("open_homework(student=' Odo ', lesson=6)", "06", "Odo"),
        ("import rigkit\nrigkit.homework.open_homework('7', student='Pip')", "07", "Pip"),
        ("%matplotlib inline\n!pip list\nhw = open_homework('06', student='Pip')", "06", "Pip"),
        ("if True:\n    hw = open_homework('06', student='Pip')", "06", "Pip"),
        ("open_homework('05', student='Pip')\nopen_homework('06', student='Odo')", "06", "Odo"),
        ("open_homework('06', student=name)", "06", None),
        ("open_homework('06', student='')", "06", None),
        ("open_homework('06', student='x' * 9)", "06", None),
        ("open_homework('06', student='" + "x" * 201 + "')", "06", None),
        ("open_homework('06', student='\\ud800')", "06", None),
        ("open_homework('06', **{'student': 'Pip'})", "06", None),
        ("open_homework('../6', student='Pip')", None, None),
        ("open_homework('٠٦', student='Pip')", None, None),
        ("open_homework(True, student='Pip')", None, None),
        ("open_homework(10**99, student='Pip')", None, None),
        ("open_homework(600, student='Pip')", None, None),
        ("open_homework()", None, None),
        ("open_homework('06', student='Pip'", None, None),
        ("# open_homework('06', student='Pip')", None, None),
        ("text = \"open_homework('06', student='Pip')\"", None, None),
        ("open_homework('06', student='Pip')\0", None, None),
        ("open_homework = 6", None, None),
        ("open_homework('06', student='Pip')\n" + "(" * 5000, None, None),
        ("open_homework('06', student='Pip')\n" + "-" * 5000 + "1", None, None),
        ("open_homework('06', student='Pip')\n" + "a" + ".a" * 9000, None, None),
        ("open_homework('06', student='Pip')\n" + "#" * 2**16, None, None),
    ],
)
def test_lesson_and_name_are_read_from_literals_only(source, lesson, claimed):
    read = read_notebook(book(source))
    assert (read.lesson, read.claimed if lesson else None) == (lesson, claimed)


def test_no_warning_is_said_about_strangers_code(recwarn):
    assert read_notebook(book(OPENS + "\nx = '\\d'\n1 is 1")).lesson == "06"
    assert len(recwarn) == 0


def test_half_a_character_becomes_a_mark_and_whole_ones_stay():
    assert read_notebook(book("x = '\ud800y'", "z = '😀'")).cells == (
        "x = '\N{REPLACEMENT CHARACTER}y'",
        "z = '😀'",
    )


def test_a_byte_order_mark_is_no_fault():
    assert read_notebook(b"\xef\xbb\xbf" + book(OPENS)).lesson == "06"


def many(count, cell):
    return json.dumps({"nbformat": 4, "cells": [cell] * count}).encode()


CODE = {"cell_type": "code", "source": ""}


@pytest.mark.parametrize(
    ("data", "word"),
    [
        (b"", "not a notebook"),
        (b"import numpy as np", "not a notebook"),
        (b"\x00\xff\xfe", "UTF-8"),
        (book(OPENS).decode().encode("utf-16"), "UTF-8"),
        (book(OPENS)[:-20], "cut short"),
        (b"[" * 100_000, "not a notebook"),
        (b'{"a":' * 100_000, "not a notebook"),
        (b"[]", "not a notebook"),
        (b"null", "not a notebook"),
        (b"{}", "not a notebook"),
        (b'{"nbformat": 4}', "no list of cells"),
        (b'{"nbformat": true, "cells": []}', "not a notebook"),
        (b'{"nbformat": 4.0, "cells": []}', "not a notebook"),
        (b'{"nbformat": 4, "cells": {}}', "no list of cells"),
        (b'{"nbformat": 4, "cells": [3]}', "no list of cells"),
        (b'{"nbformat": 3, "worksheets": []}', "old form"),
        (b'{"nbformat": 5, "cells": []}', "later form"),
        (b'{"nbformat": 4, "cells": [], "x": NaN}', "not a notebook"),
        (b'{"nbformat": 4, "cells": [], "x": -Infinity}', "not a notebook"),
        (b'{"nbformat": 4, "cells": [], "x": ' + b"9" * 5000 + b"}", "not a notebook"),
        (b'{"nbformat": 4, "cells": [], "cells": []}', "not a notebook"),
        (many(1, {"cell_type": "code"}), "Cell 1"),
        (many(1, {"cell_type": "code", "source": None}), "Cell 1"),
        (many(1, {"cell_type": "code", "source": {"a": 1}}), "Cell 1"),
        (many(1, {"cell_type": "code", "source": ["a", 1]}), "Cell 1"),
        (many(2_001, CODE), "2,000 cells"),
        (many(1, CODE | {"source": "é" * 2**19 + "e"}), "1 MiB of code"),
        (b" " * (10 * 2**20 + 1), "10 MiB"),
    ],
)
def test_what_is_no_notebook_is_refused_in_a_sentence(data, word):
    with pytest.raises(UnreadableError) as refusal:
        read_notebook(data)
    assert word in str(refusal.value)
    assert str(refusal.value).endswith(".")


def test_the_bounds_themselves_are_allowed():
    assert len(read_notebook(many(2_000, CODE)).cells) == 2_000
    assert len(read_notebook(many(1, CODE | {"source": "é" * 2**19})).cells[0]) == 2**19
    small = book(OPENS)
    assert read_notebook(small + b" " * (10 * 2**20 - len(small))).lesson == "06"


# --- a folder


def test_a_folder_is_read_and_what_is_no_notebook_gets_a_sentence(handed_in):
    collected = handed_in(
        {
            "Tamsin (p1)/06-preset-bend.ipynb": book(OPENS),
            "Odo/deep/er/x.IPYNB": book("x"),
            "Pip/broken.ipynb": b"{",
            "Pip/answer.py": b"x = 1",
            "Pip/essay.docx": b"PK",
            "Pip/print.html": b"<script>",
            "Pip/all.7z": b"7z",
            "Pip/picture.png": b"",
            "noname": b"",
            "Odo/.ipynb_checkpoints/x.ipynb": book("old"),
            "Thumbs.db": b"",
            "__MACOSX/Odo/x.ipynb": b"",
            "Odo/.DS_Store": b"",
        }
    )
    assert places(collected) == [
        "Odo/deep/er/x.IPYNB",
        "Pip/broken.ipynb",
        "Tamsin (p1)/06-preset-bend.ipynb",
    ]
    assert [file.lesson for file in collected.files] == [None, None, "06"]
    assert collected.files[2].data == book(OPENS)
    assert collected.ignored == 4
    said = why(collected)
    assert list(said) == [
        "Pip/all.7z",
        "Pip/answer.py",
        "Pip/essay.docx",
        "Pip/picture.png",
        "Pip/print.html",
        "noname",
    ]
    assert all("Hand in the exercise itself" in sentence for sentence in said.values())
    assert "Python script" in said["Pip/answer.py"]


def test_links_pipes_sockets_and_devices_are_not_opened(handed_in, tmp_path):
    (tmp_path / "secret.ipynb").write_bytes(book("secret"))
    inside = tmp_path / "class" / "Pip"
    inside.mkdir(parents=True)
    (inside / "link.ipynb").symlink_to(tmp_path / "secret.ipynb")
    (inside / "lost.ipynb").symlink_to("nowhere")
    (inside / "loop").symlink_to(inside)
    (inside / "out").symlink_to(tmp_path)
    os.mkfifo(inside / "pipe.ipynb")
    with socket.socket(socket.AF_UNIX) as server:
        here = os.open(inside, os.O_RDONLY)
        server.bind(
            f"/proc/self/fd/{here}/s.ipynb"
            if os.path.isdir("/proc/self/fd")
            else str(inside / "s.ipynb")
        )
        os.close(here)
        collected = handed_in({"Odo/06.ipynb": book(OPENS)})
    assert places(collected) == ["Odo/06.ipynb"]
    said = why(collected)
    assert set(said) == {
        f"Pip/{name}"
        for name in ("link.ipynb", "lost.ipynb", "loop", "out", "pipe.ipynb", "s.ipynb")
    }
    assert "a link" in said["Pip/out"]
    assert "no ordinary file" in said["Pip/pipe.ipynb"]


def test_what_takes_a_files_place_later_is_not_read(handed_in, tmp_path):
    (tmp_path / "secret.ipynb").write_bytes(book("secret"))
    file, other = handed_in({"Pip/06.ipynb": book(OPENS), "Odo/06.ipynb": book(OPENS)}).files[::-1]
    path = tmp_path / "class" / "Pip" / "06.ipynb"
    path.write_bytes(book("changed"))
    with pytest.raises(UnreadableError, match="changed while"):
        _ = file.data
    path.unlink()
    with pytest.raises(UnreadableError, match="cannot be read"):
        _ = file.data
    path.symlink_to(tmp_path / "secret.ipynb")
    with pytest.raises(UnreadableError, match="cannot be read"):
        _ = file.data
    path.unlink()
    os.mkfifo(path)
    with pytest.raises(UnreadableError, match="no ordinary file"):
        _ = file.data
    folder = tmp_path / "class" / "Odo"
    folder.rename(tmp_path / "moved")
    folder.symlink_to(tmp_path / "moved")  # the same bytes, but through a link
    with pytest.raises(UnreadableError, match="cannot be read"):
        _ = other.data


def test_a_file_too_large_is_not_read(handed_in, tmp_path):
    handed_in({"Pip/06.ipynb": b"", "Odo/06.ipynb": book(OPENS)})
    os.truncate(tmp_path / "class" / "Pip" / "06.ipynb", 2**40)  # a hole: takes no room on the disk
    collected = handed_in({})
    assert places(collected) == ["Odo/06.ipynb"]
    assert "10 MiB" in why(collected)["Pip/06.ipynb"]


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything"
)
def test_what_may_not_be_read_is_said(handed_in, tmp_path):
    handed_in({"Pip/06.ipynb": book(OPENS), "Odo/06.ipynb": book(OPENS)})
    os.chmod(tmp_path / "class" / "Pip" / "06.ipynb", 0)
    os.chmod(tmp_path / "class" / "Odo", 0)
    said = why(handed_in({}))
    os.chmod(tmp_path / "class" / "Odo", 0o700)
    assert set(said) == {"Pip/06.ipynb", "Odo"}
    assert all("cannot be read" in sentence for sentence in said.values())


def test_what_the_system_refuses_is_said(handed_in, monkeypatch):
    def refuse(root, parts, flags, opened=collecting._open):
        if "Pip" in parts:
            raise PermissionError(13, "Permission denied")
        return opened(root, parts, flags)

    monkeypatch.setattr(collecting, "_open", refuse)
    collected = handed_in({"Pip/06.ipynb": book(OPENS), "Odo/06.ipynb": book(OPENS)})
    assert places(collected) == ["Odo/06.ipynb"]
    assert why(collected) == {"Pip": "The folder cannot be read (Permission denied)."}


def test_ten_thousand_files_are_read_and_more_than_a_class_has_are_not(handed_in, tmp_path):
    heap = tmp_path / "class" / "Pip"
    heap.mkdir(parents=True)
    for number in range(10_000):
        (heap / f"{number}.txt").touch()
    collected = handed_in({"Odo/06.ipynb": book(OPENS)})
    assert (len(collected.problems), places(collected)) == (10_000, ["Odo/06.ipynb"])
    collected = handed_in({}, learners=10)
    assert places(collected) == ["Odo/06.ipynb"]
    assert (
        len(collected.problems) == 2_000 - 3 + 1
    )  # less two folders and Odo's, and one that says so
    assert "more files than can be read (1,997 here)" in why(collected)["Pip"]
    assert [problem.place for problem in collected.problems if problem.cut] == ["Pip"]


def heap_beside_others(heap):
    """A class where one learner has a heap of files, whose work is deeper down than the heap."""
    return {
        **{f"Ann/{number}.txt": b"" for number in range(heap)},
        "Ann/06.ipynb": book(OPENS),
        **{f"{name}/my/own/work/06.ipynb": book(OPENS) for name in ("Bob", "Zed")},
    }


@pytest.mark.parametrize("top", ["", "class/", "week 1/group b/"])
@pytest.mark.parametrize("kind", ["folder", "zip"])
def test_a_heap_in_one_folder_costs_nobody_else_a_file(handed_in, top, kind):
    files = {top + name: data for name, data in heap_beside_others(2_100).items()}
    collected = handed_in(zipped(*files.items()) if kind == "zip" else files, learners=3)
    assert {f"{top}{name}/my/own/work/06.ipynb" for name in ("Bob", "Zed")} <= {*places(collected)}
    assert [problem.place for problem in collected.problems if problem.cut] == [f"{top}Ann"]


def test_a_class_that_fits_is_read_whole_and_not_cut(handed_in):
    collected = handed_in(heap_beside_others(1_900), learners=3)
    assert len(collected.files) == 3
    assert not any(problem.cut for problem in collected.problems)


def test_zips_that_unpack_to_much_cost_only_the_folder_they_are_in(handed_in):
    bomb = zipped(*((f"{number}.ipynb", bytes(9 * 2**20)) for number in range(5)))
    files = {f"Ann/{number}.zip": bomb for number in range(4)}
    files |= {"Bob/06.ipynb": book(OPENS), "Zed/06.zip": zipped(("06.ipynb", book(OPENS)))}
    collected = handed_in(files, learners=3)
    assert {"Bob/06.ipynb", "Zed/06.zip/06.ipynb"} <= {*places(collected)}
    flat = {name.replace("/", "_"): data for name, data in files.items()}
    collected = handed_in(zipped(*flat.items()), learners=3)
    assert {"Bob_06.ipynb", "Zed_06.zip/06.ipynb"} <= {*places(collected)}
    assert any("all together" in text for text in why(collected).values())


def test_folders_without_end_are_left(handed_in, tmp_path):
    collected = handed_in(
        {"/".join("d" * 30) + "/06.ipynb": book(OPENS), "Odo/06.ipynb": book(OPENS)}
    )
    assert places(collected) == ["Odo/06.ipynb"]
    assert ["deeper than 20" in sentence for sentence in why(collected).values()] == [True]


def test_names_that_cannot_be_shown_are_marked_and_read(handed_in, tmp_path):
    folder = os.fsencode(tmp_path / "class" / "Pip")
    os.makedirs(folder)
    with open(folder + b"/\xff\x1b[2J\n\xe2\x80\xae06.ipynb", "wb") as file:
        file.write(book(OPENS))
    (file,) = handed_in({}).files
    assert file.place == "Pip/{0}{0}[2J{0}{0}06.ipynb".format("\N{REPLACEMENT CHARACTER}")
    assert file.data == book(OPENS)


@pytest.mark.parametrize("seconds", [-1e12, 0, 1e12, 4e17])
def test_any_date_will_do(seconds):
    assert isinstance(collecting._iso(seconds), str)


def test_only_a_folder_or_a_zip_will_do(tmp_path):
    (tmp_path / "one.ipynb").write_bytes(book(OPENS))
    (tmp_path / "cut.zip").write_bytes(zipped(("Pip/06.ipynb", book(OPENS)))[:-30])
    os.mkfifo(tmp_path / "pipe")
    for name in ("one.ipynb", "cut.zip", "pipe", "nothing", "one.ipynb/x", "\0"):
        with pytest.raises(ValueError, match=r"neither a folder nor a zip|cannot be read"):
            collect(tmp_path / name)


def test_elsewhere_it_refuses_in_a_sentence(tmp_path, monkeypatch):
    monkeypatch.delattr(os, "O_NOFOLLOW")
    with pytest.raises(ValueError, match="Mark on Linux"):
        collect(tmp_path)


# --- rig files


def test_rig_files_are_taken_as_they_are(handed_in, tmp_path):
    inner = zipped(("mine.GLB", b"glTF"), ("small.gltf", b"{"))
    files = {
        "Pip/walker.glb": b"\0junk",
        "Pip/06.ipynb": book(OPENS),
        "Odo.zip": inner,
        "Pip/walker.bin": b"",
    }
    for collected in (handed_in(files), handed_in(zipped(*files.items()))):
        assert places(collected) == [
            "Odo.zip/mine.GLB",
            "Odo.zip/small.gltf",
            "Pip/06.ipynb",
            "Pip/walker.glb",
        ]
        assert [file.is_rig for file in collected.files] == [True, True, False, True]
        assert [file.data for file in collected.files] == [b"glTF", b"{", book(OPENS), b"\0junk"]
        assert [file.lesson for file in collected.files] == [None, None, "06", None]
        assert "Export the rig as one file" in why(collected)["Pip/walker.bin"]


def test_a_rig_file_too_large_is_not_read(handed_in, tmp_path):
    handed_in({"Pip/walker.glb": b"", "Odo/06.ipynb": book(OPENS)})
    os.truncate(tmp_path / "class" / "Pip" / "walker.glb", MOST_BYTES + 1)
    collected = handed_in({})
    assert places(collected) == ["Odo/06.ipynb"]
    assert "10 MiB. Export fewer vertices" in why(collected)["Pip/walker.glb"]
    assert MOST_BYTES == rig_file.MOST_BYTES
    bomb = handed_in(zipped(("Pip/walker.glb", bytes(200 * 2**20))))
    assert "Export fewer vertices" in why(bomb)["Pip/walker.glb"]


@pytest.mark.parametrize(
    ("source", "names"),
    [
        ('my_rig = "walker.glb"\nhw.check(my_rig=my_rig)', {"my_rig": "walker.glb"}),
        ('hw.check(my_rig="out/Walker.GLTF")', {"my_rig": "Walker.GLTF"}),
        ("my_rig = Path('out') / 'walker.glb'", {"my_rig": "walker.glb"}),
        ("my_rig = r'C:\\rigs\\walker.glb'", {"my_rig": "walker.glb"}),
        (
            "my_rig = 'a.glb'\nother = 'b.glb'\nmy_rig = 'c.glb'",
            {"my_rig": "c.glb", "other": "b.glb"},
        ),
        ("my_rig = 'a.glb'\nhw.check(my_rig='b.glb')", {"my_rig": "b.glb"}),
        (
            "my_rig = '\u202ea\\0.glb'",
            {"my_rig": "\N{REPLACEMENT CHARACTER}a\N{REPLACEMENT CHARACTER}.glb"},
        ),
        ("gltf.write(asset, 'walker.glb')", {}),
        ("my_rig = 'walker' + '.gl' + 'b'", {}),
        ("my_rig = 'walker.glb", {}),
        ("my_rig = f'{name}.glb'", {"my_rig": ".glb"}),
        ("hw.check(**{'my_rig': 'walker.glb'})", {}),
        ("# my_rig = 'walker.glb'", {}),
        ("my_rig = ...  # such as 'walker.glb'", {}),
    ],
)
def test_the_rig_file_that_the_code_names_is_read_from_literals(source, names):
    assert read_notebook(book(source)).names == names


def test_no_more_names_are_kept_than_anybody_needs():
    assert (
        len(read_notebook(book("\n".join(f"rig_{n} = '{n}.glb'" for n in range(5_000)))).names) == 0
    )  # too long
    assert (
        len(read_notebook(book("\n".join(f"rig_{n} = '{n}.glb'" for n in range(500)))).names) == 100
    )


# --- a zip


def test_a_zip_is_read_like_a_folder(handed_in):
    entry = named("Class/Tamsin (p1)/06-preset-bend.ipynb", date_time=(2026, 11, 25, 10, 15, 2))
    collected = handed_in(
        zipped(
            (entry, book(OPENS)),
            ("Class/", b""),
            ("Class/Odo/x.txt", b"x"),
            ("Class/Odo/.hidden/y.ipynb", b""),
            ("__MACOSX/Class/._06.ipynb", b""),
        )
    )
    (file,) = collected.files
    assert (file.place, file.modified, file.lesson) == (entry.filename, "2026-11-25T10:15:02", "06")
    assert file.data == book(OPENS)
    assert (list(why(collected)), collected.ignored) == (["Class/Odo/x.txt"], 2)


def test_a_thousand_learners_with_several_files_fit(handed_in):
    entries = [
        (f"L{number}/{name}", b"x")
        for number in range(1_000)
        for name in ("a.txt", "b.png", "c.csv", "d.py")
    ]
    collected = handed_in(zipped(*entries, ("L0/06.ipynb", book(OPENS))))
    assert (len(collected.files), len(collected.problems)) == (1, 4_000)


def test_a_zip_with_more_than_a_class_hands_in_is_cut_short(tmp_path, monkeypatch):
    path = tmp_path / "class.zip"
    path.write_bytes(
        zipped(*((f"{number}.txt", b"") for number in range(2_001)), method=zipfile.ZIP_STORED)
    )
    collected = collect(path, learners=3)
    assert [problem.place for problem in collected.problems if problem.cut] == ["."]
    assert len(collected.problems) == 2_001  # one is left out, and it is said
    assert len(collect(path, learners=101).problems) == 2_001
    monkeypatch.setattr(collecting, "MOST_LISTED", 2_000)
    with pytest.raises(ValueError, match="2,000 files and folders"):
        collect(path, learners=101)


@pytest.mark.parametrize(
    "name",
    [
        "/etc/passwd.ipynb",
        "../out.ipynb",
        "Pip/../../out.ipynb",
        "Pip\\..\\out.ipynb",
        "C:out.ipynb",
        "Pip//06.ipynb",
        "./06.ipynb",
        "Pip/..",
        "..",
        "/",
        "x" * 600 + ".ipynb",
    ],
)
def test_a_name_that_leads_out_spoils_itself_only(handed_in, tmp_path, name):
    collected = handed_in(zipped((named(name), book("evil")), ("Odo/06.ipynb", book(OPENS))))
    assert places(collected) == ["Odo/06.ipynb"]
    assert ["not a plain one" in problem.why for problem in collected.problems] == [True]
    assert sorted(path.name for path in tmp_path.iterdir()) == ["class.zip"]


def test_a_name_with_an_end_inside_is_refused(handed_in):
    data = zipped(("Pip/06X.ipynb", book("evil")), ("Odo/06.ipynb", book(OPENS)))
    collected = handed_in(data.replace(b"06X", b"06\0"))
    assert places(collected) == ["Odo/06.ipynb"]
    assert ["not a plain one" in problem.why for problem in collected.problems] == [True]


@pytest.mark.parametrize(
    "kind", [stat.S_IFLNK, stat.S_IFIFO, stat.S_IFCHR, stat.S_IFBLK, stat.S_IFSOCK]
)
def test_entries_that_are_no_files_are_refused(handed_in, kind):
    collected = handed_in(
        zipped((named("Pip/06.ipynb", kind | 0o777), b"/etc/passwd"), ("Odo/06.ipynb", book(OPENS)))
    )
    assert places(collected) == ["Odo/06.ipynb"]
    assert "no ordinary file" in why(collected)["Pip/06.ipynb"]


@pytest.mark.filterwarnings("ignore:Duplicate name")
@pytest.mark.parametrize(
    ("one", "other"),
    [
        ("Pip/06.ipynb", "Pip/06.ipynb"),
        ("Pip/A.ipynb", "pip/a.ipynb"),
        ("Pip/\u00e9.ipynb", "Pip/e\u0301.ipynb"),
        ("Straße/6.ipynb", "STRASSE/6.ipynb"),
    ],
)
def test_of_two_names_that_are_one_somewhere_neither_is_taken(handed_in, one, other):
    collected = handed_in(
        zipped((named(one), book("a")), (named(other), book("b")), ("Odo/06.ipynb", book(OPENS)))
    )
    assert places(collected) == ["Odo/06.ipynb"]
    assert ["Two entries" in problem.why for problem in collected.problems] == [True, True]


def patched(data, name, local, central, form, value):
    """A zip with a field of one entry overwritten, at these offsets of its local and its central
    header."""
    data, name = bytearray(data), name.encode()
    first, last = data.index(name) - 30, data.rindex(name) - 46
    for start in (first + local, last + central):
        struct.pack_into(form, data, start, value)
    return bytes(data)


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ((6, 8, "<H", 1), "password"),
        ((8, 10, "<H", 14), "ordinary zip"),
        ((8, 10, "<H", 99), "ordinary zip"),
        ((14, 16, "<I", 7), "damaged"),
        ((22, 24, "<I", 20), "damaged"),
        ((22, 24, "<I", 9_000_000), "not as long as"),
        ((22, 24, "<I", 2**31), "10 MiB"),
        ((18, 20, "<I", 10), "damaged"),
    ],
)
def test_a_lie_in_a_header_costs_that_entry(handed_in, change, word):
    data = patched(
        zipped(("Pip/6.ipynb", book(OPENS)), ("Odo/06.ipynb", book(OPENS))), "Pip/6.ipynb", *change
    )
    collected = handed_in(data)
    assert places(collected) == ["Odo/06.ipynb"]
    assert word in why(collected)["Pip/6.ipynb"]


def test_a_bomb_is_not_unpacked(handed_in):
    bomb = zipped(("Pip/06.ipynb", bytes(200 * 2**20)), ("Odo/06.ipynb", book(OPENS)))
    collected = handed_in(bomb)
    assert places(collected) == ["Odo/06.ipynb"]
    assert "10 MiB" in why(collected)["Pip/06.ipynb"]
    collected = handed_in(
        patched(bomb, "Pip/06.ipynb", 22, 24, "<I", 1_000)
    )  # and says that it is small
    assert places(collected) == ["Odo/06.ipynb"]


def test_all_files_of_a_folder_together_have_a_bound(handed_in):
    large = b" " * (9 * 2**20) + book(OPENS)
    collected = handed_in(zipped(*((f"x/{name}.ipynb", large) for name in "abc")), learners=1)
    assert places(collected) == ["x/a.ipynb", "x/b.ipynb"]
    assert "all together" in why(collected)["x/c.ipynb"]


@pytest.mark.parametrize("outer", ["zip", "folder"])
def test_a_zip_inside_is_read_and_none_inside_that(handed_in, outer):
    inner = zipped(
        ("work/06.ipynb", book(OPENS)),
        ("more.zip", zipped(("07.ipynb", book("x")))),
        ("../x.ipynb", b""),
        (".hidden", b""),
    )
    files = {"Pip.zip": inner, "Odo/06.ipynb": book("o")}
    collected = handed_in(zipped(*files.items()) if outer == "zip" else files)
    assert places(collected) == ["Odo/06.ipynb", "Pip.zip/work/06.ipynb"]
    assert collected.files[1].data == book(OPENS)
    assert collected.files[1].lesson == "06"
    assert "zip inside a zip" in why(collected)["Pip.zip/more.zip"]
    assert "plain one" in why(collected)["Pip.zip/../x.ipynb"]
    assert collected.ignored == 1


def test_a_zip_inside_is_one_learners_and_bounded(handed_in):
    def heap(name, count, data=b"", method=zipfile.ZIP_DEFLATED):
        return name, zipped(
            *((f"{number}{name[1:-4]}", data) for number in range(count)), method=method
        )

    collected = handed_in(
        zipped(
            heap("a.txt.zip", 2_001),
            heap("b.ipynb.zip", 101, book("x")),
            heap("c.ipynb.zip", 6, bytes(9 * 2**20)),
            heap("d.txt.zip", 500),
            ("e.zip", b"PK"),
            ("Odo/06.ipynb", book(OPENS)),
        )
    )
    assert len(collected.files) == 100 + 5 + 1
    said = why(collected)
    assert "2,000 files" in said["a.txt.zip"]
    assert "more than 100 notebooks" in said["b.ipynb.zip/100.ipynb"]
    assert "all together" in said["c.ipynb.zip/5.ipynb"]
    assert sum(place.startswith("d.") for place in said) == 100
    assert "damaged" in said["e.zip"]


def test_what_a_zip_says_of_its_number_of_entries_is_not_believed(handed_in):
    inner = bytearray(
        zipped(*((f"{number}.txt", b"") for number in range(2_500)), method=zipfile.ZIP_STORED)
    )
    struct.pack_into("<HH", inner, len(inner) - 14, 1, 1)
    collected = handed_in(zipped(("Pip.zip", bytes(inner))))
    assert "2,000 files" in why(collected)["Pip.zip"]


@given(st.lists(st.text(min_size=1, max_size=40), max_size=4, unique=True))
def test_any_names_give_files_or_problems(tmp_path_factory, names):
    whole = io.BytesIO()
    with zipfile.ZipFile(whole, "w") as archive:
        for number, name in enumerate(names):
            entry = named(name.encode("utf-8", "replace").decode() + ".ipynb")
            if len({*archive.namelist(), entry.filename}) == number + 1:
                archive.writestr(entry, book(OPENS))
    path = tmp_path_factory.mktemp("zip") / "class.zip"
    path.write_bytes(whole.getvalue())
    collected = collect(path)
    assert len(collected.files) + len(collected.problems) + collected.ignored == len(
        zipfile.ZipFile(path).namelist()
    )
    for file in collected.files:
        assert file.data == book(OPENS)
        assert file.place.isprintable()


def test_reading_imports_where_marking_cannot_be_done():
    """As on a system without the flags: a fresh Python, the flags taken away first."""
    code = (
        "import os\nfor name in ('O_NOFOLLOW', 'O_NONBLOCK', 'O_DIRECTORY', 'O_CLOEXEC'):"
        " delattr(os, name)\nos.supports_dir_fd = set()\nfrom rigkit.marking import collect,"
        " likeness, pack, roster\ntry: collect.collect('.')\nexcept ValueError as error:"
        " print(error)"
    )
    said = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    ).stdout
    assert "Mark on Linux" in said


@pytest.mark.parametrize(("length", "claimed"), [(200, True), (201, False)])
def test_a_typed_name_has_at_most_200_characters(length, claimed):
    typed = read_notebook(book(f'open_homework("06", student="{"n" * length}")')).claimed
    assert (typed == "n" * length) if claimed else typed is None


def test_folders_may_go_20_deep(handed_in):
    deep = "/".join(f"d{number}" for number in range(20))
    assert [file.place for file in handed_in({f"{deep}/x.ipynb": book(OPENS)}).files] == [
        f"{deep}/x.ipynb"
    ]
