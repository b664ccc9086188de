"""Where a box of the plan stands, as plain values: screens and reports read them without the network's state."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from netwatch.plan.universes import Light

HERE, DIFFERS, MISSING, EXTRA = "here", "differs", "missing", "extra"


@dataclass(frozen=True, slots=True)
class Difference:
    """``what``: address, mac, name, priority, sends, receives or numbering; values are texts, numbers or ``Light``."""

    what: str
    planned: tuple[Any, ...]
    heard: tuple[Any, ...]
    extra: tuple[Light, ...] = ()
    """Universes that are not planned."""
    lacking: tuple[Light, ...] = ()
    """Universes that are planned and surely not there."""
    step: int | None = None
    """Of numbering: what was heard less what was planned."""


@dataclass(frozen=True, slots=True)
class Standing:
    """One box of the plan, or one that is extra."""

    state: str
    name: str
    place: str = ""
    asset: str = ""
    by: str = ""
    """MAC, name or address; '' = not matched."""
    mac: str = ""
    addresses: tuple[str, ...] = ()
    names: tuple[str, ...] = ()
    maker: str = ""
    differences: tuple[Difference, ...] = ()
    planned: tuple[str, ...] = ()
    """What the plan says of its address, for boxes that were not heard."""
    last: int | None = None
    """ns: when it was last heard."""
