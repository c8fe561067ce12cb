"""A panel whose kernel is busy, fails, is started anew, dies or has another kit, in a real page."""

import pytest

from tests.browser.lab import Lab, code_notebook

pytestmark = pytest.mark.needs_browser

PANEL = """\
from rigkit.panels import Grip, Panel, Slider
from rigkit.stage import Stage
def draw(right):
    if right == 5:
        raise KeyError("five")
    if right == 7:
        raise ValueError("`right` must not be 7.")
    stage = Stage(width=300).measure((0, 0), (0.2 + right / 10, 0), f"{right} dm")
    return stage.measure((0, 0), (1.2, 1), "limits"), f"It is {right} dm to the right."
Panel("It goes right.", [Slider("right", "Right", 0, 10, 1, 2, "dm")], draw,
      grips=[Grip("End", lambda right: (0.2 + right / 10, 0), ["right"], views=[0])])"""
OLDER_KIT = f"from rigkit import panels\npanels.FORM -= 1\n{PANEL}"
OTHER_HEAD = f"{OLDER_KIT.replace('Panel(', 'panel = Panel(')}\n\
panel.widget.head = {{'form': 0, 'sentence': panel.title}}\npanel"
CELLS = {
    "panel": PANEL,
    "busy": "import time\ntime.sleep(5)",
    "dies": "import os, signal\nos.kill(os.getpid(), signal.SIGKILL)",
    "older": OLDER_KIT,
    "other": OTHER_HEAD,
}
BUSY = "The kernel has not answered yet."
OLDER = "This panel was made by another version of the kit: run its cell again."


@pytest.fixture
def opened(browser, server):
    """A notebook whose first cell shows a panel, and is run."""
    lab = Lab(browser, server, windowing="none")
    lab.write("kernel.ipynb", code_notebook(CELLS))
    lab.open("kernel.ipynb")
    run(lab, 0)
    lab.page.wait_for_selector(".rig-panel")
    yield lab
    lab.close()


def run(lab, number):
    """Begin to run a cell, as a learner does."""
    lab.page.locator(".jp-CodeCell").nth(number).locator(".cm-content").click()
    lab.page.keyboard.press("Control+Enter")


def trouble(lab):
    return lab.page.locator(".rig-trouble").text_content()


def says(lab, start):
    """Wait until the panel says something that begins so; "" for nothing."""
    lab.wait_for_change(
        lambda: trouble(lab).startswith(start) if start else not trouble(lab), False, "its sentence"
    )


def reads(lab, words):
    panel = lab.panels()[0]
    lab.wait_for_change(lambda: words in panel.readout(), False, "the readout")


HURRY = "const wait = AbortSignal.timeout.bind(AbortSignal); AbortSignal.timeout = () => wait(0)"


def test_a_panel_whose_script_came_late_hears_its_kernel(browser, server):
    lab = Lab(browser, server, windowing="none")
    lab.page.add_init_script(HURRY)  # what is given 2 s, and passes on a busy machine
    lab.write("late.ipynb", code_notebook(CELLS))
    lab.open("late.ipynb")
    run(lab, 0)
    lab.page.wait_for_selector(".rig-panel")
    lab.panels()[0].sliders()[0].press("ArrowRight", 2)
    reads(lab, "4 dm")
    lab.close()


def test_a_busy_kernel_is_said_and_the_panel_goes_on_by_itself(opened):
    run(opened, 1)
    opened.page.wait_for_timeout(300)
    opened.panels()[0].sliders()[0].press("ArrowRight", 2)
    says(opened, BUSY)
    assert opened.panels()[0].sliders()[0].value() == 4
    assert "2 dm" in opened.panels()[0].readout()
    reads(opened, "4 dm")
    says(opened, "")
    assert opened.errors == []


def test_a_fault_is_said_and_over_at_the_next_value(opened):
    panel = opened.panels()[0]
    panel.sliders()[0].type(5)
    says(opened, "The kit failed here, and the last picture stays: KeyError: 'five'")
    picture = panel.picture()
    assert "2 dm" in picture
    panel.sliders()[0].type(6)
    reads(opened, "6 dm")
    says(opened, "")
    assert panel.picture() != picture
    opened.errors.clear()  # the fault itself stands in the notebook's log


def test_a_value_that_is_refused_is_said_in_words_and_the_picture_stays(opened):
    panel = opened.panels()[0]
    picture = panel.picture()
    panel.sliders()[0].type(7)
    reads(opened, "Check: `right` must not be 7.")
    assert panel.picture() == picture
    panel.sliders()[0].type(8)
    reads(opened, "8 dm")
    assert opened.errors == []


def restart(lab):
    lab.menu("Kernel", "Restart Kernel…")
    lab.page.locator(".jp-Dialog button", has_text="Restart").last.click()
    lab.page.wait_for_timeout(2000)


def die(lab):
    run(lab, 2)
    lab.page.wait_for_timeout(4000)  # the server starts another
    for button in lab.page.locator(".jp-Dialog button", has_text="Ok").all():
        button.click()


@pytest.mark.parametrize("end", [restart, die])
def test_a_kernel_that_is_gone_is_said_and_its_cell_run_again_works(opened, end):
    end(opened)
    opened.panels()[0].grips()[0].press("ArrowRight")
    says(opened, BUSY)
    assert "run this cell again" in trouble(opened)
    assert "2 dm" in opened.panels()[0].readout()
    run(opened, 0)
    says(opened, "")  # it is another panel
    panel = opened.panels()[0]
    panel.grips()[0].press("ArrowRight")
    reads(opened, "3 dm")
    assert len(opened.panels()) == 1


def test_a_kernel_started_anew_while_a_grip_is_held_breaks_nothing(opened):
    panel, page = opened.panels()[0], opened.page
    x, y = panel.grips()[0].middle()
    page.mouse.move(x, y)
    page.mouse.down()
    page.mouse.move(x + 30, y, steps=4)
    session = opened._ask("GET", "api/sessions")[0]
    opened._ask("POST", f"api/kernels/{session['kernel']['id']}/restart")
    page.mouse.move(x + 60, y, steps=8)
    says(opened, BUSY)
    page.mouse.up()
    run(opened, 0)
    says(opened, "")  # it is another panel
    opened.panels()[0].grips()[0].press("ArrowRight")
    reads(opened, "3 dm")


def test_a_panel_of_another_version_of_the_kit_says_so_as_long_as_it_is_there(opened):
    run(opened, 3)
    older = opened.page.locator(".jp-CodeCell").nth(3)
    older.get_by_text(OLDER).wait_for()
    panel = opened.panels()[1]
    assert "2 dm" in panel.picture()
    assert "2 dm" in panel.readout()
    panel.sliders()[0].press("ArrowRight")
    opened.wait_for_change(lambda: "3 dm" in panel.readout(), False, "the readout")
    assert older.get_by_text(OLDER).is_visible()
    assert opened.errors == []


@pytest.mark.thorough
def test_another_version_is_said_even_where_its_panel_cannot_be_read(opened):
    run(opened, 4)
    other = opened.page.locator(".jp-CodeCell").nth(4)
    other.get_by_text(OLDER).wait_for()
    assert opened.errors  # of what it could not read
    opened.errors.clear()
