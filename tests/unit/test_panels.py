"""Panels: one draw for one change, values that are refused rather than clamped, errors in words."""

import json
import re
import subprocess
import sys
import xml.etree.ElementTree as ET
from pathlib import Path

import numpy as np
import pytest
from numpy.testing import assert_allclose

import rigkit
from rigkit.panels import FORM, FRAMES_A_SECOND, Choice, Grip, Panel, Slider
from rigkit.stage import STYLE, Stage, row

SCRIPT = (Path(rigkit.__file__).parent / "data" / "panel.js").read_text(encoding="utf-8")


class Drawing:
    """A draw function that counts, shows what it was called with, and may fail."""

    def __init__(self):
        self.calls = []

    def __call__(self, drop_cm, steps=0, side="front"):
        self.calls.append((drop_cm, steps, side))
        if drop_cm == 13:
            raise ValueError("`drop_cm` must not be 13 & <unlucky>.")
        if drop_cm == 14:
            raise KeyError("a fault")
        stage = Stage(width=300).measure((0, 1), (0, 1 - drop_cm / 100), f"{drop_cm} cm")
        return stage, f"Down by {drop_cm} cm, {steps} steps, {side}."


@pytest.fixture
def drawing():
    return Drawing()


@pytest.fixture
def panel(drawing):
    return Panel(
        "A pelvis goes down.",
        [
            Slider("drop_cm", "Pelvis lowered by", 0, 30, 0.5, 5, "cm"),
            Slider("steps", "Steps", 0, 9, 1, 3),
            Choice("side", "Knee", ("front", "back"), "front"),
        ],
        drawing,
        {"Sitting": {"drop_cm": 30, "side": "back"}, "Standing": {"drop_cm": 0}},
    )


def shown(presets=None, control=None, **more):
    """A panel of one control, named "x", that shows nothing."""
    control = control or Slider("x", "x", 0, 1, 1, 0)
    return Panel("A sentence.", [control], lambda x: ("", ""), presets, **more)


# --- values and drawing


def test_a_panel_shows_something_from_the_start(panel, drawing):
    assert drawing.calls == [(5, 3, "front")]
    assert panel.values == {"drop_cm": 5, "steps": 3, "side": "front"}
    assert "5.0 cm" in panel.picture
    assert "Down by 5.0 cm, 3 steps, front." in panel.readout
    ET.fromstring(panel.picture)


def test_setting_several_values_draws_once(panel, drawing):
    panel.set(drop_cm=7, steps=8, side="back")
    assert drawing.calls[1:] == [(7, 8, "back")]
    assert panel.values == {"drop_cm": 7, "steps": 8, "side": "back"}


def test_reset_goes_back_to_the_start(panel, drawing):
    panel.set(drop_cm=7, steps=8, side="back")
    panel.reset()
    assert panel.values == {"drop_cm": 5, "steps": 3, "side": "front"}
    assert len(drawing.calls) == 3


def test_whole_sliders_give_whole_numbers_and_others_floats(panel):
    assert isinstance(panel.values["steps"], int)
    assert isinstance(panel.values["drop_cm"], float)


def test_draw_may_give_markup_instead_of_a_picture():
    shown = Panel("A sentence.", [Slider("x", "x", 0, 1, 1, 0)], lambda x: (f"<p>{x}</p>", ""))
    assert shown.picture == "<p>0</p>"
    assert shown.shown["views"] == [{"svg": "<p>0</p>", "w": None, "h": None, "from": ""}]


def test_the_rounding_noise_of_a_browser_does_not_reach_the_drawing(panel, drawing):
    panel.set(drop_cm=12.000000000000002)
    assert panel.values["drop_cm"] == 12
    assert [drop for drop, *_ in drawing.calls] == [5, 12]


def test_a_preset_may_give_its_values_in_the_order_of_the_controls(drawing):
    controls = [Slider("drop_cm", "Down", 0, 30, 0.5, 5), Slider("steps", "Steps", 0, 9, 1, 3)]
    rows = Panel("It goes down.", controls, drawing, {"Both": (7, 8), "One": (9,)})
    assert rows.presets == {"Both": {"drop_cm": 7, "steps": 8}, "One": {"drop_cm": 9}}


# --- frames: what a page is told


def test_a_frame_moves_nothing(panel, drawing):
    frame = panel.frame(drop_cm=9)
    assert frame["values"] == {"drop_cm": 9, "steps": 3, "side": "front"}
    assert "9.0 cm" in frame["words"]
    assert panel.values["drop_cm"] == 5
    assert "5.0 cm" in panel.readout
    assert drawing.calls[1:] == [(9, 3, "front")]


