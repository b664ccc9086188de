"""The shown words. Phrases, the limit of 20 words and the words that no title holds are the owner's; no outside source."""

from __future__ import annotations

import ipaddress
import re
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from netwatch import words
from netwatch.alerts.catalogue import RULES
from netwatch.words import phrases
from netwatch.words.base import CAUTION, filled

NS = 1_000_000_000
TYPICAL: dict[str, tuple[dict[str, Any], str]] = {
    "two-dhcp-servers": (
        {"servers": ["10.0.0.1", "192.168.1.1"], "macs": [], "same_subnet": False, "refused": True, "clients": 5},
        "Two DHCP servers seen: 10.0.0.1 and 192.168.1.1 both hand out addresses",
    ),
    "no-dhcp-answer": (
        {"who": "Mill pond node", "tries": 4, "seconds": 28.0, "clients": ["Mill pond node"]},
        "No DHCP server answers Mill pond node",
    ),
    "duplicate-address": (
        {"address": "10.0.0.5", "macs": ["02:00:00:00:00:01", "02:00:00:00:00:02"], "names": ["Orchard"], "alternations": 4},
        "Two devices use 10.0.0.5",
    ),
    "link-local-address": (
        {"who": "Lantern walk 3", "address": "169.254.7.9", "asked_dhcp": True, "share": 0.1},
        "Lantern walk 3 found no DHCP server and made up an address",
    ),
    "dhcp-pool-used-up": (
        {"clients": ["Orchard", "Boathouse"], "served": 12, "given": 40, "share": 0.95, "servers": ["10.0.0.1"]},
        "The DHCP server has no address for Orchard and Boathouse",
    ),
    "dhcp-offer-wrong": (
        {"server": "10.0.0.1", "what": "router", "address": "10.0.0.100", "mask": "255.255.255.0", "router": "10.0.1.1"},
        "10.0.0.1 gives out a gateway outside its own network",
    ),
    "lease-server-silent": (
        {"server": "10.0.0.1", "clients": ["Mill pond node"], "tries": 2, "address": "10.0.0.101", "falls_silent_at": 90 * NS},
        "DHCP server 10.0.0.1 is silent: Mill pond node is about to lose its address",
    ),
    "address-moved": (
        {"who": "Orchard", "old": "10.0.0.23", "address": "10.0.0.123", "wanted_by": ["Gatehouse desk"], "planned": None},
        "Orchard moved from 10.0.0.23 to 10.0.0.123",
    ),
    "address-declined": (
        {"address": "10.0.0.40", "server": "10.0.0.1", "times": 1, "loops": 1, "clients": ["Orchard"], "holder": "Lantern walk"},
        "10.0.0.40 was given out, but another device has it already",
    ),
    "fixed-address-in-pool": (
        {"address": "10.0.0.40", "who": "Boathouse", "first": "10.0.0.30", "last": "10.0.0.99", "seconds": 90_000.0},
        "Boathouse uses 10.0.0.40, which the DHCP server may give to others",
    ),
    "wrong-subnet": (
        {"who": "Orchard", "address": "2.0.0.23", "subnet": "10.0.0.0/8", "others": 12, "artnet": True, "by_plan": False},
        "Orchard (2.0.0.23) is in another network than the other boxes",
    ),
    "wrong-mask": (
        {
            "who": "Orchard", "address": "10.0.0.23", "prefix": 8, "broadcast": "10.255.255.255", "right": "10.0.0.0/24",
            "other": "Gatehouse desk",
        },
        "Orchard seems to have another mask than Gatehouse desk",
    ),
    "invalid-address": (
        {"who": "Boathouse", "address": "10.0.0.255", "what": "broadcast", "subnet": "10.0.0.0/24", "how": "dhcp"},
        "Boathouse uses 10.0.0.255, which no device can have",
    ),
    "no-querier": (
        {"seconds": 260.0, "prunes": None, "universes": [7], "goes_dark_at": 1_795_627_331 * NS},
        "Nobody keeps multicast alive here: universe 7 may go dark",
    ),
    "multicast-dropped": (
        {"universes": [7], "after_s": 90.0, "group": "239.255.0.7", "back": False},
        "Multicast dropped after 90 s: the switch stopped passing universe 7 to this laptop",
    ),
    "querier-lost": (
        {
            "address": "10.0.0.254", "who": "core switch", "interval": 125.0, "seconds": 250.0, "last": 1_795_627_331 * NS,
            "prunes": True, "universes": [7, 8], "goes_dark_at": 1_795_627_591 * NS, "goes_dark_by": 1_795_627_601 * NS,
            "dropped": [7], "taken_over_by": None, "covers": ["rig"],
        },
        "core switch has stopped keeping multicast alive: light may go dark within minutes",
    ),
    "two-queriers": (
        {
            "kind": "two", "queriers": ["10.0.0.1", "10.0.0.254"], "versions": [2, 3], "intervals": [125.0, 60.0],
            "same_subnet": False,
        },
        "10.0.0.1 and 10.0.0.254 both keep multicast alive, but only one should",
    ),
    "multicast-flooded": (
        {"universes": list(range(1, 46)), "mbit": 11.2, "link": "up 1000 Mbit/s", "table_full": True},
        "This switch passes all light on to every port: 45 unasked universes arrive",
    ),
    "deaf-receiver": (
        {"who": "Mill pond node", "universes": [7], "questions": 2, "goes_dark_at": 1_795_627_331 * NS},
        "Mill pond node does not answer when asked who listens: universe 7 will drop",
    ),
    "fast-leave": (
        {"universes": [7], "who": "this laptop", "ours": True, "others": ["Mill pond node"], "covers": ["rig"], "back": True},
        "When this laptop left, the switch cut off universe 7 for its neighbours",
    ),
    "own-join-darkened": (
        {"universes": [7], "joined": True, "asked": [8], "groups": ["239.255.0.8"], "healed": True, "covers": ["rig"]},
        "This laptop may have darkened universe 7: it stopped when the laptop joined",
    ),
    "universe-silent": (
        {"universe": 12, "protocol": "e131", "last": 1_795_627_331 * NS, "sources": ["Gatehouse desk"]},
        "Nothing of universe 12 reaches this laptop any more: controller or network is not known yet",
    ),
    "sources-fighting": (
        {"universe": 12, "protocol": "e131", "a": "Gatehouse desk", "b": "Orchard", "channels": 37, "priority": 100},
        "Gatehouse desk and Orchard fight over universe 12: 37 channels differ",
    ),
    "rig-switched-off": (
        {
            "who": ["Gatehouse desk", "Orchard"], "boxes": 3, "universes": [1, 2], "artnet": [], "seconds": 70.0, "flows": 4,
            "properly": 1,
        },
        "Rig switched off: 3 controllers within 70 s",
    ),
    "source-lost": (
        {"who": "Gatehouse desk", "universes": list(range(1, 25)), "protocol": "e131", "others_alive": True},
        "Gatehouse desk went silent: universes 1-24",
    ),
    "source-ended": (
        {"who": "Boathouse", "universes": [*range(1, 25), 30], "protocol": "e131"},
        "Boathouse signed off properly: universes 1-24, 30",
    ),
    "packets-lost": (
        {"universe": 7, "protocol": "e131", "who": "Orchard", "share": 0.012, "lost": 32, "packets": 2640, "all_senders": False},
        "1.2 % of universe 7 gets lost on the way here",
    ),
    "artnet-broadcast-load": (
        {"mbit": 9.2, "pps": 1800.0, "senders": ["10.0.0.33"], "universes": [21]},
        "Art-Net goes to every box: 9 Mbit/s",
    ),
    "artnet-off-by-one": (
        {"who": "Mill pond node", "way": "one less", "sent": [1, 2], "wanted": [0, 1]},
        "Mill pond node listens one lower than what is sent by Art-Net",
    ),
    "artnet-number-mixed-up": (
        {"who": "Mill pond node", "way": "low four bits", "sent": [16], "wanted": [0]},
        "Mill pond node listens to 0.0.0 (0), but Art-Net 0.1.0 (16) is sent",
    ),
    "poll-unanswered": (
        {"who": "Mill pond node", "address": "10.0.0.22", "asked_by": "10.0.0.5", "polls": 4, "ours": False, "seconds": 12.4},
        "Mill pond node answers Art-Net polls no more, though its box is alive",
    ),
    "reply-address-wrong": (
        {"who": "Orchard", "address": "10.0.0.23", "told": "2.11.4.9", "replies": 3},
        "Orchard tells Art-Net controllers 2.11.4.9, but is at 10.0.0.23",
    ),
    "same-node-name": (
        {"names": ["node", "gateway"], "boxes": 5, "addresses": ["10.0.0.22", "10.0.0.23"]},
        "5 Art-Net nodes share names: node and gateway",
    ),
    "controllers-merging": (
        {
            "universe": 21, "protocol": "artnet", "a": "Gatehouse desk", "b": "Orchard", "also": ["Gatehouse desk", "Orchard"],
            "sources": 2, "channels": 37, "agree": None, "nodes": [],
        },
        "Gatehouse desk and Orchard both send Art-Net universe 0.1.5 (21): 37 channels differ",
    ),
    "sequence-stuck": (
        {"who": "Boathouse", "address": "10.0.0.24", "protocol": "artnet", "number": 5, "universes": [21], "packets": 400},
        "Boathouse marks all its packets with number 5",
    ),
    "artnet-sync-trouble": (
        {"what": "two", "senders": ["Gatehouse desk", "Orchard"], "who": None, "seconds": None},
        "Gatehouse desk and Orchard both tell Art-Net nodes when to show their light",
    ),
    "both-protocols-one-universe": (
        {"who": "Mill pond node", "sacn": 1, "artnet": 0, "universes": [1], "protocol": "e131", "differ": True, "senders": []},
        "Mill pond node gets sACN universe 1 by Art-Net too, and they differ",
    ),
    "protocols-off-by-one": (
        {
            "sacn": 1, "artnet": 1, "offset": 0, "universes": [1, 2], "protocol": "e131", "share": 1.0, "second": 0.0,
            "senders": [],
        },
        "Art-Net 0.0.1 (1) carries what sACN universe 1 carries",
    ),
    "controller-left": (
        {
            "who": "Gatehouse desk", "universes": [1], "protocol": "e131", "seconds": 30.0, "back_as": None,
            "covers": ["universe:1"],
        },
        "Gatehouse desk left the network: universe 1",
    ),
    "universe-shared": (
        {"universe": 7, "protocol": "e131", "also": ["Gatehouse desk", "Wall panel"], "sources": 2, "priority": 100},
        "Gatehouse desk and Wall panel share universe 7",
    ),
    "backup-took-over": (
        {
            "who": "Gatehouse desk", "backup": "Gatehouse backup", "universes": [1, 2, 3], "protocol": "e131", "ended": False,
            "changes": 3, "priority": 90, "main_priority": 100,
        },
        "Gatehouse backup took over universes 1-3 from Gatehouse desk",
    ),
    "preview-only": (
        {"who": "Gatehouse desk", "universes": [3, 4], "protocol": "e131"},
        "Gatehouse desk sends universes 3-4 as preview only: fixtures ignore it",
    ),
    "universe-out-of-range": (
        {"who": "Orchard", "universes": [0], "protocol": "e131"},
        "Orchard sends universe 0, which sACN does not have: it begins at 1",
    ),
    "wrong-multicast-group": (
        {
            "who": "Orchard", "universes": [256], "protocol": "e131", "group": "239.255.0.1", "right": "239.255.1.0",
            "how": "swapped",
        },
        "Orchard sends universe 256 to a wrong group: receivers won't get it",
    ),
    "slot-priority-mixed": (
        {"who": "Gatehouse desk", "universes": [1, 2], "protocol": "e131", "mixed": [2], "others": ["Wall panel"]},
        "Gatehouse desk sends a priority for each channel, others on universe 2 do not",
    ),
    "cid-cloned": (
        {
            "who": "Gatehouse desk", "also": ["Gatehouse desk"], "universes": [1], "protocol": "e131",
            "addresses": ["10.0.0.10", "10.0.0.11"], "machines": 2, "zero": False, "two_networks": False,
        },
        "Two machines pose as one sender, Gatehouse desk: universe 1",
    ),
    "discovery-mismatch": (
        {"who": "Gatehouse desk", "universes": [2], "protocol": "e131", "unlisted": [2], "empty": [7, 8]},
        "Gatehouse desk sends universe 2 without listing it",
    ),
    "packets-out-of-order": (
        {"who": "Orchard", "universes": [7], "protocol": "e131", "share": 0.012, "late": 32, "packets": 2640},
        "Packets of universe 7 overtake each other: 1.2 %",
    ),
    "packets-repeated": (
        {"who": "Orchard", "universes": [7], "protocol": "e131", "share": 0.25, "repeated": 700, "packets": 2640, "stuck": False},
        "Packets of universe 7 come more than once: 25 %",
    ),
    "rate-too-high": (
        {"who": "Orchard", "universes": [7], "protocol": "e131", "hz": 60.1, "slots": 512, "most_hz": 44.1},
        "Orchard sends universe 7 too fast: 60 times a second",
    ),
    "rate-too-low": (
        {"who": "Orchard", "universes": [7], "protocol": "e131", "gap_s": 2.2, "moving": False},
        "Orchard repeats universe 7 too rarely: every 2.2 s",
    ),
    "malformed-frames": (
        {"who": "Orchard", "universes": [7], "protocol": "e131", "faults": ["lengths"], "frames": 40, "pixels": False},
        "Orchard sends frames that break the standard: lengths that don't agree",
    ),
    "sync-lost": (
        {"what": "lost", "sync": 9, "universes": [3, 4], "protocol": "e131", "holds": True, "masters": ["Gatehouse desk"]},
        "Receivers of universes 3-4 wait for a beat that no longer comes",
    ),
    "loop": (
        {"pps": 160_000, "frames": 40, "ours": True, "senders": ["Gatehouse desk", "Orchard"]},
        "A loop: the same packets go round and round: 160,000 copies a second",
    ),
    "storm": (
        {"who": "Orchard", "mac": "02:00:00:00:00:17", "maker": "", "pps": 12_000, "light": False},
        "Orchard sends 12,000 packets a second to everybody",
    ),
    "bottleneck": (
        {
            "interface": "eth0", "link_mbit": 100.0, "mbit": 93.2, "share": 0.932, "everybody_mbit": 90.0, "half": False,
            "mirror": False,
        },
        "The link of eth0 is 93 % full: 93 Mbit/s of 100 Mbit/s",
    ),
    "link-flapping": (
        {
            "who": "Orchard", "mac": "02:00:00:00:00:17", "what": "box", "times": 4, "seconds": 720.0, "universes": [7],
            "interface": "eth0", "saves_power": True,
        },
        "Orchard loses its link or starts anew: 4 times in 12 min",
    ),
    "spanning-tree-wait": (
        {"interface": "eth0", "seconds": 30.4, "bpdus": 15},
        "The switch let nobody through for 30 s after the link came up",
    ),
    "trunk-port": (
        {"interface": "eth0", "vlans": [10, 20], "mirror": False, "vlan": None, "planned": None},
        "eth0 gets several VLANs at once: 10, 20",
    ),
    "jitter": (
        {"who": "Orchard", "universes": [7], "protocol": "e131", "ms": 34.6, "hz": 40.2},
        "Packets of universe 7 come unevenly: up to 35 ms early or late",
    ),
    "wifi-clumping": (
        {"interface": "wlan0", "beacons": 1, "share": 0.02, "universes": [1, 2], "protocol": "e131"},
        "On Wi-Fi light comes in clumps, 102 ms apart",
    ),
    "wifi-isolated": (
        {"interface": "wlan0", "cell": "02:00:00:00:00:a1", "asked": 3},
        "This Wi-Fi keeps its boxes apart: the laptop reaches none of them",
    ),
    "wifi-roamed": (
        {"interface": "wlan0", "before": "02:00:00:00:00:a1", "cell": "02:00:00:00:00:a2", "seconds": 0.42, "times": 2},
        "wlan0 went to another access point, 2 times: light paused for 0.4 s",
    ),
    "capture-dropping": (
        {"interface": "eth0", "dropped": 1234, "seconds": 3.0},
        "The recording missed 1,234 packets on eth0: do not trust losses shown here",
    ),
}
TYPICAL |= {
    "two-interfaces-one-network": (
        {"interface": "eth0", "kind": "wired", "other": "wlan0", "other_kind": "wifi", "network": "10.0.0.0/16", "boxes": None},
        "This laptop has two interfaces in one network: eth0 and wlan0",
    ),
    "nothing-heard-here": (
        {"interface": "eth0", "kind": "wired", "what": "silent", "seconds": 30.0, "elsewhere": ["wlan0"]},
        "Nothing is heard on eth0, but packets arrive on wlan0",
    ),
    "firewall-in-the-way": (
        {"interface": "eth0", "ports": [5568, 6454], "packets": 400, "seconds": 5.0, "firewall": None},
        "A firewall on this laptop keeps sACN and Art-Net from its programs",
    ),
    "tunnel-in-the-way": (
        {
            "interface": "eth0", "tunnel": "tun0", "kind": "tunnel", "networks": ["10.0.0.0/16"], "multicast": True,
            "boxes": ["A", "B"],
        },
        "tun0 (a tunnel) on this laptop takes 10.0.0.0/16 away from the rig",
    ),
    "laptop-address": (
        {
            "interface": "eth0", "what": "elsewhere", "address": "10.1.0.5/24", "boxes": 12, "outside": 12, "server": "10.0.0.1",
            "proposed": "10.0.0.250/16", "limited": True, "asked": False,
        },
        "This laptop (10.1.0.5/24) is in another network than the boxes that it hears",
    ),
}
NOT_IN_TITLES = re.compile(r"querier|snooping|\bcid\b|port-address|option \d", re.IGNORECASE)
CODES = sorted(words.WORDS)


