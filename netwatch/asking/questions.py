"""The three questions that may be asked: what is sent, to whom, what it can disturb, and their limits. Pure; sends nothing."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Interface, IPv4Network
from typing import Any

from netwatch.asking import frames
from netwatch.plan.reach import broadcast

AGAIN_S = 60.0
"""At most one question in so long: nothing is asked over and over (common practice, no source)."""
WAIT_S = 5.0
"""Answers come within it: DHCP servers and nodes take a second or two, Art-Net 4 p.15 gives nodes 3 s."""
MOST_ADDRESSES = 1_024
"""Of ARP at once; a /22. More would be a flood of questions to every box (common practice, no source)."""
PROBES_A_SECOND = 20
"""Every box must look at each; more than that is felt by small ones (common practice, no source)."""


class CannotAsk(ValueError):
    """One sentence: why this can't be asked, and what to do."""


@dataclass(frozen=True, slots=True)
class Card:
    """The network card that asks: its own MAC and its own addresses, nothing else is ever sent from."""

    name: str
    mac: bytes
    addresses: tuple[IPv4Interface, ...] = ()

    @property
    def address(self) -> IPv4Interface:
        """The first one. Raises ``CannotAsk``."""
        if not self.addresses:
            raise CannotAsk(f"{self.name} has no IPv4 address, and this question needs one; give it one of the rig's subnet.")
        return self.addresses[0]


@dataclass(frozen=True, slots=True)
class Asking:
    """One question, ready to be sent."""

    kind: str
    frames: tuple[bytes, ...]
    sentence: str
    """What is sent, to whom, what it can disturb."""
    event: str
    """What stands in the record."""
    facts: dict[str, Any]
    """For the mark that tells the model."""

    @property
    def seconds(self) -> float:
        """How long the sending takes."""
        return (len(self.frames) - 1) / PROBES_A_SECOND


IN_SHOW = "The phase is 'show': ask only where light is in trouble already, and tell whoever calls the show."


def dhcp(card: Card, *, inform: bool = False, xid: int | None = None) -> Asking:
    """Who gives addresses, and with what. Raises ``CannotAsk``."""
    xid = random.getrandbits(32) if xid is None else xid
    message = frames.INFORM if inform else frames.DISCOVER
    frame = frames.dhcp(message, card.mac, xid, card.address.ip if inform else frames.NOBODY)
    to = f"goes from {card.name} ({card.mac.hex(':')}) to every box"
    sentence = (
        f"One DHCP question (INFORM) {to}: servers answer with their settings and give nothing out. Not all answer it."
        if inform else
        f"One DHCP question (DISCOVER) {to}: each server offers an address, and none is taken. Each server may keep one free "
        "address back for a minute or so."
    )  # fmt: skip
    event = f"asked who gives addresses (DHCP {'INFORM' if inform else 'DISCOVER'}, 1 packet)"
    return Asking("dhcp", (frame,), sentence, event, {"kind": "dhcp", "xid": xid, "seconds": WAIT_S})


def artnet(card: Card) -> Asking:
    """Which Art-Net nodes there are. Raises ``CannotAsk``."""
    own, to = card.address, broadcast(card.address)
    if to is None:
        raise CannotAsk(f"{own} leaves no broadcast address, so nobody can be asked; use a mask as the rig has it.")
    sentence = (
        f"One ArtPoll goes from {own.ip} on {card.name} to every box ({to}): nodes answer with their outputs. Nodes may list "
        "this laptop as one more controller for some seconds, and a very small one is busy for a moment."
    )
    event = f"asked which Art-Net nodes there are (ArtPoll to {to}, 1 packet)"
    poll = frames.artpoll(card.mac, own.ip, to)
    return Asking("artnet", (poll,), sentence, event, {"kind": "artnet", "seconds": WAIT_S})


def arp(card: Card, addresses: Iterable[IPv4Address], what: str) -> Asking:
    """Who has these addresses; ``what`` they are, as 'addresses of the plan'. Raises ``CannotAsk``."""
    own = {each.ip for each in card.addresses}
    asked = sorted({each for each in addresses if each not in own})
    if not asked:
        raise CannotAsk("There is no address to ask for: name a plan with --plan, or ask for a whole range with --sweep.")
    if len(asked) > MOST_ADDRESSES:
        raise CannotAsk(_too_many(len(asked), what))
    seconds = len(asked) / PROBES_A_SECOND
    count, go = (f"{len(asked)} ARP questions", "go") if len(asked) > 1 else ("One ARP question", "goes")
    pace = f", {PROBES_A_SECOND} a second, for {seconds:.0f} s" if seconds >= 1 else ""
    sentence = (
        f"{count} ({what}) {go} from {card.name} ({card.mac.hex(':')}) to every box{pace}: who has one of the addresses answers. "
        "A box that starts with one of them just now may take it for taken, so ask when nothing is being switched on."
    )
    probes = tuple(frames.arp_probe(card.mac, each) for each in asked)
    facts = {"kind": "arp", "seconds": WAIT_S + seconds, "targets": [str(each) for each in asked]}
    return Asking("arp", probes, sentence, f"asked who has {what} ({len(asked)} ARP probes)", facts)


def sweep(card: Card, wanted: IPv4Network | None) -> Asking:
    """All addresses of the own subnet, or of a range in it. Raises ``CannotAsk``."""
    networks = [each.network for each in card.addresses]
    if wanted is None:
        wanted = card.address.network
    elif not any(wanted.subnet_of(each) for each in networks):
        known = ", ".join(map(str, networks)) or "none"
        raise CannotAsk(f"{wanted} is not in a subnet of {card.name} ({known}); only the own subnet is asked through.")
    if wanted.num_addresses > MOST_ADDRESSES:
        raise CannotAsk(_too_many(wanted.num_addresses, str(wanted)))
    return arp(card, wanted.hosts(), f"addresses of {wanted}")


def _too_many(count: int, what: str) -> str:
    days = count / PROBES_A_SECOND / 86_400
    long = f"{days:,.1f} days" if days >= 1 else f"{days * 24 * 60:,.0f} minutes"
    return (f"That makes {count:,} addresses ({what}), {long} of questions to every box; at most {MOST_ADDRESSES:,} are asked at "
            "once: name a part of them, as --sweep 10.0.1.0/24.")


def too_soon(last: int | None, now: int) -> str | None:
    """One sentence where the last question was asked just now; times in ns."""
    if last is None or not 0 <= now - last < AGAIN_S * 1e9:
        return None
    rest = AGAIN_S - (now - last) / 1e9
    return f"The last question was asked {(now - last) / 1e9:.0f} s ago: wait {rest:.0f} s more, for one a minute is the limit."
