"""Questions of a teacher's own: their formulas, their answers, and what is said of them."""

import contextlib
import math

import numpy as np
import pytest
from hypothesis import given, strategies

from rigkit import course, puppets
from rigkit.homework import formula, notebook, own

MINE = formula.measures(puppets.personal(np.random.default_rng(7)))
NUMBER = {
    "lesson": "06",
    "name": "reach_cm",
    "asks": "How far, with {thigh}?",
    "kind": "number",
    "right": 66.4,
    "tolerance": 0.5,
    "unit": "cm",
    "wrong": [{"answer": 0.664, "say": "That is in metres."}, {"answer": 60, "say": "A guess!"}],
}
CHOICE = {
    "lesson": "06",
    "name": "way",
    "asks": "Which way?",
    "kind": "choice",
    "options": ["Up front", "back"],
    "right": "up front",
    "wrong": [{"answer": "back", "say": "That is the heron."}],
}
LIST = {
    "lesson": "06",
    "name": "joints",
    "asks": "Which joints?",
    "kind": "list",
    "right": ["hip", "knee", "ankle"],
    "wrong": [{"answer": ["hip", "knee"], "say": "The leg goes on."}],
}


@pytest.fixture(autouse=True)
def _own_progress(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    course.reset_progress()
    yield
    course.reset_progress()


def said(table, answer):
    """The card of an answer to a question, as text."""
    question = own.question(table)
    return repr(
        notebook.Homework({question.name: question}, "ada").check(**{question.name: answer})
    )


# --- answers


@pytest.mark.parametrize(
    ("table", "answer"),
    [
        (NUMBER, 66.4),
        (NUMBER, 66.9),
        (NUMBER, 65.9),
        (NUMBER | {"right": 66}, 66),
        (NUMBER, np.float64(66.4)),
        (NUMBER, np.array(66.4)),
        (NUMBER, [np.float32(66.4)]),
        (NUMBER, [[66.4]]),
        (CHOICE, "up front"),
        (CHOICE, "  UP FRONT\n"),
        (LIST, ["hip", "knee", "ankle"]),
        (LIST, ("ankle", "Knee ", "HIP")),
        (LIST, np.array(["knee", "ankle", "hip"])),
        (LIST | {"in_order": True}, [" hip", "KNEE", "ankle"]),
    ],
)
def test_right_in_whatever_form_it_comes(table, answer):
    assert said(table, answer).startswith("Right: ")


@pytest.mark.parametrize(
    ("table", "answer", "words"),
    [
        (NUMBER, 66.91, "Not yet: go through your steps once more, and look at the unit."),
        (NUMBER, "66.4", "your answer has text for reach_cm, where numbers belong"),
        (NUMBER, (66, 4), "your answer has a decimal comma: 66,4 is two numbers"),
        (NUMBER, [np.float64(66.4), np.float64(66.4)], "your answer has shape (2,)"),
        (NUMBER, True, "true or false"),
        (NUMBER, float("nan"), "has a number that is not finite"),
        (NUMBER, float("inf"), "has a number that is not finite"),
        (NUMBER, None, "your answer is None"),
        (NUMBER, 66.4j, "Not yet: your answer is"),
        (NUMBER, ..., "Not attempted yet"),
        (CHOICE, "down", 'Wanted: way ("up front" or "back")'),
        (CHOICE, 1, "has something else for way"),
        (CHOICE, ["up front"], "has something else for way"),
        (LIST, "hip, knee, ankle", "something other than a list of words"),
        (LIST, ["hip", "knee", 3], "something other than a list of words"),
        (LIST, {"hip", "knee", "ankle"}, "Not yet: your answer is"),
        (LIST, ["hip", "knee", "ankle", "hip"], "one too many"),
        (LIST, [], "look for a word that is missing"),
        (
            LIST | {"in_order": True},
            ["knee", "hip", "ankle"],
            "in another order than was asked for",
        ),
    ],
)
def test_wrong_in_words_that_help(table, answer, words):
    card = said(table, answer)
    assert not card.startswith("Right")
    assert words in card


def test_no_card_says_the_right_answer():
    for answer in (66.91, 60, 0.664, "text", [1, 2], None, ...):
        assert "66.4" not in said(NUMBER, answer)
    for answer in ("heron", ["hip"], ["hip", "knee"], []):
        assert "ankle" not in said(LIST, answer)


@pytest.mark.parametrize(
    ("table", "answer", "sentence"),
    [
        (NUMBER, 0.664, "That is in metres."),
        (NUMBER, 0.66, "That is in metres."),
        (NUMBER, 60.5, "A guess!"),
        (NUMBER, 59.5, "A guess!"),
        (CHOICE, " Back", "That is the heron."),
        (LIST, ["Knee", "hip"], "The leg goes on."),
    ],
)
def test_a_known_wrong_answer_is_told_as_the_teacher_wrote_it(table, answer, sentence):
    assert said(table, answer).split("\n")[0] == f"Not yet: {sentence}"


@pytest.mark.parametrize("answer", [60.51, 59.49, 61, 1.17])
def test_a_wrong_answer_beyond_the_tolerance_is_no_known_one(answer):
    assert "go through your steps" in said(NUMBER, answer)


def test_an_order_that_counts_counts_in_wrong_answers_too():
    table = LIST | {
        "in_order": True,
        "wrong": [{"answer": ["ankle", "knee", "hip"], "say": "From the top!"}],
    }
    assert "From the top!" in said(table, ["Ankle", "knee", "hip"])
    assert "another order" in said(table, ["knee", "ankle", "hip"])


def test_a_formula_is_in_the_numbers_of_each_learner():
    table = NUMBER | {
        "right": "100 * sqrt(thigh ** 2 + shank ** 2)",
        "wrong": [{"answer": "100 * (thigh + shank)", "say": "They are at a right angle."}],
    }
    question = own.question(table)
    for who in ("ada", "Tamsin", "Odo"):
        hw = notebook.Homework({"reach_cm": question}, who)
        mine = hw.inputs("reach_cm")
        assert vars(mine) == {"thigh": hw.character.thigh, "shank": hw.character.shank}
        assert hw.check(reach_cm=100 * math.hypot(mine.thigh, mine.shank)).score == 1
        wrong = hw.check(reach_cm=100 * (mine.thigh + mine.shank))
        assert wrong.outcome.sentence == "They are at a right angle."
        assert wrong.outcome.misconception == "100 * (thigh + shank)"


def test_a_wrong_answer_that_is_right_by_rare_chance_is_taken():
    table = NUMBER | {
        "right": "100 * (thigh + shank)",
        "wrong": [{"answer": "200 * thigh", "say": "They are not the same."}],
    }
    own.question(table)
    often = table | {"tolerance": 5}
    with pytest.raises(own.OwnError, match=r"counts as right for \d+ of 200 characters"):
        own.question(often)


def test_how_to_answer_says_form_unit_and_tolerance_and_nothing_more():
    assert own.how_to_answer(NUMBER) == "Answer with a number in cm. It may be off by 0.5 cm."
    plain = {key: value for key, value in NUMBER.items() if key != "unit"}
    assert own.how_to_answer(plain) == "Answer with a number. It may be off by 0.5."
    assert own.how_to_answer(CHOICE) == 'Answer with one of `"Up front"`, `"back"`.'
    for table, order in ((LIST, "in any order"), (LIST | {"in_order": True}, "in their order")):
        assert order in own.how_to_answer(table)
        assert "ankle" not in own.how_to_answer(table)


def test_what_is_packed_is_what_is_unpacked(tmp_path):
    (tmp_path / "own.json").write_bytes(own.pack([NUMBER, CHOICE, LIST]))
    found = own.unpack(tmp_path / "own.json", "06")
    assert list(found) == ["reach_cm", "way", "joints"]
    hw = notebook.open_homework("06", "ada", questions=["steps"], own=tmp_path / "own.json")
    assert list(hw.questions) == ["steps", *found]
    assert hw.check(way="back").outcome.sentence == "That is the heron."


# --- formulas


# Python's own arithmetic on the same numbers is the reference.
@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("1", 1.0),
        (" -thigh ", -MINE["thigh"]),
        ("100 * (thigh + shank)", 100 * (MINE["thigh"] + MINE["shank"])),
        ("2 ** -0.5", 1 / math.sqrt(2)),
        ("-2 ** 2", -4.0),
        ("2 ** 3 ** 2", 512.0),
        ("1 - 2 - 3", -4.0),
        ("8 / 4 / 2", 1.0),
        ("degrees(atan2(thigh, shank))", math.degrees(math.atan2(MINE["thigh"], MINE["shank"]))),
        ("sin(pi / 6) + cos(pi / 3)", 1.0),
        ("acos((thigh**2 + thigh**2 - thigh**2) / (2 * thigh * thigh))", math.pi / 3),
        ("min(3, 1, 2) + max(thigh, 9) + abs(-1)", 11.0),
        ("tan(radians(45))", 1.0),
        ("asin(1) - atan(1)", math.pi / 4),
        (3, 3.0),
        (0.1, 0.1),
    ],
)
def test_a_formula_has_the_value_it_has_in_arithmetic(text, value):
    assert formula.Formula(text)(MINE) == pytest.approx(value, rel=1e-12)


