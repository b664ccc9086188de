"""The bounded reader of all record decoders: it never reads past its end and says in a few words why it stopped."""

from __future__ import annotations

from struct import Struct
from typing import Any, TypeAlias

CUT = "cut by the capture"
SHORT = "ends before its fields"


class Unreadable(Exception):
    """The bytes cannot be what they claim; its text is the short reason. Never leaves ``decode``."""


Head: TypeAlias = tuple[int, int, str, str, str, str, bytes]
"""What all records share and begin with: n, segment, mac, to_mac, src, dst, raw (``tables.Record``)."""


class Reader:
    """Reads ``data`` from ``at`` to ``end``, network byte order; ``cut`` = the packet had more than was captured."""

    __slots__ = ("at", "cut", "data", "end")

    def __init__(self, data: bytes, cut: bool = False) -> None:
        self.data = data
        self.cut = cut
        self.at = 0
        self.end = len(data)

    @property
    def left(self) -> int:
        """Bytes not read yet."""
        return self.end - self.at

    def _step(self, size: int) -> int:
        """Go on by ``size`` bytes and give where they begin."""
        begin = self.at
        if size > self.end - begin:
            raise Unreadable(CUT if self.cut else SHORT)
        self.at = begin + size
        return begin

    def u8(self) -> int:
        """One octet."""
        return self.data[self._step(1)]

    def u16(self) -> int:
        """Two octets, high one first."""
        return int.from_bytes(self.take(2), "big")

    def le16(self) -> int:
        """Two octets, low one first."""
        return int.from_bytes(self.take(2), "little")

    def u32(self) -> int:
        """Four octets, highest first."""
        return int.from_bytes(self.take(4), "big")

    def take(self, size: int) -> bytes:
        """The next ``size`` octets."""
        begin = self._step(size)
        return self.data[begin : begin + size]

    def rest(self) -> bytes:
        """All octets that are left."""
        begin, self.at = self.at, self.end
        return self.data[begin:]

    def skip(self, size: int) -> None:
        """Leave out the next ``size`` octets, which must be there."""
        self._step(size)

    def fields(self, layout: Struct) -> tuple[Any, ...]:
        """The next fields of a fixed layout."""
        return layout.unpack_from(self.data, self._step(layout.size))

    def padded(self, layout: Struct, least: int) -> tuple[Any, ...]:
        """As ``fields``, but what is missing behind the first ``least`` octets is zero, unless the capture cut it off."""
        if self.cut or not least <= self.left < layout.size:
            return self.fields(layout)
        return layout.unpack(self.take(self.left).ljust(layout.size, b"\0"))

    def restrict(self, size: int) -> Reader:
        """A reader of the next ``size`` octets only; they are all there, so nothing of it is cut."""
        return Reader(self.take(size))
