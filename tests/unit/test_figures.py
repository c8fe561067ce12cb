"""The table of speed figures: what is said of each ratio and aim. No test here asserts a time."""

import pytest

from tests.benchmarks.figures import Figure, compared, table, take_turns


@pytest.mark.parametrize(
    ("ours", "theirs", "share"),
    [
        (3.0, 2.0, "1.50"),
        (0.002, 1.0, "1/500"),
        (0.0, 1.0, "0.00"),
        (0.0, 0.0, "1.00"),
        (1.0, 0.0, "inf"),
    ],
)
def test_a_ratio_is_said_as_a_person_reads_it(ours, theirs, share):
    assert Figure("a", ours, "b", theirs).share == share


def test_an_aim_is_met_or_missed():
    assert Figure("a", 0.003, "b", 0.001, most=3, aim=2).aimed == "≤ 3.00× met, ≤ 2 ms MISSED"


def test_a_busy_round_drops_out_of_the_ratio():
    assert compared("a", [1, 1, 50], "b", [2, 2, 4]).share == "0.50"


def test_works_take_turns_and_the_first_round_does_not_count():
    done = []
    times = take_turns({"a": lambda: done.append("a"), "b": lambda: done.append("b")}, 2)
    assert "".join(done) == "ababab"
    assert [len(taken) for taken in times.values()] == [2, 2]


def test_a_table_has_a_line_for_each_figure_and_one_for_its_columns():
    lines = table([Figure("a", 0.0123, "beside", 0.1), Figure("longer", 2**20, "b", 2**21, "MiB")])
    assert [line.split() for line in lines[1:]] == [
        ["a", "12.3", "ms", "beside", "100", "ms", "0.12"],
        ["longer", "1", "MiB", "b", "2", "MiB", "0.50"],
    ]
