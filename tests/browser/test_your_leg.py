"""A learner's own leg in the lessons of a real JupyterLab: chosen, moved, there in the next."""

import tempfile
import time
from pathlib import Path

import pytest

from rigkit import course
from rigkit.bench.book import Book, whose
from tests.browser.lab import SCROLLER, Lab, learn

pytestmark = pytest.mark.needs_browser

KEPT = 10  # s until what was moved stands in the file


@pytest.fixture(scope="module")
def place(browser):
    """A new learner's folder and its lab."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "learner"
        with learn(folder) as server:
            lab = Lab(browser, server, windowing="none")
            yield folder, lab
            lab.close()


def open_lesson(lab, number):
    """A lesson with all its cells run; its last panel."""
    lab.open(f"lessons/{course.lesson(number).path.name}")
    lab.run_all()
    assert lab.page.locator(SCROLLER).first.evaluate("e => e.scrollTop") == 0  # still at the top
    lab.page.locator(".rig-numbers").last.wait_for()
    return lab.panels()[-1]


def wait_for(holds, what):
    end = time.monotonic() + KEPT
    while not holds():
        assert time.monotonic() < end, what
        time.sleep(0.05)


def test_a_leg_is_chosen_in_one_lesson_and_goes_on_in_the_next(place):
    folder, lab = place
    file = folder / "lessons" / "my-leg.json"
    tamsins = open_lesson(lab, "05").locator.element_handle()
    assert not file.exists()
    lab.page.get_by_label("Whose leg").select_option("Pip")
    tamsins.wait_for_element_state("hidden")
    wait_for(lambda: lab.panels()[-1].sliders()[0].label.startswith("Soft"), "no panel of Pip's")
    lab.panels()[-1].sliders()[0].type(20)
    wait_for(lambda: whose(file) == "Pip" and Book(file, "Pip").state.soft_mm == 20, "not kept")
    lab.page.get_by_text("Done: 05").wait_for()

    open_lesson(lab, "06")
    assert lab.page.get_by_label("Whose leg").count() == 0
    lab.page.get_by_text("Done: 05").wait_for()
    assert Book(file, "Pip").state.soft_mm == 20
    assert lab.errors == []
