"""A panel, a card and our pages in a real Chromium, held to WCAG 2.2 AA.

https://www.w3.org/TR/WCAG22/. One notebook and four pages are opened once, and looked at in many
ways; numbers in comments are success criteria.
"""

import io
import re

import pytest
from nbformat import v4
from PIL import Image

from rigkit import inspection, view
from rigkit.marking import class_page, learner_page
from tests.browser.lab import Lab, code_notebook, script
from tests.contrast import SHAPE, TEXT, as_ink, contrast, over
from tests.marking import entries
from tests.unit import rigs

pytestmark = pytest.mark.needs_browser

STRIDE, PELVIS = 0, 2  # of the panels below
CELLS = {
    "panel": (
        "from rigkit import puppets\nfrom rigkit.scenes import a_walk\n"
        "a_walk.stride_panel(puppets.PUPPETS['Tamsin'])"
    ),
    "float-panel": (
        "from rigkit.scenes import preset_bend\npreset_bend.crouch_panel(puppets.PUPPETS['Tamsin'])"
    ),
    "pelvis-panel": (
        "from rigkit.scenes import forward_and_inverse\n"
        "forward_and_inverse.pelvis_panel(puppets.PUPPETS['Tamsin'])"
    ),
    "check": (
        "from rigkit.homework import open_homework\nhw = open_homework('06', student='ada')\n"
        "def solve_leg(goal, upper, lower, side):\n    return 0.1, 0.5\nhw.check(solve_leg)"
    ),
    "inspect": (
        "from rigkit import export, faults, inspection, puppets\n"
        "inspection.inspect(export.puppet_asset(puppets.PUPPETS['Tamsin']))"
    ),
}
SPACING = (  # 1.4.12
    "*:not(svg *) { line-height: 1.5 !important; letter-spacing: .12em !important;"
    " word-spacing: .16em !important } p:not(svg *) { margin-bottom: 2em !important }"
)
TEXTS, STROKES, CROWDED, SQUEEZED, FOCUS, EASED = map(
    script, ("texts", "strokes", "crowded", "squeezed", "focus", "eased")
)


def ground(behind):
    """The colour of layers that lie on one another, the front one first."""
    opaque = "rgba(255,255,255,1)"
    for layer in reversed(behind):
        opaque = as_ink(over(layer, opaque))
    return opaque


def pale(found, least):
    """Texts with too little contrast."""
    return {
        f"{name[:60]}: {ratio:.2f}"
        for name, ink, behind in found
        if (ratio := contrast(ink, ground(behind))) < least
    }


def bar_contrast(slider):
    """How the part of a slider's bar that is not filled stands out, from what is painted."""
    image = Image.open(io.BytesIO(slider.handle.screenshot())).convert("RGB")
    column = [image.getpixel((image.width - 12, y)) for y in range(image.height)]
    inks = ["#" + "".join(f"{part:02x}" for part in pixel) for pixel in column]
    return max(contrast(ink, inks[0]) for ink in inks)


# --- a panel and cards in JupyterLab ----


@pytest.fixture(scope="module")
def opened(browser, server):
    """A notebook with three panels, a learner's card and an inspection, run."""
    lab = Lab(browser, server, windowing="none")
    notebook = code_notebook(CELLS)
    notebook.cells.insert(0, v4.new_markdown_cell("# Access", id="title"))
    lab.write("access.ipynb", notebook)
    lab.open("access.ipynb")
    lab.run_all()
    lab.page.wait_for_selector(".rig-spoken", state="attached")
    yield lab
    lab.close()


def outputs(lab):
    return lab.page.locator(".jp-OutputArea-output").all()


def test_every_control_has_a_name_that_says_its_unit_and_a_value(opened):  # 1.3.1, 2.5.3, 4.1.2
    said = opened.panels()[STRIDE].locator.aria_snapshot()
    assert re.search(r'heading "Step through one stride[^"]*" \[level=3\]', said)
    assert len(re.findall(r'- img "\w', said)) == 2
    assert '- slider "Left leg\'s stride (%)"' in said
    assert '- spinbutton "Left leg\'s stride (%)": "0"' in said
    assert re.search(
        r'radiogroup "Legs":.*radio "as published" \[checked\].*radio "feet planted"',
        said,
        re.DOTALL,
    )
    assert re.search(r'- button "Play"[^>]*- button "Reset"', said, re.DOTALL)
    every = "\n".join(panel.locator.aria_snapshot() for panel in opened.panels())
    assert not re.findall(
        r"(?m)^\s*- (?:slider|spinbutton|radio|radiogroup|button|img)(?:$|:| \[)", every
    )
    handle = opened.panels()[STRIDE].sliders()[0].handle
    assert [handle.get_attribute(name) for name in ("min", "max", "aria-valuetext")] == [
        "0",
        "99",
        "0 %",
    ]
    assert handle.input_value() == "0"


