"""A panel that plays, in a real page: by keyboard, beside other cells, not after its cell reran."""

import re

import pytest

from tests.browser.lab import Lab, code_notebook

pytestmark = pytest.mark.needs_browser

PANEL = """\
from rigkit.panels import Panel, Slider
drawn = []
def draw(frame):
    drawn.append(frame)
    svg = f'<svg role="img" viewBox="0 0 200 20" width="200"><title>{frame}</title></svg>'
    return svg, f"Frame {frame}."
slider = Slider("frame", "Frame", 0, 599, 1, 0)  # for long no frame is there already
Panel("It walks.", [slider], draw, {"Middle": {"frame": 24}}, play="frame")"""
OTHER = "print('so far:', len(drawn))"


@pytest.fixture(scope="module")
def opened(browser, server):
    """A notebook with such a panel and another cell, run."""
    lab = Lab(browser, server)
    lab.write("play.ipynb", code_notebook({"panel": PANEL, "other": OTHER}))
    lab.open("play.ipynb")
    lab.run_all()
    yield lab
    lab.close()


def run(lab, number):
    """Run one cell, as a learner does; the text of its output once it is there."""
    cell = lab.page.locator(".jp-CodeCell").nth(number)
    prompt = cell.locator(".jp-InputPrompt")
    before = prompt.text_content()
    cell.locator(".cm-content").click()
    lab.page.keyboard.press("Control+Enter")
    lab.wait_for_change(
        lambda: not re.search(r"\d", prompt.text_content()) or prompt.text_content() == before,
        True,
        f"cell {number}",
    )
    return cell.locator(".jp-OutputArea").text_content()


def button(lab):
    return lab.page.locator(".rig-panel").get_by_role("button", name=re.compile("^(Play|Pause)$"))


def plays(lab, panel):
    """Wait for three more pictures."""
    for _ in range(3):
        lab.wait_for_change(panel.readout, panel.readout(), "the readout while it plays")


def stays(lab, panel):
    lab.page.wait_for_timeout(300)  # what was on its way arrives
    shown = panel.readout(), panel.picture()
    lab.page.wait_for_timeout(500)
    assert (panel.readout(), panel.picture()) == shown


def test_it_rests_until_it_is_pressed_and_keeps_the_keyboard(opened):
    panel = opened.panels()[0]
    stays(opened, panel)
    assert panel.readout() == "Frame 0."
    button(opened).focus()
    opened.page.keyboard.press("Space")
    plays(opened, panel)
    assert button(opened).text_content() == "Pause"
    assert panel.sliders()[0].value() > 0
    opened.page.keyboard.press("Space")  # the button still has the keyboard
    stays(opened, panel)
    assert button(opened).text_content() == "Play"
    assert opened.errors == []


def test_it_plays_by_the_clock_and_half_as_fast(opened):
    panel, page = opened.panels()[0], opened.page
    slow = panel.locator.get_by_role("button", name="Half speed")
    page.evaluate("performance.now = () => window.fake ?? 0")
    for pressed, frames in (("false", 24), ("true", 12)):
        panel.click("Reset")
        assert slow.get_attribute("aria-pressed") == pressed
        page.evaluate("window.fake = 0")
        button(opened).click()
        page.evaluate("window.fake = 1000")  # a second goes by
        opened.wait_for_change(panel.readout, "Frame 0.", "the readout")
        assert panel.sliders()[0].value() == frames
        button(opened).click()
        stays(opened, panel)
        assert panel.readout() == f"Frame {frames}."
        slow.click()
    assert slow.get_attribute("aria-pressed") == "false"
    page.evaluate("delete performance.now")
    panel.click("Reset")


@pytest.mark.parametrize(
    "touch",
    [
        lambda panel: panel.click("Middle"),
        lambda panel: panel.click("Reset"),
        lambda panel: panel.sliders()[0].press("ArrowRight"),
    ],
    ids=["moment", "reset", "slider"],
)
def test_anything_that_is_pressed_pauses_it(opened, touch):
    panel = opened.panels()[0]
    button(opened).click()
    plays(opened, panel)
    touch(panel)
    stays(opened, panel)
    assert button(opened).text_content() == "Play"
    assert panel.readout() == f"Frame {panel.sliders()[0].value():g}."


def test_another_cell_runs_while_it_plays_and_nothing_plays_on_when_its_cell_was_run_again(opened):
    panel = opened.panels()[0]
    button(opened).click()
    plays(opened, panel)
    assert run(opened, 1).startswith("so far:")
    plays(opened, panel)
    run(opened, 0)
    opened.page.wait_for_timeout(500)
    again = run(opened, 1)
    # Its own first picture, and at most two frames that the old panel had asked for before.
    assert again.strip() in ("so far: 1", "so far: 2", "so far: 3")
    opened.page.wait_for_timeout(500)
    assert run(opened, 1) == again
    assert opened.errors == []
