"""This laptop's own faults: two interfaces in one network, nothing heard, a firewall, a tunnel. And what is none.

Facts are those of a mark; packets by RFC 826, E1.31-2018 and Art-Net 4. Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import Any

from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, WALK
from tests.stories.frames import announce, ethernet, query, report
from tests.stories.playing import Event
from tests.stories.script import artnet, at, every, expect, expect_silent, listening, mark, quiet, story, stream

CARD = {"present": True, "up": True, "link": True, "name": "eth0", "kind": "wired", "mac": LAPTOP.mac,
        "addresses": ["10.0.0.99/24"]}  # fmt: skip
AIR = {"name": "wlan0", "kind": "wifi", "mac": "02:00:00:00:00:aa", "link": True, "addresses": ["10.0.0.98/24"]}
RIG = (announce(DESK), announce(WALK), announce(POND), announce(ORCHARD))


def told(start: float, stop: float, port: int = 0, **facts: Any) -> list[Event]:
    """A mark each second."""
    return [event for second in range(int(stop - start) + 1) for event in mark(start + second, port=port, **{**CARD, **facts})]


def boxes(stop: float, port: int = 0) -> list[Event]:
    return every(5, *RIG, stop=stop, port=port)


# ---- two-interfaces-one-network ----


def test_cable_and_wifi_in_one_network() -> None:
    story(
        listening(), told(0, 25, others=[AIR]), boxes(25),
        expect("two-interfaces-one-network", subject="port:eth0", severity="soon", certainty="certain", about_laptop=True,
               opened=(10, 21), closed=None, facts={"other": "wlan0", "network": "10.0.0.0/24"}),
    )  # fmt: skip


def test_masks_of_different_length_overlap_too() -> None:
    """10.0.0.99/24 lies in 10.0.0.0/8 (RFC 4632: the longer prefix is part of the shorter)."""
    story(listening(), told(0, 25, others=[AIR | {"addresses": ["10.200.3.4/8"]}]), boxes(25),
          expect("two-interfaces-one-network", severity="soon"))  # fmt: skip


def test_it_is_over_once_the_wifi_is_off() -> None:
    story(listening(), told(0, 25, others=[AIR]), told(26, 60, others=[]), boxes(60),
          expect("two-interfaces-one-network", closed=(25, 32)))  # fmt: skip


def test_two_networks_on_purpose_a_card_with_two_addresses_and_a_card_without_link() -> None:
    for other in (
        AIR | {"addresses": ["192.168.1.7/24"]},
        AIR | {"addresses": ["10.0.0.98/32"]},  # the end of a tunnel: one address, no network
        AIR | {"link": False},
    ):
        story(listening(), told(0, 25, others=[other]), boxes(25), expect_silent("two-interfaces-one-network"))
    story(listening(), told(0, 25, addresses=["10.0.0.99/24", "10.0.0.100/24"]), boxes(25),
          expect_silent("two-interfaces-one-network"))  # fmt: skip


def test_bridged_or_teamed_cards_of_the_laptop_are_one() -> None:
    for mine, other in (
        ({"master": "br0"}, AIR | {"name": "br0", "kind": "virtual"}),
        ({"master": "team0"}, AIR | {"master": "team0"}),
        ({}, AIR | {"mac": LAPTOP.mac}),  # a bridge has the MAC of its first card
    ):
        story(listening(), told(0, 25, others=[other], **mine), boxes(25), expect_silent("two-interfaces-one-network"))


def test_the_same_boxes_on_both_interfaces() -> None:
    """Neither has an address; both listen in one network."""
    plain = {"addresses": []}
    both = (told(0, 25, **plain), told(0, 25, port=1, **{**plain, "name": "eth1", "mac": "02:00:00:00:00:ab"}))
    story(
        listening(ports=2), *both, boxes(25), boxes(25, port=1),
        expect("two-interfaces-one-network", subject="port:eth0", facts={"other": "eth1", "network": None, "boxes": 4}),
    )  # fmt: skip
    others = every(5, announce(BACKUP), announce(BOATHOUSE), announce(SERVER), announce(DESK), stop=25, port=1)
    story(listening(ports=2), *both, boxes(25), others, expect_silent("two-interfaces-one-network"))


def test_a_mirror_port_beside_an_ordinary_one_hears_the_same_by_its_nature() -> None:
    both = (told(0, 25, addresses=[]), told(0, 25, port=1, addresses=[], name="eth1", mac="02:00:00:00:00:ab"))
    story(listening("mirror", ports=2), *both, boxes(25), boxes(25, port=1), expect_silent("two-interfaces-one-network"))


# ---- nothing-heard-here ----


def test_no_cable() -> None:
    story(
        listening(), told(0, 10, link=False), told(11, 30), boxes(30)[20:],
        expect("nothing-heard-here", severity="soon", opened=(2, 2.5), closed=(10.5, 11.5), facts={"what": "no-link"}),
    )  # fmt: skip


def test_the_first_two_checks_say_so() -> None:
    told_of = story(listening(), told(0, 10, link=False), expect("nothing-heard-here"))
    assert [(check.name, check.state) for check in told_of.checks[:2]] == [
        ("This laptop can be trusted", "WRONG"), ("The rig is heard", "WRONG"),
    ]  # fmt: skip
    sound = story(listening(), told(0, 10), boxes(10), expect_silent("nothing-heard-here"))
    assert [check.state for check in sound.checks[:2]] == ["FINE", "FINE"]


def test_a_pulled_cable_explains_what_is_missed() -> None:
    """The desk goes silent for us at that moment: that is no fault of the desk."""
    lit = stream(hz=40, stop=12, to="255.255.255.255")
    story(
        listening("mirror"), told(0, 11), told(12, 40, link=False), lit, boxes(12),
        expect("nothing-heard-here", severity="soon", closed=None, opened=(14, 14.5)),
        expect("source-lost", over="nothing-heard-here"),
    )  # fmt: skip


def test_an_adapter_that_is_pulled_out() -> None:
    gone = [event for second in range(10, 20) for event in mark(second, present=False, up=False, link=False)]
    story(listening(), told(0, 9), boxes(9), gone, expect("nothing-heard-here", facts={"what": "gone"}, opened=(12, 12.5)))


def test_the_wrong_socket() -> None:
    story(
        listening(), told(0, 45, others=[AIR | {"addresses": [], "hears": True}]),
        expect("nothing-heard-here", severity="soon", opened=(30, 31), facts={"what": "silent", "elsewhere": ["wlan0"]}),
    )  # fmt: skip


def test_a_rig_that_is_still_off_is_said_more_mildly() -> None:
    story(listening(), told(0, 45), boxes(100)[200:], at(44, announce(LAPTOP), direction=2),
          expect("nothing-heard-here", severity="quality", facts={"what": "silent", "elsewhere": []}))  # fmt: skip


def test_any_frame_of_another_box_will_do() -> None:
    """A spanning-tree frame (IEEE 802.1D 7.12.3: to 01:80:C2:00:00:00) although a switch holds all light back."""
    bpdu = ethernet("02:00:00:00:00:fe", "01:80:c2:00:00:00", 38, bytes.fromhex("424203") + bytes(35))
    story(listening(), told(0, 60), every(2, bpdu, start=1, stop=60), expect_silent("nothing-heard-here"))


def test_a_plug_that_bounces_and_a_capture_that_says_nothing_of_a_laptop() -> None:
    bounce = (told(0, 9), mark(10, **{**CARD, "link": False}), told(11, 40))
    story(listening(), *bounce, boxes(40), expect_silent("nothing-heard-here"))
    story(listening(), at(1, announce(LAPTOP), direction=2), quiet(60), expect_silent("nothing-heard-here"))


# ---- firewall-in-the-way ----


def broadcast(stop: float = 20, **how: Any) -> list[Event]:
    return artnet(hz=10, stop=stop, to="10.0.0.255", **how)


def test_broadcast_that_no_program_gets() -> None:
    story(
        listening(), told(0, 20, reaches={"6454": False}), broadcast(), boxes(20),
        expect("firewall-in-the-way", severity="soon", certainty="certain", opened=(5, 7), facts={"ports": [6454]}),
    )  # fmt: skip


def test_a_group_that_this_laptop_asked_for() -> None:
    asked = at(0.5, query(), report(LAPTOP, "239.255.0.1"))
    story(
        listening(), told(0, 20, reaches={"5568": False, "6454": False}), asked, stream(hz=40, start=1, stop=20), boxes(20),
        expect("firewall-in-the-way", facts={"ports": [5568]}, opened=(5, 8)),
    )  # fmt: skip


def test_a_group_that_a_program_asked_for_before_anybody_listened() -> None:
    """Its report was not heard; the system knows. Such light is neither unasked, nor does it show that a switch floods."""
    light = stream(hz=40, start=1, stop=60), stream(2, hz=40, start=1, stop=60)
    asked = {"joined": [[1, 2]]}
    story(listening("ordinary"), told(0, 60, reaches={"5568": False}, **asked), *light, boxes(60),
          expect("firewall-in-the-way", facts={"ports": [5568]}, opened=(5, 8)), expect_silent("multicast-flooded"))  # fmt: skip
    story(listening("ordinary"), told(0, 60, reaches={"5568": False}), *light, boxes(60),
          expect_silent("firewall-in-the-way"), expect("multicast-flooded"))  # fmt: skip
    story(listening("ordinary"), told(0, 60, joined=[[1, 1]]), *light, boxes(60),
          expect("multicast-flooded", facts={"universes": [2]}))  # fmt: skip


def test_it_is_over_once_something_gets_through() -> None:
    story(
        listening(), told(0, 15, reaches={"6454": False}), told(16, 40, reaches={"6454": True}), broadcast(40), boxes(40),
        expect("firewall-in-the-way", closed=(15.5, 17)),
    )  # fmt: skip


def test_light_that_this_laptop_need_not_get() -> None:
    """Not asked for; to another box; from another network; from its own address; a card that is part of a bridge."""
    kept = told(0, 20, reaches={"5568": False, "6454": False})
    story(listening(), kept, stream(hz=40, stop=20), boxes(20), expect_silent("firewall-in-the-way"))
    story(listening(), kept, artnet(hz=10, stop=20, to=WALK), boxes(20), expect_silent("firewall-in-the-way"))
    far = DESK.at("192.168.7.10")
    story(listening(), kept, artnet(source=far, hz=10, stop=20), boxes(20), expect_silent("firewall-in-the-way"))
    twin = DESK.at(LAPTOP.address)
    story(listening(), kept, artnet(source=twin, hz=10, stop=20), boxes(20), expect_silent("firewall-in-the-way"))
    bridged = told(0, 20, reaches={"6454": False}, master="br0")
    story(listening(), bridged, broadcast(), boxes(20), expect_silent("firewall-in-the-way"))


def test_nobody_looked_or_it_gets_through() -> None:
    for reaches in ({}, {"6454": True}):
        story(listening(), told(0, 20, reaches=reaches), broadcast(), boxes(20), expect_silent("firewall-in-the-way"))


def test_a_few_packets_and_then_none_prove_nothing() -> None:
    story(listening(), told(0, 40, reaches={"6454": False}), artnet(hz=10, stop=0.8, to="10.0.0.255"), boxes(40),
          expect_silent("firewall-in-the-way"))  # fmt: skip


def test_rules_alone_matter_where_only_sockets_are_open() -> None:
    blocked = {"blocked": [5568, 6454], "firewall": "nftables"}
    story(listening(), told(0, 10, **blocked), boxes(10),
          expect("firewall-in-the-way", severity="tidy", certainty="likely", facts={"firewall": "nftables"}))  # fmt: skip
    story(listening(), told(0, 10, limited=True, **blocked), boxes(10), expect("firewall-in-the-way", severity="soon"))


# ---- tunnel-in-the-way ----

TUNNEL = {"by": "tun0", "kind": "tunnel"}


def test_a_tunnel_that_takes_the_rigs_network() -> None:
    story(
        listening(), told(0, 20, astray=[{"to": "10.0.0.0/24", **TUNNEL}]), boxes(20),
        expect("tunnel-in-the-way", subject="port:tun0", severity="soon", certainty="likely", opened=(5, 6),
               facts={"networks": ["10.0.0.0/24"], "multicast": False}),
    )  # fmt: skip


def test_a_tunnel_that_takes_multicast() -> None:
    story(listening(), told(0, 20, astray=[{"to": "multicast", **TUNNEL}]), boxes(20),
          expect("tunnel-in-the-way", facts={"networks": [], "multicast": True}))  # fmt: skip


def test_a_tunnel_that_takes_far_boxes_of_light() -> None:
    far = DESK.at("10.9.0.10")
    story(
        listening(), told(0, 20, tunnels=[{"to": "10.0.0.0/8", **TUNNEL}]), stream(source=far, stop=20), boxes(20),
        expect("tunnel-in-the-way", severity="quality", facts={"boxes": ["gatehouse desk (10.9.0.10)"]}),
    )  # fmt: skip


def test_a_tunnel_for_other_networks_and_a_virtual_network_of_its_own() -> None:
    """The laptop's own network wins over a wider one (RFC 1812 5.2.4.3), and a default way takes only what is far."""
    for ways in ([{"to": "172.16.0.0/12", **TUNNEL}], [{"to": "10.0.0.0/8", **TUNNEL}], [{"to": "0.0.0.0/0", **TUNNEL}]):
        story(listening(), told(0, 20, tunnels=ways), stream(stop=20), boxes(20), expect_silent("tunnel-in-the-way"))
    virtual = {"name": "vm0", "kind": "virtual", "mac": "02:00:00:00:00:cc", "link": True, "addresses": ["192.168.56.1/24"]}
    story(listening(), told(0, 20, others=[virtual]), stream(stop=20), boxes(20), expect_silent("tunnel-in-the-way"))


def test_what_a_tunnel_does_to_the_firewalls_count_is_the_tunnels_fault() -> None:
    """The system refuses senders that it would answer by another interface (RFC 3704 2.2)."""
    story(
        listening(), told(0, 20, astray=[{"to": "10.0.0.0/24", **TUNNEL}], reaches={"6454": False}), broadcast(), boxes(20),
        expect("tunnel-in-the-way"), expect("firewall-in-the-way", over="tunnel-in-the-way"),
    )  # fmt: skip
