"""The committed notebooks: as authoring writes them; lessons and solutions run as saved, blank
exercises politely."""

import os
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from nbformat.v4 import new_code_cell, new_notebook

from rigkit import authoring
from rigkit.homework import catalogue

ROOT = Path(__file__).parents[2]
LESSONS, SOLUTIONS, EXERCISES = (
    authoring.notebooks(part, root=ROOT) for part in ("lessons", "solutions", "exercises")
)
PAGES = [ROOT / "lessons" / name for name in ("words.ipynb", "your-leg.ipynb")]


def named(path):
    return f"{path.parent.name}-{path.stem.partition('-')[0]}"


@pytest.mark.parametrize("path", [*LESSONS, *PAGES, *SOLUTIONS, *EXERCISES], ids=named)
def test_a_notebook_is_kept_as_authoring_writes_it(path):
    assert authoring.problems(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", [*LESSONS, *PAGES, *SOLUTIONS, *EXERCISES], ids=named)
def test_links_lead_somewhere(path):
    text = "\n".join(
        cell.source for cell in authoring.read(path).cells if cell.cell_type == "markdown"
    )
    links = [
        link.partition("#")[0] for link in re.findall(r"\]\(([^)\s]+)", text) if "://" not in link
    ]
    assert [link for link in links if not (path.parent / link).exists()] == []


@pytest.mark.parametrize("path", [*LESSONS, *PAGES, *SOLUTIONS], ids=named)
def test_lessons_and_solutions_were_run(path):
    code = [cell for cell in authoring.read(path).cells if cell.cell_type == "code"]
    assert [cell.execution_count for cell in code] == list(range(1, len(code) + 1))


def test_every_exercise_is_derived_from_its_solution():
    derived = {
        path.name: authoring.text_of(authoring.exercise(authoring.read(path))) for path in SOLUTIONS
    }
    assert derived == {path.name: path.read_text(encoding="utf-8") for path in EXERCISES}


@pytest.mark.parametrize("path", SOLUTIONS, ids=named)
def test_a_solution_answers_every_question(path):
    answers = [
        authoring.question_of(cell)
        for cell in authoring.read(path).cells
        if "answer" in cell.metadata.get("tags", [])
    ]
    assert answers == list(catalogue.questions(path.name[:2]))


def test_lessons_and_solutions_run_to_what_is_saved():
    run = subprocess.run(
        [
            sys.executable,
            "-m",
            "pytest",
            "--nbval",
            "--nbval-current-env",
            "--nbval-cell-timeout=60",
            "-p",
            "no:cacheprovider",
            *map(str, [*LESSONS, *PAGES, *SOLUTIONS]),
        ],
        cwd=ROOT,
        env=_environment(),
        capture_output=True,
        text=True,
        timeout=600,
        check=False,
    )
    assert run.returncode == 0, run.stdout[-6000:] + run.stderr[-2000:]


@pytest.mark.parametrize("path", EXERCISES, ids=named)
def test_a_blank_exercise_runs_to_its_end_politely(path):
    ran = authoring.run(authoring.read(path), path.parent)
    said = [
        output.data["text/plain"]
        for cell in ran.cells
        if cell.cell_type == "code" and "hw.check(" in cell.source
        for output in cell.outputs
        if output.output_type == "execute_result"
    ]
    assert len(said) == len(catalogue.questions(path.name[:2]))
    assert all(text.startswith("Not attempted yet: ") for text in said)


MISBEHAVING = """
def solve_leg(goal, upper, lower, side):
    while True:
        try:
            while True:
                print("on and on")
        except:
            pass

def freedom(upper, lower, hip, knee):
    print("x" * 5_000_000)
    raise SystemExit

def stuck_direction(upper, lower, hip):
    while True:
        yield 1.0
"""


@pytest.mark.skipif(
    not hasattr(signal, "setitimer"), reason="an endless loop cannot be stopped on this platform"
)
def test_the_notebook_goes_on_after_a_learners_worst(tmp_path):
    sources = [
        "from rigkit.homework import calling, open_homework",
        "calling.call.__defaults__ = (0.3,)",
        'hw = open_homework("06", student="ada")',
        MISBEHAVING,
        "hw.check(solve_leg)",
        "hw.check(freedom)",
        "hw.check(stuck_direction)",
        "1 + 1",
    ]
    cells = [new_code_cell(source, id=f"cell-{i}") for i, source in enumerate(sources)]
    ran = authoring.run(new_notebook(cells=cells), tmp_path)
    loops, exits, yields, after = (cell.outputs for cell in ran.cells[4:])
    assert [len(outputs) for outputs in (loops, exits, yields, after)] == [1, 1, 1, 1]
    assert "stopped after 0.3 seconds" in loops[0].data["text/plain"]
    assert "SystemExit" in exits[0].data["text/plain"]
    assert "a generator" in yields[0].data["text/plain"]
    assert after[0].data["text/plain"] == "2"


def _environment():
    return {
        **os.environ,
        "PYTHONPATH": os.pathsep.join([str(ROOT), os.environ.get("PYTHONPATH", "")]),
    }
