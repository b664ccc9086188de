"""What goes wrong and has no alert, with the reason: nothing is missed in silence."""

from __future__ import annotations

from dataclasses import dataclass

NO_ALERT = "What has no alert of its own, and why"
"""Stands above them."""


@dataclass(frozen=True, slots=True)
class Untold:
    """One thing that is never told by itself."""

    what: str
    why: str
    see: tuple[str, ...] = ()
    """Codes of alerts that tell of it in part."""


UNTOLD: tuple[Untold, ...] = (
    Untold(
        "Power-saving links (EEE, Energy Efficient Ethernet)",
        "A link wakes up within some 30 millionths of a second, which nobody can see in packets. Where links come and go and the "
        "switch says that this port saves power, the last step of that alert is to switch it off.",
        ("link-flapping",),
    ),
    Untold(
        "Light that is lost on the way to another box",
        "What a switch leaves out, or a bad cable breaks, is missing behind it only. Listen where that box is plugged in.",
        ("packets-lost",),
    ),
    Untold(
        "A slow or half-duplex link of another box",
        "Only the two ends of a cable know its speed. This laptop's own link is told; of others a full one shows as loss.",
        ("bottleneck", "packets-lost"),
    ),
    Untold(
        "All universes sent in one burst",
        "Most controllers do so, and most networks carry it. What a burst does is told: loss, and packets that come unevenly.",
        ("packets-lost", "jitter"),
    ),
    Untold(
        "Two boxes with one and the same MAC",
        "On the wire they are one box with two addresses, as many boxes are. Two MACs at one address are told.",
        ("duplicate-address",),
    ),
    Untold(
        "Short leases of addresses",
        "A lease of an hour is no fault as long as its server lives. The screen 'Runs out' shows when each one ends; a server "
        "that no longer prolongs them is told when an eighth of the lease is left.",
        ("lease-server-silent",),
    ),
    Untold(
        "Wi-Fi of other boxes",
        "Which access point a box uses, and what it loses in the air, is known to that box. This laptop's own Wi-Fi is told.",
        ("wifi-clumping", "wifi-roamed"),
    ),
    Untold(
        "What lies behind a node",
        "Its output, the DMX line, a fixture's address or mode: no packet tells of them. The key w and 'replay --why' lead up to "
        "there, and say that they end there.",
    ),
)
