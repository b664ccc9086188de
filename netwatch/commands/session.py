"""One live session: a thread that reads items, keeps them and folds them; everybody else only asks for the picture."""

from __future__ import annotations

import threading
from collections.abc import Callable, Sequence
from pathlib import Path

from ..alerts.known import Left
from ..decode.tables import ARTNET, E131
from ..packets.batch import Item, Mark
from ..packets.beside import KeptBeside
from ..packets.keep import Keeper
from ..packets.live import LiveSource
from ..packets.stream import CaptureError
from ..record.recorder import Look, Recorder
from ..report.times import Times
from ..screens.source import Source
from ..story.play import Player
from ..story.snapshot import Happening, Said, Snapshot, Why
from ..story.spelled import said
from ..story.why import Asked, why
from .output import complain
from .recording import Recording


class Session(Source):
    """Items flow from ``source`` through the keeper into ``player`` until ``stop``; ``snapshot`` is safe from any thread."""

    def __init__(self, source: LiveSource, player: Player, keep: Path | None = None, recording: Recording | None = None) -> None:
        """Raises ``CaptureError`` where ``keep`` can't be written."""
        self.source, self.player = source, player
        self.problem: str | None = None
        """Why keeping stopped, one sentence."""
        self._keeper = KeptBeside(Keeper(keep)) if keep is not None else None
        self._lock = threading.Lock()
        self.recorder = None if recording is None else Recorder(
            recording.journal, self._whole, recording.stores, lambda text: source.say({"recording": text})
        )
        self.stores = None if recording is None else recording.stores
        self._thread = threading.Thread(target=self._read, name="listening", daemon=True)
        # Python up to 3.12 takes a thread for ended when Ctrl-C interrupts a join with a time limit; an event tells the truth.
        self._ended = threading.Event()
        self._failed: BaseException | None = None
        self.on_mark: list[Callable[[], None]] = []
        """Called after each mark, so about once a second, in the listening thread."""

    def start(self) -> None:
        """Begin to listen."""
        if self.recorder is not None:
            self.recorder.start(self.player)
        self._thread.start()

    def stop(self) -> None:
        """End the input, judge what is left, close the file. What failed in the thread is raised here."""
        self.source.close()
        self._ended.wait()
        if self._keeper is not None:
            self._keeper.close()
            self.problem = self._keeper.problem
        if self.recorder is not None:
            self.recorder.close(self._whole())
        if self._failed is not None:
            raise self._failed

    def wait(self, seconds: float | None) -> bool:
        """Until the input ended or so long; True = it ended."""
        return self._ended.wait(seconds)

    def tell(self, text: str) -> None:
        """What can't be passed on becomes a part of the record, or, once that is over, a line on standard error."""
        if self.wait(0):
            complain(text)
        else:
            self.source.say({"telling": text})

    def snapshot(self) -> Snapshot:
        """The picture now, as seen from here."""
        with self._lock:
            return self.player.snapshot()

    def why(self, protocol: str, universe: int, see: str | None) -> Why:
        """One universe followed from its sender to the fixture, now."""
        with self._lock:
            snapshot = self.player.snapshot()
            return why(self.player, snapshot, Asked(protocol, universe, see), Times(snapshot.first).clock)

    def look(self, protocol: str, universe: int, channel: int | None = None) -> None:
        """Keep this universe's frames in the snapshot, and what one DMX channel does from now on."""
        with self._lock:
            self.player.look(E131 if protocol == "e131" else ARTNET, universe, channel)

    def packet(self, number: int) -> Sequence[Said] | None:
        """What a packet that an alert rests on says, while its bytes are at hand."""
        with self._lock:
            data = self.player.network.raw.get(number)
            return None if data is None else said(data, self.source.ports[0].link_type)

    def announced(self) -> set[int]:
        """Universes that controllers announce."""
        with self._lock:
            return {each for listing in self.player.network.announced.values() for each in listing.universes}

    def known(self) -> list[Left]:
        """What a person said is known."""
        with self._lock:
            return list(self.player.judge.engine.known())

    def happenings(self, since: int) -> list[Happening]:
        """What happened from the line numbered ``since`` on (0 = the first of all).

        What is recorded is told once it is on the disk, unless it can't be written.
        """
        with self._lock:
            log = self.player.happenings
            lines = log.lines[max(0, since - log.left_out) :]
        if self.recorder is None or self.recorder.problem is not None:
            return lines
        return lines[: max(0, self.recorder.committed - since)]

    def _read(self) -> None:
        try:
            for item in self.source:
                self._keep(item)
                if self.recorder is not None:
                    self.recorder.offer(item)
                with self._lock:
                    self.player.feed(item)
                    self._record()
                for look in self.on_mark if isinstance(item, Mark) else ():
                    look()
            with self._lock:
                self.player.finish()
                self._record()
        except Exception as error:  # noqa: BLE001 - raised again where the session is stopped
            self._failed = error
        finally:
            self._ended.set()

    def _record(self) -> None:
        if self.recorder is not None:
            self.recorder.watch(self.player)

    def _whole(self) -> Look:
        """For the journal."""
        with self._lock:
            snapshot = self.player.snapshot()
            return Look(snapshot, self.player.course.open_minute(self.player.network, snapshot.now))

    def _keep(self, item: Item) -> None:
        """Keeping gives way: a full disk must not end the watch."""
        if self._keeper is None:
            return
        try:
            self._keeper.write(item)
        except CaptureError as error:
            self.problem = str(error)
            self.source.say({"recording": self.problem})
            self._keeper.close()
            self._keeper = None
