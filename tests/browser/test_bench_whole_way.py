"""The whole way in a real JupyterLab, from a bare skin to a file with no finding: by pointer alone,
by keyboard alone; and a thing of each step taken by a finger.

Hands know where a sound place is; they act by what is on the screen only.
"""

import json
from functools import partial
from pathlib import Path

import pytest

from rigkit import gltf, inspection, view
from rigkit.bench import marking, steps
from rigkit.bench.book import Book
from rigkit.bench.measure import done
from rigkit.bench.state import JOINTS, STEPS, State
from tests.browser.lab import IN_NOTEBOOK, Lab, code_notebook, stock
from tests.browser.test_bench import CELLS, BenchView, bench, place  # noqa: F401
from tests.browser.test_view import opened
from tests.outside.test_gltf_validator import validate  # noqa: F401

pytestmark = [pytest.mark.needs_browser, pytest.mark.needs_registry]

SOUND = State.bare("Tamsin").with_sound("12")
ROOT = Path(__file__).parents[2]
SLACK = 5  # mm, or degrees, between where a hand lets go and the sound place
PARENTS = dict(zip(JOINTS, ("pelvis", *JOINTS), strict=False))
FOLLOWS = {"foot": "nothing", "pole": "pelvis"}
PATIENCE = 20_000  # ms


def sound_values(step, *keys):
    """The values of a step's panel at the sound place."""
    values = steps.panel(SOUND, step).values
    return {key: values[key] for key in keys}


def point(name, *axes):
    return tuple(f"{name}_{axis}" for axis in axes)


class Way:
    """What both hands do alike: go from step to step, and look whether a step came right."""

    def __init__(self, shown):
        self.bench, self.page = shown, shown.page
        self.step = "01"

    def reaches(self, wanted, what):
        return self.bench.wait_for(wanted, f"step {self.step}: {what}")

    def near(self, state, **values):
        there = steps.panel(state, self.step).values
        return all(abs(there[key] - value) <= SLACK for key, value in values.items())

    def right(self):
        """Wait until the step is done, then go on."""
        self.reaches(lambda state: done(state)[self.step] == "done", "is not done")
        self.page.wait_for_function(
            "([select, step]) => /✓/.test(select.selectedOptions[0].textContent)"
            " && select.value.startsWith(step)",
            arg=[
                self.page.locator(".widget-dropdown select").first.element_handle(),
                self.step,
            ],
        )
        if self.step < "12":
            self.press("Next step")
            self.step = f"{int(self.step) + 1:02d}"
            self.page.wait_for_function(
                "([select, step]) => select.value.startsWith(step)",
                arg=[
                    self.page.locator(".widget-dropdown select").first.element_handle(),
                    self.step,
                ],
            )

    def go(self):
        for step in (f"{number:02d}" for number in range(1, 13)):
            getattr(self, f"step_{step}")()
            self.right()


