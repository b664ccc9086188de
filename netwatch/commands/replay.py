"""``netwatch replay``: captures in, what was found out."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import asked, looking, options, outcome, reading
from .output import on_screen

if TYPE_CHECKING:
    from ..alerts.known import Left
    from ..story.play import Player
    from .tape import Tape

SUMMARY = "read captures and say what went wrong, worst first"
EXAMPLES = (
    ("netwatch replay last-night.pcapng", "what went wrong, and what to do"),
    ("netwatch replay monday.pcap tuesday.pcap.gz", "several files, told as one story"),
    ("netwatch replay FOLDER", "all captures of a folder, told as one story"),
    ("netwatch replay rig.pcap --from mirror", "say where the capture was made"),
    ("netwatch replay rig.pcap --levels 3/1-20", "what universe 3 got on channels 1-20, and when"),
    ("netwatch replay rig.pcap --why 7 --see dark", "where on its way universe 7 got lost"),
    ("netwatch replay rig.pcap --plan rig.toml", "what differs from the plan"),
    ("netwatch replay rig.pcap --json", "the same for another program"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument(
        "files", nargs="+", metavar="FILE", help="a pcap or pcapng file, also gzip, or a folder of them; '-' is standard input"
    )
    parser.add_argument("--json", action="store_true", help="write one JSON document instead of text")
    parser.add_argument("--plain", action="store_true", help="text instead of the full screen, without colours")
    parser.add_argument(
        "--levels", metavar="UNIVERSE/CHANNELS",
        help="instead: the level history of DMX channels: 3/1-20 is sACN universe 3; 0.1.5/1-20 or a21/1-20 is Art-Net",
    )
    parser.add_argument(
        "--known", type=Path, metavar="FILE", help="leave be what this file names; README tells how its lines are written"
    )
    asked.add(parser)
    options.add_plan(parser)
    options.add_settings(parser)


def run(arguments: Namespace) -> Exit:
    """Read, fold, tell. Raises ``Stop``."""
    settings = options.settings(arguments)
    wanted = None if arguments.levels is None else looking.look(arguments.levels)
    question = asked.asked(arguments)
    time = None if arguments.at is None else asked.clock_time(arguments.at)
    from ..packets.files import CaptureError, open_captures
    from ..packets.stream import is_regular

    known = [] if arguments.known is None else _known(arguments.known)
    plan = options.plan(arguments)
    vantage = None if settings.words.vantage == "auto" else settings.words.vantage

    def made() -> Player:
        from ..story.play import Player

        player = Player(
            settings.numbers, vantage, settings.words.phase, look=wanted, phase_fixed=arguments.phase is not None, plan=plan
        )
        player.know(known)
        return player

    if on_screen(arguments) and wanted is None and question is None and all(map(is_regular, arguments.files)):
        try:
            open_captures(arguments.files).close()
        except CaptureError as error:
            raise Stop(Exit.UNREADABLE, str(error)) from None
        return _screen(arguments.files, made, settings.words.fail_on)
    player = made()
    source = reading.opened(arguments.files)
    stop = reading.play(source, player, None if time is None else asked.until(source, time))
    player.finish()
    snapshot = player.snapshot()
    if question is not None:
        snapshot = asked.answered(player, snapshot, question)
    if arguments.json:
        snapshot = outcome.evidence(snapshot, arguments.files)
    if stop is None or snapshot.packets:
        outcome.tell(snapshot, source.files, arguments)
    if stop is not None:
        raise stop
    return outcome.verdict(snapshot, source.files, settings.words.fail_on, trusted=player.trusted)


def _known(path: Path) -> list[Left]:
    """What is known and left be. Raises ``Stop``."""
    from . import known_file

    try:
        return known_file.read(path)
    except known_file.BadKnown as error:
        raise Stop(Exit.UNREADABLE if not path.is_file() else Exit.USAGE, str(error)) from None


def _screen(files: list[str], player: Callable[[], Player], fail_on: str) -> Exit:
    """The terminal UI: the end of the capture first, and from there any moment of it. Raises ``Stop``."""
    from ..screens.app import NetwatchApp
    from .opening import Opening

    def tape() -> Tape:
        from .tape import Tape

        return Tape(files, player())

    source = Opening(tape, lambda: app.call_from_thread(app.exit))
    app = NetwatchApp(source)
    app.run()
    end = source.close()
    if end is None or source.stop is not None:
        raise source.stop or Stop(Exit.INTERRUPTED, reading.STOPPED)
    return outcome.verdict(end.snapshot, end.files, fail_on, trusted=end.trusted)
