"""People's own devices without their names: 'phone or tablet 3' instead of a made-up MAC or a personal host name.

What belongs to the rig keeps its name: who sends light or asks for it, answers Art-Net, hands out addresses, keeps multicast
alive, or tells who it is as a switch.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from netwatch import words
from netwatch.story.evening import Evening
from netwatch.story.snapshot import AlertView, HostView, MarkView, Snapshot
from netwatch.words import report as said
from netwatch.words.phrases import name as short_name

_RIG = frozenset({"sACN", "Art-Net", "LLDP"})
"""Where a name of the trade comes from."""
_PERSONAL = re.compile(r"(?i)\b(i?phone|mobile|(i|note)pad|tablet|laptop|notebook|(mac)?book|desktop|android)(\b|_)|['’]s\b")
"""How people's devices are called by default: common practice, no source."""


_SHORTEST = 3
"""Characters: a shorter name tells nothing of anybody, and would be found inside sentences."""


def masked(evening: Evening) -> Evening:
    """The same evening without people's names."""
    hidden = personal(evening.snapshot)
    if not hidden:
        return evening
    hide = hider(hidden)
    snapshot = evening.snapshot
    return replace(evening, hidden=hidden, snapshot=replace(
        snapshot,
        hosts=tuple(_host(each, hidden) for each in snapshot.hosts),
        alerts=tuple(_alert(each, snapshot.phase, hidden, hide) for each in snapshot.alerts),
        marks=tuple(_mark(each, hide) for each in snapshot.marks),
        happenings=tuple(replace(each, text=hide(each.text)) for each in snapshot.happenings),
        checks=tuple(replace(each, text=hide(each.text)) for each in snapshot.checks),
    ))  # fmt: skip


def personal(snapshot: Snapshot) -> dict[str, str]:
    """What is hidden and what stands in its place: MACs, names, and names as titles shorten them."""
    hidden: dict[str, str] = {}
    phones = computers = 0
    rig = {host.mac for host in snapshot.hosts if _of_rig(snapshot, host)}
    for host in snapshot.hosts:
        if host.mac in rig or host.mac in hidden:
            continue
        made_up = made_up_mac(host.mac)
        if not made_up and not any(_PERSONAL.search(name) for name, _ in host.names):
            continue
        phones, computers = phones + made_up, computers + (not made_up)
        label = said.phone(phones) if made_up else said.computer(computers)
        for text in (host.mac, *(name for name, _ in host.names)):
            if len(text) >= _SHORTEST:
                hidden.setdefault(text, label)
                hidden.setdefault(short_name(text, ""), label)
    return hidden


def hider(hidden: Mapping[str, str]) -> Callable[[str], str]:
    """Replaces whole words in a sentence."""
    if not hidden:
        return lambda text: text
    longest_first = sorted(hidden, key=len, reverse=True)
    pattern = re.compile("|".join(rf"(?<!\w){re.escape(each)}(?!\w)" for each in longest_first))
    return lambda text: pattern.sub(lambda found: hidden[found[0]], text)


def made_up_mac(mac: str) -> bool:
    """Set by software at random: locally administered (IEEE 802-2014 8.4), and no run of zeros as people write them."""
    octets = [int(each, 16) for each in mac.split(":")]
    return bool(octets[0] & 2) and octets[1:].count(0) < 3


def _of_rig(snapshot: Snapshot, host: HostView) -> bool:
    place, addresses = (host.interface, host.vlan), set(host.addresses)
    if host.ours or host.asks or any(origin in _RIG for _, origin in host.names):
        return True
    lights = any((each.interface, each.vlan) == place and each.address in addresses for each in snapshot.streams)
    gives = any(each.mac == host.mac or each.address in addresses for each in snapshot.servers)
    asks = any(each.address in addresses for each in snapshot.queriers)
    return lights or gives or asks or any(each.mac == host.mac for each in snapshot.nodes)


def _host(host: HostView, hidden: Mapping[str, str]) -> HostView:
    label = hidden.get(host.mac)
    return host if label is None else replace(host, mac="", vendor="", names=((label, ""),))


def _alert(alert: AlertView, phase: str, hidden: Mapping[str, str], hide: Callable[[str], str]) -> AlertView:
    facts = _facts(alert.facts, hidden)
    steps = words.in_order(words.steps(alert.code, facts), phase)
    touched = facts != alert.facts
    return replace(
        alert, facts=facts, subject=hide(alert.subject), title=hide(words.title(alert.code, facts) if touched else alert.title),
        steps=steps if touched else alert.steps, first_step=steps[0][0] if touched else alert.first_step,
        before=tuple(replace(each, text=hide(each.text)) for each in alert.before),
    )  # fmt: skip


def _mark(mark: MarkView, hide: Callable[[str], str]) -> MarkView:
    return replace(mark, word=hide(mark.word), before=tuple(replace(each, text=hide(each.text)) for each in mark.before))


def _facts(value: Any, hidden: Mapping[str, str]) -> Any:
    """Whole values that name a hidden box."""
    if isinstance(value, Mapping):
        return {key: _facts(each, hidden) for key, each in value.items()}
    if isinstance(value, list | tuple):
        return type(value)(_facts(each, hidden) for each in value)
    return hidden.get(value, value) if isinstance(value, str) else value
