"""Rules about this laptop's own port: L3 a link that is nearly full, L7 spanning tree that lets nobody through, L8 a trunk."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.tables import E131, MULTICAST, UNICAST
from netwatch.decode.text import address_text
from netwatch.network.clock import BUCKET_TICKS, TICK
from netwatch.network.links import Tag, Wait
from netwatch.network.network import Network
from netwatch.network.vantage import PortState

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
_WIRED = ("wired", "unknown")
_GAP_AND_PREAMBLE = 24
"""Octets of line time beside a captured frame: FCS 4, preamble 8, gap 12 (RFC 5180 A.1)."""
_OVERHEAD = 192
"""The same of an E1.31 data packet beside its slots: 42 of headers, 126 of E1.31 (E1.31-2018 table 4-1), and these 24."""
_HELLO = 2 * NS
"""BPDUs come so often (IEEE 802.1D-2004 17.14, from memory)."""
_SPEAKS = 2
"""BPDUs since the plug: the switch speaks spanning tree here. Common practice, no source."""


class Bottleneck:
    """L3: what comes here nearly fills this laptop's own link; or the link is slow, or passes one way at a time."""

    rule = Rule(
        "bottleneck",
        steady=True, until=20 * NS, certainty=_EVERYWHERE | {"wifi": None, "limited": None}, explains=("packets-lost", "jitter"),
        numbers=("link_slow_mbit", "link_busy", "link_full"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        for index, state in sorted(network.vantage.ports.items()):
            speed = state.laptop.speed
            if speed is None or speed <= 0 or state.laptop.link is False or state.laptop.kind not in _WIRED:
                continue
            looked.findings += [each for each in (
                self._own_link(network, index, state, speed / 1e6), self._load(network, index, state, speed / 1e6, now),
            ) if each is not None]  # fmt: skip
        return looked

    @staticmethod
    def _own_link(network: Network, index: int, state: PortState, link: float) -> Finding | None:
        half = state.laptop.duplex == "half"
        if link >= network.numbers.link_slow_mbit and not half:
            return None
        name = network.interface(index << 24)
        facts = {"interface": name, "link_mbit": link, "half": half, "mbit": None}
        return Finding(index << 24, f"port:{name}", "tidy" if half else "note", "certain", state.first or 0, facts)

    @staticmethod
    def _load(network: Network, index: int, state: PortState, link: float, now: int) -> Finding | None:
        """The newest full bucket against the link; 'now' where most of it goes to every box, and not only to us."""
        numbers, mirror = network.numbers, state.vantage == "mirror"
        total = flooded = 0
        for segment, load in network.load.full.items():
            if segment >> 24 == index:
                octets = load.octets + load.packets * _GAP_AND_PREAMBLE
                total, flooded = total + int(octets.sum()), flooded + int(octets.sum() - octets[:, UNICAST].sum())
        mbit, to_all = (each * 8 / (BUCKET_TICKS * TICK / NS) / 1e6 for each in (total, flooded))
        if mbit <= link * numbers.link_busy:
            return None
        everybody = to_all - _asked_for(network, index)
        full = mbit > link * numbers.link_full
        bad = "now" if everybody > link * numbers.link_full else "soon"
        return Finding(
            index << 24, "rig", bad if full and not mirror else "quality", "certain", now - BUCKET_TICKS * TICK,
            {"interface": network.interface(index << 24), "link_mbit": link, "mbit": round(mbit, 3),
             "share": round(mbit / link, 3), "everybody_mbit": round(max(0.0, everybody), 3), "mirror": mirror},
        )  # fmt: skip


def _asked_for(network: Network, index: int) -> float:
    """Mbit/s of the groups that this laptop asked for on a port."""
    streams = network.streams
    packets = streams.buckets.sums(1)["packets"]
    size = len(packets)
    here = (streams.segment[:size] >> 24 == index) & (streams.cast[:size] == MULTICAST) & (streams.protocol[:size] == E131)
    bits = 0.0
    for flow in np.flatnonzero(here & streams.table.used[:size] & (packets > 0)).tolist():
        segment = int(streams.segment[flow])
        if network.wanted(segment, address_text(int(streams.dst[flow])), network.own(segment)) == "wanted":
            bits += int(packets[flow]) * (_OVERHEAD + max(0, int(streams.slots[flow]))) * 8
    return bits / (BUCKET_TICKS * TICK / NS) / 1e6


class SpanningTreeWait:
    """L7: after our link came up, the switch let nothing through but its own frames for 2 x 15 s, or for 50 s."""

    rule = Rule(
        "spanning-tree-wait", certainty=_EVERYWHERE | {"limited": None}, explains=("universe-silent",),
        numbers=("tree_delay_s", "tree_age_s", "tree_early_s", "tree_late_s", "told_for_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, told_for = Looked(), int(network.numbers.told_for_s * NS)
        for port, wait in network.links.waits.items():
            if wait.first is None:
                looked.findings += self._waits(network, port, wait, now, looked)
            elif now < wait.first + told_for and self._fits(network, wait, wait.first):
                looked.later(wait.first + told_for, now)
                looked.findings.append(self._finding(network, port, wait, "certain", wait.first, (wait.first_n,)))
        return looked

    def _waits(self, network: Network, port: int, wait: Wait, now: int, looked: Looked) -> list[Finding]:
        """Light came here before the link was lost, and since it is back only the switch speaks."""
        longest = wait.linked + int(
            (2 * network.numbers.tree_delay_s + network.numbers.tree_age_s + network.numbers.tree_late_s) * NS
        )
        if now >= longest or wait.bpdus < _SPEAKS or not _lit_before(network, port, wait.linked):
            return []
        looked.later(longest, now)
        return [self._finding(network, port, wait, "likely", None, ())]

    @staticmethod
    def _finding(network: Network, port: int, wait: Wait, certainty: str, first: int | None, numbers: tuple[int, ...]) -> Finding:
        name = network.interface(port << 24)
        return Finding(
            port << 24, f"port:{name}", "quality", certainty, wait.linked,
            {"interface": name, "seconds": None if first is None else (first - wait.linked) / NS, "bpdus": wait.bpdus,
             "waits": first is None},
            (*wait.bpdu_n, *numbers), sign=wait.linked if first is None else first,
        )  # fmt: skip

    @staticmethod
    def _fits(network: Network, wait: Wait, first: int) -> bool:
        numbers, waited = network.numbers, (first - wait.linked) / NS
        usual = 2 * numbers.tree_delay_s
        spoke = wait.bpdus >= max(2, (first - wait.linked) // _HELLO // 2)
        return spoke and any(
            each - numbers.tree_early_s <= waited <= each + numbers.tree_late_s for each in (usual, usual + numbers.tree_age_s)
        )


def _lit_before(network: Network, port: int, linked: int) -> bool:
    """Was light heard on a port before a moment, and none since?"""
    streams, size = network.streams, network.streams.table.size
    here = streams.table.settled[:size] & streams.table.used[:size] & (streams.segment[:size] >> 24 == port)
    return bool(here.any()) and int(streams.last[:size][here].max()) < linked


class TrunkPort:
    """L8: frames of several VLANs come here with tags, or the switch says that this port is in another VLAN than planned."""

    rule = Rule(
        "trunk-port", until=60 * NS, certainty=_EVERYWHERE | {"limited": None}, numbers=("trunk_least", "trunk_within_s"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked, within = Looked(), int(network.numbers.trunk_within_s * NS)
        for port, tags in network.links.tags.items():
            if len(tags) < network.numbers.trunk_least or port not in network.vantage.ports:
                continue
            looked.later(next_grid(now), now)
            fresh = {vlan: tag for vlan, tag in tags.items() if now - tag.last < within}
            if len(fresh) >= network.numbers.trunk_least:
                looked.findings.append(self._tagged(network, port, fresh))
        tagged = {each.segment for each in looked.findings}
        looked.findings += [each for each in self._against_plan(network) if each.segment not in tagged]
        return looked

    @staticmethod
    def _tagged(network: Network, port: int, tags: dict[int, Tag]) -> Finding:
        """A mirror of a trunk gets tags by its nature."""
        name, mirror = network.interface(port << 24), network.vantage.ports[port].vantage == "mirror"
        seen = sorted(tags.values(), key=lambda tag: tag.first)
        return Finding(
            port << 24, f"port:{name}", "note" if mirror else "soon", "certain", seen[:2][-1].first,
            {"interface": name, "vlans": sorted(tags), "mirror": mirror, "vlan": None, "planned": None},
            tuple(sorted(tag.n for tag in seen[:5])),
        )  # fmt: skip

    @staticmethod
    def _against_plan(network: Network) -> Iterator[Finding]:
        expected = expected_of(network)
        for port, said in network.links.switch.items():
            if expected is not None and expected.vlans and said.vlan is not None and said.vlan not in expected.vlans:
                name, first = network.interface(port << 24), network.vantage.port(port).first or 0
                facts = {"interface": name, "vlans": [], "mirror": False, "vlan": said.vlan, "planned": sorted(expected.vlans)}
                yield Finding(port << 24, f"port:{name}", "soon", "certain", first, facts, (said.n,))


LINK_RULES = (Bottleneck(), SpanningTreeWait(), TrunkPort())
