"""Values of a snapshot as short words. Times in are ns since 1970 UTC; times out are the laptop's local time."""

from __future__ import annotations

from datetime import datetime
from functools import lru_cache

from rich.console import Console
from rich.style import Style
from rich.text import Text

from netwatch.story.snapshot import StreamView
from netwatch.words.hidden import shown

NS = 1_000_000_000
_CONSOLE = Console()

PLACES = {
    "mirror": "mirror port",
    "ordinary": "ordinary port",
    "wifi": "Wi-Fi",
    "limited": "limited view",
    "unknown": "kind of port not known yet",
}
SURE_RULE = {
    "nobody": "nobody, for receivers use none of them",
    "alone": "the only one that receivers use",
    "priority": "the one with the highest priority",
    "slot priority": "each channel by its own priority",
    "receiver decides": "equal priority: the receiver decides, mostly for the highest level",
}
"""By the rule that decided (E1.31-2018 6.2.3)."""
SURE = {"certain": "certain", "likely": "likely, not certain", "hint": "a hint, no more"}


def safe(value: str) -> str:
    """The text with everything that a terminal could obey made visible; names come clean, what is typed may not be."""
    return shown(value, lambda sign: "\ufffd")


def cell(value: str, width: int, style: Style | str = "", right: bool = False) -> Text:
    """Text of exactly ``width`` cells, never read as markup, cut with an ellipsis."""
    text = Text(safe(value), style)
    if right:
        text.pad_left(width - text.cell_len)
    return cut(text, width)


def cut(text: Text, width: int) -> Text:
    """The same text, made exactly ``width`` cells long."""
    text.truncate(max(width, 0), overflow="ellipsis", pad=True)
    return text


@lru_cache(2048)
def flow(pieces: tuple[tuple[str, str], ...], width: int) -> tuple[Text, ...]:
    """Pieces of (text, style) as one paragraph in lines of at most ``width`` cells; not to be changed by the caller."""
    text = Text.assemble(*((safe(piece), style) for piece, style in pieces))
    lines = text.wrap(_CONSOLE, max(width, 1), overflow="fold")
    for line in lines:
        line.rstrip()
    return tuple(lines)


def clock(at: int | None) -> str:
    """'21:40:12'."""
    return "not known" if at is None else datetime.fromtimestamp(at // NS).strftime("%H:%M:%S")


def span(length: int, coarse: bool = False) -> str:
    """A length in ns as '12 s', '3 min 20 s', '2 h 05 min', '3 d 4 h'; coarse: only the first of the two."""
    seconds = max(length, 0) // NS
    steps = ((86_400, "d", 3600, "h"), (3600, "h", 60, "min"), (60, "min", 1, "s"))
    for unit, name, part, part_name in steps:
        if seconds >= unit:
            rest = "" if coarse else f" {seconds % unit // part:02} {part_name}"
            return f"{seconds // unit} {name}{rest}"
    return f"{seconds} s"


def count(number: int, noun: str) -> str:
    """'1 packet', '12,345 packets'."""
    return f"{number:,} {noun}{'' if number == 1 else 's'}"


def universe(protocol: str, number: int) -> str:
    """'sACN 7', or for Art-Net its three numbers (net, sub-net, universe)."""
    if protocol == "artnet":
        return f"Art-Net {number >> 8 & 0x7F}:{number >> 4 & 0xF}:{number & 0xF}"
    return f"sACN {number}"


def share(part: int, whole: int) -> str:
    """'1.2 %', '<0.1 %', or '' where nothing was lost."""
    if not part or not whole:
        return ""
    percent = 100 * part / whole
    return "<0.1 %" if percent < 0.1 else f"{percent:.1f} %"


def rate(per_second: float | None) -> str:
    """Packets a second without false precision."""
    if per_second is None:
        return ""
    return f"{per_second:.1f}" if per_second < 9.95 else f"{per_second:.0f}"


def rate_now(stream: StreamView) -> str:
    """Packets in the last second; none from a source that fell silent."""
    return rate(0.0 if stream.silent or stream.ended else stream.rate_now)


def light(stream: StreamView, now: int) -> str:
    """What comes from this source, in two or three words."""
    if stream.ended:
        return "signed off"
    if stream.silent:
        return f"silent {span(now - stream.last, coarse=True)}"
    if stream.preview:
        return "preview only"
    if not stream.lit:
        return "all at zero"
    return f"{stream.lit} lit"
