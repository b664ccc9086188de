"""What do you see? Eight phrases; then one universe followed on its way, or a box, or whatever alerts fit."""

from __future__ import annotations

import re
from collections.abc import Hashable, Sequence

from rich.text import Text
from textual.geometry import Size

from netwatch.screens.boxes import addresses, host_key
from netwatch.screens.first import families
from netwatch.screens.light import sender, stream_key, universe_key
from netwatch.screens.lines import Row
from netwatch.screens.looks import MARKS, WORDS, WORST_FIRST, Look
from netwatch.screens.pages import Page, Part
from netwatch.screens.words import cell, light, universe
from netwatch.story.snapshot import AlertView, HostView, Snapshot, Why
from netwatch.words import why as words
from netwatch.words.sees import SEES, sees

QUESTION = "Which universe, sender or box? For example: 7, a21 for Art-Net, pond, 10.0.0.21. Enter alone: whatever fits."
MOST = 12


def rows(size: Size, look: Look) -> Sequence[Row]:
    """The eight phrases."""

    def row(key: str, text: str) -> Row:
        return Row(("phrase", key), lambda: [cell(text[0].upper() + text[1:], size.width, look.text)])

    return [row(key, text) for key, text in SEES.items()]


def heading(width: int, look: Look) -> Text:
    """What the list asks."""
    return cell("What do you see? Choose what comes nearest.", width, look.strong)


def asked(text: str) -> tuple[str, int] | None:
    """(protocol, universe) where the answer names one: '7', 'a21', '0:1:5', '0.1.5'."""
    word = text.strip().lower()
    for pattern, protocol in ((r"(?:sacn |universe )?([0-9]{1,5})", "e131"), (r"a([0-9]{1,5})", "artnet")):
        found = re.fullmatch(pattern, word)
        if found:
            return protocol, int(found[1])
    parts = re.fullmatch(r"([0-9]{1,3})[.:]([0-9]{1,2})[.:]([0-9]{1,2})", word)
    if parts:
        net, sub, number = map(int, parts.groups())
        if net < 128 and sub < 16 and number < 16:
            return "artnet", net << 8 | sub << 4 | number
    return None


def way(why: Why, snapshot: Snapshot, look: Look) -> Page:
    """The five stations of one universe, and what follows."""
    heading = words.head(why.universe, why.protocol, why.see)
    parts = [Part(why.verdict, look.strong)]
    alerts = {each.id: each for each in snapshot.alerts}
    for station in why.stations:
        mark, state = words.STATE[station.state]
        style = look.strong if station.state == "WRONG" else look.text
        parts += [Part("", look.text), Part(f"{words.STATION[station.name]}: {state}", style, 2, 2, mark)]
        parts += [_alert(alerts[each], look) for each in station.alerts if each in alerts]
        told = tuple(f"(alert {each})." for each in station.alerts if each in alerts)
        parts += [Part(text, look.text, indent=4) for text in station.texts if not (told and text.endswith(told))]
    mine = [each for each in snapshot.streams if (each.protocol, each.universe) == (why.protocol, why.universe)]
    if mine:
        parts += [Part("", look.text), Part("Its levels", look.text, 2, 2, key=universe_key(mine[0]))]
    return Page(((heading, look.strong),), tuple(parts))


def whatever(see: str, snapshot: Snapshot, look: Look) -> Page:
    """The alerts that can be behind what is seen, worst first."""
    causes, _ = families(snapshot.alerts, snapshot.phase)
    fit = [each for each in causes if see in sees(each.code) and each.closed is None and each.severity != "note"]
    fit.sort(key=lambda each: (WORST_FIRST.index(each.severity), sees(each.code).index(see), each.id))
    parts = [Part("What can be behind it, worst first:" if fit else _NOTHING, look.text), Part("", look.text)]
    for each in fit[:MOST]:
        parts += [_alert(each, look), Part(f"First: {each.first_step}", look.text, indent=6)]
    return Page(((f"{SEES[see][0].upper()}{SEES[see][1:]}", look.strong),), tuple(parts))


_NOTHING = "No alert explains it. Press w again and name a universe: its way is then followed from the sender to the fixture."


def named(text: str, snapshot: Snapshot, look: Look) -> Page:
    """Boxes and senders whose name, address or MAC holds the text, and the alerts about them."""
    word = text.strip().lower()
    hosts = [each for each in snapshot.hosts if word in _said(each)][:MOST]
    streams = [each for each in snapshot.streams if word in f"{each.name} {each.address}".lower()][:MOST]
    parts: list[Part] = []
    if not hosts and not streams:
        told = f"No box and no sender is known as '{text.strip()}'. Look under Boxes for what was heard."
        return Page((("Not found", look.strong),), (Part(told, look.text),))
    alerts = [each for each in snapshot.alerts if each.closed is None and any(_about(each, host) for host in hosts)]
    parts += [Part("What is wrong with it" if alerts else "Nothing is known to be wrong with it", look.faint)]
    parts += [_alert(each, look) for each in alerts[:MOST]]
    parts += [Part("", look.text), Part("Boxes", look.faint)] if hosts else []
    parts += [Part(f"{addresses(each)}, {_names(each)}, {each.mac}", look.text, 2, 2, key=host_key(each)) for each in hosts]
    parts += [Part("", look.text), Part("Light", look.faint)] if streams else []
    for each in streams:
        parts.append(
            Part(
                f"{universe(each.protocol, each.universe)} from {sender(each)}: {light(each, snapshot.now)}",
                look.text,
                2,
                2,
                key=stream_key(each),
            )
        )
    return Page(((f"What is known of '{text.strip()}'", look.strong),), tuple(parts))


def _said(host: HostView) -> str:
    return " ".join((*host.addresses, host.mac, *(name for name, _ in host.names))).lower()


def _names(host: HostView) -> str:
    return ", ".join(dict.fromkeys(name for name, _ in host.names)) or "(no name)"


def _about(alert: AlertView, host: HostView) -> bool:
    return alert.subject in (
        f"host:{host.mac}",
        *(f"address:{each}" for each in host.addresses),
        *(f"server:{each}" for each in host.addresses),
    )


def _alert(alert: AlertView, look: Look) -> Part:
    key: Hashable = ("alert", alert.id)
    return Part(f"{WORDS[alert.severity]}: {alert.title}", getattr(look, alert.severity), 4, 3, MARKS[alert.severity], key=key)