class Pointer(Way):
    """A mouse: drags and clicks, no key."""

    def press(self, name):
        self.page.get_by_role("button", name=name, exact=True).click()

    def pick(self, group, option):
        row = self.page.get_by_role("radiogroup", name=group, exact=True)
        row.get_by_text(option, exact=True).click()

    def pull(self, name, *keys, at=(), **chosen):
        """Pull a ring to where the sound values of some sliders have it."""
        values = sound_values(self.step, *keys) | dict(at)
        panel = steps.panel(self.bench.state(), self.step)
        grip = self.bench.grip(name)
        (now, view), (to, _) = (
            spot(panel, name, panel.frame(**chosen, **more)) for more in ({}, values)
        )
        wide = grip.locator.evaluate("e => e.parentElement.getBoundingClientRect().width")
        right, down = ((to[axis] - now[axis]) * wide / view["w"] for axis in "xy")
        grip.drag(right, down)
        if not at:
            self.reaches(partial(self.near, **values), f"{name} is not at {values}")

    def step_01(self):
        for joint in JOINTS[:3]:
            name = joint.capitalize()
            self.pull(f"{name}, from the front", *point(joint, "out", "up"))
        self.pull("Knee, from the side", "knee_ahead")
        for joint in JOINTS[3:]:
            self.pick("Joint", joint)
            self.pull(f"{joint.capitalize()} from the front", f"{joint}_out", joint=joint)
            self.pull(joint.capitalize(), f"{joint}_ahead", joint=joint)

    def step_02(self):
        for joint, parent in PARENTS.items():
            self.pick(f"The {joint} hangs from", parent)

    def step_03(self):
        for joint in JOINTS[:3]:
            self.pull(f"{joint.capitalize()}'s hinge", f"{joint}_deg")
        self.pull("Mirror", "plane_mm")
        self.pick("Mirrored by", "same bend")

    def step_04(self):
        self.press("about 10 cm")
        self.pull("Pelvis, from the side", at={"lowered_mm": 110})
        self.page.get_by_text("it goes along by 10.0 cm").wait_for()
        self.pick("Both legs by", "inverse chain")

    def step_05(self):
        self.pull("Soft reach begins", "soft_mm")

    def step_06(self):
        self.pull("Knee", "knee_ahead")

    def step_07(self):
        self.pull("Pole, from the side", *point("pole", "up", "ahead"))
        self.pull("Pole, from above", "pole_out")

    def step_08(self):
        for part, name in (("foot pivot", "Foot pivot"), ("pelvis pivot", "Pelvis pivot")):
            self.pick("Place", part)
            keys = point(part.replace(" ", "_"), "out", "up")
            self.pull(f"{name}, from the front", *keys, part=part)
        self.pick("Place", "foot outline")
        keys = point("foot_outline", "out", "up")
        self.pull("Foot outline, from the front", *keys, part="foot outline")
        for control, led in FOLLOWS.items():
            self.pick(f"The {control} follows", led)

    def step_09(self):
        brush = self.page.locator(".rig-brush")
        brush.evaluate("brush => (brush.old = true)")
        slider = self.page.get_by_role("slider", name="Softness (radii)")
        box = slider.bounding_box()
        x, y = box["x"] + 8, box["y"] + box["height"] / 2  # 8 px: half of its handle
        share = [(softness - 0.2) / 3.8 for softness in (0.35, SOUND.softness)]
        self.page.mouse.move(x + share[0] * (box["width"] - 16), y)
        self.page.mouse.down()
        self.page.mouse.move(x + share[1] * (box["width"] - 16), y, steps=8)
        self.page.mouse.up()
        self.reaches(lambda s: abs(s.softness - SOUND.softness) < 0.2, "the softness")
        self.page.wait_for_function(BOUND)
        skin = brush.locator("canvas").first
        brush.get_by_label("smooth", exact=True).check()
        skin.scroll_into_view_if_needed()
        x, y, wide, high = (skin.bounding_box()[key] for key in ("x", "y", "width", "height"))
        self.page.mouse.move(x + 0.4 * wide, y + 0.5 * high)
        self.page.mouse.down()
        self.page.mouse.move(x + 0.6 * wide, y + 0.5 * high, steps=5)
        self.page.mouse.up()
        self.reaches(lambda s: s.painted, "the stroke")

    def step_10(self):
        self.pull("Pelvis, from the front", "drop_mm", "sway_mm")

    def step_11(self):
        for pivot in ("Toe", "Ball", "Heel"):
            self.pull(pivot, pivot.lower())

    def step_12(self):
        pass


