"""`rigkit learn --teach` on a classroom's screen: code folded, type larger, all of it working."""

import pytest

from rigkit import course, teaching
from tests.browser import lab

pytestmark = pytest.mark.needs_browser

LESSON = next(lesson for lesson in course.lessons() if lesson.exercise)
SCREEN = (1920, 1080)
SIZES = lab.script("sizes")


@pytest.fixture(scope="module")
def classroom(tmp_path_factory):
    """`rigkit learn --teach` on a teacher's folder."""
    folder = tmp_path_factory.mktemp("teacher") / "leg-rigging-teaching"
    with lab.learn(folder, "--teach", "--dir", folder) as server:
        yield server


@pytest.fixture(scope="module")
def shown(browser, classroom):
    """A lesson in the classroom, all cells run."""
    page = lab.Lab(browser, classroom, SCREEN, windowing="none")
    page.open(f"lessons/{LESSON.path.name}")
    page.run_all()
    yield page
    page.close()


def test_all_code_is_folded_and_nothing_is_cut_off(shown):
    assert shown.page.locator(".jp-CodeCell").count() > 5
    assert shown.page.locator(".jp-CodeCell .cm-content:visible").count() == 0
    assert shown.troubles() == []
    assert all(panel.height() <= shown.room() for panel in shown.panels())


def test_type_is_larger_than_a_learners_everywhere(shown, browser, server):
    learners = lab.Lab(browser, server, SCREEN, windowing="none")
    learners.open(f"lessons/{LESSON.path.name}")
    learners.run_all()
    usual, large = learners.page.evaluate(SIZES), shown.page.evaluate(SIZES)
    learners.close()
    ratios = {what: large[what] / usual[what] for what in usual}
    assert all(ratio >= 1.3 for ratio in ratios.values()), ratios


def test_a_slider_follows_the_mouse_where_it_is(shown):
    panel = shown.panels()[0]
    slider, before = panel.sliders()[0], panel.picture()
    slider.handle.scroll_into_view_if_needed()
    bar = panel.locator.locator(".noUi-base").first.bounding_box()
    middle = bar["y"] + bar["height"] / 2
    at = slider.handle.bounding_box()
    shown.page.mouse.move(at["x"] + at["width"] / 2, at["y"] + at["height"] / 2)
    shown.page.mouse.down()
    shown.page.mouse.move(bar["x"] + 0.75 * bar["width"], middle, steps=8)
    shown.page.mouse.up()
    shown.wait_for_change(panel.picture, before, "the picture")
    shown.page.wait_for_timeout(500)
    share = (slider.value() - slider.lowest()) / (slider.highest() - slider.lowest())
    assert share == pytest.approx(0.75, abs=0.05)
    assert shown.errors == []


def test_the_notes_open_first_and_show_every_lesson(browser, classroom):
    assert f"/lab/tree/{teaching.NOTES}?token=" in classroom.printed
    page = lab.Lab(browser, classroom, SCREEN, windowing="none")
    page.open(teaching.NOTES)
    headings = page.page.locator(".jp-MarkdownCell h2").all_text_contents()
    assert [heading.rstrip("¶") for heading in headings] == [
        f"{each.number} {each.title}" for each in course.lessons()
    ]
    assert page.troubles() == []
    page.page.get_by_role("link", name="Open the lesson").nth(1).click()
    page.page.wait_for_selector(".lm-TabBar-tabLabel:text-matches('^0')")
    assert page.errors == []
    page.close()
