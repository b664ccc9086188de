"""Stories of leases: used-up pools, offers that can't work, silent servers. Silent stories are what each is mistaken for.

Everything here is scripted packets by the layouts of RFC 2131 and 2132; times are the standard's.
"""

from __future__ import annotations

import pytest

from netwatch.alerts.leasing import fault
from netwatch.plan.expected import Expected
from tests.stories.boxes import BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, STRANGER, WALK, Box
from tests.stories.frames import ACK, DISCOVER, INFORM, NAK, OFFER, REQUEST, announce, arp, chatter, dhcp
from tests.stories.playing import Event
from tests.stories.script import at, every, expect, expect_silent, listening, quiet, story

MASK = "255.255.255.0"
RETRIES = (0, 4, 12, 28, 60)
"""RFC 2131 4.1: after 4, 8, 16 and 32 s."""


def asks(who: Box, start: float, *after: float) -> list[Event]:
    """DISCOVERs of one client, by default as the standard spaces them."""
    return [event for each in after or RETRIES for event in at(start + each, dhcp(DISCOVER, who))]


def chooses(seconds: float, who: Box, address: str, server: Box = SERVER) -> list[Event]:
    return at(seconds, dhcp(DISCOVER, who), dhcp(REQUEST, who, server=server.address, requested=address))


def gives(seconds: float, who: Box, address: str, lease: int | None = 3600, by: Box = SERVER, mask: str = MASK, router: str = "",
          message: int = ACK) -> list[Event]:  # fmt: skip
    """An answer that goes to all, since the client asked for that."""
    return at(seconds, dhcp(message, who, server=by.address, yiaddr=address, mask=mask, router=router, lease=lease, by=by))


def rebinds(seconds: float, who: Box, address: str) -> list[Event]:
    """A broadcast REQUEST with ciaddr, without options 50 and 54 (RFC 2131 table 4)."""
    return at(seconds, dhcp(REQUEST, who, ciaddr=address))


# ---- dhcp-pool-used-up ----


def test_the_last_two_get_nothing() -> None:
    story(
        chooses(1, WALK, "10.0.0.100"),
        asks(ORCHARD, 10), asks(BOATHOUSE, 12), chooses(20, POND, "10.0.0.101"), quiet(5),
        expect("dhcp-pool-used-up", severity="soon", certainty="hint", opened=(33, 35), facts={"served": 1, "given": 2}),
        expect_silent("no-dhcp-answer"),
    )  # fmt: skip


def test_a_full_range_makes_it_likely() -> None:
    phones = [Box(f"phone {i}", f"0a:00:00:00:00:{i:02x}", f"10.0.0.{100 + i}") for i in range(20)]
    story(
        listening("mirror"),
        *(chooses(1 + i / 2, phone, phone.address) for i, phone in enumerate(phones)),
        asks(ORCHARD, 10.5), asks(BOATHOUSE, 10.5), quiet(5),
        expect("dhcp-pool-used-up", certainty="likely", facts={"share": 1.0}),
    )  # fmt: skip


def test_the_plan_knows_the_pool() -> None:
    plan = Expected(servers=(SERVER.address,), pools=(("10.0.0.100", "10.0.0.101"),))
    story(
        chooses(1, WALK, "10.0.0.100"), asks(ORCHARD, 10), asks(BOATHOUSE, 12), chooses(20, POND, "10.0.0.101"), quiet(5),
        expect("dhcp-pool-used-up", certainty="likely", facts={"share": 1.0}), plan=plan,
    )  # fmt: skip


def test_nobody_is_served_any_more_is_another_fault() -> None:
    story(
        chooses(1, WALK, "10.0.0.100"), asks(ORCHARD, 10), asks(BOATHOUSE, 12), quiet(5),
        expect_silent("dhcp-pool-used-up"), expect("no-dhcp-answer"),
    )  # fmt: skip


def test_slow_clients_that_are_served_in_the_end() -> None:
    """A switch port that passes nothing for the first 30 s: the third question is answered."""
    story(
        chooses(1, WALK, "10.0.0.100"), asks(ORCHARD, 10, 0, 4, 12), asks(BOATHOUSE, 10, 0, 4, 12),
        chooses(24, ORCHARD, "10.0.0.101"), chooses(25, BOATHOUSE, "10.0.0.102"), chooses(27, POND, "10.0.0.103"), quiet(60),
        expect_silent("dhcp-pool-used-up", "no-dhcp-answer"),
    )  # fmt: skip


# ---- dhcp-offer-wrong ----


@pytest.mark.parametrize(
    ("address", "mask", "router", "what"),
    [
        ("10.0.0.100", MASK, "10.0.0.1", ""),
        ("10.0.0.100", MASK, "", ""),
        ("10.0.0.100", MASK, "10.0.1.1", "router"),
        ("10.0.0.100", "255.0.255.0", "10.0.0.1", "mask"),
        ("10.0.0.255", MASK, "10.0.0.1", "address"),
        ("10.0.0.0", MASK, "", "address"),
        ("10.0.0.255", "255.255.0.0", "10.0.3.1", ""),
        ("192.168.1.0", "255.255.254.0", "192.168.0.1", ""),
        ("10.0.0.100", "", "10.9.9.9", ""),
    ],
)
def test_what_can_be_wrong(address: str, mask: str, router: str, what: str) -> None:
    """RFC 2132 3.3 and 3.5; addresses by RFC 1122 3.2.1.3."""
    assert fault(address, mask, router) == what


