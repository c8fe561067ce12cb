"""Parts that the jail's tests share: a jail to try, a small submission with known right answers."""

import functools

import pytest

from rigkit.marking import jail
from rigkit.marking.calls import Call, Request

CASES = [{"x": 1.25}, {"x": 777.125}, {"x": -0.5}]
RIGHT = {"twice": [{"out": 2.5}, {"out": 1554.25}, {"out": -1.0}], "seven": [{"out": 7.0}]}
ANSWERS = "def twice(x):\n    return 2 * x\n\nseven = 7"
FUNCTION, VALUE = Call("twice", "function", CASES, 1.0), Call("seven", "value", [], 1.0)


@functools.cache
def _opened(kind):
    try:
        found = jail.open_jail(kind)
        found.self_test()
        return found
    except jail.JailError as reason:
        return str(reason)


def opened(kind="bwrap"):
    """A jail of a kind; the test is skipped where none can be had."""
    found = _opened(kind)
    return pytest.skip(found) if isinstance(found, str) else found


def request(*cells, calls=(FUNCTION, VALUE), **more):
    return Request(
        cells,
        calls,
        {"lesson": "06", "student": "Pip", "inputs": {"twice": CASES[2]}, "character": {}},
        **more,
    )


def run(*cells, calls=(FUNCTION, VALUE), seconds=10.0, kind="bwrap"):
    """The outcome of cells in a jail that is asked for `twice` and `seven`."""
    return opened(kind).run(request(*cells, calls=calls), seconds)
