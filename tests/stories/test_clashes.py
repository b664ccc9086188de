"""Stories of addresses that move, are declined, or lie in a pool. Silent stories are what each is mistaken for.

Everything here is scripted packets by the layouts of RFC 826, 2131 and 5227.
"""

from __future__ import annotations

from dataclasses import replace

from netwatch.numbers import DEFAULTS
from netwatch.plan.expected import Expected, ExpectedDevice
from tests.stories.boxes import BOATHOUSE, DESK, ORCHARD, POND, SERVER, WALK, Box
from tests.stories.frames import ACK, DECLINE, DISCOVER, REQUEST, announce, arp, dhcp, e131
from tests.stories.playing import Event
from tests.stories.script import at, every, expect, expect_silent, listening, quiet, story

NEW = ORCHARD.at("10.0.0.123")


def speaks(who: Box, start: float, stop: float, asks: str = SERVER.address) -> list[Event]:
    """A box that asks for another now and then."""
    return every(15, arp(who, asks), start=start, stop=stop)


# ---- address-moved ----


def test_a_box_moves_and_the_desk_still_wants_the_old_address() -> None:
    story(
        speaks(ORCHARD, 1, 30), at(40, announce(NEW)), speaks(NEW, 45, 200),
        every(5, arp(DESK, ORCHARD.address), start=50, stop=200),
        expect("address-moved", subject=f"host:{ORCHARD.mac}", severity="soon", certainty="certain", opened=(100, 130),
               facts={"old": ORCHARD.address, "address": NEW.address, "wanted_by": [DESK.mac]}),
    )  # fmt: skip


def test_a_move_that_nobody_minds_is_a_note() -> None:
    """As at a load-in, where addresses are set by hand."""
    story(
        speaks(ORCHARD, 1, 30), at(40, announce(NEW)), speaks(NEW, 45, 150),
        expect_silent(), expect("address-moved", severity="note", facts={"wanted_by": []}),
    )  # fmt: skip


def test_light_to_the_old_address_shows_on_a_mirror_port() -> None:
    light = [event for i in range(400) for event in at(60 + i / 4, e131(DESK, 1, i, to=ORCHARD))]
    story(
        listening("mirror"), speaks(ORCHARD, 1, 30), at(40, announce(NEW)), speaks(NEW, 45, 160), light,
        expect("address-moved", severity="soon"),
    )  # fmt: skip


def test_the_news_of_a_move_ends() -> None:
    story(
        speaks(ORCHARD, 1, 30), at(40, announce(NEW)), speaks(NEW, 45, 700), quiet(30),
        expect("address-moved", closed=(630, 650)),
    )  # fmt: skip


def test_against_the_plan() -> None:
    plan = Expected(devices=(ExpectedDevice(name="orchard", mac=ORCHARD.mac, address=ORCHARD.address),))
    story(
        speaks(ORCHARD, 1, 30), at(40, announce(NEW)), speaks(NEW, 45, 150),
        expect("address-moved", severity="soon", facts={"planned": ORCHARD.address}), plan=plan,
    )  # fmt: skip


def test_a_box_with_two_addresses_has_not_moved() -> None:
    story(speaks(ORCHARD, 1, 200), speaks(NEW, 8, 200), expect_silent("address-moved"))


def test_a_made_up_address_before_a_real_one_is_no_move() -> None:
    early = ORCHARD.at("169.254.7.7")
    story(speaks(early, 1, 20), at(30, announce(ORCHARD)), speaks(ORCHARD, 35, 150), expect_silent("address-moved"))


def test_a_router_speaks_for_many() -> None:
    far = [SERVER.at(f"10.0.9.{i}") for i in range(12)]
    story(
        *(at(1 + i, announce(each)) for i, each in enumerate(far)), speaks(far[-1], 20, 150),
        expect_silent("address-moved", "duplicate-address"),
    )  # fmt: skip


# ---- address-declined ----


def declines(seconds: float, who: Box, address: str) -> list[Event]:
    """Server and address must be named (RFC 2131 table 5)."""
    return at(seconds, dhcp(DECLINE, who, server=SERVER.address, requested=address))


def test_an_address_is_refused() -> None:
    story(
        speaks(WALK, 1, 60), declines(30, ORCHARD, WALK.address), quiet(5),
        expect("address-declined", subject=f"address:{WALK.address}", severity="soon", certainty="certain", opened=(30, 30.5),
               facts={"holder": WALK.mac, "clients": [ORCHARD.mac]}),
    )  # fmt: skip


