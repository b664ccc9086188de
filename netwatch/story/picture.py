"""Makes a snapshot of a player's state."""

from __future__ import annotations

from collections.abc import Collection
from typing import TYPE_CHECKING, Any

import numpy as np

from netwatch import words
from netwatch.alerts.alert import Accepted, Alert
from netwatch.alerts.catalogue import RULES
from netwatch.alerts.scene import protocol_name
from netwatch.decode.tables import BROADCAST, E131, MULTICAST, Fault, Kind
from netwatch.decode.text import address_text, mac_text
from netwatch.network.clock import NS
from netwatch.network.multicast import OF_LIGHT
from netwatch.network.network import Network, vlan
from netwatch.network.streams import PREVIEW, TERMINATED
from netwatch.network.switching import goes_dark, prunes
from netwatch.network.vendors import vendor
from netwatch.numbers import Numbers
from netwatch.story import asked, planned
from netwatch.story.before import marks, with_before
from netwatch.story.checks import checks
from netwatch.story.endings import endings, lease_ends
from netwatch.story.looking import frames, levels
from netwatch.story.snapshot import (
    AlertView,
    BridgeView,
    GroupView,
    HostView,
    Limit,
    Listening,
    LoadView,
    NeighbourView,
    NodeView,
    QuerierView,
    ServerView,
    Snapshot,
    StreamView,
)
from netwatch.story.winners import winners

if TYPE_CHECKING:
    from netwatch.network.capped import Capped
    from netwatch.network.keys import KeyTable
    from netwatch.story.play import Player

_BUCKET = 10 * NS
"""Streams are counted in buckets of 10 s on the clock's own grid."""
_CASTS = {MULTICAST: "group", BROADCAST: "broadcast"}


def picture(player: Player) -> Snapshot:
    """All that is known now."""
    network = player.network
    now = player.clock.now or 0
    plan = planned.view(player)
    alerts = planned.with_places(alert_views(player), plan)
    streams, groups = _streams(network, now), _groups(network, now)
    return Snapshot(
        revision=player.revision, now=now, first=network.first, last=player.clock.now if network.packets else None,
        packets=network.packets, bytes=network.octets,
        dropped=sum(state.dropped for state in network.vantage.ports.values()),
        phase=player.phase, live=player.live, listening=_listening(network), undecoded=_undecoded(player),
        limits=_limits(network, player), settings=network.numbers.changed(), alerts=alerts,
        checks=checks(player, alerts, streams, plan), streams=streams, hosts=_hosts(network), servers=_servers(network),
        queriers=_queriers(network), groups=groups, loads=_loads(network), happenings=tuple(player.happenings.lines),
        endings=endings(network, groups), nodes=_nodes(network),
        neighbours=_neighbours(network), bridges=_bridges(network), levels=levels(network, now),
        marks=marks(network, player.said.words, player.judge.engine.alerts().values()), phases=tuple(player.phases.changes()),
        frames=() if player.looked_at is None else frames(network, *player.looked_at, now), winners=winners(network, now),
        plan=plan, asked=asked.views(player), power=player.said.power,
    )


def alert_views(player: Player, ids: Collection[int] | None = None) -> tuple[AlertView, ...]:
    """All alerts that were told, or those of ``ids``, as they stand now."""
    network, now = player.network, player.clock.now or 0
    told = [each for id, each in player.judge.engine.alerts().items() if ids is None or id in ids]
    return with_before(network, [_alert(network, each, player.phase, now) for each in told])


