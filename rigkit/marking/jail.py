"""A jail for strangers' code: one process per submission, and only its answers come back.

The code that runs can spoil its own answers and nothing else. `driver` is the other side,
`protocol` the words between the two, `site` what Python sees there, `seccomp` what the kernel
refuses.
"""

import contextlib
import errno
import functools
import hashlib
import json
import math
import os
import platform
import signal as signals
import socket
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path
from typing import Any

from rigkit.marking import probes, seccomp
from rigkit.marking import scratch as scratches
from rigkit.marking.calls import Pipes, Request, Run
from rigkit.marking.entry import FINISHED, NOT_STARTED
from rigkit.marking.protocol import MEMORY, MIB, STOPPED, TIME, Session, run_session
from rigkit.marking.site import Interpreter, Site, SiteError, imported, interpreter, run_as

KINDS = ("bwrap", "landlock", "unjailed")
LIMITS = {
    "AS": 1536 * MIB,
    "FSIZE": 16 * MIB,
    "NOFILE": 64,
    "CORE": 0,
    "MEMLOCK": 0,
    "MSGQUEUE": 0,
    "NPROC": 24,
}
ENVIRONMENT = {
    "HOME": "/tmp",
    "PATH": "/nonexistent",
    "LC_ALL": "C.UTF-8",
    "MPLBACKEND": "Agg",
    "MPLCONFIGDIR": "/tmp/fonts",
    "OPENBLAS_NUM_THREADS": "1",
    "OMP_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
}
CONFINED = """
    --unshare-user --unshare-pid --unshare-net --unshare-ipc --unshare-uts --unshare-cgroup-try
    --uid 1000 --gid 1000 --hostname jail --cap-drop ALL --die-with-parent --new-session --clearenv
"""
# by themselves these folders are writable without limit
WRITABLE = f"""
    --dev /dev --size {8 * MIB} --tmpfs /dev/shm --remount-ro /dev
    --size {32 * MIB} --perms 0700 --tmpfs /tmp --remount-ro / --chdir /tmp
"""
FOLDERS = ("tmp", "dev/shm")  # of those, what stays so
PYTHON_FLAGS = ("-I", "-S", "-B", "-X", "utf8")
LIBRARIES = (
    "/usr/lib",
    "/usr/lib64",
    "/usr/share/zoneinfo",
    "/usr/share/fonts",
    "/etc/ld.so.cache",
)
PROTECTS = {
    "bwrap": (
        "learners' code sees no file of this machine but Python's own, no network and no other"
        " process"
    ),
    "landlock": (
        "learners' code reads no file of this machine but the system's libraries, and writes none;"
        " it can tell which files exist, and draws no plots"
    ),
    "unjailed": (
        "NOTHING: learners' code can read, change and send away all that the user who runs it can"
    ),
}
WEAKER = "or give `--jail landlock`, a weaker jail without namespaces"
APPARMOR = (
    "this system's AppArmor refuses: an administrator can give bwrap a profile with `userns,`,"
    f" {WEAKER}"
)
ADVICE = (  # what bwrap says, and what that means; to tell a teacher, never to decide
    (
        "nesting depth",
        (
            "`user.max_user_namespaces` is 0, or this is a jail already: an administrator can raise"
            f" it, {WEAKER}"
        ),
    ),
    (
        "Resource temporarily unavailable",
        "a limit on processes is set outside the jail: raise it (`ulimit -u`)",
    ),
    (
        "No permissions to create",
        f"this system does not allow user namespaces: an administrator can, {WEAKER}",
    ),
    (
        "reating new namespace",
        (
            "this system does not allow user namespaces, or this is a container whose filter"
            f" refuses them: allow them, mark on another machine, {WEAKER}"
        ),
    ),
    ("uid map", APPARMOR),
    ("RTM_NEWADDR", APPARMOR),
    (
        "cannot be looked into",
        "what is made in the jail cannot be counted here: mark as a user who is not root,"
        f" {WEAKER}",
    ),
    (
        "Can't find source path",
        "a folder that the jail needs is gone or closed to the user it runs as",
    ),
)


class JailError(Exception):
    """No jail can be had here; the text tells a teacher why, and what would do."""


