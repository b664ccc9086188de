"""Words of the plan against the rig."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Protocol

from .phrases import count, listing, plain
from .plan_checks import lights

NO_PLAN = "No plan was given."
HEAD = "AGAINST THE PLAN"
HEADS = {"differs": "Differs", "extra": "Extra: not in the plan", "missing": "Not heard so far", "here": "Here"}
_BY = {"MAC": "its MAC address", "name": "its name", "address": "its address"}


class Found(Protocol):
    """A difference, as ``netwatch.plan.compare`` has it."""

    @property
    def what(self) -> str: ...
    @property
    def planned(self) -> tuple[Any, ...]: ...
    @property
    def heard(self) -> tuple[Any, ...]: ...
    @property
    def extra(self) -> tuple[Any, ...]: ...
    @property
    def lacking(self) -> tuple[Any, ...]: ...
    @property
    def step(self) -> int | None: ...


def tally(counts: Mapping[str, int]) -> str:
    """'28 of 40 here as planned, 3 differ, 9 not heard, 2 extra.': short, for a line of 80 cells."""
    planned = counts["here"] + counts["differs"] + counts["missing"]
    parts = [f"{counts['here']} of {planned} here as planned"]
    parts += [count(counts["differs"], "differs", "differ")] if counts["differs"] else []
    parts += [f"{counts['missing']} not heard"] if counts["missing"] else []
    parts += [f"{counts['extra']} extra"] if counts["extra"] else []
    return ", ".join(parts) + "."


def left(counts: Mapping[str, int]) -> str:
    """Behind each box that came alive."""
    if not counts["missing"]:
        return "no box of the plan is missing"
    return count(counts["missing"], "box was not heard so far", "boxes were not heard so far")


def stands(name: str, place: str, asset: str) -> str:
    """'orchard: Orchard, hut (asset HG-112)'."""
    return f"{plain(name)}: {plain(place) or 'place not told'}" + (f" (asset {plain(asset)})" if asset else "")


def by(how: str) -> str:
    """How a box was found."""
    return f"found by {_BY[how]}"


def difference(found: Found) -> str:
    """A sentence without its full stop."""
    heard = listing([plain(each) for each in found.heard if isinstance(each, str | int)], 3)
    if found.what == "address":
        return f"address {heard} instead of {_planned_address(found.planned)}"
    if found.what == "mac":
        return f"another network card: MAC {heard} instead of {found.planned[0]}; perhaps a box was changed"
    if found.what == "name":
        return f"calls itself {heard} instead of {plain(found.planned[0])}"
    if found.what == "priority":
        return f"sends at priority {heard} instead of {found.planned[0]}"
    return _universes(found)


def _planned_address(planned: tuple[Any, ...]) -> str:
    return str(planned[0]) if len(planned) == 1 else f"one by DHCP ({planned[1]} to {planned[2]})"


def _universes(found: Found) -> str:
    if found.step is not None:
        way = f"{abs(found.step)} {'higher' if found.step > 0 else 'lower'}"
        return f"numbers are shifted, all are {way}: {lights(found.heard)} instead of {lights(found.planned)}"
    does, does_not = ("sends", "send") if found.what == "sends" else ("receives", "receive")
    if found.extra and found.lacking and len(found.extra) == len(found.heard):
        return f"{does} {lights(found.heard)} instead of {lights(found.planned)}"
    parts = []
    if found.extra:
        planned = f" (planned: {lights(found.planned)})" if found.planned else ""
        parts.append(f"{does} {lights(found.extra)}, which is not planned{planned}")
    if found.lacking:
        parts.append(f"does not {does_not} {lights(found.lacking)}")
    return "; ".join(parts)
