"""A whole session from what is named on the command line: a journal, or captures that are folded."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from . import reading

if TYPE_CHECKING:
    from ..plan.rig import Plan
    from ..settings import Settings
    from ..story.evening import Evening


def journal(names: Sequence[str]) -> Path | None:
    """The journal that is named; None = captures are. Raises ``Stop``."""
    paths = [Path(name) for name in names]
    if not any(path.is_dir() or path.suffix == ".sqlite" for path in paths):
        return None
    from ..record.readback import journal_in

    for path in paths:
        check(path)
    found = [each for path in paths if (each := journal_in(path)) is not None]
    if found and len(paths) > 1:
        raise Stop(Exit.USAGE, "A journal is one session, so it is read alone; give one folder, or captures.")
    return found[0] if found else None


def check(path: Path) -> None:
    """A folder that holds sessions, and is none itself, is told. Raises ``Stop``."""
    from ..record.place import earlier
    from ..record.readback import journal_in
    from ..words.record import holds_sessions

    inside = earlier(path) if path.is_dir() and journal_in(path) is None else []
    if inside:
        raise Stop(Exit.UNREADABLE, holds_sessions(str(path), len(inside), str(inside[-1].folder)))


def of(names: Sequence[str], settings: Settings, plan: Plan | None = None, *, phase_fixed: bool = False) -> Evening:
    """The session of a journal or of captures. Raises ``Stop``."""
    found = journal(names)
    return of_captures(names, settings, plan, phase_fixed=phase_fixed) if found is None else of_journal(found)


def of_journal(path: Path) -> Evening:
    """The journal's whole session. Raises ``Stop``."""
    from ..record.readback import read
    from ..record.schema import JournalError

    try:
        return read(path)
    except JournalError as error:
        raise Stop(Exit.UNREADABLE, str(error)) from None


def of_captures(names: Sequence[str], settings: Settings, plan: Plan | None = None, *, phase_fixed: bool = False) -> Evening:
    """The captures' whole session. Raises ``Stop``."""
    from ..packets.files import packets_of, place_in
    from ..story.evening import Evening
    from ..story.play import Player

    vantage = None if settings.words.vantage == "auto" else settings.words.vantage
    player = Player(settings.numbers, vantage, settings.words.phase, phase_fixed=phase_fixed, plan=plan)
    source = reading.opened(names)
    stop = reading.play(source, player)
    if stop is not None:
        raise stop
    player.finish()
    snapshot = player.snapshot()
    numbers = {n for alert in snapshot.alerts for n in alert.packets}
    places = {n: place for n in numbers if (place := place_in(source.files, n)) is not None}
    course = player.course.view(player.network, snapshot.now)
    return Evening(snapshot, source.files, course, packets_of(names, numbers), places)