def typical(code: str) -> dict[str, Any]:
    """Facts as the rule gives them, where the table above has some."""
    return TYPICAL[code][0] if code in TYPICAL else {}


def clock(ns: int) -> str:
    return f"second {ns // NS}"


def all_text(code: str, facts: dict[str, Any]) -> list[str]:
    said = words.of(code)
    steps = [part for step in words.steps(code, facts) for part in step]
    seen = words.seen(code, facts, clock)
    return [words.title(code, facts), said.why, said.how, said.where, *said.mistaken, *said.sure.values(), *steps, *seen]


def test_every_rule_has_words():
    assert sorted(RULES) == sorted(set(RULES) & set(CODES))


@pytest.mark.parametrize("code", sorted(TYPICAL))
def test_title_for_typical_facts(code):
    assert words.title(code, TYPICAL[code][0]) == TYPICAL[code][1]


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("missing", ["all", "none", "empty"])
def test_title_without_facts(code, missing):
    known = typical(code)
    facts = {"all": {}, "none": dict.fromkeys(known), "empty": {k: [] for k, v in known.items() if isinstance(v, list)}}[missing]
    title = words.title(code, facts)
    assert 3 < len(title.split()) < 20
    assert "None" not in " ".join(all_text(code, facts))
    assert title == title.strip()
    assert not title.endswith(".")


