"""A hand at every grip of every panel of every lesson, in a real page.

One notebook holds the panels that a file takes. A pull aims at where the panel says that the grip
is when a control stands at an end; what the page then shows is compared with the panel's own frame
at its values.
"""

import inspect
import re
from html import unescape

import numpy as np
import pytest

from rigkit.panels import Slider
from tests.browser.lab import Lab, code_notebook, script
from tests.homework.solved import EVERYTHING
from tests.unit.test_scene_panels import MAKERS, NO_GRIP, WHO

STATE = script("grips")
NEAR = 4  # px between a hand and the grip it pulls, beside what a control's step leaves
SHARES = (0.5, 1.0)  # of the way, at which a hand is while it pulls
ENDS = ("low", "high")


def needed(name):
    """The names of the arguments of a panel's function that have no default."""
    parameters = inspect.signature(MAKERS[name]).parameters
    return [key for key, value in parameters.items() if value.default is value.empty]


def cell(name):
    """A cell that shows a panel."""
    scene, make = name.split(".")
    who = {"puppet": "puppets.PUPPETS['Tamsin']", "heron": "puppets.PUPPETS['heron']"}
    given = ", ".join(who[key] for key in needed(name))
    return f"from rigkit import puppets\nfrom rigkit.scenes import {scene}\n{scene}.{make}({given})"


@pytest.fixture(scope="module")
def opened(request, browser, server):
    """A notebook with the panels that a file takes, run."""
    lab = Lab(browser, server, size=(1280, 1000), windowing="none")
    lab.names = request.module.PANELS
    cells = {re.sub(r"\W|_", "-", name): cell(name) for name in lab.names}
    lab.write("grips.ipynb", code_notebook(cells))
    lab.open("grips.ipynb")
    lab.run_all()
    yield lab
    lab.close()


class Hand:
    """A hand at one panel in the page, beside the panel itself.

    `pull` is by mouse or, by `finger=True`, by touch.
    """

    def __init__(self, lab, name):
        self.page, self.lab = lab.page, lab
        self.root = lab.panels()[lab.names.index(name)].locator
        self.panel = MAKERS[name](*(WHO[key] for key in needed(name)))
        self.sliders = [
            control for control in self.panel.controls.values() if isinstance(control, Slider)
        ]
        self.frames = {}
        self.touch = lab.page.context.new_cdp_session(lab.page)

    def frame(self, **values):
        """The panel's own frame at some values, drawn once."""
        key = tuple(values.items())
        if key not in self.frames:
            self.frames[key] = self.panel.frame(**values)
        return self.frames[key]

    def grips(self, **values):
        """What the panel's own frame says of its grips, in the page's order: view by view."""
        return sorted(self.frame(**values)["grips"], key=lambda held: held["view"])

    def reset(self):
        self.root.get_by_role("button", name="Reset").click()
        # after the click: until then the page stays where it was when all cells began to run
        self.root.evaluate("e => e.scrollIntoView({block: 'center'})")
        self.settled()

    def values(self, state):
        pairs = zip(self.sliders, state["values"], strict=True)
        return self.panel.values | {slider.key: value for slider, value in pairs}

    def settled(self, wait=10):
        """What the page shows once it rests and says the words of its values."""
        before, shown = None, self.root.evaluate(STATE)
        for _ in range(int(wait / 0.025)):
            if shown == before and shown["words"] == self.words(shown):
                return shown
            self.page.wait_for_timeout(25)
            before, shown = shown, self.root.evaluate(STATE)
        raise AssertionError(f"{self.values(shown)} shows {shown['words']!r} for {wait} s")

    def words(self, state):
        """The words of the panel's own frame."""
        said = self.frame(**self.values(state))["words"]
        return unescape(re.sub("<[^>]*>", "", said))

    def held(self, number, values):
        """What the panel's own frame at some values says of its grip in a view; None if hidden."""
        here = self.grips()[number]
        same = [
            held
            for held in self.grips(**values)
            if (held["grip"], held["view"]) == (here["grip"], here["view"])
        ]
        return same[0] if same else None

    def grip(self, number):
        """The handle of a grip in a view, by its place among those that are seen."""
        return self.root.locator(".rig-grip:not([hidden])").nth(number)

    def seen(self, name, state):
        """What a page's state says of a grip, None if it is hidden; and whether it has the keys."""
        for number, grip in enumerate(state["grips"]):
            if grip["name"] == name:
                return grip, state["active"] == number
        return None, False

    def moves(self, number):
        """The controls that move a grip in its view, each with px a unit, right and down."""
        held = self.grips()[number]
        keys = self.panel.grips[held["grip"]].moves
        return {
            key: np.array(way)
            for key, way in zip(keys, held["J"], strict=True)
            if np.hypot(*way) >= 1e-9
        }

    def width(self, number):
        """How wide a grip's view is drawn, px."""
        return self.frame()["views"][self.grips()[number]["view"]]["w"]

    def path(self, number, key, end, shown):
        """Places on the screen through which a grip goes to an end of a control."""
        control = self.panel.controls[key]
        start, to = self.panel.values[key], getattr(control, end)
        grip = shown["grips"][number]
        for share in SHARES:
            value = (
                control.low
                + round((start + share * (to - start) - control.low) / control.step) * control.step
            )
            held = self.held(number, {key: round(value, 9)})
            if held is None:
                return
            place = np.array([held["x"], held["y"]]) * grip["px"] / self.width(number)
            yield tuple(np.array(grip["corner"]) + place)

    def pull(self, start, places, finger=False):
        """Take what is at a place on the screen, bring it through others, and let go."""
        if finger:
            self._touch("touchStart", start)
            for place in places:
                self._touch("touchMove", place)
                self.page.wait_for_timeout(17)
            shown = self.settled()
            self._touch("touchEnd")
            return shown
        mouse = self.page.mouse
        mouse.move(*start)
        mouse.down()
        for place in places:
            mouse.move(*place, steps=2)
            self.page.wait_for_timeout(17)
        shown = self.settled()
        mouse.up()
        return shown

    def _touch(self, kind, place=None):
        points = [] if place is None else [{"x": place[0], "y": place[1]}]
        self.touch.send("Input.dispatchTouchEvent", {"type": kind, "touchPoints": points})