class Keys(Way):
    """A keyboard: Tab, arrows, Enter, and numbers typed into boxes."""

    def to(self, name, group=None):
        """Tab to what has that name, or to any option of a group; back if it was passed."""
        for key, times in (("Tab", 60), ("Shift+Tab", 120)):
            for _ in range(times):
                self.page.keyboard.press(key)
                here = self.page.evaluate(HERE)
                if here[1] == group and name in (here[0], None):
                    return
        raise AssertionError(f"step {self.step}: no Tab reaches {name!r} of {group!r}")

    def press(self, name):
        self.to(name)
        self.page.keyboard.press("Enter")

    def pick(self, group, option):
        self.to(None, group)
        for _ in range(6):
            if self.page.evaluate(HERE) == [option, group]:
                return
            self.page.keyboard.press("ArrowRight")
        raise AssertionError(f"{group}: the arrows do not reach {option!r}")

    def type(self, *keys):
        for key, value in sound_values(self.step, *keys).items():
            slider = steps.panel(SOUND, self.step).controls[key]
            self.to(f"{slider.label} ({slider.unit})", "number")
            self.page.keyboard.press("Control+a")
            self.page.keyboard.type(f"{value:g}")
            self.page.keyboard.press("Enter")
            self.reaches(partial(self.near, **{key: value}), f"{key} typed")

    def nudge(self, name, key, times):
        """Take a ring and move it by an arrow key."""
        before = self.bench.state()
        self.to(name)
        for _ in range(times):
            self.page.keyboard.press(key)
        self.reaches(lambda state: state != before, f"{name} by {key}")

    def step_01(self):
        self.nudge("Hip, from the front", "Shift+ArrowLeft", 20)
        self.nudge("Hip, from the front", "Shift+ArrowUp", 4)
        for joint in JOINTS[1:]:
            self.pick("Joint", joint)
            self.type(*point(joint, "out", "up", "ahead"))

    def step_02(self):
        for joint, parent in PARENTS.items():
            self.pick(f"The {joint} hangs from", parent)

    def step_03(self):
        self.nudge("Mirror", "Shift+ArrowLeft", 4)
        self.type("hip_deg", "knee_deg", "ankle_deg")
        self.pick("Mirrored by", "same bend")

    def step_04(self):
        self.press("about 10 cm")
        self.to("Pelvis, from the side")
        for _ in range(10):
            self.page.keyboard.press("Shift+ArrowDown")
        self.page.get_by_text("it goes along by 10.0 cm").wait_for()
        self.pick("Both legs by", "inverse chain")

    def step_05(self):
        self.nudge("Soft reach begins", "ArrowLeft", 12)

    def step_06(self):
        self.nudge("Knee", "ArrowRight", 1)

    def step_07(self):
        self.nudge("Pole, from above", "Shift+ArrowLeft", 20)
        self.type("pole_up", "pole_ahead")

    def step_08(self):
        for part in ("foot pivot", "pelvis pivot", "foot outline"):
            self.pick("Place", part)
            self.type(*point(part.replace(" ", "_"), "out", "up", "ahead"))
        for control, led in FOLLOWS.items():
            self.pick(f"The {control} follows", led)

    def step_09(self):
        brush = self.page.locator(".rig-brush")
        brush.evaluate("brush => (brush.old = true)")
        self.to("Softness (radii)")
        for _ in range(3):
            self.page.keyboard.press("Shift+ArrowRight")
        self.reaches(lambda s: s.softness == pytest.approx(1.85), "the softness")
        self.page.wait_for_function(BOUND)
        self.press("Smooth all around the knee")
        self.reaches(lambda s: s.painted, "smoothed")

    def step_10(self):
        self.nudge("Pelvis, from the front", "Shift+ArrowDown", 7)
        self.type("sway_mm")

    def step_11(self):
        self.type("toe", "ball")
        self.nudge("Heel", "Shift+ArrowLeft", 5)
        self.type("heel")

    def step_12(self):
        pass


BOUND = """() => {
  const all = [...document.querySelectorAll('.rig-brush')];
  return all.length && all.every(brush => !brush.old);
}"""
HERE = """() => {
  const here = document.activeElement;
  const group = here.type === 'radio' ? here.closest('[role=radiogroup]')?.ariaLabel ?? null
    : here.type === 'number' ? 'number' : null;
  const own = here.ariaLabel ?? here.textContent;
  const label = here.type === 'radio' ? here.closest('label')?.textContent : own;
  return [(label ?? '').trim(), group];
}"""


def spot(panel, name, frame):
    """Where a ring is in a frame, by its name in the page; and the view it is in."""
    head, _, where = name.partition(", ")
    for held in frame["grips"]:
        view = frame["views"][held["view"]]
        if panel.grips[held["grip"]].name == head and where in ("", view["from"]):
            return held, view
    raise AssertionError(f"no ring {name!r} among {[g.name for g in panel.grips]}")


def signed_off(way, request):
    """Hold the file that the last step writes to what it should be."""
    state = way.bench.state()
    assert state.given == ()
    assert set(done(state).values()) == {"done"}
    way.press("Write the file")
    file = way.bench.file.with_suffix(".glb")
    way.page.get_by_text(file.name).last.wait_for()
    assert inspection.inspect(file).passed
    marks = marking.mark(file.read_bytes())
    assert marks.differences == ()
    assert {step: mark.score for step, mark in marks.steps.items()} == dict.fromkeys(STEPS, 1)
    asset = gltf.read(file)
    (kept,) = asset.extras.values()
    assert State.read(json.dumps(kept), "Tamsin") == state
    for joint in JOINTS:
        off = max(
            abs(a - b) for a, b in zip(state.joints_mm[joint], SOUND.joints_mm[joint], strict=True)
        )
        assert off <= SLACK, joint
    seen = file.with_suffix(".html")
    seen.write_text(view.view(file).html(), encoding="utf-8")
    page = opened(way.page.context.browser, seen)  # once its rig is drawn
    assert page.errors == []
    page.context.close()
    ((wrong, _),) = request.getfixturevalue("validate")(file)
    assert wrong == []


