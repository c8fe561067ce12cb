"""The plan of a homework: what it says, what it must be, and what it does to marks."""

import os
import re
from datetime import UTC, datetime

import pytest

from rigkit import cli
from rigkit.homework import catalogue, formula
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


OWN = """[[question]]
lesson = "06"
name = "reach_cm"
asks = '''
How far with {thigh}?
[[question]] is no head here
'''
kind = "number"
right = "100 * (thigh + shank)"
tolerance = 0.5
unit = "cm"

[[question.wrong]]
answer = "thigh + shank"
say = "That is in metres."

[[ "question" . wrong ]]
answer = 1
say = "Guessed."

[[question]]
lesson = "06"
name = "way"
asks = "Which way?"
kind = "choice"
options = [
    "front",
    "back",
]
right = "front"

[[question.wrong]]
answer = "back"
say = "That is the heron."
"""
SECOND = OWN.replace('name = "way"', 'name = "reach_cm"')


def own(old, new):
    """The plan with questions of one's own, something in it replaced."""
    assert OWN.count(old) == 1
    return OWN.replace(old, new)


def own_list(right, more=""):
    """A plan with one question that asks for a list."""
    return f"""[[question]]
lesson = "06"
name = "joints"
asks = "Which joints?"
kind = "list"
right = {right}
{more}"""


BAD_OWN = {
    "a word that is unknown": (own('unit = "cm"', 'units = "cm"'), 11, "'units' is not a word"),
    "a key of another kind": (own('right = "front"', 'right = "front"\nunit = "cm"'), 31, "choice"),
    "no name": (own('name = "way"\n', ""), 21, "'name' is missing"),
    "no tolerance": (own("tolerance = 0.5\n", ""), 1, "`tolerance` must be a number above 0"),
    "a tolerance of nothing": (
        own("= 0.5", "= 0"),
        10,
        "above 0: how far an answer may be off; got 0",
    ),
    "a tolerance without end": (own("= 0.5", "= inf"), 10, "got inf"),
    "a tolerance in words": (own("= 0.5", '= "some"'), 10, "got 'some'"),
    "true for a tolerance": (own("= 0.5", "= true"), 10, "got True"),
    "a lesson that is none": (own('"06"\nname = "way"', '"13"\nname = "way"'), 22, "got '13'"),
    "a lesson without an exercise": (own('"06"\nname = "way"', '"00"\nname = "way"'), 22, "'00'"),
    "a lesson as a number": (own('"06"\nname = "way"', '6\nname = "way"'), 22, "got 6"),
    "a kind that is none": (own('"choice"', '"essay"'), 25, 'must be "number", "choice" or "list"'),
    "a kind as a list": (own('"choice"', "[1]"), 25, "`kind` must be a text"),
    "a name of the lesson's": (
        own('"way"', '"steps"'),
        23,
        "Lesson 06 has a question steps already",
    ),
    "the same name twice": (SECOND, 23, "06/reach_cm is there twice"),
    "a name with a space": (own('"way"', '"which way"'), 23, "letters, digits and _"),
    "a word of Python": (own('"way"', '"lambda"'), 23, "no word of Python"),
    "a name of Python's own": (own('"way"', '"list"'), 23, "no word of Python"),
    "a name of the notebook": (own('"way"', '"hw"'), 23, "or of the notebook"),
    "a long name": (own('"way"', f'"{"w" * 41}"'), 23, "letters, digits and _"),
    "a name that is a number": (own('"way"', "7"), 23, "got 7"),
    "nothing asked": (own('"Which way?"', '"  "'), 24, "`asks` must be a text of 1 to"),
    "far too much asked": (own('"Which way?"', f'"{"w" * 4001}"'), 24, "got 4,001 characters"),
    "an unknown measure": (own('"Which way?"', '"{arm}?"'), 24, "`asks` has {arm}"),
    "a measure's inside": (own('"Which way?"', '"{thigh.real}?"'), 24, "{thigh.real}"),
    "a form for a measure": (own('"Which way?"', '"{thigh:.9999f}?"'), 24, "hold a measure"),
    "half a brace": (own('"Which way?"', '"{thigh?"'), 24, "for braces themselves"),
    "no text in braces": (own('"Which way?"', '"{}?"'), 24, "`asks` has {}"),
    "a weight below zero": (own('right = "front"', 'right = "front"\nweight = -1'), 31, "got -1"),
    "true as a weight": (own('right = "front"', 'right = "front"\nweight = true'), 31, "got True"),
    "a unit that is none": (own('unit = "cm"', "unit = 3"), 11, "`unit` must be a text"),
    "an unknown measure in a formula": (
        own("(thigh + shank)", "arm"),
        9,
        "has 'arm', which is none",
    ),
    "a formula that is none": (
        own("(thigh + shank)", "(thigh + "),
        9,
        "cannot be read as a formula",
    ),
    "a division by zero": (own("(thigh + shank)", "thigh / (1 - 1)"), 9, "divides by zero"),
    "a root of less than zero": (own("(thigh + shank)", "sqrt(0 - thigh)"), 9, "out of its range"),
    "a number beyond all": (own("(thigh + shank)", "9 ** 9 ** 9"), 9, "too large"),
    "a number not finite": (own('"100 * (thigh + shank)"', "nan"), 9, "no finite number"),
    "a list for a number": (
        own('"100 * (thigh + shank)"', "[1]"),
        9,
        "a number or a formula; got [1]",
    ),
    "true for a number": (own('"100 * (thigh + shank)"', "true"), 9, "got True"),
    "a wrong answer that is right": (
        own('"thigh + shank"', '"100*thigh + 100.4*shank"'),
        14,
        "counts as",
    ),
    "a wrong formula": (own('"thigh + shank"', '"knee"'), 14, "has 'knee'"),
    "a wrong answer unsaid": (own('say = "Guessed."\n', ""), 17, "'say' is missing"),
    "more than a wrong answer has": (
        own("answer = 1", "answer = 1\nscore = 0.5"),
        19,
        "'score' is not",
    ),
    "an empty saying": (own('"Guessed."', '""'), 19, "`say` must be a text"),
    "one wrong answer as a table": (
        own('[[question.wrong]]\nanswer = "back"', '[question.wrong]\nanswer = "back"'),
        21,
        "must be tables [[question.wrong]]",
    ),
    "no options": (
        own('options = [\n    "front",\n    "back",\n]\n', ""),
        21,
        "two texts or more; got None",
    ),
    "one option": (own('    "back",\n', ""), 26, "two texts or more"),
    "two options alike": (own('"back",', '" FRONT ",'), 26, "two that are alike"),
    "an option as a number": (own('"back",', "3,"), 26, "two texts or more"),
    "a right one that is no option": (
        own('right = "front"', 'right = "up"'),
        30,
        "one of the options",
    ),
    "a wrong one that is no option": (
        own('answer = "back"', 'answer = "up"'),
        33,
        "one of the options",
    ),
    "a wrong option that is right": (
        own('answer = "back"', 'answer = "Front"'),
        33,
        "counts as right.",
    ),
    "no words": (own_list("[]"), 6, "a list of 1 to 50 words"),
    "numbers for words": (own_list("[1, 2]"), 6, "a list of 1 to 50 words"),
    "one text for words": (own_list('"hip"'), 6, "a list of 1 to 50 words"),
    "an order that is none": (own_list('["hip"]', "in_order = 1\n"), 7, "true or false; got 1"),
    "a wrong list that is right": (
        own_list('["a", "b"]', '[[question.wrong]]\nanswer = ["B ", "a"]\nsay = "No."\n'),
        8,
        "counts as right.",
    ),
    "no table": ("question = 3\n" + QUESTIONS, 1, "must be tables [[question]]"),
    "one table that is no array": ('[question]\nname = "way"\n', 1, "must be tables [[question]]"),
    "only questions that weigh nothing": (own_list('["a"]', "weight = 0\n"), 7, "add to 0"),
    "wrong answers within a line": (
        own_list('["a"]', 'wrong = [{answer = ["b"], say = ""}]\n'),
        7,
        "`say` must be a text",
    ),
}
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
    **{f"of one's own: {what}": found for what, found in BAD_OWN.items()},
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


