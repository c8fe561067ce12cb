"""Every lesson as a learner meets it: opened, run and dragged in a real browser."""

import pytest

from rigkit import course
from tests.browser.lab import Lab

WINDOWS = {"1280": {"size": (1280, 800)}, "1920, large type": {"size": (1920, 1080), "type_px": 21}}

LESSONS = [each for each in course.lessons() if each.number != "06"]  # test_lesson_06 has it

pytestmark = pytest.mark.needs_browser


@pytest.fixture(params=LESSONS, ids=lambda lesson: lesson.number, scope="module")
def opened(request, browser, server):
    """A lesson, all cells run."""
    lab = Lab(browser, server, windowing="none")
    lab.open(f"lessons/{request.param.path.name}")
    lab.run_all()
    lab.unfold()
    lab.skip_guesses()
    lab.lesson = request.param
    yield lab
    lab.close()


def test_a_lesson_runs_without_an_error_and_nothing_is_cut_off(opened):
    window = list(WINDOWS)[LESSONS.index(opened.lesson) % 2]  # the one or the other
    opened.look(**WINDOWS[window])
    assert opened.troubles() == []
    assert opened.page.locator(".jp-Notification, .Toastify__toast").count() == 0
    tall = {
        panel.sliders()[0].label: panel.height()
        for panel in opened.panels()
        if panel.height() > opened.room()
    }
    assert tall == {}, f"taller than the {opened.room()} px in which cells are seen"


def test_its_panels_answer_the_keyboard(opened):
    assert opened.panels()
    for panel in opened.panels():
        slider = panel.sliders()[0]
        shown, value = (panel.picture(), panel.readout()), slider.value()
        slider.press("ArrowLeft" if value == slider.highest() else "ArrowRight", times=3)
        opened.wait_for_change(slider.value, value, slider.label)
        opened.wait_for_change(
            lambda panel=panel: (panel.picture(), panel.readout()),
            shown,
            f"what is shown beside {slider.label}",
        )
    assert opened.errors == []
