"""The time that importing rigkit takes beside NumPy.

Each import runs in a new process, the candidates in turn, so that noise falls on all alike. Timed
is the import alone, not the start of Python.
"""

import subprocess
import sys

from tests.benchmarks.figures import compared

ROUNDS = 41
MATHS = "from rigkit import placement, two_bone, bend, solvers, controls, leg, foot, skin, gait"
IMPORTS = {
    "import numpy": "import numpy",
    "import rigkit": "import rigkit",
    "import all of its maths": MATHS,
}
TIMED = "import time; start = time.perf_counter(); {}; print(time.perf_counter() - start)"


def seconds(statement):
    done = subprocess.run(
        [sys.executable, "-c", TIMED.format(statement)], capture_output=True, text=True, check=True
    )
    return float(done.stdout)


def measure():
    for statement in IMPORTS.values():  # fill the caches
        seconds(statement)
    rounds = [
        {name: seconds(statement) for name, statement in IMPORTS.items()} for _ in range(ROUNDS)
    ]
    times = {name: [row[name] for row in rounds] for name in IMPORTS}
    numpy = times.pop("import numpy")
    for name, own in times.items():
        most = 1.5 if name == "import rigkit" else None
        yield compared(name, own, "import numpy", numpy, most=most)
