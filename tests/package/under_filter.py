#!/usr/bin/env python3
"""Runs a command under a filter of system calls, as systemd does with SystemCallFilter= and
SystemCallErrorNumber=EPERM: what is not allowed fails with EPERM (seccomp(2), by libseccomp).

    under_filter.py FILE COMMAND [ARGUMENT…]      FILE: the allowed names, one a line
"""
import ctypes
import errno
import os
import sys

ERRNO_EPERM, ALLOW = 0x00050000 | errno.EPERM, 0x7FFF0000  # seccomp.h of libseccomp


def main():
    with open(sys.argv[1], encoding="utf-8") as file:
        names = file.read().split()
    library = ctypes.CDLL("libseccomp.so.2", use_errno=True)
    library.seccomp_init.restype = ctypes.c_void_p
    library.seccomp_init.argtypes = [ctypes.c_uint32]
    library.seccomp_rule_add.argtypes = [ctypes.c_void_p, ctypes.c_uint32, ctypes.c_int,
                                         ctypes.c_uint]
    library.seccomp_load.argtypes = [ctypes.c_void_p]
    # It sets "no new privileges" too, as the unit does.
    context = library.seccomp_init(ERRNO_EPERM)
    for name in names:
        number = library.seccomp_syscall_resolve_name(name.encode())
        # Negative: a call that this architecture does not have.
        if number >= 0 and library.seccomp_rule_add(context, ALLOW, number, 0) != 0:
            sys.exit(f"under_filter: no rule for {name}")
    if library.seccomp_load(context) != 0:
        sys.exit("under_filter: the filter could not be loaded")
    os.execvp(sys.argv[2], sys.argv[2:])


main()
