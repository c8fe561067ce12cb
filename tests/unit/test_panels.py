"""Panels: one draw for one change, values that are refused rather than clamped, errors in words."""

import asyncio
import re
import time
import xml.etree.ElementTree as ET

import ipywidgets as widgets
import pytest

from rigkit import panels
from rigkit.panels import FRAMES_A_SECOND, Choice, Panel, Slider
from rigkit.stage import Stage, row


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


def everything(widget):
    """A widget and all widgets in it."""
    yield widget
    for child in getattr(widget, "children", ()):
        yield from everything(child)


def find(panel, kind):
    return [w for w in everything(panel.widget) if isinstance(w, kind)]


def press(panel, name):
    next(b for b in find(panel, widgets.Button) if b.description == name).click()


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


def test_a_slider_moved_draws_once(panel, drawing):
    slider = find(panel, widgets.FloatSlider)[0]
    slider.value = 12
    assert drawing.calls[1:] == [(12, 3, "front")]
    slider.value = 12
    assert len(drawing.calls) == 2


def test_a_preset_jumps_draws_once_and_leaves_the_rest(panel, drawing):
    panel.set(steps=9)
    press(panel, "Sitting")
    assert drawing.calls[2:] == [(30, 9, "back")]


def test_reset_goes_back_to_the_start_and_is_the_last_button(panel, drawing):
    panel.set(drop_cm=7, steps=8, side="back")
    press(panel, "Reset")
    assert panel.values == {"drop_cm": 5, "steps": 3, "side": "front"}
    assert len(drawing.calls) == 3
    panel.set(drop_cm=9)
    panel.reset()
    assert drawing.calls[-1] == (5, 3, "front")
    assert [b.description for b in find(panel, widgets.Button)] == ["Sitting", "Standing", "Reset"]


def test_whole_sliders_give_whole_numbers_and_others_floats(panel):
    assert isinstance(panel.values["steps"], int)
    assert isinstance(panel.values["drop_cm"], float)


def test_draw_may_give_markup_instead_of_a_picture():
    shown = Panel("A sentence.", [Slider("x", "x", 0, 1, 1, 0)], lambda x: (f"<p>{x}</p>", ""))
    assert shown.picture == "<p>0</p>"


def test_a_row_is_sent_without_its_style_sheet_which_the_panel_holds_once():
    shown = Panel(
        "A sentence.", [Slider("x", "x", 0, 1, 1, 0)], lambda x: (row(Stage(), Stage()), "")
    )
    texts = [w.value for w in find(shown, widgets.HTML)]
    assert "<style" not in shown.picture
    assert sum(text.count("<style") for text in texts) == 1
    assert ".rig-row{" in "".join(texts)


# --- what is in it


def test_order_title_picture_readout_controls_buttons(panel):
    kinds = [type(w).__mro__ for w in everything(panel.widget)]
    order = [
        next(
            (
                k.__name__
                for k in mro
                if k
                in (
                    widgets.HTML,
                    widgets.FloatSlider,
                    widgets.IntSlider,
                    widgets.RadioButtons,
                    widgets.Button,
                )
            ),
            None,
        )
        for mro in kinds
    ]
    assert [name for name in order if name] == [
        "HTML",
        "HTML",
        "FloatSlider",
        "IntSlider",
        "RadioButtons",
        *["Button"] * 3,
    ]
    title, screen = find(panel, widgets.HTML)
    assert re.search(r'role="heading"[^>]*>A pelvis goes down\.<', title.value)
    assert screen.value == panel.picture + panel.readout
    assert panel.readout.startswith('<div class="rig-readout">')


def test_neither_interact_nor_output_is_used(panel):
    assert not find(panel, (widgets.Output, widgets.interactive))


def test_every_slider_has_a_box_of_the_same_name_and_range(panel):
    for slider_kind, box_kind in (
        (widgets.FloatSlider, widgets.BoundedFloatText),
        (widgets.IntSlider, widgets.BoundedIntText),
    ):
        slider, box = find(panel, slider_kind)[0], find(panel, box_kind)[0]
        for trait in ("description", "min", "max", "step", "value"):
            assert getattr(slider, trait) == getattr(box, trait)
    assert find(panel, widgets.FloatSlider)[0].description == "Pelvis lowered by (cm)"


def test_every_label_says_what_it_says_when_pointed_at(
    panel,
):  # without a tooltip the page would say "null"
    for control in find(
        panel, (widgets.FloatSlider, widgets.BoundedFloatText, widgets.RadioButtons)
    ):
        assert control.tooltip == control.description


