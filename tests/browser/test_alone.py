"""A panel alone on the screen, by button and by key, from a phone to a classroom's wall."""

import pytest

from tests.browser.lab import Lab, code_notebook, script

pytestmark = pytest.mark.needs_browser

CELLS = {
    "one": (
        "from rigkit import puppets\nfrom rigkit.scenes import skinning\n"
        "skinning.late_panel(puppets.PUPPETS['Tamsin'])"
    ),
    "two": (
        "from rigkit.scenes import forward_and_inverse\n"
        "forward_and_inverse.pelvis_panel(puppets.PUPPETS['Tamsin'])"
    ),
    "many": (
        "from rigkit.scenes import preset_bend\npreset_bend.pull_panel(puppets.PUPPETS['Tamsin'])"
    ),
}
SIZES = {
    "window": (1280, 800),
    "phone": (390, 844),
    "small phone": (320, 568),
    "at 200 %": (640, 400),
}
LEGIBLE, LETTERS = 17, 9  # px: of words, and of letters in a picture, beside a phone's edge
SQUEEZED = script("squeezed")
PLACES = """root => {
  const box = e => { const {left, top, right, bottom} = e.getBoundingClientRect();
                     return {left, top, right, bottom}; };
  const all = selector => [...root.querySelectorAll(selector)];
  const words = root.querySelector('.rig-readout');
  return {
    views: all('.rig-view').map(box), words: box(words), slider: box(root.querySelector('input')),
    letters: Math.min(...all('.rig-view text').map(e => e.getBoundingClientRect().height)),
    type: parseFloat(getComputedStyle(words).fontSize),
    over: root.scrollWidth - root.clientWidth,
    whole: document.elementsFromPoint(2, 2).includes(root)
      && document.elementsFromPoint(innerWidth - 8, innerHeight - 8).includes(root),
  };
}"""


@pytest.fixture(scope="module", params=SIZES)
def opened(request, browser, server):
    """Panels on a screen of one size, a phone's with touch."""
    context = browser.new_context(has_touch="phone" in request.param)
    lab = Lab(context, server, windowing="none")  # its menus do not fit on a phone
    lab.write("alone.ipynb", code_notebook(CELLS))
    lab.open("alone.ipynb")
    lab.run_all()
    width, height = SIZES[request.param]
    lab.page.set_viewport_size({"width": width, "height": height})
    yield lab
    lab.close()
    lab.page.context.close()


def is_alone(panel):
    return panel.locator.evaluate("e => e.matches(':popover-open')")


def focused(panel):
    return panel.locator.evaluate("e => e.contains(document.activeElement)")


def test_all_that_is_needed_at_once_is_seen_and_nothing_is_cut_off(opened):
    size = opened.page.viewport_size
    for panel in opened.panels():
        panel.sliders()[0].press("f")
        assert is_alone(panel)
        opened.page.wait_for_timeout(200)
        found = panel.locator.evaluate(PLACES)
        first = found["views"][0]
        assert found["whole"]
        assert found["over"] <= 0
        assert first["left"] >= 0
        assert first["right"] <= size["width"]
        assert found["type"] >= LEGIBLE
        assert round(found["letters"], 3) >= LETTERS
        assert found["words"]["bottom"] <= found["slider"]["top"] + 1
        if size["height"] > 600:
            assert found["slider"]["bottom"] <= size["height"]
        assert panel.locator.locator(".rig-controls").evaluate(SQUEEZED) == []
        opened.page.keyboard.press("Escape")
        assert not is_alone(panel)
    assert opened.errors == []


def test_pictures_take_the_room_there_is(opened):
    size, panel = opened.page.viewport_size, opened.panels()[1]
    panel.sliders()[0].press("f")
    views = panel.locator.evaluate(PLACES)["views"]
    wide = sum(view["right"] - view["left"] for view in views) / size["width"]
    tall = (views[0]["bottom"] - views[0]["top"]) / size["height"]
    assert wide > 1.3 or tall > 0.6, "one at a time, or as tall as words and sliders leave"
    if wide > 1:  # the other one is a swipe away, and comes by the keyboard too
        panel.grips()[-1].locator.focus()
        opened.page.wait_for_timeout(800)
        last = panel.locator.evaluate(PLACES)["views"][-1]
        assert last["left"] >= -1
        assert last["right"] <= size["width"] + 1
    opened.page.keyboard.press("Escape")


def test_the_button_leads_there_and_back_and_the_keyboard_stays_inside(opened):
    panel, page = opened.panels()[1], opened.page
    button = panel.locator.locator(".rig-alone-button")
    button.focus()
    page.keyboard.press("Enter")
    assert is_alone(panel)
    assert button.text_content() == "Back to the page"
    for _ in range(24):
        page.keyboard.press("Tab")
        assert focused(panel)
    button.focus()
    page.keyboard.press("Enter")
    assert not is_alone(panel)
    assert button.text_content() == "Show alone"
    assert button.evaluate("e => e === document.activeElement")


def test_a_letter_typed_into_a_box_is_no_key_of_ours(opened):
    panel = opened.panels()[1]
    panel.sliders()[0].box.focus()
    opened.page.keyboard.press("f")
    assert not is_alone(panel)


def test_pictures_are_drawn_on_while_it_is_alone(opened):
    panel = opened.panels()[1]
    panel.sliders()[0].press("f")
    before = panel.picture()
    panel.grips()[0].press("ArrowDown", 3)
    opened.wait_for_change(panel.picture, before, "the picture")
    opened.page.keyboard.press("Escape")
    panel.locator.get_by_role("button", name="Reset").press("Enter")  # a phone's page hides it
    assert opened.errors == []
