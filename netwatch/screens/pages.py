"""One thing on a page of its own, in words: an alert, a check, a source, a box."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass

from rich.text import Text
from textual.geometry import Size

from netwatch import words
from netwatch.screens.boxes import host_key, role
from netwatch.screens.first import check_mark
from netwatch.screens.light import stream_key, universe_key
from netwatch.screens.lines import Row
from netwatch.screens.looks import MARKS, WORDS, Look
from netwatch.screens.planned import sections
from netwatch.screens.words import SURE, clock, count, cut, flow, light, rate, rate_now, safe, share, span, universe
from netwatch.story.snapshot import AlertView, Check, HostView, Snapshot, StreamView
from netwatch.words.phases import AFTER_SHOW, in_a_show, known, quiet_for
from netwatch.words.phrases import start

WIDEST = 100
"""Longer lines are hard to read."""
MOST_LINKS = 8


@dataclass(frozen=True, slots=True)
class Part:
    """One paragraph, ``indent`` cells in; its first line starts with ``label``, the later ones ``hang`` cells further in."""

    text: str
    style: str
    indent: int = 0
    hang: int = 0
    label: str = ""
    key: Hashable = None
    """Where Enter leads; None = the cursor can't stand here."""


@dataclass(frozen=True, slots=True)
class Page:
    """A heading and paragraphs."""

    heading: tuple[tuple[str, str], ...]
    """Pieces of (text, style)."""
    parts: tuple[Part, ...]

    def head(self, width: int) -> Text:
        """The heading in one line."""
        return cut(Text.assemble(*((safe(text), style) for text, style in self.heading)), width)

    def rows(self, size: Size) -> list[Row]:
        """Paragraphs broken to the width; the cursor stands on those that lead somewhere."""
        width = min(size.width, WIDEST)

        def row(number: int, part: Part) -> Row:
            lines = _broken(part, width)
            return Row(
                number if part.key is None else ("link", number, part.key), lambda: lines, len(lines), chosen=part.key is not None
            )

        return [row(number, part) for number, part in enumerate(self.parts)]

    @property
    def text(self) -> str:
        """All of it, to be copied."""
        told = [
            f"{' ' * part.indent}{part.label} {part.text}".rstrip() if part.label else " " * part.indent + part.text
            for part in self.parts
        ]
        return "\n".join(["".join(piece for piece, _ in self.heading), *told])


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
    parts += [Part(f"{start(sentence)}.", look.text) for sentence in _why_not_on_top(alert, snapshot.now)]
    if alert.over in names:
        parts.append(Part(f"Because of: {names[alert.over].title}", look.strong, hang=2, key=("alert", alert.over)))
    parts += _section("Where it stands, by the plan", list(alert.places), look)
    parts += _steps(alert, snapshot.phase, look)
    for system, texts in words.of(alert.code).systems.items():
        parts += _section(f"On {system}", list(texts), look)
    parts += _section("What was seen", _seen(alert), look)
    parts += _links("Because of this", [(names[n].title, ("alert", n)) for n in alert.under if n in names], look)
    parts += _links("About", _about(alert, snapshot), look)
    parts += _links("What changed just before", [(f"{clock(b.at)}  {b.text}", None) for b in alert.before], look)
    parts += _links("Packets that it rests on", [(f"number {n:,}", ("packet", n)) for n in alert.packets], look)
    rank_style = look.strong if over else getattr(look, alert.severity)
    return Page(((rank, rank_style), (f"  {when}", look.strong)), tuple(parts))


def _why_not_on_top(alert: AlertView, now: int) -> list[str]:
    """It is known, quiet, or a note only while the rig is put up."""
    sentences = []
    if alert.accepted:
        until = alert.accepted.get("until")
        sentences.append(known(alert.accepted.get("why"), None if until is None else clock(until)))
    if alert.quiet is not None:
        sentences.append(f"{quiet_for(span(now - alert.quiet))}: no new sign since {clock(alert.quiet)}")
    louder = str(alert.facts.get("in_a_show", ""))
    return [*sentences, f"a note while the rig is put up; {in_a_show(louder)}"] if in_a_show(louder) else sentences


def _steps(alert: AlertView, phase: str, look: Look) -> list[Part]:
    if not alert.steps:
        return []
    parts = [Part("", look.text), Part("What to do, in this order", look.faint)]
    first_later = alert.waits.index(True) + 1 if phase == "show" and True in alert.waits else 0
    for number, (step, disturbs) in enumerate(alert.steps, 1):
        if number == first_later:
            parts.append(Part(f"{AFTER_SHOW}:", look.faint))
        parts.append(Part(step, look.strong, indent=2, hang=3, label=f"{number}."))
        parts.append(Part(f"Disturbs: {disturbs or 'nothing'}", look.text, indent=5))
    return parts


def _seen(alert: AlertView) -> list[str]:
    """In sentences."""
    return list(words.seen(alert.code, alert.facts, clock))


