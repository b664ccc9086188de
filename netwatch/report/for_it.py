"""For the IT department: MACs, VLANs, who asks and who answers, local and UTC time, file and packet numbers."""

from __future__ import annotations

from datetime import tzinfo

from netwatch import words
from netwatch.report.brief import Job, facts, in_short
from netwatch.report.findings import RANK
from netwatch.report.html import render
from netwatch.report.layout import Column
from netwatch.report.masked import masked
from netwatch.report.tables import Part
from netwatch.report.times import Times
from netwatch.story.document import address_key
from netwatch.story.evening import Evening
from netwatch.story.snapshot import AlertView, Snapshot
from netwatch.words import report as said
from netwatch.words.phrases import count, listing, number, ranges, seconds, size

MOST_PACKETS = 8
_EVENTS = ("hole", "clock-set-back", "listening", "word", "sent", "phase", "recording", "laptop", "telling")


def page(evening: Evening, job: Job, zone: tzinfo | None = None) -> str:
    """The page; people's own devices without their MACs and names, unless ``job.names``."""
    evening = evening if job.names else masked(evening)
    snapshot = evening.snapshot
    times = Times(snapshot.first, zone)
    found = [_alerts(evening, times), *_network(snapshot, times), _happened(snapshot, times)]
    return render(
        "it.html", title=said.TITLE_IT, job=job, facts=facts(evening, job, times), wide=True,
        short=in_short(snapshot, times), tables=found,
    )  # fmt: skip


def _alerts(evening: Evening, times: Times) -> Part:
    alerts = sorted(evening.snapshot.alerts, key=lambda each: (RANK[each.severity], each.since, each.id))
    return Part(
        said.FOUND, said.NOTHING_FOUND,
        _columns("Alert", "Severity", "Sure", "From", "To", "From, UTC", "Where", "What", "Packets"),
        [_alert(each, evening, times) for each in alerts],
    )  # fmt: skip


def _alert(alert: AlertView, evening: Evening, times: Times) -> list[str]:
    to = "open" if alert.closed is None else times.clock(alert.closed)
    return [
        str(alert.id), words.SEVERITY[alert.severity].word, words.CERTAINTY[alert.certainty].word.lower(),
        times.clock(alert.since), to,
        times.utc(alert.since), _where(alert.interface, alert.vlan), alert.title, _packets(alert, evening),
    ]  # fmt: skip


def _packets(alert: AlertView, evening: Evening) -> str:
    """'12, 40 and 41 of evening.pcapng', file by file."""
    by_file: dict[str | None, list[str]] = {}
    for n in alert.packets[:MOST_PACKETS]:
        place = evening.places.get(n)
        by_file.setdefault(None if place is None else place[0], []).append(number(n if place is None else place[1]))
    return "; ".join(listing(found, MOST_PACKETS) + (f" of {file}" if file else "") for file, found in by_file.items())


def _network(snapshot: Snapshot, times: Times) -> list[Part]:
    return [
        _boxes(snapshot, times),
        _servers(snapshot, times),
        _queriers(snapshot, times),
        _neighbours(snapshot, times),
        _tree(snapshot, times),
        _groups(snapshot, times),
        _load(snapshot),
    ]


def _boxes(snapshot: Snapshot, times: Times) -> Part:
    hosts = sorted(snapshot.hosts, key=lambda h: (h.vlan or 0, *(address_key(h.addresses[0]) if h.addresses else (2,)), h.mac))
    rows = [
        [host.mac or "-", listing(host.addresses, 3) or "-", _where(host.interface, host.vlan), host.vendor or "-",
         ", ".join([*(["this laptop"] if host.ours else []), *dict.fromkeys(name for name, _ in host.names)]),
         host.lease_from or "-", times.clock(host.first), times.clock(host.last), times.utc(host.last)]
        for host in hosts
    ]  # fmt: skip
    columns = _columns("MAC", "Addresses", "Where", "Maker", "Names", "DHCP server", "First", "Last", "Last, UTC")
    return Part("Boxes", "No box was heard.", columns, rows)


