"""The plan of a homework: what it says, what it must be, and what it does to marks."""

import os
from datetime import UTC, datetime

import pytest

from rigkit import cli
from rigkit.homework import catalogue
from rigkit.marking import plan
from rigkit.marking.entry import Terms
from rigkit.marking.results import open_results
from tests.marking.classroom import make_class
from tests.marking.entries import entry, learner

DEADLINE = "deadline = 2026-12-01T18:00:00Z\n"
QUESTIONS = '[questions]\n"06/solve_leg" = 3\n"06/steps" = 1\n'


def written(folder, text):
    (folder / "plan.toml").write_text(text, encoding="utf-8")
    return folder / "plan.toml"


# --- the file


def test_what_pack_writes_is_a_plan_of_all_with_every_line_explained(tmp_path):
    text = plan.file_text(plan.choose(["06"]))
    (terms,) = plan.read(written(tmp_path, text)).values()
    assert terms == Terms({question.id: 1.0 for question in catalogue.questions("06").values()})
    assert max(map(len, text.splitlines())) <= 100
    settings = [line.lstrip("# ") for line in text.splitlines() if "=" in line and "`" not in line]
    assert [line.split(" =")[0] for line in settings[:2]] == ["deadline", "late"]
    for line in text.splitlines():
        assert line == "" or line[0] in '#"[' or line.startswith("late")


def test_the_deadline_that_stands_in_it_as_a_comment_can_be_set(tmp_path):
    text = plan.file_text(plan.choose(["06"])).replace("# deadline", "deadline")
    text = text.replace('late = "flag"', "late = 10")
    (terms,) = plan.read(written(tmp_path, text)).values()
    assert (terms.deadline, terms.per_day) == ("2026-12-01T18:00:00", 0.1)


def test_weights_and_the_deadline_are_read_for_each_lesson(tmp_path):
    text = DEADLINE + "late = 5\n" + QUESTIONS + "'07/swivel' = 0.5\n"
    assert plan.read(written(tmp_path, text)) == {
        "06": Terms({"06/solve_leg": 3.0, "06/steps": 1.0}, "2026-12-01T18:00:00+00:00", 0.05),
        "07": Terms({"07/swivel": 0.5}, "2026-12-01T18:00:00+00:00", 0.05),
    }


