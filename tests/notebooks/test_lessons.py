"""The marks of a whole lesson: an aim, a picture to open with, panels, a recap, and a way on."""

import importlib
import inspect
import re
from itertools import pairwise

import pytest

from rigkit import authoring, course
from rigkit.bench.steps import TITLES
from rigkit.puppets import PUPPETS
from tests.unit.test_scene_panels import WHO

LESSONS = {lesson.number: lesson for lesson in course.lessons()}
TAUGHT = [number for number, lesson in LESSONS.items() if lesson.exercise]  # all but the first page
MOST_WORDS, MOST_PANELS = 900, 4
PEOPLE = {name.lower(): puppet for name, puppet in PUPPETS.items()} | WHO
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


def shown(notebook, *kinds):
    """What a lesson shows by its scenes' functions `…_panel`, `…_guess` and `…_check`, in order."""
    text = "\n".join(cell.source for cell in code(notebook))
    scenes = {
        alias or name: name
        for name, alias in re.findall(
            r"^from rigkit\.scenes import (\w+)(?: as (\w+))?$", text, re.MULTILINE
        )
    }
    kinds = "|".join(kinds)
    return [
        f"{scenes[scene]}.{name}"
        for scene, name in re.findall(rf"\b(\w+)\.(\w+_(?:{kinds}))\(", text)
    ]


def panel_of(maker):
    scene, name = maker.split(".")
    make = getattr(importlib.import_module(f"rigkit.scenes.{scene}"), name)
    needed = [
        key
        for key, each in inspect.signature(make).parameters.items()
        if each.default is each.empty
    ]
    return make(*(PEOPLE[key] for key in needed))


def test_it_says_what_it_is_how_long_it_takes_and_what_for(number, notebook, about):
    assert about["lesson"] == number
    assert prose(notebook)[0].startswith(f"# {about['title']}\n")
    main, beyond = map(authoring.minutes, authoring.paths(notebook))
    assert (about["minutes"], about.get("further_minutes", 0)) == (main, beyond)
    assert f"About {main} minutes" in prose(notebook)[0]
    assert not beyond or f"and {beyond} more" in prose(notebook)[0]


def test_its_main_path_is_one_idea_in_few_words_and_panels(number, notebook):
    main, beyond = authoring.paths(notebook)
    assert authoring.words(main) <= MOST_WORDS
    panels = re.findall(r"_(?:panel|guess)\(", "\n".join(each.source for each in main))
    assert number not in TAUGHT or 1 <= len(panels) <= MOST_PANELS
    folds = [each for each in beyond if each.source.startswith(authoring.FURTHER)]
    assert all(each.metadata.get("jp-MarkdownHeadingCollapsed") is True for each in folds)


def test_what_it_says_is_there_to_achieve(about):
    assert len(about["aims"]) == 3
    assert all(aim[0].isupper() and not aim.endswith(".") for aim in about["aims"])


def test_it_has_notes_for_a_teacher(about):
    assert set(about["notes"]) == {"ask", "expect", "stop"}
    for sentences in about["notes"].values():
        assert 2 <= len(sentences) <= 4
        assert all(re.search(r"[.?][\"”]?$", sentence) for sentence in sentences)


def test_the_moments_worth_showing_are_moments_of_its_panels(notebook, about):
    makers = shown(notebook, "panel", "guess")
    moments = {moment for maker in makers for moment in panel_of(maker).presets}
    assert about["moments"]
    assert set(about["moments"]) - moments == set()


def test_it_has_panels_guesses_and_checks_and_each_is_live(number, notebook):
    panels, checks = shown(notebook, "panel", "guess"), shown(notebook, "check")
    assert len(panels) >= (2 if number in TAUGHT else 1)
    assert len(checks) >= (2 if number in TAUGHT else 0)
    assert number not in TAUGHT or shown(notebook, "guess")
    live = [cell for cell in code(notebook) if re.search(r"_(panel|guess|check)\(", cell.source)]
    assert all("live" in cell.metadata.get("tags", []) for cell in live)
    assert len(panels) + len(checks) == len(live)


def test_what_it_asks_is_kept_under_its_number_and_names_of_its_own(number, notebook):
    names = [panel_of(maker).ask.name for maker in shown(notebook, "guess", "check")]
    assert all(name.startswith(f"{number}/") for name in names)
    assert len(set(names)) == len(names)


def test_each_section_of_its_main_path_ends_in_something_to_do(number, notebook):
    """A section that has prose and a picture asks something: a guess, a check, or a panel."""
    main, _ = authoring.paths(notebook)
    text = "\n".join(each.source for each in main)
    sections = re.split(r"^## ", text, flags=re.MULTILINE)[1:]
    idle = [
        section.splitlines()[0]
        for section in sections
        if not section.startswith("Recap")
        and not re.search(r"_(panel|guess|check)\(|\bYourLeg\(", section)
    ]
    assert number not in TAUGHT or idle == []


def test_it_opens_with_a_picture_that_is_saved_with_its_text_alternative(notebook):
    first = code(notebook)[0]
    data = first.outputs[-1].data
    assert "<svg" in data.get("image/svg+xml", "") or "live" in first.metadata.tags
    assert re.search(r'<img class="rig-still" alt="[^"]{40,}"', data["text/html"])
    assert len(data["text/plain"]) > 40


def test_a_guess_comes_before_anything_else_can_be_moved(number, notebook):
    first = shown(notebook, "panel", "guess")[0]
    assert first.endswith("_guess") or number not in TAUGHT


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
    text = "\n".join(prose(notebook)[-3:])
    if number in TAUGHT:
        recap = text.partition("## Recap\n")[2]
        assert re.findall(r"^(\d)\. ", recap, re.MULTILINE) == ["1", "2", "3", "4", "5"]
        assert f"](../exercises/{LESSONS[number].exercise.name})" in recap
    after = LESSONS.get(f"{int(number) + 1:02d}")
    if after:
        assert f"]({after.path.name})" in text


def test_it_ends_with_its_step_on_the_learners_own_leg(number, notebook, about):
    if number not in TITLES:
        return
    told, step, way_on = notebook.cells[-3:]
    assert told.source.startswith("## Your leg\n")
    assert f'\nYourLeg("{number}")' in step.source
    assert way_on.source.startswith("**Now you:**")
    assert "live" in step.metadata.tags
    (output,) = step.outputs
    assert (
        f"Tamsin's leg in my-leg.json, step {number} ({TITLES[number]})"
        in output.data["text/plain"]
    )
    assert re.search(r'<img class="rig-still" alt="[^"]{40,}"', output.data["text/html"])
    assert about["leg"].endswith((".", "?"))


def test_nobodys_own_leg_lies_beside_the_lessons():
    assert list((authoring.ROOT / "lessons").glob(course.LEG_FILES)) == []


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
