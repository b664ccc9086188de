"""Rules about who hands out addresses: D1 two servers, D2 none that answers."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network
from itertools import combinations

from netwatch.alerts.addresses import ANYWHERE, is_made_up
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.text import mac_number, mac_text
from netwatch.network.leases import Client, Server
from netwatch.network.network import Network
from netwatch.numbers import Numbers


class TwoDhcpServers:
    """D1: two boxes hand out addresses. OFFERs are unicast, so what clients name (option 54) and refusals must do."""

    rule = Rule(
        "two-dhcp-servers", certainty=ANYWHERE, explains=("address-moved",), numbers=("servers_within_s",),
        signs="quiet_rare_s", worse_with="servers",
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        within = int(network.numbers.servers_within_s * NS)
        by_segment: dict[int, list[Server]] = {}
        for (segment, _), server in network.leases.servers.items():
            if now - server.last < within:
                by_segment.setdefault(segment, []).append(server)
                looked.later(server.last + within, now)
        for segment, servers in by_segment.items():
            rivals = _apart(network, segment, servers) if len(servers) > 1 else servers
            if len(rivals) > 1:
                looked.findings.append(self._finding(network, segment, rivals))
        return looked

    def _finding(self, network: Network, segment: int, servers: list[Server]) -> Finding:
        addresses = {server.address for server in servers}
        planned = (expected := expected_of(network)) is not None and bool(expected.servers)
        strangers = sorted(addresses - set(expected.servers)) if expected and planned else []
        refused = any(
            where == segment and {each.named, each.refused_by} <= addresses for where, each in network.leases.refusals
        )
        rival_offers = _two_offers(network, segment, addresses)
        same = _same_subnet(servers)
        pair = (same is True and _alike(servers) and not refused and not strangers) or (planned and not strangers)
        certainty = "hint" if pair else "certain" if refused or rival_offers or strangers else "likely"
        severity = "note" if pair else "now" if same is False or refused or strangers else "soon"
        numbers = sorted({n for server in servers for n in (server.numbers[0], server.numbers[-1])})
        return Finding(
            segment, "rig", severity, certainty, sorted(server.first for server in servers)[1],
            {"servers": [server.address for server in servers],
             "macs": [mac for server in servers if (mac := _mac(network, segment, server))],
             "same_subnet": same, "refused": refused, "perhaps_a_pair": pair, "strangers": strangers,
             "clients": len({client for server in servers for client in server.clients})},
            tuple(numbers[:8]), sorted(server.last for server in servers)[-2],
        )  # fmt: skip


def _apart(network: Network, segment: int, servers: list[Server]) -> list[Server]:
    """Servers that are boxes of their own: one MAC with two addresses is one server, and so are relays that stand for one."""
    out: dict[object, Server] = {}
    for server in servers:
        relayed = server.address in server.relays  # RFC 5107 (from memory): the relay names itself in place of the server
        out.setdefault("relays" if relayed else _mac(network, segment, server) or server.address, server)
    return list(out.values())


def _mac(network: Network, segment: int, server: Server) -> str:
    """A server's MAC: of its own messages, else of the only box that uses its address; '' = not known."""
    if server.mac or server.relays:
        return server.mac
    claims = network.claims.by_address.get((segment, int(IPv4Address(server.address))), ())
    return mac_text(network.claims.key(claims[0])[1]) if len(claims) == 1 else ""


def _two_offers(network: Network, segment: int, addresses: set[str]) -> bool:
    """Two OFFERs to one question (xid), by different servers."""
    offers = [each for where, each in network.leases.offers if where == segment and each.server in addresses]
    return any(a.xid == b.xid and a.server != b.server for a, b in combinations(offers, 2))


