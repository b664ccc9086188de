"""Bytes from a file, gzip or a pipe, in fresh blocks; and the two ways in which reading fails."""

from __future__ import annotations

import io
import os
import select
import stat
import time
import zlib
from collections.abc import Callable

import numpy as np

from ..words.hidden import shown
from .ahead import Ahead
from .batch import MAX_BYTES, TAIL, U8

BLOCK = MAX_BYTES
"""Bytes read at once: large enough to cost little a packet, small enough that its columns stay in the cache."""
FIRST_BLOCK = 512 << 10
"""And each further one eight times as large: headers of the first block are all new, and what is new is folded tick by tick."""

HEAD = 24
"""Bytes that decide which format a file has; a pcap file header."""

WAIT_S = 0.2
"""A pipe's block is handed on when it is full or this old."""

STDIN = "-"

_GZIP = b"\x1f\x8b"


class CaptureError(Exception):
    """Nothing can be read from a file, or written to one. One sentence: what is wrong and what to do."""


class DamageError(Exception):
    """Why the reading of a file ends before its end, as half a sentence; what was read so far is kept."""


def shown_path(path: str) -> str:
    """A file's name as messages give it."""
    return "standard input" if path == STDIN else shown(path)


def is_regular(path: str) -> bool:
    """Whether something can be read a second time: a plain file or a folder of them, not a pipe, not standard input."""
    return path != STDIN and (os.path.isfile(path) or os.path.isdir(path))


class ByteStream:
    """One input, unpacked if it is gzip. Raises ``CaptureError`` where nothing can be read."""

    def __init__(self, path: str, block: int = BLOCK) -> None:
        self.name = shown_path(path)
        self.taken = 0
        """Bytes read from the file itself (packed ones if it is gzip)."""
        self.problem: str | None = None
        """Why the input ended early: an error of the disk or of the packing."""
        self._block, self._next = block, min(block, FIRST_BLOCK)
        self._raw = _open(path, self.name)
        self._readinto: Callable[[memoryview], int] = self._read_raw
        self._inflater: _Inflater | None = None
        self._ahead: Ahead | None = None
        try:
            status = os.fstat(self._raw.fileno())
            self.total = status.st_size if stat.S_ISREG(status.st_mode) else None
            """Bytes of the file itself; None for a pipe."""
            self.head = self._read_head()
            """The first ``HEAD`` bytes, fewer if there are no more."""
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        if self._ahead is None:
            self._raw.close()
        else:
            self._ahead.close()

    def block(self, carry: U8, most: int = BLOCK) -> U8:
        """``carry``, at most ``most`` bytes that follow it, TAIL zero bytes; read-only. Nothing follows at the input's end."""
        block = np.empty(len(carry) + min(most, self._next, MAX_BYTES - len(carry)) + TAIL, np.uint8)
        if self._next == BLOCK:
            self._read_ahead()
        self._next = min(8 * self._next, self._block)
        block[: len(carry)] = carry
        end = self._fill(block.data[:-TAIL], len(carry))
        block[end : end + TAIL] = 0
        block.flags.writeable = False
        return block[: end + TAIL]

    def _read_ahead(self) -> None:
        """Where it is packed, and no pipe, whose reader must not wait for more than there is."""
        if self._ahead is None and self._inflater is not None and self.total is not None:
            self._ahead = Ahead(self._inflater.read, self._raw.close)
            self._readinto = self._ahead.readinto

    def _read_head(self) -> bytes:
        first = self._exactly(len(_GZIP))
        if first != _GZIP:
            return first + self._exactly(HEAD - len(first))
        self._inflater = _Inflater(self._read_raw, first)
        self._readinto = self._inflater.readinto
        return self._exactly(HEAD)

    def _exactly(self, size: int) -> bytes:
        head = bytearray(size)
        return bytes(head[: self._fill(memoryview(head), patient=True)])

    def _fill(self, view: memoryview, got: int = 0, *, patient: bool = False) -> int:
        """Read until ``view`` is full, the input ends, or a pipe has nothing more for now: how much there is then."""
        until = time.monotonic() + WAIT_S
        while got < len(view) and self.problem is None:
            try:
                count = self._readinto(view[got:])
            except OSError as error:
                self.problem = f"reading stopped with '{error.strerror}'"
                break
            except DamageError as error:
                self.problem = str(error)
                break
            except ValueError:
                if not self._raw.closed:
                    raise
                break
            if not count:
                break
            got += count
            if self.total is None and not patient and not self._more(until):
                break
        return got

    def _read_raw(self, view: memoryview) -> int:
        count = self._raw.readinto(view)
        while count is None:  # somebody made the pipe non-blocking
            select.select([self._raw], [], [])
            count = self._raw.readinto(view)
        self.taken += count
        return count

    def _more(self, until: float) -> bool:
        try:
            return bool(select.select([self._raw], [], [], max(0.0, until - time.monotonic()))[0])
        except OSError:  # systems on which only sockets can be waited for
            return True