@pytest.mark.parametrize("code", CODES)
@pytest.mark.parametrize("facts", ["typical", "empty"])
def test_nothing_shown_breaks_a_terminal_or_holds_a_bare_placeholder(code, facts):
    for text in all_text(code, typical(code) if facts == "typical" else {}):
        assert text
        assert text.isprintable()
        assert "{" not in text
        assert "  " not in text


@pytest.mark.parametrize("code", CODES)
def test_titles_use_plain_words(code):
    for facts in (typical(code), {}):
        assert not NOT_IN_TITLES.search(words.title(code, facts))


@pytest.mark.parametrize("code", CODES)
def test_steps_begin_gently_and_carry_the_caution(code):
    steps = words.of(code).steps
    assert steps[0][1] == words.NOTHING
    for text, disturbs in steps:
        assert disturbs
        if re.search(r"\brestart (?!any)", text.lower()) or "cable to" in text:
            assert CAUTION in disturbs, text


@pytest.mark.parametrize("code", CODES)
def test_every_certainty_is_explained(code):
    assert list(words.of(code).sure) == list(words.CERTAINTY)


def test_step_names_the_universe_and_survives_braces_in_a_name():
    steps = words.steps("multicast-dropped", {"universes": [7], "after_s": 13.0})
    assert f"universe 7 goes dark for about 10 s; {CAUTION}" in [disturbs for _, disturbs in steps]
    assert filled(("restart {who}", ""), {"who": "{address} {0}"})[0] == "restart {address} {0}"