def test_refused_again_and_again() -> None:
    """RFC 2131 3.1 step 5: at least 10 s between two tries."""
    story(
        declines(10, ORCHARD, "10.0.0.101"), declines(25, ORCHARD, "10.0.0.102"), declines(40, ORCHARD, "10.0.0.103"), quiet(5),
        expect("address-declined", subject="address:10.0.0.103", severity="now", facts={"loops": 3, "holder": None}),
    )  # fmt: skip


def test_a_refusal_is_over_after_a_while() -> None:
    story(
        declines(10, ORCHARD, "10.0.0.101"), every(300, announce(DESK), start=20, stop=1000),
        expect("address-declined", closed=(605, 615)),
    )  # fmt: skip


def test_three_refusals_in_an_hour_are_no_loop() -> None:
    story(
        declines(10, ORCHARD, "10.0.0.101"), declines(1500, ORCHARD, "10.0.0.102"), declines(3000, ORCHARD, "10.0.0.103"),
        quiet(5),
        expect("address-declined", subject="address:10.0.0.103", severity="soon", facts={"loops": 1}),
    )  # fmt: skip


def test_leases_without_refusals_are_silent() -> None:
    story(leases(), at(30, dhcp(DISCOVER, ORCHARD)), quiet(20), expect_silent("address-declined"), expect_silent())


# ---- fixed-address-in-pool ----

QUICK = replace(DEFAULTS, fixed_wait_s=100.0)
INSIDE = BOATHOUSE.at("10.0.0.105")


def leases(lease: int = 120) -> list[Event]:
    """Three boxes are given addresses, in answers that go to all."""
    given = {WALK: "10.0.0.100", POND: "10.0.0.104", ORCHARD: "10.0.0.109"}
    return [
        event
        for i, (who, address) in enumerate(given.items())
        for event in at(
            1 + i, dhcp(REQUEST, who, server=SERVER.address, requested=address),
            dhcp(ACK, who, server=SERVER.address, yiaddr=address, mask="255.255.255.0", lease=lease, by=SERVER),
        )
    ]  # fmt: skip


def test_a_fixed_address_in_what_is_given_out() -> None:
    """From a mirror port one lease without a renewal is enough."""
    story(
        listening("mirror"), leases(120), speaks(INSIDE, 5, 160), quiet(5),
        expect("fixed-address-in-pool", subject="address:10.0.0.105", severity="tidy", certainty="hint", opened=(125, 160),
               facts={"first": "10.0.0.100", "last": "10.0.0.109"}),
    )  # fmt: skip


def test_from_an_ordinary_port_it_takes_a_day() -> None:
    """Renewals are not heard there; here the day is 100 s."""
    story(leases(20), speaks(INSIDE, 5, 160), quiet(5), expect("fixed-address-in-pool", opened=(105, 160)), numbers=QUICK)
    story(leases(20), speaks(INSIDE, 5, 160), quiet(5), expect_silent("fixed-address-in-pool"))


def test_by_the_plan() -> None:
    plan = Expected(
        devices=(ExpectedDevice(name="boathouse", mac=INSIDE.mac, address=INSIDE.address),), pools=(("10.0.0.100", "10.0.0.199"),)
    )
    story(
        at(1, announce(INSIDE)), quiet(30),
        expect("fixed-address-in-pool", severity="soon", certainty="likely", facts={"by_plan": True}), plan=plan,
    )  # fmt: skip
    story(
        listening("mirror"), at(1, announce(INSIDE)), quiet(30), expect("fixed-address-in-pool", certainty="certain"), plan=plan,
    )  # fmt: skip


def test_outside_of_the_range() -> None:
    story(listening("mirror"), leases(60), speaks(BOATHOUSE, 5, 200), quiet(5), expect_silent("fixed-address-in-pool"))


def test_a_box_that_renews_what_it_got_before_we_listened() -> None:
    """On a mirror port its renewals are seen: REQUEST with ciaddr to the server (RFC 2131 table 4)."""
    story(
        listening("mirror"), leases(60), speaks(INSIDE, 5, 200), at(30, dhcp(REQUEST, INSIDE, ciaddr=INSIDE.address)), quiet(5),
        expect_silent("fixed-address-in-pool"),
    )  # fmt: skip


def test_the_server_itself_may_lie_in_its_range() -> None:
    inside = SERVER.at("10.0.0.103")
    answers = [
        event
        for i, who in enumerate((WALK, POND, ORCHARD))
        for event in at(1 + i, dhcp(ACK, who, server=inside.address, yiaddr=f"10.0.0.{100 + 4 * i}", lease=60, by=inside))
    ]
    story(listening("mirror"), answers, speaks(inside, 5, 200), quiet(5), expect_silent("fixed-address-in-pool"))
