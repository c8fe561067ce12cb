"""Argument validation: what passes, and what the refusal says."""

import numpy as np
import pytest

from rigkit import _check


@pytest.mark.parametrize(
    "value",
    [
        [1, 2, 3],
        (1.0, 2.0, 3.0),
        np.array([1, 2, 3], dtype=np.int8),
        np.array([1, 2, 3], dtype=np.float32),
        range(1, 4),
    ],
)
def test_lists_tuples_and_every_number_type_become_float64(value):
    array = _check.numbers("a", value, 3)
    assert array.dtype == np.float64
    assert array.tolist() == [1.0, 2.0, 3.0]


@pytest.mark.parametrize(
    ("shape", "wanted"),
    [
        ((3,), (3,)),
        ((7, 3), (3,)),
        ((2, 7, 3), (3,)),
        ((5,), ("n",)),
        ((), ()),
        ((2,), ()),
        ((6, 4, 4), (4, 4)),
        ((6, 9, 2), ("n", 2)),
    ],
)
def test_batch_axes_come_first(shape, wanted):
    assert _check.numbers("a", np.ones(shape), *wanted).shape == shape


@pytest.mark.parametrize(
    ("value", "wanted", "parts"),
    [
        ([1, 2], (3,), ["`goal`", "shape (..., 3)", "got shape (2,)", "[1, 2]"]),
        (3.0, (3,), ["`goal`", "got shape ()"]),
        (np.ones((2, 3)), ("n", 2), ["shape (..., n, 2)", "got shape (2, 3)"]),
        ([1, np.nan, 3], (3,), ["finite", "nan at index (1,)"]),
        ([[1, 2, 3], [4, 5, -np.inf]], (3,), ["finite", "-inf at index (1, 2)"]),
        (np.nan, (), ["finite", "got nan."]),
        ("north", (3,), ["text 'north'"]),
        (["1", "2", "3"], (3,), ["text"]),
        ([], (3,), ["empty", "(0,)", "at least one"]),
        (np.ones((0, 3)), (3,), ["empty", "(0, 3)"]),
        (None, (3,), ["NoneType None"]),
        ([True, False, True], (3,), ["true/false"]),
        ([1j, 0, 0], (3,), ["list"]),
        ({"x": 1}, (3,), ["dict"]),
        ([[1, 2, 3], [1, 2]], (3,), ["different lengths"]),
    ],
)
def test_refusals_name_the_argument_and_what_came(value, wanted, parts):
    with pytest.raises(ValueError, match="`goal` must be") as refusal:
        _check.numbers("goal", value, *wanted)
    for part in parts:
        assert part in str(refusal.value)


def test_the_hint_ends_the_message():
    with pytest.raises(ValueError, match=r"Give x, y, z in metres\.$"):
        _check.numbers("goal", [1, 2], 3, hint="Give x, y, z in metres.")


def test_long_values_are_cut_short():
    with pytest.raises(ValueError, match="…") as refusal:
        _check.numbers("goal", list(range(1000)), 3)
    assert len(str(refusal.value)) < 200
    assert len(_check.short("a" * 58)) == len(_check.short("a" * 59)) == 60


def test_numbers_too_large_for_float64_are_not_finite():
    widest = np.finfo(np.longdouble).max
    if widest > np.finfo(np.float64).max:  # not on every machine
        with pytest.raises(ValueError, match="finite"), np.errstate(over="ignore"):
            _check.numbers("a", np.array([widest]), 1)


def test_plain_numbers_of_every_type_become_floats():
    numbers = (3, 2.5, np.float64(1), np.float32(2.5), np.int8(-128), np.uint64(7), np.float16(0.5))
    plain = _check.plain(*numbers)
    assert plain == numbers
    assert {type(number) for number in plain} == {float}
    for vector in ([1, 2, 3], (1.0, np.int32(2), 3), np.array([1, 2, 3]), np.float32([1, 2, 3])):
        assert _check.plain_vector(vector) == (1.0, 2.0, 3.0)


NOT_PLAIN = [True, np.True_, "1", None, 1j, np.nan, np.inf, -np.inf, [1], np.ones(()), 2**62]
NOT_PLAIN += [10**30, -(10**400), np.longdouble("1e4000")]  # no array or no float can hold them


@pytest.mark.parametrize("value", NOT_PLAIN)
def test_what_is_not_a_plain_number_is_left_to_the_slow_way(value):
    assert _check.plain(value) is None
    assert _check.plain(1.0, value) is None
    assert _check.plain_vector([1, value, 2]) is None


