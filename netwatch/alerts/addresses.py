"""Rules about addresses that boxes use: A1 used twice, A4 made up."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from netwatch.alerts.look import Looked
from netwatch.alerts.reference import expected_of, known_subnets, of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import address_text, mac_text
from netwatch.network.claims import Speaking
from netwatch.network.clock import BUCKET_TICKS, TICK
from netwatch.network.network import Network

Held = Mapping[tuple[int, int], list[tuple[int, int]]]
"""(segment, MAC) to (claim, address)."""
ANYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": None}
_LINK_LOCAL = (0xA9FE0100, 0xA9FEFEFF)
"""169.254.1.0 to 169.254.254.255 (RFC 3927 2.1)."""
_VIRTUAL_ROUTER = 0x00005E000100
"""00:00:5E:00:01:xx (RFC 9568 7.3)."""
_DUPLICATE_STANDS = 600 * NS
"""Idle boxes speak rarely: no change of speaker for so long, and the conflict counts as over (common practice, no source)."""


def next_grid(now: int) -> int:
    """End of the next tick on the 10 s grid."""
    step = BUCKET_TICKS * TICK
    return (now // step + 1) * step


def is_made_up(address: int) -> bool:
    """An address that a box gives itself; 169.254.0.x and .255.x were set by hand (RFC 3927 2.1)."""
    return _LINK_LOCAL[0] <= address <= _LINK_LOCAL[1]


class DuplicateAddress:
    """A1: one address used by two boxes in turn. A, B, A within a minute; A then B alone may be a replacement."""

    rule = Rule(
        "duplicate-address", certainty=ANYWHERE, numbers=("duplicate_window_s", "duplicate_proxy_addresses"),
        signs="quiet_asking_s", worse_with="macs",
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        held = network.claims.addresses() if network.claims.contested else {}
        for (segment, address), speaking in network.claims.contested.items():
            proof = self._proof(network, segment, speaking, held)
            if proof is None or self._from_afar(network, segment, address, speaking, held):
                continue
            over = speaking.changed + _DUPLICATE_STANDS
            looked.later(over, now)
            if now < over:
                looked.findings.append(self._finding(network, segment, address, speaking, proof))
        return looked

    def _proof(self, network: Network, segment: int, speaking: Speaking, held: Held) -> tuple[tuple[int, int, int], ...] | None:
        """A, B, A within the window; boxes that speak for many addresses are routers or proxies (RFC 1027)."""
        window, most = int(network.numbers.duplicate_window_s * NS), network.numbers.duplicate_proxy_addresses
        turns = [
            turn for turn in speaking.turns
            if turn[0] & ~0xFF != _VIRTUAL_ROUTER and len(held.get((segment, turn[0]), ())) <= most
        ]
        for three in zip(turns, turns[1:], turns[2:], strict=False):
            a, b, c = three
            often = min(speaking.heard.get(a[0], 0), speaking.heard.get(b[0], 0)) >= 2
            if a[0] == c[0] != b[0] and c[1] - a[1] <= window and often:
                return three
        return None

    @staticmethod
    def _from_afar(network: Network, segment: int, address: int, speaking: Speaking, held: Held) -> bool:
        """Routers pass packets of a far address on: known subnets don't hold it, but hold another address of each speaker."""
        known = known_subnets(network, segment)
        if not known or of(known, address):
            return False
        return all(any(of(known, other) for _, other in held.get((segment, mac), ())) for mac in speaking.heard)

    def _finding(self, network: Network, segment: int, address: int, speaking: Speaking,
                 proof: tuple[tuple[int, int, int], ...]) -> Finding:
        macs = list(dict.fromkeys(turn[0] for turn in speaking.turns))
        teamed = len(macs) == 2 and _neighbours(*macs)
        severity, certainty = ("soon", "likely") if teamed else ("now", "certain")
        return Finding(
            segment, f"address:{address_text(address)}", severity, certainty, proof[1][1],
            {"address": address_text(address), "macs": [mac_text(mac) for mac in macs],
             "names": [network.box_name(segment, mac) for mac in macs], "alternations": speaking.alternations,
             "perhaps_one_box": teamed},
            tuple(n for _, _, n in proof), speaking.changed,
        )


