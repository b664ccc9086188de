"""Joining and leaving the groups of universes, when the person has said yes. Nothing is sent without a call."""

from __future__ import annotations

import errno
import socket
import struct
import sys
import time
from collections.abc import Callable, Collection, Iterable
from typing import Any, TypeAlias

from netwatch.asking.consent import MOST_GROUPS
from netwatch.plan.universes import group

A_SOCKET = 20
"""Memberships of one socket on Linux (igmp_max_memberships, ip-sysctl)."""

Event: TypeAlias = dict[str, Any]
"""What was done, in plain values: what ('joined', 'left', 'failed'), universe, group, interface, time (ns), why (or None)."""


class Joiner:
    """The groups that this program has joined on one interface. Needs no rights; leaves all when closed."""

    def __init__(self, interface: str, most: int = MOST_GROUPS, clock: Callable[[], int] = time.time_ns) -> None:
        self.interface = interface
        self._most = most
        self._clock = clock
        self._sockets: list[socket.socket] = []
        self._held: dict[int, tuple[socket.socket, bytes]] = {}

    @property
    def joined(self) -> tuple[int, ...]:
        return tuple(sorted(self._held))

    def join(self, universes: Iterable[int], arriving: Collection[int]) -> list[Event]:
        """Ask the network for universes, but never for one that arrives already; an event for each."""
        wanted = sorted(set(universes) - set(arriving) - set(self._held))
        return [self._join(universe) for universe in wanted]

    def leave(self, universes: Iterable[int]) -> list[Event]:
        """Tell the network that these are no longer wanted; an event for each that was."""
        return [self._leave(universe) for universe in sorted(set(universes) & set(self._held))]

    def close(self) -> list[Event]:
        """Leave all."""
        events = self.leave(self._held)
        for each in self._sockets:
            each.close()
        self._sockets.clear()
        return events

    def _join(self, universe: int) -> Event:
        if len(self._held) >= self._most:
            return self._event("failed", universe, f"At most {self._most} universes are joined at once: leave some first.")
        try:
            request = _request(group(universe), socket.if_nametoindex(self.interface))
            self._held[universe] = (self._add(request), request)
        except OSError as error:
            return self._event("failed", universe, f"The system refused: {error.strerror or error}.")
        return self._event("joined", universe)

    def _add(self, request: bytes) -> socket.socket:
        """Add a membership to a socket with room, or to a new one."""
        used = [holder for holder, _ in self._held.values()]
        for each in self._sockets:
            if used.count(each) < A_SOCKET:
                try:
                    each.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
                    return each
                except OSError as error:
                    if error.errno != errno.ENOBUFS:  # this system allows fewer
                        raise
        fresh = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)  # not bound: it takes no data from anybody
        try:
            fresh.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, request)
        except OSError:
            fresh.close()
            raise
        self._sockets.append(fresh)
        return fresh

    def _leave(self, universe: int) -> Event:
        holder, request = self._held.pop(universe)
        try:
            holder.setsockopt(socket.IPPROTO_IP, socket.IP_DROP_MEMBERSHIP, request)
        except OSError as error:  # the interface has gone, and the membership with it
            return self._event("left", universe, f"The system says: {error.strerror or error}.")
        return self._event("left", universe)

    def _event(self, what: str, universe: int, why: str | None = None) -> Event:
        return {"what": what, "universe": universe, "group": group(universe), "interface": self.interface,
                "time": self._clock(), "why": why}


def _request(address: str, index: int) -> bytes:
    """ip_mreqn; Windows has ip_mreq alone and takes the index in place of an address in 0.0.0.0/8."""
    if sys.platform == "win32":
        return socket.inet_aton(address) + struct.pack("!I", index)
    return socket.inet_aton(address) + bytes(4) + struct.pack("@i", index)
