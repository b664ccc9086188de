"""A live session that is fed from a capture instead of a wire, for tests of recording.

    python -m tests.record.fed CAPTURE FOLDER [ROWS]

As a program it plays the capture in batches of ROWS packets, and writes each line of what happened to standard output as soon
as it may be told, ending in a line 'done'.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path

from netwatch.commands.recording import Recording
from netwatch.commands.session import Session
from netwatch.numbers import DEFAULTS, Numbers
from netwatch.packets.batch import FileSeen, Item, PacketBatch, Port
from netwatch.packets.files import open_captures
from netwatch.record.cutting import Cutter
from netwatch.record.journal import Journal
from netwatch.record.readback import FILE
from netwatch.record.stores import Limits, PacketStores
from netwatch.story.play import Player


class Fed:
    """A source that hands items over as they are asked for, until it is closed."""

    def __init__(self, items: Iterable[Item], rows: int = 200) -> None:
        self.files: list[FileSeen] = []
        self.ports: tuple[Port, ...] = ()
        self._items, self._rows, self._closed = items, rows, False
        self.said: list[Mapping[str, object]] = []

    def say(self, facts: Mapping[str, object], port: int = 0) -> None:
        """What would go into the stream."""
        self.said.append(facts)

    def __iter__(self) -> Iterator[Item]:
        for item in self._items:
            parts: Iterable[Item] = (item,)
            if isinstance(item, PacketBatch):
                parts = (item.part(low, min(low + self._rows, item.rows)) for low in range(0, item.rows, self._rows))
            for part in parts:
                if self._closed:
                    return
                yield part

    def close(self) -> None:
        self._closed = True


def session(
    items: Iterable[Item], folder: Path, rows: int = 200, numbers: Numbers = DEFAULTS, capture: int | None = None,
    cutter: Cutter | None = None,
) -> Session:  # fmt: skip
    """A session that is recorded in ``folder``; not started. ``capture`` = bytes of a rolling capture."""
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    stores = PacketStores(folder, numbers, Limits.of(numbers, capture), cutter or Cutter())
    recording = Recording(Journal(folder / FILE), stores)
    return Session(Fed(items, rows), Player(numbers, live=True), None, recording)  # type: ignore[arg-type]


def until(condition: object, seconds: float = 60.0) -> None:
    """Wait for a described condition; fails where it never comes."""
    end = time.monotonic() + seconds
    while not condition():  # type: ignore[operator]
        assert time.monotonic() < end, "it never came"
        time.sleep(0.01)


def main(capture: str, folder: str, rows: str = "20") -> None:
    """Play it, telling what may be told."""
    run = session(open_captures([capture]), Path(folder), int(rows))
    run.start()
    told, over = 0, False
    while not over:
        over = run.wait(0.01)
        news = run.happenings(told)
        told += len(news)
        for line in news:
            print(line.at, line.what, line.alert, line.text, flush=True)
    run.stop()
    print("done", flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
