"""Words of the page for a second screen."""

from __future__ import annotations

TITLE = "netwatch, at a glance"
CHECKS = "Checks"
ALERTS = "Alerts, worst first"
NO_ALERT = "No alert is open"
STALE = "This page renews itself every 5 seconds. If the time above stands still, the watch has ended or the connection is gone."
READ_ONLY = "Nothing can be changed from here."
FIRST = "First:"
WRONG_HOST = "This page is only there under the address that netwatch shows.\n"
NOT_HERE = "There is nothing here. Open the whole address that netwatch shows.\n"


def later(number: int) -> str:
    """What waits in a show."""
    return f"later ({number})"


def known(number: int) -> str:
    """What a person left be."""
    return f"{number} known"


def told(address: str, loopback: bool) -> str:
    """Where the page is."""
    who = "this laptop only" if loopback else "whoever has this address, on that network"
    return f"The page for a second screen is at {address} (for {who})."


def on_the_rig(name: str) -> str:
    """A warning: the page is served on the network that is watched."""
    return f"{name} is the lighting network: each look at the page is traffic there. Another connection of this laptop is better."


NO_OTHER = (
    "This laptop has no other connection with an address; give --page an interface, "
    "or leave it without a value for this laptop only."
)


def unknown(where: str, known: str) -> str:
    return f"--page {where!r}: there is no such interface with an IPv4 address. There are: {known or 'none'}."


def refused(address: str, reason: str) -> str:
    return f"The page can't be served at {address} ({reason}); choose another place with --page."