def _alert(network: Network, alert: Alert, phase: str, now: int) -> AlertView:
    steps = words.in_order(words.steps(alert.code, alert.facts), phase)
    return AlertView(
        id=alert.id, code=alert.code, severity=alert.severity, certainty=alert.certainty,
        interface=network.interface(alert.segment), vlan=vlan(alert.segment), subject=alert.subject,
        title=words.title(alert.code, alert.facts), first_step=steps[0][0], since=alert.since, opened=alert.opened,
        last=alert.last, closed=alert.closed, times=alert.times, again=alert.again,
        accepted=None if alert.accepted is None else _accepted(alert.accepted),
        facts=alert.facts, packets=alert.numbers, steps=steps, over=alert.over, under=alert.under,
        quiet=_quiet(network.numbers, alert, now), waits=tuple(map(words.waits, steps)),
        about_laptop=RULES[alert.code].about_laptop,
        bytes={n: network.raw[n].hex() for n in alert.numbers if n in network.raw},
    )


def _accepted(accepted: Accepted) -> dict[str, Any]:
    of = None if accepted.of is None else sorted(accepted.of)
    return {"at": accepted.at, "until": accepted.until, "why": accepted.why, "worst": accepted.worst, "of": of}


def _quiet(numbers: Numbers, alert: Alert, now: int) -> int | None:
    newest, patience = alert.sign or alert.last, getattr(numbers, RULES[alert.code].signs)
    return newest if alert.closed is None and now - newest >= patience * NS else None


def _listening(network: Network) -> tuple[Listening, ...]:
    out = []
    for index, port in enumerate(network.ports):
        state = network.vantage.ports.get(index)
        packets = sum(int(load.packets.sum()) for segment, load in network.load.total.items() if segment >> 24 == index)
        out.append(Listening(
            port.name, "unknown" if state is None else state.vantage, () if state is None else state.reasons, port.kind,
            "" if state is None else state.link, port.networks, packets, 0 if state is None else state.dropped,
        ))
    return tuple(out)


def _undecoded(player: Player) -> dict[str, int]:
    network = player.network
    out = dict(network.undecoded + network.unread)
    for number, count in network.broken.items():
        out[f"broken: {Fault(number).name.lower().replace('_', ' ')}"] = count
    for kind in (Kind.FRAGMENT, Kind.MLD, Kind.E131_IPV6, Kind.E131_DRAFT, Kind.ACN_OTHER):
        count = sum(int(load.packets[int(kind)].sum()) for load in network.load.total.values())
        if count:
            out[kind.name.lower().replace("_", " ")] = count
    for reason, count in (
        ("times unusable", player.clock.unusable),
        ("late", player.clock.behind),
        ("storm of rare packets", network.reading.storm),
    ):
        if count:
            out[reason] = count
    return out


def _limits(network: Network, player: Player) -> tuple[Limit, ...]:
    tables: tuple[KeyTable | Capped[Any, Any], ...] = (
        network.streams.table, network.claims.table, network.vantage.pairs, network.habits.table,
        network.claims.boxes.table, network.leases.servers, network.leases.clients, network.multicast.groups,
        network.multicast.queriers, network.syncs.table, network.streams.faults.discarded, network.announced,
        network.neighbours.lldp, network.neighbours.bridges, network.nodes.binds, network.pollers.table, network.arp_words.table,
        network.leases.declines, network.starts.boxes,
    )
    out = [Limit(each.name, int(each.cap), each.held, each.refused, each.evicted, each.first_hit) for each in tables]
    out.append(Limit("segments", int(network.numbers.cap_segments), len(network.segments), network.segments_refused, 0, None))
    dropped = player.judge.engine.dropped
    if dropped:
        kept = int(network.numbers.cap_closed)
        out.append(Limit("closed alerts", kept, kept, 0, dropped, None))
    return tuple(out)