def test_box_and_slider_are_linked_both_ways_and_draw_once(panel, drawing):
    slider, box = find(panel, widgets.FloatSlider)[0], find(panel, widgets.BoundedFloatText)[0]
    box.value = 9.5
    assert slider.value == 9.5
    slider.value = 2
    assert box.value == 2
    panel.set(drop_cm=4)
    assert box.value == 4
    assert [drop for drop, *_ in drawing.calls] == [5, 9.5, 2, 4]


def test_the_rounding_noise_of_a_browser_reaches_neither_box_nor_drawing(panel, drawing):
    find(panel, widgets.FloatSlider)[0].value = 12.000000000000002
    assert find(panel, widgets.BoundedFloatText)[0].value == 12
    assert panel.values["drop_cm"] == 12
    assert [drop for drop, *_ in drawing.calls] == [5, 12]


def test_a_fine_slider_keeps_what_is_typed_to_its_last_digit():
    drawn = []
    fine = Panel(
        "Millimetres, in metres.",
        [Slider("lift", "Lift", 0.0, 1.0, 0.001, 0.125, "m")],
        lambda lift: (drawn.append(lift) or "", ""),
        {"Higher": (0.987,)},
    )
    slider, box = find(fine, widgets.FloatSlider)[0], find(fine, widgets.BoundedFloatText)[0]
    box.value = 0.123
    assert slider.value == 0.123
    slider.value = 0.4560000000000001
    assert box.value == 0.456
    press(fine, "Higher")
    assert fine.values == {"lift": 0.987}
    assert drawn == [0.125, 0.123, 0.456, 0.987]


def test_a_preset_may_give_its_values_in_the_order_of_the_controls(drawing):
    controls = [Slider("drop_cm", "Down", 0, 30, 0.5, 5), Slider("steps", "Steps", 0, 9, 1, 3)]
    rows = Panel("It goes down.", controls, drawing, {"Both": (7, 8), "One": (9,)})
    assert rows.presets == {"Both": {"drop_cm": 7, "steps": 8}, "One": {"drop_cm": 9}}
    press(rows, "Both")
    press(rows, "One")
    assert rows.values == {"drop_cm": 9, "steps": 8}


def test_names_are_words_and_never_markup():
    shown = Panel("a < b", [Slider("x", "x", 0, 1, 1, 0)], lambda x: ("", ""))
    assert "a &lt; b" in find(shown, widgets.HTML)[0].value


def test_a_panel_displays_itself(panel):
    assert "application/vnd.jupyter.widget-view+json" in panel._repr_mimebundle_()


def test_a_slider_that_was_moved_is_not_sent_its_own_value_back(panel):
    for slider in (find(panel, widgets.FloatSlider)[0], find(panel, widgets.IntSlider)[0]):
        assert slider.trait_metadata("value", "echo_update") is False
        assert slider.trait_metadata("value", "sync") is True


# --- play


FRAME = Slider("frame", "Frame", 0, 47, 1, 5)


class Film:
    """A panel that plays, a clock that is set by hand, and the page that answers."""

    def __init__(
        self,
        monkeypatch,
        draw=lambda frame, tilt: (f"<p>{frame}</p>", ""),
        slider=None,
    ):
        self.now, self.timers, self.drawn = 1000.0, [], []
        monkeypatch.setattr(panels.time, "perf_counter", lambda: self.now)
        monkeypatch.setattr(panels.asyncio, "get_running_loop", lambda: self)

        def shown(**values):
            self.drawn.append(values["frame"])
            return draw(**values)

        self.panel = Panel(
            "It walks.",
            [slider or FRAME, Slider("tilt", "Tilt", 0.0, 9.0, 0.5, 0.0)],
            shown,
            {"Middle": {"frame": 24}},
            play="frame",
        )
        self.drawn.clear()

    def call_later(self, wait, call):
        self.timers.append([self.now + wait, call, True])
        return self

    def cancel(self):
        self.timers.clear()

    def press(self, name):
        press(self.panel, name)

    def answer(self):
        """As the page does."""
        sign = find(self.panel, widgets.Play)[0]
        if sign.playing:
            sign.value += 1

    def run(self, seconds, late=0.0):
        """Let time pass; the page answers each picture after `late` seconds."""
        end = self.now + seconds
        while self.now < end:
            self.now += late
            self.answer()
            if not self.timers:
                return
            due, call, _ = self.timers.pop(0)
            self.now = max(self.now, due)
            call()


@pytest.fixture
def film(monkeypatch):
    return Film(monkeypatch)


def test_nothing_moves_before_play_is_pressed(film):
    film.answer()
    assert (film.timers, film.drawn) == ([], [])
    assert film.panel.values["frame"] == 5


