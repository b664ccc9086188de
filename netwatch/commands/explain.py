"""``netwatch explain``: what an alert means, what it is mistaken for, what to do, and why it is told."""

from __future__ import annotations

import difflib
from argparse import ArgumentParser, Namespace
from collections.abc import Collection

from ..exits import Exit, Stop
from ..words.untold import UNTOLD
from . import options
from .output import colour, say, width

SUMMARY = "what an alert means, what it is mistaken for, and what to do"
EXAMPLES = (
    ("netwatch explain", "all kinds of alert, by family"),
    ("netwatch explain two-dhcp-servers", "one of them in full"),
)


SHORTEST = 3
"""Characters of a word that is looked for inside others."""


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("code", nargs="?", metavar="CODE", help="the kind of alert, as lists and JSON name it")
    parser.add_argument("--plain", action="store_true", help="text only: no colours")
    options.add_settings(parser)


def run(arguments: Namespace) -> Exit:
    """Write it. Raises ``Stop``."""
    settings = options.settings(arguments)
    from ..alerts.catalogue import RULES
    from ..report.explained import explained, listed
    from ..report.layout import painted

    code = arguments.code
    if code is None:
        lines = listed(RULES, width())
    elif code in RULES:
        lines = explained(code, RULES, settings.numbers, width())
    else:
        raise Stop(Exit.USAGE, no_code(code, RULES))
    say(painted(lines, colour(plain=arguments.plain)))
    return Exit.FINE


def no_code(word: str, codes: Collection[str]) -> str:
    """What was perhaps meant: codes that are spelled alike, or that hold the word; or why this has none."""
    low = word.lower().strip()
    near = difflib.get_close_matches(low, codes, n=3) or [code for code in codes if low and low in code][:3]
    if near:
        return f"There is no alert '{word}'; did you mean {' or '.join(repr(code) for code in near)}?"
    for each in UNTOLD:
        if len(low) >= SHORTEST and low in each.what.lower():
            return f"There is no alert '{word}'. {each.what}: {each.why[:1].lower()}{each.why[1:]}"
    return f"There is no alert '{word}'; 'netwatch explain' lists them all, and what has none."
