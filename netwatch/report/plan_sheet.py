"""The plan on paper: addresses explained, place by place, by address, universes, labels; and one page for the IT department."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network
from itertools import groupby
from typing import TypeAlias

from netwatch.network import masks
from netwatch.numbers import Numbers
from netwatch.plan.check_addresses import small_refuse
from netwatch.plan.check_light import mbit, receivers, senders
from netwatch.plan.rig import Device, Plan, Subnet
from netwatch.plan.universes import ARTNET, E131, Light, group, three
from netwatch.report.html import render
from netwatch.words import plan_sheet as words
from netwatch.words.phrases import listing, mask, plain, ranges, three_number_ranges

ByLight: TypeAlias = dict[Light, list[Device]]
MOST_RUNS, MOST_NAMES = 6, 4


@dataclass(frozen=True, slots=True)
class Explained:
    """One subnet for people who set addresses by hand."""

    name: str
    network: str
    octets: Sequence[tuple[str, str]]
    """(text, 'fixed', 'partly' or 'free') of the four numbers."""
    mask: str
    usable: str
    gateway: str
    pool: str
    unused: str
    taken: int


def page(plan: Plan, source: str) -> str:
    """The whole sheet."""
    return render(
        "plan.html", title=plain(plan.name) or words.TITLE, sheet=words, facts=_facts(plan, source),
        subnets=[_explained(plan, each) for each in plan.subnets], places=_places(plan), addresses=_by_address(plan),
        numbers=_numbers(plan), labels=[_label(plan, each) for each in plan.devices],
    )  # fmt: skip


def page_for_it(plan: Plan, source: str, numbers: Numbers) -> str:
    """One page before the job."""
    facts = [(words.RIG, plain(plan.name)), (words.CONTACT, ""), (words.DATES, _shows(plan)), (words.ROOM, "")]
    return render("plan_it.html", title=words.TITLE_IT, sheet=words, facts=facts, needs=_needs(plan, numbers), source=source)


def _facts(plan: Plan, source: str) -> list[tuple[str, str]]:
    fixed, dhcp = sum(each.address is not None for each in plan.devices), sum(each.dhcp for each in plan.devices)
    rows = [(words.RIG, plan.name), (words.BOXES, words.boxes(fixed, dhcp, len(plan.devices) - fixed - dhcp))]
    if plan.dhcp is not None:
        rows += [(words.SERVER, _called(plan, plan.dhcp.server)), (words.RANGE, _pool(plan))]
    rows += [(words.QUERIER, _called(plan, plan.querier))] if plan.querier is not None else []
    rows += [(words.SHOWS, _shows(plan))] if plan.shows else []
    return [(label, plain(text)) for label, text in (*rows, (words.MADE, source)) if text]


def _called(plan: Plan, address: IPv4Address) -> str:
    name = next((each.name for each in plan.devices if each.address == address), "")
    return f"{name} ({address})" if name else str(address)


def _pool(plan: Plan) -> str:
    return "" if plan.dhcp is None or plan.dhcp.first is None else f"{plan.dhcp.first} to {plan.dhcp.last}"


def _shows(plan: Plan) -> str:
    return ", ".join(f"{each.begin:%d %b %Y %H:%M} to {each.end:%H:%M}" for each in plan.shows)


# ---- addresses explained ----


def _explained(plan: Plan, subnet: Subnet) -> Explained:
    network = subnet.network
    hosts = [each.address for each in plan.devices if each.address is not None and plan.subnet(each.address) == subnet]
    first, last = (network[1], network[-2]) if network.prefixlen <= 30 else (network[0], network[-1])
    dhcp = plan.dhcp
    inside = dhcp is not None and dhcp.first is not None and dhcp.first in network
    return Explained(
        name=subnet.name, network=str(network), octets=octets(network), mask=mask(network.prefixlen), usable=f"{first} to {last}",
        gateway=str(subnet.gateway or words.NO_GATEWAY), pool=_pool(plan) if inside else "",
        unused=listing([_run(a, b) for a, b in unused(plan, network, hosts)], MOST_RUNS) or "-", taken=len(hosts),
    )  # fmt: skip


def octets(network: IPv4Network) -> list[tuple[str, str]]:
    """The four numbers of a subnet's addresses, and what the mask leaves of each (RFC 950 2.1)."""
    out = []
    for first, last in zip(network.network_address.packed, network.broadcast_address.packed, strict=True):
        if first == last:
            out.append((str(first), "fixed"))
        else:
            out.append((words.partly(first, last), "free" if (first, last) == (0, 255) else "partly"))
    return out


def unused(plan: Plan, network: IPv4Network, hosts: Iterable[IPv4Address]) -> list[tuple[IPv4Address, IPv4Address]]:
    """Runs of free addresses beside those in use (in the same block of 256), none that small boxes refuse or DHCP gives out."""
    dhcp = plan.dhcp
    named = (plan.querier, None if dhcp is None else dhcp.server, *(each.gateway for each in plan.subnets))
    taken = {*hosts, *(each for each in named if each is not None)}
    blocks = sorted({int(each) >> 8 for each in taken if each in network}) or [int(network.network_address) >> 8]
    free = [
        value for block in blocks for value in range(block << 8, (block + 1) << 8)
        if (address := IPv4Address(value)) in network and address not in taken and not small_refuse(address)
        and masks.role(value, network.prefixlen) == "host" and not (dhcp is not None and dhcp.gives(address))
    ]  # fmt: skip
    runs = []
    for _, run in groupby(enumerate(free), lambda pair: pair[1] - pair[0]):
        values = [value for _, value in run]
        runs.append((IPv4Address(values[0]), IPv4Address(values[-1])))
    return runs


