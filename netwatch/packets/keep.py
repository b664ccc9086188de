"""``--keep``: every item of a session as pcapng, so that reading it back gives the same items (IETF draft-ietf-opsawg-pcapng)."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from os import PathLike, fspath
from struct import pack
from types import MappingProxyType

import numpy as np

from ..words.hidden import shown
from .batch import U8, Item, Mark, PacketBatch, Port
from .blocks import COMMENT, ENHANCED, SECTION, packed_block, packed_options, written_interface, written_mark
from .chain import scatter
from .stream import CaptureError

_APPLICATION = 4  # shb_userappl
_FLAGS = 2  # epb_flags


class Keeper:
    """Writes items as they come, each one whole. Raises ``CaptureError``; never overwrites a file."""

    def __init__(self, path: str | PathLike[str], about: str = "") -> None:
        """``about`` = a comment of the whole file."""
        self._name = shown(fspath(path))
        self._file = -1
        self._good = 0
        """Bytes of whole blocks written."""
        self._ports: tuple[Port, ...] = ()
        try:
            self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
        except FileExistsError:
            raise CaptureError(f"{self._name} exists already; choose another name, or move that file away.") from None
        except (OSError, ValueError) as error:
            raise CaptureError(f"{self._name} can't be written ({_reason(error)}); choose another folder or name.") from None
        comment = [(COMMENT, about.encode("utf-8", "replace"))] if about else []
        header = pack("<IHHq", 0x1A2B3C4D, 1, 0, -1) + packed_options([*comment, (_APPLICATION, b"netwatch")])
        try:
            self._write(packed_block(SECTION, header))
        except CaptureError:  # an empty file is no capture, and would stand in the way of the next try
            self.close()
            with contextlib.suppress(OSError):
                os.unlink(path)
            raise

    @property
    def size(self) -> int:
        """Bytes written."""
        return self._good

    def write(self, item: Item, comments: Mapping[int, str] | None = None) -> None:
        """Append a batch or a mark, and the ports that are new with it; ``comments`` by row."""
        self.write_packed(written_mark(item) if isinstance(item, Mark) else packed_packets(item, comments or {}), item.ports)

    def write_packed(self, blocks: bytes | memoryview, ports: tuple[Port, ...]) -> None:
        """Append blocks that were packed before; ``ports`` = those of the session that they are numbered by."""
        for port in ports[len(self._ports) :]:
            self._write(written_interface(port))
        self._ports = ports
        self._write(blocks)

    def close(self) -> None:
        if self._file >= 0:
            os.close(self._file)
            self._file = -1

    def _write(self, data: bytes | memoryview) -> None:
        """All of it or, on a full disk, nothing."""
        rest = memoryview(data)
        try:
            while rest:
                rest = rest[os.write(self._file, rest) :]
            self._good += len(data)
        except OSError as error:
            raise CaptureError(
                f"Writing {self._name} stopped ({_reason(error)}); what was kept until then is good. "
                "Make room, or keep it elsewhere."
            ) from None
        finally:
            if rest:
                os.ftruncate(self._file, self._good)
                os.lseek(self._file, self._good, os.SEEK_SET)


def packed_packets(batch: PacketBatch, comments: Mapping[int, str] = MappingProxyType({})) -> memoryview:
    """Enhanced packet blocks of a batch, with a flags option where the direction is known, and comments by row."""
    if not comments:
        return _plain(batch, 0, batch.rows)
    out, done = bytearray(), 0
    for row in sorted(comments):
        out += _plain(batch, done, row)
        out += _commented(batch, row, comments[row])
        done = row + 1
    return memoryview(out + _plain(batch, done, batch.rows))


def _commented(batch: PacketBatch, row: int, comment: str) -> bytes:
    time = int(batch.time[row]) % 2**64
    data, flags = batch.packet(row), int(batch.direction[row])
    body = pack("<IIIII", batch.port[row], time >> 32, time & 0xFFFFFFFF, len(data), batch.wirelen[row])
    told = [(_FLAGS, pack("<I", flags))] if flags else []
    return packed_block(ENHANCED, body + data + bytes(-len(data) % 4) + packed_options([*told, (COMMENT, comment.encode())]))


def _plain(whole: PacketBatch, low: int, high: int) -> memoryview:
    """Rows low..high without comments."""
    batch = whole if (low, high) == (0, whole.rows) else whole.part(low, high)
    caplen = batch.caplen.astype(np.int64)
    padded = caplen + 3 & ~3
    flagged = batch.direction != 0
    total = 32 + padded + 12 * flagged
    end = np.cumsum(total)
    at = end - total
    out = np.zeros(int(total.sum()), np.uint8)
    time = batch.time.view(np.uint64)
    late, early = time >> np.uint64(32), time & np.uint64(0xFFFFFFFF)
    scatter(out, at, _words(np.full(batch.rows, ENHANCED), total, batch.port, late, early, caplen, batch.wirelen))
    scatter(out, end - 4, _words(total))
    option = np.full(int(flagged.sum()), _FLAGS | 4 << 16)
    scatter(out, (at + 28 + padded)[flagged], _words(option, batch.direction[flagged]))
    view, source = out.data, batch.data.data
    for to, begin, size in zip((at + 28).tolist(), batch.start.tolist(), caplen.tolist(), strict=True):
        view[to : to + size] = source[begin : begin + size]
    return view


def _words(*columns: np.ndarray[tuple[int], np.dtype[np.integer]]) -> U8:
    """uint8 [rows, 4 x columns]: the columns as little-endian 32-bit words."""
    return np.stack([column.astype("<u4") for column in columns], axis=1).view(np.uint8)


def _reason(error: Exception) -> str:
    return (error.strerror or "unknown reason") if isinstance(error, OSError) else "not a file name"
