"""What a rig is meant to be, for the rules that compare. Plain data; an empty field means that the plan says nothing of it."""

from __future__ import annotations

from dataclasses import dataclass
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


@dataclass(frozen=True, slots=True, kw_only=True)
class Expected:
    """The expected rig. Raises ValueError on a network, address or pool that can't be read."""

    devices: tuple[ExpectedDevice, ...] = ()
    servers: tuple[str, ...] = ()
    """Addresses of the DHCP servers."""
    networks: tuple[str, ...] = ()
    """Subnets with prefix, as '10.0.0.0/16': the masks."""
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

    def by_mac(self, mac: str) -> ExpectedDevice | None:
        """The device with this MAC."""
        return next((device for device in self.devices if device.mac and device.mac == mac), None)

    def in_pool(self, address: str) -> bool:
        """Is it one of the addresses that the servers give out?"""
        where = int(IPv4Address(address))
        return any(int(IPv4Address(first)) <= where <= int(IPv4Address(last)) for first, last in self.pools)
