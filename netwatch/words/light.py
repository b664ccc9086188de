"""Words of the alerts about light: who sends, who stopped, what gets lost."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, light, said
from .phrases import Facts, count, listing, mbit, name, names, number, seconds, share, start, universe, universes


def _fighters(facts: Facts, most: int) -> str:
    found = [v for v in dict.fromkeys((facts.get("a"), facts.get("b"), *(facts.get("also") or ()))) if name(v, "")]
    if not found:
        return "Two controllers"
    return names(found, most) if len(found) > 1 else f"{name(found[0], '')} and another controller"


def _fight_title(facts: Facts) -> str:
    differ, where = facts.get("channels"), universe(facts.get("universe"), facts.get("protocol"))
    who = _fighters(facts, 2)
    if differ == 0:
        return f"{who} {'all' if facts.get('also') else 'both'} send {where}"
    fight = f"{who} fight over {where}"
    return fight if differ is None else f"{fight}: {count(differ, 'channel differs', 'channels differ')}"


def _fight_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    differ, priority = facts.get("channels"), facts.get("priority")
    sending = f"{_fighters(facts, 8)} send {universe(facts.get('universe'), facts.get('protocol'))} at the same time"
    levels = None
    if differ is not None:
        levels = f"They ask for different levels on {count(differ, 'DMX channel', 'DMX channels')}." if differ else "They agree."
    return said(f"{sending}, all with priority {priority}." if priority is not None else f"{sending}.", levels)


def _lost_title(facts: Facts) -> str:
    who, what = name(facts.get("who"), "A controller"), light(facts)
    return f"{who} went silent: {what}" if what else f"{who} went silent"


def _lost_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    alive, what = facts.get("others_alive"), light(facts, IN_FULL) or "its universes"
    others = {True: "Other traffic still arrives here, so this port works.", False: "Nothing else arrives here either."}
    return said(
        f"{name(facts.get('who'), 'A controller')} stopped sending {what} without signing off.",
        others.get(alive) if alive is not None else None,
    )


def _ended_title(facts: Facts) -> str:
    who, what = name(facts.get("who"), "A controller"), light(facts)
    return f"{who} signed off properly: {what}" if what else f"{who} signed off properly"


def _ended_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    return (f"{name(facts.get('who'), 'A controller')} told receivers that it ends {light(facts, IN_FULL) or 'a universe'}.",)


def _packets_title(facts: Facts) -> str:
    part, what = facts.get("share"), light(facts)
    if not what:
        what = "all light" if facts.get("all_senders") else "one universe"
    return f"{start(share(part)) if part is not None else 'Part'} of {what} gets lost on the way here"


def _packets_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    lost, packets, every = facts.get("lost"), facts.get("packets"), facts.get("all_senders")
    number_of = f" of {number(packets)}" if packets is not None else ""
    spread = {
        True: "All senders lose: look at this laptop's port or at a cable that they share.",
        False: "Other senders arrive whole: look at this one and its cable.",
    }
    return said(
        f"{number(lost)}{number_of} packets of {name(facts.get('who'), 'the controller')} are missing, by their numbering."
        if lost is not None
        else None,
        "Several in a row were missing, again and again, while light moved." if facts.get("bursts") else None,
        spread.get(every) if every is not None else None,
    )


def _broadcast_title(facts: Facts) -> str:
    rate, packets = facts.get("mbit"), facts.get("pps")
    if rate is not None:
        return f"Art-Net goes to every box: {mbit(rate)}"
    if packets is not None:
        return f"Art-Net goes to every box: {number(packets)} packets/s"
    return "Art-Net goes to every box"


def _broadcast_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    senders, packets, found = names(facts.get("senders"), 8), facts.get("pps"), light({**facts, "protocol": "artnet"}, IN_FULL)
    return said(
        f"Sent to all boxes by {senders}." if senders else None,
        f"{start(found)}, {number(packets)} packets/s in all." if found and packets is not None else None,
    )


def _off_title(facts: Facts) -> str:
    boxes, spread = facts.get("boxes"), facts.get("seconds")
    how_many = count(boxes, "controller", "controllers") if boxes else "all controllers"
    within = f" within {seconds(spread)}" if spread is not None and spread >= 1 else ""
    return f"Rig switched off: {how_many}{within}"


def _off_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    flows, properly = facts.get("flows"), facts.get("properly")
    parts = universes(facts.get("universes"), None, IN_FULL), universes(facts.get("artnet"), "artnet", IN_FULL)
    of_light = listing([part for part in parts if part])
    who = names(facts.get("who"), 6)
    signed = None
    if flows and properly is not None:
        signed = "All of it signed off." if properly == flows else "None of it signed off." if not properly else (
            f"{count(properly, 'stream', 'streams')} of {number(flows)} signed off."
        )  # fmt: skip
    return said(
        f"All light ended: {start(of_light)}." if of_light else "All light ended.",
        f"It came from {who}; nothing is heard of these boxes any more." if who else None,
        signed,
    )


LIGHT: dict[str, Words] = {
    "rig-switched-off": Words(
        title=_off_title,
        why="One note instead of one alert for each controller: after work, or before a meal, nothing is wrong.",
        steps=(
            ("If this was meant, nothing is to be done.", NOTHING),
            ("If not: look whether the controllers and the switches have power.", NOTHING),
        ),
        mistaken=(
            "a power cut",
            "a cable or a switch between the controllers and this laptop that failed while light was being switched off",
        ),
        seen=_off_seen,
        sure={
            "certain": "all of it signed off, and none of the boxes is heard any more",
            "likely": "several boxes fell silent within two minutes, and none is heard any more",
            "hint": "several boxes fell silent within two minutes; from here little else is heard of them",
        },
        how="The light of two boxes or more ends within 2 minutes, and for 10 s nothing is heard of these boxes, while this "
        "laptop would hear them and its own link stood. In a show it must not all end at one moment without signing off, and "
        "no node may be heard afterwards. Taken back as soon as one of the boxes is heard without its light.",
        where="From everywhere, if this laptop would hear the light.",
    ),
    "sources-fighting": Words(
        title=_fight_title,
        why="Receivers mix both, jump between them, or take neither. Light flickers, and can't be switched off from one desk.",
        steps=(
            ("Decide which of them is to have {light}.", NOTHING),
            (
                "If all are meant to send it: check that the receivers merge (the highest level of each DMX channel "
                "wins), and mark this "
                "alert as known.",
                NOTHING,
            ),
            (
                "On the others take {light} out of the output, or with sACN lower the priority.",
                f"its fixtures follow the remaining controller at once; {CAUTION}",
            ),
        ),
        mistaken=(
            "sharing on purpose, for example a wall panel and a desk on different DMX channels",
            "a main controller and its backup that send the same, at one time or a moment later",
            "one controller with two network sockets",
            "a hand-over that lasts a few seconds",
            "levels with a priority of their own for each DMX channel",
        ),
        seen=_fight_seen,
        sure={
            "certain": "both were seen with different levels on the same DMX channels, at the same priority",
            "likely": "both send at the same priority; their levels were not seen whole",
            "hint": "both send; so far they agree",
        },
        how="Two live sources on one universe for more than 3 s at the same, highest priority, not marked as "
        "preview, whose levels above "
        "zero differ by more than 2 steps; neither shows the other's frames up to 1 s later.",
        where="Mirror port: all of it. Ordinary port and limited view: multicast that arrives here and broadcast; "
        "light sent to one node "
        "alone is not seen. Wi-Fi: the same.",
    ),
    "source-lost": Words(
        title=_lost_title,
        why="Receivers wait 2.5 s for a sender, then hold, fade or go dark, each in its own way.",
        steps=(
            (
                "See what else is missing. All universes of {who}: it, or its cable. One universe: its settings. All "
                "senders: the "
                "network, or this laptop's port.",
                NOTHING,
            ),
            ("Look at {who}: is it on, is it running, does its network socket show a link?", NOTHING),
            (
                "Check its cable to the switch; change it if in doubt.",
                f"whatever it still sends stops; when it is back, {CAUTION}",
            ),
            ("Let the backup take over, if there is one.", f"its look may differ; {CAUTION}"),
        ),
        mistaken=(
            "a slow sender: some repeat unchanged light only every 2 s, and one lost packet then looks like silence",
            "the switch stopped passing it to this laptop",
            "packets missed by this laptop or lost on Wi-Fi",
            "a sender that signed off, whose last packets got lost",
        ),
        seen=_lost_seen,
        sure={
            "certain": "the laptop would have heard it: other traffic of the same kind went on",
            "likely": "its silence fits; what would prove that this port still gets it was not heard",
            "hint": "it was slow before, or packets were missed",
        },
        how="No packet of a source for 2.5 s (sACN) or 10 s (Art-Net) and no sign-off, where this laptop could have heard it. "
        "What falls silent together is one alert.",
        where="Mirror port: yes. Ordinary port: only while it is sure that the switch still passes it on; until then "
        "'nothing reaches "
        "this laptop' is said instead. Limited view and Wi-Fi: less sure.",
    ),
    "source-ended": Words(
        title=_ended_title,
        why="The sender ended on purpose, so nothing is broken; if the universe should still be running, somebody "
        "switched it off.",
        steps=(
            ("If this was meant, nothing is to be done.", NOTHING),
            (
                "If not: switch {light} on again in the output of {who}.",
                f"fixtures take up its levels at once; {CAUTION}",
            ),
        ),
        mistaken=("a controller that ends one universe only, or restarts and comes back in a moment",),
        seen=_ended_seen,
        sure={
            "certain": "its last packets say so",
            "likely": "one packet said so, then it was silent",
            "hint": "one packet said so",
        },
        how="The last packets of an sACN source carry a mark that says 'ended'.",
        where="Wherever its light arrives.",
    ),
    "packets-lost": Words(
        title=_packets_title,
        why="Fades go in steps, cues come late, single frames are missing. Above 5 % the light visibly stops and jumps.",
        steps=(
            ("Compare the senders below: do all lose, or one?", NOTHING),
            ("Look for a slow link on the way (100 Mbit/s, half duplex), for Wi-Fi, or for a link that is nearly full.", NOTHING),
            ("Change the patch cable of this laptop, or take another port.", "only the view of this laptop"),
            (
                "If one sender alone loses, change its cable.",
                f"all its universes stop meanwhile; when it is back, {CAUTION}",
            ),
        ),
        mistaken=(
            "packets that this laptop missed itself",
            "a sender that restarted, or that skips numbers by mistake",
            "two senders with the same identity",
            "a sender that counts its kinds of packets apart",
        ),
        seen=_packets_seen,
        sure={
            "certain": "numbers are missing and the laptop missed nothing itself",
            "likely": "numbers are missing; what the laptop missed is not told in this capture",
            "hint": "numbers are missing, but the sender's counting is unusual",
        },
        how="Every packet of a source carries a running number; gaps are counted over 60 s and at least 500 packets; "
        "three in a row missing, twice, while light moves, count as well. "
        "Silent while the laptop itself drops packets.",
        where="Wherever the light arrives. It tells of the way to this laptop, not of the way to the nodes.",
    ),
    "artnet-broadcast-load": Words(
        title=_broadcast_title,
        why="Every box must read and throw away what is not for it. Small nodes, tablets, Wi-Fi and door controllers get slow.",
        steps=(
            ("Look in the sender's settings whether it can send by unicast.", NOTHING),
            ("Enter by hand the addresses of nodes that it does not list by itself.", NOTHING),
            after_show("Switch the sender from broadcast to unicast.", f"a node that it does not know goes dark; {CAUTION}"),
            after_show(
                "If it can send by broadcast only: put Art-Net into a VLAN of its own.",
                f"ports that are moved are cut off for some seconds; {CAUTION}",
            ),
        ),
        mistaken=(
            "questions, answers and synchronization of Art-Net: for these, broadcast is right",
            "one or two universes on a small rig, which harm nobody",
        ),
        seen=_broadcast_seen,
        sure={
            "certain": "each packet says to whom it goes",
            "likely": "part of the packets was missed, so the load is at least this",
            "hint": "heard for a short time only",
        },
        how="Levels in Art-Net that are addressed to every box are counted: any at all is untidy, more than 500 "
        "packets/s for 10 s harm "
        "quality, more than 2,000 stop small boxes.",
        where="From everywhere: broadcast reaches each port.",
    ),
}
