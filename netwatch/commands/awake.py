"""Keeps the laptop awake while it watches, where the system offers that, and tells of its battery."""

from __future__ import annotations

import ctypes
import os
import subprocess
import sys
import time
from collections.abc import Callable, Mapping
from typing import Any

import psutil

from ..words import awake as words

if sys.platform.startswith("linux"):
    try:  # now, while rights are not given up yet; the package may be younger than the environment
        from jeepney import AuthenticationError, DBusAddress, DBusErrorResponse, FDNegotiationError, new_method_call
        from jeepney.io.blocking import open_dbus_connection
        from jeepney.wrappers import unwrap_msg
    except ImportError:
        open_dbus_connection = None

LOGIN_BUS, LOGIN_PATH = "org.freedesktop.login1", "/org/freedesktop/login1"
PATIENCE_S = 5.0
"""For an answer of the login manager."""
LOOK_EVERY_S = 30.0
RENEW_S, RENEW_PERCENT = 300.0, 5.0
"""Steps in which what is left is told."""
_SYSTEM_REQUIRED, _CONTINUOUS = 0x1, 0x80000000
"""ES_... of SetThreadExecutionState (learn.microsoft.com, winbase.h), from memory."""

Release = Callable[[], None]


class NoWay(Exception):
    """Why this laptop can't be kept awake, as a part of a sentence."""


class Awake:
    """From its making until ``close``. Nothing here ends a watch: what can't be done is told."""

    def __init__(self, platform: str = sys.platform) -> None:
        """Call it once rights are given up: the system asks who we are."""
        self._release: Release | None = None
        self.problem: str | None = None
        """Why it can't be kept awake, as a part of a sentence."""
        self.told = words.KEPT
        """One line: that it is kept awake, or why not, and what can't be prevented."""
        way = {"darwin": _caffeinate, "win32": _windows}.get(platform, _inhibit)
        try:
            self._release = way()
        except NoWay as error:
            self.problem = str(error)
            self.told = words.not_kept(self.problem)

    def close(self) -> None:
        """It may sleep again."""
        release, self._release = self._release, None
        if release is not None:
            release()


def _inhibit() -> Release:
    """The login manager's inhibitor: it holds as long as a file is open, so also a killed watch lets the laptop sleep again."""
    if open_dbus_connection is None:
        raise NoWay("the package 'jeepney' is missing in this Python")
    login = DBusAddress(LOGIN_PATH, LOGIN_BUS, f"{LOGIN_BUS}.Manager")
    call = new_method_call(login, "Inhibit", "ssss", ("sleep:idle", "netwatch", words.WHY, "block"))
    try:
        with open_dbus_connection("SYSTEM", enable_fds=True, auth_timeout=PATIENCE_S) as bus:
            (handle,) = unwrap_msg(bus.send_and_get_reply(call, timeout=PATIENCE_S))
    except DBusErrorResponse as error:
        raise NoWay(f"the login manager refuses: {error.name.rpartition('.')[2]}") from None
    except (OSError, RuntimeError, ValueError, EOFError, AuthenticationError, FDNegotiationError):
        raise NoWay("no login manager answers") from None
    release: Release = handle.close
    return release


def _caffeinate() -> Release:
    """macOS: a program of the system that ends with us (man caffeinate, from memory)."""
    try:
        child = subprocess.Popen(
            ["/usr/bin/caffeinate", "-i", "-s", "-w", str(os.getpid())],
            stdin=subprocess.DEVNULL, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
    except OSError:
        raise NoWay("'caffeinate' can't be started") from None

    def release() -> None:
        child.terminate()
        child.wait()

    return release


def _windows() -> Release:
    """Windows keeps this for the thread that asks, so it has to be the main one."""
    kernel = getattr(ctypes, "windll").kernel32  # noqa: B009 - only Windows has it
    kernel.SetThreadExecutionState.argtypes = [ctypes.c_uint]
    kernel.SetThreadExecutionState.restype = ctypes.c_uint
    if not kernel.SetThreadExecutionState(_CONTINUOUS | _SYSTEM_REQUIRED):
        raise NoWay("the system refuses")
    return lambda: kernel.SetThreadExecutionState(_CONTINUOUS)


class Power:
    """Looks at the battery now and then; what is news goes into the input as facts."""

    def __init__(self, say: Callable[[Mapping[str, Any]], None], low_s: float) -> None:
        """``low_s`` = from so little left on it is told once more."""
        self._say, self._low = say, low_s
        self._due = 0.0
        self._step: tuple[str, int] | None = None
        """What was told last, in coarse steps; None = not on battery."""
        self._warned = False

    def look(self) -> None:
        """'power' is what stands above every view; 'laptop' a line of what happened: from mains, low, and back."""
        if time.monotonic() < self._due:
            return
        self._due = time.monotonic() + LOOK_EVERY_S
        told = _battery()
        if told is None:
            if self._step is not None:
                self._step, self._warned = None, False
                self._say({"power": "", "laptop": words.MAINS})
            return
        percent, left = told
        step = ("%", int(percent / RENEW_PERCENT)) if left is None else ("s", int(left / RENEW_S))
        low = left is not None and left < self._low and not self._warned
        if step == self._step and not low:
            return
        text = words.battery(percent, left)
        self._say({"power": text, "laptop": text} if self._step is None or low else {"power": text})
        self._step, self._warned = step, self._warned or low


def _battery() -> tuple[float, float | None] | None:
    """(percent, s left) of a laptop that runs on its battery; None = it does not, or the system does not tell."""
    try:
        told = psutil.sensors_battery() if hasattr(psutil, "sensors_battery") else None
    except (OSError, ValueError, TypeError):  # a driver that tells nonsense
        return None
    if told is None or told.power_plugged is not False:
        return None
    return float(told.percent), float(told.secsleft) if told.secsleft >= 0 else None
