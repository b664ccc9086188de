"""Rules about addresses and who hands them out: D1, D2, A1, A4."""

from __future__ import annotations

import ipaddress
from itertools import combinations

from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import address_text, mac_text
from netwatch.network.claims import Speaking
from netwatch.network.clock import BUCKET_TICKS, TICK
from netwatch.network.leases import Client, Server
from netwatch.network.network import Network
from netwatch.numbers import Numbers

_ANYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": None}
_LINK_LOCAL = (0xA9FE0100, 0xA9FEFEFF)
"""169.254.1.0 to 169.254.254.255 (RFC 3927 2.1)."""
_VIRTUAL_ROUTER = 0x00005E000100
"""00:00:5E:00:01:xx (RFC 9568 7.3)."""
_DHCP_PATIENCE = 150 * NS
"""Two waits of 64 s missed: the client gave up (RFC 2131 4.1, derived)."""
_DUPLICATE_STANDS = 600 * NS
"""Idle boxes speak rarely: no new sign for so long, and the conflict counts as over (common practice, no source)."""


def next_grid(now: int) -> int:
    """End of the next tick on the 10 s grid."""
    step = BUCKET_TICKS * TICK
    return (now // step + 1) * step


class TwoDhcpServers:
    """D1: two boxes hand out addresses. OFFERs are unicast, so what clients name (option 54) and refusals must do."""

    rule = Rule("two-dhcp-servers", certainty=_ANYWHERE, explains=())

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        within = int(network.numbers.servers_within_s * NS)
        by_segment: dict[int, list[Server]] = {}
        for (segment, _), server in network.leases.servers.items():
            if now - server.last < within:
                by_segment.setdefault(segment, []).append(server)
                looked.later(server.last + within, now)
        for segment, servers in by_segment.items():
            rivals = _apart(servers)
            if len(rivals) > 1:
                looked.findings.append(self._finding(network, segment, rivals))
        return looked

    def _finding(self, network: Network, segment: int, servers: list[Server]) -> Finding:
        addresses = {server.address for server in servers}
        refused = any(
            where == segment and {each.named, each.refused_by} <= addresses for where, each in network.leases.refusals
        )
        rival_offers = _two_offers(network, segment, addresses)
        same = _same_subnet(servers)
        pair = same is True and _alike(servers) and not refused
        certainty = "hint" if pair else "certain" if refused or rival_offers else "likely"
        severity = "note" if pair else "now" if same is False or refused else "soon"
        numbers = sorted({n for server in servers for n in (server.numbers[0], server.numbers[-1])})
        return Finding(
            segment, "rig", severity, certainty, sorted(server.first for server in servers)[1],
            {"servers": [server.address for server in servers], "macs": [server.mac for server in servers if server.mac],
             "same_subnet": same, "refused": refused, "perhaps_a_pair": pair,
             "clients": len({client for server in servers for client in server.clients})},
            tuple(numbers[:8]),
        )


def _apart(servers: list[Server]) -> list[Server]:
    """Servers that are boxes of their own: one MAC with two addresses is one server."""
    out: list[Server] = []
    for server in servers:
        if not server.mac or server.mac not in {other.mac for other in out}:
            out.append(server)
    return out


def _two_offers(network: Network, segment: int, addresses: set[str]) -> bool:
    """Two OFFERs to one question (xid), by different servers."""
    offers = [each for where, each in network.leases.offers if where == segment and each.server in addresses]
    return any(a.xid == b.xid and a.server != b.server for a, b in combinations(offers, 2))


def _subnet(server: Server) -> ipaddress.IPv4Network | None:
    if not server.given:
        return None
    mask = server.masks[-1] if server.masks else "255.255.0.0"
    try:
        return ipaddress.IPv4Network(f"{server.given[-1]}/{mask}", strict=False)
    except ValueError:
        return None


def _same_subnet(servers: list[Server]) -> bool | None:
    """Do all hand out one subnet? None where the masks were not heard and the first half of the addresses agrees."""
    nets = [_subnet(server) for server in servers]
    known = [net for net in nets if net is not None]
    if any(not a.overlaps(b) for a, b in combinations(known, 2)):
        return False
    return True if len(known) == len(servers) and all(server.masks for server in servers) else None


def _alike(servers: list[Server]) -> bool:
    """All seen options equal: perhaps a fail-over pair."""
    first = servers[0]
    return all((s.masks, s.routers, s.leases) == (first.masks, first.routers, first.leases) for s in servers[1:])


class NoDhcpAnswer:
    """D2: clients ask for an address again and again, and never choose a server (RFC 2131 4.1)."""

    rule = Rule("no-dhcp-answer", certainty=_ANYWHERE, explains=("link-local-address",))

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        numbers = network.numbers
        waiting: dict[int, list[Client]] = {}
        for (segment, _), client in network.leases.clients.items():
            ripe = self._ripe(numbers, client)
            gone = client.tries[-1][0] + _DHCP_PATIENCE if client.tries else 0
            if ripe is None or now > gone:
                continue
            looked.later(ripe, now)
            looked.later(gone + 1, now)
            if now >= ripe:
                waiting.setdefault(segment, []).append(client)
        for segment, clients in waiting.items():
            served = any(where == segment for where, _ in network.leases.servers)
            first = min(client.tries[0][0] for client in clients)
            looked.later(first + numbers.lone_client_wait_s * NS, now)
            if len(clients) > 1 or (not served and now - first >= numbers.lone_client_wait_s * NS):
                looked.findings.append(self._finding(network, segment, clients, now))
        return looked

    def _ripe(self, numbers: Numbers, client: Client) -> float | None:
        """When a client that asked often and long enough has waited long enough, too; None while it did not.

        Asking once more begins no new wait: only choosing a server ends it.
        """
        first = client.tries[0][0] if client.tries else 0
        for time, _ in client.tries[int(numbers.discover_least) - 1 :]:
            if time - first >= numbers.discover_span_s * NS:
                return time + numbers.discover_wait_s * NS
        return None

    def _finding(self, network: Network, segment: int, clients: list[Client], now: int) -> Finding:
        names = [client.name or client.mac for client in clients]
        made_up = any(
            _link_local(address) for client in clients
            for address in _addresses(network, segment, int(client.mac.replace(":", ""), 16))
        )
        tries = [n for client in clients for _, n in client.tries]
        first = min(client.tries[0][0] for client in clients)
        return Finding(
            segment, "rig", "soon" if len(clients) > 1 else "tidy", "certain" if made_up else "likely", first,
            {"who": names[0], "tries": max(client.tried for client in clients), "seconds": (now - first) / NS, "clients": names},
            tuple(sorted(tries)[:8]),
        )


def _addresses(network: Network, segment: int, mac: int) -> list[int]:
    return [address for _, address in network.claims.addresses().get((segment, mac), [])]


def _link_local(address: int) -> bool:
    return _LINK_LOCAL[0] <= address <= _LINK_LOCAL[1]


class DuplicateAddress:
    """A1: one address used by two boxes in turn. A, B, A within a minute; A then B alone may be a replacement."""

    rule = Rule("duplicate-address", certainty=_ANYWHERE)

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        many = self._busy_macs(network) if network.claims.contested else set()
        for (segment, address), speaking in network.claims.contested.items():
            proof = self._proof(network, speaking, many)
            if proof is None:
                continue
            over = speaking.turns[-1][1] + _DUPLICATE_STANDS
            looked.later(over, now)
            if now < over:
                looked.findings.append(self._finding(network, segment, address, speaking, proof))
        return looked

    def _busy_macs(self, network: Network) -> set[tuple[int, int]]:
        """Boxes that speak for many addresses are routers or proxies."""
        addresses = network.claims.addresses()
        return {key for key, held in addresses.items() if len(held) > network.numbers.duplicate_proxy_addresses}

    def _proof(self, network: Network, speaking: Speaking, many: set[tuple[int, int]]) -> tuple[tuple[int, int, int], ...] | None:
        window = int(network.numbers.duplicate_window_s * NS)
        busy = {mac for _, mac in many}
        turns = [
            turn for turn in speaking.turns
            if turn[0] & ~0xFF != _VIRTUAL_ROUTER and turn[0] not in busy
        ]
        for three in zip(turns, turns[1:], turns[2:], strict=False):
            a, b, c = three
            if a[0] == c[0] != b[0] and c[1] - a[1] <= window and min(speaking.heard.get(a[0], 0), speaking.heard.get(b[0], 0)) >= 2:
                return three
        return None

    def _finding(self, network: Network, segment: int, address: int, speaking: Speaking,
                 proof: tuple[tuple[int, int, int], ...]) -> Finding:
        macs = list(dict.fromkeys(turn[0] for turn in speaking.turns))
        return Finding(
            segment, f"address:{address_text(address)}", "now", "certain", proof[1][1],
            {"address": address_text(address), "macs": [mac_text(mac) for mac in macs],
             "names": [network.box_name(segment, mac) for mac in macs], "alternations": speaking.alternations},
            tuple(n for _, _, n in proof),
        )


class LinkLocalAddress:
    """A4: a box uses 169.254.x.y and no other address: it found no DHCP server (RFC 3927)."""

    rule = Rule("link-local-address", after=10 * NS, certainty=_ANYWHERE)

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        boxes: dict[int, list[tuple[int, list[tuple[int, int]]]]] = {}
        any_link_local = False
        for (segment, mac), held in network.claims.addresses().items():
            boxes.setdefault(segment, []).append((mac, held))
            any_link_local |= any(_link_local(address) for _, address in held)
        if not any_link_local:
            return looked
        looked.later(next_grid(now), now)
        for segment, here in boxes.items():
            alone = [(mac, claim, address) for mac, held in here for claim, address in self._alone(network, held)]
            share = len(alone) / len(here)
            for mac, claim, address in alone:
                looked.findings.append(self._finding(network, segment, mac, claim, address, share))
        return looked

    def _alone(self, network: Network, held: list[tuple[int, int]]) -> list[tuple[int, int]]:
        window = int(network.numbers.link_local_alone_s * NS)
        last = network.claims.last
        others = [int(last[claim]) for claim, address in held if not _link_local(address)]
        return [
            (claim, address) for claim, address in held
            if _link_local(address) and all(int(last[claim]) - other > window for other in others)
        ]

    def _finding(self, network: Network, segment: int, mac: int, claim: int, address: int, share: float) -> Finding:
        asked = any(where == segment and client == mac_text(mac) for where, client in network.leases.clients)
        outlier = share <= 1 - network.numbers.link_local_few
        return Finding(
            segment, f"host:{mac_text(mac)}", "soon" if outlier else "tidy", "certain", int(network.claims.first[claim]),
            {"who": network.box_name(segment, mac), "address": address_text(address), "asked_dhcp": asked, "share": round(share, 3)},
            (int(network.claims.first_n[claim]), int(network.claims.last_n[claim])),
        )


ADDRESS_RULES = (DuplicateAddress(), LinkLocalAddress(), NoDhcpAnswer(), TwoDhcpServers())
