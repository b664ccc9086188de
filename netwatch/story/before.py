"""What changed just before an alert, nearest first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Any

from netwatch.alerts.alert import Alert
from netwatch.alerts.scene import protocol_name
from netwatch.decode.text import mac_number, mac_text
from netwatch.network.changes import Change
from netwatch.network.clock import NS
from netwatch.network.network import Network
from netwatch.story.said import Word
from netwatch.story.snapshot import AlertView, Before, MarkView
from netwatch.words.changes import told

BEFORE, AFTER = 120 * NS, 2 * NS
"""A cause comes up to two minutes before its effect; marks come once a second, so that it may be noticed a little after it.
Common practice, no source."""
AT_ONCE = 2 * NS
"""What one box does within so long is told as one."""
MOST = 16


def with_before(network: Network, alerts: Sequence[AlertView]) -> tuple[AlertView, ...]:
    """The alerts; those of severity 'now' with what changed just before them."""
    return tuple(replace(each, before=before(network, each)) if each.severity == "now" else each for each in alerts)


def before(network: Network, alert: AlertView) -> tuple[Before, ...]:
    """At most 16, on the alert's interface."""
    return _before(network, alert.since, alert.interface)


def marks(network: Network, words: Iterable[Word], alerts: Iterable[Alert]) -> tuple[MarkView, ...]:
    """Each word with the alerts that were true at its moment, and with what changed before it on any interface."""
    told = list(alerts)
    return tuple(
        MarkView(
            word.at, word.text, tuple(each.id for each in told if each.since <= word.at <= each.last + AFTER),
            _before(network, word.at, None),
        )
        for word in sorted(words, key=lambda word: word.at)
    )  # fmt: skip


def _before(network: Network, since: int, interface: str | None) -> tuple[Before, ...]:
    begun = network.begun if network.begun is not None else 0
    found = network.changes.between(since - BEFORE, since + AFTER, begun)
    here = [
        each for each in found
        if interface in (None, network.interface(each.segment)) and not _we_appeared(network, each)
    ]  # fmt: skip
    here.sort(key=lambda each: (-each.at, -each.n, each.what, each.segment, each.mac, each.address, each.universe or 0))
    return tuple(_told(network, group) for group in _together(here)[:MOST])


def _we_appeared(network: Network, change: Change) -> bool:
    """This laptop was heard for the first time: no news for who sits before it."""
    return change.what == "host" and change.mac in network.own(change.segment)


def _together(changes: Sequence[Change]) -> list[list[Change]]:
    """Changes of one kind, by one box at one time, as one."""
    groups: list[list[Change]] = []
    for change in changes:
        mine = next((each for each in groups if _one(each, change)), None)
        if mine is None:
            groups.append([change])
        else:
            mine.append(change)
    return groups


def _one(group: Sequence[Change], change: Change) -> bool:
    first, last = group[0], group[-1]
    if first.what not in ("source", "source-back", "left", "own-join") or last.at - change.at > AT_ONCE:
        return False
    same = (first.what, first.segment, first.mac, first.name, first.protocol)
    return same == (change.what, change.segment, change.mac, change.name, change.protocol)


def _told(network: Network, group: Sequence[Change]) -> Before:
    change = group[-1]
    numbers = sorted({each.universe for each in group if each.universe is not None})
    groups = sorted({each.address for each in group if each.what in ("left", "own-join")})
    had = mac_number(change.before) if change.what == "taken" else 0
    facts: dict[str, Any] = {
        "who": (change.name if change.protocol else "") or _who(network, change.segment, change.mac),
        "mac": mac_text(change.mac), "ours": change.mac in network.own(change.segment),
        "address": change.address, "before": change.before, "other": _who(network, change.segment, had),
        "universes": numbers, "protocol": protocol_name(change.protocol) if change.protocol else None, "groups": groups,
        "interface": network.interface(change.segment), "link": change.name,
    }  # fmt: skip
    return Before(change.at, change.what, told(change.what, facts))


def _who(network: Network, segment: int, mac: int) -> str:
    """A box's own word, '' where it has none."""
    name = network.box_name(segment, mac)
    return "" if name == mac_text(mac) else name
