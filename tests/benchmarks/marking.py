"""Marking a class beside running the same notebooks by nbclient, and growth: `python -m tests.benchmarks.marking`.

1. Throughput. `rigkit mark` from its start to its end: jail opened and tested, each notebook run in a jail of its own,
   weighed, recorded, its page written, then tables and the class page. Beside it nbclient executes the same notebooks
   in fresh kernels, without any jail and without marking anything. Both do as many at once; the rounds alternate, so
   that a busy machine slows both alike. Learners' own idle steps differ; the notebooks are of every harmless kind.
2. Growth. One class of many, marked at once: what all its processes hold in memory around the hundredth submission and
   around the last, the jails that happen to run included; and the time for each of the first hundred and of the last.
   Then the time for each of a small class, marked before and after the large one.

    --kernels 16 --few 200 --many 1000 --rounds 3 --workers 2 --lesson 06
"""

import argparse
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import fmean, median

from rigkit.marking import run, workers
from tests.marking.classroom import make_class

HARMLESS = ("right", "partly", "misconception", "right", "blank", "broken", "right", "misconception")
WINDOW = 40  # submissions around a point over which memory and time are taken


def main():
    options = _options()
    with tempfile.TemporaryDirectory() as folder:
        folder = Path(folder)
        throughput(folder, options)
        growth(folder, options)


def throughput(folder, options):
    make_class(folder / "few", options.few, options.lesson, HARMLESS)
    notebooks = sorted((folder / "few" / "submissions").rglob("*.ipynb"))[:options.kernels]
    ours, theirs = [], []
    for number in range(options.rounds):
        ours.append(commanded(folder / "few", folder / f"results-{number}", options.workers) / options.few)
        start = time.perf_counter()
        with ThreadPoolExecutor(options.workers) as pool:
            list(pool.map(executed, notebooks))
        theirs.append((time.perf_counter() - start) / options.kernels)
    print(f"{'median of the rounds':44}{'ms each':>10}{'a second':>10}")
    for name, times in ((f"rigkit mark, {options.few} in jails, reports written", ours),
                        (f"nbclient, {options.kernels} in fresh kernels, no jail", theirs)):
        print(f"{name:44}{1e3 * median(times):10.0f}{1 / median(times):10.1f}")
    ratios = [b / a for a, b in zip(ours, theirs, strict=True)]
    print(f"{'nbclient / rigkit mark':44}{median(ratios):10.1f}   wanted: 6; rounds "
          f"{', '.join(f'{ratio:.1f}' for ratio in ratios)}\n")


def growth(folder, options):
    make_class(folder / "many", options.many, options.lesson, HARMLESS)
    small = [marked(folder / "few", folder / "before", options.workers) / options.few]
    seen, began = [], time.perf_counter()
    large = marked(folder / "many", folder / "large", options.workers,
                   lambda progress: seen.append((time.perf_counter() - began, held()))) / options.many
    at_end = held()
    small.append(marked(folder / "few", folder / "after", options.workers) / options.few)
    first, last = around(seen, 100), around(seen, len(seen))
    print(f"{'':44}{'the 100th':>12}{'the last':>12}{'':6}")
    print(f"{'memory of all processes, MiB (median)':44}{first[1]:12.0f}{last[1]:12.0f}   "
          f"{last[1] - first[1]:+.0f} (wanted: at most +50); {at_end:.0f} when all is written")
    print(f"{'time each, ms':44}{1e3 * first[0]:12.1f}{1e3 * last[0]:12.1f}   {last[0] / first[0] - 1:+.0%}")
    print(f"{'':44}{f'class of {options.few}':>12}{f'of {options.many}':>12}")
    print(f"{'time each, the whole command, ms':44}{1e3 * fmean(small):12.1f}{1e3 * large:12.1f}   "
          f"{large / fmean(small) - 1:+.0%} (wanted: within 10 %; the small one before and after: "
          f"{', '.join(f'{1e3 * each:.1f}' for each in small)})")


def commanded(room, out, count):
    """The seconds that the command takes, from its start to its end."""
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "rigkit", "mark", room / "submissions", "--out", out, "--roster",
                    room / "roster.csv", "--workers", str(count)], check=True, capture_output=True)
    return time.perf_counter() - start


def marked(room, out, count, progress=None):
    """The seconds that marking a class takes, called from here."""
    start = time.perf_counter()
    found = run.mark_class(room / "submissions", out, room / "roster.csv", workers=count, progress=progress)
    assert not found.not_marked, found
    return time.perf_counter() - start


def executed(path):
    """One notebook in a fresh kernel of its own."""
    import nbformat  # here, because each worker imports this module anew
    from nbclient import NotebookClient

    book = nbformat.read(path, as_version=4)
    with tempfile.TemporaryDirectory() as folder:
        NotebookClient(book, timeout=120, allow_errors=True, kernel_name="python3",
                       resources={"metadata": {"path": folder}}).execute()


def held():
    """MiB held by this process and all that came of it."""
    import psutil

    total = 0
    me = psutil.Process()
    for process in (me, *me.children(recursive=True)):
        try:
            total += process.memory_info().rss
        except psutil.Error:  # a jail that has just ended
            continue
    return total / 2**20


def around(seen, number):
    """(seconds each, MiB held) over the submissions around one."""
    part = seen[max(0, number - WINDOW):number + WINDOW]
    return (part[-1][0] - part[0][0]) / (len(part) - 1), median(memory for _, memory in part)


def _options():
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks.marking")
    for name, number in (("kernels", 16), ("few", 200), ("many", 1000), ("rounds", 3), ("workers", workers.how_many())):
        parser.add_argument(f"--{name}", type=int, default=number)
    parser.add_argument("--lesson", default="06")
    return parser.parse_args()


if __name__ == "__main__":
    main()
