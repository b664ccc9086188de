"""``netwatch reach``: can two boxes talk, each way, and why. Needs no network: it computes."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from ..exits import Exit, Stop
from .output import colour, say, width

SUMMARY = "whether two addresses with their masks can talk, each way, and why"
EXAMPLES = (
    ("netwatch reach 10.0.1.5/24 10.0.2.5/16", "can these two talk, each way, and why"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("a", metavar="ADDRESS/MASK", help="one box, as 10.0.1.5/24 or 10.0.1.5/255.255.255.0")
    parser.add_argument("b", metavar="ADDRESS/MASK", help="the other box")
    parser.add_argument("--plain", action="store_true", help="text only: no colours")


def run(arguments: Namespace) -> Exit:
    """Write it; 1 = something does not come through. Raises ``Stop``."""
    from ..plan.addresses import BadAddress, interface
    from ..plan.reach import reach
    from ..report.reach import render

    try:
        found = reach(interface(arguments.a), interface(arguments.b))
    except BadAddress as error:
        raise Stop(Exit.USAGE, f"{error}.") from None
    say(render(found, colour=colour(plain=arguments.plain), width=width()))
    return Exit.FINE if found.whole else Exit.ALERTS