def open_jail(
    kind: str = "bwrap",
    scratch: str | Path | None = None,
    user: str | None = None,
    allowed: Sequence[str] = (),
) -> "Jail":
    """Return a jail on this machine, not yet tested: see `Jail.self_test`.

    Parameters
    ----------
    kind : {"bwrap", "landlock", "unjailed"}
        Namespaces by bubblewrap; the kernel's Landlock, which is weaker; nothing but limits.
    scratch : path, optional
        The folder for copies of packages; the user's cache by default.
    user : str, optional
        Whom root runs learners' code as; "nobody" by default. Only root may name one.
    allowed : sequence of str
        Packages beside the kit's own that learners' code may import.

    Raises
    ------
    JailError
        It cannot be had; says what would do.
    """
    if kind not in KINDS:
        raise ValueError(f"`kind` must be one of {', '.join(KINDS)}; got {kind!r}.")
    if os.name != "posix":
        raise JailError(
            "learners' code cannot be run on Windows itself; in the Windows Subsystem for Linux it"
            " can."
        )
    if kind != "unjailed" and not sys.platform.startswith("linux"):
        raise JailError(
            "a jail can be had on Linux only. Mark in a Linux virtual machine or on a Linux"
            " computer."
        )
    ids = _dropped(user)
    try:
        python = interpreter(ids)
        site = Site(python, scratch, allowed)
        program = _bwrap() if kind == "bwrap" else ()
        jail = Jail(kind, ids, python, site, _filter(kind), program, tuple(allowed))
        jail.about  # noqa: B018 (made now with the layers, not by the first of several workers)
        return jail
    except (SiteError, OSError, ValueError, subprocess.SubprocessError) as error:
        raise JailError(str(error)) from None


def _dropped(user: str | None) -> tuple[int, int] | None:
    """The ids of the user that root runs learners' code as; None for anyone else."""
    if os.geteuid() != 0:
        if user is not None:
            raise JailError("only root can run learners' code as another user.")
        return None
    import pwd  # here, because Windows has none

    try:
        entry = pwd.getpwnam(user or "nobody")
    except KeyError:
        raise JailError(
            f"there is no user {user or 'nobody'!r} to run learners' code as; root must not."
        ) from None
    if entry.pw_uid == 0:
        raise JailError(
            "learners' code must not be run as root: the limit on processes does not bind it."
        )
    return entry.pw_uid, entry.pw_gid


def _filter(kind: str) -> bytes:
    if kind == "unjailed":
        return b""
    return seccomp.program(seccomp.REFUSED_WITHOUT_NAMESPACES if kind == "landlock" else None)


def _bwrap() -> tuple[str, ...]:
    """The program and those of its options that not every version has."""
    try:
        asked = subprocess.run(["bwrap", "--help"], capture_output=True, text=True, timeout=10)
    except FileNotFoundError:
        raise JailError("the program bwrap is missing: install `bubblewrap`.") from None
    if "--size" not in asked.stdout or "--json-status-fd" not in asked.stdout:
        raise JailError(
            "this bubblewrap is too old to limit what is written in the jail; install 0.8 or newer."
        )
    return ("bwrap", *(["--disable-userns"] if "--disable-userns" in asked.stdout else []))


def _version(bwrap: tuple[str, ...]) -> str | None:
    """Version reported by bwrap; None where it is not used."""
    return (
        subprocess.run([*bwrap[:1], "--version"], capture_output=True, text=True).stdout.strip()
        if bwrap
        else None
    )


