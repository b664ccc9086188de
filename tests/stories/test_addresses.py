"""Stories of addresses: one used by two boxes, and made-up ones. Silent stories are what each is mistaken for."""

from __future__ import annotations

from tests.stories.boxes import BOATHOUSE, DESK, ORCHARD, POND, SERVER, WALK, Box
from tests.stories.frames import DISCOVER, announce, arp, chatter, dhcp, e131, probe
from tests.stories.script import at, every, expect, expect_silent, listening, quiet, story, stream

TWIN = ORCHARD.at(WALK.address)
"""Another box that uses the lantern walk's address."""
MADE_UP = "169.254.7.9"
RIG = [every(5, *(arp(each, "10.0.0.1") for each in (DESK, WALK, POND, ORCHARD)), stop=60)]
"""Four boxes with addresses."""

# ---- duplicate-address ----


def test_two_boxes_ask_in_turn() -> None:
    """ARP with one sender address from two MACs, interleaved (RFC 5227 2.4)."""
    story(
        at(1, arp(WALK, "10.0.0.1")), at(5, arp(TWIN, "10.0.0.1")), at(9, arp(WALK, "10.0.0.1")), at(20, arp(TWIN, "10.0.0.7")),
        expect(
            "duplicate-address", subject="address:10.0.0.21", severity="now", certainty="certain", opened=(20, 20.3),
            title="Two devices use 10.0.0.21", facts={"macs": [WALK.mac, TWIN.mac]},
        ),
    )  # fmt: skip


def test_two_controllers_send_light_from_one_address() -> None:
    story(
        stream(1, DESK, hz=10, stop=8), stream(2, POND.at(DESK.address), hz=10, start=2, stop=8),
        expect("duplicate-address", subject="address:10.0.0.10", severity="now"),
    )  # fmt: skip


def test_light_and_a_word_in_between() -> None:
    """The one sends light, the other only asks."""
    story(
        stream(1, DESK, hz=10, stop=30), every(10, arp(POND.at(DESK.address), "10.0.0.1"), start=5, stop=30),
        expect("duplicate-address", subject="address:10.0.0.10"),
    )  # fmt: skip


def test_a_conflict_is_over_when_one_box_is_pulled() -> None:
    story(
        every(10, arp(WALK, "10.0.0.1"), stop=700), every(10, arp(TWIN, "10.0.0.1"), start=5, stop=30), quiet(40),
        expect("duplicate-address", opened=(15, 16), closed=(630, 640)),
    )  # fmt: skip


def test_a_box_was_replaced() -> None:
    """The old one is silent from a moment on: A, A, then only B."""
    story(every(3, arp(WALK, "10.0.0.1"), stop=30), every(3, arp(TWIN, "10.0.0.1"), start=31, stop=90), expect_silent())


def test_a_box_was_replaced_and_changed_back_later() -> None:
    """Not within a minute: two replacements, no quarrel."""
    story(
        every(3, arp(WALK, "10.0.0.1"), stop=10), every(3, arp(TWIN, "10.0.0.1"), start=20, stop=80),
        every(3, arp(WALK, "10.0.0.1"), start=81, stop=90), expect_silent("duplicate-address"),
    )  # fmt: skip


def test_a_virtual_router_moves_its_address() -> None:
    """MACs 00:00:5E:00:01:xx are those of virtual routers (RFC 9568 7.3)."""
    router = SERVER.card("00:00:5e:00:01:07")
    story(every(4, arp(SERVER, "10.0.0.9"), arp(router, "10.0.0.9"), stop=60), expect_silent("duplicate-address"))


def test_a_router_answers_for_many() -> None:
    """Proxy ARP (RFC 1027): one MAC for many addresses takes nobody's away."""
    others = [arp(SERVER, "10.0.0.9", op=2, to=DESK, says=f"10.0.0.{number}") for number in range(20, 30)]
    story(every(5, *others, arp(WALK, "10.0.0.1"), stop=60), expect_silent("duplicate-address"))


