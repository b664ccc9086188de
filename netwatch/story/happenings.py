"""What happened, in order: alerts opened and closed, holes, the clock, where we listen, marks. Bounded."""

from __future__ import annotations

from netwatch.alerts.alert import Alert, Event
from netwatch.decode.text import clean
from netwatch.network.clock import NS, ClockEvent
from netwatch.packets.batch import Mark
from netwatch.story.snapshot import Happening
from netwatch.words import title

_MOST = 4_096


class Happenings:
    """The newest 4,096 happenings."""

    def __init__(self) -> None:
        self.lines: list[Happening] = []
        self.left_out = 0

    def alert(self, event: Event, alert: Alert) -> None:
        """An alert opened, closed, folded or changed; ``alert`` = how it stood then."""
        self._add(Happening(event.at, event.what, title(alert.code, alert.facts), event.alert))

    def clock(self, event: ClockEvent) -> None:
        """A hole in time, or a clock set back."""
        gap = abs(event.at - event.before) / NS
        if event.what == "hole":
            self._add(Happening(event.at, "hole", f"Nothing was recorded for {gap:.0f} s"))
        elif event.what == "clock-set-back":
            self._add(Happening(event.at, event.what, f"The clock of the recording laptop was set back by {gap:.0f} s"))

    def vantage(self, at: int, interface: str, vantage: str) -> None:
        """It became known where we listen."""
        self._add(Happening(at, "listening", f"{interface}: {vantage}"))

    def mark(self, mark: Mark, at: int) -> None:
        """Something that was sent on request, or that recording, telling or the laptop has to say."""
        for what in ("sent", "recording", "laptop", "telling"):
            if mark.facts and what in mark.facts:
                # A stranger's file may hold anything here.
                self._add(Happening(at, what, clean(str(mark.facts[what]))))

    def said(self, at: int, what: str, text: str) -> None:
        """A person's word, or a phase."""
        self._add(Happening(at, what, text))

    def _add(self, line: Happening) -> None:
        self.lines.append(line)
        if len(self.lines) > _MOST:
            del self.lines[0]
            self.left_out += 1