@dataclass(frozen=True)
class Jail:
    """A way to run learners' code; paths and settings only, so workers may share or copy it.

    Attributes
    ----------
    kind : str
    user : tuple of int or None
        The ids that root drops to.
    python : Interpreter
    site : Site
    filter : bytes
        For the kernel.
    bwrap : tuple of str
    allowed : tuple of str
        The packages beside the kit's own.
    """

    kind: str
    user: tuple[int, int] | None
    python: Interpreter
    site: Site
    filter: bytes
    bwrap: tuple[str, ...]
    allowed: tuple[str, ...] = ()

    @functools.cached_property
    def about(self) -> dict[str, Any]:
        """The facts that are recorded with every mark."""
        files = {
            "driver": (self.site.kit / "driver.py").read_bytes(),
            "filter": self.filter,
            "arguments": (
                json.dumps(self.bwrap and _bwrap_arguments(self, self.layers(), "", "")).encode()
            ),
        }
        return {
            "kind": self.kind,
            "protects": PROTECTS[self.kind],
            "bwrap": _version(self.bwrap),
            "kernel": platform.release(),
            "python": self.python.version,
            "numpy": metadata.version("numpy"),
            "kit": self.site.kit.name,
            **({"allowed": list(self.allowed)} if self.allowed else {}),
            "digests": {name: hashlib.sha256(data).hexdigest() for name, data in files.items()},
        }

    def layers(self, request: Request | None = None) -> dict[str, Path]:
        """The package layers that a submission gets; matplotlib's only where it is spoken of."""
        layers = {"kit": self.site.kit, "numpy": self.site.numpy}
        if request and any(
            word in cell for cell in request.cells for word in ("matplotlib", "pylab", "plots")
        ):
            layers["matplotlib"] = self.site.matplotlib
        if self.allowed:
            layers["allowed"] = self.site.allowed
        return layers

    def run(self, request: Request, seconds: float = 20.0) -> Run:
        """Run one submission; whatever it does is in the `Run`, never an error.

        Where the jail does not start, it is tried once more.

        Parameters
        ----------
        request : Request
        seconds : float
            From start to end.
        """
        ran = self._run(request, seconds)
        return self._run(request, seconds) if ran.end == NOT_STARTED else ran

    def _run(self, request: Request, seconds: float) -> Run:
        layers = self.layers(request)  # made first where they are not: not the learner's time
        begun = time.monotonic()
        with (
            _Process(self, layers, seconds) as process,
            contextlib.closing(Session(process.pipes, begun + seconds, process.files)) as session,
        ):
            result = run_session(session, request)
            end, signal = result.end, process.ended_by() if result.end == STOPPED else None
        if signal == signals.SIGXCPU and time.monotonic() - begun >= seconds / _cores():
            end = TIME  # the signal can be pretended, the time for it cannot
        if end in (FINISHED, STOPPED) and result.ran_out_of_memory():
            end = MEMORY
        about = self.about | {"limits": LIMITS | {"CPU": math.ceil(seconds)}}
        if end == NOT_STARTED:
            about["why"] = advice(session.errors())
        return Run(
            end,
            signal,
            tuple(result.cells),
            {name: got for name, got in result.records.items() if got},
            session.printed(),
            time.monotonic() - begun,
            result.cpu,
            session.bytes_out,
            session.cut,
            about,
        )

    def self_test(self) -> None:
        """Try to get out, before any learner's code is run.

        Raises
        ------
        JailError
            Something got through, or nothing ran; says what.
        """
        tried = [] if self.kind == "unjailed" else list(probes.PROBES)
        modules = [name for package in self.allowed for name in imported(package)]
        with _canary() as canary, socket.create_server(("127.0.0.1", 0)) as listener:
            asked = probes.request(tried, modules, canary, listener.getsockname()[1])
            run = self.run(asked)
        if run.end == NOT_STARTED:
            raise JailError(f"the jail does not start: {run.about['why']}.")
        if run.records.get("twice") != [{"out": 5.0}]:
            raise JailError(
                f"Python does not work in the jail ({run.end}): {run.printed or 'it says nothing'}."
            )
        missing = [name for name in modules if run.records.get(f"has_{name}") != [{"out": True}]]
        if missing:
            raise JailError(f"{', '.join(missing)} cannot be imported in the jail.")
        refused = [{"out": "refused"}]
        got = [
            probe
            for number, probe in enumerate(tried)
            if run.records.get(f"probe_{number}") != refused
        ]
        if got or run.end != FINISHED:
            raise JailError(
                f"the jail does not hold: code inside could {', '.join(got) or run.end}."
            )


def advice(said: str) -> str:
    """The meaning of bwrap's words, and what would do."""
    last = said.strip().rpartition("\n")[2] or "it gives no reason"
    return next((f"{meaning} ({last})" for words, meaning in ADVICE if words in said), last)


