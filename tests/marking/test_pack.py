"""The hand-out: what is in it, that nothing else is, and that it is always the same."""

import json
import os
import re
import time
import zipfile
from pathlib import Path

import pytest

from rigkit import cli, course
from rigkit.homework import catalogue
from rigkit.marking import pack, plan
from rigkit.marking.notebook_file import read_notebook

ROOT = Path(__file__).parents[2]
PICTURES = {
    "![a leg](../lessons/pictures/bend.svg)": ["lessons/pictures/bend.svg"],
    '<img alt="x" src="own.png"/> and ![b]( own.png "title")': ["exercises/own.png"],
    "![w](https://parade.example/x.png) ![a](attachment:x.png) ![d](data:image/png;base64,AA)": [],
    "[a lesson](../lessons/06-a-bend.ipynb)": [],
}


@pytest.fixture
def shipped(tmp_path, monkeypatch):
    """A small course: one lesson with an exercise that shows pictures, one without an exercise."""

    def ship(*texts):
        cells = [{"cell_type": "markdown", "source": [text]} for text in texts]
        cells += [{"cell_type": "code", "source": "x = '![no](no.svg)'"}]
        book = json.dumps(
            {"cells": cells, "metadata": {"rigkit": {"title": "A bend"}}, "nbformat": 4}
        )
        for name, text in {
            "lessons/06-a-bend.ipynb": book,
            "exercises/06-a-bend.ipynb": book,
            "lessons/07-b.ipynb": book,
            "lessons/pictures/bend.svg": "<svg/>",
            "exercises/own.png": "png",
            "solutions/06-a-bend.ipynb": "answers",
            "exercises/.rigkit/seed": "7",
        }.items():
            (tmp_path / "shipped" / name).parent.mkdir(parents=True, exist_ok=True)
            (tmp_path / "shipped" / name).write_text(text)
        monkeypatch.setattr(course, "source", lambda: tmp_path / "shipped")
        return tmp_path / "out.zip"

    return ship


def test_it_holds_exercises_and_how_to_and_nothing_else(tmp_path):
    out = tmp_path / "hand-out.zip"
    names = pack.pack(["06", 7], out).names
    assert names == (
        "HOW-TO.txt",
        "exercises/06-preset-bend.ipynb",
        "exercises/07-knee-direction.ipynb",
    )
    with zipfile.ZipFile(out) as archive:
        assert archive.testzip() is None
        assert tuple(archive.namelist()) == names
        for name in names[1:]:
            assert archive.read(name) == (ROOT / name).read_bytes()
            assert read_notebook(archive.read(name)).lesson == name[10:12]
        how_to = archive.read("HOW-TO.txt").decode()
    for words in (
        "open_homework",
        "your own name",
        "class list",
        "hand in",
        "06 Why a straight leg",
        *names[1:],
    ):
        assert words in how_to
    assert how_to.count("\n") == how_to.count("\r\n")
    assert all(len(line) <= 120 for line in how_to.splitlines())


def test_where_a_lesson_asks_for_a_rig_file_the_how_to_says_so(tmp_path):
    for lessons, said in ((["06", "12"], True), (["06"], False)):
        pack.pack(lessons, tmp_path / "-".join(lessons))
        with zipfile.ZipFile(tmp_path / "-".join(lessons)) as archive:
            how_to = archive.read("HOW-TO.txt").decode()
        assert (
            ("6. Hand in with it the rig file" in how_to)
            == ("my_rig.glb, for lesson 12" in how_to)
            == said
        )
        assert max(map(len, how_to.splitlines())) <= 120


