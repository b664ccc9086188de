"""What a person said, as marks carry it: a word, the phase, 'known, leave it' and its taking back, 'mended'; and the battery.

A stranger's file may hold anything in these facts: what can't be read is passed over.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from netwatch.alerts.alert import Accepted, Alert, Event
from netwatch.alerts.catalogue import RULES
from netwatch.alerts.known import Left
from netwatch.alerts.rule import SEVERITIES
from netwatch.decode.text import clean
from netwatch.packets.batch import LATEST

if TYPE_CHECKING:
    from netwatch.story.play import Player

MOST_WORDS = 256
"""Words that are kept, the newest. Common practice, no source: more than anybody says in one job."""
LONGEST = 200
"""Characters of a word or a reason."""


@dataclass(frozen=True, slots=True)
class Word:
    """A person marked a moment (ns)."""

    at: int
    text: str


class Said:
    """All words so far."""

    def __init__(self) -> None:
        self.words: list[Word] = []
        self.power = ""
        """Of the laptop's battery, '' on mains."""

    def hear(self, player: Player, facts: Mapping[str, Any], time: int) -> list[tuple[Event, Alert]]:
        """What a mark's facts say at fold time ``time``: does it, and gives what happened to alerts."""
        if "word" in facts:
            self._mark(player, Word(_earlier(player, facts.get("at"), time), clean(str(facts["word"]), LONGEST)))
        if "power" in facts:
            self.power = clean(str(facts["power"]), LONGEST)
        phase = facts.get("phase")
        if isinstance(phase, str) and player.phases.turn(time, phase):
            player.happenings.said(time, "phase", phase)
        return self._alerts(player, facts, time)

    def _mark(self, player: Player, word: Word) -> None:
        player.happenings.said(word.at, "word", word.text)
        self.words.append(word)
        del self.words[:-MOST_WORDS]

    def _alerts(self, player: Player, facts: Mapping[str, Any], time: int) -> list[tuple[Event, Alert]]:
        engine, events = player.judge.engine, list[Event]()
        if (which := _which(facts.get("known"))) is not None:
            left = _left(player, facts["known"], *which, time)
            events += engine.leave(left, time) if left is not None else []
        if (which := _which(facts.get("heed"))) is not None:
            events += engine.heed(*which, time)
        if (which := _which(facts.get("mended"))) is not None:
            for key in _open(player, *which):
                events += engine.mend(key, time)
        alerts = engine.alerts() if events else {}
        return [(event, alerts[event.alert]) for event in events]


def _earlier(player: Player, at: object, time: int) -> int:
    """When a word was meant, where that can be; else when it came."""
    begun = player.network.begun
    return at if isinstance(at, int) and begun is not None and begun <= at <= time else time


def _which(told: object) -> tuple[str, str, str] | None:
    """(code, place, subject) of what a person means; '' as the place is anywhere."""
    if not isinstance(told, Mapping):
        return None
    code, where, subject = told.get("code"), told.get("where", ""), told.get("subject")
    if isinstance(code, str) and code in RULES and isinstance(where, str) and isinstance(subject, str):
        return code, where, subject
    return None


def _left(player: Player, told: Mapping[str, Any], code: str, where: str, subject: str, time: int) -> Left | None:
    """What is left be; what is not told of it is as it stands now. None where nothing is there and nothing told."""
    severity, of = told.get("worst"), told.get("of")
    if severity not in SEVERITIES:
        as_it_is = player.judge.engine.as_it_is(code, where, subject)
        if as_it_is is None:
            return None
        severity, members = as_it_is
    else:
        members = frozenset(map(str, of)) if isinstance(of, list | tuple) else None
    until, at = told.get("until"), told.get("at", time)
    accepted = Accepted(
        at if _is_time(at) else None, until if _is_time(until) else None, clean(str(told.get("why") or ""), LONGEST), severity,
        members,
    )
    return Left(code, where, subject, accepted)


def _is_time(value: object) -> bool:
    return type(value) is int and 0 <= value <= LATEST


def _open(player: Player, code: str, where: str, subject: str) -> Iterable[tuple[str, int, str]]:
    """Keys of the open alerts that are meant."""
    return [
        alert.key for alert in player.judge.engine.alerts().values()
        if alert.closed is None and (alert.code, alert.subject) == (code, subject)
        and where in ("", player.network.place(alert.segment))
    ]  # fmt: skip
