"""Words about keeping the laptop awake, its battery, and its interfaces while a watch runs."""

from __future__ import annotations

WHY = "listening to the lighting network"
"""What the system shows as the reason."""
CANNOT = "A closed lid, the lock screen, updates that restart it, and an empty battery can't be prevented from here."
KEPT = f"This laptop is kept awake until the watch ends. {CANNOT}"
MAINS = "On its power supply again"


def not_kept(why: str) -> str:
    """There is no way to keep it awake."""
    return f"This laptop may fall asleep ({why}): switch its sleep off in the system's settings. {CANNOT}"


def battery(percent: float, left: float | None) -> str:
    """'On battery: 1 h 40 left', 'On battery: 62 %' where the system tells no time. ``left`` in s."""
    if left is None:
        return f"On battery: {percent:.0f} %"
    hours, minutes = divmod(round(left / 60), 60)
    return f"On battery: {f'{hours} h {minutes:02}' if hours else f'{minutes} min'} left"


def successor(old: str, new: str) -> str:
    """An adapter came back under another name."""
    return f"{old} is back as {new} and is listened to again"
