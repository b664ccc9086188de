"""DHCP servers (dnsmasq) and clients (udhcpc, dhclient, dhcpcd), and addresses that boxes give themselves."""

from __future__ import annotations

import subprocess
from collections.abc import Mapping
from types import MappingProxyType

from rig.lan import Host, script

Program = subprocess.Popen[bytes]


def serve(host: Host, first: str, last: str, *, mask: str = "255.255.0.0", router: str | None = None,
          lease: str = "2m", delay: int = 0, refuses: bool = True,
          reserved: Mapping[str, str] = MappingProxyType({})) -> Program:
    """A DHCP server that hands out ``first`` to ``last``; ``reserved``: MAC to address.

    ``delay``: it thinks for so many seconds before it answers.

    ``refuses``: it takes itself for the only one, as home routers do, and refuses what it did not give.
    """
    options = ["--dhcp-option=3" if router is None else f"--dhcp-option=3,{router}", "--dhcp-option=6"]
    return host.start(
        "dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--port=0", "--interface=eth0", "--bind-interfaces",
        "--no-ping", "--user=root", "--dhcp-leasefile=/run/leases", "--pid-file=/run/dnsmasq.pid",
        f"--dhcp-range={first},{last},{mask},{lease}", f"--dhcp-reply-delay={delay}", *options,
        *(("--dhcp-authoritative",) if refuses else ()), *(f"--dhcp-host={mac},{address}" for mac, address in reserved.items()),
    )


def relay(host: Host, own: str, server: str) -> Program:
    """A DHCP relay on ``own``, for the server at ``server``."""
    return host.start(
        "dnsmasq", "--keep-in-foreground", "--conf-file=/dev/null", "--port=0", "--user=root", f"--dhcp-relay={own},{server}",
        "--pid-file=/run/dnsmasq.pid",
    )


def udhcpc(host: Host, *, tries: int = 4, every: int = 4, pause: int = 20, checks: bool = False) -> Program:
    """The client of small boxes: asks ``tries`` times, then pauses. ``checks`` by ARP whether the address is free."""
    return host.start(
        "udhcpc", "-f", "-i", "eth0", "-s", script("lease.sh"), "-t", str(tries), "-T", str(every), "-A", str(pause),
        "-x", f"hostname:{host.name}", "-R", *(("-a",) if checks else ()),
    )


def dhclient(host: Host) -> Program:
    """The ISC client; leases in memory."""
    return host.start("dhclient", "-d", "-sf", script("lease.sh"), "-lf", "/run/leases", "-pf", "/run/dhclient.pid", "eth0")


def dhcpcd(host: Host, *options: str) -> Program:
    """A client that falls back to a link-local address by itself and goes on asking."""
    return host.start("dhcpcd", "--nobackground", "--config", "/dev/null", "--nohook", "resolv.conf", "--ipv4only",
                      *options, "eth0")


def link_local(host: Host) -> Program:
    """A box that gives itself an address of 169.254 (RFC 3927)."""
    return host.start("avahi-autoipd", "--no-drop-root", "--no-chroot", "--force-bind", "--script=/bin/true", "eth0")


def stop(*programs: Program) -> None:
    """Killed, as by a pulled plug: nothing is released."""
    for program in programs:
        program.kill()
        program.wait()