def _neighbours(one: int, other: int) -> bool:
    """MACs of one maker that follow each other: perhaps two sockets of one box. Made-up MACs (second bit set) say nothing."""
    return abs(one - other) == 1 and not one >> 41 & 1


class LinkLocalAddress:
    """A4: a box uses 169.254.x.y and no other address: it found no DHCP server (RFC 3927)."""

    rule = Rule(
        "link-local-address", after=10 * NS, certainty=ANYWHERE,
        numbers=("dhcp_boot_s", "link_local_alone_s", "link_local_few"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        size = network.claims.table.size
        used = network.claims.table.keys[:size, 1] & np.uint64(0xFFFFFFFF)
        if not (network.claims.table.used[:size] & (used >= _LINK_LOCAL[0]) & (used <= _LINK_LOCAL[1])).any():
            return looked
        boxes: dict[int, list[tuple[int, list[tuple[int, int]]]]] = {}
        for (segment, mac), held in network.claims.addresses().items():
            boxes.setdefault(segment, []).append((mac, held))
        looked.later(next_grid(now), now)
        for segment, here in boxes.items():
            told = self._told_by_itself(network, segment)
            alone = [
                (mac, claim, address) for mac, held in here if mac not in told for claim, address in self._alone(network, held)
            ]
            share = len(alone) / len(here)
            for mac, claim, address in alone:
                looked.later(int(network.claims.first[claim]) + network.numbers.dhcp_boot_s * NS, now)
                looked.findings.append(self._finding(network, segment, (mac, claim, address), share, now))
        return looked

    @staticmethod
    def _told_by_itself(network: Network, segment: int) -> set[int]:
        """This laptop, where it says itself which address it has: that is ``laptop-address``."""
        state = network.vantage.ports.get(segment >> 24)
        return network.own(segment) if state is not None and state.told is not None else set()

    def _alone(self, network: Network, held: list[tuple[int, int]]) -> list[tuple[int, int]]:
        window = int(network.numbers.link_local_alone_s * NS)
        last = {claim: network.presence.last(network.claims, claim) for claim, _ in held}
        others = [last[claim] for claim, address in held if not is_made_up(address)]
        return [
            (claim, address) for claim, address in held
            if is_made_up(address) and all(last[claim] - other > window for other in others)
        ]

    def _finding(self, network: Network, segment: int, alone: tuple[int, int, int], share: float, now: int) -> Finding:
        mac, claim, address = alone
        text, severity = mac_text(mac), self._severity(network, segment, mac, claim, share, now)
        return Finding(
            segment, f"host:{text}", severity, "certain", int(network.claims.first[claim]),
            {"who": network.box_name(segment, mac), "address": address_text(address),
             "asked_dhcp": network.leases.clients.get((segment, text)) is not None, "share": round(share, 3)},
            (int(network.claims.first_n[claim]), int(network.claims.last_n[claim])),
        )

    @staticmethod
    def _severity(network: Network, segment: int, mac: int, claim: int, share: float, now: int) -> str:
        """A whole rig of such addresses is meant so; after a meal break the server may only be starting up."""
        lasted = now - int(network.claims.first[claim])
        starting = lasted < network.numbers.dhcp_boot_s * NS and any(where == segment for where, _ in network.leases.servers)
        if starting or share > 1 - network.numbers.link_local_few:
            return "tidy"
        expected = expected_of(network)
        planned = expected is not None and (expected.dhcp or expected.by_mac(mac_text(mac)) is not None)
        return "now" if planned else "soon"


ADDRESS_RULES = (DuplicateAddress(), LinkLocalAddress())
