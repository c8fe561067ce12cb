"""Deriving exercises and keeping notebooks tidy; the committed notebooks are tested in
tests/notebooks."""

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell, new_notebook, new_output

from rigkit import authoring


def a_solution():
    cells = [
        new_markdown_cell("# Knees", id="title"),
        new_markdown_cell(
            "Because the knee is a hinge.", id="why", metadata={"tags": ["solution-only"]}
        ),
        new_code_cell(
            "import math\n\n# in radians\nknee = math.pi / 2",
            id="answer-knee",
            metadata={"tags": ["answer"], "rigkit": {"question": "06/knee"}, "collapsed": True},
        ),
        new_code_cell("print(f'{1 / 3:.3f}')", id="a-number"),
        new_code_cell(
            "import ipywidgets\nipywidgets.IntSlider()", id="a-panel", metadata={"tags": ["live"]}
        ),
    ]
    return new_notebook(
        cells=cells,
        metadata={
            "rigkit": {"lesson": "06"},
            "widgets": {"state": {}},
            "language_info": {"name": "python", "version": "3.99"},
        },
    )


def test_a_function_keeps_signature_and_docstring():
    source = '''import numpy as np
from math import (
    cos,
)

# Angles in radians.
HELP = 3


@decorated
def solve(goal, upper: float,
          side=1):
    """Angles of the leg.

    In radians.
    """
    # the law of cosines
    def inner():
        return 1
    return cos(goal)  # done


def helper():
    return HELP
# after all'''
    assert (
        authoring.blank(source, "solve")
        == '''import numpy as np
from math import (
    cos,
)

# Angles in radians.


@decorated
def solve(goal, upper: float,
          side=1):
    """Angles of the leg.

    In radians.
    """
    ...


# after all'''
    )


@pytest.mark.parametrize(
    ("source", "blank"),
    [
        ("def f(a):\n    return a", "def f(a):\n    ..."),
        ("def f(a):\n    # think\n    b = a\n    return b", "def f(a):\n    ..."),
        ("def f(a): return a", "def f(a): ..."),
        ('def f(a):\n    """One line."""\n    return a', 'def f(a):\n    """One line."""\n    ...'),
        ("f = 3", "f = ..."),
        ("a = 2\nf = (a,\n     4)", "f = ..."),
        ("f: float = 3", "f = ..."),
        ("import math\nf = math.pi", "import math\nf = ..."),
        ("# half\nf = 0.5  # exactly", "# half\nf = ..."),
    ],
)
def test_answers_are_blanked(source, blank):
    assert authoring.blank(source, "f") == blank
    assert authoring.blank(blank, "f") == blank


@pytest.mark.parametrize("between", ["\n\n", "\n\n\n", "\n\n\n\n"])
def test_a_statement_that_goes_leaves_two_empty_lines_at_most(between):
    source = f"import math\n\n\nhelp = 2{between}f = 3"
    assert authoring.blank(source, "f") == "import math\n\n\nf = ..."


@pytest.mark.parametrize("source", ["", "g = 3", "f = 1\nf = 2", "if True:\n    f = 1", "f.x = 3"])
def test_an_answer_cell_defines_its_question_once(source):
    with pytest.raises(ValueError, match="must define `f` once"):
        authoring.blank(source, "f")


def test_an_exercise_drops_answers_reasoning_and_outputs():
    solution = authoring.tidy(a_solution())
    solution.cells[3].outputs = [new_output("stream", text="0.333\n")]
    solution.cells[3].execution_count = 2
    exercise = authoring.exercise(solution)
    assert [cell.id for cell in exercise.cells] == ["title", "answer-knee", "a-number", "a-panel"]
    assert exercise.cells[1].source == "import math\n\n# in radians\nknee = ..."
    assert exercise.cells[1].metadata == {"tags": ["answer"], "rigkit": {"question": "06/knee"}}
    assert [(cell.outputs, cell.execution_count) for cell in exercise.cells[1:]] == [([], None)] * 3
    assert solution.cells[3].outputs  # the solution itself is left alone


def test_an_answer_cell_without_its_question_is_refused():
    solution = a_solution()
    solution.cells[2].metadata.pop("rigkit")
    with pytest.raises(ValueError, match="answer-knee"):
        authoring.exercise(solution)


@pytest.fixture(scope="module")
def kept(tmp_path_factory):
    return authoring.text_of(authoring.run(a_solution(), tmp_path_factory.mktemp("solutions")))


def test_a_run_is_kept_without_times_versions_or_widgets(kept):
    notebook = nbformat.reads(kept, as_version=4)
    assert notebook.metadata == {
        "rigkit": {"lesson": "06"},
        "kernelspec": authoring.KERNEL,
        "language_info": {"name": "python"},
    }
    answer, number, panel = notebook.cells[2:]
    assert [cell.execution_count for cell in (answer, number, panel)] == [1, 2, 3]
    assert number.outputs == [{"output_type": "stream", "name": "stdout", "text": "0.333\n"}]
    assert number.metadata == {}
    assert panel.outputs == []
    assert panel.metadata == {
        "tags": ["live", "nbval-ignore-output"],
        "jupyter": {"source_hidden": True},
    }


def test_a_panel_is_kept_as_it_stands_still():
    data = {"application/vnd.jupyter.widget-view+json": {}, "text/html": "<p>A knee.</p>"}
    cell = new_code_cell("panel", id="a-panel", outputs=[new_output("display_data", data)])
    kept = authoring.tidy(new_notebook(cells=[cell])).cells[0]
    assert kept.outputs[0].data == {"text/html": "<p>A knee.</p>"}


