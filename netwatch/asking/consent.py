"""What joining means, said before it is done: which universes, how much, what it may darken. Pure; sends nothing."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final

FIRST, LAST = 1, 63_999
"""Universe numbers (E1.31-2018 6.2.7)."""
DISCOVERY = 64_214
"""Universe discovery (E1.31-2018 app. A); its group brings the announcements."""
ANNOUNCED: Final = "announced"
MOST_GROUPS = 128
"""Unless told otherwise (common practice, no source): as many as small switches have room for."""
MBIT = 0.25
"""Mbit/s of a universe of 512 slots at 44 Hz with all Ethernet overhead (704 byte times, derived: 0.248)."""
FELT_NS = 270 * 1_000_000_000
"""A switch remembers a membership for so long (RFC 9776 8.4, with the default timers)."""


class BadUniverses(ValueError):
    """One sentence: what is wrong with the universes that were asked for."""


def parse(text: str) -> tuple[int, ...] | str:
    """'1-8', '1,5,9' or '1-8,12' as universes in order, or ``ANNOUNCED``; raises ``BadUniverses``."""
    if text.strip().lower() == ANNOUNCED:
        return ANNOUNCED
    found: set[int] = set()
    for part in text.split(","):
        first, dash, last = part.strip().partition("-")
        begin, end = _number(first, text), _number(last if dash else first, text)
        if begin > end:
            raise BadUniverses(f"{part.strip()!r} runs backwards: write {end}-{begin}.")
        found.update(range(begin, end + 1))
    return tuple(sorted(found))


def _number(word: str, text: str) -> int:
    word = word.strip()
    if not (word.isascii() and word.isdigit()):
        raise BadUniverses(f"{text!r} names no universes: write them as 1-8 or 1,5,9, or write 'announced'.")
    if not FIRST <= int(word[:9]) <= LAST:
        raise BadUniverses(f"There is no universe {word[:9]}: sACN has universes {FIRST} to {LAST}.")
    return int(word)


@dataclass(frozen=True, slots=True)
class Question:
    """What to ask before joining."""

    join: tuple[int, ...]
    """Universes that are to be joined; empty = there is nothing to ask."""
    arriving: tuple[int, ...]
    """Asked for, but left out: they arrive without it."""
    sentence: str
    second: str | None
    """To be asked once more with this sentence, since waiting is better."""


def question(
    wish: Iterable[int] | str, *, arriving: Collection[int], announced: Collection[int] = (), joined: Collection[int] = (),
    query_heard: bool, kind: str = "unknown", speed: int | None = None, most: int = MOST_GROUPS,
) -> Question:
    """The question for what ``parse`` gave; ``speed`` of the link in bit/s. Raises ``BadUniverses`` when it is too many."""
    wanted = {DISCOVERY, *announced} if isinstance(wish, str) else set(wish)
    left_out = tuple(sorted(wanted & set(arriving)))
    join = tuple(sorted(wanted - set(arriving) - set(joined)))
    if len(join) + len(joined) > most:
        raise BadUniverses(f"That makes {len(join) + len(joined)} universes; at most {most} are joined at once: name fewer.")
    if not join:
        return Question((), left_out, "Nothing to join: all of it arrives already." if left_out else "Nothing new to join.", None)
    darkens = "a switch may then stop sending them to devices that never asked for them"
    return Question(join, left_out, f"Joining {listed(join)} {_cost(join, kind, speed)}; {darkens}.", _second(query_heard))


def _cost(join: tuple[int, ...], kind: str, speed: int | None) -> str:
    count = sum(1 for each in join if each != DISCOVERY)
    mbit = count * MBIT
    share = f" ({100 * mbit * 1e6 / speed:.0f} % of this link)" if speed and mbit * 1e6 > 0.1 * speed else ""
    if kind == "wifi":
        return f"takes up to {mbit:g} Mbit/s of the Wi-Fi that all share ({MBIT} Mbit/s a universe)"
    return f"brings up to {mbit:g} Mbit/s to this laptop{share}"


def _second(query_heard: bool) -> str | None:
    if query_heard:
        return None
    return ("No switch or router has asked yet who wants which universe: joining now can darken devices that are fine. "
            "Better wait two minutes, or switch the querier on first.")


def leave_warning(joined: Collection[int], phase: str) -> str | None:
    """One sentence before groups are left in phase 'show'; None when there is nothing to warn of."""
    if phase != "show" or not joined:
        return None
    return (f"Leaving {listed(joined)} in the show: a switch set to fast leave stops them at once for everything on the same "
            "port; better leave after the show.")


def earlier_run(left: int | None, now: int) -> str | None:
    """One sentence while the joins of an earlier run may still colour the view; times in ns."""
    if left is None or not 0 <= now - left < FELT_NS:
        return None
    ago, rest = (now - left) // 1_000_000_000, (FELT_NS - (now - left)) // 1_000_000_000
    return f"An earlier run left its universes {ago} s ago: for {rest} s more the switch may still send them here because of it."


def listed(universes: Iterable[int]) -> str:
    """'universe 7', 'universes 1-8, 12', 'the announcements and universe 7'."""
    known = sorted(set(universes))
    runs: list[list[int]] = []
    for each in known:
        if each == DISCOVERY:
            continue
        if runs and runs[-1][1] == each - 1:
            runs[-1][1] = each
        else:
            runs.append([each, each])
    words = ", ".join(str(first) if first == last else f"{first}-{last}" for first, last in runs)
    several = "s" if "," in words or "-" in words else ""
    parts = ["the announcements"] * (DISCOVERY in known) + [f"universe{several} {words}"] * bool(runs)
    return " and ".join(parts)
