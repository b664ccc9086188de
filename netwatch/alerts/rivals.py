"""Sources that share a universe with one priority, and on how many DMX channels they disagree; one computation a stretch."""

from __future__ import annotations

from dataclasses import dataclass, field
from itertools import combinations
from typing import Any

import numpy as np
import numpy.typing as npt

from netwatch.alerts.scene import Mask, Scene
from netwatch.alerts.tracking import tracking
from netwatch.decode.tables import E131

I64 = npt.NDArray[np.int64]
U8 = npt.NDArray[np.uint8]

_MOST = 8
"""Flows of one universe that are compared: more than any receiver takes."""
_FIRST = 64
"""Slots that are looked at before the others: they decide nearly always."""
_AT_ONCE = 512
"""Frames that are compared at once: they stay in a processor's nearest cache."""


@dataclass(frozen=True, slots=True)
class _Pairs:
    """What may be compared, as long as the slow tables stand."""

    flows: I64
    """Of universes that several sources send, by universe."""
    begins: I64
    """The first of each universe in ``flows``."""
    one: I64
    other: I64
    universe: I64
    """Place in ``begins`` of each pair."""
    slotwise: list[list[int]]
    """Flows of universes where a source sends a priority for each slot: one by one."""


@dataclass(slots=True)
class Rivals:
    """Of one stretch."""

    sharing: Mask
    """[ticks, flows] another source has the same, highest priority."""
    fighting: Mask
    """[ticks, flows] and they ask for different levels, neither following the other."""
    _cells: list[tuple[I64, I64, I64, I64 | None]] = field(default_factory=list)
    """(tick, flow, flow, DMX channels that differ; None = not counted yet)."""

    def mark(self, scene: Scene, ticks: I64, ones: I64, others: I64, channels: I64 | None = None) -> None:
        """[cells] two flows share at a tick; ``channels`` = in how many DMX channels they differ then, where that is known."""
        self.sharing[ticks, ones] = self.sharing[ticks, others] = True
        apart = np.flatnonzero(_differ(scene, ticks, ones, others) if channels is None else channels)
        apart = apart[~tracking(scene, ticks[apart], ones[apart], others[apart])]
        if len(apart):
            ticks, ones, others = ticks[apart], ones[apart], others[apart]
            self.fighting[ticks, ones] = self.fighting[ticks, others] = True
            self._cells.append((ticks, ones, others, None if channels is None else channels[apart]))

    def at(self, scene: Scene, k: int) -> dict[int, list[tuple[int, int, int]]]:
        """(flow, flow, DMX channels) of the pairs that fight at a tick, by the first of both."""
        out: dict[int, list[tuple[int, int, int]]] = {}
        for ticks, ones, others, known in self._cells:
            here = np.flatnonzero(ticks == k)
            one, other = ones[here], others[here]
            channels = _differing(scene, ticks[here], one, other) if known is None else known[here]
            for a, b, count in zip(one.tolist(), other.tolist(), channels.tolist(), strict=True):
                out.setdefault(a, []).append((a, b, count))
        return out


def rivals(scene: Scene) -> Rivals:
    """Computed once a stretch."""
    if "rivals" not in scene.memo:
        pairs = _pairs(scene)
        if not len(pairs.one) and not pairs.slotwise:
            scene.memo["rivals"] = Rivals(scene.nothing, scene.nothing)
            return scene.memo["rivals"]  # type: ignore[no-any-return]
        out = scene.memo["rivals"] = Rivals(np.zeros(scene.live.shape, bool), np.zeros(scene.live.shape, bool))
        if len(pairs.one):
            _compare(scene, out, pairs)
        for flows in pairs.slotwise:
            _compare_slotwise(scene, out, flows)
    return scene.memo["rivals"]  # type: ignore[no-any-return]


def _pairs(scene: Scene) -> _Pairs:
    if "pairs" not in scene.still:
        stream, slotwise = scene.network.streams.stream, scene.network.streams.slotwise.flows
        groups = [sorted(flows[:_MOST]) for flows in shared_universes(scene)]
        plain = [flows for flows in groups if slotwise.keys().isdisjoint(flows)]
        pairs = [(at, *pair) for at, flows in enumerate(plain) for pair in combinations(flows, 2)]
        universe, one, other = np.array([pair for pair in pairs if stream[pair[1]] != stream[pair[2]]], np.int64).reshape(-1, 3).T
        begins = np.cumsum([0, *(len(flows) for flows in plain)])[:-1]
        scene.still["pairs"] = _Pairs(
            np.array([flow for flows in plain for flow in flows], np.int64), begins, one, other, universe,
            [flows for flows in groups if flows not in plain],
        )  # fmt: skip
    return scene.still["pairs"]  # type: ignore[no-any-return]


