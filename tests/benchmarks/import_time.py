"""How long importing rigkit takes against NumPy: `python -m tests.benchmarks.import_time`.

Each import runs in a new process, the candidates in turn, so that noise falls on all alike. Timed is the import
alone, not the start of Python. The goal: `import rigkit` at most 1.5 times `import numpy`.
"""

import subprocess
import sys
from statistics import median

ROUNDS = 41
MATHS = "from rigkit import placement, two_bone, bend, solvers, controls, leg, foot, skin, gait"
IMPORTS = {"import numpy": "import numpy", "import rigkit": "import rigkit", "all of its maths": MATHS}
TIMED = "import time; start = time.perf_counter(); {}; print(time.perf_counter() - start)"


def seconds(statement):
    done = subprocess.run([sys.executable, "-c", TIMED.format(statement)], capture_output=True, text=True, check=True)
    return float(done.stdout)


def main():
    for statement in IMPORTS.values():  # fill the caches
        seconds(statement)
    rounds = [{name: seconds(statement) for name, statement in IMPORTS.items()} for _ in range(ROUNDS)]
    print(f"{'':18}{'median':>10}{'of numpy':>10}    ({ROUNDS} rounds)")
    for name in IMPORTS:
        ratio = median(row[name] / row["import numpy"] for row in rounds)
        print(f"{name:18}{median(row[name] for row in rounds) * 1e3:>7.1f} ms{ratio:>10.2f}")


if __name__ == "__main__":
    main()
