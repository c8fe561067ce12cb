"""A submission in the jail beside the same cells run by nbclient in a fresh kernel.

The two take turns, so that both meet the same machine. The jail also answers hidden calls; the
kernel runs its cells only, unjailed. Peak memory is of the one process that runs the cells, as it
says itself.
"""

import dataclasses
import json
import resource
from pathlib import Path
from statistics import median
from time import perf_counter

import nbformat
from nbclient import NotebookClient

from rigkit.homework import notebook
from rigkit.marking.calls import Call, Request
from rigkit.marking.jail import JailError, open_jail
from tests.benchmarks.figures import Figure, Missing, compared

ROOT = Path(__file__).parents[2]
TURNS = 7
PLAIN = (
    "import numpy as np",
    *[f"values_{n} = np.linspace(0, 1, 100) ** {n}" for n in range(10)],
    "def knee(x):\n    return np.arccos(np.clip(x, -1, 1))",
)
PEAK = "import resource\npeak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024"
PEAK_OF_KERNEL = (
    "print([line.split()[1] for line in open('/proc/self/status') if line.startswith('VmHWM')][0])"
)


def solution(lesson):
    """The request of a lesson's solution, with the cases that a check would draw."""
    path = next((ROOT / "solutions").glob(f"{lesson}-*.ipynb"))
    cells = tuple(
        "".join(cell["source"])
        for cell in json.loads(path.read_text(encoding="utf-8"))["cells"]
        if cell["cell_type"] == "code"
    )
    hw = notebook.open_homework(lesson, "Tamsin")
    calls = tuple(
        Call(q.name, q.kind, hw.cases(q, 1) if q.kind == "function" else [])
        for q in hw.questions.values()
    )
    return Request(
        cells,
        calls,
        {
            "lesson": lesson,
            "student": "Tamsin",
            "character": dataclasses.asdict(hw.character),
            "inputs": {name: hw.cases(q, 0)[0] for name, q in hw.questions.items()},
        },
    )


def jailed(jail, request):
    """(CPU seconds of its own, which bwrap does not pass on to who started it; peak memory in
    bytes)."""
    run = jail.run(
        dataclasses.replace(
            request, cells=(*request.cells, PEAK), calls=(*request.calls, Call("peak", "value", []))
        )
    )
    assert run.end == "finished", run
    assert all(cell == {"ok": True} for cell in run.cells), run
    return run.cpu, run.records["peak"][0]["out"] * 2**20


def in_a_kernel(request):
    """(0: it is passed on; peak memory in bytes)."""
    book = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(cell) for cell in (*request.cells, PEAK_OF_KERNEL)]
    )
    NotebookClient(book, kernel_name="python3", extra_arguments=["--log-level=ERROR"]).execute()
    return 0.0, int(book.cells[-1].outputs[-1]["text"]) * 2**10


def measured(work):
    """(wall seconds, CPU seconds of all processes started, peak memory in bytes)."""

    def processor():
        used = resource.getrusage(resource.RUSAGE_CHILDREN)
        return used.ru_utime + used.ru_stime

    cpu, wall = processor(), perf_counter()
    own, peak = work()
    return perf_counter() - wall, processor() - cpu + own, peak


def measure():
    try:
        jail = open_jail()
        jail.self_test()
    except JailError as refused:
        raise Missing(str(refused).splitlines()[0]) from refused
    cases = {
        "12 NumPy cells, 50 calls": Request(
            PLAIN, (Call("knee", "function", [{"x": n / 50} for n in range(50)]),), {}
        )
    }
    cases |= {f"solution {lesson}": solution(lesson) for lesson in ("04", "06", "07")}
    for name, request in cases.items():
        turns = [
            (
                measured(lambda r=request: jailed(jail, r)),
                measured(lambda r=request: in_a_kernel(r)),
            )
            for _ in range(TURNS)
        ]
        ours, theirs = (list(zip(*side, strict=True)) for side in zip(*turns, strict=True))
        detail = name != "solution 06"
        yield compared(f"jail: {name}", ours[0], "a fresh kernel", theirs[0], detail=detail)
        yield compared(
            f"jail: {name}, processor time", ours[1], "a fresh kernel", theirs[1], detail=True
        )
        yield Figure(
            f"jail: {name}, memory",
            median(ours[2]),
            "a fresh kernel",
            median(theirs[2]),
            "MiB",
            detail=detail,
        )
