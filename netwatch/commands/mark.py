"""``netwatch mark``: a word for this moment, into the watch that runs."""

from __future__ import annotations

import time
from argparse import ArgumentParser, Namespace

from ..exits import Exit, Stop
from .output import say

SUMMARY = "mark this moment with a word, in the watch that runs"
EXAMPLES = (("netwatch mark pond dark", "it stands in what is kept and in every report"),)
LONGEST = 200


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("text", nargs="+", metavar="TEXT", help=f"what is seen, in at most {LONGEST} characters")


def run(arguments: Namespace) -> Exit:
    """Tell it. Raises ``Stop``."""
    at = time.time_ns()
    word = " ".join(" ".join(arguments.text).split())
    if not word:
        raise Stop(Exit.USAGE, "Say what is seen, for example: netwatch mark pond dark.")
    if len(word) > LONGEST:
        raise Stop(Exit.USAGE, f"These are {len(word)} characters; use at most {LONGEST}.")
    from . import door

    try:
        answers = door.say(word, at)
    except door.NoDoor as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None
    if not answers:
        raise Stop(Exit.UNREADABLE, "No watch of yours is running, so nothing was marked; start one with 'netwatch watch'.")
    for answer in answers:
        say(answer)
    return Exit.FINE
