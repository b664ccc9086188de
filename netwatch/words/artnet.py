"""Words of the alerts about Art-Net's nodes and controllers."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, light, said
from .phrases import Facts, count, name, names, number, seconds, three_numbers, universes

_BROADCAST_PLACES = (
    "Mirror port: all of it. Ordinary port and limited view: only what is sent to all boxes; light and answers that go to "
    "one box alone are not seen. Wi-Fi: the same."
)
_ANSWERS_PLACES = (
    "Mirror port: all answers. Ordinary port, Wi-Fi and limited view: only answers that go to all boxes or to this laptop."
)


def one(value: object) -> str:
    """'0.1.5 (21)', '' where it isn't known."""
    return f"{three_numbers(value)} ({value})" if isinstance(value, int) else ""


def _all(values: object, most: int = IN_FULL) -> str:
    """'Art-Net universes 0.0.0-0.0.3 (0-3)'."""
    return universes(values, "artnet", most) if isinstance(values, list | tuple) else ""


# ---- numbers ----


def _numbers_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    sent, wanted, way = _all(facts.get("sent")), _all(facts.get("wanted")), facts.get("way")
    meet = {
        "one less": "Each would meet if the sender counted one lower, or the node one higher.",
        "one more": "Each would meet if the sender counted one higher, or the node one lower.",
        "swapped": "They would meet with the first and the second number exchanged.",
        "low four bits": "They would meet if only the last of the three numbers counted.",
    }.get(str(way))
    return said(
        f"Sent: {sent}." if sent else None,
        f"Put out by {_nodes(facts, 'the nodes')}: {wanted}." if wanted else None,
        meet,
    )


def _several(facts: Facts) -> bool:
    return (facts.get("nodes") or 1) > 1


def _nodes(facts: Facts, unknown: str = "A node") -> str:
    """One by name, several by their number."""
    return f"{facts['nodes']} nodes" if _several(facts) else name(facts.get("who"), unknown)


def _listen(facts: Facts) -> str:
    return f"{_nodes(facts)} {'listen' if _several(facts) else 'listens'}"


def _off_title(facts: Facts) -> str:
    way = facts.get("way")
    beside = {"one less": "one lower than", "one more": "one higher than"}.get(str(way), "one beside")
    return f"{_listen(facts)} {beside} what is sent by Art-Net"


def _mixed_title(facts: Facts) -> str:
    sent, wanted = facts.get("sent"), facts.get("wanted")
    if sent and wanted:
        return f"{_listen(facts)} to {one(wanted[0])}, but Art-Net {one(sent[0])} is sent"
    return f"{_nodes(facts)} and the sender mix up the three numbers of Art-Net"


# ---- polls and replies ----


def _unanswered_title(facts: Facts) -> str:
    return f"{name(facts.get('who'), 'A node')} answers Art-Net polls no more, though its box is alive"


def _unanswered_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    polls, since = facts.get("polls"), facts.get("seconds")
    asked = "This laptop" if facts.get("ours") else name(facts.get("asked_by"), "A controller")
    return said(
        f"{asked} asked {count(polls, 'time', 'times')} without an answer." if polls is not None else None,
        f"It answered last {seconds(since)} ago." if since is not None else None,
        f"Its box at {name(facts.get('address'), 'its address')} still speaks." if facts.get("address") else None,
    )


def _reply_title(facts: Facts) -> str:
    who, told, address = name(facts.get("who"), "A node"), facts.get("told"), facts.get("address")
    if told == "0.0.0.0":
        return f"{who} tells Art-Net controllers that it has no address"
    if told and address:
        return f"{who} tells Art-Net controllers {name(told, 'one address')}, but is at {name(address, 'another')}"
    return f"{who} tells Art-Net controllers a wrong address"


def _reply_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    replies = facts.get("replies")
    return said(
        f"{count(replies, 'answer says', 'answers say')} {name(facts.get('told'), 'another address')}; "
        f"it came from {name(facts.get('address'), 'elsewhere')}."
        if replies is not None
        else None,
    )