def test_every_measure_is_one_of_a_character_in_metres():
    puppet = puppets.personal(np.random.default_rng(7))
    assert {*formula.MEASURES} == {
        name
        for name in dir(puppet)
        if isinstance(getattr(puppet, name), float) and not name.startswith("_")
    }
    for name in formula.MEASURES:
        assert formula.Formula(name)(MINE) == getattr(puppet, name)
        assert formula.Formula(f"2 * {name}").measures == (name,)


HOSTILE = [
    "__import__('os').system('true')",
    "().__class__",
    "thigh.__class__",
    "thigh.real",
    "(lambda: 1)()",
    "[x for x in (1, 2)]",
    "open('plan.toml')",
    "exec",
    "eval('1')",
    "pow(9, 9)",
    "sqrt",
    "sqrt(*[1])",
    "sqrt(x=1)",
    "sqrt(1, 2)",
    "atan2(1)",
    "min(1)",
    "min()",
    "'a' * 9",
    "b'a'",
    "1j",
    "True",
    "None",
    "...",
    "1 if thigh else 2",
    "1 < 2",
    "thigh and shank",
    "not thigh",
    "~1",
    "7 // 2",
    "7 % 2",
    "1 << 9",
    "7 @ 2",
    "f'{thigh}'",
    "(x := 1)",
    "thigh = 1",
    "1; 2",
    "",
    "  ",
    "(",
    "1 +",
    "thigh shank",
    "bones",
    "knee_side",
    "a\x00b",
    "\ud800",
    "(" * 90 + "1" + ")" * 90 + "(",
    "-" * 150 + "1",
    "+".join("1" * 90),
    "sin(" * 40 + "1" + ")" * 40,
    "1" * 201,
    "9" * 10_000_000,
    "(" * 10_000_000,
]


