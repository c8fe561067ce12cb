"""From key press to picture in a real browser: a panel, and `interact` with inline figures.

Both draw the same two views in one notebook on one server, `rigkit learn`, in turns.
"""

import time
from statistics import fmean, median

import numpy as np

from tests.benchmarks.figures import Figure, needs_chromium
from tests.browser.lab import lab_with

BLOCKS, PRESSES = 4, 15  # single presses, in turns
HELD_SECONDS, REPEAT = 4.0, 1 / 33  # a held key repeats about 33 times a second
WAYS = {"panel": ("Pelvis lowered by", ".rig-panel"), "interact": ("drop_cm", ".widget-interact")}

CELLS = {
    "panel": "from tests.benchmarks import slider_kernel\nslider_kernel.panel()",
    "interact": (
        "%matplotlib inline\nimport matplotlib.pyplot as plt\nfrom ipywidgets import interact\n\n"
        "def redraw(drop_cm):\n    slider_kernel.figure(drop_cm)\n    plt.show()\n\n"
        "interact(redraw, drop_cm=(0, 30, 0.1));"
    ),
}

# Notes the time of every key, and of every picture once it is decoded and a frame has been shown
# with it.
WATCH = """selector => {
  const seen = {keys: [], pictures: [], last: ''};
  window.seen = seen;
  window.watching?.disconnect();
  if (window.listener) document.removeEventListener('keydown', window.listener, true);
  window.listener = () => seen.keys.push(performance.now());
  document.addEventListener('keydown', window.listener, true);
  const place = document.querySelector(selector);
  const look = async () => {
    const image = place.querySelector('img');
    const drawn = [...place.querySelectorAll('svg.rig')].map(s => s.innerHTML).join();
    const picture = image ? image.src : drawn;
    if (!picture || picture === seen.last) return;
    seen.last = picture;
    if (image) { try { await image.decode(); } catch { return; } }
    requestAnimationFrame(() => setTimeout(() => seen.pictures.push(performance.now())));
  };
  look();
  window.watching = new MutationObserver(look);
  window.watching.observe(
    place, {subtree: true, childList: true, attributes: true, characterData: true});
}"""


def _watch(lab, way):
    """Give the slider the keyboard and start to note keys and pictures."""
    label, place = WAYS[way]
    handle = lab.page.locator(".widget-slider", has_text=label).locator(".noUi-handle")
    handle.scroll_into_view_if_needed()
    handle.focus()
    lab.page.evaluate(WATCH, place)
    lab.page.wait_for_timeout(300)


def single(lab, way, count):
    """Milliseconds from a key press to its picture, one press at a time."""
    _watch(lab, way)
    taken = []
    for i in range(count):
        lab.page.evaluate("() => { seen.keys = []; seen.pictures = []; }")
        lab.page.keyboard.press("ArrowRight" if i % 2 else "ArrowLeft")
        lab.page.wait_for_function("() => seen.pictures.length > 0", polling=20)
        taken.append(lab.page.evaluate("() => seen.pictures[0] - seen.keys[0]"))
        lab.page.wait_for_timeout(40 + 17 * (i % 5))  # not in step with the screen or the server
    return taken


def held(lab, way, key):
    """Pictures a second with an arrow key held, and milliseconds from the last key to the last
    picture."""
    _watch(lab, way)
    lab.page.evaluate("() => { seen.keys = []; seen.pictures = []; }")
    start = time.perf_counter()
    presses = 0
    while (now := time.perf_counter() - start) < HELD_SECONDS:
        if now >= presses * REPEAT:
            lab.page.keyboard.down(key)
            presses += 1
        else:
            time.sleep(presses * REPEAT - now)
    lab.page.keyboard.up(key)
    lab.page.wait_for_timeout(1500)
    keys, pictures = lab.page.evaluate("() => [seen.keys, seen.pictures]")
    while_held = [t for t in pictures if t <= keys[-1]]
    seconds = (keys[-1] - keys[0]) / 1000
    return len(while_held) / seconds, pictures[-1] - keys[-1], len(keys) / seconds


def measured(lab):
    """All times by way: single presses, and (pictures a second, milliseconds after the last key,
    keys a second)."""
    lab.run_all()
    for _, place in WAYS.values():
        lab.page.wait_for_selector(f"{place} svg.rig, {place} img", timeout=60_000)
    presses, holds = {way: [] for way in WAYS}, {way: [] for way in WAYS}
    for way in WAYS:
        single(lab, way, 3)  # warm
    for _ in range(BLOCKS):
        for way in WAYS:
            presses[way] += single(lab, way, PRESSES)
    for key in ("ArrowRight", "ArrowLeft"):
        for way in WAYS:
            holds[way].append(held(lab, way, key))
    return presses, holds


def measure():
    needs_chromium()
    with lab_with(CELLS) as lab:
        presses, holds = measured(lab)
    rows = (
        ("key to picture, median", {way: median(times) for way, times in presses.items()}),
        (
            "key to picture, 95 of 100",
            {way: float(np.quantile(times, 0.95)) for way, times in presses.items()},
        ),
        (
            "held key, time for a picture",
            {way: 1000 / fmean(h[0] for h in held) for way, held in holds.items()},
        ),
        ("last key to last picture", {way: max(h[1] for h in held) for way, held in holds.items()}),
    )
    return [
        Figure(
            f"slider in the browser, {name}",
            by["panel"] / 1e3,
            "plain interact",
            by["interact"] / 1e3,
            detail="95" in name,
        )
        for name, by in rows
    ]
