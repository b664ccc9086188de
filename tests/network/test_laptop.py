"""What the laptop says of itself, in types. The facts are the project's own; no outside source."""

from __future__ import annotations

import json
from ipaddress import IPv4Interface

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch import words
from netwatch.network.laptop import LaptopFacts
from netwatch.packets import machine
from netwatch.packets.around import Around
from netwatch.packets.batch import Port
from tests.stories.boxes import DESK, POND, WALK
from tests.stories.frames import announce
from tests.stories.playing import play
from tests.stories.script import every, mark, stream

PLAIN = st.none() | st.booleans() | st.integers() | st.floats() | st.text() | st.lists(st.text())
PARTS = st.sampled_from(["name", "kind", "mac", "link", "addresses", "to", "by", "hears", "5568"])
ANY = PLAIN | st.dictionaries(PARTS, PLAIN) | st.lists(st.dictionaries(PARTS, PLAIN))
KEYS = [
    "present", "up", "link", "name", "kind", "mac", "addresses", "gateway", "speed", "duplex", "mtu", "cell", "signal_dbm",
    "limited", "master", "others", "astray", "tunnels", "reaches", "blocked", "firewall", "joined",
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


NETWORKS = st.sampled_from(["10.0.0.99/24", "10.0.0.99/0", "169.254.7.9/16", "0.0.0.0/32", "255.255.255.255/8", "10.0.0.98/31"])
WAYS = st.fixed_dictionaries({"to": NETWORKS | st.sampled_from(["multicast", "0.0.0.0/0", "10.0.0.0/8"]), "by": st.just("tun0")})
LIKELY = st.fixed_dictionaries(
    {"link": st.booleans() | st.none()},
    optional={
        "present": st.booleans(), "name": st.text(max_size=5), "kind": st.sampled_from(["wifi", "tunnel", "x"]),
        "addresses": st.lists(NETWORKS), "reaches": st.dictionaries(st.sampled_from(["5568", "6454", "x"]), st.booleans()),
        "others": st.lists(st.fixed_dictionaries({"name": st.text(max_size=5), "addresses": st.lists(NETWORKS), "link": PLAIN})),
        "astray": st.lists(WAYS), "tunnels": st.lists(WAYS), "blocked": st.lists(st.integers(0, 70_000), max_size=3),
        "limited": st.booleans(), "master": st.sampled_from(["br0", ""]),
    },
)  # fmt: skip


@given(st.lists(LIKELY, min_size=1, max_size=5), st.sampled_from([None, "mirror", "ordinary", "limited"]))
@settings(max_examples=60, deadline=None)
def test_whatever_a_file_says_of_a_laptop_the_rules_stand_it(said, vantage):
    """And the words do: every alert that comes of it has a title."""
    events = [event for second in range(0, 90, 5) for event in mark(second, **said[second % len(said)])]
    events += [*stream(hz=2, stop=90, to="255.255.255.255"), *every(9, announce(DESK), announce(WALK), announce(POND), stop=90)]
    events.sort(key=lambda event: event.time)
    player = play(events, (Port("eth0", 1, (bytes(5) + b"\x99",)),), vantage=vantage)
    for alert in player.snapshot().alerts:
        assert alert.title
        assert words.seen(alert.code, alert.facts, str) is not None


def test_groups_that_were_asked_for():
    """E1.31-2018 9.3.1: universe 258 is 239.255.1.2. Whatever else stands there is passed over, and no list is too long."""
    assert LaptopFacts.read({"joined": [[7, 8], [258, 258]]}).joined == {"239.255.0.7", "239.255.0.8", "239.255.1.2"}
    odd = [[0, 1], [True, 3], [5], "ab", [9, 8], [63_999, 10**30]]
    assert LaptopFacts.read({"joined": odd}).joined == {"239.255.0.1", "239.255.249.255"}
    assert len(LaptopFacts.read({"joined": [[1, 10**9]] * 64}).joined) == 4_096
