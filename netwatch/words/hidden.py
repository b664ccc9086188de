"""Characters that may not stand in shown text as they are, whatever box, file or person they come from."""

from __future__ import annotations

import re
from collections.abc import Callable

# Explicit ranges rather than Unicode categories: those change with Python's version, and the same capture must give the same
# answer. Controls; what breaks lines; lone surrogates; interlinear marks; and what Unicode calls Default_Ignorable_Code_Point
# (DerivedCoreProperties.txt; from memory): it takes no room or turns the writing direction, so that two names look alike.
HIDDEN = (
    "\x00-\x1f\x7f-\x9f\xad\u034f\u061c\u115f\u1160\u17b4\u17b5\u180b-\u180f\u200b-\u200f\u2028-\u202e\u2060-\u206f\u3164"
    "\ufe00-\ufe0f\ufeff\uffa0\ufff0-\ufffb\ud800-\udfff\U0001bca0-\U0001bca3\U0001d173-\U0001d17a\U000e0000-\U000e0fff"
)
"""The inside of a character class."""


_ANY = re.compile(f"[{HIDDEN}]")


def tidy(text: str) -> str:
    """What a person wrote, on one line: what crept in unseen, by a copy from a page or a document, is left out."""
    line = " ".join(text.split())
    return line if line.isascii() and line.isprintable() else " ".join(_ANY.sub("", line).split())


def shown(text: str, instead: Callable[[str], str] = lambda sign: "?") -> str:
    """Text that may stand on a terminal: what can't be printed or seen becomes something else."""
    if text.isascii() and text.isprintable():
        return text
    return "".join(instead(sign) if not sign.isprintable() or _ANY.match(sign) else sign for sign in text)
