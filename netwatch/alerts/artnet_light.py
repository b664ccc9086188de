"""Rules over Art-Net's light: R5 merging, R6 stuck numbers, R8 ArtSync. Asked at ticks of their own, on figures of that tick."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.artnet import active, named
from netwatch.alerts.likeness import alike, differing
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who
from netwatch.decode.tables import ARTNET, BROADCAST
from netwatch.decode.text import address_text
from netwatch.network.clock import TICK
from netwatch.network.network import Network
from netwatch.network.syncs import Sync

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
_MOST = 8
"""Sources of one universe that are compared."""


class ControllersMerging:
    """R5: nodes get one universe from two sources, and merge; they ignore a third (p.62, p.63)."""

    rule = Rule(
        "controllers-merging", certainty=_EVERYWHERE,
        numbers=("fight_levels", "merge_overlap_s", "same_light_frames", "same_light_within_s", "same_light", "other_light"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        told: set[tuple[int, int]] = set()
        for (segment, universe), flows in self._shared(network, now).items():
            pairs = self._pairs(network, looked, now, flows)
            if pairs:
                told.add((segment, universe))
                looked.findings.append(self._finding(network, now, segment, universe, pairs))
        for segment, universe in self._said(network, now):
            if (segment, universe) not in told:
                looked.findings.append(self._by_word(network, now, segment, universe))
        return looked

    def _shared(self, network: Network, now: int) -> dict[tuple[int, int], list[int]]:
        """Flows of universes that have several sources."""
        streams = network.streams
        places: dict[tuple[int, int], list[int]] = {}
        for flow in active(network, now):
            places.setdefault((int(streams.segment[flow]), int(streams.universe[flow])), []).append(flow)
        return {place: flows for place, flows in places.items() if len({int(streams.stream[flow]) for flow in flows}) > 1}

    def _pairs(self, network: Network, looked: Looked, now: int, flows: list[int]) -> list[tuple[int, int]]:
        """Pairs of sources that reach the same nodes, and did so side by side for long enough."""
        streams, least = network.streams, int(network.numbers.merge_overlap_s * NS)
        pairs = []
        for a, b in combinations(flows[:_MOST], 2):
            apart = streams.dst[a] != streams.dst[b] and BROADCAST not in (streams.cast[a], streams.cast[b])
            if apart or streams.stream[a] == streams.stream[b]:
                continue
            began = max(int(streams.run[a]), int(streams.run[b]), network.hole_end)
            looked.later(next_grid(now), now)
            if min(int(streams.last[a]), int(streams.last[b])) - began > least:
                pairs.append((a, b))
            else:
                looked.later(max(began + least, now) + NS, now)
        return pairs

    def _finding(self, network: Network, now: int, segment: int, universe: int, pairs: list[tuple[int, int]]) -> Finding:
        streams = network.streams
        apart = {pair: differing(network, *pair) for pair in pairs}
        same = {pair: alike(network, now, *pair) for pair in pairs}
        fights = [pair for pair in pairs if apart[pair] and same[pair] is False]
        a, b = max(fights or pairs, key=lambda pair: (apart[pair], -pair[0], -pair[1]))
        flows = list(dict.fromkeys(flow for pair in pairs for flow in pair))
        sources = len({int(streams.stream[flow]) for flow in flows})
        third = sources > 2 and any(same[pair] is False for pair in pairs)
        names = list(dict.fromkeys(_name(network, flow) for flow in flows))
        return Finding(
            segment,
            f"universe:{universe}",
            "now" if fights or third else "quality" if sources > 2 else "note",
            "certain",
            max(int(streams.run[a]), int(streams.run[b])),
            {
                "universe": universe,
                "protocol": "artnet",
                "a": _name(network, a),
                "b": _name(network, b),
                "also": names,
                "sources": sources,
                "channels": apart[a, b] if fights else None,
                "agree": all(same[pair] for pair in pairs) or None,
                "nodes": self._said(network, now).get((segment, universe), []),
            },
            tuple(sorted({int(streams.last_n[flow]) for flow in flows}))[:8],
        )

    def _said(self, network: Network, now: int) -> dict[tuple[int, int], list[str]]:
        """Nodes that say of an output that they merge."""
        out: dict[tuple[int, int], list[str]] = {}
        for bind in network.nodes.current(now):
            for universe in sorted(bind.merging):
                out.setdefault((bind.segment, universe), []).append(named(bind))
        return {place: list(dict.fromkeys(names)) for place, names in out.items()}

    def _by_word(self, network: Network, now: int, segment: int, universe: int) -> Finding:
        binds = [bind for bind in network.nodes.current(now) if bind.segment == segment and universe in bind.merging]
        return Finding(
            segment,
            f"universe:{universe}",
            "quality",
            "likely",
            min(bind.last for bind in binds),
            {
                "universe": universe,
                "protocol": "artnet",
                "a": None,
                "b": None,
                "also": [],
                "sources": None,
                "channels": None,
                "agree": None,
                "nodes": list(dict.fromkeys(named(bind) for bind in binds)),
            },
            tuple(bind.n for bind in binds[:3]),
        )


def _name(network: Network, flow: int) -> str:
    """A source by name; with its input port where that isn't the first (one box may be two sources, p.62)."""
    port = int(network.streams.id_lo[flow])
    return who(network, flow) + (f" port {port}" if port else "")


