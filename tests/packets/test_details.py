"""How an interface got its address, and its Wi-Fi. Linux: recorded outputs; iw, macOS, Windows: by their manuals, from memory."""

from __future__ import annotations

import json
import subprocess

import pytest

from netwatch.packets import details
from netwatch.packets.details import Air
from tests import lab

LEASED = """[{"ifindex":2,"ifname":"eth0","flags":["BROADCAST","MULTICAST","UP","LOWER_UP"],"mtu":1500,"operstate":"UP",
"addr_info":[{"family":"inet","local":"10.77.100.78","prefixlen":16,"broadcast":"10.77.255.255","scope":"global","dynamic":true,
"label":"eth0","valid_life_time":600,"preferred_life_time":600}]}]"""
"""ip -json address (iproute2 6.1) after dhclient and dhcpcd took a lease of dnsmasq, in a namespace."""
STAYS = """[{"ifindex":2,"ifname":"eth0","mtu":1500,"operstate":"UP","addr_info":[{"family":"inet","local":"10.77.0.99",
"prefixlen":16,"scope":"global","label":"eth0","valid_life_time":4294967295,"preferred_life_time":4294967295}]}]"""
"""The same after 'ip address add' by hand, and after udhcpc, which leaves the lifetime out."""
ROUTES = """[{"dst":"default","gateway":"10.77.0.1","dev":"eth0","protocol":"dhcp","metric":1002,"flags":[]},
{"dst":"10.77.0.0/16","dev":"eth0","protocol":"dhcp","scope":"link","prefsrc":"10.77.100.78","metric":1002,"flags":[]}]"""
"""ip -json route after dhcpcd."""


@pytest.mark.parametrize(("addresses", "routes", "dhcp"), [
    (LEASED, "[]", True), (STAYS, ROUTES, True), (STAYS, "[]", False), (STAYS, ROUTES.replace("eth0", "eth1"), False),
    ('[{"addr_info":[]}]', "[]", None), ("[]", "[]", None),
])
def test_linux_tells_dhcp_by_lifetime_or_route(addresses: str, routes: str, dhcp: bool | None) -> None:
    assert details.linux_dhcp(json.loads(addresses), json.loads(routes), "eth0") is dhcp


@pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
def test_an_address_of_this_laptop() -> None:
    with lab.lab() as net:
        net.pair("far", "near", "10.77.0.99/16")
        assert details.details({"near": "wired"})["near"].dhcp is False
        net.ip("address", "change", "10.77.0.99/16", "dev", "near", "valid_lft", "600", "preferred_lft", "600")
        assert details.details({"near": "wired"})["near"].dhcp is True
        assert details.details({"far": "wired"})["far"].dhcp is None


def test_nothing_told_is_nothing_known() -> None:
    assert details.linux_dhcp(None, None, "eth0") is None
    assert details.macos_dhcp(None) is None
    assert details.windows_dhcp(None, "Ethernet") is None
    assert (details.linux_air(None), details.macos_air(None, "en0"), details.windows_air(None, "Wi-Fi")) == (None, None, None)


def test_macos_dhcp() -> None:
    """ipconfig getpacket en0."""
    assert details.macos_dhcp("op = BOOTREPLY\nhtype = 1\nyiaddr = 10.77.100.20\nsname = \noptions:\n") is True
    assert details.macos_dhcp("") is False


@pytest.mark.parametrize(("value", "dhcp"), [(1, True), (0, False), ("Enabled", True), ("Disabled", False), (None, None)])
def test_windows_dhcp(value: object, dhcp: bool | None) -> None:
    told = [{"InterfaceAlias": "Wi-Fi", "Dhcp": 1}, {"InterfaceAlias": "Ethernet", "Dhcp": value}]
    assert details.windows_dhcp(told, "Ethernet") is dhcp


def test_linux_wifi() -> None:
    text = (
        "Connected to 02:00:00:00:01:00 (on wlan0)\n\tSSID: hollowbrook: crew\n\tfreq: 5180.0\n\tRX: 1234 bytes (10 packets)\n"
        "\tTX: 99 bytes (1 packets)\n\tsignal: -56 dBm\n\trx bitrate: 433.3 MBit/s VHT-MCS 9 80MHz\n\ttx bitrate: 400.0 MBit/s\n"
    )
    assert details.linux_air(text) == Air("hollowbrook: crew", "5 GHz", 36, -56, None, 433.3e6)
    assert details.linux_air("Not connected.\n") is None


@pytest.mark.parametrize(("channel", "band", "number"), [
    ("36 (5GHz, 80MHz)", "5 GHz", 36), ("6 (2GHz, 20MHz)", "2.4 GHz", 6), ("5 (6GHz, 160MHz)", "6 GHz", 5), ("11", "", 11),
])
def test_macos_wifi(channel: str, band: str, number: int) -> None:
    now = {"_name": "hollowbrook", "spairport_network_channel": channel, "spairport_network_rate": 866,
           "spairport_signal_noise": "-56 dBm / -92 dBm"}  # fmt: skip
    cards = [{"_name": "en0", "spairport_current_network_information": now}, {"_name": "awdl0"}]
    told = {"SPAirPortDataType": [{"spairport_airport_interfaces": cards}]}
    assert details.macos_air(told, "en0") == Air("hollowbrook", band, number, -56, None, 866e6)
    assert details.macos_air(told, "awdl0") is None


def test_windows_wifi() -> None:
    text = (
        "\r\nThere is 1 interface on the system:\r\n\r\n    Name                   : Wi-Fi\r\n"
        "    State                  : connected\r\n"
        "    SSID                   : hollowbrook\r\n    BSSID                  : 02:00:00:00:01:00\r\n"
        "    Radio type             : 802.11ax\r\n    Band                   : 5 GHz\r\n    Channel                : 36\r\n"
        "    Receive rate (Mbps)    : 866.7\r\n    Transmit rate (Mbps)   : 650\r\n    Signal                 : 92%\r\n\r\n"
    ).replace("\r\n", "\n")
    assert details.windows_air(text, "Wi-Fi") == Air("hollowbrook", "5 GHz", 36, None, 0.92, 866.7e6)
    older = text.replace("    Band                   : 5 GHz\n", "")
    assert details.windows_air(older, "Wi-Fi") == Air("hollowbrook", "5 GHz", 36, None, 0.92, 866.7e6)
    assert details.windows_air(text, "Wi-Fi 2") is None


@pytest.mark.parametrize(("mhz", "band", "channel"), [
    (2412, "2.4 GHz", 1), (2472, "2.4 GHz", 13), (2484, "2.4 GHz", 14), (5180, "5 GHz", 36), (5825, "5 GHz", 165),
    (5955, "6 GHz", 1), (7115, "6 GHz", 233), (900, "", None),
])
def test_bands_and_channels(mhz: int, band: str, channel: int | None) -> None:
    """Centre frequencies of IEEE 802.11, from memory."""
    assert (details.band(mhz), details.channel(mhz)) == (band, channel)


def test_a_program_that_fails_hangs_or_is_missing_tells_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    from netwatch.packets import outputs

    assert outputs.output("no-such-program-here") is None
    assert outputs.output("ip", "no-such-object") is None
    monkeypatch.setattr(subprocess, "run", lambda *a, **k: (_ for _ in ()).throw(subprocess.TimeoutExpired("ip", 8)))
    assert outputs.output("ip", "link") is None
    assert outputs.read("{") is None
