"""Marking a class beside running the same notebooks by nbclient, and growth.

1. Throughput. `rigkit mark` from its start to its end: jail opened and tested, each notebook run
   in a jail of its own, weighed, recorded, its page written, then tables and the class page. Beside
   it nbclient executes the same notebooks in fresh kernels, without any jail and without marking
   anything. Both do as many at once; the rounds alternate, so that a busy machine slows both alike.
   Learners' own idle steps differ; the notebooks are of every harmless kind.
2. Growth. One class of many, marked at once: the memory of all its processes around the hundredth
   submission and around the last, the jails that happen to run included; and the time for each of
   the first hundred and of the last. Then the time for each of a small class, marked before and
   after the large one.
"""

import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from statistics import fmean, median

from rigkit.marking import pipeline, workers
from rigkit.marking.jail import JailError, open_jail
from tests.benchmarks.figures import Figure, Missing, compared
from tests.marking.classroom import make_class

HARMLESS = ("right", "partly", "misconception", "right")
HARMLESS += ("blank", "broken", "right", "misconception")
LESSON, KERNELS, FEW, MANY, ROUNDS = "06", 16, 200, 1000, 3
WORKERS = workers.how_many()
WINDOW = 40  # submissions around a point over which memory and time are taken


def measure():
    try:
        open_jail().self_test()
    except JailError as refused:
        raise Missing(str(refused).splitlines()[0]) from refused
    with tempfile.TemporaryDirectory() as folder:
        few, many = Path(folder, "few"), Path(folder, "many")
        make_class(few, FEW, LESSON, HARMLESS)
        make_class(many, MANY, LESSON, HARMLESS)
        yield throughput(few)
        yield from growth(few, many)


def throughput(few):
    notebooks = sorted((few / "submissions").rglob("*.ipynb"))[:KERNELS]
    ours, theirs = [], []
    for number in range(ROUNDS):
        ours.append(commanded(few, few / f"results-{number}", WORKERS) / FEW)
        start = time.perf_counter()
        with ThreadPoolExecutor(WORKERS) as pool:
            list(pool.map(executed, notebooks))
        theirs.append((time.perf_counter() - start) / KERNELS)
    return compared(
        f"rigkit mark, one of {FEW}, in jails",
        ours,
        "its notebook in a fresh kernel",
        theirs,
        most=1 / 6,
    )


def growth(few, many):
    small = [marked(few, few / "before", WORKERS) / FEW]
    seen, began = [], time.perf_counter()
    large = (
        marked(
            many,
            many / "results",
            WORKERS,
            lambda progress: seen.append((time.perf_counter() - began, held())),
        )
        / MANY
    )
    small.append(marked(few, few / "after", WORKERS) / FEW)
    first, last = around(seen, 100), around(seen, len(seen))
    yield Figure(f"rigkit mark, one of {MANY:,}", large, f"one of {FEW}", fmean(small), most=1.1)
    yield Figure("rigkit mark, the last of 1,000", last[0], "the hundredth", first[0], detail=True)
    yield Figure(
        "rigkit mark, memory at the last of 1,000",
        last[1],
        "at the hundredth",
        first[1],
        "MiB",
        most=1 + 50 * 2**20 / first[1],
    )


def commanded(room, out, count):
    """The seconds that the command takes, from its start to its end."""
    start = time.perf_counter()
    subprocess.run(
        [
            sys.executable,
            "-m",
            "rigkit",
            "mark",
            room / "submissions",
            "--out",
            out,
            "--roster",
            room / "roster.csv",
            "--workers",
            str(count),
        ],
        check=True,
        capture_output=True,
    )
    return time.perf_counter() - start


def marked(room, out, count, progress=None):
    """The seconds that marking a class takes, called from here."""
    start = time.perf_counter()
    found = pipeline.mark_class(
        room / "submissions", out, room / "roster.csv", workers=count, progress=progress
    )
    assert not found.not_marked, found
    return time.perf_counter() - start


def executed(path):
    """One notebook in a fresh kernel of its own."""
    import nbformat  # here, because each worker imports this module anew
    from nbclient import NotebookClient

    book = nbformat.read(path, as_version=4)
    with tempfile.TemporaryDirectory() as folder:
        NotebookClient(
            book,
            timeout=120,
            allow_errors=True,
            kernel_name="python3",
            extra_arguments=["--log-level=ERROR"],
            resources={"metadata": {"path": folder}},
        ).execute()


def held():
    """Bytes held by this process and all that came of it."""
    import psutil

    total = 0
    me = psutil.Process()
    for process in (me, *me.children(recursive=True)):
        try:
            total += process.memory_info().rss
        except psutil.Error:  # a jail that has just ended
            continue
    return total


def around(seen, number):
    """(seconds each, bytes held) over the submissions around one."""
    part = seen[max(0, number - WINDOW) : number + WINDOW]
    return (part[-1][0] - part[0][0]) / (len(part) - 1), median(memory for _, memory in part)