def test_every_grip_says_what_it_is_from_where_and_what_it_moves(opened):  # 1.3.1, 2.5.3, 4.1.2
    panel = opened.panels()[PELVIS]
    said = panel.locator.aria_snapshot()
    grips = panel.grips()
    assert [grip.name for grip in grips] == ["Pelvis, from the side", "Pelvis, from the front"]
    assert all(f'- slider "{grip.name}"' in said for grip in grips)
    labels = [slider.label.partition(" (")[0] for slider in panel.sliders()]
    for grip in grips:
        values = dict(part.rsplit(" ", 2)[:2] for part in grip.said().split(", "))
        assert set(values) < set(labels), "in one view it moves some of them"
        low, now, high = (
            float(grip.locator.get_attribute(f"aria-value{what}")) for what in ("min", "now", "max")
        )
        assert low <= now <= high
        assert str(now).removesuffix(".0") in values.values()
        assert "arrow keys" in grip.locator.get_attribute("title")
    assert set(labels) == {
        part.rsplit(" ", 2)[0] for grip in grips for part in grip.said().split(", ")
    }


def test_a_grip_is_large_enough_and_larger_for_a_finger(opened, browser, server):  # 2.5.8
    sizes = {
        round(min(grip.locator.bounding_box()[way] for way in ("width", "height")))
        for panel in opened.panels()
        for grip in panel.grips()
    }
    assert sizes == {36}
    context = browser.new_context(has_touch=True, is_mobile=True)
    touched = Lab(context, server, windowing="none")
    touched.open("access.ipynb")
    touched.run_all()
    panel = touched.panels()[PELVIS]
    held = panel.locator.locator("button, input[type=range], input[type=number]").all()
    assert {round(grip.locator.bounding_box()["width"]) for grip in panel.grips()} == {44}
    assert min(each.bounding_box()["height"] for each in held) >= 44
    context.close()  # the kernel is the other window's too


def test_the_readout_is_said_once_when_the_panel_rests(opened):  # 4.1.3
    panel = opened.panels()[STRIDE]
    panel.locator.evaluate("""e => { window.said = [];
      new MutationObserver(() => { const words = e.querySelector('.rig-spoken').textContent;
                                   if (words) window.said.push(words); })
        .observe(e.querySelector('.rig-spoken'), {childList: true}); }""")
    # The words, and what is wrong, if anything is.
    assert panel.locator.get_by_role("status").count() == 2
    before = panel.readout()
    panel.sliders()[0].press("ArrowRight", times=8)
    opened.wait_for_change(lambda: opened.page.evaluate("said.length"), 0, "what is said")
    opened.page.wait_for_timeout(1000)
    assert opened.page.evaluate("said") == [panel.readout()] != [before]
    panel.click("Reset")


@pytest.mark.parametrize("number", [STRIDE, PELVIS])
def test_the_keyboard_reaches_everything_in_order_sees_where_it_is_and_gets_out(opened, number):
    # 2.1.1, 2.1.2, 2.4.3, 2.4.7, 2.4.11, and 1.4.11 for the mark of the keyboard's place
    panel = opened.panels()[number]
    # As arrow keys do; then Tab, past its buttons.
    opened.page.locator(".jp-CodeCell").nth(number).focus()
    for _ in range(6):
        if opened.page.evaluate(FOCUS)["panel"] == number:
            break
        opened.page.keyboard.press("Tab")
    visited = []
    for _ in range(40):
        now = opened.page.evaluate(FOCUS)
        if now["panel"] != number:
            break
        visited.append(now)
        opened.page.keyboard.press("Tab")
    sliders = [(slider.label, kind) for slider in panel.sliders() for kind in ("range", "number")]
    buttons = [(name, "button") for name in panel.locator.get_by_role("button").all_text_contents()]
    radio = [("as published", "radio")] if number == STRIDE else []  # a group is one stop
    assert [(each["name"], each["kind"]) for each in visited] == [
        ("Show alone", "button"),
        *((grip.name, "slider") for grip in panel.grips()),
        *sliders,
        *radio,
        *buttons[1:],
    ]
    assert all(each["seen"] for each in visited)
    thin = {
        each["name"]: each["width"]
        for each in visited
        if each["style"] != "solid" or each["width"] < 2
    }
    assert thin == {}
    assert pale([(each["name"], each["ink"], each["behind"]) for each in visited], SHAPE) == set()


