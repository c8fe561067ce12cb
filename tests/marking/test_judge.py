"""One submission to its entry: whose numbers, which cases, what each end of a run comes to; the
jail is pretended."""

import builtins
import json

import pytest

from rigkit.homework import calling, catalogue, checking, notebook
from rigkit.marking import learner_page
from rigkit.marking.calls import Run
from rigkit.marking.entry import FINISHED, NOT_STARTED, Learner
from rigkit.marking.judge import better, ran_out_of_time
from rigkit.marking.pipeline import mark_submission
from rigkit.marking.submission import Submission
from tests.homework.solved import answered
from tests.marking.classroom import held, submission

MAREN = Learner("p07", "Maren Moorland", also=("Mo",))


class PretendJail:
    """Gives the answers it was made with, in the shape in which a jail gives them."""

    def __init__(self, answers, end=FINISHED, cells=(), most=99, signal=None):
        self._answers, self._end, self._cells, self._most, self._signal = (
            answers,
            end,
            cells,
            most,
            signal,
        )

    def run(self, request, seconds=20.0):
        self.request = request
        records = {}
        for call in request.calls:
            if call.question in self._answers:
                answer = self._answers[call.question]
                made = (
                    [calling.record_value(answer)] * max(1, len(call.cases))
                    if not callable(answer)
                    else calling.call(answer, call.cases)
                )
                records[call.question] = made[: self._most]
        return Run(
            self._end,
            self._signal,
            tuple(self._cells),
            records,
            "said",
            0.1,
            0.1,
            10,
            False,
            {"kind": "bwrap"},
        )


def handed_in(learner=MAREN, kind="right", name="Maren Moorland", seed="s" * 64, data=None):
    data = submission(kind, name=name) if data is None else data
    file = held("a/06.ipynb", data)
    return Submission(learner, "06", file.place, file.digest, file, seed=seed)


def solution(student):
    return {
        name: answer
        for name, answer in answered("06", student).items()
        if name in catalogue.questions("06")
    }


@pytest.fixture(scope="module")
def solved():
    return solution("Maren Moorland")


@pytest.fixture
def marens(solved):
    return dict(solved)


def test_right_answers_are_worth_everything_and_flag_nothing(marens):
    entry = mark_submission(handed_in(), PretendJail(marens))
    assert entry.marked
    assert entry.score == 1
    assert [outcome.question for outcome in entry.outcomes] == [
        q.id for q in catalogue.questions("06").values()
    ]
    assert (entry.flags, entry.why, entry.end, entry.file) == ((), "", FINISHED, "a/06.ipynb")
    assert entry.about["seed"] == "s" * 64
    assert entry.about["student"] == "Maren Moorland"
    assert entry.about["counts"]["solve_leg"] == {"right": 12}


def test_what_is_known_of_the_run_is_in_the_private_part_alone(marens):
    about = mark_submission(handed_in(), PretendJail(marens)).about
    assert set(about) == {
        "seed",
        "student",
        "asked",
        "rigkit",
        "jail",
        "signal",
        "wall",
        "cpu",
        "bytes_out",
        "cut",
        "cells",
        "answers",
        "printed",
        "counts",
    }


def hidden(jail, name="solve_leg"):
    return next(call.cases for call in jail.request.calls if call.question == name)


def test_the_cases_of_a_function_hang_on_the_seed_alone_and_are_none_that_a_learner_can_see(marens):
    first, second, other = PretendJail(marens), PretendJail(marens), PretendJail(marens)
    mark_submission(handed_in(), first)
    mark_submission(handed_in(), second)
    mark_submission(handed_in(seed="t" * 64), other)
    assert hidden(first) == hidden(second)
    homework = notebook.Homework(catalogue.questions("06"), "Maren Moorland")
    fixed = [
        case for case in hidden(first) if case in hidden(other)
    ]  # such as a straight leg hanging down
    seen = [
        case
        for attempt in range(20)
        for case in homework.cases(homework.questions["solve_leg"], attempt)
    ]
    assert [case for case in hidden(first) if case in seen] == fixed
    assert len(fixed) <= 3
    assert hidden(first, "steps") == []


def test_what_goes_in_tells_the_numbers_of_the_learner_and_neither_seed_nor_answer(marens):
    jail = PretendJail(marens)
    mark_submission(handed_in(), jail)
    assert set(jail.request.homework) == {"lesson", "student", "inputs", "character"}
    homework = notebook.Homework(catalogue.questions("06"), "Maren Moorland")
    assert (
        jail.request.homework["inputs"]["steps"]
        == homework.cases(homework.questions["steps"], 0)[0]
    )
    assert jail.request.homework["character"]["bones"] == homework.character.bones
    assert "s" * 64 not in repr(jail.request)