def test_the_head_says_all_that_a_page_needs(panel):
    head = panel.head
    assert json.loads(json.dumps(head)) == head
    assert head["form"] == FORM
    assert head["title"] == "A pelvis goes down."
    assert head["controls"] == [
        {
            "key": "drop_cm",
            "label": "Pelvis lowered by",
            "unit": "cm",
            "low": 0,
            "high": 30,
            "step": 0.5,
        },
        {"key": "steps", "label": "Steps", "unit": "", "low": 0, "high": 9, "step": 1},
        {"key": "side", "label": "Knee", "options": ["front", "back"]},
    ]
    assert [moment["name"] for moment in head["moments"]] == ["Sitting", "Standing", "Reset"]
    assert head["moments"][0]["values"] == {"drop_cm": 30, "side": "back"}
    assert head["moments"][-1]["values"] == {"drop_cm": 5, "steps": 3, "side": "front"}


def test_kernel_and_page_speak_the_same_form():
    assert f"const FORM = {FORM};" in SCRIPT
    assert f"const RATE = {FRAMES_A_SECOND};" in SCRIPT


def test_views_are_sent_one_by_one_without_their_style_sheet():
    both = row(Stage(width=300, title="One"), Stage("front", width=200), title="Both")
    shown = Panel("A sentence.", [Slider("x", "x", 0, 1, 1, 0)], lambda x: (both, ""))
    frame = shown.shown
    assert frame["label"] == "Both"
    assert [(view["w"], view["from"]) for view in frame["views"]] == [
        (300, "from the side"),
        (200, "from the front"),
    ]
    assert all("<style" not in view["svg"] for view in frame["views"])
    assert ".rig-row{" in STYLE


# --- grips


def reach(x_cm, y_cm, turn=0):
    return row(Stage(width=300), Stage("front", width=300), Stage("top", width=300)), "There."


def gripped(grip, **start):
    sliders = [
        Slider("x_cm", "x", -50.0, 50.0, 1.0, start.get("x_cm", 0.0)),
        Slider("y_cm", "y", 0.0, 100.0, 1.0, start.get("y_cm", 50.0)),
        Choice("turn", "Turn", (0, 1), 0),
    ]
    return Panel("Take it.", sliders, reach, grips=[grip])


def ankle(x_cm, y_cm, **rest):
    return np.array([x_cm, y_cm, 10.0]) / 100


def test_a_grip_is_where_the_stage_draws_its_point_in_every_view_that_shows_it():
    panel = gripped(Grip("Ankle", ankle, ("x_cm", "y_cm")))
    stages = reach(0, 0)[0].pictures
    assert [held["view"] for held in panel.shown["grips"]] == [0, 1, 2]
    for held, stage in zip(panel.shown["grips"], stages, strict=True):
        assert_allclose([held["x"], held["y"]], stage.place(ankle(0, 50)), atol=0.01)


@pytest.mark.parametrize("x_cm", [-50.0, -7.0, 50.0])
def test_its_ways_say_where_one_unit_more_would_bring_it(x_cm):
    panel = gripped(Grip("Ankle", ankle, ("x_cm", "y_cm")), x_cm=x_cm)
    stages = reach(0, 0)[0].pictures
    for held in panel.shown["grips"]:
        stage = stages[held["view"]]
        for way, more in zip(held["J"], ((1, 0), (0, 1)), strict=True):
            moved = stage.place(ankle(x_cm + more[0], 50 + more[1]))
            assert_allclose(way, moved - stage.place(ankle(x_cm, 50)), atol=1e-4)


def test_a_turn_s_way_is_its_tangent():
    def end(turn_deg):
        return np.array(
            [0, 0.5 - 0.4 * np.cos(np.radians(turn_deg)), 0.4 * np.sin(np.radians(turn_deg))]
        )

    panel = Panel(
        "Turn it.",
        [Slider("turn_deg", "Turn", -90.0, 90.0, 1.0, 30.0)],
        lambda turn_deg: (Stage(width=240), ""),
        grips=[Grip("End", end, ("turn_deg",))],
    )
    (held,) = panel.shown["grips"]
    # the derivative of (sin, −cos) is (cos, sin), here 0.4 m × 200 px/m × π/180; px go down
    assert_allclose(
        held["J"][0], 80 * np.radians(1) * np.array([np.cos(np.radians(30)), -0.5]), atol=1e-3
    )


