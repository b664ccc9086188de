"""How the screens look: dark, night, sun, and one without colour.

Severity is told by word, mark, place and weight; colour only repeats it. No green, so no red and green pair. Every pair of
text and ground has a contrast of 4.5:1 or more (WCAG 2.2, 1.4.3), which a test computes.
"""

from __future__ import annotations

from dataclasses import dataclass

from rich.style import Style
from textual.theme import Theme

WORST_FIRST = ("now", "soon", "quality", "tidy", "note")
MARKS = {"now": "!!", "soon": "!", "quality": "~", "tidy": "-", "note": "."}
CANT_SAY = "?"
WORDS = {"now": "NOW", "soon": "soon", "quality": "quality", "tidy": "tidy", "note": "note"}


@dataclass(frozen=True, slots=True)
class Look:
    """Grounds as '#rrggbb' or '' (the terminal's own); styles in the words of rich."""

    name: str
    dark: bool
    ground: str
    raised: str
    """Ground of the trust line, the keys and the question."""
    text: str
    strong: str
    faint: str
    bar: str
    """The scroll bar."""
    cursor: str
    """Laid under the line with the cursor."""
    now: str
    soon: str
    quality: str
    tidy: str
    note: str

    def style(self, what: str) -> Style:
        """The style of a severity or of 'text', 'strong', 'faint', 'cursor'."""
        return Style.parse(getattr(self, what))

    def ink(self, what: str) -> Style:
        """The style without its ground, for what would else be a large bright area."""
        style = self.style(what)
        return Style(color=style.color, bold=style.bold, underline=style.underline)

    def colour(self, what: str, without: str = "ansi_default") -> str:
        """The foreground of a style as '#rrggbb', for the style sheet."""
        colour = self.style(what).color
        return without if colour is None else colour.get_truecolor().hex

    @property
    def theme(self) -> Theme:
        """This look for Textual's own widgets (keys, input, scroll bar)."""
        ground, raised = self.ground or "ansi_default", self.raised or "ansi_default"
        text, key = self.colour("text"), self.colour("strong")
        bar = {f"scrollbar{state}": self.colour("bar") for state in ("", "-hover", "-active")}
        track = {f"scrollbar-background{state}": ground for state in ("", "-hover", "-active")}
        return Theme(
            name=f"netwatch-{self.name}",
            primary=self.colour("quality"),
            foreground=text,
            background=ground,
            surface=ground,
            panel=raised,
            dark=self.dark,
            ansi=not self.ground,
            text_alpha=1.0,
            variables={
                **bar,
                **track,
                "ansi-background": ground,
                "ansi-foreground": text,
                "text": text,
                "footer-foreground": text,
                "footer-background": raised,
                "footer-item-background": raised,
                "footer-key-foreground": key,
                "footer-key-background": raised,
                "footer-description-foreground": text,
                "footer-description-background": raised,
                "input-cursor-foreground": raised,
                "input-cursor-background": text,
                "input-cursor-text-style": "none" if self.ground else "reverse",
                "block-hover-background": raised,
            },
        )


DARK = Look(
    name="dark",
    dark=True,
    ground="#101214",
    raised="#1c2025",
    text="#c8cdd2",
    strong="bold #f0f2f4",
    faint="#9aa1a8",
    bar="#69717a",
    cursor="on #2b323a",
    now="bold reverse #ff7a4a",
    soon="bold #ffd23f",
    quality="#5cb8ff",
    tidy="#c8cdd2",
    note="#9aa1a8",
)
NIGHT = Look(
    name="night",
    dark=True,
    ground="#000000",
    raised="#0a0a0a",
    text="#8b9197",
    strong="bold #9da3a9",
    faint="#7d8389",
    bar="#5c6165",
    cursor="on #141414",
    now="bold reverse #d9764e",
    soon="bold #a88a34",
    quality="#5488b2",
    tidy="#8b9197",
    note="#7d8389",
)
SUN = Look(
    name="sun",
    dark=False,
    ground="#ffffff",
    raised="#e8e8e8",
    text="#000000",
    strong="bold #000000",
    faint="#484848",
    bar="#858585",
    cursor="on #cfd8e2",
    now="bold reverse #8a2500",
    soon="bold #694800",
    quality="#003f78",
    tidy="#000000",
    note="#484848",
)
PLAIN = Look(
    name="plain",
    dark=True,
    ground="",
    raised="",
    text="none",
    strong="bold",
    faint="none",
    bar="none",
    cursor="reverse",
    now="bold reverse",
    soon="bold underline",
    quality="bold",
    tidy="underline",
    note="none",
)
LOOKS = {look.name: look for look in (DARK, NIGHT, SUN)}
"""PLAIN is no choice: NO_COLOR asks for it."""
