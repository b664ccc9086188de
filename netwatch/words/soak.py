"""Words of ``netwatch soak``: what it does, what it may disturb, and its sheet."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from .phrases import count, listing, number, plain, seconds, start, universes

TITLE = "Before doors: does the lighting network hold?"
READY, NOT_READY, CANNOT_SAY = "READY", "NOT READY", "CANNOT SAY"
MEANINGS: Mapping[str, str] = {
    READY: "All that could be tested from here held. It is no promise for what could not be tested.",
    NOT_READY: "Something failed that would stop the show or soon will. Mend it, then let this run again.",
    CANNOT_SAY: "Nothing failed, but what matters most could not be tested. See below what is missing.",
}
FAILED, LOOK, UNTESTED, PASSED = "FAILED", "WORTH A LOOK", "NOT TESTED FROM HERE", "PASSED"
HEADS = (FAILED, UNTESTED, LOOK, PASSED)
"""In the order of the sheet."""

LAPTOP, LIGHT, TIME = "This laptop", "Light", "Time"
AGEING, QUERIES = "Multicast outlives the switch's memory", "Somebody keeps multicast alive"
ASKED = "What was asked for comes"


def begins(minutes: float, first: float, what: str) -> str:
    """Before anything is done."""
    return (
        f"This listens for {seconds(first)}, asks whether it may join {what}, and listens for {seconds(minutes * 60)} more. "
        "Joining asks the switch for this light. Where no box keeps multicast alive, a switch may then stop sending it to "
        "devices that never asked for it: those can fall dark. Do it before doors, with nobody under moving lights."
    )


def wish(asked: Sequence[int] | str) -> str:
    """What is to be joined."""
    return "what controllers announce" if isinstance(asked, str) else universes(asked)


IN_SHOW = (
    "A soak joins light, and in a show a join can darken what works: so it is not done in phase 'show'. "
    "Let it run before doors, with --phase building."
)


def show_soon(at: str) -> str:
    """The plan's show would begin meanwhile."""
    return f"By the plan the show begins at {at}, before a soak would be over; let it run earlier, or take fewer --minutes."


def left(rest: float) -> str:
    """While it listens."""
    return f"Listening; {seconds(rest)} left."


NOT_JOINED = "Nothing was joined, so light that only comes when it is asked for could not be tested."
STOPPED = "It was stopped before its time."


def too_short(waited: float, needed: float) -> str:
    """The time did not suffice."""
    return f"Listened for {seconds(waited)}; this takes {seconds(needed)}: give more --minutes."


NO_LIGHT = "No light was heard at the end: switch the controllers on, and send something."
NO_MULTICAST = "No light comes by multicast here."
LIMITED = "Without the right to listen to whole packets most of it can't be seen: see README, 'Rights'."


def not_trusted(why: Sequence[str]) -> str:
    """This laptop is at fault."""
    return f"{start(listing([plain(each).rstrip('.') for each in why], 4))}: so nothing can be relied on."


def outlived(found: Sequence[int], needed: float) -> str:
    """Asked for, and it goes on."""
    told = start(universes(found))
    return f"{told} {'keeps' if len(found) == 1 else 'keep'} coming more than {seconds(needed)} after being asked for."


def flooded(found: Sequence[int]) -> str:
    """Not asked for, and it comes."""
    come = "comes" if len(found) == 1 else "come"
    return (f"{start(universes(found))} {come} here without being asked for: as far as can be seen this switch passes everything "
            "on, and forgets nothing.")  # fmt: skip


def dropped(found: Sequence[int]) -> str:
    """Asked for, and it stopped."""
    return f"{start(universes(found))} stopped coming here after this laptop had asked for it."


def queried(who: Sequence[str], times: int, interval: float | None) -> str:
    """Heard so often."""
    every = f", every {seconds(interval)}" if interval else ""
    verb = "asks" if len(who) == 1 else "ask"
    return f"{listing([plain(each) for each in who])} {verb} who listens{every}; heard {count(times, 'time', 'times')}."


NOBODY_ASKS = (
    "No box asks who listens. A switch that passes everything on needs none; one that filters would drop light after a while, "
    "and whether this one begins to filter as soon as a box asks can't be seen from here."
)
MIRROR = "A mirror port shows what goes into the switch, not what it holds back: plug into an ordinary port."
ONCE = "One question was heard; the second one did not come in time."


def nothing_came(found: Sequence[int], expected: bool) -> str:
    """Joined in vain."""
    why = "though it should be sent" if expected else "perhaps nobody sends it"
    return f"{start(universes(found))}: asked for, and nothing came; {why}."


def came(found: Sequence[int]) -> str:
    """Joined, and it comes."""
    return f"{start(universes(found))} {'comes' if len(found) == 1 else 'come'} since it was asked for."


def missing(names: Sequence[str]) -> str:
    """Of the plan."""
    return f"Not heard: {listing([plain(each) for each in names], 8)}."


def over(text: str, first: str, last: str | None) -> str:
    """An alert with its times."""
    return f"{plain(text)} ({f'{first} to {last}, over' if last is not None else f'since {first}'})."


def do(step: str) -> str:
    """The first thing to do."""
    return f"First: {step}"


def listened(where: Sequence[str], span: str, packets: int) -> str:
    """Below the head."""
    return f"{listing([plain(each) for each in where], 3) or 'No port'}; {span}; {number(packets)} packets."