def test_some_questions_alone_are_packed_with_all_that_asks_nothing(tmp_path):
    out = tmp_path / "two.zip"
    names = pack.pack(["06"], out, ["steps", "06/solve_leg"]).names
    assert names == ("HOW-TO.txt", "exercises/06-preset-bend.ipynb")
    with zipfile.ZipFile(out) as archive:
        data, how_to = archive.read(names[1]), archive.read("HOW-TO.txt").decode()
    book = json.loads(data)
    assert [cell["id"] for cell in book["cells"]] == [
        "title",
        "who-are-you",
        "open",
        "ask-solve",
        "answer-solve",
        "check-solve",
        "ask-steps",
        "watch-it-stall",
        "predict-steps",
        "answer-steps",
        "check-steps",
        "end",
        "progress",
    ]
    texts = {cell["id"]: "".join(cell["source"]) for cell in book["cells"]}
    assert "2 of the questions on lesson 06. A check" in texts["title"]
    assert "#The-formula-never-stalls): question 1\n" in texts["title"]
    assert texts["title"].count("question 1") + texts["title"].count("question 2") == 2
    assert texts["ask-solve"].startswith("## 1. Put the ankle")
    assert texts["ask-steps"].startswith("## 2. Predict")
    whole = {cell["id"]: cell for cell in json.loads((ROOT / names[1]).read_bytes())["cells"]}
    code = [cell for cell in book["cells"] if cell["cell_type"] == "code"]
    assert [cell["id"] for cell in code if whole[cell["id"]] != cell] == ["open"]
    assert texts["open"].endswith(
        'hw = open_homework(\n    "06",\n    student="learner-07",\n'
        '    questions=["solve_leg", "steps"],\n)\nhw'
    )
    assert read_notebook(data).lesson == "06"
    assert "answer this one" in how_to
    assert "holds the same one" not in how_to


@pytest.mark.parametrize("lesson", catalogue.lessons())
def test_each_question_can_be_packed_alone(tmp_path, lesson):
    for name in catalogue.questions(lesson):
        pack.pack([lesson], tmp_path / f"{name}.zip", [name])
        with zipfile.ZipFile(tmp_path / f"{name}.zip") as archive:
            (exercise,) = (each for each in archive.namelist() if each.endswith(".ipynb"))
            cells = json.loads(archive.read(exercise))["cells"]
        code = "\n".join("".join(c["source"]) for c in cells if c["cell_type"] == "code")
        assert re.findall(r"hw\.check\((\w+)", code) == [name]
        said = "".join(cells[0]["source"])
        assert f"1 of the questions on lesson {lesson}" in said
        assert "minutes" not in said
        assert {*re.findall(r"questions? (\d.*)", said)} <= {"1", "1 (unfold the card)"}
        assert not re.search(r":\n\n(?!- )", said)


def test_the_plan_beside_it_says_what_was_packed_and_is_not_written_over(tmp_path):
    out = tmp_path / "two.zip"
    beside = pack.pack(["06", "07"], out, ["solve_leg", "swivel"]).plan
    assert beside == tmp_path / "two-plan.toml"
    weights = {lesson: terms.weights for lesson, terms in plan.read(beside).items()}
    assert weights == {"06": {"06/solve_leg": 1.0}, "07": {"07/swivel": 1.0}}
    beside.write_text(beside.read_text("utf-8") + "# mine\n", "utf-8")
    before = out.read_bytes()
    assert pack.pack(["06", "07"], out, ["solve_leg", "swivel"]).plan is None
    assert beside.read_text("utf-8").endswith("# mine\n")
    pack.pack([], tmp_path / "again.zip", plan=beside)
    assert (tmp_path / "again.zip").read_bytes() == before
    assert not (tmp_path / "again-plan.toml").exists()


@pytest.mark.parametrize("text", PICTURES)
def test_pictures_that_an_exercise_shows_go_with_it(shipped, text):
    out = shipped("# six", text)
    assert pack.pack(["06"], out).names == (
        "HOW-TO.txt",
        "exercises/06-a-bend.ipynb",
        *PICTURES[text],
    )


def test_a_picture_that_is_not_there_is_said(shipped):
    out = shipped("![gone](gone.svg)")
    with pytest.raises(ValueError, match=r"picture that is not there: exercises/gone\.svg"):
        pack.pack(["06"], out)
    assert not out.exists()


