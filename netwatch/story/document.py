"""The JSON document, schema 1: plain values in a fixed order, so that the same capture gives the same text.

The schema is only ever added to. Times are seconds since 1970, rounded to microseconds.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any, TypeAlias

from netwatch.packets.batch import FileSeen

from . import asked, planned
from .level_document import levels, winner
from .snapshot import (
    AlertView,
    Before,
    BridgeView,
    GroupView,
    HostView,
    Limit,
    Listening,
    MarkView,
    NeighbourView,
    NodeView,
    QuerierView,
    ServerView,
    Snapshot,
    StreamView,
    Why,
)
from .standing import standing

Object: TypeAlias = dict[str, Any]

SCHEMA = 1
TIME_FACTS = frozenset({"goes_dark_at", "goes_dark_by", "last"})
"""Facts that hold a moment in ns."""
MOST_BYTES = 8
"""Packets of one alert whose bytes are given."""


def document(snapshot: Snapshot, files: Sequence[FileSeen]) -> Object:
    """The whole picture as plain dicts, lists and values that ``json.dumps`` takes."""
    by_id = {alert.id: alert for alert in snapshot.alerts}
    return {
        "schema": SCHEMA,
        "capture": _capture(snapshot, files),
        "alerts": [alert_object(a, by_id) for a in sorted(snapshot.alerts, key=lambda a: (a.opened, a.id))],
        "streams": [_stream(s) for s in sorted(snapshot.streams, key=_stream_key)],
        "hosts": [_host(h) for h in sorted(snapshot.hosts, key=lambda h: (h.first, h.mac, *_place_key(h)))],
        "dhcp_servers": [_server(s) for s in sorted(snapshot.servers, key=_server_key)],
        "queriers": [_querier(q) for q in sorted(snapshot.queriers, key=_querier_key)],
        "groups": [_group(g) for g in sorted(snapshot.groups, key=lambda g: (address_key(g.group), *_place_key(g)))],
        "nodes": [_node(n) for n in sorted(snapshot.nodes, key=_node_key)],
        "lldp": [_neighbour(n) for n in sorted(snapshot.neighbours, key=lambda n: (n.first, n.mac, n.port, *_place_key(n)))],
        "spanning_tree": [
            _bridge(b) for b in sorted(snapshot.bridges, key=lambda b: (b.first, b.bridge, b.port, *_place_key(b)))
        ],
        "phase": {
            "now": snapshot.phase,
            "changes": [{"at": seconds(at), "phase": phase} for at, phase in snapshot.phases],
        },
        "standing": standing(snapshot),
        "marks": [_mark(mark) for mark in snapshot.marks],
        "checks": [{"name": c.name, "state": c.state, "text": c.text, "alert": c.alert} for c in snapshot.checks],
        "winners": [winner(w) for w in snapshot.winners],
        **({} if snapshot.levels is None else {"levels": levels(snapshot.levels)}),
        **({} if snapshot.why is None else {"why": _why(snapshot.why)}),
        **({"asked": [asked.document(each, seconds) for each in snapshot.asked]} if snapshot.asked else {}),
        **({} if snapshot.plan is None else {"plan": planned.document(snapshot.plan, seconds)}),
    }


def seconds(ns: int | None) -> float | None:
    """ns since 1970 as seconds, rounded to microseconds (half up); the division is exact to the nearest float."""
    return None if ns is None else (ns + 500) // 1000 / 1_000_000


def _capture(snapshot: Snapshot, files: Sequence[FileSeen]) -> Object:
    listening = sorted(snapshot.listening, key=lambda port: port.interface)
    known = snapshot.first is not None and snapshot.last is not None
    return {
        "files": [{"name": f.name, "first": f.first, "packets": f.packets, "problem": f.problem or None} for f in files],
        "interfaces": [_interface(port, snapshot) for port in listening],
        "listening": [{"interface": p.interface, "from": p.vantage, "reasons": list(p.reasons)} for p in listening],
        "packets": snapshot.packets,
        "bytes": snapshot.bytes,
        "first": seconds(snapshot.first),
        "last": seconds(snapshot.last),
        "seconds": seconds((snapshot.last or 0) - (snapshot.first or 0)) if known else None,
        "dropped": snapshot.dropped,
        "undecoded": {reason: snapshot.undecoded[reason] for reason in sorted(snapshot.undecoded)},
        "limits": [_limit(entry) for entry in sorted(snapshot.limits, key=lambda entry: entry.table)],
        "settings": {key: snapshot.settings[key] for key in sorted(snapshot.settings)},
    }


def _interface(port: Listening, snapshot: Snapshot) -> Object:
    vlans = {load.vlan for load in snapshot.loads if load.interface == port.interface and load.vlan is not None}
    return {
        "name": port.interface,
        "kind": port.kind,
        "link": port.link,
        "addresses": list(port.addresses),
        "packets": port.packets,
        "dropped": port.dropped,
        "vlans": sorted(vlans),
    }


def _limit(entry: Limit) -> Object:
    return {
        "table": entry.table,
        "cap": entry.cap,
        "held": entry.held,
        "refused": entry.refused,
        "evicted": entry.evicted,
        "first_hit": seconds(entry.first_hit),
    }


def alert_object(alert: AlertView, by_id: Mapping[int, AlertView]) -> Object:
    """One alert; ``by_id`` = all of them."""
    under = [by_id[i] for i in alert.under if i in by_id]
    return {
        "id": alert.id,
        "code": alert.code,
        "severity": alert.severity,
        "certainty": alert.certainty,
        "interface": alert.interface,
        "vlan": alert.vlan,
        "subject": alert.subject,
        "title": alert.title,
        "since": seconds(alert.since),
        "opened": seconds(alert.opened),
        "last": seconds(alert.last),
        "closed": seconds(alert.closed),
        "times": alert.times,
        "again": alert.again,
        "accepted": None if alert.accepted is None else _facts(alert.accepted, frozenset({"at", "until"})),
        "facts": _facts(alert.facts, TIME_FACTS),
        "packets": [int(n) for n in alert.packets],
        "bytes": {str(n): alert.bytes[n] for n in sorted(alert.bytes)[:MOST_BYTES]},
        "steps": [
            {"text": text, "disturbs": disturbs, "after_show": place < len(alert.waits) and alert.waits[place]}
            for place, (text, disturbs) in enumerate(alert.steps)
        ],
        "under": [{"code": a.code, "subject": a.subject, "id": a.id} for a in under],
        "over": alert.over,
        "about_laptop": alert.about_laptop,
        "before": _before(alert.before),
        "quiet_since": seconds(alert.quiet),
        "places": list(alert.places),
    }


def _mark(mark: MarkView) -> Object:
    return {"at": seconds(mark.at), "word": mark.word, "alerts": list(mark.alerts), "before": _before(mark.before)}


def _before(changes: Sequence[Before]) -> list[Object]:
    return [{"at": seconds(each.at), "what": each.what, "text": each.text} for each in changes]


def _why(why: Why) -> Object:
    return {
        "protocol": why.protocol,
        "universe": why.universe,
        "see": why.see,
        "at": seconds(why.at),
        "verdict": why.verdict,
        "stations": [{"name": s.name, "state": s.state, "texts": list(s.texts), "alerts": list(s.alerts)} for s in why.stations],
    }


def _heard(view: StreamView | HostView | NodeView | NeighbourView | BridgeView) -> Object:
    """When and where."""
    return {"first": seconds(view.first), "last": seconds(view.last), "interface": view.interface, "vlan": view.vlan}


def _stream(stream: StreamView) -> Object:
    return {
        "protocol": stream.protocol,
        "universe": stream.universe,
        "source": stream.source,
        "name": stream.name,
        "address": stream.address,
        "priority": stream.priority,
        "packets": stream.packets,
        "lost": stream.lost,
        "out_of_order": stream.out_of_order,
        "repeated": stream.repeated,
        "rate": stream.rate,
        **_heard(stream),
        "destination": stream.destination,
        "preview": stream.preview,
        "silent": stream.silent,
        "ended": stream.ended,
    }


def _host(host: HostView) -> Object:
    return {
        "mac": host.mac,
        "vendor": host.vendor,
        "addresses": list(host.addresses),
        "names": [{"name": name, "from": origin} for name, origin in host.names],
        **_heard(host),
        "this_laptop": host.ours,
        "lease_from": host.lease_from or None,
        "asks": list(host.asks),
        "asked_for": host.asked_for,
    }


def _node(node: NodeView) -> Object:
    return {
        "address": node.address,
        "mac": node.mac,
        "name": node.name,
        "firmware": {"first": node.firmware[0], "last": node.firmware[1]},
        "outputs": list(node.outputs),
        **_heard(node),
        "asked_for": node.asked_for,
    }


def _neighbour(each: NeighbourView) -> Object:
    return {
        "mac": each.mac,
        "chassis": each.chassis,
        "port": each.port,
        "text": each.text,
        "name": each.name,
        "port_vlan": each.port_vlan,
        **_heard(each),
    }


def _bridge(each: BridgeView) -> Object:
    return {
        "mac": each.mac,
        "root": each.root or None,
        "bridge": each.bridge or None,
        "port": each.port,
        "version": each.version,
        "heard": each.heard,
        "changes": each.changes,
        "changed": seconds(each.changed),
        **_heard(each),
    }


def _server(server: ServerView) -> Object:
    return {
        "address": server.address,
        "mac": server.mac,
        "evidence": list(server.evidence),
        "first": seconds(server.first),
        "last": seconds(server.last),
        "clients": server.clients,
        "interface": server.interface,
        "vlan": server.vlan,
    }


def _querier(querier: QuerierView) -> Object:
    return {
        "address": querier.address,
        "version": querier.version,
        "queries": querier.queries,
        "interval": querier.interval,
        "last": seconds(querier.last),
        "interface": querier.interface,
        "vlan": querier.vlan,
    }


def _group(group: GroupView) -> Object:
    return {
        "group": group.group,
        "universe": group.universe,
        "wanted_here": group.wanted_here,
        "last_join": seconds(group.last_join),
        "last_report": seconds(group.last_report),
        "last_data": seconds(group.last_data),
        "members": group.members,
        "goes_dark_at": seconds(group.goes_dark_at),
        "goes_dark_by": seconds(group.goes_dark_by),
        "interface": group.interface,
        "vlan": group.vlan,
    }


def _facts(facts: Mapping[str, Any], times: frozenset[str]) -> Object:
    """Plain facts with ``times`` in seconds."""
    return {k: seconds(v) if k in times and isinstance(v, int) else _plain(v) for k, v in facts.items()}


def _plain(value: Any) -> Any:
    """What JSON can hold: tuples and sets as lists, numbers of arrays as Python's own, no infinities."""
    if isinstance(value, Mapping):
        return {str(k): _plain(v) for k, v in value.items()}
    if isinstance(value, (set, frozenset)):
        return sorted(_plain(v) for v in value)
    if isinstance(value, (list, tuple)):
        return [_plain(v) for v in value]
    if hasattr(value, "tolist"):
        return _plain(value.tolist())
    if isinstance(value, float):
        return round(value, 6) if math.isfinite(value) else None
    return value if value is None or isinstance(value, (bool, int, str)) else str(value)


def _place_key(
    view: StreamView | HostView | ServerView | QuerierView | GroupView | NodeView | NeighbourView | BridgeView
) -> tuple[str, int]:
    return view.interface, -1 if view.vlan is None else view.vlan


def _stream_key(stream: StreamView) -> tuple[Any, ...]:
    return stream.first, stream.protocol, stream.universe, stream.source, *_place_key(stream)


def _node_key(node: NodeView) -> tuple[Any, ...]:
    return node.first, node.mac, address_key(node.address), node.outputs, *_place_key(node)


def _server_key(server: ServerView) -> tuple[Any, ...]:
    return server.first, address_key(server.address), server.mac, *_place_key(server)


def _querier_key(querier: QuerierView) -> tuple[Any, ...]:
    return address_key(querier.address), querier.version, *_place_key(querier)


def address_key(address: str) -> tuple[Any, ...]:
    """Dotted numbers by value, any other text behind them."""
    parts = address.split(".")
    return (0, *(int(p) for p in parts)) if all(p.isascii() and p.isdigit() for p in parts) else (1, address)
