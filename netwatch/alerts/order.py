"""Rules about how the packets of a stream arrive: S8 lost, S9 out of order and repeated, S10 too fast and too slow.

All rest on running counts in buckets of 10 s, so they are asked on that grid only.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
import numpy.typing as npt

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.scene import protocol_name, who
from netwatch.decode.tables import ARTNET, E131
from netwatch.network.buckets import KEPT
from netwatch.network.clock import BUCKET_TICKS
from netwatch.network.network import Network

I64 = npt.NDArray[np.int64]
Bool = npt.NDArray[np.bool_]

EVERYWHERE = {"mirror": "certain", "ordinary": "certain", "wifi": "certain", "limited": "certain"}
BUCKET_S = BUCKET_TICKS / 4


class Window:
    """Figures of all flows over the newest buckets."""

    def __init__(self, network: Network, now: int, most: int = KEPT) -> None:
        self.network, self.now = network, now
        self.figures = network.streams.buckets.sums(most)
        self.flows = len(self.figures["packets"])
        self.seconds = min(most, len(network.streams.buckets.full)) * BUCKET_S
        self.begin = now - int(self.seconds * NS)

    @cached_property
    def used(self) -> Bool:
        return self.network.streams.table.used[: self.flows] & (self.packets > 0)

    @property
    def packets(self) -> I64:
        return self.figures["packets"]

    @cached_property
    def lost(self) -> I64:
        """By whichever reading of the counter misses less: one for all START codes (E1.31-2018 6.2.5), or one for 0 alone."""
        return np.clip(np.minimum(self.figures["lost"], self.figures["lost_split"]), 0, None)

    @cached_property
    def counted(self) -> Bool:
        """Flows whose numbers can be trusted to tell of the way here."""
        streams = self.network.streams
        # A counter that the sender shares over its universes steps by more than one (R6).
        steps = streams.single_steps[: self.flows] * 2 > streams.packets[: self.flows]
        alone: Bool = ((streams.protocol[: self.flows] != ARTNET) | steps) & ~self.miscounts
        return alone

    @cached_property
    def miscounts(self) -> Bool:
        """21, 23, 23, 25, 25: as many numbers twice as are left out, in a good part of all packets. The sender counts wrong."""
        twice, out = self.figures["repeated"], self.lost
        return (twice * 5 > self.packets) & (abs(twice - out) * 10 <= twice)

    @cached_property
    def whole(self) -> Bool:
        """Flows that ran through all of the window, without a hole in what we heard."""
        streams = self.network.streams
        ran = (streams.first[: self.flows] <= self.begin) & (self.figures["outages"] == 0) & (self.network.hole_end <= self.begin)
        runs: Bool = self.used & ran & (self.now - streams.last[: self.flows] <= streams.silence[: self.flows])
        return runs

    def since(self, flows: Iterable[int]) -> int:
        """ns: begin of the window, or of the oldest of these flows."""
        return max(self.begin, min(int(self.network.streams.first[flow]) for flow in flows))

    def by_source(self, flows: I64) -> list[list[int]]:
        """The flows of each source on each segment."""
        streams, out = self.network.streams, dict[tuple[int, ...], list[int]]()
        for flow in flows.tolist():
            key = int(streams.segment[flow]), int(streams.protocol[flow]), int(streams.id_hi[flow]), int(streams.id_lo[flow])
            out.setdefault(key, []).append(flow)
        return list(out.values())

    def finding(self, flows: list[int], severity: str, certainty: str = "certain", **facts: object) -> Finding:
        """About the source of these flows."""
        streams, first = self.network.streams, flows[0]
        named = {
            "who": who(self.network, first), "universes": sorted({int(streams.universe[flow]) for flow in flows}),
            "protocol": protocol_name(int(streams.protocol[first])),
        }  # fmt: skip
        return Finding(
            int(streams.segment[first]), f"source:{self.network.source_id(first)}", severity, certainty, self.since(flows),
            named | facts, tuple(sorted({int(streams.last_n[flow]) for flow in flows})[-3:]),
        )  # fmt: skip


class PacketsLost:
    """S8: a share of a stream's packets is missing on the way here over a minute, or several in a row, again and again."""

    rule = Rule(
        "packets-lost", until=20 * NS, certainty=EVERYWHERE,
        numbers=(
            "loss_window_s", "loss_least_packets", "loss_least_gaps", "loss_least_bursts", "moving_share", "loss_note",
            "loss_quality", "loss_now",
        ),
    )
    steady = True

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
    window = int(network.numbers.loss_window_s * NS)
    return any(now - time < window for state in network.vantage.ports.values() for time, _ in state.drops)


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
        "packets-out-of-order", until=20 * NS, certainty=EVERYWHERE,
        numbers=("loss_window_s", "loss_least_packets", "loss_least_gaps", "late_share"),
    )
    steady = True

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
        "packets-repeated", until=20 * NS, certainty=EVERYWHERE,
        numbers=(
            "loss_window_s", "loss_least_packets", "loss_least_gaps", "repeated_share", "doubled_low", "doubled_high",
            "stuck_copies",
        ),
    )
    steady = True

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
            segment, "rig", "note", "likely", window.since(flows), {"doubled": True, "universes": universes, "protocol": "e131"},
            tuple(sorted(int(window.network.streams.last_n[flow]) for flow in flows)[-3:]),
        )


