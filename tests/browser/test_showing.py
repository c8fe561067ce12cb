"""A leg's own page in a real Chromium: on a phone, in both themes, on paper, without a script."""

import pytest

from rigkit.bench import showing
from rigkit.bench.state import State
from tests.browser import lab
from tests.contrast import TEXT, contrast
from tests.unit.legs_on_the_bench import put

pytestmark = pytest.mark.needs_browser

REASON = "Pip crouches: he carries buns."


@pytest.fixture(scope="module")
def file(tmp_path_factory):
    """The page of a leg with a number out and a finding kept."""
    leg = put(State.bare("Pip").with_sound("12"), "pelvis", drop_mm=120)
    path = tmp_path_factory.mktemp("pages") / "my-leg.html"
    path.write_text(showing.page(leg.changed(kept={"human-range": REASON})), encoding="utf-8")
    return path


def opened(browser, file, wait=".rig-drawn", **options):
    page = browser.new_context(**options).new_page()
    page.errors = []
    page.on("pageerror", lambda error: page.errors.append(str(error)))
    page.on("console", lambda told: told.type == "error" and page.errors.append(told.text))
    page.goto(file.as_uri())
    page.wait_for_selector(wait, timeout=30_000)
    return page


def size(width, height):
    return {"viewport": {"width": width, "height": height}}


@pytest.mark.parametrize("width", [390, 320])
def test_on_a_phone_nothing_goes_sideways_and_the_table_is_still_one(browser, file, width):
    page = opened(browser, file, **size(width, 844), has_touch=True)
    assert page.evaluate("() => document.documentElement.scrollWidth") <= width
    table = page.get_by_role("table")
    assert table.get_by_role("rowheader").count() == 12
    assert table.get_by_role("columnheader").count() == 5
    row = table.get_by_role("row", name="10 A walk")
    assert "Joints beyond human range" in row.text_content()
    assert row.get_by_role("cell").last.text_content() == "✗"
    for cell in table.locator("td").all():
        box = cell.bounding_box()
        assert box["x"] >= 0
        assert box["x"] + box["width"] <= width
    assert page.errors == []
    page.context.close()


def test_it_plays_and_marks_what_was_found(browser, file):
    page = opened(browser, file, **size(1280, 900))
    page.get_by_role("button", name="Play").click()
    page.wait_for_function("() => document.querySelector('.rig-scene').figure.moment > 2")
    page.get_by_role("button", name="Mark it on the rig").first.click()
    said = page.locator(".rig-scene [role=status]").text_content()
    assert said.startswith("Marked: A joint goes beyond human range. Seen ")
    levels = [int(each.evaluate("e => e.tagName")[1]) for each in page.locator("h1,h2,h3").all()]
    assert levels == [1, 2, 2, 2, 2, 3]
    assert page.errors == []
    page.context.close()


def test_without_a_script_all_is_there_but_the_turning(browser, file):
    page = opened(browser, file, "h1", **size(1280, 900), java_script_enabled=False)
    for words in ("Pip’s legs", "Seen 35° from the front", "Foot slides in a stride", REASON):
        assert page.locator("h1, p, dt").filter(has_text=words).is_visible()
    assert page.locator(".rig-scene-stage > svg").bounding_box()["width"] > 300
    assert page.locator("button, input, select").count() == 0
    page.context.close()


@pytest.mark.parametrize("how", ["dark", "print"])
def test_words_are_seen_in_the_dark_and_on_paper(browser, file, how):
    """Paper is white even where the screen is dark."""
    page = opened(browser, file, **size(900, 900), color_scheme="dark")
    if how == "print":
        page.emulate_media(media="print")
    paper = "#ffffff" if how == "print" else "#16191d"
    assert page.evaluate("() => getComputedStyle(document.body).backgroundColor") == (
        f"rgb{tuple(bytes.fromhex(paper[1:]))}"
    )
    inks = page.evaluate(
        """() => [...document.querySelectorAll('h1, th, td, dd, dd span, .mark, .kept, article p')]
             .map(e => getComputedStyle(e).color)"""
    )
    assert min(contrast(ink, paper) for ink in set(inks)) >= TEXT
    if how == "print":
        assert not page.get_by_role("button", name="Play").is_visible()
        assert page.locator(".rig-scene-stage > svg").is_visible()
    page.context.close()


def test_without_webgl_it_turns_by_its_slider(browser, file):
    options = [*lab.CHROMIUM_OPTIONS, "--disable-3d-apis"]
    poor = browser.browser_type.launch(executable_path=lab.find_chromium(), args=options)
    page = opened(poor, file, ".rig-scene input")
    page.get_by_role("slider", name="Turn").fill("90")
    assert "Seen from its left" in page.locator(".rig-scene [role=status]").text_content()
    assert page.errors == []
    poor.close()
