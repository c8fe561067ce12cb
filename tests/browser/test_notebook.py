"""Panels where `rigkit learn` is not: in a stock JupyterLab and in Notebook 7."""

import json

import pytest

from tests.browser.lab import IN_LAB, IN_NOTEBOOK, Lab, code_notebook, stock

pytestmark = pytest.mark.needs_browser

CELLS = {
    "panel": (
        "from rigkit import puppets\nfrom rigkit.scenes import forward_and_inverse\n"
        "panel = forward_and_inverse.pelvis_panel(puppets.PUPPETS['Tamsin'])\n"
        "panel"
    ),
    "again": "panel",
    "values": "print(panel.values)",
}
WAYS = {"jupyterlab": IN_LAB, "notebook": IN_NOTEBOOK}


@pytest.fixture(
    scope="module", params=[pytest.param("jupyterlab", marks=pytest.mark.thorough), "notebook"]
)
def opened(request, browser, tmp_path_factory):
    """A notebook that shows one panel in two cells, run in a stock program."""
    folder = tmp_path_factory.mktemp("stock") / "learner"
    folder.mkdir()
    with stock(folder, request.param) as server:
        lab = Lab(browser.new_context(), server, windowing="none", way=WAYS[request.param])
        lab.folder = folder
        lab.write("panels.ipynb", code_notebook(CELLS))
        lab.open("panels.ipynb")
        lab.errors.clear()  # what the program itself stumbles over as it opens
        lab.run_all()
        yield lab
        lab.page.context.close()


def drawn(lab, view, act, what):
    """Do something, and wait until a view's picture is another."""
    before = view.picture()
    act()
    lab.wait_for_change(view.picture, before, what)


def reset(lab):
    """Bring the panel back, and wait until both of its views show that."""
    lab.panels()[0].click("Reset")
    lab.page.wait_for_timeout(500)
    lab.page.wait_for_function(
        "() => [...document.querySelectorAll('.rig-readout')]"
        ".every(words => words.textContent.startsWith('Pelvis 0.0 cm down, 0.0 cm forward'))"
    )


def test_it_runs_without_an_error_and_nothing_is_cut_off(opened):
    assert opened.troubles() == []
    assert len(opened.panels()) == 2


def test_its_sliders_and_grips_follow_keys_and_the_mouse(opened):
    panel = opened.panels()[0]
    slider, grip = panel.sliders()[0], panel.grips()[0]
    drawn(opened, panel, lambda: slider.press("ArrowRight"), "the picture after a slider's key")
    assert slider.value() == 0.5
    drawn(opened, panel, lambda: grip.press("ArrowUp", 2), "the picture after a grip's keys")
    drawn(opened, panel, lambda: grip.drag(40, 0), "the picture after a grip's pull")
    assert "Pelvis forward" in grip.said()
    assert grip.locator.evaluate("e => e === document.activeElement")
    drawn(opened, panel, lambda: panel.click("Standing"), "the picture after a button")
    reset(opened)
    assert opened.errors == []


def test_keys_in_a_panel_are_not_the_notebooks(opened):
    panel, page = opened.panels()[0], opened.page
    cells = page.locator(".jp-Cell").count()
    slider = panel.sliders()[0]
    for key in ("ArrowDown", "ArrowUp", "a", "b", "x", "d", "d", "m", "Enter"):
        slider.press(key)
    page.wait_for_timeout(300)
    assert page.locator(".jp-Cell").count() == cells
    assert page.locator(".jp-MarkdownCell").count() == 0
    assert slider.handle.evaluate("e => e === document.activeElement")
    reset(opened)


def test_both_views_of_a_panel_move_together(opened):
    first, second = opened.panels()
    drawn(opened, second, lambda: first.sliders()[0].press("ArrowRight"), "the other view")
    drawn(opened, first, lambda: second.grips()[0].press("ArrowDown"), "the first view")
    opened.page.wait_for_timeout(500)
    assert first.picture() == second.picture()
    assert [slider.value() for slider in first.sliders()] == [
        slider.value() for slider in second.sliders()
    ]
    reset(opened)


def test_undo_goes_back_a_pull_and_leaves_the_notebooks_own_alone(opened):
    panel = opened.panels()[0]
    start, grip = panel.picture(), panel.grips()[0]
    drawn(opened, panel, lambda: grip.drag(30, 0), "the picture")
    drawn(opened, panel, lambda: opened.page.keyboard.press("Control+z"), "the picture at undo")
    opened.wait_for_change(lambda: panel.picture() == start, False, "another picture than before")


def test_the_notebook_is_saved_by_its_key_from_inside_a_panel(opened):
    panel, file = opened.panels()[0], opened.folder / "panels.ipynb"
    panel.sliders()[0].press("ArrowRight")
    saved = file.stat().st_mtime_ns
    opened.page.keyboard.press("Control+s")
    opened.wait_for_change(lambda: file.stat().st_mtime_ns, saved, "the file")
    opened.page.wait_for_timeout(1000)  # it is there as a whole
    shown = json.loads(file.read_text(encoding="utf-8"))["cells"][0]["outputs"][0]["data"]
    assert "One pelvis moves" in "".join(shown["text/html"])
    assert opened.errors == []
    reset(opened)


def test_it_is_shown_alone_by_a_key_and_led_back_by_escape(opened):
    panel, page = opened.panels()[0], opened.page
    panel.grips()[0].press("f")
    assert panel.locator.evaluate("e => e.matches(':popover-open')")
    drawn(opened, panel, lambda: panel.grips()[0].press("ArrowDown"), "the picture")
    page.keyboard.press("Escape")
    assert not panel.locator.evaluate("e => e.matches(':popover-open')")
    reset(opened)
    assert opened.errors == []
