"""The newest minute and a half of packets in memory, packed as they would stand in a file: what a slice begins with.

A chunk is the packed blocks of one batch, or a mark. Numbers of packets rise from chunk to chunk; where recording gave way some
are missing.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from struct import unpack_from

from netwatch.packets.batch import BatchBuilder, Mark, PacketBatch, Port
from netwatch.packets.blocks import written_mark
from netwatch.packets.keep import packed_packets

_HEAD = "<IIIIIII"
"""Block type, total length, interface, time (high, low), captured and original length of an enhanced packet block."""
_FLAGS = 2


@dataclass(frozen=True, slots=True)
class Chunk:
    """Blocks of a pcapng file. Fold times in ns: what is kept around an alert must not hang on a clock that was set."""

    blocks: memoryview
    ports: tuple[Port, ...]
    first: int
    last: int
    n: int = 0
    """Number of its first packet; 0 in a mark."""
    rows: int = 0


def chunk_of(item: PacketBatch | Mark, first: int, last: int) -> Chunk:
    """A mark, or a batch of one row at least, and when it begins and ends."""
    if isinstance(item, Mark):
        return Chunk(memoryview(written_mark(item)), item.ports, first, last)
    return Chunk(packed_packets(item), item.ports, first, last, item.first, item.rows)


class Recent:
    """Chunks of the newest ``span`` ns, in at most ``most`` bytes."""

    def __init__(self, span: int, most: int) -> None:
        self.span, self._most = span, most
        self._bytes = 0
        self._newest = 0
        self.chunks: deque[Chunk] = deque()
        self.short: int | None = None
        """ns that were last held, where the bytes were not enough for the span."""

    def add(self, chunk: Chunk) -> None:
        """The newest one."""
        self.chunks.append(chunk)
        self._bytes += len(chunk.blocks)
        self._newest = max(self._newest, chunk.last)
        while self.chunks and self.chunks[0].last < self._newest - self.span:
            self._bytes -= len(self.chunks.popleft().blocks)
        while self._bytes > self._most and len(self.chunks) > 1:
            self._bytes -= len(self.chunks.popleft().blocks)
            self.short = self._newest - self.chunks[0].first

    def since(self, time: int) -> Iterator[Chunk]:
        """Chunks that reach beyond ``time`` (ns)."""
        return (chunk for chunk in self.chunks if chunk.last >= time)

    def behind(self, last: Chunk | None) -> list[Chunk]:
        """Chunks that came after ``last``; all where that one is no longer held."""
        chunks = list(self.chunks)
        place = next((at for at, chunk in enumerate(chunks) if chunk is last), -1)
        return chunks[place + 1 :]

    def found(self, numbers: Collection[int]) -> dict[int, PacketBatch]:
        """Packets that are still here, as batches of one row."""
        out = {}
        for chunk in self.chunks:
            for n in sorted(n for n in numbers if chunk.n <= n < chunk.n + chunk.rows):
                out[n] = _row(chunk, n)
        return out


def _row(chunk: Chunk, n: int) -> PacketBatch:
    """One packet of a chunk, by walking over the blocks before it."""
    at = 0
    for _ in range(n - chunk.n):
        at += unpack_from("<I", chunk.blocks, at + 4)[0]
    _, total, port, high, low, caplen, wirelen = unpack_from(_HEAD, chunk.blocks, at)
    padded = caplen + 3 & ~3
    flagged = total > 32 + padded and unpack_from("<H", chunk.blocks, at + 28 + padded)[0] == _FLAGS
    direction = unpack_from("<I", chunk.blocks, at + 32 + padded)[0] & 3 if flagged else 0
    builder = BatchBuilder(chunk.ports, n)
    builder.add(bytes(chunk.blocks[at + 28 : at + 28 + caplen]), high << 32 | low, port, direction, wirelen)
    return builder.take()


def with_chunk(runs: list[list[int]], chunk: Chunk) -> None:
    """Note the numbers of a file's next packets: [[first, how many], ...]."""
    if not chunk.rows:
        return
    if runs and sum(runs[-1]) == chunk.n:
        runs[-1][1] += chunk.rows
    else:
        runs.append([chunk.n, chunk.rows])
