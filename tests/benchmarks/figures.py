"""Figures of benchmarks, each measured beside something else in the same run, and their table.

A figure's ratio is ours over the other's, so less is always better. Where both took turns it is the
median of the rounds' ratios: a busy moment hits both sides of a round, and drops out.
"""

import os
import platform
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, version
from importlib.util import find_spec
from math import inf
from statistics import median
from time import perf_counter

from tests.browser import lab

SCALES = {"s": 1.0, "ms": 1e3, "µs": 1e6, "MiB": 1 / 2**20}  # from seconds or bytes
PACKAGES = ("numpy", "matplotlib", "ipywidgets", "anywidget", "jupyterlab")


class Missing(Exception):
    """A need of a benchmark that is not on this machine."""


@dataclass(frozen=True)
class Figure:
    """One speed or size of ours beside a reference.

    Attributes
    ----------
    what : str
    ours, theirs : float
        Seconds, or bytes where `unit` is MiB.
    beside : str
        What the reference is.
    unit : str
        A key of `SCALES`: what it is shown in.
    ratio : float, optional
        Ours over theirs; their quotient unless given.
    most : float, optional
        The ratio aimed at, at most.
    aim : float, optional
        What is aimed at for `ours`, at most, in `unit`.
    detail : bool
        Shown only where its benchmark is asked for by name.
    """

    what: str
    ours: float
    beside: str
    theirs: float
    unit: str = "ms"
    ratio: float | None = None
    most: float | None = None
    aim: float | None = None
    detail: bool = False

    @property
    def quotient(self):
        if self.ratio is not None:
            return self.ratio
        if self.theirs == 0:  # two waits that were none are alike
            return inf if self.ours else 1.0
        return self.ours / self.theirs

    def shown(self, value):
        value *= SCALES[self.unit]
        return f"{value:.3g} {self.unit}" if value < 1000 else f"{value:,.0f} {self.unit}"

    @property
    def share(self):
        """The ratio as a person reads it: "1.5", or "1/300"."""
        return f"1/{1 / self.quotient:,.0f}" if 0 < self.quotient < 0.1 else f"{self.quotient:.2f}"

    @property
    def aimed(self):
        """The aim and whether it was met: "≤ 1.5: met"."""
        aims = []
        if self.most is not None:
            aims.append((f"≤ {self.most:.2f}×", self.quotient <= self.most))
        if self.aim is not None:
            aims.append((f"≤ {self.aim:g} {self.unit}", self.ours * SCALES[self.unit] <= self.aim))
        return ", ".join(f"{text} {'met' if met else 'MISSED'}" for text, met in aims)


def take_turns(works, rounds, clock=perf_counter, repeats=1):
    """The seconds of each work in each round, by name; the first round fills caches and does not
    count.

    Parameters
    ----------
    works : dict of callables
    rounds : int
    clock : callable
        `time.process_time` counts this process's own work only.
    repeats : int
        How often a work is done in a round; its time is divided by it.
    """
    times = {name: [] for name in works}
    for number in range(rounds + 1):
        for name, work in works.items():
            start = clock()
            for _ in range(repeats):
                work()
            if number:
                times[name].append((clock() - start) / repeats)
    return times


def compared(what, ours, beside, theirs, **options):
    """A `Figure` from the times of rounds that took turns: medians, and the median of the rounds'
    ratios."""
    ratio = median(a / b for a, b in zip(ours, theirs, strict=True))
    return Figure(what, median(ours), beside, median(theirs), ratio=ratio, **options)


def needs_chromium():
    """Raise `Missing` where no browser can be driven."""
    if lab.find_chromium() is None or find_spec("playwright") is None:
        raise Missing("it drives a Chromium by playwright")


def machine():
    """A line on the machine and what runs on it."""
    held = [f"{name} {_version(name)}" for name in PACKAGES]
    busy = f"; load {os.getloadavg()[0]:.1f}" if hasattr(os, "getloadavg") else ""
    return (
        f"{os.cpu_count()} cores, {_processor()}; {platform.system()} {platform.machine()}; "
        f"Python {platform.python_version()}, {', '.join(held)}{busy}"
    )


def _version(name):
    try:
        return version(name)
    except PackageNotFoundError:
        return "missing"


def _processor():
    """The processor's name, as far as the system says it."""
    try:
        with open("/proc/cpuinfo", encoding="utf-8") as lines:
            return next(
                line.split(":")[1].strip() for line in lines if line.startswith("model name")
            )
    except (OSError, StopIteration):
        return platform.processor() or "unknown processor"


HEAD = ("", "ours", "beside it", "takes", "ratio", "aim")
WIDE = (50, 10, 34, 10, 7, 0)  # fixed, so that a line can be printed before the next is known


def cells(figure):
    """The cells of a figure's line in the table."""
    f = figure
    return f.what, f.shown(f.ours), f.beside, f.shown(f.theirs), f.share, f.aimed


def line(cells):
    """One line of the table; numbers stand right in their columns."""
    numbers = (1, 3, 4)
    return "  ".join(
        cell.rjust(wide) if i in numbers else cell.ljust(wide)
        for i, (cell, wide) in enumerate(zip(cells, WIDE, strict=True))
    ).rstrip()
