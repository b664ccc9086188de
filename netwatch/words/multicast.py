"""Words of the alerts about multicast: who keeps it alive, what was dropped, what no longer arrives."""

from __future__ import annotations

from .base import CAUTION, IN_FULL, NOTHING, Clock, Words, after_show, light, sacn, said
from .phrases import Facts, name, names, seconds, start, universe
from .queriers import QUERIER_DISTURBS, until_dark


def _no_querier_title(facts: Facts) -> str:
    prunes = facts.get("prunes")
    if prunes is False:
        return "Nobody keeps multicast alive here; this switch passes everything on, so nothing will drop"
    of_light = light({"universes": facts.get("universes")})  # only sACN goes by multicast
    dark = f"{of_light or 'light'} {'will' if prunes else 'may'} go dark"
    return f"Nobody keeps multicast alive here: {dark}"


def _no_querier_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    silent, prunes, dark = facts.get("seconds"), facts.get("prunes"), until_dark(facts, clock)
    habit = {
        True: "This switch was seen to hold back light that nobody asked for.",
        False: "Light that nobody asked for arrives all the time: this switch passes everything on; nothing will drop.",
    }
    when = None
    if dark is not None and prunes is not False:
        when = f"If this switch prunes, {dark}; the pre-show check can tell while the rig is free."
        when = f"{start(dark)}." if prunes else when
    return said(
        f"For {seconds(silent)} no box has asked who wants multicast (IGMP query)."
        if silent is not None
        else "No box has asked who wants multicast (IGMP query).",
        habit.get(prunes) if prunes is not None else "It is not known yet whether this switch filters multicast.",
        when,
        f"Stopped already: {light({'universes': facts['dropped']}, IN_FULL)}." if facts.get("dropped") else None,
    )


def _dropped_title(facts: Facts) -> str:
    after, what = facts.get("after_s"), sacn(facts, 2)
    if not what:
        what = name(facts.get("group"), "light")
    time = f" after {seconds(after)}" if after is not None else ""
    return f"Multicast dropped{time}: the switch stopped passing {what} to this laptop"


def _dropped_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    after, back, gone, what = (
        facts.get("after_s"),
        facts.get("back"),
        facts.get("silent_s"),
        start(light(facts, IN_FULL) or "the light"),
    )
    away = f" after {seconds(gone)} of silence" if gone is not None else ""
    group = f" (group {name(facts['group'], '')})" if facts.get("group") else ""
    return said(
        f"{what}{group} stopped arriving; other traffic went on, and nobody here asked for it to stop.",
        f"It stopped {seconds(after)} after this laptop had last asked for it." if after is not None else None,
        {True: f"It is back{away}.", False: "It has not come back."}.get(back) if back is not None else None,
    )


def _silent_title(facts: Facts) -> str:
    several = facts.get("universes") or ()
    what = f"{len(several)} universes" if len(several) > 1 else light(facts)
    nothing = f"Nothing of {what} reaches this laptop any more" if what else "Some light no longer reaches this laptop"
    return f"{nothing}: controller or network is not known yet"


def _silent_seen(facts: Facts, clock: Clock) -> tuple[str, ...]:
    last, sources = facts.get("last"), names(facts.get("sources"), 8)
    what = universe(facts.get("universe"), facts.get("protocol"))
    return said(
        f"The last packet of {what} came at {clock(last)}." if last is not None else f"No packet of {what} comes any more.",
        f"Until then it was sent by {sources}." if sources else None,
    )


