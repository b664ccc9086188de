"""A program on a pseudo-terminal: press keys, and see how soon its picture comes."""

from __future__ import annotations

import fcntl
import os
import pty
import random
import select
import signal
import struct
import sys
import termios
import time
from collections.abc import Sequence
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VIEWS = (("2", b"who wins"), ("3", b"address from"), ("4", b"how long"), ("1", b"Multicast will hold"))
"""Keys, and words that only their screens have."""
KEYS = 300
_ECHO = """
import os, tty
tty.setraw(0)
os.write(1, b"ready")
while True:
    os.write(1, b"pressed " + os.read(0, 1))
"""
"""The least that can answer a key."""


def cpu(pid: int, *, main: bool = False) -> float:
    """CPU seconds of a process so far, of all its threads or of the main one alone (Linux)."""
    place = f"/proc/{pid}/task/{pid}/stat" if main else f"/proc/{pid}/stat"
    fields = Path(place).read_text(encoding="ascii").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


class Terminal:
    """A program on a terminal of 140 by 40."""

    def __init__(self, words: Sequence[str]) -> None:
        self.began = time.perf_counter()
        self.pid, self.file = pty.fork()
        if self.pid == 0:
            os.chdir(ROOT)
            os.environ.update(TERM="xterm-256color", PYTHONPATH=str(ROOT))
            os.execvp(words[0], words)
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

    def read_for(self, seconds: float) -> bytes:
        """All that is painted in so long."""
        seen, end = b"", time.perf_counter() + seconds
        while (left := end - time.perf_counter()) > 0:
            if select.select([self.file], [], [], left)[0]:
                seen += os.read(self.file, 1 << 16)
        return seen

    def chunk(self) -> bytes:
        """What is painted next; nothing where nothing comes for half a second."""
        return os.read(self.file, 1 << 16) if select.select([self.file], [], [], 0.5)[0] else b""

    def press(self, keys: bytes, text: bytes) -> float:
        """Seconds from the keys to the text."""
        began = time.perf_counter()
        os.write(self.file, keys)
        return self.until(text) - began

    def cpu(self, *, main: bool = False) -> float:
        """CPU seconds so far, of all threads or of the main one alone (Linux)."""
        return cpu(self.pid, main=main)

    def close(self) -> None:
        """Kill it."""
        os.kill(self.pid, signal.SIGKILL)
        os.waitpid(self.pid, 0)
        os.close(self.file)


def answers(watch: Terminal) -> str:
    """How long keys take, at uneven times so that they meet every moment of a watch.

    In turns with them they are pressed in a program that does nothing but answer: what both are late is the machine's.
    """
    chance, took, least, echo = random.Random(20_261_127), [], [], Terminal([sys.executable, "-c", _ECHO])
    try:
        echo.until(b"ready")
        for number in range(KEYS):
            key, text = VIEWS[number % len(VIEWS)]
            took.append(watch.press(key.encode(), text))
            watch.read_for(0.05 + 0.1 * chance.random())
            least.append(echo.press(key.encode(), b"pressed " + key.encode()))
            watch.read_for(0.05)
    finally:
        echo.close()
    return f"key to picture {_tail(took)}; a program that only echoes {_tail(least)}"


def _tail(took: list[float]) -> str:
    """The middle and the end of many times, given in s."""
    half, most, worst = (1e3 * sorted(took)[min(int(len(took) * part), len(took) - 1)] for part in (0.5, 0.99, 1))
    return f"p50 {half:.0f} ms, p99 {most:.0f} ms, worst {worst:.0f} ms"
