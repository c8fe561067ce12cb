"""Pictures a second that a play button really shows, in a real browser: a panel's, and a plain `ipywidgets.Play`.

    python -m tests.benchmarks.play_browser

Both draw the same two views in one notebook on one server, `rigkit learn`, in turns. 24 a second are asked for.
"""

import statistics
from itertools import pairwise

from tests.benchmarks.slider_browser import WATCH
from tests.browser.lab import lab_with

TURNS, SECONDS = 3, 5.0

CELLS = {
    "panel": "from tests.benchmarks.play_browser import film\nfilm(play='frame')",
    "plain": "import ipywidgets as widgets\n\nplain, clock = film(), widgets.Play(max=47, interval=42, repeat=True)\n"
             "widgets.link((clock, 'value'), (plain.widget.children[2].children[0], 'value'))\n"
             "widgets.VBox([clock, plain.widget])",
}


def film(**options):
    """A panel of two views and 48 frames."""
    from rigkit.panels import Panel, Slider
    from tests.benchmarks import slider_kernel

    return Panel("It walks.", [Slider("frame", "Frame", 0, 47, 1, 0)],
                 lambda frame: slider_kernel.draw(30.0 * abs(frame - 24) / 24), **options)


def played(lab, way):
    """Pictures a second, the longest time without one, and how late the last one came after the pause; in ms."""
    cell = lab.page.locator(".jp-CodeCell:has(.rig-panel)").nth(list(CELLS).index(way))
    cell.evaluate("(e, name) => { e.id = name; }", way)
    button = cell.locator("button:visible").first
    button.scroll_into_view_if_needed()
    lab.page.evaluate(WATCH, f"#{way} .rig-panel")
    button.click()
    lab.page.wait_for_timeout(500)  # under way
    start = lab.page.evaluate("() => { seen.pictures = []; return performance.now(); }")
    lab.page.wait_for_timeout(1000 * SECONDS)
    button.click()
    end = lab.page.evaluate("() => performance.now()")
    lab.page.wait_for_timeout(1500)
    shown = lab.page.evaluate("() => seen.pictures")
    inside = [t for t in shown if t <= end]
    waits = [later - earlier for earlier, later in pairwise(inside)]
    return 1000 * len(inside) / (end - start), max(waits), max(shown[-1] - end, 0)


def main():
    with lab_with(CELLS) as lab:
        lab.run_all()
        runs = {way: [] for way in CELLS}
        for _ in range(TURNS):
            for way in CELLS:
                runs[way].append(played(lab, way))
    print(f"{'24 pictures a second asked for':34}{'panel':>9}{'plain':>9}")
    for name, place, pick in (("shown a second, median", 0, statistics.median), ("shown a second, least", 0, min),
                              ("longest wait for one, ms", 1, max), ("last one after the pause, ms", 2, max)):
        print(f"{name:34}" + "".join(f"{pick(run[place] for run in runs[way]):>9.1f}" for way in CELLS))


if __name__ == "__main__":
    main()
