"""May we listen, how to be given that right once, and how to give all rights up for good."""

from __future__ import annotations

import ctypes
import os
import shlex
import socket
import struct
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

_PR_CAPBSET_DROP, _PR_SET_NO_NEW_PRIVS, _PR_CAP_AMBIENT, _PR_CAP_AMBIENT_CLEAR_ALL = 24, 38, 47, 4
_CAPABILITY_VERSION_3 = 0x20080522


@dataclass(frozen=True, slots=True)
class Caller:
    """The person on whose behalf sudo or pkexec started us as root."""

    uid: int
    gid: int
    groups: tuple[int, ...]
    name: str = ""
    home: str = ""


def caller(environment: Mapping[str, str] = os.environ) -> Caller | None:
    """Who called, None when we are not root or root called."""
    if sys.platform == "win32" or os.geteuid() != 0:
        return None
    import pwd

    told = environment.get("SUDO_UID") or environment.get("PKEXEC_UID") or ""
    uid = _number(told)
    if not uid:
        return None
    try:
        entry = pwd.getpwuid(uid)
    except KeyError:
        return Caller(uid, _number(environment.get("SUDO_GID", "")) or uid, ())
    return Caller(uid, entry.pw_gid, tuple(os.getgrouplist(entry.pw_name, entry.pw_gid)), entry.pw_name, entry.pw_dir)


def _number(text: str) -> int:
    """A user or group number; 0 for anything else."""
    return int(text) if text.isascii() and text.isdigit() and int(text) < 2**32 - 1 else 0


def drop() -> None:
    """Become the calling user without any rights, for good; root without one keeps its uid but no capability.

    Call it in the main thread once all is imported and opened: Linux keeps capabilities for each thread.
    """
    if sys.platform == "win32":
        return
    who = caller()
    if sys.platform.startswith("linux"):
        _drop_bounds()
    if who is not None:
        os.setgroups(who.groups)
        os.setresgid(who.gid, who.gid, who.gid) if hasattr(os, "setresgid") else os.setgid(who.gid)
        os.setresuid(who.uid, who.uid, who.uid) if hasattr(os, "setresuid") else os.setuid(who.uid)
        if who.home:
            os.environ.update(HOME=who.home, USER=who.name, LOGNAME=who.name)
    if sys.platform.startswith("linux"):
        _drop_capabilities()


def _drop_bounds() -> None:
    """Capabilities that a program started from here could get; takes the right to do so, so it comes first."""
    last = int(Path("/proc/sys/kernel/cap_last_cap").read_text())
    for capability in range(last + 1):
        _libc().prctl(_PR_CAPBSET_DROP, capability, 0, 0, 0)  # fails without the right, and then there is nothing to gain


def _drop_capabilities() -> None:
    libc = _libc()
    libc.prctl(_PR_CAP_AMBIENT, _PR_CAP_AMBIENT_CLEAR_ALL, 0, 0, 0)
    header = ctypes.create_string_buffer(struct.pack("Ii", _CAPABILITY_VERSION_3, 0))
    for result in (libc.capset(header, bytes(24)), libc.prctl(_PR_SET_NO_NEW_PRIVS, 1, 0, 0, 0)):
        if result != 0:
            raise OSError(ctypes.get_errno(), "rights could not be given up: " + os.strerror(ctypes.get_errno()))


def _libc() -> ctypes.CDLL:
    libc = ctypes.CDLL(None, use_errno=True)
    libc.prctl.argtypes = [ctypes.c_int] + [ctypes.c_ulong] * 4
    return libc


def cannot_listen() -> str | None:
    """One sentence when frames can't be read: why, and how to be given the right once. None = they can."""
    if sys.platform.startswith("linux"):
        try:
            socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0).close()
        except OSError:
            return how()
        return None
    if sys.platform == "win32":
        driver = Path(os.environ.get("SYSTEMROOT", r"C:\Windows"), "System32", "Npcap", "wpcap.dll")
        return None if driver.exists() else how()
    devices = sorted(Path("/dev").glob("bpf*"))
    return None if any(os.access(device, os.R_OK) for device in devices) else how()


START = Path(sys.prefix).parent / "scripts" / "start.py"
"""Where netwatch runs from a clone, this script gives the right."""


def how(
    platform: str = sys.platform, python: str = sys.executable, own: bool = sys.prefix != sys.base_prefix, start: Path = START
) -> str:
    """One sentence: how to be given the right to read frames, once. ``own``: this Python is that of an environment."""
    if platform == "win32":
        return ("No driver for reading frames was found: install Npcap once "
                "and leave its box 'restrict to administrators' empty.")
    if platform == "darwin":
        return ("This user may not read frames: allow it until the next restart with "
                f"'sudo chown {shlex.quote(os.environ.get('USER', 'you'))} /dev/bpf*', or start this with sudo.")
    if own and start.exists():
        return ("This user may not read frames: give it the right once with 'python3 scripts/start.py --rights' in "
                f"{shlex.quote(str(start.parent.parent))}, or start this with sudo.")
    if not own or os.path.islink(python):  # the right would go to every program in Python
        return "This user may not read frames: start this with sudo; it opens its sockets, then gives all rights up for good."
    return ("This user may not read frames: allow it to this Python for good with "
            f"'sudo setcap cap_net_raw=ep {shlex.quote(python)}', or start this with sudo.")
