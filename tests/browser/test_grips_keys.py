"""Every grip of every panel of every lesson, moved by keys in a real page."""

# ruff: noqa: F811  (fixtures)

import numpy as np
import pytest

from tests.browser.hand import at_panel, hand, opened, taken  # noqa: F401  (fixtures)

pytestmark = pytest.mark.needs_browser
PANELS = taken(2)

ARROWS = {"Right": (1, 0), "Left": (-1, 0), "Up": (0, -1), "Down": (0, 1)}


@pytest.mark.parametrize("at_panel", PANELS, indirect=True)
def test_arrow_keys_move_every_grip_a_step_or_ten_with_shift_the_way_they_point(hand):
    names = [grip["name"] for grip in hand.settled()["grips"]]
    for number in range(len(names)):
        moves, before = hand.moves(number), hand.values(hand.settled())
        for turn, (key, way) in enumerate(moves.items(), number):
            arrow = max(ARROWS, key=lambda name, way=way: np.dot(way, ARROWS[name]))
            press, steps = (f"Shift+Arrow{arrow}", 10) if turn % 2 else (f"Arrow{arrow}", 1)
            free = before[key] not in (hand.panel.controls[key].low, hand.panel.controls[key].high)
            hand.grip(number).focus()
            hand.page.keyboard.press(press)
            after = hand.settled()
            now = hand.values(after)
            changed = {k: v - before[k] for k, v in now.items() if v != before[k]}
            assert len(changed) == 1 or not (changed or free), (number, press, changed)
            for each, by in changed.items():
                control = hand.panel.controls[each]
                assert np.dot(moves[each], ARROWS[arrow]) * by > 0, (number, press, changed)
                at_end = now[each] in (control.low, control.high)
                assert at_end or abs(by) == pytest.approx(steps * control.step)
            grip, active = hand.seen(names[number], after)
            assert active or grip is None
            hand.reset()
    assert hand.lab.errors == []
