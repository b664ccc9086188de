"""Words of the answer to 'can these two talk?'."""

from __future__ import annotations

from collections.abc import Sequence

WAYS = {"unicast": "To it alone (unicast)", "broadcast": "Directed broadcast", "multicast": "sACN multicast"}
WHY = {
    "neighbours": "{a} takes {b} for a neighbour and sends straight to it; the answer comes the same way.",
    "no-answer": "It arrives, but {b} takes {a} for a box of another network: the answer goes to a gateway, or nowhere. "
    "Ping, web pages and Art-Net polls fail.",
    "gateway": "{a} takes {b} for a box of another network: it hands the packets to its gateway, or sends none.",
    "broadcast": "Both use {broadcast}.",
    "none": "{a}'s mask leaves no broadcast address.",
    "own-address": "{a} sends to {broadcast}, which is {b}'s own address: some boxes take such packets, some drop them.",
    "one-box": "{a} sends to {broadcast}; in {b}'s network that is the address of one box, so {b} drops it.",
    "elsewhere": "{a} sends to {broadcast}; {b} listens on {other} and drops it.",
    "groups": "Universe 1 goes to group 239.255.0.1 whatever the masks are.",
    "groups-foreign": "Universe 1 goes to group 239.255.0.1 whatever the masks are. But {a} is foreign to {b}: some receivers "
    "and firewalls drop it.",
    "same": "Both have the same address: they disturb each other, and nobody can tell them apart.",
    "sender": "{a} has an address that no box can have under its mask.",
    "receiver": "{b} has an address that no box can have under its mask.",
    "both": "Both have an address that no box can have under its mask.",
}
ROLE = {
    "network": "It is the network's own address: no box can have it.",
    "broadcast": "It is the broadcast address: no box can have it.",
}
LOOKS = "{a} looks at {b}: the bits left of | must be equal."
EQUAL = "Equal: {a} takes {b} for a neighbour."
DIFFERENT = "Not equal: {a} takes {b} for a box of another network."
HOLDS = "This holds for two boxes on one switch and in one VLAN, without a router between them. Firewalls are not looked at."


def verdict(whole: bool, unicast: Sequence[str], broadcast: Sequence[str], multicast: Sequence[str]) -> str:
    """In short; each the states there and back."""
    if whole:
        return "These two reach each other in every way."
    if "NO" in multicast:
        return "These two can't work together as they are."
    both = ["unicast"] * (set(unicast) == {"YES"}) + ["broadcast"] * (set(broadcast) == {"YES"})
    if not both:
        return "Only sACN multicast works both ways between these two."
    return f"Between these two {' and '.join([*both, 'sACN multicast'])} work both ways, the rest does not."


def advice(same_mask: bool, same_address: bool, mask: str | None) -> str:
    """What to do."""
    if same_address:
        return "What to do: give one of them another address that is free."
    if mask is None:
        return "What to do: give one of them an address in the other's network, and both the same mask."
    change = "with" if same_mask else "give both the same mask: with"
    return (f"What to do: {change} mask {mask} on both they are neighbours, or move one into the other's network. "
            "A box is gone from the network for a moment while its address or mask changes.")
