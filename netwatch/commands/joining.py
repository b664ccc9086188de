"""What keys and options may do outside the screen: join with consent; put what a person says into the input."""

from __future__ import annotations

import json
import time
from collections.abc import Mapping
from pathlib import Path
from typing import Any

from .. import private
from ..asking.consent import ANNOUNCED, Question, earlier_run, leave_warning, listed, parse, question
from ..asking.join import Event, Joiner
from ..exits import Stop
from ..network.network import place
from ..packets.machine import interfaces
from . import known_file, new_file
from .glance import Glance
from .session import Session

NS = 1_000_000_000


class LiveActions:
    """Acts on a live session. Each method returns at once, and raises ValueError with one sentence where it can't."""

    def __init__(self, session: Session, rule: str, memory: Path) -> None:
        """``rule`` is the setting ``join``: ask, never or always. ``memory`` remembers when groups were last left."""
        self._session, self._rule, self._memory = session, rule, memory
        self._joiner = Joiner(session.source.ports[0].name)
        self.page: Glance | None = None
        """The page for a second screen, where one is served."""
        self._announced = False
        """The person agreed to whatever is announced."""

    def second_screen(self) -> str | None:
        """Where the page for a second screen is, with a code to scan; None = it is not served."""
        return None if self.page is None else f"{self.page.address}\n\n{self.page.code()}"

    # ---- joining ----

    @property
    def unasked(self) -> bool:
        """The settings say yes beforehand; on Wi-Fi, which all share, it is asked each time."""
        return self._rule == "always" and self._session.source.ports[0].kind != "wifi"

    @property
    def joined(self) -> tuple[int, ...]:
        """Universes that are joined now, the announcements' among them."""
        return self._joiner.joined

    def may_join(self) -> str | None:
        """Why joining has to wait, or is switched off; None = go on."""
        if self._rule == "never":
            return "Joining is switched off by the setting join = \"never\"."
        wait = self.wait()
        if wait > 0:
            return (f"Wait {wait:.0f} s more: what arrives unasked in the first {self._first():.0f} s shows whether the switch "
                    "passes everything on, and a join would spoil that.")
        return None

    def wait(self) -> float:
        """Seconds until the first join."""
        first = self._session.player.network.begun
        return self._first() if first is None else max(0.0, self._first() - (time.time_ns() - first) / NS)

    def ask(self, universes: str) -> Question:
        """What joining would mean."""
        snapshot = self._session.snapshot()
        arriving = {each.universe for each in snapshot.streams
                    if each.protocol == "e131" and each.destination == "group" and not each.silent}
        port = self._session.source.ports[0]
        speed = interfaces().get(port.name)
        return question(
            parse(universes), arriving=arriving, announced=self._session.announced(), joined=self._joiner.joined,
            query_heard=bool(snapshot.queriers), kind=port.kind, speed=speed.speed if speed else None,
        )

    def before_join(self, universes: str) -> str:
        """The sentence to agree to."""
        refusal = self.may_join()
        if refusal is not None:
            raise ValueError(refusal)
        return self.ask(universes).sentence

    def join(self, universes: str) -> str:
        """Join what does not arrive anyway; what was done."""
        refusal = self.may_join()
        if refusal is not None:
            raise ValueError(refusal)
        self._announced |= parse(universes) == ANNOUNCED
        return self._record(self._joiner.join(self.ask(universes).join, ()))

    def follow(self) -> None:
        """Join what was announced since, where that was agreed to."""
        if self._announced:
            new = self.ask(ANNOUNCED).join
            if new:
                self._record(self._joiner.join(new, ()))

    def before_quit(self) -> str | None:
        """A warning before the groups are left in a show."""
        return leave_warning(self._joiner.joined, self._session.player.phase)

    def close(self) -> None:
        """Leave all, and remember when."""
        if self._joiner.joined:
            self._record(self._joiner.close())
            _remember(self._memory)
        else:
            self._joiner.close()

    def earlier(self) -> str | None:
        """What an earlier run's joins may still do to the view."""
        return earlier_run(_remembered(self._memory), time.time_ns())

    # ---- words and the phase ----

    def mark(self, word: str, at: int) -> None:
        """Put a word into the record; it was meant at ``at`` (ns)."""
        self._session.source.say({"word": word, "at": at})

    def set_phase(self, phase: str) -> None:
        """'building' or 'show'."""
        self._session.source.say({"phase": phase})

    def leave(self, alert: int, why: str, *, today: bool) -> None:
        """'Known, leave it', for today or for this job."""
        until = known_file.today_ends(time.time_ns(), self._session.player.numbers.day_ends_h) if today else None
        self._session.source.say({"known": {**self._which(alert), "until": until, "why": why}})

    def heed(self, alert: int) -> None:
        """Take 'known' back."""
        self._session.source.say({"heed": self._which(alert)})

    def mended(self, alert: int) -> None:
        """It is mended: closed at once, and watched on."""
        self._session.source.say({"mended": self._which(alert)})

    def _which(self, number: int) -> dict[str, str]:
        """An alert as marks name it."""
        found = next((each for each in self._session.snapshot().alerts if each.id == number), None)
        if found is None or found.closed is not None:
            raise ValueError("This alert is over; there is nothing to be said of it any more.")
        return {"code": found.code, "where": place(found.interface, found.vlan), "subject": found.subject}

    def _first(self) -> float:
        return self._session.player.numbers.listen_first_s

    def _record(self, events: list[Event]) -> str:
        done: dict[str, list[int]] = {}
        for event in events:
            done.setdefault(event["what"], []).append(event["universe"])
        text = "; ".join(f"{what} {listed(universes)}" for what, universes in done.items()) or "nothing to do"
        failures = [event["why"] for event in events if event["what"] == "failed"]
        told: Mapping[str, Any] = {"sent": text, "events": [{**event} for event in events]}
        if events:
            self._session.source.say(told)
        return text[0].upper() + text[1:] + (f". {failures[0]}" if failures else ".")


def _remember(memory: Path) -> None:
    """A folder that can't be written is no reason to stop."""
    try:
        private.folder(memory.parent)
        new_file.write(memory, json.dumps({"left": time.time_ns()}).encode())
    except (OSError, Stop):
        return


def _remembered(memory: Path) -> int | None:
    try:
        left = json.loads(memory.read_text(encoding="utf-8")).get("left")
    except (OSError, ValueError, AttributeError):
        return None
    return left if isinstance(left, int) else None
