"""A class as it really is, in one folder: each kind of work with the mark it must get, and the
words that must stand on its page.

The table is written by hand. A row says who hands it in, how, which questions that costs, and what
the learner reads.
"""

import csv
import functools
import html
import json
import os
import re
import subprocess
import sys
import unicodedata
from collections.abc import Callable
from dataclasses import dataclass

import pytest

from rigkit.homework import catalogue
from rigkit.marking.record import RECORD, Record
from tests.marking.classroom import ROOT, submission
from tests.marking.jails import opened

pytestmark = pytest.mark.needs_jail
QUESTIONS = tuple(catalogue.questions("06"))
FILE = "06-preset-bend.ipynb"
SAME_TIME = (10**9, 10**9)


# --- what is handed in


def right(name):
    """The notebook of someone whose answers are all right."""
    return json.loads(submission("right", name=name))


def blank(name):
    return json.loads(submission("blank", name=name))


def answering(name, **answers):
    """The same with some answers as these sources."""
    book = right(name)
    for cell in book["cells"]:
        question = cell["metadata"].get("rigkit", {}).get("question", "").rpartition("/")[2]
        if question in answers:
            cell["source"] = answers[question]
    return book


def opening(name, before):
    """The same with lines before the first code cell's own."""
    book = right(name)
    first = next(cell for cell in book["cells"] if cell["cell_type"] == "code")
    first["source"] = before + "\n" + "".join(first["source"])
    return book


def leaving(name, *questions):
    """The same with these questions as the exercise asks them."""
    cells = {cell["id"]: cell["source"] for cell in blank(name)["cells"]}
    book = right(name)
    for cell in book["cells"]:
        if cell["metadata"].get("rigkit", {}).get("question", "").rpartition("/")[2] in questions:
            cell["source"] = cells[cell["id"]]
    return book


def with_cell(name, source):
    """The same with a cell more, after the first code cell."""
    book = right(name)
    first = next(i for i, cell in enumerate(book["cells"]) if cell["cell_type"] == "code")
    cell = {"cell_type": "code", "execution_count": None, "id": "more", "metadata": {}}
    book["cells"].insert(first + 1, cell | {"outputs": [], "source": source})
    return book


def without_opening(name):
    book = right(name)
    first = next(cell for cell in book["cells"] if cell["cell_type"] == "code")
    book["cells"].remove(first)
    return book


def opens_lesson(name, number):
    return json.loads(json.dumps(right(name)).replace('open_homework(\\"06\\"', number))