def test_the_example_in_the_template_works_once_its_signs_are_taken_away(tmp_path):
    text = plan.file_text(plan.choose(["06"], ["steps"]))
    before, head, after = text.partition("# [[question]]")
    example, end, rest = (head + after).partition("\n\n")
    plain = "\n".join(line.removeprefix("#").removeprefix(" ") for line in example.split("\n"))
    (terms,) = plan.read(written(tmp_path, before + plain + end + rest)).values()
    assert terms.weights == {"06/steps": 1.0, "06/reach_cm": 1.0}
    question = terms.questions("06")["reach_cm"]
    assert [wrong.sentence for wrong in question.misconceptions] == [
        "That is the thigh alone. What is below the knee?"
    ]
    assert terms.own[0]["unit"] == "cm"
    for name in (*formula.MEASURES, *formula.FUNCTIONS):
        assert re.search(rf"# .*\b{name}\b", rest)


def test_questions_of_ones_own_are_read_with_their_weights(tmp_path):
    (terms,) = plan.read(written(tmp_path, OWN)).values()
    assert terms.weights == {"06/reach_cm": 1.0, "06/way": 1.0}
    heavier = own('right = "front"', 'right = "front"\nweight = 3')
    assert plan.read(written(tmp_path, heavier))["06"].own == terms.own
    assert plan.read(written(tmp_path, heavier))["06"].weights["06/way"] == 3.0
    assert terms.asked("06").keys() == terms.weights.keys()
    both = plan.read(
        written(tmp_path, QUESTIONS + OWN.replace('"06"\nname = "way"', '"07"\nname = "way"'))
    )
    assert list(both["06"].weights) == ["06/solve_leg", "06/steps", "06/reach_cm"]
    assert [table["name"] for table in both["07"].own] == ["way"]


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
