"""What --why, --see and --at ask."""

from __future__ import annotations

import re
from argparse import ArgumentParser, Namespace
from collections.abc import Iterable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, TypeAlias

from ..exits import Exit, Stop
from . import looking

if TYPE_CHECKING:
    from ..packets.batch import Item
    from ..story.play import Player
    from ..story.snapshot import Snapshot
    from ..story.why import Asked

Time: TypeAlias = tuple[int, int, int]
"""Hour, minute, second."""
NS = 1_000_000_000
SEES = ("dark", "frozen", "flickers", "fights", "jerky", "not-found", "stopped", "one-off")
"""The keys of ``netwatch.words.sees.SEES``, which the help must not import."""


def add(parser: ArgumentParser) -> None:
    """--why, --see and --at."""
    parser.add_argument(
        "--why", metavar="UNIVERSE",
        help="instead: follow one universe from its sender to the fixture: 7 is sACN universe 7; 0.0.6 or a6 is Art-Net",
    )
    parser.add_argument("--see", choices=SEES, metavar="WHAT", help=f"with --why, what is seen: {', '.join(SEES)}")
    parser.add_argument("--at", metavar="TIME", help="with --why: as it was at this time of day, as 21:40 or 21:40:30")


def asked(arguments: Namespace) -> Asked | None:
    """What was asked, None = nothing. Raises ``Stop``."""
    if arguments.why is None:
        for option in ("see", "at"):
            if getattr(arguments, option) is not None:
                raise Stop(Exit.USAGE, f"--{option} goes with --why, as in --why 7 --{option} {getattr(arguments, option)}.")
        return None
    if arguments.levels is not None:
        raise Stop(Exit.USAGE, "--why and --levels answer different questions; ask one at a time.")
    from ..decode.tables import E131
    from ..story.why import Asked

    try:
        wanted = looking.look(arguments.why)
    except Stop:
        wanted = None
    if wanted is None or "/" in arguments.why:
        raise Stop(
            Exit.USAGE, f"--why {arguments.why!r} names no universe; write 7 for sACN universe 7, or 0.0.6 (also a6) for Art-Net."
        )
    return Asked("e131" if wanted.protocol == E131 else "artnet", wanted.universe, arguments.see)


def answered(player: Player, snapshot: Snapshot, question: Asked) -> Snapshot:
    """The snapshot with the answer."""
    from ..report.times import Times
    from ..story.why import why

    return replace(snapshot, why=why(player, snapshot, question, Times(snapshot.first).clock))


def clock_time(text: str) -> Time:
    """'21:40' or '21:40:30'. Raises ``Stop``."""
    found = re.fullmatch(r"([0-9]{1,2}):([0-9]{2})(?::([0-9]{2}))?", text.strip())
    hour, minute, second = (int(part or 0) for part in found.groups()) if found else (24, 0, 0)
    if hour > 23 or minute > 59 or second > 59:
        raise Stop(Exit.USAGE, f"--at {text!r} is no time of day; write 21:40 or 21:40:30.")
    return hour, minute, second


def moment(time: Time, first: int) -> int:
    """ns of that local time of day, at or after ``first`` (ns)."""
    begin = datetime.fromtimestamp(first / NS)
    found = begin.replace(hour=time[0], minute=time[1], second=time[2], microsecond=0)
    if int(found.timestamp()) * NS < first:
        found += timedelta(days=1)
    return int(found.timestamp()) * NS


def until(items: Iterable[Item], time: Time) -> Iterator[Item]:
    """The items up to that time of day, and a mark that lets the time pass to it. Raises ``Stop`` where it is not among them."""
    from ..packets.batch import Mark

    end, first, last = None, 0, 0
    for item in items:
        times = [item.time] if isinstance(item, Mark) else item.time.tolist()
        if not times:
            continue
        if end is None:
            first, end = times[0], moment(time, times[0])
        within = next((row for row, each in enumerate(times) if each > end), len(times))
        last = max(last, *times)
        if within == len(times):
            yield item
            continue
        if not isinstance(item, Mark) and within:
            yield item.part(0, within)
        yield Mark(end, 0, None, None, None, item.ports)
        return
    raise Stop(Exit.USAGE, _outside(time, first, last))


def _outside(time: Time, first: int, last: int) -> str:
    shown = ":".join(f"{part:02}" for part in time)
    if not last:
        return f"There is nothing at {shown}: there are no packets."
    span = " to ".join(f"{datetime.fromtimestamp(each / NS):%H:%M:%S}" for each in (first, last))
    return f"There is nothing at {shown}: the capture goes from {span}; name a time inside it."
