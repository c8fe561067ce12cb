"""The Python inside the jail: an interpreter, and layers of packages made for it.

A package layer is a folder of copies, made once and kept: `numpy`, `matplotlib` with what it needs,
and the `kit`: the part of rigkit that is public maths and the inspection of rig files, with
stand-ins for the rest. No judges, draws or solutions are in any.
"""

import contextlib
import errno
import hashlib
import importlib.metadata
import json
import os
import re
import shutil
import stat
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import rigkit

HERE = Path(__file__).parent
RIGKIT = Path(rigkit.__file__).parent
_KIT = """
    __init__ _types _check _files _format rotation frames body puppets skeleton placement _xyz
    _chain two_bone bend solvers controls foot leg mesh places skin physique gait gltf export page
    inspection faults stage plots asking scenes
"""
KIT = tuple(_KIT.split())
DATA = RIGKIT / "data"
STAND_INS = {
    "rigkit/homework/__init__.py": "homework.py",
    "rigkit/panels.py": "panels.py",
    "IPython/__init__.py": "display.py",
    "IPython/display.py": "display.py",
}
UNUSED = 60 * 24 * 3600  # seconds after which a layer that no run opened is taken away
_LAYER = re.compile(r"(kit|allowed|(numpy|matplotlib)-[^/]*)-([0-9a-f]{16}|part-\w+)")
ELSEWHERE = "Set XDG_CACHE_HOME to a folder where you may write."
NOT_NEEDED = shutil.ignore_patterns("__pycache__", "tests", "*.pyi", "*.a", "*.h", "sample_data")


class SiteError(Exception):
    """No interpreter or no place that the jail's user can read; the text says what would do."""


@dataclass(frozen=True)
class Interpreter:
    """A Python that the jail's user can run.

    Attributes
    ----------
    path : str
        Of the binary itself, no links.
    base : str
        The folder it was installed in, such as "/usr".
    stdlib : str
    version : str
    """

    path: str
    base: str
    stdlib: str
    version: str


def interpreter(user: tuple[int, int] | None) -> Interpreter:
    """This process's base Python, else a system Python of its version, that `user` can run.

    `user` is ids, or None.
    """
    wanted = f"{sys.version_info.major}.{sys.version_info.minor}"
    ask = (
        "import json, os, sys, sysconfig,"
        " encodings\nprint(json.dumps([os.path.realpath(sys.executable), sys.base_prefix,"
        " sysconfig.get_path('stdlib'), sys.version.split()[0]]))"
    )
    base = getattr(sys, "_base_executable", "") or sys.executable
    _check_change(user)
    for candidate in (
        base,
        f"/usr/bin/python{wanted}",
        "/usr/bin/python3",
        f"/usr/local/bin/python{wanted}",
    ):
        with contextlib.suppress(OSError, subprocess.SubprocessError, ValueError):
            done = subprocess.run(
                [candidate, "-I", "-S", "-c", ask],
                capture_output=True,
                timeout=30,
                check=True,
                env={},
                cwd="/",
                **run_as(user),
            )
            found = Interpreter(*json.loads(done.stdout))
            if found.version.startswith(f"{wanted}."):
                return found
    raise SiteError(
        f"the user who runs learners' code can run no Python {wanted}: {base} is in a folder closed"
        f" to others. Install python{wanted} for the whole system, or run `rigkit mark` as a user"
        " of your own."
    )


def _check_change(user: tuple[int, int] | None) -> None:
    """Raise SiteError where root cannot become another user: it is one in a container only."""
    try:
        subprocess.run([sys.executable, "-I", "-S", "-c", ""], cwd="/", **run_as(user))
    except OSError as error:
        if error.errno in (errno.EPERM, errno.EINVAL):
            raise SiteError(
                "root cannot run learners' code as another user here, as in some containers"
                f" ({error.strerror}). Run `rigkit mark` as a user who is not root."
            ) from None


def run_as(user: tuple[int, int] | None) -> dict[str, Any]:
    """The arguments of `subprocess` for a user's ids, or for oneself (None)."""
    return {} if user is None else {"user": user[0], "group": user[1], "extra_groups": []}


