"""All speed figures of the kit beside their references, in one table, with the machine.

    python -m tests.benchmarks               all of them, some minutes
    python -m tests.benchmarks two_bone skin these two, with their details

Less is better, and a ratio below 1 means that ours is the faster or smaller one. What a benchmark
needs and is missing (a browser, a jail, another library: `pip install "rigkit[bench]"`) is said and
left out.
"""

import argparse
import tempfile
import time
from contextlib import chdir
from importlib import import_module

from tests.benchmarks.figures import Missing, machine, table

NAMES = (
    "import_time",
    "two_bone",
    "leg",
    "skin",
    "gltf",
    "inspection",
    "slider_kernel",
    "check",
    "jail",
    "slider_browser",
    "play_browser",
    "marking",
)


def main():
    parser = argparse.ArgumentParser(
        prog="python -m tests.benchmarks",
        description=__doc__,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument(
        "names", nargs="*", metavar="NAME", help=f"one or more of: {', '.join(NAMES)}"
    )
    asked = parser.parse_args().names
    if unknown := set(asked) - set(NAMES):
        parser.error(
            f"no benchmark called {', '.join(sorted(unknown))}; there are: {', '.join(NAMES)}"
        )
    print(machine(), flush=True)
    figures = []
    for name in asked or NAMES:
        start = time.perf_counter()
        try:
            with (
                tempfile.TemporaryDirectory() as folder,
                chdir(folder),
            ):  # homework remembers progress where it runs
                figures += [
                    figure
                    for figure in import_module(f"tests.benchmarks.{name}").measure()
                    if asked or not figure.detail
                ]
        except Missing as missing:
            print(f"left out: {name} ({missing})", flush=True)
        else:
            print(f"measured: {name} ({time.perf_counter() - start:.0f} s)", flush=True)
    print("", *table(figures), sep="\n")


if __name__ == "__main__":
    main()
