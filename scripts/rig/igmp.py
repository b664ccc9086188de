"""Queriers: the kernel's own, in a bridge on a host of its own; and a single query, to prime a switch."""

from __future__ import annotations

import socket
import struct

from rig.lan import Host
from rig.namespaces import inside, run

QUERY_GROUP = bytes.fromhex("01005e000001")
"""MAC of 224.0.0.1."""


def start_querier(host: Host, *, every: float, version: int = 2) -> None:
    """This box asks who listens from now on, every so many seconds."""
    address = host.address
    assert address, "a querier needs an address"
    name = host.name
    if "q0:" not in run("ip", "-n", name, "-o", "link", "show"):
        run("ip", "-n", name, "link", "add", "q0", "address", host.mac, "type", "bridge", "mcast_snooping", "1")
        _set(name, mcast_igmp_version=version, mcast_query_use_ifaddr=1, mcast_startup_query_count=1)
        run("ip", "-n", name, "address", "flush", "dev", "eth0")
        run("ip", "-n", name, "address", "add", address, "broadcast", "+", "dev", "q0")
        run("ip", "-n", name, "link", "set", "eth0", "master", "q0")
        run("ip", "-n", name, "link", "set", "q0", "up")
    interval = int(every * 100)
    _set(name, mcast_query_interval=interval, mcast_query_response_interval=100, mcast_startup_query_interval=interval)
    # So long it stays silent after it heard one with a lower address (RFC 9776 8.5).
    _set(name, mcast_querier_interval=2 * interval + 50)
    # A command of its own: else the bridge settles with the old response time first.
    _set(name, mcast_querier=1)


def stop_querier(host: Host) -> None:
    """It asks no more."""
    _set(host.name, mcast_querier=0)


def _set(name: str, **bridge: int) -> None:
    for key, value in bridge.items():
        run("ip", "-n", name, "link", "set", "q0", "type", "bridge", key, str(value))


def ask_once(host: Host, source: str) -> None:
    """One IGMPv2 general query (RFC 2236 2; router alert option RFC 2113), sent as a raw frame."""
    message = struct.pack("!BBH4s", 0x11, 10, 0, bytes(4))
    message = message[:2] + struct.pack("!H", _checksum(message)) + message[4:]
    head = struct.pack("!BBHHHBBH4s4sI", 0x46, 0xC0, 24 + len(message), 0, 0, 1, 2, 0,
                       socket.inet_aton(source), socket.inet_aton("224.0.0.1"), 0x94040000)
    head = head[:10] + struct.pack("!H", _checksum(head)) + head[12:]
    with inside(host.name), socket.socket(socket.AF_PACKET, socket.SOCK_RAW) as sender:
        sender.bind(("eth0", 0))
        sender.send(QUERY_GROUP + bytes.fromhex(host.mac.replace(":", "")) + b"\x08\x00" + head + message)


def _checksum(data: bytes) -> int:
    """RFC 1071."""
    total: int = sum(struct.unpack(f"!{len(data) // 2}H", data))
    while total >> 16:
        total = (total & 0xFFFF) + (total >> 16)
    return ~total & 0xFFFF
