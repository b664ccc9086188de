"""``netwatch laptop --tonight``: tells at home what would fail in a tent without internet."""

from __future__ import annotations

import hashlib
import importlib.util
import json
import os
import shutil
import sys
import sysconfig
import time
from collections.abc import Iterator
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from ..numbers import DEFAULTS, Numbers
from ..words import tonight as words

ROOT = Path(__file__).resolve().parents[2]
"""The clone, where netwatch runs from one."""
NEEDED: tuple[str, ...] = ("numpy", "psutil", "netifaces", "platformdirs", "textual", "scapy", "jinja2", "openpyxl", "segno")
NEEDED += ("jeepney",) if sys.platform.startswith("linux") else ()
UNIVERSES, BITS = 100, 250_000
"""A large rig; bit/s that one universe of 512 slots takes at 44 frames a second (E1.31-2018 table 4-1: 638 octets of payload)."""
SCHEMA = 1


@dataclass(frozen=True, slots=True)
class Item:
    """One thing that has to work; ``do`` = what to do where it does not."""

    name: str
    state: str
    text: str
    do: str = ""


def items(numbers: Numbers = DEFAULTS) -> Iterator[Item]:
    """All of them, in the order in which one needs the next."""
    yield environment()
    yield second_laptop()
    yield from reading()
    yield disk(shutil.disk_usage(Path.cwd()).free, numbers.tonight_hours)
    yield battery(numbers.tonight_battery)
    yield sleep()
    yield clock(time.time(), max(path.stat().st_mtime for path in Path(__file__).parents[1].rglob("*.py")))


def document(found: list[Item]) -> dict[str, Any]:
    """Plain values for JSON."""
    return {"schema": SCHEMA, "tonight": [asdict(each) for each in found]}


def environment(root: Path = ROOT, prefix: str = sys.prefix) -> Item:
    """Everything that is imported is there; and the next start will not want to fetch anything."""
    gone = [name for name in NEEDED if importlib.util.find_spec(name) is None]
    if gone:
        return Item(words.ENVIRONMENT, words.WRONG, words.missing(gone), words.MAKE)
    stamp, lists = root / ".venv" / "made-from.json", [root / "pyproject.toml", root / "requirements.lock"]
    if Path(prefix) == root / ".venv" and stamp.exists() and all(each.exists() for each in lists):
        made_from = json.loads(stamp.read_text(encoding="utf-8")).get("pyproject")
        if made_from != hashlib.sha256(b"".join(each.read_bytes() for each in lists)).hexdigest():
            return Item(words.ENVIRONMENT, words.WRONG, words.STALE, words.MAKE)
    return Item(words.ENVIRONMENT, words.FINE, words.INSTALLED)


def second_laptop(root: Path = ROOT) -> Item:
    """Wheels beside the clone, for this sort of laptop."""
    try:
        made_for = json.loads((root / "wheels" / "made-for.json").read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return Item(words.SECOND, words.NOT_TOLD, words.NOT_KEPT, words.PACK)
    here = this_kind()
    if made_for != here:
        text = words.OTHER_WHEELS.format(made_for=" ".join(map(str, made_for.values())), here=" ".join(here.values()))
        return Item(words.SECOND, words.WRONG, text, words.PACK)
    return Item(words.SECOND, words.FINE, words.KEPT)


def this_kind() -> dict[str, str]:
    """What wheels depend on: as ``scripts/environment.py`` writes it."""
    return {"python": f"{sys.version_info.major}.{sys.version_info.minor}", "platform": sysconfig.get_platform()}


def reading() -> Iterator[Item]:
    """The right to read frames, and the driver behind it."""
    from ..packets import rights

    cannot = rights.cannot_listen()
    if cannot is not None:
        yield Item(words.RIGHTS, words.WRONG, words.LIMITED, cannot)
        yield Item(words.DRIVER, words.NOT_TOLD, words.NO_FRAMES)
        return
    root = sys.platform != "win32" and os.geteuid() == 0
    yield Item(words.RIGHTS, words.FINE, words.BY_ROOT if root else words.MAY_READ)
    yield driver()


def driver() -> Item:
    """On Linux a ring on the loopback is opened and closed; elsewhere the driver was found with the right."""
    if not sys.platform.startswith("linux"):
        return Item(words.DRIVER, words.FINE, words.READS)
    from ..packets.machine import CannotListen
    from ..packets.ring import RingSource

    try:
        RingSource(["lo"]).close()
    except CannotListen as error:
        return Item(words.DRIVER, words.WRONG, words.NO_RING.format(why=error))
    return Item(words.DRIVER, words.FINE, words.RING)


def disk(free: float, hours: float) -> Item:
    """Room for what ``--keep`` writes in this folder."""
    lasts = free * 8 / (UNIVERSES * BITS) / 3_600
    text = words.room(free, lasts, UNIVERSES)
    return Item(words.DISK, words.FINE, text) if lasts >= hours else Item(words.DISK, words.WRONG, text, words.FULL_DISK)


def battery(least: float) -> Item:
    """Charge, where the system tells of a battery."""
    import psutil

    told = psutil.sensors_battery() if hasattr(psutil, "sensors_battery") else None
    if told is None:
        return Item(words.BATTERY, words.NOT_TOLD, words.NO_BATTERY)
    plugged = bool(told.power_plugged)
    text = words.charge(told.percent, plugged=plugged)
    fine = plugged or told.percent >= 100 * least
    return Item(words.BATTERY, words.FINE, text) if fine else Item(words.BATTERY, words.WRONG, text, words.CHARGE)


def sleep() -> Item:
    """Whether a watch can keep the laptop awake: tried, and taken back at once."""
    from .awake import Awake

    tried = Awake()
    tried.close()
    if tried.problem is not None:
        return Item(words.SLEEP, words.WRONG, words.SLEEPS.format(why=tried.problem), words.SLEEP_OFF)
    return Item(words.SLEEP, words.FINE, words.STAYS_AWAKE)


def clock(now: float, newest: float) -> Item:
    """A clock that is behind the newest file of this program is wrong for sure."""
    shown = time.strftime("%a %d %b %Y, %H:%M, UTC%z", time.localtime(now))
    if now < newest - 86_400:
        return Item(words.CLOCK, words.WRONG, words.OLD_CLOCK.format(now=shown), words.SET_CLOCK)
    return Item(words.CLOCK, words.FINE, words.COMPARE.format(now=shown))
