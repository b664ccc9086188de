"""Packet filters of Linux: recorded listings, and the kernel itself as the judge of rules in a namespace."""

from __future__ import annotations

import json
import shlex
import shutil
import socket
import subprocess
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.packets.filters import ACCEPT, DROP, Packet, iptables, nft
from netwatch.packets.witness import Witness
from tests import lab
from tests.lab import Lab
from tests.packets.test_witness import light, settled

RECORDED = Path(__file__).parent / "recorded"
"""Listings of nft 1.0.6 and iptables 1.8.9 on Debian 12."""
SACN, ARTNET = Packet(5568, "near", "multicast"), Packet(6454, "near", "broadcast")
needs_lab = pytest.mark.skipif(lab.WHY_NOT is not None, reason=str(lab.WHY_NOT))


@pytest.mark.parametrize(("name", "sacn", "artnet"), [
    ("nft-workstation.json", {DROP}, {DROP}),  # the example for workstations that Debian's nftables comes with
    ("nft-light-let-in.json", {ACCEPT}, {ACCEPT}),
    ("nft-of-ufw.json", {ACCEPT}, {ACCEPT}),  # rules that nft can't spell are iptables' own
])
def test_recorded_rulesets(name: str, sacn: set[str], artnet: set[str]) -> None:
    ruleset = json.loads((RECORDED / name).read_text())
    assert (nft(ruleset, SACN), nft(ruleset, ARTNET)) == (sacn, artnet)


@pytest.mark.parametrize(("name", "sacn", "artnet"), [
    ("iptables-S.txt", {DROP}, {ACCEPT}),  # lets broadcast in
    ("iptables-S-of-ufw.txt", {ACCEPT}, {DROP}),  # ufw's own chains (ufw 0.36.2) after 'allow 5568/udp'
])
def test_recorded_listings_of_iptables(name: str, sacn: set[str], artnet: set[str]) -> None:
    listing = (RECORDED / name).read_text()
    assert (iptables(listing, SACN), iptables(listing, ARTNET)) == (sacn, artnet)


def test_what_is_not_understood_may_do_either() -> None:
    assert iptables("-P INPUT DROP\n-A INPUT -m mystery --moon full -j ACCEPT", SACN) == {ACCEPT, DROP}
    assert iptables("-P INPUT ACCEPT\n-A INPUT -j MYSTERY-TARGET", SACN) == {ACCEPT}  # an empty chain of its own
    match = {"match": {"op": "==", "left": {"rt": {}}, "right": 1}}
    rule = {"family": "ip", "table": "t", "chain": "c", "expr": [match, {"drop": None}]}
    chain = {"family": "ip", "table": "t", "name": "c", "type": "filter", "hook": "input", "prio": 0, "policy": "accept"}
    assert nft({"nftables": [{"chain": chain}, {"rule": rule}]}, SACN) == {ACCEPT, DROP}


CHAIN = "type filter hook input priority 0; policy %s;"
RULES = {
    "nothing": "",
    "drop of another port": f"table ip t {{ chain c {{ {CHAIN % 'accept'} udp dport 9999 drop; }}; }}",
    "drop of a range": f"table ip t {{ chain c {{ {CHAIN % 'accept'} udp dport 5000-6000 drop; }}; }}",
    "drop by default": f"table inet t {{ chain c {{ {CHAIN % 'drop'} udp dport 9 accept; }}; }}",
    "let in by set": f"table inet t {{ set light {{ type inet_service; elements = {{ 5568, 9 }}; }}; "
                     f"chain c {{ {CHAIN % 'drop'} udp dport @light accept; }}; }}",
    "another interface": f"table ip t {{ chain c {{ {CHAIN % 'accept'} iifname != \"near\" udp dport 6454 drop; }}; }}",
    "this interface": f"table ip t {{ chain c {{ {CHAIN % 'accept'} iifname \"ne*\" udp dport 6454 drop; }}; }}",
    "state by map": f"table inet t {{ chain c {{ {CHAIN % 'drop'} udp dport 9 accept; "
                    "ct state vmap { established : accept, new : drop }; accept; }; }",
    "a jump that returns": "table ip t { chain more { tcp dport 22 drop; udp dport 6454 return; udp dport 5568 drop; }; "
                           f"chain c {{ {CHAIN % 'accept'} jump more; }}; }}",
    "a way without return": "table ip t { chain more { udp dport 5568 accept; }; "
                            f"chain c {{ {CHAIN % 'drop'} udp dport 9 accept; goto more; }}; }}",
    "two chains": f"table ip a {{ chain c {{ {CHAIN % 'accept'} accept; }}; }}; "
                  "table ip b { chain c { type filter hook prerouting priority -10; udp dport 6454 reject; }; }",
    "by kind of packet": f"table ip t {{ chain c {{ {CHAIN % 'accept'} meta pkttype multicast drop; }}; }}",
    "by protocol": f"table inet t {{ chain c {{ {CHAIN % 'drop'} meta l4proto udp accept; }}; }}",
    "IPv6 alone": f"table ip6 t {{ chain c {{ {CHAIN % 'drop'} }}; }}",
}  # fmt: skip


