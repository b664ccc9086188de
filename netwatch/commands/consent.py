"""The yes of a person, before anything is sent."""

from __future__ import annotations

import sys

from .output import complain


def agree(prompt: str, given: int, least: int) -> bool:
    """By --yes given so often, or by word on a terminal; ``least`` = how many times it takes."""
    if given >= least:
        return True
    if not (sys.stdin is not None and sys.stdin.isatty() and sys.stderr.isatty()):
        complain(f"Not a terminal, so this needs --yes{' twice' if least > 1 else ''}.")
        return False
    print(prompt, end="", file=sys.stderr, flush=True)
    return sys.stdin.readline().strip().lower() == "yes"