@pytest.mark.parametrize("text", HOSTILE, ids=lambda text: f"{text[:20]!r}")
def test_what_is_no_formula_is_refused(text):
    with pytest.raises(formula.FormulaError):
        formula.Formula(text)


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("9**9**9", "too large"),
        ("9**9**9**9**9", "too large"),
        ("1 / 0", "divides by zero"),
        ("0 ** -1", "divides by zero"),
        ("(-8) ** (1 / 3)", "no finite number"),
        ("sqrt(-1)", "out of its range"),
        ("acos(2)", "out of its range"),
        ("1e999", "no finite number"),
        ("1e308 * 10", "no finite number"),
        ("1e999 - 1e999", "no finite number"),
        ("9" * 200 + " ** 1", "may have 200"),
        ("sin(1e999)", "out of its range"),
        (float("nan"), "no finite number"),
        (10**400, "too large"),
    ],
)
def test_a_formula_without_a_number_is_refused_at_once(text, why):
    with pytest.raises(formula.FormulaError, match=why):
        formula.Formula(text)(MINE)


_leaves = strategies.sampled_from([*formula.MEASURES, "pi", "2", "0.5", "1e3"])
_formulas = strategies.recursive(
    _leaves,
    lambda part: (
        strategies.builds("({} {} {})".format, part, strategies.sampled_from("+-*/"), part)
        | strategies.builds("({} ** {})".format, part, part)
        | strategies.builds("-{}".format, part)
        | strategies.builds("{}({})".format, strategies.sampled_from(["sqrt", "sin", "atan"]), part)
    ),
    max_leaves=8,
)


@given(_formulas)
def test_any_formula_has_the_value_of_pythons_own_arithmetic_or_is_refused(text):
    known = {name: getattr(math, name) for name in ("pi", "sqrt", "sin", "atan")} | MINE
    in_floats = text.replace("2", "2.0")  # whole numbers of Python have no end
    try:
        value = formula.Formula(text)(MINE)
    except formula.FormulaError:
        try:
            value = eval(in_floats, {"__builtins__": {}}, known)
        except (ValueError, ZeroDivisionError, OverflowError):
            return
        assert len(text) > 200 or isinstance(value, complex) or not math.isfinite(value)
    else:
        assert value == pytest.approx(eval(in_floats, {"__builtins__": {}}, known), rel=1e-9)


@given(strategies.text(max_size=60))
def test_any_text_is_a_formula_or_is_refused(text):
    with contextlib.suppress(formula.FormulaError):
        assert isinstance(formula.Formula(text)(MINE), float)


_json = strategies.recursive(
    strategies.none()
    | strategies.booleans()
    | strategies.integers()
    | strategies.floats()
    | strategies.text(),
    lambda part: (
        strategies.lists(part, max_size=3)
        | strategies.dictionaries(strategies.text(), part, max_size=3)
    ),
    max_leaves=5,
)


@given(strategies.sampled_from([NUMBER, CHOICE, LIST]), strategies.data())
def test_any_value_of_any_key_is_taken_or_refused(table, data):
    key = data.draw(strategies.sampled_from(sorted(table)))
    changed = table | {key: data.draw(_json)}
    with contextlib.suppress(own.OwnError):
        assert own.question(changed).asks


@given(_json)
def test_no_answer_breaks_a_check(answer):
    for table in (NUMBER, CHOICE, LIST, LIST | {"in_order": True}):
        assert said(table, answer)