def _streams(network: Network, now: int) -> tuple[StreamView, ...]:
    streams = network.streams
    out = []
    for flows in streams.of_streams().values():
        main = max(flows, key=lambda flow: (int(streams.packets[flow]), -flow))
        first, last = int(streams.first[flows].min()), int(streams.last[flows].max())
        packets = int(streams.packets[flows].sum())
        segment, protocol = int(streams.segment[main]), int(streams.protocol[main])
        seconds = (int(streams.last[main]) - int(streams.first[main])) / 1e9
        lost = min(int(streams.lost[main]), int(streams.lost_split[main])) if streams.mixed[main] else int(streams.lost[main])
        average = (int(streams.packets[main]) - 1) / seconds if seconds > 0 else None
        out.append(StreamView(
            interface=network.interface(segment), vlan=vlan(segment), protocol=protocol_name(protocol),
            universe=int(streams.universe[main]), source=network.source_id(main), name=network.flow_name(main),
            address=address_text(int(streams.src[main])), priority=int(streams.priority[main]) if protocol == E131 else None,
            packets=packets, lost=max(0, lost), out_of_order=int(streams.late[main]), repeated=int(streams.repeated[main]),
            rate=average, rate_now=_lately(network, main, now, average or 0.0), first=first, last=last,
            silent=now - max(last, network.hole_end) > int(streams.silence[main]),
            ended=bool(streams.options[main] & TERMINATED), preview=bool(streams.options[main] & PREVIEW),
            destination=_CASTS.get(int(streams.cast[main]), "unicast"), slots=max(0, int(streams.slots[main])),
            lit=int(np.count_nonzero(streams.levels[main])),
            last_change=int(streams.changed[main]) if streams.changed[main] > 0 else None, ours=_ours(network, main),
        ))
    return tuple(sorted(out, key=lambda each: (each.first, each.interface, each.protocol, each.universe, each.source)))


def _lately(network: Network, flow: int, now: int, average: float) -> float:
    """Packets a second in the newest full 10 s; of a flow that is younger its average."""
    full = network.streams.buckets.sums(1)["packets"]
    begun = now - now % _BUCKET - _BUCKET
    return int(full[flow]) / 10 if flow < len(full) and int(network.streams.first[flow]) <= begun else average


def _ours(network: Network, flow: int) -> bool:
    """Was a flow sent by this laptop: from one of its MACs, or from one of its addresses."""
    segment, mac = int(network.streams.segment[flow]), int(network.streams.mac[flow])
    index = segment >> 24
    addresses = {each.partition("/")[0] for each in network.ports[index].networks} if index < len(network.ports) else set()
    return (mac != 0 and mac in network.vantage.port(index).own) or address_text(int(network.streams.src[flow])) in addresses


def _hosts(network: Network) -> tuple[HostView, ...]:
    held, leases, asks = network.claims.addresses(), lease_ends(network), _asks(network)
    out = []
    for (segment, mac), box in network.claims.boxes.items():
        claims = held.get((segment, mac), [])
        names = dict(box.names)
        flows = network.streams.of_sender(segment, mac)
        for flow in flows:
            name = network.flow_name(flow)
            if name:
                names["sACN"] = name
        last = max([
            box.last, *(int(network.claims.last[claim]) for claim, _ in claims),
            *(int(network.streams.last[flow]) for flow in flows),
        ])
        out.append(HostView(
            interface=network.interface(segment), vlan=vlan(segment), mac=mac_text(mac), vendor=vendor(mac_text(mac)),
            addresses=tuple(address_text(address) for _, address in claims),
            names=tuple((name, origin) for origin, name in sorted(names.items())), first=box.first, last=last,
            ours=mac in network.vantage.port(segment >> 24).own, lease_from=box.server,
            lease_until=leases.get((segment, mac_text(mac)), (0, None))[1],
            asks=tuple(sorted(asks.get((segment, mac_text(mac)), ()))), asked_for=asked.asked_for(network, segment, box.first),
        ))
    return tuple(sorted(out, key=lambda each: (each.first, each.interface, each.mac)))


def _asks(network: Network) -> dict[tuple[int, str], set[int]]:
    """sACN universes that boxes ask for, by (segment, MAC); the group is 239.255.universe (E1.31-2018 9.3.1)."""
    out: dict[tuple[int, str], set[int]] = {}
    for (segment, address), group in network.multicast.groups.items():
        if address.startswith(OF_LIGHT):
            high, low = (int(part) for part in address.split(".")[2:])
            for mac, member in group.members.items():
                if member.left is None:
                    out.setdefault((segment, mac), set()).add(high << 8 | low)
    return out