class Site:
    """The layers in one cache folder; made when first asked for, by whoever comes first.

    Attributes
    ----------
    folder : pathlib.Path
    """

    def __init__(
        self,
        interpreter: Interpreter,
        folder: str | Path | None = None,
        allowed: Sequence[str] = (),
    ) -> None:
        self._interpreter, self._allowed = interpreter, tuple(allowed)
        self.folder = Path(folder) if folder is not None else cache_folder()

    @cached_property
    def kit(self) -> Path:
        """The layer with the driver, rigkit's maths and the stand-ins."""
        paths = [
            path
            for name in KIT
            for path in [RIGKIT / f"{name}.py", *sorted((RIGKIT / name).rglob("*.py"))]
        ]
        files = {
            f"rigkit/{path.relative_to(RIGKIT).as_posix()}": path
            for path in [*paths, DATA / "stage.css", *sorted(DATA.glob("*.csv"))]
            if path.exists()
        }
        files |= {place: HERE / "standins" / name for place, name in STAND_INS.items()}
        files |= {
            f"rigkit/homework/{name}.py": RIGKIT / "homework" / f"{name}.py"
            for name in ("calling", "rig_file")
        }
        files |= {name: HERE / name for name in ("driver.py", "cell.py", "landlock.py")}
        contents = {place: path.read_bytes() for place, path in files.items()}
        digest = hashlib.sha256(self._interpreter.version.encode())
        for place, data in contents.items():
            digest.update(f"{place}\n{len(data)}\n".encode() + data)

        def fill(layer: Path) -> None:
            for place, data in contents.items():
                (layer / place).parent.mkdir(parents=True, exist_ok=True)
                (layer / place).write_bytes(data)

        return self._layer("kit", digest.hexdigest(), fill)

    @cached_property
    def numpy(self) -> Path:
        """The layer with NumPy."""
        return self._packages("numpy", ["numpy"])

    @cached_property
    def matplotlib(self) -> Path:
        """The layer with matplotlib, what it needs beside NumPy, and its cache of fonts.

        The cache is in the folder `fonts`.
        """

        def fonts(layer: Path) -> None:
            places = [str(self.numpy), str(layer)]
            code = f"import sys; sys.path += {places!r}; import matplotlib.font_manager"
            subprocess.run(
                [self._interpreter.path, "-I", "-S", "-B", "-c", code],
                check=True,
                capture_output=True,
                env={"MPLCONFIGDIR": str(layer / "fonts"), "HOME": "/"},
                cwd="/",
            )

        return self._packages("matplotlib", sorted(_needed("matplotlib") - {"numpy"}), fonts)

    @cached_property
    def allowed(self) -> Path:
        """The layer with the packages that a teacher allows, and what they need beside NumPy."""
        needed = {name for package in self._allowed for name in _needed(package)}
        return self._packages("allowed", sorted(needed - {"numpy"}))

    def _packages(
        self,
        name: str,
        packages: Sequence[str],
        afterwards: Callable[[Path], None] = lambda layer: None,
    ) -> Path:
        versions = {package: importlib.metadata.version(package) for package in packages}
        key = hashlib.sha256(
            json.dumps([versions, self._interpreter.version], sort_keys=True).encode()
        ).hexdigest()

        def fill(layer: Path) -> None:
            for place in {place for package in packages for place in _places(package)}:
                if place.is_dir():
                    shutil.copytree(place, layer / place.name, ignore=NOT_NEEDED)
                else:
                    shutil.copy(place, layer / place.name)
            afterwards(layer)

        version = f"-{versions[name]}" if name in versions else ""
        return self._layer(f"{name}{version}", key, fill)

    def _layer(self, name: str, key: str, fill: Callable[[Path], None]) -> Path:
        """The folder of a name and key; filled beside its place and moved there whole."""
        layer = self.folder / f"{name}-{key[:16]}"
        if not layer.exists():
            self._open_folder()
            self._clear()
            half = Path(tempfile.mkdtemp(prefix=f"{name}-part-", dir=self.folder))
            try:
                fill(half)
                self._compile(half)
                _readable(half)
                with contextlib.suppress(OSError):  # somebody else was quicker
                    half.rename(layer)
            finally:
                shutil.rmtree(half, ignore_errors=True)
        if not layer.is_dir() or layer.stat().st_uid != _me():
            raise SiteError(f"{layer} cannot be made, or belongs to somebody else.")
        with contextlib.suppress(OSError):
            os.utime(layer)  # used now: see `_clear`
        return layer

    def _clear(self) -> None:
        """Remove layers of former versions, and halves of ones, that no run opened for long."""
        for entry in self.folder.iterdir():
            with contextlib.suppress(OSError):
                status = entry.lstat()
                if (
                    _LAYER.fullmatch(entry.name)
                    and stat.S_ISDIR(status.st_mode)
                    and status.st_uid == _me()
                    and time.time() - status.st_mtime > UNUSED
                ):
                    shutil.rmtree(entry)

    def _open_folder(self) -> None:
        try:
            self.folder.parent.mkdir(parents=True, exist_ok=True)
            self.folder.mkdir(0o755, exist_ok=True)  # others may not write, whatever the umask
        except OSError as error:
            raise SiteError(
                f"{self.folder}, for copies of packages, cannot be made ({error.strerror})."
                f" {ELSEWHERE}"
            ) from None
        if self.folder.stat().st_uid != _me() or self.folder.stat().st_mode & 0o022:
            raise SiteError(
                f"{self.folder} must belong to you and be writable by nobody else. Remove it; it is"
                " made anew."
            )
        self.folder.chmod(0o755)

    def _compile(self, layer: Path) -> None:
        subprocess.run(
            [
                self._interpreter.path,
                "-I",
                "-m",
                "compileall",
                "-q",
                "--invalidation-mode",
                "unchecked-hash",
                "-s",
                str(layer),
                "-p",
                "/opt",
                str(layer),
            ],
            check=False,
            capture_output=True,
            cwd="/",
        )  # a file that does not compile is not imported either


