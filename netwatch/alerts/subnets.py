"""Rules about subnets: A2 boxes of another subnet, A5 addresses that no box can have."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from netwatch.alerts.addresses import ANYWHERE, Held, next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import Known, expected_of, is_link_local, known_subnets, of, special
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.tables import ARTNET
from netwatch.decode.text import address_text, mac_text
from netwatch.network import masks
from netwatch.network.network import Network

_BLOCKS = ((0x0A000000, 8), (0x02000000, 8), (0xAC100000, 12), (0xC0A80000, 16))
"""10/8, 2/8 (Art-Net), 172.16/12, 192.168/16 (RFC 1918): nothing in one of them is surely apart while no mask is known."""


@dataclass(frozen=True, slots=True)
class _Host:
    """One box that has to do with light, at its newest address."""

    mac: int
    address: int
    claim: int
    artnet: bool


class WrongSubnet:
    """A2: a few boxes of light are in another subnet than all others, and no router joins the two."""

    rule = Rule("wrong-subnet", steady=True, after=10 * NS, certainty=ANYWHERE, numbers=("subnet_few", "hosts_within_s"))

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        held = network.claims.addresses()
        for segment in network.segments:
            looked.findings += self._segment(network, segment, held, now)
        return looked

    def _segment(self, network: Network, segment: int, held: Held, now: int) -> Iterator[Finding]:
        known = known_subnets(network, segment)
        hosts = list(_lighting(network, segment, held, now))
        clusters: dict[Known, list[_Host]] = {}
        for host in hosts:
            clusters.setdefault(_block(known, host.address), []).append(host)
        if not clusters:
            return
        major = max(clusters, key=lambda each: len(clusters[each]))
        planned = [each for each in known if each.how == "plan"]
        for block, few in clusters.items():
            against = bool(planned) and block.how != "plan"
            many = len(few) > network.numbers.subnet_few * len(hosts)
            if not against and (block == major or many or not self._apart(block, major)):
                continue
            main = planned[0] if against else major
            others = sum(main.holds(host.address) for host in hosts)
            strangers = [] if _bridged(held, segment, block, main) else few
            for host in strangers:
                if not any(main.holds(address) for _, address in held.get((segment, host.mac), ())):
                    yield self._finding(network, segment, host, main, others, against)

    @staticmethod
    def _apart(block: Known, major: Known) -> bool:
        """Not one inside the other, unless the greater one's mask is known."""
        return major.how != "guess" or not (major.holds(block.network) or block.holds(major.network))

    def _finding(self, network: Network, segment: int, host: _Host, main: Known, others: int, against: bool) -> Finding:
        severity = ("quality", "soon", "now")[against + host.artnet]
        certainty, since = "certain" if against else "likely", int(network.claims.first[host.claim])
        return Finding(
            segment, f"host:{mac_text(host.mac)}", severity, certainty, since,
            {"who": network.box_name(segment, host.mac), "address": address_text(host.address), "subnet": main.text,
             "others": others, "artnet": host.artnet, "by_plan": against, "guessed": main.how == "guess"},
            (int(network.claims.first_n[host.claim]),),
        )


def _block(known: tuple[Known, ...], address: int) -> Known:
    """The known subnet of an address, else the greatest that it might be in."""
    here = of(known, address)
    if here:
        return here[0]
    net, prefix = next((block for block in _BLOCKS if masks.network_of(address, block[1]) == block[0]), (0, 16))
    return Known(net or masks.network_of(address, prefix), prefix, "guess")


