"""Python started anew: what it prints."""

import os
import subprocess
import sys
from pathlib import Path

import rigkit

FOLDER = Path(rigkit.__file__).parent.parent


def printed_by(code):
    """The output of a new Python that runs `code` in the project's folder, hashing otherwise."""
    done = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        text=True,
        check=True,
        cwd=FOLDER,
        env={**os.environ, "PYTHONHASHSEED": "7", "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    return done.stdout.strip()
