"""Arithmetic of IPv4 addresses and masks (RFC 950, RFC 1122 3.2.1.3, RFC 3021). Addresses are int, masks prefix lengths."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Network

WHOLE = 0xFFFFFFFF


def prefix_of(mask: str) -> int | None:
    """Prefix length of a mask '255.255.0.0'; None where its ones are not contiguous."""
    host = int(IPv4Address(mask)) ^ WHOLE
    return None if host & (host + 1) else 32 - host.bit_length()


def network_of(address: int, prefix: int) -> int:
    """The subnet's first address."""
    return address & (WHOLE << (32 - prefix)) & WHOLE


def broadcast_of(address: int, prefix: int) -> int:
    """The subnet's last address."""
    return address | WHOLE >> prefix


def role(address: int, prefix: int) -> str:
    """'host', 'network' or 'broadcast'. A /31 has two hosts and no broadcast (RFC 3021), a /32 is one host."""
    if prefix >= 31:
        return "host"
    if address == network_of(address, prefix):
        return "network"
    return "broadcast" if address == broadcast_of(address, prefix) else "host"


def common(one: int, other: int) -> int:
    """Length of the prefix that two addresses share."""
    return 32 - (one ^ other).bit_length()


def inferred(address: int, broadcast: int) -> tuple[int, int] | None:
    """(shortest, longest) prefix with which a host's directed broadcast goes to ``broadcast``; None where no mask fits."""
    ones = ((broadcast ^ WHOLE) & -(broadcast ^ WHOLE)).bit_length() - 1 if broadcast != WHOLE else 32
    shortest, longest = 32 - ones, min(common(address, broadcast), 30)
    return (shortest, longest) if shortest <= longest and address != broadcast else None


def text(network: int, prefix: int) -> str:
    """'10.0.0.0/16'."""
    return str(IPv4Network((network_of(network, prefix), prefix)))
