"""Rules about this laptop: P1 two interfaces in one network, P2 nothing heard, P3 firewall, P4 tunnel. They spoil all others."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from ipaddress import IPv4Network
from typing import Any

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who
from netwatch.decode.text import address_text
from netwatch.network.laptop import LaptopFacts, Other, Route
from netwatch.network.network import Network
from netwatch.network.vantage import PortState

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
_CARDS = ("wired", "wifi", "unknown")
"""Kinds by which a laptop is plugged into a rig."""


class TwoInterfaces:
    """P1: two interfaces of this laptop are in one network: by their addresses, or because both hear the same boxes."""

    rule = Rule(
        "two-interfaces-one-network",
        steady=True, after_number="two_interfaces_s", certainty=_EVERYWHERE, about_laptop=True,
        explains=("firewall-in-the-way",), numbers=("two_interfaces_s", "same_boxes_least", "same_boxes_share"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        told: set[frozenset[str]] = set()
        for index, state in sorted(network.vantage.ports.items()):
            if not state.laptop.link:
                continue
            looked.later(next_grid(now), now)
            for finding in (*self._by_address(network, index, now), *self._by_ear(network, index, now)):
                pair = frozenset((finding.facts["interface"], finding.facts["other"]))
                if pair not in told:
                    told.add(pair)
                    looked.findings.append(finding)
        return looked

    def _by_address(self, network: Network, index: int, now: int) -> Iterator[Finding]:
        mine = network.vantage.port(index).laptop
        for other in mine.others:
            shared = next((
                each.network for each in mine.addresses for its in other.addresses
                if each.network.prefixlen < 31 and its.network.prefixlen < 31 and each.network.overlaps(its.network)
                and not each.ip.is_loopback
            ), None)  # fmt: skip
            if shared is not None and other.link and not _one_card(mine, other):
                facts = {"other": other.name, "other_kind": other.kind, "network": str(shared), "boxes": None}
                yield self._finding(network, index, now, "soon" if other.kind in _CARDS else "quality", facts)

    def _by_ear(self, network: Network, index: int, now: int) -> Iterator[Finding]:
        """Another port on which we listen hears the same boxes; a mirror port does so by its nature."""
        numbers, state = network.numbers, network.vantage.port(index)
        for other, its in sorted(network.vantage.ports.items()):
            both = state.told is not None and its.told is not None and its.laptop.link
            if other <= index or not both or "mirror" in (state.vantage, its.vantage):
                continue
            ours = network.own(index << 24) | network.own(other << 24)
            one, two = (_boxes(network, port) - ours for port in (index, other))
            shared = len(one & two)
            if shared >= max(numbers.same_boxes_least, numbers.same_boxes_share * min(len(one), len(two))):
                name = network.interface(other << 24)
                facts = {"other": name, "other_kind": its.laptop.kind, "network": None, "boxes": shared}
                yield self._finding(network, index, now, "soon", facts)

    @staticmethod
    def _finding(network: Network, index: int, now: int, severity: str, facts: Mapping[str, Any]) -> Finding:
        name, kind = network.interface(index << 24), network.vantage.port(index).laptop.kind
        return Finding(index << 24, f"port:{name}", severity, "certain", now, {"interface": name, "kind": kind, **facts})


def _one_card(mine: LaptopFacts, other: Other) -> bool:
    """Bridged, teamed or stacked: both are the same card, or parts of one."""
    parts = {mine.master, other.master} - {""}
    return (bool(mine.mac) and mine.mac == other.mac) or bool(parts & {mine.name, other.name}) or (
        bool(parts) and mine.master == other.master
    )


def _boxes(network: Network, port: int) -> set[int]:
    """MACs heard on the untagged segment of a port."""
    return set(network.claims.boxes.macs(port << 24)) - {0}


class NothingHeard:
    """P2: no link, or nothing of any other box since we listen here. Any frame counts: a switch may hold light back."""

    rule = Rule(
        "nothing-heard-here", until=3 * NS, certainty=_EVERYWHERE, about_laptop=True, numbers=("nothing_heard_s", "no_link_s"),
        explains=("source-lost", "universe-silent", "multicast-dropped", "controller-left", "querier-lost", "no-querier",
                  "lease-server-silent", "no-dhcp-answer", "poll-unanswered", "sync-lost", "packets-lost"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for index, state in sorted(network.vantage.ports.items()):
            if state.told is None:
                continue
            if state.unlinked is not None:
                self._tell(network, index, "gone" if state.laptop.present is False else "no-link", state.unlinked, now, looked)
            elif state.laptop.link and not state.laptop.limited and not self._heard(network, index, state):
                begun = max(state.told, state.linked or 0, network.hole_end)
                self._tell(network, index, "silent", begun, now, looked)
        return looked

    @staticmethod
    def _heard(network: Network, index: int, state: PortState) -> bool:
        own = network.own(index << 24)
        return any(mac not in own for mac in state.heard)

    def _tell(self, network: Network, index: int, what: str, since: int, now: int, looked: Looked) -> None:
        numbers = network.numbers
        due = since + int((numbers.nothing_heard_s if what == "silent" else numbers.no_link_s) * NS)
        looked.later(due, now)
        if due > now:
            return
        state, name = network.vantage.port(index), network.interface(index << 24)
        elsewhere = [each.name for each in state.laptop.others if each.hears and each.kind in _CARDS]
        severity = "soon" if what != "silent" or elsewhere else "quality"
        looked.findings.append(Finding(
            index << 24, f"port:{name}", severity, "certain", since,
            {"interface": name, "kind": state.laptop.kind, "what": what, "seconds": (now - since) / NS, "elsewhere": elsewhere},
        ))  # fmt: skip


class FirewallInTheWay:
    """P3: light comes to the card, is meant for this laptop, and does not get through to its programs."""

    rule = Rule(
        "firewall-in-the-way", certainty=_EVERYWHERE, about_laptop=True,
        numbers=("firewall_s", "firewall_packets", "firewall_stands_s"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for index, state in sorted(network.vantage.ports.items()):
            finding = self._counted(network, index, state, now, looked) or self._by_rules(network, index, state)
            looked.findings += [finding] if finding is not None else []
        return looked

    def _counted(self, network: Network, index: int, state: PortState, now: int, looked: Looked) -> Finding | None:
        numbers, found = network.numbers, []
        for udp_port, kept in sorted(state.kept_out.items()):
            looked.later(kept.grew + int(numbers.firewall_stands_s * NS), now)
            lasted = kept.grew - kept.since >= numbers.firewall_s * NS
            if lasted and kept.missed >= numbers.firewall_packets and now - kept.grew < numbers.firewall_stands_s * NS:
                found.append((udp_port, kept))
        if not found:
            return None
        name = network.interface(index << 24)
        return Finding(
            index << 24, f"port:{name}", "soon", "certain", min(kept.since for _, kept in found),
            {"interface": name, "ports": [udp_port for udp_port, _ in found], "packets": sum(kept.missed for _, kept in found),
             "seconds": max(kept.grew - kept.since for _, kept in found) / NS, "firewall": state.laptop.firewall or None},
            tuple(sorted(n for _, kept in found for n in kept.numbers)[-8:]),
        )  # fmt: skip

    @staticmethod
    def _by_rules(network: Network, index: int, state: PortState) -> Finding | None:
        """The firewall's own rules say so; where whole frames are read only other programs miss anything."""
        if not state.laptop.blocked:
            return None
        name = network.interface(index << 24)
        return Finding(
            index << 24, f"port:{name}", "soon" if state.laptop.limited else "tidy", "likely", state.told or 0,
            {"interface": name, "ports": list(state.laptop.blocked), "packets": None, "firewall": state.laptop.firewall or None},
        )  # fmt: skip


