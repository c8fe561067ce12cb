"""Guesses and quick checks: what a page is told, what is said to an answer, what is kept."""

import os

import pytest

from rigkit import course
from rigkit.asking import Check, Guess, Number, Place
from rigkit.panels import TEACHING, Choice, Panel, Slider, quick_check
from rigkit.stage import Stage

WAYS = ("forward", "backward", "not at all")


def way(bend_deg, **_):
    return ("forward", f"It went forward, by {bend_deg}°.") if bend_deg else None


@pytest.fixture
def guess():
    return Guess("06/way", "Which way does the knee go?", WAYS, way, then="Bend it.")


@pytest.fixture
def panel(guess):
    def draw(bend_deg, side):
        return Stage("side", (0, 0), (1, 2), width=200), f"{bend_deg}° to the {side}"

    controls = [Slider("bend_deg", "Bend", 0, 90, 1, 0), Choice("side", "Side", ("a", "b"), "a")]
    return Panel("A knee.", controls, draw, {"Bent": (30,)}).after(guess)


@pytest.fixture
def number():
    return Check(
        *("04/ankle", "How far?", Number("°", -180, 180, 1), 20.0, "Knee minus hip."),
        {60.0: "That adds them.", -20.0: "It is the sign."},
        "Think of the sole.",
    )


def test_a_guess_tells_nothing_until_the_values_tell(panel):
    assert panel.frame()["found"] is None
    assert panel.frame(bend_deg=30)["found"] == {
        "right": ["forward"],
        "words": "It went forward, by 30°.",
    }


def test_a_page_is_told_the_question_and_not_its_answer(panel):
    ask = panel.head["ask"]
    assert ask["options"] == list(WAYS)
    assert (ask["kind"], ask["name"], ask["said"], ask["hands"]) == ("guess", "06/way", None, False)
    assert "right" not in str(ask)


def test_several_options_can_be_right(guess):
    both = Guess("06/way", "?", WAYS, lambda: (WAYS[:2], "Either."))
    assert both.found({}, [])["right"] == list(WAYS[:2])


def test_a_right_answer_that_cannot_be_given_is_refused():
    wrong = Guess("06/way", "?", WAYS, lambda: ("sideways", "It did not."))
    with pytest.raises(ValueError, match="`right` must be one of 'forward'"):
        wrong.found({}, [])


def test_a_place_is_told_in_the_pictures_own_px():
    stage = Stage("side", (-0.5, 0), (0.5, 1), width=300)
    asked = Guess("01/hip", "Where?", Place(2.0), lambda: ((0.0, 0.5), "There."))
    found = asked.found({}, [stage])
    assert found["cm"] == pytest.approx(3.0)
    assert found["right"] == [150.0, stage.place((0.0, 0.5))[1]]


def test_the_same_panel_stands_behind_a_guess_at_its_start(panel):
    assert panel.values == {"bend_deg": 0, "side": "a"}
    assert list(panel.presets) == ["Bent"]


def test_a_guess_without_a_kernel_reads_in_order(panel):
    still = panel._repr_mimebundle_()[0]["text/html"]
    order = [still.index(part) for part in ("Which way", "not at all", "A knee.", "0° to the a")]
    assert order == sorted(order)


@pytest.mark.parametrize(
    ("answer", "right", "words"),
    [
        (20, True, "Knee minus hip."),
        (20.9, True, "Knee minus hip."),
        (19.0, True, "Knee minus hip."),
        (60.5, False, "That adds them."),
        (-20, False, "It is the sign."),
        (21.1, False, "Think of the sole."),
        (0, False, "Think of the sole."),
    ],
)
def test_a_number_is_met_by_what_it_misunderstands(number, answer, right, words):
    assert number.reply(answer) == (right, words)


def test_an_option_is_met_by_what_it_misunderstands():
    check = Check("04/leg", "?", ("a", "b"), "b", "So it is.", {"a": "No, since."})
    assert [check.reply(each) for each in "ab"] == [(False, "No, since."), (True, "So it is.")]
    with pytest.raises(ValueError, match="`answer` must be one of"):
        check.reply("c")


def test_a_check_reads_without_a_kernel_and_folds_its_answer(number):
    panel = quick_check(number)
    assert panel.shown["views"] == []
    still = panel._repr_mimebundle_()[0]["text/html"]
    assert still.index("How far?") < still.index("<details>") < still.index("About 20°")


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: Guess("way", "?", WAYS, way), "`name` must be a lesson's number"),
        (lambda: Guess("06/way", "?", ("a",), way), "two different options"),
        (lambda: Guess("06/way", "?", ("a", "a"), way), "two different options"),
        (lambda: Guess("06/way", "?", "ab", way), "two different options"),
        (lambda: Number("cm", 3, 3, 1), "`high` must be above `low`"),
        (lambda: Number("cm", 0, 3, 0), "`near`"),
        (lambda: Place(float("nan")), "`near_cm`"),
        (lambda: Check("04/a", "?", ("a", "b"), "c", ""), "`right` must be one of"),
        (lambda: Check("04/a", "?", ("a", "b"), "a", ""), "a reply for each wrong option"),
        (lambda: Check("04/a", "?", Number("m", 0, 9, 1), 3, ""), "`hint`"),
        (
            lambda: Check("04/a", "?", Number("m", 0, 9, 1), 3, "", {3.5: "no"}, "hint"),
            "differ from what is right by more than 1 m",
        ),
    ],
)
def test_what_cannot_be_asked_is_refused(make, message):
    with pytest.raises(ValueError, match=message):
        make()


@pytest.fixture
def folder(tmp_path, monkeypatch):
    course.hand_out(tmp_path)
    monkeypatch.chdir(tmp_path)
    monkeypatch.setattr(course, "_memory", [])  # of other tests in this process
    return tmp_path


def test_answers_are_kept_and_a_guess_of_another_day_is_remembered(panel, folder):
    widget = panel.widget
    widget._asked(None, {"kind": "guess", "name": "06/way", "said": "backward", "right": False}, [])
    assert course.said("guess", "06/way") == "backward"
    assert panel.head["ask"]["said"] == "backward"
    course.keep_answer("guess", "06/other", 12.5, True)
    course.keep_answer("guess", "07/other", 1.5, True)
    assert course.answered("guess") == (3, 2)
    assert course.answered("guess", "06") == (2, 1)
    assert course.answered("check") == (0, 0)
    assert course.progress() == {}


def test_a_check_that_was_right_once_stays_so(folder):
    for said, right in (("a", False), ("b", True), ("a", False)):
        course.keep_answer("check", "06/side", said, right)
    assert course.answered("check", 6) == (1, 1)
    assert course.said("check", "06/side") == "a"


@pytest.mark.parametrize(
    "message",
    [
        {"kind": "guess", "name": "06/way", "said": None, "right": True},
        {"kind": "guess", "name": 6, "said": "x", "right": True},
        {"kind": "guess", "name": "06/way", "said": "x"},
        {"kind": "score", "name": "06/way", "said": "x", "right": True},
    ],
)
def test_a_message_of_the_wrong_form_is_not_kept(panel, folder, message):
    panel.widget._asked(None, message, [])
    assert course.answered("guess") == (0, 0)


def test_a_class_is_asked_for_hands_and_not_for_what_one_said_before(panel, folder, monkeypatch):
    course.keep_answer("guess", "06/way", "backward", False)
    monkeypatch.setitem(os.environ, TEACHING, "1")
    assert panel.head["ask"]["hands"] is True
    assert panel.head["ask"]["said"] is None