MULTICAST: dict[str, Words] = {
    "no-querier": Words(
        title=_no_querier_title,
        why="Switches that filter multicast forget after some minutes who wanted it, unless one box asks again and "
        "again. Everything "
        "works at switch-on, and minutes later many nodes go dark within seconds.",
        steps=(
            ("Ask who looks after the switches whether an IGMP querier is switched on, and in which one.", NOTHING),
            (
                "Switch the IGMP querier on in one switch, best the central one, and give it an address of the lighting network.",
                QUERIER_DISTURBS,
            ),
            ("Wait 5 minutes and look here again.", NOTHING),
            after_show(
                "If no switch can do it: switch multicast filtering (IGMP snooping) off in all of them, or send by unicast.",
                f"then all light goes to every box, slow links may be too small for it; light may stop for some "
                f"seconds; {CAUTION}",
            ),
            after_show(
                "In an emergency only: restart the nodes that went dark. It helps once, for as long as before.",
                f"{{goes_dark}} for about 10 s; {CAUTION}",
            ),
        ),
        mistaken=(
            "a switch that does not filter: then nothing ever stops",
            "a querier that asks more rarely than every 125 s",
            "queries that do not reach this port, or a laptop in another VLAN",
        ),
        seen=_no_querier_seen,
        sure={
            "certain": "the switch was seen to drop light that was still wanted",
            "likely": "no query for longer than 255 s, in which at least one should have come",
            "hint": "no query so far; it may only be late",
        },
        how="Queries go to every port. No query for 135 s (default interval and answer time) is a hint, none for 255 s "
        "(the time after which "
        "another querier would take over) is likely. Light that arrives unasked shows a switch that filters nothing.",
        where="Mirror port, ordinary port: yes. Wi-Fi: in part, many access points keep queries back. Limited view: no.",
    ),
    "multicast-dropped": Words(
        title=_dropped_title,
        why="What happened to this laptop happens to nodes as well: the controller goes on sending, the switch no "
        "longer passes it on, "
        "and fixtures go dark or freeze.",
        steps=(
            ("Leave the controller alone: the fault is in the network.", NOTHING),
            ("Look at the fixtures of {light}: dark or frozen as well, or does only this laptop miss it?", NOTHING),
            ("Ask who looks after the switches whether an IGMP querier is switched on.", NOTHING),
            ("Switch the IGMP querier on in one switch, best the central one.", QUERIER_DISTURBS),
            after_show(
                "In an emergency only: restart the nodes that are dark. Without a querier it holds for {period} again.",
                f"{{goes_dark}} for about 10 s; {CAUTION}",
            ),
        ),
        mistaken=(
            "a controller that stopped: then it is heard nowhere, and its other universes stop too",
            "a leave from this laptop that was not heard",
            "a switch that was restarted, or a cable on the way that was pulled",
        ),
        seen=_dropped_seen,
        sure={
            "certain": "it came back as soon as somebody asked who wants it, or this laptop asked again",
            "likely": "it stopped although the sender shows other signs of life",
            "hint": "the time since the last request fits a switch that forgets",
        },
        how="A universe that this laptop asked for stops, no leave and no query came before, and its sender is still "
        "heard by other "
        "means. If it comes back within the answer time of a query or a new request, the switch had held it back.",
        where="Ordinary port: yes, that is where it happens. Mirror port: no, since a mirror shows what enters the switch. "
        "Wi-Fi: in part. Limited view: as a hint.",
    ),
    "universe-silent": Words(
        title=_silent_title,
        why="Fixtures may be dark or frozen. From one port the same silence can mean a dead controller, a pulled "
        "cable or a switch that "
        "stopped passing it on; it is told at once, and its cause as soon as it shows.",
        steps=(
            ("Look at the fixtures of {light}: if they go on as usual, only this laptop misses it.", NOTHING),
            ("Look at the controller: is it on, and does it still put out {light}?", NOTHING),
            (
                "Look below whether other universes of the same controller still arrive. If so, it lives and its cable is good.",
                NOTHING,
            ),
            ("Plug the laptop into a mirror port, or into the switch next to the controller.", "only the view of this laptop"),
            ("Only then touch cables: first that of the controller.", f"all its universes stop meanwhile; {CAUTION}"),
        ),
        mistaken=(
            "a controller that sends this universe only from time to time",
            "the switch stopped passing it to this laptop alone",
            "the laptop's own cable or adapter",
        ),
        seen=_silent_seen,
        sure={
            "certain": "nothing arrives here; that says nothing yet about the cause",
            "likely": "nothing arrives here, though packets may have been missed",
            "hint": "the sender was slow before",
        },
        how="No packet of the universe for 2.5 s (for so long receivers wait for a source; 10 s for Art-Net) while this laptop "
        "should get it. 'Multicast dropped' or 'went silent' replaces it once the cause is known.",
        where="From everywhere, for what arrived there before.",
    ),
}
