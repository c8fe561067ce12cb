"""The table of speed figures: its ratios, aims and lines. No test here asserts a time."""

import pytest

from tests.benchmarks import leg
from tests.benchmarks.__main__ import show
from tests.benchmarks.figures import HEAD, Figure, cells, compared, line, take_turns


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
    figures = [Figure("a", 0.0123, "beside", 0.1), Figure("longer", 2**20, "b", 2**21, "MiB")]
    head, *lines = map(line, (HEAD, *map(cells, figures)))
    assert [line.split() for line in lines] == [
        ["a", "12.3", "ms", "beside", "100", "ms", "0.12"],
        ["longer", "1", "MiB", "b", "2", "MiB", "0.50"],
    ]
    assert (
        len({line.index(word) for line, word in ((head, "beside it"), (lines[0], "beside"))}) == 1
    )
    assert [len(lines[0]), len(lines[1])] == [head.index("ratio") + len("ratio")] * 2


def test_each_figure_is_printed_before_the_next_is_measured(capsys, monkeypatch):
    """As far as it came: interrupted, it has said what it knows."""

    def measure():
        yield Figure("first", 1.0, "b", 2.0)
        assert "first" in capsys.readouterr().out
        yield Figure("hidden", 1.0, "b", 2.0, detail=True)
        assert capsys.readouterr().out == ""
        yield Figure("second", 1.0, "b", 2.0)
        raise KeyboardInterrupt

    monkeypatch.setattr(leg, "measure", measure)
    with pytest.raises(KeyboardInterrupt):
        show("leg", in_detail=False)
    assert capsys.readouterr().out.startswith("second")