def _lighting(network: Network, segment: int, held: Held, now: int) -> Iterator[_Host]:
    """Boxes that send light, answer Art-Net, ask for groups of light or stand in the plan, and were heard lately."""
    streams, size = network.streams, network.streams.table.size
    flows = np.flatnonzero(streams.table.used[:size] & (streams.segment[:size] == segment))
    senders = {(int(streams.mac[flow]), int(streams.protocol[flow]) == ARTNET) for flow in flows.tolist()}
    within, expected = int(network.numbers.hosts_within_s * NS), expected_of(network)
    for (where, mac), claims in held.items():
        if where != segment:
            continue
        box, text = network.claims.boxes.get((segment, mac)), mac_text(mac)
        names = {} if box is None else box.names
        artnet = (mac, True) in senders or "Art-Net" in names
        planned = expected is not None and expected.by_mac(text) is not None
        light = artnet or (mac, False) in senders or "sACN" in names or (segment, text) in network.multicast.listeners or planned
        heard = {claim: network.presence.last(network.claims, claim) for claim, _ in claims}
        usual = [(claim, address) for claim, address in claims
                 if not is_link_local(address) and not special(address) and now - heard[claim] < within]
        if light and usual:
            claim, address = max(usual, key=lambda each: heard[each[0]])
            yield _Host(mac, address, claim, artnet)


def _bridged(held: Held, segment: int, block: Known, main: Known) -> bool:
    """A box, perhaps a router, is in both subnets."""
    here = [[address for _, address in claims] for (where, _), claims in held.items() if where == segment]
    both = [addresses for addresses in here if any(main.holds(each) for each in addresses)]
    return any(block.holds(each) and not main.holds(each) for addresses in both for each in addresses)


class InvalidAddress:
    """A5: a source address that no box can have. The last octet alone proves nothing: the mask decides (RFC 1122 3.2.1.3)."""

    rule = Rule("invalid-address", certainty=ANYWHERE, numbers=("hosts_within_s", "odd_address_after_s"))

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        claims, within = network.claims, int(network.numbers.hosts_within_s * NS)
        held: Held | None = None
        known: dict[int, tuple[Known, ...]] = {segment: known_subnets(network, segment) for segment in network.segments}
        for claim in self._suspects(network, known):
            held = claims.addresses() if held is None else held
            segment, mac, address = claims.key(claim)
            last = network.presence.last(claims, claim)
            if now - last < within:
                alone = len(held.get((segment, mac), ())) == 1
                settles = int(claims.first[claim]) + int(network.numbers.odd_address_after_s * NS)
                settled = settles <= now
                looked.later(settles, now)
                told = self._judge(known[segment], address, plain=alone and settled)
                if told:
                    looked.findings.append(self._finding(network, segment, mac, claim, *told))
        return looked

    @staticmethod
    def _suspects(network: Network, known: dict[int, tuple[Known, ...]]) -> list[int]:
        """Claims that may be none, found in columns."""
        table = network.claims.table
        place = table.keys[: table.size, 1].astype(np.int64)
        address, segment = place & 0xFFFFFFFF, place >> 32
        first, last = address >> 24, address & 255
        odd = (first == 0) | (first == 127) | (first >= 224) | (last == 0) | (last == 255)
        for where, subnets in known.items():
            for each in subnets:
                ends = (each.network, masks.broadcast_of(each.network, each.prefix))
                odd |= (segment == where) & np.isin(address, ends)
        return [claim for claim in np.flatnonzero(odd & table.used[: table.size]).tolist() if int(segment[claim]) in known]

    @staticmethod
    def _judge(known: tuple[Known, ...], address: int, *, plain: bool) -> tuple[str, str, Known | None] | None:
        """(what, certainty, subnet), None = nothing wrong; ``plain`` = surely the box's own and only address.

        A router passes on what far boxes send.
        """
        odd = special(address)
        if odd:
            return odd, "certain", None
        subnets = of(known, address)
        roles = {masks.role(address, each.prefix) for each in subnets}
        if subnets:
            return None if "host" in roles else (roles.pop(), "certain", subnets[0])
        return ("perhaps", "hint", None) if plain and address & 255 in (0, 255) else None

    def _finding(self, network: Network, segment: int, mac: int, claim: int, what: str, certainty: str,
                 subnet: Known | None) -> Finding:
        claims = network.claims
        return Finding(
            segment, f"host:{mac_text(mac)}", "tidy" if what == "perhaps" else "soon", certainty, int(claims.first[claim]),
            {"who": network.box_name(segment, mac), "address": address_text(claims.key(claim)[2]), "what": what,
             "subnet": subnet.text if subnet else None, "how": subnet.how if subnet else None},
            (int(claims.first_n[claim]),),
        )


SUBNET_RULES = (InvalidAddress(), WrongSubnet())
