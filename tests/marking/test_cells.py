"""Cells that do not run as they stand: what each costs, and what it must not cost."""

import ast
import json

import pytest

from rigkit.homework import catalogue, checking, notebook
from rigkit.marking import cell, jail
from rigkit.marking.attempts import run_through
from rigkit.marking.entry import Learner
from rigkit.marking.pipeline import mark_submission
from rigkit.marking.submission import Submission
from tests.marking.classroom import held, submission
from tests.marking.jails import ANSWERS, RIGHT, opened, request

IN_BOTH = pytest.mark.parametrize("kind", ["bwrap", "landlock"])
ENDLESS = pytest.mark.parametrize(
    "kind", ["bwrap", pytest.param("landlock", marks=pytest.mark.thorough)]
)
IGNORES = "import signal\nsignal.signal(signal.SIGPROF, signal.SIG_IGN)\nwhile True:\n    pass"


# --- a cell by itself


@pytest.mark.parametrize(
    ("source", "runs", "skipped"),
    [
        ("%pylab\nx = 1", "pass\nx = 1", []),
        ("if x:\n    %time f()", "if x:\n    f()", []),
        ("len?\n?len\nx", "pass\npass\nx", []),
        ("!pip install x\ny", "pass\ny", [1]),
        ("%pip install x\n%cd y\n%timeit f()\ny", "pass\npass\npass\ny", [1, 2]),
        ("files = !ls\ny", "pass\ny", [1]),
        ("if a:\n    !ls\n    b = 1", "if a:\n    pass\n    b = 1", [2]),
        ("!pip install x \\\n    y\nz", "pass\n\nz", [1]),
        ("!echo it's\n!echo (\n!echo [\nz = f(1)", "pass\npass\npass\nz = f(1)", [1, 2, 3]),
        ("a = '''\n!kept\n%kept\n'''\n!ls\nb", "a = '''\n!kept\n%kept\n'''\npass\nb", [5]),
        ("x = (5\n% 3)", "x = (5\n% 3)", []),
        ("\n%%time\nx = 1", "\n\nx = 1", []),
        ("%%html\n<b>", "", []),
        ("%%bash\nls", "", [1]),
    ],
)
def test_what_only_a_notebook_understands_is_taken_out(source, runs, skipped):
    told = []
    assert ast.dump(cell.python(source, skipped=told)) == ast.dump(ast.parse(runs))
    assert [one["line"] for one in told] == skipped


@pytest.mark.parametrize("source", ["def broken(:", "!ls\nx = 0,066", "%ls\nx =\n!ls"])
def test_what_is_not_python_either_is_an_error(source):
    with pytest.raises(SyntaxError):
        cell.python(source)


def test_imports_of_what_is_not_there_are_skipped_one_by_one():
    names = {}
    source = (
        "import nowhere_1\nimport math, nowhere_2.part as part\nfrom nowhere_3 import a\n"
        "from math import pi, nothing\nfound = math.cos(pi)"
    )
    told = cell.run(source, "<cell 1>", names, lambda work: work())
    assert names["found"] == -1
    assert told == {
        "ok": True,
        "skipped": [
            {"line": 1, "name": "nowhere_1"},
            {"line": 2, "name": "nowhere_2"},
            {"line": 3, "name": "nowhere_3"},
            {"line": 4, "name": "math.nothing"},
        ],
    }


def test_a_cells_own_handling_of_what_is_not_there_stays():
    names = {}
    source = (
        "from __future__ import annotations\ntry:\n    import nowhere\nexcept ImportError:\n"
        "    nowhere = 7\nimport math\ndef f(x: unknown): pass"
    )
    assert cell.run(source, "<cell 1>", names, lambda work: work()) == {"ok": True}
    assert names["nowhere"] == 7


# --- among others, in both jails


@pytest.mark.needs_jail
@ENDLESS
@pytest.mark.parametrize(
    ("source", "told"),
    [
        ("while True:\n    pass", {"error": "TimeLimitError", "seconds": 3.0}),
        (
            "while True:\n    try:\n        while True:\n            pass\n"
            "    except BaseException:\n        pass",
            {"error": "TimeLimitError", "seconds": 3.0},
        ),
        (IGNORES, {"left out": "time limit"}),
        ("import os\nos._exit(0)", {"left out": "stopped early"}),
        ("while True:\n    print('x' * 10**6)", {"left out": "output limit"}),
    ],
)
def test_a_cell_that_will_not_end_costs_nothing_but_itself(kind, source, told):
    found = run_through(request("x = 1", source, ANSWERS), opened(kind))
    assert (found.end, found.records) == ("finished", RIGHT)
    ended = {name: value for name, value in found.cells[1].items() if name != "line"}
    assert ended == told
    assert (found.cells[0], found.cells[2]) == ({"ok": True}, {"ok": True})


