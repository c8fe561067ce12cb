"""Learners who wrote the same: what is found, and what honest work must not be taken for."""

import json
import random

import numpy as np
import pytest

from rigkit.homework import catalogue, notebook
from rigkit.marking import likeness
from rigkit.marking.collect import collect
from rigkit.marking.notebook_file import read_notebook
from tests.marking import classroom

LESSONS = [
    number
    for number in catalogue.lessons()
    if list((classroom.ROOT / "solutions").glob(f"{number}-*.ipynb"))
]


def cells(kind="right", name="Tamsin Bollard", lesson="06", seed=0, what=None):
    """The cells of one made-up submission; another seed writes other steps around the same
    answers."""
    return read_notebook(classroom.submission(kind, what, lesson, name, random.Random(seed))).cells


def changed(before, *pairs):
    """The cells with some words replaced."""
    text = json.dumps(before)
    for old, new in pairs:
        assert old in text
        text = text.replace(old, new)
    return tuple(json.loads(text))


def kinds(*works):
    return [(group.kind, group.learners) for group in likeness.groups(works)]


def with_answers(name, **answers):
    """A blank exercise of lesson 06 with values typed in, nothing else."""
    blank = cells("blank", name)
    return changed(
        blank,
        *(
            (f"{question} = ...", f"{question} = {json.dumps(str(value))[1:-1]}")
            for question, value in answers.items()
        ),
    )


# --- the same code


def test_names_comments_spacing_and_docstrings_hide_nothing():
    mine = cells(seed=1)
    theirs = changed(
        mine,
        ("Tamsin Bollard", "Odo"),
        ("cosine", "kosinus"),
        ("corner", "c2"),
        (" = ", "  =   "),
        ("return", "# at last\\n\\n    return"),
        ("Hip and knee angle in radians", "all mine"),
    )
    other = cells(name="Pip", seed=2)
    assert kinds(("p1", mine), ("p2", other), ("p3", theirs)) == [("identical", ("p1", "p3"))]


def test_a_few_changes_are_nearly_the_same_and_the_share_is_told():
    mine = cells(seed=1)
    theirs = changed(
        mine, ("arctan2(goal[0], -goal[1]) + corner", "arctan2(goal[0], -goal[1]) - (0 - corner)")
    )
    (group,) = likeness.groups([("p1", mine), ("p2", theirs), ("p3", cells(seed=3))])
    assert (group.kind, group.learners) == ("nearly identical", ("p1", "p2"))
    assert likeness.NEAR <= group.share < 1
    assert f"{group.share:.0%}" in group.sentence


def test_the_order_of_cells_makes_no_difference():
    mine = cells(seed=1)
    (group,) = likeness.groups([("p1", mine), ("p2", mine[::-1])])
    assert group.share == 1


def test_cells_that_do_not_parse_are_compared_too():
    mine = (
        *cells(seed=1),
        "def broken(:\n" + "\n".join(f"    return {n} + 'open" for n in range(40)),
    )
    assert kinds(("p1", mine), ("p2", mine)) == [("identical", ("p1", "p2"))]


def test_a_chain_of_likenesses_is_one_group_and_the_weakest_link_is_told():
    one = tuple(f"a{n} = {n} * {n + 1} - f({n})" for n in range(60))
    new = tuple(f"b = {n} / {n} + g({n}) * {n}" for n in range(9))
    two, three = (*one[6:], *new[:6]), (*one[9:], *new)
    (group,) = likeness.groups([("p1", one), ("p2", two), ("p3", three)])
    assert group.learners == ("p1", "p2", "p3")
    assert likeness.NEAR <= group.share < 0.9
    assert kinds(("p1", one), ("p3", three)) == []


# --- what must not be taken for copying


@pytest.mark.parametrize("lesson", LESSONS)
def test_right_answers_with_steps_of_ones_own_are_not_alike(lesson):
    works = [(f"p{seed}", cells(lesson=lesson, seed=seed)) for seed in range(6)]
    assert kinds(*works) == []


@pytest.mark.parametrize("lesson", LESSONS)
def test_what_the_exercise_gives_does_not_count(lesson):
    assert kinds(*((f"p{n}", cells("blank", f"Learner {n}", lesson)) for n in range(4))) == []


def test_short_answers_are_not_compared():
    short = with_answers("Tamsin", shortening_cm="1.2")
    assert kinds(("p1", (*short, "y = abs(3) + 4")), ("p2", (*short, "y = abs(3) + 4"))) == []


def test_what_many_wrote_tells_nothing_of_two():
    shared = cells(seed=1)
    own = [tuple(f"a = {n} * {i} - max({n}, {i + n})" for n in range(8)) for i in range(14)]
    assert kinds(*((f"p{i}", (*shared, *each)) for i, each in enumerate(own))) == []
    assert kinds(*((f"p{i}", (*shared, *each)) for i, each in enumerate(own[:3]))) != []


@pytest.mark.parametrize(
    "works", [[], [("p1", ())], [("p1", ("", "#", "'", '"""')), ("p2", ("x = 1",))]]
)
def test_nothing_is_like_nothing(works):
    assert likeness.groups(works) == []


# --- the same numbers


