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
3. A class of 24 of every kind, by the command, in the rounds of the first: the class page should be
   there within 4 s on two cores that have nothing else to do.
4. A scheduler on this machine with two workers, then with four, beside none: one class, called from
   here in turns, the scheduler's jails open already.

Ten thousand submissions are measured once and not each time, as they take a quarter of an hour or
more: growth, as above, with as many as the number says, which is 200 or more.

    python -m tests.benchmarks.marking 10000
"""

import os
import subprocess
import sys
import tempfile
import time
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from importlib.util import find_spec
from pathlib import Path
from statistics import fmean, median

from rigkit.marking import pipeline, workers
from rigkit.marking.cluster import Cluster
from rigkit.marking.jail import JailError, open_jail
from tests.benchmarks.figures import HEAD, Figure, Missing, cells, compared, line, machine
from tests.marking.classroom import ROOT, make_class

HARMLESS = ("right", "partly", "misconception", "right")
HARMLESS += ("blank", "broken", "right", "misconception")
LESSON, KERNELS, ROUNDS = "06", 16, 3
CLASS, SOME, FEW, MANY = 24, 60, 200, 1000  # submissions
CLUSTERS = (2, 4)  # workers of a scheduler
WORKERS = workers.how_many()
WINDOW = 40  # submissions around a point over which memory and time are taken


def measure():
    needs_jail()
    with tempfile.TemporaryDirectory() as folder:
        rooms = {name: Path(folder, name) for name in ("mixed", "some", "few", "many")}
        make_class(rooms["mixed"], CLASS, LESSON)
        for name, number in (("some", SOME), ("few", FEW), ("many", MANY)):
            make_class(rooms[name], number, LESSON, HARMLESS)
        yield from throughput(rooms["few"], rooms["mixed"])
        yield from growth(rooms["few"], rooms["many"], MANY)
        yield from clusters(rooms["some"])


def measure_once(number):
    """The figures of growth for a class of any size."""
    needs_jail()
    with tempfile.TemporaryDirectory() as folder:
        few, many = Path(folder, "few"), Path(folder, "many")
        make_class(few, FEW, LESSON, HARMLESS)
        make_class(many, number, LESSON, HARMLESS)
        yield from growth(few, many, number)


def needs_jail():
    """Raise `Missing` where none can be had."""
    try:
        open_jail().self_test()
    except JailError as refused:
        raise Missing(str(refused).splitlines()[0]) from refused


def throughput(few, mixed):
    notebooks = sorted((few / "submissions").rglob("*.ipynb"))[:KERNELS]
    ours, whole, theirs = [], [], []
    for number in range(ROUNDS):
        ours.append(commanded(few, few / f"results-{number}", WORKERS) / FEW)
        whole.append(commanded(mixed, mixed / f"results-{number}", WORKERS))
        start = time.perf_counter()
        with ThreadPoolExecutor(WORKERS) as pool:
            list(pool.map(executed, notebooks))
        theirs.append((time.perf_counter() - start) / KERNELS)
    what, kernel = f"rigkit mark, one of {FEW}, in jails", "its notebook in a fresh kernel"
    yield compared(what, ours, kernel, theirs, most=1 / 6)
    what, kernels = f"rigkit mark, a class of {CLASS}", [CLASS * each for each in theirs]
    yield compared(what, whole, "its notebooks in fresh kernels", kernels, unit="s", aim=4.0)


def clusters(room):
    """The same class by a scheduler's workers and by this machine's own, in turns."""
    if find_spec("distributed") is None:
        raise Missing('a scheduler needs dask.distributed: pip install "rigkit[cluster]"')
    for count in CLUSTERS:
        ours, theirs = [], []
        with a_cluster(count) as address:
            for number in range(ROUNDS):
                out, without = room / f"by-{count}-{number}", room / f"without-{count}-{number}"
                ours.append(marked(room, out, count, cluster=address) / SOME)
                theirs.append(marked(room, without, count) / SOME)
        what, beside = f"rigkit mark --cluster, {count} workers", f"{count} workers without"
        yield compared(what, ours, beside, theirs)


@contextmanager
def a_cluster(count):
    """The address of a scheduler on this machine with so many workers, each ready to mark."""
    from distributed import Client

    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        about = Path(folder, "scheduler.json")
        local = ["--local-directory", folder, "--nthreads", "1", "--no-nanny"]
        _start(stack, "scheduler", about, "--port", "0", "--host", "127.0.0.1")
        while not (about.exists() and about.read_text().rstrip().endswith("}")):
            time.sleep(0.1)
        for _ in range(count):
            _start(stack, "worker", about, *local)
        with Client(scheduler_file=str(about), set_as_default=False) as client:
            client.wait_for_workers(count, timeout=120)
            with Cluster(client.scheduler.address, "bwrap", pipeline.mark_task):
                yield client.scheduler.address  # now every jail is open


def _start(stack, part, about, *more):
    """One process of a cluster, killed when the stack is left."""
    words = [sys.executable, "-m", f"distributed.cli.dask_{part}", "--scheduler-file", about]
    process = subprocess.Popen(
        [*words, "--no-dashboard", *more],
        cwd=about.parent,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    stack.callback(process.wait)
    stack.callback(process.kill)


def growth(few, many, number):
    small = [marked(few, few / "before", WORKERS) / FEW]
    seen, began = [], time.perf_counter()

    def see(progress):
        seen.append((time.perf_counter() - began, held()))

    large = marked(many, many / "results", WORKERS, progress=see) / number
    small.append(marked(few, few / "after", WORKERS) / FEW)
    first, last = around(seen, 100), around(seen, len(seen))
    what = f"the last of {number:,}"
    yield Figure(f"rigkit mark, one of {number:,}", large, f"one of {FEW}", fmean(small), most=1.1)
    yield Figure(f"rigkit mark, {what}", last[0], "the hundredth", first[0], detail=True)
    memory, most = f"rigkit mark, memory at {what}", 1 + 50 * 2**20 / first[1]
    yield Figure(memory, last[1], "at the hundredth", first[1], "MiB", most=most)


def commanded(room, out, count):
    """The seconds that the command takes, from its start to its end."""
    start = time.perf_counter()
    done = subprocess.run(
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
        capture_output=True,
    )
    assert done.returncode in (0, 1), done.stderr  # 1: a file of the mixed class is no notebook
    return time.perf_counter() - start


def marked(room, out, count, **how):
    """The seconds that marking a class takes, called from here."""
    start = time.perf_counter()
    found = pipeline.mark_class(
        room / "submissions", out, room / "roster.csv", workers=count, **how
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


if __name__ == "__main__":
    print(machine(), "", line(HEAD), sep="\n", flush=True)
    for figure in measure_once(int(sys.argv[1])):
        print(line(cells(figure)), flush=True)
