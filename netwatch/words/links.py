"""Words of the alerts about cables and switches: traffic that goes round or floods."""

from __future__ import annotations

from .base import CAUTION, NOTHING, Clock, Words, said
from .phrases import Facts, count, name, names, number


def _loop_title(facts: Facts) -> str:
    pps = facts.get("pps")
    rate = f": {number(pps)} copies a second" if pps else ""
    return f"A loop: the same packets go round and round{rate}"


def _loop_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    frames, pps, senders = facts.get("frames"), facts.get("pps"), names(facts.get("senders"), 4)
    return said(
        f"{count(frames, 'packet', 'packets')} came again and again within a quarter of a second." if frames else None,
        f"Copies: {number(pps)} a second." if pps else None,
        f"They were first sent by {senders}." if senders else None,
        "Packets that this laptop sent came back to it." if facts.get("ours") else None,
    )


def _storm_title(facts: Facts) -> str:
    who, pps = name(facts.get("who"), "One box"), facts.get("pps")
    rate = f"{number(pps)} packets a second" if pps else "packets without end"
    return f"{who} sends {rate} to everybody"


def _storm_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    mac, maker = facts.get("mac"), facts.get("maker")
    box = f"Its network card: {name(mac, '')}" if mac else None
    return said(
        (f"{box}, made by {name(maker, '')}." if maker else f"{box}.") if box else None,
        "Most of it is light: one universe, sent far too often." if facts.get("light") else None,
    )


LINKS: dict[str, Words] = {
    "loop": Words(
        title=_loop_title,
        why="Each packet for everybody goes round for ever and fills every cable. Within seconds controllers and nodes stand "
        "still, and so do pages and polls.",
        steps=(
            ("Think: which cable was plugged in last? Look for a patch cable with both ends in one switch, or a second cable "
             "between two switches.", NOTHING),
            ("Pull that cable. The lights of all ports stop blinking in step.",
             f"boxes that hang on it alone are cut off; all others get light again; {CAUTION}"),
            ("Nobody knows which? Pull the cables between switches, one after the other, until it is calm.",
             f"what is behind each cable goes dark; {CAUTION}"),
            ("After the show, switch on spanning tree or loop protection in the switches.",
             "ports may pass nothing for 30 s; light stops meanwhile"),
        ),
        mistaken=(
            "a mirror port that copies several ports: all copies of a packet come at the same moment",
            "a controller that does not count its packets, so that standing light looks the same each time",
            "one box that repeats itself without end (a storm)",
        ),
        seen=_loop_seen,
        sure={
            "certain": "our own packets came back, or counted packets came again 100 times a second, or those of several boxes",
            "likely": "the same packets come again and again, and nothing else explains it",
            "hint": "few copies were heard",
        },
        how="In a quarter of a second, packets to everybody come again at least 25 times, over more than 10 ms; or flows of "
        "light bring 16 copies with several numbers; or three packets of this laptop come back within a second.",
        where="Wherever this laptop listens: a loop reaches every port.",
    ),
    "storm": Words(
        title=_storm_title,
        why="Every box must look at every packet for everybody. Small nodes get slow at a thousand a second and stand still at "
        "ten thousand.",
        steps=(
            ("Find the box by its name, address or network card.", NOTHING),
            ("Is somebody searching the network with it on purpose? Then wait until the search is over.", NOTHING),
            ("Unplug {who}.", f"what it sends stops; {CAUTION}"),
            ("If packets go on without it, look for a loop.", NOTHING),
        ),
        mistaken=(
            "light of many universes at its usual rate, which is planned",
            "the first minute of a load-in, when many boxes ask at once",
            "a search through all addresses, also one of this laptop",
            "a loop in which one packet goes round",
        ),
        seen=_storm_seen,
        sure={
            "certain": "counted packet by packet, all from one network card",
            "likely": "counted; Wi-Fi may have added copies",
            "hint": "counted over a short time",
        },
        how="One box sends more than 1,000 packets a second to everybody for 5 s, or more than 10,000 for half a second. Light "
        "counts only where one universe alone is so fast.",
        where="Wherever this laptop listens with full rights: what goes to everybody comes here, too.",
    ),
}