def right_for(name):
    """The right bend's cost in centimetres, to a hundred-thousandth, for a learner of this name."""
    hw = notebook.open_homework("06", name)
    case = hw.inputs("shortening_cm")
    reach = np.sqrt(
        case.upper**2
        + case.lower**2
        + 2 * case.upper * case.lower * np.cos(np.radians(case.bend_deg))
    )
    return round(float(100 * (case.upper + case.lower - reach)), 5)


def test_numbers_that_fit_another_are_a_sign():
    value = right_for("Tamsin")
    works = [
        ("p1", with_answers("Tamsin", shortening_cm=value)),
        ("p2", with_answers("Odo", shortening_cm=value)),
        ("p3", with_answers("Pip", shortening_cm=right_for("Pip"))),
    ]
    (group,) = likeness.groups(works)
    assert (group.kind, group.learners) == ("the same numbers", ("p1", "p2"))
    assert "shortening_cm" in group.sentence


def test_they_are_told_with_the_code_where_that_is_copied_too():
    mine = (*cells(seed=1), f"hw.check(shortening_cm={right_for('Tamsin')})")
    (group,) = likeness.groups([("p1", mine), ("p2", changed(mine, ("Tamsin Bollard", "Odo")))])
    assert (group.kind, group.learners) == ("identical", ("p1", "p2"))
    assert "same numbers are typed in shortening_cm" in group.sentence


def test_what_is_computed_after_all_is_not_typed():
    value = right_for("Tamsin")
    for last, found in (
        ("float(shortening_cm)", []),
        (str(value), [("the same numbers", ("p1", "p2"))]),
    ):
        later = f"shortening_cm = {last}", "hw.check(shortening_cm=shortening_cm)"
        works = [
            (who, (*with_answers(name, shortening_cm=value), *later))
            for who, name in (("p1", "Tamsin"), ("p2", "Odo"))
        ]
        assert kinds(*works) == found


def test_answers_are_taken_together():
    both = {"shortening_cm": "1.23", "heron_side": '("back", -3.2)'}
    assert kinds(("p1", with_answers("Tamsin", **both)), ("p2", with_answers("Odo", **both))) == [
        ("the same numbers", ("p1", "p2"))
    ]
    assert (
        kinds(
            ("p1", with_answers("Tamsin", shortening_cm="1.23")),
            ("p2", with_answers("Odo", shortening_cm="1.23")),
        )
        == []
    )


def test_those_with_the_same_numbers_of_their_own_may_answer_the_same():
    value = right_for("Tamsin")
    assert (
        kinds(
            ("p1", with_answers("Tamsin", shortening_cm=value)),
            ("p2", with_answers("Tamsin", shortening_cm=value)),
        )
        == []
    )


@pytest.mark.parametrize(
    "value",
    [
        "'" + "7" * 40 + "'",
        "None",
        "[]",
        "1e999",
        "{1: 2}",
        "{1, 2}",
        "5000000",
        "True",
        "0.000001",
        "(lambda: 1.23456)()",
        "9" * 5000,
        "[" * 90 + "]" * 90,
    ],
)
def test_answers_that_hold_no_telling_number_are_no_sign(value):
    works = [(name, with_answers(name, shortening_cm=value)) for name in ("Tamsin", "Odo")]
    assert kinds(*works) == []


# --- a class


def test_a_class_is_compared_and_only_copies_are_found(tmp_path):
    made = classroom.make_class(tmp_path, 60)
    collected = collect(tmp_path / "submissions")
    works = [
        (next(who for who in made if who in file.place), read_notebook(file.data).cells)
        for file in collected.files
        if file.lesson
    ]
    copies = {who for who, kind in made.items() if kind == "copy"}
    first = next(who for who, kind in made.items() if kind == "right")
    assert kinds(*works) == [
        ("identical", tuple(who for who, _ in works if who in copies | {first}))
    ]
    assert len(copies) == 3


def test_a_thousand_are_compared_without_comparing_each_with_each():
    """Shingles that two have are looked up; a thousand of 400 shingles each would be 200 million
    comparisons."""
    rng = random.Random(5)
    works = []
    for number in range(1_000):
        lines = [
            "x = {} * {} + max({}, 7)".format(*(rng.randrange(10**6) for _ in range(3)))
            for _ in range(40)
        ]
        works.append((f"p{number}", lines))
    works[700] = ("p700", works[3][1])
    works[900] = ("p900", [*works[4][1][:38], "y = 3", "z = 4"])
    assert kinds(*works) == [("identical", ("p3", "p700")), ("nearly identical", ("p4", "p900"))]


@pytest.mark.parametrize(
    "cell",
    [
        "'" + "\\'" * 200_000,
        "'''" * 100_000,
        "\"\"\"'''" * 60_000,
        "x" * 1_000_000,
        "9." * 300_000,
        "\\\n" * 200_000,
        " " * 1_000_000,
        "open_homework(" * 70_000,
        "rb'" * 200_000,
        "\0" * 500_000,
        "(" * 1_000_000,
    ],
)
def test_no_text_holds_it_up(cell):
    assert kinds(("p1", (cell,)), ("p2", cells(seed=1)), ("p3", cells(seed=2))) in (
        [],
        [("identical", ("p2", "p3"))],
    )