def test_everything_can_be_done_without_dragging(opened):  # 2.1.1, 2.5.7
    panel, page = opened.panels()[STRIDE], opened.page
    slider, group = panel.sliders()[0], panel.locator.get_by_role("radiogroup", name="Legs")
    for act in (
        lambda: slider.press("ArrowRight"),
        lambda: slider.type(44),
        lambda: slider.press("End"),
        lambda: (group.get_by_role("radio").first.focus(), page.keyboard.press("ArrowDown")),
        lambda: page.keyboard.press("ArrowLeft"),
        lambda: (
            panel.locator.get_by_role("button", name="Reset").focus(),
            page.keyboard.press("Enter"),
        ),
    ):
        before = panel.picture()
        act()
        opened.wait_for_change(panel.picture, before, "the picture")
    assert slider.value() == 0


def test_a_number_out_of_range_is_brought_back_and_shown(opened):  # 3.3.1
    slider = opened.panels()[STRIDE].sliders()[0]
    slider.type(1234)
    opened.wait_for_change(slider.value, 1234.0, "the box")
    assert slider.value() == slider.highest() == 99
    opened.panels()[STRIDE].click("Reset")


@pytest.mark.parametrize("theme", ["JupyterLab Light", "JupyterLab Dark"])
def test_words_and_shapes_are_seen_in_both_themes(
    opened, theme
):  # 1.4.3, 1.4.11, computed by the browser
    opened.menu("Settings", "Theme")
    opened.page.locator(".lm-Menu-itemLabel", has_text=re.compile(f"^{theme}$")).click()
    opened.page.wait_for_function(f"document.body.dataset.jpThemeName === {theme!r}")
    opened.page.wait_for_timeout(500)
    found = [text for output in outputs(opened) for text in output.evaluate(TEXTS)]
    assert len(found) > 80
    assert pale(found, TEXT) == set()
    strokes = [stroke for output in outputs(opened) for stroke in output.evaluate(STROKES)]
    assert len(strokes) > 40
    assert pale(strokes, SHAPE) == set()
    panel = opened.panels()[PELVIS]
    parts = panel.locator.evaluate("""root => {
      const seen = (name, selector, ink) => { const behind = [];
        const e = root.querySelector(selector);
        for (let g = e.parentElement; g; g = g.parentElement)
          behind.push(getComputedStyle(g).backgroundColor);
        return [name, getComputedStyle(e)[ink], behind]; };
      return [seen('the box', 'input[type=number]', 'borderTopColor'),
              seen('the grip', '.rig-grip', 'borderTopColor'),
              seen('the button', 'button', 'borderTopColor')]; }""")
    assert pale(parts, SHAPE) == set()
    assert bar_contrast(panel.sliders()[0]) >= SHAPE


def test_nothing_moves_by_itself_nor_eases_where_that_is_not_wanted(opened):  # 2.2.2, 2.3.1
    panel = opened.panels()[STRIDE]
    shown = panel.picture()
    opened.page.wait_for_timeout(500)
    assert panel.picture() == shown
    eased = {}
    for wanted in ("reduce", "no-preference"):  # rings draw the eye to what can be taken
        opened.page.emulate_media(reduced_motion=wanted)
        eased[wanted] = opened.panels()[-1].locator.evaluate(EASED)
    assert eased["reduce"] == [] != eased["no-preference"]


def test_what_can_be_taken_is_seen_in_forced_colours(opened):  # 1.4.11
    opened.page.emulate_media(forced_colors="active")
    panel = opened.panels()[PELVIS]
    grip = panel.grips()[0]
    grip.press("ArrowDown")
    ring = grip.locator.evaluate(
        "e => { const s = getComputedStyle(e);"
        " return [s.borderTopStyle, s.outlineStyle, s.outlineWidth]; }"
    )
    assert ring == ["solid", "solid", "3px"]
    opened.page.emulate_media(forced_colors="none")
    panel.click("Reset")


