"""A bad cable, as a program of its own: passes frames between two interfaces late, unevenly, out of order or slowly.

    python3 cable.py w0 w1

A line on its standard input says how from then on, both ways: ``delay MS jitter MS reorder PERCENT rate KBIT``. What a line
does not name is 0, and a rate of 0 is no limit. It ends with its input.
"""

from __future__ import annotations

import heapq
import random
import select
import socket
import sys
import time
from dataclasses import dataclass, field

ALL_PROTOCOLS, SOL_PACKET, PACKET_ADD_MEMBERSHIP, PACKET_IGNORE_OUTGOING = 0x0003, 263, 1, 23
"""From the kernel's if_ether.h and if_packet.h."""
HELD_BACK = 0.06
"""s that a frame waits which others shall overtake: two frames of a stream of 40 Hz."""
QUEUE = 0.25
"""s of sending time that wait for a slow cable; more is thrown away."""


@dataclass
class Manner:
    """How the cable is: ms, ms, per cent, kbit/s."""

    delay: float = 0
    jitter: float = 0
    reorder: float = 0
    rate: float = 0


@dataclass
class Way:
    """One direction. Frames stay in order but for those that are held back."""

    chance: random.Random
    waiting: list[tuple[float, int, bytes]] = field(default_factory=list)
    newest: float = 0.0
    """When the newest frame is passed on."""
    free: float = 0.0
    """When the cable has sent all that came so far."""
    count: int = 0

    def take(self, frame: bytes, manner: Manner, now: float) -> None:
        """A frame came in."""
        self.free = max(self.free, now)
        if self.free - now > QUEUE:
            return
        if manner.rate:
            self.free += len(frame) * 8 / (manner.rate * 1000)
        due = max(self.newest, self.free + (manner.delay + self.chance.random() * manner.jitter) / 1000)
        if self.chance.random() * 100 < manner.reorder:
            due += HELD_BACK
        else:
            self.newest = due
        self.count += 1
        heapq.heappush(self.waiting, (due, self.count, frame))

    def due(self, now: float) -> list[bytes]:
        """Frames whose time has come."""
        out = []
        while self.waiting and self.waiting[0][0] <= now:
            out.append(heapq.heappop(self.waiting)[2])
        return out


def main() -> None:
    """Run until the input ends."""
    ends = [_open(name) for name in sys.argv[1:3]]
    ways = [Way(random.Random(number)) for number in range(2)]
    manner = Manner()
    poll = select.poll()
    for each in (*ends, sys.stdin):
        poll.register(each, select.POLLIN)
    while True:
        nearest = min((way.waiting[0][0] for way in ways if way.waiting), default=None)
        wait = None if nearest is None else max(0.0, nearest - time.monotonic()) * 1000
        ready = {handle for handle, _ in poll.poll(wait)}
        now = time.monotonic()
        if sys.stdin.fileno() in ready:
            line = sys.stdin.readline()
            if not line:
                return
            words = line.split()
            manner = Manner(**{name: float(value) for name, value in zip(words[::2], words[1::2], strict=True)})
        for end, other, way in zip(ends, reversed(ends), ways, strict=True):
            if end.fileno() in ready:
                way.take(end.recv(65_536), manner, now)
            for frame in way.due(now):
                other.send(frame)


def _open(name: str) -> socket.socket:
    """A packet socket that hears all that comes in on an interface, and nothing that it sends itself."""
    made = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(ALL_PROTOCOLS))
    made.setsockopt(SOL_PACKET, PACKET_IGNORE_OUTGOING, 1)
    made.bind((name, ALL_PROTOCOLS))
    promiscuous = socket.if_nametoindex(name).to_bytes(4, sys.byteorder) + (1).to_bytes(2, sys.byteorder) + bytes(10)
    made.setsockopt(SOL_PACKET, PACKET_ADD_MEMBERSHIP, promiscuous)
    return made


if __name__ == "__main__":
    main()
