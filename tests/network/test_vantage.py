"""Where we listen, by what a port shows: RFC 4541 2.1 (reports go to queriers only), RFC 2131 4.1 (OFFER and ACK by unicast)."""

from __future__ import annotations

from itertools import pairwise

import pytest

from netwatch.packets.batch import Port
from netwatch.story.snapshot import Listening
from tests.stories import frames
from tests.stories.boxes import BOATHOUSE, DESK, LAPTOP, ORCHARD, POND, SERVER, WALK, Box
from tests.stories.frames import ACK, OFFER, arp, chatter, dhcp, report, report3
from tests.stories.playing import Event, picture, play
from tests.stories.script import at, every

OURS = (Port("eth0", 1, (frames.mac(LAPTOP.mac),)),)
NAMELESS = (Port("eth0", 1),)
BROADCASTS = [*every(10, arp(DESK, "10.0.0.1"), arp(WALK, "10.0.0.1"), stop=75)]


def where(events: list[Event], ports: tuple[Port, ...] = OURS, vantage: str | None = None) -> str:
    """From where, and why."""
    return listening(events, ports, vantage)[0].vantage


def listening(events: list[Event], ports: tuple[Port, ...], vantage: str | None = None) -> tuple[Listening, ...]:
    events = sorted(events, key=lambda event: event.time)
    return picture(play(events, ports, vantage=vantage)).listening


def talk(one: Box, other: Box, seconds: float = 1) -> list[Event]:
    """Unicast both ways."""
    return at(seconds, chatter(one, other), chatter(other, one))


def test_two_conversations_of_others_are_a_mirror() -> None:
    assert where(talk(DESK, WALK) + talk(SERVER, POND)) == "mirror"


def test_one_conversation_is_not_enough() -> None:
    """A switch floods it until it has learned both."""
    assert where(talk(DESK, WALK)) == "unknown"


def test_one_way_proves_nothing() -> None:
    events = [event for one, other in pairwise((DESK, WALK, POND, ORCHARD)) for event in at(1, chatter(one, other))]
    assert where(events) == "unknown"


def test_our_own_conversations_prove_nothing() -> None:
    events = [event for other in (DESK, WALK, POND) for event in talk(LAPTOP, other)]
    assert where(events) == "unknown"


def test_where_we_are_not_known_all_conversations_of_one_box_might_be_ours() -> None:
    events = [event for other in (DESK, WALK, POND) for event in talk(LAPTOP, other)]
    assert where(events, NAMELESS) == "unknown"
    assert where(events + talk(DESK, WALK, 2) + talk(WALK, POND, 2), NAMELESS) == "mirror"


@pytest.mark.parametrize("message", [OFFER, ACK])
def test_answers_to_two_others_are_a_mirror(message: int) -> None:
    answers = [
        dhcp(message, who, server=SERVER.address, yiaddr=f"10.0.0.{50 + i}", by=SERVER, broadcast=False, lease=60)
        for i, who in enumerate((WALK, POND, ORCHARD))
    ]
    assert where(at(1, *answers[:1])) == "unknown"
    assert where(at(1, *answers[:2])) == "mirror"
    assert where(at(1, *answers[:2]), NAMELESS) == "unknown"  # one of the two might be us
    assert where(at(1, *answers[:3]), NAMELESS) == "mirror"


def test_broadcast_answers_reach_every_port() -> None:
    answers = [dhcp(ACK, who, server=SERVER.address, yiaddr="10.0.0.50", by=SERVER, lease=60) for who in (WALK, POND, ORCHARD)]
    assert where(at(1, *answers)) == "unknown"


def test_where_the_link_has_no_macs_nobody_is_named_by_one() -> None:
    """Raw IP, as tunnels have it (link type 101); the client's own may be missing, too (RFC 4390 2.1, from memory)."""
    answer = bytearray(dhcp(OFFER, WALK, server=SERVER.address, yiaddr="10.0.0.50", by=SERVER, broadcast=False, lease=60)[14:])
    answer[20 + 8 + 2] = 0
    assert where(at(1, report(WALK, "239.255.0.1")[14:], bytes(answer)), (Port("tun0", 101),)) == "unknown"


def test_two_others_heard_for_a_minute_are_an_ordinary_port() -> None:
    assert where(BROADCASTS) == "ordinary"
    assert where(BROADCASTS[:10]) == "unknown"


def test_one_other_is_not_enough() -> None:
    assert where(every(10, arp(DESK, "10.0.0.1"), stop=75)) == "unknown"


def test_where_we_are_not_known_the_only_reporter_is_us() -> None:
    """A switch that snoops keeps version 1 and 2 reports from ordinary ports, so we hear our own only."""
    assert where(BROADCASTS, NAMELESS) == "unknown"
    assert where(BROADCASTS + at(5, report(LAPTOP, "239.255.0.1")), NAMELESS) == "ordinary"


def test_two_reporters_or_version_3_say_nothing() -> None:
    """Version 3 reports go to 224.0.0.22, which is passed on to all (RFC 4541 2.1.2)."""
    two = at(5, report(LAPTOP, "239.255.0.1"), report(BOATHOUSE, "239.255.0.1"))
    assert where(BROADCASTS + two, NAMELESS) == "unknown"
    assert where(BROADCASTS + at(5, report3(LAPTOP, "239.255.0.1")), NAMELESS) == "unknown"


def test_what_goes_out_is_ours() -> None:
    assert where(BROADCASTS + at(1, arp(LAPTOP, "10.0.0.1"), direction=2), NAMELESS) == "ordinary"


def test_a_mirror_is_known_at_once_and_stays() -> None:
    assert where(talk(DESK, WALK) + talk(SERVER, POND) + BROADCASTS) == "mirror"


def test_wifi_and_plain_sockets_are_known_by_their_kind() -> None:
    assert where(BROADCASTS, (Port("wlan0", 1, kind="wifi"),)) == "wifi"
    assert where(BROADCASTS, (Port("eth0", 1, made_up=True),)) == "limited"


def test_what_the_person_says_stands() -> None:
    (told,) = listening(talk(DESK, WALK) + talk(SERVER, POND), OURS, "ordinary")
    assert (told.vantage, told.reasons) == ("ordinary", ("you said so",))


def test_each_port_for_itself() -> None:
    ports = (*OURS, Port("eth1", 1, (b"\x02\0\0\0\0\x98",)))
    other = [*at(1, chatter(DESK, WALK), chatter(WALK, DESK), chatter(SERVER, POND), chatter(POND, SERVER), port=1)]
    assert [each.vantage for each in listening(BROADCASTS + other, ports)] == ["ordinary", "mirror"]


def test_each_move_is_told() -> None:
    told = picture(play(sorted(BROADCASTS, key=lambda event: event.time), OURS))
    assert [each.text for each in told.happenings if each.what == "listening"] == ["eth0: ordinary"]
