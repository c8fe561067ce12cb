"""The bench's brush in a real page: by mouse, finger and keys; undone; measured; read by eye."""

import base64
import json
import re
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import rigkit
from rigkit import skin
from rigkit.bench import build, measure, painting
from rigkit.bench.brush import Brush
from rigkit.bench.state import State
from tests.browser.lab import DARK, IN_NOTEBOOK, LIGHT, Lab, code_notebook, stock
from tests.browser.test_kernel import HURRY

pytestmark = pytest.mark.needs_browser

STATE = State.bare("Tamsin").with_sound("12").changed(softness=0.35)
CELLS = {
    "brush": """\
from rigkit.bench.brush import Brush
from rigkit.bench.state import State
brush = Brush(State.bare("Tamsin").with_sound("12").changed(softness=0.35))
brush""",
    "painted": "print(brush.painted)",
    "busy": "import time\ntime.sleep(4)",
    "elsewhere": "brush._kept.undo()\nbrush.show()",
}
ALONE = {"brush": CELLS["brush"]}
PICTURES = "e => [...e.querySelectorAll('canvas')].map(c => c.toDataURL())"


class BrushView:
    """A brush in a page of a lab."""

    def __init__(self, lab):
        self.lab, self.page = lab, lab.page
        self.root = lab.page.locator(".rig-brush")
        self.rest = self.root.locator("canvas").first
        self.root.evaluate("e => e.scrollIntoView({block: 'start'})")

    def pictures(self):
        return self.root.evaluate(PICTURES)

    def numbers(self):
        """The table's numbers by their names."""
        rows = self.root.locator("tbody tr").all()
        cells = [row.locator("th, td").all_text_contents() for row in rows]
        return {name: float(re.match(r"[\d.]+", said)[0]) for name, said in cells}

    def stretch(self):
        return self.numbers()["longest stretch of an edge, bent by 90°"]

    def follows(self, before):
        self.lab.wait_for_change(self.stretch, before, "the longest stretch")
        return self.stretch()

    def at(self, right, up):
        """Where on the screen a place is, given in knee radii from the knee, seen from outside."""
        box = self.rest.bounding_box()
        return (
            box["x"] + (right + 1.8) / 3.6 * box["width"],
            box["y"] + (2.6 - up) / 5.2 * box["height"],
        )

    def choose(self, name):
        self.root.get_by_label(name, exact=True).check()

    def smooth_through(self):
        """Choose what betters the worst edge, wherever it is."""
        self.root.get_by_label("Size (cm)").fill("8")
        self.choose("smooth")
        self.choose("through the leg")

    def press(self, *keys):
        self.rest.focus()
        for key in keys:
            self.page.keyboard.press(key)

    def click(self, name):
        self.root.get_by_role("button", name=name, exact=True).click()

    def painted(self):
        """What the kernel keeps, once it has printed it."""
        cell = self.page.locator(".jp-CodeCell").nth(1)
        run(self.lab, 1)
        printed = cell.locator(".jp-OutputArea-output")
        printed.wait_for()
        return printed.text_content().strip()


def run(lab, number):
    lab.page.locator(".jp-CodeCell").nth(number).locator(".cm-content").click()
    lab.page.keyboard.press("Control+Enter")


def open_brush(browser, server, cells=CELLS, **how):
    lab = Lab(browser, server, windowing="none", **how)
    lab.write("brush.ipynb", code_notebook(cells))
    lab.open("brush.ipynb")
    run(lab, 0)
    lab.page.wait_for_selector(".rig-brush tbody tr")
    return lab


@pytest.fixture
def brush(browser, server):
    lab = open_brush(browser, server)
    yield BrushView(lab)
    assert lab.errors == []
    lab.close()


@pytest.fixture(scope="module")
def twin():
    """The same brush here, without a page."""
    return Brush(STATE)


# --- hands ----


def test_a_stroke_by_mouse_shows_at_once_and_numbers_follow_before_it_ends(brush):
    before, shown = brush.stretch(), brush.pictures()
    assert before == pytest.approx(2.98, abs=0.01)
    brush.smooth_through()
    mouse = brush.page.mouse
    mouse.move(*brush.at(-0.8, 0.1))
    mouse.down()
    for _ in range(4):
        mouse.move(*brush.at(0.9, 0.1), steps=6)
        mouse.move(*brush.at(-0.9, -0.1), steps=6)
    during = brush.follows(before)
    assert all(one != other for one, other in zip(shown, brush.pictures(), strict=True))
    undo = brush.root.get_by_role("button", name="Undo")
    assert undo.is_disabled()  # a stroke is one step, once it ends
    mouse.up()
    brush.lab.wait_for_change(undo.is_disabled, True, "the button")
    assert brush.stretch() == pytest.approx(during, rel=0.2)
    brush.click("Undo")
    brush.lab.wait_for_change(lambda: brush.stretch() == before, False, "the longest stretch")
    assert brush.pictures() == shown


