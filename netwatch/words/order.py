"""Words of the alerts about how packets of light come: order, copies, rates, synchronization, form."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, light, sacn, said
from .phrases import Facts, count, listing, name, names, number, seconds, share


def _who(facts: Facts) -> str:
    return name(facts.get("who"), "A controller")


def _full(facts: Facts) -> str:
    return light(facts, IN_FULL) or "its universes"


def _late_title(facts: Facts) -> str:
    what = light(facts) or "light"
    part = facts.get("share")
    return f"Packets of {what} overtake each other" + (f": {share(part)}" if part is not None else "")


def _late_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    late, packets = facts.get("late"), facts.get("packets")
    of = f" of {number(packets)}" if packets is not None else ""
    return said(f"{number(late)}{of} packets of {_who(facts)} came behind a later one." if late is not None else None)


def _again_title(facts: Facts) -> str:
    if facts.get("doubled"):
        return "Every packet comes twice: this measuring point doubles them"
    what = light(facts, 2) or "light"
    if facts.get("stuck"):
        return f"{_who(facts)} does not count its packets: {what}"
    part = facts.get("share")
    return f"Packets of {what} come more than once" + (f": {share(part)}" if part is not None else "")


def _again_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    if facts.get("doubled"):
        return ("All sACN arrives in pairs: a mirror port that copies both directions, or two interfaces in one network.",)
    again, packets = facts.get("repeated"), facts.get("packets")
    of = f" of {number(packets)}" if packets is not None else ""
    stuck = "Its number stands still; receivers that look at it throw the packets away." if facts.get("stuck") else None
    return said(
        f"{number(again)}{of} packets of {_who(facts)} carry the number of the one before." if again is not None else None, stuck
    )


def _fast_title(facts: Facts) -> str:
    hz, what = facts.get("hz"), light(facts) or "light"
    return f"{_who(facts)} sends {what} too fast" + (f": {hz:.0f} times a second" if hz is not None else "")


def _fast_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    hz, most, slots = facts.get("hz"), facts.get("most_hz"), facts.get("slots")
    if hz is None or most is None or slots is None:
        return ()
    return (f"{hz:.1f} frames a second; a DMX line takes {most:.1f} with {count(slots, 'channel', 'channels')}.",)


def _slow_title(facts: Facts) -> str:
    hz, gap, what = facts.get("hz"), facts.get("gap_s"), light(facts) or "light"
    if facts.get("moving"):
        return f"{_who(facts)} moves {what} in steps" + (f": {hz:.0f} frames a second" if hz is not None else "")
    return f"{_who(facts)} repeats {what} too rarely" + (f": every {seconds(gap)}" if gap is not None else "")


def _slow_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    hz, gap = facts.get("hz"), facts.get("gap_s")
    return said(
        f"Standing light is repeated every {seconds(gap)}; receivers give up after 2.5 s." if gap is not None else None,
        f"Nearly every frame differs, and only {hz:.1f} come a second." if hz is not None else None,
    )


_FAULTS = {
    "e131-preamble": "wrong preamble", "e131-postamble": "wrong postamble", "e131-framing-vector": "unknown kind of packet",
    "dmp-vector": "wrong DMP vector", "dmp-type": "wrong address type", "dmp-first": "wrong first address",
    "dmp-increment": "wrong increment", "too-short": "shorter than it says", "count-range": "impossible number of channels",
    "artnet-version": "wrong protocol version", "lengths": "lengths that don't agree", "priority-range": "priority above 200",
    "name-unended": "name without an end", "odd-length": "odd number of channels", "port-address-bit": "universe beyond 15 bits",
    "sync-address-zero": "synchronization for universe 0",
}  # fmt: skip


def _malformed_title(facts: Facts) -> str:
    if facts.get("pixels"):
        return f"{_who(facts)} sends 510 channels in {light(facts) or 'its universes'}"
    found = [_FAULTS.get(str(each), str(each)) for each in facts.get("faults") or ()]
    return f"{_who(facts)} sends frames that break the standard" + (f": {found[0]}" if found else "")


def _malformed_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    if facts.get("pixels"):
        return ("That is right for 170 pixels of three colours. If colours shift, the receiver expects 512.",)
    found = [_FAULTS.get(str(each), str(each)) for each in facts.get("faults") or ()]
    frames = facts.get("frames")
    return said(
        f"{count(frames, 'frame', 'frames')}: {listing(found, 8)}." if frames and found else None,
        f"Seen in {light(facts, IN_FULL)}." if light(facts) else None,
    )


def _sync_title(facts: Facts) -> str:
    what, masters = sacn(facts) or "synchronized light", names(facts.get("masters"), 2)
    return {
        "two": f"{masters or 'Two senders'} both give the beat for {what}",
        "never": f"Receivers of {what} may wait for a beat that nobody sends",
    }.get(str(facts.get("what")), f"Receivers of {what} wait for a beat that no longer comes")


def _sync_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    sync, masters, what = facts.get("sync"), names(facts.get("masters"), 4), facts.get("what")
    holds = {True: "Receivers hold the last look until it returns.", False: "Receivers go on without it."}.get(facts.get("holds"))  # type: ignore[arg-type]
    return said(
        f"The frames name synchronization universe {sync}." if sync is not None else None,
        f"It was sent by {masters}." if masters and what != "two" else None,
        f"It comes from {masters}, which the standard leaves open." if masters and what == "two" else None,
        holds,
    )


_WHERE = "Wherever the light arrives. It tells of the way to this laptop, not of the way to the nodes."

ORDER: dict[str, Words] = {
    "packets-out-of-order": Words(
        title=_late_title,
        why="Receivers throw away what comes late, so fades stutter.",
        steps=(
            ("See whether all senders are hit, or one.", NOTHING),
            ("Look for two ways between the same switches: bundled links, a ring.", NOTHING),
            after_show(
                "Let the bundle keep each sender on one link (hash by address, not in turn).",
                f"links stop for some seconds; {CAUTION}",
            ),
        ),
        mistaken=(
            "captures put together from two laptops",
            "two senders with one identity",
            "a sender that restarted",
            "Wi-Fi on the way",
        ),
        seen=_late_seen,
        sure={
            "certain": "the packets' own numbers show it",
            "likely": "the numbers show it, the sender's counting is unusual",
            "hint": "few packets were heard",
        },
        how="More than 0.1 % of at least 500 packets in 60 s carry a number up to 19 below the newest one.",
        where=_WHERE,
    ),
    "packets-repeated": Words(
        title=_again_title,
        why="Copies load the network and may be the first sign of a loop. If every packet comes exactly twice, "
        "only this port sees it.",
        steps=(
            ("If everything comes exactly twice, go on: it is the place where this laptop listens.", NOTHING),
            ("Look for a second path: a loop, a bridge by Wi-Fi, two cables between two switches.", NOTHING),
            ("Take the second path away.", f"who was reached by it alone goes dark; {CAUTION}"),
        ),
        mistaken=(
            "a mirror port that copies both directions",
            "a laptop with two interfaces in one network",
            "a sender that counts wrong",
            "a sender with two network sockets",
        ),
        seen=_again_seen,
        sure={
            "certain": "the packets' own numbers show it",
            "likely": "every packet comes twice, as a mirror port does it",
            "hint": "few packets were heard",
        },
        how="More than 0.1 % of at least 500 sACN packets in 60 s carry the number of the one before. 1.9 to 2.1 "
        "copies of everything "
        "are taken for a mirror.",
        where=_WHERE,
    ),
    "rate-too-high": Words(
        title=_fast_title,
        why="A DMX line can't take so many frames: nodes drop some, and light may flicker or lag.",
        steps=(
            ("Are there only pixel controllers behind it, which take more? Then mark this alert as known.", NOTHING),
            ("Limit the output of {who} to 40 or 44 frames a second.", "movement may look a little different"),
        ),
        mistaken=("pixels on a network without DMX lines", "copies of each packet", "packets that carry priorities, not levels"),
        seen=_fast_seen,
        sure={"certain": "counted over 10 s", "likely": "counted over 10 s", "hint": "counted over a short time"},
        how="More levels in 10 s than a DMX line of that length takes (44.1 a second for 512 channels), and 5 % more.",
        where=_WHERE,
    ),
    "rate-too-low": Words(
        title=_slow_title,
        why="One lost packet is enough, and receivers take the sender for dead; or movement is seen as steps.",
        steps=(
            ("Look in the output settings of {who} for a refresh rate or for 'send always'.", NOTHING),
            (
                "Raise it to 1 a second at least for standing light, to 30 or more for moving light.",
                "a little more load on the network",
            ),
        ),
        mistaken=(
            "once a second is right for light that stands still",
            "packets lost on the way here",
            "a fade so slow that there is nothing more to send",
        ),
        seen=_slow_seen,
        sure={
            "certain": "no number is missing, and the gaps are as long as that",
            "likely": "no number is missing; Wi-Fi may have delayed packets",
            "hint": "the light may have had no more to say",
        },
        how="Over a minute without loss: unchanged light less often than every 1.25 s (worse: 2 s), or changing "
        "light below 15 a second.",
        where=_WHERE,
    ),
    "malformed-frames": Words(
        title=_malformed_title,
        why="Strict receivers throw such frames away, others guess: some fixtures work and some do not.",
        steps=(
            ("Read below what is wrong, and look for an update of the sender.", NOTHING),
            ("Compare the number of channels a universe on both sides.", NOTHING),
            after_show("Update or change the sender.", f"its universes stop meanwhile; {CAUTION}"),
        ),
        mistaken=(
            "packets that the recording cut short",
            "short universes, which are allowed",
            "senders of an older draft",
        ),
        seen=_malformed_seen,
        sure={
            "certain": "the frames were captured whole, and break the standard",
            "likely": "the frames break the standard",
            "hint": "allowed, but a frequent cause of shifted colours",
        },
        how="Each frame is held against the fixed fields, lengths and ranges of E1.31-2018 (4 to 7) and Art-Net "
        "4; three in a minute count.",
        where="Wherever the frames arrive.",
    ),
    "sync-lost": Words(
        title=_sync_title,
        why="Receivers that wait for a beat hold the last look until it comes; with two of them, universes tear apart.",
        steps=(
            ("Find out which box is meant to give the beat, and whether it is on.", NOTHING),
            ("Look whether this laptop gets its synchronization universe.", NOTHING),
            ("Bring it back.", f"light that was held moves on at once; {CAUTION}"),
            ("Or switch synchronization off on all senders of {light}.", f"light that was held moves on at once; {CAUTION}"),
        ),
        mistaken=(
            "this laptop does not get the synchronization universe, while receivers do",
            "a sender that names a synchronization universe and never uses it, which is harmless",
            "receivers without synchronization, which don't wait",
        ),
        seen=_sync_seen,
        sure={
            "certain": "this port gets the synchronization universe, and it stopped",
            "likely": "it stopped; Wi-Fi may have lost it",
            "hint": "it stopped here; whether receivers still get it can't be heard",
        },
        how="sACN light with a synchronization address, and none of its synchronization packets for 2.5 s "
        "(E1.31-2018, 11.1.2), or from "
        "two sources.",
        where="Mirror port, or a port that is sure to get the synchronization universe; elsewhere as a hint only.",
    ),
}
