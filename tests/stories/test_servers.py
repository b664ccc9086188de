"""Stories of who hands out addresses: two servers, none that answers. Silent stories are what each is mistaken for."""

from __future__ import annotations

from dataclasses import replace

from netwatch.numbers import DEFAULTS
from tests.stories.boxes import BOATHOUSE, LAPTOP, ORCHARD, POND, SERVER, STRANGER, WALK, Box
from tests.stories.frames import ACK, DISCOVER, NAK, OFFER, REQUEST, arp, dhcp, e131
from tests.stories.playing import Event
from tests.stories.script import at, every, expect, expect_silent, listening, quiet, story

MASK, LEASE = "255.255.255.0", 3600


def chooses(who: Box, server: Box, address: str, vlan: int | None = None) -> bytes:
    """A broadcast REQUEST that names its server: what an ordinary port sees of a lease (RFC 2131 table 4)."""
    return dhcp(REQUEST, who, server=server.address, requested=address, vlan=vlan)


def asks(who: Box, *seconds: float) -> list[Event]:
    """DISCOVERs at these seconds."""
    return [event for second in seconds for event in at(second, dhcp(DISCOVER, who, host_name=who.name))]


# ---- two-dhcp-servers ----


def test_clients_name_two_servers() -> None:
    story(
        at(1, dhcp(DISCOVER, WALK), chooses(WALK, SERVER, "10.0.0.50")),
        at(9, dhcp(DISCOVER, POND), chooses(POND, STRANGER, "192.168.77.9")),
        expect(
            "two-dhcp-servers", subject="rig", severity="now", certainty="likely", opened=(9, 9.3),
            title="Two DHCP servers seen: 10.0.0.1 and 192.168.77.1 both hand out addresses",
        ),
    )  # fmt: skip


def test_the_rival_refuses() -> None:
    """Alternating refusals are the loudest sign of two servers (RFC 2131 4.3.2: a NAK is always broadcast)."""
    story(
        at(1, chooses(WALK, SERVER, "10.0.0.50"), dhcp(NAK, WALK, server=STRANGER.address, by=STRANGER)),
        expect("two-dhcp-servers", certainty="certain", severity="now", facts={"refused": True}),
    )


def test_two_offers_to_one_question() -> None:
    story(
        at(1, dhcp(DISCOVER, WALK, xid=7)),
        at(1.1, dhcp(OFFER, WALK, xid=7, server=SERVER.address, yiaddr="10.0.0.50", mask=MASK, lease=LEASE, by=SERVER)),
        at(1.2, dhcp(OFFER, WALK, xid=7, server=STRANGER.address, yiaddr="192.168.77.9", mask=MASK, lease=LEASE, by=STRANGER)),
        expect("two-dhcp-servers", certainty="certain", severity="now", facts={"same_subnet": False}),
    )


def test_two_servers_in_one_subnet_with_other_leases() -> None:
    second = ORCHARD.at("10.0.0.2")
    story(
        at(1, dhcp(OFFER, WALK, server=SERVER.address, yiaddr="10.0.0.50", mask=MASK, lease=3600, by=SERVER)),
        at(2, dhcp(OFFER, POND, server=second.address, yiaddr="10.0.0.60", mask=MASK, lease=600, xid=2, by=second)),
        expect("two-dhcp-servers", severity="soon", certainty="likely", facts={"same_subnet": True, "perhaps_a_pair": False}),
    )


def test_a_fail_over_pair_is_a_note() -> None:
    """Same mask, gateway and lease, and no quarrel: perhaps a pair."""
    pair = SERVER, ORCHARD.at("10.0.0.2")
    answers = [
        dhcp(OFFER, who, xid=i, server=by.address, yiaddr=f"10.0.0.5{i}", mask=MASK, router="10.0.0.1", lease=LEASE, by=by)
        for i, (who, by) in enumerate(zip((WALK, POND), pair, strict=True))
    ]
    story(at(1, *answers), expect_silent(), expect("two-dhcp-servers", severity="note", certainty="hint"))


def test_a_relay_is_no_second_server() -> None:
    """giaddr is set and there is one server identity (RFC 2131 4.1): the relays' MACs don't count."""
    far = SERVER.at("10.9.9.9")
    story(
        *(
            at(second, dhcp(ACK, who, server=far.address, giaddr=by.address, yiaddr="10.0.0.50", lease=LEASE, by=by))
            for second, who, by in ((1, WALK, ORCHARD), (5, POND, BOATHOUSE), (9, WALK, BOATHOUSE))
        ),
        expect_silent("two-dhcp-servers"),
    )


def test_one_box_with_two_addresses_is_one_server() -> None:
    second = SERVER.at("10.0.0.2")
    story(
        at(1, dhcp(OFFER, WALK, server=SERVER.address, yiaddr="10.0.0.50", mask=MASK, lease=LEASE, by=SERVER)),
        at(9, dhcp(OFFER, POND, server=second.address, yiaddr="10.0.0.60", mask=MASK, lease=LEASE, by=second)),
        expect_silent("two-dhcp-servers"),
    )


def test_two_vlans_have_a_server_each() -> None:
    story(
        at(1, chooses(WALK, SERVER, "10.0.0.50", vlan=5)), at(2, chooses(POND, STRANGER, "192.168.77.9", vlan=6)),
        expect_silent("two-dhcp-servers"),
    )  # fmt: skip


def test_the_laptop_on_two_networks() -> None:
    story(
        listening(ports=2),
        at(1, chooses(LAPTOP, SERVER, "10.0.0.50")), at(2, chooses(LAPTOP, STRANGER, "192.168.77.9"), port=1),
        expect_silent("two-dhcp-servers"),
    )  # fmt: skip


