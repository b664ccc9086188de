"""What may be asked, and the limits. Common practice, no source, where no standard is named."""

from __future__ import annotations

from ipaddress import IPv4Address, IPv4Interface, IPv4Network

import pytest

from netwatch.asking.questions import MOST_ADDRESSES, CannotAsk, Card, arp, artnet, dhcp, sweep, too_soon

CARD = Card("eth0", bytes.fromhex("020000000063"), (IPv4Interface("10.77.0.99/16"),))
BARE = Card("eth0", CARD.mac)


def test_each_question_says_what_is_sent_to_whom_and_what_it_disturbs() -> None:
    said = {each.kind: each.sentence for each in (dhcp(CARD), artnet(CARD), arp(CARD, [IPv4Address("10.77.0.1")], "addresses"))}
    assert "One DHCP question (DISCOVER) goes from eth0 (02:00:00:00:00:63) to every box" in said["dhcp"]
    assert "may keep one free address back" in said["dhcp"]
    assert "One ArtPoll goes from 10.77.0.99 on eth0 to every box (10.77.255.255)" in said["artnet"]
    assert "one more controller" in said["artnet"]
    assert said["arp"].startswith("One ARP question (addresses) goes from eth0")
    assert "may take it for taken" in said["arp"]
    assert "give nothing out" in dhcp(CARD, inform=True).sentence


def test_one_packet_each_and_arp_one_an_address() -> None:
    assert len(dhcp(CARD).frames) == len(artnet(CARD).frames) == 1
    asking = arp(CARD, [IPv4Address(f"10.77.0.{n}") for n in (3, 1, 3, 99)], "addresses")
    assert asking.facts["targets"] == ["10.77.0.1", "10.77.0.3"]
    assert len(asking.frames) == 2


def test_a_sweep_asks_for_the_hosts_of_a_range() -> None:
    asked = sweep(CARD, IPv4Network("10.77.1.0/24"))
    assert (asked.facts["targets"][0], asked.facts["targets"][-1], len(asked.frames)) == ("10.77.1.1", "10.77.1.254", 254)
    assert round(asked.seconds, 2) == 253 / 20
    assert "20 a second, for 13 s" in asked.sentence


@pytest.mark.parametrize(("wanted", "said"), [
    (None, "That makes 65,536 addresses (10.77.0.0/16), 55 minutes of questions to every box; at most 1,024"),
    ("10.77.0.0/21", "That makes 2,048 addresses"),
    ("10.78.0.0/24", "10.78.0.0/24 is not in a subnet of eth0 (10.77.0.0/16)"),
])
def test_sweeps_that_are_refused(wanted: str | None, said: str) -> None:
    with pytest.raises(CannotAsk) as caught:
        sweep(CARD, None if wanted is None else IPv4Network(wanted))
    assert said in str(caught.value)


def test_a_sweep_of_a_class_a_network_is_refused_with_the_count() -> None:
    """2 ** 24 addresses (RFC 4632 3.1)."""
    with pytest.raises(CannotAsk, match=r"16,777,216 addresses \(2\.0\.0\.0/8\), 9\.7 days"):
        sweep(Card("eth0", CARD.mac, (IPv4Interface("2.0.0.5/8"),)), None)


def test_a_slash_22_just_fits() -> None:
    assert len(sweep(CARD, IPv4Network("10.77.4.0/22")).frames) == MOST_ADDRESSES - 2


def test_what_needs_an_address() -> None:
    assert dhcp(BARE).frames
    for ask in (artnet, lambda card: sweep(card, None), lambda card: dhcp(card, inform=True)):
        with pytest.raises(CannotAsk, match="eth0 has no IPv4 address"):
            ask(BARE)
    with pytest.raises(CannotAsk, match="leaves no broadcast address"):  # RFC 3021
        artnet(Card("eth0", CARD.mac, (IPv4Interface("10.77.0.0/31"),)))
    with pytest.raises(CannotAsk, match="no address to ask for"):
        arp(CARD, [IPv4Address("10.77.0.99")], "addresses")


def test_one_a_minute() -> None:
    assert too_soon(None, 0) is None
    assert too_soon(10**9, 61 * 10**9) is None
    assert too_soon(10**9, 13 * 10**9) == "The last question was asked 12 s ago: wait 48 s more, for one a minute is the limit."
    assert too_soon(70 * 10**9, 10**9) is None  # the clock was set back
