"""What this computer says of its own interfaces: names, addresses, kind, speed, link."""

from __future__ import annotations

import contextlib
import ipaddress
import socket
import struct
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import netifaces
import psutil

from netwatch.packets.batch import Port

LINUX = sys.platform.startswith("linux")
ETHERNET, RAW_IP = 1, 101
SYSFS = Path("/sys/class/net")
WIRELESS = Path("/proc/net/wireless")

_SIOCGIFHWADDR, _SIOCGIWAP = 0x8927, 0x8B15
_LINK_TYPES = {1: ETHERNET, 772: ETHERNET, 519: RAW_IP, 768: RAW_IP, 776: RAW_IP, 778: RAW_IP, 65534: RAW_IP}
"""Linux hardware types (if_arp.h) whose frames can be read: Ethernet, loopback, raw IP, and tunnels without a header."""
_NAMED = (("wifi", ("wi-fi", "wlan", "wl")), ("tunnel", ("utun", "tun", "tap", "wg", "ppp", "gif", "stf", "ipsec")),
          ("virtual", ("lo", "bridge", "vmnet", "awdl", "llw", "vethernet")))
"""Where the system does not tell the kind, its usual names do (common practice, no source)."""


class CannotListen(Exception):
    """One sentence: why an interface can't be listened to, and what to do."""


@dataclass(frozen=True, slots=True)
class Interface:
    """One interface as it is now."""

    name: str
    mac: bytes = b""
    networks: tuple[str, ...] = ()
    """IPv4 addresses with prefix."""
    kind: str = "unknown"
    up: bool = False
    link: bool = False
    """Up and a cable or cell connected."""
    speed: int | None = None
    """Bit/s."""
    duplex: str = "unknown"
    mtu: int = 0


def interfaces() -> dict[str, Interface]:
    """All interfaces of this computer by name."""
    states, addresses = psutil.net_if_stats(), psutil.net_if_addrs()
    return {name: _interface(name, states.get(name), addresses.get(name, [])) for name in {**states, **addresses}}


def _interface(name: str, state: Any, addresses: list[Any]) -> Interface:
    mac, networks = b"", []
    for entry in addresses:
        if entry.family == psutil.AF_LINK and not mac:
            mac = _mac(entry.address)
        elif entry.family == socket.AF_INET:
            with contextlib.suppress(ValueError):  # a mask with holes
                networks.append(str(ipaddress.ip_interface(f"{entry.address}/{entry.netmask or 32}")))
    if state is None:
        return Interface(name, mac, tuple(networks), kind(name))
    flags = state.flags.split(",") if getattr(state, "flags", "") else None
    return Interface(
        name, mac, tuple(networks), kind(name),
        up=state.isup if flags is None else "up" in flags,
        link=state.isup if flags is None else "running" in flags,
        speed=state.speed * 1_000_000 or None,
        duplex={psutil.NIC_DUPLEX_FULL: "full", psutil.NIC_DUPLEX_HALF: "half"}.get(state.duplex, "unknown"),
        mtu=state.mtu,
    )


def _mac(text: str) -> bytes:
    try:
        mac = bytes.fromhex(text.replace("-", "").replace(":", ""))
    except ValueError:
        return b""
    return mac if len(mac) == 6 and any(mac) else b""


def kind(name: str, sysfs: Path = SYSFS) -> str:
    """wired, wifi, tunnel, virtual or unknown."""
    if not LINUX:
        return next((word for word, starts in _NAMED if name.lower().startswith(starts)), "unknown")
    at = sysfs / name
    if not at.exists():  # /sys is that of another network namespace
        return "tunnel" if _hardware(name) not in (None, 1, 772) else "unknown"
    if (at / "wireless").exists() or (at / "phy80211").exists():
        return "wifi"
    if (at / "tun_flags").exists() or (at / "type").read_text().strip() not in ("1", "772"):
        return "tunnel"
    return "wired" if (at / "device").exists() else "virtual"


def _hardware(name: str) -> int | None:
    """Linux hardware type (if_arp.h), None where there is no such interface."""
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        try:
            answer = fcntl.ioctl(asker, _SIOCGIFHWADDR, struct.pack("16s24x", name.encode()[:15]))
        except OSError:
            return None
    return int(struct.unpack_from("=H", answer, 16)[0])


def link_type(name: str) -> int:
    """Capture-file link type of the frames that a packet socket gives; ``CannotListen`` where they can't be read."""
    if not LINUX:
        return ETHERNET
    hardware = _hardware(name)
    if hardware is None:
        raise CannotListen(f"{name!r} has gone; choose another.")
    if hardware not in _LINK_TYPES:
        raise CannotListen(f"{name!r} gives frames of a kind that can't be read here (hardware type {hardware}); choose another.")
    return _LINK_TYPES[hardware]


def usable(name: str) -> Interface:
    """The interface if it is there and up; ``CannotListen`` with the ones that are, if not."""
    known = interfaces()
    up = ", ".join(sorted(each.name for each in known.values() if each.up)) or "none"
    if name not in known:
        raise CannotListen(f"There is no interface {name!r} on this laptop; those that are up: {up}.")
    if not known[name].up:
        raise CannotListen(f"The interface {name!r} is down: switch it on, or choose one that is up: {up}.")
    return known[name]


def port(interface: Interface, link: int, source: str, made_up: bool = False) -> Port:
    """The port that packets of this interface come from."""
    macs = (interface.mac,) if interface.mac else ()
    return Port(interface.name, link, macs, interface.networks, interface.kind, interface.speed, source, made_up)


def facts(interface: Interface | None) -> dict[str, Any]:
    """What a mark says of an interface; of one that has gone (None), just that."""
    if interface is None:
        return {"present": False, "up": False, "link": False}
    told: dict[str, Any] = {
        "present": True, "up": interface.up, "link": interface.link, "name": interface.name, "kind": interface.kind,
        "mac": interface.mac.hex(":"), "addresses": list(interface.networks), "gateway": _gateway(interface),
        "speed": interface.speed, "duplex": interface.duplex, "mtu": interface.mtu,
    }
    if interface.kind == "wifi" and LINUX:
        told |= {"cell": _cell(interface.name), "signal_dbm": signal(interface.name)}
    return told


def _gateway(interface: Interface) -> str | None:
    """Default gateway that lies in one of the interface's own networks."""
    networks = [ipaddress.ip_interface(each).network for each in interface.networks]
    known: dict[Any, Any] = dict(netifaces.gateways())
    for entry in known.get(netifaces.AF_INET, ()):
        if any(ipaddress.ip_address(entry[0]) in network for network in networks):
            return str(entry[0])
    return None


def _cell(name: str) -> str | None:
    """MAC of the access point in use, None without one."""
    import fcntl

    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        try:
            answer = fcntl.ioctl(asker, _SIOCGIWAP, struct.pack("16s24x", name.encode()))
        except OSError:
            return None
    mac = answer[18:24]
    return mac.hex(":") if any(mac) and mac != b"\xff" * 6 else None


def signal(name: str, table: Path = WIRELESS) -> int | None:
    """Signal level in dBm, None where the driver does not tell."""
    try:
        lines = table.read_text().splitlines()
    except OSError:
        return None
    for line in lines:
        words = line.split()
        if words and words[0] == f"{name}:" and len(words) > 3:
            level = int(float(words[3]))
            return level if level < 0 else None
    return None