def test_travelled_kit_is_refused_once_and_then_gets_its_lease() -> None:
    """INIT-REBOOT with the address of the last show; the only server refuses it (RFC 2131 4.3.2)."""
    story(
        at(1, dhcp(REQUEST, WALK, requested="192.168.1.77"), dhcp(NAK, WALK, server=SERVER.address, by=SERVER)),
        at(2, dhcp(DISCOVER, WALK), chooses(WALK, SERVER, "10.0.0.50")),
        expect_silent(),
    )


def test_the_second_server_is_not_heard_of_for_a_day() -> None:
    """A day of 200 s, so that the test is short."""
    story(
        at(1, chooses(WALK, SERVER, "10.0.0.50")), at(2, chooses(POND, STRANGER, "192.168.77.9")),
        every(60, chooses(WALK, SERVER, "10.0.0.50"), start=10, stop=300), expect("two-dhcp-servers", closed=(202, 203)),
        numbers=replace(DEFAULTS, servers_within_s=200),
    )  # fmt: skip


# ---- no-dhcp-answer ----


def test_nobody_answers_two_boxes() -> None:
    """RFC 2131 4.1: at 0, 4 and 12 s; an answer would have led to a REQUEST."""
    story(
        asks(WALK, 0, 4, 12, 28), asks(POND, 3, 7, 15, 31), quiet(10),
        expect("no-dhcp-answer", subject="rig", severity="soon", certainty="likely", opened=(22, 26), closed=None),
    )  # fmt: skip


def test_pauses_may_be_a_second_shorter() -> None:
    """RFC 2131 4.1: each randomized by -1 to +1 s. A small client asked for the fourth time after 11.99 s (measured)."""
    story(
        asks(WALK, 0, 3.1, 10.2), asks(POND, 3, 7, 11, 14.99), quiet(12),
        expect("no-dhcp-answer", subject="rig", severity="soon", opened=(20, 26), closed=None),
    )  # fmt: skip


def test_a_box_that_gave_up_and_made_up_an_address_makes_it_certain() -> None:
    alone = WALK.at("169.254.7.9")
    story(
        asks(WALK, 0, 4, 12, 28), asks(POND, 3, 7, 15, 31), at(40, arp(alone, alone.address)), quiet(20),
        expect("no-dhcp-answer", certainty="certain", facts={"clients": [WALK.name, POND.name]}),
        expect("link-local-address", over="no-dhcp-answer"),
    )  # fmt: skip


def test_a_lone_box_is_left_unanswered_for_a_minute() -> None:
    story(
        asks(WALK, 0, 4, 12, 28, 60), quiet(10),
        expect("no-dhcp-answer", severity="tidy", opened=(60, 61), title="No DHCP server answers lantern walk"),
    )  # fmt: skip


def test_a_client_whose_address_is_no_mac() -> None:
    """chaddr has as many octets as its kind of link says (RFC 2131 2): other kinds than Ethernet ask as well."""
    other = dhcp(DISCOVER, WALK).replace(bytes((1, 1, 6, 0)), bytes((1, 32, 0, 0)), 1)
    story(
        *(at(second, other) for second in (0, 5, 13, 29, 61, 90, 120)),
        expect("no-dhcp-answer", severity="tidy", facts={"who": "a box that is not of Ethernet"}),
    )


def test_the_server_comes_back() -> None:
    story(
        asks(WALK, 0, 4, 12, 28), asks(POND, 3, 7, 15, 31),
        at(60, dhcp(DISCOVER, WALK), chooses(WALK, SERVER, "10.0.0.50"), dhcp(DISCOVER, POND),
           chooses(POND, SERVER, "10.0.0.51")),
        quiet(20), expect("no-dhcp-answer", closed=(60, 61)),
    )  # fmt: skip


def test_offers_are_not_seen_but_the_choice_is() -> None:
    """OFFERs go by unicast: a DISCOVER alone proves nothing."""
    story(
        asks(WALK, 0, 4), at(5, chooses(WALK, SERVER, "10.0.0.50")), asks(POND, 1, 5), at(6, chooses(POND, SERVER, "10.0.0.51")),
        quiet(120), expect_silent("no-dhcp-answer"),
    )  # fmt: skip


def test_only_the_laptop_asks_in_a_rig_with_fixed_addresses() -> None:
    """A static rig on purpose: for less than a minute nothing, afterwards a thing to tidy."""
    story(
        every(5, arp(WALK, POND.address), arp(POND, WALK.address), stop=50), asks(LAPTOP, 0, 4, 12, 28), quiet(5),
        expect_silent("no-dhcp-answer"),
    )


def test_a_slow_switch_delays_the_answer() -> None:
    """Spanning tree holds a port for 30 s (IEEE 802.1D, twice 15 s): one box that asks meanwhile is not unanswered."""
    story(
        asks(WALK, 0, 4, 12, 28), at(28.1, chooses(WALK, SERVER, "10.0.0.50")), quiet(60), expect_silent("no-dhcp-answer")
    )


def test_init_reboot_is_no_question() -> None:
    """A server that does not know the client must keep silent (RFC 2131 4.3.2)."""
    story(
        at(0, dhcp(REQUEST, WALK, requested="10.0.0.50")), at(4, dhcp(REQUEST, WALK, requested="10.0.0.50")),
        at(12, dhcp(REQUEST, WALK, requested="10.0.0.50")), every(5, e131(WALK, 1), stop=100), expect_silent("no-dhcp-answer"),
    )  # fmt: skip