NAMES = st.text(max_size=80) | st.none()
FACTS = st.fixed_dictionaries(
    {},
    optional={
        "servers": st.lists(NAMES, max_size=5),
        "macs": st.lists(NAMES, max_size=5),
        "clients": st.none(),
        "who": NAMES,
        "a": NAMES,
        "b": NAMES,
        "also": st.lists(NAMES, max_size=5),
        "address": NAMES,
        "interface": NAMES,
        "group": NAMES,
        "universe": st.integers(0, 63999) | st.none(),
        "universes": st.lists(st.integers(0, 63999), max_size=40) | st.none(),
        "protocol": st.sampled_from(["e131", "artnet", None]),
        "channels": st.integers(0, 512) | st.none(),
        "share": st.floats(0, 1) | st.none(),
        "mbit": st.floats(0, 1e5) | st.none(),
        "after_s": st.floats(0, 1e6) | st.none(),
        "prunes": st.sampled_from([True, False, None]),
        "all_senders": st.sampled_from([True, False, None]),
        "asked_dhcp": st.sampled_from([True, False, None]),
    },
)


@given(code=st.sampled_from(CODES), facts=FACTS)
@settings(max_examples=200, deadline=None)
def test_any_facts_give_a_short_printable_title(code, facts):
    facts = {key: value for key, value in facts.items() if key in typical(code)}  # those that its rule gives
    title = words.title(code, facts)
    assert "\n" not in title
    assert phrases.plain(title) == title
    assert len(title.split()) < 20, title
    assert all(phrases.plain(text) == text for text in all_text(code, facts))


