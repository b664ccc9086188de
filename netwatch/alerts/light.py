"""Rules over streams: silence and goodbyes. Each is a mask [ticks, flows], and findings for one tick of it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import Mask, Scene, protocol_name
from netwatch.decode.tables import E131, MULTICAST

I64 = npt.NDArray[np.int64]

_TOLD_FOR = 60 * NS
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
        of = (int(streams.id_hi[flow]), int(streams.id_lo[flow])) if by_source else (int(streams.universe[flow]),)
        out.setdefault((int(streams.segment[flow]), int(streams.protocol[flow]), *of), []).append(flow)
    return list(out.values())


def _universes(scene: Scene, flows: list[int]) -> list[int]:
    return sorted({int(scene.network.streams.universe[flow]) for flow in flows})


def _numbers(scene: Scene, k: int, flows: list[int]) -> tuple[int, ...]:
    """The newest packets of flows at a tick's end."""
    return tuple(sorted({scene.figures.number(k, flow) for flow in flows})[-3:])


class SourceLost:
    """S3: a source stopped, and we would hear it if it were sent."""

    rule = Rule(
        "source-lost", certainty=_EVERYWHERE, explains=("universe-silent",),
        numbers=("source_silent_s", "artnet_silent_s", "keep_alive_s"), note_in_building=True, worse_with="universes",
    )

    def mask(self, scene: Scene) -> Mask:
        return scene.missed_heard

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
        return scene.nothing if scene.ended is scene.nothing else scene.settled & scene.ended & (scene.age < self._told_for)

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        return [
            Finding(
                int(scene.network.streams.segment[flows[0]]), scene.source(flows[0]), "note", "certain",
                int(scene.figures.last[at.k, flows].min()),
                {"who": scene.who(flows[0]), "universes": _universes(scene, flows), "protocol": "e131"},
                _numbers(scene, at.k, flows),
            )
            for flows in _groups(scene, at.flows, by_source=True)
        ]


class UniverseSilent:
    """Nothing of a universe reaches this laptop any more; desk or network is not known yet."""

    rule = Rule(
        "universe-silent",
        certainty=_EVERYWHERE | {"mirror": None},
        numbers=("source_silent_s", "artnet_silent_s", "keep_alive_s"),
        note_in_building=True,
    )

    def mask(self, scene: Scene) -> Mask:
        return scene.missed_unheard

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

    rule = Rule(
        "multicast-dropped", certainty=_EVERYWHERE | {"mirror": None}, explains=("universe-silent",),
        numbers=("source_silent_s", "keep_alive_s", "membership_s", "response_s"), worse_with="universes",
    )

    def mask(self, scene: Scene) -> Mask:
        streams, flows = scene.network.streams, scene.flows
        if scene.missed_unheard is scene.nothing and not streams.returns:
            return scene.nothing
        quiet = scene.missed_unheard & (streams.cast[:flows] == MULTICAST)
        out: Mask = quiet & (scene.sender_alive > scene.figures.last + streams.silence[:flows]) if quiet.any() else quiet
        for each in streams.returns:
            k = each.tick - scene.figures.tick
            if 0 <= k < len(out) and scene.network.why_back(each) is not None:
                out[k, each.flow] = True
        return out

    def findings(self, scene: Scene, at: Marked) -> list[Finding]:
        """One finding a segment: universes that one switch forgets one after the other have one cause."""
        segments: dict[int, list[int]] = {}
        for flow in at.flows:
            segments.setdefault(int(scene.network.streams.segment[flow]), []).append(flow)
        return [self._finding(scene, at.k, segment, flows) for segment, flows in segments.items()]

    def _finding(self, scene: Scene, k: int, segment: int, flows: list[int]) -> Finding:
        streams, network = scene.network.streams, scene.network
        now = int(scene.figures.now[k])
        back = [each for each in network.proven if int(streams.segment[each.flow]) == segment and now - each.back < _TOLD_FOR]
        returned = {each.flow: each.before for each in back}
        last = {flow: returned.get(flow, int(scene.figures.last[k, flow])) for flow in {*flows, *returned}}
        first = min(last, key=lambda flow: (last[flow], flow))
        joined = last_join(scene, segment, scene.group_of(first), last[first])
        universes = sorted({int(streams.universe[flow]) for flow in last})
        numbers = [n for each in back[-1:] for n in (network.why_back(each) or each.n, each.n)]
        return Finding(
            segment, "rig", "now", "certain" if back else self._sure(scene, k, flows), last[first],
            {"universes": universes, "after_s": None if joined is None else (last[first] - joined) / NS,
             "group": scene.group_of(first) if len(universes) == 1 else "",
             "covers": [f"universe:{number}" for number in universes],
             "back": bool(back) and not scene.late[k, flows].any(),
             "silent_s": max((each.back - each.before) / NS for each in back) if back else None},
            tuple(numbers or [scene.figures.number(k, flow) for flow in flows[:3]]),
        )

    def _sure(self, scene: Scene, k: int, flows: list[int]) -> str:
        """One universe alone, while the sender's others go on coming by multicast: perhaps its sender stopped it."""
        streams = scene.network.streams
        grouped = scene.active[k] & (streams.cast[: scene.flows] == MULTICAST)
        goes_on = any(grouped[streams.alive[: scene.flows] == streams.alive[flow]].any() for flow in flows)
        return "hint" if goes_on and len(flows) == 1 else "likely"


def last_join(scene: Scene, segment: int, group: str, before: int) -> int | None:
    """ns of the newest request for a group before a moment: our own where we are known, else anybody's."""
    table = scene.network.multicast.groups.get((segment, group))
    if table is None:
        return None
    joins = [each.joined_before(before) for each in table.members.values()]
    return max((each for each in joins if each is not None), default=None)


SILENCE_RULES = (MulticastDropped(), SourceEnded(), SourceLost(), UniverseSilent())
