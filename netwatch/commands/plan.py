"""``netwatch plan``: what a rig is meant to be: made from what was heard, completed, checked, printed."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import new_file
from .output import colour, complain, say, width

if TYPE_CHECKING:
    from ..numbers import Numbers

SUMMARY = "what the rig is meant to be: make, complete, check and print a plan"
EXAMPLES = (
    ("netwatch plan from rig.pcap -o rig.toml", "a first plan from what was heard"),
    ("netwatch plan make sheet.csv -o rig.toml", "propose what a plan lacks"),
    ("netwatch plan check rig.toml", "find contradictions before a cable is pulled"),
    ("netwatch plan sheet rig.toml -o rig.html", "print it, with labels to cut out"),
)
_WHAT = {
    "from": ("a first plan from what a capture heard", EXAMPLES[:1]),
    "make": ("propose what a plan lacks: addresses, a range for DHCP, numbers; what is fixed stays", EXAMPLES[1:2]),
    "sheet": ("print it: place by place, by address, labels to cut out, masks explained; or a page for IT", EXAMPLES[3:]),
    "check": ("find what contradicts itself in a plan, and how full the links get", EXAMPLES[2:3]),
}


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    what = parser.add_subparsers(dest="what", required=True, metavar="WHAT")
    parts = {}
    for name, (summary, examples) in _WHAT.items():
        parts[name] = what.add_parser(name, help=summary)
        parts[name].summary, parts[name].examples = summary, examples  # type: ignore[attr-defined]
    parts["from"].add_argument("files", nargs="+", metavar="CAPTURE", help="pcap or pcapng files; '-' is standard input")
    for name in ("make", "check", "sheet"):
        parts[name].add_argument("plan", type=Path, metavar="PLAN", help="a plan file (rig.toml) or a spreadsheet (.csv, .xlsx)")
    for name in ("make", "check"):
        parts[name].add_argument("--plain", action="store_true", help="text only: no colours")
    sheet = parts["sheet"]
    sheet.add_argument("--for", dest="reader", choices=("it",), metavar="WHOM", help="it: one page for the IT department")
    sheet.add_argument("-o", dest="output", type=Path, metavar="FILE", help="write the page to this file")
    for name in ("from", "make"):
        _add_output(parts[name])


def _add_output(parser: ArgumentParser) -> None:
    parser.add_argument("-o", dest="output", type=Path, metavar="FILE", help="write it to this new file instead of the terminal")
    parser.add_argument("--force", action="store_true", help="with -o: replace a file that is there")


def run(arguments: Namespace) -> Exit:
    """Do it. Raises ``Stop``."""
    from ..plan.rig import PlanError

    try:
        return {"from": _from, "make": _make, "check": _check, "sheet": _sheet}[arguments.what](arguments)
    except PlanError as error:
        raise Stop(Exit.USAGE, str(error)) from None


def _from(arguments: Namespace) -> Exit:
    from ..numbers import DEFAULTS
    from ..packets.files import CaptureError, open_captures
    from ..plan.first import first_plan
    from ..plan.write import text
    from ..story.play import Player

    _may_write(arguments)
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
    content = text(made, notes)
    if arguments.output is None:
        say(content)
    else:
        new_file.write(arguments.output, content.encode())
        complain(f"Wrote {arguments.output}: {len(made.devices)} devices.")
    return Exit.FINE


def _make(arguments: Namespace) -> Exit:
    """1 = something could not be proposed."""
    from ..plan.make import made
    from ..plan.read import read
    from ..plan.write import text
    from ..report.plan import proposed

    _may_write(arguments)
    plan = read(arguments.plan)
    whole, steps = made(plan, _numbers())
    if arguments.output is not None:
        new_file.write(arguments.output, text(whole).encode())
    say(proposed(plan, str(arguments.plan), steps, colour=colour(plain=arguments.plain), width=width()))
    if arguments.output is not None:
        complain(f"Wrote {arguments.output}: the plan with all that was proposed.")
    return Exit.FINE if all(each.done for each in steps) else Exit.ALERTS


def _check(arguments: Namespace) -> Exit:
    """1 = it contradicts itself."""
    from ..plan.check import problems
    from ..plan.read import read
    from ..report.plan import checked

    plan, numbers = read(arguments.plan), _numbers()
    found = problems(plan, numbers)
    say(checked(plan, str(arguments.plan), found, numbers, colour=colour(plain=arguments.plain), width=width()))
    return Exit.ALERTS if any(each.severity == "soon" for each in found) else Exit.FINE


def _sheet(arguments: Namespace) -> Exit:
    from ..plan.read import read
    from ..report.plan_sheet import page, page_for_it

    path = arguments.output
    if path is not None:
        new_file.check(path, new_file.PAGE)
    plan, source = read(arguments.plan), arguments.plan.name
    for remark in plan.remarks:
        complain(remark)
    made = page(plan, source) if arguments.reader is None else page_for_it(plan, source, _numbers())
    if path is None:
        say(made)
    else:
        new_file.write(path, made.encode())
        complain(f"Wrote {path}: open it in a browser and print it.")
    return Exit.FINE


def _numbers() -> Numbers:
    """The thresholds in force. Raises ``Stop``."""
    from ..settings import SettingsError, load

    try:
        return load({}).numbers
    except SettingsError as error:
        raise Stop(Exit.USAGE, str(error)) from None


def _may_write(arguments: Namespace) -> None:
    """Told before the work begins. Raises ``Stop``."""
    path = arguments.output
    if path is None:
        return
    if path.exists() and not arguments.force:
        raise Stop(Exit.USAGE, f"{path} is there already and was kept; name another file, or add --force to replace it.")
    if not path.exists():
        new_file.check(path, b"")