def empty():
    return {"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}


def handed(place, **files):
    """Write files, by their names without the ending; a notebook as JSON, else bytes."""
    place.mkdir(parents=True, exist_ok=True)
    for name, what in files.items():
        data = what if isinstance(what, bytes) else json.dumps(what).encode()
        path = place / (FILE if name == "own" else f"{name}.ipynb")
        path.write_bytes(data)
        os.utime(path, SAME_TIME)


def own(make):
    """Hand in one notebook in a folder with the learner's name and id."""
    return lambda root, who, name: handed(root / f"{name} ({who})", own=make(name))


def two(**kinds):
    """Hand in two notebooks with one time stamp, under these names."""

    def write(root, who, name):
        files = {each.replace("_1", " (1)"): make(name) for each, make in kinds.items()}
        handed(root / f"{name} ({who})", **files)

    return write


def heap(root, who, name):
    """Hand in the right work among three hundred other files."""
    handed(root / f"{name} ({who})", own=right(name))
    for number in range(300):
        (root / f"{name} ({who})" / f"picture-{number}.png").write_bytes(b"\x89PNG")


def in_folder(title):
    """Hand in the right work in a folder called otherwise than the roster has it."""
    return lambda root, who, name: handed(root / title, own=right(name))


def run_together(root, who, name):
    """Hand in a file whose name begins with one's own, in one word, without capitals."""
    (root / "vondermoleannalena_4711_06-preset-bend.ipynb").write_text(json.dumps(right(name)))


# --- the table


ALL = QUESTIONS
NOT_MARKED = "not marked"


@dataclass(frozen=True)
class Row:
    """One learner: their name, what they do, what it costs, what stands on their page, what must
    not, and what the class page says to the teacher."""

    name: str
    hand_in: Callable
    costs: tuple[str, ...] | str = ()
    words: tuple[str, ...] = ()
    hides: str = ""
    told: tuple[str, ...] = ()


NEVER = "while True:\n    pass"
SOLVES_WITHOUT_END = "def solve_leg(goal, upper, lower, side):\n    while True:\n        pass"
SOLVES_BY_SCIPY = (
    "from scipy import optimize\n\n\ndef solve_leg(goal, upper, lower, side):\n"
    "    return optimize.fsolve(len, goal)"
)
MARKUP = (
    "class Script(Exception):\n    pass\n\nScript.__name__ = '<script>alert(1)</script>'\n"
    "raise Script('<img src=x onerror=alert(2)>')"
)
MODULE_LEVEL_NAME = "print(goal_of_mine)"
HALF = ("solve_leg", "heron_side", "steps")
IN_METRES = """
angle = np.radians(mine.bend_deg)
reach = np.sqrt(mine.upper**2 + mine.lower**2 + 2 * mine.upper * mine.lower * np.cos(angle))
shortening_cm = mine.upper + mine.lower - reach
"""

ROWS = {
    "right": Row("Anneke Anchorage", own(right)),
    "half right": Row(
        "Bastian Bollard",
        own(lambda name: leaving(name, *HALF)),
        HALF,
        ("Not attempted yet", "No answer was handed in"),
    ),
    "an endless loop in a cell": Row(
        "Cleo Capstan", own(lambda name: with_cell(name, NEVER)), (), ("ended",)
    ),
    "an endless loop in an answer": Row(
        "Dagny Driftwood",
        own(lambda name: answering(name, solve_leg=SOLVES_WITHOUT_END)),
        ("solve_leg",),
        ("never ends",),
    ),
    "a shell line first": Row(
        "Emre Eddystream", own(lambda name: opening(name, "!pip install numpy")), (), ("!pip",)
    ),
    "a magic first": Row(
        "Fenja Foghorn", own(lambda name: opening(name, "%matplotlib inline")), ()
    ),
    "pandas, not used": Row(
        "Gesa Gangway", own(lambda name: opening(name, "import pandas as pd")), (), ("pandas",)
    ),
    "scipy, used": Row(
        "Hauke Halyard",
        own(lambda name: answering(name, solve_leg=SOLVES_BY_SCIPY)),
        ("solve_leg",),
        ("scipy",),
    ),
    "no opening cell": Row("Ilka Inshore", own(without_opening), (), ("opening cell",)),
    "a SyntaxError": Row(
        "Joris Jetty",
        own(lambda name: answering(name, solve_leg="def solve_leg(goal:\n    return 1")),
        ("solve_leg",),
        ("Could not be run", "SyntaxError", "solve_leg"),
        hides="Not attempted yet",
    ),
    "a NameError in an answer": Row(
        "Kaja Keelson",
        own(lambda name: answering(name, heron_side="heron_side = which_side(heron)")),
        ("heron_side",),
        ("Could not be run", "which_side", "heron_side"),
    ),
    "a NameError beside": Row(
        "Lennart Lanternby", own(lambda name: with_cell(name, MODULE_LEVEL_NAME)), ()
    ),
    "a decimal comma": Row(
        "Maren Moorland",
        own(lambda name: answering(name, shortening_cm="shortening_cm = 0,66")),
        ("shortening_cm",),
        ("comma",),
    ),
    "a wrong model": Row(
        "Nuno Netmender",
        own(lambda name: answering(name, shortening_cm=IN_METRES)),
        ("shortening_cm",),
        ("These are the values you get when", "metres"),
    ),
    "markup in its words": Row(
        "Oluchi O'Tide", own(lambda name: with_cell(name, MARKUP)), (), (), "<script>alert(1)"
    ),
    "cut short": Row(
        "Pelle Pilotson",
        own(lambda name: json.dumps(right(name)).encode()[:2000]),
        NOT_MARKED,
        ("Not marked", "not a notebook, or it was cut short"),
    ),
    "junk bytes": Row(
        "Quirin Quayside",
        own(lambda name: bytes(range(256)) * 40),
        NOT_MARKED,
        ("Not marked", "not text in UTF-8"),
    ),
    "nothing in it": Row(
        "Rike Ropewalk", own(lambda name: empty()), ALL, ("No answer was handed in",)
    ),
    "two of one time": Row(
        "Tjark Tidewater",
        two(first=blank, second=right),
        told=("nothing tells which of",),
    ),
    "a copy's counter": Row("Ulla Undertow", two(homework_1=right, homework=blank), ()),
    "a lesson that is not": Row(
        "Vigga Vanguard",
        lambda root, who, name: handed(
            root / f"{name} ({who})", homework=opens_lesson(name, 'open_homework(\\"99\\"')
        ),
        NOT_MARKED,
        ("Not marked", "there is no homework 99"),
    ),
    "three hundred files": Row("Wiebke Winchcombe", heap, ()),
    "surname first": Row("Åse Sørensen", in_folder("Sørensen, Åse"), ()),
    "decomposed": Row("Jürgen Yardarm", in_folder(unicodedata.normalize("NFD", "Jürgen Yardarm"))),
    "run together": Row("Annalena von der Mole", run_together, ()),
    "another's name typed": Row(
        "Xenia Breakwater",
        own(lambda name: right("Anneke Anchorage")),
        told=('The notebook is made out to "Anneke Anchorage"',),
    ),
}
IDS = {key: f"m{number:02d}" for number, key in enumerate(ROWS, 1)}


# --- marked once in each jail


@pytest.fixture(scope="module")
def marked(tmp_path_factory):
    """The results of the class, by the kind of jail that one command marks it in."""

    @functools.cache
    def results_of(kind):
        opened(kind)
        return mark(tmp_path_factory.mktemp(kind), kind)

    return results_of


@pytest.fixture(params=["bwrap", pytest.param("landlock", marks=pytest.mark.thorough)])
def results(request, marked):
    return marked(request.param)


def mark(room, kind):
    """Let everybody hand in, and mark; the folder of results."""
    command = [sys.executable, *handed_in(room, kind)]
    done = subprocess.run(command, capture_output=True, text=True, cwd=ROOT, timeout=600)
    assert done.returncode == 1, done.stderr  # some files cannot be marked
    return room / "results"


def handed_in(room, kind, keys=tuple(ROWS)):
    """Let these hand in; the words that have Python mark them in a kind of jail."""
    submissions = room / "submissions"
    submissions.mkdir(parents=True)
    with open(room / "roster.csv", "w", newline="", encoding="utf-8") as file:
        roster = csv.writer(file)
        roster.writerow(["id", "name"])
        roster.writerows((IDS[key], ROWS[key].name) for key in keys)
        roster.writerow(["m99", "Zoë Fairlead"])
    for key in keys:
        ROWS[key].hand_in(submissions, IDS[key], ROWS[key].name)
    command = ["-m", "rigkit", "mark", submissions, "--out", room / "results"]
    return [*command, "--roster", room / "roster.csv", "--jail", kind]


def entries(results):
    with Record(results / RECORD, create=False) as record:
        return {entry.learner.id: entry for entry in record.entries()}


def words_on(page):
    """A page's text as one reads it."""
    text = re.sub(r"<style>.*?</style>|<svg.*?</svg>", " ", page, flags=re.S)
    return " ".join(html.unescape(re.sub("<[^>]*>", "", text)).split())


@pytest.mark.parametrize("key", ROWS)
def test_each_gets_the_mark_and_the_words_that_it_must(results, key):
    check(results, key)


def check(results, key):
    """Hold what a learner got against their row of the table."""
    row, entry = ROWS[key], entries(results).get(IDS[key])
    assert entry is not None, f"{row.name} is missing"
    page = (results / "learners" / f"{IDS[key]}.html").read_text("utf-8")
    if row.costs == NOT_MARKED:
        assert entry.score is None
    else:
        must = {f"06/{name}": float(name not in row.costs) for name in QUESTIONS}
        assert entry.scores == must
    said = words_on(page)
    assert [words for words in row.words if words not in said] == []
    told = words_on((results / "class.html").read_text("utf-8"))
    assert [words for words in row.told if words not in told] == []
    assert not row.hides or row.hides not in (page if "<" in row.hides else said)


def test_only_who_handed_in_nothing_is_missing(results):
    assert "m99" not in entries(results)
    with open(results / "results.csv", newline="", encoding="utf-8") as file:
        status = {row["studentSourcedId"]: row["scoreStatus"] for row in csv.DictReader(file)}
    assert status["m99"] == "not submitted"
    for key in ("right", "half right", "nothing in it"):
        assert status[IDS[key]] == "fully graded", key


def test_a_line_that_was_skipped_needs_a_look_only_where_it_cost_something(results):
    found = entries(results)
    assert not found[IDS["a shell line first"]].needs_a_look
    assert not found[IDS["pandas, not used"]].needs_a_look
    (flag,) = (each for each in found[IDS["scipy, used"]].flags if "skipped" in each)
    assert "`scipy` cannot be imported here" in flag


def test_who_handed_in_what_cannot_be_marked_has_handed_in(results):
    with open(results / "results.csv", newline="", encoding="utf-8") as file:
        status = {row["studentSourcedId"]: row["scoreStatus"] for row in csv.DictReader(file)}
    for key, row in ROWS.items():
        if row.costs == NOT_MARKED:
            assert status[IDS[key]] == "submitted", key


@pytest.mark.thorough
def test_both_jails_give_the_same_marks(marked):
    one, other = (entries(marked(kind)) for kind in ("bwrap", "landlock"))
    assert {who: entry.scores for who, entry in one.items()} == {
        who: entry.scores for who, entry in other.items()
    }
