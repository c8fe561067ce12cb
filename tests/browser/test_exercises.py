"""Every exercise and solution as a learner and a teacher meet it: opened and run in a real
browser."""

import pytest

from rigkit import authoring
from tests.browser.lab import Lab

pytestmark = pytest.mark.needs_browser

# All are run without a browser too, by tests/notebooks; here some of each.
NOTEBOOKS = [*authoring.notebooks("exercises")[::3], *authoring.notebooks("solutions")[1::6]]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: f"{path.parent.name}-{path.name[:2]}")
def test_an_exercise_and_its_solution_run_without_an_error_and_nothing_is_cut_off(
    path, browser, server
):
    lab = Lab(browser, server, windowing="none")
    if path.parent.name == "solutions":  # learners have none
        lab.write(path.name, authoring.read(path))
        lab.open(path.name)
    else:
        lab.open(f"exercises/{path.name}")
    lab.run_all()
    cards = lab.page.locator("section[aria-label^='Check of']").all_text_contents()
    assert all(
        text.startswith("Not attempted yet:" if path.parent.name == "exercises" else "Right:")
        for text in cards
    )
    assert len(cards) >= 4
    assert lab.troubles() == []
    lab.close()
