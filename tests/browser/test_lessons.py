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


def height_to_see(panel):
    """The height that must be in sight at once, px: of the bench's longer steps, the pictures'."""
    on_the_bench = "e => Boolean(e.closest('.jp-OutputArea-output').querySelector('.rig-numbers'))"
    if not panel.locator.evaluate(on_the_bench):
        return panel.height()
    boxes = [each.bounding_box() for each in panel.locator.locator("svg[role=img]").all()]
    return max(b["y"] + b["height"] for b in boxes) - min(b["y"] for b in boxes)


def all_shown(panel):
    """Pictures, words, and the numbers beside a step of the bench."""
    numbers = panel.locator.page.locator(".rig-numbers").all_text_contents()
    return panel.picture(), panel.readout(), numbers


def test_a_lesson_runs_without_an_error_and_nothing_is_cut_off(opened):
    window = list(WINDOWS)[LESSONS.index(opened.lesson) % 2]  # the one or the other
    opened.look(**WINDOWS[window])
    assert opened.troubles() == []
    assert opened.page.locator(".jp-Notification, .Toastify__toast").count() == 0
    heights = {panel.sliders()[0].label: height_to_see(panel) for panel in opened.panels()}
    tall = {label: height for label, height in heights.items() if height > opened.room()}
    assert tall == {}, f"taller than the {opened.room()} px in which cells are seen"


def test_its_panels_answer_the_keyboard(opened):
    assert opened.panels()
    for panel in opened.panels():
        slider = next(each for each in panel.sliders() if each.handle.is_visible())
        shown, value = all_shown(panel), slider.value()
        slider.press("ArrowLeft" if value == slider.highest() else "ArrowRight", times=3)
        opened.wait_for_change(slider.value, value, slider.label)
        opened.wait_for_change(
            lambda panel=panel: all_shown(panel),
            shown,
            f"what is shown beside {slider.label}",
        )
    assert opened.errors == []
