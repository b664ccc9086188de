"""Rules about how light gets here: M1 (nobody asks), S8 loss, R1 broadcast load, P6 our own drops."""

from __future__ import annotations

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import protocol_name, who
from netwatch.decode.tables import ARTNET, BROADCAST, MULTICAST
from netwatch.network.clock import BUCKET_TICKS
from netwatch.network.network import Network

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
_GAP_AND_PREAMBLE = 24
"""Bytes of line time beside a captured frame: FCS 4, preamble 8, gap 12 (IEEE 802.3, from memory)."""
_BUCKET_S = BUCKET_TICKS / 4


class NoQuerier:
    """M1: nobody asks who listens. A note, until this switch has been seen to drop a group: then it will do so again."""

    rule = Rule("no-querier", certainty={"mirror": "likely", "ordinary": "likely", "wifi": "hint", "limited": None})

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        numbers, streams = network.numbers, network.streams
        used = np.flatnonzero(streams.table.settled[: streams.table.size] & (streams.cast[: streams.table.size] == MULTICAST))
        if not len(used):
            return looked
        for segment in np.unique(streams.segment[used]).tolist():
            here = used[streams.segment[used] == segment]
            query = network.multicast.last_query.get(segment)
            since = max(query[0] if query else int(streams.first[here].min()), network.hole_end)
            looked.later(since + numbers.querier_hint_s * NS, now)
            looked.later(since + numbers.querier_gone_s * NS, now)
            if now - since < numbers.querier_hint_s * NS:
                continue
            prunes = segment in network.multicast.drops_seen
            gone = now - since >= numbers.querier_gone_s * NS
            looked.findings.append(Finding(
                segment, "rig", "soon" if prunes and gone else "note", "likely" if gone else "hint", since,
                {"seconds": (now - since) / NS, "prunes": prunes or None, "goes_dark_at": None,
                 "universes": sorted({int(universe) for universe in streams.universe[here]})},
                (query[1],) if query else (),
            ))
        return looked


class PacketsLost:
    """S8: a share of a stream's packets is missing on the way here, over a minute in buckets of 10 s."""

    rule = Rule("packets-lost", until=20 * NS, certainty=_EVERYWHERE)

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        numbers, streams = network.numbers, network.streams
        size = streams.table.size
        if not streams.history or not size or self._we_drop(network, now):
            return looked
        buckets = streams.history[-int(numbers.loss_window_s / _BUCKET_S):]
        got, lost, split, gaps = (sum(_sized(bucket[part], size) for bucket in buckets) for part in range(4))
        missing = np.clip(np.minimum(lost, split), 0, None)
        sent = got + missing
        share = missing / np.maximum(sent, 1)
        # A counter that the sender shares over its universes steps by more than one: no proof of loss (R6).
        counted = (streams.protocol[:size] != ARTNET) | (streams.single_steps[:size] * 2 > streams.packets[:size])
        bad = streams.table.used[:size] & (sent >= numbers.loss_least_packets) & (share >= numbers.loss_note) & counted
        # One long gap is an interruption (a group asked for anew), not a share that gets lost.
        bad &= gaps >= numbers.loss_least_gaps
        senders = {int(streams.alive[flow]) for flow in np.flatnonzero(streams.table.used[:size] & (sent >= numbers.loss_least_packets))}
        losing = {int(streams.alive[flow]) for flow in np.flatnonzero(bad)}
        for flow in self._busiest(network, np.flatnonzero(bad).tolist(), sent):
            part = float(share[flow])
            severity = "now" if part > numbers.loss_now else "quality" if part > numbers.loss_quality else "note"
            looked.findings.append(Finding(
                int(streams.segment[flow]), f"universe:{int(streams.universe[flow])}", severity, "certain",
                max(now - int(len(buckets) * _BUCKET_S * NS), int(streams.first[flow])),
                {"universe": int(streams.universe[flow]), "protocol": protocol_name(int(streams.protocol[flow])),
                 "who": who(network, flow), "share": round(part, 5), "lost": int(missing[flow]), "packets": int(got[flow]),
                 "all_senders": len(senders) > 1 and losing == senders},
                (int(streams.last_n[flow]),),
            ))
        return looked

    def _we_drop(self, network: Network, now: int) -> bool:
        window = int(network.numbers.loss_window_s * NS)
        return any(now - time < window for state in network.vantage.ports.values() for time, _ in state.drops)

    def _busiest(self, network: Network, flows: list[int], sent: np.ndarray) -> list[int]:
        """One flow a universe: copies to several receivers are not added up."""
        best: dict[tuple[int, int, int], int] = {}
        streams = network.streams
        for flow in flows:
            key = (int(streams.segment[flow]), int(streams.protocol[flow]), int(streams.universe[flow]))
            if key not in best or sent[flow] > sent[best[key]]:
                best[key] = flow
        return list(best.values())


def _sized(array: np.ndarray, size: int) -> np.ndarray:
    """The figures of a bucket for all flows known now."""
    return array[:size] if len(array) >= size else np.append(array, np.zeros(size - len(array), array.dtype))


class ArtnetBroadcastLoad:
    """R1: Art-Net levels go to every box (Art-Net 4 allows no broadcast of ArtDmx, p.58)."""

    rule = Rule("artnet-broadcast-load", until=30 * NS, certainty=_EVERYWHERE)

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        numbers, streams = network.numbers, network.streams
        size = streams.table.size
        for segment in network.load.full:
            packets, octets = network.load.artnet_broadcast(segment)
            pps = packets / _BUCKET_S
            if not packets or pps <= numbers.artnet_broadcast_tidy_pps:
                continue
            loud = pps > numbers.artnet_broadcast_now_pps
            severity = "now" if loud else "quality" if pps > numbers.artnet_broadcast_quality_pps else "tidy"
            flows = np.flatnonzero(
                streams.table.used[:size] & (streams.protocol[:size] == ARTNET) & (streams.cast[:size] == BROADCAST)
                & (streams.segment[:size] == segment)
            ).tolist()
            mbit = (octets + packets * _GAP_AND_PREAMBLE) * 8 / _BUCKET_S / 1e6
            looked.findings.append(Finding(
                segment, "rig", severity, "certain", now - int(_BUCKET_S * NS),
                {"mbit": round(mbit, 3), "pps": round(pps, 1), "senders": sorted({who(network, flow) for flow in flows}),
                 "universes": sorted({int(streams.universe[flow]) for flow in flows})},
                tuple(int(streams.last_n[flow]) for flow in flows[:3]),
            ))
        return looked


class CaptureDropping:
    """P6: this laptop could not keep up; what is missing is not the network's fault."""

    rule = Rule("capture-dropping", certainty=_EVERYWHERE, about_laptop=True, explains=("packets-lost", "source-lost", "universe-silent"))

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        window = int(network.numbers.loss_window_s * NS)
        for index, state in network.vantage.ports.items():
            drops = [(time, count) for time, count in state.drops if now - time < window]
            if not drops:
                continue
            looked.later(drops[-1][0] + window, now)
            name = network.ports[index].name
            looked.findings.append(Finding(
                index << 24, f"port:{name}", "soon", "certain", drops[0][0],
                {"interface": name, "dropped": sum(count for _, count in drops), "seconds": (now - drops[0][0]) / NS}, (),
            ))
        return looked


CARRIAGE_RULES = (ArtnetBroadcastLoad(), CaptureDropping(), NoQuerier(), PacketsLost())
