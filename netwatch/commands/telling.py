"""Tells people who do not look at the watch: each alert to ``on_alert``, what stops the show to the desktop."""

from __future__ import annotations

import json
import threading
from collections.abc import Callable, Mapping
from typing import Any, Protocol

from ..settings import Settings
from ..story.bell import SETTLES, Bell
from ..story.document import alert_object, seconds
from ..story.snapshot import AlertView, Happening, Snapshot
from ..story.standing import SEVERITIES, place
from ..words import telling as words
from . import notice
from .hook import Hook

SCHEMA = 1
_MOVES = frozenset({"opened", "changed", "folded", "unfolded", "closed", "accepted", "mended"})


class Told(Protocol):
    """What is asked of a session."""

    def happenings(self, since: int) -> list[Happening]: ...

    def snapshot(self) -> Snapshot: ...


class Telling:
    """Looks at what is news; all that may take long happens in threads of their own."""

    def __init__(self, session: Told, settings: Settings, say: Callable[[str], None]) -> None:
        """``say`` is told what does not work, once."""
        self._session, self._say = session, say
        self._hook = Hook(settings.on_alert, settings.numbers, say) if settings.on_alert else None
        self._least = SEVERITIES.index(settings.words.on_alert_from)
        self._bell = Bell(settings.words.notice) if settings.words.notice != "never" else None
        self._seen = 0
        self._passed: dict[int, int] = {}
        """Rank in which an open alert was passed on, by its id."""
        self._young: set[int] = set()
        """Alerts for which something may still be seen that explains them."""
        self._problem: str | None = None

    def look(self) -> None:
        """Once a second or so."""
        if self._hook is None and self._bell is None:
            return
        news = self._session.happenings(self._seen)
        self._seen += len(news)
        moved = {line.alert for line in news if line.what in _MOVES and line.alert is not None}
        if not moved and not self._young and not any(line.what == "phase" for line in news):
            return
        snapshot = self._session.snapshot()
        by_id = {each.id: each for each in snapshot.alerts}
        looked, self._young = sorted((moved | self._young) & by_id.keys()), set()
        for each in (by_id[id] for id in looked):
            if each.closed is None and snapshot.now - each.opened < SETTLES:
                self._young.add(each.id)
            elif self._hook is not None:
                self._pass_on(self._hook, each, by_id, snapshot)
        if self._bell is not None and self._bell.rings(snapshot):
            threading.Thread(target=self._show, args=(snapshot,), name="notice", daemon=True).start()

    def close(self) -> None:
        """What waits is still told."""
        self.look()
        if self._hook is not None:
            self._hook.close()

    def _pass_on(self, hook: Hook, alert: AlertView, by_id: Mapping[int, AlertView], snapshot: Snapshot) -> None:
        """It stands by itself, is bad enough, and nobody called it known; or it was passed on, and got worse or is over."""
        rank, before = SEVERITIES.index(alert.severity), self._passed.get(alert.id)
        if before is not None and alert.closed is not None:
            del self._passed[alert.id]
            event = "closed"
        elif rank <= self._least and _by_itself(alert) and (before is None or rank < before):
            self._passed[alert.id] = rank
            event = "opened" if before is None else "worse"
        else:
            return
        hook.pass_on(json.dumps(_object(event, alert, by_id, snapshot)) + "\n")

    def _show(self, snapshot: Snapshot) -> None:
        worst = [each for each in snapshot.alerts if each.over is None and place(each, snapshot.phase) == "now"]
        title, text = (worst[-1].title, worst[-1].first_step) if worst else ("netwatch", "")
        why = notice.show(title, text)
        if why is not None and why != self._problem:
            self._say(words.no_notice(why))
        self._problem = why


def _by_itself(alert: AlertView) -> bool:
    """It is open, no other one explains it, and it is neither known nor quiet."""
    return alert.over is None and place(alert, "building") in SEVERITIES


def _object(event: str, alert: AlertView, by_id: Mapping[int, AlertView], snapshot: Snapshot) -> dict[str, Any]:
    """The alert as the JSON document has it, and what happened to it."""
    return {
        "schema": SCHEMA, "event": event, "at": seconds(snapshot.now), "phase": snapshot.phase,
        "alert": alert_object(alert, by_id),
    }  # fmt: skip
