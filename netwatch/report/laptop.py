"""``netwatch laptop`` as text: each interface, then what is wrong with this laptop and what to do on its system."""

from __future__ import annotations

from datetime import datetime

from netwatch import words
from netwatch.story.own_laptop import NS, Card, Laptop
from netwatch.story.snapshot import AlertView
from netwatch.words import cards as said
from netwatch.words.phrases import plain

from .layout import Line, hang, painted, wrap

MARGIN = 10


def render(laptop: Laptop, *, colour: bool = False, width: int = 80) -> str:
    """Lines of at most ``width`` cells (40 at least)."""
    width = max(width, 40)
    when = datetime.fromtimestamp(laptop.at / NS).strftime("%d %b %Y, %H:%M")
    lines = [Line(text, "head") for text in wrap(said.HEAD.format(system=laptop.version or laptop.system, when=when), width)]
    lines.append(Line(""))
    margin = max([MARGIN, *(len(plain(each.name)) + 2 for each in laptop.cards if len(plain(each.name)) < 20)])
    for each in laptop.cards:
        lines += _card(each, laptop, width, margin)
    lines += _wrong(laptop, width)
    return painted(lines, colour)


def _card(card: Card, laptop: Laptop, width: int, margin: int) -> list[Line]:
    told = [said.state(card.kind, card.up, card.link, card.speed, card.duplex), said.part(card.master), said.takes(card.takes)]
    told += [said.address(each, card.dhcp) for each in card.addresses]
    if card.used:
        told += [] if card.addresses or card.master else ["no address"]
        told += [said.gateway(card.gateway)] if card.addresses else []
        told += [card.air_text, said.maker(card.mac, card.vendor)]
        wall = card.firewall
        told += [said.firewall(wall.name, wall.on, wall.blocked, wall.open, by_program=wall.by_program)] if wall else []
    if card.heard is not None and laptop.seconds is not None:
        told.append(said.heard(laptop.seconds, card.heard.parts))
    lines: list[Line] = []
    for text in (each for each in told if each):
        lines += [Line(line) for line in hang("" if lines else plain(card.name), text, width, margin)]
    return [*lines, Line("")]


def _wrong(laptop: Laptop, width: int) -> list[Line]:
    lines: list[Line] = []
    if not laptop.cards:
        lines += [Line(text) for text in wrap(said.NO_INTERFACE, width)]
    elif not any(each.link for each in laptop.cards):
        lines += [Line(text, "soon") for text in wrap(said.NO_LINK, width)]
    if laptop.wrong:
        lines += [Line(said.WRONG, "head"), Line("")]
        for each in laptop.wrong:
            lines += _alert(each, laptop.system, width)
    elif laptop.cards:
        lines += [Line(text) for text in wrap(said.FINE, width)]
    if laptop.seconds is None and laptop.cards:
        lines += [Line(text) for text in wrap(said.NOT_LISTENED, width)]
    return lines


def _alert(alert: AlertView, system: str, width: int) -> list[Line]:
    shown, text = words.SEVERITY[alert.severity], words.of(alert.code)
    lines = [Line(line, alert.severity) for line in hang(f"{shown.mark:2} {shown.word}", alert.title, width, MARGIN)]
    seen = " ".join(words.seen(alert.code, alert.facts, lambda ns: ""))
    body = hang("   Seen", seen, width, MARGIN)
    if alert.certainty != "certain":
        body += hang("   Sure", f"{words.CERTAINTY[alert.certainty].word}: {text.sure[alert.certainty]}.", width, MARGIN)
    body += hang("   Why", text.why, width, MARGIN)
    for number, (step, disturbs) in enumerate(alert.steps, 1):
        quiet = disturbs == words.NOTHING
        label = f"{'   Do' if number == 1 else '':{MARGIN}}{number}."
        body += hang(label, step + (" (Disturbs nothing.)" if quiet else f" Disturbs: {disturbs}."), width, MARGIN + 3)
    for number, hint in enumerate(text.systems.get(system, ())):
        body += hang("" if number else f"   {system}", hint, width, MARGIN)
    return [*lines, *(Line(line) for line in body), Line("")]
