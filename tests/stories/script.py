"""A small script language for stories of the rules, so that a story reads aloud.

A story is a list of lines: what is heard (``at``, ``every``, ``stream``, ``quiet``, ``mark``), where we listen (``listening``),
and what is to be told of it (``expect``, ``expect_silent``). ``story`` plays it whole, in small batches that begin anywhere
inside a tick, and, if it is short, with every tick folded alone. All must give the same picture; then each expectation is
checked. Seconds count from the story's beginning.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, TypeAlias
from unittest.mock import patch

from netwatch.alerts.phases import SHOW
from netwatch.numbers import DEFAULTS, Numbers
from netwatch.packets.batch import Port
from netwatch.plan.expected import Expected as Expectation
from netwatch.plan.rig import Plan
from netwatch.story.snapshot import AlertView, Snapshot
from tests.stories import frames
from tests.stories.boxes import LAPTOP, Box, box
from tests.stories.playing import NS, START, Event, Heard, Told, difference, picture, play

Span: TypeAlias = tuple[float, float]
LOUD = ("now", "soon")
SHORT = 60
"""Seconds of a story whose every tick is folded alone, too; longer ones would make the tests slow."""


def ns(seconds: float) -> int:
    """A moment of the story."""
    return START + round(seconds * NS)


# ---- what is heard ----


def at(seconds: float, *heard: bytes, port: int = 0, direction: int = 0) -> list[Event]:
    """These frames at that second, 1 ms apart."""
    return [Heard(ns(seconds) + i * 1_000_000, frame, port, direction) for i, frame in enumerate(heard)]


def every(seconds: float, *heard: bytes, start: float = 0, stop: float, port: int = 0) -> list[Event]:
    """These frames again and again; the last time before ``stop``."""
    times = int((stop - start) / seconds - 1e-9) + 1
    return [event for i in range(times) for event in at(start + i * seconds, *heard, port=port)]


def stream(
    universe: int = 1, source: str | Box = "gatehouse desk", hz: float = 40, start: float = 0, stop: float = 10, *,
    levels: bytes | Callable[[int], bytes] = bytes(512), first: int = 0, step: int = 1, lose: Collection[int] = (),
    goodbye: bool = False, port: int = 0, direction: int = 0, **frame: Any,
) -> list[Event]:  # fmt: skip
    """sACN at a steady rate. ``lose`` = the packets that never get here; ``goodbye`` = three packets say that it ends."""
    out: list[Event] = []
    count = int((stop - start) * hz)
    for i in range(count + 3 * goodbye):
        if i not in lose:
            options = frame.get("options", 0) | (frames.TERMINATED if i >= count else 0)
            shown = levels(i) if callable(levels) else levels
            packet = frames.e131(source, universe, first + i * step, shown, **{**frame, "options": options})
            out.append(Heard(ns(start + i / hz), packet, port, direction))
    return out


def artnet(
    universe: int = 0, source: str | Box = "gatehouse desk", hz: float = 40, start: float = 0, stop: float = 10, *,
    step: int = 1, counted: bool = True, levels: bytes = bytes(512), port: int = 0, **frame: Any,
) -> list[Event]:  # fmt: skip
    """ArtDmx at a steady rate; its numbers go from 1 to 255, or are 0 throughout (Art-Net 4 p.60)."""
    number = (lambda i: i * step % 255 + 1) if counted else (lambda i: 0)
    return [
        Heard(ns(start + i / hz), frames.artdmx(source, universe, number(i), levels, **frame), port)
        for i in range(int((stop - start) * hz))
    ]


@dataclass(frozen=True)
class Quiet:
    """Nothing is heard for so long behind all else."""

    seconds: float


def quiet(seconds: float) -> Quiet:
    """Nothing more is heard for so long."""
    return Quiet(seconds)


def mark(seconds: float, *, dropped: int | None = None, port: int = 0, **facts: Any) -> list[Event]:
    """What the live source says of this laptop (its counters count from the start)."""
    return [Told(ns(seconds), port, None, dropped, facts or None)]


# ---- where we listen ----


@dataclass(frozen=True)
class Listening:
    """The ports, and what the person says of them."""

    vantage: str | None
    ports: tuple[Port, ...]


def listening(vantage: str | None = None, laptop: Box | None = LAPTOP, ports: int = 1, **port: Any) -> Listening:
    """From where; ``laptop`` = the box that we are, None = not known."""
    macs = () if laptop is None else (frames.mac(laptop.mac),)
    return Listening(vantage, tuple(Port(f"eth{i}", 1, macs, **port) for i in range(ports)))


# ---- what is to be told ----


@dataclass(frozen=True)
class Expected:
    """Exactly one alert of this code (and subject); spans in seconds."""

    code: str
    opened: Span | None
    closed: Span | str | None
    over: str | None
    facts: Mapping[str, Any]
    fields: Mapping[str, Any]


def expect(
    code: str, *, opened: Span | None = None, closed: Span | str | None = "either", over: str | None = None,
    facts: Mapping[str, Any] | None = None, **fields: Any,
) -> Expected:  # fmt: skip
    """One alert, with these fields and at least these facts; ``over`` = the code that explains it; ``closed=None`` = open."""
    return Expected(code, opened, closed, over, facts or {}, fields)


@dataclass(frozen=True)
class Silent:
    """No alert of these codes; without codes none that is loud."""

    codes: tuple[str, ...]


def expect_silent(*codes: str) -> Silent:
    """Never one of these; without codes nothing at 'soon' or above."""
    return Silent(codes)


# ---- the play ----


@dataclass
class Story:
    """A story's lines, sorted."""

    events: list[Event] = field(default_factory=list)
    expected: list[Expected | Silent] = field(default_factory=list)
    listening: Listening = Listening(None, (Port("eth0", 1),))
    quiet: float = 0

    def add(self, line: Line) -> None:
        if isinstance(line, Expected | Silent):
            self.expected.append(line)
        elif isinstance(line, Listening):
            self.listening = line
        elif isinstance(line, Quiet):
            self.quiet += line.seconds
        else:
            self.events += line

    def heard(self) -> list[Event]:
        """All events in order of time; a mark at the end lets the quiet pass."""
        events = sorted(self.events, key=lambda event: event.time)
        return events + ([Told(events[-1].time + round(self.quiet * NS))] if self.quiet else [])


