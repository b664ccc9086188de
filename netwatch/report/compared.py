"""Two sessions compared, as text and as a JSON document."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import tzinfo
from typing import Any

from netwatch import words
from netwatch.numbers import Numbers
from netwatch.report.differences import Difference, caveats, differences
from netwatch.report.layout import Line, hang, painted, wrap
from netwatch.report.times import Times
from netwatch.story.document import seconds
from netwatch.story.evening import Evening
from netwatch.words import compare as said
from netwatch.words.phrases import count

SCHEMA = 1
MARGIN = 12
MOST = 100
"""Sentences that are told; the document has all."""


@dataclass(frozen=True, slots=True)
class Compared:
    """Both sessions, as they are called, and what differs."""

    sides: tuple[tuple[str, str, Evening], ...]
    """(A or B, name, session)."""
    care: Sequence[str]
    differences: Sequence[Difference]

    @classmethod
    def of(cls, a: Evening, b: Evening, names: Sequence[str], numbers: Numbers) -> Compared:
        """``names`` = what both are called."""
        sides = ((said.A, names[0], a), (said.B, names[1], b))
        return cls(sides, caveats(a, b, numbers), differences(a, b, numbers))


def render(compared: Compared, *, colour: bool, width: int, zone: tzinfo | None = None) -> str:
    """Lines of at most ``width`` cells, each ended by a newline."""
    lines = [Line(text) for side in compared.sides for text in wrap(_told(*side, zone), width)]
    lines += [Line(text) for each in compared.care for text in hang("But", each, width, 4)]
    found = compared.differences
    lines += [Line(""), *(Line(text, "head") for text in wrap(said.head(len(found)) if found else said.NOTHING, width))]
    for each in found[:MOST]:
        shown = words.SEVERITY[each.severity]
        body = hang(f"{shown.mark:2} {shown.word}", each.text, width, MARGIN)
        lines += [Line(text, each.severity if not i else "") for i, text in enumerate(body)]
    if len(found) > MOST:
        lines.append(Line(said.more(len(found) - MOST)))
    return painted(lines, colour)


def _told(letter: str, name: str, evening: Evening, zone: tzinfo | None) -> str:
    snapshot = evening.snapshot
    span = Times(snapshot.first, zone).span(snapshot.first or 0, snapshot.last or 0)
    places = [f"{each.interface} ({words.VANTAGE[each.vantage].name})" for each in snapshot.listening]
    return said.side(letter, name, span, places, count(snapshot.packets, "packet", "packets"))


def data(compared: Compared) -> dict[str, Any]:
    """Plain values that ``json.dumps`` takes."""
    return {
        "schema": SCHEMA, **{letter.lower(): _side(evening, name) for letter, name, evening in compared.sides},
        "care": list(compared.care), "differences": [_difference(each) for each in compared.differences],
    }  # fmt: skip


def _side(evening: Evening, name: str) -> dict[str, Any]:
    snapshot = evening.snapshot
    return {
        "name": name, "first": seconds(snapshot.first), "last": seconds(snapshot.last), "packets": snapshot.packets,
        "listening": [{"interface": each.interface, "from": each.vantage} for each in snapshot.listening],
    }  # fmt: skip


def _difference(each: Difference) -> dict[str, Any]:
    facts = {name: list(value) if isinstance(value, tuple) else value for name, value in each.facts.items()}
    return {"what": each.what, "severity": each.severity, "text": each.text, "facts": facts}