class RateTooHigh:
    """S10: more frames than a DMX512 line can take (E1.31-2018 6.6.1, unless the user wants it so)."""

    rule = Rule("rate-too-high", until=20 * NS, certainty=EVERYWHERE, numbers=("rate_margin",))
    steady = True

    def look(self, network: Network, now: int) -> Looked:
        looked, window = Looked(wake=next_grid(now)), Window(network, now, 1)
        streams, flows = network.streams, window.flows
        frames = window.packets - window.figures["coded"] - window.figures["repeated"]
        rate = frames / BUCKET_S
        limit = dmx_rate(streams.slots[:flows]) * (1 + network.numbers.rate_margin)
        bad = window.whole & (streams.protocol[:flows] == E131) & (streams.slots[:flows] >= 0) & (rate > limit)
        for flows_of_one in window.by_source(np.flatnonzero(bad)):
            worst = max(flows_of_one, key=lambda flow: float(rate[flow] / limit[flow]))
            looked.findings.append(window.finding(
                flows_of_one, "quality", hz=round(float(rate[worst]), 1), slots=int(streams.slots[worst]),
                most_hz=round(float(dmx_rate(streams.slots[worst : worst + 1])[0]), 1),
            ))  # fmt: skip
        return looked


def dmx_rate(slots: I64) -> npt.NDArray[np.float64]:
    """Most frames a second of a DMX512 line: break and mark 104 us, 44 us a slot, 1204 us at least (E1.11-2008 table 6)."""
    return 1e6 / np.maximum(1204, (np.clip(slots, 0, None) + 1) * 44 + 104)


class RateTooLow:
    """S10: light that stands is repeated so rarely that one lost packet looks like silence; or moving light moves in steps."""

    rule = Rule(
        "rate-too-low", until=20 * NS, certainty=EVERYWHERE | {"wifi": "likely"},
        numbers=(
            "rate_window_s", "keep_alive_tidy_s", "keep_alive_soon_s", "moving_least_hz", "moving_all",
            "moving_least_frames",
        ),
    )
    steady = True

    def look(self, network: Network, now: int) -> Looked:
        looked, window = Looked(wake=next_grid(now)), Window(network, now, int(network.numbers.rate_window_s / BUCKET_S))
        numbers, flows = network.numbers, window.flows
        frames = np.maximum(window.packets - window.figures["coded"] - window.figures["repeated"], 1)
        light = window.whole & (window.seconds >= numbers.rate_window_s) & (network.streams.protocol[:flows] == E131)
        # Where something is missing or the numbers stand still, the count of packets tells no rate.
        light &= (window.lost == 0) & (window.figures["late"] == 0) & (window.figures["repeated"] * 2 <= window.packets)
        gap = window.seconds / (frames + 1)
        still = light & (window.figures["changes"] == 0) & (gap > numbers.keep_alive_tidy_s)
        for one in window.by_source(np.flatnonzero(still)):
            worst = float(gap[one].max())
            severity = "soon" if worst > numbers.keep_alive_soon_s else "tidy"
            looked.findings.append(window.finding(one, severity, gap_s=round(worst, 2), moving=False))
        told = {each.subject for each in looked.findings}
        # Nearly every frame differs from the one before, so nothing is left out because it stood still.
        moves = light & (window.figures["changes"] >= frames * numbers.moving_all) & (1 / gap < numbers.moving_least_hz)
        for one in window.by_source(np.flatnonzero(moves & (frames >= numbers.moving_least_frames))):
            slow = window.finding(one, "tidy", "hint", hz=round(float(1 / gap[one].max()), 1), moving=True)
            if slow.subject not in told:
                looked.findings.append(slow)
        return looked


ORDER_RULES = (PacketsLost(), PacketsOutOfOrder(), PacketsRepeated(), RateTooHigh(), RateTooLow())
