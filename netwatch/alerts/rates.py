"""Rules about how often frames come: S10 too fast for a DMX line, too slow to be safe or smooth."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.rule import NS, Rule
from netwatch.alerts.window import BUCKET_S, EVERYWHERE, I64, Window
from netwatch.decode.tables import E131
from netwatch.network.network import Network


class RateTooHigh:
    """S10: more frames than a DMX512 line can take (E1.31-2018 6.6.1, unless the user wants it so)."""

    rule = Rule("rate-too-high", steady=True, until=20 * NS, certainty=EVERYWHERE, numbers=("rate_margin",))

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
        "rate-too-low",
        steady=True,
        until=20 * NS,
        certainty=EVERYWHERE | {"wifi": "likely"},
        numbers=(
            "rate_window_s",
            "keep_alive_tidy_s",
            "keep_alive_soon_s",
            "moving_least_hz",
            "moving_all",
            "moving_least_frames",
        ),
    )

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


RATE_RULES = (RateTooHigh(), RateTooLow())