def _compare(scene: Scene, out: Rivals, pairs: _Pairs) -> None:
    """All pairs at all ticks at once."""
    priority = np.where(scene.live, scene.figures.priority, -1)
    top = np.maximum.reduceat(priority[:, pairs.flows], pairs.begins, axis=1)[:, pairs.universe]
    contested = (top >= 0) & (priority[:, pairs.one] == top) & (priority[:, pairs.other] == top)
    ticks, at = np.nonzero(contested)
    if len(at):
        out.mark(scene, ticks, pairs.one[at], pairs.other[at])


def _differ(scene: Scene, ticks: I64, one: I64, other: I64) -> npt.NDArray[np.bool_]:
    """[cells] both drive some DMX channel apart."""
    steps = int(scene.network.numbers.fight_levels)
    first = _apart(scene.levels(ticks, one, _FIRST), scene.levels(ticks, other, _FIRST), steps)
    out: npt.NDArray[np.bool_] = np.any(first.view(np.uint64), axis=1)
    rest = np.flatnonzero(~out)
    out[rest] = _differing(scene, ticks[rest], one[rest], other[rest]) > 0
    return out


def _differing(scene: Scene, ticks: I64, one: I64, other: I64, slots: npt.NDArray[np.bool_] | None = None) -> I64:
    """[cells] DMX channels that both drive apart, of pairs at ticks; of [cells, 512] ``slots`` only."""
    channels, steps = np.zeros(len(ticks), np.int64), int(scene.network.numbers.fight_levels)
    for begin in range(0, len(ticks), _AT_ONCE):
        part = slice(begin, begin + _AT_ONCE)
        apart = _apart(scene.levels(ticks[part], one[part]), scene.levels(ticks[part], other[part]), steps)
        if slots is not None:
            apart &= slots[part]
        # Faster than counting what is not zero along an axis.
        channels[part] = np.add.reduce(apart.view(np.uint8), axis=1, dtype=np.uint16)
    return channels


def _compare_slotwise(scene: Scene, out: Rivals, flows: list[int]) -> None:
    """One universe. Priorities are [ticks, 1], or [1, 512] where a source sends one for each slot."""
    stream, live = scene.network.streams.stream, scene.live
    priority = {flow: _priority(scene, flow) for flow in flows}
    top = np.full((1, 1), -1, np.int64)
    for flow in flows:
        top = np.maximum(top, np.where(live[:, flow, None], priority[flow], -1))
    for a, b in combinations(flows, 2):
        contested = (live[:, a] & live[:, b])[:, None] & (priority[a] == top) & (priority[b] == top) & (top >= 0)
        ticks = np.flatnonzero(contested.any(axis=1))
        if stream[a] != stream[b] and len(ticks):
            one, other = np.full(len(ticks), a), np.full(len(ticks), b)
            out.mark(scene, ticks, one, other, _differing(scene, ticks, one, other, contested[ticks]))


def _priority(scene: Scene, flow: int) -> I64:
    """A slot that its source does not control (0) is contested by nobody."""
    slotwise = scene.network.streams.slotwise.flows.get(flow)
    if slotwise is None:
        return scene.figures.priority[:, flow, None]
    return np.where(slotwise.values > 0, slotwise.values.astype(np.int64), -2)[None, :]


def _apart(one: U8, other: U8, steps: int) -> npt.NDArray[np.bool_]:
    """[cells, slots] both drive the DMX channel above zero, with levels further apart than rounding."""
    low, high = np.minimum(one, other), np.maximum(one, other)
    apart: npt.NDArray[np.bool_] = high - low > steps
    apart &= low > 0
    return apart


def _by(flows: list[int], *columns: npt.NDArray[Any]) -> list[list[int]]:
    out: dict[tuple[int, ...], list[int]] = {}
    for flow, key in zip(flows, zip(*(column[flows].tolist() for column in columns), strict=True), strict=True):
        out.setdefault(key, []).append(flow)
    return list(out.values())


def by_source(scene: Scene, flows: list[int]) -> list[list[int]]:
    """Flows of each source and segment."""
    streams = scene.network.streams
    return _by(flows, streams.segment, streams.id_hi, streams.id_lo)


def by_universe(scene: Scene, flows: list[int]) -> list[list[int]]:
    """Flows of each universe and segment."""
    return _by(flows, scene.network.streams.segment, scene.network.streams.universe)


def shared_universes(scene: Scene) -> list[list[int]]:
    """sACN flows of each universe that several sources send or sent."""
    if "shared" not in scene.still:
        streams = scene.network.streams
        light = np.flatnonzero(scene.used & (streams.protocol[: scene.flows] == E131))
        places = streams.segment[light] << 16 | streams.universe[light]
        _, which, times = np.unique(places, return_inverse=True, return_counts=True)
        several = light[times[which.reshape(-1)] > 1].tolist()
        groups = by_universe(scene, several) if several else []
        scene.still["shared"] = [flows for flows in groups if len({int(streams.stream[flow]) for flow in flows}) > 1]
    return scene.still["shared"]  # type: ignore[no-any-return]
