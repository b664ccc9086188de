"""This laptop's own address: none, made up (RFC 3927), or of another network than the boxes that it hears.

Facts are those of a mark; packets by RFC 826 and 2131. Thresholds are common practice, no source.
"""

from __future__ import annotations

from typing import Any

import pytest

from netwatch.plan.expected import Expected, ExpectedDevice
from tests.stories.boxes import BACKUP, DESK, LAPTOP, ORCHARD, POND, SERVER, WALK
from tests.stories.frames import ACK, announce, arp, dhcp
from tests.stories.playing import Event
from tests.stories.script import at, every, expect, expect_silent, listening, mark, story

CARD = {"present": True, "up": True, "link": True, "name": "eth0", "kind": "wired", "mac": LAPTOP.mac}
RIG = (announce(DESK), announce(WALK), announce(POND), announce(ORCHARD))


def told(stop: float, *addresses: str, start: float = 0, **facts: Any) -> list[Event]:
    """A mark each second."""
    return [event for second in range(int(start), int(stop) + 1)
            for event in mark(second, **{**CARD, "addresses": list(addresses), **facts})]


def boxes(stop: float, *frames: bytes) -> list[Event]:
    return every(10, *(frames or RIG), stop=stop)


def test_no_address_is_no_matter_for_listening_but_is_told() -> None:
    story(
        listening("ordinary"), told(90), boxes(90),
        expect("laptop-address", severity="tidy", certainty="certain", opened=(60, 71), closed=None,
               facts={"what": "none", "boxes": 4, "proposed": "10.0.0.250"}),
    )  # fmt: skip


def test_no_address_matters_where_only_sockets_are_open() -> None:
    story(listening("limited"), told(90, limited=True), boxes(90), expect("laptop-address", severity="soon"))


def test_made_up_while_the_others_have_addresses() -> None:
    story(listening(), told(90, "169.254.7.9/16"), boxes(90),
          expect("laptop-address", facts={"what": "made-up", "address": "169.254.7.9"}))  # fmt: skip


def test_what_the_laptop_says_of_itself_is_not_told_twice() -> None:
    """It also speaks by ARP from there. A capture that holds none of its own words has the packets alone."""
    mine = (*RIG, announce(LAPTOP, "169.254.7.9"))
    story(
        listening(), told(90, "169.254.7.9/16"), boxes(90, *mine), expect("laptop-address"), expect_silent("link-local-address")
    )
    story(
        listening(), boxes(90, *mine), expect("link-local-address", subject=f"host:{LAPTOP.mac}"), expect_silent("laptop-address")
    )


def test_another_network_than_all_boxes() -> None:
    story(listening(), told(90, "192.168.1.20/24"), boxes(90),
          expect("laptop-address", facts={"what": "elsewhere", "address": "192.168.1.20/24", "outside": 4}))  # fmt: skip


def test_a_mask_that_is_too_short_for_the_rig() -> None:
    """10.0.0.99/30 holds 10.0.0.96 to .99 alone (RFC 4632)."""
    story(listening(), told(90, "10.0.0.98/30"), boxes(90), expect("laptop-address", facts={"what": "elsewhere"}))


def test_who_asked_wants_answers() -> None:
    asked = mark(20, events=[{"what": "joined", "group": "239.255.0.1", "universe": 1}])
    story(listening(), told(90, "192.168.1.20/24"), asked, boxes(90),
          expect("laptop-address", severity="soon", facts={"asked": True}))  # fmt: skip


def test_it_is_over_with_the_right_address() -> None:
    story(listening(), told(80), told(120, "10.0.0.99/24", start=81), boxes(120), expect("laptop-address", closed=(80, 92)))


def test_on_a_mirror_port_nobody_needs_an_address() -> None:
    story(listening("mirror"), told(90), boxes(90), expect_silent("laptop-address"))


def test_the_first_minute_after_link_up() -> None:
    plugged = (told(40, link=False), told(75, start=41), told(120, "10.0.0.99/24", start=76))
    story(listening("ordinary"), *plugged, boxes(120), expect_silent("laptop-address"))


def test_a_rig_of_made_up_addresses() -> None:
    alike = [announce(box.at(f"169.254.9.{number}")) for number, box in enumerate((DESK, WALK, POND, ORCHARD), 10)]
    story(listening("ordinary"), told(90, "169.254.7.9/16"), boxes(90, *alike), expect_silent("laptop-address"))


def test_two_rigs_on_one_wire_few_boxes_and_one_of_two_addresses_that_fits() -> None:
    far = [announce(box.at(f"192.168.7.{number}")) for number, box in enumerate((DESK, WALK, POND), 10)]
    here = [announce(ORCHARD), announce(BACKUP)]
    story(listening("ordinary"), told(90, "10.0.0.99/24"), boxes(90, *far, *here), expect_silent("laptop-address"))
    few = boxes(90, announce(DESK), announce(WALK))
    story(listening("ordinary"), told(90, "172.16.0.9/24"), few, expect_silent("laptop-address"))
    story(listening("ordinary"), told(90, "172.16.0.9/24", "10.0.0.99/24"), boxes(90), expect_silent("laptop-address"))


def test_a_tunnel_and_a_part_of_a_bridge_have_no_address_by_their_nature() -> None:
    story(listening("ordinary"), told(90, kind="tunnel"), boxes(90), expect_silent("laptop-address"))
    story(listening("ordinary"), told(90, master="br0"), boxes(90), expect_silent("laptop-address"))


def test_a_capture_that_says_nothing_of_a_laptop() -> None:
    story(listening("ordinary"), boxes(90), expect_silent("laptop-address"))


@pytest.mark.parametrize(("more", "plan", "proposed"), [
    ((), None, "10.0.0.250"),
    ((announce(SERVER, "10.0.0.250"), arp(DESK, "10.0.0.249")), None, "10.0.0.248"),
    ((dhcp(ACK, BACKUP, server=SERVER.address, yiaddr="10.0.0.240", mask="255.255.255.0", lease=3600, by=SERVER),
      dhcp(ACK, WALK, server=SERVER.address, yiaddr="10.0.0.252", mask="255.255.255.0", lease=3600, by=SERVER)),
     None, "10.0.0.239/24"),
    ((), Expected(networks=("10.0.0.0/16",), devices=(ExpectedDevice(name="arch", address="10.0.0.250"),)), "10.0.0.249/16"),
    ((), Expected(networks=("10.0.0.0/25",), pools=(("10.0.0.100", "10.0.0.126"),)), "10.0.0.99/25"),
], ids=["free", "used or asked for", "given out", "promised", "planned pool"])
def test_what_is_proposed(more: tuple[bytes, ...], plan: Expected | None, proposed: str) -> None:
    """Never an address that is used, asked for, given out or promised (RFC 5227 1.1 says why); the mask where one is known."""
    told_of = expect("laptop-address", facts={"proposed": proposed})
    story(listening("ordinary"), told(90), boxes(90), at(5, *more), told_of, plan=plan)
