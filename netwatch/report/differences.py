"""What differs between two sessions, worst first. Which interface each was heard on does not matter."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from netwatch import words
from netwatch.numbers import Numbers
from netwatch.report import apart_boxes, apart_light
from netwatch.report.findings import RANK
from netwatch.report.pair import Pair, side
from netwatch.report.text import distrust
from netwatch.story.evening import Evening
from netwatch.words import compare as said

NS = 1_000_000_000
_SEVERITY = {
    "server-new": "soon", "source-missing": "soon", "universes-missing": "soon", "outputs": "soon", "server-missing": "soon",
    "server-changed": "soon", "box-missing": "quality", "box-changed": "quality", "box-moved": "quality", "priority": "quality",
    "asks": "quality", "querier-version": "quality", "querier-interval": "quality", "loss": "quality", "identity": "tidy",
    "box-name": "tidy", "firmware": "tidy",
}  # fmt: skip
"""What is not here is a note, unless the difference says more of itself ('grave')."""

_ALONE = ("box-missing", "box-new")


@dataclass(frozen=True, slots=True)
class Difference:
    """One of them. ``text`` is a whole sentence."""

    what: str
    """A kind of ``netwatch.words.compare.KINDS``."""
    severity: str
    text: str
    facts: Mapping[str, Any]


def differences(a: Evening, b: Evening, numbers: Numbers) -> list[Difference]:
    """Of B against A."""
    pair = Pair(side(a), side(b), numbers)
    light = list(apart_light.apart(pair))
    # A box of which it is told that it sends no light any more need not be told of again.
    told = {address for what, facts in light if what.startswith("source-") for address in facts["addresses"]}
    boxes = [each for each in apart_boxes.apart(pair) if each[0] not in _ALONE or not told & set(each[1]["addresses"])]
    return sorted((_difference(what, facts) for what, facts in (*boxes, *light)), key=lambda each: RANK[each.severity])


def _difference(what: str, facts: Mapping[str, Any]) -> Difference:
    severity = facts.get("grave") or _SEVERITY.get(what, "note")
    if facts.get("unsure"):
        severity = "note"
    told = {name: value for name, value in facts.items() if name != "grave"}
    return Difference(what, severity, said.sentence(what, facts), told)


def caveats(a: Evening, b: Evening, numbers: Numbers) -> list[str]:
    """Why the comparison is to be taken with care."""
    pair = Pair(side(a), side(b), numbers)
    told = []
    if pair.a.place != pair.b.place:
        told.append(said.places_differ(words.VANTAGE[pair.a.place].name, words.VANTAGE[pair.b.place].name))
    for letter, each, evening in ((said.A, pair.a, a), (said.B, pair.b, b)):
        if pair.short(each):
            told.append(said.too_short(letter, each.lasts / NS))
        told += [said.not_whole(letter, why) for why in distrust(evening.snapshot, evening.files)]
    if pair.a.boxes and pair.b.boxes and not pair.boxes_in_both():
        told.append(said.NO_COMMON_BOX)
    return told