def cache_folder() -> Path:
    """The folder of the layers: in the user's cache; for root in the machine's."""
    if _me() == 0:
        return Path("/var/cache/rigkit")
    try:
        return Path(os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache") / "rigkit"
    except RuntimeError:
        raise SiteError(
            f"the user who marks has no home for copies of packages. {ELSEWHERE}"
        ) from None


def _me() -> int:
    return os.geteuid() if hasattr(os, "geteuid") else -1


def _readable(folder: Path) -> None:
    for parent, _, names in os.walk(folder):
        os.chmod(parent, 0o755)
        for name in names:
            os.chmod(os.path.join(parent, name), 0o644)


def _needed(package: str, found: set[str] | None = None) -> set[str]:
    """A package and all that it needs, of what is installed."""
    found = set() if found is None else found
    if package in found:
        return found
    found.add(package)
    for requirement in importlib.metadata.requires(package) or []:
        name = re.split(r"[^\w.-]", requirement, maxsplit=1)[0].lower()
        if "extra ==" not in requirement:
            with contextlib.suppress(importlib.metadata.PackageNotFoundError):
                importlib.metadata.version(name)
                _needed(name, found)
    return found


def imported(package: str) -> list[str]:
    """The names by which an installed package's modules are imported.

    Raises
    ------
    SiteError
        It is not installed beside the kit.
    """
    try:
        places = _places(package)
    except (importlib.metadata.PackageNotFoundError, ValueError):
        raise SiteError(
            f"{package!r} is not installed beside the kit. Install it there, or leave out --allow."
        ) from None
    modules = (p.name.partition(".")[0] for p in places if p.suffix in (".py", ".so"))
    folders = (place.name for place in places if (place / "__init__.py").is_file())
    return sorted({*modules, *folders})


def _places(package: str) -> set[Path]:
    """The folders and files that a package put beside the others."""
    distribution = importlib.metadata.distribution(package)
    names = {path.parts[0] for path in distribution.files or ()} or {package}
    places = {
        Path(str(distribution.locate_file(name)))
        for name in names
        if name not in ("..", "__pycache__")
        and not name.endswith((".dist-info", ".pth", ".egg-info"))
    }
    return {place for place in places if place.exists()}
