"""Who uses which address: claims by ARP and by IP packets, and boxes with their names.

A claim is (segment, MAC, address). An address with claims of more than one MAC is **contested**: from that packet on each
change of speaker is noted, since only interleaving (A, B, A) tells a duplicate from a replacement (RFC 5227 2.4).
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded
from netwatch.decode.text import address_text, mac_text
from netwatch.network.boxes import Boxes
from netwatch.network.changes import KEPT, Change, Changes
from netwatch.network.clock import TICK, grid
from netwatch.network.heard import Heard
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

_FEW = 64


@dataclass(slots=True)
class Speaking:
    """The newest changes of speaker on one contested address."""

    since: int
    """Packet number of the second box's first word."""
    turns: list[tuple[int, int, int]] = field(default_factory=list)
    """(MAC, ns, n) each time that another MAC than before used the address; the newest 16."""
    alternations: int = 0
    changed: int = 0
    """ns of the newest change of speaker."""
    heard: dict[int, int] = field(default_factory=dict)
    """Times each MAC was heard, of the 64 heard most."""


class Claims(Heard):
    """Claims in columns; contested addresses and boxes as objects."""

    def __init__(self, numbers: Numbers, changes: Changes) -> None:
        super().__init__("addresses", 2, numbers.cap_hosts)
        self.changes = changes
        self.contested: dict[tuple[int, int], Speaking] = {}
        """By (segment, address)."""
        self.boxes = Boxes(numbers)
        self.by_address: dict[tuple[int, int], list[int]] = {}
        self._addresses: dict[tuple[int, int], list[tuple[int, int]]] | None = None
        self._contested_places = np.zeros(0, np.uint64)
        self._contested_since = np.zeros(0, np.int64)

    # ---- rows ----

    @staticmethod
    def rows(decoded: Decoded) -> tuple[I64, tuple[U64, U64]]:
        """(row, (MAC << 16, segment << 32 | address)) of all claims that a batch holds outside the streams, by row.

        ARP speaks by its sender fields (RFC 826), IP by its source; 0.0.0.0 claims nothing.
        """
        frames, arps = decoded.frames, decoded.arps
        row = decoded.rows(lambda frames: frames.dark)
        mac, address = frames.mac[row], frames.src[row].astype(np.uint64)
        if len(arps.row):
            at = row.searchsorted(arps.row)
            mac[at], address[at] = arps.sha, arps.spa
        own = (address != 0) & (mac != 0)
        row, mac, address = row[own], mac[own], address[own]
        segment = frames.segment[row].astype(np.uint64)
        return row, (mac << np.uint64(16), (segment << np.uint64(32)) | address)

    def is_contested(self, place: U64, n: I64 | None = None) -> npt.NDArray[np.bool_]:
        """Which places (segment << 32 | address) are contested; with packet numbers: and were so already."""
        if not len(self._contested_places):
            return np.zeros(len(place), bool)
        at = np.minimum(np.searchsorted(self._contested_places, place), len(self._contested_places) - 1)
        found: npt.NDArray[np.bool_] = self._contested_places[at] == place
        return found if n is None else found & (n >= self._contested_since[at])

    def _list_contested(self) -> None:
        """Bring the arrays of contested addresses up to date."""
        listed = sorted((segment << 32 | address, each.since) for (segment, address), each in self.contested.items())
        self._contested_places = np.array([place for place, _ in listed], np.uint64)
        self._contested_since = np.array([since for _, since in listed], np.int64)

    def admit(self, columns: Sequence[U64], n: I64, time: I64) -> tuple[I64, I64]:
        """New claims are held, but not yet their boxes: (ids, -1 where the table is full; rows of the new ones, in order)."""
        ids, rows = super().admit(columns, n, time)
        if len(rows):
            self._enter(ids[rows], n[rows], time[rows])
        return ids, rows

    def _enter(self, claims: I64, n: I64, time: I64) -> None:
        """New claims, in order."""
        contests = len(self.contested)
        segment, mac, address = self._keys(claims)
        told = zip(claims.tolist(), segment.tolist(), mac.tolist(), address.tolist(), strict=True)
        for row, (claim, where, who, used) in enumerate(told):
            if self._addresses is not None:
                self._addresses.setdefault((where, who), []).append((claim, used))
            holders = self.by_address.setdefault((where, used), [])
            holders.append(claim)
            if len(holders) == 2:
                self._contest(holders[0], Change(int(time[row]), "taken", where, int(n[row]), who, address_text(used)))
        if len(self.contested) > contests:
            self._list_contested()

    def _contest(self, other: int, change: Change) -> None:
        """A second box speaks on an address; ``other`` = the claim of the first one."""
        segment, before, address = self.key(other)
        speaking = self.contested[segment, address] = Speaking(change.n)
        speaking.turns.append((before, int(self.last[other]), int(self.last_n[other])))
        speaking.heard[before] = int(self.count[other])
        self.changes.note(change._replace(before=mac_text(before)))

    def hear(self, segment: I64, mac: I64, address: I64, n: I64, time: I64) -> None:
        """Boxes of one tick, in order, made if they are new; they use addresses, 0 = none. What is new of it are changes."""
        ids, new = self.boxes.hear(segment, mac, time)
        self.boxes.seen(ids, int(time[0]) // TICK)
        told = zip(*(each[new][-KEPT:].tolist() for each in (time, segment, n, mac)), strict=True)
        self.changes.note_all("host", [Change(at, "host", where, number, who) for at, where, number, who in told])
        for row, before in self.boxes.use(np.where(address > 0, ids, -1), address):
            self.changes.note(Change(
                int(time[row]), "address", int(segment[row]), int(n[row]), int(mac[row]), address_text(int(address[row])),
                address_text(before),
            ))  # fmt: skip

    def _keys(self, claims: I64) -> tuple[I64, I64, I64]:
        """Their segments, MACs and addresses."""
        return parts(self.table.keys[claims, 0], self.table.keys[claims, 1])

    def key(self, claim: int) -> tuple[int, int, int]:
        """(segment, MAC, address)."""
        mac, place = int(self.table.keys[claim, 0]) >> 16, int(self.table.keys[claim, 1])
        return place >> 32, mac, place & 0xFFFFFFFF

    def touch(self, ids: I64, time: I64, n: I64, tick: I64) -> bool:
        """Claims were heard again, rows in order, -1 = not held; True when one of them is contested."""
        if int(ids.min()) < 0:
            known = ids >= 0
            ids, time, n, tick = ids[known], time[known], n[known], tick[known]
        settled = self.again(ids, n, time, tick)
        if len(settled):
            self._establish(ids[settled], time[settled])
        if not self.contested:
            return False
        contested = self.is_contested(self.table.keys[ids, 1])
        for claim, when, number in zip(ids[contested].tolist(), time[contested].tolist(), n[contested].tolist(), strict=True):
            self._speak(claim, when, number)
        return bool(contested.any())

    def vouch(self, mac: U64, place: U64, tick: int) -> None:
        """These claims are those of established light, which speaks for them."""
        ids = self.table.find((mac, place))
        ids = np.unique(ids[ids >= 0])
        self.table.settled[ids] = True
        np.maximum.at(self.table.last_tick, ids, tick)
        if len(ids):
            self._establish(ids, self.last[ids])

    def _establish(self, claims: I64, since: I64) -> None:
        """The boxes of established claims are established; ``since`` = ns at which each was heard first in this fold.

        A box that was forgotten is known again from the claim's first word on, however the input was cut.
        """
        segment, mac, _ = self._keys(claims)
        ids, _ = self.boxes.hear(segment, mac, since)
        last, tick = self.last[claims], self.table.last_tick[claims]
        self.boxes.establish(ids[ids >= 0], last[ids >= 0], np.maximum(last // TICK, tick)[ids >= 0])

    def _speak(self, claim: int, time: int, n: int) -> None:
        """Note who speaks on a contested address."""
        segment, mac, address = self.key(claim)
        speaking = self.contested[segment, address]
        speaking.heard[mac] = speaking.heard.get(mac, 0) + 1
        if len(speaking.heard) > _FEW:
            del speaking.heard[min(speaking.heard, key=lambda each: speaking.heard[each])]
        if speaking.turns[-1][0] != mac:
            speaking.turns.append((mac, time, n))
            speaking.alternations, speaking.changed = speaking.alternations + 1, time
            del speaking.turns[:-16]
        else:
            speaking.turns[-1] = (mac, time, n)

    def evict(self, tick: int, time: int) -> bool:
        """At tick end."""
        if grid(tick) and len(self.boxes) > self.boxes.table.cap // 2:
            settled = np.flatnonzero(self.table.settled[: self.table.size])
            self._establish(settled, self.last[settled])
        self.boxes.evict(tick, time)
        gone = self.table.overdue(tick)
        if not len(gone):
            return False
        contests, leaving = len(self.contested), set(gone.tolist())
        segment, mac, address = (part.tolist() for part in self._keys(gone))
        for place in dict.fromkeys(zip(segment, address, strict=True)):
            holders = self.by_address.pop(place)
            if len(holders) > 1:
                holders = [claim for claim in holders if claim not in leaving]
                if holders:
                    self.by_address[place] = holders
                if len(holders) < 2:
                    self.contested.pop(place, None)
        if len(self.contested) < contests:
            self._list_contested()
        self._let_go(leaving, zip(segment, mac, strict=True))
        self.table.free(gone, time)
        return True

    def _let_go(self, leaving: set[int], boxes: Iterable[tuple[int, int]]) -> None:
        """Claims of boxes leave; a box whose first one leaves, and not the last, has another place in the order."""
        listed = self._addresses
        if listed is None:
            return
        for box in dict.fromkeys(boxes):
            held = listed[box]
            stay = [each for each in held if each[0] not in leaving]
            if not stay:
                del listed[box]
            elif stay[0] is held[0]:
                listed[box] = stay
            else:
                self._addresses = None
                return

    def addresses(self) -> dict[tuple[int, int], list[tuple[int, int]]]:
        """(segment, MAC) to its (claim id, address), by first appearance. Not to be written to."""
        if self._addresses is None:
            self._addresses = {}
            used = np.flatnonzero(self.table.used[: self.table.size])
            for claim in used[np.argsort(self.table.born[used], kind="stable")].tolist():
                segment, mac, address = self.key(claim)
                self._addresses.setdefault((segment, mac), []).append((claim, address))
        return self._addresses


def parts(mac: U64, place: U64) -> tuple[I64, I64, I64]:
    """Segments, MACs and addresses of the two columns of claims; shifted while they have no sign."""
    segment, number = place >> np.uint64(32), mac >> np.uint64(16)
    return segment.astype(np.int64), number.astype(np.int64), (place & np.uint64(0xFFFFFFFF)).astype(np.int64)
