"""Sources that share a universe with one priority, and on how many DMX channels they disagree; one computation a stretch."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import combinations

import numpy as np
import numpy.typing as npt

from netwatch.alerts.scene import Mask, Scene
from netwatch.decode.tables import E131

I64 = npt.NDArray[np.int64]
U8 = npt.NDArray[np.uint8]

_MOST = 8
"""Flows of one universe that are compared: more than any receiver takes."""


@dataclass(slots=True)
class Rivals:
    """Of one stretch."""

    sharing: Mask
    """[ticks, flows] another source has the same, highest priority."""
    fighting: Mask
    """[ticks, flows] and they ask for different levels."""
    channels: dict[tuple[int, int], I64] = field(default_factory=dict)
    """[ticks] by pair of flows: DMX channels that differ."""

    def pairs(self, k: int, flows: list[int]) -> Iterator[tuple[int, int, int]]:
        """(flow, flow, DMX channels) of the pairs among ``flows`` that fight at a tick."""
        for (a, b), channels in self.channels.items():
            if a in flows and channels[k]:
                yield a, b, int(channels[k])


def rivals(scene: Scene) -> Rivals:
    """Computed once a stretch."""
    if "rivals" not in scene.memo:
        out = Rivals(np.zeros(scene.live.shape, bool), np.zeros(scene.live.shape, bool))
        for flows in shared_universes(scene):
            live = scene.live[:, flows]
            if (live.sum(axis=1) > 1).any():
                _compare(scene, out, flows[:_MOST])
        scene.memo["rivals"] = out
    return scene.memo["rivals"]  # type: ignore[no-any-return]


def _compare(scene: Scene, out: Rivals, flows: list[int]) -> None:
    """One universe. Priorities are [ticks, 1], or [1, 512] where a source sends one for each slot."""
    stream, live = scene.network.streams.stream, scene.live
    priority = {flow: _priority(scene, flow) for flow in flows}
    top = np.full((1, 1), -1, np.int64)
    for flow in flows:
        top = np.maximum(top, np.where(live[:, flow, None], priority[flow], -1))
    for a, b in combinations(flows, 2):
        if stream[a] == stream[b]:
            continue
        contested = (live[:, a] & live[:, b])[:, None] & (priority[a] == top) & (priority[b] == top) & (top >= 0)
        ticks = np.flatnonzero(contested.any(axis=1))
        if not len(ticks):
            continue
        out.sharing[ticks, a] = out.sharing[ticks, b] = True
        channels = np.zeros(len(live), np.int64)
        apart = _apart(scene.frames(ticks, a), scene.frames(ticks, b), int(scene.network.numbers.fight_levels))
        if contested.shape[1] > 1:
            apart &= contested[ticks]
        # Faster than counting what is not zero along an axis.
        channels[ticks] = np.add.reduce(apart.view(np.uint8), axis=1, dtype=np.uint16)
        if channels.any():
            out.channels[a, b] = channels
            out.fighting[:, a] |= channels > 0
            out.fighting[:, b] |= channels > 0


def _priority(scene: Scene, flow: int) -> I64:
    """A slot that its source does not control (0) is contested by nobody."""
    slotwise = scene.network.streams.slotwise.flows.get(flow)
    if slotwise is None:
        return scene.figures.priority[:, flow, None]
    return np.where(slotwise.values > 0, slotwise.values.astype(np.int64), -2)[None, :]


def _apart(one: U8, other: U8, steps: int) -> npt.NDArray[np.bool_]:
    """[ticks, 512] both drive the DMX channel above zero, with levels further apart than rounding."""
    low, high = np.minimum(one, other), np.maximum(one, other)
    apart: npt.NDArray[np.bool_] = high - low > steps
    apart &= low > 0
    return apart


def _by(scene: Scene, flows: list[int], key: Callable[[int], tuple[int, ...]]) -> list[list[int]]:
    out: dict[tuple[int, ...], list[int]] = {}
    for flow in flows:
        out.setdefault((int(scene.network.streams.segment[flow]), *key(flow)), []).append(flow)
    return list(out.values())


def by_source(scene: Scene, flows: list[int]) -> list[list[int]]:
    """Flows of each source and segment."""
    streams = scene.network.streams
    return _by(scene, flows, lambda flow: (int(streams.id_hi[flow]), int(streams.id_lo[flow])))


def by_universe(scene: Scene, flows: list[int]) -> list[list[int]]:
    """Flows of each universe and segment."""
    return _by(scene, flows, lambda flow: (int(scene.network.streams.universe[flow]),))


def shared_universes(scene: Scene) -> list[list[int]]:
    """sACN flows of each universe that several sources send or sent; stands still in a stretch."""
    if "shared" not in scene.memo:
        streams = scene.network.streams
        light = np.flatnonzero(scene.used & (streams.protocol[: scene.flows] == E131))
        places = streams.segment[light] << 16 | streams.universe[light]
        _, which, times = np.unique(places, return_inverse=True, return_counts=True)
        several = light[times[which.reshape(-1)] > 1].tolist()
        groups = by_universe(scene, several) if several else []
        scene.memo["shared"] = [flows for flows in groups if len({int(streams.stream[flow]) for flow in flows}) > 1]
    return scene.memo["shared"]  # type: ignore[no-any-return]
