"""Which firewall is on: Linux from recorded and real rules, macOS and Windows from the forms of their manuals (from memory)."""

from __future__ import annotations

import json
import subprocess
from pathlib import Path

import pytest

from netwatch.packets import firewall
from netwatch.packets.firewall import Firewall
from tests import lab

RECORDED = Path(__file__).parent / "recorded"
LIGHT = (5568, 6454)


def recorded(name: str) -> str:
    return (RECORDED / name).read_text()


def test_rules_of_debians_example_for_workstations_keep_light_out() -> None:
    found = firewall.linux("eth0", json.loads(recorded("nft-workstation.json")), (), "")
    assert found == Firewall("nftables", True, blocked=LIGHT)


def test_ufw_is_named_by_its_chains() -> None:
    found = firewall.linux("eth0", json.loads(recorded("nft-of-ufw.json")), (recorded("iptables-S-of-ufw.txt"),), "ENABLED=yes\n")
    assert found == Firewall("ufw", True, blocked=(6454,), open=(5568,))


def test_without_rights_only_ufws_switch_is_told() -> None:
    """The form of /etc/ufw/ufw.conf as the Debian package installs it."""
    head = "# /etc/ufw/ufw.conf\n#\n\n# Set to yes to start on boot.\nENABLED=%s\n\nLOGLEVEL=low\n"
    assert firewall.linux("eth0", None, (), head % "yes") == Firewall("ufw", True)
    assert firewall.linux("eth0", None, (), head % "no") == Firewall("ufw", False)
    assert firewall.linux("eth0", None, (), "") is None


def test_no_rules_at_all() -> None:
    assert firewall.linux("eth0", {"nftables": []}, (), "") == Firewall("nftables", False, open=LIGHT)


@pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))
def test_the_rules_of_this_laptop_are_asked_for_and_nothing_is_changed() -> None:
    with lab.lab() as net:
        net.pair("far", "near", "10.77.0.99/16")
        assert firewall.firewalls(["near"])["near"] == Firewall("nftables", False, open=LIGHT)
        assert subprocess.run(["nft", "list", "ruleset"], capture_output=True, text=True, check=True).stdout == ""
        rules = 'table ip t { chain c { type filter hook input priority 0; iifname "near" udp dport 5568 drop; }; }'
        subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)
        assert firewall.firewalls(["near"])["near"] == Firewall("nftables", True, blocked=(5568,), open=(6454,))
        assert firewall.firewalls(["far"])["far"] == Firewall("nftables", True, open=LIGHT)


@pytest.mark.parametrize(("text", "found"), [
    ("Firewall is disabled. (State = 0)\n", Firewall("macOS firewall", False, open=LIGHT)),
    ("Firewall is enabled. (State = 1)\n", Firewall("macOS firewall", True, by_program=True)),
    ("Firewall is blocking all incoming connections. (State = 2)\n", Firewall("macOS firewall", True, blocked=LIGHT)),
    ("", None),
    (None, None),
])
def test_macos(text: str | None, found: Firewall | None) -> None:
    """socketfilterfw --getglobalstate."""
    assert firewall.macos(text) == found


def profiles(**public: int) -> list[dict[str, object]]:
    """Get-NetFirewallProfile as ConvertTo-Json writes its enumerations."""
    plain = {"Enabled": 1, "DefaultInboundAction": 0, "AllowInboundRules": 2}
    return [{"Name": "Domain", **plain}, {"Name": "Private", **plain, "Enabled": 0}, {"Name": "Public", **plain, **public}]


@pytest.mark.parametrize(("told", "category", "found"), [
    (profiles(), 0, Firewall("Windows firewall, public network", True, by_program=True)),
    (profiles(), 1, Firewall("Windows firewall, private network", False, open=LIGHT)),
    (profiles(AllowInboundRules=0), 0, Firewall("Windows firewall, public network", True, blocked=LIGHT)),
    (profiles(DefaultInboundAction=2), 0, Firewall("Windows firewall, public network", True, open=LIGHT)),
    (profiles(), "DomainAuthenticated", Firewall("Windows firewall, domain network", True, by_program=True)),
    (None, 0, None),
])
def test_windows(told: list[dict[str, object]] | None, category: object, found: Firewall | None) -> None:
    networks = [{"InterfaceAlias": "Wi-Fi", "NetworkCategory": 1}, {"InterfaceAlias": "Ethernet", "NetworkCategory": category}]
    assert firewall.windows(told, networks, "Ethernet") == found


def test_windows_takes_a_network_that_it_does_not_know_for_public() -> None:
    found = firewall.windows(profiles(), None, "Ethernet")
    assert found is not None
    assert found.name == "Windows firewall, public network"
