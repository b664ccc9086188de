"""Short tables: who sends light, which boxes there are, who gives addresses, who keeps multicast alive."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from netwatch import words
from netwatch.story.document import address_key
from netwatch.story.snapshot import HostView, QuerierView, ServerView, Snapshot, StreamView
from netwatch.words.phrases import listing, number, ranges, seconds, share, three_number_ranges

from .layout import Column, Line, table, wrap
from .times import Times

MOST_ROWS = 24


@dataclass(frozen=True, slots=True)
class Part:
    """One table: its head, what stands in an empty one's place, columns and rows."""

    head: str
    nobody: str
    columns: Sequence[Column]
    rows: Sequence[Sequence[str]]

    @property
    def filled(self) -> Part:
        """Without columns in which nothing stands."""
        kept = [i for i in range(len(self.columns)) if any(row[i] not in ("", "-") for row in self.rows)]
        rows = [[row[i] for i in kept] for row in self.rows]
        return Part(self.head, self.nobody, [self.columns[i] for i in kept], rows)


def parts(snapshot: Snapshot, times: Times) -> list[Part]:
    """The four tables."""
    return [
        Part("Who sends light", "No light was heard.", _light_columns(), _light_rows(snapshot)),
        Part("Boxes", "No box was heard.", _box_columns(), _box_rows(snapshot)),
        Part("Who gives addresses (DHCP)", "No DHCP server was heard.", _server_columns(), _server_rows(snapshot, times)),
        Part("Who keeps multicast alive (IGMP querier)", "Nobody was heard.", _querier_columns(), _querier_rows(snapshot, times)),
    ]


def tables(snapshot: Snapshot, times: Times, width: int) -> list[Line]:
    """Each under its head; an empty one is a sentence."""
    lines: list[Line] = []
    for part in parts(snapshot, times):
        body = table(part.columns, part.rows, width, MOST_ROWS) if part.rows else [part.nobody]
        lines += [Line(t, "head") for t in wrap(part.head.upper(), width)] + [Line(text) for text in body] + [Line("")]
    return lines


def _light_columns() -> list[Column]:
    return [
        Column("Universe", True),
        Column("From", True),
        Column("Address"),
        Column("Priority"),
        Column("Packets/s"),
        Column("Lost"),
        Column("Now"),
        Column("Where", True),
    ]


def _light_rows(snapshot: Snapshot) -> list[list[str]]:
    """A row for each sender and manner of sending, with all its universes."""
    alike: dict[tuple[object, ...], list[StreamView]] = {}
    for s in sorted(snapshot.streams, key=lambda s: (s.protocol != "e131", s.universe, s.first, s.source)):
        identity = s.source if s.protocol == "e131" else s.name
        alike.setdefault((s.interface, s.vlan, s.protocol, identity, s.address, s.priority, _state(s)), []).append(s)
    return [_light_row(streams, _where(snapshot, streams[0])) for streams in alike.values()]


def _light_row(streams: list[StreamView], where: str) -> list[str]:
    first = streams[0]
    found = [s.universe for s in streams]
    lost = sum(s.lost for s in streams)
    rates = sorted(round(s.rate) for s in streams if s.rate is not None)
    rate = str(rates[0]) if rates and rates[0] == rates[-1] else f"{rates[0]}-{rates[-1]}" if rates else "-"
    universes = f"{three_number_ranges(found, 2)} ({ranges(found, 2)})" if first.protocol == "artnet" else ranges(found, 4)
    return [
        f"{words.PROTOCOL[first.protocol]} {universes}",
        "this laptop" if first.ours else first.name or "-",
        first.address,
        "" if first.priority is None else str(first.priority),
        rate,
        share(lost / (lost + sum(s.packets for s in streams))) if lost else "0",
        _state(first),
        where,
    ]


def _state(stream: StreamView) -> str:
    """'' while it sends as it should."""
    if stream.ended:
        return "ended"
    if stream.silent:
        return "silent"
    return "preview only" if stream.preview else ""


def _box_columns() -> list[Column]:
    return [Column("Address"), Column("MAC"), Column("Maker", True), Column("Names", True), Column("Where", True)]


def _box_rows(snapshot: Snapshot) -> list[list[str]]:
    def key(host: HostView) -> tuple[object, ...]:
        return (*(address_key(host.addresses[0]) if host.addresses else (2,)), host.mac)

    return [
        [
            listing(host.addresses, 2) or "-",
            host.mac or "-",
            host.vendor,
            ", ".join(_unique([*(["this laptop"] if host.ours else []), *(name for name, _ in host.names)])),
            _where(snapshot, host),
        ]
        for host in sorted(snapshot.hosts, key=key)
    ]


def _server_columns() -> list[Column]:
    return [
        Column("Address"),
        Column("MAC"),
        Column("Clients"),
        Column("Last heard"),
        Column("Known by", True),
        Column("Where", True),
    ]


def _server_rows(snapshot: Snapshot, times: Times) -> list[list[str]]:
    return [
        [s.address, s.mac or "-", number(s.clients), times.clock(s.last), ", ".join(s.evidence), _where(snapshot, s)]
        for s in sorted(snapshot.servers, key=lambda s: (address_key(s.address), s.interface, s.vlan or 0))
    ]


def _querier_columns() -> list[Column]:
    return [Column("Address"), Column("IGMP"), Column("Asks every"), Column("Last"), Column("Where", True)]


def _querier_rows(snapshot: Snapshot, times: Times) -> list[list[str]]:
    return [
        [
            q.address,
            f"v{q.version}",
            "-" if q.interval is None else seconds(q.interval),
            times.clock(q.last),
            _where(snapshot, q),
        ]
        for q in sorted(snapshot.queriers, key=lambda q: (address_key(q.address), q.interface, q.vlan or 0))
    ]


def _where(snapshot: Snapshot, view: StreamView | HostView | ServerView | QuerierView) -> str:
    """The network that it was heard on, where there is more than one."""
    segments = {(load.interface, load.vlan) for load in snapshot.loads} | {(h.interface, h.vlan) for h in snapshot.hosts}
    if len(segments | {(view.interface, view.vlan)}) < 2:
        return ""
    return view.interface if view.vlan is None else f"{view.interface} VLAN {view.vlan}"


def _unique(values: Iterable[str]) -> list[str]:
    return list(dict.fromkeys(v for v in values if v))
