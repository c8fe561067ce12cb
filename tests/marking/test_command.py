"""`rigkit mark` as its help shows it, what it keeps for a school's system, and what it never writes
over."""

import csv
import shlex
import shutil
from pathlib import Path

import pytest

from rigkit import cli
from rigkit.marking import pipeline
from rigkit.marking.results import open_results
from tests.marking.classroom import make_class
from tests.unit.test_cli import examples

pytestmark = pytest.mark.needs_jail
ROOT = Path(__file__).parents[2]
SCHOOL = ["--school", "classSourcedId=c-7", "--school", "dueDate=2026-11-23"]


@pytest.fixture
def room(tmp_path, monkeypatch, here):
    """A class of one, p-17, whose homework is right; the folder it is in is the one worked in."""
    monkeypatch.chdir(tmp_path)
    make_class(tmp_path, 1, kinds=("right",))
    (theirs,) = (tmp_path / "submissions").iterdir()
    theirs.rename(theirs.with_name("Gesa Gangway (p-17)"))
    (tmp_path / "roster.csv").write_text("id,name\np-17,Gesa Gangway\n")
    shutil.make_archive("submissions", "zip", "submissions")
    return tmp_path


def item(room):
    """The only line of `lineItems.csv`."""
    with open(room / "results" / "lineItems.csv", newline="", encoding="utf-8") as file:
        (line,) = csv.DictReader(file)
    return line


def test_the_examples_in_its_help_run(room):
    for words in examples("mark"):
        assert cli.main(words) == 0
    assert item(room)["classSourcedId"] == "c-7"
    with open(room / "results" / "grades.csv", newline="", encoding="utf-8-sig") as file:
        (line,) = csv.DictReader(file)
    assert line["06 corrected"] == "yes"


def test_the_two_jobs_of_readme_are_done_by_its_words_alone(room):
    """Three questions with a deadline; a whole lesson for somebody who handed in on paper."""
    readme = (ROOT / "README.md").read_text("utf-8").partition("## For teachers")[2]
    lines = [line for line in readme.splitlines() if line.startswith("rigkit ")]
    packed, corrected = (
        next(shlex.split(line)[1:] for line in lines if word in line)
        for word in ("--questions", "on paper")
    )
    assert cli.main(packed) == 0
    beside, due = room / "hand-out-plan.toml", "deadline = 2026-12-01T18:00:00"
    assert due in readme
    text = beside.read_text("utf-8")
    assert f"# {due}\n" in text
    beside.write_text(text.replace(f"# {due}", due), "utf-8")
    (room / "roster.csv").write_text("id,name\np-17,Gesa Gangway\np-23,Odo Oakum\n")
    mark = ["mark", "submissions.zip", "--roster", "roster.csv", "--out", "results"]
    assert cli.main([*mark, "--plan", str(beside)]) == 0
    assert cli.main(corrected) == 0
    table = readme.partition("```csv\n")[2].partition("```")[0]
    (room / "corrections.csv").write_text(table, "utf-8")
    assert cli.main(["mark", "--out", "results", "--corrections", "corrections.csv"]) == 0
    gesa, odo = open_results("results").entries
    assert list(gesa.scores) == ["06/freedom", "06/solve_leg", "06/steps"]
    assert gesa.score == pytest.approx(2.5 / 3)
    assert gesa.terms.deadline == "2026-12-01T18:00:00"
    assert (odo.score, odo.feedback) == (0.8, {"06": "A clear drawing."})


def test_the_roster_is_kept_for_later_runs(room):
    assert cli.main(["mark", "submissions", "--out", "results", "--roster", "roster.csv"]) == 0
    assert cli.main(["mark", "submissions", "--out", "results", "--again"]) == 0
    assert [entry.learner.id for entry in open_results("results").entries] == ["p-17"]


def test_what_a_school_calls_a_class_is_kept(room):
    mark = ["mark", "submissions.zip", "--out", "results", "--roster", "roster.csv"]
    assert cli.main([*mark, *SCHOOL]) == 0
    assert cli.main([*mark, "--school", "schoolSourcedId=s-1"]) == 0
    assert (
        cli.main(
            [
                "mark",
                "--out",
                "results",
                "--override",
                "p-17",
                "06/solve_leg",
                "0.5",
                "--reason",
                "late",
            ]
        )
        == 0
    )
    told = {"classSourcedId": "c-7", "dueDate": "2026-11-23", "schoolSourcedId": "s-1"}
    assert told.items() <= item(room).items()
    open_results("results").write_tables(dueDate="2026-11-30")
    assert (told | {"dueDate": "2026-11-30"}).items() <= item(room).items()


def test_a_decimal_comma_is_kept_until_it_is_taken_back(room):
    mark = ["mark", "submissions.zip", "--out", "results", "--roster", "roster.csv"]
    for words, between in ((["--decimal-comma"], ";"), ([], ";"), (["--decimal-comma", "no"], ",")):
        assert cli.main([*mark, *words]) == 0
        text = (room / "results" / "grades.csv").read_text("utf-8-sig")
        assert text.startswith(f"id{between}surname{between}")


def test_a_class_is_anonymous_until_it_is_taken_back(room):
    mark = ["mark", "submissions.zip", "--out", "results", "--roster", "roster.csv"]
    for words, names in (
        (["--anonymous"], False),
        (["--again"], False),
        (["--anonymous", "no"], True),
    ):
        assert cli.main([*mark, *words]) == 0
        pages = [room / "results" / "class.html", *(room / "results" / "learners").iterdir()]
        shown = [f"{path.name} {path.read_text('utf-8')}" for path in pages]
        assert ["p-17" in each or "Gesa" in each for each in shown] == [names] * 2


@pytest.mark.parametrize("name", pipeline.MADE)
def test_a_folder_with_files_of_ones_own_is_not_written_into(room, capsys, name):
    own = room / "mine" / name
    own.parent.mkdir()
    own.write_text("my own")
    assert cli.main(["mark", "submissions.zip", "--out", "mine"]) == 2
    assert f"rigkit mark: mine holds no record of marks, but a {name}" in capsys.readouterr().err
    assert [path.name for path in own.parent.iterdir()] == [name]
    assert own.read_text() == "my own"


def test_a_jail_and_none_cannot_be_asked_for_at_once(room, capsys):
    with pytest.raises(SystemExit) as end:
        cli.main(
            ["mark", "submissions.zip", "--out", "results", "--jail", "bwrap", "--unsafe-no-jail"]
        )
    assert end.value.code == 2
    assert not (room / "results").exists()