def _bwrap_arguments(
    jail: Jail, layers: Mapping[str, Any], status: int | str, program: int | str
) -> list[str]:
    """bwrap's command as far as Python's own; the last two are descriptors."""
    python = jail.python
    command = [*jail.bwrap, *CONFINED.split()]
    for name, value in ENVIRONMENT.items():
        command += ["--setenv", name, value]
    command += _readable(*LIBRARIES)
    for folder in ("/lib", "/lib64"):
        linked = os.path.islink(folder)
        command += ["--symlink", f"usr{folder}", folder] if linked else _readable(folder)
    if python.base != "/usr":
        command += _readable(f"{python.base}/lib")
    command += _readable(python.path)
    installed = ("site-packages", "dist-packages", "/usr/lib/python3/dist-packages")
    for folder in (os.path.join(python.stdlib, name) for name in installed):  # hidden
        if os.path.isdir(folder):
            command += ["--tmpfs", folder, "--remount-ro", folder]
    for name, layer in layers.items():
        command += ["--ro-bind", str(layer), f"/opt/{name}"]
    command += WRITABLE.split()
    return [*command, "--json-status-fd", str(status), "--seccomp", str(program), "--"]


def _readable(*places: str) -> list[str]:
    return [
        part for place in places if os.path.exists(place) for part in ("--ro-bind", place, place)
    ]


class _Process:
    """One submission's process and its pipes; killed and closed at the end of `with`."""

    def __init__(self, jail: Jail, layers: Mapping[str, Any], seconds: float) -> None:
        with contextlib.ExitStack() as theirs:  # the ends that only the process needs
            self._open = contextlib.ExitStack()
            try:
                self._start(jail, layers, seconds, theirs)
            except BaseException:
                self._open.close()
                raise

    def _start(
        self, jail: Jail, layers: Mapping[str, Any], seconds: float, theirs: contextlib.ExitStack
    ) -> None:
        request_end, request = self._pipe(theirs, reads=True)
        result_end, result = self._pipe(theirs)
        status_end, self._status = self._pipe(theirs)
        inside, command, environment, folder = [request_end, result_end], [], ENVIRONMENT, "/"
        self._confined = jail.kind == "bwrap"
        if jail.kind == "bwrap":
            program = _held(jail.filter, theirs)
            inside += [status_end, program]
            command = _bwrap_arguments(jail, layers, status_end, program)
            layers, environment = {name: f"/opt/{name}" for name in layers}, {}
        elif jail.kind == "unjailed":
            folder = self._open.enter_context(_folder(jail.user))
            own = {"HOME": folder, "TMPDIR": folder, "MPLCONFIGDIR": f"{folder}/fonts"}
            environment = ENVIRONMENT | own
        python = [jail.python.path, *PYTHON_FLAGS, f"{layers['kit']}/driver.py"]
        setup = json.dumps(_setup(jail, layers, seconds))
        self._popen = subprocess.Popen(
            [*command, *python, str(request_end), str(result_end), setup],
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            pass_fds=inside,
            env=environment,
            cwd=folder,
            start_new_session=True,
            **run_as(jail.user),
        )
        printed, errors = filter(None, (self._popen.stdout, self._popen.stderr))  # both are pipes
        self._open.callback(printed.close)
        self._open.callback(errors.close)
        self.pipes = Pipes(request, result, printed.fileno(), errors.fileno())

    def _pipe(self, theirs: contextlib.ExitStack, reads: bool = False) -> tuple[int, int]:
        """(the process's end, ours) of a new pipe."""
        ends = os.pipe()
        there, here = ends if reads else reversed(ends)
        theirs.callback(os.close, there)
        self._open.callback(os.close, here)
        return there, here

    def __enter__(self) -> "_Process":
        return self

    def __exit__(self, *_: object) -> None:
        # The group, because bwrap's child is not tied to it from the first moment on. Only a marker
        # that is itself killed in that millisecond leaves the child behind: asleep for good, before
        # it has started Python.
        gone = ProcessLookupError, PermissionError  # the second is macOS's word for it
        with contextlib.suppress(*gone):
            os.killpg(self._popen.pid, signals.SIGKILL)
        self._popen.wait()
        self._open.close()

    def files(self) -> int:
        """The number of files, folders and links that it has, where it may make any.

        Raises
        ------
        OSError
            They cannot be counted.
        """
        return sum(map(_count, self._folders))

    @functools.cached_property
    def _folders(self) -> tuple[int, ...]:
        """Descriptors of the folders that can be written to inside, there once it has spoken."""
        if not self._confined:
            return ()
        said = json.loads(os.read(self._status, 4096).partition(b"\n")[0] or b"{}")
        found = []
        for folder in FOLDERS:
            place = f"/proc/{said.get('child-pid', 'self/none')}/root/{folder}"
            found.append(os.open(place, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC))
            self._open.callback(os.close, found[-1])
        if not all(map(_count, found)):  # each holds itself at least
            raise OSError(errno.ENOTSUP, os.strerror(errno.ENOTSUP))
        return tuple(found)

    def ended_by(self) -> int | None:
        """The signal that ended the process, as far as can be told; None without one."""
        try:
            status = self._popen.wait(1.0)
        except subprocess.TimeoutExpired:
            return None
        os.set_blocking(self._status, False)
        with contextlib.suppress(OSError, ValueError):  # bwrap's word, if it was not ended itself
            for line in os.read(self._status, 4096).splitlines():
                match json.loads(line):
                    case {"exit-code": int(code)} if status >= 0:
                        status = 128 - code
        return -status if status < 0 else None


