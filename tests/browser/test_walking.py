"""The picture that walks, as a browser shows it: it moves, and is still where that is wanted."""

from pathlib import Path

import pytest

PICTURE = Path(__file__).parents[1] / "pictures" / "walking.svg"

pytestmark = pytest.mark.needs_browser


@pytest.mark.parametrize(("motion", "moves"), [("no-preference", True), ("reduce", False)])
def test_it_moves_only_for_who_has_nothing_against_it(browser, motion, moves):
    page = browser.new_page(reduced_motion=motion)
    page.goto(PICTURE.as_uri())
    before = page.screenshot()
    page.wait_for_timeout(300)
    after = page.screenshot()
    page.close()
    assert (before != after) == moves


@pytest.mark.parametrize("foot", ["f-foot", "i-foot"])
def test_the_standing_foot_runs_with_the_floor_only_on_an_inverse_leg(browser, foot):
    page = browser.new_page(reduced_motion="no-preference")
    page.goto(PICTURE.as_uri())
    ahead = page.evaluate(
        """name => [0.2, 0.25, 0.3, 0.35, 0.4, 0.45].map(share => {
            const place = what => {
                const shown = document.querySelector(what);
                const [motion] = shown.getAnimations();
                motion.pause();
                motion.currentTime = share * motion.effect.getComputedTiming().duration;
                return new DOMMatrix(getComputedStyle(shown).transform).e;
            };
            return place(name) - place('.floor');
        })""",
        f".{foot}",
    )
    page.close()
    assert (max(ahead) - min(ahead) > 1) == (foot == "f-foot")
    assert (max(ahead) - min(ahead) < 0.2) == (foot == "i-foot")
