"""How fast the screens answer, through a pseudo-terminal: from a key to its picture, to the first picture, to another moment.

    .venv/bin/python scripts/bench_screen.py
"""

from __future__ import annotations

import fcntl
import os
import pty
import select
import shutil
import signal
import statistics
import struct
import sys
import tempfile
import termios
import time
from pathlib import Path

import bench

KEYS = 200
VIEWS = (("2", b"who wins"), ("3", b"address from"), ("4", b"how long"), ("1", b"Alerts, worst"))
MINUTES, UNIVERSES = 10, 64


class Terminal:
    """A program on a terminal of 140 by 40."""

    def __init__(self, *words: str) -> None:
        self.began = time.perf_counter()
        self.pid, self.file = pty.fork()
        if self.pid == 0:
            os.chdir(bench.ROOT)
            os.environ.update(TERM="xterm-256color", PYTHONPATH=str(bench.ROOT))
            os.execv(sys.executable, [sys.executable, "-m", "netwatch", *words])
        fcntl.ioctl(self.file, termios.TIOCSWINSZ, struct.pack("HHHH", 40, 140, 0, 0))

    def until(self, text: bytes, seconds: float = 120.0) -> float:
        """When the text was written; the terminal's moving of the cursor between its words doesn't count."""
        seen, end = b"", time.perf_counter() + seconds
        while time.perf_counter() < end:
            if select.select([self.file], [], [], 0.5)[0]:
                seen += os.read(self.file, 1 << 16)
                if text in seen:
                    return time.perf_counter()
        raise SystemExit(f"{text!r} did not come within {seconds:.0f} s; last came {seen[-300:]!r}")

    def drain(self, seconds: float) -> None:
        """Let everything that is still painted come."""
        while select.select([self.file], [], [], seconds)[0]:
            os.read(self.file, 1 << 16)

    def press(self, keys: bytes, text: bytes) -> float:
        """Seconds from the keys to the text."""
        began = time.perf_counter()
        os.write(self.file, keys)
        return self.until(text) - began

    def close(self) -> None:
        """Kill it."""
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.file)


def keys(path: Path) -> None:
    """From a key to its picture."""
    terminal = Terminal("replay", str(path))
    first = terminal.until(b"Alerts, worst") - terminal.began
    terminal.drain(1.0)
    took = []
    for number in range(KEYS):
        key, text = VIEWS[number % len(VIEWS)]
        took.append(terminal.press(key.encode(), text))
        terminal.drain(0.05)
    terminal.close()
    took.sort()
    print(f"first picture of a small capture   {first:6.2f} s after start")
    print(f"key to picture, {KEYS} keys           p50 {statistics.median(took) * 1e3:5.0f} ms   p99 {took[int(KEYS * 0.99)] * 1e3:5.0f} ms")


def moments(path: Path) -> None:
    """From a jump to its picture, in ten minutes of 64 universes."""
    packets = bench.write(path, UNIVERSES, MINUTES * 60)
    sys.path.insert(0, str(bench.ROOT))
    from netwatch.commands.tape import Tape
    from netwatch.numbers import DEFAULTS
    from netwatch.story.play import Player

    began = time.perf_counter()
    tape = Tape([str(path)], Player(DEFAULTS))
    tape.load(lambda done, total: None)
    tape.finish()
    load = time.perf_counter() - began
    took = []
    for part in (0.9, 0.1, 0.55, 0.3, 0.75, 0.99, 0.05, 0.5, 0.33, 0.66):
        began = time.perf_counter()
        tape.seek(tape.first + int((tape.last - tape.first) * part))
        tape.snapshot()
        took.append(time.perf_counter() - began)
    print(f"{MINUTES} min of {UNIVERSES} universes, {packets:,} packets: read in {load:.1f} s")
    print(f"jump to any moment of it           median {statistics.median(took):5.2f} s   worst {max(took):5.2f} s")


def main() -> None:
    """All, one after the other."""
    folder = Path(tempfile.mkdtemp(prefix="netwatch-bench-"))
    try:
        keys(bench.ROOT / "captures" / "02-a-long-evening.pcapng.gz")
        moments(folder / "long.pcap")
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