@pytest.mark.parametrize(
    ("path", "way"),
    [
        (lambda t: (t, abs(t)), (1.0, 0.0)),  # a corner: between the ways of its sides
        (lambda t: (0.0, -abs(t)), (0.0, 1.0)),  # back on itself: the way ahead, px go down
        (lambda t: None if t < 0 else (t, 0.0), (1.0, 0.0)),  # on one side it cannot be taken
        (lambda t: None if t > 0 else (t, 0.0), (1.0, 0.0)),
        (lambda t: None if t else (0.0, 0.0), (0.0, 0.0)),
    ],
)
def test_its_way_at_a_corner_looks_to_both_sides(path, way):
    panel = Panel(
        "Take it.",
        [Slider("t", "Frame", -10.0, 10.0, 1.0, 0.0)],
        lambda t: (Stage(width=1200), ""),  # 1,000 px a metre
        grips=[
            Grip("Foot", lambda t: None if path(t) is None else np.array(path(t)) / 1000, ["t"])
        ],
    )
    (held,) = panel.shown["grips"]
    assert_allclose(held["J"][0], way, atol=1e-6)


@pytest.mark.parametrize("x_cm", [-50.0, -7.0, 50.0])
def test_a_batched_grip_is_asked_once_and_says_the_same(x_cm):
    asked = []

    def ankles(x_cm, y_cm, **rest):
        asked.append(x_cm)
        return np.stack(np.broadcast_arrays(x_cm, y_cm, 10.0), axis=-1) / 100

    one = gripped(Grip("Ankle", ankle, ("x_cm", "y_cm")), x_cm=x_cm)
    many = gripped(Grip("Ankle", ankles, ("x_cm", "y_cm"), batched=True), x_cm=x_cm)
    assert len(asked) == 1
    assert many.shown["grips"] == one.shown["grips"]


def test_a_batched_grip_without_a_place_is_not_there():
    grip = Grip("Ankle", lambda **_: None, ("x_cm",), batched=True)
    assert gripped(grip).shown["grips"] == []


def test_a_grip_outside_its_picture_or_without_a_place_is_not_there():
    assert gripped(Grip("Ankle", lambda **_: None, ("x_cm",))).shown["grips"] == []
    far = gripped(Grip("Ankle", lambda **_: (0.0, 0.5, 3.0), ("x_cm",)))
    assert [held["view"] for held in far.shown["grips"]] == [1]


def test_words_keep_clear_of_its_ring():
    def draw(x_cm):
        return Stage(width=300).chain([ankle(x_cm, 50)], names=["ankle"]), ""

    def panel(*grips):
        return Panel("Take it.", [Slider("x_cm", "x", -9.0, 9.0, 1.0, 0.0)], draw, grips=grips)

    def aside(panel):
        (held,), (view,) = panel.shown["grips"] or [{"x": x}], panel.shown["views"]
        return float(re.search(r'<text[^>]* x="([\d.]+)"', view["svg"])[1]) - held["x"]

    taken = panel(Grip("Ankle", lambda x_cm: ankle(x_cm, 50), ("x_cm",)))
    x = taken.shown["grips"][0]["x"]
    assert aside(panel()) < 18 < aside(taken)  # px: the ring's radius


def test_a_grip_is_seen_only_where_it_says():
    panel = gripped(Grip("Ankle", ankle, ("x_cm",), views=(1,)))
    assert [held["view"] for held in panel.shown["grips"]] == [1]


def test_what_a_hand_on_a_grip_chooses_is_told_to_the_page():
    panel = gripped(Grip("Ankle", ankle, ("x_cm",), chooses={"turn": 1}))
    assert panel.head["grips"] == [{"name": "Ankle", "moves": ["x_cm"], "chooses": {"turn": 1}}]
    assert gripped(Grip("Ankle", ankle, ("x_cm",))).head["grips"][0]["chooses"] == {}


@pytest.mark.parametrize("chooses", [{"turn": 2}, {"other": 1}])
def test_a_grip_cannot_choose_what_there_is_not(chooses):
    with pytest.raises(ValueError, match=next(iter(chooses))):
        gripped(Grip("Ankle", ankle, ("x_cm",), chooses=chooses))


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("moves", lambda: Grip("Ankle", ankle, ())),
        ("moves", lambda: Grip("Ankle", ankle, "x_cm")),
        ("name", lambda: Grip("", ankle, ("x_cm",))),
        ("grips", lambda: gripped(Grip("Ankle", ankle, ("z_cm",)))),
        ("grips", lambda: gripped(Grip("Ankle", ankle, ("turn",)))),
        ("grips", lambda: shown(grips=[Grip("A", ankle, ("x",)), Grip("A", ankle, ("x",))])),
    ],
)
def test_grips_that_could_not_work_are_refused_when_made(name, make):
    with pytest.raises(ValueError, match=f"`{name}`"):
        make()