Line: TypeAlias = "Iterable[Event] | Quiet | Listening | Expected | Silent"


def story(
    *lines: Line, numbers: Numbers = DEFAULTS, plan: Expectation | Plan | None = None, phase: str = SHOW
) -> Snapshot:
    """Plays the story and checks what it expects; ``plan`` = the expected rig, ``phase`` = in which the story begins."""
    script = Story()
    for line in lines:
        script.add(line)
    events, ports = script.heard(), script.listening.ports
    given: dict[str, Any] = {"vantage": script.listening.vantage, "numbers": numbers, "plan": plan, "phase": phase}
    told = picture(play(events, ports, **given))
    assert not difference(told, picture(play(events, ports, cut=lambda place: place % 17 == 3, **given)))
    if events[-1].time - events[0].time < SHORT * NS:
        with patch("netwatch.story.play._MOST_CELLS", 1):
            assert not difference(told, picture(play(events, ports, **given)))
    for expected in script.expected:
        _check(expected, told)
    return told


def _check(expected: Expected | Silent, told: Snapshot) -> None:
    if isinstance(expected, Silent):
        loud = [each for each in told.alerts if (each.code in expected.codes if expected.codes else each.severity in LOUD)]
        assert not loud, _all(told)
        return
    mine = [
        each
        for each in told.alerts
        if each.code == expected.code and expected.fields.get("subject", each.subject) == each.subject
    ]
    assert len(mine) == 1, _all(told)
    alert = mine[0]
    for name, value in expected.fields.items():
        assert getattr(alert, name) == value, (name, getattr(alert, name), _all(told))
    assert alert.facts == {**alert.facts, **expected.facts}, alert.facts
    _check_times(expected, alert)
    above = next((each.code for each in told.alerts if each.id == alert.over), None)
    assert above == expected.over, _all(told)


def _check_times(expected: Expected, alert: AlertView) -> None:
    if expected.opened is not None:
        assert ns(expected.opened[0]) <= alert.opened <= ns(expected.opened[1]), (alert.opened - START) / NS
    if expected.closed is None:
        assert alert.closed is None, (alert.closed - START) / NS
    elif expected.closed != "either":
        assert alert.closed is not None, "still open"
        assert ns(expected.closed[0]) <= alert.closed <= ns(expected.closed[1]), (alert.closed - START) / NS


def _all(told: Snapshot) -> str:
    lines = [
        f"{each.id} {each.code} {each.subject} {each.severity} {each.certainty} opened {(each.opened - START) / NS:.2f}"
        f" closed {None if each.closed is None else (each.closed - START) / NS} over {each.over}: {each.title} {dict(each.facts)}"
        for each in told.alerts
    ]
    return "\n".join(["told was:", *lines, *(f"  {each.interface}: {each.vantage} {each.reasons}" for each in told.listening)])


def source(one: str | Box) -> str:
    """The subject of an sACN source."""
    return f"source:{box(one).cid.hex()}"
