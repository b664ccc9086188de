"""While a rig is built up, things come and go: what is lost then is a note, until it proved to be part of the rig.

A universe is part of the rig once it ran without a break for ``proven_s``, or when the plan expects it. What counts is what was
so when the thing was lost: nothing gets louder because another source takes over, or because the show begins later.
"""

from __future__ import annotations

from functools import cached_property

import numpy as np

from netwatch.alerts.phases import BUILDING, Phases
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import protocol_name
from netwatch.decode.tables import ARTNET, E131
from netwatch.decode.text import mac_number, mac_text
from netwatch.network.network import Network
from netwatch.network.switching import groups_of_light

IN_A_SHOW = "in_a_show"
"""The fact that tells how bad it would be then."""

Universe = tuple[int, int]
"""(protocol, universe)."""
Box = tuple[int, str]
"""(segment, MAC)."""


class Easing:
    """Tells which findings become notes while the rig is built up; one for each tick judged, to work nothing out twice."""

    def __init__(self, network: Network, phases: Phases, now: int, before: Easing | None = None) -> None:
        """``before`` = that of an earlier tick."""
        self.network, self.phases, self.now = network, phases, now
        self._earliest: int = 0 if before is None else before._earliest
        """ns before which no universe can have run for long."""

    def eases(self, rule: Rule, finding: Finding) -> bool:
        """Is it about something that came and went while the rig was built up, so that it is a note only?"""
        if not rule.note_in_building or finding.severity == "note" or self.phases.at(finding.since) != BUILDING:
            return False
        if self.hopeless:
            return True
        universes = self._universes(finding)
        return not (_planned(self.network, finding, universes) or self._proven(finding, universes))

    def _universes(self, finding: Finding) -> set[Universe]:
        """Those of its facts; else those that its box sends, puts out or asked for; of this laptop's link all that came here."""
        told = finding.facts.get("universes")
        if told is None and finding.facts.get("universe") is not None:
            told = [finding.facts["universe"]]
        if told is not None:
            protocol = ARTNET if finding.facts.get("protocol") == "artnet" else E131
            return {(protocol, int(each)) for each in told}
        host = _host(finding)
        return self._of_box(finding.segment, host) if host else self._heard(finding.segment)

    def _of_box(self, segment: int, host: int) -> set[Universe]:
        streams, box = self.network.streams, (segment, mac_text(host))
        found = {(int(streams.protocol[flow]), int(streams.universe[flow])) for flow in streams.of_sender(segment, host)}
        return found | self._outputs.get(box, set()) | self._asked_for.get(box, set())

    def _heard(self, segment: int) -> set[Universe]:
        streams, size = self.network.streams, self.network.streams.table.size
        flows = np.flatnonzero(streams.table.used[:size] & (streams.segment[:size] == segment)).tolist()
        return {(int(streams.protocol[flow]), int(streams.universe[flow])) for flow in flows}

    @cached_property
    def hopeless(self) -> bool:
        """As in the first minutes: no universe is part of the rig."""
        if expected_of(self.network) is not None:
            return False
        if self.now >= self._earliest:
            if self._ran_long:
                return False
            streams, numbers = self.network.streams, self.network.numbers
            begun = streams.run[: streams.table.size][streams.table.used[: streams.table.size]].min(initial=self.now)
            longest = max(numbers.source_silent_s, numbers.artnet_silent_s)
            self._earliest = int(begun) + int((numbers.proven_s - longest) * NS)
        return True

    @cached_property
    def _outputs(self) -> dict[Box, set[Universe]]:
        """What nodes put out."""
        out: dict[Box, set[Universe]] = {}
        for bind in self.network.nodes.binds.values():
            for mac in (bind.mac, bind.node_mac):
                out.setdefault((bind.segment, mac), set()).update((ARTNET, each) for each in bind.outputs)
        return out

    @cached_property
    def _asked_for(self) -> dict[Box, set[Universe]]:
        """Universes whose groups somebody is in."""
        out: dict[Box, set[Universe]] = {}
        for (segment, address), flows in groups_of_light(self.network).items():
            group = self.network.multicast.groups.get((segment, address))
            universes = {(E131, int(self.network.streams.universe[flow])) for flow in flows}
            for mac in group.members if group is not None else ():
                out.setdefault((segment, mac), set()).update(universes)
        return out

    @cached_property
    def _ran_long(self) -> set[tuple[int, int, int]]:
        """(segment, protocol, universe) of flows that ever ran for long enough. Few are asked for more exactly."""
        streams, size = self.network.streams, self.network.streams.table.size
        length = int(self.network.numbers.proven_s * NS)
        long = streams.run[:size] + length <= streams.last[:size] + streams.silence[:size]
        flows = np.flatnonzero(streams.table.used[:size] & (long | (streams.proven[:size] > 0)))
        places = streams.segment[flows].tolist(), streams.protocol[flows].tolist(), streams.universe[flows].tolist()
        return set(zip(*places, strict=True))

    def _proven(self, finding: Finding, universes: set[Universe]) -> bool:
        """Did one of the universes run for long enough, before it was lost?"""
        network, streams, size = self.network, self.network.streams, self.network.streams.table.size
        for protocol, universe in universes:
            if (finding.segment, protocol, universe) not in self._ran_long:
                continue
            here = streams.table.used[:size] & (streams.segment[:size] == finding.segment)
            flows = np.flatnonzero(here & (streams.protocol[:size] == protocol) & (streams.universe[:size] == universe)).tolist()
            lost = [flow for flow in flows if _is_about(network, finding, flow)] or flows
            for moment in {_moment(network, flow, finding.since, self.now) for flow in lost}:
                if any(_ran(network, flow, moment) for flow in flows):
                    return True
        return False


def eased(finding: Finding, certainty: str) -> Finding:
    """The finding as a note, and so sure."""
    facts = {**finding.facts, IN_A_SHOW: finding.severity}
    return Finding(finding.segment, finding.subject, "note", certainty, finding.since, facts, finding.numbers, finding.sign)


def _host(finding: Finding) -> int:
    """MAC of the box that it is about, 0 = of none."""
    kind, _, mac = finding.subject.partition(":")
    return mac_number(mac) if kind == "host" else 0


def _planned(network: Network, finding: Finding, universes: set[Universe]) -> bool:
    expected = expected_of(network)
    if expected is None:
        return False
    host = _host(finding)
    planned = {(each.protocol, each.universe) for each in expected.universes}
    named = {(protocol_name(protocol), universe) for protocol, universe in universes}
    return bool(planned & named) or (host != 0 and expected.by_mac(mac_text(host)) is not None)


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