@pytest.fixture
def net() -> Iterator[Lab]:
    with lab.lab() as made:
        made.pair("far", "near", "10.77.0.99/16")
        yield made


@needs_lab
@pytest.mark.parametrize("name", RULES)
def test_the_kernel_does_as_we_read(net: Lab, name: str) -> None:
    rules = RULES[name].replace("reject", "drop") if "prerouting" in RULES[name] else RULES[name]
    subprocess.run(["nft", "-f", "-"], input=rules, text=True, check=True)
    ruleset = json.loads(subprocess.run(["nft", "-j", "list", "ruleset"], capture_output=True, check=True).stdout)
    assert asked_of_the_kernel(net) == {5568: nft(ruleset, SACN), 6454: nft(ruleset, ARTNET)}


@needs_lab
@pytest.mark.skipif(shutil.which("iptables") is None, reason="the Debian package iptables is not here")
@pytest.mark.parametrize("rules", [
    "-P INPUT DROP;-A INPUT -p udp -m udp --dport 9 -j ACCEPT",
    "-P INPUT DROP;-A INPUT -p udp -m multiport --dports 9,5000:6000 -j ACCEPT",
    "-N more;-A INPUT -j more;-A more -p udp --dport 9 -j RETURN;-A more ! -i other -m comment --comment 'a; b' -j DROP",
    "-A INPUT -p udp --dport 9 -j ACCEPT;-A INPUT -m addrtype --dst-type BROADCAST -j DROP",
    "-A INPUT -p udp --dport 9 -j ACCEPT;-A INPUT -m conntrack --ctstate NEW -j REJECT",
])
def test_the_kernel_does_as_we_read_iptables(net: Lab, rules: str) -> None:
    for rule in rules.replace("a; b", "a, b").split(";"):
        subprocess.run(["iptables", *shlex.split(rule)], check=True)
    listing = subprocess.run(["iptables", "-S"], capture_output=True, text=True, check=True).stdout
    assert asked_of_the_kernel(net) == {5568: iptables(listing, SACN), 6454: iptables(listing, ARTNET)}


def asked_of_the_kernel(net: Lab) -> dict[int, frozenset[str]]:
    """What it does with light to a group that is asked for, and to everybody. UDP port 9 has to be open."""
    witness = Witness(socket.if_nametoindex("near"))
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asker:
        membership = socket.inet_aton("239.255.0.1") + socket.inet_aton("10.77.0.99")
        asker.setsockopt(socket.IPPROTO_IP, socket.IP_ADD_MEMBERSHIP, membership)
        net.send("far", light(5568, "239.255.0.1"), light(6454))
        settled(net)
        reached = witness.reached()
    witness.close()
    return {int(port): frozenset({ACCEPT if told else DROP}) for port, told in reached.items()}


@given(st.text(max_size=200))
@settings(max_examples=100, deadline=None)
def test_any_listing_is_read(text: str) -> None:
    assert iptables(text, SACN) <= {ACCEPT, DROP}
