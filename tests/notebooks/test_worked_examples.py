"""The worked examples of DEVELOPERS.md, carried out as they are printed, in a copy of the
project."""

import os
import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import nbformat
import pytest
from nbformat.v4 import new_code_cell, new_markdown_cell

ROOT = Path(__file__).parents[2]
COPIED = ("rigkit", "tests", "lessons", "exercises", "solutions")
LONGEST = 44  # lines, formatted


def examples():
    """The examples by their heading: of each its blocks in order, as (language, text)."""
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    section = re.search(r"^## Adding things\n(.*?)^## ", page, re.MULTILINE | re.DOTALL)[1]
    parts = re.split(r"^### (.+)\n", section, flags=re.MULTILINE)[1:]
    blocks = {
        heading: re.findall(r"^```(\w+)\n(.*?)^```", text, re.MULTILINE | re.DOTALL)
        for heading, text in zip(parts[::2], parts[1::2], strict=True)
    }
    return {heading: found for heading, found in blocks.items() if found}


EXAMPLES = examples()


def python_of(heading):
    return [text for language, text in EXAMPLES[heading] if language == "python"]


@pytest.fixture
def copy(tmp_path):
    """A copy of the project to change."""
    for part in COPIED:
        shutil.copytree(
            ROOT / part, tmp_path / part, ignore=shutil.ignore_patterns("__pycache__", ".*")
        )
    for name in ("README.md", "DEVELOPERS.md", "pyproject.toml"):
        shutil.copy(ROOT / name, tmp_path)
    return tmp_path


def run(copy, heading):
    """Give the commands of an example, each of which must succeed."""
    (commands,) = (text for language, text in EXAMPLES[heading] if language == "bash")
    environment = {
        name: value for name, value in os.environ.items() if not name.startswith("PYTEST_")
    }
    for command in commands.splitlines():
        program, *arguments = shlex.split(command)
        python = {".venv/bin/python": [], ".venv/bin/pytest": ["-m", "pytest"]}[program]
        done = subprocess.run(
            [sys.executable, *python, *arguments],
            cwd=copy,
            capture_output=True,
            text=True,
            timeout=600,
            env={**environment, "PYTHONPATH": str(copy)},
            check=False,
        )
        assert done.returncode == 0, f"{command}\n{done.stdout[-6000:]}{done.stderr[-2000:]}"


def add_to(path, text):
    path.write_text(
        path.read_text(encoding="utf-8").rstrip("\n") + "\n\n\n" + text, encoding="utf-8"
    )


def test_each_example_is_there_and_short():
    assert list(EXAMPLES) == [
        "A question",
        "A misconception",
        "A rule of the inspection",
        "A lesson",
    ]
    blocks = [text for heading in EXAMPLES for _, text in EXAMPLES[heading]]
    assert [text for text in blocks if len(text.splitlines()) > LONGEST] == []
    assert [line for text in blocks for line in text.splitlines() if len(line) > 120] == []


def test_a_question_with_one_more_misconception(copy):
    question, answer = python_of("A question")
    (misconception,) = python_of("A misconception")
    first = question.index("    Misconception(")
    add_to(
        copy / "rigkit/homework/questions_02.py",
        f"{question[:first]}    {misconception.strip()},\n{question[first:]}",
    )
    (path,) = (copy / "solutions").glob("02-*.ipynb")
    book = nbformat.read(path, as_version=4)
    end = next(i for i, cell in enumerate(book.cells) if cell.id == "end")
    about = {"tags": ["answer"], "rigkit": {"question": "02/shank_heading"}}
    book.cells[end:end] = [
        new_markdown_cell("## Which way does the shank point?", id="ask-heading"),
        new_markdown_cell(
            "Flexion is counted from the thigh.",
            id="why-heading",
            metadata={"tags": ["solution-only"]},
        ),
        new_code_cell(answer, id="answer-heading", metadata=about),
        new_code_cell("hw.check(shank_heading)", id="check-heading"),
    ]
    nbformat.write(book, path)
    run(copy, "A question")
    (exercise,) = (copy / "exercises").glob("02-*.ipynb")
    assert "def shank_heading(hip, knee)" in exercise.read_text(encoding="utf-8")
    assert "return hip - knee" not in exercise.read_text(encoding="utf-8")


def test_a_rule_of_the_inspection(copy):
    rule, broken = python_of("A rule of the inspection")
    add_to(copy / "rigkit/inspection/skeleton_rules.py", rule)
    add_to(copy / "tests/unit/rigs.py", broken)
    run(copy, "A rule of the inspection")


def test_a_lesson(copy):
    scene, notebook = python_of("A lesson")
    (copy / "rigkit/scenes/squats.py").write_text(scene, encoding="utf-8")
    subprocess.run([sys.executable, "-c", notebook], cwd=copy, check=True)
    run(copy, "A lesson")
