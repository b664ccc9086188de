"""Listening on macOS and Windows through scapy's sockets; Linux has ``ring``. Sends nothing, joins nothing."""

from __future__ import annotations

import time
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from netwatch.packets import machine, rights
from netwatch.packets.batch import DIRECTION_IN, DIRECTION_OUT, BatchBuilder, PacketBatch, Port
from netwatch.packets.live import LiveSource

_DLT_RAW = 12
_POLL_S = 0.1
"""Some of these sockets can't be waited for together with ours, so an end is seen this late at most."""
_MOST_ROWS, _MOST_BYTES = 4_096, 7 << 20


class LibrarySource(LiveSource):
    """Every frame of one or several interfaces, in promiscuous mode; times in ns as fine as the system tells them.

    ``CannotListen`` says why one can't be opened.
    """

    def __init__(self, names: Sequence[str]) -> None:
        interfaces = [machine.usable(name) for name in dict.fromkeys(names)]
        self._sockets: dict[int, Any] = {}
        try:
            for number, interface in enumerate(interfaces):
                self._sockets[number] = _open(interface.name)
        except machine.CannotListen:
            self._close_sockets()
            raise
        super().__init__(tuple(
            machine.port(interface, _link_type(self._sockets[number]), "library") for number, interface in enumerate(interfaces)
        ))
        self._received = [0] * len(interfaces)
        self._before: dict[int, tuple[int, int] | None] = {}
        """What the system had counted when ``only`` was called."""

    def _wait(self, seconds: float) -> None:
        self._ready(min(seconds, _POLL_S))
        self._wake.clear()

    def _ready(self, seconds: float) -> list[Any]:
        if not self._sockets:
            time.sleep(seconds)
            return []
        sockets = list(self._sockets.values())
        return list(type(sockets[0]).select(sockets, seconds))

    def _take(self) -> Iterator[PacketBatch]:
        rows: list[tuple[int, int, bytes]] = []
        size = 0
        while len(rows) < _MOST_ROWS and size < _MOST_BYTES and (ready := self._ready(0)):
            for number, each in list(self._sockets.items()):
                row = self._read(number, each) if each in ready else None
                if row is not None:
                    rows.append(row)
                    size += len(row[2])
        if not rows:
            return
        builder = BatchBuilder(self.ports, self._number(len(rows)))
        for when, number, packet in sorted(rows, key=lambda row: row[0]):
            builder.add(packet, when, number, _direction(packet, self.ports[number]))
        yield builder.take()

    def _read(self, number: int, each: Any) -> tuple[int, int, bytes] | None:
        """(time, port, packet); a socket whose device has gone is closed."""
        try:
            _, packet, when = each.recv_raw()
        except OSError:
            self._sockets.pop(number).close()
            return None
        if packet is None:
            return None
        self._received[number] += 1
        return time.time_ns() if when is None else int(when * 1_000_000_000), number, packet

    def _counters(self, port: int) -> tuple[int | None, int | None]:
        """Received and dropped as the system counts them where it does (macOS), else what was read."""
        counts = _system_counts(self._sockets.get(port))
        if counts is None:
            return self._received[port], None
        received, dropped = self._before.get(port) or (0, 0)
        return counts[0] - received, counts[1] - dropped

    def _keep(self, numbers: list[int]) -> None:
        sockets = self._sockets
        self._sockets = {new: sockets.pop(old) for new, old in enumerate(numbers) if old in sockets}
        for each in sockets.values():
            each.close()
        self._received = [0] * len(numbers)
        self._before = {number: _system_counts(each) for number, each in self._sockets.items()}

    def _facts(self) -> dict[int, Mapping[str, Any]]:
        known = machine.interfaces()
        return {number: self._told_of(port.name, known) for number, port in enumerate(self.ports)}

    def _release(self) -> None:
        self._close_sockets()

    def _close_sockets(self) -> None:
        for each in self._sockets.values():
            each.close()
        self._sockets.clear()


def _open(name: str) -> Any:
    import scapy.arch
    import scapy.layers.l2  # noqa: F401 - makes link types known to the sockets
    from scapy.config import conf
    from scapy.error import Scapy_Exception

    try:
        conf.ifaces.reload()
        return conf.L2listen(iface=name, promisc=True)
    except PermissionError as error:
        raise machine.CannotListen(rights.how()) from error
    except (OSError, RuntimeError, ValueError, Scapy_Exception) as error:
        raise machine.CannotListen(rights.cannot_listen() or f"{name!r} can't be listened to: {error}") from error


def _system_counts(opened: Any) -> tuple[int, int] | None:
    """Received and dropped since the socket was opened, where the system counts."""
    if not hasattr(opened, "get_stats"):
        return None
    received, dropped = opened.get_stats()
    return None if received is None else (int(received), int(dropped))


def _link_type(opened: Any) -> int:
    """Capture-file link type of what a socket gives."""
    from scapy.config import conf

    if hasattr(opened, "pcap_fd"):
        number = int(opened.pcap_fd.datalink())
    else:
        number = int(conf.l2types.layer2num[getattr(opened, "guessed_cls", None) or opened.LL])
    return machine.RAW_IP if number == _DLT_RAW else number


def _direction(packet: bytes, port: Port) -> int:
    """By the source address, since these sockets do not tell."""
    return DIRECTION_OUT if port.link_type == machine.ETHERNET and packet[6:12] in port.macs else DIRECTION_IN
