"""What recording costs: a guard's CPU and losses on a live wire, and twelve hours of 64 universes at speed.

    .venv/bin/python scripts/bench_record.py [guard] [night]

``guard`` needs root, Linux and tcpreplay. ``night`` takes some minutes; NIGHT_HOURS sets another length.
"""

from __future__ import annotations

import os
import re
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
from measure import captures
from measure.living import LINE_RATE, Cable, cable, sent
from measure.terminal import ROOT, cpu

sys.path.insert(0, str(ROOT))

from netwatch.packets.batch import TAIL, Item, Mark, PacketBatch, Port

UNIVERSES, HZ = 64, 44
NS = 1_000_000_000
SEQUENCE = 14 + 20 + 8 + 111
"""Octet of a frame where E1.31 counts (table 4-1)."""


# ---- a live wire ----


def guard(folder: Path) -> None:
    """CPU of a watch without and with recording, and of a guard; then at gigabit line rate, who loses what."""
    if os.geteuid() != 0 or not shutil.which("tcpreplay"):
        print("guard: needs root, Linux and tcpreplay")
        return
    capture = folder / "line.pcap"
    captures.save_light(capture, UNIVERSES, 2 * captures.CYCLE)
    for title, pps, words in (
        ("64 universes, watch --no-record", UNIVERSES * HZ, ["watch", "--no-record"]),
        ("64 universes, watch", UNIVERSES * HZ, ["watch"]),
        ("64 universes, guard", UNIVERSES * HZ, ["guard"]),
        ("gigabit line rate, watch --no-record", LINE_RATE, ["watch", "--no-record"]),
        ("gigabit line rate, guard", LINE_RATE, ["guard"]),
    ):
        with cable() as ends:
            _wire(ends, capture, pps, title, [*words, "--journal", str(folder / title)] if "--no-record" not in words else words)


def _wire(ends: Cable, capture: Path, pps: int, title: str, words: list[str]) -> None:
    """Listen for half a minute; what it cost between the 8th and the 28th second."""
    command = ends.inside(True, sys.executable, "-m", "netwatch", *words, "--on", "eth0")
    command += [] if words[0] == "guard" else ["--plain"]
    with sent(ends, capture, 34, pps):
        program = subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(8)
        before = cpu(program.pid)
        time.sleep(20)
        used = cpu(program.pid) - before
        program.send_signal(signal.SIGINT)
        out, err = program.communicate(timeout=60)
    dropped = re.search(r"([\d,]+) packets? (?:was|were) dropped", out)
    lost = re.search(r"([\d,]+) packets? (?:was|were) not recorded", err)
    print(f"{title}: {100 * used / 20:.1f} % of one core, {dropped[1] if dropped else 'none'} dropped by the system, "
          f"{lost[1] if lost else 'none'} not recorded")  # fmt: skip


# ---- a night at speed ----


def seconds(count: int) -> Iterator[Item]:
    """One batch and one mark a second: 64 full universes that fade."""
    ports = (Port("eth0", 1, source="ring"),)
    ramp = np.arange(512)
    rows = UNIVERSES * HZ
    frames = np.stack([
        np.frombuffer(captures.e131(row % UNIVERSES + 1, 0, bytes(((ramp + row // UNIVERSES) % 256).tolist())), np.uint8)
        for row in range(rows)
    ])  # fmt: skip
    size = frames.shape[1]
    number = np.arange(rows) // UNIVERSES
    within = number * NS // HZ + np.arange(rows) % UNIVERSES * 4_000
    start, length = np.arange(rows, dtype=np.int64) * size, np.full(rows, size, np.int32)
    zero = np.zeros(rows, np.uint8)
    for second in range(count):
        frames[:, SEQUENCE] = (second * HZ + number) & 255
        data = np.concatenate([frames.reshape(-1), np.zeros(TAIL, np.uint8)])
        at = (captures.START + second) * NS
        yield PacketBatch(data, start, length, length, at + within, zero, zero, second * rows + 1, ports)
        yield Mark(at + NS - 1, 0, (second + 1) * rows, 0, {"link": True} if not second else None, ports)


def night(folder: Path) -> None:
    """Twelve hours as a guard keeps them: memory by the hour, the journal's size, the time of a report."""
    from netwatch.commands.recording import Recording
    from netwatch.commands.session import Session
    from netwatch.numbers import DEFAULTS
    from netwatch.record.cutting import Cutter
    from netwatch.record.journal import Journal
    from netwatch.record.readback import FILE
    from netwatch.record.stores import Limits, PacketStores
    from netwatch.story.play import Player

    hours = float(os.environ.get("NIGHT_HOURS", "12"))
    kept = folder / "night"
    kept.mkdir()
    stores = PacketStores(kept, DEFAULTS, Limits.of(DEFAULTS, 2 << 30), Cutter())
    source = Wire(int(hours * 3600))
    kept_by = Recording(Journal(kept / FILE), stores)
    session = Session(source, Player(DEFAULTS, live=True), None, kept_by)  # type: ignore[arg-type]
    source.session = session
    begin = time.perf_counter()
    session.start()
    session.wait(None)
    session.stop()
    took = time.perf_counter() - begin
    first, last = source.resident[0], source.resident[-1]
    print(f"night: {hours:g} h of 64 universes in {took:.0f} s ({hours * 3600 / took:.0f} times real time)")
    print(f"  memory after the first hour {first:.0f} MB, at the end {last:.0f} MB ({100 * (last / first - 1):+.1f} %)")
    print(f"  journal {(kept / FILE).stat().st_size / 1e6:.1f} MB, capture "
          f"{sum(path.stat().st_size for path in kept.glob('capture-*')) / 1e9:.2f} GB, given up: {session.recorder.given_up:,}")  # type: ignore[union-attr]
    begin = time.perf_counter()
    report = [sys.executable, "-m", "netwatch", "report", str(kept), "-o", str(folder / "report.html")]
    subprocess.run(report, cwd=ROOT, check=False)
    print(f"  report in {time.perf_counter() - begin:.1f} s, start of Python included")


class Wire:
    """Hands the seconds over as fast as they are folded and recorded, and notes the memory each hour."""

    def __init__(self, count: int) -> None:
        self.files: list[object] = []
        self.ports: tuple[Port, ...] = ()
        self.session: object = None
        self.resident: list[float] = []
        self._count = count

    def say(self, facts: object, port: int = 0) -> None:
        print("said:", facts)

    def __iter__(self) -> Iterator[Item]:
        for number, item in enumerate(seconds(self._count), 1):
            while self.session.recorder.waiting > 8 << 20:  # type: ignore[attr-defined]
                time.sleep(0.0005)
            yield item
            if number % 7_200 == 0:
                self.resident.append(resident())
        self.resident.append(resident())

    def close(self) -> None:
        """It ends by itself."""


def resident() -> float:
    """MB of memory that this process holds now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * resource.getpagesize() / 1e6


BENCHES = {"guard": guard, "night": night}


def main() -> None:
    """Run the named benches, or both."""
    for name in sys.argv[1:] or BENCHES:
        with tempfile.TemporaryDirectory() as folder:
            BENCHES[name](Path(folder))


if __name__ == "__main__":
    main()
