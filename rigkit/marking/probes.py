"""The ways out that a jail must refuse, each tried before the first submission."""

from collections.abc import Sequence

from rigkit.marking.calls import Call, Request

__all__ = ["PROBES", "request"]

# Code that gets through without a jail, and raises OSError, MemoryError or RuntimeError in one. In
# `asked` it gets through where the kernel does anything but refuse the call itself: so it tells
# whether the filter has that line, whatever else would have stood in the way.
PROBES = {
    "read a file outside": "open({canary!r}).read()",
    "write a file outside": "open({canary!r}, 'a').write('changed')",
    "write to the root folder": "open('/probe', 'w').write('made')",
    "reach the network": "import socket; socket.create_connection(('127.0.0.1', {port}), 1)",
    "start a process": "os.fork() or os._exit(0)",
    "take 2 GiB of memory": "bytes(2**31)",
    "start 200 threads": (
        "import _thread, time; _thread.stack_size(65536);"
        " [_thread.start_new_thread(time.sleep, (5,)) for _ in range(200)]"
    ),
    "lock a file that others read": "asked(fcntl.flock, library, fcntl.LOCK_SH)",
    "ask for a lease": "asked(fcntl.fcntl, library, fcntl.F_SETLEASE, fcntl.F_RDLCK)",
    "watch a folder": "asked(fcntl.fcntl, pipe, fcntl.F_NOTIFY, fcntl.DN_ACCESS)",
    "say whom a file sends signals": "asked(fcntl.fcntl, pipe, fcntl.F_SETOWN, 0)",
    "say which thread a file sends signals": "asked(fcntl.fcntl, pipe, F_SETOWN_EX, bytes(8))",
    "choose the signal that a file sends": "asked(fcntl.fcntl, pipe, fcntl.F_SETSIG, 0)",
    "have a file send signals": "asked(fcntl.fcntl, pipe, fcntl.F_SETFL, os.O_ASYNC)",
    "have a device send signals": "asked(fcntl.ioctl, pipe, FIOASYNC, bytes(4))",
    "say whom a device sends signals": "asked(fcntl.ioctl, pipe, FIOSETOWN, bytes(4))",
    "say whom a socket sends signals": "asked(fcntl.ioctl, pipe, SIOCSPGRP, bytes(4))",
}
# Numbers that Python has no names for. Source: include/uapi/asm-generic/fcntl.h, ioctls.h and
# sockios.h of Linux.
TOOLS = """
import errno, fcntl, os

F_SETOWN_EX, FIOASYNC, FIOSETOWN, SIOCSPGRP = 15, 0x5452, 0x8901, 0x8902
library, (pipe, _) = open(os.__file__), os.pipe()


def asked(call, *values):
    try:
        call(*values)
    except OSError as error:
        if error.errno == errno.EPERM:
            raise
"""


def request(tried: Sequence[str], modules: Sequence[str], canary: str, port: int) -> Request:
    """Return a request that tries to get out in some ways, and to work with some modules.

    Parameters
    ----------
    tried : sequence of str
        Of `PROBES`.
    modules : sequence of str
    canary : str
        The path of a file outside that anybody may read and change.
    port : int
        That listens outside.

    Returns
    -------
    Request
        For the value `probe_0`, "open" or "refused", of the first way and so on; `has_NAME` of each
        module; and the function `twice`.
    """
    cells = [
        f"try:\n    {PROBES[way].format(canary=canary, port=port)}\n    probe_{number} = 'open'\n"
        f"except (OSError, MemoryError, RuntimeError):\n    probe_{number} = 'refused'"
        for number, way in enumerate(tried)
    ]
    found = [
        f"import {name} as found\nhas_{name} = found.__name__ == {name!r}\ndel found"
        for name in modules
    ]
    calls = [Call(f"probe_{number}", "value", []) for number in range(len(tried))]
    calls += [Call(f"has_{name}", "value", []) for name in modules]
    twice = Call("twice", "function", [{"x": 2.5}])
    works = "def twice(x):\n    return 2 * x"
    return Request((TOOLS, *found, *cells, works), (*calls, twice), {})
