"""Two sessions side by side: who sends which universe, at which priority, how often, and what of it gets lost."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from netwatch.report.pair import A, B, Pair, Side
from netwatch.story.course import Run
from netwatch.story.snapshot import StreamView
from netwatch.words.phrases import name

NS = 1_000_000_000
Found = tuple[str, Mapping[str, Any]]


@dataclass(frozen=True)
class _Source:
    """One sender in one protocol."""

    protocol: str
    identity: str
    name: str
    address: str
    streams: Mapping[int, StreamView]
    """By universe."""

    @property
    def who(self) -> str:
        """'gatehouse desk (10.77.0.10)'."""
        shown = name(self.name, "")
        return f"{shown} ({self.address})" if shown else self.address

    def facts(self, universes: Iterable[int]) -> dict[str, Any]:
        """What all its differences tell."""
        return {"who": self.who, "addresses": [self.address], "protocol": self.protocol, "universes": sorted(universes)}


def apart(pair: Pair) -> Iterator[Found]:
    """All that differs."""
    before, after = _sources(pair.a), _sources(pair.b)
    both = _paired(before, after)
    gone = [each for each in before if id(each) not in {id(one) for one, _ in both}]
    come = [each for each in after if id(each) not in {id(other) for _, other in both}]
    for source in gone:
        unsure = pair.unheard(B, list(source.streams.values()))
        instead = _others(after, source, source.streams)
        yield "source-missing", {**source.facts(source.streams), "instead": instead, "unsure": unsure}
    for source in come:
        yield "source-new", _coming(pair, source, after, set(source.streams))
    for one, other in both:
        yield from _changed(pair, one, other, after)


def _sources(side: Side) -> list[_Source]:
    found: dict[tuple[str, str], list[StreamView]] = {}
    for each in sorted(side.snapshot.streams, key=lambda each: (each.protocol != "e131", each.universe, each.first)):
        if not each.ours:
            # An Art-Net sender is its address; which of its sockets it took differs from start to start.
            found.setdefault((each.protocol, each.source if each.protocol == "e131" else each.address), []).append(each)
    return [
        _Source(protocol, identity, streams[0].name, streams[0].address, {each.universe: each for each in streams})
        for (protocol, identity), streams in found.items()
    ]


def _paired(before: Sequence[_Source], after: Sequence[_Source]) -> list[tuple[_Source, _Source]]:
    """The same sender in both: by identity, else by a name that only one on each side has."""
    by_identity = {(each.protocol, each.identity): each for each in after}
    both = [(one, by_identity[one.protocol, one.identity]) for one in before if (one.protocol, one.identity) in by_identity]
    taken = {id(each) for pair in both for each in pair}
    rest = [[each for each in side if id(each) not in taken and each.name] for side in (before, after)]
    for one in rest[0]:
        alike = [[each for each in side if (each.protocol, each.name) == (one.protocol, one.name)] for side in rest]
        if len(alike[0]) == len(alike[1]) == 1:
            both.append((one, alike[1][0]))
    return both


def _others(sources: Sequence[_Source], but: _Source, universes: Iterable[int]) -> list[str]:
    """Who else sends any of these universes."""
    wanted = set(universes)
    return [
        each.who for each in sources
        if each.identity != but.identity and each.protocol == but.protocol and wanted & set(each.streams)
    ]  # fmt: skip


def _coming(pair: Pair, source: _Source, after: Sequence[_Source], universes: set[int]) -> dict[str, Any]:
    """Facts of a sender that is new on universes, and of those that it shares them with."""
    rivals = [each for each in after if each is not source and each.protocol == source.protocol and universes & set(each.streams)]
    shared = sorted({each for rival in rivals for each in universes & set(rival.streams)})
    equal = any(rival.streams[each].priority == source.streams[each].priority for rival in rivals for each in shared
                if each in rival.streams)  # fmt: skip
    unsure = pair.unheard(A, [source.streams[each] for each in sorted(universes)])
    return {
        **source.facts(universes), "rivals": [each.who for each in rivals], "shared": shared, "equal": equal,
        "unsure": None if equal and rivals else unsure, **({"grave": "soon" if equal else "quality"} if rivals else {}),
    }  # fmt: skip


def _changed(pair: Pair, one: _Source, other: _Source, after: Sequence[_Source]) -> Iterator[Found]:
    if one.protocol == "e131" and one.identity != other.identity:
        yield "identity", {**other.facts(other.streams), "before": one.identity, "after": other.identity}
    less, more = set(one.streams) - set(other.streams), set(other.streams) - set(one.streams)
    if less:
        instead = _others(after, other, less)
        yield "universes-missing", {
            **one.facts(less), "instead": instead, "unsure": pair.unheard(B, [one.streams[each] for each in sorted(less)])
        }
    if more:
        yield "universes-new", _coming(pair, other, after, more)
    shared = sorted(set(one.streams) & set(other.streams))
    yield from _priorities(one, other, shared, after)
    yield from _rates(pair, one, other, shared)
    yield from _losses(pair, one, other, shared)


def _priorities(one: _Source, other: _Source, shared: Sequence[int], after: Sequence[_Source]) -> Iterator[Found]:
    moved: dict[tuple[int | None, int | None], list[int]] = {}
    for each in shared:
        change = one.streams[each].priority, other.streams[each].priority
        if change[0] != change[1] and None not in change:
            moved.setdefault(change, []).append(each)
    for (before, now), universes in moved.items():
        rivals = _others(after, other, universes)
        grave = {"grave": "soon"} if rivals else {}
        yield "priority", {**other.facts(universes), "before": before, "after": now, "rivals": rivals, **grave}


def _rates(pair: Pair, one: _Source, other: _Source, shared: Sequence[int]) -> Iterator[Found]:
    """Of all universes whose rate moved the same way one sentence."""
    moved: dict[bool, list[tuple[int, float, float]]] = {}
    for each in shared:
        step = max(side.course.step if side.course else 0 for side in (pair.a, pair.b))
        before, now = (_highest(side, source, each, step) for side, source in ((pair.a, one), (pair.b, other)))
        numbers = pair.numbers
        if before is None or now is None or abs(now - before) < numbers.compare_rate_least:
            continue
        if abs(now - before) > numbers.compare_rate_share * max(now, before):
            moved.setdefault(now > before, []).append((each, before, now))
    for found in moved.values():
        facts = {"before": max(before for _, before, _ in found), "after": max(now for _, _, now in found)}
        yield "rate", {**other.facts(each for each, _, _ in found), **facts}


def _highest(side: Side, source: _Source, universe: int, step: int) -> float | None:
    """Packets a second in its busiest ``step`` (ns)."""
    if side.course is None or not step:
        return None
    each = source.streams[universe]
    runs = [run for run in side.course.runs if _same(run, each)]
    many = max(1, step // side.course.step)
    tops = [max(sum(run.packets[low : low + many]) for low in range(0, len(run.packets), many)) for run in runs if run.packets]
    return max(tops) * NS / step if tops else None


def _same(run: Run, stream: StreamView) -> bool:
    return (run.interface, run.vlan, run.protocol, run.universe, run.source) == (
        stream.interface, stream.vlan, stream.protocol, stream.universe, stream.source
    )  # fmt: skip


def _losses(pair: Pair, one: _Source, other: _Source, shared: Sequence[int]) -> Iterator[Found]:
    """Of all universes of the sender together."""
    numbers = pair.numbers
    before, now = (_lost([source.streams[each] for each in shared], numbers.loss_least_packets) for source in (one, other))
    if before is None or now is None or abs(now - before) < numbers.loss_quality:
        return
    grave = {} if now > before else {"grave": "note"}
    yield "loss", {**other.facts(shared), "before": before, "after": now, **grave}


def _lost(streams: Sequence[StreamView], least: int) -> float | None:
    """The share that got lost on the way; None of too few packets."""
    packets, lost = sum(each.packets for each in streams), sum(each.lost for each in streams)
    return lost / (packets + lost) if packets + lost >= least else None