@pytest.mark.parametrize("code", CODES)
def test_what_stands_for_many_more(code):
    facts = {"more": 1234, "covers": ["universe:1"]}
    assert words.title(code, facts) == f"And 1,234 more: {words.title(code, {})}"
    assert len(words.title(code, facts).split()) < 20
    assert "1,234 more" in words.seen(code, facts, clock)[0]


def test_clients_are_named_together():
    assert words.title("no-dhcp-answer", {"who": "A", "clients": ["A", "B", "C", "D", "E"]}) == (
        "No DHCP server answers A, B, C and 2 more"
    )


def test_more_than_two():
    assert words.title("two-dhcp-servers", {"servers": ["A", "B", "C"]}).startswith("3 DHCP servers seen: A, B and C all")
    assert words.title("duplicate-address", {"address": "10.0.0.5", "macs": ["a", "b", "c"]}) == "3 devices use 10.0.0.5"
    fight = words.title("sources-fighting", {"universe": 3, "a": "A", "b": "B", "also": ["C"], "channels": 1})
    assert fight == "A, B and 1 more fight over universe 3: 1 channel differs"


def test_sharing_without_a_difference_is_no_fight():
    facts = {"universe": 3, "protocol": "e131", "a": "A", "b": "B", "channels": 0}
    assert words.title("sources-fighting", facts) == "A and B both send universe 3"


