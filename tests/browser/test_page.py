"""A learner's page: alive at once, where one was, and at the heading that a link names."""

import pytest

from rigkit import course
from tests.browser import lab

pytestmark = pytest.mark.needs_browser

TOP = "e => e.getBoundingClientRect().top"


@pytest.fixture
def page(browser, server):
    page = lab.Lab(browser, server, size=(1280, 800))
    yield page
    assert page.errors == []
    page.close()


def test_the_first_lessons_leg_is_alive_before_a_cell_was_run(page):
    page.open("lessons/00-start-here.ipynb")
    page.page.locator(".rig-grip").first.wait_for(timeout=30_000)
    first = page.panels()[0]
    words = first.readout()
    first.grips()[0].drag(0, 60)
    page.wait_for_change(first.readout, words, "the words")
    assert len(page.panels()) == 1  # nothing else was run


def test_running_all_cells_leaves_the_page_at_its_top(page):
    page.open(f"lessons/{course.lesson('06').path.name}")
    page.run_all()
    page.page.wait_for_timeout(1500)
    assert page.page.locator(lab.SCROLLER).first.evaluate("e => e.scrollTop") < 5


def test_a_words_link_leads_to_its_place_on_the_page_of_words(page):
    page.open(f"lessons/{course.lesson('04').path.name}")
    page.page.get_by_role("link", name="inverse chain").first.click()
    heading = page.page.get_by_role("heading", name="Inverse chain")
    heading.wait_for(timeout=30_000)
    page.page.wait_for_timeout(1500)
    top = page.page.locator(lab.SCROLLER).first.evaluate(TOP)
    assert heading.evaluate(TOP) == pytest.approx(top, abs=40)
