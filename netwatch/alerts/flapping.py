"""The rule about links that come and go: L4. What a box says when its link is back is all that can be heard of it."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, field
from typing import NamedTuple
from weakref import WeakKeyDictionary

from netwatch.alerts.look import Looked
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who_is
from netwatch.decode.text import mac_number
from netwatch.network.clock import FOR_EVER
from netwatch.network.network import Network
from netwatch.network.starts import Begun

_ARRIVAL = 5 * NS
"""A box that is new says so for so long (common practice, no source)."""

Start = tuple[int, int]
"""(ns, packet number)."""
Box = tuple[int, str]
"""(segment, MAC)."""


class _Rig:
    """What belongs to the rig, worked out once for all boxes that are looked at."""

    def __init__(self, network: Network, asked: Collection[Box]) -> None:
        """``asked`` = boxes that are looked at."""
        self.network, self._expected = network, expected_of(network)
        self.boxes: set[Box] = {(bind.segment, bind.mac) for bind in network.nodes.binds.values()} if asked else set()
        """Nodes, and receivers of light where they matter."""
        if not self.boxes.issuperset(asked):
            self.boxes.update(network.multicast.listeners)
        self._own: dict[int, set[int]] = {}

    def own(self, segment: int) -> set[int]:
        """Our MACs there."""
        if segment not in self._own:
            self._own[segment] = self.network.own(segment)
        return self._own[segment]

    def holds(self, box: Box) -> bool:
        """A node, a receiver of light, or a planned box."""
        return box in self.boxes or (self._expected is not None and self._expected.by_mac(box[1]) is not None)


class _About(NamedTuple):
    """What a box is, whenever it started."""

    who: str
    universes: list[int]
    covers: list[str]
    sends: bool
    """Light."""


@dataclass(slots=True)
class _Last:
    """What was made of boxes when the rule was asked last: dozens may start without end, and few of them have news."""

    grounds: tuple[int, int]
    """Any box may be another one with the next revision of the slow tables, parts apart; or be gone."""
    turn: int = -1
    rig: set[Box] = field(default_factory=set)
    about: dict[Box, _About] = field(default_factory=dict)
    first: dict[Box, int] = field(default_factory=dict)
    """ns of the first start that counts: what was made of a box stands until that is too old."""
    ends: dict[Box, int] = field(default_factory=dict)
    """ns of the start without which there are too few, where there are enough."""
    found: dict[Box, Finding] = field(default_factory=dict)


class LinkFlapping:
    """L4: a box starts anew again and again, spanning tree changes without end, or this laptop's own link comes and goes."""

    rule = Rule(
        "link-flapping", certainty={"mirror": "certain", "ordinary": "certain", "wifi": "hint", "limited": "certain"},
        explains=("source-lost", "universe-silent", "packets-lost", "controller-left", "poll-unanswered"),
        numbers=("starts_least", "starts_within_s", "tree_changes", "tree_within_s", "tree_new_box_s"), note_in_building=True,
    )

    def __init__(self) -> None:
        self._last: WeakKeyDictionary[Network, _Last] = WeakKeyDictionary()

    def look(self, network: Network, now: int) -> Looked:
        looked, least = Looked(), int(network.numbers.starts_least)
        within = int(network.numbers.starts_within_s * NS)
        boxes = self._boxes(network, now - within)
        looked.findings += boxes.found.values()
        if boxes.ends:
            looked.later(min(boxes.ends.values()) + within, now)
        for port, losses in network.links.losses.items():
            lost = [time for time in losses if time > now - within]
            if len(lost) >= least:
                looked.later(lost[-least] + within, now)
                looked.findings.append(self._of_port(network, port, lost))
        looked.findings += self._of_tree(network, now, looked)
        return looked

    def _boxes(self, network: Network, after: int) -> _Last:
        """What to make of each box that starts often, of its starts after a moment; anew only where that may have changed."""
        starts, least = network.starts, int(network.numbers.starts_least)
        grounds, last = (network.revision_of(()), starts.boxes.evicted), self._last.get(network)
        if last is None or last.grounds != grounds:
            last = self._last[network] = _Last(grounds)
        anew, news = list[Box](), starts.boxes.items() if starts.turn > last.turn else ()
        anew += [place for place, box in news if box.turn > last.turn and len(box.times) >= least]
        rig = _Rig(network, [*last.first, *anew])
        if rig.boxes != last.rig:
            anew += (rig.boxes ^ last.rig) & last.first.keys()
        if min(last.first.values(), default=FOR_EVER) <= after:
            anew += [place for place, first in last.first.items() if first <= after]
        for place in anew:
            box = starts.boxes.get(place)
            if box is not None:
                self._make(rig, last, place, box, after)
        last.turn, last.rig = starts.turn, rig.boxes
        return last

    def _make(self, rig: _Rig, last: _Last, place: Box, box: Begun, after: int) -> None:
        begun, least = max(after, _arrived(rig.network, *place, box)), int(rig.network.numbers.starts_least)
        times = [each for each in box.times if each[0] > begun]
        last.first[place] = times[0][0] if times else FOR_EVER
        if len(times) >= least and self._counts(rig, *place, box):
            if place not in last.about:
                last.about[place] = _about(rig.network, *place)
            last.ends[place] = times[-least][0]
            last.found[place] = self._of_box(*place, times, last.about[place], rig.holds(place))
        else:
            last.ends.pop(place, None)
            last.found.pop(place, None)

    @staticmethod
    def _counts(rig: _Rig, segment: int, mac: str, box: Begun) -> bool:
        """Who asks for an address that it never uses watches others (a switch); our own starts are the port's."""
        number, network = mac_number(mac), rig.network
        if number in rig.own(segment):
            return False
        used = network.claims.by_address.get((segment, box.probed), ())
        return not box.by_probe or any(network.claims.key(claim)[1] == number for claim in used)

    @staticmethod
    def _of_box(segment: int, mac: str, times: list[Start], about: _About, holds: bool) -> Finding:
        return Finding(
            segment, f"host:{mac}", "soon" if about.sends or holds else "note", "likely", times[0][0],
            {"who": about.who, "mac": mac, "what": "box", "times": len(times), "universes": about.universes or None,
             "seconds": (times[-1][0] - times[0][0]) / NS, "covers": about.covers},
            tuple(n for _, n in (*times[:2], *times[-3:])), sign=times[-1][0],
        )  # fmt: skip

    @staticmethod
    def _of_port(network: Network, port: int, lost: list[int]) -> Finding:
        name, switch = network.interface(port << 24), network.links.switch.get(port)
        facts = {"interface": name, "what": "own", "times": len(lost), "seconds": (lost[-1] - lost[0]) / NS,
                 "saves_power": switch is not None and switch.saves_power}  # fmt: skip
        return Finding(port << 24, f"port:{name}", "soon", "certain", lost[0], facts, sign=lost[-1])

    @staticmethod
    def _of_tree(network: Network, now: int, looked: Looked) -> Iterator[Finding]:
        """Changes of the tree that came without a new box: somewhere a link between switches comes and goes."""
        numbers = network.numbers
        within, near = int(numbers.tree_within_s * NS), int(numbers.tree_new_box_s * NS)
        for segment, changes in network.links.changes.items():
            new = [box.first for (where, _), box in network.claims.boxes.items() if where == segment]
            young = [(time, n) for time, n in changes if now - time < within]
            alone = [(time, n) for time, n in young if not any(abs(time - first) <= near for first in new)]
            ripe = [(time, n) for time, n in alone if now - time >= near]
            if len(alone) >= numbers.tree_changes:
                looked.later(alone[int(numbers.tree_changes) - 1][0] + near, now)
            if len(ripe) >= numbers.tree_changes:
                looked.later(ripe[-int(numbers.tree_changes)][0] + within, now)
                facts = {"what": "tree", "times": len(ripe), "seconds": (ripe[-1][0] - ripe[0][0]) / NS, "covers": []}
                numbers_of = tuple(n for _, n in (*ripe[:2], *ripe[-3:]))
                yield Finding(segment, "rig", "soon", "likely", ripe[0][0], facts, numbers_of, sign=ripe[-1][0])


def _about(network: Network, segment: int, mac: str) -> _About:
    number = mac_number(mac)
    flows = network.streams.of_sender(segment, number)
    universes = sorted({int(network.streams.universe[flow]) for flow in flows})
    sources = sorted({f"source:{network.source_id(flow)}" for flow in flows})
    covers = [f"host:{mac}", *(f"universe:{each}" for each in universes), *sources]
    return _About(who_is(network, segment, number), universes, covers, bool(flows))


def _arrived(network: Network, segment: int, mac: str, box: Begun) -> int:
    """Until when what a box says is its arrival, and no new start."""
    known = network.claims.boxes.get((segment, mac_number(mac)))
    return (box.times[0][0] if known is None else known.first) + _ARRIVAL


FLAPPING_RULES = (LinkFlapping(),)
