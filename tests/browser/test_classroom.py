"""`rigkit learn --teach` on a classroom's screen: code folded, type larger, all of it working."""

import pytest

from rigkit import course, teaching
from tests.browser import lab

pytestmark = pytest.mark.needs_browser

LESSON = next(lesson for lesson in course.lessons() if lesson.exercise)
SCREEN = (1920, 1080)
SIZES = lab.script("sizes")
ALONE = ".rig-alone-button"


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
    assert learners.page.locator(ALONE).count() == 0
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


def focused(page):
    """True if what has the keyboard is in the panel's output that is shown alone."""
    return page.evaluate("() => !!document.activeElement.closest('.rig-alone')")


def test_a_panel_fills_the_screen_alone_until_escape_leads_back(shown):
    page, panel = shown.page, shown.panels()[0]
    button, before = page.locator(ALONE).first, panel.height()
    button.click()
    box = panel.locator.bounding_box()
    filled = max(box["width"] / SCREEN[0], box["height"] / SCREEN[1])
    assert 0.8 < filled <= 1, box
    assert box["x"] >= 0 <= box["y"]
    assert box["y"] + box["height"] <= SCREEN[1]
    seen = "([x, y]) => !!document.elementFromPoint(x, y)?.closest('.rig-alone')"
    for corner in ((2, 2), (SCREEN[0] - 20, 2), (2, SCREEN[1] - 20), (SCREEN[0] - 20, 1060)):
        assert page.evaluate(seen, corner), corner
    slider, picture = panel.sliders()[0], panel.picture()
    slider.press("ArrowRight", 3)
    shown.wait_for_change(panel.picture, picture, "the picture")
    for _ in range(20):
        page.keyboard.press("Tab")
        assert focused(page)
    page.keyboard.press("Escape")
    assert page.locator(".rig-alone").count() == 0
    assert button.evaluate("e => e === document.activeElement")
    assert panel.height() == pytest.approx(before, abs=1)
    assert shown.errors == []


def test_the_button_that_shows_a_panel_alone_leads_back_too(shown):
    button = shown.page.locator(ALONE).nth(1)
    assert button.text_content() == "Show this panel alone"
    button.focus()
    shown.page.keyboard.press("Enter")
    assert shown.page.locator(".rig-alone .rig-panel").count() == 1
    assert button.text_content() == "Back to the page (Esc)"
    shown.page.keyboard.press("Enter")
    assert shown.page.locator(".rig-alone").count() == 0


def test_every_panel_has_one_button_and_files_are_not_listed(shown):
    outputs = shown.page.locator(".jp-OutputArea-output:has(.rig-panel)")
    assert outputs.count() > 1
    for output in outputs.all():
        assert output.locator(ALONE).count() == 1
    assert shown.page.locator(".jp-FileBrowser:visible").count() == 0


@pytest.mark.parametrize("windowing", ["none", None])
def test_the_page_stays_where_one_was_when_all_cells_run(browser, classroom, windowing):
    page = lab.Lab(browser, classroom, SCREEN, windowing=windowing)
    page.open(f"lessons/{LESSON.path.name}")
    scroller = page.page.locator(lab.SCROLLER).first
    scroller.evaluate("e => e.scrollTo(0, e.scrollHeight / 3)")
    page.page.wait_for_timeout(500)
    top = """e => {
        const cell = [...e.querySelectorAll('.jp-Cell')].find(
            cell => cell.getBoundingClientRect().bottom > e.getBoundingClientRect().top + 1);
        return [cell.textContent.slice(0, 40),
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
