"""A million invented entries of each kind, while an honest rig goes on: do caps hold, how much memory, who was pushed out?

The makers are those of the scaled-down tests (``tests/network/test_floods.py``). Each flood runs in a process of its own.
"""

from __future__ import annotations

import heapq
import json
import resource
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from netwatch.numbers import DEFAULTS
from netwatch.packets.batch import BatchBuilder, PacketBatch, Port
from netwatch.report import text
from netwatch.story.document import document
from netwatch.story.play import Player

ROOT = Path(__file__).resolve().parents[2]
MANY = 1_000_000
RATE = 20_000
"""Frames a second: a laptop that does nothing else makes so many."""
SLOW_RATE = 1_000
"""For kinds that become records: at the other rate most are only counted, which spares the table."""
RECORDS = ("DHCP", "groups", "queriers", "ArtPoll", "binds", "lists")
ROWS = 2_048
BEFORE_S = 10


def floods(folder: Path) -> None:
    """The table; ``folder`` is not needed."""
    from tests.network.test_floods import FLOODS

    print(f"floods: {MANY:,} invented entries of each kind while an honest rig goes on; MB = most memory of the whole process")
    print(f"  {'what':28} {'table':14} {'cap':>6} {'held':>6} {'refused':>9} {'evicted':>9} {'counted':>9} honest   MB  s CPU")
    for name in ("none", *FLOODS):
        said = _alone(name)
        print(f"  {name:28} {said['table']:14} {said['cap']:6,} {said['held']:6,} {said['refused']:9,} {said['evicted']:9,} "
              f"{said['storm']:9,} {said['honest']:6} {said['mb']:4,.0f} {said['cpu']:6.0f}", flush=True)  # fmt: skip


def _alone(name: str) -> dict[str, Any]:
    words = [sys.executable, "-m", "measure.flooding", name]
    env = {"PYTHONPATH": f"{ROOT}:{ROOT / 'scripts'}"}
    told: dict[str, Any] = json.loads(subprocess.run(words, stdout=subprocess.PIPE, check=True, env=env, cwd=ROOT).stdout)
    return told


def batches(name: str, many: int) -> Iterator[PacketBatch]:
    """The honest rig all the time, the flood from its tenth second on."""
    from tests.network import test_floods
    from tests.stories.playing import NS, START

    rate = SLOW_RATE if name.startswith(RECORDS) else RATE
    begin = START + BEFORE_S * NS
    make = test_floods.FLOODS[name][1] if name != "none" else None
    flood = ((begin + i * NS // rate, make(i)) for i in range(many)) if make else iter(())
    times = int(many / rate / BEFORE_S) + 2
    honest = ((each.time + turn * BEFORE_S * NS, each.frame) for turn in range(times)
              for each in sorted(test_floods.HONEST, key=lambda event: event.time))  # fmt: skip
    builder, rows = BatchBuilder((Port("eth0", 1),)), 0
    for at, frame in heapq.merge(flood, honest, key=lambda event: event[0]):
        builder.add(frame, at)
        rows += 1
        if rows == ROWS:
            yield builder.take()
            rows = 0
    if rows:
        yield builder.take()


def _over(name: str, many: int = MANY) -> dict[str, Any]:
    """What is told in the end, also as text and as JSON."""
    from tests.network.test_floods import FLOODS, honest_left

    player = Player(DEFAULTS)
    spent = 0.0
    for item in batches(name, many):
        begin = time.process_time()
        player.feed(item)
        spent += time.process_time() - begin
    player.finish()
    shot = player.snapshot()
    json.dumps(document(shot, []))
    told = " ".join(text.render(shot, []).split())
    table = FLOODS[name][0] if name != "none" else ""
    full = {each.table: each for each in shot.limits}.get(table)
    assert full is None or f"table of {table.lower()} full" in told.lower()
    here, all_ = honest_left(player)
    counts = {each: getattr(full, each, 0) for each in ("cap", "held", "refused", "evicted")}
    storm, memory = shot.undecoded.get("storm of rare packets", 0), resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1_024
    return {"table": table, **counts, "storm": storm, "honest": f"{here} of {all_}", "mb": memory, "cpu": spent}


if __name__ == "__main__":
    print(json.dumps(_over(sys.argv[1], *map(int, sys.argv[2:]))))