def test_a_finger_paints_as_a_mouse_does(brush):
    touch = brush.page.context.new_cdp_session(brush.page)

    def dispatch(kind, *places):
        points = [{"x": x, "y": y} for x, y in places]
        touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    brush.smooth_through()
    before, scrolled = brush.stretch(), brush.root.bounding_box()["y"]
    dispatch("touchStart", brush.at(-0.8, 0.4))
    for right in (-0.4, 0, 0.4, 0.8):
        dispatch("touchMove", brush.at(right, -0.2))
    brush.follows(before)
    dispatch("touchEnd")
    assert brush.root.bounding_box()["y"] == scrolled  # the page did not move under the finger
    assert brush.painted() != ""


def test_keys_move_the_brush_and_dab_and_the_kernel_keeps_what_its_twin_paints(brush, twin):
    brush.smooth_through()
    before = brush.stretch()
    brush.press("ArrowUp", "ArrowUp", "ArrowLeft", "Enter", " ", "Shift+ArrowDown", "Enter")
    brush.follows(before)
    size = float(brush.root.get_by_label("Size (cm)").input_value()) / 100
    limb = twin.limb
    shares = limb.shares
    for at in ((-0.005, 0.01), (-0.005, 0.01), (-0.005, -0.01)):
        amounts = painting.touched(limb, "outside", at, size, 0.5, "through")
        shares = painting.dab(limb, shares, amounts, "smooth")
    brush.page.wait_for_timeout(500)
    kept = limb.unpack(brush.painted())
    assert (kept != limb.shares).sum() > 50
    assert_allclose(kept, shares, atol=0.5 / 255 + 1e-4)


def test_keys_are_said(brush):
    brush.press("ArrowUp", "ArrowUp")
    said = brush.root.locator(".rig-spoken")
    said.get_by_text("Under the brush: the shank has").wait_for(timeout=3000, state="attached")
    assert "1.0 cm above the knee" in said.text_content()


def test_undo_and_redo_by_keys_and_by_buttons(brush):
    brush.choose("smooth")
    start, shown = brush.stretch(), brush.pictures()
    brush.click("Smooth all around the knee")
    once = brush.follows(start)
    brush.click("Smooth all around the knee")
    twice = brush.follows(once)
    assert start > once > twice
    brush.press("Control+z")
    assert brush.follows(twice) == once
    brush.click("Undo")
    assert brush.follows(once) == start
    assert brush.pictures() == shown
    assert brush.root.get_by_role("button", name="Undo").is_disabled()
    brush.press("Control+Shift+Z")
    assert brush.follows(start) == once
    brush.click("Redo")
    assert brush.follows(once) == twice


@pytest.mark.thorough
def test_a_busy_kernel_does_not_hold_the_brush_up(brush):
    brush.smooth_through()
    before, shown = brush.stretch(), brush.pictures()
    run(brush.lab, 2)
    brush.page.wait_for_timeout(300)
    brush.press("Enter", "ArrowUp", "Enter")
    brush.page.wait_for_timeout(100)
    assert brush.pictures() != shown
    assert brush.stretch() == before
    brush.root.get_by_text("The kernel has not answered yet.").wait_for()
    brush.follows(before)
    brush.lab.wait_for_change(
        lambda: brush.root.locator(".rig-trouble").text_content() == "", False, "the trouble"
    )


def test_a_brush_whose_script_came_late_hears_its_kernel(browser, server):
    lab = Lab(browser, server, windowing="none")
    lab.page.add_init_script(HURRY)
    lab.write("late.ipynb", code_notebook(ALONE))
    lab.open("late.ipynb")
    run(lab, 0)
    lab.page.wait_for_selector(".rig-brush tbody tr")
    brush = BrushView(lab)
    brush.click("Smooth all around the knee")
    assert brush.follows(2.98) < 2.5
    lab.close()


@pytest.mark.thorough
def test_what_is_kept_elsewhere_comes_into_the_page(brush):
    before, shown = brush.stretch(), brush.pictures()
    brush.click("Smooth all around the knee")
    after = brush.follows(before)
    run(brush.lab, 3)
    assert brush.follows(after) == before
    assert brush.pictures() == shown


def test_each_view_shows_and_paints_its_own_side(brush, twin):
    shown = [brush.pictures()]
    for view in ("inside", "front"):
        brush.choose(view)
        shown.append(brush.pictures())
    assert len({picture for both in shown for picture in both}) == 6
    brush.choose("inside")
    brush.press("Shift+ArrowUp", "Enter")
    brush.page.wait_for_timeout(600)
    limb = twin.limb
    changed = limb.unpack(brush.painted()) != limb.shares
    assert changed.any()
    assert (limb.normals[changed, 0] < 0).all()