def taken(turn):
    """The panels whose grips a file takes: every third, from that of its turn.

    So each is moved by one means, by mouse, finger or keys; with RIGKIT_EVERYTHING=1, by all.
    """
    panels = [name for name in MAKERS if name not in NO_GRIP]
    return panels if EVERYTHING else panels[turn::3]


@pytest.fixture(scope="module")
def at_panel(request, opened):
    """A hand at a panel of one scene."""
    return Hand(opened, request.param)


@pytest.fixture
def hand(at_panel):
    """A hand at a panel that stands at its start."""
    at_panel.reset()
    return at_panel


def pull(hand, number, key, ends=ENDS, finger=False):
    """Pull a grip to where each of some ends of a control brings it."""
    before = hand.settled()
    name, start = before["grips"][number]["name"], before["grips"][number]["middle"]
    for end in ends:
        places = list(hand.path(number, key, end, before))
        if not places:  # it is not to be seen there
            continue
        after = hand.pull(start, places, finger)
        grip, active = hand.seen(name, after)
        assert after["active"] >= 0, f"{name}, {key} to its {end}: it lost the keyboard"
        if not active:  # hidden, or another one lay over it and was taken
            break
        followed(hand, f"{key} to its {end}", grip, after, start, places)
        start = grip["middle"]
    hand.reset()


def followed(hand, what, grip, after, start, places):
    """Hold what a page shows after a pull to where the hand is, and to the values."""
    name, said, now, values = grip["name"], grip["said"], grip["middle"], hand.values(after)
    far, left = (np.hypot(*np.subtract(place, places[-1])) for place in (start, now))
    assert left <= max(far, 2 * NEAR), (
        f"{name}, {what}: {far:.0f} px from the hand, then {left:.0f}"
    )
    for control in hand.sliders:
        assert control.low <= values[control.key] <= control.high
    labels = {control.label: values[control.key] for control in hand.sliders}
    for part in said.split(", "):  # a label may hold a comma
        label = next((label for label in labels if part.startswith(label)), None)
        if label:
            assert part.startswith(f"{label} {labels[label]:g}".replace(" -", " −")), (name, said)