def test_switch_that_passes_everything_gets_no_threat():
    title = words.title("no-querier", {"prunes": False, "universes": [7]})
    assert "nothing will drop" in title
    assert not any("dark at" in s for s in words.seen("no-querier", {"prunes": False, "goes_dark_at": 5}, clock))


def test_moment_of_going_dark_is_shown_by_the_readers_clock():
    seen = words.seen("no-querier", {"prunes": True, "universes": [7], "goes_dark_at": 90 * NS, "seconds": 260.0}, clock)
    assert "Universe 7 goes dark at about second 90." in seen


def test_code_of_a_newer_version():
    assert words.title("lamp-too-hot", {}) == "Lamp too hot"
    assert words.steps("lamp-too-hot", {})


def test_marks_differ():
    assert [(key, shown.mark) for key, shown in words.SEVERITY.items()] == [
        ("now", "!!"),
        ("soon", "!"),
        ("quality", "~"),
        ("tidy", "-"),
        ("note", "."),
    ]
    assert set(words.VANTAGE) == {"mirror", "ordinary", "wifi", "limited", "unknown"}
    assert set(words.CHECK) == {"FINE", "WRONG", "NOT YET", "NOT FROM HERE", "NOT USED HERE"}


# ---- phrases ----


@pytest.mark.parametrize("prefix", range(33))
def test_mask_agrees_with_the_standard_library(prefix):
    assert phrases.mask(prefix) == f"{ipaddress.ip_network((0, prefix)).netmask} (/{prefix})"


