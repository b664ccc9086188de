"""Rules about Wi-Fi: W1 light that comes in clumps or gets lost in the air, W2 a cell that keeps its boxes apart, W3 roaming."""

from __future__ import annotations

from ipaddress import IPv4Address

import numpy as np

from netwatch.alerts.addresses import next_grid
from netwatch.alerts.look import Looked
from netwatch.alerts.reference import expected_of
from netwatch.alerts.rule import NS, Finding, Rule
from netwatch.alerts.window import BUCKET_S, Window
from netwatch.decode.tables import E131, MULTICAST
from netwatch.network.cells import Change, Pause
from netwatch.network.gaps import between
from netwatch.network.habits import ASKS
from netwatch.network.network import Network
from netwatch.network.vantage import PortState

_ON_WIFI = {"mirror": None, "ordinary": None, "wifi": "certain", "limited": None}
_BEACONS = (1, 2, 3)
"""Group frames wait for every beacon, every second or every third one, as the access point is set (DTIM; from memory)."""


class WifiClumping:
    """W1: an access point holds group frames back until its next beacon, and nobody repeats those that get lost."""

    rule = Rule(
        "wifi-clumping",
        steady=True, until=20 * NS, certainty=_ON_WIFI, explains=("packets-lost", "packets-out-of-order", "rate-too-low"),
        numbers=(
            "clump_ms", "clump_share", "clump_early_ms", "clump_late_ms", "jitter_least_gaps",
            "air_loss_quality", "air_loss_soon", "loss_window_s", "loss_least_packets",
        ),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked, numbers = Looked(wake=next_grid(now)), network.numbers
        ports = [index for index, port in enumerate(network.ports) if port.kind == "wifi"]
        if not ports:
            return looked
        window = Window(network, now, int(numbers.loss_window_s / BUCKET_S))
        streams, size = network.streams, window.flows
        by_air = window.used & (streams.cast[:size] == MULTICAST) & (streams.protocol[:size] == E131)
        beacons = self._beacons(network, size)
        sent = window.packets + window.lost
        for segment in np.unique(streams.segment[:size][by_air & np.isin(streams.segment[:size] >> 24, ports)]).tolist():
            here = by_air & (streams.segment[:size] == segment)
            counted = here & (sent >= numbers.loss_least_packets) & window.counted
            lost = int(window.lost[counted].sum()) / max(1, int(sent[counted].sum()))
            clumped = np.flatnonzero(here & (beacons > 0))
            if len(clumped) or lost > numbers.air_loss_quality:
                flows = clumped if len(clumped) else np.flatnonzero(counted)
                looked.findings.append(self._finding(window, segment, flows.tolist(), int(beacons[clumped].max(initial=0)), lost))
        return looked

    @staticmethod
    def _beacons(network: Network, size: int) -> np.ndarray:
        """[flows] how many beacons lie between two clumps; 0 = it does not come in clumps."""
        numbers, table = network.numbers, network.streams.spacing.full[:size]
        out = np.zeros(size, np.int64)
        if not len(table):
            return out
        total, near = table.sum(axis=1, dtype=np.int64), between(table, 0, numbers.clump_ms)
        enough = total >= numbers.jitter_least_gaps / 2
        for times in _BEACONS:
            far = between(table, numbers.clump_early_ms * times, numbers.clump_late_ms * times + 4 * (times > 1))
            # Of each clump one packet comes after the long gap, all others right behind it.
            inside = near + np.minimum(near, far)
            fits = enough & (inside > total * numbers.clump_share) & (far > (total - near) * numbers.clump_share)
            out[: len(table)][fits & (out[: len(table)] == 0)] = times
        return out

    @staticmethod
    def _finding(window: Window, segment: int, flows: list[int], beacons: int, lost: float) -> Finding:
        network, numbers = window.network, window.network.numbers
        sure = "certain" if lost > numbers.air_loss_quality else "likely"
        return Finding(
            segment, "rig", "soon" if lost > numbers.air_loss_soon else "quality", sure, window.since(flows),
            {"interface": network.interface(segment), "beacons": beacons or None, "share": round(lost, 5),
             "universes": sorted({int(network.streams.universe[flow]) for flow in flows}), "protocol": "e131"},
            tuple(sorted(int(network.streams.last_n[flow]) for flow in flows)[-3:]),
        )  # fmt: skip


class WifiRoamed:
    """W3: this laptop went to another access point, and all light paused."""

    rule = Rule(
        "wifi-roamed", certainty=_ON_WIFI, about_laptop=True,
        explains=("packets-lost", "packets-out-of-order", "source-lost", "universe-silent", "multicast-dropped", "wifi-clumping"),
        numbers=("roam_pause_s", "roam_near_s", "roam_longest", "told_for_s"),
    )  # fmt: skip

    def look(self, network: Network, now: int) -> Looked:
        looked, numbers = Looked(), network.numbers
        near, told_for, least = (int(each * NS) for each in (numbers.roam_near_s, numbers.told_for_s, numbers.roam_pause_s))
        for port, cell in sorted(network.cells.ports.items()):
            found: list[tuple[Change, Pause]] = []
            for change in cell.changes:
                looked.later(change.at + near, now)
                looked.later(change.at + 3 * near, now)
                pause = change.pause
                # It stands out from those of the seconds before.
                long = pause is not None and pause.length >= max(least, change.worst * numbers.roam_longest)
                if pause is not None and long and now < change.at + told_for:
                    looked.later(change.at + told_for, now)
                    found.append((change, pause))
            if found:
                looked.findings.append(self._finding(network, port, found))
        return looked

    @staticmethod
    def _finding(network: Network, port: int, found: list[tuple[Change, Pause]]) -> Finding:
        change, pause = found[-1]
        name = network.interface(port << 24)
        return Finding(
            port << 24, f"port:{name}", "quality", "certain", min(each.begin for _, each in found),
            {"interface": name, "before": change.before, "cell": change.now, "times": len(found),
             "seconds": max(each.length for _, each in found) / NS},
            tuple(sorted(each.n for _, each in found)[-3:]), sign=pause.end,
        )  # fmt: skip


class WifiIsolated:
    """W2: on Wi-Fi only the access point is heard; none of the boxes that must be there."""

    rule = Rule(
        "wifi-isolated", certainty=_ON_WIFI | {"wifi": "likely"}, about_laptop=True,
        numbers=("isolated_after_s", "isolated_asks"),
    )

    def look(self, network: Network, now: int) -> Looked:
        looked = Looked()
        for port, state in sorted(network.vantage.ports.items()):
            if port >= len(network.ports) or network.ports[port].kind != "wifi" or state.first is None:
                continue
            foreign = [mac for mac in state.heard if mac not in network.own(port << 24)]
            if len(foreign) != 1:
                continue
            due = max(state.first, state.linked or 0, network.hole_end) + int(network.numbers.isolated_after_s * NS)
            looked.later(due, now)
            if now < due or self._speaks_for_others(network, port, foreign[0]):
                continue
            looked.later(next_grid(now), now)
            looked.findings.append(self._finding(network, port, state, foreign[0]))
        return looked

    @staticmethod
    def _speaks_for_others(network: Network, port: int, mac: int) -> bool:
        """An access point that answers ARP for its stations hides them, whether it keeps them apart or not (RFC 9119)."""
        box = network.claims.boxes.get((port << 24, mac))
        return box is not None and len(box.uses) > 1

    @staticmethod
    def _finding(network: Network, port: int, state: PortState, mac: int) -> Finding:
        name, segment = network.interface(port << 24), port << 24
        expected, own = expected_of(network), network.own(segment)
        planned = {int(IPv4Address(each.address)) for each in expected.devices if each.address} if expected is not None else set()
        asked = network.habits.held(ASKS)
        ours = (asked.segment == segment) & np.isin(asked.mac, list(own)) & np.isin(asked.target, list(planned))
        silent = {each for each in asked.target[ours].tolist() if (segment, each) not in network.claims.by_address}
        sure = len(silent) >= network.numbers.isolated_asks
        return Finding(
            segment, f"port:{name}", "soon" if sure else "tidy", "likely" if sure else "hint", state.first or 0,
            {"interface": name, "cell": network.box_name(segment, mac), "asked": len(silent) if sure else None},
        )


WIFI_RULES = (WifiClumping(), WifiIsolated(), WifiRoamed())
