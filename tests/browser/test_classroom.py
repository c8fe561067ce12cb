"""`rigkit learn --teach` on a classroom's screen: code folded, type larger, all of it working."""

import pytest

from rigkit import course, teaching
from tests.browser import lab

pytestmark = pytest.mark.needs_browser

LESSON = next(lesson for lesson in course.lessons() if lesson.exercise)
SCREEN = (1920, 1080)
SIZES = lab.script("sizes")
ALONE = ".rig-panel:popover-open"


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
    page.unfold()
    page.skip_guesses()
    yield page
    page.close()


def test_all_code_is_folded_and_nothing_is_cut_off(shown):
    assert shown.page.locator(".jp-CodeCell").count() > 5
    assert shown.page.locator(".jp-CodeCell .cm-content:visible").count() == 0
    assert shown.troubles() == []
    assert all(panel.height() <= shown.room() for panel in shown.panels())


@pytest.mark.thorough
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
    bar = slider.handle.bounding_box()
    middle = bar["y"] + bar["height"] / 2
    at = (slider.value() - slider.lowest()) / (slider.highest() - slider.lowest())
    inset = bar["height"] / 3  # of the knob's middle, from the ends of the bar
    shown.page.mouse.move(bar["x"] + inset + at * (bar["width"] - 2 * inset), middle)
    shown.page.mouse.down()
    shown.page.mouse.move(bar["x"] + 0.75 * bar["width"], middle, steps=8)
    shown.page.mouse.up()
    shown.wait_for_change(panel.picture, before, "the picture")
    shown.page.wait_for_timeout(500)
    share = (slider.value() - slider.lowest()) / (slider.highest() - slider.lowest())
    assert share == pytest.approx(0.75, abs=0.05)
    assert shown.errors == []


def test_a_grip_follows_the_mouse_in_pictures_that_are_larger(shown):
    panel = next(panel for panel in shown.panels() if panel.grips())
    grip = panel.grips()[0]
    grip.locator.scroll_into_view_if_needed()
    words, (x, y) = panel.readout(), grip.middle()
    for right, down in ((60, 0), (0, 60), (-60, 0), (0, -60)):
        grip.drag(right, down)
        shown.page.wait_for_timeout(500)
        if panel.readout() != words:
            break
    at = grip.middle()
    assert panel.readout() != words
    way = ((at[0] - x) * right + (at[1] - y) * down) / 60
    assert 0 < way < 63  # never farther than it was pulled
    panel.click("Reset")
    assert shown.errors == []


def test_a_panel_fills_a_large_screen_until_escape_leads_back(shown):
    page, panel = shown.page, shown.panels()[0]
    usual, before = panel.height(), panel.locator.locator(".rig-view").first.bounding_box()
    panel.click("Show alone")
    assert panel.locator.bounding_box() == {"x": 0, "y": 0, "width": SCREEN[0], "height": SCREEN[1]}
    pictures = panel.locator.locator(".rig-view").first.bounding_box()
    assert pictures["width"] > 1.2 * before["width"]
    page.keyboard.press("Escape")
    assert page.locator(ALONE).count() == 0
    assert panel.height() == pytest.approx(usual, abs=1)
    assert shown.errors == []


def test_every_panel_has_one_button_and_files_are_not_listed(shown):
    panels = shown.panels()
    assert len(panels) > 1
    for panel in panels:
        assert panel.locator.get_by_role("button", name="Show alone").count() == 1
    assert shown.page.locator(".jp-FileBrowser:visible").count() == 0


def test_the_page_stays_where_one_was_when_all_cells_run(browser, classroom):
    page = lab.Lab(browser, classroom, SCREEN)
    page.open(f"lessons/{LESSON.path.name}")
    scroller = page.page.locator(lab.SCROLLER).first
    scroller.evaluate("e => e.scrollTo(0, e.scrollHeight / 3)")
    page.page.wait_for_timeout(500)
    top = """e => {
        const cell = [...e.querySelectorAll('.jp-Cell')].find(
            cell => cell.getBoundingClientRect().bottom > e.getBoundingClientRect().top + 1);
        const said = cell.querySelector('.jp-Cell-inputWrapper') ?? cell;  // outputs come anew
        return [said.textContent.slice(0, 40),
                cell.getBoundingClientRect().top - e.getBoundingClientRect().top];
    }"""
    text, where = scroller.evaluate(top)
    page.run_all()
    page.page.wait_for_timeout(1500)
    after = scroller.evaluate(top)
    assert after == [text, pytest.approx(where, abs=3)]
    assert scroller.evaluate("e => e.scrollTop + e.clientHeight < e.scrollHeight - 200")
    scroller.hover()
    page.page.mouse.wheel(0, 400)  # who moves on is not called back
    page.page.wait_for_timeout(500)
    assert scroller.evaluate(top) != after
    assert page.errors == []
    page.close()


def test_the_index_of_the_notes_leads_to_each_lessons_notes(browser, classroom):
    page = lab.Lab(browser, classroom, SCREEN)
    page.open(teaching.NOTES)
    scroller = page.page.locator(lab.SCROLLER).first
    for each in (course.lessons()[-1], course.lessons()[6]):
        scroller.evaluate("e => e.scrollTo(0, 0)")
        page.page.get_by_role("link", name=f"{each.number} {each.title}").first.click()
        page.page.wait_for_timeout(1000)
        heading = page.page.locator("h2", has_text=f"{each.number} {each.title}").first
        assert 0 <= heading.bounding_box()["y"] < 0.6 * SCREEN[1], each
    assert page.errors == []
    page.close()


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
