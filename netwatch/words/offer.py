"""Words of the first question: what to look at."""

from __future__ import annotations

from collections.abc import Mapping

from .phrases import count, listing

TITLE = "What do you want to look at? Enter begins. Listening sends nothing."
LISTEN = "This laptop's connections"
CAPTURES = "Captures in this folder, newest first"
SESSIONS = "Sessions that a watch or a guard recorded, newest first"
TRY = "To try it out"
EVENING = "An evening at Hollowbrook Garden"
EVENING_TOLD = "ten minutes in which four things go wrong, one after another"
NO_CAPTURES = "There are none here. Start in the folder where they are, or: netwatch replay FILE"
WAITING = "listening for a moment ..."
LIMITED = "limited view: only what programs on this laptop get anyway"
NONE_UP = "None is up. Plug in a cable or join the Wi-Fi, then start again."
KINDS = {"wired": "wired", "wifi": "Wi-Fi", "tunnel": "tunnel", "virtual": "virtual", "unknown": "kind not known"}


def interface(kind: str, networks: tuple[str, ...], link: bool, speed: int | None) -> str:
    """'wired, 10.0.0.50/24, 1000 Mbit/s'."""
    state = "no cable or cell" if not link else f"{speed / 1e6:.0f} Mbit/s" if speed else "connected"
    return ", ".join((KINDS.get(kind, kind), ", ".join(networks) or "no address", state))


def heard(counts: Mapping[str, int], seconds: float) -> str:
    """'heard in 3 s: 120 light, 4 ARP'."""
    found = listing([f"{number:,} {kind}" for kind, number in counts.items() if number])
    return f"heard in {seconds:g} s: {found}" if found else f"nothing of light, ARP or DHCP in {seconds:g} s"


def session(size: int, at: str, running: bool) -> str:
    """Of a recorded session: does it go on?"""
    return f"{capture(size, at)}{', perhaps still being recorded' if running else ''}"


def capture(size: int, at: str) -> str:
    """Size in bytes and when it was written."""
    shown = f"{size / 1e6:,.1f} MB" if size >= 100_000 else count(size, "byte", "bytes")
    return f"{shown}, {at}"
