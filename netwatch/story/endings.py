"""What ends by itself, and when: leases, the next query, groups that the switch will drop. Soonest first."""

from __future__ import annotations

from netwatch.network.clock import NS
from netwatch.network.leases import FOR_EVER
from netwatch.network.network import Network, vlan
from netwatch.story.snapshot import Ending, GroupView
from netwatch.words import endings as words


def endings(network: Network, groups: tuple[GroupView, ...]) -> tuple[Ending, ...]:
    """All that is known to end."""
    found = [*_leases(network), *_questions(network), *_groups(groups)]
    return tuple(sorted(found, key=lambda each: (each.at, each.what, each.subject)))


def lease_ends(network: Network) -> dict[tuple[int, str], tuple[int, int]]:
    """(renews, ends) ns of each lease whose length was seen, by (segment, MAC)."""
    out = {}
    for (segment, mac), client in network.leases.clients.items():
        if client.lease is not None and client.lease != FOR_EVER and client.chose is not None:
            out[segment, mac] = client.chose + client.lease * NS // 2, client.chose + client.lease * NS
    return out


def _leases(network: Network) -> list[Ending]:
    out = []
    for (segment, mac), (renews, ends) in lease_ends(network).items():
        client = network.leases.clients.get((segment, mac))
        if client is not None:
            text = words.lease(client.name, client.address, client.server)
            place = network.interface(segment), vlan(segment)
            out.append(Ending(*place, "lease", client.address, ends, None, text, f"host:{mac}", renews))
    return out


def _questions(network: Network) -> list[Ending]:
    return [
        Ending(network.interface(segment), vlan(segment), "query", each.address, each.last + int(each.interval * NS), None,
               words.question(each.address), f"host:{each.mac}")
        for (segment, _), each in network.multicast.queriers.items() if each.interval
    ]  # fmt: skip


def _groups(groups: tuple[GroupView, ...]) -> list[Ending]:
    return [
        Ending(each.interface, each.vlan, "group", each.group, each.goes_dark_at, each.goes_dark_by,
               words.group(each.universe, each.group, each.goes_dark_by not in (None, each.goes_dark_at)),
               "" if each.universe is None else f"universe:{each.universe}")
        for each in groups if each.goes_dark_at is not None
    ]  # fmt: skip
