"""How fast the screens answer, through a pseudo-terminal: from a key to its picture, to the first picture, to another moment.

    .venv/bin/python scripts/bench_screen.py
"""

from __future__ import annotations

import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from measure import captures
from measure.terminal import VIEWS, Terminal

KEYS = 200
MINUTES, UNIVERSES = 10, 64


def keys(path: Path) -> None:
    """From a key to its picture."""
    terminal = Terminal([sys.executable, "-m", "netwatch", "replay", str(path)])
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
    packets = captures.save_light(path, UNIVERSES, MINUTES * 60 * 44)
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
        keys(ROOT / "captures" / "02-a-long-evening.pcapng.gz")
        moments(folder / "long.pcap")
    finally:
        shutil.rmtree(folder)


if __name__ == "__main__":
    main()
