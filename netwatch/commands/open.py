"""``netwatch open``: a journal on the screens, also while a watch or a guard writes it."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import evening, options, outcome
from .output import complain, on_screen

if TYPE_CHECKING:
    from ..story.evening import Evening
    from ..story.snapshot import Snapshot

SUMMARY = "show a session that was recorded, or is being recorded, on the screens"
EXAMPLES = (
    ("netwatch open", "the newest session, while its watch goes on, too"),
    ("netwatch open FOLDER", "this one"),
    ("netwatch open FOLDER --plain", "as text, worst first"),
)


def add(parser: ArgumentParser) -> None:
    """The verb's arguments."""
    parser.add_argument("journal", nargs="?", metavar="FOLDER", help="of a journal; without it the newest session of yours")
    parser.add_argument("--plain", action="store_true", help="text instead of the full screen, without colours")
    parser.add_argument("--json", action="store_true", help="write one JSON document instead of text")
    options.add_settings(parser)


def run(arguments: Namespace) -> Exit:
    """Show it; nothing is written to it. Raises ``Stop``."""
    settings = options.settings(arguments)
    from ..record.schema import JournalError

    path = _journal(arguments.journal)
    try:
        if on_screen(arguments):
            return _screen(path, settings.words.fail_on)
        from ..record.readback import read

        session = read(path)
    except JournalError as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None
    for told in session.recording:
        complain(told)
    snapshot = _with_bytes(session) if arguments.json else session.snapshot
    outcome.tell(snapshot, session.files, arguments)
    return _verdict(snapshot, settings.words.fail_on)


def _journal(name: str | None) -> Path:
    """The journal that is named, or the newest one. Raises ``Stop``."""
    from ..record.readback import journal_in
    from ..words import record as words

    if name is None:
        return _newest()
    evening.check(Path(name))
    found = journal_in(Path(name))
    if found is None:
        raise Stop(Exit.UNREADABLE, words.no_journal(name))
    return found


def _newest() -> Path:
    from ..record.readback import FILE
    from ..words import record as words
    from .begin import sessions

    found = sessions()
    if not found:
        raise Stop(Exit.UNREADABLE, words.NO_SESSION)
    complain(words.newest(str(found[0].folder)))
    return found[0].folder / FILE


def _screen(path: Path, fail_on: str) -> Exit:
    """Raises ``JournalError``."""
    from ..screens.app import NetwatchApp
    from .opened import Opened

    source = Opened(path)
    source.start()
    try:
        NetwatchApp(source).run()
    finally:
        source.close()
    return _verdict(source.snapshot(), fail_on)


def _with_bytes(session: Evening) -> Snapshot:
    """The packets that alerts rest on, as far as they were kept."""
    kept = {n: one.packet(0).hex() for n, one in session.packets.items()}
    return replace(session.snapshot, alerts=tuple(
        replace(each, bytes={**each.bytes, **{n: kept[n] for n in each.packets if n in kept}}) for each in session.snapshot.alerts
    ))  # fmt: skip


def _verdict(snapshot: Snapshot, fail_on: str) -> Exit:
    trusted = not snapshot.dropped and not any(each.doubtful for each in snapshot.alerts)
    return outcome.verdict(snapshot, (), fail_on, trusted=trusted)
