"""Inside a process that has no namespaces: give up, for good, all but reading a few folders.

By the kernel's Landlock and the system-call filter. Standard library only; the driver calls it
before it reads a line.
"""

import ctypes
import os
import signal
import struct

CREATE_RULESET, ADD_RULE, RESTRICT_SELF = 444, 445, 446  # system calls, the same on both machines
READ_FILE, READ_DIR = 1 << 2, 1 << 3
OLDEST = 3  # before it, files could be cut to nothing (Linux 6.2)
SET_PDEATHSIG, SET_SECCOMP, SET_NO_NEW_PRIVS = 1, 22, 38


def confine(readable, program):
    """Confine this process from here on.

    It can read only what is in `readable`, write nothing, and call only what `program` allows; it
    ends with its parent.

    Parameters
    ----------
    readable : list of str
    program : str
        The bytes of `rigkit.marking.seccomp.program`, as hexadecimal digits.

    Raises
    ------
    OSError
        The kernel has no Landlock, an old one, or refuses.
    """
    libc = ctypes.CDLL(None, use_errno=True)

    def ask(call, *values):
        result = getattr(libc, call)(
            *[ctypes.c_long(v) if isinstance(v, int) else v for v in values]
        )
        if result < 0:
            raise OSError(ctypes.get_errno(), f"{call}: {os.strerror(ctypes.get_errno())}")
        return result

    ask("prctl", SET_PDEATHSIG, int(signal.SIGKILL), 0, 0, 0)
    ask("prctl", SET_NO_NEW_PRIVS, 1, 0, 0, 0)
    version = ask("syscall", CREATE_RULESET, 0, 0, 1)
    if version < OLDEST:
        raise OSError(f"this kernel's Landlock is of version {version}; {OLDEST} is needed")
    rights = (1 << (15 if version < 5 else 16)) - 1
    # then TCP, from version 4; signals and abstract sockets, from version 6
    attributes = struct.pack("<QQQ", rights, 3, 3)[
        : 8 if version < 4 else 16 if version < 6 else 24
    ]
    rules = ask("syscall", CREATE_RULESET, attributes, len(attributes), 0)
    for place in readable:
        folder = os.open(place, os.O_PATH | os.O_CLOEXEC)
        allowed = READ_FILE | READ_DIR if os.path.isdir(place) else READ_FILE
        ask("syscall", ADD_RULE, rules, 1, struct.pack("<Qi", allowed, folder), 0)
        os.close(folder)
    ask("syscall", RESTRICT_SELF, rules, 0)
    os.close(rules)
    steps = ctypes.create_string_buffer(bytes.fromhex(program))
    ask(
        "prctl",
        SET_SECCOMP,
        2,
        struct.pack("@HP", len(program) // 16, ctypes.addressof(steps)),
        0,
        0,
    )
