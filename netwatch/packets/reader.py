"""What the readers of both formats share: from blocks of bytes to batches."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Generator, Iterator

import numpy as np
import numpy.typing as npt

from .batch import I64, MAX_ROWS, TAIL, U8, Item, PacketBatch
from .chain import Found
from .guessed import WORTH, Guessed, unguessed
from .ports import PortTable
from .stream import BLOCK, ByteStream, DamageError

MAX_CAPLEN = 256 << 10
"""More than any network's frame: a longer packet means that its header is damaged."""

FULL = MAX_ROWS - MAX_ROWS // 32
"""Rows that a block should hold at most, were its packets as long as those of the block before."""

_MOST_INT32 = np.iinfo(np.int32).max
Numbers = npt.NDArray[np.signedinteger] | npt.NDArray[np.unsignedinteger]


class Reader(ABC):
    """Items of one file, numbered from 1. Iterating raises ``DamageError`` where the file can't be read further."""

    def __init__(self, stream: ByteStream) -> None:
        self.stream = stream
        self.table = PortTable()
        self.packets = 0
        self.raised = 0
        """Packets whose length on the wire was given as less than what was captured."""
        self.found = Found(self.begin())
        self.stretch = unguessed
        """Of this block's guesses, where lengths change all the time."""
        self._restless = False
        """Did most of the newest rows have another length than the one before?"""

    @abstractmethod
    def guess(self, block: U8, end: int) -> Guessed:
        """Where records of the block may begin from ``found.pos`` on."""

    @abstractmethod
    def follow(self, block: U8, end: int) -> None:
        """Add to ``found`` what is whole up to ``end``, as far as nothing must be looked at first."""

    @abstractmethod
    def scan(self, block: U8, end: int) -> Generator[Item, None, int]:
        """Yield what was found and what is behind it; return where the next record begins (maybe behind ``end``)."""

    @abstractmethod
    def begin(self) -> int:
        """Read the file header from ``stream.head``; where the records begin in it. Raises ``CaptureError``."""

    def __iter__(self) -> Iterator[Item]:
        pos = self.found.pos
        carry, most = np.frombuffer(self.stream.head, np.uint8), BLOCK
        while True:
            self.found = Found(pos)
            block = self.stream.block(carry, most)
            end, before = len(block) - TAIL, self.packets
            self.stretch = self.guess(block, end).stretch if self._restless and end - pos > WORTH else unguessed
            self.follow(block, end)
            pos = yield from self.scan(block, end)
            # A second batch of a few rows would cost what a whole one costs.
            most = min(BLOCK, max(end, 1) * FULL // max(self.packets - before, 1))
            fresh = end > len(carry)
            carry = block[min(pos, end) : end]
            pos = max(0, pos - end)
            if not fresh:
                break
        if self.stream.problem:
            raise DamageError(self.stream.problem)
        if pos or len(carry):
            raise DamageError("the last packet is cut short")

    def batches(
        self, data: U8, start: I64, caplen: Numbers, wirelen: Numbers, time: I64, port: U8, direction: U8
    ) -> Iterator[PacketBatch]:
        """Rows of one block as batches of at most ``MAX_ROWS``."""
        raised = int(np.count_nonzero(wirelen < caplen))
        self.raised += raised
        if raised or int(wirelen.max(initial=0)) > _MOST_INT32:
            wirelen = np.minimum(np.maximum(caplen, wirelen), _MOST_INT32)
        self._restless = 2 * int(np.count_nonzero(caplen[1:] != caplen[:-1])) > len(caplen)
        caps, wires = caplen.astype(np.int32), wirelen.astype(np.int32)
        for column in (start, caps, wires, time, port, direction):
            column.flags.writeable = False
        for low in range(0, len(start), MAX_ROWS):
            rows = slice(low, low + MAX_ROWS)
            batch = PacketBatch(
                data, start[rows], caps[rows], wires[rows], time[rows], port[rows], direction[rows],
                self.packets + 1, self.table.ports,
            )
            self.packets += batch.rows
            yield batch
