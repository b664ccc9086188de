"""Two sessions side by side: which boxes are the same, and whether what is missing in one could have been heard there."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

from netwatch.numbers import Numbers
from netwatch.report.masked import personal
from netwatch.story.course import CourseView
from netwatch.story.document import address_key
from netwatch.story.evening import Evening
from netwatch.story.snapshot import Snapshot, StreamView
from netwatch.words.compare import A, B
from netwatch.words.phrases import listing, name

NS = 1_000_000_000
_WIDTH = {"mirror": 3, "ordinary": 2, "limited": 1, "wifi": 1, "unknown": 0}
"""How much is heard from a place."""


@dataclass(frozen=True, slots=True)
class Box:
    """One box, by its MAC, on whatever networks it was heard."""

    mac: str
    addresses: tuple[str, ...]
    """The newest last."""
    names: tuple[str, ...]
    asks: tuple[int, ...]
    firmware: tuple[str, ...]
    outputs: tuple[int, ...]

    @property
    def who(self) -> str:
        """'orchard (192.168.77.86)', '10.0.0.22 (MAC 02:00:00:00:00:16)'."""
        first = name(self.names[0], "") if self.names else ""
        if first:
            return f"{first} ({listing(self.addresses[-1:]) or self.mac})"
        return f"{self.addresses[-1]} (MAC {self.mac})" if self.addresses else f"MAC {self.mac}"


@dataclass(frozen=True)
class Side:
    """One of both sessions."""

    snapshot: Snapshot
    course: CourseView | None
    boxes: Sequence[Box]
    """Without this laptop and people's own devices."""
    people: int
    place: str
    """The widest place where it was heard."""
    lasts: int
    """ns."""


def side(evening: Evening) -> Side:
    """What is compared of a session."""
    snapshot = evening.snapshot
    hidden = personal(snapshot)
    macs = dict.fromkeys(host.mac for host in snapshot.hosts if host.mac and not host.ours and host.mac not in hidden)
    people = len({host.mac for host in snapshot.hosts if host.mac in hidden and not host.ours})
    places = [each.vantage for each in snapshot.listening]
    return Side(
        snapshot, evening.course, [_box(snapshot, mac) for mac in macs], people,
        max(places, key=lambda place: _WIDTH[place], default="unknown"), (snapshot.last or 0) - (snapshot.first or 0),
    )  # fmt: skip


def _box(snapshot: Snapshot, mac: str) -> Box:
    hosts = sorted((host for host in snapshot.hosts if host.mac == mac), key=lambda host: host.last)
    nodes = [node for node in snapshot.nodes if node.mac == mac]
    return Box(
        mac, _unique(address for host in hosts for address in host.addresses),
        _unique(name for host in hosts for name, _ in host.names),
        tuple(sorted({each for host in hosts for each in host.asks})), _unique(str(node.firmware[1]) for node in nodes),
        tuple(sorted({each for node in nodes for each in node.outputs})),
    )  # fmt: skip


def _unique(texts: Iterable[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(texts))


@dataclass(frozen=True)
class Pair:
    """A and B."""

    a: Side
    b: Side
    numbers: Numbers

    def short(self, each: Side) -> bool:
        """It is too short for boxes that speak rarely, and the other one is much longer."""
        other = self.b if each is self.a else self.a
        return each.lasts < self.numbers.compare_least_s * NS and each.lasts * 2 < other.lasts

    def unsure(self, letter: str, *, rare: bool = False) -> str | None:
        """``letter`` if what is missing there may only not be heard there; ``rare`` = it may also speak too rarely."""
        here, other = (self.a, self.b) if letter == A else (self.b, self.a)
        return letter if _WIDTH[here.place] < _WIDTH[other.place] or (rare and self.short(here)) else None

    def unheard(self, letter: str, streams: Sequence[StreamView]) -> str | None:
        """``letter`` if light that is missing there may only not be passed on to the laptop."""
        here = self.a if letter == A else self.b
        if here.place in ("mirror", "limited") or any(each.destination == "broadcast" for each in streams):
            return self.unsure(letter)
        wanted = {each.universe for each in here.snapshot.groups if each.wanted_here == "wanted"}
        unasked = {each.universe for each in here.snapshot.groups if each.wanted_here == "not wanted"}
        flooded = any(each.universe in unasked and not each.silent for each in here.snapshot.streams)
        heard = flooded or all(each.universe in wanted for each in streams)
        return self.unsure(letter) if heard else letter

    @cached_property
    def same(self) -> Sequence[tuple[Box, Box]]:
        """Boxes that stand in both: by MAC, else by a name or an address that only one on each side has."""
        rest_a, rest_b = {each.mac: each for each in self.a.boxes}, {each.mac: each for each in self.b.boxes}
        both = [(rest_a[mac], rest_b[mac]) for mac in rest_a if mac in rest_b]
        for one, other in both:
            del rest_a[one.mac], rest_b[other.mac]
        for of in ("names", "addresses"):
            known_a, known_b = _alone(rest_a.values(), of), _alone(rest_b.values(), of)
            for key in known_a:
                one, found = known_a[key], known_b.get(key)
                if found is not None and one.mac in rest_a and found.mac in rest_b:
                    both.append((rest_a.pop(one.mac), rest_b.pop(found.mac)))
        return sorted(both, key=lambda pair: _order(pair[0]))

    def boxes_in_both(self) -> bool:
        """Is any box the same?"""
        return bool(self.same)

    def alone(self, letter: str) -> Sequence[Box]:
        """Boxes that stand on one side only."""
        place = 0 if letter == A else 1
        paired = {pair[place].mac for pair in self.same}
        return sorted((each for each in (self.a if letter == A else self.b).boxes if each.mac not in paired), key=_order)


def _order(box: Box) -> tuple[object, ...]:
    return (*(address_key(box.addresses[-1]) if box.addresses else (2,)), box.mac)


def _alone(boxes: Iterable[Box], of: str) -> dict[str, Box]:
    """By name or newest address, where just one has it."""
    found: dict[str, list[Box]] = {}
    for box in boxes:
        for key in box.names if of == "names" else box.addresses[-1:]:
            found.setdefault(key, []).append(box)
    return {key: boxes[0] for key, boxes in found.items() if len(boxes) == 1}


__all__ = ["A", "B", "Box", "Pair", "Side", "side"]