@pytest.mark.parametrize(
    ("name", "listed"),
    [
        ("Maren Moorland", "Maren Moorland"),
        ("  maren MOORLAND ", "Maren Moorland"),
        ("Moorland, Maren", "Maren Moorland"),
        ("P07", "p07"),
        ("MO", "Mo"),
    ],
)
def test_the_typed_name_counts_when_it_is_the_learners_own(name, listed):
    jail = PretendJail(solution(name.strip()))
    entry = mark_submission(handed_in(name=name), jail)
    assert jail.request.homework["student"] == listed  # as the list has it
    assert entry.score == 1
    assert entry.flags == ()


def test_another_name_brings_no_marks_but_a_teacher_is_told_what_would_fit_it():
    entry = mark_submission(handed_in(name="learner-07"), PretendJail(solution("learner-07")))
    assert entry.about["student"] == "p07"
    assert entry.scores["06/shortening_cm"] < 1
    assert entry.scores["06/solve_leg"] == 1  # a function is right for anybody
    assert (
        entry.flags[0] == 'The notebook is made out to "learner-07"; the numbers of p07 were taken.'
    )
    assert '06/shortening_cm would be right for "learner-07".' in entry.flags


def test_a_misconception_is_recognised(marens):
    wrong = {m.name: m.answer for m in catalogue.questions("06")["solve_leg"].misconceptions}
    entry = mark_submission(handed_in(), PretendJail(marens | {"solve_leg": wrong["degrees"]}))
    found = next(outcome for outcome in entry.outcomes if outcome.question == "06/solve_leg")
    assert found.misconception == "degrees"
    assert entry.score < 1
    assert entry.flags == ()


def test_a_blank_exercise_is_a_polite_zero():
    def solve_leg(goal, upper, lower, side):
        """Not written yet."""
        ...

    blank = dict.fromkeys(catalogue.questions("06"), ...)
    entry = mark_submission(handed_in(kind="blank"), PretendJail(blank | {"solve_leg": solve_leg}))
    assert entry.marked
    assert entry.score == 0
    assert {outcome.word for outcome in entry.outcomes} == {checking.BLANK}
    assert {outcome.sentence for outcome in entry.outcomes} == {"no answer was handed in."}
    assert entry.flags == ()


def test_an_answer_that_never_came_says_which_cell_stopped(marens):
    marens["shortening_cm"] = ...
    cells = [{"ok": True}, {"error": "NameError", "line": 1, "name": "hv"}, {"ok": True}]
    entry = mark_submission(handed_in(), PretendJail(marens, cells=cells))
    assert entry.outcomes[0].score == 0
    assert entry.outcomes[0].word == checking.BLANK
    failed = (
        'the cell that begins `mine = hw.inputs("shortening_cm")` stopped with NameError in line 1:'
        " `hv` is not known."
    )
    assert entry.outcomes[0].sentence == f"there is no answer in `shortening_cm`; {failed}"
    assert entry.flags == (f"Not every cell ran: {failed}",)
    assert [outcome.score for outcome in entry.outcomes[1:]] == [1] * 6


@pytest.mark.parametrize(
    ("cell", "why"),
    [
        ({"error": "SyntaxError", "line": 1}, "stopped with SyntaxError in line 1"),
        (
            {"error": "TimeLimitError", "line": 2, "seconds": 3.0},
            "was ended in line 2 after 3 seconds; look for a loop that never ends",
        ),
        ({"left out": "time limit"}, "did not end and was left out"),
        ({"left out": "stopped early"}, "ended the whole run and was left out"),
    ],
)
def test_a_question_whose_cell_did_not_run_was_attempted(marens, cell, why):
    marens["shortening_cm"] = ...
    entry = mark_submission(handed_in(), PretendJail(marens, cells=[{"ok": True}] * 2 + [cell]))
    assert entry.outcomes[0].word == checking.NOT_YET
    assert entry.outcomes[0].sentence == f"could not be run: its cell {why}."
    assert f"the cell for `shortening_cm` {why}." in " ".join(entry.flags).lower().replace(
        "syntaxerror", "SyntaxError"
    )
    page = learner_page.html(MAREN, [entry])
    assert f"The cell for <code>shortening_cm</code> {why}." in page
    assert "Could not be run: its cell" in page
    assert "first cell to its last" not in page