class SequenceStuck:
    """R6: a sender repeats one number that isn't 0; nodes that look at numbers drop what it sends."""

    rule = Rule("sequence-stuck", until=20 * NS, certainty=_EVERYWHERE, numbers=("stuck_packets",))

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        streams, stuck = network.streams, network.nodes.stuck
        if not (streams.protocol[: streams.table.size] == ARTNET).any():
            return looked
        looked.later(next_grid(now), now)
        size = min(len(stuck), streams.table.size)
        bad = np.flatnonzero(
            (stuck[:size] >= network.numbers.stuck_packets) & (streams.protocol[:size] == ARTNET) & streams.table.used[:size]
        )
        senders: dict[tuple[int, str], list[int]] = {}
        for flow in bad.tolist():
            senders.setdefault((int(streams.segment[flow]), address_text(int(streams.src[flow]))), []).append(flow)
        for (segment, address), flows in senders.items():
            looked.findings.append(
                Finding(
                    segment,
                    f"address:{address}",
                    "note",
                    "certain",
                    min(int(streams.run[flow]) for flow in flows),
                    {
                        "who": who(network, flows[0]),
                        "address": address,
                        "protocol": "artnet",
                        "number": int(streams.sequence[flows[0]]),
                        "universes": sorted({int(streams.universe[flow]) for flow in flows}),
                        "packets": int(stuck[flows].sum()),
                    },
                    tuple(sorted({int(streams.last_n[flow]) for flow in flows}))[:3],
                )
            )
        return looked


class ArtnetSyncTrouble:
    """R8: two boxes send ArtSync, or one stops while its light goes on, or its light is sent by nobody (p.64, p.65)."""

    rule = Rule(
        "artnet-sync-trouble", certainty=_EVERYWHERE,
        numbers=("artnet_silent_s", "sync_hold_s", "sync_least", "sync_told_s"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        syncs, hold = network.syncs.artnet(), int(network.numbers.sync_hold_s * NS)
        if syncs:
            looked.later(next_grid(now), now)
        for segment, here in syncs.items():
            if len(here) > 1:
                looked.later(max(sync.run for sync in here) + hold + TICK, now)
            rivals = self._rivals(network, now, here)
            if rivals:
                looked.findings.append(self._clash(network, segment, rivals))
                continue
            for sync in here:
                looked.later(sync.last + hold + TICK, now)
                looked.later(sync.run + int(network.numbers.artnet_silent_s * NS), now)
                finding = self._stopped(network, now, sync) or self._lightless(network, now, sync)
                if finding is not None:
                    looked.findings.append(finding)
        return looked

    def _rivals(self, network: Network, now: int, syncs: list[Sync]) -> list[Sync]:
        hold = int(network.numbers.sync_hold_s * NS)
        steady = [sync for sync in syncs if now - sync.last <= 10 * NS and sync.count >= 2]
        return [
            one
            for one in steady
            if any(other is not one and min(one.last, other.last) - max(one.run, other.run) > hold for other in steady)
        ]

    def _clash(self, network: Network, segment: int, rivals: list[Sync]) -> Finding:
        return Finding(
            segment,
            "rig",
            "quality",
            "certain",
            sorted(sync.run for sync in rivals)[1],
            {"what": "two", "senders": [self._who(network, sync) for sync in rivals], "who": None, "seconds": None},
            tuple(sorted(n for sync in rivals[:3] for n in (sync.first_n, sync.last_n))),
        )

    def _stopped(self, network: Network, now: int, sync: Sync) -> Finding | None:
        numbers, streams = network.numbers, network.streams
        if sync.count < numbers.sync_least or sync.last < network.hole_end:
            return None
        if not numbers.sync_hold_s * NS < now - sync.last <= numbers.sync_told_s * NS:
            return None
        mine = [flow for flow in active(network, now, sync.segment) if address_text(int(streams.src[flow])) == sync.address]
        if not mine or max(int(streams.last[flow]) for flow in mine) - sync.last <= numbers.sync_hold_s * NS:
            return None
        return Finding(
            sync.segment,
            f"address:{sync.address}",
            "note",
            "certain",
            sync.last,
            {
                "what": "stopped",
                "senders": [self._who(network, sync)],
                "who": self._who(network, sync),
                "seconds": numbers.sync_hold_s,
            },
            (sync.last_n, int(streams.last_n[mine[0]])),
        )

    def _lightless(self, network: Network, now: int, sync: Sync) -> Finding | None:
        """Only a mirror port shows light that is sent to one box alone."""
        steady = sync.count >= network.numbers.sync_least and now - sync.last <= network.numbers.sync_hold_s * NS
        if not steady or network.where(sync.segment) != "mirror" or now - sync.run < network.numbers.artnet_silent_s * NS:
            return None
        streams, size = network.streams, network.streams.table.size
        sent = streams.src[:size][streams.table.used[:size] & (streams.protocol[:size] == ARTNET)]
        if any(address_text(int(source)) == sync.address for source in np.unique(sent)):
            return None
        return Finding(
            sync.segment,
            f"address:{sync.address}",
            "tidy",
            "hint",
            sync.run,
            {"what": "no light", "senders": [self._who(network, sync)], "who": self._who(network, sync), "seconds": None},
            (sync.first_n, sync.last_n),
        )

    def _who(self, network: Network, sync: Sync) -> str:
        """A sender of ArtSync by name, its address where none is known."""
        for bind in network.nodes.binds.values():
            if bind.segment == sync.segment and bind.src == sync.address:
                return named(bind)
        return sync.address


ARTNET_LIGHT_RULES = (ArtnetSyncTrouble(), ControllersMerging(), SequenceStuck())
