"""Rules about addresses that clash with what servers give: D5 moved addresses, D6 declined ones and fixed ones in a pool."""

from __future__ import annotations

from collections.abc import Iterator
from ipaddress import IPv4Address

import numpy as np

from netwatch.alerts.addresses import ANYWHERE, next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.tables import UNICAST
from netwatch.decode.text import address_text, mac_text
from netwatch.network.habits import ASKS
from netwatch.network.leases import FOR_EVER, Decline
from netwatch.network.network import Network
from netwatch.network.subnets import LINK_LOCAL


class AddressMoved:
    """D5: a box uses another address than before, and the old one has gone quiet. Who still wants the old one loses it."""

    rule = Rule(
        "address-moved",
        steady=True, certainty=ANYWHERE,
        numbers=("moved_alone_s", "moved_stands_s", "moved_asks", "duplicate_proxy_addresses"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        for (segment, mac), held in network.claims.addresses().items():
            if 2 <= len(held) <= network.numbers.duplicate_proxy_addresses:
                found = self._move(network, segment, mac, held, looked, now)
                looked.findings += [found] if found else []
        return looked

    def _move(self, network: Network, segment: int, mac: int, held: list[tuple[int, int]], looked: Looked,
              now: int) -> Finding | None:
        claims, presence, numbers = network.claims, network.presence, network.numbers
        usual = [(claim, address) for claim, address in held if IPv4Address(address) not in LINK_LOCAL]
        if len(usual) < 2:
            return None
        new, address = max(usual, key=lambda each: int(claims.first[each[0]]))
        old, before = max((each for each in usual if each[0] != new), key=lambda each: presence.last(claims, each[0]))
        moved, last = int(claims.first[new]), presence.last(claims, new)
        quiet = presence.last(claims, old) < moved and last - moved >= numbers.moved_alone_s * NS
        if not quiet or len(claims.by_address.get((segment, before), ())) > 1:
            return None
        wanted = self._still_wanted(network, segment, mac, before, moved)
        if not wanted and now - moved >= numbers.moved_stands_s * NS:
            return None
        planned = (expected := expected_of(network)) and expected.by_mac(mac_text(mac))
        looked.later(moved + numbers.moved_stands_s * NS, now)
        wrong = bool(planned and planned.address and planned.address != address_text(address))
        return Finding(
            segment, f"host:{mac_text(mac)}", "soon" if wanted or wrong else "note", "certain", moved,
            {"who": network.box_name(segment, mac), "old": address_text(before), "address": address_text(address),
             "wanted_by": wanted, "planned": planned.address if planned and wrong else None},
            (int(claims.last_n[old]), int(claims.first_n[new])),
        )

    @staticmethod
    def _still_wanted(network: Network, segment: int, mac: int, old: int, moved: int) -> list[str]:
        """Boxes that ask for the old address, or send light to it."""
        asks = network.habits.held(ASKS, lately=int(network.numbers.moved_asks))
        here = np.flatnonzero((asks.segment == segment) & (asks.target == old) & (asks.mac != mac))
        habits = [network.habits.get(habit) for habit in asks.id[here].tolist()]
        asking = [habit.mac for habit in habits if habit.last > moved]
        streams, size = network.streams, network.streams.table.size
        light = streams.table.used[:size] & (streams.segment[:size] == segment) & (streams.dst[:size] == old)
        sending = streams.mac[:size][light & (streams.cast[:size] == UNICAST) & (streams.first[:size] > moved)].tolist()
        return [network.box_name(segment, each) for each in dict.fromkeys([*asking, *sending])]


class AddressDeclined:
    """D6: a client found the address that it was given in use already, and says so to all (RFC 2131 3.1, 4.3.3)."""

    rule = Rule(
        "address-declined", certainty=ANYWHERE, numbers=("declines_within_s", "declines_now", "declined_stands_s"),
        signs="quiet_asking_s",
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        numbers = network.numbers
        stands, within = int(numbers.declined_stands_s * NS), int(numbers.declines_within_s * NS)
        lately: dict[tuple[int, str], list[Decline]] = {}
        for (segment, _), declines in network.declines.items():
            for each in declines:
                lately.setdefault((segment, each.client), []).append(each)
        for (segment, address), declines in network.declines.items():
            over = declines[-1].at + stands
            looked.later(over, now)
            if now < over:
                loops = max(_most_within(lately[segment, each.client], within) for each in declines)
                looked.findings.append(self._finding(network, segment, address, declines, loops))
        return looked

    def _finding(self, network: Network, segment: int, address: str, declines: list[Decline], loops: int) -> Finding:
        clients = list(dict.fromkeys(each.client for each in declines))
        claims = network.claims.by_address.get((segment, int(IPv4Address(address))), ())
        holders = [mac for mac in (network.claims.key(claim)[1] for claim in claims) if mac_text(mac) not in clients]
        return Finding(
            segment, f"address:{address}", "now" if loops >= network.numbers.declines_now else "soon", "certain", declines[0].at,
            {"address": address, "server": declines[-1].server or None, "times": len(declines), "loops": loops,
             "clients": [_client_name(network, segment, mac) for mac in clients],
             "holder": network.box_name(segment, holders[0]) if holders else None},
            tuple(each.n for each in declines)[-8:], declines[-1].at,
        )


def _most_within(declines: list[Decline], within: int) -> int:
    """The most that fall into any span of this length."""
    times = sorted(each.at for each in declines)
    return max(sum(start <= time < start + within for time in times) for start in times)


def _client_name(network: Network, segment: int, mac: str) -> str:
    client = network.leases.clients.get((segment, mac))
    return (client.name if client is not None else "") or mac


class FixedAddressInPool:
    """D6: a box that was never heard asking for an address uses one from the range that a server gives out."""

    rule = Rule(
        "fixed-address-in-pool",
        steady=True, certainty={"mirror": "certain", "ordinary": "likely", "wifi": "likely", "limited": None},
        numbers=("fixed_wait_s", "pool_known_least"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        pools = {segment: pool for segment in network.segments if (pool := self._pool(network, segment))}
        for (segment, mac), held in network.claims.addresses().items() if pools else ():
            client = network.leases.clients.get((segment, mac_text(mac)))
            if segment not in pools or client is not None or mac in network.own(segment):
                continue
            inside = [each for each in held if any(first <= each[1] <= last for first, last, _ in pools[segment])]
            for claim, address in inside[:1]:
                looked.findings += self._judge(network, segment, mac, claim, address, pools[segment], now)
        return looked

    def _judge(self, network: Network, segment: int, mac: int, claim: int, address: int,
               pool: list[tuple[int, int, int | None]], now: int) -> Iterator[Finding]:
        claims = network.claims
        text = address_text(address)
        if network.leases.servers.get((segment, text)) is not None or network.leases.declines.get((segment, text)) is not None:
            return
        lease = pool[0][2] if network.where(segment) == "mirror" else None
        since = int(claims.first[claim])
        wait = int((network.numbers.fixed_wait_s if lease is None else lease) * NS)
        expected = expected_of(network)
        device = expected.by_mac(mac_text(mac)) if expected else None
        by_plan = bool(expected and expected.in_pool(text))
        if device is not None and by_plan and device.address == text:
            wait = 0
        if now - since < wait or (wait and network.presence.last(claims, claim) - since < wait):
            return
        yield Finding(
            segment, f"address:{text}", "soon" if by_plan else "tidy", "certain" if by_plan else "hint", since,
            {"address": text, "who": network.box_name(segment, mac), "mac": mac_text(mac), "first": address_text(pool[0][0]),
             "last": address_text(pool[0][1]), "by_plan": by_plan, "seconds": (now - since) / NS},
            (int(claims.first_n[claim]),),
        )

    @staticmethod
    def _pool(network: Network, segment: int) -> list[tuple[int, int, int | None]]:
        """(first, last, longest lease in s) of what servers give out: planned, else as seen."""
        servers = [server for (where, _), server in network.leases.servers.items() if where == segment]
        leases = [lease for server in servers for lease in server.leases]
        longest = max(leases) if leases and FOR_EVER not in leases else None
        expected = expected_of(network)
        if expected is not None and expected.pools:
            return [(int(IPv4Address(first)), int(IPv4Address(last)), longest) for first, last in expected.pools]
        seen = []
        for server in servers:
            given = [int(IPv4Address(address)) for address in server.given]
            if len(given) >= network.numbers.pool_known_least:
                seen.append((min(given), max(given), longest))
        return seen


CLASH_RULES = (AddressDeclined(), AddressMoved(), FixedAddressInPool())
