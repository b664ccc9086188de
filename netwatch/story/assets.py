"""The plan's names and asset numbers for the boxes of a session that is over, for whoever lends them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from netwatch.plan.compare import match
from netwatch.plan.heard import Heard
from netwatch.plan.rig import Plan
from netwatch.plan.standing import EXTRA
from netwatch.story.snapshot import Snapshot


@dataclass(frozen=True, slots=True)
class Asset:
    """A device of the plan. ``mac`` = of the box that it is, '' = not heard."""

    asset: str
    name: str
    mac: str


def assets(snapshot: Snapshot, plan: Plan | None) -> tuple[Asset, ...]:
    """Of ``plan``, else of the one that the session was watched with; in its order."""
    if plan is None:
        standings = () if snapshot.plan is None else snapshot.plan.standings
        return tuple(Asset(each.asset, each.name, each.mac) for each in standings if each.state != EXTRA)
    found: Sequence[tuple[Heard | None, str]] = match(plan.devices, _heard(snapshot))
    pairs = zip(plan.devices, found, strict=True)
    return tuple(Asset(device.asset, device.name, "" if box is None else box.mac) for device, (box, _) in pairs)


def _heard(snapshot: Snapshot) -> list[Heard]:
    """The newest address first, as the plan is matched with a running rig."""
    return [
        Heard(host.mac, list(reversed(host.addresses)), dict.fromkeys(name for name, _ in host.names), first=host.first)
        for host in snapshot.hosts if host.mac and not host.ours
    ]  # fmt: skip