def _servers(snapshot: Snapshot, times: Times) -> Part:
    rows = [
        [each.address, each.mac or "-", _where(each.interface, each.vlan), number(each.clients), ", ".join(each.evidence),
         times.clock(each.first), times.clock(each.last)]
        for each in sorted(snapshot.servers, key=lambda each: (each.vlan or 0, address_key(each.address)))
    ]  # fmt: skip
    columns = _columns("Address", "MAC", "Where", "Clients", "Known by", "First", "Last")
    return Part("DHCP servers", "No DHCP server was heard.", columns, rows)


def _queriers(snapshot: Snapshot, times: Times) -> Part:
    rows = [
        [each.address, f"v{each.version}", _where(each.interface, each.vlan), number(each.queries),
         "-" if each.interval is None else seconds(each.interval), times.clock(each.last), times.utc(each.last)]
        for each in sorted(snapshot.queriers, key=lambda each: (each.vlan or 0, address_key(each.address)))
    ]  # fmt: skip
    columns = _columns("Address", "IGMP", "Where", "Queries", "Every", "Last", "Last, UTC")
    return Part("IGMP queriers", "No IGMP query was heard.", columns, rows)


def _neighbours(snapshot: Snapshot, times: Times) -> Part:
    rows = [
        [each.name or "-", each.chassis, each.port, each.text or "-", "-" if each.port_vlan is None else str(each.port_vlan),
         each.mac or "-", _where(each.interface, each.vlan), times.clock(each.first), times.clock(each.last)]
        for each in sorted(snapshot.neighbours, key=lambda each: (each.interface, each.name, each.chassis, each.port))
    ]  # fmt: skip
    columns = _columns("Name", "Chassis", "Port", "Port text", "Untagged VLAN", "MAC", "Heard on", "First", "Last")
    return Part("LLDP: what switches and boxes say of themselves", "No LLDP was heard.", columns, rows)


def _tree(snapshot: Snapshot, times: Times) -> Part:
    rows = [
        [each.root or "notice of a change", each.bridge or each.mac or "-", str(each.port) if each.bridge else "-",
         said.TREE.get(each.version, str(each.version)), _where(each.interface, each.vlan), number(each.heard),
         number(each.changes), *("-" if each.changed is None else text(each.changed) for text in (times.clock, times.utc)),
         times.clock(each.last)]
        for each in sorted(snapshot.bridges, key=lambda each: (each.interface, each.vlan or 0, each.root, each.bridge, each.port))
    ]  # fmt: skip
    heads = ("Root", "Bridge", "Port", "Kind", "Heard on", "BPDUs", "Topology changes", "Last change", "Last change, UTC", "Last")
    columns = _columns(*heads)
    return Part("Spanning tree", "No spanning tree was heard.", columns, rows)


def _groups(snapshot: Snapshot, times: Times) -> Part:
    rows = [
        [each.group, str(each.universe or "-"), _where(each.interface, each.vlan), number(each.members),
         *("-" if moment is None else times.clock(moment) for moment in (each.last_report, each.last_data))]
        for each in sorted(snapshot.groups, key=lambda each: (each.vlan or 0, address_key(each.group)))
    ]  # fmt: skip
    columns = _columns("Group", "sACN universe", "Where", "Members heard", "Last report", "Last data")
    return Part("Multicast groups of light", "No group was heard of.", columns, rows)


def _load(snapshot: Snapshot) -> Part:
    rows = [
        [_where(each.interface, each.vlan), each.kind, count(each.packets, "packet", "packets"), size(each.bytes)]
        for each in sorted(snapshot.loads, key=lambda each: (each.interface, each.vlan or 0, -each.bytes))
    ]
    tags = sorted({each.vlan for each in snapshot.loads if each.vlan is not None})
    head = f"Traffic by VLAN and kind (VLANs heard: {ranges(tags) or 'none, all untagged'})"
    return Part(head, "No packet was heard.", _columns("Where", "Kind", "Packets", "Bytes"), rows)


def _happened(snapshot: Snapshot, times: Times) -> Part:
    rows = [[times.clock(h.at), times.utc(h.at), h.what, h.text] for h in snapshot.happenings if h.what in _EVENTS]
    return Part("Events", "None.", _columns("Time", "UTC", "What", "Text"), rows)


def _columns(*heads: str) -> list[Column]:
    return [Column(head) for head in heads]


def _where(interface: str, vlan: int | None) -> str:
    return interface if vlan is None else f"{interface}, VLAN {vlan}"
