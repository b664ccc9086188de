"""``netwatch`` alone, on a terminal: offers what there is, and begins with what is chosen."""

from __future__ import annotations

import os
import threading
import time
from argparse import Namespace
from collections.abc import Callable, Hashable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING

from ..exits import Exit
from ..packets.folder import ENDINGS
from ..words import offer as words

if TYPE_CHECKING:
    from ..packets.choose import Choice
    from ..packets.live import LiveSource
    from ..packets.machine import Interface
    from ..record.place import Old
    from ..screens.offer import Offer, Section

MOST_CAPTURES, MOST_SESSIONS = 8, 4
GOES_ON_S = 15.0
"""A session that was written to within so long is perhaps still being recorded."""
EVENING = Path(__file__).resolve().parents[2] / "captures" / "02-a-long-evening.pcapng.gz"
"""Beside the package in a clone; an installed one has none."""


def run(parsed: Callable[[str, ModuleType, list[str]], Namespace]) -> Exit:
    """Ask, then listen or replay; ``parsed`` = the arguments of a verb as the command line reads them. Raises ``Stop``."""
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # see watch.run
    from ..screens.offer import OfferApp
    from . import replay, watch

    # What is needed later is imported before rights are given up.
    from ..screens import app  # noqa: F401  # isort: skip
    from ..story import play  # noqa: F401  # isort: skip
    from . import awake, joining, telling  # noqa: F401  # isort: skip

    ear = Ear()
    chosen: Hashable = OfferApp(ear.sections).run()
    if not isinstance(chosen, tuple):
        ear.close()
        return Exit.FINE
    kind, name = chosen
    if kind == "listen":
        return watch.run(parsed("watch", watch, ["--on", str(name)]), ear.only(str(name)))
    ear.close()
    if kind == "open":
        from . import open as opening

        return opening.run(parsed("open", opening, [str(name)]))
    return replay.run(parsed("replay", replay, [str(name)]))


class Ear:
    """Listens on all interfaces for a moment, where that is allowed, so that each can be told by what is heard there."""

    def __init__(self) -> None:
        from ..packets import rights
        from ..packets.choose import candidates
        from ..packets.machine import CannotListen, interfaces

        self._known: Mapping[str, Interface] = interfaces()
        self._sessions = sessions()[:MOST_SESSIONS]
        self._cannot = rights.cannot_listen()
        self._source: LiveSource | None = None
        self._choice: Choice | None = None
        self._thread: threading.Thread | None = None
        try:
            self._names = candidates(self._known)
            if self._cannot is None:
                from . import watch

                self._source = watch.opened(self._names)
                self._thread = threading.Thread(target=self._listen, daemon=True)
                self._thread.start()
        except CannotListen:
            self._names = []

    def _listen(self) -> None:
        from ..packets.choose import choose
        from .watch import counts

        if self._source is not None:
            self._choice = choose(self._source, counts)

    def only(self, name: str) -> LiveSource | None:
        """The open source, on one interface alone; None where nothing could be opened."""
        if self._source is None or self._thread is None:
            return None
        self._thread.join()
        self._source.only([name])
        return self._source

    def close(self) -> None:
        """Listen no more."""
        if self._source is not None and self._thread is not None:
            self._thread.join()
            self._source.close()

    def sections(self) -> Sequence[Section]:
        """All that can be begun with, as it is known by now."""
        from ..screens.offer import Offer, Section

        listen = [Offer(("listen", each), each, self._told(each)) for each in self._names] or [Offer(None, "", words.NONE_UP)]
        if self._cannot is not None:
            listen.append(Offer(None, "", self._cannot))
        found = [Offer(("replay", str(path)), path.name, _told(path)) for path in captures(Path.cwd())]
        out = [Section(words.LISTEN, tuple(listen)), Section(words.CAPTURES, tuple(found) or (_none(),))]
        recorded = [Offer(("open", str(each.folder)), each.folder.name, _session(each)) for each in self._sessions]
        out += [Section(words.SESSIONS, tuple(recorded))] if recorded else []
        if EVENING.exists():
            out.append(Section(words.TRY, (Offer(("replay", str(EVENING)), words.EVENING, words.EVENING_TOLD),)))
        return out

    def _told(self, name: str) -> str:
        from ..packets.choose import LISTEN_S

        each = self._known[name]
        told = words.interface(each.kind, each.networks, each.link, each.speed)
        if self._cannot is not None:
            return f"{told}; {words.LIMITED}"
        return f"{told}; {words.WAITING if self._choice is None else words.heard(self._choice.heard.get(name, {}), LISTEN_S)}"


def captures(folder: Path) -> list[Path]:
    """The newest captures of a folder."""
    try:
        found = [each for each in folder.iterdir() if each.name.endswith(ENDINGS) and each.is_file()]
        return sorted(found, key=lambda each: each.stat().st_mtime, reverse=True)[:MOST_CAPTURES]
    except OSError:
        return []


def sessions() -> list[Old]:
    """What watches and guards of this user have recorded, newest first."""
    from platformdirs import user_state_path

    from ..record.place import earlier

    own = user_state_path("netwatch")
    try:
        found = [each for kind in ("sessions", "guard") for each in earlier(own / kind)]
    except OSError:
        return []
    return sorted(found, key=lambda each: (each.touched, each.folder), reverse=True)


def _session(each: Old) -> str:
    at = datetime.fromtimestamp(each.touched).strftime("%d %b %H:%M")
    return words.session(each.bytes, at, time.time() - each.touched < GOES_ON_S)


def _told(path: Path) -> str:
    try:
        state = path.stat()
    except OSError:
        return ""
    return words.capture(state.st_size, datetime.fromtimestamp(state.st_mtime).strftime("%d %b %H:%M"))


def _none() -> Offer:
    from ..screens.offer import Offer

    return Offer(None, "", words.NO_CAPTURES)
