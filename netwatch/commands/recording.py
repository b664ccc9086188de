"""What ``watch`` and ``guard`` share: where a session is recorded, and what is said of it."""

from __future__ import annotations

import time
from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..settings import Settings
from .output import complain

if TYPE_CHECKING:
    from ..record.journal import Journal
    from .session import Session

NS = 1_000_000_000
MIB = 1 << 20


def add(parser: ArgumentParser) -> None:
    """--journal and --no-record."""
    parser.add_argument("--journal", type=Path, metavar="FOLDER", help="keep the journal in a new folder inside this one")
    parser.add_argument("--no-record", action="store_true", help="keep no journal")


def begin(arguments: Namespace, settings: Settings) -> Journal | None:
    """A new session's journal; None where none is wanted, or none can be made: then it says why, and the watch goes on."""
    if arguments.no_record:
        return None
    from platformdirs import user_state_path

    from ..record.journal import Journal
    from ..record.place import make_room, new_session
    from ..record.readback import FILE
    from ..record.schema import JournalError
    from ..words import record as words

    own = user_state_path("netwatch") / "sessions"
    now = time.time()
    try:
        if arguments.journal is None:
            gone = make_room(own, int(settings.numbers.record_mib * MIB) // 2, now)
            if gone:
                complain(words.made_room(len(gone), str(own)))
        return Journal(new_session(arguments.journal or own, now) / FILE)
    except JournalError as error:
        complain(str(error))
        return None


def facts(settings: Settings) -> dict[str, Any]:
    """What a journal says of its session."""
    from .. import __version__
    from ..alerts.catalogue import digest

    return {
        "program": f"netwatch {__version__}, rules {digest()}", "started": time.time_ns(),
        "zone": time.strftime("%Z %z"), "settings": [str(each) for each in settings.changed()],
    }  # fmt: skip


def ended(session: Session) -> str | None:
    """Where the session was recorded, and how to go on; None = nowhere."""
    from ..words import record as words

    recorder = session.recorder
    if recorder is None:
        return None
    return recorder.problem or words.recorded(str(recorder.journal.path.parent), recorder.given_up)
