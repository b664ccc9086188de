"""One thing on a page of its own, in words: an alert, a check, a source, a box."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.first import check_mark
from netwatch.screens.lines import Row
from netwatch.screens.lists import host_key, role, stream_key
from netwatch.screens.looks import MARKS, WORDS, Look
from netwatch.screens.words import SURE, clock, count, cut, fact, flow, light, rate, safe, share, universe
from netwatch.story.snapshot import AlertView, Check, HostView, Snapshot, StreamView

WIDEST = 100
"""Longer lines are hard to read."""


@dataclass(frozen=True, slots=True)
class Part:
    """One paragraph, ``indent`` cells in; its first line starts with ``label``, the later ones ``hang`` cells further in."""

    text: str
    style: str
    indent: int = 0
    hang: int = 0
    label: str = ""


@dataclass(frozen=True, slots=True)
class Page:
    """A heading and paragraphs."""

    heading: tuple[tuple[str, str], ...]
    """Pieces of (text, style)."""
    parts: tuple[Part, ...]

    def head(self, size: Size) -> Text:
        """The heading in one line."""
        return cut(Text.assemble(*((safe(text), style) for text, style in self.heading)), size.width)

    def rows(self, size: Size) -> list[Row]:
        """Paragraphs broken to the width; the cursor can stand on none, so arrows scroll."""
        width = min(size.width, WIDEST)
        lines = [line for part in self.parts for line in _broken(part, width)]

        def row(number: int, line: Text) -> Row:
            return Row(number, lambda: [line], chosen=False)

        return [row(number, line) for number, line in enumerate(lines)]


def _broken(part: Part, width: int) -> list[Text]:
    label = f"{part.label:{part.hang}}" if part.label else ""
    lines = flow(((part.text, part.style),), max(width - part.indent - part.hang, 10))
    starts = [" " * part.indent + label] + [" " * (part.indent + part.hang)] * (len(lines) - 1)
    return [Text.assemble((start, part.style), line) for start, line in zip(starts, lines, strict=True)]


def page(key: Hashable, snapshot: Snapshot, look: Look) -> Page | None:
    """The page of a row's key; None where the snapshot holds it no more."""
    if not isinstance(key, tuple):
        return None
    kind, *rest = key
    if kind in ("alert", "more"):
        return next((alert_page(a, snapshot, look) for a in snapshot.alerts if a.id == rest[0]), None)
    if kind == "check":
        return next((check_page(c, snapshot, look) for c in snapshot.checks if c.name == rest[0]), None)
    if kind == "stream":
        return next((stream_page(s, snapshot, look) for s in snapshot.streams if stream_key(s) == key), None)
    return next((host_page(h, snapshot, look) for h in snapshot.hosts if host_key(h) == key), None)


def alert_page(alert: AlertView, snapshot: Snapshot, look: Look) -> Page:
    """What is wrong, since when, how sure, the facts, what to do with what each step disturbs, the packets."""
    names = {other.id: other for other in snapshot.alerts}
    rank = f"{MARKS[alert.severity]} {WORDS[alert.severity]}"
    over = alert.closed is not None
    when = f"since {clock(alert.since)}" + (f", over since {clock(alert.closed)}" if over else ", still true")
    when += f", told {count(alert.times, 'time')}" if alert.times > 1 else ""
    where = alert.interface + (f", VLAN {alert.vlan}" if alert.vlan is not None else "")
    parts = [Part(alert.title, look.strong), Part(f"How sure: {SURE[alert.certainty]}. Seen on {where}.", look.text)]
    if alert.accepted:
        why = alert.accepted.get("why") or "no reason given"
        parts.append(Part(f"Known, leave it: {why}.", look.text))
    if alert.over in names:
        parts.append(Part(f"Because of: {names[alert.over].title}", look.strong))
    parts += _steps(alert, look)
    parts += _section("What was seen", [fact(name, value) for name, value in alert.facts.items()], look)
    parts += _section("Because of this", [names[n].title for n in alert.under if n in names], look)
    numbers = ", ".join(f"{number:,}" for number in alert.packets)
    parts += _section("Packets that it rests on", [f"number {numbers}"] if numbers else [], look)
    rank_style = look.strong if over else getattr(look, alert.severity)
    return Page(((rank, rank_style), (f"  {when}", look.strong)), tuple(parts))


def _steps(alert: AlertView, look: Look) -> list[Part]:
    if not alert.steps:
        return []
    parts = [Part("", look.text), Part("What to do, in this order", look.faint)]
    for number, (step, disturbs) in enumerate(alert.steps, 1):
        parts.append(Part(step, look.strong, indent=2, hang=3, label=f"{number}."))
        parts.append(Part(f"Disturbs: {disturbs or 'nothing'}", look.text, indent=5))
    return parts


def _section(title: str, lines: list[str], look: Look) -> list[Part]:
    if not lines:
        return []
    return [Part("", look.text), Part(title, look.faint), *(Part(line, look.text, indent=2, hang=2) for line in lines)]


def check_page(check: Check, snapshot: Snapshot, look: Look) -> Page:
    """A check's state and its whole sentence."""
    mark, _ = check_mark(check, snapshot.alerts)
    return Page(((f"{mark} {check.state}".strip(), look.strong),), (Part(check.name, look.strong), Part(check.text, look.text)))


def stream_page(stream: StreamView, snapshot: Snapshot, look: Look) -> Page:
    """All that is known of one source on one universe."""
    lost = f"{stream.lost:,} ({share(stream.lost, stream.packets + stream.lost) or 'none'})"
    changed = "not seen to change" if stream.last_change is None else f"last changed {clock(stream.last_change)}"
    lines = [
        f"Light: {light(stream, snapshot.now)}, {stream.slots} DMX channels sent, {changed}",
        f"From address {stream.address} on {stream.interface}" + _vlan(stream.vlan),
        f"Source: {stream.source}",
        f"Goes to: {stream.destination}",
        f"Priority: {'none' if stream.priority is None else stream.priority}" + (", preview only" if stream.preview else ""),
        f"Packets: {stream.packets:,}; in the last second {rate(stream.rate_now)}, on average {rate(stream.rate)} a second",
        f"Lost: {lost}; out of order {stream.out_of_order:,}; repeated {stream.repeated:,}",
        f"Heard from {clock(stream.first)} to {clock(stream.last)}" + (", signed off properly" if stream.ended else ""),
    ]
    heading = f"{universe(stream.protocol, stream.universe)} from {stream.name or '(no name)'}"
    return Page(((heading, look.strong),), tuple(Part(line, look.text, hang=2) for line in lines))


def host_page(host: HostView, snapshot: Snapshot, look: Look) -> Page:
    """All that is known of one box."""
    names = "; ".join(f"{name} (from {origin})" for name, origin in host.names) or "none heard"
    lines = [
        f"Addresses: {', '.join(host.addresses) or 'none known'}",
        f"Names: {names}",
        f"MAC: {host.mac}; maker by its number: {host.vendor or 'not known'}",
        f"Got its address from: {host.lease_from or 'not known'}",
        f"Heard on {host.interface}{_vlan(host.vlan)} from {clock(host.first)} to {clock(host.last)}",
    ]
    what = role(host, snapshot)
    heading = (host.addresses or (host.mac,))[0] + (f", {what}" if what else "")
    return Page(((heading, look.strong),), tuple(Part(line, look.text, hang=2) for line in lines))


def _vlan(vlan: int | None) -> str:
    return "" if vlan is None else f", VLAN {vlan}"
