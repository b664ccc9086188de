"""``netwatch`` alone, on a terminal: offers what there is, and begins with what is chosen."""

from __future__ import annotations

import os
import threading
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
    from ..screens.offer import Offer, Section

MOST_CAPTURES = 8
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
    return replay.run(parsed("replay", replay, [str(name)]))


class Ear:
    """Listens on all interfaces for a moment, where that is allowed, so that each can be told by what is heard there."""

    def __init__(self) -> None:
        from ..packets import rights
        from ..packets.choose import candidates
        from ..packets.machine import CannotListen, interfaces

        self._known: Mapping[str, Interface] = interfaces()
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


def _told(path: Path) -> str:
    try:
        state = path.stat()
    except OSError:
        return ""
    return words.capture(state.st_size, datetime.fromtimestamp(state.st_mtime).strftime("%d %b %H:%M"))


def _none() -> Offer:
    from ..screens.offer import Offer

    return Offer(None, "", words.NO_CAPTURES)
