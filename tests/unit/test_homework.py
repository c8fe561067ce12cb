"""The homework engine, with small questions of its own."""

import ast
import dataclasses
import itertools
import json
import re
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest

from rigkit import course, homework
from rigkit.homework import calling, checking, picture
from rigkit.homework.card import Card
from rigkit.homework.question import WORDS, Hints, Misconception, Question, Verdict

CASES = [
    {"length": 1.5, "way": [3.0, 4.0], "side": "L"},
    {"length": 2.0, "way": [0.0, 1.0], "side": "R"},
]


@pytest.fixture(autouse=True)
def _own_progress(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    course.reset_progress()
    yield
    course.reset_progress()


def judge_double(inputs, output):
    off = abs(float(output["double"]) - 2 * inputs["length"])
    return Verdict(
        float(off < 1e-6),
        "Judged.",
        {"You say": f"{float(output['double']):g} m"},
        picture.side_view("A line", "A line.", picture.ghost([(0, 0), (0, inputs["length"])])),
    )


DOUBLE = Question(
    "06",
    "double",
    "twice the length",
    "function",
    {"double": ()},
    lambda rng, character: [{"length": float(length)} for length in rng.uniform(1, 9, 5)],
    judge_double,
    (
        Misconception("half", lambda length: length / 2, "the length is halved"),
        Misconception("twice", lambda length: 2 * length, "nothing is wrong at all"),
        Misconception("root", lambda length: np.sqrt(5.0 - length), "a root is taken"),
    ),
)
SIDE = Question(
    "06",
    "side",
    "which side",
    "value",
    {"side": ("left", "right"), "proof": ()},
    lambda rng, character: [{"length": character.thigh}],
    lambda inputs, output: Verdict(
        (output["side"] == "left") / 2 + (output["proof"] > 0) / 2, "Judged."
    ),
    (Misconception("mirrored", lambda length: ("right", -1.0), "left and right are swapped"),),
)


@pytest.fixture
def hw():
    return homework.Homework({"double": DOUBLE, "side": SIDE}, "ada")


# --- the learner's side


def test_arguments_are_arrays_numbers_and_text_and_new_each_time():
    seen = []

    def spoil(length, way, side):
        seen.append((length, way.copy(), side))
        way[:] = np.nan
        return way.shape[0]

    assert calling.call(spoil, CASES[:1] * 2) == [{"out": 2.0}] * 2
    assert all(isinstance(way, np.ndarray) and way.tolist() == [3.0, 4.0] for _, way, _ in seen)
    assert CASES[0] == {"length": 1.5, "way": [3.0, 4.0], "side": "L"}


@pytest.mark.parametrize(
    ("value", "record"),
    [
        (3, {"out": 3.0}),
        (np.float32(0.5), {"out": 0.5}),
        (np.arange(4).reshape(2, 2), {"out": [[0.0, 1.0], [2.0, 3.0]]}),
        ((1, [2.5, np.int64(3)]), {"out": [1.0, [2.5, 3.0]]}),
        ({"side": "left", "proof": 1}, {"out": {"side": "left", "proof": 1.0}}),
        (float("nan"), {"out": None}),
        ([float("inf"), 1], {"out": [None, 1.0]}),
        (10**400, {"out": None}),
        (True, {"out": True}),
        (None, {"end": "nothing"}),
        (..., {"end": "blank"}),
        ([1, None], {"end": "unreadable", "what": "None in place of a number"}),
        (1 + 2j, {"end": "unreadable", "what": "complex numbers"}),
        (np.array([1j]), {"end": "unreadable", "what": "complex numbers"}),
        (itertools.count(), {"end": "unreadable", "what": "a count"}),
        (max, {"end": "unreadable", "what": "a builtin_function_or_method"}),
        (np.zeros(10**6), {"end": "unreadable", "what": "1,000,000 numbers"}),
        ([0] * 9_999, {"out": [0.0] * 9_999}),
        ([0] * 10_000, {"end": "unreadable", "what": "far more than was asked for"}),
        (np.zeros(10_001), {"end": "unreadable", "what": "10,001 numbers"}),
        ("x" * 301, {"out": "x" * 300}),
    ],
)
def test_what_comes_back_becomes_plain_data(value, record):
    assert calling.record_value(value) == record
    assert calling.call(lambda length, way, side: value, CASES[:1]) in (
        [record],
        [{"end": "blank"}],
    )
    json.dumps(record, allow_nan=False)


def test_a_list_that_holds_itself_ends():
    loop = []
    loop.append(loop)
    assert calling.record_value(loop)["end"] == "unreadable"


def test_generators_are_not_consumed():
    def forever(length, way, side):
        while True:
            yield 1.0

    record = {"end": "unreadable", "what": "a generator (use `return`, not `yield`)"}
    assert calling.call(forever, CASES) == [record] * 2


def blank_body(length, way, side):
    """Only a docstring."""
    ...


def pass_body(length, way, side):
    pass


def returns_ellipsis(length, way, side):
    return ...


def refuses(length, way, side):
    raise NotImplementedError


@pytest.mark.parametrize("function", [blank_body, pass_body, returns_ellipsis, refuses])
def test_blank_functions(function):
    assert calling.call(function, CASES) == [{"end": "blank"}] * 2


@pytest.mark.parametrize("function", [blank_body, pass_body, returns_ellipsis])
def test_a_function_without_a_body_is_blank(function):
    assert calling.is_blank(function)


@pytest.mark.parametrize("function", [lambda *a: 5, lambda *a: a, max])
def test_functions_with_a_body_are_not_blank(function):
    assert not calling.is_blank(function)


def fails_deeper(*_):
    raise ValueError("x" * 301)


def test_an_error_says_the_last_of_the_learners_lines_and_not_too_much():
    record = calling.call(lambda *_: fails_deeper(), CASES)[0]
    assert record["line"] == fails_deeper.__code__.co_firstlineno + 1
    assert record["message"] == "x" * 300


def test_errors_say_type_message_and_the_learners_own_line():
    def stops(length, way, side):
        return np.linalg.inv(np.zeros((2, 2)))

    record = calling.call(stops, CASES)[0]
    line = stops.__code__.co_firstlineno + 1
    assert record == {
        "end": "raised",
        "type": "LinAlgError",
        "message": "Singular matrix",
        "line": line,
    }


@pytest.mark.parametrize(
    "error", [SystemExit(0), RecursionError("deep"), MemoryError(), KeyError("knee")]
)
def test_no_error_gets_out(error):
    def stops(*_):
        raise error

    assert [r["type"] for r in calling.call(stops, CASES)] == [type(error).__name__] * 2


def test_an_error_that_cannot_be_told():
    class Mute(Exception):
        def __str__(self):
            raise ValueError

    def stops(*_):
        raise Mute

    assert calling.call(stops, CASES)[0]["message"] == ""


def loops_plainly(*_):
    while True:
        pass


def loops_past_exceptions(*_):
    while True:
        try:
            while True:
                pass
        except Exception:
            pass


def loops_past_everything(*_):
    while True:
        try:  # noqa: SIM105
            loops_plainly()
        except:  # noqa: E722
            pass


def sleeps(*_):
    while True:
        try:
            time.sleep(60)
        except:  # noqa: E722
            print("still here")


@pytest.mark.skipif(
    not hasattr(__import__("signal"), "setitimer"), reason="no interval timer on this platform"
)
@pytest.mark.parametrize(
    "function", [loops_plainly, loops_past_exceptions, loops_past_everything, sleeps]
)
def test_endless_loops_are_stopped_and_leave_nothing_behind(function):
    traced = sys.gettrace()
    records = calling.call(function, CASES, seconds=0.05)
    assert records[0]["end"] == records[1]["end"] == "stopped"
    assert sys.gettrace() is traced
    time.sleep(0.12)  # the timer is off: nothing strikes later
    assert calling.call(lambda *_: 1, CASES) == [{"out": 1.0}] * 2


def test_answers_before_a_stop_stand():
    if not calling.can_stop():
        pytest.skip("no interval timer on this platform")
    calls = itertools.count()
    records = calling.call(
        lambda *_: 7 if next(calls) == 0 else loops_plainly(), CASES, seconds=0.05
    )
    assert records == [{"out": 7.0}, {"end": "stopped", "seconds": 0.05}]


def test_an_interrupt_stops_only_the_check():
    def interrupted(*_):
        raise KeyboardInterrupt

    assert calling.call(interrupted, CASES) == [{"end": "stopped", "seconds": None}] * 2


def test_outside_the_main_thread_it_runs_without_a_limit():
    found = []
    thread = threading.Thread(
        target=lambda: found.extend([calling.can_stop(), calling.call(lambda *_: 1, CASES)])
    )
    thread.start()
    thread.join()
    assert found == [False, [{"out": 1.0}] * 2]


def test_printing_is_counted_not_shown(capsys):
    def chatters(*_):
        print("x" * 1_000_000)
        print("y", file=sys.stderr)
        return 1

    records = calling.call(chatters, CASES)
    assert records[0] == {"out": 1.0, "printed": 2 * 1_000_001}
    assert capsys.readouterr() == ("", "")


def test_the_learners_side_knows_nothing_of_the_library():
    tree = ast.parse(Path(calling.__file__).read_text(encoding="utf-8"))
    names = [a.name for n in ast.walk(tree) if isinstance(n, ast.Import) for a in n.names]
    names += [n.module for n in ast.walk(tree) if isinstance(n, ast.ImportFrom)]
    assert not [name for name in names if name.startswith("rigkit")]


# --- the teacher's side


@pytest.mark.parametrize("value", [[3, 4], (3, 4), [[3, 4]], [[3], [4]]])
def test_any_array_like_of_the_right_shape_fits(value):
    assert checking.parse_answer({"way": (2,)}, calling.plain_data(value))["way"].tolist() == [
        3.0,
        4.0,
    ]


def test_parts_come_in_order_or_by_name():
    returns = {"side": ("left", "right"), "proof": ()}
    for output in (["LEFT ", 2], {"proof": [2], "side": "left"}):
        parts = checking.parse_answer(returns, output)
        assert parts["side"] == "left"
        assert parts["proof"].shape == ()
        assert parts["proof"] == 2


@pytest.mark.parametrize(
    ("returns", "output", "says"),
    [
        ({"way": (2,)}, [1.0, 2.0, 3.0], "shape"),
        ({"way": (2,)}, 1.0, "shape"),
        ({"way": (2,)}, [[1.0], [2.0, 3.0]], "different lengths"),
        ({"way": (2,)}, ["1", "2"], r"text .*: \['1', '2'\]"),
        ({"length": ()}, "0.4", "text for length, where numbers belong: '0.4'"),
        ({"length": ()}, True, "true or false"),
        ({"length": ()}, None, "not finite"),
        ({"length": ()}, 1.1e9, "a number of more than 1,000,000,000 in length"),
        ({"length": ()}, -1e300, "a number of more than 1,000,000,000 in length"),
        ({"length": ()}, {}, "rows"),
        ({"side": ("left", "right"), "proof": ()}, ["up", 1.0], "something else for side: 'up'"),
        ({"side": ("left", "right"), "proof": ()}, [1.0, 1.0], "something else for side: 1$"),
        ({"side": ("left", "right"), "proof": ()}, "left", "parts"),
        ({"side": ("left", "right"), "proof": ()}, ["left"], "parts"),
        ({"side": ("left", "right"), "proof": ()}, {"side": "left"}, "not finite"),
        ({"names": WORDS}, "L_hip", "a list of words for names: 'L_hip'"),
        ({"names": WORDS}, ["L_hip", 1.0], "a list of words"),
        ({"names": WORDS}, {"names": ["L_hip"]}, "a list of words"),
    ],
)
def test_what_does_not_fit_says_why(returns, output, says):
    with pytest.raises(checking.AnswerError, match=says):
        checking.parse_answer(returns, output)


SWAPPED = Question(
    "06",
    "swapped",
    "both words",
    "function",
    {"words": WORDS},
    lambda rng, character: [{"words": ["a", "b"]}, {"words": ["c"]}],
    lambda inputs, output: Verdict(float(output["words"] == inputs["words"][::-1]), "Judged."),
    (Misconception("kept", lambda words: words, "nothing is swapped"),),
)


def test_words_go_out_and_come_back_as_they_are():
    seen = []

    def keeps(words):
        seen.append(words)
        return np.array(words)

    outcome = weighed(keeps, SWAPPED)
    assert seen == [["a", "b"], ["c"]]
    assert (outcome.misconception, outcome.right) == ("kept", 1)
    assert weighed(lambda words: tuple(reversed(words)), SWAPPED).word == "Right"
    assert checking.describe_parts(SWAPPED.returns) == "words (a list of words)"

    def raises(words):
        raise ValueError("no words")

    assert weighed(raises, SWAPPED).misconception is None


def weighed(function, question=DOUBLE):
    cases = checking.draw(question, None, checking.generator("test"))
    outcome = checking.score_answers(question, cases, calling.call(function, cases))
    json.dumps([cases, dataclasses.asdict(outcome)], allow_nan=False)
    return outcome


def test_right_nearly_and_not_yet():
    right = weighed(lambda length: 2 * length)
    assert right.word == "Right"
    assert "Worst case" not in repr(Card(right))
    calls = itertools.count()
    nearly = weighed(lambda length: 2 * length if next(calls) != 2 else -1)
    assert (nearly.word, nearly.score, nearly.right, nearly.cases) == ("Nearly", 0.8, 4, 5)
    assert nearly.measured == {"You say": "−1 m"}  # the worst case is the one shown
    assert weighed(lambda length: 0).word == "Not yet"


def test_a_misconception_is_named_only_when_it_explains_every_case():
    half = weighed(lambda length: length / 2)
    assert (half.misconception, half.sentence) == (
        "half",
        "these are the values you get when the length is halved.",
    )
    calls = itertools.count()
    assert weighed(lambda length: length / 2 if next(calls) else length).misconception is None
    assert (
        weighed(lambda length: 2 * length).misconception is None
    )  # a right answer is never a misconception


@pytest.mark.parametrize(
    ("answer", "name"),
    [
        (lambda length: 1.0005 * length / 2, "half"),
        (lambda length: 1.01 * length / 2, None),
        (lambda length: length / 2 + 0.008, None),
        (lambda length: 1.0005 * 2 * length, None),  # near to one that is right here
    ],
)
def test_a_misconception_is_told_from_its_neighbours(answer, name):
    assert weighed(answer).misconception == name


@pytest.mark.parametrize(
    ("score", "right", "word"),
    [
        (1.0, True, "Right"),
        (1.0, False, "Nearly"),
        (0.6, False, "Nearly"),
        (0.59, False, "Not yet"),
    ],
)
def test_the_word_for_a_score(score, right, word):
    assert checking.word_for(score, right) == word


def test_an_error_where_a_misconception_has_no_number_is_the_same_mistake():
    assert (
        weighed(
            lambda length: float(5.0 - length) ** 0.5 if length < 5 else float("nan")
        ).misconception
        == "root"
    )

    def raises(length):
        if length > 5:
            raise ValueError("math domain error")
        return np.sqrt(5.0 - length)

    assert weighed(raises).misconception == "root"


def test_missing_records_leave_cases_unanswered():
    cases = checking.draw(DOUBLE, None, checking.generator("test"))
    outcome = checking.score_answers(DOUBLE, cases, [{"out": 2 * cases[0]["length"]}])
    assert (outcome.right, outcome.score) == (1, 0.2)


def test_seeds_repeat_and_differ():
    one, same, other = (
        checking.draw(DOUBLE, None, checking.generator("ada", "06/double", n)) for n in (1, 1, 2)
    )
    assert one == same != other
    # a class marked again must get the same cases, also by a later version
    assert checking.generator("ada", "06/double", 1).integers(10**9) == 786738588


# --- in the notebook


def test_a_function_is_known_by_its_name_a_value_by_its_keyword(hw):
    def double(length):
        return 2 * length

    assert hw.check(double).outcome.word == "Right"
    assert hw.check(double=double).outcome.word == "Right"
    assert hw.check(side=("left", 1)).outcome.word == "Right"
    assert hw.progress() == "2 of 2 questions right so far."


def test_blank_answers_are_polite_and_no_attempt(hw):
    def double(length):
        """Twice the length."""
        ...

    for card in (hw.check(double), hw.check(double=...), hw.check(side=...)):
        assert repr(card).startswith("Not attempted yet: ")
    assert course.progress("06") == {}


@pytest.mark.parametrize(
    ("args", "kwargs", "says"),
    [
        ((), {}, "one answer at a time"),
        ((len, max), {}, "one answer at a time"),
        ((3.0,), {}, "by its keyword"),
        ((len,), {}, "no question here is called 'len'. The questions are double, side."),
        ((), {"knee": 1}, "no question here is called 'knee'"),
        ((), {"double": 3}, "double is a function; hand it in as hw.check(double)"),
        ((), {"side": len}, "side is a value; hand it in as hw.check(side=…)"),
    ],
)
def test_what_cannot_be_checked_is_said_kindly(hw, args, kwargs, says):
    card = hw.check(*args, **kwargs)
    assert repr(card).startswith("Not checked: ")
    assert says in repr(card)
    assert course.progress("06") == {}


def test_every_attempt_has_new_inputs_that_can_be_drawn_again(hw):
    def wrong(length):
        return 0

    first, second = (hw.check(double=wrong).outcome.inputs for _ in range(2))
    assert first != second
    course.reset_progress()
    again = homework.Homework({"double": DOUBLE, "side": SIDE}, "ada")
    assert again.check(double=wrong).outcome.inputs == first
    course.reset_progress()
    other = homework.Homework({"double": DOUBLE, "side": SIDE}, "bo")
    assert other.check(double=wrong).outcome.inputs != first
    assert other.character != again.character


def test_a_values_inputs_are_those_of_the_text(hw):
    mine = hw.inputs("side").length
    assert [hw.check(side=("right", 1)).outcome.inputs["length"] for _ in range(2)] == [mine, mine]
    with pytest.raises(ValueError, match="double, side"):
        hw.inputs("knee")


def test_progress_is_kept_in_the_learners_folder(hw, tmp_path):
    (tmp_path / ".rigkit").mkdir()
    hw.check(side=("right", 1))
    hw.check(side=("left", 1))
    hw.check(side=("right", -1))
    lines = [
        json.loads(line) for line in (tmp_path / ".rigkit/progress.jsonl").read_text().splitlines()
    ]
    assert [(line["score"], line["attempt"], line["misconception"]) for line in lines] == [
        (0.5, 1, None),
        (1.0, 2, None),
        (0.0, 3, "mirrored"),
    ]
    assert hw.progress() == "1 of 2 questions right so far."


def test_two_students_in_one_folder_keep_their_own_attempts_and_progress(hw, tmp_path):
    (tmp_path / ".rigkit").mkdir()
    other = homework.Homework(hw.questions, "bo")
    hw.check(side=("left", 1))
    assert (hw.progress(), other.progress()) == (
        "1 of 2 questions right so far.",
        "0 of 2 questions right so far.",
    )
    assert "1 of 2" in repr(hw.check(side=("right", -1)))
    assert "0 of 2" in repr(other.check(side=("right", -1)))
    lines = [
        json.loads(line) for line in (tmp_path / ".rigkit/progress.jsonl").read_text().splitlines()
    ]
    assert [(line["student"], line["attempt"]) for line in lines] == [
        ("ada", 1),
        ("ada", 2),
        ("bo", 1),
    ]


def test_the_card_is_text_and_html_and_begins_with_the_word_that_matters(hw):
    def double(length):
        print("<b>hello</b>")
        raise ValueError("<script>alert(1)</script>")

    bundle = hw.check(double)._repr_mimebundle_()
    assert bundle["text/plain"].startswith("Not yet: your function stopped in line ")
    assert "It also printed 65 characters" in bundle["text/plain"]
    assert "<script>" not in bundle["text/html"]
    right = Card(weighed(lambda length: 0))._repr_mimebundle_()["text/html"]
    assert 'role="img"' in right
    assert re.search(r"<title>A line</title>", right)


def test_a_card_shows_a_name_as_code():
    outcome = checking.Outcome(
        "06/line", "Not attempted yet", 0.0, "write your answer to `line` <here>."
    )
    html = Card(outcome)._repr_mimebundle_()["text/html"]
    assert "write your answer to <code>line</code> &lt;here&gt;." in html


def test_hints_come_in_steps_each_folded_in_the_one_before():
    hints = Hints("Look at the knee.", "Further: why two, of one?", "With both bones 1 m: 90°.")
    html = Card(checking.Outcome("06/line", "Not yet", 0.0, "No."), "", hints)._repr_mimebundle_()[
        "text/html"
    ]
    order = ["Look at the knee.", "Where the lesson says it", "A smaller case", "With both"]
    assert [html.index(part) for part in order] == sorted(html.index(part) for part in order)
    assert html.count("<details>") == html.count("</details>") == 3
    assert html.index("</details>") > html.index("With both")
    # JupyterLab looks for a heading by the letters of an address as they stand
    assert 'href="../lessons/06-preset-bend.ipynb#Further:-why-two,-of-one?"' in html
    right = Card(checking.Outcome("06/line", "Right", 1.0, "Yes."), "", hints)
    assert "<details>" not in right._repr_mimebundle_()["text/html"]


@pytest.mark.parametrize("lesson", ["06", "6", 6])
def test_open_homework(lesson):
    hw = homework.open_homework(lesson, student=" ada ")
    assert (hw.lesson, hw.student) == ("06", "ada")
    assert repr(hw).startswith("Homework 06 for ada: ")
    assert all(name in repr(hw) for name in hw.questions)


@pytest.mark.parametrize(
    ("lesson", "student", "says"),
    [("99", "ada", "lesson"), (None, "ada", "lesson"), ("06", "", "student"), ("06", 7, "student")],
)
def test_open_homework_refuses(lesson, student, says):
    with pytest.raises(ValueError, match=f"`{says}`"):
        homework.open_homework(lesson, student=student)


def test_a_picture_in_the_front_view_with_words():
    drawn = picture.draw(
        json.loads(
            json.dumps(
                picture.front_view(
                    "A line",
                    "A line.",
                    picture.ghost([(0, 0), (0, 1)]),
                    picture.note((0, 1), "here"),
                    picture.arrow((0, 0), (0.5, 0), "x", "plain"),
                )
            )
        )
    )
    assert drawn.view == "front"
    assert all(f">{words}</text>" in drawn.svg() for words in ("here", "x"))


def test_a_card_shows_only_the_beginning_of_a_long_list():
    rows = [[float(i), 0.5] for i in range(7)]
    outcome = checking.Outcome(
        "06/double", checking.NOT_YET, 0.0, "no.", 0, 2, inputs={"few": rows[:6], "many": rows}
    )
    assert (
        "few=[[0, 0.5], [1, 0.5], [2, 0.5], [3, 0.5], [4, 0.5], [5, 0.5]], many=[[0, 0.5], … 7 in"
        " all]" in repr(Card(outcome))
    )


def test_a_card_shows_frames_row_below_row():
    frame = [
        [0.955336489125606, 0.0, 0.29552020666134, 0.12],
        [0.0, 1.0, 0.0, 0.98],
        [-0.29552020666134, 0.0, 0.955336489125606, -1e-17],
        [0.0, 0.0, 0.0, 1.0],
    ]
    card = Card(
        checking.Outcome(
            "06/double", checking.NOT_YET, 0.0, "no.", 0, 2, inputs={"rest": frame, "turn": 0.5}
        )
    )
    shown = (
        "rest=[[ 0.9553, 0, 0.2955, 0.12],\n"
        "      [      0, 1,      0, 0.98],\n"
        "      [-0.2955, 0, 0.9553,    0],\n"
        "      [      0, 0,      0,    1]],\n"
        "turn=0.5"
    )
    assert f"Worst case:\n{shown}\n" in repr(card) + "\n"
    html = card._repr_mimebundle_()["text/html"]
    assert f">{shown}</pre></details></li>" in html
    assert "<details open" not in html  # a wall of numbers stands folded, under the picture's words
    names = {}
    exec(f"call = dict({shown})", names)  # it can be typed in again
    assert np.allclose(names["call"]["rest"], frame, atol=1e-4)


def test_a_card_shows_frame_below_frame():
    chain = np.round([np.eye(4), 1.5 * np.eye(4)[::-1]], 4).tolist()
    card = Card(
        checking.Outcome("06/double", checking.NOT_YET, 0.0, "no.", 0, 2, inputs={"local": chain})
    )
    assert repr(card).endswith(
        "Worst case:\n"
        "local=[[[1, 0, 0, 0],\n"
        "        [0, 1, 0, 0],\n"
        "        [0, 0, 1, 0],\n"
        "        [0, 0, 0, 1]],\n"
        "       [[  0,   0,   0, 1.5],\n"
        "        [  0,   0, 1.5,   0],\n"
        "        [  0, 1.5,   0,   0],\n"
        "        [1.5,   0,   0,   0]]]"
    )


def test_a_picture_from_above_with_a_pole():
    drawn = picture.draw(
        picture.top_view(
            "From above",
            "From above.",
            picture.chain([(0, 0), (0, -1)], []),
            picture.pole((0, -2), "yours"),
        )
    )
    assert drawn.view == "top"
    assert ">yours</text>" in drawn.svg()


def test_a_picture_holds_dots():
    drawn = picture.draw(
        picture.front_view("Two dots", "Two dots.", picture.dots([(0, 0), (1, 1)]))
    )
    assert drawn.svg().count('<circle class="rig-dot rig-plain"') == 2


def test_a_picture_leaves_room_around_a_narrow_leg():
    low, high = picture._limits([picture.ghost([(0, 0), (0, 1)])])
    assert np.allclose([low, high], [(-0.5, -0.12), (0.5, 1.12)])
