"""Guesses and quick checks as a learner meets them: asked, answered, set beside a measurement."""

import json

import pytest

from tests.browser import lab

pytestmark = pytest.mark.needs_browser

SETUP = """
from rigkit.asking import Check, Guess, Number, Place
from rigkit.panels import Grip, Panel, Slider, quick_check
from rigkit.stage import Stage

def draw(down_cm):
    stage = Stage("side", (-0.5, -0.3), (0.5, 0.7), width=300).ghost([(0, 0), (0, 0.5)])
    return stage, f"{down_cm} cm down"

def leg(guess):
    hip = Grip("Hip", lambda down_cm: (0, 0.5 - down_cm / 100), ["down_cm"])
    slider = Slider("down_cm", "Down", 0, 20, 1, 0, "cm")
    return Panel("A leg.", [slider], draw, {"Low": (20,)}, grips=[hip]).after(guess)

def found(right):
    return lambda down_cm: (right, f"It is <b>{down_cm} cm</b>.") if down_cm >= 10 else None
"""
CELLS = {
    "setup": SETUP,
    "options": 'leg(Guess("04/foot", "Which foot?", ("left", "right"), found("left"), "Pull."))',
    "number": 'leg(Guess("04/far", "How far?", Number("cm", 0, 50, 2), found(10), "Pull."))',
    "place": 'leg(Guess("04/place", "Where?", Place(3), found((0.0, 0.0)), "Pull."))',
    "plot": (
        'Panel("A plot.", [], lambda: (draw(3)[0], "")).after(\n'
        '    Guess("04/plot", "More?", ("more", "less"), lambda: ("less", "It was less.")))'
    ),
    "check": (
        'quick_check(Check("04/turn", "How far?", Number("°", -90, 90, 1), 20, "So it is.",\n'
        '    {60: "That adds them."}, "Think of the sole."))'
    ),
    "choose": (
        'quick_check(Check("04/leg", "Which?", ("forward", "inverse"), "inverse", "It stays.",\n'
        '    {"forward": "It goes along."}))'
    ),
}
PICTURES = """root => {
  const panel = root.getBoundingClientRect();
  const {top, left, width, height} = root.querySelector('.rig-views').getBoundingClientRect();
  return [top - panel.top, left - panel.left, width, height];
}"""
OPTIONS, NUMBER, PLACE, PLOT, TURN, CHOOSE = range(6)


@pytest.fixture
def asked(browser, server):
    page = lab.Lab(browser, server, size=(1280, 1000), windowing="none")
    new = {"new": "from rigkit import course\ncourse.reset_progress()"}
    page.write("asked.ipynb", lab.code_notebook(new | CELLS))  # no guess of another test
    page.open("asked.ipynb")
    page.run_all()
    yield page
    assert page.errors == []
    page.close()


def panel(asked, number):
    return asked.page.locator(".rig-panel").nth(number)


def reply(asked, number):
    return panel(asked, number).locator(".rig-reply").inner_text()


def pull_down(asked, number):
    """Go to the telling state."""
    panel(asked, number).get_by_role("button", name="Low").click()
    asked.page.wait_for_function(
        "at => document.querySelectorAll('.rig-panel')[at].innerText.includes('20 cm down')",
        arg=number,
    )


def test_nothing_moves_before_the_guess_and_then_it_is_set_beside_the_measurement(asked):
    first = panel(asked, OPTIONS)
    assert first.locator(".rig-grip:visible").count() == 0
    assert first.get_by_role("slider").count() == 0
    before = first.evaluate(PICTURES)
    first.get_by_role("button", name="right").click()
    assert reply(asked, OPTIONS) == "You said right. Pull."
    assert first.evaluate(PICTURES) == before  # they stay where they are in the panel
    assert first.locator(".rig-grip:focus").count() == 1  # the keyboard goes on from there
    for _ in range(10):
        asked.page.keyboard.press("ArrowDown")
    asked.page.wait_for_function(
        "() => document.querySelector('.rig-reply').innerText.includes('10 cm')"
    )
    assert reply(asked, OPTIONS) == "You said right. It is 10 cm."


def test_who_does_not_guess_sees_the_picture_and_no_verdict(asked):
    panel(asked, OPTIONS).get_by_role("button", name="Show me without guessing").click()
    pull_down(asked, OPTIONS)
    assert reply(asked, OPTIONS) == ""


@pytest.mark.thorough
def test_a_number_is_typed_and_given_by_enter(asked):
    box = panel(asked, NUMBER).get_by_role("spinbutton", name="Your answer (cm)")
    box.press("Enter")
    assert panel(asked, NUMBER).locator(".rig-ask:visible").count() == 1  # nothing was typed
    box.fill("12.5")
    box.press("Enter")
    pull_down(asked, NUMBER)
    assert reply(asked, NUMBER) == "You said 12.5 cm. It is 20 cm."


