"""The page of words: one home for each definition, and every link to it leads somewhere."""

import json
import math
import re
from itertools import pairwise
from urllib.parse import unquote

import pytest

from rigkit import authoring, course, teaching
from rigkit import words as glossary
from rigkit.puppets import PUPPETS
from rigkit.scenes import word_pictures

TAMSIN = PUPPETS["Tamsin"]
PAGE = authoring.ROOT / "lessons" / "words.ipynb"
LINK = re.compile(r"words\.ipynb#([^)\s\"\\]+)")
LONGEST = 45  # words in a meaning
NAMES = [each.name for each in glossary.words()]
# What the lessons may link to: the course was planned with these headings.
PLANNED = """
Joint, Bone, Root, Chain, Parent and child, Frame, Local and world, Forward chain, Inverse chain,
Goal, Miss, Reach, Full extension, Soft reach, Rest pose, Bind, Preset bend, Bend plane, Swivel,
Pole, Bone axis, Hinge axis, Flexion, Signs of hip and knee, Hip centre, Centre of rotation,
Midplane, Mirror, Reflection, Same bend, Side tag, Control, Outline, Pivot, Reads zero, Follow, Gap,
Key, Switch and match, Skin, Weights, Linear blend, Dual quaternions, Volume kept, Twist, Stance,
Swing, Stride, Foot strike, Toe-off, Plant, Slide, Pop, Roll, Heel ball and toe, Turn in the plane,
Solver, Stall, Singular values, Ill-conditioned, Inspection, Finding
"""


@pytest.fixture(scope="module")
def page():
    return authoring.read(PAGE)


def markdown(path):
    cells = authoring.read(path).cells
    return "\n".join(cell.source for cell in cells if cell.cell_type == "markdown")


def headings(page):
    """The ends of links to the page's headings, as JupyterLab makes them."""
    sources = (cell.source for cell in page.cells if cell.cell_type == "markdown")
    return {
        name.replace(" ", "-") for text in sources for name in re.findall(r"(?m)^## (.+)$", text)
    }


def linked():
    """Every link to a word in lessons and exercises, with the file it stands in."""
    return [
        (path.name, unquote(end))
        for part in ("lessons", "exercises")
        for path in authoring.notebooks(part)
        for end in LINK.findall(markdown(path))
    ]


def test_the_words_that_the_course_was_planned_with_are_there():
    planned = {name.strip() for name in PLANNED.replace("\n", " ").split(",")}
    assert planned - set(NAMES) == set()


def test_every_link_to_a_word_has_its_heading(page):
    there = headings(page)
    assert [(file, end) for file, end in linked() if end not in there] == []


def test_the_page_says_what_the_data_say(page):
    made = glossary.page()["cells"]
    assert [(cell.id, cell.source) for cell in page.cells] == [
        (cell["id"], cell["source"]) for cell in made
    ]


def test_the_page_lists_every_word_from_a_to_z(page):
    index = re.findall(r"\[([^]]+)\]\(#([^)]+)\)", page.cells[0].source)
    assert index == [(name, name.replace(" ", "-")) for name in sorted(NAMES, key=str.lower)]


@pytest.mark.parametrize("word", glossary.words(), ids=NAMES)
def test_a_meaning_is_one_short_sentence_of_a_lesson_there_is(word):
    assert re.fullmatch(r"[A-Z].*[^.?!]\.", word.meaning)
    assert not re.search(r"[.?!] [A-Z]", word.meaning)
    assert len(word.meaning.split()) < LONGEST
    assert word.lesson in {lesson.number for lesson in course.lessons()}
    assert "  " not in word.meaning


def test_no_two_words_or_meanings_are_the_same():
    meanings = [re.sub(r"\W+", " ", each.meaning.lower()) for each in glossary.words()]
    assert len({*meanings}) == len(meanings)
    assert len({name.lower() for name in NAMES}) == len(NAMES)


def test_other_fields_words_end_without_a_stop_and_are_not_empty():
    said = [text for each in glossary.words() for text in each.also.values()]
    assert [text for text in said if not text.strip() or text.endswith(".")] == []


def test_every_word_has_a_picture_and_every_picture_a_word():
    assert set(word_pictures.PICTURES) == set(NAMES)
    with pytest.raises(ValueError, match="`name` must be a word with a picture"):
        word_pictures.picture("Knee cap")


