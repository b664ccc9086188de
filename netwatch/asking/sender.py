"""Puts the frames of a question on the wire, as slowly as was said."""

from __future__ import annotations

import socket
import sys
import threading
from collections.abc import Sequence
from typing import Any

from netwatch.asking.questions import PROBES_A_SECOND, CannotAsk


class Sender:
    """Opened while there are rights, used once. It takes in nothing."""

    def __init__(self, interface: str) -> None:
        """Raises ``CannotAsk``."""
        self.interface = interface
        try:
            self._socket = _open(interface)
        except OSError as error:
            reason = (error.strerror or "unknown reason").lower()
            raise CannotAsk(f"{interface} can't be sent on ({reason}); that needs the right to send, as sudo gives it.") from None

    def send(self, frames: Sequence[bytes], stop: threading.Event) -> int:
        """One after the other, until ``stop`` is set; how many were sent. Raises ``CannotAsk``."""
        for number, frame in enumerate(frames):
            if number and stop.wait(1 / PROBES_A_SECOND):
                return number
            try:
                self._socket.send(frame)
            except OSError as error:
                reason = (error.strerror or "unknown reason").lower()
                told = f"Sending on {self.interface} failed after {number} packets ({reason}); look at cable and port."
                raise CannotAsk(told) from None
        return len(frames)

    def close(self) -> None:
        self._socket.close()


def _open(interface: str) -> Any:
    if sys.platform.startswith("linux"):
        made = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, 0)
        try:
            made.bind((interface, 0))
        except OSError:
            made.close()
            raise
        return made
    from scapy.config import conf

    return conf.L2socket(iface=interface)
