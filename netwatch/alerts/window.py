"""What all flows did over the newest buckets of 10 s: the ground of the rules about loss, order and rates."""

from __future__ import annotations

from collections.abc import Iterable
from functools import cached_property

import numpy as np
import numpy.typing as npt

from netwatch.alerts.rule import NS, Finding
from netwatch.alerts.scene import protocol_name, who
from netwatch.decode.tables import ARTNET
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
        """Flows that were heard, but for those whose frames went round in a loop: their counts tell nothing."""
        streams, used = self.network.streams, self.network.streams.table.used[: self.flows] & (self.packets > 0)
        for segment, newest in self.network.circles.went_round.items():
            if newest > self.begin:
                used &= streams.segment[: self.flows] != segment
        return used

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