@pytest.mark.parametrize(("mask", "router", "what"), [(MASK, "10.0.1.1", "router"), ("255.0.255.0", "", "mask")])
def test_an_offer_that_can_not_work(mask: str, router: str, what: str) -> None:
    """Seen from an ordinary port, since the client asked for a broadcast answer."""
    story(
        gives(1, WALK, "10.0.0.100", mask=mask, router=router, message=OFFER), quiet(5),
        expect("dhcp-offer-wrong", subject="server:10.0.0.1", severity="soon", certainty="certain", opened=(1, 1.5),
               facts={"what": what}),
    )  # fmt: skip


def test_another_mask_than_planned() -> None:
    story(
        gives(1, WALK, "10.0.0.100", mask="255.0.0.0"), quiet(5),
        expect("dhcp-offer-wrong", severity="now", certainty="certain", facts={"what": "against-plan", "right": "10.0.0.0/24"}),
        plan=Expected(networks=("10.0.0.0/24",)),
    )  # fmt: skip


def test_two_servers_give_different_masks() -> None:
    story(
        gives(1, WALK, "10.0.0.100"), gives(2, POND, "10.0.0.101", by=STRANGER.at("10.0.0.2"), mask="255.0.0.0"), quiet(5),
        expect("dhcp-offer-wrong", subject="server:10.0.0.2", facts={"what": "masks-differ", "right": MASK}),
    )  # fmt: skip


def test_a_gateway_that_nobody_has() -> None:
    story(
        gives(1, WALK, "10.0.0.100", router="10.0.0.254"), every(5, arp(WALK.at("10.0.0.100"), "10.0.0.254"), start=3, stop=95),
        expect("dhcp-offer-wrong", severity="quality", certainty="likely", opened=(20, 95), facts={"what": "gateway"}),
    )  # fmt: skip


def test_a_gateway_that_is_there() -> None:
    gateway = SERVER.at("10.0.0.254")
    story(
        gives(1, WALK, "10.0.0.100", router="10.0.0.254"), at(2, announce(gateway)),
        every(5, arp(WALK.at("10.0.0.100"), "10.0.0.254"), start=3, stop=95), expect_silent("dhcp-offer-wrong"),
    )  # fmt: skip


def test_no_gateway_on_purpose() -> None:
    story(
        gives(1, WALK, "10.0.0.100"), gives(2, POND, "10.0.0.101"), at(5, dhcp(INFORM, DESK, ciaddr=DESK.address)), quiet(30),
        expect_silent("dhcp-offer-wrong"),
    )  # fmt: skip


def test_the_server_was_put_right() -> None:
    story(
        gives(1, WALK, "10.0.0.100", router="10.0.1.1"), gives(30, POND, "10.0.0.101", router="10.0.0.1"), quiet(30),
        expect("dhcp-offer-wrong", closed=(29, 31)),
    )  # fmt: skip


# ---- lease-server-silent ----

LEASE = 3600
T2, LAST_TRY = 3150, 3375
"""0.875 of the lease, and half of what remains later (RFC 2131 4.4.5)."""


def test_a_client_asks_any_server() -> None:
    """The lease was heard: at T2 + an eighth of it the address must be given up."""
    told = story(
        gives(1, WALK, "10.0.0.100", lease=LEASE), at(2, chatter(DESK)), rebinds(100, WALK, "10.0.0.100"), quiet(5),
        expect("lease-server-silent", subject="server:10.0.0.1", severity="soon", certainty="certain", opened=(100, 100.5)),
    )  # fmt: skip
    (alert,) = told.alerts
    assert alert.facts["falls_silent_at"] == alert.since + LEASE // 8 * 10**9


def test_asked_twice_nobody_has_answered() -> None:
    story(
        chooses(1, WALK, "10.0.0.100"), rebinds(T2, WALK, "10.0.0.100"), rebinds(LAST_TRY, WALK, "10.0.0.100"), quiet(5),
        expect("lease-server-silent", severity="now", opened=(T2, T2 + 0.5), facts={"tries": 2}),
    )  # fmt: skip


def test_answered_at_once_it_closes_by_itself() -> None:
    """The answer is unicast and not seen from an ordinary port: that no further question comes must do."""
    story(
        gives(1, WALK, "10.0.0.100", lease=960), rebinds(841, WALK, "10.0.0.100"), quiet(150),
        expect("lease-server-silent", severity="soon", closed=(900, 920)),
    )  # fmt: skip


def test_a_seen_answer_ends_it() -> None:
    story(
        listening("mirror"),
        gives(1, WALK, "10.0.0.100"), rebinds(100, WALK, "10.0.0.100"), gives(130, WALK, "10.0.0.100"), quiet(20),
        expect("lease-server-silent", closed=(129, 131)),
    )  # fmt: skip


def test_a_restart_is_no_lost_server() -> None:
    """INIT-REBOOT asks for its old address by option 50 and has no ciaddr (RFC 2131 table 4)."""
    story(
        chooses(1, WALK, "10.0.0.100"), at(60, dhcp(REQUEST, WALK, requested="10.0.0.100")), quiet(60),
        expect_silent("lease-server-silent"),
    )  # fmt: skip


def test_a_refused_traveller_is_no_lost_server() -> None:
    story(
        at(1, dhcp(REQUEST, WALK, requested="192.168.7.7"), dhcp(NAK, WALK, server=SERVER.address, by=SERVER)),
        chooses(3, WALK, "10.0.0.100"), quiet(60),
        expect_silent("lease-server-silent", "two-dhcp-servers", "no-dhcp-answer"), expect_silent(),
    )  # fmt: skip


def test_the_laptops_own_question_is_certain() -> None:
    story(
        listening(), asks(LAPTOP, 1), asks(ORCHARD, 2), quiet(10),
        expect("no-dhcp-answer", severity="soon", certainty="certain"),
    )  # fmt: skip
