"""What people see when something is wrong, and which alerts can be behind it."""

from __future__ import annotations

from collections.abc import Mapping

SEES: Mapping[str, str] = {
    "dark": "it is dark",
    "frozen": "it is frozen: an old look stands",
    "flickers": "it flickers",
    "fights": "two looks fight",
    "jerky": "it moves in jerks",
    "not-found": "a box is not found",
    "stopped": "it worked, then it stopped",
    "one-off": "it answers to the wrong number",
}
"""The eight phrases."""

BEHIND: Mapping[str, tuple[str, ...]] = {
    "two-dhcp-servers": ("not-found",),
    "no-dhcp-answer": ("not-found",),
    "duplicate-address": ("not-found", "flickers", "stopped"),
    "link-local-address": ("not-found", "dark"),
    "dhcp-pool-used-up": ("not-found",),
    "dhcp-offer-wrong": ("not-found",),
    "lease-server-silent": ("not-found", "stopped"),
    "address-moved": ("not-found", "stopped"),
    "address-declined": ("not-found",),
    "fixed-address-in-pool": ("not-found",),
    "wrong-subnet": ("not-found", "dark"),
    "wrong-mask": ("not-found", "dark"),
    "invalid-address": ("not-found",),
    "no-querier": ("stopped", "dark", "frozen"),
    "multicast-dropped": ("stopped", "dark", "frozen"),
    "universe-silent": ("stopped", "dark", "frozen"),
    "querier-lost": ("stopped", "dark", "frozen"),
    "two-queriers": ("stopped", "flickers"),
    "multicast-flooded": ("jerky", "flickers"),
    "deaf-receiver": ("stopped", "dark", "frozen"),
    "fast-leave": ("stopped", "dark", "frozen"),
    "own-join-darkened": ("stopped", "dark", "frozen"),
    "sources-fighting": ("fights", "flickers", "jerky"),
    "source-lost": ("stopped", "dark", "frozen"),
    "source-ended": ("stopped", "dark", "frozen"),
    "packets-lost": ("jerky", "flickers"),
    "artnet-broadcast-load": ("jerky",),
    "universe-shared": ("fights", "flickers"),
    "backup-took-over": ("fights", "frozen", "stopped"),
    "preview-only": ("dark",),
    "universe-out-of-range": ("dark", "one-off"),
    "wrong-multicast-group": ("dark", "one-off"),
    "slot-priority-mixed": ("fights", "dark"),
    "cid-cloned": ("fights", "flickers", "jerky"),
    "discovery-mismatch": ("dark",),
    "packets-out-of-order": ("jerky", "flickers"),
    "packets-repeated": ("jerky",),
    "rate-too-high": ("jerky",),
    "rate-too-low": ("jerky", "flickers"),
    "malformed-frames": ("dark",),
    "sync-lost": ("frozen", "stopped", "jerky"),
    "artnet-off-by-one": ("one-off", "dark"),
    "artnet-number-mixed-up": ("one-off", "dark"),
    "poll-unanswered": ("not-found", "stopped"),
    "reply-address-wrong": ("not-found", "dark"),
    "controllers-merging": ("fights", "flickers"),
    "sequence-stuck": ("jerky",),
    "artnet-sync-trouble": ("frozen", "jerky", "stopped"),
    "same-node-name": ("not-found",),
    "both-protocols-one-universe": ("fights", "flickers"),
    "protocols-off-by-one": ("one-off", "fights"),
    "controller-left": ("stopped", "dark", "frozen"),
    "loop": ("stopped", "frozen", "jerky", "not-found"),
    "storm": ("jerky", "flickers", "not-found"),
    "bottleneck": ("jerky", "flickers"),
    "jitter": ("jerky",),
    "wifi-clumping": ("jerky", "flickers"),
    "wifi-isolated": ("not-found", "dark"),
    "wifi-roamed": ("flickers", "jerky", "stopped"),
    "link-flapping": ("stopped", "dark", "not-found", "flickers"),
    "spanning-tree-wait": ("not-found", "dark"),
    "trunk-port": ("not-found", "dark"),
    "capture-dropping": ("jerky",),
    "two-interfaces-one-network": ("not-found",),
    "nothing-heard-here": ("not-found", "stopped", "dark"),
    "firewall-in-the-way": ("not-found", "dark"),
    "tunnel-in-the-way": ("not-found",),
    "laptop-address": ("not-found",),
}
"""By alert code, the likeliest phrase first. A code that is not here is shown with any of them."""

STATIONS = ("sender", "switch", "laptop", "node", "behind")
"""The way of the light."""
SWITCH = frozenset(
    ("no-querier", "multicast-dropped", "universe-silent", "querier-lost", "two-queriers", "multicast-flooded", "fast-leave",
     "packets-lost", "packets-out-of-order", "packets-repeated", "loop", "storm", "bottleneck",
     "jitter")
)  # fmt: skip
LAPTOP = frozenset(
    ("capture-dropping", "own-join-darkened", "two-interfaces-one-network", "nothing-heard-here", "firewall-in-the-way",
     "tunnel-in-the-way", "laptop-address", "trunk-port", "spanning-tree-wait",
     "wifi-clumping", "wifi-isolated", "wifi-roamed")
)  # fmt: skip
NODE = frozenset(
    ("deaf-receiver", "artnet-off-by-one", "artnet-number-mixed-up", "poll-unanswered", "reply-address-wrong", "same-node-name",
     "link-flapping")
)  # fmt: skip
ADDRESSES = frozenset(
    ("two-dhcp-servers", "no-dhcp-answer", "duplicate-address", "link-local-address", "dhcp-pool-used-up", "dhcp-offer-wrong",
     "lease-server-silent", "address-moved", "address-declined", "fixed-address-in-pool", "wrong-subnet", "wrong-mask",
     "invalid-address")
)  # fmt: skip
"""Of whoever has the address: a node, unless it is the sender's own."""
RIG = {
    "e131": frozenset(
        ("no-querier", "querier-lost", "two-queriers", "multicast-flooded", "loop", "storm", "bottleneck", "trunk-port")
    ),
    "artnet": frozenset(("artnet-broadcast-load", "loop", "storm", "bottleneck", "trunk-port")),
}
"""About every universe of a protocol, whatever they name."""


def sees(code: str) -> tuple[str, ...]:
    """The phrases of a code; all of them for one that is not known here."""
    return BEHIND.get(code, tuple(SEES))


def station(code: str) -> str:
    """Where on the way of the light an alert belongs."""
    for name, codes in (("switch", SWITCH), ("laptop", LAPTOP), ("node", NODE | ADDRESSES)):
        if code in codes:
            return name
    return "sender"
