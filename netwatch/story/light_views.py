"""Parts of a snapshot: who wins a universe, and the level history of the one that is looked at. Times are ns since 1970 UTC."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from netwatch.network.history import Change


@dataclass(frozen=True, slots=True)
class SlotsWon:
    """Neighbouring DMX channels that are decided alike."""

    first: int
    last: int
    """From 1."""
    rule: str
    """nobody, alone, priority, slot priority or receiver decides."""
    source: str | None
    """As in ``StreamView``; None where nobody wins, or the receiver decides."""
    tied: tuple[str, ...] = ()
    """Sources between which the receiver decides."""


@dataclass(frozen=True, slots=True)
class WinnerView:
    """Who wins a universe of several sources, or of one that sends priorities slot by slot (E1.31-2018 6.2.3)."""

    interface: str
    vlan: int | None
    protocol: str
    universe: int
    rule: str
    """The last rule that was needed, as in ``SlotsWon``."""
    source: str | None
    """Who wins all that somebody controls."""
    tied: tuple[str, ...]
    left_out: tuple[tuple[str, str], ...]
    """(source, 'preview', 'ended' or 'silent')."""
    channels: tuple[SlotsWon, ...]
    """Only where not one and the same answer holds for all of them."""


@dataclass(frozen=True, slots=True)
class FrameView:
    """The newest frame of one source on the universe that is looked at."""

    interface: str
    vlan: int | None
    source: str
    """As in ``StreamView``."""
    name: str
    address: str
    priority: int | None
    left_out: str
    """'' = receivers use it; else preview, ended or silent."""
    levels: bytes
    """One byte a DMX channel, as many as it sends."""


@dataclass(frozen=True, slots=True)
class LevelSource:
    """Who sends the universe that is looked at, to one destination."""

    interface: str
    vlan: int | None
    source: str
    """As in ``StreamView``."""
    name: str
    address: str
    to: str
    """Address that it sends to."""
    destination: str
    """group, unicast or broadcast."""
    priority: int | None
    frames: int
    late: int
    """Frames that receivers throw away because they came late; not among the changes."""
    cut: int
    """Frames of which the capture does not hold all levels."""
    first: int
    last: int
    silent: bool
    ended: bool
    preview: bool


@dataclass(frozen=True, slots=True)
class LevelMoment:
    """``what``: 'turns' (two sources' levels in turns), 'one frame' (unlike its neighbours), 'zero' (all fell to it)."""

    what: str
    at: int
    until: int
    n: int
    sources: tuple[int, ...]
    """Places in ``LevelsView.sources``."""
    channels: tuple[int, ...]
    """DMX channels, from 1."""
    times: int
    """Turns, or frames."""
    level: int | None = None
    """The highest on these channels meanwhile; None for turns."""
    stood: int | None = None
    """The highest before."""


@dataclass(frozen=True, slots=True)
class LevelWon:
    """Neighbouring DMX channels of the range that are decided alike, on one network."""

    interface: str
    vlan: int | None
    first: int
    last: int
    rule: str
    """As in ``SlotsWon``."""
    sources: tuple[str, ...]
    """The winner's name, or the names between which the receiver decides."""
    priorities: tuple[int, ...]
    """Where one for the universe decided: the winner's, then the next lower one; of the tied their common one."""
    highest: str | None
    """Of the tied: whose levels are the highest, '' = they are the same."""


@dataclass(frozen=True, slots=True)
class LevelsView:
    """What was sent on a range of DMX channels of one universe."""

    protocol: str
    universe: int
    first: int
    last: int
    sources: tuple[LevelSource, ...]
    changes: tuple[Change, ...]
    """In order."""
    moments: tuple[LevelMoment, ...]
    forgotten: int
    """Older changes that there was no room for."""
    refused: int
    """Frames of sources that there was no room for."""
    winners: tuple[LevelWon, ...] = ()
    """At the newest moment."""