def test_the_bytes_are_always_the_same(tmp_path, monkeypatch):
    first, second = tmp_path / "a.zip", tmp_path / "deep" / "b.zip"
    pack.pack(["06", "07"], first)
    before = os.umask(0o077)
    monkeypatch.setattr(time, "time", lambda: 2e9)
    monkeypatch.setattr(time, "localtime", lambda *_: time.gmtime(2e9))
    pack.pack([7, "6", "06"], second)
    os.umask(before)
    assert first.read_bytes() == second.read_bytes()
    with zipfile.ZipFile(first) as archive:
        for entry in archive.infolist():
            assert (entry.date_time, entry.create_system) == ((1980, 1, 1, 0, 0, 0), 3)
            assert (entry.external_attr >> 16, entry.compress_type) == (
                0o100644,
                zipfile.ZIP_STORED,
            )


def test_another_file_is_never_written_over(tmp_path):
    out = tmp_path / "hand-out.zip"
    pack.pack(["06"], out)
    before = out.read_bytes(), out.stat().st_mtime_ns
    pack.pack(["06"], out)
    with pytest.raises(ValueError, match="holds something else"):
        pack.pack(["07"], out)
    assert (out.read_bytes(), out.stat().st_mtime_ns) == before
    (tmp_path / "folder").mkdir()
    with pytest.raises(ValueError, match="holds something else"):
        pack.pack(["07"], tmp_path / "folder")
    assert sorted(path.name for path in tmp_path.iterdir()) == [
        "folder",
        "hand-out-plan.toml",
        "hand-out.zip",
    ]


def test_lessons_that_cannot_be_packed_are_refused(shipped):
    out = shipped()
    with pytest.raises(ValueError, match=r"There is no lesson 99\. Lessons: 06, 07"):
        pack.pack(["06", "99"], out)
    with pytest.raises(ValueError, match="Lesson 07 has no exercise"):
        pack.pack(["07"], out)
    assert not out.exists()


def test_the_command_says_what_it_packed(tmp_path, capsys):
    out = tmp_path / "hand-out.zip"
    assert cli.main(["pack", "06", "7", "--out", str(out)]) == 0
    assert (
        capsys.readouterr().out
        == f"{out}: HOW-TO.txt, exercises/06-preset-bend.ipynb, exercises/07-knee-direction.ipynb\n"
        f"{tmp_path / 'hand-out-plan.toml'}: what is asked, its weights and the deadline, for"
        " rigkit mark --plan\n"
    )
    assert zipfile.is_zipfile(out)


@pytest.mark.parametrize(
    ("arguments", "word", "code"),
    [
        (["99"], "no lesson 99", 2),
        (["00"], "has no exercise", 2),
        (["../06"], "no lesson", 2),
        ([], "LESSON", 2),
        (["06", "--questions", "solve"], "called 'solve'", 2),
        (["06", "--questions", "07/swivel"], "called '07/swivel'", 2),
        (["06", "07", "--questions", "swivel"], "None of the questions is of lesson 06", 2),
        (["06", "--plan", "plan.toml"], "Leave out yours, or --plan", 2),
        (["--plan", "plan.toml"], "plan.toml", 1),
    ],
)
def test_the_command_refuses_in_one_line(tmp_path, capsys, arguments, word, code):
    try:
        got = cli.main(["pack", *arguments, "--out", str(tmp_path / "x.zip")])
    except SystemExit as end:
        got = end.code
    out, err = capsys.readouterr()
    assert (got, out, err.count("\n")) == (code, "", 1)
    assert word in err
    assert list(tmp_path.iterdir()) == []


def test_the_command_needs_a_place_it_can_write_to(tmp_path, capsys):
    with pytest.raises(SystemExit) as end:
        cli.main(["pack", "06"])
    assert end.value.code == 2
    (tmp_path / "file").write_text("mine")
    assert cli.main(["pack", "06", "--out", str(tmp_path / "file")]) == 2
    assert cli.main(["pack", "06", "--out", str(tmp_path / "file" / "x.zip")]) == 1
    assert "Choose another place" in capsys.readouterr().err
    assert (tmp_path / "file").read_text() == "mine"
