"""Questions of a teacher's own: packed, answered at home, marked in the jail, and marked again."""

import io
import json
import re
import zipfile
from contextlib import redirect_stdout
from dataclasses import asdict, replace

import nbformat
import pytest

from rigkit import cli, course
from rigkit.homework import catalogue, notebook, own
from rigkit.marking import likeness, pack, plan, record
from rigkit.marking.notebook_file import NOTHING, read_notebook
from rigkit.marking.results import open_results
from rigkit.marking.run import _request
from tests.marking import classroom, entries

PLAN = """
[questions]
"06/solve_leg" = 2

[[question]]
lesson = "06"
name = "reach_cm"
asks = "How far can an ankle get with a thigh of {thigh}? Give the ∞ of $x^{{2}}$."
kind = "number"
right = "100 * (thigh + shank)"
tolerance = 0.5
unit = "cm"

[[question.wrong]]
answer = "100 * thigh"
say = "That is the thigh alone."

[[question]]
lesson = "06"
name = "way"
asks = "Which way does a knee point?"
kind = "choice"
options = ["Front", "back"]
right = "front"
weight = 0.5

[[question.wrong]]
answer = "BACK"
say = "So does a heron's ankle, which looks like a knee."

[[question]]
lesson = "06"
name = "joints"
asks = "Name the joints from the top."
kind = "list"
right = ["hip", "knee", "ankle"]
in_order = true
weight = 0.5
"""
IDS = ["06/solve_leg", "06/reach_cm", "06/way", "06/joints"]
RIGHT = {
    "reach_cm": "reach_cm = 100 * (mine.thigh + hw.character.shank)",
    "way": 'way = " FRONT "',
    "joints": 'joints = ("Hip", "knee", "ankle")',
}


