"""Words of the alerts about who asks for light and who leaves it: deaf receivers, fast leave, our own joins."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, sacn, said
from .phrases import Facts, count, name, names, start, universes
from .queriers import QUERIER_DISTURBS


def _deaf_title(facts: Facts) -> str:
    who, what = name(facts.get("who"), "One box"), sacn(facts, 2) or "its light"
    return f"{who} does not answer when asked who listens: {what} will drop"


def _deaf_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    missed, dark = facts.get("questions"), facts.get("goes_dark_at")
    return said(
        f"It asked for {sacn(facts, IN_FULL) or 'its universes'} once, and then left {count(missed, 'question', 'questions')} "
        f"unanswered "
        "(IGMP queries)."
        if missed is not None
        else "It asked for its universes once, and does not answer questions since.",
        "Other boxes answered them.",
        f"The switch forgets it at about {clock(dark)}, if it works with the usual times." if dark is not None else None,
    )


def _fast_title(facts: Facts) -> str:
    what = sacn(facts, 2) or "light"
    who = name(facts.get("who"), "one box")
    return f"When {who} left, the switch cut off {what} for its neighbours"


def _fast_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    others = names(facts.get("others"), 4)
    return said(
        f"{start(sacn(facts, IN_FULL) or 'the light')} stopped within a second after {name(facts.get('who'), 'one box')} had "
        f"left it.",
        "The switch did not ask first whether somebody else still wants it.",
        f"{others} still wanted it." if others else None,
        "It came back when the next question who listens was answered." if facts.get("back") else None,
    )


def _own_title(facts: Facts) -> str:
    what = sacn(facts, 2) or "light"
    did = "left" if facts.get("joined") is False else "joined"
    return f"This laptop may have darkened {what}: it stopped when the laptop {did}"


def _own_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    asked = universes(facts.get("asked"), None, IN_FULL)
    return said(
        f"{start(sacn(facts, IN_FULL) or 'light')} stopped within 2 s after this laptop "
        f"{'left' if facts.get('joined') is False else 'asked for'} {asked or 'a universe'}.",
        "Its sender is still heard, and no box had asked who listens (IGMP query).",
        "It was back when the laptop had left again." if facts.get("healed") else None,
    )


RECEIVERS: dict[str, Words] = {
    "deaf-receiver": Words(
        title=_deaf_title,
        why="The switch forgets a receiver that does not answer. It goes dark 4 to 5 minutes after each start, while all "
        "others go on; a "
        "restart helps for as long again.",
        steps=(
            ("Look at the fixtures of {who}: are they dark some minutes after each start?", NOTHING),
            after_show("Ask the maker for newer firmware: some versions do not answer IGMP queries.", NOTHING),
            after_show("Send to {who} by unicast instead.", f"its light stops while you change it; {CAUTION}"),
            (
                "Or let the switch always pass these universes on to its port (a static group entry).",
                f"light may come back at once; {CAUTION}",
            ),
        ),
        mistaken=(
            "another receiver that answers for it (IGMP version 1 and 2 allow that)",
            "a box that was switched off, or left without saying so",
            "answers that do not reach this port",
        ),
        seen=_deaf_seen,
        sure={
            "certain": "its answers would be heard here, and none came",
            "likely": "others answered, it did not, and it is still there",
            "hint": "its answers may go another way",
        },
        how="A box asked for a universe, is still heard, and no box answered for that universe after two questions in a row, "
        "while two "
        "other boxes answered theirs.",
        where="Mirror port: yes. Ordinary port: only while the switch sends answers to every port. Wi-Fi, limited view: no.",
    ),
    "fast-leave": Words(
        title=_fast_title,
        why="A switch set to 'fast leave' takes the first leave on a port as the last. Other boxes behind the same port (a "
        "small switch, a "
        "daisy chain) lose the universe until the next question, up to two minutes.",
        steps=(
            ("Leave this laptop's universes joined until the show is over.", NOTHING),
            ("Plug the laptop into a port of its own.", "only the view of this laptop"),
            after_show(
                "Switch 'fast leave' (immediate leave) off on ports that lead to other switches or daisy chains.",
                f"light may stop for some seconds; {CAUTION}",
            ),
        ),
        mistaken=(
            "a normal leave: the switch asks twice, others answer, and light goes on",
            "the only receiver on this port left, so nobody misses it",
            "a controller that stopped at the same moment",
        ),
        seen=_fast_seen,
        sure={
            "certain": "it came back by itself as soon as somebody asked",
            "likely": "it came back with the next question and the answer of another box",
            "hint": "it stopped right after the leave, and another box on this port had asked for it",
        },
        how="A universe stops within a second after a leave on this port, without a question for that universe in between, "
        "though another "
        "box here still wants it; the next general question brings it back.",
        where="Ordinary port: yes, where several boxes share it. Mirror port, Wi-Fi, limited view: no.",
    ),
    "own-join-darkened": Words(
        title=_own_title,
        why="Some switches send a universe to everybody as long as nobody asks for it. The first box that asks, even this "
        "laptop, makes "
        "them send it there alone: nodes that were fine go dark.",
        steps=(
            ("Look at the fixtures of {light}: are they dark since then?", NOTHING),
            ("Leave the universes that this laptop joined.", f"light may come back at once; {CAUTION}"),
            (
                "Switch the IGMP querier on in one switch, and wait 5 minutes.",
                QUERIER_DISTURBS,
            ),
            ("Only then join again.", NOTHING),
        ),
        mistaken=(
            "a switch that forgets for want of a querier, at the same moment by chance",
            "a controller that stopped sending this universe",
        ),
        seen=_own_seen,
        sure={
            "certain": "it was back right after the laptop had left again",
            "likely": "it stopped within 2 s, its sender lives, and nobody had asked who listens",
            "hint": "the moments fit, no more",
        },
        how="A universe stops within 2 s after a join or leave of this laptop, its sender is heard later, and no box had asked "
        "for 260 s "
        "before who listens.",
        where="Ordinary port: for what arrives here. What goes dark elsewhere can't be seen. Mirror port: no. Wi-Fi: as a hint.",
    ),
}
