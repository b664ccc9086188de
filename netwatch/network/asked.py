"""What this laptop asked on request, as marks tell, and what was answered. A stranger's file may hold anything here."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from ipaddress import AddressValueError, IPv4Address
from typing import Any

from netwatch.decode.tables import Dhcp

KINDS = ("dhcp", "artnet", "arp")
MOST, MOST_ANSWERS, MOST_TARGETS = 64, 64, 1_024
_LONGEST_S = 600
NS = 1_000_000_000


@dataclass(slots=True)
class Question:
    """One question; times in ns."""

    kind: str
    at: int
    until: int
    """So long answers were waited for."""
    segment: int
    xid: int | None = None
    """Of DHCP: answers bear the same one (RFC 2131 2)."""
    targets: tuple[str, ...] = ()
    """Of ARP: the addresses that were asked for."""
    answers: list[Dhcp] = field(default_factory=list)
    """Of DHCP."""

    def holds(self, segment: int, time: int) -> bool:
        """Came something while it was waited for?"""
        return segment == self.segment and self.at <= time <= self.until


def read(told: object, segment: int, time: int) -> Question | None:
    """The question that a mark at fold time ``time`` tells, None where it tells none."""
    if not isinstance(told, Mapping) or told.get("kind") not in KINDS:
        return None
    seconds, xid, targets = told.get("seconds"), told.get("xid"), told.get("targets")
    wait = seconds if isinstance(seconds, int | float) and 0 < seconds <= _LONGEST_S else 0.0
    named = tuple(_address(each) for each in targets[:MOST_TARGETS]) if isinstance(targets, list | tuple) else ()
    until = time + int(wait * NS)
    return Question(told["kind"], time, until, segment, xid if type(xid) is int else None, tuple(each for each in named if each))


def _address(text: Any) -> str:
    try:
        return str(IPv4Address(text)) if isinstance(text, str) else ""
    except AddressValueError:
        return ""


def answered(questions: list[Question], record: Dhcp) -> bool:
    """Note a DHCP message that answers one of them."""
    for each in questions:
        if record.op == 2 and record.xid == each.xid and record.segment == each.segment:
            if len(each.answers) < MOST_ANSWERS:
                each.answers.append(record)
            return True
    return False
