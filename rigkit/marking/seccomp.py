"""The system-call filter of the jail: what namespaces leave open, refused by the kernel.

A table of calls and a few lines that pack it for the kernel. Everything not in the table stays
allowed. A refused call fails with "operation not permitted"; another architecture's calls kill the
process.
"""

import platform
import struct
from collections.abc import Iterable

Table = dict[str, tuple[int | None, int | None]]

# Linux system call numbers: x86-64, AArch64; None where a machine has no such call.
# Source: arch/x86/entry/syscalls/syscall_64.tbl and include/uapi/asm-generic/unistd.h of Linux.
REFUSED: Table = {
    # another process; `clone` is let through for threads only, see `program`
    "fork": (57, None),
    "vfork": (58, None),
    # the network namespace does not stop vsock, netlink and kernel crypto sockets; `socketpair`
    # stays
    "socket": (41, 198),
    # memory past the limit of the address space
    "shmget": (29, 194),
    "shmat": (30, 196),
    "shmctl": (31, 195),
    "memfd_create": (319, 279),
    "memfd_secret": (447, 447),
    # messages and semaphores
    "msgget": (68, 186),
    "msgsnd": (69, 189),
    "msgrcv": (70, 188),
    "msgctl": (71, 187),
    "semget": (64, 190),
    "semop": (65, 193),
    "semctl": (66, 191),
    "semtimedop": (220, 192),
    "mq_open": (240, 180),
    "mq_unlink": (241, 181),
    # other processes
    "ptrace": (101, 117),
    "process_vm_readv": (310, 270),
    "process_vm_writev": (311, 271),
    "kcmp": (312, 272),
    "pidfd_open": (434, 434),
    "pidfd_getfd": (438, 438),
    "process_madvise": (440, 440),
    "process_mrelease": (448, 448),
    # ways past a filter, and large doors into the kernel
    "io_uring_setup": (425, 425),
    "io_uring_enter": (426, 426),
    "io_uring_register": (427, 427),
    "userfaultfd": (323, 282),
    "bpf": (321, 280),
    "perf_event_open": (298, 241),
    "add_key": (248, 217),
    "request_key": (249, 218),
    "keyctl": (250, 219),
    "vmsplice": (278, 75),
    "personality": (135, 92),
    "modify_ldt": (154, None),
    "iopl": (172, None),
    "ioperm": (173, None),
    "uselib": (134, None),
    "lookup_dcookie": (212, 18),
    # namespaces and mounts
    "unshare": (272, 97),
    "setns": (308, 268),
    "mount": (165, 40),
    "umount2": (166, 39),
    "pivot_root": (155, 41),
    "chroot": (161, 51),
    "open_tree": (428, 428),
    "move_mount": (429, 429),
    "fsopen": (430, 430),
    "fsconfig": (431, 431),
    "fsmount": (432, 432),
    "fspick": (433, 433),
    "mount_setattr": (442, 442),
    "open_tree_attr": (467, 467),
    # files by handle, locking what others read, and watching files
    "flock": (73, 32),
    "name_to_handle_at": (303, 264),
    "open_by_handle_at": (304, 265),
    "inotify_init": (253, None),
    "inotify_init1": (294, 26),
    "fanotify_init": (300, 262),
    "fanotify_mark": (301, 263),
    # the machine's own affairs
    "init_module": (175, 105),
    "finit_module": (313, 273),
    "delete_module": (176, 106),
    "kexec_load": (246, 104),
    "kexec_file_load": (320, 294),
    "reboot": (169, 142),
    "swapon": (167, 224),
    "swapoff": (168, 225),
    "acct": (163, 89),
    "quotactl": (179, 60),
    "quotactl_fd": (443, 443),
    "syslog": (103, 116),
    "settimeofday": (164, 170),
    "clock_settime": (227, 112),
    "clock_adjtime": (305, 266),
    "adjtimex": (159, 171),
    "sethostname": (170, 161),
    "setdomainname": (171, 162),
    "vhangup": (153, 58),
    "move_pages": (279, 239),
    "migrate_pages": (256, 238),
}

# More to refuse where the process keeps its user among the machine's files and processes. Landlock
# covers none of it.
REFUSED_WITHOUT_NAMESPACES: Table = {
    # other programs; sockets with a name (a pair's ends can send to them)
    "execve": (59, 221),
    "execveat": (322, 281),
    "socketpair": (53, 199),
    # signals to other processes, their limits and their share of the machine
    "kill": (62, 129),
    "tkill": (200, 130),
    "tgkill": (234, 131),
    "pidfd_send_signal": (424, 424),
    "rt_sigqueueinfo": (129, 138),
    "rt_tgsigqueueinfo": (297, 240),
    "prlimit64": (302, 261),
    "setpriority": (141, 140),
    "ioprio_set": (251, 30),
    "sched_setaffinity": (203, 122),
    "sched_setparam": (142, 118),
    "sched_setscheduler": (144, 119),
    "sched_setattr": (314, 274),
    # modes, owners, times and attributes of files
    "chmod": (90, None),
    "fchmod": (91, 52),
    "fchmodat": (268, 53),
    "fchmodat2": (452, 452),
    "chown": (92, None),
    "fchown": (93, 55),
    "lchown": (94, None),
    "fchownat": (260, 54),
    "utime": (132, None),
    "utimes": (235, None),
    "utimensat": (280, 88),
    "futimesat": (261, None),
    "setxattr": (188, 5),
    "lsetxattr": (189, 6),
    "fsetxattr": (190, 7),
    "setxattrat": (463, 463),
    "removexattr": (197, 14),
    "lremovexattr": (198, 15),
    "fremovexattr": (199, 16),
    "removexattrat": (466, 466),
    "file_setattr": (469, 469),
}

