"""The bench in a real JupyterLab: a joint dragged, keyed, undone, and there after a reload."""

import json
import os
import tempfile
import time
from pathlib import Path

import pytest

from rigkit.bench.book import Book
from rigkit.bench.measure import measure
from rigkit.bench.state import State
from tests.browser.lab import DARK, LIGHT, GripView, Lab, PanelView, code_notebook, learn

pytestmark = pytest.mark.needs_browser

ROOT = Path(__file__).parents[2]
CELLS = {"bench": 'from rigkit.bench.shell import Bench\nBench("Tamsin", "my-leg.json")'}
KEPT = 5  # s until what was moved stands in the file


class BenchView:
    """The bench in the page, and the learner's file."""

    def __init__(self, lab, folder):
        self.lab, self.page, self.file = lab, lab.page, folder / "my-leg.json"

    @property
    def panel(self):
        return PanelView(self.page.locator(".rig-panel").first)

    def grip(self, name):
        """The grip of that name, once it is seen."""
        grip = self.panel.locator.locator(f'.rig-grip[aria-label="{name}"]:not([hidden])').first
        grip.wait_for()
        return GripView(grip)

    def state(self):
        return Book(self.file, "Tamsin").state if self.file.exists() else State.bare("Tamsin")

    def wait_for(self, wanted, what):
        """Wait until the kept state is as wanted."""
        end = time.monotonic() + KEPT
        while not wanted(self.state()):
            assert time.monotonic() < end, f"{what}; the file says {self.state().joints_mm}"
            self.page.wait_for_timeout(50)
        return self.state()

    def numbers(self):
        """The table: value and mark by name."""
        rows = self.page.locator(".rig-numbers dl > div").all()
        return {
            row.locator("dt").inner_text(): (
                row.locator("b").inner_text(),
                row.locator("span").inner_text()[0],
            )
            for row in rows
        }

    def press(self, name):
        self.page.get_by_role("button", name=name, exact=True).click()

    def go(self, step):
        """Choose a step by its number."""
        chosen = self.page.locator(".widget-dropdown select").first
        options = chosen.locator("option").all_inner_texts()
        chosen.select_option(label=next(o for o in options if o.startswith(step)))
        self.page.wait_for_timeout(300)


@pytest.fixture(scope="module")
def place(browser):
    """A learner's folder, its server and a browser."""
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "learner"
        folder.mkdir()
        path = os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH"))))
        with learn(folder, PYTHONPATH=path) as server:
            yield folder, server, browser


@pytest.fixture
def bench(place):
    """The bench on a new leg."""
    folder, server, browser = place
    for kept in (*folder.glob("my-leg*"), *folder.rglob("progress.jsonl")):
        kept.unlink()  # of a way before; a guess that was answered there would be open
    lab = Lab(browser, server, windowing="none")
    lab.write("cells.ipynb", code_notebook(CELLS))
    lab.open("cells.ipynb")
    lab.run_all()
    lab.page.locator(".rig-grip").first.wait_for()
    yield BenchView(lab, folder)
    assert lab.errors == []
    lab.close()


def test_a_joint_is_dragged_keyed_undone_done_again_and_there_after_all(bench):
    before = bench.state().joints_mm["hip"]
    bench.grip("Hip, from the front").drag(-60, -12)
    dragged = bench.wait_for(lambda s: s.joints_mm["hip"] != before, "the hip stays").joints_mm
    assert dragged["hip"][0] < before[0] - 80
    assert dragged["hip"][1] > before[1]
    assert dragged["hip"][2] == before[2]  # the front view does not move it ahead

    grip = bench.grip("Hip, from the side")
    grip.press("ArrowRight", 3)
    grip.press("Shift+ArrowUp")
    out, up, ahead = dragged["hip"]
    bench.wait_for(lambda s: s.joints_mm["hip"] == (out, up + 10, ahead + 3), "the keys")

    wanted = measure(bench.state(), "01")
    shown = bench.numbers()
    assert [mark == "✓" for _, mark in shown.values()] == [each.right for each in wanted]
    first, *_ = shown.values()
    assert first[0] == f"{wanted[0].value:.1f} cm"

    bench.page.keyboard.press("Control+z")
    bench.wait_for(lambda s: s.joints_mm["hip"] == (out, up, ahead), "Ctrl Z")
    bench.press("Undo")
    bench.wait_for(lambda s: s.joints_mm["hip"] == before, "Undo")
    bench.press("Redo")
    bench.wait_for(lambda s: s.joints_mm["hip"] == (out, up, ahead), "Redo")

    bench.page.reload()
    bench.lab.open("cells.ipynb")
    bench.lab.run_all()
    assert bench.grip("Hip, from the front").said().startswith(f"Hip, out {out} mm")
    assert bench.state().joints_mm["hip"] == (out, up, ahead)