def test_a_decimal_comma_that_python_cannot_read_is_told_as_such(marens):
    marens["shortening_cm"] = ...
    book = json.loads(submission("right", name="Maren Moorland"))
    answer = next(
        cell
        for cell in book["cells"]
        if cell["metadata"].get("rigkit", {}).get("question") == "06/shortening_cm"
    )
    answer["source"] = "shortening_cm = 0,066"
    cells = [{"ok": True}] * 2 + [{"error": "SyntaxError", "line": 1}]
    entry = mark_submission(
        handed_in(data=json.dumps(book).encode()), PretendJail(marens, cells=cells)
    )
    assert "Python writes decimals with a point" in entry.outcomes[0].sentence


LINES = [{"line": 1}, {"line": 3, "name": "scipy"}, {"line": 9999}]
SKIPPED = {"ok": True, "skipped": LINES}
FLAGS = (
    "In the opening cell, line 1, `import numpy as np`, was skipped: no other program can be"
    " run here.",
    "In the opening cell, line 3, `from rigkit.homework import open_homework`, was skipped:"
    " `scipy` cannot be imported here.",
    "In the opening cell, line 9999, a line, was skipped: no other program can be run here.",
)


def raising(kind):
    """An answer that ends with an error of a kind."""

    def solve_leg(goal, upper, lower, side):
        raise getattr(builtins, kind)("x")

    return solve_leg


def straight(goal, upper, lower, side):
    return {"hip": 0.0, "knee": 0.0}


@pytest.mark.parametrize(
    ("cells", "answer", "flagged"),
    [
        ([SKIPPED], None, False),  # all is right
        ([SKIPPED, {"error": "NameError", "line": 1, "name": "pd"}], None, False),
        ([SKIPPED], straight, False),  # wrong, but not for want of anything
        ([SKIPPED], raising("ZeroDivisionError"), False),
        ([SKIPPED], raising("NameError"), True),
        ([SKIPPED], raising("ImportError"), True),
        ([SKIPPED], raising("FileNotFoundError"), True),
        ([SKIPPED, {"error": "NameError", "line": 1, "name": "pd"}], straight, True),
        ([SKIPPED, {"error": "KeyError", "line": 1}], straight, False),
        ([{"ok": True}, {"error": "KeyError", "line": 5, "skipped": LINES}], straight, True),
    ],
)
def test_skipped_lines_are_told_and_flagged_where_they_may_have_cost(
    marens, cells, answer, flagged
):
    marens["solve_leg"] = answer or marens["solve_leg"]
    entry = mark_submission(handed_in(), PretendJail(marens, cells=cells))
    assert (entry.score == 1) == (answer is None)
    assert sum("was skipped" in flag for flag in entry.flags) == 3 * flagged
    assert entry.needs_a_look == bool(entry.flags)
    assert "<code>scipy</code> cannot be imported here" in learner_page.html(MAREN, [entry])
    assert sum("was skipped" in told for told in entry.about["told"]) == 3


def test_skipped_lines_in_words(marens):
    marens["solve_leg"] = raising("NameError")
    entry = mark_submission(handed_in(), PretendJail(marens, cells=[SKIPPED]))
    assert entry.flags == FLAGS


def test_a_name_that_was_missing_before_a_line_was_skipped_is_not_for_want_of_it(marens):
    marens["solve_leg"] = straight
    cells = [{"error": "NameError", "line": 1, "name": "pd"}, SKIPPED]
    entry = mark_submission(handed_in(), PretendJail(marens, cells=cells))
    assert not any("was skipped" in flag for flag in entry.flags)


def test_the_name_that_a_function_misses_is_told_if_it_is_one_of_the_notebooks(marens):
    def told(name, kind="NameError"):
        raised = {"end": "raised", "type": kind, "message": "", "line": 2, "name": name}

        class Raises(PretendJail):
            def run(self, request, seconds=20.0):
                found = super().run(request)
                found.records["solve_leg"][:] = [raised] * 12
                return found

        entry = mark_submission(handed_in(), Raises(marens))
        return next(o.sentence for o in entry.outcomes if o.question == "06/solve_leg")

    assert told("np").endswith("in line 2 with NameError: `np` is not known.")
    assert told("np", "ImportError").endswith("with ImportError: `np` cannot be imported here.")
    assert told("secret_1_25").endswith("in line 2 with NameError.")


@pytest.mark.parametrize("opening", [None, 'hw = open_homework("06", student="Maren)'])
def test_without_an_opening_cell_that_runs_the_exercises_own_is_run_first(marens, opening):
    book = json.loads(submission("right", name="Maren Moorland"))
    book["cells"] = [
        cell for cell in book["cells"] if "open_homework" not in "".join(cell["source"])
    ]
    if opening:
        book["cells"].insert(0, {"cell_type": "code", "source": opening, "metadata": {}})
    jail = PretendJail(marens, cells=[{"ok": True}] * 3)
    entry = mark_submission(handed_in(data=json.dumps(book).encode()), jail)
    assert "open_homework" in jail.request.cells[0]
    assert "import numpy as np" in jail.request.cells[0]
    assert "the exercise's own was run first" in entry.flags[0]
    assert len(entry.about["cells"]) == 2


