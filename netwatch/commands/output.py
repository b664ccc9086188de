"""Standard output and the progress line."""

from __future__ import annotations

import os
import shutil
import sys
import time
from argparse import Namespace

from ..exits import Exit, Stop

FIRST_SHOWN_S = 1.0
"""Shorter work shows no progress."""
SHOWN_EACH_S = 0.25
WIDEST = 110


def say(text: str) -> None:
    """Write text to standard output. A reader that went away is no fault; a full disk raises ``Stop``."""
    if sys.stdout is None:
        return
    try:
        print(text.rstrip("\n"), flush=True)
    except OSError as error:
        # What is still buffered must not fail a second time when Python ends.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        if not isinstance(error, BrokenPipeError):
            reason = (error.strerror or "unknown reason").lower()
            raise Stop(Exit.UNREADABLE, f"The result could not be written ({reason}); write it somewhere else.") from None


def complain(sentence: str) -> None:
    """Write one line to standard error; names of files and keys in it may hold anything."""
    if sys.stderr is not None:
        from ..words.hidden import shown

        print(f"netwatch: {shown(sentence, lambda sign: ascii(sign)[1:-1])}", file=sys.stderr)


def on_screen(arguments: Namespace) -> bool:
    """Whether to show the full screen: a terminal on both sides, and no other form was asked for."""
    there = sys.stdout is not None and sys.stdout.isatty() and sys.stdin is not None and sys.stdin.isatty()
    return there and not (arguments.plain or arguments.json) and os.environ.get("TERM") != "dumb"


def colour(*, plain: bool) -> bool:
    """Whether to colour: a terminal that can, and nobody said no (NO_COLOR, as no-color.org describes it)."""
    return (
        not plain
        and sys.stdout is not None
        and sys.stdout.isatty()
        and os.environ.get("TERM") != "dumb"
        and not os.environ.get("NO_COLOR")
    )


def width() -> int:
    """Columns to write for: those of the terminal, not wider than reads well; 80 where there is none."""
    if sys.stdout is None or not sys.stdout.isatty():
        return 80
    return min(shutil.get_terminal_size().columns, WIDEST)


class Progress:
    """One line on standard error that is rewritten; only on a terminal, only when the work takes long."""

    def __init__(self) -> None:
        self._on = sys.stderr is not None and sys.stderr.isatty()
        self._next = time.monotonic() + FIRST_SHOWN_S
        self._shown = False

    def show(self, done: int, total: int | None) -> None:
        """Bytes read so far, of how many (None = not known)."""
        if not self._on or time.monotonic() < self._next:
            return
        self._next = time.monotonic() + SHOWN_EACH_S
        self._shown = True
        share = f"{min(done / total, 1.0):4.0%} of {total / 1e6:,.0f} MB" if total else f"{done / 1e6:,.0f} MB"
        print(f"\rReading: {share} ", end="", file=sys.stderr, flush=True)

    def clear(self) -> None:
        """Take the line away again."""
        if self._shown:
            print("\r" + " " * 40 + "\r", end="", file=sys.stderr, flush=True)
            self._shown = False
