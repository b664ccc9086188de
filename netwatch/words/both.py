"""Words of the alerts about both protocols at once, and about a controller that left."""

from __future__ import annotations

from .artnet import one
from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, light, said
from .phrases import Facts, name, names, seconds, share, start


def _off_by(facts: Facts) -> str:
    sacn, artnet = facts.get("sacn"), facts.get("artnet")
    if sacn is None or artnet is None:
        return ""
    return f"Art-Net {one(artnet)} carries what sACN universe {sacn} carries"


def _numbering_title(facts: Facts) -> str:
    return _off_by(facts) or "Art-Net and sACN carry the same light under different numbers"


def _numbering_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    part, second, found, offset = facts.get("share"), facts.get("second"), light(facts, IN_FULL), facts.get("offset")
    usual = {1: "So both count from their first universe, which is usual.", 0: "So Art-Net 0.0.0 (0) stays unused here."}.get(
        offset if isinstance(offset, int) else -9, "No usual way of counting gives that."
    )
    return said(
        f"{start(share(part))} of the frames that changed are equal{' on sACN ' + found if found else ''}."
        if part is not None
        else None,
        f"With the next best numbering {share(second)} would be." if second is not None else None,
        usual if offset is not None else None,
    )


def _both_title(facts: Facts) -> str:
    who, found = facts.get("who"), light({**facts, "protocol": "e131"})
    what, many = f"sACN {found}" if found else "A universe", len(facts.get("universes") or ()) > 1
    if who:
        differ = ", and they differ" if facts.get("differ") else ""
        return f"{name(who, 'A node')} gets {f'sACN {found}' if found else 'a universe'} by Art-Net too{differ}"
    return f"{what} {'are' if many else 'is'} sent by Art-Net too"


def _both_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    sacn, artnet, senders = facts.get("sacn"), facts.get("artnet"), names(facts.get("senders"), 8)
    return said(
        f"sACN universe {sacn} beside Art-Net {one(artnet)}." if sacn is not None and artnet is not None else None,
        f"Sent by {senders}." if senders else None,
        {True: "Their levels differ.", False: "Where it could be compared, they carry the same light."}.get(
            facts.get("differ") or False
        )
        if facts.get("differ") is not None
        else None,
        None if facts.get("who") else "Whether any node takes both was not seen.",
    )


def _left_title(facts: Facts) -> str:
    who, what, back = name(facts.get("who"), "A controller"), light(facts), facts.get("back_as")
    if back:
        return f"{who} is back as {name(back, 'another box')}"
    return f"{who} left the network{': ' + what if what else ''}"


def _left_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    since, back = facts.get("seconds"), facts.get("back_as")
    return said(
        f"Its light and its own words stopped together {seconds(since)} ago; other boxes go on." if since is not None else None,
        f"A box with the same name asked for an address since: {name(back, '')}." if back else None,
        "That address of its network card is made up by its system." if facts.get("made_up") else None,
        f"It was heard on {name(facts['elsewhere'], '')} since." if facts.get("elsewhere") else None,
    )


BOTH: dict[str, Words] = {
    "both-protocols-one-universe": Words(
        title=_both_title,
        why="A node that takes both mixes them or follows one of them, and which one may change when a cable moves.",
        steps=(
            ("Look which protocol each node is set to. One protocol for each node is fine.", NOTHING),
            after_show("Set the node to one protocol.", f"its fixtures follow that one alone; {CAUTION}"),
            after_show("Switch the protocol that nobody needs off at the desk.", f"nodes that took it go dark; {CAUTION}"),
        ),
        mistaken=(
            "a desk that sends both everywhere: harmless if each node is set to one",
            "a box that converts one into the other",
            "two rigs that use the same numbers on purpose",
        ),
        seen=_both_seen,
        sure={
            "certain": "not without a plan",
            "likely": "a node asks for both, and they carry different light",
            "hint": "both are sent; whether one node follows both is not known",
        },
        how="An Art-Net universe that a node says it puts out, and the sACN universe of the same number, which it "
        "asked for; both go on. "
        "Without such a node: both are sent.",
        where="Mirror port: what nodes ask for, and light to one box. Elsewhere: light to all boxes and groups that arrive here.",
    ),
    "protocols-off-by-one": Words(
        title=_numbering_title,
        why="Whoever takes the one protocol for the other is one universe beside.",
        steps=(
            ("Write down which number means what here, and put it into the plan.", NOTHING),
            after_show(
                "If it is not meant: change the numbers of one protocol at the desk.",
                f"fixtures of that protocol follow other levels; {CAUTION}",
            ),
        ),
        mistaken=(
            "universes that all carry the same, or are all black: they tell nothing",
            "one protocol that comes late",
        ),
        seen=_numbering_seen,
        sure={
            "certain": "the same changing frames were seen in both, and with no other numbering",
            "likely": "worth a look",
            "hint": "worth a look",
        },
        how="At least five universes that change; with the best shift 90 % of the frames are equal within 50 ms, with "
        "the next best "
        "less than half.",
        where="Wherever light of both protocols is heard: mirror port, or what goes to all boxes and groups that arrive here.",
    ),
    "controller-left": Words(
        title=_left_title,
        why="Its light is gone until it is back; it did not say goodbye.",
        steps=(
            ("Look at {who}: is it awake, is its lid open, does its network socket show a link?", NOTHING),
            ("See whether it joined another network, as a wireless one.", NOTHING),
            ("Wake it, or plug it in again.", f"its light is back; {CAUTION}"),
            ("Let the backup take over, if there is one.", f"its look may differ; {CAUTION}"),
        ),
        mistaken=(
            "a cable that came loose",
            "a program that was closed, on a box that rarely speaks",
            "a box that was switched off on purpose",
        ),
        seen=_left_seen,
        sure={
            "certain": "not from packets alone",
            "likely": "its light and its own words stopped together, while other boxes went on",
            "hint": "its words are too rare to be sure",
        },
        how="All light of a box is silent without a goodbye, and no ARP of it came for four times its usual pause (10 "
        "s at least), while "
        "others are heard.",
        where="Mirror and ordinary port, Wi-Fi: ARP goes to all boxes. Limited view: not seen.",
    ),
}
