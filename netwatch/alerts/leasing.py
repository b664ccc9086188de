"""Rules about what servers give: D3 pool used up, D4 offers that can't work, D5 servers that fell silent."""

from __future__ import annotations

from ipaddress import IPv4Address

import numpy as np

from netwatch.alerts.addresses import ANYWHERE, next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.servers import in_vain, served_since, waiting_clients
from netwatch.decode.text import address_text
from netwatch.network import masks
from netwatch.network.habits import ASKS
from netwatch.network.leases import FOR_EVER, Answer, Client, Server
from netwatch.network.network import Network
from netwatch.numbers import Numbers

_LAST_EIGHTH = 8
"""Clients ask any server at 0.875 of the lease: an eighth is left then (RFC 2131 4.4.5)."""
_GRACE = 10 * NS
"""A repeated question may come so much late (RFC 2131 4.1: waits are jittered, derived)."""


class PoolUsedUp:
    """D3: some clients ask in vain while others are served: the server has nothing left for them, or refuses them."""

    rule = Rule(
        "dhcp-pool-used-up", certainty=ANYWHERE, explains=("link-local-address",),
        numbers=(
            "discover_least", "discover_span_s", "discover_wait_s", "link_up_quiet_s", "pool_within_s", "pool_full",
            "pool_least",
        ), signs="quiet_asking_s",
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        within = int(network.numbers.pool_within_s * NS)
        for segment, clients in in_vain(network, now, within, looked).items():
            begun = min(client.tries[0][0] if client.asks_since is None else client.asks_since for client in clients)
            served = served_since(network, segment, begun) if len(clients) > 1 else []
            if served:
                looked.findings.append(self._finding(network, segment, clients, served, begun))
        return looked

    def _finding(self, network: Network, segment: int, clients: list[Client], served: list[str], begun: int) -> Finding:
        servers = [server for (where, _), server in network.leases.servers.items() if where == segment]
        given = {int(IPv4Address(address)) for server in servers for address in server.given}
        share = _fullness(network, given)
        numbers = sorted(n for client in clients for _, n in (client.tries[0], client.tries[-1]))
        return Finding(
            segment, "rig", "soon", "hint" if share is None or share < network.numbers.pool_full else "likely",
            begun,
            {"clients": [client.called for client in clients], "served": len(served), "given": len(given),
             "share": None if share is None else round(share, 3), "servers": [server.address for server in servers]},
            tuple(numbers[:8]), max(client.tries[-1][0] for client in clients),
        )


def _fullness(network: Network, given: set[int]) -> float | None:
    """Share of the pool that was given out: of the planned one, else of the range seen; None where that says nothing."""
    expected = expected_of(network)
    if expected is not None and expected.pools:
        size = sum(int(IPv4Address(last)) - int(IPv4Address(first)) + 1 for first, last in expected.pools)
        return sum(expected.in_pool(address_text(address)) for address in given) / max(size, 1)
    if len(given) < network.numbers.pool_least:
        return None
    return len(given) / (max(given) - min(given) + 1)


class OfferWrong:
    """D4: a server gives a mask, gateway or address that can't work (RFC 2132 3.3, 3.5)."""

    rule = Rule("dhcp-offer-wrong", certainty=ANYWHERE, numbers=("gateway_asks",), signs="quiet_rare_s")

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for (segment, _), server in network.answers.items():
            if not server.answers:
                continue
            found = self._fault(network, segment, server)
            if found is not None:
                looked.findings.append(self._finding(segment, server, *found))
                continue
            looked.wake = next_grid(now) if looked.wake is None else min(looked.wake, next_grid(now))
            asked = self._gateway(network, segment, server)
            if asked is not None:
                looked.findings.append(asked)
        return looked

    def _fault(self, network: Network, segment: int, server: Server) -> tuple[str, str, Answer, str] | None:
        """(what is wrong, address, answer, right value) of the newest answer, or of an address that no device can have."""
        newest, answer = next(reversed(server.answers.items()))
        what = fault(newest, answer.mask, answer.router)
        if what:
            return what, newest, answer, ""
        planned = self._against_plan(network, newest, answer)
        if planned:
            return "against-plan", newest, answer, planned
        rival = _other_mask(network, segment, server, newest, answer)
        if rival:
            return "masks-differ", newest, answer, rival
        for address, each in server.answers.items():
            if fault(address, each.mask, "") == "address":
                return "address", address, each, ""
        return None

    @staticmethod
    def _against_plan(network: Network, address: str, answer: Answer) -> str:
        """The planned subnet of an address that got another mask."""
        expected, prefix = expected_of(network), masks.prefix_of(answer.mask) if answer.mask else None
        for text in expected.networks if expected and prefix is not None else ():
            planned, _, length = text.partition("/")
            if masks.network_of(int(IPv4Address(address)), int(length)) == int(IPv4Address(planned)) and int(length) != prefix:
                return text
        return ""

    def _finding(self, segment: int, server: Server, what: str, address: str, answer: Answer, right: str) -> Finding:
        return Finding(
            segment, f"server:{server.address}", "now" if what == "against-plan" else "soon", "certain", answer.at,
            {"server": server.address, "what": what, "address": address, "mask": answer.mask, "router": answer.router or None,
             "right": right or None}, (answer.n,), answer.at,
        )

    def _gateway(self, network: Network, segment: int, server: Server) -> Finding | None:
        """Devices ask again and again for a gateway that nobody has."""
        routers = {int(IPv4Address(each.router)) for each in server.answers.values() if each.router}
        routers = {router for router in routers if (segment, router) not in network.claims.by_address}
        if not routers:
            return None
        asks = network.habits.held(ASKS, lately=int(network.numbers.gateway_asks))
        for at in np.flatnonzero((asks.segment == segment) & np.isin(asks.target, list(routers))).tolist():
            habit = network.habits.get(int(asks.id[at]))
            return Finding(
                segment, f"server:{server.address}", "quality", "likely", habit.first,
                {"server": server.address, "what": "gateway", "address": None, "mask": None, "right": None,
                 "router": address_text(habit.target), "who": network.box_name(segment, habit.mac)}, habit.numbers, habit.last,
            )
        return None


def fault(address: str, mask: str, router: str) -> str:
    """'mask' (not contiguous), 'address' (none that a host can have), 'router' (outside the subnet); '' = nothing wrong."""
    if not mask:
        return ""
    prefix = masks.prefix_of(mask)
    if prefix is None:
        return "mask"
    own = int(IPv4Address(address))
    if masks.role(own, prefix) != "host":
        return "address"
    if router and masks.network_of(own, prefix) != masks.network_of(int(IPv4Address(router)), prefix):
        return "router"
    return ""


def _other_mask(network: Network, segment: int, server: Server, address: str, answer: Answer) -> str:
    """The mask that another server, heard before, gives with addresses of the same subnet."""
    prefix = masks.prefix_of(answer.mask) if answer.mask else None
    for (where, _), other in network.answers.items():
        if where != segment or other is server or not other.answers or prefix is None or other.first > server.first:
            continue
        theirs, last = next(reversed(other.answers.items()))
        length = masks.prefix_of(last.mask) if last.mask else None
        shared = masks.common(int(IPv4Address(theirs)), int(IPv4Address(address)))
        if length is not None and length != prefix and shared >= min(length, prefix):
            return last.mask
    return ""


class LeaseServerSilent:
    """D5: clients ask any server that there is to prolong their lease: their own was silent since half of it (RFC 2131 4.4.5)."""

    rule = Rule(
        "lease-server-silent", certainty=ANYWHERE, explains=("no-dhcp-answer", "link-local-address"),
        numbers=("discover_patience_s", "rebinding_again_s", "rebinding_stands_s"), signs="quiet_asking_s",
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        waiting: dict[tuple[int, str], list[tuple[Client, int | None]]] = {}
        for (segment, mac), client in waiting_clients(network):
            if not client.rebinds:
                continue
            silent_at = falls_silent(network, segment, client)
            until = self._stands(network.numbers, client, silent_at)
            looked.later(until, now)
            if now < until:
                server = client.server or _only_server(network, segment)
                waiting.setdefault((segment, f"server:{server}" if server else f"host:{mac}"), []).append((client, silent_at))
        for (segment, subject), clients in waiting.items():
            looked.findings.append(self._finding(network, segment, subject, clients))
        return looked

    @staticmethod
    def _stands(numbers: Numbers, client: Client, silent_at: int | None) -> int:
        """When a further try would have come if nobody had answered: after half of what remains, 60 s at least."""
        last = client.rebinds[-1][0]
        if client.tries and client.tries[-1][0] >= last:
            return client.tries[-1][0] + int(numbers.discover_patience_s * NS)
        if silent_at is None:
            return last + int(numbers.rebinding_stands_s * NS)
        least = int(numbers.rebinding_again_s * NS)
        return max(last + max(least, (silent_at - last) // 2), min(silent_at, last + least)) + _GRACE

    def _finding(self, network: Network, segment: int, subject: str, clients: list[tuple[Client, int | None]]) -> Finding:
        again = network.numbers.rebinding_again_s * NS
        twice = any(client.rebinds[-1][0] - client.rebinds[0][0] >= again for client, _ in clients)
        ends = [silent_at for _, silent_at in clients if silent_at is not None]
        return Finding(
            segment, subject, "now" if twice else "soon", "certain", min(client.rebinds[0][0] for client, _ in clients),
            {"server": subject.partition(":")[2] if subject.startswith("server:") else None,
             "clients": [client.called for client, _ in clients], "tries": max(len(c.rebinds) for c, _ in clients),
             "address": clients[0][0].address or None, "falls_silent_at": min(ends, default=None)},
            tuple(sorted(n for client, _ in clients for _, n in client.rebinds)[:8]),
            max(client.rebinds[-1][0] for client, _ in clients),
        )


def falls_silent(network: Network, segment: int, client: Client) -> int | None:
    """ns at which a client must give its address up if nobody answers, or at the latest; None where nothing tells the lease."""
    server = network.leases.servers.get((segment, client.server))
    lease = client.lease or (server.leases[-1] if server is not None and server.leases else None)
    if lease == FOR_EVER:
        return None
    if client.rebinds:
        first = client.rebinds[0][0]
        if lease:
            return first + lease * NS // _LAST_EIGHTH
        return None if client.chose is None else first + (first - client.chose) // (_LAST_EIGHTH - 1)
    return None if client.chose is None or not lease else client.chose + lease * NS


def _only_server(network: Network, segment: int) -> str:
    here = [address for where, address in network.leases.servers if where == segment]
    return here[0] if len(here) == 1 else ""


LEASE_RULES = (LeaseServerSilent(), OfferWrong(), PoolUsedUp())
