"""Rules about how light gets here: R1 broadcast load, P6 our own drops."""

from __future__ import annotations

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import who
from netwatch.decode.tables import ARTNET, BROADCAST
from netwatch.network.clock import BUCKET_TICKS
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
                segment, "rig", severity, "certain", max(now - int(_BUCKET_S * NS), min((int(streams.first[flow]) for flow in flows), default=now)),
                {"mbit": round(mbit, 3), "pps": round(pps, 1), "senders": sorted({who(network, flow) for flow in flows}),
                 "universes": sorted({int(streams.universe[flow]) for flow in flows})},
                tuple(int(streams.last_n[flow]) for flow in flows[:3]),
            ))
        return looked


class CaptureDropping:
    """P6: this laptop could not keep up; what is missing is not the network's fault."""

    rule = Rule(
        "capture-dropping", certainty=_EVERYWHERE, about_laptop=True, explains=("packets-lost", "source-lost", "universe-silent"),
        numbers=("loss_window_s",),
    )

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


CARRIAGE_RULES = (ArtnetBroadcastLoad(), CaptureDropping())
