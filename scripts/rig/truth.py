"""What really happened: who did what, and when, beside the captures."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass, field
from pathlib import Path


@dataclass(frozen=True, slots=True)
class Event:
    """``t`` in seconds since 1970, ``rel`` since the captures began; ``cause`` is the name that expectations use."""

    t: float
    rel: float
    actor: str
    what: str
    cause: str | None = None


@dataclass
class Truth:
    """The log of one run."""

    scenario: str
    t0: float = field(default_factory=time.time)
    hosts: dict[str, dict[str, str | None]] = field(default_factory=dict)
    events: list[Event] = field(default_factory=list)
    ended: float = 0.0
    listener: Callable[[Event], None] | None = None
    _lock: threading.Lock = field(default_factory=threading.Lock)

    def begin(self) -> None:
        """The captures run from now on."""
        self.t0 = time.time()

    def say(self, actor: str, what: str, cause: str | None = None, at: float | None = None) -> None:
        """Note an event, now or at ``at`` (seconds since 1970)."""
        t = time.time() if at is None else at
        event = Event(round(t, 6), round(t - self.t0, 3), actor, what, cause)
        with self._lock:
            self.events.append(event)
        if self.listener:
            self.listener(event)

    def write(self, path: Path) -> None:
        events = sorted((asdict(event) for event in self.events), key=lambda event: event["t"])
        for event in events:
            if event["cause"] is None:
                del event["cause"]
        document = {"scenario": self.scenario, "t0": self.t0, "seconds": round(self.ended - self.t0, 3), "hosts": self.hosts,
                    "events": events}
        path.write_text(json.dumps(document, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
