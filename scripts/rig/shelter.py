"""A place of its own for one run: process, mount and network namespaces that the kernel removes with the run.

Every program of the run lives in a process namespace whose first process is the run itself. However that one ends, also by
SIGKILL or because its parent was killed, the kernel kills all the others, and with them go the namespaces, the interfaces
in them and the temporary files. Names inside are seen by nobody else, so any number of runs may be at work at once.
"""

from __future__ import annotations

import ctypes
import os
import signal
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from types import FrameType

NEW_MOUNTS, NEW_NET, NEW_PIDS, NEW_IPC = 0x00020000, 0x40000000, 0x20000000, 0x08000000
"""CLONE_NEW* of the kernel's sched.h."""
DIE_WITH_PARENT = 1
"""PR_SET_PDEATHSIG of prctl.h."""
RUN = Path("/run/rig")
"""Files of this run, in memory; seen from inside only."""

libc = ctypes.CDLL(None, use_errno=True)


def run_sheltered(work: Callable[[], int]) -> int:
    """Run ``work`` in a shelter of its own; its exit code. Needs root and Linux."""
    _checked(libc.unshare(NEW_PIDS))
    outside = os.getpid()
    child = os.fork()
    if child == 0:
        libc.prctl(DIE_WITH_PARENT, signal.SIGKILL)
        if not Path(f"/proc/{outside}").exists():
            os._exit(1)
        os._exit(_inside(work))
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
        signal.signal(number, lambda *_: os.kill(child, signal.SIGTERM))
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _inside(work: Callable[[], int]) -> int:
    """Exit code of ``work``, run as the first process of the new namespaces."""
    signal.signal(signal.SIGTERM, _stop)
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        _furnish()
        code = work()
    except SystemExit as stop:
        if isinstance(stop.code, str):
            print(stop.code, file=sys.stderr)
        code = stop.code if isinstance(stop.code, int) else 1
    sys.stdout.flush()
    sys.stderr.flush()
    return code


def _stop(number: int, frame: FrameType | None) -> None:
    raise SystemExit(128 + number)


def _furnish() -> None:
    """Own mounts: /proc, an empty /run, and nothing of this machine's settings that a DHCP client could rewrite."""
    _checked(libc.unshare(NEW_MOUNTS | NEW_NET | NEW_IPC))
    _mount("--make-rprivate", "/")
    _mount("-t", "proc", "proc", "/proc")
    _mount("-t", "tmpfs", "tmpfs", "/run")
    RUN.mkdir()
    empty = RUN / "resolv.conf"
    empty.touch()
    _mount("--bind", str(empty), "/etc/resolv.conf")
    for folder in ("/var/lib/dhcp", "/var/lib/dhcpcd", "/var/lib/avahi-autoipd", "/etc/openvswitch"):
        if Path(folder).is_dir():
            _mount("-t", "tmpfs", "tmpfs", folder)


def _mount(*words: str) -> None:
    subprocess.run(["mount", *words], check=True)


def _checked(result: int) -> None:
    if result != 0:
        number = ctypes.get_errno()
        raise OSError(number, os.strerror(number))
