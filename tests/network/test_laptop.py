"""What the laptop says of itself, in types. The facts are the project's own; no outside source."""

from __future__ import annotations

import json
from ipaddress import IPv4Interface

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch.network.laptop import LaptopFacts
from netwatch.packets import machine
from netwatch.packets.around import Around

PLAIN = st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.lists(st.text())
PARTS = st.sampled_from(["name", "kind", "mac", "link", "addresses", "to", "by", "hears", "5568"])
ANY = PLAIN | st.dictionaries(PARTS, PLAIN) | st.lists(st.dictionaries(PARTS, PLAIN))
KEYS = [
    "present", "up", "link", "name", "kind", "mac", "addresses", "gateway", "speed", "duplex", "mtu", "cell", "signal_dbm",
    "limited", "master", "others", "astray", "tunnels", "reaches", "blocked", "firewall",
]  # fmt: skip


def test_facts_of_a_real_interface_fit():
    """Whatever the machine tells of its interfaces is understood."""
    for interface in machine.interfaces().values():
        told = machine.facts(interface)
        read = LaptopFacts.read(told)
        assert (read.name, read.mac, read.link) == (interface.name, interface.mac.hex(":"), interface.link)
        assert read.kind == interface.kind
        assert [str(each) for each in read.addresses] == list(interface.networks)
        assert (read.gateway or None, read.speed, read.mtu) == (told["gateway"], told["speed"], told["mtu"])


def test_what_stands_around_an_interface_fits():
    """Whatever the machine tells of its other interfaces is understood."""
    known = machine.interfaces()
    for name in known:
        told = Around().facts(known, name)
        assert json.loads(json.dumps(told)) == told
        read = LaptopFacts.read(told)
        assert [each.name for each in read.others] == [each["name"] for each in told["others"]]
        assert len(read.astray) == len(told["astray"])
        assert len(read.tunnels) == len(told["tunnels"])


def test_lists_of_a_strangers_file_are_read_up_to_a_limit():
    many = [{"name": f"card{number}"} for number in range(1000)]
    read = LaptopFacts.read({"others": many, "reaches": {str(number): False for number in range(1000)}})
    assert (len(read.others), len(read.reaches)) == (64, 64)


def test_an_interface_that_has_gone():
    assert LaptopFacts.read(machine.facts(None)).link_text == "gone"


@pytest.mark.parametrize(
    ("facts", "text"),
    [({}, ""), ({"link": False}, "down"), ({"link": True}, "up"), ({"link": True, "speed": 1e9}, "up 1000 Mbit/s")],
)
def test_link_in_words(facts, text):
    assert LaptopFacts.read(facts).link_text == text


@given(st.dictionaries(st.sampled_from(KEYS), ANY))
@settings(max_examples=200, deadline=None)
def test_any_facts_are_read(facts):
    """Facts come from files, too."""
    read = LaptopFacts.read(facts)
    assert all(isinstance(each, IPv4Interface) for each in read.addresses)
    assert isinstance(read.link_text, str)