def test_play_shows_every_frame_in_its_time_and_wraps_round(film):
    film.press("Play")
    film.run(2.0)
    assert FRAMES_A_SECOND == 24
    assert film.drawn == [*range(5, 48), *range(6)]  # none before its time
    assert film.panel.values["frame"] == film.drawn[-1]


@pytest.mark.parametrize("late", [1 / 16, 1 / 8, 1 / 2])
def test_a_slow_page_skips_frames_keeps_time_and_has_one_picture_under_way(film, late):
    film.press("Play")
    for count in range(2, 40):
        film.run(late, late)
        assert film.drawn[-1] == (5 + int((film.now - 1000) * 24)) % 48
        assert len(film.drawn) == count


def test_a_page_that_no_longer_answers_gets_nothing_more(film):
    film.press("Play")
    assert (len(film.drawn), film.timers) == (1, [])


def test_two_pages_that_answer_do_not_play_twice_as_fast(film):
    film.press("Play")
    sign = find(film.panel, widgets.Play)[0]
    sign.value += 1
    sign.value += 1
    assert len(film.timers) == 1


@pytest.mark.parametrize(
    "touch",
    [
        lambda film: film.press("Pause"),
        lambda film: film.press("Middle"),
        lambda film: film.press("Reset"),
        lambda film: film.panel.set(tilt=2.0),
        lambda film: setattr(find(film.panel, widgets.IntSlider)[0], "value", 40),
        lambda film: find(film.panel, widgets.IntSlider)[0].set_state(
            {"value": film.panel.values["frame"]}
        ),
        lambda film: setattr(find(film.panel, widgets.BoundedIntText)[0], "value", 40),
        lambda film: setattr(find(film.panel, widgets.FloatSlider)[0], "value", 3.0),
    ],
    ids=[
        "pause",
        "preset",
        "reset",
        "set",
        "its slider",
        "its slider, to where it is",
        "its box",
        "another slider",
    ],
)
def test_pressing_anything_pauses(film, touch):
    film.press("Play")
    film.run(0.5)
    film.answer()
    touch(film)
    assert film.timers == []
    assert find(film.panel, widgets.Button)[0].description == "Play"
    shown = len(film.drawn)
    film.answer()
    film.run(0.5)
    assert len(film.drawn) == shown
    film.press("Play")
    film.run(0.1)
    assert len(film.drawn) > shown


def test_a_slider_that_starts_late_and_takes_long_steps_plays_each_of_them(monkeypatch):
    film = Film(monkeypatch, slider=Slider("frame", "Frame", 4, 52, 10, 24))
    film.press("Play")
    film.run(5 / 24)
    assert film.drawn == [24, 34, 44, 4, 14, 24]


def test_it_goes_on_from_where_the_slider_is(film):
    film.panel.set(frame=40)
    film.press("Play")
    film.run(0.2)
    assert film.drawn[1:5] == [40, 41, 42, 43]


def test_an_expected_error_is_a_sentence_and_the_play_goes_on(monkeypatch):
    def draw(frame, tilt):
        if frame == 7:
            raise ValueError("`frame` must not be 7.")
        return "", ""

    film = Film(monkeypatch, draw)
    film.press("Play")
    film.run(0.2)
    assert film.drawn[:4] == [5, 6, 7, 8]


def test_a_fault_ends_the_play(monkeypatch):
    film = Film(monkeypatch, lambda frame, tilt: ("", "") if frame != 7 else 1 / 0)
    film.press("Play")
    with pytest.raises(ZeroDivisionError):
        film.run(0.2)
    film.answer()
    assert film.timers == []
    assert find(film.panel, widgets.Button)[0].description == "Play"


def test_the_first_button_is_play_and_says_so(film):
    button = find(film.panel, widgets.Button)[0]
    assert (button.description, button.tooltip) == ("Play", "Play or pause: Frame")
    film.press("Play")
    assert button.description == "Pause"


def test_in_a_real_loop_play_waits_its_time_and_lets_others_run():
    drawn = []
    panel = Panel(
        "It walks.",
        [Slider("frame", "Frame", 0, 9, 1, 0)],
        lambda frame: (drawn.append(frame) or "", ""),
        play="frame",
    )
    sign, others = find(panel, widgets.Play)[0], []

    async def kernel():
        press(panel, "Play")
        while len(drawn) < 5:
            sign.value += sign.playing
            others.append(time.perf_counter())
            await asyncio.sleep(0.001)
        press(panel, "Pause")

    asyncio.run(asyncio.wait_for(kernel(), 30))
    assert drawn[0] == drawn[1] == 0  # when made, and when play was pressed
    assert len(others) > 5


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
