"""The pcapng format (IETF draft-ietf-opsawg-pcapng): sections, interfaces, packets and statistics."""

from __future__ import annotations

from collections.abc import Generator, Iterator
from struct import Struct, pack, unpack_from

import numpy as np

from .batch import I64, TAIL, U8, Item, PacketBatch
from .blocks import (
    ENHANCED,
    INTERFACE,
    OLD_PACKET,
    ORDERS,
    SECTION,
    SIMPLE,
    STATISTICS,
    Interface,
    read_interface,
    read_mark,
)
from .chain import Found, gather
from .guessed import NOWHERE, Guessed, unguessed
from .reader import MAX_CAPLEN, Numbers, Reader
from .stream import CaptureError, DamageError

MAX_BLOCK = 1 << 20
"""The longest block that is looked into: a packet of MAX_CAPLEN and all its comments. Others may be longer; they are skipped."""

MAX_INTERFACES = 4_096
"""In one section; more are never met and would only fill the memory."""

MAX_OPTIONS = 16
"""Options of a packet that are looked through for its flags."""

_STOPS = frozenset((SECTION, INTERFACE, STATISTICS))
_PACKETS = frozenset((ENHANCED, OLD_PACKET, SIMPLE))
_READ = _STOPS | _PACKETS


class PcapngReader(Reader):
    """Several sections, each with its own byte order and interfaces."""

    def begin(self) -> int:
        head = self.stream.head
        if len(head) < 12 or head[8:12] not in ORDERS:
            raise CaptureError(f"{self.stream.name} is pcapng but damaged from its first bytes on; copy it again.")
        self._interfaces: list[Interface] = []
        self._enter(ORDERS[head[8:12]])
        return 0

    def scan(self, block: U8, end: int) -> Generator[Item, None, int]:
        while True:
            start, pos = self.found.starts(), self.found.pos
            if len(start):
                yield from self._packets(block, start)
            if pos + 12 > end:
                return pos
            kind, total = self._measure(block, pos)
            if pos + total > end:
                return pos if kind in _READ else pos + total
            if unpack_from(f"{self._order}I", block.data, pos + total - 4)[0] != total:
                raise self._damaged()
            yield from self._special(kind, block[pos + 8 : pos + total - 4].tobytes())
            self.found = Found(pos + total)
            self.follow(block, end)

    def _enter(self, order: str) -> None:
        """Begin a section."""
        self.stretch = unguessed
        self._order = order
        self._word = f"{order}u4"
        self._pair = Struct(f"{order}II").unpack_from
        self.table.release(interface.port for interface in self._interfaces)
        self._interfaces = []

    def _measure(self, block: U8, pos: int) -> tuple[int, int]:
        """Kind and total length of the block at ``pos``; a section header sets the byte order. Raises ``DamageError``."""
        kind, total = self._pair(block.data, pos)
        if kind == SECTION:
            order = ORDERS.get(block[pos + 8 : pos + 12].tobytes())
            if order is None:
                raise self._damaged()
            self._enter(order)
            kind, total = self._pair(block.data, pos)
        if total < 12 or total & 3 or (kind in _READ and total > MAX_BLOCK):
            raise self._damaged()
        return kind, total

    def _special(self, kind: int, body: bytes) -> Iterator[Item]:
        """A section header, an interface or statistics."""
        if kind == SECTION:
            if len(body) < 16:
                raise self._damaged()
            major = unpack_from(f"{self._order}4xH", body)[0]
            if major != 1:
                raise DamageError(f"a section is of pcapng version {major}, only 1 is known")
        elif kind == INTERFACE:
            if len(body) < 8 or len(self._interfaces) >= MAX_INTERFACES:
                raise self._damaged()
            port, snaplen, clock = read_interface(body, self._order, len(self._interfaces))
            self._interfaces.append(Interface(self.table.take(port), snaplen, clock))
        elif len(body) >= 12:
            number = unpack_from(f"{self._order}I", body)[0]
            if number < len(self._interfaces):
                yield read_mark(body, self._order, self._interfaces[number], self.table.ports)

    def guess(self, block: U8, end: int) -> Guessed:
        """By the type of an enhanced packet block."""
        word = np.ndarray(end + TAIL - 3, self._word, block, 0, (1,))

        def behind(at: I64) -> I64:
            total = word[at + 4]
            return at + np.where((word[at] == ENHANCED) & (total & 3 == 0) & (total >= 12), total, NOWHERE)

        return Guessed(block, self.found.pos, end, 12, pack(f"{self._order}I", ENHANCED), 0, behind)

    def follow(self, block: U8, end: int) -> None:
        found, view, pos = self.found, block.data, self.found.pos
        stretch, join = self.stretch, pos
        add, pair = found.single.append, self._pair
        newest, last, same = end - 12, -1, 0
        while pos <= newest:
            if pos >= join:
                joined, pos, join = stretch(pos)
                found.add(joined)
                continue
            kind, total = pair(view, pos)
            behind = pos + total
            if behind > end or total & 3 or total < 12 or kind in _STOPS:
                break
            if kind != ENHANCED:
                if kind in _PACKETS:
                    add(pos)
                pos, last = behind, -1
                continue
            add(pos)
            pos = behind
            if total != last:
                last, same = total, 0
                continue
            same += 1
            if same >= found.patience:
                pos, same = found.run(block, pos, total, 0, "u8", end), 0
        found.pos = pos

    def _packets(self, block: U8, start: I64) -> Iterator[PacketBatch]:
        """Rows of packet blocks up to the first that is damaged. Raises ``DamageError`` there."""
        kind, total, number, high, low, caplen, wirelen = self._fields(block, start)
        size = np.where(kind == SIMPLE, 12, 28)
        trailer = gather(block, start + total - 4, 4).view(self._word)[:, 0]
        wrong = (trailer != total) | (total < size + 4) | (number >= len(self._interfaces)) | (caplen > MAX_CAPLEN)
        wrong |= size + caplen + 4 > total
        sound = int(wrong.argmax()) if wrong.any() else len(start)
        rows = slice(0, sound)
        raw = high[rows].astype(np.uint64) << 32 | low[rows].astype(np.uint64)
        time, port = self._stamps(number[rows], raw)
        time[kind[rows] == SIMPLE] = 0
        behind = start + size + (caplen + 3 & ~3)
        direction = self._directions(block, behind[rows], (start + total - 4)[rows], kind[rows])
        yield from self.batches(block, (start + size)[rows], caplen[rows], wirelen[rows], time, port, direction)
        if sound < len(start):
            raise self._damaged()

    def _fields(self, block: U8, start: I64) -> tuple[I64, ...]:
        """Kind, total length, interface, time (high, low), captured and original length: int64 columns."""
        fields = gather(block, start, 28).view(self._word)
        kind, total, number, high, low, caplen, wirelen = (fields[:, i].astype(np.int64) for i in range(7))
        old, simple = kind == OLD_PACKET, kind == SIMPLE
        if old.any():  # interface and drop count share the word
            number[old] = number[old] >> 16 if self._order == ">" else number[old] & 0xFFFF
        if simple.any():  # no time, always interface 0, cut at its snap length
            snaplen = self._interfaces[0].snaplen if self._interfaces else 0
            wirelen[simple] = number[simple]
            caplen[simple] = np.minimum(wirelen[simple], snaplen) if snaplen else wirelen[simple]
            for column in (number, high, low):
                column[simple] = 0
        return kind, total, number, high, low, caplen, wirelen

    def _stamps(self, number: I64, raw: Numbers) -> tuple[I64, U8]:
        """Times in ns and ports of rows, by the interface of each."""
        time, port = np.zeros(len(number), np.int64), np.zeros(len(number), np.uint8)
        for each in np.flatnonzero(np.bincount(number)).tolist():
            interface, rows = self._interfaces[each], number == each
            time[rows] = interface.clock.ns(raw[rows].astype(np.uint64, copy=False))
            port[rows] = interface.port
        return time, port

    def _directions(self, block: U8, pos: I64, stop: I64, kind: I64) -> U8:
        """Bits 0 and 1 of epb_flags (option 2): 1 in, 2 out; 0 where it is missing."""
        direction = np.zeros(len(pos), np.uint8)
        rows = np.flatnonzero((pos + 8 <= stop) & (kind != SIMPLE))
        at = pos[rows]
        for _ in range(MAX_OPTIONS):
            if not len(rows):
                break
            option = gather(block, at, 8)
            code, length = (option[:, :4].copy().view(f"{self._order}u2")[:, i].astype(np.int64) for i in range(2))
            flags = option[:, 4:].copy().view(self._word)[:, 0] & 3
            here = (code == 2) & (length == 4)
            direction[rows[here]] = np.where(flags[here] == 3, 0, flags[here])
            at = at + 4 + (length + 3 & ~3)
            on = ~here & (code != 0) & (at + 8 <= stop[rows])
            rows, at = rows[on], at[on]
        return direction

    def _damaged(self) -> DamageError:
        return DamageError(f"damaged behind packet {self.packets:,}: a block there is impossible")
