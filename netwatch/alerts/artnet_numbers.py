"""Rules over Art-Net's numbers: R2 and R7, universes that are sent and that nodes put out, which meet only when counted anew."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.artnet import active, host, named
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.decode.tables import BROADCAST, UNICAST
from netwatch.decode.text import address_text
from netwatch.network.network import Network
from netwatch.network.nodes import Bind

_LIKELY = {"mirror": "likely", "ordinary": "likely", "wifi": "likely", "limited": "likely"}


@dataclass(frozen=True, slots=True)
class _Side:
    """Universes that are sent somewhere, and those that the nodes there put out."""

    segment: int
    subject: str
    nodes: tuple[str, ...]
    """Their names."""
    sent: frozenset[int]
    wanted: frozenset[int]
    since: int
    numbers: tuple[int, ...]


def _sides(network: Network, now: int) -> Iterator[_Side]:
    """Per segment: what goes to all, against all nodes that are sent nothing of their own; and each node's unicast."""
    nodes: dict[int, dict[tuple[int, str], list[Bind]]] = {}
    for bind in network.nodes.current(now):
        nodes.setdefault(bind.segment, {}).setdefault(bind.sender, []).append(bind)
    streams = network.streams
    for segment, boxes in nodes.items():
        flows = active(network, now, segment)
        everybody = [flow for flow in flows if streams.cast[flow] == BROADCAST]
        rest: list[Bind] = []
        for binds in boxes.values():
            addresses = {bind.src for bind in binds} | {bind.address for bind in binds}
            alone = [
                flow for flow in flows if streams.cast[flow] == UNICAST and address_text(int(streams.dst[flow])) in addresses
            ]
            if alone and not everybody:
                yield _side(network, segment, host(binds[0]), (named(binds[0]),), alone, binds)
            elif not alone:
                rest += binds
        if everybody and rest:
            yield _side(network, segment, "rig", tuple(dict.fromkeys(named(bind) for bind in rest)), everybody, rest)


def _side(
    network: Network, segment: int, subject: str, nodes: tuple[str, ...], flows: list[int], binds: list[Bind]
) -> _Side:
    streams = network.streams
    sent = frozenset(int(streams.universe[flow]) for flow in flows)
    # What a node says that it puts out reaches it, seen from here or not.
    wanted = {number for bind in binds for number in bind.outputs if number not in bind.follows_e131}
    fed = {number for bind in binds for number in bind.fed}
    since = max(min(int(streams.run[flow]) for flow in flows), min(bind.first for bind in binds))
    numbers = (int(streams.last_n[flows[0]]), *(bind.n for bind in binds[:4]))
    return _Side(segment, subject, nodes, sent, frozenset(wanted - (fed - sent)), since, tuple(sorted(numbers)))


def _fit(sent: Iterable[int], wanted: frozenset[int]) -> float:
    """Share of universes that meet, of the longer list; 0 where two of ``sent`` became one."""
    found = list(sent)
    if not found or not wanted or len(set(found)) != len(found):
        return 0.0
    return len(wanted.intersection(found)) / max(len(found), len(wanted))


class _Renumbered:
    """Sent and wanted universes meet once one side is counted anew, and not as they are."""

    rule: Rule
    ways: tuple[tuple[str, Callable[[int], int]], ...]

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        if not len(network.nodes.binds):
            return looked
        looked.later(next_grid(now), now)
        for side in _sides(network, now):
            way = self._way(network, side)
            if way is not None:
                looked.findings.append(self._finding(side, *way))
        return looked

    def _way(self, network: Network, side: _Side) -> tuple[str, bool] | None:
        """(how they would meet, whether that is more than a hint)."""
        straight = _fit(side.sent, side.wanted)
        for way, change in self.ways:
            fit, wanted = _fit((change(number) for number in side.sent), side.wanted), side.wanted
            if way.startswith("low"):
                wanted = frozenset(change(number) for number in wanted)
                fit = _fit((change(number) for number in side.sent), wanted) if len(wanted) == len(side.wanted) else 0.0
            if fit >= network.numbers.shifted_match and straight < network.numbers.straight_match:
                return way, len(side.sent) > 1
            if fit == 1.0 and straight < 1.0 and len(side.sent) > 1:
                return way, False
        return None

    def _finding(self, side: _Side, way: str, likely: bool) -> Finding:
        return Finding(
            side.segment,
            side.subject,
            "now" if likely else "quality",
            "likely" if likely else "hint",
            side.since,
            {
                "who": side.nodes[0] if len(side.nodes) == 1 else None,
                "nodes": len(side.nodes),
                "way": way,
                "sent": sorted(side.sent)[:64],
                "wanted": sorted(side.wanted)[:64],
            },
            side.numbers,
        )


def _swapped(number: int) -> int:
    """Net and Sub-Net exchanged; the number itself where Net is no Sub-Net."""
    net, sub = number >> 8, number >> 4 & 15
    return (sub << 8 | net << 4 | number & 15) if net < 16 else number


class ArtnetOffByOne(_Renumbered):
    """R2: what is sent and what nodes listen to differ by exactly one."""

    rule = Rule("artnet-off-by-one", after=10 * NS, certainty=_LIKELY, numbers=("shifted_match", "straight_match"))
    ways = (("one less", lambda number: number - 1), ("one more", lambda number: number + 1))


class ArtnetNumberMixedUp(_Renumbered):
    """R7: Net and Sub-Net are exchanged, or forgotten on one side."""

    rule = Rule("artnet-number-mixed-up", after=10 * NS, certainty=_LIKELY, numbers=("shifted_match", "straight_match"))
    ways = (("swapped", _swapped), ("low four bits", lambda number: number & 15))

    def _way(self, network: Network, side: _Side) -> tuple[str, bool] | None:
        if side.sent & side.wanted or ArtnetOffByOne()._way(network, side) is not None:
            return None
        return super()._way(network, side)


NUMBER_RULES = (ArtnetNumberMixedUp(), ArtnetOffByOne())
