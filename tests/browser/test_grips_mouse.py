"""Every grip of every panel of every lesson, pulled by mouse in a real page."""

# ruff: noqa: F811  (fixtures)

import pytest

from tests.browser.hand import ENDS, at_panel, hand, opened, pull, taken  # noqa: F401  (fixtures)

pytestmark = pytest.mark.needs_browser
PANELS = taken(0)


@pytest.mark.parametrize("at_panel", PANELS, indirect=True)
def test_a_mouse_pulls_every_grip_to_both_ends_of_what_it_moves(hand):
    seen = set()  # in further views of a grip one end is enough
    for number, held in enumerate(hand.grips()):
        for key in hand.moves(number):
            ends = ENDS[number % 2 :][:1] if (held["grip"], key) in seen else ENDS
            pull(hand, number, key, ends)
            seen.add((held["grip"], key))
    assert hand.lab.errors == []
