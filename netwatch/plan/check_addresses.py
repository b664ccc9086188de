"""Contradictions in a plan's addresses: boxes, subnets, masks, the DHCP server's range."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterator
from ipaddress import IPv4Address, IPv4Network
from itertools import combinations

from netwatch.network import masks
from netwatch.network.subnets import LINK_LOCAL
from netwatch.numbers import Numbers
from netwatch.plan.problem import Problem
from netwatch.plan.rig import Device, Plan

_TWICE: tuple[tuple[str, str, Callable[[Device], Hashable]], ...] = (
    ("name-twice", "soon", lambda each: each.name.casefold()),
    ("address-twice", "soon", lambda each: each.address),
    ("mac-twice", "soon", lambda each: each.mac),
    ("asset-twice", "tidy", lambda each: each.asset.casefold()),
)


def problems(plan: Plan, numbers: Numbers) -> Iterator[Problem]:
    """All of them, in the order of the plan."""
    yield from _twice(plan)
    for a, b in combinations(plan.subnets, 2):
        if a.network.overlaps(b.network):
            wide, narrow = sorted((a.network, b.network), key=lambda each: each.prefixlen)
            yield Problem("subnets-overlap", "soon", {"wide": str(wide), "narrow": str(narrow)})
    for device in plan.devices:
        yield from _device(plan, device)
    yield from _range(plan, numbers)
    yield from _boxes(plan)


def _twice(plan: Plan) -> Iterator[Problem]:
    """What must be one box's alone."""
    for code, severity, what in _TWICE:
        found: dict[Hashable, list[Device]] = defaultdict(list)
        for device in plan.devices:
            if what(device):
                found[what(device)].append(device)
        for same in found.values():
            if len(same) > 1:
                facts = {
                    "names": [each.name for each in same], "address": str(same[0].address), "mac": same[0].mac,
                    "asset": same[0].asset,
                }  # fmt: skip
                yield Problem(code, severity, facts, tuple(each.origin for each in same))


def _device(plan: Plan, device: Device) -> Iterator[Problem]:
    if device.unread:
        yield Problem("unread", "soon", {"name": device.name, "headings": list(device.unread)}, (device.origin,))
    if device.address is None:
        if not device.dhcp and not device.unread:
            yield Problem("no-address", "tidy", {"name": device.name}, (device.origin,))
        elif device.dhcp and plan.dhcp is None:
            yield Problem("no-server", "soon", {"name": device.name}, (device.origin,))
        return
    subnet = plan.subnet(device.address)
    facts = {"name": device.name, "address": str(device.address), "subnet": str(subnet.network) if subnet else ""}
    if device.address in LINK_LOCAL:
        yield Problem("link-local", "soon", facts, (device.origin,))
    elif subnet is None:
        if plan.subnets:
            yield Problem("outside", "soon", facts, (device.origin,))
    else:
        yield from _in_subnet(plan, device, subnet.network, facts)


def _in_subnet(plan: Plan, device: Device, network: IPv4Network, facts: dict[str, str]) -> Iterator[Problem]:
    assert device.address is not None
    role = masks.role(int(device.address), network.prefixlen)
    if device.prefix is not None and device.prefix != network.prefixlen:
        yield Problem("mask-differs", "soon", {**facts, "prefix": device.prefix, "right": network.prefixlen}, (device.origin,))
    if role != "host":
        yield Problem("no-host", "soon", {**facts, "role": role}, (device.origin,))
    elif small_refuse(device.address):
        yield Problem("small-boxes", "tidy", facts, (device.origin,))
    if plan.dhcp is not None and plan.dhcp.gives(device.address):
        ends = {"first": str(plan.dhcp.first), "last": str(plan.dhcp.last), "server": device.address == plan.dhcp.server}
        yield Problem("in-pool", "soon", {**facts, **ends}, (device.origin,))


def small_refuse(address: IPv4Address) -> bool:
    """Does it end in .0 or .255, which many small devices refuse whatever the mask is? Common practice, no source."""
    return int(address) & 0xFF in (0, 0xFF)


def _range(plan: Plan, numbers: Numbers) -> Iterator[Problem]:
    """What the DHCP server gives out."""
    dhcp = plan.dhcp
    if dhcp is None or dhcp.first is None or dhcp.last is None:
        return
    facts: dict[str, object] = {"server": str(dhcp.server), "first": str(dhcp.first), "last": str(dhcp.last)}
    home = plan.subnet(dhcp.first)
    if home is None or dhcp.last not in home.network:
        if plan.subnets:
            yield Problem("pool-outside", "soon", facts)
        return
    facts["subnet"] = str(home.network)
    if dhcp.server not in home.network:
        yield Problem("pool-elsewhere", "soon", facts)
    ends = [each for each in (dhcp.first, dhcp.last) if masks.role(int(each), home.network.prefixlen) != "host"]
    if ends:
        yield Problem("pool-ends", "soon", {**facts, "address": str(ends[0])})
    size, wanted = int(dhcp.last) - int(dhcp.first) + 1, sum(each.dhcp for each in plan.devices)
    facts |= {"size": size, "wanted": wanted, "strangers": int(numbers.plan_strangers)}
    if wanted > size:
        yield Problem("pool-small", "soon", facts)
    elif size - wanted < numbers.plan_strangers:
        yield Problem("pool-tight", "tidy", facts)


def _boxes(plan: Plan) -> Iterator[Problem]:
    """The DHCP server, the querier, gateways: addresses that stand in the plan without being a device's."""
    named = [("DHCP server", plan.dhcp.server)] if plan.dhcp is not None else []
    named += [("querier", plan.querier)] if plan.querier is not None else []
    for what, address in named:
        if plan.subnets and plan.subnet(address) is None:
            yield Problem("outside", "soon", {"name": f"the {what}", "address": str(address), "subnet": ""})
    if plan.dhcp is not None and plan.dhcp.gives(plan.dhcp.server) and plan.dhcp.server not in {d.address for d in plan.devices}:
        ends = {"first": str(plan.dhcp.first), "last": str(plan.dhcp.last), "server": True}
        yield Problem("in-pool", "soon", {"name": "the DHCP server", "address": str(plan.dhcp.server), **ends})