class TunnelInTheWay:
    """P4: a tunnel or a virtual network takes what is meant for the rig: its own network, multicast, or boxes of light."""

    rule = Rule(
        "tunnel-in-the-way", after_number="tunnel_s", certainty=dict.fromkeys(_EVERYWHERE, "likely"), about_laptop=True,
        explains=("firewall-in-the-way",), numbers=("tunnel_s",),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked, told = Looked(), set[tuple[str, str]]()
        for index, state in sorted(network.vantage.ports.items()):
            for by in dict.fromkeys(route.by for route in (*state.laptop.astray, *state.laptop.tunnels)):
                finding = self._finding(network, index, now, by)
                key = (by, str(finding.facts["networks"])) if finding is not None else ("", "")
                if finding is not None and key not in told:
                    told.add(key)
                    looked.findings.append(finding)
        return looked

    @staticmethod
    def _finding(network: Network, index: int, now: int, by: str) -> Finding | None:
        mine = network.vantage.port(index).laptop
        astray = [route for route in mine.astray if route.by == by]
        wide = [route for route in mine.tunnels if route.by == by]
        boxes = _swallowed(network, index, mine, wide)
        if not astray and not boxes:
            return None
        name = network.interface(index << 24)
        return Finding(
            index << 24, f"port:{by}", "soon" if astray else "quality", "likely", now,
            {"interface": name, "tunnel": by, "kind": [*astray, *wide][0].kind,
             "networks": [str(route.to) for route in astray if route.to is not None],
             "multicast": any(route.to is None for route in astray), "boxes": boxes},
        )  # fmt: skip


def _swallowed(network: Network, index: int, mine: LaptopFacts, tunnels: list[Route]) -> list[str]:
    """Senders of light outside this laptop's own networks to which answers would go into a tunnel. A default way says nothing."""
    streams, size = network.streams, network.streams.table.size
    flows = np.flatnonzero(streams.table.settled[:size] & streams.table.used[:size] & (streams.segment[:size] == index << 24))
    found: dict[str, None] = {}
    for flow in flows.tolist() if any(route.to is not None and route.to.prefixlen for route in tunnels) else ():
        source = int(streams.src[flow])
        near = any(_holds(each.network, source) for each in mine.addresses)
        if not near and any(route.to is not None and route.to.prefixlen and _holds(route.to, source) for route in tunnels):
            found[f"{who(network, flow)} ({address_text(source)})"] = None
    return list(found)


def _holds(network: IPv4Network, address: int) -> bool:
    return int(network.network_address) <= address <= int(network.broadcast_address)


LAPTOP_RULES = (FirewallInTheWay(), NothingHeard(), TunnelInTheWay(), TwoInterfaces())
