"""Plays what was heard into the fold, cut into batches as a test wants it."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, fields, replace
from typing import Any, TypeAlias

from netwatch.alerts.phases import SHOW
from netwatch.network.history import Look
from netwatch.numbers import DEFAULTS, Numbers
from netwatch.packets.batch import MAX_ROWS, BatchBuilder, Item, Mark, Port
from netwatch.plan.expected import Expected
from netwatch.plan.rig import Plan
from netwatch.story.play import Player
from netwatch.story.snapshot import Snapshot

NS = 1_000_000_000
START = 1_795_627_331 * NS + 106_315_499
"""An evening in November; not on a tick's edge."""


@dataclass(frozen=True)
class Heard:
    """One packet; ``time`` in ns."""

    time: int
    frame: bytes
    port: int = 0
    direction: int = 0


@dataclass(frozen=True)
class Told:
    """What a mark says."""

    time: int
    port: int = 0
    received: int | None = None
    dropped: int | None = None
    facts: Mapping[str, Any] | None = None


Event: TypeAlias = Heard | Told
Cut: TypeAlias = Callable[[int], bool]
"""Whether to cut in front of this event."""


def items(events: Sequence[Event], ports: tuple[Port, ...], cut: Cut) -> Iterable[Item]:
    """Batches and marks; a mark cuts by its nature, and so does the greatest size of a batch."""
    builder, rows = BatchBuilder(ports), 0
    for place, event in enumerate(events):
        if rows and (isinstance(event, Told) or rows == MAX_ROWS or cut(place)):
            yield builder.take()
            rows = 0
        if isinstance(event, Told):
            yield Mark(event.time, event.port, event.received, event.dropped, event.facts, ports)
        else:
            builder.add(event.frame, event.time, event.port, event.direction)
            rows += 1
    if rows:
        yield builder.take()


def play(
    events: Sequence[Event], ports: tuple[Port, ...] = (Port("eth0", 1),), *, cut: Cut = lambda place: False,
    vantage: str | None = None, numbers: Numbers = DEFAULTS, plan: Expected | Plan | None = None,
    look: Look | None = None, phase: str = SHOW,
) -> Player:  # fmt: skip
    """A player that was fed with all of it. In a show nothing is taken for a test.

    ``plan`` = a whole one, or what the rules read; ``look`` = whose level history is kept.
    """
    given = {"plan": plan} if isinstance(plan, Plan) else {"expected": plan}
    player = Player(numbers, vantage, phase, look=look, **given)
    for item in items(events, ports, cut):
        player.feed(item)
    player.finish()
    return player


def picture(player: Player) -> Snapshot:
    """The snapshot without what counts items."""
    return replace(player.snapshot(), revision=0)


def cut_at(places: Collection[int]) -> Cut:
    return lambda place: place in places


def singly(place: int) -> bool:
    """Each packet in a batch of its own."""
    return True


def difference(one: Snapshot, other: Snapshot) -> str:
    """Where two pictures differ, '' = nowhere."""
    lines = []
    for each in fields(one):
        a, b = getattr(one, each.name), getattr(other, each.name)
        if a == b:
            continue
        if isinstance(a, tuple) and len(a) == len(b):
            lines += [f"{each.name}:\n  {x}\n  {y}" for x, y in zip(a, b, strict=True) if x != y]
        else:
            lines.append(f"{each.name}:\n  {a}\n  {b}")
    return "\n".join(lines)
