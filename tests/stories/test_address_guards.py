"""Stories that hold the older rules about addresses back: two servers, no server, duplicates, made-up addresses.

Scripted packets by RFC 826, 2131 and 3927.
"""

from __future__ import annotations

from netwatch.plan.expected import Expected
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, ORCHARD, POND, SERVER, STRANGER, WALK, Box
from tests.stories.frames import ACK, DISCOVER, REQUEST, announce, arp, chatter, dhcp
from tests.stories.playing import Event
from tests.stories.script import at, every, expect, expect_silent, listening, mark, quiet, story, stream

SECOND = STRANGER.at("10.0.0.2")


def asks(who: Box, start: float, stop: float) -> list[Event]:
    """DISCOVERs every 6 s."""
    return every(6, dhcp(DISCOVER, who), start=start, stop=stop)


def chooses(seconds: float, who: Box, server: Box, address: str) -> list[Event]:
    return at(seconds, dhcp(REQUEST, who, server=server.address, requested=address))


# ---- two-dhcp-servers ----


def test_the_plan_knows_both_servers() -> None:
    plan = Expected(servers=(SERVER.address, SECOND.address))
    lines = (chooses(1, WALK, SERVER, "10.0.0.100"), chooses(2, POND, SECOND, "10.0.0.150"), quiet(5))
    story(*lines, expect_silent(), expect("two-dhcp-servers", severity="note", certainty="hint"), plan=plan)
    story(*lines, expect("two-dhcp-servers", severity="soon", certainty="likely"))


def test_the_plan_does_not_know_one() -> None:
    story(
        chooses(1, WALK, SERVER, "10.0.0.100"), chooses(2, POND, SECOND, "10.0.0.150"), quiet(5),
        expect("two-dhcp-servers", severity="now", certainty="certain", facts={"strangers": [SECOND.address]}),
        plan=Expected(servers=(SERVER.address,)),
    )  # fmt: skip


def test_one_box_with_two_addresses_known_by_its_arp() -> None:
    """From an ordinary port no server's MAC is in its messages, but it asks by ARP."""
    other = SERVER.at("10.0.0.3")
    story(
        at(0, announce(SERVER), announce(other)), chooses(1, WALK, SERVER, "10.0.0.100"), chooses(2, POND, other, "10.0.0.101"),
        quiet(5), expect_silent("two-dhcp-servers"),
    )  # fmt: skip


def test_two_relays_that_name_themselves() -> None:
    """Both stand for one server (RFC 5107: server identifier override, from memory)."""
    relays = (SERVER, SERVER.at("10.0.0.3").card("02:00:00:00:00:03"))
    answers = [
        dhcp(ACK, who, server=by.address, yiaddr=f"10.0.0.10{i}", giaddr=by.address, mask="255.255.255.0", lease=3600, by=by)
        for i, (who, by) in enumerate(zip((WALK, POND), relays, strict=True))
    ]
    story(at(1, *answers), quiet(5), expect_silent("two-dhcp-servers"))


# ---- no-dhcp-answer ----


def test_a_switch_port_that_was_just_plugged_in() -> None:
    """Spanning tree passes nothing on for 2 x 15 s (IEEE 802.1D, from memory): the laptop waits 40 s after link-up."""
    cable = (mark(0, link=False), mark(5, link=True))
    boxes = (asks(WALK, 6, 32), asks(POND, 7, 32))
    story(*cable, *boxes, chooses(36, WALK, SERVER, "10.0.0.100"), chooses(37, POND, SERVER, "10.0.0.101"), quiet(20),
          expect_silent("no-dhcp-answer"))  # fmt: skip
    story(*boxes, quiet(5), expect("no-dhcp-answer", severity="soon", opened=(28, 30)))


def test_after_the_meal_break_the_server_starts_slowly() -> None:
    """All was off; the boxes ask sooner than the box that gives addresses is up."""
    story(
        chooses(1, WALK, SERVER, "10.0.0.100"), chooses(2, POND, SERVER, "10.0.0.101"),
        asks(WALK, 300, 380), asks(POND, 301, 380), chooses(384, WALK, SERVER, "10.0.0.100"),
        chooses(385, POND, SERVER, "10.0.0.101"), quiet(20),
        expect_silent(), expect("no-dhcp-answer", severity="tidy", closed=(383, 386)),
    )  # fmt: skip


def test_a_server_that_does_not_come_back() -> None:
    story(
        chooses(1, WALK, SERVER, "10.0.0.100"), asks(WALK, 100, 260), asks(POND, 101, 260), quiet(5),
        expect("no-dhcp-answer", severity="soon"),
    )  # fmt: skip


# ---- duplicate-address ----


def takes_turns(one: Box, other: Box, stop: float = 60) -> list[Event]:
    return [*every(10, arp(one, SERVER.address), start=1, stop=stop), *every(10, arp(other, SERVER.address), start=6, stop=stop)]


def test_neighbouring_macs_of_one_maker_may_be_one_box() -> None:
    """Two sockets that share the work; boxes with MACs of a maker (second bit of the first octet 0)."""
    one = Box("one", "00:11:22:00:00:10", "10.0.0.40")
    story(
        takes_turns(one, one.card("00:11:22:00:00:11")),
        expect("duplicate-address", severity="soon", certainty="likely", facts={"perhaps_one_box": True}),
    )  # fmt: skip
    story(takes_turns(one, one.card("00:11:22:00:00:19")), expect("duplicate-address", severity="now", certainty="certain"))


def test_two_routers_pass_a_far_address_on() -> None:
    routers = (SERVER, SECOND)
    far = [each.at("198.51.100.7") for each in routers]
    story(
        listening(networks=("10.0.0.99/24",)), at(0, *(announce(each) for each in routers)),
        *(every(10, chatter(each), start=1 + 5 * i, stop=60) for i, each in enumerate(far)), expect_silent("duplicate-address"),
    )  # fmt: skip


# ---- link-local-address ----


def test_a_desk_whose_only_other_sign_is_its_light() -> None:
    """A second address beside the normal one: light speaks for the normal one."""
    story(
        stream(1, DESK, hz=2, stop=150), every(20, arp(DESK.at("169.254.9.9"), "169.254.1.1"), start=5, stop=150),
        at(1, *(announce(each) for each in (BACKUP, POND, WALK))), expect_silent("link-local-address"),
    )  # fmt: skip


def test_hand_set_addresses_are_not_made_up() -> None:
    """169.254.0.x and .255.x are never chosen by a box itself (RFC 3927 2.1)."""
    story(
        at(1, *(announce(each) for each in (BACKUP, POND, WALK))), every(5, announce(ORCHARD.at("169.254.0.7")), stop=40),
        every(5, announce(BOATHOUSE.at("169.254.255.7")), stop=40), expect_silent("link-local-address"),
    )  # fmt: skip


def test_by_the_plan_it_is_worse() -> None:
    lines = (
        at(1, *(announce(each) for each in (BACKUP, POND, WALK, DESK))), every(5, announce(ORCHARD.at("169.254.7.7")), stop=150),
        expect("link-local-address", severity="now"),
    )  # fmt: skip
    story(*lines, plan=Expected(servers=(SERVER.address,)))