def test_address_with_mask():
    assert phrases.with_mask("10.0.0.5/24") == "10.0.0.5, mask 255.255.255.0 (/24)"
    assert phrases.with_mask("10.0.0.5") == "10.0.0.5"
    assert phrases.with_mask("fe80::1/64") == "fe80::1/64"


@pytest.mark.parametrize(("flat", "shown"), [(0, "0.0.0"), (21, "0.1.5"), (255, "0.15.15"), (256, "1.0.0"), (32767, "127.15.15")])
def test_three_numbers(flat, shown):
    """Art-Net 4 (1.4di), Port-Address: bits 14-8 Net, 7-4 Sub-Net, 3-0 Universe."""
    assert phrases.three_numbers(flat) == shown


def test_universes():
    assert phrases.universes([21], "artnet") == "Art-Net universe 0.1.5 (21)"
    assert phrases.universes(range(24), "artnet") == "Art-Net universes 0.0.0-0.1.7 (0-23)"
    assert phrases.universes([30, *range(1, 25)], "e131") == "universes 1-24, 30"
    assert phrases.universes([], "e131") == ""


@given(st.sets(st.integers(0, 70), max_size=40))
@settings(max_examples=200, deadline=None)
def test_ranges_hold_every_value(values):
    text = phrases.ranges(values, most=100)
    back: set[int] = set()
    for part in filter(None, text.split(", ")):
        first, _, last = part.partition("-")
        back |= set(range(int(first), int(last or first) + 1))
    assert back == values


def test_long_lists_are_cut():
    assert phrases.ranges([1, 3, 5, 7, 9, 10, 11], most=3) == "1, 3, 5 and 4 more"
    assert phrases.listing(["A"] * 15) == "A, A, A and 12 more"
    assert phrases.listing([]) == ""


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        (0.4, "0.4 s"),
        (2.0, "2 s"),
        (9.96, "10 s"),
        (90.0, "90 s"),
        (262, "262 s"),
        (720, "12 min"),
        (3660, "61 min"),
        (7500, "2.1 h"),
        (36000, "10 h"),
    ],
)
def test_seconds(value, shown):
    assert phrases.seconds(value) == shown


@pytest.mark.parametrize(
    ("value", "shown"), [(0, "0 %"), (0.0002, "under 0.1 %"), (0.012, "1.2 %"), (0.0996, "10 %"), (0.25, "25 %"), (1, "100 %")]
)
def test_share(value, shown):
    assert phrases.share(value) == shown


@pytest.mark.parametrize(
    ("value", "shown"), [(9.2, "9 Mbit/s"), (0.42, "0.4 Mbit/s"), (0.01, "under 0.1 Mbit/s"), (1200, "1,200 Mbit/s")]
)
def test_mbit(value, shown):
    assert phrases.mbit(value) == shown


def test_hostile_name():
    assert phrases.name("\x1b[31mdesk\r\n\u202eevil\u2028", "") == "?[31mdesk ?evil"
    assert phrases.name("x" * 300, "") == "x" * 32 + "..."
    assert phrases.name("one two three four five six", "") == "one two three four..."
    assert phrases.name(" \t", "A device") == "A device"
    assert phrases.name(None, "A device") == "A device"


