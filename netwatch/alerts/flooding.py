"""The rule about switches that pass everything on: M5."""

from __future__ import annotations

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.network.network import Network
from netwatch.network.switching import arrives, groups_of_light, universes_of

_OVERHEAD = 192
"""Bytes of line time of an E1.31 data packet beside its slots: 42 headers, 126 E1.31 (table 4-1), 24 FCS, preamble and gap."""


class MulticastFlooded:
    """M5: light that nobody here asked for goes on arriving: the switch passes everything to everybody."""

    rule = Rule(
        "multicast-flooded",
        until=60 * NS,
        certainty={"mirror": None, "ordinary": "certain", "wifi": "hint", "limited": None},
        numbers=("flooded_after_s", "flooded_universes", "flooded_mbit", "flooded_groups"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for segment, since in network.queries.floods.items():
            finding = self._finding(network, segment, since, now)
            if finding is not None:
                looked.findings.append(finding)
        if network.queries.floods:
            looked.later(next_grid(now), now)
        return looked

    def _finding(self, network: Network, segment: int, since: int, now: int) -> Finding | None:
        own, light = network.own(segment), groups_of_light(network)
        flows = [
            flow
            for (where, group), flows in light.items()
            if where == segment and network.wanted(segment, group, own) == "not wanted"
            for flow in flows
            if arrives(network, flow, now)
        ]
        if not flows:
            return None
        universes = sorted({int(network.streams.universe[flow]) for flow in flows})
        mbit = _mbit(network, flows)
        numbers = network.numbers
        severity = "now" if mbit > numbers.flooded_mbit else "quality" if len(universes) >= numbers.flooded_universes else "note"
        announced = {each for (where, _), listing in network.announced.items() if where == segment for each in listing.universes}
        full = len(light) > numbers.flooded_groups and bool(announced - set(universes_of(network, segment)))
        return Finding(
            segment,
            "rig",
            severity,
            "certain",
            since - int(numbers.flooded_after_s * NS),
            {
                "universes": universes,
                "mbit": round(mbit, 3),
                "link": network.vantage.port(segment >> 24).link,
                "table_full": full,
            },
            tuple(sorted({int(network.streams.last_n[flow]) for flow in flows})[-3:]),
        )


def _mbit(network: Network, flows: list[int]) -> float:
    """Line time of flows, at their rates so far."""
    streams, bits = network.streams, 0.0
    for flow in flows:
        seconds = (int(streams.last[flow]) - int(streams.first[flow])) / NS
        size = _OVERHEAD + max(0, int(streams.slots[flow]))
        bits += (int(streams.packets[flow]) - 1) / seconds * size * 8 if seconds > 0 else 0.0
    return bits / 1e6


FLOODING_RULES = (MulticastFlooded(),)
