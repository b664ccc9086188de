"""The bottom line: keys and what they do here. One text, so that changing it costs next to nothing."""

from __future__ import annotations

from collections.abc import Sequence

from rich.style import Style
from rich.text import Text

from netwatch.screens.drawn import Told
from netwatch.screens.looks import Look

Key = tuple[str, str, str]
"""(key as shown, what it does, action)."""

HELP: Key = ("?", "Help", "app.help")
BACK: Key = ("Esc", "Back", "app.leave")
SCREENS: tuple[Key, ...] = (
    ("1", "First", "app.view('first')"), ("2", "Light", "app.view('light')"), ("3", "Boxes", "app.view('boxes')"),
    ("4", "Runs out", "app.view('ends')"), ("5", "Evening", "app.view('evening')"), ("w", "See?", "app.view('see')"),
)  # fmt: skip
FEW: tuple[Key, ...] = (("1-5", "Screens", "app.view('first')"), ("w", "See?", "app.view('see')"))
"""The same where there is no room for each."""
MARK: Key = ("m", "Mark", "app.mark")
ALERT: tuple[Key, ...] = (("a", "Known", "app.known"), ("x", "Mended", "app.mended"))
PLAY: Key = ("space", "Play", "app.still")
QUIT: Key = ("q", "Quit", "app.end")
LEVELS: tuple[Key, ...] = (
    ("v", "Show other", "focused.way"), ("f", "Follow", "focused.follow"), ("%", "or 0-255", "focused.percent"),
)  # fmt: skip
ASKING: tuple[Key, ...] = (("Enter", "Answer", "app.answer"), ("Esc", "Leave it", "app.leave"))


def fits(keys: Sequence[Key], width: int) -> bool:
    """Whether all have room in a line."""
    return sum(len(key) + len(told) + 2 for key, told, _ in keys) < width


class Keys(Told):
    """Each key can also be clicked."""

    def show(self, keys: Sequence[Key], width: int, look: Look) -> None:
        """Draw as many as there is room for."""
        wide = sum(len(key) + len(told) + 3 for key, told, _ in keys) < width
        line = Text(" ", no_wrap=True)
        for key, told, action in keys:
            act = Style(meta={"@click": action})
            line.append(key, Style.parse(look.strong) + act)
            line.append(f" {told}", Style.parse(look.text) + act)
            line.append("  " if wide else " ")
        line.rstrip()
        line.truncate(width, overflow="ellipsis", pad=True)
        self.tell([line])
