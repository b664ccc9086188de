"""Words of ``netwatch laptop --tonight``: what would fail in a tent without internet."""

from __future__ import annotations

from .phrases import count, listing, size

FINE, WRONG, NOT_TOLD = "FINE", "WRONG", "NOT TOLD"
HEAD = "What would fail tonight, without internet"
ALL_FINE = "Nothing of this would fail tonight."

ENVIRONMENT, SECOND, RIGHTS, DRIVER, DISK, BATTERY, SLEEP, CLOCK = (
    "Environment", "Second laptop", "Rights", "Driver", "Disk", "Battery", "Sleep", "Clock",
)  # fmt: skip

INSTALLED = "All that netwatch needs is installed; it starts without internet."
STALE = "The list of packages changed since the environment was made: the next start would want the internet."
MAKE = "Now, with internet: python3 scripts/start.py --version"
KEPT = "Wheels for a laptop of the same kind are kept in the folder 'wheels'."
NOT_KEPT = "No wheels are kept: another laptop could not be set up without internet."
PACK = "With internet: python3 scripts/start.py --pack, then copy this folder."
OTHER_WHEELS = "The wheels that are kept are for {made_for}, not for this laptop ({here})."
BY_ROOT = "Frames can be read, because this was started as administrator (sudo)."
MAY_READ = "Frames can be read."
LIMITED = "Without the right only the limited view is left: light that is sent to this laptop."
NO_FRAMES = "Not tried: it takes the right to read frames."
RING = "The kernel gives a ring of frames."
NO_RING = "The kernel gives no ring of frames: {why}"
READS = "The driver is there."
FULL_DISK = "Make room, or write to another disk with --keep."
NO_BATTERY = "No battery is told of: the laptop needs its power supply all evening."
CHARGE = "Charge it, and bring the power supply."
STAYS_AWAKE = "A watch can keep this laptop awake. A closed lid still sends it to sleep."
SLEEPS = "A watch can't keep this laptop awake ({why}): it may fall asleep in the show."
SLEEP_OFF = "Switch its sleep off in the system's settings."
OLD_CLOCK = "The clock says {now}, which is before this program was written."
SET_CLOCK = "Set date, time and time zone: all reports carry them."
COMPARE = "{now}. Compare it with a phone: in the tent nothing sets it."


def missing(modules: list[str]) -> str:
    """'numpy and psutil are missing'."""
    return f"{listing(modules)} {'is' if len(modules) == 1 else 'are'} missing in this Python."


def room(free: float, hours: float, universes: int) -> str:
    """'79.0 GB free: 7 h of --keep with 100 universes at full rate'."""
    return f"{size(free)} free: {hours:.0f} h of --keep with {count(universes, 'universe', 'universes')} at full rate."


def charge(percent: float, *, plugged: bool) -> str:
    """'83 %, on its power supply'."""
    return f"{percent:.0f} %, {'on its power supply' if plugged else 'not on its power supply'}."
