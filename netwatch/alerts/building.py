"""While a rig is built up, things come and go: what is lost then is a note, until it proved to be part of the rig.

A universe is part of the rig once it ran without a break for ``proven_s``, or when the plan expects it. What counts is what was
so when the thing was lost: nothing gets louder because another source takes over, or because the show begins later.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netwatch.alerts.phases import BUILDING, Phases
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import protocol_name
from netwatch.decode.tables import ARTNET, E131
from netwatch.decode.text import mac_text
from netwatch.network.network import Network
from netwatch.network.switching import groups_of_light

IN_A_SHOW = "in_a_show"
"""The fact that tells how bad it would be then."""

Universe = tuple[int, int]
"""(protocol, universe)."""


def eased(network: Network, phases: Phases, rule: Rule, finding: Finding, now: int) -> Finding:
    """The finding, or a note where it is about something that came and went while the rig was built up."""
    if not rule.note_in_building or finding.severity == "note" or phases.at(finding.since) != BUILDING:
        return finding
    universes = _universes(network, finding)
    if _planned(network, finding, universes) or _proven(network, finding, universes, now):
        return finding
    return replace(finding, severity="note", facts={**finding.facts, IN_A_SHOW: finding.severity})


def _host(finding: Finding) -> int:
    """MAC of the box that it is about, 0 = of none."""
    kind, _, mac = finding.subject.partition(":")
    return int(mac.replace(":", ""), 16) if kind == "host" else 0


def _universes(network: Network, finding: Finding) -> set[Universe]:
    """Those of its facts; else those that its box sends, puts out or asked for; of this laptop's link all that came here."""
    told = finding.facts.get("universes")
    if told is None and finding.facts.get("universe") is not None:
        told = [finding.facts["universe"]]
    if told is not None:
        protocol = ARTNET if finding.facts.get("protocol") == "artnet" else E131
        return {(protocol, int(each)) for each in told}
    host = _host(finding)
    return _of_box(network, finding.segment, host) if host else _heard(network, finding.segment)


def _heard(network: Network, segment: int) -> set[Universe]:
    streams, size = network.streams, network.streams.table.size
    flows = np.flatnonzero(streams.table.used[:size] & (streams.segment[:size] == segment)).tolist()
    return {(int(streams.protocol[flow]), int(streams.universe[flow])) for flow in flows}


def _of_box(network: Network, segment: int, host: int) -> set[Universe]:
    streams, mac = network.streams, mac_text(host)
    found = {(int(streams.protocol[flow]), int(streams.universe[flow])) for flow in streams.of_sender(segment, host)}
    for bind in network.nodes.binds.values():
        if bind.segment == segment and mac in (bind.mac, bind.node_mac):
            found |= {(ARTNET, each) for each in bind.outputs}
    for (where, address), flows in groups_of_light(network).items():
        group = network.multicast.groups.get((where, address))
        if where == segment and group is not None and mac in group.members:
            found |= {(E131, int(streams.universe[flow])) for flow in flows}
    return found


def _planned(network: Network, finding: Finding, universes: set[Universe]) -> bool:
    expected, host = expected_of(network), _host(finding)
    if expected is None:
        return False
    planned = {(each.protocol, each.universe) for each in expected.universes}
    named = {(protocol_name(protocol), universe) for protocol, universe in universes}
    return bool(planned & named) or (host != 0 and expected.by_mac(mac_text(host)) is not None)


def _proven(network: Network, finding: Finding, universes: set[Universe], now: int) -> bool:
    """Did one of the universes run for long enough, before it was lost?"""
    streams, size = network.streams, network.streams.table.size
    here = streams.table.used[:size] & (streams.segment[:size] == finding.segment)
    for protocol, universe in universes:
        flows = np.flatnonzero(here & (streams.protocol[:size] == protocol) & (streams.universe[:size] == universe)).tolist()
        lost = [flow for flow in flows if _is_about(network, finding, flow)] or flows
        for moment in {_moment(network, flow, finding.since, now) for flow in lost}:
            if any(_ran(network, flow, moment) for flow in flows):
                return True
    return False


def _is_about(network: Network, finding: Finding, flow: int) -> bool:
    kind, _, which = finding.subject.partition(":")
    if kind == "source":
        return network.source_id(flow) == which
    return kind == "host" and int(network.streams.mac[flow]) == _host(finding)


def _moment(network: Network, flow: int, since: int, now: int) -> int:
    """When a flow was lost: at its last packet, where it is silent."""
    last = int(network.streams.last[flow])
    return last if now - max(last, network.hole_end) > network.streams.silence[flow] else since


def _ran(network: Network, flow: int, moment: int) -> bool:
    """Had it run for long enough at that moment? What ran before the rig was last switched off does not count."""
    streams, length = network.streams, int(network.numbers.proven_s * NS)
    run, proven, last = int(streams.run[flow]), int(streams.proven[flow]), int(streams.last[flow])
    off = network.off.get(int(streams.segment[flow]))
    after = off.until if off is not None else 0
    if after < proven <= moment:
        return True
    return after < run + length <= min(moment, last + int(streams.silence[flow])) and last > after