VARIANTS = {
    "wifi-clumping": [{"beacons": None, "share": 0.07, "universes": list(range(1, 40, 2))}],
    "wifi-isolated": [{"asked": None, "cell": "02:00:00:00:00:a1"}],
    "capture-dropping": [{"dropped": None, "moments": 4, "senders": 3, "interface": "eth0"}],
    "bottleneck": [{"interface": "eth0", "link_mbit": 100.0, "mbit": None}, {"link_mbit": 1000.0, "half": True, "mbit": None}],
    "link-flapping": [
        {"what": "own", "interface": "eth0", "times": 3, "saves_power": True},
        {"what": "tree", "times": 5, "seconds": 9.0},
    ],
    "trunk-port": [{"vlan": 20, "planned": [10, 11, 12, 13], "vlans": []}, {"vlans": list(range(1, 60, 2)), "mirror": True}],
    "two-interfaces-one-network": [{"interface": "eth0", "other": "eth1", "boxes": 5}],
    "nothing-heard-here": [{"interface": "wlan0", "kind": "wifi", "what": "no-link"}]
    + [{"interface": "eth0", "what": what, "seconds": 4.0} for what in ("gone", "no-link", "silent")],
    "firewall-in-the-way": [{"ports": [5568], "firewall": "nftables"}, {"ports": [9]}],
    "tunnel-in-the-way": [{"tunnel": "tun0", "multicast": True}, {"tunnel": "vm0", "kind": "virtual", "boxes": ["A (10.9.0.1)"]}],
    "laptop-address": [{"what": "none", "interface": "eth0"}, {"what": "made-up", "interface": "eth0", "address": "169.254.7.9"}],
    "universe-shared": [{"sources": 3, "universe": 1}],
    "slot-priority-mixed": [{"mixed": [], "universes": [1]}],
    "cid-cloned": [{"two_networks": True}, {"zero": True, "machines": 1}, {"zero": True, "machines": 2}],
    "discovery-mismatch": [{"unlisted": [], "empty": list(range(1, 40, 2))}, {"unlisted": list(range(1, 40, 2))}],
    "packets-repeated": [{"doubled": True}, {"stuck": True, "universes": list(range(1, 40, 2))}],
    "rate-too-low": [{"moving": True, "hz": 8.2}],
    "malformed-frames": [{"pixels": True, "universes": [1, 2]}, {"faults": ["new-fault"], "frames": 3}],
    "sync-lost": [{"what": "two", "masters": ["A", "B"]}, {"what": "never"}, {"what": "lost", "holds": False}],
    "wrong-multicast-group": [{"how": "one"}, {"how": None}],
    "universe-out-of-range": [{"universes": [64000]}],
    "packets-lost": [{"bursts": 3, "share": 0.004}],
}


@pytest.mark.parametrize(("code", "facts"), [(code, facts) for code, several in VARIANTS.items() for facts in several])
def test_what_a_rule_may_say_instead(code: str, facts: dict[str, Any]):
    title = words.title(code, {"who": "Gatehouse desk of the trail", **facts})
    assert 3 < len(title.split()) < 20
    assert not NOT_IN_TITLES.search(title)
    for text in all_text(code, facts):
        assert text.strip()
        assert "None" not in text
        assert "{" not in text


RESTARTS = re.compile(r"\b(restart|power-cycle|reboot|mask|firmware)\b", re.IGNORECASE)
LOOKS = re.compile(r"^(Ask|Look|Compare|Check|Do not|Watch|Find|Was|Is|Wait|Note|Decide|Keep|Bring)\b", re.IGNORECASE)


@pytest.mark.parametrize("code", CODES)
def test_in_a_show_something_gentle_comes_first(code):
    steps = words.of(code).steps
    assert not words.waits(steps[0])
    shown = words.in_order(words.steps(code, {}), "show")
    assert [words.waits(step) for step in shown] == sorted(words.waits(step) for step in steps)
    assert sorted(shown) == sorted(words.steps(code, {}))
    assert words.in_order(words.steps(code, {}), "building") == words.steps(code, {})


@pytest.mark.parametrize("code", CODES)
def test_what_restarts_or_changes_a_mask_waits_until_after_the_show(code):
    """Looking and asking do not wait."""
    for step in words.of(code).steps:
        if RESTARTS.search(step[0]) and not LOOKS.search(step[0]):
            assert words.waits(step), step[0]