# --- what a notebook shows


@pytest.fixture
def asked(panel, monkeypatch):
    """Ask a panel's widget as a page does; what it sent, and the frame that every page sees."""
    sent = []
    monkeypatch.setattr(panel.widget, "send", sent.append)

    def ask(n=1, page="p", values=None, ahead=False, **more):
        question = {"n": n, "page": page, "values": values or panel.values, "ahead": ahead}
        panel.widget._asked(panel.widget, question | more, [])
        return sent, panel.widget.frame

    return ask


def test_a_question_moves_the_panel_draws_once_and_is_answered_to_every_page(asked, panel, drawing):
    sent, frame = asked(7, "a page", {"drop_cm": 9, "steps": 3, "side": "back"})
    assert (frame["n"], frame["page"]) == (7, "a page")
    assert "9.0 cm" in frame["words"]
    assert panel.values == {"drop_cm": 9, "steps": 3, "side": "back"}
    assert drawing.calls[1:] == [(9, 3, "back")]
    assert sent == []


def test_a_question_ahead_moves_nothing_and_is_answered_to_its_page_alone(asked, panel):
    before = panel.widget.frame
    sent, frame = asked(8, "a page", {"drop_cm": 9, "steps": 3, "side": "back"}, ahead=True)
    assert frame == before
    assert panel.values["drop_cm"] == 5
    (message,) = sent
    assert (message["frame"]["n"], message["frame"]["page"]) == (8, "a page")
    assert "9.0 cm" in message["frame"]["words"]


def test_what_python_sets_every_page_sees_as_nobody_s(panel):
    before = panel.widget.frame["n"]
    panel.set(drop_cm=8)
    frame = panel.widget.frame
    assert "8.0 cm" in frame["words"]
    assert frame["page"] == ""
    assert frame["n"] != before


@pytest.mark.parametrize(
    "question",
    [
        None,
        "move",
        {},
        {"n": 1, "page": "p", "values": [1], "ahead": False},
        {"n": "1", "page": "p", "values": {}, "ahead": False},
        {"n": 1, "values": {}, "ahead": False},
    ],
)
def test_a_message_of_another_form_is_ignored(panel, drawing, question):
    panel.widget._asked(panel.widget, question, [])
    assert len(drawing.calls) == 1


def test_a_history_of_the_kernel_s_own_is_asked_for_by_the_page(panel):
    asked = []
    panel.history = lambda way: asked.append((way, panel.values["drop_cm"]))
    assert panel.head["history"]
    question = {"kind": "history", "way": "undo", "values": panel.values | {"drop_cm": 9}}
    panel.widget._asked(panel.widget, question, [])
    panel.widget._asked(panel.widget, question | {"way": "elsewhere"}, [])
    assert asked == [("undo", 9)]  # what the page shows counts first


def test_without_one_nothing_is_asked_for(panel, drawing):
    assert not panel.head["history"]
    question = {"kind": "history", "way": "undo", "values": panel.values}
    panel.widget._asked(panel.widget, question, [])
    assert len(drawing.calls) == 1


@pytest.mark.parametrize("ahead", [True, False])
def test_a_fault_is_told_to_the_page_and_raised(asked, panel, ahead):
    with pytest.raises(KeyError, match="a fault"):
        asked(9, values={"drop_cm": 14, "steps": 3, "side": "back"}, ahead=ahead)
    asked(10, values={"drop_cm": 6, "steps": 3, "side": "back"})
    assert "6.0 cm" in panel.widget.frame["words"]


def test_values_that_do_not_fit_are_told_to_the_page(asked, panel, monkeypatch):
    with pytest.raises(ValueError, match="`drop_cm` must"):
        asked(9, values={"drop_cm": 99, "steps": 3, "side": "back"})
    assert panel.values["drop_cm"] == 5


def test_a_panel_displays_itself_and_what_stands_where_no_kernel_answers(panel):
    data, _ = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in data
    assert "A pelvis goes down." in data["text/html"]
    assert "Down by 5.0 cm" in data["text/html"]
    assert '<img class="rig-still" alt="' in data["text/html"]
    assert data["text/plain"].startswith("Panel: A pelvis goes down.")


