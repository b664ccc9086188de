"""``--keep``: every item of a session as pcapng, so that reading it back gives the same items (IETF draft-ietf-opsawg-pcapng)."""

from __future__ import annotations

import os
from os import PathLike, fspath
from struct import pack

import numpy as np

from .batch import U8, Item, Mark, PacketBatch, Port
from .blocks import ENHANCED, SECTION, packed_block, packed_options, written_interface, written_mark
from .chain import scatter
from .stream import CaptureError, shown

_APPLICATION = 4  # shb_userappl
_FLAGS = 2  # epb_flags


class Keeper:
    """Writes items as they come, each one whole. Raises ``CaptureError``; never overwrites a file."""

    def __init__(self, path: str | PathLike[str]) -> None:
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
        header = pack("<IHHq", 0x1A2B3C4D, 1, 0, -1) + packed_options([(_APPLICATION, b"netwatch")])
        self._write(packed_block(SECTION, header))

    def write(self, item: Item) -> None:
        """Append a batch or a mark, and the ports that are new with it."""
        for port in item.ports[len(self._ports) :]:
            self._write(written_interface(port))
        self._ports = item.ports
        self._write(written_mark(item) if isinstance(item, Mark) else packed_packets(item))

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


def packed_packets(batch: PacketBatch) -> memoryview:
    """Enhanced packet blocks of a batch, with a flags option where the direction is known."""
    caplen = batch.caplen.astype(np.int64)
    padded = caplen + 3 & ~3
    flagged = batch.direction != 0
    total = 32 + padded + 12 * flagged
    end = np.cumsum(total)
    at = end - total
    out = np.zeros(int(total.sum()), np.uint8)
    time = batch.time.view(np.uint64)
    high, low = time >> np.uint64(32), time & np.uint64(0xFFFFFFFF)
    scatter(out, at, _words(np.full(batch.rows, ENHANCED), total, batch.port, high, low, caplen, batch.wirelen))
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
