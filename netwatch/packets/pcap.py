"""The pcap format (IETF draft-ietf-opsawg-pcap, historic): both byte orders, micro- and nanoseconds."""

from __future__ import annotations

from collections.abc import Generator
from struct import Struct, unpack_from

import numpy as np

from .batch import I64, TAIL, U8, Item, Port
from .chain import gather
from .guessed import Guessed
from .reader import MAX_CAPLEN, Numbers, Reader
from .stream import HEAD, CaptureError, DamageError

MAGICS = {
    b"\xd4\xc3\xb2\xa1": ("<", 1_000, 16),
    b"\xa1\xb2\xc3\xd4": (">", 1_000, 16),
    b"\x4d\x3c\xb2\xa1": ("<", 1, 16),
    b"\xa1\xb2\x3c\x4d": (">", 1, 16),
    b"\x34\xcd\xb2\xa1": ("<", 1_000, 24),
    b"\xa1\xb2\xcd\x34": (">", 1_000, 24),
}
"""Byte order, nanoseconds a fraction's unit, bytes of a record header; the last two are the variant with longer headers."""

NS = 1_000_000_000


class PcapReader(Reader):
    """One interface, 'capture'."""

    def begin(self) -> int:
        order, self._unit, self._header = MAGICS[self.stream.head[:4]]
        if len(self.stream.head) < HEAD:
            raise CaptureError(f"{self.stream.name} ends within its header; copy it again, there is no packet in it.")
        major, link = unpack_from(f"{order}4xH14xI", self.stream.head)
        if major != 2:
            raise CaptureError(f"{self.stream.name} is pcap version {major}, only 2 is known; save it as pcapng and try again.")
        self._word = f"{order}u4"
        self._length = Struct(f"{order}8xI").unpack_from
        self._port = self.table.take(Port("capture", link & 0xFFFF))
        return HEAD

    def scan(self, block: U8, end: int) -> Generator[Item, None, int]:
        start, pos = self.found.starts(), self.found.pos
        fields = gather(block, start, 16).view(self._word)
        caplen, wirelen = fields[:, 2], fields[:, 3]
        sound = _sound(caplen)
        time = fields[:, 0] * np.int64(NS)
        time += fields[:, 1] * np.int64(self._unit) if self._unit > 1 else fields[:, 1]
        rows = len(start)
        yield from self.batches(
            block, (start + self._header)[:sound], caplen[:sound], wirelen[:sound], time[:sound],
            np.full(sound, self._port, np.uint8), np.zeros(sound, np.uint8),
        )
        if sound < rows or (pos + self._header <= end and self._length(block.data, pos)[0] > MAX_CAPLEN):
            raise DamageError(f"damaged behind packet {self.packets:,}: a length there is impossible")
        return pos

    def guess(self, block: U8, end: int) -> Guessed:
        """By the upper octets of the seconds, which stay for minutes."""
        pos, offset = self.found.pos, int(self._word == "<u4")
        length = np.ndarray(end + TAIL - 11, self._word, block, 8, (1,))

        def behind(at: I64) -> I64:
            after: I64 = length[at] + at
            after += self._header
            return after

        return Guessed(block, pos, end, self._header, block[pos + offset : pos + offset + 3].tobytes(), offset, behind)

    def follow(self, block: U8, end: int) -> None:
        found, view, pos = self.found, block.data, self.found.pos
        stretch, join = self.stretch, pos
        add, length_at, header = found.single.append, self._length, self._header
        newest, last, same = end - header, -1, 0
        while pos <= newest:
            if pos >= join:
                joined, pos, join = stretch(pos)
                found.add(joined)
                continue
            add(pos)
            (length,) = length_at(view, pos)
            pos += header + length
            if length != last:
                last, same = length, 0
                continue
            same += 1
            if same >= found.patience:
                pos, same = found.run(block, pos, header + length, 8, "u4", end), 0
        found.pos = pos if pos <= end else found.single.pop()  # the last one is not whole


def _sound(caplen: Numbers) -> int:
    """Rows before the first impossible length."""
    return len(caplen) if int(caplen.max(initial=0)) <= MAX_CAPLEN else int((caplen > MAX_CAPLEN).argmax())
