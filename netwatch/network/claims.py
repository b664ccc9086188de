"""Who uses which address: claims by ARP and by IP packets, and boxes with their names.

A claim is (segment, MAC, address). An address with claims of more than one MAC is **contested**: from that packet on each
change of speaker is noted, since only interleaving (A, B, A) tells a duplicate from a replacement (RFC 5227 2.4).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from netwatch.decode.tables import Decoded, Kind
from netwatch.decode.text import address_text, mac_text
from netwatch.network.capped import Capped
from netwatch.network.changes import Change, Changes
from netwatch.network.clock import TICK, grid
from netwatch.network.keys import KeyTable, grown
from netwatch.numbers import Numbers

I64 = npt.NDArray[np.int64]
U64 = npt.NDArray[np.uint64]

_USES = 4
"""A box with more addresses is a router, or stands for others: a further one is no news. Common practice, no source."""
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


@dataclass(slots=True)
class Box:
    """What is known of one MAC on one segment."""

    mac: int
    first: int
    last: int
    names: dict[str, str] = field(default_factory=dict)
    """Name by where it came from: 'DHCP', 'sACN', 'Art-Net', 'LLDP'."""
    server: str = ""
    """DHCP server that it last named."""
    ours: bool = False
    uses: list[int] = field(default_factory=list)
    """The first few addresses that it was heard to use."""


class Claims:
    """Claims in columns; contested addresses and boxes as objects."""

    def __init__(self, numbers: Numbers, changes: Changes) -> None:
        self.changes = changes
        self.table = KeyTable("addresses", 2, numbers.cap_hosts)
        self.first = np.zeros(16, np.int64)
        self.last = np.zeros(16, np.int64)
        self.first_n = np.zeros(16, np.int64)
        self.last_n = np.zeros(16, np.int64)
        self.count = np.zeros(16, np.int64)
        self.contested: dict[tuple[int, int], Speaking] = {}
        """By (segment, address)."""
        self.boxes: Capped[tuple[int, int], Box] = Capped("boxes", int(numbers.cap_hosts))
        """By (segment, MAC)."""
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
        ip = np.flatnonzero((frames.kind != Kind.ARTNET_LEVELS) & (frames.kind != Kind.E131_DATA))
        ip = ip[(frames.src[ip] != 0) & (frames.mac[ip] != 0)]
        row = np.concatenate([ip, arps.row.astype(np.int64)])
        mac = np.concatenate([frames.mac[ip], arps.sha.astype(np.uint64)])
        address = np.concatenate([frames.src[ip].astype(np.uint64), arps.spa.astype(np.uint64)])
        own = (address != 0) & (mac != 0)
        row, mac, address = row[own], mac[own], address[own]
        order = np.argsort(row, kind="stable")
        row, mac, address = row[order], mac[order], address[order]
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

    def admit(self, columns: Sequence[U64], row: int, n: int, time: int) -> int:
        """The id of a claim, a new one where it was unknown; -1 when the table is full."""
        held = self.table.held
        claim = self.table.admit(columns, row, n, time)
        if claim < 0 or self.table.held == held:
            return claim
        self._addresses = None
        if claim >= len(self.first):
            for name in ("first", "last", "first_n", "last_n", "count"):
                setattr(self, name, grown(getattr(self, name)))
        self.first[claim], self.first_n[claim], self.count[claim] = time, n, 0
        self.last[claim], self.last_n[claim] = time, n
        segment, mac, address = self.key(claim)
        claims = self.by_address.setdefault((segment, address), [])
        claims.append(claim)
        if len(claims) == 2:
            other = claims[0]
            speaking = self.contested[segment, address] = Speaking(n)
            speaking.turns.append((self.key(other)[1], int(self.last[other]), int(self.last_n[other])))
            speaking.heard[self.key(other)[1]] = int(self.count[other])
            self._list_contested()
            before = mac_text(self.key(other)[1])
            self.changes.note(Change(time, "taken", segment, n, mac, address_text(address), before))
        box = self.box(segment, mac, time, n)
        if box is not None:
            self._use(box, segment, address, time, n)
        return claim

    def _use(self, box: Box, segment: int, address: int, time: int, n: int) -> None:
        """A box uses an address; another one than so far is a change."""
        if address in box.uses or len(box.uses) == _USES:
            return
        if box.uses:
            before = address_text(box.uses[-1])
            self.changes.note(Change(time, "address", segment, n, box.mac, address_text(address), before))
        box.uses.append(address)

    def key(self, claim: int) -> tuple[int, int, int]:
        """(segment, MAC, address)."""
        mac, place = int(self.table.keys[claim, 0]) >> 16, int(self.table.keys[claim, 1])
        return place >> 32, mac, place & 0xFFFFFFFF

    def box(self, segment: int, mac: int, time: int, n: int = 0) -> Box | None:
        """The box with this MAC, made if it is new (a change if ``n`` tells the packet); None when the table is full."""
        new = n and self.boxes.get((segment, mac)) is None
        box = self.boxes.touch((segment, mac), time, lambda: Box(mac, time, time))
        if box is not None:
            box.first, box.last = min(box.first, time), max(box.last, time)
            if new:
                self.changes.note(Change(time, "host", segment, n, mac))
        return box

    def touch(self, ids: I64, time: I64, n: I64, tick: int, k: I64) -> bool:
        """Known claims were heard again, rows in order; True when one of them is contested."""
        known = ids >= 0
        if not known.any():
            return False
        ids, time, n, k = ids[known], time[known], n[known], k[known]
        self.last[ids], self.last_n[ids] = time, n
        np.add.at(self.count, ids, 1)
        fresh = np.unique(ids[~self.table.settled[ids]])
        for each in np.unique(k):
            self.table.seen(np.unique(ids[k == each]), tick + int(each))
        for claim in fresh[self.table.settled[fresh]].tolist():
            self._establish(claim, int(time[np.argmax(ids == claim)]))
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
        for claim in ids.tolist():
            self._establish(claim)

    def _establish(self, claim: int, since: int | None = None) -> None:
        """The box of an established claim is established; ``since`` = ns at which the claim was heard first in this fold."""
        segment, mac, _ = self.key(claim)
        time = int(self.last[claim])
        # A box that was forgotten is known again from the claim's first word on, however the input was cut.
        box = self.box(segment, mac, time if since is None else since)
        if box is not None:
            box.last = max(box.last, time)
            self.boxes.establish((segment, mac), max(time, int(self.table.last_tick[claim]) * TICK))

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
        if grid(tick) and self.boxes.held > self.boxes.cap // 2:
            for claim in np.flatnonzero(self.table.settled[: self.table.size]).tolist():
                self._establish(claim)
        self.boxes.evict(time)
        gone = self.table.overdue(tick)
        if not len(gone):
            return False
        for claim in gone.tolist():
            segment, _, address = self.key(claim)
            claims = self.by_address[segment, address]
            claims.remove(claim)
            if len(claims) < 2:
                self.contested.pop((segment, address), None)
            if not claims:
                del self.by_address[segment, address]
        self._list_contested()
        self.table.free(gone, time)
        self._addresses = None
        return True

    def addresses(self) -> dict[tuple[int, int], list[tuple[int, int]]]:
        """(segment, MAC) to its (claim id, address), by first appearance. Not to be written to."""
        if self._addresses is None:
            self._addresses = {}
            used = np.flatnonzero(self.table.used[: self.table.size])
            for claim in used[np.argsort(self.table.born[used], kind="stable")].tolist():
                segment, mac, address = self.key(claim)
                self._addresses.setdefault((segment, mac), []).append((claim, address))
        return self._addresses
