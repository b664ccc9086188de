"""A plan as the fold and the rules read it. Apart from what these read, for a plan knows dates, and rules know no clock."""

from __future__ import annotations

from datetime import datetime

from netwatch.plan.expected import Expected, ExpectedDevice, ExpectedUniverse
from netwatch.plan.rig import Plan
from netwatch.plan.universes import Light


def expectation(plan: Plan) -> Expected:
    """A plan as the rules read it."""
    senders: dict[Light, list[str]] = {}
    for device in plan.devices:
        for light in device.sends:
            senders.setdefault(light, []).append(device.name)
    dhcp = plan.dhcp
    return Expected(
        devices=tuple(
            ExpectedDevice(name=each.name, mac=each.mac, address="" if each.address is None else str(each.address))
            for each in plan.devices
        ),
        servers=() if dhcp is None else (str(dhcp.server),),
        networks=tuple(str(each.network) for each in plan.subnets), vlans=_vlans(plan),
        pools=((str(dhcp.first), str(dhcp.last)),) if dhcp is not None and dhcp.first is not None else (),
        universes=tuple(
            ExpectedUniverse(protocol=light.protocol, universe=light.number, senders=tuple(names))
            for light, names in sorted(senders.items())
        ),
    )


def _vlans(plan: Plan) -> tuple[int, ...]:
    """Nothing where a subnet lacks its VLAN: a port in a VLAN that is not named may then be that subnet's."""
    said = {each.vlan for each in plan.subnets}
    return () if None in said else tuple(sorted(vlan for vlan in said if vlan is not None))


def turns(plan: Plan) -> list[tuple[int, str]]:
    """(ns, phase) of each begin and end of a show, in order; shows that overlap are one."""
    spans = sorted((_ns(each.begin), _ns(each.end)) for each in plan.shows)
    joined: list[list[int]] = []
    for begin, end in spans:
        if joined and begin <= joined[-1][1]:
            joined[-1][1] = max(joined[-1][1], end)
        else:
            joined.append([begin, end])
    return [turn for begin, end in joined for turn in ((begin, "show"), (end, "building"))]


def _ns(moment: datetime) -> int:
    """A local time; this laptop's zone."""
    return int(moment.timestamp()) * 1_000_000_000