@pytest.mark.parametrize("hand", [Pointer, Keys])
def test_the_whole_way_from_a_bare_skin_to_a_file_without_a_finding(bench, hand, request):  # noqa: F811
    way = hand(bench)
    way.go()
    signed_off(way, request)


# --- by a finger, on a phone ---

PULLED = {  # a ring of each step that has one, and by how many px
    "01": ("Hip, from the front", 20),
    "03": ("Knee's hinge", 0),
    "05": ("Soft reach begins", -30),
    "06": ("Knee", 15),
    "07": ("Pole, from the side", -20),
    "08": ("Foot pivot, from the front", 30),
    "10": ("Pelvis, from the front", 0),
    "11": ("Toe", -20),
}
TAPPED = {"02": ("The toe hangs from", "ankle"), "04": ("Both legs by", "forward chain")}
TOUCHED = "button, select, input[type=range], input[type=number], .rig-options label"
CRAMPED = """touched => {
  const bench = document.querySelector('.rig-bench');
  const parts = [document.documentElement, bench, ...bench.querySelectorAll('.rig-panel')];
  const wide = parts.filter(part => part.scrollWidth > part.clientWidth + 1);
  const low = [...bench.querySelectorAll(touched)]
    .filter(part => part.offsetHeight && part.offsetHeight < 44);
  return [...wide.map(part => `${part.className} is too wide`),
          ...low.map(part => `${part.ariaLabel ?? part.textContent} is too low`)];
}"""


@pytest.fixture
def phone(browser, tmp_path):
    """The bench on a sound leg, in Notebook 7 on a phone."""
    folder = tmp_path / "learner"
    folder.mkdir()
    Book(folder / "my-leg.json", "Tamsin").keep(SOUND)
    context = browser.new_context(has_touch=True)
    with stock(folder, "notebook", PYTHONPATH=str(ROOT)) as server:
        lab = Lab(context, server, windowing="none", way=IN_NOTEBOOK)
        lab.write("cells.ipynb", code_notebook(CELLS))
        lab.open("cells.ipynb")
        lab.run_all()
        lab.page.locator(".rig-bench select").wait_for()
        lab.look((390, 844))
        yield BenchView(lab, folder)
        context.close()


def test_a_finger_takes_a_thing_of_each_step_and_all_of_it_fits_a_phone(phone):
    page, hand = phone.page, phone.page.context.new_cdp_session(phone.page)

    def touch(kind, *at):
        points = [dict(zip("xy", at, strict=True))] if at else []
        hand.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})

    for step in (f"{number:02d}" for number in range(1, 13)):
        phone.go(step)
        before = phone.state()
        if step in TAPPED:
            group, option = TAPPED[step]
            row = page.get_by_role("radiogroup", name=group, exact=True)
            row.get_by_text(option, exact=True).tap()
        elif step in PULLED:
            name, right = PULLED[step]
            grip = phone.grip(name)
            grip.locator.evaluate("grip => grip.scrollIntoView({block: 'center'})")
            x, y = grip.middle()
            touch("touchStart", x, y)
            for share in (0.3, 0.6, 1):
                touch("touchMove", x + share * right, y + share * 20)
            touch("touchEnd")
        elif step == "09":
            page.get_by_role("button", name="Smooth all around the knee").tap()
        else:
            page.get_by_role("button", name="Write the file").tap()
            page.get_by_text("my-leg.glb").last.wait_for()
        if step != "12":
            phone.wait_for(lambda state, old=before: state != old, f"step {step} by a finger")
        for size in ((390, 844), (320, 700)):
            page.set_viewport_size(dict(zip(("width", "height"), size, strict=True)))
            assert page.evaluate(CRAMPED, TOUCHED) == [], (step, size)
        page.set_viewport_size({"width": 390, "height": 844})
