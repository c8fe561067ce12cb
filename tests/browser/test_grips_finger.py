"""Every grip of every panel of every lesson, pulled by a finger in a real page."""

# ruff: noqa: F811  (fixtures)

import pytest

from tests.browser.hand import ENDS, at_panel, hand, opened, pull, taken  # noqa: F401  (fixtures)

pytestmark = pytest.mark.needs_browser
PANELS = taken(1)


@pytest.mark.parametrize("at_panel", PANELS, indirect=True)
def test_a_finger_pulls_every_grip(hand):
    for number in range(len(hand.grips())):
        pull(hand, number, next(iter(hand.moves(number))), (ENDS[number % 2],), finger=True)
    assert hand.lab.errors == []