# --- the script beside its Python ----


def test_the_script_paints_and_bends_as_the_library_does(browser, twin):
    rng, limb = np.random.default_rng(9), twin.limb
    stroke = [
        {
            "view": str(rng.choice(list(painting.VIEWS))),
            "at": rng.uniform(-0.08, 0.08, 2).tolist(),
            "size": float(rng.uniform(0.01, 0.08)),
            "strength": float(rng.uniform(0.1, 1)),
            "reach": str(rng.choice(painting.REACHES)),
            "tool": str(rng.choice(painting.TOOLS)),
        }
        for _ in range(40)
    ]
    shares = limb.shares
    for each in stroke:
        amounts = painting.touched(limb, *(each[key] for key in list(each)[:-1]))
        shares = painting.dab(limb, shares, amounts, each["tool"])
    shares = painting.smooth_around(limb, shares)
    painted, posed = in_page(browser, twin, stroke)
    assert np.abs(shares - limb.shares).max() > 0.5
    assert_allclose(painted, shares, atol=1e-4)
    names = build.skeleton(STATE).names
    weights = build.weights(STATE)[limb.numbers]
    pair = [names.index(name) for name in painting.carriers(build.skeleton(STATE))[:2]]
    can = limb.pair > 0
    weights[np.ix_(can, pair)] = (limb.pair * np.stack([1 - shares, shares])).T[can]
    bent = skin.linear_blend(limb.points, weights, measure.bent_motions(STATE, names))
    assert_allclose(np.reshape(posed, (-1, 3)), bent, atol=1e-5)


def in_page(browser, twin, stroke):
    """A stroke by the page's own script: shares, and where the bent skin then is."""
    source = (Path(rigkit.__file__).parent / "data" / "painting.js").read_text(encoding="utf-8")
    arrays = {name: base64.b64encode(data).decode() for name, data in twin.sent_limb.items()}
    page = browser.new_page()
    done = page.evaluate(
        """([source, limb, arrays, shares, stroke]) => {
          const bytes = text => Uint8Array.from(atob(text), c => c.charCodeAt(0)).buffer;
          const whole = ['triangles', 'indptr', 'indices'];
          for (const [name, text] of Object.entries(arrays))
            limb[name] = new (whole.includes(name) ? Uint32Array : Float32Array)(bytes(text));
          const kit = Function(`${source}; return {touched, dab, smoothAround, blend};`)();
          let now = Float64Array.from(shares);
          for (const {view, at, size, strength, reach, tool} of stroke) {
            const through = reach === 'through';
            const amounts = kit.touched(limb, limb.views[view], at, size, strength, through);
            now = kit.dab(limb, now, amounts, tool);
          }
          now = kit.smoothAround(limb, now);
          return JSON.stringify([[...now], [...kit.blend(limb, now)]]);
        }""",
        [source, twin.head["limb"], arrays, twin.limb.shares.tolist(), stroke],
    )
    page.close()
    return json.loads(done)


# --- to be looked at ----


@pytest.mark.parametrize("theme", [LIGHT, pytest.param(DARK, marks=pytest.mark.thorough)])
def test_all_of_it_has_room_beside_the_file_browser(browser, server, tmp_path, theme):
    lab = open_brush(browser, server, ALONE, theme=theme)
    fits(BrushView(lab), tmp_path)
    lab.close()


@pytest.mark.parametrize("theme", [pytest.param(LIGHT, marks=pytest.mark.thorough), DARK])
def test_all_of_it_has_room_on_a_phone(browser, tmp_path, theme):
    folder = tmp_path / "learner"
    folder.mkdir()
    with stock(folder, "notebook") as server:
        context = browser.new_context(has_touch=True)
        lab = open_brush(context, server, ALONE, theme=theme, way=IN_NOTEBOOK)
        lab.errors.clear()  # what the program itself stumbles over as it opens
        lab.look((390, 844))
        fits(BrushView(lab), tmp_path)
        context.close()


def fits(brush, folder):
    """Hold a brush to its room, once it was used, and take a picture of it."""
    brush.click("Smooth all around the knee")
    brush.follows(2.98)
    brush.root.evaluate("e => e.scrollIntoView({block: 'start'})")
    brush.page.wait_for_timeout(300)
    brush.page.screenshot(path=folder / "brush.png")
    assert brush.root.evaluate("e => e.scrollWidth - e.clientWidth") <= 0
    both = [canvas.bounding_box() for canvas in brush.root.locator("canvas").all()]
    assert both[0]["y"] == pytest.approx(both[1]["y"], abs=1)  # a joint at the same height
    assert both[0]["x"] + both[0]["width"] <= both[1]["x"]
    assert brush.lab.troubles() == []