@pytest.mark.needs_jail
def test_a_cell_that_makes_files_without_end_costs_nothing_but_itself():
    source = "for number in range(10**6):\n    open(f'/tmp/{number}', 'w').close()"
    found = run_through(request("x = 1", source, ANSWERS), opened())
    assert (found.end, found.records) == ("finished", RIGHT)
    assert found.cells == ({"ok": True}, {"left out": "file limit"}, {"ok": True})


@pytest.mark.needs_jail
def test_many_endless_cells_leave_time_for_the_answers():
    found = run_through(request(*["while True:\n    pass"] * 7, ANSWERS), opened())
    assert found.records == RIGHT
    assert [one.get("error") for one in found.cells] == ["TimeLimitError"] * 7 + [None]


@pytest.mark.needs_jail
@IN_BOTH
def test_an_answer_that_ends_the_run_costs_itself_alone(kind):
    source = "def twice(x):\n    import os\n    os._exit(0)\n\nseven = 7"
    found = run_through(request(source), opened(kind))
    assert found.end == "stopped early"
    assert found.records == {
        "twice": [{"end": "stopped", "seconds": None}],
        "seven": RIGHT["seven"],
    }


@pytest.mark.needs_jail
def test_an_answer_that_comes_too_late_is_none_whoever_turned_the_alarm_off():
    source = (
        "import signal, time\ndef twice(x):\n    signal.setitimer(signal.ITIMER_REAL, 0)\n"
        "    time.sleep(1.7)\n    return 2 * x\n\nseven = 7"
    )
    found = opened().run(request(source))
    assert found.records["twice"] == [{"end": "stopped", "seconds": 1.0}] * 3
    assert found.records["seven"] == RIGHT["seven"]


# --- a whole submission


def marked(first, kind="bwrap", lesson="06"):
    """The entry of the right answers with something before the first line of the opening cell."""
    book = json.loads(submission("right", lesson=lesson, name="Maren Moorland"))
    cell = next(cell for cell in book["cells"] if cell["cell_type"] == "code")
    cell["source"] = f"{first}\n{''.join(cell['source'])}"
    file = held("a/06.ipynb", json.dumps(book).encode())
    learner = Learner("p07", "Maren Moorland")
    handed_in = Submission(learner, lesson, file.place, file.digest, file, seed="s" * 64)
    return mark_submission(handed_in, opened(kind))


@pytest.mark.needs_jail
@IN_BOTH
@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("!pip install numpy", "line 1, `!pip install numpy`, was skipped"),
        ("%pip install numpy", "line 1, `%pip install numpy`, was skipped"),
        ("import scipy", "`scipy` cannot be imported here"),
        ("import pandas as pd", "`pandas` cannot be imported here"),
    ],
)
def test_a_line_that_cannot_be_run_costs_no_question(kind, line, said):
    entry = marked(line, kind)
    assert entry.score == 1
    assert entry.flags == ()
    (told,) = entry.about["told"]
    assert "In the opening cell" in told
    assert said in told


@pytest.mark.needs_jail
@ENDLESS
def test_a_loop_that_never_ends_costs_no_other_question(kind):
    entry = marked("def freedom(*x):\n    while True:\n        pass\n\nfreedom()", kind)
    assert entry.score == 1
    assert "the exercise's own was run first" in entry.flags[0]
    assert "The opening cell was ended in line" in entry.flags[1]


@pytest.mark.needs_jail
@IN_BOTH
def test_a_package_that_a_teacher_allows_can_be_imported(kind):
    pytest.importorskip("scipy")
    opened(kind)
    ours = jail.open_jail(kind, allowed=("scipy",))
    ours.self_test()
    found = ours.run(request("from scipy import optimize", ANSWERS, "optimize.brentq"))
    assert found.cells == ({"ok": True},) * 3
    assert ours.about["allowed"] == ["scipy"]


def test_a_decimal_comma_is_told_as_such():
    question = catalogue.questions("06")["shortening_cm"]
    cases = notebook.open_homework("06", "Pip").cases(question, 0)

    def told(value):
        return checking.score_answers(question, cases, [{"out": value}]).sentence

    assert "0,66 is two numbers in Python; write 0.66" in told([0.0, 66.0])
    for other in ([0.5, 66.0], [0.0, -6.0], [0.0, 6.0, 6.0], [[0.0, 66.0]]):
        assert "has shape" in told(other)
