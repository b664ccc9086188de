"""``netwatch report``: a page for people who were not there, from a journal or from captures."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import evening as session
from . import new_file, options
from .output import complain, say

if TYPE_CHECKING:
    from ..report.brief import Job
    from ..settings import Settings
    from ..story.evening import Evening

SUMMARY = "write a page for people who were not there: what happened, how sure, what to do"
EXAMPLES = (
    ("netwatch report FOLDER -o report.html", "of the session that a watch has recorded there"),
    ("netwatch report night.pcapng -o report.html", "one page to print or to send"),
    ("netwatch report night.pcapng --for rental", "a row a device, for whoever lends them"),
    ("netwatch report night.pcapng --bundle b.zip", "page, packets and sums in one file, as evidence"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="a journal's folder; or captures (pcap, pcapng, gzip), a folder of them"
    )
    parser.add_argument("-o", "--output", type=Path, metavar="FILE", help="where to; without it to standard output")
    parser.add_argument(
        "--for", dest="for_", choices=("rental", "it"), metavar="WHOM", help="rental: a row a device; it: for the IT department"
    )
    parser.add_argument(
        "--bundle", type=Path, metavar="FILE", help="a ZIP with the page, slices of the captures, and sums to prove them"
    )
    parser.add_argument("--whole", action="store_true", help="with --bundle: frames that say nothing new stay whole, too")
    parser.add_argument(
        "--headers-only", action="store_true", help="with --bundle: cut all levels, for a show that is confidential"
    )
    parser.add_argument("--json", action="store_true", help="one JSON document instead of a page")
    parser.add_argument("--names", action="store_true", help="show people's own devices with their names, too")
    parser.add_argument("--job", default="", metavar="TEXT", help="stands at the head; left blank to fill in without it")
    parser.add_argument("--by", default="", metavar="TEXT", help="who did it")
    parser.add_argument("--socket", default="", metavar="TEXT", help="where the laptop was plugged in")
    options.add_plan(parser)
    options.add_settings(parser)


def run(arguments: Namespace) -> Exit:
    """Read, fold, write. Raises ``Stop``. The exit code tells whether the page is there and can be trusted, not what it says."""
    settings = options.settings(arguments)
    _check(arguments)
    from ..story.assets import assets

    journal = session.journal(arguments.files)
    if journal is not None and (arguments.whole or arguments.headers_only):
        raise Stop(Exit.USAGE, "--whole and --headers-only are for captures; a journal's packets are cut already.")
    plan = options.plan(arguments)
    evening = session.of(arguments.files, settings, plan, phase_fixed=arguments.phase is not None)
    evening = replace(evening, assets=assets(evening.snapshot, plan))
    if not evening.snapshot.packets:
        from ..words.report import NO_FILES

        raise Stop(Exit.NOT_TRUSTED, NO_FILES)
    for file in evening.files:
        if file.problem:
            complain(file.problem)
    text = _text(evening, _job(arguments), arguments)
    if arguments.bundle is not None:
        _write(arguments.bundle, _bundle(evening, journal, text, arguments, settings))
    if arguments.output is not None:
        _write(arguments.output, text.encode("utf-8", "replace"))
    elif arguments.bundle is None:
        say(text)
    doubtful = evening.snapshot.dropped or any(file.problem for file in evening.files)
    return Exit.NOT_TRUSTED if doubtful else Exit.FINE


def _check(arguments: Namespace) -> None:
    """What can be told before the long work begins. Raises ``Stop``."""
    if arguments.bundle is None and (arguments.whole or arguments.headers_only):
        raise Stop(Exit.USAGE, "--whole and --headers-only say how slices are cut; they go with --bundle FILE.zip.")
    if arguments.whole and arguments.headers_only:
        raise Stop(Exit.USAGE, "--whole and --headers-only exclude each other; give one of them.")
    if arguments.output is not None:
        new_file.check(arguments.output, new_file.JSON if arguments.json else new_file.PAGE)
    if arguments.bundle is not None:
        if "-" in arguments.files:
            raise Stop(
                Exit.USAGE, "--bundle reads the captures twice, so standard input can't be one of them; save it as a file."
            )
        new_file.check(arguments.bundle, new_file.ZIP)


def _write(path: Path, data: bytes) -> None:
    new_file.write(path, data)
    complain(f"Written: {path}")


def _bundle(evening: Evening, journal: Path | None, text: str, arguments: Namespace, settings: Settings) -> bytes:
    """The ZIP file."""
    from ..record.cutting import Cutter
    from . import bundle

    if journal is not None:
        slices = bundle.from_journal(journal, evening.snapshot)
    else:
        cutter = Cutter(whole=arguments.whole, headers_only=arguments.headers_only)
        slices = bundle.from_captures(arguments.files, evening.snapshot, settings.numbers, cutter)
    page = {"report.json" if arguments.json else "report.html": text.encode("utf-8", "replace")}
    chosen = [f"--set={name}={value:g}" for name, value in settings.numbers.changed().items()]
    place = [] if settings.words.vantage == "auto" else [f"--from={settings.words.vantage}"]
    return bundle.packed({**page, **slices}, [*place, *chosen], evening.snapshot.first)


def _job(arguments: Namespace) -> Job:
    from ..report.brief import Job

    return Job(arguments.job, arguments.by, arguments.socket, program(), arguments.names)


def program() -> str:
    """Version of program and rules."""
    from .. import __version__
    from ..alerts.catalogue import digest

    return f"netwatch {__version__}, rules {digest()}"


def _text(evening: Evening, job: Job, arguments: Namespace) -> str:
    if arguments.json:
        from ..report.data import data

        return json.dumps(data(evening, job), indent=2, allow_nan=False) + "\n"
    if arguments.for_ == "rental":
        from ..report.rental import page
    elif arguments.for_ == "it":
        from ..report.for_it import page
    else:
        from ..report.page import page
    return page(evening, job)
