"""The universe that is looked at, as a snapshot shows it: its newest frames, and the history of its levels."""

from __future__ import annotations

from netwatch.decode.tables import BROADCAST, E131, MULTICAST
from netwatch.decode.text import address_text, clean
from netwatch.network.history import History, Source
from netwatch.network.moments import flicks
from netwatch.network.network import Network, vlan
from netwatch.network.streams import PREVIEW, TERMINATED
from netwatch.network.winner import bid_of
from netwatch.story.light_views import FrameView, LevelMoment, LevelSource, LevelsView
from netwatch.story.winners import called, left_out, won

CASTS = {MULTICAST: "group", BROADCAST: "broadcast"}


def levels(network: Network, now: int) -> LevelsView | None:
    """None where no universe is looked at."""
    history = network.history
    if history is None:
        return None
    look = history.look
    return LevelsView(
        protocol="e131" if look.protocol == E131 else "artnet", universe=look.universe, first=look.first, last=look.last,
        sources=tuple(_source(network, look.protocol, each, now) for each in history.sources),
        changes=tuple(history.changes), moments=_moments(history), forgotten=history.forgotten, refused=history.refused,
        winners=won(network, look, now),
    )


def frames(network: Network, protocol: int, universe: int, now: int) -> tuple[FrameView, ...]:
    """The newest frame of each source on a universe."""
    streams, out = network.streams, []
    for flows in streams.of_streams().values():
        flow = max(flows, key=lambda each: (int(streams.last[each]), -each))
        if (int(streams.protocol[flow]), int(streams.universe[flow])) != (protocol, universe):
            continue
        bid, segment = bid_of(network, flow, now), int(streams.segment[flow])
        slots = max(0, int(streams.slots[flow]))
        view = FrameView(
            network.interface(segment), vlan(segment), network.source_id(flow), network.flow_name(flow),
            address_text(int(streams.src[flow])), int(streams.priority[flow]) if protocol == E131 else None,
            left_out(bid), streams.levels[flow][:slots].tobytes(),
        )  # fmt: skip
        out.append((int(streams.first[flows].min()), flow, view))
    return tuple(view for _, _, view in sorted(out, key=lambda each: each[:2]))


def _source(network: Network, protocol: int, source: Source, now: int) -> LevelSource:
    newest, e131 = source.newest, protocol == E131
    options = 0 if newest is None else newest.options
    address = address_text(source.src)
    return LevelSource(
        interface=network.interface(source.segment), vlan=vlan(source.segment),
        source=f"{source.id_hi:016x}{source.id_lo:016x}" if e131 else f"{address}/{source.id_lo}",
        name=clean(source.name) or called(network, source.segment, source.mac),
        address=address, to=address_text(source.dst), destination=CASTS.get(source.cast, "unicast"),
        priority=newest.priority if e131 and newest is not None else None, frames=source.frames, late=source.late, cut=source.cut,
        first=source.first, last=source.last, silent=now - max(source.last, network.hole_end) > source.silence,
        ended=bool(options & TERMINATED), preview=bool(options & PREVIEW),
    )  # fmt: skip


def _moments(history: History) -> tuple[LevelMoment, ...]:
    first, width = history.look.first, history.look.width
    out = [
        LevelMoment(
            "turns", turns.since, turns.until, turns.n, turns.sources,
            tuple(first + place for place, bits in enumerate(turns.differ.to_bytes(width, "big")) if bits), turns.times,
        )
        for turns in history.turns()
    ]  # fmt: skip
    out += [
        LevelMoment(
            flick.what, flick.at, flick.until, flick.n, (flick.source,), tuple(first + place for place in flick.channels),
            flick.frames, flick.level, flick.stood,
        )
        for flick in flicks(history.changes, history.numbers)
    ]  # fmt: skip
    return tuple(sorted(out, key=lambda moment: (moment.at, moment.n, moment.what)))
