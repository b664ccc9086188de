"""Rules over streams: silence, goodbyes, fights. Each is a mask [ticks, flows], and findings for one tick of it."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np
import numpy.typing as npt

from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import Mask, Scene, protocol_name
from netwatch.decode.tables import E131, MULTICAST
from netwatch.network.streams import Return

I64 = npt.NDArray[np.int64]

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}


@dataclass(frozen=True, slots=True)
class Marked:
    """What a rule over streams says of one tick: flows for which it is true, and since when (ns of the tick's end)."""

    k: int
    flows: list[int]
    since: I64
    """[flows] of the whole table."""


def _groups(scene: Scene, flows: list[int], *, by_source: bool) -> list[list[int]]:
    streams = scene.network.streams
    out: dict[tuple[int, ...], list[int]] = {}
    for flow in flows:
        key = (int(streams.segment[flow]), int(streams.protocol[flow]))
        key += (int(streams.id_hi[flow]), int(streams.id_lo[flow])) if by_source else (int(streams.universe[flow]),)
        out.setdefault(key, []).append(flow)
    return list(out.values())


def _universes(scene: Scene, flows: list[int]) -> list[int]:
    return sorted({int(scene.network.streams.universe[flow]) for flow in flows})


def _numbers(scene: Scene, k: int, flows: list[int]) -> tuple[int, ...]:
    """The newest packets of flows at a tick's end."""
    return tuple(sorted({scene.figures.number(k, flow) for flow in flows})[-3:])


class SourceLost:
    """S3: a source stopped, and we would hear it if it were sent."""

    rule = Rule("source-lost", certainty=_EVERYWHERE, explains=("universe-silent",))

    def mask(self, scene: Scene) -> Mask:
        return scene.silent & scene.hearing.matters & scene.heard

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        out = []
        for flows in _groups(scene, at.flows, by_source=True):
            first = flows[0]
            protocol = int(scene.network.streams.protocol[first])
            others = bool(scene.active[at.k].any())
            out.append(Finding(
                int(scene.network.streams.segment[first]), scene.source(first), "now" if protocol == E131 else "soon",
                "certain" if others else "likely",
                int(scene.figures.last[at.k, flows].min()),
                {"who": scene.who(first), "universes": _universes(scene, flows), "protocol": protocol_name(protocol),
                 "others_alive": others, "covers": [f"universe:{number}" for number in _universes(scene, flows)]},
                _numbers(scene, at.k, flows),
            ))
        return out


class SourceEnded:
    """S3: a source said goodbye (Stream_Terminated). True for a minute, as a note."""

    rule = Rule("source-ended", certainty=_EVERYWHERE)
    _told_for = 60 * NS

    def mask(self, scene: Scene) -> Mask:
        return scene.settled & scene.ended & (scene.age < self._told_for)

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        return [
            Finding(
                int(scene.network.streams.segment[flows[0]]), scene.source(flows[0]), "note", "certain",
                int(scene.figures.last[at.k, flows].min()),
                {"who": scene.who(flows[0]), "universes": _universes(scene, flows), "protocol": "e131"}, _numbers(scene, at.k, flows),
            )
            for flows in _groups(scene, at.flows, by_source=True)
        ]


class UniverseSilent:
    """Nothing of a universe reaches this laptop any more; desk or network is not known yet."""

    rule = Rule("universe-silent", certainty=_EVERYWHERE | {"mirror": None})

    def mask(self, scene: Scene) -> Mask:
        return scene.silent & scene.hearing.matters & ~scene.heard

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        out = []
        for flows in _groups(scene, at.flows, by_source=False):
            first, last = flows[0], int(scene.figures.last[at.k, flows].max())
            streams = scene.network.streams
            out.append(Finding(
                int(streams.segment[first]), f"universe:{int(streams.universe[first])}", "soon", "certain", last,
                {"universe": int(streams.universe[first]), "protocol": protocol_name(int(streams.protocol[first])), "last": last,
                 "sources": sorted({scene.who(flow) for flow in flows})},
                _numbers(scene, at.k, flows),
            ))
        return out


class MulticastDropped:
    """M1: the switch stopped passing a group to this port, though its sender lives.

    Likely once the sender is heard in another way after the stream fell silent; certain when the stream comes back within
    one response time of a general query, or right after a new request for the group (measured, symptoms M1).
    """

    rule = Rule("multicast-dropped", certainty=_EVERYWHERE | {"mirror": None}, explains=("universe-silent",))

    def mask(self, scene: Scene) -> Mask:
        streams, flows = scene.network.streams, scene.flows
        quiet = scene.silent & scene.hearing.matters & ~scene.heard & (streams.cast[:flows] == MULTICAST)
        out = quiet & (scene.sender_alive > scene.figures.last + streams.silence[:flows])
        for each in streams.returns:
            k = each.tick - scene.figures.tick
            if 0 <= k < len(out) and scene.network.why_back(each) is not None:
                out[k, each.flow] = True
        return out

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        tick = scene.figures.tick + at.k
        back = {each.flow: each for each in scene.network.streams.returns if each.tick == tick and scene.network.why_back(each) is not None}
        return [self._finding(scene, at, flow, back.get(flow)) for flow in at.flows]

    def _finding(self, scene: Scene, at: Marked, flow: int, back: Return | None) -> Finding:
        streams = scene.network.streams
        last = back.before if back else int(scene.figures.last[at.k, flow])
        segment, universe = int(streams.segment[flow]), int(streams.universe[flow])
        group = scene.group_of(flow)
        joined = last_join(scene, segment, group, last)
        same_sender = np.flatnonzero((streams.alive[: scene.flows] == streams.alive[flow]) & (streams.cast[: scene.flows] == MULTICAST))
        goes_on = bool(scene.active[at.k, same_sender].any()) and back is None
        numbers = [scene.figures.number(at.k, flow)]
        if back:
            numbers = [scene.network.why_back(back) or back.n, back.n]
        return Finding(
            segment, f"universe:{universe}", "now", "certain" if back else "hint" if goes_on else "likely", last,
            {"universes": [universe], "after_s": None if joined is None else (last - joined) / NS, "group": group,
             "covers": [f"universe:{universe}"], "back": back is not None, "silent_s": None if back is None else (back.back - back.before) / NS},
            tuple(numbers),
        )


def last_join(scene: Scene, segment: int, group: str, before: int) -> int | None:
    """ns of the newest request for a group before a moment: our own where we are known, else anybody's."""
    table = scene.network.multicast.groups.get((segment, group))
    if table is None:
        return None
    joins = [each.joined for each in table.members.values() if each.joined is not None and each.joined <= before]
    return max(joins, default=None)


class SourcesFighting:
    """S1: two sources at the same highest priority disagree on DMX channels that both drive."""

    rule = Rule("sources-fighting", after=3 * NS, certainty=_EVERYWHERE)

    def mask(self, scene: Scene) -> Mask:
        out = np.zeros_like(scene.used, shape=scene.live.shape)
        for flows in self._shared(scene):
            for k in np.flatnonzero(scene.live[:, flows].sum(axis=1) > 1).tolist():
                for a, b in self._rivals(scene, k, flows):
                    if differing(scene, k, a, b):
                        out[k, [a, b]] = True
        return out

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        out = []
        streams = scene.network.streams
        for flows in _groups(scene, at.flows, by_source=False):
            pairs = self._rivals(scene, at.k, flows)
            if not pairs:
                continue
            a, b = max(pairs, key=lambda pair: differing(scene, at.k, *pair))
            names = list(dict.fromkeys(scene.who(flow) for flow in flows))
            first = flows[0]
            out.append(Finding(
                int(streams.segment[first]), f"universe:{int(streams.universe[first])}", "now", "certain", int(at.since[flows].min()),
                {"universe": int(streams.universe[first]), "protocol": "e131", "a": scene.who(a), "b": scene.who(b),
                 "channels": differing(scene, at.k, a, b), "priority": int(scene.figures.priority[at.k, a]), "also": names},
                _numbers(scene, at.k, flows),
            ))
        return out

    def _shared(self, scene: Scene) -> list[list[int]]:
        streams = scene.network.streams
        light = np.flatnonzero(scene.live.any(axis=0) & (streams.protocol[: scene.flows] == E131))
        shared = [flows for flows in _groups(scene, light.tolist(), by_source=False) if len(flows) > 1]
        return [flows for flows in shared if len({int(streams.stream[flow]) for flow in flows}) > 1]

    def _rivals(self, scene: Scene, k: int, flows: list[int]) -> list[tuple[int, int]]:
        streams, priority = scene.network.streams, scene.figures.priority[k]
        here = [flow for flow in flows if scene.live[k, flow]]
        top = max((priority[flow] for flow in here), default=0)
        here = [flow for flow in here if priority[flow] == top][:8]
        return [(a, b) for a, b in combinations(here, 2) if streams.stream[a] != streams.stream[b]]


def differing(scene: Scene, k: int, a: int, b: int) -> int:
    """DMX channels that both flows drive above zero with levels further apart than rounding."""
    one, other = scene.frame(k, a).astype(np.int16), scene.frame(k, b).astype(np.int16)
    apart = np.abs(one - other) > scene.network.numbers.fight_levels
    return int(np.count_nonzero(apart & (one > 0) & (other > 0)))


STREAM_RULES = (MulticastDropped(), SourceEnded(), SourceLost(), SourcesFighting(), UniverseSilent())
