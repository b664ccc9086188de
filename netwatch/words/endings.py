"""What ends by itself, in words: each line says what happens then, and what puts it off."""

from __future__ import annotations

from .phrases import name, start, universe

NOTHING = "Nothing is known that ends by itself."
LEASES_UNSEEN = "How long addresses are lent can't be seen from here: only a mirror port shows it."


def lease(who: str, address: str, server: str) -> str:
    """The end of a lease."""
    return f"{start(name(who, 'a box'))} has to give back {address} unless {name(server, 'the server')} prolongs it."


def asks(when: str) -> str:
    """When a box asks first to keep its address (RFC 2131 4.4.5: at half the time)."""
    return f"It asks from {when} on."


def question(who: str) -> str:
    """The next query."""
    return f"{start(who)} asks again who listens to multicast; each answer keeps universes alive."


def group(number: int | None, address: str, range_: bool) -> str:
    """The switch drops a group."""
    what = universe(number, "e131") if number is not None else f"group {address}"
    when = "at the earliest then" if range_ else "then"
    return f"The switch stops passing on {what} {when}, as nobody asks who listens. A query puts it off."
