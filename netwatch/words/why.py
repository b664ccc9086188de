"""The way of one universe from its sender to the fixture, in words."""

from __future__ import annotations

from collections.abc import Sequence

from .phrases import count, listing, name, number, seconds, start, universe, universes
from .sees import SEES

STATION = {
    "sender": "Sender", "switch": "Switch", "laptop": "This laptop", "node": "Node", "behind": "Behind the node",
}  # fmt: skip
STATE = {"FINE": ("+", "FINE"), "WRONG": ("!", "WRONG"), "CAN'T SEE": ("?", "CAN'T SEE")}
"""Mark and word; the last one from here."""
NS = 1_000_000_000
BEHIND = "The node's output, the DMX line, the fixture's address and mode."


def head(value: int, protocol: str, see: str | None) -> str:
    """'WHY UNIVERSE 7: IT IS DARK' without capitals."""
    said = f": {SEES[see]}" if see else ""
    return f"What happens to {universe(value, protocol)}{said}"


def unknown(value: int, protocol: str, sacn: Sequence[int], artnet: Sequence[int]) -> str:
    """One sentence where nothing is known of a universe."""
    heard = listing([each for each in (universes(sacn, "e131", 4), universes(artnet, "artnet", 4)) if each], 2)
    nothing = f"Nothing was heard of {universe(value, protocol)}: no sender, no request, no node."
    return f"{nothing} What was heard: {heard}." if heard else nothing


def alert(title: str, id: int, over: str | None) -> str:
    """``over`` = when it was, None = it stands."""
    return f"{title} (alert {id})." if over is None else f"Until {over}: {title} (alert {id})."


# ---- sender ----


def sends(who: str, address: str, rate: float, priority: int | None, slots: int, lit: int) -> str:
    """One that sends for output."""
    box = f"{name(who, address)} ({address})" if who and who != address else address
    way = f" at priority {priority}" if priority is not None else ""
    light = "all of them at zero" if not lit else f"{number(lit)} of them lit"
    return f"{box} sends it {count(rate, 'time', 'times')} a second{way}, {count(slots, 'channel', 'channels')}, {light}."


def level(channel: int, value: int) -> str:
    """'Channel 12 is at 80 %.'"""
    return f"Channel {channel} is at {_percent(value)}."


def _percent(value: int) -> str:
    """A level of 0 to 255: '80 %', 'under 1 %'."""
    return "under 1 %" if 0 < value < 2 else f"{round(value / 255 * 100)} %"


def still(changed: str, ns: int) -> str:
    """Since when nothing moves."""
    return f"Its levels have stood still since {changed} ({seconds(ns / NS)})."


def never_moved() -> str:
    return "Its levels have not changed since it was first heard."


def preview(who: str) -> str:
    return f"{name(who, 'A controller')} sends it as preview only: fixtures ignore it."


def said_goodbye(who: str, at: str) -> str:
    return f"{name(who, 'A controller')} signed off at {at}."


def silent(who: str, at: str, heard: bool) -> str:
    """``heard`` = it would be heard if it were sent."""
    doubt = "" if heard else " Whether it stopped or only no longer gets here can't be said."
    return f"The last of {name(who, 'a controller')} came at {at}.{doubt}"


def nobody(protocol: str, heard: bool) -> str:
    if heard:
        return "Nobody sends it, as far as this laptop would hear it."
    if protocol == "artnet":
        return "None of it gets here; Art-Net to single nodes is only seen from a mirror port."
    return "None of it gets here; this laptop did not ask for it, so that the switch may hold it back."


# ---- switch ----

PASSES = "It arrives here by multicast"
UNSEEN_PORT = "Whether it leaves the switch at the node's port can't be seen from here."


def arrives(how: str, querier: str, asks: int) -> str:
    """``how`` = group, unicast or broadcast."""
    if how == "broadcast":
        return f"It goes to every box, and arrives here. {UNSEEN_PORT}"
    if how == "unicast":
        return f"It goes to one box alone, and is seen here. {UNSEEN_PORT}"
    keeps = f"; {querier} asks who listens" if querier else ""
    wanted = f" {count(asks, 'box', 'boxes')} asked for it." if asks else ""
    return f"{PASSES}{keeps}.{wanted} {UNSEEN_PORT}"


def goes_dark(by: str) -> str:
    return f"Nobody asks who listens: the switch drops it by {by}."


NOT_ARRIVING = "Nothing of it arrives, so that nothing can be said of the switch."

# ---- this laptop ----


def laptop(place: str, dropped: int) -> str:
    """``place`` as in ``VANTAGE``."""
    lost = f"{count(dropped, 'packet was', 'packets were')} dropped before being recorded"
    return f"It listens from {place}; {lost if dropped else 'no packet is known to be dropped'}."


# ---- node ----


def node(who: str, address: str, at: str, fed: bool, merging: bool, e131: bool) -> str:
    """A node's own word on one of its outputs."""
    box = f"{name(who, address)} ({address})" if who != address else address
    data = "that it puts it out" if fed else "that it has nothing to put out"
    more = ", merging two senders" if merging else ""
    by = ", taken from sACN" if e131 else ""
    return f"{box} said at {at} {data}{more}{by}."


def asked(who: Sequence[str]) -> str:
    return f"{listing(list(who), 4)} asked for it. What a node makes of sACN it does not tell."


NO_NODE = "No node was heard that takes it."


# ---- the end ----


def verdict_wrong(station: str, what: str, step: str) -> str:
    look = f" First: {step}" if step else ""
    return f"Look at the {'laptop' if station == 'laptop' else station}: {what}{look}"


def black(value: int, protocol: str) -> str:
    return f"{start(universe(value, protocol))} is sent, and it is black: look at the desk (cue, grand master, blackout, patch)."


def _sent(value: int, protocol: str, rate: float) -> str:
    return f"{start(universe(value, protocol))} is sent {count(rate, 'time', 'times')} a second"


def acquitted(value: int, protocol: str, rate: float, channel: int, level: int) -> str:
    return (
        f"{_sent(value, protocol, rate)}, channel {channel} at {_percent(level)}. "
        "Look behind the node: its output, the DMX line, the fixture's address and mode."
    )


def frozen(value: int, protocol: str, rate: float, since: str) -> str:
    return (
        f"{_sent(value, protocol, rate)}, but its levels have stood still since {since}: "
        "look at the desk; if its look moves, at what lies between."
    )


def unsure(value: int, protocol: str) -> str:
    what = universe(value, protocol)
    join = "" if protocol == "artnet" else f", or let this laptop ask for it ('netwatch watch --join {value}')"
    return f"From here it can't be said whether {what} is sent: listen from a mirror port{join}."