def _same_title(facts: Facts) -> str:
    found, boxes = facts.get("names"), facts.get("boxes")
    shown = names(found, 2)
    if not shown or boxes is None:
        return "Several Art-Net nodes have the same name"
    if len(found or ()) == 1:
        return f"{number(boxes)} Art-Net nodes are all called {shown}"
    return f"{number(boxes)} Art-Net nodes share names: {shown}"


def _same_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    addresses = names(facts.get("addresses"), 8)
    return said(
        f"Names: {names(facts.get('names'), 8)}." if facts.get("names") else None, f"At {addresses}." if addresses else None
    )


# ---- light ----


def _pair(facts: Facts, most: int) -> str:
    found = list(dict.fromkeys(v for v in (facts.get("a"), facts.get("b"), *(facts.get("also") or ())) if name(v, "")))
    if not found:
        return "Several controllers" if (facts.get("sources") or 2) > 2 else "Two controllers"
    return names(found, most) if len(found) > 1 else f"{name(found[0], '')} and another controller"


def _universe(facts: Facts) -> str:
    return universes([facts["universe"]], "artnet") if facts.get("universe") is not None else "one Art-Net universe"


def _merging_title(facts: Facts) -> str:
    what, differ, sources = (
        _universe(facts),
        facts.get("channels"),
        facts.get("sources"),
    )
    if not facts.get("a") and names(facts.get("nodes")):
        return f"{names(facts['nodes'], 1)} merges two controllers on {what}"
    merged = f"{_pair({**facts, 'also': None}, 2)} both send {what}"
    if sources is not None and sources > 2:
        return f"{number(sources)} controllers send {what}: nodes take two of them"
    return f"{merged}: {count(differ, 'channel differs', 'channels differ')}" if differ else merged


def _merging_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    what, differ, sources = _universe(facts), facts.get("channels"), facts.get("sources")
    nodes = names(facts.get("nodes"), 8)
    return said(
        f"{_pair(facts, 8)} send {what} side by side." if facts.get("a") else None,
        f"They ask for different levels on {count(differ, 'DMX channel', 'DMX channels')}." if differ else None,
        "They send the same light." if facts.get("agree") else None,
        f"{number(sources)} sources: a node merges two and ignores the rest." if sources is not None and sources > 2 else None,
        f"Merging, by their own word: {nodes}." if nodes else None,
    )


def _stuck_title(facts: Facts) -> str:
    which = facts.get("number")
    numbered = f"number {which}" if which is not None else "one number"
    return f"{name(facts.get('who'), 'An Art-Net sender')} marks all its packets with {numbered}"


def _stuck_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    packets, what = facts.get("packets"), light({**facts, "protocol": "artnet"}, IN_FULL)
    return said(
        f"{number(packets)} packets in a row with the same number{', ' + what if what else ''}." if packets is not None else None
    )


def _sync_title(facts: Facts) -> str:
    senders, what = facts.get("senders"), facts.get("what")
    if what == "two":
        return f"{names((senders or ())[:2], 2) or 'Two boxes'} both tell Art-Net nodes when to show their light"
    if what == "stopped":
        return f"{names(senders, 1) or 'A controller'} stopped Art-Net sync while its light goes on"
    if what == "no light":
        return f"{names(senders, 1) or 'A box'} sends Art-Net sync, but no light"
    return "Art-Net sync is not as it should be"


def _sync_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    what, who, wait = facts.get("what"), names(facts.get("senders"), 8) or "A controller", facts.get("seconds")
    return said(
        f"Sync comes from {who} side by side." if what == "two" else None,
        f"Nodes hold their light for up to {seconds(wait)}, then show it as it comes." if what == "stopped" and wait else None,
        f"No Art-Net light of {who} was seen." if what == "no light" else None,
    )


