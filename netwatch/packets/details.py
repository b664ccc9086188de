"""More about an interface than a mark carries: how it got its address, and its Wi-Fi. For ``netwatch laptop``.

Linux: ip(8), nmcli(1) and iw(8), tried against real outputs. macOS (ipconfig(8), system_profiler(8)) and Windows
(Get-NetIPInterface, netsh wlan): by the forms of their manuals, from memory, never run there.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from netwatch.packets.machine import LINUX
from netwatch.packets.outputs import output, powershell, read

_BANDS = ((2_400, 2_500, "2.4 GHz"), (4_900, 5_895, "5 GHz"), (5_925, 7_125, "6 GHz"))
"""MHz (IEEE 802.11, annex E, from memory)."""
_FIXED = 2**32 - 1
"""ip(8) shows this lifetime for an address that stays."""


@dataclass(frozen=True, slots=True)
class Air:
    """Wi-Fi as the system tells it; None or '' = not told."""

    network: str = ""
    band: str = ""
    channel: int | None = None
    signal_dbm: int | None = None
    signal_share: float | None = None
    """0..1, where the system tells no dBm."""
    rate: float | None = None
    """Bit/s."""


@dataclass(frozen=True, slots=True)
class Details:
    """Of one interface."""

    dhcp: bool | None = None
    """Its address came by DHCP; False: it was set by hand; None: not told."""
    air: Air | None = None


def details(cards: Mapping[str, str]) -> dict[str, Details]:
    """What this system tells of interfaces; ``cards`` = their kinds by name."""
    dhcp, air = _dhcp(cards), _air([name for name, kind in cards.items() if kind == "wifi"])
    return {name: Details(dhcp[name], air.get(name)) for name in cards}


def _dhcp(names: Iterable[str]) -> dict[str, bool | None]:
    if LINUX:
        return {name: _linux_dhcp(name) for name in names}
    if sys.platform == "darwin":
        return {name: macos_dhcp(output("ipconfig", "getpacket", name)) for name in names}
    told = powershell("Get-NetIPInterface -AddressFamily IPv4 | Select-Object InterfaceAlias,Dhcp")
    return {name: windows_dhcp(told, name) for name in names}


def _linux_dhcp(name: str) -> bool | None:
    """As NetworkManager was told to do it; else by what ip(8) shows."""
    connection = (output("nmcli", "-g", "GENERAL.CONNECTION", "device", "show", name) or "").strip()
    method = (output("nmcli", "-g", "ipv4.method", "connection", "show", connection) or "").strip() if connection else ""
    if method in ("auto", "manual"):
        return method == "auto"
    addresses, routes = output("ip", "-json", "address", "show", "dev", name), output("ip", "-json", "route")
    return linux_dhcp(read(addresses), read(routes), name)


def linux_dhcp(addresses: Any, routes: Any, name: str) -> bool | None:
    """From ``ip -json address`` and ``ip -json route``: an address that ends, or a route that DHCP set, shows DHCP."""
    own = [info for each in _list(addresses) for info in _list(each.get("addr_info")) if info.get("family") == "inet"]
    if not own:
        return None
    if any(info.get("dynamic") is True or info.get("protocol") == "dhcp" for info in own):
        return True
    if any(route.get("dev") == name and route.get("protocol") == "dhcp" for route in _list(routes)):
        return True
    return None if any(info.get("valid_life_time", _FIXED) != _FIXED for info in own) else False


def macos_dhcp(packet: str | None) -> bool | None:
    """``ipconfig getpacket NAME`` prints the newest DHCP answer, and nothing for an address that was set by hand."""
    return None if packet is None else "yiaddr" in packet


def windows_dhcp(told: Any, name: str) -> bool | None:
    """Dhcp of an MSFT_NetIPInterface: 1 or 'Enabled', 0 or 'Disabled'."""
    value = next((each.get("Dhcp") for each in _list(told) if each.get("InterfaceAlias") == name), None)
    return {"1": True, "enabled": True, "0": False, "disabled": False}.get(str(value).lower())


# ---- Wi-Fi ----


def _air(names: list[str]) -> dict[str, Air | None]:
    if LINUX:
        return {name: linux_air(output("iw", "dev", name, "link")) for name in names}
    if sys.platform == "darwin":
        told = read(output("system_profiler", "-json", "SPAirPortDataType")) if names else None
        return {name: macos_air(told, name) for name in names}
    text = output("netsh", "wlan", "show", "interfaces") if names else None
    return {name: windows_air(text, name) for name in names}


def linux_air(text: str | None) -> Air | None:
    """``iw dev NAME link``."""
    found = dict(_pairs(text))
    frequency = _number(found.get("freq"))
    if frequency is None:
        return None
    rate = _number(found.get("rx bitrate"))
    return Air(found.get("SSID", ""), band(frequency), channel(frequency), _whole(found.get("signal")), None,
               None if rate is None else rate * 1e6)  # fmt: skip


def macos_air(told: Any, name: str) -> Air | None:
    """``system_profiler -json SPAirPortDataType``: the network that an interface is in."""
    cards = [card for top in _list(_get(told, "SPAirPortDataType")) for card in _list(top.get("spairport_airport_interfaces"))]
    now = next((card.get("spairport_current_network_information") for card in cards if card.get("_name") == name), None)
    if not isinstance(now, dict):
        return None
    where = str(now.get("spairport_network_channel", ""))
    rate = _number(str(now.get("spairport_network_rate", "")))
    shown = re.search(r"(2\.4|2|5|6) ?GHz", where)
    return Air(
        str(now.get("_name", "")), "" if shown is None else f"{'2.4' if shown[1] == '2' else shown[1]} GHz", _whole(where),
        _whole(str(now.get("spairport_signal_noise", ""))), None, None if rate is None else rate * 1e6,
    )  # fmt: skip


def windows_air(text: str | None, name: str) -> Air | None:
    """``netsh wlan show interfaces`` in English: a block for each card, which begins with its name."""
    for block in re.split(r"\n\s*\n", text or ""):
        found = dict(_pairs(block))
        if found.get("Name") != name or "Channel" not in found:
            continue
        number, share = _whole(found["Channel"]), _number(found.get("Signal"))
        rate = _number(found.get("Receive rate (Mbps)"))
        guess = "" if number is None else "2.4 GHz" if number <= 14 else "5 GHz"  # an older Windows tells no band
        return Air(found.get("SSID", ""), found.get("Band", guess), number, None, None if share is None else share / 100,
                   None if rate is None else rate * 1e6)  # fmt: skip
    return None


def band(mhz: float) -> str:
    """The band that a frequency is in, '' for none that is known."""
    return next((name for low, high, name in _BANDS if low <= mhz <= high), "")


def channel(mhz: float) -> int | None:
    """Channel number of a centre frequency (IEEE 802.11, 17.3.8.4.2, from memory): steps of 5 MHz from the band's start."""
    if mhz == 2_484:
        return 14
    start = {"2.4 GHz": 2_407, "5 GHz": 5_000, "6 GHz": 5_950}.get(band(mhz))
    return None if start is None else round((mhz - start) / 5)


def _pairs(text: str | None) -> Iterator[tuple[str, str]]:
    """'label : value' lines."""
    for line in (text or "").splitlines():
        label, colon, value = line.partition(":")
        if colon:
            yield label.strip(), value.strip()


def _number(text: str | None) -> float | None:
    found = re.search(r"-?\d+(\.\d+)?", text or "")
    return None if found is None else float(found[0])


def _whole(text: str | None) -> int | None:
    number = _number(text)
    return None if number is None else round(number)


def _get(value: Any, key: str) -> Any:
    return value.get(key) if isinstance(value, Mapping) else None


def _list(value: Any) -> list[dict[str, Any]]:
    return [each for each in value if isinstance(each, dict)] if isinstance(value, list) else []
