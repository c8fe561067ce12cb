"""One lesson closely, in the dark theme: every slider, every moment, a typed number, the way
back."""

import pytest

from rigkit import course
from tests.browser.lab import DARK, Lab

LESSON = next((lesson for lesson in course.lessons() if lesson.number == "06"), None)

pytestmark = [
    pytest.mark.needs_browser,
    pytest.mark.skipif(LESSON is None, reason="lesson 06 is not there"),
]


@pytest.fixture(scope="module")
def opened(browser, server):
    """The lesson, all cells run, in the dark."""
    lab = Lab(browser, server, theme=DARK)
    lab.open(f"lessons/{LESSON.path.name}")
    lab.run_all()
    lab.unfold()
    lab.skip_guesses()
    yield lab
    lab.close()


def test_runs_without_an_error_and_nothing_is_cut_off(opened):
    assert opened.troubles() == []
    assert opened.page.locator(".jp-Notification, .Toastify__toast").count() == 0


def test_every_panel_answers_the_keyboard_in_picture_and_words(opened):
    assert opened.panels()
    for panel in opened.panels():
        assert panel.sliders()
        for slider in panel.sliders():
            picture, words, value = panel.picture(), panel.readout(), slider.value()
            slider.press("ArrowLeft" if value == slider.highest() else "ArrowRight", times=3)
            opened.wait_for_change(slider.value, value, slider.label)
            opened.wait_for_change(panel.picture, picture, f"the picture beside {slider.label}")
            opened.wait_for_change(panel.readout, words, f"the readout beside {slider.label}")
    assert opened.errors == []


def test_a_typed_number_moves_the_slider_and_a_reset_brings_all_back(opened):
    panel = opened.panels()[0]
    slider = panel.sliders()[0]
    panel.click("Reset")
    opened.page.wait_for_timeout(500)
    picture, value = panel.picture(), slider.value()
    slider.type(slider.lowest() if value == slider.highest() else slider.highest())
    opened.wait_for_change(panel.picture, picture, "the picture")
    typed = panel.picture()
    panel.click("Reset")
    opened.wait_for_change(panel.picture, typed, "the picture")
    assert (panel.picture(), slider.value()) == (picture, value)
    assert opened.errors == []


def test_every_moment_shows_something_else(opened):
    for panel in opened.panels():
        seen = {}
        for moment in panel.buttons():
            panel.click(moment)
            opened.page.wait_for_timeout(
                500
            )  # it may be there already, so there may be no change to wait for
            seen[moment] = panel.picture(), panel.readout()
        assert len(set(seen.values())) > 1 or len(seen) == 1, (
            f"all of {', '.join(seen)} show the same"
        )
    assert opened.errors == []
