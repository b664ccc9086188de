"""A3: masks that differ, as the broadcast addresses and questions tell that boxes use. No packet carries a mask."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from netwatch.alerts.addresses import ANYWHERE, next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import Known, is_link_local, known_subnets, of, special
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import address_text, mac_text
from netwatch.network import masks
from netwatch.network.habits import ASKS, BROADCASTS
from netwatch.network.network import Network
from netwatch.network.subnets import own_addresses

_ARTNET_EVERYBODY = 0x02FFFFFF
"""2.255.255.255: Art-Net programs use it whatever their mask."""


@dataclass(frozen=True, slots=True)
class _Voter:
    """A box and the masks that fit the broadcast address it uses; of this laptop the one it has."""

    mac: int
    address: int
    shortest: int
    longest: int
    broadcast: int
    since: int
    numbers: tuple[int, ...]
    ours: bool = False

    @property
    def known(self) -> Known:
        return Known(masks.network_of(self.address, self.longest), self.longest, "host")


class WrongMask:
    """A3: two boxes of one subnet have different masks, as the broadcast addresses tell that they use."""

    rule = Rule("wrong-mask", steady=True, certainty=ANYWHERE, numbers=("hosts_within_s", "far_asks"))

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        directed = network.habits.held(BROADCASTS)
        for segment in network.segments:
            voters = _voters(network, segment, directed.id[directed.segment == segment].tolist(), now)
            sure = tuple(each for each in known_subnets(network, segment) if each.how != "laptop")
            told = {finding.subject: finding for finding in self._against(network, segment, voters, sure)}
            for finding in (*self._far(network, segment, sure), *self._votes(network, segment, voters)):
                told.setdefault(finding.subject, finding)
            looked.findings += told.values()
        return looked

    def _against(self, network: Network, segment: int, voters: list[_Voter], sure: tuple[Known, ...]) -> Iterator[Finding]:
        """Masks that differ from what the plan or the DHCP server says."""
        for voter in voters:
            right = of(sure, voter.address)
            if len(right) == 1 and not voter.shortest <= right[0].prefix <= voter.longest:
                yield self._finding(network, segment, voter, right[0], "soon", "certain", None)

    def _far(self, network: Network, segment: int, sure: tuple[Known, ...]) -> Iterator[Finding]:
        """Boxes that ask by ARP for an address outside their subnet take it for one inside: their mask is shorter."""
        if not sure:
            return
        asks, held = network.habits.held(ASKS, times=int(network.numbers.far_asks)), network.claims.addresses()
        for at in np.flatnonzero(asks.segment == segment).tolist():
            address, target = int(asks.address[at]), int(asks.target[at])
            right = of(sure, address)
            if len(right) != 1 or right[0].holds(target) or is_link_local(target) or is_link_local(address) or special(target):
                continue
            habit = network.habits.get(int(asks.id[at]))
            if len(held.get((segment, habit.mac), ())) > 1:
                continue
            shortest = masks.common(address, target)
            voter = _Voter(habit.mac, address, shortest, shortest, target, habit.first, habit.numbers)
            yield self._finding(network, segment, voter, right[0], "quality", "likely", address_text(target))

    def _votes(self, network: Network, segment: int, voters: list[_Voter]) -> Iterator[Finding]:
        """Boxes whose mask differs from that of more others; this laptop has a vote."""
        camps: dict[int, list[_Voter]] = {}
        for voter in voters:
            camps.setdefault(voter.broadcast, []).append(voter)
        ranked = sorted(camps.values(), key=lambda camp: (-len(camp), not any(v.ours for v in camp), min(v.since for v in camp)))
        for at, camp in enumerate(ranked):
            rival = next((each for each in ranked[:at] if _clash(each[0], camp[0])), [])
            for voter in camp if rival else ():
                certainty = "certain" if voter.ours or any(each.ours for each in rival) else "likely"
                yield self._finding(network, segment, voter, rival[0].known, "quality", certainty, None, rival[0])

    def _finding(self, network: Network, segment: int, voter: _Voter, right: Known, severity: str, certainty: str,
                 target: str | None, other: _Voter | None = None) -> Finding:
        name = "this laptop" if other is not None and other.ours else None
        return Finding(
            segment, f"host:{mac_text(voter.mac)}", severity, certainty, voter.since,
            {"who": "this laptop" if voter.ours else network.box_name(segment, voter.mac), "address": address_text(voter.address),
             "prefix": voter.longest, "broadcast": None if target else address_text(voter.broadcast), "target": target,
             "right": right.text, "how": right.how,
             "other": name or (network.box_name(segment, other.mac) if other is not None else None)},
            voter.numbers,
        )


def _clash(one: _Voter, other: _Voter) -> bool:
    """No mask fits both, though one's subnet holds the other."""
    apart = one.longest < other.shortest or other.longest < one.shortest
    return apart and (one.known.holds(other.address) or other.known.holds(one.address))


def _voters(network: Network, segment: int, habits: list[int], now: int) -> list[_Voter]:
    """Boxes that use one directed broadcast address, of those heard lately; boxes that use several choose them by hand."""
    within = int(network.numbers.hosts_within_s * NS)
    found: dict[int, list[_Voter]] = {}
    for each in habits:
        habit = network.habits.get(each)
        fits = masks.inferred(habit.address, habit.target)
        if fits is None or habit.target == _ARTNET_EVERYBODY or is_link_local(habit.target) or now - habit.last >= within:
            continue
        voter = _Voter(habit.mac, habit.address, *fits, habit.target, habit.first, habit.numbers)
        found.setdefault(habit.mac, []).append(voter)
    own = network.own(segment)
    out = [voters[0] for mac, voters in found.items() if len({each.broadcast for each in voters}) == 1 and mac not in own]
    for interface in own_addresses(network, segment) if own else ():
        address, prefix = int(interface.ip), interface.network.prefixlen
        if prefix <= 30:
            out.append(_Voter(min(own), address, prefix, prefix, masks.broadcast_of(address, prefix), 0, (), ours=True))
    return out


MASK_RULES = (WrongMask(),)
