"""All light ends within two minutes, and its boxes are silent: somebody switched the rig off. One note instead of many alerts.

It must never hide that the network broke. So it is said only of light that we would hear or that ended properly, of several
boxes,
none of which is heard any more, while our own link stood. In a show it must not have been one moment for all, as a cut is, and no
node may be heard afterwards. It is taken back as soon as one of the boxes is heard again without its light.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.phases import SHOW, Phases
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import Scene, who
from netwatch.decode.tables import ARTNET, E131
from netwatch.decode.text import mac_text
from netwatch.network.network import Network
from netwatch.network.streams import TERMINATED, Streams
from netwatch.network.switched_off import Off, went_off
from netwatch.network.switching import groups_of_light

_LAST_WORDS = 5 * NS
"""What a node says so soon after the light went is no sign that it stays on. Common practice, no source."""


def watch(scene: Scene, phases: Phases, now: int) -> None:
    """At the end of a tick on the 10 s grid, after the rules: has a rig been switched off, or come back?"""
    network, streams = scene.network, scene.network.streams
    before = dict(network.off)
    for segment in np.unique(streams.segment[: scene.flows][scene.settled]).tolist():
        off = network.off.get(segment)
        if off is not None and not off.back:
            _still_off(network, phases, segment, off)
        if segment not in network.off or network.off[segment].back:
            flows = _ended_together(scene, segment)
            if flows and _is_off(scene, phases, segment, flows, now):
                network.off[segment] = _off(network, flows)
    network.revision += before != network.off


def _still_off(network: Network, phases: Phases, segment: int, off: Off) -> None:
    streams, size = network.streams, network.streams.table.size
    here = streams.table.used[:size] & (streams.segment[:size] == segment)
    if (streams.last[:size][here] > off.until).any():
        network.off[segment] = replace(off, back=True)
        return
    alive = streams.senders.heard[streams.alive[:size][here & (streams.last[:size] >= off.since)]]
    if (alive > off.until).any() or (phases.at(off.until) == SHOW and _nodes_heard(network, segment, off.until + _LAST_WORDS)):
        del network.off[segment]


def _ended_together(scene: Scene, segment: int) -> list[int]:
    """The flows of a segment that ended last, all within two minutes; none while any light is on."""
    streams = scene.network.streams
    here = scene.used & (streams.segment[: scene.flows] == segment)
    if scene.active[-1][here].any():
        return []
    last = streams.last[: scene.flows]
    here &= scene.settled & ~went_off(streams, scene.network.off, last)
    newest = last[here].max(initial=0)
    return np.flatnonzero(here & (last >= newest - scene.network.numbers.off_within_s * NS)).tolist()


def _is_off(scene: Scene, phases: Phases, segment: int, flows: list[int], now: int) -> bool:
    network, streams, numbers = scene.network, scene.network.streams, scene.network.numbers
    first, last = int(streams.last[flows].min()), int(streams.last[flows].max())
    boxes = np.unique(streams.alive[flows])
    if len(boxes) < numbers.off_boxes or now - int(streams.senders.heard[boxes].max()) < numbers.off_after_s * NS:
        return False
    properly = (streams.options[flows] & TERMINATED) != 0
    if first <= network.hole_end or not (properly | scene.heard[-1][flows]).all() or _link_changed(network, segment, first, now):
        return False
    if phases.at(last) != SHOW:
        return True
    at_once = last - first < numbers.off_at_once_s * NS and not properly.all()
    return not at_once and not _nodes_heard(network, segment, last + _LAST_WORDS)


def _off(network: Network, flows: list[int]) -> Off:
    streams = network.streams
    first, last, boxes = int(streams.last[flows].min()), int(streams.last[flows].max()), np.unique(streams.alive[flows])
    return Off(
        since=first, until=max(last, int(streams.senders.heard[boxes].max())),
        who=tuple(dict.fromkeys(who(network, flow) for flow in flows)), boxes=len(boxes),
        universes=_sent(streams, flows, E131), artnet=_sent(streams, flows, ARTNET), seconds=(last - first) / NS,
        flows=len(flows),
        properly=int(np.count_nonzero(streams.options[flows] & TERMINATED)),
        numbers=tuple(np.unique(streams.last_n[flows]).tolist()[-8:]),
    )  # fmt: skip


def _sent(streams: Streams, flows: list[int], protocol: int) -> tuple[int, ...]:
    return tuple(sorted({int(streams.universe[flow]) for flow in flows if streams.protocol[flow] == protocol}))


def _link_changed(network: Network, segment: int, first: int, now: int) -> bool:
    """Our own link explains a silence that began with it."""
    port = network.vantage.ports.get(segment >> 24)
    if port is not None and port.link.startswith(("down", "gone")):
        return True
    begun = network.begun if network.begun is not None else 0
    changes = network.changes.between(first - _LAST_WORDS, now, begun)
    return any(each.what == "link" and each.segment >> 24 == segment >> 24 for each in changes)


def _nodes_heard(network: Network, segment: int, after: int) -> bool:
    """A box that takes light was heard after that moment: as an Art-Net node, or as it asked for a universe."""
    own = {mac_text(mac) for mac in network.own(segment)}
    if any(bind.segment == segment and bind.last > after for bind in network.nodes.binds.values()):
        return True
    groups = (network.multicast.groups.get(key) for key in groups_of_light(network) if key[0] == segment)
    return any(
        member.reported > after
        for group in groups if group is not None
        for mac, member in group.members.items() if mac not in own
    )


class RigSwitchedOff:
    """True from when it was noticed until light comes again."""

    rule = Rule(
        "rig-switched-off",
        until=30 * NS,
        certainty={"mirror": "certain", "ordinary": "certain", "wifi": "likely", "limited": "hint"},
        explains=(
            "source-lost", "source-ended", "universe-silent", "controller-left", "backup-took-over", "multicast-dropped",
            "sync-lost", "poll-unanswered", "querier-lost", "no-querier", "deaf-receiver", "artnet-sync-trouble", "link-flapping",
        ),
        numbers=("off_within_s", "off_after_s", "off_at_once_s", "off_boxes"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for segment, off in network.off.items():
            if not off.back:
                looked.findings.append(self._finding(segment, off))
                looked.later(next_grid(now), now)
        return looked

    @staticmethod
    def _finding(segment: int, off: Off) -> Finding:
        return Finding(
            segment, "rig", "note", "certain" if off.properly == off.flows else "likely", off.since,
            {"who": list(off.who), "boxes": off.boxes, "universes": list(off.universes), "seconds": round(off.seconds, 3),
             "artnet": list(off.artnet), "flows": off.flows, "properly": off.properly}, off.numbers,
        )  # fmt: skip


SWITCHED_OFF_RULES = (RigSwitchedOff(),)
