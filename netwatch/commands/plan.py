"""``netwatch plan``: what a rig is meant to be: made from what was heard, completed, checked, printed."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from .output import complain, say

if TYPE_CHECKING:
    from ..plan.rig import Plan

SUMMARY = "what the rig is meant to be: make, complete, check and print a plan"
EXAMPLES = (("netwatch plan from rig.pcap -o rig.toml", "a first plan from what was heard"),)
_WHAT = {
    "from": ("a first plan from what a capture heard", EXAMPLES),
}


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")
    parts = {}
    for name, (summary, examples) in _WHAT.items():
        parts[name] = what.add_parser(name, help=summary)
        parts[name].summary, parts[name].examples = summary, examples  # type: ignore[attr-defined]
    parts["from"].add_argument("files", nargs="+", metavar="CAPTURE", help="pcap or pcapng files; '-' is standard input")
    _add_output(parts["from"])


def _add_output(parser: ArgumentParser) -> None:
    parser.add_argument("-o", dest="output", type=Path, metavar="FILE", help="write it to this new file instead of the terminal")
    parser.add_argument("--force", action="store_true", help="with -o: replace a file that is there")


def run(arguments: Namespace) -> Exit:
    """Do it. Raises ``Stop``."""
    from ..plan.rig import PlanError

    try:
        return {"from": _from}[arguments.what](arguments)
    except PlanError as error:
        raise Stop(Exit.USAGE, str(error)) from None


def _from(arguments: Namespace) -> Exit:
    from ..numbers import DEFAULTS
    from ..packets.files import CaptureError, open_captures
    from ..plan.first import first_plan
    from ..plan.write import text
    from ..story.play import Player

    player = Player(DEFAULTS)
    try:
        source = open_captures(arguments.files)
        for item in source:
            player.feed(item)
        source.close()
    except CaptureError as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None
    player.finish()
    for file in source.files:
        if file.problem:
            complain(file.problem)
    made, notes = first_plan(player.network, player.clock.now or 0)
    if not made.devices:
        raise Stop(Exit.UNREADABLE, "No box was heard in this capture, so there is nothing to make a plan from.")
    _give(text(made, notes), arguments, made)
    return Exit.FINE


def _give(content: str, arguments: Namespace, made: Plan) -> None:
    """To the file that -o names, or to standard output."""
    if arguments.output is None:
        say(content)
        return
    from ..plan.write import save

    save(content, arguments.output, again=arguments.force)
    complain(f"Wrote {arguments.output}: {len(made.devices)} devices.")
