"""When boxes start anew, or get their link back, as their first words tell: probes by ARP, and what they ask by DHCP."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from operator import itemgetter
from typing import Any

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded, Dhcp
from netwatch.decode.text import mac_text
from netwatch.network.capped import Capped
from netwatch.network.clock import NS
from netwatch.network.leases import DECLINE, DISCOVER, REQUEST
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]

_KEPT = 16
_ONE_START = 2 * NS
"""Signs so near each other are of one start."""
_PROBES = 10 * NS
"""Probes of one start come nearer to each other (RFC 5227 1.1: three within 2 to 4 s)."""
_AFTER_DHCP = 30 * NS
"""So long after it got an address a box probes it as part of the same start (derived: RFC 2131 4.4.1, RFC 5227 2.1)."""
_EVERYBODY = np.uint64(0xFFFFFFFFFFFF)
_number = itemgetter(0)


@dataclass(slots=True)
class Begun:
    """When a box started anew, or got its link back."""

    times: list[tuple[int, int]] = field(default_factory=list)
    """(ns, n), the newest 16."""
    probed: int = 0
    """The address that it last asked for, as one that may be taken; 0 = it never did."""
    by_probe: bool = False
    """Its newest start was told by probes alone."""
    turn: int = 0
    """Of ``Starts.turn``: its newest start, or when it probed another address."""
    xid: int | None = None
    declined: bool = False
    """It gave an address back: what follows is no start."""
    last_probe: int = 0

    def add(self, time: int, n: int, *, by_probe: bool = False) -> bool:
        """One more start; False where it is the same as the one before."""
        if self.times and time - self.times[-1][0] < _ONE_START:
            return False
        self.times.append((time, n))
        self.by_probe = by_probe
        del self.times[:-_KEPT]
        return True


class Starts:
    """By (segment, MAC)."""

    def __init__(self, numbers: Numbers) -> None:
        self.boxes: Capped[tuple[int, str], Begun] = Capped("boxes that start", int(numbers.cap_clients))
        self.turn = 0
        """Rises with whatever a rule may make something of."""
        self._signs: list[tuple[int, Callable[..., None], tuple[Any, ...]]] = []
        """Of the tick that is open: packet number, who makes something of it, and of what."""

    @staticmethod
    def alone(decoded: Decoded, tick: I64) -> set[int]:
        """Ticks of a batch that hold a probe."""
        return set(tick[decoded.arps.row[_probes(decoded, 0, len(decoded.arps.row))]].tolist())

    def fold(self, decoded: Decoded, time: I64, first: int, lo: int, hi: int) -> bool:
        """Rows lo..hi of a batch that begins with n ``first``; True when there is news.

        A box asks whether an address is free before it uses it (RFC 5227 2.1.1): after each start and each link-up.
        """
        arps = decoded.arps
        at = _probes(decoded, *np.searchsorted(arps.row, (lo, hi)).tolist())
        if not len(at):
            return False
        for row, mac, address in zip(*(each[at].tolist() for each in (arps.row, arps.sha, arps.tpa)), strict=True):
            key = int(decoded.frames.segment[row]), mac_text(mac)
            self._signs.append((first + row, self._probe, (key, address, int(time[row]), first + row)))
        return True

    def _probe(self, key: tuple[int, str], address: int, time: int, n: int) -> None:
        box = self.boxes.touch(key, time, Begun)
        if box is None:
            return
        again = box.probed in (0, address) and (not box.last_probe or time - box.last_probe > _PROBES)
        served = not box.by_probe and bool(box.times) and time - box.times[-1][0] < _AFTER_DHCP
        if (again and not served and box.add(time, n, by_probe=True)) or address != box.probed:
            box.turn = self.turn = self.turn + 1
        box.probed, box.last_probe = address, time

    def dhcp(self, record: Dhcp, time: int, chose: int | None) -> bool:
        """A client's words, ``chose`` = when it last chose a server; True where they may tell of a start."""
        if record.message == REQUEST:
            if record.server or record.ciaddr or not record.requested:
                return False
        elif record.message not in (DISCOVER, DECLINE):
            return False
        if record.op != 1 or not record.chaddr:
            return False
        self._signs.append((record.n, self._ask, (record, time, chose)))
        return True

    def _ask(self, record: Dhcp, time: int, chose: int | None) -> None:
        box = self.boxes.touch((record.segment, record.chaddr), time, Begun)
        if box is None:
            return
        if record.message == DECLINE:
            box.declined = True
            return
        if record.message == REQUEST:  # INIT-REBOOT: it had an address before (RFC 2131 4.3.2)
            new = record.xid != box.xid
        else:
            new = not box.times or (chose is not None and chose > box.times[-1][0] and not box.declined)
            box.declined = False
        box.xid = record.xid
        if new and box.add(time, record.n):
            box.turn = self.turn = self.turn + 1

    def settle(self) -> None:
        """At a tick's end: what was heard of starts, in order of n, however the tick was cut."""
        if self._signs:
            for _, tell, told in sorted(self._signs, key=_number):
                tell(*told)
            self._signs.clear()

    def evict(self, now: int) -> None:
        """At a tick's end."""
        self.boxes.evict(now)


def _probes(decoded: Decoded, a: int, b: int) -> I64:
    """Places from ``a`` to ``b`` of ARP probes to everybody; a switch that watches its ports sends them to single boxes."""
    arps = decoded.arps
    spa, op, tpa, sha = (each[a:b] for each in (arps.spa, arps.op, arps.tpa, arps.sha))
    here = np.flatnonzero((spa == 0) & (op == 1) & (tpa != 0) & (sha != 0)) + a
    asking: I64 = here[decoded.frames.to_mac[arps.row[here]] == _EVERYBODY]
    return asking
