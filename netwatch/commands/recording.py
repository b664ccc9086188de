"""What ``watch`` and ``guard`` share: where a session is recorded, how much of it, and what is said of it."""

from __future__ import annotations

import shutil
import time
from argparse import ArgumentParser, Namespace
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..exits import Exit, Stop
from ..settings import Settings
from .output import complain

if TYPE_CHECKING:
    from ..record.journal import Journal
    from ..record.stores import PacketStores
    from .session import Session

NS = 1_000_000_000
MIB, GIB = 1 << 20, 1 << 30
MOST_OF_FREE = 0.8
"""The capture never takes more of the free disk."""
REACH_AFTER_S = 30.0


@dataclass(frozen=True, slots=True)
class Recording:
    """Where one session goes."""

    journal: Journal
    stores: PacketStores


def add(parser: ArgumentParser) -> None:
    """--journal and --no-record, of a watch."""
    parser.add_argument("--journal", type=Path, metavar="FOLDER", help="keep the journal in a new folder inside this one")
    parser.add_argument("--no-record", action="store_true", help="keep no journal, and no packets around alerts")
    add_cutting(parser)


def add_cutting(parser: ArgumentParser) -> None:
    """--whole and --headers-only."""
    parser.add_argument("--whole", action="store_true", help="keep frames whole, also those that say nothing new")
    parser.add_argument("--headers-only", action="store_true", help="keep no levels at all")


def begin(arguments: Namespace, settings: Settings) -> Recording | None:
    """A new session; None where none is wanted, or none can be made: then it says why, and the watch goes on.

    A guard is there to record: where it can't, it raises ``Stop``.
    """
    if arguments.no_record:
        return None
    from ..record.cutting import Cutter
    from ..record.journal import Journal
    from ..record.place import new_session
    from ..record.readback import FILE
    from ..record.schema import JournalError
    from ..record.stores import Limits, PacketStores

    guard = getattr(arguments, "guard", False)
    root = arguments.journal or _own(settings, guard)
    try:
        folder = new_session(root, time.time())
        numbers = settings.numbers
        most = round((numbers.guard_journal_mib if guard else numbers.journal_mib) * MIB)
        journal = Journal(folder / FILE, most)
    except JournalError as error:
        if guard:
            raise Stop(Exit.UNREADABLE, str(error)) from None
        complain(str(error))
        return None
    limits = Limits.of(settings.numbers, _capture(arguments, settings, folder) if guard else None)
    stores = PacketStores(folder, settings.numbers, limits, Cutter(whole=arguments.whole, headers_only=arguments.headers_only))
    journal.facts(_facts(settings, guard))
    if guard:
        _tell(folder, stores, most)
    return Recording(journal, stores)


def _own(settings: Settings, guard: bool) -> Path:
    """The user's own folder of sessions; those of watches make room for new ones, those of guards stay."""
    from platformdirs import user_state_path

    from ..record.place import make_room
    from ..words import record as words

    own = user_state_path("netwatch") / ("guard" if guard else "sessions")
    if not guard:
        # The other half is for the session that begins.
        gone = make_room(own, int(settings.numbers.record_mib * MIB) // 2, time.time())
        if gone:
            complain(words.made_room(len(gone), str(own)))
    return own


def _capture(arguments: Namespace, settings: Settings, folder: Path) -> int:
    """Bytes of the rolling capture."""
    if arguments.size is not None:
        return int(arguments.size * GIB)
    free = shutil.disk_usage(folder).free
    wanted = max(free * settings.numbers.guard_share, settings.numbers.guard_least_mib * MIB)
    return int(min(wanted, free * MOST_OF_FREE))


def _facts(settings: Settings, guard: bool) -> dict[str, Any]:
    """What a journal says of its session."""
    from .. import __version__
    from ..alerts.catalogue import digest

    return {
        "program": f"netwatch {__version__}, rules {digest()}", "started": time.time_ns(), "verb": "guard" if guard else "watch",
        "zone": time.strftime("%Z %z"), "settings": [str(each) for each in settings.changed()],
    }  # fmt: skip


def _tell(folder: Path, stores: PacketStores, journal: int) -> None:
    """At the start: how far each store reaches at the rate of a large rig; what it is at the real one is told later."""
    from ..words import record as words

    limits = stores.limits
    free = shutil.disk_usage(folder).free
    complain(words.guard_begins(str(folder), limits.capture or 0, limits.talk, limits.slices, journal, free))


class Reach:
    """Says once how far the stores reach at the real rate, as soon as that is known."""

    def __init__(self, session: Session) -> None:
        self._session, self._told, self._due = session, False, time.monotonic() + REACH_AFTER_S

    def look(self) -> None:
        """Say it when it is time."""
        from ..words import record as words

        stores = self._session.stores
        if not self._told and stores is not None and "capture" in stores.reach and time.monotonic() >= self._due:
            self._told = True
            complain(words.reaches(stores.reach))


def ended(session: Session) -> str | None:
    """Where the session was recorded, and how to go on; None = nowhere."""
    from ..words import record as words

    recorder = session.recorder
    if recorder is None:
        return None
    told = words.recorded(str(recorder.journal.path.parent), recorder.given_up)
    return f"{recorder.problem} {told}" if recorder.problem else told
