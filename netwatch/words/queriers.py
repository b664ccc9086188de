"""Words of the alerts about the boxes that keep multicast alive, and about switches that pass everything on."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, light, said
from .phrases import Facts, listing, mbit, name, names, number, seconds, start

_ASKS = "mostly nothing; but the first question can make the switch start to filter, and a receiver that never asks for its "
QUERIER_DISTURBS = f"{_ASKS}universes is dark some 10 s later; {CAUTION}"
_BELOW = "light may stop for some seconds where the new box asks in another way; " + CAUTION


def until_dark(facts: Facts, clock: Clock) -> str | None:
    """'universe 7 goes dark at about 19:14', 'universes 1-8 go dark, the first between 19:11 and 19:14'."""
    first, last = facts.get("goes_dark_at"), facts.get("goes_dark_by")
    if first is None:
        return None
    several = len(facts.get("universes") or ()) > 1
    what = light({"universes": facts.get("universes")}, IN_FULL) or "light"
    when = f"at about {clock(first)}"
    if last is not None and clock(last) != clock(first):
        when = f"between {clock(first)} and {clock(last)}"
    return f"{what} {'go dark, the first ' if several else 'goes dark '}{when}"


def _lost_title(facts: Facts) -> str:
    who, new = name(facts.get("who"), "The box"), facts.get("taken_over_by")
    if new:
        return f"{who} no longer keeps multicast alive; {name(new, 'another box')} has taken over"
    dark = "" if facts.get("prunes") is False else ": light may go dark within minutes"
    return f"{who} has stopped keeping multicast alive{dark}"


def _lost_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    last, every, gone, dark = facts.get("last"), facts.get("interval"), facts.get("seconds"), until_dark(facts, clock)
    habit = {
        True: "This switch was seen to hold back light that nobody asked for.",
        False: "Light that nobody asked for arrives all the time: this switch passes everything on; nothing will drop.",
        None: "It is not known yet whether this switch holds light back.",
    }[facts.get("prunes")]
    if facts.get("taken_over_by"):
        return said(
            f"{name(facts.get('who'), 'It')} asked last at {clock(last)} who listens (IGMP query)." if last is not None else None,
            "Another box asks now. A few receivers may be dark for some seconds meanwhile, even when all goes well.",
        )
    return said(
        f"It asked last at {clock(last)} who listens (IGMP query)." if last is not None else None,
        f"It used to ask every {seconds(every)}; now it has been silent for {seconds(gone)}."
        if every is not None and gone is not None
        else None,
        habit,
        start(f"{'' if facts.get('prunes') else 'If it does, '}{dark}.") if dark else None,
        f"Stopped already: {light({'universes': facts['dropped']}, IN_FULL)}." if facts.get("dropped") else None,
    )


_TWO_TITLES = {
    "two": "{who} both keep multicast alive, but only one should",
    "versions": "The boxes that keep multicast alive speak different versions: some light may drop",
    "version 1": "Multicast is kept alive in the oldest version: nobody can leave a universe",
    "switch": "Only a switch itself keeps multicast alive, not a box that was chosen for it",
}


def _two_title(facts: Facts) -> str:
    who = names(facts.get("queriers"), 2) or "Two boxes"
    return _TWO_TITLES.get(str(facts.get("kind")), _TWO_TITLES["two"]).format(who=who)


def _two_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    queriers, versions = names(facts.get("queriers"), 8), facts.get("versions")
    apart = facts.get("same_subnet") is False
    return said(
        f"Questions who listens (IGMP queries) come from {queriers}."
        if queriers
        else "Questions who listens come without an address.",
        f"IGMP {'version' if len(versions) == 1 else 'versions'} {listing(map(str, versions))}." if versions else None,
        "The boxes sit in different networks: perhaps a cable joins two VLANs." if apart else None,
    )


def _flooded_title(facts: Facts) -> str:
    count = len(facts.get("universes") or ())
    what = f": {number(count)} unasked universes arrive" if count > 1 else ""
    return f"This switch passes all light on to every port{what}"


def _flooded_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    rate, what = facts.get("mbit"), light({"universes": facts.get("universes")}, IN_FULL)
    return said(
        f"{start(what or 'light')} {'arrive' if len(facts.get('universes') or ()) > 1 else 'arrives'} though this laptop did "
        f"not ask for it.",
        f"That is {mbit(rate)}." if rate is not None else None,
        "Nothing will drop for want of a querier.",
        "Some universes arrive and others do not: the switch's list of groups may be full." if facts.get("table_full") else None,
    )


QUERIERS: dict[str, Words] = {
    "querier-lost": Words(
        title=_lost_title,
        why="Switches that filter multicast forget after some minutes who wanted which universe. The box that asked again and "
        "again is "
        "silent, so nodes go dark some 2 to 5 minutes later, and nobody thinks of the switch that was unplugged before.",
        steps=(
            ("Ask whether somebody has just switched off, restarted or moved {who}.", NOTHING),
            ("Power {who} up again, or plug it in again.", _BELOW),
            ("If it is gone for good: switch the IGMP querier on in another switch now, best the central one.", QUERIER_DISTURBS),
            after_show("After the show: set up a second querier with a higher address, as a stand-by.", NOTHING),
        ),
        mistaken=(
            "a box that asks more rarely than it did before",
            "a question that was lost on the way, or a recording with a gap",
            "a switch on the way that was restarted or changed its paths at that moment",
        ),
        seen=_lost_seen,
        sure={
            "certain": "it said itself when it would ask again, and did not",
            "likely": "two questions in a row did not come",
            "hint": "one question did not come; it may only be late",
        },
        how="The next question is due after the interval that the box names itself (IGMP version 3), else after the longest "
        "gap heard so "
        "far, at first 125 s. It is told at 1.2 intervals, and is urgent at 2 if this switch was seen to hold light back.",
        where="Mirror port, ordinary port: yes. Wi-Fi: in part. Limited view: no.",
    ),
    "two-queriers": Words(
        title=_two_title,
        why="One box should ask who listens; by the rules the one with the lowest address wins and the others are silent. "
        "Where two go on, "
        "or where versions are mixed, switches and nodes answer to different boxes, and single universes drop out now and then.",
        steps=(
            ("Find out which boxes ask: their addresses stand above.", NOTHING),
            ("Look whether a cable joins two networks (VLANs) that should be apart.", NOTHING),
            after_show("Set the same IGMP version and interval in all switches.", _BELOW),
            after_show("Leave the querier on in one switch only, best the central one.", _BELOW),
        ),
        mistaken=(
            "the first half minute, in which each box may ask twice",
            "questions from 0.0.0.0: a switch asks on behalf of the real box, which is normal",
            "questions for a single universe after somebody left it",
        ),
        seen=_two_seen,
        sure={
            "certain": "both asked at least twice in 10 minutes, and over the same time; or version 1 was heard",
            "likely": "two versions were heard within 400 s",
            "hint": "worth a look at the switches",
        },
        how="General queries are counted by sender. Two senders with an address of their own, each at least twice in 10 "
        "minutes and side "
        "by side for more than 60 s, are one too many; at start they may overlap for some 32 s. Different versions within 400 "
        "s, and "
        "version 1 at any time, are told too.",
        where="Mirror port, ordinary port: yes. Wi-Fi: in part. Limited view: no.",
    ),
    "multicast-flooded": Words(
        title=_flooded_title,
        why="Every box gets all light. For a small rig that is robust: nothing can be dropped. With many universes slow nodes "
        "flicker, "
        "their web pages become slow, and Wi-Fi on the same network breaks down.",
        steps=(
            ("Look at the rate above. If it is small, leave it so: it is robust.", NOTHING),
            ("Keep Wi-Fi and media servers off this network, or in a VLAN of their own.", NOTHING),
            after_show(
                "If it is large: switch multicast filtering (IGMP snooping) and a querier on together, never the filtering "
                "alone.",
                f"light may stop for some seconds, and for good where a receiver never asks for its universes; {CAUTION}",
            ),
        ),
        mistaken=(
            "a program on this laptop that had asked for it before the recording began",
            "what this laptop asked for earlier: the switch remembers it for some minutes",
            "a burst right after the cable was plugged in",
            "a mirror port, or the port that leads to the querier: both get everything",
        ),
        seen=_flooded_seen,
        sure={
            "certain": "light that this laptop did not ask for arrives without a break",
            "likely": "it fits, but the laptop may have asked for it before",
            "hint": "an access point passes it on; the wires may differ",
        },
        how="A universe that this laptop did not ask for, or left more than 270 s ago, arrives for 30 s without a break. From "
        "40 universes "
        "on it is a matter of quality; above 70 Mbit/s nodes with a 100 Mbit/s port are in danger.",
        where="Ordinary port: yes, that is what an idle port shows best. Mirror port: no. Wi-Fi: as a hint. Limited view: no.",
    ),
}
