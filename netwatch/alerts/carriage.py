"""Rules about how light gets here: R1 broadcast load, P6 our own drops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who
from netwatch.decode.tables import ARTNET, BROADCAST
from netwatch.network.clock import BUCKET_TICKS
from netwatch.network.missed import Moment
from netwatch.network.network import Network

_EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
_GAP_AND_PREAMBLE = 24
"""Bytes of line time beside a captured frame: FCS 4, preamble 8, gap 12 (IEEE 802.3, from memory)."""
_BUCKET_S = BUCKET_TICKS / 4


class ArtnetBroadcastLoad:
    """R1: Art-Net levels go to every box (Art-Net 4 allows no broadcast of ArtDmx, p.58)."""

    rule = Rule(
        "artnet-broadcast-load", until=30 * NS, certainty=_EVERYWHERE,
        numbers=("artnet_broadcast_tidy_pps", "artnet_broadcast_quality_pps", "artnet_broadcast_now_pps"),
    )

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
                segment, "rig", severity, "certain",
                max(now - int(_BUCKET_S * NS), min((int(streams.first[flow]) for flow in flows), default=now)),
                {"mbit": round(mbit, 3), "pps": round(pps, 1), "senders": sorted({who(network, flow) for flow in flows}),
                 "universes": sorted({int(streams.universe[flow]) for flow in flows})},
                tuple(int(streams.last_n[flow]) for flow in flows[:3]),
            ))
        return looked


def dropping(network: Network, port: int, now: int) -> Dropping | None:
    """What this laptop missed on a port within the window of loss: by the system's count; where it gives none, by the packets."""
    state, window = network.vantage.port(port), int(network.numbers.loss_window_s * NS)
    drops = [(time, count) for time, count in state.drops if now - time < window]
    if drops:
        return Dropping(drops[0][0], drops[-1][0], sum(count for _, count in drops), ())
    moments = tuple(each for each in network.streams.missed.moments.get(port, ()) if now - each.at < window)
    return None if state.counts or not moments else Dropping(moments[0].at, moments[-1].at, None, moments)


@dataclass(frozen=True, slots=True)
class Dropping:
    """What this laptop missed."""

    since: int
    last: int
    """ns."""
    count: int | None
    """None = not told."""
    moments: tuple[Moment, ...]


class CaptureDropping:
    """P6: this laptop could not keep up; what is missing is not the network's fault."""

    rule = Rule(
        "capture-dropping", certainty=_EVERYWHERE, about_laptop=True,
        explains=("packets-lost", "packets-out-of-order", "jitter", "source-lost", "universe-silent"),
        numbers=("loss_window_s", "together_s", "together_senders", "together_share"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked(wake=next_grid(now))
        window = int(network.numbers.loss_window_s * NS)
        for index in sorted(network.vantage.ports):
            found = dropping(network, index, now)
            if found is None:
                continue
            looked.later(found.last + window, now)
            name = network.interface(index << 24)
            looked.findings.append(Finding(
                index << 24, f"port:{name}", "soon", "likely" if found.count is None else "certain", found.since,
                {"interface": name, "dropped": found.count, "seconds": (now - found.since) / NS,
                 "moments": len(found.moments) or None, "senders": max((each.senders for each in found.moments), default=None)},
                tuple(each.n for each in (*found.moments[:2], *found.moments[2:][-3:])),
            ))  # fmt: skip
        return looked


CARRIAGE_RULES = (ArtnetBroadcastLoad(), CaptureDropping())
