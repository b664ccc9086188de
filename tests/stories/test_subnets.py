"""Stories of subnets: boxes of another network, masks that differ, addresses that no box can have.

Silent stories are what each is mistaken for. Everything here is scripted packets; addresses by RFC 1122 3.2.1.3.
"""

from __future__ import annotations

import pytest

from netwatch.plan.expected import Expected, ExpectedDevice
from tests.stories.boxes import BACKUP, BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, SWITCH, WALK, Box
from tests.stories.frames import ACK, NOBODY, announce, arp, chatter, dhcp, query, report
from tests.stories.playing import Event
from tests.stories.script import artnet, at, every, expect, expect_silent, listening, quiet, story, stream

RIG = (DESK, BACKUP, WALK, POND, BOATHOUSE)


def rig(stop: float = 30, boxes: tuple[Box, ...] = RIG) -> list[Event]:
    """Every box sends a universe of its own, slowly."""
    return [event for i, each in enumerate(boxes) for event in stream(i + 1, each, hz=2, start=i / 10, stop=stop)]


def lease(who: Box, mask: str, address: str = "") -> bytes:
    """An ACK that goes to all."""
    return dhcp(ACK, who, server=SERVER.address, yiaddr=address or who.address, mask=mask, lease=3600, by=SERVER)


# ---- wrong-subnet ----


def test_one_box_with_its_makers_default() -> None:
    """Multicast gets through, so that it is heard from an ordinary port."""
    stray = ORCHARD.at("2.0.0.23")
    story(
        rig(), stream(9, stray, hz=2, stop=30), quiet(5),
        expect("wrong-subnet", subject=f"host:{ORCHARD.mac}", severity="quality", certainty="likely", opened=(9, 31),
               facts={"artnet": False, "others": 5, "subnet": "10.0.0.0/8"}),
    )  # fmt: skip


def test_art_net_does_not_get_through() -> None:
    stray = ORCHARD.at("192.168.1.23")
    story(rig(), artnet(9, stray, hz=2, stop=30), quiet(5), expect("wrong-subnet", severity="soon", facts={"artnet": True}))


def test_outside_of_the_known_mask() -> None:
    """The DHCP server says /24: 10.0.5.23 is outside, though it might be inside of a shorter mask."""
    stray = ORCHARD.at("10.0.5.23")
    story(
        at(0.5, lease(WALK, "255.255.255.0")), rig(), stream(9, stray, hz=2, stop=30), quiet(5),
        expect("wrong-subnet", facts={"subnet": "10.0.0.0/24"}),
    )  # fmt: skip


def test_against_the_plan() -> None:
    plan = Expected(devices=(ExpectedDevice(name="orchard", mac=ORCHARD.mac),), networks=("10.0.0.0/24",))
    story(
        at(1, announce(ORCHARD.at("10.0.5.23"))), quiet(40),
        expect("wrong-subnet", severity="soon", certainty="certain", facts={"by_plan": True, "others": 0}), plan=plan,
    )  # fmt: skip


def test_a_rig_of_many_numbers_in_one_block() -> None:
    """No mask is known: /8 may be meant, so nothing is said."""
    boxes = tuple(each.at(f"10.{i}.{i}.7") for i, each in enumerate((*RIG, ORCHARD)))
    story(rig(boxes=boxes), quiet(5), expect_silent("wrong-subnet"))


def test_two_rigs_on_purpose() -> None:
    other = (ORCHARD.at("2.0.0.5"), SWITCH.at("2.0.0.6"))
    story(rig(boxes=(*RIG, *other)), quiet(5), expect_silent("wrong-subnet"))


def test_a_router_between_them() -> None:
    stray = ORCHARD.at("192.168.1.23")
    story(
        rig(), artnet(9, stray, hz=2, stop=30), at(2, announce(SERVER), announce(SERVER.at("192.168.1.1"))), quiet(5),
        expect_silent("wrong-subnet"),
    )  # fmt: skip


def test_a_made_up_address_is_told_by_its_own_alert() -> None:
    stray = ORCHARD.at("169.254.7.23")
    story(rig(), stream(9, stray, hz=2, stop=30), quiet(5), expect_silent("wrong-subnet"), expect("link-local-address"))


def test_a_box_of_the_office_is_no_box_of_light() -> None:
    story(rig(), every(2, arp(ORCHARD.at("192.168.1.23"), "192.168.1.1"), stop=30), quiet(5), expect_silent("wrong-subnet"))


# ---- wrong-mask ----


def tells(who: Box, broadcast: str, stop: float = 30) -> list[Event]:
    """A box sends to all of its network."""
    return every(4, chatter(who, broadcast), start=1, stop=stop)


def test_two_broadcast_addresses_contradict() -> None:
    story(
        tells(DESK, "10.255.255.255"), tells(WALK, "10.255.255.255"), tells(ORCHARD, "10.0.0.255"), quiet(5),
        expect("wrong-mask", subject=f"host:{ORCHARD.mac}", severity="quality", certainty="likely", opened=(1, 31),
               facts={"prefix": 24, "right": "10.0.0.0/8"}),
    )  # fmt: skip


def test_against_the_dhcp_server() -> None:
    story(
        at(0.5, lease(WALK, "255.255.0.0")), tells(ORCHARD, "10.0.0.255"), quiet(5),
        expect("wrong-mask", severity="soon", certainty="certain", facts={"how": "dhcp", "right": "10.0.0.0/16"}),
    )  # fmt: skip