@pytest.fixture(autouse=True)
def _own_progress(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    course.reset_progress()
    yield
    course.reset_progress()


@pytest.fixture
def handed_out(tmp_path):
    """What a teacher packs by the plan, unpacked by a learner: the folder of the exercise."""
    (tmp_path / "plan.toml").write_text(PLAN, "utf-8")
    pack.pack([], tmp_path / "out.zip", plan=tmp_path / "plan.toml")
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        archive.extractall(tmp_path / "unpacked")
    return tmp_path / "unpacked" / "exercises"


def book_of(folder):
    (path,) = folder.glob("*.ipynb")
    return json.loads(path.read_bytes())


def sources(book):
    return {cell["id"]: "".join(cell["source"]) for cell in book["cells"]}


def hand_in(folder, who, answers, book, lesson="06"):
    """Put a learner's notebook with answers, by question's name, where a class hands in."""
    for cell in book["cells"]:
        name = cell["metadata"].get("rigkit", {}).get("question", "").rpartition("/")[2]
        if name in answers:
            cell["source"] = answers[name]
    text = json.dumps(book).replace('student=\\"learner-07\\"', f'student=\\"{who}\\"')
    place = folder / "submissions" / who / course.lesson(lesson).exercise.name
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_text(text, "utf-8")


def mark(folder, *more):
    command = ["mark", str(folder / "submissions"), "--out", str(folder / "results"), *more]
    with redirect_stdout(io.StringIO()) as said:
        assert cli.main(command) == 0
    return said.getvalue()


def by_plan(folder, text):
    (folder / "plan.toml").write_text(text, "utf-8")
    return mark(folder, "--plan", str(folder / "plan.toml"))


def scores(folder, who):
    return next(
        each.scores for each in open_results(folder / "results").entries if each.learner.id == who
    )


# --- packed


def test_they_are_cells_like_those_of_other_questions_numbered_along(handed_out):
    book = book_of(handed_out)
    nbformat.validate(nbformat.reads(json.dumps(book), 4))
    said = sources(book)
    assert list(said) == [
        "title",
        "who-are-you",
        "open",
        "ask-solve",
        "answer-solve",
        "check-solve",
        "own-ask-reach_cm",
        "own-numbers-reach_cm",
        "own-answer-reach_cm",
        "own-check-reach_cm",
        "own-ask-way",
        "own-answer-way",
        "own-check-way",
        "own-ask-joints",
        "own-answer-joints",
        "own-check-joints",
        "end",
        "progress",
    ]
    assert "1 of the questions on lesson 06, and 3 of your teacher's own. A check" in said["title"]
    assert said["own-ask-reach_cm"] == (
        "## 2. Your teacher asks: `reach_cm`\n\nHow far can an ankle get with a thigh of"
        " `mine.thigh` m? Give the ∞ of $x^{2}$.\n\nAnswer with a number in cm. It may be off by"
        " 0.5 cm."
    )
    assert said["own-numbers-reach_cm"] == 'mine = hw.inputs("reach_cm")\nmine'
    assert said["own-answer-way"] == "way = ..."
    assert said["own-check-way"] == "hw.check(way=way)"
    assert 'Answer with one of `"Front"`, `"back"`.' in said["own-ask-way"]
    built_in = next(cell for cell in book["cells"] if cell["id"] == "answer-solve")
    ours = next(cell for cell in book["cells"] if cell["id"] == "own-answer-way")
    assert ours["metadata"] == {"rigkit": {"question": "06/way"}, "tags": ["answer"]}
    assert ours.keys() == built_in.keys()
    assert ours["metadata"]["tags"] == built_in["metadata"]["tags"]


def test_a_whole_lesson_and_no_question_of_the_lesson_can_be_packed_with_them(tmp_path):
    whole = plan.file_text(plan.choose(["06"])) + PLAN.partition('"06/solve_leg" = 2\n')[2]
    alone = PLAN.partition('"06/solve_leg" = 2\n')[2]
    for text, title, first in (
        (
            whole,
            "Seven questions, one point each, about 40 minutes, and 3 of your teacher's own.",
            8,
        ),
        (alone, "3 questions of your teacher's own. A check", 1),
    ):
        (tmp_path / "plan.toml").write_text(text, "utf-8")
        out = tmp_path / f"{first}.zip"
        pack.pack([], out, plan=tmp_path / "plan.toml")
        with zipfile.ZipFile(out) as archive:
            archive.extractall(tmp_path / f"{first}")
        said = sources(book_of(tmp_path / f"{first}" / "exercises"))
        assert title in said["title"]
        assert said["own-ask-reach_cm"].startswith(f"## {first}. ")
        assert ("questions=" in said["open"]) == (first == 1)


@pytest.mark.parametrize("lesson", catalogue.lessons())
def test_they_can_be_all_that_any_lesson_asks(tmp_path, monkeypatch, here, lesson):
    text = PLAN.partition('"06/solve_leg" = 2\n')[2].replace('"06"', f'"{lesson}"')
    (tmp_path / "plan.toml").write_text(text, "utf-8")
    names = pack.pack([], tmp_path / "out.zip", plan=tmp_path / "plan.toml").names
    assert f"exercises/{lesson}-own-questions.json" in names
    with zipfile.ZipFile(tmp_path / "out.zip") as archive:
        archive.extractall(tmp_path)
    said = sources(book_of(tmp_path / "exercises"))
    assert "3 questions of your teacher's own" in said["title"]
    assert f'own="{lesson}-own-questions.json"' in said["open"]
    assert [each for each in said if each.startswith("own-check")] == [
        "own-check-reach_cm",
        "own-check-way",
        "own-check-joints",
    ]
    names, printed = run_at_home(tmp_path / "exercises", RIGHT, monkeypatch)
    assert list(names["hw"].questions) == ["reach_cm", "way", "joints"]
    assert "questions right" not in printed or printed == "3 of 3 questions right so far.\n"
    hand_in(tmp_path, "pip", RIGHT, book_of(tmp_path / "exercises"), lesson)
    by_plan(tmp_path, text)
    assert [*scores(tmp_path, "pip").values()] == [1, 1, 1]


def test_nobody_reads_an_answer_by_accident(handed_out):
    for path in handed_out.parent.rglob("*"):
        text = path.read_text("utf-8") if path.is_file() else ""
        for secret in ("100 * (thigh", "thigh alone", "heron's ankle", '"hip", "knee"'):
            assert secret not in text


def test_a_teacher_can_do_it_by_the_readme_alone(tmp_path, monkeypatch):
    text = (classroom.ROOT / "README.md").read_text("utf-8")
    setting = text.partition("**Setting work:**")[2].partition("**Marking:**")[0]
    first, second = re.findall(r"```bash\nrigkit (.+)\n```", setting)
    (snippet,) = re.findall(r"```toml\n(.+?)```", setting, re.DOTALL)
    (deadline,) = re.findall(r"`(deadline = .+?)`", setting)
    assert cli.main(first.split()) == 0
    path = tmp_path / "hand-out-plan.toml"
    told = path.read_text("utf-8")
    assert f"# {deadline}" in told
    path.write_text(f"{told.replace(f'# {deadline}', deadline)}\n{snippet}", "utf-8")
    assert cli.main(second.split()) == 0
    with zipfile.ZipFile("homework.zip") as archive:
        archive.extractall("homework")
    book = book_of(tmp_path / "homework" / "exercises")
    checks = [text for name, text in sources(book).items() if "check" in name]
    names = ["freedom", "solve_leg", "steps", "reach_cm"]
    assert [re.findall(r"\((\w+)", each)[0] for each in checks] == names
    (terms,) = plan.read(path).values()
    assert (len(terms.weights), terms.deadline) == (4, "2026-12-01T18:00:00")


# --- at home


def run_at_home(handed_out, answers, monkeypatch):
    """The names and the prints of the packed notebook, run from top to bottom."""
    monkeypatch.chdir(handed_out)
    names = {}
    with redirect_stdout(io.StringIO()) as printed:
        for cell in book_of(handed_out)["cells"]:
            if cell["cell_type"] == "code":
                name = cell["metadata"].get("rigkit", {}).get("question", "").rpartition("/")[2]
                exec(answers.get(name, "".join(cell["source"])), names)
    return names, printed.getvalue()


def test_the_packed_notebook_knows_them_and_counts_what_it_asks(handed_out, monkeypatch):
    names, printed = run_at_home(handed_out, RIGHT, monkeypatch)
    assert list(names["hw"].questions) == ["solve_leg", "reach_cm", "way", "joints"]
    assert printed == "3 of 4 questions right so far.\n"
    wrong = names["hw"].check(reach_cm=100 * names["mine"].thigh)
    assert repr(wrong).startswith("Not yet: That is the thigh alone.\nScore 0%.")
    assert str(round(100 * (names["mine"].thigh + names["mine"].shank), 1)) not in repr(wrong)


def test_a_part_of_a_lesson_counts_what_it_asks(tmp_path):
    hw = notebook.open_homework("06", "ada", questions=["steps", "solve_leg"])
    assert list(hw.questions) == ["solve_leg", "steps"]
    assert hw.progress() == "0 of 2 questions right so far."
    with pytest.raises(ValueError, match="`questions` must be names of shortening_cm"):
        notebook.open_homework("06", "ada", questions=["walk"])
    with pytest.raises(ValueError, match="must name one at least"):
        notebook.open_homework("06", "ada", questions=[])


def test_without_the_file_it_says_to_unpack_the_whole_zip(handed_out, monkeypatch):
    (handed_out / "06-own-questions.json").unlink()
    with pytest.raises(ValueError, match="Unpack the whole zip"):
        run_at_home(handed_out, RIGHT, monkeypatch)


@pytest.mark.parametrize("data", [b"", b"{}", b"[1]", b"\xff", b'{"rigkit_questions": "W10="}'])
def test_another_file_is_refused(tmp_path, data):
    (tmp_path / "own.json").write_bytes(data)
    with pytest.raises(ValueError, match=r"own\.json holds no questions of lesson 06"):
        notebook.open_homework("06", "ada", own=tmp_path / "own.json")


def test_a_file_of_another_lesson_is_refused(handed_out):
    with pytest.raises(ValueError, match="holds no questions of lesson 07"):
        notebook.open_homework(7, "ada", own=handed_out / "06-own-questions.json")


# --- marked


@pytest.mark.needs_jail
def test_from_a_plan_to_marks_in_the_jail_and_back(tmp_path, handed_out):
    book = book_of(handed_out)
    wrong = RIGHT | {"reach_cm": "reach_cm = 100 * mine.thigh", "way": 'way = "back"'}
    hand_in(tmp_path, "tamsin", RIGHT, json.loads(json.dumps(book)))
    hand_in(tmp_path, "odo", wrong, json.loads(json.dumps(book)))
    off = {"reach_cm": "reach_cm = 100 * (mine.thigh + mine.shank) + 2"}
    hand_in(tmp_path, "pip", off | {"joints": 'joints = ["knee", "hip", "ankle"]'}, book)
    by_plan(tmp_path, PLAN)
    assert list(scores(tmp_path, "tamsin")) == IDS
    assert [*scores(tmp_path, "tamsin").values()] == [0, 1, 1, 1]
    assert [*scores(tmp_path, "odo").values()] == [0, 0, 0, 1]
    assert [*scores(tmp_path, "pip").values()] == [0, 0, 0, 0]
    room = open_results(tmp_path / "results")
    of = {entry.learner.id: entry for entry in room.entries}
    assert of["tamsin"].score == (1 + 0.5 + 0.5) / 4
    said = {one.question: one for one in of["odo"].outcomes}
    assert said["06/reach_cm"].sentence == "That is the thigh alone."
    assert said["06/way"].sentence == "So does a heron's ankle, which looks like a knee."
    words = {one.question: one.word for one in of["pip"].outcomes}
    assert words["06/way"] == "Not attempted yet"
    assert not [entry.flags for entry in room.entries if entry.flags]
    assert {entry.about["jail"]["kind"] for entry in room.entries} == {"bwrap"}
    _shown_everywhere(tmp_path, room)
    mark(tmp_path)  # without the plan: the kept one counts
    assert [*scores(tmp_path, "odo").values()] == [0, 0, 0, 1]


def _shown_everywhere(folder, room):
    """Check the tables and pages of a class that is marked."""
    heads = (folder / "results" / "grades.csv").read_text("utf-8-sig").split("\n")[0]
    assert [each for each in heads.split(",") if "/" in each] == [f"{each} (%)" for each in IDS]
    page = (folder / "results" / "learners" / "odo.html").read_text("utf-8")
    assert "How far can an ankle get with a thigh of mine.thigh m" in page
    assert "That is the thigh alone." in page
    assert "get when" not in page
    shown = (folder / "results" / "class.html").read_text("utf-8")
    assert "That is the thigh alone." in shown
    assert "Which way does a knee point?" in shown
    in_words = {row["question"]: row["in words"] for row in room.misconceptions()}
    assert in_words["06/reach_cm"] == "That is the thigh alone."
    assert {row["question"]: row["asks"] for row in room.questions}["06/joints"].startswith("Name")


def test_nothing_of_a_right_answer_goes_into_the_jail(handed_out, tmp_path):
    (terms,) = plan.read(tmp_path / "plan.toml").values()
    homework = notebook.Homework(terms.questions("06"), "tamsin")
    cases = {
        name: homework.cases(question, 0)
        for name, question in homework.questions.items()
        if question.kind != "function"
    } | {"solve_leg": []}
    asked = _request(NOTHING, homework, cases, terms.known("06"))
    assert [(call.question, call.kind) for call in asked.calls] == [
        ("solve_leg", "function"),
        ("reach_cm", "value"),
        ("way", "value"),
        ("joints", "value"),
    ]
    sent = json.dumps([asdict(call) | {"data": ""} for call in asked.calls])
    sent += json.dumps(asked.homework)
    for secret in ("100 *", "thigh alone", "front", 'ankle"', "heron's"):
        assert secret not in sent
    assert set(asked.homework["inputs"]["reach_cm"]) == {"thigh", "shank"}
    assert asked.homework["inputs"]["way"] == {}


def test_marks_follow_what_a_teacher_changes(tmp_path, handed_out, here):
    book = book_of(handed_out)
    off = {"reach_cm": "reach_cm = 100 * (mine.thigh + mine.shank) + 2", "way": 'way = "back"'}
    hand_in(tmp_path, "pip", off, book)
    by_plan(tmp_path, PLAN)
    assert scores(tmp_path, "pip")["06/reach_cm"] == 0
    assert here.lots == [["pip"]]
    by_plan(tmp_path, PLAN)
    by_plan(tmp_path, PLAN.replace("weight = 0.5", "weight = 3"))
    assert len(here.lots) == 1  # a weight needs no run
    by_plan(tmp_path, PLAN.replace("tolerance = 0.5", "tolerance = 3"))
    assert scores(tmp_path, "pip")["06/reach_cm"] == 1
    by_plan(tmp_path, PLAN.replace('right = "front"', 'right = "Back"').replace("BACK", "front"))
    assert scores(tmp_path, "pip") == dict.fromkeys(IDS, 0) | {"06/way": 1}
    assert here.lots == [["pip"]] * 3
    with record.Record(tmp_path / "results" / record.RECORD) as kept:
        assert len(list(kept.history())) == 3


def test_what_a_plan_leaves_out_is_not_asked_and_later_asked_after_all(tmp_path, here):
    book = classroom.submission("right", name="tamsin")
    place = tmp_path / "submissions" / "tamsin" / "06-preset-bend.ipynb"
    place.parent.mkdir(parents=True)
    place.write_bytes(book)
    by_plan(tmp_path, '[questions]\n"06/steps" = 1\n')
    with record.Record(tmp_path / "results" / record.RECORD) as kept:
        (entry,) = kept.history()
    assert [one.question for one in entry.outcomes] == ["06/steps"]
    assert list(entry.about["answers"]) == ["steps"]
    assert entry.flags == ()  # the cells on other questions find their numbers
    by_plan(tmp_path, '[questions]\n"06/steps" = 1\n"06/solve_leg" = 1\n')
    assert scores(tmp_path, "tamsin") == {"06/solve_leg": 1, "06/steps": 1}
    by_plan(tmp_path, '[questions]\n"06/solve_leg" = 1\n')
    assert scores(tmp_path, "tamsin") == {"06/solve_leg": 1}
    assert here.lots == [["tamsin"]] * 2


def test_an_entry_of_before_there_were_plans_was_asked_its_whole_lesson(tmp_path, handed_out):
    (terms,) = plan.read(tmp_path / "plan.toml").values()
    with record.Record(tmp_path / record.RECORD) as kept:
        kept.add(entries.entry(entries.learner(1)))
        assert kept.asked_otherwise() == set()
        built_in = replace(terms, own=(), weights={"06/steps": 1.0})
        kept.add_run({"plan": {"06": asdict(built_in)}})
        assert kept.asked_otherwise() == set()
        kept.add_run({"plan": {"06": asdict(terms)}})
        assert kept.asked_otherwise() == {("p0001", "06")}
        assert kept.plan() == {"06": terms}


def test_a_file_that_is_gone_is_flagged_when_a_plan_asks_more(tmp_path, here):
    for who in ("tamsin", "odo"):
        hand_in(tmp_path, who, {}, json.loads(classroom.submission("right", name=who)))
    by_plan(tmp_path, '[questions]\n"06/steps" = 1\n')
    (tmp_path / "submissions" / "odo" / "06-preset-bend.ipynb").unlink()
    by_plan(tmp_path, '[questions]\n"06/steps" = 1\n"06/solve_leg" = 1\n')
    flags = {e.learner.id: e.flags for e in open_results(tmp_path / "results").entries}
    assert flags["tamsin"] == ()
    assert "The plan asks more now" in flags["odo"][-1]


def test_a_correction_takes_their_ids(tmp_path, handed_out, here, capsys):
    hand_in(tmp_path, "pip", {}, book_of(handed_out))
    by_plan(tmp_path, PLAN)
    out = str(tmp_path / "results")
    override = ["mark", "--out", out, "--override", "pip", "06/reach_cm", "0.5", "--reason", "said"]
    assert cli.main(override) == 0
    assert scores(tmp_path, "pip")["06/reach_cm"] == 0.5
    table = tmp_path / "corrections.csv"
    table.write_text("learner,question,score,reason\npip,06/way,80%,on paper\n", "utf-8")
    assert cli.main(["mark", "--out", out, "--corrections", str(table)]) == 0
    assert scores(tmp_path, "pip")["06/way"] == 0.8
    override[5] = "06/walk"
    assert cli.main(override) == 2
    assert "06/joints" in capsys.readouterr().err
    heads = (tmp_path / "results" / "results.csv").read_text("utf-8")
    assert "pip" in heads


def test_the_file_holds_what_the_plan_does(tmp_path, handed_out):
    (terms,) = plan.read(tmp_path / "plan.toml").values()
    unpacked = own.unpack(handed_out / "06-own-questions.json", "06")
    assert list(unpacked) == ["reach_cm", "way", "joints"]
    assert [each.asks for each in unpacked.values()] == [
        terms.questions("06")[name].asks for name in unpacked
    ]
    assert terms.weights == dict(zip(IDS, (2, 1, 0.5, 0.5), strict=True))
    assert all("weight" not in table for table in terms.own)


def test_the_same_numbers_in_them_are_seen_and_what_is_packed_is_nobodys_own(handed_out, tmp_path):
    (terms,) = plan.read(tmp_path / "plan.toml").values()
    book, works = book_of(handed_out), {}
    for who, answer in (("tamsin", "83.1234"), ("odo", "83.1234"), ("pip", "80.5")):
        hand_in(tmp_path, who, {"reach_cm": f"reach_cm = {answer}"}, json.loads(json.dumps(book)))
        data = (tmp_path / "submissions" / who / "06-preset-bend.ipynb").read_bytes()
        works[who] = read_notebook(data).cells
    (group,) = likeness.groups(works.items(), terms.known("06"))
    assert (group.kind, group.learners) == ("the same numbers", ("tamsin", "odo"))
    assert "reach_cm" in group.sentence
    many = {f"own_{number}": None for number in range(30)}
    packed = tuple(cell for name in many for cell in own.cells(name))
    assert likeness.groups([("tamsin", packed), ("odo", packed)]) != []
    questions = dict.fromkeys(many, terms.known("06")["way"])
    assert likeness.groups([("tamsin", packed), ("odo", packed)], questions) == []