def test_a_place_is_pressed_or_moved_by_keys_and_measured_in_centimetres(asked):
    first, page = panel(asked, PLACE), asked.page
    picture = first.locator(".rig-picture svg")
    box = picture.bounding_box()
    metre = box["width"]  # the stage is one metre wide
    picture.click(position={"x": 0.5 * metre, "y": box["height"] - 0.4 * metre})
    ring = first.get_by_role("slider", name="Your guess")
    page.keyboard.press("ArrowUp")
    assert "50 % from the left" in ring.get_attribute("aria-valuetext")
    first.get_by_role("button", name="It is here").click()
    pull_down(asked, PLACE)
    off = 10 + 100 * 8 / 300  # of the floor's height, and a step of a key
    assert reply(asked, PLACE).startswith(f"Your place is {off:.1f} cm off.")


def test_a_picture_without_controls_waits_behind_its_question(asked):
    first = panel(asked, PLOT)
    assert not first.locator("svg.rig").is_visible()
    size = first.locator(".rig-views").bounding_box()
    first.get_by_role("button", name="more").click()
    assert first.locator("svg.rig").is_visible()
    assert first.locator(".rig-views").bounding_box()["height"] == pytest.approx(
        size["height"], abs=3
    )
    assert reply(asked, PLOT) == "You said more. It was less."


def test_a_check_says_what_was_misunderstood_and_can_be_tried_again(asked):
    box = panel(asked, TURN).get_by_role("spinbutton")
    for typed, said in (
        ("60", "Not so. That adds them."),
        ("5", "Not so. Think of the sole."),
        ("20.5", "Right. So it is."),
    ):
        box.fill(typed)
        panel(asked, TURN).get_by_role("button", name="Answer").click()
        assert reply(asked, TURN) == said
    panel(asked, CHOOSE).get_by_role("button", name="forward").click()
    assert reply(asked, CHOOSE) == "Not so. It goes along."
    pressed = panel(asked, CHOOSE).locator("[aria-pressed=true]")
    assert pressed.inner_text() == "forward"


def test_answers_are_kept_and_a_guess_of_another_day_opens_its_picture(browser, tmp_path):
    folder = tmp_path / "leg-rigging"
    with lab.learn(folder) as server:
        page = lab.Lab(browser, server, size=(1280, 1000), windowing="none")
        page.write("asked.ipynb", lab.code_notebook(CELLS))
        page.open("asked.ipynb")
        page.run_all()
        panel(page, OPTIONS).get_by_role("button", name="right").click()
        pull_down(page, OPTIONS)
        panel(page, CHOOSE).get_by_role("button", name="inverse").click()
        page.page.wait_for_timeout(500)
        page.run_all()
        assert reply(page, OPTIONS) == "You said right. Pull."
        assert panel(page, OPTIONS).locator(".rig-ask:visible").count() == 0
        assert panel(page, NUMBER).locator(".rig-ask:visible").count() == 1
        page.close()
    lines = (folder / ".rigkit" / "progress.jsonl").read_text(encoding="utf-8").splitlines()
    entries = [json.loads(line) for line in lines]
    assert [(e.get("guess") or e.get("check"), e["said"], e["right"]) for e in entries] == [
        ("foot", "right", False),
        ("leg", "inverse", True),
    ]


def test_a_class_shows_hands_as_bars_beside_the_outcome(browser, tmp_path):
    folder = tmp_path / "teacher"
    with lab.learn(folder, "--teach", "--dir", folder) as server:
        page = lab.Lab(browser, server, size=(1280, 1000), windowing="none")
        page.write("asked.ipynb", lab.code_notebook(CELLS))
        page.open("asked.ipynb")
        page.run_all()
        first = panel(page, OPTIONS)
        for _ in range(3):
            first.get_by_role("button", name="right").click()
        first.get_by_role("spinbutton", name="Hands for left").fill("6")
        first.get_by_role("button", name="Show", exact=True).click()
        pull_down(page, OPTIONS)
        assert " ".join(reply(page, OPTIONS).split()) == "left 6 (measured) right 3 It is 20 cm."
        bars = first.locator(".rig-bar")
        left, right = (bars.nth(i).bounding_box()["width"] for i in range(2))
        assert left == pytest.approx(2 * right, rel=0.02)
        assert page.errors == []
        page.close()
    assert not (folder / ".rigkit" / "progress.jsonl").exists()