def test_a_hand_on_a_joint_shows_its_sliders_and_its_cut(bench):
    def labels():
        return [
            row.inner_text().split(",")[0]
            for row in bench.page.locator(".rig-control-row:not([hidden]) .rig-name").all()
        ]

    assert labels() == ["Joint", *["Hip"] * 3]
    bench.grip("Ankle, from the side").locator.focus()
    bench.page.locator(".rig-title", has_text="Ankle, cut").wait_for()
    assert labels() == ["Joint", *["Ankle"] * 3]
    box = bench.page.locator('input[type=number][aria-label="Ankle, out (mm)"]')
    box.fill("90")
    box.press("Enter")
    bench.wait_for(lambda s: s.joints_mm["ankle"][0] == 90, "the typed number")
    bench.grip("Ankle in the cut").drag(6, 0)
    bench.wait_for(lambda s: s.joints_mm["ankle"][0] > 90, "the drag in the cut")


def test_a_finger_moves_a_joint_too(bench):
    before = bench.state().joints_mm["knee"]
    x, y = bench.grip("Knee, from the front").middle()
    session = bench.page.context.new_cdp_session(bench.page)
    for kind, off in (
        ("touchStart", 0),
        ("touchMove", -15),
        ("touchMove", -30),
        ("touchEnd", None),
    ):
        points = [] if off is None else [{"x": x + off, "y": y}]
        session.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})
        bench.page.wait_for_timeout(60)
    bench.wait_for(lambda s: s.joints_mm["knee"][0] < before[0] - 30, "the finger")


def test_steps_are_chosen_filled_in_and_react_to_each_other(bench):
    bench.go("07")
    bench.press("Give me a sound start")
    state = bench.wait_for(lambda s: "06" in s.given, "the sound start")
    assert state.joints_mm == State.bare("Tamsin").with_sound("07").joints_mm
    bench.page.get_by_text("Filled in by the kit: 01").wait_for()
    bench.page.wait_for_timeout(500)
    bench.grip("Pole, from the side").drag(60, 0)
    bench.wait_for(lambda s: s.pole_mm[2] > -200, "the pole")
    before = bench.panel.picture()
    bench.go("01")
    grip = bench.grip("Knee, from the side")
    grip.press("Shift+ArrowRight", 2)
    bench.wait_for(lambda s: "06" not in s.given, "the knee")
    bench.go("07")
    bench.page.locator('.rig-grip[aria-label^="Pole"]').first.wait_for()
    assert bench.panel.picture() != before


@pytest.mark.parametrize("theme", [LIGHT, pytest.param(DARK, marks=pytest.mark.thorough)])
def test_every_step_fits_in_both_themes(place, theme):
    folder, server, browser = place
    Book(folder / "my-leg.json", "Tamsin").keep(State.bare("Tamsin").with_sound("12"))
    lab = Lab(browser, server, windowing="none", theme=theme)
    lab.write("cells.ipynb", code_notebook(CELLS))
    lab.open("cells.ipynb")
    lab.run_all()
    view = BenchView(lab, folder)
    for step in (f"{number:02d}" for number in range(1, 13)):
        view.go(step)
        lab.page.wait_for_timeout(700)
        assert lab.troubles() == []
    lab.close()


AT_ONCE = """() => {
  const named = each => each.textContent === 'Next step';
  const next = [...document.querySelectorAll('button')].find(named);
  const key = new KeyboardEvent('keydown', {key: 'ArrowRight', bubbles: true, cancelable: true});
  document.activeElement.dispatchEvent(key);
  next.focus();
  next.click();
}"""


def test_a_key_and_the_next_step_in_one_instant_lose_nothing(bench):
    bench.grip("Hip, from the front").press("ArrowLeft")
    bench.wait_for(lambda s: s.joints_mm["hip"][0] == 284, "the key")
    bench.page.evaluate(AT_ONCE)  # back to a place whose frame is here: the kernel is told later
    bench.page.get_by_text("Hang each joint").wait_for()
    bench.wait_for(lambda s: s.joints_mm["hip"][0] == 285, "the key before the step")


def test_the_kept_file_is_json_with_its_history(bench):
    bench.grip("Hip, from the front").press("ArrowLeft")
    bench.wait_for(lambda s: s.joints_mm["hip"][0] == 284, "the key")
    told = json.loads(bench.file.read_text())
    assert len(told["steps"]) == 2