ARTNET: dict[str, Words] = {
    "artnet-off-by-one": Words(
        title=_off_title,
        why="Everything works one universe too high or too low, and the first one is dead.",
        steps=(
            (
                "Compare the three numbers of the sender and of the node: some screens count from 1, the wire counts from 0.",
                NOTHING,
            ),
            ("Ask who set it so: an offset may be meant.", NOTHING),
            after_show(
                "Change one side only, by one.",
                f"the fixtures of {{who}} follow other levels at once; {CAUTION}",
            ),
        ),
        mistaken=(
            "an offset that is meant",
            "a screen that counts from 1 where the wire counts from 0",
            "a spare node that nothing is meant for yet",
            "light for the node that is sent to it alone, and not seen from here",
        ),
        seen=_numbers_seen,
        sure={
            "certain": "not from packets alone: an offset may be meant",
            "likely": "several universes meet once one side is counted by one more or less, and not as they are",
            "hint": "only one universe, or only the ends of a row do not meet",
        },
        how="The universes that are sent against those that nodes say they put out: "
        "with a shift of one at least 80 % meet, "
        "as they are less than 50 %.",
        where=_BROADCAST_PLACES,
    ),
    "artnet-number-mixed-up": Words(
        title=_mixed_title,
        why="A universe controls nothing, or doubles another one.",
        steps=(
            (
                "Write down all three numbers (net, sub-net, universe) of the sender and of the node, and the count in one row.",
                NOTHING,
            ),
            ("Ask whether the desk counts in one row from 0 or 1: 16 in one row is 0.1.0.", NOTHING),
            after_show(
                "Set the node or the sender to the same three numbers.",
                f"the fixtures of {{who}} follow other levels at once; {CAUTION}",
            ),
        ),
        mistaken=(
            "a desk that counts in one row, 0 to 32767",
            "a spare node that nothing is meant for yet",
            "light for the node that is sent to it alone, and not seen from here",
        ),
        seen=_numbers_seen,
        sure={
            "certain": "not from packets alone: it may be meant",
            "likely": "several universes meet once the numbers are exchanged or cut, and none as they are",
            "hint": "one universe meets so, and does not as it is",
        },
        how="The universes that are sent against those that nodes say they put out: they meet with net and sub-net exchanged, "
        "or by the last number alone.",
        where=_BROADCAST_PLACES,
    ),
    "poll-unanswered": Words(
        title=_unanswered_title,
        why="Controllers that send only to nodes which answer leave it out: its light stops.",
        steps=(
            ("Look whether {who} still puts out light, and what its display says.", NOTHING),
            ("Check that {who} and the controller have the same mask and lie in one network.", NOTHING),
            ("If it is a computer: check that its firewall lets UDP port 6454 in.", NOTHING),
            ("Enter the address of {who} in the controller by hand.", f"its light starts again; {CAUTION}"),
            after_show("Restart {who}.", f"{{goes_dark}} meanwhile; {CAUTION}"),
        ),
        mistaken=(
            "answers that go to the controller alone, and not seen from here",
            "polls that ask only some nodes",
            "a node that answers on changes only",
        ),
        seen=_unanswered_seen,
        sure={
            "certain": "this laptop asked three times, and the box spoke of other things meanwhile",
            "likely": "a mirror port shows the answers of this node, and now none",
            "hint": "its answers went to all boxes so far; they may go to one box now",
        },
        how="A node whose answers were heard gives none to three polls to all, over 9 s, while its box still speaks.",
        where=_ANSWERS_PLACES,
    ),
    "reply-address-wrong": Words(
        title=_reply_title,
        why="Controllers send to the address that it tells: it stands in their list, and can't be driven.",
        steps=(
            ("Look at the address that {who} shows on its display or web page.", NOTHING),
            ("Enter {address} in the controller by hand.", f"its light starts; {CAUTION}"),
            after_show("Set the address of {who} anew, then restart it.", f"{{goes_dark}} meanwhile; {CAUTION}"),
        ),
        mistaken=(
            "a box with two network cards",
            "a box that answers for others, such as a merger or proxy",
            "an address that changed this moment",
        ),
        seen=_reply_seen,
        sure={
            "certain": "the answer itself says so",
            "likely": "the answer says so; the box's own address could not be checked",
            "hint": "seen once",
        },
        how="The address inside a node's answer is not the one that it comes from, or is 0.0.0.0, for more than 3 s.",
        where=_ANSWERS_PLACES,
    ),
    "controllers-merging": Words(
        title=_merging_title,
        why="Nodes mix both: nothing goes to black from one desk alone; a third desk has no effect; a desk that is switched "
        "off hangs on for 10 s.",
        steps=(
            ("Decide which of them is to have {light}.", NOTHING),
            ("If both are meant to send it: mark this alert as known.", NOTHING),
            ("Take {light} out of the other's output.", f"after 10 s its fixtures follow the remaining one alone; {CAUTION}"),
            (
                "Or tell the node to cancel its merging, from the controller that shall win.",
                f"its fixtures follow that one at once; {CAUTION}",
            ),
        ),
        mistaken=(
            "merging on purpose, on different DMX channels",
            "a backup that only polls, or sends the same light",
            "one controller that moved to a new address: the old one stops",
            "two controllers that send the same number to different nodes",
        ),
        seen=_merging_seen,
        sure={
            "certain": "both were seen sending it for more than 3 s",
            "likely": "a node says that it merges; what it gets was not seen",
            "hint": "worth a look only",
        },
        how="Two sources (address, or input port of one address) of one Art-Net universe that reach the same nodes, "
        "side by side for "
        "more than 3 s; or a node's own word.",
        where=_BROADCAST_PLACES,
    ),
    "sequence-stuck": Words(
        title=_stuck_title,
        why="Nodes that look at packet numbers may take these for old ones, and freeze or jerk.",
        steps=(
            ("Look whether the nodes of {light} follow. If they do, leave it.", NOTHING),
            after_show("Switch off the check of packet numbers in the node, if it has one.", NOTHING),
            after_show("Update {who}, or restart it.", f"{{goes_dark}} meanwhile; {CAUTION}"),
        ),
        mistaken=(
            "number 0 all the time: that means it does not count, and is fine",
            "one count for all universes of a sender",
            "two senders on one universe",
        ),
        seen=_stuck_seen,
        sure={
            "certain": "more than 50 packets in a row had the same number",
            "likely": "worth a look",
            "hint": "worth a look",
        },
        how="At least 50 packets of one universe in a row with the same number other than 0.",
        where=_BROADCAST_PLACES,
    ),
    "artnet-sync-trouble": Words(
        title=_sync_title,
        why="Nodes wait for sync before they show what they got: with two senders they stutter, without one they freeze for 4 s.",
        steps=(
            ("Find out which controller is to send sync. One is enough; a simple rig needs none.", NOTHING),
            ("Switch sync off in the others.", "their light is shown as it comes, no longer all at once"),
        ),
        mistaken=(
            "normal sync at frame rate from one controller",
            "a hand-over between two controllers",
            "light that is sent to one box alone",
        ),
        seen=_sync_seen,
        sure={
            "certain": "both were heard side by side, or the sync stopped and the light went on",
            "likely": "worth a look",
            "hint": "its light may be sent where this laptop can't see it",
        },
        how="ArtSync from two addresses side by side for more than 4 s; or none for 4 s while light of the same "
        "address goes on; or sync "
        "from an address without light (mirror port).",
        where="Sync goes to all boxes: seen from everywhere. Its light only as far as it reaches this laptop.",
    ),
    "same-node-name": Words(
        title=_same_title,
        why="Nobody can tell them apart in a list, and some controllers take them for one that moves.",
        steps=(
            ("Find out which is which by their addresses.", NOTHING),
            after_show("Name each by its place and its universes.", "nothing; some nodes take a moment"),
        ),
        mistaken=(
            "several answers of one box, one for each of its outputs",
            "a box with two addresses",
            "a box that answers for others",
        ),
        seen=_same_seen,
        sure={
            "certain": "the answers come from different boxes and hold the same names",
            "likely": "worth a look",
            "hint": "worth a look",
        },
        how="Answers of nodes with different MAC addresses, but the same short and long name.",
        where=_ANSWERS_PLACES,
    ),
}