def test_what_goes_further_is_folded_and_timed_apart():
    cells = [
        new_markdown_cell("# Knees\n\n" + "word " * 358, id="title"),
        new_code_cell("scene.knee_guess(tamsin)", id="guess"),
        new_markdown_cell("## Further: why $x = 1$\n\n[one](a.ipynb#b)", id="further"),
        new_code_cell("scene.knee_check()", id="check"),
        new_markdown_cell("### Deeper", id="deeper"),
        new_markdown_cell("## Recap", id="recap"),
        new_code_cell('YourLeg("07")', id="your-leg-step"),
    ]
    notebook = authoring.tidy(new_notebook(cells=cells))
    main, beyond = authoring.paths(notebook)
    assert [cell.id for cell in beyond] == ["further", "check", "deeper"]
    assert (authoring.words(main), authoring.words(beyond)) == (360, 5)
    assert (authoring.minutes(main), authoring.minutes(beyond)) == (2 + 2 + 3, 1)
    folded = [cell.id for cell in notebook.cells if cell.metadata]
    assert folded == ["further"]


def test_keeping_is_idempotent(kept):
    assert authoring.text_of(nbformat.reads(kept, as_version=4)) == kept
    assert authoring.problems(kept) == []


def test_nobodys_own_leg_is_saved_in_a_lesson(tmp_path):
    lesson = tmp_path / "lessons" / "07-a-knee.ipynb"
    lesson.parent.mkdir()
    lesson.write_text(authoring.text_of(new_notebook()))
    leg = lesson.with_name("my-leg.json")
    leg.write_text("mine")
    ((path, make),) = authoring.authored(["07"], tmp_path)
    with pytest.raises(ValueError, match=r"move my-leg\.json away"):
        make()
    assert (path, leg.read_text()) == (lesson, "mine")


def test_a_cell_that_fails_or_warns_stops_authoring(tmp_path):
    for source, says in (
        ("1 / 0", "ZeroDivisionError"),
        ("import sys; print('careful', file=sys.stderr)", "bad-cell"),
    ):
        notebook = new_notebook(cells=[new_code_cell(source, id="bad-cell")])
        with pytest.raises(ValueError, match=says):
            authoring.run(notebook, tmp_path)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        (lambda nb: nb.metadata.update(widgets={}), "not as authoring writes it"),
        (lambda nb: nb.cells[3].update(execution_count=9), "not as authoring writes it"),
        (lambda nb: nb.cells[4].metadata.update(tags=["live"]), "not as authoring writes it"),
        (lambda nb: nb.cells[0].update(id="a1b2c3d4"), "one a person can read"),
        (lambda nb: nb.cells[0].update(id="deadbeef"), "one a person can read"),
        (lambda nb: nb.cells[0].update(id="Title 1"), "one a person can read"),
        (lambda nb: nb.cells[0].update(source="![](leg.svg)"), "text alternative"),
        (lambda nb: nb.cells[0].update(source='<img src="leg.svg">'), "text alternative"),
        (lambda nb: nb.cells[0].update(source='<img src="leg.svg" alt="">'), "text alternative"),
        (
            lambda nb: nb.cells[3].outputs.append(
                new_output("display_data", {"text/plain": "leg", "image/svg+xml": "<svg></svg>"})
            ),
            "text alternative",
        ),
        (
            lambda nb: nb.cells[3].outputs.append(
                new_output("execute_result", {"text/plain": "<Leg at 0x7f00>"}, execution_count=2)
            ),
            "address in memory",
        ),
        (
            lambda nb: nb.cells[3].outputs.append(
                new_output("error", ename="E", evalue="", traceback=[])
            ),
            "an error",
        ),
    ],
)
def test_problems_are_found(kept, change, says):
    notebook = nbformat.reads(kept, as_version=4)
    change(notebook)
    found = authoring.problems(nbformat.writes(notebook) + "\n")
    assert any(says in problem for problem in found), found


def test_an_id_that_stands_twice_is_found(kept):
    assert authoring.problems(nbformat.writes(nbformat.reads(kept, as_version=4)) + "\n") == []
    with pytest.warns(nbformat.warnings.DuplicateCellId):
        found = authoring.problems(kept.replace('"id": "title"', '"id": "why"'))
    assert "cell id 'why' stands twice" in found


def test_the_command_writes_once_and_check_only_looks(tmp_path, monkeypatch, capsys):
    monkeypatch.setattr(authoring, "ROOT", tmp_path)
    monkeypatch.setattr(authoring, "run", lambda notebook, folder: notebook)
    monkeypatch.setattr(authoring.authored, "__defaults__", ((), tmp_path))
    for part in ("lessons", "solutions", "exercises"):
        (tmp_path / part).mkdir()
    nbformat.write(a_solution(), tmp_path / "solutions/06-knees.ipynb")
    assert authoring.main(["--check"]) == 1
    assert capsys.readouterr().out.count("would change") == 2
    assert not (tmp_path / "exercises/06-knees.ipynb").exists()
    assert authoring.main([]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "wrote solutions/06-knees.ipynb",
        "wrote exercises/06-knees.ipynb",
        "2 changed.",
    ]
    assert authoring.main(["--check"]) == 0
    assert authoring.main(["07"]) == 0
    assert capsys.readouterr().out == "0 changed.\n0 changed.\n"


def test_what_a_cell_prints_in_several_goes_is_one_output(tmp_path):
    source = "import time\nfor word in 'abc':\n    print(word, flush=True)\n    time.sleep(0.3)"
    ran = authoring.run(new_notebook(cells=[new_code_cell(source, id="prints")]), tmp_path)
    assert [output.text for output in ran.cells[0].outputs] == ["a\nb\nc\n"]
