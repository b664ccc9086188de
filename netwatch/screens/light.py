"""Light: who sends what to which universe, who wins, and whether it is black."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.columns import Column, line, nobody
from netwatch.screens.columns import heading as titles
from netwatch.screens.lines import Row
from netwatch.screens.looks import Look
from netwatch.screens.words import light, rate_now, share, span, universe
from netwatch.story.light_views import WinnerView
from netwatch.story.snapshot import Snapshot, StreamView

WINS = {"nobody": "nobody wins", "alone": "alone", "priority": "wins: priority", "slot priority": "wins: channels"}
"""By the rule that decided; the receiver's own choice is told by its own words."""
EITHER, LOSES = "receiver decides", "not used"


@dataclass(frozen=True, slots=True)
class Sent:
    """One line of the list: a source on a universe, and what comes of it."""

    stream: StreamView
    verdict: str
    again: bool
    """The line above shows the same universe."""


def universe_key(stream: StreamView | WinnerView) -> tuple[object, ...]:
    """One universe on one network."""
    return "universe", stream.interface, stream.vlan, stream.protocol, stream.universe


def stream_key(stream: StreamView) -> tuple[object, ...]:
    """What a line of the list stands for."""
    return "stream", stream.interface, stream.vlan, stream.protocol, stream.universe, stream.source


def sender(stream: StreamView) -> str:
    """The name it gives itself."""
    if stream.ours:
        return f"this laptop ({stream.name})" if stream.name else "this laptop"
    return stream.name or "(no name)"


def verdict(stream: StreamView, winner: WinnerView | None) -> str:
    """Whether receivers take this source, in two or three words."""
    if stream.ended or stream.silent or stream.preview:
        return LOSES
    if winner is None or winner.rule == "alone":
        return "alone"
    if winner.rule == "slot priority" and winner.source is None:
        return WINS[winner.rule]
    if stream.source in winner.tied:
        return EITHER
    return WINS.get(winner.rule, EITHER) if winner.source == stream.source else LOSES


LIGHT: tuple[Column[Sent], ...] = (
    Column("universe", 17, lambda s, at: "" if s.again else universe(s.stream.protocol, s.stream.universe)),
    Column("sent by", 0, lambda s, at: sender(s.stream)),
    Column("light", 13, lambda s, at: light(s.stream, at.now)),
    Column("who wins", 16, lambda s, at: s.verdict, least=66),
    Column("prio", 4, lambda s, at: "" if s.stream.priority is None else str(s.stream.priority), least=56, right=True),
    Column("per s", 5, lambda s, at: rate_now(s.stream), least=50, right=True),
    Column("lost", 6, lambda s, at: share(s.stream.lost, s.stream.packets + s.stream.lost) or "none", least=90, right=True),
    Column("from address", 15, lambda s, at: s.stream.address, least=106),
    Column("goes to", 9, lambda s, at: s.stream.destination, least=120),
    Column("heard for", 12, lambda s, at: span(s.stream.last - s.stream.first), least=134, right=True),
)


def sent(snapshot: Snapshot) -> list[Sent]:
    """By protocol and universe, oldest source first."""
    winners = {universe_key(each): each for each in snapshot.winners}
    out: list[Sent] = []
    for each in sorted(snapshot.streams, key=lambda s: (s.protocol, s.universe, s.interface, s.vlan or 0, s.first, s.source)):
        again = bool(out) and universe_key(out[-1].stream) == universe_key(each)
        out.append(Sent(each, verdict(each, winners.get(universe_key(each))), again))
    return out


def rows(snapshot: Snapshot, size: Size, look: Look) -> Sequence[Row]:
    """One line a source and universe."""

    def row(each: Sent) -> Row:
        style = look.faint if each.verdict == LOSES else look.text
        return Row(stream_key(each.stream), lambda: [line(LIGHT, each, snapshot, size.width, style)])

    return [row(each) for each in sent(snapshot)] or [nobody("Nobody has sent light so far.", size, look)]


def heading(width: int, look: Look) -> Text:
    """The titles of the columns."""
    return titles(LIGHT, width, look)
