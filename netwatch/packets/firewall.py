"""Which firewall is on, and what it keeps from programs on this laptop, as far as the system tells. For ``netwatch laptop``.

Linux: nft(8) and iptables(8), which answer root alone, and ufw(8), whose switch stands in a file that all may read. macOS
(socketfilterfw) and Windows (Get-NetFirewallProfile, Get-NetConnectionProfile): by their manuals, from memory, never run there.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from netwatch.packets.filters import DROP, Packet, iptables, nft
from netwatch.packets.machine import LINUX
from netwatch.packets.outputs import output, powershell, read
from netwatch.packets.witness import LIGHT_PORTS

UFW = Path("/etc/ufw/ufw.conf")
OLD_TABLES = Path("/proc/thread-self/net/ip_tables_names")
"""Tables of the older iptables that are in use; to list one that is not would make it."""
_CASTS = {5568: "multicast", 6454: "broadcast"}
"""How light mostly comes to each port."""


@dataclass(frozen=True, slots=True)
class Firewall:
    """One firewall, seen from one interface."""

    name: str
    on: bool | None
    """None: not told."""
    blocked: tuple[int, ...] = ()
    """UDP ports of light that it surely keeps out."""
    open: tuple[int, ...] = ()
    """UDP ports of light that it surely lets in."""
    by_program: bool = False
    """It lets programs in one by one."""


def firewalls(names: Iterable[str]) -> dict[str, Firewall | None]:
    """The firewall as each interface meets it; None where nothing is told."""
    if LINUX:
        ruleset = read(output("nft", "-j", "list", "ruleset"))
        listings, ufw = _listings(ruleset), _text(UFW)
        return {name: linux(name, ruleset, listings, ufw) for name in names}
    if sys.platform == "darwin":
        found = macos(output("socketfilterfw", "--getglobalstate"))
        return dict.fromkeys(names, found)
    profiles = powershell("Get-NetFirewallProfile | Select-Object Name,Enabled,DefaultInboundAction,AllowInboundRules")
    networks = powershell("Get-NetConnectionProfile | Select-Object InterfaceAlias,NetworkCategory")
    return {name: windows(profiles, networks, name) for name in names}


def linux(interface: str, ruleset: Any, listings: tuple[str, ...], ufw: str) -> Firewall | None:
    """From the rules, where we may read them; else from ufw's own switch."""
    if ruleset is None and not listings:
        switched = re.search(r"^ENABLED=(yes|no)", ufw, re.MULTILINE)
        return None if switched is None else Firewall("ufw", switched[1] == "yes")
    kept, let = [], []
    for port in LIGHT_PORTS:
        packet = Packet(port, interface, _CASTS[port])
        found = [nft(ruleset, packet)] if ruleset is not None else []
        found += [iptables(listing, packet) for listing in listings]
        if any(each == {DROP} for each in found):
            kept.append(port)
        elif not any(DROP in each for each in found):
            let.append(port)
    on = any(map(_rules, listings)) or bool({"input", "prerouting"} & {each.get("hook") for each in _chains(ruleset)})
    name = "ufw" if "ufw-" in "".join(listings) else "iptables" if any(map(_rules, listings)) else "nftables"
    return Firewall(name, on, tuple(kept), tuple(let))


def _listings(ruleset: Any) -> tuple[str, ...]:
    """What iptables lists, of the tables that are there: those that nft shows only in part, and the older ones."""
    newer = any((each.get("table"), each.get("name")) == ("filter", "INPUT") for each in _chains(ruleset))
    programs = (("iptables", newer), ("iptables-legacy", "filter" in _text(OLD_TABLES)))
    told = (output(program, "-S") for program, there in programs if there)
    return tuple(dict.fromkeys(each for each in told if each))


def _chains(ruleset: Any) -> list[dict[str, Any]]:
    return [each["chain"] for each in (ruleset or {}).get("nftables", []) if isinstance(each, dict) and "chain" in each]


def _rules(listing: str) -> bool:
    return "-P INPUT DROP" in listing or "-A INPUT" in listing


def macos(text: str | None) -> Firewall | None:
    """``socketfilterfw --getglobalstate``: 'State = 0' off, 1 on, 2 all incoming connections are blocked."""
    found = re.search(r"State = (\d)", text or "")
    if found is None:
        return None
    state = int(found[1])
    return Firewall("macOS firewall", state > 0, LIGHT_PORTS if state == 2 else (), () if state else LIGHT_PORTS, state == 1)


def windows(profiles: Any, networks: Any, interface: str) -> Firewall | None:
    """By the profile of the interface's network.

    Enabled 1; DefaultInboundAction 2 lets in, 4 and 0 keep out; AllowInboundRules 0 keeps out even what is allowed.
    """
    category = next((each.get("NetworkCategory") for each in networks or () if each.get("InterfaceAlias") == interface), 0)
    names = {"0": "Public", "1": "Private", "2": "Domain", "domainauthenticated": "Domain"}
    name = names.get(str(category).lower(), str(category))
    profile = next((each for each in profiles or () if each.get("Name") == name), None)
    if profile is None:
        return None
    on, action, allowed = (str(profile.get(key)).lower() for key in ("Enabled", "DefaultInboundAction", "AllowInboundRules"))
    shown = f"Windows firewall, {name.lower()} network"
    if on not in ("1", "true"):
        return Firewall(shown, False, open=LIGHT_PORTS)
    if action in ("2", "allow"):
        return Firewall(shown, True, open=LIGHT_PORTS)
    shut = allowed in ("0", "false")
    return Firewall(shown, True, LIGHT_PORTS if shut else (), by_program=not shut)


def _text(path: Path) -> str:
    try:
        return path.read_text(errors="replace")
    except OSError:
        return ""