@pytest.mark.parametrize(
    "value", ["123", [1, 2], np.ones((1, 3)), np.ones(3, bool), np.ones(2), 1.0]
)
def test_what_is_not_a_plain_vector_is_left_to_the_slow_way(value):
    assert _check.plain_vector(value) is None


@pytest.mark.parametrize("value", [0, -1, [0.4, 0.0], [0.4, -0.1]])
def test_positive_refuses_zero_and_below(value):
    with pytest.raises(
        ValueError,
        match=r"`thigh` must be above zero; got (0|-1|(0|-0\.1) at index \(1,\))\. Lengths",
    ):
        _check.positive("thigh", value)


def test_every_shows_the_first_that_fails_and_where():
    values = np.array([[0.2, 0.4], [1.5, 7.0]])
    assert _check.every("weight", values, values < 8, "below 8") is None
    with pytest.raises(
        ValueError, match=r"^`weight` must be at most 1; got 1\.5 at index \(1, 0\)\. Lower it\.$"
    ):
        _check.every("weight", values, values <= 1, "at most 1", "Lower it.")
    with pytest.raises(ValueError, match=r"^`weight` must be at most 1; got 2\.$"):
        _check.every("weight", 2.0, np.array(False), "at most 1")
    with pytest.raises(
        ValueError, match=r"got 3 at index \(1,\)\.$"
    ):  # one value, measured against several
        _check.every("soft", 3.0, np.array([True, False]), "shorter than the leg")


def test_a_vector_without_direction_is_told_by_its_place():
    with pytest.raises(
        ValueError, match=r"got a vector of length zero at index \(1,\)\. Give a direction"
    ):
        _check.directions("axis", [[1, 0, 0], [0, 0, 0]])


def test_directions_have_length_one_whatever_their_length():
    for length in (5e-324, 1e-300, 1e-9, 1.0, 1e9, 1e300):
        unit = _check.directions("axis", [0.0, -length, 0.0])
        assert unit.tolist() == [0.0, -1.0, 0.0]
    batch = _check.directions("axis", [[1e-200, 1e-200, 0], [3, 4, 0]])
    assert np.allclose(batch, [[np.sqrt(0.5), np.sqrt(0.5), 0], [0.6, 0.8, 0]], rtol=0, atol=1e-15)


def test_a_direction_of_length_zero_is_refused_even_inside_a_batch():
    with pytest.raises(
        ValueError, match="`axis` must be vectors with a direction; got a vector of length zero"
    ):
        _check.directions("axis", [[1, 0, 0], [0, 0, 0]])


def test_checking_leaves_the_callers_array_alone():
    given = np.array([0.0, 0.0, 2.0])
    _check.directions("axis", given)
    assert given.tolist() == [0.0, 0.0, 2.0]


def test_choice_lists_the_options():
    assert _check.choice("flip", "x", ("x", "y")) == "x"
    for wrong in ("z", "X", 1, None, ["x"]):
        with pytest.raises(ValueError, match="`flip` must be one of 'x', 'y'; got"):
            _check.choice("flip", wrong, ("x", "y"))


def test_count_takes_whole_numbers_only():
    assert _check.count("steps", 3) == 3
    assert _check.count("steps", np.int64(3)) == 3
    assert _check.count("steps", 0, least=0) == 0
    for wrong in (0, -1, 2.0, True, "3", None, np.nan):
        with pytest.raises(ValueError, match="`steps` must be a whole number of at least 1"):
            _check.count("steps", wrong)


def test_batch_gives_the_common_shape_or_names_all_arguments():
    assert _check.batch(hip=(5, 1), ankle=(4,), pole=()) == (5, 4)
    with pytest.raises(ValueError, match=r"`hip` \(5,\), `ankle` \(4,\)"):
        _check.batch(hip=(5,), ankle=(4,))


def test_one_takes_a_single_number_and_says_what_else_came():
    assert _check.one("soft", 1) == 1.0
    assert _check.one("soft", np.array(-0.5)) == -0.5
    assert isinstance(_check.one("soft", np.float32(2)), float)
    for several in ([1.0], [1.0, 2.0], np.ones((2, 2))):
        with pytest.raises(
            ValueError, match=r"`soft` must be one number; got shape \(.*: .*\. A leg has one\.$"
        ):
            _check.one("soft", several, "A leg has one.")
    with pytest.raises(ValueError, match="`soft` must be finite numbers; got nan"):
        _check.one("soft", np.nan)


def test_one_positive_refuses_zero_too():
    assert _check.one_positive("damping", 2) == 2.0
    for wrong, said in (
        (0, "above zero; got 0"),
        ([1.0], "one number; got shape"),
        (np.inf, "finite"),
    ):
        with pytest.raises(ValueError, match=f"`damping` must be {said}"):
            _check.one_positive("damping", wrong)