def _links(title: str, lines: Sequence[tuple[str, Hashable]], look: Look) -> list[Part]:
    """A title, and lines that lead somewhere."""
    if not lines:
        return []
    return [Part("", look.text), Part(title, look.faint), *(Part(text, look.text, 2, 2, key=key) for text, key in lines)]


def _about(alert: AlertView, snapshot: Snapshot) -> list[tuple[str, Hashable]]:
    """The boxes and universes that an alert is about."""
    kind, _, rest = alert.subject.partition(":")
    hosts = [
        h for h in snapshot.hosts if (kind == "host" and h.mac == rest) or (kind in ("address", "server") and rest in h.addresses)
    ]
    found: list[tuple[str, Hashable]] = [(f"Box {(h.addresses or (h.mac,))[0]}", host_key(h)) for h in hosts]
    protocol, numbers = (
        alert.facts.get("protocol") or "e131",
        [alert.facts.get("universe"), *_listed(alert.facts.get("universes"))],  # a journal's may be anything
    )
    streams = {}
    for each in snapshot.streams:
        if each.protocol == protocol and each.universe in numbers and each.interface == alert.interface:
            streams[universe_key(each)] = universe(each.protocol, each.universe)
    return found + [(f"Light: {name}", key) for key, name in list(streams.items())[:MOST_LINKS]]


def _listed(value: object) -> Sequence[object]:
    return value if isinstance(value, list | tuple) else ()


def _section(title: str, lines: list[str], look: Look) -> list[Part]:
    if not lines:
        return []
    return [Part("", look.text), Part(title, look.faint), *(Part(line, look.text, indent=2, hang=2) for line in lines)]


def second_page(told: str | None, look: Look) -> Page:
    """Where the page for a second screen is, and a code to scan, light on dark whatever the look."""
    heading = (("Page for a second screen", look.strong),)
    if told is None:
        return Page(heading, (Part("It is not served. Start with: netwatch watch --page other", look.text),))
    address, _, code = told.partition("\n\n")
    lines = tuple(Part(line, "#ffffff on #000000") for line in code.split("\n"))
    return Page(heading, (Part(address, look.strong), Part("", look.text), *lines))


def check_page(check: Check, snapshot: Snapshot, look: Look) -> Page:
    """A check's state and its whole sentence."""
    mark, _ = check_mark(check, snapshot.alerts)
    parts = [Part(check.name, look.strong), Part(check.text, look.text)]
    if snapshot.plan is not None and check is snapshot.checks[-1]:
        for title, lines, urgent in sections(snapshot.plan):
            parts += [Part("", look.text), Part(title, look.faint)]
            parts += [Part(line, look.strong if urgent else look.text, indent=2, hang=2) for line in lines]
    return Page(((f"{mark} {check.state}".strip(), look.strong),), tuple(parts))


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
        f"Packets: {stream.packets:,}; lately {rate_now(stream)} a second, on average {rate(stream.rate)}",
        f"Lost: {lost}; out of order {stream.out_of_order:,}; repeated {stream.repeated:,}",
        f"Heard from {clock(stream.first)} to {clock(stream.last)}" + (", signed off properly" if stream.ended else ""),
    ]
    heading = f"{universe(stream.protocol, stream.universe)} from {stream.name or '(no name)'}"
    parts = [Part(line, look.text, hang=2) for line in lines]
    links: list[tuple[str, Hashable]] = [("Its levels, and who wins", universe_key(stream))]
    links += [
        (f"Its box: {h.mac}", host_key(h))
        for h in snapshot.hosts
        if stream.address in h.addresses and h.interface == stream.interface
    ]
    return Page(((heading, look.strong),), tuple(parts + _links("More", links, look)))


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
    if host.lease_until is not None:
        lines.append(f"Has to give it back at {clock(host.lease_until)} unless the server prolongs it")
    what = role(host, snapshot)
    heading = (host.addresses or (host.mac,))[0] + (f", {what}" if what else "")
    sends = [s for s in snapshot.streams if s.address in host.addresses and s.interface == host.interface]
    links: list[tuple[str, Hashable]] = [
        (f"{universe(s.protocol, s.universe)}: {light(s, snapshot.now)}", stream_key(s)) for s in sends
    ]
    about = {f"host:{host.mac}", *(f"{kind}:{each}" for kind in ("address", "server") for each in host.addresses)}
    alerts = [(f"{MARKS[a.severity]} {a.title}", ("alert", a.id)) for a in snapshot.alerts if a.subject in about]
    parts = [Part(line, look.text, hang=2) for line in lines]
    parts += _links("Alerts about it", alerts, look) + _links("What it sends", links, look)
    return Page(((heading, look.strong),), tuple(parts))


def _vlan(vlan: int | None) -> str:
    return "" if vlan is None else f", VLAN {vlan}"
