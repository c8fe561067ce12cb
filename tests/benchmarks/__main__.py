"""All speed figures of the kit beside their references, each printed as soon as it is measured.

    python -m tests.benchmarks               all of them, some minutes
    python -m tests.benchmarks two_bone skin these two, with their details

Less is better, and a ratio below 1 means that ours is the faster or smaller one. What a benchmark
needs and is missing (a browser, a jail, another library: `pip install "rigkit[bench]"`) is said and
left out.
"""

import argparse
import sys
import tempfile
from contextlib import chdir
from importlib import import_module

from tests.benchmarks.figures import HEAD, Missing, cells, line, machine

NAMES = (
    "import_time",
    "two_bone",
    "leg",
    "skin",
    "gltf",
    "inspection",
    "slider_kernel",
    "panel_steps",
    "check",
    "jail",
    "slider_browser",
    "grip_browser",
    "play_browser",
    "view_speed",
    "marking",
)


def main():
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    known = ", ".join(NAMES)
    parser.add_argument("names", nargs="*", metavar="NAME", help=f"one or more of: {known}")
    asked = parser.parse_args().names
    if unknown := set(asked) - set(NAMES):
        parser.error(f"unknown benchmark {', '.join(sorted(unknown))}; there are: {known}")
    print(machine(), "", line(HEAD), sep="\n", flush=True)
    for name in asked or NAMES:
        try:
            # Homework remembers progress where it runs.
            with tempfile.TemporaryDirectory() as folder, chdir(folder):
                show(name, bool(asked))
        except Missing as missing:
            print(f"left out: {name} ({missing})", flush=True)


def show(name, in_detail):
    """Measure one benchmark, and print a line of the table for each of its figures."""
    for figure in import_module(f"tests.benchmarks.{name}").measure():
        if in_detail or not figure.detail:
            print(line(cells(figure)), flush=True)


if __name__ == "__main__":
    try:
        main()
    except KeyboardInterrupt:
        sys.exit("Stopped; what is above was measured.")