def test_a_panel_needs_no_notebook_until_it_is_shown():
    code = (
        "import sys; from rigkit import puppets; from rigkit.scenes import start_here;"
        " start_here.try_panel(puppets.PUPPETS['Tamsin']).set(lowered_cm=3);"
        " print([name for name in ('anywidget', 'ipywidgets') if name in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


# --- errors


def test_an_expected_error_is_a_sentence_and_the_last_picture_stays(panel):
    before = panel.picture
    panel.set(drop_cm=13)
    assert panel.picture == before
    assert (
        "<strong>Check:</strong> `drop_cm` must not be 13 &amp; &lt;unlucky&gt;." in panel.readout
    )
    panel.set(drop_cm=12)
    assert "Check:" not in panel.readout
    assert panel.picture != before


def test_a_fault_is_raised(panel):
    with pytest.raises(KeyError, match="a fault"):
        panel.set(drop_cm=14)
    with pytest.raises(KeyError, match="a fault"):
        Panel("A sentence.", [Slider("drop_cm", "x", 14, 15, 1, 14)], Drawing())


@pytest.mark.parametrize(
    ("name", "values"),
    [
        ("drop_cm", {"drop_cm": 31}),
        ("drop_cm", {"drop_cm": -0.1}),
        ("drop_cm", {"drop_cm": float("nan")}),
        ("drop_cm", {"drop_cm": "5"}),
        ("drop_cm", {"drop_cm": [5]}),
        ("drop_cm", {"drop_cm": None}),
        ("steps", {"steps": 2.5}),
        ("side", {"side": "left"}),
        ("steps", {"drop_cm": 6, "steps": 99}),
    ],
)
def test_values_that_do_not_fit_are_refused_and_nothing_moves(panel, drawing, name, values):
    before = panel.values
    with pytest.raises(ValueError, match=f"`{name}` must"):
        panel.set(**values)
    assert panel.values == before
    assert len(drawing.calls) == 1


@pytest.mark.parametrize(
    ("name", "make"),
    [
        ("x", lambda: Slider("x", "x", 0, 1, 0.1, 2)),
        ("high", lambda: Slider("x", "x", 1, 0, 0.1, 0.5)),
        ("high", lambda: Slider("x", "x", 1, 1, 0.1, 1)),
        ("step", lambda: Slider("x", "x", 0, 1, 0, 0.5)),
        ("low", lambda: Slider("x", "x", float("nan"), 1, 0.1, 0.5)),
        ("x", lambda: Slider("x", "x", 0, 10, 1, 2.5)),
        ("y", lambda: Choice("y", "y", ("a", "b"), "c")),
        ("y", lambda: Choice("y", "y", (), "c")),
        ("controls", lambda: Panel("t", [Slider("x", "x", 0, 1, 1, 0)] * 2, lambda x: ("", ""))),
        ("presets", lambda: shown({"m": (0, 1)})),
        ("presets", lambda: shown({"m": "0"})),
        ("x", lambda: shown({"m": {"x": 2}})),
        ("x", lambda: shown({"m": (2,)})),
        ("play", lambda: shown(play="y")),
        ("play", lambda: shown(play="x", control=Slider("x", "x", 0.0, 1.0, 0.5, 0.0))),
        ("play", lambda: shown(play="x", control=Choice("x", "x", "ab", "a"))),
        ("size", lambda: shown(size=0)),
    ],
)
def test_panels_that_could_not_work_are_refused_when_made(name, make):
    with pytest.raises(ValueError, match=f"`{name}`"):
        make()


def test_an_unknown_control_is_named_beside_those_there_are(panel, drawing):
    for ask in (
        lambda: panel.set(nothing=1),
        lambda: panel.set(steps=4, nothing=1),
        lambda: shown({"m": {"nothing": 1}}),
    ):
        with pytest.raises(ValueError, match=r"unknown control 'nothing'; this panel has \w+"):
            ask()
    with pytest.raises(ValueError, match=r"this panel has drop_cm, steps, side\."):
        panel.set(nothing=1)
    assert len(drawing.calls) == 1


def test_a_slider_says_its_catches_and_has_none_out_of_its_range():
    assert Slider("x", "X", 0, 10, 1, 2, "mm", (3, 7)).told()["catches"] == [3, 7]
    assert "catches" not in Slider("x", "X", 0, 10, 1, 2).told()
    with pytest.raises(ValueError, match="`x` must be a whole number from 0 to 10; got 11"):
        Slider("x", "X", 0, 10, 1, 2, "mm", (3, 11))