def _run(first: IPv4Address, last: IPv4Address) -> str:
    return str(first) if first == last else f"{first} to {last}"


# ---- tables ----


def _places(plan: Plan) -> list[tuple[str, list[list[str]]]]:
    """(place, rows), in order of their names; boxes without a place at the end."""
    order = sorted(plan.devices, key=lambda each: (not each.place, each.place.casefold()))
    return [
        (place or words.NOWHERE, [_row(plan, each) for each in found])
        for place, found in ((key, list(run)) for key, run in groupby(order, key=lambda each: each.place))
    ]


def _row(plan: Plan, device: Device) -> list[str]:
    return [device.name, device.asset, _address(device), _mask(plan, device), *_light(device)]


def _address(device: Device) -> str:
    return str(device.address) if device.address is not None else words.DHCP if device.dhcp else ""


def _mask(plan: Plan, device: Device) -> str:
    subnet = None if device.address is None else plan.subnet(device.address)
    length = device.prefix if device.prefix is not None else None if subnet is None else subnet.network.prefixlen
    return "" if length is None else mask(length)


def _light(device: Device) -> list[str]:
    return [universes(device.sends), universes(device.receives)]


def universes(lights: Sequence[Light]) -> str:
    """'sACN 1-8, Art-Net 0.0.0-0.0.7 (0-7)'."""
    sacn, artnet = ([each.number for each in lights if each.protocol == one] for one in (E131, ARTNET))
    parts = [f"sACN {ranges(sacn)}"] if sacn else []
    parts += [f"Art-Net {three_number_ranges(artnet, 3)} ({ranges(artnet, 3)})"] if artnet else []
    return ", ".join(parts)


def _by_address(plan: Plan) -> list[list[str]]:
    fixed = sorted((each for each in plan.devices if each.address is not None), key=lambda each: int(each.address or 0))
    others = [each for each in plan.devices if each.address is None]
    return [[_address(each) or "-", each.name, each.place, each.asset, each.mac] for each in (*fixed, *others)]


def _numbers(plan: Plan) -> list[list[str]]:
    """A row for each universe that is used or numbered, sACN and Art-Net side by side."""
    sent, received = senders(plan), receivers(plan)
    lines = [each.lights for each in plan.numbering]
    numbered = {light for line in lines for light in line}
    more = {light for _, light in plan.lights()} - numbered
    lines += [(light,) for light in sorted(more, key=lambda each: (each.protocol == ARTNET, each))]
    return [_number(plan, line, sent, received) for line in lines]


def _number(plan: Plan, line: tuple[Light, ...], sent: ByLight, received: ByLight) -> list[str]:
    sacn = next((each for each in line if each.protocol == E131), None)
    artnet = next((each for each in line if each.protocol == ARTNET), None)

    def names(by: ByLight) -> str:
        return listing(dict.fromkeys(each.name for light in line for each in by.get(light, ())), MOST_NAMES)

    return [
        str(sacn.number) if sacn else "", group(sacn.number) if sacn else "", three(artnet) if artnet else "",
        str(artnet.number) if artnet else "", plan.called(line[0]), names(sent), names(received),
    ]  # fmt: skip


def _label(plan: Plan, device: Device) -> dict[str, str]:
    sends, receives = _light(device)
    desk = listing(dict.fromkeys(name for light in device.receives if (name := plan.called(light))), MOST_NAMES)
    return {
        "name": device.name, "place": device.place, "asset": device.asset, "address": _address(device),
        "mask": _mask(plan, device), "sends": sends, "receives": receives, "desk": desk, "mac": device.mac,
    }  # fmt: skip


# ---- for the IT department ----


def _needs(plan: Plan, numbers: Numbers) -> list[tuple[str, str]]:
    used = {light for _, light in plan.lights()}
    sacn = sorted(light.number for light in used if light.protocol == E131)
    packets = round(len(used) * numbers.plan_hz / 100) * 100 or 100
    total = sum(mbit(1, light.protocol, numbers.plan_hz) for light in used)
    networks = [
        f"{each.network.network_address}, mask {mask(each.network.prefixlen)}" + (f" in VLAN {each.vlan}" if each.vlan else "")
        for each in plan.subnets
    ]
    needs = [words.one_vlan(max(len(plan.subnets), 1), len(plan.devices))]
    needs += [words.querier("" if plan.querier is None else _called(plan, plan.querier))] if sacn else []
    needs += [words.no_isolation(), words.edge_ports()]
    server = "" if plan.dhcp is None else _called(plan, plan.dhcp.server)
    needs += [words.addresses(networks, server, _pool(plan))] if networks else []
    needs += [words.storm(len(used), packets)] if used else []
    needs += [words.load(total, len(sacn) + 1, group(sacn[0]), group(sacn[-1]))] if sacn else []
    return [*needs, words.no_internet(any(each.gateway for each in plan.subnets))]