def _nodes(network: Network) -> tuple[NodeView, ...]:
    return tuple(
        NodeView(network.interface(bind.segment), vlan(bind.segment), bind.mac, bind.src, bind.long_name or bind.short_name,
                 (bind.first_firmware, bind.firmware), bind.outputs, bind.first, bind.last,
                 asked.asked_for(network, bind.segment, bind.first))
        for bind in network.nodes.binds.values()
    )


def _neighbours(network: Network) -> tuple[NeighbourView, ...]:
    return tuple(
        NeighbourView(
            network.interface(segment), vlan(segment), each.record.mac, each.record.chassis, each.record.port_id,
            each.record.port_text, each.record.system_name, each.record.vlan, each.first, each.last,
        )
        for (segment, *_), each in network.neighbours.lldp.items()
    )  # fmt: skip


def _bridges(network: Network) -> tuple[BridgeView, ...]:
    return tuple(
        BridgeView(
            network.interface(segment), vlan(segment), each.record.mac, each.record.root, each.record.bridge, each.record.port,
            each.record.version, each.heard, each.changes, each.changed, each.first, each.last,
        )
        for (segment, *_), each in network.neighbours.bridges.items()
    )  # fmt: skip


def _servers(network: Network) -> tuple[ServerView, ...]:
    return tuple(
        ServerView(network.interface(segment), vlan(segment), server.address, server.mac, tuple(server.evidence), server.first,
                   server.last, len(server.clients))
        for (segment, _), server in sorted(network.leases.servers.items(), key=lambda each: (each[1].first, each[0]))
    )


def _queriers(network: Network) -> tuple[QuerierView, ...]:
    return tuple(
        QuerierView(network.interface(segment), vlan(segment), querier.address, querier.version, querier.queries,
                    querier.interval, querier.last)
        for (segment, _), querier in sorted(network.multicast.queriers.items(), key=lambda each: (each[1].first, each[0]))
    )


def _groups(network: Network, now: int) -> tuple[GroupView, ...]:
    streams = network.streams
    data: dict[tuple[int, str], tuple[int | None, int]] = {}
    for flow in np.flatnonzero(
        streams.table.used[: streams.table.size] & (streams.cast[: streams.table.size] == MULTICAST)
    ).tolist():
        key = (int(streams.segment[flow]), address_text(int(streams.dst[flow])))
        last = max(int(streams.last[flow]), data.get(key, (None, 0))[1])
        data[key] = (int(streams.universe[flow]) if streams.protocol[flow] == E131 else None, last)
    out = []
    for segment, address in sorted({*data, *(key for key, _ in network.multicast.groups.items())}):
        group = network.multicast.groups.get((segment, address))
        members = [] if group is None else [each for each in group.members.values() if each.left is None]
        universe, last_data = data.get((segment, address), (None, None))
        dark = goes_dark(network, segment, address, now) if prunes(network, segment) else None
        out.append(GroupView(
            interface=network.interface(segment), vlan=vlan(segment), group=address, universe=universe,
            wanted_here=network.wanted(segment, address, network.own(segment)),
            last_join=max((each.joined for each in members if each.joined is not None), default=None),
            last_report=max((each.reported for each in members), default=None), last_data=last_data, members=len(members),
            goes_dark_at=None if dark is None else dark.at, goes_dark_by=None if dark is None else dark.by,
        ))
    return tuple(out)


def _loads(network: Network) -> tuple[LoadView, ...]:
    out = []
    for segment, load in sorted(network.load.total.items()):
        for kind in Kind:
            packets = int(load.packets[int(kind)].sum())
            if packets:
                name = kind.name.lower().replace("_", " ")
                out.append(LoadView(network.interface(segment), vlan(segment), name, packets, int(load.octets[int(kind)].sum())))
    return tuple(out)
