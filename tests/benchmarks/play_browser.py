"""Pictures a second in a real browser: a panel's play button, and a plain `ipywidgets.Play`.

Both draw the same two views in one notebook on one server, `rigkit learn`, in turns. 24 a second
are asked for.
"""

from itertools import pairwise
from statistics import median

from tests.benchmarks.figures import Figure, needs_chromium
from tests.benchmarks.slider_browser import WATCH
from tests.browser.lab import lab_with

TURNS, SECONDS = 3, 5.0

CELLS = {
    "panel": "from tests.benchmarks.play_browser import film\nfilm(play='frame')",
    "plain": (
        "import ipywidgets as widgets\n\nplain, shown = film(), widgets.HTML()\nclock ="
        " widgets.Play(max=47, interval=42, repeat=True)\ndef draw(change):\n   "
        " plain.set(frame=change['new'])\n    shown.value = plain.picture\n"
        "clock.observe(draw, 'value')\nwidgets.VBox([clock, shown])"
    ),
}


def film(**options):
    """A panel of two views and 48 frames."""
    from rigkit.panels import Panel, Slider
    from tests.benchmarks import slider_kernel

    return Panel(
        "It walks.",
        [Slider("frame", "Frame", 0, 47, 1, 0)],
        lambda frame: slider_kernel.draw(30.0 * abs(frame - 24) / 24),
        **options,
    )


def played(lab, way):
    """Pictures a second, the longest time without one, and how late the last one came after the
    pause; in ms."""
    cell = lab.page.locator(".jp-CodeCell").nth(list(CELLS).index(way))
    cell.evaluate("(e, name) => { e.id = name; }", way)
    button = cell.locator(".jp-OutputArea-output button:not(.rig-alone-button):visible").first
    button.scroll_into_view_if_needed()
    lab.page.evaluate(WATCH, f"#{way} .jp-OutputArea-output")
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


def measure():
    needs_chromium()
    with lab_with(CELLS) as lab:
        lab.run_all()
        runs = {way: [] for way in CELLS}
        for _ in range(TURNS):
            for way in CELLS:
                runs[way].append(played(lab, way))
    for name, by in (
        (
            "time for a picture",
            {way: 1000 / median(run[0] for run in each) for way, each in runs.items()},
        ),
        ("longest wait for one", {way: max(run[1] for run in each) for way, each in runs.items()}),
        (
            "last one after the pause",
            {way: max(run[2] for run in each) for way, each in runs.items()},
        ),
    ):
        yield Figure(
            f"play, {name}",
            by["panel"] / 1e3,
            "a plain Play",
            by["plain"] / 1e3,
            aim={"time for a picture": 1000 / 24, "longest wait for one": 100}.get(name),
            detail="wait" in name,
        )
