"""README.md and DEVELOPERS.md: every command, number, link, picture and piece of code in them is as
it says."""

import re
import shlex
import subprocess
import sys
from importlib.util import find_spec
from pathlib import Path
from urllib.parse import unquote

import pytest

import rigkit
from rigkit import body, cli, course, homework, inspection
from rigkit.homework import catalogue
from tests.pictures import conventions, walking

ROOT = Path(__file__).parents[2]
PAGES = {name: (ROOT / name).read_text(encoding="utf-8") for name in ("README.md", "DEVELOPERS.md")}
README, DEVELOPERS = PAGES.values()
FENCE = re.compile(r"^```(\w+)\n(.*?)^```$", re.MULTILINE | re.DOTALL)
MOST_BYTES = 100_000  # of a picture


def prose(page):
    """A page without its blocks of code."""
    return FENCE.sub("", page)


def commands(page):
    """Every command of a page, from its blocks and its lines, without the folder that its program
    is in."""
    blocks = [text for language, text in FENCE.findall(page) if language in ("bash", "bat")]
    lines = re.findall(r"`(\S*(?:rigkit|python|pytest|pip) [^`]+)`", prose(page))
    found = [*"\n".join(blocks).splitlines(), *lines]
    parts = [part.strip().replace("\\", "/") for line in found for part in line.split("&&")]
    return [re.sub(r"^\.venv/(?:bin|Scripts)/", "", part) for part in parts if part]


def subcommands():
    """The parsers of `rigkit`'s commands, by name."""
    (choices,) = (
        action.choices for action in cli._parser()._actions if isinstance(action.choices, dict)
    )
    return choices


def named(value):
    return value if isinstance(value, str) else ""


# Commands


GIVEN = [
    (name, command) for name, page in PAGES.items() for command in dict.fromkeys(commands(page))
]


def test_commands_are_found():
    found = [command for _, command in GIVEN]
    assert "rigkit learn" in found
    assert "python -m tests.benchmarks" in found
    assert "python3 -m venv .venv" in found
    assert len(found) > 20


@pytest.mark.parametrize(("page", "command"), GIVEN, ids=named)
def test_a_command_can_be_given_as_it_stands(page, command):
    program, *words = shlex.split(command)
    if program == "rigkit" and len(words) == 1:
        assert words[0] in subcommands()
    elif program == "rigkit":
        cli._parser().parse_args(words)  # what is wrong ends it
    elif program in ("python", "python3", "py"):
        assert words[0] == "-m"
        assert find_spec(words[1])
        assert (
            "." not in words[1]
            or find_spec(words[1]).submodule_search_locations is None
            or (find_spec(f"{words[1]}.__main__"))
        )
    elif program == "pytest":
        assert [word for word in words if "/" in word and not (ROOT / word).exists()] == []
    elif program == "pip":
        extras = set(re.findall(r"\[(\w+)\]", command))
        assert all(
            f"\n{extra} = [" in (ROOT / "pyproject.toml").read_text(encoding="utf-8")
            for extra in extras
        )
    else:
        assert program in ("ruff", "mypy", "jupyter"), command


def test_the_first_two_commands_are_each_one_line_and_the_checks_take_the_second():
    first, second = (text for language, text in FENCE.findall(README)[:2])
    assert first.count("\n") == second.count("\n") == 1
    assert first.endswith("rigkit learn\n")
    assert re.findall(r"^python3 .*pytest.*$", README, re.MULTILINE) == [second.strip()]


@pytest.mark.parametrize("page", PAGES)
def test_an_option_that_is_spoken_of_exists(page):
    known = {option for each in subcommands().values() for option in each._option_string_actions}
    spoken = {
        option
        for words in re.findall(r"`(--[^`]+)`", prose(PAGES[page]))
        for option in words.split()[:1]
    }
    assert spoken - known - {"--check"} == set()  # that one is of `python -m rigkit.authoring`


# Code


def shown_code():
    """Each block of Python in README.md, with what it prints if the next block says so."""
    blocks = FENCE.findall(README)
    for (language, text), (after, said) in zip(blocks, [*blocks[1:], ("", "")], strict=True):
        if language == "python":
            yield text, said if after == "text" else ""


