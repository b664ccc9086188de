"""The rule about packets that come unevenly: L5."""

from __future__ import annotations

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Rule
from netwatch.alerts.window import Bool, Window
from netwatch.network.gaps import off_median, steady
from netwatch.network.network import Network

_LENGTHS, _MS_EACH = 3, 5
"""A frame clock gives few lengths of gap: one frame, or two or three where nothing changed meanwhile."""


class Jitter:
    """L5: a flow's gaps have all lengths, while another box's come evenly: it is not this laptop."""

    rule = Rule(
        "jitter",
        steady=True, until=20 * NS, certainty={"mirror": "certain", "ordinary": "certain", "wifi": None, "limited": "likely"},
        numbers=("jitter_tidy_ms", "jitter_quality_ms", "jitter_share", "jitter_least_gaps", "jitter_steady", "jitter_others"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked, window, numbers = Looked(wake=next_grid(now)), Window(network, now, 1), network.numbers
        table = network.streams.spacing.full[: window.flows]
        # A flow that was away or came for the first time has gaps that tell nothing.
        enough = window.whole[: len(table)] & (table.sum(axis=1) >= numbers.jitter_least_gaps)
        flows = np.flatnonzero(enough)
        if len(flows) < 2:
            return looked
        even = np.zeros(len(table), bool)
        even[flows] = steady(table[flows], _LENGTHS, _MS_EACH) >= numbers.jitter_steady
        off = {flow: off_median(table[flow], numbers.jitter_share) for flow in np.flatnonzero(enough & ~even).tolist()}
        bad = np.array([flow for flow, ms in off.items() if ms > numbers.jitter_tidy_ms], np.int64)
        for mine in window.by_source(bad):
            if self._others_are_even(network, mine[0], even) < numbers.jitter_others:
                continue
            worst = max(off[flow] for flow in mine)
            severity = "quality" if worst > numbers.jitter_quality_ms else "tidy"
            hz = int(table[max(mine, key=lambda flow: off[flow])].sum()) / (now - window.begin) * NS
            looked.findings.append(window.finding(mine, severity, ms=round(worst, 1), hz=round(hz, 1)))
        return looked

    @staticmethod
    def _others_are_even(network: Network, flow: int, even: Bool) -> int:
        """Other boxes on the same port whose packets come evenly."""
        streams = network.streams
        here = even & (streams.segment[: len(even)] >> 24 == streams.segment[flow] >> 24)
        return len(set(streams.alive[: len(even)][here].tolist()) - {int(streams.alive[flow])})


JITTER_RULES = (Jitter(),)
