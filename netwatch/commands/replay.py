"""``netwatch replay``: captures in, what was found out."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace
from collections.abc import Sequence
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import options
from .output import Progress, colour, complain, say, width

if TYPE_CHECKING:
    from ..packets.batch import FileSeen
    from ..packets.files import Captures
    from ..story.play import Player
    from ..story.snapshot import Snapshot

SUMMARY = "read captures and say what went wrong, worst first"
EXAMPLES = (
    ("netwatch replay last-night.pcapng", "what went wrong, and what to do"),
    ("netwatch replay monday.pcap tuesday.pcap.gz", "several files, told as one story"),
    ("netwatch replay rig.pcap --from mirror", "say where the capture was made"),
    ("netwatch replay rig.pcap --json", "the same for another program"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("files", nargs="+", metavar="FILE", help="a pcap or pcapng file, also gzip; '-' is standard input")
    parser.add_argument("--json", action="store_true", help="write one JSON document instead of text")
    parser.add_argument("--plain", action="store_true", help="text only: no colours")
    options.add_settings(parser)


def run(arguments: Namespace) -> Exit:
    """Read, fold, tell. Raises ``Stop``."""
    settings = options.settings(arguments)
    from ..packets.files import CaptureError, open_captures
    from ..story.play import Player

    vantage = None if settings.words.vantage == "auto" else settings.words.vantage
    player = Player(settings.numbers, vantage, settings.words.phase)
    try:
        source = open_captures(arguments.files)
    except CaptureError as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None
    stop = _play(source, player)
    player.finish()
    snapshot = player.snapshot()
    if stop is None or snapshot.packets:
        _tell(snapshot, source.files, arguments)
    if stop is not None:
        raise stop
    return _verdict(snapshot, source.files, settings.words.fail_on, trusted=player.trusted)


def _play(source: Captures, player: Player) -> Stop | None:
    """Feed all items; why it stopped before the end, if it did. What was read until then is kept."""
    from ..packets.files import CaptureError

    progress = Progress()
    try:
        for item in source:
            player.feed(item)
            progress.show(source.bytes_read, source.bytes_total)
    except CaptureError as error:
        return Stop(Exit.UNREADABLE, str(error))
    except KeyboardInterrupt:
        return Stop(Exit.INTERRUPTED, "Stopped before the end of the input; what was read until then was used.")
    finally:
        progress.clear()
        source.close()
    return None


def _tell(snapshot: Snapshot, files: Sequence[FileSeen], arguments: Namespace) -> None:
    """The result on standard output; what is wrong with the files on standard error as well if the output is JSON."""
    if arguments.json:
        from ..story.document import document

        for file in files:
            if file.problem:
                complain(file.problem)
        say(json.dumps(document(snapshot, files), indent=2, allow_nan=False))
    else:
        from ..report.text import render

        say(render(snapshot, files, colour=colour(plain=arguments.plain), width=width()))


def _verdict(snapshot: Snapshot, files: Sequence[FileSeen], fail_on: str, *, trusted: bool) -> Exit:
    """1 before 4 before 0. Alerts under another one, alerts marked as known and those about the laptop don't count for 1."""
    from ..alerts.rule import SEVERITIES

    least = SEVERITIES.index(fail_on)
    counted = (a for a in snapshot.alerts if a.over is None and a.accepted is None and not a.about_laptop)
    if any(SEVERITIES.index(alert.severity) >= least for alert in counted):
        return Exit.ALERTS
    nothing_read = sum(snapshot.undecoded.values()) >= snapshot.packets
    if not trusted or nothing_read or any(file.problem for file in files):
        return Exit.NOT_TRUSTED
    return Exit.FINE