def test_where_the_jail_did_not_start_nothing_is_marked_and_nothing_is_zero(marens):
    entry = mark_submission(handed_in(), PretendJail({}, end=NOT_STARTED))
    assert not entry.marked
    assert entry.score is None
    assert entry.scores == {}
    assert "jail did not start" in entry.why


def test_a_file_that_is_no_notebook_is_not_marked():
    entry = mark_submission(handed_in(data=b"{"), PretendJail({}))
    assert not entry.marked
    assert entry.score is None
    assert entry.why


def test_a_fault_of_the_kit_costs_nobody_a_mark(marens, monkeypatch):
    monkeypatch.setattr(checking, "score_answers", lambda *_: 1 / 0)
    entry = mark_submission(handed_in(), PretendJail(marens))
    assert not entry.marked
    assert "fault of the kit" in entry.why


@pytest.mark.parametrize(
    "end", ["time limit", "memory", "output limit", "file limit", "stopped early"]
)
def test_answers_given_before_a_run_was_cut_short_count(marens, end):
    del marens["steps"]
    entry = mark_submission(handed_in(), PretendJail(marens, end=end, most=3, signal=9))
    assert entry.marked
    assert entry.end == end
    by_name = {outcome.question: outcome for outcome in entry.outcomes}
    assert by_name["06/shortening_cm"].score == 1
    assert by_name["06/solve_leg"].right == 3
    assert by_name["06/solve_leg"].score == 3 / 12
    assert "stopped" in by_name["06/solve_leg"].sentence
    assert by_name["06/steps"].sentence == "no answer came: the run was cut short before it."
    assert entry.flags == (entry.why.replace("; answers given before that count", ""),)


def test_a_clock_that_cost_an_answer_asks_for_a_second_run(marens):
    assert ran_out_of_time(mark_submission(handed_in(), PretendJail(marens, end="time limit")))
    slow = PretendJail(marens)
    assert not ran_out_of_time(mark_submission(handed_in(), slow))

    class Stopped(PretendJail):
        def run(self, request, seconds=20.0):
            found = super().run(request)
            found.records["solve_leg"][5:] = [{"end": "stopped", "seconds": 3.0}] * 7
            return found

    assert ran_out_of_time(mark_submission(handed_in(), Stopped(marens)))


def test_of_two_runs_the_second_gives_what_the_clock_cost_in_the_first(marens):
    cut = mark_submission(handed_in(), PretendJail({}, end="time limit"))
    whole = mark_submission(handed_in(), PretendJail(marens))
    lost = mark_submission(handed_in(), PretendJail({}, end=NOT_STARTED))
    assert better(cut, whole).score == 1
    assert better(whole, cut).score == 1
    assert better(cut, lost).end == "time limit"
    assert [run["end"] for run in better(cut, whole).about["runs"]] == ["time limit", FINISHED]


def test_an_answer_that_came_in_the_first_run_is_not_taken_from_the_second(marens):
    guessed = marens | {"heron_side": "neither", "steps": ...}
    del guessed["preset_bend"]
    first = mark_submission(handed_in(), PretendJail(guessed, end="time limit"))
    second = mark_submission(handed_in(), PretendJail(marens))
    kept = better(first, second).scores
    assert kept["06/heron_side"] == 0
    assert kept["06/preset_bend"] == 1


def test_counts_tell_right_wrong_and_missing_cases_apart(marens):
    wrong = {m.name: m.answer for m in catalogue.questions("06")["solve_leg"].misconceptions}
    jail = PretendJail(marens | {"solve_leg": wrong["knee backwards"]})
    entry = mark_submission(handed_in(), jail)
    outcome = next(each for each in entry.outcomes if each.question == "06/solve_leg")
    counts = entry.about["counts"]["solve_leg"]
    assert counts.get("right", 0) == outcome.right
    assert counts["wrong"] == outcome.cases - outcome.right


def test_cells_that_stop_are_no_flag_where_every_answer_is_right(marens):
    cells = [{"ok": True}, {"error": "NameError", "line": 1}]
    assert mark_submission(handed_in(), PretendJail(marens, cells=cells)).flags == ()


def test_nothing_but_the_jail_runs_what_a_cell_says(marens):
    """Were it run here, this process would end."""
    data = submission("hostile", "ends the process", name="Maren Moorland")
    jail = PretendJail(marens)
    assert mark_submission(handed_in(data=data), jail).score == 1
    assert any("os._exit" in cell for cell in jail.request.cells)
