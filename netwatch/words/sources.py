"""Words of the alerts about who may send a universe: sharing, backups, preview, numbers, groups, identities, lists."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, light, sacn, said
from .phrases import Facts, name, names, number, ranges, start, universe


def _who(facts: Facts) -> str:
    return name(facts.get("who"), "A controller")


def _full(facts: Facts) -> str:
    return light(facts, IN_FULL) or "its universes"


def _shared_title(facts: Facts) -> str:
    many = facts.get("sources")
    who = names(facts.get("also"), 2) or "Several controllers"
    return (
        f"{who} share {universe(facts.get('universe'), facts.get('protocol'))}"
        if not many or many < 3
        else (f"{number(many)} controllers share {universe(facts.get('universe'), facts.get('protocol'))}")
    )


def _shared_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    who, priority = names(facts.get("also"), 8), facts.get("priority")
    return said(
        f"{who} send it at the same time." if who else None,
        f"All have priority {priority}; the receivers decide how they mix." if priority is not None else None,
    )


def _backup_title(facts: Facts) -> str:
    backup, what = name(facts.get("backup"), "A backup"), light(facts, 2)
    return f"{backup} took over {what or 'light'} from {name(facts.get('who'), 'the main controller')}"


def _backup_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    main, backup = name(facts.get("who"), "The main controller"), name(facts.get("backup"), "the backup")
    went = "signed off" if facts.get("ended") else "went silent"
    high, low, changes = facts.get("main_priority"), facts.get("priority"), facts.get("changes")
    return said(
        f"{main} {went}; {backup} goes on with {_full(facts)}.",
        f"Priorities: {high} before, {low} now." if high is not None and low is not None else None,
        f"To and fro {number(changes)} times in 5 minutes." if changes and changes > 1 else None,
    )


def _preview_title(facts: Facts) -> str:
    return f"{_who(facts)} sends {sacn(facts, 2) or 'a universe'} as preview only: fixtures ignore it"


def _preview_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    return (f"All that arrives of {_full(facts)} carries the mark 'preview'; nothing without it was heard.",)


def _range_title(facts: Facts) -> str:
    found = facts.get("universes") or ()
    return f"{_who(facts)} sends {sacn(facts, 1) or 'a universe'}, which sACN does not have" + (
        ": it begins at 1" if 0 in found else ""
    )


def _range_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    return said(f"{start(_full(facts))} came from {_who(facts)}.", "Universes go from 1 to 63,999.")


def _group_title(facts: Facts) -> str:
    return f"{_who(facts)} sends {sacn(facts, 2) or 'a universe'} to a wrong group: receivers won't get it"


def _group_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    group, right = facts.get("group"), facts.get("right")
    how = {"swapped": "The two bytes of the universe's number are swapped.", "one": "All its universes go to one group."}
    return said(f"Sent to {group}; its own group is {right}." if group and right else None, how.get(str(facts.get("how"))))


def _slots_title(facts: Facts) -> str:
    mixed = facts.get("mixed")
    if mixed:
        return f"{_who(facts)} sends a priority for each channel, others on {light({'universes': mixed})} do not"
    return f"{_who(facts)} sends a priority for each DMX channel"


def _slots_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    mixed, others = facts.get("mixed"), names(facts.get("others"), 8)
    return said(
        f"START code DD (hexadecimal) between the levels of {_full(facts)}.",
        f"Only one priority for all channels: {others}, {light({'universes': mixed}, IN_FULL)}." if mixed and others else None,
    )


def _cloned_title(facts: Facts) -> str:
    if facts.get("two_networks"):
        return f"{_who(facts)} sends from two network sockets"
    what = sacn(facts)
    if facts.get("zero") and (facts.get("machines") or 0) < 2:
        return f"{_who(facts)} has no identity of its own: all zeros"
    return f"Two machines pose as one sender, {name(facts.get('who'), 'unnamed')}" + (f": {what}" if what else "")


def _cloned_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    addresses, also = names(facts.get("addresses"), 8), names(facts.get("also"), 8)
    zero = "Its identity (CID) is all zeros, so that every other such sender looks like the same." if facts.get("zero") else None
    counts = "Their numbers run together, so it is one sender." if facts.get("two_networks") else None
    return said(
        f"One identity (CID), used from {addresses}." if addresses else None, f"Called {also}." if also else None, zero, counts
    )


def _list_title(facts: Facts) -> str:
    unlisted, empty = facts.get("unlisted"), facts.get("empty")
    if unlisted:
        return f"{_who(facts)} sends {light({'universes': unlisted}, 2)} without listing it"
    what = light({"universes": empty}, 2)
    return f"{_who(facts)} lists {what or 'universes'} but sends nothing there"


def _list_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    unlisted, empty = facts.get("unlisted"), facts.get("empty")
    return said(
        f"Sent but not listed: {ranges(unlisted, IN_FULL)}." if unlisted else None,
        f"Listed, and nothing came for 30 s: {ranges(empty, IN_FULL)}." if empty else None,
    )


_ANYWHERE_MULTICAST = (
    "Mirror port: all of it. Ordinary port and limited view: multicast that arrives here, broadcast, and "
    "light sent to this laptop. "
    "Wi-Fi: the same."
)

SOURCES: dict[str, Words] = {
    "universe-shared": Words(
        title=_shared_title,
        why="Fine if it is meant so and the receivers mix the highest level of each channel. Some take two "
        "senders and refuse a third.",
        steps=(
            ("Is it meant so, such as a wall panel and a desk? Then nothing is to be done.", NOTHING),
            ("Look in the receiver's manual how many senders it takes, and how it mixes them.", NOTHING),
            ("If it is not meant: take {light} out of one controller's output.", f"its look is gone at once; {CAUTION}"),
        ),
        mistaken=(
            "sharing on purpose on different DMX channels",
            "a main controller and its backup at one priority",
            "a hand-over",
        ),
        seen=_shared_seen,
        sure={
            "certain": "all were heard at the same time",
            "likely": "all were heard; how many the receivers take is not known",
            "hint": "they were heard one soon after the other",
        },
        how="Two or more sACN sources send one universe for over 3 s with the same, highest priority, and their "
        "levels do not differ "
        "on DMX channels that both drive; or one follows the other, at most 1 s later.",
        where=_ANYWHERE_MULTICAST,
    ),
    "backup-took-over": Words(
        title=_backup_title,
        why="The audience sees nothing, but there is no second net: if this one fails, light stops.",
        steps=(
            ("Look at {who}: is it on, is it running, does its network socket show a link?", NOTHING),
            ("Do not hand back in the middle of a scene.", NOTHING),
            ("If wall panels went dead: compare their priority with the backup's.", NOTHING),
            ("Bring {who} back; it takes over by itself if its priority is higher.", f"its look comes at once; {CAUTION}"),
        ),
        mistaken=(
            "a planned change of controllers, or a test of the backup",
            "a main controller that restarts and is back in a moment",
            "this laptop no longer gets the main controller's light, while receivers do",
        ),
        seen=_backup_seen,
        sure={
            "certain": "the main one had the higher priority and is gone, while the other goes on",
            "likely": "the other began when the main one was gone",
            "hint": "one went, one came",
        },
        how="An established sACN source is silent for 2.5 s or signed off, and another box with lower priority, "
        "or one that began "
        "within 60 s after, sends its universe. Three changes in 5 minutes are worse.",
        where=_ANYWHERE_MULTICAST,
    ),
    "preview-only": Words(
        title=_preview_title,
        why="Everything looks right on screens, but receivers must not use light that is marked as preview.",
        steps=(
            ("Look whether the controller is in a blind or preview mode.", NOTHING),
            ("Look in its sACN output settings for a preview option.", NOTHING),
            ("Switch preview off for {light}.", f"fixtures take up its levels at once; {CAUTION}"),
        ),
        mistaken=(
            "preview on purpose, for a visualiser only",
            "live light sent straight to the nodes, which does not arrive here",
        ),
        seen=_preview_seen,
        sure={
            "certain": "every packet carries the mark, and no other source sends the universe here",
            "likely": "live light may go to the nodes alone",
            "hint": "heard for a short time only",
        },
        how="For 10 s all sources of an sACN universe have the Preview_Data bit set.",
        where=_ANYWHERE_MULTICAST,
    ),
    "universe-out-of-range": Words(
        title=_range_title,
        why="No receiver takes it: what is patched there stays dark.",
        steps=(
            ("Find out which universe is meant. Some programs count from 0, sACN from 1.", NOTHING),
            after_show("Correct the number in the output of {who}.", f"fixtures take up its levels at once; {CAUTION}"),
        ),
        mistaken=("lists of universes, which go to number 64,214 and are no light",),
        seen=_range_seen,
        sure={"certain": "the number stands in each packet", "likely": "the number stands in the packets", "hint": "few packets"},
        how="sACN light whose universe is 0 or above 63,999 (E1.31-2018, 6.2.7).",
        where=_ANYWHERE_MULTICAST + " The group of such a universe is rarely asked for.",
    ),
    "wrong-multicast-group": Words(
        title=_group_title,
        why="Receivers ask the network for the group that belongs to their universe. What goes elsewhere never gets there.",
        steps=(
            ("Look for a multicast address in the sender's settings; it should be left to itself.", NOTHING),
            ("Compare the universe's number on both sides.", NOTHING),
            ("Set the address to automatic.", f"fixtures take up its levels at once; {CAUTION}"),
        ),
        mistaken=("light sent to one node, or to every box", "a network box that translates groups on purpose"),
        seen=_group_seen,
        sure={
            "certain": "universe and group stand in each packet",
            "likely": "few packets were heard",
            "hint": "few packets were heard",
        },
        how="sACN light of universe u that goes to a group other than 239.255.(u / 256).(u mod 256) (E1.31-2018, 9.3.1).",
        where="Mirror port, or a switch that passes everything on; elsewhere only if somebody asked for the wrong group.",
    ),
    "slot-priority-mixed": Words(
        title=_slots_title,
        why="Receivers that don't know it may show priorities as levels: fixtures flash at 39 %. Or channels "
        "can't be taken over.",
        steps=(
            ("Nothing is to be done if all receivers understand it.", NOTHING),
            ("If a channel is stuck: see which source has the highest priority on it.", NOTHING),
            after_show(
                "If fixtures flash: switch the priority for each channel off for {light}.", f"who wins may change; {CAUTION}"
            ),
        ),
        mistaken=("normal on many desks; a flash is the receiver's fault",),
        seen=_slots_seen,
        sure={
            "certain": "the packets were heard",
            "likely": "the packets were heard",
            "hint": "whether receivers understand it can't be heard",
        },
        how="sACN packets with START code DD (hexadecimal) beside the levels; on a shared universe compared with "
        "the other sources.",
        where=_ANYWHERE_MULTICAST,
    ),
    "cid-cloned": Words(
        title=_cloned_title,
        why="Receivers take both for one sender and jump between their looks: light strobes, though only one sender is listed.",
        steps=(
            ("Find both machines by their addresses.", NOTHING),
            ("Was one set up from a copy of the other's disk or show file?", NOTHING),
            ("Stop the sACN output of one of them.", f"its look is gone at once; {CAUTION}"),
            after_show(
                "Give one a new identity: install its program anew or reset its identity.",
                f"its output stops meanwhile; {CAUTION}",
            ),
        ),
        mistaken=(
            "one sender with two network sockets: its numbers run together",
            "a sender that got another address",
        ),
        seen=_cloned_seen,
        sure={
            "certain": "both were heard at the same time, each with its own count",
            "likely": "both were heard, on different universes or with one count",
            "hint": "one was heard soon after the other",
        },
        how="One sACN identity (CID) from two addresses at once, on one universe with numbers more than 3 apart; "
        "or a CID of zeros.",
        where=_ANYWHERE_MULTICAST,
    ),
    "discovery-mismatch": Words(
        title=_list_title,
        why="Programs that rely on the list show universes that carry nothing, or miss some.",
        steps=(
            ("Use the list as a hint for what to look at, never as proof.", NOTHING),
            ("Compare the patch of {who} with what it sends.", NOTHING),
        ),
        mistaken=(
            "senders that list what is set up rather than what is sent",
            "older senders, which list nothing at all",
            "universes that go to one node alone and don't arrive here",
        ),
        seen=_list_seen,
        sure={
            "certain": "its light and its list were both heard, for 30 s",
            "likely": "this laptop would have heard the light",
            "hint": "the list was heard for a short time",
        },
        how="A source's list of universes (every 10 s), unchanged for 30 s, is compared with the light that it sends.",
        where="Where its lists and its light arrive. Silence counts only for groups that this port is sure to get.",
    ),
}
