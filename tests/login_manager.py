"""A login manager of the tests' own on a private bus: the part of org.freedesktop.login1 that keeps a laptop awake.

    python -m tests.login_manager ADDRESS FOLDER [refuse]

By the D-Bus interface of systemd-logind as its manual page org.freedesktop.login1(5) describes it: Inhibit(what, who, why, mode)
gives a file descriptor, and the lock holds until all copies of it are closed. Each lock is told in FOLDER: what was asked for in
'asked', and 'released' once it is over.
"""

from __future__ import annotations

import os
import sys
import threading
from pathlib import Path

from jeepney import HeaderFields, MessageType, message_bus, new_error, new_method_return
from jeepney.io.blocking import open_dbus_connection

NAME = "org.freedesktop.login1"


def serve(address: str, folder: Path, refuse: bool) -> None:
    """Answer until killed."""
    bus = open_dbus_connection(address, enable_fds=True)
    bus.send_and_get_reply(message_bus.RequestName(NAME))
    (folder / "there").touch()
    while True:
        call = bus.receive()
        fields = call.header.fields
        if call.header.message_type is not MessageType.method_call or fields.get(HeaderFields.member) != "Inhibit":
            continue
        if refuse:
            bus.send(new_error(call, "org.freedesktop.DBus.Error.AccessDenied", "s", ("Permission denied",)))
            continue
        here, there = os.pipe()
        bus.send(new_method_return(call, "h", (there,)))
        os.close(there)
        (folder / "asked").write_text("|".join(call.body))
        threading.Thread(target=hold, args=(here, folder), daemon=True).start()


def hold(handle: int, folder: Path) -> None:
    """The read end tells when the last copy of the other one is closed."""
    os.read(handle, 1)
    (folder / "released").touch()


if __name__ == "__main__":
    serve(sys.argv[1], Path(sys.argv[2]), "refuse" in sys.argv)
