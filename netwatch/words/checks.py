"""The eleven checks in words: name, and a sentence for each state that it can have."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeAlias

Sentence: TypeAlias = str | Callable[[Any], str]

_NO_LIGHT = "No light was heard yet: no sACN, no Art-Net."
_LIMITED = "Needs the right to listen to whole packets: see README, 'Rights'."

CHECKS: dict[str, tuple[str, dict[str, Sentence]]] = {
    "trusted": (
        "This laptop can be trusted",
        {
            "FINE": "No packet was dropped on this laptop.",
            "NOT YET": "Nothing was heard yet.",
        },
    ),
    "heard": (
        "The rig is heard",
        {
            "FINE": lambda player: f"{_count(len(player.network.claims.boxes), 'box', 'boxes')} heard.",
            "NOT YET": "No other box was heard yet: check cable, port and power.",
        },
    ),
    "one-server": (
        "One DHCP server",
        {
            "FINE": "One box hands out addresses.",
            "named": "One box hands out addresses, as far as clients name it. A silent second one can't be seen from here.",
            "NOT YET": "No box asked for an address yet: known as soon as one does.",
            "limited": _LIMITED,
        },
    ),
    "no-address-twice": (
        "No address twice",
        {
            "FINE": "No address was used by two boxes.",
            "NOT YET": "Known after a minute: boxes speak rarely.",
            "limited": _LIMITED,
        },
    ),
    "one-network": (
        "All on one network",
        {
            "FINE": "No box made up an address of its own.",
            "NOT YET": "Known after a minute: boxes speak rarely.",
            "limited": _LIMITED,
        },
    ),
    "light-arrives": (
        "Light arrives",
        {
            "FINE": "What was sent to here goes on arriving.",
            "none now": "No light arrives at present.",
            "no light": _NO_LIGHT,
        },
    ),
    "one-sender": (
        "One sender a universe",
        {
            "FINE": "No two senders fight over a universe.",
            "no light": _NO_LIGHT,
        },
    ),
    "multicast-holds": (
        "Multicast will hold",
        {
            "FINE": "A box keeps multicast alive: it asks who listens.",
            "floods": "This switch passes all light on, also what nobody here asked for: nothing will drop.",
        "NOT YET": "Nobody was heard that keeps multicast alive; known 4:20 minutes after the first light.",
            "NOT USED HERE": "No light by multicast was heard.",
            "no light": _NO_LIGHT,
            "limited": _LIMITED,
        },
    ),
    "nothing-lost": (
        "Nothing gets lost",
        {
            "FINE": "No stream loses more than 1 packet in 100.",
            "NOT YET": "Known after 10 s of light.",
            "no light": _NO_LIGHT,
        },
    ),
    "nothing-floods": (
        "Nothing floods",
        {
            "FINE": "No light is sent to every box at a rate that hurts.",
            "NOT YET": "Known after 10 s of light.",
            "no light": _NO_LIGHT,
        },
    ),
    "planned": ("As planned", {}),
}


def _count(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
