"""The marks of a whole lesson: an aim, a picture to open with, panels, a recap, and a way on."""

import importlib
import re
from itertools import pairwise

import pytest

from rigkit import authoring, course
from tests.unit.test_scene_panels import MAKERS, WHO

LESSONS = {lesson.number: lesson for lesson in course.lessons()}
TAUGHT = [number for number, lesson in LESSONS.items() if lesson.exercise]  # all but the first page
WIDEST = 72  # characters of code that a cell shows in a window of 1280 px


@pytest.fixture(scope="module", params=LESSONS)
def number(request):
    return request.param


@pytest.fixture(scope="module")
def notebook(number):
    return authoring.read(LESSONS[number].path)


@pytest.fixture(scope="module")
def about(notebook):
    return notebook.metadata["rigkit"]


def code(notebook):
    return [cell for cell in notebook.cells if cell.cell_type == "code"]


def prose(notebook):
    return [cell.source for cell in notebook.cells if cell.cell_type == "markdown"]


def makers(notebook):
    """The functions of its scene whose panels a lesson shows, by their names in `MAKERS`."""
    text = "\n".join(cell.source for cell in code(notebook))
    scenes = {
        alias or name: name
        for name, alias in re.findall(
            r"^from rigkit\.scenes import (\w+)(?: as (\w+))?$", text, re.MULTILINE
        )
    }
    return [
        f"{scenes[scene]}.{name}" for scene, name in re.findall(r"\b(\w+)\.(\w+_panel)\(", text)
    ]


def panel_of(maker):
    make = MAKERS[maker]
    scene, name = maker.split(".")
    assert getattr(importlib.import_module(f"rigkit.scenes.{scene}"), name) is make
    needed = [
        p
        for p in ("puppet", "heron")
        if p in make.__code__.co_varnames[: make.__code__.co_argcount]
    ]
    return make(*(WHO[p] for p in needed))


def test_it_says_what_it_is_how_long_it_takes_and_what_for(number, notebook, about):
    assert about["lesson"] == number
    assert prose(notebook)[0].startswith(f"# {about['title']}\n")
    assert 5 <= about["minutes"] <= 30
    assert f"About {about['minutes']} minutes" in prose(notebook)[0]
    assert len(about["aims"]) == 3
    assert all(aim[0].isupper() and not aim.endswith(".") for aim in about["aims"])


def test_it_has_notes_for_a_teacher(about):
    assert set(about["notes"]) == {"ask", "expect", "stop"}
    for sentences in about["notes"].values():
        assert 2 <= len(sentences) <= 4
        assert all(re.search(r"[.?][\"”]?$", sentence) for sentence in sentences)


def test_the_moments_worth_showing_are_moments_of_its_panels(notebook, about):
    moments = {moment for maker in makers(notebook) for moment in panel_of(maker).presets}
    assert about["moments"]
    assert set(about["moments"]) - moments == set()


def test_it_has_at_least_two_panels_and_each_is_live(number, notebook):
    shown = makers(notebook)
    assert len(shown) >= (2 if number in TAUGHT else 1)
    live = [cell for cell in code(notebook) if "_panel(" in cell.source]
    assert all("live" in cell.metadata.get("tags", []) for cell in live)
    assert len(shown) == len(live)


def test_it_opens_with_a_picture_that_is_saved_with_its_text_alternative(notebook):
    first = code(notebook)[0]
    data = first.outputs[-1].data
    assert "<svg" in data["image/svg+xml"]
    assert re.search(r'<img class="rig-still" alt="[^"]{40,}"', data["text/html"])
    assert len(data["text/plain"]) > 40


def test_it_asks_for_a_guess_before_anything_can_be_dragged(notebook):
    sources = [cell.source for cell in code(notebook)]
    guess = next(
        i
        for i, source in enumerate(sources)
        if re.fullmatch(r"my_guess\w* = \.\.\.", source.strip())
    )
    panel = next(i for i, source in enumerate(sources) if "_panel(" in source)
    assert guess < panel


def test_its_headings_are_in_order(notebook):
    levels = [
        len(marks)
        for text in prose(notebook)
        for marks in re.findall(r"^(#+) ", text, re.MULTILINE)
    ]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(deeper - above <= 1 for above, deeper in pairwise(levels))


def test_it_ends_with_five_lines_and_the_way_on(number, notebook):
    text = "\n".join(prose(notebook)[-2:])
    if number in TAUGHT:
        recap = text.partition("## Recap\n")[2]
        assert re.findall(r"^(\d)\. ", recap, re.MULTILINE) == ["1", "2", "3", "4", "5"]
        assert f"](../exercises/{LESSONS[number].exercise.name})" in recap
    after = LESSONS.get(f"{int(number) + 1:02d}")
    if after:
        assert f"]({after.path.name})" in text


def test_its_code_fits_its_cells_and_defines_nothing(notebook):
    wide = [
        line for cell in code(notebook) for line in cell.source.splitlines() if len(line) > WIDEST
    ]
    assert wide == []
    assert not any(
        re.search(r"^(def|class) ", cell.source, re.MULTILINE) for cell in code(notebook)
    )


def test_its_prose_does_not_shout(notebook):
    assert [text for text in prose(notebook) if re.search(r"\w!(?!=)", text)] == []
