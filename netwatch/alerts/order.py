"""Rules about how the packets of a stream arrive: S8 lost, S9 out of order and repeated.

All rest on running counts in buckets of 10 s, so they are asked on that grid only.
"""

from __future__ import annotations

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.carriage import dropping
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import protocol_name, who
from netwatch.alerts.window import BUCKET_S, EVERYWHERE, I64, Bool, Window
from netwatch.decode.tables import E131
from netwatch.network.network import Network


class PacketsLost:
    """S8: a share of a stream's packets is missing on the way here over a minute, or several in a row, again and again."""

    rule = Rule(
        "packets-lost",
        steady=True,
        until=20 * NS,
        certainty=EVERYWHERE,
        numbers=(
            "loss_window_s",
            "loss_least_packets",
            "loss_least_gaps",
            "loss_least_bursts",
            "moving_share",
            "loss_note",
            "loss_quality",
            "loss_now",
        ),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, window = Looked(wake=next_grid(now)), Window(network, now, int(network.numbers.loss_window_s / BUCKET_S))
        if not window.flows or _we_drop(network, now):
            return looked
        numbers, figures = network.numbers, window.figures
        sent = window.packets + window.lost
        share = window.lost / np.maximum(sent, 1)
        enough = window.used & (sent >= numbers.loss_least_packets)
        # One long gap is an interruption, not a share that gets lost.
        part = (share >= numbers.loss_note) & (figures["gaps"] >= numbers.loss_least_gaps)
        moving = figures["changes"] >= window.packets * numbers.moving_share
        bursts = (figures["bursts"] >= numbers.loss_least_bursts) & moving
        bad = np.flatnonzero(enough & window.counted & (part | bursts)).tolist()
        for flow in _busiest(network, bad, sent):
            everybody = _all_lose(network, flow, enough, bad)
            looked.findings.append(self._finding(window, flow, float(share[flow]), bool(bursts[flow]), everybody))
        return looked

    def _finding(self, window: Window, flow: int, share: float, bursts: bool, everybody: bool) -> Finding:
        numbers, streams = window.network.numbers, window.network.streams
        severity = "now" if share > numbers.loss_now else "quality" if share > numbers.loss_quality or bursts else "note"
        universe = int(streams.universe[flow])
        return Finding(
            int(streams.segment[flow]), f"universe:{universe}", severity, "certain", window.since([flow]),
            {"universe": universe, "protocol": protocol_name(int(streams.protocol[flow])), "who": who(window.network, flow),
             "share": round(share, 5), "lost": int(window.lost[flow]), "packets": int(window.packets[flow]),
             "bursts": int(window.figures["bursts"][flow]) if bursts else None, "all_senders": everybody},
            (int(streams.last_n[flow]),),
        )  # fmt: skip


def _we_drop(network: Network, now: int) -> bool:
    return any(dropping(network, port, now) is not None for port in network.vantage.ports)


def _all_lose(network: Network, flow: int, enough: Bool, bad: list[int]) -> bool:
    """Whether all senders of a flow's segment lose, and they are several."""
    streams = network.streams
    here = np.flatnonzero(enough & (streams.segment[: len(enough)] == streams.segment[flow]))
    senders = {int(streams.alive[each]) for each in here}
    losing = {int(streams.alive[each]) for each in bad if streams.segment[each] == streams.segment[flow]}
    return len(senders) > 1 and senders == losing


def _busiest(network: Network, flows: list[int], sent: I64) -> list[int]:
    """One flow a universe: copies to several receivers are not added up."""
    best: dict[tuple[int, int, int], int] = {}
    streams = network.streams
    for flow in flows:
        key = (int(streams.segment[flow]), int(streams.protocol[flow]), int(streams.universe[flow]))
        if key not in best or sent[flow] > sent[best[key]]:
            best[key] = flow
    return list(best.values())


class PacketsOutOfOrder:
    """S9: packets overtake each other; E1.31 receivers throw away what comes late (E1.31-2018 6.7.2)."""

    rule = Rule(
        "packets-out-of-order",
        steady=True,
        until=20 * NS,
        certainty=EVERYWHERE,
        numbers=("loss_window_s", "loss_least_packets", "loss_least_gaps", "late_share"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, window = Looked(wake=next_grid(now)), Window(network, now, int(network.numbers.loss_window_s / BUCKET_S))
        numbers, late = network.numbers, window.figures["late"]
        bad = window.used & window.counted & (window.packets >= numbers.loss_least_packets) & (late >= numbers.loss_least_gaps)
        # A sender that restarts with a number just below its last one has a few late packets, once.
        bad &= network.streams.buckets.spread("late") > 1
        for flows in window.by_source(np.flatnonzero(bad & (late > window.packets * numbers.late_share))):
            count, packets = int(late[flows].sum()), int(window.packets[flows].sum())
            looked.findings.append(window.finding(flows, "quality", share=round(count / packets, 5), late=count, packets=packets))
        return looked


class PacketsRepeated:
    """S9: packets come twice. Everything exactly twice is the measuring point (a mirror that doubles), not the network."""

    rule = Rule(
        "packets-repeated",
        steady=True,
        until=20 * NS,
        certainty=EVERYWHERE,
        numbers=(
            "loss_window_s",
            "loss_least_packets",
            "loss_least_gaps",
            "repeated_share",
            "doubled_low",
            "doubled_high",
            "stuck_copies",
        ),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked, window = Looked(wake=next_grid(now)), Window(network, now, int(network.numbers.loss_window_s / BUCKET_S))
        numbers, streams, repeated = network.numbers, network.streams, window.figures["repeated"]
        enough = window.used & (window.packets >= numbers.loss_least_packets) & ~window.miscounts
        enough &= streams.protocol[: window.flows] == E131
        ratio = window.packets / np.maximum(window.packets - repeated, 1)
        twice = enough & (ratio >= numbers.doubled_low) & (ratio <= numbers.doubled_high)
        bad = enough & (repeated >= numbers.loss_least_gaps) & (repeated > window.packets * numbers.repeated_share)
        for segment in np.unique(streams.segment[: window.flows][enough]).tolist():
            here = enough & (streams.segment[: window.flows] == segment)
            if (twice & here).sum() == here.sum():
                looked.findings.append(self._doubled(window, segment, np.flatnonzero(here).tolist()))
                bad &= ~here
        for flows in window.by_source(np.flatnonzero(bad)):
            again, packets = int(repeated[flows].sum()), int(window.packets[flows].sum())
            looked.findings.append(window.finding(
                flows, "quality", share=round(again / packets, 5), repeated=again, packets=packets,
                stuck=bool((ratio[flows] > numbers.stuck_copies).all()),
            ))  # fmt: skip
        return looked

    def _doubled(self, window: Window, segment: int, flows: list[int]) -> Finding:
        universes = sorted({int(window.network.streams.universe[flow]) for flow in flows})
        return Finding(
            segment,
            "rig",
            "note",
            "likely",
            window.since(flows),
            {"doubled": True, "universes": universes, "protocol": "e131"},
            tuple(sorted(int(window.network.streams.last_n[flow]) for flow in flows)[-3:]),
        )


ORDER_RULES = (PacketsLost(), PacketsOutOfOrder(), PacketsRepeated())