@pytest.mark.parametrize(("code", "said"), list(shown_code()), ids=["first", "second"])
def test_its_code_runs_and_prints_what_it_says(code, said, tmp_path):
    done = subprocess.run(
        [sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert (done.stdout.rstrip("\n"), done.stderr) == (said.rstrip("\n"), "")
    assert said


# Links, pictures, paths


def anchors(path):
    """The anchors of a page's headings, as code-hosting pages make them."""
    headings = re.findall(
        r"^#+ (.+)$", FENCE.sub("", path.read_text(encoding="utf-8")), re.MULTILINE
    )
    return {re.sub(r"[^\w\- ]", "", heading.lower()).replace(" ", "-") for heading in headings}


@pytest.mark.parametrize("page", PAGES)
def test_its_links_lead_somewhere(page):
    lost = []
    for link in re.findall(r"\]\(([^)\s]+)\)", prose(PAGES[page])):
        where, _, anchor = unquote(link).partition("#")
        target = ROOT / (where or page)
        if "://" in link or not target.exists() or (anchor and anchor not in anchors(target)):
            lost.append(link)
    assert lost == []


@pytest.mark.parametrize("page", PAGES)
def test_its_pictures_are_small_have_words_in_their_place_and_stay_at_home(page):
    shown = re.findall(r"!\[([^\]]*)\]\(([^)]+)\)", PAGES[page])
    shown += [
        pair[::-1]
        for pair in re.findall(r'<img src="([^"]+)" width="\d+" alt="([^"]+)">', PAGES[page])
    ]
    assert shown
    handed_out = {name for name, _ in course.shipped()}
    for words, path in shown:
        assert len(words) > 100, path
        assert (ROOT / path).stat().st_size < MOST_BYTES
        assert path not in handed_out
        assert not path.startswith("rigkit/")


def test_the_picture_of_the_conventions_is_current():
    kept = (ROOT / "tests" / "pictures" / "conventions.svg").read_text(encoding="utf-8")
    assert kept == conventions.picture().card() + "\n", "make it anew: python -m tests.pictures"


def test_the_picture_that_walks_is_current():
    kept = (ROOT / "tests" / "pictures" / "walking.svg").read_text(encoding="utf-8")
    assert kept == walking.svg(), "make it anew: python -m tests.pictures walking.svg"
    (cm,) = set(re.findall(r">(\d+) cm<", kept))
    (words,) = re.findall(r'<img src="tests/pictures/walking.svg".*? alt="(.+?)">', README)
    assert f"{cm} centimetres in every step" in words


def test_the_files_that_developers_read_of_are_there():
    spoken = set(re.findall(r"`((?:[\w.]+/)+[\w.]+\.(?:py|svg|png|ipynb))`", prose(DEVELOPERS)))
    assert len(spoken) > 5
    roots = (ROOT, ROOT / "rigkit")
    assert [path for path in spoken if not any((root / path).exists() for root in roots)] == []


# Numbers and words


def test_the_table_of_lessons_is_that_of_the_notebooks():
    rows = re.findall(r"^\| (\d\d) (.+?) \| .+ \| (\d+) \|$", README, re.MULTILINE)
    assert rows == [
        (lesson.number, lesson.title, str(lesson.minutes)) for lesson in course.lessons()
    ]


def test_what_is_counted_is_as_many():
    questions = [
        question for number in catalogue.lessons() for question in homework.questions(number)
    ]
    counts = {
        "rules": len(inspection.RULES),
        "lessons": len(course.lessons()),
        "questions": len(questions),
        "exercises": sum(lesson.exercise is not None for lesson in course.lessons()),
    }
    for name, count in counts.items():
        said = re.findall(rf"(\d+) {name}\b", re.sub(r"\d+ of \d+ questions", "", README))
        assert said, name
        assert set(said) == {str(count)}, name


def test_outside_tests_ask_the_programs_and_hold_the_cells_that_are_spoken_of():
    told = DEVELOPERS.split("## Where numbers come from")[1].split("\n## ")[0]
    (some,) = re.findall(
        r"programs are asked for the same\nresults: (.+?) and the\nvalidator", told, re.DOTALL
    )
    programs = re.findall(r"`(\w+)`", some)
    assert "Eight programs" in told
    assert len(programs) + 1 == 8  # with the validator
    texts = [path.read_text(encoding="utf-8") for path in (ROOT / "tests" / "outside").glob("*.py")]
    asked = set(re.findall(r"^ *(?:import|from) (\w+)", "\n".join(texts), re.MULTILINE))
    assert set(programs) <= asked
    cells = [
        name.endswith("_deg") or name in ("value", "at_percent")
        for table in ("gait_angles", "gait_paces", "gait_pelvis")
        for row in body.rows(table)
        for name, cell in row.items()
        if cell is not None
    ]
    assert f"all {sum(cells)} numbers" in told


def test_it_promises_no_times():
    assert re.findall(r"\b\d[\d.,]* ?(?:ms|s|seconds?|hours?|a second|per second)\b", README) == []


def test_its_job_comes_first_in_one_paragraph():
    title, job, picture, panel, *_ = README.split("\n\n")
    assert title.startswith("# ")
    assert len(job.split()) < 160
    assert picture.startswith("<img ")
    assert panel.startswith("<img ")


def test_it_is_cited_by_the_version_there_is():
    (bibtex,) = (text for language, text in FENCE.findall(README) if language == "bibtex")
    fields = dict(re.findall(r"^ *(\w+) *= \{+(.+?)\}+,?$", bibtex, re.MULTILINE))
    assert fields["version"] == rigkit.__version__
    plain = (
        f"{fields['author']} ({fields['year']}). *{fields['title']}* (version {fields['version']})"
    )
    assert plain in README
    assert README.startswith(f"# {fields['title']}\n")


def test_the_newest_change_is_of_this_version():
    changes = README.partition("\n## Changes\n")[2]
    assert "\n## " not in changes
    assert re.findall(r"^### (\S+) \(\d{4}\)$", changes, re.MULTILINE)[0] == rigkit.__version__
