"""What the screens cost and how soon they answer, seen from the other side of a pseudo-terminal."""

from __future__ import annotations

import re
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from pathlib import Path

from measure import captures, living
from measure.terminal import ROOT, VIEWS, Terminal, answers

MINUTES, UNIVERSES, MANY = 10, 64, 500
FILLED = VIEWS[-1][1]
_EVENING = ROOT / "captures" / "02-a-long-evening.pcapng.gz"
_PARTS = (0.9, 0.1, 0.55, 0.3, 0.75, 0.99, 0.05, 0.5, 0.33, 0.66, 0.15, 0.83, 0.42, 0.97, 0.01)
_MADE = """
import sys
sys.path[:0] = ["tests/screens"]
from dataclasses import replace
from screen_helpers import Source, alert, host, snapshot, stream
from netwatch.screens.app import NetwatchApp
universes, boxes, alerts = map(int, sys.argv[1:])
class Changing(Source):
    def snapshot(self):
        self.change(packets=self.now.packets + 700)
        return super().snapshot()
NetwatchApp(Changing(snapshot(
    streams=tuple(stream(n, source=f"{n:032x}") for n in range(1, universes + 1)),
    hosts=tuple(host(n % 250, mac=f"02:00:00:00:{n // 250:02x}:{n % 250:02x}") for n in range(boxes)),
    alerts=tuple(alert(n, ("now", "soon", "quality", "tidy")[n % 4]) for n in range(1, alerts + 1)),
))).run()
"""


@contextmanager
def _shown(words: list[str]) -> Iterator[Terminal]:
    terminal = Terminal(words)
    try:
        yield terminal
    finally:
        terminal.close()


def _replay(path: Path) -> list[str]:
    return [sys.executable, "-m", "netwatch", "replay", str(path)]


def _keys(terminal: Terminal, title: str) -> None:
    print(f"{title}: {answers(terminal)}     (to reach: p99 50 ms)")


def first(folder: Path) -> None:
    """From start to the frame, and to the whole story."""
    for path in (_EVENING, _light(folder)):
        frames, whole = [], []
        for _ in range(3):
            with _shown(_replay(path)) as terminal:
                frames.append(terminal.until(b"reading") - terminal.began)
                whole.append(terminal.until(b"end of the capture") - terminal.began)
        print(f"replay {path.name}: first picture {min(frames):.2f} s after start     (to reach: 1 s); "
              f"all read after {min(whole):.2f} s")


def keys(folder: Path) -> None:
    """In a small capture that stands still."""
    with _shown(_replay(_EVENING)) as terminal:
        terminal.until(b"end of the capture")
        terminal.drain(0.5)
        _keys(terminal, "replay, standing still")


def many(folder: Path) -> None:
    """A made picture that changes at every pull: a usual rig beside a large one."""
    for sizes in ((64, 60, 20), (MANY, 300, 200)):
        with _shown([sys.executable, "-c", _MADE, *map(str, sizes)]) as terminal:
            terminal.until(FILLED)
            terminal.drain(0.1)
            title = "made, {} universes, {} boxes, {} alerts".format(*sizes)
            _keys(terminal, title)
            _shares(terminal, title)


def _shares(terminal: Terminal, title: str) -> None:
    """CPU of the thread with the screen, and of all, for each view."""
    told = []
    for key, text in VIEWS:
        terminal.press(key.encode(), text)
        terminal.read_for(1)
        mine, everything, begin = terminal.cpu(main=True), terminal.cpu(), time.perf_counter()
        terminal.read_for(6)
        took = time.perf_counter() - begin
        told.append(f"view {key}: {(terminal.cpu(main=True) - mine) / took:.1%} of {(terminal.cpu() - everything) / took:.1%}")
    print(f"{title}: the screen's thread, of all: {', '.join(told)} of one core     (to reach: 15 %)")


def live(folder: Path) -> None:
    """On a cable that carries universes at 44 Hz."""
    for universes in (UNIVERSES, MANY):
        path, title = folder / f"live-{universes}.pcap", f"live, {universes} universes at 44 Hz"
        captures.save_light(path, universes, 2 * captures.CYCLE if universes == UNIVERSES else captures.CYCLE)
        with living.cable() as ends, _shown(ends.inside(True, *living.WATCH, *living.recorded(folder))) as terminal:
            print(f"{title}: first picture {terminal.until(FILLED) - terminal.began:.2f} s after start     (to reach: 1 s)")
            before = _seen(terminal, 5)[-1]
            with living.sent(ends, path, 600, universes * 44, ordinary=True):
                terminal.read_for(5)
                _shares(terminal, title)
                _keys(terminal, title)
                seen = _seen(terminal, 15)
            _ages(seen, before, universes * 44, title)


def _seen(terminal: Terminal, seconds: float) -> list[tuple[float, int, int]]:
    """For each picture when it came, the packets that it tells, and those that the device had taken by then."""
    seen, end = [], time.perf_counter() + seconds
    while time.perf_counter() < end:
        found = re.findall(rb"([0-9,]+) packets", terminal.chunk())
        if found:
            seen.append((time.perf_counter(), int(found[-1].replace(b",", b"")), _came(terminal.pid)))
    return seen


def _came(pid: int) -> int:
    for line in Path(f"/proc/{pid}/net/dev").read_text(encoding="ascii").splitlines():
        name, _, fields = line.partition(":")
        if name.strip() == "eth0":
            return int(fields.split()[1])
    return 0


def _ages(seen: list[tuple[float, int, int]], before: tuple[float, int, int], rate: int, title: str) -> None:
    """How long it is between two pictures, and how old each is: by the packets that came and are not among those told.

    ``before`` = a picture before the first packet, so that all were told.
    """
    gaps = sorted(after[0] - before[0] for before, after in pairwise(seen))
    untold = before[2] - before[1]
    oldest = max(came - untold - told for _, told, came in seen) / rate + max(gaps)
    print(f"{title}: painted every {1e3 * gaps[len(gaps) // 2]:.0f} ms, at worst {1e3 * gaps[-1]:.0f} ms; what is shown is "
          f"at most {1e3 * oldest:.0f} ms old     (to reach: 300 ms, 700 ms)")


def moments(folder: Path) -> None:
    """From a jump to its picture, in ten minutes of 64 universes."""
    from netwatch.commands.tape import Tape
    from netwatch.numbers import DEFAULTS
    from netwatch.story.play import Player

    began = time.perf_counter()
    tape = Tape([str(_light(folder))], Player(DEFAULTS))
    tape.load(lambda done, total: None)
    tape.finish()
    load, took = time.perf_counter() - began, []
    for part in _PARTS:
        began = time.perf_counter()
        tape.seek(tape.first + int((tape.last - tape.first) * part))
        tape.snapshot()
        took.append(time.perf_counter() - began)
    took.sort()
    print(f"{MINUTES} min of {UNIVERSES} universes: read in {load:.1f} s; a jump takes {took[len(took) // 2]:.2f} s, "
          f"at worst {took[-1]:.2f} s     (to reach: 1 s)")


def _light(folder: Path) -> Path:
    path = folder / "ten-minutes.pcap"
    if not path.exists():
        captures.save_light(path, UNIVERSES, MINUTES * 60 * 44)
    return path