# Values of an argument to refuse: a lease makes others wait, the rest has signals sent. A call, its
# numbers, the argument's place, the values.
# Source: include/uapi/asm-generic/fcntl.h, include/uapi/linux/fcntl.h, include/uapi/asm-generic
# ioctls.h and sockios.h of Linux.
F_SETFL, O_ASYNC = 4, 0x2000
REFUSED_VALUES = {
    "fcntl": ((72, 25), (8, 10, 15, 1024, 1026)),  # F_SETOWN, SETSIG, SETOWN_EX, SETLEASE, NOTIFY
    "ioctl": ((16, 29), (0x5452, 0x8901, 0x8902)),  # FIOASYNC, FIOSETOWN, SIOCSPGRP
}

MACHINES = {  # column of the table, the kernel's name for it, clone, clone3
    "x86_64": (0, 0xC000003E, 56, 435),
    "aarch64": (1, 0xC00000B7, 220, 435),
}

_LOAD, _EQUAL, _AT_LEAST, _ANY_BIT, _RETURN = 0x20, 0x15, 0x35, 0x45, 0x06  # classic BPF
# places in struct seccomp_data; both machines are little-endian
_NUMBER, _ARCHITECTURE, _FIRST_ARGUMENT, _SECOND_ARGUMENT, _THIRD_ARGUMENT = 0, 4, 16, 24, 32
_ALLOW, _KILL, _ERROR = 0x7FFF0000, 0x80000000, 0x00050000
_EPERM, _ENOSYS = 1, 38
_CLONE_THREAD = 0x00010000
_X32 = 0x40000000


def program(more: Table | None = None, machine: str | None = None) -> bytes:
    """The filter as bytes, an array of `struct sock_filter`.

    Parameters
    ----------
    more : dict, optional
        Further calls to refuse, such as `REFUSED_WITHOUT_NAMESPACES`.
    machine : str, optional
        "x86_64" or "aarch64"; this machine by default.

    Raises
    ------
    ValueError
        No table for this machine.
    """
    machine = machine or platform.machine()
    if machine not in MACHINES:
        raise ValueError(f"`machine` must be one of {', '.join(MACHINES)}; got {machine!r}.")
    column, architecture, clone, clone3 = MACHINES[machine]
    calls = (REFUSED | (more or {})).values()
    numbers = [number for call in calls if (number := call[column]) is not None]
    steps = [
        (_LOAD, 0, 0, _ARCHITECTURE),
        (_EQUAL, 1, 0, architecture),
        _result(_KILL),
        (_LOAD, 0, 0, _NUMBER),
    ]
    if machine == "x86_64":
        steps += [(_AT_LEAST, 0, 1, _X32), _result(_KILL)]
    steps += [(_EQUAL, 0, 1, clone3), _result(_ERROR | _ENOSYS)]  # libc then falls back to clone
    for number in numbers:
        steps += [(_EQUAL, 0, 1, number), _result(_ERROR | _EPERM)]
    for call, (calls_numbers, values) in REFUSED_VALUES.items():
        block = _by_values(values, flags=call == "fcntl")
        steps += [(_EQUAL, 0, len(block), calls_numbers[column]), *block]
    steps += [
        (_EQUAL, 0, 3, clone),
        (_LOAD, 0, 0, _FIRST_ARGUMENT),
        (_ANY_BIT, 1, 0, _CLONE_THREAD),
        _result(_ERROR | _EPERM),
        _result(_ALLOW),
    ]
    return b"".join(struct.pack("<HBBI", *step) for step in steps)


def _by_values(values: Iterable[int], flags: bool) -> list[tuple[int, int, int, int]]:
    """The steps that refuse a call for values of its second argument, and else allow it.

    With `flags` also for setting that flag of a file by which signals are sent.
    """
    steps = [(_LOAD, 0, 0, _SECOND_ARGUMENT)]
    for value in values:
        steps += [(_EQUAL, 0, 1, value), _result(_ERROR | _EPERM)]
    if flags:
        steps += [
            (_EQUAL, 0, 3, F_SETFL),
            (_LOAD, 0, 0, _THIRD_ARGUMENT),
            (_ANY_BIT, 0, 1, O_ASYNC),
            _result(_ERROR | _EPERM),
        ]
    return [*steps, _result(_ALLOW)]


def _result(value: int) -> tuple[int, int, int, int]:
    return (_RETURN, 0, 0, value)
