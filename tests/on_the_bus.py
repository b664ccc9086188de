"""A login manager and a desktop of the tests' own on a private bus: those parts that a watch asks for something.

    python -m tests.on_the_bus ADDRESS FOLDER [refuse | plain]

By the D-Bus interface of systemd-logind as its manual page org.freedesktop.login1(5) describes it: Inhibit(what, who, why, mode)
gives a file descriptor, and the lock holds until all copies of it are closed. Each is told in FOLDER: what was asked for in
'asked', and 'released' once it is over. By the Desktop Notifications Specification 1.2: GetCapabilities ('plain': without
markup), and Notify, whose title and text stand in 'noticed' then.
"""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path

from jeepney import HeaderFields, MessageType, message_bus, new_error, new_method_return
from jeepney.io.blocking import open_dbus_connection

NAMES = ("org.freedesktop.login1", "org.freedesktop.Notifications")


def serve(address: str, folder: Path, how: str) -> None:
    """Answer until killed."""
    bus = open_dbus_connection(address, enable_fds=True)
    for name in NAMES:
        bus.send_and_get_reply(message_bus.RequestName(name))
    (folder / "there").touch()
    while True:
        call = bus.receive()
        member = call.header.fields.get(HeaderFields.member)
        if call.header.message_type is not MessageType.method_call:
            continue
        if how == "refuse":
            bus.send(new_error(call, "org.freedesktop.DBus.Error.AccessDenied", "s", ("Permission denied",)))
        elif member == "GetCapabilities":
            bus.send(new_method_return(call, "as", (["body"] if how == "plain" else ["body", "body-markup"],)))
        elif member == "Notify":
            (folder / "noticed").write_text(f"{call.body[3]}|{call.body[4]}|{call.body[6]['urgency'][1]}")
            bus.send(new_method_return(call, "u", (1,)))
        elif member == "Inhibit":
            here, there = os.pipe()
            (folder / "asked").write_text("|".join(call.body))
            bus.send(new_method_return(call, "h", (there,)))
            os.close(there)
            threading.Thread(target=hold, args=(here, folder), daemon=True).start()


def hold(handle: int, folder: Path) -> None:
    """The read end tells when the last copy of the other one is closed."""
    os.read(handle, 1)
    (folder / "released").touch()


if __name__ == "__main__":
    serve(sys.argv[1], Path(sys.argv[2]), sys.argv[3])
