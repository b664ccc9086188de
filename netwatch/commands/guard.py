"""``netwatch guard``: watch without a screen, and keep the newest packets, for a night, a week, a whole job."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path

from ..exits import Exit, Stop
from . import options, recording, watch

SUMMARY = "watch without a screen and keep the newest packets, for a night or a whole job"
EXAMPLES = (
    ("netwatch guard", "until Ctrl-C; says where it keeps what"),
    ("netwatch guard --on eth0 --journal /data", "listen on this interface, keep it there"),
    ("netwatch guard --headers-only", "no levels at all, for a show that is confidential"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("--on", action="append", metavar="NAME", help="listen on this interface; may be given several times")
    parser.add_argument("--for", dest="for_", type=watch.seconds, metavar="SECONDS", help="stop after so long")
    parser.add_argument("--journal", type=Path, metavar="FOLDER", help="keep all in a new folder inside this one")
    parser.add_argument("--size", type=_gib, metavar="GIB", help="of the capture; else a tenth of the free disk, at least 2")
    recording.add_cutting(parser)
    options.add_plan(parser)
    options.add_settings(parser)
    parser.set_defaults(guard=True, plain=True, json=False, keep=None, join=None, yes=0, page=None, no_record=False,
                        sound=False, new_job=False)


def _gib(text: str) -> float:
    value = float(text)
    if not 0.05 <= value < 1e6:
        raise ValueError(text)
    return value


def run(arguments: Namespace) -> Exit:
    """Listen until stopped. Raises ``Stop``."""
    if arguments.whole and arguments.headers_only:
        raise Stop(Exit.USAGE, "--whole and --headers-only exclude each other; give one of them.")
    return watch.run(arguments)
