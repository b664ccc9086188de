"""What a rig is meant to be, for the rules that compare. Plain data; an empty field means that the plan says nothing of it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from ipaddress import IPv4Address, IPv4Network


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedDevice:
    """One device; '' = not said."""

    name: str
    mac: str = ""
    """'aa:bb:cc:dd:ee:ff'."""
    address: str = ""
    """Its fixed IPv4 address; '' also where DHCP gives it one."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ExpectedUniverse:
    """One universe and who is meant to send it."""

    protocol: str
    """'e131' or 'artnet'."""
    universe: int
    senders: tuple[str, ...] = ()
    """Names of devices."""


@dataclass(frozen=True, kw_only=True)
class Expected:
    """The expected rig. Raises ValueError on a network, address or pool that can't be read."""

    devices: tuple[ExpectedDevice, ...] = ()
    servers: tuple[str, ...] = ()
    """Addresses of the DHCP servers."""
    networks: tuple[str, ...] = ()
    """Subnets with prefix, as '10.0.0.0/16': the masks."""
    vlans: tuple[int, ...] = ()
    """VLANs of the planned networks, where the plan says them all."""
    pools: tuple[tuple[str, str], ...] = ()
    """First and last address that the DHCP servers give out."""
    universes: tuple[ExpectedUniverse, ...] = ()

    def __post_init__(self) -> None:
        for network in self.networks:
            IPv4Network(network)
        for address in (*self.servers, *(each for pool in self.pools for each in pool)):
            IPv4Address(address)

    @property
    def dhcp(self) -> bool:
        """The plan wants addresses to be given out."""
        return bool(self.servers or self.pools)

    @cached_property
    def _by_mac(self) -> dict[str, ExpectedDevice]:
        return {device.mac: device for device in reversed(self.devices) if device.mac}

    @cached_property
    def _by_address(self) -> dict[int, ExpectedDevice]:
        return {int(IPv4Address(device.address)): device for device in reversed(self.devices) if device.address}

    def by_mac(self, mac: str) -> ExpectedDevice | None:
        """The device with this MAC."""
        return self._by_mac.get(mac)

    def name_of(self, mac: str, addresses: Sequence[int]) -> str:
        """What the plan calls a box: by its MAC, else by its first address that the plan has, '' = nothing."""
        device = self.by_mac(mac)
        if device is None:
            known = (found for address in addresses if (found := self._by_address.get(address)) is not None)
            device = next((each for each in known if not each.mac), None)
        return "" if device is None else device.name

    def in_pool(self, address: str) -> bool:
        """Is it one of the addresses that the servers give out?"""
        where = int(IPv4Address(address))
        return any(int(IPv4Address(first)) <= where <= int(IPv4Address(last)) for first, last in self.pools)