def _count(folder: int) -> int:
    """The number of files, folders and links in the file system of a folder, a descriptor."""
    status = os.fstatvfs(folder)
    return status.f_files - status.f_ffree


def _setup(jail: Jail, layers: Mapping[str, Any], seconds: float) -> dict[str, Any]:
    """The settings of `driver`."""
    places, landlock = [str(layer) for layer in layers.values()], None
    if jail.kind == "landlock":
        devices = ("/dev/null", "/dev/urandom")
        readable = (*LIBRARIES, *places, jail.python.stdlib, "/lib", "/lib64", *devices)
        there = list(filter(os.path.exists, readable))
        landlock = {"readable": there, "program": jail.filter.hex()}
    return {
        "limits": _limits(jail.kind, seconds, jail.user),
        "paths": places,
        "landlock": landlock,
        "fonts": f"{layers['matplotlib']}/fonts" if "matplotlib" in layers else None,
    }


def _threads_of(user: int) -> int:
    """The number of threads that a user has on this machine now."""
    count = 0
    for process in Path("/proc").glob("[0-9]*"):
        with contextlib.suppress(OSError):  # it has ended
            count += len(os.listdir(process / "task")) if process.stat().st_uid == user else 0
    return count


def _limits(kind: str, seconds: float, user: tuple[int, int] | None) -> dict[str, tuple[int, int]]:
    """Each limit as (soft, hard).

    That on processes counts all of a user's, unless in a namespace of its own: by Landlock there
    may be so many more than there are.
    """
    limits = {
        name: (most, most) for name, most in LIMITS.items() if name != "NPROC" or kind == "bwrap"
    }
    if kind == "landlock" and "NPROC" in LIMITS:
        most = LIMITS["NPROC"] + _threads_of(os.geteuid() if user is None else user[0])
        limits["NPROC"] = most, most
    return limits | {"CPU": (math.ceil(seconds), math.ceil(seconds) + 1)}


def _cores() -> int:
    """The number of cores that threads could use up time on at once."""
    return os.cpu_count() or 1


def _held(data: bytes, stack: contextlib.ExitStack) -> int:
    """A descriptor to read `data` from, held in memory."""
    file = os.memfd_create("held")
    stack.callback(os.close, file)
    with open(file, "wb", closefd=False) as writing:
        writing.write(data)
    os.lseek(file, 0, os.SEEK_SET)
    return file


@contextlib.contextmanager
def _folder(user: tuple[int, int] | None) -> Iterator[str]:
    """A folder for one run, the user's own."""
    with scratches.folder() as folder:
        if user is not None:
            os.chown(folder, *user)
        yield folder


@contextlib.contextmanager
def _canary() -> Iterator[str]:
    """The path of a file that anybody may read and change."""
    with scratches.folder() as folder:
        os.chmod(folder, 0o755)
        canary = Path(folder, "canary")
        canary.write_text("sings")
        canary.chmod(0o666)
        yield str(canary)