def _subnet(server: Server) -> IPv4Network | None:
    if not server.given:
        return None
    mask = server.masks[-1] if server.masks else "255.255.0.0"
    try:
        return IPv4Network(f"{server.given[-1]}/{mask}", strict=False)
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

    rule = Rule(
        "no-dhcp-answer", certainty=ANYWHERE, explains=("link-local-address",),
        numbers=(
            "discover_least", "discover_span_s", "discover_wait_s", "lone_client_wait_s", "discover_patience_s",
            "dhcp_boot_s", "link_up_quiet_s",
        ), signs="quiet_asking_s",
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        numbers = network.numbers
        for segment, clients in in_vain(network, now, int(numbers.discover_patience_s * NS), looked).items():
            begun = _begun(clients)
            lone = begun + int(numbers.lone_client_wait_s * NS)
            looked.later(lone, now)
            looked.later(begun + numbers.dhcp_boot_s * NS, now)
            served = any(where == segment for where, _ in network.answers)
            if len(clients) > 1 and served_since(network, segment, begun):
                continue  # the server is alive: its pool may be used up
            if len(clients) > 1 or (not served and now >= lone):
                looked.findings.append(self._finding(network, segment, clients, now))
        return looked

    def _finding(self, network: Network, segment: int, clients: list[Client], now: int) -> Finding:
        names = [client.called for client in clients]
        held, macs = network.claims.addresses(), [mac_number(client.mac) for client in clients]
        made_up = any(is_made_up(address) for mac in macs for _, address in held.get((segment, mac), ()))
        ours = any(mac in network.own(segment) for mac in macs)
        first = _begun(clients)
        tries = sorted(n for client in clients for _, n in client.tries)
        certainty = "certain" if made_up or ours else "likely"
        return Finding(
            segment, "rig", self._severity(network, segment, clients, now - first), certainty, first,
            {"who": names[0], "tries": max(client.tried for client in clients), "seconds": (now - first) / NS, "clients": names},
            tuple(tries[:8]), max(client.tries[-1][0] for client in clients),
        )

    @staticmethod
    def _severity(network: Network, segment: int, clients: list[Client], lasted: int) -> str:
        """A server that was there before may be starting up just now, as after a meal break."""
        numbers, expected = network.numbers, expected_of(network)
        back_soon = any(where == segment for where, _ in network.leases.servers) and lasted < numbers.dhcp_boot_s * NS
        if expected is not None and expected.dhcp and lasted >= numbers.dhcp_boot_s * NS:
            return "now"
        return "tidy" if len(clients) == 1 or back_soon else "soon"


def waiting_clients(network: Network) -> list[tuple[tuple[int, str], Client]]:
    """Clients that asked often or prolong their lease, by first appearance."""
    return sorted(network.waiting.items(), key=lambda each: each[1].met)


def in_vain(network: Network, now: int, within: int, looked: Looked) -> dict[int, list[Client]]:
    """By segment the clients that asked and asked, the last time within so many ns, and never chose a server."""
    numbers = network.numbers
    out: dict[int, list[Client]] = {}
    for (segment, _), client in waiting_clients(network):
        ripe = _ripe(numbers, client) if len(client.tries) >= numbers.discover_least else None
        if ripe is None:
            continue
        state = network.vantage.ports.get(segment >> 24)
        if state is not None and state.linked is not None:
            ripe = max(ripe, state.linked + int(numbers.link_up_quiet_s * NS))
        gone = client.tries[-1][0] + within
        looked.later(ripe, now)
        looked.later(gone, now)
        if ripe <= now < gone:
            out.setdefault(segment, []).append(client)
    return out


def _ripe(numbers: Numbers, client: Client) -> int | None:
    """When a client that asked often and long enough has waited long enough, too; None while it did not.

    Asking once more begins no new wait: only choosing a server ends it.
    """
    first = client.tries[0][0] if client.tries else 0
    for time, _ in client.tries[int(numbers.discover_least) - 1 :]:
        if time - first >= numbers.discover_span_s * NS:
            return time + int(numbers.discover_wait_s * NS)
    return None


def served_since(network: Network, segment: int, time: int) -> list[str]:
    """Clients that chose a server since then."""
    return [mac for (where, mac), client in network.leases.clients.items()
            if where == segment and client.chose is not None and client.chose > time and not client.tries]


def _begun(clients: list[Client]) -> int:
    return min(client.tries[0][0] if client.asks_since is None else client.asks_since for client in clients)


SERVER_RULES = (NoDhcpAnswer(), TwoDhcpServers())