class _Inflater:
    """Unpacks gzip as it comes, several members one after another (RFC 1952 2.2)."""

    CHUNK = 1 << 20

    def __init__(self, readinto: Callable[[memoryview], int], first: bytes) -> None:
        self._readinto = readinto
        self._packed = first
        self._chunk = memoryview(bytearray(self.CHUNK))
        self._member = zlib.decompressobj(wbits=31)

    def readinto(self, view: memoryview) -> int:
        """Unpacked bytes; 0 at the end. Raises ``DamageError``."""
        out = self.read(len(view))
        view[: len(out)] = out
        return len(out)

    def read(self, most: int) -> bytes:
        """Unpacked bytes, none at the end. Raises ``DamageError``."""
        while True:
            more = bool(self._packed) or self._refill()
            if self._member.eof and not self._next_member():
                if more:
                    continue
                return b""
            before = self._member.copy()
            try:
                out = self._member.decompress(self._packed, most)
            except zlib.error:
                return self._rescue(before, most)
            self._packed = self._member.unused_data if self._member.eof else self._member.unconsumed_tail
            if out:
                return out
            if not more and not self._member.eof:
                raise DamageError("the gzip file is cut short")

    def _rescue(self, member: zlib._Decompress, wanted: int) -> bytes:
        """What can be unpacked before a damaged place: zlib itself gives nothing of a piece that holds one."""
        out, size, most = b"", len(self._packed), wanted
        while self._packed and len(out) < wanted:
            tried = member.copy()
            try:
                piece = tried.decompress(self._packed[:size], most)
            except zlib.error:
                if size > 1:
                    size //= 2
                elif most > 1:
                    most = 1
                elif size:
                    size = 0  # what is still inside comes without another octet
                else:
                    break
                continue
            if not size and not piece:
                break
            member, out = tried, out + piece
            self._packed = member.unconsumed_tail + self._packed[size:]
            most = min(most, wanted - len(out))
        self._member = member
        if not out:
            raise DamageError("the gzip packing is damaged from here on")
        return out

    def _refill(self) -> bool:
        count = self._readinto(self._chunk)
        self._packed = bytes(self._chunk[:count])
        return count > 0

    def _next_member(self) -> bool:
        """Begin the next member, if there is one behind the zeros that may fill up a tape block."""
        self._packed = self._packed.lstrip(b"\0")
        if self._packed:
            self._member = zlib.decompressobj(wbits=31)
        return bool(self._packed)


def _open(path: str, name: str) -> io.FileIO:
    """The file itself, unbuffered."""
    try:
        return io.FileIO(0, closefd=False) if path == STDIN else io.FileIO(path)
    except FileNotFoundError:
        raise CaptureError(f"{name} does not exist; check its name and folder.") from None
    except PermissionError:
        raise CaptureError(f"You may not read {name}; ask its owner for it, or change its rights.") from None
    except (OSError, ValueError) as error:
        reason = error.strerror if isinstance(error, OSError) else "not a file name"
        raise CaptureError(f"{name} can't be opened ({reason}); check its name, or copy it to this computer.") from None
