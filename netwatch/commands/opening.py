"""Captures on their way to the screens: the frame stands before anything heavy is loaded, and fills while they are read."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from ..exits import Exit, Stop
from ..screens.source import Source
from ..story.snapshot import Said, Snapshot, Why, nothing
from . import reading

if TYPE_CHECKING:
    from ..packets.batch import FileSeen
    from .tape import Tape

SHOWN_EACH_S = 0.25


class Ended(Exception):
    """The person left before the end."""


@dataclass(frozen=True, slots=True)
class End:
    """The whole story."""

    snapshot: Snapshot
    files: Sequence[FileSeen]
    trusted: bool


class Opening(Source):
    """What is read so far; then the tape. Safe from any thread."""

    def __init__(self, make: Callable[[], Tape], nothing_read: Callable[[], None]) -> None:
        """``make`` loads what is heavy; ``nothing_read`` is called where no packet could be."""
        self._make, self._nothing_read = make, nothing_read
        self._made: Tape | None = None
        self._end: End | None = None
        self._shown = nothing()
        self._due = 0.0
        self._share = "0 %"
        self._over = threading.Event()
        self._thread = threading.Thread(target=self._run, name="reading", daemon=True)
        self._failed: BaseException | None = None
        self.stop: Stop | None = None
        """Why it ended early."""

    def close(self) -> End | None:
        """Read no more; how the story ends, None where it was not read. What failed is raised here."""
        self._over.set()
        if self._thread.ident is not None:
            self._thread.join()
        if self._failed is not None:
            raise self._failed
        return self._end

    # ---- what the screens ask for ----

    @property
    def tape(self) -> Tape | None:
        """None until all is read."""
        return None if self._end is None else self._made

    @property
    def reading(self) -> str:
        """'45 %' of the captures are read."""
        return "" if self._end is not None else self._share

    def begin(self) -> None:
        """The frame stands: load and read."""
        self._thread.start()

    def snapshot(self) -> Snapshot:
        """So far; then at the moment that is shown."""
        tape = self.tape
        return self._shown if tape is None else tape.snapshot()

    def why(self, protocol: str, universe: int, see: str | None) -> Why:
        """Followed on its way once all is read."""
        if self.tape is None:
            return Why(protocol, universe, see, self._shown.now, (), reading.NOT_YET)
        return self.tape.why(protocol, universe, see)

    def look(self, protocol: str, universe: int, channel: int | None = None) -> None:
        """Levels come once all is read."""
        if self.tape is not None:
            self.tape.look(protocol, universe, channel)

    def packet(self, number: int) -> Sequence[Said] | None:
        """Read again from the files."""
        tape = self.tape
        return None if tape is None else tape.packet(number)

    # ---- reading ----

    def _run(self) -> None:
        from ..packets.stream import CaptureError

        try:
            tape = self._made = self._make()
            self._load(tape)
            tape.finish()
            self._end = End(tape.snapshot(), tape.source.files, tape.player.trusted)
            if self.stop is not None and not self._end.snapshot.packets:
                self._nothing_read()
        except Ended:
            return
        except CaptureError as error:
            self.stop = Stop(Exit.UNREADABLE, str(error))
            self._nothing_read()
        except BaseException as error:  # noqa: BLE001 - raised again where it is closed
            self._failed = error
            self._nothing_read()

    def _load(self, tape: Tape) -> None:
        from ..packets.stream import CaptureError

        try:
            tape.load(lambda done, total: self._progress(tape, done, total))
        except CaptureError as error:
            self.stop = Stop(Exit.UNREADABLE, str(error))

    def _progress(self, tape: Tape, done: int, total: int | None) -> None:
        self._left()
        if time.monotonic() >= self._due:
            self._share = f"{min(done / total, 1.0):.0%}".replace("%", " %") if total else f"{done / 1e6:,.0f} MB"
            self._shown = replace(tape.player.snapshot(), revision=self._shown.revision + 1)
            self._due = time.monotonic() + SHOWN_EACH_S

    def _left(self) -> None:
        if self._over.is_set():
            raise Ended
