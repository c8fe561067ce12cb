"""From key press to picture in a real browser: a panel, and `interact` with inline figures.

Both draw the same two views in one notebook on one server, `rigkit learn`, in turns.
"""

import time
from statistics import median

import numpy as np

from tests.benchmarks.figures import Figure, needs_chromium
from tests.browser.lab import lab_with

BLOCKS, PRESSES = 4, 15  # single presses, in turns
ARROWS = "ArrowLeft", "ArrowRight"
UNSEEN = (0.1 * tenths * 7 % 30 for tenths in range(3, 300))  # none twice, none near the one before
HELD_SECONDS, REPEAT = 4.0, 1 / 33  # a held key repeats about 33 times a second
PANEL, INTERACT = ".rig-panel", ".widget-interact"
WAYS = {
    "ahead": (
        f"{PANEL} input[type=range]",
        PANEL,
    ),  # states that were fetched before they were wanted
    "first": (f"{PANEL} input[type=number]", PANEL),  # values nobody could foresee, typed
    "interact": (f"{INTERACT} .noUi-handle", INTERACT),
}

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
  if (window.listener) window.removeEventListener('keydown', window.listener, true);
  window.listener = () => seen.keys.push(performance.now());
  window.addEventListener('keydown', window.listener, true);
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
    """Give the slider or its box the keyboard and start to note keys and pictures."""
    handle, place = WAYS[way]
    handle = lab.page.locator(handle)
    handle.scroll_into_view_if_needed()
    handle.focus()
    lab.page.evaluate(WATCH, place)
    lab.page.wait_for_timeout(600)  # what is fetched ahead has come


def single(lab, way, count):
    """Milliseconds from a key press to its picture, one press at a time."""
    _watch(lab, way)
    taken = []
    for i in range(count):
        if way == "first":
            lab.page.locator(WAYS[way][0]).fill(f"{next(UNSEEN):.1f}")
        lab.page.evaluate("() => { seen.keys = []; seen.pictures = []; }")
        lab.page.keyboard.press("Enter" if way == "first" else ARROWS[i % 2])
        lab.page.wait_for_function("() => seen.pictures.length > 0", polling=20)
        taken.append(lab.page.evaluate("() => seen.pictures[0] - seen.keys[0]"))
        lab.page.wait_for_timeout(340 + 17 * (i % 5))  # not in step with the screen or the server
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
        for way in ("ahead", "interact"):
            holds[way].append(held(lab, way, key))
    return presses, holds


def measure():
    needs_chromium()
    with lab_with(CELLS) as lab:
        presses, holds = measured(lab)
    late = {way: float(np.quantile(times, 0.95)) for way, times in presses.items()}
    middle = {way: median(times) for way, times in presses.items()}
    for name, way, by, most in (
        ("key to picture the first time, median", "first", middle, 0.16),
        ("key to picture the first time, 95 of 100", "first", late, 0.28),
        ("key to picture, fetched ahead, median", "ahead", middle, 0.08),
        ("key to picture, fetched ahead, 95 of 100", "ahead", late, None),
    ):
        yield _figure(name, by[way], by["interact"], most=most)
    for index, name in enumerate(("going up", "coming back")):
        times = {way: 1000 / holds[way][index][0] for way in ("ahead", "interact")}
        yield _figure(
            f"held key {name}, time for a picture", times["ahead"], times["interact"], aim=1000 / 24
        )
    last = {way: max(each[1] for each in holds[way]) for way in ("ahead", "interact")}
    yield _figure("last key to last picture", last["ahead"], last["interact"])


def _figure(name, ours, theirs, **aims):
    """A line of the table; the times are in milliseconds."""
    return Figure(
        f"slider in the browser, {name}",
        ours / 1e3,
        "plain interact",
        theirs / 1e3,
        detail="95" in name or "last" in name,
        **aims,
    )
