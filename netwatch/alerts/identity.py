"""Rules about who a source says it is, and what it says it sends: S13 identities, S14 lists."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.contents import hears, lively, newest, universes_of
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who
from netwatch.decode.tables import E131
from netwatch.decode.text import address_text
from netwatch.network.announced import Listing
from netwatch.network.network import Network

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}


class CidCloned:
    """S13: two machines with one identity, or a source without one. Receivers take both for the same source."""

    rule = Rule("cid-cloned", steady=True, until=20 * NS, certainty=_EVERYWHERE, numbers=("same_counter",))

    def look(self, network: Network, now: int) -> Looked:
        looked, streams = Looked(wake=next_grid(now)), network.streams
        flows = lively(network, now)
        sources: dict[tuple[int, int, int], list[int]] = {}
        columns = (streams.segment[flows], streams.id_hi[flows], streams.id_lo[flows])
        for flow, *key in zip(flows.tolist(), *(column.tolist() for column in columns), strict=True):
            sources.setdefault((key[0], key[1], key[2]), []).append(flow)
        for (_, high, low), mine in sources.items():
            machines = {(int(streams.mac[flow]), int(streams.src[flow])) for flow in mine}
            zero = not high and not low
            if len(machines) > 1 or zero:
                finding = self._finding(network, mine, len(machines), zero)
                looked.findings += [finding] if finding is not None else []
        return looked

    def _finding(self, network: Network, flows: list[int], machines: int, zero: bool) -> Finding | None:
        streams = network.streams
        shared = [pair for pair in combinations(flows[:64], 2) if _together(network, *pair)]
        same = [pair for pair in shared if streams.universe[pair[0]] == streams.universe[pair[1]]]
        cloned = [pair for pair in same if not _one_counter(network, pair, same)]
        names = {network.flow_name(flow) for flow in flows}
        if cloned:
            severity, certainty, flows = "now", "certain", sorted({flow for pair in cloned for flow in pair})
        elif zero:
            severity, certainty = "soon", "certain"
        elif same:
            severity, certainty, flows = "note", "likely", sorted({flow for pair in same for flow in pair})
        elif shared and len(names) > 1:
            severity, certainty = "soon", "likely"
        else:
            return None
        return Finding(
            int(streams.segment[flows[0]]), f"source:{network.source_id(flows[0])}", severity, certainty,
            max(int(streams.first[flow]) for flow in flows),
            {"who": who(network, flows[0]), "also": list(dict.fromkeys(who(network, flow) for flow in flows)),
             "universes": universes_of(network, flows), "protocol": "e131",
             "addresses": sorted({address_text(int(streams.src[flow])) for flow in flows}),
             "machines": machines, "zero": zero, "two_networks": severity == "note"},
            newest(network, flows),
        )  # fmt: skip


def _together(network: Network, a: int, b: int) -> bool:
    """Two machines that both sent for some seconds: no move to another address."""
    streams = network.streams
    if (streams.mac[a], streams.src[a]) == (streams.mac[b], streams.src[b]):
        return False
    return int(min(streams.last[a], streams.last[b]) - max(streams.first[a], streams.first[b])) >= 3 * NS


def _one_counter(network: Network, pair: tuple[int, int], same: list[tuple[int, int]]) -> bool:
    """One sender with two network cards: both flows, or copies of them to other receivers, are at the same number."""
    streams = network.streams
    universe = streams.universe[pair[0]]
    machines = {(int(streams.mac[flow]), int(streams.src[flow])) for flow in pair}
    for a, b in same:
        here = streams.universe[a] == universe and {(int(streams.mac[f]), int(streams.src[f])) for f in (a, b)} == machines
        step = int(streams.sequence[a] - streams.sequence[b]) & 255
        if here and min(step, 256 - step) <= network.numbers.same_counter:
            return True
    return False


class DiscoveryMismatch:
    """S14: a source's list of its universes does not agree with what it sends. A note: lists are a hint, never proof."""

    rule = Rule(
        "discovery-mismatch", steady=True, until=30 * NS, certainty=_EVERYWHERE, numbers=("listed_within_s", "membership_s"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        within = int(network.numbers.listed_within_s * NS)
        for (segment, cid), listing in network.announced.items():
            if listing.complete and listing.times >= 3 and now - listing.changed >= within and now - listing.last < within:
                finding = self._compare(network, now - within, now, segment, cid, listing)
                looked.findings += [finding] if finding is not None else []
        return looked

    def _compare(self, network: Network, before: int, now: int, segment: int, cid: str, listing: Listing) -> Finding | None:
        streams, size = network.streams, network.streams.table.size
        mine = np.flatnonzero(
            streams.table.used[:size] & (streams.segment[:size] == segment) & (streams.protocol[:size] == E131)
            & (streams.id_hi[:size] == int(cid[:16], 16)) & (streams.id_lo[:size] == int(cid[16:], 16))
        )  # fmt: skip
        listed = listing.universes
        running = set(lively(network, now).tolist())
        unlisted = [
            flow
            for flow in mine.tolist()
            if flow in running and streams.first[flow] < before and streams.universe[flow] not in listed
        ]
        sent = {int(streams.universe[flow]) for flow in mine[streams.last[mine] >= before]}
        synced = {int(address) for address in streams.sync[mine]} | {
            key.address for key in network.syncs.table if (key.segment, key.protocol) == (segment, E131)
        }
        empty = [number for number in sorted(listed - sent - synced)[:512] if self._would_hear(network, now, segment, number)]
        if not unlisted and not (empty and sent):
            return None
        first = int(mine[0])
        return Finding(
            segment, f"source:{cid}", "note", "certain" if unlisted else "likely", listing.changed,
            {"who": who(network, first), "universes": universes_of(network, unlisted), "protocol": "e131",
             "unlisted": universes_of(network, unlisted), "empty": empty if sent else []},
            tuple(sorted({listing.n, *newest(network, unlisted)})),
        )  # fmt: skip

    def _would_hear(self, network: Network, now: int, segment: int, universe: int) -> bool:
        proven, matters = hears(network, now, segment, f"239.255.{universe >> 8}.{universe & 255}")
        return proven and matters


IDENTITY_RULES = (CidCloned(), DiscoveryMismatch())