def test_the_same_addresses_on_two_vlans() -> None:
    packets = every(4, arp(WALK, "10.0.0.1", vlan=5), arp(TWIN, "10.0.0.1", vlan=6), stop=60)
    story(packets, expect_silent("duplicate-address"), expect("trunk-port"))


def test_a_probe_claims_nothing() -> None:
    """RFC 5227 2.1.1: its sender address is 0.0.0.0."""
    story(every(4, arp(WALK, "10.0.0.1"), probe(ORCHARD, WALK.address), stop=60), expect_silent())


def test_far_addresses_all_have_the_routers_mac() -> None:
    """Behind two routers one far address comes from two MACs; each speaks for many."""
    far = [f"203.0.113.{number}" for number in range(1, 12)]
    packets = [chatter(router.at(address)) for address in far for router in (SERVER, BOATHOUSE)]
    story(every(4, *packets, stop=40), expect_silent("duplicate-address"))


# ---- link-local-address ----


def alone(who: Box = WALK) -> Box:
    return who.at(MADE_UP)


def test_one_box_among_many_made_up_its_address() -> None:
    """RFC 3927 2.2.1: two announcements, 2 s apart."""
    box = BOATHOUSE.at(MADE_UP)
    story(
        *RIG, at(3, announce(box)), at(5, announce(box)), every(10, arp(box, "10.0.0.1"), start=6, stop=60),
        expect(
            "link-local-address", subject=f"host:{box.mac}", severity="soon", certainty="certain", opened=(13, 20.3),
            title="02:00:00:00:00:18 made up an address for itself",
        ),
    )  # fmt: skip


def test_it_is_called_by_its_name() -> None:
    story(
        *RIG, at(1, dhcp(DISCOVER, BOATHOUSE, host_name="boathouse")),
        every(10, arp(alone(BOATHOUSE), "10.0.0.1"), start=6, stop=60),
        expect("link-local-address", title="boathouse found no DHCP server and made up an address", facts={"asked_dhcp": True}),
    )  # fmt: skip


def test_it_gets_an_address_after_all() -> None:
    box = BOATHOUSE
    story(
        *RIG, every(10, arp(alone(box), "10.0.0.1"), start=3, stop=40), every(5, arp(box, "10.0.0.1"), start=40, stop=120),
        expect("link-local-address", closed=(40, 50)),
    )  # fmt: skip


def test_a_whole_rig_on_made_up_addresses_is_only_untidy() -> None:
    """It works, and may be meant."""
    boxes = [each.at(f"169.254.7.{i}") for i, each in enumerate((DESK, WALK, POND), 1)]
    told = story(every(5, *(arp(each, "169.254.7.9") for each in boxes), stop=60), expect_silent())
    assert {each.severity for each in told.alerts} == {"tidy"}


def test_a_second_address_beside_the_right_one() -> None:
    """Some desktop systems keep it for a while."""
    story(*RIG, every(5, arp(WALK.at(MADE_UP), "10.0.0.1"), start=2, stop=60), expect_silent())


def test_a_second_address_of_a_controller_that_only_sends_light() -> None:
    """Its right address is heard in its light alone."""
    story(
        *RIG, stream(1, BOATHOUSE, hz=5, stop=200), every(5, arp(alone(BOATHOUSE), "10.0.0.1"), start=10, stop=200),
        expect_silent(),
    )


def test_hand_set_addresses_at_the_edges() -> None:
    """169.254.0.x and 169.254.255.x are never made up (RFC 3927 2.1)."""
    story(
        *RIG, every(5, arp(WALK.at("169.254.0.9"), "10.0.0.1"), arp(POND.at("169.254.255.9"), "10.0.0.1"), stop=60),
        expect_silent("link-local-address"),
    )  # fmt: skip


def test_probing_is_not_using() -> None:
    story(
        *RIG, at(1, probe(BOATHOUSE, MADE_UP)), at(2, probe(BOATHOUSE, MADE_UP)), quiet(60), expect_silent("link-local-address")
    )


def test_plain_sockets_can_not_tell() -> None:
    story(
        listening("limited"),
        every(5, e131(alone(), 1), e131(DESK, 2), stop=90),
        expect_silent("link-local-address", "duplicate-address"),
    )