@pytest.mark.parametrize("name", NAMES)
def test_a_picture_is_small_and_says_in_words_what_it_shows(name):
    stage = word_pictures.picture(name)
    assert 260 <= stage.width <= 320
    assert stage.title == name
    assert stage.desc.endswith(".")
    assert len(stage.desc.split()) > 4
    assert stage.desc in stage._repr_mimebundle_()["text/plain"]


def test_a_word_is_found_in_small_letters_and_a_stranger_is_told():
    assert glossary.word("bend plane") is glossary.word("Bend plane")
    with pytest.raises(ValueError, match="`name` must be a word of the course; got 'Sprocket'"):
        glossary.word("Sprocket")


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"meaning": ""}, "`meaning`"),
        ({"lesson": 7}, "`lesson`"),
        ({"also": {"astrology": "sign"}}, "astrology"),
    ],
)
def test_a_word_that_misses_something_is_refused(change, says):
    parts = {"name": "Pole", "meaning": "It is.", "lesson": "07", "also": {}}
    with pytest.raises(ValueError, match=says):
        glossary.Word(**parts | change)


# Numbers in the pictures, by other formulas: school trigonometry on Tamsin's own measures


def numbers(name):
    desc = word_pictures.picture(name).desc.replace("minus ", "-")
    return [float(number) for number in re.findall(r"-?\d+(?:\.\d+)?", desc)]


def test_numbers_in_the_pictures():
    thigh, shank, half = TAMSIN.thigh, TAMSIN.shank, TAMSIN.hip_width / 2
    full = thigh + shank
    assert numbers("Full extension") == numbers("Reach") == [round(100 * full)]
    assert numbers("Mirror") == [pytest.approx(100 * half, abs=0.05)] * 2
    assert numbers("Miss") == [pytest.approx(100 * (math.hypot(0.15, 0.92) - full), abs=0.05)]
    # the lag s exp(-x / s) of soft reach, where the goal is x = s beyond the soft length's start
    assert numbers("Soft reach") == [pytest.approx(5 / math.e, abs=0.05)]
    assert numbers("Stall") == [15.0]  # the goal was put so far up the straight leg
    assert numbers("Gap") == [20.0]  # the foot was put so far ahead on the boat

    def bend_deg(distance):  # the triangle's angle at the knee, from its half perimeter
        s = (full + distance) / 2
        area = math.sqrt(max(s * (s - thigh) * (s - shank) * (s - distance), 0.0))
        inner = math.atan2(4 * area, thigh**2 + shank**2 - distance**2)
        return math.degrees(math.pi - inner)

    bends = [bend_deg(full - cm / 100) for cm in (4, 3, 2, 1, 0)]
    assert numbers("Pop") == [round(a - b) for a, b in pairwise(bends)]
    local, world = numbers("Local and world")
    assert local == round(bend_deg(full - 0.12))
    height = full - 0.12  # of the hip over the ankle; the shank leans back from it
    lean = math.degrees(math.acos((shank**2 + height**2 - thigh**2) / (2 * shank * height)))
    assert world == -round(lean)


def test_the_ellipse_of_speeds_has_the_size_that_the_bent_leg_gives():
    """The product of a planar leg's singular values is l1 l2 sin(knee), a textbook identity."""
    most, least = numbers("Singular values")
    knee = math.acos(
        ((TAMSIN.leg_length - 0.14) ** 2 - TAMSIN.thigh**2 - TAMSIN.shank**2)
        / (2 * TAMSIN.thigh * TAMSIN.shank)
    )
    assert most * least == pytest.approx(TAMSIN.thigh * TAMSIN.shank * math.sin(knee), abs=0.01)


# The page among the lessons


def test_learners_and_teachers_get_it_and_it_is_no_lesson():
    assert "lessons/words.ipynb" in dict(course.shipped())
    assert PAGE not in {lesson.path for lesson in course.lessons()}
    handed = dict(teaching.files())["lessons/words.ipynb"]
    code = [cell for cell in json.loads(handed)["cells"] if cell["cell_type"] == "code"]
    assert len(code) == len(NAMES)
    assert all(cell["metadata"]["jupyter"]["source_hidden"] for cell in code)


def test_authoring_makes_it_when_asked_and_only_then():
    asked = [path for path, _ in authoring.authored(["words"])]
    assert asked == [PAGE]
    assert PAGE not in [path for path, _ in authoring.authored(["06"])]
    assert PAGE in [path for path, _ in authoring.authored()]
