"""``netwatch compare``: what differs between two sessions, a sentence each, worst first."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import evening, options
from .output import colour, complain, say, width

if TYPE_CHECKING:
    from ..settings import Settings
    from ..story.evening import Evening

SUMMARY = "say what differs between two journals or captures, worst first"
EXAMPLES = (
    ("netwatch compare old.pcapng new.pcapng", "what is new or missing"),
    ("netwatch compare good.pcapng FOLDER", "a capture and a journal"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    what = "a capture (pcap, pcapng, gzip), a folder of captures, or the folder of a watch's journal"
    parser.add_argument("a", metavar="A", help=f"how it was: {what}")
    parser.add_argument("b", metavar="B", help="how it is: the same")
    parser.add_argument("--json", action="store_true", help="write one JSON document instead of text")
    parser.add_argument("--plain", action="store_true", help="without colours")
    options.add_settings(parser)


def run(arguments: Namespace) -> Exit:
    """Read both, tell. Raises ``Stop``."""
    settings = options.settings(arguments)
    names = [arguments.a, arguments.b]
    if names == ["-", "-"]:
        raise Stop(Exit.USAGE, "Standard input can be one of the two, not both; save one as a file.")
    a, b = (_read(name, arguments, settings) for name in names)
    from ..alerts.rule import SEVERITIES
    from ..report.compared import Compared, data, render

    compared = Compared.of(a, b, names, settings.numbers)
    if arguments.json:
        say(json.dumps(data(compared), indent=2, allow_nan=False))
    else:
        say(render(compared, colour=colour(plain=arguments.plain), width=width()))
    least = SEVERITIES.index(settings.words.fail_on)
    if any(SEVERITIES.index(each.severity) >= least for each in compared.differences):
        return Exit.ALERTS
    doubtful = any(each.snapshot.dropped or any(file.problem for file in each.files) for each in (a, b))
    return Exit.NOT_TRUSTED if doubtful else Exit.FINE


def _read(name: str, arguments: Namespace, settings: Settings) -> Evening:
    """One of the two. Raises ``Stop``."""
    found = evening.of([name], settings, phase_fixed=arguments.phase is not None)
    for file in found.files:
        if file.problem:
            complain(file.problem)
    if not found.snapshot.packets:
        from ..words.compare import NO_PACKETS

        raise Stop(Exit.NOT_TRUSTED, NO_PACKETS.format(name=name))
    return found
