"""The time of a step in the kernel: every panel of every lesson, the slowest ten shown.

Each slider is moved to values that were not shown before; the reference is an inline figure of two
views, measured between the panels.
"""

import inspect
from itertools import islice
from statistics import median
from time import perf_counter

import numpy as np

from rigkit.panels import Slider
from tests.benchmarks.figures import Figure
from tests.benchmarks.slider_kernel import inline
from tests.unit.test_scene_panels import MAKERS, WHO

EACH, SHOWN = 9, 10
MOST = {"sign_off": 25, "skinning": 25}  # ms; a real inspection, a real skin
USUAL = 10


def panels():
    """Every panel by its name, made when it is its turn."""
    for name, make in MAKERS.items():
        needed = [
            key for key, p in inspect.signature(make).parameters.items() if p.default is p.empty
        ]
        yield name, make(*(WHO[key] for key in needed))


def values(slider, rng):
    """Values of a slider, in no order."""
    steps = round((slider.high - slider.low) / slider.step)
    for step in rng.permutation(steps + 1):
        value = min(slider.low + step * slider.step, slider.high)
        yield int(value) if slider.whole else value


def steps(panel, rng):
    """Seconds of a step of each of its sliders."""
    for slider in (c for c in panel.controls.values() if isinstance(c, Slider)):
        for value in islice(values(slider, rng), EACH):
            start = perf_counter()
            panel.frame(**{slider.key: value})
            yield perf_counter() - start


def measure():
    import matplotlib

    matplotlib.use("agg")
    rng, taken, figures = np.random.default_rng(5), {}, []
    for name, panel in panels():
        taken[name] = median(steps(panel, rng))
        start = perf_counter()
        inline(float(rng.uniform(0, 30)))
        figures.append(perf_counter() - start)
    slowest = sorted(taken, key=taken.get, reverse=True)[:SHOWN]
    for place, name in enumerate(slowest):
        yield Figure(
            f"a step of {name.replace('_panel', '')}",
            taken[name],
            "an inline figure",
            median(figures),
            aim=MOST.get(name.partition(".")[0], USUAL),
            detail=place >= 3,
        )
