"""A grip dragged in two dimensions in a real browser: how often its handle and its picture follow.

The pelvis of lesson 04 goes round in circles for some seconds under the mouse, first over places it
has not seen. The reference is a plain `interact` of two inline views, whose slider is dragged.
"""

import math
import time

from tests.benchmarks.figures import Figure, needs_chromium
from tests.benchmarks.slider_browser import CELLS as PLAIN
from tests.benchmarks.slider_browser import INTERACT, WATCH
from tests.browser.lab import lab_with

SECONDS, MOVES = 5.0, 60  # of a drag, and its moves a second
CELLS = {
    "panel": (
        "from rigkit import puppets\nfrom rigkit.scenes import forward_and_inverse\n"
        "from tests.benchmarks import slider_kernel\n"
        "forward_and_inverse.pelvis_panel(puppets.PUPPETS['Tamsin'])"
    ),
    "interact": PLAIN["interact"],
}
# In how many display frames the pointer had moved, and in how many of those the handle had, too.
FOLLOW = """() => {
  window.followed = {frames: 0, moved: 0};
  const handle = document.querySelector('.rig-grip');
  let [pointer, place, moved] = [false, '', 0];
  window.addEventListener('pointermove', () => (pointer = true), true);
  const look = () => {
    const now = handle.style.left + handle.style.top;
    if (pointer) { followed.frames += 1; followed.moved += now !== place; }
    [pointer, place] = [false, now];
    requestAnimationFrame(look);
  };
  requestAnimationFrame(look);
}"""


def dragged(lab, selector, place, path):
    """Pictures a second while something is dragged along a path of px."""
    handle = lab.page.locator(selector).first
    handle.scroll_into_view_if_needed()
    box = handle.bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    lab.page.evaluate(WATCH, place)
    lab.page.mouse.move(x, y)
    lab.page.mouse.down()
    start, moves = time.perf_counter(), 0
    began = lab.page.evaluate("() => { seen.pictures = []; return performance.now(); }")
    while (now := time.perf_counter() - start) < SECONDS:
        if now >= moves / MOVES:
            right, down = path(now)
            lab.page.mouse.move(x + right, y + down)
            moves += 1
    lab.page.mouse.up()
    ended = lab.page.evaluate("() => performance.now()")
    shown = [t for t in lab.page.evaluate("() => seen.pictures") if t <= ended]
    return 1000 * len(shown) / (ended - began)


def circle(now):
    """A place on a circle that turns once in 1.7 s and grows."""
    turn, far = 2 * math.pi * now / 1.7, 20 + 8 * now
    return far * math.sin(turn), far * (1 - math.cos(turn)) / 2


def sideways(now):
    """To and fro."""
    return 60 * math.sin(2 * math.pi * now / 1.7), 0.0


def measure():
    needs_chromium()
    with lab_with(CELLS) as lab:
        lab.run_all()
        lab.page.wait_for_selector(".rig-grip", timeout=60_000)
        lab.page.evaluate(FOLLOW)
        grip = dragged(lab, ".rig-grip", ".rig-panel", circle)
        followed = lab.page.evaluate("() => followed.frames / followed.moved")
        plain = dragged(lab, f"{INTERACT} .noUi-handle", INTERACT, sideways)
    yield Figure(
        "grip in the browser, time for a picture",
        1 / grip,
        "plain interact, a slider",
        1 / max(plain, 0.1),
        aim=1000 / 15,
    )
    yield Figure(
        "grip in the browser, display frames until its handle follows",
        followed / 1e3,
        "one frame",
        1 / 1e3,
        detail=True,
    )