@pytest.mark.parametrize("width", [640, 320])  # 1280 px at 200 % and at 400 %
def test_nothing_is_lost_where_there_is_little_room(opened, width):  # 1.4.4, 1.4.10, 1.4.12, 2.5.8
    if opened.page.locator("#filebrowser").is_visible():
        opened.menu("View", "Appearance", "Show Left Sidebar")
    opened.page.set_viewport_size({"width": width, "height": 800})
    opened.page.wait_for_timeout(500)
    assert opened.troubles() == []
    for output in outputs(opened):
        assert output.evaluate(SQUEEZED) == []
        assert output.evaluate(CROWDED) == []
    style = opened.page.add_style_tag(content=SPACING.replace("*:not", ".rig-panel *:not"))
    for panel in opened.panels():
        assert panel.locator.evaluate(SQUEEZED) == []
    style.evaluate("e => e.remove()")
    opened.page.set_viewport_size({"width": 1280, "height": 800})
    assert opened.errors == []


# --- our own pages ----


def the_class():
    found, everyone = entries.room(40)
    return class_page.html(found, missing=[("06", who) for who in everyone[11::25]])


def a_learner():
    kinds = {"solve_leg": "knee backwards", "shortening_cm": "metres", "freedom": "blank"}
    return learner_page.html(entries.learner(1), [entries.entry(entries.learner(1), "06", kinds)])


def an_inspection():
    return inspection.inspect(rigs.BROKEN["sides-mirror"]()).html()


def a_rig():
    report = inspection.inspect(rigs.BROKEN["foot-slide"]())
    return report.html(scene=view.view(report))


@pytest.fixture(
    scope="module",
    params=[the_class, a_learner, an_inspection, a_rig],
    ids=lambda make: make.__name__,
)
def page(request, browser, tmp_path_factory):
    """One of our pages, opened from its file."""
    place = tmp_path_factory.mktemp("page") / "page.html"
    place.write_text(request.param(), encoding="utf-8")
    page = browser.new_context().new_page()
    page.goto(place.as_uri())
    page.evaluate("document.querySelectorAll('details').forEach(e => e.open = true)")
    yield page
    page.context.close()


@pytest.mark.parametrize(
    "media",
    [
        {"color_scheme": "light"},
        {"color_scheme": "dark"},
        {"color_scheme": "dark", "media": "print"},
    ],
    ids=["light", "dark", "print"],
)
def test_words_and_shapes_of_a_page_are_seen(page, media):
    page.emulate_media(**{"media": "screen", **media})
    texts, strokes = page.locator("body").evaluate(TEXTS), page.locator("body").evaluate(STROKES)
    assert len(texts) > 20
    assert pale(texts, TEXT) == set()
    assert pale(strokes, SHAPE) == set()
    if "media" in media:
        assert all(contrast(ground(behind), "#ffffff") < 1.2 for _, _, behind in texts), (
            "paper is white"
        )


@pytest.mark.parametrize("width", [1280, 640, 320])
def test_nothing_of_a_page_is_lost_where_there_is_little_room(page, width):
    page.emulate_media(media="screen", color_scheme="light")
    page.set_viewport_size({"width": width, "height": 800})
    body = page.locator("body")
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert body.evaluate(SQUEEZED) == []
    assert body.evaluate(CROWDED) == []
    page.evaluate(
        "css => { const sheet = new CSSStyleSheet(); sheet.replaceSync(css);"
        "         document.adoptedStyleSheets = [sheet]; }",
        SPACING,
    )
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert body.evaluate(SQUEEZED) == []
    page.evaluate("document.adoptedStyleSheets = []")


def test_a_page_is_walked_through_by_keyboard(page):
    page.set_viewport_size({"width": 1280, "height": 800})
    targets = page.evaluate(
        "document.querySelectorAll('a[href], summary, [tabindex=\"0\"]').length"
    )
    page.evaluate("document.activeElement.blur()")
    unseen, reached = [], 0
    for _ in range(min(targets, 25)):
        page.keyboard.press("Tab")
        now = page.evaluate(FOCUS)
        reached += 1
        if now["style"] == "none" or not now["width"]:
            unseen.append(now["name"])
    assert reached > 0
    assert unseen == []