def test_against_the_plan_of_masks() -> None:
    story(
        tells(ORCHARD, "10.0.0.255"), quiet(5),
        expect("wrong-mask", severity="soon", certainty="certain", facts={"how": "plan", "right": "10.0.0.0/8"}),
        plan=Expected(networks=("10.0.0.0/8",)),
    )  # fmt: skip


def test_against_this_laptop() -> None:
    """Its own mask is known: that the two differ is certain, which of them is wrong is not."""
    story(
        listening(networks=("10.0.0.99/8",)), tells(ORCHARD, "10.0.0.255"), quiet(5),
        expect("wrong-mask", subject=f"host:{ORCHARD.mac}", severity="quality", certainty="certain", facts={"other": "this "
        "laptop"}),
    )  # fmt: skip


def test_the_laptop_is_the_odd_one() -> None:
    story(
        listening(networks=("10.0.0.99/8",)), tells(ORCHARD, "10.0.0.255"), tells(WALK, "10.0.0.255"), quiet(5),
        expect("wrong-mask", subject=f"host:{LAPTOP.mac}", certainty="certain", facts={"who": "this laptop"}),
    )  # fmt: skip


def test_a_question_for_a_far_box() -> None:
    """It takes 10.0.7.9 for a neighbour, so its mask is shorter than /24."""
    story(
        at(0.5, lease(WALK, "255.255.255.0")), every(5, arp(ORCHARD, "10.0.7.9"), start=1, stop=40), quiet(5),
        expect("wrong-mask", severity="quality", certainty="likely", facts={"target": "10.0.7.9", "right": "10.0.0.0/24"}),
    )  # fmt: skip


@pytest.mark.parametrize("broadcast", ["2.255.255.255", "255.255.255.255", "10.255.255.255"])
def test_what_says_nothing(broadcast: str) -> None:
    """Art-Net programs that always send to 2.255.255.255; the limited broadcast; all of one mind."""
    story(tells(DESK, "10.255.255.255"), tells(ORCHARD, broadcast), quiet(5), expect_silent("wrong-mask"))


def test_split_on_purpose() -> None:
    """Neighbours with masks of their own that do not hold each other."""
    story(tells(DESK, "10.0.0.127"), tells(ORCHARD.at("10.0.0.200"), "10.0.0.255"), quiet(5), expect_silent("wrong-mask"))


def test_a_program_with_several_broadcast_addresses_chooses_them_by_hand() -> None:
    story(
        tells(DESK, "10.255.255.255"), tells(ORCHARD, "10.0.0.255"), tells(ORCHARD, "10.0.255.255"), quiet(5),
        expect_silent("wrong-mask"),
    )  # fmt: skip


# ---- invalid-address ----


def test_the_broadcast_address_of_the_known_mask() -> None:
    story(
        at(0.5, lease(WALK, "255.255.255.0")), every(4, announce(ORCHARD.at("10.0.0.255")), start=1, stop=20), quiet(5),
        expect("invalid-address", subject=f"host:{ORCHARD.mac}", severity="soon", certainty="certain", opened=(1, 11),
               facts={"what": "broadcast", "subnet": "10.0.0.0/24"}),
    )  # fmt: skip


def test_the_network_address_by_the_laptops_mask() -> None:
    """Of a /26, whose ends are no .0 and .255."""
    story(
        listening(networks=("10.0.0.99/26",)), every(4, announce(ORCHARD.at("10.0.0.64")), start=1, stop=20), quiet(5),
        expect("invalid-address", severity="soon", certainty="certain", facts={"what": "network", "how": "laptop"}),
    )  # fmt: skip


@pytest.mark.parametrize(
    ("address", "what"),
    [("127.0.0.1", "loopback"), ("0.0.0.7", "this-network"), ("239.255.0.1", "group"), ("250.1.1.1", "reserved")],
)
def test_addresses_that_no_mask_makes_right(address: str, what: str) -> None:
    """RFC 1122 3.2.1.3, RFC 1112 4 and 6890."""
    story(
        every(4, chatter(ORCHARD.at(address)), start=1, stop=20), quiet(5),
        expect("invalid-address", severity="soon", certainty="certain", facts={"what": what, "subnet": None}),
    )  # fmt: skip


def test_without_a_mask_only_a_hint() -> None:
    story(
        every(4, announce(ORCHARD.at("10.0.0.255")), start=1, stop=90), quiet(5),
        expect_silent(),
        expect("invalid-address", severity="tidy", certainty="hint", opened=(61, 71), facts={"what": "perhaps"}),
    )  # fmt: skip


@pytest.mark.parametrize(("address", "own"), [("10.0.0.255", "10.0.0.99/8"), ("192.168.1.0", "192.168.0.9/23")])
def test_right_under_a_short_mask(address: str, own: str) -> None:
    story(
        listening(networks=(own,)), every(4, announce(ORCHARD.at(address)), start=1, stop=20), quiet(5),
        expect_silent("invalid-address"),
    )  # fmt: skip


def test_boxes_without_an_address() -> None:
    """0.0.0.0 during DHCP, and queries of a proxy (RFC 4541 2.1.1)."""
    story(
        at(1, dhcp(1, WALK)), at(2, query(SWITCH.at(NOBODY))), at(3, report(WALK.at(NOBODY), "239.255.0.1")), quiet(20),
        expect_silent("invalid-address"),
    )  # fmt: skip


def test_a_router_passes_far_addresses_on() -> None:
    far = [event for i in range(12) for event in at(1 + 9 * i, chatter(SERVER.at(f"198.51.{i}.0")))]
    story(far, quiet(20), expect_silent("invalid-address"))
