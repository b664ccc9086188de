"""The plan: what a rig is meant to be. Plain data; '' or None = the plan says nothing of it."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from ipaddress import IPv4Address, IPv4Network

from netwatch.plan.universes import ARTNET, E131, Light


class PlanError(ValueError):
    """One whole sentence: which file, line or key, what is wrong, and what was meant."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Device:
    """One box."""

    name: str
    place: str = ""
    asset: str = ""
    mac: str = ""
    """'aa:bb:cc:dd:ee:ff'."""
    address: IPv4Address | None = None
    """Fixed."""
    dhcp: bool = False
    """The DHCP server gives it one."""
    prefix: int | None = None
    """Its mask, where the plan names one for this box."""
    sends: tuple[Light, ...] = ()
    receives: tuple[Light, ...] = ()
    priority: int | None = None
    link: int | None = None
    """Mbit/s of its link."""
    unread: tuple[str, ...] = ()
    """Headings under which a cell of its row was not understood."""
    origin: str = ""
    """Where it stands: 'rig.toml, line 12' or 'sheet.csv, row 7'."""

    @property
    def lights(self) -> tuple[Light, ...]:
        return (*self.sends, *self.receives)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subnet:
    """One subnet."""

    network: IPv4Network
    name: str = ""
    vlan: int | None = None
    gateway: IPv4Address | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Dhcp:
    """The one DHCP server, and the range that it gives out (both ends or none)."""

    server: IPv4Address
    first: IPv4Address | None = None
    last: IPv4Address | None = None

    def gives(self, address: IPv4Address) -> bool:
        return self.first is not None and self.last is not None and self.first <= address <= self.last


@dataclass(frozen=True, slots=True, kw_only=True)
class Numbering:
    """One universe under its names: sACN, Art-Net (flat), and what the desk calls it."""

    sacn: int | None = None
    artnet: int | None = None
    desk: str = ""

    @property
    def lights(self) -> tuple[Light, ...]:
        sacn = () if self.sacn is None else (Light(E131, self.sacn),)
        return sacn if self.artnet is None else (*sacn, Light(ARTNET, self.artnet))


@dataclass(frozen=True, slots=True, kw_only=True)
class Group:
    """A multicast group that something else than light uses, as network audio."""

    address: IPv4Address
    name: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Show:
    """One show, in local time."""

    begin: datetime
    end: datetime


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """The whole plan."""

    name: str = ""
    devices: tuple[Device, ...] = ()
    subnets: tuple[Subnet, ...] = ()
    dhcp: Dhcp | None = None
    querier: IPv4Address | None = None
    numbering: tuple[Numbering, ...] = ()
    groups: tuple[Group, ...] = ()
    shows: tuple[Show, ...] = ()
    remarks: tuple[str, ...] = ()
    """Whole sentences: what of a spreadsheet was not understood, and how it was taken."""

    def subnet(self, address: IPv4Address) -> Subnet | None:
        """The narrowest subnet that holds an address."""
        holding = [each for each in self.subnets if address in each.network]
        return max(holding, key=lambda each: each.network.prefixlen, default=None)

    def called(self, light: Light) -> str:
        """What the desk calls a universe, '' unknown."""
        return next((each.desk for each in self.numbering if each.desk and light in each.lights), "")

    def lights(self) -> Iterator[tuple[Device, Light]]:
        """Each universe of each device."""
        for device in self.devices:
            for light in device.lights:
                yield device, light
