"""A notice on the desktop, where the system has a way that needs no program of ours."""

from __future__ import annotations

import html
import os
import subprocess
import sys
from typing import Any

from ..words import telling as words

if sys.platform.startswith("linux"):
    try:  # now, while rights are not given up yet; the package may be younger than the environment
        from jeepney import AuthenticationError, DBusAddress, DBusErrorResponse, new_method_call
        from jeepney.io.blocking import open_dbus_connection
        from jeepney.wrappers import unwrap_msg
    except ImportError:
        open_dbus_connection = None

PATIENCE_S = 3.0
_CRITICAL = 2
"""Urgency: stays until it is put away (Desktop Notifications Specification 1.2, 'Urgency Levels')."""
_SCRIPT = ("on run argv", "display notification (item 2 of argv) with title (item 1 of argv)", "end run")


def show(title: str, text: str, platform: str = sys.platform) -> str | None:
    """Show it; why it can't be shown. Takes some seconds at most."""
    if platform == "darwin":
        return _mac(title, text)
    if platform.startswith("linux") and open_dbus_connection is not None:
        return _linux(title, text)
    return words.NO_DESKTOP


def _linux(title: str, text: str) -> str | None:
    """By the Desktop Notifications Specification 1.2; what is said is shown as it stands, never read as markup."""
    desk = DBusAddress("/org/freedesktop/Notifications", "org.freedesktop.Notifications", "org.freedesktop.Notifications")
    try:
        with open_dbus_connection(_session_bus(), auth_timeout=PATIENCE_S) as bus:
            (can,) = unwrap_msg(bus.send_and_get_reply(new_method_call(desk, "GetCapabilities"), timeout=PATIENCE_S))
            body = html.escape(text, quote=False) if "body-markup" in can else text
            told: tuple[Any, ...] = ("netwatch", 0, "", title, body, [], {"urgency": ("y", _CRITICAL)}, -1)
            unwrap_msg(bus.send_and_get_reply(new_method_call(desk, "Notify", "susssasa{sv}i", told), timeout=PATIENCE_S))
    except (OSError, RuntimeError, ValueError, EOFError, AuthenticationError, DBusErrorResponse):
        return words.NO_DESKTOP
    return None


def _session_bus() -> str:
    """Behind sudo its address is not told; it stands in the caller's runtime folder."""
    return os.environ.get("DBUS_SESSION_BUS_ADDRESS") or f"unix:path=/run/user/{os.geteuid()}/bus"


def _mac(title: str, text: str) -> str | None:
    """By the system's own script program (man osascript, from memory); the texts are arguments, never script."""
    lines = [word for line in _SCRIPT for word in ("-e", line)]
    try:
        done = subprocess.run(
            ["/usr/bin/osascript", *lines, title, text],
            capture_output=True, timeout=PATIENCE_S, check=False, stdin=subprocess.DEVNULL,
        )
    except (OSError, subprocess.TimeoutExpired):
        return words.NO_DESKTOP
    return None if done.returncode == 0 else words.NO_DESKTOP
