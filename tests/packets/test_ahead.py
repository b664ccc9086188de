"""Reading ahead: the same bytes in the same order, never much of it at once, and what goes wrong comes behind what was read."""

from __future__ import annotations

import threading

import pytest

from netwatch.packets.ahead import PIECES, Ahead


class Source:
    """Pieces of bytes, then an error if there is one, and whether it was closed."""

    def __init__(self, pieces: list[bytes], error: Exception | None = None) -> None:
        self.pieces, self.error, self.asked = pieces, error, 0
        self.closed, self.waits = threading.Event(), threading.Event()

    def read(self, most: int) -> bytes:
        self.asked += 1
        if self.asked > PIECES - 1:
            self.waits.set()
        if self.pieces:
            return self.pieces.pop(0)
        if self.error is not None:
            raise self.error
        return b""

    def ahead(self) -> Ahead:
        return Ahead(self.read, self.closed.set)


def taken(ahead: Ahead, size: int) -> bytes:
    out, view = b"", memoryview(bytearray(size))
    while count := ahead.readinto(view):
        out += bytes(view[:count])
    return out


@pytest.mark.parametrize("size", [1, 3, 100])
def test_all_bytes_in_order(size: int) -> None:
    source = Source([bytes([n]) * (n + 1) for n in range(50)])
    ahead = source.ahead()
    assert taken(ahead, size) == b"".join(bytes([n]) * (n + 1) for n in range(50))
    assert ahead.readinto(memoryview(bytearray(1))) == 0
    assert source.closed.wait(60)


def test_an_error_comes_behind_what_was_read() -> None:
    ahead = Source([b"pond", b"lane"], OSError(5, "Input/output error")).ahead()
    view = memoryview(bytearray(8))
    assert (ahead.readinto(view), bytes(view[:4])) == (4, b"pond")
    assert (ahead.readinto(view), bytes(view[:4])) == (4, b"lane")
    with pytest.raises(OSError, match="Input/output"):
        ahead.readinto(view)
    assert ahead.readinto(view) == 0


def test_only_so_much_waits_and_closing_ends_it() -> None:
    source = Source([b"lamp"] * 100)
    ahead = source.ahead()
    assert source.waits.wait(60)
    ahead.close()
    assert source.closed.wait(60)
    assert len(source.pieces) == 100 - PIECES
    assert len(taken(ahead, 8)) == 4 * PIECES
