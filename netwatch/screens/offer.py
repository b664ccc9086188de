"""Asked when netwatch is started with nothing: which connection to listen on, which capture to replay."""

from __future__ import annotations

import os
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass
from typing import ClassVar

from rich.text import Text
from textual.app import App, ComposeResult
from textual.binding import Binding, BindingType
from textual.geometry import Size
from textual.widgets import Static

from netwatch.screens.keys import Key, Keys
from netwatch.screens.lines import Lines, Row
from netwatch.screens.looks import LOOKS, PLAIN, Look
from netwatch.screens.words import cell, flow
from netwatch.words import offer as words

NAME = 24
RENEW_EVERY = 0.5
"""Seconds."""
KEYS: tuple[Key, ...] = (("Enter", "Begin", "app.begin"), ("q", "Quit", "app.quit"))


@dataclass(frozen=True, slots=True)
class Offer:
    """One thing to begin with; without a key it is only told."""

    key: Hashable
    name: str
    text: str


@dataclass(frozen=True, slots=True)
class Section:
    """A title and what stands under it."""

    title: str
    offers: tuple[Offer, ...]


class OfferApp(App[Hashable]):
    """Ends with the key that was chosen, None for none."""

    TITLE = "netwatch"
    ENABLE_COMMAND_PALETTE = False
    CSS = """
    #title { height: 2; padding: 0 2; }
    Lines { height: 1fr; }
    #keys { height: 1; background: $panel; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,escape", "quit", "Quit"),
        Binding("ctrl+c", "quit", "Quit", priority=True),
    ]

    def __init__(self, sections: Callable[[], Sequence[Section]]) -> None:
        plain = bool(os.environ.get("NO_COLOR"))
        super().__init__(ansi_color=True if plain else None)
        self.animation_level = "none"
        self.look = PLAIN if plain else LOOKS["dark"]
        self.sections = sections

    def compose(self) -> ComposeResult:
        yield Static(words.TITLE, markup=False, id="title")
        yield Lines()
        yield Keys(id="keys")

    def on_mount(self) -> None:
        self.register_theme(self.look.theme)
        self.theme = self.look.theme.name
        lines = self.query_one(Lines)
        lines.wear(self.look)
        lines.focus()
        self.renew()
        self.set_interval(RENEW_EVERY, self.renew)

    def renew(self) -> None:
        """Draw what is known by now."""
        sections = self.sections()
        self.query_one(Lines).show(lambda size: rows(sections, size, self.look))
        self.query_one(Keys).show(KEYS, self.size.width, self.look)

    def on_resize(self) -> None:
        self.renew()

    def action_begin(self) -> None:
        self.query_one(Lines).action_choose()

    def on_lines_chosen(self, event: Lines.Chosen) -> None:
        self.exit(event.key)


def rows(sections: Sequence[Section], size: Size, look: Look) -> list[Row]:
    """A title and its offers, section by section."""
    out: list[Row] = []
    for section in sections:
        out.append(Row(("title", section.title), _title(section.title, size.width, look), 2 if out else 1, chosen=False))
        out += [_offer(each, size.width, look) for each in section.offers]
    return out


def _title(title: str, width: int, look: Look) -> Callable[[], Sequence[Text]]:
    return lambda: [Text(), cell(title, width, look.faint)] if title != words.LISTEN else [cell(title, width, look.faint)]


def _offer(offer: Offer, width: int, look: Look) -> Row:
    name = min(NAME, max(width // 3, 8))
    whole = len(offer.name) <= name
    start = cell(offer.name, name if whole else width, look.strong if offer.key is not None else look.text)
    lines = list(flow(((offer.text, look.text),), max(width - name - 1, 10)))
    blank = Text(" " * (name + 1))
    shown = [Text.assemble(blank, line) for line in lines]
    if whole:
        shown = [Text.assemble(start, " ", lines[0] if lines else ""), *shown[1:]]
    else:
        shown = [start, *shown]
    return Row(
        offer.key if offer.key is not None else ("told", offer.name), lambda: shown, len(shown), chosen=offer.key is not None
    )