def test_a_plan_from_another_editor_is_read_too(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_bytes(b"\xef\xbb\xbf" + QUESTIONS.replace("\n", "\r\n").encode())
    assert list(plan.read(path)) == ["06"]


BAD = {
    "an unknown key": ("\nweight = 2\n" + QUESTIONS, 2, "'weight' is not a word of a plan"),
    "an unknown table": (QUESTIONS + "\n[grades]\na = 1\n", 5, "'grades' is not a word"),
    "a weight below zero": (QUESTIONS.replace("= 1", "= -1"), 3, "from 0 on; got -1"),
    "a weight in words": (QUESTIONS.replace("= 3", '= "much"'), 2, "from 0 on; got 'much'"),
    "a weight without end": (QUESTIONS.replace("= 3", "= inf"), 2, "from 0 on; got inf"),
    "true for a weight": (QUESTIONS.replace("= 3", "= true"), 2, "from 0 on; got True"),
    "only weights of zero": ('[questions]\n"06/steps" = 0\n', 2, "add to 0"),
    "no such question": (QUESTIONS + '"06/walk" = 1\n', 4, 'called "06/walk". Lesson 06 has'),
    "a question without its lesson": ("[questions]\nsteps = 1\n", 2, 'such as "06/solve_leg"'),
    "no questions": (DEADLINE + "[questions]\n", 2, "one question at least"),
    "no table of questions": (DEADLINE, 1, "one question at least"),
    "questions that are none": ("questions = 3\n", 1, "one question at least"),
    "a day for a deadline": ("\n\ndeadline = 2026-12-01\n" + QUESTIONS, 3, "a day and a time"),
    "a deadline in words": ('deadline = "soon"\n' + QUESTIONS, 1, "a day and a time"),
    "a rule that is none": (DEADLINE + 'late = "never"\n' + QUESTIONS, 2, "got 'never'"),
    "too much per day": (DEADLINE + "late = 101\n" + QUESTIONS, 2, "from 0 to 100; got 101"),
    "a rule without a deadline": ("late = 10\n" + QUESTIONS, 1, "no `deadline` is set"),
    "no form at all": ("[questions\n", 1, "is not a plan"),
    "the same twice": (QUESTIONS + '"06/steps" = 2\n', 4, "is not a plan"),
}


@pytest.mark.parametrize("what", BAD)
def test_a_plan_that_cannot_be_is_refused_in_one_line_with_its_number(tmp_path, capsys, what):
    text, line, word = BAD[what]
    path, out = written(tmp_path, text), tmp_path / "results"
    (tmp_path / "submissions").mkdir()
    mark = ["mark", str(tmp_path / "submissions"), "--out", str(out), "--plan", str(path)]
    assert cli.main(mark) == 2
    told = capsys.readouterr().err
    assert told.count("\n") == 1
    assert f"line {line}" in told
    assert word in told
    assert not out.exists()


@pytest.mark.parametrize("data", [b"\xff\xfe[", b"# " * 2**20, b"a\x00b"])
def test_what_is_no_text_is_no_plan(tmp_path, data):
    (tmp_path / "plan.toml").write_bytes(data)
    with pytest.raises(ValueError, match="is not a plan"):
        plan.read(tmp_path / "plan.toml")


def test_questions_are_chosen_by_name_or_by_id():
    assert [*plan.choose(["06", 7], ["steps", "07/swivel"])] == ["06", "07"]
    with pytest.raises(ValueError, match=r"No one question is called 'walk' here\. Choose from"):
        plan.choose(["06"], ["walk"])


# --- what it does to marks


def test_a_score_is_the_weighted_mean_of_what_is_asked():
    whole = entry(learner(1), kinds={"steps": "blank", "freedom": "blank"})
    assert whole.score == pytest.approx(5 / 7)
    asked = whole.under(Terms({"06/solve_leg": 3.0, "06/steps": 1.0}))
    assert list(asked.scores) == ["06/solve_leg", "06/steps"]
    assert asked.score == 0.75
    assert whole.under(None) is whole


@pytest.mark.parametrize(
    ("handed_in", "days"),
    [
        ("2026-12-01T18:00:00+00:00", 0),
        ("2026-12-01T18:00:01+00:00", 1),
        ("2026-12-01T20:00:01+01:00", 1),
        ("2026-12-02T18:00:00+00:00", 1),
        ("2026-12-03T06:00:00+00:00", 2),
        ("", 0),
    ],
)
def test_days_late_are_those_that_have_begun(handed_in, days):
    terms = Terms({"06/steps": 1.0}, "2026-12-01T18:00:00+00:00", 0.3)
    late = entry(learner(1), handed_in=handed_in).under(terms)
    assert late.days_late == days
    assert late.score == pytest.approx(1 - 0.3 * days)
    assert late.scores == {"06/steps": 1.0}


def test_being_late_never_costs_more_than_there_is():
    terms = Terms({"06/steps": 1.0}, "2026-12-01T18:00:00", 0.3)
    assert entry(learner(1), handed_in="2027-12-01T18:00:00").under(terms).score == 0


@pytest.mark.needs_jail
def test_a_class_is_marked_by_its_plan_and_later_runs_keep_it(tmp_path, here):
    make_class(tmp_path, 2, kinds=("right", "partly"))
    for path in tmp_path.glob("submissions/*/*.ipynb"):
        os.utime(path, (datetime(2026, 12, 2, tzinfo=UTC).timestamp(),) * 2)
    out = str(tmp_path / "results")
    mark = ["mark", str(tmp_path / "submissions"), "--out", out]
    roster = ["--roster", str(tmp_path / "roster.csv")]
    path = written(tmp_path, DEADLINE + "late = 10\n" + QUESTIONS)
    assert cli.main([*mark, *roster, "--plan", str(path)]) == 0
    first = [(one.scores, one.score) for one in open_results(out).entries]
    assert [list(scores) for scores, _ in first] == [["06/solve_leg", "06/steps"]] * 2
    assert first[0][1] == 0.9
    assert "10\N{NO-BREAK SPACE}% is taken off" in (
        (tmp_path / "results" / "learners" / "p0000.html").read_text("utf-8")
    )
    assert cli.main(mark) == 0
    assert [(one.scores, one.score) for one in open_results(out).entries] == first
    written(tmp_path, QUESTIONS)
    assert cli.main([*mark, "--plan", str(path)]) == 0
    room = open_results(out).entries
    assert room[0].score == 1
    page = (tmp_path / "results" / "learners" / "p0000.html").read_text("utf-8")
    assert "taken off" not in page
    assert "shortening_cm" not in page
