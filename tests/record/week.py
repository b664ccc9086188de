"""A guard that runs for days, at speed: small stores, and the largest that it ever took on the disk and in memory.

    python -m tests.record.week FOLDER HOURS

Eight universes that move; each minute a few phones with new MACs, each twenty minutes a mark, each hour two controllers that
fight.
"""

from __future__ import annotations

import json
import os
import random
import resource
import sys
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np

from netwatch.commands.recording import MIB, Recording
from netwatch.commands.session import Session
from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import TAIL, BatchBuilder, Item, Mark, PacketBatch, Port
from netwatch.record import rolling
from netwatch.record.cutting import Cutter
from netwatch.record.journal import Journal
from netwatch.record.readback import FILE
from netwatch.record.stores import Limits, PacketStores
from netwatch.story.play import Player
from tests.stories import frames
from tests.stories.boxes import BACKUP, DESK, Box
from tests.stories.playing import NS, START

PORTS = (Port("eth0", 1, source="ring"),)
UNIVERSES, STEPS = 8, 60
SEQUENCE = 14 + 20 + 8 + 111
"""Octet of a frame where E1.31 counts (table 4-1)."""
MOST = {"journal": 9 * MIB // 2, "capture": 2 * MIB, "talk": MIB, "slice": MIB}
NUMBERS = replace(DEFAULTS, talk_mib=1.0, slices_mib=1.0, recent_mib=2.0, cap_hosts=256)


def days(hours: int) -> Iterator[Item]:
    """Batches and marks, minute by minute."""
    chosen, n = random.Random(9), 1
    rows = [(step, universe) for step in range(STEPS) for universe in range(1, UNIVERSES + 1)]
    made = np.stack([np.frombuffer(frames.e131(DESK, u, 0, bytes([step % 256, u] * 20)), np.uint8) for step, u in rows])
    step = np.array([step for step, _ in rows])
    start, length = np.arange(len(rows)) * made.shape[1], np.full(len(rows), made.shape[1], np.int32)
    zero = np.zeros(len(rows), np.uint8)
    for minute in range(hours * 60):
        at = START + minute * 60 * NS
        made[:, SEQUENCE] = (minute * STEPS + step) & 255
        data = np.concatenate([made.reshape(-1), np.zeros(TAIL, np.uint8)])
        yield PacketBatch(data, start, length, length, at + step * NS, zero, zero, n, PORTS)
        n += len(rows)
        yield Mark(at + 60 * NS - 2, 0, n, 0, {"word": "walked past"} if minute % 20 == 19 else {"link": True}, PORTS)
        extra = BatchBuilder(PORTS, n)
        for _ in range(5):
            mac = bytes([2, *chosen.randbytes(5)]).hex(":")
            phone = Box("", mac, f"10.0.{chosen.randrange(256)}.{chosen.randrange(256)}")
            extra.add(frames.arp(phone, "10.0.0.1"), at + 60 * NS - 1, 0)
        for again in range(200 if minute % 60 == 30 else 0):
            levels = bytes([again % 2 * 200] * 40)
            extra.add(frames.e131((DESK, BACKUP)[again % 2], 1, minute * STEPS + again // 2, levels), at + 60 * NS - 1, 0)
        batch = extra.take()
        n += batch.rows
        yield batch


class Days:
    """Hands them over as fast as they are folded and recorded, and looks at disk and memory."""

    def __init__(self, folder: Path, hours: int) -> None:
        self.files: list[object] = []
        self.ports = PORTS
        self.session: Session | None = None
        self.largest = dict.fromkeys(MOST, 0)
        self.resident: list[int] = []
        self._folder, self._hours = folder, hours

    def say(self, facts: object, port: int = 0) -> None:
        """Nothing is expected."""
        print("said:", facts, file=sys.stderr)

    def __iter__(self) -> Iterator[Item]:
        for number, item in enumerate(days(self._hours)):
            while self.session is not None and self.session.recorder is not None and self.session.recorder.waiting > MIB:
                os.sched_yield()
            yield item
            if number % 30 == 0:
                self.look()
            if number % (self._hours * 60) == self._hours * 60 - 1:
                self.resident.append(int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize())

    def look(self) -> None:
        """How much of the disk each store takes."""
        for kind in MOST:
            size = 0
            for path in self._folder.glob(f"{kind}*"):
                try:
                    size += path.stat().st_size
                except FileNotFoundError:
                    continue
            self.largest[kind] = max(self.largest[kind], size)

    def close(self) -> None:
        """It ends by itself."""


def main(folder: Path, hours: int) -> None:
    """Play it; what was the largest, as JSON."""
    rolling.LEAST = 1 << 16
    stores = PacketStores(folder, NUMBERS, Limits.of(NUMBERS, MOST["capture"]), Cutter())
    source = Days(folder, hours)
    recording = Recording(Journal(folder / FILE, MOST["journal"]), stores)
    run = source.session = Session(source, Player(NUMBERS, "mirror", live=True), None, recording)  # type: ignore[arg-type]
    run.start()
    run.wait(None)
    run.stop()
    source.look()
    assert run.recorder is not None
    print(json.dumps({"largest": source.largest, "resident": source.resident, "given_up": run.recorder.given_up}))


if __name__ == "__main__":
    main(Path(sys.argv[1]), int(sys.argv[2]))
