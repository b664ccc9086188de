"""Proposes what a plan lacks: addresses, a range for DHCP, numbers. What is fixed never moves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from ipaddress import IPv4Address, IPv4Network
from typing import Any

from netwatch.network import masks
from netwatch.numbers import Numbers
from netwatch.plan.check_addresses import small_refuse
from netwatch.plan.check_light import usual_offset
from netwatch.plan.rig import Device, Dhcp, Numbering, Plan, Subnet
from netwatch.plan.universes import ARTNET, E131, RANGES, Light

FIRST = 11
"""The first boxes of a subnet are left to switches, routers and servers (common practice, no source)."""
_ROUTERS = (1, 254)
"""Last numbers that routers mostly have (common practice, no source)."""
_FIRST_TO_FIRST = -1
"""sACN begins with 1, Art-Net with 0: the first beside the first where a plan says nothing (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that was proposed, or could not be; ``code`` is a key of ``words.plan_make.STEPS``."""

    code: str
    facts: dict[str, Any] = field(default_factory=dict)
    done: bool = True


def made(plan: Plan, numbers: Numbers) -> tuple[Plan, list[Step]]:
    """The plan with what it lacked, and each step."""
    maker = _Maker(plan, numbers)
    maker.range()
    maker.addresses()
    maker.numbering()
    return maker.plan, maker.steps


class _Maker:
    def __init__(self, plan: Plan, numbers: Numbers) -> None:
        self.plan, self.numbers = plan, numbers
        self.steps: list[Step] = []
        named = (plan.querier, None if plan.dhcp is None else plan.dhcp.server, *(each.gateway for each in plan.subnets))
        self.taken = {int(each) for each in (*named, *(device.address for device in plan.devices)) if each is not None}

    def _step(self, code: str, *, done: bool = True, **facts: Any) -> None:
        self.steps.append(Step(code, facts, done))

    # ---- the range of DHCP ----

    def range(self) -> None:
        """A server without a range gets one: room for the plan's boxes and for strangers, apart from what is fixed."""
        dhcp, wanted = self.plan.dhcp, sum(each.dhcp for each in self.plan.devices)
        if dhcp is None:
            if wanted:
                self._step("no-server", done=False, wanted=wanted)
            return
        if dhcp.first is not None:
            return
        home, size = self.plan.subnet(dhcp.server), max(2 * wanted, wanted + int(self.numbers.plan_strangers))
        if home is None:
            self._step("server-outside", done=False, server=str(dhcp.server))
            return
        begin = self._run(home.network, size)
        if begin is None:
            self._step("no-range", done=False, subnet=str(home.network), size=size)
            return
        first, last = IPv4Address(begin), IPv4Address(begin + size - 1)
        self.plan = replace(self.plan, dhcp=Dhcp(server=dhcp.server, first=first, last=last))
        self._step("range", first=str(first), last=str(last), size=size, wanted=wanted)

    def _run(self, network: IPv4Network, size: int) -> int | None:
        """The first address of a run of free ones: in the upper half of the subnet's first 65,536, at a round number."""
        low, high = int(network.network_address) + 1, min(int(network.broadcast_address), int(network.network_address) + 0xFFFF)
        tens = [each for each in range(low, high) if (each & 0xFF) % 10 == 0 and each & 0xFF] or [low]
        half = [each for each in tens if each >= low + (high - low) // 2] or tens
        for begin in (*half, *tens, low):
            if begin + size <= high and not any(each in self.taken for each in range(begin, begin + size)):
                return begin
        return None

    # ---- addresses ----

    def addresses(self) -> None:
        """Every box without an address gets the next free one behind those of its place."""
        devices = []
        for device in self.plan.devices:
            if device.address is None and not device.dhcp:
                if device.unread:  # perhaps it has one
                    self._step("unread", done=False, name=device.name, headings=list(device.unread), origin=device.origin)
                else:
                    device = self._addressed(device)
            devices.append(device)
        self.plan = replace(self.plan, devices=tuple(devices))

    def _addressed(self, device: Device) -> Device:
        subnet = self._home(device)
        if subnet is None:
            code = "no-subnet" if not self.plan.subnets else "which-subnet"
            self._step(code, done=False, name=device.name, subnets=[str(each.network) for each in self.plan.subnets])
            return device
        found = next(self._free(subnet.network, device), None)
        if found is None:
            self._step("subnet-full", done=False, name=device.name, subnet=str(subnet.network))
            return device
        self.taken.add(int(found))
        self._step("address", name=device.name, address=str(found), prefix=subnet.network.prefixlen, origin=device.origin)
        return replace(device, address=found)

    def _home(self, device: Device) -> Subnet | None:
        """The only subnet, or that of boxes which share its universes, else its place; None where that can't be told."""
        if len(self.plan.subnets) == 1:
            return self.plan.subnets[0]
        mates = (
            [each for each in self.plan.devices if set(each.lights) & set(device.lights)],
            [each for each in self.plan.devices if device.place and each.place.casefold() == device.place.casefold()],
        )
        for group in mates:
            homes = Counter(self.plan.subnet(each.address) for each in group if each.address is not None)
            homes.pop(None, None)
            if len(homes) == 1 or (homes and len(set(homes.values())) == len(homes)):
                return homes.most_common(1)[0][0]
        return None

    def _free(self, network: IPv4Network, device: Device) -> Iterator[IPv4Address]:
        """Free addresses: behind those of the same place first, then from the subnet's beginning."""
        base, end = int(network.network_address), int(network.broadcast_address)
        place = device.place.casefold()
        beside = [each.address for each in self.plan.devices if place and each.place.casefold() == place]
        mates = [int(each) for each in beside if each is not None and each in network]
        begin = base + min(FIRST, max(1, (end - base) // 4))
        starts = ([max(mates) + 1] if mates else []) + [begin, base + 1]
        for start in starts:
            for value in range(start, min(end + 1, start + 0x1_0000)):
                if self._fits(value, network):
                    yield IPv4Address(value)

    def _fits(self, value: int, network: IPv4Network) -> bool:
        address, dhcp = IPv4Address(value), self.plan.dhcp
        if value in self.taken or masks.role(value, network.prefixlen) != "host" or small_refuse(address):
            return False
        if (value & 0xFF) in _ROUTERS and network.prefixlen <= 24:
            return False
        narrower = self.plan.subnet(address)
        return (narrower is None or narrower.network == network) and not (dhcp is not None and dhcp.gives(address))

    # ---- numbers ----

    def numbering(self) -> None:
        """Each universe that is used gets its line, sACN and Art-Net number side by side."""
        offset = usual_offset(self.plan)
        offset = _FIRST_TO_FIRST if offset is None else offset
        numbered = {light for each in self.plan.numbering for light in each.lights}
        lines = [self._paired(each, offset, numbered) for each in self.plan.numbering]
        fresh = []
        used = {light for _, light in self.plan.lights()}
        for light in sorted(used - numbered, key=lambda each: (each.protocol == ARTNET, each)):
            if light in numbered:
                continue
            line = self._paired(_line(light), offset, numbered)
            numbered |= set(line.lights)
            fresh.append(line)
        if fresh or lines != list(self.plan.numbering):
            self._step("numbers", lights=[light for line in fresh for light in line.lights], offset=offset, lines=len(fresh))
        self.plan = replace(self.plan, numbering=(*lines, *fresh))
        if self.plan.querier is None and any(light.protocol == E131 for _, light in self.plan.lights()):
            self._step("no-querier", done=False)

    @staticmethod
    def _paired(line: Numbering, offset: int, numbered: set[Light]) -> Numbering:
        """The line with the other protocol's number, where that exists and is free."""
        if line.artnet is None and line.sacn is not None:
            other = Light(ARTNET, line.sacn + offset)
            return replace(line, artnet=other.number) if _exists(other) and other not in numbered else line
        if line.sacn is None and line.artnet is not None:
            other = Light(E131, line.artnet - offset)
            return replace(line, sacn=other.number) if _exists(other) and other not in numbered else line
        return line


def _line(light: Light) -> Numbering:
    return Numbering(sacn=light.number) if light.protocol == E131 else Numbering(artnet=light.number)


def _exists(light: Light) -> bool:
    least, most = RANGES[light.protocol]
    return least <= light.number <= most
